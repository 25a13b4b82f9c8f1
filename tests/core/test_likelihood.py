"""Repeatability, the chance to meet a goal, intervals and differences."""

from __future__ import annotations

import math

import pytest
from edges import ends_where_it_says
from hypothesis import given, settings
from hypothesis import strategies as st
from mpmath import mp, mpf

from afocal.core.errors import RangeRefusal
from afocal.core.likelihood import (
    Interval,
    difference_sd_logmar,
    normal_probability,
    prediction_interval,
    probability_by_chance,
    probability_goal_met,
    probability_prediction_meets_goal,
    probability_true_acuity_meets_goal,
    within_subject_sd_logmar,
    within_what_repeats,
)

# now, magnification, chance of 20/40 for a CR95 of 0.20 and 0.30, chance of 20/50 likewise: two digits, computed from
# the normal distribution outside the program.
CHANCES = [
    (63, 1.6, 0.53, 0.52, 0.85, 0.75),
    (80, 2.0, 0.50, 0.50, 0.83, 0.74),
    (100, 2.0, 0.17, 0.26, 0.50, 0.50),
    (100, 2.5, 0.50, 0.50, 0.83, 0.74),
    (125, 3.0, 0.43, 0.45, 0.78, 0.70),
    (160, -4.0, 0.50, 0.50, 0.83, 0.74),
]


@pytest.mark.parametrize("row", CHANCES)
def test_the_chance_to_meet_a_goal(row: tuple[float, ...]) -> None:
    """The table of chances, to its two digits, whatever the sign of the magnification."""
    now, magnification, *chances = row
    cases = [(40, 0.20), (40, 0.30), (50, 0.20), (50, 0.30)]
    for (goal, cr95), chance in zip(cases, chances, strict=True):
        found = probability_goal_met(math.log10(now / 20), magnification, math.log10(goal / 20), cr95)
        assert found == pytest.approx(chance, abs=0.0051)


@pytest.mark.parametrize("z", [-8.0, -3.0, -1.96, -0.5, 0.0, 0.3, 1.0, 1.645, 4.0])
def test_the_normal_distribution_agrees_with_high_precision(z: float) -> None:
    """Against mpmath's own distribution function, to twelve digits even in the tail."""
    mp.dps = 30
    assert normal_probability(z) == pytest.approx(float(mp.ncdf(mpf(z))), rel=1e-12)


@settings(max_examples=50)
@given(st.floats(0, 2), st.floats(1, 8), st.floats(0.02, 1))
def test_the_chance_is_one_half_when_the_prediction_is_the_goal(
    acuity: float, magnification: float, cr95: float
) -> None:
    """A telescope picked by simple division is a coin toss, for every repeatability."""
    goal = acuity - math.log10(magnification)
    assert probability_goal_met(acuity, magnification, goal, cr95) == pytest.approx(0.5)
    assert probability_goal_met(acuity, magnification, goal, cr95, 0.05) < 0.5
    assert probability_goal_met(acuity, magnification, goal + 0.05, cr95) > 0.5


def test_a_loss_counts_as_a_worse_prediction() -> None:
    """A loss of 0.1 is the same as a goal finer by 0.1."""
    assert probability_goal_met(0.8, 2.5, 0.4, 0.2, 0.1) == pytest.approx(
        probability_goal_met(0.8, 2.5, 0.3, 0.2)
    )
    assert probability_prediction_meets_goal(0.5, 0.4, 0.2) == pytest.approx(
        probability_goal_met(0.5, 1.0, 0.4, 0.2)
    )


def test_spreads_follow_from_the_coefficient_of_repeatability() -> None:
    """CR95 0.20 means 0.0722 within a subject and 0.1020 for a difference."""
    assert within_subject_sd_logmar(0.2) == pytest.approx(0.2 / (1.96 * math.sqrt(2)))
    assert difference_sd_logmar(0.2) == pytest.approx(0.2 / 1.96)


def test_the_true_acuity_is_known_better_than_its_next_measurement() -> None:
    """The chance for the true acuity uses the smaller spread, 1.414 times less."""
    re_measured = probability_prediction_meets_goal(0.35, 0.3, 0.2)
    true = probability_true_acuity_meets_goal(0.35, 0.3, 0.2)
    assert true < re_measured < 0.5
    assert true == pytest.approx(normal_probability(-0.05 * 2.7718585822512662 / 0.2))


