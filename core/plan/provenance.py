"""Where the numbers of a plan come from: which formulas can have made a number, by its name.

A value alone does not say what made it: 2.5 may be a power, a refraction or a pupil. So the search for a working asks
here which formulas a name allows; a name that allows none is recorded, typed, assumed or taken from the stock.
"""

from __future__ import annotations

from collections.abc import Mapping

RECORDED: tuple[str, ...] = ()
_CAP_DISTANCE = ("cap_working_distance_uncorrected_mm", "cap_working_distance_mm")
_EVP = ("evp_from_evd_d", "kestenbaum_add_d")
_POWER = ("required_magnification", "magnification_for_good_chance")
_CLEAR = ("cap_near_edge_mm", "cap_far_edge_mm", "clear_range", "nearest_by_travel_mm", "near_limit_mm")
_REAL = (
    "real_field_through_keyhole_deg", "real_from_apparent_field_deg", "real_field_general_deg", "real_field_deg",
    "real_field_field_stop_deg", "galilean_field", "keplerian_field", "field_in_use",
)  # fmt: skip
_LOSS = (
    "blur_loss_logmar", "cylinder_loss_logmar", "light_loss_logmar", "contrast_loss_logmar", "motion_loss_logmar",
)  # fmt: skip
_CRITERION = ("sum_over_goals",)

