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
from ..fitting.carrier import (
    FORMS_WITH_ADD,
    FORMS_WITH_SEGMENT,
    STRONG_LENS_D,
    carrier_question,
    lens_behind,
    lens_form,
    looks_through_near_part,
)
from ..fitting.types import FittingSheet
from ..fitting.verdict import verdict_at
from ..plan.types import Option, Plan
from ..settings import Settings
from . import order_parts
from .findings import Item
from .options import chosen_option, refusal_of
from .order_parts import both_forms, has_carrier
from .text import WIDTH, Letters, clean, fill, in_letters, number
from .version import made_by

# How the fitting sheet names the strips of lens around a tube.
LENS_LEFT = "lens_left_"
_NO_ROOM = "The frame does not allow this tube"


# As near as two rules at the side of a face agree (common practice).
OCULAR_WITHIN_MM = 1.5


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


def obstacles(
    case: Case, plan: Plan, settings: Settings, sheet: FittingSheet | None = None
) -> tuple[Obstacle, ...]:
    """What stands against the order, empty when it can be written; ``sheet`` tells whether the frame allows it."""
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
        Obstacle(
            "", f"Refer the same day before any device: {_ended(clean(each.sentence.partition(': ')[0]))}"
        )
        for each in plan.referrals
        if each.urgency == "same day"
    ]
    if choice.eye == "both" and plan.person.fusion is not True:
        found.append(Obstacle("binocular.fusion", "Two tubes are ordered only when fusion has been shown."))
    found.extend(carrier_obstacles(option, plan))
    found.extend(_frame_obstacles(case, sheet))
    for outcome in option.outcomes:
        if outcome.cap_on and outcome.vergence_state == 2:
            found.append(Obstacle("", f"With the caps on: {_ended(clean(outcome.sentence))}"))
    for path in _paths_ordered(case, option, plan):
        found.extend(_obstacle(path, case, plan))
    if option.configuration.position == "bioptic" and case.value("face.tube_tilt") is None:
        tilt = f"{number(option.device.mount.tube_tilt_deg, 1)} degrees"
        words = f"The tilt of the tube is the usual one of {tilt}, not chosen for this face: type the tilt wanted."
        found.append(Obstacle("face.tube_tilt", words))
    found.extend(_ocular_obstacles(case, option, plan))
    return tuple(found)


def _ocular_obstacles(case: Case, option: Option, plan: Plan) -> list[Obstacle]:
    """That the ocular was measured where this tube in this carrier cannot have it: the order would name two places."""
    person, behind = plan.person, option.telescope.ocular_behind_carrier_mm
    measured = case.value("face.ocular_to_cornea")
    if option.configuration.mount != "through the lens" or not behind or measured is None:
        return []
    stands = person.vertex_mm - behind
    if "face.vertex_distance" in person.assumed or abs(measured - stands) <= OCULAR_WITHIN_MM:
        return []
    side = "behind" if behind > 0 else "in front of"
    words = (
        f"Ocular to cornea is recorded as {number(measured, 1)} mm, but {number(abs(behind), 1)} mm {side} a carrier "
        f"{number(person.vertex_mm, 1)} mm from the cornea it stands at {number(stands, 1)} mm: measure both again."
    )
    return [Obstacle("face.ocular_to_cornea", words)]


def _frame_obstacles(case: Case, sheet: FittingSheet | None) -> list[Obstacle]:
    """What was measured of the frame and does not allow the tube; else the strip of lens that is expected around it."""
    steps = [] if sheet is None else list(sheet.phase("frame"))
    judged = [(step, verdict_at(step, case.visit)) for step in steps]
    found = [
        Obstacle(step.field, clean(f"{_NO_ROOM}: {step.heading}, {step.target}: {step.remedy}."))
        for step, verdict in judged
        if verdict.state == "no"
    ]
    if found:
        return found
    for step, verdict in judged:
        left = {name: value for name, value in step.numbers.items() if name.startswith(LENS_LEFT)}
        if not left or verdict.state != "open" or step.target_value is None:
            continue
        where, least = min(left.items(), key=lambda item: item[1])
        if least < step.target_value - 1.0:
            side = where.removeprefix(LENS_LEFT).removesuffix("_mm").replace("_", " ")
            words = f"{number(least, 1)} mm of lens would be left {side}, at least {number(step.target_value, 1)} mm"
            found.append(
                Obstacle("", f"The tube does not fit in this frame, {step.eye} eye: {words} are needed.")
            )
    return found


