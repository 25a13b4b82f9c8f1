"""A second, independent computation of every derived quantity, in 30-digit arithmetic.

Nothing is imported from the program. Telescopes are built from their two lenses and traced ray by ray with 2 × 2
matrices; limits, distances and powers are found by root search on the trace, fields by sending rays from points of
the eye's pupil to the rim of the objective, lit fractions by sampling the pupil, probabilities by integrating the
normal density. Lengths are metres inside, slopes are tangents, and light runs from left to right.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from mpmath import mp, mpf

mp.dps = 30
MM = mpf(1) / 1000


def lens(power: Any) -> Any:
    """Ray matrix of a thin lens."""
    return mp.matrix([[1, 0], [-mpf(power), 1]])


def gap(metres: Any) -> Any:
    """Ray matrix of a gap."""
    return mp.matrix([[1, mpf(metres)], [0, 1]])


def chain(*elements: Any) -> Any:
    """Product of elements in the order in which light meets them."""
    product = mp.eye(2)
    for element in elements:
        product = element * product
    return product


def root(function: Callable[[Any], Any], low: Any, high: Any) -> Any:
    """Root by bisection; the ends must have opposite signs."""
    low, high = mpf(low), mpf(high)
    at_low = function(low)
    assert at_low * function(high) <= 0
    for _ in range(90):
        middle = (low + high) / 2
        if at_low * function(middle) <= 0:
            high = middle
        else:
            low, at_low = middle, function(middle)
    return (low + high) / 2


def degrees(slope: Any) -> Any:
    """Angle of a slope in degrees."""
    return mp.degrees(mp.atan(slope))


def lenses(magnification: Any, tube_length_mm: Any) -> tuple[Any, Any, Any]:
    """Objective power, ocular power and gap (m): from the two conditions M = -Foc/Fobj and t = 1/Fobj + 1/Foc."""
    m, t = mpf(magnification), mpf(tube_length_mm) * MM
    # Foc = -M Fobj put into t: t Fobj = 1 - 1/M.
    objective = (1 - 1 / m) / t
    return objective, -m * objective, t


def tube(magnification: Any, tube_length_mm: Any) -> Any:
    """Ray matrix of the afocal tube from objective to ocular."""
    objective, ocular, t = lenses(magnification, tube_length_mm)
    return chain(lens(objective), gap(t), lens(ocular))


def out_vergence(system: Any, vergence_in: Any) -> Any:
    """Vergence that leaves a system, by one ray of height 1."""
    y, slope = mpf(1), -mpf(vergence_in)
    y1 = system[0, 0] * y + system[0, 1] * slope
    return -(system[1, 0] * y + system[1, 1] * slope) / y1


# Acuity, print and statistics


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


# The telescope


def _system_of(i: dict[str, Any]) -> tuple[Any, Any, Any]:
    if "objective_power_d" in i:
        objective, ocular = mpf(i["objective_power_d"]), mpf(i["ocular_power_d"])
        # The gap at which parallel light leaves parallel.
        t = root(lambda t: chain(lens(objective), gap(t), lens(ocular))[1, 0], "0.0001", 3)
        return objective, ocular, t
    return lenses(i["magnification"], i["tube_length_mm"])


def _tube_of(i: dict[str, Any]) -> Any:
    objective, ocular, t = _system_of(i)
    return chain(lens(objective), gap(t), lens(ocular))


def magnification(i: dict[str, Any]) -> Any:
    return _tube_of(i)[1, 1]


def tube_length(i: dict[str, Any]) -> Any:
    return _system_of(i)[2] / MM


def objective_focal_length(i: dict[str, Any]) -> Any:
    return 1 / lenses(i["magnification"], i["tube_length_mm"])[0] / MM


def ocular_focal_length(i: dict[str, Any]) -> Any:
    return 1 / lenses(i["magnification"], i["tube_length_mm"])[1] / MM


def _exit_pupil(i: dict[str, Any]) -> tuple[Any, Any]:
    """Distance behind the ocular and lateral magnification of the image of the objective in the ocular."""
    _, ocular, t = _system_of(i)
    t = mpf(i["actual_tube_length_mm"]) * MM if "actual_tube_length_mm" in i else t
    to_ocular = chain(gap(t), lens(ocular))
    # Image where the height no longer depends on the slope with which light left the objective.
    distance = -to_ocular[0, 1] / to_ocular[1, 1]
    return distance, chain(to_ocular, gap(distance))[0, 0]


def exit_pupil_distance(i: dict[str, Any]) -> Any:
    return _exit_pupil(i)[0] / MM


def exit_pupil_diameter(i: dict[str, Any]) -> Any:
    if "tube_length_mm" not in i and "objective_power_d" not in i:
        i = {**i, "tube_length_mm": 30}  # the size does not depend on the length
    return abs(_exit_pupil(i)[1]) * mpf(i["objective_diameter_mm"])


def refocused_exit_pupil_diameter(i: dict[str, Any]) -> Any:
    return abs(_exit_pupil(i)[1]) * mpf(i["objective_diameter_mm"])


def ocular_travel(i: dict[str, Any]) -> Any:
    # Newton: the image of infinity moves by f'²/x', with x' = 1/change.
    focal = mpf(i["ocular_focal_length_mm"]) * MM
    return focal**2 / (1 / mpf(i["change_d"])) / MM


def effective_ocular_power(i: dict[str, Any]) -> Any:
    return chain(lens(i["ocular_power_d"]), lens(-mpf(i["ametropia_at_ocular_d"])))[1, 0] * -1


def _refocused(i: dict[str, Any]) -> tuple[Any, Any]:
    """Gap and angular magnification after refocusing for an object and an eye."""
    objective, ocular, t = _system_of(i)
    vergence = -1000 / mpf(i["object_distance_mm"]) if "object_distance_mm" in i else mpf(0)
    wanted = mpf(i.get("ametropia_at_ocular_d", 0))
    leaving = lambda gap_m: chain(lens(objective), gap(gap_m), lens(ocular))  # noqa: E731

    # Divide out the pole: the height at the ocular times (vergence - wanted) has no pole.
    def miss(gap_m: Any) -> Any:
        system = leaving(gap_m)
        y = system[0, 0] - system[0, 1] * vergence
        u = system[1, 0] - system[1, 1] * vergence
        return u + wanted * y

    low, high = t / 50, 3 * t
    gap_m = root(miss, low, high)
    # Gain over the same eye corrected at the ocular: collimate the object, correct the eye, take the slope ratio.
    whole = chain(lens(vergence), lens(objective), gap(gap_m), lens(ocular), lens(-wanted))
    return gap_m, whole[1, 1]


def refocused_tube_length(i: dict[str, Any]) -> Any:
    return _refocused(i)[0] / MM


def refocused_magnification(i: dict[str, Any]) -> Any:
    return _refocused(i)[1]


def near_focus_equivalent_power(i: dict[str, Any]) -> Any:
    _, slope_ratio = _refocused(i)
    return abs(slope_ratio) * 1000 / mpf(i["object_distance_mm"])


def trial_lens_bvp(i: dict[str, Any]) -> Any:
    return out_vergence(chain(lens(i["trial_lens_d"]), _tube_of(i)), 0)


def objective_correction(i: dict[str, Any]) -> Any:
    system, wanted = _tube_of(i), mpf(i["ametropia_at_ocular_d"])

    def miss(power: Any) -> Any:
        # Slope less wanted slope at the ocular: no pole, unlike the vergence.
        y, u = system * mp.matrix([1, -power])
        return u + wanted * y

    return root(miss, -5, 5)


def refraction_at_cornea(i: dict[str, Any]) -> Any:
    return out_vergence(chain(lens(i["spectacle_power_d"]), gap(mpf(i["vertex_mm"]) * MM)), 0)


def ametropia_at_ocular(i: dict[str, Any]) -> Any:
    at_cornea = mpf(i["refraction_at_cornea_d"]) if "refraction_at_cornea_d" in i else refraction_at_cornea(i)
    # The far point stays where it is: its vergence is taken one gap farther from the eye.
    return 1 / (1 / at_cornea + mpf(i["ocular_to_cornea_mm"]) * MM)


def _thick(i: dict[str, Any]) -> Any:
    doublet = chain(lens(i["first_lens_d"]), gap(mpf(i["gap_mm"]) * MM), lens(i["second_lens_d"]))
    t = root(lambda t: chain(doublet, gap(t), lens(i["ocular_power_d"]))[1, 0], "0.0001", 3)
    return chain(doublet, gap(t), lens(i["ocular_power_d"]))


def thick_magnification(i: dict[str, Any]) -> Any:
    return _thick(i)[1, 1]


def thick_b_element(i: dict[str, Any]) -> Any:
    return _thick(i)[0, 1] / MM


def thick_exit_vergence(i: dict[str, Any]) -> Any:
    return out_vergence(_thick(i), i["object_vergence_d"])


# Focus and caps


def exit_vergence(i: dict[str, Any]) -> Any:
    vergence = i["object_vergence_d"] if "object_vergence_d" in i else -1000 / mpf(i["object_distance_mm"])
    return out_vergence(_tube_of(i), vergence)


def exit_vergence_m_squared(i: dict[str, Any]) -> Any:
    # The limit of the exact value when the tube shrinks to nothing.
    return exit_vergence({**i, "tube_length_mm": mpf("1e-12")})


def near_limit(i: dict[str, Any]) -> Any:
    system, swing = _tube_of(i), mpf(i["swing_d"])
    # Far enough out to lie beyond the pole of a Keplerian.
    pole = max(mpf(0), -system[0, 1] * system[1, 1])
    return (
        root(lambda w: out_vergence(system, -1 / w) + swing, pole * mpf("1.000001") + mpf("0.01"), 1000) / MM
    )


def _cap_edge(i: dict[str, Any], wanted: Any) -> Any:
    system = chain(lens(i["cap_power_d"]), _tube_of(i))
    focus = 1 / mpf(i["cap_power_d"])
    return root(lambda w: out_vergence(system, -1 / w) - wanted, focus * mpf("0.3"), focus * 3) / MM


def cap_working_distance(i: dict[str, Any]) -> Any:
    focus = 1 / mpf(i["cap_power_d"])
    return root(lambda w: out_vergence(lens(i["cap_power_d"]), -1 / w), focus / 3, focus * 3) / MM


def cap_working_distance_uncorrected(i: dict[str, Any]) -> Any:
    return _cap_edge(i, mpf(i["ametropia_at_ocular_d"]))


def cap_near_edge(i: dict[str, Any]) -> Any:
    return _cap_edge(i, -mpf(i["tolerance_d"]) - mpf(i.get("accommodation_d", 0)))


def cap_far_edge(i: dict[str, Any]) -> Any:
    return _cap_edge(i, mpf(i["tolerance_d"]))


def cap_depth(i: dict[str, Any]) -> Any:
    return cap_far_edge(i) - cap_near_edge(i)


def _object_to_pupil(i: dict[str, Any]) -> Any:
    """Element B, m, from the object plane to the pupil of the eye."""
    distance = mpf(i["object_distance_mm"]) * MM
    cap = lens(i.get("cap_power_d", 0))
    return chain(gap(distance), cap, _tube_of(i), gap(mpf(i["eye_distance_mm"]) * MM))[0, 1]


def evd(i: dict[str, Any]) -> Any:
    return abs(_object_to_pupil(i)) / MM


def cap_evd(i: dict[str, Any]) -> Any:
    return evd({**i, "object_distance_mm": cap_working_distance(i)})


def cap_equivalent_power(i: dict[str, Any]) -> Any:
    whole = {"tube_length_mm": 30, "eye_distance_mm": 15, **i}
    return 1 / (cap_evd(whole) * MM)


def magnification_re_distance(i: dict[str, Any]) -> Any:
    return mpf(i["reference_distance_mm"]) / (1000 / mpf(i["equivalent_power_d"]))


def cap_power_for_goal(i: dict[str, Any]) -> Any:
    wanted = required_evd(i)
    tube_of = {"magnification": i["magnification"], "tube_length_mm": 30, "eye_distance_mm": 15}
    return root(lambda power: cap_evd({**tube_of, "cap_power_d": power}) - wanted, "0.01", 100)


def lens_depth_one_side(i: dict[str, Any]) -> Any:
    wanted = mpf(i["tolerance_d"]) * (-1 if i["side"] == "near" else 1)
    focus = 1 / mpf(i["lens_power_d"])
    edge = root(lambda w: out_vergence(lens(i["lens_power_d"]), -1 / w) - wanted, focus / 10, focus * 10)
    return abs(edge - focus) / MM


def _blurred(i: dict[str, Any], defocus: Any) -> Any:
    sharp = mpf(i["mar_arcmin"]) if "mar_arcmin" in i else mp.power(10, mpf(i["logmar"]))
    return sharp, mp.hypot(sharp, mpf(i.get("blur_constant", "0.65")) * mpf(i["pupil_mm"]) * defocus)


def blur_loss(i: dict[str, Any]) -> Any:
    sharp, blurred = _blurred(i, mpf(i["defocus_d"]))
    return mp.log10(blurred / sharp)


def tolerated_defocus(i: dict[str, Any]) -> Any:
    def short(defocus: Any) -> Any:
        sharp, blurred = _blurred(i, defocus)
        return mp.log10(blurred / sharp) - mpf(i.get("loss_logmar", "0.1"))

    found = root(short, 0, 1000)
    return min(max(found, mpf(i.get("lower_d", 0))), mpf(i.get("upper_d", 1000)))


def blur_disc(i: dict[str, Any]) -> Any:
    # The marginal rays of a pupil meet the retina of a 60 D eye apart; that distance seen from the nodal point.
    eye, pupil, defocus = mpf(60), mpf(i["pupil_mm"]) * MM, mpf(i["defocus_d"])
    spread = chain(lens(eye + defocus), gap(1 / eye))[0, 0] * pupil
    return abs(spread) * eye * 180 * 60 / mp.pi


def depth_of_focus_green(i: dict[str, Any]) -> Any:
    return mpf("7.03") / mpf(i["spatial_frequency_cpd"]) / mpf(i["pupil_mm"])


# Fields


def _back_to_objective(i: dict[str, Any], pupil_height: Any, slope: Any) -> tuple[Any, Any]:
    """Trace a ray backwards from the eye's pupil: its height at the objective and its slope in object space."""
    objective, ocular, t = _system_of(i)
    distance = mpf(i.get("eye_distance_mm", i.get("rotation_distance_mm"))) * MM
    at_ocular = pupil_height - distance * slope
    inside = slope + ocular * at_ocular
    at_objective = at_ocular - t * inside
    return at_objective, inside + objective * at_objective


