"""How much defocus an eye bears: blur and acuity, depth of focus, and the accommodation there is by age.

Every constant here is an assumption that the settings let the clinic change. The acuity meant is the eye's
own: a telescope does not change it.
"""

from __future__ import annotations

from math import log10, sqrt
from typing import Literal

from ..constants import constant
from ..errors import DomainRefusal
from ..formula import formula
from ._domain import (
    AMETROPIA_MOST_D,
    BLUR_CONSTANT_LEAST,
    BLUR_CONSTANT_MOST,
    MAR_LEAST_ARCMIN,
    MAR_MOST_ARCMIN,
    PUPIL_LEAST_MM,
    PUPIL_MOST_MM,
    TOLERANCE_MOST_D,
    Domain,
    check,
)
from .ametropia import residual_defocus_d

# Minutes of arc by which 1 D of defocus with a pupil of 1 mm widens the limit of resolution
# (memory, SMITH91).
BLUR_CONSTANT = constant("blur_constant")
SUSTAINED_FRACTION = constant("sustained_share_of_amplitude")
# The pupils and the defocus for which the law of blur was stated (memory, SMITH91).
BLUR_LAW_PUPILS_MM = (1.5, 7.0)
BLUR_LAW_MOST_D = 6.0
# Hofstetter's lines promise too much in middle age: from here on no accommodation is counted on
# (common practice).
NO_ACCOMMODATION_FROM_YEARS = constant("age_without_accommodation")
# Acuity loss taken as the edge of clear (common practice).
TOLERATED_LOSS_LOGMAR = constant("tolerated_loss")
# Dioptres at birth and dioptres lost a year (Hofstetter).
_HOFSTETTER = {"min": (15.0, 0.25), "mean": (18.5, 0.3), "max": (25.0, 0.4)}


@formula(
    "log₁₀[√(MAR₀² + (k·p·E)²)/MAR₀]", unit="logMAR", source="SMITH91", kind="memory", domain="p 0.5 to 12 mm"
)
def blur_loss_logmar(
    mar_arcmin: float, pupil_mm: float, defocus_d: float, blur_constant: float = BLUR_CONSTANT
) -> float:
    """The loss in logMAR (0 or more) that ``defocus_d`` of either sign causes an eye of ``mar_arcmin``.

    The law was stated for pupils of 1.5 to 7 mm and up to 6 D of defocus; beyond, it is an extrapolation.
    Refuses MAR outside 0.1 to 1000 arcmin, pupils outside 0.5 to 12 mm, defocus over 100 D, and a blur
    constant outside 0.1 to 3 arcmin per mm D.
    """
    _check_eye(mar_arcmin, pupil_mm, blur_constant)
    if not -AMETROPIA_MOST_D <= defocus_d <= AMETROPIA_MOST_D:
        Domain.refuse(defocus_d=defocus_d)
    blur = blur_constant * pupil_mm * defocus_d / mar_arcmin
    return 0.5 * log10(1.0 + blur * blur)


@formula("1.5 ≤ p ≤ 7 mm and |E| ≤ 6 D", unit="", source="SMITH91", kind="memory", domain="p 0.5 to 12 mm")
def blur_law_holds(pupil_mm: float, defocus_d: float) -> bool:
    """Whether the law of blur was stated for such a pupil (mm) and defocus (D, either sign).

    Where it was not, the loss of :func:`blur_loss_logmar` is an extrapolation, to be said beside the number. Refuses
    pupils outside 0.5 to 12 mm and defocus over 100 D.
    """
    check(pupil_mm=pupil_mm, defocus_d=defocus_d)
    return BLUR_LAW_PUPILS_MM[0] <= pupil_mm <= BLUR_LAW_PUPILS_MM[1] and abs(defocus_d) <= BLUR_LAW_MOST_D


@formula(
    "loss at E = √[(S² + (S + C)²)/2]",
    unit="logMAR",
    source="SMITH91",
    kind="memory",
    domain="as the residual defocus and the blur loss",
)
def residual_loss_logmar(
    mar_arcmin: float,
    pupil_mm: float,
    residual_sphere_d: float,
    residual_cylinder_d: float = 0.0,
    blur_constant: float = BLUR_CONSTANT,
) -> float:
    """The loss in logMAR predicted for a sphere and cylinder (dioptres, either form) left uncorrected at the eye.

    The eye is taken as relaxed and the tube in focus, which reduces neither. Refuses as :func:`blur_loss_logmar`.
    """
    defocus = residual_defocus_d(residual_sphere_d, residual_cylinder_d)
    return blur_loss_logmar(mar_arcmin, pupil_mm, defocus, blur_constant)


@formula(
    "E = MAR₀·√(10^(2·loss) − 1)/(k·p)", unit="D", source="SMITH91", kind="memory", domain="p 0.5 to 12 mm"
)
def tolerated_defocus_d(
    mar_arcmin: float,
    pupil_mm: float,
    blur_constant: float = BLUR_CONSTANT,
    loss_logmar: float = TOLERATED_LOSS_LOGMAR,
    lower_d: float | None = None,
    upper_d: float | None = None,
) -> float:
    """The defocus in dioptres, either way, that costs an eye of ``mar_arcmin`` the given loss; clipped
    where limits are given.

    Refuses as :func:`blur_loss_logmar`, losses outside 0.01 to 1 logMAR, and limits under 0, over 10 D or
    crossed.
    """
    _check_eye(mar_arcmin, pupil_mm, blur_constant)
    check(loss_logmar=loss_logmar)
    lower = 0.0 if lower_d is None else lower_d
    upper = TOLERANCE_MOST_D if upper_d is None else upper_d
    if not 0.0 <= lower <= upper <= TOLERANCE_MOST_D:
        raise DomainRefusal(
            "limits of the tolerated defocus",
            f"{lower:g} to {upper:g} D",
            f"0 to {TOLERANCE_MOST_D:g} D, the lower one first",
            example="0.25 to 1.5",
        )
    result = mar_arcmin * sqrt(10.0 ** (2.0 * loss_logmar) - 1.0) / (blur_constant * pupil_mm)
    if lower_d is not None and result < lower_d:
        return lower_d
    return upper_d if upper_d is not None and result > upper_d else result


