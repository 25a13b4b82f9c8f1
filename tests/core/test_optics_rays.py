"""The ray-matrix engine, held against rays traced step by step and against printed lens formulas."""

from __future__ import annotations

from math import atan, degrees, inf, nan, nextafter

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from afocal.core.errors import DomainRefusal
from afocal.core.optics import rays
from afocal.core.optics.rays import IDENTITY, RayMatrix

POWERS = st.floats(-60, 60)
GAPS = st.floats(0, 200)
MAGNIFICATIONS = st.one_of(st.floats(1.05, 10), st.floats(-10, -1.05))
TUBES = st.floats(8, 160)
EYES = st.floats(9, 40)


def traced(y_m: float, u: float, steps: list[tuple[str, float]]) -> tuple[float, float]:
    """Height and slope of one ray after thin lenses (dioptres) and gaps (mm), traced one after the other."""
    for kind, value in steps:
        if kind == "lens":
            u -= y_m * value
        else:
            y_m += u * value / 1000
    return y_m, u


STEPS = st.lists(st.tuples(st.just("lens"), POWERS) | st.tuples(st.just("gap"), GAPS), max_size=6)


def matrix_of(steps: list[tuple[str, float]]) -> RayMatrix:
    """The same steps as one matrix."""
    return rays.chain(*(rays.lens(v) if kind == "lens" else rays.translation(v) for kind, v in steps))


@given(STEPS, st.floats(-0.02, 0.02), st.floats(-0.5, 0.5))
@settings(max_examples=100)
def test_chain_moves_a_ray_as_tracing_it_step_by_step_does(
    steps: list[tuple[str, float]], y: float, u: float
) -> None:
    """A chain acts on any ray as its elements do one after the other, and keeps the determinant 1."""
    m = matrix_of(steps)
    y_out, u_out = traced(y, u, steps)
    size = sum(abs(x) for x in m)
    assert m.a * y + m.b_m * u == pytest.approx(y_out, abs=1e-12 * size)
    assert m.c_d * y + m.d * u == pytest.approx(u_out, abs=1e-12 * size)
    assert m.determinant == pytest.approx(1.0, abs=1e-12 * size * size)
    assert m.b_mm == 1000 * m.b_m


def test_chain_of_nothing_changes_nothing_and_order_counts() -> None:
    """No element is the identity; lens then gap is not gap then lens."""
    assert rays.chain() == IDENTITY == (1.0, 0.0, 0.0, 1.0)
    lens, gap = rays.lens(10.0), rays.translation(50.0)
    assert rays.chain(lens, gap) == pytest.approx((0.5, 0.05, -10.0, 1.0))
    assert rays.chain(gap, lens) == pytest.approx((1.0, 0.05, -10.0, 0.5))
    assert IDENTITY.determinant == 1.0


def test_gap_in_glass_is_reduced_by_the_index() -> None:
    """A gap of 30 mm in index 1.5 acts as 20 mm of air."""
    assert rays.translation(30.0, 1.5) == pytest.approx((1.0, 0.02, 0.0, 1.0))
    assert rays.translation(30.0) == pytest.approx((1.0, 0.03, 0.0, 1.0))


# (radius mm, index before, index after, power D): Gullstrand's schematic cornea, front 7.7 mm n 1.376 = 48.83 D and
# back 6.8 mm to n 1.336 = -5.88 D (from memory of textbooks of visual optics); the others by hand from (n' - n)/r.
SURFACES = [
    (7.7, 1.0, 1.376, 48.83),
    (6.8, 1.376, 1.336, -5.88),
    (100.0, 1.0, 1.5, 5.0),
    (-100.0, 1.5, 1.0, 5.0),
]


@pytest.mark.parametrize(("radius", "before", "after", "power"), SURFACES)
def test_surface_power_of_known_surfaces(radius: float, before: float, after: float, power: float) -> None:
    """Surfaces of the schematic eye and of a plain lens have their known powers."""
    assert rays.surface_power_d(radius, before, after) == pytest.approx(power, abs=0.005)


