"""What would be measured on a state of the device: every measurement through the optics core.

The keys are those of :mod:`.measures`; a key is left out where the measurement does not exist for this device.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from math import hypot, log10

from ..errors import Refusal
from ..optics.ametropia import refocused_tube_length_mm
from ..optics.blur import blur_loss_logmar
from ..optics.focus import evd_mm, exit_vergence_d, object_vergence_d, object_vergence_for_exit_d
from ..optics.motion import slip_loss_logmar
from ..optics.mounting import head_drop_deg
from ..optics.rays import chain, lens, translation, vergence_through_d
from ..optics.telescope import objective_power_d, ocular_power_d
from ..plan.device import nearest_focus_mm
from .beliefs import Answer, Belief, Spread, answer
from .forward_field import field_beliefs
from .forward_pair import near_horizontal_at_prism, pair_beliefs
from .measures import spreads
from .state import State, Tube

# Over this the law of blur is an extrapolation; the loss is then total anyway.
DEFOCUS_MOST_D = 40.0
# The eye bears no more vergence than this in any device that someone looks through.
BEAM_MOST_D = 60.0
# Reading slows as print comes nearer to its threshold, by how much differs widely: speed falls with this power of it,
# give or take as much (common practice).
SPEED_EXPONENT = 0.35
# In three of ten the person's own deviation stays in what is written down as the device's (common practice).
NOT_TAKEN_OFF = 0.3

ANSWERS: dict[str, Answer] = {
    "words": answer(as_letters=0.92, worse_than_letters=0.08),
    "home": answer(as_in_the_clinic=0.85, worse_at_home=0.15),
    "more_light": answer(helps=0.25, no_change=0.75),
    "steady": answer(steady=0.85, steady_when_supported=0.12, unsteady=0.03),
    "stays": answer(yes=0.97, no=0.03),
}


def measure(state: State) -> dict[str, Belief]:
    """What to expect of every measurement on this state."""
    sd = spreads(state)
    means: dict[str, float] = {}
    for tube in state.tubes:
        _eye(state, tube, means)
    if state.two:
        both = [means[f"acuity.{t.side}"] for t in state.tubes if f"acuity.{t.side}" in means]
        if both:
            means["acuity.both"] = min(both)
    _range(state, state.lead, means)
    _near(state, state.lead, means)
    _posture(state, means)
    means["log_cs"] = state.log_cs
    means["speed"] = 0.0
    beliefs: dict[str, Belief] = {}
    field_beliefs(state, means, beliefs)
    if state.two:
        pair_beliefs(state, means, beliefs)
    for key, change in state.changes.items():
        if key in means:
            means[key] += change
    slower = 0.0
    if "print" in means:
        slower = SPEED_EXPONENT * max(0.0, means["print"] - _promised_print(state))
        means["speed"] -= slower
    for key, mean in means.items():
        beliefs[key] = Spread(mean, sd(key, mean))
    _not_taken_off(state, beliefs)
    beliefs["speed"] = Spread(means["speed"], hypot(sd("speed", 0.0), slower))
    _at_clear_distance(state, beliefs)
    _carrier(state, sd, beliefs)
    _answers(state, beliefs)
    return beliefs


def beam_d(state: State, tube: Tube, object_vergence_d: float) -> float:
    """Vergence at the ocular beyond what the eye there needs, D; minus can be accommodated away.

    A tube focused by hand is focused on the object as far as its travel goes; only what it was left at counts then.
    """
    if state.by_hand:
        return tube.focus_d - _beyond_travel_d(state, tube)
    leaves = _leaving_d(tube, object_vergence_d)
    return _clip(leaves + state.hyperfocal_d + tube.focus_d - tube.sphere_d)


def _leaving_d(tube: Tube, object_vergence: float) -> float:
    try:
        return exit_vergence_d(_power(tube), tube.tube_length_mm, object_vergence)
    except Refusal:
        return BEAM_MOST_D if object_vergence > 0.0 else -BEAM_MOST_D


def _power(tube: Tube) -> float:
    return tube.magnification * tube.wrong_power


def _clip(value: float) -> float:
    return max(-BEAM_MOST_D, min(BEAM_MOST_D, value))


def _beyond_travel_d(state: State, tube: Tube) -> float:
    """Sphere, D, that a focusing tube cannot take up because its travel ends."""
    if not tube.sphere_d:
        return 0.0
    telescope = state.telescope
    signed, length = telescope.signed_magnification, telescope.tube_length_mm
    lends = tube.ametropia_d if tube.tube_length_mm != length else 0.0
    try:
        wanted = refocused_tube_length_mm(signed, length, lends + tube.sphere_d)
    except Refusal:
        wanted = length
    lowest, highest = telescope.shortest_tube_mm or length, telescope.longest_tube_mm or length
    if lowest <= wanted <= highest:
        return 0.0
    stopped = min(max(wanted, lowest), highest)
    system = chain(
        lens(objective_power_d(signed, length)), translation(stopped), lens(ocular_power_d(signed, length))
    )
    return lends + tube.sphere_d - vergence_through_d(system, 0.0)


def defocus_d(tube: Tube, beam: float) -> float:
    """What stays out of focus once the eye has accommodated, D; the cylinder counts by half, as at best sphere."""
    sphere = max(0.0, -beam - tube.accommodation_d) if beam < 0.0 else beam
    return min(DEFOCUS_MOST_D, max(sphere, 0.5 * abs(tube.cylinder_d)))


def _blur(state: State, tube: Tube, logmar: float, defocus: float) -> float:
    mar = min(1000.0, max(0.1, 10.0**logmar))
    return blur_loss_logmar(mar, tube.pupil_mm, defocus, state.blur_constant)


def _eye(state: State, tube: Tube, means: dict[str, float]) -> None:
    side = tube.side
    on = tube.cap_d if state.cap_on_far else 0.0
    chart = object_vergence_d(state.chart_mm, on)
    if tube.logmar is not None:
        naked = tube.logmar + state.changes.get(f"naked.{side}", 0.0)
        beam = beam_d(state, tube, chart)
        if state.by_hand and on:
            beam += _clip(_leaving_d(tube, on))
        loss = _blur(state, tube, naked, defocus_d(tube, beam))
        power = abs(_power(tube)) * _refocusing(state, tube)
        means[f"acuity.{side}"] = naked - log10(power) + loss + _slip_loss(state)
        means[f"naked.{side}"] = tube.logmar
    far = _clip(_leaving_d(tube, on)) if on else 0.0
    if state.by_hand:
        means[f"over_sphere.{side}"] = _beyond_travel_d(state, tube) - tube.focus_d - far
    else:
        means[f"over_sphere.{side}"] = tube.sphere_d - tube.focus_d - state.hyperfocal_d - far
    means[f"over_cylinder.{side}"] = abs(tube.cylinder_d)
    means[f"tube_focus.{side}"] = tube.built_in_d + state.hyperfocal_d + tube.focus_d
    means[f"power.{side}"] = tube.wrong_power
    means[f"eye_distance.{side}"] = tube.eye_distance_mm - state.depth_to_pupil_mm
    means[f"lateral.{side}"] = tube.out_mm + state.spread_off_mm
    if not state.two:
        means[f"height.{side}"] = tube.up_mm
        means[f"tilt.{side}"] = tube.tilt_up_deg
    if tube.cap_d:
        means[f"cap_power.{side}"] = tube.cap_d
        means[f"cap_prism.{side}"] = tube.base_in_prism


def _refocusing(state: State, tube: Tube) -> float:
    """Factor by which the power changes when a tube is focused by hand for a sphere left in: 1 - R/Foc."""
    if not state.by_hand or not tube.sphere_d:
        return 1.0
    telescope = state.telescope
    ocular = ocular_power_d(telescope.signed_magnification, telescope.tube_length_mm)
    return max(0.2, 1.0 - tube.sphere_d / ocular)


def _slip_loss(state: State) -> float:
    if not state.slip_deg_s:
        return 0.0
    return slip_loss_logmar(state.slip_deg_s, state.settings.assume("slip_tolerated_deg_s"))


def _range(state: State, tube: Tube, means: dict[str, float]) -> None:
    """Near and far end of what is clear, as 1000/mm from the objective; beyond infinity the near end is negative."""
    on = tube.cap_d if state.cap_on_far else 0.0
    if state.by_hand:
        lends = tube.sphere_d + (
            tube.ametropia_d if tube.tube_length_mm != state.telescope.tube_length_mm else 0.0
        )
        with suppress(Refusal):
            means["near_end"] = 1000.0 / nearest_focus_mm(state.telescope, lends) + on
        means["far_end"] = on
        return
    relaxed = tube.sphere_d - tube.focus_d - state.hyperfocal_d
    near = _object_for(tube, relaxed - tube.accommodation_d - tube.tolerance_d)
    far = _object_for(tube, relaxed + tube.tolerance_d)
    means["near_end"] = on - near
    means["far_end"] = max(0.0, on - far)


def _object_for(tube: Tube, leaving: float) -> float:
    """Object vergence that leaves the tube with a vergence, D; the nearest possible where none does."""
    least = -0.9 * 1000.0 * abs(_power(tube)) / tube.tube_length_mm
    wanted = max(leaving, least) if _power(tube) > 0.0 else min(leaving, -least)
    try:
        return object_vergence_for_exit_d(_power(tube), tube.tube_length_mm, wanted)
    except Refusal:
        return 0.0


def _near(state: State, tube: Tube, means: dict[str, float]) -> None:
    """Best distance with the cap, where the page is held, and the print read at the distance as ordered."""
    if state.working_mm is None or not tube.cap_d:
        return
    residual = 0.0 if state.by_hand else tube.sphere_d - tube.focus_d
    power = 0.0 if state.cap_missing else tube.cap_d
    best = power - _object_for(tube, residual)
    if state.cap_missing:
        best = means.get("near_end", 0.0)
    means["working_distance"] = max(best, 0.02)
    means["used_distance"] = log10(state.hold_ratio * state.working_mm)
    if state.threshold is None:
        return
    held = state.working_mm * state.hold_ratio
    try:
        size = evd_mm(_power(tube), tube.tube_length_mm, held, tube.eye_distance_mm, power)
    except Refusal:
        size = 1000.0
    beam = _clip(_leaving_d(tube, object_vergence_d(held, power)) - residual)
    near = tube.near_logmar if tube.near_logmar is not None else (tube.logmar or 0.7)
    loss = _blur(state, tube, near, defocus_d(tube, beam))
    threshold, distance = state.threshold
    means["print"] = log10(threshold * size / distance) + loss


def _at_clear_distance(state: State, beliefs: dict[str, Belief]) -> None:
    """Print and near vergence where the page is put at the clear distance instead of the ordered one: either
    is done.
    """
    best = beliefs.get("working_distance")
    if not isinstance(best, Spread) or state.working_mm is None or state.cap_missing:
        return
    clear_mm = 1000.0 / best.mean
    if abs(clear_mm / state.working_mm - 1.0) < 0.03 or clear_mm > 5000.0:
        return
    tube, found = state.lead, beliefs.get("print")
    if isinstance(found, Spread) and state.threshold is not None and state.hold_ratio == 1.0:
        try:
            size = evd_mm(_power(tube), tube.tube_length_mm, clear_mm, tube.eye_distance_mm, tube.cap_d)
        except Refusal:
            return
        at_clear = log10(state.threshold[0] * size / state.threshold[1]) + state.changes.get("print", 0.0)
        beliefs["print"] = Spread(found.mean, found.sd, at_clear, 0.4)
    vergence = beliefs.get("horizontal_near")
    if isinstance(vergence, Spread):
        held = near_horizontal_at_prism(state, state.working_mm)
        beliefs["horizontal_near"] = Spread(vergence.mean, vergence.sd, held, 0.4)


def _not_taken_off(state: State, beliefs: dict[str, Belief]) -> None:
    """Prisms at a far light, where the person's own deviation may not have been taken off, as it should be."""
    for way, own in (("vertical", state.own_vertical_prism), ("horizontal", state.own_horizontal_prism)):
        far = beliefs.get(f"{way}_far")
        if own and isinstance(far, Spread):
            beliefs[f"{way}_far"] = Spread(far.mean, far.sd, far.mean + own, NOT_TAKEN_OFF)


