"""The field of a Galilean tube against rays traced through both lenses, thick tubes against their surfaces."""

from __future__ import annotations

from math import atan, degrees, pi, radians, sqrt, tan

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from afocal.core.errors import DomainRefusal
from afocal.core.optics.field import (
    apparent_field_deg,
    characters_in_field,
    eye_distance_mm,
    field_of_fixation_deg,
    linear_field_mm,
    linear_field_through_tube_mm,
    lit_fraction_at_half_field,
    lit_fraction_on_axis,
    objective_diameter_for_field_mm,
    ocular_diameter_for_field_mm,
    ocular_limit_deg,
    real_field_deg,
    rotation_distance_mm,
)
from afocal.core.optics.field_general import apparent_field_general_deg, real_field_general_deg
from afocal.core.optics.field_of_view import FieldOfView, field_in_use, galilean_field, value_in_use
from afocal.core.optics.rays import RayMatrix, chain, lens, telescope_matrix, translation

TUBES = [(1.6, 18.0, 28.0), (2.0, 24.0, 25.0), (2.5, 28.0, 16.0), (3.0, 35.0, 19.0), (4.0, 60.0, 30.0)]


def rim_height(magnification, tube_length, eye_distance, height, slope):
    """Where a ray that meets the eye pupil at a height and slope left the objective, and its slope outside."""
    objective_focus = tube_length * magnification / (magnification - 1)
    ocular_focus = tube_length / (1 - magnification)
    at_ocular = height - eye_distance * slope
    inside = slope + at_ocular / ocular_focus
    at_objective = at_ocular - tube_length * inside
    return at_objective, inside + at_objective / objective_focus


def edge_by_rays(magnification, tube_length, diameter, eye_distance, pupil, criterion, ocular=None):
    """Largest slope at the eye, and its slope outside, at which the criterion still holds (bisection)."""
    points = [0.0] if criterion == "half" else [pupil * (i / 20 - 1) / 2 for i in range(41)]
    enough = all if criterion == "full" else any

    def seen(slope):
        return enough(
            abs(rim_height(magnification, tube_length, eye_distance, y, slope)[0]) <= diameter / 2
            and (ocular is None or abs(y - eye_distance * slope) <= ocular / 2)
            for y in points
        )

    low, high = 0.0, 5.0
    if not seen(low):
        return 0.0, 0.0
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if seen(middle) else (low, middle)
    return low, rim_height(magnification, tube_length, eye_distance, 0.0, low)[1]


@pytest.mark.parametrize("criterion", ["full", "half", "total"])
@pytest.mark.parametrize(("magnification", "tube_length", "diameter"), TUBES)
def test_field_equals_traced_rays(magnification, tube_length, diameter, criterion):
    """Both angles of each criterion are those of the last ray that gets through objective and pupil."""
    slope, outside = edge_by_rays(magnification, tube_length, diameter, 14.0, 4.0, criterion)
    apparent = apparent_field_deg(magnification, tube_length, diameter, 14.0, 4.0, criterion)
    real = real_field_deg(magnification, tube_length, diameter, 14.0, 4.0, criterion)
    assert apparent == pytest.approx(degrees(2 * atan(slope)), abs=1e-9)
    assert real == pytest.approx(degrees(2 * atan(outside)), abs=1e-9)


@settings(max_examples=60)
@given(
    magnification=st.floats(1.2, 6),
    tube_length=st.floats(8, 60),
    diameter=st.floats(6, 50),
    eye_distance=st.floats(9, 30),
    pupil=st.floats(1.5, 9),
    criterion=st.sampled_from(["full", "half", "total"]),
)
def test_field_equals_rays_everywhere(magnification, tube_length, diameter, eye_distance, pupil, criterion):
    """The closed form and the traced rays agree over the accepted ranges, the objective as stop included."""
    slope, outside = edge_by_rays(magnification, tube_length, diameter, eye_distance, pupil, criterion)
    arguments = (magnification, tube_length, diameter, eye_distance, pupil, criterion)
    assert apparent_field_deg(*arguments) == pytest.approx(degrees(2 * atan(slope)), abs=1e-7)
    assert real_field_deg(*arguments) == pytest.approx(degrees(2 * atan(outside)), abs=1e-7)


