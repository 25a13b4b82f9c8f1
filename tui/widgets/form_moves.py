"""How the caret of a form goes from row to row: by key, by name, by what a row lacks. Headings are no stops."""

from __future__ import annotations

from collections.abc import Callable

from textual.widget import Widget

from .form_body import FormBody
from .rows import Row


class FormMoves(Widget):
    """The moves; the form that derives from it accepts what was typed before each, and arrives on the row."""

    body: FormBody
    _index: int

    def accept(self) -> None:
        """Accept what was typed."""
        raise AssertionError("the form has it")

    def _go(self, index: int) -> None:
        raise AssertionError("the form has it")

    def go_to(self, key: str) -> bool:
        """Accept what was typed and go to the row `key`; false when there is none."""
        for index, row in enumerate(self.body.rows):
            if row.key == key and not row.heading:
                self._go(index)
                return True
        return False

    def next_unfilled(self) -> bool:
        """Go to the next row without a value; false when every row has one."""
        return self._next(lambda row: not row.text.strip())

    def next_assumed(self) -> bool:
        """Go to the next row with an assumed or carried-over value."""
        return self._next(lambda row: row.status in ("assumed", "carried over"))

    def next_error(self) -> bool:
        """Go to the next row with an error."""
        return self._next(lambda row: bool(row.error))

    def _next(self, wanted: Callable[[Row], bool]) -> bool:
        self.accept()
        rows = self.body.rows
        for step in range(1, len(rows) + 1):
            index = (self._index + step) % len(rows)
            if not rows[index].heading and wanted(rows[index]):
                self._go(index)
                return True
        return False

    def _first_stop(self, start: int, step: int) -> int:
        """The first row from `start` on, in the direction of `step`, that is no heading; -1 when none."""
        index = start
        while 0 <= index < len(self.body.rows):
            if not self.body.rows[index].heading:
                return index
            index += step
        return -1

    # ---- called by the live field

    def step(self, direction: int, *, leave: bool = False) -> None:
        """One row on or back; past the ends to the next widget when `leave`, else stay."""
        self.accept()
        index = self._first_stop(self._index + direction, direction)
        if index >= 0:
            self._go(index)
            return
        if leave:
            before = self.screen.focused
            after = self.screen.focus_next() if direction > 0 else self.screen.focus_previous()
            if after is before or after is None:
                self._go(self._first_stop(0 if direction > 0 else len(self.body.rows) - 1, direction))

    def page(self, direction: int) -> None:
        """About one screen on or back."""
        body = self.body
        if not body.rows or self._index < 0:
            return
        target = body.field_line(self._index) + direction * max(1, body.visible_count - 2)
        index = body.row_at(min(max(0, target), body.line_count - 1))
        found = self._first_stop(index, direction)
        self._go(found if found >= 0 else self._first_stop(index, -direction))

    def edge(self, direction: int) -> None:
        """To the last row (1) or the first (-1)."""
        self._go(self._first_stop(len(self.body.rows) - 1 if direction > 0 else 0, -direction))
