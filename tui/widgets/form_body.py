"""The painted part of a form: every row in its lines, and the marker of the focused one."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable

from textual import events

from ..signs import current_signs
from .drawn import Drawn, Line, changed_cells
from .rows import Columns, DrawnRow, Row, columns_for, draw_row


class FormBody(Drawn):
    """Knows rows and lines, not the live field; its form is told of wheel and click by two functions."""

    def __init__(self, wheel_moved: Callable[[], None], line_clicked: Callable[[int], None]) -> None:
        super().__init__()
        self._wheel_moved = wheel_moved
        self._line_clicked = line_clicked
        self.rows: tuple[Row, ...] = ()
        self.current = -1
        self.focus_is_here = False
        self.columns: Columns = columns_for((), 80)
        self.drawn: list[DrawnRow] = []
        self.starts: list[int] = []
        self._count = 0

    @property
    def line_count(self) -> int:
        return self._count

    def lay_out(self) -> None:
        """Lay out all rows for the present width."""
        self.columns = columns_for(self.rows, self.text_width)
        self.drawn = [
            draw_row(row, self.columns, is_current=index == self.current)
            for index, row in enumerate(self.rows)
        ]
        self._number()

    def _number(self) -> None:
        self.starts = []
        count = 0
        for drawn in self.drawn:
            self.starts.append(count)
            count += len(drawn.lines)
        self._count = count

    def redraw_row(self, index: int, row: Row) -> bool:
        """Lay out one row again and repaint it; false when the lines of the rows after it have moved."""
        before = self.drawn[index]
        after = draw_row(row, self.columns, is_current=index == self.current)
        self.drawn[index] = after
        if len(after.lines) != len(before.lines):
            self._number()
            self.refresh()
            return False
        start = self.starts[index]
        for number, (old, new) in enumerate(zip(before.lines, after.lines, strict=True)):
            if old != new:
                x, width = changed_cells(old, new)
                self.repaint_lines(start + number, x=x, width=width)
        return True

    def row_at(self, line: int) -> int:
        """The index of the row to which a line belongs."""
        return bisect_right(self.starts, line) - 1

    def field_line(self, index: int) -> int:
        """The line of the row's field."""
        return self.starts[index] + self.drawn[index].field_line

    def mark(self, index: int) -> None:
        """Move the marker to a row, and the words to choose from with it."""
        left, self.current = self.current, index
        for at in {left, index}:
            if 0 <= at < len(self.drawn):
                self.repaint_lines(self._mark_line(at), width=2)
                if self.rows[at].choices:
                    self.redraw_row(at, self.rows[at])

    def _mark_line(self, index: int) -> int:
        multiline = self.rows[index].multiline
        return self.starts[index] if multiline else self.field_line(index)

    def pieces(self, line: int) -> Line:
        index = self.row_at(line)
        pieces = self.drawn[index].lines[line - self.starts[index]]
        if index == self.current and line == self._mark_line(index):
            sign = current_signs().here if self.focus_is_here else current_signs().rests
            return ((sign + " ", "here"), *pieces[1:])
        return pieces

    def wheel(self, lines: int) -> None:
        super().wheel(lines)
        self._wheel_moved()

    def on_click(self, event: events.Click) -> None:
        event.stop()
        if self.rows:
            self._line_clicked(self.line_at(event.y))
