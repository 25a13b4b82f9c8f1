"""Near print: M units, points, letter heights and angles, and the text that clinicians type for it.

One M unit subtends 5 arcmin at 1 m: a lower-case x or a figure 1.4544 mm high. Points count by the convention
that 8-point newspaper print (N8) is 1.0 M; a face differs from it, so measure print that matters.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from .errors import EntryRefusal, RangeRefusal
from .formula import formula
from .optotypes import ARCMIN

MM_PER_POINT = 25.4 / 72.0
POINTS_PER_M_UNIT = 8.0
MM_PER_M_UNIT = 2000.0 * math.tan(2.5 * ARCMIN)
SMALLEST_M = 0.05
LARGEST_M = 100.0


def _check_print(print_m_units: float) -> None:
    if not SMALLEST_M <= print_m_units <= LARGEST_M:
        raise RangeRefusal("print size", print_m_units, "0.05 to 100 M", example="1.6")


def _check_distance(viewing_distance_mm: float) -> None:
    if not 10.0 <= viewing_distance_mm <= 20_000.0:
        raise RangeRefusal("viewing distance", viewing_distance_mm, "10 mm to 20 m, in mm", example="400")


@formula("1.4544 × M", unit="mm", source="OPTOMETRY-TEXT", kind="memory", domain="0.05 ≤ M ≤ 100")
def letter_height_of_m_units_mm(print_m_units: float) -> float:
    """Height, mm, of the lower-case x (or figure) of print of a size in M units."""
    _check_print(print_m_units)
    return MM_PER_M_UNIT * print_m_units


@formula("h/1.4544", unit="M", source="JOSE77", kind="published", domain="0.08 ≤ h ≤ 145 mm")
def m_units_of_letter(letter_height_mm: float) -> float:
    """Size in M units of print whose lower-case x is so many mm high (0.08 to 145)."""
    if not 0.08 <= letter_height_mm <= 145.0:
        raise RangeRefusal("letter height", letter_height_mm, "0.08 to 145 mm", example="1.5")
    return letter_height_mm / MM_PER_M_UNIT


@formula("M = N/8", unit="M", source="", kind="common practice", domain="N 1 to 500; by convention")
def m_units_of_points(points: float) -> float:
    """Size in M units of N-point print, by the convention that 8 point is 1.0 M."""
    if not 1.0 <= points <= 500.0:
        raise RangeRefusal("print size", f"N{points:g}", "N1 to N500", example="N12")
    return points / POINTS_PER_M_UNIT


@formula("N = 8 M", unit="pt", source="", kind="common practice", domain="0.05 ≤ M ≤ 100; by convention")
def points_of_m_units(print_m_units: float) -> float:
    """Nominal point size of print in M units, by the convention that 8 point is 1.0 M."""
    _check_print(print_m_units)
    return POINTS_PER_M_UNIT * print_m_units


@formula(
    "x = share × N × 25.4/72",
    unit="mm",
    source="LEGGE-BIGELOW11",
    kind="memory",
    domain="text faces: share of the body 0.45 to 0.50",
)
def x_height_of_points_mm(points: float, share: float = 0.48) -> float:
    """Height, mm, of the lower-case x in N-point type whose x takes ``share`` (0.3 to 0.7) of the body."""
    if not 1.0 <= points <= 500.0:
        raise RangeRefusal("print size", f"N{points:g}", "N1 to N500", example="N12")
    if not 0.3 <= share <= 0.7:
        raise RangeRefusal("x-height share", share, "0.3 to 0.7", example="0.48")
    return share * points * MM_PER_POINT


@formula("2 d tan(a/2)", unit="mm", source="LEGGE-BIGELOW11", kind="published", domain="0 < a ≤ 60 deg")
def x_height_mm(viewing_distance_mm: float, angle_deg: float) -> float:
    """Height, mm, that subtends an angle in degrees at a distance in mm."""
    _check_distance(viewing_distance_mm)
    if not 0.0 < angle_deg <= 60.0:
        raise RangeRefusal("angle", angle_deg, "above 0 and up to 60 deg", example="0.2")
    return 2.0 * viewing_distance_mm * math.tan(math.radians(angle_deg) / 2.0)


@formula(
    "2 d tan(a/2) × 72/25.4", unit="pt", source="LEGGE-BIGELOW11", kind="published", domain="0 < a ≤ 60 deg"
)
def x_height_points(viewing_distance_mm: float, angle_deg: float) -> float:
    """The same height in points of 1/72 inch."""
    return x_height_mm(viewing_distance_mm, angle_deg) / MM_PER_POINT


@formula("V = d(m)/M", unit="decimal", source="COLENBRANDER", kind="derived", domain="d, M > 0")
def near_decimal_acuity(viewing_distance_mm: float, print_m_units: float) -> float:
    """Decimal acuity that print in M units asks for at a distance in mm."""
    _check_distance(viewing_distance_mm)
    _check_print(print_m_units)
    return viewing_distance_mm / (1000.0 * print_m_units)


@formula("num/V", unit="denominator", source="", kind="derived", domain="d, M > 0")
def near_snellen_denominator(
    snellen_numerator: float, viewing_distance_mm: float, print_m_units: float
) -> float:
    """Denominator of the Snellen fraction (any numerator above 0) equal to near print at a distance."""
    if not 0.0 < snellen_numerator <= 1000.0:
        raise RangeRefusal("Snellen numerator", snellen_numerator, "above 0, up to 1000", example="20")
    return snellen_numerator / near_decimal_acuity(viewing_distance_mm, print_m_units)


@formula("logMAR = log10(M/d(m))", unit="logMAR", source="COLENBRANDER", kind="derived", domain="d, M > 0")
def logmar_of_near_print(viewing_distance_mm: float, print_m_units: float) -> float:
    """logMAR that print in M units asks for at a distance in mm."""
    return 0.0 - math.log10(near_decimal_acuity(viewing_distance_mm, print_m_units))


@formula("MAR = M × D", unit="arcmin", source="COLENBRANDER", kind="published", domain="M, D > 0")
def mar_from_near_print_arcmin(print_m_units: float, viewing_distance_d: float) -> float:
    """MAR, arcmin, from print in M units and the viewing distance in dioptres."""
    _check_print(print_m_units)
    if not 0.05 <= viewing_distance_d <= 100.0:
        raise RangeRefusal("viewing distance", viewing_distance_d, "0.05 to 100 D", example="2.5")
    return print_m_units * viewing_distance_d


@formula("M = d(m) × 10^logMAR", unit="M", source="COLENBRANDER", kind="derived", domain="logMAR −0.5 to 3")
def m_units_of_logmar(viewing_distance_mm: float, logmar: float) -> float:
    """Print in M units that stands at a logMAR at a distance in mm."""
    _check_distance(viewing_distance_mm)
    if not -0.5 <= logmar <= 3.0:
        raise RangeRefusal("acuity", f"{logmar:g} logMAR", "-0.5 to 3 logMAR", example="0.7")
    return viewing_distance_mm / 1000.0 * 10.0**logmar


@formula("logMAR + log10(40/d cm)", unit="logMAR", source="LEGGE-LAB", kind="published", domain="d > 0")
def logmar_corrected_for_distance(print_logmar: float, viewing_distance_mm: float) -> float:
    """logMAR of print labelled for 40 cm and read at another distance (mm)."""
    _check_distance(viewing_distance_mm)
    if not -2.0 <= print_logmar <= 4.0:
        raise RangeRefusal("print size", f"{print_logmar:g} logMAR", "-2 to 4 logMAR", example="0.7")
    return print_logmar + math.log10(400.0 / viewing_distance_mm)


@dataclass(frozen=True, slots=True)
class NearPrint:
    """Print read at near: its size in M units, the distance it was read at if known, and how it was typed."""

    m_units: float
    distance_mm: float | None = None
    typed: str = ""

    @property
    def logmar(self) -> float | None:
        """logMAR of this print at its distance; None while the distance is unknown."""
        if self.distance_mm is None:
            return None
        return logmar_of_near_print(self.distance_mm, self.m_units)


_EXAMPLE = "1.6M @ 40, 0.4/1.6M, N12 at 33 cm"
_NUMBER = r"(?:\d+(?:\.\d*)?|\.\d+)"
_SIZE = (
    rf"(?:(?P<m>{_NUMBER})\s*m(?:\s*units?)?|n\s*(?P<n>{_NUMBER})|(?P<pt>{_NUMBER})\s*(?:points?|pts?\.?))"
)
_PRINT = re.compile(
    rf"{_SIZE}(?:\s*(?P<sign>@|\bat\b)?\s*(?P<distance>{_NUMBER})"
    r"""\s*(?P<unit>mm|cm|m|inches|inch|in\.?|")?)?"""
)
_FRACTION = re.compile(rf"(?P<metres>{_NUMBER})\s*m?\s*/\s*(?P<m>{_NUMBER})\s*m")
_UNITS_MM = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4, "inch": 25.4, "inches": 25.4, '"': 25.4}
_SHORTEST_MM = 20.0
_LONGEST_MM = 6000.0


