"""Picture 4: acuity on one ladder laid on its side, better to the right: now, promised, measured, wanted.

For a goal of print the ladder is one of print sizes. The promise is drawn with the interval within which 95 % of
repeated measurements lie; that repeatability is the one of the settings, as the plan used it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import ceil, floor, log10

from ...core.acuity import Acuity, OffChart, format_acuity
from ...core.documents.text import number
from ...core.entry import AcuityKind, NearKind
from ...core.errors import Refusal
from ...core.goals import Demand
from ...core.plan.types import Option, Outcome
from ...core.plan.verdict import percent
from ...core.print_size import NearPrint, format_near_print
from ...core.settings import Settings
from ..signs import current_signs
from ..view import View
from ..widgets.sheet import SheetRow, text_row, value_row
from .canvas import Canvas, Lines
from .scale import Scale, spread_out
from .subject import Subject, assumed_rows, goal_row, option_row, sentence_lines

# What a promise hangs on and may not have been measured.
_LEANS_ON = ("{eye}.refraction", "{eye}.contrast", "{eye}.pupil", "{eye}.sustained_accommodation")
_LABEL_CELLS = 9
_STEP = 0.1
_ROOM = 0.1
_MOST_STEP = 4


@dataclass(frozen=True, slots=True)
class Rung:
    """One row: its name, where it stands (logMAR, or log of M units), the ends of its interval, and its words.

    ``value`` is None for what has no place on the ladder; the words then say why, ``short`` in two or three.
    """

    label: str
    value: float | None
    words: str
    low: float | None = None
    high: float | None = None
    short: str = ""


def by_print(subject: Subject) -> bool:
    """Whether the ladder is one of print sizes."""
    demand = subject.demand
    return demand is not None and demand.by_print


def rungs_of(subject: Subject) -> list[Rung]:
    """Now, promised, measured, wanted, as far as each is known."""
    return list(_print_rungs(subject) if by_print(subject) else _acuity_rungs(subject))


def _acuity_rungs(subject: Subject) -> Iterator[Rung]:
    view, option, outcome, demand = subject.view, subject.option, subject.outcome, subject.demand
    eye = _eye_of(option, outcome)
    yield _now(view, option, eye)
    if outcome is not None and outcome.predicted_logmar_with_losses is not None:
        value, repeats = outcome.predicted_logmar_with_losses, outcome.cr95_logmar
        interval = f"{_words(value + repeats, view.settings)} and {_words(value - repeats, view.settings)}"
        words = f"{_full(value, view.settings)}; 95 % of measurements between {interval}"
        words += f" (repeats within {number(repeats)} log)"
        short = _words(value, view.settings)
        yield Rung("promised", value, words, value + repeats, value - repeats, short)
    else:
        yield Rung("promised", None, "no promise is made for this goal", short="none made")
    yield from _measured_acuities(subject, eye)
    if demand is not None and demand.goal_logmar is not None:
        words = f"{_full(demand.goal_logmar, view.settings)} for {demand.name}, its reserve included"
        yield Rung("wanted", demand.goal_logmar, words, short=_words(demand.goal_logmar, view.settings))
    else:
        yield Rung("wanted", None, "no goal says how fine it is", short="not known")


def _eye_of(option: Option | None, outcome: Outcome | None) -> str:
    if outcome is not None:
        return outcome.eye
    return "both" if option is None else option.configuration.eye


def _now(view: View, option: Option | None, eye: str) -> Rung:
    """The naked acuity that the promise starts from, or the record of the eye when there is no option."""
    if option is not None and option.device.leading.logmar is not None:
        value = option.device.leading.logmar
        words = f"{_full(value, view.settings)}, {option.device.leading.side} eye with its correction"
        return Rung("now", value, words, short=_words(value, view.settings))
    sides = ("both", "right", "left") if option is None or eye == "both" else (eye,)
    found = [(side, view.person.eye(side).acuity) for side in sides]
    known = [(side, acuity) for side, acuity in found if isinstance(acuity, Acuity)]
    if known:
        side, acuity = min(known, key=lambda pair: pair[1].logmar)
        words = f"{_full(acuity.logmar, view.settings)}, {_side_words(side)}"
        return Rung("now", acuity.logmar, words, short=_words(acuity.logmar, view.settings))
    off = [f"{acuity}, {_side_words(side)}" for side, acuity in found if isinstance(acuity, OffChart)]
    if off:
        return Rung("now", None, "; ".join(off) + ": off the chart", short="off the chart")
    return Rung("now", None, "not recorded", short="not recorded")


def _measured_acuities(subject: Subject, eye: str) -> Iterator[Rung]:
    """What was read through it: for the goal's eye a row on the ladder, for others words only."""
    view = subject.view
    found: list[tuple[str, str, object]] = []
    for side in ("both", "right", "left"):
        value = view.case.value(f"trial.acuity_{side}")
        if value is not None:
            found.append((side, "at the trial", value))
        value = _step_value(view, f"performance.acuity.{side}", AcuityKind())
        if value is not None:
            found.append((side, "at the fitting", value))
    if not found:
        yield Rung("measured", None, "not measured through a device yet")
    mine = [side for side, _, _ in found if side == eye] or [side for side, _, _ in found]
    for side, when, value in found:
        if isinstance(value, Acuity):
            words = f"{_full(value.logmar, view.settings)}, {_side_words(side)}, {when}"
            on_ladder = value.logmar if side in mine[:1] else None
            yield Rung("measured", on_ladder, words, short=_words(value.logmar, view.settings))
        else:
            yield Rung("measured", None, f"{value}, {_side_words(side)}, {when}: off the chart")