@given(st.floats(-20, 20), st.floats(-20, 20), st.floats(0, 20), st.floats(1.4, 1.9))
@settings(max_examples=60)
def test_thick_lens_has_the_printed_powers(front: float, back: float, thickness: float, index: float) -> None:
    """F = F1 + F2 - (t/n) F1 F2 and F'v = F2 + F1/(1 - (t/n) F1), as textbooks of optics print them (memory)."""
    m = rays.thick_lens(front, thickness, index, back)
    reduced = thickness / 1000 / index
    assert -m.c_d == pytest.approx(front + back - reduced * front * back, abs=1e-9)
    vertex = back + front / (1 - reduced * front)
    assert rays.back_vertex_power_d(m) == pytest.approx(vertex, abs=1e-9)


@given(MAGNIFICATIONS, TUBES)
@settings(max_examples=60)
def test_telescope_matrix_is_its_two_lenses(magnification: float, tube: float) -> None:
    """[1/M, t; 0, M] is the product of objective, gap and ocular."""
    objective = 1000 * (magnification - 1) / (tube * magnification)
    ocular = -magnification * objective
    product = rays.chain(rays.lens(objective), rays.translation(tube), rays.lens(ocular))
    assert rays.telescope_matrix(magnification, tube) == pytest.approx(product, abs=1e-9)


@given(st.floats(1, 1e4), EYES)
@settings(max_examples=40)
def test_naked_eye_sees_at_the_plain_distance(distance: float, eye: float) -> None:
    """Without a device the equivalent distance is the distance to the pupil, and the light diverges from it."""
    whole = rays.object_to_pupil(IDENTITY, distance, eye)
    assert rays.chain_evd_mm(whole) == pytest.approx(distance + eye)
    assert rays.vergence_at_eye_d(whole) == pytest.approx(-1000 / (distance + eye))


@given(MAGNIFICATIONS, TUBES, EYES, st.floats(0.5, 20))
@settings(max_examples=60)
def test_cap_focus_is_seen_at_the_cap_distance_over_m(m: float, tube: float, eye: float, cap: float) -> None:
    """With the object at the cap focus EVD = 1/(|M| Fcap) whatever the eye distance, and the light arrives parallel."""
    system = rays.chain(rays.lens(cap), rays.telescope_matrix(m, tube))
    whole = rays.object_to_pupil(system, 1000 / cap, eye)
    assert rays.chain_evd_mm(whole) == pytest.approx(1000 / (abs(m) * cap), rel=1e-9)
    assert rays.vergence_at_eye_d(whole) == pytest.approx(0.0, abs=1e-6 * m * m * cap)


# Schwartz SH, Geometrical and Visual Optics, 2nd ed., ch. 11: a +10 D magnifier and a +2.50 D add, 10 cm apart give 10.00 D,
# 5 cm apart 11.25 D. Object distances by hand: the image lies in the focal plane of the add, 400 mm in front of it.
@pytest.mark.parametrize(
    ("apart_mm", "image_from_magnifier_mm", "power_d"), [(100, 300, 10.0), (50, 350, 11.25)]
)
def test_magnifier_with_add_has_the_printed_power(
    apart_mm: float, image_from_magnifier_mm: float, power_d: float
) -> None:
    """A magnifier and an add in a row have the printed equivalent power at every eye distance."""
    object_mm = 1000 / (10 + 1000 / image_from_magnifier_mm)
    system = rays.chain(rays.lens(10.0), rays.translation(apart_mm), rays.lens(2.5))
    for eye in (0.0, 15.0):
        whole = rays.object_to_pupil(system, object_mm, eye)
        assert 1000 / rays.chain_evd_mm(whole) == pytest.approx(power_d, rel=1e-9)


@given(STEPS, st.floats(-20, 20))
@settings(max_examples=100)
def test_vergence_through_a_chain_is_the_vergence_stepped_through_it(
    steps: list[tuple[str, float]], vergence: float
) -> None:
    """L' = L + F at each lens and L/(1 - x L) over each gap lead to the same vergence as the matrix."""
    value = vergence
    for kind, v in steps:
        if kind == "lens":
            value += v
        else:
            assume(abs(1 - v * value / 1000) > 0.01)
            value /= 1 - v * value / 1000
    m = matrix_of(steps)
    assert rays.vergence_through_d(m, vergence) == pytest.approx(value, rel=1e-6, abs=1e-6)


