"""What a configuration does for one goal of this person, through the declared formulas, with its sentence and decision.

The same rules, as bare arithmetic for thousands of configurations at once, stand in :mod:`.quick`; a test holds
the two together.
"""

from __future__ import annotations

from dataclasses import dataclass

from ..acuity_scale import nearest_chart_line, snellen_denominator
from ..configuration import Configuration
from ..contrast import contrast_reserve
from ..errors import Refusal
from ..formula import formula
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
from ..optics.ametropia import refocus
from ..optics.blur import blur_loss_logmar
from ..optics.caps import cap_evd_mm, cap_power_for_goal_d
from ..optics.convergence import convergence_naked_prism, convergence_parallel_tubes_prism
from ..optics.field import characters_in_field, linear_field_mm, linear_field_through_tube_mm
from ..optics.focus import accommodation_demand_d, evd_mm, exit_vergence_d, object_vergence_d
from ..optics.light import relative_brightness
from ..optics.motion import retinal_slip_deg_s, slip_mar_factor
from ..stock import Cap, Telescope
from .context import Context, EyeIn
from .device import lends_to_tube, nearest_focus_mm
from .formulas import (
    as_recorded,
    cap_prism_relief_prism,
    contrast_loss_logmar,
    defocus_left_d,
    defocus_with_cylinder_d,
    light_loss_logmar,
    probability_print_goal_met,
    total_loss_logmar,
    vergence_beyond_naked_prism,
)
from .types import Decision, DeviceNumbers, EyeNumbers, Grade, Loss, Outcome

MEETS_CHANCE = 0.5
NEARLY_CHANCE = 0.2
CLEAR_MARGIN = 1e-9
# Fluent reading goes on with half of the characters wanted, a picture with a quarter of its width (common practice).
CHARACTERS_SHARE = 0.5
WIDTH_SHARE = 0.25
DEFOCUS_MOST_D = 60.0
TREMOR_POWER = {"marked": 2.0, "slight": 3.5}
_REPEATS = (0.20, 0.30)
# An ordinary add up to here is worn without a thought (common practice).
ADD_ENOUGH_D = 4.0


def grade_of(chance: float, blur: float, vergence: int, share: float, share_wanted: float) -> Grade:
    """The grade from the chance, the defocus over the tolerated one, the vergence and the share of the field wanted.

    ``vergence`` is 0 when one eye looks or the reserve is enough, 1 beyond half of the reserve, 2 beyond the whole.
    """
    if vergence == 2:
        return "cannot"
    if chance >= MEETS_CHANCE and blur <= 1.0 + CLEAR_MARGIN and vergence == 0 and share >= share_wanted:
        return "meets"
    if chance >= NEARLY_CHANCE and blur <= 2.0:
        return "nearly"
    return "misses"


def cap_is_on(demand: Demand, cap: Cap | None) -> bool:
    """Caps are on for print, and for other goals at arm's length when they bring the light nearer to parallel."""
    if cap is None or demand.kind == "distance":
        return False
    return demand.by_print or cap.power_d < 2000.0 / demand.distance_mm


def object_at_mm(demand: Demand, working_distance_mm: float | None) -> float:
    """Where the object is taken to be: at the cap's working distance when it can be brought there, else at the goal's."""
    if working_distance_mm is None:
        return demand.distance_mm
    if demand.kind == "near" and demand.by_print:
        return working_distance_mm
    return min(demand.farthest_mm, max(demand.nearest_mm, working_distance_mm))


@formula(
    "demand − δ", unit="D", source="", kind="derived", domain="tube set so that infinity is just tolerated"
)
def demand_hyperfocal_d(accommodation_demand_d: float, tolerance_d: float) -> float:
    """Accommodation asked when the tube is set hyperfocal, D."""
    return accommodation_demand_d - tolerance_d


@formula(
    "EVD = 1/|M′·U|", unit="mm", source="SCHWARTZ-12", kind="derived", domain="tube focused on the object"
)
def evd_focused_mm(magnification: float, object_distance_mm: float) -> float:
    """Equivalent viewing distance, mm, of a tube focused on an object by its length, eye relaxed."""
    return object_distance_mm / abs(magnification)


@dataclass(frozen=True, slots=True)
class Seen:
    """The image at the eye for one goal: where the object is, the power in use, what stays out of focus."""

    object_distance_mm: float
    magnification: float
    tube_length_mm: float
    exit_vergence_d: float | None
    unrefocused_exit_vergence_d: float | None
    accommodation_used_d: float
    defocus_d: float


