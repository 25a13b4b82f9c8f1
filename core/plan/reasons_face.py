"""What speaks for an option and against it on this face: position, neck, frame, mount, and the lenses worn so far."""

from __future__ import annotations

from collections.abc import Callable
from math import ceil, floor

from ..configuration import Configuration
from ..stock import Telescope
from .context import Context
from .types import DeviceNumbers

OFF_AXIS_LEAST_DEG = 3.0
LONG_DROP_DEG = 20.0
# A bifocal stays when its segment leaves this much under the tube, or stands this much under the pupil
# (common practice).
SEGMENT_CLEARANCE_MM = 4.0
SEGMENT_BELOW_MM = 5.0
TALL_FORMS = ("trifocal", "progressive")

Say = Callable[[str], None]


def face_reasons(
    context: Context,
    telescope: Telescope,
    configuration: Configuration,
    device: DeviceNumbers,
    pro: Say,
    con: Say,
) -> None:
    """Say what speaks for and against a configuration on this face."""
    if configuration.position == "bioptic":
        _bioptic(context, telescope, device, pro, con)
    elif configuration.position == "low":
        pro("Low in the lens it leaves the distance view free.")
    _lens_form(context, telescope, configuration, device, pro, con)
    if configuration.mount == "flip-up":
        pro("It can be turned up out of the way.")
    elif configuration.mount == "clip-on":
        pro("It goes over the person's own spectacles, which stay as they are.")
        con("Clipped on, it stands farther from the eye and less firmly.")


def _bioptic(context: Context, telescope: Telescope, device: DeviceNumbers, pro: Say, con: Say) -> None:
    person, mount = context.person, device.mount
    pro("High in the lens it leaves the ordinary view free between looks.")
    if mount.head_drop_deg is not None:
        words = f"The head drops by {mount.head_drop_deg:.0f} degrees to look through it"
        if person.neck in ("stiff", "painful"):
            con(f"{words}, and the neck is {person.neck}.")
        elif mount.head_drop_deg > LONG_DROP_DEG:
            con(f"{words}.")
    least = mount.least_lens_height_mm
    if least is not None and mount.b_size_mm is not None and least > mount.b_size_mm:
        con(
            f"It needs a lens height of {least:.1f} mm and {mount.b_size_mm:g} mm are reckoned with: measure the frame "
            "and how high the pupil stands in it."
        )
    if mount.off_axis_deg is not None:
        half = device.leading.field.apparent_field_deg / 2.0
        left = half - abs(mount.off_axis_deg)
        if left < OFF_AXIS_LEAST_DEG:
            place = "past" if left < 0.0 else "near"
            con(
                f"At a tilt of {mount.tube_tilt_deg:.0f} degrees the eye looks through the middle of its ocular "
                f"{abs(mount.off_axis_deg):.0f} degrees off its axis, {place} the edge of the view at {half:.0f}: "
                f"{_better_tilt(telescope, mount.tube_tilt_deg + mount.off_axis_deg, mount.off_axis_deg, half)}."
            )


def _better_tilt(telescope: Telescope, elevation_deg: float, off_axis_deg: float, half_deg: float) -> str:
    """The tilt that leaves enough of the view round the eye, or what else would do where the tube is not set so far."""
    spare = max(0.0, half_deg - OFF_AXIS_LEAST_DEG)
    tilt = ceil(elevation_deg - spare) if off_axis_deg > 0.0 else floor(elevation_deg + spare)
    if telescope.tilt_lowest_deg <= tilt <= telescope.tilt_highest_deg:
        return f"a tilt of {tilt} degrees would do, or a smaller housing"
    return f"it would take {tilt} degrees, which this tube cannot be set to, or a smaller housing"


def _lens_form(
    context: Context,
    telescope: Telescope,
    configuration: Configuration,
    device: DeviceNumbers,
    pro: Say,
    con: Say,
) -> None:
    """Bifocal, trifocal and progressive under the tube (common practice)."""
    worn, own = context.person.lenses_worn, configuration.mount == "clip-on"
    if worn in TALL_FORMS:
        part = "intermediate segment" if worn == "trifocal" else "corridor"
        if own:
            con(
                f"Over the person's own {worn} lenses the {part} may come behind the tube: check the distance area."
            )
        else:
            con(
                f"A {worn} lens is worn: its {part} stands too high for the distance area of this carrier. Order "
                "single vision or a low bifocal (common practice)."
            )
    elif worn == "bifocal":
        _bifocal(context, telescope, configuration, device, pro, con)


def _bifocal(
    context: Context,
    telescope: Telescope,
    configuration: Configuration,
    device: DeviceNumbers,
    pro: Say,
    con: Say,
) -> None:
    person, mount = context.person, device.mount
    if configuration.position == "low":
        con("Low in the lens it takes the place of the bifocal segment.")
        return
    if person.segment_height_mm is None:
        con(
            "A bifocal is worn and its segment height is not measured: measure it before the bifocal is kept."
        )
        return
    below = context.eye(device.leading.side).pupil_height_mm - person.segment_height_mm
    if configuration.position == "full diameter":
        if below < telescope.housing_radius_mm:
            con("The housing covers the top of the bifocal segment.")
        else:
            pro("The bifocal can stay: its segment lies under the housing.")
        return
    clearance = mount.segment_clearance_mm
    if (clearance is not None and clearance >= SEGMENT_CLEARANCE_MM) or below >= SEGMENT_BELOW_MM:
        pro("The bifocal can stay: its segment leaves room under the tube.")
    else:
        con("The bifocal segment stands too high under this tube: a lower segment, or single vision.")
