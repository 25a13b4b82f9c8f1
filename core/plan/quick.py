"""The same rules as :mod:`.device` and :mod:`.outcome` in bare arithmetic, for every configuration of a stock at once.

Nothing here is shown: it ranks. An option that is looked at is computed anew through the declared formulas, and a test
holds both to the same grade and score. Only numbers that the ranking needs are made, so that a plan of tens of
thousands of outcomes is a matter of milliseconds and of few megabytes.

Rows come in variants, one tube before one eye with one correction: what hangs on the tube alone is made once for all
of its caps and focus settings, and a cap that is off for a goal costs nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import islice
from math import atan, erfc, inf, log, log2, log10, pi, sqrt
from typing import Any, NamedTuple

from ..goals import Demand
from ..optics._domain import POLE_MARGIN
from .context import EyeIn
from .formulas import FULL_CHANCE, STRONGEST_POWER, USELESS_CHANCE, WANTED_FIELD_WORTH
from .quick_goal import EyeGoal
from .quick_tube import WEAKEST_VERGENCE_D, Clear, QuickEye, Variant
from .ranking import AMPLE_DEPTH_MM, TREMBLING_WORTH, VERGENCE_WORTH, WIDE_FIELD_DEG, light_worth
from .seen import DEFOCUS_MOST_D
from .verdict import CLEAR_MARGIN, MEETS_CHANCE, MOST_LOSS_LOGMAR, NEARLY_CHANCE

_ROOT2 = sqrt(2.0)
_FADE_END = 2.0
_LOG_STRONGEST = log(STRONGEST_POWER)
# A chance under USELESS_CHANCE has a standard score under this one.
_USELESS_Z = -2.4


class Judged(NamedTuple):
    """What an eye makes of every sight, in order: grade as an index, usefulness, points of the goal's own criteria."""

    grades: bytearray
    uses: list[float]
    points: list[float]


# What each setting of each tube shows of one goal's object, whoever looks: nothing in it hangs on acuity or pupil. One
# sight after the other, without a record for each, in this order: the accommodation asked, D; log of the power (for
# print, per mm of viewing distance); the object's distance, mm; width seen at once, mm; convergence per mm of PD beyond
# the naked one, None where the light crosses before the eye; what prism in the caps takes away, prism dioptres; the
# power in use, 0 where nothing can be seen; the cap that is on, D, or None; whether set hyperfocal.
Sights = list[Any]
SIGHT = 9
_NOTHING = (0.0, 0.0, 0.0, 0.0, None, 0.0, 0.0, None, False)


def caps_off_from_d(demand: Demand) -> float:
    """The power from which a cap is taken off for a goal, D: all are for one afar, none for print."""
    if demand.kind == "distance":
        return 0.0
    return inf if demand.by_print else 2000.0 / demand.distance_mm


def sights(variants: Sequence[Variant], demand: Demand, page: Sights) -> Sights:
    """What the variants show of a goal's object: each set for infinity, hyperfocal where it can be, with each cap on.

    A cap that is off for the goal leaves the tube as it is without one, so it has no sight of its own. ``page`` is
    :func:`page_sights`, where the goal is near print.
    """
    found: Sights = []
    afar = demand.kind == "distance"
    off_from, at_page = caps_off_from_d(demand), 0
    for variant in variants:
        plain = _plain_sight(variant.q, demand)
        found += plain
        _, plains, caps, _ = variant.settings
        if plains > 1:
            found += plain
            if plain is not _NOTHING:
                found[-1] = True
        if afar:
            continue
        if page:
            start, at_page = at_page, at_page + SIGHT * len(caps)
            found += page[start:at_page]
        else:
            _cap_sights(found, variant, demand.by_print, demand.nearest_mm, demand.farthest_mm, off_from)
    return found


def page_sights(variants: Sequence[Variant]) -> Sights:
    """What each cap shows of print: the page goes where the cap wants it, whatever the print."""
    found: Sights = []
    for variant in variants:
        _cap_sights(found, variant, True, 0.0, inf, inf)
    return found


