"""The two-lens telescope: its closed forms against ray matrices, printed examples, and the measurements of it."""

from __future__ import annotations

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from afocal.core.errors import DomainRefusal
from afocal.core.optics import measuring, rays, telescope

MAGNIFICATIONS = st.one_of(st.floats(1.06, 10), st.floats(-10, -1.06))
TUBES = st.floats(8, 160)
EYES = st.floats(9, 40)
DIAMETERS = st.floats(6, 50)

# Schwartz SH, Geometrical and Visual Optics, 2nd ed., figs A-1 and A-2 (p. 317: 350 mm printed to 1 mm) and chapter 12:
# objective D, ocular D, M, t mm, exit pupil from the ocular mm, image of the ocular mm.
SCHWARTZ = [
    (10.0, -25.0, 2.5, 60.0, -24.0, -150.0),
    (10.0, 25.0, -2.5, 140.0, 56.0, 350.0),
    (10.0, -50.0, 5.0, 80.0, -16.0, -400.0),
    (10.0, 50.0, -5.0, 120.0, 24.0, 600.0),
]


@pytest.mark.parametrize(("objective", "ocular", "m", "t", "pupil", "image"), SCHWARTZ)
def test_textbook_tubes(
    objective: float, ocular: float, m: float, t: float, pupil: float, image: float
) -> None:
    """Magnification, length and pupils of the textbook tubes are the printed ones."""
    tube = telescope.telescope_from_powers(objective, ocular)
    assert tube == pytest.approx((m, t, objective, ocular), rel=1e-12)
    assert telescope.magnification(objective, ocular) == pytest.approx(m, rel=1e-12)
    assert telescope.tube_length_mm(objective, ocular) == pytest.approx(t, rel=1e-12)
    assert telescope.exit_pupil_distance_mm(m, t) == pytest.approx(pupil, rel=1e-12)
    assert telescope.ocular_image_distance_mm(m, t) == pytest.approx(image, abs=0.5)
    assert telescope.ocular_image_magnification(m) == m


# Smith WJ, Modern Optical Engineering, 4th ed., 2008, pp. 296-298 (tubes of 10 in, printed in inches).
SMITH = [(-4.0, 254.0, 203.2, 50.8), (4.0, 254.0, 338.67, -84.67)]


@pytest.mark.parametrize(("m", "t", "objective_mm", "ocular_mm"), SMITH)
def test_focal_lengths_of_the_printed_tubes(
    m: float, t: float, objective_mm: float, ocular_mm: float
) -> None:
    """The 4x tubes of 10 in have the printed focal lengths; the Keplerian the printed 2.5 in relief and 1/4 in pupil."""
    assert telescope.objective_focal_length_mm(m, t) == pytest.approx(objective_mm, abs=0.005)
    assert telescope.ocular_focal_length_mm(m, t) == pytest.approx(ocular_mm, abs=0.005)
    pupil = telescope.exit_pupil(m, t, 25.4)
    assert pupil == pytest.approx((-63.5 if m > 0 else 63.5, 6.35))
    assert telescope.exit_pupil_diameter_mm(25.4, m) == pytest.approx(6.35)


def test_eyepiece_travel_as_printed() -> None:
    """Smith p. 290: D f²/1000; 1 D at 25 mm is 0.625 mm, and a myope's eyepiece goes in."""
    assert telescope.ocular_travel_mm(25.0, 1.0) == pytest.approx(0.625)
    assert telescope.ocular_travel_mm(-20.0, -2.0) == pytest.approx(-0.8)


@given(MAGNIFICATIONS, TUBES)
@settings(max_examples=80)
def test_powers_and_length_belong_together(m: float, t: float) -> None:
    """The powers made from (M, t) build, as matrices, an afocal tube of that M and t; and lead back to it."""
    objective, ocular = telescope.objective_power_d(m, t), telescope.ocular_power_d(m, t)
    system = rays.chain(rays.lens(objective), rays.translation(t), rays.lens(ocular))
    assert (system.a, system.b_m, system.d) == pytest.approx((1 / m, t / 1000, m), rel=1e-9)
    assert system.c_d == pytest.approx(0.0, abs=1e-12 * abs(ocular))
    assert objective * telescope.objective_focal_length_mm(m, t) == pytest.approx(1000, rel=1e-12)
    assert ocular * telescope.ocular_focal_length_mm(m, t) == pytest.approx(1000, rel=1e-12)
    assert telescope.magnification_from_objective(objective, t) == pytest.approx(m, rel=1e-9)
    assert telescope.magnification(objective, ocular) == pytest.approx(m, rel=1e-9)
    assert telescope.tube_length_mm(objective, ocular) == pytest.approx(t, rel=1e-7)


