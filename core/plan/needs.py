"""What each goal asks of any device, by each method the trade has, with the range between them."""

from __future__ import annotations

from math import atan, degrees

from ..contrast import contrast_reserve
from ..entry import Curve
from ..errors import Refusal
from ..formula import formula
from ..goals import Demand
from ..magnification import (
    evp_from_evd_d,
    kestenbaum_add_d,
    required_evd_mm,
    required_magnification,
)
from ..print_size import logmar_of_near_print
from ..reading import ReadingPoint, fit_reading_curve, target_evd_mm
from .asked import enlarged_on_screen, served_otherwise, without_telescope
from .context import LETTERS, Context, EyeIn
from .formulas import GOOD_CHANCE_SCORE, threshold_print_from_acuity_m_units
from .types import Method, Need
from .words import said

LEAST_POINTS = 5


@formula("2 atan(width/2d)", unit="deg", source="", kind="derived", domain="width, d > 0")
def field_wanted_deg(width_mm: float, distance_mm: float) -> float:
    """Angle that a width fills at a distance, degrees."""
    return degrees(2.0 * atan(width_mm / (2.0 * distance_mm)))


@formula("M_req × 10^(0.8416·CR95/1.96)", unit="x", source="", kind="derived", domain="CR95 > 0")
def magnification_for_good_chance(required_magnification: float, cr95_logmar: float) -> float:
    """Magnification with which a re-measured acuity meets the goal four times in five."""
    return required_magnification * 10.0 ** (GOOD_CHANCE_SCORE * cr95_logmar / 1.96)


def need_of(context: Context, demand: Demand) -> Need:
    """The need of a goal for the better eye, of print for the one that reads better; never raises.

    What is missing stands in ``problems``.
    """
    eye = context.eye(context.reading if demand.by_print else context.leading)
    problems = list(demand.problems)
    methods: list[Method] = []
    magnification = evd = evp = None
    lows: tuple[float | None, float | None] = (None, None)
    if eye.closed:
        problems.append(f"{demand.name}: {eye.closed}")
    elif not demand.problems:
        try:
            if demand.by_print:
                evd, evp, methods = _print(context, eye, demand, problems)
            else:
                magnification, methods = _distance(eye, demand, context.figures.cr95_logmar, problems)
        except Refusal as refusal:
            problems.append(f"{demand.name}: {said(refusal)}")
    values = [method.value for method in methods]
    if values:
        lows = (min(values), max(values))
    reserve, words = _contrast(context, eye, demand)
    field = field_wanted_deg(demand.width_mm, demand.distance_mm) if demand.width_mm else None
    return Need(
        goal_index=demand.index,
        goal=demand.name,
        required_magnification=magnification,
        magnification_low=None if demand.by_print else lows[0],
        magnification_high=None if demand.by_print else lows[1],
        required_evd_mm=evd,
        required_evp_d=evp,
        evp_low_d=lows[0] if demand.by_print else None,
        evp_high_d=lows[1] if demand.by_print else None,
        methods=tuple(methods),
        contrast_reserve=reserve,
        contrast_sentence=words,
        field_wanted_deg=field,
        characters_wanted=demand.characters,
        problems=tuple(problems),
        sentence=_sentence(
            demand,
            magnification,
            evd,
            evp,
            lows,
            problems,
            bool(without_telescope(context, demand)),
            _way_otherwise(context, demand),
        ),
    )


def _distance(
    eye: EyeIn, demand: Demand, cr95_logmar: float, problems: list[str]
) -> tuple[float | None, list[Method]]:
    if eye.logmar is None or demand.goal_logmar is None:
        problems.append(f"{demand.name}: no distance acuity is recorded for the {eye.side} eye; measure it.")
        return None, []
    goal = max(-0.5, demand.goal_logmar)
    value = required_magnification(eye.logmar, goal)
    methods = [
        Method(
            "acuity ratio", value, "x", "acuity now over the acuity wanted; a coin toss at exactly this power"
        )
    ]
    methods.append(
        Method(
            "with margin for a good chance",
            magnification_for_good_chance(value, cr95_logmar),
            "x",
            f"for a chance of 80 % at a repeatability of {cr95_logmar:.2f} log; common practice adds it by feel",
        )
    )
    return value, methods


