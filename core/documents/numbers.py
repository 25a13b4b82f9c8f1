"""The computed numbers of a document, each with its criterion: which limit, eye distance, pupil, basis.

One list feeds the note and the working sheet, so that they cannot disagree. ``quantity`` is the name of the formula
behind the number, by which its working is found.
"""

from __future__ import annotations

from collections.abc import Iterator

from ..configuration import Configuration
from ..plan.formulas import cap_prism_relief_prism, vergence_by_spread_prism
from ..plan.types import CapNumbers, EyeNumbers, MountNumbers, Option, Outcome, PairNumbers
from ..plan.verdict import percent
from ..plan.words import defocus_words
from ..settings import Settings
from ..stock import Telescope
from .findings import logmar_words
from .numbers_cap import cap_shown
from .shown import (
    CORRECTION_WORDS,
    FOCUS_WORDS,
    Shown,
    correction_words,
    field_criterion,
    length,
    lengths,
    span,
)
from .text import clean, number, signed


def power_words(telescope: Telescope) -> str:
    """Power and type as said in the trade, such as ``2.5x Galilean``."""
    return f"{telescope.magnification:g}x {telescope.type.capitalize()}"


def choice_words(option: Option) -> str:
    """The chosen configuration in one sentence without its end."""
    choice = option.configuration
    parts = [
        f"{power_words(option.telescope)} telescope ({clean(option.telescope.id)})",
        eye_words(choice.eye),
        f"{choice.position} position, {choice.mount}",
        correction_words(choice),
        FOCUS_WORDS[choice.focus],
    ]
    if option.cap is not None:
        parts.append(f"reading cap {signed(option.cap.power_d)} D ({clean(option.cap.id)})")
    if option.filter is not None:
        parts.append(
            f"filter {clean(option.filter.id)}, lets {option.filter.transmittance:.0%} of the light through"
        )
    if choice.spread_mm:
        parts.append(f"each tube {number(choice.spread_mm, 1)} mm outward of the PD")
    return "; ".join(parts)


def unresolved_choice_words(choice: Configuration) -> str:
    """A choice that the plan no longer offers, by its stock ids."""
    return clean(choice.key)


def eye_words(eye: str) -> str:
    """The eye or eyes in words."""
    return "both eyes" if eye == "both" else f"{eye} eye"


def device_numbers(option: Option) -> list[Shown]:
    """What the chosen device is on this face, whatever the goal."""
    return list(_device(option))


def outcome_numbers(option: Option, outcome: Outcome, settings: Settings) -> list[Shown]:
    """What the chosen device does for one goal."""
    return list(_acuity(outcome, settings)) + list(_near(outcome)) + list(_around(option, outcome))


def _device(option: Option) -> Iterator[Shown]:
    device = option.device
    power = abs(device.leading.magnification)
    refocused = option.configuration.correction == "refocused"
    quantity = "refocused_magnification" if refocused else "magnification"
    words = f"{number(power, 2)}x, tube {number(device.leading.tube_length_mm, 1)} mm"
    measured = device.magnification_basis == "measured"
    criterion = f"measured; marked {device.magnification_marked:g}x" if measured else "as marked"
    if refocused:
        criterion = f"after refocusing; marked {device.magnification_marked:g}x"
    yield Shown("Power in use", words, criterion, quantity, device.leading.magnification, brief=True)
    yield from _by_eye(option)
    if device.pair is not None:
        yield from _pair(device.pair)
    yield from _mount(device.mount)
    if device.cap is not None:
        for shown in cap_shown(device.cap, option):
            # An outcome has figures of the same names.
            part = f"cap.{shown.quantity}" if shown.quantity in CapNumbers._fields else ""
            yield shown._replace(path=part)
    light = f"{device.transmittance_basis}"
    if device.filter_transmittance < 1:
        light += f"; the filter alone passes {device.filter_transmittance:.0%}"
    yield Shown(
        "Light let through", f"{device.transmittance:.0%}", light, "transmittance", device.transmittance
    )