@given(MAGNIFICATIONS, TUBES, DIAMETERS, st.floats(0.95, 1.2))
@settings(max_examples=80)
def test_exit_pupil_is_the_image_of_the_objective(
    m: float, t: float, diameter: float, stretch: float
) -> None:
    """Where the matrix from the objective to a plane behind the ocular has B = 0, there is the exit pupil."""
    for actual in (None, t * stretch):
        to_ocular = rays.chain(
            rays.translation(t if actual is None else actual), rays.lens(telescope.ocular_power_d(m, t))
        )
        # A Keplerian set short would have no real exit pupil; it is refused before the pole (tested below).
        assume(m > 0 or to_ocular.d < -0.06)
        place = -1000 * to_ocular.b_m / to_ocular.d
        assert telescope.exit_pupil_distance_mm(m, t, actual) == pytest.approx(place, rel=1e-9)
        if actual is None:
            size = diameter * abs(to_ocular.a + place / 1000 * to_ocular.c_d)
            assert telescope.exit_pupil(m, t, diameter) == pytest.approx((place, size), rel=1e-9)


@given(MAGNIFICATIONS, TUBES)
@settings(max_examples=40)
def test_ocular_seen_from_the_front_is_its_image(m: float, t: float) -> None:
    """The image of the ocular through the objective, by matrices with the light reversed."""
    back = rays.chain(rays.translation(t), rays.lens(telescope.objective_power_d(m, t)))
    place = -1000 * back.b_m / back.d
    assert telescope.ocular_image_distance_mm(m, t) == pytest.approx(place, rel=1e-9)
    size = back.a + place / 1000 * back.c_d
    assert telescope.ocular_image_magnification(m) == pytest.approx(size, rel=1e-9)


def test_keplerian_too_short_for_an_exit_pupil_is_refused() -> None:
    """At t' = f'oc the exit pupil runs to infinity; the refusal names that length."""
    f_ocular = telescope.ocular_focal_length_mm(-4.0, 80.0)
    with pytest.raises(DomainRefusal, match="16 mm"):
        telescope.exit_pupil_distance_mm(-4.0, 80.0, f_ocular * 1.0499)
    assert telescope.exit_pupil_distance_mm(-4.0, 80.0, f_ocular * 1.0501) == pytest.approx(335.3, abs=0.1)
    assert telescope.exit_pupil_distance_mm(2.0, 24.0, 1.0) == pytest.approx(-1 / (1 + 1 / 24), rel=1e-12)


def test_marked_power_and_seen_sign() -> None:
    """Common practice: within 5 % agrees. An erecting prism turns the seen picture, not the sign used in focus."""
    assert telescope.marked_power_deviation_percent(2.5, 2.4) == pytest.approx(-4.0)
    assert telescope.marked_power_deviation_percent(-4.0, 4.4) == pytest.approx(10.0)
    assert telescope.marked_power_agrees(2.0, 2.099)
    assert telescope.marked_power_agrees(2.0, 1.901)
    assert not telescope.marked_power_agrees(2.0, 2.101)
    assert not telescope.marked_power_agrees(2.0, 1.899)
    assert telescope.marked_power_agrees(2.0, 2.25, 12.5)
    assert telescope.marked_power_agrees(2.0, 2.0, 0.0)
    assert telescope.seen_magnification(-4.0, True) == 4.0
    assert telescope.seen_magnification(-4.0, False) == -4.0
    assert telescope.seen_magnification(2.5, False) == 2.5


@given(st.floats(1.06, 10), DIAMETERS, st.booleans())
@settings(max_examples=40)
def test_power_from_diameters(size: float, diameter: float, keplerian: bool) -> None:
    """M = Dobj/Dxp gives back the magnification, with the sign of the type."""
    m = -size if keplerian else size
    pupil = telescope.exit_pupil_diameter_mm(diameter, m)
    assert measuring.magnification_from_diameters(diameter, pupil, keplerian) == pytest.approx(m, rel=1e-12)


