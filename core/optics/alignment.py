"""What tilted, shifted or unequal tubes do to two eyes, and how much of it they bear.

Deviations are at the eye, in minutes of arc or prism dioptres. ``image_erect`` is true for a Galilean and for a
Keplerian with erecting prism: the picture then moves against the tilt of the tube, by (|M| − 1) times the tilt; in a
plain inverting tube it moves with the tilt, by (|M| + 1) times. Limits come from instrument practice or, better,
from the patient's own fusional reserves measured through the device.
"""

from __future__ import annotations

from math import atan, degrees, radians, sqrt, tan
from typing import Literal, NamedTuple

from ..constants import constant
from ..errors import DomainRefusal
from ..formula import formula
from ._domain import (
    ANGLE_MOST_ARCMIN,
    CAP_LEAST_D,
    CAP_MOST_D,
    EYE_DISTANCE_MOST_MM,
    LARGEST,
    M_LEAST,
    M_MOST,
    PRISM_MOST,
    T_LEAST_MM,
    T_MOST_MM,
    Domain,
)
from .convergence import object_to_pupil_b_mm

Rule = Literal["Sheard", "Percival"]

# Spectacle limits in all, prism dioptres (ANSI Z80.1-2010, summary read); adjustable.
SPECTACLE_VERTICAL_PRISM = constant("spectacle_vertical_prism_tolerance")
SPECTACLE_HORIZONTAL_PRISM = constant("spectacle_horizontal_prism_tolerance")
# Common practice: the two magnifications should differ by less than this.
MAGNIFICATION_DIFFERENCE_PERCENT = 2.0


class AlignmentLimits(NamedTuple):
    """Tolerated deviations between the two pictures at the eyes, minutes of arc, by what the eyes must do."""

    vertical_arcmin: float
    convergence_arcmin: float
    divergence_arcmin: float


class TiltTolerances(NamedTuple):
    """Tilt between the tubes that uses up each limit, minutes of arc, by how the tubes stand."""

    vertical_arcmin: float
    toe_out_arcmin: float
    toe_in_arcmin: float


class ComfortableVergence(NamedTuple):
    """The vergence demands that a rule calls comfortable, prism dioptres; divergence counts below 0."""

    lowest_prism: float
    highest_prism: float


# Collimation limits of binocular instruments at the eye (Tonkin, Binocular Astronomy, table 2.1); adjustable.
INSTRUMENT_LIMITS = AlignmentLimits(
    constant("instrument_vertical_step"),
    constant("instrument_convergence"),
    constant("instrument_divergence"),
)


@formula("100 tan(angle)", unit="prism dioptres", source="", kind="derived", domain="|angle| ≤ 2700 arcmin")
def arcmin_to_prism(angle_arcmin: float) -> float:
    """An angle in minutes of arc as prism dioptres; the sign is kept."""
    if not -ANGLE_MOST_ARCMIN <= angle_arcmin <= ANGLE_MOST_ARCMIN:
        Domain.refuse(angle_arcmin=angle_arcmin)
    return 100.0 * tan(radians(angle_arcmin / 60.0))


@formula("atan(P / 100)", unit="arcmin", source="", kind="derived", domain="|P| ≤ 100")
def prism_to_arcmin(prism: float) -> float:
    """Prism dioptres as minutes of arc; the sign is kept."""
    if not -PRISM_MOST <= prism <= PRISM_MOST:
        Domain.refuse(prism=prism)
    return 60.0 * degrees(atan(prism / 100.0))


@formula(
    "atan(M tan θ) − θ; inverting atan(|M| tan θ) + θ",
    unit="arcmin",
    source="",
    kind="derived",
    domain="|M| ≥ 1.05; |θ| ≤ 2700 arcmin",
)
def tilt_deviation_arcmin(magnification: float, tilt_arcmin: float, image_erect: bool = True) -> float:
    """Deviation of the picture by a rigid tilt of the tube, minutes of arc, with the sign of the tilt.

    About (|M| − 1) θ against the tilt; for a plain inverting tube (M below 0, ``image_erect`` false) about
    (|M| + 1) θ with the tilt.
    """
    size = abs(magnification)
    if not (M_LEAST <= size <= M_MOST and -ANGLE_MOST_ARCMIN <= tilt_arcmin <= ANGLE_MOST_ARCMIN):
        Domain.refuse(magnification=magnification, tilt_arcmin=tilt_arcmin)
    shown_arcmin = 60.0 * degrees(atan(size * tan(radians(tilt_arcmin / 60.0))))
    if magnification < 0.0 and not image_erect:
        return shown_arcmin + tilt_arcmin
    return shown_arcmin - tilt_arcmin


