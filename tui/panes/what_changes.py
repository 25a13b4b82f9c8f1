"""What would change the answer, worked out in a thread: it takes some tenths of a second, and keys must not wait."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial

from ...core.case import Case
from ...core.configuration import Configuration
from ...core.errors import AfocalError
from ...core.plan.types import Option, Sensitivity
from ..view import View
from ..widgets.sheet import SheetRow, text_row

KEY = "sensitivity"
_ASK = "Enter here: how far each input may move before the answer changes"
_TRYING = "Each input is tried; the answer comes in a moment"

Tell = Callable[..., None]


class WhatChanges:
    """The rows for one option: the offer, the word that it is worked on, then the answer.

    ``run`` runs a function in a thread; ``teller`` gives what has something done by the screen's thread, and is asked
    for in that thread; ``arrived`` is called there when other rows are to be shown. What was asked for is asked again
    when the case changes.
    """

    def __init__(
        self,
        teller: Callable[[], Tell],
        run: Callable[[Callable[[], None]], object],
        arrived: Callable[[], None],
    ) -> None:
        self._teller, self._run, self._arrived = teller, run, arrived
        self._asked: Configuration | None = None
        self._about: tuple[Case, Configuration] | None = None
        self._rows: tuple[SheetRow, ...] | None = None

    def ask(self, option: Option) -> None:
        """From now on the answer is wanted for this option."""
        self._asked = option.configuration

    def rows(self, view: View, option: Option) -> Sequence[SheetRow]:
        """What can be shown now; the answer is set about when it is wanted and not there."""
        if self._asked != option.configuration:
            return (text_row(_ASK, key=KEY),)
        about = (view.case, option.configuration)
        if self._about is None or self._about[0] is not view.case or self._about[1] != option.configuration:
            self._about, self._rows = about, None
            self._run(partial(self._work, view, about, self._teller()))
        return self._rows if self._rows is not None else (text_row(_TRYING, key=KEY),)

    def _work(self, view: View, about: tuple[Case, Configuration], tell: Tell) -> None:
        """In the thread: given up as soon as something else is asked."""
        from ...core.plan.sensitivity import in_order, sensitivity_one_by_one

        found: list[Sensitivity] = []
        try:
            for item in sensitivity_one_by_one(view.case, view.stock, view.settings, about[1]):
                if self._about is not about:
                    return
                found.append(item)
            rows = answer_rows(in_order(found))
        except AfocalError as error:
            rows = (text_row(str(error), "error", key=KEY),)
        tell(self._take, about, rows)

    def _take(self, about: tuple[Case, Configuration], rows: tuple[SheetRow, ...]) -> None:
        if self._about is about:
            self._rows = rows
            self._arrived()


def answer_rows(found: Sequence[Sensitivity]) -> tuple[SheetRow, ...]:
    """What to measure next, then each input in a sentence; the caret that asked stands on the first."""
    from ...core.plan.sensitivity import measure_next

    first = measure_next(found)
    lines = [] if first is None else [(f"Measure next: {first.sentence}", "strong")]
    lines += [(item.sentence, "plain") for item in found if item is not first]
    if not lines:
        lines = [("Record a goal first: what would change the answer is told for a goal.", "plain")]
    return tuple(
        text_row(words, role, key="" if number else KEY) for number, (words, role) in enumerate(lines)
    )
