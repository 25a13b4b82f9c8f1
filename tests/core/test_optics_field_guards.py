"""Every formula on fields, alignment, convergence, mounting, light, motion and magnifiers refuses by name.

Two walks over the register of formulas: each argument is pushed just outside and onto the edge of its domain, and
random arguments from the ranges a clinic may enter (and some wild ones) give a finite result or one of our errors.
"""

from __future__ import annotations

import importlib
from contextlib import nullcontext, suppress
from math import inf, isfinite, nan, nextafter

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from afocal.core.errors import AfocalError, DomainRefusal
from afocal.core.formula import REGISTRY, Formula
from afocal.core.optics.alignment import INSTRUMENT_LIMITS
from afocal.core.optics.field_of_view import galilean_field
from afocal.core.optics.rays import telescope_matrix
from afocal.core.records import names_of
from afocal.core.sources import SOURCES

MODULES = [
    "field",
    "field_general",
    "field_of_view",
    "keplerian_field",
    "binocular_field",
    "alignment",
    "convergence",
    "mounting",
    "light",
    "motion",
    "magnifiers",
]
for _name in MODULES:
    importlib.import_module(f"afocal.core.optics.{_name}")
FORMULAS = [f for f in REGISTRY.values() if f.module.removeprefix("optics.") in MODULES]

# Arguments with which every formula gives a number.
TINY = 0.01
GOOD = {
    "magnification": 2.0,
    "right_magnification": 2.0,
    "left_magnification": 2.1,
    "tube_length_mm": 24.0,
    "objective_diameter_mm": 25.0,
    "ocular_diameter_mm": 12.0,
    "objective_diameter": 16.0,
    "ocular_diameter": 12.0,
    "objective_focal_length": 64.0,
    "ocular_focal_length": 16.0,
    "objective_focal_length_mm": 64.0,
    "field_stop_mm": 9.0,
    "exit_pupil_diameter_mm": 4.0,
    "eye_distance_mm": 15.0,
    "eye_relief_mm": 16.0,
    "eye_offset_mm": -3.0,
    "ocular_to_cornea_mm": 12.0,
    "pupil_depth_mm": 3.0,
    "rotation_depth_mm": 13.5,
    "rotation_distance_mm": 27.0,
    "pupil_mm": 3.0,
    "criterion": "full",
    "real_field_deg": 13.0,
    "apparent_field_deg": 26.0,
    "measured_field_deg": 12.0,
    "measured_eye_distance_mm": 15.0,
    "monocular_field_deg": 170.0,
    "centre_separation_deg": 3.0,
    "object_distance_mm": 240.0,
    "target_distance_mm": 250.0,
    "interpupillary_mm": 64.0,
    "right_interpupillary_mm": 33.0,
    "left_interpupillary_mm": 31.0,
    "cap_power_d": 4.0,
    "width_mm": 40.0,
    "character_pitch_mm": 1.5,
    "decentration_mm": 2.0,
    "housing_radius_mm": 9.0,
    "tilt_arcmin": 10.0,
    "deviation_arcmin": 15.0,
    "angle_arcmin": 15.0,
    "eye_side_arcmin": 15.0,
    "prism": 0.5,
    "tolerance_prism": 0.5,
    "demand_prism": 4.0,
    "reserve_prism": 9.0,
    "base_in_prism": 7.0,
    "base_out_prism": 9.0,
    "vertical_prism": 2.5,
    "lens_power_d": 4.0,
    "ocular_height_mm": 12.0,
    "tube_tilt_deg": 12.0,
    "pantoscopic_deg": 8.0,
    "clearance_mm": 1.0,
    "pupil_height_mm": 21.0,
    "rim_mm": 3.0,
    "segment_height_mm": -5.0,
    "refractive_index": 1.5,
    "surface_reflectance": 0.015,
    "surfaces": 4,
    "transmittance": 0.9,
    "luminance_cd_m2": 100.0,
    "adapting_field_deg": 60.0,
    "age_years": 50.0,
    "eyes_adapted": 2,
    "vor_gain": 1.0,
    "head_speed_deg_s": 10.0,
    "slip_deg_s": 5.0,
    "tolerated_slip_deg_s": 2.0,
    "slip_exponent": 0.6,
    "add_d": 4.0,
    "first_lens_d": 2.5,
    "second_lens_d": 10.0,
    "separation_mm": 100.0,
    "lens_diameter_mm": 50.0,
    "eye_to_lens_mm": 250.0,
    "eye_to_image_mm": 400.0,
    "image_distance_mm": 180.0,
    "enlargement_ratio": 2.0,
    "viewing_distance_mm": 400.0,
    "screen_width_mm": 300.0,
    "lens_height_mm": 50.0,
    "nominal": 2.0,
    "measured": 2.1,
    "system": telescope_matrix(2.0, 24.0),
    "image_erect": True,
    "rule": "Sheard",
    "limits": INSTRUMENT_LIMITS,
    "first": INSTRUMENT_LIMITS,
    "second": INSTRUMENT_LIMITS,
    "measured_criterion": "half",
}
SPECIAL = {
    "field_in_use": {"nominal": galilean_field(2.0, 24.0, 25.0, 15.0, 3.0)},
    "keplerian_field": {"magnification": -4.0, "tube_length_mm": 80.0, "eye_distance_mm": 17.0},
}

