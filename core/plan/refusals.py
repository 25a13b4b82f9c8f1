"""What of the cross cannot be used: each refusal names a configuration and how many its reason takes out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import atan, pi
from typing import TYPE_CHECKING, Any, NamedTuple

from ..configuration import Correction, EyeChoice
from ..stock import Filter
from .configurations import (
    corrections_for,
    goes_in_front,
    needs_lens,
    unequal_images,
)
from .context import EyeIn
from .layers import EyeRows, Place
from .quick_tube import Bad, Row
from .types import RefusalCode

if TYPE_CHECKING:
    from .grid import Grid


Places = tuple[tuple[Place, ...], tuple[Place, ...]]


class Shut(NamedTuple):
    """Places that this frame does not allow, behind and in front of the carrier."""

    telescope: int
    code: RefusalCode
    behind: tuple[Place, ...]
    front: tuple[Place, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Spots:
    """The places left on this frame by telescope, and those that it does not allow, whoever looks."""

    places: list[Places]
    shut: list[Shut]


@dataclass(frozen=True, slots=True, eq=False)
class Frame:
    """What does not hang on the optics: telescopes closed to a choice of eyes, and where the others can sit."""

    closed: dict[int, RefusalCode]
    spots: Spots

    @property
    def places(self) -> list[Places]:
        """The places left on this frame, by telescope."""
        return self.spots.places


def where_worn(places: Sequence[Places], row: Row | Bad) -> tuple[Place, ...]:
    behind, front = places[row.telescope]
    if row.merged:
        return behind + front
    return front if row.front else behind


class RefusedEntry(NamedTuple):
    """A refusal as the grid keeps it; the sentence is made when it is looked at."""

    configuration: tuple[Any, ...]
    code: RefusalCode
    stands_for: int


def refuse_filter(grid: Grid, tint: Filter) -> None:
    for number, block in enumerate(grid.blocks):
        for row, usable in enumerate(block.usable):
            where = block.places_of(row) if usable else ()
            if where:
                kept = block.rows.rows[row]
                stands = (
                    kept.telescope, grid.blocks[number].eye, where[0], kept.cap, tint, kept.correction, kept.hyperfocal,
                )  # fmt: skip
                grid.refused.append(RefusedEntry(stands, "filter not asked for", len(grid)))
                return


def refuse_closed(grid: Grid, choice: EyeChoice, frame: Frame, tints: int) -> None:
    for index, code in frame.closed.items():
        corrections = corrections_for(grid.context, grid.ready.telescopes[index], choice)
        places = grid.ready.places[index]
        if corrections and places:
            count = len(corrections) * len(places) * grid.ready.states(index) * tints
            grid.refused.append(
                RefusedEntry((index, choice, places[0], -1, None, corrections[0], False), code, count)
            )


def refuse_bad(grid: Grid, choice: EyeChoice, bad: Bad, places: list[Places], tints: int) -> None:
    where = where_worn(places, bad)
    if where:
        stands = (bad.telescope, choice, where[0], bad.cap, None, bad.correction, False)
        grid.refused.append(RefusedEntry(stands, bad.code, bad.states * len(where) * tints))


def refuse_second_eye(
    grid: Grid, choice: EyeChoice, first: Sequence[Bad], second: EyeRows | None, frame: Frame, tints: int
) -> set[tuple[int, Correction, bool]]:
    """Telescopes and corrections that the second of two eyes cannot look through, whatever the cap.

    ``first`` is what the first eye refuses: a telescope with it is counted there, a cap on it here.
    """
    if second is None or not second.bad:
        return set()
    done = {(bad.telescope, bad.correction, bad.front) for bad in first if bad.cap < 0}
    found = set()
    for bad in second.bad:
        key = (bad.telescope, bad.correction, bad.front)
        if bad.cap < 0 and key not in done and bad.telescope not in frame.closed:
            found.add(key)
            refuse_bad(grid, choice, bad, frame.places, tints)
    return found


def refuse_unequal(
    grid: Grid, choice: EyeChoice, rows: EyeRows, second: EyeRows | None, frame: Frame, tints: int,
    barred: set[tuple[int, Correction, bool]],
) -> None:  # fmt: skip
    """Bar telescopes whose images differ too much in size once they are focused for two unequal eyes."""
    if second is None:
        return
    most = grid.context.figures.magnification_difference_percent
    other = {(row.telescope, row.correction, row.front): v.q.m for v in second.variants for row in v.rows[:1]}
    for variant in rows.variants:
        for row in variant.rows[:1]:
            key = (row.telescope, row.correction, row.front)
            mine, theirs = abs(variant.q.m), abs(other.get(key, variant.q.m))
            if mine == theirs or key in barred or row.telescope in frame.closed:
                continue
            if unequal_images(100.0 * (max(mine, theirs) / min(mine, theirs) - 1.0), most):
                barred.add(key)
                states = grid.ready.states(row.telescope)
                bad = Bad(row.telescope, row.correction, row.front, row.merged, -1, "unequal images", states)
                refuse_bad(grid, choice, bad, frame.places, tints)


def refuse_places(grid: Grid, choice: EyeChoice, frame: Frame, tints: int) -> None:
    """Places that the frame does not allow: all settings of such a telescope there, whatever else holds."""
    needs = needs_lens(grid.context, choice)
    for shut in frame.spots.shut:
        if shut.telescope in frame.closed:
            continue
        count, stands = 0, None
        for correction in corrections_for(grid.context, grid.ready.telescopes[shut.telescope], choice):
            where = shut.behind + shut.front if goes_in_front(correction, needs) else shut.behind
            count += len(where) * grid.ready.states(shut.telescope)
            if where and stands is None:
                stands = (shut.telescope, choice, where[0], -1, None, correction, False)
        if stands is not None:
            grid.refused.append(RefusedEntry(stands, shut.code, count * tints))


def refuse_mounts(grid: Grid, choice: EyeChoice, frame: Frame, tints: int) -> None:
    needs = needs_lens(grid.context, choice)
    for index, front in grid.ready.in_front.items():
        if index in frame.closed:
            continue
        for correction in corrections_for(grid.context, grid.ready.telescopes[index], choice):
            if not goes_in_front(correction, needs):
                count = len(front) * grid.ready.states(index) * tints
                stands = (index, choice, front[0], -1, None, correction, False)
                grid.refused.append(RefusedEntry(stands, "mount", count))


def refuse_ring(
    grid: Grid, choice: EyeChoice, lead: EyeIn, rows: EyeRows, usable: list[bool], frame: Frame, tints: int
) -> list[bool]:
    """Rows that must not be worn straight ahead; empty when that cannot happen."""
    if choice == "both" or lead.visual_field_deg is None:
        return []
    fellow = grid.context.left if choice == "right" else grid.context.right
    if fellow.usable:
        return []
    found = []
    for variant in rows.variants:
        ring = 360.0 / pi * atan(abs(variant.q.m) * variant.q.tan_real)
        found.extend([lead.visual_field_deg <= ring] * len(variant.rows))
    for row, good, out in zip(rows.rows, usable, found, strict=True):
        if out and good:
            full = [place for place in where_worn(frame.places, row) if place[0] == "full diameter"]
            if full:
                stands = (row.telescope, choice, full[0], row.cap, None, row.correction, row.hyperfocal)
                grid.refused.append(RefusedEntry(stands, "ring over the only field", len(full) * tints))
    return found
