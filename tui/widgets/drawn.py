"""The base of every drawn widget: lines of styled pieces, scrolled by whole lines, painted cell by cell.

A drawn widget has no children for its rows and no framework layout inside. It says how many lines there are
and of which pieces a line is made; this class paints the visible ones, keeps the focused line in view,
marks with a sign at the right edge that there is more above or below, and repaints only the lines asked
for.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from rich.cells import cell_len
from rich.segment import Segment
from rich.style import Style
from textual import events
from textual.geometry import Offset, Region, Size
from textual.reactive import Reactive
from textual.strip import Strip
from textual.widget import Widget

from ..quiet import quiet_size
from ..signs import current_signs
from .roles import styles_for

Piece = tuple[str, str]
"""A text that has been made safe, and the role in which it is drawn."""
Line = Sequence[Piece]


def line_width(line: Line) -> int:
    """The cells that a line takes."""
    return sum(cell_len(text) for text, _ in line)


def changed_cells(old: Line, new: Line) -> tuple[int, int]:
    """The first cell in which two lines differ, and how many cells from there on may differ."""
    x = 0
    for (text, role), after in zip(old, new, strict=False):
        if (text, role) != after:
            break
        x += cell_len(text)
    return x, max(line_width(old), line_width(new)) - x


class Drawn(Widget):
    """See the module's first lines; a subclass gives `line_count` and `pieces`."""

    DEFAULT_CSS = """
    Drawn { width: 1fr; height: 1fr; background: $background; }
    """

    virtual_size: Reactive[Size] = quiet_size()

    edge_width = 2
    """cells at the right edge kept free: a blank and the sign "more above" or "more below"; 0 for none"""

    base_role = "plain"
    """the role of blank cells"""
    edge_role = "edge"
    """the role of the signs at the right edge"""

    def __init__(self, *, name: str | None = None, id: str | None = None, classes: str | None = None) -> None:
        super().__init__(name=name, id=id, classes=classes)
        self._top = 0
        self._laid_width = -1

    # ---- what a subclass gives

    @property
    def line_count(self) -> int:
        """How many lines there are in all."""
        raise NotImplementedError

    def pieces(self, line: int) -> Line:
        """The pieces of one line, numbered from 0 over all lines."""
        raise NotImplementedError

    def lay_out(self) -> None:
        """Prepare the lines for `text_width` cells; called before the first painting and in every new width."""

    @property
    def pinned_count(self) -> int:
        """Lines at the top that stay when the rest scrolls; line numbers go through them first."""
        return 0

    # ---- scrolling by lines

    @property
    def extent(self) -> Size:
        """The cells of the widget, the last known ones while it is hidden.

        A drawn widget has neither border nor padding, so this is its `size`, for which the framework searches the
        whole screen: too slow to ask for in each line.
        """
        return self.outer_size

    @property
    def top(self) -> int:
        """The first scrolled line on the screen, counted after the pinned ones."""
        return self._top

    @property
    def text_width(self) -> int:
        """Cells available for a line; before the first layout as many as the whole screen would give."""
        return max(1, (self.extent.width or self.app.size.width) - self.edge_width)

    @property
    def visible_count(self) -> int:
        """Scrolled lines that fit on the screen."""
        return max(1, (self.extent.height or self.app.size.height) - self.pinned_count)

    def ensure_laid_out(self) -> bool:
        """Lay out if the width has changed: early enough for the first frame to be complete; true when it had."""
        width = self.text_width
        if width == self._laid_width:
            return False
        self._laid_width = width
        self.lay_out()
        return True

    def scroll_to_line(self, top: int) -> bool:
        """Make `top` the first scrolled line, as far as there are lines; true when something moved."""
        last = max(0, self.line_count - self.pinned_count - self.visible_count)
        top = min(max(0, top), last)
        if top == self._top:
            return False
        self._top = top
        self.refresh()
        return True

    def keep_in_view(self, first: int, last: int | None = None) -> bool:
        """Scroll so that scrolled lines `first` to `last` are visible, `first` in any case.

        A jump goes by a third of the height, so that a walk down the rows repaints the whole now and then
        instead of at every step.
        """
        last = first if last is None else max(first, last)
        height = self.visible_count
        margin = height // 3
        if first < self._top:
            return self.scroll_to_line(first - min(margin, height - 1))
        if last >= self._top + height:
            return self.scroll_to_line(min(first, last - height + 1 + margin))
        return False

    def line_at(self, y: int) -> int:
        """The line number shown at widget row `y`."""
        return y if y < self.pinned_count else y + self._top

    def row_of(self, line: int) -> int:
        """The widget row at which a line is shown; may lie outside the widget."""
        return line if line < self.pinned_count else line - self._top

    def cell_on_screen(self, x: int, line: int) -> Offset:
        """Screen coordinates of a cell of a line."""
        return self.content_region.offset + Offset(x, self.row_of(line))

    # ---- painting

    def repaint_lines(self, first: int, count: int = 1, x: int = 0, width: int | None = None) -> None:
        """Repaint lines, or a part of their width; lines out of view cost nothing."""
        height = self.extent.height
        start = max(self.row_of(first), self.pinned_count if first >= self.pinned_count else 0)
        end = min(self.row_of(first + count - 1) + 1, height)
        if end > start:
            self.refresh(Region(x, start, self.extent.width - x if width is None else width, end - start))

    def role(self, name: str) -> Style:
        """The style of a role under the theme in use."""
        return styles_for(self.app.theme_variables)[name]

    def render_line(self, y: int) -> Strip:
        self.ensure_laid_out()
        line = self.line_at(y)
        width = self.extent.width
        pieces = self.pieces(line) if line < self.line_count else ()
        return self._strip(pieces, width, self._edge(y))

    def edges(self) -> tuple[str, str]:
        """The signs at the right edge of the first scrolled row and of the last."""
        return self._edge(self.pinned_count), self._edge(self.extent.height - 1)

    def repaint_edges(self, before: tuple[str, str]) -> None:
        """Repaint the signs at the right edge that are others than ``before``."""
        for y, old in zip((self.pinned_count, self.extent.height - 1), before, strict=True):
            if self._edge(y) != old:
                self.refresh(Region(max(0, self.extent.width - 1), y, 1, 1))

    def _edge(self, y: int) -> str:
        """The sign at the right edge of widget row `y`."""
        if not self.edge_width:
            return ""
        if y == self.pinned_count and self._top > 0:
            return current_signs().above
        below = self.line_count - self.pinned_count - self._top > self.visible_count
        return current_signs().below if below and y == self.extent.height - 1 else ""

    def _strip(self, pieces: Iterable[Piece], width: int, edge: str) -> Strip:
        """Pieces to a strip of exactly `width` cells; neighbours of one style are joined, to send fewer bytes."""
        styles = styles_for(self.app.theme_variables)
        base = styles[self.base_role]
        segments = [Segment(text, styles[name]) for text, name in pieces if text]
        strip = Strip(segments).adjust_cell_length(max(0, width - self.edge_width), base)
        if self.edge_width:
            blank = Segment(" " * (self.edge_width - 1), base)
            sign = Segment(edge or " ", styles[self.edge_role] if edge else base)
            strip = Strip([*strip, blank, sign], width)
        return strip.simplify()

    # ---- mouse wheel; everything else is for the keyboard

    def on_mouse_scroll_down(self, event: events.MouseScrollDown) -> None:
        event.stop()
        self.wheel(3)

    def on_mouse_scroll_up(self, event: events.MouseScrollUp) -> None:
        event.stop()
        self.wheel(-3)

    def wheel(self, lines: int) -> None:
        """Scroll by the wheel."""
        self.scroll_to_line(self._top + lines)
