"""Every configuration of a stock for one person, ranked, with what cannot be used and why.

Rows (a telescope before an eye) are ranked by the best place they can be worn in; an option is a row in a place. Only
the options that are looked at are made, in order.
"""

from __future__ import annotations

import heapq
from array import array
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from ..configuration import EYES, Configuration, Correction, EyeChoice
from ..goals import Demand
from ..stock import Filter, Stock
from .configurations import (
    clip_refusal,
    eye_refusal,
    filters_asked_for,
    place_refusal,
)
from .context import Context, EyeIn, Side
from .device import FRONT_MOUNTS
from .formulas import low_power_worth
from .layers import SMALL, Column, EyeRows, Pairing, Place, Prepared, columns, eye_rows, prepared
from .outcome import vergence_reserve_prism
from .ranking import (
    HYPERFOCAL_WORTH,
    UNCORRECTED_WORTH,
    cap_worth,
    comfort,
    goal_weights,
    hands,
    position_comfort,
    two_eyes,
    weakest_unused_cap_d,
)
from .refusals import (
    Frame,
    Places,
    RefusedEntry,
    Shut,
    refuse_bad,
    refuse_closed,
    refuse_filter,
    refuse_mounts,
    refuse_places,
    refuse_ring,
    refuse_second_eye,
    where_worn,
)
from .types import GRADES, Grade

FIRST_SORTED = 256


class Entry(NamedTuple):
    """An option as the ranking keeps it."""

    score: float
    block: int
    row: int
    place: Place


@dataclass(slots=True, eq=False)
class Block:
    """All rows for one choice of eye and one filter, with scores without the place."""

    eye: EyeChoice
    tint: Filter | None
    rows: EyeRows
    columns: list[Column]
    usable: list[bool]
    base: list[float]
    used: list[float]
    frame: Frame
    no_full: list[bool]

    def places_of(self, number: int) -> tuple[Place, ...]:
        """The places in which a row can be used."""
        found = where_worn(self.frame.places, self.rows.rows[number])
        if self.no_full and self.no_full[number]:
            return tuple(place for place in found if place[0] != "full diameter")
        return found

    def grades(self, number: int) -> tuple[Grade, ...]:
        """The grade for each goal."""
        return tuple(GRADES[column.grades[number]] for column in self.columns)


@dataclass(slots=True, eq=False)
class Grid:
    """The whole cross for a person: blocks, refusals, and the options in order of their score."""

    ready: Prepared
    context: Context
    demands: tuple[Demand, ...]
    blocks: list[Block] = field(default_factory=list)
    refused: list[RefusedEntry] = field(default_factory=list)
    best_of_row: list[list[float]] = field(default_factory=list)
    _count: int = 0
    _useful: int = 0
    _first: list[Entry] = field(default_factory=list)
    _all: list[Entry] | None = None
    _rest: list[Entry] | None = None
    _suits: dict[tuple[int, Place], float] = field(default_factory=dict)

    def __len__(self) -> int:
        """How many options there are."""
        return self._count

    def entry(self, rank: int) -> Entry:
        """The option at that place, best first."""
        if rank < len(self._first):
            return self._first[rank]
        if rank < self._useful:
            if self._all is None:
                self._all = sorted(self._useful_entries(), key=_by_score)
            return self._all[rank]
        if self._rest is None:
            self._rest = list(self._useless_entries())
        return self._rest[rank - self._useful]

    def rank_of(self, block: int, row: int) -> int:
        """The rank of a row in its best place."""
        score = self.best_of_row[block][row]
        for rank, entry in enumerate(self._first):
            if entry.block == block and entry.row == row:
                return rank
        if self._all is None:
            self._all = sorted(self._useful_entries(), key=_by_score)
        return next(
            rank
            for rank, entry in enumerate(self._all)
            if entry.block == block and entry.row == row and entry.score >= score - 1e-12
        )

    def _entries_of(self, block: int, row: int) -> Iterator[Entry]:
        found = self.blocks[block]
        base, used, telescope = found.base[row], found.used[row], found.rows.rows[row].telescope
        weight = self.context.figures.weights[6]
        for place in found.places_of(row):
            yield Entry(base + used * weight * self._suits[telescope, place], block, row, place)

    def _useful_entries(self) -> Iterator[Entry]:
        for number, block in enumerate(self.blocks):
            for row, (used, usable) in enumerate(zip(block.used, block.usable, strict=True)):
                if used and usable:
                    yield from self._entries_of(number, row)

    def _useless_entries(self) -> Iterator[Entry]:
        for number, block in enumerate(self.blocks):
            for row, (used, usable) in enumerate(zip(block.used, block.usable, strict=True)):
                if not used and usable:
                    for place in block.places_of(row):
                        yield Entry(0.0, number, row, place)

    def finish(self) -> None:
        """Rank the rows; the first options are in order at once, the rest when they are looked at."""
        weight = self.context.figures.weights[6]
        positions = position_comfort(self.context.person, self.demands)
        for index, telescope in enumerate(self.ready.telescopes):
            for place in self.ready.places[index]:
                self._suits[index, place] = comfort(positions, place[0], place[1], telescope)
        heads: list[tuple[float, int, int]] = []
        for number, block in enumerate(self.blocks):
            counts, suits = self._by_kind(block)
            kinds = block.rows.kinds
            best = [
                base + used * weight * suits[kind] if used and ok else -1.0
                for base, used, ok, kind in zip(block.base, block.used, block.usable, kinds, strict=True)
            ]
            if block.no_full:
                best = [
                    self._best_place(number, row) if out and score >= 0.0 else score
                    for row, (out, score) in enumerate(zip(block.no_full, best, strict=True))
                ]
                places = [len(block.places_of(row)) if ok else 0 for row, ok in enumerate(block.usable)]
            else:
                places = [counts[kind] if ok else 0 for kind, ok in zip(kinds, block.usable, strict=True)]
                if 0 in counts:
                    best = [score if count else -1.0 for score, count in zip(best, places, strict=True)]
            self.best_of_row.append(best)
            self._count += sum(places)
            self._useful += sum(count for count, score in zip(places, best, strict=True) if score >= 0.0)
            heads.extend((score, number, row) for row, score in enumerate(best) if score >= 0.0)
        top = heapq.nlargest(FIRST_SORTED, heads, key=lambda head: head[0])
        first = [
            entry
            for _, number, row in sorted(top, key=lambda h: h[1:])
            for entry in self._entries_of(number, row)
        ]
        first.sort(key=_by_score)
        # Every row left out has a best place no better than the last of these, so this many are surely in order.
        self._first = first if len(top) == len(heads) else first[: len(top)]

    def _by_kind(self, block: Block) -> tuple[list[int], list[float]]:
        """How many places each kind of row has, and the comfort of the best of them."""
        counts: list[int] = []
        suits: list[float] = []
        for index, (behind, front) in enumerate(block.frame.places):
            worth = [[self._suits[index, place] for place in where] for where in (behind, front)]
            for found in (worth[0], worth[1], worth[0] + worth[1]):
                counts.append(len(found))
                suits.append(max(found, default=0.0))
        return counts, suits

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


