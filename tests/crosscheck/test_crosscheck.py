"""The core against the committed values of general-purpose libraries: thin tubes, thick lenses, real rays.

The libraries and their versions stand in ``values.toml``; ``make_values.py`` beside it makes the file anew.
"""

from __future__ import annotations

import math
import tomllib
from pathlib import Path
from typing import Any

import pytest

from afocal.core.errors import DomainRefusal
from afocal.core.optics import caps, field, focus, measuring, rays, telescope, thick

VALUES = tomllib.loads(Path(__file__).with_name("values.toml").read_text(encoding="utf-8"))
THIN: list[dict[str, Any]] = VALUES["thin"]
REAL: list[dict[str, Any]] = VALUES["real"]
EXACT = 1e-9
# A real ray 0.001 mm from the axis: what is left of the aberrations and of the tracer's rounding.
NEAR_AXIS = 2e-6

thin_tubes = pytest.mark.parametrize("tube", THIN, ids=[f"{tube['magnification']:.3g}x" for tube in THIN])
real_tubes = pytest.mark.parametrize("tube", REAL, ids=[tube["name"] for tube in REAL])


def test_the_values_name_their_libraries() -> None:
    """The file says which library and version made it."""
    assert set(VALUES["libraries"]) == {"raytracing", "rayoptics"}
    assert len(THIN) == 8 and len(REAL) == 5


@thin_tubes
def test_powers_length_and_pupils_are_those_of_the_matrix_library(tube: dict[str, Any]) -> None:
    """Magnification, length and exit pupil from the lens powers."""
    powers = (tube["objective_power_d"], tube["ocular_power_d"])
    magnification, length = telescope.magnification(*powers), telescope.tube_length_mm(*powers)
    assert magnification == pytest.approx(tube["magnification"], rel=EXACT)
    assert length == pytest.approx(tube["tube_length_mm"], rel=EXACT)
    assert telescope.exit_pupil_distance_mm(magnification, length) == pytest.approx(
        tube["exit_pupil_distance_mm"], rel=EXACT
    )
    assert telescope.exit_pupil_diameter_mm(tube["objective_diameter_mm"], magnification) == pytest.approx(
        tube["exit_pupil_diameter_mm"], rel=EXACT
    )


@thin_tubes
def test_vergences_and_viewing_distances_are_those_of_the_matrix_library(tube: dict[str, Any]) -> None:
    """Exit vergence and equivalent viewing distance at several object distances; inside the pole a refusal."""
    magnification, length = tube["magnification"], tube["tube_length_mm"]
    rows = zip(tube["object_distances_mm"], tube["exit_vergences_d"], tube["evds_mm"], strict=True)
    for distance, vergence, evd in rows:
        if vergence > 0:
            with pytest.raises(DomainRefusal, match="inside the near limit"):
                focus.exit_vergence_d(magnification, length, -1000 / distance)
        else:
            assert focus.exit_vergence_d(magnification, length, -1000 / distance) == pytest.approx(
                vergence, rel=EXACT
            )
        assert focus.evd_mm(magnification, length, distance, tube["eye_distance_mm"]) == pytest.approx(
            evd, rel=EXACT
        )


@thin_tubes
def test_caps_and_trial_lenses_are_those_of_the_matrix_library(tube: dict[str, Any]) -> None:
    """Equivalent viewing distance at the cap's focus and a tenth inside it; back vertex power with a trial lens."""
    magnification, length, eye = tube["magnification"], tube["tube_length_mm"], tube["eye_distance_mm"]
    for cap, at_focus, nearer in zip(
        tube["caps_d"], tube["cap_evds_mm"], tube["off_focus_cap_evds_mm"], strict=True
    ):
        assert caps.cap_evd_mm(magnification, cap) == pytest.approx(at_focus, rel=EXACT)
        assert focus.evd_mm(magnification, length, 900 / cap, eye, cap) == pytest.approx(nearer, rel=EXACT)
    for power, back_vertex in zip((0.5, 1.0, 2.0), tube["trial_lens_bvps_d"], strict=True):
        assert measuring.trial_lens_bvp_d(magnification, length, power) == pytest.approx(
            back_vertex, rel=EXACT
        )


