"""Why an option and why not, in sentences, and its one-line summary.

A reason says what the numbers mean for this person; it repeats neither the sentence of an outcome nor another reason.
"""

from __future__ import annotations

from collections.abc import Sequence

from ..configuration import Configuration
from ..goals import Demand
from ..stock import Cap, Filter, Telescope
from .advice import CONTRAST_ALIKE_LOG
from .asked import first_eye, reached_by
from .context import Context, EyeIn, Side
from .device import FRONT_MOUNTS
from .ranking import HEAVY_G, LIGHT_G, glare_of, steady_power
from .reasons_face import face_reasons
from .types import DeviceNumbers, Outcome
from .verdict import darkens, field_taken_in_deg, fusion_doubt, hindrances_of, percent, share_of
from .words import listed

HIGH_LOSS_LOGMAR = 0.05
WIDE_ENOUGH_DEG = 8.0
CYLINDER_NOTED_D = 1.5
SLIGHT_ERROR_D = 1.0
MUCH_MORE_POWER = 1.6
UNEQUAL_IMAGES_PERCENT = 1.0


class Reasons:
    """What speaks for an option and against it, each sentence once."""

    def __init__(self) -> None:
        self.good: list[str] = []
        self.bad: list[str] = []

    def pro(self, words: str) -> None:
        """Add a reason for the option."""
        if words not in self.good:
            self.good.append(words)

    def con(self, words: str) -> None:
        """Add a reason against the option."""
        if words not in self.bad:
            self.bad.append(words)


def summary_of(
    telescope: Telescope, cap: Cap | None, tint: Filter | None, configuration: Configuration
) -> str:
    """One line that reads aloud well."""
    power = abs(telescope.signed_magnification)
    eyes = {"right": "right eye", "left": "left eye", "both": "both eyes"}[configuration.eye]
    kind = f"{power:g}x {telescope.type.capitalize()}{', focusing' if telescope.focusable else ''}"
    parts = [kind, eyes, configuration.position, configuration.mount]
    if cap is not None:
        parts.append(f"cap +{cap.power_d:.2f}")
    if tint is not None:
        parts.append(tint.description or tint.id)
    if configuration.correction == "refocused":
        parts.append("tube refocused for the bare eye")
    elif configuration.correction == "carrier" and configuration.mount == "clip-on":
        parts.append("correction in the person's own spectacles")
    elif configuration.correction != "none":
        parts.append(f"correction in the {configuration.correction}")
    if configuration.focus == "hyperfocal":
        parts.append("set hyperfocal")
    return ", ".join(parts)


def reasons_of(
    context: Context, telescope: Telescope, cap: Cap | None, configuration: Configuration, device: DeviceNumbers,
    demands: Sequence[Demand], outcomes: Sequence[Outcome],
) -> tuple[tuple[str, ...], tuple[str, ...]]:  # fmt: skip
    """What speaks for an option and what against."""
    found = Reasons()
    for demand, outcome in zip(demands, outcomes, strict=True):
        if outcome.needed:
            _of_goal(demand, outcome, found)
        else:
            _of_free_goal(context, configuration, demand, outcome, found)
    _of_field(context, configuration, device, found)
    _of_light(context, device, demands, found)
    _of_correction(context, telescope, configuration, device, found)
    _of_focus(context, telescope, configuration, device, found)
    _of_cap(context, device, demands, outcomes, found)
    _of_steadiness(context, outcomes, device, found)
    face_reasons(context, telescope, configuration, device, found.pro, found.con)
    counted = [d for d, outcome in zip(demands, outcomes, strict=True) if outcome.needed] or demands
    _of_eyes(context, configuration, device, first_eye(context, counted), found)
    _of_eyes_wanted(context, configuration, counted, found)
    return tuple(found.good), tuple(found.bad)