def _edge(i: dict[str, Any], pupil_height: Any, side: int) -> tuple[Any, Any]:
    """Slopes (apparent, real) of the ray from a pupil point that grazes the rim of the objective on one side."""
    rim = mpf(i["objective_diameter_mm"]) * MM / 2
    slope = root(lambda s: _back_to_objective(i, pupil_height, s)[0] - side * rim, -5, 5)
    return slope, _back_to_objective(i, pupil_height, slope)[1]


def _field_edge(i: dict[str, Any]) -> tuple[Any, Any]:
    criterion = i.get("criterion", "half")
    half_pupil = mpf(i.get("pupil_mm", 0)) * MM / 2
    points = [mpf(0)] if criterion == "half" else [half_pupil * k / 8 for k in range(-8, 9)]
    edges = [_edge(i, point, -1) for point in points]
    return (min if criterion == "full" else max)(edges, key=lambda edge: edge[0])


def apparent_field(i: dict[str, Any]) -> Any:
    return 2 * degrees(abs(_field_edge(i)[0]))


def real_field(i: dict[str, Any]) -> Any:
    return 2 * degrees(abs(_field_edge(i)[1]))


def field_of_fixation(i: dict[str, Any]) -> Any:
    return real_field(i)


def objective_diameter_for_field(i: dict[str, Any]) -> Any:
    wanted = mpf(i["real_field_deg"])
    return root(lambda size: real_field({**i, "objective_diameter_mm": size}) - wanted, 1, 200)


