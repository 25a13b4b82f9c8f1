"""The table of what each quantity of the optics may be: its ends, and how a refusal says them."""

from __future__ import annotations

import dataclasses
from math import inf, nan, nextafter

import pytest

from afocal.core.errors import DomainRefusal
from afocal.core.optics._domain import DOMAINS, Domain, check


def test_domain_table():
    """None is never accepted, edges follow the table, and a guard that fails without a culprit is a fault of ours."""
    domain = Domain("length", "0 to 2 mm", "1", lowest=0.0, highest=2.0)
    assert not domain.holds(None)
    assert domain.holds(0.0)
    assert domain.holds(2.0)
    assert not domain.holds(2.0001)
    assert not domain.holds(-1e-9)
    above = dataclasses.replace(domain, above=True)
    assert not above.holds(0.0)
    assert above.holds(1.1e-9)
    signless = dataclasses.replace(domain, lowest=1.0, signless=True)
    assert signless.holds(-2.0) and signless.holds(1.0)
    assert not signless.holds(0.9) and not signless.holds(-2.1)
    with pytest.raises(AssertionError, match="a guard failed"):
        Domain.refuse(tube_length_mm=24.0)
    for absurd in (1e12, inf, 1e-9):
        with pytest.raises(DomainRefusal, match="a size that can occur"):
            Domain.refuse(rotation_distance_mm=absurd)
    for plain in (0.0, nan, None):
        with pytest.raises(DomainRefusal, match="more than 0 mm"):
            Domain.refuse(rotation_distance_mm=plain)
    assert DOMAINS["rotation_distance_mm"].holds(1.1e-9)
    check(tube_length_mm=24.0, magnification=-4.0)
    assert all(entry.words and entry.accepted and entry.example for entry in DOMAINS.values())


# The sentence of each kind of row, word for word.
ROWS = {
    "magnification": (
        1.0,
        "accepted is 1.05 to 100, with a minus sign for a Keplerian tube (for example 2.5 or -4)",
    ),
    "tube_length_mm": (
        0.4,
        "tube length: 0.4; the lenses of a telescope stand apart; accepted is 0.5 to 1000 mm (for example 28)",
    ),
    "object_distance_mm": (0.5, "accepted is 1 to 10000000 mm"),
    "ocular_focal_length_mm": (0.5, "accepted is 1 to 1000 mm, either sign"),
    "exit_pupil_depth_mm": (0.0, "accepted is more than 0 and at most 500 mm"),
    "lens_in_front_d": (61.0, "accepted is -60 to 60 D"),
    "transmittance": (1.1, "accepted is more than 0 and at most 1 ("),
    "enlargement_ratio": (0.0, "accepted is more than 0 ("),
    "vor_gain": (-1.0, "accepted is 0 or more"),
    "decentration_mm": (-1.0, "accepted is 0 mm or more"),
    "segment_height_mm": (nan, "accepted is a finite number of mm"),
}


@pytest.mark.parametrize("name", ROWS)
def test_sentence_of_a_row(name):
    """A refusal states the accepted values of its row in plain words and numbers."""
    value, words = ROWS[name]
    with pytest.raises(DomainRefusal) as refusal:
        Domain.refuse(**{name: value})
    assert words in str(refusal.value), str(refusal.value)


