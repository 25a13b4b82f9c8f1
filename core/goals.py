"""Everyday tasks as data, and what a goal of the case demands of any device.

The library comes from ``data/tasks.toml``; a clinic adds to it, and replaces in it, by a file ``tasks.toml`` of the
same form beside its settings. Every figure in it is written as it would be typed in the case, and is read by the same
declarations. What a goal says itself always overrides the library.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any, Literal

from .case import Goal
from .entry import Detail
from .errors import FileRefusal, Refusal
from .fields import goal_by_key
from .formula import formula
from .optotypes import mar_of_letter_arcmin
from .print_size import logmar_of_near_print, m_units_of_letter
from .settings import Settings
from .store.toml import line_of_key, parse_toml
from .toml_cursor import nearest as nearest_of

Reach = Literal["near", "intermediate", "distance"]
Light = Literal["bright", "room", "dim"]

# Common practice: reading distance ends about here, and arm's length with a step beyond.
NEAR_MOST_MM = 500.0
INTERMEDIATE_MOST_MM = 2000.0
READING_DISTANCE_MM = 400.0
LETTERS_TO_MATCH = 3
SCHEMA = 1

_NOT_FROM_LIBRARY = ("task",)
_DRIVING = re.compile(r"\b(driv(e|es|ing)|wheel|motorbike|motorcycle|steering)\b", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Task:
    """An everyday task with its usual figures, by goal key; ``also`` are other names it is found by.

    ``typed`` has the same figures as they would be typed in a case. ``on_screen`` says that what is read stands on a
    screen, where its type can be made larger.
    """

    id: str
    name: str
    also: tuple[str, ...] = ()
    values: Mapping[str, Any] = field(default_factory=dict)
    note: str = ""
    typed: Mapping[str, str] = field(default_factory=dict)
    on_screen: bool = False


def speaks_of_driving(words: str) -> bool:
    """Whether the words of a goal are about driving: no device is promised, taught or tried for that here."""
    return _DRIVING.search(words) is not None


@dataclass(frozen=True, slots=True)
class Demand:
    """What a goal asks: where, how fine, how wide, for how long. Distances mm, eye to object.

    ``goal_logmar`` is the acuity needed at ``distance_mm`` with the reserve already in it; ``goal_m_units`` the print
    without reserve. ``by_print`` says that the print method (equivalent viewing distance) decides. ``assumed`` has
    the figures that the goal did not give, with where they come from; ``problems`` what is missing, in sentences.
    """

    index: int
    name: str
    task_id: str
    kind: Reach
    distance_mm: float
    nearest_mm: float
    farthest_mm: float
    by_print: bool
    goal_logmar: float | None
    goal_m_units: float | None
    detail_mm: float | None
    reserve: float
    contrast: float
    width_mm: float | None
    characters: float | None
    light: Light
    duration: Literal["moments", "minutes", "long"]
    posture: Literal["seated", "standing", "walking"]
    hands_free: bool
    eyes: Literal["either", "one", "two"]
    object_speed_deg_s: float
    assumed: Mapping[str, str] = field(default_factory=dict)
    problems: tuple[str, ...] = ()
    on_screen: bool = False

    @property
    def at_the_wheel(self) -> bool:
        """Whether its words speak of driving: of that nothing is promised, only of seeing its detail at rest."""
        return speaks_of_driving(self.name)

    @property
    def on_the_way(self) -> bool:
        """Whether it is met while moving about, when nothing may stand in the way straight ahead."""
        return self.posture == "walking" or self.at_the_wheel

    @property
    def usable(self) -> bool:
        """Whether enough is known to compute with."""
        return not self.problems


def loads_tasks(text: str, path: str | Path = "tasks.toml") -> tuple[tuple[Task, ...], list[FileRefusal]]:
    """The tasks in a TOML text and what was wrong with it; a bad entry is left out by name, the rest is usable."""
    try:
        data = parse_toml(Path(path), text)
    except FileRefusal as refusal:
        return (), [refusal]
    found: list[FileRefusal] = []
    tasks = _tasks(data, path, found)
    return tasks, [_placed(problem, text) for problem in found]


def _placed(problem: FileRefusal, text: str) -> FileRefusal:
    """The problem with the line where its key stands."""
    parts: list[str | int] = []
    for part in problem.key.split("."):
        name, _, number = part.partition("[")
        parts.extend((name, int(number.rstrip("]")) - 1) if number else (name,))
    line = line_of_key(text, tuple(parts))
    return FileRefusal(problem.path, problem.reason, line=line, key=problem.key, nearest=problem.nearest)


def _tasks(data: Mapping[str, Any], path: str | Path, problems: list[FileRefusal]) -> tuple[Task, ...]:
    if data.get("schema") != SCHEMA:
        problems.append(FileRefusal(path, f"a task file starts with schema = {SCHEMA}", key="schema"))
    for key in data.keys() - {"schema", "task"}:
        nearest = nearest_of(key, ("task", "schema"))
        problems.append(FileRefusal(path, "unknown key", key=key, nearest=nearest))
    rows = data.get("task", [])
    if not isinstance(rows, list) or not all(isinstance(row, Mapping) for row in rows):
        problems.append(FileRefusal(path, "[[task]] tables are expected", key="task"))
        return ()
    tasks: dict[str, Task] = {}
    for number, row in enumerate(rows, 1):
        task = _task(row, f"task[{number}]", path, problems)
        if task is None:
            continue
        if task.id in tasks:
            problems.append(FileRefusal(path, f"id {task.id!r} stands twice", key=f"task[{number}].id"))
            continue
        tasks[task.id] = task
    return tuple(tasks.values())


def _task(row: Mapping[str, Any], key: str, path: str | Path, problems: list[FileRefusal]) -> Task | None:
    name = row.get("name")
    if not isinstance(name, str) or not name.strip():
        problems.append(FileRefusal(path, "a task needs a name", key=f"{key}.name"))
        return None
    also, note = row.get("also", []), row.get("note", "")
    if not isinstance(also, list) or not all(isinstance(item, str) for item in also):
        problems.append(FileRefusal(path, "a list of words is expected", key=f"{key}.also"))
        also = []
    values: dict[str, Any] = {}
    as_typed: dict[str, str] = {}
    known = [item for item in goal_by_key() if item not in _NOT_FROM_LIBRARY]
    for name_of_figure, typed in row.items():
        if name_of_figure in ("id", "name", "also", "note", "on_screen"):
            continue
        place = f"{key}.{name_of_figure}"
        if name_of_figure not in known:
            nearest = nearest_of(name_of_figure, tuple(known))
            problems.append(FileRefusal(path, "unknown key", key=place, nearest=nearest))
            continue
        declared = goal_by_key()[name_of_figure]
        words = ("yes" if typed else "no") if isinstance(typed, bool) else str(typed)
        try:
            values[name_of_figure] = declared.kind.read(words, declared.label)
            as_typed[name_of_figure] = words
        except Refusal as refusal:
            problems.append(FileRefusal(path, str(refusal).rstrip("."), key=place))
    on_screen = row.get("on_screen", False)
    if not isinstance(on_screen, bool):
        problems.append(FileRefusal(path, "true or false is expected", key=f"{key}.on_screen"))
        on_screen = False
    id_ = row.get("id") or re.sub(r"[^a-z0-9]+", "-", name.casefold()).strip("-")
    words = note if isinstance(note, str) else ""
    return Task(str(id_), name.strip(), tuple(also), values, words, as_typed, on_screen)


@cache
def library() -> tuple[Task, ...]:
    """The tasks that come with the program, read once when first asked for."""
    text = (Path(__file__).parent / "data" / "tasks.toml").read_text("utf-8")
    tasks, problems = loads_tasks(text)
    if problems:
        raise problems[0]
    return tasks


def tasks_of(settings: Settings) -> tuple[Task, ...]:
    """The tasks in use: those that come with the program, and over them those of the clinic in the settings."""
    return merged(library(), settings.tasks) if settings.tasks else library()


def merged(*libraries: Iterable[Task]) -> tuple[Task, ...]:
    """Several libraries as one; a later task replaces an earlier one of the same id."""
    return tuple({task.id: task for tasks in libraries for task in tasks}.values())


def matching(text: str, tasks: Iterable[Task]) -> tuple[Task, ...]:
    """The tasks whose name, or a word or other name of it, starts with the text; those by their own name first."""
    wanted = text.strip().casefold()
    if not wanted:
        return tuple(tasks)
    by_name, by_word = [], []
    for task in tasks:
        name = task.name.casefold()
        names = [name, *(other.casefold() for other in task.also)]
        if name.startswith(wanted):
            by_name.append(task)
        elif any(word.startswith(wanted) for each in names for word in (each, *each.split())):
            by_word.append(task)
    return (*by_name, *by_word)


def task_for(text: str, tasks: Iterable[Task]) -> Task | None:
    """The one task meant by a goal's words: by its whole name, or by first letters that fit one name only."""
    wanted = text.strip().casefold()
    fitting = []
    for task in tasks:
        names = [task.name.casefold(), *(other.casefold() for other in task.also)]
        if wanted in names:
            return task
        if len(wanted) >= LETTERS_TO_MATCH and any(name.startswith(wanted) for name in names):
            fitting.append(task)
    return fitting[0] if len(fitting) == 1 else None


