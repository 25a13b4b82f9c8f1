"""Every configuration of a stock for one person, ranked: what is shared is made once and kept by what it hangs on.

Three layers, each kept in a small store of its own: the stock's numbers; an eye behind every tube (rows); an eye with a
goal over all rows (columns). An edit remakes only the layers that it touches.
"""

from __future__ import annotations

import heapq
from array import array
from collections import OrderedDict
from collections.abc import Callable, Hashable, Iterator, Sequence
from dataclasses import dataclass
from math import atan, pi, tan
from typing import Any, NamedTuple, cast

from ..configuration import EYES, Configuration, Correction, EyeChoice, Mount, Position
from ..goals import Demand
from ..stock import Cap, Filter, Stock, Telescope
from .configurations import (
    FRONT_CORRECTIONS,
    corrections_for,
    eye_refusal,
    filters_asked_for,
    place_refusal,
    places_for,
    reach_refusal,
)
from .context import Context, EyeIn
from .device import FRONT_MOUNTS, IN_FRONT_GAP_MM
from .outcome import vergence_reserve_prism
from .quick import (
    CapState,
    EyeGoal,
    Quick,
    QuickEye,
    Tube,
    cap_state,
    clear_between,
    evaluate,
    eye_goal,
    quick_eye,
    tube_of,
)
from .ranking import (
    HYPERFOCAL_WORTH,
    UNCORRECTED_WORTH,
    comfort,
    goal_weights,
    hands,
    low_power,
    position_comfort,
    two_eyes,
)
from .types import GRADES, Grade, RefusalCode

Place = tuple[Position, Mount]
FIRST_SORTED = 256


class Store:
    """The most recent results by key; the oldest go first."""

    def __init__(self, most: int) -> None:
        self._kept: OrderedDict[Hashable, Any] = OrderedDict()
        self._most = most

    def get(self, key: Hashable, make: Callable[[], Any]) -> Any:
        """The kept result, or a new one."""
        found = self._kept.get(key)
        if found is None:
            found = self._kept[key] = make()
            if len(self._kept) > self._most:
                self._kept.popitem(last=False)
        else:
            self._kept.move_to_end(key)
        return found

    def clear(self) -> None:
        """Forget everything."""
        self._kept.clear()


_STOCKS, _ROWS, _COLUMNS, _EXTRAS = Store(3), Store(8), Store(40), Store(8)


def forget() -> None:
    """Drop every kept layer: for benchmarks that measure a first plan."""
    for store in (_STOCKS, _ROWS, _COLUMNS, _EXTRAS):
        store.clear()


@dataclass(frozen=True, slots=True, eq=False)
class Prepared:
    """A stock with what hangs on nothing else; telescopes weakest first, so that ties go to the lower power."""

    stock: Stock
    telescopes: tuple[Telescope, ...]
    tubes: tuple[Tube, ...]
    caps: tuple[tuple[Cap, ...], ...]
    places: tuple[tuple[Place, ...], ...]


def prepared(stock: Stock) -> Prepared:
    """The stock ready for planning; kept by identity, since a stock never changes."""

    def make() -> Prepared:
        telescopes = tuple(
            sorted(
                stock.telescopes,
                key=lambda item: (abs(item.signed_magnification), -item.objective_diameter_mm),
            )
        )
        return Prepared(
            stock,
            telescopes,
            tuple(tube_of(item) for item in telescopes),
            tuple(stock.caps_for(item) for item in telescopes),
            tuple(places_for(item) for item in telescopes),
        )

    found: Prepared = _STOCKS.get(id(stock), make)
    return found if found.stock is stock else make()


class Row(NamedTuple):
    """One telescope before one eye with one correction, one cap (or none) and one focus setting."""

    telescope: int
    correction: Correction
    front: bool
    merged: bool
    q: QuickEye
    cap: int
    state: CapState | None
    near_mm: float | None
    far_mm: float | None
    hyperfocal: bool


class Bad(NamedTuple):
    """What cannot be used: the reason stands for ``states`` settings in every place of its kind."""

    telescope: int
    correction: Correction
    front: bool
    merged: bool
    cap: int
    code: RefusalCode
    states: int


@dataclass(frozen=True, slots=True, eq=False)
class EyeRows:
    """All rows of an eye over a stock, and what cannot be used."""

    rows: list[Row]
    bad: list[Bad]


