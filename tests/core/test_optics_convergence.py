"""Convergence at near against rays traced from the object to the pupil of each eye, and plain triangles."""

from __future__ import annotations

from math import atan, degrees

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from afocal.core.errors import DomainRefusal
from afocal.core.formula import recording
from afocal.core.optics.convergence import (
    ConvergenceRelief,
    NearInterpupillary,
    cap_base_in_full_prism,
    cap_base_in_relief_prism,
    convergence_converged_tubes_prism,
    convergence_naked_prism,
    convergence_parallel_tubes_prism,
    convergence_relief,
    convergence_with_base_in_prism,
    convergence_with_caps_prism,
    half_eye_base_in_prism,
    near_interpupillary_by_eye,
    near_interpupillary_mm,
    object_to_pupil_b_mm,
    toe_in_angle_deg,
)
from afocal.core.optics.rays import chain, lens, object_to_pupil, telescope_matrix


def slope_at_pupil(magnification, tube_length, cap, distance, eye_distance, height, cap_shift=0.0):
    """Slope at the eye of the ray from an object point through the pupil's middle, lens by lens."""
    objective_focus = tube_length * magnification / (magnification - 1)
    ocular_focus = tube_length / (1 - magnification)

    def arrive(slope):
        y = height + distance * slope
        u = slope - (y - cap_shift) * cap / 1000 - y / objective_focus
        y += tube_length * u
        u -= y / ocular_focus
        return y + eye_distance * u, u

    (start, first), (end, second) = arrive(0.0), arrive(1.0)
    return first - start / (end - start) * (second - first)


CASES = [
    (2.0, 24.0, 250.0, 15.0, 4.0),
    (2.5, 28.0, 1500.0, 15.0, 0.0),
    (1.6, 18.0, 500.0, 14.0, 2.25),
    (-4.0, 80.0, 3000.0, 17.0, 0.0),
    (-3.0, 60.0, 240.0, 20.0, 4.0),
]


@pytest.mark.parametrize("case", CASES)
def test_b_equals_the_ray_matrix(case):
    """B is the element of the chain from object to pupil, with its sign."""
    magnification, tube_length, distance, eye_distance, cap = case
    whole = object_to_pupil(
        chain(lens(cap), telescope_matrix(magnification, tube_length)), distance, eye_distance
    )
    assert object_to_pupil_b_mm(*case) == pytest.approx(whole.b_mm)


@settings(max_examples=80)
@given(
    magnification=st.one_of(st.floats(1.2, 10), st.floats(-10, -1.2)),
    tube_length=st.floats(8, 160),
    distance=st.floats(50, 20000),
    eye_distance=st.floats(9, 40),
    cap=st.floats(0, 20),
)
def test_b_everywhere(magnification, tube_length, distance, eye_distance, cap):
    """Over the accepted ranges B has the sign of M, equals the matrix and is refused otherwise."""
    whole = object_to_pupil(
        chain(lens(cap), telescope_matrix(magnification, tube_length)), distance, eye_distance
    )
    light = distance + tube_length * magnification * (1 - cap * distance / 1000)
    signed = whole.b_mm if magnification > 0 else -whole.b_mm
    if light <= 0 or signed < 1:
        if abs(light) > 1e-6 and abs(signed - 1) > 1e-6:
            with pytest.raises(DomainRefusal):
                object_to_pupil_b_mm(magnification, tube_length, distance, eye_distance, cap)
    elif signed > 1 + 1e-6 and light > 1e-6:
        found = object_to_pupil_b_mm(magnification, tube_length, distance, eye_distance, cap)
        assert found == pytest.approx(whole.b_mm, rel=1e-7, abs=1e-7)


def test_pole_of_a_keplerian():
    """An object at t |M| or nearer is refused with that distance, just beyond it is accepted."""
    with pytest.raises(DomainRefusal, match=r"pole of the tube.*320 mm.*for example 640"):
        object_to_pupil_b_mm(-4, 80, 320, 17)
    assert object_to_pupil_b_mm(-4, 80, 320.001, 17) == pytest.approx(-80 + 80 - 68, abs=0.001)
    # Inside the pole by far B would even be positive.
    with pytest.raises(DomainRefusal, match="pole of the tube"):
        object_to_pupil_b_mm(-4, 80, 20, 17)


