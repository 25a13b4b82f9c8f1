"""What would change the answer: how far each input may move, and which unmeasured one matters most.

Rivals are the telescopes that come nearest to the first option, and those next to it in power, so that a probe costs
a few milliseconds; it is made when asked for, not with the plan.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from math import log10

from ..acuity import Acuity
from ..case import Case
from ..configuration import Configuration
from ..errors import EntryRefusal
from ..fields import by_path
from ..goals import Demand, Task, demands_of, tasks_of
from ..person import Person, person_of
from ..settings import Settings
from ..stock import Stock
from .configurations import goes_in_front, needs_lens
from .context import Context, Side, context_of
from .cross import grid_of
from .device import FRONT_MOUNTS
from .engine import option_for
from .grid import Grid
from .movable import Movable, movable_inputs, person_with
from .tube_field import Infeasible
from .types import GRADES, Option, Sensitivity

RIVALS = 12
NEEDED = "a telescope is needed for the goal"
COARSE_STEPS = 4
# An edge is told to this share of its distance from the value, as far as the halvings go.
SHARPNESS = 0.02
HALVINGS = 16
# What changes the answer within its usual span weighs this much beside the chance that hangs on it; what moves the
# chance by less than the least is not worth measuring for (common practice).
CHANGES_WORTH = 0.25
LINES_BETTER = 0.2
LEAST_WORTH = 0.02


def sensitivity(
    case: Case,
    stock: Stock,
    settings: Settings,
    configuration: Configuration,
    goal_index: int | None = None,
    tasks: Iterable[Task] | None = None,
) -> tuple[Sensitivity, ...]:
    """How far each input may move before another option wins or the goal is missed, for one option and one goal.

    Left out, the goal is the first that asks for a telescope.
    Unmeasured inputs that matter most come first, then the measured ones in the order of the exam. Raises EntryRefusal
    when the option cannot be used.
    """
    return in_order(sensitivity_one_by_one(case, stock, settings, configuration, goal_index, tasks))


def in_order(found: Iterable[Sensitivity]) -> tuple[Sensitivity, ...]:
    """Unmeasured inputs that matter most first, then the measured ones as they come."""
    return tuple(sorted(found, key=lambda item: (item.measured, -item.weight if not item.measured else 0.0)))


def sensitivity_one_by_one(
    case: Case,
    stock: Stock,
    settings: Settings,
    configuration: Configuration,
    goal_index: int | None = None,
    tasks: Iterable[Task] | None = None,
) -> Iterator[Sensitivity]:
    """The same, each input when it is worked out, in the order of the exam: who asks may stop in between."""
    person = person_of(case, settings)
    demands = demands_of(case.visit.goals, tasks_of(settings) if tasks is None else tasks, settings)
    context = context_of(person, settings)
    try:
        option = option_for(context, stock, demands, configuration)
    except Infeasible as infeasible:
        raise EntryRefusal(
            "option", configuration.key, "one that can be used", reason=infeasible.reason
        ) from None
    if goal_index is None:
        goal_index = 0 if option.served is None else option.served.goal_index
    if goal_index >= len(demands):
        return
    small = _rivals(grid_of(context, stock, demands), stock, configuration)
    probe = _Probe(
        settings, small, configuration, goal_index, option, _winner(grid_of(context, small, demands))
    )
    side = option.device.leading.side
    inputs = movable_inputs(case, settings, person, context, demands, side, goal_index, configuration)
    unknown: list[Side] = [
        eye.side for eye in option.device.eyes if f"{eye.side}.refraction" in person.assumed
    ]
    lenses = {f"{eye}.refraction" for eye in unknown}
    yield from map(_of_refraction, unknown)
    for item in inputs:
        if item.path not in lenses:
            yield probe.of(item)
    if person.fusion is None and context.right.usable and context.left.usable:
        yield probe.of_fusion(person, demands)
    for eye in _unmeasured_eyes(context):
        yield probe.of_eye(case, context, eye, demands)


def measure_next(found: Iterable[Sensitivity]) -> Sensitivity | None:
    """The unmeasured input that matters most, None when all that matters much is measured.

    The acuity reserve of a goal is not among them: it is set, not measured.
    """
    open_ = [
        item
        for item in found
        if not item.measured and item.weight >= LEAST_WORTH and not item.path.startswith("goal.")
    ]
    return max(open_, key=lambda item: item.weight, default=None)


def _rivals(grid: Grid, stock: Stock, configuration: Configuration) -> Stock:
    best: dict[str, float] = {telescope.id: -1.0 for telescope in stock.telescopes}
    for number, block in enumerate(grid.blocks):
        for row, score in zip(block.rows.rows, grid.best_of_row[number], strict=True):
            name = grid.ready.telescopes[row.telescope].id
            best[name] = max(best[name], score)
    own = stock.telescope(configuration.telescope)
    power = 1.0 if own is None else abs(own.signed_magnification)
    # Of those that serve nothing as things are, the next in power are the first to serve when an input moves.
    ordered = sorted(
        (item for item in stock.telescopes if item.id != configuration.telescope),
        key=lambda item: (-best[item.id], abs(log10(abs(item.signed_magnification) / power))),
    )
    names = {configuration.telescope, *(item.id for item in ordered[:RIVALS])}
    kept = tuple(item for item in stock.telescopes if item.id in names)
    tints = tuple(item for item in stock.filters if item.id == configuration.filter)
    return replace(stock, telescopes=kept, filters=tints)


def _winner(grid: Grid) -> tuple[str, str, str] | None:
    """The first option by telescope, eye and cap; None where none serves a goal."""
    if not len(grid) or grid.entry(0).score <= 0.0:
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

    def worn(self, context: Context) -> Configuration:
        """The option as this person would wear it: in front of a lens there is one as soon as an eye needs it."""
        choice = self.configuration
        if (
            goes_in_front(choice.correction, needs_lens(context, choice.eye))
            or choice.mount not in FRONT_MOUNTS
        ):
            return choice
        return replace(choice, correction="carrier")

    def state(self, item: Movable, value: float) -> str:
        """What is different with this value: "" for nothing."""
        person, demands = item.moved(value)
        context = context_of(person, self.settings)
        try:
            now = option_for(context, self.stock, demands, self.worn(context))
        except Infeasible as infeasible:
            return f"it can no longer be used ({infeasible.code})"
        there, before = now.outcomes[self.goal_index], self.option.outcomes[self.goal_index]
        if there.needed != before.needed:
            return NEEDED if there.needed else "the goal needs no telescope"
        grade = there.grade
        if there.needed and GRADES.index(grade) > GRADES.index(before.grade):
            return "the goal is only nearly met" if grade == "nearly" else "the goal is missed"
        winner = _winner(grid_of(context, self.stock, demands))
        if winner == self.winner:
            return ""
        return "no option serves any goal" if winner is None else _comes_first(winner)

    def chance(self, item: Movable, value: float) -> tuple[float, float]:
        """Chance for the goal and score with this value; zeros when it cannot be used."""
        person, demands = item.moved(value)
        try:
            context = context_of(person, self.settings)
            now = option_for(context, self.stock, demands, self.worn(context))
        except Infeasible:
            return 0.0, 0.0
        return now.outcomes[self.goal_index].probability or 0.0, now.score

    def of(self, item: Movable) -> Sensitivity:
        """The span of one input."""
        as_it_is = "" if item.measured else self.state(item, item.value)
        lower, what_lower = self.edge(item, item.lowest, back=bool(as_it_is))
        upper, what_upper = self.edge(item, item.highest, back=bool(as_it_is))
        first, second = (self.chance(item, value) for value in (item.usual_low, item.usual_high))
        scale = max(self.option.score, 1.0)
        weight = abs(first[0] - second[0]) + 0.5 * abs(first[1] - second[1]) / scale
        if as_it_is or any(
            edge is not None and item.usual_low <= edge <= item.usual_high for edge in (lower, upper)
        ):
            weight += CHANGES_WORTH
        if not self.option.outcomes[self.goal_index].needed and NEEDED not in (what_lower, what_upper):
            # Without a need for a telescope, which of them comes first is nothing to measure for.
            weight = 0.0
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
            sentence=_sentence(item, label, as_it_is, lower, what_lower, upper, what_upper),
        )

    def of_eye(self, case: Case, context: Context, side: Side, demands: tuple[Demand, ...]) -> Sensitivity:
        """What it would change that an eye of which nothing is known saw better than the other."""
        path = f"{side}.distance_acuity"
        known = self.option.device.leading.logmar or 0.0
        better = max(-0.3, known - LINES_BETTER)
        moved = context_of(person_with(case, self.settings, path, Acuity(better)), self.settings)
        grid = grid_of(moved, self.stock, demands)
        winner = _winner(grid)
        what, weight = "", 0.0
        if winner is not None and winner != self.winner:
            before = grid_of(context, self.stock, demands).entry(0).score
            what = _comes_first(winner)
            # Whatever it shows, an eye that was never measured leaves the choice of eye open.
            weight = 2.0 * CHANGES_WORTH + 0.5 * abs(grid.entry(0).score - before) / max(
                self.option.score, 1.0
            )
        label = by_path()[path].label
        told = f"if it is two lines better than the other eye, {what}" if what else "nothing changes by it"
        lower = better if what else None
        return Sensitivity(
            path,
            label,
            known,
            "logMAR",
            False,
            lower,
            what,
            None,
            "",
            weight,
            f"{label} (not measured): {told}.",
        )

    def of_fusion(self, person: Person, demands: tuple[Demand, ...]) -> Sensitivity:
        """What it would change that two tubes are fused, while nobody has tried."""
        grid = grid_of(context_of(replace(person, fusion=True), self.settings), self.stock, demands)
        winner = _winner(grid)
        what, weight = "", 0.0
        if winner is not None and winner[1] == "both" and winner != self.winner:
            what = _comes_first(winner)
            before = grid_of(context_of(person, self.settings), self.stock, demands).entry(0).score
            weight = CHANGES_WORTH + 0.5 * (grid.entry(0).score - before) / max(self.option.score, 1.0)
        label = by_path()["binocular.fusion"].label
        words = f"{label} (not tested): {f'shown through a trial pair, {what}' if what else 'nothing changes by it'}."
        upper = 1.0 if what else None
        return Sensitivity("binocular.fusion", label, 0.0, "", False, None, "", upper, what, weight, words)

    def edge(self, item: Movable, end: float, back: bool = False) -> tuple[float | None, str]:
        """The nearest value towards ``end`` at which something changes, by steps and then by halving.

        ``back`` is for an input that changes something by being measured as it was assumed: where that ends.
        """
        inside = item.value
        for step in range(1, COARSE_STEPS + 1):
            value = item.value + (end - item.value) * step / COARSE_STEPS
            if value == inside:
                continue
            what = self.state(item, value)
            if bool(what) != back:
                return self._halve(item, inside, value, what, back)
            inside = value
        return None, ""

    def _halve(
        self, item: Movable, inside: float, outside: float, what: str, back: bool
    ) -> tuple[float, str]:
        for _ in range(HALVINGS):
            if abs(outside - inside) <= SHARPNESS * abs(outside - item.value):
                break
            middle = (inside + outside) / 2.0
            found = self.state(item, middle)
            if bool(found) != back:
                outside, what = middle, found
            else:
                inside = middle
        return outside, what


def _of_refraction(side: Side) -> Sensitivity:
    """A refraction never recorded, of an eye behind a tube: whatever it moves, nothing is ordered without it."""
    path = f"{side}.refraction"
    label = by_path()[path].label
    words = f"{label} (not measured): no lens can be ordered without it, and the chance holds only if none is needed."
    return Sensitivity(path, label, 0.0, "D", False, None, "", None, "", 1.0, words)


def _unmeasured_eyes(context: Context) -> list[Side]:
    """The eyes of which no distance acuity is recorded, where there is another to compare with."""
    eyes = (context.right, context.left)
    return [
        eye.side
        for eye in eyes
        if eye.logmar is None
        and (eye.usable or eye.closed.startswith("No acuity"))
        and any(other.logmar is not None for other in eyes)
    ]


def _comes_first(winner: tuple[str, str, str]) -> str:
    telescope, eye, cap = winner
    eyes = "both eyes" if eye == "both" else f"{eye} eye"
    return f"{telescope} ({eyes}{', ' + cap if cap else ''}) comes first"


def _sentence(
    item: Movable, label: str, as_it_is: str, lower: float | None, what_lower: str, upper: float | None,
    what_upper: str,
) -> str:  # fmt: skip
    unit = f" {item.unit}" if item.unit else ""
    known = "measured" if item.measured else "assumed"
    if item.path.startswith("goal."):
        known = "as set"
    words = f"{label}, {item.value:.3g}{unit} ({known}): "
    if as_it_is:
        free = [
            f"{way} {_apart(value, item.value)}{unit} nothing changes"
            for way, value in (("up to", lower), ("from", upper))
            if value is not None
        ]
        return f"{words}measured so, {'; '.join((as_it_is, *free))}."
    parts = []
    if lower is not None:
        parts.append(f"at {_apart(lower, item.value)}{unit} {what_lower}")
    if upper is not None:
        parts.append(f"at {_apart(upper, item.value)}{unit} {what_upper}")
    return words + ("; ".join(parts) if parts else "nothing changes within the usual span") + "."


def _apart(edge: float, value: float) -> str:
    """An edge with as many figures as tell it from the value that it lies near."""
    for figures in (3, 4, 5):
        shown = f"{edge:.{figures}g}"
        if shown != f"{value:.{figures}g}":
            return shown
    return f"{edge:.6g}"
