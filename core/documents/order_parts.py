"""The parts of an order: telescope, place of each tube, carrier, cap, face and frame, each a list of lines."""

from __future__ import annotations

from collections.abc import Iterator

from ..case import Case
from ..configuration import Configuration
from ..fitting.cap_centre import cap_centres, tube_centre_mm
from ..fitting.carrier import (
    FORMS_WITH_SEGMENT,
    CarrierLens,
    carried_add_d,
    carrier_lenses,
    lens_at_ocular,
    lens_form,
    looks_through_carrier,
)
from ..fitting.types import FittingSheet
from ..plan.types import EyeNumbers, Option, Plan
from ..refraction import Refraction
from ..settings import Settings
from .findings import Item
from .numbers import CORRECTION_WORDS, FOCUS_WORDS, eye_words, length, power_words
from .text import clean, number, signed

NOT_RECORDED = "not recorded: measure it before cutting"
# A cylinder that two decimals do not show is none.
LEAST_SHOWN_D = 0.005


def has_carrier(choice: Configuration) -> bool:
    """A clip-on goes over the person's own spectacles; every other mount has carrier lenses of its own."""
    return choice.mount != "clip-on"


def head(case: Case, settings: Settings) -> Iterator[Item]:
    """Who orders, and under which reference."""
    yield Item("Reference", f"{clean(case.code)}, {case.visit.on.isoformat()}")
    if settings.clinic:
        yield Item("Clinic", clean(settings.clinic))
    examiner = case.value("person.examiner")
    if examiner:
        yield Item("Ordered by", clean(examiner))


def telescope(option: Option) -> Iterator[Item]:
    """The device itself."""
    item, choice, device = option.telescope, option.configuration, option.device
    tubes = "two tubes" if choice.eye == "both" else "one tube"
    yield Item("Device", f"{power_words(item)}, {clean(item.description)}, stock id {clean(item.id)}")
    yield Item("For", f"{eye_words(choice.eye)}, {tubes}")
    yield Item("Picture", "upright" if item.type == "galilean" or item.erect else "upside down")
    yield Item("Objective, clear diameter", f"{number(item.objective_diameter_mm, 1)} mm")
    yield Item("Housing, outer diameter", f"{number(2 * item.housing_radius_mm, 1)} mm")
    behind = item.ocular_behind_carrier_mm
    if behind and choice.mount == "through the lens":
        side = "behind" if behind > 0 else "in front of"
        yield Item("Ocular", f"{number(abs(behind), 1)} mm {side} the back surface of the carrier")
    yield Item("Position and mount", f"{choice.position}, {choice.mount}")
    yield Item("Focus", FOCUS_WORDS[choice.focus].removeprefix("focused "))
    place = CORRECTION_WORDS[choice.correction].removeprefix("correction ")
    own = choice.mount == "clip-on" and choice.correction == "carrier"
    yield Item("Correction", "in the person's own spectacles, over which it clips" if own else place)
    lengths = {round(eye.tube_length_mm, 2) for eye in device.eyes}
    shown = ", ".join(f"{e.side} {number(e.tube_length_mm, 2)} mm" for e in device.eyes)
    yield Item(
        "Tube length (optical)",
        shown if len(lengths) > 1 else f"{number(device.leading.tube_length_mm, 2)} mm",
    )
    if option.filter is not None:
        tint = option.filter
        yield Item(
            "Filter", f"{clean(tint.description)}, stock id {clean(tint.id)}, passes {tint.transmittance:.0%}"
        )


