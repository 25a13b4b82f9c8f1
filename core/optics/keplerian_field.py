"""The field of one Keplerian tube: field stop, ocular, and the exit pupil that the eye must meet.

The objective is the stop. An erecting prism changes nothing here, so everything counts with |M|. The eye belongs at
the exit pupil, t/|M| behind the ocular; off it along the axis the field closes to a keyhole, off it sideways the
picture dims and goes black, without moving.
"""

from __future__ import annotations

from math import atan, degrees, radians, tan

from ..errors import DomainRefusal
from ..formula import formula
from ._domain import (
    DIAMETER_LEAST_MM,
    DIAMETER_MOST_MM,
    EYE_DISTANCE_MOST_MM,
    FIELD_MOST_DEG,
    LARGEST,
    M_LEAST,
    M_MOST,
    PUPIL_LEAST_MM,
    PUPIL_MOST_MM,
    SMALLEST,
    T_LEAST_MM,
    T_MOST_MM,
    Domain,
)
from .field import Criterion, _bad_criterion, _lit_part, lit_fraction_on_axis
from .field_of_view import FieldOfView, Limit


@formula(
    "tan(real/2) = Dfs / (2 f'obj)", unit="deg", source="", kind="derived", domain="Dfs, f'obj more than 0 mm"
)
def real_field_field_stop_deg(field_stop_mm: float, objective_focal_length_mm: float) -> float:
    """Real field, whole angle in degrees, that the stop at the first image cuts out; diameters and lengths in mm."""
    if not (SMALLEST < field_stop_mm < LARGEST and SMALLEST < objective_focal_length_mm < LARGEST):
        Domain.refuse(field_stop_mm=field_stop_mm, objective_focal_length_mm=objective_focal_length_mm)
    return degrees(2.0 * atan(field_stop_mm / (2.0 * objective_focal_length_mm)))


@formula(
    "tan(apparent/2) = |M| Dfs / (2 f'obj)",
    unit="deg",
    source="",
    kind="derived",
    domain="Dfs, f'obj more than 0 mm; |M| ≥ 1.05",
)
def apparent_field_field_stop_deg(
    field_stop_mm: float, objective_focal_length_mm: float, magnification: float
) -> float:
    """Apparent field, degrees, of a tube with a field stop: the tangents, not the degrees, grow by |M|."""
    size = abs(magnification)
    if not (
        SMALLEST < field_stop_mm < LARGEST
        and SMALLEST < objective_focal_length_mm < LARGEST
        and M_LEAST <= size <= M_MOST
    ):
        Domain.refuse(
            field_stop_mm=field_stop_mm,
            objective_focal_length_mm=objective_focal_length_mm,
            magnification=magnification,
        )
    return degrees(2.0 * atan(size * field_stop_mm / (2.0 * objective_focal_length_mm)))


def _refuse_lenses(
    objective_diameter: float,
    ocular_diameter: float,
    objective_focal_length: float,
    ocular_focal_length: float,
) -> None:
    if not (
        SMALLEST < objective_diameter < LARGEST
        and SMALLEST < ocular_diameter < LARGEST
        and SMALLEST < objective_focal_length < LARGEST
        and SMALLEST < ocular_focal_length < LARGEST
    ):
        Domain.refuse(
            objective_diameter=objective_diameter,
            ocular_diameter=ocular_diameter,
            objective_focal_length=objective_focal_length,
            ocular_focal_length=ocular_focal_length,
        )


@formula(
    "Doc / (2 t), t = f'obj + f'oc",
    unit="rad",
    source="SMITH-296",
    kind="published",
    domain="no field stop; all more than 0, in one unit",
)
def keplerian_half_field_chief_rad(
    objective_diameter: float,
    ocular_diameter: float,
    objective_focal_length: float,
    ocular_focal_length: float,
) -> float:
    """Half field in object space where the chief ray grazes the ocular, radians (slope); lengths in any one unit."""
    _refuse_lenses(objective_diameter, ocular_diameter, objective_focal_length, ocular_focal_length)
    return ocular_diameter / (2.0 * (objective_focal_length + ocular_focal_length))


@formula(
    "(Doc f'obj + Dobj f'oc) / (2 t f'obj)",
    unit="rad",
    source="SMITH-297",
    kind="published",
    domain="no field stop; all more than 0, in one unit",
)
def keplerian_half_field_last_rad(
    objective_diameter: float,
    ocular_diameter: float,
    objective_focal_length: float,
    ocular_focal_length: float,
) -> float:
    """Half field in object space where the last ray passes the ocular, radians (slope); lengths in any one unit."""
    _refuse_lenses(objective_diameter, ocular_diameter, objective_focal_length, ocular_focal_length)
    length = objective_focal_length + ocular_focal_length
    passed = ocular_diameter * objective_focal_length + objective_diameter * ocular_focal_length
    return passed / (2.0 * length * objective_focal_length)


