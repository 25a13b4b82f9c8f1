"""What a timeline is made of: visits as columns, values as rows, and what changed. Plain values."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Literal

Direction = Literal["better", "worse", "same", "changed", "first", "not comparable", "not measured"]


@dataclass(frozen=True, slots=True)
class Change:
    """What changed since the value was last measured. ``beyond`` says that it is more than repeats."""

    direction: Direction
    words: str
    beyond: bool = False


@dataclass(frozen=True, slots=True)
class Cell:
    """One value at one visit: as typed, what it was understood as, how it is known, and the change. Empty: nothing."""

    typed: str = ""
    words: str = ""
    status: str = ""
    change: Change | None = None

    @property
    def empty(self) -> bool:
        """Nothing was recorded."""
        return not self.typed


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the timeline: a cell for each visit, oldest first."""

    key: str
    label: str
    cells: tuple[Cell, ...]
    group: str

    @property
    def last_change(self) -> Change | None:
        """The change at the latest visit that has a value."""
        return next((cell.change for cell in reversed(self.cells) if not cell.empty), None)


@dataclass(frozen=True, slots=True)
class Heading:
    """One visit as a column."""

    on: date
    kind: str
    signed: str
    days_since_last: int | None
    age_words: str


@dataclass(frozen=True, slots=True)
class Timeline:
    """All visits side by side, rows without any value left out, and the summary of the latest visit in sentences."""

    visits: tuple[Heading, ...]
    rows: tuple[Row, ...]
    summary: tuple[str, ...]

    def row(self, key: str) -> Row | None:
        """The row of that key."""
        return next((row for row in self.rows if row.key == key), None)