# Not numbers, or refused by sentences of their own that other tests hold.
OTHER = {
    *("criterion", "image_erect", "rule", "limits", "first", "second", "system", "nominal", "measured"),
    *("surfaces", "eyes_adapted", "measured_criterion", "measured_field_deg"),
}
NOT_NEGATIVE = {
    *("width_mm", "decentration_mm", "eye_side_arcmin", "tolerance_prism", "demand_prism"),
    *("reserve_prism", "base_in_prism", "base_out_prism", "vertical_prism", "clearance_mm", "rim_mm"),
    *("vor_gain", "head_speed_deg_s", "slip_deg_s", "separation_mm", "image_distance_mm"),
}
FINITE = {"eye_offset_mm", "segment_height_mm", "first_lens_d", "second_lens_d"}
# Closed at both ends: lowest, highest.
CLOSED = {
    "centre_separation_deg": (0.0, 60.0),
    "tilt_arcmin": (-2700.0, 2700.0),
    "deviation_arcmin": (-2700.0, 2700.0),
    "angle_arcmin": (-2700.0, 2700.0),
    "prism": (-100.0, 100.0),
    "tube_tilt_deg": (-60.0, 60.0),
    "pantoscopic_deg": (-60.0, 60.0),
    "refractive_index": (1.0, 4.0),
    "surface_reflectance": (0.0, 1.0),
    "age_years": (20.0, 83.0),
    "slip_exponent": (0.0, 3.0),
    "tube_length_mm": (0.5, 1000.0),
    "objective_diameter_mm": (0.1, 500.0),
    "ocular_diameter_mm": (0.1, 500.0),
    "exit_pupil_diameter_mm": (0.1, 500.0),
    "pupil_mm": (0.5, 12.0),
    "eye_distance_mm": (0.0, 1000.0),
    "measured_eye_distance_mm": (0.0, 1000.0),
    "ocular_to_cornea_mm": (0.0, 60.0),
    "object_distance_mm": (1.0, 1e7),
    "cap_power_d": (-60.0, 60.0),
}
# The window that the eye looks through must stand before it, not on it.
WINDOW = {"ocular_limit_deg", "housing_extent_deg", "ring_outer_with_housing_deg"}
# Open at 0, closed at the top.
UP_TO = {
    "real_field_deg": 170.0,
    "apparent_field_deg": 170.0,
    "monocular_field_deg": 170.0,
    "adapting_field_deg": 180.0,
    "transmittance": 1.0,
}
# A cap is needed, or half-eyes end, in these.
CAP_NEEDED = {
    *("convergence_with_caps_prism", "cap_base_in_full_prism", "cap_base_in_relief_prism"),
    *("convergence_with_base_in_prism", "convergence_relief", "decentration_limit_with_caps_mm"),
    "compare_telescope_with_cap",
}
FREE_SIGN = {("prentice_prism", "decentration_mm"), ("prentice_prism", "lens_power_d")}
# Not looked at when the exit pupil itself is given; the tests on light hold them.
NOT_USED = {("relative_brightness", "objective_diameter_mm"), ("relative_brightness", "magnification")}
# Edges that lie in the domain of the argument but that another, also tested, refusal takes back.
EDGE_TAKEN_BACK = {
    ("union_field_deg", "monocular_field_deg"),
    ("overlap_field_deg", "monocular_field_deg"),
    ("field_centre_shift_deg", "objective_diameter_mm"),
    ("union_field_decentred_deg", "objective_diameter_mm"),
    ("overlap_field_decentred_deg", "objective_diameter_mm"),
    ("centre_separation_decentred_deg", "objective_diameter_mm"),
    ("full_lit_decentration_limit_mm", "objective_diameter_mm"),
    ("off_axis_deg", "rotation_distance_mm"),
    ("off_axis_margin_deg", "rotation_distance_mm"),
    ("head_drop_deg", "rotation_distance_mm"),
    ("head_drop_to_field_centre_deg", "rotation_distance_mm"),
    ("bioptic_geometry", "rotation_distance_mm"),
    ("tilt_for_deviation_arcmin", "deviation_arcmin"),
    ("ocular_height_for_tilt_mm", "tube_tilt_deg"),
    ("off_axis_deg", "tube_tilt_deg"),
    ("off_axis_margin_deg", "tube_tilt_deg"),
    ("head_drop_deg", "tube_tilt_deg"),
    ("head_drop_to_field_centre_deg", "tube_tilt_deg"),
    ("bioptic_geometry", "tube_tilt_deg"),
    ("decentration_prism", "cap_power_d"),
    ("height_mismatch_for_prism_mm", "cap_power_d"),
    ("head_speed_limit_deg_s", "vor_gain"),
    ("field_centre_shift_deg", "magnification"),
    ("union_field_decentred_deg", "magnification"),
    ("overlap_field_decentred_deg", "magnification"),
    ("centre_separation_decentred_deg", "magnification"),
    ("full_lit_decentration_limit_mm", "magnification"),
    ("galilean_field", "eye_distance_mm"),
    ("keplerian_field", "objective_diameter_mm"),
    ("object_to_pupil_b_mm", "cap_power_d"),
    ("convergence_parallel_tubes_prism", "cap_power_d"),
    ("linear_field_through_tube_mm", "cap_power_d"),
    ("convergence_with_base_in_prism", "cap_power_d"),
}


