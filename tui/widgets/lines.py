"""The lines with a fixed place: the answer, the last message, the keys."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable
from datetime import datetime
from typing import ClassVar, Literal, NamedTuple

from rich.cells import cell_len
from textual.binding import Binding, BindingType
from textual.geometry import Offset

from ..safe_text import fit, shown, wrap
from ..signs import current_signs
from .drawn import Drawn, Line, Piece

_WIDE = 150
_KEPT = 100


class AnswerLine(Drawn, can_focus=True):
    """The best option in words, at one fixed place: two lines, one where it is wide, scrolled by Up and Down."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("down", "scroll_lines(1)", show=False, priority=True),
        Binding("up", "scroll_lines(-1)", show=False, priority=True),
    ]

    DEFAULT_CSS = """
    AnswerLine { height: 1; background: $answer-ground; }
    """

    base_role = "answer"
    edge_role = "answer"

    def __init__(self, text: str = "", *, id: str | None = None, classes: str | None = None) -> None:
        super().__init__(id=id, classes=classes)
        self._text = text
        self._lines: list[str] = []

    @property
    def text(self) -> str:
        """The sentence; assign to change it."""
        return self._text

    @text.setter
    def text(self, text: str) -> None:
        if text == self._text:
            return
        self._text = text
        before, count, edges = self._lines, len(self._lines), self.edges()
        self.lay_out()
        if not self.scroll_to_line(0):
            for number in range(max(count, len(self._lines))):
                if before[number : number + 1] != self._lines[number : number + 1]:
                    self.repaint_lines(number)
            self.repaint_edges(edges)

    def lay_out(self) -> None:
        self._lines = wrap(shown(self._text), self.text_width - 2)

    @property
    def line_count(self) -> int:
        return len(self._lines)

    def pieces(self, line: int) -> Line:
        here = line == self.top and self.has_focus
        mark = current_signs().here if here else " "
        return ((mark + " ", "answer"), (fit(self._lines[line], self.text_width - 2), "answer"))

    def on_mount(self) -> None:
        self._take_height()

    def on_resize(self) -> None:
        self._take_height()
        self.ensure_laid_out()
        self.scroll_to_line(self.top)

    def _take_height(self) -> None:
        self.styles.height = 2 if self.text_width < _WIDE else 1

    def caret_screen_offset(self) -> Offset:
        """The first letter of the sentence, or of its part in view."""
        return self.content_region.offset + Offset(2, 0)

    def action_scroll_lines(self, lines: int) -> None:
        self.scroll_to_line(self.top + lines)

    def on_focus(self) -> None:
        self.repaint_lines(self.top, width=2)

    def on_blur(self) -> None:
        self.repaint_lines(self.top, width=2)


Weight = Literal["done", "note", "check", "error"]


class Said(NamedTuple):
    """A message that was shown, and when."""

    at: datetime
    text: str
    weight: Weight = "note"


_WEIGHT_ROLE = {"done": "ok", "note": "plain", "check": "check", "error": "error"}


class MessageLine(Drawn):
    """The last message. It stays until the next one, or until the work went on; the recent ones can be read again.

    While no message stands, ``resting`` is shown: whose record this is.
    """

    DEFAULT_CSS = """
    MessageLine { height: 1; background: $ground; }
    """

    def __init__(self, *, more: str = "", id: str | None = None, classes: str | None = None) -> None:
        super().__init__(id=id, classes=classes)
        self.recent: deque[Said] = deque(maxlen=_KEPT)
        self._more = more
        """says how to read a message that does not fit, for example "Ctrl+E all" """
        self.stands = False
        """whether the last message is still to be seen"""
        self._about = ""
        self._resting = ""

    @property
    def resting(self) -> str:
        """What is shown while no message stands; assign to change it."""
        return self._resting

    @resting.setter
    def resting(self, text: str) -> None:
        if text != self._resting:
            self._resting = text
            if not self.stands:
                self.refresh()

    def say(self, text: str, weight: Weight = "note", about: str = "") -> None:
        """Show a message and keep it among the recent ones. ``about`` is the key of the row whose text was refused."""
        self.recent.append(Said(datetime.now().astimezone(), text, weight))
        self.stands, self._about = True, about
        self.refresh()

    def go_on(self, key: str = "") -> None:
        """The work went on at a row: what was only told has had its time, and so has the refusal of that very row.

        Other errors and warnings stay.
        """
        if not self.stands:
            return
        if self.recent[-1].weight in ("done", "note") or (self._about and self._about == key):
            self.stands = False
            self.refresh()

    @property
    def line_count(self) -> int:
        return 1

    def pieces(self, line: int) -> Line:
        if not self.stands:
            return ((fit(shown(self._resting), self.text_width), "label"),) if self._resting else ()
        said = self.recent[-1]
        sign = {"done": current_signs().ok, "check": current_signs().check, "error": current_signs().error}
        text = f"{sign.get(said.weight, ' ')} {shown(said.text)}"
        room = self.text_width
        role = _WEIGHT_ROLE[said.weight]
        if cell_len(text) <= room or not self._more:
            return ((fit(text, room), role),)
        tail = f" {shown(self._more)}"
        return ((fit(text, max(1, room - cell_len(tail))), role), (tail, "bar-key"))


