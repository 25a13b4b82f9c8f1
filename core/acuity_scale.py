"""The scale of visual acuity: notations and their conversions, letter scoring, chart distance, chart lines.

Decimal acuity is the reciprocal of the minimum angle of resolution (MAR, arcmin); logMAR is the logarithm of
the MAR. The conversions hold from 0.001 to 3 decimal acuity; each refuses what lies outside.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from typing import Literal

from .errors import RangeRefusal
from .formula import formula

Series = Literal["R10", "US", "UK"]

LOG_STEP_PER_LETTER = 0.02
LOG_STEP_PER_LINE = 0.1
LOWEST_LOGMAR = -0.5
HIGHEST_LOGMAR = 3.0
LOWEST_DECIMAL = 0.001
HIGHEST_DECIMAL = 3.0

# Denominators for 20 ft. R10: preferred numbers; US: those and the traditional lines. UK: for 6 m.
# fmt: off
CHART_LINES: dict[str, tuple[float, ...]] = {
    "R10": (10, 12.5, 16, 20, 25, 32, 40, 50, 63, 80, 100, 125, 160, 200, 250, 320, 400, 500, 630, 800,
            1000, 1250, 1600, 2000),
    "US": (10, 12.5, 15, 16, 20, 25, 30, 32, 40, 50, 60, 63, 70, 80, 100, 125, 150, 160, 200, 250, 300,
           320, 400, 500, 600, 630, 800, 1000, 1250, 1600, 2000),
    "UK": (3, 3.8, 4.8, 5, 6, 7.5, 9, 9.5, 12, 15, 18, 19, 24, 30, 36, 38, 48, 60, 75, 95, 120, 150, 190,
           240, 300, 380, 480, 600),
}
# fmt: on


def _check_decimal(decimal_acuity: float) -> None:
    if not LOWEST_DECIMAL <= decimal_acuity <= HIGHEST_DECIMAL:
        raise RangeRefusal("decimal acuity", decimal_acuity, "0.001 to 3", example="0.2")


def _check_logmar(logmar: float) -> None:
    if not LOWEST_LOGMAR <= logmar <= HIGHEST_LOGMAR:
        raise RangeRefusal("acuity", f"{logmar:g} logMAR", "-0.5 to 3 logMAR", example="0.7 logMAR")


@formula(
    "V = num/den", unit="decimal", source="DICOM-RR", kind="published", domain="num, den > 0; 0.001 ≤ V ≤ 3"
)
def decimal_acuity(snellen_denominator: float, snellen_numerator: float = 20.0) -> float:
    """Decimal acuity of a Snellen fraction in any one unit (20/x, 6/x, 4/x).

    RangeRefusal outside 0.001 to 3.
    """
    if not 0.0 < snellen_denominator < math.inf:
        raise RangeRefusal("Snellen denominator", snellen_denominator, "a number above 0", example="100")
    if not 0.0 < snellen_numerator < math.inf:
        raise RangeRefusal("Snellen numerator", snellen_numerator, "a number above 0", example="20")
    decimal = snellen_numerator / snellen_denominator
    _check_decimal(decimal)
    return decimal


@formula("logMAR = −log10 V", unit="logMAR", source="DICOM-RR", kind="published", domain="0.001 ≤ V ≤ 3")
def logmar(decimal_acuity: float) -> float:
    """logMAR of a decimal acuity from 0.001 to 3; RangeRefusal outside."""
    _check_decimal(decimal_acuity)
    return -math.log10(decimal_acuity)


@formula("V = 10^−logMAR", unit="decimal", source="DICOM-RR", kind="published", domain="−0.5 ≤ logMAR ≤ 3")
def decimal_from_logmar(logmar: float) -> float:
    """Decimal acuity of a logMAR value from -0.5 to 3; RangeRefusal outside."""
    _check_logmar(logmar)
    return 10.0**-logmar


@formula("MAR = 10^logMAR", unit="arcmin", source="DICOM-RR", kind="published", domain="−0.5 ≤ logMAR ≤ 3")
def mar_arcmin(logmar: float) -> float:
    """Minimum angle of resolution, arcmin, of a logMAR value from -0.5 to 3; RangeRefusal outside."""
    _check_logmar(logmar)
    return 10.0**logmar


@formula("logMAR = log10 MAR", unit="logMAR", source="DICOM-RR", kind="published", domain="0.32 ≤ MAR ≤ 1000")
def logmar_from_mar(mar_arcmin: float) -> float:
    """logMAR of a minimum angle of resolution in arcmin, 0.32 to 1000; RangeRefusal outside."""
    if not 10**LOWEST_LOGMAR <= mar_arcmin <= 10**HIGHEST_LOGMAR:
        raise RangeRefusal("minimum angle of resolution", mar_arcmin, "0.32 to 1000 arcmin", example="5")
    return math.log10(mar_arcmin)


@formula("20 × 10^logMAR", unit="20/x", source="DICOM-RR", kind="published", domain="−0.5 ≤ logMAR ≤ 3")
def snellen_denominator(logmar: float, snellen_numerator: float = 20.0) -> float:
    """Denominator of the Snellen fraction with the given numerator (20 ft if left out) for a logMAR value."""
    _check_logmar(logmar)
    if not 0.0 < snellen_numerator < math.inf:
        raise RangeRefusal("Snellen numerator", snellen_numerator, "a number above 0", example="20")
    return snellen_numerator * 10.0**logmar


@formula(
    "VAS = 100 − 50 logMAR", unit="points", source="DICOM-RR", kind="published", domain="−0.5 ≤ logMAR ≤ 3"
)
def vas_score(logmar: float) -> float:
    """Visual acuity score in points; 100 is 20/20 and each letter of a five-letter line counts one."""
    _check_logmar(logmar)
    return 100.0 - 50.0 * logmar


@formula(
    "letters = 85 − 50 logMAR",
    unit="letters",
    source="OPTOMETRY-TEXT",
    kind="memory",
    domain="−0.3 ≤ logMAR ≤ 1.7: 0 to 100 letters",
)
def etdrs_letters(logmar: float) -> float:
    """Letter score of a five-letter-a-line chart for 4 m; RangeRefusal outside 0 to 100 letters."""
    _check_logmar(logmar)
    letters = 85.0 - 50.0 * logmar
    if not -1e-9 <= letters <= 100.0 + 1e-9:
        raise RangeRefusal(
            "letter score",
            f"{logmar:g} logMAR",
            "-0.3 to 1.7 logMAR",
            example="0.7",
            reason="the letter score ends at 0 and 100; state the logMAR only",
        )
    return letters


@formula(
    "logMAR = (85 − letters)/50",
    unit="logMAR",
    source="OPTOMETRY-TEXT",
    kind="memory",
    domain="0 to 100 letters",
)
def logmar_from_letter_score(letters: float) -> float:
    """logMAR of a letter score (chart for 4 m, 0 to 100 letters); RangeRefusal outside."""
    if not 0.0 <= letters <= 100.0:
        raise RangeRefusal("letter score", letters, "0 to 100 letters", example="55 letters")
    return (85.0 - letters) / 50.0


@formula(
    "logMAR = (100 − VAS)/50", unit="logMAR", source="DICOM-RR", kind="published", domain="−50 ≤ VAS ≤ 125"
)
def logmar_from_vas(vas_score: float) -> float:
    """logMAR of a visual acuity score from -50 to 125 points; RangeRefusal outside."""
    if not -50.0 <= vas_score <= 125.0:
        raise RangeRefusal("visual acuity score", vas_score, "-50 to 125 points", example="85 VAS")
    return (100.0 - vas_score) / 50.0


@formula("round to 0.02", unit="logMAR", source="DICOM-RR", kind="published", domain="0.001 ≤ V ≤ 3")
def logmar_rounded_to_002(decimal_acuity: float) -> float:
    """logMAR on the grid of single letters, 0.02, nearest; a tie goes to the worse (higher) value."""
    letters = math.floor(logmar(decimal_acuity) / LOG_STEP_PER_LETTER + 0.5 + 1e-9)
    return letters / 50.0


@formula(
    "logMAR = top + 0.1 − 0.02 n",
    unit="logMAR",
    source="",
    kind="derived",
    domain="five letters a line, steps of 0.1; n ≥ 0",
)
def logmar_from_letters(top_line_logmar: float, letters_read: float) -> float:
    """logMAR from all letters read on a chart with five letters a line, from the top line's logMAR down."""
    _check_logmar(top_line_logmar)
    if not 0.0 < letters_read <= 100.0:
        raise RangeRefusal("letters read", letters_read, "1 to 100 letters", example="40")
    score = top_line_logmar + LOG_STEP_PER_LINE - LOG_STEP_PER_LETTER * letters_read
    _check_logmar(score)
    return score


