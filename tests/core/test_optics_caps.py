"""Reading caps: working distance, power and clear range, by ray matrices, printed cases and by hand."""

from __future__ import annotations

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from afocal.core.errors import DomainRefusal
from afocal.core.optics import caps, rays

MAGNIFICATIONS = st.one_of(st.floats(1.2, 10), st.floats(-10, -1.2))
TUBES = st.floats(8, 160)
CAPS = st.floats(0.25, 20)
EYES = st.floats(9, 40)


def emitted_d(m: float, t: float, cap: float, w: float) -> float:
    """The vergence leaving the tube for an object w mm in front of its cap, by matrices."""
    system = rays.chain(rays.lens(cap), rays.telescope_matrix(m, t))
    return rays.vergence_at_eye_d(rays.object_to_pupil(system, w, 0.0))


@given(MAGNIFICATIONS, TUBES, CAPS, EYES)
@settings(max_examples=80)
def test_cap_power_and_distance_are_those_of_the_matrix(m: float, t: float, cap: float, eye: float) -> None:
    """At the working distance the light leaves parallel and EVD is 1/(|M| Fcap), for every eye distance."""
    w = caps.cap_working_distance_mm(cap)
    system = rays.chain(rays.lens(cap), rays.telescope_matrix(m, t))
    assert rays.vergence_through_d(system, -1000 / w) == pytest.approx(0.0, abs=1e-9 * m * m * cap)
    evd = rays.chain_evd_mm(rays.object_to_pupil(system, w, eye))
    assert caps.cap_evd_mm(m, cap) == pytest.approx(evd, rel=1e-9)
    assert caps.cap_equivalent_power_d(m, cap) == pytest.approx(1000 / evd, rel=1e-9)
    assert caps.cap_power_for_evp_d(m, 1000 / evd) == pytest.approx(cap, rel=1e-9)


def test_textbook_cap() -> None:
    """Schwartz SH, Geometrical and Visual Optics, ch. 12: 5 M at 40 cm, goal 1 M, 2.5x: cap +5.00, 20 cm, 12.5 D."""
    assert caps.cap_power_for_goal_d(2.5, 400, 5, 1) == pytest.approx(5.0)
    assert caps.cap_working_distance_mm(5.0) == 200.0
    assert caps.cap_equivalent_power_d(2.5, 5.0) == 12.5
    assert caps.cap_evd_mm(-2.5, 5.0) == 80.0


def test_goal_with_a_reserve() -> None:
    """2 M at 40 cm, goal 1 M, reserve 1.5: EVD 400/3 mm, 7.5 D, hence +3.75 on a 2.0x; a quarter of that at 160 cm."""
    assert caps.cap_power_for_goal_d(2.0, 400, 2, 1, 1.5) == pytest.approx(3.75)
    assert caps.cap_power_for_goal_d(-2.0, 1600, 2, 1, 1.5) == pytest.approx(0.9375)


# Bailey IL, A rational approach to prescribing magnifiers, course notes 2004: equivalent power and distance go together;
# 8 D is 2x re 25 cm and 3.2x re 40 cm (by hand).
@pytest.mark.parametrize(("power", "reference", "times"), [(8, 250, 2.0), (8, 400, 3.2), (12.5, 250, 3.125)])
def test_magnification_states_its_reference(power: float, reference: float, times: float) -> None:
    """Magnification is equivalent power times the reference distance in metres."""
    assert caps.magnification_re_distance(power, reference) == pytest.approx(times)


