"""The canvas that every picture is drawn on: dots in character cells, in one of three ways, with words on top.

Places are given in cells from the left and rows from the top, as fractions where wanted; a row is taken to be as high
as two cells are wide, so a circle has a radius of r cells and r/2 rows. What each stroke is drawn in differs by pattern
or by mark, never by colour alone.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Mapping
from math import ceil, cos, hypot, pi, sin
from typing import Literal

from rich.cells import cell_len

from ..safe_text import shown
from ..signs import current_signs
from ..widgets.drawn import Piece

Way = Literal["braille", "blocks", "plain"]
WAYS: tuple[Way, ...] = ("braille", "blocks", "plain")
Lines = list[tuple[Piece, ...]]
Dash = tuple[int, int]
"""Dots drawn and dots left out, again and again."""

SOLID: Dash = (1, 0)
DASHED: Dash = (3, 2)
DOTTED: Dash = (1, 2)

# Dots a cell holds, across and down.
_DOTS: dict[Way, tuple[int, int]] = {"braille": (2, 4), "blocks": (1, 2), "plain": (1, 1)}
# Bits of the eight dots of a Braille cell by column and row (ISO/IEC 11548; Unicode block 2800).
_BRAILLE = ((0x01, 0x02, 0x04, 0x40), (0x08, 0x10, 0x20, 0x80))
_BLOCKS = {1: "▀", 2: "▄", 3: "█"}
ROW_IN_CELLS = 2.0


def usual_way(env: Mapping[str, str] | None = None, *, windows: bool = sys.platform == "win32") -> Way:
    """The finest way that this terminal shows: fonts of text consoles have half blocks but no Braille dots."""
    if current_signs().ascii_only:
        return "plain"
    env = os.environ if env is None else env
    console = env.get("TERM", "").lower().startswith("linux") or (windows and "WT_SESSION" not in env)
    return "blocks" if console else "braille"


class Canvas:
    """See the module's first lines. Later strokes lie on top in colour; words hide what is under them."""

    def __init__(self, width: int, height: int, way: Way | None = None) -> None:
        self.width, self.height = max(1, width), max(1, height)
        self.way: Way = "plain" if current_signs().ascii_only else way or usual_way()
        self.across, self.down = _DOTS[self.way]
        self._bits: dict[tuple[int, int], int] = {}
        self._roles: dict[tuple[int, int], str] = {}
        self._marks: dict[tuple[int, int], str] = {}
        self._words: dict[tuple[int, int], Piece] = {}

    # ---- strokes

    def dot(self, x: float, y: float, role: str = "curve", mark: str = "*") -> None:
        """One dot; outside the canvas it is left out."""
        column, row = int(x // 1), int(y // 1)
        if not (0 <= column < self.width and 0 <= row < self.height):
            return
        cell = column, row
        if self.way == "plain":
            self._marks[cell] = mark
        else:
            across, down = int((x - column) * self.across), int((y - row) * self.down)
            bit = _BRAILLE[across][down] if self.way == "braille" else 1 << down
            self._bits[cell] = self._bits.get(cell, 0) | bit
        self._roles[cell] = role

    def line(
        self,
        x0: float,
        y0: float,
        x1: float,
        y1: float,
        role: str = "curve",
        mark: str = "",
        dash: Dash = SOLID,
    ) -> None:
        """A straight stroke; without a mark it is drawn in plain ASCII by the sign of its slope."""
        mark = mark or _slope_mark(x1 - x0, (y1 - y0) * ROW_IN_CELLS)
        steps = max(1, ceil(max(abs(x1 - x0) * self.across, abs(y1 - y0) * self.down)))
        on, off = self._dash(dash)
        for step in range(steps + 1):
            if step % (on + off) < on:
                part = step / steps
                self.dot(x0 + (x1 - x0) * part, y0 + (y1 - y0) * part, role, mark)

    def circle(
        self, x: float, y: float, radius: float, role: str = "curve", mark: str = "o", dash: Dash = SOLID
    ) -> None:
        """A circle round (x, y) whose radius is given in cells."""
        steps = max(8, ceil(2 * pi * radius * self.across))
        on, off = self._dash(dash)
        for step in range(steps):
            if step % (on + off) < on:
                angle = 2 * pi * step / steps
                self.dot(x + radius * cos(angle), y + radius * sin(angle) / ROW_IN_CELLS, role, mark)

    def hatch(
        self, spans: Callable[[float], list[tuple[float, float]]], role: str = "frame", mark: str = "."
    ) -> None:
        """Sparse dots, staggered, on the stretches from x to x that ``spans(y)`` gives for a height.

        Written straight into the cells: a large ring has thousands of dots.
        """
        across, down, columns = self.across, self.down, self.width * self.across
        for number, row in enumerate(range(0, self.height * down, 1 if self.way == "plain" else 2)):
            stagger, cell_row = 2 * (number % 2), row // down
            bit = 0x01 if row % down == 0 else 0x04
            for start, end in spans((row + 0.5) / down):
                first = max(stagger, ceil(start * across - 0.5))
                first += (stagger - first) % 4
                for column in range(first, min(columns, ceil(end * across - 0.5)), 4):
                    cell = column // across, cell_row
                    self._roles[cell] = role
                    if self.way == "plain":
                        self._marks[cell] = mark
                    else:
                        # Every column that is dotted is the left one of its cell.
                        self._bits[cell] = self._bits.get(cell, 0) | bit

    def text(self, x: float, y: float, text: str, role: str = "plain") -> None:
        """Words from a cell on; cut at the right edge."""
        column, row = int(x), int(y)
        if not 0 <= row < self.height:
            return
        for character in shown(text):
            if 0 <= column < self.width:
                self._words[column, row] = (character, role)
            column += max(1, cell_len(character))

    def text_near(self, x: float, y: float, text: str, role: str = "plain") -> None:
        """Words that begin at a cell, or as far to the left as they must to be whole."""
        self.text(max(0, min(int(x), self.width - cell_len(shown(text)))), y, text, role)

    def _dash(self, dash: Dash) -> Dash:
        """In whole cells a dash of few dots is one cell."""
        on, off = dash
        return dash if off == 0 or self.way == "braille" else (1, 1) if on <= off else (2, 1)

    # ---- what came of it

    def lines(self) -> Lines:
        """The rows as pieces: text and role, neighbours of one role joined."""
        made: Lines = []
        for row in range(self.height):
            pieces: list[Piece] = []
            for column in range(self.width):
                character, role = self._cell((column, row))
                if pieces and pieces[-1][1] == role:
                    pieces[-1] = (pieces[-1][0] + character, role)
                else:
                    pieces.append((character, role))
            if pieces and not pieces[-1][0].strip() and pieces[-1][1] == "plain":
                pieces.pop()
            made.append(tuple(pieces))
        return made

    def _cell(self, cell: tuple[int, int]) -> Piece:
        if cell in self._words:
            return self._words[cell]
        role = self._roles.get(cell)
        if role is None:
            return " ", "plain"
        if self.way == "plain":
            return self._marks[cell], role
        bits = self._bits[cell]
        return (chr(0x2800 + bits) if self.way == "braille" else _BLOCKS[bits]), role


def _slope_mark(across: float, down: float) -> str:
    """The ASCII sign that lies most like a stroke; lengths in one unit, down positive."""
    length = hypot(across, down)
    if length == 0.0 or abs(down) < 0.38 * length:
        return "-"
    if abs(across) < 0.38 * length:
        return "|"
    return "\\" if across * down > 0 else "/"
