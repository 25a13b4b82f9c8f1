"""The order: everything the workshop needs to make and mount the device, and nothing else about the person.

A value that was assumed does not become glass: the order is refused, with each such value in a sentence of its own,
until it has been measured or confirmed by name.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from ..case import Case, Finding
from ..entry import Pd
from ..errors import AfocalError
from ..fields import by_path
from ..fitting.types import FittingSheet
from ..plan.types import EyeNumbers, Option, Plan
from ..refraction import Refraction
from ..settings import Settings
from .findings import Item
from .numbers import CORRECTION_WORDS, FOCUS_WORDS, eye_words, length, power_words
from .options import chosen_option, refusal_of
from .text import WIDTH, Letters, clean, fill, in_letters, number, signed
from .version import made_by

# From here on a millimetre of vertex distance moves the power by 0.06 D or more in 5 mm: the vertex must be known.
STRONG_LENS_D = 4.0


@dataclass(frozen=True, slots=True)
class Obstacle:
    """One thing that stands against the order; ``path`` is the field that would remove it, "" when none would."""

    path: str
    sentence: str


class OrderBlocked(AfocalError):
    """The order cannot be written yet; :attr:`obstacles` says why, a sentence each."""

    def __init__(self, obstacles: tuple[Obstacle, ...]) -> None:
        self.obstacles = obstacles
        super().__init__(obstacles)

    @property
    def sentences(self) -> tuple[str, ...]:
        """The reasons, a sentence each."""
        return tuple(each.sentence for each in self.obstacles)

    def __str__(self) -> str:
        return "The order cannot be written yet. " + " ".join(self.sentences)


@dataclass(frozen=True, slots=True)
class Order:
    """The order as headed lists of lines."""

    parts: tuple[tuple[str, tuple[Item, ...]], ...]

    def text(self, letters: Letters = "utf-8") -> str:
        """Plain text of at most 72 columns."""
        blocks = []
        for heading, items in self.parts:
            rows = [heading] if heading else []
            for item in items:
                line = f"{item.label}: {item.text}" if item.label else item.text
                rows.extend(fill(in_letters(line, letters), width=WIDTH, rest="    "))
            blocks.append("\n".join(rows))
        return "\n\n".join(blocks) + "\n"


def obstacles(case: Case, plan: Plan, settings: Settings) -> tuple[Obstacle, ...]:
    """What stands against the order, empty when it can be written."""
    choice = case.visit.choice
    if choice is None:
        return (Obstacle("", "No device is chosen."),)
    option = chosen_option(plan, choice, settings)
    if option is None:
        return (
            Obstacle(
                "", f"The chosen device cannot be ordered: {_ended(refusal_of(plan, choice, settings))}"
            ),
        )
    found = [
        Obstacle("", f"Refer the same day before any device: {_ended(clean(each.sentence))}")
        for each in plan.referrals
        if each.urgency == "same day"
    ]
    if choice.eye == "both" and plan.person.fusion is not True:
        found.append(Obstacle("binocular.fusion", "Two tubes are ordered only when fusion has been shown."))
    for path in _paths_ordered(case, option, plan):
        found.extend(_obstacle(path, case, plan))
    return tuple(found)


def order(case: Case, plan: Plan, sheet: FittingSheet | None, settings: Settings) -> Order:
    """The order for the chosen device. Raises OrderBlocked, with a sentence for each reason, while one stands."""
    against = obstacles(case, plan, settings)
    if against:
        raise OrderBlocked(against)
    option = chosen_option(plan, case.visit.choice, settings)
    assert option is not None
    parts: list[tuple[str, tuple[Item, ...]]] = [
        ("ORDER FOR A SPECTACLE TELESCOPE", tuple(_head(case, settings))),
        ("TELESCOPE", tuple(_telescope(option))),
    ]
    for eye in sorted(option.device.eyes, key=lambda each: each.side != "right"):
        parts.append((f"PLACE OF THE TUBE, {eye.side.upper()} EYE", tuple(_tube(option, eye, plan))))
    if _has_carrier(option):
        parts.append(("CARRIER LENSES", tuple(_carrier(option, plan))))
    if option.cap is not None:
        parts.append(("READING CAP", tuple(_cap(option, sheet))))
    parts.append(("FACE AND FRAME", tuple(_frame(case, plan))))
    parts.append(("", (Item("", f"Made by {made_by()}. Check every figure before cutting."),)))
    return Order(tuple(parts))


def _has_carrier(option: Option) -> bool:
    """A clip-on goes over the person's own spectacles; every other mount has carrier lenses of its own."""
    return option.configuration.mount != "clip-on"


