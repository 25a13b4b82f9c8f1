"""Near print: sizes, acuities, and the text that clinicians type."""

from __future__ import annotations

import math

import pytest
from edges import ends_where_it_says
from hypothesis import given, settings
from hypothesis import strategies as st

from afocal.core.errors import AfocalError, EntryRefusal, RangeRefusal
from afocal.core.print_size import (
    NearPrint,
    format_near_print,
    letter_height_of_m_units_mm,
    logmar_corrected_for_distance,
    logmar_of_near_print,
    m_units_of_letter,
    m_units_of_logmar,
    m_units_of_points,
    mar_from_near_print_arcmin,
    near_decimal_acuity,
    near_snellen_denominator,
    parse_near_print,
    points_of_m_units,
    x_height_mm,
    x_height_of_points_mm,
    x_height_points,
)

# typed, M units, distance mm
READ = [
    ("1.6M @ 40", 1.6, 400.0),
    ("1.6M@40", 1.6, 400.0),
    ("1.6 M 40 cm", 1.6, 400.0),
    ("1.6 M 40", 1.6, 400.0),
    ("1,6M @ 40cm", 1.6, 400.0),
    ("1.6m at 40", 1.6, 400.0),
    ("1.6 M units at 40 cm", 1.6, 400.0),
    ("1 m unit @ 40", 1.0, 400.0),
    ("1.6M @ 0.4 m", 1.6, 400.0),
    ("1.6M @ 400 mm", 1.6, 400.0),
    ("1.6M @ 16 in", 1.6, 406.4),
    ("1.6M @ 16 in.", 1.6, 406.4),
    ("1.6M @ 1 inch", 1.6, 25.4),
    ("1.6M @ 16 inches", 1.6, 406.4),
    ('1.6M @ 16"', 1.6, 406.4),
    ("1.6M @ 16”", 1.6, 406.4),
    ("1.6M @ 10", 1.6, 100.0),
    ("1.6M @ 100", 1.6, 1000.0),
    ("1.6M", 1.6, None),
    (".8M", 0.8, None),
    ("0.4/1.6M", 1.6, 400.0),
    ("0.4 / 1.6 M", 1.6, 400.0),
    ("0,4/1,6M", 1.6, 400.0),
    ("0.4m/1.6M", 1.6, 400.0),
    ("N12 at 33cm", 1.5, 330.0),
    ("n 8", 1.0, None),
    ("N8 @ 40", 1.0, 400.0),
    ("8 pt @ 40", 1.0, 400.0),
    ("8pt. @ 40", 1.0, 400.0),
    ("8 pts", 1.0, None),
    ("12 points at 40 cm", 1.5, 400.0),
    ("1 point", 0.125, None),
    ("40M @ 6 m", 40.0, 6000.0),
    ("0.1M @ 2 cm", 0.1, 20.0),
]


@pytest.mark.parametrize(("typed", "m_units", "distance"), READ)
def test_near_print_is_read_as_it_is_typed(typed: str, m_units: float, distance: float | None) -> None:
    """M units, points and metres over M units, with a distance in any unit or none."""
    near = parse_near_print(typed)
    assert near.m_units == pytest.approx(m_units)
    assert near.distance_mm == (None if distance is None else pytest.approx(distance))
    assert near.typed == typed
    if distance is None:
        assert near.logmar is None
    else:
        assert near.logmar == pytest.approx(math.log10(1000 * m_units / distance))


