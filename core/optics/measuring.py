"""Verifying a telescope at the chair: its power from diameters, from two images, or from a lensometer.

A tube set afocal reads 0.00 in a lensometer, which verifies its focus and not its power; the trial lens on
the objective brings the power out. Magnifications are signed as in the package.
"""

from __future__ import annotations

from math import sqrt

from ..constants import constant
from ..errors import DomainRefusal
from ..formula import formula
from ._domain import (
    AMETROPIA_MOST_D,
    DIAMETER_LEAST_MM,
    DIAMETER_MOST_MM,
    EVD_LEAST_MM,
    M_LEAST,
    M_MOST,
    POLE_MARGIN,
    T_LEAST_MM,
    T_MOST_MM,
    Domain,
    check,
    refused_evd,
)
from .rays import _b_through_tube_mm

# Common practice: a telescope is sold as its marked power when it lies within this share of it.
MARKED_POWER_TOLERANCE_PERCENT = constant("marked_power_tolerance")
_TUBE = "1.05 ≤ |M| ≤ 100, 0.5 ≤ t ≤ 1000 mm"


@formula(
    "|M| = Dobj/Dxp",
    unit="x",
    source="SMITH-290",
    kind="published",
    domain="tube afocal, objective rim is the stop",
)
def magnification_from_diameters(
    objective_diameter_mm: float, exit_pupil_diameter_mm: float, keplerian: bool = False
) -> float:
    """The signed magnification from the measured objective and exit-pupil diameters in mm, tube set afocal.

    ``keplerian`` gives the sign, whether or not a prism turns the picture. A 0.2 mm error in 6 mm is 3 %.
    Refuses diameters outside 0.1 to 500 mm and a ratio under 1.05.
    """
    if not DIAMETER_LEAST_MM <= objective_diameter_mm <= DIAMETER_MOST_MM:
        Domain.refuse(objective_diameter_mm=objective_diameter_mm)
    if not DIAMETER_LEAST_MM <= exit_pupil_diameter_mm <= DIAMETER_MOST_MM:
        Domain.refuse(exit_pupil_diameter_mm=exit_pupil_diameter_mm)
    return _signed(objective_diameter_mm / exit_pupil_diameter_mm, keplerian)


@formula("(w + t + d)/|w/M + t + M·d|", unit="x", source="", kind="derived", domain=_TUBE)
def size_ratio_at_eye(
    magnification: float, tube_length_mm: float, object_distance_mm: float, eye_distance_mm: float
) -> float:
    """How many times larger an object at ``object_distance_mm`` looks through the tube than to the naked
    eye in place.

    Distances in mm; it tends to |M| for far objects and is smaller nearer. Refuses as :mod:`.focus` does
    for EVD.
    """
    evd = abs(_b_through_tube_mm(magnification, tube_length_mm, object_distance_mm, eye_distance_mm))
    if evd < EVD_LEAST_MM:
        raise refused_evd(evd)
    return (object_distance_mm + tube_length_mm + eye_distance_mm) / evd


@formula(
    "|M| = 2w/[(q ∓ t) + √((q ∓ t)² − 4·d·w)], q = (w + t + d)/ratio",
    unit="x",
    source="",
    kind="derived",
    domain="w well beyond M²·d; the sign is − for Galilean, + for Keplerian",
)
def magnification_from_image_sizes(
    size_ratio: float,
    object_distance_mm: float | None = None,
    tube_length_mm: float = 0.0,
    eye_distance_mm: float = 0.0,
    keplerian: bool = False,
) -> float:
    """The signed magnification from two images: one eye through the tube, the other naked, on a ruler or
    brick wall.

    ``size_ratio`` is how many naked units one magnified unit covers. Without ``object_distance_mm`` the
    ruler counts as far (beyond 6 m) and the ratio is |M|; nearer, give its distance, the tube length and
    the eye distance in mm. Refuses a ratio outside 1 to 100, and distances at which no telescope of at
    least 1.05x gives that ratio.
    """
    check(size_ratio=size_ratio)
    if object_distance_mm is None:
        return _signed(size_ratio, keplerian)
    check(tube_length_or_0_mm=tube_length_mm)
    check(object_distance_mm=object_distance_mm, eye_distance_mm=eye_distance_mm)
    equivalent = (object_distance_mm + tube_length_mm + eye_distance_mm) / size_ratio
    rest = equivalent + tube_length_mm if keplerian else equivalent - tube_length_mm
    square = rest * rest - 4.0 * eye_distance_mm * object_distance_mm
    if rest <= 0.0 or square < 0.0:
        raise DomainRefusal(
            "ratio of the two image sizes",
            size_ratio,
            "a smaller ratio, or a ruler farther away",
            reason="no tube of this length shows an object at that distance so large",
        )
    return _signed(2.0 * object_distance_mm / (rest + sqrt(square)), keplerian)


