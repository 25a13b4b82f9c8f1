"""What the ranking shares: a stock's numbers, an eye behind every tube (rows), a goal over all rows (columns).

Each layer is kept in a small store by what it hangs on, so that an edit remakes only the layers that it touches.
"""

from __future__ import annotations

from array import array
from collections import OrderedDict
from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass
from math import atan, tan
from typing import Any, NamedTuple, TypeVar

from ..configuration import Correction, Mount, Position
from ..goals import Demand
from ..stock import Cap, Stock, Telescope
from .configurations import FRONT_CORRECTIONS, places_for, reach_refusal
from .context import VERTEX_NEEDED_OVER_D, Context, EyeIn
from .device import FRONT_MOUNTS, IN_FRONT_GAP_MM
from .quick import EyeGoal, Quick, Sight, eye_goal, judge, sight
from .quick_tube import CapState, QuickEye, Tube, cap_state, quick_eye, tube_of
from .types import RefusalCode

Place = tuple[Position, Mount]
T = TypeVar("T")


class Store:
    """The most recent results by key; the oldest go first."""

    def __init__(self, most: int) -> None:
        self._kept: OrderedDict[Hashable, Any] = OrderedDict()
        self._most = most

    def get(self, key: Hashable, make: Callable[[], T]) -> T:
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


STOCKS, ROWS, SIGHTS, COLUMNS, SMALL = Store(3), Store(8), Store(24), Store(40), Store(24)


def forget() -> None:
    """Drop every kept layer: for benchmarks that measure a first plan."""
    for store in (STOCKS, ROWS, SIGHTS, COLUMNS, SMALL):
        store.clear()


@dataclass(frozen=True, slots=True, eq=False)
class Prepared:
    """A stock with what hangs on nothing else; telescopes weakest first, so that ties go to the lower power."""

    stock: Stock
    telescopes: tuple[Telescope, ...]
    tubes: tuple[Tube, ...]
    caps: tuple[tuple[Cap, ...], ...]
    places: tuple[tuple[Place, ...], ...]

    def states(self, index: int) -> int:
        """How many settings of cap and focus a telescope has."""
        return (1 if self.tubes[index].focusable else 2) + len(self.caps[index])


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

    found = STOCKS.get(id(stock), make)
    return found if found.stock is stock else make()


class Row(NamedTuple):
    """One telescope before one eye with one correction, one cap (or none) and one focus setting.

    ``merged`` rows stand for tubes behind and in front of the carrier alike. ``plain`` is the row of the same tube
    without a cap.
    """

    telescope: int
    correction: Correction
    front: bool
    merged: bool
    q: QuickEye
    cap: int
    state: CapState | None
    hyperfocal: bool
    plain: int


class Bad(NamedTuple):
    """What cannot be used: the reason stands for ``states`` settings in every place of its kind."""

    telescope: int
    correction: Correction
    front: bool
    merged: bool
    cap: int
    code: RefusalCode
    states: int


def kind_of(row: Row | Bad) -> int:
    """Telescope and side of the carrier as one number: 0 behind, 1 in front, 2 both alike."""
    return 3 * row.telescope + (2 if row.merged else 1 if row.front else 0)


@dataclass(frozen=True, slots=True, eq=False)
class EyeRows:
    """All rows of an eye over a stock, and what cannot be used; ``kinds`` is :func:`kind_of` by row."""

    rows: list[Row]
    bad: list[Bad]
    kinds: list[int]


def eye_rows(ready: Prepared, context: Context, eye: EyeIn, needs: bool) -> EyeRows:
    """An eye behind every tube with every correction, cap and focus setting.

    ``needs`` is whether any eye of the choice needs a correction: then every place of it is weighed.
    """
    to_pupil = context.figures.ocular_to_pupil_mm
    reach = None if "face.reach" in context.person.assumed else context.person.reach_mm

    def make() -> EyeRows:
        found = EyeRows([], [], [])
        for index in range(len(ready.telescopes)):
            _rows_of(ready, context, eye, needs, index, to_pupil, found)
        found.kinds.extend(kind_of(row) for row in found.rows)
        return found

    geometry = (
        eye.sphere_d, eye.cylinder_d, eye.strongest_d, eye.refraction_vertex_mm, eye.vertex_mm, eye.vertex_known,
        eye.ocular_to_cornea_mm, eye.needs_correction,
    )  # fmt: skip
    return ROWS.get((ready, geometry, needs, to_pupil, reach), make)


def _rows_of(
    ready: Prepared, context: Context, eye: EyeIn, needs: bool, index: int, to_pupil: float, found: EyeRows
) -> None:
    tube, places = ready.tubes[index], ready.places[index]
    has_front = any(mount in FRONT_MOUNTS for _, mount in places)
    has_behind = any(mount not in FRONT_MOUNTS for _, mount in places)
    same = eye.ocular_to_cornea_mm is not None or tube.behind_mm <= -IN_FRONT_GAP_MM
    corrections = ready.telescopes[index].corrections if needs else ("none",)
    for correction in corrections:
        front_fits = has_front and correction in FRONT_CORRECTIONS
        if has_behind:
            _variant(context, eye, ready, index, correction, False, same and front_fits, to_pupil, found)
        if front_fits and not (has_behind and same):
            _variant(context, eye, ready, index, correction, True, False, to_pupil, found)


