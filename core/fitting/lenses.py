"""The lenses that go with the tubes, checked on the bench: caps, filter, carrier, and the resolution of it all.

The limits of lenses and prisms were read only in a summary of the standard, those of low-vision devices only in an
excerpt without its tolerances; every one is an assumption of the settings.
"""

from __future__ import annotations

from ..entry import Length, Number, RefractionKind, YesNo, show_length
from ..optics.alignment import height_mismatch_for_prism_mm
from ..ranges import Range
from ..refraction import Refraction
from .cap_centre import cap_centres
from .carrier import carrier_lenses, carrier_question
from .context import Fit, deg, mm, number, signed
from .types import Answers, Interval, Lens, Step

_MISMATCH = Range("difference in height", "mm", 0, 20, 0, 2, "0.3")
_CAP = Range("cap power", "D", 0, 30, 0.5, 10, "4.00")
_PRISM = Range("base-in prism", "prism D", -30, 30, 0, 15, "6")
SUMMARY_ONLY = "the standard's limits were read only in summary; adjust them to your own"


def lens_steps(fit: Fit) -> list[Step]:
    """Caps, filter, carrier and resolution, in order."""
    steps: list[Step] = []
    if fit.cap is not None:
        steps += [_cap(fit, side) for side in fit.sides]
        if fit.cap.base_in_prism:
            steps += [_cap_prism(fit, side) for side in fit.sides]
        if fit.two:
            steps.append(_mismatch(fit))
    if fit.choice.filter:
        steps.append(_filter(fit))
    steps += [_carrier(fit, side) for side in ("right", "left")]
    steps.append(_resolution(fit))
    return steps


def _filter(fit: Fit) -> Step:
    share = fit.device.filter_transmittance
    return Step(
        "verify.filter",
        "verify",
        "Filter",
        "Compare the filter with the order; hold it before a white page in the light it is for.",
        f"yes, as ordered: {number(100 * share, 0)} % of the light passes",
        "By its marking or a lux meter with and without it.",
        YesNo(),
        Answers((True,)),
        rule="too dark a filter costs acuity indoors; filters follow the standard of sunglasses",
        source="ISO15253",
        numbers={"transmittance": share},
        remedy="the filter that was tried",
    )


def _cap(fit: Fit, side: str) -> Step:
    assert fit.cap is not None
    power = fit.cap.power_d
    inner = max(fit.assume("lens_power_tolerance_d"), 0.02 * power)
    return Step(
        "verify.cap",
        "verify",
        "Power of the cap",
        "Read the cap alone.",
        f"{signed(power)} D",
        f"Lensometer; or sharp print at {show_length(1000 / power)} through the tube set for infinity.",
        Number(_CAP, 2, signed=True),
        Interval(power - inner, power + inner, power - 2 * inner, power + 2 * inner),
        power,
        "D",
        f"within {number(inner, 2)} D",
        f"lens tolerance, 2 % over 6.50 D; {SUMMARY_ONLY}",
        side,  # type: ignore[arg-type]
        "ANSI-Z80",
        (),
        {"working_distance_mm": 1000 / power},
        "swap the cap; look for a cap put on back to front",
    )


def _cap_prism(fit: Fit, side: str) -> Step:
    assert fit.cap is not None
    prism = fit.cap.base_in_prism
    centre = next(each for each in cap_centres(fit.person, fit.choice, fit.cap) if each.side == side)
    inner = fit.assume("horizontal_prism_tolerance_prism") / 2
    return Step(
        "verify.cap_prism",
        "verify",
        "Prism of the cap",
        "Read the prism at the cap's geometrical centre, which is the axis of the tube, "
        f"{mm(centre.tube_mm)} from the middle of the bridge; base towards the nose counts plus.",
        f"{number(prism)} prism D base in",
        "Lensometer, cap as it stands on the tube: base towards the nose on both sides.",
        Number(_PRISM, 2, signed=True),
        Interval(prism - inner, prism + inner, prism - 2 * inner, prism + 2 * inner),
        prism,
        "prism D",
        f"within {number(inner, 2)} prism D on each side",
        f"half of the horizontal limit of a pair of spectacles; {SUMMARY_ONLY}",
        side,  # type: ignore[arg-type]
        "ANSI-Z80",
        (),
        {
            "cap_centre_mm": centre.tube_mm,
            "optical_centre_inward_mm": centre.inward_mm,
            "optical_centre_mm": centre.optical_mm,
        },
        "turn the cap round or swap right and left",
    )