@formula(
    "tan θ = 2 tan δ / {(M − 1) + √[(M − 1)² − 4 M tan²δ]}; about δ/(M − 1), inverting δ/(|M| + 1)",
    unit="arcmin",
    source="",
    kind="derived",
    domain="|M| ≥ 1.05; δ within what a tilt can do: tan δ ≤ (M − 1)/(2 √M) for an erect image",
)
def tilt_for_deviation_arcmin(
    magnification: float, deviation_arcmin: float, image_erect: bool = True
) -> float:
    """Tilt of one tube against the other that makes a deviation at the eye (its smaller solution), minutes of arc.

    The inverse of :func:`tilt_deviation_arcmin`; with a limit put in, the tilt that uses it up.
    """
    size = abs(magnification)
    if not (M_LEAST <= size <= M_MOST and -ANGLE_MOST_ARCMIN <= deviation_arcmin <= ANGLE_MOST_ARCMIN):
        Domain.refuse(magnification=magnification, deviation_arcmin=deviation_arcmin)
    seen = -size if magnification < 0.0 and not image_erect else size
    wanted = tan(radians(deviation_arcmin / 60.0))
    under_root = (seen - 1.0) ** 2 - 4.0 * seen * wanted * wanted
    if under_root < 0.0:
        most = 60.0 * degrees(atan((size - 1.0) / (2.0 * sqrt(size))))
        raise DomainRefusal(
            "deviation",
            deviation_arcmin,
            f"at most {most:.0f} minutes of arc either way at {size:g}x",
            example="15",
            reason="no tilt of this tube deviates the picture so far",
        )
    tangent = 2.0 * wanted / (abs(seen - 1.0) + sqrt(under_root))
    return 60.0 * degrees(atan(tangent))


@formula(
    "tolerance at the eye / |M|",
    unit="arcmin",
    source="TONKIN",
    kind="published",
    domain="|M| ≥ 1.05; tolerance ≥ 0",
)
def line_of_sight_tolerance_arcmin(eye_side_arcmin: float, magnification: float) -> float:
    """Tolerance of the line of sight in object space, minutes of arc, from the one at the eye."""
    size = abs(magnification)
    if not (0.0 <= eye_side_arcmin < LARGEST and M_LEAST <= size <= M_MOST):
        Domain.refuse(eye_side_arcmin=eye_side_arcmin, magnification=magnification)
    return eye_side_arcmin / size


@formula("c(cm) F", unit="prism dioptres", source="", kind="memory", domain="finite c and F")
def prentice_prism(decentration_mm: float, lens_power_d: float) -> float:
    """Prism of a lens at some mm from its optical centre (Prentice's rule); signs are kept."""
    if not (-LARGEST < decentration_mm < LARGEST and -LARGEST < lens_power_d < LARGEST):
        Domain.refuse(signed_decentration_mm=decentration_mm, prism_lens_d=lens_power_d)
    return decentration_mm * lens_power_d / 10.0


@formula(
    "c(cm) |Foc|, |Foc| = |1 − M| / t",
    unit="prism dioptres",
    source="",
    kind="derived",
    domain="|M| ≥ 1.05; t more than 0 mm; c ≥ 0",
)
def objective_decentration_prism(
    magnification: float, tube_length_mm: float, decentration_mm: float
) -> float:
    """Deviation at the eye from an objective that sits c mm off the axis inside its tube, prism dioptres."""
    size = abs(magnification)
    if not (
        M_LEAST <= size <= M_MOST
        and T_LEAST_MM <= tube_length_mm <= T_MOST_MM
        and 0.0 <= decentration_mm < LARGEST
    ):
        Domain.refuse(
            magnification=magnification, tube_length_mm=tube_length_mm, decentration_mm=decentration_mm
        )
    return 100.0 * decentration_mm * abs(1.0 - magnification) / tube_length_mm