@formula(
    "(Doc f'obj − Dobj f'oc) / (2 t f'obj), not below 0",
    unit="rad",
    source="SMITH-296",
    kind="derived",
    domain="no field stop; all more than 0, in one unit",
)
def keplerian_half_field_full_rad(
    objective_diameter: float,
    ocular_diameter: float,
    objective_focal_length: float,
    ocular_focal_length: float,
) -> float:
    """Half field in object space over which all of the objective is seen, radians (slope); 0 if the ocular is small."""
    _refuse_lenses(objective_diameter, ocular_diameter, objective_focal_length, ocular_focal_length)
    length = objective_focal_length + ocular_focal_length
    passed = ocular_diameter * objective_focal_length - objective_diameter * ocular_focal_length
    return max(0.0, passed / (2.0 * length * objective_focal_length))


def _refuse_pupils(exit_pupil_diameter_mm: float, pupil_mm: float) -> None:
    if not (
        DIAMETER_LEAST_MM <= exit_pupil_diameter_mm <= DIAMETER_MOST_MM
        and PUPIL_LEAST_MM <= pupil_mm <= PUPIL_MOST_MM
    ):
        Domain.refuse(exit_pupil_diameter_mm=exit_pupil_diameter_mm, pupil_mm=pupil_mm)


def _offset_mm(eye_offset_mm: float) -> float:
    if not -LARGEST < eye_offset_mm < LARGEST:
        Domain.refuse(eye_offset_mm=eye_offset_mm)
    if -SMALLEST <= eye_offset_mm <= SMALLEST:
        raise DomainRefusal(
            "distance of the eye from the exit pupil",
            eye_offset_mm,
            "any distance other than 0 mm",
            example="-3",
            reason="with the eye at the exit pupil there is no keyhole, and the field stop or ocular rules",
        )
    return abs(eye_offset_mm)


@formula(
    "full |Dxp − p| / (2|z|); half Dxp / (2|z|); total (Dxp + p) / (2|z|)",
    unit="slope",
    source="",
    kind="derived",
    domain="Dxp, p more than 0 mm; z not 0",
)
def keyhole_slope(
    exit_pupil_diameter_mm: float, pupil_mm: float, eye_offset_mm: float, criterion: Criterion = "half"
) -> float:
    """Slope of the apparent half field that is left when the eye stands off the exit pupil by z mm (either way).

    ``full``: all of the smaller disc; ``half``: the pupil's centre lit; ``total``: any light at all.
    """
    _refuse_pupils(exit_pupil_diameter_mm, pupil_mm)
    reach_mm = 2.0 * _offset_mm(eye_offset_mm)
    if criterion == "half":
        return exit_pupil_diameter_mm / reach_mm
    if criterion == "full":
        return abs(exit_pupil_diameter_mm - pupil_mm) / reach_mm
    if criterion == "total":
        return (exit_pupil_diameter_mm + pupil_mm) / reach_mm
    raise _bad_criterion(criterion)


@formula(
    "max(Dxp, p) / (2|z|)", unit="slope", source="", kind="derived", domain="Dxp, p more than 0 mm; z not 0"
)
def keyhole_half_light_slope(exit_pupil_diameter_mm: float, pupil_mm: float, eye_offset_mm: float) -> float:
    """Slope of the apparent half field near which about half of the on-axis light is left, eye off by z mm.

    The centre of the smaller disc then stands at the rim of the larger, so with an exit pupil smaller than the
    eye's the figure hangs on the eye's pupil.
    """
    _refuse_pupils(exit_pupil_diameter_mm, pupil_mm)
    return max(exit_pupil_diameter_mm, pupil_mm) / (2.0 * _offset_mm(eye_offset_mm))


@formula(
    "(Dxp/2) / tan(apparent/2)",
    unit="mm",
    source="",
    kind="derived",
    domain="Dxp more than 0 mm; 0 < apparent field ≤ 170 deg",
)
def eye_relief_tolerance_mm(exit_pupil_diameter_mm: float, apparent_field_deg: float) -> float:
    """How far the eye may stand off the exit pupil, either way, before the edge of the field goes, mm."""
    if not (
        DIAMETER_LEAST_MM <= exit_pupil_diameter_mm <= DIAMETER_MOST_MM
        and SMALLEST < apparent_field_deg <= FIELD_MOST_DEG
    ):
        Domain.refuse(exit_pupil_diameter_mm=exit_pupil_diameter_mm, apparent_field_deg=apparent_field_deg)
    return 0.5 * exit_pupil_diameter_mm / tan(radians(0.5 * apparent_field_deg))