@given(MAGNIFICATIONS, TUBES, EYES, st.floats(1000, 10000))
@settings(max_examples=80)
def test_size_ratio_is_the_ratio_of_equivalent_distances(m: float, t: float, eye: float, w: float) -> None:
    """Naked over equivalent distance by matrices; and the ratio leads back to the magnification."""
    assume(m * m * eye < 0.9 * w)
    whole = rays.object_to_pupil(rays.telescope_matrix(m, t), w, eye)
    ratio = measuring.size_ratio_at_eye(m, t, w, eye)
    assert ratio == pytest.approx((w + t + eye) / rays.chain_evd_mm(whole), rel=1e-9)
    found = measuring.magnification_from_image_sizes(ratio, w, t, eye, m < 0)
    assert found == pytest.approx(m, rel=1e-6)


def test_two_images_far_away_give_the_power_at_once() -> None:
    """Beyond 6 m the ratio counts as M; nearer it does not: at 3 m a 2.0x (t 24, d 15) shows a ratio of 1.96."""
    assert measuring.magnification_from_image_sizes(2.5) == 2.5
    assert measuring.magnification_from_diameters(24.0, 12.0) == 2.0
    assert measuring.magnification_from_image_sizes(4.0, keplerian=True) == -4.0
    # A ruler 10 mm away and the eye at the ocular of a tube without length: the ratio is the power itself.
    assert measuring.magnification_from_image_sizes(20.0, 10.0) == pytest.approx(20.0)
    assert measuring.size_ratio_at_eye(2.0, 24.0, 3000.0, 15.0) == pytest.approx(3039 / 1554, rel=1e-12)
    # Hand solution without an eye distance: 2000/M + 24 = 2024/1.9.
    found = measuring.magnification_from_image_sizes(1.9, 2000.0, 24.0, 0.0)
    assert found == pytest.approx(2000 / (2024 / 1.9 - 24), rel=1e-12)
    assert measuring.magnification_from_image_sizes(1.9, 2000.0) == pytest.approx(1.9)
    with pytest.raises(DomainRefusal, match="so large"):
        measuring.magnification_from_image_sizes(6.0, 500.0, 24.0, 40.0)
    with pytest.raises(DomainRefusal, match="so large"):
        measuring.magnification_from_image_sizes(10.0, 100.0, 50.0, 0.0)
    # 100 + 25 mm at a ratio of 5 leaves exactly the tube length of 25 mm, so no power at all is enough.
    with pytest.raises(DomainRefusal, match="so large"):
        measuring.magnification_from_image_sizes(5.0, 100.0, 25.0, 0.0)
    # A double root: w = 900, d = 16, t = 8: rest 240 = 2 sqrt(d w), M = w/(rest/2) = 7.5.
    double = measuring.magnification_from_image_sizes(924 / 248, 900.0, 8.0, 16.0)
    assert double == pytest.approx(7.5, rel=1e-5)
    # Seen from the exit pupil an object fills everything: |B| of 1 mm is the least accepted.
    with pytest.raises(DomainRefusal, match="imaged onto the pupil"):
        measuring.size_ratio_at_eye(-4.0, 80.0, 319.9, 0.0)
    assert measuring.size_ratio_at_eye(-4.0, 80.0, 316.0, 0.0) == pytest.approx(396.0)


@given(MAGNIFICATIONS, st.floats(0, 100), st.floats(0.12, 4), st.booleans())
@settings(max_examples=80)
def test_trial_lens_reading_leads_back_to_the_power(m: float, t: float, lens: float, minus: bool) -> None:
    """The reading is the back vertex power of lens and tube by matrices, and gives back the magnification."""
    lens = -lens if minus else lens
    t = max(t, 0.5)
    assume(1 - t * m * lens / 1000 > 0.06)
    reading = measuring.trial_lens_bvp_d(m, t, lens)
    system = rays.chain(rays.lens(lens), rays.telescope_matrix(m, t))
    assert reading == pytest.approx(rays.back_vertex_power_d(system), rel=1e-9)
    if abs(reading) <= 1000:
        found = measuring.magnification_from_trial_lens(reading, lens, t, m < 0)
        assert found == pytest.approx(m, rel=1e-7)