def arguments(formula: Formula) -> dict[str, object]:
    """Good arguments for every parameter of a formula."""
    return {p: GOOD[p] for p in formula.parameters} | SPECIAL.get(formula.name, {})


def limits_of(formula: Formula, name: str) -> tuple[float, float] | None:
    """The ends of a closed domain; None for a domain that is open at one end."""
    if name == "cap_power_d" and formula.name in CAP_NEEDED:
        return 0.05, 60.0
    if name == "object_distance_mm" and formula.module == "optics.magnifiers":
        return None
    return CLOSED.get(name)


def outside_and_edges(formula: Formula, name: str) -> tuple[list[float], list[float]]:
    """Values just outside the domain of an argument, and values on its edge that are still inside."""
    if (formula.name, name) in FREE_SIGN or name in FINITE:
        return [], [-1.0, 1e-3]
    if name == "magnification" and formula.name == "keplerian_field":
        return [-1.0499, -100.01, 0.0, 4.0], [-1.05, -100.0]
    if name.endswith("magnification"):
        return [1.0499, 100.01, 0.0], [1.05, 100.0]
    if formula.name == "half_eye_base_in_prism":
        return [0.0, 1e-9, -1.0, 12.01], [TINY, 12.0]
    if name == "eye_distance_mm" and formula.name in WINDOW:
        return [0.0, 1e-9, -1.0, 1000.01], [TINY, 1000.0]
    if (limits := limits_of(formula, name)) is not None:
        low, high = limits
        return [nextafter(low, -inf), low - 0.01, nextafter(high, inf), high + 0.01], [low, high]
    if name in UP_TO:
        return [0.0, 1e-9, -1.0, UP_TO[name] + 0.01], [TINY, UP_TO[name]]
    if name in NOT_NEGATIVE:
        return [-1e-9, -1.0], [0.0]
    return [0.0, 1e-9, -1.0], [TINY]


PAIRS = [(f, p) for f in FORMULAS for p in f.parameters if p not in OTHER and (f.name, p) not in NOT_USED]


@pytest.mark.parametrize(("formula", "name"), PAIRS, ids=lambda x: x if isinstance(x, str) else x.name)
def test_each_argument_is_guarded(formula, name):
    """Outside its domain, infinite or not a number an argument is refused, with its value; on the edge it is not."""
    good = arguments(formula)
    outside, edges = outside_and_edges(formula, name)
    for bad in (*outside, nan, inf, -inf, 1e12, -1e12):
        with pytest.raises(DomainRefusal) as refusal:
            formula.function(**{**good, name: bad})
        shown = refusal.value.value
        assert isinstance(shown, float)
        assert abs(shown) == abs(bad) or (shown != shown and bad != bad)
        assert refusal.value.accepted
        assert refusal.value.example
    for edge in edges:
        with suppress(DomainRefusal) if (formula.name, name) in EDGE_TAKEN_BACK else nullcontext():
            formula.function(**{**good, name: edge})


def test_every_formula_is_declared():
    """Each formula here has a known source, or is derived, common practice or from memory; and a unit or none."""
    assert len(FORMULAS) > 80
    for formula in FORMULAS:
        assert formula.source in SOURCES or (formula.source == "" and formula.kind != "published"), (
            formula.key
        )
        assert formula.symbols
        assert formula.domain
        assert formula.function.__doc__


