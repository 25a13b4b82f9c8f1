"""Two tubes against each other: spread, vertical and horizontal alignment on the face, single vision.

A tilt between the tubes deviates the picture by (M - 1) times itself; a tube shifted sideways deviates nothing at
distance. The base of a prism is named as it stands before the eye: base-out prism makes the eyes converge.
"""

from __future__ import annotations

from math import radians, tan

from ..entry import Choice, Length, Number
from ..errors import Refusal
from ..optics.binocular_field import (
    overlap_field_decentred_deg,
    union_field_decentred_deg,
)
from ..ranges import Range
from .context import Fit, Limit, deg, mm, number
from .types import Answers, Interval, Step
from .vergence import spread_limit_with_caps_mm

_VERTICAL = Range("vertical prism", "prism D", -20, 20, -2, 2, "0.5")
_HORIZONTAL = Range("horizontal prism", "prism D", -40, 40, -4, 4, "1.0")
SINGLE = Choice(("single", "double at times", "double"))
SINGLE_ACCEPT = Answers(("single",), ("double at times",))
HALF_FRAME_MM = 40.0
# Common practice: the middle seen by both eyes should keep at least half of one tube's field.
OVERLAP_SHARE = 0.5
# Common practice: what the scale of a pair can be read to.
SPREAD_WITHIN_MM = 0.5


def pair_steps(fit: Fit) -> list[Step]:
    """The steps that only two tubes have."""
    if not fit.two:
        return []
    steps = [_vertical(fit), _horizontal(fit)]
    spread = _spread(fit)
    if spread is not None:
        steps.insert(0, spread)
    steps.append(_single(fit))
    return steps


def spread_limits_mm(fit: Fit) -> dict[str, float]:
    """How far each tube may stand outwards, by what sets the limit, mm."""
    eyes = fit.device.eyes
    limits = {"range of the device": fit.telescope.spread_highest_mm}
    limits["pupil fully lit"] = max(0.0, min((e.exit_pupil_diameter_mm - e.pupil_mm) / 2 for e in eyes))
    pair = fit.device.pair
    if pair is not None and not fit.keplerian:
        # Half criterion: overlap W(s) reaches the share of W(0) where the radius Dobj/2M - s has shrunk to it.
        radius = min(e.exit_pupil_diameter_mm for e in eyes) / 2
        limits["overlap left"] = radius * (1 - OVERLAP_SHARE)
    with_caps = spread_limit_with_caps_mm(fit)
    if with_caps is not None:
        limits["single vision with the caps"] = with_caps
    return limits


def fields_at_spread(fit: Fit, spread_mm: float) -> tuple[float, float] | None:
    """Union and overlap of the two real fields at a spread, degrees; None where the formula does not hold."""
    eye = fit.device.leading
    try:
        arguments = (
            fit.power,
            eye.tube_length_mm,
            fit.telescope.objective_diameter_mm,
            eye.eye_distance_mm,
            spread_mm,
        )
        return union_field_decentred_deg(*arguments), overlap_field_decentred_deg(*arguments)
    except Refusal:
        return None


def _spread(fit: Fit) -> Step | None:
    pair = fit.device.pair
    if pair is None or fit.keplerian or (fit.telescope.spread_highest_mm <= 0 and not fit.choice.spread_mm):
        return None
    limits = spread_limits_mm(fit)
    what, most = min(limits.items(), key=lambda item: item[1])
    chosen = fit.choice.spread_mm
    target = min(chosen, most)
    here = fields_at_spread(fit, target) if target < chosen else None
    union, overlap = here or (pair.union_field_deg, pair.overlap_field_deg)
    widest = fields_at_spread(fit, most)
    numbers = {"spread_limit_mm": most, "union_field_deg": union, "overlap_field_deg": overlap}
    words = f"{mm(target)} each; union {deg(union)}, overlap {deg(overlap)}"
    if target < chosen - 0.05:
        words += f"; the {mm(chosen)} chosen is more than this limit allows"
    elif widest is not None and most > chosen + 0.05:
        numbers |= {"union_at_limit_deg": widest[0], "overlap_at_limit_deg": widest[1]}
        words += f"; at the limit of {mm(most)}: union {deg(widest[0])}, overlap {deg(widest[1])}"
    inner = SPREAD_WITHIN_MM
    highest = max(target, min(target + inner, most))
    return Step(
        "fit.spread",
        "fit",
        "Spread of the two tubes",
        f"Move each tube {mm(target)} outwards from the PD, axes parallel. The last of it may be left to "
        "the wearer: outwards until a far target doubles or its middle dims, then back until it is single and bright.",
        words,
        "Read the scale, or measure between the tubes' centres and take the PD off; half is the spread of each.",
        Length(Range("spread of each tube", "mm", -10, 10, 0, 3, "1.5")),
        Interval(target - inner, highest, target - 2 * inner, most + inner),
        target,
        "mm",
        f"within {mm(inner)}, never over {mm(most)}",
        f"limit set by: {what} (" + ", ".join(f"{name} {mm(value)}" for name, value in limits.items()) + ")",
        "",
        "SHENKER87",
        fit.assumed("face.pd", "right.pupil", "left.pupil"),
        numbers,
        "back towards the PD; toeing out instead would make the eyes converge",
    )