def carrier_obstacles(option: Option, plan: Plan) -> tuple[Obstacle, ...]:
    """What stands against the carrier lenses of a device: where the correction goes, and where an add goes."""
    choice, person = option.configuration, plan.person
    questions = (carrier_question(person, choice, side) for side in choice.eyes)
    found = [Obstacle("", clean(each)) for each in questions if each]
    near = any(looks_through_near_part(person, choice, eye) for eye in option.device.eyes)
    if not has_carrier(choice):
        if near:
            words = f"the near part of the {lens_behind(person, choice)} lenses that it clips to"
            path = "face.segment_height" if person.segment_height_mm is None else ""
            ending = "which was not computed with: measure the segment height, or take another mount."
            found.append(Obstacle(path, f"The tube would be looked through {words}, {ending}"))
        return tuple(found)
    form = lens_form(person)
    if not form:
        words = (
            "An add is recorded, but not whether the lenses are to hold it: record the lens form to order."
        )
        found.append(Obstacle("face.lens_form", words))
    if form in FORMS_WITH_ADD and person.add_d is None:
        found.append(Obstacle("test.add", f"The lens form is {form}, but no add is recorded: type the add."))
    if form in FORMS_WITH_SEGMENT and person.segment_height_mm is None:
        words = f"The lens form is {form}, but no segment height is recorded: measure it in this frame."
        found.append(Obstacle("face.segment_height", words))
    elif near:
        words = (
            f"The tube would be looked through the near part of a {form} lens, which was not computed with"
        )
        found.append(Obstacle("face.lens_form", f"{words}: record single vision as the lens form to order."))
    return tuple(found)


def order(case: Case, plan: Plan, sheet: FittingSheet | None, settings: Settings) -> Order:
    """The order for the chosen device. Raises OrderBlocked, with a sentence for each reason, while one stands."""
    against = obstacles(case, plan, settings, sheet)
    if against:
        raise OrderBlocked(against)
    option = chosen_option(plan, case.visit.choice, settings)
    assert option is not None
    parts: list[tuple[str, tuple[Item, ...]]] = [
        ("ORDER FOR A SPECTACLE TELESCOPE", tuple(order_parts.head(case, settings))),
        ("TELESCOPE", tuple(order_parts.telescope(option))),
    ]
    for eye in sorted(option.device.eyes, key=lambda each: each.side != "right"):
        place = tuple(order_parts.tube(option, eye, plan, sheet))
        parts.append((f"PLACE OF THE TUBE, {eye.side.upper()} EYE", place))
    if order_parts.has_carrier(option.configuration):
        parts.append(("CARRIER LENSES", tuple(order_parts.carrier(option, plan))))
    if option.cap is not None:
        parts.append(("READING CAP", tuple(order_parts.cap(option, plan))))
    parts.append(("FACE AND FRAME", tuple(order_parts.frame(case, option, plan))))
    parts.append(("", (Item("", f"Made by {made_by()}. Check every figure before cutting."),)))
    return Order(tuple(parts))


def _paths_ordered(case: Case, option: Option, plan: Plan) -> Iterator[str]:
    """The fields whose values stand in the order."""
    choice = option.configuration
    yield "face.pd"
    if choice.position != "full diameter" or has_carrier(choice):
        yield from (f"face.pupil_height_{side}" for side in choice.eyes)
    if choice.position != "full diameter":
        # Half of the pupil is part of the height at which the tube clears it.
        yield from (f"{side}.pupil" for side in choice.eyes)
    if has_carrier(choice):
        yield from ("right.refraction", "left.refraction")
        yield from ("face.vertex_distance", "face.pantoscopic_tilt", "face.b_size")
        lenses = (plan.person.right.refraction, plan.person.left.refraction)
        if any(lens.strongest_meridian_d >= STRONG_LENS_D for lens in lenses):
            yield "test.refraction_vertex"
    else:
        yield from (f"{side}.refraction" for side in choice.eyes)
    if case.visit.findings.get("face.ocular_to_cornea") is not None:
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


def _ended(sentence: str) -> str:
    return sentence if sentence.endswith((".", "!", "?")) else f"{sentence}."


__all__ = ["Obstacle", "Order", "OrderBlocked", "both_forms", "carrier_obstacles", "obstacles", "order"]