def _by_eye(option: Option) -> Iterator[Shown]:
    """The numbers of each eye; what is the same for both eyes stands once."""
    eyes = option.device.eyes
    if len(eyes) == 1:
        yield from _eye(eyes[0], f", {eyes[0].side} eye", option, 0)
        return
    first, second = (
        {shown.label: shown for shown in _eye(eye, "", option, number)} for number, eye in enumerate(eyes)
    )
    for label in dict.fromkeys((*first, *second)):
        one, other = first.get(label), second.get(label)
        if (
            one is not None
            and other is not None
            and (one.words, one.criterion) == (other.words, other.criterion)
        ):
            yield one._replace(label=f"{label}, each eye")
            continue
        for number_of, (shown, eye) in enumerate(((one, eyes[0]), (other, eyes[1]))):
            if shown is not None:
                part = "" if shown.quantity in EyeNumbers._fields else "field."
                path = shown.path or f"eyes.{number_of}.{part}{shown.quantity}"
                yield shown._replace(label=f"{label}, {eye.side} eye", path=path)


def _eye(eye: EyeNumbers, of: str, option: Option, number_of: int) -> Iterator[Shown]:
    field = eye.field
    place = f"eye distance {number(field.eye_distance_mm, 1)} mm, pupil {number(field.pupil_mm, 1)} mm"
    yield Shown(
        f"Eye distance{of}",
        f"{number(eye.eye_distance_mm, 1)} mm",
        f"{number(eye.ocular_to_cornea_mm, 1)} mm from ocular to cornea, "
        f"{number(eye.eye_distance_mm - eye.ocular_to_cornea_mm, 1)} mm on to the entrance pupil",
        "eye_distance_mm",
        eye.eye_distance_mm,
    )
    yield Shown(
        f"Ametropia at the ocular{of}",
        f"{signed(eye.ametropia_at_ocular_d)} D",
        f"{signed(eye.refraction_at_cornea_d)} D at the cornea, best sphere",
        "ametropia_at_ocular_d",
        eye.ametropia_at_ocular_d,
    )
    if eye.correction_lens_d is not None:
        place_of = f"best sphere, {correction_words(option.configuration)}"
        words = f"{signed(eye.correction_lens_d)} D"
        yield Shown(f"Correcting lens{of}", words, place_of, "correction_lens_d", eye.correction_lens_d)
    if abs(eye.residual_sphere_d) >= 0.005 or abs(eye.residual_cylinder_d) >= 0.005:
        words = f"{signed(eye.residual_sphere_d)} D sphere, {number(abs(eye.residual_cylinder_d))} D cylinder"
        criterion = "with the telescope in use"
        yield Shown(f"Left uncorrected{of}", words, criterion, "residual_sphere_d", eye.residual_sphere_d)
    basis = (
        "measured"
        if field.basis == "measured"
        else f"nominal, {field_criterion(field.criterion)}, limited by the {field.limited_by}"
    )
    yield Shown(
        f"True field{of}",
        f"{number(field.real_field_deg, 1)} deg",
        f"{basis}; {place}",
        "real_field_deg",
        field.real_field_deg,
        brief=True,
    )
    yield Shown(
        f"Apparent field{of}",
        f"{number(field.apparent_field_deg, 1)} deg",
        f"{basis}; {place}",
        "apparent_field_deg",
        field.apparent_field_deg,
    )
    if field.real_field_full_deg is not None and field.real_field_total_deg is not None:
        words = f"{number(field.real_field_full_deg, 1)} and {number(field.real_field_total_deg, 1)} deg"
        yield Shown(
            f"Full and last-ray field{of}",
            words,
            f"nominal; {place}",
            "real_field_deg",
            field.real_field_full_deg,
            path=f"eyes.{number_of}.field.real_field_full_deg",
        )
    if field.ring_outer_diameter_deg is not None:
        words = f"out to {number(field.ring_outer_diameter_deg, 1)} deg across"
        yield Shown(
            f"Ring hidden around the field{of}",
            words,
            place,
            "ring_outer_diameter_deg",
            field.ring_outer_diameter_deg,
        )
    pupil = f"{number(eye.exit_pupil_diameter_mm, 1)} mm, {number(abs(eye.exit_pupil_distance_mm), 1)} mm "
    pupil += "behind the ocular" if eye.exit_pupil_distance_mm >= 0 else "in front of it, inside the tube"
    yield Shown(
        f"Exit pupil{of}", pupil, eye.exit_pupil_basis, "exit_pupil_diameter_mm", eye.exit_pupil_diameter_mm
    )
    if eye.near_limit_mm is not None:
        words = span(eye.near_limit_mm, eye.far_limit_mm)
        criterion = _clear_criterion(eye, option)
        yield Shown(f"Clear{of}", words, criterion, "near_limit_mm", eye.near_limit_mm, brief=True)
    yield Shown(
        f"Brightness{of}",
        f"{eye.relative_brightness:.0%}; in dim light {eye.relative_brightness_dim:.0%}",
        f"of the bare eye; pupils {number(eye.pupil_mm, 1)} and {number(eye.dim_pupil_mm, 1)} mm",
        "relative_brightness",
        eye.relative_brightness,
    )


