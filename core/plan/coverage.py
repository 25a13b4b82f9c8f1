"""Options against goals, and the fewest devices that cover the goals."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from itertools import combinations
from math import inf
from typing import Generic, TypeVar, overload

from ..configuration import Configuration
from .columns import met
from .grid import Grid
from .types import Coverage, CoverageRow, DeviceSet
from .words import listed

T = TypeVar("T")
MOST_DEVICES = 3
MOST_KINDS = 40
KEPT = 64


class Lazy(Sequence[T], Generic[T]):
    """A sequence whose items are made when they are looked at; the last ones looked at are kept."""

    def __init__(self, length: int, make: Callable[[int], T]) -> None:
        self._length, self._make = length, make
        self._kept: dict[int, T] = {}

    def __len__(self) -> int:
        return self._length

    @overload
    def __getitem__(self, index: int) -> T: ...

    @overload
    def __getitem__(self, index: slice) -> tuple[T, ...]: ...

    def __getitem__(self, index: int | slice) -> T | tuple[T, ...]:
        if isinstance(index, slice):
            return tuple(self[number] for number in range(*index.indices(self._length)))
        number = index + self._length if index < 0 else index
        if not 0 <= number < self._length:
            raise IndexError(f"item {index} of {self._length}")
        found = self._kept.get(number)
        if found is None:
            if len(self._kept) >= KEPT:
                self._kept.pop(next(iter(self._kept)))
            found = self._kept[number] = self._make(number)
        return found

    def __iter__(self) -> Iterator[T]:
        return (self[number] for number in range(self._length))

    def __eq__(self, other: object) -> bool:
        return self is other

    __hash__ = object.__hash__


def coverage_of(grid: Grid, goals: tuple[str, ...], not_needed: tuple[int, ...] = ()) -> Coverage:
    """The table, best option first; ``not_needed`` are the goals that are reached without any telescope."""

    def row(rank: int) -> CoverageRow:
        entry = grid.entry(rank)
        return CoverageRow(rank + 1, grid.configuration(entry), grid.blocks[entry.block].grades(entry.row))

    return Coverage(goals, Lazy(len(grid), row), not_needed)


def smallest_set(grid: Grid, goals: tuple[str, ...], not_needed: tuple[int, ...] = ()) -> DeviceSet:
    """The fewest devices that meet the goals which ask for one; a goal that no option meets is named as left."""
    count = len(goals)
    wanted = [goal for goal in range(count) if goal not in not_needed]
    if not count and len(grid):
        return DeviceSet((), (), (), (), "No goal is recorded, so no device can be named for one.")
    if count and not wanted:
        return DeviceSet((), (), (), (), f"No telescope is needed for {listed(goals)}.")
    if not len(grid):
        return DeviceSet((), (), (), tuple(wanted), "No option to choose from.")
    best = _best_by_mask(grid, sum(1 << goal for goal in wanted))
    reachable = 0
    for mask in best:
        reachable |= mask
    masks = _worth_joining({mask: score for mask, (score, _, _) in best.items()})
    chosen = _cover(reachable, masks, {mask: -best[mask][0] for mask in masks})
    ranks = [grid.rank_of(best[mask][1], best[mask][2]) for mask in chosen]
    left = [goal for goal in wanted if not reachable >> goal & 1]
    found = _said(grid, goals, chosen, ranks, left, set(wanted))
    if not not_needed:
        return found
    free = f" No telescope is needed for {listed([goals[goal] for goal in not_needed])}."
    return found._replace(sentence=found.sentence + free)


def _best_by_mask(grid: Grid, wanted: int) -> dict[int, tuple[float, int, int]]:
    """For each set of wanted goals met (as bits), the row with the best score: score, block, row."""
    found: dict[int, tuple[float, int, int]] = {}
    # A row that meets none of them is never better, and one that cannot be used has a score under 0.
    best: dict[int, float] = {0: inf}
    known = best.get
    for number, block in enumerate(grid.blocks):
        scores = grid.best_of_row[number]
        masks = met(block.columns, len(scores))
        for row, mask, score in zip(range(len(scores)), masks, scores, strict=True):
            if score > known(mask & wanted, -0.5):
                best[mask & wanted] = score
                found[mask & wanted] = (score, number, row)
    return found


def _worth_joining(scores: dict[int, float]) -> list[int]:
    """The sets of goals to cover from: all that no other holds, so that none is missed, and the best of the rest."""
    ordered = sorted(scores, key=lambda mask: (-mask.bit_count(), -scores[mask]))
    kept: list[int] = []
    rest: list[int] = []
    for mask in ordered:
        (rest if any(mask & larger == mask for larger in kept) else kept).append(mask)
    return kept + rest[: max(0, MOST_KINDS - len(kept))]


def _cover(wanted: int, masks: list[int], costs: dict[int, float]) -> tuple[int, ...]:
    if not wanted:
        return ()
    for size in range(1, MOST_DEVICES + 1):
        fitting = []
        for group in combinations(masks, size):
            joined = 0
            for mask in group:
                joined |= mask
            if joined & wanted == wanted:
                fitting.append(group)
        if fitting:
            return min(fitting, key=lambda group: sum(costs[mask] for mask in group))
    chosen: list[int] = []
    open_ = wanted
    while open_:
        best = max(masks, key=lambda mask: (mask & open_).bit_count())
        if not best & open_:
            break
        chosen.append(best)
        open_ &= ~best
    return tuple(chosen)


def _said(
    grid: Grid,
    goals: tuple[str, ...],
    chosen: tuple[int, ...],
    ranks: list[int],
    left: list[int],
    wanted: set[int],
) -> DeviceSet:
    configurations = tuple(grid.configuration(grid.entry(rank)) for rank in ranks)
    taken = 0
    by_device: list[tuple[int, ...]] = []
    for mask in chosen:
        by_device.append(
            tuple(goal for goal in range(len(goals)) if mask >> goal & 1 and not taken >> goal & 1)
        )
        taken |= mask
    sentence = _sentence(grid, goals, configurations, ranks, by_device, left, wanted)
    return DeviceSet(
        tuple(rank + 1 for rank in ranks), configurations, tuple(by_device), tuple(left), sentence
    )


def _sentence(
    grid: Grid, goals: tuple[str, ...], configurations: Sequence[Configuration], ranks: list[int],
    by_device: list[tuple[int, ...]], left: list[int], wanted: set[int],
) -> str:  # fmt: skip
    """Which options are the set and what each is for, what none meets, and why the first option is not among them."""
    if not ranks:
        words = (
            listed([goals[goal] for goal in left], "or") if len(wanted) < len(goals) else "any of the goals"
        )
        return f"No option meets {words}; see what comes nearly there."
    devices = [
        f"{_named(rank, configuration)} for {listed([goals[goal] for goal in served])}"
        for rank, configuration, served in zip(ranks, configurations, by_device, strict=True)
    ]
    number = "one" if len(ranks) == 1 else str(len(ranks))
    words = f"Fewest devices that meet the goals: {number}, {'; '.join(devices)}"
    words += f"; no option meets {listed([goals[goal] for goal in left], 'or')}." if left else "."
    if 0 in ranks:
        return words
    entry = grid.entry(0)
    met = [
        goals[goal]
        for goal, grade in enumerate(grid.blocks[entry.block].grades(entry.row))
        if grade == "meets" and goal in wanted
    ]
    first = f"meets only {listed(met)}" if met else "meets none in full"
    return f"{words} The first option {first}: it stands first by power, field and how it is worn."


def _named(rank: int, configuration: Configuration) -> str:
    """An option by its place in the list, with what tells it from others."""
    if rank == 0:
        return "the first option"
    eye = "both eyes" if configuration.eye == "both" else f"{configuration.eye} eye"
    parts = [configuration.telescope, eye, configuration.position, configuration.cap]
    return f"option {rank + 1} ({', '.join(part for part in parts if part)})"
