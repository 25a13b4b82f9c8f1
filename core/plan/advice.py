"""One eye or two: a recommendation with reasons, and the two rules of common practice that disagree, both shown."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

from ..configuration import EyeChoice
from ..goals import Demand
from ..person import Person
from .asked import first_eye
from .context import Context
from .doubts import spoils_the_other
from .formulas import interocular_difference_logmar
from .types import EyeAdvice, Rule, Side
from .verdict import fusion_doubt, small_reserves

Advised = EyeChoice | Literal["measure first"]

CONTRAST_ALIKE_LOG = 0.15
FIELD_ALIKE_SHARE = 0.7
ANISOMETROPIA_D = 2.0


def eye_advice(context: Context, demands: Sequence[Demand]) -> EyeAdvice:
    """Which eye, or both. It advises; nothing is chosen by default."""
    right, left, person = context.right, context.left, context.person
    if not right.usable and not left.usable:
        words = "Neither eye has an acuity to compute with; no telescope is advised."
        return EyeAdvice("measure first", words, (right.closed, left.closed), (), None, None, person.fusion)
    lead: Side = first_eye(context, demands)
    if not (right.usable and left.usable):
        other = context.eye("left" if lead == "right" else "right")
        words = f"The {lead} eye, the only one that can be computed with."
        return EyeAdvice(lead, words, (other.closed,), (), lead, None, person.fusion)
    difference = None
    if right.logmar is not None and left.logmar is not None:
        difference = interocular_difference_logmar(right.logmar, left.logmar)
    alike = difference is not None and difference <= context.figures.interocular_rule_logmar
    speaks_two, speaks_one = _evidence(context, demands, difference)
    close = Rule(
        "two tubes only when the acuities are alike",
        _says(person, alike and not only_near(demands), lead),
        tuple(speaks_two) if alike else tuple(speaks_one),
        tuple(speaks_one) if alike else tuple(speaks_two),
    )
    wide = Rule(
        "two tubes even with a poor fellow eye, for field, comfort and finding things",
        _says(person, not only_near(demands), lead),
        tuple(speaks_two),
        tuple(speaks_one),
    )
    choice, words = _choose(context, demands, difference, alike)
    return EyeAdvice(
        choice, words, (*speaks_two, *speaks_one), (close, wide), lead, difference, person.fusion
    )


def only_near(demands: Sequence[Demand]) -> bool:
    """Whether all goals lie near: parallel tubes ask too much convergence there, whatever a rule says of acuities."""
    usable = [demand for demand in demands if demand.usable]
    return bool(usable) and all(demand.kind == "near" for demand in usable)


def _says(person: Person, two: bool, lead: Side) -> Advised:
    """What a rule comes to for eyes that fuse, do not, or were not tried."""
    apart = person.suppression in ("right", "left", "alternating") or person.double_vision == "always"
    if not two or apart or person.fusion is False:
        return lead
    return "measure first" if person.fusion is None else "both"


def _choose(
    context: Context, demands: Sequence[Demand], difference: float | None, alike: bool
) -> tuple[Advised, str]:
    person, lead = context.person, first_eye(context, demands)
    better = f"the {lead} eye, which sees better" if difference and difference >= 0.02 else f"the {lead} eye"
    if lead != context.leading:
        better = f"the {lead} eye, which reads smaller print"
    if person.suppression in ("right", "left", "alternating"):
        return (
            lead,
            f"One eye, {better}: suppression is recorded ({person.suppression}), so a second tube would add nothing "
            "but weight.",
        )
    if person.fusion is False:
        return lead, f"One eye, {better}: without fusion two tubes show two pictures."
    if person.double_vision == "always":
        return lead, f"One eye, {better}: double vision is there all the time."
    if not alike:
        gap = "not known" if difference is None else f"{difference:.2f} log"
        return (
            lead,
            f"One eye, {better}: the difference between the eyes is {gap}. The other rule is shown beside it.",
        )
    if only_near(demands):
        return (
            lead,
            f"One eye, {better}: parallel tubes ask far too much convergence at near, unless caps with base-in prism "
            "take it away.",
        )
    if person.fusion is None:
        return (
            "measure first",
            "The acuities are alike: show fusion through a trial pair before two tubes are weighed.",
        )
    doubt = fusion_doubt(person)
    if doubt:
        return (
            "both",
            f"Two tubes: the acuities are alike and fusion was shown; but {doubt}: try the pair first.",
        )
    return "both", "Two tubes: the acuities are alike and fusion was shown."


def _degrees(fields: tuple[float | None, float | None]) -> str:
    return f" (right {fields[0]:g}, left {fields[1]:g} degrees)"


def _evidence(
    context: Context, demands: Sequence[Demand], difference: float | None
) -> tuple[list[str], list[str]]:
    """What speaks for two tubes, and what for one, in this person."""
    two: list[str] = []
    one: list[str] = []
    person, right, left = context.person, context.right, context.left
    rule = context.figures.interocular_rule_logmar
    if difference is not None:
        words = f"the acuities differ by {difference:.2f} log"
        (two if difference <= rule else one).append(
            f"{words}, {'within' if difference <= rule else 'over'} {rule:.2f}"
        )
    if person.fusion is True:
        two.append("fusion was shown")
    elif person.fusion is False:
        one.append("there is no fusion")
    else:
        one.append("fusion has not been tested")
    if spoils_the_other(context):
        one.append("both eyes together see less than the better one alone")
    if person.suppression in ("right", "left", "alternating"):
        one.append(f"suppression: {person.suppression}")
    if person.double_vision in ("sometimes", "always"):
        one.append(f"double vision {person.double_vision}")
    fields = (right.visual_field_deg, left.visual_field_deg)
    if fields[0] is not None and fields[1] is not None:
        share = min(fields) / max(max(fields), 1.0)  # type: ignore[type-var]
        if share >= FIELD_ALIKE_SHARE:
            two.append(f"both eyes have a like field{_degrees(fields)}, so two tubes keep it")
        else:
            one.append(
                f"the fields are unlike{_degrees(fields)}; the wider one is best left free to look around"
            )
    unlike = abs(right.log_cs - left.log_cs)
    if unlike >= CONTRAST_ALIKE_LOG:
        one.append(f"contrast sensitivity differs by {unlike:.2f} log")
    gap = abs(right.sphere_d - left.sphere_d)
    if gap >= ANISOMETROPIA_D:
        one.append(
            f"refractions {gap:.1f} D apart: refocused tubes would differ in power; correct behind the oculars"
        )
    one.extend(small_reserves(person))
    if any(
        demand.eyes == "two" or (demand.duration == "long" and demand.kind == "distance")
        for demand in demands
    ):
        two.append("long looking is wanted, which two eyes bear better")
    if any(demand.eyes == "one" for demand in demands):
        one.append("one eye is asked for")
    if any(demand.posture in ("standing", "walking") for demand in demands):
        one.append("the free eye keeps the surroundings and sees into the hidden ring")
    if person.dominance in ("right", "left"):
        one.append(f"the {person.dominance} eye is dominant")
    return two, one