def _step_value(view: View, key: str, kind: AcuityKind | NearKind) -> object | None:
    """The result of a fitting step; None while there is none that can be read."""
    result = view.case.visit.steps.get(key)
    if result is None or not result.measured.strip():
        return None
    try:
        return kind.read(result.measured, key)
    except Refusal:
        return None


def _side_words(side: str) -> str:
    return "both eyes" if side == "both" else f"{side} eye"


def _words(logmar: float, settings: Settings) -> str:
    """A logMAR in the clinic's notation, alone."""
    try:
        return format_acuity(Acuity(logmar), settings.acuity_notation).removesuffix(" logMAR")
    except Refusal:
        return number(logmar)


def _full(logmar: float, settings: Settings) -> str:
    """The same with the logMAR behind it."""
    words = _words(logmar, settings)
    return f"{words} logMAR" if words == number(logmar) else f"{words} ({number(logmar)} logMAR)"


# ---- print


def _print_rungs(subject: Subject) -> Iterator[Rung]:
    view, option, outcome, demand = subject.view, subject.option, subject.outcome, subject.demand
    eye = _eye_of(option, outcome)
    sides = dict.fromkeys((eye, option.device.leading.side if option else "both", "right", "left"))
    near = next(((side, found) for side in sides if (found := view.person.eye(side).near) is not None), None)
    if near is None:
        yield Rung("now", None, "no near acuity recorded", short="not recorded")
    else:
        words = f"{format_near_print(near[1])}, {_side_words(near[0])}"
        yield Rung("now", log10(near[1].m_units), words, short=_print(near[1].m_units))
    if outcome is not None and outcome.print_read_m_units is not None:
        value, repeats = log10(outcome.print_read_m_units), outcome.cr95_logmar
        words = f"{_print(outcome.print_read_m_units)} at threshold, through the telescope"
        words += f"; 95 % of measurements between {_print(10 ** (value + repeats))} and "
        words += f"{_print(10 ** (value - repeats))} (repeats within {number(repeats)} log)"
        short = _print(outcome.print_read_m_units)
        yield Rung("promised", value, words, value + repeats, value - repeats, short)
    else:
        yield Rung("promised", None, "no promise is made for this goal", short="none made")
    yield from _measured_print(view)
    if demand is not None:
        yield _wanted_print(demand)


def _measured_print(view: View) -> Iterator[Rung]:
    found = [
        ("at the trial", view.case.value("trial.print")),
        ("at the fitting", _step_value(view, "performance.print", NearKind())),
    ]
    known = [(when, value) for when, value in found if isinstance(value, NearPrint)]
    for when, value in known:
        words = f"{format_near_print(value)}, {when}"
        yield Rung("measured", log10(value.m_units), words, short=_print(value.m_units))
    if not known:
        yield Rung("measured", None, "not measured through a device yet")


def _wanted_print(demand: Demand) -> Rung:
    """The goal's print; its reserve reaches down to the threshold that leaves it."""
    if demand.goal_m_units is None:
        return Rung("wanted", None, "the goal gives no size of print", short="not known")
    value = log10(demand.goal_m_units)
    short = _print(demand.goal_m_units)
    words = f"{short} for {demand.name}"
    if demand.reserve <= 1.0:
        return Rung("wanted", value, words, short=short)
    words += f"; the line reaches to the threshold that leaves its reserve of {demand.reserve:g} times"
    return Rung("wanted", value, words, value, value - log10(demand.reserve), short)


def _print(m_units: float) -> str:
    return f"{m_units:.2g}M" if m_units < 10 else f"{m_units:.0f}M"


# ---- the ladder


