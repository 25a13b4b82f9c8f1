"""The scale of acuity: notations, scoring, chart distance and chart lines."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from afocal.core.acuity import (
    CHART_LINES,
    decimal_acuity,
    decimal_from_logmar,
    etdrs_letters,
    logmar,
    logmar_from_best_line,
    logmar_from_letter_score,
    logmar_from_letters,
    logmar_from_mar,
    logmar_from_vas,
    logmar_rounded_to_002,
    logmar_shift_for_test_distance,
    mar_arcmin,
    nearest_chart_line,
    r10_ratio,
    snellen_denominator,
    snellen_denominator_at_test_distance,
    vas_score,
)
from afocal.core.errors import RangeRefusal

LOG2 = math.log10(2)

# logMAR, 20/x, 6/x, 4/x, decimal, MAR, score, letters: the preferred-number series (Oduntan 2006, abstract; score and
# letters from DICOM PS3.17 table RR-1 where printed there). Labels are rounded, the MAR is the exact power of ten.
SCALE = [
    (-0.3, 10, 3.0, 2, 2.0, 0.501, 115, 100),
    (-0.2, 12.5, 3.8, 2.5, 1.6, 0.631, 110, 95),
    (-0.1, 16, 4.8, 3.2, 1.25, 0.794, 105, 90),
    (0.0, 20, 6, 4, 1.0, 1.00, 100, 85),
    (0.1, 25, 7.5, 5, 0.8, 1.26, 95, 80),
    (0.2, 32, 9.5, 6.3, 0.63, 1.58, 90, 75),
    (0.3, 40, 12, 8, 0.5, 2.00, 85, 70),
    (0.4, 50, 15, 10, 0.4, 2.51, 80, 65),
    (0.5, 63, 19, 12.5, 0.32, 3.16, 75, 60),
    (0.6, 80, 24, 16, 0.25, 3.98, 70, 55),
    (0.7, 100, 30, 20, 0.2, 5.01, 65, 50),
    (0.8, 125, 38, 25, 0.16, 6.31, 60, 45),
    (0.9, 160, 48, 32, 0.125, 7.94, 55, 40),
    (1.0, 200, 60, 40, 0.1, 10.0, 50, 35),
    (1.1, 250, 75, 50, 0.08, 12.6, 45, 30),
    (1.2, 320, 95, 63, 0.063, 15.8, 40, 25),
    (1.3, 400, 120, 80, 0.05, 20.0, 35, 20),
    (1.4, 500, 150, 100, 0.04, 25.1, 30, 15),
    (1.5, 630, 190, 125, 0.032, 31.6, 25, 10),
    (1.6, 800, 240, 160, 0.025, 39.8, 20, 5),
    (1.7, 1000, 300, 200, 0.02, 50.1, 15, 0),
]


@pytest.mark.parametrize("row", SCALE, ids=[f"{row[0]:g}" for row in SCALE])
def test_each_notation_of_a_line_means_the_same_acuity(row: tuple[float, ...]) -> None:
    """A line's labels in feet, in metres and as decimal agree with its logMAR within their rounding."""
    value, feet, six, four, decimal, mar, score, letters = row
    assert logmar(decimal_acuity(feet)) == pytest.approx(value, abs=0.005)
    assert logmar(decimal_acuity(six, 6)) == pytest.approx(value, abs=0.006)
    assert logmar(decimal_acuity(four, 4)) == pytest.approx(value, abs=0.006)
    assert logmar(decimal) == pytest.approx(value, abs=0.006)
    assert mar_arcmin(value) == pytest.approx(mar, rel=0.004)
    assert vas_score(value) == pytest.approx(score)
    assert etdrs_letters(value) == pytest.approx(letters, abs=1e-9)
    assert snellen_denominator(value) == pytest.approx(feet, rel=0.013)
    assert snellen_denominator(value, 6) == pytest.approx(six, rel=0.015)


@settings(max_examples=60)
@given(st.floats(-0.47, 3.0))
def test_every_conversion_returns_to_where_it_started(value: float) -> None:
    """logMAR to decimal, MAR, Snellen and score and back is the identity."""
    assert logmar(decimal_from_logmar(value)) == pytest.approx(value, abs=1e-12)
    assert logmar_from_mar(mar_arcmin(value)) == pytest.approx(value, abs=1e-12)
    assert logmar(decimal_acuity(snellen_denominator(value, 6), 6)) == pytest.approx(value, abs=1e-12)
    assert logmar_from_vas(vas_score(value)) == pytest.approx(value, abs=1e-12)
    if -0.3 <= value <= 1.7:
        assert logmar_from_letter_score(etdrs_letters(value)) == pytest.approx(value, abs=1e-12)