def test_light_that_crosses_before_the_pupil():
    """A distant object through a strong cap crosses before the eye; the refusal names the cap's focus."""
    with pytest.raises(DomainRefusal, match=r"near the cap focus at 50 mm \(for example 50\)"):
        object_to_pupil_b_mm(2, 24, 100, 15, 20.0)
    with pytest.raises(DomainRefusal, match=r"near the cap focus at 100 mm"):
        object_to_pupil_b_mm(-2, 20, 5000, 60, 10.0)
    with pytest.raises(DomainRefusal, match="near the cap focus at 2000 mm"):
        object_to_pupil_b_mm(2, 24, 1e6, 600, 0.5)
    # Where |B| is exactly 1 mm the slope can still be told: w = 20 mm before a 20x tube with cap focus there.
    assert object_to_pupil_b_mm(20, 24, 20, 15, 50.0) == 1.0
    with pytest.raises(DomainRefusal, match="cross before"):
        object_to_pupil_b_mm(20, 24, 20.0001, 15, 50.0)
    with pytest.raises(DomainRefusal, match=r"a farther object \(for example 400\)"):
        object_to_pupil_b_mm(20, 0.5, 1, 0.0)
    with pytest.raises(DomainRefusal, match=r"a farther object \(for example 400\)"):
        object_to_pupil_b_mm(20, 0.5, 1, 0.0, -1.0)


def test_naked():
    """A triangle: 64 mm at 40 cm are 16 prism dioptres, at 1.5 m 4.27."""
    assert convergence_naked_prism(64, 400) == pytest.approx(16)
    assert convergence_naked_prism(64, 1500) == pytest.approx(4.26667, abs=1e-5)


@pytest.mark.parametrize("case", CASES)
def test_parallel_tubes_equal_traced_rays(case):
    """Both eyes' slopes to an object on the midline add up to the demand, the prism turning a Keplerian's back."""
    magnification, tube_length, distance, eye_distance, cap = case
    # Right eye: the object lies 32 mm to its left, so it converges when the ray comes in sloping to the right.
    slope = slope_at_pupil(magnification, tube_length, cap, distance, eye_distance, -32.0)
    plain = 2 * 100 * slope
    shared = (magnification, tube_length, distance, eye_distance, 64.0, cap)
    assert convergence_parallel_tubes_prism(*shared, False) == pytest.approx(plain)
    erect = -plain if magnification < 0 else plain
    assert convergence_parallel_tubes_prism(*shared) == pytest.approx(erect)
    assert erect > 0


def test_m_times_naked_overstates():
    """2.5x at 1.5 m: 9.6 prism dioptres, not 2.5 times 4.27."""
    demand = convergence_parallel_tubes_prism(2.5, 28, 1500, 15, 64)
    assert demand == pytest.approx(9.617, abs=0.001)
    assert demand < 2.5 * convergence_naked_prism(64, 1500)


def test_caps_at_their_focus():
    """At the cap focus the demand is |M| Fcap PD, here also through the general form; inverting turns the sign."""
    assert convergence_with_caps_prism(2.0, 4.0, 64) == pytest.approx(51.2)
    assert convergence_with_caps_prism(2.0, 4.0, 64) == pytest.approx(
        convergence_parallel_tubes_prism(2, 24, 250, 15, 64, 4)
    )
    assert convergence_with_caps_prism(-3.0, 2.0, 60) == pytest.approx(36)
    assert convergence_with_caps_prism(-3.0, 2.0, 60, False) == pytest.approx(-36)
    assert convergence_with_caps_prism(3.0, 2.0, 60, False) == pytest.approx(36)