def test_the_interval_is_the_prediction_and_the_repeatability_each_way() -> None:
    """95 of 100 re-measurements lie within the CR95; the ends count."""
    interval = prediction_interval(0.32, 0.2)
    assert interval == Interval(pytest.approx(0.12), pytest.approx(0.52), 0.95)
    assert interval.contains(0.12) and interval.contains(0.52) and interval.contains(0.3)
    assert not interval.contains(0.1199) and not interval.contains(0.5201)
    below = probability_prediction_meets_goal(0.32, 0.52, 0.2) - probability_prediction_meets_goal(
        0.32, 0.12, 0.2
    )
    assert below == pytest.approx(0.95, abs=1e-4)


@pytest.mark.parametrize(
    ("first", "second", "within"),
    [(0.5, 0.7, True), (0.7, 0.5, True), (0.5, 0.71, False), (0.71, 0.5, False)],
)
def test_a_difference_up_to_the_repeatability_is_no_change(first: float, second: float, within: bool) -> None:
    """Exactly the CR95 still repeats, a letter more does not, in either direction."""
    assert within_what_repeats(first, second, 0.2) is within


def test_the_chance_of_a_difference_by_chance() -> None:
    """The CR95 itself comes up one time in twenty, no difference always."""
    assert probability_by_chance(0.5, 0.7, 0.2) == pytest.approx(0.05, abs=1e-4)
    assert probability_by_chance(0.7, 0.5, 0.2) == pytest.approx(0.05, abs=1e-4)
    assert probability_by_chance(0.5, 0.5, 0.2) == 1.0


# function, arguments inside at the edge, arguments outside
EDGES = [
    (within_subject_sd_logmar, (2,), (2.1,)),
    (within_subject_sd_logmar, (1e-6,), (0,)),
    (difference_sd_logmar, (2,), (2.1,)),
    (difference_sd_logmar, (1e-6,), (-0.2,)),
    (probability_goal_met, (5, 2, 0.3, 0.2), (5.1, 2, 0.3, 0.2)),
    (probability_goal_met, (0.5, 1, 0.3, 0.2), (0.5, 0.99, 0.3, 0.2)),
    (probability_goal_met, (0.5, -100, 0.3, 0.2), (0.5, -101, 0.3, 0.2)),
    (probability_goal_met, (0.5, 2, -5, 0.2), (0.5, 2, -5.1, 0.2)),
    (probability_goal_met, (0.5, 2, 0.3, 2), (0.5, 2, 0.3, 0)),
    (probability_goal_met, (0.5, 2, 0.3, 0.2, -1), (0.5, 2, 0.3, 0.2, -5.1)),
    (probability_prediction_meets_goal, (-5, 0.3, 0.2), (-5.1, 0.3, 0.2)),
    (probability_prediction_meets_goal, (0.3, 5, 0.2), (0.3, 5.1, 0.2)),
    (probability_true_acuity_meets_goal, (0.3, 5, 0.2), (0.3, 5.1, 0.2)),
    (probability_true_acuity_meets_goal, (5, 0.3, 0.2), (5.1, 0.3, 0.2)),
    (probability_true_acuity_meets_goal, (0.3, 0.3, 2), (0.3, 0.3, 2.1)),
    (probability_by_chance, (5, 0.3, 0.2), (5.1, 0.3, 0.2)),
    (probability_by_chance, (0.3, -5, 0.2), (0.3, -5.1, 0.2)),
    (probability_by_chance, (0.3, 0.3, 2), (0.3, 0.3, 0)),
    (within_what_repeats, (5, 0.3, 0.2), (5.1, 0.3, 0.2)),
    (within_what_repeats, (0.3, 5, 0.2), (0.3, 5.1, 0.2)),
    (within_what_repeats, (0.3, 0.3, 2), (0.3, 0.3, 0)),
]


@pytest.mark.parametrize(("function", "inside", "outside"), EDGES)
def test_each_statistic_ends_where_it_says(
    function, inside: tuple[float, ...], outside: tuple[float, ...]
) -> None:
    """The last value inside is computed, the first outside and not-a-number are refused."""
    ends_where_it_says(function, inside, outside)


@pytest.mark.parametrize("arguments", [(5.1, 0.2), (0.3, 0.0), (math.nan, 0.2), (0.3, math.nan)])
def test_an_interval_needs_a_prediction_and_a_repeatability(arguments: tuple[float, float]) -> None:
    """Neither may be missing or wild."""
    with pytest.raises(RangeRefusal):
        prediction_interval(*arguments)


@pytest.mark.parametrize("z", [math.nan, math.inf, -math.inf])
def test_the_normal_distribution_takes_numbers_only(z: float) -> None:
    """Infinity and not-a-number are refused."""
    with pytest.raises(RangeRefusal, match="standard score"):
        normal_probability(z)
