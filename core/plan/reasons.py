"""Why an option and why not, in sentences, and its one-line summary."""

from __future__ import annotations

from collections.abc import Sequence

from ..configuration import Configuration
from ..goals import Demand
from ..stock import Cap, Filter, Telescope
from .context import Context
from .types import DeviceNumbers, Outcome

HIGH_CONTRAST_LOSS = 0.05
OFF_AXIS_LEAST_DEG = 3.0
SEGMENT_CLEARANCE_MM = 4.0
SEGMENT_BELOW_MM = 5.0
LONG_DROP_DEG = 20.0
CYLINDER_NOTED_D = 1.5


def summary_of(
    telescope: Telescope, cap: Cap | None, tint: Filter | None, configuration: Configuration
) -> str:
    """One line that reads aloud well."""
    power = abs(telescope.signed_magnification)
    eyes = {"right": "right eye", "left": "left eye", "both": "both eyes"}[configuration.eye]
    parts = [f"{power:g}x {telescope.type}", eyes, configuration.position, configuration.mount]
    if cap is not None:
        parts.append(f"cap +{cap.power_d:.2f}")
    if tint is not None:
        parts.append(tint.description or tint.id)
    if configuration.correction == "refocused":
        parts.append("tube refocused, spectacles off")
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
    good: list[str] = []
    bad: list[str] = []
    _of_goals(demands, outcomes, good, bad)
    _of_optics(context, telescope, configuration, device, good, bad)
    _of_face(context, telescope, configuration, device, good, bad)
    _of_eyes(context, configuration, device, good, bad)
    return tuple(good), tuple(bad)


def _of_goals(
    demands: Sequence[Demand], outcomes: Sequence[Outcome], good: list[str], bad: list[str]
) -> None:
    for demand, outcome in zip(demands, outcomes, strict=True):
        (good if outcome.grade == "meets" else bad).append(outcome.sentence)
        for loss in outcome.losses:
            if loss.logmar >= HIGH_CONTRAST_LOSS:
                bad.append(f"{demand.name}: {loss.sentence}.")
        required = outcome.required_magnification
        if outcome.grade == "meets" and required and abs(outcome.magnification) > 2.0 * required:
            bad.append(
                f"{demand.name}: more power than the {required:.1f} times it asks for; a weaker tube shows more."
            )


def _of_optics(
    context: Context, telescope: Telescope, configuration: Configuration, device: DeviceNumbers, good: list[str],
    bad: list[str],
) -> None:  # fmt: skip
    lead = device.leading
    field = lead.field
    by = f"{field.criterion} criterion, eye {field.eye_distance_mm:.0f} mm behind, pupil {field.pupil_mm:.1f} mm"
    words = f"Real field {field.real_field_deg:.1f} degrees ({by}, {field.basis})."
    (good if field.real_field_deg >= 8.0 else bad).append(words)
    if field.limited_by == "keyhole":
        bad.append("The eye stands off the exit pupil and sees a keyhole: move the ocular.")
    if lead.exit_pupil_diameter_mm < lead.dim_pupil_mm:
        bad.append(
            f"The exit pupil of {lead.exit_pupil_diameter_mm:.1f} mm is smaller than the pupil in dim light: "
            "darker then."
        )
    if configuration.correction == "carrier":
        good.append("The carrier lens corrects sphere and cylinder and keeps the ordinary view sharp.")
    if (
        configuration.correction == "none"
        and context.eye(lead.side).needs_correction
        and not telescope.focusable
    ):
        bad.append(
            "The ametropia is left in: a carrier lens is advised even for a slight one (common practice)."
        )
    if configuration.correction == "refocused":
        change = abs(lead.magnification) / abs(telescope.signed_magnification) - 1.0
        words = f"Refocused for this eye it magnifies {abs(lead.magnification):.2f} times ({100 * change:+.0f} %)."
        (good if change >= 0.0 else bad).append(words)
    if lead.residual_cylinder_d >= CYLINDER_NOTED_D:
        bad.append(f"A cylinder of {lead.residual_cylinder_d:.2f} D stays uncorrected this way.")
    if telescope.focusable:
        good.append("It can be focused for different distances.")
    if abs(telescope.signed_magnification) > 3.0 and context.person.head_tremor in ("slight", "marked"):
        bad.append("Head tremor is multiplied by the power.")


