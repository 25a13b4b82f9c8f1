"""Tilt, decentration and tolerances against traced rays, bisection and what is printed about collimation."""

from __future__ import annotations

from math import atan, degrees, radians, tan

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from afocal.core.constants import CONSTANTS
from afocal.core.errors import DomainRefusal
from afocal.core.optics import alignment
from afocal.core.optics.alignment import (
    INSTRUMENT_LIMITS,
    AlignmentLimits,
    ComfortableVergence,
    TiltTolerances,
    arcmin_to_prism,
    decentration_prism,
    height_mismatch_for_prism_mm,
    limits_from_reserves,
    line_of_sight_tolerance_arcmin,
    magnification_difference_percent,
    objective_decentration_prism,
    percival_range,
    prentice_prism,
    prism_to_arcmin,
    sheard_limit_prism,
    sheard_prism,
    stricter_limits,
    tilt_deviation_arcmin,
    tilt_for_deviation_arcmin,
    tilt_tolerances,
)


def through_tube(magnification, tube_length, height, slope, decentration=0.0):
    """A ray from the objective, which may sit off the axis, to just behind the ocular."""
    objective_focus = tube_length * magnification / (magnification - 1)
    ocular_focus = tube_length / (1 - magnification)
    inside = slope - (height - decentration) / objective_focus
    at_ocular = height + tube_length * inside
    return at_ocular, inside - at_ocular / ocular_focus


@pytest.mark.parametrize(("magnification", "erect"), [(1.6, True), (2.5, True), (-3.0, True), (-3.0, False)])
@pytest.mark.parametrize("tilt", [-120.0, 5.0, 60.0, 600.0])
def test_tilt_equals_traced_rays(magnification, erect, tilt):
    """The deviation is the angle between a distant axis and the ray that leaves a tilted tube, turned by a prism."""
    turn = radians(tilt / 60)
    _, slope = through_tube(magnification, 30.0, 0.0, tan(-turn))
    if magnification < 0 and erect:
        slope = -slope
    # Back in the frame of the eye: the tube's axis points up by the tilt.
    direction = turn + atan(slope)
    sign = 1 if magnification < 0 and not erect else -1
    expected = sign * degrees(direction) * 60
    assert tilt_deviation_arcmin(magnification, tilt, erect) == pytest.approx(expected)


@pytest.mark.parametrize(
    ("magnification", "erect", "factor"),
    [(2.5, True, 1.5), (-4.0, True, 3.0), (-4.0, False, 5.0), (2.5, False, 1.5)],
)
def test_tilt_first_order(magnification, erect, factor):
    """A small tilt deviates by (|M| − 1), in a plain inverting tube by (|M| + 1) times, and the inverse divides."""
    assert tilt_deviation_arcmin(magnification, 1.0, erect) == pytest.approx(factor, rel=1e-5)
    assert tilt_for_deviation_arcmin(magnification, 1.0, erect) == pytest.approx(1 / factor, rel=1e-5)
    assert tilt_for_deviation_arcmin(magnification, -1.0, erect) == pytest.approx(-1 / factor, rel=1e-5)


def test_tilt_is_erect_by_default():
    """Head-borne Keplerians carry an erecting prism, so that is what is meant unless said."""
    assert tilt_deviation_arcmin(-4, 10) == tilt_deviation_arcmin(4, 10)
    assert tilt_for_deviation_arcmin(-4, 15) == tilt_for_deviation_arcmin(4, 15)
    assert tilt_tolerances(-4) == tilt_tolerances(4)


@settings(max_examples=80)
@given(
    magnification=st.one_of(st.floats(1.1, 10), st.floats(-10, -1.2)),
    erect=st.booleans(),
    deviation=st.floats(0.5, 120),
)
def test_tilt_inverse_by_bisection(magnification, erect, deviation):
    """The tilt found by the closed form is the one that bisection finds."""
    # Beyond this tilt an erect image turns back.
    low, high = 0.0, 60 * degrees(atan(abs(magnification) ** -0.5))
    for _ in range(80):
        middle = (low + high) / 2
        if tilt_deviation_arcmin(magnification, middle, erect) < deviation:
            low = middle
        else:
            high = middle
    assert tilt_for_deviation_arcmin(magnification, deviation, erect) == pytest.approx(low, rel=1e-8)


def test_tilt_limit_of_an_erect_tube():
    """No tilt deviates beyond tan δ = (M − 1)/(2 √M); up to there one does, and an inverting tube always."""
    most = 60 * degrees(atan(0.5 / (2 * 1.5**0.5)))
    tilt = tilt_for_deviation_arcmin(1.5, most - 0.01)
    assert tilt_deviation_arcmin(1.5, tilt) == pytest.approx(most - 0.01)
    for deviation in (most + 0.01, -most - 0.01):
        with pytest.raises(DomainRefusal, match=f"at most {most:.0f} minutes of arc"):
            tilt_for_deviation_arcmin(1.5, deviation)
    tilt = tilt_for_deviation_arcmin(-1.5, 2700, False)
    assert tilt_deviation_arcmin(-1.5, tilt, False) == pytest.approx(2700)


