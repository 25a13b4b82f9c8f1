"""A list in columns: rows drawn as they are scrolled to, columns that drop by priority where it is narrow.

Sorting and searching are the owner's. Rows come as a sequence, or page by page from a function, so that a
hundred thousand cost no more than the ones on the screen.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Iterable, Sequence
from typing import ClassVar, Literal, NamedTuple

from rich.cells import cell_len
from textual.binding import Binding, BindingType

from ..safe_text import fit, fit_keeping_end, shown, wrap
from .drawn import Line, Piece
from .drawn_list import DrawnList

_MARKER = 2
_GAP = 2
_PAGE = 128
_PAGES_KEPT = 16


class Column(NamedTuple):
    """A column: `width` cells at least, all that is left when `flexible`; the lowest `priority` number stays
    longest, 0 always. `end_tells` when the last word of a text tells it from others and is not to be cut off."""

    key: str
    title: str
    width: int
    priority: int = 0
    align: Literal["left", "right"] = "left"
    flexible: bool = False
    short_title: str = ""
    end_tells: bool = False


class ListRow(NamedTuple):
    """A row: its key, one text a column, and where wanted one role a column."""

    key: str
    cells: tuple[str, ...]
    roles: tuple[str, ...] = ()


Fetch = Callable[[int, int], Sequence[ListRow]]
"""Gives the rows from a number on up to another, not included."""


def columns_that_fit(columns: Sequence[Column], width: int) -> list[tuple[int, int]]:
    """Which columns are shown in `width` cells, as (index, cells); the least important drop first."""
    shown_columns = list(range(len(columns)))
    while len(shown_columns) > 1:
        needed = _MARKER + sum(columns[index].width + _GAP for index in shown_columns) - _GAP
        droppable = [index for index in shown_columns if columns[index].priority > 0]
        if needed <= width or not droppable:
            break
        shown_columns.remove(max(droppable, key=lambda index: (columns[index].priority, index)))
    rest = width - _MARKER - sum(columns[index].width + _GAP for index in shown_columns) + _GAP
    flexible = next((index for index in shown_columns if columns[index].flexible), shown_columns[0])
    return [
        (index, max(1, columns[index].width + rest) if index == flexible else columns[index].width)
        for index in shown_columns
    ]


class ListTable(DrawnList):
    """See the module's first lines."""

    DEFAULT_CSS = """
    ListTable { background: $ground; }
    """

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("right", "column(1)", show=False, priority=True),
        Binding("left", "column(-1)", show=False, priority=True),
    ]

    def __init__(
        self,
        columns: Iterable[Column],
        rows: Iterable[ListRow] = (),
        *,
        empty: str = "",
        id: str | None = None,
        classes: str | None = None,
    ) -> None:
        super().__init__(id=id, classes=classes)
        self.columns = tuple(columns)
        self._layout_columns = columns_that_fit(self.columns, 80)
        given = list(rows)
        self._rows: list[ListRow | None] = [*given]
        self._make: Callable[[int], ListRow] = given.__getitem__
        self._keys = [row.key for row in given]
        self._index = {key: number for number, key in enumerate(self._keys)}
        self._fetch: Fetch | None = None
        self._count = len(self._rows)
        self._pages: OrderedDict[int, Sequence[ListRow]] = OrderedDict()
        self._column = 0
        self._empty = empty
        self._empty_lines = [shown(empty)]

    @property
    def empty(self) -> str:
        """Said when there is no row, in as many lines as it needs; assign to change it."""
        return self._empty

    @empty.setter
    def empty(self, words: str) -> None:
        if words != self._empty:
            self._empty = words
            if self.is_mounted:
                self.laid_out()

    # ---- rows in

    @property
    def rows(self) -> tuple[ListRow, ...]:
        """The rows given as a sequence; assign to change them, what differs is painted again."""
        return tuple(self.row(number) for number in range(len(self._rows)))

    @rows.setter
    def rows(self, rows: Iterable[ListRow]) -> None:
        given = list(rows)
        self.use_rows([row.key for row in given], given.__getitem__)

    def use_rows(self, keys: Sequence[str], make: Callable[[int], ListRow]) -> None:
        """Take rows known by their keys, each made by its number when it is first drawn or asked for.

        The caret stays on its key, or on its place; what differs of the rows in view is painted again.
        """
        key, marked = self.current_key, self.current
        before = self._shown_rows() if self._fetch is None else {}
        self._fetch = None
        self._make = make
        self._rows = [None] * len(keys)
        self._keys = list(keys)
        self._index = {row_key: number for number, row_key in enumerate(keys)}
        self._take_count(len(keys), same_source=True)
        self._current = self._index.get(key or "", min(self._current, max(0, self._count - 1)))
        self.show_current()
        after = self._shown_rows()
        for number in before.keys() | after.keys():
            if before.get(number) != after.get(number) or number in {marked, self.current}:
                self.repaint_lines(self.first_line(number))

    def _shown_rows(self) -> dict[int, ListRow]:
        """The rows in view, by number; none before the first layout."""
        if not self.extent.height:
            return {}
        last = min(self.top + self.visible_count, self._count)
        return {number: self.row(number) for number in range(self.top, last)}

    def use_source(self, count: int, fetch: Fetch, *, stay: bool = False) -> None:
        """Take `count` rows from a function, which is asked only for what is scrolled to.

        With `stay` the caret stays on the row of its key if that is still near (a row that moved to the top is
        found there), and only the lines that differ are painted; without, the caret goes to the first row.
        """
        stay = stay and self._fetch is not None and bool(self._count and count) and self.is_mounted
        key, at = (self.current_key, self.current) if stay else (None, 0)
        before = self._visible_rows() if stay else []
        self._fetch = fetch
        self._rows = []
        self._index = {}
        self._pages.clear()
        same = stay and count == self._count
        self._take_count(count, same_source=same)
        self._current = self._near(key, min(at, count - 1)) if key else 0
        if same:
            for line, (old, new) in enumerate(zip(before, self._visible_rows(), strict=True)):
                if old != new:
                    self.repaint_lines(self.first_line(self.top + line))
            for row in {at, self._current}:
                self.repaint_lines(self.first_line(row))
        self.show_current()

    def _visible_rows(self) -> list[ListRow]:
        return [self.row(n) for n in range(self.top, min(self.top + self.visible_count, self._count))]

    def _near(self, key: str, at: int) -> int:
        """The number of the row with a key, looked for on the page of `at` and on the first; else `at`."""
        for page in (at // _PAGE, 0):
            for number in range(page * _PAGE, min((page + 1) * _PAGE, self._count)):
                if self.row(number).key == key:
                    return number
        return at

    def _take_count(self, count: int, *, same_source: bool) -> None:
        changed = count != self._count
        self._count = count
        if not same_source or changed:
            self.refresh()
            self.scroll_to_line(self.top)

    def update_row(self, row: ListRow) -> bool:
        """Replace the row of the same key, painting its line again; false when it is not among the rows."""
        number = self._index.get(row.key)
        if number is None:
            return False
        if self._rows[number] != row:
            self._rows[number] = row
            self.repaint_lines(self.first_line(number))
        return True

    def row(self, index: int) -> ListRow:
        """A row by its number."""
        if self._fetch is None:
            found = self._rows[index]
            if found is None:
                found = self._rows[index] = self._make(index)
            return found
        page, within = divmod(index, _PAGE)
        if page not in self._pages:
            self._pages[page] = self._fetch(page * _PAGE, min((page + 1) * _PAGE, self._count))
            if len(self._pages) > _PAGES_KEPT:
                self._pages.popitem(last=False)
        self._pages.move_to_end(page)
        rows = self._pages[page]
        return rows[within] if within < len(rows) else ListRow("", ())

    def go_to(self, key: str) -> bool:
        """Put the caret on the row with a key; false when it is not among the rows given as a sequence."""
        index = self._index.get(key)
        if index is None:
            return False
        self.move_to(index)
        return True

    @property
    def column_key(self) -> str:
        """The key of the column on which the caret stands."""
        return self.columns[self._layout_columns[self._column][0]].key

    # ---- drawing

    @property
    def pinned_count(self) -> int:
        return 1 if any(column.title for column in self.columns) else 0

    @property
    def line_count(self) -> int:
        return self.pinned_count + (self._count or len(self._empty_lines))

    def lay_out(self) -> None:
        self._layout_columns = columns_that_fit(self.columns, self.text_width)
        self._empty_lines = wrap(shown(self._empty), self.text_width - _MARKER) or [""]
        self._column = min(self._column, len(self._layout_columns) - 1)

    def laid_out(self) -> None:
        """Other columns were given: lay out and paint again."""
        self.lay_out()
        self.refresh()

    def pieces(self, line: int) -> Line:
        if line < self.pinned_count:
            return self._header()
        if not self._count:
            return ((" " * _MARKER, "plain"), (self._empty_lines[line - self.pinned_count], "note"))
        index = line - self.pinned_count
        here = index == self.current
        row = self.row(index)
        mark = self.mark if here else " " * _MARKER
        pieces: list[Piece] = [(mark, "here" if here else "plain")]
        for number, (column, width) in enumerate(self._layout_columns):
            text = row.cells[column] if column < len(row.cells) else ""
            role = row.roles[column] if column < len(row.roles) else "plain"
            if here and self.has_focus:
                role = "picked-strong" if number == self._column else "picked"
            pieces.append((self._cell(shown(text), column, width), role or "plain"))
            if number < len(self._layout_columns) - 1:
                pieces.append((" " * _GAP, "picked" if here and self.has_focus else "plain"))
        return pieces

    def _cell(self, text: str, column: int, width: int) -> str:
        if self.columns[column].align == "right" and cell_len(text) < width:
            return " " * (width - cell_len(text)) + text
        return fit_keeping_end(text, width) if self.columns[column].end_tells else fit(text, width)

    def _header(self) -> Line:
        pieces: list[Piece] = [(" " * _MARKER, "plain")]
        for column, width in self._layout_columns:
            title = shown(self.columns[column].title)
            if cell_len(title) > width and self.columns[column].short_title:
                title = shown(self.columns[column].short_title)
            pieces += [(self._cell(title, column, width), "heading"), (" " * _GAP, "plain")]
        return pieces[:-1]

    # ---- rows as the list sees them

    @property
    def row_count(self) -> int:
        return self._count

    def key_of(self, index: int) -> str:
        return self._keys[index] if self._fetch is None else self.row(index).key

    def first_line(self, index: int) -> int:
        return index + self.pinned_count

    def last_line(self, index: int) -> int:
        return index + self.pinned_count

    def row_at_line(self, line: int) -> int:
        return min(max(0, line - self.pinned_count), self._count - 1)

    def caret_cell(self, index: int) -> tuple[int, int]:
        """On the cell of the column the caret is in; in a right-aligned one on the first sign of the text."""
        x = _MARKER
        for number, (column, width) in enumerate(self._layout_columns):
            if number == self._column:
                row = self.row(index)
                text = shown(row.cells[column]) if column < len(row.cells) else ""
                if self.columns[column].align == "right":
                    x += max(0, width - max(1, cell_len(text)))
                break
            x += width + _GAP
        return x, self.first_line(index)

    def action_column(self, direction: int) -> None:
        """To the next column shown, or the one before."""
        column = min(max(0, self._column + direction), len(self._layout_columns) - 1)
        if column != self._column:
            self._column = column
            self._repaint_current()
            if self.current_key is not None:
                self.post_message(self.RowFocused(self, self.current_key))
