"""The engine under all of the optics: 2×2 ray-transfer matrices and what an eye behind them sees.

A ray is (y, n·u): height above the axis in metres and slope times refractive index, so that every matrix
has determinant 1. ``RayMatrix`` holds a (ratio), b_m (metres), c_d (dioptres) and d (ratio). Chains are
given in the order in which the light meets the elements; the matrices multiply from right to left.

Source of the matrix method: Hecht E, Optics, section "Analytical ray tracing" (from memory).
"""

from __future__ import annotations

from math import atan, degrees, isfinite
from typing import NamedTuple

from ..errors import DomainRefusal
from ..formula import formula
from ._domain import (
    CAP_MOST_D,
    DIAMETER_LEAST_MM,
    DIAMETER_MOST_MM,
    DISTANCE_LEAST_MM,
    DISTANCE_MOST_MM,
    EVD_LEAST_MM,
    EYE_DISTANCE_MOST_MM,
    INDEX_MOST,
    M_LEAST,
    M_MOST,
    POWER_MOST_D,
    T_LEAST_MM,
    T_MOST_MM,
    VERGENCE_MOST_D,
    Domain,
    check,
    refused_evd,
)

# No element between object and eye comes near this; it keeps products of many of them finite.
ELEMENT_MOST = 1e60
# A stronger vergence means a focus within 1 µm of the element it is counted at.
FOCUS_AT_LENS_D = 1e6


class RayMatrix(NamedTuple):
    """One optical element or chain: (y, n·u) → (a y + b n·u, c y + d n·u); b in metres, c in dioptres."""

    a: float
    b_m: float
    c_d: float
    d: float

    @property
    def b_mm(self) -> float:
        """The element B in mm: for a plain gap its length, for an afocal tube what plays its tube length."""
        return 1000.0 * self.b_m

    @property
    def determinant(self) -> float:
        """a d - b c, which is 1 for every chain of lenses and gaps."""
        return self.a * self.d - self.b_m * self.c_d


IDENTITY = RayMatrix(1.0, 0.0, 0.0, 1.0)


def _usable(matrix: RayMatrix) -> bool:
    return isfinite(matrix.a + matrix.b_m + matrix.c_d + matrix.d) and max(map(abs, matrix)) <= ELEMENT_MOST


def _refused_matrix(matrix: RayMatrix) -> DomainRefusal:
    return DomainRefusal(
        "ray matrix", "", "four finite elements", reason=f"{tuple(matrix)} is no optical system"
    )


@formula("[1, 0; −F, 1]", unit="", source="OPTICS-TEXT", kind="memory", domain="|F| up to 250 000 D")
def lens(power_d: float) -> RayMatrix:
    """The matrix of a thin lens, or of one surface, of ``power_d`` dioptres (plus converges). Refuses over
    250 000 D.
    """
    if not -POWER_MOST_D <= power_d <= POWER_MOST_D:
        Domain.refuse(power_d=power_d)
    return RayMatrix(1.0, 0.0, -power_d, 1.0)


@formula("[1, x/n; 0, 1]", unit="", source="OPTICS-TEXT", kind="memory", domain="0 ≤ x ≤ 10 km, 1 ≤ n ≤ 4")
def translation(distance_mm: float, refractive_index: float = 1.0) -> RayMatrix:
    """The matrix of a gap of ``distance_mm`` (0 or more) filled with ``refractive_index`` (1 for air)."""
    if not 0.0 <= distance_mm <= DISTANCE_MOST_MM:
        Domain.refuse(distance_mm=distance_mm)
    if not 1.0 <= refractive_index <= INDEX_MOST:
        Domain.refuse(refractive_index=refractive_index)
    return RayMatrix(1.0, distance_mm / (1000.0 * refractive_index), 0.0, 1.0)


@formula("F = (n′ − n)/r", unit="D", source="OPTICS-TEXT", kind="memory", domain="r not 0, 1 ≤ n ≤ 4")
def surface_power_d(radius_mm: float, index_before: float, index_after: float) -> float:
    """The power in dioptres of a spherical surface; ``radius_mm`` is plus when its centre lies behind it.

    Refuses radii under 0.5 mm and indices outside 1 to 4. A flat surface has power 0 and needs no radius.
    """
    check(radius_mm=radius_mm)
    for index in (index_before, index_after):
        check(refractive_index=index)
    return 1000.0 * (index_after - index_before) / radius_mm


