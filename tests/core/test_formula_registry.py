"""Every formula is declared once, says where it is from, and can be shown and replayed with its numbers."""

from __future__ import annotations

import importlib
import inspect
import math
import pkgutil
import re
from collections.abc import Callable
from typing import Any

import pytest

import afocal.core.optics as optics_package
from afocal.core.formula import REGISTRY, Formula, formula, recording
from afocal.core.records import names_of
from afocal.core.sources import SOURCES

MODULES = [
    importlib.import_module(name)
    for name in (
        *(
            f"{optics_package.__name__}.{entry.name}"
            for entry in pkgutil.iter_modules(optics_package.__path__)
        ),
        *(
            f"afocal.core.{name}"
            for name in (
                "acuity",
                "acuity_scale",
                "contrast",
                "likelihood",
                "magnification",
                "optotypes",
                "print_size",
                "reading",
            )
        ),
    )
]
NUMBER = re.compile(r"(float|int)( \| None)?")
PUBLIC_NUMBER_FUNCTIONS = [
    function
    for module in MODULES
    for name, function in vars(module).items()
    if inspect.isfunction(function)
    and not name.startswith("_")
    and function.__module__ == module.__name__
    and NUMBER.fullmatch(str(inspect.signature(function).return_annotation))
]
FORMULAS = [entry for entry in REGISTRY.values() if entry.function.__module__.startswith("afocal.core.")]
KINDS = {"published", "derived", "common practice", "memory"}

by_formula = pytest.mark.parametrize("entry", FORMULAS, ids=[entry.key for entry in FORMULAS])