def eye_rows(ready: Prepared, context: Context, eye: EyeIn, choice: EyeChoice) -> EyeRows:
    """An eye behind every tube with every correction, cap and focus setting."""
    to_pupil = context.figures.ocular_to_pupil_mm
    reach = None if "face.reach" in context.person.assumed else context.person.reach_mm
    needing = (
        choice if choice != "both" else tuple(s for s in ("right", "left") if context.eye(s).needs_correction)
    )
    key = (ready, eye, needing if choice == "both" else None, to_pupil, reach)

    def make() -> EyeRows:
        found = EyeRows([], [])
        for index in range(len(ready.telescopes)):
            _rows_of(ready, context, eye, choice, index, to_pupil, found)
        return found

    return _ROWS.get(key, make)


def _rows_of(
    ready: Prepared,
    context: Context,
    eye: EyeIn,
    choice: EyeChoice,
    index: int,
    to_pupil: float,
    found: EyeRows,
) -> None:
    telescope, tube, caps = ready.telescopes[index], ready.tubes[index], ready.caps[index]
    places = ready.places[index]
    has_front = any(mount in FRONT_MOUNTS for _, mount in places)
    has_behind = any(mount not in FRONT_MOUNTS for _, mount in places)
    same = eye.ocular_to_cornea_mm is not None or tube.behind_mm <= -IN_FRONT_GAP_MM
    for correction in corrections_for(context, telescope, choice):
        front_fits = has_front and correction in FRONT_CORRECTIONS
        if has_behind:
            _variant(
                context,
                eye,
                telescope,
                tube,
                caps,
                index,
                correction,
                False,
                same and front_fits,
                to_pupil,
                found,
            )
        if front_fits and not (has_behind and same):
            _variant(context, eye, telescope, tube, caps, index, correction, True, False, to_pupil, found)


def _variant(
    context: Context, eye: EyeIn, telescope: Telescope, tube: Tube, caps: tuple[Cap, ...], index: int,
    correction: Correction, front: bool, merged: bool, to_pupil: float, found: EyeRows,
) -> None:  # fmt: skip
    if eye.strongest_d > 10.0 and not eye.vertex_known:
        q: QuickEye | RefusalCode = "ametropia"
    else:
        q = quick_eye(eye, tube, correction, front, to_pupil)
    plain = 1 if tube.focusable else 2
    if isinstance(q, str):
        found.bad.append(Bad(index, correction, front, merged, -1, q, plain + len(caps)))
        return
    for hyperfocal in (False, True)[:plain]:
        near, far = clear_between(eye, q, hyperfocal)
        found.rows.append(Row(index, correction, front, merged, q, -1, None, near, far, hyperfocal))
    near, far = clear_between(eye, q, False)
    for number, cap in enumerate(caps):
        state = cap_state(eye, q, cap)
        if isinstance(state, str):
            found.bad.append(Bad(index, correction, front, merged, number, state, 1))
        elif reach_refusal(context, state.working_mm) is not None:
            found.bad.append(Bad(index, correction, front, merged, number, "hands do not reach", 1))
        else:
            found.rows.append(Row(index, correction, front, merged, q, number, state, near, far, False))


@dataclass(frozen=True, slots=True, eq=False)
class Column:
    """One goal over all rows: grade index, usefulness and points of the goal's own criteria."""

    grades: bytes
    uses: array
    points: array


def column(rows: EyeRows, g: EyeGoal, unions: Sequence[float] | None, passes: float) -> Column:
    """An eye with a goal over all its rows. ``unions`` is given for two eyes: the tangent of the half union."""
    grades, uses, points = bytearray(), array("d"), array("d")
    two = unions is not None
    found: Quick
    last: QuickEye | None = None
    tinted: QuickEye | None = None
    for number, row in enumerate(rows.rows):
        q = row.q
        if passes != 1.0:
            if q is not last:
                last, tinted = q, q._replace(transmittance=q.transmittance * passes)
            q = cast("QuickEye", tinted)
        found = evaluate(
            q, g, row.state, row.near_mm, row.far_mm, row.hyperfocal, two, unions[number] if unions else 0.0
        )
        grades.append(found[0])
        uses.append(found[1])
        points.append(found[2])
    return Column(bytes(grades), uses, points)


