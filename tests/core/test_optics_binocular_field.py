"""Two fields together against rays through shifted and turned tubes; the ring scotoma against its sources."""

from __future__ import annotations

from math import atan, degrees, radians, tan

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from afocal.core.errors import DomainRefusal
from afocal.core.optics.binocular_field import (
    centre_separation_decentred_deg,
    decentration_limit_with_caps_mm,
    field_centre_shift_deg,
    full_lit_decentration_limit_mm,
    housing_extent_deg,
    overlap_field_decentred_deg,
    overlap_field_deg,
    ring_outer_diameter_deg,
    ring_outer_linear_deg,
    ring_outer_with_housing_deg,
    ring_width_deg,
    ring_width_linear_deg,
    toe_out_limit_deg,
    toe_out_vergence_prism,
    union_field_decentred_deg,
    union_field_deg,
)
from afocal.core.optics.field import real_field_deg

TUBES = [(1.6, 18.0, 28.0, 15.0), (2.0, 24.0, 25.0, 15.0), (2.5, 28.0, 24.0, 17.0)]


def test_published_union_and_overlap():
    """Shenker M, Proc SPIE 1987;778: channels of 80 degrees turned out 20 each give 120 together, 40 shared."""
    assert union_field_deg(80, 40) == pytest.approx(120)
    assert overlap_field_deg(80, 40) == pytest.approx(40)


def test_spread_pairs_of_the_trade():
    """Two tubes of 26 and 18 degrees spread slightly give about 32.5 and 22.5 together (common practice)."""
    for field, together in ((26.0, 32.5), (18.0, 22.5)):
        assert union_field_deg(field, together - field) == together
        assert overlap_field_deg(field, together - field) == 2 * field - together


def test_gap_is_refused():
    """Fields that do not touch have neither union nor overlap; the gap is told. Touching is still allowed."""
    for function in (union_field_deg, overlap_field_deg):
        with pytest.raises(DomainRefusal, match=r"gap of 1\.5 degrees"):
            function(12.0, 13.5)
    assert union_field_deg(12, 12) == 24
    assert overlap_field_deg(12, 12) == 0


def edges(magnification, tube_length, diameter, eye_distance, shift):
    """Object-space angles of the two rays that graze the rim and meet the pupil centre, tube shifted (degrees)."""
    objective_focus = tube_length * magnification / (magnification - 1)
    ocular_focus = tube_length / (1 - magnification)
    # Pupil centre at -shift in the frame of the tube; u = slope at the eye, linear in the rim height.
    found = []
    for rim in (-diameter / 2, diameter / 2):
        heights = []
        for u in (0.0, 1.0):
            at_ocular = -shift - eye_distance * u
            inside = u + at_ocular / ocular_focus
            heights.append((at_ocular - tube_length * inside, inside))
        u = (rim - heights[0][0]) / (heights[1][0] - heights[0][0])
        inside = heights[0][1] + u * (heights[1][1] - heights[0][1])
        found.append(-degrees(atan(inside + rim / objective_focus)))
    return min(found), max(found)


@pytest.mark.parametrize("tube", TUBES)
@pytest.mark.parametrize("shift", [0.0, 1.5, 3.0, 4.0])
def test_decentred_fields_equal_rays(tube, shift):
    """Union, overlap and shift of parallel tubes moved outwards are those of rays over the two rims."""
    low, high = edges(*tube, shift)
    assert union_field_decentred_deg(*tube, shift) == pytest.approx(2 * high, abs=1e-9)
    assert overlap_field_decentred_deg(*tube, shift) == pytest.approx(-2 * low, abs=1e-9)
    assert field_centre_shift_deg(*tube, shift) == pytest.approx((low + high) / 2, abs=1e-9)
    separation = centre_separation_decentred_deg(*tube, shift)
    assert separation == pytest.approx(2 * high - real_field_deg(*tube), abs=1e-9)


def test_decentration_beyond_the_field_is_refused():
    """A tube shifted by more than the radius of its exit pupil image no longer shows what lies straight ahead."""
    edge = 25 / 2 / 2
    assert overlap_field_decentred_deg(2, 24, 25, 15, edge) == 0
    for function in (
        union_field_decentred_deg,
        overlap_field_decentred_deg,
        field_centre_shift_deg,
        centre_separation_decentred_deg,
    ):
        with pytest.raises(DomainRefusal, match="outside both fields"):
            function(2, 24, 25, 15, edge + 0.001)