def _slope_per_mm(
    magnification: float,
    tube_length_mm: float,
    cap_power_d: float,
    eye_distance_mm: float,
    object_distance_mm: float | None,
) -> float:
    """Prism dioptres at the eye for each mm that the object lies off the axis."""
    if object_distance_mm is not None:
        return 100.0 / abs(
            object_to_pupil_b_mm(
                magnification, tube_length_mm, object_distance_mm, eye_distance_mm, cap_power_d
            )
        )
    size = abs(magnification)
    if not (
        M_LEAST <= size <= M_MOST
        and T_LEAST_MM <= tube_length_mm <= T_MOST_MM
        and CAP_LEAST_D <= cap_power_d <= CAP_MOST_D
        and 0.0 <= eye_distance_mm <= EYE_DISTANCE_MOST_MM
    ):
        Domain.refuse(
            magnification=magnification,
            tube_length_mm=tube_length_mm,
            cap_power_d=cap_power_d,
            eye_distance_mm=eye_distance_mm,
        )
    return size * cap_power_d / 10.0


@formula(
    "|M| Fcap s(cm) at the cap focus; 100 s/|B| elsewhere",
    unit="prism dioptres",
    source="",
    kind="derived",
    domain="|M| ≥ 1.05; t, d more than 0 mm; Fcap more than 0 unless the object distance is given; s ≥ 0",
)
def decentration_prism(
    magnification: float,
    tube_length_mm: float,
    cap_power_d: float,
    eye_distance_mm: float,
    decentration_mm: float,
    object_distance_mm: float | None = None,
) -> float:
    """Prism at one eye when its tube with cap stands s mm off the target, sideways or in height.

    The object is at the focus of the cap (tube length and eye distance then do not matter) unless its distance in
    mm is given. At distance, without cap, a perfect afocal tube shifted sideways deviates nothing.
    """
    if not 0.0 <= decentration_mm < LARGEST:
        Domain.refuse(decentration_mm=decentration_mm)
    return decentration_mm * _slope_per_mm(
        magnification, tube_length_mm, cap_power_d, eye_distance_mm, object_distance_mm
    )


@formula(
    "x = 10 P / (|M| Fcap) at the cap focus; P |B| / 100 elsewhere",
    unit="mm",
    source="",
    kind="derived",
    domain="|M| ≥ 1.05; t, d more than 0 mm; Fcap more than 0 unless the object distance is given; P ≥ 0",
)
def height_mismatch_for_prism_mm(
    magnification: float,
    tube_length_mm: float,
    cap_power_d: float,
    eye_distance_mm: float,
    tolerance_prism: float,
    object_distance_mm: float | None = None,
) -> float:
    """Difference in height of tubes or caps that makes a tolerated vertical prism at near, mm.

    The same mismatch does nothing at distance. Object and arguments as :func:`decentration_prism`.
    """
    if not 0.0 <= tolerance_prism < LARGEST:
        Domain.refuse(tolerance_prism=tolerance_prism)
    return tolerance_prism / _slope_per_mm(
        magnification, tube_length_mm, cap_power_d, eye_distance_mm, object_distance_mm
    )


@formula("100 (larger |M| / smaller |M| − 1)", unit="%", source="", kind="derived", domain="both |M| ≥ 1.05")
def magnification_difference_percent(right_magnification: float, left_magnification: float) -> float:
    """How much larger the picture of one tube is than that of the other, per cent; under 2 is common practice."""
    right, left = abs(right_magnification), abs(left_magnification)
    if not (M_LEAST <= right <= M_MOST and M_LEAST <= left <= M_MOST):
        Domain.refuse(magnification=left if M_LEAST <= right <= M_MOST else right)
    return 100.0 * (max(right, left) / min(right, left) - 1.0)


@formula(
    "limit / (|M| − 1) for an erect image, exact by tangents",
    unit="arcmin",
    source="TONKIN",
    kind="derived",
    domain="|M| ≥ 1.05; each limit within what a tilt can do",
)
def tilt_tolerances(
    magnification: float, limits: AlignmentLimits = INSTRUMENT_LIMITS, image_erect: bool = True
) -> TiltTolerances:
    """Tilt between two tubes that uses up each limit.

    Tubes toed out ask erect-image eyes to converge, tubes toed in to diverge, where reserves are smallest; plain
    inverting tubes turn this round.
    """
    vertical = tilt_for_deviation_arcmin(magnification, limits.vertical_arcmin, image_erect)
    converge = tilt_for_deviation_arcmin(magnification, limits.convergence_arcmin, image_erect)
    diverge = tilt_for_deviation_arcmin(magnification, limits.divergence_arcmin, image_erect)
    if magnification < 0.0 and not image_erect:
        return TiltTolerances(vertical, diverge, converge)
    return TiltTolerances(vertical, converge, diverge)


