"""Ametropia behind a telescope: every place of correction against ray matrices, and the textbook's tubes."""

from __future__ import annotations

from math import cos, pi, sin, sqrt

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from afocal.core.errors import DomainRefusal
from afocal.core.optics import ametropia, rays, telescope

MAGNIFICATIONS = st.one_of(st.floats(1.2, 10), st.floats(-10, -1.2))
TUBES = st.floats(8, 160)
EYES = st.floats(-15, 15)


@given(st.floats(-30, 25), st.floats(6, 25), st.floats(5, 40))
@settings(max_examples=80)
def test_vertex_effects_are_vergences_carried_through_air(
    power: float, vertex: float, to_cornea: float
) -> None:
    """K is the spectacle vergence at the cornea; R is K carried forward to the ocular, by matrices."""
    k = ametropia.refraction_at_cornea_d(power, vertex)
    assert k == pytest.approx(rays.vergence_through_d(rays.translation(vertex), power), rel=1e-12)
    assume(1 + to_cornea * k / 1000 > 0.06)
    r = ametropia.ametropia_at_ocular_d(k, to_cornea)
    assert rays.vergence_through_d(rays.translation(to_cornea), r) == pytest.approx(k, rel=1e-9)
    assert ametropia.ametropia_at_ocular_d(k, vertex) == pytest.approx(power, rel=1e-9)


def test_vertex_by_hand() -> None:
    """-10 D at 12 mm: K = -10/1.12 = -8.929 D; at an ocular 14 mm before the cornea R = K/(1 + 0.014 K)."""
    k = ametropia.refraction_at_cornea_d(-10.0, 12.0)
    assert k == pytest.approx(-10 / 1.12, rel=1e-12)
    assert ametropia.ametropia_at_ocular_d(k, 14.0) == pytest.approx(k / (1 - 0.014 * 10 / 1.12), rel=1e-12)


def test_vertex_poles_are_refused() -> None:
    """A lens that focuses at the cornea, and a far point between ocular and cornea, have no such number."""
    with pytest.raises(DomainRefusal, match="vertex too long"):
        ametropia.refraction_at_cornea_d(19.001, 50.0)
    assert ametropia.refraction_at_cornea_d(18.99, 50.0) == pytest.approx(18.99 / 0.0505)
    with pytest.raises(DomainRefusal, match="between the ocular and the cornea"):
        ametropia.ametropia_at_ocular_d(-19.001, 50.0)
    assert ametropia.ametropia_at_ocular_d(-18.99, 50.0) == pytest.approx(-18.99 / 0.0505)


def test_vertex_is_assumed_only_for_weak_lenses() -> None:
    """Up to 10 D an unmeasured vertex is assumed (12 mm, common practice); beyond, it is asked for."""
    assert ametropia.vertex_or_assumed_mm(-10.0) == 12.0
    assert ametropia.vertex_or_assumed_mm(10.0, None, 13.5) == 13.5
    assert ametropia.vertex_or_assumed_mm(-18.0, 11.0) == 11.0
    assert ametropia.vertex_or_assumed_mm(-3.0, 0.0) == 0.0
    for power in (-10.01, 10.01):
        with pytest.raises(DomainRefusal, match="vertex distance"):
            ametropia.vertex_or_assumed_mm(power)


# Schwartz SH, Geometrical and Visual Optics, 2nd ed., ch. 12: +10/-50 (5x, 80 mm) and +10/+50 (5x, 120 mm) refocused for a
# myope of 10 D; the hyperopes by the same two formulas by hand.
REFOCUSED = [
    (5.0, 80.0, -10.0, 4.0, 75.0),
    (-5.0, 120.0, -10.0, -6.0, 116.7),
    (5.0, 80.0, 10.0, 6.0, 83.333),
    (-5.0, 120.0, 10.0, -4.0, 125.0),
]


