"""The terminal driver with a visible cursor: shown, steady, a block, hidden only while a larger write runs.

The framework hides the cursor for the whole run. Its drivers for Linux, macOS and Windows all write through
one method, so one subclass made on the fly serves each of them; nothing of the other platform is imported.
"""

from __future__ import annotations

import os
import re
import sys
from functools import cache
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from textual.driver import Driver

SHOW = "\x1b[?25h"
HIDE = "\x1b[?25l"
# DECSCUSR: 2 is a steady block, 0 the terminal's own choice. The Linux console does not know it and older
# ones print its last letter; they have a sequence of their own, in which 6 is a full block.
STEADY_BLOCK = "\x1b[2 q"
OWN_SHAPE = "\x1b[0 q"
CONSOLE_BLOCK = "\x1b[?6c"
CONSOLE_OWN_SHAPE = "\x1b[?0c"

# A write longer than this paints so many cells that a visible cursor would be seen to run across the screen.
_LARGE_WRITE = 300
_HEX_COLOUR = re.compile(r"#[0-9A-Fa-f]{6}\Z")


def _shapes() -> tuple[str, str]:
    if os.environ.get("TERM", "") == "linux":
        return CONSOLE_BLOCK, CONSOLE_OWN_SHAPE
    return STEADY_BLOCK, OWN_SHAPE


def _takes_caret_colour() -> bool:
    """Terminals known to take OSC 12; others might print it."""
    if sys.platform == "win32":
        return "WT_SESSION" in os.environ
    return os.environ.get("TERM", "").startswith(("xterm", "tmux", "screen", "alacritty", "foot", "rxvt"))


@cache
def caret_driver(base: type[Driver]) -> type[Driver]:
    """A subclass of the driver class `base` that keeps the cursor visible."""

    class CaretDriver(base):
        """See the module's first lines."""

        _caret_runs = False
        _caret_coloured = False
        _terminal_is_gone = False

        def start_application_mode(self) -> None:
            super().start_application_mode()
            self._caret_runs = True
            super().write(_shapes()[0] + SHOW)
            self.flush()

        def stop_application_mode(self) -> None:
            self._caret_runs = False
            reset = "\x1b]112\x07" if self._caret_coloured else ""
            super().write(_shapes()[1] + reset)
            super().stop_application_mode()

        def write(self, data: str) -> None:
            if self._terminal_is_gone:
                return
            if self._caret_runs and len(data) > _LARGE_WRITE:
                data = f"{HIDE}{data}{SHOW}"
            super().write(data)

        def close(self) -> None:
            if not self._terminal_is_gone:
                super().close()

        def look_for_terminal(self) -> None:
            """Before the end: when the terminal was closed, nothing is written to it any more.

            The framework's writer dies of the first write to it, and whoever writes after it waits for ever.
            """
            file = getattr(self, "fileno", None)
            if file is None:  # Windows ends a program whose window was closed by itself
                return
            try:
                os.get_terminal_size(file)
            except OSError:
                self._terminal_is_gone = True

        def colour_caret(self, colour: str | None) -> None:
            """Give the cursor a colour `#rrggbb` where the terminal allows it; None gives its own back."""
            if not _takes_caret_colour():
                return
            if colour and _HEX_COLOUR.match(colour):
                self._caret_coloured = True
                super().write(f"\x1b]12;{colour}\x07")
            elif self._caret_coloured:
                self._caret_coloured = False
                super().write("\x1b]112\x07")

    CaretDriver.__name__ = f"Caret{base.__name__}"
    return CaretDriver


def colour_caret(driver: Any, colour: str | None) -> None:
    """Colour the cursor of a running driver, if it is one of ours."""
    method = getattr(driver, "colour_caret", None)
    if method is not None:
        method(colour)


def look_for_terminal(driver: Any) -> None:
    """Have a running driver of ours notice that its terminal was closed."""
    method = getattr(driver, "look_for_terminal", None)
    if method is not None:
        method()
