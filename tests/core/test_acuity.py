"""The scale of acuity, and reading and writing it as clinicians do."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest
from afocal.core.acuity import (
    CHART_LINES,
    Acuity,
    Notation,
    OffChart,
    decimal_acuity,
    decimal_from_logmar,
    etdrs_letters,
    format_acuity,
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
    on_chart,
    parse_acuity,
    r10_ratio,
    snellen_denominator,
    snellen_denominator_at_test_distance,
    vas_score,
)
from afocal.core.errors import AfocalError, ClinicalRefusal, EntryRefusal, RangeRefusal
from hypothesis import given, settings
from hypothesis import strategies as st

LOG2 = math.log10(2)
LOG5 = math.log10(5)

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


# Reading

# typed, logMAR, notation
READ: list[tuple[str, float, str]] = [
    ("20/100", LOG5, "snellen_ft"),
    ("20/100-2", LOG5 + 0.04, "snellen_ft"),
    ("20/100 -2", LOG5 + 0.04, "snellen_ft"),
    ("20/100 - 2", LOG5 + 0.04, "snellen_ft"),
    ("20/100 (-2)", LOG5 + 0.04, "snellen_ft"),
    ("20/100+1", LOG5 - 0.02, "snellen_ft"),
    ("20/100−2", LOG5 + 0.04, "snellen_ft"),
    ("20/100–2", LOG5 + 0.04, "snellen_ft"),
    ("20/100⁻²", LOG5 + 0.04, "snellen_ft"),
    ("20/100⁺¹", LOG5 - 0.02, "snellen_ft"),
    ("20/40+2-1", LOG2 - 0.02, "snellen_ft"),
    ("20/40-5", LOG2 + 0.1, "snellen_ft"),
    ("20⁄40", LOG2, "snellen_ft"),
    (" 20 / 40 ", LOG2, "snellen_ft"),
    ("6/30", LOG5, "snellen_m"),
    ("6/9.5", math.log10(9.5 / 6), "snellen_m"),
    ("6/9,5", math.log10(9.5 / 6), "snellen_m"),
    ("4/20", LOG5, "snellen_m"),
    ("5/25", LOG5, "snellen_m"),
    ("3/15", LOG5, "snellen_m"),
    ("1/60", math.log10(60), "snellen_m"),
    ("0.5/10", math.log10(20), "snellen_m"),
    ("10/50", LOG5, "snellen_ft"),
    ("2/200", 2.0, "snellen_ft"),
    ("0.2", LOG5, "decimal"),
    ("0,5", LOG2, "decimal"),
    (".5", LOG2, "decimal"),
    ("0.7", -math.log10(0.7), "decimal"),
    ("1", 0.0, "decimal"),
    ("1.", 0.0, "decimal"),
    ("2.5", -math.log10(2.5), "decimal"),
    ("0.5-2", LOG2 + 0.04, "decimal"),
    ("0.5 decimal", LOG2, "decimal"),
    ("decimal 0.5", LOG2, "decimal"),
    ("dec 0.5", LOG2, "decimal"),
    ("0.7 logMAR", 0.7, "logmar"),
    ("logmar 0.7", 0.7, "logmar"),
    ("LogMAR: 0.7", 0.7, "logmar"),
    ("logMAR=0,7", 0.7, "logmar"),
    ("0.7 log MAR", 0.7, "logmar"),
    ("-0.1 logMAR", -0.1, "logmar"),
    ("−0.1 logMAR", -0.1, "logmar"),
    ("- 0.1 logMAR", -0.1, "logmar"),
    ("logMAR -0.1", -0.1, "logmar"),
    ("+0.3 logMAR", 0.3, "logmar"),
    ("0 logMAR", 0.0, "logmar"),
    ("0.7 logMAR -2", 0.74, "logmar"),
    ("0.7 logMAR +1", 0.68, "logmar"),
    ("2 logMAR", 2.0, "logmar"),
    ("-0.4 logMAR", -0.4, "logmar"),
    ("55 letters", 0.6, "letters"),
    ("letters 55", 0.6, "letters"),
    ("1 letter", 1.68, "letters"),
    ("0 letters", 1.7, "letters"),
    ("85 VAS", 0.3, "vas"),
    ("VAS 85", 0.3, "vas"),
    ("85 var score", 0.3, "vas"),
]


@pytest.mark.parametrize(("typed", "value", "notation"), READ)
def test_an_acuity_is_read_as_it_is_typed(typed: str, value: float, notation: str) -> None:
    """Every notation in use gives its logMAR, remembers its notation and keeps what was typed."""
    acuity = parse_acuity(typed)
    assert isinstance(acuity, Acuity)
    assert acuity.logmar == pytest.approx(value, abs=1e-12)
    assert acuity.notation == notation
    assert acuity.typed == typed
    assert acuity.chart_distance_mm is None


# typed, category, distance mm
OFF_CHART: list[tuple[str, str, float | None]] = [
    ("CF", "CF", None),
    ("cf", "CF", None),
    ("FC", "CF", None),
    ("CF 2 ft", "CF", 609.6),
    ("CF 2ft", "CF", 609.6),
    ("CF 2 ft.", "CF", 609.6),
    ("CF 2'", "CF", 609.6),
    ("CF 2′", "CF", 609.6),
    ("CF @ 2 feet", "CF", 609.6),
    ("CF at 1 foot", "CF", 304.8),
    ("CF at 60 cm", "CF", 600.0),
    ("CF@60cm", "CF", 600.0),
    ("CF 0,6 m", "CF", 600.0),
    ("CF 1 metre", "CF", 1000.0),
    ("CF 1 meter", "CF", 1000.0),
    ("CF 12 in", "CF", 304.8),
    ("CF 1 inch", "CF", 25.4),
    ("CF 12 inches", "CF", 304.8),
    ('CF 12"', "CF", 304.8),
    ("CF 600 mm", "CF", 600.0),
    ("count fingers at 3 m", "CF", 3000.0),
    ("counting fingers", "CF", None),
    ("finger counting", "CF", None),
    ("HM", "HM", None),
    ("HM at 0.5 m", "HM", 500.0),
    ("hand motion", "HM", None),
    ("hand movements", "HM", None),
    ("LP", "LP", None),
    ("PL", "LP", None),
    ("light perception", "LP", None),
    ("perception of light", "LP", None),
    ("NLP", "NLP", None),
    ("NPL", "NLP", None),
    ("no light perception", "NLP", None),
    ("no perception of light", "NLP", None),
]


@pytest.mark.parametrize(("typed", "category", "distance"), OFF_CHART)
def test_an_off_chart_acuity_is_a_category_with_its_distance(
    typed: str, category: str, distance: float | None
) -> None:
    """Words and abbreviations give the category; a distance needs its unit and is kept in mm."""
    acuity = parse_acuity(typed)
    assert isinstance(acuity, OffChart)
    assert acuity.category == category
    assert acuity.distance_mm == (None if distance is None else pytest.approx(distance))
    assert acuity.typed == typed
    assert not hasattr(acuity, "logmar")


# typed, distance mm
CHART_DISTANCES = [
    ("20/400 @ 10 ft", 3048.0),
    ("20/200 at 4m", 4000.0),
    ("0.7 logMAR @ 1 m", 1000.0),
    ("20/400-2 @10ft", 3048.0),
    ("0.05 at 50 cm", 500.0),
]


@pytest.mark.parametrize(("typed", "distance"), CHART_DISTANCES)
def test_a_chart_distance_is_recorded_and_changes_nothing(typed: str, distance: float) -> None:
    """The distance behind an acuity is kept; the value is the same without it."""
    acuity = parse_acuity(typed)
    bare = parse_acuity(typed.replace("at", "@").split("@")[0])
    assert isinstance(acuity, Acuity) and isinstance(bare, Acuity)
    assert acuity.chart_distance_mm == pytest.approx(distance)
    assert acuity.logmar == bare.logmar


def test_a_given_chart_distance_is_recorded_unless_one_is_typed() -> None:
    """The form's own distance stands in for a missing one; a typed one wins."""
    given_only, both = (
        parse_acuity("20/40", chart_distance_mm=4000),
        parse_acuity("20/40 @ 1 m", chart_distance_mm=4000),
    )
    assert isinstance(given_only, Acuity) and isinstance(both, Acuity)
    assert given_only.chart_distance_mm == 4000
    assert both.chart_distance_mm == 1000
    assert given_only.logmar == pytest.approx(LOG2)