def seen_at(
    telescope: Telescope,
    configuration: Configuration,
    eye: EyeNumbers,
    demand: Demand,
    cap: Cap | None,
    working_distance_mm: float | None,
) -> Seen:
    """Focus at the goal's object. Raises Refusal when the object is inside the near limit of the tube."""
    at = object_at_mm(demand, working_distance_mm)
    power = 0.0 if cap is None else cap.power_d
    vergence = object_vergence_d(at, power)
    magnification, tube = eye.magnification, eye.tube_length_mm
    afocal: float | None = None
    if telescope.focusable and cap is None:
        lends = eye.ametropia_at_ocular_d if lends_to_tube(telescope, configuration.correction) else 0.0
        try:
            afocal = exit_vergence_d(telescope.signed_magnification, telescope.tube_length_mm, vergence)
        except Refusal:
            afocal = None
        nearest = nearest_focus_mm(telescope, lends)
        reached = max(at, nearest)
        focused = refocus(telescope.signed_magnification, telescope.tube_length_mm, lends, -1000.0 / reached)
        if demand.kind != "distance":
            magnification, tube = focused.magnification, focused.tube_length_mm
        if at >= nearest * (1.0 - 1e-9):
            return Seen(at, magnification, tube, 0.0, afocal, 0.0, 0.0)
        # Set for its nearest distance, the rest of the vergence acts as on an afocal tube of that power and length.
        vergence += 1000.0 / reached
        leaves = exit_vergence_d(focused.magnification, focused.tube_length_mm, vergence)
        asked = accommodation_demand_d(leaves)
    else:
        reference = eye.residual_sphere_d
        if configuration.correction == "objective":
            vergence += eye.correction_lens_d or 0.0
            reference = eye.ametropia_at_ocular_d if eye.correction_lens_d is not None else 0.0
        leaves = exit_vergence_d(magnification, tube, vergence)
        asked = accommodation_demand_d(leaves, reference)
        if configuration.focus == "hyperfocal" and cap is None:
            asked = demand_hyperfocal_d(asked, eye.tolerance_d)
    left = min(DEFOCUS_MOST_D, defocus_left_d(asked, eye.accommodation_d))
    used = min(eye.accommodation_d, max(0.0, asked))
    return Seen(at, magnification, tube, leaves, afocal, used, left)


def outcome_of(
    context: Context, telescope: Telescope, cap: Cap | None, configuration: Configuration, device: DeviceNumbers,
    demand: Demand,
) -> Outcome:  # fmt: skip
    """The outcome for one goal; an impossible one is graded ``cannot`` with its reason, never raised."""
    lead = device.leading
    on = cap if cap_is_on(demand, cap) else None
    blank = dict(
        goal_index=demand.index,
        goal=demand.name,
        eye=configuration.eye,
        cap_on=on is not None,
        object_distance_mm=demand.distance_mm,
        magnification=lead.magnification,
        tube_length_mm=lead.tube_length_mm,
    )
    if demand.problems:
        return _cannot(blank, demand.problems[0])
    try:
        return _computed(context, telescope, on, configuration, device, demand, blank)
    except Refusal as refusal:
        return _cannot(blank, f"{demand.name}: {refusal}")


def _cannot(blank: dict, sentence: str) -> Outcome:
    return Outcome(grade="cannot", sentence=sentence, decision=Decision("refuse", sentence), **blank)


def _computed(
    context: Context, telescope: Telescope, cap: Cap | None, configuration: Configuration, device: DeviceNumbers,
    demand: Demand, blank: dict,
) -> Outcome:  # fmt: skip
    lead, figures = device.leading, context.figures
    eye = context.eye(lead.side)
    working = None if cap is None or device.cap is None else device.cap.working_distance_mm
    seen = seen_at(telescope, configuration, lead, demand, cap, working)
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
    share, share_wanted = _share(chosen, demand)
    chance = chosen["probability"]
    grade = grade_of(chance, blur_ratio, vergence_state, share, share_wanted)
    decision = _decide(context, telescope, device, demand, chosen, grade)
    return Outcome(
        grade=grade, sentence=_sentence(demand, chosen, grade, vergence_state, share, share_wanted), decision=decision,
        **chosen,
    )  # fmt: skip


def _slip(context: Context, seen: Seen, demand: Demand) -> float:
    gain = min(context.figures.vor_gain, abs(seen.magnification))
    return retinal_slip_deg_s(abs(seen.magnification), gain, demand.object_speed_deg_s)


