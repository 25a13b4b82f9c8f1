"""Reading caps: a plus lens in front of an afocal tube, its working distance, power and clear range.

With the object at the cap focus the light enters the tube parallel, so M and the eye distance change
nothing there and the equivalent viewing distance is WD/|M|. A small equivalent distance wins resolution, a
long working distance posture.
"""

from __future__ import annotations

from typing import Literal, NamedTuple

from ..errors import DomainRefusal
from ..formula import formula
from ._domain import (
    CAP_LEAST_D,
    CAP_MOST_D,
    DISTANCE_MOST_MM,
    M_LEAST,
    M_MOST,
    TOLERANCE_MOST_D,
    Domain,
    check,
    check_eye,
)
from .ametropia import objective_correction_d
from .focus import object_vergence_for_exit_d

# Common practice: a cap whose equivalent distance exceeds the naked reading distance is no reading aid.
READING_EVD_MOST_MM = 400.0
SHORT_WORKING_DISTANCE_MM = 100.0
_CAP = "Fcap 0.05 to 60 D, 1.05 ≤ |M| ≤ 100"


class CapRange(NamedTuple):
    """The clear distances with a cap, in mm from the cap, and their difference."""

    near_edge_mm: float
    far_edge_mm: float
    depth_mm: float


@formula("WD = 1/Fcap", unit="mm", source="SCHWARTZ-12", kind="published", domain="relaxed, corrected eye")
def cap_working_distance_mm(cap_power_d: float) -> float:
    """The working distance in mm in front of a cap for the relaxed, corrected eye. Refuses caps outside
    0.05 to 60 D.
    """
    if not CAP_LEAST_D <= cap_power_d <= CAP_MOST_D:
        Domain.refuse(cap_power_d=cap_power_d)
    return 1000.0 / cap_power_d


@formula(
    "WD = 1/[Fcap − R/(M² + t·M·R)]", unit="mm", source="", kind="derived", domain=_CAP + ", denominator > 0"
)
def cap_working_distance_uncorrected_mm(
    magnification: float, tube_length_mm: float, cap_power_d: float, ametropia_at_ocular_d: float
) -> float:
    """The working distance in mm in front of a cap for the relaxed eye with R left uncorrected.

    A myope works nearer, a hyperope farther. Refuses when the cap is too weak for the hyperopia left.
    """
    if not CAP_LEAST_D <= cap_power_d <= CAP_MOST_D:
        Domain.refuse(cap_power_d=cap_power_d)
    needed = cap_power_d - objective_correction_d(magnification, tube_length_mm, ametropia_at_ocular_d)
    if needed < CAP_LEAST_D:
        raise DomainRefusal(
            "cap power",
            cap_power_d,
            f"more than {cap_power_d - needed + CAP_LEAST_D:.3g} D, or a corrected eye",
            reason="the hyperopia left uncorrected uses up this cap",
        )
    return 1000.0 / needed


@formula(
    "EVP = |M|·Fcap",
    unit="D",
    source="SCHWARTZ-12",
    kind="published",
    domain=_CAP + ", object at the cap focus",
)
def cap_equivalent_power_d(magnification: float, cap_power_d: float) -> float:
    """The equivalent viewing power in dioptres of a tube with a cap, object at the cap focus."""
    if not M_LEAST <= abs(magnification) <= M_MOST:
        Domain.refuse(magnification=magnification)
    if not CAP_LEAST_D <= cap_power_d <= CAP_MOST_D:
        Domain.refuse(cap_power_d=cap_power_d)
    return abs(magnification) * cap_power_d


@formula(
    "EVD = 1/(|M|·Fcap)", unit="mm", source="", kind="derived", domain=_CAP + ", object at the cap focus"
)
def cap_evd_mm(magnification: float, cap_power_d: float) -> float:
    """The equivalent viewing distance in mm of a tube with a cap, object at the cap focus; the eye distance
    plays no part.
    """
    if not M_LEAST <= abs(magnification) <= M_MOST:
        Domain.refuse(magnification=magnification)
    if not CAP_LEAST_D <= cap_power_d <= CAP_MOST_D:
        Domain.refuse(cap_power_d=cap_power_d)
    return 1000.0 / (abs(magnification) * cap_power_d)