def _by_score(entry: Entry) -> float:
    return -entry.score


def grid_of(context: Context, stock: Stock, demands: tuple[Demand, ...]) -> Grid:
    """The whole cross for a person and a stock."""
    grid = Grid(prepared(stock), context, demands)
    tints: list[Filter | None] = [None]
    if filters_asked_for(context, any(demand.light == "bright" for demand in demands)):
        tints.extend(stock.filters)
    for choice in EYES:
        _choice(grid, choice, tints)
    grid.finish()
    if len(tints) == 1:
        for tint in stock.filters:
            refuse_filter(grid, tint)
    return grid


def _sides(choice: EyeChoice) -> tuple[Side, ...]:
    return ("right", "left") if choice == "both" else (choice,)


def _frame(grid: Grid, choice: EyeChoice, lead: EyeIn) -> Frame:
    context, ready, person = grid.context, grid.ready, grid.context.person
    key = (
        ready, choice, lead, context.right.closed, context.left.closed, person.fusion, person.suppression,
        person.double_vision, person.pd.total_mm, person.b_size_mm, "face.b_size" in person.assumed,
        person.tube_tilt_deg, person.lenses_worn, context.figures,
    )  # fmt: skip

    def make() -> Frame:
        found = Frame({}, [], [])
        for index, telescope in enumerate(ready.telescopes):
            refusal = eye_refusal(context, telescope, choice)
            if refusal is not None:
                found.closed[index] = refusal[0]
            offered = ready.places[index]
            clipped = tuple(place for place in offered if clip_refusal(context, place[1]) is not None)
            if clipped and refusal is None:
                found.shut.append(Shut(index, "mount", *_split(clipped)))
                offered = tuple(place for place in offered if place not in clipped)
            high = tuple(place for place in offered if place[0] == "bioptic")
            shallow = place_refusal(context, telescope, "bioptic", lead) if high and refusal is None else None
            kept = offered if shallow is None else tuple(place for place in offered if place[0] != "bioptic")
            found.places.append(_split(kept))
            if shallow is not None:
                found.shut.append(Shut(index, shallow[0], *_split(high)))
        return found

    return SMALL.get(key, make)


def _split(places: tuple[Place, ...]) -> Places:
    return (
        tuple(place for place in places if place[1] not in FRONT_MOUNTS),
        tuple(place for place in places if place[1] in FRONT_MOUNTS),
    )


