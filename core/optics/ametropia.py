"""The eye that is not emmetropic behind a telescope: what to correct, where, and what it does to power and
length.

``ametropia_at_ocular_d`` is R, the power that would correct the eye in the plane of the ocular (myope
minus). There are four places for a correction: a carrier lens behind the ocular or a power in the ocular
(the tube stays afocal and nothing here changes), a weaker power at the objective, or refocusing by tube
length, where the ocular lends R. Tubes are given by (magnification, tube_length_mm) as set afocal.
"""

from __future__ import annotations

from math import sqrt
from typing import NamedTuple

from ..errors import DomainRefusal
from ..formula import formula
from ._domain import (
    AMETROPIA_MOST_D,
    DIAMETER_LEAST_MM,
    DIAMETER_MOST_MM,
    M_LEAST,
    M_MOST,
    POLE_MARGIN,
    POWER_MOST_D,
    T_LEAST_MM,
    T_MOST_MM,
    VERGENCE_MOST_D,
    VERTEX_MOST_MM,
    Domain,
    distance_words,
)
from .measuring import trial_lens_bvp_d
from .telescope import ExitPupil, exit_pupil_distance_mm

# Over this power a sphere without its vertex distance is not carried to another plane (common practice).
SPHERE_WITHOUT_VERTEX_MOST_D = 10.0
ASSUMED_VERTEX_MM = 12.0
# Weaker vergences count as light from infinity: 0.0001 D is an object at 10 km.
INFINITY_D = 1e-4
_TUBE = "1.05 ≤ |M| ≤ 100, 0.5 ≤ t ≤ 1000 mm"


class Refocus(NamedTuple):
    """A refocused tube: its signed magnification, its length, and how much longer it is (minus = shorter),
    in mm.
    """

    magnification: float
    tube_length_mm: float
    lengthening_mm: float


@formula(
    "v, assumed when not measured and |F| ≤ 10 D",
    unit="mm",
    source="",
    kind="common practice",
    domain="0 to 60 mm",
)
def vertex_or_assumed_mm(
    spectacle_power_d: float, vertex_mm: float | None = None, assumed_vertex_mm: float = ASSUMED_VERTEX_MM
) -> float:
    """The vertex distance in mm to use: the measured one, or for spheres up to 10 D the assumed one.

    Refuses a stronger spectacle power without a measured vertex distance.
    """
    if not -AMETROPIA_MOST_D <= spectacle_power_d <= AMETROPIA_MOST_D:
        Domain.refuse(spectacle_power_d=spectacle_power_d)
    if vertex_mm is None and abs(spectacle_power_d) > SPHERE_WITHOUT_VERTEX_MOST_D:
        raise DomainRefusal(
            "vertex distance",
            "",
            "a measured distance from the lens to the cornea in mm",
            example="12",
            reason=f"a spectacle lens of {spectacle_power_d:g} D cannot be carried to another plane without it",
        )
    result = assumed_vertex_mm if vertex_mm is None else vertex_mm
    if not 0.0 <= result <= VERTEX_MOST_MM:
        Domain.refuse(vertex_mm=result)
    return result


@formula("K = F/(1 − v·F)", unit="D", source="OPTICS-TEXT", kind="memory", domain="1 − v·F > 0.05")
def refraction_at_cornea_d(spectacle_power_d: float, vertex_mm: float) -> float:
    """The ametropia K in dioptres at the cornea from a spectacle power at ``vertex_mm`` in front of it.

    Refuses powers over 100 D, vertex distances over 60 mm, and plus lenses that focus at or before the
    cornea.
    """
    if not -AMETROPIA_MOST_D <= spectacle_power_d <= AMETROPIA_MOST_D:
        Domain.refuse(spectacle_power_d=spectacle_power_d)
    if not 0.0 <= vertex_mm <= VERTEX_MOST_MM:
        Domain.refuse(vertex_mm=vertex_mm)
    denominator = 1.0 - vertex_mm * spectacle_power_d / 1000.0
    if denominator <= POLE_MARGIN:
        raise DomainRefusal(
            "spectacle power",
            spectacle_power_d,
            "a lens that does not focus before the cornea",
            example="12",
            reason="vertex too long",
        )
    return spectacle_power_d / denominator