# typed, kind, words
REFUSED = [
    ("", EntryRefusal, "near print: nothing typed; this is no near print"),
    ("abc", EntryRefusal, "this is no near print; accepted is a size in M units or points, and its distance"),
    ("0.4/1.6", EntryRefusal, "this is no near print"),
    ("1.6", EntryRefusal, "this is no near print"),
    ("1.6M @", EntryRefusal, "this is no near print"),
    (
        "1.6M @ 9",
        EntryRefusal,
        "9 is no distance in cm; accepted is 10 to 100 cm, or a distance with its unit",
    ),
    ("1.6M @ 101", EntryRefusal, "101 is no distance in cm"),
    ("1.6M @ 0.4", EntryRefusal, "0.4 is no distance in cm"),
    ("41M @ 40", RangeRefusal, "near print: 41M @ 40; accepted is 0.1 to 40 M"),
    ("0.09M @ 40", RangeRefusal, "0.1 to 40 M"),
    ("1.6M @ 1.9 cm", RangeRefusal, "distance of the near print: 1.6M @ 1.9 cm; accepted is 2 cm to 6 m"),
    ("6.1/1.6M", RangeRefusal, "2 cm to 6 m"),
]


@pytest.mark.parametrize(("typed", "kind", "words"), REFUSED)
def test_what_is_no_near_print_is_refused_with_its_reason(
    typed: str, kind: type[AfocalError], words: str
) -> None:
    """Each refusal names what was expected and gives an example."""
    with pytest.raises(kind, match=words) as refusal:
        parse_near_print(typed)
    assert "for example" in str(refusal.value)


@settings(max_examples=100)
@given(st.text(alphabet='0123456789/.,Mmn @cptinat"', max_size=14))
def test_nothing_typed_makes_anything_but_print_or_a_refusal(text: str) -> None:
    """Whatever is typed, the reader answers with print in range or one of our refusals."""
    try:
        near = parse_near_print(text)
    except AfocalError:
        return
    assert 0.1 <= near.m_units <= 40


@pytest.mark.parametrize(
    ("near", "points", "text"),
    [
        (NearPrint(1.6, 400.0), False, "1.6M @ 40 cm"),
        (NearPrint(1.6, 400.0), True, "N12.8 @ 40 cm"),
        (NearPrint(1.5), True, "N12"),
        (NearPrint(0.8), False, "0.8M"),
        (NearPrint(1.25, 406.4), False, "1.25M @ 40.64 cm"),
    ],
)
def test_near_print_is_written_so_that_it_reads_back(near: NearPrint, points: bool, text: str) -> None:
    """M units or points with the distance in cm."""
    assert format_near_print(near, points=points) == text
    again = parse_near_print(text)
    assert again.m_units == pytest.approx(near.m_units)
    assert again.distance_mm == (None if near.distance_mm is None else pytest.approx(near.distance_mm))


@settings(max_examples=60)
@given(st.floats(0.1, 40), st.floats(20, 6000), st.booleans())
def test_written_print_reads_back_within_its_digits(m_units: float, distance: float, points: bool) -> None:
    """Three digits of size and four of distance survive; beyond the ends of the range the reader refuses."""
    try:
        again = parse_near_print(format_near_print(NearPrint(m_units, distance), points=points))
    except RangeRefusal:
        assert m_units < 0.1005 or m_units > 39.9 or distance < 20.01 or distance > 5999
        return
    assert again.m_units == pytest.approx(m_units, rel=0.006)
    assert again.distance_mm == pytest.approx(distance, rel=0.0006)


def test_one_m_unit_subtends_five_minutes_at_a_metre() -> None:
    """1 M is 1.4544 mm high; 1 mm of letter is 0.69 M (Jose and Atcherson print 0.7)."""
    assert letter_height_of_m_units_mm(1) == pytest.approx(1.4544, abs=5e-5)
    assert letter_height_of_m_units_mm(8) == pytest.approx(8 * 1.45444, abs=1e-3)
    assert m_units_of_letter(1) == pytest.approx(0.6876, abs=1e-4)
    assert m_units_of_letter(letter_height_of_m_units_mm(2.5)) == pytest.approx(2.5)


def test_eight_point_is_one_m_unit_by_convention() -> None:
    """Common practice: N8 is 1.0 M; the x of a text face takes about half of the body."""
    assert m_units_of_points(8) == 1
    assert m_units_of_points(12) == 1.5
    assert points_of_m_units(2.5) == 20
    assert x_height_of_points_mm(8) == pytest.approx(0.48 * 8 * 25.4 / 72)
    assert x_height_of_points_mm(10, 0.5) == pytest.approx(5 * 25.4 / 72)