def _promised_print(state: State) -> float:
    """The print promised at the cap's focus, log10 of M units."""
    assert state.threshold is not None and state.working_mm is not None
    threshold, distance = state.threshold
    tube = state.lead
    try:
        return log10(threshold * 1000.0 / (abs(tube.magnification * tube.cap_d) * distance))
    except (ValueError, ZeroDivisionError):
        return 0.0


def _posture(state: State, means: dict[str, float]) -> None:
    if state.bioptic_height_mm is None:
        return
    tube = state.lead
    with suppress(Refusal):
        means["head_drop"] = head_drop_deg(
            max(1.0, state.bioptic_height_mm + tube.up_mm),
            state.rotation_mm,
            state.tube_tilt_deg + tube.tilt_up_deg,
            abs(_power(tube)),
        )


def _carrier(state: State, sd: Callable[[str, float], float], beliefs: dict[str, Belief]) -> None:
    """What the delivered carrier leaves over: a wrong lens shows there, a changed eye does not."""
    for tube in state.tubes:
        left, cylinder = (
            state.changes.get(f"lens_sphere.{tube.side}", 0.0),
            state.changes.get(f"lens_cylinder.{tube.side}", 0.0),
        )
        for key, size in ((f"carrier_sphere.{tube.side}", left), (f"carrier_cylinder.{tube.side}", cylinder)):
            beliefs[key] = Spread(size, sd(key, size), 0.0, 0.6 if size else 0.0)


def _answers(state: State, beliefs: dict[str, Belief]) -> None:
    for key, usual in ANSWERS.items():
        own = state.answers.get(key)
        beliefs[key] = usual if own is None else answer(**own)
    if state.by_hand:
        left = any(abs(tube.focus_d) > tube.tolerance_d / 2.0 for tube in state.tubes)
        beliefs["refocus"] = answer(helps=0.9, no_change=0.1) if left else answer(helps=0.1, no_change=0.9)
