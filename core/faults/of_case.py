"""The findings of a case: what was typed at the steps of the sheet, the trial and the follow-up, as numbers
and words.

Steps measure against a target, so places come out as measured less target. Whatever is off the chart or cannot
be read is left out. An acuity at the trial stands in where the sheet has none. Prisms at a far light are what the
device adds to the person's own deviation, as the steps on the face ask for them; prisms at the page are all of it.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, replace
from math import sqrt
from typing import Any

from ..acuity import Acuity
from ..case import Case, StepResult
from ..configuration import Configuration
from ..errors import Refusal
from ..fitting.again import lasting_result
from ..fitting.search import WAYS
from ..fitting.types import FittingSheet, Step
from ..person import Person, person_of
from ..plan.context import Context, context_of
from ..plan.device import Infeasible, device_numbers
from ..plan.engine import why_refused
from ..print_size import NearPrint
from ..refraction import Refraction, residual_after
from ..settings import Settings
from ..stock import Stock
from .diagnose import diagnose_with
from .measures import MEASURES
from .model import Model, model_of
from .state import AsRecorded
from .symptoms import symptoms_in
from .types import Diagnosis, Findings

# Step key without its eye -> finding that takes the number as it is.
_AS_TYPED = {
    "fit.focus": "over_refraction_d",
    "verify.focus": "tube_focus_d",
    "verify.cap": "cap_power_d",
    "verify.cap_prism": "cap_base_in_prism",
    "fit.eye_distance": "eye_distance_mm",
    "performance.near_end": "near_end_mm",
    "fit.working_distance": "working_distance_mm",
    "performance.field": "field_deg",
    "fit.vertical": "vertical_far_prism",
    "fit.horizontal": "horizontal_far_prism",
    "verify.pair_power": "size_difference_percent",
    "verify.tilt_vertical": "bench_tilt_vertical_arcmin",
    "verify.tilt_horizontal": "bench_tilt_horizontal_arcmin",
    "verify.cap_height": "cap_height_mm",
    "fit.head_drop": "head_drop_deg",
    "performance.light": "light",
    "fit.near_single": "double_near",
    "search.more_light": "more_light",
    "search.words": "words",
    "search.home": "home",
    "search.refocus": "refocus",
    "search.cylinder": "over_cylinder_d",
    "search.used_distance": "used_distance_mm",
    "search.own_vertical": "naked_vertical_prism",
    "search.own_horizontal": "naked_horizontal_prism",
    "search.sizes": "image_difference_percent",
    "search.near_vertical": "vertical_near_prism",
    "search.near_horizontal": "horizontal_near_prism",
}
_TO_SIDE = {f"search.field_{way}": way for way, _ in WAYS}
_LESS_TARGET = {
    "fit.lateral": "lateral_off_mm",
    "fit.height": "height_off_mm",
    "fit.tilt": "tilt_off_deg",
    "fit.spread": "spread_off_mm",
}
_BY_EYE = {
    "over_refraction_d", "tube_focus_d", "cap_power_d", "cap_base_in_prism", "eye_distance_mm", "lateral_off_mm",
    "height_off_mm", "tilt_off_deg", "acuity_logmar", "power_ratio", "carrier_sphere_left_d",
    "carrier_cylinder_left_d", "naked_logmar", "over_cylinder_d",
}  # fmt: skip
_ACUITIES = {"performance.acuity": "acuity_logmar", "search.naked": "naked_logmar"}
_WORSE_FIRST = ("double", "double at times", "single")


# The step of the sheet that takes a measurement, by the measurement's key where the finding has another name.
_STEP_OF = {
    **{finding: step for step, finding in _AS_TYPED.items()},
    **{finding: step for step, finding in _LESS_TARGET.items()},
    **{finding: step for step, finding in _ACUITIES.items()},
    "power_ratio": "verify.power",
    "carrier_sphere_left_d": "verify.carrier",
    "carrier_cylinder_left_d": "verify.carrier",
    "far_end_d": "search.far_end",
    "print_m_units": "performance.print",
    "speed_ratio": "performance.speed",
    "double_far": "performance.double",
    "stays": "fit.stays",
    "steady": "trial.steady",
    "field_shift_right_deg": "search.field_right",
    "field_shift_up_deg": "search.field_up",
}


def step_for(check_key: str, sheet: FittingSheet) -> Step | None:
    """The step of the sheet at which the check of a cause is entered; None where the sheet has none."""
    if not check_key:
        return None
    name, _, side = check_key.partition(".")
    key = _STEP_OF.get(MEASURES[name].finding, "")
    return sheet.step(f"{key}.{side}") if side else sheet.step(key)


def findings_of(case: Case, sheet: FittingSheet) -> Findings:
    """The findings at the visit worked on, and of earlier ones with the same device what no wear can change.

    Never raises: a text that cannot be read is left out.
    """
    given: dict[str, Any] = {}
    sides: dict[str, float] = {}
    for step in sheet:
        value = _value(step, case.visit.steps.get(step.key))
        if value is not None and step.key in _TO_SIDE:
            sides.setdefault(_TO_SIDE[step.key], float(value))
        elif value is not None:
            _take(step, value, given)
    for step in sheet:
        value = _value(step, lasting_result(step))
        if value is not None:
            _take(step, value, given)
    _sides(sides, given)
    _trial(case, given)
    chart = case.value("test.chart_distance")
    if chart:
        given["chart_distance_mm"] = float(chart)
    symptoms = _complaints(case)
    if symptoms is not None:
        given["symptoms"] = symptoms
    return Findings(**given)


def _value(step: Step, result: StepResult | None) -> Any:
    if result is None or not result.measured.strip():
        return None
    try:
        return step.kind.read(result.measured, step.heading)
    except Refusal:
        return None


def _put(given: dict[str, Any], name: str, side: str, value: float | str) -> None:
    """The first value stands: the visit worked on goes before the earlier one, the surest way before another."""
    if name in _BY_EYE:
        given.setdefault(name, {}).setdefault(side, value)
    else:
        given.setdefault(name, value)


def _take(step: Step, value: Any, given: dict[str, Any]) -> None:
    key = step.key.removesuffix(f".{step.eye}") if step.eye else step.key
    target = step.target_value
    if key in _AS_TYPED:
        _put(given, _AS_TYPED[key], step.eye, value if isinstance(value, str) else float(value))
    elif key in _LESS_TARGET and target is not None:
        off = float(value) - target
        # Upwards is a larger gap over the pupil, a smaller one under it.
        under = key == "fit.height" and "below" in step.target
        _put(given, _LESS_TARGET[key], step.eye, -off if under else off)
    elif key in _ACUITIES and isinstance(value, Acuity):
        _put(given, _ACUITIES[key], step.eye, value.logmar)
    elif key == "search.far_end":
        _put(given, "far_end_d", "", 1000.0 / float(value))
    elif key == "performance.print" and isinstance(value, NearPrint):
        _put(given, "print_m_units", "", value.m_units)
    elif key == "performance.speed" and target:
        _put(given, "speed_ratio", "", max(0.01, float(value) / target))
    elif key in ("performance.double", "fit.single"):
        worse = [word for word in _WORSE_FIRST if word in (given.get("double_far"), value)]
        given["double_far"] = worse[0]
    elif key == "fit.stays":
        _put(given, "stays", "", "yes" if value else "no")
    elif key == "trial.steady":
        _put(given, "steady", "", value)
    elif key == "verify.carrier" and isinstance(value, Refraction):
        _carrier(step, value, given)
    else:
        _power(key, step, value, given)


def _power(key: str, step: Step, value: Any, given: dict[str, Any]) -> None:
    """Measured over marked power, by whichever road it was measured."""
    target = step.target_value
    if not target or not isinstance(value, int | float) or value <= 0:
        return
    if key == "verify.power":
        _put(given, "power_ratio", step.eye, target / value)
    elif key == "verify.power_images":
        _put(given, "power_ratio", step.eye, value / target)
    elif key == "verify.power_lensometer":
        _put(given, "power_ratio", step.eye, sqrt(value / target))


def _carrier(step: Step, worn: Refraction, given: dict[str, Any]) -> None:
    accept = step.accept
    wanted = Refraction(accept.sphere_d, accept.cylinder_d, accept.axis_deg)  # type: ignore[union-attr]
    sphere, cylinder = residual_after(worn, wanted)
    _put(given, "carrier_sphere_left_d", step.eye, sphere)
    _put(given, "carrier_cylinder_left_d", step.eye, cylinder)


def _sides(sides: dict[str, float], given: dict[str, Any]) -> None:
    """The field met to each side: half the difference is how far its middle lies off, the sum is the field."""
    if "right" in sides and "left" in sides:
        _put(given, "field_shift_right_deg", "", (sides["right"] - sides["left"]) / 2.0)
        _put(given, "field_deg", "", sides["right"] + sides["left"])
    if "up" in sides and "down" in sides:
        _put(given, "field_shift_up_deg", "", (sides["up"] - sides["down"]) / 2.0)


def _trial(case: Case, given: dict[str, Any]) -> None:
    for side in ("right", "left", "both"):
        value = case.value(f"trial.acuity_{side}")
        if isinstance(value, Acuity):
            _put(given, "acuity_logmar", side, value.logmar)
    seen = case.value("trial.print")
    if isinstance(seen, NearPrint):
        _put(given, "print_m_units", "", seen.m_units)


def _complaints(case: Case) -> frozenset[str] | None:
    """What was complained of at a follow-up, and the reason why a device was changed; None while nobody asked."""
    words = [case.value(path) for path in ("follow_up.problems", "follow_up.reason")]
    said = [text for text in words if isinstance(text, str) and text.strip()]
    return symptoms_in("; ".join(said)) if said else None


def diagnose_case(case: Case, sheet: FittingSheet, stock: Stock, settings: Settings) -> Diagnosis | None:
    """The causes of what was found at a visit with the option that was chosen; None while nothing is chosen.

    The device is judged as it was chosen, whether or not the plan would still offer it: ``problems`` says so. Where its
    numbers cannot be computed at all, there are no causes and ``sentence`` says why.
    """
    choice = case.visit.choice
    if choice is None:
        return None
    findings = findings_of(case, sheet)
    context = context_of(person_of(case, settings), settings)
    try:
        device = as_recorded(context, stock, choice)
    except (Infeasible, Refusal) as refusal:
        return _without_causes(choice, str(refusal))
    model = _model(device, context.person, settings, findings.chart_distance_mm)
    diagnosis = replace(diagnose_with(model, findings, choice), carried=carried_over(case, sheet))
    refused = why_refused(context, stock, choice)
    if not refused:
        return diagnosis
    words = f"As examination and stock stand now, this option would not be offered: {refused}"
    return replace(
        diagnosis, problems=(*diagnosis.problems, f"{words} The causes are those of the device as chosen.")
    )


def carried_over(case: Case, sheet: FittingSheet) -> tuple[str, ...]:
    """The findings that stand from an earlier visit, each with its day, in words."""
    return tuple(
        f"{step.heading} {step.earlier.measured} on {step.earlier.on.isoformat()}"
        for step in sheet
        if step.earlier is not None
        and step.key not in case.visit.steps
        and _value(step, lasting_result(step)) is not None
    )


def as_recorded(context: Context, stock: Stock, choice: Configuration) -> AsRecorded:
    """The chosen device with its numbers on this person, without asking whether it would be offered today.

    Raises Infeasible when the stock no longer holds a part of it, or when its numbers cannot be computed.
    """
    telescope = stock.telescope(choice.telescope)
    cap = stock.cap(choice.cap) if choice.cap else None
    tint = stock.filter(choice.filter) if choice.filter else None
    gone = [
        f"{kind} {name}"
        for kind, name, part in (
            ("telescope", choice.telescope, telescope),
            ("cap", choice.cap, cap),
            ("filter", choice.filter, tint),
        )
        if name and part is None
    ]
    if gone or telescope is None:
        raise Infeasible(
            "optics", f"The stock no longer has {' and '.join(gone)}: put it back into the stock file."
        )
    return AsRecorded(choice, telescope, cap, device_numbers(context, telescope, cap, tint, choice))


def _without_causes(choice: Configuration, reason: str) -> Diagnosis:
    return Diagnosis(
        configuration=choice,
        causes=(),
        ties=(),
        remaining=(),
        next_check="",
        sentence=f"No cause can be computed for the device as chosen: {reason} What was measured stays in the record.",
        used=(),
        unexplained=(),
        untested=(),
    )


@dataclass(frozen=True)
class _Kept:
    """What a model was made from, and the model."""

    made_from: tuple[AsRecorded, Person, Settings, float | None]
    model: Model


# The models of the last choices: made once for a choice on a person, whatever is measured after that.
_KEPT: deque[_Kept] = deque(maxlen=4)


def _model(device: AsRecorded, person: Person, settings: Settings, chart_mm: float | None) -> Model:
    made_from = (device, person, settings, chart_mm)
    for kept in tuple(_KEPT):
        if kept.made_from == made_from:
            return kept.model
    model = model_of(device, person, settings, chart_mm)
    _KEPT.append(_Kept(made_from, model))
    return model