def _unions(ready: Prepared, rows: EyeRows, spread_mm: float) -> array:
    """Tangent of half the union of both fields, by row."""
    found = array("d")
    for row in rows.rows:
        q, telescope = row.q, ready.telescopes[row.telescope]
        spread = min(spread_mm, telescope.spread_highest_mm)
        radius, reach = telescope.objective_diameter_mm / (2.0 * abs(q.m)), q.t + abs(q.m) * q.distance_mm
        if telescope.type != "galilean" or not 0.0 < spread <= radius:
            found.append(q.tan_real)
            continue
        more = atan((radius + spread) / reach) - atan(radius / reach)
        found.append(tan(atan(q.tan_real) + more))
    return found


class Entry(NamedTuple):
    """An option as the ranking keeps it."""

    score: float
    block: int
    row: int
    place: Place


@dataclass(slots=True, eq=False)
class Block:
    """All rows for one choice of eye and one filter, with scores without the place, and the places that can be used."""

    eye: EyeChoice
    tint: Filter | None
    rows: EyeRows
    columns: list[Column]
    usable: list[bool]
    base: list[float]
    used: list[float]
    places: list[tuple[tuple[Place, ...], tuple[Place, ...]]]
    no_full: list[bool]

    def places_of(self, number: int) -> tuple[Place, ...]:
        """The places in which a row can be used."""
        row = self.rows.rows[number]
        behind, front = self.places[row.telescope]
        found = (*behind, *front) if row.merged else front if row.front else behind
        if self.no_full and self.no_full[number]:
            return tuple(place for place in found if place[0] != "full diameter")
        return found

    def grades(self, number: int) -> tuple[Grade, ...]:
        """The grade for each goal."""
        return tuple(GRADES[column.grades[number]] for column in self.columns)


class RefusedEntry(NamedTuple):
    """A refusal as the grid keeps it; the sentence is made when it is looked at."""

    configuration: tuple[Any, ...]
    code: RefusalCode
    stands_for: int


@dataclass(slots=True, eq=False)
class Grid:
    """The whole cross for a person: blocks, entries ranked, refusals."""

    ready: Prepared
    context: Context
    demands: tuple[Demand, ...]
    blocks: list[Block]
    refused: list[RefusedEntry]
    ranked: list[Entry]
    _sorted: bool = False
    _rest: list[Entry] | None = None
    _useless: int = 0

    def __len__(self) -> int:
        """How many options there are."""
        return len(self.ranked) + self._useless

    def entry(self, rank: int) -> Entry:
        """The option at that place, best first."""
        if rank >= FIRST_SORTED and not self._sorted:
            self.ranked.sort(key=lambda entry: -entry.score)
            self._sorted = True
        if rank < len(self.ranked):
            return self.ranked[rank]
        if self._rest is None:
            self._rest = list(self._zero())
        return self._rest[rank - len(self.ranked)]

    def _zero(self) -> Iterator[Entry]:
        for number, block in enumerate(self.blocks):
            for row, used in enumerate(block.used):
                if not used and block.usable[row]:
                    for place in block.places_of(row):
                        yield Entry(0.0, number, row, place)

    def configuration(self, entry: Entry) -> Configuration:
        """The configuration of an entry."""
        block = self.blocks[entry.block]
        row = block.rows.rows[entry.row]
        return self._configuration(
            row.telescope, block.eye, entry.place, row.cap, block.tint, row.correction, row.hyperfocal
        )

    def _configuration(
        self, index: int, eye: EyeChoice, place: Place, cap: int, tint: Filter | None, correction: Correction,
        hyperfocal: bool,
    ) -> Configuration:  # fmt: skip
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
            spread,
        )

    def refused_configuration(self, number: int) -> Configuration:
        """The configuration that stands for a refusal."""
        return self._configuration(*self.refused[number].configuration)

    def finish(self) -> None:
        """Rank what is of any use; the first of them are in order at once, the rest when looked at."""
        entries: list[Entry] = []
        weight = self.context.figures.weights[6]
        positions = position_comfort(self.context.person, self.demands)
        worth: dict[tuple[int, Place], float] = {}
        for number, block in enumerate(self.blocks):
            useless = 0
            rows = block.rows.rows
            for index, (base, used, usable) in enumerate(
                zip(block.base, block.used, block.usable, strict=True)
            ):
                if not usable:
                    continue
                places = block.places_of(index)
                if not used:
                    useless += len(places)
                    continue
                telescope = rows[index].telescope
                for place in places:
                    suits = worth.get((telescope, place))
                    if suits is None:
                        suits = comfort(positions, place[0], place[1], self.ready.telescopes[telescope])
                        worth[telescope, place] = suits
                    entries.append(Entry(base + used * weight * suits, number, index, place))
            self._useless += useless
        if len(entries) <= FIRST_SORTED:
            entries.sort(key=lambda entry: -entry.score)
            self._sorted = True
        else:
            first = heapq.nsmallest(FIRST_SORTED, range(len(entries)), key=lambda i: -entries[i].score)
            taken = set(first)
            entries = [entries[i] for i in first] + [e for i, e in enumerate(entries) if i not in taken]
        self.ranked = entries


