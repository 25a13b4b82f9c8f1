"""The edges of the optics of the tube: every accepted range to its last number, and no result that is no number."""

from __future__ import annotations

from math import inf, isfinite, nan, nextafter
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from afocal.core.errors import AfocalError, DomainRefusal
from afocal.core.formula import REGISTRY, Formula
from afocal.core.optics import ametropia, blur, caps, focus, measuring, rays, telescope, thick
from afocal.core.optics.rays import RayMatrix
from afocal.core.sources import SOURCES

MODULES = (ametropia, blur, caps, focus, measuring, rays, telescope, thick)
NAMES = {module.__name__.removeprefix("afocal.core.") for module in MODULES}
FORMULAS = [entry for entry in REGISTRY.values() if entry.module in NAMES]

# The ranges in which values are entered; what is not entered by anybody gets the values it takes in use.
ENTERED: dict[str, st.SearchStrategy[Any]] = {
    "magnification": st.floats(1.2, 10) | st.floats(-10, -1.2),
    "marked_magnification": st.floats(1.2, 10) | st.floats(-10, -1.2),
    "measured_magnification": st.floats(1.2, 10) | st.floats(-10, -1.2),
    "tube_length_mm": st.floats(8, 160),
    "actual_tube_length_mm": st.none() | st.floats(8, 160),
    "shortest_tube_mm": st.floats(8, 160),
    "longest_tube_mm": st.floats(8, 160),
    "objective_diameter_mm": st.floats(6, 50),
    "exit_pupil_diameter_mm": st.floats(1, 20),
    "exit_pupil_depth_mm": st.floats(1, 100),
    "eye_distance_mm": st.floats(9, 40),
    "object_distance_mm": st.none() | st.floats(20, 1e5),
    "object_vergence_d": st.floats(-20, 20),
    "cap_power_d": st.floats(0.25, 20),
    "trial_lens_d": st.floats(-4, 4),
    "over_refraction_d": st.floats(-6, 6),
    "spectacle_power_d": st.floats(-30, 25),
    "refraction_at_cornea_d": st.floats(-30, 60),
    "vertex_mm": st.none() | st.floats(6, 25),
    "assumed_vertex_mm": st.floats(6, 25),
    "ocular_to_cornea_mm": st.floats(6, 37),
    "ametropia_at_ocular_d": st.floats(-30, 60),
    "ametropia_right_d": st.floats(-30, 60),
    "ametropia_left_d": st.floats(-30, 60),
    "residual_sphere_d": st.floats(-30, 25),
    "residual_cylinder_d": st.floats(-8, 8),
    "objective_power_d": st.floats(5, 60),
    "ocular_power_d": st.floats(-200, 200),
    "first_lens_d": st.floats(1, 30),
    "second_lens_d": st.floats(1, 30),
    "gap_mm": st.floats(0, 20),
    "ocular_focal_length_mm": st.floats(-100, 100),
    "change_d": st.floats(-30, 30),
    "exit_vergence_d": st.floats(-300, 300),
    "back_vertex_power_d": st.floats(-100, 100),
    "tolerance_d": st.floats(0.25, 1.5),
    "accommodation_d": st.floats(0, 20),
    "swing_d": st.floats(0.25, 20),
    "setting": st.sampled_from(["infinity", "hyperfocal"]),
    "estimate": st.sampled_from(["min", "mean", "max"]),
    "side": st.sampled_from(["near", "far"]),
    "pupil_mm": st.floats(1.5, 9),
    "mar_arcmin": st.floats(0.5, 100),
    "defocus_d": st.floats(-10, 10),
    "blur_constant": st.floats(0.3, 1.5),
    "loss_logmar": st.floats(0.02, 0.5),
    "lower_d": st.none() | st.floats(0, 1),
    "upper_d": st.none() | st.floats(1, 3),
    "blur_limit_mm": st.floats(0.005, 0.05),
    "eye_power_d": st.floats(55, 65),
    "spatial_frequency_cpd": st.floats(0.5, 30),
    "age_years": st.floats(3, 110),
    "sustained_fraction": st.floats(0, 1),
    "none_from_years": st.floats(40, 70),
    "size_ratio": st.floats(0.9, 10),
    "tolerance_percent": st.floats(0, 20),
    "equivalent_power_d": st.floats(0.5, 60),
    "required_evp_d": st.floats(0.5, 60),
    "reference_distance_mm": st.floats(200, 500),
    "reading_distance_mm": st.floats(200, 500),
    "working_distance_mm": st.floats(20, 4000),
    "short_distance_mm": st.floats(50, 200),
    "test_distance_mm": st.floats(100, 1000),
    "threshold_m_units": st.floats(0.2, 20),
    "goal_m_units": st.floats(0.2, 20),
    "acuity_reserve": st.floats(1, 4),
    "lens_power_d": st.floats(0.25, 20),
    "power_d": st.floats(-100, 100),
    "distance_mm": st.floats(0, 1e5),
    "refractive_index": st.floats(1, 2),
    "radius_mm": st.floats(-500, 500),
    "index_before": st.floats(1, 2),
    "index_after": st.floats(1, 2),
    "front_surface_d": st.floats(-30, 30),
    "back_surface_d": st.floats(-30, 30),
    "thickness_mm": st.floats(0, 30),
    "erecting_prism": st.booleans(),
    "keplerian": st.booleans(),
    "in_front": st.booleans(),
}
ANY_FLOAT = st.floats() | st.sampled_from(
    [nan, inf, -inf, 0.0, -0.0, 5e-324, -5e-324, 1.7e308, -1.7e308, 1e-160, 1.0, -1.0, 1.05, 0.5, 1000.0]
)


