"""How the whole cross is made for a person and a stock: rows before each eye, a column a goal, and what is refused."""

from __future__ import annotations

from array import array
from collections.abc import Sequence
from threading import Lock

from ..configuration import EYES, Correction, EyeChoice
from ..goals import Demand
from ..stock import Filter, Stock
from .asked import asking, first_eye, goal_shares
from .columns import Looking, Pairing, column, weighted
from .configurations import (
    clip_refusal,
    eye_refusal,
    filters_asked_for,
    hole_refusal,
    place_refusal,
)
from .context import Context, EyeIn, Side
from .device import FRONT_MOUNTS
from .grid import Block, Grid
from .layers import SCORES, SMALL, EyeRows, Place, Prepared, eye_rows, keep_two, prepared, reached
from .outcome import vergence_reserve_prism
from .quick import low_power
from .ranking import (
    HYPERFOCAL_WORTH,
    UNCORRECTED_WORTH,
    cap_worth,
    hands,
    two_eyes,
    weakest_unused_cap_d,
)
from .refusals import (
    Frame,
    Places,
    Shut,
    Spots,
    refuse_bad,
    refuse_closed,
    refuse_filter,
    refuse_mounts,
    refuse_places,
    refuse_ring,
    refuse_second_eye,
    refuse_unequal,
)
from .types import RefusalCode

# What earlier plans left is shared, and a plan may be made in one thread while another tries its inputs.
_ONE_AT_A_TIME = Lock()


def grid_of(context: Context, stock: Stock, demands: tuple[Demand, ...]) -> Grid:
    """The whole cross for a person and a stock."""
    with _ONE_AT_A_TIME:
        return _grid(context, stock, demands)


def _grid(context: Context, stock: Stock, demands: tuple[Demand, ...]) -> Grid:
    grid = Grid(prepared(stock), context, demands, asking(context, demands))
    tints: list[Filter | None] = [None]
    if filters_asked_for(context, any(demand.light == "bright" for demand in demands)):
        tints.extend(stock.filters)
    keep_two(len(demands), len(tints))
    # Of options that are worth the same, one for the eye that one tube goes before stands first.
    first: EyeChoice = first_eye(context, grid.counted)
    for choice in sorted(EYES, key=lambda eye: (eye == "both", eye != first)):
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
    who = (
        ready, choice, context.right.closed, context.left.closed, person.fusion, person.suppression,
        person.double_vision, person.pd.total_mm,
    )  # fmt: skip
    where = (
        ready, lead.pupil_mm, lead.pupil_height_mm, lead.pupil_height_known, lead.ocular_to_cornea_mm,
        lead.vertex_mm, person.b_size_mm, "face.b_size" in person.assumed, person.tube_tilt_deg,
        person.lenses_worn, context.figures,
    )  # fmt: skip

    def closed_to() -> dict[int, RefusalCode]:
        closed: dict[int, RefusalCode] = {}
        for index, telescope in enumerate(ready.telescopes):
            refusal = eye_refusal(context, telescope, choice)
            if refusal is not None:
                closed[index] = refusal[0]
        return closed

    def make() -> Frame:
        spots = SMALL.get(where, lambda: _spots(ready, context, lead))
        # The same places on another frame are the same object: what is kept by them stays.
        spots = SMALL.get((ready, tuple(spots.places), tuple(spots.shut)), lambda: spots)
        return Frame(SMALL.get(who, closed_to), spots)

    return SMALL.get((who, where), make)


def _spots(ready: Prepared, context: Context, lead: EyeIn) -> Spots:
    found = Spots([], [])
    clipped_on = {mount for mount in FRONT_MOUNTS if clip_refusal(context, mount) is not None}
    for index, telescope in enumerate(ready.telescopes):
        offered = ready.places[index]
        clipped = tuple([place for place in offered if place[1] in clipped_on]) if clipped_on else ()
        if clipped:
            found.shut.append(Shut(index, "mount", *_split(clipped)))
            offered = tuple([place for place in offered if place not in clipped])
        high = tuple([place for place in offered if place[0] == "bioptic"])
        shallow = place_refusal(context, telescope, "bioptic", lead) if high else None
        if shallow is not None:
            found.shut.append(Shut(index, shallow[0], *_split(high)))
            offered = tuple([place for place in offered if place[0] != "bioptic"])
        for position in ("full diameter", "low") if lead.pupil_height_known else ():
            behind = tuple(
                [place for place in offered if place[0] == position and place[1] not in FRONT_MOUNTS]
            )
            narrow = hole_refusal(context, telescope, position, lead) if behind else None
            if narrow is not None:
                found.shut.append(Shut(index, narrow[0], behind, ()))
                offered = tuple([place for place in offered if place not in behind])
        found.places.append(_split(offered))
    return found


