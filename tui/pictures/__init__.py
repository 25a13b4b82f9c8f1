"""The pictures of a case, each with the same facts in words.

A picture is two pure functions of a subject: the lines for a size, and the rows of words. Places on the canvas are the
only thing computed here; every figure comes from the plan, the case or a formula of the core.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from ..view import View
from ..widgets.sheet import SheetRow
from . import clear, fields, ladder, reading, side
from .canvas import Lines
from .subject import Subject, subject_of


@dataclass(frozen=True, slots=True)
class Picture:
    """One picture: its title, how it is drawn, what it says."""

    title: str
    draw: Callable[[Subject, int, int], Lines]
    words: Callable[[Subject], list[SheetRow]]

    def picture(
        self, view: View, width: int, height: int, subject: Subject | None = None
    ) -> tuple[Lines, list[SheetRow]]:
        """At most ``height`` lines of pieces, each at most ``width`` cells wide, and the same facts in words."""
        shown = subject or subject_of(view)
        return self.draw(shown, width, height), self.words(shown)


PICTURES: tuple[Picture, ...] = (
    Picture("Clear distances and the goals", clear.draw, clear.words),
    Picture("What is seen through it, to scale", fields.draw, fields.words),
    Picture("From the side, to scale", side.draw, side.words),
    Picture("Acuity, better to the right", ladder.draw, ladder.words),
    Picture("Reading speed by size of print", reading.draw, reading.words),
)
