"""Where a telescope is in focus: exit vergence, accommodation asked, and the distances that are clear.

Everything is exact thin-lens optics. M²·U is only the first-order form of the exit vergence and far off in
a Keplerian near its pole, the object distance t·|M|. A thick tube goes in with its matrix element B as tube
length. What the eye bears is in :mod:`.blur`, whose names are handed on here.
"""

from __future__ import annotations

from typing import Literal, NamedTuple

from ..errors import DomainRefusal
from ..formula import formula
from ._domain import (
    AMETROPIA_MOST_D,
    CAP_MOST_D,
    DISTANCE_LEAST_MM,
    DISTANCE_MOST_MM,
    EVD_LEAST_MM,
    EXIT_VERGENCE_MOST_D,
    M_LEAST,
    M_MOST,
    POLE_MARGIN,
    SWING_LEAST_D,
    SWING_MOST_D,
    T_LEAST_MM,
    T_MOST_MM,
    VERGENCE_MOST_D,
    VERTEX_MOST_MM,
    Domain,
    check_eye,
    refused_evd,
    refused_near_limit,
)
from .ametropia import INFINITY_D, refocus
from .blur import (
    accommodation_amplitude_d,
    blur_disc_arcmin,
    blur_law_holds,
    blur_loss_logmar,
    depth_of_focus_geometric_d,
    depth_of_focus_green_d,
    residual_loss_logmar,
    sustained_accommodation_d,
    tolerated_defocus_d,
)
from .rays import _b_through_tube_mm

__all__ = [
    "ClearRange",
    "NearFocus",
    "accommodation_amplitude_d",
    "accommodation_demand_d",
    "blur_disc_arcmin",
    "blur_law_holds",
    "blur_loss_logmar",
    "clear_range",
    "depth_of_focus_geometric_d",
    "depth_of_focus_green_d",
    "evd_mm",
    "exit_vergence_d",
    "exit_vergence_m_squared_d",
    "near_focus",
    "near_focus_equivalent_power_d",
    "near_limit_mm",
    "object_vergence_d",
    "object_vergence_for_exit_d",
    "residual_loss_logmar",
    "sustained_accommodation_d",
    "tolerated_defocus_d",
    "vergence_at_cornea_d",
]

_TUBE = "1.05 ≤ |M| ≤ 100, 0.5 ≤ t ≤ 1000 mm"


class ClearRange(NamedTuple):
    """The object distances that are clear, in mm from the objective; None is infinity.

    ``near_mm`` is not under 1 mm, which means clear right up to the objective; it is None when only
    infinity is clear.
    """

    near_mm: float | None
    far_mm: float | None

    @property
    def near_vergence_d(self) -> float:
        """The vergence in dioptres of light from the near edge; 0 for infinity."""
        return 0.0 if self.near_mm is None else -1000.0 / self.near_mm

    @property
    def far_vergence_d(self) -> float:
        """The vergence in dioptres of light from the far edge; 0 for infinity."""
        return 0.0 if self.far_mm is None else -1000.0 / self.far_mm

    def contains(self, object_vergence_d: float) -> bool:
        """Whether light of this vergence (0 = infinity) comes from a clear distance."""
        return self.near_vergence_d <= object_vergence_d <= self.far_vergence_d


class NearFocus(NamedTuple):
    """A tube focused near by its length: signed magnification, length in mm, equivalent viewing power in
    dioptres.
    """

    magnification: float
    tube_length_mm: float
    equivalent_power_d: float


@formula("U = −1/w + Fcap", unit="D", source="OPTICS-TEXT", kind="memory", domain="w 1 mm to 10 km")
def object_vergence_d(object_distance_mm: float, cap_power_d: float = 0.0) -> float:
    """The vergence in dioptres at the objective of light from an object in front of it, or of the cap when
    there is one.

    Refuses distances outside 1 mm to 10 km (a farther object has vergence 0) and caps over 60 D.
    """
    if not DISTANCE_LEAST_MM <= object_distance_mm <= DISTANCE_MOST_MM:
        Domain.refuse(object_distance_mm=object_distance_mm)
    if not -CAP_MOST_D <= cap_power_d <= CAP_MOST_D:
        Domain.refuse(lens_in_front_d=cap_power_d)
    return cap_power_d - 1000.0 / object_distance_mm


