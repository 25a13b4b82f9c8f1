"""What two eyes meet behind two tubes on a state of the device: prisms far and near, sizes, single or double."""

from __future__ import annotations

from ..errors import Refusal
from ..optics.alignment import arcmin_to_prism, tilt_deviation_arcmin
from ..optics.convergence import (
    convergence_naked_prism,
    convergence_parallel_tubes_prism,
    convergence_with_caps_prism,
)
from .beliefs import Answer, Belief, answer, logistic
from .state import State

# The step from single to double, as a share of the reserve that the eyes have (common practice).
DOUBLE_STEP = 0.2
AT_TIMES_FROM = 0.6


def pair_beliefs(state: State, means: dict[str, float], beliefs: dict[str, Belief]) -> None:
    """Adds what only two tubes have."""
    power = abs(state.lead.magnification)
    tilt = _deviation(state, state.tilt_vertical_arcmin)
    # Each tube toes out by half of it; outwards asks for convergence.
    toe = 2.0 * _deviation(state, state.toe_out_arcmin / 2.0)
    vertical, horizontal = state.own_vertical_prism + tilt, state.own_horizontal_prism + toe
    # At a far light the person's own deviation is taken off what is neutralised.
    means["vertical_far"], means["horizontal_far"] = tilt, toe
    means["naked_vertical"], means["naked_horizontal"] = (
        state.own_vertical_prism,
        state.own_horizontal_prism,
    )
    means["bench_vertical"], means["bench_horizontal"] = state.tilt_vertical_arcmin, state.toe_out_arcmin
    means["spread"] = state.spread_off_mm + sum(tube.out_mm for tube in state.tubes) / 2.0
    means["height_difference"] = state.height_difference_mm
    means["tilt_difference"] = state.tilt_vertical_arcmin / 60.0
    first, second = (tube.wrong_power for tube in state.tubes)
    difference = 100.0 * (max(first, second) / min(first, second) - 1.0)
    means["size_difference"] = difference
    means["image_difference"] = difference + state.changes.get("images", 0.0)
    beliefs["double_far"] = _double(state, vertical, horizontal, "distance", state.answers.get("double_far"))
    if state.working_mm is None:
        return
    means["cap_height"] = abs(state.height_difference_mm)
    designed = _near_horizontal(state, as_ordered=True)
    near = horizontal + _near_horizontal(state, as_ordered=False)
    near_vertical = (
        vertical + power * _cap(state) * state.height_difference_mm / 10.0 + _unequal_vertical(state)
    )
    means["vertical_near"], means["horizontal_near"] = near_vertical, near
    own = state.answers.get("double_near")
    clear = _double(state, near_vertical, near - designed, "near", own)
    held = near if state.cap_missing else near_horizontal_at_prism(state, state.working_mm)
    other = _double(state, near_vertical, held - designed, "near", own)
    # The page may have stood at the clear distance or at the ordered one.
    beliefs["double_near"] = Answer(
        {word: 0.5 * (chance + other.chances[word]) for word, chance in clear.chances.items()}
    )


def _cap(state: State) -> float:
    return 0.0 if state.cap_missing else sum(tube.cap_d for tube in state.tubes) / 2.0


def _deviation(state: State, tilt_arcmin: float) -> float:
    """Prism dioptres at the eye by a tilt of one tube against the other."""
    if not tilt_arcmin:
        return 0.0
    try:
        size = tilt_deviation_arcmin(state.lead.magnification, abs(tilt_arcmin), state.erect)
    except Refusal:
        return 0.0
    prism = arcmin_to_prism(size) * (1.0 if state.erect else -1.0)
    return prism if tilt_arcmin > 0.0 else -prism


def _near_horizontal(state: State, as_ordered: bool) -> float:
    """What parallel tubes with these caps ask of the eyes at the cap focus, less what the caps' prisms relieve."""
    power = abs(state.lead.magnification)
    caps = [state.ordered_cap_d] * 2 if as_ordered else [tube.cap_d for tube in state.tubes]
    if not as_ordered and state.cap_missing:
        return 0.0
    prisms = state.ordered_prism * 2.0 if as_ordered else sum(tube.base_in_prism for tube in state.tubes)
    out = [state.spread_mm] * 2
    if not as_ordered:
        out = [state.spread_mm + state.spread_off_mm + tube.out_mm for tube in state.tubes]
    asked = 0.0
    for cap, outwards in zip(caps, out, strict=True):
        half = state.pd_mm / 2.0 + outwards
        if half > 0.0 and cap > 0.0:
            asked += convergence_with_caps_prism(power, cap, half)
    return asked - power * prisms


def near_horizontal_at_prism(state: State, object_distance_mm: float) -> float:
    """The same for a page at any distance in front of the caps, with what a toe-out adds."""
    asked = 2.0 * _deviation(state, state.toe_out_arcmin / 2.0) + state.own_horizontal_prism
    for tube in state.tubes:
        outwards = state.pd_mm / 2.0 + state.spread_mm + state.spread_off_mm + tube.out_mm
        try:
            asked += convergence_parallel_tubes_prism(
                interpupillary_mm=outwards,
                magnification=tube.magnification,
                tube_length_mm=tube.tube_length_mm,
                object_distance_mm=object_distance_mm,
                eye_distance_mm=tube.eye_distance_mm,
                cap_power_d=tube.cap_d,
            )
        except Refusal:
            continue
        asked -= abs(tube.magnification) * tube.base_in_prism
    return asked


def excess_convergence_share(state: State) -> float:
    """What the caps as ordered ask beyond ordinary looking at their distance, as a share of the reserve at near."""
    if state.working_mm is None:
        return 0.0
    # From the page to the centres of rotation.
    away = state.working_mm + state.lead.tube_length_mm + state.rotation_mm
    excess = _near_horizontal(state, as_ordered=True) - convergence_naked_prism(state.pd_mm, away)
    return max(0.0, excess) / state.reserves["base_out_near"]


def _unequal_vertical(state: State) -> float:
    """Vertical prism when the gaze is lowered by 3 mm on caps of unequal power."""
    first, second = (tube.cap_d for tube in state.tubes)
    return abs(state.lead.magnification) * 0.3 * (first - second) * state.tubes[0].outwards


def _double(
    state: State, vertical: float, horizontal: float, where: str, own: dict[str, float] | object | None
) -> Answer:
    """Single, double at times or double, by the deviation against the reserve that opposes it."""
    if isinstance(own, dict):
        return answer(**own)
    sideways = state.reserves[f"base_out_{where}" if horizontal >= 0.0 else f"base_in_{where}"]
    load = max(abs(vertical) / state.reserves["vertical"], abs(horizontal) / sideways)
    double = logistic((load - 1.0) / DOUBLE_STEP)
    troubled = logistic((load - AT_TIMES_FROM) / DOUBLE_STEP)
    at_times = max(0.0, troubled - double) + 0.02
    return answer(single=1.0 - max(double, troubled) + 0.001, double_at_times=at_times, double=double)
