"""The field of one Galilean tube by a named criterion, and what it is worth in millimetres and characters.

The pupil of the eye is the stop and the objective is the window. A field is told by one of three criteria:
*full* (every point of the pupil lit), *half* (the ray through the pupil's centre grazes the rim) or *total* (the
last ray). They differ by a factor of up to three, so :class:`.field_of_view.FieldOfView` carries the criterion, the
eye distance and the pupil. Tubes given by a ray matrix are in :mod:`.field_general`, Keplerians in
:mod:`.keplerian_field`, two tubes in :mod:`.binocular_field`.
"""

from __future__ import annotations

from math import acos, atan, degrees, pi, radians, sqrt, tan
from typing import Literal

from ..constants import constant
from ..errors import DomainRefusal
from ..formula import formula
from ._domain import (
    DIAMETER_LEAST_MM,
    DIAMETER_MOST_MM,
    DISTANCE_LEAST_MM,
    DISTANCE_MOST_MM,
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
    VERTEX_MOST_MM,
    Domain,
)
from .convergence import object_to_pupil_b_mm

Criterion = Literal["full", "half", "total"]

# Schematic eyes (from memory): entrance pupil and centre of rotation behind the cornea.
ENTRANCE_PUPIL_DEPTH_MM = constant("ocular_to_pupil_beyond_cornea")
ROTATION_CENTRE_DEPTH_MM = constant("cornea_to_rotation_centre")
# Common practice, adjustable: distance from letter to letter in 1 M text.
CHARACTER_PITCH_MM = constant("character_pitch_per_m")


def _bad_criterion(criterion: object) -> DomainRefusal:
    return DomainRefusal("field criterion", criterion, "full, half or total", example="half")


def _apparent_half_slope(
    magnification: float,
    tube_length_mm: float,
    objective_diameter_mm: float,
    eye_distance_mm: float,
    pupil_mm: float | None,
    criterion: Criterion,
) -> float:
    if not (
        M_LEAST <= magnification <= M_MOST
        and T_LEAST_MM <= tube_length_mm <= T_MOST_MM
        and DIAMETER_LEAST_MM <= objective_diameter_mm <= DIAMETER_MOST_MM
        and 0.0 <= eye_distance_mm <= EYE_DISTANCE_MOST_MM
    ):
        Domain.refuse(
            galilean_magnification=magnification,
            tube_length_mm=tube_length_mm,
            objective_diameter_mm=objective_diameter_mm,
            eye_distance_mm=eye_distance_mm,
        )
    reach_mm = 2.0 * (tube_length_mm + magnification * eye_distance_mm)
    if criterion == "half":
        return objective_diameter_mm / reach_mm
    if criterion not in ("full", "total"):
        raise _bad_criterion(criterion)
    if pupil_mm is None or not PUPIL_LEAST_MM <= pupil_mm <= PUPIL_MOST_MM:
        Domain.refuse(pupil_mm=pupil_mm)
    if criterion == "total":
        return (objective_diameter_mm + magnification * pupil_mm) / reach_mm
    # With the objective as the stop no direction lights the whole pupil, not even straight ahead.
    lit_mm = objective_diameter_mm - magnification * pupil_mm
    return lit_mm / reach_mm if lit_mm > 0.0 else 0.0


@formula(
    "d = (ocular to cornea) + 3",
    unit="mm",
    source="",
    kind="memory",
    domain="ocular to cornea more than 0 mm",
)
def eye_distance_mm(ocular_to_cornea_mm: float, pupil_depth_mm: float = ENTRANCE_PUPIL_DEPTH_MM) -> float:
    """Ocular back vertex to the entrance pupil of the eye, mm, from the distance ocular to cornea in mm.

    The entrance pupil is taken 3 mm behind the cornea unless given. Refuses distances of 0 or less.
    """
    if not (0.0 <= ocular_to_cornea_mm <= VERTEX_MOST_MM and SMALLEST < pupil_depth_mm < LARGEST):
        Domain.refuse(ocular_to_cornea_mm=ocular_to_cornea_mm, pupil_depth_mm=pupil_depth_mm)
    return ocular_to_cornea_mm + pupil_depth_mm


