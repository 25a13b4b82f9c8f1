"""What two eyes must do at near: the demand naked, through parallel tubes and with caps, and how to relieve it.

Demands are totals for both eyes in prism dioptres, positive when the eyes must converge. ``image_erect`` is true for
a Galilean and for a Keplerian with erecting prism; a plain inverting tube turns the sign of the demand.
"""

from __future__ import annotations

from math import atan, degrees
from typing import NamedTuple

from ..errors import DomainRefusal
from ..formula import formula
from ._domain import (
    CAP_LEAST_D,
    CAP_MOST_D,
    DISTANCE_LEAST_MM,
    DISTANCE_MOST_MM,
    EVD_LEAST_MM,
    LARGEST,
    M_LEAST,
    M_MOST,
    SMALLEST,
    T_LEAST_MM,
    T_MOST_MM,
    Domain,
    check,
)
from .rays import _b_through_tube_mm

# Common practice: prism beyond the add in binocular half-eyes.
HALF_EYE_EXTRA_PRISM = 2.0


class ConvergenceRelief(NamedTuple):
    """The demand of parallel tubes with caps at the cap focus, and the ways out of it.

    ``toe_in_deg`` is for each tube, with ``converged_prism`` left for both eyes; ``base_in_full_prism`` is for each
    cap and leaves none; the third way is one eye, which needs no vergence at all.
    """

    parallel_prism: float
    toe_in_deg: float
    converged_prism: float
    base_in_full_prism: float


class NearInterpupillary(NamedTuple):
    """Near interpupillary distance by eye and in all, mm."""

    right_mm: float
    left_mm: float
    total_mm: float


@formula(
    "B = w/M + (1 − Fcap w)(t + M d)",
    unit="mm",
    source="",
    kind="derived",
    domain="|M| ≥ 1.05; t, w, d more than 0; Fcap ≥ 0; 1 − t M U more than 0; |B| ≥ 1 mm with the sign of M",
)
def object_to_pupil_b_mm(
    magnification: float,
    tube_length_mm: float,
    object_distance_mm: float,
    eye_distance_mm: float,
    cap_power_d: float = 0.0,
) -> float:
    """Element B of the ray matrix from the object plane to the entrance pupil of the eye, mm, with the sign of M.

    An object of height h is seen under the slope h/|B|. The object distance is positive, in front of the objective
    (of the cap when there is one). Refuses a Keplerian's object at or inside its pole and light that crosses before
    the eye's pupil.
    """
    b_mm = _b_through_tube_mm(magnification, tube_length_mm, object_distance_mm, eye_distance_mm, cap_power_d)
    # w (1 - t M U): not positive once the light has crossed between the lenses.
    past_cap = 1.0 - cap_power_d * object_distance_mm / 1000.0
    if not object_distance_mm + tube_length_mm * magnification * past_cap > 0.0:
        pole_mm = tube_length_mm * abs(magnification)
        raise DomainRefusal(
            "object distance",
            object_distance_mm,
            reason="the object lies at or inside the pole of the tube, which then sends converging light to the eye",
            accepted=f"more than tube length x |M| = {pole_mm:g} mm without a cap",
            example=f"{2.0 * pole_mm:g}",
        )
    if not (b_mm if magnification > 0.0 else -b_mm) >= EVD_LEAST_MM:
        focus = f"{1000.0 / cap_power_d:g}" if cap_power_d > 0.0 else ""
        raise DomainRefusal(
            "object distance",
            object_distance_mm,
            reason="the cap makes the light cross before the pupil of the eye, so nothing can be seen",
            accepted=f"a distance near the cap focus at {focus} mm" if focus else "a farther object",
            example=focus or "400",
        )
    return b_mm


@formula("100 PD / w", unit="prism dioptres", source="", kind="derived", domain="PD and w more than 0 mm")
def convergence_naked_prism(interpupillary_mm: float, object_distance_mm: float) -> float:
    """Demand without any device, both eyes together; both lengths in mm."""
    if not (
        SMALLEST < interpupillary_mm < LARGEST and DISTANCE_LEAST_MM <= object_distance_mm <= DISTANCE_MOST_MM
    ):
        Domain.refuse(interpupillary_mm=interpupillary_mm, object_distance_mm=object_distance_mm)
    return 100.0 * interpupillary_mm / object_distance_mm


