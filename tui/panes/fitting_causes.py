"""What is probably wrong: the steps that need attention, then the ranked causes behind what was found."""

from __future__ import annotations

from collections.abc import Iterator

from textual import on
from textual.worker import Worker, WorkerState

from ...core.faults.of_case import diagnose_case, step_for
from ...core.faults.types import Cause, Diagnosis
from ...core.fitting.progress import progress_of, verdicts
from ...core.fitting.types import FittingSheet
from ..screens.keyed_page import KeyedPage
from ..signs import current_signs
from ..view import View
from ..widgets.sheet import SheetRow, heading_row, text_row, value_row
from .fitting_rows import step_label

# So many causes are told in full; the others by name.
IN_FULL = 3
WAITING = "waiting"


class CausesPage(KeyedPage):
    """The page; the search takes a moment, so it is made in a thread and comes in below what stands there already."""

    def __init__(self, view: View) -> None:
        super().__init__(
            "What is probably wrong",
            [*_attention_rows(view), text_row("The likely causes are being computed.", key=WAITING)],
        )
        self._view = view

    def on_mount(self) -> None:
        super().on_mount()
        self.run_worker(lambda: tuple(causes_rows(self._view)), thread=True, name=WAITING)

    @on(Worker.StateChanged)
    def _computed(self, event: Worker.StateChanged) -> None:
        event.stop()
        if event.state is WorkerState.SUCCESS and event.worker.result is not None:
            self.sheet.rows = event.worker.result


def causes_rows(view: View) -> Iterator[SheetRow]:
    """Every line of the page; a line about a step has the step's key."""
    yield from _attention_rows(view)
    if view.sheet is None:
        return
    diagnosis = diagnose_case(view.case, view.sheet, view.stock, view.settings)
    if diagnosis is not None:
        yield from diagnosis_rows(diagnosis, view.sheet)


def _attention_rows(view: View) -> Iterator[SheetRow]:
    sheet = view.sheet
    if sheet is None:
        return
    judged = verdicts(sheet, view.case.visit)
    signs = current_signs()
    yield heading_row("What needs attention; Enter goes there")
    keys = progress_of(sheet, view.case.visit).attention
    if not len(sheet):
        for refusal in sheet.refusals:
            yield text_row(f"{signs.error} {refusal}", "error")
    elif not keys:
        yield text_row("No step needs attention so far.")
    for key in keys:
        step = sheet.step(key)
        if step is not None:
            verdict = judged[key]
            sign = signs.no if verdict.state == "no" else signs.check
            yield SheetRow(
                (
                    (f"{sign} {verdict.state} ", verdict.state),
                    (f"{step_label(step)[0]}: {verdict.sentence}", "plain"),
                ),
                key=key,
            )


def diagnosis_rows(diagnosis: Diagnosis, sheet: FittingSheet | None = None) -> Iterator[SheetRow]:
    """The likeliest causes in full, the others by name, and what the findings cannot tell.

    With the sheet a check leads to its step.
    """
    yield heading_row("Likely causes")
    yield text_row(diagnosis.sentence, "strong")
    if not diagnosis.causes:
        return
    if diagnosis.next_check:
        first = diagnosis.first
        yield value_row("Check next", diagnosis.next_check, key=_key_of(first, sheet))
    for problem in diagnosis.problems:
        yield text_row(problem, "check")
    if diagnosis.besides is not None:
        # What was measured and is not explained by the first: a fault of its own, whatever its place in the list.
        besides = diagnosis.besides
        yield from _cause_rows(f"Shown by a measurement of its own: {besides.title}", besides, sheet, True)
    for place, cause in enumerate(diagnosis.causes[:IN_FULL], 1):
        yield from _cause_rows(f"{place}. {cause.title}: {cause.probability:.0%}", cause, sheet, place > 1)
    rest = [
        f"{cause.title} {cause.probability:.0%}"
        for cause in diagnosis.causes[IN_FULL:]
        if cause.probability >= 0.005
    ]
    if rest:
        yield heading_row("Less likely")
        yield text_row("; ".join(rest))
    yield heading_row("How far this goes")
    if diagnosis.used:
        yield value_row("From what was found", "; ".join(diagnosis.used), role="plain")
    if diagnosis.carried:
        yield value_row("Of these, carried over", "; ".join(diagnosis.carried), role="plain")
    for words in diagnosis.unexplained:
        yield value_row("Not explained", words, role="check")
    if diagnosis.untested:
        yield value_row("Nothing measured so far could show", "; ".join(diagnosis.untested), role="plain")
    yield text_row("Probabilities support the examiner's judgement; they do not replace it.", "note")


def _key_of(cause: Cause | None, sheet: FittingSheet | None) -> str:
    step = None if cause is None or sheet is None else step_for(cause.check_key, sheet)
    return "" if step is None else step.key


def _cause_rows(heading: str, cause: Cause, sheet: FittingSheet | None, check: bool) -> Iterator[SheetRow]:
    yield heading_row(heading)
    if cause.unit:
        yield value_row("Size", cause.size_words)
    if cause.tied_with:
        yield value_row("Cannot be told from", "; ".join(cause.tied_with), role="check")
    yield value_row("Remedy", cause.remedy, role="plain")
    if cause.check and check:
        yield value_row("Check", cause.check, role="plain", key=_key_of(cause, sheet))
    for predicted in cause.predicts:
        yield text_row(predicted.sentence, "note", indent=2)