def test_published_line_of_sight():
    """Tonkin S, Binocular Astronomy, table 2.1: 15' and 20' at the eye are 1.5' and 2.0' at 10x; 45' is 1.13' at 40x."""
    assert line_of_sight_tolerance_arcmin(15, 10) == pytest.approx(1.5, abs=1.4e-5)
    assert line_of_sight_tolerance_arcmin(20, -10) == pytest.approx(2.0, abs=3.4e-5)
    assert line_of_sight_tolerance_arcmin(45, 40) == pytest.approx(1.13, abs=0.01)


def test_units_of_angle():
    """1 prism dioptre is 1 cm at 1 m, so 15', 45' and 20' are 0.436, 1.309 and 0.582; the way back agrees."""
    for angle, prism in ((15, 0.436), (45, 1.309), (20, 0.582)):
        assert arcmin_to_prism(angle) == pytest.approx(prism, abs=0.0005)
        assert prism_to_arcmin(arcmin_to_prism(-angle)) == pytest.approx(-angle)
    assert arcmin_to_prism(45 * 60) == pytest.approx(100)
    assert prism_to_arcmin(100) == pytest.approx(2700)
    assert prism_to_arcmin(-100) == pytest.approx(-2700)


def test_prentice():
    """10 mm off the centre of +3 D makes 3 prism dioptres (textbook rule, from memory); signs are kept."""
    assert prentice_prism(10, 3) == pytest.approx(3)
    assert prentice_prism(-2, 5) == pytest.approx(-1)
    assert prentice_prism(2, -5) == pytest.approx(-1)


@pytest.mark.parametrize(("magnification", "tube_length"), [(2.0, 24.0), (3.0, 35.0), (-4.0, 80.0)])
def test_decentred_objective_equals_traced_ray(magnification, tube_length):
    """An axial ray through an objective 0.5 mm off the axis leaves under the deviation given."""
    _, slope = through_tube(magnification, tube_length, 0.0, 0.0, 0.5)
    assert objective_decentration_prism(magnification, tube_length, 0.5) == pytest.approx(100 * abs(slope))


def slope_at_pupil(magnification, tube_length, cap, distance, eye_distance, height):
    """Slope at the eye of the ray from an object point through the middle of the pupil."""

    def arrive(slope):
        at_cap = height + distance * slope
        at_ocular, out = through_tube(magnification, tube_length, at_cap, slope - at_cap * cap / 1000)
        return at_ocular + eye_distance * out, out

    (start, first), (end, second) = arrive(0.0), arrive(1.0)
    slope = -start / (end - start)
    return first + slope * (second - first)


@pytest.mark.parametrize("magnification", [2.0, -4.0])
@pytest.mark.parametrize(("cap", "distance"), [(4.0, None), (4.0, 240.0), (0.0, 2000.0)])
def test_decentration_equals_traced_ray(magnification, cap, distance):
    """A target off the axis of a tube, with cap or at a finite distance, deviates by the traced slope."""
    length = 24.0 if magnification > 0 else 80.0
    at = 1000 / cap if distance is None else distance
    expected = 100 * abs(slope_at_pupil(magnification, length, cap, at, 15.0, 2.0))
    found = decentration_prism(magnification, length, cap, 15.0, 2.0, distance)
    assert found == pytest.approx(expected)
    assert height_mismatch_for_prism_mm(
        magnification, length, cap, 15.0, expected, distance
    ) == pytest.approx(2.0)


def test_small_mismatch_breaks_fusion():
    """At 2.0x with +4.00 a height mismatch of 0.55 mm makes 15', by Prentice's rule and the magnification."""
    assert height_mismatch_for_prism_mm(2, 24, 4, 15, arcmin_to_prism(15)) == pytest.approx(0.545, abs=0.001)
    assert decentration_prism(2, 24, 4, 15, 0.0) == 0
    assert height_mismatch_for_prism_mm(2, 24, 4, 15, 0.0) == 0


def test_magnification_difference():
    """The difference counts from the smaller picture, whatever the sides and signs."""
    assert magnification_difference_percent(2.04, 2.0) == pytest.approx(2.0)
    assert magnification_difference_percent(-2.0, 2.04) == pytest.approx(2.0)
    assert magnification_difference_percent(3, 3) == 0
    for pair in ((1.0, 2.0), (2.0, 1.0), (float("nan"), 2.0), (2.0, float("inf")), (float("inf"), 2.0)):
        with pytest.raises(DomainRefusal, match="magnification"):
            magnification_difference_percent(*pair)
    assert magnification_difference_percent(1.05, 1.05) == 0