def scale_of(rungs: list[Rung], first: int, last: int) -> Scale:
    """Whole steps of 0.1 that hold everything; the worse end stands at ``first``."""
    ends = [end for rung in rungs for end in (rung.value, rung.low, rung.high) if end is not None]
    worst = ceil((max(ends, default=1.0) + _ROOM) / _STEP - 1e-9) * _STEP
    best = floor((min(ends, default=0.0) - _ROOM) / _STEP + 1e-9) * _STEP
    return Scale(worst, best, first, last)


def draw(subject: Subject, width: int, height: int) -> Lines:
    """A row for each, a rung for each 0.1 log, and a line down from what is wanted."""
    rungs = [rung for rung in rungs_of(subject) if rung.value is not None or rung.label != "measured"]
    if not any(rung.value is not None for rung in rungs):
        return sentence_lines(subject.nothing, width, height)
    rungs = rungs[: max(1, height - 2)]
    canvas = Canvas(width, height, subject.way)
    scale = scale_of(rungs, min(_LABEL_CELLS, width // 3), width - 2)
    step = max(1, min(_MOST_STEP, (height - 2) // len(rungs)))
    bottom = min(height - 2, len(rungs) * step)
    wanted = next((rung for rung in rungs if rung.label == "wanted" and rung.value is not None), None)
    if wanted is not None:
        place = round(scale.place(wanted.high if wanted.high is not None else wanted.value or 0.0))
        for row in range(bottom):
            canvas.text(place, row, ":" if canvas.way == "plain" else current_signs().bar, "frame")
    for index, rung in enumerate(rungs):
        _draw_rung(canvas, scale, rung, index * step + step // 2)
    _draw_steps(canvas, scale, subject, bottom)
    return canvas.lines()


def _draw_rung(canvas: Canvas, scale: Scale, rung: Rung, y: int) -> None:
    signs = current_signs()
    canvas.text(0, y, rung.label, "label")
    if rung.value is None:
        canvas.text(round(scale.first), y, rung.short, "check")
        return
    place = right = round(scale.place(rung.value))
    left = place
    if rung.low is not None and rung.high is not None:
        left, right = round(scale.place(rung.low)), round(scale.place(rung.high))
        canvas.text(left, y, "[" + signs.rule * max(0, right - left - 1) + "]", "curve-other")
    canvas.text(place, y, "#" if signs.ascii_only else "■", "curve")
    words = rung.short
    if right + 2 + len(words) <= canvas.width:
        canvas.text(right + 2, y, words, "strong")
    elif left - len(words) - 1 >= _LABEL_CELLS:
        canvas.text(left - len(words) - 1, y, words, "strong")


def _draw_steps(canvas: Canvas, scale: Scale, subject: Subject, y: int) -> None:
    """A rung at every 0.1, its name where there is room; better to the right."""
    signs = current_signs()
    first, last = round(scale.first), round(scale.last)
    canvas.text(first, y, signs.rule * (last - first + 1), "rule")
    count = round((scale.low - scale.high) / _STEP)
    labels = []
    for step in range(count + 1):
        value = round(scale.low - step * _STEP, 1)
        canvas.text(round(scale.place(value)), y, "+", "rule")
        name = _print(10**value) if by_print(subject) else _words(value + 0.0, subject.view.settings)
        labels.append((scale.place(value), name))
    widest = max(len(name) for _, name in labels) + 1
    every = max(1, ceil(widest * count / max(1, last - first)))
    # Labels at equal steps, so that the eye can trust the distances between them.
    for start, name in spread_out(labels[::every], canvas.width):
        canvas.text(start, y + 1, name, "unit")


# ---- the same in words


def words(subject: Subject) -> list[SheetRow]:
    """Every rung in words, and the chance."""
    rows = [] if subject.named is None else [option_row(subject.named)]
    if subject.named is None:
        rows.append(text_row(subject.nothing, "strong"))
    outcome = subject.outcome
    quantity = "print_read_m_units" if by_print(subject) else "predicted_logmar_with_losses"
    promise = "" if outcome is None else f"goal:{outcome.goal_index}:{quantity}"
    for rung in rungs_of(subject):
        is_computed = rung.label == "promised" and rung.value is not None
        rows.append(value_row(rung.label.capitalize(), rung.words, key=promise if is_computed else ""))
    if outcome is not None and outcome.probability is not None:
        key = f"goal:{outcome.goal_index}:probability"
        rows.append(value_row("Chance of reaching what is wanted", percent(outcome.probability), key=key))
    tried = subject.view.case.value("trial.device")
    if tried:
        rows.append(value_row("Tried", str(tried)))
    rows.append(text_row("Better is to the right; one mark is 0.1 log unit, a line of a log chart.", "note"))
    goal = goal_row(subject)
    return [
        *rows,
        *([] if goal is None else [goal]),
        *assumed_rows(subject, _LEANS_ON, ("detail", "distance")),
    ]
