"""The field of one eye behind one tube, whichever aperture rules, with everything that it hangs on."""

from __future__ import annotations

from math import atan, degrees, radians, tan

from ..errors import AfocalError, DomainRefusal
from ..formula import formula
from ..optics.binocular_field import (
    housing_extent_deg,
    ring_outer_diameter_deg,
)
from ..optics.field import (
    field_of_fixation_deg,
    ocular_limit_deg,
    real_field_deg,
)
from ..optics.field_general import apparent_field_general_deg, real_field_general_deg
from ..optics.field_of_view import field_in_use, galilean_field
from ..optics.keplerian_field import keplerian_field, keyhole_slope
from ..optics.rays import RayMatrix
from ..optics.telescope import (
    objective_power_d,
    ocular_power_d,
)
from ..stock import Telescope
from .context import EyeIn
from .formulas import (
    as_recorded,
    eye_offset_mm,
)
from .types import (
    FieldNumbers,
    RefusalCode,
)
from .words import said

# Under this an uncorrected ametropia moves no working distance that could be measured.
UNCORRECTED_LEAST_D = 0.01
# With less than this part of the apparent field left at the keyhole nothing useful is seen (common practice).
KEYHOLE_LEAST_SHARE = 0.35


class Infeasible(AfocalError):
    """A configuration that cannot be used: the code of the reason and a sentence."""

    def __init__(self, code: RefusalCode, reason: str) -> None:
        super().__init__(reason)
        self.code: RefusalCode = code
        self.reason = reason


@formula(
    "tan(real/2) = keyhole/|M|",
    unit="deg",
    source="",
    kind="derived",
    domain="eye off the exit pupil of a Keplerian",
)
def real_field_through_keyhole_deg(keyhole_half_slope: float, magnification: float) -> float:
    """Real field, degrees, when the eye's place off the exit pupil limits it."""
    return degrees(2.0 * atan(keyhole_half_slope / abs(magnification)))


@formula(
    "tan(apparent/2) = |M|·tan(real/2)",
    unit="deg",
    source="",
    kind="derived",
    domain="real field under 170 deg",
)
def apparent_from_real_field_deg(real_field_deg: float, magnification: float) -> float:
    """Apparent field, degrees, from the real one."""
    return degrees(2.0 * atan(abs(magnification) * tan(radians(0.5 * real_field_deg))))


def field_numbers(
    eye: EyeIn,
    telescope: Telescope,
    magnification: float,
    tube: float,
    distance: float,
    rotation: float,
    pupil_at: float,
    pupil_size: float,
    refocused: bool,
) -> FieldNumbers:
    try:
        if telescope.type == "galilean":
            numbers = _galilean(eye, telescope, magnification, tube, distance, rotation, refocused)
        else:
            numbers = _keplerian(eye, telescope, magnification, distance, pupil_at, pupil_size)
    except DomainRefusal as refusal:
        raise Infeasible("optics", said(refusal)) from None
    real, apparent, criterion, basis, limited, at, three, fixation, keyhole = numbers
    full, half, total = three
    return FieldNumbers(
        real_field_deg=real,
        apparent_field_deg=apparent,
        criterion=criterion,
        eye_distance_mm=at,
        pupil_mm=eye.pupil_mm,
        basis=basis,
        limited_by=limited,
        real_field_full_deg=full,
        real_field_half_deg=half,
        real_field_total_deg=total,
        field_of_fixation_deg=fixation,
        ring_outer_diameter_deg=ring_outer_diameter_deg(magnification, real),
        ring_housing_deg=housing_extent_deg(telescope.housing_radius_mm, distance),
        keyhole_half_slope=keyhole,
    )


