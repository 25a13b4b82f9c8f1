"""Near goals on equal terms: telescope, high add, magnifiers and screen by equivalent viewing distance."""

from __future__ import annotations

from ..errors import Refusal
from ..goals import Demand
from ..magnification import display_evd_mm, evp_from_evd_d, required_evd_mm
from ..optics.caps import cap_working_distance_mm, lens_depth_one_side_mm
from ..optics.field import characters_in_field
from ..optics.magnifiers import (
    display_field_mm,
    hand_magnifier_evd_mm,
    hand_magnifier_field_mm,
    spectacle_add_evd_mm,
    stand_evd_mm,
    stand_field_mm,
)
from ..person import Person
from ..settings import Settings
from ..stock import NearAlternative, Stock
from .asked import (
    ACCOMMODATION_OF_USE_D,
    bare_myopia_d,
    enlarged_on_screen,
    hands_reach,
    served_otherwise,
    without_telescope,
)
from .context import Context, EyeIn
from .formulas import as_recorded
from .near_answer import BARE, LARGER_TYPE, Ask, answered, out_of_contrast, spoilt_words
from .types import Alternative, AlternativeTable, Option, Plan

REACH_MARGIN = 1.0 + 1e-9
STRONGEST_ADD_D = 40.0


def alternatives_for(
    context: Context, stock: Stock, settings: Settings, demand: Demand, best: Option | None
) -> AlternativeTable | None:
    """The table for one print goal; None for goals that are not near print or cannot be computed."""
    eye = context.eye(context.reading)
    if (
        not demand.by_print
        or demand.problems
        or eye.closed
        or eye.near_m_units is None
        or not demand.goal_m_units
    ):
        return None
    try:
        needed = required_evd_mm(
            eye.near_distance_mm, eye.near_m_units, demand.goal_m_units, max(1.0, demand.reserve)
        )
    except Refusal:
        return None
    pitch = context.figures.character_pitch_mm * demand.goal_m_units
    rows = [
        row
        for item in stock.alternatives
        if (row := _row(context, eye, settings, item, needed, pitch)) is not None
    ]
    power = evp_from_evd_d(needed)
    if not any(row.kind == "add" and row.reaches for row in rows) and power <= STRONGEST_ADD_D:
        width = settings.assume("add_lens_mm")
        item = NearAlternative(
            id="", description=f"add of {power:.2f} D", kind="add", power_d=power, lens_diameter_mm=width
        )
        made = _row(context, eye, settings, item, needed, pitch)
        if made is not None:
            rows.append(made)
    telescope = _telescope(best, demand, needed) if best is not None else None
    if telescope is not None:
        rows.append(telescope)
    if demand.kind == "near" and eye.accommodation_d >= ACCOMMODATION_OF_USE_D:
        rows.append(_held_near(eye, needed))
    if demand.kind == "near" and bare_myopia_d(eye) >= ACCOMMODATION_OF_USE_D:
        rows.append(_without_spectacles(eye, needed))
    times = enlarged_on_screen(context, demand)
    if times is not None:
        rows.append(_larger_type(demand, times, needed, pitch))
    rows.sort(key=_place_in_table)
    rows.append(_plain_help())
    if demand.contrast * 10.0**eye.log_cs <= 1.0:
        return out_of_contrast(demand, rows)
    ask = Ask(demand, power, context.person, served_otherwise(context, demand))
    return answered(
        ask, rows, telescope, free=without_telescope(context, demand), spoilt=spoilt_words(best, demand)
    )


def _place_in_table(row: Alternative) -> tuple[bool, float]:
    """What reaches the goal first, and the widest of it; what has no power of its own last."""
    if row.evd_mm is None:
        return True, 1.0
    return not row.reaches, -(row.characters or 0.0)