@settings(max_examples=60)
@given(
    magnification=st.floats(1.2, 6),
    diameter=st.floats(6, 50),
    eye_distance=st.floats(9, 30),
    further=st.floats(0.01, 10),
    pupil=st.floats(1.5, 9),
)
def test_monotonic(magnification, diameter, eye_distance, further, pupil):
    """A larger eye distance never enlarges a Galilean field; full ≤ half ≤ total; a wider objective never cuts."""

    def field(criterion, distance, objective):
        return real_field_deg(magnification, 24.0, objective, distance, pupil, criterion)

    for criterion in ("full", "half", "total"):
        here = field(criterion, eye_distance, diameter)
        assert field(criterion, eye_distance + further, diameter) <= here
        assert field(criterion, eye_distance, diameter + further) >= here
    fields = [field(c, eye_distance, diameter) for c in ("full", "half", "total")]
    assert fields == sorted(fields)
    fixation = field_of_fixation_deg(magnification, 24.0, diameter, eye_distance + 10.5)
    assert fixation < field("half", eye_distance, diameter)


def test_published_galilean():
    """Smith WJ, Modern Optical Engineering, 4th ed., p. 298: 4x, 10 in long, 1 in objective, eye 5 mm behind."""
    assert real_field_deg(4, 254, 25.4, 5) == pytest.approx(1.3279, abs=0.001)


def test_half_needs_no_pupil_and_is_the_default():
    """The half field does not depend on the pupil and is what is meant when no criterion is named."""
    assert real_field_deg(2, 24, 25, 15) == real_field_deg(2, 24, 25, 15, 7.0, "half")
    assert apparent_field_deg(2, 24, 25, 15) == pytest.approx(degrees(2 * atan(25 / 108)))


def test_objective_as_the_stop():
    """An exit pupil no larger than the eye's leaves no full field, but still a half and a total one."""
    for diameter in (9.0, 10.0):
        assert real_field_deg(2, 24, diameter, 15, 5, "full") == 0
        assert apparent_field_deg(2, 24, diameter, 15, 5, "full") == 0
        assert (
            0
            < real_field_deg(2, 24, diameter, 15, 5, "half")
            < real_field_deg(2, 24, diameter, 15, 5, "total")
        )
    assert real_field_deg(2, 24, 10.001, 15, 5, "full") > 0
    assert lit_fraction_on_axis(2, 8, 5) == pytest.approx(0.64)
    assert lit_fraction_on_axis(-4, 14, 5) == pytest.approx(0.49)
    assert lit_fraction_on_axis(2, 10, 5) == 1
    assert lit_fraction_on_axis(2, 25, 5) == 1


@pytest.mark.parametrize("function", [real_field_deg, apparent_field_deg])
def test_missing_pupil_and_unknown_criterion(function):
    """The full and total fields ask for the pupil; a criterion outside the three is refused by name."""
    for criterion in ("full", "total"):
        with pytest.raises(DomainRefusal) as refusal:
            function(2, 24, 25, 15, criterion=criterion)
        assert refusal.value.field == "pupil of the eye"
    with pytest.raises(DomainRefusal) as refusal:
        function(2, 24, 25, 15, 3, "most")
    assert refusal.value.field == "field criterion"
    assert "full, half or total" in str(refusal.value)


def test_keplerian_is_refused_with_the_reason():
    """A negative magnification is told that field stop and exit pupil rule."""
    with pytest.raises(DomainRefusal, match="field stop and exit pupil"):
        real_field_deg(-4, 80, 16, 17)


