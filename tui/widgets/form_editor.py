"""The live text field of a form: moves between rows, edits a line of text or steps through choices."""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar, cast

from textual.binding import Binding, BindingType
from textual.widgets.input import Selection

from ..quiet import QuietInput

if TYPE_CHECKING:
    from .form import Form


class FormEditor(QuietInput):
    """A compact field that a form moves to its focused row.

    With choices, letters choose the first word that begins with them, the same letter again the next such word, blank
    and the right arrow go to the next word, the left arrow to the one before, Backspace or Delete empties. A blank
    within the letters of a word belongs to that word. Letters that begin no word stay as they were typed, to be
    refused: another word than was meant must never come in their place.
    """

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("tab", "row(1, True)", show=False, priority=True),
        Binding("shift+tab", "row(-1, True)", show=False, priority=True),
        Binding("down", "row(1)", show=False, priority=True),
        Binding("up", "row(-1)", show=False, priority=True),
        Binding("enter", "confirm", show=False, priority=True),
        Binding("escape", "restore", show=False, priority=True),
        Binding("pagedown", "page(1)", show=False, priority=True),
        Binding("pageup", "page(-1)", show=False, priority=True),
        Binding("ctrl+end", "edge(1)", show=False, priority=True),
        Binding("ctrl+home", "edge(-1)", show=False, priority=True),
    ]

    DEFAULT_CSS = """
    FormEditor { layer: editor; width: 10; height: 1; }
    """

    def __init__(self) -> None:
        super().__init__(select_on_focus=False)
        self._choices: tuple[str, ...] = ()
        self._typed = ""
        self._place = (0, 0, 0)

    @property
    def form(self) -> Form:
        """The form that this field belongs to."""
        return cast("Form", self.parent)

    def place(self, x: int, y: int, width: int, height: int) -> None:
        """Stand at a cell of the form; nothing is laid out when nothing changed."""
        if self._place != (x, y, width):
            if self._place[2] != width:
                self.styles.width = width
            self._place = (x, y, width)
            self.styles.offset = (x, y)

    def take(self, text: str) -> None:
        """Hold a row's text, all of it selected, so that the first key replaces it."""
        self._typed = ""
        self.value = text
        self.selection = Selection(0, len(self.value))

    def set_choices(self, choices: tuple[str, ...]) -> None:
        """The words to choose from; none for free text."""
        self._choices = choices

    def watch_value(self) -> None:
        if self.is_mounted:
            self.form.typed()

    # ---- editing

    def replace(self, text: str, start: int, end: int) -> None:
        if not self._choices:
            super().replace(text, start, end)
        elif self._typed and not self._beginning_with(self._typed):
            # Letters that begin no word are text like any other, until what is left of them begins one.
            super().replace(text, start, end)
            self._typed = self.value
            if found := self._beginning_with(self._typed):
                self._choose(found[0] if self._typed else "")
        elif text == " " and not (self._typed and self._beginning_with(self._typed + " ")):
            self._step_choice(1)
        else:
            self._match(text if text == " " else text.strip())

    def _beginning_with(self, letters: str) -> list[str]:
        """The words that begin so; one that is typed in full before those that only begin with it."""
        found = [choice for choice in self._choices if choice.lower().startswith(letters.lower())]
        return sorted(found, key=lambda choice: len(choice) != len(letters))

    def _match(self, text: str) -> None:
        """Choose the first word that begins with what was typed; the same letter again takes the next."""
        typed = self._typed + text if text else ""
        found = self._beginning_with(typed) if typed else [""]
        if not found and set(typed.lower()) == {text.lower()}:
            typed, found = text, self._beginning_with(text)
            if self.value in found:
                found = found[found.index(self.value) + 1 :] + found
        self._typed = typed
        if found:
            self._choose(found[0])
        else:
            self.value = typed
            self.selection = Selection.cursor(len(typed))

    def _step_choice(self, step: int) -> None:
        choices = self._choices
        at = choices.index(self.value) + step if self.value in choices else (0 if step > 0 else -1)
        self._typed = ""
        self._choose(choices[at % len(choices)])

    def _choose(self, choice: str) -> None:
        self.value = choice
        self.selection = Selection(0, len(choice))

    def action_cursor_right(self, select: bool = False) -> None:
        if self._choices:
            self._step_choice(1)
        else:
            super().action_cursor_right(select)

    def action_cursor_left(self, select: bool = False) -> None:
        if self._choices:
            self._step_choice(-1)
        else:
            super().action_cursor_left(select)

    # ---- moves

    def action_row(self, direction: int, leave: bool = False) -> None:
        self.form.step(direction, leave=leave)

    def action_confirm(self) -> None:
        self.form.confirm()

    def action_page(self, direction: int) -> None:
        self.form.page(direction)

    def action_edge(self, direction: int) -> None:
        self.form.edge(direction)

    def action_restore(self) -> None:
        """Escape gives up what was typed; with nothing typed the key goes to whoever else wants it."""
        if not self.form.restore():
            from textual.actions import SkipAction

            raise SkipAction

    def on_focus(self) -> None:
        self.form.focus_changed()

    def on_blur(self) -> None:
        self.form.focus_changed()
