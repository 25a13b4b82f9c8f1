"""Which configurations there are for a telescope, and why one cannot be used on this person.

The full cross is telescope × eye × position × mount × cap × filter × correction × focus. Nothing of it is dropped
without a name: what cannot be used is refused with the reason that comes first in the order of :func:`checked`.
"""

from __future__ import annotations

from math import atan, degrees

from ..configuration import Configuration, Correction, EyeChoice, Mount, Position
from ..stock import Cap, Filter, Telescope, default_mounts
from .context import Context, EyeIn
from .device import FRONT_MOUNTS, device_numbers
from .tube_field import Infeasible
from .types import DeviceNumbers, RefusalCode
from .wearing import wanted_tilt_deg

OFF_AXIS_MOST_DEG = 45.0


def needs_lens(context: Context, eye: EyeChoice) -> bool:
    """Whether any eye of the choice needs a lens."""
    sides = ("right", "left") if eye == "both" else (eye,)
    return any(context.eye(side).needs_correction for side in sides)


def offered_corrections(telescope: Telescope, needs: bool) -> tuple[Correction, ...]:
    """The places of correction to weigh: what the telescope offers, or none where no eye needs one.

    A telescope that is only ever mounted in front is looked through the carrier lens, whatever else it offers.
    """
    if not needs:
        return ("none",)
    only_front = all(mount in FRONT_MOUNTS for mount in telescope.mounts)
    if only_front and "carrier" not in telescope.corrections:
        return (*telescope.corrections, "carrier")
    return telescope.corrections


def corrections_for(context: Context, telescope: Telescope, eye: EyeChoice) -> tuple[Correction, ...]:
    """The places of correction to weigh for this eye, or both."""
    return offered_corrections(telescope, needs_lens(context, eye))


def goes_in_front(correction: Correction, needs: bool) -> bool:
    """Whether a correction goes with a mount in front: a lens corrects there, or needs no power."""
    return correction == "carrier" or (correction == "none" and not needs)


def places_for(telescope: Telescope) -> tuple[tuple[Position, Mount], ...]:
    """Each position with each mount that the telescope offers."""
    return default_mounts(telescope)


def focus_settings(telescope: Telescope, cap: Cap | None) -> tuple[str, ...]:
    """A fixed tube without a cap can be set for infinity or hyperfocal; the others for infinity."""
    return ("infinity",) if cap is not None or telescope.focusable else ("infinity", "hyperfocal")


def filters_asked_for(context: Context, bright_goal: bool) -> bool:
    """Filters are weighed when glare is on record or a goal lies in bright light."""
    return context.person.glare in ("some", "disabling") or bright_goal


def eye_refusal(context: Context, telescope: Telescope, eye: EyeChoice) -> tuple[RefusalCode, str] | None:
    """Why this eye, or both, cannot look through this telescope whatever else is chosen."""
    sides = ("right", "left") if eye == "both" else (eye,)
    for side in sides:
        closed = context.eye(side).closed
        if closed:
            code: RefusalCode = "no acuity" if closed.startswith("No acuity") else "acuity off the chart"
            return code, closed
    if telescope.type == "keplerian" and not telescope.erect:
        return (
            "inverted image",
            "It shows the world upside down: a head-borne telescope needs an erecting prism.",
        )
    if eye != "both":
        return None
    return _pair_refusal(context, telescope)


def _pair_refusal(context: Context, telescope: Telescope) -> tuple[RefusalCode, str] | None:
    person = context.person
    if not telescope.in_pairs:
        return "not made in pairs", "This telescope is not made in pairs: fit one eye, or another telescope."
    if person.suppression in ("right", "left", "alternating"):
        return (
            "no fusion",
            f"Suppression is recorded ({person.suppression}): a second tube would add nothing but weight. Fit one eye.",
        )
    if person.fusion is None:
        return (
            "no fusion",
            "Fusion has not been shown yet: test it through a trial pair before two tubes are ordered.",
        )
    if person.fusion is False:
        return "no fusion", "No fusion: two tubes would show two pictures. Fit one eye."
    if person.double_vision == "always":
        return "no fusion", "Double vision all the time: two tubes would multiply it. Fit one eye."
    if not telescope.pd_lowest_mm <= person.pd.total_mm <= telescope.pd_highest_mm:
        return (
            "PD out of range",
            f"A PD of {person.pd.total_mm:g} mm is outside what this pair can be set to, "
            f"{telescope.pd_lowest_mm:g} to {telescope.pd_highest_mm:g} mm: fit one eye, or another pair.",
        )
    return None