# function, value just inside the range, value just outside
EDGES = [
    (logmar, 0.001, 0.000999),
    (logmar, 3.0, 3.001),
    (logmar_rounded_to_002, 3.0, 3.001),
    (decimal_from_logmar, -0.5, -0.501),
    (decimal_from_logmar, 3.0, 3.001),
    (mar_arcmin, -0.5, -0.501),
    (mar_arcmin, 3.0, 3.001),
    (logmar_from_mar, 0.3163, 0.3161),
    (logmar_from_mar, 1000.0, 1000.1),
    (snellen_denominator, -0.5, -0.501),
    (snellen_denominator, 3.0, 3.001),
    (vas_score, -0.5, -0.501),
    (vas_score, 3.0, 3.001),
    (etdrs_letters, -0.3, -0.301),
    (etdrs_letters, 1.7, 1.701),
    (logmar_from_letter_score, 0.0, -0.1),
    (logmar_from_letter_score, 100.0, 100.1),
    (logmar_from_vas, -50.0, -50.1),
    (logmar_from_vas, 125.0, 125.1),
    (r10_ratio, 100.0, 100.1),
    (r10_ratio, -100.0, -100.1),
    (decimal_acuity, 7.0, 0.0),
    (decimal_acuity, 7.0, -20.0),
    (decimal_acuity, 6.67, 6.66),
    (decimal_acuity, 20_000.0, 20_001.0),
    (nearest_chart_line, 0.5, 0.0),
    (nearest_chart_line, 1e6, -1.0),
]


@pytest.mark.parametrize(("function", "inside", "outside"), EDGES)
def test_each_conversion_ends_where_it_says(function, inside: float, outside: float) -> None:
    """The last value inside is computed, the first outside is refused, as are infinity and not-a-number."""
    assert math.isfinite(function(inside))
    for value in (outside, math.nan, math.inf, -math.inf):
        with pytest.raises(RangeRefusal):
            function(value)


@pytest.mark.parametrize("numerator", [0.0, -6.0, math.inf, math.nan])
def test_a_fraction_needs_a_distance_above_zero(numerator: float) -> None:
    """A numerator that is no distance is refused under its own name."""
    with pytest.raises(RangeRefusal, match="Snellen numerator"):
        decimal_acuity(100, numerator)
    with pytest.raises(RangeRefusal, match="Snellen numerator"):
        snellen_denominator(0.3, numerator)


# function, arguments, the whole sentence of the refusal
SENTENCES = [
    (logmar, (5.0,), "decimal acuity: 5; accepted is 0.001 to 3 (for example 0.2)."),
    (mar_arcmin, (4.0,), "acuity: 4 logMAR; accepted is -0.5 to 3 logMAR (for example 0.7 logMAR)."),
    (
        etdrs_letters,
        (1.8,),
        "letter score: 1.8 logMAR; the letter score ends at 0 and 100; state the logMAR only; "
        "accepted is -0.3 to 1.7 logMAR (for example 0.7).",
    ),
    (decimal_acuity, (-3.0,), "Snellen denominator: -3; accepted is a number above 0 (for example 100)."),
    (decimal_acuity, (100.0, 0.0), "Snellen numerator: 0; accepted is a number above 0 (for example 20)."),
    (snellen_denominator, (0.3, 0.0), "Snellen numerator: 0; accepted is a number above 0 (for example 20)."),
    (
        logmar_from_mar,
        (1001.0,),
        "minimum angle of resolution: 1001; accepted is 0.32 to 1000 arcmin (for example 5).",
    ),
    (
        logmar_from_letter_score,
        (101.0,),
        "letter score: 101; accepted is 0 to 100 letters (for example 55 letters).",
    ),
    (
        logmar_from_vas,
        (126.0,),
        "visual acuity score: 126; accepted is -50 to 125 points (for example 85 VAS).",
    ),
    (logmar_from_letters, (1.0, 0.0), "letters read: 0; accepted is 1 to 100 letters (for example 40)."),
    (logmar_from_best_line, (0.3, 6.0), "letters on the last line: 6; accepted is 0 to 5 (for example 3)."),
    (
        snellen_denominator_at_test_distance,
        (0.0, 20.0, 10.0),
        "Snellen denominator: 0; accepted is a number above 0 (for example 100).",
    ),
    (
        logmar_shift_for_test_distance,
        (0.0, 1.0),
        "chart distance: 0; accepted is a distance above 0 (for example 4).",
    ),
    (
        logmar_shift_for_test_distance,
        (4.0, 0.0),
        "test distance: 0; accepted is a distance above 0 (for example 4).",
    ),
    (r10_ratio, (101.0,), "steps: 101; accepted is -100 to 100 (for example 3)."),
    (nearest_chart_line, (0.0,), "Snellen denominator: 0; accepted is a number above 0 (for example 100)."),
]