@pytest.mark.parametrize(("magnification", "separation"), [(1.6, 4.0), (2.0, 3.0), (2.5, 13.0), (3.0, 30.0)])
def test_toe_out_equals_geometry(magnification, separation):
    """Toe-out asks for the angle between the axis and the shown direction, computed with turned axes."""
    half = radians(separation / 2)
    # Straight ahead lies `half` inside the axis of the turned tube, which shows it M times as far by tangents.
    shown = atan(magnification * tan(half))
    slopes = [tan(shown - half), -tan(half - shown)]
    expected = 100 * (slopes[0] + slopes[1])
    assert toe_out_vergence_prism(magnification, separation) == pytest.approx(expected)
    assert toe_out_vergence_prism(-magnification, separation) == pytest.approx(expected)


def test_toe_out_first_order():
    """For small angles toe-out costs (M − 1) times the separation."""
    assert toe_out_vergence_prism(2.5, 0.02) == pytest.approx(100 * 1.5 * radians(0.02), rel=1e-5)
    assert toe_out_vergence_prism(2.5, 0.0) == 0


@settings(max_examples=50)
@given(st.floats(1.3, 6), st.floats(0.0, 6.0))
def test_toe_out_limit_is_the_inverse(magnification, separation):
    """The separation that uses up a tolerance asks exactly for that tolerance."""
    prism = toe_out_vergence_prism(magnification, separation)
    assert toe_out_limit_deg(magnification, prism) == pytest.approx(separation, abs=1e-7)


def test_toe_out_limit_refuses_what_cannot_be():
    """A tolerance that no toe-out can ask for has no separation."""
    with pytest.raises(DomainRefusal, match="no tilt of this tube"):
        toe_out_limit_deg(1.1, 60.0)


def test_full_lit_limit():
    """Shifted by (Dobj/M − p)/2 the exit pupil's rim just touches the rim of the eye's pupil."""
    assert full_lit_decentration_limit_mm(2, 25, 3) == pytest.approx(4.75)
    assert full_lit_decentration_limit_mm(2, 6, 3) == 0
    with pytest.raises(DomainRefusal, match=r"at least 6\.4 mm"):
        full_lit_decentration_limit_mm(2, 6, 3.2)


def test_decentration_limit_with_caps():
    """Two tubes each moved out by the limit make together the tolerated prism, Prentice's rule times |M|."""
    shift = decentration_limit_with_caps_mm(-2.5, 4.0, 3.0)
    assert 2 * 2.5 * (shift / 10 * 4.0) == pytest.approx(3.0)
    assert decentration_limit_with_caps_mm(2.5, 4.0, 0.0) == 0


def test_published_ring():
    """Doherty AL et al., Arch Ophthalmol 2011;129:611: 3x with a field of 12 degrees, M W = 36; measured 44."""
    assert ring_outer_linear_deg(3, 12) == pytest.approx(36)
    assert ring_outer_linear_deg(-3, 12) == pytest.approx(36)
    assert ring_outer_diameter_deg(3, 12) == pytest.approx(35.0, abs=0.05)
    assert ring_outer_diameter_deg(3, 12) < 44


@pytest.mark.parametrize(("magnification", "field"), [(2.0, 13.0), (2.5, 8.4), (-4.0, 8.0)])
def test_ring_is_what_lies_between_real_and_apparent(magnification, field):
    """Real field, two ring widths and the outer diameter add up; first order and tangents agree for small fields."""
    outer = ring_outer_diameter_deg(magnification, field)
    assert tan(radians(outer / 2)) == pytest.approx(abs(magnification) * tan(radians(field / 2)))
    assert field + 2 * ring_width_deg(magnification, field) == pytest.approx(outer)
    assert ring_width_linear_deg(magnification, field) == pytest.approx((abs(magnification) - 1) * field / 2)
    assert ring_width_deg(magnification, 0.1) == pytest.approx(
        ring_width_linear_deg(magnification, 0.1), rel=1e-4
    )


def test_housing_adds_to_the_ring():
    """The housing hides 2 atan(R/d); the larger of optics and housing is what one eye cannot see."""
    assert housing_extent_deg(9, 17) == pytest.approx(degrees(2 * atan(9 / 17)))
    assert ring_outer_with_housing_deg(2.5, 8.4, 9, 17) == housing_extent_deg(9, 17)
    assert ring_outer_with_housing_deg(4.0, 20.0, 4, 17) == ring_outer_diameter_deg(4.0, 20.0)