def test_light_focused_at_the_last_lens_is_refused() -> None:
    """A lens of +10 D focuses a distant object 100 mm behind it; a vertex there has no vergence."""
    at_focus = rays.chain(rays.lens(10.0), rays.translation(100.0))
    with pytest.raises(DomainRefusal, match="focus at the last lens"):
        rays.back_vertex_power_d(at_focus)
    near = rays.chain(rays.lens(10.0), rays.translation(99.9))
    assert rays.back_vertex_power_d(near) == pytest.approx(1000 / 0.1, rel=1e-6)
    with pytest.raises(DomainRefusal, match="focus at the last lens"):
        rays.vergence_through_d(RayMatrix(0.0, 0.0, 1.0, 1.0), 5.0)
    # With B = 1 m and U = 2 + x the ray meets the last element at height -x with slope 1: vergence -1/x.
    for x in (0.9e-6, -0.9e-6, 0.995e-6, -0.995e-6):
        with pytest.raises(DomainRefusal, match="focus at the last lens"):
            rays.vergence_through_d(RayMatrix(2.0, 1.0, 0.0, 0.5), 2.0 + x)
    for x in (1.1e-6, -1.1e-6):
        vergence = rays.vergence_through_d(RayMatrix(2.0, 1.0, 0.0, 0.5), 2.0 + x)
        assert vergence == pytest.approx(-1 / x, rel=1e-4)
    assert rays.vergence_through_d(RayMatrix(1.0, 0.0, -1e6, 1.0), 0.0) == 1e6
    with pytest.raises(DomainRefusal, match="focus at the last lens"):
        rays.vergence_through_d(RayMatrix(0.0, 0.0, 0.0, 1.0), 0.0)


@given(st.floats(1.2, 4), TUBES, EYES, st.floats(6, 50))
@settings(max_examples=60)
def test_field_by_the_pupil_centre_ray(m: float, tube: float, eye: float, diameter: float) -> None:
    """The real half field of a Galilean is the slope of the ray from the pupil centre to the rim: Dobj/(2M(t + Md))."""
    field = rays.real_field_by_ray_deg(rays.telescope_matrix(m, tube), diameter, eye)
    assert field == pytest.approx(2 * degrees(atan(diameter / (2 * m * (tube + m * eye)))), rel=1e-9)


def test_field_of_a_tube_that_is_not_afocal_follows_the_traced_ray() -> None:
    """For a tube out of focus too, a ray of that slope at the rim really crosses the pupil centre."""
    steps = [("lens", 20.0), ("gap", 22.0), ("lens", -40.0)]
    field = rays.real_field_by_ray_deg(matrix_of(steps), 25.0, 15.0)
    slope = 0.0125 * abs((1 - 0.022 * 20 + 0.015 * (-20 + 40 - 0.022 * 20 * 40)) / 1.0)
    y_at_pupil, _ = traced(0.0125, -slope / abs(0.022 + 0.015 * (1 + 0.022 * 40)), [*steps, ("gap", 15.0)])
    assert y_at_pupil == pytest.approx(0.0, abs=1e-12)
    assert field == pytest.approx(2 * degrees(atan(slope / (0.022 + 0.015 * 1.88))), rel=1e-12)


def test_eye_at_the_exit_pupil_of_a_keplerian_has_no_rim_field() -> None:
    """At t/|M| behind a Keplerian ocular the objective is imaged onto the eye pupil and limits nothing."""
    tube = rays.telescope_matrix(-4.0, 80.0)
    with pytest.raises(DomainRefusal, match="exit pupil"):
        rays.real_field_by_ray_deg(tube, 20.0, 20.0)
    assert rays.real_field_by_ray_deg(tube, 20.0, 20.001) > 100
    # |B| of 1.001e-6 mm still has a field, 0.995e-6 mm has none.
    assert rays.real_field_by_ray_deg(RayMatrix(1.0, 1.001e-9, 0.0, 1.0), 20.0, 0.0) > 179
    with pytest.raises(DomainRefusal, match="exit pupil"):
        rays.real_field_by_ray_deg(RayMatrix(1.0, 0.995e-9, 0.0, 1.0), 20.0, 0.0)


