"""Picture 1: the distances that are clear with the best, the chosen and the next options, against the goals."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import ceil, floor, log10

from ...core.documents.numbers import length, span
from ...core.documents.text import number
from ...core.goals import Demand
from ...core.plan.types import Option, Outcome
from ..panes.computation_rows import device_words
from ..signs import current_signs
from ..widgets.sheet import SheetRow, heading_row, text_row, value_row
from .canvas import Canvas, Lines
from .scale import Decades, spread_out
from .subject import Subject, assumed_rows, sentence_lines

_LEAST_MM, _MOST_MM = 100.0, 10_000.0
# The scale gives way to no distance beyond these: a limit there is drawn as an arrow.
_NEAREST_MM, _FARTHEST_MM = 10.0, 1_000_000.0
_MOST_STEP = 3
# Less than this share is the rounding of a cap's power.
_MOVED_SHARE = 0.02
# What the clear distances hang on and may not have been measured.
_LEANS_ON = (
    "{eye}.refraction",
    "{eye}.sustained_accommodation",
    "{eye}.pupil",
    "test.refraction_vertex",
    "face.vertex_distance",
)


@dataclass(frozen=True, slots=True)
class Bar:
    """A range of clear distances, mm; ``far_mm`` None when far is clear too."""

    label: str
    option: Option
    with_cap: bool
    near_mm: float
    far_mm: float | None


def bars_of(subject: Subject) -> list[Bar]:
    """Without the cap and, where there is one, with it, for every option."""
    found = []
    for named in subject.options:
        device = named.option.device
        eye, cap = device.leading, device.cap
        if eye.near_limit_mm is not None:
            found.append(Bar(named.word, named.option, False, eye.near_limit_mm, eye.far_limit_mm))
        if cap is not None and cap.clear_from_mm is not None:
            label = f"{named.word}+cap"
            found.append(Bar(label, named.option, True, cap.clear_from_mm, cap.clear_to_mm))
    return found


def scale_of(bars: list[Bar], demands: tuple[Demand, ...], first: int, last: int) -> Decades:
    """Whole decades that hold every goal and every end of a bar; ``last`` is the middle of the cell for far."""
    ends = [end for bar in bars for end in (bar.near_mm, bar.far_mm) if end is not None]
    ends += [end for demand in demands for end in (demand.nearest_mm, demand.farthest_mm)]
    kept = [min(max(end, _NEAREST_MM), _FARTHEST_MM) for end in ends]
    low = min(_LEAST_MM, 10.0 ** floor(log10(min(kept, default=_LEAST_MM)) + 1e-9))
    high = max(_MOST_MM, 10.0 ** ceil(log10(max(kept, default=_MOST_MM)) - 1e-9))
    return Decades(low, high, first, last)


def draw(subject: Subject, width: int, height: int) -> Lines:
    """One bar a row on a log scale of distance; the goals stand as figures, in the first row and in each bar."""
    plan = subject.view.plan
    if plan is None or not (subject.options or plan.demands):
        return sentence_lines(subject.nothing, width, height)
    every = bars_of(subject)
    bars = bars_that_fit(every, height - 3)
    canvas = Canvas(width, height, subject.way)
    left = min(max((len(bar.label) for bar in bars), default=5) + 1, width // 2)
    goals = subject.placed()
    axis = scale_of(bars, goals, left, width - 2)
    step = max(1, min(_MOST_STEP, (height - 3) // max(1, len(bars))))
    canvas.text(0, 0, "goals", "label")
    _draw_goals(canvas, axis, goals)
    for index, bar in enumerate(bars):
        last = (index + 1) * step
        for y in range(last - step + 1, last + 1):
            # A tall row leaves the first line free, so that neighbours stay apart.
            drawn = step == 1 or y > last - step + 1
            if drawn:
                _draw_bar(canvas, axis, bar, y)
            _draw_goal_figures(canvas, axis, goals, y, bar if drawn else None)
        canvas.text(0, last, bar.label[: left - 1], "label")
    bottom = min(height - 2, 1 + len(bars) * step)
    _draw_axis(canvas, axis, bottom)
    if len(bars) < len(every):
        more = f"{len(every) - len(bars)} more"
        canvas.text(0, bottom, more if len(more) < left else more.partition(" ")[0] + "+", "check")
    return canvas.lines()


def bars_that_fit(bars: list[Bar], most: int) -> list[Bar]:
    """As many options as ``most`` rows hold, each with all of its bars; of the first one at least its own."""
    kept: list[Bar] = []
    for bar in bars:
        mine = [each for each in bars if each.option is bar.option]
        if bar is mine[0]:
            if kept and len(kept) + len(mine) > most:
                break
            kept += mine
    return kept[: max(1, most)]


def _cell(axis: Decades, value_mm: float) -> int:
    return round(axis.place(axis.inside(value_mm)))


def _draw_bar(canvas: Canvas, axis: Decades, bar: Bar, y: int) -> None:
    plain = canvas.way == "plain"
    ink = ("#" if bar.with_cap else "=") if plain else ("▓" if bar.with_cap else "█")
    role = "curve-other" if bar.with_cap else "curve"
    first = _cell(axis, bar.near_mm)
    last = canvas.width - 2 if bar.far_mm is None else max(first, _cell(axis, bar.far_mm))
    canvas.text(first, y, ink * (last - first + 1), role)
    if bar.far_mm is None or bar.far_mm > axis.high * (1 + 1e-9):
        canvas.text(canvas.width - 1, y, ">" if plain else current_signs().here, role)
    if bar.near_mm < axis.low * (1 - 1e-9):
        canvas.text(first, y, "<", role)


def _draw_goals(canvas: Canvas, axis: Decades, demands: tuple[Demand, ...]) -> None:
    """Figures in the first row; a goal that moves has its range drawn out. Two in one cell stand side by side."""
    taken: set[int] = set()
    for demand in demands:
        nearest, farthest = _cell(axis, demand.nearest_mm), _cell(axis, demand.farthest_mm)
        canvas.text(nearest, 0, current_signs().rule * (farthest - nearest + 1), "rule")
    for demand in demands:
        place = _cell(axis, demand.distance_mm)
        while place in taken and place < canvas.width - 1:
            place += 1
        taken.add(place)
        canvas.text(place, 0, _figure(demand), "strong")


def _figure(demand: Demand) -> str:
    return str(demand.index + 1) if demand.index < 9 else "+"


def _draw_goal_figures(
    canvas: Canvas, axis: Decades, demands: tuple[Demand, ...], y: int, bar: Bar | None
) -> None:
    """The goal's figure where it stands with the bar's option, inside the bar or beside it; of several in one cell the
    first. Where the option wants it held elsewhere, a stroke marks its own place, as between the bars."""
    for demand in demands:
        canvas.text(_cell(axis, demand.distance_mm), y, current_signs().bar, "frame")
    if bar is None:
        return
    for demand in reversed(demands):
        at_mm = demand.distance_mm
        outcome = bar.option.outcomes[demand.index]
        if bar.with_cap == outcome.cap_on and is_moved(outcome, demand):
            at_mm = outcome.object_distance_mm
        canvas.text(_cell(axis, at_mm), y, _figure(demand), "strong")


def is_moved(outcome: Outcome, demand: Demand) -> bool:
    """Whether the option is used at another distance than the goal gives."""
    return abs(outcome.object_distance_mm - demand.distance_mm) > _MOVED_SHARE * demand.distance_mm


def _draw_axis(canvas: Canvas, axis: Decades, y: int) -> None:
    signs = current_signs()
    first = round(axis.first)
    canvas.text(first, y, signs.rule * (canvas.width - 1 - first), "rule")
    ticks = axis.ticks()
    decades = [tick for tick in ticks if abs(log10(tick) - round(log10(tick))) < 1e-9]
    for tick in ticks:
        canvas.text(_cell(axis, tick), y, "+", "rule")
    wanted = decades if len(ticks) * 6 > canvas.width - first else ticks
    free = canvas.width - first - 4
    for start, label in spread_out([(axis.place(tick) - first, _metres(tick)) for tick in wanted], free):
        canvas.text(first + start, y + 1, label, "unit")
    canvas.text(canvas.width - 3, y + 1, "far", "unit")


def _metres(value_mm: float) -> str:
    """A round distance, short."""
    return f"{value_mm / 10:g}cm" if value_mm < 1000 else f"{value_mm / 1000:g}m"


# ---- the same in words


def words(subject: Subject) -> list[SheetRow]:
    """A row for every bar, then for every goal what becomes of it with each option."""
    plan = subject.view.plan
    if plan is None:
        return [text_row(subject.nothing)]
    rows = [text_row(subject.nothing, "strong")] if not subject.options else []
    bars = bars_of(subject)
    for number_of, named in enumerate(subject.options):
        option = named.option
        mine = [bar for bar in bars if bar.option is option]
        plain = next((bar for bar in mine if not bar.with_cap), None)
        with_cap = next((bar for bar in mine if bar.with_cap), None)
        clear = span(plain.near_mm, plain.far_mm) if plain else "no end of what is clear was found"
        if option.cap is not None:
            capped = (
                span(with_cap.near_mm, with_cap.far_mm) if with_cap else "no end of what is clear was found"
            )
            clear = f"{clear} without the cap; {capped} with it"
        label = f"{named.word.capitalize()}, {device_words(option)}, is clear"
        rows.append(value_row(label, clear, key=f"option:{number_of}:near_limit_mm" if plain else ""))
    placed = subject.placed()
    for demand in plan.demands:
        if demand not in placed:
            rows.append(
                heading_row(f"Goal {demand.index + 1}: {demand.name}, no distance given, so not drawn")
            )
            rows += [text_row(problem, "check") for problem in demand.problems]
            continue
        name = f"Goal {demand.index + 1}: {demand.name}, {_where(demand)}"
        rows.append(heading_row(name) if subject.options else text_row(name))
        rows += _goal_rows(subject, demand)
    if subject.options:
        rows.append(text_row(" ".join(_basis(subject)), "note"))
    return rows + assumed_rows(subject, _LEANS_ON if subject.options else (), ("distance",))


def _basis(subject: Subject) -> Iterator[str]:
    """From where the distances are, and what of the eye is counted in."""
    yield (
        "Clear distances are from the objective, or from the cap where it is on, for the eye that sees better through "
        "it."
    )
    eyes = {named.option.device.leading.side: named.option.device.leading for named in subject.options}
    for side, eye in sorted(eyes.items()):
        yield (
            f"Counted in, {side} eye: accommodation {number(eye.accommodation_d)} D, depth of focus "
            f"{number(eye.tolerance_d)} D each way."
        )
    if any(named.option.telescope.focusable for named in subject.options):
        yield "A tube focused by hand is clear as far as its travel goes."


def _where(demand: Demand) -> str:
    at = length(demand.distance_mm)
    if demand.nearest_mm < demand.distance_mm or demand.farthest_mm > demand.distance_mm:
        return f"{at}, from {length(demand.nearest_mm)} to {length(demand.farthest_mm)}"
    return at


def _goal_rows(subject: Subject, demand: Demand) -> Iterator[SheetRow]:
    signs = current_signs()
    for named in subject.options:
        outcome = named.option.outcomes[demand.index]
        sign, role = (signs.ok, "ok") if outcome.clear else (signs.no, "no")
        yield value_row(
            named.word.capitalize(), f"{sign} {_clear_words(named.option, outcome, demand)}", role=role
        )


def _clear_words(option: Option, outcome: Outcome, demand: Demand) -> str:
    cap = ""
    if option.cap is not None:
        cap = ", cap on" if outcome.cap_on else ", cap off"
    at = f" at {length(outcome.object_distance_mm)}"
    if is_moved(outcome, demand):
        at += f" instead of {length(demand.distance_mm)}"
    if not outcome.clear:
        return f"not clear{at}{cap}: {number(outcome.defocus_d)} D out of focus"
    if outcome.accommodation_used_d >= 0.005:
        return f"clear{at}{cap}, with {number(outcome.accommodation_used_d)} D of accommodation"
    return f"clear{at}{cap}"
