"""The field of a Keplerian tube against rays traced from the objective to ocular, exit pupil and eye."""

from __future__ import annotations

from math import atan, degrees, radians, tan

import pytest

from afocal.core.errors import DomainRefusal
from afocal.core.optics.keplerian_field import (
    apparent_field_field_stop_deg,
    eye_relief_tolerance_mm,
    keplerian_field,
    keplerian_half_field_chief_rad,
    keplerian_half_field_full_rad,
    keplerian_half_field_last_rad,
    keyhole,
    keyhole_half_light_slope,
    keyhole_slope,
    lit_fraction_off_centre,
    real_field_field_stop_deg,
    sideways_extinction_mm,
)

CRITERIA = ("full", "half", "total")


def bisect(holds, high=5.0):
    """The largest value from 0 on at which a condition still holds."""
    low = 0.0
    if not holds(low):
        return 0.0
    for _ in range(70):
        middle = (low + high) / 2
        low, high = (middle, high) if holds(middle) else (low, middle)
    return low


def trace(objective_focus, ocular_focus, height, slope):
    """A ray from the objective to just behind the ocular: height there and slope."""
    bent = slope - height / objective_focus
    at_ocular = height + (objective_focus + ocular_focus) * bent
    return at_ocular, bent - at_ocular / ocular_focus


def fan(diameter):
    """Points across an aperture, its middle and rims among them."""
    return [diameter * (i / 20 - 1) / 2 for i in range(41)]


@pytest.mark.parametrize(
    ("function", "enough", "points"),
    [
        (keplerian_half_field_full_rad, all, fan),
        (keplerian_half_field_chief_rad, all, lambda _: [0.0]),
        (keplerian_half_field_last_rad, any, fan),
    ],
)
@pytest.mark.parametrize("lenses", [(1.0, 1.0, 8.0, 2.0), (16.0, 12.0, 64.0, 16.0), (20.0, 4.0, 50.0, 20.0)])
def test_ocular_limits_equal_traced_rays(function, enough, points, lenses):
    """Fully lit, chief-ray and last-ray half fields are those of rays that just pass the ocular."""
    objective, ocular, objective_focus, ocular_focus = lenses
    slope = bisect(
        lambda u: enough(
            abs(trace(objective_focus, ocular_focus, y, u)[0]) <= ocular / 2 for y in points(objective)
        )
    )
    assert function(*lenses) == pytest.approx(slope, abs=1e-12)


def test_published_keplerian():
    """Smith WJ, Modern Optical Engineering, 4th ed., pp. 296-297, example 13.1: 1 in lenses, 8 and 2 in."""
    assert keplerian_half_field_chief_rad(1.0, 1.0, 8, 2) == pytest.approx(0.05, abs=1e-9)
    assert keplerian_half_field_last_rad(1.0, 1.0, 8, 2) == pytest.approx(0.0625, abs=1e-9)


def test_small_ocular_has_no_fully_lit_field():
    """When the image of the objective is larger than the ocular no direction is fully lit."""
    assert keplerian_half_field_full_rad(20, 4, 50, 20) == 0
    assert keplerian_half_field_full_rad(16, 4, 64, 16) == 0


def test_field_stop():
    """A stop in the image plane cuts the real field at its size over the focal length; tangents grow by |M|."""
    assert real_field_field_stop_deg(10, 48) == pytest.approx(degrees(2 * atan(5 / 48)))
    apparent = apparent_field_field_stop_deg(9, 64, -4)
    assert tan(radians(apparent / 2)) == pytest.approx(4 * tan(radians(real_field_field_stop_deg(9, 64) / 2)))
    assert apparent == apparent_field_field_stop_deg(9, 64, 4)


def lit_at(slope, exit_pupil, pupil, offset, criterion):
    """Whether a criterion holds at an apparent slope with the eye off the exit pupil, beam against pupil."""
    beam = (slope * offset - exit_pupil / 2, slope * offset + exit_pupil / 2)
    low, high = min(beam), max(beam)
    half = pupil / 2
    if criterion == "half":
        return low <= 0 <= high
    if criterion == "total":
        return low <= half and high >= -half
    return (low <= -half and high >= half) or (low >= -half and high <= half)


