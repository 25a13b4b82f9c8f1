"""Contrast sensitivity.

Threshold contrast, how far print lies above it, and what that grade means for reading.
"""

from __future__ import annotations

import math
from typing import Literal

from .constants import constant
from .errors import RangeRefusal
from .formula import formula

ReserveGrade = Literal["enough", "reading slows", "rate and accuracy fall"]
ThresholdGrade = Literal["usable", "poor", "very poor"]


@formula("C = 10^−logCS", unit="contrast", source="PELLI88", kind="derived", domain="0 ≤ logCS ≤ 2.4")
def weber_threshold(log_cs: float) -> float:
    """Weber contrast of the faintest letter read, 0 to 1, from the log contrast sensitivity (0 to 2.4)."""
    if not 0.0 <= log_cs <= 2.4:
        raise RangeRefusal("contrast sensitivity", log_cs, "0 to 2.4 logCS", example="1.05")
    return 10.0**-log_cs


@formula("logCS = −log10 C", unit="logCS", source="PELLI88", kind="derived", domain="0.004 ≤ C ≤ 1")
def log_cs_from_threshold(weber_threshold: float) -> float:
    """Log contrast sensitivity of a Weber threshold between 0.004 and 1 (1 is full contrast)."""
    if not 0.004 - 1e-4 <= weber_threshold <= 1.0:
        raise RangeRefusal("threshold contrast", weber_threshold, "0.004 to 1", example="0.09")
    return 0.0 - math.log10(weber_threshold)


@formula(
    "logCS = 0.05 (n − 3)",
    unit="logCS",
    source="OPTOMETRY-TEXT",
    kind="memory",
    domain="triplets of letters in steps of 0.15; 3 ≤ n ≤ 48",
)
def log_cs_from_letters(letters_read: float) -> float:
    """Log contrast sensitivity from letters read in triplets (the first is 0.00), 0.05 a letter."""
    if not 3.0 <= letters_read <= 48.0:
        raise RangeRefusal("letters read", letters_read, "3 to 48", example="24")
    return (letters_read - 3.0) / 20.0


@formula("c × 10^logCS", unit="x", source="WLK94", kind="derived", domain="0 < c ≤ 1; 0 ≤ logCS ≤ 2.4")
def contrast_reserve(print_contrast: float, log_cs: float) -> float:
    """How many times the contrast of the print (0 to 1) exceeds the threshold of the eye."""
    if not 0.0 < print_contrast <= 1.0:
        raise RangeRefusal("print contrast", print_contrast, "above 0 and up to 1", example="0.85")
    return print_contrast / weber_threshold(log_cs)


def grade_of_reserve(contrast_reserve: float) -> ReserveGrade:
    """The grade of a contrast reserve.

    Reading slows under 10, rate and accuracy fall under 4 (adjustable).
    """
    if not 0.0 < contrast_reserve < math.inf:
        raise RangeRefusal("contrast reserve", contrast_reserve, "above 0", example="10")
    if contrast_reserve < constant("contrast_reserve_below_which_accuracy_falls"):
        return "rate and accuracy fall"
    if contrast_reserve < constant("contrast_reserve_below_which_rate_falls"):
        return "reading slows"
    return "enough"


def grade_of_threshold(weber_threshold: float) -> ThresholdGrade:
    """The grade of a Weber threshold: over 9 % poor, over 25 % very poor."""
    if not 0.0 < weber_threshold <= 1.0:
        raise RangeRefusal("threshold contrast", weber_threshold, "above 0 and up to 1", example="0.09")
    if weber_threshold > constant("weber_threshold_called_very_poor"):
        return "very poor"
    if weber_threshold > constant("weber_threshold_called_poor"):
        return "poor"
    return "usable"
