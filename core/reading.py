"""Reading: speed from a timed sentence, the curves of speed against print size, and a fit that may refuse.

Print sizes are logMAR unless a name says otherwise; larger is easier. The critical print size is the smallest
print read at top speed, the reading acuity the smallest print read at all.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise
from typing import NamedTuple

from .errors import ClinicalRefusal, RangeRefusal
from .formula import formula

WORDS_OF_A_SENTENCE = 10
LEAST_SIZES = 5
LEAST_ON_A_SIDE = 2


def _check(name: str, value: float, low: float, high: float, unit: str, example: str) -> None:
    if not low <= value <= high:
        raise RangeRefusal(name, value, f"{low:g} to {high:g} {unit}".rstrip(), example=example)


@formula(
    "60 (10 − errors)/t",
    unit="wpm",
    source="LEGGE-LAB",
    kind="published",
    domain="10 standard words; t > 0 s",
)
def reading_speed_wpm(seconds: float, word_errors: float = 0.0) -> float:
    """Words a minute for a sentence of ten words read in ``seconds`` (0.5 to 600), 0 to 10 errors."""
    _check("reading time", seconds, 0.5, 600.0, "s", "12")
    _check("word errors", word_errors, 0.0, WORDS_OF_A_SENTENCE, "words", "1")
    return 60.0 * (WORDS_OF_A_SENTENCE - word_errors) / seconds


@formula("RA = smallest size + 0.01 × errors", unit="logMAR", source="OPTOMETRY-TEXT", kind="memory",
         domain="sentences of 10 words in steps of 0.1")  # fmt: skip
def reading_acuity_logmar(smallest_read_logmar: float, word_errors: float = 0.0) -> float:
    """Reading acuity: the smallest size read, worse by 0.01 for each word missed in all (0 to 100)."""
    _check("smallest print read", smallest_read_logmar, -1.0, 3.0, "logMAR", "0.6")
    _check("word errors", word_errors, 0.0, 100.0, "words", "2")
    return smallest_read_logmar + word_errors / 100.0


@formula(
    "R = Rmax (1 − exp[−2.3 (P − P0)/(Pc − P0)])",
    unit="wpm",
    source="ARVO-EXP",
    kind="published",
    domain="P, P0, Pc as MAR; Pc > P0; 0 below P0; Pc gives 90 %",
)
def reading_speed_exponential_wpm(
    max_speed_wpm: float, print_mar: float, threshold_mar: float, critical_mar: float
) -> float:
    """Speed at a print size on a curve that is exponential in size. RangeRefusal when Pc is not above P0."""
    _check("maximum speed", max_speed_wpm, 0.0, 1000.0, "wpm", "120")
    _check("print size", print_mar, 0.0, 10_000.0, "arcmin", "6")
    _check("threshold size", threshold_mar, 0.0, 10_000.0, "arcmin", "4")
    if not threshold_mar < critical_mar <= 10_000.0:
        raise RangeRefusal("critical size", critical_mar, "above the threshold size", example="9")
    if print_mar <= threshold_mar:
        return 0.0
    return max_speed_wpm * -math.expm1(-2.3 * (print_mar - threshold_mar) / (critical_mar - threshold_mar))


@formula(
    "R = Ropt, below xc: Ropt − m (xc − x)",
    unit="wpm",
    source="ELLIOTT01",
    kind="derived",
    domain="x, xc logMAR; m ≥ 0; not below 0",
)
def reading_speed_two_limb_wpm(
    plateau_wpm: float, slope_wpm_per_log: float, critical_logmar: float, print_logmar: float
) -> float:
    """Speed at a print size on a plateau that falls off in a straight line below the critical size."""
    _check("plateau", plateau_wpm, 0.0, 1000.0, "wpm", "120")
    _check("slope", slope_wpm_per_log, 0.0, 100_000.0, "wpm per log", "200")
    _check("critical size", critical_logmar, -2.0, 4.0, "logMAR", "0.9")
    _check("print size", print_logmar, -2.0, 4.0, "logMAR", "0.7")
    return max(0.0, plateau_wpm - slope_wpm_per_log * max(0.0, critical_logmar - print_logmar))


@formula(
    "log10 R = p1 (1 − exp[−e^p2 (x − p3)])",
    unit="wpm",
    source="CHEUNG08",
    kind="memory",
    domain="x logMAR; 0 at and below p3; parametrisation uncertain",
)
def reading_speed_log_exponential_wpm(
    log_max_speed: float, ln_rate: float, threshold_logmar: float, print_logmar: float
) -> float:
    """Speed at a print size on a curve that is exponential in log size (1 wpm at ``threshold_logmar``, 0
    below).
    """
    _check("log of the maximum speed", log_max_speed, 0.0, 3.0, "log wpm", "2.1")
    _check("log rate", ln_rate, -5.0, 5.0, "", "1.3")
    _check("threshold size", threshold_logmar, -2.0, 4.0, "logMAR", "0.5")
    _check("print size", print_logmar, -2.0, 4.0, "logMAR", "0.9")
    if print_logmar < threshold_logmar:
        return 0.0
    return 10.0 ** (log_max_speed * -math.expm1(-math.exp(ln_rate) * (print_logmar - threshold_logmar)))


@formula(
    "p3 − ln(−log10 f/p1)/e^p2",
    unit="logMAR",
    source="CHEUNG08",
    kind="memory",
    domain="0 < f < 1, −log10 f < p1; parametrisation uncertain",
)
def critical_print_log_exponential_logmar(
    log_max_speed: float, ln_rate: float, threshold_logmar: float, fraction: float
) -> float:
    """Print size at which the log-exponential curve reaches a fraction (0.8 or 0.9, say) of top speed."""
    _check("log of the maximum speed", log_max_speed, 0.01, 3.0, "log wpm", "2.1")
    _check("log rate", ln_rate, -5.0, 5.0, "", "1.3")
    _check("threshold size", threshold_logmar, -2.0, 4.0, "logMAR", "0.5")
    if not 10.0**-log_max_speed < fraction < 1.0:
        raise RangeRefusal("fraction of top speed", fraction, "between that of 1 wpm and 1", example="0.8")
    return threshold_logmar - math.log(-math.log10(fraction) / log_max_speed) / math.exp(ln_rate)


@formula(
    "EVD = test distance × goal/critical print",
    unit="mm",
    source="LEGGE07",
    kind="derived",
    domain="sizes in M at the test distance",
)
def target_evd_mm(test_distance_mm: float, goal_m_units: float, critical_m_units: float) -> float:
    """Equivalent viewing distance, mm, at which goal print reaches the critical print size of the curve."""
    _check("test distance", test_distance_mm, 10.0, 10_000.0, "mm", "400")
    _check("goal print", goal_m_units, 0.05, 100.0, "M", "1")
    _check("critical print", critical_m_units, 0.05, 100.0, "M", "3.2")
    return test_distance_mm * goal_m_units / critical_m_units


# The fit


class ReadingPoint(NamedTuple):
    """One print size read aloud: logMAR, words a minute, and how uncertain that speed is (1 when unknown)."""

    print_logmar: float
    speed_wpm: float
    sd_wpm: float = 1.0


class ReadingFit(NamedTuple):
    """A fitted curve: top speed, critical size, slope below it, residuals, what to be careful about."""

    plateau_wpm: float
    critical_logmar: float
    slope_wpm_per_log: float
    residuals_wpm: tuple[float, ...]
    root_mean_square_wpm: float
    cautions: tuple[str, ...]


def _refuse_fit(reason: str, example: str = "") -> ClinicalRefusal:
    return ClinicalRefusal("reading curve", "", "", example=example, reason=reason)


def _check_points(points: Sequence[ReadingPoint]) -> list[ReadingPoint]:
    for point in points:
        _check("print size", point.print_logmar, -2.0, 4.0, "logMAR", "0.9")
        _check("reading speed", point.speed_wpm, 0.0, 1000.0, "wpm", "80")
        _check("uncertainty of the speed", point.sd_wpm, 1e-3, 1000.0, "wpm", "5")
    ordered = sorted(points, key=lambda point: point.print_logmar)
    if any(a.print_logmar == b.print_logmar for a, b in pairwise(ordered)):
        raise _refuse_fit("one print size appears twice; give each size once, with its mean speed")
    if len(ordered) < LEAST_SIZES:
        raise _refuse_fit(f"{len(ordered)} print sizes are too few for a curve; read at least {LEAST_SIZES}")
    return ordered


def _fall_of(points: Sequence[ReadingPoint], plateau: float, critical: float) -> tuple[float, float]:
    """Slope of the best straight fall from the plateau at ``critical``, and the weighted squares left."""
    weights = [1.0 / point.sd_wpm**2 for point in points]
    depths = [max(0.0, critical - point.print_logmar) for point in points]
    drops = [plateau - point.speed_wpm for point in points]
    steepness = sum(w * d * d for w, d in zip(weights, depths, strict=True))
    slope = (
        sum(w * d * e for w, d, e in zip(weights, depths, drops, strict=True)) / steepness
        if steepness
        else 0.0
    )
    left = sum(w * (e - slope * d) ** 2 for w, d, e in zip(weights, depths, drops, strict=True))
    return slope, left


def _best_split(points: Sequence[ReadingPoint]) -> tuple[float, float, float, int]:
    """Plateau, slope, critical size, number of sizes below it: weighted least squares over each split."""
    best: tuple[float, float, float, float, int] | None = None
    for below in range(LEAST_ON_A_SIDE, len(points) - LEAST_ON_A_SIDE + 1):
        top = points[below:]
        weight = sum(1.0 / point.sd_wpm**2 for point in top)
        plateau = sum(point.speed_wpm / point.sd_wpm**2 for point in top) / weight
        low, high = points[below - 1].print_logmar, points[below].print_logmar
        # The critical size lies between the two sizes; the squares are smooth in it, a fine grid is enough.
        for step in range(1, 101):
            critical = low + (high - low) * step / 100.0
            slope, left = _fall_of(points, plateau, critical)
            if best is None or left < best[0] - 1e-12:
                best = (left, plateau, slope, critical, below)
    assert best is not None
    return best[1], best[2], best[3], best[4]


def _rate_of_rise(points: Sequence[ReadingPoint]) -> float:
    """Slope, wpm a log unit, of the straight line through two or more points."""
    centre = sum(point.print_logmar for point in points) / len(points)
    spread = sum((point.print_logmar - centre) ** 2 for point in points)
    return sum((point.print_logmar - centre) * point.speed_wpm for point in points) / spread


def fit_reading_curve(points: Sequence[ReadingPoint]) -> ReadingFit:
    """Fit the two-limb curve, weighted by 1/variance; ClinicalRefusal where the data carry no such curve.

    Needs at least 5 sizes, at least 2 on the plateau and 2 below it. Refuses when speed still rises at the
    largest print ("no plateau"), and when it does not fall below it ("no fall"). Cautions name a fall at
    the largest sizes and residuals above a tenth of top speed.
    """
    ordered = _check_points(points)
    plateau, slope, critical, below = _best_split(ordered)
    top = ordered[below:]
    if plateau <= 0.0:
        raise _refuse_fit("nothing was read at the largest sizes")
    rate = _rate_of_rise(top)
    rise = rate * (top[-1].print_logmar - top[0].print_logmar)
    noise = 1.96 * math.hypot(top[-1].sd_wpm, top[-2].sd_wpm)
    if rate > 0.3 * slope and rise > max(0.05 * plateau, noise):
        raise _refuse_fit(
            "no plateau: speed still rises at the largest print; read larger print or come nearer"
        )
    if slope * (critical - ordered[0].print_logmar) < 0.1 * plateau:
        raise _refuse_fit("no fall: speed is nearly the same at all sizes; read smaller print too")
    residuals = tuple(
        point.speed_wpm - (plateau - slope * max(0.0, critical - point.print_logmar)) for point in ordered
    )
    spread = math.sqrt(sum(residual**2 for residual in residuals) / len(residuals))
    cautions: list[str] = []
    if top[-1].speed_wpm < 0.85 * max(point.speed_wpm for point in top):
        cautions.append("speed falls again at the largest print")
    if spread > 0.1 * plateau:
        cautions.append("the points scatter by more than a tenth of top speed around the curve")
    return ReadingFit(plateau, critical, slope, residuals, spread, tuple(cautions))


def plateau_of(points: Sequence[ReadingPoint]) -> tuple[float, float]:
    """Maximum speed (wpm) and critical size (logMAR) by the plateau rule.

    The plateau is the largest set of the largest sizes whose mean speed exceeds each other size by 1.96
    standard deviations of the set. ClinicalRefusal when no set of 2 or more leaves at least 2 sizes below
    it.
    """
    ordered = _check_points(points)
    for below in range(LEAST_ON_A_SIDE, len(ordered) - LEAST_ON_A_SIDE + 1):
        top = [point.speed_wpm for point in ordered[below:]]
        mean = sum(top) / len(top)
        deviation = math.sqrt(sum((speed - mean) ** 2 for speed in top) / (len(top) - 1))
        if all(mean - point.speed_wpm > 1.96 * deviation for point in ordered[:below]):
            return mean, ordered[below].print_logmar
    raise _refuse_fit("no plateau: no set of large sizes stands out from the smaller ones")
