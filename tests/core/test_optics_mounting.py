"""Bioptic geometry against rays traced from the target through the tilted tube to the pivot of the eye."""

from __future__ import annotations

from math import atan, atan2, cos, degrees, radians, sin, tan

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from afocal.core.errors import DomainRefusal
from afocal.core.optics import mounting
from afocal.core.optics.mounting import (
    BiopticGeometry,
    bifocal_clear,
    bifocal_clearance_mm,
    bioptic_geometry,
    gaze_elevation_deg,
    head_drop_deg,
    head_drop_to_field_centre_deg,
    least_lens_height_mm,
    least_ocular_height_mm,
    ocular_height_for_tilt_mm,
    off_axis_deg,
    off_axis_margin_deg,
    tube_to_lens_normal_deg,
)

MOUNTS = [
    (9.5, 27.0, 12.0, 2.0, 24.0),
    (11.5, 27.0, 8.0, 3.0, 35.0),
    (12.0, 26.0, 13.0, 2.5, 28.0),
    (6.0, 27.0, 20.0, 1.6, 18.0),
    (10.0, 30.0, -5.0, 4.0, 60.0),
]


def pivot_in_tube(height, distance, tilt):
    """The centre of rotation in the frame of the tube: along its axis behind the ocular, and above it (mm)."""
    turn = radians(tilt)
    along = distance * cos(turn) + height * sin(turn)
    above = distance * sin(turn) - height * cos(turn)
    return along, above


def trace(magnification, tube_length, height, slope):
    """A ray from the objective to just behind the ocular."""
    objective_focus = tube_length * magnification / (magnification - 1)
    ocular_focus = tube_length / (1 - magnification)
    inside = slope - height / objective_focus
    at_ocular = height + tube_length * inside
    return at_ocular, inside - at_ocular / ocular_focus


def drop_by_rays(mount, at_lens):
    """Head drop at which the ray from straight ahead meets the pivot and the middle of ocular or objective."""
    height, distance, tilt, magnification, tube_length = mount
    along, above = pivot_in_tube(height, distance, tilt)

    # A ray with start height a and slope s, linear in both: middle of the lens and pivot give two equations.
    def meet(start, slope):
        at_ocular, out = trace(magnification, tube_length, start, slope)
        middle = at_ocular if at_lens == "ocular" else start
        return middle, at_ocular + along * out

    (a1, b1), (a2, b2) = meet(1.0, 0.0), meet(0.0, 1.0)
    determinant = a1 * b2 - a2 * b1
    slope = (a1 * above - b1 * 0.0) / determinant
    # Light comes down the axis, so a target above the axis sends rays that fall.
    return tilt + degrees(atan(-slope))


@pytest.mark.parametrize("mount", MOUNTS)
def test_head_drop_equals_rays(mount):
    """Looking through the middle of the ocular the head drops as far as the traced ray says."""
    assert head_drop_deg(*mount[:4]) == pytest.approx(drop_by_rays(mount, "ocular"), abs=1e-9)
    flipped = (*mount[:3], -mount[3])
    assert head_drop_deg(*flipped) == head_drop_deg(*mount[:4])


@pytest.mark.parametrize("mount", MOUNTS)
def test_head_drop_to_centre_equals_rays(mount):
    """Looking at the middle of the visible disc the ray passes the middle of the objective."""
    assert head_drop_to_field_centre_deg(*mount) == pytest.approx(drop_by_rays(mount, "objective"), abs=1e-9)


@settings(max_examples=60)
@given(st.floats(3, 20), st.floats(20, 40), st.floats(0, 30), st.floats(1.2, 6), st.floats(8, 60))
def test_head_drops_everywhere(height, distance, tilt, magnification, tube_length):
    """Over the accepted ranges both head drops are those of the traced rays, and lie between tilt and gaze."""
    mount = (height, distance, tilt, magnification, tube_length)
    drop = head_drop_deg(*mount[:4])
    assert drop == pytest.approx(drop_by_rays(mount, "ocular"), abs=1e-7)
    centre = head_drop_to_field_centre_deg(*mount)
    assert centre == pytest.approx(drop_by_rays(mount, "objective"), abs=1e-7)
    elevation = gaze_elevation_deg(height, distance)
    low, high = min(tilt, elevation), max(tilt, elevation)
    assert low - 1e-9 <= drop <= high + 1e-9
    # The disc's middle always asks for less correction away from the tilt than the ocular's.
    assert abs(centre - tilt) <= abs(drop - tilt) + 1e-9


def test_tube_aimed_at_the_eye():
    """With the axis through the pivot gaze, tilt and head drop are one angle and nothing is off axis."""
    tilt = gaze_elevation_deg(10.5, 27)
    assert tilt == pytest.approx(degrees(atan2(10.5, 27)))
    assert off_axis_deg(10.5, 27, tilt) == pytest.approx(0)
    assert head_drop_deg(10.5, 27, tilt, 3) == pytest.approx(tilt)
    assert head_drop_to_field_centre_deg(10.5, 27, tilt, 3, 35) == pytest.approx(tilt)
    assert ocular_height_for_tilt_mm(tilt, 27) == pytest.approx(10.5)