def _paths_ordered(case: Case, option: Option, plan: Plan) -> Iterator[str]:
    """The fields whose values stand in the order."""
    yield "face.pd"
    sides = option.configuration.eyes
    if option.configuration.position != "full diameter" or _has_carrier(option):
        yield from (f"face.pupil_height_{side}" for side in sides)
    if _has_carrier(option):
        yield from ("right.refraction", "left.refraction")
        yield from ("face.vertex_distance", "face.pantoscopic_tilt", "face.b_size")
        lenses = (plan.person.right.refraction, plan.person.left.refraction)
        if any(lens.strongest_meridian_d >= STRONG_LENS_D for lens in lenses):
            yield "test.refraction_vertex"
    else:
        yield from (f"{side}.refraction" for side in sides)
    if option.cap is not None and case.visit.findings.get("face.ocular_to_cornea") is not None:
        yield "face.ocular_to_cornea"


def _obstacle(path: str, case: Case, plan: Plan) -> Iterator[Obstacle]:
    label = by_path()[path].label
    finding = case.visit.findings.get(path)
    if finding is not None and finding.value is None:
        yield Obstacle(path, f'{label} could not be read: "{clean(finding.typed)}".')
    elif path in plan.person.assumed:
        sentence = clean(plan.person.assumed[path].sentence)
        yield Obstacle(
            path, f"{label} is assumed, not measured ({sentence}): measure it or confirm it by name."
        )
    elif finding is not None and isinstance(finding.value, Pd) and not _halves_known(finding):
        yield Obstacle(
            path,
            f"{label} is known as a whole only: measure each eye's, or confirm by name that the halves are equal.",
        )


def _halves_known(finding: Finding) -> bool:
    return finding.value.by_eye or finding.status == "confirmed"


def _head(case: Case, settings: Settings) -> Iterator[Item]:
    yield Item("Reference", f"{clean(case.code)}, {case.visit.on.isoformat()}")
    if settings.clinic:
        yield Item("Clinic", clean(settings.clinic))
    examiner = case.value("person.examiner")
    if examiner:
        yield Item("Ordered by", clean(examiner))


def _telescope(option: Option) -> Iterator[Item]:
    telescope, choice, device = option.telescope, option.configuration, option.device
    tubes = "two tubes" if choice.eye == "both" else "one tube"
    yield Item(
        "Device", f"{power_words(telescope)}, {clean(telescope.description)}, stock id {clean(telescope.id)}"
    )
    yield Item("For", f"{eye_words(choice.eye)}, {tubes}")
    image = "upright" if telescope.type == "galilean" or telescope.erect else "upside down"
    yield Item("Picture", image)
    yield Item("Objective, clear diameter", f"{number(telescope.objective_diameter_mm, 1)} mm")
    yield Item("Housing, outer diameter", f"{number(2 * telescope.housing_radius_mm, 1)} mm")
    behind = telescope.ocular_behind_carrier_mm
    if behind and choice.mount == "through the lens":
        side = "behind" if behind > 0 else "in front of"
        yield Item("Ocular", f"{number(abs(behind), 1)} mm {side} the back surface of the carrier")
    yield Item("Position and mount", f"{choice.position}, {choice.mount}")
    yield Item("Focus", FOCUS_WORDS[choice.focus].removeprefix("focused "))
    yield Item("Correction", CORRECTION_WORDS[choice.correction].removeprefix("correction "))
    lengths = {round(eye.tube_length_mm, 2): eye.side for eye in device.eyes}
    if len(lengths) == 1:
        yield Item("Tube length", f"{number(device.leading.tube_length_mm, 2)} mm")
    else:
        yield Item(
            "Tube length", ", ".join(f"{e.side} {number(e.tube_length_mm, 2)} mm" for e in device.eyes)
        )
    if option.filter is not None:
        item = option.filter
        yield Item(
            "Filter", f"{clean(item.description)}, stock id {clean(item.id)}, passes {item.transmittance:.0%}"
        )


