"""Focus through a telescope: exit vergence, clear range, near focusing and blur, by matrices and by bisection."""

from __future__ import annotations

from math import atan, degrees, log10

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from afocal.core.errors import DomainRefusal
from afocal.core.optics import blur, focus, rays, telescope

MAGNIFICATIONS = st.one_of(st.floats(1.2, 10), st.floats(-10, -1.2))
TUBES = st.floats(8, 160)
EYES = st.floats(9, 40)
DISTANCES = st.floats(300, 20000)


@given(MAGNIFICATIONS, TUBES, st.floats(-5, 2))
@settings(max_examples=120)
def test_exit_vergence_is_the_trace(m: float, t: float, u: float) -> None:
    """M²U/(1 - tMU) is the vergence traced through the two lenses; the object vergence comes back from it."""
    assume(1 - t * m * u / 1000 > 0.06)
    exit_vergence = focus.exit_vergence_d(m, t, u)
    system = rays.chain(
        rays.lens(telescope.objective_power_d(m, t)),
        rays.translation(t),
        rays.lens(telescope.ocular_power_d(m, t)),
    )
    assert exit_vergence == pytest.approx(rays.vergence_through_d(system, u), rel=1e-6, abs=1e-6)
    if 1 + t * exit_vergence / (1000 * m) > 0.06:
        assert focus.object_vergence_for_exit_d(m, t, exit_vergence) == pytest.approx(u, rel=1e-7, abs=1e-12)
    assert focus.exit_vergence_m_squared_d(m, u) == pytest.approx(m * m * u)


# By hand from M²U/(1 - tMU), U = -1/distance: M, t mm, object mm, exit vergence D exact, and M²U.
EXIT = [
    (2.0, 24, 1000, -4 / 1.048, -4.0),
    (2.5, 28, 2000, -3.125 / 1.035, -3.125),
    (-4.0, 80, 3000, -16 / 3 / (1 - 0.32 / 3), -16 / 3),
    (-4.0, 80, 500, -88.8889, -32.0),
    (-4.0, 80, 400, -200.0, -40.0),
]


@pytest.mark.parametrize(("m", "t", "w", "exact", "first_order"), EXIT)
def test_exit_vergence_by_hand(m: float, t: float, w: float, exact: float, first_order: float) -> None:
    """Exact values by hand; M²U is far off for a Keplerian at near."""
    u = focus.object_vergence_d(w)
    assert focus.exit_vergence_d(m, t, u) == pytest.approx(exact, rel=1e-6)
    assert focus.exit_vergence_m_squared_d(m, u) == pytest.approx(first_order)


def test_object_inside_the_near_limit_is_refused() -> None:
    """A -4x of 80 mm has its pole at 320 mm; the refusal names the nearest distance (1 - tMU = 0.05, 337 mm)."""
    with pytest.raises(DomainRefusal, match=r"inside the near limit of this tube.*farther than 336\.8 mm"):
        focus.exit_vergence_d(-4.0, 80.0, -1000 / 336.0)
    with pytest.raises(DomainRefusal, match=r"farther than 336\.8 mm"):
        focus.exit_vergence_d(-4.0, 80.0, -1000 / 320.0)
    assert focus.exit_vergence_d(-4.0, 80.0, -1000 / 337.0) == pytest.approx(
        -47.4777 / (1 - 320 / 337), rel=1e-4
    )
    with pytest.raises(DomainRefusal, match=r"less than 19\.79 D"):
        focus.exit_vergence_d(2.0, 24.0, 19.8)
    assert focus.exit_vergence_d(2.0, 24.0, 19.78) == pytest.approx(79.12 / 0.05056)


def test_exit_vergence_that_no_object_makes_is_refused() -> None:
    """Through a 2.0x of 100 mm light never leaves with -20 D (M/t), however near the object."""
    with pytest.raises(DomainRefusal, match="weaker than 19 D"):
        focus.object_vergence_for_exit_d(2.0, 100.0, -19.001)
    assert focus.object_vergence_for_exit_d(2.0, 100.0, -18.99) == pytest.approx(-18.99 / (4 * 0.0505))
    with pytest.raises(DomainRefusal, match="weaker than 19 D"):
        focus.object_vergence_for_exit_d(-2.0, 100.0, 19.001)


