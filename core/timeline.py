"""Visits side by side: what was measured at each, the device and its use, and what changed since it was last measured.

A change counts only beyond what repeats: 95 % of repeated measurements of unchanged eyes lie within the coefficient of
repeatability. A value carried over was not measured again, so it shows no change and starts no comparison.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date
from math import log10
from typing import Any

from .acuity import Acuity, OffChart
from .case import Case, Finding, Visit
from .configuration import Configuration
from .entry import AcuityKind, Kind, NearKind, Number, plain_number
from .errors import Refusal
from .fields import by_path
from .print_size import NearPrint
from .ranges import READING_SPEED
from .settings import Settings
from .signing import verify
from .stock import Stock
from .timeline_summary import DEVICE_CHOSEN, UNREAD, summary_of
from .timeline_tasks import task_rows
from .timeline_types import Cell, Change, Direction, Heading, Row, Timeline

_EYES = (("right", "R"), ("left", "L"), ("both", "both"))
# Labels of the intake that would read alike beside other rows here.
_LABELS = {"follow_up.device": "Kept, changed, returned"}


@dataclass(frozen=True, slots=True)
class _Measure:
    """What a row is made of: where its finding stands, how it is read, how two values compare."""

    key: str
    label: str
    group: str
    find: Callable[[Visit], Finding | None]
    kind: Kind
    compare: Callable[[Any, Any], tuple[float, float, str] | None] | None = None


def timeline(case: Case, settings: Settings, stock: Stock | None = None) -> Timeline:
    """The timeline of a case. With the stock, devices are named by their description instead of their id."""
    rows = [row for row in _rows(case, settings, stock) if any(not cell.empty for cell in row.cells)]
    headings = tuple(_heading(case, index) for index in range(len(case.visits)))
    return Timeline(headings, tuple(rows), summary_of(case, rows))


def changes_since_last(case: Case, settings: Settings) -> tuple[tuple[str, Change], ...]:
    """What was measured again at the visit worked on: label and change, those beyond what repeats first."""
    found = [
        (row.label, row.cells[-1].change)
        for row in timeline(case, settings).rows
        if row.cells[-1].change is not None
        and row.cells[-1].change.direction in ("better", "worse", "same", "changed", "not comparable")
    ]
    return tuple(
        sorted(((label, change) for label, change in found if change), key=lambda item: not item[1].beyond)
    )


def _rows(case: Case, settings: Settings, stock: Stock | None) -> Iterator[Row]:
    for measure in _measures(settings):
        yield _measured_row(case, measure, settings)
    yield from task_rows(case)
    yield _device_row(case, stock)
    for key in ("use", "use_words", "problems", "task_met", "device", "reason"):
        yield _told_row(case, f"follow_up.{key}", "Use")
    yield _training_row(case)
    for path in ("plan.next_step", "plan.next_date"):
        yield _told_row(case, path, "Next")


def _measures(settings: Settings) -> Iterator[_Measure]:
    acuity, reading = settings.assume("cr95_logmar"), settings.assume("cr95_print_logmar")
    contrast, speed = settings.assume("cr95_log_cs"), settings.assume("reading_speed_repeat_percent")
    for side, short in _EYES:
        yield _field_measure(
            f"{side}.distance_acuity", f"Acuity {short}", "Without the device", _acuities(acuity)
        )
    for side, short in _EYES:
        yield _field_measure(f"{side}.near_acuity", f"Print {short}", "Without the device", _prints(reading))
    for side, short in _EYES:
        yield _field_measure(
            f"{side}.contrast", f"Contrast {short}", "Without the device", _contrasts(contrast)
        )
    for side, short in _EYES:
        yield _Measure(
            f"through.acuity.{side}",
            f"Acuity through it {short}",
            "With the device",
            _through(f"performance.acuity.{side}", f"trial.acuity_{side}", AcuityKind()),
            AcuityKind(),
            _acuities(acuity),
        )
    yield _Measure(
        "through.print",
        "Print through it",
        "With the device",
        _through("performance.print", "trial.print", NearKind()),
        NearKind(),
        _prints(reading),
    )
    kind = Number(READING_SPEED, 0)
    yield _Measure(
        "through.speed",
        "Reading speed through it",
        "With the device",
        _through("performance.speed", "", kind),
        kind,
        _speeds(speed),
    )


def _field_measure(path: str, label: str, group: str, compare: Callable[[Any, Any], Any]) -> _Measure:
    return _Measure(path, label, group, lambda visit: visit.findings.get(path), by_path()[path].kind, compare)


def _through(step: str, path: str, kind: Kind) -> Callable[[Visit], Finding | None]:
    """A result of the fitting sheet, else the trial's field."""

    def find(visit: Visit) -> Finding | None:
        result = visit.steps.get(step)
        if result is not None and result.measured.strip():
            try:
                return Finding(typed=result.measured, value=kind.read(result.measured, step))
            except Refusal as refusal:
                return Finding(typed=result.measured, problem=str(refusal))
        return visit.findings.get(path)

    return find


