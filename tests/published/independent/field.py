"""Fields of one tube and of two, by rays from points of the eye to the rim of the objective."""

from __future__ import annotations

from typing import Any

from mpmath import mp, mpf

from .telescope import system_of
from .trace import MM, chain, degrees, gap, lens, root


def _back_to_objective(i: dict[str, Any], pupil_height: Any, slope: Any) -> tuple[Any, Any]:
    """Trace a ray backwards from the eye's pupil: its height at the objective and its slope in object space."""
    objective, ocular, t = system_of(i)
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
