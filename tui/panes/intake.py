"""Intake: the examination in its order, one form. Typed text goes up as an edit; readings come back in the view."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace
from typing import Any

from textual.app import ComposeResult

from ...core.case import Case, Finding, Goal
from ...core.entry import Choice, Kind, Number, Words
from ...core.errors import Refusal
from ...core.fields import GOAL_FIELDS, SECTIONS, Field, by_path, fields, goal_by_key
from ...core.goals import Task, matching, task_for, tasks_of
from ...core.person import Assumed
from ..messages import READ_ONLY, CaseEdited, Told
from ..view import View
from ..widgets.form import Form, Row
from .base import Pane

GOAL = "goal."


def goal_key(index: int, key: str) -> str:
    """The row key of a goal's field: ``goal.0.distance``."""
    return f"{GOAL}{index}.{key}"


def goal_of_key(key: str) -> tuple[int, str] | None:
    """The goal's place and the field's key of a row key; None for other rows."""
    if not key.startswith(GOAL):
        return None
    number, _, name = key[len(GOAL) :].partition(".")
    return (int(number), name) if number.isdecimal() else None


def field_of_key(key: str) -> Field | None:
    """The declaration behind a row."""
    goal = goal_of_key(key)
    return goal_by_key().get(goal[1]) if goal else by_path().get(key)