def with_telescope(plan: Plan, table: AlternativeTable, option: Option) -> AlternativeTable:
    """The table of a goal with this option as its telescope, in place of the one that serves the goal best.

    For papers about a chosen device: the working distance in the sentence is then that of this device.
    """
    demand, need = plan.demands[table.goal_index], plan.needs[table.goal_index]
    if need.required_evd_mm is None or (need.contrast_reserve or 0.0) <= 1.0:
        return table
    rows = [row for row in table.rows if row.kind != "telescope"]
    telescope = _telescope(option, demand, need.required_evd_mm)
    if telescope is not None:
        rows = sorted([*rows, telescope], key=_place_in_table)
    if demand.index in plan.coverage.not_needed:
        return table._replace(rows=tuple(rows))
    power = evp_from_evd_d(need.required_evd_mm)
    words = "the chosen telescope does not serve it"
    ask = Ask(demand, power, plan.person, option.outcomes[demand.index].better_otherwise)
    return answered(ask, rows, telescope, words, spoilt=spoilt_words(option, demand))


def _telescope(best: Option, demand: Demand, needed: float) -> Alternative | None:
    outcome = best.outcomes[demand.index] if demand.index < len(best.outcomes) else None
    if outcome is None or outcome.evd_mm is None or outcome.linear_field_mm is None:
        return None
    # Another eye than the one that reads better may be behind it: each is judged by its own print.
    own = outcome.required_evd_mm or needed
    caps = best.device.cap
    depth = (None, None)
    if (
        caps is not None
        and outcome.cap_on
        and caps.clear_from_mm is not None
        and caps.clear_to_mm is not None
    ):
        depth = (caps.working_distance_mm - caps.clear_from_mm, caps.clear_to_mm - caps.working_distance_mm)
    return Alternative(
        name=best.summary,
        kind="telescope",
        id=best.configuration.key,
        evd_mm=outcome.evd_mm,
        equivalent_power_d=outcome.equivalent_power_d,
        power_d=None,
        working_distance_mm=outcome.object_distance_mm,
        lens_distance_mm=outcome.object_distance_mm,
        eye_to_lens_mm=best.device.leading.eye_distance_mm,
        linear_field_mm=outcome.linear_field_mm,
        characters=outcome.characters_in_field,
        depth_near_mm=depth[0],
        depth_far_mm=depth[1],
        hands_free=True,
        reaches=outcome.grade == "meets" or outcome.evd_mm <= own * REACH_MARGIN,
        sentence=f"The longest working distance for its power: {outcome.object_distance_mm:.0f} mm.",
    )


def _row(
    context: Context, eye: EyeIn, settings: Settings, item: NearAlternative, needed: float, pitch: float
) -> Alternative | None:
    try:
        made = {"add": _add, "hand": _hand, "stand": _stand, "electronic": _screen}[item.kind](
            context, eye, settings, item
        )
    except Refusal:
        return None
    evd, working, lens, to_lens, width, depth, free, words = made
    return Alternative(
        name=item.description or item.kind,
        kind=item.kind,
        id=item.id,
        evd_mm=evd,
        equivalent_power_d=evp_from_evd_d(evd),
        power_d=item.power_d,
        working_distance_mm=working,
        lens_distance_mm=lens,
        eye_to_lens_mm=to_lens,
        linear_field_mm=width,
        characters=characters_in_field(width, pitch),
        depth_near_mm=depth[0],
        depth_far_mm=depth[1],
        hands_free=free,
        reaches=evd <= needed * REACH_MARGIN,
        sentence=words if hands_reach(context.person, working) else f"{words} {_too_near(context.person)}",
    )


def _too_near(person: Person) -> str:
    return f"It works nearer than the {person.reach_mm:g} mm at which the hands work."


def _depth(power: float, tolerance: float) -> tuple[float | None, float | None]:
    near = lens_depth_one_side_mm(power, tolerance, "near")
    try:
        return near, lens_depth_one_side_mm(power, tolerance, "far")
    except Refusal:
        return near, None


def _add(context: Context, eye: EyeIn, settings: Settings, item: NearAlternative) -> tuple:
    power, lens = item.power_d or 0.0, item.lens_diameter_mm or 0.0
    to_lens = as_recorded(eye.vertex_mm + context.figures.ocular_to_pupil_mm)
    return (
        spectacle_add_evd_mm(power),
        cap_working_distance_mm(power),
        cap_working_distance_mm(power),
        to_lens,
        hand_magnifier_field_mm(lens, power, to_lens),
        _depth(power, eye.tolerance_d),
        True,
        "The widest view; the page is held close.",
    )