@formula(
    "[1, 0; −F₂, 1]·[1, x/n; 0, 1]·[1, 0; −F₁, 1]",
    unit="",
    source="OPTICS-TEXT",
    kind="memory",
    domain="as its parts",
)
def thick_lens(
    front_surface_d: float, thickness_mm: float, refractive_index: float, back_surface_d: float
) -> RayMatrix:
    """The matrix of a lens from front to back vertex: surface powers in dioptres, centre thickness in mm,
    index.
    """
    return chain(lens(front_surface_d), translation(thickness_mm, refractive_index), lens(back_surface_d))


@formula("S = Sₙ ··· S₂ S₁", unit="", source="OPTICS-TEXT", kind="memory", domain="finite elements")
def chain(*elements: RayMatrix) -> RayMatrix:
    """The matrix of elements in the order in which the light meets them; none at all changes nothing."""
    result = IDENTITY
    for element in elements:
        a, b, c, d = element
        e, f, g, h = result
        result = RayMatrix(a * e + b * g, a * f + b * h, c * e + d * g, c * f + d * h)
    if not _usable(result):
        raise _refused_matrix(result)
    return result


@formula("[1/M, t; 0, M]", unit="", source="", kind="derived", domain="1.05 ≤ |M| ≤ 100, 0.5 ≤ t ≤ 1000 mm")
def telescope_matrix(magnification: float, tube_length_mm: float) -> RayMatrix:
    """The matrix of an afocal tube of two thin lenses, objective to ocular; Keplerian with a minus sign."""
    if not (M_LEAST <= abs(magnification) <= M_MOST and T_LEAST_MM <= tube_length_mm <= T_MOST_MM):
        Domain.refuse(magnification=magnification, tube_length_mm=tube_length_mm)
    return RayMatrix(1.0 / magnification, tube_length_mm / 1000.0, 0.0, magnification)


@formula(
    "T = [1, d; 0, 1]·S·[1, w; 0, 1]", unit="", source="", kind="derived", domain="w up to 10 km, d up to 1 m"
)
def object_to_pupil(system: RayMatrix, object_distance_mm: float, eye_distance_mm: float) -> RayMatrix:
    """The matrix from the object plane to the entrance pupil of the eye, through any ``system``.

    ``object_distance_mm`` is the object in front of the first element (of the cap when there is one),
    ``eye_distance_mm`` the last element to the entrance pupil of the eye. Without a device use
    ``IDENTITY``.
    """
    if not 0.0 <= eye_distance_mm <= EYE_DISTANCE_MOST_MM:
        Domain.refuse(eye_distance_mm=eye_distance_mm)
    return chain(translation(object_distance_mm), system, translation(eye_distance_mm))


def _b_through_tube_mm(
    magnification: float,
    tube_length_mm: float,
    object_distance_mm: float,
    eye_distance_mm: float,
    cap_power_d: float = 0.0,
) -> float:
    """The element B in mm from the object through cap and tube to the pupil of the eye, its chain multiplied out."""
    if not (
        M_LEAST <= abs(magnification) <= M_MOST
        and T_LEAST_MM <= tube_length_mm <= T_MOST_MM
        and DISTANCE_LEAST_MM <= object_distance_mm <= DISTANCE_MOST_MM
        and 0.0 <= eye_distance_mm <= EYE_DISTANCE_MOST_MM
        and -CAP_MOST_D <= cap_power_d <= CAP_MOST_D
    ):
        Domain.refuse(
            magnification=magnification,
            tube_length_mm=tube_length_mm,
            object_distance_mm=object_distance_mm,
            eye_distance_mm=eye_distance_mm,
            lens_in_front_d=cap_power_d,
        )
    past_cap = 1.0 - cap_power_d * object_distance_mm / 1000.0
    return object_distance_mm / magnification + past_cap * (tube_length_mm + magnification * eye_distance_mm)