@pytest.mark.parametrize("tube", [tube for tube in THIN if "real_half_slope" in tube])
def test_the_field_of_a_galilean_is_that_of_the_matrix_library(tube: dict[str, Any]) -> None:
    """Half field, true and apparent, by the ray from the pupil's middle to the rim."""
    seen = (
        tube["magnification"],
        tube["tube_length_mm"],
        tube["objective_diameter_mm"],
        tube["eye_distance_mm"],
    )
    for function, slope in (
        (field.real_field_deg, tube["real_half_slope"]),
        (field.apparent_field_deg, tube["apparent_half_slope"]),
    ):
        assert function(*seen) == pytest.approx(2 * math.degrees(math.atan(slope)), rel=EXACT)


def _lens(values: list[float]) -> rays.RayMatrix:
    front, thickness, back, index = values
    power = [
        0.0 if math.isinf(radius) else rays.surface_power_d(radius, before, after)
        for radius, before, after in ((front, 1.0, index), (back, index, 1.0))
    ]
    return rays.thick_lens(power[0], thickness, index, power[1])


def _tube(tube: dict[str, Any]) -> rays.RayMatrix:
    return rays.chain(_lens(tube["objective"]), rays.translation(tube["gap_mm"]), _lens(tube["ocular"]))


@real_tubes
def test_real_lenses_set_for_distance_are_afocal_in_the_core_too(tube: dict[str, Any]) -> None:
    """The gap at which real rays near the axis leave parallel is the one that the core finds."""
    gap = thick.focusing_gap_mm(_lens(tube["objective"]), _lens(tube["ocular"]))
    assert gap == pytest.approx(tube["gap_mm"], rel=NEAR_AXIS)


@real_tubes
def test_the_matrix_of_real_lenses_is_that_of_the_matrix_library(tube: dict[str, Any]) -> None:
    """A, B and D of two thick lenses in air."""
    system = _tube(tube)
    assert (system.a, system.b_mm, system.d) == pytest.approx(
        (tube["abcd_a"], tube["abcd_b_mm"], tube["abcd_d"]), rel=EXACT
    )


@real_tubes
def test_a_tube_of_real_lenses_behaves_as_its_power_and_its_element_b(tube: dict[str, Any]) -> None:
    """Real rays near the axis agree with M, with -B/M for the exit pupil and with M²U/(1 − BMU) for the focus."""
    afocal = thick.afocal_tube(_tube(tube))
    assert afocal.magnification == pytest.approx(tube["magnification"], rel=NEAR_AXIS)
    assert telescope.exit_pupil_distance_mm(*afocal[:2]) == pytest.approx(
        tube["exit_pupil_distance_mm"], rel=NEAR_AXIS
    )
    for distance, vergence in zip(tube["object_distances_mm"], tube["exit_vergences_d"], strict=True):
        assert focus.exit_vergence_d(*afocal[:2], -1000 / distance) == pytest.approx(vergence, rel=NEAR_AXIS)


@pytest.mark.parametrize("tube", [tube for tube in REAL if "real_half_slope" in tube])
def test_a_nominal_true_field_may_be_far_off_but_the_apparent_one_hardly(tube: dict[str, Any]) -> None:
    """Real rays to the rim of strong lenses: the nominal apparent field is right within 6 %, the true one 5 to 60 % too large.

    This is why a measured field takes precedence over the nominal one.
    """
    afocal = thick.afocal_tube(_tube(tube))
    seen = (*afocal[:2], tube["objective_diameter_mm"], tube["eye_distance_mm"])
    apparent = math.tan(math.radians(field.apparent_field_deg(*seen) / 2)) / tube["apparent_half_slope"]
    true = math.tan(math.radians(field.real_field_deg(*seen) / 2)) / tube["real_half_slope"]
    assert abs(apparent - 1) <= 0.06
    assert 0.05 <= true - 1 <= 0.60