@pytest.mark.parametrize(("m", "t", "r", "m_refocused", "t_refocused"), REFOCUSED)
def test_textbook_refocusing(m: float, t: float, r: float, m_refocused: float, t_refocused: float) -> None:
    """The textbook's myope loses power in a Galilean and gains it in a Keplerian; the tube shortens in both."""
    tube = ametropia.refocus(m, t, r)
    assert tube.magnification == pytest.approx(m_refocused, rel=1e-9)
    assert tube.tube_length_mm == pytest.approx(t_refocused, abs=0.05)
    assert tube.lengthening_mm == pytest.approx(tube.tube_length_mm - t, rel=1e-12)
    assert ametropia.refocused_magnification(m, t, r) == tube.magnification
    assert ametropia.refocused_tube_length_mm(m, t, r) == tube.tube_length_mm
    assert ametropia.effective_ocular_power_d(-50.0 if m > 0 else 50.0, r) == (-50.0 if m > 0 else 50.0) - r


@given(MAGNIFICATIONS, TUBES, EYES, st.floats(-3, 3))
@settings(max_examples=120)
def test_refocused_tube_sends_the_light_the_eye_needs(m: float, t: float, r: float, u: float) -> None:
    """Through the real lenses at the new length light of U leaves with R; the gain over the corrected eye is M'."""
    try:
        tube = ametropia.refocus(m, t, r, u)
    except DomainRefusal:
        assume(False)
    objective, ocular = telescope.objective_power_d(m, t), telescope.ocular_power_d(m, t)
    gap = rays.translation(tube.tube_length_mm)
    system = rays.chain(rays.lens(objective), gap, rays.lens(ocular))
    assert rays.vergence_through_d(system, u) == pytest.approx(r, abs=1e-5)
    corrected = rays.chain(rays.lens(u), system, rays.lens(-r))
    assert tube.magnification == pytest.approx(corrected.d, rel=1e-9)
    assert ametropia.refocused_magnification(m, t, r, u) == tube.magnification
    assert ametropia.refocused_tube_length_mm(m, t, r, u) == tube.tube_length_mm
    if u == 0 and abs(r) > 1e-3:
        assert (tube.lengthening_mm > 0) == (r > 0)


def test_refocusing_without_ametropia_or_for_distance() -> None:
    """2.0x of 25 mm (+20/-40): left as it is nothing changes; at 400 mm by hand 1000/17.5 - 25 mm and 40/17.5."""
    assert ametropia.refocus(2.0, 25) == pytest.approx((2.0, 25.0, 0.0), abs=1e-12)
    assert ametropia.refocused_magnification(2.0, 25) == pytest.approx(2.0)
    assert ametropia.refocused_tube_length_mm(2.0, 25) == pytest.approx(25.0)
    assert ametropia.refocused_magnification(2.0, 25, object_vergence_d=-2.5) == pytest.approx(40 / 17.5)
    assert ametropia.refocused_tube_length_mm(2.0, 25, object_vergence_d=-2.5) == pytest.approx(
        1000 / 17.5 - 25
    )
    assert ametropia.residual_defocus_d(0.0) == 0.0


