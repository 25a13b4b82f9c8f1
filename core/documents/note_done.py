"""The blocks of a chart note that say what was asked, found, done, said and signed: only what is in the record."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import TYPE_CHECKING

from ..case import StepResult
from ..entry import Length, Number, YesNo
from ..fields import by_path, fields
from ..fitting.cautions import standing
from ..fitting.types import Answers, Step
from ..fitting.verdict import verdict_at
from ..signing import verify
from .findings import Item, finding_words, found_items, goal_items
from .note_facts import NoteFacts
from .text import clean

if TYPE_CHECKING:
    from ..timeline import Change, Row

_BRIEF_HISTORY = ("history.diagnosis", "history.onset", "history.stability")
_WARNINGS = ("sudden_loss", "new_distortion", "flashes_or_floaters", "eye_pain", "field_loss_new")

_SECTION_OF = {
    "acuity": "Acuity",
    "refraction": "Refraction",
    "light": "Contrast and light",
    "visual_field": "Visual field",
    "both_eyes": "Both eyes together",
    "face": "Face and frame",
    "trial": "Trial",
    "follow_up": "Follow-up",
}


def _person(facts: NoteFacts) -> list[Item]:
    return [
        item
        for item in found_items(facts.visit, ("Person",), facts.settings)
        if item.label != "Year of birth"
    ]


def _history(facts: NoteFacts) -> list[Item]:
    """Everything asked, in the order of the form; what was answered no stands together in the place of the first."""
    items = found_items(facts.visit, ("History",), facts.settings)
    denied = {
        field.label
        for field in fields()
        if field.section == "History"
        and isinstance(field.kind, YesNo)
        and facts.visit.value(field.path) is False
        and facts.visit.findings[field.path].status == "measured"
    }
    if len(denied) < 2:
        return items
    first = next(place for place, item in enumerate(items) if item.label in denied)
    words = ", ".join(item.label.lower() for item in items if item.label in denied)
    kept = [item for item in items if item.label not in denied]
    return [*kept[:first], Item("Asked and answered no", words), *kept[first:]]


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
        # An answer stands in its verdict; a number stands beside its target.
        numbers = not isinstance(step.accept, Answers)
        parts = [
            f"measured {_as_measured(step, result.measured)}" if result.measured and numbers else "",
            f"target {clean(step.target)}" if step.target and numbers else "",
            "not measured" if found.state == "open" else f"{found.state}: {clean(found.sentence)}",
            clean(result.note),
            clean(_who_else(facts, result)),
        ]
        items.append(Item(step.heading, "; ".join(part.rstrip(".") for part in parts if part)))
    return items


def _as_measured(step: Step, typed: str) -> str:
    """What was typed, with the unit of the step where a bare number was typed."""
    words = clean(typed)
    bare = isinstance(step.kind, Number | Length) and not re.search(r"[^\d\s.,+\-\u2212]", words)
    return f"{words} {step.kind.unit}".rstrip() if bare else words


def _who_else(facts: NoteFacts, result: StepResult) -> str:
    """Who and when, as far as it differs from the examiner and the day at the head of the note."""
    by = "" if result.by == (facts.visit.value("person.examiner") or "") else result.by
    on = "" if result.at is None or result.at.date() == facts.visit.on else result.at.date().isoformat()
    return ", ".join(part for part in (by, on) if part)


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


def _changes(facts: NoteFacts) -> list[Item]:
    """Only what was measured again at this visit; a first visit has nothing to compare with."""
    if len(facts.case.visits) < 2:
        return []
    from ..timeline import timeline

    rows = timeline(facts.case, facts.settings).rows
    found = [f"{row.label} {change.words}" for row in rows if (change := _compared(row)) is not None]
    return [Item("Since it was last measured", "; ".join(found))] if found else []


def _compared(row: Row) -> Change | None:
    """The change of a value measured at this visit against its last measurement; a choice that stands is none."""
    change = row.cells[-1].change
    if change is None or change.direction in ("first", "not measured"):
        return None
    return None if row.key == "device" and change.direction == "same" else change


def _free_notes(facts: NoteFacts) -> list[Item]:
    words = clean(facts.visit.notes, lines=True)
    return [Item("", line) for line in words.split("\n")] if words else []


def _signature(facts: NoteFacts) -> list[Item]:
    signed = facts.visit.signature
    if signed is None:
        return [Item("", "Not signed.")]
    digest = clean(signed.digest).rpartition(":")[2]
    return [Item("", f"{clean(verify(facts.case).sentence)} Content digest {digest[:16]}.")]


def _addenda(facts: NoteFacts) -> list[Item]:
    items = []
    for each in facts.visit.addenda:
        items.append(Item("", f"{each.at:%Y-%m-%d %H:%M}, {clean(each.by)}:"))
        items.extend(Item("", line) for line in clean(each.text, lines=True).split("\n"))
    return items


def _section(name: str) -> Callable[[NoteFacts], list[Item]]:
    return lambda facts: found_items(facts.visit, (name,), facts.settings)


DONE_BLOCKS: dict[str, Callable[[NoteFacts], list[Item]]] = {
    "person": _person,
    "history": _history,
    "history_brief": _history_brief,
    "goals": lambda facts: goal_items(facts.visit, facts.settings),
    **{name: _section(section) for name, section in _SECTION_OF.items()},
    "fitting": _fitting,
    "fitting_brief": _fitting_brief,
    "changes": _changes,
    "cautions": _cautions,
    "training": _training,
    "training_brief": _training_brief,
    "free_notes": _free_notes,
    "signature": _signature,
    "addenda": _addenda,
}
