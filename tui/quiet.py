"""The framework made quiet: what it repaints or lays out without need, redeclared in this one place.

Two of its reactive attributes cost a clinic computer most of the time between key and glass: a change of
focus repaints the whole screen, and every key in a text field lays the screen out again. Both are
redeclared here without that effect; nothing else leans on how the framework stores them. With a
theme of ours set at the start it parses its style sheet twice before the first paint. Tests tell when a release
changes any of it.
"""

from __future__ import annotations

import asyncio
from typing import Any, ClassVar, TypeVar

from rich.segment import Segment
from textual.binding import Binding, BindingType
from textual.css.stylesheet import Stylesheet
from textual.events import Key
from textual.geometry import Size
from textual.reactive import Reactive
from textual.screen import ModalScreen, Screen
from textual.strip import Strip
from textual.widget import Widget
from textual.widgets import Input

from .safe_text import clean, fit, shown, shown_in_place
from .widgets.roles import styles_for

Result = TypeVar("Result")


async def keys_in_order(widget: Widget | None) -> None:
    """Let a widget take the keys that it has been sent before the next one is looked at.

    A key with a binding is acted on at once, a letter waits in the widget's queue. Typed in one burst (type-ahead, a
    slow line, a scanner), a Tab would overtake the letters before it. The bindings of our own widgets have priority,
    so that they are acted on in turn and not after the whole burst. What a key set off above the widget (a value
    accepted, a case changed, rows put in) is waited for too: the next key is meant for what is then on the screen.
    """
    for _ in range(_MOST_TURNS):
        if widget is None or not any(node.message_queue_size for node in widget.ancestors_with_self[:-1]):
            return
        await asyncio.sleep(0)


_MOST_TURNS = 200


class QuietStylesheet(Stylesheet):
    """A style sheet that is parsed again only when a variable has another value."""

    _same = False

    def set_variables(self, variables: dict[str, str]) -> None:
        self._same = variables == self._variables
        if not self._same:
            super().set_variables(variables)

    def reparse(self) -> None:
        same, self._same = self._same, False
        if not same:
            super().reparse()


def _place_caret(screen: Screen[Any]) -> None:
    """The focus may move, or a layout settle, without a cell changing; then no frame carries the cursor along."""
    place = getattr(screen.app, "place_caret", None)
    if place is not None:
        screen.call_after_refresh(place)


class QuietScreen(Screen[Result]):
    """A screen on which a change of focus repaints the two widgets concerned, not everything."""

    focused: Reactive[Widget | None] = Reactive(None, repaint=False)

    def watch_focused(self) -> None:
        _place_caret(self)

    def on_mount(self) -> None:
        self.screen_layout_refresh_signal.subscribe(self, _place_caret, immediate=True)


class QuietDialog(ModalScreen[Result]):
    """The same for dialogs."""

    focused: Reactive[Widget | None] = Reactive(None, repaint=False)

    def watch_focused(self) -> None:
        _place_caret(self)

    def on_mount(self) -> None:
        self.screen_layout_refresh_signal.subscribe(self, _place_caret, immediate=True)


class QuietInput(Input):
    """A text field of one line without blinking, without layout at each key, for safe text only.

    The terminal's own cursor is the caret: the drawn one would stand on the same cell and, on terminals which
    invert, cancel it.
    """

    virtual_size: Reactive[Size] = Reactive(Size(0, 0), layout=False)

    # Taken in the order of the keys, see `keys_in_order`.
    BINDINGS: ClassVar[list[BindingType]] = [Binding("enter", "submit", show=False, priority=True)]

    DEFAULT_CSS = """
    QuietInput { background: $field-ground; color: $field-ink; &:focus { background-tint: transparent; } }
    """

    def __init__(self, value: str = "", **options: Any) -> None:
        super().__init__(clean(value), compact=True, **options)
        self.cursor_blink = False

    def validate_value(self, value: str) -> str:
        return clean(value)

    def render_line(self, y: int) -> Strip:
        """Value or placeholder, and the selection while the field has the focus, in our roles."""
        styles = styles_for(self.app.theme_variables)
        field = styles["field"]
        width = self.content_size.width
        if y != 0:
            return Strip.blank(width, field)
        text = shown_in_place(self.value)
        if not text:
            return Strip(
                [Segment(fit(shown(self.placeholder), width), styles["note"] + field.background_style)]
            )
        start, end = sorted(self.selection) if self.has_focus else (0, 0)
        segments = [
            Segment(text[:start], field),
            Segment(text[start:end], styles["selection"]),
            Segment(text[end:], field),
        ]
        scroll = self.scroll_offset.x
        strip = Strip([segment for segment in segments if segment.text])
        return strip.crop(scroll, scroll + width).adjust_cell_length(width, field)

    def restricted(self) -> None:
        """No bell: the sentence beside the field says what is wrong."""


def share_keys(event: Key, line: QuietInput, below: Widget) -> bool:
    """A text line and a list below it that work as one: true when the key was for the other of the two.

    Call it for keys that neither of them took. The focus is moved at once, not by a message, so that of letters typed
    in a burst none comes in between.
    """
    screen = line.screen
    if event.key in ("down", "up", "pagedown", "pageup"):
        if screen.focused is not line:
            return False
        screen.set_focus(below)
        return True
    if event.is_printable and event.character:
        screen.set_focus(line)
        line.insert_text_at_cursor(event.character)
        return True
    if event.key == "backspace" and line.value:
        screen.set_focus(line)
        line.action_delete_left()
        return True
    return False