@pytest.mark.parametrize("criterion", CRITERIA)
@pytest.mark.parametrize("offset", [5.0, -3.0])
@pytest.mark.parametrize(("exit_pupil", "pupil"), [(4.0, 3.0), (3.0, 5.0)])
def test_keyhole_equals_beams(exit_pupil, pupil, offset, criterion):
    """Off the exit pupil the field ends where its beam leaves the pupil of the eye, in front or behind alike."""
    slope = bisect(lambda u: lit_at(u, exit_pupil, pupil, offset, criterion))
    assert keyhole_slope(exit_pupil, pupil, offset, criterion) == pytest.approx(slope)


def test_keyhole_default_and_half_light():
    """Half is the default; near the half-light slope about half of the on-axis light is left."""
    assert keyhole_slope(4, 3, 5) == keyhole_slope(4, 3, 5, "half") == pytest.approx(0.4)
    for exit_pupil, pupil in ((2.0, 5.0), (6.0, 3.0)):
        slope = keyhole_half_light_slope(exit_pupil, pupil, -4)
        on_axis = lit_fraction_off_centre(exit_pupil, pupil, 0.0)
        there = lit_fraction_off_centre(exit_pupil, pupil, slope * 4)
        assert 0.4 < there / on_axis < 0.5
    assert keyhole_half_light_slope(2, 5, -4) == pytest.approx(5 / 8)
    assert keyhole_half_light_slope(6, 5, 4) == pytest.approx(6 / 8)


def test_keyhole_needs_an_offset():
    """With the eye at the exit pupil there is no keyhole, and no such slope."""
    for function in (keyhole_slope, keyhole_half_light_slope):
        for offset in (0.0, 1e-9, -1e-9):
            with pytest.raises(DomainRefusal, match="no keyhole"):
                function(4, 3, offset)
    with pytest.raises(DomainRefusal, match="full, half or total"):
        keyhole_slope(4, 3, 5, "none")  # type: ignore[arg-type]


def test_eye_relief_tolerance():
    """At the tolerated offset the pupil-centre keyhole just equals the edge of the apparent field."""
    tolerance = eye_relief_tolerance_mm(4.0, 32.0)
    assert keyhole_slope(4.0, 3.0, tolerance, "half") == pytest.approx(tan(radians(16)))
    assert tolerance == pytest.approx(2 / tan(radians(16)))


def test_keyhole_predicate():
    """The warning comes when eye relief and eye distance differ by the tolerance or more, either way."""
    tolerance = eye_relief_tolerance_mm(4.0, 90.0)
    assert tolerance == pytest.approx(2.0)
    assert keyhole(20.0, 20.0 + 2.001, 4.0, 90.0)
    assert keyhole(20.0, 20.0 - 2.001, 4.0, 90.0)
    assert not keyhole(20.0, 20.0 + 1.999, 4.0, 90.0)
    assert not keyhole(20.0, 20.0 - 1.999, 4.0, 90.0)
    assert keyhole(2 * tolerance, tolerance, 4.0, 90.0)


def test_sideways_dims_and_goes_black():
    """Sideways the light falls from all to nothing at (Dxp + p)/2."""
    edge = sideways_extinction_mm(4.0, 3.0)
    assert edge == 3.5
    fractions = [lit_fraction_off_centre(4.0, 3.0, c) for c in (0.0, 0.5, 1.0, 2.0, 3.4, 3.5, 4.0)]
    assert fractions[0] == fractions[1] == 1
    assert fractions == sorted(fractions, reverse=True)
    assert fractions[4] > 0
    assert fractions[5] == fractions[6] == 0
    # A pupil larger than the exit pupil is lit in the ratio of the areas.
    assert lit_fraction_off_centre(2.0, 5.0, 1.0) == pytest.approx(0.16)
    # Equal circles a radius apart: 2/3 − √3/(2π), plane geometry.
    assert lit_fraction_off_centre(4.0, 4.0, 2.0) == pytest.approx(0.391002, abs=1e-6)


