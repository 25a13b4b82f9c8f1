"""With a reading cap on: working distance, near PD, and what the two eyes must do at that distance.

The base of a prism is named as it stands before the eye. Base-in at the caps relieves the eyes of convergence;
it acts at the eye as many times as the telescope magnifies.
"""

from __future__ import annotations

from .. import ranges as r
from ..entry import Length, show_length
from ..optics.convergence import near_interpupillary_by_eye
from ..plan.types import CapNumbers
from ..ranges import Range
from .context import Fit, deg, mm, number, signed
from .pair import SINGLE, SINGLE_ACCEPT
from .types import Interval, Step
from .vergence import NearVergence, near_vergence

_NEAR_CENTRE = Range("cap centre from the middle of the bridge", "mm", 10, 45, 22, 36, "29")
NEAR_WITHIN_MM = 1.0


def near_steps(fit: Fit) -> list[Step]:
    """The steps that a cap adds on the face."""
    cap = fit.device.cap
    if cap is None or fit.cap is None:
        return []
    steps = [_working_distance(fit, cap)]
    asked = near_vergence(fit)
    if asked is not None:
        steps += [*_near_pd(fit, cap), _near_convergence(fit, cap, asked)]
    return steps


def _working_distance(fit: Fit, cap: CapNumbers) -> Step:
    eye = fit.device.leading
    target = cap.working_distance_mm
    near, far = cap.clear_from_mm, cap.clear_to_mm
    if near is None or far is None:
        near, far = 0.95 * target, 1.05 * target
        rule = "5 % either way; the clear range could not be computed"
    else:
        rule = (
            f"clear from {show_length(near)} to {show_length(far)} with this eye's depth of focus of "
            f"{number(eye.tolerance_d, 2)} D"
            + (f" and accommodation of {number(eye.accommodation_d, 2)} D" if eye.accommodation_d else "")
        )
    plain = cap.working_distance_corrected_mm
    left = ""
    if cap.working_distance_uncorrected_mm is not None and abs(target - plain) >= 1:
        left = f" ({show_length(plain)} with the correction on: {number(abs(eye.residual_sphere_d), 2)} D is left in)"
    least = fit.person.reach_mm
    reach = f"; hands work from {show_length(least)}" if target < least else ""
    return Step(
        "fit.working_distance",
        "fit",
        "Working distance with the cap",
        f"Cap {signed(cap.power_d)} D on. Start too near and move the page away until it is clear; fix it there on "
        "a stand, lamp from the side of the better eye.",
        f"{show_length(target)} from the cap{left}{reach}",
        "Rule or string from the cap to the page, at the first clear point coming from near.",
        Length(r.WORKING_DISTANCE, "cm"),
        Interval(near, far, near - (target - near), far + (far - target)),
        target,
        "mm",
        f"{show_length(near)} to {show_length(far)}",
        rule,
        "",
        "",
        fit.assumed(f"{eye.side}.pupil", f"{eye.side}.sustained_accommodation", "face.reach"),
        {
            "working_distance_mm": target,
            "evd_mm": cap.evd_mm,
            "equivalent_power_d": cap.equivalent_power_d,
            "linear_field_mm": cap.linear_field_at_cap_focus_mm,
        },
        "a refractive error left in, the tube off its infinity setting, or another cap than ordered",
    )


def _near_pd(fit: Fit, cap: CapNumbers) -> list[Step]:
    plane = fit.device.mount.rotation_distance_mm
    target = cap.working_distance_mm + fit.device.leading.tube_length_mm
    near = near_interpupillary_by_eye(fit.person.pd.right_mm, fit.person.pd.left_mm, target, plane)
    steps = []
    for side, value in (("right", near.right_mm), ("left", near.left_mm)):
        far = fit.person.eye(side).pd_mm
        steps.append(
            Step(
                "fit.near_pd",
                "fit",
                "Near PD at the ocular",
                f"Only where the tubes are turned in for near: centre {mm(value)} from the middle of the bridge, "
                f"{mm(far - value)} inside the far mark. Parallel tubes stay where they stand for far, caps centred "
                "on them.",
                f"{mm(value)} (near PD {mm(near.total_mm)} in all)",
                "Dots on the lens while the eyes look at the page at the working distance.",
                Length(_NEAR_CENTRE),
                Interval(value - NEAR_WITHIN_MM, value + NEAR_WITHIN_MM, value - 2, value + 2),
                value,
                "mm",
                f"within {mm(NEAR_WITHIN_MM)}, common practice",
                f"PD W/(W + s): W {show_length(target)} from page to ocular, s {mm(plane)} to the centre of rotation",
                side,  # type: ignore[arg-type]
                "",
                fit.assumed("face.pd"),
                {"near_pd_mm": value, "near_pd_total_mm": near.total_mm},
                "centre the turned-in tubes on the near marks",
                optional=True,
            )
        )
    return steps


def _near_convergence(fit: Fit, cap: CapNumbers, asked: NearVergence) -> Step:
    """What the eyes must do at the working distance with the caps as ordered, and which way the base goes."""
    given = fit.cap.base_in_prism if fit.cap else 0.0
    remaining, excess, allowed = asked.remaining_prism, asked.excess_prism, asked.allowed_prism
    toe = cap.toe_in_deg
    numbers = {
        "parallel_prism": asked.parallel_prism,
        "base_in_each_prism": given,
        "base_in_full_each_prism": asked.full_relief_prism,
        "remaining_prism": remaining,
        "ordinary_prism": asked.ordinary_prism,
        "excess_prism": excess,
        "allowed_prism": allowed,
    }
    if toe is not None:
        numbers["toe_in_each_deg"] = toe
    ways = f"full relief is {number(asked.full_relief_prism)} prism D base in at each cap (base towards the nose)"
    if toe is not None:
        ways += (
            f", or each tube turned in by {deg(toe)}, which leaves the ordinary "
            f"{number(asked.ordinary_prism)} prism D"
        )
    spread = f", the spread of {mm(fit.choice.spread_mm)} each counted" if fit.choice.spread_mm else ""
    direction = "converge" if remaining >= 0 else "diverge"
    if not excess:
        tolerance = (
            f"no more than the {number(asked.ordinary_prism)} prism D of ordinary looking at that distance"
        )
    else:
        beyond = "the eyes must diverge" if excess < 0 else "beyond ordinary looking at that distance"
        within = "within" if asked.within else "OVER"
        tolerance = f"{number(abs(excess))} prism D {beyond}: {within} the {number(allowed)} allowed"
    return Step(
        "fit.near_single",
        "fit",
        "Single at the working distance",
        f"Caps on, page at {show_length(cap.working_distance_mm)}: one picture? Cover each eye in turn.",
        f"single; with parallel tubes and {number(given)} prism D base in at each cap the eyes must "
        f"{direction} {number(abs(remaining))} prism D",
        f"Prism bar before one eye if it doubles; {ways}. This holds for this distance only.",
        SINGLE,
        SINGLE_ACCEPT,
        remaining,
        "prism D",
        tolerance,
        f"half of {asked.reserve_words} (Sheard's rule) may be used beyond the ordinary "
        f"{number(asked.ordinary_prism)} prism D; parallel tubes ask {number(asked.parallel_prism)} prism D in "
        f"all{spread}, each base-in counts {number(fit.power, 2)} times",
        "",
        "YOHO09",
        fit.assumed("face.pd"),
        numbers,
        "base in at the caps, tubes turned in for this distance, or one eye only with the other covered at near",
    )