def _tube(option: Option, eye: EyeNumbers, plan: Plan) -> Iterator[Item]:
    choice, mount = option.configuration, option.device.mount
    person = plan.person.eye(eye.side)
    lateral = person.pd_mm + choice.spread_mm
    spread = (
        f" (PD {number(person.pd_mm, 1)} + {number(choice.spread_mm, 1)} outward)" if choice.spread_mm else ""
    )
    yield Item("Centre from the middle of the bridge", f"{number(lateral, 1)} mm{spread}")
    if choice.position == "full diameter" or mount.ocular_height_mm is None:
        if choice.position == "full diameter":
            yield Item("Height", "centred on the pupil, eyes straight ahead")
    else:
        sign, word = (1, "above") if choice.position == "bioptic" else (-1, "below")
        height = abs(mount.ocular_height_mm)
        yield Item("Ocular centre", f"{number(height, 1)} mm {word} the pupil centre, eyes straight ahead")
        if _has_carrier(option):
            yield Item(
                "Ocular centre above the lower rim", f"{number(person.pupil_height_mm + sign * height, 1)} mm"
            )
    tilt, normal = mount.tube_tilt_deg, mount.tube_to_lens_normal_deg
    direction = "down" if tilt < 0 else "up"
    level = f"{number(abs(tilt), 1)} deg {direction} from the head's horizontal"
    yield Item("Tube tilt", f"{level}; {number(normal, 1)} deg to the lens normal")
    yield Item("Ocular to cornea", f"{number(eye.ocular_to_cornea_mm, 1)} mm")
    if choice.correction in ("ocular", "objective") and eye.correction_lens_d is not None:
        place = "behind the ocular" if choice.correction == "ocular" else "at the objective"
        cylinder = person.refraction.cylinder_d
        more = f"; cylinder of the refraction {signed(cylinder)} D not included" if cylinder else ""
        yield Item("Correcting lens", f"{signed(eye.correction_lens_d)} D best sphere, {place}{more}")


def _carrier(option: Option, plan: Plan) -> Iterator[Item]:
    for side in ("right", "left"):
        lens = plan.person.eye(side).refraction
        yield Item(side.capitalize(), both_forms(lens))
    if option.configuration.correction != "carrier":
        yield Item("Beside the tube only", "the view through the tube is not corrected by the carrier")
    if plan.person.add_d is not None:
        yield Item("Add", f"{signed(plan.person.add_d)} D")
    if plan.person.lenses_worn:
        yield Item("Lens form worn so far", clean(plan.person.lenses_worn))
    if plan.person.segment_height_mm is not None:
        yield Item("Segment height", f"{number(plan.person.segment_height_mm, 1)} mm above the lower rim")
    refracted = (
        "" if "test.refraction_vertex" in plan.person.assumed else number(plan.person.refraction_vertex_mm, 1)
    )
    carrier = number(plan.person.vertex_mm, 1)
    yield Item(
        "Vertex distance",
        f"refraction {refracted} mm, carrier {carrier} mm" if refracted else f"{carrier} mm",
    )
    yield Item("Material", "impact resistant")


def both_forms(lens: Refraction) -> str:
    """A prescription in minus and in plus cylinder form; once only when it has no cylinder."""
    if not lens.cylinder_d:
        return str(lens)
    return f"{lens.minus_cylinder()}, the same as {lens.plus_cylinder()}"


def _cap(option: Option, sheet: FittingSheet | None) -> Iterator[Item]:
    cap, numbers = option.cap, option.device.cap
    assert cap is not None
    count = "two" if option.configuration.eye == "both" else "one"
    yield Item("Cap", f"{signed(cap.power_d)} D, {count}, {clean(cap.description)}, stock id {clean(cap.id)}")
    if option.configuration.eye == "both":
        base = f"{number(cap.base_in_prism, 2)} prism D base in, each" if cap.base_in_prism else "none"
        yield Item("Prism", base)
    elif cap.base_in_prism:
        yield Item("Prism", f"{number(cap.base_in_prism, 2)} prism D, base toward the nose")
    if numbers is not None:
        yield Item("Working distance", f"{length(numbers.working_distance_mm)} from the cap")
    near = [step for step in sheet or () if "near_pd_mm" in step.numbers]
    if near:
        halves = ", ".join(f"{step.eye} {number(step.numbers['near_pd_mm'], 1)} mm" for step in near)
        yield Item("Cap centres for that distance, from the middle of the bridge", halves)


def _frame(case: Case, plan: Plan) -> Iterator[Item]:
    pd = plan.person.pd
    halves = f"right {number(pd.right_mm, 1)} mm, left {number(pd.left_mm, 1)} mm"
    yield Item("PD, far", f"{halves}, together {number(pd.total_mm, 1)} mm")
    for path, label, unit in _FRAME_FIELDS:
        value = case.value(path)
        if value is not None:
            yield Item(label, f"{number(value, 1)} {unit}")


_FRAME_FIELDS = (
    ("face.pupil_height_right", "Pupil above the lower rim, right", "mm"),
    ("face.pupil_height_left", "Pupil above the lower rim, left", "mm"),
    ("face.a_size", "A (lens width)", "mm"),
    ("face.b_size", "B (lens height)", "mm"),
    ("face.bridge", "DBL (between the lenses)", "mm"),
    ("face.pantoscopic_tilt", "Pantoscopic tilt", "deg"),
)


def _ended(sentence: str) -> str:
    return sentence if sentence.endswith((".", "!", "?")) else f"{sentence}."
