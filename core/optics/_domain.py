"""Where every quantity of the optics may lie, stated once, and the sentences of refusal outside it.

The limits are wider than what a clinic meets: they keep every result finite and every sentence true. What is usual,
and what must be confirmed, is decided where values are entered. The guards stand inline in the formulas, because
they run thousands of times for one plan, and test with the names of this file (a comparison with "not a number" is
false, so it is refused as well); only when one of them fails is :meth:`Domain.refuse` called to find the culprit
and say it. Formulas that run seldom leave the test to :func:`check`.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf
from typing import NoReturn

from ..errors import DomainRefusal

# The tube. Weaker than this its lens powers and pupils depend on rounding; telescopes start near 1.2x.
M_LEAST = 1.05
M_MOST = 100.0
T_LEAST_MM = 0.5
T_MOST_MM = 1000.0
OBJECTIVE_LEAST_D = 0.05
OBJECTIVE_MOST_D = 3900.0
# Enough for the ocular of the shortest and strongest tube accepted; a real small ocular has a few hundred dioptres.
POWER_MOST_D = 250_000.0
DIAMETER_LEAST_MM = 0.1
DIAMETER_MOST_MM = 500.0
CAP_LEAST_D = 0.05
CAP_MOST_D = 60.0
INDEX_MOST = 4.0
# The eye.
EYE_DISTANCE_MOST_MM = 1000.0
VERTEX_MOST_MM = 60.0
PUPIL_LEAST_MM = 0.5
PUPIL_MOST_MM = 12.0
PUPIL_AGE_LEAST_YEARS = 20.0
PUPIL_AGE_MOST_YEARS = 83.0
ADAPTING_FIELD_MOST_DEG = 180.0
AMETROPIA_MOST_D = 100.0
TOLERANCE_MOST_D = 10.0
ACCOMMODATION_MOST_D = 30.0
SWING_LEAST_D = 0.01
SWING_MOST_D = 60.0
MAR_LEAST_ARCMIN = 0.1
MAR_MOST_ARCMIN = 1000.0
BLUR_CONSTANT_LEAST = 0.1
BLUR_CONSTANT_MOST = 3.0
# The object and its light.
DISTANCE_LEAST_MM = 1.0
DISTANCE_MOST_MM = 1e7
VERGENCE_MOST_D = 1000.0
EXIT_VERGENCE_MOST_D = 1e9
# Angles. A field over 170 degrees has tangents that say nothing; a tilt over 45 degrees is no misalignment.
FIELD_MOST_DEG = 170.0
SEPARATION_MOST_DEG = 60.0
TUBE_TILT_MOST_DEG = 60.0
ANGLE_MOST_ARCMIN = 2700.0
PRISM_MOST = 100.0
# Below this share of its value for a distant object the denominator of a vergence formula counts as a pole.
POLE_MARGIN = 0.05
# An object imaged onto the pupil of the eye (|B| under 1 mm) has no direction at the eye.
EVD_LEAST_MM = 1.0
# Quantities without a limit of their own lie between these when positive and within the larger when signed: far
# beyond anything that occurs, and yet no product or quotient of them leaves the numbers a computer holds.
SMALLEST = 1e-9
LARGEST = 1e12


@dataclass(frozen=True, slots=True)
class Domain:
    """Where a quantity may lie: from ``lowest`` (itself accepted unless ``above``) to ``highest``.

    ``signless`` says that the size is limited, whatever the sign.
    """

    words: str
    accepted: str
    example: str
    lowest: float = 0.0
    highest: float = inf
    above: bool = False
    reason: str = ""
    signless: bool = False

    def spans(self, value: float) -> bool:
        """True when the value lies between the two ends; NaN never does."""
        size = abs(value) if self.signless else value
        return (size > self.lowest if self.above else size >= self.lowest) and size <= self.highest

    def holds(self, value: float | None) -> bool:
        """True when the value may be computed with; None, NaN and infinity never may."""
        if value is None or not -LARGEST < value < LARGEST or (self.above and 0.0 < value <= SMALLEST):
            return False
        return self.spans(value)

    @staticmethod
    def refuse(**given: float | None) -> NoReturn:
        """Raise the refusal of the first of these quantities that lies outside its domain."""
        check(**given)
        raise AssertionError(f"a guard failed although every quantity lies in its domain: {given}")


def check(**given: float | None) -> None:
    """Refuse the first of these quantities that lies outside its domain, if any does."""
    for name, value in given.items():
        domain = DOMAINS[name]
        if not domain.holds(value):
            # A number that the words would accept is refused only for being out of all proportion.
            absurd = value is not None and domain.spans(value)
            accepted = "a size that can occur" if absurd else domain.accepted
            raise DomainRefusal(domain.words, value, accepted, example=domain.example, reason=domain.reason)


def check_eye(tolerance_d: float, accommodation_d: float, ametropia_at_ocular_d: float) -> None:
    """Refuse a tolerated defocus, accommodation or ametropia that no eye has."""
    if not (
        0.0 <= tolerance_d <= TOLERANCE_MOST_D
        and 0.0 <= accommodation_d <= ACCOMMODATION_MOST_D
        and -AMETROPIA_MOST_D <= ametropia_at_ocular_d <= AMETROPIA_MOST_D
    ):
        Domain.refuse(
            tolerance_d=tolerance_d,
            accommodation_d=accommodation_d,
            ametropia_at_ocular_d=ametropia_at_ocular_d,
        )


def distance_words(object_vergence_d: float) -> str:
    """The distance of a real object in words, with the vergence of its light."""
    return f"{-1000.0 / object_vergence_d:.4g} mm ({object_vergence_d:.4g} D)"


def refused_near_limit(
    magnification: float, tube_length_mm: float, object_vergence_d: float
) -> DomainRefusal:
    """The refusal of light that this tube, unfocused, cannot pass on: object too near, or light too convergent."""
    if object_vergence_d < 0.0:
        nearest = -tube_length_mm * magnification / (1.0 - POLE_MARGIN)
        return DomainRefusal(
            "object distance",
            distance_words(object_vergence_d),
            f"objects farther than {nearest:.4g} mm from the objective",
            reason="object inside the near limit of this tube: refocus it or add a cap",
        )
    return DomainRefusal(
        "object vergence",
        object_vergence_d,
        f"less than {1000.0 * (1.0 - POLE_MARGIN) / (tube_length_mm * magnification):.4g} D",
        reason="the light comes to a focus before it leaves this tube: use a weaker lens in front",
    )


def refused_evd(evd_mm: float) -> DomainRefusal:
    """The refusal of an object that is imaged onto the pupil of the eye."""
    return DomainRefusal(
        "equivalent viewing distance",
        evd_mm,
        f"at least {EVD_LEAST_MM:g} mm",
        reason="the object is imaged onto the pupil of the eye: move the object or the eye",
    )


def _range(
    words: str,
    lowest: float,
    highest: float,
    unit: str,
    example: str,
    reason: str = "",
    signless: bool = False,
) -> Domain:
    sign = ", either sign" if signless else ""
    accepted = f"{lowest:.10g} to {highest:.10g} {unit}".rstrip() + sign
    return Domain(words, accepted, example, lowest, highest, reason=reason, signless=signless)


def _either_sign(words: str, most: float, unit: str, example: str) -> Domain:
    return _range(words, -most, most, unit, example)


def _up_to(words: str, highest: float, unit: str, example: str) -> Domain:
    accepted = f"more than 0 and at most {highest:.10g} {unit}".rstrip()
    return Domain(words, accepted, example, highest=highest, above=True)


def _positive(words: str, unit: str, example: str, reason: str = "") -> Domain:
    return Domain(words, f"more than 0 {unit}".rstrip(), example, above=True, reason=reason)


def _not_negative(words: str, unit: str, example: str) -> Domain:
    return Domain(words, f"0 {unit} or more".replace("  ", " "), example)


def _finite(words: str, unit: str, example: str) -> Domain:
    return Domain(words, f"a finite number of {unit}", example, lowest=-inf)


def _diameter(words: str, example: str) -> Domain:
    return _range(words, DIAMETER_LEAST_MM, DIAMETER_MOST_MM, "mm", example)


def _print_size(words: str) -> Domain:
    return _range(words, 0.05, 50.0, "M", "1.6")


_KEPLERIAN_FIELD = (
    "below 0 the tube is a Keplerian, whose field is set by its field stop and exit pupil; "
    f"below {M_LEAST:g} it is no telescope"
)

DOMAINS: dict[str, Domain] = {
    # The tube
    "magnification": Domain(
        "magnification",
        f"{M_LEAST:g} to {M_MOST:g}, with a minus sign for a Keplerian tube",
        "2.5 or -4",
        M_LEAST,
        M_MOST,
        reason="so close to 1x or so far from any telescope a tube has no usable pupils and lens powers",
        signless=True,
    ),
    "galilean_magnification": _range(
        "magnification of a Galilean tube", M_LEAST, M_MOST, "", "2", _KEPLERIAN_FIELD
    ),
    "keplerian_magnification": _range(
        "magnification of a Keplerian tube",
        -M_MOST,
        -M_LEAST,
        "",
        "-4",
        "the minus sign says that the tube inverts, with or without erecting prism",
    ),
    "tube_length_mm": _range(
        "tube length", T_LEAST_MM, T_MOST_MM, "mm", "28", "the lenses of a telescope stand apart"
    ),
    "tube_length_or_0_mm": _range("tube length", 0.0, T_MOST_MM, "mm", "24"),
    "gap_mm": _range("gap between objective and ocular", 0.0, T_MOST_MM, "mm", "24"),
    "objective_power_d": _range("objective power", OBJECTIVE_LEAST_D, OBJECTIVE_MOST_D, "D", "20"),
    "ocular_power_d": _either_sign("ocular power", POWER_MOST_D, "D", "-40"),
    "objective_focal_length_mm": _positive("focal length of the objective", "mm", "64"),
    "ocular_focal_length_mm": _range("ocular focal length", 1.0, T_MOST_MM, "mm", "25", signless=True),
    "objective_focal_length": _positive("focal length of the objective", "", "64"),
    "ocular_focal_length": _positive("focal length of the ocular", "", "16"),
    "objective_diameter_mm": _diameter("objective diameter", "25"),
    "ocular_diameter_mm": _diameter("ocular diameter", "12"),
    "exit_pupil_diameter_mm": _diameter("exit pupil diameter", "4"),
    "objective_diameter": _positive("objective diameter", "", "16"),
    "ocular_diameter": _positive("ocular diameter", "", "12"),
    "exit_pupil_depth_mm": _up_to("exit pupil depth", DIAMETER_MOST_MM, "mm", "12"),
    "field_stop_mm": _positive("field stop", "mm", "9"),
    "eye_relief_mm": _positive("eye relief", "mm", "20"),
    "cap_power_d": _range("cap power", CAP_LEAST_D, CAP_MOST_D, "D", "4"),
    "lens_in_front_d": _either_sign("cap power", CAP_MOST_D, "D", "4"),
    "trial_lens_d": _either_sign("trial lens", AMETROPIA_MOST_D, "D", "1"),
    "trial_lens_read_d": _range("trial lens", 0.12, AMETROPIA_MOST_D, "D", "1", signless=True),
    "back_vertex_power_d": _either_sign("back vertex power", 1000.0, "D", "4.25"),
    "size_ratio": _range("ratio of the two image sizes", 1.0, M_MOST, "x", "2"),
    "tolerance_percent": _range("tolerance of the marked power", 0.0, 100.0, "%", "5"),
    "change_d": _either_sign("change of focus", AMETROPIA_MOST_D, "D", "1"),
    # Lenses and surfaces
    "power_d": _either_sign("lens power", POWER_MOST_D, "D", "20"),
    "lens_power_d": _range("lens power", CAP_LEAST_D, CAP_MOST_D, "D", "5"),
    "prism_lens_d": _finite("lens power", "D", "4"),
    "first_lens_d": _finite("power of the first lens", "D", "2.5"),
    "second_lens_d": _finite("power of the second lens", "D", "10"),
    "separation_mm": _not_negative("separation of the lenses", "mm", "50"),
    "distance_mm": _range("distance along the axis", 0.0, DISTANCE_MOST_MM, "mm", "28"),
    "refractive_index": _range("refractive index", 1.0, INDEX_MOST, "", "1.523"),
    "radius_mm": Domain(
        "radius of curvature",
        "0.5 mm or more, minus when the centre lies in front",
        "60",
        0.5,
        DISTANCE_MOST_MM,
        signless=True,
    ),
    "surface_reflectance": _range("reflectance of a surface", 0.0, 1.0, "", "0.015"),
    "transmittance": _up_to("transmittance", 1.0, "", "0.94"),
    # The eye and where it stands
    "eye_distance_mm": _range(
        "eye distance",
        0.0,
        EYE_DISTANCE_MOST_MM,
        "mm",
        "15",
        "it runs from the ocular to the entrance pupil of the eye",
    ),
    "window_distance_mm": _up_to("eye distance", EYE_DISTANCE_MOST_MM, "mm", "15"),
    "eye_offset_mm": _finite("distance of the eye from the exit pupil", "mm", "-3"),
    "ocular_to_cornea_mm": _range("ocular to cornea", 0.0, VERTEX_MOST_MM, "mm", "14"),
    "vertex_mm": _range("vertex distance", 0.0, VERTEX_MOST_MM, "mm", "12"),
    "pupil_depth_mm": _positive("entrance pupil behind the cornea", "mm", "3"),
    "rotation_depth_mm": _positive("centre of rotation behind the cornea", "mm", "13.5"),
    "rotation_distance_mm": _positive("distance to the centre of rotation of the eye", "mm", "27"),
    "pupil_mm": _range(
        "pupil of the eye", PUPIL_LEAST_MM, PUPIL_MOST_MM, "mm", "3", "the full and total fields depend on it"
    ),
    "interpupillary_mm": _positive("interpupillary distance", "mm", "62"),
    "right_interpupillary_mm": _positive("right monocular interpupillary distance", "mm", "31.5"),
    "left_interpupillary_mm": _positive("left monocular interpupillary distance", "mm", "30.5"),
    "spectacle_power_d": _either_sign("spectacle power", AMETROPIA_MOST_D, "D", "-6"),
    "refraction_at_cornea_d": _either_sign("refraction at the cornea", AMETROPIA_MOST_D, "D", "-6"),
    "ametropia_at_ocular_d": _either_sign("ametropia at the ocular", AMETROPIA_MOST_D, "D", "-3"),
    "over_refraction_d": _either_sign("over-refraction", AMETROPIA_MOST_D, "D", "0.5"),
    "residual_sphere_d": _either_sign("residual sphere", AMETROPIA_MOST_D, "D", "-0.5"),
    "residual_cylinder_d": _either_sign("residual cylinder", AMETROPIA_MOST_D, "D", "-1.5"),
    "defocus_d": _either_sign("defocus", AMETROPIA_MOST_D, "D", "0.5"),
    "tolerance_d": _range("tolerated defocus", 0.0, TOLERANCE_MOST_D, "D", "0.5"),
    "accommodation_d": _range("accommodation", 0.0, ACCOMMODATION_MOST_D, "D", "2"),
    "swing_d": _range("swing of focus", SWING_LEAST_D, SWING_MOST_D, "D", "1.5"),
    "mar_arcmin": _range(
        "minimum angle of resolution", MAR_LEAST_ARCMIN, MAR_MOST_ARCMIN, "arcmin", "4 for 20/80"
    ),
    "blur_constant": _range(
        "blur constant", BLUR_CONSTANT_LEAST, BLUR_CONSTANT_MOST, "arcmin per mm D", "0.65"
    ),
    "loss_logmar": _range("accepted loss", 0.01, 1.0, "logMAR", "0.1"),
    "blur_limit_mm": _range("blur limit on the retina", 0.001, 1.0, "mm", "0.012"),
    "eye_power_d": _range("power of the eye", 30.0, 90.0, "D", "60"),
    "spatial_frequency_cpd": _range(
        "spatial frequency",
        0.1,
        10.0,
        "cycles per degree",
        "3",
        "the formula does not hold for finer detail",
    ),
    "age_years": _range("age", 0.0, 120.0, "years", "63"),
    "pupil_formula_age_years": _range(
        "age",
        PUPIL_AGE_LEAST_YEARS,
        PUPIL_AGE_MOST_YEARS,
        "years",
        "63",
        "the pupil formula was fitted to these ages only, so measure the pupil",
    ),
    "sustained_fraction": _range("sustained fraction", 0.0, 1.0, "", "0.5"),
    "none_from_years": _range("age without accommodation", 0.0, 120.0, "years", "55"),
    "luminance_cd_m2": _positive("luminance", "cd/m2", "100"),
    "adapting_field_deg": _up_to("adapting field", ADAPTING_FIELD_MOST_DEG, "degrees", "60"),
    # The object, its light and what is seen of it
    "object_distance_mm": _range(
        "object distance",
        DISTANCE_LEAST_MM,
        DISTANCE_MOST_MM,
        "mm",
        "400",
        "the object lies in front of the device",
    ),
    "target_distance_mm": _positive("target distance", "mm", "400", "the target lies in front of the device"),
    "working_distance_mm": _up_to("working distance", DISTANCE_MOST_MM, "mm", "250"),
    "short_distance_mm": _range("short working distance", 0.0, 1000.0, "mm", "100"),
    "test_distance_mm": _range("test distance", 20.0, 10_000.0, "mm", "400"),
    "reference_distance_mm": _range("reference distance", 50.0, 10_000.0, "mm", "250"),
    "reading_distance_mm": _range("reading distance", 50.0, 10_000.0, "mm", "400"),
    "equivalent_power_d": _range("equivalent power", CAP_LEAST_D, CAP_MOST_D * M_MOST, "D", "10"),
    "object_vergence_d": _either_sign(
        "object vergence", VERGENCE_MOST_D, "D", "-0.5 for an object at 2 m, 0 for a distant one"
    ),
    "exit_vergence_d": _either_sign("exit vergence", EXIT_VERGENCE_MOST_D, "D", "-2"),
    "threshold_m_units": _print_size("threshold print"),
    "goal_m_units": _print_size("goal print"),
    "acuity_reserve": _range("acuity reserve", 0.5, 10.0, "", "2"),
    "width_mm": _not_negative("width", "mm", "40"),
    "character_pitch_mm": _positive("character pitch", "mm", "1.5"),
    "real_field_deg": _up_to("real field", FIELD_MOST_DEG, "degrees", "13"),
    "apparent_field_deg": _up_to("apparent field", FIELD_MOST_DEG, "degrees", "26"),
    "measured_field_deg": _up_to("measured field", FIELD_MOST_DEG, "degrees", "13"),
    "monocular_field_deg": _up_to("monocular field", FIELD_MOST_DEG, "degrees", "13"),
    # Two tubes
    "centre_separation_deg": _range(
        "separation of the two field centres", 0.0, SEPARATION_MOST_DEG, "degrees", "3"
    ),
    "decentration_mm": _not_negative("decentration", "mm", "2"),
    "signed_decentration_mm": _finite("decentration", "mm", "2"),
    "tilt_arcmin": _either_sign("tilt", ANGLE_MOST_ARCMIN, "minutes of arc", "10"),
    "deviation_arcmin": _either_sign("deviation", ANGLE_MOST_ARCMIN, "minutes of arc", "15"),
    "angle_arcmin": _either_sign("angle", ANGLE_MOST_ARCMIN, "minutes of arc", "15"),
    "eye_side_arcmin": _not_negative("tolerance at the eye", "minutes of arc", "15"),
    "prism": _either_sign("prism", PRISM_MOST, "prism dioptres", "0.5"),
    "tolerance_prism": _not_negative("tolerated prism", "prism dioptres", "0.33"),
    "demand_prism": _not_negative("demand", "prism dioptres", "4"),
    "reserve_prism": _not_negative("fusional reserve", "prism dioptres", "9"),
    "base_in_prism": _not_negative("base-in reserve", "prism dioptres", "7"),
    "base_out_prism": _not_negative("base-out reserve", "prism dioptres", "9"),
    "vertical_prism": _not_negative("vertical reserve", "prism dioptres", "2.5"),
    # The mounting
    "housing_radius_mm": _positive("housing radius", "mm", "9"),
    "tube_tilt_deg": _either_sign("tube tilt", TUBE_TILT_MOST_DEG, "degrees", "12"),
    "pantoscopic_deg": _either_sign("pantoscopic tilt", TUBE_TILT_MOST_DEG, "degrees", "8"),
    "ocular_height_mm": _positive("height of the ocular above the gaze line", "mm", "10"),
    "clearance_mm": _not_negative("clearance", "mm", "1.5"),
    "pupil_height_mm": _positive("pupil height above the lower rim", "mm", "21"),
    "rim_mm": _not_negative("margin to the upper rim", "mm", "3"),
    "segment_height_mm": _finite("segment top above the gaze line", "mm", "-5"),
    # Motion
    "vor_gain": _not_negative("gain of the vestibulo-ocular reflex", "", "1.5"),
    "head_speed_deg_s": _not_negative("head speed", "deg/s", "10"),
    "tolerated_slip_deg_s": _positive("tolerated retinal slip", "deg/s", "2"),
    "slip_exponent": _range("exponent of the slip law", 0.0, 3.0, "", "0.6"),
    "slip_deg_s": _not_negative("retinal slip", "deg/s", "2"),
    # Magnifiers and displays
    "add_d": _positive("add", "D", "6"),
    "half_eye_add_d": Domain(
        "add of binocular half-eyes",
        "more than 0 and at most 12 D",
        "6",
        highest=12.0,
        above=True,
        reason="beyond +12 D two eyes can no longer be made to meet",
    ),
    "magnifier_power_d": _positive("power of the magnifier", "D", "10"),
    "lens_diameter_mm": _positive("lens diameter", "mm", "50"),
    "page_distance_mm": _positive("distance from page to magnifier", "mm", "100"),
    "eye_to_lens_mm": _positive("distance from eye to lens", "mm", "250"),
    "eye_to_image_mm": _positive("distance from eye to image", "mm", "400"),
    "image_distance_mm": _not_negative("distance of the image behind the lens", "mm", "180"),
    "enlargement_ratio": _positive("enlargement ratio", "", "5"),
    "screen_width_mm": _positive("screen width", "mm", "300"),
}