@formula(
    "EVP·(reference distance)", unit="x", source="BAILEY04", kind="published", domain="state the reference"
)
def magnification_re_distance(equivalent_power_d: float, reference_distance_mm: float) -> float:
    """How many times larger print looks than to the naked eye at ``reference_distance_mm`` (250 or 400 by
    custom).

    Refuses equivalent powers outside 0.05 to 6000 D and reference distances outside 50 mm to 10 m.
    """
    check(equivalent_power_d=equivalent_power_d, reference_distance_mm=reference_distance_mm)
    return equivalent_power_d * reference_distance_mm / 1000.0


@formula(
    "1/(Fcap − U), U = L/(M² + t·M·L), L = R − (A + δ)", unit="mm", source="", kind="derived", domain=_CAP
)
def cap_near_edge_mm(
    magnification: float,
    tube_length_mm: float,
    cap_power_d: float,
    tolerance_d: float,
    accommodation_d: float = 0.0,
    ametropia_at_ocular_d: float = 0.0,
) -> float:
    """The nearest clear distance in mm in front of the cap, for this tolerance, accommodation and
    uncorrected ametropia.

    Refuses an eye for which no object before this cap is clear, or which this tube cannot serve.
    """
    if not CAP_LEAST_D <= cap_power_d <= CAP_MOST_D:
        Domain.refuse(cap_power_d=cap_power_d)
    check_eye(tolerance_d, accommodation_d, ametropia_at_ocular_d)
    edge = object_vergence_for_exit_d(
        magnification, tube_length_mm, ametropia_at_ocular_d - accommodation_d - tolerance_d
    )
    return _edge_mm(cap_power_d, edge)


@formula(
    "1/(Fcap − U), U = L/(M² + t·M·L), L = R + δ",
    unit="mm",
    source="",
    kind="derived",
    domain=_CAP + ", finite",
)
def cap_far_edge_mm(
    magnification: float,
    tube_length_mm: float,
    cap_power_d: float,
    tolerance_d: float,
    accommodation_d: float = 0.0,
    ametropia_at_ocular_d: float = 0.0,
) -> float:
    """The farthest clear distance in mm in front of the cap; accommodation does not move it.

    Refuses when everything out to infinity is clear: the cap is then too weak for the question to have an
    answer.
    """
    if not CAP_LEAST_D <= cap_power_d <= CAP_MOST_D:
        Domain.refuse(cap_power_d=cap_power_d)
    check_eye(tolerance_d, accommodation_d, ametropia_at_ocular_d)
    edge = object_vergence_for_exit_d(magnification, tube_length_mm, ametropia_at_ocular_d + tolerance_d)
    return _edge_mm(cap_power_d, edge)


@formula("far edge − near edge, about 2δ/(M·Fcap)²", unit="mm", source="", kind="derived", domain=_CAP)
def cap_depth_mm(
    magnification: float,
    tube_length_mm: float,
    cap_power_d: float,
    tolerance_d: float,
    accommodation_d: float = 0.0,
    ametropia_at_ocular_d: float = 0.0,
) -> float:
    """The depth in mm of the clear range with a cap. Refuses as the two edges."""
    return cap_clear_range(
        magnification, tube_length_mm, cap_power_d, tolerance_d, accommodation_d, ametropia_at_ocular_d
    ).depth_mm


@formula("near edge … far edge", unit="", source="", kind="derived", domain=_CAP)
def cap_clear_range(
    magnification: float,
    tube_length_mm: float,
    cap_power_d: float,
    tolerance_d: float,
    accommodation_d: float = 0.0,
    ametropia_at_ocular_d: float = 0.0,
) -> CapRange:
    """Both edges of the clear range with a cap, in mm from the cap, and the depth between them. Refuses as
    they do.
    """
    near = cap_near_edge_mm(
        magnification, tube_length_mm, cap_power_d, tolerance_d, accommodation_d, ametropia_at_ocular_d
    )
    far = cap_far_edge_mm(
        magnification, tube_length_mm, cap_power_d, tolerance_d, accommodation_d, ametropia_at_ocular_d
    )
    return CapRange(near, far, far - near)


