"""Whether the frame allows the device: asked before anything is ordered.

Heights are millimetres above the lowest point of the lens; widths from the middle of the bridge. The clear lens to be
left around a tube is 3 mm (Yoho, fitting low-vision telescopes, 2009).
"""

from __future__ import annotations

from .. import ranges as r
from ..entry import Length, YesNo
from ..fields import by_path
from ..ranges import Range
from .context import Fit, mm, number
from .types import Answers, Interval, Step

_LENS_LEFT = Range("lens left around the tube", "mm", -30, 40, 0, 20, "4")
_YES = Answers((True,))
# Common practice, as the clearance of a bifocal under a bioptic.
SEGMENT_BELOW_GAZE_MM = 5.0
SEGMENT_CLEARANCE_MM = 4.0
# Common practice: from here a bridge needs broad pads and a strap.
HEAVY_G = 40.0


def frame_steps(fit: Fit) -> list[Step]:
    """All steps of the frame, in order."""
    steps = [_adjusted(fit), *_heights(fit), *_outline(fit), _bridge(fit), *_pd_range(fit), *_segment(fit)]
    return [step for step in steps if step is not None]


def height_of_tube_mm(fit: Fit) -> float:
    """Height of the ocular's centre over the pupil centre: above for a bioptic, 0, below (minus) for a low tube."""
    if fit.choice.position == "full diameter":
        return 0.0
    height = fit.device.mount.ocular_height_mm
    if height is None:
        # A low tube clears the pupil downwards by what a bioptic needs upwards.
        pupil = max(eye.pupil_mm for eye in fit.device.eyes)
        height = fit.telescope.housing_radius_mm + pupil / 2 + fit.assume("clearance_mm")
    return abs(height) if fit.choice.position == "bioptic" else -abs(height)


def needs_hole(fit: Fit) -> bool:
    """The tube passes through the carrier lens, which must be left all around it."""
    return fit.choice.mount == "through the lens"


def carried_g(fit: Fit) -> float | None:
    """Weight of all tubes that the frame carries, g, without caps and lenses; None where the stock has none."""
    weight = fit.device.weight_g
    return None if weight is None else weight * len(fit.sides)


def _adjusted(fit: Fit) -> Step:
    weight = carried_g(fit)
    carries = ""
    if weight:
        carries = f" It will carry {number(weight, 0)} g" + (" with both tubes." if fit.two else ".")
    return Step(
        "frame.adjusted",
        "frame",
        "Frame fitted first",
        "Adjust the final frame on the face before any mark is made: bridge, temples, vertex distance, pantoscopic "
        f"tilt.{carries}",
        "yes",
        "Look from the front, the side and above; let the head drop and shake: nothing slides.",
        YesNo(),
        _YES,
        rule="every later measurement is taken from this frame",
        source="YOHO09",
        remedy="adjust or change the frame; every mark is then made anew",
    )