def _split(places: tuple[Place, ...]) -> Places:
    return (
        tuple([place for place in places if place[1] not in FRONT_MOUNTS]),
        tuple([place for place in places if place[1] in FRONT_MOUNTS]),
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
    groups = eye_rows(ready, context, lead, needs)
    seconds = eye_rows(ready, context, context.eye(sides[1]), needs) if choice == "both" else (None, None)
    parts: list[tuple[EyeRows, list[bool]]] = []
    for rows, second in zip(groups, seconds, strict=True):
        within = reached(context, rows)
        barred = refuse_second_eye(grid, choice, within.bad, second, frame, len(tints))
        refuse_unequal(grid, choice, rows, second, frame, len(tints), barred)
        for bad in within.bad:
            behind_barred = bad.cap >= 0 and (bad.telescope, bad.correction, bad.front) in barred
            if bad.telescope not in frame.closed and not behind_barred:
                refuse_bad(grid, choice, bad, frame.places, len(tints))
        if rows.rows:
            most = context.figures.magnification_difference_percent
            parts.append((rows, _usable(rows, second, frame, barred, within.beyond, most)))
    refuse_places(grid, choice, frame, len(tints))
    refuse_mounts(grid, choice, frame, len(tints))
    no_full = [refuse_ring(grid, choice, lead, rows, usable, frame, len(tints)) for rows, usable in parts]
    for tint in tints:
        before = grid.blocks[-1].order + 1 if grid.blocks else 0
        for (rows, usable), out in zip(parts, no_full, strict=True):
            grid.blocks.append(_block(grid, choice, lead, tint, rows, usable, frame, out, before))


def _usable(
    rows: EyeRows, second: EyeRows | None, frame: Frame, barred: set[tuple[int, Correction, bool]],
    beyond: frozenset[int], most_unequal_percent: float,
) -> list[bool]:  # fmt: skip
    def make() -> list[bool]:
        if not (frame.closed or barred or beyond):
            return [True] * len(rows.rows)
        return [
            row.telescope not in frame.closed
            and (row.telescope, row.correction, row.front) not in barred
            and number not in beyond
            for number, row in enumerate(rows.rows)
        ]

    return SMALL.get((rows, second, frame, beyond, most_unequal_percent), make)


def _pairing(context: Context, demand: Demand) -> Pairing:
    """What two eyes need for a goal."""
    person = context.person
    return Pairing(max(0.0, person.spread_mm), vergence_reserve_prism(context, demand), person.pd.total_mm)


def _block(
    grid: Grid, choice: EyeChoice, lead: EyeIn, tint: Filter | None, rows: EyeRows, usable: list[bool],
    frame: Frame, no_full: list[bool], order: int,
) -> Block:  # fmt: skip
    context, ready = grid.context, grid.ready
    two = choice == "both"
    logmar, log_cs = context.logmar(choice, lead), context.log_cs(choice, lead)
    passes = 1.0 if tint is None else tint.transmittance
    found = [
        column(
            Looking(
                ready, context, lead, rows, demand, logmar, log_cs, passes,
                _pairing(context, demand) if two else None,
            )
        )
        for demand in grid.demands
    ]  # fmt: skip
    weights, unused = context.figures.weights, weakest_unused_cap_d(grid.counted)
    shares = goal_shares(context, grid.demands, grid.counted)
    worth = two_eyes(context, choice, grid.counted)
    device = (
        rows.optics, choice, tint is not None, weights, worth, lead.needs_correction, unused,
        context.person.hands,
    )  # fmt: skip

    def make() -> tuple[Sequence[float], Sequence[float]]:
        used, points = weighted(found, shares, len(rows.rows))
        extra = SMALL.get(
            device,
            lambda: _extra(ready, context, rows, worth, tint is not None, lead.needs_correction, unused),
        )
        return [p + u * e for p, u, e in zip(points, used, extra, strict=True)], used

    base, used = SCORES.get((device, shares, tuple(found)), make)
    return Block(choice, tint, rows, found, usable, base, used, frame, no_full, order)


def _extra(
    ready: Prepared,
    context: Context,
    rows: EyeRows,
    eyes_worth: float,
    tinted: bool,
    needs: bool,
    unused: float,
) -> array[float]:
    """What the device itself is worth apart from the goals and the place, by row."""
    weights = context.figures.weights
    pair = weights[8] * eyes_worth
    simplicity = weights[9]
    # What a cap leaves of simplicity, by how simple the device is without one.
    with_cap: dict[float, dict[float, float]] = {}
    found = array("d")
    for q, (rows_of, plains, caps, _) in rows.variants:
        first = rows_of[0]
        fixed = (
            weights[2] * low_power(q.m)
            + weights[7] * hands(ready.telescopes[first.telescope], context.person)
            + pair
        )
        plain = UNCORRECTED_WORTH if needs and first.correction == "none" else 1.0
        if tinted:
            plain *= 0.8
        if first.correction in ("objective", "refocused"):
            plain *= 0.9
        found.append(fixed + simplicity * plain)
        if plains > 1:
            found.append(fixed + simplicity * (plain * HYPERFOCAL_WORTH))
        worths = with_cap.get(plain)
        if worths is None:
            worths = with_cap[plain] = {
                cap.power_d: simplicity * (plain * cap_worth(cap.power_d, unused)) for cap in ready.stock.caps
            }
        found.extend([fixed + worths[cap.power_d] for cap in caps])
    return found
