"""The working of any displayed number: the chain of formulas behind it, recorded while it is computed anew."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

from ..case import Case
from ..configuration import Configuration
from ..errors import EntryRefusal
from ..formula import REGISTRY, Formula, Step, Working, recording
from ..goals import Task
from ..records import names_of
from ..settings import Settings
from ..stock import Stock
from .alternatives import alternatives_for
from .engine import option_for, read_case
from .formulas import as_recorded
from .needs import need_of
from .provenance import makers_of
from .tube_field import Infeasible
from .types import AlternativeTable, Option


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
    ``eyes.0.field.real_field_deg``), or of another near device of the goal (``near.0.evd_mm``); a bare name is looked
    for in that order and in every part of the device. A number that was recorded or assumed has a working of one step
    that says so. Raises EntryRefusal when there is no such number.
    """
    with recording() as working:
        context, demands = read_case(case, settings, tasks)
        try:
            option = option_for(context, stock, demands, configuration)
        except Infeasible as infeasible:
            raise EntryRefusal(
                "option", configuration.key, "one that can be used", reason=infeasible.reason
            ) from None
        demand = demands[goal_index] if goal_index < len(demands) else None
        need = None if demand is None else need_of(context, demand)
        near = None
        if demand is not None and quantity.startswith(f"{NEAR}."):
            near = alternatives_for(context, stock, settings, demand, None)
    value = _of_near(near, quantity) if near is not None else _value(option, need, goal_index, quantity)
    return chain_behind(working, value, quantity)


# The other near devices of a goal, by their place in its table without the telescope: ``near.0.evd_mm``.
NEAR = "near"


def _of_near(table: AlternativeTable, quantity: str) -> float:
    _, number, name = quantity.split(".")
    rows = [row for row in table.rows if row.evd_mm is not None]
    found = _by_path(rows[int(number)], name) if int(number) < len(rows) else None
    if found is None:
        raise EntryRefusal("quantity", quantity, "a number of a near device", example="near.0.evd_mm")
    return found


# A number that a result holds under another name than the formula that makes it.
_STANDS_IN = {"refocused_magnification": "leading.magnification"}


def _value(option: Option, need: Any, goal_index: int, quantity: str) -> float:
    places: list[Any] = []
    if goal_index < len(option.outcomes):
        places.append(option.outcomes[goal_index])
    places.extend(place for place in (need, option.device) if place is not None)
    for place in places:
        found = _by_path(place, _STANDS_IN.get(quantity, quantity))
        if found is not None:
            return found
    for name, found in _numbers(option.device):
        if name.rpartition(".")[2] == quantity:
            return found
    for number, part in enumerate(option.score_parts):
        if quantity in (part.criterion, f"score_parts.{number}.value"):
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
    elif (names := names_of(place)) is not None:
        for name in names:
            yield from _numbers(getattr(place, name), f"{path}.{name}" if path else name)
    elif isinstance(place, tuple | list):
        for number, item in enumerate(place):
            yield from _numbers(item, f"{path}.{number}" if path else str(number))


def chain_behind(working: Working, value: float, quantity: str) -> Working:
    """The steps that lead to a value, in the order of computation; one recorded step when no formula made it."""
    steps = working.steps
    number = _last_maker(steps, value, quantity)
    if number is None:
        return _working([_plain_step(value)])
    wanted: set[int] = {number}
    open_ = [number]
    while open_:
        at = open_.pop()
        for name, argument in _arguments(steps[at]):
            source = _made_before(steps, at, name, argument)
            if source is not None and source not in wanted:
                wanted.add(source)
                open_.append(source)
    return _working([steps[index] for index in sorted(wanted)])


def _last_maker(steps: list[Step], value: float, quantity: str) -> int | None:
    """The step that made the number, by the formulas that its name allows; None for a recorded one."""
    made = [number for number, step in enumerate(steps) if _gives(step, value)]
    makers = makers_of(quantity)
    if makers is not None:
        for maker in makers:
            by_it = [number for number in made if steps[number].formula.name == maker]
            if by_it:
                return by_it[-1]
        recorded = [number for number in made if steps[number].formula.name == as_recorded.__name__]
        return recorded[-1] if recorded else None
    short = quantity.rpartition(".")[2]
    named = [number for number in made if _akin(steps[number].formula, short)]
    if named:
        return named[-1]
    return made[-1] if made and not _short(value) else None


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


def _arguments(step: Step) -> Iterator[tuple[str, float]]:
    """Every number that went into a step, with the name of the parameter."""
    names = step.formula.parameters
    for place, argument in enumerate(step.args):
        name = names[min(place, len(names) - 1)]
        for _, number in _numbers(_plain(argument)):
            yield name, number
    for name, argument in step.kwargs.items():
        for _, number in _numbers(_plain(argument)):
            yield name, number


def _made_before(steps: list[Step], at: int, name: str, value: float) -> int | None:
    """The step that made an argument before another step, None when it was given.

    A short number may have been made anywhere by chance, so it is followed only to a record of it or to a formula that
    its name allows; a long one to whatever made it: a formula with that one result first, then a record, then a result
    of several numbers, which may only repeat it.
    """
    makers = makers_of(name) or ()
    best: tuple[int, int] | None = None
    for index in range(at - 1, -1, -1):
        step = steps[index]
        if not _gives(step, value):
            continue
        own = step.formula.name == name or step.formula.name in makers
        if _short(value) and not own and step.formula.name != as_recorded.__name__:
            continue
        place = 0 if own else _standing(step)
        if place == 0:
            return index
        if best is None or place < best[0]:
            best = (place, index)
    if best is None or steps[best[1]].formula.name == as_recorded.__name__:
        # That a number was recorded is no step of its own: it stands in the step that it went into.
        return None
    return best[1]


def _standing(step: Step) -> int:
    if step.formula.name == as_recorded.__name__:
        return 1
    return 0 if isinstance(step.result, int | float) else 2


def _short(value: float) -> bool:
    """Whether a number has so few digits that it may turn up by chance."""
    return float(f"{value:.4g}") == value


def _plain_step(value: float) -> Step:
    formula = next(item for item in REGISTRY.values() if item.name == as_recorded.__name__)
    return Step(formula, (value,), {}, value, 0)