def _choice(grid: Grid, choice: EyeChoice, tints: list[Filter | None]) -> None:
    ready, context = grid.ready, grid.context
    sides = context.order(_sides(choice))
    lead = context.eye(sides[0])
    frame = _frame(grid, choice, lead)
    refuse_closed(grid, choice, frame, len(tints))
    if len(frame.closed) == len(ready.telescopes):
        return
    needs = any(context.eye(side).needs_correction for side in sides)
    rows = eye_rows(ready, context, lead, needs)
    second = eye_rows(ready, context, context.eye(sides[1]), needs) if choice == "both" else None
    barred = refuse_second_eye(grid, choice, rows, second, frame, len(tints))
    for bad in rows.bad:
        if bad.telescope not in frame.closed:
            refuse_bad(grid, choice, bad, frame.places, len(tints))
    usable = SMALL.get((rows, second, frame), lambda: _usable(rows, frame, barred))
    refuse_places(grid, choice, rows, frame, usable, len(tints))
    refuse_mounts(grid, choice, frame, len(tints))
    no_full = refuse_ring(grid, choice, lead, rows, usable, frame, len(tints))
    for tint in tints:
        grid.blocks.append(_block(grid, choice, lead, tint, rows, usable, frame, no_full))


def _usable(rows: EyeRows, frame: Frame, barred: set[tuple[int, Correction, bool]]) -> list[bool]:
    return [
        row.telescope not in frame.closed and (row.telescope, row.correction, row.front) not in barred
        for row in rows.rows
    ]


def _pairing(context: Context, demand: Demand) -> Pairing | None:
    """What two eyes need for a goal; None where two tubes are out of the question for this person."""
    if context.person.fusion is not True or not (context.right.usable and context.left.usable):
        return None
    person = context.person
    return Pairing(max(0.0, person.spread_mm), vergence_reserve_prism(context, demand), person.pd.total_mm)


def _block(
    grid: Grid, choice: EyeChoice, lead: EyeIn, tint: Filter | None, rows: EyeRows, usable: list[bool],
    frame: Frame, no_full: list[bool],
) -> Block:  # fmt: skip
    context, ready = grid.context, grid.ready
    two = choice == "both"
    logmar, log_cs = context.logmar(choice, lead), context.log_cs(choice, lead)
    leads = context.leading == lead.side
    found = []
    for demand in grid.demands:
        pairing = _pairing(context, demand) if two or leads else None
        pair = columns(
            ready,
            context,
            lead,
            rows,
            demand,
            logmar,
            log_cs,
            1.0 if tint is None else tint.transmittance,
            pairing,
        )
        found.append(pair[two])
    weights, unused = context.figures.weights, weakest_unused_cap_d(grid.demands)
    device = (
        rows, choice, tint is not None, weights, two_eyes(context, choice), lead.needs_correction, unused,
        context.person.hands,
    )  # fmt: skip

    def make() -> tuple[list[float], list[float]]:
        shares = goal_weights(len(found))
        used = _weighted([column.uses for column in found], shares, len(rows.rows))
        points = _weighted([column.points for column in found], shares, len(rows.rows))
        extra = SMALL.get(
            device,
            lambda: _extra(ready, context, rows, choice, tint is not None, lead.needs_correction, unused),
        )
        return [p + u * e for p, u, e in zip(points, used, extra, strict=True)], used

    base, used = SMALL.get((device, tuple(found)), make)
    return Block(choice, tint, rows, found, usable, base, used, frame, no_full)


def _weighted(found: list[array], shares: Sequence[float], count: int) -> list[float]:
    if not found:
        return [0.0] * count
    total = [shares[0] * value for value in found[0]]
    for values, share in zip(found[1:], shares[1:], strict=True):
        total = [before + share * value for before, value in zip(total, values, strict=True)]
    return total


def _extra(
    ready: Prepared,
    context: Context,
    rows: EyeRows,
    choice: EyeChoice,
    tinted: bool,
    needs: bool,
    unused: float,
) -> array:
    """What the device itself is worth apart from the goals and the place, by row."""
    weights = context.figures.weights
    pair = weights[8] * two_eyes(context, choice)
    found = array("d")
    for row in rows.rows:
        simple = 1.0
        if row.state is not None:
            simple = cap_worth(row.state.power_d, unused)
        if needs and row.correction == "none":
            simple *= UNCORRECTED_WORTH
        if tinted:
            simple *= 0.8
        if row.correction in ("objective", "refocused"):
            simple *= 0.9
        if row.hyperfocal:
            simple *= HYPERFOCAL_WORTH
        found.append(
            weights[2] * low_power_worth(row.q.m)
            + weights[7] * hands(ready.telescopes[row.telescope], context.person)
            + pair
            + weights[9] * simple
        )
    return found
