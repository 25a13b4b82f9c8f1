"""Required magnification by each method, and what a magnification promises."""

from __future__ import annotations

import math

import pytest
from edges import ends_where_it_says
from hypothesis import given, settings
from hypothesis import strategies as st

from afocal.core.errors import ClinicalRefusal, RangeRefusal
from afocal.core.magnification import (
    acuity_reserve,
    combined_magnification,
    display_evd_mm,
    distance_after_log_steps_mm,
    evp_from_demand_d,
    evp_from_evd_d,
    kestenbaum_add_d,
    logmar_through_telescope,
    power_margin_log,
    print_read_m_units,
    ratio_of_log_step,
    relative_distance_magnification,
    relative_size_magnification,
    require_threshold,
    required_evd_mm,
    required_magnification,
    snellen_denominator_through_telescope,
)

# function, arguments, value
VALUES = [
    (required_magnification, (1.0, math.log10(2.5)), 4.0),
    (required_magnification, (0.3, 0.6), 10**-0.3),
    (logmar_through_telescope, (0.8, 2.5), 0.8 - math.log10(2.5)),
    (logmar_through_telescope, (0.8, -2.5, 0.1), 0.9 - math.log10(2.5)),
    (snellen_denominator_through_telescope, (160, -4), 40),
    (required_evd_mm, (320, 4.0, 0.8), 64),
    (required_evd_mm, (400, 3.2, 1.0, 2.0), 62.5),
    (evp_from_evd_d, (125,), 8),
    (display_evd_mm, (1000, 10), 100),
    (evp_from_demand_d, (2.5, 4), 10),
    (kestenbaum_add_d, (0.1,), 10),
    (ratio_of_log_step, (0.3,), 10**0.3),
    (ratio_of_log_step, (-1,), 0.1),
    (distance_after_log_steps_mm, (400, 10), 40),
    (distance_after_log_steps_mm, (400, 1), 400 * 0.794328),
    (combined_magnification, ((2.5, 3.0),), 7.5),
    (combined_magnification, ((2.0,),), 2.0),
    (relative_distance_magnification, (400, 100), 4),
    (relative_size_magnification, (1, 2.5), 2.5),
    (print_read_m_units, (4, -2.5), 1.6),
    (acuity_reserve, (2, 1.6), 1.25),
    (power_margin_log, (15, 16), math.log10(15 / 16)),
]


@pytest.mark.parametrize(("function", "arguments", "value"), VALUES)
def test_each_method_gives_its_value(function, arguments: tuple[float, ...], value: float) -> None:
    """Hand-computed values, Keplerian signs included."""
    assert function(*arguments) == pytest.approx(value, rel=1e-6)


@settings(max_examples=50)
@given(st.floats(-0.3, 2.0), st.floats(-0.3, 1.69))
def test_the_required_magnification_reaches_the_goal(acuity: float, goal: float) -> None:
    """Seen through exactly the required magnification, without loss, the acuity is the goal.

    Goals stop two log units above the best acuity: a hundredth is the least magnification that is accepted.
    """
    needed = required_magnification(acuity, goal)
    assert logmar_through_telescope(acuity, needed) == pytest.approx(goal, abs=1e-12)


@settings(max_examples=50)
@given(st.floats(100, 500), st.floats(0.4, 8), st.floats(0.4, 8), st.floats(1, 4))
def test_the_required_distance_keeps_the_reserve(
    distance: float, threshold: float, goal: float, reserve: float
) -> None:
    """From the required distance the goal print is the reserve times the threshold angle."""
    evd = required_evd_mm(distance, threshold, goal, reserve)
    assert (goal / evd) / (threshold / distance) == pytest.approx(reserve)


