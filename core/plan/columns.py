"""A goal over all rows of an eye: grades and points, kept by what they hang on."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass
from math import atan, tan
from operator import itemgetter
from typing import Any

from ..goals import Demand
from .context import Context, EyeIn
from .layers import COLUMNS, RESOLVED, SHOWN, SIGHTS, SMALL, EyeRows, Prepared
from .quick import Converging, Resolved, Shown, converging, field_degrees, joined, resolved, shown, standings
from .quick_goal import eye_goal, wanted_field
from .quick_sights import CANNOT, MEETS, MISSES, NEARLY, Flat, Sights, caps_off_from_d, page_sights, sights
from .quick_tube import clears
from .ranking import glare_of
from .types import Grade

_GRADES: dict[int, Grade] = {MEETS: "meets", NEARLY: "nearly", MISSES: "misses", CANNOT: "cannot"}


@dataclass(frozen=True, slots=True, eq=False)
class Spread:
    """How the sights of a kind of goal are spread over the rows: settings that show the same share one.

    ``over_rows`` repeats what was found for each sight over the rows that have it; ``sight_of`` is the sight of each
    row and ``variant_of`` the variant of each sight. Spreads of the same rows with the same ``caps_on`` are alike.
    """

    caps_on: frozenset[float]
    sight_of: Sequence[int]
    variant_of: Sequence[int]
    over_rows: Callable[[Sequence[Any]], Sequence[Any]]


@dataclass(frozen=True, slots=True, eq=False)
class Column:
    """One goal over all rows of an eye, by sight: how far from met, usefulness, points of criteria and of the field."""

    codes: bytes
    uses: Sequence[float]
    criteria: Sequence[float]
    fields: Sequence[float]
    spread: Spread

    def grade(self, row: int) -> Grade:
        """The grade of a row."""
        return _GRADES[self.codes[self.spread.sight_of[row]]]

    @property
    def points(self) -> list[float]:
        """Points of all of the goal's own criteria as far as it is reached, by sight."""
        each = zip(self.uses, self.criteria, self.fields, strict=True)
        return [use * (criteria + field) for use, criteria, field in each]

    @property
    def points_of_rows(self) -> Sequence[float]:
        """The same by row."""
        return self.spread.over_rows(self.points)


@dataclass(frozen=True, slots=True)
class Pairing:
    """What two tubes need beyond what one needs; None in its place when only one eye is asked about."""

    spread_mm: float
    reserve_prism: float
    interpupillary_mm: float


def column(
    ready: Prepared, context: Context, eye: EyeIn, rows: EyeRows, demand: Demand, logmar: float | None,
    log_cs: float, passes: float, pairing: Pairing | None,
) -> Column:  # fmt: skip
    """A goal over all rows of an eye, alone or (with ``pairing``) as the leading one of two."""
    spread = _spread(ready, rows, demand)
    alone = _resolved(context, eye, rows, spread, demand, logmar, log_cs, passes)
    field = _shown(ready, context, rows, spread, demand, pairing)
    if pairing is None:
        return COLUMNS.get(
            (alone, field),
            lambda: Column(joined(alone.codes, field.codes), alone.uses, alone.points, field.points, spread),
        )
    eyes = _converging(rows, demand, pairing)

    def make() -> Column:
        uses = alone.uses
        if eyes.worths is not None:
            uses = [use * worth for use, worth in zip(uses, eyes.worths, strict=True)]
        codes = joined(alone.codes, field.codes, eyes.codes)
        return Column(codes, uses, alone.points, field.points, spread)

    return COLUMNS.get((alone, field, eyes), make)