def _acuities(repeats: float) -> Callable[[Any, Any], tuple[float, float, str] | None]:
    def compare(before: Any, now: Any) -> tuple[float, float, str] | None:
        if isinstance(before, Acuity) and isinstance(now, Acuity):
            return before.logmar - now.logmar, repeats, "log"
        return None

    return compare


def _prints(repeats: float) -> Callable[[Any, Any], tuple[float, float, str] | None]:
    def compare(before: Any, now: Any) -> tuple[float, float, str] | None:
        """Print at its distance: the same size read farther away is better."""
        if not (isinstance(before, NearPrint) and isinstance(now, NearPrint)):
            return None
        if before.logmar is not None and now.logmar is not None:
            return before.logmar - now.logmar, repeats, "log"
        if before.distance_mm is None and now.distance_mm is None:
            return log10(before.m_units / now.m_units), repeats, "log"
        return None

    return compare


def _contrasts(repeats: float) -> Callable[[Any, Any], tuple[float, float, str] | None]:
    return lambda before, now: (float(now) - float(before), repeats, "logCS")


def _speeds(percent: float) -> Callable[[Any, Any], tuple[float, float, str] | None]:
    def compare(before: Any, now: Any) -> tuple[float, float, str] | None:
        return None if not before else (100 * (float(now) / float(before) - 1), percent, "%")

    return compare


def _measured_row(case: Case, measure: _Measure, settings: Settings) -> Row:
    cells: list[Cell] = []
    last: Finding | None = None
    for visit in case.visits:
        finding = measure.find(visit)
        cells.append(Cell() if finding is None else _cell(measure, last, finding, settings))
        if finding is not None and finding.status == "measured" and not finding.problem:
            last = finding
    return Row(measure.key, measure.label, tuple(cells), measure.group)


def _cell(measure: _Measure, last: Finding | None, finding: Finding, settings: Settings) -> Cell:
    if finding.problem or finding.value is None:
        return Cell(finding.typed, UNREAD, finding.status, Change("not comparable", "cannot be read"))
    words = measure.kind.echo(finding.value, settings.acuity_notation)
    if finding.status == "carried over":
        return Cell(
            finding.typed, words, finding.status, Change("not measured", "carried over, not measured")
        )
    return Cell(finding.typed, words, finding.status, change_between(measure.compare, last, finding))


def change_between(
    compare: Callable[[Any, Any], tuple[float, float, str] | None] | None, last: Finding | None, now: Finding
) -> Change:
    """The change from the last measurement, in words, against what repeats."""
    if last is None or last.value is None:
        return Change("first", "first measurement")
    compared = None if compare is None else compare(last.value, now.value)
    if compared is None:
        return _categories(last.value, now.value)
    better, repeats, unit = compared
    decimals = 0 if unit == "%" else 2
    size = plain_number(abs(better), decimals)
    shown = f"{size} {unit}" if unit != "%" else f"{size} %"
    limit = plain_number(repeats, decimals)
    if abs(better) < 0.5 * 10**-decimals:
        return Change("same", "unchanged")
    word: Direction = "better" if better > 0 else "worse"
    # Compared as it is shown: a step of two lines is 0.20 log whichever series of sizes the chart follows.
    if round(abs(better), decimals) <= repeats:
        return Change("same", f"{shown} {word}, within what repeats ({limit})")
    return Change(word, f"{word} by {shown}, more than repeats ({limit})", beyond=True)