def _clear_criterion(eye: EyeNumbers, option: Option) -> str:
    """By what the near end is set: the travel of a tube focused by hand, else the eye's own focus."""
    telescope = option.telescope
    if telescope.focusable:
        longest = telescope.longest_tube_mm or telescope.tube_length_mm
        return f"from the objective; tube lengthened to {number(longest, 1)} mm at most, eye relaxed, no cap"
    return (
        f"from the objective; accommodation {number(eye.accommodation_d)} D, depth of focus "
        f"{number(eye.tolerance_d)} D each way, pupil {number(eye.pupil_mm, 1)} mm, "
        f"{FOCUS_WORDS[option.configuration.focus]}, no cap"
    )


def _pair(pair: PairNumbers) -> Iterator[Shown]:
    place = f"PD {number(pair.interpupillary_mm, 1)} mm, each tube {number(pair.spread_mm, 1)} mm outward"
    words = f"{number(pair.union_field_deg, 1)} deg together, {number(pair.overlap_field_deg, 1)} deg seen by both"
    yield Shown("Two fields", words, place, "union_field_deg", pair.union_field_deg, brief=True)
    yield Shown(
        "Tilt allowed between tubes",
        f"vertical {number(pair.vertical_tilt_tolerance_arcmin, 0)}, convergent "
        f"{number(pair.convergent_tilt_tolerance_arcmin, 0)}, divergent "
        f"{number(pair.divergent_tilt_tolerance_arcmin, 0)} arcmin",
        "limits at the eye over M - 1",
        "vertical_tilt_tolerance_arcmin",
        pair.vertical_tilt_tolerance_arcmin,
    )


def _mount(mount: MountNumbers) -> Iterator[Shown]:
    if mount.head_drop_deg is None:
        return
    words = f"{number(mount.head_drop_deg, 1)} deg"
    criterion = (
        f"to look through the ocular's centre; tube tilt {number(mount.tube_tilt_deg, 1)} deg, "
        f"{number(mount.rotation_distance_mm, 1)} mm from the eye's centre of rotation"
    )
    yield Shown("Head drop", words, criterion, "head_drop_deg", mount.head_drop_deg, brief=True)
    yield Shown(
        "Tube to lens normal",
        f"{number(mount.tube_to_lens_normal_deg, 1)} deg",
        f"with pantoscopic tilt {number(mount.pantoscopic_deg, 1)} deg",
        "tube_to_lens_normal_deg",
        mount.tube_to_lens_normal_deg,
    )
    if mount.ocular_height_mm is not None:
        words = f"{number(mount.ocular_height_mm, 1)} mm"
        criterion = "centre above the pupil's, eyes straight ahead"
        yield Shown("Ocular height", words, criterion, "ocular_height_mm", mount.ocular_height_mm)
    if mount.least_lens_height_mm is not None and mount.b_size_mm is not None:
        words = f"{number(mount.least_lens_height_mm, 1)} mm"
        criterion = f"the frame has {number(mount.b_size_mm, 1)} mm"
        yield Shown("Least lens height", words, criterion, "least_lens_height_mm", mount.least_lens_height_mm)