@formula("reserve / 2", unit="prism dioptres", source="SCHEIMAN", kind="memory", domain="reserve ≥ 0")
def sheard_limit_prism(reserve_prism: float) -> float:
    """Largest demand that Sheard's rule allows: the opposing reserve (blur) must be at least twice the demand."""
    if not 0.0 <= reserve_prism < LARGEST:
        Domain.refuse(reserve_prism=reserve_prism)
    return reserve_prism / 2.0


@formula(
    "P = (2 demand − reserve) / 3, not below 0",
    unit="prism dioptres",
    source="SCHEIMAN",
    kind="memory",
    domain="demand, reserve ≥ 0",
)
def sheard_prism(demand_prism: float, reserve_prism: float) -> float:
    """Relieving prism after which Sheard's rule holds: it takes from the demand and gives to the opposing reserve."""
    if not (0.0 <= demand_prism < LARGEST and 0.0 <= reserve_prism < LARGEST):
        Domain.refuse(demand_prism=demand_prism, reserve_prism=reserve_prism)
    return max(0.0, (2.0 * demand_prism - reserve_prism) / 3.0)


@formula(
    "from (BO − 2 BI)/3 to (2 BO − BI)/3",
    unit="prism dioptres",
    source="SCHEIMAN",
    kind="memory",
    domain="BI, BO ≥ 0",
)
def percival_range(base_in_prism: float, base_out_prism: float) -> ComfortableVergence:
    """Demands in the middle third of the reserves, Percival's rule; convergence positive, divergence negative.

    When 0 lies outside the range, already the view without extra demand breaks the rule.
    """
    if not (0.0 <= base_in_prism < LARGEST and 0.0 <= base_out_prism < LARGEST):
        Domain.refuse(base_in_prism=base_in_prism, base_out_prism=base_out_prism)
    return ComfortableVergence(
        (base_out_prism - 2.0 * base_in_prism) / 3.0, (2.0 * base_out_prism - base_in_prism) / 3.0
    )


@formula(
    "Sheard: half of each reserve; Percival: the middle third, not below 0; vertical: half of the reserve",
    unit="arcmin",
    source="SCHEIMAN",
    kind="memory",
    domain="0 ≤ reserves ≤ 100 prism dioptres",
)
def limits_from_reserves(
    base_in_prism: float, base_out_prism: float, vertical_prism: float, rule: Rule = "Sheard"
) -> AlignmentLimits:
    """Alignment limits from the patient's own fusional reserves (blur, else break), measured through the device.

    Convergence is opposed by the base-out reserve, divergence by base-in. The vertical limit is half of the
    vertical reserve by either rule.
    """
    if rule == "Sheard":
        converge, diverge = sheard_limit_prism(base_out_prism), sheard_limit_prism(base_in_prism)
    elif rule == "Percival":
        comfortable = percival_range(base_in_prism, base_out_prism)
        converge = max(0.0, comfortable.highest_prism)
        diverge = max(0.0, -comfortable.lowest_prism)
    else:
        raise DomainRefusal("rule for the reserves", rule, "Sheard or Percival", example="Sheard")
    if not 0.0 <= vertical_prism < LARGEST:
        Domain.refuse(vertical_prism=vertical_prism)
    return AlignmentLimits(
        prism_to_arcmin(vertical_prism / 2.0), prism_to_arcmin(converge), prism_to_arcmin(diverge)
    )


@formula(
    "the smaller of the two, limit by limit",
    unit="arcmin",
    source="",
    kind="derived",
    domain="limits as given",
)
def stricter_limits(first: AlignmentLimits, second: AlignmentLimits) -> AlignmentLimits:
    """The limits that satisfy both the instrument and the patient."""
    return AlignmentLimits(
        min(first.vertical_arcmin, second.vertical_arcmin),
        min(first.convergence_arcmin, second.convergence_arcmin),
        min(first.divergence_arcmin, second.divergence_arcmin),
    )