def test_object_vergence_with_a_cap() -> None:
    """At the cap focus light reaches the objective parallel; without cap it diverges from the object."""
    assert focus.object_vergence_d(250.0, 4.0) == 0.0
    assert focus.object_vergence_d(400.0) == -2.5
    assert focus.object_vergence_d(200.0, 4.0) == -1.0


@given(st.floats(-60, 10), st.floats(5, 40))
@settings(max_examples=40)
def test_vergence_at_the_cornea_is_carried_through_air(vergence: float, to_cornea: float) -> None:
    """L/(1 - vL), by matrices."""
    carried = rays.vergence_through_d(rays.translation(to_cornea), vergence)
    assert focus.vergence_at_cornea_d(vergence, to_cornea) == pytest.approx(carried, rel=1e-12, abs=1e-12)


def test_light_focused_before_the_eye_is_refused() -> None:
    """1 - vL down to 0.05 is refused: the light has met before the cornea."""
    with pytest.raises(DomainRefusal, match="before the eye"):
        focus.vergence_at_cornea_d(19.001, 50.0)
    assert focus.vergence_at_cornea_d(18.99, 50.0) == pytest.approx(18.99 / 0.0505)


def test_accommodation_demand_signs() -> None:
    """A corrected eye must make up the divergence; an uncorrected myope less; a negative demand cannot be met."""
    assert focus.accommodation_demand_d(-2.0) == 2.0
    assert focus.accommodation_demand_d(-2.0, -3.0) == -1.0
    assert focus.accommodation_demand_d(-2.0, 1.5) == 3.5


@given(MAGNIFICATIONS, TUBES, st.floats(0.1, 10))
@settings(max_examples=100)
def test_near_limit_is_where_the_swing_is_used_up(m: float, t: float, swing: float) -> None:
    """At the near limit the tube emits exactly -swing; 1 mm stands for clear up to the objective."""
    limit = focus.near_limit_mm(m, t, swing)
    if limit > 1.0:
        whole = rays.object_to_pupil(rays.telescope_matrix(m, t), limit, 0.0)
        assert rays.vergence_at_eye_d(whole) == pytest.approx(-swing, rel=1e-9)
    else:
        assert m > 0 and focus.exit_vergence_d(m, t, -1000.0) >= -swing


# Near limits by hand, (M² - tMS)/S m: M, t, S, mm.
LIMITS = [
    (1.6, 18, 0.5, 5091.2),
    (2.0, 24, 2.0, 1952),
    (-4.0, 80, 3.0, 5653.33),
    (2.5, 28, 2.5, 2430),
    (1.2, 160, 9, 1.0),
    (1.2, 100, 20, 1.0),
    (1.2, 59, 20, 1.2),
]


@pytest.mark.parametrize(("m", "t", "swing", "limit"), LIMITS)
def test_near_limits_by_hand(m: float, t: float, swing: float, limit: float) -> None:
    """Near limits for a swing of focus, tube set for infinity."""
    assert focus.near_limit_mm(m, t, swing) == pytest.approx(limit, abs=0.01)


# Rules of thumb of the trade (common practice, no source): a fixed-focus 1.7x is quoted clear from about 5 ft, a 2.2x from about
# 7 ft. Both mean about 2 D of accommodation and depth of focus together, for tubes of usual length.
@pytest.mark.parametrize(("m", "t", "feet"), [(1.7, 20, 5), (2.2, 26, 7)])
def test_quoted_near_limits_mean_about_two_dioptres(m: float, t: float, feet: float) -> None:
    """The exit vergence at the quoted distance lies near 2 D."""
    assert -focus.exit_vergence_d(m, t, -1000 / (304.8 * feet)) == pytest.approx(2.0, abs=0.25)


