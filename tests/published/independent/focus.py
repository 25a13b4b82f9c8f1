"""Vergence, clear ranges, caps and blur, by tracing rays and searching for edges."""

from __future__ import annotations

from typing import Any

from mpmath import mp, mpf

from .acuity import required_evd
from .telescope import tube_of
from .trace import MM, chain, gap, lens, out_vergence, root


def exit_vergence(i: dict[str, Any]) -> Any:
    vergence = i["object_vergence_d"] if "object_vergence_d" in i else -1000 / mpf(i["object_distance_mm"])
    return out_vergence(tube_of(i), vergence)


def exit_vergence_m_squared(i: dict[str, Any]) -> Any:
    # The limit of the exact value when the tube shrinks to nothing.
    return exit_vergence({**i, "tube_length_mm": mpf("1e-12")})


def near_limit(i: dict[str, Any]) -> Any:
    system, swing = tube_of(i), mpf(i["swing_d"])
    # Far enough out to lie beyond the pole of a Keplerian.
    pole = max(mpf(0), -system[0, 1] * system[1, 1])
    return (
        root(lambda w: out_vergence(system, -1 / w) + swing, pole * mpf("1.000001") + mpf("0.01"), 1000) / MM
    )


def _cap_edge(i: dict[str, Any], wanted: Any) -> Any:
    system = chain(lens(i["cap_power_d"]), tube_of(i))
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


def object_to_pupil(i: dict[str, Any]) -> Any:
    """Element B, m, from the object plane to the pupil of the eye."""
    distance = mpf(i["object_distance_mm"]) * MM
    cap = lens(i.get("cap_power_d", 0))
    return chain(gap(distance), cap, tube_of(i), gap(mpf(i["eye_distance_mm"]) * MM))[0, 1]


def evd(i: dict[str, Any]) -> Any:
    return abs(object_to_pupil(i)) / MM


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