@formula(
    "q = (ocular to cornea) + 13.5",
    unit="mm",
    source="",
    kind="memory",
    domain="ocular to cornea more than 0 mm",
)
def rotation_distance_mm(
    ocular_to_cornea_mm: float, rotation_depth_mm: float = ROTATION_CENTRE_DEPTH_MM
) -> float:
    """Ocular back vertex to the centre of rotation of the eye, mm; taken 13.5 mm behind the cornea unless given."""
    if not (0.0 <= ocular_to_cornea_mm <= VERTEX_MOST_MM and SMALLEST < rotation_depth_mm < LARGEST):
        Domain.refuse(ocular_to_cornea_mm=ocular_to_cornea_mm, rotation_depth_mm=rotation_depth_mm)
    return ocular_to_cornea_mm + rotation_depth_mm


@formula(
    "tan(real/2) = [Dobj + (2v − 1) M p] / [2 M (t + M d)]; v = 0 full, ½ half, 1 total",
    unit="deg",
    source="SMITH-298",
    kind="derived",
    domain="M ≥ 1.05 (Galilean); full is 0 when Dobj < M p",
)
def real_field_deg(
    magnification: float,
    tube_length_mm: float,
    objective_diameter_mm: float,
    eye_distance_mm: float,
    pupil_mm: float | None = None,
    criterion: Criterion = "half",
) -> float:
    """Whole angle of the object space seen through a Galilean tube, degrees.

    Lengths in mm, all more than 0; the pupil is not needed for ``half``. Paraxial and nominal: a strong real lens
    differs by tens of per cent near the rim. Refuses a Keplerian, M under 1.05 and lengths of 0 or less.
    """
    slope = _apparent_half_slope(
        magnification, tube_length_mm, objective_diameter_mm, eye_distance_mm, pupil_mm, criterion
    )
    return degrees(2.0 * atan(slope / magnification))


@formula(
    "tan(apparent/2) = [Dobj + (2v − 1) M p] / [2 (t + M d)]; v = 0 full, ½ half, 1 total",
    unit="deg",
    source="SMITH-298",
    kind="derived",
    domain="M ≥ 1.05 (Galilean); full is 0 when Dobj < M p",
)
def apparent_field_deg(
    magnification: float,
    tube_length_mm: float,
    objective_diameter_mm: float,
    eye_distance_mm: float,
    pupil_mm: float | None = None,
    criterion: Criterion = "half",
) -> float:
    """Whole angle that the visible disc fills at the eye, degrees; arguments as :func:`real_field_deg`."""
    slope = _apparent_half_slope(
        magnification, tube_length_mm, objective_diameter_mm, eye_distance_mm, pupil_mm, criterion
    )
    return degrees(2.0 * atan(slope))


@formula(
    "Doc = 2 d tan(apparent/2) + p",
    unit="mm",
    source="",
    kind="derived",
    domain="0 < apparent field ≤ 170 deg",
)
def ocular_diameter_for_field_mm(apparent_field_deg: float, eye_distance_mm: float, pupil_mm: float) -> float:
    """Clear ocular diameter, mm, that passes all light for the pupil over an apparent field in degrees."""
    if not (
        SMALLEST < apparent_field_deg <= FIELD_MOST_DEG
        and 0.0 <= eye_distance_mm <= EYE_DISTANCE_MOST_MM
        and PUPIL_LEAST_MM <= pupil_mm <= PUPIL_MOST_MM
    ):
        Domain.refuse(
            apparent_field_deg=apparent_field_deg, eye_distance_mm=eye_distance_mm, pupil_mm=pupil_mm
        )
    return 2.0 * eye_distance_mm * tan(radians(0.5 * apparent_field_deg)) + pupil_mm