@formula(
    "logMAR = best + 0.1 − 0.02 n", unit="logMAR", source="", kind="derived", domain="0 ≤ n ≤ 5 of the line"
)
def logmar_from_best_line(best_line_logmar: float, letters_on_line: float) -> float:
    """logMAR from the last line begun and the letters read on it (0 to 5); all lines above were read."""
    _check_logmar(best_line_logmar)
    if not 0.0 <= letters_on_line <= 5.0:
        raise RangeRefusal("letters on the last line", letters_on_line, "0 to 5", example="3")
    return best_line_logmar + LOG_STEP_PER_LINE - LOG_STEP_PER_LETTER * letters_on_line


@formula(
    "den × d_chart/d_test", unit="20/x", source="", kind="derived", domain="both distances in one unit, > 0"
)
def snellen_denominator_at_test_distance(
    snellen_denominator: float, chart_distance: float, test_distance: float
) -> float:
    """True denominator of a line labelled for ``chart_distance`` and read at ``test_distance`` (one unit)."""
    if not 0.0 < snellen_denominator < math.inf:
        raise RangeRefusal("Snellen denominator", snellen_denominator, "a number above 0", example="100")
    return snellen_denominator * 10.0 ** logmar_shift_for_test_distance(chart_distance, test_distance)


@formula(
    "log10(d_chart/d_test)",
    unit="logMAR",
    source="",
    kind="derived",
    domain="both distances in one unit, > 0; at least 250 mm; refraction for the test distance",
)
def logmar_shift_for_test_distance(chart_distance: float, test_distance: float) -> float:
    """What to add to the labelled logMAR when a chart made for one distance is read at another (one unit)."""
    for name, distance in (("chart distance", chart_distance), ("test distance", test_distance)):
        if not 0.0 < distance < math.inf:
            raise RangeRefusal(name, distance, "a distance above 0", example="4")
    return math.log10(chart_distance / test_distance)


