"""Every configuration of a stock for one person, ranked, with what cannot be used and why.

Rows (a telescope before an eye) are ranked by the best place they can be worn in; an option is a row in a place. Only
the options that are looked at are made, in order.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import chain
from operator import itemgetter
from typing import NamedTuple

from ..configuration import Configuration, Correction, EyeChoice, Position
from ..goals import Demand
from ..stock import Filter
from .columns import Column
from .context import Context
from .layers import SMALL, EyeRows, Place, Prepared
from .ranking import (
    comfort,
    position_comfort,
)
from .refusals import (
    Frame,
    RefusedEntry,
    where_worn,
)
from .types import Grade

FIRST_SORTED = 256

# A row by the order of its block, its own order of ties, its block and its number.
RowAt = tuple[int, int, int, int]


class Entry(NamedTuple):
    """An option as the ranking keeps it."""

    score: float
    block: int
    row: int
    place: Place


@dataclass(frozen=True, slots=True, eq=False)
class Worn:
    """The places that each kind of row (:func:`.layers.kind_of`) has, with the points of their comfort at full use."""

    places: list[tuple[tuple[Place, float], ...]]
    best: list[float]
    counts: list[int]

    def by_row(self, kinds: Sequence[int]) -> tuple[list[float], list[int]]:
        """For rows of these kinds the points of the most comfortable place, and how many places there are."""
        return [self.best[kind] for kind in kinds], [self.counts[kind] for kind in kinds]


@dataclass(slots=True, eq=False)
class Block:
    """Rows for one choice of eye and one filter, with scores without the place.

    Blocks with one ``order`` are together all rows of a choice: ties between them go to the weaker telescope.
    """

    eye: EyeChoice
    tint: Filter | None
    rows: EyeRows
    columns: list[Column]
    usable: list[bool]
    base: Sequence[float]
    used: Sequence[float]
    frame: Frame
    no_full: list[bool]
    order: int

    def places_of(self, number: int) -> tuple[Place, ...]:
        """The places in which a row can be used."""
        found = where_worn(self.frame.places, self.rows.rows[number])
        if self.no_full and self.no_full[number]:
            return tuple(place for place in found if place[0] != "full diameter")
        return found

    def grades(self, number: int) -> tuple[Grade, ...]:
        """The grade for each goal."""
        return tuple(column.grade(number) for column in self.columns)


@dataclass(slots=True, eq=False)
class Grid:
    """The whole cross for a person: blocks, refusals, and the options in order of their score.

    ``counted`` are the goals that the order goes by: those that ask for a telescope, all where none does. By block,
    ``best_of_row`` is the score of each row in its best place, below 0 where it has none or serves no goal.
    """

    ready: Prepared
    context: Context
    demands: tuple[Demand, ...]
    counted: tuple[Demand, ...]
    blocks: list[Block] = field(default_factory=list)
    refused: list[RefusedEntry] = field(default_factory=list)
    best_of_row: list[list[float]] = field(default_factory=list)
    _worn: list[Worn] = field(default_factory=list)
    _counts: list[Sequence[int]] = field(default_factory=list)
    _first: list[Entry] = field(default_factory=list)
    _useful: int = -1
    _all: list[Entry] | None = None
    _rest: list[Entry] | None = None

    def __len__(self) -> int:
        """How many options there are."""
        return sum(map(sum, self._counts))

    def entry(self, rank: int) -> Entry:
        """The option at that place, best first."""
        if rank < len(self._first):
            return self._first[rank]
        if self._useful < 0:
            self._useful = sum(
                sum([count for count, score in zip(counts, best, strict=True) if score >= 0.0])
                for counts, best in zip(self._counts, self.best_of_row, strict=True)
            )
        if rank < self._useful:
            if self._all is None:
                self._all = self._ranked(self._rows(useful=True))
            return self._all[rank]
        if self._rest is None:
            self._rest = [
                Entry(0.0, number, row, place)
                for _, _, number, row in self._rows(useful=False)
                for place in self.blocks[number].places_of(row)
            ]
        return self._rest[rank - self._useful]

    def rank_of(self, block: int, row: int) -> int:
        """The rank of a row in its best place."""
        score = self.best_of_row[block][row]
        for rank, entry in enumerate(self._first):
            if entry.block == block and entry.row == row:
                return rank
        if self._all is None:
            self._all = self._ranked(self._rows(useful=True))
        return next(
            rank
            for rank, entry in enumerate(self._all)
            if entry.block == block and entry.row == row and entry.score >= score - 1e-12
        )

    def first_rank_of(self, eye: EyeChoice) -> int | None:
        """The rank of the first option for that choice of eyes, None where none is among the foremost."""
        blocks = [number for number, block in enumerate(self.blocks) if block.eye == eye]
        return next((rank for rank, entry in enumerate(self._first) if entry.block in blocks), None)

    def best_entry_of(self, eye: EyeChoice) -> Entry | None:
        """The best option for that choice of eyes, wherever it stands; None where none serves a goal."""
        found = [
            (score, number, row)
            for number, block in enumerate(self.blocks)
            if block.eye == eye
            for row, score in enumerate(self.best_of_row[number])
            if score >= 0.0
        ]
        if not found:
            return None
        _, number, row = max(found)
        return max(self._entries_of(number, row), key=lambda entry: entry.score)

    def _entries_of(self, block: int, row: int) -> list[Entry]:
        found = self.blocks[block]
        base, used, places = (
            found.base[row],
            found.used[row],
            self._worn[block].places[found.rows.optics.kinds[row]],
        )
        if found.no_full and found.no_full[row]:
            places = [item for item in places if item[0][0] != "full diameter"]
        return [Entry(base + used * suit, block, row, place) for place, suit in places]

    def _rows(self, useful: bool) -> list[RowAt]:
        """The rows that are of use for a goal, or the others, in the order of ties."""
        return sorted(
            (block.order, tie, number, row)
            for number, block in enumerate(self.blocks)
            for row, (used, usable, tie) in enumerate(
                zip(block.used, block.usable, block.rows.optics.ties, strict=True)
            )
            if usable and bool(used) is useful
        )

    def _ranked(self, rows: list[RowAt]) -> list[Entry]:
        """The options of rows that are in the order of ties, best first."""
        entries: list[Entry] = []
        for _, _, number, row in rows:
            entries += self._entries_of(number, row)
        entries.sort(key=itemgetter(0), reverse=True)
        return entries

    def finish(self) -> None:
        """Rank the rows; the first options are in order at once, the rest when they are looked at."""
        positions = position_comfort(self.context, self.counted)
        suited = (self.context.figures.weights[6], *sorted(positions.items()))
        for number, block in enumerate(self.blocks):
            worn = SMALL.get(
                (self.ready, suited, block.frame.spots, block.eye == "both"),
                lambda block=block: self._worn_by_kind(block, positions),
            )
            self._worn.append(worn)
            suits, counts = SMALL.get(
                (block.rows.optics, worn), lambda block=block, worn=worn: worn.by_row(block.rows.optics.kinds)
            )
            best = [
                base + used * suit if used else -1.0
                for base, used, suit in zip(block.base, block.used, suits, strict=True)
            ]
            if block.no_full:
                counts = [len(self._entries_of(number, row)) for row in range(len(best))]
                best = [
                    self._best_place(number, row) if out and score >= 0.0 else score
                    for row, (out, score) in enumerate(zip(block.no_full, best, strict=True))
                ]
            if not all(block.usable):
                counts = [count if ok else 0 for count, ok in zip(counts, block.usable, strict=True)]
            if 0 in counts:
                best = [score if count else -1.0 for score, count in zip(best, counts, strict=True)]
            self.best_of_row.append(best)
            self._counts.append(counts)
        self._first = self._foremost()

    def _foremost(self) -> list[Entry]:
        """The first options in order, from the foremost rows of all."""
        scores = sorted(chain.from_iterable(self.best_of_row), reverse=True)
        least = max(0.0, scores[FIRST_SORTED]) if len(scores) > FIRST_SORTED else 0.0
        heads: list[tuple[float, int, int, int, int]] = []
        for number, (block, best) in enumerate(zip(self.blocks, self.best_of_row, strict=True)):
            order, ties = block.order, block.rows.optics.ties
            heads += [
                (-score, order, ties[row], number, row) for row, score in enumerate(best) if score >= least
            ]
        heads.sort()
        top = heads[:FIRST_SORTED]
        first = self._ranked(sorted([(order, tie, number, row) for _, order, tie, number, row in top]))
        # Every row left out has a best place no better than the last of these, so this many are surely in order.
        return first if len(top) == len(heads) else first[: len(top)]

    def _worn_by_kind(self, block: Block, positions: dict[Position, float]) -> Worn:
        """Where each kind of row can be worn, and what its comfort there counts for."""
        weight, tubes = self.context.figures.weights[6], 2 if block.eye == "both" else 1
        found: list[tuple[tuple[Place, float], ...]] = []
        for telescope, (behind, front) in zip(self.ready.telescopes, block.frame.places, strict=True):
            first, second = (
                tuple(
                    [
                        (place, weight * comfort(positions, place[0], place[1], telescope, tubes))
                        for place in where
                    ]
                )
                for where in (behind, front)
            )
            # In the order of kind_of.
            found += (first, second, first + second)
        best = [max([suit for _, suit in places], default=0.0) for places in found]
        return Worn(found, best, [len(places) for places in found])

    def _best_place(self, block: int, row: int) -> float:
        """The score of a row in its best place, -1 when there is none."""
        return max((entry.score for entry in self._entries_of(block, row)), default=-1.0)

    def configuration(self, entry: Entry) -> Configuration:
        """The configuration of an entry."""
        block = self.blocks[entry.block]
        row = block.rows.rows[entry.row]
        return self.made(
            row.telescope, block.eye, entry.place, row.cap, block.tint, row.correction, row.hyperfocal
        )

    def made(
        self, index: int, eye: EyeChoice, place: Place, cap: int, tint: Filter | None, correction: Correction,
        hyperfocal: bool,
    ) -> Configuration:  # fmt: skip
        """The configuration of a telescope by its place in the prepared stock."""
        telescope = self.ready.telescopes[index]
        spread = min(self.context.person.spread_mm, telescope.spread_highest_mm) if eye == "both" else 0.0
        return Configuration(
            telescope.id,
            eye,
            place[0],
            place[1],
            self.ready.caps[index][cap].id if cap >= 0 else "",
            "" if tint is None else tint.id,
            correction,
            "hyperfocal" if hyperfocal else "infinity",
            max(0.0, spread),
        )

    def refused_configuration(self, number: int) -> Configuration:
        """The configuration that stands for a refusal."""
        return self.made(*self.refused[number].configuration)