@formula("R = K/(1 + v·K)", unit="D", source="OPTICS-TEXT", kind="memory", domain="1 + v·K > 0.05")
def ametropia_at_ocular_d(refraction_at_cornea_d: float, ocular_to_cornea_mm: float) -> float:
    """The ametropia R in dioptres in the plane of the ocular, ``ocular_to_cornea_mm`` in front of the
    cornea.

    The same formula carries K to a spectacle plane. Refuses K over 100 D, distances over 60 mm, and a far
    point between the ocular and the cornea.
    """
    if not -AMETROPIA_MOST_D <= refraction_at_cornea_d <= AMETROPIA_MOST_D:
        Domain.refuse(refraction_at_cornea_d=refraction_at_cornea_d)
    if not 0.0 <= ocular_to_cornea_mm <= VERTEX_MOST_MM:
        Domain.refuse(ocular_to_cornea_mm=ocular_to_cornea_mm)
    denominator = 1.0 + ocular_to_cornea_mm * refraction_at_cornea_d / 1000.0
    if denominator <= POLE_MARGIN:
        raise DomainRefusal(
            "refraction at the cornea",
            refraction_at_cornea_d,
            "an eye whose far point lies in front of the ocular",
            example="-12",
            reason="this eye sees clearly only between the ocular and the cornea",
        )
    return refraction_at_cornea_d / denominator


@formula("Foc,eff = Foc − R", unit="D", source="SCHWARTZ-12", kind="published", domain="sign of Foc kept")
def effective_ocular_power_d(ocular_power_d: float, ametropia_at_ocular_d: float) -> float:
    """The ocular power in dioptres left for the telescope when the ocular lends R to the eye.

    Refuses powers over 250 000 D, ametropia over 100 D, and an ametropia that uses up the ocular.
    """
    if not -POWER_MOST_D <= ocular_power_d <= POWER_MOST_D:
        Domain.refuse(ocular_power_d=ocular_power_d)
    if not -AMETROPIA_MOST_D <= ametropia_at_ocular_d <= AMETROPIA_MOST_D:
        Domain.refuse(ametropia_at_ocular_d=ametropia_at_ocular_d)
    result = ocular_power_d - ametropia_at_ocular_d
    if result * ocular_power_d <= 0.0:
        raise _refused_lending(ametropia_at_ocular_d)
    return result


@formula(
    "M′ = −(Foc − R)/(Fobj + U)",
    unit="x",
    source="SCHWARTZ-12",
    kind="published",
    domain=_TUBE + ", Fobj + U > 0",
)
def refocused_magnification(
    magnification: float,
    tube_length_mm: float,
    ametropia_at_ocular_d: float = 0.0,
    object_vergence_d: float = 0.0,
) -> float:
    """The signed magnification of a tube refocused by its length for R and for light of
    ``object_vergence_d`` (0 = far).

    It is the gain over the same eye corrected in the ocular plane. Refuses an object at or inside the front
    focus of the objective, an ametropia that uses up the ocular, and a tube that would have to be of no
    length.
    """
    return refocus(magnification, tube_length_mm, ametropia_at_ocular_d, object_vergence_d).magnification


@formula(
    "t′ = 1/(Fobj + U) + 1/(Foc − R)",
    unit="mm",
    source="SCHWARTZ-12",
    kind="published",
    domain=_TUBE + ", t′ > 0",
)
def refocused_tube_length_mm(
    magnification: float,
    tube_length_mm: float,
    ametropia_at_ocular_d: float = 0.0,
    object_vergence_d: float = 0.0,
) -> float:
    """The length in mm of a tube refocused for R and for light of ``object_vergence_d`` (0 = far). Refuses
    as above.

    A myope always shortens the tube, a hyperope lengthens it; a nearer object lengthens it.
    """
    return refocus(magnification, tube_length_mm, ametropia_at_ocular_d, object_vergence_d).tube_length_mm


