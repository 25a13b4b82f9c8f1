"""What was recorded, as lines of a document: driven by the field declarations, in their order.

Only what is in the record appears. The same question asked of each eye becomes one line. A value that was carried
over or confirmed rather than measured says so, and one that could not be read stands as it was typed.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, NamedTuple

from ..acuity import Acuity, OffChart, format_acuity
from ..case import Finding, Visit
from ..entry import Day, NearKind, RefractionKind, Words
from ..errors import Refusal
from ..fields import GOAL_FIELDS, Field, fields
from ..refraction import Refraction
from ..settings import Settings
from .text import clean

_EYE_ENDINGS = (
    (", right eye", "right"),
    (", left eye", "left"),
    (", both eyes", "both"),
    (", right", "right"),
    (", left", "left"),
)
_STATUS_WORDS = {"measured": "", "carried over": "carried over", "confirmed": "assumed value, confirmed"}
_SENT_ELSEWHERE = {"person.examiner", "plan.next_step", "plan.next_date"}


class Item(NamedTuple):
    """A line of a document: what it is about, and the words. Without a label it is a sentence of its own."""

    label: str
    text: str


def found_items(visit: Visit, sections: Iterable[str], settings: Settings) -> list[Item]:
    """What was found in some sections of the form, one item a question, both eyes on one line."""
    wanted = set(sections)
    shown: dict[str, list[tuple[str, Field, Finding]]] = {}
    for field in fields():
        finding = visit.findings.get(field.path)
        if field.section not in wanted or finding is None or field.path in _SENT_ELSEWHERE:
            continue
        label, eye = _label_and_eye(field)
        shown.setdefault(label, []).append((eye, field, finding))
    return [Item(label, _line(parts, settings)) for label, parts in shown.items()]


def _line(parts: list[tuple[str, Field, Finding]], settings: Settings) -> str:
    """The values of one question; how they came to be known stands once where it is the same for all."""
    alike = {finding.status for _, _, finding in parts}
    readable = all(finding.value is not None for _, _, finding in parts)
    once = len(parts) > 1 and len(alike) == 1 and readable
    words = [
        f"{eye} {finding_words(field, finding, settings, with_status=not once)}".strip()
        for eye, field, finding in parts
    ]
    status = _STATUS_WORDS[alike.pop()] if once else ""
    which = "both " if len(parts) == 2 else "all "
    return "; ".join(words) + (f" ({which}{status})" if status else "")


def finding_words(field: Field, finding: Finding, settings: Settings, *, with_status: bool = True) -> str:
    """A value in the clinic's notation, with how it came to be known when it was not measured."""
    if finding.value is None:
        return f'not understood, typed "{clean(finding.typed)}"'
    words = value_words(field, finding.value, settings)
    typed = _as_typed(field, finding, settings)
    status = _STATUS_WORDS[finding.status] if with_status else ""
    remarks = "; ".join(remark for remark in (typed, status) if remark)
    if not remarks:
        return words
    return f"{words[:-1]}; {remarks})" if words.endswith(")") else f"{words} ({remarks})"


def value_words(field: Field, value: Any, settings: Settings) -> str:
    """A value in the clinic's notation."""
    if isinstance(value, Acuity | OffChart):
        return acuity_words(value, settings)
    if isinstance(value, Refraction):
        return refraction_words(value, settings)
    if isinstance(field.kind, Words):
        return clean(value)
    if isinstance(field.kind, Day):
        return value.isoformat()
    if isinstance(field.kind, NearKind):
        return clean(field.kind.echo(value))
    return clean(field.kind.echo(value, settings.acuity_notation))


def acuity_words(value: Acuity | OffChart, settings: Settings) -> str:
    """An acuity in the clinic's notation with its logMAR; a category in words."""
    if isinstance(value, OffChart):
        place = format_acuity(value, "logmar").removeprefix(value.category)
        return f"{value.name}{place}"
    return logmar_words(value.logmar, settings)


def logmar_words(logmar: float, settings: Settings) -> str:
    """A logMAR in the clinic's notation, with the number behind it.

    What no chart and no notation has (a strong tube before a sharp eye) stands as the number alone.
    """
    try:
        shown = format_acuity(Acuity(logmar), settings.acuity_notation)
    except Refusal:
        return f"{_two_places(logmar)} logMAR"
    return shown if shown.endswith("logMAR") else f"{shown} ({_two_places(logmar)} logMAR)"


def _two_places(value: float) -> str:
    shown = f"{value:.2f}"
    return shown.removeprefix("-") if float(shown) == 0 else shown


def refraction_words(value: Refraction, settings: Settings) -> str:
    """A refraction in the clinic's cylinder form."""
    if settings.cylinder == "minus":
        return str(value.minus_cylinder())
    return str(value.plus_cylinder() if settings.cylinder == "plus" else value)


def goal_items(visit: Visit, settings: Settings) -> list[Item]:
    """The goals in their rank, one item each with its figures."""
    items = []
    for number, goal in enumerate(visit.goals, 1):
        figures = []
        for field in GOAL_FIELDS:
            finding = goal.findings.get(field.path)
            if field.path == "task" or finding is None:
                continue
            words = finding_words(field, finding, settings)
            # A detail says itself what it is: print, letters, an acuity.
            figures.append(words if field.path == "detail" else f"{goal_key_words(field.path)} {words}")
        name = clean(goal.name)
        items.append(Item(f"Goal {number}", f"{name}: {', '.join(figures)}" if figures else name))
    return items


def goal_key_words(key: str) -> str:
    """The name of a goal's figure as it reads in a line: ``hands free``."""
    return key.replace("_", " ")


def value_of_goal(field: Field, value: Any) -> str:
    """A figure of a goal in words."""
    shown = value if isinstance(field.kind, Words) else field.kind.echo(value)
    return clean(shown)


def _label_and_eye(field: Field) -> tuple[str, str]:
    for ending, eye in _EYE_ENDINGS:
        if field.label.endswith(ending):
            return field.label.removesuffix(ending), eye
    return field.label, ""


def _as_typed(field: Field, finding: Finding, settings: Settings) -> str:
    """The typed text where the reading is shown in another notation than it was typed in."""
    value = finding.value
    if isinstance(value, Acuity):
        # The logMAR stands beside every acuity, so one typed in logMAR needs no second mention.
        other = value.notation not in (settings.acuity_notation, "logmar")
        return f"typed {clean(finding.typed)}" if other else ""
    if isinstance(field.kind, RefractionKind) and settings.cylinder != "as typed":
        return f"typed {clean(finding.typed)}" if refraction_words(value, settings) != str(value) else ""
    return ""
