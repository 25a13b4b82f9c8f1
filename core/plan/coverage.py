"""Options against goals, and the fewest devices that cover the goals."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from itertools import combinations
from typing import Generic, TypeVar, overload

from .grid import Grid
from .types import Coverage, CoverageRow, DeviceSet

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


def coverage_of(grid: Grid, goals: tuple[str, ...]) -> Coverage:
    """The table, best option first."""

    def row(rank: int) -> CoverageRow:
        entry = grid.entry(rank)
        return CoverageRow(rank + 1, grid.configuration(entry), grid.blocks[entry.block].grades(entry.row))

    return Coverage(goals, Lazy(len(grid), row))


def smallest_set(grid: Grid, goals: tuple[str, ...]) -> DeviceSet:
    """The fewest devices that meet the goals; a goal that no option meets is named as left."""
    count = len(goals)
    if not len(grid) or not count:
        return DeviceSet((), (), (), tuple(range(count)), "No option to choose from.")
    best = _best_by_mask(grid, count)
    reachable = 0
    for mask in best:
        reachable |= mask
    masks = sorted(best, key=lambda mask: (-mask.bit_count(), -best[mask][0]))[:MOST_KINDS]
    chosen = _cover(reachable, masks, {mask: -best[mask][0] for mask in masks})
    ranks = [grid.rank_of(best[mask][1], best[mask][2]) for mask in chosen]
    left = [goal for goal in range(count) if not reachable >> goal & 1]
    return _said(grid, goals, chosen, ranks, left)


def _best_by_mask(grid: Grid, count: int) -> dict[int, tuple[float, int, int]]:
    """For each set of goals met (as bits), the row with the best score: score, block, row."""
    found: dict[int, tuple[float, int, int]] = {}
    for number, block in enumerate(grid.blocks):
        for row, (mask, score) in enumerate(
            zip(
                _masks([column.grades for column in block.columns], count),
                grid.best_of_row[number],
                strict=True,
            )
        ):
            if mask and score >= 0.0:
                known = found.get(mask)
                if known is None or score > known[0]:
                    found[mask] = (score, number, row)
    return found


def _masks(grades: list[bytes], count: int) -> Sequence[int]:
    """The goals met by each row, as bits."""
    if count > 8:
        return [
            sum(1 << goal for goal, grade in enumerate(row) if grade == 0)
            for row in zip(*grades, strict=True)
        ]
    # Eight goals fit a byte: whole columns are joined at once.
    joined = 0
    length = len(grades[0])
    for goal, column in enumerate(grades):
        table = bytes([1 << goal]) + bytes(255)
        joined |= int.from_bytes(column.translate(table), "little")
    return joined.to_bytes(length, "little")


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
    grid: Grid, goals: tuple[str, ...], chosen: tuple[int, ...], ranks: list[int], left: list[int]
) -> DeviceSet:
    configurations = tuple(grid.configuration(grid.entry(rank)) for rank in ranks)
    taken = 0
    by_device: list[tuple[int, ...]] = []
    for mask in chosen:
        by_device.append(
            tuple(goal for goal in range(len(goals)) if mask >> goal & 1 and not taken >> goal & 1)
        )
        taken |= mask
    if not chosen:
        words = "No option meets any of the goals; see what comes nearly there."
    else:
        number = "One device" if len(chosen) == 1 else f"{len(chosen)} devices"
        words = f"{number} for {', '.join(goals[goal] for device in by_device for goal in device)}"
        words += f"; none meets {', '.join(goals[goal] for goal in left)}." if left else "."
    return DeviceSet(tuple(rank + 1 for rank in ranks), configurations, tuple(by_device), tuple(left), words)