class IntakePane(Pane):
    """The form of the examination."""

    place = "intake"
    title = "Intake"

    def __init__(self) -> None:
        super().__init__(id="intake")
        self.form = Form(edited=self._edited, reading=self._reading)
        self._view: View | None = None
        self._errors: dict[str, str] = {}
        self._rows: dict[str, tuple[Any, Row]] = {}

    def compose(self) -> ComposeResult:
        yield self.form

    # ---- a view comes down

    def show(self, view: View) -> None:
        """Rows of the view; only what differs is made and painted again. Another visit begins at its first field."""
        before, self._view = self._view, view
        another_visit = before is not None and len(before.case.visits) != len(view.case.visits)
        if another_visit:
            self._errors.clear()
        self.form.rows = tuple(self._all_rows(view))
        if another_visit:
            self.form.edge(-1)

    def refuse(self, key: str, sentence: str) -> None:
        """The sentence, which names what was typed, stands under the field until it is mended; the old value stays."""
        if self._view is not None and any(row.key == key for row in self.form.rows):
            self._errors[key] = sentence
            self.show(self._view)

    def _all_rows(self, view: View) -> Iterator[Row]:
        kind = view.case.visit.kind
        declared = [field for field in fields() if kind in field.visits]
        for section in SECTIONS:
            here = [field for field in declared if field.section == section]
            if not here and section != "Goals":
                continue
            yield Row(key=f"section.{section}", label=section, heading=True)
            if section == "Goals":
                yield from self._goal_rows(view)
            for field in here:
                finding = view.case.visit.findings.get(field.path)
                assumed = view.person.assumed.get(field.path) if finding is None else None
                yield self._row(field.path, field, field.label, finding, assumed, view)

    def _goal_rows(self, view: View) -> Iterator[Row]:
        goals = view.case.visit.goals
        for index in range(len(goals) + 1):
            goal = goals[index] if index < len(goals) else Goal()
            task = _task_of(goal, view)
            for field in GOAL_FIELDS:
                if index == len(goals) and field.path != "task":
                    break
                usual = _usual(field.path, task)
                label = f"Goal {index + 1}: {field.label[0].lower()}{field.label[1:]}"
                finding = goal.findings.get(field.path)
                key = goal_key(index, field.path)
                row = self._row(key, field, label, finding, None if finding else usual, view)
                if field.path == "task" and finding is not None and task is None:
                    row = replace(row, note=_could_be(finding.typed, view))
                yield row

    def _row(
        self, key: str, field: Field, label: str, finding: Finding | None, assumed: Assumed | None, view: View
    ) -> Row:
        basis = (finding, assumed, self._errors.get(key), view.settings.acuity_notation, view.read_only)
        known = self._rows.get(key)
        if known is not None and known[0] == basis:
            return known[1]
        row = _field_row(key, field, label, finding, assumed, view)
        error = self._errors.get(key)
        if error is not None:
            row = replace(row, error=error, status="error")
        self._rows[key] = (basis, row)
        return row

    def _reading(self, key: str, text: str) -> str:
        """What the typed text would be read as, at each key."""
        field = field_of_key(key)
        if field is None or self._view is None or not text.strip():
            return ""
        if key.endswith(".task"):
            names = [task.name for task in matching(text, tasks_of(self._view.settings))][:4]
            return "; ".join(names)
        try:
            value = field.kind.read(text, field.label)
        except Refusal:
            return ""
        return _worth_saying(field.kind, text, value, self._view)

    # ---- what was typed goes up

    def _edited(self, key: str, text: str, confirmed: bool) -> None:
        """Called by the form with each accepted text, before the caret moves on."""
        view = self._view
        if view is None:
            return
        if view.read_only:
            # Enter on an assumed value, on the way through, changes nothing and needs no word.
            if not confirmed:
                self.post_message(Told(READ_ONLY, "error"))
                self.show(view)
            return
        had_error = self._errors.pop(key, None) is not None
        if confirmed:
            self._confirm(key, view)
            return
        goal = goal_of_key(key)
        if goal is None:
            self.send(CaseEdited(lambda case: case.with_typed(key, text), key))
        else:
            index, name = goal
            tasks = tasks_of(view.settings)
            self.send(CaseEdited(lambda case: _with_goal(case, index, name, text, tasks), key))
        if had_error and key not in self._errors and self._view is view:
            self.show(view)

    def _confirm(self, key: str, view: View) -> None:
        """Enter on an assumed or carried-over value takes it as it is, by name."""
        if key in view.case.visit.findings:
            self.send(CaseEdited(lambda case: case.confirmed(key), key, "Confirmed as measured today."))
            return
        goal = goal_of_key(key)
        if goal is not None:
            self._confirm_usual(key, *goal, view)
            return
        assumed = view.person.assumed.get(key)
        field = by_path().get(key)
        text = _typed_of(field, assumed) if assumed is not None and field is not None else ""
        if text:
            self.send(
                CaseEdited(
                    lambda case: case.with_typed(key, text, "confirmed"),
                    key,
                    "Assumed value accepted by name.",
                )
            )

    def _confirm_usual(self, key: str, index: int, name: str, view: View) -> None:
        """Enter on the usual figure of a task takes it as this person's own."""
        goals = view.case.visit.goals
        task = _task_of(goals[index], view) if index < len(goals) else None
        text = task.typed.get(name) if task is not None else None
        if text is None:
            return
        self.send(
            CaseEdited(lambda case: case.with_goal_typed(index, name, text), key, "Usual figure accepted.")
        )

    # ---- the caret

    def take_focus(self) -> None:
        """The form keeps its row."""
        self.form.focus()

    def accept_typed(self) -> None:
        """Leaving the pane accepts what stands typed."""
        self.form.accept()

    def go_to(self, key: str) -> bool:
        """The row of a field."""
        return self.form.go_to(key)

    def row_of(self, path: tuple[str, ...]) -> str:
        """The row of a field; of a goal's field by the goal's place."""
        if "goal" not in path[:-1] or self._view is None:
            return super().row_of(path)
        goal, name = path[path.index("goal") + 1 :][:2] if path[-2] != "goal" else (path[-1], "task")
        ids = [each.id for each in self._view.case.visit.goals]
        return goal_key(ids.index(goal[1:-1]) if goal[1:-1] in ids else len(ids), name)

    def jumps(self) -> Iterable[tuple[str, str]]:
        """Every field by its label."""
        return [(row.key, row.label) for row in self.form.rows if not row.heading]

    def action_next_unfilled(self) -> None:
        """The next empty field."""
        if not self.form.next_unfilled():
            self.post_message(Told("No field is empty."))

    def action_next_assumed(self) -> None:
        """The next value that is assumed or carried over."""
        if not self.form.next_assumed():
            self.post_message(Told("Nothing is assumed or carried over."))

    def action_next_error(self) -> None:
        """The next field that could not be read."""
        if not self.form.next_error():
            self.post_message(Told("No field is in error."))

    def action_goal_up(self) -> None:
        """The goal of the row moves up one place."""
        goal = goal_of_key(self.form.current_key or "")
        if goal is None or self._view is None or not 0 < goal[0] < len(self._view.case.visit.goals):
            self.post_message(Told("Put the caret on a goal below the first."))
            return
        at = goal[0]

        def change(case: Case) -> Case:
            goals = list(case.visit.goals)
            goals[at - 1], goals[at] = goals[at], goals[at - 1]
            return case.with_goals(goals)

        self._forget_goal_errors()
        self.send(CaseEdited(change, said=f"Goal {at + 1} is goal {at} now."))

    def action_goal_remove(self) -> None:
        """The goal of the row is removed; undo brings it back."""
        goal = goal_of_key(self.form.current_key or "")
        if goal is None or self._view is None or goal[0] >= len(self._view.case.visit.goals):
            self.post_message(Told("Put the caret on the goal that is to go."))
            return
        at = goal[0]
        self._forget_goal_errors()
        self.send(
            CaseEdited(
                lambda case: case.with_goals([g for n, g in enumerate(case.visit.goals) if n != at]),
                said=f"Goal {at + 1} removed; undo brings it back.",
            )
        )

    def _forget_goal_errors(self) -> None:
        """Goals change places: what was refused belongs to none of them any more."""
        for key in [key for key in self._errors if key.startswith(GOAL)]:
            del self._errors[key]

    def help_topic(self) -> tuple[str, str]:
        """What the field means, its unit, range and spellings, and where the value goes."""
        field = field_of_key(self.form.current_key or "")
        if field is None:
            return "", ""
        text = field_help(field)
        if field.path == "task" and self._view is not None:
            text += f"\nThe library: {', '.join(task.name for task in tasks_of(self._view.settings))}."
        return field.label, text

    def working_asked(self) -> None:
        """A typed value has no working; an assumed one says where it is from."""
        key = self.form.current_key or ""
        assumed = self._view.person.assumed.get(key) if self._view else None
        words = (
            f"Assumed: {assumed.sentence}."
            if assumed
            else "This value is typed, not computed. F3 has the numbers."
        )
        self.post_message(Told(words))