@formula(
    "M′ = −(Foc − R)/(Fobj + U), t′ = 1/(Fobj + U) + 1/(Foc − R)",
    unit="",
    source="SCHWARTZ-12",
    kind="published",
    domain=_TUBE + ", t′ within the travel",
)
def refocus(
    magnification: float,
    tube_length_mm: float,
    ametropia_at_ocular_d: float = 0.0,
    object_vergence_d: float = 0.0,
    shortest_tube_mm: float = T_LEAST_MM,
    longest_tube_mm: float = T_MOST_MM,
) -> Refocus:
    """Magnification and length of a tube refocused for R and for light of ``object_vergence_d``, within its
    travel.

    ``shortest_tube_mm`` and ``longest_tube_mm`` are the optical lengths between which it can be set.
    Refuses a length outside them, an object at or inside the front focus of the objective, and an ametropia
    that uses up the ocular.
    """
    if not (M_LEAST <= abs(magnification) <= M_MOST and T_LEAST_MM <= tube_length_mm <= T_MOST_MM):
        Domain.refuse(magnification=magnification, tube_length_mm=tube_length_mm)
    if not -AMETROPIA_MOST_D <= ametropia_at_ocular_d <= AMETROPIA_MOST_D:
        Domain.refuse(ametropia_at_ocular_d=ametropia_at_ocular_d)
    if not -VERGENCE_MOST_D <= object_vergence_d <= VERGENCE_MOST_D:
        Domain.refuse(object_vergence_d=object_vergence_d)
    ocular = 1000.0 * (1.0 - magnification) / tube_length_mm
    objective = -ocular / magnification
    ocular_left = ocular - ametropia_at_ocular_d
    collecting = objective + object_vergence_d
    if collecting <= POLE_MARGIN * objective:
        raise DomainRefusal(
            "object distance",
            distance_words(object_vergence_d),
            f"objects farther than {1000.0 / objective / (1.0 - POLE_MARGIN):.4g} mm from the objective",
            reason="the object is inside the focal length of the objective: no tube length focuses it",
        )
    if ocular_left / ocular <= POLE_MARGIN:
        raise _refused_lending(ametropia_at_ocular_d)
    length = 1000.0 / collecting + 1000.0 / ocular_left
    if not shortest_tube_mm <= length <= longest_tube_mm:
        raise DomainRefusal(
            "refocused tube length",
            length,
            f"{shortest_tube_mm:.4g} to {longest_tube_mm:.4g} mm",
            reason="the tube cannot be focused so far: correct behind the ocular, or add a cap",
        )
    return Refocus(-ocular_left / collecting, length, length - tube_length_mm)


@formula("F = R/(M² + t·M·R)", unit="D", source="", kind="derived", domain=_TUBE + ", 1 + t·R/M > 0.05")
def objective_correction_d(
    magnification: float, tube_length_mm: float, ametropia_at_ocular_d: float
) -> float:
    """The lens in dioptres at the objective that does the work of R at the ocular; about R/M².

    Refuses an ametropia that no lens in front of this tube can correct.
    """
    if not (M_LEAST <= abs(magnification) <= M_MOST and T_LEAST_MM <= tube_length_mm <= T_MOST_MM):
        Domain.refuse(magnification=magnification, tube_length_mm=tube_length_mm)
    if not -AMETROPIA_MOST_D <= ametropia_at_ocular_d <= AMETROPIA_MOST_D:
        Domain.refuse(ametropia_at_ocular_d=ametropia_at_ocular_d)
    share = 1.0 + tube_length_mm * ametropia_at_ocular_d / (1000.0 * magnification)
    if share <= POLE_MARGIN:
        raise DomainRefusal(
            "ametropia at the ocular",
            ametropia_at_ocular_d,
            "a weaker ametropia, or a correction behind the ocular",
            reason="no lens in front of this tube can make its light fit this eye",
        )
    return ametropia_at_ocular_d / (magnification * magnification * share)


@formula("Dxp′ = Dobj·|exp′|/t′", unit="mm", source="", kind="derived", domain="objective rim is the stop")
def refocused_exit_pupil_diameter_mm(
    magnification: float, tube_length_mm: float, objective_diameter_mm: float, actual_tube_length_mm: float
) -> float:
    """The exit-pupil diameter in mm of a tube, given as set afocal, after refocusing to another length."""
    return refocused_exit_pupil(
        magnification, tube_length_mm, objective_diameter_mm, actual_tube_length_mm
    ).diameter_mm


@formula(
    "exp′ = 1/(Foc − 1/t′), Dxp′ = Dobj·|exp′|/t′",
    unit="",
    source="",
    kind="derived",
    domain="objective rim is the stop",
)
def refocused_exit_pupil(
    magnification: float, tube_length_mm: float, objective_diameter_mm: float, actual_tube_length_mm: float
) -> ExitPupil:
    """Place (mm from the ocular, plus behind) and diameter (mm) of the exit pupil of a refocused tube.

    Refuses diameters outside 0.1 to 500 mm and a Keplerian too short for a real exit pupil.
    """
    if not DIAMETER_LEAST_MM <= objective_diameter_mm <= DIAMETER_MOST_MM:
        Domain.refuse(objective_diameter_mm=objective_diameter_mm)
    distance = exit_pupil_distance_mm(magnification, tube_length_mm, actual_tube_length_mm)
    return ExitPupil(distance, objective_diameter_mm * abs(distance) / actual_tube_length_mm)


