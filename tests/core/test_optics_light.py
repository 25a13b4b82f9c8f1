"""Light through surfaces and pupils against series, printed figures and the shape of the pupil formula."""

from __future__ import annotations

from math import pi, sqrt

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from afocal.core.constants import CONSTANTS
from afocal.core.errors import DomainRefusal
from afocal.core.optics.light import (
    lens_transmittance,
    pupil_diameter_mm,
    relative_brightness,
    surface_reflectance,
    surface_transmittance,
    transmittance_of_surfaces,
)


@pytest.mark.parametrize(("index", "reflectance"), [(1.5, 0.04), (1.523, 0.04297), (1.0, 0.0), (3.0, 0.25)])
def test_reflectance(index, reflectance):
    """Fresnel at normal incidence: glass of 1.5 throws back 4 %; what is not thrown back goes through."""
    assert surface_reflectance(index) == pytest.approx(reflectance, abs=1e-5)
    assert surface_transmittance(index) == pytest.approx(1 - surface_reflectance(index))


@pytest.mark.parametrize("index", [1.5, 1.6, 1.8])
def test_lens_equals_the_series_of_reflections(index):
    """An uncoated lens passes (1 − R)² (1 + R² + R⁴ + …), summed here term by term."""
    reflectance = ((index - 1) / (index + 1)) ** 2
    series = sum((1 - reflectance) ** 2 * reflectance ** (2 * k) for k in range(30))
    assert lens_transmittance(index) == pytest.approx(series)
    assert lens_transmittance(1.5) == pytest.approx(12 / 13)


@pytest.mark.parametrize(
    ("reflectance", "surfaces", "expected"),
    [(0.04, 4, 0.8493), (0.015, 4, 0.9413), (0.005, 12, 0.9416), (0.5, 0, 1), (1, 1, 0)],
)
def test_surfaces(reflectance, surfaces, expected):
    """Each surface takes its share of what the one before let through."""
    left = 1.0
    for _ in range(surfaces):
        left -= left * reflectance
    assert transmittance_of_surfaces(reflectance, surfaces) == pytest.approx(left)
    assert left == pytest.approx(expected, abs=5e-5)


@pytest.mark.parametrize("surfaces", [-1, 2.5, float("inf"), float("nan")])
def test_surfaces_are_counted(surfaces):
    """A number of surfaces that cannot be counted is refused; 4.0 is 4."""
    with pytest.raises(DomainRefusal, match="whole number"):
        transmittance_of_surfaces(0.04, surfaces)
    assert transmittance_of_surfaces(0.04, 4.0) == transmittance_of_surfaces(0.04, 4)  # type: ignore[arg-type]


def test_brightness():
    """Extended objects: T times the part of the pupil's area that is lit, never more than T."""
    assert relative_brightness(5, 0.9, objective_diameter_mm=14, magnification=-4) == pytest.approx(0.441)
    assert relative_brightness(5, 0.94, objective_diameter_mm=24, magnification=2.5) == 0.94
    assert relative_brightness(4, 0.8, 2.0) == pytest.approx(0.2)
    assert relative_brightness(4, 1.0, 4.0) == 1.0
    assert relative_brightness(4, 0.8, 8.0) == 0.8


def test_measured_exit_pupil_takes_precedence():
    """A measured exit pupil is used even when objective and magnification are there."""
    both = relative_brightness(5, 0.9, 3.0, objective_diameter_mm=14, magnification=-4)
    assert both == relative_brightness(5, 0.9, 3.0)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ({}, "not given"),
        ({"objective_diameter_mm": 14}, "not given"),
        ({"magnification": 2}, "not given"),
        ({"objective_diameter_mm": 0.0, "magnification": 2}, "objective diameter"),
        ({"objective_diameter_mm": float("inf"), "magnification": 2}, "objective diameter"),
        ({"objective_diameter_mm": 14, "magnification": 1.04}, "magnification"),
        ({"objective_diameter_mm": 14, "magnification": float("inf")}, "magnification"),
        ({"exit_pupil_diameter_mm": 0.0}, "exit pupil"),
        ({"exit_pupil_diameter_mm": float("inf")}, "exit pupil"),
    ],
)
def test_brightness_refusals(arguments, words):
    """Without exit pupil, or objective with magnification, there is no brightness."""
    with pytest.raises(DomainRefusal, match=words):
        relative_brightness(5, 0.9, **arguments)
    assert relative_brightness(5, 0.9, objective_diameter_mm=1.05, magnification=1.05) == pytest.approx(0.036)


