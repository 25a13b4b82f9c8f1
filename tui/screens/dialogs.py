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
from textual.widgets import Static

from ..quiet import QuietDialog, QuietInput
from ..safe_text import clean
from ..widgets.list_table import Column, ListRow, ListTable
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
    """A list to choose from, narrowed by typing part of a name."""

    foot = "Type part of the name, Up and Down, Enter choose, Esc back"

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
        self.input = QuietInput("")
        columns = [Column("name", "", 20, flexible=True)]
        if details:
            columns.append(Column("note", "", 18, priority=1))
        self.table = ListTable(columns, empty="Nothing is named so.")

    def body(self) -> ComposeResult:
        yield self.input
        yield self.table

    def on_mount(self) -> None:
        super().on_mount()
        self._narrow("")
        if self._current:
            self.table.go_to(self._current)
        self.input.focus()

    def _narrow(self, text: str) -> None:
        words = text.casefold().split()
        found = [
            row for row in self._choices if all(word in f"{row[1]} {row[2]}".casefold() for word in words)
        ]
        if words:
            # What starts with the letters comes before what only contains them.
            found.sort(key=lambda row: not row[1].casefold().startswith(words[0]))
        width = len(self.table.columns)
        self.table.rows = [ListRow(key, (name, note)[:width]) for key, name, note in found]
        if words:
            # The best match has the caret, wherever it stood among the rows before.
            self.table.move_to(0)

    @on(QuietInput.Changed)
    def _changed(self, event: QuietInput.Changed) -> None:
        event.stop()
        self._narrow(event.value)
        self.picked_changed(self.table.current_key)

    @on(QuietInput.Submitted)
    def _submitted(self, event: QuietInput.Submitted) -> None:
        event.stop()
        self.dismiss(self.table.current_key)

    @on(ListTable.RowChosen)
    def _chosen(self, event: ListTable.RowChosen) -> None:
        event.stop()
        self.dismiss(event.key)

    def on_key(self, event) -> None:
        """Up and Down walk the list while the caret stays in the text."""
        if event.key in ("up", "down") and self.input.has_focus:
            event.stop()
            event.prevent_default()
            self.table.action_step(1 if event.key == "down" else -1)
            self.picked_changed(self.table.current_key)

    def picked_changed(self, key: str | None) -> None:
        """For a chooser that previews."""


class Decide(Dialog):
    """A question with a few answers, each a row; the first is the safe one and has the caret."""

    foot = "Up and Down, Enter decide, Esc back"

    def __init__(self, title: str, text: str, answers: Sequence[tuple[str, str]]) -> None:
        super().__init__(title)
        self._text = text
        rows = [ListRow(key, (name,)) for key, name in answers]
        self.table = ListTable([Column("answer", "", 20, flexible=True)], rows, id="answers")
        self._page = Sheet(tuple(text_row(line or " ") for line in text.splitlines()))

    def body(self) -> ComposeResult:
        self._page.styles.height = "auto" if self._text.count("\n") < 4 else "1fr"
        yield self._page
        yield self.table

    def on_mount(self) -> None:
        super().on_mount()
        self._page.styles.height = min(12, max(2, self._text.count("\n") + 3))
        self.table.focus()

    @on(ListTable.RowChosen, "#answers")
    def _chosen(self, event: ListTable.RowChosen) -> None:
        event.stop()
        self.dismiss(event.key)