# By the last part of a name; figures of a list (losses.0.logmar) without the number. What is not here is looked for by
# the name of the formula.
MADE_BY: Mapping[str, tuple[str, ...]] = {
    # What was chosen, typed, assumed or read from the stock
    "magnification_marked": RECORDED,
    "magnification_nominal": RECORDED,
    "weight_g": RECORDED,
    "power_d": RECORDED,
    "filter_transmittance": RECORDED,
    "tube_tilt_deg": RECORDED,
    "pantoscopic_deg": RECORDED,
    "b_size_mm": RECORDED,
    "interpupillary_mm": RECORDED,
    "spread_mm": RECORDED,
    "cr95_logmar": RECORDED,
    "vergence_reserve_prism": RECORDED,
    "vertical_reserve_prism": RECORDED,
    "vertical_prism": ("vertical_beyond_naked_prism",),
    "width_wanted_mm": RECORDED,
    "characters_wanted": RECORDED,
    "residual_cylinder_d": RECORDED,
    "logmar": RECORDED,
    "goal_index": RECORDED,
    "vergence_state": RECORDED,
    # What is recorded in one case and computed in another
    "magnification": ("refocus",),
    "tube_length_mm": ("refocus",),
    "object_distance_mm": (*_CAP_DISTANCE, "middle_distance_mm"),
    "working_distance_mm": (*_CAP_DISTANCE, "middle_distance_mm"),
    "goal_logmar": ("goal_logmar_with_reserve", "goal_logmar_of_letter"),
    "near_logmar": ("logmar_of_near_print",),
    "ocular_to_cornea_mm": ("ocular_to_cornea_from_vertex_mm",),
    "pupil_mm": ("pupil_diameter_mm",),
    "dim_pupil_mm": ("pupil_diameter_mm",),
    "accommodation_d": ("sustained_accommodation_d", "sustained_from_amplitude_d"),
    "exit_pupil_diameter_mm": ("refocused_exit_pupil_diameter_mm", "exit_pupil_diameter_mm"),
    "transmittance": ("transmittance_with_filter", "transmittance_of_surfaces"),
    # What a formula of another name makes
    "losses.logmar": _LOSS,
    "loss_logmar": ("total_loss_logmar",),
    "residual_sphere_d": ("ametropia_at_ocular_d",),
    "correction_lens_d": ("objective_correction_d", "ametropia_at_ocular_d"),
    "defocus_d": ("defocus_left_d",),
    "tolerance_d": ("tolerated_defocus_d",),
    "exit_vergence_d": ("exit_vergence_d",),
    "unrefocused_exit_vergence_d": ("exit_vergence_d",),
    "clear_from_mm": _CLEAR,
    "clear_to_mm": _CLEAR,
    "near_limit_mm": _CLEAR,
    "far_limit_mm": _CLEAR,
    "near_limit_focused_infinity_mm": ("near_limit_mm",),
    "near_limit_hyperfocal_mm": ("near_limit_mm",),
    "real_field_deg": _REAL,
    "real_field_full_deg": _REAL,
    "real_field_half_deg": _REAL,
    "real_field_total_deg": _REAL,
    "apparent_field_deg": (
        "apparent_from_real_field_deg", "apparent_field_general_deg", "apparent_field_deg", "ocular_limit_deg",
        "galilean_field", "keplerian_field", "field_in_use",
    ),
    "keyhole_half_slope": ("keyhole_slope",),
    "ring_housing_deg": ("housing_extent_deg",),
    "overlap_field_deg": ("overlap_field_decentred_deg", "overlap_field_deg"),
    "centre_separation_deg": ("centre_separation_decentred_deg",),
    "toe_out_vergence_for_same_union_prism": ("toe_out_vergence_prism",),
    "vertical_tilt_tolerance_arcmin": ("tilt_tolerances",),
    "convergent_tilt_tolerance_arcmin": ("tilt_tolerances",),
    "divergent_tilt_tolerance_arcmin": ("tilt_tolerances",),
    "aniseikonia_percent": ("magnification_difference_percent",),
    "ocular_height_mm": ("least_ocular_height_mm",),
    "segment_clearance_mm": ("bifocal_clearance_mm",),
    "depth_mm": ("cap_depth_between_mm",),
    "equivalent_power_d": ("cap_equivalent_power_d", "evp_from_evd_d"),
    "evd_mm": ("cap_evd_mm", "evd_focused_mm", "evd_mm"),
    "near.evd_mm": ("spectacle_add_evd_mm", "hand_magnifier_evd_mm", "stand_evd_mm", "display_evd_mm"),
    "score_parts.value": _CRITERION,
    "evd_uncorrected_mm": ("evd_mm",),
    "magnification_re_250": ("magnification_re_distance",),
    "magnification_re_400": ("magnification_re_distance",),
    "working_distance_corrected_mm": ("cap_working_distance_mm",),
    "working_distance_uncorrected_mm": ("cap_working_distance_uncorrected_mm",),
    "linear_field_at_cap_focus_mm": ("linear_field_mm",),
    "linear_field_mm": ("linear_field_through_tube_mm", "linear_field_mm"),
    "linear_union_mm": ("linear_field_mm",),
    "convergence_parallel_tubes_prism": ("convergence_with_caps_prism", "convergence_parallel_tubes_prism"),
    "convergence_prism": ("convergence_parallel_tubes_prism",),
    "base_in_full_prism": ("cap_base_in_full_prism",),
    "toe_in_deg": ("toe_in_angle_deg",),
    "height_mismatch_for_15_arcmin_mm": ("height_mismatch_for_prism_mm",),
    "predicted_logmar": ("logmar_through_telescope",),
    "predicted_logmar_with_blur": ("logmar_through_telescope",),
    "predicted_logmar_with_losses": ("logmar_through_telescope",),
    "predicted_snellen_denominator": ("snellen_denominator",),
    "nearest_r10_line": ("nearest_chart_line",),
    "probability": ("probability_prediction_meets_goal", "probability_print_goal_met"),
    "probability_cr95_0_20": ("probability_prediction_meets_goal", "probability_print_goal_met"),
    "probability_cr95_0_30": ("probability_prediction_meets_goal", "probability_print_goal_met"),
    "required_evp_d": ("evp_from_evd_d",),
    "evp_low_d": _EVP,
    "evp_high_d": _EVP,
    "magnification_low": _POWER,
    "magnification_high": _POWER,
    "methods.value": (*_POWER, *_EVP),
    "slip_deg_s": ("retinal_slip_deg_s",),
    # Arguments of the formulas that put things together
    "losses": _LOSS,
    "parts": ("goal_criterion",),
    "worth": ("chance_worth", "field_worth", "low_power_worth"),
    # Criteria of the ranking
    "chance": _CRITERION,
    "field": _CRITERION,
    "low_power": _CRITERION,
    "clear_range": _CRITERION,
    "working_distance": _CRITERION,
    "light": _CRITERION,
    "comfort": _CRITERION,
    "hands_free": _CRITERION,
    "two_eyes": _CRITERION,
    "simplicity": _CRITERION,
}  # fmt: skip


def makers_of(quantity: str) -> tuple[str, ...] | None:
    """The formulas that can make a number of that name, () for a recorded one, None when the name is not known here."""
    parts = [part for part in quantity.split(".") if not part.isdigit()]
    if len(parts) > 1 and f"{parts[-2]}.{parts[-1]}" in MADE_BY:
        return MADE_BY[f"{parts[-2]}.{parts[-1]}"]
    return MADE_BY.get(parts[-1])