def lit_by_strips(window_radius, pupil_radius, separation, strips=40000):
    """Lit part of the pupil by adding up thin strips parallel to the shift."""
    lit = 0.0
    for i in range(strips):
        x = pupil_radius * (2 * (i + 0.5) / strips - 1)
        top = sqrt(pupil_radius**2 - x * x)
        reach = window_radius**2 - x * x
        if reach > 0:
            lit += max(0.0, min(top, separation + sqrt(reach)) - max(-top, separation - sqrt(reach)))
    return lit * 2 * pupil_radius / strips / (pi * pupil_radius**2)


@pytest.mark.parametrize(
    ("magnification", "diameter", "pupil"),
    [(2, 25, 3), (2.5, 14.25, 3), (3, 15, 5), (2, 6, 4.5), (2, 5, 6), (1.5, 4, 7), (2, 24, 5), (4, 30, 9)],
)
def test_lit_fraction_equals_strips(magnification, diameter, pupil):
    """The lit part at the half edge is the overlap of two circles, here added up in strips."""
    radius = diameter / magnification / 2
    expected = lit_by_strips(radius, pupil / 2, radius)
    assert lit_fraction_at_half_field(magnification, 24, diameter, 15, pupil) == pytest.approx(
        expected, abs=2e-6
    )


def test_lit_fraction_of_equal_circles():
    """Equal circles a radius apart share 2/3 − √3/(2π) of their area (plane geometry)."""
    assert lit_fraction_at_half_field(3, 35, 15, 15, 5) == pytest.approx(
        2 / 3 - sqrt(3) / (2 * pi), abs=1e-12
    )


@settings(max_examples=60)
@given(st.floats(1.2, 6), st.floats(6, 50), st.floats(1.5, 9))
def test_lit_fraction_is_under_half(magnification, diameter, pupil):
    """At the half edge always a little less than half of the pupil is lit."""
    assert 0 < lit_fraction_at_half_field(magnification, 24, diameter, 15, pupil) < 0.5


def test_tiny_window_inside_the_pupil():
    """A window that lies wholly inside the pupil lights the ratio of the areas."""
    assert lit_fraction_at_half_field(2, 24, 4, 15, 8) == pytest.approx((2 / 8) ** 2)


@pytest.mark.parametrize(("magnification", "tube_length", "diameter"), TUBES)
def test_objective_for_field_is_the_inverse(magnification, tube_length, diameter):
    """The objective asked for gives the field that was asked for."""
    field = real_field_deg(magnification, tube_length, diameter, 15)
    assert objective_diameter_for_field_mm(magnification, tube_length, 15, field) == pytest.approx(diameter)


def test_fixation_pivots_at_the_rotation_centre():
    """The field of fixation is the half field seen from the centre of rotation."""
    assert field_of_fixation_deg(2, 24, 25, 26.5) == pytest.approx(9.28092, abs=1e-5)
    assert field_of_fixation_deg(2.5, 28, 20, 27) == real_field_deg(2.5, 28, 20, 27)
    with pytest.raises(DomainRefusal, match="centre of rotation"):
        field_of_fixation_deg(2.5, 28, 20, 0.0)


def test_distances_from_the_cornea():
    """Entrance pupil 3 mm and centre of rotation 13.5 mm behind the cornea (schematic eyes, from memory)."""
    assert eye_distance_mm(14) == 17
    assert eye_distance_mm(14, 3.5) == 17.5
    assert rotation_distance_mm(13.5) == 27
    assert rotation_distance_mm(13.5, 13) == 26.5