def _losses(
    context: Context, eye: EyeIn, lead: EyeNumbers, demand: Demand, seen: Seen, pupil: float, brightness: float,
    reserve: float,
) -> tuple[list[Loss], float]:  # fmt: skip
    from math import log10

    figures = context.figures
    found: list[Loss] = []
    blur = blur_loss_logmar(eye.mar_arcmin, pupil, seen.defocus_d, figures.blur_constant)
    if blur > 0.0:
        found.append(Loss("blur", blur, f"{seen.defocus_d:.2f} D out of focus costs {blur:.2f} log"))
    if lead.residual_cylinder_d > 0.0:
        whole = defocus_with_cylinder_d(seen.defocus_d, lead.residual_cylinder_d)
        more = blur_loss_logmar(eye.mar_arcmin, pupil, whole, figures.blur_constant) - blur
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
            found.append(
                Loss(
                    "motion",
                    log10(factor),
                    f"slip at {demand.object_speed_deg_s:g} deg/s costs {log10(factor):.2f} log",
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
    if width is not None and demand.goal_m_units and demand.kind != "distance":
        characters = characters_in_field(width, context.figures.character_pitch_mm * demand.goal_m_units)
    union = None
    if device.pair is not None and demand.kind == "distance":
        union = linear_field_mm(at, device.pair.union_field_deg)
    return dict(
        linear_field_mm=width,
        linear_union_mm=union,
        width_wanted_mm=demand.width_mm,
        characters_in_field=characters,
        characters_wanted=demand.characters if demand.by_print else None,
        working_distance_mm=at if cap is not None or demand.kind != "distance" else None,
    )


def _share(chosen: dict, demand: Demand) -> tuple[float, float]:
    """Share of the wanted field that is seen at once, and the share that is enough."""
    if demand.by_print and demand.characters and chosen.get("characters_in_field") is not None:
        return chosen["characters_in_field"] / demand.characters, CHARACTERS_SHARE
    if demand.width_mm and chosen.get("linear_field_mm") is not None:
        return (chosen.get("linear_union_mm") or chosen["linear_field_mm"]) / demand.width_mm, WIDTH_SHARE
    return 1.0, 0.0


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
    numbers: dict[str, float | None] = dict(convergence_prism=through, convergence_naked_prism=naked)
    if configuration.eye != "both":
        return numbers, 0
    reserve = vergence_reserve_prism(context, demand)
    numbers["vergence_reserve_prism"] = as_recorded(reserve)
    if through is None:
        return numbers, 2
    relief = 0.0 if cap is None else cap_prism_relief_prism(seen.magnification, cap.base_in_prism)
    beyond = abs(vergence_beyond_naked_prism(through, naked, relief))
    if beyond <= sheard_limit_prism(reserve):
        return numbers, 0
    return numbers, 1 if beyond <= reserve else 2


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
    with_losses = logmar_through_telescope(logmar, power, min(3.0, loss))
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
    return dict(
        goal_logmar=goal,
        required_magnification=required_magnification(logmar, max(-0.5, goal)),
        predicted_logmar=predicted,
        predicted_snellen_denominator=denominator,
        nearest_r10_line=nearest_chart_line(denominator, "R10"),
        predicted_logmar_with_blur=logmar_through_telescope(logmar, power, min(3.0, blur_loss)),
        predicted_logmar_with_losses=with_losses,
        probability=probability_prediction_meets_goal(with_losses, goal, cr95),
        cr95_logmar=cr95,
        probability_cr95_0_20=probability_prediction_meets_goal(predicted, goal, _REPEATS[0]),
        probability_cr95_0_30=probability_prediction_meets_goal(predicted, goal, _REPEATS[1]),
        evd_mm=through_b,
    )


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
    return dict(
        goal_logmar=demand.goal_logmar,
        evd_mm=evd,
        equivalent_power_d=strength,
        required_evd_mm=needed,
        required_evp_d=wanted,
        cap_power_for_goal_d=cap_wanted,
        power_margin_log=margin,
        print_read_m_units=print_read_m_units(
            threshold, relative_distance_magnification(eye.near_distance_mm, evd)
        ),
        cr95_logmar=cr95,
        probability=probability_print_goal_met(margin, loss, cr95),
        probability_cr95_0_20=probability_print_goal_met(margin, 0.0, _REPEATS[0]),
        probability_cr95_0_30=probability_print_goal_met(margin, 0.0, _REPEATS[1]),
    )


def _sentence(
    demand: Demand, chosen: dict, grade: Grade, vergence: int, share: float, share_wanted: float
) -> str:
    chance = round(100 * chosen["probability"])
    if vergence == 2:
        return (
            f"{demand.name}: two eyes would have to converge by {chosen['convergence_prism'] or 0:.0f} prism dioptres "
            "through these tubes, beyond their reserve; use one eye, base-in caps or converged tubes."
        )
    if demand.by_print:
        what = (
            f"prints as small as {chosen['print_read_m_units']:.2g}M at threshold, "
            f"EVD {chosen['evd_mm']:.0f} of {chosen['required_evd_mm']:.0f} mm wanted"
        )
    else:
        what = f"about 20/{chosen['predicted_snellen_denominator']:.0f} expected"
    words = f"{demand.name}: {grade}, {what}, chance {chance} %"
    if not chosen["clear"]:
        words += f", {chosen['defocus_d']:.2f} D out of focus there"
    if share < share_wanted:
        words += f", only {100 * share:.0f} % of the wanted width in view"
    if vergence == 1:
        words += ", convergence beyond half of the reserve"
    return words + "."


def _decide(
    context: Context, telescope: Telescope, device: DeviceNumbers, demand: Demand, chosen: dict, grade: Grade
) -> Decision:
    chance = chosen["probability"]
    lead = device.leading
    if grade == "cannot":
        return Decision("refuse", "The two eyes cannot join the images of these tubes for this goal.")
    if demand.by_print and (
        chosen["power_margin_log"] < 0.0 or (demand.kind == "near" and not demand.hands_free)
    ):
        if chosen["power_margin_log"] < 0.0:
            return Decision(
                "prefer-alternative",
                "The telescope falls short of the power wanted; a high add or a magnifier reaches it and shows more "
                "characters. Keep the telescope only if their short working distance is refused.",
            )
        return Decision(
            "prefer-alternative",
            "A high add or a magnifier of the same power shows several times more characters, and the hands need not "
            "be free. Keep the telescope only if its working distance is the point.",
        )
    if grade == "misses":
        return Decision(
            "prefer-alternative",
            f"A chance of {100 * chance:.0f} % is too small: another power, another way or another goal.",
        )
    if chance < MEETS_CHANCE:
        return Decision(
            "trial",
            f"The chance of meeting the goal is {100 * chance:.0f} %, under one half: show the number and try "
            "before ordering.",
        )
    if lead.exit_pupil_diameter_mm < lead.dim_pupil_mm:
        erect = ", image erect by prism" if telescope.type == "keplerian" else ""
        return Decision(
            "trial",
            f"The exit pupil of {lead.exit_pupil_diameter_mm:.1f} mm is smaller than the pupil in dim light"
            f"{erect}: try it in the light of the task.",
        )
    limit = TREMOR_POWER.get(context.person.head_tremor)
    if limit is not None and abs(chosen["magnification"]) > limit:
        return Decision("trial", "The head trembles and this power multiplies it: try it at the task first.")
    if not chosen["clear"]:
        return Decision("trial", "The goal's distance is not quite clear: try it there.")
    if grade == "nearly":
        return Decision("trial", "It comes close; try it at the task before ordering.")
    if chosen["contrast_reserve"] < context.figures.contrast_reserve_caution:
        return Decision("trial", "The contrast reserve is small: try it at the task, with better light.")
    return Decision("proceed", _proceed(context, device, demand, chosen))


def _without(demand: Demand, chosen: dict) -> str:
    """Why no telescope is needed at all, "" when one is."""
    if demand.by_print and demand.kind == "near" and chosen["required_evp_d"] <= ADD_ENOUGH_D:
        return (
            f"An add of {max(chosen['required_evp_d'], 0.25):.2f} D does it: no telescope is needed for this."
        )
    if not demand.by_print and chosen["required_magnification"] <= 1.0:
        return "This acuity does it without magnification: check the correction and the light."
    return ""


def _proceed(context: Context, device: DeviceNumbers, demand: Demand, chosen: dict) -> str:
    parts = [f"chance {100 * chosen['probability']:.0f} %"]
    if device.pair is not None:
        parts.append("acuities alike and fusion shown")
    parts.append(
        "clear with sustained accommodation" if chosen["accommodation_used_d"] > 0 else "clear at the task"
    )
    return f"It should do for {demand.name}: " + ", ".join(parts) + "."