def _of_goal(demand: Demand, outcome: Outcome, found: Reasons) -> None:
    if outcome.grade == "cannot":
        found.con(f"It cannot serve {demand.name}.")
        return
    chance = f"(chance {percent(outcome.probability or 0.0)})"
    if outcome.grade == "meets":
        what = (
            f"It shows the detail of {demand.name} at rest"
            if demand.at_the_wheel
            else f"It meets {demand.name}"
        )
        found.pro(f"{what} {chance}.")
        required = outcome.required_magnification
        if required and abs(outcome.magnification) > MUCH_MORE_POWER * required:
            found.con(
                f"It has more power than the {required:.1f}x that {demand.name} asks for; a weaker tube shows more."
            )
    else:
        numbers = outcome._asdict()
        hindrances = hindrances_of(numbers, outcome.vergence_state, *share_of(numbers, demand))
        why = f": {', '.join(hindrances)}" if hindrances else ""
        found.con(
            f"It {'comes near' if outcome.grade == 'nearly' else 'misses'} {demand.name} {chance}{why}."
        )
    for loss in outcome.losses:
        if loss.logmar >= HIGH_LOSS_LOGMAR:
            found.con(f"For {demand.name} {loss.sentence}.")


def _of_free_goal(
    context: Context, configuration: Configuration, demand: Demand, outcome: Outcome, found: Reasons
) -> None:
    """A goal that needs no telescope: all that counts is that this one leaves it as it is."""
    none = f"For {demand.name} no telescope is needed"
    if configuration.position != "full diameter":
        found.pro(f"{none}, and the ordinary view stays free for it.")
    elif configuration.mount == "flip-up":
        found.pro(f"{none}; turned up, this one leaves the view free.")
    elif outcome.grade == "meets":
        found.pro(f"{none}, and it is reached through this one as well.")
    elif configuration.eye != "both" and reached_by(context, _fellow(context, configuration), demand):
        found.pro(f"{none}; the {_fellow(context, configuration).side} eye reaches it beside this one.")
    else:
        found.con(f"{none}, and straight ahead this one stands in the way: it has to come off for that.")


def _fellow(context: Context, configuration: Configuration) -> EyeIn:
    return context.left if configuration.eye == "right" else context.right


def _of_field(context: Context, configuration: Configuration, device: DeviceNumbers, found: Reasons) -> None:
    field = device.leading.field
    by = (
        "as measured"
        if field.basis == "measured"
        else f"{field.criterion} criterion, eye {field.eye_distance_mm:.0f} mm behind, pupil {field.pupil_mm:.1f} mm"
    )
    if field.real_field_deg >= WIDE_ENOUGH_DEG:
        found.pro(f"Its true field is {field.real_field_deg:.1f} degrees ({by}).")
    else:
        found.con(f"Its true field is only {field.real_field_deg:.1f} degrees ({by}).")
    if field.limited_by == "keyhole":
        found.con("The eye stands off the exit pupil and sees through a keyhole: move the ocular.")
    scotoma = context.eye(device.leading.side).scotoma_deg
    if scotoma is not None and scotoma >= field.apparent_field_deg:
        found.con(
            f"The central scotoma of {scotoma:g} degrees is as wide as its apparent field of "
            f"{field.apparent_field_deg:.0f}: looking straight through it nothing is seen."
        )
    taken_in = field_taken_in_deg(context, device)
    if taken_in is not None:
        found.con(
            f"The seeing field of {context.eye(device.leading.side).visual_field_deg:g} degrees takes in only "
            f"{taken_in:.1f} of the {field.real_field_deg:.1f} degrees that it shows: the rest has to be searched for."
        )
    ring = field.ring_outer_diameter_deg
    if configuration.position == "full diameter" and ring is not None:
        found.con(f"Worn straight ahead it hides a ring out to at least {ring:.0f} degrees: for use seated.")


def _of_light(context: Context, device: DeviceNumbers, demands: Sequence[Demand], found: Reasons) -> None:
    lead = device.leading
    if darkens(lead):
        found.con(
            f"In dim light the pupil of {lead.dim_pupil_mm:.1f} mm is wider than the exit pupil of "
            f"{lead.exit_pupil_diameter_mm:.1f} mm: the image is darker than without it."
        )
    glare = any(glare_of(context.person, demand) for demand in demands)
    if device.filter_transmittance < 1.0:
        passes = f"The tint lets {100 * device.filter_transmittance:.0f} % of the light through"
        if glare:
            found.pro(f"{passes}; glare is on record ({context.person.glare}).")
        else:
            found.con(f"{passes}, and no glare is on record.")
    elif glare:
        found.con(f"Glare is on record ({context.person.glare}) and it has no tint.")


