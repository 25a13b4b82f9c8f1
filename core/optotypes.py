"""Sizes of letters and signs: height and detail of a letter at a distance, and how far a sign can be read.

Letters are the 5 × 5 design: the letter subtends five times its critical detail. Heights use the exact
tangent.
"""

from __future__ import annotations

import math

from .errors import RangeRefusal
from .formula import formula

ARCMIN = math.pi / 10_800.0
MM_PER_INCH = 25.4
MM_PER_FOOT = 304.8
SMALLEST_DISTANCE_MM = 50.0
LARGEST_DISTANCE_MM = 1_000_000.0


def _check_distance(viewing_distance_mm: float) -> None:
    if not SMALLEST_DISTANCE_MM <= viewing_distance_mm <= LARGEST_DISTANCE_MM:
        raise RangeRefusal("viewing distance", viewing_distance_mm, "50 mm to 1 km, in mm", example="4000")


def _check_mar(mar_arcmin: float) -> None:
    if not 0.3 <= mar_arcmin <= 1000.0:
        raise RangeRefusal("minimum angle of resolution", mar_arcmin, "0.3 to 1000 arcmin", example="5")


@formula("h = 2 d tan(2.5′ MAR)", unit="mm", source="ROME-ETDRS", kind="published", domain="50 mm ≤ d ≤ 1 km")
def letter_height_mm(viewing_distance_mm: float, mar_arcmin: float) -> float:
    """Height, mm, of a letter whose critical detail subtends ``mar_arcmin`` (0.3 to 1000) at a distance."""
    _check_distance(viewing_distance_mm)
    _check_mar(mar_arcmin)
    return 2.0 * viewing_distance_mm * math.tan(2.5 * mar_arcmin * ARCMIN)


@formula("2 d tan(0.5′ MAR)", unit="mm", source="ISO8596", kind="derived", domain="50 mm ≤ d ≤ 1 km")
def critical_detail_mm(viewing_distance_mm: float, mar_arcmin: float) -> float:
    """Stroke width or ring gap, mm, that subtends ``mar_arcmin`` (0.3 to 1000) at a distance in mm."""
    _check_distance(viewing_distance_mm)
    _check_mar(mar_arcmin)
    return 2.0 * viewing_distance_mm * math.tan(0.5 * mar_arcmin * ARCMIN)


@formula("MAR = 2 atan(h/2d)/5′", unit="arcmin", source="", kind="derived", domain="letters of 5 × 5 design")
def mar_of_letter_arcmin(viewing_distance_mm: float, letter_height_mm: float) -> float:
    """MAR, arcmin, that a letter of a height in mm asks for at a distance in mm."""
    _check_distance(viewing_distance_mm)
    if not 0.0 < letter_height_mm <= LARGEST_DISTANCE_MM:
        raise RangeRefusal("letter height", letter_height_mm, "above 0 mm, up to 1 km", example="150")
    return 2.0 * math.atan(letter_height_mm / (2.0 * viewing_distance_mm)) / (5.0 * ARCMIN)


@formula(
    "d = h × feet per inch",
    unit="ft",
    source="MUTCD-30",
    kind="memory",
    domain="h > 0; 30 or 40 feet per inch",
)
def sign_legibility_distance_ft(letter_height_in: float, feet_per_inch: float = 30.0) -> float:
    """Distance, ft, at which sign letters are meant to be read by an ordinary eye: 30 ft for each inch."""
    if not 0.0 < letter_height_in <= 1000.0:
        raise RangeRefusal("letter height", letter_height_in, "above 0 in, up to 1000", example="6")
    if not 1.0 <= feet_per_inch <= 100.0:
        raise RangeRefusal("legibility index", feet_per_inch, "1 to 100 ft per inch", example="30")
    return letter_height_in * feet_per_inch


@formula("20 × 2 atan(h/2d)/5′", unit="20/x", source="", kind="derived", domain="h, d > 0")
def sign_snellen_denominator(letter_height_in: float, distance_ft: float) -> float:
    """The x of the 20/x that just reads a sign letter (height in inches) at a distance in feet."""
    if not 0.0 < letter_height_in <= 1000.0:
        raise RangeRefusal("letter height", letter_height_in, "above 0 in, up to 1000", example="6")
    if not 0.0 < distance_ft * MM_PER_FOOT <= LARGEST_DISTANCE_MM:
        raise RangeRefusal("distance", distance_ft, "above 0 ft, up to 3280", example="180")
    return 20.0 * mar_of_letter_arcmin(distance_ft * MM_PER_FOOT, letter_height_in * MM_PER_INCH)


@formula(
    "d = h |M|/(5′ MAR)",
    unit="mm",
    source="",
    kind="derived",
    domain="first order: tube in focus, no motion; |M| ≥ 1",
)
def legibility_distance_through_telescope_mm(
    letter_height_mm: float, magnification: float, mar_arcmin: float
) -> float:
    """Farthest distance, mm, at which a letter is read through a telescope (magnification 1: without one)."""
    if not 0.0 < letter_height_mm <= LARGEST_DISTANCE_MM:
        raise RangeRefusal("letter height", letter_height_mm, "above 0 mm, up to 1 km", example="150")
    if not 1.0 <= abs(magnification) <= 20.0:
        raise RangeRefusal("magnification", magnification, "a size of 1 to 20 x", example="2.5")
    _check_mar(mar_arcmin)
    return letter_height_mm * abs(magnification) / (5.0 * mar_arcmin * ARCMIN)