class KeyWord(NamedTuple):
    """A key and the word for what it does."""

    key: str
    word: str


def lay_out_keys(
    keys: Iterable[KeyWord], width: int, max_rows: int, more: KeyWord | None = None
) -> list[list[KeyWord]]:
    """The keys in rows; when they do not fit into `max_rows`, the last place says how to see the rest."""
    more = KeyWord("F1", "more") if more is None else more
    rows = _rows_of_keys(keys, width)
    if len(rows) <= max_rows:
        return rows
    kept = rows[: max(1, max_rows)]
    last = kept[-1]
    while last and _keys_width([*last, more]) > width:
        last.pop()
    last.append(more)
    return kept


def _rows_of_keys(keys: Iterable[KeyWord], width: int) -> list[list[KeyWord]]:
    rows: list[list[KeyWord]] = []
    for key in keys:
        if rows and _keys_width([*rows[-1], key]) <= width:
            rows[-1].append(key)
        else:
            rows.append([key])
    return rows


def _keys_width(keys: list[KeyWord]) -> int:
    return sum(cell_len(shown(key.key)) + 1 + cell_len(shown(key.word)) for key in keys) + 2 * (len(keys) - 1)


class KeyLine(Drawn):
    """The keys at hand, in as many rows as they need; never fewer keys without saying so."""

    DEFAULT_CSS = """
    KeyLine { height: 1; background: $bar-ground; }
    """

    base_role = "bar"
    edge_width = 0

    def __init__(
        self, keys: Iterable[KeyWord] = (), *, id: str | None = None, classes: str | None = None
    ) -> None:
        super().__init__(id=id, classes=classes)
        self._keys = tuple(keys)
        self._rows: list[list[KeyWord]] = []

    @property
    def keys(self) -> tuple[KeyWord, ...]:
        """The keys; assign to change them."""
        return self._keys

    @keys.setter
    def keys(self, keys: Iterable[KeyWord]) -> None:
        new = tuple(keys)
        if new != self._keys:
            self._keys = new
            if self.is_mounted:
                self._take_height()
                self.refresh()

    def lay_out(self) -> None:
        """A tenth of the screen's height at most, one row in any case."""
        rows = max(1, min(3, self.app.size.height // 10))
        self._rows = lay_out_keys(self._keys, self.text_width, rows)

    def _take_height(self) -> None:
        self.lay_out()
        self.styles.height = max(1, len(self._rows))

    def on_mount(self) -> None:
        self._take_height()

    def on_resize(self) -> None:
        self._take_height()

    @property
    def line_count(self) -> int:
        return len(self._rows)

    def pieces(self, line: int) -> Line:
        pieces: list[Piece] = []
        for key in self._rows[line]:
            if pieces:
                pieces.append(("  ", "bar"))
            pieces += [(shown(key.key), "bar-key"), (" " + shown(key.word), "bar")]
        used = sum(cell_len(text) for text, _ in pieces)
        return [*pieces, (" " * max(0, self.extent.width - used), "bar")]
