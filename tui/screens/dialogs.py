"""The few dialogs: a page to read, a line to type, a list to choose from, a question to decide.

Each hands back a finished value or None; Escape always means None and changes nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import ClassVar

from textual import on
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.events import Key
from textual.widgets import Static

from ..quiet import QuietDialog, QuietInput, share_keys
from ..safe_text import clean
from ..widgets.sheet import Sheet, SheetRow, heading_row, text_row

_CSS = """
    QuietDialog { align: center middle; background: $ground; }
    .box { width: 100%; height: 100%; max-width: 100; background: $ground; }
    .title { height: auto; color: $heading; background: $ground; text-style: bold; padding: 0 1; }
    .foot { height: auto; color: $ink; background: $ground; padding: 0 1; }
    .sentence { height: auto; color: $error; background: $ground; padding: 0 1; }
"""


class Dialog(QuietDialog):
    """A dialog with a title and a line that says the keys."""

    DEFAULT_CSS = _CSS
    BINDINGS: ClassVar[list[BindingType]] = [Binding("escape", "leave", "back", show=False)]

    foot: ClassVar[str] = "Esc back"

    def __init__(self, title: str) -> None:
        super().__init__()
        self._title = title

    def compose(self) -> ComposeResult:
        with Vertical(classes="box"):
            yield Static(clean(self._title), classes="title", markup=False)
            yield from self.body()
            yield Static(self.foot, classes="foot", markup=False)

    def body(self) -> ComposeResult:
        """What stands between the title and the keys."""
        yield from ()

    def action_leave(self) -> None:
        """Back, with nothing changed."""
        self.dismiss(None)


class Page(Dialog):
    """A page to read, line by line under the caret."""

    foot = "Up and Down read on, Esc back"

    def __init__(self, title: str, rows: Iterable[SheetRow]) -> None:
        super().__init__(title)
        self.sheet = Sheet(tuple(rows))

    def body(self) -> ComposeResult:
        yield self.sheet

    def on_mount(self) -> None:
        super().on_mount()
        self.sheet.focus()

    @on(Sheet.RowChosen)
    def _chosen(self, event: Sheet.RowChosen) -> None:
        event.stop()
        self.dismiss(None)


def text_page(title: str, text: str) -> Page:
    """A page of plain text. A line that starts with ``# `` is a heading; empty lines stay empty."""
    rows = [
        heading_row(line[2:]) if line.startswith("# ") else text_row(line or " ")
        for line in text.expandtabs(4).splitlines()
    ]
    return Page(title, rows or [text_row("Nothing to show.")])


class Ask(Dialog):
    """One line of text, checked before it is handed back: ``check`` returns "" or the sentence that refuses it."""

    foot = "Enter accept, Esc back"

    def __init__(
        self, title: str, *, value: str = "", check: Callable[[str], str] = lambda text: "", hint: str = ""
    ) -> None:
        super().__init__(title)
        self._check = check
        self.input = QuietInput(value)
        self._hint = Static(clean(hint), classes="foot", markup=False)
        self._sentence = Static("", classes="sentence", markup=False)

    def body(self) -> ComposeResult:
        yield self._hint
        yield self.input
        yield self._sentence

    def on_mount(self) -> None:
        super().on_mount()
        self.input.focus()

    @on(QuietInput.Submitted)
    def _submitted(self, event: QuietInput.Submitted) -> None:
        event.stop()
        sentence = self._check(event.value)
        if sentence:
            self._sentence.update(clean(sentence))
        else:
            self.dismiss(event.value)


class Pick(Dialog):
    """A list to choose from, narrowed by typing part of a name.

    Letters go into the line above, Up and Down into the list: the caret is where the eye is wanted.
    """

    foot = "Type part of the name, Up and Down, Enter choose, Esc back"

    DEFAULT_CSS = """
    Pick Sheet { height: 1fr; }
    """

    def __init__(
        self,
        title: str,
        choices: Sequence[tuple[str, str]],
        *,
        current: str = "",
        details: Sequence[str] = (),
    ) -> None:
        super().__init__(title)
        notes = details or [""] * len(choices)
        self._choices = [(key, name, note) for (key, name), note in zip(choices, notes, strict=True)]
        self._current = current
        self.input = QuietInput("", placeholder="part of the name", select_on_focus=False)
        self.list = Sheet(self._rows(""))

    def body(self) -> ComposeResult:
        yield self.input
        yield self.list

    def on_mount(self) -> None:
        super().on_mount()
        if self._current:
            self.list.go_to(self._current)
            self.list.focus()
        else:
            self.input.focus()

    @property
    def current(self) -> str | None:
        """The choice that Enter takes."""
        return self.list.current_key or None

    def _rows(self, text: str) -> tuple[SheetRow, ...]:
        words = text.casefold().split()
        found = [
            row for row in self._choices if all(word in f"{row[1]} {row[2]}".casefold() for word in words)
        ]
        if words:
            # What starts with the letters comes before what only contains them.
            found.sort(key=lambda row: not row[1].casefold().startswith(words[0]))
        if not found:
            return (text_row("Nothing is named so; Backspace takes a letter back.", "note"),)
        return tuple(
            SheetRow(((name, "plain"), (f"  {note}" if note else "", "strong")), key=key)
            for key, name, note in found
        )

    @on(QuietInput.Changed)
    def _changed(self, event: QuietInput.Changed) -> None:
        event.stop()
        self.list.rows = self._rows(event.value)
        # The first that fits is the one meant.
        self.list.action_edge(-1)
        self.picked_changed(self.current)

    @on(QuietInput.Submitted)
    def _submitted(self, event: QuietInput.Submitted) -> None:
        event.stop()
        if self.current:
            self.dismiss(self.current)

    @on(Sheet.RowFocused)
    def _walked(self, event: Sheet.RowFocused) -> None:
        event.stop()
        self.picked_changed(self.current)

    @on(Sheet.RowChosen)
    def _chosen(self, event: Sheet.RowChosen) -> None:
        event.stop()
        if event.key:
            self.dismiss(event.key)

    def on_key(self, event: Key) -> None:
        """Up and Down go from the text to the list, letters from the list to the text."""
        if share_keys(event, self.input, self.list):
            event.stop()
            event.prevent_default()

    def picked_changed(self, key: str | None) -> None:
        """For a chooser that previews."""


class Decide(Dialog):
    """A question with a few answers, each a row below the words; the first is the safe one and has the caret."""

    foot = "Up and Down, Enter decide, Esc decide nothing"

    def __init__(self, title: str, text: str, answers: Sequence[tuple[str, str]], *, foot: str = "") -> None:
        super().__init__(title)
        if foot:
            self.foot = foot  # type: ignore[misc]
        words = [text_row(line or " ") for line in text.splitlines()]
        self._first = answers[0][0]
        rows = [*words, text_row(" "), *(text_row(name, "strong", key=key) for key, name in answers)]
        self.sheet = Sheet(tuple(rows))

    def body(self) -> ComposeResult:
        yield self.sheet

    def on_mount(self) -> None:
        super().on_mount()
        self.sheet.focus()
        self.call_after_refresh(self._show_answers)

    def _show_answers(self) -> None:
        """The answers in view, and as much of the words above them as there is room for."""
        self.sheet.go_to(self._first)
        self.sheet.scroll_to_line(self.sheet.line_count)
        self.app.place_caret()  # type: ignore[attr-defined]

    @on(Sheet.RowChosen)
    def _chosen(self, event: Sheet.RowChosen) -> None:
        event.stop()
        if event.key:
            self.dismiss(event.key)
