"""Picture 5: the reading curve: what was read, the fitted curve or why there is none, critical print, the goal's print.

Sizes are laid out by the angle they stand under (logMAR) and named in M units at the distance of the curve.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from ...core.documents.numbers import length
from ...core.documents.text import number
from ...core.entry import Curve
from ...core.errors import Refusal
from ...core.goals import Demand
from ...core.plan.types import Outcome
from ...core.print_size import logmar_of_near_print, m_units_of_logmar
from ...core.reading import (
    ReadingFit,
    ReadingPoint,
    fit_reading_curve,
    reading_speed_two_limb_wpm,
    target_evd_mm,
)
from ..signs import current_signs
from ..widgets.sheet import SheetRow, text_row, value_row
from .canvas import DOTTED, SOLID, Canvas, Lines
from .scale import Scale, round_up, spread_out
from .subject import Subject, assumed_rows, sentence_lines

_NO_CURVE = "No reading curve is recorded. Type print sizes with their speeds in the intake."
_LEFT = 5
_EDGE_LOG = 0.08
_SPEED_STEPS = (1.0, 1.2, 1.6, 2.0, 3.0, 4.0, 6.0, 8.0, 10.0)


@dataclass(frozen=True, slots=True)
class Fitted:
    """The curve of an eye: its points by logMAR, and the fit or the sentence that refuses it."""

    side: str
    curve: Curve
    points: tuple[ReadingPoint, ...]
    fit: ReadingFit | None
    refusal: str


@dataclass(frozen=True, slots=True)
class GoalPrint:
    """The goal's print as it stands to the naked eye and through the device, logMAR; None where it has no place."""

    demand: Demand
    naked_logmar: float | None
    through_logmar: float | None


def fitted_of(subject: Subject) -> Fitted | None:
    """The curve of the eye or eyes that the option is for, else any that was recorded."""
    option = subject.option
    first = () if option is None else (option.configuration.eye, option.device.leading.side)
    for side in dict.fromkeys((*first, "both", "right", "left")):
        curve = subject.view.person.eye(side).curve
        if curve is not None and curve.points:
            points, fit, refusal = _fit(curve)
            return Fitted(side, curve, points, fit, refusal)
    return None


@lru_cache(maxsize=8)
def _fit(curve: Curve) -> tuple[tuple[ReadingPoint, ...], ReadingFit | None, str]:
    """Points and fit of a curve; kept, because a picture is drawn again at every change of size."""
    try:
        points = tuple(
            ReadingPoint(logmar_of_near_print(curve.distance_mm, size), speed) for size, speed in curve.points
        )
    except Refusal as refusal:
        return (), None, str(refusal)
    try:
        return points, fit_reading_curve(points), ""
    except Refusal as refusal:
        return points, None, str(refusal)


def goal_print_of(subject: Subject) -> GoalPrint | None:
    """The drawn goal when it is print, else the first goal that is."""
    plan = subject.view.plan
    if plan is None:
        return None
    wanted = [subject.demand, *plan.demands]
    demand = next((each for each in wanted if each and each.by_print and each.goal_m_units), None)
    if demand is None:
        return None
    outcome = None if subject.option is None else subject.option.outcomes[demand.index]
    return GoalPrint(demand, _angle(demand, demand.distance_mm), _through(demand, outcome))


def _angle(demand: Demand, distance_mm: float) -> float | None:
    try:
        return logmar_of_near_print(distance_mm, demand.goal_m_units or 0.0)
    except Refusal:
        return None


def _through(demand: Demand, outcome: Outcome | None) -> float | None:
    if outcome is None or outcome.evd_mm is None:
        return None
    return _angle(demand, outcome.evd_mm)


