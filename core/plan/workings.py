"""The working of any displayed number: the chain of formulas behind it, recorded while it is computed anew."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import fields, is_dataclass
from typing import Any

from ..case import Case
from ..configuration import Configuration
from ..errors import EntryRefusal
from ..formula import REGISTRY, Formula, Step, Working, recording
from ..goals import Task
from ..settings import Settings
from ..stock import Stock
from .engine import option_for, read_case
from .formulas import as_recorded
from .needs import need_of
from .tube_field import Infeasible
from .types import Option

# Values of so few digits turn up by chance in many steps; they are followed only to the step that made them last.
_PLAIN = frozenset((0.0, 1.0, 2.0, 0.5, -1.0, 100.0))


def explain(
    case: Case,
    stock: Stock,
    settings: Settings,
    configuration: Configuration,
    goal_index: int,
    quantity: str,
    tasks: Iterable[Task] | None = None,
) -> Working:
    """The chain behind one number of an option, innermost first.

    ``quantity`` is the name of a field of the outcome, the need or the device (``probability``, ``required_evd_mm``,
    ``eyes.0.field.real_field_deg``); a bare name is looked for in that order and in every part of the device. A number
    that was recorded or assumed has a working of one step that says so. Raises EntryRefusal when there is no such
    number.
    """
    with recording() as working:
        context, demands = read_case(case, settings, tasks)
        try:
            option = option_for(context, stock, demands, configuration)
        except Infeasible as infeasible:
            raise EntryRefusal(
                "option", configuration.key, "one that can be used", reason=infeasible.reason
            ) from None
        need = need_of(context, demands[goal_index]) if goal_index < len(demands) else None
    value = _value(option, need, goal_index, quantity)
    return chain_behind(working, value, quantity)


def _value(option: Option, need: Any, goal_index: int, quantity: str) -> float:
    places: list[Any] = []
    if goal_index < len(option.outcomes):
        places.append(option.outcomes[goal_index])
    places.extend(place for place in (need, option.device) if place is not None)
    for place in places:
        found = _by_path(place, quantity)
        if found is not None:
            return found
    for name, found in _numbers(option.device):
        if name.rpartition(".")[2] == quantity:
            return found
    for part in option.score_parts:
        if part.criterion == quantity:
            return part.value
    raise EntryRefusal("quantity", quantity, "a number of this option", example="probability")


def _by_path(place: Any, path: str) -> float | None:
    for key in path.split("."):
        if isinstance(place, tuple) and key.isdigit() and int(key) < len(place):
            place = place[int(key)]
        else:
            place = getattr(place, key, None)
    return float(place) if isinstance(place, int | float) and not isinstance(place, bool) else None


def _numbers(place: Any, path: str = "") -> Iterator[tuple[str, float]]:
    """Every number of a result with its path."""
    if isinstance(place, bool) or place is None or isinstance(place, str):
        return
    if isinstance(place, int | float):
        yield path, float(place)
    elif isinstance(place, tuple | list):
        for number, item in enumerate(place):
            yield from _numbers(item, f"{path}.{number}" if path else str(number))
    elif is_dataclass(place):
        for item in fields(place):
            yield from _numbers(getattr(place, item.name), f"{path}.{item.name}" if path else item.name)


def chain_behind(working: Working, value: float, quantity: str) -> Working:
    """The steps that lead to a value, in the order of computation; one recorded step when no formula made it."""
    steps = working.steps
    made = [(number, step) for number, step in enumerate(steps) if _gives(step, value)]
    if not made:
        return _working([_plain_step(value)])
    short = quantity.rpartition(".")[2]
    named = [pair for pair in made if _akin(pair[1].formula, short)]
    number, last = (named or made)[-1]
    wanted: set[int] = {number}
    open_ = [(number, last)]
    while open_:
        at, step = open_.pop()
        for argument in _floats(step):
            source = _made_before(steps, at, argument)
            if source is not None and source not in wanted:
                wanted.add(source)
                open_.append((source, steps[source]))
    return _working([steps[index] for index in sorted(wanted)])


def _working(steps: list[Step]) -> Working:
    return Working([(step.formula, step.args, step.kwargs, step.result, step.depth) for step in steps])


def _akin(formula: Formula, quantity: str) -> bool:
    name = formula.name
    return (
        name == quantity
        or quantity.startswith(name)
        or name.startswith(quantity.rpartition("_")[0] or quantity)
    )


def _gives(step: Step, value: float) -> bool:
    result = step.result
    if isinstance(result, bool) or result is None:
        return False
    if isinstance(result, int | float):
        return result == value
    return any(number == value for _, number in _numbers(_plain(result)))


def _plain(result: Any) -> Any:
    return tuple(result) if isinstance(result, tuple) else result


def _floats(step: Step) -> Iterator[float]:
    for argument in (*step.args, *step.kwargs.values()):
        for _, number in _numbers(_plain(argument)):
            if number not in _PLAIN:
                yield number


def _made_before(steps: list[Step], at: int, value: float) -> int | None:
    """The step that made a value before another one.

    A formula with that one result comes first, then a record of the value, then a result of several numbers, which may
    only repeat it. A round number is more often recorded than computed.
    """
    best: tuple[int, int] | None = None
    for index in range(at - 1, -1, -1):
        if not _gives(steps[index], value):
            continue
        place = _standing(steps[index], value)
        if place == 0:
            return index
        if best is None or place < best[0]:
            best = (place, index)
    return None if best is None else best[1]


def _standing(step: Step, value: float) -> int:
    if step.formula.name == as_recorded.__name__:
        return 0 if _round(value) else 1
    if isinstance(step.result, int | float):
        return 1 if _round(value) else 0
    return 2


def _round(value: float) -> bool:
    return float(f"{value:.2g}") == value


def _plain_step(value: float) -> Step:
    formula = next(item for item in REGISTRY.values() if item.name == as_recorded.__name__)
    return Step(formula, (value,), {}, value, 0)
