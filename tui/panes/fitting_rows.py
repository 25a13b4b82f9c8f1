"""The rows of the fitting pane: steps by phase with what is wanted and the verdict, cautions, training, left-overs.

The key of a row is the key of its step, ``caution.<name>``, ``training.<stage>.result`` or ``.minutes``, or
``left.<key>`` for a result that belongs to no step any more.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from ...core.acuity import Notation
from ...core.case import StepResult
from ...core.entry import Choice, Kind, Length, Number, Words
from ...core.errors import AfocalError, Refusal
from ...core.fitting.cautions import CautionStanding, standing
from ...core.fitting.exercises import Stage
from ...core.fitting.progress import counts, is_carried, left_over, progress, verdicts
from ...core.fitting.types import PHASES, FittingSheet, Interval, Phase, Step, Verdict
from ...core.fitting.verdict import CAUTIONS_KEY, judge
from ...core.signing import verify
from ...core.training import TrainingPlan, TrainingStanding, sessions_of, training_plan, training_standing
from ..signs import current_signs
from ..view import View
from ..widgets.rows import Row, Status
from ..widgets.sheet import SheetRow, text_row
from .fitting_edits import (
    CAUTION,
    CAUTION_ANSWERS,
    LEFT,
    REASON,
    TRAINING,
    TRAINING_DAY,
    latest_day,
    session_of,
    step_of,
)

_EYES = {"right": ("Right", "R"), "left": ("Left", "L"), "both": ("Both", "Both")}
_STATUS: dict[str, Status] = {"ok": "ok", "check": "check", "no": "no", "open": "open"}

# The sentence about what was refused, by the key of its row.
Refused = Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Training:
    """The plan of training and where the person stands."""

    plan: TrainingPlan
    standing: TrainingStanding


def training_of(view: View) -> Training | None:
    """The training for the choice; None while there is none for it."""
    try:
        plan = training_plan(view.case, view.stock)
    except AfocalError:
        return None
    return Training(plan, training_standing(plan, view.case))


def state_rows(view: View) -> Iterator[SheetRow]:
    """What stands above the checklist: read-only, refusals, progress, the device; or what is to be done first."""
    if view.read_only:
        yield text_row(
            f"Read-only. {verify(view.case).sentence} Later words go into an addendum (Ctrl+P, addendum).",
            "check",
            key="state.signed",
        )
    sheet = view.sheet
    if view.case.visit.choice is None:
        yield text_row("Nothing is chosen yet, so there is nothing to fit.", "strong", key="state.nothing")
        yield text_row(
            "F3 shows what each telescope does for the goals; Ctrl+O there chooses the one under the caret. "
            "The steps with their numbers for this face then stand here.",
            key="state.what_to_do",
        )
        return
    if sheet is None:
        yield text_row("The fitting sheet is being computed.", key="state.waiting")
        return
    sign = current_signs().error
    for number, refusal in enumerate(sheet.refusals):
        yield text_row(f"{sign} {refusal}", "error", key=f"state.refusal.{number}")
    if len(sheet):
        words = progress(sheet, view.case.visit)
        parts = ((f"{words}.", "strong"), (f" {sheet.device}", "plain"))
        yield SheetRow(parts, key="state.progress")
    else:
        yield text_row(f"{sheet.device}. F3 offers other options.", key="state.device")


def fitting_rows(view: View, refused: Refused, day: date | None = None) -> Iterator[Row]:
    """All rows of the checklist; ``day`` is the day of the training sessions, today when left out."""
    sheet = view.sheet
    if sheet is None or view.case.visit.choice is None:
        return
    if not len(sheet):
        # What was measured is never out of sight, even where its step cannot be computed any more.
        yield from _left_rows(view, sheet, refused)
        return
    judged = verdicts(sheet, view.case.visit)
    yield Row("phase.choice", "The choice", heading=True)
    yield with_refusal(reason_row(view), refused.get(REASON, ""))
    yield from _step_rows(view, sheet, judged, refused)
    yield from _caution_rows(view, refused)
    yield from _training_rows(view, refused, day)
    yield from _left_rows(view, sheet, refused)


def reason_row(view: View) -> Row:
    """Why this option was chosen, in the practitioner's words; the program's own reasons stand there at first."""
    reason = view.case.visit.choice_reason
    return Row(
        REASON,
        "Reason of the choice",
        "Reason",
        text=reason,
        status="ok" if reason else "optional",
        wanted="why",
    )


# ---- steps


def _step_rows(
    view: View, sheet: FittingSheet, judged: Mapping[str, Verdict], refused: Refused
) -> Iterator[Row]:
    group: tuple[Phase, bool] | None = None
    for step in sheet:
        # A follow-up asks some steps again; the others stand below them, phase by phase.
        is_rest = sheet.again and step.optional
        if (step.phase, is_rest) != group:
            group = (step.phase, is_rest)
            words = _rest_words(step.phase) if is_rest else _phase_words(view, sheet, step.phase, judged)
            yield Row(f"phase.{step.phase}{'.rest' if is_rest else ''}", words, heading=True)
        # The cautions are ticked one by one below.
        if step.key != CAUTIONS_KEY:
            yield step_row(view, step, judged[step.key], refused.get(step.key, ""))


def _rest_words(phase: Phase) -> str:
    return PHASES[phase] if phase == "search" else f"{PHASES[phase]}: not asked again"


def _phase_words(view: View, sheet: FittingSheet, phase: Phase, judged: Mapping[str, Verdict]) -> str:
    visit = view.case.visit
    counted = [
        step
        for step in sheet.phase(phase)
        if step.key != CAUTIONS_KEY and counts(step, judged[step.key], visit)
    ]
    if not counted:
        return PHASES[phase]
    done = sum(judged[step.key].state != "open" for step in counted)
    return f"{PHASES[phase]}: {done} of {len(counted)}"


def step_row(view: View, step: Step, judged: Verdict, refused: str) -> Row:
    """One step: what is wanted, what was measured, the verdict; the sentence stays when it needs attention."""
    result = view.case.visit.steps.get(step.key)
    long, short = step_label(step)
    wanted = wanted_words(step)
    unit = "" if isinstance(step.kind, Choice) else step.kind.unit
    row = Row(
        key=step.key,
        label=long,
        short_label=short,
        # The unit stands once: beside the wanted value where that has it.
        unit="" if unit in wanted.split() else unit,
        text=result.measured if result else "",
        status=_status(step, judged),
        wanted=wanted,
        choices=step.kind.options if isinstance(step.kind, Choice) else (),
        echo=_echo(view, step, result, judged),
    )
    notes = [judged.sentence] if judged.state in ("check", "no") else []
    if result is not None and result.note:
        notes.append(f"Note: {result.note}")
    row = replace(row, note=" ".join(notes))
    return with_refusal(row, refused)


def _status(step: Step, judged: Verdict) -> Status:
    if judged.state == "open" and step.optional:
        return "carried over" if is_carried(step, judged) else "optional"
    return _STATUS[judged.state]


def with_refusal(row: Row, sentence: str) -> Row:
    """The row with the sentence about a text that was refused; the old value stands and counts."""
    return replace(row, error=sentence, status="error") if sentence else row


def step_label(step: Step) -> tuple[str, str]:
    """The title with its eye in front, and the same shorter."""
    if not step.eye:
        return step.title, ""
    long, short = _EYES[step.eye]
    title = step.title[:1].lower() + step.title[1:]
    return f"{long}: {title}", f"{short}: {title}"


def wanted_words(step: Step) -> str:
    """The target in as few words as tell it; the step in full has all of it."""
    value = step.target_value
    if value is None or not isinstance(step.kind, Number | Length):
        return _first_clause(step.target)
    words = step.kind.echo(value)
    if step.target.startswith(("at least", "at most")):
        return f"{' '.join(step.target.split()[:2])} {words}"
    accept = step.accept
    if isinstance(accept, Interval) and accept.lowest is None and accept.highest is not None:
        return f"{words} or less"
    if isinstance(accept, Interval) and accept.highest is None and accept.lowest is not None:
        return f"{words} or more"
    return words


def _first_clause(text: str) -> str:
    ends = [at for at in (text.find(mark) for mark in (" (", "; ", ": ", ", ")) if at > 0]
    return text[: min(ends)] if ends else text


def _echo(view: View, step: Step, result: StepResult | None, judged: Verdict) -> str:
    """What was understood, unless it stands there already; or the value of the record that stands in."""
    if result is not None and result.measured:
        try:
            value = step.kind.read(result.measured, step.heading)
        except Refusal:
            return ""
        return understood(step.kind, result.measured, value, view.settings.acuity_notation)
    finding = view.case.visit.findings.get(step.field) if step.field else None
    if finding is not None and judged.state != "open":
        return f"{finding.typed} from the record"
    if finding is not None and finding.status == "carried over" and step.earlier is None:
        return f"last {finding.typed}, carried over"
    return _last_words(step)


def _last_words(step: Step) -> str:
    """What was measured at the step at an earlier visit with the same device; it is not measured now."""
    return "" if step.earlier is None else f"last {step.earlier.measured} on {step.earlier.on.isoformat()}"


def understood(kind: Kind, typed: str, value: Any, notation: Notation) -> str:
    """A value in the program's words; "" when they are what was typed."""
    if isinstance(kind, Choice | Words):
        return ""
    words = kind.echo(value, notation)
    return "" if words in (typed, f"{typed} {kind.unit}") else words


