"""A drawn widget with a caret that goes from row to row: what sheets and tables have in common."""

from __future__ import annotations

from typing import ClassVar, Self

from textual import events
from textual.binding import Binding, BindingType
from textual.geometry import Offset
from textual.message import Message

from ..quiet import focus_at_once
from ..signs import current_signs
from .drawn import Drawn


class DrawnList(Drawn, can_focus=True):
    """Rows are numbered from 0; a row may take several lines. A subclass says where each begins."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("down", "step(1)", show=False, priority=True),
        Binding("up", "step(-1)", show=False, priority=True),
        Binding("pagedown", "page(1)", show=False, priority=True),
        Binding("pageup", "page(-1)", show=False, priority=True),
        Binding("home,ctrl+home", "edge(-1)", show=False, priority=True),
        Binding("end,ctrl+end", "edge(1)", show=False, priority=True),
        Binding("enter", "choose", show=False, priority=True),
    ]

    class RowFocused(Message):
        """The caret came to another row."""

        def __init__(self, sender_list: DrawnList, key: str) -> None:
            super().__init__()
            self.sender_list, self.key = sender_list, key

        @property
        def control(self) -> DrawnList:
            return self.sender_list

    class RowChosen(Message):
        """Enter was pressed on a row."""

        def __init__(self, sender_list: DrawnList, key: str) -> None:
            super().__init__()
            self.sender_list, self.key = sender_list, key

        @property
        def control(self) -> DrawnList:
            return self.sender_list

    def __init__(self, *, id: str | None = None, classes: str | None = None) -> None:
        super().__init__(id=id, classes=classes)
        self._current = 0

    # ---- what a subclass gives

    @property
    def row_count(self) -> int:
        """How many rows there are."""
        raise NotImplementedError

    def key_of(self, index: int) -> str:
        """The key of a row."""
        raise NotImplementedError

    def first_line(self, index: int) -> int:
        """The first line of a row, counted over all lines with the pinned ones."""
        raise NotImplementedError

    def last_line(self, index: int) -> int:
        """The last line of a row."""
        raise NotImplementedError

    def row_at_line(self, line: int) -> int:
        """The row to which a line belongs."""
        raise NotImplementedError

    def is_stop(self, index: int) -> bool:
        """True when the caret may stand on the row."""
        return True

    def caret_cell(self, index: int) -> tuple[int, int]:
        """Column and line of the cell on which the caret stands in a row."""
        return 2, self.first_line(index)

    # ---- where the caret is

    @property
    def current(self) -> int:
        """The row on which the caret stands; -1 when there is none."""
        return self._current if self._current < self.row_count else self.row_count - 1

    @property
    def current_key(self) -> str | None:
        """The key of that row."""
        return self.key_of(self.current) if self.current >= 0 else None

    def caret_screen_offset(self) -> Offset:
        """The screen cell on which the terminal's cursor belongs."""
        if self.current < 0:
            # On the words that stand there instead of rows.
            return self.content_region.offset + Offset(2, min(self.pinned_count, self.extent.height - 1))
        x, line = self.caret_cell(self.current)
        y = min(max(self.row_of(line), self.pinned_count), self.extent.height - 1)
        return self.content_region.offset + Offset(x, y)

    def move_to(self, index: int) -> None:
        """Put the caret on a row, in view."""
        if not 0 <= index < self.row_count:
            return
        before = self.current
        self._current = index
        for row in {before, index}:
            if 0 <= row < self.row_count:
                first = self.first_line(row)
                self.repaint_lines(first, self.last_line(row) - first + 1)
        self.show_current()
        if before != index:
            self.post_message(self.RowFocused(self, self.key_of(index)))

    def show_current(self) -> None:
        """Scroll the row of the caret into view; with the first row, whatever stands above it."""
        if self.current < 0:
            return
        pinned = self.pinned_count
        if self._stop(0, 1) == self.current:
            self.keep_in_view(0)
        self.keep_in_view(self.first_line(self.current) - pinned, self.last_line(self.current) - pinned)

    def _stop(self, start: int, step: int) -> int:
        index = start
        while 0 <= index < self.row_count:
            if self.is_stop(index):
                return index
            index += step
        return -1

    # ---- keys

    def action_step(self, direction: int) -> None:
        """One row on or back; a row taller than the screen is scrolled through first."""
        if self.current >= 0 and not self._scrolled_within(direction):
            following = self._stop(self.current + direction, direction)
            if following >= 0:
                self.move_to(following)
            else:
                self.scroll_to_line(self.line_count if direction > 0 else 0)

    def _scrolled_within(self, direction: int) -> bool:
        """Whether the row of the caret goes on beyond the screen that way, and was scrolled by about a screen."""
        height = self.visible_count
        bottom = self.top + self.pinned_count + height - 1
        below = direction > 0 and self.last_line(self.current) > bottom
        above = direction < 0 and self.first_line(self.current) < self.top + self.pinned_count
        if below or above:
            self.scroll_to_line(self.top + direction * max(1, height - 1))
        return below or above

    def action_page(self, direction: int) -> None:
        """About one screen on or back, through a row that is taller than the screen as well."""
        if self.current < 0 or self._scrolled_within(direction):
            return
        step = max(1, self.visible_count - 1)
        line = self.first_line(self.current) + direction * step
        index = self.row_at_line(min(max(self.pinned_count, line), self.line_count - 1))
        found = self._stop(index, direction)
        self.move_to(found if found >= 0 else self._stop(index, -direction))

    def action_edge(self, direction: int) -> None:
        """To the first row or the last."""
        self.move_to(self._stop(self.row_count - 1 if direction > 0 else 0, -direction))
        if direction > 0:
            self.scroll_to_line(self.line_count)

    def action_choose(self) -> None:
        if self.current >= 0:
            self.post_message(self.RowChosen(self, self.key_of(self.current)))

    # ---- events

    def focus(self, scroll_visible: bool = True) -> Self:
        return self if focus_at_once(self, scroll_visible) else super().focus(scroll_visible)

    def on_resize(self) -> None:
        self.ensure_laid_out()
        self.show_current()

    @property
    def mark(self) -> str:
        """The sign in front of the row of the caret."""
        return (current_signs().here if self.has_focus else current_signs().rests) + " "

    def on_focus(self) -> None:
        self._repaint_current()

    def on_blur(self) -> None:
        self._repaint_current()

    def _repaint_current(self) -> None:
        if self.current >= 0:
            first = self.first_line(self.current)
            self.repaint_lines(first, self.last_line(self.current) - first + 1)

    def on_click(self, event: events.Click) -> None:
        line = self.line_at(event.y)
        if self.pinned_count <= line < self.line_count:
            index = self.row_at_line(line)
            if self.is_stop(index):
                self.move_to(index)
