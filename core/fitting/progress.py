"""What a visit made of a fitting sheet: results by step, progress in words, and the next open step.

Results are stored in the visit by the key of the step; a result whose step no longer applies stays in the visit and is
named as left over. How a sheet is computed is not known here.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime

from ..case import Case, StepResult, Visit
from ..fields import NEXT_DATE
from .types import FittingSheet, State, Step, Verdict
from .verdict import CALL_KEY, verdict_at


@dataclass(frozen=True, slots=True)
class Progress:
    """How far a sheet is: counts, and the same in words ("9 of 14, 2 need attention").

    ``carried`` counts the steps of a follow-up that stand from an earlier visit.
    """

    done: int
    total: int
    attention: tuple[str, ...]
    words: str
    carried: int = 0


def verdicts(sheet: FittingSheet, visit: Visit) -> dict[str, Verdict]:
    """The verdict on every step at a visit, by key."""
    return {step.key: verdict_at(step, visit) for step in sheet}


def progress(sheet: FittingSheet, visit: Visit) -> str:
    """Progress in words: "9 of 14, 2 need attention"."""
    return progress_of(sheet, visit).words


def progress_of(sheet: FittingSheet, visit: Visit) -> Progress:
    """Progress with its counts; an optional step counts once it has a result, or when the record speaks against it."""
    judged = verdicts(sheet, visit)
    counted = [step for step in sheet if counts(step, judged[step.key], visit)]
    done = sum(judged[step.key].state != "open" for step in counted)
    attention = tuple(step.key for step in counted if judged[step.key].state in ("check", "no"))
    words = f"{done} of {len(counted)}" + (" for this follow-up" if sheet.again else "")
    if attention:
        words += f", {len(attention)} need{'s' if len(attention) == 1 else ''} attention"
    carried = sum(is_carried(step, judged[step.key]) for step in sheet) if sheet.again else 0
    if carried:
        words += f"; {carried} carried over"
    return Progress(done, len(counted), attention, words, carried)


def counts(step: Step, judged: Verdict, visit: Visit) -> bool:
    """Whether a step is part of what a visit asks or did."""
    if not step.optional or judged.state in ("check", "no"):
        return True
    own = visit.steps.get(step.key)
    return judged.state != "open" and own is not None and bool(own.measured.strip())


def is_carried(step: Step, judged: Verdict) -> bool:
    """Whether a step is not asked at this visit because its earlier result stands."""
    return step.optional and step.earlier is not None and judged.state == "open"


def next_open(sheet: FittingSheet, visit: Visit, after: str = "") -> Step | None:
    """The next step without a result after the step of that key, round to the first again; None when all are done."""
    return _next(sheet, visit, after, ("open",))


def next_attention(sheet: FittingSheet, visit: Visit, after: str = "") -> Step | None:
    """The next step whose result wants attention, in the same order."""
    return _next(sheet, visit, after, ("check", "no"))


def _next(sheet: FittingSheet, visit: Visit, after: str, states: tuple[State, ...]) -> Step | None:
    steps = sheet.steps
    at = next((index for index, step in enumerate(steps) if step.key == after), -1)
    for step in (*steps[at + 1 :], *steps[: at + 1]):
        if step.optional and "open" in states:
            continue
        if verdict_at(step, visit).state in states:
            return step
    return None


def left_over(sheet: FittingSheet, visit: Visit) -> tuple[str, ...]:
    """Keys of results in the visit that belong to no step of this sheet, as after a changed choice."""
    known = {step.key for step in sheet}
    return tuple(key for key in visit.steps if key not in known)


def with_result(
    case: Case, step: Step, typed: str, *, by: str = "", at: datetime | None = None, note: str | None = None
) -> Case:
    """The case with a step's result set from typed text; empty text without a note clears it.

    Raises EntryRefusal or RangeRefusal, and leaves the case as it was, when the text cannot be read.
    """
    text = typed.strip()
    if text:
        step.kind.read(text, step.heading)
    old = case.visit.steps.get(step.key)
    kept = (old.note if old else "") if note is None else note.strip()
    steps = dict(case.visit.steps)
    if text or kept:
        moment = at.replace(microsecond=0) if at else None
        steps[step.key] = StepResult(measured=text, note=kept, by=by.strip(), at=moment)
    else:
        steps.pop(step.key, None)
    changed = case.with_visit(replace(case.visit, steps=steps))
    if step.key == CALL_KEY and plans_next_visit(case):
        return changed.with_typed(NEXT_DATE.path, text)
    return changed


def plans_next_visit(case: Case) -> bool:
    """Whether the day of the call is taken as the next planned one: while none was typed apart from it."""
    planned, call = case.visit.findings.get(NEXT_DATE.path), case.visit.steps.get(CALL_KEY)
    return planned is None or (call is not None and planned.typed == call.measured)