def reading_of(view: View | None, key: str, text: str) -> str:
    """What typed text would be read as at a step, with the verdict it would get; "" when it cannot be read yet."""
    step = step_of(view, key)
    if step is None or view is None or not text.strip():
        return ""
    try:
        value: Any = step.kind.read(text, step.heading)
    except Refusal:
        return ""
    words = text if isinstance(step.kind, Words) else step.kind.echo(value, view.settings.acuity_notation)
    return f"{words}: {judge(step, value).state}"


# ---- cautions


def caution_standing(view: View, key: str) -> CautionStanding | None:
    """Where the caution of a row stands."""
    name = key.removeprefix(CAUTION)
    return next((each for each in standing(view.case) if each.text.key == name), None)


def _caution_rows(view: View, refused: Refused) -> Iterator[Row]:
    stands = standing(view.case)
    answered = sum(each.answered for each in stands)
    yield Row("phase.cautions", f"Cautions, given and understood: {answered} of {len(stands)}", heading=True)
    for each in stands:
        row = _caution_row(view, each)
        yield with_refusal(row, refused.get(row.key, ""))


def _caution_row(view: View, each: CautionStanding) -> Row:
    record = view.case.visit.cautions.get(each.text.key)
    text = "" if record is None else "yes" if record.understood and record.given else "no"
    if record is not None and record.given and not record.understood:
        text = "given"
    status: Status = "ok" if each.answered else "check" if each.state == "given" else "open"
    if status == "open" and not each.text.mandatory:
        status = "optional"
    echo = f"{each.state} {each.on.isoformat()}" if each.on is not None and record is None else ""
    note = "Given, not yet understood: say it again, in writing too." if status == "check" else ""
    return Row(
        CAUTION + each.text.key,
        each.text.title,
        text=text,
        status=status,
        wanted="yes",
        choices=CAUTION_ANSWERS,
        echo=echo,
        note=note,
    )