def _heights(fit: Fit) -> list[Step]:
    """How high the lens must be, and that the pupil does not stand too low or too high in it."""
    if not needs_hole(fit):
        return [_bracket(fit)]
    radius, rim, height = fit.telescope.housing_radius_mm, fit.assume("rim_mm"), height_of_tube_mm(fit)
    steps = []
    highest = 0.0
    for side in fit.sides:
        pupil_height = fit.person.eye(side).pupil_height_mm
        below = pupil_height + height - radius
        highest = max(highest, pupil_height + height + radius + rim)
        if fit.choice.position != "bioptic":
            least = radius + rim - height
            steps.append(
                Step(
                    "frame.room_below",
                    "frame",
                    "Room below the pupil",
                    "Dot the pupil centre in straight gaze; measure down to the lowest point of the lens.",
                    f"at least {mm(least)}; now {mm(pupil_height)}",
                    "Rule on the demonstration lens, eyes level with yours.",
                    Length(r.PUPIL_HEIGHT),
                    Interval(lowest=least, outer_lowest=least - 1.0),
                    least,
                    "mm",
                    "not less; up to 1 mm less leaves a thinner edge of lens",
                    f"housing {number(radius)} + rim {number(rim)}"
                    + (f" + tube {number(-height)} below the pupil" if height else ""),
                    side,
                    "YOHO09",
                    fit.assumed(f"face.pupil_height_{side}"),
                    {"room_below_tube_mm": below},
                    "a frame with more depth below the pupil, or a smaller tube",
                    field=f"face.pupil_height_{side}",
                )
            )
    least_b = highest
    words = {
        "bioptic": f"pupil height + tube {number(height)} above it + housing {number(radius)} + rim {number(rim)}",
        "full diameter": f"pupil height + housing {number(radius)} + rim {number(rim)} above the pupil",
        "low": f"pupil height + rim {number(rim)} above the tube",
    }[fit.choice.position]
    if fit.choice.position == "bioptic" and fit.device.mount.least_lens_height_mm is not None:
        least_b = max(least_b, fit.device.mount.least_lens_height_mm)
    paths = ("face.b_size", *(f"face.pupil_height_{side}" for side in fit.sides))
    steps.insert(
        0,
        Step(
            "frame.b_size",
            "frame",
            "Lens height (B size)",
            "Measure the boxed height of the lens opening.",
            f"at least {mm(least_b)}",
            "Rule, from the lowest to the highest point of the lens.",
            by_path()["face.b_size"].kind,
            Interval(lowest=least_b, outer_lowest=least_b - 1.0),
            least_b,
            "mm",
            "not less; up to 1 mm less leaves a thinner edge of lens",
            words,
            source="YOHO09",
            assumed=fit.assumed(*paths),
            field="face.b_size",
            numbers={"tube_over_pupil_mm": height, "least_lens_height_mm": least_b},
            remedy="a deeper frame, a smaller housing, or the tube in front of the lens",
        ),
    )
    return steps


def _bracket(fit: Fit) -> Step:
    part = {"in front": "holder", "flip-up": "hinge", "clip-on": "clip"}[fit.choice.mount]
    return Step(
        "frame.bracket",
        "frame",
        f"Room for the {part}",
        f"Hold the {part} to the frame: it must sit on the bridge or rim without touching brow, lashes or cheek, "
        "also when the person laughs and looks down.",
        "yes",
        f"A tube {mm(2 * fit.telescope.housing_radius_mm)} across stands before the pupil; look from the side.",
        YesNo(),
        _YES,
        rule="the lens need not hold the tube, the face must leave it room",
        remedy="another frame or another mount",
    )


def _outline(fit: Fit) -> list[Step]:
    """The outline of the tube drawn on the demonstration lens: the smallest width of lens left around it."""
    if not needs_hole(fit):
        return []
    radius, rim, height = fit.telescope.housing_radius_mm, fit.assume("rim_mm"), height_of_tube_mm(fit)
    person, steps = fit.person, []
    for side in fit.sides:
        eye = person.eye(side)
        left: dict[str, float] = {
            "above": person.b_size_mm - eye.pupil_height_mm - height - radius,
            "below": eye.pupil_height_mm + height - radius,
        }
        lateral = eye.pd_mm + fit.choice.spread_mm
        if person.bridge_mm is not None:
            left["towards the nose"] = lateral - person.bridge_mm / 2 - radius
            if person.a_size_mm is not None:
                left["towards the temple"] = person.bridge_mm / 2 + person.a_size_mm - lateral - radius
        where, least = min(left.items(), key=lambda item: item[1])
        known = (
            ""
            if person.bridge_mm is not None
            else "; at the sides only the drawing tells (bridge not measured)"
        )
        steps.append(
            Step(
                "frame.outline",
                "frame",
                "Outline on the demo lens",
                f"Draw the tube's outline, {mm(2 * radius)} across, on the lens"
                + (
                    f", its centre {mm(abs(height))} {'above' if height > 0 else 'below'} the pupil dot"
                    if height
                    else ""
                )
                + f" and {mm(lateral)} from the middle of the bridge; measure the narrowest strip of lens left.",
                f"at least {mm(rim)}; expected {mm(least)}, {where}{known}",
                "Rule on the demonstration lens, all the way around; the housing must clear the nose and the rim.",
                Length(_LENS_LEFT),
                Interval(lowest=rim, outer_lowest=rim - 1.0),
                rim,
                "mm",
                f"not less than {mm(rim)}; {mm(rim - 1.0)} only with the maker's consent",
                "lens left around a tube",
                side,
                "YOHO09",
                fit.assumed("face.b_size", f"face.pupil_height_{side}", "face.pd"),
                {f"lens_left_{key.replace(' ', '_')}_mm": value for key, value in left.items()},
                "another frame, a smaller housing, or the tube in front of the lens",
            )
        )
    return steps