@formula(
    "tan(apparent/2) = [Doc + (2v − 1) p] / (2 d); v = 0 full, ½ half, 1 total",
    unit="deg",
    source="",
    kind="derived",
    domain="the ocular as window; full is 0 when Doc < p",
)
def ocular_limit_deg(
    ocular_diameter_mm: float, eye_distance_mm: float, pupil_mm: float, criterion: Criterion = "half"
) -> float:
    """Apparent field that the clear diameter of the ocular alone allows, whole angle in degrees; lengths in mm."""
    if not (
        DIAMETER_LEAST_MM <= ocular_diameter_mm <= DIAMETER_MOST_MM
        and SMALLEST < eye_distance_mm <= EYE_DISTANCE_MOST_MM
        and PUPIL_LEAST_MM <= pupil_mm <= PUPIL_MOST_MM
    ):
        Domain.refuse(
            ocular_diameter_mm=ocular_diameter_mm, window_distance_mm=eye_distance_mm, pupil_mm=pupil_mm
        )
    if criterion == "half":
        width_mm = ocular_diameter_mm
    elif criterion == "total":
        width_mm = ocular_diameter_mm + pupil_mm
    elif criterion == "full":
        width_mm = max(0.0, ocular_diameter_mm - pupil_mm)
    else:
        raise _bad_criterion(criterion)
    return degrees(2.0 * atan(width_mm / (2.0 * eye_distance_mm)))


@formula(
    "lit = min[1, (Dobj / (|M| p))²]",
    unit="",
    source="",
    kind="derived",
    domain="|M| ≥ 1.05; Dobj, p more than 0",
)
def lit_fraction_on_axis(magnification: float, objective_diameter_mm: float, pupil_mm: float) -> float:
    """Part of the eye pupil that is lit in the middle of the field; under 1 the objective is the stop and dims."""
    size = abs(magnification)
    if not (
        M_LEAST <= size <= M_MOST
        and DIAMETER_LEAST_MM <= objective_diameter_mm <= DIAMETER_MOST_MM
        and PUPIL_LEAST_MM <= pupil_mm <= PUPIL_MOST_MM
    ):
        Domain.refuse(
            magnification=magnification, objective_diameter_mm=objective_diameter_mm, pupil_mm=pupil_mm
        )
    ratio = objective_diameter_mm / (size * pupil_mm)
    return ratio * ratio if ratio < 1.0 else 1.0


def _lit_part(window_radius: float, pupil_radius: float, separation: float) -> float:
    """Part of the pupil disc that lies inside the window disc (two-circle overlap)."""
    if separation >= window_radius + pupil_radius:
        return 0.0
    if separation <= abs(window_radius - pupil_radius):
        return min(1.0, (window_radius / pupil_radius) ** 2)
    # The chord common to both circles stands at x from the pupil's centre; each side of it is a circular segment.
    x = (separation**2 + pupil_radius**2 - window_radius**2) / (2.0 * separation)
    half_chord = sqrt(max(0.0, pupil_radius**2 - x**2))
    pupil_side = pupil_radius**2 * acos(max(-1.0, min(1.0, x / pupil_radius)))
    window_side = window_radius**2 * acos(max(-1.0, min(1.0, (separation - x) / window_radius)))
    return (pupil_side + window_side - separation * half_chord) / (pi * pupil_radius**2)


@formula(
    "overlap of circles Dobj/M and p whose centres are Dobj/(2M) apart, over π p²/4",
    unit="",
    source="",
    kind="derived",
    domain="M ≥ 1.05 (Galilean)",
)
def lit_fraction_at_half_field(
    magnification: float,
    tube_length_mm: float,
    objective_diameter_mm: float,
    eye_distance_mm: float,
    pupil_mm: float,
) -> float:
    """Lit part of the eye pupil at the edge of the half field: a little under one half for a large objective.

    The figure does not depend on tube length and eye distance; they are taken so that the edge spoken of exists.
    """
    slope = _apparent_half_slope(
        magnification, tube_length_mm, objective_diameter_mm, eye_distance_mm, pupil_mm, "half"
    )
    if not PUPIL_LEAST_MM <= pupil_mm <= PUPIL_MOST_MM:
        Domain.refuse(pupil_mm=pupil_mm)
    edge_mm = slope * (tube_length_mm / magnification + eye_distance_mm)
    return _lit_part(objective_diameter_mm / (2.0 * magnification), pupil_mm / 2.0, edge_mm)


