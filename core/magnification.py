"""The magnification a goal asks for, by each method, and what a magnification then promises.

Distance goals compare minimum angles of resolution. Near goals are stated as the equivalent viewing
distance (EVD, mm) or its reciprocal, the equivalent viewing power (EVP, D), which is common ground for
every kind of aid.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from .errors import ClinicalRefusal, RangeRefusal
from .formula import formula

_LOGMAR = "logMAR −0.5 to 3"


def _check_logmar(name: str, value: float) -> None:
    if not -0.5 <= value <= 3.0:
        raise RangeRefusal(name, f"{value:g} logMAR", "-0.5 to 3 logMAR", example="0.7 logMAR")


def _check_magnification(magnification: float) -> None:
    if not 0.01 <= abs(magnification) <= 1000.0:
        raise RangeRefusal("magnification", magnification, "a size of 0.01 to 1000 x", example="2.5")


def _check_print(name: str, print_m_units: float) -> None:
    if not 0.01 <= print_m_units <= 200.0:
        raise RangeRefusal(name, print_m_units, "0.01 to 200 M", example="1.6")


def _check_mm(name: str, distance_mm: float) -> None:
    if not 1.0 <= distance_mm <= 1_000_000.0:
        raise RangeRefusal(name, distance_mm, "1 mm to 1 km, in mm", example="400")


def _check_reserve(acuity_reserve: float) -> None:
    if not 1.0 <= acuity_reserve <= 20.0:
        raise RangeRefusal("acuity reserve", acuity_reserve, "1 to 20 x", example="2")


# Distance


@formula(
    "M = 10^(logMAR − goal)",
    unit="x",
    source="MISSOURI",
    kind="published",
    domain="goal at or below the acuity",
)
def required_magnification(logmar: float, goal_logmar: float) -> float:
    """Magnification that brings an acuity to a goal: the ratio of the minimum angles of resolution.

    Below 1 the goal is already met without magnification. Takes logMAR -0.5 to 3; an off-chart category
    has none.
    """
    _check_logmar("acuity", logmar)
    _check_logmar("goal acuity", goal_logmar)
    return 10.0 ** (logmar - goal_logmar)


@formula(
    "logMAR − log10|M| + loss",
    unit="logMAR",
    source="",
    kind="derived",
    domain="letters; tube in focus; |M| > 0",
)
def logmar_through_telescope(logmar: float, magnification: float, loss_logmar: float = 0.0) -> float:
    """Predicted acuity through a telescope.

    The loss (0 if left out) collects defocus, dim light and motion.
    """
    _check_logmar("acuity", logmar)
    _check_magnification(magnification)
    if not 0.0 <= loss_logmar <= 3.0:
        raise RangeRefusal("loss", loss_logmar, "0 to 3 logMAR", example="0.05")
    return logmar - math.log10(abs(magnification)) + loss_logmar


@formula("den/|M|", unit="20/x", source="", kind="derived", domain="first order: no loss")
def snellen_denominator_through_telescope(snellen_denominator: float, magnification: float) -> float:
    """Predicted Snellen denominator (same numerator) through a telescope, first order."""
    if not 0.0 < snellen_denominator <= 1e6:
        raise RangeRefusal(
            "Snellen denominator", snellen_denominator, "above 0, up to 1000000", example="100"
        )
    _check_magnification(magnification)
    return snellen_denominator / abs(magnification)


# Near


@formula(
    "EVD = distance × goal/(threshold × reserve)",
    unit="mm",
    source="BAILEY04",
    kind="published",
    domain="threshold print with its distance; reserve ≥ 1",
)
def required_evd_mm(
    test_distance_mm: float, threshold_m_units: float, goal_m_units: float, acuity_reserve: float = 1.0
) -> float:
    """Equivalent viewing distance, mm, that lifts the goal print above threshold by the reserve.

    ``threshold_m_units`` is the smallest print read at ``test_distance_mm``.
    """
    _check_mm("test distance", test_distance_mm)
    _check_print("threshold print", threshold_m_units)
    _check_print("goal print", goal_m_units)
    _check_reserve(acuity_reserve)
    return test_distance_mm * goal_m_units / (threshold_m_units * acuity_reserve)


@formula("EVP = 1000/EVD", unit="D", source="SCHWARTZ-11", kind="published", domain="EVD > 0 mm")
def evp_from_evd_d(evd_mm: float) -> float:
    """Equivalent viewing power, D, of an equivalent viewing distance in mm."""
    if not 0.01 <= evd_mm <= 1e7:
        raise RangeRefusal("equivalent viewing distance", evd_mm, "0.01 mm to 10 km, in mm", example="125")
    return 1000.0 / evd_mm


@formula(
    "EVD = distance/ER",
    unit="mm",
    source="BAILEY04",
    kind="published",
    domain="a screen; enlargement ratio > 0",
)
def display_evd_mm(viewing_distance_mm: float, enlargement_ratio: float) -> float:
    """Equivalent viewing distance, mm, of print enlarged on a screen."""
    _check_mm("viewing distance", viewing_distance_mm)
    if not 0.01 <= enlargement_ratio <= 1000.0:
        raise RangeRefusal("enlargement ratio", enlargement_ratio, "0.01 to 1000 x", example="5")
    return viewing_distance_mm / enlargement_ratio


@formula("EVP = A × ER", unit="D", source="BAILEY04", kind="published", domain="image in focus")
def evp_from_demand_d(accommodative_demand_d: float, enlargement_ratio: float) -> float:
    """Equivalent viewing power, D, from the accommodation or add in use (D) and the enlargement ratio."""
    if not 0.0 < accommodative_demand_d <= 100.0:
        raise RangeRefusal(
            "accommodative demand", accommodative_demand_d, "above 0 D, up to 100", example="2.5"
        )
    if not 0.01 <= enlargement_ratio <= 1000.0:
        raise RangeRefusal("enlargement ratio", enlargement_ratio, "0.01 to 1000 x", example="5")
    return accommodative_demand_d * enlargement_ratio


@formula(
    "add = 1/V",
    unit="D",
    source="OPTOMETRY-TEXT",
    kind="memory",
    domain="starting add for 1 M without reserve; distance acuity",
)
def kestenbaum_add_d(decimal_acuity: float) -> float:
    """Starting add, D, as the reciprocal of decimal distance acuity (0.001 to 3).

    Expect 1.5 to 2 times more.
    """
    if not 0.001 <= decimal_acuity <= 3.0:
        raise RangeRefusal("decimal acuity", decimal_acuity, "0.001 to 3", example="0.1")
    return 1.0 / decimal_acuity


@formula("10^step", unit="ratio", source="", kind="derived", domain="|step| ≤ 10 log units")
def ratio_of_log_step(log_units: float) -> float:
    """Ratio of sizes or magnifications that a difference in log units stands for."""
    if not -10.0 <= log_units <= 10.0:
        raise RangeRefusal("log step", log_units, "-10 to 10 log units", example="0.3")
    return 10.0**log_units


@formula(
    "d × 10^(−0.1 n)", unit="mm", source="BAILEY04", kind="derived", domain="each step of 0.1 log: × 0.794"
)
def distance_after_log_steps_mm(viewing_distance_mm: float, steps: float) -> float:
    """Distance, mm, from which print ``steps`` steps of 0.1 log finer is read than from the viewing distance."""
    _check_mm("viewing distance", viewing_distance_mm)
    if not -40.0 <= steps <= 40.0:
        raise RangeRefusal("steps", steps, "-40 to 40", example="5")
    return viewing_distance_mm * 10.0 ** (-steps / 10.0)


@formula("product of the factors", unit="x", source="", kind="derived", domain="independent factors only")
def combined_magnification(factors: Sequence[float]) -> float:
    """Product of independent magnifications, such as relative size times relative distance."""
    if not 1 <= len(factors) <= 10:
        raise RangeRefusal("factors", len(factors), "1 to 10 factors", example="2.5 and 3")
    for factor in factors:
        _check_magnification(factor)
    return math.prod(factors)


@formula("d_old/d_new", unit="x", source="RYAN06", kind="published", domain="distances > 0")
def relative_distance_magnification(reference_distance_mm: float, new_distance_mm: float) -> float:
    """Magnification gained by coming nearer, from the reference distance to the new one (mm)."""
    _check_mm("reference distance", reference_distance_mm)
    _check_mm("new distance", new_distance_mm)
    return reference_distance_mm / new_distance_mm


@formula("size_new/size_old", unit="x", source="RYAN06", kind="published", domain="sizes > 0")
def relative_size_magnification(print_m_units: float, new_m_units: float) -> float:
    """Magnification gained by larger print, both sizes in M units."""
    _check_print("print", print_m_units)
    _check_print("new print", new_m_units)
    return new_m_units / print_m_units


@formula("threshold/M", unit="M", source="", kind="derived", domain="same distance; M > 0")
def print_read_m_units(threshold_m_units: float, magnification: float) -> float:
    """Print, M units, that is read with a magnification when the threshold was read without it."""
    _check_print("threshold print", threshold_m_units)
    _check_magnification(magnification)
    return threshold_m_units / abs(magnification)


# Reserves


@formula("print/threshold", unit="x", source="LATHAM12", kind="published", domain="same distance; sizes > 0")
def acuity_reserve(print_m_units: float, threshold_m_units: float) -> float:
    """How many times print exceeds the smallest print read at the same distance."""
    _check_print("print", print_m_units)
    _check_print("threshold print", threshold_m_units)
    return print_m_units / threshold_m_units


@formula(
    "log10(EVP/EVP required)",
    unit="log units",
    source="",
    kind="derived",
    domain="both powers > 0; minus: short",
)
def power_margin_log(equivalent_power_d: float, required_evp_d: float) -> float:
    """Log units by which an aid's equivalent power lies above (plus) or short of (minus) what is required."""
    for name, power in (("equivalent power", equivalent_power_d), ("required power", required_evp_d)):
        if not 0.01 <= power <= 10_000.0:
            raise RangeRefusal(name, power, "0.01 to 10000 D", example="8")
    return math.log10(equivalent_power_d / required_evp_d)


def require_threshold(threshold_m_units: float | None, test_distance_mm: float | None) -> tuple[float, float]:
    """Threshold print and its distance when both are known; ClinicalRefusal otherwise."""
    if threshold_m_units is None or test_distance_mm is None:
        missing = (
            "the threshold print" if threshold_m_units is None else "the distance of the threshold print"
        )
        raise ClinicalRefusal(
            "near goal",
            "",
            "threshold print with the distance or add it was read with",
            example="1.6M @ 40",
            reason=f"{missing} is missing, so no power can be computed",
        )
    return threshold_m_units, test_distance_mm