def _of_face(
    context: Context, telescope: Telescope, configuration: Configuration, device: DeviceNumbers, good: list[str],
    bad: list[str],
) -> None:  # fmt: skip
    person, mount = context.person, device.mount
    if person.ocular_to_cornea_mm is None:
        bad.append("Eye distance is reckoned from the vertex distance: measure it with the device on.")
    if configuration.position == "bioptic":
        _of_bioptic(context, device, good, bad)
    elif configuration.position == "full diameter":
        ring = device.leading.field.ring_outer_diameter_deg
        if ring is not None:
            bad.append(f"Worn straight ahead it hides a ring out to {ring:.0f} degrees and more: seated use.")
    if person.lenses_worn in ("trifocal", "progressive"):
        bad.append(
            f"The {person.lenses_worn} stands too high for the distance area of a carrier: single vision or a low "
            "bifocal instead (common practice)."
        )
    if (
        person.lenses_worn == "bifocal"
        and configuration.position != "bioptic"
        and configuration.mount == "through the lens"
    ):
        bad.append("The tube takes the place of the bifocal segment.")
    if telescope.weight_g is not None and telescope.weight_g > 60.0:
        bad.append(f"It weighs {telescope.weight_g:g} g on the nose.")
    if configuration.mount == "clip-on":
        bad.append(
            "Clipped on, it sits farther off and less firmly; the person's own spectacles stay as they are."
        )
    if (
        device.cap is not None
        and mount.b_size_mm is not None
        and device.cap.working_distance_mm < person.reach_mm
    ):
        bad.append(
            f"The cap works at {device.cap.working_distance_mm:.0f} mm, nearer than the {person.reach_mm:g} mm assumed "
            "for the hands."
        )


def _of_bioptic(context: Context, device: DeviceNumbers, good: list[str], bad: list[str]) -> None:
    person, mount = context.person, device.mount
    if mount.head_drop_deg is not None:
        words = f"The head drops by {mount.head_drop_deg:.0f} degrees to look through it."
        stiff = person.neck in ("stiff", "painful") or mount.head_drop_deg > LONG_DROP_DEG
        (bad if stiff else good).append(words)
    least = mount.least_lens_height_mm
    if least is not None and mount.b_size_mm is not None and least > mount.b_size_mm:
        bad.append(f"It needs a lens height of {least:.0f} mm; the frame is not measured yet.")
    if mount.off_axis_deg is not None:
        left = device.leading.field.apparent_field_deg / 2.0 - abs(mount.off_axis_deg)
        if left < OFF_AXIS_LEAST_DEG:
            bad.append(
                "Looking through the ocular's middle uses up the field: more tilt or a smaller housing."
            )
    if mount.segment_clearance_mm is not None and person.segment_height_mm is not None:
        below = device.leading and context.eye(device.leading.side).pupil_height_mm - person.segment_height_mm
        if mount.segment_clearance_mm >= SEGMENT_CLEARANCE_MM or below >= SEGMENT_BELOW_MM:
            good.append("The bifocal can stay: its segment leaves room under the tube.")
        else:
            bad.append("The bifocal segment stands too high under this tube.")


def _of_eyes(
    context: Context, configuration: Configuration, device: DeviceNumbers, good: list[str], bad: list[str]
) -> None:
    if configuration.eye != "both":
        if configuration.eye != context.leading and context.right.usable and context.left.usable:
            bad.append(f"The {context.leading} eye sees better.")
        else:
            good.append("The fellow eye stays free to look around and into the hidden ring.")
        return
    pair = device.pair
    if pair is None:
        return
    difference = pair.interocular_difference_logmar
    if difference is not None and difference > context.figures.interocular_rule_logmar:
        bad.append(
            f"The acuities differ by {difference:.2f} log: the second tube adds little but field and comfort."
        )
    else:
        good.append(
            "Two like eyes together: about half a line better, steadier and easier to find things with."
        )
    if pair.centre_separation_deg > 0.0:
        good.append(
            f"Spread by {pair.spread_mm:g} mm the two fields make {pair.union_field_deg:.1f} degrees (union) with "
            f"{pair.overlap_field_deg:.1f} shared."
        )
    if pair.aniseikonia_percent > 2.0:
        bad.append(
            f"The two powers differ by {pair.aniseikonia_percent:.1f} % after refocusing: unequal images."
        )