@given(MAGNIFICATIONS, TUBES, CAPS, st.floats(0, 1.5), st.floats(0, 5), st.floats(-8, 3))
@settings(max_examples=200)
def test_edges_are_where_the_eye_runs_out(
    m: float, t: float, cap: float, tolerance: float, accommodation: float, r: float
) -> None:
    """At the near edge the tube emits R - (A + δ), at the far edge R + δ, by matrices."""
    try:
        clear = caps.cap_clear_range(m, t, cap, tolerance, accommodation, r)
    except DomainRefusal:
        assume(False)
    near = r - accommodation - tolerance
    assert emitted_d(m, t, cap, clear.near_edge_mm) == pytest.approx(near, rel=1e-6, abs=1e-6)
    assert emitted_d(m, t, cap, clear.far_edge_mm) == pytest.approx(r + tolerance, rel=1e-6, abs=1e-6)
    arguments = (m, t, cap, tolerance, accommodation, r)
    assert caps.cap_near_edge_mm(*arguments) == clear.near_edge_mm
    assert caps.cap_far_edge_mm(*arguments) == clear.far_edge_mm
    assert caps.cap_depth_mm(*arguments) == clear.depth_mm == clear.far_edge_mm - clear.near_edge_mm
    assert clear.depth_mm >= 0


@given(MAGNIFICATIONS, TUBES, CAPS, st.floats(-8, 3))
@settings(max_examples=80)
def test_uncorrected_working_distance_suits_the_relaxed_eye(m: float, t: float, cap: float, r: float) -> None:
    """At that distance the tube emits R; a myope works nearer, a hyperope farther."""
    try:
        w = caps.cap_working_distance_uncorrected_mm(m, t, cap, r)
    except DomainRefusal:
        assume(False)
    assert emitted_d(m, t, cap, w) == pytest.approx(r, rel=1e-6, abs=1e-6)
    if abs(r) > 1e-6:
        assert (w < 1000 / cap) == (r < 0)


# By hand, M, t, cap, tolerance, accommodation, near edge, far edge: 1/(Fcap ± L/(M² ± tML)).
EDGES = [
    (2.0, 24, 4.0, 0.5, 0.0, 242.38, 258.01),
    (2.5, 28, 2.25, 1.0, 1.0, 388.00, 478.06),
    (1.6, 18, 1.5, 0.5, 0.0, 589.48, 765.83),
    (3.0, 35, 5.0, 0.5, 0.0, 197.8, 202.2),
]


@pytest.mark.parametrize(("m", "t", "cap", "tolerance", "accommodation", "near", "far"), EDGES)
def test_clear_range_by_hand(
    m: float, t: float, cap: float, tolerance: float, accommodation: float, near: float, far: float
) -> None:
    """Both edges, and that the depth is about 2δ/(M Fcap)² when there is no accommodation."""
    clear = caps.cap_clear_range(m, t, cap, tolerance, accommodation)
    assert (clear.near_edge_mm, clear.far_edge_mm) == pytest.approx((near, far), abs=0.06)
    if accommodation == 0:
        assert clear.depth_mm == pytest.approx(2000 * tolerance / (m * cap) ** 2, rel=0.05)


def test_eye_is_corrected_and_presbyopic_unless_said_otherwise() -> None:
    """Without accommodation and ametropia the edges of a 2.0x (t 24) with +4.00 and 0.5 D are those by hand."""
    near, far = 1000 / (4 + 0.5 / 3.976), 1000 / (4 - 0.5 / 4.024)
    assert caps.cap_near_edge_mm(2.0, 24, 4.0, 0.5) == pytest.approx(near)
    assert caps.cap_far_edge_mm(2.0, 24, 4.0, 0.5) == pytest.approx(far)
    assert caps.cap_depth_mm(2.0, 24, 4.0, 0.5) == pytest.approx(far - near)
    assert caps.cap_clear_range(2.0, 24, 4.0, 0.5) == pytest.approx((near, far, far - near))


def test_uncorrected_eyes_by_hand() -> None:
    """2.0x (t 24) with +4.00: a -3 D eye works at 209 mm, a +3 D eye at 305 mm."""
    assert caps.cap_working_distance_uncorrected_mm(2.0, 24, 4.0, -3) == pytest.approx(1000 / (4 + 3 / 3.856))
    assert caps.cap_working_distance_uncorrected_mm(2.0, 24, 4.0, 3) == pytest.approx(1000 / (4 - 3 / 4.144))