def test_object_imaged_onto_the_pupil_is_refused() -> None:
    """|B| under 1 mm has neither an equivalent distance nor a vergence; 1 mm has."""
    for b in (0.0009999, -0.0009999, 0.0):
        with pytest.raises(DomainRefusal, match="imaged onto the pupil"):
            rays.chain_evd_mm(RayMatrix(1.0, b, 0.0, 1.0))
        with pytest.raises(DomainRefusal, match="imaged onto the pupil"):
            rays.vergence_at_eye_d(RayMatrix(1.0, b, 0.0, 1.0))
    assert rays.chain_evd_mm(RayMatrix(1.0, -0.001, 0.0, 1.0)) == 1.0
    assert rays.vergence_at_eye_d(RayMatrix(1.0, -0.001, 0.0, 1.0)) == 1000.0


@pytest.mark.parametrize("bad", [nan, inf, -inf, 1.005e60])
@pytest.mark.parametrize("place", [0, 1, 2, 3])
def test_matrix_that_is_no_system_is_refused(bad: float, place: int) -> None:
    """Elements that are not finite, or beyond any chain of lenses, are refused by every reader of a matrix."""
    matrix = RayMatrix(*(bad if i == place else 1.0 for i in range(4)))
    for read in (rays.chain, rays.chain_evd_mm, rays.vergence_at_eye_d, rays.back_vertex_power_d):
        with pytest.raises(DomainRefusal, match="ray matrix"):
            read(matrix)
    assert rays.chain(RayMatrix(1e60, 0.0, 0.0, 1.0)).a == 1e60


OUTSIDE = [
    (rays.lens, (nextafter(250_000.0, inf),)),
    (rays.lens, (nextafter(-250_000.0, -inf),)),
    (rays.translation, (nextafter(0.0, -1),)),
    (rays.translation, (nextafter(1e7, inf),)),
    (rays.translation, (1.0, nextafter(1.0, 0))),
    (rays.translation, (1.0, nextafter(4.0, 5))),
    (rays.surface_power_d, (nextafter(0.5, 0), 1.0, 1.5)),
    (rays.surface_power_d, (nextafter(1e7, inf), 1.0, 1.5)),
    (rays.surface_power_d, (10.0, nextafter(1.0, 0), 1.5)),
    (rays.surface_power_d, (10.0, 1.5, nextafter(4.0, 5))),
    (rays.object_to_pupil, (IDENTITY, 100.0, nextafter(0.0, -1))),
    (rays.object_to_pupil, (IDENTITY, 100.0, nextafter(1000.0, inf))),
    (rays.vergence_through_d, (IDENTITY, nextafter(1000.0, inf))),
    (rays.vergence_through_d, (IDENTITY, nextafter(-1000.0, -inf))),
    (rays.real_field_by_ray_deg, (RayMatrix(0.5, 0.024, 0, 2), nextafter(0.1, 0), 15.0)),
    (rays.real_field_by_ray_deg, (RayMatrix(0.5, 0.024, 0, 2), nextafter(500.0, inf), 15.0)),
]
INSIDE = [
    (rays.lens, (250_000.0,)),
    (rays.lens, (-250_000.0,)),
    (rays.translation, (0.0,)),
    (rays.translation, (1e7,)),
    (rays.translation, (1.0, 1.0)),
    (rays.translation, (1.0, 4.0)),
    (rays.surface_power_d, (0.5, 1.0, 4.0)),
    (rays.surface_power_d, (-1e7, 4.0, 1.0)),
    (rays.object_to_pupil, (IDENTITY, 100.0, 0.0)),
    (rays.object_to_pupil, (IDENTITY, 100.0, 1000.0)),
    (rays.vergence_through_d, (IDENTITY, 1000.0)),
    (rays.vergence_through_d, (IDENTITY, -1000.0)),
    (rays.real_field_by_ray_deg, (RayMatrix(0.5, 0.024, 0, 2), 0.1, 15.0)),
    (rays.real_field_by_ray_deg, (RayMatrix(0.5, 0.024, 0, 2), 500.0, 15.0)),
]


@pytest.mark.parametrize(("function", "arguments"), OUTSIDE)
def test_just_outside_is_refused(function, arguments) -> None:  # type: ignore[no-untyped-def]
    """One step outside the accepted range is refused, in a sentence that says what is accepted."""
    with pytest.raises(DomainRefusal, match="accepted is"):
        function(*arguments)


@pytest.mark.parametrize(("function", "arguments"), INSIDE)
def test_the_ends_of_the_range_are_accepted(function, arguments) -> None:  # type: ignore[no-untyped-def]
    """Both ends of an accepted range belong to it."""
    function(*arguments)
