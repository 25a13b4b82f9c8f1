"""The blocks of a chart note that were computed or chosen: advice, numbers with their criterion, assumptions."""

from __future__ import annotations

from collections.abc import Callable

from ..assumptions import ASSUMPTIONS
from ..case import Visit
from ..entry_clinical import DetailKind
from ..fields import by_path, goal_by_key
from ..goals import Demand
from ..plan.alternatives import with_telescope
from ..plan.cautions import cautions_for
from ..plan.context import context_of
from ..plan.types import Plan
from .findings import Item, goal_key_words, value_of_goal
from .note_facts import NoteFacts
from .numbers import choice_words, device_numbers, outcome_numbers, unresolved_choice_words
from .options import refusal_of
from .text import clean


def _referrals(facts: NoteFacts, *, urgent: bool) -> list[Item]:
    if facts.plan is None or not facts.visit.findings:
        return []
    chosen = [each for each in facts.plan.referrals if (each.urgency == "same day") is urgent]
    return [Item(f"Refer, {each.urgency}", clean(each.sentence)) for each in chosen]


def _decision(facts: NoteFacts) -> list[Item]:
    """The advice, and of which device it speaks: the chosen one, else the one that came first."""
    if facts.plan is None or not facts.visit.findings:
        return []
    option = facts.option
    choice = facts.visit.choice
    if choice is not None and option is None:
        reason = refusal_of(facts.plan, choice, facts.settings)
        return [Item("Computed advice", f"the chosen device is not advised: {reason}")]
    decision = facts.plan.decision if option is None else option.decision
    word = {"prefer-alternative": "prefer an alternative"}.get(decision.word, decision.word)
    label = "Computed advice" if option is None else "Computed advice on the chosen device"
    items = [Item(label, f"{word}; {clean(decision.sentence)}")]
    best = facts.plan.best if option is None else None
    if best is not None:
        items.append(Item("First of the options computed", choice_words(best)))
    return items + _plan_cautions(facts, facts.plan)


def _plan_cautions(facts: NoteFacts, plan: Plan) -> list[Item]:
    """The cautions about the computation go wherever its results go; the foot of the note holds one of them.

    They are those of the device that the note is about, which need not be the one that came first.
    """
    if not plan.options:
        return []
    cautions = plan.cautions
    if facts.option is not None:
        cautions = cautions_for(context_of(plan.person, facts.settings), facts.option, plan.demands)
    words = " ".join(
        _ended(clean(each.sentence)) for each in cautions if each.mandatory and each.key != "judgement"
    )
    return [Item("Cautions that go with it", words)] if words else []


def _needs(facts: NoteFacts) -> list[Item]:
    # Without any option the decision says why, and a need would only repeat it.
    needs = facts.plan.needs if facts.plan and facts.plan.options else ()
    return [Item(f"Needed for goal {need.goal_index + 1}", clean(need.sentence)) for need in needs]


def _eye_advice(facts: NoteFacts) -> list[Item]:
    if facts.plan is None or not facts.plan.options:
        return []
    advice = facts.plan.eye_advice
    words = _ended(clean(advice.sentence))
    if not advice.rules:
        reasons = "; ".join(clean(reason).rstrip(".") for reason in advice.reasons)
        return [Item("One eye or two", f"{words} Reasons: {reasons}" if reasons else words)]
    # The wider rule is for two tubes whatever the acuities are: what speaks for it speaks for two, the rest for one.
    for name, found in (("two", advice.rules[-1].speaks_for), ("one", advice.rules[-1].speaks_against)):
        if found:
            words += f" For {name}: {'; '.join(clean(reason).rstrip('.') for reason in found)}."
    return [Item("One eye or two", words)]


def _device(facts: NoteFacts, brief: bool = False) -> list[Item]:
    option = facts.option
    if option is None:
        return []
    return [shown.item() for shown in device_numbers(option) if shown.brief or not brief]


def _outcomes(facts: NoteFacts, brief: bool = False) -> list[Item]:
    option = facts.option
    if option is None:
        return []
    items: list[Item] = []
    for outcome in option.outcomes:
        items.append(Item(f"Goal {outcome.goal_index + 1}", clean(outcome.sentence)))
        numbers = outcome_numbers(option, outcome, facts.settings)
        items.extend(shown.item() for shown in numbers if shown.brief or not brief)
    return items