def _print(
    context: Context, eye: EyeIn, demand: Demand, problems: list[str]
) -> tuple[float | None, float | None, list[Method]]:
    goal = demand.goal_m_units
    if eye.near_m_units is None or goal is None:
        problems.append(f"{demand.name}: no threshold print is recorded for the {eye.side} eye; measure it.")
        return None, None, []
    evd = required_evd_mm(eye.near_distance_mm, eye.near_m_units, goal, max(1.0, demand.reserve))
    evp = evp_from_evd_d(evd)
    said = f"{eye.near_m_units:.2g}M {eye.near_from}" if eye.near_from else f"{eye.near_m_units:g}M"
    methods = [
        Method(
            "threshold print and reserve",
            evp,
            "D",
            f"threshold print {said}, at {eye.near_distance_mm:.0f} mm, reserve {demand.reserve:g}, goal {goal:g}M"
            if eye.near_from
            else f"threshold print {said} at {eye.near_distance_mm:.0f} mm, reserve {demand.reserve:g}, goal {goal:g}M",
        )
    ]
    if eye.logmar is not None:
        by_acuity = kestenbaum_add_d(max(0.001, min(3.0, 10.0**-eye.logmar)))
        methods.append(
            Method(
                "starting add from distance acuity",
                by_acuity,
                "D",
                "for 1.0M without reserve; expect 1.5 to 2 times",
            )
        )
        letters = threshold_print_from_acuity_m_units(eye.logmar, 400.0)
        other = evp_from_evd_d(required_evd_mm(400.0, letters, goal, max(1.0, demand.reserve)))
        if eye.near_from != LETTERS:
            methods.append(
                Method("letter acuity and reserve", other, "D", "words need more than letters as a rule")
            )
    curve = context.person.eye(eye.side).curve or context.person.both.curve
    critical = _critical(curve)
    if curve is not None and critical is not None:
        target = target_evd_mm(curve.distance_mm, goal, critical)
        methods.append(
            Method(
                "critical print",
                evp_from_evd_d(target),
                "D",
                f"print of {critical:.2g}M at {curve.distance_mm:.0f} mm was the smallest read at full speed",
            )
        )
    return evd, evp, methods


def _critical(curve: Curve | None) -> float | None:
    """Critical print in M units by the reading curve, None when it cannot be fitted."""
    if curve is None or len(curve.points) < LEAST_POINTS:
        return None
    try:
        fit = fit_reading_curve(
            [
                ReadingPoint(logmar_of_near_print(curve.distance_mm, size), speed)
                for size, speed in curve.points
            ]
        )
    except Refusal:
        return None
    return threshold_print_from_acuity_m_units(fit.critical_logmar, curve.distance_mm)


def _contrast(context: Context, eye: EyeIn, demand: Demand) -> tuple[float | None, str]:
    if eye.closed:
        return None, ""
    try:
        reserve = contrast_reserve(demand.contrast, max(0.0, min(2.4, eye.log_cs)))
    except Refusal:
        return None, ""
    figures = context.figures
    if reserve < 1.0:
        words = "Below threshold: it cannot be seen at any magnification; change contrast or light."
    elif reserve < figures.contrast_reserve_caution:
        words = "Rate and accuracy clearly fall: more contrast and light before more power."
    elif reserve < figures.contrast_reserve_warn:
        words = f"Reading slows under {figures.contrast_reserve_warn:g} to 1."
    else:
        words = "Contrast is enough."
    if f"{eye.side}.contrast" in context.person.assumed:
        words += f" The contrast sensitivity of {eye.log_cs:.2f} is assumed: measure it."
    return reserve, words


def _way_otherwise(context: Context, demand: Demand) -> str:
    """The better way than a telescope in words, "" where there is none."""
    times = enlarged_on_screen(context, demand)
    if times is not None:
        return f"type {times:.1f} times as large on the screen does the same"
    if served_otherwise(context, demand):
        return "a high add or a magnifier of that power shows more at once"
    return ""


def _sentence(
    demand: Demand, magnification: float | None, evd: float | None, evp: float | None,
    lows: tuple[float | None, float | None], problems: list[str], free: bool, otherwise: str,
) -> str:  # fmt: skip
    if problems:
        return problems[0]
    if evd is not None and evp is not None:
        span = f", {lows[0]:.1f} to {lows[1]:.1f} D by the methods" if lows[0] != lows[1] else ""
        way = ""
        if free:
            way = "; no telescope is needed for it"
        elif otherwise:
            way = f"; {otherwise}, so that beside goals which only a telescope serves it counts a quarter"
        return f"{demand.name}: an equivalent viewing distance of {evd:.0f} mm ({evp:.1f} D{span}){way}."
    if magnification is not None:
        if free:
            by = " by both eyes together" if magnification > 1.0 else ""
            return f"{demand.name}: seen without magnification{by}."
        if magnification <= 1.0:
            return f"{demand.name}: large enough to see, but faint: {magnification:.2f} times by size alone."
        return f"{demand.name}: {magnification:.2f} times, up to {lows[1]:.2f} times for a good chance."
    return f"{demand.name}: nothing to compute."
