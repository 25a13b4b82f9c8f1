"""Where each tube sits on the face: sideways, height, tilt, head drop, eye distance.

Tolerances follow from the exit pupil and the field; focus and mount stand in :mod:`.focus`, two tubes against each
other in :mod:`.pair`, caps in :mod:`.near`.
"""

from __future__ import annotations

from .. import ranges as r
from ..entry import Length, Number
from ..errors import Refusal
from ..fields import by_path
from ..optics.keplerian_field import eye_relief_tolerance_mm
from ..optics.mounting import gaze_elevation_deg, head_drop_deg
from ..plan.types import EyeNumbers
from ..ranges import Range
from .context import Fit, deg, mm, number
from .frame import height_of_tube_mm
from .types import Interval, Step

_LATERAL = Range("tube centre from the middle of the bridge", "mm", 15, 55, 25, 40, "32")
_GAP = Range("gap between pupil edge and housing", "mm", -10, 20, 0, 3, "1")
_OFFSET = Range("height of the tube over the pupil centre", "mm", -15, 15, -1, 1, "0")
_ANGLE = Range("angle", "deg", -45, 60, 0, 30, "18")
_HEAD_DROP = Range("head drop", "deg", 0, 60, 5, 20, "15")
# Common practice: what a rule on the face can tell, and what nobody would call centred.
LEAST_LATERAL_MM, MOST_LATERAL_MM = 0.5, 2.0
# Common practice: a share of the field that goes unnoticed, and one that does not.
FIELD_SHARE, FIELD_SHARE_OUTER = 0.10, 0.25
MOST_HEAD_DROP_DEG, MOST_HEAD_DROP_STIFF_DEG = 20.0, 12.0
FIELD_MARGIN_DEG = 3.0


def place_steps(fit: Fit) -> list[Step]:
    """Everything about single tubes on the face, in working order."""
    steps: list[Step] = []
    for side in fit.sides:
        eye = fit.eye(side)
        steps += [_lateral(fit, eye), _height(fit, eye), _tilt(fit, eye), _eye_distance(fit, eye)]
    if fit.choice.position == "bioptic":
        steps += _head_drop(fit)
    return steps


def lateral_tolerance_mm(
    exit_pupil_mm: float, pupil_mm: float, spread_mm: float = 0.0
) -> tuple[float, float]:
    """How far a tube may stand beside its place, mm: without loss of light on the axis, and with half of it left.

    The first is half of what the exit pupil is larger than the eye's, less a spread already used, but not under what
    a rule can tell (0.5 mm) nor over 2 mm; the second is half of the exit pupil.
    """
    spare = (exit_pupil_mm - pupil_mm) / 2 - abs(spread_mm)
    inner = min(MOST_LATERAL_MM, max(LEAST_LATERAL_MM, spare))
    return inner, max(inner, exit_pupil_mm / 2)


def _lateral(fit: Fit, eye: EyeNumbers) -> Step:
    side = eye.side
    pd, spread = fit.person.eye(side).pd_mm, fit.choice.spread_mm
    inner, outer = lateral_tolerance_mm(eye.exit_pupil_diameter_mm, eye.pupil_mm, spread)
    place = pd + spread
    how = "Dot the pupil reflex on the lens, one eye at a time, far target; rule from the middle of the bridge. "
    how += (
        "Then look from 40 cm: the exit pupil sits in the middle of the eye's pupil."
        if fit.keplerian
        else "Then look through from the front at 40 cm: the round of light is centred on the pupil."
    )
    viewing = fit.case.value(f"{side}.viewing") or ""
    if viewing and not viewing.lower().startswith("straight"):
        how += f" This eye looks eccentrically ({viewing}): mark the pupil while it looks that way at the target."
    words = f"monocular PD {mm(pd)}" + (f" + spread {mm(spread)} outwards" if spread else "")
    what = "dims" if fit.keplerian else "darkens on one side and the field shifts"
    return Step(
        "fit.lateral",
        "fit",
        "Sideways place of tube",
        f"Set the tube's centre {mm(place)} from the middle of the bridge.",
        f"{mm(place)} ({words})",
        how,
        Length(_LATERAL),
        Interval(place - inner, place + inner, place - outer, place + outer),
        place,
        "mm",
        f"within {mm(inner, 2)}; beyond {mm(outer, 2)} half of the light is lost",
        f"exit pupil {mm(eye.exit_pupil_diameter_mm)} over a pupil of {mm(eye.pupil_mm)}: farther off the view {what}",
        side,
        "SMITH-290",
        fit.assumed("face.pd", f"{side}.pupil"),
        {"monocular_pd_mm": pd, "spread_mm": spread, "within_mm": inner},
        "move the tube sideways or correct the frame's bridge; do not turn the tube",
    )


