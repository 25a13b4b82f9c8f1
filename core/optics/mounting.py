"""Where a bioptic tube sits before the eye, how far the head must drop, and what the frame must allow.

Head frame with its origin at the centre of rotation of the eye and the primary gaze horizontal. Heights are above
the gaze line, tilts are up from the horizontal, a head drop is how far the head goes down to put the target in the
tube. The magnification counts with its size: the picture is taken as seen upright.
"""

from __future__ import annotations

from math import atan, cos, degrees, radians, sin, tan
from typing import NamedTuple

from ..constants import constant
from ..errors import DomainRefusal
from ..formula import formula
from ._domain import (
    FIELD_MOST_DEG,
    LARGEST,
    M_LEAST,
    M_MOST,
    PUPIL_LEAST_MM,
    PUPIL_MOST_MM,
    SMALLEST,
    T_LEAST_MM,
    T_MOST_MM,
    TUBE_TILT_MOST_DEG,
    Domain,
)

# Beyond this angle between gaze and tube axis the tube cannot be looked through at all.
MOST_OFF_AXIS_DEG = 45.0
# Common practice: warn when less of the apparent half field is left.
LEAST_MARGIN_DEG = 3.0
# Margin from the housing to the upper edge of the lens (Yoho A, dispensing column, 2009).
UPPER_RIM_MM = constant("margin_tube_to_lens_top")
# Common practice for a bifocal under a tube.
SEGMENT_BELOW_GAZE_MM = 5.0
SEGMENT_CLEARANCE_MM = 4.0


class BiopticGeometry(NamedTuple):
    """The angles of one mounting, degrees; the off-axis angle is positive with the gaze above the tube's axis."""

    gaze_elevation_deg: float
    off_axis_deg: float
    head_drop_deg: float
    tube_to_lens_normal_deg: float


@formula("β = atan(h / q)", unit="deg", source="", kind="derived", domain="h, q more than 0 mm")
def gaze_elevation_deg(ocular_height_mm: float, rotation_distance_mm: float) -> float:
    """How far the eye looks up to the centre of the ocular, degrees; height and distance to the pivot in mm."""
    if not (SMALLEST < ocular_height_mm < LARGEST and SMALLEST < rotation_distance_mm < LARGEST):
        Domain.refuse(ocular_height_mm=ocular_height_mm, rotation_distance_mm=rotation_distance_mm)
    return degrees(atan(ocular_height_mm / rotation_distance_mm))


@formula("h = q tan τ", unit="mm", source="", kind="derived", domain="0 < τ ≤ 60 deg; q more than 0 mm")
def ocular_height_for_tilt_mm(tube_tilt_deg: float, rotation_distance_mm: float) -> float:
    """Height of the ocular at which a tilted tube points at the centre of rotation, mm: no off-axis viewing then."""
    if not (
        -TUBE_TILT_MOST_DEG <= tube_tilt_deg <= TUBE_TILT_MOST_DEG
        and SMALLEST < rotation_distance_mm < LARGEST
    ):
        Domain.refuse(tube_tilt_deg=tube_tilt_deg, rotation_distance_mm=rotation_distance_mm)
    if tube_tilt_deg <= 0.0:
        raise DomainRefusal(
            "tube tilt",
            tube_tilt_deg,
            "more than 0 degrees",
            example="12",
            reason="only a tube that points up can sit above the gaze line and aim at the eye",
        )
    return rotation_distance_mm * tan(radians(tube_tilt_deg))


def _off_axis(angle_deg: float) -> float:
    if not abs(angle_deg) <= MOST_OFF_AXIS_DEG:
        raise DomainRefusal(
            "angle between gaze and tube axis",
            angle_deg,
            "at most 45 degrees",
            example="ocular height 10 mm, tilt 12 degrees",
            reason="the eye would look past the tube instead of through it",
        )
    return angle_deg


@formula(
    "β − τ",
    unit="deg",
    source="",
    kind="derived",
    domain="h, q more than 0 mm; |τ| ≤ 60 deg; |β − τ| ≤ 45 deg",
)
def off_axis_deg(ocular_height_mm: float, rotation_distance_mm: float, tube_tilt_deg: float) -> float:
    """Angle of the gaze through the middle of the ocular against the tube's axis, degrees, up positive."""
    elevation = gaze_elevation_deg(ocular_height_mm, rotation_distance_mm)
    if not -TUBE_TILT_MOST_DEG <= tube_tilt_deg <= TUBE_TILT_MOST_DEG:
        Domain.refuse(tube_tilt_deg=tube_tilt_deg)
    return _off_axis(elevation - tube_tilt_deg)


