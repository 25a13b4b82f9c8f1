"""The same rules as :mod:`.device` and :mod:`.outcome` in bare arithmetic, for every configuration of a stock at once.

Nothing here is shown: it ranks. An option that is looked at is computed anew through the declared formulas, and a test
holds both to the same grade and score. Only numbers that the ranking needs are made, so that a plan of tens of
thousands of outcomes is a matter of milliseconds and of few megabytes.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import atan, erfc, log, log2, log10, pi, sqrt
from typing import NamedTuple

from ..errors import Refusal
from ..goals import Demand
from ..magnification import required_evd_mm
from ..optics._domain import POLE_MARGIN
from .context import Context, EyeIn
from .formulas import FULL_CHANCE, STRONGEST_POWER, USELESS_CHANCE, WANTED_FIELD_WORTH, good_chance
from .quick_tube import CapState, QuickEye, cap_edges, clear_between
from .ranking import (
    AMPLE_DEPTH_MM,
    TREMBLING_WORTH,
    VERGENCE_WORTH,
    WIDE_FIELD_DEG,
    glare_of,
    light_worth,
    steady_power,
)
from .seen import DEFOCUS_MOST_D
from .verdict import CHARACTERS_SHARE, MEETS_CHANCE, NEARLY_CHANCE, WIDTH_SHARE

_ROOT2 = sqrt(2.0)
_Z95 = 1.96
_FADE_END = 2.0
_LOG_STRONGEST = log(STRONGEST_POWER)
# A chance under USELESS_CHANCE has a standard score under this one.
_USELESS_Z = -2.4


@dataclass(slots=True)
class EyeGoal:
    """What an eye brings to a goal: everything that does not hang on the telescope."""

    demand: Demand
    impossible: bool
    near: bool
    near_flexible: bool
    by_print: bool
    intermediate: bool
    start: float
    to_z: float
    blur_scale: float
    pupil_mm: float
    tolerance_d: float
    accommodation_d: float
    room_tolerance_d: float
    fixed_loss: float
    light_loss: float
    characters_mm: float
    width_mm: float
    share_wanted: float
    object_speed: float
    vor_gain: float
    slip_tolerated: float
    reach_mm: float
    log_range: float
    reserve_prism: float
    interpupillary_mm: float
    good_chance: float
    glare: float
    steady: float
    weights: tuple[float, float, float, float, float]


def eye_goal(
    context: Context, eye: EyeIn, demand: Demand, logmar: float | None, log_cs: float, reserve_prism: float
) -> EyeGoal:
    """An eye and a goal together."""
    figures = context.figures
    reserve = demand.contrast * 10.0**log_cs
    impossible = not demand.usable or reserve <= 1.0
    start, cr95 = 0.0, figures.cr95_print_logmar if demand.by_print else figures.cr95_logmar
    if demand.by_print:
        if eye.near_m_units is None or demand.goal_m_units is None:
            impossible = True
        elif not impossible:
            try:
                needed = required_evd_mm(
                    eye.near_distance_mm, eye.near_m_units, demand.goal_m_units, max(1.0, demand.reserve)
                )
                start = log10(needed)
            except Refusal:
                impossible = True
    elif logmar is None or demand.goal_logmar is None:
        impossible = True
    else:
        start = demand.goal_logmar - logmar
    dim = demand.light == "dim"
    pupil = eye.dim_pupil_mm if dim else eye.pupil_mm
    contrast = figures.contrast_loss_per_log * max(
        0.0, log10(figures.contrast_reserve_warn / max(reserve, 1e-9))
    )
    characters = demand.characters if demand.by_print else None
    pitch = figures.character_pitch_mm * demand.goal_m_units if demand.goal_m_units else 0.0
    wide = demand.farthest_mm > demand.nearest_mm * 1.001
    weight = figures.weights
    if characters and pitch:
        wanted, share = characters * pitch, CHARACTERS_SHARE
    elif demand.width_mm:
        wanted, share = demand.width_mm, WIDTH_SHARE
    else:
        wanted, share = 0.0, 0.0
    return EyeGoal(
        demand=demand,
        impossible=impossible,
        near=demand.kind == "near",
        near_flexible=demand.kind == "near" and demand.by_print,
        by_print=demand.by_print,
        intermediate=demand.kind != "distance",
        start=start,
        to_z=_Z95 / cr95,
        blur_scale=figures.blur_constant * pupil / eye.mar_arcmin,
        pupil_mm=pupil,
        tolerance_d=eye.tolerance_dim_d if dim else eye.tolerance_d,
        accommodation_d=eye.accommodation_d,
        room_tolerance_d=eye.tolerance_d,
        fixed_loss=contrast,
        light_loss=figures.light_loss_per_halving_logmar,
        characters_mm=wanted if characters and pitch else 0.0,
        width_mm=wanted,
        share_wanted=share,
        object_speed=demand.object_speed_deg_s,
        vor_gain=figures.vor_gain,
        slip_tolerated=figures.slip_tolerated_deg_s,
        reach_mm=context.person.reach_mm,
        log_range=log(demand.farthest_mm / demand.nearest_mm) if wide else 0.0,
        reserve_prism=reserve_prism,
        interpupillary_mm=context.person.pd.total_mm,
        good_chance=good_chance(demand.reserve, cr95),
        glare=glare_of(context.person, demand),
        steady=steady_power(context.person),
        weights=(weight[0], weight[1], weight[3], weight[4], weight[5]),
    )


# Grade as an index, usefulness and points of the goal's own criteria: with one eye, then with two.
Quick = tuple[int, float, float, int, float, float]
_NEITHER: Quick = (3, 0.0, 0.0, 3, 0.0, 0.0)
_BOTH_MISS: Quick = (2, 0.0, 0.0, 2, 0.0, 0.0)
_MISSES: Quick = (2, 0.0, 0.0, 3, 0.0, 0.0)


class Sight(NamedTuple):
    """What one configuration shows of one goal's object, whoever looks: nothing here hangs on acuity or pupil.

    ``asked_d`` is the accommodation asked; ``log_gain`` the log of the power (for print, per mm of viewing
    distance); ``width_mm`` what is seen at once; ``converge`` the convergence per mm of PD beyond the naked one, None
    where the light crosses before the eye; ``relief_prism`` what prism in the caps takes away; ``cap`` the one on.
    """

    asked_d: float
    log_gain: float
    object_mm: float
    width_mm: float
    converge: float | None
    relief_prism: float
    size: float
    q: QuickEye
    cap: CapState | None
    hyperfocal: bool


def sight(q: QuickEye, demand: Demand, cap: CapState | None, hyperfocal: bool) -> Sight | None:
    """One configuration before one goal's object; None when nothing can be seen of it."""
    intermediate = demand.kind != "distance"
    if cap is not None and not (
        intermediate and (demand.by_print or cap.power_d < 2000.0 / demand.distance_mm)
    ):
        cap = None
    m, t = q.m, q.t
    power = 0.0
    if cap is None:
        at = demand.distance_mm
    else:
        power, at = cap.power_d, cap.working_mm
        if demand.kind != "near" or not demand.by_print:
            at = min(demand.farthest_mm, max(demand.nearest_mm, at))
    vergence = power - 1000.0 / at
    focused = False
    if q.focusable and cap is None:
        reached = at if at > q.nearest_mm else q.nearest_mm
        collecting = q.objective_d - 1000.0 / reached
        if collecting <= POLE_MARGIN * q.objective_d:
            return None
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
                return None
            asked = -m_near * m_near * vergence / bend
    else:
        vergence += q.objective_lens
        bend = 1.0 - t * m * vergence / 1000.0
        if bend <= POLE_MARGIN:
            return None
        asked = q.reference - m * m * vergence / bend
    size = m if m > 0.0 else -m
    past = 1.0 - 0.001 * power * at
    b = at / m + past * (t + m * q.distance_mm)
    reach = b if b > 0.0 else -b
    usable = at + t * m * past > 0.0 and (b if m > 0.0 else -b) >= 1.0
    at_focus = cap is not None and abs(at - cap.corrected_mm) < 1e-6 * at
    if demand.by_print:
        if at_focus:
            gain = log10(size * power) - 3.0
        elif focused:
            gain = log10(size / at)
        elif reach < 1.0:
            return None
        else:
            gain = -log10(reach)
    elif cap is not None:
        if reach < 1.0:
            return None
        gain = log10(at / reach)
    else:
        gain = log10(size)
    width = (
        2.0 * at * q.tan_real
        if not intermediate or at_focus
        else 2.0 * reach * q.tan_apparent
        if usable
        else 0.0
    )
    converge = 100.0 / reach - 100.0 / at if usable else None
    relief = 2.0 * size * cap.base_in_prism if cap is not None else 0.0
    return Sight(asked, gain, at, width, converge, relief, size, q, cap, hyperfocal and cap is None)


