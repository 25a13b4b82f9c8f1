"""Tools of the second, independent computation of every derived quantity, in 30-digit arithmetic.

Nothing is imported from the program. Telescopes are built from their two lenses and traced ray by ray with 2 × 2
matrices; limits, distances and powers are found by root search on the trace, fields by sending rays from points of
the eye's pupil to the rim of the objective, lit fractions by sampling the pupil, probabilities by integrating the
normal density. Lengths are metres inside, slopes are tangents, and light runs from left to right.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from mpmath import mp, mpf

mp.dps = 30
MM = mpf(1) / 1000


def lens(power: Any) -> Any:
    """Ray matrix of a thin lens."""
    return mp.matrix([[1, 0], [-mpf(power), 1]])


def gap(metres: Any) -> Any:
    """Ray matrix of a gap."""
    return mp.matrix([[1, mpf(metres)], [0, 1]])


def chain(*elements: Any) -> Any:
    """Product of elements in the order in which light meets them."""
    product = mp.eye(2)
    for element in elements:
        product = element * product
    return product


def root(function: Callable[[Any], Any], low: Any, high: Any) -> Any:
    """Root by bisection; the ends must have opposite signs."""
    low, high = mpf(low), mpf(high)
    at_low = function(low)
    assert at_low * function(high) <= 0
    for _ in range(90):
        middle = (low + high) / 2
        if at_low * function(middle) <= 0:
            high = middle
        else:
            low, at_low = middle, function(middle)
    return (low + high) / 2


def degrees(slope: Any) -> Any:
    """Angle of a slope in degrees."""
    return mp.degrees(mp.atan(slope))


def lenses(magnification: Any, tube_length_mm: Any) -> tuple[Any, Any, Any]:
    """Objective power, ocular power and gap (m): from the two conditions M = -Foc/Fobj and t = 1/Fobj + 1/Foc."""
    m, t = mpf(magnification), mpf(tube_length_mm) * MM
    # Foc = -M Fobj put into t: t Fobj = 1 - 1/M.
    objective = (1 - 1 / m) / t
    return objective, -m * objective, t


def tube(magnification: Any, tube_length_mm: Any) -> Any:
    """Ray matrix of the afocal tube from objective to ocular."""
    objective, ocular, t = lenses(magnification, tube_length_mm)
    return chain(lens(objective), gap(t), lens(ocular))


def out_vergence(system: Any, vergence_in: Any) -> Any:
    """Vergence that leaves a system, by one ray of height 1."""
    y, slope = mpf(1), -mpf(vergence_in)
    y1 = system[0, 0] * y + system[0, 1] * slope
    return -(system[1, 0] * y + system[1, 1] * slope) / y1