class _Figures:
    """A goal's own figures first, then the library's; remembers which came from where."""

    def __init__(self, goal: Goal, task: Task | None) -> None:
        self.goal, self.task = goal, task
        self.assumed: dict[str, str] = {}

    def own(self, key: str) -> Any:
        return self.goal.value(key)

    def get(self, key: str, default: Any = None, words: str = "", usual: bool = True) -> Any:
        value = self.own(key)
        if value is not None:
            return value
        if usual and self.task is not None and key in self.task.values:
            self.assumed[key] = f"usual for {self.task.name}"
            return self.task.values[key]
        if default is not None and words:
            self.assumed[key] = words
        return default


def demand_of(goal: Goal, tasks: Iterable[Task], settings: Settings, index: int = 0) -> Demand:
    """What a goal of the case demands. Never raises for missing figures: it says what is missing in ``problems``."""
    task = task_for(goal.name, tasks)
    read = _Figures(goal, task)
    problems: list[str] = []
    detail = read.get("detail")
    distance = read.get("distance")
    nearest, farthest = (read.get(key, usual=read.own("distance") is None) for key in ("nearest", "farthest"))
    if distance is None and nearest is not None:
        distance = nearest if farthest is None else middle_distance_mm(nearest, farthest)
        read.assumed["distance"] = "from the nearest and the farthest distance"
    if distance is None and detail is not None and detail.m_units is not None:
        distance = READING_DISTANCE_MM
        read.assumed["distance"] = "a reading distance of 40 cm, while none is given"
    if distance is None:
        problems.append(f"{goal.name}: give the distance from the eye to the object, for example 8 m.")
        distance = READING_DISTANCE_MM
    for key, end, outside in (
        ("nearest", nearest, nearest is not None and nearest > distance),
        ("farthest", farthest, farthest is not None and farthest < distance),
    ):
        if outside and end is not None:
            read.assumed[key] = f"left out, {end / 1000:.4g} m lies on the wrong side of the distance"
    nearest, farthest = min(nearest or distance, distance), max(farthest or distance, distance)
    kind = _kind(distance)
    if detail is None and kind == "distance":
        detail = Detail(logmar=settings.assume("goal_logmar"))
        read.assumed["detail"] = f"an acuity of {detail.logmar:.2f} logMAR through the device"
    if detail is None:
        problems.append(
            f"{goal.name}: give the detail to see, for example 1.0M, N8, 20/40 or a letter of 3 mm."
        )
        detail = Detail()
    by_print = kind == "near" or (detail.m_units is not None and kind == "intermediate")
    usual_reserve = settings.assume("acuity_reserve_near" if by_print else "acuity_reserve_distance")
    if detail.logmar is None:
        reserve = read.get("reserve", usual_reserve, "the reserve of the settings")
    else:
        # An acuity is what must be reached through the device: a reserve is added only where the goal asks for one.
        reserve = read.own("reserve") or 1.0
    goal_logmar, goal_m_units, detail_mm = _sizes(detail, distance, reserve, goal.name, problems)
    return Demand(
        index=index,
        name=goal.name,
        task_id=task.id if task else "",
        kind=kind,
        distance_mm=distance,
        nearest_mm=nearest,
        farthest_mm=farthest,
        by_print=by_print,
        goal_logmar=goal_logmar,
        goal_m_units=goal_m_units,
        detail_mm=detail_mm,
        reserve=reserve,
        contrast=read.get("contrast", 0.85, "a print contrast of 0.85"),
        width_mm=read.get("width"),
        characters=read.get(
            "characters", settings.assume("characters_wanted") if by_print else None, "of the settings"
        ),
        light=read.get("light", "room", "room light"),
        duration=read.get("duration", "minutes", "for minutes"),
        posture=read.get("posture", "seated", "seated"),
        hands_free=bool(read.get("hands_free", False)),
        eyes=read.get("eyes", "either"),
        object_speed_deg_s=float(read.get("object_speed", 0.0)),
        assumed=read.assumed,
        problems=tuple(problems),
        on_screen=task is not None and task.on_screen,
    )


