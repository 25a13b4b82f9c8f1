"""The trial: over the person's own glasses when there is a distance error, on a plano frame when there is none."""

from __future__ import annotations

from ..entry import Choice
from .context import Fit, deg, number
from .pair import SINGLE, SINGLE_ACCEPT
from .performance import TASK, TASK_ACCEPT
from .types import Answers, Step

# Common practice: from here a distance error counts.
DISTANCE_ERROR_D = 0.25
TREMOR_POWER = 3.0


def trial_steps(fit: Fit) -> list[Step]:
    """What is tried before anything is ordered."""
    steps = [_over(fit), *_reach_view(fit)]
    if fit.power >= TREMOR_POWER or fit.person.head_tremor in ("slight", "marked"):
        steps.append(_steady(fit))
    if fit.two:
        steps.append(_fusion())
    steps.append(_first_goal(fit))
    return steps


def has_distance_error(fit: Fit) -> bool:
    """Whether an eye in use needs a distance lens at all."""
    return any(
        fit.person.eye(side).refraction.strongest_meridian_d >= DISTANCE_ERROR_D
        or abs(fit.person.eye(side).refraction.cylinder_d) >= DISTANCE_ERROR_D
        for side in fit.sides
    )


def _over(fit: Fit) -> Step:
    error = has_distance_error(fit)
    lenses = ", ".join(f"{side} {fit.person.eye(side).refraction}" for side in fit.sides)
    if fit.choice.correction == "refocused" and error:
        target, good, doubtful = "plano frame", ("plano frame",), ("own glasses", "trial lenses")
        do = "Glasses off, the telescope in a plano frame: the tube is refocused for the error. Focus on a far target."
        rule = f"the tube takes up the error ({lenses})"
    elif error:
        target, good, doubtful = "own glasses", ("own glasses", "trial lenses"), ()
        do = (
            "Hold or clip the telescope over the person's own distance glasses, or over trial "
            "lenses of the new refraction."
        )
        rule = (
            f"there is a distance error ({lenses}): without it the trial measures the blur, not the telescope"
        )
    else:
        target, good, doubtful = "plano frame", ("plano frame",), ("trial lenses",)
        do = "Mount the telescope on a plano frame of the final size."
        rule = "no distance error in the eye used: own reading glasses would blur the view"
    return Step(
        "trial.over",
        "trial",
        "Tried over what",
        do,
        target,
        "Read the glasses on the lensometer first: an old lens is a distance error too.",
        Choice(("own glasses", "trial lenses", "plano frame")),
        Answers(good, doubtful),
        rule=rule,
        assumed=fit.assumed(*(f"{side}.refraction" for side in fit.sides)),
        remedy="try again over the right correction before judging the device",
    )


def _reach_view(fit: Fit) -> list[Step]:
    position = {
        "bioptic": f"by dropping the head about {deg(fit.device.mount.head_drop_deg or 0, 0)}",
        "full diameter": "by turning the head",
        "low": "by lowering the eyes",
    }[fit.choice.position]
    return [
        Step(
            "trial.finds",
            "trial",
            "Finds the target",
            f"Look at a large letter with the naked eye, then bring the telescope to it {position}.",
            "yes",
            (
                f"Seated; field of {deg(fit.device.leading.field.real_field_deg)}: start with a target "
                "wider than half of it."
            ),
            Choice(("yes", "with help", "no")),
            Answers(("yes",), ("with help",)),
            rule="a view that is not found is no view",
            source="MISSOURI",
            remedy="practise without the telescope first, less power, another position",
        )
    ]


def _steady(fit: Fit) -> Step:
    return Step(
        "trial.steady",
        "trial",
        "Head steady enough",
        (
            "Read a line for half a minute, head free, then supported: the picture moves "
            f"{number(fit.power)} times the head."
        ),
        "steady",
        "Watch the head; ask whether letters jump.",
        Choice(("steady", "steady when supported", "unsteady")),
        Answers(("steady",), ("steady when supported",)),
        rule="head instability foretells failure better than judgement does",
        source="DEMER89",
        remedy="support, less power, shorter looks",
    )


def _fusion() -> Step:
    return Step(
        "trial.fusion",
        "trial",
        "Fuses through the pair",
        "Both tubes on, far target: one picture? Then a prism of 3 base out before one eye: double, then one again?",
        "single",
        "Cover each eye: both pictures must be there.",
        SINGLE,
        SINGLE_ACCEPT,
        rule="no two tubes are ordered without fusion shown",
        source="TONG21",
        remedy="one tube, the better eye",
    )


def _first_goal(fit: Fit) -> Step:
    goals = fit.case.visit.goals
    name = goals[0].name if goals else "what the person came for"
    return Step(
        "trial.task",
        "trial",
        "The first goal, tried",
        f"Try it on the task itself: {name}. Note what was done.",
        "done",
        "At its own distance, in its own light.",
        TASK,
        TASK_ACCEPT,
        rule="the real task is tried before supply",
        source="COLLEGE-LV",
        remedy="try another option of the plan, or more practice with this one",
    )