def _cap_sights(
    found: Sights, variant: Variant, by_print: bool, nearest_mm: float, farthest_mm: float, off_from_d: float
) -> None:
    """What is seen through each cap of an object between two distances, brought as near to its focus as can be."""
    q = variant.q
    m, t, reference, lens, tan_real, tan_apparent = (
        q.m, q.t, q.reference, q.objective_lens, q.tan_real, q.tan_apparent,
    )  # fmt: skip
    size = m if m > 0.0 else -m
    bending, lever, squared = t * m / 1000.0, t + m * q.distance_mm, m * m
    for power, at, corrected, base_in in variant.settings.caps:
        if power >= off_from_d:
            continue
        if at < nearest_mm:
            at = nearest_mm
        elif at > farthest_mm:
            at = farthest_mm
        vergence = power - 1000.0 / at + lens
        bend = 1.0 - bending * vergence
        past = 1.0 - 0.001 * power * at
        b = at / m + past * lever
        reach = b if b > 0.0 else -b
        at_focus = -1e-6 * at < at - corrected < 1e-6 * at
        if bend <= POLE_MARGIN or (reach < 1.0 and not (by_print and at_focus)):
            found += _NOTHING
            continue
        usable = at + t * m * past > 0.0 and (b if m > 0.0 else -b) >= 1.0
        gain = log10(at / reach)
        if by_print:
            gain = log10(size * power) - 3.0 if at_focus else -log10(reach)
        width = 2.0 * at * tan_real if at_focus else 2.0 * reach * tan_apparent if usable else 0.0
        found += (
            reference - squared * vergence / bend, gain, at, width, 100.0 / reach - 100.0 / at if usable else None,
            2.0 * size * base_in, size, power, False,
        )  # fmt: skip


def _plain_sight(q: QuickEye, demand: Demand) -> tuple[Any, ...]:
    intermediate = demand.kind != "distance"
    m, t, at = q.m, q.t, demand.distance_mm
    vergence = -1000.0 / at
    focused = False
    if q.focusable:
        reached = at if at > q.nearest_mm else q.nearest_mm
        collecting = q.objective_d - 1000.0 / reached
        if collecting <= POLE_MARGIN * q.objective_d:
            return _NOTHING
        lent = q.ocular_d - q.lends
        m_near, t_near = -lent / collecting, 1000.0 / collecting + 1000.0 / lent
        if intermediate:
            m, t = m_near, t_near
        if at >= q.nearest_mm * (1.0 - 1e-9):
            focused, asked = True, 0.0
        else:
            vergence += 1000.0 / reached
            bend = 1.0 - t_near * m_near * vergence / 1000.0
            if bend <= POLE_MARGIN:
                return _NOTHING
            asked = -m_near * m_near * vergence / bend
    else:
        vergence += q.objective_lens
        bend = 1.0 - t * m * vergence / 1000.0
        if bend <= POLE_MARGIN:
            return _NOTHING
        asked = q.reference - m * m * vergence / bend
    size = m if m > 0.0 else -m
    b = at / m + t + m * q.distance_mm
    reach = b if b > 0.0 else -b
    usable = at + t * m > 0.0 and (b if m > 0.0 else -b) >= 1.0
    if not demand.by_print:
        gain = log10(size)
    elif focused:
        gain = log10(size / at)
    elif reach < 1.0:
        return _NOTHING
    else:
        gain = -log10(reach)
    width = 2.0 * at * q.tan_real if not intermediate else 2.0 * reach * q.tan_apparent if usable else 0.0
    return asked, gain, at, width, 100.0 / reach - 100.0 / at if usable else None, 0.0, size, None, False


# What an eye has of a tube whatever the goal: power without its sign; worth of the field where none is wanted; light
# that arrives, as a share, and what its want costs, log units.
Standing = tuple[float, float, float, float]


def standings(
    variants: Sequence[Variant], eye: EyeIn, dim: bool, passes: float, per_halving_logmar: float
) -> list[Standing]:
    """What an eye has of each variant in this light; ``passes`` is the transmittance of a filter."""
    found: list[Standing] = []
    pupil = eye.dim_pupil_mm if dim else eye.pupil_mm
    for variant in variants:
        q = variant.q
        degree = 360.0 / pi * atan(q.tan_real) / WIDE_FIELD_DEG
        ratio = q.exit_pupil_mm / pupil
        bright = q.transmittance * passes * (ratio * ratio if ratio < 1.0 else 1.0)
        loss = -per_halving_logmar * log2(bright) if bright < 1.0 else 0.0
        found.append((abs(q.m), degree if degree < 1.0 else 1.0, bright, loss))
    return found


