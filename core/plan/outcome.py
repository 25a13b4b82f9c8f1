"""What a configuration does for one goal of this person, through the declared formulas, with its sentence and decision.

The same rules, as bare arithmetic for thousands of configurations at once, stand in :mod:`.quick`; a test holds
the two together.
"""

from __future__ import annotations

from ..acuity_scale import nearest_chart_line, snellen_denominator
from ..configuration import Configuration
from ..contrast import contrast_reserve
from ..errors import Refusal
from ..goals import Demand
from ..likelihood import probability_prediction_meets_goal
from ..magnification import (
    evp_from_evd_d,
    logmar_through_telescope,
    power_margin_log,
    print_read_m_units,
    relative_distance_magnification,
    required_evd_mm,
    required_magnification,
)
from ..optics.alignment import sheard_limit_prism
from ..optics.blur import blur_loss_logmar
from ..optics.caps import cap_evd_mm, cap_power_for_goal_d
from ..optics.convergence import convergence_naked_prism, convergence_parallel_tubes_prism
from ..optics.field import characters_in_field, linear_field_mm, linear_field_through_tube_mm
from ..optics.focus import evd_mm
from ..optics.light import relative_brightness
from ..optics.motion import retinal_slip_deg_s, slip_mar_factor
from ..stock import Cap, Telescope
from .asked import served_otherwise, without_telescope
from .context import Context, EyeIn
from .formulas import (
    as_recorded,
    cap_prism_relief_prism,
    contrast_loss_logmar,
    cylinder_loss_logmar,
    defocus_with_cylinder_d,
    light_loss_logmar,
    motion_loss_logmar,
    probability_print_goal_met,
    total_loss_logmar,
    vergence_beyond_naked_prism,
    vertical_beyond_naked_prism,
)
from .seen import Seen, cap_is_on, evd_focused_mm, seen_at
from .types import Decision, DeviceNumbers, EyeNumbers, Loss, Outcome
from .verdict import CLEAR_MARGIN, MOST_LOSS_LOGMAR, decide, grade_of, hindrances_of, sentence_of, share_of
from .words import defocus_words, said, too_near

_REPEATS = (0.20, 0.30)
# Pupil heights are measured no finer than this (common practice).
LEVEL_MM = 0.25


def outcome_of(
    context: Context, telescope: Telescope, cap: Cap | None, configuration: Configuration, device: DeviceNumbers,
    demand: Demand,
) -> Outcome:  # fmt: skip
    """The outcome for one goal; an impossible one is graded ``cannot`` with its reason, never raised."""
    lead = device.leading
    on = cap if cap_is_on(demand, cap) else None
    blank = {
        "goal_index": demand.index,
        "goal": demand.name,
        "eye": configuration.eye,
        "cap_on": on is not None,
        "object_distance_mm": demand.distance_mm,
        "magnification": lead.magnification,
        "tube_length_mm": lead.tube_length_mm,
    }
    if demand.problems:
        return _cannot(blank, demand.problems[0])
    try:
        found = _computed(context, telescope, on, configuration, device, demand, blank)
    except Refusal as refusal:
        found = _cannot(blank, f"{demand.name}: {said(refusal)}")
    without = without_telescope(context, demand)
    if without:
        return _not_needed(found, without)
    return found._replace(better_otherwise=True) if served_otherwise(context, demand) else found


def _not_needed(found: Outcome, without: str) -> Outcome:
    """An outcome for a goal that is reached without any telescope: what the tube would do is said as an aside."""
    aside = f"through this one {found.sentence.removeprefix(f'{found.goal}: ')}"
    return found._replace(
        needed=False,
        sentence=f"{found.goal}: needs no telescope; "
        + ("this one does not serve it." if found.grade == "cannot" else aside),
        decision=Decision("prefer-alternative", without),
    )


def _cannot(blank: dict, sentence: str) -> Outcome:
    return Outcome(grade="cannot", sentence=sentence, decision=Decision("refuse", sentence), **blank)


