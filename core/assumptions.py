"""Every clinical constant that is not measured on the person: its default, range, source and how sure it is.

A result that leaned on one of these says so. The clinic may set its own value for any of them in its settings file,
under ``[assumptions]``.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

HowSure = Literal["published", "common practice", "memory", "derived"]


@dataclass(frozen=True, slots=True)
class Assumption:
    """``source`` is a key of the list of sources, "" for common practice; ``sentence`` completes "assumed: ..."."""

    name: str
    default: float
    unit: str
    lowest: float
    highest: float
    how_sure: HowSure
    source: str
    sentence: str


def _declare(*rows: Assumption) -> dict[str, Assumption]:
    return {row.name: row for row in rows}


ASSUMPTIONS: dict[str, Assumption] = _declare(
    Assumption(
        "blur_constant",
        0.65,
        "arcmin per mm D",
        0.2,
        1.5,
        "memory",
        "SMITH91",
        "how fast blur takes acuity: 0.65 arcmin per mm of pupil and dioptre",
    ),
    Assumption(
        "tolerance_lowest_d", 0.25, "D", 0.1, 1.0, "common practice", "", "least depth of focus either way"
    ),
    Assumption(
        "tolerance_highest_d", 1.5, "D", 0.5, 3.0, "common practice", "", "greatest depth of focus either way"
    ),
    Assumption(
        "tolerated_loss_logmar",
        0.1,
        "logMAR",
        0.02,
        0.3,
        "common practice",
        "",
        "acuity loss taken as the edge of clear",
    ),
    Assumption(
        "acuity_reserve_near",
        2.0,
        "x",
        1.0,
        5.0,
        "published",
        "LATHAM12",
        "print twice the threshold size for reading",
    ),
    Assumption(
        "acuity_reserve_distance",
        1.0,
        "x",
        1.0,
        5.0,
        "common practice",
        "",
        "no reserve for spotting a letter or sign",
    ),
    Assumption(
        "goal_logmar", 0.30, "logMAR", -0.1, 1.0, "common practice", "", "about 20/40 through the telescope"
    ),
    Assumption(
        "contrast_reserve_warn",
        10.0,
        "x",
        2.0,
        30.0,
        "published",
        "WLK94",
        "reading slows below 10 times threshold contrast",
    ),
    Assumption(
        "contrast_reserve_caution",
        4.0,
        "x",
        1.0,
        10.0,
        "published",
        "WLK94",
        "rate and accuracy clearly fall below 4 times",
    ),
    Assumption(
        "log_cs_caution",
        1.05,
        "logCS",
        0.3,
        1.8,
        "published",
        "LATHAM12",
        "below 1.05 logCS a magnifier alone seldom serves reading",
    ),
    Assumption(
        "cr95_logmar",
        0.20,
        "logMAR",
        0.04,
        0.8,
        "published",
        "KISER05",
        "95 % of repeats of an acuity lie within 0.20",
    ),
    Assumption(
        "cr95_print_logmar",
        0.30,
        "logMAR",
        0.04,
        0.8,
        "published",
        "PATEL11",
        "95 % of repeats of reading acuity lie within 0.30",
    ),
    Assumption(
        "interocular_rule_logmar",
        0.20,
        "logMAR",
        0.05,
        0.6,
        "common practice",
        "",
        "two tubes when the eyes lie within two lines",
    ),
    Assumption(
        "binocular_gain_logmar",
        0.045,
        "logMAR",
        0.0,
        0.15,
        "published",
        "CAGENELLO93",
        "two equal eyes see about half a line better than one",
    ),
    Assumption(
        "character_pitch_mm",
        1.5,
        "mm per M",
        0.8,
        2.5,
        "common practice",
        "",
        "a character of 1 M text is 1.5 mm wide",
    ),
    Assumption(
        "characters_wanted",
        8.0,
        "characters",
        2.0,
        40.0,
        "published",
        "ATILGAN20",
        "8 characters in view for 80 % of top speed",
    ),
    Assumption(
        "vertical_limit_arcmin", 15.0, "arcmin", 3.0, 60.0, "published", "TONKIN", "vertical step at the eye"
    ),
    Assumption(
        "convergent_limit_arcmin",
        45.0,
        "arcmin",
        10.0,
        180.0,
        "published",
        "TONKIN",
        "convergence asked at the eye",
    ),
    Assumption(
        "divergent_limit_arcmin",
        20.0,
        "arcmin",
        5.0,
        90.0,
        "published",
        "TONKIN",
        "divergence asked at the eye",
    ),
    Assumption(
        "power_tolerance_percent", 5.0, "%", 1.0, 20.0, "common practice", "", "marked power within 5 %"
    ),
    Assumption(
        "magnification_difference_percent",
        2.0,
        "%",
        0.5,
        5.0,
        "common practice",
        "",
        "two tubes within 2 % in power",
    ),
    Assumption(
        "ocular_to_pupil_mm",
        3.0,
        "mm",
        2.5,
        4.0,
        "memory",
        "OPTOMETRY-TEXT",
        "entrance pupil 3 mm behind the cornea",
    ),
    Assumption(
        "rotation_centre_mm",
        13.5,
        "mm",
        13.0,
        14.5,
        "memory",
        "OPTOMETRY-TEXT",
        "centre of rotation 13.5 mm behind the cornea",
    ),
    Assumption("vertex_mm", 12.0, "mm", 8.0, 20.0, "common practice", "", "vertex distance of 12 mm"),
    Assumption("pd_mm", 63.0, "mm", 45.0, 80.0, "published", "DODGSON04", "adult mean PD of 63 mm"),
    Assumption(
        "pantoscopic_deg", 8.0, "deg", 0.0, 20.0, "common practice", "", "pantoscopic tilt of 8 degrees"
    ),
    Assumption("b_size_mm", 40.0, "mm", 24.0, 60.0, "common practice", "", "lens height of 40 mm"),
    Assumption(
        "pupil_height_mm", 21.0, "mm", 8.0, 40.0, "common practice", "", "pupil 21 mm above the lower rim"
    ),
    Assumption(
        "clearance_mm", 1.0, "mm", 0.0, 3.0, "common practice", "", "1 mm between pupil edge and housing"
    ),
    Assumption("rim_mm", 3.0, "mm", 1.0, 6.0, "published", "YOHO09", "3 mm of lens above the tube"),
    Assumption(
        "tube_tilt_deg", 10.0, "deg", 0.0, 30.0, "common practice", "", "bioptic tube tilted up by 10 degrees"
    ),
    Assumption(
        "reach_mm", 250.0, "mm", 50.0, 700.0, "common practice", "", "hands work comfortably from 25 cm"
    ),
    Assumption(
        "room_luminance_cd_m2", 50.0, "cd/m2", 0.1, 10000.0, "common practice", "", "a lit room of 50 cd/m2"
    ),
    Assumption(
        "dim_luminance_cd_m2", 1.0, "cd/m2", 0.01, 50.0, "common practice", "", "dim light of 1 cd/m2"
    ),
    Assumption(
        "bright_luminance_cd_m2",
        1000.0,
        "cd/m2",
        50.0,
        20000.0,
        "common practice",
        "",
        "daylight of 1000 cd/m2",
    ),
    Assumption(
        "adapting_field_deg",
        40.0,
        "deg",
        5.0,
        120.0,
        "common practice",
        "",
        "the eye adapts to a field of 40 degrees",
    ),
    Assumption(
        "pupil_without_age_mm",
        3.5,
        "mm",
        1.5,
        8.0,
        "common practice",
        "",
        "pupil of 3.5 mm outside the ages of the formula",
    ),
    Assumption(
        "no_accommodation_from_years",
        55.0,
        "years",
        40.0,
        75.0,
        "common practice",
        "",
        "no accommodation counted from 55 years",
    ),
    Assumption(
        "sustained_share", 0.5, "", 0.2, 1.0, "common practice", "", "half of the amplitude can be kept up"
    ),
    Assumption(
        "log_cs",
        1.20,
        "logCS",
        0.0,
        2.0,
        "common practice",
        "",
        "contrast sensitivity of 1.20 while not measured",
    ),
    Assumption("near_add_d", 2.50, "D", 0.0, 20.0, "common practice", "", "near print read through +2.50"),
    Assumption("chart_distance_mm", 4000.0, "mm", 250.0, 8000.0, "common practice", "", "chart at 4 m"),
    Assumption(
        "refraction_d", 0.0, "D", 0.0, 0.0, "common practice", "", "no refractive error while not measured"
    ),
    Assumption(
        "vor_gain",
        1.5,
        "",
        0.0,
        3.0,
        "published",
        "DEMER87",
        "gaze gain of 1.5 after a quarter of an hour with about 2x",
    ),
    Assumption(
        "slip_tolerated_deg_s",
        2.0,
        "deg/s",
        0.5,
        5.0,
        "published",
        "DEMER93",
        "image slip up to 2 degrees a second does no harm",
    ),
    Assumption(
        "light_loss_per_halving_logmar",
        0.02,
        "logMAR",
        0.0,
        0.2,
        "published",
        "SHEEDY84",
        "each halving of the light costs 0.02 log of acuity; measured in good light only",
    ),
    Assumption(
        "contrast_loss_per_log",
        0.3,
        "logMAR per log unit",
        0.0,
        1.0,
        "common practice",
        "",
        "each log unit of contrast reserve short of the one wanted costs 0.3 log of acuity",
    ),
    Assumption("add_lens_mm", 40.0, "mm", 15.0, 80.0, "common practice", "", "a reading lens of 40 mm width"),
    Assumption(
        "hand_lens_to_eye_mm",
        250.0,
        "mm",
        30.0,
        500.0,
        "common practice",
        "",
        "a hand magnifier held 25 cm from the eye",
    ),
    Assumption(
        "vertical_reserve_prism",
        2.5,
        "prism D",
        0.5,
        6.0,
        "published",
        "OGLE53",
        "vertical reserve of 2.5 prism D in normal eyes",
    ),
    Assumption(
        "base_in_distance_prism",
        7.0,
        "prism D",
        1.0,
        30.0,
        "memory",
        "SCHEIMAN",
        "base-in reserve of normal eyes, distance",
    ),
    Assumption(
        "base_out_distance_prism",
        9.0,
        "prism D",
        1.0,
        40.0,
        "memory",
        "SCHEIMAN",
        "base-out reserve of normal eyes, distance",
    ),
    Assumption(
        "base_in_near_prism",
        13.0,
        "prism D",
        1.0,
        40.0,
        "memory",
        "SCHEIMAN",
        "base-in reserve of normal eyes, near",
    ),
    Assumption(
        "base_out_near_prism",
        17.0,
        "prism D",
        1.0,
        50.0,
        "memory",
        "SCHEIMAN",
        "base-out reserve of normal eyes, near",
    ),
    Assumption(
        "lens_power_tolerance_d",
        0.13,
        "D",
        0.05,
        0.5,
        "memory",
        "ANSI-Z80",
        "lens power within 0.13 D, or 2 %",
    ),
    Assumption(
        "lens_cylinder_tolerance_d",
        0.13,
        "D",
        0.05,
        0.5,
        "memory",
        "ANSI-Z80",
        "cylinder within 0.13 D, or 4 %",
    ),
    Assumption(
        "horizontal_prism_tolerance_prism",
        0.67,
        "prism D",
        0.1,
        3.0,
        "published",
        "ANSI-Z80",
        "horizontal prism of a pair of lenses within 0.67 prism D",
    ),
    Assumption(
        "reading_speed_repeat_percent",
        20.0,
        "%",
        5.0,
        60.0,
        "common practice",
        "",
        "two readings of unchanged eyes within 20 % in speed",
    ),
    Assumption(
        "cr95_log_cs",
        0.35,
        "logCS",
        0.1,
        0.8,
        "published",
        "KISER05",
        "95 % of repeats of letter contrast within 0.35",
    ),
)
