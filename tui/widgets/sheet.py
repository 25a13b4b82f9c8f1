"""A sheet: text and numbers to read, row by row, with a caret, so that each number can be asked for its
working.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable
from dataclasses import dataclass

from rich.cells import cell_len

from ..safe_text import shown, wrap
from ..signs import current_signs
from .drawn import Line, Piece, changed_cells
from .drawn_list import DrawnList

_MARKER = 2


@dataclass(frozen=True)
class SheetRow:
    """One row of a sheet: parts of text in their roles, wrapped as one paragraph.

    `key` names what the row tells (a computed quantity, a record), "" for nothing; `caret_part` is the part on
    which the caret stands; `indent` and `hanging` are the cells before the first line and before the lines
    that follow; an empty row and a heading are no stops.
    """

    parts: tuple[tuple[str, str], ...] = ()
    key: str = ""
    caret_part: int = 0
    indent: int = 0
    hanging: int = 2
    heading: bool = False

    @property
    def is_stop(self) -> bool:
        """True when the caret may stand on the row."""
        return not self.heading and any(text.strip() for text, _ in self.parts)


def text_row(text: str, role: str = "plain", *, key: str = "", indent: int = 0) -> SheetRow:
    """A row of one text."""
    return SheetRow(((text, role),), key=key, indent=indent)


def heading_row(text: str) -> SheetRow:
    """A heading with a line behind it."""
    return SheetRow(((text, "heading"),), heading=True)


def value_row(
    label: str, value: str, unit: str = "", note: str = "", *, key: str = "", role: str = "strong"
) -> SheetRow:
    """A row `label: value unit  note`, with the caret on the value."""
    parts = [(f"{label}: ", "label"), (value, role)]
    if unit:
        parts.append((f" {unit}", "unit"))
    if note:
        parts.append((f"  {note}", "note"))
    return SheetRow(tuple(parts), key=key, caret_part=1)


@dataclass(frozen=True)
class _Laid:
    lines: tuple[tuple[Piece, ...], ...]
    caret: tuple[int, int]


def lay_out_row(row: SheetRow, width: int) -> _Laid:
    """Wrap a row into lines of at most `width` cells; `caret` is column and line of its caret."""
    if row.heading:
        return _lay_out_heading(row, width)
    start = _MARKER + row.indent
    blank: Piece = (" " * start, "plain")
    parts = [(shown(raw), role) for raw, role in row.parts]
    if start + sum(_cells(text) for text, _ in parts) <= width:
        return _on_one_line(parts, row.caret_part, blank)
    lines: list[list[Piece]] = [[blank]]
    used = start
    hanging = min(start + row.hanging, max(_MARKER, width // 2))
    caret = (used, 0)
    for number, (text, role) in enumerate(parts):
        is_caret = number == row.caret_part
        for word in _words(text):
            size = _cells(word)
            if used + len(word.rstrip()) > width and used > hanging:
                lines.append([(" " * hanging, "plain")])
                used = hanging
                word = word.lstrip()
                size = _cells(word)
            for piece in wrap(word, width - used) if used + size > width else (word,):
                cells = size if piece is word else _cells(piece)
                if used + cells > width:
                    lines.append([(" " * hanging, "plain")])
                    used = hanging
                if is_caret and piece.strip():
                    caret, is_caret = (used + len(piece) - len(piece.lstrip()), len(lines) - 1), False
                _append(lines[-1], piece, role)
                used += cells
    return _Laid(tuple(tuple(line) for line in lines), caret)


def _cells(text: str) -> int:
    """The cells of a text that has been made safe; most are plain ASCII, one cell a letter."""
    return len(text) if text.isascii() else cell_len(text)


def _on_one_line(parts: list[tuple[str, str]], caret_part: int, blank: Piece) -> _Laid:
    """A row that needs no wrapping."""
    line = [blank]
    used, caret = len(blank[0]), (len(blank[0]), 0)
    for number, (text, role) in enumerate(parts):
        if number == caret_part and text.strip():
            caret = (used + len(text) - len(text.lstrip()), 0)
        if text:
            _append(line, text, role)
        used += _cells(text)
    return _Laid((tuple(line),), caret)


def _append(line: list[Piece], text: str, role: str) -> None:
    """Add to a line, joined to the piece before when the role is the same."""
    if len(line) > 1 and line[-1][1] == role:
        line[-1] = (line[-1][0] + text, role)
    else:
        line.append((text, role))


def _words(text: str) -> list[str]:
    """The words of a text, each with the blanks before it."""
    words: list[str] = []
    start = 0
    for index in range(1, len(text)):
        if text[index] == " " and text[index - 1] != " ":
            words.append(text[start:index])
            start = index
    return [*words, text[start:]] if text else words


def _lay_out_heading(row: SheetRow, width: int) -> _Laid:
    rule = current_signs().rule
    text = shown(row.parts[0][0])
    lines: list[tuple[Piece, ...]] = []
    for number, part in enumerate(wrap(text, max(1, width - 4))):
        tail = rule * max(0, width - cell_len(part) - 4)
        head = rule * 2 if number == 0 else "  "
        lines.append(((head + " ", "rule"), (part, "heading"), (" " + tail if number == 0 else "", "rule")))
    return _Laid(tuple(lines), (3, 0))


class Sheet(DrawnList):
    """See the module's first line. Assign `rows`; only lines that differ are painted again."""

    DEFAULT_CSS = """
    Sheet { background: $ground; }
    """

    def __init__(
        self, rows: Iterable[SheetRow] = (), *, id: str | None = None, classes: str | None = None
    ) -> None:
        super().__init__(id=id, classes=classes)
        self._rows = tuple(rows)
        self._laid: list[_Laid] = []
        self._starts: list[int] = []
        self._lines: list[tuple[Piece, ...]] = []
        self._kept: dict[SheetRow, _Laid] = {}
        self._kept_width = 0
        self._marked_line = 0
        self._current = max(0, self._stop(0, 1))

    @property
    def rows(self) -> tuple[SheetRow, ...]:
        """The rows; assign to change them. The caret stays on its key, or on its place."""
        return self._rows

    @rows.setter
    def rows(self, rows: Iterable[SheetRow]) -> None:
        new = tuple(rows)
        if new == self._rows:
            return
        key = self.current_key
        self._marked_line = self.first_line(self.current) if self.current >= 0 else 0
        self._rows = new
        keys = [row.key for row in new]
        at = keys.index(key) if key and key in keys else min(self._current, len(new) - 1)
        found = self._stop(max(0, at), 1)
        self._current = max(0, found if found >= 0 else self._stop(at, -1))
        if self.is_mounted:
            self._repaint_difference()

    def _repaint_difference(self) -> None:
        before = self._lines
        count, edges, marked = len(before), self.edges(), self._marked_line
        if not self.ensure_laid_out():
            self.lay_out()
        if len(self._lines) != count:
            self.scroll_to_line(self.top)
            if len(self._lines) < count:
                self.repaint_lines(len(self._lines), count - len(self._lines))
        for number, line in enumerate(self._lines):
            if number >= count:
                self.repaint_lines(number)
            elif line != before[number]:
                x, width = changed_cells(before[number], line)
                self.repaint_lines(number, x=x, width=width)
        if self.current >= 0 and self.first_line(self.current) != marked:
            self.repaint_lines(marked, width=_MARKER)
            self.repaint_lines(self.first_line(self.current), width=_MARKER)
        self.repaint_edges(edges)
        self.show_current()

    def lay_out(self) -> None:
        width = self.text_width
        # Most rows of a new view are those of the last one.
        kept = self._kept if self._kept_width == width else {}
        self._kept = {row: kept.get(row) or lay_out_row(row, width) for row in self._rows}
        self._kept_width = width
        self._laid = [self._kept[row] for row in self._rows]
        self._starts = []
        self._lines = []
        for laid in self._laid:
            self._starts.append(len(self._lines))
            self._lines += laid.lines

    @property
    def line_count(self) -> int:
        return len(self._lines)

    def pieces(self, line: int) -> Line:
        index = self.row_at_line(line)
        pieces = self._lines[line]
        if index == self.current and self.is_stop(index) and line == self._starts[index]:
            blanks = pieces[0][0][_MARKER:]
            return ((self.mark, "here"), (blanks, "plain"), *pieces[1:])
        return pieces

    @property
    def row_count(self) -> int:
        return len(self._rows)

    def key_of(self, index: int) -> str:
        return self._rows[index].key

    def is_stop(self, index: int) -> bool:
        return self._rows[index].is_stop

    def first_line(self, index: int) -> int:
        return self._starts[index] if index < len(self._starts) else 0

    def last_line(self, index: int) -> int:
        return self.first_line(index) + (len(self._laid[index].lines) - 1 if index < len(self._laid) else 0)

    def row_at_line(self, line: int) -> int:
        return max(0, bisect_right(self._starts, line) - 1)

    def caret_cell(self, index: int) -> tuple[int, int]:
        if index >= len(self._laid):
            return _MARKER, 0
        x, line = self._laid[index].caret
        return x, self._starts[index] + line

    @property
    def current_label(self) -> str:
        """What stands before the value under the caret, "" for a row of words."""
        row = self._rows[self.current] if self.current >= 0 else None
        return row.parts[0][0].strip(" :") if row is not None and row.caret_part else ""

    def go_to(self, key: str) -> bool:
        """Put the caret on the row with a key; false when there is none."""
        for index, row in enumerate(self._rows):
            if row.key == key and row.is_stop:
                self.move_to(index)
                return True
        return False

    def go_below(self, index: int) -> None:
        """Put the caret on the first stop from a row on, that row at the top as far as there are lines."""
        self.move_to(self._stop(index, 1))
        self.scroll_to_line(self.first_line(index))
