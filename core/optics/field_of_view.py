"""A field with everything it hangs on, and the choice between a measured and a nominal figure.

A nominal field from magnification, tube length and diameters is paraxial: real strong lenses differ by tens of per
cent near the rim. So a measured field, exit pupil or power takes precedence, and the result says which was used.
"""

from __future__ import annotations

from math import atan, degrees, radians, tan
from typing import Literal, NamedTuple

from ..errors import DomainRefusal
from ..formula import formula
from ._domain import EYE_DISTANCE_MOST_MM, FIELD_MOST_DEG, LARGEST, M_LEAST, M_MOST, SMALLEST, Domain
from .field import Criterion, apparent_field_deg, lit_fraction_on_axis, ocular_limit_deg, real_field_deg

Basis = Literal["nominal", "measured"]
Limit = Literal["objective", "ocular", "field stop", "keyhole", "as measured"]


class FieldOfView(NamedTuple):
    """A field with everything that it hangs on.

    ``limited_by`` is the aperture that rules; ``lit_on_axis`` the part of the eye pupil that is lit in the middle of
    the field (1 unless the objective is the stop); ``basis`` says whether the figure was computed or measured.
    """

    real_field_deg: float
    apparent_field_deg: float
    criterion: Criterion | Literal["measured"]
    eye_distance_mm: float
    pupil_mm: float
    limited_by: Limit
    lit_on_axis: float
    basis: Basis


class ValueInUse(NamedTuple):
    """A number and whether it is the measured one or the nominal one."""

    value: float
    basis: Basis


@formula(
    "the smaller of the objective's and the ocular's field by one criterion",
    unit="deg",
    source="SMITH-298",
    kind="derived",
    domain="M ≥ 1.05 (Galilean)",
)
def galilean_field(
    magnification: float,
    tube_length_mm: float,
    objective_diameter_mm: float,
    eye_distance_mm: float,
    pupil_mm: float,
    criterion: Criterion = "half",
    ocular_diameter_mm: float | None = None,
) -> FieldOfView:
    """The nominal field with its criterion, eye distance, pupil and the aperture that rules; lengths in mm."""
    real = real_field_deg(
        magnification, tube_length_mm, objective_diameter_mm, eye_distance_mm, pupil_mm, criterion
    )
    apparent = apparent_field_deg(
        magnification, tube_length_mm, objective_diameter_mm, eye_distance_mm, pupil_mm, criterion
    )
    lit = lit_fraction_on_axis(magnification, objective_diameter_mm, pupil_mm)
    limited_by: Limit = "objective"
    if ocular_diameter_mm is not None:
        allowed = ocular_limit_deg(ocular_diameter_mm, eye_distance_mm, pupil_mm, criterion)
        if allowed < apparent:
            limited_by = "ocular"
            apparent = allowed
            real = degrees(2.0 * atan(tan(radians(0.5 * allowed)) / magnification))
    return FieldOfView(real, apparent, criterion, eye_distance_mm, pupil_mm, limited_by, lit, "nominal")


@formula(
    "measured value if there is one, else nominal", unit="", source="", kind="derived", domain="finite, not 0"
)
def value_in_use(nominal: float, measured: float | None = None) -> ValueInUse:
    """A measured exit pupil, power or length takes precedence over the nominal one; the result says which it is.

    Refuses a measured value that is 0 or not finite; signs are kept.
    """
    if measured is None:
        return ValueInUse(nominal, "nominal")
    if not (-LARGEST < measured < LARGEST) or measured == 0.0:
        raise DomainRefusal(
            "measured value", measured, "a finite number that is not 0, or no value at all", example="2.1"
        )
    return ValueInUse(measured, "measured")


@formula(
    "measured field if there is one, else nominal; tan(apparent/2) = |M| tan(real/2)",
    unit="deg",
    source="",
    kind="derived",
    domain="0 < measured field ≤ 170 deg; |M| ≥ 1.05",
)
def field_in_use(
    nominal: FieldOfView,
    magnification: float,
    measured_field_deg: float | None = None,
    measured_eye_distance_mm: float | None = None,
    measured_criterion: Criterion | None = None,
) -> FieldOfView:
    """The field to show: a measured real field (degrees) takes precedence over the nominal, paraxial one.

    The eye distance (mm) at which it was measured goes along; left out, it was measured on this face. A measurement
    whose criterion is not known carries the word "measured" in its place.
    """
    if measured_field_deg is None:
        return nominal
    size = abs(magnification)
    distance_mm = nominal.eye_distance_mm if measured_eye_distance_mm is None else measured_eye_distance_mm
    if not (
        SMALLEST < measured_field_deg <= FIELD_MOST_DEG
        and M_LEAST <= size <= M_MOST
        and 0.0 <= distance_mm <= EYE_DISTANCE_MOST_MM
    ):
        Domain.refuse(
            measured_field_deg=measured_field_deg, magnification=magnification, eye_distance_mm=distance_mm
        )
    return FieldOfView(
        measured_field_deg,
        degrees(2.0 * atan(size * tan(radians(0.5 * measured_field_deg)))),
        measured_criterion or "measured",
        distance_mm,
        nominal.pupil_mm,
        "as measured",
        nominal.lit_on_axis,
        "measured",
    )