@formula("√(nearest × farthest)", unit="mm", source="", kind="common practice", domain="both > 0")
def middle_distance_mm(nearest_mm: float, farthest_mm: float) -> float:
    """The distance of a goal that gives only its range, mm: the middle by ratio."""
    return math.sqrt(nearest_mm * farthest_mm)


@formula("logMAR − log10(reserve)", unit="logMAR", source="", kind="derived", domain="reserve ≥ 1")
def goal_logmar_with_reserve(wanted_logmar: float, acuity_reserve: float) -> float:
    """The acuity needed for a detail, logMAR, with a reserve."""
    return wanted_logmar - math.log10(acuity_reserve)


@formula("log10(MAR/reserve)", unit="logMAR", source="", kind="derived", domain="MAR > 0, reserve ≥ 1")
def goal_logmar_of_letter(mar_arcmin: float, acuity_reserve: float) -> float:
    """The acuity needed for a letter of that angular detail, logMAR, with a reserve."""
    return math.log10(mar_arcmin / acuity_reserve)


@formula("M = 10^logMAR × d", unit="M", source="COLENBRANDER", kind="derived", domain="d in m")
def m_units_at(wanted_logmar: float, distance_mm: float) -> float:
    """The print in M units that has the angle of an acuity at a distance."""
    return 10.0**wanted_logmar * distance_mm / 1000.0