def _galilean(
    eye: EyeIn,
    telescope: Telescope,
    magnification: float,
    tube: float,
    distance: float,
    rotation: float,
    refocused: bool,
) -> tuple:
    size = telescope.objective_diameter_mm
    fixation = field_of_fixation_deg(magnification, tube, size, rotation)
    if not refocused:
        nominal = galilean_field(
            magnification, tube, size, distance, eye.pupil_mm, "half", telescope.ocular_diameter_mm
        )
        three = tuple(
            real_field_deg(magnification, tube, size, distance, eye.pupil_mm, criterion)
            for criterion in ("full", "half", "total")
        )
        used = field_in_use(
            nominal, magnification, telescope.measured_field_deg, telescope.measured_field_eye_distance_mm
        )
        return (
            used.real_field_deg, used.apparent_field_deg, used.criterion, used.basis, used.limited_by,
            used.eye_distance_mm, three, fixation, None,
        )  # fmt: skip
    system = _system(telescope, tube)
    three = tuple(
        real_field_general_deg(system, size, distance, eye.pupil_mm, criterion)
        for criterion in ("full", "half", "total")
    )
    real, apparent, limited = three[1], apparent_field_general_deg(system, size, distance), "objective"
    if telescope.ocular_diameter_mm is not None:
        allowed = ocular_limit_deg(telescope.ocular_diameter_mm, distance, eye.pupil_mm)
        if allowed < apparent:
            real, apparent, limited = real_from_apparent_field_deg(allowed, magnification), allowed, "ocular"
    if telescope.measured_field_deg is not None:
        real = as_recorded(telescope.measured_field_deg)
        apparent = apparent_from_real_field_deg(real, magnification)
        return real, apparent, "measured", "measured", "as measured", distance, three, fixation, None
    return real, apparent, "half", "nominal", limited, distance, three, fixation, None


@formula(
    "tan(real/2) = tan(apparent/2)/|M|",
    unit="deg",
    source="",
    kind="derived",
    domain="apparent under 170 deg",
)
def real_from_apparent_field_deg(apparent_field_deg: float, magnification: float) -> float:
    """Real field, degrees, from the apparent one."""
    return degrees(2.0 * atan(tan(radians(0.5 * apparent_field_deg)) / abs(magnification)))


def _system(telescope: Telescope, tube: float) -> RayMatrix:
    """The ray matrix of the tube at another length than its afocal one."""
    signed, length = telescope.signed_magnification, telescope.tube_length_mm
    objective, ocular = objective_power_d(signed, length), ocular_power_d(signed, length)
    return RayMatrix(
        1.0 - tube * objective / 1000.0,
        tube / 1000.0,
        -(objective + ocular - tube * objective * ocular / 1000.0),
        1.0 - tube * ocular / 1000.0,
    )


def _keplerian(
    eye: EyeIn,
    telescope: Telescope,
    magnification: float,
    distance: float,
    pupil_at: float,
    pupil_size: float,
) -> tuple:
    signed, length = telescope.signed_magnification, telescope.tube_length_mm
    # The keyhole is reckoned from the exit pupil as it is, so the stop and ocular are taken with the eye at it.
    nominal = keplerian_field(
        signed,
        length,
        telescope.objective_diameter_mm,
        length / abs(signed),
        eye.pupil_mm,
        "half",
        telescope.field_stop_mm,
        telescope.ocular_diameter_mm,
    )
    used = field_in_use(
        nominal, signed, telescope.measured_field_deg, telescope.measured_field_eye_distance_mm
    )
    real, limited = used.real_field_deg, used.limited_by
    apparent = apparent_from_real_field_deg(real, magnification)
    offset = eye_offset_mm(distance, pupil_at)
    keyhole = None
    if abs(offset) > 1e-6:
        keyhole = keyhole_slope(pupil_size, eye.pupil_mm, offset, "half")
        full_slope = tan(radians(0.5 * apparent))
        if keyhole < KEYHOLE_LEAST_SHARE * full_slope:
            raise Infeasible(
                "exit pupil blackout",
                f"The exit pupil lies {pupil_at:.1f} mm behind the ocular and the eye {distance:.1f} mm: only "
                f"{100.0 * keyhole / full_slope:.0f} % of the field's width would be seen. Move the ocular "
                f"{abs(distance - pupil_at):.1f} mm {'nearer' if distance > pupil_at else 'away'}.",
            )
        if keyhole < full_slope and used.basis == "nominal":
            real, limited = real_field_through_keyhole_deg(keyhole, magnification), "keyhole"
            apparent = apparent_from_real_field_deg(real, magnification)
    return real, apparent, used.criterion, used.basis, limited, distance, (None, None, None), None, keyhole