@formula("L′oc = M²·U/(1 − t·M·U)", unit="D", source="", kind="derived", domain=_TUBE + ", 1 − t·M·U > 0.05")
def exit_vergence_d(magnification: float, tube_length_mm: float, object_vergence_d: float) -> float:
    """The exact vergence in dioptres leaving an afocal tube for light of ``object_vergence_d`` at its
    objective.

    Minus diverges. Refuses an object inside the near limit of the tube, and light that focuses inside it.
    """
    if not (M_LEAST <= abs(magnification) <= M_MOST and T_LEAST_MM <= tube_length_mm <= T_MOST_MM):
        Domain.refuse(magnification=magnification, tube_length_mm=tube_length_mm)
    if not -VERGENCE_MOST_D <= object_vergence_d <= VERGENCE_MOST_D:
        Domain.refuse(object_vergence_d=object_vergence_d)
    denominator = 1.0 - tube_length_mm * magnification * object_vergence_d / 1000.0
    if denominator <= POLE_MARGIN:
        raise refused_near_limit(magnification, tube_length_mm, object_vergence_d)
    return magnification * magnification * object_vergence_d / denominator


@formula(
    "M²·U",
    unit="D",
    source="OPTOMETRY-TEXT",
    kind="memory",
    domain="small |t·M·U| only: shown for comparison",
)
def exit_vergence_m_squared_d(magnification: float, object_vergence_d: float) -> float:
    """The first-order exit vergence in dioptres, to compare with the exact one; never use it for a
    Keplerian at near.
    """
    if not M_LEAST <= abs(magnification) <= M_MOST:
        Domain.refuse(magnification=magnification)
    if not -VERGENCE_MOST_D <= object_vergence_d <= VERGENCE_MOST_D:
        Domain.refuse(object_vergence_d=object_vergence_d)
    return magnification * magnification * object_vergence_d


@formula("U = L/(M² + t·M·L)", unit="D", source="", kind="derived", domain=_TUBE + ", 1 + t·L/M > 0.05")
def object_vergence_for_exit_d(magnification: float, tube_length_mm: float, exit_vergence_d: float) -> float:
    """The object vergence in dioptres that makes light leave an afocal tube with ``exit_vergence_d``: the
    inverse of the above.

    Refuses an exit vergence that no object in front of this tube can produce.
    """
    if not (M_LEAST <= abs(magnification) <= M_MOST and T_LEAST_MM <= tube_length_mm <= T_MOST_MM):
        Domain.refuse(magnification=magnification, tube_length_mm=tube_length_mm)
    if not -EXIT_VERGENCE_MOST_D <= exit_vergence_d <= EXIT_VERGENCE_MOST_D:
        Domain.refuse(exit_vergence_d=exit_vergence_d)
    share = 1.0 + tube_length_mm * exit_vergence_d / (1000.0 * magnification)
    if share <= POLE_MARGIN:
        raise DomainRefusal(
            "exit vergence",
            exit_vergence_d,
            f"weaker than {1000.0 * (1.0 - POLE_MARGIN) * abs(magnification) / tube_length_mm:.4g} D",
            reason="no object in front of this tube makes its light leave so",
        )
    return exit_vergence_d / (magnification * magnification * share)


@formula("L/(1 − v·L)", unit="D", source="OPTICS-TEXT", kind="memory", domain="1 − v·L > 0.05")
def vergence_at_cornea_d(exit_vergence_d: float, ocular_to_cornea_mm: float) -> float:
    """The vergence in dioptres at the cornea of light leaving the ocular with ``exit_vergence_d``.

    Refuses distances over 60 mm and light that focuses before the eye.
    """
    if not -EXIT_VERGENCE_MOST_D <= exit_vergence_d <= EXIT_VERGENCE_MOST_D:
        Domain.refuse(exit_vergence_d=exit_vergence_d)
    if not 0.0 <= ocular_to_cornea_mm <= VERTEX_MOST_MM:
        Domain.refuse(ocular_to_cornea_mm=ocular_to_cornea_mm)
    denominator = 1.0 - ocular_to_cornea_mm * exit_vergence_d / 1000.0
    if denominator <= POLE_MARGIN:
        raise DomainRefusal(
            "exit vergence",
            exit_vergence_d,
            "weaker convergence",
            reason="the light comes to a focus before the eye",
        )
    return exit_vergence_d / denominator


