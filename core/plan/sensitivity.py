"""What would change the answer: how far each input may move, and which unmeasured one matters most.

Rivals are the best options of other telescopes, so that a probe costs a few milliseconds; it is made when asked for,
not with the plan.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from math import log10

from ..acuity import Acuity
from ..case import Case
from ..configuration import Configuration
from ..entry import Pd
from ..errors import EntryRefusal
from ..fields import by_path
from ..goals import Demand, Task, demands_of, tasks_of
from ..person import Person, person_of
from ..print_size import NearPrint
from ..settings import Settings
from ..stock import Stock
from .context import Context, context_of
from .cross import grid_of
from .engine import option_for
from .grid import Grid
from .tube_field import Infeasible
from .types import GRADES, Option, Sensitivity

RIVALS = 6
COARSE_STEPS = 4
HALVINGS = 5


@dataclass(frozen=True, slots=True)
class _Input:
    """An input that can be moved: its path, value, unit, the range looked at, and how to move it."""

    path: str
    value: float
    unit: str
    lowest: float
    highest: float
    usual_low: float
    usual_high: float
    measured: bool
    moved: Callable[[float], tuple[Person, tuple[Demand, ...]]]
    label: str = ""


def sensitivity(
    case: Case,
    stock: Stock,
    settings: Settings,
    configuration: Configuration,
    goal_index: int = 0,
    tasks: Iterable[Task] | None = None,
) -> tuple[Sensitivity, ...]:
    """How far each input may move before another option wins or the goal is missed, for one option and one goal.

    Unmeasured inputs that matter most come first, then the measured ones in the order of the exam. Raises EntryRefusal
    when the option cannot be used.
    """
    person = person_of(case, settings)
    demands = demands_of(case.visit.goals, tasks_of(settings) if tasks is None else tasks, settings)
    context = context_of(person, settings)
    try:
        option = option_for(context, stock, demands, configuration)
    except Infeasible as infeasible:
        raise EntryRefusal(
            "option", configuration.key, "one that can be used", reason=infeasible.reason
        ) from None
    if goal_index >= len(demands):
        return ()
    small = _rivals(grid_of(context, stock, demands), stock, configuration)
    probe = _Probe(
        settings, small, configuration, goal_index, option, _winner(grid_of(context, small, demands))
    )
    side = option.device.leading.side
    found = [
        probe.of(item) for item in _inputs(case, person, context, demands, side, goal_index, configuration)
    ]
    return tuple(sorted(found, key=lambda item: (item.measured, -item.weight if not item.measured else 0.0)))


def measure_next(found: Iterable[Sensitivity]) -> Sensitivity | None:
    """The unmeasured input that matters most, None when all that matters is measured."""
    open_ = [item for item in found if not item.measured and item.weight > 0.0]
    return max(open_, key=lambda item: item.weight, default=None)


def _rivals(grid: Grid, stock: Stock, configuration: Configuration) -> Stock:
    names = [configuration.telescope]
    for rank in range(min(len(grid), 200)):
        name = grid.configuration(grid.entry(rank)).telescope
        if name not in names:
            names.append(name)
        if len(names) > RIVALS:
            break
    kept = tuple(item for item in stock.telescopes if item.id in names)
    tints = tuple(item for item in stock.filters if item.id == configuration.filter)
    return replace(stock, telescopes=kept, filters=tints)


def _winner(grid: Grid) -> tuple[str, str, str] | None:
    if not len(grid):
        return None
    best = grid.configuration(grid.entry(0))
    return best.telescope, best.eye, best.cap


@dataclass(frozen=True, slots=True)
class _Probe:
    settings: Settings
    stock: Stock
    configuration: Configuration
    goal_index: int
    option: Option
    winner: tuple[str, str, str] | None

    def state(self, item: _Input, value: float) -> str:
        """What is different with this value: "" for nothing."""
        person, demands = item.moved(value)
        context = context_of(person, self.settings)
        try:
            now = option_for(context, self.stock, demands, self.configuration)
        except Infeasible as infeasible:
            return f"it can no longer be used ({infeasible.code})"
        there, before = now.outcomes[self.goal_index], self.option.outcomes[self.goal_index]
        if there.needed != before.needed:
            return "a telescope is needed for the goal" if there.needed else "the goal needs no telescope"
        grade = there.grade
        if there.needed and GRADES.index(grade) > GRADES.index(before.grade):
            return "the goal is only nearly met" if grade == "nearly" else "the goal is missed"
        winner = _winner(grid_of(context, self.stock, demands))
        if winner != self.winner and winner is not None:
            return f"{winner[0]} ({winner[1]}{', ' + winner[2] if winner[2] else ''}) comes first"
        return ""

    def chance(self, item: _Input, value: float) -> tuple[float, float]:
        """Chance for the goal and score with this value; zeros when it cannot be used."""
        person, demands = item.moved(value)
        try:
            now = option_for(context_of(person, self.settings), self.stock, demands, self.configuration)
        except Infeasible:
            return 0.0, 0.0
        return now.outcomes[self.goal_index].probability or 0.0, now.score

    def of(self, item: _Input) -> Sensitivity:
        """The span of one input."""
        lower, what_lower = self.edge(item, item.lowest)
        upper, what_upper = self.edge(item, item.highest)
        first, second = (self.chance(item, value) for value in (item.usual_low, item.usual_high))
        scale = max(self.option.score, 1.0)
        weight = abs(first[0] - second[0]) + 0.5 * abs(first[1] - second[1]) / scale
        label = item.label or by_path()[item.path].label
        return Sensitivity(
            path=item.path,
            label=label,
            value=item.value,
            unit=item.unit,
            measured=item.measured,
            lower=lower,
            what_lower=what_lower,
            upper=upper,
            what_upper=what_upper,
            weight=weight,
            sentence=_sentence(item, label, lower, what_lower, upper, what_upper),
        )

    def edge(self, item: _Input, end: float) -> tuple[float | None, str]:
        """The nearest value towards ``end`` at which something changes, by steps and then by halving."""
        inside = item.value
        for step in range(1, COARSE_STEPS + 1):
            value = item.value + (end - item.value) * step / COARSE_STEPS
            if value == inside:
                continue
            what = self.state(item, value)
            if what:
                return self._halve(item, inside, value, what)
            inside = value
        return None, ""

    def _halve(self, item: _Input, inside: float, outside: float, what: str) -> tuple[float, str]:
        for _ in range(HALVINGS):
            middle = (inside + outside) / 2.0
            found = self.state(item, middle)
            if found:
                outside, what = middle, found
            else:
                inside = middle
        return outside, what


def _sentence(
    item: _Input, label: str, lower: float | None, what_lower: str, upper: float | None, what_upper: str
) -> str:
    unit = f" {item.unit}" if item.unit else ""
    words = f"{label}, {item.value:.3g}{unit} ({'measured' if item.measured else 'assumed'}): "
    parts = []
    if lower is not None:
        parts.append(f"at {lower:.3g}{unit} {what_lower}")
    if upper is not None:
        parts.append(f"at {upper:.3g}{unit} {what_upper}")
    return words + ("; ".join(parts) if parts else "nothing changes within the usual span") + "."


def _inputs(
    case: Case, person: Person, context: Context, demands: tuple[Demand, ...], side: str, goal_index: int,
    configuration: Configuration,
) -> Iterator[_Input]:  # fmt: skip
    eye = person.eye(side)

    def known(path: str) -> bool:
        return path not in person.assumed

    def eye_moved(**changes: object) -> tuple[Person, tuple[Demand, ...]]:
        return replace(person, **{side: replace(eye, **changes)}), demands  # type: ignore[arg-type]

    demand = demands[goal_index]
    if eye.logmar is not None:
        at = eye.logmar
        yield _Input(
            f"{side}.distance_acuity", at, "logMAR", at - 0.3, min(1.9, at + 0.3), at - 0.1, at + 0.1, True,
            lambda value: eye_moved(acuity=Acuity(value)),
        )  # fmt: skip
    if demand.by_print and isinstance(eye.near, NearPrint):
        near = eye.near
        yield _Input(
            f"{side}.near_acuity", near.m_units, "M", near.m_units / 2, near.m_units * 2, near.m_units / 1.26,
            near.m_units * 1.26, True, lambda value: eye_moved(near=replace(near, m_units=value)),
        )  # fmt: skip
    for name, attribute, unit, low, high, usual in (
        ("pupil", "pupil_mm", "mm", 1.5, 8.0, (2.5, 5.0)),
        ("sustained_accommodation", "accommodation_d", "D", 0.0, 8.0, (0.0, 2.0)),
        ("contrast", "log_cs", "logCS", 0.2, 2.0, (0.9, 1.5)),
    ):
        path = f"{side}.{name}"
        yield _Input(
            path, getattr(eye, attribute), unit, low, high, *usual, known(path),
            lambda value, attribute=attribute: eye_moved(**{attribute: value}),
        )  # fmt: skip
    lens = eye.refraction
    yield _Input(
        f"{side}.refraction", lens.sphere_d, "D", lens.sphere_d - 2.0, lens.sphere_d + 2.0, lens.sphere_d - 0.5,
        lens.sphere_d + 0.5, known(f"{side}.refraction"),
        lambda value: eye_moved(refraction=replace(lens, sphere_d=value)),
    )  # fmt: skip
    yield from _face(person, demands, known, configuration)
    yield from _reserve(person, demands, goal_index)


def _face(
    person: Person, demands: tuple[Demand, ...], known: Callable[[str], bool], configuration: Configuration
) -> Iterator[_Input]:
    if person.ocular_to_cornea_mm is not None:
        yield _Input(
            "face.ocular_to_cornea", person.ocular_to_cornea_mm, "mm", 6.0, 25.0, 10.0, 17.0, True,
            lambda value: (replace(person, ocular_to_cornea_mm=value), demands),
        )  # fmt: skip
    else:
        yield _Input(
            "face.vertex_distance", person.vertex_mm, "mm", 8.0, 20.0, 10.0, 15.0, known("face.vertex_distance"),
            lambda value: (replace(person, vertex_mm=value), demands),
        )  # fmt: skip
    if configuration.eye == "both":
        yield _Input(
            "face.pd", person.pd.total_mm, "mm", 50.0, 75.0, 58.0, 68.0, known("face.pd"),
            lambda value: (replace(person, pd=Pd(value / 2, value / 2, by_eye=False)), demands),
        )  # fmt: skip
    if configuration.position == "bioptic":
        yield _Input(
            "face.b_size", person.b_size_mm, "mm", 28.0, 56.0, 34.0, 48.0, known("face.b_size"),
            lambda value: (
                replace(
                    person, b_size_mm=value,
                    assumed={k: v for k, v in person.assumed.items() if k != "face.b_size"},
                ),
                demands,
            ),
        )  # fmt: skip


def _reserve(person: Person, demands: tuple[Demand, ...], goal_index: int) -> Iterator[_Input]:
    demand = demands[goal_index]
    if not demand.usable:
        return

    def moved(value: float) -> tuple[Person, tuple[Demand, ...]]:
        goal = None if demand.goal_logmar is None else demand.goal_logmar - log10(value / demand.reserve)
        other = replace(demand, reserve=value, goal_logmar=goal)
        return person, (*demands[:goal_index], other, *demands[goal_index + 1 :])

    yield _Input(
        f"goal.{goal_index}.reserve", demand.reserve, "times", 1.0, max(4.0, demand.reserve), 1.0, 2.0,
        "reserve" not in demand.assumed, moved, f"Acuity reserve of {demand.name}",
    )  # fmt: skip