# typed, kind of refusal, words of the reason
REFUSED = [
    ("", EntryRefusal, "nothing typed"),
    ("  ", EntryRefusal, "nothing typed"),
    ("abc", EntryRefusal, "this is no acuity notation"),
    ("20/", EntryRefusal, "this is no acuity notation"),
    ("20/40/50", EntryRefusal, "this is no acuity notation"),
    ("20/100²", EntryRefusal, "this is no acuity notation"),
    ("20/40+1+1+1", EntryRefusal, "this is no acuity notation"),
    ("55", EntryRefusal, "a number alone is read as decimal acuity"),
    ("0", EntryRefusal, "a number alone is read as decimal acuity"),
    ("3.1", EntryRefusal, "a number alone is read as decimal acuity"),
    ("0.0009", EntryRefusal, "a number alone is read as decimal acuity"),
    ("-0.1", EntryRefusal, "a signed number alone could be a logMAR or a score"),
    ("+0.1", EntryRefusal, "a signed number alone could be a logMAR or a score"),
    ("CF 2", EntryRefusal, "2 is a distance without a unit; accepted is ft, m, cm, mm or in"),
    ("20/40 @ 4", EntryRefusal, "4 is a distance without a unit"),
    ("LP 2 m", EntryRefusal, "light perception has no distance; accepted is LP"),
    ("NLP at 1 m", EntryRefusal, "no light perception has no distance; accepted is NLP"),
    ("20/40-6", EntryRefusal, "-6 letters is more than a line; accepted is 1 to 5 letters"),
    ("20/40+0", EntryRefusal, r"\+0 letters is more than a line"),
    ("CF 9 mm", RangeRefusal, "distance of the acuity test: CF 9 mm; accepted is 10 mm to 30 m"),
    ("CF 31 m", RangeRefusal, "distance of the acuity test"),
    ("20/2500", RangeRefusal, "acuity: 20/2500; accepted is -0.4 to 2.0 logMAR"),
    ("20/2000-1", RangeRefusal, "-0.4 to 2.0 logMAR"),
    ("2.01 logMAR", RangeRefusal, "-0.4 to 2.0 logMAR"),
    ("-0.41 logMAR", RangeRefusal, "-0.4 to 2.0 logMAR"),
    ("20/1", RangeRefusal, "decimal acuity: 20"),
    ("20/0", RangeRefusal, "Snellen denominator: 0"),
    ("0/20", RangeRefusal, "Snellen numerator: 0"),
    ("101 letters", RangeRefusal, "letter score: 101"),
    ("-5 letters", RangeRefusal, "letter score: -5"),
    ("130 VAS", RangeRefusal, "visual acuity score: 130"),
]


