"""Visual acuity as it is entered, kept and shown.

An :class:`Acuity` may be computed with; an :class:`OffChart` category (count fingers, hand motion, light
perception) has no logMAR and takes no part in arithmetic. :func:`parse_acuity` reads what clinicians type and
:func:`format_acuity` writes it in the clinic's notation. The scale itself is re-exported from its own module.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Literal

from .acuity_scale import (
    CHART_LINES,
    HIGHEST_DECIMAL,
    LOG_STEP_PER_LETTER,
    LOWEST_DECIMAL,
    Series,
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
from .constants import constant
from .errors import ClinicalRefusal, EntryRefusal, RangeRefusal
from .optotypes import (
    critical_detail_mm,
    legibility_distance_through_telescope_mm,
    letter_height_mm,
    mar_of_letter_arcmin,
    sign_legibility_distance_ft,
    sign_snellen_denominator,
)

__all__ = [
    "CHART_LINES",
    "Acuity",
    "Category",
    "Notation",
    "OffChart",
    "Series",
    "critical_detail_mm",
    "decimal_acuity",
    "decimal_from_logmar",
    "etdrs_letters",
    "format_acuity",
    "legibility_distance_through_telescope_mm",
    "letter_height_mm",
    "logmar",
    "logmar_from_best_line",
    "logmar_from_letter_score",
    "logmar_from_letters",
    "logmar_from_mar",
    "logmar_from_vas",
    "logmar_rounded_to_002",
    "logmar_shift_for_test_distance",
    "mar_arcmin",
    "mar_of_letter_arcmin",
    "nearest_chart_line",
    "on_chart",
    "parse_acuity",
    "r10_ratio",
    "sign_legibility_distance_ft",
    "sign_snellen_denominator",
    "snellen_denominator",
    "snellen_denominator_at_test_distance",
    "vas_score",
]

Notation = Literal["snellen_ft", "snellen_m", "decimal", "logmar", "letters", "vas"]
Category = Literal["CF", "HM", "LP", "NLP"]

# Beyond 20/2000 a letter acuity is a guess; magnification arithmetic on it would mislead. No eye does better
# than about 20/8.
BEST_LOGMAR = -0.4
WORST_LOGMAR = 2.0
MOST_LETTERS_OF_A_LINE = 5

_CATEGORY_NAMES: dict[Category, str] = {
    "CF": "count fingers",
    "HM": "hand motion",
    "LP": "light perception",
    "NLP": "no light perception",
}
# The constant that places each category on a logMAR axis.
_PLOT_CONSTANTS: dict[Category, str] = {
    "CF": "logmar_for_counting_fingers_plotting",
    "HM": "logmar_for_hand_motion_plotting",
    "LP": "logmar_for_light_perception_plotting",
    "NLP": "logmar_for_no_light_perception_plotting",
}


@dataclass(frozen=True, slots=True)
class Acuity:
    """A letter acuity that may be computed with: its logMAR, how it was typed, the chart distance if known.

    The chart distance is a record of how the acuity was taken. It never changes the value: a fraction, a
    score or a logMAR is taken as already meant for the distance at which it was read.
    """

    logmar: float
    notation: Notation = "logmar"
    typed: str = ""
    chart_distance_mm: float | None = None

    @property
    def decimal(self) -> float:
        """Decimal acuity."""
        return decimal_from_logmar(self.logmar)

    @property
    def mar_arcmin(self) -> float:
        """Minimum angle of resolution, arcmin."""
        return mar_arcmin(self.logmar)

    @property
    def snellen_denominator(self) -> float:
        """The unrounded x of 20/x."""
        return snellen_denominator(self.logmar)


@dataclass(frozen=True, slots=True)
class OffChart:
    """An acuity below the letter chart: a category with its distance. It has no logMAR to compute with."""

    category: Category
    distance_mm: float | None = None
    typed: str = ""

    @property
    def plot_logmar(self) -> float:
        """Where the category is drawn on a logMAR axis; for drawing only."""
        return constant(_PLOT_CONSTANTS[self.category])

    @property
    def name(self) -> str:
        """The category in words, such as ``hand motion``."""
        return _CATEGORY_NAMES[self.category]

    def __str__(self) -> str:
        return format_acuity(self, "logmar")


def on_chart(acuity: Acuity | OffChart, purpose: str = "magnification") -> Acuity:
    """The acuity itself when arithmetic with it makes sense; ClinicalRefusal for an off-chart category."""
    if isinstance(acuity, Acuity):
        return acuity
    advice = (
        "measure with a letter chart at 1 m or nearer first"
        if acuity.category == "CF"
        else "offer non-optical and electronic help, and measure again if vision changes"
    )
    raise ClinicalRefusal(
        "acuity",
        format_acuity(acuity, "logmar"),
        "a letter acuity",
        example="20/400 or 2/40",
        reason=f"{acuity.name} gives no number to compute {purpose} from; {advice}",
    )


# Reading what clinicians type

_EXAMPLE = "20/100-2, 6/30, 0.2, 0.7 logMAR, 55 letters or CF 2 ft"
_NUMBER = r"(?:\d+(?:\.\d*)?|\.\d+)"
_MODIFIER = r"(?P<letters>(?:\s*\(?\s*[+-]\s*\d+\s*\)?){0,2})"
_UNITS_MM = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4, '"': 25.4, "ft": 304.8, "'": 304.8}
_UNIT = r"""(?P<unit>mm|cm|metres?|meters?|m|feet|foot|ft\.?|inches|inch|in\.?|['"])"""
_PLACE = rf"(?:(?:@|at)?\s*(?P<distance>{_NUMBER})\s*{_UNIT}?)"
_SIGNED = rf"[+-]?\s*{_NUMBER}"
_FRACTION = re.compile(rf"(?P<numerator>{_NUMBER})\s*/\s*(?P<denominator>{_NUMBER}){_MODIFIER}")
_DECIMAL = re.compile(rf"(?:(?:decimal|dec\.?)\s*)?(?P<value>{_NUMBER})(?:\s*(?:decimal|dec\.?))?{_MODIFIER}")
_SCORE_WORDS: dict[Notation, str] = {
    "logmar": r"log\s?mar",
    "letters": "letters?",
    "vas": r"va[sr](?:\s*score)?",
}
_SCORES: dict[Notation, re.Pattern[str]] = {
    notation: re.compile(
        rf"(?:{word}\s*[:=]?\s*(?P<before>{_SIGNED})|(?P<after>{_SIGNED})\s*{word}){_MODIFIER}"
    )
    for notation, word in _SCORE_WORDS.items()
}
_OFF_CHART = re.compile(
    r"(?:(?P<CF>cf|fc|count(?:ing|s)?\s*fingers?|finger\s*count(?:ing)?)"
    r"|(?P<HM>hm|hand\s*(?:motions?|movements?))"
    r"|(?P<NLP>nlp|npl|no\s*(?:light\s*perception|perception\s*of\s*light))"
    rf"|(?P<LP>lp|pl|light\s*perception|perception\s*of\s*light))(?:\s*{_PLACE})?"
)
_CHART_DISTANCE = re.compile(rf"(?P<acuity>.+?)\s*(?:@|\bat\b)\s*(?P<distance>{_NUMBER})\s*{_UNIT}?")
_FOLD = str.maketrans("−–‐‑⁻⁺⁄∕’′″”\u00a0\u202f", "----" + "-+//''" + '""  ')
_RAISED = str.maketrans("⁰¹²³⁴⁵⁶⁷⁸⁹", "0123456789")


def _plain(text: str) -> str:
    """Lower case, plain signs, decimal points, single spaces; raised digits only after a raised sign."""
    text = re.sub(r"([⁺⁻])([⁰¹²³⁴⁵⁶⁷⁸⁹]+)", lambda match: match[1] + match[2].translate(_RAISED), text)
    text = re.sub(r"(?<=\d),(?=\d)", ".", text.translate(_FOLD))
    return " ".join(text.casefold().split())


def _refuse(typed: str, reason: str, accepted: str = "") -> EntryRefusal:
    return EntryRefusal("acuity", typed.strip() or "nothing typed", accepted, example=_EXAMPLE, reason=reason)


def _length_mm(match: re.Match[str], typed: str) -> float | None:
    """The distance of a match in mm, None when there is none; a number without a unit is refused."""
    if match["distance"] is None:
        return None
    if match["unit"] is None:
        raise _refuse(typed, f"{match['distance']} is a distance without a unit", "ft, m, cm, mm or in")
    unit = match["unit"].rstrip(".")
    unit = {"feet": "ft", "foot": "ft", "inch": "in", "inches": "in"}.get(unit, unit)
    unit = "m" if unit.startswith("met") else unit
    length = float(match["distance"]) * _UNITS_MM[unit]
    if not 10.0 <= length <= 30_000.0:
        raise RangeRefusal(
            "distance of the acuity test", typed.strip(), "10 mm to 30 m", example="CF at 60 cm"
        )
    return length


def _letter_shift(modifiers: str, typed: str) -> float:
    """logMAR of letter modifiers such as ``-2`` (two missed, worse) or ``+1`` (one more, better)."""
    shift = 0.0
    for sign, digits in re.findall(r"([+-])\s*(\d+)", modifiers):
        letters = int(digits)
        if not 1 <= letters <= MOST_LETTERS_OF_A_LINE:
            raise _refuse(
                typed, f"{sign}{digits} letters is more than a line", "1 to 5 letters over or short"
            )
        shift += LOG_STEP_PER_LETTER * (letters if sign == "-" else -letters)
    return shift


def _read_number(text: str, typed: str) -> tuple[float, Notation]:
    """logMAR and notation of an acuity without its chart distance."""
    if match := _FRACTION.fullmatch(text):
        numerator, denominator = float(match["numerator"]), float(match["denominator"])
        value = logmar(decimal_acuity(denominator, numerator))
        # 6, 5, 4, 3 and 1 or less are metres on every chart in use; 20, 10 and 2 are feet.
        metric = numerator in (6.0, 5.0, 4.0, 3.0) or numerator <= 1.0
        return value + _letter_shift(match["letters"], typed), "snellen_m" if metric else "snellen_ft"
    for notation, pattern in _SCORES.items():
        if match := pattern.fullmatch(text):
            value = float((match["before"] or match["after"]).replace(" ", ""))
            if notation == "letters":
                value = logmar_from_letter_score(value)
            elif notation == "vas":
                value = logmar_from_vas(value)
            return value + _letter_shift(match["letters"], typed), notation
    if match := _DECIMAL.fullmatch(text):
        number = float(match["value"])
        if not LOWEST_DECIMAL <= number <= HIGHEST_DECIMAL:
            reason = "a number alone is read as decimal acuity; otherwise write its notation with it"
            raise _refuse(typed, reason, "0.001 to 3 decimal, or such as 20/55, 55 letters, 0 logMAR")
        return logmar(number) + _letter_shift(match["letters"], typed), "decimal"
    if re.fullmatch(_SIGNED, text):
        raise _refuse(typed, "a signed number alone could be a logMAR or a score; write its notation with it")
    raise _refuse(typed, "this is no acuity notation")


def parse_acuity(text: str, *, chart_distance_mm: float | None = None) -> Acuity | OffChart:
    """Read an acuity as clinicians type it; EntryRefusal (or RangeRefusal) with an example otherwise.

    A fraction is distance over label in one unit. A number alone is decimal acuity (0.001 to 3), so ``0.7``
    is 20/29 and not 0.7 logMAR. ``-2`` and ``+1`` behind an acuity are letters missed and letters more, 0.02
    each. ``@ 10 ft`` behind it, or ``chart_distance_mm``, is recorded and changes no value. Accepted is -0.4
    to 2.0 logMAR.
    """
    plain = _plain(text)
    if match := _OFF_CHART.fullmatch(plain):
        category: Category = next(name for name in _CATEGORY_NAMES if match[name])
        distance = _length_mm(match, text)
        if distance is not None and category in ("LP", "NLP"):
            raise _refuse(text, f"{_CATEGORY_NAMES[category]} has no distance", category)
        return OffChart(category, distance, text)
    if match := _CHART_DISTANCE.fullmatch(plain):
        plain = match["acuity"]
        chart_distance_mm = _length_mm(match, text)
    value, notation = _read_number(plain, text)
    if not BEST_LOGMAR - 1e-9 <= value <= WORST_LOGMAR + 1e-9:
        raise RangeRefusal(
            "acuity",
            text.strip(),
            "-0.4 to 2.0 logMAR (20/8 to 20/2000)",
            example="20/400, or CF 2 ft when below the chart",
        )
    # A score of exactly the limit may land a rounding error outside.
    return Acuity(min(max(value, BEST_LOGMAR), WORST_LOGMAR), notation, text, chart_distance_mm)


# Writing


def _number(value: float, digits: int) -> str:
    """A number with ``digits`` significant digits, no exponent, no trailing zeros, no minus zero."""
    shown = f"{value:.{digits}g}"
    return f"{float(shown):.10g}"


def _fixed(value: float, places: int) -> str:
    shown = f"{value:.{places}f}"
    return shown.removeprefix("-") if float(shown) == 0.0 else shown


def _line_and_letters(acuity: Acuity, numerator: float, series: Series) -> str:
    line = nearest_chart_line(numerator * acuity.mar_arcmin, series)
    missed = round((acuity.logmar - math.log10(line / numerator)) / LOG_STEP_PER_LETTER)
    if abs(missed) > MOST_LETTERS_OF_A_LINE:
        return f"{numerator:g}/{_number(numerator * acuity.mar_arcmin, 2)}"
    return f"{numerator:g}/{line:g}" + (f"{-missed:+d}" if missed else "")


def format_acuity(acuity: Acuity | OffChart, notation: Notation, *, exact: bool = False) -> str:
    """The acuity in a notation, readable again by :func:`parse_acuity`.

    Rounded, a fraction is the nearest printed line with the letters over or short of it (``20/100-2``);
    ``exact`` gives the unrounded denominator to four digits. Outside 0 to 100 letters the logMAR is written.
    """
    if isinstance(acuity, OffChart):
        place = "" if acuity.distance_mm is None else f" at {_number(acuity.distance_mm / 1000.0, 3)} m"
        return acuity.category + place
    if notation in ("snellen_ft", "snellen_m"):
        numerator, series = (20.0, "US") if notation == "snellen_ft" else (6.0, "UK")
        if exact:
            return f"{numerator:g}/{_number(numerator * acuity.mar_arcmin, 4)}"
        return _line_and_letters(acuity, numerator, series)
    if notation == "decimal":
        return _number(acuity.decimal, 4 if exact else 2)
    if notation == "vas":
        return f"{_fixed(vas_score(acuity.logmar), 1 if exact else 0)} VAS"
    if notation == "letters" and -0.3 - 1e-9 <= acuity.logmar <= 1.7 + 1e-9:
        return f"{_fixed(etdrs_letters(acuity.logmar), 1 if exact else 0)} letters"
    return f"{_fixed(acuity.logmar, 4 if exact else 2)} logMAR"