def lit_fraction_at_half_field(i: dict[str, Any]) -> Any:
    slope = float(_edge(i, mpf(0), -1)[0])
    a, b = (
        float(x) for x in (_back_to_objective(i, mpf(1), mpf(0))[0], _back_to_objective(i, mpf(0), mpf(1))[0])
    )
    pupil, rim = float(i["pupil_mm"]) / 2000, float(i["objective_diameter_mm"]) / 2000
    steps = 301
    inside = lit = 0
    for row in range(steps):
        x = pupil * (2 * (row + 0.5) / steps - 1)
        for column in range(steps):
            y = pupil * (2 * (column + 0.5) / steps - 1)
            if x * x + y * y <= pupil * pupil:
                inside += 1
                lit += (a * x) ** 2 + (a * y + b * slope) ** 2 <= rim * rim
    return mpf(lit) / inside


def _decentred(i: dict[str, Any]) -> tuple[Any, Any]:
    """Slopes of the two edges of the field of a tube shifted sideways, pupil-centre rays."""
    shift = -mpf(i["decentration_mm"]) * MM  # where the pupil's centre lies, seen from the tube's axis
    return _edge(i, shift, -1)[1], _edge(i, shift, 1)[1]


def field_centre_shift(i: dict[str, Any]) -> Any:
    first, second = _decentred(i)
    return abs(degrees(first) + degrees(second)) / 2