@formula(
    "apparent/2 − |β − τ|",
    unit="deg",
    source="",
    kind="derived",
    domain="0 < apparent field ≤ 170 deg; |β − τ| ≤ 45 deg",
)
def off_axis_margin_deg(
    apparent_field_deg: float, ocular_height_mm: float, rotation_distance_mm: float, tube_tilt_deg: float
) -> float:
    """What off-axis viewing leaves of the apparent half field, degrees; below 0 the middle shows no picture."""
    if not SMALLEST < apparent_field_deg <= FIELD_MOST_DEG:
        Domain.refuse(apparent_field_deg=apparent_field_deg)
    angle = off_axis_deg(ocular_height_mm, rotation_distance_mm, tube_tilt_deg)
    return 0.5 * apparent_field_deg - abs(angle)


@formula(
    "H = τ + atan[tan(β − τ) / M]",
    unit="deg",
    source="",
    kind="derived",
    domain="h, q more than 0 mm; |τ| ≤ 60 deg; |M| ≥ 1.05; |β − τ| ≤ 45 deg",
)
def head_drop_deg(
    ocular_height_mm: float, rotation_distance_mm: float, tube_tilt_deg: float, magnification: float
) -> float:
    """Head drop that puts a target straight ahead in the middle of the ocular, degrees.

    Holds while the off-axis angle lies inside the apparent half field (:func:`off_axis_margin_deg`).
    """
    size = abs(magnification)
    if not M_LEAST <= size <= M_MOST:
        Domain.refuse(magnification=magnification)
    angle = off_axis_deg(ocular_height_mm, rotation_distance_mm, tube_tilt_deg)
    return tube_tilt_deg + degrees(atan(tan(radians(angle)) / size))


@formula(
    "tan γ = [h + (t/M) sin τ] / [q + (t/M) cos τ]; H = τ + atan[tan(γ − τ) / M]",
    unit="deg",
    source="",
    kind="derived",
    domain="Galilean, M ≥ 1.05; h, q, t more than 0 mm; |τ| ≤ 60 deg; |γ − τ| ≤ 45 deg",
)
def head_drop_to_field_centre_deg(
    ocular_height_mm: float,
    rotation_distance_mm: float,
    tube_tilt_deg: float,
    magnification: float,
    tube_length_mm: float,
) -> float:
    """Head drop when the eye looks at the middle of the visible disc (the objective's image) of a Galilean, degrees."""
    if not (
        SMALLEST < ocular_height_mm < LARGEST
        and SMALLEST < rotation_distance_mm < LARGEST
        and -TUBE_TILT_MOST_DEG <= tube_tilt_deg <= TUBE_TILT_MOST_DEG
        and M_LEAST <= magnification <= M_MOST
        and T_LEAST_MM <= tube_length_mm <= T_MOST_MM
    ):
        Domain.refuse(
            ocular_height_mm=ocular_height_mm,
            rotation_distance_mm=rotation_distance_mm,
            tube_tilt_deg=tube_tilt_deg,
            galilean_magnification=magnification,
            tube_length_mm=tube_length_mm,
        )
    tilt = radians(tube_tilt_deg)
    image_mm = tube_length_mm / magnification
    gaze = atan((ocular_height_mm + image_mm * sin(tilt)) / (rotation_distance_mm + image_mm * cos(tilt)))
    angle = radians(_off_axis(degrees(gaze) - tube_tilt_deg))
    return tube_tilt_deg + degrees(atan(tan(angle) / magnification))


@formula(
    "h = Rhousing + p/2 + clearance",
    unit="mm",
    source="",
    kind="derived",
    domain="Rhousing, p more than 0 mm; clearance ≥ 0",
)
def least_ocular_height_mm(housing_radius_mm: float, pupil_mm: float, clearance_mm: float) -> float:
    """Least height of the ocular's middle above the gaze line with which the pupil looks free under the housing, mm."""
    if not (
        SMALLEST < housing_radius_mm < LARGEST
        and PUPIL_LEAST_MM <= pupil_mm <= PUPIL_MOST_MM
        and 0.0 <= clearance_mm < LARGEST
    ):
        Domain.refuse(housing_radius_mm=housing_radius_mm, pupil_mm=pupil_mm, clearance_mm=clearance_mm)
    return housing_radius_mm + pupil_mm / 2.0 + clearance_mm