@formula("100·(R_left − R_right)/Foc", unit="%", source="", kind="derived", domain=_TUBE)
def refocused_aniseikonia_percent(
    magnification: float, tube_length_mm: float, ametropia_right_d: float, ametropia_left_d: float
) -> float:
    """By how many per cent of M the right image is larger (plus) when two equal tubes are refocused for
    unequal eyes.

    Both ametropias count at the ocular. Unequal corrections belong behind the oculars, where this is 0.
    """
    if not (M_LEAST <= abs(magnification) <= M_MOST and T_LEAST_MM <= tube_length_mm <= T_MOST_MM):
        Domain.refuse(magnification=magnification, tube_length_mm=tube_length_mm)
    for ametropia in (ametropia_right_d, ametropia_left_d):
        if not -AMETROPIA_MOST_D <= ametropia <= AMETROPIA_MOST_D:
            Domain.refuse(ametropia_at_ocular_d=ametropia)
    return tube_length_mm * (ametropia_left_d - ametropia_right_d) / (10.0 * (1.0 - magnification))


@formula(
    "in front: M²·F/(1 − t·M·F); behind: F",
    unit="D",
    source="",
    kind="derived",
    domain=_TUBE + ", 1 − t·M·F > 0.05",
)
def over_refraction_effect_d(
    magnification: float, tube_length_mm: float, over_refraction_d: float, in_front: bool
) -> float:
    """What a trial lens does at the ocular, in dioptres: about M²-fold in front of the objective, once
    behind the ocular.
    """
    if in_front:
        return trial_lens_bvp_d(magnification, tube_length_mm, over_refraction_d)
    if not (M_LEAST <= abs(magnification) <= M_MOST and T_LEAST_MM <= tube_length_mm <= T_MOST_MM):
        Domain.refuse(magnification=magnification, tube_length_mm=tube_length_mm)
    if not -AMETROPIA_MOST_D <= over_refraction_d <= AMETROPIA_MOST_D:
        Domain.refuse(over_refraction_d=over_refraction_d)
    return over_refraction_d


@formula("E = √[(S² + (S + C)²)/2]", unit="D", source="", kind="derived", domain="|S|, |C| up to 100 D")
def residual_defocus_d(residual_sphere_d: float, residual_cylinder_d: float = 0.0) -> float:
    """The defocus in dioptres that blurs like an uncorrected sphere and cylinder: the root mean square of
    both meridians.

    Either cylinder form gives the same number; at best sphere it is half the cylinder. The tube does not
    reduce the blur of a residual cylinder at the eye. Refuses more than 100 D.
    """
    if not -AMETROPIA_MOST_D <= residual_sphere_d <= AMETROPIA_MOST_D:
        Domain.refuse(residual_sphere_d=residual_sphere_d)
    if not -AMETROPIA_MOST_D <= residual_cylinder_d <= AMETROPIA_MOST_D:
        Domain.refuse(residual_cylinder_d=residual_cylinder_d)
    other = residual_sphere_d + residual_cylinder_d
    return sqrt((residual_sphere_d * residual_sphere_d + other * other) / 2.0)


@formula("w = −(M² + t·M·R)/R", unit="mm", source="", kind="derived", domain=_TUBE + ", R ≤ 0")
def uncorrected_far_point_mm(
    magnification: float, tube_length_mm: float, ametropia_at_ocular_d: float
) -> float | None:
    """Where the relaxed, uncorrected eye sees clearly through an afocal tube, in mm from the objective;
    None is infinity.

    Refuses a hyperope, who has no such place, and a myope whose far point lies at or inside the objective.
    """
    if ametropia_at_ocular_d > 0.0:
        raise DomainRefusal(
            "ametropia at the ocular",
            ametropia_at_ocular_d,
            "0 or less",
            reason="the relaxed hyperopic eye sees no real object clearly through a tube set afocal",
        )
    vergence = objective_correction_d(magnification, tube_length_mm, ametropia_at_ocular_d)
    return None if vergence > -INFINITY_D else -1000.0 / vergence


def _refused_lending(ametropia_at_ocular_d: float) -> DomainRefusal:
    return DomainRefusal(
        "ametropia at the ocular",
        ametropia_at_ocular_d,
        "an ametropia well below the power of the ocular",
        reason="refocusing would use up the power of the ocular: correct behind it",
    )