@pytest.mark.parametrize("criterion", ["full", "half", "total"])
@pytest.mark.parametrize("ocular", [4.0, 5.0, 12.0, 40.0])
def test_smaller_limit_rules(criterion, ocular):
    """With the ocular's rim as a second window the field is that of rays traced through both apertures."""
    slope, outside = edge_by_rays(2.0, 24.0, 25.0, 15.0, 3.0, criterion, ocular)
    view = galilean_field(2.0, 24.0, 25.0, 15.0, 3.0, criterion, ocular)
    assert view.apparent_field_deg == pytest.approx(degrees(2 * atan(slope)), abs=1e-8)
    assert view.real_field_deg == pytest.approx(degrees(2 * atan(outside)), abs=1e-8)
    assert view.limited_by == ("ocular" if ocular < 6.0 else "objective")
    assert (view.criterion, view.eye_distance_mm, view.pupil_mm) == (criterion, 15.0, 3.0)
    assert (view.basis, view.lit_on_axis) == ("nominal", 1.0)


def test_ocular_must_clear_the_beam():
    """An ocular of 2 d tan(apparent/2) + p passes the full beam of that field and no more."""
    diameter = ocular_diameter_for_field_mm(26.0, 15.0, 3.0)
    assert diameter == pytest.approx(2 * 15 * tan(radians(13)) + 3)
    assert ocular_limit_deg(diameter, 15.0, 3.0, "full") == pytest.approx(26.0)
    assert ocular_limit_deg(3.0, 15.0, 3.0, "full") == 0
    assert ocular_limit_deg(2.0, 15.0, 3.0, "full") == 0
    assert ocular_limit_deg(12.0, 15.0, 3.0) == pytest.approx(degrees(2 * atan(0.4)))
    with pytest.raises(DomainRefusal, match="full, half or total"):
        ocular_limit_deg(12.0, 15.0, 3.0, "rim")  # type: ignore[arg-type]


def test_tie_between_the_two_limits():
    """When both apertures allow the same field the objective is named."""
    ocular = 2 * 15 * 25 / 108
    assert galilean_field(2.0, 24.0, 25.0, 15.0, 3.0, "half", ocular).limited_by == "objective"


def test_dimming_is_told():
    """A field through an objective smaller than the pupil says how much of the pupil is lit on axis."""
    view = galilean_field(2.0, 24.0, 8.0, 15.0, 5.0)
    assert view.lit_on_axis == pytest.approx(0.64)
    assert view.criterion == "half"


def test_linear_field_at_distance():
    """A street of 12 degrees at 6 m is 1261 mm wide, by plain trigonometry."""
    assert linear_field_mm(6000, 12) == pytest.approx(12000 * tan(radians(6)))


def outside_height(magnification, tube_length, distance, eye_distance, cap, slope):
    """Height in the object plane of the ray that meets the pupil centre at a slope, traced backwards."""
    height, inside = rim_height(magnification, tube_length, eye_distance, 0.0, slope)
    return height - distance * (inside + height * cap / 1000)


@pytest.mark.parametrize("cap", [0.0, 2.25, 4.0])
@pytest.mark.parametrize("distance", [200.0, 444.0, 3000.0])
def test_linear_field_through_tube(distance, cap):
    """The width seen at any finite distance is that between the two edge rays traced back to the object."""
    if cap == 4.0 and distance == 3000.0:
        distance = 400.0
    apparent = apparent_field_deg(2.0, 24.0, 25.0, 15.0)
    slope = tan(radians(apparent / 2))
    expected = 2 * abs(outside_height(2.0, 24.0, distance, 15.0, cap, slope))
    assert linear_field_through_tube_mm(2.0, 24.0, distance, 15.0, apparent, cap) == pytest.approx(expected)


def test_linear_field_of_a_keplerian_and_defaults():
    """|B| counts, whatever its sign, and no cap is the default."""
    b = 3000 / -4 + 80 - 4 * 17
    assert linear_field_through_tube_mm(-4, 80, 3000, 17, 40) == pytest.approx(2 * abs(b) * tan(radians(20)))


