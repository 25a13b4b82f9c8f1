"""Tubes of many and of thick elements: by matrices, by hand, and by the closed forms with B as the tube length."""

from __future__ import annotations

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from afocal.core.errors import DomainRefusal
from afocal.core.optics import rays, thick
from afocal.core.optics.rays import RayMatrix

FIRST = st.floats(5, 20)
GAP = st.floats(0.5, 12)
OCULAR = st.one_of(st.floats(-90, -35), st.floats(35, 90))


def test_doublet_tube_by_hand() -> None:
    """+12 and +9, 4 mm apart, with a -40 ocular: every number from the printed two-lens formulas.

    Feq = 12 + 9 - 0.004*12*9 = 20.568 D, M = 40/20.568; back focal length (1 - 0.004*12)/20.568 m, less the 25 mm
    of the ocular, is the second gap; B = g1 + g2 - g1 g2 F2, exit vergence M²U/(1 - BMU) for U = -2 D.
    """
    power = 20.568
    m = 40 / power
    gap = (1 - 0.048) / power - 0.025
    b = 0.004 + gap - 0.004 * gap * 9
    assert thick.thick_magnification(12, 4, 9, -40) == pytest.approx(m, rel=1e-12)
    assert thick.thick_b_element_mm(12, 4, 9, -40) == pytest.approx(1000 * b, rel=1e-12)
    vergence = m * m * -2 / (1 + b * m * 2)
    assert thick.thick_exit_vergence_d(12, 4, 9, -40, -2) == pytest.approx(vergence, rel=1e-12)
    assert vergence == pytest.approx(-6.90567, abs=1e-5)


@given(FIRST, GAP, FIRST, OCULAR, st.floats(-4, 0))
@settings(max_examples=80)
def test_closed_form_with_b_is_the_trace(f1: float, g: float, f2: float, ocular: float, u: float) -> None:
    """The vergence stepped lens by lens through the tube is M²U/(1 - B M U) with its D and B."""
    try:
        system = thick.doublet_telescope(f1, g, f2, ocular)
        exit_vergence = thick.thick_exit_vergence_d(f1, g, f2, ocular, u)
    except DomainRefusal:
        assume(False)
    assert system.c_d == pytest.approx(0.0, abs=1e-9)
    assert exit_vergence == pytest.approx(rays.vergence_through_d(system, u), rel=1e-6, abs=1e-9)
    assert thick.thick_magnification(f1, g, f2, ocular) == system.d
    assert thick.thick_b_element_mm(f1, g, f2, ocular) == system.b_mm


@given(st.floats(15, 25), st.floats(2, 8), st.floats(-90, -40), st.floats(-3, 3), st.floats(-2, 0))
@settings(max_examples=80)
def test_focusing_gap_focuses(front: float, thickness: float, ocular_d: float, r: float, u: float) -> None:
    """With the gap found, light of U leaves a tube of real thick lenses with exactly R; thick groups included."""
    objective = rays.thick_lens(front * 0.7, thickness, 1.523, front * 0.3)
    ocular = rays.thick_lens(ocular_d * 0.4, 1.5, 1.7, ocular_d * 0.6)
    try:
        gap = thick.focusing_gap_mm(objective, ocular, r, u)
    except DomainRefusal:
        assume(False)
    tube = rays.chain(objective, rays.translation(gap), ocular)
    assert rays.vergence_through_d(tube, u) == pytest.approx(r, abs=1e-6)


def test_thin_tube_focused_by_the_textbook() -> None:
    """Schwartz, ch. 12: +10/-50 is 80 mm, 75 mm for a myope of 10 D; +10/+50 is 120 and 116.7 mm."""
    objective, galilean, keplerian = rays.lens(10.0), rays.lens(-50.0), rays.lens(50.0)
    assert thick.focusing_gap_mm(objective, galilean) == pytest.approx(80)
    assert thick.focusing_gap_mm(objective, galilean, -10) == pytest.approx(75)
    assert thick.focusing_gap_mm(objective, keplerian) == pytest.approx(120)
    assert thick.focusing_gap_mm(objective, keplerian, -10) == pytest.approx(116.7, abs=0.05)


def test_gap_at_its_limits() -> None:
    """Groups may touch and stand up to a metre apart, no more; a group without power focuses nothing."""
    assert thick.focusing_gap_mm(rays.lens(10.0), rays.lens(-10.0)) == 0.0
    assert thick.focusing_gap_mm(rays.lens(2.0), rays.lens(2.0)) == 1000.0
    for objective, ocular in ((10.0, -9.99), (1.999, 2.0)):
        with pytest.raises(DomainRefusal, match="gap between"):
            thick.focusing_gap_mm(rays.lens(objective), rays.lens(ocular))
    for objective, ocular in ((0.0, -40.0), (20.0, 0.0)):
        with pytest.raises(DomainRefusal, match="lens group"):
            thick.focusing_gap_mm(rays.lens(objective), rays.lens(ocular))


def test_tube_that_is_not_afocal_is_refused_with_its_power() -> None:
    """+20/-40 at 25 mm is afocal; 0.1 mm longer the emerging light has +0.16 D, which the refusal names."""

    def tube(length: float) -> RayMatrix:
        return rays.chain(rays.lens(20.0), rays.translation(length), rays.lens(-40.0))

    assert thick.afocal_tube(tube(25.0)) == pytest.approx((2.0, 25.0))
    # Back vertex power of a thin tube by vergences: 20/(1 - 0.020 x) - 40, x the length in mm.
    with pytest.raises(DomainRefusal, match=r"back vertex power: 0\.16"):
        thick.afocal_tube(tube(25.1))
    with pytest.raises(DomainRefusal, match=r"back vertex power: -0\.05"):
        thick.afocal_tube(tube(24.965))
    assert thick.afocal_tube(tube(25.03)).tube_length_mm == pytest.approx(25.03)
    assert thick.afocal_tube(RayMatrix(0.5, 0.024, -0.024, 2.0)) == (2.0, 24.0)
    assert thick.afocal_tube(RayMatrix(1.0, 0.024, -0.05, 2.0)) == (2.0, 24.0)
    with pytest.raises(DomainRefusal, match="not afocal"):
        thick.afocal_tube(RayMatrix(1.0, 0.024, -0.0501, 2.0))
    for matrix in (
        RayMatrix(1.0, 0.024, 0.0, 1.049),
        RayMatrix(0.01, 0.024, 0.0, 100.1),
        RayMatrix(0.5, 0.00049, 0.0, 2.0),
        RayMatrix(0.5, 1.001, 0.0, 2.0),
    ):
        with pytest.raises(DomainRefusal, match=r"magnification|tube length"):
            thick.afocal_tube(matrix)
    assert thick.afocal_tube(RayMatrix(1.0, 0.0005, 0.0, -1.05)) == (-1.05, 0.5)
    assert thick.afocal_tube(RayMatrix(0.01, 1.0, 0.0, 100.0)) == (100.0, 1000.0)