def _vertical(fit: Fit) -> Step:
    limit = fit.vertical
    tilt = fit.tilt_arcmin(limit)
    shift = HALF_FRAME_MM * tan(radians(tilt / 60))
    return Step(
        "fit.vertical",
        "fit",
        "Vertical alignment, worn",
        "A far point of light, red glass before one eye: neutralise the difference in height with prism, without the "
        "telescope and through it; the difference counts. Repeat it after every adjustment of the frame.",
        "0 prism D: both pictures at one height",
        "Prism bar behind the ocular; base down before the right eye counts plus. Light beyond 6 m.",
        Number(_VERTICAL, 2, signed=True),
        _within(limit, limit),
        0.0,
        "prism D",
        f"up to {number(limit.prism, 2)} prism D either way: a tilt of {number(tilt, 1)}' between the tubes, "
        f"{mm(shift, 2)} in half a frame",
        limit.rule,
        "",
        limit.source,
        (),
        {"limit_prism": limit.prism, "tilt_arcmin": tilt, "in_half_frame_mm": shift},
        "bend the temple or bridge so that the tubes stand parallel; a prism is no cure for a tilted tube",
    )


def _within(minus: Limit, plus: Limit) -> Interval:
    return Interval(
        -minus.prism,
        plus.prism,
        None if minus.outer is None else -minus.outer,
        plus.outer,
    )


def _horizontal(fit: Fit) -> Step:
    converge, diverge = fit.convergence, fit.divergence
    out, inwards = fit.tilt_arcmin(converge), fit.tilt_arcmin(diverge)
    if not fit.erect:
        out, inwards = inwards, out
    return Step(
        "fit.horizontal",
        "fit",
        "Horizontal alignment, worn",
        "The same light: find the horizontal prism that brings red onto white, without the telescope and through it. "
        "The difference counts: the tubes answer for no more than that.",
        "0 prism D: axes parallel",
        "Joined by more base-in, the tubes ask the eyes to converge: plus. Joined by more base-out, they ask them to "
        "diverge: minus. Light beyond 6 m.",
        Number(_HORIZONTAL, 2, signed=True),
        _within(diverge, converge),
        0.0,
        "prism D",
        f"up to +{number(converge.prism, 2)} (toed out {number(out, 1)}') and -{number(diverge.prism, 2)} "
        f"(toed in {number(inwards, 1)}')",
        f"converging: {converge.rule}; diverging: {diverge.rule}",
        "",
        converge.source,
        (),
        {
            "convergence_limit_prism": converge.prism,
            "divergence_limit_prism": diverge.prism,
            "toe_out_arcmin": out,
            "toe_in_arcmin": inwards,
        },
        "turn the tubes parallel; shifting them sideways changes the field, not the vergence",
    )


def _single(fit: Fit) -> Step:
    return Step(
        "fit.single",
        "fit",
        "Single with both eyes, far",
        "A far target in the middle, then left, right, up and down: one picture?",
        "single",
        "Cover each eye in turn: both pictures must be there, or one eye is not in use.",
        SINGLE,
        SINGLE_ACCEPT,
        rule="two tubes without fusion are worse than one",
        source="TONG21",
        remedy="vertical first, then horizontal, then the spread; if it stays double, one tube",
        assumed=() if fit.person.fusion is not None else ("fusion is not recorded",),
    )