def scales_of(fitted: Fitted, goal: GoalPrint | None, width: int, height: int) -> tuple[Scale, Scale]:
    """Print across, speed upwards (the top row is the highest speed)."""
    places = [point.print_logmar for point in fitted.points]
    if goal is not None:
        places += [place for place in (goal.naked_logmar, goal.through_logmar) if place is not None]
    fastest = max(point.speed_wpm for point in fitted.points)
    across = Scale(min(places) - _EDGE_LOG, max(places) + _EDGE_LOG, _LEFT + 1, width - 1)
    return across, Scale(0.0, round_up(max(10.0, fastest), _SPEED_STEPS), height - 3, 0.0)


def draw(subject: Subject, width: int, height: int) -> Lines:
    """Points as signs, the fitted curve as a line, critical and goal print as upright lines with their names."""
    fitted = fitted_of(subject)
    if fitted is None or not fitted.points:
        return sentence_lines(_NO_CURVE if fitted is None else fitted.refusal, width, height)
    goal = goal_print_of(subject)
    canvas = Canvas(width, max(4, height), subject.way)
    across, up = scales_of(fitted, goal, width, canvas.height)
    if fitted.fit is not None:
        x = across.place(fitted.fit.critical_logmar)
        canvas.line(x, 0, x, up.first, "curve-other", ":", DOTTED)
    if goal is not None:
        for place in (goal.naked_logmar, goal.through_logmar):
            if place is not None:
                canvas.line(across.place(place), 0, across.place(place), up.first, "curve-third", "|", SOLID)
    if fitted.fit is not None:
        _draw_curve(canvas, across, up, fitted.fit)
    for point in fitted.points:
        x, y = across.place(point.print_logmar), up.place(point.speed_wpm)
        canvas.text(round(x), round(y), "O", "strong")
    _draw_frame(canvas, across, up, fitted)
    _draw_names(canvas, across, up, fitted, goal)
    return canvas.lines()[:height]


def _draw_curve(canvas: Canvas, across: Scale, up: Scale, fit: ReadingFit) -> None:
    steps = int((across.last - across.first) * canvas.across)
    last = None
    for step in range(steps + 1):
        x = across.first + step / canvas.across
        speed = reading_speed_two_limb_wpm(
            fit.plateau_wpm, fit.slope_wpm_per_log, fit.critical_logmar, across.inside(across.value(x))
        )
        # A dot in the middle of its row, so that a round speed falls on the row of its label.
        y = up.place(min(speed, up.high)) + 0.5
        if last is not None:
            canvas.line(x - 1 / canvas.across, last, x, y, "curve", "*")
        last = y


def _draw_frame(canvas: Canvas, across: Scale, up: Scale, fitted: Fitted) -> None:
    signs = current_signs()
    for row in range(round(up.first) + 1):
        canvas.text(_LEFT, row, signs.bar, "rule")
    for value in (up.high, up.high / 2, 0.0):
        canvas.text(0, round(up.place(value)), f"{value:>4.0f}", "unit")
    bottom = round(up.first) + 1
    canvas.text(_LEFT, bottom, signs.rule * (canvas.width - _LEFT), "rule")
    labels = [
        (across.place(point.print_logmar) - _LEFT, f"{size:g}M")
        for point, (size, _) in zip(fitted.points, fitted.curve.points, strict=True)
    ]
    for start, label in spread_out(labels, canvas.width - _LEFT):
        canvas.text(_LEFT + start, bottom + 1, label, "unit")
    canvas.text(0, bottom + 1, "wpm", "unit")