# One ordinary value for every parameter name, so that any formula can be called: a 2.5x Galilean, tube 28 mm.
SAMPLE: dict[str, Any] = {
    "accommodation_d": 1.0,
    "accommodation_demand_d": 2.0,
    "accommodative_demand_d": 2.5,
    "actual_tube_length_mm": 27.0,
    "acuity_reserve": 2.0,
    "adapting_field_deg": 40.0,
    "add_d": 6.0,
    "age_years": 40,
    "ametropia_at_ocular_d": -2.0,
    "ametropia_left_d": -1.0,
    "ametropia_right_d": -2.0,
    "amplitude_d": 6.0,
    "angle_arcmin": 15.0,
    "angle_deg": 1.0,
    "apparent_field_deg": 20.0,
    "back_surface_d": 5.0,
    "back_vertex_power_d": 6.8,
    "base_in_prism": 7.0,
    "base_out_prism": 9.0,
    "best_line_logmar": 0.5,
    "blur_limit_mm": 0.012,
    "blur_loss_logmar": 0.05,
    "cap_power_d": 4.0,
    "centre_separation_deg": 3.0,
    "change_d": 1.0,
    "character_pitch_mm": 1.5,
    "chart_distance": 4.0,
    "clearance_mm": 1.0,
    "contrast_reserve": 10.0,
    "cr95_logmar": 0.2,
    "cr95_print_logmar": 0.3,
    "critical_logmar": 0.9,
    "critical_m_units": 4.0,
    "critical_mar": 9.0,
    "decentration_mm": 1.5,
    "decimal_acuity": 0.2,
    "defocus_d": 1.0,
    "demand_prism": 4.0,
    "deviation_arcmin": 15.0,
    "distance_ft": 30.0,
    "distance_mm": 20.0,
    "enlargement_ratio": 5.0,
    "equivalent_power_d": 8.0,
    "erecting_prism": True,
    "evd_mm": 125.0,
    "exit_pupil_depth_mm": 11.2,
    "exit_pupil_diameter_mm": 9.6,
    "exit_pupil_distance_mm": 20.0,
    "exit_vergence_d": -1.5,
    "eye_distance_mm": 15.0,
    "eye_offset_mm": 3.0,
    "eye_power_d": 60.0,
    "eye_side_arcmin": 15.0,
    "eye_to_image_mm": 330.0,
    "eye_to_lens_mm": 100.0,
    "eyes_adapted": 2,
    "factors": (2.0, 1.5),
    "far_edge_mm": 430.0,
    "farthest_mm": 2000.0,
    "field_mm": 120.0,
    "field_stop_mm": 9.0,
    "filter_transmittance": 0.6,
    "first_lens_d": 12.0,
    "first_logmar": 0.5,
    "fraction": 0.8,
    "front_surface_d": 5.0,
    "gap_mm": 4.0,
    "goal_logmar": 0.3,
    "goal_m_units": 1.0,
    "goal_share": 0.5,
    "good_chance": 0.8,
    "head_speed_deg_s": 10.0,
    "height_difference_mm": 2.0,
    "housing_radius_mm": 8.0,
    "image_distance_mm": 100.0,
    "image_erect": True,
    "in_front": True,
    "index_after": 1.5,
    "index_before": 1.0,
    "interpupillary_mm": 64.0,
    "keyhole_half_slope": 0.3,
    "left_interpupillary_mm": 32.0,
    "left_logmar": 0.8,
    "left_magnification": 2.5,
    "lens_diameter_mm": 50.0,
    "lens_height_mm": 35.0,
    "lens_power_d": 10.0,
    "letter_height_in": 6.0,
    "letter_height_mm": 10.0,
    "letters": 55.0,
    "letters_on_line": 3.0,
    "letters_read": 30.0,
    "ln_rate": 1.2,
    "log_cs": 1.2,
    "log_max_speed": 2.0,
    "log_units": 0.3,
    "logmar": 0.7,
    "longest_tube_mm": 40.0,
    "loss_logmar": 0.1,
    "loss_per_halving_logmar": 0.02,
    "loss_per_log": 0.3,
    "luminance_cd_m2": 100.0,
    "magnification": 2.5,
    "mar_arcmin": 5.0,
    "marked_magnification": 2.5,
    "max_speed_wpm": 140.0,
    "measured_magnification": 2.45,
    "monocular_field_deg": 12.0,
    "naked_prism": 4.0,
    "near_edge_mm": 380.0,
    "nearest_mm": 500.0,
    "new_distance_mm": 200.0,
    "new_m_units": 2.0,
    "nominal": 12.0,
    "object_distance_mm": 400.0,
    "object_vergence_d": -0.5,
    "objective_diameter": 24.0,
    "objective_diameter_mm": 24.0,
    "objective_focal_length": 46.0,
    "objective_focal_length_mm": 46.0,
    "objective_power_d": 20.0,
    "ocular_behind_carrier_mm": -2.0,
    "ocular_diameter": 12.0,
    "ocular_diameter_mm": 30.0,
    "ocular_focal_length": 16.0,
    "ocular_focal_length_mm": 16.0,
    "ocular_height_mm": 9.5,
    "ocular_power_d": -40.0,
    "ocular_to_cornea_mm": 13.0,
    "over_refraction_d": 0.25,
    "pantoscopic_deg": 8.0,
    "plateau_wpm": 120.0,
    "points": 12.0,
    "power_d": 10.0,
    "power_margin_log": 0.1,
    "predicted_logmar": 0.3,
    "print_contrast": 0.85,
    "print_logmar": 0.7,
    "print_m_units": 1.6,
    "print_mar": 6.0,
    "prism": 2.0,
    "probability": 0.4,
    "pupil_height_mm": 21.0,
    "pupil_mm": 3.0,
    "radius_mm": 40.0,
    "real_field_deg": 10.0,
    "reference_distance_mm": 400.0,
    "reference_field_mm": 40.0,
    "refocused_tube_length_mm": 26.0,
    "refraction_at_cornea_d": -4.0,
    "refractive_index": 1.5,
    "relative_brightness": 0.8,
    "required_evp_d": 8.0,
    "required_magnification": 2.5,
    "reserve_prism": 17.0,
    "reserve_wanted": 10.0,
    "residual_cylinder_d": 1.5,
    "residual_sphere_d": 0.5,
    "right_interpupillary_mm": 32.0,
    "right_logmar": 0.7,
    "right_magnification": 2.5,
    "rotation_distance_mm": 27.0,
    "screen_width_mm": 300.0,
    "second_lens_d": 9.0,
    "second_logmar": 0.6,
    "seconds": 12.0,
    "segment_height_mm": 16.0,
    "separation_mm": 50.0,
    "share": 1.2,
    "side": "near",
    "size_ratio": 2.4,
    "slip_deg_s": 5.0,
    "slip_mar_factor": 2.6,
    "slope_wpm_per_log": 200.0,
    "smallest_read_logmar": 0.6,
    "snellen_denominator": 100.0,
    "snellen_numerator": 20.0,
    "spatial_frequency_cpd": 3.0,
    "spectacle_power_d": -4.0,
    "spread_mm": 1.5,
    "steps": 3.0,
    "surface_reflectance": 0.015,
    "surfaces": 4,
    "sustained_fraction": 0.5,
    "swing_d": 2.0,
    "target_distance_mm": 400.0,
    "test_distance": 1.0,
    "test_distance_mm": 400.0,
    "thickness_mm": 4.0,
    "threshold_logmar": 0.5,
    "threshold_m_units": 3.2,
    "threshold_mar": 4.0,
    "through_prism": 9.0,
    "tilt_arcmin": 30.0,
    "tolerance_d": 0.5,
    "tolerance_prism": 0.44,
    "top_line_logmar": 1.0,
    "transmittance": 0.94,
    "trial_lens_d": 1.0,
    "tube_length_mm": 28.0,
    "tube_tilt_deg": 10.0,
    "usefulness": 0.9,
    "value": 3.0,
    "vas_score": 65.0,
    "vertex_mm": 12.0,
    "vertical_prism": 2.5,
    "viewing_distance_d": 2.5,
    "viewing_distance_mm": 400.0,
    "vor_gain": 1.5,
    "wanted_logmar": 0.3,
    "weber_threshold": 0.09,
    "width_mm": 40.0,
    "working_distance_mm": 250.0,
    "worth": 0.7,
    "z": 1.0,
}