@st.composite
def systems(draw: st.DrawFn) -> RayMatrix:
    """A chain of a few lenses and gaps."""
    elements = []
    for _ in range(draw(st.integers(0, 4))):
        elements.append(rays.lens(draw(st.floats(-60, 60))))
        elements.append(rays.translation(draw(st.floats(0, 300))))
    return rays.chain(*elements)


MATRICES = {"system", "object_to_pupil_matrix", "objective", "ocular"}
WORDS = {"setting", "estimate", "side", "erecting_prism", "keplerian", "in_front"}


def check_result(entry: Formula, arguments: dict[str, Any]) -> None:
    """The call returns finite numbers, or raises one of our own errors that can say itself."""
    try:
        result = entry.function(*arguments.pop("elements", ()), **arguments)
    except AfocalError as refusal:
        assert str(refusal)
        return
    for value in result if isinstance(result, tuple) else (result,):
        assert value is None or isinstance(value, bool) or isfinite(value), (entry.key, arguments, result)


def draw_arguments(data: st.DataObject, entry: Formula, wild: bool) -> dict[str, Any]:
    """Arguments for a formula, by the names of its parameters."""
    arguments: dict[str, Any] = {}
    for name in entry.parameters:
        if name == "elements":
            matrices = st.builds(RayMatrix, *[ANY_FLOAT] * 4) if wild else systems()
            arguments[name] = data.draw(st.lists(matrices, max_size=4), label=name)
        elif name in MATRICES:
            wide = systems() | st.builds(RayMatrix, *[ANY_FLOAT] * 4) if wild else systems()
            arguments[name] = data.draw(wide, label=name)
        elif wild and name not in WORDS:
            arguments[name] = data.draw(ENTERED[name] | ANY_FLOAT, label=name)
        else:
            arguments[name] = data.draw(ENTERED[name], label=name)
    for name, value in arguments.items():
        if value is None and not takes_none(entry, name):
            arguments[name] = 20.0
    return arguments


def takes_none(entry: Formula, name: str) -> bool:
    """Whether this parameter of the formula may be left out as None."""
    return "None" in str(entry.function.__annotations__.get(name, ""))


@pytest.mark.parametrize("entry", FORMULAS, ids=lambda entry: entry.key)
@given(data=st.data())
@settings(max_examples=30, deadline=None)
def test_accepted_values_give_numbers_or_our_own_refusals(entry: Formula, data: st.DataObject) -> None:
    """Over the ranges in which values are entered no formula returns NaN or infinity, or raises anything else."""
    check_result(entry, draw_arguments(data, entry, wild=False))


@pytest.mark.parametrize("entry", FORMULAS, ids=lambda entry: entry.key)
@given(data=st.data())
@settings(max_examples=40, deadline=None)
def test_any_number_at_all_gives_numbers_or_our_own_refusals(entry: Formula, data: st.DataObject) -> None:
    """The same for every float there is: NaN, infinity, the smallest and the largest."""
    check_result(entry, draw_arguments(data, entry, wild=True))