@pytest.mark.parametrize(("function", "arguments", "sentence"), SENTENCES)
def test_a_refused_conversion_says_field_value_range_and_example(
    function, arguments: tuple[float, ...], sentence: str
) -> None:
    """Each refusal is one sentence that a clinician can act on."""
    with pytest.raises(RangeRefusal) as refusal:
        function(*arguments)
    assert str(refusal.value) == sentence


@pytest.mark.parametrize(
    ("function", "arguments", "value"),
    [
        (decimal_acuity, (0.5, 0.5), 1.0),
        (snellen_denominator, (0.0, 0.5), 0.5),
        (snellen_denominator_at_test_distance, (0.5, 1.0, 1.0), 0.5),
        (logmar_shift_for_test_distance, (0.5, 0.5), 0.0),
        (logmar_from_mar, (1000.0,), 3.0),
        (logmar_from_mar, (10**-0.5,), -0.5),
        (etdrs_letters, (-0.3,), 100.0),
        (etdrs_letters, (1.7,), 0.0),
        (r10_ratio, (3,), 10**0.3),
        (r10_ratio, (-10,), 0.1),
        (nearest_chart_line, (0.5,), 10),
    ],
)
def test_small_numbers_and_ends_are_computed(function, arguments: tuple[float, ...], value: float) -> None:
    """Any distance above zero is one, and both ends of a scale belong to it."""
    assert function(*arguments) == pytest.approx(value, abs=1e-12)


# top line, letters read, logMAR
LETTERS = [(1.0, 40, 0.3), (1.0, 5, 1.0), (1.0, 1, 1.08), (1.6, 62, 0.46), (0.5, 30, 0.0)]


@pytest.mark.parametrize(("top", "letters", "expected"), LETTERS)
def test_letters_are_scored_from_the_top_line(top: float, letters: float, expected: float) -> None:
    """Each letter is worth 0.02, the whole top line its own logMAR."""
    assert logmar_from_letters(top, letters) == pytest.approx(expected, abs=1e-12)


@pytest.mark.parametrize(("best", "letters", "expected"), [(0.3, 5, 0.3), (0.3, 0, 0.4), (0.7, 2, 0.76)])
def test_letters_are_scored_from_the_last_line_begun(best: float, letters: float, expected: float) -> None:
    """Missing letters of the last line cost 0.02 each."""
    assert logmar_from_best_line(best, letters) == pytest.approx(expected, abs=1e-12)


@pytest.mark.parametrize(
    ("function", "arguments"),
    [
        (logmar_from_letters, (1.0, 0)),
        (logmar_from_letters, (1.0, -1)),
        (logmar_from_letters, (1.0, 101)),
        (logmar_from_letters, (2.5, 100.5)),
        (logmar_from_letters, (3.1, 5)),
        (logmar_from_letters, (-0.2, 60)),
        (logmar_from_best_line, (0.3, 5.1)),
        (logmar_from_best_line, (0.3, -0.1)),
        (logmar_from_best_line, (3.1, 3)),
        (snellen_denominator_at_test_distance, (0, 20, 10)),
        (snellen_denominator_at_test_distance, (40, 0, 10)),
        (logmar_shift_for_test_distance, (4, 0)),
        (logmar_shift_for_test_distance, (-4, 1)),
        (logmar_shift_for_test_distance, (4, math.inf)),
    ],
)
def test_scores_and_distances_that_cannot_be_are_refused(function, arguments: tuple[float, ...]) -> None:
    """Letters beyond the chart and distances of nothing are refused."""
    with pytest.raises(RangeRefusal):
        function(*arguments)


