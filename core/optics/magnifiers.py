"""The near alternatives to a telescope with cap, all on the basis of the equivalent viewing distance (EVD).

One unit of print subtends at the eye what it would subtend at the EVD without any device. The smaller EVD wins
resolution, the longer working distance wins posture, the more characters win speed. Lengths in mm, powers in
dioptres. Geometric limits: aberration and page size limit a high add first.
"""

from __future__ import annotations

from typing import NamedTuple

from ..errors import DomainRefusal
from ..formula import formula
from ._domain import CAP_LEAST_D, CAP_MOST_D, LARGEST, M_LEAST, M_MOST, SMALLEST, Domain
from .field import CHARACTER_PITCH_MM, characters_in_field, linear_field_mm, real_field_deg

# A print held at the focus as typed (1000/F rounded) must not count as beyond it.
FOCUS_SLACK = 1e-9


class NearDevice(NamedTuple):
    """One near device on the common basis; ``working_distance_mm`` runs from the device's front to the page."""

    device: str
    evd_mm: float
    working_distance_mm: float
    field_mm: float
    characters: float
    hands_free: bool

    @property
    def evp_d(self) -> float:
        """Equivalent viewing power, dioptres."""
        return 1000.0 / self.evd_mm


@formula("1000 / F", unit="mm", source="", kind="derived", domain="F more than 0 D; page at the focus")
def spectacle_add_evd_mm(add_d: float) -> float:
    """EVD of a high spectacle add close to the eye, mm: it is the working distance itself."""
    if not SMALLEST < add_d < LARGEST:
        Domain.refuse(add_d=add_d)
    return 1000.0 / add_d


@formula(
    "w + z (1 − F w)",
    unit="mm",
    source="",
    kind="derived",
    domain="F, w, z more than 0; w ≤ 1/F",
)
def hand_magnifier_evd_mm(lens_power_d: float, object_distance_mm: float, eye_to_lens_mm: float) -> float:
    """EVD of a lens held w mm from the page and z mm from the eye, mm; at its focus 1000/F at any z.

    Refuses a lens held farther from the page than its focal length.
    """
    if not (
        SMALLEST < lens_power_d < LARGEST
        and SMALLEST < object_distance_mm < LARGEST
        and SMALLEST < eye_to_lens_mm < LARGEST
    ):
        Domain.refuse(
            magnifier_power_d=lens_power_d,
            page_distance_mm=object_distance_mm,
            eye_to_lens_mm=eye_to_lens_mm,
        )
    short_of_focus = 1.0 - 0.001 * lens_power_d * object_distance_mm
    if short_of_focus < -FOCUS_SLACK:
        raise DomainRefusal(
            "distance from page to magnifier",
            object_distance_mm,
            f"at most the focal length, {1000.0 / lens_power_d:g} mm",
            example=f"{1000.0 / lens_power_d:g}",
            reason="beyond its focus the lens makes a blurred, inverting view",
        )
    return object_distance_mm + eye_to_lens_mm * short_of_focus


@formula(
    "D f / z",
    unit="mm",
    source="",
    kind="derived",
    domain="D, F, z more than 0; page at the focus; half criterion",
)
def hand_magnifier_field_mm(lens_diameter_mm: float, lens_power_d: float, eye_to_lens_mm: float) -> float:
    """Width of the page seen through a lens with the page at its focus, mm."""
    if not (
        SMALLEST < lens_diameter_mm < LARGEST
        and SMALLEST < lens_power_d < LARGEST
        and SMALLEST < eye_to_lens_mm < LARGEST
    ):
        Domain.refuse(
            lens_diameter_mm=lens_diameter_mm, magnifier_power_d=lens_power_d, eye_to_lens_mm=eye_to_lens_mm
        )
    return lens_diameter_mm * 1000.0 / (lens_power_d * eye_to_lens_mm)


@formula(
    "D EVD / z, EVD = w + z (1 − F w)",
    unit="mm",
    source="",
    kind="derived",
    domain="D, F, w, z more than 0; w ≤ 1/F; half criterion",
)
def hand_magnifier_field_at_mm(
    lens_diameter_mm: float, lens_power_d: float, object_distance_mm: float, eye_to_lens_mm: float
) -> float:
    """Width of the page seen through a lens held w mm from it, at or inside the focus, mm."""
    if not SMALLEST < lens_diameter_mm < LARGEST:
        Domain.refuse(lens_diameter_mm=lens_diameter_mm)
    evd_mm = hand_magnifier_evd_mm(lens_power_d, object_distance_mm, eye_to_lens_mm)
    return lens_diameter_mm * evd_mm / eye_to_lens_mm