@formula(
    "100 PD / |B|, B = w/M + (1 − Fcap w)(t + M d)",
    unit="prism dioptres",
    source="",
    kind="derived",
    domain="as B; object on the midline, tube axes parallel and PD apart",
)
def convergence_parallel_tubes_prism(
    magnification: float,
    tube_length_mm: float,
    object_distance_mm: float,
    eye_distance_mm: float,
    interpupillary_mm: float,
    cap_power_d: float = 0.0,
    image_erect: bool = True,
) -> float:
    """Demand of two parallel tubes for an object on the midline, both eyes together, prism dioptres.

    Signed magnification; lengths in mm. Positive: converge. A plain inverting tube (M below 0 and ``image_erect``
    false) asks for divergence, a negative figure. "M times naked" overstates it.
    """
    if not SMALLEST < interpupillary_mm < LARGEST:
        Domain.refuse(interpupillary_mm=interpupillary_mm)
    b_mm = object_to_pupil_b_mm(
        magnification, tube_length_mm, object_distance_mm, eye_distance_mm, cap_power_d
    )
    demand = 100.0 * interpupillary_mm / b_mm
    return -demand if magnification < 0.0 and image_erect else demand


@formula(
    "|M| Fcap PD(cm)",
    unit="prism dioptres",
    source="",
    kind="derived",
    domain="|M| ≥ 1.05; Fcap and PD more than 0; object at the cap focus",
)
def convergence_with_caps_prism(
    magnification: float, cap_power_d: float, interpupillary_mm: float, image_erect: bool = True
) -> float:
    """Demand of parallel tubes with caps for an object at the cap focus, both eyes; the sign as for parallel tubes."""
    size = abs(magnification)
    if not (
        M_LEAST <= size <= M_MOST
        and CAP_LEAST_D <= cap_power_d <= CAP_MOST_D
        and SMALLEST < interpupillary_mm < LARGEST
    ):
        Domain.refuse(
            magnification=magnification, cap_power_d=cap_power_d, interpupillary_mm=interpupillary_mm
        )
    demand = size * cap_power_d * interpupillary_mm / 10.0
    return -demand if magnification < 0.0 and not image_erect else demand


@formula(
    "tan(toe-in) = (PD/2) / (W + s)",
    unit="deg",
    source="YOHO09",
    kind="derived",
    domain="PD, W, s more than 0 mm",
)
def toe_in_angle_deg(
    interpupillary_mm: float, target_distance_mm: float, rotation_distance_mm: float
) -> float:
    """Angle by which each tube is turned in so that both axes meet at the target, degrees.

    Target to ocular plane, and ocular plane to the centre of rotation (about 27), in mm.
    """
    check(
        interpupillary_mm=interpupillary_mm,
        target_distance_mm=target_distance_mm,
        rotation_distance_mm=rotation_distance_mm,
    )
    return degrees(atan(0.5 * interpupillary_mm / (target_distance_mm + rotation_distance_mm)))


@formula(
    "100 PD / (W + s)",
    unit="prism dioptres",
    source="YOHO09",
    kind="derived",
    domain="PD, W, s more than 0 mm; target where both axes meet",
)
def convergence_converged_tubes_prism(
    interpupillary_mm: float, target_distance_mm: float, rotation_distance_mm: float
) -> float:
    """Demand left when the tubes are converged on the target: the ordinary one, and only for that distance."""
    check(
        interpupillary_mm=interpupillary_mm,
        target_distance_mm=target_distance_mm,
        rotation_distance_mm=rotation_distance_mm,
    )
    return 100.0 * interpupillary_mm / (target_distance_mm + rotation_distance_mm)


@formula(
    "Fcap PD(cm) / 2",
    unit="prism dioptres per eye",
    source="",
    kind="derived",
    domain="Fcap and PD more than 0",
)
def cap_base_in_full_prism(cap_power_d: float, interpupillary_mm: float) -> float:
    """Base-in at each cap that takes all convergence away: the optical centres of both caps then lie on the midline."""
    if not (CAP_LEAST_D <= cap_power_d <= CAP_MOST_D and SMALLEST < interpupillary_mm < LARGEST):
        Domain.refuse(cap_power_d=cap_power_d, interpupillary_mm=interpupillary_mm)
    return cap_power_d * interpupillary_mm / 20.0


@formula(
    "|M| Fcap c(cm)",
    unit="prism dioptres per eye",
    source="",
    kind="derived",
    domain="|M| ≥ 1.05; Fcap more than 0; c ≥ 0",
)
def cap_base_in_relief_prism(magnification: float, cap_power_d: float, decentration_mm: float) -> float:
    """Relief at each eye from a cap decentred towards the nose by some mm: its prism, multiplied by the tube."""
    size = abs(magnification)
    if not (
        M_LEAST <= size <= M_MOST
        and CAP_LEAST_D <= cap_power_d <= CAP_MOST_D
        and 0.0 <= decentration_mm < LARGEST
    ):
        Domain.refuse(magnification=magnification, cap_power_d=cap_power_d, decentration_mm=decentration_mm)
    return size * cap_power_d * decentration_mm / 10.0