def _hand(context: Context, eye: EyeIn, settings: Settings, item: NearAlternative) -> tuple:
    power, lens = item.power_d or 0.0, item.lens_diameter_mm or 0.0
    to_lens = settings.assume("hand_lens_to_eye_mm")
    focus = cap_working_distance_mm(power)
    return (
        hand_magnifier_evd_mm(power, focus, to_lens),
        to_lens + focus,
        focus,
        to_lens,
        hand_magnifier_field_mm(lens, power, to_lens),
        _depth(power, eye.tolerance_d),
        False,
        "Wider when the lens is nearer the eye.",
    )


def _stand(context: Context, eye: EyeIn, settings: Settings, item: NearAlternative) -> tuple:
    lens, ratio, image = (
        item.lens_diameter_mm or 0.0,
        item.enlargement_ratio or 1.0,
        item.image_distance_mm or 0.0,
    )
    add = context.person.add_d or settings.assume("near_add_d")
    to_lens = max(20.0, 1000.0 / add - image)
    return (
        stand_evd_mm(to_lens + image, ratio),
        to_lens + image / ratio,
        image / ratio,
        to_lens,
        stand_field_mm(lens, to_lens, image, ratio),
        (None, None),
        False,
        f"Stands on the page; the add of {add:g} D must focus its image.",
    )


def _screen(context: Context, eye: EyeIn, settings: Settings, item: NearAlternative) -> tuple:
    ratio, width, at = (
        item.enlargement_ratio or 1.0,
        item.screen_width_mm or 0.0,
        item.viewing_distance_mm or 0.0,
    )
    return (
        display_evd_mm(at, ratio),
        at,
        at,
        None,
        display_field_mm(width, ratio),
        (None, None),
        True,
        "Contrast can be turned up; it needs a table or a hand for the camera.",
    )


def _held_near(eye: EyeIn, needed: float) -> Alternative:
    """The page held as near as the eye can keep focus on, without any device."""
    evd = spectacle_add_evd_mm(eye.accommodation_d)
    return Alternative(
        "held nearer, without a device", "non-optical", "", evd, evp_from_evd_d(evd), None, evd, evd, None, None, None,
        None, None, True, evd <= needed * REACH_MARGIN,
        f"The eye itself keeps up {eye.accommodation_d:.1f} D of accommodation: nothing else has the field of it.",
    )  # fmt: skip


def _without_spectacles(eye: EyeIn, needed: float) -> Alternative:
    """The page at the far point of a myopic eye without its spectacles: its myopia is the power of the aid."""
    power = bare_myopia_d(eye)
    evd = spectacle_add_evd_mm(power)
    return Alternative(
        BARE, "non-optical", "", evd, evp_from_evd_d(evd), None, evd, evd, None, None, None, None, None, True,
        evd <= needed * REACH_MARGIN, f"The myopia itself gives {power:.1f} D: nothing else has the field of it.",
    )  # fmt: skip


def _larger_type(demand: Demand, times: float, needed: float, pitch: float) -> Alternative:
    """Type made larger on the screen that the goal is read from, at its own distance."""
    evd = display_evd_mm(demand.distance_mm, times)
    width = demand.width_mm or None
    return Alternative(
        name=LARGER_TYPE,
        kind="electronic",
        id="",
        evd_mm=evd,
        equivalent_power_d=evp_from_evd_d(evd),
        power_d=None,
        working_distance_mm=demand.distance_mm,
        lens_distance_mm=demand.distance_mm,
        eye_to_lens_mm=None,
        linear_field_mm=None if width is None else width / times,
        characters=None if width is None else characters_in_field(width / times, pitch),
        depth_near_mm=None,
        depth_far_mm=None,
        hands_free=True,
        reaches=evd <= needed * REACH_MARGIN,
        sentence=f"Type {times:.1f} times as large, at the distance of the task: to be tried before any device.",
    )


def _plain_help() -> Alternative:
    return Alternative(
        "light, large print, listening", "non-optical", "", None, None, None, None, None, None, None, None, None, None,
        True, None, "Always worth naming: a lamp at the page, bold print, audio.",
    )  # fmt: skip
