"""What a later visit asks again, and what stands from an earlier one with the same device.

At a follow-up the device is known: what wear can change and what the person does with it is measured again, the rest is
carried over, marked so, and not counted as open. What needed attention when it was last measured is asked again.
"""

from __future__ import annotations

from dataclasses import replace

from ..case import Case, StepResult, Visit
from .types import Earlier, Step
from .verdict import CAUTIONS_KEY, verdict

# Common practice: what a month of wear can move, what the person gets out of it, and what must be said again.
_AT_FOLLOW_UP = (
    "fit.eye_distance",
    "fit.stays",
    "fit.clip",
    "fit.flip",
    "fit.vertical",
    "fit.horizontal",
    "fit.single",
    "fit.working_distance",
    "fit.near_single",
    "performance.acuity",
    "performance.print",
    "performance.speed",
    "performance.double",
    "performance.fellow",
    "performance.task",
    CAUTIONS_KEY,
)
# What no wear changes: it speaks for today as well.
_LASTS = ("verify.power", "verify.pair_power", "verify.carrier")


def at_visit(steps: list[Step], case: Case) -> tuple[tuple[Step, ...], bool]:
    """The steps as the visit worked on asks them, and whether it asks only part of them again.

    Only a follow-up of the device of an earlier visit does: what it asks stands first, the rest stays at hand.
    """
    with_earlier = [replace(step, earlier=earlier_result(case, step)) for step in steps]
    if case.visit.kind != "follow-up" or not same_device(case):
        return tuple(with_earlier), False
    asked = [step for step in with_earlier if _asked(step)]
    rest = [replace(step, optional=True) for step in with_earlier if not _asked(step)]
    return (*asked, *rest), True


def _asked(step: Step) -> bool:
    if step.optional:
        return False
    attention = step.earlier is not None and step.earlier.state in ("check", "no")
    return attention or step.key.startswith(_AT_FOLLOW_UP)


def same_device(case: Case) -> tuple[Visit, ...]:
    """The earlier visits with the same choice as the one worked on, latest first."""
    choice = case.visit.choice
    return tuple(
        visit for visit in reversed(case.visits[:-1]) if choice is not None and visit.choice == choice
    )


def earlier_result(case: Case, step: Step) -> Earlier | None:
    """What was measured last at a step with the same device, on which day, and what it meant."""
    for visit in same_device(case):
        result = visit.steps.get(step.key)
        if result is not None and result.measured.strip():
            return Earlier(result.measured, visit.on, verdict(step, result).state)
    return None


def lasting_result(step: Step) -> StepResult | None:
    """The earlier result of a step that no wear can have changed; None where it has to be measured again."""
    if step.earlier is None or not step.key.startswith(_LASTS):
        return None
    return StepResult(measured=step.earlier.measured)
