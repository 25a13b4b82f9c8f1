"""Reading speed, reading curves, and the fit with its refusals."""

from __future__ import annotations

import math

import pytest
from edges import ends_where_it_says
from hypothesis import given, settings
from hypothesis import strategies as st

from afocal.core.errors import ClinicalRefusal, RangeRefusal
from afocal.core.reading import (
    ReadingPoint,
    critical_print_log_exponential_logmar,
    fit_reading_curve,
    plateau_of,
    reading_acuity_logmar,
    reading_speed_exponential_wpm,
    reading_speed_log_exponential_wpm,
    reading_speed_two_limb_wpm,
    reading_speed_wpm,
    target_evd_mm,
)

SIZES = [0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0, 1.1]


def points(speeds: list[float], sizes: list[float] | None = None, sd: float = 1.0) -> list[ReadingPoint]:
    """Speeds at the usual sizes as points."""
    chosen = SIZES[: len(speeds)] if sizes is None else sizes
    return [ReadingPoint(size, speed, sd) for size, speed in zip(chosen, speeds, strict=True)]


def two_limbs(plateau: float, slope: float, critical: float) -> list[ReadingPoint]:
    """Points without scatter on a two-limb curve."""
    return points([reading_speed_two_limb_wpm(plateau, slope, critical, size) for size in SIZES])


def test_a_sentence_of_ten_words_gives_a_speed() -> None:
    """Ten words in 12 s are 50 a minute; two of them wrong in 8 s are 60 (Legge laboratory)."""
    assert reading_speed_wpm(12) == pytest.approx(50)
    assert reading_speed_wpm(8, 2) == pytest.approx(60)
    assert reading_speed_wpm(8, 10) == 0


def test_each_word_missed_costs_a_hundredth() -> None:
    """From memory: 0.01 log for each word of sentences of ten."""
    assert reading_acuity_logmar(0.6) == 0.6
    assert reading_acuity_logmar(0.6, 3) == pytest.approx(0.63)


def test_the_exponential_curve_reaches_nine_tenths_at_the_critical_size() -> None:
    """1 - exp(-2.3) is 0.8997; nothing is read at the threshold or below."""
    assert reading_speed_exponential_wpm(100, 4, 1, 4) == pytest.approx(89.97, abs=0.01)
    assert reading_speed_exponential_wpm(100, 1, 1, 4) == 0
    assert reading_speed_exponential_wpm(100, 0.5, 1, 4) == 0
    assert reading_speed_exponential_wpm(100, 1.001, 1, 4) == pytest.approx(100 * 2.3 * 0.001 / 3, rel=1e-3)


def test_the_two_limb_curve_is_flat_and_then_falls() -> None:
    """120 wpm above 0.9 log, 20 wpm less for each tenth below, never under zero."""
    assert reading_speed_two_limb_wpm(120, 200, 0.9, 1.4) == 120
    assert reading_speed_two_limb_wpm(120, 200, 0.9, 0.9) == 120
    assert reading_speed_two_limb_wpm(120, 200, 0.9, 0.7) == pytest.approx(80)
    assert reading_speed_two_limb_wpm(120, 200, 0.9, 0.1) == 0


def test_the_log_exponential_curve_starts_at_one_word_a_minute() -> None:
    """At its threshold log speed is nought; far above it, the top; below, nothing."""
    assert reading_speed_log_exponential_wpm(2.1, 1.3, 0.4, 0.4) == pytest.approx(1)
    assert reading_speed_log_exponential_wpm(2.1, 1.3, 0.4, 0.39) == 0
    assert reading_speed_log_exponential_wpm(2.1, 1.3, 0.4, 4.0) == pytest.approx(10**2.1, rel=1e-4)


@settings(max_examples=50)
@given(st.floats(1.5, 2.5), st.floats(0.5, 2.5), st.floats(0, 1), st.floats(0.5, 0.95))
def test_the_critical_size_of_the_log_exponential_curve_gives_its_fraction(
    top: float, rate: float, threshold: float, fraction: float
) -> None:
    """Put back into the curve, the critical size yields exactly that share of top speed."""
    critical = critical_print_log_exponential_logmar(top, rate, threshold, fraction)
    speed = reading_speed_log_exponential_wpm(top, rate, threshold, min(critical, 4.0))
    if critical <= 4.0:
        assert speed == pytest.approx(fraction * 10**top, rel=1e-9)


def test_the_target_distance_brings_goal_print_to_the_critical_size() -> None:
    """1 M goal, critical print 4 M at 40 cm: 10 cm."""
    assert target_evd_mm(400, 1, 4) == pytest.approx(100)