def test_travel_and_poles_of_refocusing_are_refused() -> None:
    """Outside its travel, inside the front focus of the objective, or with the ocular used up, no tube is promised."""
    assert ametropia.refocus(5, 80, -10, 0, 75.0 - 1e-9, 80).tube_length_mm == pytest.approx(75)
    assert ametropia.refocus(5, 80, 10, 0, 70, 83.3334).tube_length_mm == pytest.approx(83.3333, abs=1e-4)
    for shortest, longest in ((75.001, 80.0), (60.0, 74.999)):
        with pytest.raises(DomainRefusal, match="cannot be focused so far"):
            ametropia.refocus(5, 80, -10, 0, shortest, longest)
    # A 2x of 25 mm has lenses of +20 and -40 D.
    with pytest.raises(DomainRefusal, match="inside the focal length"):
        ametropia.refocus(2, 25, 0, -19.001)
    assert ametropia.refocus(2, 25, 0, -18.99).magnification == pytest.approx(40 / 1.01)
    with pytest.raises(DomainRefusal, match="use up the power of the ocular"):
        ametropia.refocus(2, 25, -38.001, -18.0)
    assert ametropia.refocus(2, 25, -37.99, -18.0).tube_length_mm == pytest.approx(500 - 1000 / 2.01)
    with pytest.raises(DomainRefusal, match="use up the power of the ocular"):
        ametropia.refocus(-2, 75, 38.001)
    assert ametropia.refocus(-2, 75, 37.99).tube_length_mm == pytest.approx(50 + 1000 / 2.01)
    assert ametropia.effective_ocular_power_d(0.5, 0.1) == 0.4
    for ocular, r in ((-40.0, -40.0), (40.0, 40.0), (-40.0, -41.0), (0.0, 5.0)):
        with pytest.raises(DomainRefusal, match="use up"):
            ametropia.effective_ocular_power_d(ocular, r)


# Refocusing for the -4x of 80 mm (lenses +15.625/+62.5 D), and two Galileans, by hand from the two formulas above.
@pytest.mark.parametrize(
    ("m", "t", "r", "m_refocused", "t_refocused"),
    [
        (1.6, 18, -10, 1.12, 5.14),
        (2.5, 28, 10, 2.97, 30.94),
        (-4.0, 80, -10, -4.64, 77.79),
        (3.0, 35, -3, 2.84, 34.03),
    ],
)
def test_refocusing_table(m: float, t: float, r: float, m_refocused: float, t_refocused: float) -> None:
    """Rounded entries of the refocusing table."""
    tube = ametropia.refocus(m, t, r)
    assert tube.magnification == pytest.approx(m_refocused, abs=0.005)
    assert tube.tube_length_mm == pytest.approx(t_refocused, abs=0.006)


@given(MAGNIFICATIONS, TUBES, EYES)
@settings(max_examples=100)
def test_correction_at_the_objective_makes_the_tube_emit_r(m: float, t: float, r: float) -> None:
    """With that lens in front, distant light leaves the tube with R; without it that is the eye's far point."""
    assume(1 + t * r / (1000 * m) > 0.06)
    lens = ametropia.objective_correction_d(m, t, r)
    system = rays.chain(rays.lens(lens), rays.telescope_matrix(m, t))
    assert rays.back_vertex_power_d(system) == pytest.approx(r, rel=1e-9, abs=1e-12)
    if r < -0.02 * m * m:
        far = ametropia.uncorrected_far_point_mm(m, t, r)
        assert far is not None
        whole = rays.object_to_pupil(rays.telescope_matrix(m, t), far, 0.0)
        assert rays.vergence_at_eye_d(whole) == pytest.approx(r, rel=1e-9)


def test_correction_at_the_objective_by_hand_and_at_its_pole() -> None:
    """2.5x, t 28: R -3 needs -3/(6.25 - 0.21) = -0.497 D; at 1 + tR/M = 0.05 it is refused."""
    assert ametropia.objective_correction_d(2.5, 28, -3.0) == pytest.approx(-3 / 6.04)
    assert ametropia.objective_correction_d(2.5, 28, 3.0) == pytest.approx(3 / 6.46)
    with pytest.raises(DomainRefusal, match="no lens in front"):
        ametropia.objective_correction_d(2.0, 100, -19.001)
    assert ametropia.objective_correction_d(2.0, 100, -18.99) == pytest.approx(-18.99 / (4 * 0.0505))