def judge(seen: Sight | None, g: EyeGoal, eye: EyeIn, union_tan: float, passes: float) -> Quick:
    """What an eye makes of it, with one eye and with two (of the same leading eye).

    ``union_tan`` is the tangent of half the union of two fields, 0 when only one eye is asked about: the second part
    of the result is then without meaning. ``passes`` is the transmittance of a filter.
    """
    if seen is None or g.impossible:
        return _NEITHER
    asked, gain, at, width, converge, relief, size, q, cap, hyperfocal = seen
    gain += g.start
    state = 2
    if union_tan and converge is not None:
        beyond = abs(g.interpupillary_mm * converge - relief)
        state = 0 if beyond <= 0.5 * g.reserve_prism else 1 if beyond <= g.reserve_prism else 2
    if gain * g.to_z < _USELESS_Z:
        return _MISSES if state == 2 else _BOTH_MISS
    if hyperfocal:
        asked -= g.room_tolerance_d
    if asked < 0.0:
        left = -asked
    else:
        left = asked - g.accommodation_d
        left = left if left > 0.0 else 0.0
    if left > DEFOCUS_MOST_D:
        left = DEFOCUS_MOST_D
    # Losses
    loss = g.fixed_loss
    if left or q.cylinder_quarter:
        loss += 0.5 * log10(1.0 + g.blur_scale * g.blur_scale * (left * left + q.cylinder_quarter))
    ratio = q.exit_pupil_mm / g.pupil_mm
    bright = q.transmittance * passes * (ratio * ratio if ratio < 1.0 else 1.0)
    if bright < 1.0:
        loss -= g.light_loss * log2(bright)
    if g.object_speed > 0.0:
        slip = (size - min(g.vor_gain, size)) * g.object_speed
        if slip > g.slip_tolerated:
            loss += 0.6 * log10(slip / g.slip_tolerated)
    if loss > 3.0 and not g.by_print:
        loss = 3.0
    chance = 0.5 * erfc(-(gain - loss) * g.to_z / _ROOT2)
    out = left / g.tolerance_d
    wider = union_tan / q.tan_real if not g.intermediate else 1.0
    if not g.width_mm:
        width = 0.0
    if chance < USELESS_CHANCE:
        use = 0.0
    else:
        use = chance / FULL_CHANCE
        if use > 1.0:
            use = 1.0
        if out > 1.0:
            use *= _FADE_END - out if out < _FADE_END else 0.0
        if size > g.steady:
            use *= TREMBLING_WORTH
    if not use:
        one = _grade(g, chance, out, 0, width / g.width_mm if width else 1.0)
        two = (
            one if state == 0 else _grade(g, chance, out, state, width * wider / g.width_mm if width else 1.0)
        )
        return one, 0.0, 0.0, two, 0.0, 0.0
    room = 1.0
    if g.near and at < g.reach_mm:
        room = at / g.reach_mm
    w = g.weights
    good = chance / g.good_chance
    if g.glare:
        bright = light_worth(bright, passes < 1.0, g.glare)
    fixed = w[0] * (good if good < 1.0 else 1.0) + w[3] * room + w[4] * bright
    fixed += w[2] * _clear(g, eye, q, cap, hyperfocal, out)
    if width:
        share = width / g.width_mm
        degree = _field_worth(share)
    else:
        share = 1.0
        degree = 360.0 / pi * atan(q.tan_real) / WIDE_FIELD_DEG
        degree = degree if degree < 1.0 else 1.0
    grade, points = _grade(g, chance, out, 0, share), use * (fixed + w[1] * degree)
    if state == 2:
        return grade, use, points, 3, 0.0, 0.0
    if state == 0 and (wider == 1.0 or not width):
        return grade, use, points, grade, use, points
    if width and wider != 1.0:
        share *= wider
        degree = _field_worth(share)
    worth = use * VERGENCE_WORTH[state]
    return grade, use, points, _grade(g, chance, out, state, share), worth, worth * (fixed + w[1] * degree)


