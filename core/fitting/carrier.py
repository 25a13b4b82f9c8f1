"""The carrier lenses that belong to a chosen device: which power before each eye, in the plane where it is worn.

The order, the check of what was delivered and the exchange file all read it here, so that they cannot disagree. The
refraction is carried from the vertex distance at which it was found to another by both principal meridians, exactly.
"""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass
from math import radians, tan

from ..configuration import Configuration
from ..errors import Refusal
from ..optics.ametropia import ametropia_at_ocular_d, refraction_at_cornea_d
from ..person import Person
from ..plan.context import CYLINDER_WORTH_CORRECTING_D, SPHERE_WORTH_CORRECTING_D
from ..plan.types import EyeNumbers
from ..refraction import Refraction
from .types import Side

# Half of the quarter dioptre in which lenses are written (common practice): a smaller change leaves the lens as found.
LEAST_CHANGE_D = 0.125
STEP_D = 0.25
# Usual vertex distances lie within 8 mm, where 3.75 D changes by 0.12 D and 4 D by 0.13: from there it must be known.
STRONG_LENS_D = 4.0


# Lens forms that hold an add, and those of them whose near part has an edge that is measured; the others are for far.
FORMS_WITH_ADD = ("bifocal", "trifocal", "progressive")
FORMS_WITH_SEGMENT = ("bifocal", "trifocal")


# Common practice, as where a bifocal stays under a bioptic.
SEGMENT_BELOW_GAZE_MM = 5.0


@dataclass(frozen=True, slots=True)
class CarrierLens:
    """One carrier lens. ``lens`` is what to make, in steps of 0.25 D where the vertex distance changed it.

    ``found`` is the refraction at ``found_at_mm`` (None where that was not measured); ``exact`` the lens at
    ``worn_at_mm``, unrounded. ``before_tube`` says that the tube of this eye is looked through it.
    """

    side: Side
    lens: Refraction
    found: Refraction
    exact: Refraction
    found_at_mm: float | None
    worn_at_mm: float
    before_tube: bool

    @property
    def changed(self) -> bool:
        """Another lens is made than was found, because of the vertex distance or because none was computed with."""
        return self.lens != self.found


def carrier_lenses(person: Person, choice: Configuration) -> tuple[CarrierLens, CarrierLens]:
    """The right and the left carrier lens of a device, as it was computed.

    Before a tube that is looked through the carrier and was computed without any correction stands a lens without
    power; whether that may be is for :func:`carrier_question` to ask.
    """
    right, left = (_lens(person, choice, side) for side in ("right", "left"))
    return right, left


def carrier_question(person: Person, choice: Configuration, side: str) -> str:
    """What must be settled before the carrier lens of an eye is ordered, in a sentence; "" when nothing must."""
    if side not in choice.eyes or choice.mount == "through the lens" or choice.correction == "carrier":
        return ""
    refraction = person.eye(side).refraction
    if not _needed(refraction):
        return ""
    own = "the person's own spectacles" if choice.mount == "clip-on" else "the carrier lens"
    return (
        f"The {side} eye needs {refraction}, but mounted {choice.mount} its tube is looked through {own} and was "
        "computed without any lens there: choose the correction in the carrier, or a mount through the lens."
    )


def lens_form(person: Person) -> str:
    """The form of the carrier lenses: the one to order, else the one worn so far, else for far; "" when it is open.

    It is open while an add is recorded but nothing says whether the lenses are to hold it.
    """
    if person.lens_form or person.lenses_worn in FORMS_WITH_ADD:
        return person.lens_form or person.lenses_worn
    return "" if person.add_d is not None and not person.lenses_worn else "single vision"


def carried_add_d(person: Person) -> float | None:
    """The add that the carrier lenses hold, dioptres; None for lenses for far."""
    return person.add_d if lens_form(person) in FORMS_WITH_ADD else None


