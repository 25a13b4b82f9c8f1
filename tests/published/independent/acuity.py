"""Acuity, near print, magnification, probability and contrast: angles, logarithms and an integral."""

from __future__ import annotations

from typing import Any

from mpmath import mp, mpf

from .trace import MM, root


def _decimal(i: dict[str, Any]) -> Any:
    if "decimal_acuity" in i:
        return mpf(i["decimal_acuity"])
    if "logmar" in i:
        return mp.exp(-mpf(i["logmar"]) * mp.log(10))
    return mpf(i.get("snellen_numerator", 20)) / mpf(i["snellen_denominator"])


def logmar(i: dict[str, Any]) -> Any:
    return mp.log(1 / _decimal(i)) / mp.log(10)


def etdrs_letters(i: dict[str, Any]) -> Any:
    return 35 + (1 - logmar(i)) / mpf("0.02")  # 35 letters at 1.0 logMAR, 0.02 log a letter


def snellen_denominator(i: dict[str, Any]) -> Any:
    return root(lambda x: logmar({"snellen_denominator": x}) - logmar(i), 1, 100_000)


def letter_height(i: dict[str, Any]) -> Any:
    seen = lambda h: 2 * mp.atan2(h / 2, mpf(i["viewing_distance_mm"]))  # noqa: E731
    return root(lambda h: seen(h) - mp.radians(5 * mpf(i["mar_arcmin"]) / 60), 0, 10_000)


def critical_detail(i: dict[str, Any]) -> Any:
    return letter_height({**i, "mar_arcmin": mpf(i["mar_arcmin"]) / 5})


def letter_height_of_m_units(i: dict[str, Any]) -> Any:
    return mpf(i["print_m_units"]) * letter_height({"viewing_distance_mm": 1000, "mar_arcmin": 1})


def near_decimal_acuity(i: dict[str, Any]) -> Any:
    # MAR of a letter that subtends 5 arcmin at as many metres as it has M units, small angles.
    return 1 / (mpf(i["print_m_units"]) / (mpf(i["viewing_distance_mm"]) * MM))


def near_snellen_denominator(i: dict[str, Any]) -> Any:
    return root(lambda den: mpf(i["snellen_numerator"]) / den - near_decimal_acuity(i), "0.1", 10_000)


def mar_from_near_print(i: dict[str, Any]) -> Any:
    distance_mm = 1000 / mpf(i["viewing_distance_d"])
    return 1 / near_decimal_acuity({"viewing_distance_mm": distance_mm, "print_m_units": i["print_m_units"]})


def logmar_of_near_print(i: dict[str, Any]) -> Any:
    return logmar({"decimal_acuity": near_decimal_acuity(i)})


def sign_snellen_denominator(i: dict[str, Any]) -> Any:
    height, distance = mpf(i["letter_height_in"]) * mpf("0.0254"), mpf(i["distance_ft"]) * mpf("0.3048")
    arcmin = mp.degrees(2 * mp.atan(height / 2 / distance)) * 60
    return 20 * arcmin / 5


def snellen_denominator_at_test_distance(i: dict[str, Any]) -> Any:
    # A letter that subtends 5 arcmin at the labelled distance, seen from nearer: small angles go as 1/distance.
    height = mpf(i["snellen_denominator"])
    return 20 * height / (20 * mpf(i["test_distance"]) / mpf(i["chart_distance"]))


def logmar_shift_for_test_distance(i: dict[str, Any]) -> Any:
    return (mp.log(mpf(i["chart_distance"])) - mp.log(mpf(i["test_distance"]))) / mp.log(10)


def logmar_from_letters(i: dict[str, Any]) -> Any:
    lines, rest = divmod(i["letters_read"], 5)
    return mpf(i["top_line_logmar"]) - (lines - 1) * mpf("0.1") - rest * mpf("0.02")


def logmar_from_best_line(i: dict[str, Any]) -> Any:
    return mpf(i["best_line_logmar"]) + (5 - mpf(i["letters_on_line"])) * mpf("0.02")


_R10 = [10, 12.5, 16, 20, 25, 32, 40, 50, 63, 80, 100, 125, 160, 200, 250, 320, 400, 500, 630, 800, 1000]
_US = sorted({*_R10, 15, 30, 60, 70, 150, 300, 600})


def nearest_chart_line(i: dict[str, Any]) -> Any:
    lines = _R10 if i["series"] == "R10" else _US
    away = lambda line: abs(mp.log(line) - mp.log(mpf(i["snellen_denominator"])))  # noqa: E731
    return min(lines, key=lambda line: (mp.nstr(away(line), 12), -line))


def required_magnification(i: dict[str, Any]) -> Any:
    now = _decimal({k: v for k, v in i.items() if not k.startswith("goal_")})
    goal = _decimal({k.removeprefix("goal_"): v for k, v in i.items() if k.startswith("goal_")})
    return goal / now


def snellen_denominator_through_telescope(i: dict[str, Any]) -> Any:
    # The retinal image grows by |M|, so the smallest angle in object space shrinks by it.
    return 20 * (mpf(i["snellen_denominator"]) / 20 / abs(mpf(i["magnification"])))


def logmar_through_telescope(i: dict[str, Any]) -> Any:
    smallest = mp.power(10, mpf(i["logmar"])) / abs(mpf(i["magnification"]))
    return mp.log10(smallest * mp.power(10, mpf(i.get("loss_logmar", 0))))


def required_evd(i: dict[str, Any]) -> Any:
    acuity = mpf(i["threshold_m_units"]) / mpf(i["test_distance_mm"])
    reserve = mpf(i.get("acuity_reserve", 1))
    return root(lambda evd: mpf(i["goal_m_units"]) / evd - reserve * acuity, "0.1", 100_000)


def evp_from_evd(i: dict[str, Any]) -> Any:
    return 1 / (mpf(i["evd_mm"]) * MM)


def combined_magnification(i: dict[str, Any]) -> Any:
    return mp.exp(sum(mp.log(mpf(factor)) for factor in i["factors"]))


def ratio_of_log_step(i: dict[str, Any]) -> Any:
    return mp.exp(mpf(i["log_units"]) * mp.log(10))


def within_subject_sd(i: dict[str, Any]) -> Any:
    # The SD of a difference is √2 s, and 95 % of differences lie within 1.96 of it.
    return root(lambda s: mpf("1.96") * mp.sqrt(2 * s * s) - mpf(i["cr95_logmar"]), 0, 10)


def probability_goal_met(i: dict[str, Any]) -> Any:
    now = logmar({k: v for k, v in i.items() if k in ("logmar", "snellen_denominator")})
    goal = logmar({k.removeprefix("goal_"): v for k, v in i.items() if k.startswith("goal_")})
    predicted = logmar_through_telescope(
        {"logmar": now, "magnification": i["magnification"], "loss_logmar": i.get("loss_logmar", 0)}
    )
    spread = mpf(i["cr95_logmar"]) / mpf("1.96")
    density = lambda x: mp.exp(-((x - predicted) ** 2) / (2 * spread**2)) / (spread * mp.sqrt(2 * mp.pi))  # noqa: E731
    return mp.quad(density, [predicted - 12 * spread, predicted - 3 * spread, goal])


def weber_threshold(i: dict[str, Any]) -> Any:
    return mp.exp(-mpf(i["log_cs"]) * mp.log(10))


def contrast_reserve(i: dict[str, Any]) -> Any:
    return mp.exp(mp.log(mpf(i["print_contrast"])) - mp.log(weber_threshold(i)))