def test_cap_focus_makes_the_simple_form_exact():
    """At the focus of a cap 2 w tan(real/2) and 2 |B| tan(apparent/2) are the same width."""
    real, apparent = real_field_deg(2.5, 28, 24, 15), apparent_field_deg(2.5, 28, 24, 15)
    width = linear_field_through_tube_mm(2.5, 28, 250, 15, apparent, 4.0)
    assert width == pytest.approx(linear_field_mm(250, real))


def test_characters():
    """Text of 1 M has a letter every 1.5 mm or so (common practice); the pitch may be given."""
    assert characters_in_field(36.7) == pytest.approx(24.4667, abs=1e-4)
    assert characters_in_field(30, 2.0) == 15
    assert characters_in_field(0) == 0


@pytest.mark.parametrize("criterion", ["full", "half", "total"])
@pytest.mark.parametrize(("magnification", "tube_length", "diameter"), TUBES)
def test_general_tube_reduces_to_the_thin_one(magnification, tube_length, diameter, criterion):
    """With the matrix of two thin lenses the general form gives the Galilean fields."""
    system = telescope_matrix(magnification, tube_length)
    arguments = (diameter, 14.0, 4.0, criterion)
    thin = (magnification, tube_length, *arguments)
    assert real_field_general_deg(system, *arguments) == pytest.approx(real_field_deg(*thin))
    assert apparent_field_general_deg(system, *arguments) == pytest.approx(apparent_field_deg(*thin))


def lit_fan(system, diameter, eye_distance, slope):
    """Lowest and highest height in the pupil plane of the parallel beam of one outside slope."""
    heights = []
    for rim in (-diameter / 2, diameter / 2):
        out = system.a * rim + system.b_mm * slope
        outslope = system.c_d / 1000 * rim + system.d * slope
        heights.append(out + eye_distance * outslope)
    return min(heights), max(heights)


THICK = [
    chain(
        lens(12.0), translation(5.0, 1.5), lens(4.0), translation(20.0), lens(-38.0), translation(2.0, 1.6)
    ),
    chain(lens(20.0), translation(30.0), lens(-45.0)),
    chain(lens(20.0), translation(22.0), lens(-45.0)),
]


@pytest.mark.parametrize("criterion", ["full", "half", "total"])
@pytest.mark.parametrize("system", THICK)
def test_general_tube_equals_beams(system, criterion):
    """For thick and refocused tubes the edge is where the parallel beam leaves the pupil (bisection)."""
    need = {
        "full": lambda low, high: low <= -2 and high >= 2,
        "half": lambda low, high: low <= 0 <= high,
        "total": lambda low, high: low <= 2 and high >= -2,
    }[criterion]
    inside, outside = 0.0, 3.0
    for _ in range(60):
        middle = (inside + outside) / 2
        if need(*lit_fan(system, 24.0, 14.0, middle)):
            inside = middle
        else:
            outside = middle
    real = real_field_general_deg(system, 24.0, 14.0, 4.0, criterion)
    assert real == pytest.approx(degrees(2 * atan(inside)), abs=1e-8)
    # The ray of that direction which goes through the pupil's centre tells the apparent angle.
    rim = -(system.b_mm + 14.0 * system.d) * inside / (system.a + 14.0 * system.c_d / 1000)
    at_eye = system.c_d / 1000 * rim + system.d * inside
    apparent = apparent_field_general_deg(system, 24.0, 14.0, 4.0, criterion)
    assert apparent == pytest.approx(degrees(2 * atan(at_eye)), abs=1e-7)


def test_general_tube_as_the_stop():
    """A general tube with a small objective has no full field."""
    assert real_field_general_deg(telescope_matrix(2, 24), 8.0, 15.0, 5.0, "full") == 0
    assert real_field_general_deg(telescope_matrix(2, 24), 8.0, 15.0) > 0


