"""The case: everything recorded about one person, visit by visit. It is the state of the program.

Cases never change; an edit makes a new one, so undo is a list of cases and "unsaved" is a comparison. Nothing computed
is stored here: readings are made from what was typed, plans and notes are made from the case.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from dataclasses import field as default
from datetime import date, datetime
from hashlib import sha256
from typing import Any, Literal

from .configuration import Configuration
from .entry import Choice
from .errors import EntryRefusal, Refusal
from .fields import Field, by_path, fields, goal_by_key

SCHEMA = 1

Status = Literal["measured", "carried over", "confirmed"]
# "confirmed" marks an assumed value that the practitioner accepted by name.
STATUSES: tuple[Status, ...] = ("measured", "carried over", "confirmed")
VisitKind = Literal["examination", "fitting", "follow-up"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """What was typed, what it was read as, and how it came to be known. ``problem`` says why it could not be read."""

    typed: str
    value: Any = None
    status: Status = "measured"
    problem: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Goal:
    """Something the person wants to do again, with its figures.

    ``id`` names it within its visit, whatever becomes of its words and its place; "" for one that is not kept yet.
    """

    id: str = ""
    findings: Mapping[str, Finding] = default(default_factory=dict)
    extra: Mapping[str, Any] = default(default_factory=dict)

    def value(self, key: str) -> Any:
        """The value of a goal field, None when not given or not readable."""
        finding = self.findings.get(key)
        return None if finding is None else finding.value

    @property
    def name(self) -> str:
        """The task in words."""
        return self.value("task") or "unnamed goal"


@dataclass(frozen=True, slots=True, kw_only=True)
class StepResult:
    """What was found at one step of fitting, verification or performance."""

    measured: str = ""
    note: str = ""
    by: str = ""
    at: datetime | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Caution:
    """A caution given by name, and whether it was understood."""

    given: bool = False
    understood: bool = False
    at: datetime | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class TrainingSession:
    """One session of training."""

    on: date
    stage: str
    minutes: float | None = None
    result: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Signature:
    """Who signed when, over which content."""

    signer: str
    at: datetime
    digest: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Addendum:
    """Later words about a signed visit."""

    at: datetime
    by: str
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Visit:
    """One visit. ``findings`` are by field path; ``extra`` keeps keys of the file that this version does not know."""

    on: date
    kind: VisitKind = "examination"
    findings: Mapping[str, Finding] = default(default_factory=dict)
    goals: tuple[Goal, ...] = ()
    choice: Configuration | None = None
    choice_reason: str = ""
    # What was promised when the choice was made, kept so that a later look back compares with the promise as given.
    promised: Mapping[str, Any] = default(default_factory=dict)
    steps: Mapping[str, StepResult] = default(default_factory=dict)
    cautions: Mapping[str, Caution] = default(default_factory=dict)
    training: tuple[TrainingSession, ...] = ()
    notes: str = ""
    note_taken_at: datetime | None = None
    note_digest: str = ""
    # The note as it was taken, so that what changed since can be shown.
    note_text: str = ""
    signature: Signature | None = None
    addenda: tuple[Addendum, ...] = ()
    extra: Mapping[str, Any] = default(default_factory=dict)

    def value(self, path: str) -> Any:
        """The value of a field, None when not given or not readable."""
        finding = self.findings.get(path)
        return None if finding is None else finding.value

    @property
    def signed(self) -> bool:
        """A signed visit is read-only."""
        return self.signature is not None


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """One person's record. Visits stand oldest first; the last is the one worked on."""

    code: str
    schema_version: int = SCHEMA
    visits: tuple[Visit, ...]
    extra: Mapping[str, Any] = default(default_factory=dict)

    @property
    def visit(self) -> Visit:
        """The visit worked on."""
        return self.visits[-1]

    def value(self, path: str) -> Any:
        """The value of a field at the visit worked on."""
        return self.visit.value(path)

    def with_visit(self, visit: Visit, index: int = -1) -> Case:
        """The case with one visit replaced; refuses to touch a signed one (addenda excepted)."""
        position = index % len(self.visits)
        old = self.visits[position]
        if old.signed and replace(visit, addenda=old.addenda) != old:
            raise EntryRefusal(
                "visit", old.on.isoformat(), "an addendum", reason="this visit is signed and read-only"
            )
        visits = (*self.visits[:position], visit, *self.visits[position + 1 :])
        return replace(self, visits=visits)

    def with_typed(self, path: str, text: str, status: Status = "measured") -> Case:
        """The case with a field of the visit worked on set from typed text; empty text clears it.

        Raises EntryRefusal or RangeRefusal and leaves the case as it was when the text cannot be read.
        """
        field = by_path().get(path)
        if field is None:
            raise EntryRefusal("field", path, "a known field", example="right.distance_acuity")
        findings = dict(self.visit.findings)
        if text.strip():
            findings[path] = finding_of(field, text, status)
        else:
            findings.pop(path, None)
        return self.with_visit(replace(self.visit, findings=findings))

    def with_goal_typed(self, index: int, key: str, text: str) -> Case:
        """The same for a field of the goal at ``index``; an index one past the last adds a goal."""
        field = goal_by_key().get(key)
        if field is None:
            raise EntryRefusal("goal field", key, "a known field", example="distance")
        goals = list(self.visit.goals)
        if index == len(goals):
            goals.append(Goal(id=_goal_id(f"{key} {text.strip()}", goals)))
        goal = goals[index]
        found = dict(goal.findings)
        if text.strip():
            found[key] = finding_of(field, text)
        else:
            found.pop(key, None)
        goals[index] = replace(goal, findings=found)
        return self.with_goals(goals)

    def with_goals(self, goals: list[Goal] | tuple[Goal, ...]) -> Case:
        """The case with the goals of the visit worked on replaced, first matters most; empty ones are dropped."""
        kept: list[Goal] = []
        for goal in goals:
            if goal.findings or goal.extra:
                is_named = goal.id and all(goal.id != other.id for other in kept)
                name = goal.id if is_named else _goal_id(_goal_words(goal), (*kept, *goals))
                kept.append(goal if is_named else replace(goal, id=name))
        return self.with_visit(replace(self.visit, goals=tuple(kept)))

    def with_new_visit(self, on: date, kind: VisitKind) -> Case:
        """The case with a visit added: findings that carry over are marked so, goals and choice are kept."""
        last = self.visit
        carried = {
            field.path: replace(last.findings[field.path], status="carried over")
            for field in fields()
            if field.carries_over and field.path in last.findings
        }
        new = Visit(
            on=on,
            kind=kind,
            findings=carried,
            goals=last.goals,
            choice=last.choice,
            choice_reason=last.choice_reason,
            promised=last.promised,
        )
        return replace(self, visits=(*self.visits, new))

    def confirmed(self, path: str) -> Case:
        """A carried-over value measured again and found the same."""
        finding = replace(self.visit.findings[path], status="measured")
        return self.with_visit(replace(self.visit, findings={**self.visit.findings, path: finding}))

    def age_years(self) -> int | None:
        """Age at the visit worked on, to the year, from the year of birth."""
        born = self.value("person.birth_year")
        return None if born is None else self.visit.on.year - int(born)