# function, arguments inside at the edge, arguments outside
EDGES = [
    (required_magnification, (-0.5, 0.3), (-0.51, 0.3)),
    (required_magnification, (3, 0.3), (3.1, 0.3)),
    (required_magnification, (0.3, 3), (0.3, 3.1)),
    (logmar_through_telescope, (3, 2), (3.1, 2)),
    (logmar_through_telescope, (0.5, 0.01), (0.5, 0)),
    (logmar_through_telescope, (0.5, -1000), (0.5, -1001)),
    (logmar_through_telescope, (0.5, 2, 0), (0.5, 2, -0.01)),
    (logmar_through_telescope, (0.5, 2, 3), (0.5, 2, 3.1)),
    (snellen_denominator_through_telescope, (1e6, 2), (1.1e6, 2)),
    (snellen_denominator_through_telescope, (0.1, 2), (0, 2)),
    (snellen_denominator_through_telescope, (100, 0.01), (100, 0.009)),
    (required_evd_mm, (1, 1, 1), (0.9, 1, 1)),
    (required_evd_mm, (1e6, 1, 1), (1.1e6, 1, 1)),
    (required_evd_mm, (400, 0.01, 1), (400, 0.009, 1)),
    (required_evd_mm, (400, 200, 1), (400, 201, 1)),
    (required_evd_mm, (400, 1, 200), (400, 1, 201)),
    (required_evd_mm, (400, 1, 1, 1), (400, 1, 1, 0.9)),
    (required_evd_mm, (400, 1, 1, 20), (400, 1, 1, 20.1)),
    (evp_from_evd_d, (0.01,), (0.009,)),
    (evp_from_evd_d, (1e7,), (1.1e7,)),
    (display_evd_mm, (1, 1), (0.9, 1)),
    (display_evd_mm, (400, 0.01), (400, 0.009)),
    (display_evd_mm, (400, 1000), (400, 1001)),
    (evp_from_demand_d, (100, 1), (101, 1)),
    (evp_from_demand_d, (0.1, 1), (0, 1)),
    (evp_from_demand_d, (2, 0.01), (2, 0.009)),
    (evp_from_demand_d, (2, 1000), (2, 1001)),
    (kestenbaum_add_d, (0.001,), (0.0009,)),
    (kestenbaum_add_d, (3,), (3.1,)),
    (ratio_of_log_step, (10,), (10.1,)),
    (ratio_of_log_step, (-10,), (-10.1,)),
    (distance_after_log_steps_mm, (400, 40), (400, 40.1)),
    (distance_after_log_steps_mm, (400, -40), (400, -40.1)),
    (distance_after_log_steps_mm, (1, 1), (0.9, 1)),
    (relative_distance_magnification, (1, 100), (0.9, 100)),
    (relative_distance_magnification, (100, 1), (100, 0.9)),
    (relative_size_magnification, (0.01, 1), (0.009, 1)),
    (relative_size_magnification, (1, 200), (1, 201)),
    (print_read_m_units, (200, 2), (201, 2)),
    (print_read_m_units, (1, 0.01), (1, 0)),
    (acuity_reserve, (0.01, 1), (0.009, 1)),
    (acuity_reserve, (1, 200), (1, 201)),
    (power_margin_log, (0.01, 1), (0.009, 1)),
    (power_margin_log, (10_000, 1), (10_001, 1)),
    (power_margin_log, (1, 0.01), (1, 0)),
]


@pytest.mark.parametrize(("function", "inside", "outside"), EDGES)
def test_each_method_ends_where_it_says(
    function, inside: tuple[float, ...], outside: tuple[float, ...]
) -> None:
    """The last value inside is computed, the first outside and not-a-number are refused."""
    ends_where_it_says(function, inside, outside)


@pytest.mark.parametrize("factors", [[], [0.0], [2.0, math.nan], [1.1] * 11])
def test_a_product_needs_one_to_ten_real_factors(factors: list[float]) -> None:
    """No factor, too many, zero and not-a-number are refused."""
    with pytest.raises(RangeRefusal):
        combined_magnification(factors)


def test_ten_factors_are_the_most() -> None:
    """The end of the range is accepted."""
    assert combined_magnification([1.1] * 10) == pytest.approx(1.1**10)


@pytest.mark.parametrize(
    ("threshold", "distance", "missing"),
    [
        (None, 400.0, "the threshold print is missing"),
        (1.6, None, "the distance of the threshold print is missing"),
        (None, None, "the threshold print is missing"),
    ],
)
def test_a_near_goal_needs_threshold_print_and_its_distance(
    threshold: float | None, distance: float | None, missing: str
) -> None:
    """Without either, no power is computed and the refusal says which is missing."""
    with pytest.raises(ClinicalRefusal, match=f"near goal; {missing}, so no power can be computed"):
        require_threshold(threshold, distance)


def test_known_threshold_print_passes() -> None:
    """Both values come back as they are."""
    assert require_threshold(1.6, 400.0) == (1.6, 400.0)
