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
    """The fewest devices that meet the goals; where none meets one, what comes nearly there is taken and said."""
    count = len(goals)
    if not len(grid) or not count:
        return DeviceSet((), (), (), tuple(range(count)), "No option to choose from.")
    kinds = _kinds(grid)
    meets = {mask: rank for mask, (rank, _) in _by_mask(kinds, 0).items()}
    reachable = 0
    for mask in meets:
        reachable |= mask
    chosen = _cover(
        reachable, sorted(meets, key=lambda mask: (-mask.bit_count(), meets[mask]))[:MOST_KINDS], meets
    )
    ranks = [meets[mask] for mask in chosen]
    left = [goal for goal in range(count) if not reachable >> goal & 1]
    return _said(grid, goals, chosen, ranks, left)


def _kinds(grid: Grid) -> dict[tuple[int, ...], int]:
    """The best rank for each pattern of grades among the options of any use."""
    found: dict[tuple[int, ...], int] = {}
    seen: dict[int, dict[int, int]] = {}
    for number, block in enumerate(grid.blocks):
        patterns: dict[tuple[int, ...], int] = {}
        codes = []
        for grades in zip(*(column.grades for column in block.columns), strict=True):
            codes.append(patterns.setdefault(grades, len(patterns)))
        seen[number] = dict(enumerate(codes))
        for pattern in patterns:
            found.setdefault(pattern, -1)
    names: dict[int, list[tuple[int, ...]]] = {
        number: list(dict.fromkeys(zip(*(column.grades for column in block.columns), strict=True)))
        for number, block in enumerate(grid.blocks)
    }
    best: dict[tuple[int, ...], int] = {}
    for rank, entry in enumerate(grid.ranked):
        pattern = names[entry.block][seen[entry.block][entry.row]]
        if pattern not in best or grid.ranked[best[pattern]].score < entry.score:
            best[pattern] = rank
    return best


def _by_mask(kinds: dict[tuple[int, ...], int], grade: int) -> dict[int, tuple[int, int]]:
    found: dict[int, tuple[int, int]] = {}
    for pattern, rank in kinds.items():
        mask = sum(1 << goal for goal, value in enumerate(pattern) if value <= grade)
        if mask and (mask not in found or rank < found[mask][0]):
            found[mask] = (rank, mask)
    return found


def _cover(wanted: int, masks: list[int], ranks: dict[int, int]) -> tuple[int, ...]:
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
            return min(fitting, key=lambda group: sum(ranks[mask] for mask in group))
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