def union_field_decentred(i: dict[str, Any]) -> Any:
    return 2 * max(degrees(abs(slope)) for slope in _decentred(i))


def overlap_field_decentred(i: dict[str, Any]) -> Any:
    return 2 * min(degrees(abs(slope)) for slope in _decentred(i))


def _two_fields(i: dict[str, Any]) -> list[tuple[Any, Any]]:
    half, shift = mpf(i["monocular_field_deg"]) / 2, mpf(i["centre_separation_deg"]) / 2
    return [(centre - half, centre + half) for centre in (-shift, shift)]


def union_field(i: dict[str, Any]) -> Any:
    left, right = _two_fields(i)
    return max(left[1], right[1]) - min(left[0], right[0])


def overlap_field(i: dict[str, Any]) -> Any:
    left, right = _two_fields(i)
    return min(left[1], right[1]) - max(left[0], right[0])


def real_field_field_stop(i: dict[str, Any]) -> Any:
    # A bundle of parallel light whose chief ray passes the middle of the objective ends at the edge of the stop.
    focal = mpf(i["objective_focal_length_mm"])
    to_stop = chain(lens(1 / focal), gap(focal))
    return 2 * degrees(mpf(i["field_stop_mm"]) / 2 / to_stop[0, 1])


def _keplerian_edge(i: dict[str, Any], part: Any) -> Any:
    """Field slope at which the ray through part of the objective's radius grazes the ocular."""
    focal = mpf(i["objective_focal_length"])
    to_ocular = chain(lens(1 / focal), gap(focal + mpf(i["ocular_focal_length"])))
    height = part * mpf(i["objective_diameter"]) / 2
    return (mpf(i["ocular_diameter"]) / 2 - to_ocular[0, 0] * height) / to_ocular[0, 1]