def grid_of(context: Context, stock: Stock, demands: tuple[Demand, ...]) -> Grid:
    """The whole cross for a person and a stock."""
    ready = prepared(stock)
    grid = Grid(ready, context, demands, [], [], [])
    bright = any(demand.light == "bright" for demand in demands)
    tints: list[Filter | None] = [None]
    if filters_asked_for(context, bright):
        tints.extend(stock.filters)
    for choice in EYES:
        _choice(grid, choice, tints)
    if len(tints) == 1:
        for tint in stock.filters:
            _filter_left_out(grid, tint)
    grid.finish()
    return grid


def _filter_left_out(grid: Grid, tint: Filter) -> None:
    count = len(grid) + sum(
        len(block.places_of(i)) for block in grid.blocks for i, u in enumerate(block.usable) if u
    )
    if grid.ready.telescopes and grid.ready.places[0] and count:
        place = grid.ready.places[0][0]
        grid.refused.append(
            RefusedEntry(
                (0, grid.context.leading, place, -1, tint, "carrier", False), "filter not asked for", count
            )
        )


def _choice(grid: Grid, choice: EyeChoice, tints: list[Filter | None]) -> None:
    ready, context = grid.ready, grid.context
    sides = context.order(("right", "left") if choice == "both" else (choice,))
    lead = context.eye(sides[0])
    closed: dict[int, RefusalCode] = {}
    places: list[tuple[tuple[Place, ...], tuple[Place, ...]]] = []
    shut: list[tuple[int, RefusalCode, tuple[Place, ...], tuple[Place, ...]]] = []
    for index, telescope in enumerate(ready.telescopes):
        refusal = eye_refusal(context, telescope, choice)
        if refusal is not None:
            closed[index] = refusal[0]
        offered = ready.places[index]
        shallow = None
        if any(position == "bioptic" for position, _ in offered):
            shallow = place_refusal(context, telescope, "bioptic", lead)
        kept = offered if shallow is None else tuple(place for place in offered if place[0] != "bioptic")
        behind = tuple(place for place in kept if place[1] not in FRONT_MOUNTS)
        front = tuple(place for place in kept if place[1] in FRONT_MOUNTS)
        places.append((behind, front))
        if shallow is not None and index not in closed:
            out = tuple(place for place in offered if place[0] == "bioptic")
            shut.append(
                (
                    index,
                    shallow[0],
                    tuple(p for p in out if p[1] not in FRONT_MOUNTS),
                    tuple(p for p in out if p[1] in FRONT_MOUNTS),
                )
            )
    _closed_entries(grid, choice, closed, len(tints))
    if len(closed) == len(ready.telescopes):
        return
    rows = eye_rows(ready, context, lead, choice)
    bad_for_second = _second_eye(grid, choice, sides, closed, places, len(tints))
    for bad in rows.bad:
        if bad.telescope not in closed:
            _bad_entry(grid, choice, bad, places, len(tints))
    usable = [
        row.telescope not in closed and (row.telescope, row.correction, row.front) not in bad_for_second
        for row in rows.rows
    ]
    _place_entries(grid, choice, rows, shut, usable, len(tints))
    _mount_entries(grid, choice, closed, len(tints))
    no_full = _ring(grid, choice, lead, rows, usable, places, len(tints))
    for tint in tints:
        grid.blocks.append(_block(grid, choice, lead, tint, rows, usable, places, no_full))


