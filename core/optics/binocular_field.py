"""The fields of two tubes together, what spreading them costs, and the ring scotoma around a field.

Two fields are spread apart either by toeing the tubes out, which the eyes pay for by converging, or by decentring
parallel Galilean tubes outwards, which costs no vergence at distance (parallel in, parallel out). Say always
whether a figure is the union or the overlap. Fields by the half criterion unless said otherwise.
"""

from __future__ import annotations

from math import atan, degrees, radians, tan

from ..errors import DomainRefusal
from ..formula import formula
from ._domain import (
    CAP_LEAST_D,
    CAP_MOST_D,
    DIAMETER_LEAST_MM,
    DIAMETER_MOST_MM,
    EYE_DISTANCE_MOST_MM,
    FIELD_MOST_DEG,
    LARGEST,
    M_LEAST,
    M_MOST,
    PUPIL_LEAST_MM,
    PUPIL_MOST_MM,
    SEPARATION_MOST_DEG,
    SMALLEST,
    T_LEAST_MM,
    T_MOST_MM,
    Domain,
)
from .alignment import tilt_for_deviation_arcmin


def _two_fields(monocular_field_deg: float, centre_separation_deg: float) -> None:
    if not (
        SMALLEST < monocular_field_deg <= FIELD_MOST_DEG
        and 0.0 <= centre_separation_deg <= SEPARATION_MOST_DEG
    ):
        Domain.refuse(monocular_field_deg=monocular_field_deg, centre_separation_deg=centre_separation_deg)
    if centre_separation_deg > monocular_field_deg:
        gap = centre_separation_deg - monocular_field_deg
        raise DomainRefusal(
            "separation of the two field centres",
            centre_separation_deg,
            f"0 to {monocular_field_deg:g} degrees with this field",
            example="3",
            reason=f"the two fields do not touch, a gap of {gap:.2g} degrees lies between them",
        )


@formula("W + δ", unit="deg", source="SHENKER87", kind="published", domain="0 ≤ δ ≤ W (no gap)")
def union_field_deg(monocular_field_deg: float, centre_separation_deg: float) -> float:
    """Width that the two real fields cover together, degrees; centres apart in object space. Refuses a gap."""
    _two_fields(monocular_field_deg, centre_separation_deg)
    return monocular_field_deg + centre_separation_deg


@formula("W − δ", unit="deg", source="SHENKER87", kind="published", domain="0 ≤ δ ≤ W (no gap)")
def overlap_field_deg(monocular_field_deg: float, centre_separation_deg: float) -> float:
    """Width that both eyes see, degrees; centres apart in object space. Refuses a gap."""
    _two_fields(monocular_field_deg, centre_separation_deg)
    return monocular_field_deg - centre_separation_deg


def _decentred(
    magnification: float,
    tube_length_mm: float,
    objective_diameter_mm: float,
    eye_distance_mm: float,
    decentration_mm: float,
) -> tuple[float, float]:
    """Radius of the objective's image seen from the eye, and its distance, mm."""
    if not (
        M_LEAST <= magnification <= M_MOST
        and T_LEAST_MM <= tube_length_mm <= T_MOST_MM
        and DIAMETER_LEAST_MM <= objective_diameter_mm <= DIAMETER_MOST_MM
        and 0.0 <= eye_distance_mm <= EYE_DISTANCE_MOST_MM
        and 0.0 <= decentration_mm < LARGEST
    ):
        Domain.refuse(
            galilean_magnification=magnification,
            tube_length_mm=tube_length_mm,
            objective_diameter_mm=objective_diameter_mm,
            eye_distance_mm=eye_distance_mm,
            decentration_mm=decentration_mm,
        )
    radius_mm = 0.5 * objective_diameter_mm / magnification
    if decentration_mm > radius_mm:
        raise DomainRefusal(
            "decentration",
            decentration_mm,
            f"0 to {radius_mm:g} mm with this objective",
            example="1.5",
            reason="beyond it the object straight ahead is outside both fields",
        )
    # In object space the slopes are those at the eye over M.
    return radius_mm, tube_length_mm + magnification * eye_distance_mm


@formula(
    "{atan[(Dobj/2M + s)/(t + M d)] − atan[(Dobj/2M − s)/(t + M d)]} / 2",
    unit="deg",
    source="",
    kind="derived",
    domain="M ≥ 1.05 (Galilean); 0 ≤ s ≤ Dobj/2M; parallel axes",
)
def field_centre_shift_deg(
    magnification: float,
    tube_length_mm: float,
    objective_diameter_mm: float,
    eye_distance_mm: float,
    decentration_mm: float,
) -> float:
    """Shift of the middle of one real field when the tube stands sideways by s mm before the eye, degrees."""
    radius_mm, reach_mm = _decentred(
        magnification, tube_length_mm, objective_diameter_mm, eye_distance_mm, decentration_mm
    )
    outer = atan((radius_mm + decentration_mm) / reach_mm)
    inner = atan((radius_mm - decentration_mm) / reach_mm)
    return degrees(0.5 * (outer - inner))