@formula("V = M²·F/(1 − t·M·F)", unit="D", source="", kind="derived", domain="1 − t·M·F > 0.05")
def trial_lens_bvp_d(magnification: float, tube_length_mm: float, trial_lens_d: float) -> float:
    """The back vertex power in dioptres of an afocal tube with a trial lens of ``trial_lens_d`` at its
    objective.

    Refuses trial lenses over 100 D and those that focus inside the tube.
    """
    if not (M_LEAST <= abs(magnification) <= M_MOST and T_LEAST_MM <= tube_length_mm <= T_MOST_MM):
        Domain.refuse(magnification=magnification, tube_length_mm=tube_length_mm)
    if not -AMETROPIA_MOST_D <= trial_lens_d <= AMETROPIA_MOST_D:
        Domain.refuse(trial_lens_d=trial_lens_d)
    denominator = 1.0 - tube_length_mm * magnification * trial_lens_d / 1000.0
    if denominator <= POLE_MARGIN:
        raise DomainRefusal(
            "trial lens",
            trial_lens_d,
            "a weaker trial lens",
            example="0.5" if trial_lens_d > 0.0 else "-0.5",
            reason="with it the light comes to a focus before it leaves this tube",
        )
    return magnification * magnification * trial_lens_d / denominator


@formula("M² + t·V·M − V/F = 0; small F: M = √(V/F)", unit="x", source="", kind="derived", domain="V/F > 0")
def magnification_from_trial_lens(
    back_vertex_power_d: float, trial_lens_d: float, tube_length_mm: float = 0.0, keplerian: bool = False
) -> float:
    """The signed magnification from a lensometer: ``back_vertex_power_d`` read with ``trial_lens_d`` on the
    objective.

    The tube must read 0.00 without the trial lens (which verifies its focus, not its power). With a tube
    length of 0 the rule for a weak lens, √(V/F), is used. Refuses trial lenses under 0.12 D or over 100 D,
    readings over 1000 D, a reading of the other sign than the lens, and a result under 1.05x.
    """
    check(
        trial_lens_read_d=trial_lens_d,
        back_vertex_power_d=back_vertex_power_d,
        tube_length_or_0_mm=tube_length_mm,
    )
    ratio = back_vertex_power_d / trial_lens_d
    if ratio <= 0.0:
        raise DomainRefusal(
            "back vertex power",
            back_vertex_power_d,
            "a reading of the same sign as the trial lens",
            reason="a tube set afocal never turns the sign of the lens",
        )
    half = tube_length_mm * back_vertex_power_d / 2000.0
    root = sqrt(half * half + ratio)
    return _signed(root + half if keplerian else root - half, keplerian)


@formula(
    "t = |M|·(exit-pupil depth)", unit="mm", source="", kind="derived", domain="tube afocal, thick or thin"
)
def tube_length_from_exit_pupil_mm(magnification: float, exit_pupil_depth_mm: float) -> float:
    """The optical tube length (matrix element B) in mm, from the measured distance between ocular and exit
    pupil.

    The depth is counted without sign: inside a Galilean, behind a Keplerian. Refuses depths of 0 or over
    500 mm.
    """
    if not M_LEAST <= abs(magnification) <= M_MOST:
        Domain.refuse(magnification=magnification)
    if not 0.0 < exit_pupil_depth_mm <= DIAMETER_MOST_MM:
        Domain.refuse(exit_pupil_depth_mm=exit_pupil_depth_mm)
    return abs(magnification) * exit_pupil_depth_mm


@formula("100·(|M| measured/|M| marked − 1)", unit="%", source="", kind="common practice", domain=_TUBE)
def marked_power_deviation_percent(marked_magnification: float, measured_magnification: float) -> float:
    """By how many per cent the measured power exceeds (plus) or misses (minus) the marked one, without
    regard to sign.
    """
    for value in (marked_magnification, measured_magnification):
        if not M_LEAST <= abs(value) <= M_MOST:
            Domain.refuse(magnification=value)
    return 100.0 * (abs(measured_magnification) / abs(marked_magnification) - 1.0)


@formula("|deviation| ≤ tolerance", unit="", source="", kind="common practice", domain=_TUBE)
def marked_power_agrees(
    marked_magnification: float,
    measured_magnification: float,
    tolerance_percent: float = MARKED_POWER_TOLERANCE_PERCENT,
) -> bool:
    """Whether a measured power agrees with the marked one within ``tolerance_percent`` (5 is common
    practice).
    """
    check(tolerance_percent=tolerance_percent)
    return (
        abs(marked_power_deviation_percent(marked_magnification, measured_magnification)) <= tolerance_percent
    )


def _signed(size: float, keplerian: bool) -> float:
    if not M_LEAST <= size <= M_MOST:
        Domain.refuse(magnification=size)
    return -size if keplerian else size
