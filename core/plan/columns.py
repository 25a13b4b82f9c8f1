"""A goal over all rows of an eye: grades and points, kept by what they hang on."""

from __future__ import annotations

from array import array
from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass
from itertools import zip_longest
from math import atan, tan
from operator import itemgetter
from typing import Any, NamedTuple

from ..goals import Demand
from .context import Context, EyeIn
from .layers import COLUMNS, FIELDS, GOALS, PAIRS, RESOLVED, SHOWN, SIGHTS, SMALL, EyeRows, Prepared
from .quick import Converging, Resolved, Shown, converging, field_degrees, joined, resolved, shown, standings
from .quick_goal import eye_goal, wanted_field
from .quick_sights import (
    CANNOT,
    MEETS,
    MISSES,
    NEARLY,
    Field,
    Focus,
    cap_field,
    cap_focus,
    caps_off_from_d,
    page_focus,
    plain_field,
    plain_focus,
    standpoints,
)
from .quick_tube import clears
from .ranking import glare_of
from .types import Grade

_GRADES: dict[int, Grade] = {MEETS: "meets", NEARLY: "nearly", MISSES: "misses", CANNOT: "cannot"}


@dataclass(frozen=True, slots=True, eq=False)
class Spread:
    """How the sights of a kind of goal are spread over the rows: settings that show the same share one.

    ``over_rows`` repeats what was found for each sight over the rows that have it; ``sight_of`` is the sight of each
    row. ``plain_of`` is the variant of each sight without a cap, ``cap_of`` that of each with one, ``variant_of`` both.
    Spreads of the same rows with the same ``caps_on`` are alike.
    """

    caps_on: frozenset[float]
    sight_of: Sequence[int]
    plain_of: Sequence[int]
    cap_of: Sequence[int]
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


class Pairing(NamedTuple):
    """What two tubes need beyond what one needs; None in its place when only one eye is asked about."""

    spread_mm: float
    reserve_prism: float
    interpupillary_mm: float


class Looking(NamedTuple):
    """What a goal over all rows of an eye is made from; ``pairing`` where it is the leading one of two."""

    ready: Prepared
    context: Context
    eye: EyeIn
    rows: EyeRows
    demand: Demand
    logmar: float | None
    log_cs: float
    passes: float
    pairing: Pairing | None


def column(look: Looking) -> Column:
    """A goal over all rows of an eye, alone or as the leading one of two."""
    spread = _spread(look)
    alone = _resolved(look, spread)
    field = _shown(look, spread)
    eyes = None if look.pairing is None else _converging(look, spread, look.pairing)

    def make() -> Column:
        codes = [part.codes for part in alone]
        uses, criteria = alone[0].uses, alone[0].points
        for more in alone[1:]:
            uses, criteria = uses + more.uses, criteria + more.points
        together = joined(b"".join(codes), field.codes)
        if eyes is not None:
            together = joined(together, eyes.codes)
            if eyes.worths is not None:
                uses = array("d", [use * worth for use, worth in zip(uses, eyes.worths, strict=True)])
        return Column(together, uses, criteria, field.points, spread)

    return COLUMNS.get((alone, field, eyes), make)


def _focuses(look: Looking, spread: Spread) -> tuple[Focus, ...]:
    """What the sights of a goal show, without a cap and with one where any is on."""
    rows, demand = look.rows, look.demand
    # What is afar is seen alike wherever the eye stands, and print through a cap, where the eye is corrected.
    where = _where(demand)
    alike = rows.optics if demand.kind == "distance" else rows
    plain = SIGHTS.get((alike, where), lambda: plain_focus(rows.variants, demand))
    if not spread.cap_of:
        return (plain,)
    if demand.kind == "near" and demand.by_print:
        alike = rows.optics if rows.optics.corrected else rows
        return plain, SIGHTS.get((alike, "page"), lambda: page_focus(rows.variants))
    return plain, SIGHTS.get((rows, where, "caps"), lambda: cap_focus(rows.variants, demand))


def _resolved(look: Looking, spread: Spread) -> tuple[Resolved, ...]:
    """What the eye makes of the sights without a cap, and of those with one."""
    context, eye, rows, demand = look.context, look.eye.seeing, look.rows, look.demand
    figures, person = context.figures, context.person
    by_goal = (
        eye, _demand_key(demand), look.logmar, look.log_cs, figures,
        person.reach_mm if demand.kind == "near" else None, person.glare, person.head_tremor,
    )  # fmt: skip

    goal = GOALS.get(by_goal, lambda: eye_goal(context, eye, demand, look.logmar, look.log_cs))

    def make(focus: Focus, variant_of: Sequence[int]) -> Resolved:
        pupil = eye.dim_pupil_mm if demand.light == "dim" else eye.pupil_mm
        light = (
            look.passes,
            figures.light_loss_per_halving_logmar,
            glare_of(person, demand),
            figures.weights[5],
        )
        standing = SMALL.get((rows.optics, pupil, light), lambda: standings(rows.variants, pupil, *light))
        near, tolerance = eye.accommodation_d, eye.tolerance_d
        clear = SMALL.get((rows.optics, near, tolerance), lambda: clears(rows.variants, near, tolerance))
        return resolved(focus, variant_of, standing, clear, goal)

    return tuple(
        [
            RESOLVED.get(
                (focus, look.passes, goal),
                lambda focus=focus, variant_of=variant_of: make(focus, variant_of),
            )
            for focus, variant_of in zip(
                _focuses(look, spread), (spread.plain_of, spread.cap_of), strict=False
            )
        ]
    )