def _resolved(
    context: Context, eye: EyeIn, rows: EyeRows, spread: Spread, demand: Demand, logmar: float | None,
    log_cs: float, passes: float,
) -> Resolved:  # fmt: skip
    figures, person = context.figures, context.person
    key = (
        rows, eye, _demand_key(demand), logmar, log_cs, figures, passes,
        person.reach_mm if demand.kind == "near" else None, person.glare, person.head_tremor,
    )  # fmt: skip

    def make() -> Resolved:
        pupil = eye.dim_pupil_mm if demand.light == "dim" else eye.pupil_mm
        light = (passes, figures.light_loss_per_halving_logmar, glare_of(person, demand), figures.weights[5])
        standing = SMALL.get((rows, pupil, light), lambda: standings(rows.variants, pupil, *light))
        clear = SMALL.get((rows, eye.accommodation_d, eye.tolerance_d), lambda: clears(rows.variants, eye))
        goal = eye_goal(context, eye, demand, logmar, log_cs)
        return resolved(_seen(rows, demand), spread.variant_of, standing, clear, goal)

    return RESOLVED.get(key, make)


def _shown(
    ready: Prepared, context: Context, rows: EyeRows, spread: Spread, demand: Demand, pairing: Pairing | None
) -> Shown:
    """What the field of every sight is worth; two tubes spread apart show more of what lies afar."""
    wanted_mm, share_wanted = wanted_field(context.figures, demand)
    weight, wider = context.figures.weights[1], None
    if pairing is not None and demand.kind == "distance":
        spread_mm = pairing.spread_mm
        wider = SMALL.get((rows, spread_mm), lambda: _wider(ready, rows, spread_mm))
    one = (rows, _where(demand), wanted_mm, share_wanted, weight)

    def make() -> Shown:
        degrees = SMALL.get((rows, "degrees"), lambda: field_degrees(rows.variants))
        widths = _seen(rows, demand).widths
        if wider:
            widths = [width * wider[number] for width, number in zip(widths, spread.variant_of, strict=True)]
        return shown(
            widths, [degrees[number] for number in spread.variant_of], wanted_mm, share_wanted, weight
        )

    return SHOWN.get((one, pairing.spread_mm) if pairing and wider else one, make)


def _converging(rows: EyeRows, demand: Demand, pairing: Pairing) -> Converging:
    pd_mm, reserve = pairing.interpupillary_mm, pairing.reserve_prism
    return SHOWN.get(
        (rows, _where(demand), "two", pd_mm, reserve), lambda: converging(_seen(rows, demand), pd_mm, reserve)
    )


def weighted(
    found: Sequence[Column], shares: Sequence[float], count: int
) -> tuple[Sequence[float], Sequence[float]]:
    """Usefulness and points summed over the goals by their shares, by row; goals without a share count for nothing."""
    together: dict[frozenset[float], list[tuple[Column, float]]] = {}
    for one, share in zip(found, shares, strict=True):
        if share:
            together.setdefault(one.spread.caps_on, []).append((one, share))
    sums = [_sums(alike) for alike in together.values()]
    if not sums:
        nothing = [0.0] * count
        return nothing, nothing
    used, points = sums[0]
    for more_used, more_points in sums[1:]:
        used = [total + more for total, more in zip(used, more_used, strict=True)]
        points = [total + more for total, more in zip(points, more_points, strict=True)]
    return used, points


def _sums(parts: Sequence[tuple[Column, float]]) -> tuple[Sequence[float], Sequence[float]]:
    """Usefulness and points of columns that are spread alike, summed by their shares, by row."""
    (first, share), *rest = parts
    used = [share * use for use in first.uses]
    points = [
        counts * (criteria + field)
        for counts, criteria, field in zip(used, first.criteria, first.fields, strict=True)
    ]
    for one, share in rest:
        used = [total + share * use for total, use in zip(used, one.uses, strict=True)]
        points = [
            total + share * use * (criteria + field)
            for total, use, criteria, field in zip(points, one.uses, one.criteria, one.fields, strict=True)
        ]
    over_rows = first.spread.over_rows
    return over_rows(used), over_rows(points)