@pytest.mark.parametrize(("typed", "kind", "words"), REFUSED)
def test_what_cannot_be_read_is_refused_with_its_reason(
    typed: str, kind: type[AfocalError], words: str
) -> None:
    """Ambiguous, unreadable and impossible entries each say what was expected, with an example."""
    with pytest.raises(kind, match=words) as refusal:
        parse_acuity(typed)
    assert "for example" in str(refusal.value)
    assert "example ''" not in str(refusal.value)


@pytest.mark.parametrize(("typed", "distance"), [("CF 10 mm", 10.0), ("CF 30 m", 30_000.0)])
def test_the_ends_of_the_test_distance_are_accepted(typed: str, distance: float) -> None:
    """10 mm and 30 m are the ends."""
    acuity = parse_acuity(typed)
    assert isinstance(acuity, OffChart)
    assert acuity.distance_mm == pytest.approx(distance)


@settings(max_examples=200)
@given(st.text(alphabet="0123456789/.,+-−@ cfhmlpnvasdeogtikr'\"()²⁻", max_size=14))
def test_nothing_typed_makes_anything_but_an_acuity_or_a_refusal(text: str) -> None:
    """Whatever is typed, the reader answers with an acuity in range, a category, or one of our refusals."""
    try:
        acuity = parse_acuity(text)
    except AfocalError:
        return
    assert isinstance(acuity, OffChart) or -0.4 <= acuity.logmar <= 2.0


# Writing

# logMAR, notation, exact, text
WRITTEN: list[tuple[float, Notation, bool, str]] = [
    (0.739, "snellen_ft", False, "20/100-2"),
    (0.739, "snellen_ft", True, "20/109.7"),
    (LOG5, "snellen_ft", False, "20/100"),
    (LOG5, "snellen_ft", True, "20/100"),
    (0.679, "snellen_ft", False, "20/100+1"),
    (math.log10(3.5), "snellen_ft", False, "20/70"),
    (-0.4, "snellen_ft", False, "20/10+5"),
    (-0.5, "snellen_ft", False, "20/6.3"),
    (2.0, "snellen_ft", False, "20/2000"),
    (0.3, "snellen_m", False, "6/12"),
    (math.log10(6), "snellen_m", False, "6/36"),
    (math.log10(6) + 0.02, "snellen_m", False, "6/38"),
    (0.45, "snellen_m", False, "6/18+1"),
    (0.45, "snellen_m", True, "6/16.91"),
    (LOG5, "decimal", False, "0.2"),
    (0.739, "decimal", False, "0.18"),
    (0.739, "decimal", True, "0.1824"),
    (0.0, "decimal", False, "1"),
    (2.0, "decimal", False, "0.01"),
    (0.739, "logmar", False, "0.74 logMAR"),
    (0.73897, "logmar", True, "0.7390 logMAR"),
    (-0.001, "logmar", False, "0.00 logMAR"),
    (-0.1, "logmar", False, "-0.10 logMAR"),
    (0.739, "letters", False, "48 letters"),
    (0.739, "letters", True, "48.0 letters"),
    (0.733, "letters", True, "48.4 letters"),
    (-0.3, "letters", False, "100 letters"),
    (1.7, "letters", False, "0 letters"),
    (1.71, "letters", False, "1.71 logMAR"),
    (-0.31, "letters", False, "-0.31 logMAR"),
    (0.3, "vas", False, "85 VAS"),
    (0.312, "vas", True, "84.4 VAS"),
    (2.0, "vas", False, "0 VAS"),
]


