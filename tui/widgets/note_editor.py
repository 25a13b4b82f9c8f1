"""Text of several lines: an area for free words, and the live field for a row of a form that has several lines.

Imported only when one of them is wanted.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar, Self, cast

from textual.actions import SkipAction
from textual.binding import Binding, BindingType
from textual.events import Paste
from textual.geometry import Size
from textual.reactive import Reactive
from textual.widgets import TextArea

from ..quiet import focus_at_once
from ..safe_text import clean

if TYPE_CHECKING:
    from .form import Form


class WordsArea(TextArea):
    """Free words: safe text only, no drawn caret (the terminal's own one stands there), Tab goes on."""

    DEFAULT_CSS = """
    WordsArea {
        background: $field-ground; color: $field-ink; border: none; scrollbar-size: 0 0; padding: 0;
        &:focus { border: none; background-tint: transparent; }
        &>.text-area--cursor {
            background: $field-ground !important; color: $field-ink !important; text-style: none !important;
        }
        &>.text-area--cursor-line { background: transparent; }
        &>.text-area--selection { background: $selection-ground; color: $selection-ink; text-style:
        $selection-style; } &:ansi { background: ansi_default; color: ansi_default; }
    }
    """

    # Nothing of the layout depends on how long the text is: there are no scroll bars.
    virtual_size: Reactive[Size] = Reactive(Size(0, 0), layout=False)

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id, compact=True, soft_wrap=True, theme="css", highlight_cursor_line=False)
        self.cursor_blink = False

    @property
    def wrap_width(self) -> int:
        """The cells of a line; before the first layout as many as the whole screen would give, so that the first frame
        has the lines already."""
        if self.size.width or not self.is_attached:
            return super().wrap_width
        return max(0, self.app.size.width - self.gutter.width - 1)

    def focus(self, scroll_visible: bool = True) -> Self:
        return self if focus_at_once(self, scroll_visible) else super().focus(scroll_visible)

    async def on_paste(self, event: Paste) -> None:
        event.prevent_default()
        event.stop()
        if not self.read_only:
            self.insert(clean(event.text, newlines=True))


class NoteEditor(WordsArea):
    """Text of several lines, over the focused row of a form. Enter breaks the line, Tab goes on."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("tab", "row(1, True)", show=False, priority=True),
        Binding("shift+tab", "row(-1, True)", show=False, priority=True),
        Binding("escape", "restore", show=False, priority=True),
        Binding("ctrl+end", "edge(1)", show=False, priority=True),
        Binding("ctrl+home", "edge(-1)", show=False, priority=True),
    ]

    DEFAULT_CSS = """
    NoteEditor { layer: editor; width: 10; height: 3; }
    """

    def __init__(self) -> None:
        super().__init__()
        self._place = (0, 0, 0, 0)

    @property
    def form(self) -> Form:
        """The form that this field belongs to."""
        return cast("Form", self.parent)

    def place(self, x: int, y: int, width: int, height: int) -> None:
        """Stand over the row's text."""
        if self._place != (x, y, width, height):
            self._place = (x, y, width, height)
            self.styles.width = width
            self.styles.height = height
            self.styles.offset = (x, y)

    def take(self, text: str) -> None:
        """Hold a row's text, the caret behind it."""
        if text != self.text:
            self.load_text(text)
        self.move_cursor(self.document.end)

    def on_mount(self) -> None:
        # Once the lines are laid out, the caret is put anew where it then is: the text may come after this.
        self.call_after_refresh(lambda: self.move_cursor(self.cursor_location))

    def action_row(self, direction: int, leave: bool = False) -> None:
        self.form.step(direction, leave=leave)

    def action_edge(self, direction: int) -> None:
        self.form.edge(direction)

    def action_cursor_up(self, select: bool = False) -> None:
        """From the first line to the row above."""
        if not select and self.cursor_at_first_line:
            self.form.step(-1)
        else:
            super().action_cursor_up(select)

    def action_cursor_down(self, select: bool = False) -> None:
        """From the last line to the row below."""
        if not select and self.cursor_at_last_line:
            self.form.step(1)
        else:
            super().action_cursor_down(select)

    def action_restore(self) -> None:
        if not self.form.restore():
            raise SkipAction

    def on_focus(self) -> None:
        self.form.focus_changed()

    def on_blur(self) -> None:
        self.form.focus_changed()