@pytest.mark.parametrize(
    ("magnification", "vertical", "converge", "diverge"),
    [(1.5, 30, 90, 40), (1.6, 25, 75, 33.3), (2.0, 15, 45, 20), (3.0, 7.5, 22.5, 10), (4.0, 5, 15, 6.67)],
)
def test_tilt_that_uses_up_the_instrument_limits(magnification, vertical, converge, diverge):
    """Each limit over (M − 1), here divided by hand, is the tilt between the tubes that uses it up."""
    found = tilt_tolerances(magnification)
    assert found.vertical_arcmin == pytest.approx(vertical, abs=0.05)
    assert found.toe_out_arcmin == pytest.approx(converge, abs=0.1)
    assert found.toe_in_arcmin == pytest.approx(diverge, abs=0.05)


def test_inverting_tubes_turn_toe_in_and_out():
    """Plain inverting tubes toed out ask for divergence, so the limits change places and shrink to 1/(|M| + 1)."""
    found = tilt_tolerances(-4.0, INSTRUMENT_LIMITS, False)
    assert found.vertical_arcmin == pytest.approx(3, abs=0.01)
    assert found.toe_out_arcmin == pytest.approx(4, abs=0.01)
    assert found.toe_in_arcmin == pytest.approx(9, abs=0.01)
    assert isinstance(tilt_tolerances(4.0, INSTRUMENT_LIMITS, False), TiltTolerances)
    assert tilt_tolerances(4.0, INSTRUMENT_LIMITS, False) == tilt_tolerances(4.0)


def test_limits_are_the_adjustable_constants():
    """The defaults here are the same figures that a clinic can adjust."""
    assert AlignmentLimits(15.0, 45.0, 20.0) == INSTRUMENT_LIMITS
    assert CONSTANTS["instrument_vertical_step"].value == INSTRUMENT_LIMITS.vertical_arcmin
    assert CONSTANTS["instrument_convergence"].value == INSTRUMENT_LIMITS.convergence_arcmin
    assert CONSTANTS["instrument_divergence"].value == INSTRUMENT_LIMITS.divergence_arcmin
    # ANSI Z80.1-2010, a summary of its tolerances.
    assert alignment.SPECTACLE_VERTICAL_PRISM == CONSTANTS["spectacle_vertical_prism_tolerance"].value == 0.33
    assert (
        alignment.SPECTACLE_HORIZONTAL_PRISM
        == CONSTANTS["spectacle_horizontal_prism_tolerance"].value
        == 0.67
    )
    assert alignment.MAGNIFICATION_DIFFERENCE_PERCENT == 2.0


def test_sheard():
    """The reserve must be twice the demand; the relieving prism brings about just that (rule from memory)."""
    assert sheard_limit_prism(9) == 4.5
    assert sheard_limit_prism(0) == 0
    relief = sheard_prism(8, 10)
    assert relief == pytest.approx(2)
    assert 10 + relief == pytest.approx(2 * (8 - relief))
    assert sheard_prism(5, 10) == 0
    assert sheard_prism(3, 10) == 0


def test_percival():
    """The comfortable demands are the middle third of the way from base-in to base-out limit (rule from memory)."""
    comfortable = percival_range(7, 9)
    width = 7 + 9
    assert comfortable.lowest_prism == pytest.approx(-7 + width / 3)
    assert comfortable.highest_prism == pytest.approx(9 - width / 3)
    assert percival_range(3, 12) == ComfortableVergence(2.0, 7.0)
    assert percival_range(0, 0) == ComfortableVergence(0.0, 0.0)


def test_limits_from_reserves():
    """Convergence is opposed by base-out, divergence by base-in; the vertical limit is half of its reserve."""
    sheard = limits_from_reserves(7, 9, 2.5)
    assert sheard == limits_from_reserves(7, 9, 2.5, "Sheard")
    assert arcmin_to_prism(sheard.convergence_arcmin) == pytest.approx(4.5)
    assert arcmin_to_prism(sheard.divergence_arcmin) == pytest.approx(3.5)
    assert arcmin_to_prism(sheard.vertical_arcmin) == pytest.approx(1.25)
    percival = limits_from_reserves(7, 9, 2.5, "Percival")
    assert arcmin_to_prism(percival.convergence_arcmin) == pytest.approx(11 / 3)
    assert arcmin_to_prism(percival.divergence_arcmin) == pytest.approx(5 / 3)
    assert arcmin_to_prism(percival.vertical_arcmin) == pytest.approx(1.25)
    assert limits_from_reserves(3, 12, 0, "Percival").divergence_arcmin == 0
    assert limits_from_reserves(12, 3, 0, "Percival").convergence_arcmin == 0
    with pytest.raises(DomainRefusal, match="Sheard or Percival"):
        limits_from_reserves(7, 9, 2.5, "half")  # type: ignore[arg-type]


def test_stricter_limits():
    """The stricter of two sets is taken limit by limit."""
    patient = AlignmentLimits(10.0, 60.0, 5.0)
    assert stricter_limits(INSTRUMENT_LIMITS, patient) == AlignmentLimits(10.0, 45.0, 5.0)
    assert stricter_limits(patient, INSTRUMENT_LIMITS) == AlignmentLimits(10.0, 45.0, 5.0)