def _computed(
    context: Context, telescope: Telescope, cap: Cap | None, configuration: Configuration, device: DeviceNumbers,
    demand: Demand, blank: dict,
) -> Outcome:  # fmt: skip
    lead, figures = device.leading, context.figures
    eye = context.eye(lead.side)
    working = None if cap is None or device.cap is None else device.cap.working_distance_mm
    try:
        seen = seen_at(telescope, configuration, lead, demand, cap, working)
    except Refusal:
        return _cannot(blank, too_near(demand.name, demand.distance_mm, telescope, lead))
    dim = demand.light == "dim"
    pupil = eye.dim_pupil_mm if dim else eye.pupil_mm
    tolerance = eye.tolerance_dim_d if dim else eye.tolerance_d
    reserve = contrast_reserve(demand.contrast, context.log_cs(configuration.eye, eye))
    brightness = relative_brightness(pupil, device.transmittance, lead.exit_pupil_diameter_mm)
    losses, blur_loss = _losses(context, eye, lead, demand, seen, pupil, brightness, reserve)
    loss = total_loss_logmar(*(item.logmar for item in losses))
    field = _field_numbers(context, device, demand, seen, cap)
    vergence, vergence_state = _vergence(context, configuration, device, demand, seen, cap)
    blur_ratio = seen.defocus_d / tolerance
    chosen = dict(blank)
    chosen.update(
        object_distance_mm=seen.object_distance_mm,
        magnification=seen.magnification,
        tube_length_mm=seen.tube_length_mm,
        blur_loss_logmar=blur_loss,
        losses=tuple(losses),
        loss_logmar=loss,
        exit_vergence_d=seen.exit_vergence_d,
        unrefocused_exit_vergence_d=seen.unrefocused_exit_vergence_d,
        tolerance_d=tolerance,
        accommodation_used_d=seen.accommodation_used_d,
        defocus_d=seen.defocus_d,
        clear=blur_ratio <= 1.0 + CLEAR_MARGIN,
        clear_from_mm=device.cap.clear_from_mm if cap is not None and device.cap else lead.near_limit_mm,
        clear_to_mm=device.cap.clear_to_mm if cap is not None and device.cap else lead.far_limit_mm,
        contrast_reserve=reserve,
        relative_brightness=brightness,
        vergence_state=vergence_state,
        **field,
        **vergence,
    )
    if demand.object_speed_deg_s > 0.0:
        slip = _slip(context, seen, demand)
        chosen.update(slip_deg_s=slip, slip_mar_factor=slip_mar_factor(slip, figures.slip_tolerated_deg_s))
    if reserve <= 1.0:
        sentence = (
            f"{demand.name}: its contrast of {demand.contrast:g} is below what this eye can see at any size "
            f"(reserve {reserve:.1f}); magnification does not help. Change the contrast, the light or the task."
        )
        return _cannot(chosen, sentence)
    figures_for_goal = (_print if demand.by_print else _acuity)(
        context, configuration, device, demand, seen, cap, eye, loss, blur_loss
    )
    if isinstance(figures_for_goal, str):
        return _cannot(chosen, figures_for_goal)
    chosen.update(figures_for_goal)
    share, share_wanted = share_of(chosen, demand)
    chance = chosen["probability"]
    grade = grade_of(chance, blur_ratio, vergence_state, share, share_wanted)
    hindrances = hindrances_of(chosen, vergence_state, share, share_wanted)
    decision = decide(context, telescope, configuration, device, demand, chosen, grade, hindrances)
    return Outcome(
        grade=grade,
        sentence=sentence_of(context, demand, chosen, grade, vergence_state, share, share_wanted),
        decision=decision,
        **chosen,
    )  # fmt: skip


def _slip(context: Context, seen: Seen, demand: Demand) -> float:
    gain = min(context.figures.vor_gain, abs(seen.magnification))
    return retinal_slip_deg_s(abs(seen.magnification), gain, demand.object_speed_deg_s)


def _losses(
    context: Context, eye: EyeIn, lead: EyeNumbers, demand: Demand, seen: Seen, pupil: float, brightness: float,
    reserve: float,
) -> tuple[list[Loss], float]:  # fmt: skip
    figures = context.figures
    found: list[Loss] = []
    mar = eye.mar_of_print_arcmin if demand.by_print else eye.mar_arcmin
    blur = blur_loss_logmar(mar, pupil, seen.defocus_d, figures.blur_constant)
    if blur > 0.0:
        found.append(Loss("blur", blur, f"{defocus_words(seen.defocus_d)} out of focus costs {blur:.2f} log"))
    if lead.residual_cylinder_d > 0.0:
        whole = defocus_with_cylinder_d(seen.defocus_d, lead.residual_cylinder_d)
        more = cylinder_loss_logmar(blur_loss_logmar(mar, pupil, whole, figures.blur_constant), blur)
        words = f"a cylinder of {lead.residual_cylinder_d:.2f} D left uncorrected costs {more:.2f} log"
        found.append(Loss("cylinder", more, words))
    light = light_loss_logmar(brightness, figures.light_loss_per_halving_logmar)
    if light > 0.0:
        found.append(
            Loss("light", light, f"{100 * brightness:.0f} % of the light costs {light:.3f} log or more")
        )
    contrast = contrast_loss_logmar(reserve, figures.contrast_reserve_warn, figures.contrast_loss_per_log)
    if contrast > 0.0:
        found.append(
            Loss(
                "contrast",
                contrast,
                f"a contrast reserve of {reserve:.1f} costs {contrast:.2f} log (no source)",
            )
        )
    if demand.object_speed_deg_s > 0.0:
        factor = slip_mar_factor(_slip(context, seen, demand), figures.slip_tolerated_deg_s)
        if factor > 1.0:
            lost = motion_loss_logmar(factor)
            found.append(
                Loss(
                    "motion",
                    lost,
                    f"image slip while following it at {demand.object_speed_deg_s:g} deg/s costs about "
                    f"{lost:.2f} log",
                )
            )
    return found, blur