# function, arguments inside at the edge, arguments outside
EDGES = [
    (reading_speed_wpm, (0.5,), (0.49,)),
    (reading_speed_wpm, (600,), (601,)),
    (reading_speed_wpm, (12, 10), (12, 10.1)),
    (reading_speed_wpm, (12, 0), (12, -0.1)),
    (reading_acuity_logmar, (-1, 0), (-1.1, 0)),
    (reading_acuity_logmar, (3, 100), (3, 101)),
    (reading_acuity_logmar, (3, 1), (3.1, 1)),
    (reading_speed_exponential_wpm, (1000, 6, 4, 9), (1001, 6, 4, 9)),
    (reading_speed_exponential_wpm, (0, 6, 4, 9), (-1, 6, 4, 9)),
    (reading_speed_exponential_wpm, (100, 10_000, 4, 9), (100, 10_001, 4, 9)),
    (reading_speed_exponential_wpm, (100, 0, 0, 9), (100, 0, -1, 9)),
    (reading_speed_exponential_wpm, (100, 6, 4, 4.01), (100, 6, 4, 4)),
    (reading_speed_exponential_wpm, (100, 6, 4, 10_000), (100, 6, 4, 10_001)),
    (reading_speed_two_limb_wpm, (1000, 1, 1, 1), (1001, 1, 1, 1)),
    (reading_speed_two_limb_wpm, (100, 100_000, 1, 1), (100, 100_001, 1, 1)),
    (reading_speed_two_limb_wpm, (100, 0, 1, 1), (100, -1, 1, 1)),
    (reading_speed_two_limb_wpm, (100, 1, 4, 1), (100, 1, 4.1, 1)),
    (reading_speed_two_limb_wpm, (100, 1, 1, -2), (100, 1, 1, -2.1)),
    (reading_speed_log_exponential_wpm, (3, 1, 0, 1), (3.1, 1, 0, 1)),
    (reading_speed_log_exponential_wpm, (2, 5, 0, 1), (2, 5.1, 0, 1)),
    (reading_speed_log_exponential_wpm, (2, 1, 4, 1), (2, 1, 4.1, 1)),
    (reading_speed_log_exponential_wpm, (2, 1, 0, 4), (2, 1, 0, 4.1)),
    (critical_print_log_exponential_logmar, (3, 1, 0, 0.8), (3.1, 1, 0, 0.8)),
    (critical_print_log_exponential_logmar, (2, -5, 0, 0.8), (2, -5.1, 0, 0.8)),
    (critical_print_log_exponential_logmar, (2, 1, -2, 0.8), (2, 1, -2.1, 0.8)),
    (critical_print_log_exponential_logmar, (2, 1, 0, 0.999), (2, 1, 0, 1)),
    (critical_print_log_exponential_logmar, (2, 1, 0, 0.0101), (2, 1, 0, 0.01)),
    (target_evd_mm, (10, 1, 1), (9, 1, 1)),
    (target_evd_mm, (10_000, 1, 1), (10_001, 1, 1)),
    (target_evd_mm, (400, 0.05, 1), (400, 0.04, 1)),
    (target_evd_mm, (400, 1, 100), (400, 1, 101)),
]


@pytest.mark.parametrize(("function", "inside", "outside"), EDGES)
def test_each_curve_ends_where_it_says(
    function, inside: tuple[float, ...], outside: tuple[float, ...]
) -> None:
    """The last value inside is computed, the first outside and not-a-number are refused."""
    ends_where_it_says(function, inside, outside)


# The fit


@pytest.mark.parametrize(
    ("plateau", "slope", "critical"), [(120, 200, 0.82), (60, 90, 0.75), (180, 350, 0.9)]
)
def test_a_clean_curve_is_found_again(plateau: float, slope: float, critical: float) -> None:
    """Without scatter the fit returns the curve that made the points, and no residuals."""
    fit = fit_reading_curve(two_limbs(plateau, slope, critical))
    assert fit.plateau_wpm == pytest.approx(plateau)
    assert fit.slope_wpm_per_log == pytest.approx(slope, rel=0.01)
    assert fit.critical_logmar == pytest.approx(critical, abs=0.002)
    assert fit.root_mean_square_wpm < 0.5
    assert len(fit.residuals_wpm) == len(SIZES)
    assert fit.cautions == ()


def test_the_order_of_the_points_does_not_matter() -> None:
    """Sizes read from small to large or from large to small give the same fit."""
    clean = two_limbs(120, 200, 0.82)
    assert fit_reading_curve(clean[::-1]) == fit_reading_curve(clean)


