"""Figures of the literature and of practice that cannot be computed, each under one name with its source.

Every one can be replaced by a clinic's own value: ``constant(name, overrides)`` takes the replacement
where there is one and refuses it outside the range that the entry allows. ``how_sure`` says in a few
words how far the printed figure may be leaned on.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import NamedTuple

from .errors import EntryRefusal, RangeRefusal


class Constant(NamedTuple):
    """One adjustable figure: value, unit, the range a clinic may set, the source's key ("" for practice)."""

    value: float
    unit: str
    lowest: float
    highest: float
    source: str
    how_sure: str
    meaning: str


def constant(name: str, overrides: Mapping[str, float] | None = None) -> float:
    """The value of a constant, or the clinic's own from ``overrides``.

    An unknown name or a wild value is refused.
    """
    if name not in CONSTANTS:
        raise EntryRefusal("constant", name, "a name of the list of constants", example="blur_constant")
    entry = CONSTANTS[name]
    if overrides is None or name not in overrides:
        return float(entry.value)
    value = overrides[name]
    if not (math.isfinite(value) and entry.lowest <= value <= entry.highest):
        accepted = f"{entry.lowest:g} to {entry.highest:g} {entry.unit}".rstrip()
        raise RangeRefusal(entry.meaning, f"{value:g}", accepted, example=f"{entry.value:g}")
    return value


_ABSTRACT = "read in the abstract"
_MEMORY = "from memory, not re-read"
_PRACTICE = "common practice"