def tube(option: Option, eye: EyeNumbers, plan: Plan, sheet: FittingSheet | None) -> Iterator[Item]:
    """Where one tube sits, by the same numbers as the fitting sheet."""
    choice, mount = option.configuration, option.device.mount
    person = plan.person.eye(eye.side)
    lateral = number(tube_centre_mm(plan.person, choice, eye.side), 1)
    spread = f" (PD {number(person.pd_mm, 1)} + {number(choice.spread_mm, 1)} outward)"
    yield Item("Centre from the middle of the bridge", f"{lateral} mm{spread if choice.spread_mm else ''}")
    if choice.eye == "both":
        yield Item("Axis", "parallel to that of the other tube")
    height = height_mm(option, eye.side, sheet)
    if choice.position == "full diameter":
        yield Item("Height", "centred on the pupil, eyes straight ahead")
    elif height is not None:
        sign, word = (1, "above") if choice.position == "bioptic" else (-1, "below")
        yield Item("Ocular centre", f"{number(height, 1)} mm {word} the pupil centre, eyes straight ahead")
        if has_carrier(choice):
            rim = person.pupil_height_mm + sign * height
            yield Item("Ocular centre above the lower rim", f"{number(rim, 1)} mm")
    tilt = tilt_deg(option, eye.side, sheet)
    level = f"{number(abs(tilt), 1)} deg {'down' if tilt < 0 else 'up'} from the head's horizontal"
    if "face.pantoscopic_tilt" not in plan.person.assumed:
        normal = tilt + mount.pantoscopic_deg
        level += f"; {number(abs(normal), 1)} deg {'down' if normal < 0 else 'up'} from the lens normal"
    yield Item("Tube tilt", level)
    if plan.person.ocular_to_cornea_mm is not None:
        yield Item("Ocular to cornea", f"{number(eye.ocular_to_cornea_mm, 1)} mm")
    elif "face.vertex_distance" not in plan.person.assumed:
        yield Item("Ocular to cornea", f"{number(eye.ocular_to_cornea_mm, 1)} mm, from the vertex distance")
    yield from _built_in(choice, eye, plan)
    focus = next((step for step in sheet or () if step.key == f"verify.focus.{eye.side}"), None)
    if focus is not None:
        yield Item("Back vertex power, tube alone, set for far", focus.target)


def _built_in(choice: Configuration, eye: EyeNumbers, plan: Plan) -> Iterator[Item]:
    """The correcting lens in the tube: sphere and cylinder at the ocular, the best sphere only at the objective."""
    found = plan.person.eye(eye.side).refraction
    if eye.correction_lens_d is None:
        return
    if choice.correction == "ocular":
        lens = both_forms(lens_at_ocular(plan.person, eye))
        yield Item("Correcting lens", f"{lens}, at the ocular, as worn at that distance")
    elif choice.correction == "objective":
        cylinder = f"; cylinder of the refraction {signed(found.cylinder_d)} D not included"
        more = cylinder if found.cylinder_d else ""
        yield Item(
            "Correcting lens", f"{signed(eye.correction_lens_d)} D best sphere, at the objective{more}"
        )


def height_mm(option: Option, side: str, sheet: FittingSheet | None) -> float | None:
    """How far the ocular's centre stands above (bioptic) or below (low) the pupil centre, mm; None straight ahead."""
    if option.configuration.position == "full diameter":
        return None
    found = _of_step(sheet, f"fit.height.{side}", "ocular_height_mm")
    return option.device.mount.ocular_height_mm if found is None else found


def tilt_deg(option: Option, side: str, sheet: FittingSheet | None) -> float:
    """The tilt of a tube from the head's horizontal, degrees, up counts plus."""
    found = _of_step(sheet, f"fit.tilt.{side}", "tube_tilt_deg")
    return option.device.mount.tube_tilt_deg if found is None else found


def _of_step(sheet: FittingSheet | None, key: str, name: str) -> float | None:
    step = next((step for step in sheet or () if step.key == key), None)
    return None if step is None else step.numbers.get(name)


def carrier(option: Option, plan: Plan) -> Iterator[Item]:
    """The carrier lenses, with both vertex distances and the lens form."""
    choice, person = option.configuration, plan.person
    lenses = carrier_lenses(person, choice)
    for each in lenses:
        yield Item(each.side.capitalize(), both_forms(each.lens) + _carried(each))
    yield Item("Vertex distance", vertex_words(lenses[0]))
    powers = any(each.lens != Refraction(0.0) for each in lenses)
    if powers and looks_through_carrier(choice):
        words = "the carrier lens closes behind the ocular; the tube is looked through it"
        yield Item("Behind the tube", words)
    elif powers:
        yield Item("Beside the tube only", "the view through the tube is not corrected by the carrier")
    form, add = lens_form(person), carried_add_d(person)
    if add is None:
        yield Item("Lens form", f"{form}, for far")
    else:
        yield Item("Lens form", form if person.lens_form else f"{form}, as worn so far")
        yield Item("Add", f"{signed(add)} D")
        if form in FORMS_WITH_SEGMENT and person.segment_height_mm is not None:
            yield Item("Segment height", f"{number(person.segment_height_mm, 1)} mm above the lower rim")
        elif form not in FORMS_WITH_SEGMENT:
            yield Item("Fitting cross", "at the pupil centre of each eye")
    yield Item("Material", "impact resistant")


