"""An eye and a goal together, in bare numbers: what the ranking needs of them, whatever the telescope."""

from __future__ import annotations

from dataclasses import dataclass
from math import log, log10

from ..errors import Refusal
from ..goals import Demand
from ..magnification import required_evd_mm
from .context import Context, Figures, Seeing
from .formulas import good_chance
from .ranking import steady_power
from .verdict import CHARACTERS_SHARE, WIDTH_SHARE

_Z95 = 1.96


@dataclass(frozen=True, slots=True, eq=False)
class EyeGoal:
    """What an eye brings to a goal: everything that does not hang on the telescope.

    ``weights`` are those of the chance, of the clear range and of the room for the hands.
    """

    demand: Demand
    impossible: bool
    near: bool
    near_flexible: bool
    by_print: bool
    intermediate: bool
    start: float
    to_z: float
    blur_scale: float
    tolerance_d: float
    accommodation_d: float
    room_tolerance_d: float
    fixed_loss: float
    object_speed: float
    vor_gain: float
    slip_tolerated: float
    reach_mm: float
    log_range: float
    good_chance: float
    steady: float
    weights: tuple[float, float, float]


def wanted_field(figures: Figures, demand: Demand) -> tuple[float, float]:
    """The width wanted at once, mm, 0 when none is, and the share of it that is enough."""
    pitch = figures.character_pitch_mm * demand.goal_m_units if demand.goal_m_units else 0.0
    if demand.by_print and demand.characters and pitch:
        return demand.characters * pitch, CHARACTERS_SHARE
    return (demand.width_mm, WIDTH_SHARE) if demand.width_mm else (0.0, 0.0)


def eye_goal(context: Context, eye: Seeing, demand: Demand, logmar: float | None, log_cs: float) -> EyeGoal:
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
    wide = demand.farthest_mm > demand.nearest_mm * 1.001
    weight = figures.weights
    return EyeGoal(
        demand=demand,
        impossible=impossible,
        near=demand.kind == "near",
        near_flexible=demand.kind == "near" and demand.by_print,
        by_print=demand.by_print,
        intermediate=demand.kind != "distance",
        start=start,
        to_z=_Z95 / cr95,
        blur_scale=figures.blur_constant
        * pupil
        / (eye.mar_of_print_arcmin if demand.by_print else eye.mar_arcmin),
        tolerance_d=eye.tolerance_dim_d if dim else eye.tolerance_d,
        accommodation_d=eye.accommodation_d,
        room_tolerance_d=eye.tolerance_d,
        fixed_loss=contrast,
        object_speed=demand.object_speed_deg_s,
        vor_gain=figures.vor_gain,
        slip_tolerated=figures.slip_tolerated_deg_s,
        reach_mm=context.person.reach_mm,
        log_range=log(demand.farthest_mm / demand.nearest_mm) if wide else 0.0,
        good_chance=good_chance(demand.reserve, cr95),
        steady=steady_power(context.person),
        weights=(weight[0], weight[3], weight[4]),
    )