@given(
    MAGNIFICATIONS,
    TUBES,
    st.floats(0.25, 1.5),
    st.floats(0, 8),
    st.floats(-8, 3),
    st.sampled_from(["infinity", "hyperfocal"]),
    st.floats(20, 1e6),
)
@settings(max_examples=250)
def test_clear_range_holds_exactly_the_clear_distances(
    m: float, t: float, tolerance: float, accommodation: float, r: float, setting: str, w: float
) -> None:
    """A distance lies in the range exactly when the light of an object there, traced, is within reach of the eye."""
    u = -1000 / w
    shift = tolerance if setting == "hyperfocal" else 0.0
    nearest, farthest = r - accommodation - tolerance, r + tolerance
    try:
        clear = focus.clear_range(m, t, tolerance, accommodation, r, setting)  # type: ignore[arg-type]
    except DomainRefusal as refusal:
        assert "nothing is clear" in str(refusal)
        assert nearest > shift or (m > 0 and farthest < 0)
        return
    if 1 - t * m * u / 1000 <= 0.06:
        assert not clear.contains(u)
        return
    whole = rays.object_to_pupil(rays.telescope_matrix(m, t), w, 0.0)
    assume(abs(whole.b_mm) > 1)
    emitted = rays.vergence_at_eye_d(whole) + shift
    assume(abs(emitted - nearest) > 1e-3 and abs(emitted - farthest) > 1e-3)
    assert clear.contains(u) == (nearest < emitted < farthest)


def test_clear_range_by_hand() -> None:
    """2.0x, t 24, no accommodation, 0.5 D: from 7.95 m set for infinity, 3.95 m hyperfocal, both to infinity."""
    at_infinity = focus.clear_range(2.0, 24, 0.5)
    assert at_infinity == (pytest.approx(7952), None)
    assert at_infinity.far_vergence_d == 0.0
    assert at_infinity.near_vergence_d == pytest.approx(-1000 / 7952)
    assert focus.clear_range(2.0, 24, 0.5, setting="hyperfocal") == (pytest.approx(3952), None)
    # A myope of 1 D left uncorrected: L from -1.5 - 2 to -0.5: U = L/(4 + 0.048 L).
    myope = focus.clear_range(2.0, 24, 0.5, 2.0, -1.0)
    assert myope == (pytest.approx((4 - 0.168) / 3.5 * 1000), pytest.approx((4 - 0.024) / 0.5 * 1000))
    assert myope.far_vergence_d == pytest.approx(-0.5 / 3.976)
    assert focus.clear_range(2.0, 24, 0.5, 2.0, -1.0, "hyperfocal") == (
        pytest.approx((4 - 0.192) / 4.0 * 1000),
        pytest.approx((4 - 0.048) / 1.0 * 1000),
    )
    # A hyperope of 1 D with 3 D of accommodation keeps 2 D for near, and sees infinity.
    assert focus.clear_range(2.0, 24, 0.0, 3.0, 1.0) == (pytest.approx((4 - 0.096) / 2 * 1000), None)


def test_clear_range_at_its_ends() -> None:
    """Only infinity, clear to the objective, and nothing at all, each said as such."""
    only_infinity = focus.clear_range(2.0, 24, 0.0)
    assert only_infinity == (None, None)
    assert only_infinity.contains(0.0) and not only_infinity.contains(-0.01)
    assert only_infinity.near_vergence_d == 0.0
    assert focus.clear_range(2.0, 24, 3.9e-4) == (None, None)
    assert focus.clear_range(2.0, 24, 4.1e-4).near_mm == pytest.approx(9.756e6, rel=1e-3)
    assert focus.clear_range(1.2, 160, 1.0, 9.0).near_mm == 1.0
    assert focus.clear_range(2.0, 24, 0.5, 0.5, 1.0) == (None, None)
    with pytest.raises(DomainRefusal, match="even light from infinity"):
        focus.clear_range(2.0, 24, 0.5, 0.5, 1.001)
    with pytest.raises(DomainRefusal, match="diverges more"):
        focus.clear_range(1.2, 160, 0.5, 0.0, -10.0)
    # The 1.2x of 160 mm emits -1.2/0.16 = -7.5 D at most, -7.461 D from 1 mm.
    with pytest.raises(DomainRefusal, match="diverges more"):
        focus.clear_range(1.2, 160, 0.5, 0.0, -7.962)
    assert focus.clear_range(1.2, 160, 0.5, 0.0, -7.9).far_mm == pytest.approx(1440 / 7.4 - 192)
    with pytest.raises(DomainRefusal, match="focus setting"):
        focus.clear_range(2.0, 24, 0.5, setting="near")  # type: ignore[arg-type]


