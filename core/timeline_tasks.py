"""The tasks themselves across visits: what was done of each goal, at the trial, the fitting and every follow-up."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import suppress

from .case import Case, Goal, Visit
from .errors import Refusal
from .fitting.performance import TASK
from .timeline_types import Cell, Change, Row

GROUP = "With the device"
# What the step of a task is answered with, the best first.
_DONE = TASK.options


def task_rows(case: Case) -> Iterator[Row]:
    """A row for each goal of the latest visit; a goal is the same at another visit by its id, else by its words."""
    for number, goal in enumerate(case.visit.goals, 1):
        cells: list[Cell] = []
        last = ""
        for visit in case.visits:
            done = _done_at(visit, goal)
            cells.append(Cell(done, done, "", _change(last, done)) if done else Cell())
            last = done or last
        yield Row(f"task.{number}", f"Task: {goal.name}", tuple(cells), GROUP)


def _done_at(visit: Visit, goal: Goal) -> str:
    """What was done of a goal at a visit: at the device on the face, else at the trial of the first goal."""
    place = next((n for n, each in enumerate(visit.goals, 1) if _same(each, goal)), 0)
    for key in (f"performance.task.{place}", "trial.task" if place == 1 else ""):
        result = visit.steps.get(key)
        if result is not None and result.measured.strip():
            with suppress(Refusal):
                return TASK.read(result.measured, "task")
    return ""


def _same(one: Goal, other: Goal) -> bool:
    return one.id == other.id if one.id and other.id else one.name == other.name


def _change(before: str, now: str) -> Change:
    if not before:
        return Change("first", "first try")
    if before == now:
        return Change("same", f"{now} as before")
    better = _DONE.index(now) < _DONE.index(before)
    return Change("better" if better else "worse", f"{now}, was {before}", beyond=True)
