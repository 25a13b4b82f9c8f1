"""The field of any upright tube given by its ray matrix: thick lenses, many elements, or refocused.

The aperture is at the front vertex, the eye pupil behind the back vertex, the object far away.
"""

from __future__ import annotations

from math import atan, degrees

from ..errors import DomainRefusal
from ..formula import formula
from ._domain import (
    DIAMETER_LEAST_MM,
    DIAMETER_MOST_MM,
    EYE_DISTANCE_MOST_MM,
    PUPIL_LEAST_MM,
    PUPIL_MOST_MM,
    Domain,
)
from .field import Criterion, _bad_criterion
from .rays import RayMatrix

# A matrix whose determinant differs more from 1 does not describe a tube between air and air.
DETERMINANT_TOLERANCE = 1e-3


def _refused(system: RayMatrix, accepted: str, reason: str = "") -> DomainRefusal:
    shown = f"A {system.a:g}, B {system.b_mm:g} mm, C {system.c_d:g} D, D {system.d:g}"
    example = "A 0.5, B 24 mm, C 0 D, D 2"
    return DomainRefusal("ray matrix of the tube", shown, accepted, example=example, reason=reason)


def _half_slopes(
    system: RayMatrix,
    objective_diameter_mm: float,
    eye_distance_mm: float,
    pupil_mm: float | None,
    criterion: Criterion,
) -> tuple[float, float]:
    """Half slope in object space, and the one under which the pupil's centre sees it."""
    if not (
        DIAMETER_LEAST_MM <= objective_diameter_mm <= DIAMETER_MOST_MM
        and 0.0 <= eye_distance_mm <= EYE_DISTANCE_MOST_MM
    ):
        Domain.refuse(objective_diameter_mm=objective_diameter_mm, eye_distance_mm=eye_distance_mm)
    if not abs(system.determinant - 1.0) <= DETERMINANT_TOLERANCE:
        raise _refused(system, "a matrix with A D − B C = 1")
    spread = system.a + 0.001 * eye_distance_mm * system.c_d
    reach_mm = system.b_mm + eye_distance_mm * system.d
    if not (spread > 0.0 and reach_mm > 0.0):
        raise _refused(
            system,
            "an upright tube whose objective is seen as a window in front of the eye",
            "the field of an inverting tube is set by its field stop and exit pupil",
        )
    # Parallel light from one direction makes a disc of this width in the plane of the eye pupil.
    width_mm = spread * objective_diameter_mm
    if criterion != "half":
        if criterion not in ("full", "total"):
            raise _bad_criterion(criterion)
        if pupil_mm is None or not PUPIL_LEAST_MM <= pupil_mm <= PUPIL_MOST_MM:
            Domain.refuse(pupil_mm=pupil_mm)
        width_mm = width_mm + pupil_mm if criterion == "total" else max(0.0, width_mm - pupil_mm)
    slope = width_mm / (2.0 * reach_mm)
    return slope, slope / spread


@formula(
    "tan(real/2) = [(A + d C) Dobj + (2v − 1) p] / [2 (B + d D)]",
    unit="deg",
    source="",
    kind="derived",
    domain="A D − B C = 1; A + d C and B + d D more than 0; object at infinity",
)
def real_field_general_deg(
    system: RayMatrix,
    objective_diameter_mm: float,
    eye_distance_mm: float,
    pupil_mm: float | None = None,
    criterion: Criterion = "half",
) -> float:
    """Real field, degrees, of any upright tube given by its ray matrix from front vertex to back vertex.

    With C = 0 it equals the Galilean :func:`.field.real_field_deg` with B in place of the tube length; a refocused
    tube is welcome. Refuses a matrix whose determinant is not 1 and an inverting tube.
    """
    slope, _ = _half_slopes(system, objective_diameter_mm, eye_distance_mm, pupil_mm, criterion)
    return degrees(2.0 * atan(slope))


@formula(
    "tan(apparent/2) = tan(real/2) / (A + d C)",
    unit="deg",
    source="",
    kind="derived",
    domain="A D − B C = 1; A + d C and B + d D more than 0; object at infinity",
)
def apparent_field_general_deg(
    system: RayMatrix,
    objective_diameter_mm: float,
    eye_distance_mm: float,
    pupil_mm: float | None = None,
    criterion: Criterion = "half",
) -> float:
    """Apparent field, degrees, seen from the centre of the eye pupil; arguments as the real field."""
    _, slope = _half_slopes(system, objective_diameter_mm, eye_distance_mm, pupil_mm, criterion)
    return degrees(2.0 * atan(slope))
