"""A telescope of two thin lenses, set afocal: powers, length and pupils, given, computed or measured at the
chair.

Sign convention and units as in the package. ``magnification`` is signed: plus Galilean, minus Keplerian,
with or without an erecting prism. For a tube of thick or many elements put its matrix element B in place of
the tube length.
"""

from __future__ import annotations

from typing import NamedTuple

from ..errors import DomainRefusal
from ..formula import formula
from ._domain import (
    DIAMETER_LEAST_MM,
    DIAMETER_MOST_MM,
    M_LEAST,
    M_MOST,
    OBJECTIVE_LEAST_D,
    OBJECTIVE_MOST_D,
    POLE_MARGIN,
    T_LEAST_MM,
    T_MOST_MM,
    Domain,
    check,
)
from .measuring import (
    magnification_from_diameters,
    magnification_from_image_sizes,
    magnification_from_trial_lens,
    marked_power_agrees,
    marked_power_deviation_percent,
    size_ratio_at_eye,
    trial_lens_bvp_d,
    tube_length_from_exit_pupil_mm,
)

__all__ = [
    "ExitPupil",
    "ThinTelescope",
    "exit_pupil",
    "exit_pupil_diameter_mm",
    "exit_pupil_distance_mm",
    "magnification",
    "magnification_from_diameters",
    "magnification_from_image_sizes",
    "magnification_from_objective",
    "magnification_from_trial_lens",
    "marked_power_agrees",
    "marked_power_deviation_percent",
    "objective_focal_length_mm",
    "objective_is_fast",
    "objective_power_d",
    "ocular_focal_length_mm",
    "ocular_image_distance_mm",
    "ocular_image_magnification",
    "ocular_power_d",
    "ocular_travel_mm",
    "seen_magnification",
    "size_ratio_at_eye",
    "telescope_from_powers",
    "trial_lens_bvp_d",
    "tube_length_from_exit_pupil_mm",
    "tube_length_mm",
]

# Common practice: a diameter over this share of the focal length is more likely a slip of the pen than a lens.
FAST_OBJECTIVE_RATIO = 1.1
_TUBE = "1.05 ≤ |M| ≤ 100, 0.5 ≤ t ≤ 1000 mm"


class ExitPupil(NamedTuple):
    """The exit pupil: ``distance_mm`` from the ocular (plus behind it, towards the eye) and
    ``diameter_mm``.
    """

    distance_mm: float
    diameter_mm: float


class ThinTelescope(NamedTuple):
    """An afocal tube in full: signed magnification, length in mm, and both lens powers in dioptres."""

    magnification: float
    tube_length_mm: float
    objective_power_d: float
    ocular_power_d: float


@formula(
    "M = −Foc/Fobj", unit="x", source="SCHWARTZ-12", kind="published", domain="Fobj > 0, 1.05 ≤ |M| ≤ 100"
)
def magnification(objective_power_d: float, ocular_power_d: float) -> float:
    """The signed angular magnification from the two lens powers in dioptres; minus for a Keplerian (ocular
    plus).

    Refuses an objective outside 0.05 to 3900 D and a result outside 1.05x to 100x.
    """
    if not OBJECTIVE_LEAST_D <= objective_power_d <= OBJECTIVE_MOST_D:
        Domain.refuse(objective_power_d=objective_power_d)
    result = -ocular_power_d / objective_power_d
    if not M_LEAST <= abs(result) <= M_MOST:
        Domain.refuse(magnification=result)
    return result


@formula(
    "t = 1/Fobj + 1/Foc", unit="mm", source="SCHWARTZ-12", kind="published", domain="Fobj > 0, |Foc| > Fobj"
)
def tube_length_mm(objective_power_d: float, ocular_power_d: float) -> float:
    """The separation in mm at which two thin lenses (dioptres) are afocal. Refuses as
    :func:`magnification`, and under 0.5 mm or over 1 m.
    """
    magnification(objective_power_d, ocular_power_d)
    result = 1000.0 / objective_power_d + 1000.0 / ocular_power_d
    if not T_LEAST_MM <= result <= T_MOST_MM:
        Domain.refuse(tube_length_mm=result)
    return result


@formula(
    "M, t from Fobj, Foc", unit="", source="SCHWARTZ-12", kind="published", domain="Fobj > 0, |Foc| > Fobj"
)
def telescope_from_powers(objective_power_d: float, ocular_power_d: float) -> ThinTelescope:
    """Magnification and length of the afocal tube of two lenses given in dioptres, with the lenses."""
    return ThinTelescope(
        magnification(objective_power_d, ocular_power_d),
        tube_length_mm(objective_power_d, ocular_power_d),
        objective_power_d,
        ocular_power_d,
    )


