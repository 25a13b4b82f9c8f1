"""A goal over all rows of an eye: grades and points, kept by what they hang on."""

from __future__ import annotations

from array import array
from collections.abc import Hashable
from dataclasses import dataclass
from math import atan, tan

from ..goals import Demand
from .context import Context, EyeIn
from .layers import COLUMNS, SMALL, EyeRows, Prepared
from .quick import Sight, judge, sights, standings
from .quick_goal import eye_goal
from .quick_tube import Variant

# So many objects are kept with a variant; a case of eight goals looks at no more.
SEEN_MOST = 10


@dataclass(frozen=True, slots=True, eq=False)
class Column:
    """One goal over all rows: grade index, usefulness and points of the goal's own criteria."""

    grades: bytes
    uses: tuple[float, ...]
    points: tuple[float, ...]


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

    def make() -> tuple[Column, Column]:
        reserve = 0.0 if pairing is None else pairing.reserve_prism
        goal = eye_goal(context, eye, demand, logmar, log_cs, reserve)
        unions = array("d")
        if pairing is not None:
            spread = pairing.spread_mm
            unions = SMALL.get((rows, spread), lambda: _unions(ready, rows, spread))
        # What the object's place decides; acuity wanted and reserve do not.
        where = (demand.kind, demand.distance_mm, demand.nearest_mm, demand.farthest_mm, demand.by_print)
        seen = [_seen(variant, where, demand) for variant in rows.variants]
        dim, per_halving = demand.light == "dim", context.figures.light_loss_per_halving_logmar
        standing = SMALL.get(
            (rows, eye, dim, passes, per_halving),
            lambda: standings(rows.variants, eye, dim, passes, per_halving),
        )
        found = judge(rows.variants, seen, standing, goal, eye, unions, passes < 1.0)
        if not found:
            return Column(b"", (), ()), Column(b"", (), ())
        grades, uses, points, *two = zip(*found, strict=True)
        alone = Column(bytes(grades), uses, points)
        return alone, Column(bytes(two[0]), two[1], two[2]) if two else alone

    return COLUMNS.get(key, make)


def _seen(variant: Variant, where: Hashable, demand: Demand) -> list[Sight | None]:
    """What a variant shows of a goal's object, whoever looks."""
    kept = variant.seen
    found = kept.get(where)
    if found is None:
        if len(kept) >= SEEN_MOST:
            del kept[next(iter(kept))]
        found = kept[where] = sights(variant, demand)
    return found


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