@formula("R − L′oc", unit="D", source="", kind="derived", domain="both at the ocular plane")
def accommodation_demand_d(exit_vergence_d: float, ametropia_at_ocular_d: float = 0.0) -> float:
    """The accommodation in dioptres asked at the ocular plane; ``ametropia_at_ocular_d`` is what is left
    uncorrected.

    A negative demand means the light is too convergent: no accommodation helps.
    """
    if not -EXIT_VERGENCE_MOST_D <= exit_vergence_d <= EXIT_VERGENCE_MOST_D:
        Domain.refuse(exit_vergence_d=exit_vergence_d)
    if not -AMETROPIA_MOST_D <= ametropia_at_ocular_d <= AMETROPIA_MOST_D:
        Domain.refuse(ametropia_at_ocular_d=ametropia_at_ocular_d)
    return ametropia_at_ocular_d - exit_vergence_d


@formula("w = (M² − t·M·S)/S", unit="mm", source="", kind="derived", domain=_TUBE + ", S 0.01 to 60 D")
def near_limit_mm(magnification: float, tube_length_mm: float, swing_d: float) -> float:
    """The nearest clear object in mm from the objective for a swing of focus S at the eye, tube set for
    infinity.

    S is accommodation plus tolerated defocus; with a hyperfocal setting take accommodation plus twice the
    tolerance. 1 mm means clear right up to the objective. Refuses swings outside 0.01 to 60 D.
    """
    if not (M_LEAST <= abs(magnification) <= M_MOST and T_LEAST_MM <= tube_length_mm <= T_MOST_MM):
        Domain.refuse(magnification=magnification, tube_length_mm=tube_length_mm)
    if not SWING_LEAST_D <= swing_d <= SWING_MOST_D:
        Domain.refuse(swing_d=swing_d)
    result = magnification * (1000.0 * magnification / swing_d - tube_length_mm)
    return result if result > DISTANCE_LEAST_MM else DISTANCE_LEAST_MM


@formula(
    "R − (A + δ) ≤ M²·U/(1 − t·M·U) ≤ R + δ; hyperfocal: R − (A + 2δ) … R",
    unit="",
    source="",
    kind="derived",
    domain=_TUBE + ", U ≤ 0",
)
def clear_range(
    magnification: float,
    tube_length_mm: float,
    tolerance_d: float,
    accommodation_d: float = 0.0,
    ametropia_at_ocular_d: float = 0.0,
    setting: Literal["infinity", "hyperfocal"] = "infinity",
) -> ClearRange:
    """The object distances that are clear through an afocal tube without a cap, for this eye.

    ``tolerance_d`` is the tolerated defocus each way, ``accommodation_d`` what the eye can keep up,
    ``ametropia_at_ocular_d`` what is left uncorrected (0 when corrected). ``setting`` is the focus of the
    tube: for infinity, or hyperfocal, a weak plus at the ocular with which infinity is just tolerated.
    Refuses an eye for which nothing is clear.
    """
    if not (M_LEAST <= abs(magnification) <= M_MOST and T_LEAST_MM <= tube_length_mm <= T_MOST_MM):
        Domain.refuse(magnification=magnification, tube_length_mm=tube_length_mm)
    check_eye(tolerance_d, accommodation_d, ametropia_at_ocular_d)
    if setting == "infinity":
        offset = 0.0
    elif setting == "hyperfocal":
        offset = tolerance_d
    else:
        raise DomainRefusal("focus setting", setting, "infinity or hyperfocal", example="infinity")
    near = ametropia_at_ocular_d - accommodation_d - tolerance_d - offset
    far = ametropia_at_ocular_d + tolerance_d - offset
    if near > 0.0:
        raise DomainRefusal(
            "ametropia at the ocular",
            ametropia_at_ocular_d,
            "a correction, or more accommodation",
            reason="nothing is clear: even light from infinity diverges too much for this eye",
        )
    far_mm = _distance_mm(magnification, tube_length_mm, far)
    if far_mm is not None and far_mm <= DISTANCE_LEAST_MM:
        raise DomainRefusal(
            "ametropia at the ocular",
            ametropia_at_ocular_d,
            "a correction behind the ocular",
            reason="nothing is clear: this eye needs light that diverges more than any that leaves this tube",
        )
    return ClearRange(_distance_mm(magnification, tube_length_mm, near), far_mm)


