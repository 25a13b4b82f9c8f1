"""Make the committed cross-check values with two general-purpose libraries that the program itself never uses.

Run it in an environment of its own with the extra ``crosscheck`` installed (some 1.3 GB):

    python tests/crosscheck/make_values.py

``raytracing`` multiplies ABCD matrices; ``rayoptics`` traces real rays through spherical surfaces by Snell's law.
Thin tubes come from the first, thick tubes and real lenses from both. The values, with the name and version of the
library behind each, are written to ``values.toml`` beside this file and compared in the ordinary test run.
"""

from __future__ import annotations

import math
import warnings
from importlib.metadata import version
from pathlib import Path
from typing import Any

warnings.filterwarnings("ignore")

import numpy as np  # noqa: E402
import raytracing as abcd  # noqa: E402
from rayoptics.optical.opticalmodel import OpticalModel  # noqa: E402
from rayoptics.raytr import raytrace  # noqa: E402
from rayoptics.raytr.traceerror import TraceError  # noqa: E402

INFINITY = float("inf")
NEAR_AXIS_MM = 1e-3

# Objective focal length, ocular focal length, objective diameter, eye distance, all mm.
THIN_TUBES = [
    (48.0, -30.0, 28.0, 15.0),
    (48.0, -24.0, 25.0, 15.0),
    (46.5, -18.5, 24.0, 17.0),
    (52.5, -17.5, 19.0, 12.0),
    (61.0, -15.5, 30.0, 20.0),
    (45.0, 15.0, 18.0, 18.0),
    (64.0, 16.0, 16.0, 20.0),
    (72.0, 12.0, 21.0, 14.0),
]
OBJECT_DISTANCES_MM = [450.0, 1000.0, 2400.0, 6000.0]
CAPS_D = [1.25, 2.25, 4.0, 7.5]

# Objective and ocular as (front radius, thickness, back radius, index); objective diameter; eye distance, mm.
REAL_TUBES = [
    ("biconvex and biconcave crown", (45.0, 6.0, -60.0, 1.523), (-24.0, 2.0, 24.0, 1.523), 24.0, 15.0),
    (
        "plano-convex and plano-concave acrylic",
        (26.0, 7.0, INFINITY, 1.491),
        (INFINITY, 1.8, 11.0, 1.491),
        26.0,
        14.0,
    ),
    ("meniscus objective of dense flint", (32.0, 5.0, 160.0, 1.620), (-20.0, 1.5, 26.0, 1.620), 20.0, 12.0),
    ("Keplerian of two biconvex lenses", (55.0, 5.0, -55.0, 1.523), (18.0, 4.0, -18.0, 1.523), 16.0, 22.0),
    ("steep Galilean of polycarbonate", (22.0, 6.5, -75.0, 1.586), (-13.0, 1.5, 15.0, 1.586), 20.0, 13.0),
]

Lens = tuple[float, float, float, float]


def curvature(radius: float) -> float:
    """Curvature, 1/mm, of a radius; 0 for a plane."""
    return 0.0 if math.isinf(radius) else 1.0 / radius


# ABCD


def thin(focal: float) -> Any:
    """A thin lens of the ABCD library."""
    return abcd.Lens(f=focal)


def thick(lens: Lens) -> Any:
    """A thick lens of the ABCD library: two surfaces and the glass between them."""
    front, thickness, back, index = lens
    group = abcd.MatrixGroup()
    group.append(abcd.DielectricInterface(n1=1.0, n2=index, R=front))
    group.append(abcd.Space(d=thickness, n=index))
    group.append(abcd.DielectricInterface(n1=index, n2=1.0, R=back))
    return group


def gap(distance: float) -> Any:
    """Free space of the ABCD library."""
    return abcd.Space(d=distance)


def product(*elements: Any) -> Any:
    """The matrix of elements in the order in which light meets them."""
    group = abcd.MatrixGroup()
    for element in elements:
        group.append(element)
    return group