@formula("10^(n/10)", unit="ratio", source="ODUNTAN06", kind="published", domain="|n| ≤ 100")
def r10_ratio(steps: float) -> float:
    """Size ratio of ``steps`` preferred-number steps of 0.1 log (one step 1.2589)."""
    if not -100.0 <= steps <= 100.0:
        raise RangeRefusal("steps", steps, "-100 to 100", example="3")
    return 10.0 ** (steps / 10.0)


@formula(
    "nearest line in log units, tie to the worse line",
    unit="20/x",
    source="",
    kind="derived",
    domain="lines of the series; beyond its ends the end line",
)
def nearest_chart_line(snellen_denominator: float, series: Series = "R10") -> float:
    """The printed line nearest in log units, a tie to the worse one. ``UK`` has denominators for 6 m."""
    if not 0.0 < snellen_denominator < math.inf:
        raise RangeRefusal("Snellen denominator", snellen_denominator, "a number above 0", example="100")
    lines = CHART_LINES[series]
    above = bisect_left(lines, snellen_denominator)
    if above == 0:
        return lines[0]
    if above == len(lines):
        return lines[-1]
    better, worse = lines[above - 1], lines[above]
    # Equal log distances mean den² = better × worse; the slack keeps a tie a tie after rounding.
    return worse if snellen_denominator**2 >= better * worse * (1.0 - 1e-9) else better