def test_far_point_of_the_uncorrected_eye() -> None:
    """A myope of 3 D sees 6.04/3 m away through a 2.5x; an emmetrope infinity; a hyperope nothing."""
    assert ametropia.uncorrected_far_point_mm(2.5, 28, -3.0) == pytest.approx(6040 / 3)
    assert ametropia.uncorrected_far_point_mm(2.5, 28, 0.0) is None
    assert ametropia.uncorrected_far_point_mm(2.0, 24, -3.9e-4) is None
    assert ametropia.uncorrected_far_point_mm(2.0, 24, -4.1e-4) == pytest.approx(1e7, rel=0.03)
    with pytest.raises(DomainRefusal, match="hyperopic"):
        ametropia.uncorrected_far_point_mm(2.5, 28, 1e-9)


@given(MAGNIFICATIONS, TUBES, st.floats(-8, 8), st.floats(6, 50))
@settings(max_examples=80)
def test_refocused_exit_pupil_is_the_image_of_the_rim(m: float, t: float, r: float, diameter: float) -> None:
    """Place and size of the objective's image through the ocular at the new length, by matrices."""
    try:
        actual = ametropia.refocused_tube_length_mm(m, t, r)
        pupil = ametropia.refocused_exit_pupil(m, t, diameter, actual)
    except DomainRefusal:
        assume(False)
    to_ocular = rays.chain(rays.translation(actual), rays.lens(telescope.ocular_power_d(m, t)))
    place = -to_ocular.b_m / to_ocular.d
    size = diameter * abs(to_ocular.a + place * to_ocular.c_d)
    assert pupil == pytest.approx((1000 * place, size), rel=1e-6)
    assert ametropia.refocused_exit_pupil_diameter_mm(m, t, diameter, actual) == pupil.diameter_mm


def test_unequal_eyes_get_unequal_images() -> None:
    """5 D between the eyes of a 2.5x Galilean (Foc -53.57 D) makes 9.3 %; the more hyperopic eye sees larger."""
    assert ametropia.refocused_aniseikonia_percent(2.5, 28, 0, -5) == pytest.approx(500 / 53.571428, rel=1e-6)
    assert ametropia.refocused_aniseikonia_percent(2.5, 28, -5, 0) == pytest.approx(
        -500 / 53.571428, rel=1e-6
    )
    right = ametropia.refocused_magnification(-4, 80, -3)
    left = ametropia.refocused_magnification(-4, 80, 2)
    difference = ametropia.refocused_aniseikonia_percent(-4, 80, -3, 2)
    assert difference == pytest.approx(100 * (abs(right) - abs(left)) / 4)


def test_over_refraction_in_front_acts_m_squared_fold() -> None:
    """0.25 D before a 2.5x (t 28) acts as 1.5625/(1 - 0.0175) D; behind the ocular as itself."""
    assert ametropia.over_refraction_effect_d(2.5, 28, 0.25, True) == pytest.approx(1.5625 / 0.9825)
    assert ametropia.over_refraction_effect_d(2.5, 28, 0.25, False) == 0.25


@given(st.floats(-6, 6), st.floats(-6, 6))
@settings(max_examples=60)
def test_residual_astigmatism_blurs_like_its_mean_square_over_all_meridians(
    sphere: float, cylinder: float
) -> None:
    """√(M² + J²), the length of the power vector of Thibos et al. 1997 (memory), and the same from either cylinder form."""
    defocus = ametropia.residual_defocus_d(sphere, cylinder)
    assert defocus == pytest.approx(sqrt((sphere + cylinder / 2) ** 2 + (cylinder / 2) ** 2), abs=1e-9)
    assert ametropia.residual_defocus_d(sphere + cylinder, -cylinder) == pytest.approx(defocus, abs=1e-9)
    # Over 36 meridians the power is S + C sin²; its mean square is M² + J²/2, with the J² of the twist across them M² + J².
    across = [
        (sphere + cylinder * sin(a) ** 2, cylinder * sin(a) * cos(a))
        for a in (k * pi / 36 for k in range(36))
    ]
    assert sqrt(sum(p * p + q * q for p, q in across) / 36) == pytest.approx(defocus, abs=1e-9)
    assert ametropia.residual_defocus_d(sphere) == pytest.approx(abs(sphere))