@formula(
    "Dobj = 2 M (t + M d) tan(real/2)",
    unit="mm",
    source="",
    kind="derived",
    domain="M ≥ 1.05 (Galilean); half criterion; 0 < field ≤ 170 deg",
)
def objective_diameter_for_field_mm(
    magnification: float, tube_length_mm: float, eye_distance_mm: float, real_field_deg: float
) -> float:
    """Objective diameter, mm, that gives a real field (degrees) by the half criterion."""
    if not (
        M_LEAST <= magnification <= M_MOST
        and T_LEAST_MM <= tube_length_mm <= T_MOST_MM
        and 0.0 <= eye_distance_mm <= EYE_DISTANCE_MOST_MM
        and SMALLEST < real_field_deg <= FIELD_MOST_DEG
    ):
        Domain.refuse(
            galilean_magnification=magnification,
            tube_length_mm=tube_length_mm,
            eye_distance_mm=eye_distance_mm,
            real_field_deg=real_field_deg,
        )
    half = tan(radians(0.5 * real_field_deg))
    return 2.0 * magnification * (tube_length_mm + magnification * eye_distance_mm) * half


@formula(
    "tan(fixation/2) = Dobj / [2 M (t + M q)]",
    unit="deg",
    source="",
    kind="derived",
    domain="M ≥ 1.05 (Galilean); q from the ocular to the centre of rotation",
)
def field_of_fixation_deg(
    magnification: float, tube_length_mm: float, objective_diameter_mm: float, rotation_distance_mm: float
) -> float:
    """Field over which the eye can turn to look, degrees: the half formula with the pivot at the centre of rotation.

    Always smaller than the static field; say which of the two is shown.
    """
    if not SMALLEST < rotation_distance_mm < LARGEST:
        Domain.refuse(rotation_distance_mm=rotation_distance_mm)
    slope = _apparent_half_slope(
        magnification, tube_length_mm, objective_diameter_mm, rotation_distance_mm, None, "half"
    )
    return degrees(2.0 * atan(slope / magnification))


@formula(
    "width = 2 w tan(real/2)",
    unit="mm",
    source="",
    kind="derived",
    domain="w more than 0; 0 < field ≤ 170 deg; exact at the focus of a cap",
)
def linear_field_mm(object_distance_mm: float, real_field_deg: float) -> float:
    """Width of the object plane seen at a distance, mm; distance in mm, field in degrees."""
    if not (
        DISTANCE_LEAST_MM <= object_distance_mm <= DISTANCE_MOST_MM
        and SMALLEST < real_field_deg <= FIELD_MOST_DEG
    ):
        Domain.refuse(object_distance_mm=object_distance_mm, real_field_deg=real_field_deg)
    return 2.0 * object_distance_mm * tan(radians(0.5 * real_field_deg))


@formula(
    "width = 2 |B| tan(apparent/2)",
    unit="mm",
    source="",
    kind="derived",
    domain="object in front of the tube, exit beam not inverted; half criterion exact",
)
def linear_field_through_tube_mm(
    magnification: float,
    tube_length_mm: float,
    object_distance_mm: float,
    eye_distance_mm: float,
    apparent_field_deg: float,
    cap_power_d: float = 0.0,
) -> float:
    """Width of an object plane at any finite distance seen through the tube (with or without cap), mm.

    Refuses what :func:`.convergence.object_to_pupil_b_mm` refuses.
    """
    if not SMALLEST < apparent_field_deg <= FIELD_MOST_DEG:
        Domain.refuse(apparent_field_deg=apparent_field_deg)
    b_mm = object_to_pupil_b_mm(
        magnification, tube_length_mm, object_distance_mm, eye_distance_mm, cap_power_d
    )
    return 2.0 * abs(b_mm) * tan(radians(0.5 * apparent_field_deg))


@formula(
    "characters = width / pitch",
    unit="",
    source="",
    kind="common practice",
    domain="width ≥ 0, pitch more than 0",
)
def characters_in_field(width_mm: float, character_pitch_mm: float = CHARACTER_PITCH_MM) -> float:
    """Characters seen at once in a width (mm); the pitch of 1 M text is taken as 1.5 mm unless given."""
    if not (0.0 <= width_mm < LARGEST and SMALLEST < character_pitch_mm < LARGEST):
        Domain.refuse(width_mm=width_mm, character_pitch_mm=character_pitch_mm)
    return width_mm / character_pitch_mm
