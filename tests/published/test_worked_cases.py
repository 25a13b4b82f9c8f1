"""Six invented patients computed from end to end: each result fed with the results before it, not with printed ones.

The printed figures are rounded to four significant digits. They follow from the formulas and were computed by
ray matrices outside the program.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import pytest

from afocal.core.acuity import OffChart, nearest_chart_line, on_chart, parse_acuity, snellen_denominator
from afocal.core.contrast import contrast_reserve
from afocal.core.errors import ClinicalRefusal
from afocal.core.likelihood import probability_goal_met
from afocal.core.magnification import (
    evp_from_evd_d,
    logmar_through_telescope,
    power_margin_log,
    required_evd_mm,
    required_magnification,
)
from afocal.core.optics import (
    alignment,
    ametropia,
    binocular_field,
    blur,
    caps,
    convergence,
    field,
    focus,
    keplerian_field,
    light,
    magnifiers,
    mounting,
    telescope,
)
from afocal.core.print_size import logmar_of_near_print

Results = dict[str, float]


def _tolerance(logmar: float, pupil_mm: float) -> float:
    return blur.tolerated_defocus_d(10**logmar, pupil_mm, lower_d=0.25, upper_d=1.5)


def street_name() -> Results:
    """20/105 at 8 m through a bioptic 2.5x, tube 28 mm, objective 22 mm, hyperope of +2.5 D, pupil 3 mm."""
    m, t, objective = 2.5, 28.0, 22.0
    r: Results = {}
    r["required_magnification"] = required_magnification(0.72, 0.3)
    r["predicted_logmar"] = logmar_through_telescope(0.72, m)
    r["predicted_snellen_denominator"] = snellen_denominator(r["predicted_logmar"])
    r["nearest_r10_line"] = nearest_chart_line(r["predicted_snellen_denominator"])
    r["probability_cr95_0_20"] = probability_goal_met(0.72, m, 0.3, 0.20)
    r["probability_cr95_0_30"] = probability_goal_met(0.72, m, 0.3, 0.30)
    d = r["eye_distance_mm"] = field.eye_distance_mm(14)
    r["ametropia_at_ocular_d"] = ametropia.ametropia_at_ocular_d(
        ametropia.refraction_at_cornea_d(2.5, 12), 14
    )
    r["tolerance_d"] = _tolerance(0.72, 3.0)
    leaving = r["exit_vergence_at_task_d"] = focus.exit_vergence_d(m, t, -1000 / 8000)
    r["blur_loss_at_task_logmar"] = blur.blur_loss_logmar(10**0.72, 3.0, max(0.0, -leaving))
    r["predicted_logmar_with_blur"] = logmar_through_telescope(0.72, m, r["blur_loss_at_task_logmar"])
    r["near_limit_focused_infinity_mm"] = focus.near_limit_mm(m, t, r["tolerance_d"])
    r["near_limit_hyperfocal_mm"] = focus.near_limit_mm(m, t, 2 * r["tolerance_d"])
    for criterion in ("full", "half", "total"):
        r[f"real_field_{criterion}_deg"] = field.real_field_deg(m, t, objective, d, 3.0, criterion)
    r["apparent_field_half_deg"] = field.apparent_field_deg(m, t, objective, d)
    r["linear_field_half_at_task_mm"] = field.linear_field_mm(8000, r["real_field_half_deg"])
    r["ring_outer_diameter_deg"] = binocular_field.ring_outer_diameter_deg(m, r["real_field_half_deg"])
    r["exit_pupil_diameter_mm"] = telescope.exit_pupil_diameter_mm(objective, m)
    r["transmittance"] = light.transmittance_of_surfaces(0.015, 4)
    r["relative_brightness_dim"] = light.relative_brightness(
        5.0, r["transmittance"], exit_pupil_diameter_mm=r["exit_pupil_diameter_mm"]
    )
    h = r["ocular_height_mm"] = mounting.least_ocular_height_mm(9, 3.0, 1.5)
    r["gaze_elevation_deg"] = mounting.gaze_elevation_deg(h, 27)
    r["head_drop_deg"] = mounting.head_drop_deg(h, 27, 13, m)
    r["head_drop_to_field_centre_deg"] = mounting.head_drop_to_field_centre_deg(h, 27, 13, m, t)
    r["least_lens_height_mm"] = mounting.least_lens_height_mm(21, h, 9, 3)
    r["tube_to_lens_normal_deg"] = mounting.tube_to_lens_normal_deg(13, 8)
    return r


def television() -> Results:
    """0.54 and 0.58 logMAR at 2.4 m, 34 years, two tubes 2.0x decentred outwards by 1.5 mm, PD 62."""
    m, t, objective, d = 2.0, 24.0, 25.0, 15.0
    r: Results = {}
    r["required_magnification"] = required_magnification(0.54, 0.3)
    r["predicted_logmar"] = logmar_through_telescope(0.54, m)
    r["predicted_snellen_denominator"] = snellen_denominator(r["predicted_logmar"])
    r["nearest_r10_line"] = nearest_chart_line(r["predicted_snellen_denominator"])
    r["probability_cr95_0_20"] = probability_goal_met(0.54, m, 0.3, 0.20)
    r["probability_cr95_0_30"] = probability_goal_met(0.54, m, 0.3, 0.30)
    r["interocular_difference_logmar"] = 0.58 - 0.54
    r["accommodation_amplitude_min_d"] = blur.accommodation_amplitude_d(34)
    held = r["sustained_accommodation_d"] = blur.sustained_accommodation_d(34)
    pupil = r["pupil_mm"] = light.pupil_diameter_mm(40, 40, 34)
    r["tolerance_d"] = _tolerance(0.54, pupil)
    r["exit_vergence_at_task_d"] = focus.exit_vergence_d(m, t, -1000 / 2400)
    r["near_limit_focused_infinity_mm"] = focus.near_limit_mm(m, t, held + r["tolerance_d"])
    r["real_field_half_deg"] = field.real_field_deg(m, t, objective, d)
    r["union_field_deg"] = binocular_field.union_field_decentred_deg(m, t, objective, d, 1.5)
    r["overlap_field_deg"] = binocular_field.overlap_field_decentred_deg(m, t, objective, d, 1.5)
    apart = r["centre_separation_deg"] = r["union_field_deg"] - r["real_field_half_deg"]
    r["toe_out_vergence_for_same_union_prism"] = binocular_field.toe_out_vergence_prism(m, apart)
    r["linear_union_at_task_mm"] = field.linear_field_mm(2400, r["union_field_deg"])
    r["convergence_naked_prism"] = convergence.convergence_naked_prism(62, 2400)
    r["convergence_through_tubes_prism"] = convergence.convergence_parallel_tubes_prism(m, t, 2400, d, 62)
    r["evd_at_task_mm"] = focus.evd_mm(m, t, 2400, d)
    for name, limit in (("vertical", 15), ("convergent", 45), ("divergent", 20)):
        r[f"{name}_tilt_tolerance_arcmin"] = alignment.tilt_for_deviation_arcmin(m, limit)
    r["ring_outer_diameter_deg"] = binocular_field.ring_outer_diameter_deg(m, r["real_field_half_deg"])
    return r


def sheet_music() -> Results:
    """2.0 M at 40 cm, goal 1.25 M with a reserve of 1.3, 2.5x with a +2.25 cap, 1 D of myopia left uncorrected."""
    m, t, d, cap = 2.5, 28.0, 16.0, 2.25
    r: Results = {}
    r["required_evd_mm"] = required_evd_mm(400, 2.0, 1.25, 1.3)
    r["required_evp_d"] = evp_from_evd_d(r["required_evd_mm"])
    r["cap_power_for_goal_d"] = caps.cap_power_for_goal_d(m, 400, 2.0, 1.25, 1.3)
    r["working_distance_corrected_mm"] = caps.cap_working_distance_mm(cap)
    r["working_distance_uncorrected_mm"] = caps.cap_working_distance_uncorrected_mm(m, t, cap, -1.0)
    r["equivalent_power_d"] = caps.cap_equivalent_power_d(m, cap)
    r["evd_uncorrected_mm"] = focus.evd_mm(m, t, r["working_distance_uncorrected_mm"], d, cap)
    r["evd_mm"] = caps.cap_evd_mm(m, cap)
    for reference in (250, 400):
        r[f"magnification_re_{reference}"] = caps.magnification_re_distance(
            r["equivalent_power_d"], reference
        )
    r["near_logmar"] = logmar_of_near_print(400, 2.0)
    r["tolerance_d"] = _tolerance(r["near_logmar"], 3.5)
    r["clear_from_mm"] = caps.cap_near_edge_mm(m, t, cap, r["tolerance_d"])
    r["clear_to_mm"] = caps.cap_far_edge_mm(m, t, cap, r["tolerance_d"])
    r["real_field_half_deg"] = field.real_field_deg(m, t, 24, d)
    width = field.linear_field_mm(r["working_distance_corrected_mm"], r["real_field_half_deg"])
    r["linear_field_at_cap_focus_mm"] = width
    r["characters_in_field"] = field.characters_in_field(width, 1.5 * 1.25)
    r["convergence_parallel_tubes_prism"] = convergence.convergence_parallel_tubes_prism(
        m, t, r["working_distance_corrected_mm"], d, 66, cap
    )
    step = alignment.arcmin_to_prism(15)
    r["height_mismatch_for_15_arcmin_mm"] = alignment.height_mismatch_for_prism_mm(m, t, cap, d, step)
    r["contrast_reserve"] = contrast_reserve(0.9, 1.2)
    return r


def newspaper() -> Results:
    """3.2 M at 40 cm, goal 1.0 M with a reserve of 2, 3.0x with a +5 cap against an add of the required power."""
    m, t, d, cap = 3.0, 35.0, 15.0, 5.0
    r: Results = {}
    r["required_evd_mm"] = required_evd_mm(400, 3.2, 1.0, 2.0)
    needed = r["required_evp_d"] = evp_from_evd_d(r["required_evd_mm"])
    r["cap_power_for_goal_d"] = caps.cap_power_for_goal_d(m, 400, 3.2, 1.0, 2.0)
    r["telescope_evp_d"] = caps.cap_equivalent_power_d(m, cap)
    r["telescope_evd_mm"] = caps.cap_evd_mm(m, cap)
    r["telescope_shortfall_log"] = -power_margin_log(r["telescope_evp_d"], needed)
    r["telescope_working_distance_mm"] = caps.cap_working_distance_mm(cap)
    r["telescope_real_field_half_deg"] = field.real_field_deg(m, t, 25, d)
    width = r["telescope_linear_field_mm"] = field.linear_field_mm(200, r["telescope_real_field_half_deg"])
    r["telescope_characters"] = field.characters_in_field(width, 1.5)
    r["telescope_depth_mm"] = caps.cap_depth_mm(m, t, cap, 1.0)
    r["add_power_d"] = needed
    r["add_working_distance_mm"] = caps.cap_working_distance_mm(needed)
    r["add_linear_field_mm"] = magnifiers.hand_magnifier_field_mm(40, needed, 15)
    r["add_characters"] = field.characters_in_field(r["add_linear_field_mm"], 1.5)
    r["add_depth_near_mm"] = caps.lens_depth_one_side_mm(needed, 1.0, "near")
    r["add_depth_far_mm"] = caps.lens_depth_one_side_mm(needed, 1.0, "far")
    r["field_ratio_add_to_telescope"] = r["add_linear_field_mm"] / width
    r["contrast_reserve"] = contrast_reserve(0.7, 1.05)
    return r


def classroom() -> Results:
    """0.96 logMAR at 5 m, myope of 7 D without spectacles, Keplerian -4x of 80 mm refocused for the eye."""
    m, t, objective = -4.0, 80.0, 16.0
    r: Results = {}
    r["objective_focal_length_mm"] = telescope.objective_focal_length_mm(m, t)
    r["ocular_focal_length_mm"] = telescope.ocular_focal_length_mm(m, t)
    r["refraction_at_cornea_d"] = ametropia.refraction_at_cornea_d(-7.0, 12)
    eye = r["ametropia_at_ocular_d"] = ametropia.ametropia_at_ocular_d(r["refraction_at_cornea_d"], 14)
    length = r["refocused_tube_length_mm"] = ametropia.refocused_tube_length_mm(m, t, eye)
    power = r["refocused_magnification"] = ametropia.refocused_magnification(m, t, eye)
    r["tube_shortening_mm"] = t - length
    r["required_magnification"] = required_magnification(0.96, 0.4)
    r["predicted_logmar"] = logmar_through_telescope(0.96, power)
    r["predicted_snellen_denominator"] = snellen_denominator(r["predicted_logmar"])
    r["probability_cr95_0_20"] = probability_goal_met(0.96, power, 0.4, 0.20)
    r["near_tube_length_mm"] = ametropia.refocused_tube_length_mm(m, t, eye, -1.0)
    r["near_magnification"] = ametropia.refocused_magnification(m, t, eye, -1.0)
    r["unrefocused_exit_vergence_at_near_task_d"] = focus.exit_vergence_d(m, t, -1.0)
    r["exit_pupil_distance_mm"] = telescope.exit_pupil_distance_mm(m, t, length)
    pupil = r["exit_pupil_diameter_mm"] = ametropia.refocused_exit_pupil_diameter_mm(m, t, objective, length)
    r["eye_distance_mm"] = field.eye_distance_mm(14)
    r["eye_offset_mm"] = r["eye_distance_mm"] - r["exit_pupil_distance_mm"]
    r["keyhole_half_slope"] = keplerian_field.keyhole_slope(pupil, 3.2, r["eye_offset_mm"], "half")
    seen = r["real_field_deg"] = keplerian_field.real_field_field_stop_deg(9, r["objective_focal_length_mm"])
    r["ring_outer_diameter_deg"] = binocular_field.ring_outer_diameter_deg(power, seen)
    passed = r["transmittance"] = light.transmittance_of_surfaces(0.005, 12)
    r["relative_brightness_day"] = light.relative_brightness(3.2, passed, exit_pupil_diameter_mm=pupil)
    r["relative_brightness_dim"] = light.relative_brightness(5.5, passed, exit_pupil_diameter_mm=pupil)
    r["linear_field_at_task_mm"] = field.linear_field_mm(5000, seen)
    return r


# fmt: off
PRINTED: list[tuple[Callable[[], Results], dict[str, float]]] = [
    (street_name, {
        "required_magnification": 2.630, "predicted_logmar": 0.3221, "predicted_snellen_denominator": 41.98,
        "nearest_r10_line": 40, "probability_cr95_0_20": 0.4144, "probability_cr95_0_30": 0.4427,
        "eye_distance_mm": 17.00, "ametropia_at_ocular_d": 2.488, "tolerance_d": 1.500,
        "exit_vergence_at_task_d": -0.7745, "blur_loss_at_task_logmar": 0.01728,
        "predicted_logmar_with_blur": 0.3393, "near_limit_focused_infinity_mm": 4097,
        "near_limit_hyperfocal_mm": 2013, "real_field_full_deg": 4.711, "real_field_half_deg": 7.143,
        "real_field_total_deg": 9.568, "apparent_field_half_deg": 17.74, "linear_field_half_at_task_mm": 998.6,
        "ring_outer_diameter_deg": 17.74, "exit_pupil_diameter_mm": 8.800, "transmittance": 0.9413,
        "relative_brightness_dim": 0.9413, "ocular_height_mm": 12.00, "gaze_elevation_deg": 23.96,
        "head_drop_deg": 17.43, "head_drop_to_field_centre_deg": 16.20, "least_lens_height_mm": 45.00,
        "tube_to_lens_normal_deg": 21.00,
    }),
    # Tilt tolerances are exact; to first order, limit/(M − 1), the convergent one would be 45.00.
    (television, {
        "required_magnification": 1.738, "predicted_logmar": 0.2390, "predicted_snellen_denominator": 34.67,
        "nearest_r10_line": 32, "probability_cr95_0_20": 0.7251, "probability_cr95_0_30": 0.6550,
        "interocular_difference_logmar": 0.0400, "accommodation_amplitude_min_d": 6.500,
        "sustained_accommodation_d": 3.250, "pupil_mm": 3.498, "tolerance_d": 1.166,
        "exit_vergence_at_task_d": -1.634, "near_limit_focused_infinity_mm": 857.7,
        "real_field_half_deg": 13.20, "union_field_deg": 16.33, "overlap_field_deg": 10.05,
        "centre_separation_deg": 3.130, "toe_out_vergence_for_same_union_prism": 5.457,
        "linear_union_at_task_mm": 688.9, "convergence_naked_prism": 2.583,
        "convergence_through_tubes_prism": 4.944, "evd_at_task_mm": 1254,
        "vertical_tilt_tolerance_arcmin": 15.00, "convergent_tilt_tolerance_arcmin": 45.02,
        "divergent_tilt_tolerance_arcmin": 20.00, "ring_outer_diameter_deg": 26.07,
    }),
    (sheet_music, {
        "required_evd_mm": 192.3, "required_evp_d": 5.200, "cap_power_for_goal_d": 2.080,
        "working_distance_corrected_mm": 444.4, "working_distance_uncorrected_mm": 414.6,
        "equivalent_power_d": 5.625, "evd_uncorrected_mm": 170.4, "evd_mm": 177.8,
        "magnification_re_250": 1.406, "magnification_re_400": 2.250, "near_logmar": 0.6990,
        "tolerance_d": 1.500, "clear_from_mm": 400.9, "clear_to_mm": 496.5, "real_field_half_deg": 8.075,
        "linear_field_at_cap_focus_mm": 62.75, "characters_in_field": 33.46,
        "convergence_parallel_tubes_prism": 37.13, "height_mismatch_for_15_arcmin_mm": 0.7757,
        "contrast_reserve": 14.26,
    }),
    (newspaper, {
        "required_evd_mm": 62.50, "required_evp_d": 16.00, "cap_power_for_goal_d": 5.333,
        "telescope_evp_d": 15.00, "telescope_evd_mm": 66.67, "telescope_shortfall_log": 0.02803,
        "telescope_working_distance_mm": 200.0, "telescope_real_field_half_deg": 5.963,
        "telescope_linear_field_mm": 20.83, "telescope_characters": 13.89, "telescope_depth_mm": 8.890,
        "add_power_d": 16.00, "add_working_distance_mm": 62.50, "add_linear_field_mm": 166.7,
        "add_characters": 111.1, "add_depth_near_mm": 3.676, "add_depth_far_mm": 4.167,
        "field_ratio_add_to_telescope": 8.000, "contrast_reserve": 7.854,
    }),
    (classroom, {
        "objective_focal_length_mm": 64.00, "ocular_focal_length_mm": 16.00, "refraction_at_cornea_d": -6.458,
        "ametropia_at_ocular_d": -7.099, "refocused_tube_length_mm": 78.37, "refocused_magnification": -4.454,
        "tube_shortening_mm": 1.632, "required_magnification": 3.631, "predicted_logmar": 0.3112,
        "predicted_snellen_denominator": 40.95, "probability_cr95_0_20": 0.8079, "near_tube_length_mm": 82.74,
        "near_magnification": -4.759, "unrefocused_exit_vergence_at_near_task_d": -23.53,
        "exit_pupil_distance_mm": 20.10, "exit_pupil_diameter_mm": 4.105, "eye_distance_mm": 17.00,
        "eye_offset_mm": -3.105, "keyhole_half_slope": 0.6610, "real_field_deg": 8.044,
        "ring_outer_diameter_deg": 34.78, "transmittance": 0.9416, "relative_brightness_day": 0.9416,
        "relative_brightness_dim": 0.5245, "linear_field_at_task_mm": 703.1,
    }),
]
# fmt: on


def _half_of_the_last_digit(printed: float) -> float:
    """Half a unit of the fourth significant digit, and a little for a figure printed from a rounded one."""
    return 0.51 * 10.0 ** (math.floor(math.log10(abs(printed))) - 3)


@pytest.mark.parametrize(
    ("case", "name", "printed"),
    [(case, name, printed) for case, table in PRINTED for name, printed in table.items()],
    ids=[f"{case.__name__}-{name}" for case, table in PRINTED for name in table],
)
def test_a_patient_is_computed_from_end_to_end(
    case: Callable[[], Results], name: str, printed: float
) -> None:
    """Each result of each patient is met to the four printed digits."""
    assert abs(case()[name] - printed) <= _half_of_the_last_digit(printed)


@pytest.mark.parametrize("case, table", PRINTED, ids=[case.__name__ for case, _ in PRINTED])
def test_every_result_of_a_patient_has_a_printed_figure(
    case: Callable[[], Results], table: dict[str, float]
) -> None:
    """No result is computed that nothing outside checks."""
    assert case().keys() == table.keys()


@pytest.mark.parametrize(("typed", "plotted"), [("HM at 0.5 m", 2.3), ("LP", 2.7)])
def test_hand_motion_and_light_perception_give_no_number(typed: str, plotted: float) -> None:
    """The sixth patient: both eyes are off the chart, drawn at a place of their own, refused for arithmetic."""
    acuity = parse_acuity(typed)
    assert isinstance(acuity, OffChart)
    assert acuity.plot_logmar == plotted
    with pytest.raises(ClinicalRefusal, match="no number to compute magnification from"):
        on_chart(acuity)