@formula(
    "|eye relief − d| < (Dxp/2) / tan(apparent/2) is free of it",
    unit="",
    source="",
    kind="derived",
    domain="all more than 0; apparent field ≤ 170 deg",
)
def keyhole(
    eye_relief_mm: float, eye_distance_mm: float, exit_pupil_diameter_mm: float, apparent_field_deg: float
) -> bool:
    """True when the eye at its distance (mm) sees the field through a keyhole instead of to its edge."""
    if not (SMALLEST < eye_relief_mm < LARGEST and 0.0 <= eye_distance_mm <= EYE_DISTANCE_MOST_MM):
        Domain.refuse(eye_relief_mm=eye_relief_mm, eye_distance_mm=eye_distance_mm)
    allowed = eye_relief_tolerance_mm(exit_pupil_diameter_mm, apparent_field_deg)
    return abs(eye_relief_mm - eye_distance_mm) >= allowed


@formula("(Dxp + p) / 2", unit="mm", source="", kind="derived", domain="Dxp, p more than 0 mm")
def sideways_extinction_mm(exit_pupil_diameter_mm: float, pupil_mm: float) -> float:
    """How far the eye may move sideways in the plane of the exit pupil before everything is black, mm."""
    _refuse_pupils(exit_pupil_diameter_mm, pupil_mm)
    return (exit_pupil_diameter_mm + pupil_mm) / 2.0


@formula(
    "overlap of circles Dxp and p at distance c, over π p²/4",
    unit="",
    source="",
    kind="derived",
    domain="Dxp, p more than 0 mm; c ≥ 0",
)
def lit_fraction_off_centre(exit_pupil_diameter_mm: float, pupil_mm: float, decentration_mm: float) -> float:
    """Part of the eye pupil that is lit when the eye stands sideways by some mm in the plane of the exit pupil."""
    _refuse_pupils(exit_pupil_diameter_mm, pupil_mm)
    if not 0.0 <= decentration_mm < LARGEST:
        Domain.refuse(decentration_mm=decentration_mm)
    return _lit_part(exit_pupil_diameter_mm / 2.0, pupil_mm / 2.0, decentration_mm)


@formula(
    "the smallest of field stop, ocular and keyhole by one criterion; tangents grow by |M|",
    unit="deg",
    source="SMITH-296",
    kind="derived",
    domain="M ≤ −1.05; field stop or ocular diameter given",
)
def keplerian_field(
    magnification: float,
    tube_length_mm: float,
    objective_diameter_mm: float,
    eye_distance_mm: float,
    pupil_mm: float,
    criterion: Criterion = "half",
    field_stop_mm: float | None = None,
    ocular_diameter_mm: float | None = None,
) -> FieldOfView:
    """The nominal field of a Keplerian with its criterion, eye distance, pupil and the aperture that rules.

    Magnification with its minus sign, lengths in mm. The field stop has a sharp edge, the same by every criterion.
    Each aperture is taken alone and the smallest field rules. Refuses a tube with neither stop nor ocular given.
    """
    size = -magnification
    if not (
        M_LEAST <= size <= M_MOST
        and T_LEAST_MM <= tube_length_mm <= T_MOST_MM
        and 0.0 <= eye_distance_mm <= EYE_DISTANCE_MOST_MM
    ):
        Domain.refuse(
            keplerian_magnification=magnification,
            tube_length_mm=tube_length_mm,
            eye_distance_mm=eye_distance_mm,
        )
    lit = lit_fraction_on_axis(magnification, objective_diameter_mm, pupil_mm)
    if criterion not in ("full", "half", "total"):
        raise _bad_criterion(criterion)
    objective_focus = tube_length_mm * size / (size + 1.0)
    limits: list[tuple[float, Limit]] = []
    if field_stop_mm is not None:
        stop = real_field_field_stop_deg(field_stop_mm, objective_focus)
        limits.append((size * tan(radians(0.5 * stop)), "field stop"))
    if ocular_diameter_mm is not None:
        if not DIAMETER_LEAST_MM <= ocular_diameter_mm <= DIAMETER_MOST_MM:
            Domain.refuse(ocular_diameter_mm=ocular_diameter_mm)
        half_field = {
            "full": keplerian_half_field_full_rad,
            "half": keplerian_half_field_chief_rad,
            "total": keplerian_half_field_last_rad,
        }[criterion]
        ocular_focus = tube_length_mm / (size + 1.0)
        passed = half_field(objective_diameter_mm, ocular_diameter_mm, objective_focus, ocular_focus)
        limits.append((size * passed, "ocular"))
    if not limits:
        raise DomainRefusal(
            "field stop and ocular diameter",
            "neither given",
            "at least one of them in mm",
            example="field stop 9",
            reason="they set the field of a Keplerian",
        )
    eye_offset_mm = eye_distance_mm - tube_length_mm / size
    if abs(eye_offset_mm) > SMALLEST:
        exit_pupil_mm = objective_diameter_mm / size
        limits.append((keyhole_slope(exit_pupil_mm, pupil_mm, eye_offset_mm, criterion), "keyhole"))
    slope, limited_by = min(limits)
    return FieldOfView(
        degrees(2.0 * atan(slope / size)),
        degrees(2.0 * atan(slope)),
        criterion,
        eye_distance_mm,
        pupil_mm,
        limited_by,
        lit,
        "nominal",
    )