def _height(fit: Fit, eye: EyeNumbers) -> Step:
    position = fit.choice.position
    if position == "full diameter":
        inner, outer = lateral_tolerance_mm(eye.exit_pupil_diameter_mm, eye.pupil_mm)
        return Step(
            "fit.height",
            "fit",
            "Height of the tube",
            "Set the tube's centre level with the pupil centre in the posture of use.",
            "0 mm above the pupil centre",
            "Dot the pupil, head as in use; above the dot counts plus, below minus.",
            Length(_OFFSET),
            Interval(-inner, inner, -outer, outer),
            0.0,
            "mm",
            f"within {mm(inner, 2)} up or down; beyond {mm(outer, 2)} half of the light is lost",
            f"exit pupil {mm(eye.exit_pupil_diameter_mm)} over a pupil of {mm(eye.pupil_mm)}",
            eye.side,
            "SMITH-290",
            fit.assumed(f"{eye.side}.pupil"),
            {"within_mm": inner},
            "nose pads, then the tube's place in the lens",
        )
    height = abs(height_of_tube_mm(fit))
    gap = height - fit.telescope.housing_radius_mm - eye.pupil_mm / 2
    above = position == "bioptic"
    edge, pupil_edge = ("lower", "upper") if above else ("upper", "lower")
    slope = _per_mm(fit, height)
    most = gap + 1.0
    return Step(
        "fit.height",
        "fit",
        "Height of the tube",
        f"Set the {edge} edge of the ocular's housing {mm(gap)} {'above' if above else 'below'} the "
        f"{pupil_edge} edge of "
        "the pupil in straight gaze, in the room's light.",
        f"gap {mm(gap)}; ocular centre {mm(height)} {'above' if above else 'below'} the pupil centre",
        "Level with the person's eyes, far target, rule beside the tube. Over the pupil edge counts minus.",
        Length(_GAP),
        Interval(min(0.5, gap), most, 0.0, gap + 2.5),
        gap,
        "mm",
        f"{mm(min(0.5, gap))} to {mm(most)}; nearer shades straight gaze, farther costs {deg(slope)} of "
        f"{'drop' if above else 'gaze'} a mm",
        f"housing {number(fit.telescope.housing_radius_mm)} + half pupil {number(eye.pupil_mm / 2, 2)} + clearance",
        eye.side,
        "YOHO09",
        fit.assumed(f"{eye.side}.pupil", f"face.pupil_height_{eye.side}"),
        {"ocular_height_mm": height, "gap_mm": gap, "head_drop_per_mm_deg": slope},
        "nose pads first; then the place in the lens",
    )


def _per_mm(fit: Fit, height_mm: float) -> float:
    """Head drop that one more millimetre of height costs, degrees."""
    mount, power = fit.device.mount, fit.power
    tilt = abs(mount.tube_tilt_deg)
    try:
        here = head_drop_deg(height_mm, mount.rotation_distance_mm, tilt, power)
        return head_drop_deg(height_mm + 1.0, mount.rotation_distance_mm, tilt, power) - here
    except Refusal:
        return gaze_elevation_deg(height_mm + 1.0, mount.rotation_distance_mm) - gaze_elevation_deg(
            height_mm, mount.rotation_distance_mm
        )