@formula(
    "F1 + F2 − x F1 F2 (x in m)",
    unit="D",
    source="SCHWARTZ-11",
    kind="published",
    domain="finite F1, F2; x ≥ 0",
)
def combined_power_d(first_lens_d: float, second_lens_d: float, separation_mm: float) -> float:
    """Equivalent power of two lenses some mm apart, such as an add and a magnifier, dioptres."""
    if not (
        -LARGEST < first_lens_d < LARGEST
        and -LARGEST < second_lens_d < LARGEST
        and 0.0 <= separation_mm < LARGEST
    ):
        Domain.refuse(first_lens_d=first_lens_d, second_lens_d=second_lens_d, separation_mm=separation_mm)
    return first_lens_d + second_lens_d - 0.001 * separation_mm * first_lens_d * second_lens_d


@formula(
    "1000/add − image distance",
    unit="mm",
    source="",
    kind="derived",
    domain="add more than 0 D; image distance from 0 up to 1000/add",
)
def stand_eye_distance_mm(add_d: float, image_distance_mm: float) -> float:
    """Distance from eye to stand magnifier with which an add focuses its image, mm.

    The image lies ``image_distance_mm`` behind the lens. Refuses an add too strong to reach it.
    """
    if not (SMALLEST < add_d < LARGEST and 0.0 <= image_distance_mm < LARGEST):
        Domain.refuse(add_d=add_d, image_distance_mm=image_distance_mm)
    distance_mm = 1000.0 / add_d - image_distance_mm
    if distance_mm < 0.0:
        raise DomainRefusal(
            "add",
            add_d,
            f"at most {1000.0 / image_distance_mm:.2f} D for an image {image_distance_mm:g} mm behind the lens",
            example="3",
            reason="this add focuses nearer than the image of the stand magnifier, even with the eye at the lens",
        )
    return distance_mm


@formula("(eye to image) / ER", unit="mm", source="BAILEY04", kind="derived", domain="both more than 0")
def stand_evd_mm(eye_to_image_mm: float, enlargement_ratio: float) -> float:
    """EVD of a stand magnifier from eye-to-image distance and enlargement ratio, mm; marked powers are unusable.

    The same holds for the picture on a screen.
    """
    if not (SMALLEST < eye_to_image_mm < LARGEST and SMALLEST < enlargement_ratio < LARGEST):
        Domain.refuse(eye_to_image_mm=eye_to_image_mm, enlargement_ratio=enlargement_ratio)
    return eye_to_image_mm / enlargement_ratio


@formula(
    "D (z + image distance) / (z ER)",
    unit="mm",
    source="",
    kind="derived",
    domain="D, z, ER more than 0; image distance ≥ 0; half criterion",
)
def stand_field_mm(
    lens_diameter_mm: float, eye_to_lens_mm: float, image_distance_mm: float, enlargement_ratio: float
) -> float:
    """Width of the page seen through a stand magnifier, mm: the lens cuts the image, which is ER times the page."""
    if not (
        SMALLEST < lens_diameter_mm < LARGEST
        and SMALLEST < eye_to_lens_mm < LARGEST
        and 0.0 <= image_distance_mm < LARGEST
        and SMALLEST < enlargement_ratio < LARGEST
    ):
        Domain.refuse(
            lens_diameter_mm=lens_diameter_mm,
            eye_to_lens_mm=eye_to_lens_mm,
            image_distance_mm=image_distance_mm,
            enlargement_ratio=enlargement_ratio,
        )
    seen_mm = lens_diameter_mm * (eye_to_lens_mm + image_distance_mm) / eye_to_lens_mm
    return seen_mm / enlargement_ratio


@formula("screen width / ER", unit="mm", source="", kind="derived", domain="both more than 0")
def display_field_mm(screen_width_mm: float, enlargement_ratio: float) -> float:
    """Width of the page that fills the screen, mm."""
    if not (SMALLEST < screen_width_mm < LARGEST and SMALLEST < enlargement_ratio < LARGEST):
        Domain.refuse(screen_width_mm=screen_width_mm, enlargement_ratio=enlargement_ratio)
    return screen_width_mm / enlargement_ratio


@formula("EVD = WD = 1000/F; field D f/z", unit="mm", source="", kind="derived", domain="F, D, z more than 0")
def compare_add(
    add_d: float,
    lens_diameter_mm: float,
    eye_to_lens_mm: float,
    character_pitch_mm: float = CHARACTER_PITCH_MM,
) -> NearDevice:
    """A high spectacle add on the common basis; hands free, with the shortest working distance."""
    evd = spectacle_add_evd_mm(add_d)
    field = hand_magnifier_field_mm(lens_diameter_mm, add_d, eye_to_lens_mm)
    return NearDevice("spectacle add", evd, evd, field, characters_in_field(field, character_pitch_mm), True)