@formula(
    "100 (PD − 2 c Fcap w) / |B|",
    unit="prism dioptres",
    source="",
    kind="derived",
    domain="as B; Fcap more than 0; c ≥ 0",
)
def convergence_with_base_in_prism(
    magnification: float,
    tube_length_mm: float,
    cap_power_d: float,
    object_distance_mm: float,
    eye_distance_mm: float,
    interpupillary_mm: float,
    decentration_mm: float,
) -> float:
    """Demand left with parallel erect tubes whose caps are each decentred towards the nose by some mm, both eyes.

    Nothing is left when the decentration is half the interpupillary distance and the object lies at the cap focus;
    a negative figure means too much: the eyes would have to diverge.
    """
    if not (
        CAP_LEAST_D <= cap_power_d <= CAP_MOST_D
        and SMALLEST < interpupillary_mm < LARGEST
        and 0.0 <= decentration_mm < LARGEST
    ):
        Domain.refuse(
            cap_power_d=cap_power_d, interpupillary_mm=interpupillary_mm, decentration_mm=decentration_mm
        )
    b_mm = object_to_pupil_b_mm(
        magnification, tube_length_mm, object_distance_mm, eye_distance_mm, cap_power_d
    )
    carried_mm = 2.0 * decentration_mm * 0.001 * cap_power_d * object_distance_mm
    return 100.0 * (interpupillary_mm - carried_mm) / abs(b_mm)


@formula(
    "parallel: |M| Fcap PD(cm); converged tubes: 100 PD/(W + s); base-in each: Fcap PD(cm)/2",
    unit="prism dioptres",
    source="YOHO09",
    kind="derived",
    domain="|M| ≥ 1.05; Fcap, PD, s more than 0; object at the cap focus",
)
def convergence_relief(
    magnification: float,
    tube_length_mm: float,
    cap_power_d: float,
    interpupillary_mm: float,
    rotation_distance_mm: float,
) -> ConvergenceRelief:
    """The demand of parallel tubes with caps, and the three ways to relieve it, for an object at the cap focus.

    Lengths in mm; the target lies one working distance and one tube length in front of the ocular plane.
    """
    parallel = convergence_with_caps_prism(magnification, cap_power_d, interpupillary_mm)
    if not T_LEAST_MM <= tube_length_mm <= T_MOST_MM:
        Domain.refuse(tube_length_mm=tube_length_mm)
    target_mm = 1000.0 / cap_power_d + tube_length_mm
    return ConvergenceRelief(
        parallel,
        toe_in_angle_deg(interpupillary_mm, target_mm, rotation_distance_mm),
        convergence_converged_tubes_prism(interpupillary_mm, target_mm, rotation_distance_mm),
        cap_base_in_full_prism(cap_power_d, interpupillary_mm),
    )


@formula("PD W / (W + s)", unit="mm", source="", kind="derived", domain="PD, W, s more than 0 mm")
def near_interpupillary_mm(
    interpupillary_mm: float, target_distance_mm: float, rotation_distance_mm: float
) -> float:
    """Interpupillary distance at a plane that lies ``rotation_distance_mm`` in front of the centres of rotation, mm.

    The target distance is measured to that plane. A monocular distance gives its own half.
    """
    check(
        interpupillary_mm=interpupillary_mm,
        target_distance_mm=target_distance_mm,
        rotation_distance_mm=rotation_distance_mm,
    )
    return interpupillary_mm * target_distance_mm / (target_distance_mm + rotation_distance_mm)


@formula(
    "PD W / (W + s) for each monocular PD", unit="mm", source="", kind="derived", domain="all more than 0 mm"
)
def near_interpupillary_by_eye(
    right_interpupillary_mm: float,
    left_interpupillary_mm: float,
    target_distance_mm: float,
    rotation_distance_mm: float,
) -> NearInterpupillary:
    """Near interpupillary distance for each eye from its own monocular distance, and their sum, all mm."""
    if not (SMALLEST < right_interpupillary_mm < LARGEST and SMALLEST < left_interpupillary_mm < LARGEST):
        Domain.refuse(
            right_interpupillary_mm=right_interpupillary_mm, left_interpupillary_mm=left_interpupillary_mm
        )
    right = near_interpupillary_mm(right_interpupillary_mm, target_distance_mm, rotation_distance_mm)
    left = near_interpupillary_mm(left_interpupillary_mm, target_distance_mm, rotation_distance_mm)
    return NearInterpupillary(right, left, right + left)


@formula("add + 2", unit="prism dioptres per eye", source="", kind="common practice", domain="0 < add ≤ 12 D")
def half_eye_base_in_prism(add_d: float) -> float:
    """Base-in for each eye of binocular half-eyes, by the rule of thumb; refuses an add over +12 D."""
    check(half_eye_add_d=add_d)
    return add_d + HALF_EYE_EXTRA_PRISM