@given(MAGNIFICATIONS, TUBES, st.floats(400, 4000), st.floats(-5, 5))
@settings(max_examples=80)
def test_near_focus_by_lengthening(m: float, t: float, w: float, r: float) -> None:
    """The lengthened tube shows the object to the corrected relaxed eye at EVD = 1/|M'U|, wherever the eye stands."""
    try:
        tube = focus.near_focus(m, t, -1000 / w, r)
    except DomainRefusal:
        assume(False)
    system = rays.chain(
        rays.lens(telescope.objective_power_d(m, t)),
        rays.translation(tube.tube_length_mm),
        rays.lens(telescope.ocular_power_d(m, t)),
        rays.lens(-r),
    )
    for eye in (0.0, 20.0):
        whole = rays.object_to_pupil(system, w, eye)
        assert rays.chain_evd_mm(whole) == pytest.approx(1000 / tube.equivalent_power_d, rel=1e-4)
    assert focus.near_focus_equivalent_power_d(m, t, -1000 / w, r) == tube.equivalent_power_d


# By hand from t' = 1/(Fobj + U) + 1/Foc and M' = -Foc/(Fobj + U): a 2.0x with +20/-40 and the tubes of the tables.
NEAR = [
    (2.0, 25, 400, 32.143, 2.2857, 5.714),
    (2.5, 28, 400, 34.16, 2.83, 7.08),
    (-4.0, 80, 1000, 84.38, -4.27, 4.27),
]


@pytest.mark.parametrize(("m", "t", "w", "length", "m_near", "power"), NEAR)
def test_near_focus_by_hand(m: float, t: float, w: float, length: float, m_near: float, power: float) -> None:
    """Length, magnification and equivalent power of tubes focused near."""
    tube = focus.near_focus(m, t, -1000 / w)
    assert tube.tube_length_mm == pytest.approx(length, abs=0.005)
    assert tube.magnification == pytest.approx(m_near, abs=0.005)
    assert tube.equivalent_power_d == pytest.approx(power, abs=0.005)
    with pytest.raises(DomainRefusal, match="cannot be focused so far"):
        focus.near_focus(m, t, -1000 / w, 0.0, t, length - 0.01)
    with pytest.raises(DomainRefusal, match="cannot be focused so far"):
        focus.near_focus(m, t, -1000 / w, 0.0, length + 0.01)
    with pytest.raises(DomainRefusal, match="near object"):
        focus.near_focus(m, t, 0.0)
    assert focus.near_focus_equivalent_power_d(m, t, -1000 / w) == pytest.approx(power, abs=0.005)


@given(MAGNIFICATIONS, TUBES, DISTANCES, EYES, st.floats(-1, 10))
@settings(max_examples=120)
def test_evd_is_b_of_the_whole_chain(m: float, t: float, w: float, eye: float, cap: float) -> None:
    """EVD = |B| for an object anywhere, in focus or not, with or without a cap."""
    system = rays.chain(rays.lens(cap), rays.telescope_matrix(m, t))
    whole = rays.object_to_pupil(system, w, eye)
    assume(abs(whole.b_mm) > 1.001)
    assert focus.evd_mm(m, t, w, eye, cap) == pytest.approx(rays.chain_evd_mm(whole), rel=1e-9)


def test_evd_by_hand_and_at_the_pupil() -> None:
    """2.0x (t 24, d 15) with +4 at 230 mm: 115 + 0.08*54; a Keplerian can image an object onto the pupil."""
    assert focus.evd_mm(2.0, 24, 230, 15, 4.0) == pytest.approx(119.32)
    assert focus.evd_mm(2.5, 28, 2000, 16) == pytest.approx(868)
    with pytest.raises(DomainRefusal, match="imaged onto the pupil"):
        focus.evd_mm(-4.0, 80, 319.9, 0.0)
    assert focus.evd_mm(-4.0, 80, 316, 0.0) == 1.0


# Blur ------------------------------------------------------------------------------------------------------------


