"""Head motion through a telescope against the figures of the vestibulo-ocular literature."""

from __future__ import annotations

from math import log10

import pytest

from afocal.core.constants import CONSTANTS
from afocal.core.errors import DomainRefusal
from afocal.core.optics import motion
from afocal.core.optics.motion import (
    head_speed_limit_deg_s,
    retinal_slip_deg_s,
    slip_loss_logmar,
    slip_mar_factor,
)


@pytest.mark.parametrize(
    ("magnification", "gain", "speed", "slip"),
    [(2.5, 1.5, 10, 10), (4, 1.5, 10, 25), (-4, 1.5, 10, 25), (2, 2, 30, 0), (2.2, 0, 10, 22), (3, 1, 0, 0)],
)
def test_slip(magnification, gain, speed, slip):
    """What the reflex does not follow slips: (|M| − g) times the head's speed."""
    assert retinal_slip_deg_s(magnification, gain, speed) == pytest.approx(slip)


def test_published_gains_leave_slip():
    """Demer JL et al. 1987: gain 1.37 at first and 1.54 after 15 minutes at 2.2x; practice lessens the slip."""
    first = retinal_slip_deg_s(2.2, CONSTANTS["vor_gain_initial_2_2x_light"].value, 10)
    later = retinal_slip_deg_s(2.2, CONSTANTS["vor_gain_after_15min_2_2x_light"].value, 10)
    assert first == pytest.approx(8.3)
    assert later == pytest.approx(6.6)


def test_head_speed_limit_is_the_inverse():
    """The head speed limit makes just the slip that was allowed, 2 deg/s when nothing is said."""
    limit = head_speed_limit_deg_s(3, 1.5, 4)
    assert retinal_slip_deg_s(3, 1.5, limit) == pytest.approx(4)
    assert head_speed_limit_deg_s(3, 1.5) == pytest.approx(2 / 1.5)
    assert head_speed_limit_deg_s(-3, 1.5, 0) == 0


def test_gain_over_the_magnification():
    """A gain over M is refused everywhere; a gain of M only where a head speed is asked for."""
    for function in (retinal_slip_deg_s, head_speed_limit_deg_s):
        with pytest.raises(DomainRefusal, match="farther than the picture moves"):
            function(-2, 2.001, 1)
    with pytest.raises(DomainRefusal, match=r"less than the magnification, 2\b"):
        head_speed_limit_deg_s(-2, 2, 1)


def test_published_law_of_loss():
    """Demer JL, Amjadi F, Invest Ophthalmol Vis Sci 1993;34:1894: no loss to 2 deg/s, then the 0.6 power."""
    tolerated = CONSTANTS["slip_tolerated_without_acuity_loss"].value
    exponent = CONSTANTS["slip_exponent_of_acuity_loss"].value
    assert (tolerated, exponent) == (motion.TOLERATED_SLIP_DEG_S, motion.SLIP_EXPONENT)
    for slip in (0.0, 1.5, 2.0):
        assert slip_mar_factor(slip) == 1
        assert slip_loss_logmar(slip) == 0
    assert slip_mar_factor(20) == pytest.approx(10**0.6)
    assert slip_mar_factor(5) == pytest.approx(1.73286, abs=1e-5)
    assert slip_loss_logmar(20) == pytest.approx(0.6)
    assert slip_loss_logmar(5) == pytest.approx(log10(slip_mar_factor(5)))


def test_loss_starts_without_a_step():
    """Just over the tolerated slip the loss is just over nothing."""
    assert 1 < slip_mar_factor(2.0001) < 1.0001


def test_law_is_adjustable():
    """A clinic's own tolerated slip and exponent are used in both forms."""
    assert slip_mar_factor(8, 4, 0.5) == pytest.approx(2**0.5)
    assert slip_loss_logmar(40, 4, 0.5) == pytest.approx(0.5)
    assert slip_mar_factor(8, 4, 0) == 1
    assert slip_mar_factor(8, 4, 3) == 8
    for exponent in (-0.1, 3.1):
        with pytest.raises(DomainRefusal, match="exponent"):
            slip_mar_factor(8, 4, exponent)