def caller_of(entry: Formula) -> Callable[..., Any]:
    """The decorated function of a formula."""
    return getattr(importlib.import_module(entry.function.__module__), entry.name)


def registered(name: str) -> Callable[..., Any]:
    """The formula of a name, wherever it stands."""
    return caller_of(next(entry for entry in FORMULAS if entry.name == name))


def special_arguments(entry: Formula) -> tuple[tuple[Any, ...], dict[str, Any]] | None:
    """Arguments of the few formulas that take matrices, records, or a Keplerian tube instead of the sample."""
    from afocal.core.optics import alignment, rays

    tube = rays.telescope_matrix(2.5, 28.0)
    to_pupil = rays.object_to_pupil(tube, 1000.0, 15.0)
    view = registered("galilean_field")(2.5, 28.0, 24.0, 15.0, 3.0)
    limits = inspect.signature(alignment.tilt_tolerances).parameters["limits"].default
    cases: dict[str, tuple[tuple[Any, ...], dict[str, Any]]] = {
        "afocal_tube": ((tube,), {}),
        "back_vertex_power_d": ((rays.lens(10.0),), {}),
        "chain": ((rays.lens(10.0), rays.translation(20.0)), {}),
        "chain_evd_mm": ((to_pupil,), {}),
        "field_in_use": ((view, 2.5), {}),
        "focusing_gap_mm": ((rays.lens(20.0), rays.lens(-40.0)), {}),
        "hand_magnifier_evd_mm": ((10.0, 80.0, 100.0), {}),
        "hand_magnifier_field_at_mm": ((50.0, 10.0, 80.0, 100.0), {}),
        "keplerian_field": ((-4.0, 80.0, 16.0, 20.0, 3.0), {"field_stop_mm": 9.0}),
        "keyhole": ((20.0, 17.0, 4.0, 30.0), {}),
        "object_to_pupil": ((tube, 1000.0, 15.0), {}),
        "apparent_field_general_deg": ((tube, 24.0, 15.0), {}),
        "real_field_general_deg": ((tube, 24.0, 15.0), {}),
        "real_field_by_ray_deg": ((tube, 24.0, 15.0), {}),
        "relative_brightness": ((3.0, 0.9), {"exit_pupil_diameter_mm": 9.6}),
        "sum_over_goals": ((0.4, 0.2), {}),
        "stricter_limits": ((limits, limits), {}),
        "total_loss_logmar": ((0.05, 0.01), {}),
        "vergence_at_eye_d": ((to_pupil,), {}),
        "vergence_through_d": ((tube, -1.0), {}),
    }
    return cases.get(entry.name)


def sample_call(entry: Formula) -> tuple[tuple[Any, ...], dict[str, Any]]:
    """Arguments with which a formula can be called: the special ones, or the sample by parameter name."""
    special = special_arguments(entry)
    if special is not None:
        return special
    required = [
        name
        for name, parameter in inspect.signature(entry.function).parameters.items()
        if parameter.default is inspect.Parameter.empty
    ]
    missing = [name for name in required if name not in SAMPLE]
    assert not missing, f"{entry.key} needs a sample value for {missing}"
    return (), {name: SAMPLE[name] for name in required}


def numbers_of(result: Any) -> list[float]:
    """All numbers in a result, whatever its record."""
    if isinstance(result, bool | str) or result is None:
        return []
    if isinstance(result, int | float):
        return [float(result)]
    names = names_of(result)
    if names is not None:
        return [number for name in names for number in numbers_of(getattr(result, name))]
    return [number for item in result for number in numbers_of(item)]


def test_the_modules_hold_formulas() -> None:
    """The lists that the other tests run over are not empty by mistake."""
    assert len(PUBLIC_NUMBER_FUNCTIONS) > 150
    assert len(FORMULAS) >= len(PUBLIC_NUMBER_FUNCTIONS)