def _block(
    grid: Grid, choice: EyeChoice, lead: EyeIn, tint: Filter | None, rows: EyeRows, usable: list[bool],
    places: list[tuple[tuple[Place, ...], tuple[Place, ...]]], no_full: list[bool],
) -> Block:  # fmt: skip
    context, ready = grid.context, grid.ready
    passes = 1.0 if tint is None else tint.transmittance
    two = choice == "both"
    logmar, log_cs = context.logmar(choice, lead), context.log_cs(choice, lead)
    person = context.person
    spread = person.spread_mm if two else 0.0
    unions = _EXTRAS.get((rows, "unions", spread), lambda: _unions(ready, rows, spread)) if two else None
    columns = []
    for demand in grid.demands:
        reserve = vergence_reserve_prism(context, demand) if two else 0.0
        key = (
            rows, _demand_key(demand), logmar, log_cs, context.figures, passes, two, spread, reserve,
            person.pd.total_mm if two else 0.0, person.reach_mm, lead,
        )  # fmt: skip

        def make(demand: Demand = demand, reserve: float = reserve) -> Column:
            return column(rows, eye_goal(context, lead, demand, logmar, log_cs, reserve), unions, passes)

        columns.append(_COLUMNS.get(key, make))
    shares = goal_weights(len(columns))
    used = _weighted([column.uses for column in columns], shares, len(rows.rows))
    points = _weighted([column.points for column in columns], shares, len(rows.rows))
    extra = _EXTRAS.get(
        (rows, "extra", choice, tint is not None, context.figures.weights, two_eyes(context, choice)),
        lambda: _extra(ready, context, rows, choice, tint is not None),
    )
    base = [p + u * e for p, u, e in zip(points, used, extra, strict=True)]
    return Block(choice, tint, rows, columns, usable, base, used, places, no_full)


def _demand_key(demand: Demand) -> Hashable:
    return (
        demand.usable, demand.kind, demand.distance_mm, demand.nearest_mm, demand.farthest_mm, demand.by_print,
        demand.goal_logmar, demand.goal_m_units, demand.reserve, demand.contrast, demand.width_mm,
        demand.characters, demand.light, demand.object_speed_deg_s,
    )  # fmt: skip


def _weighted(columns: list[array], shares: Sequence[float], count: int) -> list[float]:
    if not columns:
        return [0.0] * count
    if len(columns) == 1:
        return list(columns[0])
    total = [shares[0] * value for value in columns[0]]
    for values, share in zip(columns[1:], shares[1:], strict=True):
        total = [before + share * value for before, value in zip(total, values, strict=True)]
    return total


def _extra(ready: Prepared, context: Context, rows: EyeRows, choice: EyeChoice, tinted: bool) -> array:
    """What the device itself is worth apart from the goals and the place, by row."""
    weights = context.figures.weights
    pair = weights[8] * two_eyes(context, choice)
    needs = context.eye(
        context.order(("right", "left") if choice == "both" else (choice,))[0]
    ).needs_correction
    found = array("d")
    for row in rows.rows:
        simple = 0.8 if row.cap >= 0 else 1.0
        if needs and row.correction == "none":
            simple *= UNCORRECTED_WORTH
        if tinted:
            simple *= 0.8
        if row.correction in ("objective", "refocused"):
            simple *= 0.9
        if row.hyperfocal:
            simple *= HYPERFOCAL_WORTH
        found.append(
            weights[2] * low_power(row.q.m)
            + weights[7] * hands(ready.telescopes[row.telescope])
            + pair
            + weights[9] * simple
        )
    return found


# Refusals: each names the configuration that stands for it and how many it takes out.


def _places_left(grid: Grid, index: int, correction: Correction) -> int:
    places = grid.ready.places[index]
    if correction in FRONT_CORRECTIONS:
        return len(places)
    return sum(mount not in FRONT_MOUNTS for _, mount in places)


def _states(grid: Grid, index: int) -> int:
    return (1 if grid.ready.tubes[index].focusable else 2) + len(grid.ready.caps[index])


def _closed_entries(grid: Grid, choice: EyeChoice, closed: dict[int, RefusalCode], tints: int) -> None:
    for index, code in closed.items():
        corrections = corrections_for(grid.context, grid.ready.telescopes[index], choice)
        places = grid.ready.places[index]
        if corrections and places:
            count = len(corrections) * len(places) * _states(grid, index) * tints
            grid.refused.append(
                RefusedEntry((index, choice, places[0], -1, None, corrections[0], False), code, count)
            )