def _draw_names(canvas: Canvas, across: Scale, up: Scale, fitted: Fitted, goal: GoalPrint | None) -> None:
    """The names of the upright lines: above where the curve runs low, below where it runs high."""
    names: list[tuple[float, str]] = []
    if fitted.fit is not None:
        names.append((fitted.fit.critical_logmar, "critical"))
    if goal is not None:
        if goal.naked_logmar is not None:
            names.append((goal.naked_logmar, "goal"))
        if goal.through_logmar is not None:
            names.append((goal.through_logmar, "goal, device"))
    sizes = sorted(point.print_logmar for point in fitted.points)
    turn = sizes[len(sizes) // 2] if fitted.fit is None else fitted.fit.critical_logmar
    above, below = 0, round(up.first)
    for place, name in sorted(names):
        if place < turn:
            canvas.text_near(across.place(place) + 1, above, name, "label")
            above = min(above + 1, canvas.height - 1)
        else:
            canvas.text_near(across.place(place) + 1, below, name, "label")
            below = max(0, below - 1)


# ---- the same in words


def words(subject: Subject) -> list[SheetRow]:
    """The points, the fit or its refusal, critical print, the goal's print."""
    fitted = fitted_of(subject)
    if fitted is None:
        return [text_row(_NO_CURVE)]
    who = "both eyes" if fitted.side == "both" else f"{fitted.side} eye"
    typed = ", ".join(f"{size:g}M {speed:g}" for size, speed in fitted.curve.points)
    rows = [value_row(f"Read at {length(fitted.curve.distance_mm)}, {who}", typed, "wpm")]
    fit = fitted.fit
    critical_m = None
    if fit is None:
        rows.append(text_row(fitted.refusal, "check"))
    else:
        critical_m = _m_units(fitted.curve, fit.critical_logmar)
        rows.append(value_row("Top speed of the curve", number(fit.plateau_wpm, 0), "wpm"))
        size = "" if critical_m is None else f"{number(critical_m, 1)}M, "
        note = "the smallest print read at top speed; dotted upright line"
        rows.append(
            value_row("Critical print", f"{size}{number(fit.critical_logmar)} logMAR", "", f"({note})")
        )
        slope = f"{number(fit.slope_wpm_per_log / 10, 0)} wpm for each 0.1 log smaller"
        rows.append(value_row("Below it the speed falls by", slope))
        rows += [text_row(f"Careful: {caution}.", "check") for caution in fit.cautions]
    rows += _goal_rows(subject, fitted, critical_m)
    return rows + assumed_rows(subject, (), ("distance", "detail"))


def _m_units(curve: Curve, logmar: float) -> float | None:
    try:
        return m_units_of_logmar(curve.distance_mm, logmar)
    except Refusal:
        return None


def _goal_rows(subject: Subject, fitted: Fitted, critical_m: float | None) -> list[SheetRow]:
    goal = goal_print_of(subject)
    if goal is None or goal.demand.goal_m_units is None:
        return [text_row("No goal is print, so none is drawn.")]
    demand, size = goal.demand, f"{goal.demand.goal_m_units:g}M"
    rows = []
    if goal.naked_logmar is not None:
        words = f"{size} at {length(demand.distance_mm)} is {number(goal.naked_logmar)} logMAR"
        rows.append(
            value_row(f"Goal, {demand.name}, without a device", words + _as_print(fitted, goal.naked_logmar))
        )
    if goal.through_logmar is not None and subject.named is not None:
        words = f"as large as {number(goal.through_logmar)} logMAR" + _as_print(fitted, goal.through_logmar)
        rows.append(value_row(f"Goal through the {subject.named.word} option", words))
    if critical_m is not None:
        try:
            target = target_evd_mm(fitted.curve.distance_mm, goal.demand.goal_m_units, critical_m)
        except Refusal:
            return rows
        words = f"an equivalent viewing distance of {length(target)}"
        rows.append(value_row("Goal as large as critical print at", words, key="drawn:0:target_evd_mm"))
    step = subject.view.sheet.step("performance.speed") if subject.view.sheet is not None else None
    if step is not None:
        rows.append(value_row("Speed promised for the chosen option", step.target))
    return rows


def _as_print(fitted: Fitted, logmar: float) -> str:
    """The same angle as print at the distance of the curve."""
    size = _m_units(fitted.curve, logmar)
    return "" if size is None else f", like {number(size, 1)}M at {length(fitted.curve.distance_mm)}"