def _acuity(outcome: Outcome, settings: Settings) -> Iterator[Shown]:
    if outcome.required_magnification is not None:
        words = f"{number(outcome.required_magnification, 2)}x"
        goal = ""
        if outcome.goal_logmar is not None:
            goal = "for " + logmar_words(outcome.goal_logmar, settings).replace(" (", ", ").rstrip(")")
        yield Shown("Power required", words, goal, "required_magnification", outcome.required_magnification)
    if outcome.predicted_logmar_with_losses is not None:
        losses = _losses(outcome)
        criterion = f"losses counted: {losses} log" if losses else "no loss counted"
        if outcome.predicted_logmar is not None and losses:
            criterion += f"; {number(outcome.predicted_logmar)} logMAR without"
        words = logmar_words(outcome.predicted_logmar_with_losses, settings)
        value = outcome.predicted_logmar_with_losses
        yield Shown(
            "Acuity promised",
            words,
            criterion,
            "predicted_logmar",
            value,
            True,
            "predicted_logmar_with_losses",
        )
    if outcome.probability is not None:
        criterion = f"95 % of repeats within {number(outcome.cr95_logmar)} logMAR"
        words = percent(outcome.probability)
        yield Shown(
            "Chance of reaching the goal", words, criterion, "probability", outcome.probability, brief=True
        )


def _losses(outcome: Outcome) -> str:
    """The losses that two decimals show, by name."""
    return ", ".join(f"{loss.name} {number(loss.logmar)}" for loss in outcome.losses if loss.logmar >= 0.005)


def _near(outcome: Outcome) -> Iterator[Shown]:
    if outcome.evd_mm is not None and outcome.required_evd_mm is not None:
        words = "; required ".join(lengths(outcome.evd_mm, outcome.required_evd_mm))
        criterion = "equivalent viewing distance, threshold print with its reserve"
        yield Shown("Viewing distance it amounts to", words, criterion, "evd_mm", outcome.evd_mm)
    if outcome.print_read_m_units is not None:
        words = f"{number(outcome.print_read_m_units, 2)}M"
        losses = _losses(outcome)
        criterion = "expected threshold through it"
        if losses:
            criterion += f", before the losses that the chance counts: {losses} log"
        yield Shown(
            "Print promised", words, criterion, "print_read_m_units", outcome.print_read_m_units, brief=True
        )
    if outcome.contrast_reserve is not None:
        words = f"{number(outcome.contrast_reserve, 1)} to 1"
        yield Shown("Contrast reserve", words, "", "contrast_reserve", outcome.contrast_reserve)
    if outcome.characters_in_field is not None:
        words = f"{number(outcome.characters_in_field, 0)}"
        wanted = outcome.characters_wanted
        criterion = "" if wanted is None else f"{number(wanted, 0)} wanted"
        yield Shown(
            "Characters in view", words, criterion, "characters_in_field", outcome.characters_in_field
        )


