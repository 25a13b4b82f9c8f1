"""A whole form in one drawn widget, with one live text field that moves to the focused row.

The form knows no case. It is given rows (`form.rows = …`), it posts `Form.FieldEdited(key, text)` when a text
is accepted (Enter, Tab, Shift+Tab, Up, Down, loss of focus, `accept()`), and it is given new rows. It
repaints only what differs. Headings are drawn and are no stops.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from textual.app import ComposeResult
from textual.geometry import Size
from textual.message import Message
from textual.reactive import Reactive
from textual.widgets import Input

from ..quiet import quiet_size
from ..safe_text import clean
from .drawn import changed_cells
from .form_body import FormBody
from .form_editor import FormEditor
from .form_moves import FormMoves
from .rows import DrawnRow, Row, columns_for, draw_row, with_echo_cut

if TYPE_CHECKING:
    from .note_editor import NoteEditor

__all__ = ["Form", "Row"]


class Form(FormMoves):
    """See the module's first lines.

    `edited`, when set, is called at once with an accepted text, (key, text, confirmed), instead of the message, so
    that new rows and a new answer go out in one frame with the move to the next row.

    `reading`, when set, is asked at each key what the typed text would be read as; the answer is shown behind the
    field at once. It must be quick: (key, text) -> echo, empty when nothing can be read yet.
    """

    DEFAULT_CSS = """
    Form {
        width: 1fr; height: 1fr; background: $ground; layers: body editor; overflow: hidden hidden;
        FormBody { layer: body; background: $ground; width: 100%; height: 100%; }
    }
    """

    virtual_size: Reactive[Size] = quiet_size()

    @dataclass
    class FieldEdited(Message):
        """A text was accepted; `confirmed` when Enter took an assumed or carried-over value as it was."""

        form: Form
        key: str
        text: str
        confirmed: bool = False

        @property
        def control(self) -> Form:
            return self.form

    @dataclass
    class RowFocused(Message):
        """The focus came to another row."""

        form: Form
        key: str

        @property
        def control(self) -> Form:
            return self.form

    def __init__(
        self,
        rows: Iterable[Row] = (),
        *,
        edited: Callable[[str, str, bool], None] | None = None,
        reading: Callable[[str, str], str] | None = None,
        id: str | None = None,
        classes: str | None = None,
    ) -> None:
        super().__init__(id=id, classes=classes)
        self.edited = edited
        self.reading = reading
        self.body = FormBody(self.wheel_moved, self.clicked)
        self.editor = FormEditor()
        self._note_editor: NoteEditor | None = None
        # What the row holds, what the live field began with, and the text that was told last of each row.
        self._base = self._loaded = ""
        self._told: dict[str, str] = {}
        self._index = -1
        self.body.rows = tuple(rows)
        self._index = self._first_stop(0, 1)

    def compose(self) -> ComposeResult:
        yield self.body
        yield self.editor

    # ---- rows in

    @property
    def rows(self) -> tuple[Row, ...]:
        """The rows as they stand; assign to change them."""
        return self.body.rows

    @rows.setter
    def rows(self, rows: Iterable[Row]) -> None:
        new = tuple(rows)
        old = self.body.rows
        if new == old:
            return
        at = self._index
        self.body.rows = new
        if not self.body.drawn or [row.key for row in new] != [row.key for row in old]:
            self._replace_all(old, at)
            return
        if columns_for(new, self.body.text_width) != self.body.columns:
            self._replace_all(old, at)
            return
        moved = False
        for index, (before, after) in enumerate(zip(old, new, strict=True)):
            if before != after:
                moved |= not self.body.redraw_row(index, after)
                if index == self._index:
                    self._take_new_text(after)
        if moved:
            self._place_editor(keep=True)

    def _replace_all(self, old: tuple[Row, ...], at: int) -> None:
        """Other rows, or other columns: lay all out, and stay on the row of the same key.

        Where that row is gone, the nearest one before it that is still there has the caret.
        """
        keys = {row.key: index for index, row in enumerate(self.body.rows) if not row.heading}
        self.body.lay_out()
        self.body.refresh()
        stays = (keys[row.key] for row in reversed(old[: at + 1]) if row.key in keys)
        index = next(stays, self._first_stop(0, 1))
        if index == self._index and index >= 0:
            self.body.current = index
            self._take_new_text(self.body.rows[index])
            self._place_editor(keep=True)
        else:
            self._arrive(index)

    def _take_new_text(self, row: Row) -> None:
        """The row under the caret was given another text; what is being typed is not lost."""
        if not self.dirty:
            self._take(row)
        else:
            self._base = self._loaded = clean(row.text, newlines=True)

    def _take(self, row: Row) -> None:
        """Hold a row's text; one that was refused comes back to be mended, and Escape has the old one."""
        self._base = clean(row.text, newlines=row.multiline)
        if not row.error:
            self._told.pop(row.key, None)
        self._loaded = self._told.get(row.key, self._base)
        self._load(self._loaded)

    # ---- where the focus is

    @property
    def current_key(self) -> str | None:
        """The key of the focused row."""
        return self.body.rows[self._index].key if 0 <= self._index < len(self.body.rows) else None

    @property
    def current_row(self) -> Row | None:
        """The focused row."""
        return self.body.rows[self._index] if 0 <= self._index < len(self.body.rows) else None

    @property
    def text(self) -> str:
        """What stands in the live field."""
        row = self.current_row
        if row is not None and row.multiline and self._note_editor is not None:
            return self._note_editor.text
        return self.editor.value

    @property
    def dirty(self) -> bool:
        """True while the live field holds something not accepted yet."""
        return self.text != self._loaded

    def focus(self, scroll_visible: bool = True) -> Form:
        """Give the focus to the live field."""
        row = self.current_row
        if row is not None and row.multiline:
            self._live_note_editor().focus(scroll_visible)
        else:
            self.editor.focus(scroll_visible)
        if self.is_mounted:
            self.focus_changed()
        return self

    # ---- what was typed

    def confirm(self) -> None:
        """Enter: accept, also an assumed or carried-over value as it stands, and go on.

        On a row whose last text was refused, Enter on the old value (Escape has it back) takes that again, and the
        sentence goes.
        """
        row = self.current_row
        if row is not None and not self.dirty:
            if row.status in ("assumed", "carried over"):
                self._tell(row.key, self.text, True)
            elif row.error and self.text == self._base:
                self._tell(row.key, self.text, False)
        self.step(1, leave=True)

    def accept(self) -> None:
        """Post what was typed; nothing when nothing was."""
        row = self.current_row
        if row is None or not self.dirty:
            return
        text = self._told[row.key] = self.text
        self._base = self._loaded = text
        changed = replace(row, text=text, echo="", status="", error="")
        rows = list(self.body.rows)
        rows[self._index] = changed
        self.body.rows = tuple(rows)
        self._tell(row.key, text, False)

    def _tell(self, key: str, text: str, confirmed: bool) -> None:
        """Hand an accepted text to the owner."""
        if self.edited is not None:
            self.edited(key, text, confirmed)
        else:
            self.post_message(self.FieldEdited(self, key, text, confirmed))

    def restore(self) -> bool:
        """Give up what was typed, also what was refused; false when nothing was."""
        if self.text == self._base:
            return False
        self._loaded = self._base
        self._load(self._base)
        if self.current_row is not None:
            self.body.redraw_row(self._index, self.current_row)
        return True

    def typed(self) -> None:
        """The live field changed: show at once what it would be read as."""
        row = self.current_row
        if row is None or self.reading is None or row.multiline or not self.dirty:
            return
        # A text cut to the field is not repeated behind it: it is no longer what stands there.
        text = row.text[: self.body.columns.field]
        live = replace(row, text=text, echo=self.reading(row.key, self.text), error="", status="")
        lines = len(self.body.drawn[self._index].lines)
        drawn = draw_row(live, self.body.columns, is_current=True)
        if len(drawn.lines) > lines:
            # No row moves while somebody types: what has no line of its own is cut to the rest of the field's line.
            drawn = draw_row(with_echo_cut(live, self.body.columns), self.body.columns, is_current=True)
        if len(drawn.lines) > lines:
            return
        spare = lines - len(drawn.lines)
        self._show_live(replace(drawn, lines=drawn.lines + ((("", "plain"),),) * spare))

    def _show_live(self, drawn: DrawnRow) -> None:
        """Repaint behind the field only, and only where the lines differ."""
        body, index = self.body, self._index
        before, body.drawn[index] = body.drawn[index], drawn
        start = body.starts[index]
        for number, (old, new) in enumerate(zip(before.lines, drawn.lines, strict=True)):
            if old != new:
                x, width = changed_cells(old, new)
                body.repaint_lines(start + number, x=x, width=width)

    # ---- arriving on a row

    def _go(self, index: int) -> None:
        if index < 0:
            return
        key = self.body.rows[index].key
        self.accept()
        # What was accepted may have brought other rows.
        self._arrive(next((at for at, row in enumerate(self.body.rows) if row.key == key), self._index))

    def _arrive(self, index: int) -> None:
        left = self._index
        if 0 <= left < len(self.body.drawn) and left != index:
            self.body.redraw_row(left, self.body.rows[left])
        self._index = index
        row = self.current_row
        if row is None or not self.body.drawn:
            self.editor.display = False
            return
        self.body.mark(index)
        self._swap_editors(row)
        self._take(row)
        self._place_editor(keep=True)
        if left != index:
            self.post_message(self.RowFocused(self, row.key))

    def _swap_editors(self, row: Row) -> None:
        """One field for one line, another for several; only the one in use is there."""
        note = self._note_editor
        if row.multiline:
            note = self._live_note_editor()
            had = self.editor.has_focus
            note.display = True
            if had:
                note.focus()
            self.editor.display = False
        elif note is not None and note.display:
            had = note.has_focus
            self.editor.display = True
            if had:
                self.editor.focus()
            note.display = False
        else:
            self.editor.display = True
        self.editor.set_choices(tuple(clean(choice) for choice in row.choices))

    def _live_note_editor(self) -> NoteEditor:
        if self._note_editor is None:
            from .note_editor import NoteEditor

            self._note_editor = NoteEditor()
            self.mount(self._note_editor)
        return self._note_editor

    def _load(self, text: str) -> None:
        row = self.current_row
        if row is not None and row.multiline:
            self._live_note_editor().take(text)
            return
        with self.prevent(Input.Changed):
            self.editor.take(text)

    def _place_editor(self, *, keep: bool) -> None:
        """Put the live field over the focused row, scrolled into view if `keep`."""
        row = self.current_row
        if row is None or not self.body.drawn:
            return
        body, index = self.body, self._index
        drawn = body.drawn[index]
        start = body.starts[index]
        if keep:
            if index == self._first_stop(0, 1):
                body.keep_in_view(0)
            body.keep_in_view(body.field_line(index) - min(1, drawn.field_line), start + len(drawn.lines) - 1)
        editor = self._live_note_editor() if row.multiline else self.editor
        editor.place(
            drawn.field_x, body.row_of(body.field_line(index)), drawn.field_width, drawn.field_height
        )

    # ---- events

    def focus_changed(self) -> None:
        """A live field got or lost the focus: the marker shows it; when it left, what was typed is accepted.

        Both fields tell, in either order, so the screen is asked.
        """
        here = self.screen.focused in (self.editor, self._note_editor)
        if here == self.body.focus_is_here:
            return
        self.body.focus_is_here = here
        if 0 <= self.body.current < len(self.body.drawn):
            self.body.mark(self.body.current)
        if not here:
            self.accept()
        elif not self.dirty and self.screen.focused is self.editor:
            self.editor.select_all()

    def on_mount(self) -> None:
        self.body.ensure_laid_out()
        self._arrive(self._index)

    def on_resize(self) -> None:
        """The width or height changed: lay out again, the focused row in view."""
        self.body.ensure_laid_out()
        self.body.scroll_to_line(self.body.top)
        self._place_editor(keep=True)

    def on_input_changed(self, event: Input.Changed) -> None:
        event.stop()

    def on_input_submitted(self, event: Input.Submitted) -> None:
        event.stop()

    def on_input_blurred(self, event: Input.Blurred) -> None:
        event.stop()

    def clicked(self, line: int) -> None:
        """A line of the body was clicked."""
        index = self.body.row_at(line)
        if line < self.body.line_count and not self.body.rows[index].heading:
            self._go(index)
            self.focus()

    def wheel_moved(self) -> None:
        """The body was scrolled by the wheel."""
        self._place_editor(keep=False)