def test_every_public_function_is_declared() -> None:
    """Each public function of these modules carries its declaration: symbols, domain, and a source that is listed."""
    for module in MODULES:
        for name, value in vars(module).items():
            if callable(value) and not isinstance(value, type) and not name.startswith("_"):
                if getattr(value, "__module__", "") != module.__name__:
                    continue
                assert hasattr(value, "__formula__"), f"{module.__name__}.{name}"
    for entry in FORMULAS:
        assert entry.symbols and entry.domain
        assert (entry.source in SOURCES) if entry.source else entry.kind in ("derived", "common practice"), (
            entry.key
        )


# For each formula: arguments that are accepted, and by parameter the lowest and the highest value accepted beside them.
# An end given as a pair (value, other arguments) needs other company there, because a pole or a travel comes first.
M = (1.05, 100.0)
T = (0.5, 1000.0)
R = (-100.0, 100.0)
U = (-1000.0, 1000.0)
TOLERANCE, ACCOMMODATION = (0.0, 10.0), (0.0, 30.0)
CAP = (0.05, 60.0)
D_OBJ = (0.1, 500.0)
SMALL = {"magnification": 1.05, "tube_length_mm": 0.5}
STRONG = {"magnification": 20.0, "tube_length_mm": 0.5}
Ends = dict[str, tuple[Any, Any]]
CASES: list[tuple[Any, dict[str, Any], Ends]] = [
    (
        telescope.magnification,
        {"objective_power_d": 20.0, "ocular_power_d": -40.0},
        {
            "objective_power_d": ((0.05, {"ocular_power_d": 1.0}), (3900.0, {"ocular_power_d": -5000.0})),
        },
    ),
    (
        telescope.magnification,
        {"objective_power_d": 20.0, "ocular_power_d": -40.0},
        {
            "ocular_power_d": (-2000.0, -21.0),
        },
    ),
    (
        telescope.magnification_from_objective,
        {"objective_power_d": 20.0, "tube_length_mm": 25.0},
        {
            "objective_power_d": ((0.05, {"tube_length_mm": 1000.0}), (3900.0, {"tube_length_mm": 0.5})),
            "tube_length_mm": ((0.5, {"objective_power_d": 400.0}), (1000.0, {"objective_power_d": 0.5})),
        },
    ),
    (
        telescope.objective_focal_length_mm,
        {"magnification": 2.0, "tube_length_mm": 24.0},
        {"magnification": M, "tube_length_mm": T},
    ),
    (
        telescope.objective_is_fast,
        {"magnification": 2.0, "tube_length_mm": 24.0, "objective_diameter_mm": 24.0},
        {"magnification": M, "tube_length_mm": T, "objective_diameter_mm": D_OBJ},
    ),
    (
        telescope.ocular_focal_length_mm,
        {"magnification": 2.0, "tube_length_mm": 24.0},
        {"magnification": M, "tube_length_mm": T},
    ),
    (
        telescope.objective_power_d,
        {"magnification": 2.0, "tube_length_mm": 24.0},
        {"magnification": M, "tube_length_mm": T},
    ),
    (
        telescope.ocular_power_d,
        {"magnification": 2.0, "tube_length_mm": 24.0},
        {"magnification": M, "tube_length_mm": T},
    ),
    (
        telescope.exit_pupil_distance_mm,
        {"magnification": 2.0, "tube_length_mm": 24.0},
        {"magnification": M, "tube_length_mm": T, "actual_tube_length_mm": T},
    ),
    (
        telescope.exit_pupil_diameter_mm,
        {"magnification": 2.0, "objective_diameter_mm": 24.0},
        {"magnification": M, "objective_diameter_mm": D_OBJ},
    ),
    (
        telescope.ocular_image_distance_mm,
        {"magnification": 2.0, "tube_length_mm": 24.0},
        {"magnification": M, "tube_length_mm": T},
    ),
    (telescope.ocular_image_magnification, {"magnification": 2.0}, {"magnification": M}),
    (telescope.seen_magnification, {"magnification": 2.0, "erecting_prism": True}, {"magnification": M}),
    (
        telescope.ocular_travel_mm,
        {"ocular_focal_length_mm": 25.0, "change_d": 1.0},
        {"ocular_focal_length_mm": (1.0, 1000.0), "change_d": R},
    ),
    (
        measuring.magnification_from_diameters,
        {"objective_diameter_mm": 24.0, "exit_pupil_diameter_mm": 12.0},
        {
            "objective_diameter_mm": (None, (500.0, {"exit_pupil_diameter_mm": 200.0})),
            "exit_pupil_diameter_mm": ((0.1, {"objective_diameter_mm": 1.0}), None),
        },
    ),
    (
        measuring.magnification_from_diameters,
        {"objective_diameter_mm": 10.0, "exit_pupil_diameter_mm": 10.0},
        {
            "objective_diameter_mm": (10.5, None),
        },
    ),
    (
        measuring.size_ratio_at_eye,
        {
            "magnification": 2.0,
            "tube_length_mm": 24.0,
            "object_distance_mm": 3000.0,
            "eye_distance_mm": 15.0,
        },
        {
            "magnification": M,
            "tube_length_mm": T,
            "object_distance_mm": (1.0, 1e7),
            "eye_distance_mm": (0.0, 1000.0),
        },
    ),
    (measuring.magnification_from_image_sizes, {"size_ratio": 2.0}, {"size_ratio": (None, 100.0)}),
    (
        measuring.magnification_from_image_sizes,
        {
            "size_ratio": 1.5,
            "object_distance_mm": 10_000.0,
            "tube_length_mm": 24.0,
            "eye_distance_mm": 15.0,
        },
        {
            "size_ratio": ((1.0, None), None),
            "object_distance_mm": ((1.0, None), 1e7),
            "tube_length_mm": (0.0, 1000.0),
            "eye_distance_mm": (0.0, (1000.0, {"object_distance_mm": 1e6})),
        },
    ),
    (
        measuring.trial_lens_bvp_d,
        {"magnification": 2.0, "tube_length_mm": 24.0, "trial_lens_d": 1.0},
        {
            "magnification": (1.05, (100.0, {"tube_length_mm": 0.5})),
            "tube_length_mm": (0.5, (1000.0, {"trial_lens_d": 0.1})),
            "trial_lens_d": (-100.0, (100.0, SMALL)),
        },
    ),
    (
        measuring.magnification_from_trial_lens,
        {"back_vertex_power_d": 4.0, "trial_lens_d": 1.0},
        {
            "back_vertex_power_d": ((-1000.0, {"trial_lens_d": -1.0}), 1000.0),
            "trial_lens_d": (0.12, (100.0, {"back_vertex_power_d": 400.0})),
            "tube_length_mm": (0.0, (1000.0, {"keplerian": True})),
        },
    ),
    (
        measuring.tube_length_from_exit_pupil_mm,
        {"magnification": 2.0, "exit_pupil_depth_mm": 12.0},
        {"magnification": M, "exit_pupil_depth_mm": (5e-324, 500.0)},
    ),
    (
        measuring.marked_power_deviation_percent,
        {"marked_magnification": 2.0, "measured_magnification": 2.0},
        {"marked_magnification": M, "measured_magnification": M},
    ),
    (
        measuring.marked_power_agrees,
        {"marked_magnification": 2.0, "measured_magnification": 2.0},
        {"tolerance_percent": (0.0, 100.0)},
    ),
    (
        ametropia.vertex_or_assumed_mm,
        {"spectacle_power_d": -6.0, "vertex_mm": 12.0},
        {"spectacle_power_d": R, "vertex_mm": (0.0, 60.0)},
    ),
    (ametropia.vertex_or_assumed_mm, {"spectacle_power_d": -6.0}, {"assumed_vertex_mm": (0.0, 60.0)}),
    (
        ametropia.refraction_at_cornea_d,
        {"spectacle_power_d": 6.0, "vertex_mm": 12.0},
        {"spectacle_power_d": (-100.0, (100.0, {"vertex_mm": 0.0})), "vertex_mm": (0.0, 60.0)},
    ),
    (
        ametropia.ametropia_at_ocular_d,
        {"refraction_at_cornea_d": -6.0, "ocular_to_cornea_mm": 14.0},
        {
            "refraction_at_cornea_d": ((-100.0, {"ocular_to_cornea_mm": 0.0}), 100.0),
            "ocular_to_cornea_mm": (0.0, 60.0),
        },
    ),
    (
        ametropia.effective_ocular_power_d,
        {"ocular_power_d": -200.0, "ametropia_at_ocular_d": -3.0},
        {"ocular_power_d": (-250_000.0, (250_000.0, {})), "ametropia_at_ocular_d": R},
    ),
    (
        ametropia.refocus,
        {"magnification": 2.0, "tube_length_mm": 24.0},
        {
            "magnification": M,
            "tube_length_mm": T,
            "ametropia_at_ocular_d": ((-100.0, {"magnification": -4.0}), (100.0, {"tube_length_mm": 0.8})),
            "object_vergence_d": (
                (-1000.0, {"magnification": -4.0, "tube_length_mm": 0.5}),
                (1000.0, {"magnification": -4.0}),
            ),
        },
    ),
    (
        ametropia.objective_correction_d,
        {"magnification": 2.0, "tube_length_mm": 24.0, "ametropia_at_ocular_d": 1.0},
        {
            "magnification": M,
            "tube_length_mm": T,
            "ametropia_at_ocular_d": ((-100.0, {"magnification": -2.0}), 100.0),
        },
    ),
    (
        ametropia.refocused_exit_pupil,
        {
            "magnification": 2.0,
            "tube_length_mm": 24.0,
            "objective_diameter_mm": 24.0,
            "actual_tube_length_mm": 23.0,
        },
        {
            "magnification": M,
            "tube_length_mm": T,
            "objective_diameter_mm": D_OBJ,
            "actual_tube_length_mm": T,
        },
    ),
    (
        ametropia.refocused_aniseikonia_percent,
        {
            "magnification": 2.0,
            "tube_length_mm": 24.0,
            "ametropia_right_d": 0.0,
            "ametropia_left_d": 0.0,
        },
        {"magnification": M, "tube_length_mm": T, "ametropia_right_d": R, "ametropia_left_d": R},
    ),
    (
        ametropia.over_refraction_effect_d,
        {
            "magnification": 2.0,
            "tube_length_mm": 24.0,
            "over_refraction_d": 0.5,
            "in_front": False,
        },
        {"magnification": M, "tube_length_mm": T, "over_refraction_d": R},
    ),
    (
        ametropia.residual_defocus_d,
        {"residual_sphere_d": 0.0, "residual_cylinder_d": 0.0},
        {"residual_sphere_d": R, "residual_cylinder_d": R},
    ),
    (
        focus.object_vergence_d,
        {"object_distance_mm": 400.0},
        {"object_distance_mm": (1.0, 1e7), "cap_power_d": (-60.0, 60.0)},
    ),
    (
        focus.exit_vergence_d,
        {"magnification": 2.0, "tube_length_mm": 24.0, "object_vergence_d": -1.0},
        {
            "magnification": M,
            "tube_length_mm": T,
            "object_vergence_d": (-1000.0, (1000.0, {"magnification": -2.0})),
        },
    ),
    (
        focus.exit_vergence_m_squared_d,
        {"magnification": 2.0, "object_vergence_d": -1.0},
        {"magnification": M, "object_vergence_d": U},
    ),
    (
        focus.object_vergence_for_exit_d,
        {"magnification": 2.0, "tube_length_mm": 24.0, "exit_vergence_d": 1.0},
        {"magnification": M, "tube_length_mm": T, "exit_vergence_d": ((-1e9, {"magnification": -2.0}), 1e9)},
    ),
    (
        focus.vergence_at_cornea_d,
        {"exit_vergence_d": -1.0, "ocular_to_cornea_mm": 14.0},
        {"exit_vergence_d": (-1e9, (1e9, {"ocular_to_cornea_mm": 0.0})), "ocular_to_cornea_mm": (0.0, 60.0)},
    ),
    (
        focus.accommodation_demand_d,
        {"exit_vergence_d": -1.0},
        {"exit_vergence_d": (-1e9, 1e9), "ametropia_at_ocular_d": R},
    ),
    (
        focus.near_limit_mm,
        {"magnification": 2.0, "tube_length_mm": 24.0, "swing_d": 1.0},
        {"magnification": M, "tube_length_mm": T, "swing_d": (0.01, 60.0)},
    ),
    (
        focus.clear_range,
        {
            "magnification": 2.0,
            "tube_length_mm": 24.0,
            "tolerance_d": 0.5,
            "accommodation_d": 1.0,
        },
        {
            "magnification": M,
            "tube_length_mm": T,
            "tolerance_d": TOLERANCE,
            "accommodation_d": ACCOMMODATION,
            "ametropia_at_ocular_d": ((-100.0, {"magnification": -2.0}), None),
        },
    ),
    (
        focus.near_focus,
        {"magnification": -4.0, "tube_length_mm": 0.5, "object_vergence_d": -1.0},
        {"object_vergence_d": (-1000.0, -5e-324)},
    ),
    (
        focus.evd_mm,
        {
            "magnification": 2.0,
            "tube_length_mm": 24.0,
            "object_distance_mm": 400.0,
            "eye_distance_mm": 15.0,
        },
        {
            "magnification": M,
            "tube_length_mm": T,
            "object_distance_mm": (1.0, 1e7),
            "eye_distance_mm": (0.0, 1000.0),
            "cap_power_d": (-60.0, 60.0),
        },
    ),
    (
        blur.blur_loss_logmar,
        {"mar_arcmin": 4.0, "pupil_mm": 3.0, "defocus_d": 1.0},
        {"mar_arcmin": (0.1, 1000.0), "pupil_mm": (0.5, 12.0), "defocus_d": R, "blur_constant": (0.1, 3.0)},
    ),
    (
        blur.tolerated_defocus_d,
        {"mar_arcmin": 4.0, "pupil_mm": 3.0},
        {
            "mar_arcmin": (0.1, 1000.0),
            "pupil_mm": (0.5, 12.0),
            "loss_logmar": (0.01, 1.0),
            "blur_constant": (0.1, 3.0),
            "lower_d": (0.0, 10.0),
            "upper_d": (0.0, 10.0),
        },
    ),
    (blur.blur_disc_arcmin, {"pupil_mm": 3.0, "defocus_d": 1.0}, {"pupil_mm": (0.5, 12.0), "defocus_d": R}),
    (
        blur.depth_of_focus_geometric_d,
        {"blur_limit_mm": 0.012, "pupil_mm": 3.0, "eye_power_d": 60.0},
        {"blur_limit_mm": (0.001, 1.0), "pupil_mm": (0.5, 12.0), "eye_power_d": (30.0, 90.0)},
    ),
    (
        blur.depth_of_focus_green_d,
        {"spatial_frequency_cpd": 3.0, "pupil_mm": 3.0},
        {"spatial_frequency_cpd": (0.1, 10.0), "pupil_mm": (0.5, 12.0)},
    ),
    (blur.accommodation_amplitude_d, {"age_years": 30.0}, {"age_years": (0.0, 120.0)}),
    (
        blur.sustained_accommodation_d,
        {"age_years": 30.0},
        {"age_years": (0.0, 120.0), "sustained_fraction": (0.0, 1.0), "none_from_years": (0.0, 120.0)},
    ),
    (caps.cap_working_distance_mm, {"cap_power_d": 4.0}, {"cap_power_d": CAP}),
    (
        caps.cap_working_distance_uncorrected_mm,
        {
            "magnification": 2.0,
            "tube_length_mm": 24.0,
            "cap_power_d": 4.0,
            "ametropia_at_ocular_d": -1.0,
        },
        {
            "magnification": M,
            "tube_length_mm": (0.5, (1000.0, {"ametropia_at_ocular_d": 1.0})),
            "cap_power_d": CAP,
            "ametropia_at_ocular_d": (
                (-100.0, {"magnification": -2.0, "cap_power_d": 60.0}),
                (100.0, {"cap_power_d": 60.0}),
            ),
        },
    ),
    (
        caps.cap_equivalent_power_d,
        {"magnification": 2.0, "cap_power_d": 4.0},
        {"magnification": M, "cap_power_d": CAP},
    ),
    (caps.cap_evd_mm, {"magnification": 2.0, "cap_power_d": 4.0}, {"magnification": M, "cap_power_d": CAP}),
    (
        caps.magnification_re_distance,
        {"equivalent_power_d": 8.0, "reference_distance_mm": 250.0},
        {"equivalent_power_d": (0.05, 6000.0), "reference_distance_mm": (50.0, 10_000.0)},
    ),
    (
        caps.cap_near_edge_mm,
        {
            "magnification": 2.0,
            "tube_length_mm": 24.0,
            "cap_power_d": 4.0,
            "tolerance_d": 0.5,
        },
        {
            "magnification": M,
            "tube_length_mm": T,
            "cap_power_d": CAP,
            "tolerance_d": TOLERANCE,
            "accommodation_d": ACCOMMODATION,
            "ametropia_at_ocular_d": ((-100.0, {"magnification": -2.0}), None),
        },
    ),
    (
        caps.cap_far_edge_mm,
        {
            "magnification": 2.0,
            "tube_length_mm": 24.0,
            "cap_power_d": 4.0,
            "tolerance_d": 0.5,
        },
        {
            "magnification": M,
            "tube_length_mm": T,
            "cap_power_d": ((0.05, {"tolerance_d": 0.0}), 60.0),
            "tolerance_d": TOLERANCE,
            "accommodation_d": ACCOMMODATION,
            "ametropia_at_ocular_d": (None, (100.0, {"cap_power_d": 60.0})),
        },
    ),
    (
        caps.lens_depth_one_side_mm,
        {"lens_power_d": 5.0, "tolerance_d": 0.5, "side": "near"},
        {"lens_power_d": CAP, "tolerance_d": TOLERANCE},
    ),
    (
        caps.cap_power_for_goal_d,
        {
            "magnification": 2.0,
            "test_distance_mm": 400.0,
            "threshold_m_units": 2.0,
            "goal_m_units": 1.0,
        },
        {
            "magnification": M,
            "test_distance_mm": ((20.0, {"threshold_m_units": 1.0}), (10_000.0, {})),
            "threshold_m_units": ((0.05, {}), (50.0, {"goal_m_units": 10.0})),
            "goal_m_units": ((0.05, {"threshold_m_units": 1.0}), (50.0, {"threshold_m_units": 10.0})),
            "acuity_reserve": (0.5, 10.0),
        },
    ),
    (
        caps.cap_power_for_evp_d,
        {"magnification": 2.0, "required_evp_d": 8.0},
        {"magnification": ((1.05, {}), (100.0, {})), "required_evp_d": (0.1, 120.0)},
    ),
    (
        caps.cap_is_weak_for_reading,
        {"magnification": 2.0, "cap_power_d": 4.0},
        {"reading_distance_mm": (50.0, 10_000.0)},
    ),
    (
        caps.working_distance_is_short,
        {"working_distance_mm": 250.0},
        {"working_distance_mm": (5e-324, 1e7), "short_distance_mm": (0.0, 1000.0)},
    ),
    (
        rays.telescope_matrix,
        {"magnification": 2.0, "tube_length_mm": 24.0},
        {"magnification": M, "tube_length_mm": T},
    ),
    (
        thick.focusing_gap_mm,
        {"objective": rays.lens(20.0), "ocular": rays.lens(200.0)},
        {"ametropia_at_ocular_d": R},
    ),
]
EDGES = [
    (function, base, name, end, 0 if end == ends[0] else 1)
    for function, base, limits in CASES
    for name, ends in limits.items()
    for end in ends
    if end is not None
]


