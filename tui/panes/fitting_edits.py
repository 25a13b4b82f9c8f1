"""What typed text does to the case in the fitting pane: a step's result, a caution, a session of training."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from datetime import date, datetime

from ...core.case import Case, Caution, TrainingSession
from ...core.entry import Words
from ...core.errors import EntryRefusal
from ...core.fitting.cautions import with_caution
from ...core.fitting.progress import with_result
from ...core.fitting.types import Step
from ...core.training import OUTCOMES, session, with_session
from ..view import View

CAUTION = "caution."
TRAINING = "training."
# The day that the sessions typed belong to: kept by the pane, not in the case.
TRAINING_DAY = "training.day"
REASON = "choice.reason"
_REASON_KIND = Words(300)
LEFT = "left."
# How a caution is answered: it was given and the person understood it, it was only given, or neither.
CAUTION_ANSWERS = ("yes", "given", "no")

Change = Callable[[Case], Case]


def step_of(view: View | None, key: str) -> Step | None:
    """The step behind a row."""
    return view.sheet.step(key) if view is not None and view.sheet is not None else None


def now() -> datetime:
    """This moment with the clinic's offset, to the second."""
    return datetime.now().astimezone().replace(microsecond=0)


def change_for(view: View, key: str, text: str, day: date | None = None) -> Change | None:
    """The change that a row's text asks for; None when the row is not known. ``day`` is that of a training session."""
    if key == REASON:
        return lambda case: _with_reason(case, text)
    if key.startswith(CAUTION):
        return lambda case: _with_caution_typed(case, key.removeprefix(CAUTION), text)
    if key.startswith(TRAINING):
        _, stage, part = key.split(".")
        return lambda case: with_session_typed(case, stage, part, text, day)
    if key.startswith(LEFT):
        return lambda case: _without_left_over(case, key.removeprefix(LEFT), text)
    step = step_of(view, key)
    return None if step is None else lambda case: _with_step_typed(case, step, text)


def _with_step_typed(case: Case, step: Step, text: str) -> Case:
    return with_result(case, step, text, by=examiner(case), at=now())


def with_note(case: Case, step: Step, note: str) -> Case:
    """The case with a note on a step; what was measured stays."""
    old = case.visit.steps.get(step.key)
    return with_result(case, step, old.measured if old else "", by=examiner(case), at=now(), note=note)


def examiner(case: Case) -> str:
    """The staff code in the record, "" when none is given."""
    return str(case.value("person.examiner") or "")


def _with_caution_typed(case: Case, name: str, text: str) -> Case:
    """Yes: given and understood; given: not understood yet; no: neither; emptied: not asked."""
    plain = text.strip().lower()
    if not plain:
        cautions = {key: mark for key, mark in case.visit.cautions.items() if key != name}
        return case.with_visit(replace(case.visit, cautions=cautions))
    if plain not in CAUTION_ANSWERS:
        raise EntryRefusal("caution", text, f"one of {', '.join(CAUTION_ANSWERS)}", example="yes")
    moment = now() if plain != "no" else None
    return with_caution(case, name, Caution(given=plain != "no", understood=plain == "yes", at=moment))


def _with_reason(case: Case, text: str) -> Case:
    reason = _REASON_KIND.read(text, "Reason of the choice") if text.strip() else ""
    return case.with_visit(replace(case.visit, choice_reason=reason))


def latest_day(case: Case) -> date:
    """The day a session is recorded on while no other is typed: today, or that of the visit when that is later."""
    return max(date.today(), case.visit.on)


def session_of(case: Case, stage: str, day: date | None = None) -> TrainingSession | None:
    """The session of a stage recorded at this visit for a day, today when left out."""
    wanted = day or latest_day(case)
    return next((s for s in reversed(case.visit.training) if s.stage == stage and s.on == wanted), None)


def with_session_typed(case: Case, stage: str, part: str, text: str, day: date | None = None) -> Case:
    """The case with a day's session of a stage: its result or its minutes from typed text; both empty removes it.

    The first letters of "alone", "with help" and "not yet" are enough, and the minutes may stand behind them: "alone
    8". Other words are kept as they are.
    """
    old = session_of(case, stage, day)
    minutes = "" if old is None or old.minutes is None else f"{old.minutes:g}"
    result = "" if old is None else old.result
    if part == "minutes":
        minutes = text.strip()
    else:
        result, took = _outcome_and_minutes(text.strip())
        minutes = took or minutes
    sessions = tuple(each for each in case.visit.training if each is not old)
    if not minutes and not result:
        return case.with_visit(replace(case.visit, training=sessions))
    new = session(day or latest_day(case), stage, minutes, result)
    if old is None:
        return with_session(case, new)
    kept = tuple(new if each is old else each for each in case.visit.training)
    return case.with_visit(replace(case.visit, training=kept))


def _outcome_and_minutes(text: str) -> tuple[str, str]:
    """The result and the minutes in one text: only behind one of the known words is a number the minutes."""
    found = re.fullmatch(r"(.*?)[\s,;:]+(\d+)( ?min| minutes)?", text)
    outcome = _outcome(found[1]) if found else ""
    return (outcome, found[2]) if found and outcome in OUTCOMES else (_outcome(text), "")


def _outcome(text: str) -> str:
    found = [word for word in OUTCOMES if text and word.startswith(text.lower())]
    return found[0] if len(found) == 1 else text


def _without_left_over(case: Case, key: str, text: str) -> Case:
    if text.strip():
        raise EntryRefusal(
            key, text, "an empty field", reason="this step belongs to another choice; it can only be removed"
        )
    steps = {name: result for name, result in case.visit.steps.items() if name != key}
    return case.with_visit(replace(case.visit, steps=steps))