def field_of(area):
    """Diameter in degrees of a round field of an area in square degrees."""
    return 2 * sqrt(area / pi)


def test_pupil_of_the_reference_age():
    """At 28.58 years the formula is its young form: 7.75 in the dark, 2.0 in endless light, 4.875 at x = 2.

    Form and coefficients from public copies of Watson AB, Yellott JI, J Vis 2012;12(10):12.
    """
    middle = 846 * 2 ** (1 / 0.41)
    assert pupil_diameter_mm(middle / 100, field_of(100), 28.58) == pytest.approx(4.875)
    assert pupil_diameter_mm(1e-8, 10, 28.58) == pytest.approx(7.75, abs=1e-3)
    assert pupil_diameter_mm(1e11, 180, 28.58) == pytest.approx(2.0, abs=1e-3)
    # At 846 of flux x is 1 by definition.
    assert pupil_diameter_mm(8.46, field_of(100), 28.58) == pytest.approx(7.75 - 5.75 / 3)


@pytest.mark.parametrize(
    ("luminance", "field", "age", "eyes", "expected", "tolerance"),
    [
        (100, 60, 30, 2, 2.887, 0.002),
        (1, 60, 70, 2, 3.999, 0.002),
        (1, 60, 70, 1, 4.724, 0.002),
        (10, 40, 65, 2, 3.57217, 0.0004),
    ],
)
def test_pupil_values(luminance, field, age, eyes, expected, tolerance):
    """Values worked by hand from the transcribed coefficients of the unified formula."""
    assert pupil_diameter_mm(luminance, field, age, eyes) == pytest.approx(expected, abs=tolerance)


def test_published_shrinkage_with_age():
    """Winn B et al., Invest Ophthalmol Vis Sci 1994;35:1132: 0.043 mm a year at the dimmest, 0.015 at the brightest level.

    Their levels, 9 to 4400 cd/m² over 10 degrees before one eye, are from memory.
    """

    def a_year(luminance):
        return (pupil_diameter_mm(luminance, 10, 20, 1) - pupil_diameter_mm(luminance, 10, 80, 1)) / 60

    dimmest = CONSTANTS["pupil_shrinkage_dimmest"].value
    assert dimmest == 0.043
    assert a_year(9) == pytest.approx(dimmest, abs=0.002)
    assert a_year(4400) == pytest.approx(0.015, abs=0.001)


def test_one_eye_counts_a_tenth():
    """One adapted eye gives the pupil of a tenth of the light; both eyes are the default."""
    assert pupil_diameter_mm(50, 30, 60, 1) == pytest.approx(pupil_diameter_mm(5, 30, 60, 2))
    assert pupil_diameter_mm(50, 30, 60) == pupil_diameter_mm(50, 30, 60, 2)


@settings(max_examples=60)
@given(st.floats(1e-4, 1e4), st.floats(1, 150), st.floats(20, 83))
def test_pupil_is_possible(luminance, field, age):
    """More light or a larger field never widens a pupil, and every result is that of an eye."""
    pupil = pupil_diameter_mm(luminance, field, age)
    assert 1.5 < pupil < 9
    assert pupil_diameter_mm(luminance * 1.1, field, age) <= pupil
    assert pupil_diameter_mm(luminance, field * 1.1, age) <= pupil


@pytest.mark.parametrize("age", [19.9, 83.1])
def test_pupil_refuses_other_ages(age):
    """Outside 20 to 83 years the formula is not known to hold, so the pupil is to be measured."""
    with pytest.raises(DomainRefusal, match="measure the pupil"):
        pupil_diameter_mm(100, 60, age)
    assert pupil_diameter_mm(100, 60, 20) > pupil_diameter_mm(100, 60, 83)
    for eyes in (0, 3):
        with pytest.raises(DomainRefusal, match="1 or 2"):
            pupil_diameter_mm(100, 60, 40, eyes)