def _alternatives(facts: NoteFacts) -> list[Item]:
    plan, option = facts.plan, facts.option
    tables = plan.alternatives if plan else ()
    if plan is not None and option is not None:
        # The note is about the chosen device, which need not be the one that serves this goal best.
        tables = tuple(with_telescope(plan, table, option) for table in tables)
    return [Item(f"Near devices for goal {table.goal_index + 1}", clean(table.sentence)) for table in tables]


def _assumed(facts: NoteFacts) -> list[Item]:
    items: list[Item] = []
    declared = by_path()
    if facts.plan is not None:
        for path, sentence in facts.plan.assumptions_used.items():
            if not _leaned_on(path, facts):
                continue
            field = declared.get(path)
            items.append(Item(field.label if field else path.replace("_", " "), clean(sentence)))
        for demand in facts.plan.demands if facts.plan.options else ():
            if demand.assumed:
                words = "; ".join(_goal_figure(demand, key, source) for key, source in demand.assumed.items())
                items.append(Item(f"Goal {demand.index + 1}", words))
    items.extend(_carried(facts.visit))
    own = {
        name: value
        for name, value in facts.settings.assumptions.items()
        if value != ASSUMPTIONS[name].default
    }
    if own:
        words = ", ".join(
            f"{name.replace('_', ' ')} {value:g} instead of {ASSUMPTIONS[name].default:g}"
            for name, value in sorted(own.items())
        )
        items.append(Item("The clinic's own settings", words))
    return items


def _leaned_on(path: str, facts: NoteFacts) -> bool:
    """Whether a number of this note can rest on an assumed value: none does while nothing could be computed."""
    if facts.plan is None or not facts.plan.options:
        return False
    if facts.option is None:
        return True
    table, _, key = path.partition(".")
    fellow = table in ("right", "left") and table not in facts.option.configuration.eyes
    return not (fellow and key != "refraction") and not (path == "face.reach" and facts.option.cap is None)


def _goal_figure(demand: Demand, key: str, source: str) -> str:
    """A figure that the goal did not give: what was taken, and from where."""
    field = goal_by_key().get(key)
    if field is None:
        return f"{goal_key_words(key)} ({clean(source)})"
    value = getattr(demand, f"{key}_mm", None)
    value = getattr(demand, key, None) if value is None else value
    if value is None:
        shown = ""
    elif isinstance(field.kind, DetailKind):
        # The demand holds a detail by its size alone.
        shown = f" {value:g} mm"
    else:
        shown = f" {value_of_goal(field, value)}"
    return f"{goal_key_words(key)}{shown} ({clean(source)})"


def _carried(visit: Visit) -> list[Item]:
    """How many values are from an earlier visit; each is marked where it stands."""
    count = sum(found.status == "carried over" for found in visit.findings.values())
    words = f"{count} value{'s' if count > 1 else ''}, not measured again at this visit"
    return [Item("Carried over from an earlier visit", words)] if count else []


def _choice(facts: NoteFacts) -> list[Item]:
    choice = facts.visit.choice
    if choice is None:
        return []
    option = facts.option
    items = [Item("Chosen", unresolved_choice_words(choice) if option is None else choice_words(option))]
    if facts.plan is not None:
        from ..fitting.carrier import carrier_question

        asked = (carrier_question(facts.plan.person, choice, side) for side in choice.eyes)
        items.extend(Item("To settle before the order", clean(each)) for each in asked if each)
    return items


def _choice_reason(facts: NoteFacts) -> list[Item]:
    reason = clean(facts.visit.choice_reason)
    return [Item("Reason", reason)] if reason else []


def _ended(sentence: str) -> str:
    return sentence if sentence.endswith((".", "!", "?")) or not sentence else f"{sentence}."


COMPUTED_BLOCKS: dict[str, Callable[[NoteFacts], list[Item]]] = {
    "urgent": lambda facts: _referrals(facts, urgent=True),
    "referrals": lambda facts: _referrals(facts, urgent=False),
    "decision": _decision,
    "needs": _needs,
    "eye_advice": _eye_advice,
    "device": _device,
    "device_brief": lambda facts: _device(facts, brief=True),
    "outcomes": _outcomes,
    "outcomes_brief": lambda facts: _outcomes(facts, brief=True),
    "alternatives": _alternatives,
    "assumed": _assumed,
    "choice": _choice,
    "choice_reason": _choice_reason,
}
