"""Light, motion, near aids and reading: sums, integrals, areas and traced rays."""

from __future__ import annotations

from typing import Any

from mpmath import mp, mpf

from .telescope import exit_pupil_diameter
from .trace import MM, chain, degrees, gap, lens, root


def surface_reflectance(i: dict[str, Any]) -> Any:
    return 1 - surface_transmittance(i)


def surface_transmittance(i: dict[str, Any]) -> Any:
    n = mpf(i["refractive_index"])
    amplitude = 2 / (1 + n)
    return n * amplitude**2


def lens_transmittance(i: dict[str, Any]) -> Any:
    lost = surface_reflectance(i)
    return sum(((1 - lost) ** 2 * lost ** (2 * bounce) for bounce in range(40)), mpf(0))


def transmittance_of_surfaces(i: dict[str, Any]) -> Any:
    left = mpf(1)
    for _ in range(i["surfaces"]):
        left -= left * mpf(i["surface_reflectance"])
    return left


def relative_brightness(i: dict[str, Any]) -> Any:
    given = "exit_pupil_diameter_mm" in i
    exit_pupil = mpf(i["exit_pupil_diameter_mm"]) if given else exit_pupil_diameter(i)
    area = lambda diameter: mp.pi * diameter**2 / 4  # noqa: E731
    filled = min(area(exit_pupil), area(mpf(i["pupil_mm"]))) / area(mpf(i["pupil_mm"]))
    return mpf(i["transmittance"]) * filled


def pupil_diameter(i: dict[str, Any]) -> Any:
    flux = mpf(i["luminance_cd_m2"]) * _adapting_area(i) * (1 if i["eyes_adapted"] == 2 else mpf("0.1"))
    ratio = mp.exp(mpf("0.41") * mp.log(flux / 846))
    young = mpf("7.75") - mpf("5.75") / (1 + 2 / ratio)
    slope = mpf("0.021323") - mpf("0.0095623") * young
    return young + (mpf(i["age_years"]) - mpf("28.58")) * slope


def _adapting_area(i: dict[str, Any]) -> Any:
    """Area of the adapting field, square degrees, a disc of the given diameter."""
    return mp.quad(lambda radius: 2 * mp.pi * radius, [0, mpf(i["adapting_field_deg"]) / 2])


def ring_outer_diameter(i: dict[str, Any]) -> Any:
    return 2 * degrees(abs(mpf(i["magnification"])) * mp.tan(mp.radians(mpf(i["real_field_deg"]) / 2)))


def ring_width_linear(i: dict[str, Any]) -> Any:
    field = mpf(i["real_field_deg"])
    return (abs(mpf(i["magnification"])) * field - field) / 2


def retinal_slip(i: dict[str, Any]) -> Any:
    speed = mpf(i["head_speed_deg_s"])
    return mpf(i["magnification"]) * speed - mpf(i["vor_gain"]) * speed


def head_speed_limit(i: dict[str, Any]) -> Any:
    return root(lambda speed: retinal_slip({**i, "head_speed_deg_s": speed}) - mpf(i["slip_deg_s"]), 0, 1000)


def slip_mar_factor(i: dict[str, Any]) -> Any:
    slip = mpf(i["slip_deg_s"])
    return mp.exp(mpf("0.6") * mp.log(slip / 2)) if slip > 2 else mpf(1)


def hand_magnifier_evd(i: dict[str, Any]) -> Any:
    whole = chain(
        gap(mpf(i["object_distance_mm"]) * MM), lens(i["lens_power_d"]), gap(mpf(i["eye_to_lens_mm"]) * MM)
    )
    return abs(whole[0, 1]) / MM


def hand_magnifier_field(i: dict[str, Any]) -> Any:
    # Back from the pupil's middle through the lens's rim to the page at the focus.
    rim, eye = mpf(i["lens_diameter_mm"]) * MM / 2, mpf(i["eye_to_lens_mm"]) * MM
    slope_after = -rim / eye
    slope_before = slope_after + mpf(i["lens_power_d"]) * rim
    return 2 * abs(rim - slope_before / mpf(i["lens_power_d"])) / MM


def stand_evd(i: dict[str, Any]) -> Any:
    image_size = mpf(i["enlargement_ratio"])
    angle = image_size / mpf(i["eye_to_image_mm"])
    return 1 / angle


def stand_eye_distance(i: dict[str, Any]) -> Any:
    return root(lambda z: 1000 / (z + mpf(i["image_distance_mm"])) - mpf(i["add_d"]), -100, 5000)


def print_read(i: dict[str, Any]) -> Any:
    return root(lambda m: m * mpf(i["magnification"]) - mpf(i["threshold_m_units"]), "0.0001", 1000)


def reading_speed_exponential(i: dict[str, Any]) -> Any:
    share = (mpf(i["print_mar"]) - mpf(i["threshold_mar"])) / (
        mpf(i["critical_mar"]) - mpf(i["threshold_mar"])
    )
    return mpf(i["max_speed_wpm"]) * mp.quad(lambda x: mpf("2.3") * mp.exp(-mpf("2.3") * x), [0, share])


def reading_speed_two_limb(i: dict[str, Any]) -> Any:
    below = mpf(i["critical_logmar"]) - mpf(i["print_logmar"])
    return mpf(i["plateau_wpm"]) - mpf(i["slope_wpm_per_log"]) * max(below, mpf(0))


def reading_speed(i: dict[str, Any]) -> Any:
    words_a_second = (10 - mpf(i.get("word_errors", 0))) / mpf(i["seconds"])
    return words_a_second * 60


def accommodation_amplitude(i: dict[str, Any]) -> Any:
    start, fall = {"min": ("15", "0.25"), "mean": ("18.5", "0.3"), "max": ("25", "0.4")}[i["estimate"]]
    left = mpf(start)
    for _ in range(i["age_years"]):
        left -= mpf(fall)
    return max(left, mpf(0))


def critical_print_log_exponential(i: dict[str, Any]) -> Any:
    top, rate, start = mpf(i["log_max_speed"]), mp.exp(mpf(i["ln_rate"])), mpf(i["threshold_logmar"])
    speed = lambda x: mp.power(10, top * (1 - mp.exp(-rate * (x - start))))  # noqa: E731
    return root(lambda x: speed(x) - mpf(i["fraction"]) * mp.power(10, top), start, 10)