@pytest.mark.parametrize(
    "function",
    PUBLIC_NUMBER_FUNCTIONS,
    ids=[
        f"{function.__module__.removeprefix('afocal.core.')}.{function.__name__}"
        for function in PUBLIC_NUMBER_FUNCTIONS
    ],
)
def test_every_public_function_that_gives_a_number_is_declared(function: Callable[..., Any]) -> None:
    """It carries a formula under its own name, and a docstring."""
    entry = getattr(function, "__formula__", None)
    assert entry is not None, "not declared as a formula"
    assert REGISTRY[entry.key] is entry
    assert entry.name == function.__name__
    assert function.__doc__ and function.__doc__.strip()


@by_formula
def test_each_formula_says_what_it_is_and_where_it_is_from(entry: Formula) -> None:
    """Symbols, domain, and a kind; a listed source, or none for what is derived here or common practice."""
    assert entry.symbols.strip()
    assert entry.domain.strip()
    assert entry.kind in KINDS
    if entry.source:
        assert entry.source in SOURCES
        assert entry.kind != "common practice"
    else:
        assert entry.kind in ("derived", "common practice", "memory")
    assert entry.parameters == tuple(inspect.signature(entry.function).parameters)


def test_a_name_is_declared_once() -> None:
    """No quantity has two formulas that could drift apart."""
    names = [entry.name for entry in FORMULAS]
    assert sorted(names) == sorted(set(names))


@by_formula
def test_a_recorded_working_replays_to_the_same_number(entry: Formula) -> None:
    """The last step is the formula itself; every step computed anew from its recorded numbers gives its result."""
    args, kwargs = sample_call(entry)
    with recording() as working:
        result = caller_of(entry)(*args, **kwargs)
    assert working.last().formula is entry
    assert working.last().result == result
    assert working.last().depth == 0
    for step in working.steps:
        assert step.replay() == step.result
        assert set(step.formula.parameters) >= set(step.arguments())
    assert caller_of(entry)(*args, **kwargs) == result


@by_formula
def test_an_ordinary_call_gives_finite_numbers(entry: Formula) -> None:
    """No infinity and no not-a-number."""
    args, kwargs = sample_call(entry)
    for number in numbers_of(caller_of(entry)(*args, **kwargs)):
        assert math.isfinite(number)


def test_a_working_shows_the_chain_with_the_numbers_put_in() -> None:
    """Inner steps come before the result that needs them, with their arguments by name."""
    from afocal.core.likelihood import probability_goal_met

    with recording() as working:
        probability_goal_met(0.8, 2.5, 0.3, 0.2)
    names = [step.formula.name for step in working.steps]
    assert names == [
        "difference_sd_logmar",
        "normal_probability",
        "probability_prediction_meets_goal",
        "probability_goal_met",
    ]
    assert [step.depth for step in working.steps] == [2, 2, 1, 0]
    assert working.last().arguments() == {
        "logmar": 0.8,
        "magnification": 2.5,
        "goal_logmar": 0.3,
        "cr95_logmar": 0.2,
        "loss_logmar": 0.0,
    }


def test_nothing_is_recorded_outside_a_recording() -> None:
    """A recording ends with its block, also after a refusal, and recordings nest."""
    from afocal.core.errors import RangeRefusal
    from afocal.core.likelihood import normal_probability

    with recording() as outer:
        normal_probability(0.0)
        with recording() as inner:
            normal_probability(1.0)
        with pytest.raises(RangeRefusal):
            normal_probability(math.nan)
        normal_probability(2.0)
    normal_probability(3.0)
    assert [step.args for step in outer.steps] == [(0.0,), (2.0,)]
    assert [step.args for step in inner.steps] == [(1.0,)]
    assert all(step.depth == 0 for step in outer.steps)


def test_a_declaration_keeps_the_function_as_it_is() -> None:
    """Name, docstring and behaviour stay; the entry holds what was declared."""

    @formula("2 x", unit="mm", source="", kind="derived", domain="any x")
    def twice_for_test(x: float) -> float:
        """Twice."""
        return 2 * x

    try:
        entry = twice_for_test.__formula__  # type: ignore[attr-defined]
        assert (entry.symbols, entry.unit, entry.kind, entry.domain) == ("2 x", "mm", "derived", "any x")
        assert twice_for_test.__name__ == "twice_for_test"
        assert twice_for_test.__doc__ == "Twice."
        assert twice_for_test(2) == 4
        assert entry.parameters == ("x",)
    finally:
        del REGISTRY[twice_for_test.__formula__.key]  # type: ignore[attr-defined]
