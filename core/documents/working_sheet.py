"""The working sheet: every computed number of the note with its formula, the numbers put in, the result and the source.

The chosen option is computed once more while every declared formula is recorded; so the sheet cannot say anything else
than what the program did, and a colleague with a pocket calculator gets the same.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from ..case import Case
from ..fitting.types import FittingSheet
from ..formula import Step, recording
from ..plan.context import context_of
from ..plan.device import device_numbers as compute_device
from ..plan.outcome import outcome_of
from ..plan.types import Option, Plan
from ..records import names_of
from ..settings import Settings
from ..sources import SOURCES
from .numbers import Shown, choice_words, device_numbers, outcome_numbers
from .options import chosen_option
from .text import Letters, clean, fill, in_letters
from .version import made_by

# The formulas that may give a number, where its formula has another name than the quantity in the plan. A number is
# never linked to a formula by its value alone: two quantities may happen to be equal.
FORMULAS_OF: dict[str, tuple[str, ...]] = {
    "apparent_field_deg": (
        "apparent_field_deg",
        "apparent_field_general_deg",
        "apparent_from_real_field_deg",
    ),
    "clear_from_mm": ("cap_near_edge_mm",),
    "convergence_parallel_tubes_prism": ("convergence_with_caps_prism",),
    "convergence_prism": ("convergence_parallel_tubes_prism", "convergence_with_caps_prism"),
    "vertical_prism": ("vertical_beyond_naked_prism",),
    "correction_lens_d": (
        "ametropia_at_ocular_d",
        "objective_correction_d",
        "objective_correction_general_d",
    ),
    "evd_mm": ("cap_evd_mm", "evd_mm", "evd_focused_mm"),
    "exit_pupil_diameter_mm": ("exit_pupil_diameter_mm", "refocused_exit_pupil_diameter_mm"),
    "linear_field_at_cap_focus_mm": ("linear_field_mm",),
    "linear_field_mm": ("linear_field_mm", "linear_field_through_tube_mm"),
    "linear_union_mm": ("linear_field_mm", "linear_field_through_tube_mm"),
    "near_limit_mm": ("clear_range", "near_limit_mm", "nearest_by_travel_mm"),
    "ocular_height_mm": ("least_ocular_height_mm",),
    "predicted_logmar": ("logmar_through_telescope",),
    "probability": ("probability_prediction_meets_goal", "probability_print_goal_met"),
    "real_field_deg": (
        "real_field_deg",
        "real_field_general_deg",
        "field_in_use",
        "real_from_apparent_field_deg",
    ),
    "refocused_magnification": ("refocus", "refocused_magnification"),
    "residual_sphere_d": ("ametropia_at_ocular_d",),
    "transmittance": ("transmittance_with_filter", "transmittance_of_surfaces"),
    "vertical_tilt_tolerance_arcmin": ("tilt_tolerances",),
    "working_distance_mm": ("cap_working_distance_mm",),
    "working_distance_uncorrected_mm": ("cap_working_distance_uncorrected_mm",),
}
# Read from the stock or the record, or set by the focus; nothing is computed to get them.
NOT_COMPUTED = frozenset({"magnification"})
_UNITS = (
    ("_cd_m2", "cd/m2"),
    ("_m_units", "M"),
    ("_deg_s", "deg/s"),
    ("_logmar", "logMAR"),
    ("_arcmin", "arcmin"),
    ("_prism", "prism D"),
    ("_percent", "%"),
    ("_mm", "mm"),
    ("_deg", "deg"),
    ("_d", "D"),
)
_KINDS = {
    "published": "",
    "derived": "derived here",
    "common practice": "common practice",
    "memory": "from memory of the source",
}


@dataclass(frozen=True, slots=True)
class Line:
    """A number of the note and the number of the step that gave it, 0 when it is read and not computed."""

    shown: Shown
    step: int


@dataclass(frozen=True, slots=True)
class WorkingSheet:
    """Groups of numbers (a heading each), and the steps behind them in the order of computation."""

    groups: tuple[tuple[str, tuple[Line, ...]], ...]
    steps: tuple[Step, ...]


def workings(case: Case, plan: Plan, settings: Settings) -> WorkingSheet | None:
    """The numbers of the chosen option with the steps behind them; None when the plan does not offer the choice."""
    option = chosen_option(plan, case.visit.choice, settings)
    if option is None:
        return None
    steps = tuple(_distinct(_recorded(option, plan, settings)))
    groups = [("The device on this face", device_numbers(option))]
    for outcome in option.outcomes:
        heading = f"Goal {outcome.goal_index + 1}, {clean(outcome.goal)}"
        groups.append((heading, outcome_numbers(option, outcome, settings)))
    lined = tuple(
        (heading, tuple(Line(each, _step_of(each, steps)) for each in shown)) for heading, shown in groups
    )
    return WorkingSheet(lined, steps)


def working_sheet(
    case: Case,
    plan: Plan,
    sheet: FittingSheet | None,
    settings: Settings,
    *,
    letters: Letters | None = None,
) -> str:
    """The working sheet as plain text of at most 72 columns; says so when there is nothing to work out."""
    chosen: Letters = letters or settings.letters
    made = workings(case, plan, settings)
    head = [f"WORKING SHEET, code {clean(case.code)}, {case.visit.on.isoformat()}"]
    option = chosen_option(plan, case.visit.choice, settings)
    if made is None or option is None:
        blocks = [head, ["No device is chosen that the plan offers, so there is nothing to work out."]]
    else:
        blocks = [[*head, f"Chosen: {choice_words(option)}"]]
        blocks += [_group(heading, lines) for heading, lines in made.groups if lines]
        blocks += [_step(number, step) for number, step in enumerate(made.steps, 1)]
        targets = _targets(sheet)
        blocks += [targets] if targets else []
    blocks.append([f"Computed by {made_by()}."])
    rows = [
        [row for line in block for row in fill(in_letters(line, chosen), rest="    ")] for block in blocks
    ]
    return "\n\n".join("\n".join(block) for block in rows) + "\n"


def _recorded(option: Option, plan: Plan, settings: Settings) -> list[Step]:
    context = context_of(plan.person, settings)
    choice = option.configuration
    with recording() as working:
        device = compute_device(context, option.telescope, option.cap, option.filter, choice)
        for demand in plan.demands:
            outcome_of(context, option.telescope, option.cap, choice, device, demand)
    return working.steps


def _distinct(steps: list[Step]) -> Iterator[Step]:
    """Each computation once: the same formula with the same numbers gives the same result."""
    seen: set[tuple[str, str]] = set()
    for step in steps:
        key = (step.formula.key, repr(step.arguments()))
        if key not in seen and step.formula.name != "as_recorded":
            seen.add(key)
            yield step


def _step_of(shown: Shown, steps: tuple[Step, ...]) -> int:
    """The last step of one of its formulas with the same result, 0 when there is none."""
    if shown.quantity in NOT_COMPUTED:
        return 0
    for name in FORMULAS_OF.get(shown.quantity, (shown.quantity,)):
        for number in range(len(steps), 0, -1):
            step = steps[number - 1]
            if step.formula.name == name and _gives(step.result, shown.value):
                return number
    return 0


def _gives(result: Any, value: float) -> bool:
    if isinstance(result, bool) or result is None:
        return False
    if isinstance(result, int | float):
        return math.isclose(abs(result), abs(value), rel_tol=1e-9, abs_tol=1e-12)
    if isinstance(result, tuple | list):
        return any(_gives(each, value) for each in result)
    return any(_gives(getattr(result, name), value) for name in names_of(result) or ())


def _group(heading: str, lines: tuple[Line, ...]) -> list[str]:
    rows = [heading.upper()]
    for line in lines:
        where = f"step {line.step}" if line.step else "as recorded or set"
        rows.append(f"{line.shown.label}: {line.shown.words}   [{where}]")
    return rows


def _step(number: int, step: Step) -> list[str]:
    formula = step.formula
    given = {name: value for name, value in step.arguments().items() if value is not None}
    put_in = ", ".join(f"{_plain(name)} {amount_words(value)}{_unit(name)}" for name, value in given.items())
    source = _source(step)
    unit = f" {formula.unit}" if formula.unit and isinstance(step.result, int | float) else ""
    return [
        f"Step {number}: {_plain(formula.name)}",
        f"  formula: {formula.symbols}",
        f"  put in: {put_in}" if put_in else "  put in: nothing",
        f"  result: {amount_words(step.result)}{unit}",
        f"  holds for: {formula.domain}" if formula.domain else "  holds always",
        f"  source: {source}",
    ]


def _source(step: Step) -> str:
    words = _KINDS[step.formula.kind]
    cited = SOURCES.get(step.formula.source)
    citation = f"{step.formula.source}: {cited}" if cited is not None else ""
    return "; ".join(part for part in (citation, words) if part) or "derived here"


def _targets(sheet: FittingSheet | None) -> list[str]:
    """The targets of the fitting sheet with the rule that gave each."""
    steps = [step for step in sheet or () if step.target_value is not None]
    if not steps:
        return []
    return [
        "FITTING TARGETS",
        *(f"{s.heading}: {clean(s.target)}; {clean(s.rule)}".rstrip("; ") for s in steps),
    ]


def _plain(name: str) -> str:
    """The name of a quantity without its unit, in words."""
    for ending, _ in _UNITS:
        if name.endswith(ending):
            return name.removesuffix(ending).replace("_", " ")
    return name.replace("_", " ")


def _unit(name: str) -> str:
    return next((f" {unit}" for ending, unit in _UNITS if name.endswith(ending)), "")


def amount_words(value: Any) -> str:
    """A number to six significant digits; a named result as its parts."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:.6g}"
    if value is None:
        return "none"
    names = names_of(value)
    if names is not None:
        parts = ((name, getattr(value, name)) for name in names)
        return ", ".join(
            f"{_plain(name)} {amount_words(part)}{'' if part is None else _unit(name)}"
            for name, part in parts
        )
    if isinstance(value, tuple | list):
        return "(" + ", ".join(amount_words(each) for each in value) + ")"
    return clean(value)
