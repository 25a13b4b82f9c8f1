"""The tube: powers, lengths, pupils, refocusing and thick elements, by ray matrices and root search."""

from __future__ import annotations

from typing import Any

from mpmath import mp, mpf

from .trace import MM, chain, gap, lens, lenses, out_vergence, root


def system_of(i: dict[str, Any]) -> tuple[Any, Any, Any]:
    if "objective_power_d" in i:
        objective, ocular = mpf(i["objective_power_d"]), mpf(i["ocular_power_d"])
        # The gap at which parallel light leaves parallel.
        t = root(lambda t: chain(lens(objective), gap(t), lens(ocular))[1, 0], "0.0001", 3)
        return objective, ocular, t
    return lenses(i["magnification"], i["tube_length_mm"])


def tube_of(i: dict[str, Any]) -> Any:
    objective, ocular, t = system_of(i)
    return chain(lens(objective), gap(t), lens(ocular))


def magnification(i: dict[str, Any]) -> Any:
    return tube_of(i)[1, 1]


def tube_length(i: dict[str, Any]) -> Any:
    return system_of(i)[2] / MM


def objective_focal_length(i: dict[str, Any]) -> Any:
    return 1 / lenses(i["magnification"], i["tube_length_mm"])[0] / MM


def ocular_focal_length(i: dict[str, Any]) -> Any:
    return 1 / lenses(i["magnification"], i["tube_length_mm"])[1] / MM


def exit_pupil(i: dict[str, Any]) -> tuple[Any, Any]:
    """Distance behind the ocular and lateral magnification of the image of the objective in the ocular."""
    _, ocular, t = system_of(i)
    t = mpf(i["actual_tube_length_mm"]) * MM if "actual_tube_length_mm" in i else t
    to_ocular = chain(gap(t), lens(ocular))
    # Image where the height no longer depends on the slope with which light left the objective.
    distance = -to_ocular[0, 1] / to_ocular[1, 1]
    return distance, chain(to_ocular, gap(distance))[0, 0]


def exit_pupil_distance(i: dict[str, Any]) -> Any:
    return exit_pupil(i)[0] / MM


def exit_pupil_diameter(i: dict[str, Any]) -> Any:
    if "tube_length_mm" not in i and "objective_power_d" not in i:
        i = {**i, "tube_length_mm": 30}  # the size does not depend on the length
    return abs(exit_pupil(i)[1]) * mpf(i["objective_diameter_mm"])


def refocused_exit_pupil_diameter(i: dict[str, Any]) -> Any:
    return abs(exit_pupil(i)[1]) * mpf(i["objective_diameter_mm"])


def ocular_travel(i: dict[str, Any]) -> Any:
    # Newton: the image of infinity moves by f'²/x', with x' = 1/change.
    focal = mpf(i["ocular_focal_length_mm"]) * MM
    return focal**2 / (1 / mpf(i["change_d"])) / MM


def effective_ocular_power(i: dict[str, Any]) -> Any:
    return chain(lens(i["ocular_power_d"]), lens(-mpf(i["ametropia_at_ocular_d"])))[1, 0] * -1


def _refocused(i: dict[str, Any]) -> tuple[Any, Any]:
    """Gap and angular magnification after refocusing for an object and an eye."""
    objective, ocular, t = system_of(i)
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
    return out_vergence(chain(lens(i["trial_lens_d"]), tube_of(i)), 0)


def objective_correction(i: dict[str, Any]) -> Any:
    system, wanted = tube_of(i), mpf(i["ametropia_at_ocular_d"])

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