def leaving_vergence(system: Any, object_distance_mm: float) -> float:
    """Vergence, D, behind a system for an axial object, by the ray of height 1 at its first plane.

    The elements are used, not the library's own ray: it takes rays that differ by less than 0.001 for the same.
    """
    slope = 1.0 / object_distance_mm
    return -1000.0 * (system.C + system.D * slope) / (system.A + system.B * slope)


def thin_values() -> list[dict[str, Any]]:
    """Matrices, exit pupils, vergences, viewing distances and caps of the thin tubes."""
    rows = []
    for objective, ocular, diameter, eye in THIN_TUBES:
        length = objective + ocular
        tube = product(thin(objective), gap(length), thin(ocular))
        pupil_distance, pupil_matrix = product(gap(length), thin(ocular)).forwardConjugate()
        row: dict[str, Any] = {
            "objective_power_d": 1000.0 / objective,
            "ocular_power_d": 1000.0 / ocular,
            "objective_diameter_mm": diameter,
            "eye_distance_mm": eye,
            "magnification": tube.D,
            "tube_length_mm": tube.B,
            "exit_pupil_distance_mm": pupil_distance,
            "exit_pupil_diameter_mm": abs(pupil_matrix.A) * diameter,
            "object_distances_mm": OBJECT_DISTANCES_MM,
            "exit_vergences_d": [leaving_vergence(tube, distance) for distance in OBJECT_DISTANCES_MM],
            "evds_mm": [abs(product(gap(distance), tube, gap(eye)).B) for distance in OBJECT_DISTANCES_MM],
            "caps_d": CAPS_D,
            "cap_evds_mm": [
                abs(product(gap(1000.0 / cap), thin(1000.0 / cap), tube, gap(eye)).B) for cap in CAPS_D
            ],
            "off_focus_cap_evds_mm": [
                abs(product(gap(900.0 / cap), thin(1000.0 / cap), tube, gap(eye)).B) for cap in CAPS_D
            ],
            "trial_lens_bvps_d": [
                leaving_vergence(product(thin(1000.0 / power), tube), INFINITY) for power in (0.5, 1.0, 2.0)
            ],
        }
        rows.append(row)
        if ocular > 0:
            continue  # the eye stands in the image of the objective: its rim does not bound the field
        # The ray through the pupil's middle, traced backwards to the rim of the objective (a lens is symmetrical).
        back = product(gap(eye), thin(ocular), gap(length))
        apparent = diameter / 2.0 / back.B
        real = back.D * apparent - diameter / 2.0 / objective
        row["apparent_half_slope"] = abs(apparent)
        row["real_half_slope"] = abs(real)
    return rows


# Real rays


def sequence(*parts: Lens | float) -> Any:
    """A sequence of lenses and gaps of the real-ray tracer, with 10 mm of air before the first vertex."""
    model = OpticalModel()
    surfaces = model.seq_model
    model.system_spec.dimensions = "mm"
    surfaces.gaps[0].thi = 10.0
    surfaces.do_apertures = False
    spaces = [part for part in parts if isinstance(part, float)] + [10.0]
    lenses = [part for part in parts if not isinstance(part, float)]
    for lens, space in zip(lenses, spaces, strict=True):
        front, thickness, back, index = lens
        surfaces.add_surface([curvature(front), thickness, index, 60.0])
        surfaces.add_surface([curvature(back), space])
    model.update_model()
    return surfaces


def traced(surfaces: Any, height: float, slope: float) -> tuple[list[Any], float, float]:
    """A real ray by its height at the first vertex plane and its slope: all hits, last height and slope behind."""
    size = math.hypot(1.0, slope)
    start = np.array([0.0, height - 10.0 * slope, 0.0])
    ray, _, _ = raytrace.trace(
        surfaces, start, np.array([0.0, slope / size, 1.0 / size]), surfaces.central_wavelength()
    )
    last = ray[-2]
    behind = last[1][1] / last[1][2]
    # Height in the plane of the last vertex.
    return ray, last[0][1] - behind * last[0][2], behind