def _field(look: Looking, spread: Spread) -> Field:
    """How wide the sights of a goal are, and how two eyes converge for them."""
    rows, demand = look.rows, look.demand

    def make() -> Field:
        afar = demand.kind == "distance"
        focus, *capped = _focuses(look, spread)
        stands = SMALL.get((rows, "stands"), lambda: standpoints(rows.variants))
        plain = plain_field(focus, stands, spread.plain_of, afar)
        if not capped:
            return plain
        focus = capped[0]
        caps = FIELDS.get((rows, focus), lambda: cap_field(focus, stands, spread.cap_of))
        return Field(plain.widths + caps.widths, plain.converge + caps.converge, plain.relief + caps.relief)

    return FIELDS.get((rows, _where(demand)), make)


def _shown(look: Looking, spread: Spread) -> Shown:
    """What the field of every sight is worth; two tubes spread apart show more of what lies afar."""
    rows, demand, pairing, figures = look.rows, look.demand, look.pairing, look.context.figures
    wanted_mm, share_wanted = wanted_field(figures, demand)
    weight, wider = figures.weights[1], None
    if pairing is not None and demand.kind == "distance":
        spread_mm = pairing.spread_mm
        wider = SMALL.get((rows, spread_mm), lambda: _wider(look.ready, rows, spread_mm))
    one = (rows, _where(demand), wanted_mm, share_wanted, weight)

    def make() -> Shown:
        degrees = SMALL.get((rows, spread, "degrees"), lambda: _degrees(rows, spread))
        widths = _field(look, spread).widths
        if wider:
            widths = [width * wider[number] for width, number in zip(widths, spread.variant_of, strict=True)]
        return shown(widths, degrees, wanted_mm, share_wanted, weight)

    return SHOWN.get((one, pairing.spread_mm) if pairing and wider else one, make)


def _degrees(rows: EyeRows, spread: Spread) -> list[float]:
    found = field_degrees(rows.variants)
    return [found[number] for number in spread.variant_of]


def _converging(look: Looking, spread: Spread, pairing: Pairing) -> Converging:
    """What two eyes must do for the sights of a goal."""
    pd_mm, reserve = pairing.interpupillary_mm, pairing.reserve_prism
    return SHOWN.get(
        (look.rows, _where(look.demand), "two", pd_mm, reserve),
        lambda: converging(_field(look, spread), pd_mm, reserve),
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
    # Two at a time take a quarter less than one by one; the last of an odd number goes with nothing of itself.
    pairs = zip_longest(parts[::2], parts[1::2], fillvalue=(parts[-1][0], 0.0))
    (used, points), *rest = [PAIRS.get(pair, lambda pair=pair: _pair(*pair[0], *pair[1])) for pair in pairs]
    for more_used, more_points in rest:
        used = [total + more for total, more in zip(used, more_used, strict=True)]
        points = [total + more for total, more in zip(points, more_points, strict=True)]
    over_rows = parts[0][0].spread.over_rows
    return over_rows(used), over_rows(points)


def _pair(one: Column, first: float, two: Column, second: float) -> tuple[Sequence[float], Sequence[float]]:
    """Usefulness and points of two columns together, by their shares."""
    used = [first * use + second * use_2 for use, use_2 in zip(one.uses, two.uses, strict=True)]
    points = [
        first * use * (criteria + field) + second * use_2 * (criteria_2 + field_2)
        for use, criteria, field, use_2, criteria_2, field_2 in zip(
            one.uses, one.criteria, one.fields, two.uses, two.criteria, two.fields, strict=True
        )
    ]
    return array("d", used), array("d", points)


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


def _where(demand: Demand) -> Hashable:
    """What the object's place decides; acuity wanted and reserve do not."""
    return (demand.kind, demand.distance_mm, demand.nearest_mm, demand.farthest_mm, demand.by_print)


def _spread(look: Looking) -> Spread:
    """Which of the sights of a goal each row has, in the order of :mod:`.quick_sights`."""
    off_from_d = caps_off_from_d(look.demand)
    caps_on = frozenset(cap.power_d for cap in look.ready.stock.caps if cap.power_d < off_from_d)

    def make() -> Spread:
        plain_of: list[int] = []
        cap_of: list[int] = []
        sight_of: list[int] = []
        first_cap = sum(settings.plains for settings in look.rows.optics.settings)
        for number, (_, plains, caps, _) in enumerate(look.rows.optics.settings):
            plain = len(plain_of)
            sight_of.extend(range(plain, plain + plains))
            plain_of.extend([number] * plains)
            for cap in caps:
                if cap.power_d < off_from_d:
                    sight_of.append(first_cap + len(cap_of))
                    cap_of.append(number)
                else:
                    sight_of.append(plain)
        return Spread(caps_on, sight_of, plain_of, cap_of, plain_of + cap_of, _repeater(sight_of))

    return SMALL.get((look.rows.optics, caps_on), make)


def _repeater(places: Sequence[int]) -> Callable[[Sequence[Any]], Sequence[Any]]:
    """What picks these places of a sequence, in their order."""
    if places == list(range(len(places))):
        return lambda values: values
    return itemgetter(*places) if len(places) > 1 else lambda values: tuple(values[place] for place in places)


def _wider(ready: Prepared, rows: EyeRows, spread_mm: float) -> list[float]:
    """How much wider the union of both fields is than one, by variant; empty where it is nowhere."""
    if spread_mm <= 0.0:
        return []
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