def _mismatch(fit: Fit) -> Step:
    assert fit.cap is not None
    eye = fit.device.leading
    limit = fit.vertical
    most = height_mismatch_for_prism_mm(
        eye.magnification, eye.tube_length_mm, fit.cap.power_d, eye.eye_distance_mm, limit.prism
    )
    outer = None if limit.outer is None else most * limit.outer / limit.prism
    return Step(
        "verify.cap_height",
        "verify",
        "Height of the two caps",
        "Lay a straight edge across: how far do the optical centres of tubes and caps differ in height?",
        "0 mm",
        "Lensometer dots on both caps, caps on the tubes, frame level.",
        Length(_MISMATCH),
        Interval(0.0, most, None, outer),
        0.0,
        "mm",
        f"up to {mm(most, 2)}",
        f"at near it acts as a vertical prism of {number(fit.power * fit.cap.power_d / 10, 2)} prism "
        "D a mm, at distance "
        f"as none; {limit.rule}",
        "",
        limit.source,
        numbers={"height_mismatch_mm": most},
        remedy="recentre the caps; fit one cap only if it cannot be done",
    )


def _carrier(fit: Fit, side: str) -> Step:
    ordered = next(each for each in carrier_lenses(fit.person, fit.choice) if each.side == side)
    lens: Refraction = ordered.lens
    sphere = max(fit.assume("lens_power_tolerance_d"), 0.02 * lens.strongest_meridian_d)
    cylinder = max(fit.assume("lens_cylinder_tolerance_d"), 0.04 * abs(lens.cylinder_d))
    own = fit.choice.mount == "clip-on"
    front = ordered.before_tube and fit.choice.mount != "through the lens"
    what = "lens of the person's own spectacles" if own else "carrier lens"
    where = "behind the tube, tube lifted or taken off," if front else "beside the tube"
    note = ""
    if side in fit.sides and not ordered.before_tube:
        note = "It corrects the view beside the tube, not the one through it."
    question = carrier_question(fit.person, fit.choice, side)
    do = " ".join(filter(None, (f"Read the {what} {where} and enter it as read.", note, question)))
    found = ""
    if ordered.changed and ordered.found_at_mm is not None and not question:
        found = f"{ordered.found} was found at {mm(ordered.found_at_mm)}, worn at {mm(ordered.worn_at_mm)}; "
    return Step(
        "verify.carrier",
        "verify",
        "Carrier lens",
        do,
        str(lens),
        "Lensometer at the gaze point of the carrier; material marked impact resistant.",
        RefractionKind(),
        Lens(lens.sphere_d, lens.cylinder_d, lens.axis_deg, sphere, cylinder),
        lens.spherical_equivalent_d,
        "D",
        f"best sphere within {number(sphere, 2)} D, cylinder left over within {number(cylinder, 2)} D",
        f"{found}2 % over 6.50 D; axis by the cylinder it leaves over; {SUMMARY_ONLY}",
        side,  # type: ignore[arg-type]
        "ANSI-Z80",
        fit.assumed(f"{side}.refraction"),
        remedy="ask whether the own spectacles are the ones that were computed with"
        if own
        else "remake the lens",
    )


def _resolution(fit: Fit) -> Step:
    if fit.cap is not None:
        do = (
            "A fitter with full acuity, caps on, looks at a grating of line pairs of 0.233 mm (0.116 mm a line, 1' at "
            "400 mm), printed at a contrast of 80 % or more: resolved over the central 70 % of the field?"
        )
        rule = "near devices resolve it; the standard was read only in excerpt, its tolerances not"
    else:
        do = (
            "A fitter with full acuity looks at a chart of 80 % contrast or more: is the line that "
            "the power promises read "
            f"in the middle and over the central 70 % of the field of {deg(fit.device.leading.field.real_field_deg)}?"
        )
        rule = (
            "measured at a contrast of 80 % or more; the standard was read only in excerpt, its "
            "limits for distance not"
        )
    return Step(
        "verify.resolution",
        "verify",
        "Resolution",
        do,
        "yes",
        "Good light, tube set for the distance; turn the tube to look for a soft side.",
        YesNo(),
        Answers((True,)),
        rule=rule,
        source="ISO15253",
        numbers={"line_pair_mm": 0.233, "line_mm": 0.116} if fit.cap is not None else {},
        remedy="clean it, set the focus again; a soft side is a tilted or loose lens",
    )