@pytest.mark.parametrize(
    ("function", "base", "name", "end", "side"), EDGES, ids=lambda v: getattr(v, "__name__", str(v))
)
def test_range_ends_where_it_says(
    function: Any, base: dict[str, Any], name: str, end: Any, side: int
) -> None:
    """The last value of a range is accepted, the next float beyond it and NaN are refused, in words that say what is."""
    value, company = end if isinstance(end, tuple) else (end, {})
    beyond = nextafter(value, inf if side else -inf)
    if company is not None:
        result = function(**{**base, **company, name: value})
        assert all(x is None or isfinite(x) for x in (result if isinstance(result, tuple) else (result,)))
    for outside in (beyond, nan):
        with pytest.raises(DomainRefusal) as refusal:
            function(**{**base, **(company or {}), name: outside})
        assert "accepted is" in str(refusal.value)


@pytest.mark.parametrize(("magnification", "sign"), [(2.0, 1.0), (-4.0, -1.0)])
def test_the_pole_is_kept_off_by_a_twentieth(magnification: float, sign: float) -> None:
    """Where 1 - t M U is still 0.0503 a vergence is given, at 0.0497 it is refused: light converging, object near."""
    pole_d = 1000.0 / (24.0 * magnification)
    assert pole_d * sign > 0.0
    assert isfinite(focus.exit_vergence_d(magnification, 24.0, (1.0 - 0.0503) * pole_d))
    with pytest.raises(DomainRefusal):
        focus.exit_vergence_d(magnification, 24.0, (1.0 - 0.0497) * pole_d)