def _bridge(fit: Fit) -> Step:
    heavy = (carried_g(fit) or 0.0) >= HEAVY_G
    pads = " Broad pads or a saddle bridge and a strap" if heavy else " A strap"
    return Step(
        "frame.bridge",
        "frame",
        "Bridge carries the weight",
        f"Look at the nose under the bridge: full contact, no gap, no edge.{pads} from the start.",
        "yes",
        "Press lightly on the front; red marks after ten minutes mean a poor bridge.",
        YesNo(),
        _YES,
        rule="weight on a small contact slides, makes sores and changes the eye distance",
        remedy="another bridge, adjustable pads, a strap, a lighter tube",
    )


def _pd_range(fit: Fit) -> list[Step]:
    scope = fit.telescope
    if not fit.two or (scope.pd_lowest_mm, scope.pd_highest_mm) == (r.PD.lowest, r.PD.highest):
        return []
    spread = 2 * fit.choice.spread_mm
    return [
        Step(
            "frame.pd_range",
            "frame",
            "PD within what the pair allows",
            "Measure the distance PD and compare it with the range of the pair.",
            f"{number(scope.pd_lowest_mm)} to {mm(scope.pd_highest_mm)} between the tubes",
            "Pupillometer or rule, far target.",
            by_path()["face.pd"].kind,
            Interval(scope.pd_lowest_mm - spread, scope.pd_highest_mm - spread),
            fit.person.pd.total_mm,
            "mm",
            f"{number(scope.pd_lowest_mm - spread)} to {mm(scope.pd_highest_mm - spread)}",
            "the stock entry's range" + (f", less the spread of {mm(spread)} in all" if spread else ""),
            field="face.pd",
            assumed=fit.assumed("face.pd"),
            remedy="another pair, or one tube",
        )
    ]


def _segment(fit: Fit) -> list[Step]:
    """A bifocal must stay usable under a bioptic; a tube elsewhere takes its place."""
    worn = fit.person.lenses_worn
    if worn not in ("bifocal", "trifocal", "progressive"):
        return []
    if fit.choice.position != "bioptic" or worn == "progressive":
        replaced = (
            "a progressive corridor has no fixed height under a tube"
            if worn == "progressive"
            else "the tube stands where the segment is used"
        )
        return [
            Step(
                "frame.segment",
                "frame",
                "Bifocal or progressive",
                "Settle how near is seen with this frame: a separate pair, a lined segment, or the cap.",
                "yes, settled",
                "Ask; write it in the note of this step.",
                YesNo(),
                _YES,
                rule=replaced,
                remedy="order the carrier as single vision and name the near pair",
            )
        ]
    heights = [fit.person.eye(side).pupil_height_mm for side in fit.sides]
    pupil, height = min(heights), height_of_tube_mm(fit)
    below_gaze = pupil - SEGMENT_BELOW_GAZE_MM
    below_tube = pupil + height - fit.telescope.housing_radius_mm - SEGMENT_CLEARANCE_MM
    most = max(below_gaze, below_tube)
    return [
        Step(
            "frame.segment",
            "frame",
            "Segment clears the tube",
            "Measure the top of the segment above the lowest point of the lens.",
            f"at most {mm(most)}",
            "Rule on the lens, head straight.",
            Length(r.SEGMENT_HEIGHT),
            Interval(highest=most, outer_highest=most + 1.0),
            most,
            "mm",
            "not higher; up to 1 mm higher only after trying to read under the tube",
            f"5 mm below the gaze line ({mm(below_gaze)}) or 4 mm under the housing ({mm(below_tube)})",
            assumed=fit.assumed(*(f"face.pupil_height_{side}" for side in fit.sides)),
            field="face.segment_height",
            remedy="a lower segment, or the tube higher",
        )
    ]