def test_converged_tubes():
    """Axes that meet at the target: half PD over the distance to the centre of rotation, each; both make the demand."""
    angle = toe_in_angle_deg(64, 250, 27)
    assert angle == pytest.approx(degrees(atan(32 / 277)))
    assert convergence_converged_tubes_prism(64, 250, 27) == pytest.approx(200 * 32 / 277)
    assert convergence_converged_tubes_prism(64, 250, 27) == pytest.approx(convergence_naked_prism(64, 277))


@pytest.mark.parametrize("shift", [0.0, 4.0, 32.0, 40.0])
@pytest.mark.parametrize("distance", [250.0, 240.0])
def test_base_in_equals_traced_rays(shift, distance):
    """Caps decentred towards the nose leave the demand of the rays traced through the shifted caps."""
    slope = slope_at_pupil(2.0, 24.0, 4.0, distance, 15.0, -32.0, -shift)
    found = convergence_with_base_in_prism(2.0, 24.0, 4.0, distance, 15.0, 64.0, shift)
    assert found == pytest.approx(200 * slope, abs=1e-9)
    if distance == 250.0:
        relief = cap_base_in_relief_prism(2.0, 4.0, shift)
        assert found == pytest.approx(51.2 - 2 * relief, abs=1e-9)


def test_base_in_of_a_keplerian():
    """With an erecting prism the demand of a Keplerian stays positive and its relief uses |M|."""
    assert convergence_with_base_in_prism(-3.0, 60.0, 4.0, 250.0, 20.0, 64.0, 0.0) == pytest.approx(76.8)
    assert cap_base_in_relief_prism(-3.0, 4.0, 5.0) == pytest.approx(6.0)


def test_full_base_in():
    """12.8 prism dioptres before each +4.00 cap, PD 64, leave nothing for the eyes to do."""
    assert cap_base_in_full_prism(4.0, 64) == pytest.approx(12.8)
    assert convergence_with_base_in_prism(2.5, 28, 4.0, 250.0, 15, 64, 32) == pytest.approx(0, abs=1e-9)


def test_three_ways():
    """The relief record puts the demand beside toe-in, what that leaves, and full base-in."""
    relief = convergence_relief(2.0, 24.0, 4.0, 64.0, 27.0)
    assert relief == ConvergenceRelief(
        pytest.approx(51.2),
        pytest.approx(degrees(atan(32 / 301))),
        pytest.approx(6400 / 301),
        pytest.approx(12.8),
    )
    assert convergence_relief(-2.0, 24.0, 4.0, 64.0, 27.0) == relief


def test_working_shows_the_chain():
    """A recorded working of the parallel demand holds B and then the demand, and each replays to its number."""
    with recording() as working:
        demand = convergence_parallel_tubes_prism(2.5, 28, 1500, 15, 64)
    assert [step.formula.name for step in working.steps] == [
        "object_to_pupil_b_mm",
        "convergence_parallel_tubes_prism",
    ]
    assert working.last().replay() == demand
    assert all(step.replay() == step.result for step in working.steps)


def test_near_interpupillary():
    """PD 64, 40 cm, 27 mm: about 4 mm less than the distance PD (common practice), by similar triangles."""
    near = near_interpupillary_mm(64, 400, 27)
    assert near == pytest.approx(64 * 400 / 427)
    assert 64 - near == pytest.approx(4, abs=0.1)


def test_near_interpupillary_by_eye():
    """Each eye has its own share, and the two add up."""
    found = near_interpupillary_by_eye(33, 30, 400, 27)
    assert found == NearInterpupillary(
        pytest.approx(33 * 400 / 427), pytest.approx(30 * 400 / 427), pytest.approx(63 * 400 / 427)
    )


def test_half_eyes():
    """Add + 2 for each eye, up to +12 D (common practice)."""
    assert half_eye_base_in_prism(6) == 8
    assert half_eye_base_in_prism(12) == 14
    assert half_eye_base_in_prism(0.5) == 2.5
    with pytest.raises(DomainRefusal, match="two eyes can no longer"):
        half_eye_base_in_prism(12.25)