TUBE = {"magnification": -4.0, "tube_length_mm": 80.0, "objective_diameter_mm": 16.0, "pupil_mm": 3.0}


def test_field_stop_rules_at_the_exit_pupil():
    """With the eye at the exit pupil the field stop alone rules, the same by every criterion."""
    for criterion in CRITERIA:
        view = keplerian_field(**TUBE, eye_distance_mm=20.0, field_stop_mm=9.0, criterion=criterion)
        assert view.real_field_deg == pytest.approx(real_field_field_stop_deg(9.0, 64.0))
        assert view.apparent_field_deg == pytest.approx(apparent_field_field_stop_deg(9.0, 64.0, -4))
        assert (view.limited_by, view.criterion, view.basis) == ("field stop", criterion, "nominal")
        assert (view.eye_distance_mm, view.pupil_mm, view.lit_on_axis) == (20.0, 3.0, 1.0)


@pytest.mark.parametrize(
    ("criterion", "half_field"),
    [
        ("full", keplerian_half_field_full_rad),
        ("half", keplerian_half_field_chief_rad),
        ("total", keplerian_half_field_last_rad),
    ],
)
def test_ocular_rules_without_a_stop(criterion, half_field):
    """Without field stop the ocular rules, by the criterion asked for."""
    view = keplerian_field(**TUBE, eye_distance_mm=20.0, ocular_diameter_mm=12.0, criterion=criterion)
    slope = half_field(16.0, 12.0, 64.0, 16.0)
    assert view.limited_by == "ocular"
    assert tan(radians(view.real_field_deg / 2)) == pytest.approx(slope)
    assert tan(radians(view.apparent_field_deg / 2)) == pytest.approx(4 * slope)


@pytest.mark.parametrize("eye_distance", [14.0, 34.0])
def test_keyhole_rules_off_the_exit_pupil(eye_distance):
    """Far off the exit pupil, nearer or farther, the keyhole takes over."""
    view = keplerian_field(**TUBE, eye_distance_mm=eye_distance, field_stop_mm=40.0, ocular_diameter_mm=60.0)
    slope = 4.0 / (2 * abs(eye_distance - 20.0))
    assert view.limited_by == "keyhole"
    assert view.criterion == "half"
    assert tan(radians(view.apparent_field_deg / 2)) == pytest.approx(slope)
    assert tan(radians(view.real_field_deg / 2)) == pytest.approx(slope / 4)


def test_dim_exit_pupil_is_told():
    """An exit pupil smaller than the eye's says which part of the pupil it lights."""
    view = keplerian_field(-4.0, 80.0, 8.0, 20.0, 4.0, "half", 9.0)
    assert view.lit_on_axis == pytest.approx(0.25)


def test_keplerian_refusals():
    """A Galilean, an unknown criterion and a tube without stop and ocular are refused by name."""
    with pytest.raises(DomainRefusal, match="magnification of a Keplerian"):
        keplerian_field(4.0, 80.0, 16.0, 20.0, 3.0, "half", 9.0)
    with pytest.raises(DomainRefusal, match="magnification of a Keplerian"):
        keplerian_field(-1.04, 80.0, 16.0, 20.0, 3.0, "half", 9.0)
    with pytest.raises(DomainRefusal, match="magnification of a Keplerian"):
        keplerian_field(-float("inf"), 80.0, 16.0, 20.0, 3.0, "half", 9.0)
    with pytest.raises(DomainRefusal, match="full, half or total"):
        keplerian_field(-4.0, 80.0, 16.0, 20.0, 3.0, "last", 9.0)  # type: ignore[arg-type]
    with pytest.raises(DomainRefusal, match="neither given"):
        keplerian_field(-4.0, 80.0, 16.0, 20.0, 3.0)
    assert keplerian_field(-1.05, 80.0, 16.0, 20.0, 3.0, "half", 9.0).real_field_deg > 0