@pytest.mark.parametrize(("value", "notation", "exact", "text"), WRITTEN)
def test_an_acuity_is_written_in_the_notation_of_the_clinic(
    value: float, notation: Notation, exact: bool, text: str
) -> None:
    """A rounded fraction is a printed line with letters over or short; exact keeps the unrounded value."""
    assert format_acuity(Acuity(value), notation, exact=exact) == text


@pytest.mark.parametrize(
    ("acuity", "text"),
    [
        (OffChart("CF", 609.6), "CF at 0.61 m"),
        (OffChart("HM", 500.0), "HM at 0.5 m"),
        (OffChart("CF", 3000.0), "CF at 3 m"),
        (OffChart("NLP"), "NLP"),
    ],
)
def test_an_off_chart_acuity_is_written_as_its_category(acuity: OffChart, text: str) -> None:
    """Whatever the notation, it is the category with its distance in metres, and so reads back."""
    for notation in ("snellen_ft", "decimal", "letters"):
        assert format_acuity(acuity, notation) == text
    assert str(acuity) == text
    again = parse_acuity(text)
    assert isinstance(again, OffChart)
    assert again.category == acuity.category


NOTATIONS: list[Notation] = ["snellen_ft", "snellen_m", "decimal", "logmar", "letters", "vas"]
# How far a rounded text may lie from the value: half a letter, the digits of a decimal.
ROUNDING = {"snellen_ft": 0.0101, "snellen_m": 0.0101, "decimal": 0.0225, "logmar": 0.0051, "letters": 0.0101,
            "vas": 0.0101}  # fmt: skip


@settings(max_examples=80)
@given(st.floats(-0.39, 1.99), st.sampled_from(NOTATIONS))
def test_what_is_written_reads_back_as_the_same_acuity(value: float, notation: Notation) -> None:
    """Each text is readable, within its rounding, and writing it again gives the same text."""
    text = format_acuity(Acuity(value), notation)
    again = parse_acuity(text)
    assert isinstance(again, Acuity)
    assert again.logmar == pytest.approx(value, abs=ROUNDING[notation])
    exact = parse_acuity(format_acuity(Acuity(value), notation, exact=True))
    assert isinstance(exact, Acuity)
    assert exact.logmar == pytest.approx(value, abs=0.0011 if notation in ("letters", "vas") else 0.0003)


def test_an_acuity_knows_its_other_notations() -> None:
    """The value type gives decimal, MAR and the unrounded denominator."""
    acuity = Acuity(1.0)
    assert acuity.notation == "logmar"
    assert acuity.typed == ""
    assert (acuity.decimal, acuity.mar_arcmin, acuity.snellen_denominator) == (
        pytest.approx(0.1),
        pytest.approx(10),
        pytest.approx(200),
    )


# Arithmetic


@pytest.mark.parametrize(
    ("category", "plotted", "name"),
    [
        ("CF", 1.9, "count fingers"),
        ("HM", 2.3, "hand motion"),
        ("LP", 2.7, "light perception"),
        ("NLP", 3.0, "no light perception"),
    ],
)
def test_an_off_chart_acuity_is_drawn_but_never_computed_with(category, plotted: float, name: str) -> None:
    """It has a place on the axis and a name; arithmetic refuses it with advice that fits the category."""
    acuity = OffChart(category)
    assert acuity.plot_logmar == plotted
    assert acuity.name == name
    advice = "letter chart at 1 m or nearer" if category == "CF" else "non-optical and electronic help"
    with pytest.raises(ClinicalRefusal, match=f"{name} gives no number to compute a goal from; .*{advice}"):
        on_chart(acuity, "a goal")


def test_a_letter_acuity_passes_on_to_arithmetic() -> None:
    """The same object comes back."""
    acuity = Acuity(0.7)
    assert on_chart(acuity) is acuity