def test_scatter_leaves_residuals_that_are_reported() -> None:
    """Alternating errors of 3 wpm come back as residuals of about that size."""
    noisy = [
        ReadingPoint(point.print_logmar, point.speed_wpm + 3 * (-1) ** k, 3)
        for k, point in enumerate(two_limbs(120, 200, 0.8))
    ]
    fit = fit_reading_curve(noisy)
    assert fit.root_mean_square_wpm == pytest.approx(3, abs=1)
    assert fit.root_mean_square_wpm == pytest.approx(
        math.sqrt(sum(residual**2 for residual in fit.residuals_wpm) / len(SIZES))
    )
    for point, residual in zip(noisy, fit.residuals_wpm, strict=True):
        curve = reading_speed_two_limb_wpm(
            fit.plateau_wpm, fit.slope_wpm_per_log, fit.critical_logmar, point.print_logmar
        )
        assert point.speed_wpm - curve == pytest.approx(residual)


def test_a_surer_point_weighs_more() -> None:
    """With one plateau point ten times surer, the plateau stands nearly at that point."""
    speeds = [40.0, 60.0, 80.0, 100.0, 118.0, 122.0]
    equal = fit_reading_curve(points(speeds))
    surer = points(speeds)
    surer[-1] = ReadingPoint(SIZES[5], 122.0, 0.1)
    assert equal.plateau_wpm == pytest.approx(120)
    assert fit_reading_curve(surer).plateau_wpm == pytest.approx((118 + 100 * 122) / 101)


# speeds, words of the refusal
NO_CURVE = [
    ([50, 100, 100, 100], "4 print sizes are too few for a curve; read at least 5"),
    ([20, 40, 60, 80, 100, 120], "no plateau: speed still rises at the largest print"),
    ([60, 70, 80, 90, 100, 110, 120], "no plateau"),
    ([100, 101, 100, 99, 100, 101], "no fall: speed is nearly the same at all sizes"),
    ([0, 0, 0, 0, 0], "nothing was read at the largest sizes"),
]


@pytest.mark.parametrize(("speeds", "words"), NO_CURVE)
def test_data_that_carry_no_curve_are_refused(speeds: list[float], words: str) -> None:
    """Too few sizes, speed still rising, speed the same everywhere: each is named, no number is given."""
    with pytest.raises(ClinicalRefusal, match=f"reading curve; {words}"):
        fit_reading_curve(points(speeds))


def test_a_size_given_twice_is_refused() -> None:
    """Each size has one mean speed."""
    with pytest.raises(ClinicalRefusal, match="one print size appears twice"):
        fit_reading_curve(points([40, 60, 80, 100, 100], sizes=[0.4, 0.5, 0.5, 0.7, 0.8]))


@pytest.mark.parametrize(
    "point",
    [
        ReadingPoint(4.1, 100),
        ReadingPoint(0.3, -1),
        ReadingPoint(0.3, 1001),
        ReadingPoint(0.3, 50, 0),
        ReadingPoint(math.nan, 50),
    ],
)
def test_a_point_outside_its_range_is_refused(point: ReadingPoint) -> None:
    """Size, speed and uncertainty each have a range."""
    with pytest.raises(RangeRefusal):
        fit_reading_curve([*two_limbs(120, 200, 0.8)[1:], point])


def test_a_fall_at_the_largest_print_is_a_caution() -> None:
    """A fifth of curves are hump-shaped (Nygaard 2008, abstract): fitted, and said."""
    fit = fit_reading_curve(points([40, 60, 80, 100, 120, 120, 120, 95]))
    assert "speed falls again at the largest print" in fit.cautions


def test_wide_scatter_is_a_caution() -> None:
    """Residuals above a tenth of top speed are said."""
    fit = fit_reading_curve(points([20, 75, 40, 95, 120, 85, 130, 100], sd=30))
    assert "the points scatter by more than a tenth of top speed around the curve" in fit.cautions


def test_the_plateau_rule_stands_apart_from_the_smaller_sizes() -> None:
    """The mean of the plateau exceeds each smaller size by 1.96 standard deviations (from memory of Legge 2007)."""
    assert plateau_of(points([20, 50, 98, 102, 100, 100])) == (pytest.approx(100), pytest.approx(0.6))


def test_a_wider_plateau_needs_a_wider_gap() -> None:
    """With a spread of 10 wpm, a size 20 wpm under the mean stands apart and one 19 wpm under it does not."""
    plateau = [110.0, 90.0, 110.0, 90.0, 100.0]  # mean 100, standard deviation 10
    assert plateau_of(points([20, 80, *plateau])) == (pytest.approx(100), pytest.approx(0.6))
    with pytest.raises(ClinicalRefusal, match="no set of large sizes stands out"):
        plateau_of(points([20, 81, *plateau]))


def test_the_plateau_rule_refuses_when_no_set_stands_apart() -> None:
    """Speeds without order have no plateau."""
    with pytest.raises(ClinicalRefusal, match="no set of large sizes stands out"):
        plateau_of(points([100, 60, 120, 40, 90, 70]))
