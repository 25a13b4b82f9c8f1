"""The framework made quiet: what it repaints or lays out without need, redeclared in this one place.

Two of its reactive attributes cost a clinic computer most of the time between key and glass: a change of
focus repaints the whole screen, and every key in a text field lays the screen out again. Both are
redeclared here without that effect; nothing else leans on how the framework stores them. With a
theme of ours set at the start it parses its style sheet twice before the first paint. Tests tell when a release
changes any of it.
"""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from typing import Any, ClassVar, Self, TypeVar

from rich.segment import Segment
from textual.binding import Binding, BindingType
from textual.containers import Container
from textual.css.stylesheet import Stylesheet
from textual.events import Key
from textual.geometry import Size
from textual.reactive import Reactive
from textual.screen import ModalScreen, Screen
from textual.strip import Strip
from textual.widget import Widget
from textual.widgets import Input, Static

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


def quiet_size() -> Reactive[Size]:
    """A ``virtual_size`` that neither lays out nor paints when it becomes another.

    For a widget whose content never is larger than itself: the layout that gave it another size has painted it, and the
    framework would do both over again in a second frame.
    """
    return Reactive(Size(0, 0), layout=False, repaint=False)


class QuietContainer(Container):
    """A container of drawn widgets, which never scrolls."""

    virtual_size: Reactive[Size] = quiet_size()


class QuietLabel(Static):
    """Words in one line, never markup, in a place whose size does not depend on them."""

    virtual_size: Reactive[Size] = quiet_size()

    def __init__(self, text: str, *, id: str | None = None, classes: str | None = None) -> None:
        super().__init__(text, id=id, classes=classes, markup=False)

    def say(self, text: str) -> None:
        """Other words."""
        self.update(text, layout=False)


@asynccontextmanager
async def in_one_frame(screen: QuietScreen[Any]) -> AsyncIterator[None]:
    """Whatever is changed within goes out in one frame, and with it what the widgets of the screen make of that.

    They are told by messages, and say so by messages again when they must be painted; a frame begun before these have
    come would leave the rest to the next one.
    """
    screen.is_held = True
    try:
        with screen.app.batch_update():
            yield
            for _ in range(_MOST_TURNS):
                if not any(widget.message_queue_size for widget in screen.walk_children()):
                    break
                await asyncio.sleep(0)
    finally:
        screen.is_held = False
    screen.check_idle()


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
    # While a frame is held back, the places on the screen are those of what is going; the frame brings the cursor.
    if place is not None and not getattr(screen, "is_held", False):
        screen.call_after_refresh(place)


class QuietScreen(Screen[Result]):
    """A screen on which a change of focus repaints the two widgets concerned, not everything."""

    focused: Reactive[Widget | None] = Reactive(None, repaint=False)
    virtual_size: Reactive[Size] = quiet_size()

    is_held = False
    """whether a frame is held back until all that belongs to it has been told, see `in_one_frame`"""

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


def focus_at_once(widget: Widget, scroll_visible: bool = True) -> bool:
    """Give a widget of ours the focus without the message that the framework sends itself for it; false when that
    cannot be done yet.

    By message it would come after what is shown together with it: the sign of the focus in a frame of its own.
    """
    if not widget.is_mounted:
        return False
    widget.screen.set_focus(widget, scroll_visible)
    return True


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

    def focus(self, scroll_visible: bool = True) -> Self:
        return self if focus_at_once(self, scroll_visible) else super().focus(scroll_visible)

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
        # The row that Enter would have taken from the text is marked already: Down goes on from there.
        step = getattr(below, "action_step", None)
        if event.key == "down" and step is not None:
            step(1)
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