# Every row as it is said to a clinician, so that no end of a range moves unseen.
ACCEPTED = {
    "magnification": "1.05 to 100, with a minus sign for a Keplerian tube",
    "galilean_magnification": "1.05 to 100",
    "keplerian_magnification": "-100 to -1.05",
    "tube_length_mm": "0.5 to 1000 mm",
    "tube_length_or_0_mm": "0 to 1000 mm",
    "gap_mm": "0 to 1000 mm",
    "objective_power_d": "0.05 to 3900 D",
    "ocular_power_d": "-250000 to 250000 D",
    "objective_focal_length_mm": "more than 0 mm",
    "ocular_focal_length_mm": "1 to 1000 mm, either sign",
    "objective_focal_length": "more than 0",
    "ocular_focal_length": "more than 0",
    "objective_diameter_mm": "0.1 to 500 mm",
    "ocular_diameter_mm": "0.1 to 500 mm",
    "exit_pupil_diameter_mm": "0.1 to 500 mm",
    "objective_diameter": "more than 0",
    "ocular_diameter": "more than 0",
    "exit_pupil_depth_mm": "more than 0 and at most 500 mm",
    "field_stop_mm": "more than 0 mm",
    "eye_relief_mm": "more than 0 mm",
    "cap_power_d": "0.05 to 60 D",
    "lens_in_front_d": "-60 to 60 D",
    "trial_lens_d": "-100 to 100 D",
    "trial_lens_read_d": "0.12 to 100 D, either sign",
    "back_vertex_power_d": "-1000 to 1000 D",
    "size_ratio": "1 to 100 x",
    "tolerance_percent": "0 to 100 %",
    "change_d": "-100 to 100 D",
    "power_d": "-250000 to 250000 D",
    "lens_power_d": "0.05 to 60 D",
    "prism_lens_d": "a finite number of D",
    "first_lens_d": "a finite number of D",
    "second_lens_d": "a finite number of D",
    "separation_mm": "0 mm or more",
    "distance_mm": "0 to 10000000 mm",
    "refractive_index": "1 to 4",
    "radius_mm": "0.5 mm or more, minus when the centre lies in front",
    "surface_reflectance": "0 to 1",
    "transmittance": "more than 0 and at most 1",
    "eye_distance_mm": "0 to 1000 mm",
    "window_distance_mm": "more than 0 and at most 1000 mm",
    "eye_offset_mm": "a finite number of mm",
    "ocular_to_cornea_mm": "0 to 60 mm",
    "vertex_mm": "0 to 60 mm",
    "pupil_depth_mm": "more than 0 mm",
    "rotation_depth_mm": "more than 0 mm",
    "rotation_distance_mm": "more than 0 mm",
    "pupil_mm": "0.5 to 12 mm",
    "interpupillary_mm": "more than 0 mm",
    "right_interpupillary_mm": "more than 0 mm",
    "left_interpupillary_mm": "more than 0 mm",
    "spectacle_power_d": "-100 to 100 D",
    "refraction_at_cornea_d": "-100 to 100 D",
    "ametropia_at_ocular_d": "-100 to 100 D",
    "over_refraction_d": "-100 to 100 D",
    "residual_sphere_d": "-100 to 100 D",
    "residual_cylinder_d": "-100 to 100 D",
    "defocus_d": "-100 to 100 D",
    "tolerance_d": "0 to 10 D",
    "accommodation_d": "0 to 30 D",
    "swing_d": "0.01 to 60 D",
    "mar_arcmin": "0.1 to 1000 arcmin",
    "blur_constant": "0.1 to 3 arcmin per mm D",
    "loss_logmar": "0.01 to 1 logMAR",
    "blur_limit_mm": "0.001 to 1 mm",
    "eye_power_d": "30 to 90 D",
    "spatial_frequency_cpd": "0.1 to 10 cycles per degree",
    "age_years": "0 to 120 years",
    "pupil_formula_age_years": "20 to 83 years",
    "sustained_fraction": "0 to 1",
    "none_from_years": "0 to 120 years",
    "luminance_cd_m2": "more than 0 cd/m2",
    "adapting_field_deg": "more than 0 and at most 180 degrees",
    "object_distance_mm": "1 to 10000000 mm",
    "target_distance_mm": "more than 0 mm",
    "working_distance_mm": "more than 0 and at most 10000000 mm",
    "short_distance_mm": "0 to 1000 mm",
    "test_distance_mm": "20 to 10000 mm",
    "reference_distance_mm": "50 to 10000 mm",
    "reading_distance_mm": "50 to 10000 mm",
    "equivalent_power_d": "0.05 to 6000 D",
    "object_vergence_d": "-1000 to 1000 D",
    "exit_vergence_d": "-1000000000 to 1000000000 D",
    "threshold_m_units": "0.05 to 50 M",
    "goal_m_units": "0.05 to 50 M",
    "acuity_reserve": "0.5 to 10",
    "width_mm": "0 mm or more",
    "character_pitch_mm": "more than 0 mm",
    "real_field_deg": "more than 0 and at most 170 degrees",
    "apparent_field_deg": "more than 0 and at most 170 degrees",
    "measured_field_deg": "more than 0 and at most 170 degrees",
    "monocular_field_deg": "more than 0 and at most 170 degrees",
    "centre_separation_deg": "0 to 60 degrees",
    "decentration_mm": "0 mm or more",
    "signed_decentration_mm": "a finite number of mm",
    "tilt_arcmin": "-2700 to 2700 minutes of arc",
    "deviation_arcmin": "-2700 to 2700 minutes of arc",
    "angle_arcmin": "-2700 to 2700 minutes of arc",
    "eye_side_arcmin": "0 minutes of arc or more",
    "prism": "-100 to 100 prism dioptres",
    "tolerance_prism": "0 prism dioptres or more",
    "demand_prism": "0 prism dioptres or more",
    "reserve_prism": "0 prism dioptres or more",
    "base_in_prism": "0 prism dioptres or more",
    "base_out_prism": "0 prism dioptres or more",
    "vertical_prism": "0 prism dioptres or more",
    "housing_radius_mm": "more than 0 mm",
    "tube_tilt_deg": "-60 to 60 degrees",
    "pantoscopic_deg": "-60 to 60 degrees",
    "ocular_height_mm": "more than 0 mm",
    "clearance_mm": "0 mm or more",
    "pupil_height_mm": "more than 0 mm",
    "rim_mm": "0 mm or more",
    "segment_height_mm": "a finite number of mm",
    "vor_gain": "0 or more",
    "head_speed_deg_s": "0 deg/s or more",
    "tolerated_slip_deg_s": "more than 0 deg/s",
    "slip_exponent": "0 to 3",
    "slip_deg_s": "0 deg/s or more",
    "add_d": "more than 0 D",
    "half_eye_add_d": "more than 0 and at most 12 D",
    "magnifier_power_d": "more than 0 D",
    "lens_diameter_mm": "more than 0 mm",
    "page_distance_mm": "more than 0 mm",
    "eye_to_lens_mm": "more than 0 mm",
    "eye_to_image_mm": "more than 0 mm",
    "image_distance_mm": "0 mm or more",
    "enlargement_ratio": "more than 0",
    "screen_width_mm": "more than 0 mm",
}


def test_every_row_says_its_range():
    """The accepted values of each quantity, in words, and the two ends of a closed range themselves."""
    assert {name: row.accepted for name, row in DOMAINS.items()} == ACCEPTED
    for name, words in ACCEPTED.items():
        first, _, rest = words.partition(" to ")
        if rest and not words.startswith("more"):
            row = DOMAINS[name]
            low, high = float(first), float(rest.split()[0].rstrip(","))
            assert (row.lowest, row.highest) == (low, high), name
            assert row.holds(low) and row.holds(high), name
            assert not row.holds(nextafter(high, inf)), name