def _distance_mm(magnification: float, tube_length_mm: float, exit_vergence_d: float) -> float | None:
    """The object distance behind a diverging exit vergence, not under 1 mm; None is infinity."""
    if exit_vergence_d > -INFINITY_D * magnification * magnification:
        return None
    result = -magnification * (1000.0 * magnification / exit_vergence_d + tube_length_mm)
    return result if result > DISTANCE_LEAST_MM else DISTANCE_LEAST_MM


@formula("EVP = |M′·U|", unit="", source="", kind="derived", domain=_TUBE + ", U < 0, eye relaxed")
def near_focus(
    magnification: float,
    tube_length_mm: float,
    object_vergence_d: float,
    ametropia_at_ocular_d: float = 0.0,
    shortest_tube_mm: float = T_LEAST_MM,
    longest_tube_mm: float = T_MOST_MM,
) -> NearFocus:
    """A tube lengthened to focus light of ``object_vergence_d`` (minus) for the relaxed eye: M′, length,
    equivalent power.

    Refuses as :func:`.ametropia.refocus`, and vergences of 0 or more (a distant object needs no
    lengthening).
    """
    if not -VERGENCE_MOST_D <= object_vergence_d < 0.0:
        raise DomainRefusal(
            "object vergence", object_vergence_d, "a near object: less than 0 D", example="-2.5 for 400 mm"
        )
    tube = refocus(
        magnification,
        tube_length_mm,
        ametropia_at_ocular_d,
        object_vergence_d,
        shortest_tube_mm,
        longest_tube_mm,
    )
    return NearFocus(tube.magnification, tube.tube_length_mm, abs(tube.magnification * object_vergence_d))


@formula("EVP = |M′·U|", unit="D", source="", kind="derived", domain=_TUBE + ", U < 0, eye relaxed")
def near_focus_equivalent_power_d(
    magnification: float, tube_length_mm: float, object_vergence_d: float, ametropia_at_ocular_d: float = 0.0
) -> float:
    """The equivalent viewing power in dioptres of a tube lengthened to focus near. Refuses as
    :func:`near_focus`.
    """
    return near_focus(
        magnification, tube_length_mm, object_vergence_d, ametropia_at_ocular_d
    ).equivalent_power_d


@formula(
    "EVD = |w/M + (1 − Fcap·w)·(t + M·d)|",
    unit="mm",
    source="",
    kind="derived",
    domain=_TUBE + ", EVD ≥ 1 mm",
)
def evd_mm(
    magnification: float,
    tube_length_mm: float,
    object_distance_mm: float,
    eye_distance_mm: float,
    cap_power_d: float = 0.0,
) -> float:
    """The equivalent viewing distance in mm through a tube, with or without a cap, object anywhere, tube in
    focus or not.

    ``object_distance_mm`` is in front of the cap (or objective), ``eye_distance_mm`` from the ocular to the
    entrance pupil of the eye. Refuses distances outside 1 mm to 10 km, eye distances over 1 m, caps over 60
    D, and an EVD under 1 mm.
    """
    result = abs(
        _b_through_tube_mm(magnification, tube_length_mm, object_distance_mm, eye_distance_mm, cap_power_d)
    )
    if result < EVD_LEAST_MM:
        raise refused_evd(result)
    return result