def _refuse(typed: str, reason: str, accepted: str = "") -> EntryRefusal:
    return EntryRefusal(
        "near print", typed.strip() or "nothing typed", accepted, example=_EXAMPLE, reason=reason
    )


def _near(m_units: float, distance_mm: float | None, typed: str) -> NearPrint:
    if not 0.1 <= m_units <= 40.0:
        raise RangeRefusal("near print", typed.strip(), "0.1 to 40 M (N1 to N320)", example="1.6M @ 40")
    if distance_mm is not None and not _SHORTEST_MM <= distance_mm <= _LONGEST_MM:
        raise RangeRefusal("distance of the near print", typed.strip(), "2 cm to 6 m", example="1.6M @ 40")
    return NearPrint(m_units, distance_mm, typed)


def parse_near_print(text: str) -> NearPrint:
    """Read near print as clinicians type it; EntryRefusal or RangeRefusal with an example otherwise.

    ``0.4/1.6M`` is metres over M units. Behind ``@`` a bare number of 10 to 100 is centimetres; any other
    distance needs its unit. Without a distance the print has no acuity.
    """
    plain = re.sub(r"(?<=\d),(?=\d)", ".", text.replace("\u00a0", " ").replace("”", '"').replace("″", '"'))
    plain = " ".join(plain.casefold().split())
    if match := _FRACTION.fullmatch(plain):
        return _near(float(match["m"]), 1000.0 * float(match["metres"]), text)
    match = _PRINT.fullmatch(plain)
    if match is None:
        raise _refuse(text, "this is no near print", "a size in M units or points, and its distance")
    points = match["n"] or match["pt"]
    m_units = float(match["m"]) if points is None else float(points) / POINTS_PER_M_UNIT
    if match["distance"] is None:
        return _near(m_units, None, text)
    distance, unit = float(match["distance"]), match["unit"]
    if unit is None and not 10.0 <= distance <= 100.0:
        raise _refuse(
            text, f"{match['distance']} is no distance in cm", "10 to 100 cm, or a distance with its unit"
        )
    return _near(m_units, distance * _UNITS_MM[(unit or "cm").rstrip(".")], text)


def format_near_print(near_print: NearPrint, *, points: bool = False) -> str:
    """The print in M units, or in points, with its distance; readable again by :func:`parse_near_print`."""
    size = f"N{near_print.m_units * POINTS_PER_M_UNIT:.4g}" if points else f"{near_print.m_units:.3g}M"
    if near_print.distance_mm is None:
        return size
    return f"{size} @ {near_print.distance_mm / 10.0:.4g} cm"