def _categories(before: Any, now: Any) -> Change:
    """Between a chart acuity and a category there is a direction, but no arithmetic."""
    if isinstance(before, OffChart) and isinstance(now, Acuity):
        return Change("better", f"on the chart again, was {before.name}", beyond=True)
    if isinstance(before, Acuity) and isinstance(now, OffChart):
        return Change("worse", f"off the chart now: {now.name}", beyond=True)
    if isinstance(before, OffChart) and isinstance(now, OffChart):
        if before.category == now.category:
            return Change("same", f"{now.name} as before")
        worse = now.plot_logmar > before.plot_logmar
        return Change(
            "worse" if worse else "better",
            f"{now.name}, was {before.name}: words only, no arithmetic",
            beyond=True,
        )
    return Change("not comparable", "measured differently: not comparable")


def _told_row(case: Case, path: str, group: str) -> Row:
    field = by_path()[path]
    found = (visit.findings.get(path) for visit in case.visits)
    cells = tuple(Cell() if f is None else Cell(f.typed, _told(f.value, f.typed), f.status) for f in found)
    return Row(path, _LABELS.get(path, field.label), cells, group)


def _told(value: Any, typed: str) -> str:
    return value.isoformat() if isinstance(value, date) else typed


def _device_row(case: Case, stock: Stock | None) -> Row:
    cells, last = [], None
    for visit in case.visits:
        if visit.choice is None:
            cells.append(Cell())
            continue
        words = device_words(visit.choice, stock)
        if last is None:
            change = Change("first", "first device")
        elif last == visit.choice:
            change = Change("same", "unchanged")
        else:
            change = Change("changed", "changed: " + _difference(last, visit.choice), beyond=True)
        cells.append(Cell(visit.choice.key, words, "", change))
        last = visit.choice
    return Row("device", DEVICE_CHOSEN, tuple(cells), "With the device")


def device_words(choice: Configuration, stock: Stock | None = None) -> str:
    """A configuration in words: telescope, eye, position, cap."""
    telescope = stock.telescope(choice.telescope) if stock else None
    name = telescope.description if telescope else choice.telescope
    cap = stock.cap(choice.cap) if stock and choice.cap else None
    words = (
        f"{name}, {choice.eye if choice.eye != 'both' else 'both eyes'}, {choice.position}, {choice.mount}"
    )
    if choice.cap:
        words += f", {cap.description if cap else 'cap ' + choice.cap}"
    return words


def _difference(before: Configuration, now: Configuration) -> str:
    names = ("telescope", "eye", "position", "mount", "cap", "filter", "correction", "focus", "spread_mm")
    changed = [
        f"{name.removesuffix('_mm')} {getattr(before, name) or 'none'} to {getattr(now, name) or 'none'}"
        for name in names
        if getattr(before, name) != getattr(now, name)
    ]
    return ", ".join(changed)


def _training_row(case: Case) -> Row:
    cells = []
    for visit in case.visits:
        if not visit.training:
            cells.append(Cell())
            continue
        last = visit.training[-1]
        count = f"{len(visit.training)} session" + ("" if len(visit.training) == 1 else "s")
        words = f"{count}, last {last.stage}" + (f": {last.result}" if last.result else "")
        cells.append(Cell(words, words))
    return Row("training", "Training", tuple(cells), "Use")


def _heading(case: Case, index: int) -> Heading:
    visit = case.visits[index]
    days = None if index == 0 else (visit.on - case.visits[index - 1].on).days
    return Heading(visit.on, visit.kind, verify(case, index).state, days, _interval_words(days))


def _interval_words(days: int | None) -> str:
    if days is None:
        return "first visit"
    if days < 0:
        return "dated before the visit before it"
    if days < 14:
        return f"{days} day{'' if days == 1 else 's'} later"
    if days < 60:
        return f"{round(days / 7)} weeks later"
    if days < 730:
        return f"{round(days / 30.44)} months later"
    return f"{plain_number(days / 365.25, 1)} years later"