def met(found: Sequence[Column], count: int) -> Sequence[int]:
    """The goals met by each of so many rows, as bits: the first goal is the lowest."""
    masks: Sequence[int] = bytes(count)
    # Eight goals fit a byte: whole columns are joined at once.
    for start in range(0, len(found), 8):
        by_spread: dict[frozenset[float], tuple[Spread, list[bytes]]] = {}
        for place, one in enumerate(found[start : start + 8]):
            table = bytes([1 << place]) + bytes(255)
            by_spread.setdefault(one.spread.caps_on, (one.spread, []))[1].append(one.codes.translate(table))
        eight = joined(*(bytes(spread.over_rows(joined(*bits))) for spread, bits in by_spread.values()))
        masks = [low | high << start for low, high in zip(masks, eight, strict=True)] if start else eight
    return masks


def _seen(rows: EyeRows, demand: Demand) -> Sights:
    """What the rows show of a goal's object, whoever looks."""
    page: Flat = []
    if demand.kind == "near" and demand.by_print:
        page = SIGHTS.get((rows, "page"), lambda: page_sights(rows.variants))
    return SIGHTS.get((rows, _where(demand)), lambda: sights(rows.variants, demand, page))


def _where(demand: Demand) -> Hashable:
    """What the object's place decides; acuity wanted and reserve do not."""
    return (demand.kind, demand.distance_mm, demand.nearest_mm, demand.farthest_mm, demand.by_print)


def _spread(ready: Prepared, rows: EyeRows, demand: Demand) -> Spread:
    """Which of the sights of a goal each row has, in the order of :func:`.quick_sights.sights`."""
    off_from_d = caps_off_from_d(demand)
    caps_on = frozenset(cap.power_d for cap in ready.stock.caps if cap.power_d < off_from_d)

    def make() -> Spread:
        sight_of: list[int] = []
        variant_of: list[int] = []
        for number, variant in enumerate(rows.variants):
            _, plains, caps, _ = variant.settings
            plain = free = len(variant_of)
            sight_of.extend(range(plain, plain + plains))
            free += plains
            for cap in caps:
                if cap.power_d < off_from_d:
                    sight_of.append(free)
                    free += 1
                else:
                    sight_of.append(plain)
            variant_of.extend([number] * (free - plain))
        return Spread(caps_on, sight_of, variant_of, _repeater(sight_of))

    return SMALL.get((rows, caps_on), make)


def _repeater(places: Sequence[int]) -> Callable[[Sequence[Any]], Sequence[Any]]:
    """What picks these places of a sequence, in their order."""
    if places == list(range(len(places))):
        return lambda values: values
    return itemgetter(*places) if len(places) > 1 else lambda values: tuple(values[place] for place in places)


def _wider(ready: Prepared, rows: EyeRows, spread_mm: float) -> list[float]:
    """How much wider the union of both fields is than one, by variant; empty where it is nowhere."""
    found: list[float] = []
    for variant in rows.variants:
        q, telescope = variant.q, ready.telescopes[variant.rows[0].telescope]
        spread = min(spread_mm, telescope.spread_highest_mm)
        radius, reach = telescope.objective_diameter_mm / (2.0 * abs(q.m)), q.t + abs(q.m) * q.distance_mm
        if telescope.type != "galilean" or not 0.0 < spread <= radius:
            found.append(1.0)
            continue
        more = atan((radius + spread) / reach) - atan(radius / reach)
        found.append(tan(atan(q.tan_real) + more) / q.tan_real)
    return found if any(more != 1.0 for more in found) else []


def _demand_key(demand: Demand) -> Hashable:
    return (
        demand.usable, demand.kind, demand.distance_mm, demand.nearest_mm, demand.farthest_mm, demand.by_print,
        demand.goal_logmar, demand.goal_m_units, demand.reserve, demand.contrast, demand.width_mm,
        demand.characters, demand.light, demand.object_speed_deg_s,
    )  # fmt: skip