@formula("EVD = |B|", unit="mm", source="", kind="derived", domain="|B| at least 1 mm")
def chain_evd_mm(object_to_pupil_matrix: RayMatrix) -> float:
    """The equivalent viewing distance of any device: |B| of the matrix from object plane to eye pupil, in
    mm.

    A ray from object height h through the pupil centre has the slope -h/B at the eye (determinant 1), so
    the object subtends what it would subtend to the naked eye at the distance |B|. Refuses |B| under 1 mm.
    """
    if not _usable(object_to_pupil_matrix):
        raise _refused_matrix(object_to_pupil_matrix)
    evd = 1000.0 * abs(object_to_pupil_matrix.b_m)
    if evd < EVD_LEAST_MM:
        raise refused_evd(evd)
    return evd


@formula("L = −D/B", unit="D", source="", kind="derived", domain="|B| at least 1 mm")
def vergence_at_eye_d(object_to_pupil_matrix: RayMatrix) -> float:
    """The vergence in dioptres at the eye pupil of light from the axial object point; minus when it
    diverges.
    """
    if not _usable(object_to_pupil_matrix):
        raise _refused_matrix(object_to_pupil_matrix)
    if 1000.0 * abs(object_to_pupil_matrix.b_m) < EVD_LEAST_MM:
        raise refused_evd(1000.0 * abs(object_to_pupil_matrix.b_m))
    return -object_to_pupil_matrix.d / object_to_pupil_matrix.b_m


@formula(
    "L′ = (D·U − C)/(A − B·U)", unit="D", source="", kind="derived", domain="image not at the last vertex"
)
def vergence_through_d(system: RayMatrix, object_vergence_d: float) -> float:
    """The vergence in dioptres leaving any ``system`` for light that meets its first element with
    ``object_vergence_d``.

    Refuses when the light comes to a focus within 1 µm of the last element (vergence over 1e6 D).
    """
    if not -VERGENCE_MOST_D <= object_vergence_d <= VERGENCE_MOST_D:
        Domain.refuse(object_vergence_d=object_vergence_d)
    if not _usable(system):
        raise _refused_matrix(system)
    height = system.a - system.b_m * object_vergence_d
    slope = system.d * object_vergence_d - system.c_d
    if height == 0.0 or abs(slope) > FOCUS_AT_LENS_D * abs(height):
        raise DomainRefusal(
            "object vergence",
            object_vergence_d,
            "another distance",
            reason="the light comes to a focus at the last lens",
        )
    return slope / height


@formula("F′v = −C/A", unit="D", source="OPTICS-TEXT", kind="memory", domain="A not 0")
def back_vertex_power_d(system: RayMatrix) -> float:
    """The back vertex power in dioptres of any system: the vergence leaving it for a distant object; 0 when
    afocal.
    """
    return vergence_through_d(system, 0.0)


@formula(
    "tan(W/2) = |(A + d·C)/(B + d·D)|·Dobj/2",
    unit="deg",
    source="",
    kind="derived",
    domain="any tube, afocal or not",
)
def real_field_by_ray_deg(system: RayMatrix, objective_diameter_mm: float, eye_distance_mm: float) -> float:
    """The real field in degrees (full angle, half criterion) of any tube, by the ray from the rim through
    the pupil centre.

    ``system`` runs from the objective to the ocular, ``eye_distance_mm`` from there to the entrance pupil
    of the eye. Refuses diameters outside 0.1 to 500 mm and an eye pupil that is imaged onto the objective.
    """
    if not DIAMETER_LEAST_MM <= objective_diameter_mm <= DIAMETER_MOST_MM:
        Domain.refuse(objective_diameter_mm=objective_diameter_mm)
    whole = object_to_pupil(system, 0.0, eye_distance_mm)
    if 1000.0 * abs(whole.b_m) < 1e-6:
        raise DomainRefusal(
            "eye distance",
            eye_distance_mm,
            "a place away from the exit pupil",
            reason="the eye is at the exit pupil, where the objective does not limit the field",
        )
    slope = abs(whole.a / whole.b_m) * objective_diameter_mm / 2000.0
    return 2.0 * degrees(atan(slope))