def _kind(distance_mm: float) -> Reach:
    if distance_mm <= NEAR_MOST_MM:
        return "near"
    return "intermediate" if distance_mm <= INTERMEDIATE_MOST_MM else "distance"


def _sizes(
    detail: Detail, distance_mm: float, reserve: float, name: str, problems: list[str]
) -> tuple[float | None, float | None, float | None]:
    """The acuity with the reserve in it, the print in M units, and the letter height, from whichever was given."""
    if detail.logmar is not None:
        m_units = m_units_at(detail.logmar, distance_mm)
        return goal_logmar_with_reserve(detail.logmar, reserve), m_units, None
    try:
        if detail.height_mm is not None:
            height = detail.height_mm
            wanted = goal_logmar_of_letter(mar_of_letter_arcmin(distance_mm, height), reserve)
            m_units = m_units_of_letter(height) if 0.08 <= height <= 145.0 else None
            return wanted, m_units, height
        if detail.m_units is not None:
            wanted = logmar_of_near_print(min(distance_mm, 20_000.0), detail.m_units)
            return goal_logmar_with_reserve(wanted, reserve), detail.m_units, None
    except Refusal as refusal:
        problems.append(f"{name}: {refusal}")
    return None, None, None


def demands_of(goals: Iterable[Goal], tasks: Iterable[Task], settings: Settings) -> tuple[Demand, ...]:
    """The demands of a case's goals, in the order of the case."""
    kept = tuple(tasks)
    return tuple(demand_of(goal, kept, settings, index) for index, goal in enumerate(goals))