def mount_refusal(mount: Mount, correction: Correction, needs: bool) -> tuple[RefusalCode, str] | None:
    """Why a correction does not go with a mount, for eyes that need a lens or do not."""
    if mount not in FRONT_MOUNTS or goes_in_front(correction, needs):
        return None
    if mount == "clip-on":
        lens = (
            "Clipped on, it is looked through the person's own spectacles, which stay and hold the correction"
        )
    else:
        lens = f"Mounted {mount}, it is looked through the carrier lens, which holds the correction"
    if correction == "none":
        return "mount", f"{lens}: it cannot be left out."
    place = "tube" if correction == "refocused" else correction
    return "mount", f"{lens}: no correction at the {place} is needed."


def clip_refusal(context: Context, mount: Mount) -> tuple[RefusalCode, str] | None:
    """Why nothing can be clipped on: no spectacles are worn, or only such as blur what lies far."""
    worn = context.person.lenses_worn
    if mount != "clip-on" or worn not in ("none", "reading only"):
        return None
    if worn == "none":
        return (
            "mount",
            "No spectacles are worn that it could be clipped to: take another mount, or fit a frame first.",
        )
    return (
        "mount",
        "Only reading spectacles are worn, and clipped to them it would be looked through their add: take another "
        "mount, or spectacles for far first.",
    )


def place_refusal(
    context: Context, telescope: Telescope, position: Position, lead: EyeIn
) -> tuple[RefusalCode, str] | None:
    """Why a bioptic does not fit this frame; only a measured frame refuses."""
    if position != "bioptic":
        return None
    person, figures = context.person, context.figures
    tilt = wanted_tilt_deg(context, telescope)
    if not telescope.tilt_lowest_deg <= tilt <= telescope.tilt_highest_deg:
        return (
            "tilt out of range",
            f"A tilt of {tilt:g} degrees is outside what it can be set to, {telescope.tilt_lowest_deg:g} to "
            f"{telescope.tilt_highest_deg:g} degrees: want one within, or take another telescope.",
        )
    height = telescope.housing_radius_mm + 0.5 * lead.pupil_mm + figures.clearance_mm
    needed = lead.pupil_height_mm + height + telescope.housing_radius_mm + figures.rim_mm
    if needed > person.b_size_mm and "face.b_size" not in person.assumed and lead.pupil_height_known:
        return (
            "frame too shallow",
            f"A lens height of {needed:.1f} mm is needed for this tube high in the lens; the frame has "
            f"{person.b_size_mm:g} mm. A deeper frame, a lower pupil in it or a smaller housing would do.",
        )
    at = lead.ocular_to_cornea_mm if lead.ocular_to_cornea_mm is not None else lead.vertex_mm
    elevation = degrees(atan(height / (at + figures.rotation_centre_mm)))
    if abs(elevation - tilt) > OFF_AXIS_MOST_DEG:
        return (
            "tilt out of range",
            f"The eye would look up by {elevation:.0f} degrees through a tube tilted by {tilt:g}: "
            "past it, not through. A tilt within "
            f"{OFF_AXIS_MOST_DEG:g} degrees of that, or a smaller housing, would do.",
        )
    return None


def hole_refusal(
    context: Context, telescope: Telescope, position: Position, lead: EyeIn
) -> tuple[RefusalCode, str] | None:
    """Why the hole for a tube straight ahead or low would run over the edge of the lens; a bioptic has its own rule.

    Only a measured frame refuses. A low tube clears the pupil downwards by what a bioptic needs upwards.
    """
    if position == "bioptic" or not lead.pupil_height_known:
        return None
    person, figures = context.person, context.figures
    edge = telescope.housing_radius_mm + figures.rim_mm
    drop = 0.0
    where = "straight ahead"
    if position == "low":
        drop = telescope.housing_radius_mm + 0.5 * lead.pupil_mm + figures.clearance_mm
        where = "low in the lens"
    if drop + edge > lead.pupil_height_mm:
        return (
            "frame too shallow",
            f"{drop + edge:.1f} mm of lens are needed below the pupil for this tube {where}; the frame has "
            f"{lead.pupil_height_mm:g} mm. More depth below the pupil, a smaller housing, or a mount in front of the "
            "lens would do.",
        )
    if lead.pupil_height_mm - drop + edge > person.b_size_mm and "face.b_size" not in person.assumed:
        return (
            "frame too shallow",
            f"A lens height of {lead.pupil_height_mm - drop + edge:.1f} mm is needed for this tube {where}; the "
            f"frame has {person.b_size_mm:g} mm. A deeper frame, a smaller housing, or a mount in front of the lens "
            "would do.",
        )
    return None