@formula(
    "B = (pupil height) + h + Rhousing + rim",
    unit="mm",
    source="YOHO09",
    kind="derived",
    domain="heights, Rhousing more than 0 mm; rim ≥ 0",
)
def least_lens_height_mm(
    pupil_height_mm: float, ocular_height_mm: float, housing_radius_mm: float, rim_mm: float = UPPER_RIM_MM
) -> float:
    """Least B size of the lens that takes the tube with its margin to the upper edge, mm."""
    if not (
        SMALLEST < pupil_height_mm < LARGEST
        and SMALLEST < ocular_height_mm < LARGEST
        and SMALLEST < housing_radius_mm < LARGEST
        and 0.0 <= rim_mm < LARGEST
    ):
        Domain.refuse(
            pupil_height_mm=pupil_height_mm,
            ocular_height_mm=ocular_height_mm,
            housing_radius_mm=housing_radius_mm,
            rim_mm=rim_mm,
        )
    return pupil_height_mm + ocular_height_mm + housing_radius_mm + rim_mm


@formula("τ + pantoscopic", unit="deg", source="", kind="derived", domain="each within ±60 deg")
def tube_to_lens_normal_deg(tube_tilt_deg: float, pantoscopic_deg: float) -> float:
    """Angle between the tube and the normal of the carrier lens, degrees: what the laboratory drills."""
    if not (
        -TUBE_TILT_MOST_DEG <= tube_tilt_deg <= TUBE_TILT_MOST_DEG
        and -TUBE_TILT_MOST_DEG <= pantoscopic_deg <= TUBE_TILT_MOST_DEG
    ):
        Domain.refuse(tube_tilt_deg=tube_tilt_deg, pantoscopic_deg=pantoscopic_deg)
    return tube_tilt_deg + pantoscopic_deg


@formula(
    "(h − Rhousing) − (segment top)",
    unit="mm",
    source="",
    kind="common practice",
    domain="h, Rhousing more than 0 mm; segment top above the gaze line, below it negative",
)
def bifocal_clearance_mm(
    ocular_height_mm: float, housing_radius_mm: float, segment_height_mm: float
) -> float:
    """Free height between the housing's lower edge and the top of a bifocal segment, mm; below 0 they overlap."""
    if not (
        SMALLEST < ocular_height_mm < LARGEST
        and SMALLEST < housing_radius_mm < LARGEST
        and -LARGEST < segment_height_mm < LARGEST
    ):
        Domain.refuse(
            ocular_height_mm=ocular_height_mm,
            housing_radius_mm=housing_radius_mm,
            segment_height_mm=segment_height_mm,
        )
    return ocular_height_mm - housing_radius_mm - segment_height_mm


@formula(
    "segment top ≥ 5 mm below the gaze line, or clearance ≥ 4 mm",
    unit="",
    source="",
    kind="common practice",
    domain="as the bifocal clearance",
)
def bifocal_clear(ocular_height_mm: float, housing_radius_mm: float, segment_height_mm: float) -> bool:
    """True when tube and bifocal segment leave each other room."""
    clearance = bifocal_clearance_mm(ocular_height_mm, housing_radius_mm, segment_height_mm)
    return segment_height_mm <= -SEGMENT_BELOW_GAZE_MM or clearance >= SEGMENT_CLEARANCE_MM


@formula(
    "β, β − τ, H = τ + atan[tan(β − τ)/M], τ + pantoscopic",
    unit="deg",
    source="",
    kind="derived",
    domain="as the head drop",
)
def bioptic_geometry(
    ocular_height_mm: float,
    rotation_distance_mm: float,
    tube_tilt_deg: float,
    magnification: float,
    pantoscopic_deg: float,
) -> BiopticGeometry:
    """The angles of one mounting together."""
    return BiopticGeometry(
        gaze_elevation_deg(ocular_height_mm, rotation_distance_mm),
        off_axis_deg(ocular_height_mm, rotation_distance_mm, tube_tilt_deg),
        head_drop_deg(ocular_height_mm, rotation_distance_mm, tube_tilt_deg, magnification),
        tube_to_lens_normal_deg(tube_tilt_deg, pantoscopic_deg),
    )