def _bad_entry(
    grid: Grid,
    choice: EyeChoice,
    bad: Bad,
    places: list[tuple[tuple[Place, ...], tuple[Place, ...]]],
    tints: int,
) -> None:
    behind, front = places[bad.telescope]
    where = (*behind, *front) if bad.merged else front if bad.front else behind
    if where:
        grid.refused.append(
            RefusedEntry(
                (bad.telescope, choice, where[0], bad.cap, None, bad.correction, False),
                bad.code,
                bad.states * len(where) * tints,
            )
        )


def _second_eye(
    grid: Grid, choice: EyeChoice, sides: tuple, closed: dict[int, RefusalCode],
    places: list[tuple[tuple[Place, ...], tuple[Place, ...]]], tints: int,
) -> set[tuple[int, Correction, bool]]:  # fmt: skip
    """Telescopes and corrections that the second of two eyes cannot look through."""
    if choice != "both":
        return set()
    first = eye_rows(grid.ready, grid.context, grid.context.eye(sides[0]), choice)
    second = eye_rows(grid.ready, grid.context, grid.context.eye(sides[1]), choice)
    done = {(bad.telescope, bad.correction, bad.front) for bad in first.bad if bad.cap < 0}
    found = set()
    for bad in second.bad:
        key = (bad.telescope, bad.correction, bad.front)
        if bad.cap < 0 and key not in done and bad.telescope not in closed:
            found.add(key)
            _bad_entry(grid, choice, bad, places, tints)
    return found


def _place_entries(
    grid: Grid, choice: EyeChoice, rows: EyeRows,
    shut: list[tuple[int, RefusalCode, tuple[Place, ...], tuple[Place, ...]]], usable: list[bool], tints: int,
) -> None:  # fmt: skip
    if not shut:
        return
    by_telescope: dict[int, list[Row]] = {}
    for row, good in zip(rows.rows, usable, strict=True):
        if good:
            by_telescope.setdefault(row.telescope, []).append(row)
    for index, code, behind, front in shut:
        count, stands = 0, None
        for row in by_telescope.get(index, ()):
            where = (*behind, *front) if row.merged else front if row.front else behind
            count += len(where)
            if where and stands is None:
                stands = (index, choice, where[0], row.cap, None, row.correction, row.hyperfocal)
        if stands is not None:
            grid.refused.append(RefusedEntry(stands, code, count * tints))


def _mount_entries(grid: Grid, choice: EyeChoice, closed: dict[int, RefusalCode], tints: int) -> None:
    for index, telescope in enumerate(grid.ready.telescopes):
        front = [place for place in grid.ready.places[index] if place[1] in FRONT_MOUNTS]
        if not front or index in closed:
            continue
        for correction in corrections_for(grid.context, telescope, choice):
            if correction not in FRONT_CORRECTIONS:
                count = len(front) * _states(grid, index) * tints
                stands = (index, choice, front[0], -1, None, correction, False)
                grid.refused.append(RefusedEntry(stands, "mount", count))


def _ring(
    grid: Grid, choice: EyeChoice, lead: EyeIn, rows: EyeRows, usable: list[bool],
    places: list[tuple[tuple[Place, ...], tuple[Place, ...]]], tints: int,
) -> list[bool]:  # fmt: skip
    """Rows that must not be worn straight ahead; empty when that cannot happen."""
    if choice == "both" or lead.visual_field_deg is None:
        return []
    fellow = grid.context.left if choice == "right" else grid.context.right
    if fellow.usable:
        return []
    found = []
    for row, good in zip(rows.rows, usable, strict=True):
        ring = 360.0 / pi * atan(abs(row.q.m) * row.q.tan_real)
        out = lead.visual_field_deg <= ring
        found.append(out)
        if out and good:
            behind, front = places[row.telescope]
            where = (*behind, *front) if row.merged else front if row.front else behind
            full = [place for place in where if place[0] == "full diameter"]
            if full:
                stands = (row.telescope, choice, full[0], row.cap, None, row.correction, row.hyperfocal)
                grid.refused.append(RefusedEntry(stands, "ring over the only field", len(full) * tints))
    return found