@given(st.floats(0.5, 100), st.floats(1.5, 7), st.floats(0, 6), st.floats(0.3, 1.5))
@settings(max_examples=80)
def test_blur_loss_adds_blur_and_acuity_in_quadrature(
    mar: float, pupil: float, defocus: float, k: float
) -> None:
    """MAR = √(MAR0² + (k p E)²), restated in logs; the sign of the defocus is of no matter; the inverse leads back."""
    loss = blur.blur_loss_logmar(mar, pupil, defocus, k)
    assert loss == pytest.approx(log10((mar**2 + (k * pupil * defocus) ** 2) ** 0.5 / mar), abs=1e-12)
    assert blur.blur_loss_logmar(mar, pupil, -defocus, k) == loss
    if 0.01 <= loss <= 1.0:
        assert blur.tolerated_defocus_d(mar, pupil, k, loss) == pytest.approx(defocus, rel=1e-6)


# k 0.65 arcmin per mm D (Smith 1991, from memory), 0.1 logMAR: MAR0, pupil mm, tolerated D, by hand.
TOLERATED = [(1, 3, 0.392), (4, 3, 1.569), (10, 4, 2.941), (2, 2, 1.177), (6.3, 5, 1.482)]


@pytest.mark.parametrize(("mar", "pupil", "tolerated"), TOLERATED)
def test_tolerated_defocus_by_hand(mar: float, pupil: float, tolerated: float) -> None:
    """The defocus that costs 0.1 logMAR with the default blur constant."""
    assert focus.tolerated_defocus_d(mar, pupil) == pytest.approx(tolerated, abs=0.0015)
    assert focus.blur_loss_logmar(mar, pupil, tolerated) == pytest.approx(0.1, abs=0.001)


# Residual sphere, cylinder, the root mean square of the two meridians, by hand.
RESIDUALS = [(1.0, 0.0, 1.0), (-0.5, 1.0, 0.5), (0.5, -1.0, 0.5), (0.0, -2.0, 2**0.5), (1.0, 1.0, 2.5**0.5)]


@pytest.mark.parametrize(("sphere", "cylinder", "defocus"), RESIDUALS)
def test_residual_loss_is_the_loss_at_the_mean_defocus(
    sphere: float, cylinder: float, defocus: float
) -> None:
    """A sphere and cylinder left uncorrected cost what their root mean square costs; MAR 4, pupil 3, k 0.65 and 0.8."""
    for k in (0.65, 0.8):
        by_hand = log10((4**2 + (k * 3 * defocus) ** 2) ** 0.5 / 4)
        assert blur.residual_loss_logmar(4, 3, sphere, cylinder, k) == pytest.approx(by_hand, rel=1e-12)
    assert blur.residual_loss_logmar(4, 3, 0.0) == 0.0
    assert blur.residual_loss_logmar(4, 3, sphere, cylinder) == blur.residual_loss_logmar(
        4, 3, sphere, cylinder, 0.65
    )


# Pupil mm, defocus D, whether the law was stated for them (1.5 to 7 mm, up to 6 D: from memory).
LAW = [
    (1.5, 0.0, True),
    (1.499, 0.0, False),
    (7.0, 6.0, True),
    (7.001, 6.0, False),
    (3.0, -6.0, True),
    (3.0, -6.001, False),
    (3.0, 6.001, False),
]


@pytest.mark.parametrize(("pupil", "defocus", "holds"), LAW)
def test_range_of_the_law_of_blur(pupil: float, defocus: float, holds: bool) -> None:
    """Outside the pupils and the defocus for which the law was stated a prediction is an extrapolation, and says so."""
    assert blur.blur_law_holds(pupil, defocus) is holds


def test_range_of_the_law_refuses_what_is_no_eye() -> None:
    """Neither a pupil of 13 mm nor a defocus of 101 D is asked about."""
    for pupil, defocus in ((13.0, 1.0), (0.4, 1.0), (3.0, 101.0), (3.0, float("nan"))):
        with pytest.raises(DomainRefusal):
            blur.blur_law_holds(pupil, defocus)


