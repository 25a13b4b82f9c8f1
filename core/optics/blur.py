"""How much defocus an eye bears: blur and acuity, depth of focus, and the accommodation there is by age.

Every constant here is an assumption that the settings let the clinic change. The acuity meant is the eye's
own: a telescope does not change it.
"""

from __future__ import annotations

from math import log10, sqrt
from typing import Literal

from ..formula import formula
from ._limits import (
    AMETROPIA_MOST_D,
    PUPIL_LEAST_MM,
    PUPIL_MOST_MM,
    refused,
    refused_pupil,
    refused_range,
)

# Minutes of arc by which 1 D of defocus with a pupil of 1 mm widens the limit of resolution
# (memory, SMITH91).
BLUR_CONSTANT = 0.65
SUSTAINED_FRACTION = 0.5
# Hofstetter's lines promise too much in middle age: from here on no accommodation is counted on
# (common practice).
NO_ACCOMMODATION_FROM_YEARS = 55.0
MAR_LEAST_ARCMIN = 0.1
MAR_MOST_ARCMIN = 1000.0
GREEN_MOST_CPD = 10.0
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
        raise refused_range("defocus", defocus_d, -AMETROPIA_MOST_D, AMETROPIA_MOST_D, "D", "0.5")
    blur = blur_constant * pupil_mm * defocus_d / mar_arcmin
    return 0.5 * log10(1.0 + blur * blur)


@formula(
    "E = MAR₀·√(10^(2·loss) − 1)/(k·p)", unit="D", source="SMITH91", kind="memory", domain="p 0.5 to 12 mm"
)
def tolerated_defocus_d(
    mar_arcmin: float,
    pupil_mm: float,
    blur_constant: float = BLUR_CONSTANT,
    loss_logmar: float = 0.1,
    lower_d: float | None = None,
    upper_d: float | None = None,
) -> float:
    """The defocus in dioptres, either way, that costs an eye of ``mar_arcmin`` the given loss; clipped
    where limits are given.

    Refuses as :func:`blur_loss_logmar`, losses outside 0.01 to 1 logMAR, and limits under 0, over 10 D or
    crossed.
    """
    _check_eye(mar_arcmin, pupil_mm, blur_constant)
    if not 0.01 <= loss_logmar <= 1.0:
        raise refused_range("accepted loss", loss_logmar, 0.01, 1.0, "logMAR", "0.1")
    lower = 0.0 if lower_d is None else lower_d
    upper = 10.0 if upper_d is None else upper_d
    if not 0.0 <= lower <= upper <= 10.0:
        raise refused(
            "limits of the tolerated defocus",
            f"{lower:g} to {upper:g} D",
            "0 to 10 D, the lower one first",
            "0.25 to 1.5",
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
        raise refused_pupil(pupil_mm)
    if not -AMETROPIA_MOST_D <= defocus_d <= AMETROPIA_MOST_D:
        raise refused_range("defocus", defocus_d, -AMETROPIA_MOST_D, AMETROPIA_MOST_D, "D", "0.5")
    return ARCMIN_PER_MRAD * pupil_mm * abs(defocus_d)


# 180·60/π minutes of arc to the radian.
ARCMIN_PER_MRAD = 3.4377467707849396


@formula("2·b·Fe/p", unit="D", source="MILLODOT", kind="published", domain="p 0.5 to 12 mm")
def depth_of_focus_geometric_d(blur_limit_mm: float, pupil_mm: float, eye_power_d: float) -> float:
    """The total depth of focus in dioptres for a blur circle of ``blur_limit_mm`` on the retina of an eye
    of ``eye_power_d``.

    Refuses blur limits outside 0.001 to 1 mm, pupils outside 0.5 to 12 mm, and eyes outside 30 to 90 D.
    """
    if not 0.001 <= blur_limit_mm <= 1.0:
        raise refused_range("blur limit on the retina", blur_limit_mm, 0.001, 1.0, "mm", "0.012")
    if not PUPIL_LEAST_MM <= pupil_mm <= PUPIL_MOST_MM:
        raise refused_pupil(pupil_mm)
    if not 30.0 <= eye_power_d <= 90.0:
        raise refused_range("power of the eye", eye_power_d, 30.0, 90.0, "D", "60")
    return 2.0 * blur_limit_mm * eye_power_d / pupil_mm


@formula("7.03/(ν·p)", unit="D", source="GREEN80", kind="memory", domain="ν 0.1 to 10 c/deg, p 0.5 to 12 mm")
def depth_of_focus_green_d(spatial_frequency_cpd: float, pupil_mm: float) -> float:
    """The depth of focus in dioptres for detail of ``spatial_frequency_cpd`` cycles per degree.

    Refuses over 10 c/deg, where the formula promises absurdly little, under 0.1 c/deg, and pupils outside
    0.5 to 12 mm.
    """
    if not 0.1 <= spatial_frequency_cpd <= GREEN_MOST_CPD:
        raise refused(
            "spatial frequency",
            spatial_frequency_cpd,
            f"0.1 to {GREEN_MOST_CPD:g} cycles per degree",
            "3",
            "the formula does not hold for finer detail",
        )
    if not PUPIL_LEAST_MM <= pupil_mm <= PUPIL_MOST_MM:
        raise refused_pupil(pupil_mm)
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
    if not 0.0 <= age_years <= 120.0:
        raise refused_range("age", age_years, 0.0, 120.0, "years", "63")
    if estimate not in _HOFSTETTER:
        raise refused("estimate of accommodation", estimate, "min, mean or max", "min")
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
    if not 0.0 <= sustained_fraction <= 1.0:
        raise refused_range("sustained fraction", sustained_fraction, 0.0, 1.0, "", "0.5")
    if not 0.0 <= none_from_years <= 120.0:
        raise refused_range("age without accommodation", none_from_years, 0.0, 120.0, "years", "55")
    amplitude = accommodation_amplitude_d(age_years, estimate)
    return 0.0 if age_years >= none_from_years else sustained_fraction * amplitude


def _check_eye(mar_arcmin: float, pupil_mm: float, blur_constant: float) -> None:
    if not MAR_LEAST_ARCMIN <= mar_arcmin <= MAR_MOST_ARCMIN:
        raise refused_range(
            "minimum angle of resolution",
            mar_arcmin,
            MAR_LEAST_ARCMIN,
            MAR_MOST_ARCMIN,
            "arcmin",
            "4 for 20/80",
        )
    if not PUPIL_LEAST_MM <= pupil_mm <= PUPIL_MOST_MM:
        raise refused_pupil(pupil_mm)
    if not 0.1 <= blur_constant <= 3.0:
        raise refused_range("blur constant", blur_constant, 0.1, 3.0, "arcmin per mm D", "0.65")
