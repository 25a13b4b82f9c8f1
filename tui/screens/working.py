"""How a number came about: the chain of formulas, the numbers put in, the results, the sources."""

from __future__ import annotations

from collections.abc import Iterator

from ...core.documents.working_sheet import amount_words
from ...core.errors import AfocalError
from ...core.formula import Step, Working
from ...core.plan.workings import explain
from ...core.sources import SOURCES
from ..messages import WorkingAsked
from ..view import View
from ..widgets.sheet import SheetRow, heading_row, text_row, value_row
from .dialogs import Page


def working_page(view: View, asked: WorkingAsked) -> Page:
    """The page for one number; a refusal is said instead."""
    title = f"Working: {asked.title.replace('_', ' ')}"
    if asked.configuration is None:
        return Page(title, [text_row("There is no option to explain.")])
    try:
        working = explain(
            view.case, view.stock, view.settings, asked.configuration, asked.goal_index, asked.quantity
        )
    except AfocalError as error:
        return Page(title, [text_row(str(error))])
    rows = list(chain_rows(working))
    return Page(title, rows or [text_row("This value was typed or set, not computed.", key="typed")])


def chain_rows(working: Working) -> Iterator[SheetRow]:
    """What was asked for first, then what it was made from; a value that was typed or set needs no formula."""
    steps = [step for step in reversed(working.steps) if step.formula.name != "as_recorded"]
    for number, step in enumerate(steps, 1):
        yield from step_rows(number, step)


def step_rows(number: int, step: Step) -> Iterator[SheetRow]:
    """One formula: its symbols, what was put in, what came out, where it is from."""
    formula = step.formula
    yield heading_row(f"{number}. {formula.name.replace('_', ' ')}")
    yield text_row(formula.symbols, "strong", key=f"{number}:symbols")
    for name, value in step.arguments().items():
        yield value_row(name.replace("_", " "), amount_words(value))
    yield value_row("result", amount_words(step.result), formula.unit, key=f"{number}:result")
    source = SOURCES.get(formula.source, formula.source)
    kind = formula.kind if not source else f"{formula.kind}: {source}"
    yield text_row(f"{kind}. Holds: {formula.domain}", "note")