@formula(
    "M = 1/(1 − t·Fobj)", unit="x", source="SCHWARTZ-12", kind="published", domain="t·Fobj not near 0 or 1"
)
def magnification_from_objective(objective_power_d: float, tube_length_mm: float) -> float:
    """The signed magnification of an afocal tube from its objective (dioptres) and its length in mm.

    Refuses an objective outside 0.05 to 3900 D, and a length that makes under 1.05x or over 100x.
    """
    if not OBJECTIVE_LEAST_D <= objective_power_d <= OBJECTIVE_MOST_D:
        Domain.refuse(objective_power_d=objective_power_d)
    if not T_LEAST_MM <= tube_length_mm <= T_MOST_MM:
        Domain.refuse(tube_length_mm=tube_length_mm)
    inverse = 1.0 - tube_length_mm * objective_power_d / 1000.0
    if not 1.0 / M_MOST <= abs(inverse) <= 1.0 / M_LEAST:
        raise DomainRefusal(
            "tube length",
            tube_length_mm,
            "a length at which this objective makes a telescope of 1.05x to 100x",
            reason="an ocular there would stand too close to the objective, or to its focus",
        )
    return 1.0 / inverse


@formula("f′obj = t·M/(M − 1)", unit="mm", source="SMITH-289", kind="published", domain=_TUBE)
def objective_focal_length_mm(magnification: float, tube_length_mm: float) -> float:
    """The second focal length in mm of the objective, always plus. Refuses |M| < 1.05 and t outside 0.5 to
    1000 mm.
    """
    if not (M_LEAST <= abs(magnification) <= M_MOST and T_LEAST_MM <= tube_length_mm <= T_MOST_MM):
        Domain.refuse(magnification=magnification, tube_length_mm=tube_length_mm)
    return tube_length_mm * magnification / (magnification - 1.0)


@formula("f′oc = t/(1 − M)", unit="mm", source="SMITH-289", kind="published", domain=_TUBE)
def ocular_focal_length_mm(magnification: float, tube_length_mm: float) -> float:
    """The second focal length in mm of the ocular, minus in a Galilean. Refuses |M| < 1.05 and t outside
    0.5 to 1000 mm.
    """
    if not (M_LEAST <= abs(magnification) <= M_MOST and T_LEAST_MM <= tube_length_mm <= T_MOST_MM):
        Domain.refuse(magnification=magnification, tube_length_mm=tube_length_mm)
    return tube_length_mm / (1.0 - magnification)


@formula("Dobj > 1.1·f′obj", unit="", source="", kind="derived", domain=_TUBE)
def objective_is_fast(magnification: float, tube_length_mm: float, objective_diameter_mm: float) -> bool:
    """Whether the objective would have to be faster than f/0.9, so that a typed size or power is to be confirmed.

    Lengths in mm. Refuses |M| < 1.05, t outside 0.5 to 1000 mm and diameters outside 0.1 to 500 mm.
    """
    if not DIAMETER_LEAST_MM <= objective_diameter_mm <= DIAMETER_MOST_MM:
        Domain.refuse(objective_diameter_mm=objective_diameter_mm)
    focal_length = objective_focal_length_mm(magnification, tube_length_mm)
    return objective_diameter_mm > FAST_OBJECTIVE_RATIO * focal_length


@formula("Fobj = (M − 1)/(t·M)", unit="D", source="SMITH-289", kind="published", domain=_TUBE)
def objective_power_d(magnification: float, tube_length_mm: float) -> float:
    """The power in dioptres of the thin objective of an afocal tube, always plus. Refuses |M| < 1.05."""
    if not (M_LEAST <= abs(magnification) <= M_MOST and T_LEAST_MM <= tube_length_mm <= T_MOST_MM):
        Domain.refuse(magnification=magnification, tube_length_mm=tube_length_mm)
    return 1000.0 * (magnification - 1.0) / (tube_length_mm * magnification)


@formula("Foc = (1 − M)/t", unit="D", source="SMITH-289", kind="published", domain=_TUBE)
def ocular_power_d(magnification: float, tube_length_mm: float) -> float:
    """The power in dioptres of the thin ocular of an afocal tube, minus in a Galilean. Refuses |M| < 1.05."""
    if not (M_LEAST <= abs(magnification) <= M_MOST and T_LEAST_MM <= tube_length_mm <= T_MOST_MM):
        Domain.refuse(magnification=magnification, tube_length_mm=tube_length_mm)
    return 1000.0 * (1.0 - magnification) / tube_length_mm