def _of_correction(
    context: Context,
    telescope: Telescope,
    configuration: Configuration,
    device: DeviceNumbers,
    found: Reasons,
) -> None:
    lead = device.leading
    eye = context.eye(lead.side)
    if eye.needs_correction:
        _of_ametropia(eye, telescope, configuration, device, found)
    if lead.residual_cylinder_d >= CYLINDER_NOTED_D:
        found.con(f"A cylinder of {lead.residual_cylinder_d:.2f} D stays uncorrected this way.")


def _of_ametropia(
    eye: EyeIn, telescope: Telescope, configuration: Configuration, device: DeviceNumbers, found: Reasons
) -> None:
    lead, place = device.leading, configuration.correction
    if place == "carrier":
        slight = (
            ", advised even for a slight error (common practice)" if eye.strongest_d < SLIGHT_ERROR_D else ""
        )
        if configuration.mount in FRONT_MOUNTS:
            lens = "person's own lens" if configuration.mount == "clip-on" else "carrier"
            found.pro(
                f"It stands in front of the {lens}, which holds sphere and cylinder: the tube needs no correction."
            )
        else:
            found.pro(
                f"The carrier lens holds sphere and cylinder and keeps the ordinary view sharp{slight}."
            )
    elif place == "ocular":
        found.pro("Corrected behind the ocular, sphere and cylinder.")
    elif place == "objective" and lead.correction_lens_d is not None:
        found.pro(f"A lens of only {lead.correction_lens_d:+.2f} D before the objective corrects the sphere.")
    elif place == "refocused":
        change = abs(lead.magnification) / abs(telescope.signed_magnification) - 1.0
        words = f"Refocused for this eye it magnifies {abs(lead.magnification):.2f}x ({100 * change:+.0f} %)."
        (found.pro if change >= 0.0 else found.con)(words)
    elif place == "none":
        taken = "Only focusing takes up the ametropia" if telescope.focusable else "The ametropia is left in"
        found.con(f"{taken}: a carrier lens is advised even for a slight error (common practice).")
    if place not in ("carrier", "none"):
        found.con("The carrier around it must still hold the correction for the ordinary view.")


def _of_focus(
    context: Context,
    telescope: Telescope,
    configuration: Configuration,
    device: DeviceNumbers,
    found: Reasons,
) -> None:
    lead = device.leading
    if telescope.focusable:
        near = (
            f" from {lead.near_limit_mm / 10:.0f} cm"
            if lead.near_limit_mm and lead.near_limit_mm < 9e6
            else ""
        )
        found.pro(f"It can be focused{near} to far.")
        if context.person.hands in ("unsteady", "one hand"):
            found.con(f"Focusing asks for a steady hand; the hands are recorded as {context.person.hands}.")
    elif configuration.focus == "hyperfocal" and lead.near_limit_mm is not None:
        end = "far" if lead.far_limit_mm is None else f"{lead.far_limit_mm / 1000:.2f} m"
        found.pro(
            f"Set hyperfocal it is clear from {lead.near_limit_mm / 1000:.2f} m to {end} without a cap."
        )


def _of_cap(
    context: Context,
    device: DeviceNumbers,
    demands: Sequence[Demand],
    outcomes: Sequence[Outcome],
    found: Reasons,
) -> None:
    cap = device.cap
    if cap is None:
        return
    outcomes = [outcome for outcome in outcomes if outcome.needed] or outcomes
    if not any(outcome.cap_on for outcome in outcomes):
        if demands:
            found.con("None of the goals asks for its cap.")
        return
    if cap.working_distance_mm < context.person.reach_mm:
        found.con(
            f"The cap works at {cap.working_distance_mm:.0f} mm, nearer than the {context.person.reach_mm:.0f} mm at "
            "which hands usually work."
        )
    if not all(outcome.cap_on for outcome in outcomes):
        found.con("The cap has to come off for the farther goals.")


