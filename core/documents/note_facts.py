"""What each placeholder of a chart note stands for: words, and blocks of lines, made from case, plan and sheet.

The set is closed and documented here. A block says only what was done: what is not in the record is not in the note.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import cached_property

from ..assumptions import ASSUMPTIONS
from ..case import Case, StepResult, Visit
from ..fields import by_path, goal_by_key
from ..fitting.cautions import standing
from ..fitting.types import FittingSheet, Step
from ..fitting.verdict import verdict_at
from ..goals import Demand
from ..plan.types import Option, Plan
from ..settings import Settings
from .findings import Item, finding_words, found_items, goal_items, goal_key_words, value_of_goal
from .numbers import choice_words, device_numbers, outcome_numbers, unresolved_choice_words
from .options import chosen_option, refusal_of
from .template import Placeholder
from .text import clean
from .version import made_by

_WORDS = (
    Placeholder("code", "the patient code"),
    Placeholder("date", "the day of the visit, year first"),
    Placeholder("kind", "examination, fitting or follow-up"),
    Placeholder("age", "the age on that day, in years"),
    Placeholder("examiner", "whoever examined"),
    Placeholder("clinic", "the clinic, from the settings"),
    Placeholder("next_step", "what is to be done next"),
    Placeholder("next_date", "the day of the next visit"),
    Placeholder("made_by", "version of the program and of its formulas"),
)
_BLOCKS = (
    Placeholder("person", "work, school, day", True),
    Placeholder("history", "everything asked in the history", True),
    Placeholder(
        "history_brief", "eye condition, onset, course and each warning sign that was answered yes", True
    ),
    Placeholder("goals", "the goals in their rank, with their figures", True),
    Placeholder("acuity", "acuities, print, reading curves, with chart and distance", True),
    Placeholder("refraction", "refraction, vertex, add, accommodation", True),
    Placeholder("light", "contrast, pupils, glare, colour", True),
    Placeholder("visual_field", "scotoma and seeing field", True),
    Placeholder("both_eyes", "dominance, fusion, reserves, double vision", True),
    Placeholder("face", "PDs, heights, vertex, frame", True),
    Placeholder("trial", "what was tried and what was seen through it", True),
    Placeholder("fitting", "each step with target, measured value and verdict", True),
    Placeholder("fitting_brief", "how many steps were done, and those that need attention", True),
    Placeholder("follow_up", "use, problems, what happens to the device", True),
    Placeholder("referrals", "prompts to refer, with their urgency", True),
    Placeholder("decision", "what the computation advises, in a sentence", True),
    Placeholder("needs", "what each goal asks of any device", True),
    Placeholder("eye_advice", "one eye or two, with the reasons", True),
    Placeholder("device", "the numbers of the chosen device, each with its criterion", True),
    Placeholder("device_brief", "the few of them that matter most", True),
    Placeholder(
        "outcomes", "what the chosen device does for each goal, each number with its criterion", True
    ),
    Placeholder("outcomes_brief", "the few of them that matter most", True),
    Placeholder("alternatives", "near goals: what other near devices would do", True),
    Placeholder("assumed", "every value that was assumed, and the clinic's own settings", True),
    Placeholder("choice", "the chosen telescope, eye, position, mount, cap, correction, focus", True),
    Placeholder("choice_reason", "the practitioner's reason for it", True),
    Placeholder("cautions", "the cautions given, and whether they were understood", True),
    Placeholder("training", "each training session", True),
    Placeholder("training_brief", "how many sessions there were", True),
    Placeholder("free_notes", "what the practitioner typed, kept apart", True),
    Placeholder("signature", "who signed when, or that nobody did", True),
    Placeholder("addenda", "later words, dated", True),
)
PLACEHOLDERS = {each.name: each for each in (*_WORDS, *_BLOCKS)}
# What a clinic's own template may not leave out.
REQUIRED = ("assumed", "cautions", "made_by")

_BRIEF_HISTORY = ("history.diagnosis", "history.onset", "history.stability")
_WARNINGS = ("sudden_loss", "new_distortion", "flashes_or_floaters", "eye_pain", "field_loss_new")


@dataclass(frozen=True)
class NoteFacts:
    """Case, plan and sheet of one visit, read through the placeholders."""

    case: Case
    plan: Plan | None
    sheet: FittingSheet | None
    settings: Settings

    @property
    def visit(self) -> Visit:
        """The visit that the note is about."""
        return self.case.visit

    def word(self, name: str) -> str:
        """The words for a word placeholder, "" when there is nothing to say."""
        visit = self.visit
        age = self.case.age_years()
        words: dict[str, Callable[[], object]] = {
            "code": lambda: self.case.code,
            "date": lambda: visit.on.isoformat(),
            "kind": lambda: visit.kind.capitalize(),
            "age": lambda: "" if age is None else age,
            "examiner": lambda: visit.value("person.examiner") or "",
            "clinic": lambda: self.settings.clinic,
            "next_step": lambda: visit.value("plan.next_step") or "",
            "next_date": lambda: visit.value("plan.next_date") or "",
            "made_by": made_by,
        }
        return clean(words[name]())

    def block(self, name: str) -> list[Item]:
        """The lines for a block placeholder, none when there is nothing to say."""
        made = _BLOCK_MAKERS.get(name)
        if made is not None:
            return made(self)
        return found_items(self.visit, (_SECTION_OF[name],), self.settings)

    @cached_property
    def option(self) -> Option | None:
        """The chosen option as the plan evaluates it."""
        return chosen_option(self.plan, self.visit.choice, self.settings)


_SECTION_OF = {
    "acuity": "Acuity",
    "refraction": "Refraction",
    "light": "Contrast and light",
    "visual_field": "Visual field",
    "both_eyes": "Both eyes together",
    "face": "Face and frame",
    "trial": "Trial",
    "follow_up": "Follow-up",
    "history": "History",
}


def _person(facts: NoteFacts) -> list[Item]:
    return [
        item
        for item in found_items(facts.visit, ("Person",), facts.settings)
        if item.label != "Year of birth"
    ]


def _history_brief(facts: NoteFacts) -> list[Item]:
    paths = [path for path in _BRIEF_HISTORY if path in facts.visit.findings]
    paths += [f"history.{key}" for key in _WARNINGS if facts.visit.value(f"history.{key}") is True]
    declared = by_path()
    found = facts.visit.findings
    return [Item(declared[p].label, finding_words(declared[p], found[p], facts.settings)) for p in paths]


def _steps(facts: NoteFacts) -> list[Step]:
    """The steps of the sheet at a visit where fitting was done; before it, the sheet is only a forecast."""
    steps = list(facts.sheet or ())
    done = facts.visit.kind == "fitting" or any(step.key in facts.visit.steps for step in steps)
    return steps if done else []


def _fitting(facts: NoteFacts) -> list[Item]:
    items = []
    for step in _steps(facts):
        result = facts.visit.steps.get(step.key, StepResult())
        found = verdict_at(step, facts.visit)
        if found.state == "open" and not result.note:
            continue
        who = ", ".join(
            part for part in (result.by, "" if result.at is None else f"{result.at:%Y-%m-%d}") if part
        )
        parts = [
            f"measured {clean(result.measured)}" if result.measured else "",
            f"target {clean(step.target)}" if step.target else "",
            "not measured" if found.state == "open" else f"{found.state}: {clean(found.sentence)}",
            clean(result.note),
            clean(who),
        ]
        items.append(Item(step.heading, "; ".join(part.rstrip(".") for part in parts if part)))
    return items


def _fitting_brief(facts: NoteFacts) -> list[Item]:
    steps = [step for step in _steps(facts) if not step.optional]
    done = [(step, found) for step in steps if (found := verdict_at(step, facts.visit)).state != "open"]
    if not done:
        return []
    attention = [step.heading for step, found in done if found.state in ("check", "no")]
    words = f"{len(done)} of {len(steps)} done"
    return [
        Item("Fitting steps", f"{words}; needing attention: {'; '.join(attention)}" if attention else words)
    ]


def _referrals(facts: NoteFacts) -> list[Item]:
    if facts.plan is None or not facts.visit.findings:
        return []
    return [Item(f"Refer, {each.urgency}", clean(each.sentence)) for each in facts.plan.referrals]


def _decision(facts: NoteFacts) -> list[Item]:
    if facts.plan is None or not facts.visit.findings:
        return []
    option = facts.option
    choice = facts.visit.choice
    if choice is not None and option is None:
        reason = refusal_of(facts.plan, choice, facts.settings)
        return [Item("Computed advice", f"the chosen device is not advised: {reason}")]
    decision = facts.plan.decision if option is None else option.decision
    word = {"prefer-alternative": "prefer an alternative"}.get(decision.word, decision.word)
    items = [Item("Computed advice", f"{word}: {clean(decision.sentence)}")]
    return items + _plan_cautions(facts.plan)


def _plan_cautions(plan: Plan) -> list[Item]:
    """The cautions about the computation go wherever its results go; the foot of the note holds one of them."""
    if not plan.options:
        return []
    words = " ".join(
        _ended(clean(each.sentence)) for each in plan.cautions if each.mandatory and each.key != "judgement"
    )
    return [Item("Cautions about it", words)] if words else []


def _needs(facts: NoteFacts) -> list[Item]:
    # Without any option the decision says why, and a need would only repeat it.
    needs = facts.plan.needs if facts.plan and facts.plan.options else ()
    return [Item(f"Needed for goal {need.goal_index + 1}", clean(need.sentence)) for need in needs]


def _eye_advice(facts: NoteFacts) -> list[Item]:
    if facts.plan is None or not facts.plan.options:
        return []
    advice = facts.plan.eye_advice
    reasons = "; ".join(clean(reason).rstrip(".") for reason in advice.reasons)
    words = clean(advice.sentence)
    return [Item("One eye or two", f"{_ended(words)} Reasons: {reasons}" if reasons else words)]


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
    tables = facts.plan.alternatives if facts.plan else ()
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
    shown = "" if value is None else f" {value_of_goal(field, value)}"
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
    return [Item("Chosen", unresolved_choice_words(choice) if option is None else choice_words(option))]


def _choice_reason(facts: NoteFacts) -> list[Item]:
    reason = clean(facts.visit.choice_reason)
    return [Item("Reason", reason)] if reason else []


def _cautions(facts: NoteFacts) -> list[Item]:
    given: dict[str, list[str]] = {"understood": [], "given": []}
    for each in standing(facts.case):
        if each.state in given:
            earlier = "" if each.on in (None, facts.visit.on) else f" ({each.on})"
            given[each.state].append(f"{each.text.title}{earlier}")
    labels = (
        ("understood", "Cautions given and understood"),
        ("given", "Cautions given, not yet understood"),
    )
    return [Item(label, "; ".join(given[state])) for state, label in labels if given[state]]


def _training(facts: NoteFacts) -> list[Item]:
    items = []
    for session in facts.visit.training:
        minutes = "" if session.minutes is None else f", {session.minutes:g} min"
        result = f": {clean(session.result)}" if session.result else ""
        items.append(Item(f"Training {session.on.isoformat()}", f"{clean(session.stage)}{minutes}{result}"))
    return items


def _training_brief(facts: NoteFacts) -> list[Item]:
    sessions = facts.visit.training
    if not sessions:
        return []
    stages = ", ".join(dict.fromkeys(clean(session.stage) for session in sessions))
    return [Item("Training", f"{len(sessions)} session{'s' if len(sessions) > 1 else ''}: {stages}")]


def _free_notes(facts: NoteFacts) -> list[Item]:
    words = clean(facts.visit.notes, lines=True)
    return [Item("", line) for line in words.split("\n")] if words else []


def _signature(facts: NoteFacts) -> list[Item]:
    signed = facts.visit.signature
    if signed is None:
        return [Item("", "Not signed.")]
    return [
        Item("", f"{clean(signed.signer)}, {signed.at:%Y-%m-%d %H:%M}, content {clean(signed.digest)[:16]}")
    ]


def _addenda(facts: NoteFacts) -> list[Item]:
    items = []
    for each in facts.visit.addenda:
        items.append(Item("", f"{each.at:%Y-%m-%d %H:%M}, {clean(each.by)}:"))
        items.extend(Item("", line) for line in clean(each.text, lines=True).split("\n"))
    return items


def _ended(sentence: str) -> str:
    return sentence if sentence.endswith((".", "!", "?")) or not sentence else f"{sentence}."


_BLOCK_MAKERS: dict[str, Callable[[NoteFacts], list[Item]]] = {
    "person": _person,
    "history_brief": _history_brief,
    "goals": lambda facts: goal_items(facts.visit, facts.settings),
    "fitting": _fitting,
    "fitting_brief": _fitting_brief,
    "referrals": _referrals,
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
    "cautions": _cautions,
    "training": _training,
    "training_brief": _training_brief,
    "free_notes": _free_notes,
    "signature": _signature,
    "addenda": _addenda,
}
# Typed by people, several lines long: set off with a bar, so that nothing in them can pass for computed text.
TYPED_BLOCKS: Iterable[str] = frozenset({"free_notes", "addenda"})