def _variant(
    context: Context, eye: EyeIn, ready: Prepared, index: int, correction: Correction, front: bool, merged: bool,
    to_pupil: float, found: EyeRows,
) -> None:  # fmt: skip
    tube, caps = ready.tubes[index], ready.caps[index]
    if eye.strongest_d > VERTEX_NEEDED_OVER_D and not eye.vertex_known:
        q: QuickEye | RefusalCode = "ametropia"
    else:
        q = quick_eye(eye, tube, correction, front, to_pupil)
    if isinstance(q, str):
        found.bad.append(Bad(index, correction, front, merged, -1, q, ready.states(index)))
        return
    first = len(found.rows)
    found.rows.append(Row(index, correction, front, merged, q, -1, None, False, first))
    if not tube.focusable:
        found.rows.append(Row(index, correction, front, merged, q, -1, None, True, first + 1))
    for number, cap in enumerate(caps):
        state = cap_state(q, cap)
        if isinstance(state, str):
            found.bad.append(Bad(index, correction, front, merged, number, state, 1))
        elif reach_refusal(context, state.working_mm) is not None:
            found.bad.append(Bad(index, correction, front, merged, number, "hands do not reach", 1))
        else:
            found.rows.append(Row(index, correction, front, merged, q, number, state, False, first))


@dataclass(frozen=True, slots=True, eq=False)
class Column:
    """One goal over all rows: grade index, usefulness and points of the goal's own criteria."""

    grades: bytes
    uses: array
    points: array


@dataclass(frozen=True, slots=True)
class Pairing:
    """What two tubes need beyond what one needs; None in its place when only one eye is asked about."""

    spread_mm: float
    reserve_prism: float
    interpupillary_mm: float


def columns(
    ready: Prepared, context: Context, eye: EyeIn, rows: EyeRows, demand: Demand, logmar: float | None,
    log_cs: float, passes: float, pairing: Pairing | None,
) -> tuple[Column, Column]:  # fmt: skip
    """A goal over all rows of an eye, alone and (with ``pairing``) as the leading one of two."""
    key = (
        rows, eye, _demand_key(demand), logmar, log_cs, context.figures, passes, pairing, context.person.reach_mm,
        context.person.glare, context.person.head_tremor,
    )  # fmt: skip

    # What the object's place decides; acuity wanted and reserve do not.
    where = (demand.kind, demand.distance_mm, demand.nearest_mm, demand.farthest_mm, demand.by_print)

    def make() -> tuple[Column, Column]:
        reserve = 0.0 if pairing is None else pairing.reserve_prism
        goal = eye_goal(context, eye, demand, logmar, log_cs, reserve)
        unions = None
        if pairing is not None:
            spread = pairing.spread_mm
            unions = SMALL.get((rows, spread), lambda: _unions(ready, rows, spread))
        seen = SIGHTS.get((rows, where), lambda: _sights(rows, demand))
        return _column(rows, eye, goal, seen, unions, passes)

    return COLUMNS.get(key, make)


def _sights(rows: EyeRows, demand: Demand) -> list[Sight | None]:
    """What every row shows of a goal's object, whoever looks."""
    found: list[Sight | None] = []
    distant = demand.kind == "distance"
    for row in rows.rows:
        # Caps are off for a distant goal: the row without a cap says it all.
        if distant and row.cap >= 0:
            found.append(found[row.plain])
        else:
            found.append(sight(row.q, demand, row.state, row.hyperfocal))
    return found


def _column(
    rows: EyeRows,
    eye: EyeIn,
    goal: EyeGoal,
    seen: list[Sight | None],
    unions: Sequence[float] | None,
    passes: float,
) -> tuple[Column, Column]:
    found: list[Quick] = []
    add = found.append
    distant = not goal.intermediate
    if unions is None:
        unions = [0.0] * len(seen)
    for row, one, union in zip(rows.rows, seen, unions, strict=True):
        add(found[row.plain] if distant and row.cap >= 0 else judge(one, goal, eye, union, passes))
    single = _packed(found, 0)
    return single, _packed(found, 3)


def _packed(found: list[Quick], at: int) -> Column:
    return Column(
        bytes([item[at] for item in found]),  # type: ignore[list-item]
        array("d", [item[at + 1] for item in found]),
        array("d", [item[at + 2] for item in found]),
    )


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


def _demand_key(demand: Demand) -> Hashable:
    return (
        demand.usable, demand.kind, demand.distance_mm, demand.nearest_mm, demand.farthest_mm, demand.by_print,
        demand.goal_logmar, demand.goal_m_units, demand.reserve, demand.contrast, demand.width_mm,
        demand.characters, demand.light, demand.object_speed_deg_s,
    )  # fmt: skip