def _carried(lens: CarrierLens) -> str:
    if not lens.changed:
        return ""
    exact = lens.exact
    cylinder = f" {exact.cylinder_d:+.2f}" if abs(exact.cylinder_d) >= LEAST_SHOWN_D else ""
    return f" (exactly {exact.sphere_d:+.2f}{cylinder}; {lens.found} as found)"


def vertex_words(lens: CarrierLens) -> str:
    """Both vertex distances, and for which of them the power is."""
    worn = f"carrier {number(lens.worn_at_mm, 1)} mm"
    if lens.found_at_mm is None:
        return f"refraction not recorded, under 4 D of no account; {worn}"
    return f"refraction {number(lens.found_at_mm, 1)} mm, {worn}; the powers hold at the carrier"


def both_forms(lens: Refraction) -> str:
    """A prescription in minus and in plus cylinder form; once only when it has no cylinder."""
    if abs(lens.cylinder_d) < LEAST_SHOWN_D:
        return str(lens)
    return f"{lens.minus_cylinder()}, the same as {lens.plus_cylinder()}"


def cap(option: Option, plan: Plan) -> Iterator[Item]:
    """The reading cap: where it is centred, where its prism is measured, how far it works."""
    item, numbers, choice = option.cap, option.device.cap, option.configuration
    assert item is not None
    two = choice.eye == "both"
    count = "two" if two else "one"
    yield Item(
        "Cap", f"{signed(item.power_d)} D, {count}, {clean(item.description)}, stock id {clean(item.id)}"
    )
    centres = cap_centres(plan.person, choice, item)
    halves = _by_eye([(each.side, each.tube_mm) for each in centres])
    kept = "; the tubes stay parallel, not at the near PD" if two else ""
    yield Item("Cap centre, on the axis of the tube", f"{halves} from the middle of the bridge{kept}")
    if item.base_in_prism:
        prism = f"{number(item.base_in_prism, 2)} prism D"
        towards = "base in (towards the nose)"
        yield Item("Prism", f"{prism} {towards}{', each' if two else ''}, measured at the cap centre")
        inward = centres[0].inward_mm
        outside = 2 * inward > option.telescope.objective_diameter_mm
        how = "outside the lens, so the prism is worked into it" if outside else "by decentring"
        yield Item(
            "Optical centre",
            f"{number(inward, 1)} mm from the cap centre towards the nose, {how}; same height",
        )
    else:
        yield Item("Prism", f"none at the cap centre{', either cap' if two else ''}: optical centre there")
    if two:
        yield Item("Height", "both cap centres level: no vertical prism between them")
    if numbers is not None:
        yield Item("Working distance", f"{length(numbers.working_distance_mm)} from the cap")


def _by_eye(values: list[tuple[str, float]]) -> str:
    if len(values) == 1:
        return f"{number(values[0][1], 1)} mm"
    return ", ".join(f"{side} {number(value, 1)} mm" for side, value in values)


def frame(case: Case, option: Option, plan: Plan) -> Iterator[Item]:
    """PD, heights and the frame's sizes; a size that is not recorded is asked for, never left out."""
    pd = plan.person.pd
    halves = f"right {number(pd.right_mm, 1)} mm, left {number(pd.left_mm, 1)} mm"
    yield Item("PD, far", f"{halves}, together {number(pd.total_mm, 1)} mm")
    needed = has_carrier(option.configuration)
    for path, label, unit in _FRAME_FIELDS:
        value = case.value(path)
        if value is not None:
            yield Item(label, f"{number(value, 1)} {unit}")
        elif needed and not (
            path.startswith("face.pupil_height") and path[19:] not in option.configuration.eyes
        ):
            yield Item(label, NOT_RECORDED)
    if needed:
        named = clean(case.value("face.frame") or "")
        yield Item("Frame", named or "not recorded: name it here or send it along: ______________________")


_FRAME_FIELDS = (
    ("face.pupil_height_right", "Pupil above the lower rim, right", "mm"),
    ("face.pupil_height_left", "Pupil above the lower rim, left", "mm"),
    ("face.a_size", "A (lens width)", "mm"),
    ("face.b_size", "B (lens height)", "mm"),
    ("face.bridge", "DBL (between the lenses)", "mm"),
    ("face.pantoscopic_tilt", "Pantoscopic tilt", "deg"),
)