def _goal_words(goal: Goal) -> str:
    return " ".join(f"{key} {finding.typed}" for key, finding in goal.findings.items())


def _goal_id(words: str, others: Iterable[Goal]) -> str:
    """An id that none of the others has, made of the words with which a goal began.

    Not of its number: two rooms that each add a goal add two, and the same goal added in both is one.
    """
    taken = {goal.id for goal in others}
    number = 0
    while True:
        made = sha256(f"{words.casefold()} {number}".encode("utf-8", "replace")).hexdigest()[:6]
        if made not in taken:
            return made
        number += 1


def finding_of(field: Field, text: str, status: Status = "measured") -> Finding:
    """A finding from typed text, kept as typed; of a choice the whole word is kept. Raises a Refusal."""
    value = field.kind.read(text, field.label)
    typed = field.kind.echo(value) if isinstance(field.kind, Choice) else text.strip()  # type: ignore[arg-type]
    return Finding(typed=typed, value=value, status=status)


def read_or_problem(field: Field, text: str, status: Status = "measured") -> Finding:
    """A finding from a file: unreadable text is kept with the reason, so that nothing is lost."""
    try:
        return finding_of(field, text, status)
    except Refusal as refusal:
        return Finding(typed=text, status=status, problem=str(refusal))


def new_case(code: str, on: date) -> Case:
    """An empty case with one examination."""
    return Case(code=code, visits=(Visit(on=on),))