def _with_goal(case: Case, index: int, name: str, text: str, tasks: tuple[Task, ...]) -> Case:
    """A goal's field from typed text; the letters of a task of the library become its name."""
    if name == "task" and text.strip():
        task = task_for(text, tasks)
        text = task.name if task is not None else text
    return case.with_goal_typed(index, name, text)


def _field_row(
    key: str, field: Field, label: str, finding: Finding | None, assumed: Assumed | None, view: View
) -> Row:
    """A row from its declaration and what is known."""
    kind = field.kind
    row = Row(
        key=key,
        label=label,
        short_label=f"Goal {goal_of_key(key)[0] + 1}: {field.short}" if key.startswith(GOAL) else field.short,  # type: ignore[index]
        unit=kind.unit,
        choices=kind.options if isinstance(kind, Choice) else (),
        help=field.help,
    )
    if finding is not None:
        # A unit that was typed along counts; another one behind it would contradict.
        letters = {letter for letter in finding.typed.casefold() if letter.isalpha()}
        # The x of an axis or of a missing blur point is no unit, unless the unit is that.
        own_unit = bool(letters if kind.unit == "x" else letters - {"x"})
        row = replace(row, text=finding.typed, unit="" if own_unit else row.unit)
        if finding.problem:
            return replace(row, error=finding.problem, status="error")
        echo = _worth_saying(kind, finding.typed, finding.value, view)
        note = kind.unusual(finding.value)
        status = "carried over" if finding.status == "carried over" else "check" if note else ""
        if finding.status == "confirmed":
            echo = f"{echo} (assumed, accepted)".strip()
        return replace(row, echo=echo, note=note, status=status)
    if assumed is not None:
        return replace(row, echo=assumed.sentence, status="assumed")
    return row


def _worth_saying(kind: Kind, typed: str, value: Any, view: View) -> str:
    """What was understood, unless it is what stands there already."""
    if isinstance(kind, Words | Choice) or (isinstance(kind, Number) and _same_number(typed, value)):
        return ""
    echo = kind.echo(value, view.settings.acuity_notation)
    return "" if echo in (typed.strip(), f"{typed.strip()} {kind.unit}") else echo


def _same_number(typed: str, value: float) -> bool:
    try:
        return float(typed) == value
    except ValueError:
        return False


def _task_of(goal: Goal, view: View) -> Task | None:
    """The task of the library that a goal names."""
    return task_for(str(goal.value("task") or ""), tasks_of(view.settings)) if goal.findings else None


def _could_be(typed: str, view: View) -> str:
    """The tasks that own words might have meant, when they fit several of the library or only a word within."""
    names = [task.name for task in matching(typed, tasks_of(view.settings))] if typed.strip() else []
    if not names:
        return ""
    return f"Taken as your own words. In the library: {', '.join(names[:4])}; type more of a name for its figures."


def _usual(key: str, task: Task | None) -> Assumed | None:
    """The library's usual figure of a goal's field, shown as assumed."""
    if task is None or key not in task.values:
        return None
    field = goal_by_key()[key]
    return Assumed(key, 0.0, "", f"{field.kind.echo(task.values[key])}, usual for {task.name}")


def _typed_of(field: Field, assumed: Assumed) -> str:
    """An assumed number as it would be typed; "" when the field cannot take it."""
    text = f"{assumed.value:.4g}"
    if field.path.endswith(".refraction"):
        text = "pl" if not assumed.value else f"{assumed.value:+.2f} sph"
    try:
        field.kind.read(text, field.label)
    except Refusal:
        return ""
    return text


def field_help(field: Field) -> str:
    """The help for one field, from its declaration."""
    kind = field.kind
    lines = [field.help, ""]
    if kind.unit:
        lines.append(f"Unit: {kind.unit}")
    lines.append(f"Accepted: {kind.accepted}")
    if kind.usual:
        lines.append(f"Usual: {kind.usual}")
    lines += [f"Typed as: {kind.spelled}", f"For example: {kind.example}", f"Used for: {field.used_for}"]
    if field.assumption:
        lines.append("While it is empty a value is assumed, shown as such and said in the note.")
    elif field.when_empty:
        lines.append(field.when_empty)
    lines.append(
        "It is kept in the case file as " + (f"{field.path}." if "." in field.path else f"goal.{field.path}.")
    )
    return "\n".join(lines)
