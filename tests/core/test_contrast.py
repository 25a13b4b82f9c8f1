"""Contrast sensitivity, reserve and their grades."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from afocal.core.contrast import (
    contrast_reserve,
    grade_of_reserve,
    grade_of_threshold,
    log_cs_from_letters,
    log_cs_from_threshold,
    weber_threshold,
)
from afocal.core.errors import RangeRefusal


@settings(max_examples=50)
@given(st.floats(0, 2.39), st.floats(0.01, 1))
def test_threshold_and_reserve_follow_from_the_sensitivity(log_cs: float, print_contrast: float) -> None:
    """The threshold is the reciprocal sensitivity and print at threshold has a reserve of one."""
    threshold = weber_threshold(log_cs)
    assert log_cs_from_threshold(threshold) == pytest.approx(log_cs, abs=1e-12)
    assert contrast_reserve(print_contrast, log_cs) == pytest.approx(print_contrast / threshold)
    assert contrast_reserve(threshold, log_cs) == pytest.approx(1)


def test_a_sensitivity_of_1_05_is_a_threshold_of_nine_per_cent() -> None:
    """The limit that Latham and Tabrett 2012 (abstract) give for reading 1 M; full contrast is plus zero."""
    assert weber_threshold(1.05) == pytest.approx(0.0891, abs=5e-5)
    assert str(log_cs_from_threshold(1.0)) == "0.0"


@pytest.mark.parametrize(("letters", "log_cs"), [(3, 0.0), (6, 0.15), (24, 1.05), (25, 1.10), (48, 2.25)])
def test_letters_in_triplets_count_a_twentieth_each(letters: float, log_cs: float) -> None:
    """From memory: the first triplet is 0.00, each letter 0.05, sixteen triplets end at 2.25."""
    assert log_cs_from_letters(letters) == pytest.approx(log_cs)


# reserve, grade (Whittaker and Lovie-Kitchin 1994, abstract)
RESERVES = [
    (0.5, "rate and accuracy fall"),
    (3.99, "rate and accuracy fall"),
    (4.0, "reading slows"),
    (9.99, "reading slows"),
    (10.0, "enough"),
    (40.0, "enough"),
]


@pytest.mark.parametrize(("reserve", "grade"), RESERVES)
def test_a_reserve_is_graded_at_ten_and_at_four(reserve: float, grade: str) -> None:
    """Under 10 reading slows, under 4 rate and accuracy fall; the limits themselves are the better grade."""
    assert grade_of_reserve(reserve) == grade


# threshold, grade (Whittaker and Lovie-Kitchin 1994, abstract)
THRESHOLDS = [
    (0.05, "usable"),
    (0.09, "usable"),
    (0.0901, "poor"),
    (0.25, "poor"),
    (0.2501, "very poor"),
    (1.0, "very poor"),
]


@pytest.mark.parametrize(("threshold", "grade"), THRESHOLDS)
def test_a_threshold_is_graded_over_nine_and_over_twenty_five_per_cent(threshold: float, grade: str) -> None:
    """Over 9 % is poor, over 25 % very poor; the limits themselves are the better grade."""
    assert grade_of_threshold(threshold) == grade


# function, arguments inside at the edge, arguments outside
EDGES = [
    (weber_threshold, (0,), (-0.01,)),
    (weber_threshold, (2.4,), (2.41,)),
    (log_cs_from_threshold, (0.004,), (0.0038,)),
    (log_cs_from_threshold, (1,), (1.01,)),
    (log_cs_from_letters, (3,), (2.9,)),
    (log_cs_from_letters, (48,), (48.1,)),
    (contrast_reserve, (1, 1), (1.01, 1)),
    (contrast_reserve, (0.01, 1), (0, 1)),
    (contrast_reserve, (1, 2.4), (1, 2.5)),
]


@pytest.mark.parametrize(("function", "inside", "outside"), EDGES)
def test_each_contrast_ends_where_it_says(
    function, inside: tuple[float, ...], outside: tuple[float, ...]
) -> None:
    """The last value inside is computed, the first outside and not-a-number are refused."""
    assert math.isfinite(function(*inside))
    with pytest.raises(RangeRefusal, match=r"accepted is .*for example"):
        function(*outside)
    with pytest.raises(RangeRefusal):
        function(*(math.nan for _ in inside))


@pytest.mark.parametrize("value", [0.0, -1.0, math.nan, math.inf])
def test_only_a_real_reserve_or_threshold_is_graded(value: float) -> None:
    """Nothing, less than nothing, infinity and not-a-number get no grade."""
    with pytest.raises(RangeRefusal):
        grade_of_reserve(value)
    with pytest.raises(RangeRefusal):
        grade_of_threshold(value)


def test_a_threshold_above_full_contrast_has_no_grade() -> None:
    """Contrast ends at one."""
    with pytest.raises(RangeRefusal):
        grade_of_threshold(1.01)
