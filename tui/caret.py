"""Where the terminal's own cursor belongs: on whatever has the focus.

Screen magnifiers and braille displays follow that cursor and nothing else, so it must stand on the focused
text cell, row, option or button, after every change of focus, scroll, resize and closed dialog. A widget of
our own says where by a method `caret_screen_offset() -> Offset`; for the framework's widgets the place is
worked out here, in the only module that looks into their private parts. A test walks every kind of widget
in a real pseudo-terminal and tells when a release of the framework changes one of them.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from rich.cells import cell_len
from rich.control import Control
from textual.app import App, ReturnType
from textual.css.query import NoMatches
from textual.errors import NoWidget
from textual.geometry import Offset, Region

from .driver import caret_driver
from .widgets.roles import VARIABLE_DEFAULTS

if TYPE_CHECKING:
    from textual.driver import Driver
    from textual.screen import Screen
    from textual.widget import Widget

# Seconds after a resize until the layout has settled and the focused widget can be scrolled into view.
_RESIZE_SETTLE_S = 0.1


def caret_offset(screen: Screen[Any]) -> Offset:
    """The cell of `screen` on which the cursor belongs; the upper left corner when nothing has the focus."""
    widget = screen.focused
    if widget is None:
        return Offset(0, 0)
    try:
        geometry = screen.find_widget(widget)
    except NoWidget:
        return Offset(0, 0)
    place = _own_place(widget)
    if place is None:
        place = geometry.region.shrink(widget.gutter).offset
    return _clamp(place, geometry.visible_region or geometry.clip)


def _own_place(widget: Widget) -> Offset | None:
    """The place that the widget itself, or the rule for its kind, names."""
    own = getattr(widget, "caret_screen_offset", None)
    if callable(own):
        place = own()
        return place if isinstance(place, Offset) else None
    for kind in type(widget).__mro__:
        rule = _RULES.get(kind.__name__) if kind.__module__.startswith("textual.") else None
        if rule is not None:
            return rule(widget)
    return None


def _clamp(place: Offset, region: Region) -> Offset:
    if not region:
        return place
    return Offset(
        min(max(place.x, region.x), region.right - 1), min(max(place.y, region.y), region.bottom - 1)
    )


def _input(widget: Any) -> Offset:
    """The framework's own answer is one cell too far right at the end of the text."""
    region = widget.content_region
    before = widget.value[: widget.cursor_position]
    return Offset(region.x + cell_len(before) - widget.scroll_offset.x, region.y)


def _text_area(widget: Any) -> Offset:
    return widget.cursor_screen_offset


def _button(widget: Any) -> Offset:
    """The first cell of the label, which is drawn in the middle."""
    region = widget.content_region
    return Offset(
        region.x + max(0, (region.width - widget.label.cell_length) // 2),
        region.y + max(0, (region.height - 1) // 2),
    )


def _data_table(widget: Any) -> Offset:
    coordinate = widget.cursor_coordinate
    by_row = widget.cursor_type == "row"
    region = widget._get_cell_region(coordinate._replace(column=0) if by_row else coordinate)
    fixed = by_row or coordinate.column < widget.fixed_columns
    scroll = widget.scroll_offset
    x = region.x + widget.cell_padding - (0 if fixed else scroll.x)
    y = region.y - (0 if coordinate.row < widget.fixed_rows else scroll.y)
    return widget.content_region.offset + Offset(x, y)


def _option_list(widget: Any) -> Offset:
    if widget.highlighted is None:
        return widget.content_region.offset
    line = widget._index_to_line.get(widget.highlighted, 0)
    padding = widget.get_component_styles("option-list--option").padding.left
    return widget.content_region.offset + Offset(padding, line - widget.scroll_offset.y)


def _tabs(widget: Any) -> Offset:
    active = widget.active_tab
    return widget.content_region.offset if active is None else active.content_region.offset


def _radio_set(widget: Any) -> Offset:
    """The button that the arrow keys are on, which need not be the one that is pressed."""
    at = widget._selected
    if at is None:
        return widget.content_region.offset
    try:
        return list(widget.query("RadioButton"))[at].content_region.offset
    except (IndexError, NoMatches):
        return widget.content_region.offset


def _select(widget: Any) -> Offset:
    """The text of a closed selection; an open one has the focus on its list."""
    try:
        return widget.query_one("SelectCurrent #label").content_region.offset
    except NoMatches:
        return widget.content_region.offset


def _list_view(widget: Any) -> Offset:
    child = widget.highlighted_child
    return widget.content_region.offset if child is None else child.content_region.offset


def _tree(widget: Any) -> Offset:
    label = widget._get_label_region(widget.cursor_line)
    if label is None:
        return widget.content_region.offset
    return widget.content_region.offset + label.offset - widget.scroll_offset


_RULES: dict[str, Callable[[Any], Offset]] = {
    "Input": _input,
    "TextArea": _text_area,
    "Button": _button,
    "DataTable": _data_table,
    "OptionList": _option_list,
    "Tabs": _tabs,
    "RadioSet": _radio_set,
    "Select": _select,
    "ListView": _list_view,
    "Tree": _tree,
}


class CaretApp(App[ReturnType]):
    """An app whose hardware cursor follows the focus; every app of ours derives from it."""

    @property
    def cursor_position(self) -> Offset:
        """Where the cursor belongs right now; the framework moves it there with every frame."""
        if not self._screen_stack:
            return Offset(0, 0)
        return caret_offset(self.screen)

    @cursor_position.setter
    def cursor_position(self, _offset: Offset) -> None:
        """Widgets of the framework set this themselves, some of them wrongly; the focus alone decides."""

    def get_theme_variable_defaults(self) -> dict[str, str]:
        return dict(VARIABLE_DEFAULTS)

    def get_driver_class(self) -> type[Driver]:
        return caret_driver(super().get_driver_class())

    def place_caret(self) -> None:
        """Move the cursor where it belongs when no frame did: a focus may move without a repaint."""
        driver = self._driver
        if driver is None or self.is_headless or self._closed or not self._running:
            return
        place = self.screen.outer_size.clamp_offset(self.cursor_position)
        if place != self._previous_cursor_position:
            self._previous_cursor_position = place
            driver.write(Control.move_to(*place).segment.text)
            driver.flush()

    def on_resize(self) -> None:
        """Right after the resize the layout is not final; a moment later the focus is kept in view."""
        self.set_timer(_RESIZE_SETTLE_S, self._keep_focus_in_view)

    def _keep_focus_in_view(self) -> None:
        if not self._screen_stack:
            return
        focused = self.screen.focused
        if focused is not None:
            focused.scroll_visible(animate=False, immediate=True)
        self.call_after_refresh(self.place_caret)
