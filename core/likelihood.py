"""How sure a predicted acuity is: repeatability, the chance to meet a goal, and whether a difference is real.

The coefficient of repeatability CR95 is the difference that two measurements of an unchanged eye exceed
one time in twenty: CR95 = 1.96 √2 s, s the within-subject standard deviation. Lower logMAR is better
throughout. What has to be assumed: a stable eye, errors that follow the normal distribution, the CR95 of
a population that resembles this person, and a prediction that already contains the losses by defocus,
light and motion.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from .errors import RangeRefusal
from .formula import formula

_Z95 = 1.96
_LOGMAR_LIMIT = 5.0


def _check_cr95(cr95_logmar: float) -> None:
    if not 0.0 < cr95_logmar <= 2.0:
        raise RangeRefusal(
            "coefficient of repeatability", cr95_logmar, "above 0 and up to 2 log", example="0.20"
        )


def _check_log(name: str, value: float) -> None:
    if not -_LOGMAR_LIMIT <= value <= _LOGMAR_LIMIT:
        raise RangeRefusal(name, value, "-5 to 5 log units", example="0.3")


@formula("Φ(z) = erfc(−z/√2)/2", unit="probability", source="", kind="derived", domain="any z")
def normal_probability(z: float) -> float:
    """Chance that a standard normal variable lies below ``z``; any finite number."""
    if not math.isfinite(z):
        raise RangeRefusal("standard score", z, "a finite number", example="1.96")
    return 0.5 * math.erfc(-z / math.sqrt(2.0))


@formula("s = CR95/(1.96 √2)", unit="logMAR", source="KISER05", kind="derived", domain="CR95 > 0")
def within_subject_sd_logmar(cr95_logmar: float) -> float:
    """Standard deviation of one measurement, log units, from the coefficient of repeatability (0 to 2)."""
    _check_cr95(cr95_logmar)
    return cr95_logmar / (_Z95 * math.sqrt(2.0))


@formula("SD = CR95/1.96", unit="logMAR", source="", kind="derived", domain="CR95 > 0")
def difference_sd_logmar(cr95_logmar: float) -> float:
    """Standard deviation of the difference of two measurements, log units, from the CR95 (0 to 2)."""
    _check_cr95(cr95_logmar)
    return cr95_logmar / _Z95


@formula(
    "P = Φ[(goal − predicted)/(CR95/1.96)]",
    unit="probability",
    source="",
    kind="derived",
    domain="CR95 > 0; losses in the prediction; stable eye",
)
def probability_prediction_meets_goal(
    predicted_logmar: float, goal_logmar: float, cr95_logmar: float
) -> float:
    """Chance that a re-measured acuity is at the goal or better, predicted from a measured acuity."""
    _check_log("predicted acuity", predicted_logmar)
    _check_log("goal acuity", goal_logmar)
    return normal_probability((goal_logmar - predicted_logmar) / difference_sd_logmar(cr95_logmar))


@formula(
    "P = Φ[(goal − logMAR + log10|M| − loss)/(CR95/1.96)]",
    unit="probability",
    source="",
    kind="derived",
    domain="CR95 > 0; |M| ≥ 1; stable eye",
)
def probability_goal_met(
    logmar: float, magnification: float, goal_logmar: float, cr95_logmar: float, loss_logmar: float = 0.0
) -> float:
    """Chance that acuity through the telescope, measured anew, is at the goal or better.

    ``loss_logmar`` (0 if left out) collects defocus, dim light and motion. One half when the prediction
    equals the goal. RangeRefusal for a CR95 outside 0 to 2, a magnification whose size is below 1.
    """
    _check_log("acuity", logmar)
    _check_log("loss", loss_logmar)
    if not 1.0 <= abs(magnification) <= 100.0:
        raise RangeRefusal("magnification", magnification, "a size of 1 to 100 x", example="2.5")
    predicted = logmar - math.log10(abs(magnification)) + loss_logmar
    return probability_prediction_meets_goal(predicted, goal_logmar, cr95_logmar)


@formula(
    "P = Φ[(goal − predicted)/(CR95/2.772)]",
    unit="probability",
    source="",
    kind="derived",
    domain="CR95 > 0; losses in the prediction; stable eye",
)
def probability_true_acuity_meets_goal(
    predicted_logmar: float, goal_logmar: float, cr95_logmar: float
) -> float:
    """Chance that the true acuity, not one more measurement of it, is at the goal or better."""
    _check_log("predicted acuity", predicted_logmar)
    _check_log("goal acuity", goal_logmar)
    return normal_probability((goal_logmar - predicted_logmar) / within_subject_sd_logmar(cr95_logmar))


class Interval(NamedTuple):
    """From the better (lower) to the worse end, logMAR, and the share of re-measurements expected inside."""

    better_logmar: float
    worse_logmar: float
    share: float

    def contains(self, logmar: float) -> bool:
        """Whether a value lies in the interval, ends included, a rounding error beyond them too."""
        return self.better_logmar - 1e-9 <= logmar <= self.worse_logmar + 1e-9


@formula(
    "predicted ± CR95", unit="logMAR", source="", kind="derived", domain="CR95 > 0; 95 % of re-measurements"
)
def prediction_interval(predicted_logmar: float, cr95_logmar: float) -> Interval:
    """Where 95 of 100 re-measured acuities are expected: the prediction ± the CR95."""
    _check_log("predicted acuity", predicted_logmar)
    _check_cr95(cr95_logmar)
    return Interval(predicted_logmar - cr95_logmar, predicted_logmar + cr95_logmar, 0.95)


@formula(
    "|a − b| ≤ CR95", unit="", source="KISER05", kind="derived", domain="CR95 > 0; the same chart and light"
)
def within_what_repeats(first_logmar: float, second_logmar: float, cr95_logmar: float) -> bool:
    """Whether two measurements differ by no more than repeated measurements of an unchanged eye do."""
    _check_log("first acuity", first_logmar)
    _check_log("second acuity", second_logmar)
    _check_cr95(cr95_logmar)
    return abs(first_logmar - second_logmar) <= cr95_logmar + 1e-9


@formula(
    "P = erfc(|a − b|/(SD √2))",
    unit="probability",
    source="",
    kind="derived",
    domain="CR95 > 0; SD = CR95/1.96",
)
def probability_by_chance(first_logmar: float, second_logmar: float, cr95_logmar: float) -> float:
    """Chance that an unchanged eye shows a difference at least as large (two-sided)."""
    _check_log("first acuity", first_logmar)
    _check_log("second acuity", second_logmar)
    deviation = abs(first_logmar - second_logmar) / difference_sd_logmar(cr95_logmar)
    return 2.0 * normal_probability(-deviation)
