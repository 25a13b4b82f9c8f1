"""Picture 2: the field of each eye through the tubes, the ring hidden round it, and the goal's object, to scale.

The scale is degrees of the outer world. For a near goal the object is drawn as the share of the field's width that it
takes at its distance, so that it is to scale there too.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import atan, degrees, sqrt

from ...core.documents.numbers import device_numbers, length, outcome_numbers
from ...core.documents.text import number
from ...core.errors import Refusal
from ...core.goals import Demand
from ...core.plan.types import Option, Outcome
from ...core.print_size import letter_height_of_m_units_mm
from ..signs import current_signs
from ..widgets.sheet import SheetRow, text_row, value_row
from .canvas import DASHED, ROW_IN_CELLS, SOLID, Canvas, Lines
from .scale import round_up
from .subject import Subject, assumed_rows, goal_row, option_row, sentence_lines

_MARGIN = 1.12
_FIELD_QUANTITIES = ("real_field_deg", "apparent_field_deg", "ring_outer_diameter_deg", "union_field_deg")
# What the fields hang on and may not have been measured.
_LEANS_ON = ("{eye}.pupil", "face.vertex_distance")
_WIDTH_QUANTITIES = ("linear_field_mm", "linear_union_mm", "characters_in_field")


@dataclass(frozen=True, slots=True)
class Circle:
    """The field of one eye: middle to the right of straight ahead, width, and the ring round it, degrees."""

    side: str
    middle_deg: float
    field_deg: float
    ring_deg: float | None


@dataclass(frozen=True, slots=True)
class Thing:
    """What the goal is about, in degrees of the picture; ``detail_deg`` is the finest part that counts."""

    width_deg: float | None
    detail_deg: float | None


def circles_of(option: Option) -> list[Circle]:
    """One circle an eye, set apart as far as the tubes' spread sets them."""
    pair = option.device.pair
    apart = 0.0 if pair is None else pair.centre_separation_deg
    found = []
    for eye in option.device.eyes:
        middle = (apart if eye.side == "right" else -apart) / 2 if pair is not None else 0.0
        found.append(Circle(eye.side, middle, eye.field.real_field_deg, eye.field.ring_outer_diameter_deg))
    return sorted(found, key=lambda circle: circle.side)


def thing_of(option: Option, outcome: Outcome, demand: Demand) -> Thing:
    """The object of the goal on the scale of the field."""
    field = option.device.leading.field.real_field_deg

    def angle(size_mm: float | None) -> float | None:
        if size_mm is None:
            return None
        if demand.kind == "distance" or not outcome.linear_field_mm:
            return 2 * degrees(atan(size_mm / 2 / outcome.object_distance_mm))
        return field * size_mm / outcome.linear_field_mm

    width = angle(demand.width_mm)
    if width is None and outcome.characters_in_field and demand.characters:
        width = field * demand.characters / outcome.characters_in_field
    return Thing(width, angle(_detail_mm(demand)))


def _detail_mm(demand: Demand) -> float | None:
    if demand.detail_mm is not None:
        return demand.detail_mm
    try:
        return None if demand.goal_m_units is None else letter_height_of_m_units_mm(demand.goal_m_units)
    except Refusal:
        return None


def cells_per_degree(circles: list[Circle], width: int, height: int) -> float:
    """As large as the fields fit in height and the ring, or at least the fields together, in width."""
    tall = max(circle.field_deg for circle in circles) * _MARGIN
    wide = max(
        2 * abs(circle.middle_deg) + max(circle.field_deg, circle.ring_deg or 0.0) for circle in circles
    )
    return min(height * ROW_IN_CELLS / tall, width / (wide * 1.04))


def draw(subject: Subject, width: int, height: int) -> Lines:
    """Right eye in a full line, left eye in a broken one, what is hidden in dots, the object as a measured line."""
    option = subject.option
    if option is None:
        return sentence_lines(subject.nothing, width, height)
    circles = circles_of(option)
    canvas = Canvas(width, height, subject.way)
    room = height - 1
    scale = cells_per_degree(circles, width, room)
    across, down = width / 2, room / 2
    _draw_rings(canvas, circles, scale, across, down, room)
    for circle in circles:
        broken = circle.side == "left" and len(circles) > 1
        mark = "l" if circle.side == "left" else "r"
        role = "curve-other" if broken else "curve"
        dash = DASHED if broken else SOLID
        middle = across + circle.middle_deg * scale
        canvas.circle(middle, down, circle.field_deg * scale / 2, role, mark, dash)
    outcome, demand = subject.outcome, subject.demand
    if outcome is not None and demand is not None and demand in subject.placed():
        _draw_thing(canvas, thing_of(option, outcome, demand), scale, across, down)
    _draw_names(canvas, circles, scale, across, down)
    _draw_measure(canvas, scale, height - 1)
    return canvas.lines()