def low_power(magnification: float) -> float:
    """The rule of :func:`.formulas.low_power_worth`, without its declaration."""
    size = magnification if magnification > 0.0 else -magnification
    if size >= STRONGEST_POWER:
        return 0.0
    return 1.0 - log(size) / _LOG_STRONGEST if size > 1.0 else 1.0


def _field_worth(share: float) -> float:
    """The rule of :func:`.formulas.field_worth`, without its declaration."""
    if share < 1.0:
        return WANTED_FIELD_WORTH * share
    return 1.0 if share >= 2.0 else WANTED_FIELD_WORTH + (1.0 - WANTED_FIELD_WORTH) * (share - 1.0)


def _clear(g: EyeGoal, eye: EyeIn, q: QuickEye, cap: CapState | None, hyperfocal: bool, out: float) -> float:
    """How well the clear range fits the goal, by the rule of :func:`.ranking.clear_degree`."""
    if cap is not None and g.near_flexible:
        near_mm, far_mm = cap_edges(eye, q, cap)
        if near_mm is None:
            return 0.0
        return 1.0 if far_mm is None else min(1.0, (far_mm - near_mm) / AMPLE_DEPTH_MM)
    if not g.log_range:
        return min(1.0, max(0.0, _FADE_END - out))
    near_mm, far_mm = clear_between(eye, q, hyperfocal) if cap is None else cap_edges(eye, q, cap)
    if near_mm is None:
        return 0.0
    demand = g.demand
    low = near_mm if near_mm > demand.nearest_mm else demand.nearest_mm
    high = demand.farthest_mm if far_mm is None or far_mm > demand.farthest_mm else far_mm
    return log(high / low) / g.log_range if high > low else 0.0


def _grade(g: EyeGoal, chance: float, out: float, state: int, share: float) -> int:
    """The grade as an index, by the rule of :func:`.outcome.grade_of`."""
    if state == 2:
        return 3
    if chance >= MEETS_CHANCE and out <= 1.0 + 1e-9 and not state and share >= g.share_wanted:
        return 0
    return 1 if chance >= NEARLY_CHANCE and out <= 2.0 else 2