@pytest.mark.parametrize(
    ("system", "words"),
    [
        (RayMatrix(0.5, 0.024, 0.0, 2.00201), "A D − B C = 1"),
        (RayMatrix(0.5, 0.024, 0.0, 1.99799), "A D − B C = 1"),
        (telescope_matrix(-4, 80), "field stop and exit pupil"),
        (RayMatrix(0.5, -0.030, 0.0, 2.0), "field stop and exit pupil"),
        (RayMatrix(0.05, 0.0, -10.0, 20.0), "field stop and exit pupil"),
        (RayMatrix(0.015, 0.94, -1.0, 4.0), "field stop and exit pupil"),
        (RayMatrix(float("nan"), 0.024, 0.0, 2.0), "A D − B C = 1"),
    ],
)
def test_general_tube_refusals(system, words):
    """A matrix that is no tube in air, an inverting one and an eye at the objective's image are refused."""
    for function in (real_field_general_deg, apparent_field_general_deg):
        with pytest.raises(DomainRefusal, match=words):
            function(system, 24.0, 15.0)


def test_general_tube_accepts_rounded_matrices():
    """A matrix typed with a determinant within 0.001 of 1 is a tube; an unknown criterion is not one."""
    assert real_field_general_deg(RayMatrix(0.5, 0.024, 0.0, 2.0019), 25.0, 15.0) > 13
    with pytest.raises(DomainRefusal, match="full, half or total"):
        real_field_general_deg(telescope_matrix(2, 24), 25.0, 15.0, 3.0, "last")  # type: ignore[arg-type]
    # The shortest tube with the eye at its ocular: the window stands half a millimetre before the pupil.
    close = degrees(2 * atan(25 / 2))
    assert real_field_general_deg(telescope_matrix(2, 0.5), 25.0, 0.0) == pytest.approx(close)
    for pupil in (None, 0.0, float("inf")):
        with pytest.raises(DomainRefusal, match="pupil of the eye"):
            real_field_general_deg(telescope_matrix(2, 24), 25.0, 15.0, pupil, "total")


NOMINAL = galilean_field(2.0, 24.0, 25.0, 15.0, 3.0, "full")


def test_nominal_field_stays_when_nothing_was_measured():
    """Without a measurement the nominal field is shown as such."""
    assert field_in_use(NOMINAL, 2.0) is NOMINAL
    assert NOMINAL.basis == "nominal"


def test_measured_field_takes_precedence():
    """A measured field replaces the nominal one, says so, and carries its own criterion and eye distance."""
    view = field_in_use(NOMINAL, -2.0, 12.0, 17.0, "half")
    apparent = degrees(2 * atan(2 * tan(radians(6))))
    assert view == FieldOfView(
        12.0, pytest.approx(apparent), "half", 17.0, 3.0, "as measured", 1.0, "measured"
    )
    bare = field_in_use(NOMINAL, 2.0, 12.0)
    assert (bare.criterion, bare.eye_distance_mm) == ("measured", 15.0)


@pytest.mark.parametrize(
    "arguments",
    [(2.0, 0.0), (2.0, 170.1), (1.04, 12.0), (2.0, 12.0, -0.1), (2.0, float("nan")), (float("inf"), 12.0)],
)
def test_measured_field_refusals(arguments):
    """A measured field of nothing, over 170 degrees, or without a telescope around it is refused."""
    with pytest.raises(DomainRefusal):
        field_in_use(NOMINAL, *arguments)
    assert field_in_use(NOMINAL, 1.05, 170.0).basis == "measured"


def test_value_in_use():
    """A measured power or exit pupil wins over the nominal one and keeps its sign; 0 and NaN are not measurements."""
    assert value_in_use(2.0).value == 2.0
    assert value_in_use(2.0).basis == "nominal"
    assert value_in_use(-4.0, -3.9).value == -3.9
    assert value_in_use(-4.0, -3.9).basis == "measured"
    for wrong in (0.0, float("nan"), float("inf"), -float("inf")):
        with pytest.raises(DomainRefusal, match="measured value"):
            value_in_use(2.0, wrong)
