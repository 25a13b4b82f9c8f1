"""A goal over all rows of an eye: grades and points, kept by what they hang on."""

from __future__ import annotations

from array import array
from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass
from math import atan, tan
from operator import itemgetter
from typing import Any

from ..goals import Demand
from .context import Context, EyeIn
from .layers import COLUMNS, SIGHTS, SMALL, EyeRows, Prepared
from .quick import Sights, caps_off_from_d, judge, page_sights, sights, standings
from .quick_goal import eye_goal
from .quick_tube import clears


@dataclass(frozen=True, slots=True, eq=False)
class Spread:
    """How the sights of a kind of goal are spread over the rows: settings that show the same share one.

    ``over_rows`` repeats what was found for each sight over the rows that have it; ``counts`` is how many sights each
    variant has. Spreads of the same rows with the same ``caps_on`` are alike.
    """

    caps_on: frozenset[float]
    counts: Sequence[int]
    over_rows: Callable[[Sequence[Any]], tuple[Any, ...]]


@dataclass(frozen=True, slots=True, eq=False)
class Column:
    """One goal over all rows: grade index by row; usefulness and points of the goal's own criteria by sight."""

    grades: bytes
    uses: Sequence[float]
    points: Sequence[float]
    spread: Spread

    @property
    def points_of_rows(self) -> tuple[float, ...]:
        """Points of the goal's own criteria by row."""
        return self.spread.over_rows(self.points)


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
        rows, eye, _demand_key(demand), logmar, log_cs, context.figures, passes, pairing,
        context.person.reach_mm if demand.kind == "near" else None, context.person.glare, context.person.head_tremor,
    )  # fmt: skip

    def make() -> tuple[Column, Column]:
        reserve = 0.0 if pairing is None else pairing.reserve_prism
        goal = eye_goal(context, eye, demand, logmar, log_cs, reserve)
        unions = array("d")
        if pairing is not None:
            spread_mm = pairing.spread_mm
            unions = SMALL.get((rows, spread_mm), lambda: _unions(ready, rows, spread_mm))
        seen = _seen(rows, demand)
        dim, per_halving = demand.light == "dim", context.figures.light_loss_per_halving_logmar
        standing = SMALL.get(
            (rows, eye, dim, passes, per_halving),
            lambda: standings(rows.variants, eye, dim, passes, per_halving),
        )
        spread = _spread(ready, rows, demand)
        clear = SMALL.get((rows, eye.accommodation_d, eye.tolerance_d), lambda: clears(rows.variants, eye))
        alone, together = judge(
            rows.variants, seen, spread.counts, standing, clear, goal, unions, passes < 1.0
        )
        one = Column(
            bytes(spread.over_rows(alone.grades)), array("d", alone.uses), array("d", alone.points), spread
        )
        if pairing is None:
            return one, one
        return one, Column(
            bytes(spread.over_rows(together.grades)),
            array("d", together.uses),
            array("d", together.points),
            spread,
        )

    return COLUMNS.get(key, make)


def weighted(found: Sequence[Column], shares: Sequence[float], count: int) -> tuple[list[float], list[float]]:
    """Usefulness and points summed over the goals by their shares, by row."""
    together: dict[frozenset[float], list[tuple[Column, float]]] = {}
    for column, share in zip(found, shares, strict=True):
        together.setdefault(column.spread.caps_on, []).append((column, share))
    used = [0.0] * count
    points = used
    for alike in together.values():
        over_rows = alike[0][0].spread.over_rows
        more = over_rows(_sum([(one.uses, share) for one, share in alike]))
        used = [total + some for total, some in zip(used, more, strict=True)]
        more = over_rows(_sum([(one.points, share) for one, share in alike]))
        points = [total + some for total, some in zip(points, more, strict=True)]
    return used, points


def _sum(parts: Sequence[tuple[Sequence[float], float]]) -> Sequence[float]:
    """The sum of columns by their shares."""
    (values, share), *rest = parts
    found = [value * share for value in values]
    for values, share in rest:
        found = [total + value * share for total, value in zip(found, values, strict=True)]
    return found


def _seen(rows: EyeRows, demand: Demand) -> Sights:
    """What the rows show of a goal's object, whoever looks."""
    # What the object's place decides; acuity wanted and reserve do not.
    where = (demand.kind, demand.distance_mm, demand.nearest_mm, demand.farthest_mm, demand.by_print)
    page: Sights = []
    if demand.kind == "near" and demand.by_print:
        page = SIGHTS.get((rows, "page"), lambda: page_sights(rows.variants))
    return SIGHTS.get((rows, where), lambda: sights(rows.variants, demand, page))


def _spread(ready: Prepared, rows: EyeRows, demand: Demand) -> Spread:
    """Which of the sights of a goal each row has, in the order of :func:`.quick.sights`."""
    off_from_d = caps_off_from_d(demand)
    caps_on = frozenset(cap.power_d for cap in ready.stock.caps if cap.power_d < off_from_d)

    def make() -> Spread:
        places: list[int] = []
        counts: list[int] = []
        free = 0
        for variant in rows.variants:
            _, plains, caps, _ = variant.settings
            plain = free
            places.extend(range(plain, plain + plains))
            free += plains
            for cap in caps:
                if cap.power_d < off_from_d:
                    places.append(free)
                    free += 1
                else:
                    places.append(plain)
            counts.append(free - plain)
        if len(places) > 1:
            return Spread(caps_on, counts, itemgetter(*places))
        return Spread(caps_on, counts, lambda values: tuple(values[place] for place in places))

    return SMALL.get((rows, caps_on), make)


def _unions(ready: Prepared, rows: EyeRows, spread_mm: float) -> array:
    """Tangent of half the union of both fields, by variant."""
    found = array("d")
    for variant in rows.variants:
        q, telescope = variant.q, ready.telescopes[variant.rows[0].telescope]
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