CONSTANTS: dict[str, Constant] = {
    # Off-chart categories, for drawing only
    "logmar_for_counting_fingers_plotting": Constant(
        1.9, "logMAR", 1.5, 2.1, "BACH", "read", "where count fingers is drawn"
    ),
    "logmar_for_hand_motion_plotting": Constant(
        2.3, "logMAR", 2.0, 2.6, "BACH", "read", "where hand motion is drawn"
    ),
    "logmar_for_light_perception_plotting": Constant(
        2.7, "logMAR", 2.3, 3.0, "BACH", "imputed in the source", "where light perception is drawn"
    ),
    "logmar_for_no_light_perception_plotting": Constant(
        3.0, "logMAR", 2.7, 3.3, "BACH", "imputed in the source", "where no light perception is drawn"
    ),
    # Repeatability: the 95 % coefficient of repeatability of one measurement
    "cr95_letter_acuity_legally_blind": Constant(
        0.2,
        "logMAR",
        0.05,
        0.6,
        "KISER05",
        _ABSTRACT,
        "repeatability of letter acuity, legally blind eyes (groups 0.13 to 0.36)",
    ),
    "cr95_letter_acuity_amd": Constant(
        0.3,
        "logMAR",
        0.05,
        0.6,
        "ASLAM14",
        _ABSTRACT,
        "repeatability of letter acuity, macular degeneration, over a month",
    ),
    "cr95_letter_contrast_legally_blind": Constant(
        0.35, "logCS", 0.1, 0.8, "KISER05", _ABSTRACT, "repeatability of letter contrast, legally blind eyes"
    ),
    "cr95_letter_contrast_hospital_patients": Constant(
        0.182,
        "logCS",
        0.1,
        0.8,
        "THAYAPARAN07",
        _ABSTRACT,
        "repeatability of letter contrast, hospital patients",
    ),
    "cr95_reading_acuity_stable_amd": Constant(
        0.3,
        "logMAR",
        0.1,
        1.0,
        "PATEL11",
        _ABSTRACT,
        "repeatability of reading acuity, stable macular degeneration",
    ),
    "cr95_critical_print_amd": Constant(
        0.67,
        "logMAR",
        0.1,
        1.2,
        "ASLAM14",
        _ABSTRACT,
        "repeatability of critical print size, macular degeneration",
    ),
    "within_test_sd_letter_scoring": Constant(
        0.04,
        "logMAR",
        0.01,
        0.15,
        "VANDENBOSCH97",
        _ABSTRACT,
        "spread within one test scored letter by letter",
    ),
    # Magnification, reserves and reading
    "acuity_reserve": Constant(
        2.0,
        "x",
        1.0,
        5.0,
        "LATHAM12",
        "read in the abstract: enough for three readers in four",
        "print size over threshold size",
    ),
    "fixed_acuity_reserve": Constant(
        0.3,
        "log units",
        0.0,
        0.7,
        "CHEONG02",
        _ABSTRACT,
        "fixed reserve that did as well as an individual one",
    ),
    "near_acuity_limit_for_1m": Constant(
        0.85, "logMAR", 0.5, 1.2, "LATHAM12", _ABSTRACT, "near acuity up to which 1 M is likely to be read"
    ),
    "contrast_limit_for_1m": Constant(
        1.05,
        "logCS",
        0.6,
        1.6,
        "LATHAM12",
        _ABSTRACT,
        "contrast sensitivity needed for 1 M when near acuity is worse",
    ),
    "contrast_reserve_below_which_rate_falls": Constant(
        10, "x", 3, 30, "WLK94", _ABSTRACT, "contrast reserve under which reading slows"
    ),
    "contrast_reserve_below_which_accuracy_falls": Constant(
        4, "x", 1.5, 15, "WLK94", _ABSTRACT, "contrast reserve under which rate and accuracy clearly fall"
    ),
    "weber_threshold_called_poor": Constant(
        0.09, "contrast", 0.03, 0.25, "WLK94", _ABSTRACT, "threshold contrast that is poor"
    ),
    "weber_threshold_called_very_poor": Constant(
        0.25, "contrast", 0.09, 0.6, "WLK94", _ABSTRACT, "threshold contrast that is very poor"
    ),
    "fluent_reading_criterion": Constant(
        80, "wpm", 40, 160, "LATHAM12", _ABSTRACT, "speed above which reading is fluent"
    ),
    "high_fluent_reading_criterion": Constant(
        160, "wpm", 100, 250, "CROSSLAND12", _ABSTRACT, "speed from which reading is highly fluent"
    ),
    "spot_reading_criterion": Constant(40, "wpm", 20, 80, "OPTOMETRY-TEXT", _MEMORY, "speed of spot reading"),
    "characters_for_85_percent_speed_page_navigation": Constant(
        10,
        "characters",
        4,
        20,
        "BECKMANN96",
        _ABSTRACT,
        "characters in view for most of the top speed when the page is navigated",
    ),
    "characters_per_line_80_percent_speed_low_vision": Constant(
        8, "characters", 4, 20, "ATILGAN20", _ABSTRACT, "characters a line for 80 % of top speed, low vision"
    ),
    "characters_per_line_80_percent_speed_normal": Constant(
        13,
        "characters",
        6,
        25,
        "ATILGAN20",
        _ABSTRACT,
        "characters a line for 80 % of top speed, normal sight",
    ),
    "normal_max_speed_16_to_40_y": Constant(
        200, "wpm", 175, 225, "CALABRESE16", _ABSTRACT, "top reading speed of normal eyes, 16 to 40 years"
    ),
    "normal_critical_print_68_y": Constant(
        0.21, "logMAR", 0.0, 0.5, "CALABRESE16", _ABSTRACT, "critical print size of normal eyes at 68 years"
    ),
    "normal_reading_acuity_81_y": Constant(
        -0.05, "logMAR", -0.2, 0.2, "CALABRESE16", _ABSTRACT, "reading acuity of normal eyes at 81 years"
    ),
    "character_pitch_per_m": Constant(
        1.5, "mm", 0.5, 3.0, "", _PRACTICE, "width taken by one character of 1 M text"
    ),
    "interocular_difference_for_two_tubes": Constant(
        0.2, "logMAR", 0.0, 0.5, "", _PRACTICE, "difference of the eyes up to which two tubes are considered"
    ),
    # Blur, pupil, accommodation
    "blur_constant": Constant(
        0.65,
        "arcmin per mm D",
        0.3,
        1.2,
        "SMITH91",
        "the linear law read in the abstract, the constant from memory",
        "growth of the smallest detail with pupil and defocus",
    ),
    "tolerated_loss": Constant(
        0.1, "logMAR", 0.02, 0.3, "", _PRACTICE, "loss of acuity that counts as still clear"
    ),
    "tolerated_defocus_least": Constant(
        0.25, "D", 0.0, 1.0, "", _PRACTICE, "least defocus assumed to be tolerated"
    ),
    "tolerated_defocus_most": Constant(
        1.5, "D", 0.5, 4.0, "", _PRACTICE, "most defocus assumed to be tolerated"
    ),
    "total_depth_of_focus_2mm_pupil": Constant(
        0.86, "D", 0.2, 2.0, "ATCHISON97", _ABSTRACT, "whole depth of focus through a 2 mm pupil"
    ),
    "total_depth_of_focus_4mm_pupil": Constant(
        0.59, "D", 0.2, 2.0, "ATCHISON97", _ABSTRACT, "whole depth of focus through a 4 mm pupil"
    ),
    "total_depth_of_focus_6mm_pupil": Constant(
        0.55, "D", 0.2, 2.0, "ATCHISON97", _ABSTRACT, "whole depth of focus through a 6 mm pupil"
    ),
    "bothersome_blur_20_50_letter": Constant(
        1.02,
        "D",
        0.3,
        3.0,
        "CIUFFREDA",
        "read in a meeting abstract, 13 young adults",
        "blur that bothers on a 20/50 letter",
    ),
    "bothersome_blur_20_50_text": Constant(
        1.34,
        "D",
        0.3,
        3.0,
        "CIUFFREDA",
        "read in a meeting abstract, 13 young adults",
        "blur that bothers on 20/50 text",
    ),
    "pupil_shrinkage_dimmest": Constant(
        0.043,
        "mm/year",
        0.01,
        0.08,
        "WINN94",
        _ABSTRACT,
        "shrinkage of the pupil with age in the dimmest light",
    ),
    "sustained_share_of_amplitude": Constant(
        0.5, "", 0.2, 1.0, "", _PRACTICE, "share of the accommodation that can be sustained"
    ),
    "age_without_accommodation": Constant(
        55, "years", 45, 70, "", _PRACTICE, "age from which no accommodation is assumed"
    ),
    "ocular_to_pupil_beyond_cornea": Constant(
        3.0, "mm", 2.5, 4.0, "OPTOMETRY-TEXT", _MEMORY, "cornea to entrance pupil"
    ),
    "cornea_to_rotation_centre": Constant(
        13.5, "mm", 13.0, 14.5, "OPTOMETRY-TEXT", _MEMORY, "cornea to centre of rotation"
    ),
    # Binocular
    "mean_adult_pd": Constant(
        63, "mm", 50, 75, "DODGSON04", _ABSTRACT, "mean interpupillary distance of adults"
    ),
    "upper_adult_pd": Constant(
        80, "mm", 70, 85, "DODGSON04", _ABSTRACT, "upper end that covers almost all adults"
    ),
    "far_minus_near_pd_at_400mm": Constant(4, "mm", 2, 6, "", _PRACTICE, "distance PD less near PD at 40 cm"),
    "base_in_break_distance": Constant(
        7, "prism D", 0, 30, "SCHEIMAN", _MEMORY, "break of base-in fusion at distance, normal eyes"
    ),
    "base_out_blur_distance": Constant(
        9, "prism D", 0, 40, "SCHEIMAN", _MEMORY, "blur of base-out fusion at distance, normal eyes"
    ),
    "base_out_break_distance": Constant(
        19, "prism D", 0, 50, "SCHEIMAN", _MEMORY, "break of base-out fusion at distance, normal eyes"
    ),
    "base_in_blur_near": Constant(
        13, "prism D", 0, 40, "SCHEIMAN", _MEMORY, "blur of base-in fusion at near, normal eyes"
    ),
    "base_in_break_near": Constant(
        21, "prism D", 0, 50, "SCHEIMAN", _MEMORY, "break of base-in fusion at near, normal eyes"
    ),
    "base_out_blur_near": Constant(
        17, "prism D", 0, 50, "SCHEIMAN", _MEMORY, "blur of base-out fusion at near, normal eyes"
    ),
    "base_out_break_near": Constant(
        21, "prism D", 0, 60, "SCHEIMAN", _MEMORY, "break of base-out fusion at near, normal eyes"
    ),
    "vertical_fusional_break_each_way": Constant(
        2.75,
        "prism D",
        2.5,
        3.0,
        "OGLE53",
        "first page read",
        "break of vertical fusion each way, normal eyes",
    ),
    "instrument_vertical_step": Constant(
        15, "arcmin", 5, 30, "TONKIN", "read in an excerpt", "vertical misalignment allowed at the eye"
    ),
    "instrument_convergence": Constant(
        45, "arcmin", 15, 90, "TONKIN", "read in an excerpt", "convergent misalignment allowed at the eye"
    ),
    "instrument_divergence": Constant(
        20, "arcmin", 5, 40, "TONKIN", "read in an excerpt", "divergent misalignment allowed at the eye"
    ),
    "spectacle_vertical_prism_tolerance": Constant(
        0.33,
        "prism D",
        0.1,
        1.0,
        "ANSI-Z80",
        "read in a summary of tolerances",
        "vertical prism allowed in spectacles",
    ),
    "spectacle_horizontal_prism_tolerance": Constant(
        0.67,
        "prism D",
        0.2,
        2.0,
        "ANSI-Z80",
        "read in a summary of tolerances",
        "horizontal prism allowed in spectacles",
    ),
    "binocular_acuity_gain_equal_eyes": Constant(
        0.045, "logMAR", 0.0, 0.15, "CAGENELLO93", _ABSTRACT, "gain of two equal normal eyes over one"
    ),
    "binocular_acuity_gain_high_contrast": Constant(
        0.044, "logMAR", 0.0, 0.15, "YU23", _ABSTRACT, "gain of two normal eyes, high contrast"
    ),
    "binocular_acuity_gain_low_contrast": Constant(
        0.069, "logMAR", 0.0, 0.2, "YU23", _ABSTRACT, "gain of two normal eyes, low contrast"
    ),
    # The device and its use
    "marked_power_tolerance": Constant(
        5.0, "percent", 1.0, 15.0, "", _PRACTICE, "how far a measured power may lie from the marked one"
    ),
    "margin_tube_to_lens_top": Constant(3, "mm", 1, 8, "YOHO09", "read", "lens left above the tube"),
    "measured_ring_scotoma_3x_12deg": Constant(
        44,
        "deg",
        36,
        60,
        "DOHERTY11",
        "read in part",
        "measured ring scotoma of a 3x tube with a 12 degree field",
    ),
    "vor_gain_initial_2_2x_light": Constant(
        1.37, "gain", 0.5, 2.2, "DEMER87", _ABSTRACT, "gain of the vestibulo-ocular reflex at first, 2.2x"
    ),
    "vor_gain_after_15min_2_2x_light": Constant(
        1.54, "gain", 0.5, 2.2, "DEMER87", _ABSTRACT, "the same after 15 minutes"
    ),
    "slip_where_acuity_starts_to_fall": Constant(
        2, "deg/s", 0.5, 6, "DEMER96", _ABSTRACT, "image slip above which acuity falls"
    ),
    "slip_tolerated_without_acuity_loss": Constant(
        2, "deg/s", 0.5, 6, "DEMER93", _ABSTRACT, "image slip without loss of acuity"
    ),
    "slip_exponent_of_acuity_loss": Constant(
        0.6,
        "exponent",
        0.2,
        1.0,
        "DEMER93",
        "read in the abstract: normal eyes, vertical motion",
        "power of slip with which acuity falls",
    ),
    "acuity_loss_factor_1_9x_40_deg_s": Constant(
        2, "x", 1, 10, "DEMER93", _ABSTRACT, "loss of acuity at 40 deg/s through 1.9x"
    ),
    "acuity_loss_factor_4x_40_deg_s": Constant(
        4, "x", 1, 15, "DEMER93", _ABSTRACT, "loss of acuity at 40 deg/s through 4x"
    ),
    "acuity_loss_factor_6x_40_deg_s": Constant(
        8, "x", 1, 25, "DEMER93", _ABSTRACT, "loss of acuity at 40 deg/s through 6x"
    ),
    "trials_with_most_speed_gain": Constant(
        150, "trials", 20, 500, "BIOPTIC08", _ABSTRACT, "practice trials that bring most of the gain in speed"
    ),
    "percent_not_helped_by_prescribed_telescopes": Constant(
        46, "percent", 0, 100, "PORTER93", _ABSTRACT, "patients without benefit in one series of 137"
    ),
    "percent_of_stand_magnifiers_with_250mm_image": Constant(
        18,
        "percent",
        0,
        100,
        "BROWN08",
        _ABSTRACT,
        "stand magnifiers, of 66, that have the image assumed by the label",
    ),
}