@formula(
    "EVD = w + z (1 − F w); field D EVD/z",
    unit="mm",
    source="",
    kind="derived",
    domain="F, D, w, z more than 0; w ≤ 1/F",
)
def compare_hand_magnifier(
    lens_power_d: float,
    lens_diameter_mm: float,
    eye_to_lens_mm: float,
    object_distance_mm: float | None = None,
    character_pitch_mm: float = CHARACTER_PITCH_MM,
) -> NearDevice:
    """A hand magnifier on the common basis, with the page at its focus unless its distance in mm is given."""
    if object_distance_mm is None:
        if not SMALLEST < lens_power_d < LARGEST:
            Domain.refuse(magnifier_power_d=lens_power_d)
        object_distance_mm = 1000.0 / lens_power_d
    evd = hand_magnifier_evd_mm(lens_power_d, object_distance_mm, eye_to_lens_mm)
    field = hand_magnifier_field_at_mm(lens_diameter_mm, lens_power_d, object_distance_mm, eye_to_lens_mm)
    characters = characters_in_field(field, character_pitch_mm)
    return NearDevice("hand magnifier", evd, object_distance_mm, field, characters, False)


@formula(
    "EVD = (z + image distance)/ER; field D (z + image distance)/(z ER)",
    unit="mm",
    source="",
    kind="derived",
    domain="D, z, ER more than 0; image distance ≥ 0",
)
def compare_stand_magnifier(
    enlargement_ratio: float,
    lens_diameter_mm: float,
    eye_to_lens_mm: float,
    image_distance_mm: float,
    lens_height_mm: float,
    character_pitch_mm: float = CHARACTER_PITCH_MM,
) -> NearDevice:
    """A stand magnifier on the common basis; its lens stands ``lens_height_mm`` over the page and a hand moves it."""
    field = stand_field_mm(lens_diameter_mm, eye_to_lens_mm, image_distance_mm, enlargement_ratio)
    if not SMALLEST < lens_height_mm < LARGEST:
        Domain.refuse(page_distance_mm=lens_height_mm)
    evd = stand_evd_mm(eye_to_lens_mm + image_distance_mm, enlargement_ratio)
    characters = characters_in_field(field, character_pitch_mm)
    return NearDevice("stand magnifier", evd, lens_height_mm, field, characters, False)


@formula(
    "EVD = (viewing distance)/ER; field = (screen width)/ER",
    unit="mm",
    source="BAILEY04",
    kind="derived",
    domain="all more than 0",
)
def compare_display(
    viewing_distance_mm: float,
    enlargement_ratio: float,
    screen_width_mm: float,
    character_pitch_mm: float = CHARACTER_PITCH_MM,
) -> NearDevice:
    """An electronic display on the common basis; the working distance is that from eye to screen."""
    evd = stand_evd_mm(viewing_distance_mm, enlargement_ratio)
    field = display_field_mm(screen_width_mm, enlargement_ratio)
    characters = characters_in_field(field, character_pitch_mm)
    return NearDevice("electronic display", evd, viewing_distance_mm, field, characters, True)


@formula(
    "EVD = 1000/(M Fcap); WD = 1000/Fcap; field 2 WD tan(real/2)",
    unit="mm",
    source="SMITH-298",
    kind="derived",
    domain="M ≥ 1.05 (Galilean); Fcap more than 0; page at the cap focus; half criterion",
)
def compare_telescope_with_cap(
    magnification: float,
    tube_length_mm: float,
    objective_diameter_mm: float,
    eye_distance_mm: float,
    cap_power_d: float,
    character_pitch_mm: float = CHARACTER_PITCH_MM,
) -> NearDevice:
    """A Galilean telescope with reading cap on the common basis: the longest working distance for its EVD."""
    if not (M_LEAST <= magnification <= M_MOST and CAP_LEAST_D <= cap_power_d <= CAP_MOST_D):
        Domain.refuse(galilean_magnification=magnification, cap_power_d=cap_power_d)
    distance_mm = 1000.0 / cap_power_d
    real = real_field_deg(magnification, tube_length_mm, objective_diameter_mm, eye_distance_mm)
    field = linear_field_mm(distance_mm, real)
    characters = characters_in_field(field, character_pitch_mm)
    return NearDevice("telescope with cap", distance_mm / magnification, distance_mm, field, characters, True)