def keplerian_half_field_chief(i: dict[str, Any]) -> Any:
    return _keplerian_edge(i, 0)


def keplerian_half_field_last(i: dict[str, Any]) -> Any:
    return max(_keplerian_edge(i, mpf(k) / 8) for k in range(-8, 9))


def keplerian_half_field_full(i: dict[str, Any]) -> Any:
    return max(mpf(0), min(_keplerian_edge(i, mpf(k) / 8) for k in range(-8, 9)))


def keyhole_slope(i: dict[str, Any]) -> Any:
    exit_radius, pupil_radius = mpf(i["exit_pupil_diameter_mm"]) / 2, mpf(i["pupil_mm"]) / 2
    offset = abs(mpf(i["eye_offset_mm"]))
    # At a slope s the bundle stands s × offset beside the pupil's middle.
    conditions = {
        "full": lambda s: s * offset + min(exit_radius, pupil_radius) - max(exit_radius, pupil_radius),
        "half": lambda s: s * offset - exit_radius,
        "total": lambda s: s * offset - exit_radius - pupil_radius,
    }
    return root(conditions[i["criterion"]], 0, 1000)


def linear_field(i: dict[str, Any]) -> Any:
    half = mp.radians(mpf(i["real_field_deg"]) / 2)
    return 2 * mpf(i["object_distance_mm"]) * mp.sin(half) / mp.cos(half)


def characters_in_field(i: dict[str, Any]) -> Any:
    return root(lambda n: n * mpf(i["character_pitch_mm"]) - mpf(i["width_mm"]), 0, 100_000)


# Two eyes


def tilt_deviation(i: dict[str, Any]) -> Any:
    tilt = mp.radians(mpf(i["tilt_arcmin"]) / 60)
    # In the tilted tube's own axes a distant object on the old axis stands at -tilt.
    seen = mp.atan(mpf(i["magnification"]) * mp.tan(-tilt)) + tilt
    return abs(mp.degrees(seen)) * 60


def tilt_for_deviation(i: dict[str, Any]) -> Any:
    deviation = lambda tilt: tilt_deviation({"magnification": i["magnification"], "tilt_arcmin": tilt})  # noqa: E731
    return root(lambda tilt: deviation(tilt) - mpf(i["deviation_arcmin"]), "1e-9", 600)


def arcmin_to_prism(i: dict[str, Any]) -> Any:
    angle = mp.radians(mpf(i["angle_arcmin"]) / 60)
    return 100 * mp.sin(angle) / mp.cos(angle)


def toe_out_vergence(i: dict[str, Any]) -> Any:
    each = tilt_deviation(
        {"magnification": i["magnification"], "tilt_arcmin": mpf(i["centre_separation_deg"]) * 30}
    )
    return 2 * arcmin_to_prism({"angle_arcmin": each})


