"""Alignment, convergence and the geometry of a bioptic, by rays and angles."""

from __future__ import annotations

from typing import Any

from mpmath import mp, mpf

from .focus import cap_working_distance, object_to_pupil
from .telescope import exit_pupil
from .trace import MM, lens, root


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
    return 2 * 100 * abs(height / object_to_pupil(i))


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
    return 100 * abs(mpf(i["decentration_mm"]) * MM / object_to_pupil(at_focus))


def height_mismatch_for_prism(i: dict[str, Any]) -> Any:
    prism = lambda height: decentration_prism({**i, "decentration_mm": height})  # noqa: E731
    return root(lambda height: prism(height) - mpf(i["tolerance_prism"]), "1e-9", 50)


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
    depth = -exit_pupil(i)[0] / MM
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