@formula(
    "2 atan[(Dobj/2M + s) / (t + M d)]",
    unit="deg",
    source="",
    kind="derived",
    domain="M ≥ 1.05 (Galilean); 0 ≤ s ≤ Dobj/2M; parallel axes",
)
def union_field_decentred_deg(
    magnification: float,
    tube_length_mm: float,
    objective_diameter_mm: float,
    eye_distance_mm: float,
    decentration_mm: float,
) -> float:
    """Union of two real fields, both tubes decentred outwards by s mm, degrees."""
    radius_mm, reach_mm = _decentred(
        magnification, tube_length_mm, objective_diameter_mm, eye_distance_mm, decentration_mm
    )
    return degrees(2.0 * atan((radius_mm + decentration_mm) / reach_mm))


@formula(
    "2 atan[(Dobj/2M − s) / (t + M d)]",
    unit="deg",
    source="",
    kind="derived",
    domain="M ≥ 1.05 (Galilean); 0 ≤ s ≤ Dobj/2M; parallel axes",
)
def overlap_field_decentred_deg(
    magnification: float,
    tube_length_mm: float,
    objective_diameter_mm: float,
    eye_distance_mm: float,
    decentration_mm: float,
) -> float:
    """Overlap of two real fields, both tubes decentred outwards by s mm, degrees."""
    radius_mm, reach_mm = _decentred(
        magnification, tube_length_mm, objective_diameter_mm, eye_distance_mm, decentration_mm
    )
    return degrees(2.0 * atan((radius_mm - decentration_mm) / reach_mm))


@formula(
    "δ = 2 atan[(Dobj/2M + s)/(t + M d)] − W",
    unit="deg",
    source="",
    kind="derived",
    domain="M ≥ 1.05 (Galilean); 0 ≤ s ≤ Dobj/2M; parallel axes",
)
def centre_separation_decentred_deg(
    magnification: float,
    tube_length_mm: float,
    objective_diameter_mm: float,
    eye_distance_mm: float,
    decentration_mm: float,
) -> float:
    """What decentring both tubes outwards by s mm adds to the union, degrees; about 2 s/(t + M d) radians."""
    radius_mm, reach_mm = _decentred(
        magnification, tube_length_mm, objective_diameter_mm, eye_distance_mm, decentration_mm
    )
    return degrees(2.0 * (atan((radius_mm + decentration_mm) / reach_mm) - atan(radius_mm / reach_mm)))


@formula(
    "200 tan[atan(M tan(δ/2)) − δ/2]",
    unit="prism dioptres",
    source="",
    kind="derived",
    domain="|M| ≥ 1.05, seen upright; 0 ≤ δ ≤ 60 deg",
)
def toe_out_vergence_prism(magnification: float, centre_separation_deg: float) -> float:
    """Convergence asked of both eyes together when two tubes are toed out by δ/2 each, prism dioptres.

    About (M − 1) δ. An object straight ahead then appears displaced towards the nose.
    """
    size = abs(magnification)
    if not (M_LEAST <= size <= M_MOST and 0.0 <= centre_separation_deg <= SEPARATION_MOST_DEG):
        Domain.refuse(magnification=magnification, centre_separation_deg=centre_separation_deg)
    half = radians(0.5 * centre_separation_deg)
    return 200.0 * tan(atan(size * tan(half)) - half)


@formula(
    "the δ at which 200 tan[atan(M tan(δ/2)) − δ/2] is the tolerated prism",
    unit="deg",
    source="",
    kind="derived",
    domain="|M| ≥ 1.05; prism within what toe-out can ask at this M",
)
def toe_out_limit_deg(magnification: float, tolerance_prism: float) -> float:
    """Separation of the field centres by toe-out that uses up a tolerated convergence, degrees.

    Beyond it there is double vision. The tolerance is for both eyes together, prism dioptres.
    """
    if not 0.0 <= tolerance_prism < LARGEST:
        Domain.refuse(tolerance_prism=tolerance_prism)
    each_arcmin = 60.0 * degrees(atan(tolerance_prism / 200.0))
    return tilt_for_deviation_arcmin(magnification, each_arcmin) / 30.0


@formula(
    "s = (Dobj/M − p) / 2", unit="mm", source="", kind="derived", domain="M ≥ 1.05 (Galilean); Dobj ≥ M p"
)
def full_lit_decentration_limit_mm(
    magnification: float, objective_diameter_mm: float, pupil_mm: float
) -> float:
    """Farthest sideways shift of a tube with which the eye pupil stays fully lit on axis, mm.

    Refuses an exit pupil that is smaller than the eye's: then it is never fully lit.
    """
    if not (
        M_LEAST <= magnification <= M_MOST
        and DIAMETER_LEAST_MM <= objective_diameter_mm <= DIAMETER_MOST_MM
        and PUPIL_LEAST_MM <= pupil_mm <= PUPIL_MOST_MM
    ):
        Domain.refuse(
            galilean_magnification=magnification,
            objective_diameter_mm=objective_diameter_mm,
            pupil_mm=pupil_mm,
        )
    spare_mm = objective_diameter_mm / magnification - pupil_mm
    if spare_mm < 0.0:
        raise DomainRefusal(
            "objective diameter",
            objective_diameter_mm,
            f"at least {magnification * pupil_mm:g} mm for this pupil",
            example=f"{magnification * pupil_mm:g}",
            reason="the exit pupil is smaller than the pupil of the eye, which is never fully lit",
        )
    return 0.5 * spare_mm