def convergence_parallel_tubes(i: dict[str, Any]) -> Any:
    # The midline object stands half the PD beside each tube's axis; slope of its ray through the pupil's middle.
    height = mpf(i["interpupillary_mm"]) * MM / 2
    return 2 * 100 * abs(height / _object_to_pupil(i))


def convergence_naked(i: dict[str, Any]) -> Any:
    each = mpf(i["interpupillary_mm"]) / 2 / mpf(i["object_distance_mm"])
    return 100 * each * 2


def prentice_prism(i: dict[str, Any]) -> Any:
    return 100 * abs((lens(i["lens_power_d"]) * mp.matrix([mpf(i["decentration_mm"]) * MM, 0]))[1])


def near_interpupillary(i: dict[str, Any]) -> Any:
    half, depth = mpf(i["interpupillary_mm"]) / 2, mpf(i["rotation_distance_mm"])
    slope = half / (mpf(i["target_distance_mm"]) + depth)
    return 2 * (half - slope * depth)


def toe_in_angle(i: dict[str, Any]) -> Any:
    return mp.degrees(
        mp.atan2(
            mpf(i["interpupillary_mm"]) / 2, mpf(i["target_distance_mm"]) + mpf(i["rotation_distance_mm"])
        )
    )


def decentration_prism(i: dict[str, Any]) -> Any:
    at_focus = {**i, "object_distance_mm": cap_working_distance(i)}
    return 100 * abs(mpf(i["decentration_mm"]) * MM / _object_to_pupil(at_focus))


def height_mismatch_for_prism(i: dict[str, Any]) -> Any:
    prism = lambda height: decentration_prism({**i, "decentration_mm": height})  # noqa: E731
    return root(lambda height: prism(height) - mpf(i["tolerance_prism"]), "1e-9", 50)


# On the face


def gaze_elevation(i: dict[str, Any]) -> Any:
    return mp.degrees(mp.atan2(mpf(i["ocular_height_mm"]), mpf(i["rotation_distance_mm"])))


def _head_drop(i: dict[str, Any], gaze_deg: Any) -> Any:
    tilt = mpf(i["tube_tilt_deg"])

    def seen_at(drop: Any) -> Any:
        beside = mp.radians(drop - tilt)
        return tilt + mp.degrees(mp.atan(mpf(i["magnification"]) * mp.tan(beside)))

    return root(lambda drop: seen_at(drop) - gaze_deg, -40, 60)


def head_drop(i: dict[str, Any]) -> Any:
    return _head_drop(i, gaze_elevation(i))


def head_drop_to_field_centre(i: dict[str, Any]) -> Any:
    # The objective as seen through the ocular: the image, in front of the ocular, of the middle of its disc.
    depth = -_exit_pupil(i)[0] / MM
    tilt = mp.radians(mpf(i["tube_tilt_deg"]))
    forward = mpf(i["rotation_distance_mm"]) + depth * mp.cos(tilt)
    upward = mpf(i["ocular_height_mm"]) + depth * mp.sin(tilt)
    return _head_drop(i, mp.degrees(mp.atan2(upward, forward)))


def least_ocular_height(i: dict[str, Any]) -> Any:
    # Lower edge of the housing against the upper edge of the pupil.
    gap_left = lambda h: (h - mpf(i["housing_radius_mm"])) - mpf(i["pupil_mm"]) / 2 - mpf(i["clearance_mm"])  # noqa: E731
    return root(gap_left, 0, 200)


def least_lens_height(i: dict[str, Any]) -> Any:
    top = mpf(i["pupil_height_mm"]) + mpf(i["ocular_height_mm"]) + mpf(i["housing_radius_mm"])
    return root(lambda height: height - top - mpf(i["rim_mm"]), 0, 500)


def tube_to_lens_normal(i: dict[str, Any]) -> Any:
    # A lens tilted forward at the top points its normal down by the pantoscopic angle.
    up, down = mp.radians(i["tube_tilt_deg"]), -mp.radians(i["pantoscopic_deg"])
    return mp.degrees(mp.acos(mp.cos(up) * mp.cos(down) + mp.sin(up) * mp.sin(down)))


def eye_distance(i: dict[str, Any]) -> Any:
    return mpf(i["ocular_to_cornea_mm"]) + 3


# Light


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


# Motion and ring


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


# Near aids and reading


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
