"""The words in which a guard refuses: plain name, accepted values and an example for each quantity.

The guards themselves stand inline in the formulas, because they run thousands of times for one plan; only when
one of them fails is :meth:`Domain.refuse` called to find the culprit and say it. Nothing is computed here.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf
from typing import NoReturn

from ..errors import DomainRefusal

# Below this the image is hardly larger than life, and every quantity with M - 1 under the line runs away.
LEAST_MAGNIFICATION = 1.05
# Positive quantities lie between these and signed ones within the larger: far beyond anything that occurs, and yet
# no product or quotient of them leaves the numbers a computer holds.
SMALLEST = 1e-9
LARGEST = 1e12


@dataclass(frozen=True, slots=True)
class Domain:
    """Where a quantity may lie: from ``lowest`` (itself accepted unless ``above``) to ``highest``."""

    words: str
    accepted: str
    example: str
    lowest: float = 0.0
    highest: float = inf
    above: bool = True
    reason: str = ""

    def holds(self, value: float | None) -> bool:
        """True when the value may be computed with; None, NaN and infinity never may."""
        if value is None or not -LARGEST < value < LARGEST or (self.above and 0.0 < value <= SMALLEST):
            return False
        return (value > self.lowest if self.above else value >= self.lowest) and value <= self.highest

    @staticmethod
    def refuse(**given: float | None) -> NoReturn:
        """Raise the refusal of the first of these quantities that lies outside its domain."""
        for name, value in given.items():
            domain = DOMAINS[name]
            if not domain.holds(value):
                # A number that the words would accept is refused only for being out of all proportion.
                absurd = value is not None and value == value and domain.lowest < value <= domain.highest
                accepted = "a size that can occur" if absurd else domain.accepted
                raise DomainRefusal(
                    domain.words, value, accepted, example=domain.example, reason=domain.reason
                )
        raise AssertionError(f"a guard failed although every quantity lies in its domain: {given}")


def _positive(words: str, unit: str, example: str, reason: str = "") -> Domain:
    return Domain(words, f"more than 0 {unit}".rstrip(), example, reason=reason)


def _not_negative(words: str, unit: str, example: str, reason: str = "") -> Domain:
    return Domain(words, f"0 {unit} or more".replace("  ", " "), example, above=False, reason=reason)


def _finite(words: str, unit: str, example: str) -> Domain:
    return Domain(words, f"a finite number of {unit}", example, lowest=-inf)


def _angle(words: str, highest: float, example: str) -> Domain:
    return Domain(words, f"more than 0 and at most {highest:g} degrees", example, highest=highest)


def _signed_angle(words: str, highest: float, unit: str, example: str) -> Domain:
    accepted = f"from -{highest:g} to {highest:g} {unit}"
    return Domain(words, accepted, example, lowest=-highest, highest=highest, above=False)


_KEPLERIAN_FIELD = (
    "below 0 the tube is a Keplerian, whose field is set by its field stop and exit pupil; "
    "below 1.05 it is no telescope"
)

DOMAINS: dict[str, Domain] = {
    "magnification": Domain(
        "magnification",
        "1.05x or more (the size counts, whatever the sign)",
        "2.0 for a Galilean, -4.0 for a Keplerian",
        lowest=LEAST_MAGNIFICATION,
        above=False,
        reason="so near to 1x a telescope does nothing that can be computed with",
    ),
    "galilean_magnification": Domain(
        "magnification of a Galilean tube",
        "1.05x or more",
        "2.0",
        lowest=LEAST_MAGNIFICATION,
        above=False,
        reason=_KEPLERIAN_FIELD,
    ),
    "keplerian_magnification": Domain(
        "magnification of a Keplerian tube",
        "-1.05x or beyond (the minus sign says that the tube inverts, with or without erecting prism)",
        "-4.0",
        lowest=-inf,
        highest=-LEAST_MAGNIFICATION,
    ),
    "tube_length_mm": _positive("tube length", "mm", "24"),
    "objective_diameter_mm": _positive("objective diameter", "mm", "25"),
    "ocular_diameter_mm": _positive("ocular diameter", "mm", "12"),
    "exit_pupil_diameter_mm": _positive("exit pupil diameter", "mm", "4"),
    "eye_distance_mm": _positive(
        "eye distance", "mm", "15", "it runs from the ocular to the entrance pupil of the eye"
    ),
    "ocular_to_cornea_mm": _positive("distance from ocular to cornea", "mm", "12"),
    "pupil_depth_mm": _positive("entrance pupil behind the cornea", "mm", "3"),
    "rotation_depth_mm": _positive("centre of rotation behind the cornea", "mm", "13.5"),
    "rotation_distance_mm": _positive("distance to the centre of rotation of the eye", "mm", "27"),
    "pupil_mm": _positive("pupil of the eye", "mm", "3", "the full and total fields depend on it"),
    "object_distance_mm": _positive("object distance", "mm", "400", "the object lies in front of the device"),
    "target_distance_mm": _positive("target distance", "mm", "400", "the target lies in front of the device"),
    "interpupillary_mm": _positive("interpupillary distance", "mm", "62"),
    "right_interpupillary_mm": _positive("right monocular interpupillary distance", "mm", "31.5"),
    "left_interpupillary_mm": _positive("left monocular interpupillary distance", "mm", "30.5"),
    "cap_power_d": _not_negative("cap power", "D", "4"),
    "cap_with_power_d": _positive("cap power", "D", "4", "without a cap there is no cap focus"),
    "width_mm": _not_negative("width", "mm", "40"),
    "character_pitch_mm": _positive("character pitch", "mm", "1.5"),
    "real_field_deg": _angle("real field", 170.0, "13"),
    "apparent_field_deg": _angle("apparent field", 170.0, "26"),
    "measured_field_deg": _angle("measured field", 170.0, "13"),
    "field_stop_mm": _positive("field stop", "mm", "9"),
    "objective_focal_length_mm": _positive("focal length of the objective", "mm", "64"),
    "objective_diameter": _positive("objective diameter", "", "16"),
    "ocular_diameter": _positive("ocular diameter", "", "12"),
    "objective_focal_length": _positive("focal length of the objective", "", "64"),
    "ocular_focal_length": _positive("focal length of the ocular", "", "16"),
    "eye_relief_mm": _positive("eye relief", "mm", "20"),
    "eye_offset_mm": _finite("distance of the eye from the exit pupil", "mm", "-3"),
    "decentration_mm": _not_negative("decentration", "mm", "2"),
    "signed_decentration_mm": _finite("decentration", "mm", "2"),
    "lens_power_d": _finite("lens power", "D", "4"),
    "monocular_field_deg": _angle("monocular field", 170.0, "13"),
    "centre_separation_deg": Domain(
        "separation of the two field centres", "0 to 60 degrees", "3", highest=60.0, above=False
    ),
    "housing_radius_mm": _positive("housing radius", "mm", "9"),
    "tilt_arcmin": _signed_angle("tilt", 2700.0, "minutes of arc", "10"),
    "tube_tilt_deg": _signed_angle("tube tilt", 60.0, "degrees", "12"),
    "deviation_arcmin": _signed_angle("deviation", 2700.0, "minutes of arc", "15"),
    "angle_arcmin": _signed_angle("angle", 2700.0, "minutes of arc", "15"),
    "prism": _signed_angle("prism", 100.0, "prism dioptres", "0.5"),
    "eye_side_arcmin": _not_negative("tolerance at the eye", "minutes of arc", "15"),
    "tolerance_prism": _not_negative("tolerated prism", "prism dioptres", "0.33"),
    "demand_prism": _not_negative("demand", "prism dioptres", "4"),
    "reserve_prism": _not_negative("fusional reserve", "prism dioptres", "9"),
    "base_in_prism": _not_negative("base-in reserve", "prism dioptres", "7"),
    "base_out_prism": _not_negative("base-out reserve", "prism dioptres", "9"),
    "vertical_prism": _not_negative("vertical reserve", "prism dioptres", "2.5"),
    "ocular_height_mm": _positive("height of the ocular above the gaze line", "mm", "10"),
    "clearance_mm": _not_negative("clearance", "mm", "1.5"),
    "pupil_height_mm": _positive("pupil height above the lower rim", "mm", "21"),
    "rim_mm": _not_negative("margin to the upper rim", "mm", "3"),
    "pantoscopic_deg": _signed_angle("pantoscopic tilt", 60.0, "degrees", "8"),
    "segment_height_mm": _finite("segment top above the gaze line", "mm", "-5"),
    "refractive_index": Domain("refractive index", "1 to 4", "1.5", lowest=1.0, highest=4.0, above=False),
    "surface_reflectance": Domain("reflectance of a surface", "0 to 1", "0.015", highest=1.0, above=False),
    "transmittance": Domain("transmittance", "more than 0 and at most 1", "0.94", highest=1.0),
    "luminance_cd_m2": _positive("luminance", "cd/m2", "100"),
    "adapting_field_deg": _angle("adapting field", 180.0, "60"),
    "age_years": Domain(
        "age",
        "20 to 83 years",
        "63",
        lowest=20.0,
        highest=83.0,
        above=False,
        reason="the pupil formula was fitted to these ages only, so measure the pupil",
    ),
    "vor_gain": _not_negative("gain of the vestibulo-ocular reflex", "", "1.5"),
    "head_speed_deg_s": _not_negative("head speed", "deg/s", "10"),
    "tolerated_slip_deg_s": _positive("tolerated retinal slip", "deg/s", "2"),
    "slip_exponent": Domain("exponent of the slip law", "0 to 3", "0.6", highest=3.0, above=False),
    "slip_deg_s": _not_negative("retinal slip", "deg/s", "2"),
    "add_d": _positive("add", "D", "6"),
    "half_eye_add_d": Domain(
        "add of binocular half-eyes",
        "more than 0 and at most 12 D",
        "6",
        highest=12.0,
        reason="beyond +12 D two eyes can no longer be made to meet",
    ),
    "magnifier_power_d": _positive("power of the magnifier", "D", "10"),
    "first_lens_d": _finite("power of the first lens", "D", "2.5"),
    "second_lens_d": _finite("power of the second lens", "D", "10"),
    "separation_mm": _not_negative("separation of the lenses", "mm", "50"),
    "lens_diameter_mm": _positive("lens diameter", "mm", "50"),
    "eye_to_lens_mm": _positive("distance from eye to lens", "mm", "250"),
    "eye_to_image_mm": _positive("distance from eye to image", "mm", "400"),
    "image_distance_mm": _not_negative("distance of the image behind the lens", "mm", "180"),
    "enlargement_ratio": _positive("enlargement ratio", "", "5"),
    "screen_width_mm": _positive("screen width", "mm", "300"),
}