@formula(
    "s(cm) = P / (2 |M| Fcap)",
    unit="mm",
    source="",
    kind="derived",
    domain="|M| ≥ 1.05; Fcap more than 0; P ≥ 0",
)
def decentration_limit_with_caps_mm(
    magnification: float, cap_power_d: float, tolerance_prism: float
) -> float:
    """Outward shift of each of two capped tubes that uses up a tolerated prism (both eyes together), mm."""
    size = abs(magnification)
    if not (
        M_LEAST <= size <= M_MOST
        and CAP_LEAST_D <= cap_power_d <= CAP_MOST_D
        and 0.0 <= tolerance_prism < LARGEST
    ):
        Domain.refuse(magnification=magnification, cap_power_d=cap_power_d, tolerance_prism=tolerance_prism)
    return 5.0 * tolerance_prism / (size * cap_power_d)


def _refuse_ring(magnification: float, real_field_deg: float) -> float:
    size = abs(magnification)
    if not (M_LEAST <= size <= M_MOST and SMALLEST < real_field_deg <= FIELD_MOST_DEG):
        Domain.refuse(magnification=magnification, real_field_deg=real_field_deg)
    return size


@formula("M W", unit="deg", source="DOHERTY11", kind="published", domain="|M| ≥ 1.05; 0 < W ≤ 170 deg")
def ring_outer_linear_deg(magnification: float, real_field_deg: float) -> float:
    """First-order outer diameter of the ring scotoma, degrees: a lower bound, the housing adds to it."""
    return _refuse_ring(magnification, real_field_deg) * real_field_deg


@formula("2 atan[M tan(W/2)]", unit="deg", source="", kind="derived", domain="|M| ≥ 1.05; 0 < W ≤ 170 deg")
def ring_outer_diameter_deg(magnification: float, real_field_deg: float) -> float:
    """Outer diameter of the ring scotoma by tangents, degrees: the real field is spread over the apparent one."""
    size = _refuse_ring(magnification, real_field_deg)
    return degrees(2.0 * atan(size * tan(radians(0.5 * real_field_deg))))


@formula("(M − 1) W / 2", unit="deg", source="", kind="derived", domain="|M| ≥ 1.05; 0 < W ≤ 170 deg")
def ring_width_linear_deg(magnification: float, real_field_deg: float) -> float:
    """Width of the hidden ring on each side, first order, degrees."""
    return (_refuse_ring(magnification, real_field_deg) - 1.0) * real_field_deg / 2.0


@formula(
    "atan[M tan(W/2)] − W/2", unit="deg", source="", kind="derived", domain="|M| ≥ 1.05; 0 < W ≤ 170 deg"
)
def ring_width_deg(magnification: float, real_field_deg: float) -> float:
    """Width of the hidden ring on each side by tangents, degrees; never under 0 for an upright or inverted picture."""
    return 0.5 * (ring_outer_diameter_deg(magnification, real_field_deg) - real_field_deg)


@formula("2 atan(Rhousing / d)", unit="deg", source="", kind="derived", domain="Rhousing, d more than 0 mm")
def housing_extent_deg(housing_radius_mm: float, eye_distance_mm: float) -> float:
    """Angle that the housing itself covers, seen from the eye, degrees; both lengths in mm."""
    if not (SMALLEST < housing_radius_mm < LARGEST and SMALLEST < eye_distance_mm <= EYE_DISTANCE_MOST_MM):
        Domain.refuse(housing_radius_mm=housing_radius_mm, window_distance_mm=eye_distance_mm)
    return degrees(2.0 * atan(housing_radius_mm / eye_distance_mm))


@formula(
    "max{2 atan[M tan(W/2)], 2 atan(Rhousing/d)}",
    unit="deg",
    source="DOHERTY11",
    kind="derived",
    domain="|M| ≥ 1.05; 0 < W ≤ 170 deg; Rhousing, d more than 0 mm",
)
def ring_outer_with_housing_deg(
    magnification: float, real_field_deg: float, housing_radius_mm: float, eye_distance_mm: float
) -> float:
    """Outer diameter of what one eye cannot see around its field, degrees: the optics or the housing, the larger."""
    return max(
        ring_outer_diameter_deg(magnification, real_field_deg),
        housing_extent_deg(housing_radius_mm, eye_distance_mm),
    )