def judge(
    variants: Sequence[Variant],
    seen: Sights,
    counts: Sequence[int],
    standing: Sequence[Standing],
    clear: Sequence[Clear],
    g: EyeGoal,
    unions: Sequence[float],
    tinted: bool,
) -> tuple[Judged, Judged]:
    """What an eye makes of every sight, in their order: alone, and as the leading one of two.

    ``seen`` is :func:`sights`; by variant, ``counts`` is how many of them it has, ``standing`` :func:`standings`,
    ``clear`` :func:`clears` and ``unions`` the tangent of half the union of two fields; this is empty when only one eye
    is asked about, and then nothing is said of two.
    """
    single = not unions
    one_eye, two_eyes = Judged(bytearray(), [], []), Judged(bytearray(), [], [])
    if g.impossible:
        count = len(seen) // SIGHT
        nothing = Judged(bytearray([3]) * count, [0.0] * count, [0.0] * count)
        return nothing, nothing
    grades, uses, all_points = one_eye
    grades_two, uses_two, points_two = two_eyes
    start, to_z, by_print, near, flexible = g.start, g.to_z, g.by_print, g.near, g.near_flexible
    intermediate, moving, fixed_loss, glare = g.intermediate, g.object_speed > 0.0, g.fixed_loss, g.glare
    blur_scale = g.blur_scale * g.blur_scale
    tolerance, accommodation, room_tolerance = g.tolerance_d, g.accommodation_d, g.room_tolerance_d
    pd, reserve, half_reserve = g.interpupillary_mm, g.reserve_prism, 0.5 * g.reserve_prism
    wanted, share_wanted, steady, good, reach_mm = (
        g.width_mm, g.share_wanted, g.steady, g.good_chance, g.reach_mm,
    )  # fmt: skip
    w_chance, w_field, w_clear, w_room, w_light = g.weights
    nearest, farthest, log_range = g.demand.nearest_mm, g.demand.farthest_mm, g.log_range
    each = zip(*[iter(seen)] * SIGHT, strict=True)
    for number, variant in enumerate(variants):
        q = variant.q
        power, degree, bright, dimming = standing[number]
        still = fixed_loss + dimming
        tube_loss = still + _slip_loss(g, power) if moving else still
        cylinder = q.cylinder_quarter
        always = w_light * (light_worth(bright, tinted, glare) if glare else bright)
        union = 0.0 if single else unions[number]
        wider = 1.0 if intermediate else union / q.tan_real
        for asked, gain, at, width, converge, relief, size, cap_d, hyperfocal in islice(each, counts[number]):
            # Out of sight: the grade of what cannot be used, and nothing gained.
            grade = grade_two = 3
            use = worth = points = together = 0.0
            if size:
                gain += start
                state = 2
                if union and converge is not None:
                    beyond = pd * converge - relief
                    if beyond < 0.0:
                        beyond = -beyond
                    state = 0 if beyond <= half_reserve else 1 if beyond <= reserve else 2
                if hyperfocal:
                    asked -= room_tolerance
                if asked < 0.0:
                    left = -asked
                else:
                    left = asked - accommodation
                    left = left if left > 0.0 else 0.0
                if left > DEFOCUS_MOST_D:
                    left = DEFOCUS_MOST_D
                out = left / tolerance
                loss = still + _slip_loss(g, size) if moving and size != power else tube_loss
                if loss > MOST_LOSS_LOGMAR and not by_print:
                    loss = MOST_LOSS_LOGMAR
                # Out of focus beyond use, or without a chance whatever the blur: the rest need not be made.
                grade = 2
                grade_two = 3 if state == 2 else 2
                if out <= _FADE_END and (gain - loss) * to_z >= _USELESS_Z:
                    if left or cylinder:
                        loss += 0.5 * log10(1.0 + blur_scale * (left * left + cylinder))
                        if loss > MOST_LOSS_LOGMAR and not by_print:
                            loss = MOST_LOSS_LOGMAR
                    chance = 0.5 * erfc((loss - gain) * to_z / _ROOT2)
                    if chance >= USELESS_CHANCE:
                        use = chance / FULL_CHANCE
                        if use > 1.0:
                            use = 1.0
                        if out > 1.0:
                            use *= _FADE_END - out
                        if size > steady:
                            use *= TREMBLING_WORTH
                        # Points of the goal's own criteria, all but the field
                        points = always + w_chance * (chance / good if chance < good else 1.0)
                        points += w_room * at / reach_mm if near and at < reach_mm else w_room
                        if flexible and cap_d is not None:
                            near_edge, far_edge, _, _ = clear[number]
                            needs = 0.0 if near_edge is None else cap_d - near_edge
                            if needs >= WEAKEST_VERGENCE_D:
                                nearest_clear = 1000.0 / needs
                                needs = 0.0 if far_edge is None else cap_d - far_edge
                                depth = 1.0
                                if needs >= WEAKEST_VERGENCE_D:
                                    depth = (1000.0 / needs - nearest_clear) / AMPLE_DEPTH_MM
                                points += w_clear * (depth if depth < 1.0 else 1.0)
                        elif log_range:
                            near_edge, far_edge, infinity, beyond_infinity = clear[number]
                            near_mm = far_mm = None
                            if cap_d is None:
                                near_mm, far_mm = beyond_infinity if hyperfocal else infinity
                            else:
                                needs = 0.0 if near_edge is None else cap_d - near_edge
                                if needs >= WEAKEST_VERGENCE_D:
                                    near_mm = 1000.0 / needs
                                needs = 0.0 if far_edge is None else cap_d - far_edge
                                if needs >= WEAKEST_VERGENCE_D:
                                    far_mm = 1000.0 / needs
                            if near_mm is not None:
                                low = near_mm if near_mm > nearest else nearest
                                high = farthest if far_mm is None or far_mm > farthest else far_mm
                                if high > low:
                                    points += w_clear * log(high / low) / log_range
                        else:
                            points += w_clear * (_FADE_END - out) if out > 1.0 else w_clear
                        # The field, of one eye and of two
                        sharing = wanted and width
                        share = width / wanted if sharing else 1.0
                        field = _field_worth(share) if sharing else degree
                        fair = chance >= NEARLY_CHANCE
                        sharp = chance >= MEETS_CHANCE and out <= 1.0 + CLEAR_MARGIN
                        grade = 0 if sharp and share >= share_wanted else 1 if fair else 2
                        if state < 2:
                            grade_two = grade
                            worth = use * VERGENCE_WORTH[state]
                            field_two = field
                            if sharing and wider != 1.0:
                                share *= wider
                                field_two = _field_worth(share)
                                grade_two = 0 if sharp and share >= share_wanted else 1 if fair else 2
                            if state and not grade_two:
                                grade_two = 1
                            together = worth * (points + w_field * field_two)
                        points = use * (points + w_field * field)
            grades.append(grade)
            uses.append(use)
            all_points.append(points)
            if not single:
                grades_two.append(grade_two)
                uses_two.append(worth)
                points_two.append(together)
    return one_eye, one_eye if single else two_eyes


def low_power(magnification: float) -> float:
    """The rule of :func:`.formulas.low_power_worth`, without its declaration."""
    size = magnification if magnification > 0.0 else -magnification
    if size >= STRONGEST_POWER:
        return 0.0
    return 1.0 - log(size) / _LOG_STRONGEST if size > 1.0 else 1.0


def _slip_loss(g: EyeGoal, size: float) -> float:
    slip = (size - (g.vor_gain if g.vor_gain < size else size)) * g.object_speed
    return 0.6 * log10(slip / g.slip_tolerated) if slip > g.slip_tolerated else 0.0


def _field_worth(share: float) -> float:
    """The rule of :func:`.formulas.field_worth`, without its declaration."""
    if share < 1.0:
        return WANTED_FIELD_WORTH * share
    return 1.0 if share >= 2.0 else WANTED_FIELD_WORTH + (1.0 - WANTED_FIELD_WORTH) * (share - 1.0)
