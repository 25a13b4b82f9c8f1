"""Sizes of letters and signs at a distance."""

from __future__ import annotations

import pytest
from edges import ends_where_it_says
from hypothesis import given, settings
from hypothesis import strategies as st

from afocal.core.errors import RangeRefusal
from afocal.core.optotypes import (
    critical_detail_mm,
    legibility_distance_through_telescope_mm,
    letter_height_mm,
    mar_of_letter_arcmin,
    sign_legibility_distance_ft,
    sign_snellen_denominator,
)

# logMAR, height mm at 4 m, at 6 m, at 20 ft: anchor rows from the University of Rome's table for 4 m; the rest from
# the exact tangent.
HEIGHTS = [
    (-0.3, 2.92, 4.37, 4.44),
    (0.0, 5.82, 8.73, 8.87),
    (0.3, 11.61, 17.41, 17.69),
    (0.7, 29.16, 43.74, 44.44),
    (1.0, 58.18, 87.27, 88.66),
    (1.3, 116.1, 174.1, 176.9),
    (1.6, 231.7, 347.5, 353.1),
    (2.0, 582.8, 874.2, 888.2),
]


@pytest.mark.parametrize(("logmar", "at_4_m", "at_6_m", "at_20_ft"), HEIGHTS)
def test_letters_are_as_high_as_the_charts_print_them(
    logmar: float, at_4_m: float, at_6_m: float, at_20_ft: float
) -> None:
    """Heights at the three usual distances, to the printed digits."""
    for distance, height in ((4000, at_4_m), (6000, at_6_m), (6096, at_20_ft)):
        assert letter_height_mm(distance, 10**logmar) == pytest.approx(height, rel=6e-4, abs=0.0051)


@settings(max_examples=50)
@given(st.floats(50, 5e5), st.floats(0.3, 1000))
def test_the_height_of_a_letter_gives_its_angle_back(distance: float, mar: float) -> None:
    """Height and angle are inverse; the letter is five details high for small angles."""
    height = letter_height_mm(distance, mar)
    assert mar_of_letter_arcmin(distance, height) == pytest.approx(mar, rel=1e-9)
    if mar < 10:
        assert height == pytest.approx(5 * critical_detail_mm(distance, mar), rel=1e-4)


def test_the_ring_of_acuity_one_has_a_gap_of_a_minute() -> None:
    """At 5 m the ring is 7.272 mm with a gap of 1.454 mm (ISO 8596, geometry)."""
    assert letter_height_mm(5000, 1) == pytest.approx(7.2722, abs=1e-4)
    assert critical_detail_mm(5000, 1) == pytest.approx(1.4544, abs=1e-4)


def test_sign_letters_are_sized_by_feet_per_inch() -> None:
    """Six inches read at 180 ft by 30 ft an inch, at 240 ft by 40; the rule of 30 means 20/38.2."""
    assert sign_legibility_distance_ft(6) == 180
    assert sign_legibility_distance_ft(6, 40) == 240
    assert sign_snellen_denominator(1, 30) == pytest.approx(38.2, abs=0.01)
    assert sign_snellen_denominator(6, 180) == pytest.approx(38.2, abs=0.01)


def test_a_telescope_stretches_the_reading_distance_by_its_power() -> None:
    """150 mm letters are read at MAR 5 from 20.6 m, through 2.5x (either sign) from 51.6 m."""
    naked = legibility_distance_through_telescope_mm(150, 1, 5)
    assert naked == pytest.approx(20_626, abs=1)
    assert legibility_distance_through_telescope_mm(150, 2.5, 5) == pytest.approx(2.5 * naked)
    assert legibility_distance_through_telescope_mm(150, -2.5, 5) == pytest.approx(2.5 * naked)


# function, arguments inside at the edge, arguments outside
EDGES = [
    (letter_height_mm, (50, 5), (49.9, 5)),
    (letter_height_mm, (1e6, 5), (1.1e6, 5)),
    (letter_height_mm, (4000, 0.3), (4000, 0.29)),
    (letter_height_mm, (4000, 1000), (4000, 1001)),
    (critical_detail_mm, (50, 5), (49.9, 5)),
    (critical_detail_mm, (4000, 1000), (4000, 1001)),
    (mar_of_letter_arcmin, (50, 1), (49, 1)),
    (mar_of_letter_arcmin, (4000, 1e6), (4000, 1.1e6)),
    (mar_of_letter_arcmin, (4000, 0.001), (4000, 0)),
    (sign_legibility_distance_ft, (1000,), (1001,)),
    (sign_legibility_distance_ft, (0.1,), (0,)),
    (sign_legibility_distance_ft, (6, 1), (6, 0.9)),
    (sign_legibility_distance_ft, (6, 100), (6, 101)),
    (sign_snellen_denominator, (1000, 30), (1001, 30)),
    (sign_snellen_denominator, (0.1, 30), (0, 30)),
    (sign_snellen_denominator, (6, 3280), (6, 3300)),
    (sign_snellen_denominator, (6, 1), (6, 0)),
    (legibility_distance_through_telescope_mm, (1e6, 2, 5), (1.1e6, 2, 5)),
    (legibility_distance_through_telescope_mm, (0.1, 2, 5), (0, 2, 5)),
    (legibility_distance_through_telescope_mm, (150, 1, 5), (150, 0.9, 5)),
    (legibility_distance_through_telescope_mm, (150, -20, 5), (150, -20.1, 5)),
    (legibility_distance_through_telescope_mm, (150, 2, 1000), (150, 2, 1001)),
]


# Height in inches, distance in feet, the words of the refusal: in the units in which signs are given.
SIGN_REFUSALS = [
    (0.0, 30.0, "letter height: 0; accepted is above 0 in, up to 1000"),
    (6.0, 3281.0, "distance: 3281; accepted is above 0 ft, up to 3280"),
    (6.0, 0.0, "distance: 0; accepted is above 0 ft, up to 3280"),
]


@pytest.mark.parametrize(("height", "distance", "words"), SIGN_REFUSALS)
def test_a_sign_is_refused_in_inches_and_feet(height: float, distance: float, words: str) -> None:
    """Whoever typed inches and feet is answered in inches and feet."""
    with pytest.raises(RangeRefusal) as refusal:
        sign_snellen_denominator(height, distance)
    assert words in str(refusal.value)


@pytest.mark.parametrize(("function", "inside", "outside"), EDGES)
def test_each_size_ends_where_it_says(
    function, inside: tuple[float, ...], outside: tuple[float, ...]
) -> None:
    """The last value inside is computed, the first outside and not-a-number are refused."""
    ends_where_it_says(function, inside, outside)