def test_cap_without_a_far_end_is_refused() -> None:
    """A cap too weak for what the eye tolerates, or for its hyperopia, has no finite answer; the refusal says how much."""
    with pytest.raises(DomainRefusal, match=r"more than 0\.295 D"):
        caps.cap_far_edge_mm(2.0, 24, 0.29, 0.99)
    assert caps.cap_far_edge_mm(2.0, 24, 0.30, 0.99) == pytest.approx(1000 / (0.30 - 0.99 / 4.04752))
    with pytest.raises(DomainRefusal, match=r"more than 0\.774 D"):
        caps.cap_working_distance_uncorrected_mm(2.0, 24, 0.77, 3)
    assert caps.cap_working_distance_uncorrected_mm(2.0, 24, 0.78, 3) == pytest.approx(
        1000 / (0.78 - 3 / 4.144)
    )
    with pytest.raises(DomainRefusal, match="beyond infinity"):
        caps.cap_near_edge_mm(2.0, 24, 0.5, 0.0, 0.0, 3.0)
    # What is left must be at least 0.05 D (20 m); a corrected eye without tolerance meets it exactly.
    assert caps.cap_far_edge_mm(2.0, 24, 0.05, 0.0) == 20_000
    assert caps.cap_working_distance_uncorrected_mm(2.0, 24, 0.05, 0.0) == 20_000


# A plain +5 D lens with ±0.4 D: 1/5 - 1/5.4 and 1/4.6 - 1/5 m.
def test_depth_of_a_plain_lens() -> None:
    """The depth to each side of the focus; the far side ends."""
    assert caps.lens_depth_one_side_mm(5, 0.4, "near") == pytest.approx(200 - 1000 / 5.4)
    assert caps.lens_depth_one_side_mm(5, 0.4, "far") == pytest.approx(1000 / 4.6 - 200)
    with pytest.raises(DomainRefusal, match="out to infinity"):
        caps.lens_depth_one_side_mm(0.5, 0.4501, "far")
    assert caps.lens_depth_one_side_mm(0.5, 0.4499, "far") == pytest.approx(1000 / 0.0501 - 2000)
    assert caps.lens_depth_one_side_mm(0.05, 0.0, "far") == 0.0
    assert caps.lens_depth_one_side_mm(0.5, 0.6, "near") == pytest.approx(2000 - 1000 / 1.1)
    with pytest.raises(DomainRefusal, match="near or far"):
        caps.lens_depth_one_side_mm(5, 0.4, "left")  # type: ignore[arg-type]


def test_warnings() -> None:
    """Common practice: EVD over 40 cm is no reading aid; a working distance under 10 cm must be confirmed."""
    assert caps.cap_is_weak_for_reading(1.6, 1.5)
    assert not caps.cap_is_weak_for_reading(2.0, 1.25)
    assert caps.cap_is_weak_for_reading(2.0, 1.249)
    assert not caps.cap_is_weak_for_reading(1.6, 1.5, 420)
    assert caps.working_distance_is_short(99.9)
    assert not caps.working_distance_is_short(100.0)
    assert caps.working_distance_is_short(150, 160)


def test_cap_out_of_reach_is_refused() -> None:
    """A goal that needs less than +0.05 or more than +60 D is refused with the power it would take."""
    with pytest.raises(DomainRefusal, match=r"cap power: 62\.5"):
        caps.cap_power_for_goal_d(2.0, 400, 50, 1)
    with pytest.raises(DomainRefusal, match="cap power"):
        caps.cap_power_for_evp_d(2.0, 0.0999)
    assert caps.cap_power_for_evp_d(2.0, 0.1) == 0.05
    assert caps.cap_power_for_evp_d(-2.0, 120) == 60.0
    with pytest.raises(DomainRefusal, match="cap power"):
        caps.cap_power_for_evp_d(2.0, 120.1)