@formula("|1/F − 1/(F ± δ)|", unit="mm", source="", kind="derived", domain="F 0.05 to 60 D; far: δ < F")
def lens_depth_one_side_mm(lens_power_d: float, tolerance_d: float, side: Literal["near", "far"]) -> float:
    """How far in mm the clear range of a plain plus lens reaches from its focus, to one side.

    Refuses powers outside 0.05 to 60 D, tolerances over 10 D, and a far side without end.
    """
    if not CAP_LEAST_D <= lens_power_d <= CAP_MOST_D:
        Domain.refuse(lens_power_d=lens_power_d)
    if not 0.0 <= tolerance_d <= TOLERANCE_MOST_D:
        Domain.refuse(tolerance_d=tolerance_d)
    if side == "near":
        return 1000.0 * tolerance_d / (lens_power_d * (lens_power_d + tolerance_d))
    if side != "far":
        raise DomainRefusal("side of the focus", side, "near or far", example="near")
    if lens_power_d - tolerance_d < CAP_LEAST_D:
        raise DomainRefusal(
            "tolerated defocus",
            tolerance_d,
            "less than the lens power",
            reason="everything out to infinity is clear",
        )
    return 1000.0 * tolerance_d / (lens_power_d * (lens_power_d - tolerance_d))


@formula(
    "Fcap = EVP/|M|, EVP = threshold·reserve/(goal·distance)",
    unit="D",
    source="SCHWARTZ-12",
    kind="published",
    domain=_CAP,
)
def cap_power_for_goal_d(
    magnification: float,
    test_distance_mm: float,
    threshold_m_units: float,
    goal_m_units: float,
    acuity_reserve: float = 1.0,
) -> float:
    """The cap in dioptres with which this tube reaches goal print, from threshold print at a known
    distance.

    ``threshold_m_units`` is the smallest print read at ``test_distance_mm`` in focus; ``acuity_reserve`` is
    the goal print over the threshold wanted with the device (1 = none). Refuses prints outside 0.05 to 50
    M, distances outside 20 mm to 10 m, reserves outside 0.5 to 10, and a need for a cap outside 0.05 to 60
    D.
    """
    if not M_LEAST <= abs(magnification) <= M_MOST:
        Domain.refuse(magnification=magnification)
    check(
        test_distance_mm=test_distance_mm,
        threshold_m_units=threshold_m_units,
        goal_m_units=goal_m_units,
        acuity_reserve=acuity_reserve,
    )
    required_power = 1000.0 * threshold_m_units * acuity_reserve / (goal_m_units * test_distance_mm)
    return cap_power_for_evp_d(magnification, required_power)


@formula("Fcap = EVP/|M|", unit="D", source="SCHWARTZ-12", kind="published", domain=_CAP)
def cap_power_for_evp_d(magnification: float, required_evp_d: float) -> float:
    """The cap in dioptres with which this tube reaches an equivalent viewing power. Refuses a cap outside
    0.05 to 60 D.
    """
    if not M_LEAST <= abs(magnification) <= M_MOST:
        Domain.refuse(magnification=magnification)
    result = required_evp_d / abs(magnification)
    if not CAP_LEAST_D <= result <= CAP_MOST_D:
        Domain.refuse(cap_power_d=result)
    return result


@formula("EVD > 400 mm", unit="", source="", kind="common practice", domain=_CAP)
def cap_is_weak_for_reading(
    magnification: float, cap_power_d: float, reading_distance_mm: float = READING_EVD_MOST_MM
) -> bool:
    """Whether a tube with this cap shows print no larger than the naked eye sees it at
    ``reading_distance_mm``.
    """
    check(reading_distance_mm=reading_distance_mm)
    return cap_evd_mm(magnification, cap_power_d) > reading_distance_mm


@formula("WD < 100 mm", unit="", source="", kind="common practice", domain="WD over 0")
def working_distance_is_short(
    working_distance_mm: float, short_distance_mm: float = SHORT_WORKING_DISTANCE_MM
) -> bool:
    """Whether a working distance in mm must be confirmed because little light and room are left under it."""
    if not 0.0 < working_distance_mm <= DISTANCE_MOST_MM:
        Domain.refuse(working_distance_mm=working_distance_mm)
    check(short_distance_mm=short_distance_mm)
    return working_distance_mm < short_distance_mm


def _edge_mm(cap_power_d: float, object_vergence_d: float) -> float:
    needed = cap_power_d - object_vergence_d
    if needed < CAP_LEAST_D:
        raise DomainRefusal(
            "cap power",
            cap_power_d,
            f"more than {object_vergence_d + CAP_LEAST_D:.3g} D",
            reason="with so weak a cap the clear range has no far end, or lies beyond infinity",
        )
    return 1000.0 / needed