def _of_steadiness(
    context: Context, outcomes: Sequence[Outcome], device: DeviceNumbers, found: Reasons
) -> None:
    power = max(
        (abs(outcome.magnification) for outcome in outcomes), default=abs(device.leading.magnification)
    )
    if power > steady_power(context.person):
        found.con(
            f"The head trembles ({context.person.head_tremor}) and this power multiplies it {power:.1f} times."
        )
    carried_g = (device.weight_g or 0.0) * len(device.eyes)
    if carried_g > (LIGHT_G + HEAVY_G) / 2.0:
        both = " with both tubes" if len(device.eyes) == 2 else ""
        found.con(f"It weighs {carried_g:g} g on the nose{both}.")


def _why_leading(context: Context, side: Side) -> str:
    """Why the other eye than the one of this option would be first, by what decided it."""
    lead = context.eye(side)
    other = context.left if lead.side == "right" else context.right
    if side != context.leading:
        return f"The {side} eye reads smaller print."
    if lead.logmar is not None and other.logmar is not None and abs(lead.logmar - other.logmar) >= 0.02:
        return f"The {lead.side} eye sees better, by {abs(lead.logmar - other.logmar):.2f} log."
    if other.usable and abs(lead.log_cs - other.log_cs) >= CONTRAST_ALIKE_LOG:
        return (
            f"The {lead.side} eye sees faint contrast better, by {abs(lead.log_cs - other.log_cs):.2f} log."
        )
    if other.usable and context.person.dominance == lead.side:
        return f"The {lead.side} eye is the dominant one."
    if context.reads_smaller_print(lead.side):
        return f"The {lead.side} eye reads smaller print."
    if (lead.visual_field_deg or 0.0) > (other.visual_field_deg or 0.0) > 0.0:
        return f"The {lead.side} eye has the wider field."
    return f"The {lead.side} eye leads."


def _of_eyes_wanted(
    context: Context, configuration: Configuration, demands: Sequence[Demand], found: Reasons
) -> None:
    """What a goal says itself of one eye or two."""
    named = {eyes: [demand.name for demand in demands if demand.eyes == eyes] for eyes in ("two", "one")}
    two, one = (listed(names) if names else "" for names in (named["two"], named["one"]))
    if configuration.eye == "both":
        if two:
            found.pro(f"Two eyes are wanted for {two}.")
        if one:
            found.con(f"One eye is asked for {one}.")
    elif two and _fellow(context, configuration).usable:
        found.con(f"Two eyes are wanted for {two}, and this is for one.")


def _of_eyes(
    context: Context, configuration: Configuration, device: DeviceNumbers, first: Side, found: Reasons
) -> None:
    if configuration.eye != "both":
        other = context.left if configuration.eye == "right" else context.right
        if configuration.eye != first:
            found.con(_why_leading(context, first))
        elif other.usable:
            found.pro(f"The {other.side} eye stays free to look around and into the hidden ring.")
        elif configuration.position == "full diameter":
            found.con(f"The {other.side} eye cannot fill in the hidden ring.")
        return
    pair = device.pair
    if pair is None:
        return
    difference = pair.interocular_difference_logmar
    if difference is not None and difference > context.figures.interocular_rule_logmar:
        found.con(
            f"The acuities differ by {difference:.2f} log: the second tube adds little but field and comfort."
        )
    else:
        found.pro(
            "With two like eyes it is steadier, easier to find things with, and up to half a line better."
        )
    if pair.centre_separation_deg > 0.0:
        found.pro(
            f"Spread outwards by {pair.spread_mm:g} mm each, the two fields make {pair.union_field_deg:.1f} degrees "
            f"together, {pair.overlap_field_deg:.1f} of them seen by both."
        )
    doubt = fusion_doubt(context.person)
    if doubt:
        found.con(f"{doubt[:1].upper()}{doubt[1:]}: two tubes may bring double vision out.")
    if pair.aniseikonia_percent > UNEQUAL_IMAGES_PERCENT:
        found.con(f"The two images differ in size by {pair.aniseikonia_percent:.1f} % after refocusing.")