def test_near_acuity_is_metres_over_m_units() -> None:
    """1 M at 40 cm is 0.4 decimal, 20/50, 0.398 logMAR, MAR 2.5 (Colenbrander)."""
    assert near_decimal_acuity(400, 1) == pytest.approx(0.4)
    assert near_snellen_denominator(20, 400, 1) == pytest.approx(50)
    assert logmar_of_near_print(400, 1) == pytest.approx(math.log10(2.5))
    assert mar_from_near_print_arcmin(1, 2.5) == pytest.approx(2.5)
    assert m_units_of_logmar(400, math.log10(2.5)) == pytest.approx(1)
    assert str(logmar_of_near_print(1000, 1)) == "0.0"


def test_angles_give_heights_and_points() -> None:
    """Fluent print runs from 1.4 to 14 mm of x-height at 40 cm (Legge and Bigelow 2011, abstract)."""
    assert x_height_mm(400, 0.2) == pytest.approx(1.396, abs=1e-3)
    assert x_height_points(400, 0.2) == pytest.approx(1.39626 * 72 / 25.4, abs=1e-3)


def test_print_read_nearer_than_its_label_is_worse() -> None:
    """A size labelled for 40 cm and read at 20 cm is 0.3 log worse, at 40 cm unchanged."""
    assert logmar_corrected_for_distance(0.5, 200) == pytest.approx(0.5 + math.log10(2))
    assert logmar_corrected_for_distance(0.5, 400) == pytest.approx(0.5)


# function, arguments inside at the edge, arguments outside
EDGES = [
    (letter_height_of_m_units_mm, (0.05,), (0.049,)),
    (letter_height_of_m_units_mm, (100,), (100.1,)),
    (m_units_of_letter, (0.08,), (0.079,)),
    (m_units_of_letter, (145,), (145.1,)),
    (m_units_of_points, (1,), (0.9,)),
    (m_units_of_points, (500,), (501,)),
    (points_of_m_units, (0.05,), (0.04,)),
    (x_height_of_points_mm, (1,), (0.9,)),
    (x_height_of_points_mm, (500,), (501,)),
    (x_height_of_points_mm, (12, 0.3), (12, 0.29)),
    (x_height_of_points_mm, (12, 0.7), (12, 0.71)),
    (x_height_mm, (10, 1), (9.9, 1)),
    (x_height_mm, (20_000, 1), (20_001, 1)),
    (x_height_mm, (400, 60), (400, 60.1)),
    (x_height_mm, (400, 1e-6), (400, 0)),
    (near_decimal_acuity, (10, 1), (9.9, 1)),
    (near_decimal_acuity, (400, 100), (400, 101)),
    (near_snellen_denominator, (1000, 400, 1), (1001, 400, 1)),
    (near_snellen_denominator, (0.1, 400, 1), (0, 400, 1)),
    (mar_from_near_print_arcmin, (1, 0.05), (1, 0.049)),
    (mar_from_near_print_arcmin, (1, 100), (1, 101)),
    (mar_from_near_print_arcmin, (0.05, 1), (0.04, 1)),
    (m_units_of_logmar, (400, -0.5), (400, -0.51)),
    (m_units_of_logmar, (400, 3), (400, 3.1)),
    (m_units_of_logmar, (10, 1), (9, 1)),
    (logmar_corrected_for_distance, (-2, 400), (-2.1, 400)),
    (logmar_corrected_for_distance, (4, 400), (4.1, 400)),
    (logmar_corrected_for_distance, (1, 10), (1, 9)),
]


@pytest.mark.parametrize(("function", "inside", "outside"), EDGES)
def test_each_size_ends_where_it_says(
    function, inside: tuple[float, ...], outside: tuple[float, ...]
) -> None:
    """The last value inside is computed, the first outside and not-a-number are refused."""
    ends_where_it_says(function, inside, outside)