def _field_numbers(
    context: Context, device: DeviceNumbers, demand: Demand, seen: Seen, cap: Cap | None
) -> dict[str, float | None]:
    lead = device.leading
    at = seen.object_distance_mm
    at_focus = (
        cap is not None
        and device.cap is not None
        and abs(at - device.cap.working_distance_corrected_mm) < 1e-6 * at
    )
    try:
        if demand.kind == "distance" or at_focus:
            width = linear_field_mm(at, lead.field.real_field_deg)
        else:
            width = linear_field_through_tube_mm(
                seen.magnification,
                seen.tube_length_mm,
                at,
                lead.eye_distance_mm,
                lead.field.apparent_field_deg,
                0.0 if cap is None else cap.power_d,
            )
    except Refusal:
        width = None
    characters = None
    letters = demand.by_print or demand.detail_mm is not None
    if width is not None and demand.goal_m_units and demand.kind != "distance" and letters:
        characters = characters_in_field(width, context.figures.character_pitch_mm * demand.goal_m_units)
    union = None
    if device.pair is not None and demand.kind == "distance":
        union = linear_field_mm(at, device.pair.union_field_deg)
    return {
        "linear_field_mm": width,
        "linear_union_mm": union,
        "width_wanted_mm": demand.width_mm,
        "characters_in_field": characters,
        "characters_wanted": demand.characters if demand.by_print else None,
        "working_distance_mm": at if cap is not None or demand.kind != "distance" else None,
    }


def _vergence(
    context: Context,
    configuration: Configuration,
    device: DeviceNumbers,
    demand: Demand,
    seen: Seen,
    cap: Cap | None,
) -> tuple[dict[str, float | None], int]:
    """What two eyes must do, and the state: 0 comfortable, 1 beyond half of the reserve, 2 beyond it."""
    lead = device.leading
    pd_mm = context.person.pd.total_mm
    naked = convergence_naked_prism(pd_mm, seen.object_distance_mm)
    power = 0.0 if cap is None else cap.power_d
    try:
        through = convergence_parallel_tubes_prism(
            seen.magnification,
            seen.tube_length_mm,
            seen.object_distance_mm,
            lead.eye_distance_mm,
            pd_mm,
            power,
        )
    except Refusal:
        through = None
    numbers: dict[str, float | None] = {"convergence_prism": through, "convergence_naked_prism": naked}
    if configuration.eye != "both":
        return numbers, 0
    reserve = vergence_reserve_prism(context, demand)
    numbers["vergence_reserve_prism"] = as_recorded(reserve)
    if through is None:
        return numbers, 2
    numbers.update(_vertical(context, device, seen, power))
    relief = 0.0 if cap is None else cap_prism_relief_prism(seen.magnification, cap.base_in_prism)
    beyond = abs(vergence_beyond_naked_prism(through, naked, relief))
    if beyond <= sheard_limit_prism(reserve):
        return numbers, 0
    return numbers, 1 if beyond <= reserve else 2


def _vertical(
    context: Context, device: DeviceNumbers, seen: Seen, cap_power_d: float
) -> dict[str, float | None]:
    """What pupils of unequal height, each behind its tube, ask vertically; nothing where none is known to be higher."""
    right, left = context.right, context.left
    apart = abs(right.pupil_height_mm - left.pupil_height_mm)
    if not (right.pupil_height_known and left.pupil_height_known) or apart < LEVEL_MM:
        return {}
    at = seen.object_distance_mm
    reach = evd_mm(seen.magnification, seen.tube_length_mm, at, device.leading.eye_distance_mm, cap_power_d)
    reserve = context.person.reserves.get("vertical")
    return {
        "vertical_prism": abs(vertical_beyond_naked_prism(apart, reach, at)),
        "vertical_reserve_prism": as_recorded(
            context.figures.vertical_reserve_prism if reserve is None else reserve.first_sign_prism
        ),
    }


def vergence_reserve_prism(context: Context, demand: Demand) -> float:
    """The base-out reserve that applies at the goal's distance, prism dioptres: measured, else of normal eyes."""
    near = demand.kind == "near"
    measured = context.person.reserves.get("base_out_near" if near else "base_out_distance")
    if measured is not None:
        return measured.first_sign_prism
    return context.figures.base_out_near_prism if near else context.figures.base_out_distance_prism