# ---- training


def stage_of(key: str) -> Stage | None:
    """The stage of a row of training."""
    stage = key.split(".")[1] if key.startswith(TRAINING) and key != TRAINING_DAY else None
    return stage  # type: ignore[return-value]


def _training_rows(view: View, refused: Refused, day: date | None) -> Iterator[Row]:
    training = training_of(view)
    if training is None:
        return
    plan, stands = training.plan, training.standing
    words = f"Training: {len(stands.mastered)} of {len(plan.stages)} stages mastered"
    yield Row("phase.training", words, heading=True)
    latest = latest_day(view.case)
    shown = (day or latest).isoformat()
    when = Row(
        TRAINING_DAY, "Day of the session", text=shown, echo="" if day not in (None, latest) else "today"
    )
    yield with_refusal(when, refused.get(when.key, ""))
    for stage in plan.stages:
        yield from _stage_rows(view, training, stage, refused, day)


def _stage_rows(
    view: View, training: Training, stage: Stage, refused: Refused, day: date | None
) -> Iterator[Row]:
    today = session_of(view.case, stage, day)
    when = "Today" if day in (None, latest_day(view.case)) else f"{day:%Y-%m-%d}"
    earlier = [s for s in sessions_of(view.case) if s.stage == stage and s != today]
    echo = f"last {earlier[-1].on.isoformat()}: {earlier[-1].result or 'no words'}" if earlier else ""
    status: Status = "ok" if stage in training.standing.mastered else "open"
    title = "the task" if stage == "task" else stage
    exercises = [exercise for exercise in training.plan.exercises if exercise.stage == stage]
    minutes = f"{sum(exercise.minutes for exercise in exercises):g}{' in all' if len(exercises) > 1 else ''}"
    result = Row(
        f"{TRAINING}{stage}.result",
        f"{when}, {title}",
        text=today.result if today else "",
        status=status,
        wanted="alone",
        echo=echo,
    )
    took = Row(
        f"{TRAINING}{stage}.minutes",
        f"{when}, {title}: time",
        unit="min",
        text="" if today is None or today.minutes is None else f"{today.minutes:g}",
        wanted=minutes,
    )
    for row in (result, took):
        yield with_refusal(row, refused.get(row.key, ""))


# ---- what is left over


def _left_rows(view: View, sheet: FittingSheet, refused: Refused) -> Iterator[Row]:
    keys = left_over(sheet, view.case.visit)
    if not keys:
        return
    words = "Left over from another choice" if len(sheet) else "Measured, without its step"
    yield Row("phase.left", f"{words}; emptied, it is gone", heading=True)
    for key in keys:
        result = view.case.visit.steps[key]
        yield Row(
            LEFT + key,
            key.replace(".", " ").replace("_", " "),
            text=result.measured,
            note=f"Note: {result.note}" if result.note else "",
            error=refused.get(LEFT + key, ""),
        )