def test_the_extremes_of_a_letter_count_are_accepted() -> None:
    """One hundred letters on a chart from 1.6 end at -0.3."""
    assert logmar_from_letters(1.6, 100) == pytest.approx(-0.3)


def test_a_nearer_chart_makes_the_acuity_worse_by_the_ratio() -> None:
    """A 20/40 line read at half its distance is 20/80, 0.301 log worse."""
    assert snellen_denominator_at_test_distance(40, 20, 10) == pytest.approx(80)
    assert logmar_shift_for_test_distance(20, 10) == pytest.approx(LOG2)
    assert logmar_shift_for_test_distance(1, 4) == pytest.approx(-2 * LOG2)


@pytest.mark.parametrize(
    ("decimal", "rounded"),
    [(1.2, -0.08), (1.0, 0.0), (0.5, 0.3), (0.4, 0.4), (10**-0.05, 0.06), (10**0.05, -0.04)],
)
def test_rounding_to_letters_sends_a_tie_to_the_worse_value(decimal: float, rounded: float) -> None:
    """The grid is 0.02; half a letter counts as missed."""
    assert logmar_rounded_to_002(decimal) == pytest.approx(rounded, abs=1e-12)


# denominator, series, line
NEAREST = [
    (45, "R10", 50),
    (44.72, "R10", 40),
    (math.sqrt(40 * 50), "R10", 50),
    (40, "R10", 40),
    (1, "R10", 10),
    (10, "R10", 10),
    (9000, "R10", 2000),
    (2000, "R10", 2000),
    (70, "R10", 63),
    (71.5, "R10", 80),
    (70, "US", 70),
    (53, "US", 50),
    (math.sqrt(1000 * 1250), "US", 1250),
    (36, "UK", 36),
    (17, "UK", 18),
    (1, "UK", 3),
    (900, "UK", 600),
]


@pytest.mark.parametrize(("denominator", "series", "line"), NEAREST)
def test_the_nearest_line_is_found_in_log_units(denominator: float, series, line: float) -> None:
    """Equal log distances go to the worse line; beyond the ends the end line is given."""
    assert nearest_chart_line(denominator, series) == line


def test_the_preferred_series_is_the_default() -> None:
    """Without a series, the preferred numbers are used: 20/70 goes to 63."""
    assert nearest_chart_line(70) == 63


# The traditional lines of charts for 20 ft and 6 m (common practice), written as a clinician would.
US_LINES = (
    "10 12.5 15 16 20 25 30 32 40 50 60 63 70 80 100 125 150 160 200 250 300 320 400 500 600 630 800 1000"
)
UK_LINES = "3 3.8 4.8 5 6 7.5 9 9.5 12 15 18 19 24 30 36 38 48 60 75 95 120 150 190 240 300 380 480 600"


def test_the_lists_of_lines_are_those_of_the_charts() -> None:
    """Preferred numbers from 10 to 2000, the traditional lines and the preferred ones beyond, lines for 6 m."""
    preferred = [row[1] for row in SCALE]
    assert list(CHART_LINES["R10"]) == [*preferred, 1250, 1600, 2000]
    assert list(CHART_LINES["US"]) == [*(float(line) for line in US_LINES.split()), 1250, 1600, 2000]
    assert list(CHART_LINES["UK"]) == [float(line) for line in UK_LINES.split()]


@pytest.mark.parametrize("series", CHART_LINES)
def test_chart_lines_rise_in_steps_of_a_readable_size(series: str) -> None:
    """Lines are sorted, without repeats, and no step exceeds 0.13 log."""
    lines = CHART_LINES[series]
    assert list(lines) == sorted(set(lines))
    assert all(1 < b / a < 10**0.13 for a, b in pairwise(lines))


@pytest.mark.parametrize("line", CHART_LINES["R10"])
def test_the_preferred_lines_stand_a_tenth_apart(line: float) -> None:
    """Each label lies within 0.006 log of a whole tenth, and the US series has it too."""
    tenths = 10 * math.log10(line / 20)
    assert tenths == pytest.approx(round(tenths), abs=0.06)
    assert line in CHART_LINES["US"]