def _around(option: Option, outcome: Outcome) -> Iterator[Shown]:
    distance = f"at {length(outcome.object_distance_mm)}"
    eye = option.device.leading
    if outcome.exit_vergence_d is not None:
        words = "clear" if outcome.clear else f"out of focus by {defocus_words(outcome.defocus_d)}"
        hyperfocal = option.configuration.focus == "hyperfocal" and not outcome.cap_on
        setting = f", hyperfocal setting {signed(eye.tolerance_d)} D" if hyperfocal else ""
        criterion = (
            f"{distance}; vergence leaving the ocular {signed(outcome.exit_vergence_d)} D{setting}, accommodation "
            f"{number(eye.accommodation_d)} D, depth of focus {number(eye.tolerance_d)} D"
        )
        yield Shown("Focus at the task", words, criterion, "exit_vergence_d", outcome.exit_vergence_d)
    width = outcome.linear_union_mm if outcome.linear_union_mm is not None else outcome.linear_field_mm
    if width is not None:
        wanted = "" if outcome.width_wanted_mm is None else f"; {length(outcome.width_wanted_mm)} wanted"
        both = ", both fields together" if outcome.linear_union_mm is not None else ""
        criterion = f"{distance}, {field_criterion(eye.field.criterion)}{both}{wanted}"
        quantity = "linear_union_mm" if outcome.linear_union_mm is not None else "linear_field_mm"
        yield Shown("Width seen there", f"{length(width)}", criterion, quantity, width, brief=True)
    if outcome.convergence_prism is not None and option.configuration.eye == "both":
        words = f"{number(outcome.convergence_prism, 1)} prism D"
        criterion = f"{distance}{_vergence_criterion(option, outcome)}"
        yield Shown("Convergence there", words, criterion, "convergence_prism", outcome.convergence_prism)
    if outcome.vertical_prism is not None and outcome.vertical_reserve_prism is not None:
        words = f"{number(outcome.vertical_prism, 2)} prism D"
        reserve = number(outcome.vertical_reserve_prism, 1)
        criterion = f"{distance}; pupils of unequal height, half of the reserve of {reserve} prism D allowed"
        yield Shown("Vertical demand there", words, criterion, "vertical_prism", outcome.vertical_prism)
    if outcome.slip_deg_s:
        words = f"{number(outcome.slip_deg_s, 1)} deg/s"
        yield Shown("Image slip", words, "head or object moving as stated", "slip_deg_s", outcome.slip_deg_s)


def _vergence_criterion(option: Option, outcome: Outcome) -> str:
    """What of it is ordinary looking, what the caps take away, what is left beyond, and how much reserve there is."""
    parts = []
    parts.extend(_of_spread(option, outcome))
    through, naked = outcome.convergence_prism, outcome.convergence_naked_prism
    if through is not None and naked is not None:
        prism = option.cap.base_in_prism if option.cap is not None and outcome.cap_on else 0.0
        relief = cap_prism_relief_prism(outcome.magnification, prism) if prism else 0.0
        if relief:
            parts.append(f"base in takes {number(relief, 1)} away")
        beyond = through - relief - naked
        parts.append(f"{number(naked, 1)} ordinary without it, {number(abs(beyond), 1)} {_side_of(beyond)}")
    if outcome.vergence_reserve_prism is not None:
        reserve = outcome.vergence_reserve_prism
        parts.append(f"half of the reserve of {number(reserve, 1)} prism D allowed")
    return "".join(f"; {part}" for part in parts)


def _of_spread(option: Option, outcome: Outcome) -> Iterator[str]:
    """That the figure goes by the PD, and what the outward spread of the tubes would add or take."""
    spread = option.configuration.spread_mm
    if not spread:
        return
    words = "by the PD, the spread not counted"
    if option.telescope.type == "galilean" and outcome.evd_mm:
        power = option.cap.power_d if option.cap is not None and outcome.cap_on else 0.0
        more = vergence_by_spread_prism(
            spread, outcome.magnification, outcome.object_distance_mm, outcome.evd_mm, power
        )
        words += f", which {'adds' if more > 0.0 else 'takes'} {number(abs(more), 1)}"
        words += "" if more > 0.0 else " away"
    yield words


def _side_of(beyond_prism: float) -> str:
    return "beyond" if beyond_prism >= 0 else "less"


__all__ = [
    "CORRECTION_WORDS",
    "FOCUS_WORDS",
    "Shown",
    "choice_words",
    "device_numbers",
    "eye_words",
    "length",
    "outcome_numbers",
    "power_words",
    "span",
    "unresolved_choice_words",
]