@formula("exp = −t/M; refocused: 1/(Foc − 1/t′)", unit="mm", source="", kind="derived", domain=_TUBE)
def exit_pupil_distance_mm(
    magnification: float, tube_length_mm: float, actual_tube_length_mm: float | None = None
) -> float:
    """The place of the exit pupil (image of the objective) from the ocular in mm, plus behind it, minus
    inside the tube.

    Give ``actual_tube_length_mm`` when the tube has been refocused: the afocal rule no longer holds then.
    Refuses |M| < 1.05, t outside 0.5 to 1000 mm and a Keplerian shortened so far that the ocular forms no
    real exit pupil.
    """
    if not (M_LEAST <= abs(magnification) <= M_MOST and T_LEAST_MM <= tube_length_mm <= T_MOST_MM):
        Domain.refuse(magnification=magnification, tube_length_mm=tube_length_mm)
    if actual_tube_length_mm is None:
        return -tube_length_mm / magnification
    if not T_LEAST_MM <= actual_tube_length_mm <= T_MOST_MM:
        Domain.refuse(magnification=magnification, tube_length_mm=actual_tube_length_mm)
    # 1/(Foc − 1/t′) with Foc = (1 − M)/t, brought to one fraction so that a short t′ does no harm.
    denominator = actual_tube_length_mm * (1.0 - magnification) / tube_length_mm - 1.0
    if magnification < 0.0 and denominator <= POLE_MARGIN:
        raise DomainRefusal(
            "tube length in use",
            actual_tube_length_mm,
            f"more than the ocular's focal length of {tube_length_mm / (1.0 - magnification):.4g} mm",
            reason="this tube is too short to form an exit pupil behind the ocular",
        )
    return actual_tube_length_mm / denominator


@formula(
    "Dxp = Dobj/|M|",
    unit="mm",
    source="SMITH-290",
    kind="published",
    domain="objective rim is the stop, tube afocal",
)
def exit_pupil_diameter_mm(objective_diameter_mm: float, magnification: float) -> float:
    """The exit-pupil diameter in mm of an afocal tube. Refuses |M| < 1.05 and diameters outside 0.1 to 500
    mm.
    """
    if not M_LEAST <= abs(magnification) <= M_MOST:
        Domain.refuse(magnification=magnification)
    if not DIAMETER_LEAST_MM <= objective_diameter_mm <= DIAMETER_MOST_MM:
        Domain.refuse(objective_diameter_mm=objective_diameter_mm)
    return objective_diameter_mm / abs(magnification)


@formula("exp = −t/M, Dxp = Dobj/|M|", unit="", source="SMITH-290", kind="published", domain="tube afocal")
def exit_pupil(magnification: float, tube_length_mm: float, objective_diameter_mm: float) -> ExitPupil:
    """Place (mm from the ocular, plus behind) and diameter (mm) of the exit pupil of an afocal tube."""
    return ExitPupil(
        exit_pupil_distance_mm(magnification, tube_length_mm),
        exit_pupil_diameter_mm(objective_diameter_mm, magnification),
    )


@formula("l′ = −M·t", unit="mm", source="SCHWARTZ-A1", kind="published", domain=_TUBE)
def ocular_image_distance_mm(magnification: float, tube_length_mm: float) -> float:
    """Where the ocular is seen from the front, in mm from the objective against the object: minus is behind
    it (virtual).
    """
    if not (M_LEAST <= abs(magnification) <= M_MOST and T_LEAST_MM <= tube_length_mm <= T_MOST_MM):
        Domain.refuse(magnification=magnification, tube_length_mm=tube_length_mm)
    return -magnification * tube_length_mm


@formula("m = M", unit="x", source="SCHWARTZ-A1", kind="published", domain=_TUBE)
def ocular_image_magnification(magnification: float) -> float:
    """How many times larger the ocular is seen from the front than it is (lateral magnification, signed)."""
    if not M_LEAST <= abs(magnification) <= M_MOST:
        Domain.refuse(magnification=magnification)
    return magnification


@formula("travel = x·f′oc²", unit="mm", source="SMITH-290", kind="published", domain="small x·f′oc")
def ocular_travel_mm(ocular_focal_length_mm: float, change_d: float) -> float:
    """How far the ocular moves, in mm, to change the emerging vergence by ``change_d`` dioptres (first
    order).

    Plus moves it away from the objective for a hyperope. Refuses focal lengths outside 1 to 1000 mm (either
    sign) and changes over 100 D; for large changes use the refocused tube length instead.
    """
    check(ocular_focal_length_mm=ocular_focal_length_mm, change_d=change_d)
    return change_d * ocular_focal_length_mm * ocular_focal_length_mm / 1000.0


@formula(
    "as seen: −M with an erecting prism, else M", unit="x", source="", kind="common practice", domain=_TUBE
)
def seen_magnification(magnification: float, erecting_prism: bool) -> float:
    """The magnification with the sign the wearer sees (plus = upright). Use it for the picture, never for
    focus.
    """
    if not M_LEAST <= abs(magnification) <= M_MOST:
        Domain.refuse(magnification=magnification)
    return -magnification if erecting_prism else magnification