def _tilt(fit: Fit, eye: EyeNumbers) -> Step:
    mount, position = fit.device.mount, fit.choice.position
    half_field = eye.field.apparent_field_deg / 2
    numbers = {"pantoscopic_deg": mount.pantoscopic_deg, "apparent_half_field_deg": half_field}
    if position == "bioptic":
        tilt, target = mount.tube_tilt_deg, mount.tube_to_lens_normal_deg
        off = abs(mount.off_axis_deg or 0.0)
        words = (
            f"{deg(tilt)} up from the head's horizontal + pantoscopic tilt {deg(mount.pantoscopic_deg)}; "
            f"gaze through the ocular then stands {deg(off)} off the axis"
        )
        do = f"Tilt the tube {deg(tilt)} up from the head's horizontal: {deg(target)} to the lens normal."
        numbers |= {"tube_tilt_deg": tilt, "off_axis_deg": off}
    elif position == "low":
        depression = gaze_elevation_deg(abs(height_of_tube_mm(fit)), mount.rotation_distance_mm)
        tilt, target = -depression, mount.pantoscopic_deg - depression
        off = 0.0
        words = f"axis through the centre of rotation, {deg(depression)} down; lens leans {deg(mount.pantoscopic_deg)}"
        do = f"Tilt the tube {deg(depression)} down: {deg(target)} to the lens normal, up counts plus."
        numbers |= {"tube_tilt_deg": tilt, "off_axis_deg": off}
    else:
        tilt, target, off = 0.0, mount.pantoscopic_deg, 0.0
        words = f"along straight gaze; the lens itself leans {deg(mount.pantoscopic_deg)}"
        do = f"Set the tube along straight gaze: {deg(target)} up against the lens normal."
        numbers |= {"tube_tilt_deg": 0.0, "off_axis_deg": 0.0}
    if fit.choice.mount == "clip-on":
        do += " Tilt it at its hinge while it is on the face."
    elif fit.choice.mount == "flip-up":
        do += " Set the stop of the hinge, tube down."
    margin = half_field - off
    inner = min(3.0, max(1.0, (margin - FIELD_MARGIN_DEG) / 2))
    # Towards the gaze through the ocular more tilt only helps.
    inner_up = max(inner, min(3.0, off))
    outer = max(inner, margin)
    rule = f"{words}; apparent half field {deg(half_field)}"
    far = f"beyond {deg(outer)} down the middle of the ocular shows no picture"
    if margin < FIELD_MARGIN_DEG:
        better = tilt + FIELD_MARGIN_DEG - margin
        numbers["tilt_for_margin_deg"] = better
        rule += f": less than 3 degrees of it are left; a tilt of {deg(better)} leaves 3, so does a smaller housing"
        if margin <= 0:
            far = "as ordered the middle of the ocular shows no picture, the eye looks in lower"
    return Step(
        "fit.tilt",
        "fit",
        "Tilt of the tube",
        do,
        f"{deg(target)} between tube and lens normal",
        "Tilt gauge or protractor on the tube, side view, frame level; or the round view centred while gaze is held.",
        Number(_ANGLE, 1),
        Interval(target - inner, target + inner_up, target - outer, target + max(outer, inner_up)),
        target,
        "deg",
        f"{deg(inner)} less to {deg(inner_up)} more; {far}",
        rule,
        eye.side,
        "",
        fit.assumed("face.pantoscopic_tilt", "face.tube_tilt"),
        numbers,
        "hinge, wedge or redrilling; measure alignment again afterwards",
    )