def solved(function: Any, low: float, high: float) -> float:
    """Root by bisection."""
    at_low = function(low)
    assert at_low * function(high) <= 0
    for _ in range(80):
        middle = (low + high) / 2.0
        if at_low * function(middle) <= 0:
            high = middle
        else:
            low, at_low = middle, function(middle)
    return (low + high) / 2.0


def turned(lens: Lens) -> Lens:
    """The same lens seen from behind."""
    front, thickness, back, index = lens
    return (-back, thickness, -front, index)


def rim_ray(back: Any, rim: float, eye: float) -> tuple[float, float]:
    """Apparent and true slope of the real ray from the pupil's middle that grazes the rim of the objective.

    ``back`` is the tube turned round. The rim lies in the vertex plane of the objective.
    """

    def beyond_rim(slope: float) -> float:
        try:
            return abs(traced(back, eye * slope, slope)[1]) - rim
        except TraceError:
            return rim  # the ray misses a surface or is reflected: it stands beyond the rim

    apparent = solved(beyond_rim, 1e-4, 0.6 * rim / eye)
    return apparent, abs(traced(back, eye * apparent, apparent)[2])


def real_values() -> list[dict[str, Any]]:
    """Gap, power, pupil, vergence near the axis, and true and apparent half fields of real rays to the rim."""
    rows = []
    for name, objective, ocular, diameter, eye in REAL_TUBES:
        reach = 3.0 * abs(product(thick(objective)).effectiveFocalLengths()[0])
        space = solved(
            lambda mm, a=objective, b=ocular: traced(sequence(a, mm, b), NEAR_AXIS_MM, 0.0)[2], 1.0, reach
        )
        tube = sequence(objective, space, ocular)
        matrix = product(thick(objective), gap(space), thick(ocular))
        _, chief_height, chief_slope = traced(tube, 0.0, 1e-5)
        near = []
        for distance in OBJECT_DISTANCES_MM:
            _, height, slope = traced(tube, NEAR_AXIS_MM, NEAR_AXIS_MM / distance)
            near.append(-1000.0 * slope / height)
        row: dict[str, Any] = {
            "name": name,
            "objective": list(objective),
            "ocular": list(ocular),
            "objective_diameter_mm": diameter,
            "eye_distance_mm": eye,
            "gap_mm": space,
            "magnification": chief_slope / 1e-5,
            "exit_pupil_distance_mm": -chief_height / chief_slope,
            "object_distances_mm": OBJECT_DISTANCES_MM,
            "exit_vergences_d": near,
            "abcd_a": matrix.A,
            "abcd_b_mm": matrix.B,
            "abcd_d": matrix.D,
        }
        if chief_slope > 0:
            apparent, real = rim_ray(sequence(turned(ocular), space, turned(objective)), diameter / 2.0, eye)
            row |= {"apparent_half_slope": apparent, "real_half_slope": real}
        rows.append(row)
    return rows


def written(value: Any) -> str:
    """A value as TOML."""
    if isinstance(value, str):
        return f'"{value}"'
    if isinstance(value, list):
        return "[" + ", ".join(written(item) for item in value) + "]"
    return repr(float(value))


def main() -> None:
    """Write all values beside this script."""
    lines = [
        "# Made by make_values.py with general-purpose libraries; not edited by hand.",
        "",
        "[libraries]",
        f'raytracing = "{version("raytracing")}"',
        f'rayoptics = "{version("rayoptics")}"',
    ]
    for table, rows in (("thin", thin_values()), ("real", real_values())):
        for row in rows:
            lines += ["", f"[[{table}]]", *(f"{key} = {written(value)}" for key, value in row.items())]
    target = Path(__file__).with_name("values.toml")
    target.write_text("\n".join(lines) + "\n", encoding="utf-8")
    print(f"{target}: {len(THIN_TUBES)} thin and {len(REAL_TUBES)} real tubes")


if __name__ == "__main__":
    main()