def test_every_public_function_is_registered():
    """No public function of these modules escapes the register."""
    for name in MODULES:
        module = importlib.import_module(f"afocal.core.optics.{name}")
        for attribute, value in vars(module).items():
            if attribute.startswith("_") or getattr(value, "__module__", "") != module.__name__:
                continue
            if callable(value) and not isinstance(value, type):
                assert f"optics.{name}.{attribute}" in REGISTRY


# The ranges that a clinic may enter, by argument; anything else comes from its good value.
RANGES = {
    "magnification": (-10.0, 10.0),
    "right_magnification": (1.2, 10.0),
    "left_magnification": (1.2, 10.0),
    "tube_length_mm": (8.0, 160.0),
    "objective_diameter_mm": (6.0, 50.0),
    "ocular_diameter_mm": (4.0, 40.0),
    "exit_pupil_diameter_mm": (1.0, 20.0),
    "eye_distance_mm": (9.0, 40.0),
    "eye_relief_mm": (5.0, 40.0),
    "eye_offset_mm": (-20.0, 20.0),
    "rotation_distance_mm": (20.0, 40.0),
    "ocular_to_cornea_mm": (6.0, 25.0),
    "pupil_mm": (1.5, 9.0),
    "cap_power_d": (0.0, 20.0),
    "object_distance_mm": (20.0, 30000.0),
    "target_distance_mm": (50.0, 10000.0),
    "interpupillary_mm": (40.0, 80.0),
    "right_interpupillary_mm": (20.0, 40.0),
    "left_interpupillary_mm": (20.0, 40.0),
    "real_field_deg": (0.0, 60.0),
    "apparent_field_deg": (0.0, 120.0),
    "measured_field_deg": (0.0, 60.0),
    "monocular_field_deg": (0.0, 60.0),
    "centre_separation_deg": (0.0, 30.0),
    "decentration_mm": (0.0, 10.0),
    "tilt_arcmin": (-300.0, 300.0),
    "deviation_arcmin": (-300.0, 300.0),
    "ocular_height_mm": (3.0, 20.0),
    "tube_tilt_deg": (0.0, 30.0),
    "pantoscopic_deg": (0.0, 20.0),
    "housing_radius_mm": (4.0, 20.0),
    "age_years": (3.0, 110.0),
    "luminance_cd_m2": (1e-4, 1e5),
    "adapting_field_deg": (1.0, 180.0),
    "vor_gain": (0.0, 3.0),
    "head_speed_deg_s": (0.0, 300.0),
    "slip_deg_s": (0.0, 300.0),
    "add_d": (0.25, 40.0),
    "lens_power_d": (0.25, 60.0),
    "image_distance_mm": (0.0, 500.0),
    "eye_to_lens_mm": (5.0, 500.0),
    "tolerance_prism": (0.0, 40.0),
    "demand_prism": (0.0, 40.0),
    "reserve_prism": (0.0, 60.0),
    "base_in_prism": (0.0, 40.0),
    "base_out_prism": (0.0, 60.0),
    "vertical_prism": (0.0, 6.0),
}
CHOICES = {
    "criterion": ["full", "half", "total"],
    "image_erect": [True, False],
    "rule": ["Sheard", "Percival"],
    "eyes_adapted": [1, 2],
}
WILD = st.sampled_from([0.0, 1e-9, -1.0, 1e-9, 1e9, nan, inf, -inf])


def numbers(result: object) -> list[float]:
    """All the numbers in a result or a named record."""
    names = names_of(result)
    if names is not None:
        return [n for name in names for n in numbers(getattr(result, name))]
    return [float(result)] if isinstance(result, int | float) else []


@settings(max_examples=1200)
@given(data=st.data())
def test_finite_or_refused(data):
    """Over the ranges a clinic may enter, and with one wild value now and then, a result is finite or refused."""
    formula = data.draw(st.sampled_from(FORMULAS))
    given_arguments = arguments(formula)
    for name in formula.parameters:
        if name in RANGES:
            given_arguments[name] = data.draw(st.floats(*RANGES[name]))
        elif name in CHOICES:
            given_arguments[name] = data.draw(st.sampled_from(CHOICES[name]))
    plain = [p for p in formula.parameters if p not in OTHER]
    if plain and data.draw(st.integers(0, 4)) == 0:
        given_arguments[data.draw(st.sampled_from(plain))] = data.draw(WILD)
    try:
        result = formula.function(**given_arguments)
    except AfocalError as error:
        assert str(error).endswith(".")
        return
    assert all(isfinite(n) for n in numbers(result)), (formula.key, given_arguments, result)