def _head_drop(fit: Fit) -> list[Step]:
    mount = fit.device.mount
    if mount.head_drop_deg is None:
        return []
    stiff = fit.person.neck in ("stiff", "painful")
    most = MOST_HEAD_DROP_STIFF_DEG if stiff else MOST_HEAD_DROP_DEG
    target = mount.head_drop_deg
    numbers = {"head_drop_deg": target}
    shown = f"{deg(target)} through the middle of the ocular"
    if mount.head_drop_to_field_centre_deg is not None:
        numbers["head_drop_to_field_centre_deg"] = mount.head_drop_to_field_centre_deg
        shown += f", {deg(mount.head_drop_to_field_centre_deg)} to the middle of the view"
    lowest = min(target, mount.head_drop_to_field_centre_deg or target) - 4.0
    accept = Interval(min(lowest, most), min(target + 4.0, most), 0.0, max(target, most) + 4.0)
    too_much = f"; over {deg(most)} is too much for {'this neck' if stiff else 'a day of use'}"
    return [
        Step(
            "fit.head_drop",
            "fit",
            "Head drop into the telescope",
            "Let the person look at a far target through the carrier, then drop the chin until it stands in the tube.",
            shown,
            "Side view against a protractor or a plumb line at the ear; mean of three.",
            Number(_HEAD_DROP, 0),
            accept,
            target,
            "deg",
            f"within 4 degrees of the computed drop{too_much}",
            f"neck {fit.person.neck or 'not asked'}; H = tilt + atan[tan(gaze - tilt)/M]"
            + (f": {deg(target)} is over {deg(most)}" if target > most else ""),
            "",
            "",
            fit.assumed("face.tube_tilt", "face.vertex_distance"),
            numbers,
            "tube lower or tilted less, smaller housing; for a stiff neck full diameter or flip-up instead",
            remedy_low="measure again with the target in the middle of the tube's view; so small a drop means a tube "
            "lower or tilted less than ordered",
        )
    ]


def _eye_distance(fit: Fit, eye: EyeNumbers) -> Step:
    side, tube = eye.side, eye
    assumed = fit.assumed("face.ocular_to_cornea", "face.vertex_distance")
    if fit.person.ocular_to_cornea_mm is None and not assumed:
        assumed = ("ocular to cornea taken from the vertex distance",)
    if fit.keplerian:
        behind_cornea = fit.assume("ocular_to_pupil_mm")
        target = max(r.OCULAR_TO_CORNEA.lowest, eye.exit_pupil_distance_mm - behind_cornea)
        inner = max(0.5, eye_relief_tolerance_mm(eye.exit_pupil_diameter_mm, eye.field.apparent_field_deg))
        accept = Interval(target - inner, target + inner, target - 2 * inner, target + 2 * inner)
        rule = (
            f"the exit pupil stands {mm(eye.exit_pupil_distance_mm)} behind the ocular and belongs in the eye's pupil; "
            f"farther off the view closes to a keyhole"
        )
        words = f"within {mm(inner)} either way"
        shown = f"{mm(target)} ocular to cornea"
    else:
        target = eye.ocular_to_cornea_mm
        reach = tube.tube_length_mm / fit.power + eye.eye_distance_mm
        inner, outer = FIELD_SHARE * reach, FIELD_SHARE_OUTER * reach
        accept = Interval(None, target + inner, None, target + outer)
        rule = (
            f"each mm farther takes {number(100 / reach)} % of the field: {mm(inner)} is a tenth of it; "
            "as near as lashes and brow allow"
        )
        words = f"not more than {mm(target + inner)}; nearer is better, lashes free"
        shown = f"{mm(target)} ocular to cornea, or nearer"
    return Step(
        "fit.eye_distance",
        "fit",
        "Eye distance",
        "Measure from the back of the ocular to the cornea with the device on. It decides the field.",
        shown,
        "Side view with a rule, or a distometer on the closed lid; lashes must stay free.",
        by_path()["face.ocular_to_cornea"].kind,
        accept,
        target,
        "mm",
        words,
        rule,
        side,
        "KATZ07" if not fit.keplerian else "SMITH-290",
        assumed,
        {"eye_distance_mm": eye.eye_distance_mm, "real_field_deg": eye.field.real_field_deg},
        "nose pads and temples; a measured value goes into the case, so that field and exit pupil are computed from it",
        field="face.ocular_to_cornea" if fit.person.ocular_to_cornea_mm is not None else "",
    )