def test_trial_lens_by_hand() -> None:
    """2.0x with +20/-40 (t 25) and +1 D: 4/(1 - 0.05) = 4.2105 D; the weak-lens rule says the root of V/F."""
    assert measuring.trial_lens_bvp_d(2.0, 25.0, 1.0) == pytest.approx(4.210526, abs=1e-6)
    assert measuring.magnification_from_trial_lens(4.0, 1.0) == pytest.approx(2.0)
    assert measuring.magnification_from_trial_lens(-1.0, -0.25, keplerian=True) == pytest.approx(-2.0)
    with pytest.raises(DomainRefusal, match="magnification"):
        measuring.magnification_from_trial_lens(0.5, 1.0)
    # 1 - tMF = 0.05 at F = 0.95/(0.025*2) = 19 D; a Keplerian has its limit on the minus side.
    for m, lens in ((2.0, 19.001), (-2.0, -19.001)):
        with pytest.raises(DomainRefusal, match="weaker trial lens"):
            measuring.trial_lens_bvp_d(m, 25.0, lens)
        assert measuring.trial_lens_bvp_d(m, 25.0, lens * 0.999) == pytest.approx(
            4 * lens * 0.999 / 0.05095, rel=1e-3
        )
    for reading in (-4.0, 0.0):
        with pytest.raises(DomainRefusal, match="same sign"):
            measuring.magnification_from_trial_lens(reading, 1.0, 25.0)


@given(MAGNIFICATIONS, TUBES)
@settings(max_examples=30)
def test_depth_of_the_exit_pupil_gives_the_tube_length(m: float, t: float) -> None:
    """B = |M| times the depth of the exit pupil, counted without sign."""
    depth = abs(telescope.exit_pupil_distance_mm(m, t))
    assert measuring.tube_length_from_exit_pupil_mm(m, depth) == pytest.approx(t, rel=1e-12)


@pytest.mark.parametrize(
    ("objective", "t"), [(20.0, 2.3), (20.0, 49.6), (20.0, 50.4), (20.0, 97.7), (20.0, 50.0), (2.0, 1000.1)]
)
def test_length_that_makes_no_telescope_is_refused(objective: float, t: float) -> None:
    """Too close to the objective, or to its focus, no ocular makes a telescope of 1.05x to 100x."""
    with pytest.raises(DomainRefusal, match="tube length"):
        telescope.magnification_from_objective(objective, t)


@pytest.mark.parametrize(
    ("t", "m"), [(2.385, 1 / 0.9523), (49.48, 1 / 0.0104), (50.52, -1 / 0.0104), (97.615, -1 / 0.9523)]
)
def test_length_at_the_edge_of_a_telescope_is_accepted(t: float, m: float) -> None:
    """Just inside those lengths the magnification is 1/(1 - t Fobj)."""
    assert telescope.magnification_from_objective(20.0, t) == pytest.approx(m, rel=1e-9)


def test_two_lenses_that_make_no_telescope_are_refused() -> None:
    """A minus objective, an ocular as weak as the objective, and a tube over a metre are refused, each by name."""
    with pytest.raises(DomainRefusal, match="objective power"):
        telescope.magnification(-20.0, 40.0)
    with pytest.raises(DomainRefusal, match="magnification"):
        telescope.magnification(20.0, -20.9)
    assert telescope.magnification(20.0, -21.0) == pytest.approx(1.05)
    with pytest.raises(DomainRefusal, match="tube length"):
        telescope.tube_length_mm(0.9, 80.0)
    with pytest.raises(DomainRefusal, match="magnification"):
        telescope.tube_length_mm(20.0, 20.0)
    with pytest.raises(DomainRefusal, match="tube length"):
        telescope.tube_length_mm(400.0, -450.0)
    assert telescope.tube_length_mm(0.5, -1.0) == 1000.0
    assert telescope.tube_length_mm(1000.0, -2000.0) == 0.5


def test_a_very_fast_objective_is_to_be_confirmed() -> None:
    """2x over 24 mm has an objective of 48 mm focal length: up to 52.8 mm is believed, more is to be confirmed."""
    assert telescope.objective_is_fast(2.0, 24.0, 52.9)
    assert not telescope.objective_is_fast(2.0, 24.0, 52.7)
    # A Keplerian of -4x over 80 mm has 64 mm: 70.4 mm is the limit.
    assert telescope.objective_is_fast(-4.0, 80.0, 70.5)
    assert not telescope.objective_is_fast(-4.0, 80.0, 70.3)
    for arguments in ((1.04, 24.0, 25.0), (2.0, 0.4, 25.0), (2.0, 24.0, 0.09), (2.0, 24.0, 501.0)):
        with pytest.raises(DomainRefusal):
            telescope.objective_is_fast(*arguments)