def looks_through_near_part(person: Person, choice: Configuration, eye: EyeNumbers) -> bool:
    """The tube of an eye would be looked through the near part of the lens behind it, which was not computed with.

    A bioptic stands above it. Straight ahead the edge of the segment must lie below the part of the lens that the
    view through the tube takes up, and 5 mm below the gaze line at least; a progressive lens changes from the pupil on.
    """
    form = lens_behind(person, choice)
    if form not in FORMS_WITH_ADD or choice.position == "bioptic" or not looks_through_carrier(choice):
        return False
    if choice.position == "low" or form not in FORMS_WITH_SEGMENT or person.segment_height_mm is None:
        return True
    from_pupil = person.vertex_mm + eye.eye_distance_mm - eye.ocular_to_cornea_mm
    taken = from_pupil * tan(radians(eye.field.apparent_field_deg / 2)) + eye.pupil_mm / 2
    return person.segment_height_mm > person.eye(eye.side).pupil_height_mm - max(SEGMENT_BELOW_GAZE_MM, taken)


def lens_behind(person: Person, choice: Configuration) -> str:
    """The form of the lenses that the device is worn with: those to order, or the person's own under a clip."""
    return person.lenses_worn if choice.mount == "clip-on" else lens_form(person)


def looks_through_carrier(choice: Configuration) -> bool:
    """The light from the tube passes the carrier lens (or the person's own spectacles) on its way to the eye."""
    return choice.mount != "through the lens" or choice.correction == "carrier"


def at_vertex(lens: Refraction, from_mm: float, to_mm: float) -> Refraction:
    """A refraction carried from one vertex distance (mm) to another: K = F/(1 - vF), F' = K/(1 + v'K) by meridian.

    The axis stays; nothing is rounded. Raises DomainRefusal for a lens that focuses before the cornea.
    """
    first, second = (
        ametropia_at_ocular_d(refraction_at_cornea_d(power, from_mm), to_mm)
        for power in (lens.sphere_d, lens.sphere_d + lens.cylinder_d)
    )
    return Refraction(first, second - first, lens.axis_deg)


def lens_at_ocular(person: Person, eye: EyeNumbers) -> Refraction:
    """The whole refraction of an eye, sphere and cylinder, carried to the ocular before it; nothing is rounded."""
    return at_vertex(person.eye(eye.side).refraction, person.refraction_vertex_mm, eye.ocular_to_cornea_mm)


def _needed(lens: Refraction) -> bool:
    """Whether a refraction is worth a lens, by the limits of the plan."""
    return (
        abs(lens.spherical_equivalent_d) >= SPHERE_WORTH_CORRECTING_D
        or abs(lens.cylinder_d) >= CYLINDER_WORTH_CORRECTING_D
    )


def _lens(person: Person, choice: Configuration, side: Side) -> CarrierLens:
    found = person.eye(side).refraction
    before_tube = side in choice.eyes and looks_through_carrier(choice)
    found_at = None if "test.refraction_vertex" in person.assumed else person.refraction_vertex_mm
    made = exact = found
    if carrier_question(person, choice, side):
        made = exact = Refraction(0.0)
    elif found_at is not None and "face.vertex_distance" not in person.assumed:
        # Where this fails the plan refuses the eye by name, and nothing is ordered for it.
        with suppress(Refusal):
            exact = at_vertex(found, found_at, person.vertex_mm)
            made = _made(found, exact)
    return CarrierLens(side, made, found, exact, found_at, person.vertex_mm, before_tube)


def _made(found: Refraction, exact: Refraction) -> Refraction:
    """The lens to make: as found unless a meridian changes by half a step or more, then each to the nearest step."""
    moved = max(
        abs(exact.sphere_d - found.sphere_d),
        abs(exact.sphere_d + exact.cylinder_d - found.sphere_d - found.cylinder_d),
    )
    if moved < LEAST_CHANGE_D:
        return found
    first, second = (
        round(power / STEP_D) * STEP_D for power in (exact.sphere_d, exact.sphere_d + exact.cylinder_d)
    )
    return Refraction(first, second - first, exact.axis_deg if second != first else 180)