def _draw_rings(
    canvas: Canvas, circles: list[Circle], scale: float, across: float, down: float, room: int
) -> None:
    """Dots where the outer world is hidden from every eye that has a tube."""

    def half_chord(diameter_deg: float, y: float) -> float:
        """Half of what a circle of that width takes at a height, in cells; 0 above and below it."""
        square = (diameter_deg * scale / 2) ** 2 - ((y - down) * ROW_IN_CELLS) ** 2
        return sqrt(square) if square > 0 else 0.0

    def hidden(y: float) -> list[tuple[float, float]]:
        """Inside every ring and outside every field."""
        if y >= room or not circles:
            return []
        middles = [across + circle.middle_deg * scale for circle in circles]
        rings = [half_chord(circle.ring_deg or 0.0, y) for circle in circles]
        start = max(middle - half for middle, half in zip(middles, rings, strict=True))
        end = min(middle + half for middle, half in zip(middles, rings, strict=True))
        stretches = [(start, end)]
        for middle, circle in zip(middles, circles, strict=True):
            half = half_chord(circle.field_deg, y)
            if half > 0.0:
                stretches = [
                    part
                    for left, right in stretches
                    for part in ((left, min(right, middle - half)), (max(left, middle + half), right))
                ]
        return [(left, right) for left, right in stretches if right > left]

    canvas.hatch(hidden, "frame")


def _draw_thing(canvas: Canvas, thing: Thing, scale: float, across: float, down: float) -> None:
    """The width as a line with ends; the detail as a stroke in the middle, as long as it is high."""
    if thing.width_deg is not None:
        half = thing.width_deg * scale / 2
        canvas.line(across - half, down, across + half, down, "curve-third", "-")
        for end in (across - half, across + half):
            canvas.line(end, down - 0.45, end, down + 0.45, "curve-third", "|")
    if thing.detail_deg is not None:
        half = thing.detail_deg * scale / 2 / ROW_IN_CELLS
        canvas.line(across, down - half, across, down + half, "curve-third", "+")


def _draw_names(canvas: Canvas, circles: list[Circle], scale: float, across: float, down: float) -> None:
    """R and L inside the outer rims, where there are two fields that are not the same."""
    for circle in circles if len(circles) > 1 else ():
        way = 1 if circle.side == "right" else -1
        place = across + (circle.middle_deg + way * 0.38 * circle.field_deg) * scale
        canvas.text(place, down - 1 if down >= 2 else 0, "R" if circle.side == "right" else "L", "strong")


def _draw_measure(canvas: Canvas, scale: float, y: int) -> None:
    """How long so many degrees are."""
    unit = round_up(4 / scale)
    cells = max(1, round(unit * scale))
    signs = current_signs()
    canvas.text(0, y, "|" + signs.rule * max(0, cells - 2) + "|", "rule")
    words = f" {unit:g} deg"
    canvas.text(cells, y, words, "unit")


# ---- the same in words


def words(subject: Subject) -> list[SheetRow]:
    """Fields, ring, what both eyes share, and how much of the object goes in."""
    named, option = subject.named, subject.option
    if named is None or option is None:
        return [text_row(subject.nothing)]
    rows = [option_row(named)]
    circles = circles_of(option)
    if len(circles) == 1:
        rows.append(
            text_row(f"One field, of the {circles[0].side} eye. Dots: hidden from this eye by the tube.")
        )
    else:
        rows.append(
            text_row("Full line: right eye. Broken line: left eye. Dots: hidden from both eyes by the tubes.")
        )
    rows += _thing_rows(subject)
    for shown in device_numbers(option):
        if shown.quantity in _FIELD_QUANTITIES:
            note = f"({shown.criterion})" if shown.criterion else ""
            rows.append(value_row(shown.label, shown.words, "", note, key=f"device:0:{shown.asked}"))
    goal = goal_row(subject)
    leans_on = _LEANS_ON if len(circles) == 1 else (*_LEANS_ON, "face.pd")
    return [*rows, *([] if goal is None else [goal]), *assumed_rows(subject, leans_on, ("distance", "width"))]


def _thing_rows(subject: Subject) -> list[SheetRow]:
    option, outcome, demand = subject.option, subject.outcome, subject.demand
    if option is None or outcome is None or demand is None:
        return []
    if demand not in subject.placed():
        return [text_row(f"{demand.name}: no distance is given, so its object is not drawn.", "check")]
    rows = []
    thing = thing_of(option, outcome, demand)
    name = f"{demand.name} at {length(outcome.object_distance_mm)}"
    if demand.width_mm is not None and thing.width_deg is not None:
        words = f"{length(demand.width_mm)}, {number(thing.width_deg, 1)} deg on the scale of the field"
        rows.append(value_row(f"Line with ends, {name}, is wide", words))
    elif thing.width_deg is not None and demand.characters:
        words = f"{number(demand.characters, 0)} characters, as part of the field"
        rows.append(value_row(f"Line with ends, {name}, is wide", words))
    else:
        rows.append(text_row(f"{name}: no width is given, so none is drawn.", "check"))
    detail = _detail_mm(demand)
    if detail is not None and thing.detail_deg is not None:
        words = f"{length(detail)} high, {number(60 * thing.detail_deg, 0)} arcmin on the scale of the field"
        rows.append(value_row("Short stroke, the finest that counts, is", words))
    for shown in outcome_numbers(option, outcome, subject.view.settings):
        if shown.quantity in _WIDTH_QUANTITIES:
            note = f"({shown.criterion})" if shown.criterion else ""
            key = f"goal:{outcome.goal_index}:{shown.asked}"
            rows.append(value_row(shown.label, shown.words, "", note, key=key))
    return rows