def _acuity(
    context: Context, configuration: Configuration, device: DeviceNumbers, demand: Demand, seen: Seen,
    cap: Cap | None, eye: EyeIn, loss: float, blur_loss: float,
) -> dict | str:  # fmt: skip
    logmar = context.logmar(configuration.eye, eye)
    if logmar is None:
        return f"{demand.name}: no distance acuity is recorded for the {eye.side} eye; measure it."
    goal = as_recorded(demand.goal_logmar if demand.goal_logmar is not None else 0.0)
    power = seen.magnification
    if cap is not None:
        evd = evd_mm(
            power, seen.tube_length_mm, seen.object_distance_mm, device.leading.eye_distance_mm, cap.power_d
        )
        power = relative_distance_magnification(seen.object_distance_mm, evd)
    predicted = logmar_through_telescope(logmar, power)
    with_losses = logmar_through_telescope(logmar, power, min(MOST_LOSS_LOGMAR, loss))
    denominator = snellen_denominator(max(-0.5, min(3.0, predicted)))
    cr95 = context.figures.cr95_logmar
    through_b: float | None = None
    try:
        through_b = evd_mm(
            seen.magnification, seen.tube_length_mm, seen.object_distance_mm, device.leading.eye_distance_mm,
            0.0 if cap is None else cap.power_d,
        )  # fmt: skip
    except Refusal:
        through_b = None
    return {
        "goal_logmar": goal,
        "required_magnification": required_magnification(logmar, max(-0.5, goal)),
        "predicted_logmar": predicted,
        "predicted_snellen_denominator": denominator,
        "nearest_r10_line": nearest_chart_line(denominator, "R10"),
        "predicted_logmar_with_blur": logmar_through_telescope(
            logmar, power, min(MOST_LOSS_LOGMAR, blur_loss)
        ),
        "predicted_logmar_with_losses": with_losses,
        "probability": probability_prediction_meets_goal(with_losses, goal, cr95),
        "cr95_logmar": cr95,
        "probability_cr95_0_20": probability_prediction_meets_goal(predicted, goal, _REPEATS[0]),
        "probability_cr95_0_30": probability_prediction_meets_goal(predicted, goal, _REPEATS[1]),
        "evd_mm": through_b,
    }


def _print(
    context: Context, configuration: Configuration, device: DeviceNumbers, demand: Demand, seen: Seen,
    cap: Cap | None, eye: EyeIn, loss: float, blur_loss: float,
) -> dict | str:  # fmt: skip
    threshold = eye.near_m_units
    if threshold is None or demand.goal_m_units is None:
        return f"{demand.name}: no threshold print is recorded for the {eye.side} eye; measure it with its distance."
    needed = required_evd_mm(eye.near_distance_mm, threshold, demand.goal_m_units, max(1.0, demand.reserve))
    lead = device.leading
    at = seen.object_distance_mm
    if cap is not None:
        caps = device.cap
        at_focus = caps is not None and abs(at - caps.working_distance_corrected_mm) < 1e-6 * at
        evd = (
            cap_evd_mm(seen.magnification, cap.power_d)
            if at_focus
            else evd_mm(seen.magnification, seen.tube_length_mm, at, lead.eye_distance_mm, cap.power_d)
        )
    elif seen.exit_vergence_d == 0.0:
        evd = evd_focused_mm(seen.magnification, at)
    else:
        evd = evd_mm(seen.magnification, seen.tube_length_mm, at, lead.eye_distance_mm)
    strength, wanted = evp_from_evd_d(evd), evp_from_evd_d(needed)
    margin = power_margin_log(strength, wanted)
    cap_wanted: float | None
    try:
        cap_wanted = cap_power_for_goal_d(
            seen.magnification, eye.near_distance_mm, threshold, demand.goal_m_units, max(1.0, demand.reserve)
        )
    except Refusal:
        cap_wanted = None
    cr95 = context.figures.cr95_print_logmar
    return {
        "goal_logmar": demand.goal_logmar,
        "evd_mm": evd,
        "equivalent_power_d": strength,
        "required_evd_mm": needed,
        "required_evp_d": wanted,
        "cap_power_for_goal_d": cap_wanted,
        "power_margin_log": margin,
        "print_read_m_units": print_read_m_units(
            threshold, relative_distance_magnification(eye.near_distance_mm, evd)
        ),
        "cr95_logmar": cr95,
        "probability": probability_print_goal_met(margin, loss, cr95),
        "probability_cr95_0_20": probability_print_goal_met(margin, 0.0, _REPEATS[0]),
        "probability_cr95_0_30": probability_print_goal_met(margin, 0.0, _REPEATS[1]),
    }
