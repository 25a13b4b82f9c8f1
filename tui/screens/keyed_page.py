"""A page to read whose lines lead somewhere: Enter on a line with a key does what its owner says."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from textual import on

from ..widgets.sheet import Sheet, SheetRow
from .dialogs import Page


class KeyedPage(Page):
    """``chosen`` is called with the key of the line; without it the page hands the key back and is gone."""

    foot = "Up and Down read on, Enter on a line goes there, Esc back"

    def __init__(
        self, title: str, rows: Iterable[SheetRow], chosen: Callable[[str], None] | None = None
    ) -> None:
        super().__init__(title, rows)
        self._tell = chosen

    @on(Sheet.RowChosen)
    def _led_on(self, event: Sheet.RowChosen) -> None:
        # The plain page would be left by Enter.
        event.prevent_default()
        event.stop()
        if not event.key:
            return
        if self._tell is not None:
            self._tell(event.key)
        else:
            self.dismiss(event.key)
