"""Light through a telescope: losses at surfaces, brightness of what is seen, and the pupil of the eye by light.

Fractions of 1 throughout, diameters in mm. An extended object never looks brighter through a telescope.
"""

from __future__ import annotations

from math import inf, pi

from ..errors import DomainRefusal
from ..formula import formula
from ._domain import (
    ADAPTING_FIELD_MOST_DEG,
    DIAMETER_LEAST_MM,
    DIAMETER_MOST_MM,
    INDEX_MOST,
    LARGEST,
    M_LEAST,
    M_MOST,
    PUPIL_AGE_LEAST_YEARS,
    PUPIL_AGE_MOST_YEARS,
    PUPIL_LEAST_MM,
    PUPIL_MOST_MM,
    SMALLEST,
    Domain,
)


@formula(
    "R = [(n − 1)/(n + 1)]²", unit="", source="", kind="derived", domain="1 ≤ n ≤ 4; normal incidence, in air"
)
def surface_reflectance(refractive_index: float) -> float:
    """Light that one uncoated surface in air throws back, as a fraction (Fresnel at normal incidence)."""
    if not 1.0 <= refractive_index <= INDEX_MOST:
        Domain.refuse(refractive_index=refractive_index)
    amplitude = (refractive_index - 1.0) / (refractive_index + 1.0)
    return amplitude * amplitude


@formula("4 n / (1 + n)²", unit="", source="", kind="derived", domain="1 ≤ n ≤ 4; normal incidence, in air")
def surface_transmittance(refractive_index: float) -> float:
    """Light that one uncoated surface in air lets through, as a fraction."""
    if not 1.0 <= refractive_index <= INDEX_MOST:
        Domain.refuse(refractive_index=refractive_index)
    total = 1.0 + refractive_index
    return 4.0 * refractive_index / (total * total)


@formula(
    "2 n / (n² + 1)", unit="", source="", kind="derived", domain="1 ≤ n ≤ 4; no absorption, normal incidence"
)
def lens_transmittance(refractive_index: float) -> float:
    """Light that an uncoated lens lets through, multiple reflections between its surfaces included, as a fraction."""
    if not 1.0 <= refractive_index <= INDEX_MOST:
        Domain.refuse(refractive_index=refractive_index)
    return 2.0 * refractive_index / (refractive_index * refractive_index + 1.0)


@formula("(1 − R)ᴺ", unit="", source="", kind="derived", domain="0 ≤ R ≤ 1; N a whole number, 0 or more")
def transmittance_of_surfaces(surface_reflectance: float, surfaces: int) -> float:
    """Light that N equal surfaces let through, as a fraction; single-layer coatings throw back about 0.015 each."""
    if not 0.0 <= surface_reflectance <= 1.0:
        Domain.refuse(surface_reflectance=surface_reflectance)
    if not 0 <= surfaces < inf or surfaces != int(surfaces):
        raise DomainRefusal("number of surfaces", surfaces, "a whole number, 0 or more", example="4")
    return (1.0 - surface_reflectance) ** surfaces


@formula(
    "T min[1, (Dxp/p)²], Dxp = Dobj/|M|",
    unit="",
    source="",
    kind="derived",
    domain="p more than 0 mm; 0 < T ≤ 1; the exit pupil, or objective and M with |M| ≥ 1.05",
)
def relative_brightness(
    pupil_mm: float,
    transmittance: float,
    exit_pupil_diameter_mm: float | None = None,
    objective_diameter_mm: float | None = None,
    magnification: float | None = None,
) -> float:
    """Brightness of an extended object through the telescope against the naked view, never over 1.

    An exit pupil (measured) takes precedence over objective diameter and magnification. Compare with the pupil in
    dim light, when a Keplerian loses most.
    """
    if not (PUPIL_LEAST_MM <= pupil_mm <= PUPIL_MOST_MM and SMALLEST < transmittance <= 1.0):
        Domain.refuse(pupil_mm=pupil_mm, transmittance=transmittance)
    if exit_pupil_diameter_mm is None:
        if objective_diameter_mm is None or magnification is None:
            raise DomainRefusal(
                "exit pupil diameter",
                "not given",
                "the exit pupil in mm, or the objective diameter together with the magnification",
                example="4",
            )
        size = abs(magnification)
        if not (DIAMETER_LEAST_MM <= objective_diameter_mm <= DIAMETER_MOST_MM and M_LEAST <= size <= M_MOST):
            Domain.refuse(objective_diameter_mm=objective_diameter_mm, magnification=magnification)
        exit_pupil_diameter_mm = objective_diameter_mm / size
    elif not DIAMETER_LEAST_MM <= exit_pupil_diameter_mm <= DIAMETER_MOST_MM:
        Domain.refuse(exit_pupil_diameter_mm=exit_pupil_diameter_mm)
    ratio = exit_pupil_diameter_mm / pupil_mm
    return transmittance * ratio * ratio if ratio < 1.0 else transmittance


# Coefficients of the unified formula as transcribed in public implementations, not read in the paper itself.
REFERENCE_AGE_YEARS = 28.58
SMALLER_FLUX_WITH_ONE_EYE = 0.1


@formula(
    "D0 = 7.75 − 5.75 x/(x + 2), x = (L a e/846)^0.41; D = D0 + (age − 28.58)(0.021323 − 0.0095623 D0)",
    unit="mm",
    source="WATSON12",
    kind="derived",
    domain="age 20 to 83; L more than 0 cd/m²; field 0 to 180 deg; e = 1 both eyes, 0.1 one eye",
)
def pupil_diameter_mm(
    luminance_cd_m2: float, adapting_field_deg: float, age_years: float, eyes_adapted: int = 2
) -> float:
    """Pupil of the eye by light and age, mm; prefer a measured pupil.

    Luminance in cd/m² over a round field whose diameter is given in degrees (area a in square degrees); one or two
    eyes adapted. Behind a telescope the bright field is small. Refuses ages outside 20 to 83.
    """
    if not (
        SMALLEST < luminance_cd_m2 < LARGEST
        and SMALLEST < adapting_field_deg <= ADAPTING_FIELD_MOST_DEG
        and PUPIL_AGE_LEAST_YEARS <= age_years <= PUPIL_AGE_MOST_YEARS
    ):
        Domain.refuse(
            luminance_cd_m2=luminance_cd_m2,
            adapting_field_deg=adapting_field_deg,
            pupil_formula_age_years=age_years,
        )
    if eyes_adapted not in (1, 2):
        raise DomainRefusal("eyes adapted", eyes_adapted, "1 or 2", example="2")
    flux = luminance_cd_m2 * 0.25 * pi * adapting_field_deg * adapting_field_deg
    if eyes_adapted == 1:
        flux *= SMALLER_FLUX_WITH_ONE_EYE
    x = (flux / 846.0) ** 0.41
    young_mm = 7.75 - 5.75 * x / (x + 2.0)
    return young_mm + (age_years - REFERENCE_AGE_YEARS) * (0.021323 - 0.0095623 * young_mm)