def test_small_tilt_needs_a_small_housing():
    """12 degrees line up only with an ocular 5.7 mm above the gaze line."""
    assert ocular_height_for_tilt_mm(12, 27) == pytest.approx(5.74, abs=0.005)
    assert ocular_height_for_tilt_mm(60, 27) == pytest.approx(27 * tan(radians(60)))
    assert ocular_height_for_tilt_mm(0.3, 27) > 0
    for tilt in (0.0, -5.0):
        with pytest.raises(DomainRefusal, match="points up"):
            ocular_height_for_tilt_mm(tilt, 27)
    with pytest.raises(DomainRefusal, match="60 degrees"):
        ocular_height_for_tilt_mm(-60.5, 27)


def test_margin():
    """Off-axis viewing uses up the apparent half field, upwards and downwards alike."""
    above = off_axis_deg(10.0, 27.0, 12.0)
    assert above == pytest.approx(degrees(atan(10 / 27)) - 12)
    assert off_axis_margin_deg(26.0, 10.0, 27.0, 12.0) == pytest.approx(13 - above)
    below = off_axis_deg(10.0, 27.0, 28.0)
    assert below < 0
    assert off_axis_margin_deg(26.0, 10.0, 27.0, 28.0) == pytest.approx(13 + below)
    assert off_axis_margin_deg(10.0, 10.0, 27.0, 12.0) < 0
    assert mounting.LEAST_MARGIN_DEG == 3


def test_looking_past_the_tube_is_refused():
    """More than 45 degrees between gaze and axis is refused, 45 and less is not."""
    height = 27 * tan(radians(44.9))
    assert off_axis_deg(height, 27, 0.0) == pytest.approx(44.9)
    assert off_axis_deg(27, 27, 0.0) == 45
    for call in (
        lambda: off_axis_deg(27 * tan(radians(45.1)), 27, 0.0),
        lambda: off_axis_deg(1.0, 27, 50.0),
        lambda: head_drop_deg(60, 27, 10.0, 2),
        lambda: head_drop_to_field_centre_deg(60, 27, -20.0, 2, 24),
        lambda: off_axis_margin_deg(26, 60, 27, 0.0),
    ):
        with pytest.raises(DomainRefusal, match="look past the tube"):
            call()


def test_least_ocular_height():
    """The eye clears a housing of radius 8 with a 3 mm pupil and 1 mm to spare from 10.5 mm on: they add up."""
    assert least_ocular_height_mm(8, 3, 1) == 10.5
    assert least_ocular_height_mm(9, 4, 0) == 11


def test_least_lens_height():
    """Pupil height, ocular height, housing radius and the margin add up; 3 mm margin (Yoho A, dispensing column 2009)."""
    assert least_lens_height_mm(20, 10.5, 8, 3) == 41.5
    assert least_lens_height_mm(20, 10.5, 8) == 41.5
    assert least_lens_height_mm(20, 10.5, 8, 0) == 38.5


def test_tube_to_lens_normal():
    """The tube's tilt and the pantoscopic tilt add up at the lens."""
    assert tube_to_lens_normal_deg(12, 7) == 19
    assert tube_to_lens_normal_deg(12, -2) == 10


@pytest.mark.parametrize(
    ("segment", "clearance", "clear"),
    [(-5.0, 7.0, True), (-4.9, 6.9, True), (-2.0, 4.0, True), (-1.9, 3.9, False), (3.0, -1.0, False)],
)
def test_bifocal(segment, clearance, clear):
    """A segment 5 mm below the gaze line, or 4 mm of free height, leaves room (common practice)."""
    assert bifocal_clearance_mm(10.0, 8.0, segment) == pytest.approx(clearance)
    assert bifocal_clear(10.0, 8.0, segment) is clear


def test_low_segment_is_enough():
    """Even under a housing that reaches below the gaze line a segment 5 mm down is called clear."""
    assert bifocal_clear(5.0, 8.0, -5.0)
    assert not bifocal_clear(5.0, 8.0, -4.9)


def test_geometry_record():
    """The record holds the four angles of one mounting."""
    found = bioptic_geometry(12.0, 27.0, 13.0, 2.5, 8.0)
    assert found == BiopticGeometry(
        gaze_elevation_deg(12.0, 27.0),
        off_axis_deg(12.0, 27.0, 13.0),
        head_drop_deg(12.0, 27.0, 13.0, 2.5),
        21.0,
    )
    assert found.gaze_elevation_deg == pytest.approx(23.96, abs=0.005)
    assert found.head_drop_deg == pytest.approx(17.43, abs=0.005)