def reach_refusal(context: Context, working_distance_mm: float) -> tuple[RefusalCode, str] | None:
    """Why a cap works too near for these hands; only a measured reach refuses."""
    reach = context.person.reach_mm
    if working_distance_mm < reach - 0.5 and "face.reach" not in context.person.assumed:
        return (
            "hands do not reach",
            f"This cap works at {working_distance_mm:.0f} mm, nearer than the {reach:g} mm at which the hands work: a "
            f"cap of {1000.0 / reach:.2f} D or less on a stronger tube would do.",
        )
    return None


def ring_refusal(
    context: Context, eye: EyeChoice, position: Position, ring_deg: float
) -> tuple[RefusalCode, str] | None:
    """Why a tube worn straight ahead would take the surroundings away: the only seeing field lies inside its ring."""
    if eye == "both" or position != "full diameter":
        return None
    fellow = context.left if eye == "right" else context.right
    seen = context.eye(eye).visual_field_deg
    if fellow.usable or seen is None or seen > ring_deg:
        return None
    return (
        "ring over the only field",
        f"The hidden ring reaches out to {ring_deg:.0f} degrees and this only seeing eye has a field of {seen:g}: "
        "worn straight ahead it would hide everything around. Use it high in the lens.",
    )


def unequal_refusal(device: DeviceNumbers, most_percent: float) -> tuple[RefusalCode, str] | None:
    """Why two tubes that were refocused for unequal eyes are not a pair: their images differ too much in size."""
    pair = device.pair
    if pair is None or not unequal_images(pair.aniseikonia_percent, most_percent):
        return None
    first, second = device.eyes
    return (
        "unequal images",
        f"Focused for unequal eyes ({first.ametropia_at_ocular_d:+.2f} and {second.ametropia_at_ocular_d:+.2f} D) the "
        f"two images differ in size by {pair.aniseikonia_percent:.1f} %, where {most_percent:g} % is the most for two "
        "tubes: put the corrections behind the oculars or in the carrier, or fit one eye.",
    )


def unequal_images(difference_percent: float, most_percent: float) -> bool:
    """Whether the images of two tubes differ too much in size to be fused; a hair is left for rounding."""
    return difference_percent > most_percent * (1.0 + 1e-9)


def checked(
    context: Context, telescope: Telescope, cap: Cap | None, tint: Filter | None, configuration: Configuration
) -> DeviceNumbers:
    """The device numbers of a configuration that can be used. Raises :class:`Infeasible` with the first reason."""
    eye = configuration.eye
    order = context.order(configuration.eyes)
    lead = context.eye(order[0])
    _raise(eye_refusal(context, telescope, eye))
    _raise(mount_refusal(configuration.mount, configuration.correction, needs_lens(context, eye)))
    _raise(clip_refusal(context, configuration.mount))
    _raise(place_refusal(context, telescope, configuration.position, lead))
    if configuration.mount not in FRONT_MOUNTS:
        _raise(hole_refusal(context, telescope, configuration.position, lead))
    device = device_numbers(context, telescope, cap, tint, configuration)
    _raise(unequal_refusal(device, context.figures.magnification_difference_percent))
    if device.cap is not None:
        _raise(reach_refusal(context, device.cap.working_distance_mm))
    ring = device.leading.field.ring_outer_diameter_deg
    if ring is not None:
        _raise(ring_refusal(context, eye, configuration.position, ring))
    return device


def _raise(found: tuple[RefusalCode, str] | None) -> None:
    if found is not None:
        raise Infeasible(*found)
