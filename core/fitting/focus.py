"""The focus of the tube in front of this eye, and what its mount must do: clip, flip up, stay in place."""

from __future__ import annotations

from ..entry import Choice, Number, YesNo
from ..errors import Refusal
from ..optics.focus import exit_vergence_d, object_vergence_d
from ..plan.types import EyeNumbers
from ..ranges import Range
from .context import Fit, mm, number, signed
from .types import Answers, Interval, Step

_OVER_REFRACTION = Range("over-refraction behind the ocular", "D", -20, 20, -1, 1, "-0.50")
SIX_METRES_MM = 6000.0


def mount_first_steps(fit: Fit) -> list[Step]:
    """What the mount asks before the tube is placed."""
    return [_clip(fit)] if fit.choice.mount == "clip-on" else []


def focus_steps(fit: Fit) -> list[Step]:
    """The focus setting of each tube."""
    return [_focus(fit, fit.eye(side)) for side in fit.sides]


def mount_last_steps(fit: Fit) -> list[Step]:
    """What the mount must still do when everything is placed."""
    return [*([_flip(fit)] if fit.choice.mount == "flip-up" else []), _stays(fit)]


def focus_target_d(fit: Fit, eye: EyeNumbers) -> float:
    """What the eye should find in front of it for infinity: 0, or plus by the depth of focus when set hyperfocal."""
    return eye.tolerance_d if fit.choice.focus == "hyperfocal" else 0.0


def chart_offset_d(eye: EyeNumbers, distance_mm: float = SIX_METRES_MM) -> float:
    """Vergence that leaves a tube set for infinity when the chart stands at a distance, D (minus: diverging)."""
    return exit_vergence_d(eye.magnification, eye.tube_length_mm, object_vergence_d(distance_mm))


def _focus(fit: Fit, eye: EyeNumbers) -> Step:
    plus = focus_target_d(fit, eye)
    chart = fit.case.value("test.chart_distance") or SIX_METRES_MM
    try:
        offset = chart_offset_d(eye, chart)
    except Refusal:
        offset = -(fit.power**2) * 1000.0 / chart
    by_hand = fit.telescope.focusable
    inner = max(0.25, min(1.0, eye.tolerance_d / 2))
    outer = max(inner, eye.tolerance_d)
    do = "Set the focus for the far end of the room's longest view"
    if by_hand:
        do += ": lengthen the tube until it blurs, then shorten to the first sharp point"
    do += ", then over-refract behind the ocular."
    where = {
        "carrier": "the correction is in the carrier lens behind the tube",
        "ocular": "the correction is built in at the ocular",
        "objective": "the correction is built in at the objective",
        "refocused": f"the tube is refocused to {mm(eye.tube_length_mm)}, spectacles off",
        "none": "no correction: what is left of the refractive error is found here",
    }[fit.choice.correction]
    shown = f"{signed(-plus)} D behind the ocular is best" if plus else "no lens improves: 0.00 D"
    if fit.choice.correction == "none" and abs(eye.residual_sphere_d) >= 0.125:
        shown += f"; {signed(eye.residual_sphere_d)} D is left uncorrected by choice"
    target = -plus + (eye.residual_sphere_d if fit.choice.correction == "none" else 0.0)
    return Step(
        "fit.focus",
        "fit",
        "Focus setting",
        do,
        f"{shown} at infinity",
        f"Lenses behind the ocular act in full; in front of the objective {number(fit.power**2, 2)} times. "
        f"{number(chart / 1000, 2)} m is not infinity: a chart there asks {signed(offset)} D by itself, so look "
        "farther or allow for it. The fitter's own sharper eye is a poor judge: use the person's.",
        Number(_OVER_REFRACTION, 2, signed=True),
        Interval(target - inner, target + inner, target - outer, target + outer),
        target,
        "D",
        f"within {number(inner, 2)} D; beyond {number(outer, 2)} D it costs a line",
        f"this eye's depth of focus of {number(eye.tolerance_d, 2)} D either way; {where}"
        + (f"; hyperfocal: plus {number(plus, 2)} D so that infinity is just clear" if plus else ""),
        eye.side,
        "SMITH91",
        fit.assumed(f"{eye.side}.pupil", f"{eye.side}.refraction"),
        {"chart_offset_d": offset, "tolerance_d": eye.tolerance_d, "focus_d": plus},
        "turn the tube or send it back; note whether lenses stood behind the ocular or before the objective",
    )


def _clip(_fit: Fit) -> Step:
    return Step(
        "fit.clip",
        "fit",
        "Clip and hinge",
        "Clip the device on, centre it, then tilt it at its hinge until the view is round and even.",
        "holds, and does not turn",
        "Let the person nod and shake the head; take it off and put it on again: it must come back to the same place.",
        Choice(("holds", "turns a little", "does not hold")),
        Answers(("holds",), ("turns a little",)),
        rule="a clip-on is tilted at its hinge, the lens is not drilled",
        remedy="tighten the hinge, rubber on the clip, or another mount",
    )


def _flip(_fit: Fit) -> Step:
    return Step(
        "fit.flip",
        "fit",
        "Flip-up",
        "Show it, then let the person turn the tubes up and down ten times, one hand, eyes ahead.",
        "same place: it stays up, and comes down to where it was",
        "Look where the tube stops each time; tubes up before standing.",
        Choice(("same place", "drifts", "does not stay")),
        Answers(("same place",), ("drifts",)),
        rule="a hinge with play changes tilt and height at each use",
        remedy="tighten the hinge, set the stop anew, measure alignment again",
    )


def _stays(_fit: Fit) -> Step:
    return Step(
        "fit.stays",
        "fit",
        "Stays in place",
        "Let the person nod and look down ten times; measure the gap or the pupil's place again.",
        "yes, it is where it was",
        "Look before and after; strap on.",
        YesNo(),
        Answers((True,)),
        rule="vertex creep costs field; a frame that slides loses the height",
        remedy="strap, pads, balance; then every place is measured again",
    )