@formula("p·E mrad = 3.438·p·E", unit="arcmin", source="OPTICS-TEXT", kind="memory", domain="p 0.5 to 12 mm")
def blur_disc_arcmin(pupil_mm: float, defocus_d: float) -> float:
    """The angular diameter in arcmin of the geometric blur disc; refuses pupils outside 0.5 to 12 mm,
    defocus over 100 D.
    """
    if not PUPIL_LEAST_MM <= pupil_mm <= PUPIL_MOST_MM:
        Domain.refuse(pupil_mm=pupil_mm)
    if not -AMETROPIA_MOST_D <= defocus_d <= AMETROPIA_MOST_D:
        Domain.refuse(defocus_d=defocus_d)
    return ARCMIN_PER_MRAD * pupil_mm * abs(defocus_d)


# 180·60/π minutes of arc to the radian.
ARCMIN_PER_MRAD = 3.4377467707849396


@formula("2·b·Fe/p", unit="D", source="MILLODOT", kind="published", domain="p 0.5 to 12 mm")
def depth_of_focus_geometric_d(blur_limit_mm: float, pupil_mm: float, eye_power_d: float) -> float:
    """The total depth of focus in dioptres for a blur circle of ``blur_limit_mm`` on the retina of an eye
    of ``eye_power_d``.

    Refuses blur limits outside 0.001 to 1 mm, pupils outside 0.5 to 12 mm, and eyes outside 30 to 90 D.
    """
    check(blur_limit_mm=blur_limit_mm)
    if not PUPIL_LEAST_MM <= pupil_mm <= PUPIL_MOST_MM:
        Domain.refuse(pupil_mm=pupil_mm)
    check(eye_power_d=eye_power_d)
    return 2.0 * blur_limit_mm * eye_power_d / pupil_mm


@formula("7.03/(ν·p)", unit="D", source="GREEN80", kind="memory", domain="ν 0.1 to 10 c/deg, p 0.5 to 12 mm")
def depth_of_focus_green_d(spatial_frequency_cpd: float, pupil_mm: float) -> float:
    """The depth of focus in dioptres for detail of ``spatial_frequency_cpd`` cycles per degree.

    Refuses over 10 c/deg, where the formula promises absurdly little, under 0.1 c/deg, and pupils outside
    0.5 to 12 mm.
    """
    check(spatial_frequency_cpd=spatial_frequency_cpd)
    if not PUPIL_LEAST_MM <= pupil_mm <= PUPIL_MOST_MM:
        Domain.refuse(pupil_mm=pupil_mm)
    return 7.03 / (spatial_frequency_cpd * pupil_mm)


@formula(
    "15 − 0.25·a; 18.5 − 0.3·a; 25 − 0.4·a; not under 0",
    unit="D",
    source="HOFSTETTER50",
    kind="memory",
    domain="age 0 to 120",
)
def accommodation_amplitude_d(age_years: float, estimate: Literal["min", "mean", "max"] = "min") -> float:
    """The amplitude of accommodation in dioptres expected at an age: the least, the mean or the most.

    The lines over-estimate in middle age; a measured amplitude is preferred. Refuses ages outside 0 to 120
    years.
    """
    check(age_years=age_years)
    if estimate not in _HOFSTETTER:
        raise DomainRefusal("estimate of accommodation", estimate, "min, mean or max", example="min")
    start, loss = _HOFSTETTER[estimate]
    return max(0.0, start - loss * age_years)


@formula(
    "A_acc = fraction·amplitude; 0 from 55 years",
    unit="D",
    source="",
    kind="common practice",
    domain="age 0 to 120",
)
def sustained_accommodation_d(
    age_years: float,
    sustained_fraction: float = SUSTAINED_FRACTION,
    none_from_years: float = NO_ACCOMMODATION_FROM_YEARS,
    estimate: Literal["min", "mean", "max"] = "min",
) -> float:
    """The accommodation in dioptres a person of that age can be expected to keep up: a fraction of the
    amplitude.

    None is counted on from ``none_from_years``. Refuses fractions outside 0 to 1 and ages outside 0 to 120
    years.
    """
    check(sustained_fraction=sustained_fraction)
    check(none_from_years=none_from_years)
    amplitude = accommodation_amplitude_d(age_years, estimate)
    return 0.0 if age_years >= none_from_years else sustained_fraction * amplitude


def _check_eye(mar_arcmin: float, pupil_mm: float, blur_constant: float) -> None:
    if not MAR_LEAST_ARCMIN <= mar_arcmin <= MAR_MOST_ARCMIN:
        Domain.refuse(mar_arcmin=mar_arcmin)
    if not PUPIL_LEAST_MM <= pupil_mm <= PUPIL_MOST_MM:
        Domain.refuse(pupil_mm=pupil_mm)
    if not BLUR_CONSTANT_LEAST <= blur_constant <= BLUR_CONSTANT_MOST:
        Domain.refuse(blur_constant=blur_constant)