def test_tolerated_defocus_is_clipped_where_asked() -> None:
    """Limits clip, each on its own; without them nothing is clipped."""
    assert focus.tolerated_defocus_d(10, 3, lower_d=0.25, upper_d=1.5) == 1.5
    assert focus.tolerated_defocus_d(0.5, 4, lower_d=0.25, upper_d=1.5) == 0.25
    assert focus.tolerated_defocus_d(4, 3, lower_d=0.25, upper_d=1.6) == pytest.approx(1.569, abs=0.001)
    assert focus.tolerated_defocus_d(0.5, 4, upper_d=1.5) == pytest.approx(0.147, abs=0.001)
    assert focus.tolerated_defocus_d(10, 3, lower_d=0.25) == pytest.approx(3.922, abs=0.001)
    assert focus.tolerated_defocus_d(100, 1) > 100
    assert focus.tolerated_defocus_d(4, 3, lower_d=1.0, upper_d=1.0) == 1.0
    assert focus.tolerated_defocus_d(1, 3, lower_d=0.0, upper_d=10.0) == pytest.approx(0.392, abs=0.001)
    for lower, upper in ((1.5, 0.25), (-0.01, 1.0), (0.25, 10.01)):
        with pytest.raises(DomainRefusal, match="limits of the tolerated defocus"):
            focus.tolerated_defocus_d(4, 3, lower_d=lower, upper_d=upper)


def test_blur_disc_and_depths_of_focus() -> None:
    """Geometric disc p E mrad; dictionary example 2*0.012*60/3 = 0.48 D (Millodot); 7.03/(ν p) (Green et al. 1980)."""
    assert focus.blur_disc_arcmin(3, 1) == pytest.approx(60 * degrees(atan(0.003)), rel=1e-5)
    assert focus.blur_disc_arcmin(4, -2) == pytest.approx(3.4377467707849396 * 8, rel=1e-12)
    assert focus.depth_of_focus_geometric_d(0.012, 3, 60) == pytest.approx(0.48)
    assert focus.depth_of_focus_geometric_d(0.02, 4, 58) == pytest.approx(0.58)
    assert focus.depth_of_focus_green_d(3, 3) == pytest.approx(0.781, abs=0.0005)
    assert focus.depth_of_focus_green_d(10, 2) == pytest.approx(0.3515)
    with pytest.raises(DomainRefusal, match="finer detail"):
        focus.depth_of_focus_green_d(10.01, 2)


# Hofstetter 1950 (from memory): least 15 - 0.25 a, mean 18.5 - 0.3 a, most 25 - 0.4 a, by hand.
AMPLITUDES = [
    (20, 10.0, 12.5, 17.0),
    (40, 5.0, 6.5, 9.0),
    (60, 0.0, 0.5, 1.0),
    (62, 0.0, 0.0, 0.2),
    (63, 0, 0, 0),
]


@pytest.mark.parametrize(("age", "least", "mean", "most"), AMPLITUDES)
def test_accommodation_by_age(age: float, least: float, mean: float, most: float) -> None:
    """Hofstetter's three lines, never under 0."""
    assert focus.accommodation_amplitude_d(age) == pytest.approx(least, abs=1e-9)
    assert focus.accommodation_amplitude_d(age, "min") == pytest.approx(least, abs=1e-9)
    assert focus.accommodation_amplitude_d(age, "mean") == pytest.approx(mean, abs=1e-9)
    assert focus.accommodation_amplitude_d(age, "max") == pytest.approx(most, abs=1e-9)


def test_sustained_accommodation() -> None:
    """Half of the least amplitude, none from 55 years (common practice); both adjustable."""
    assert focus.sustained_accommodation_d(34) == pytest.approx(3.25)
    assert focus.sustained_accommodation_d(54.9) == pytest.approx(0.6375)
    assert focus.sustained_accommodation_d(55) == 0.0
    assert focus.sustained_accommodation_d(58, none_from_years=60) == pytest.approx(0.25)
    assert focus.sustained_accommodation_d(30, 0.4, estimate="max") == pytest.approx(5.2)
    with pytest.raises(DomainRefusal, match="min, mean or max"):
        focus.accommodation_amplitude_d(30, "least")  # type: ignore[arg-type]
