"""The plan itself: case, stock and settings in, recommendation out. A pure function of the three."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from ..case import Case
from ..cautions import AT_REST
from ..configuration import Configuration, EyeChoice
from ..goals import Demand, Task, demands_of, tasks_of
from ..person import person_of
from ..settings import Settings
from ..stock import Stock
from .advice import eye_advice
from .alternatives import alternatives_for
from .asked import without_telescope
from .cautions import cautions_for, held_back, last_exam_of, referrals_of
from .configurations import checked
from .context import Context, context_of
from .coverage import Lazy, coverage_of, smallest_set
from .cross import grid_of
from .formulas import USELESS_CHANCE
from .grid import Entry, Grid
from .needs import need_of
from .outcome import outcome_of
from .ranking import score_parts
from .reasons import reasons_of, summary_of
from .tube_field import Infeasible
from .types import GRADES, Decision, DeviceSet, EyeAdvice, Option, Plan, Refused
from .verdict import decision_of
from .words import listed

_BY_CODE = {
    "filter not asked for": "No glare and no goal in bright light is recorded, so filters are left out; record glare "
    "to weigh them.",
}


def plan(case: Case, stock: Stock, settings: Settings, tasks: Iterable[Task] | None = None) -> Plan:
    """Every configuration of the stock weighed against every goal of the visit worked on.

    ``tasks`` is the library of tasks; left out, the program's own with the clinic's of the settings over it. Never
    raises for what a person can record: what cannot be computed is said.
    """
    context, demands = read_case(case, settings, tasks)
    grid = grid_of(context, stock, demands)
    goals = tuple(demand.name for demand in demands)
    options = Lazy(len(grid), lambda rank: _option(grid, rank))
    best = options[0] if options else None
    refused = Lazy(len(grid.refused), lambda number: _refused(grid, number))
    free = {demand.index: words for demand in demands if (words := without_telescope(context, demand))}
    tables = (alternatives_for(context, stock, settings, d, _best_for(grid, options, d)) for d in demands)
    person = context.person
    referrals = referrals_of(context, case.visit.on, last_exam_of(case))
    assumed = _leaned_on(context) | _estimated_print(context, demands)
    return Plan(
        person=person,
        demands=demands,
        needs=tuple(need_of(context, demand) for demand in demands),
        decision=held_back(_decision(context, best, refused, demands, free, stock), referrals),
        options=options,
        refused=refused,
        coverage=coverage_of(grid, goals, tuple(free)),
        smallest_set=_at_rest(smallest_set(grid, goals, tuple(free)), demands),
        eye_advice=_advice(grid, options, demands),
        alternatives=tuple(table for table in tables if table is not None),
        referrals=referrals,
        cautions=cautions_for(context, best, demands, len(assumed)),
        assumptions_used=assumed,
        problems=tuple(problem for demand in demands for problem in demand.problems),
        inputs={
            path: finding.typed for path, finding in case.visit.findings.items() if finding.value is not None
        },
    )


def _leaned_on(context: Context) -> dict[str, str]:
    """What was assumed instead of measured, by field path: not of an eye that nothing is computed with."""
    closed = tuple(f"{eye.side}." for eye in (context.right, context.left) if eye.closed)
    return {
        path: assumed.sentence
        for path, assumed in context.person.assumed.items()
        if not path.startswith(closed)
    }


def _estimated_print(context: Context, demands: Sequence[Demand]) -> dict[str, str]:
    """Threshold print that print goals lean on without its having been read so, by field path, in a sentence."""
    if not any(demand.by_print for demand in demands):
        return {}
    return {
        f"{eye.side}.near_acuity": f"threshold print of {eye.near_m_units:.2g}M at {eye.near_distance_mm / 10:.0f} cm, "
        f"{eye.near_from}"
        for eye in (context.right, context.left)
        if eye.usable and eye.near_from
    }


def read_case(
    case: Case, settings: Settings, tasks: Iterable[Task] | None = None
) -> tuple[Context, tuple[Demand, ...]]:
    """The person ready for planning and the demands of the goals."""
    context = context_of(person_of(case, settings), settings)
    return context, demands_of(case.visit.goals, tasks_of(settings) if tasks is None else tasks, settings)


def option_for(
    context: Context, stock: Stock, demands: Sequence[Demand], configuration: Configuration, rank: int = 0
) -> Option:
    """One configuration evaluated through the declared formulas. Raises :class:`Infeasible` when it cannot be used."""
    telescope = stock.telescope(configuration.telescope)
    if telescope is None:
        raise Infeasible("optics", f"The stock has no telescope {configuration.telescope}.")
    cap = stock.cap(configuration.cap) if configuration.cap else None
    tint = stock.filter(configuration.filter) if configuration.filter else None
    if (configuration.cap and cap is None) or (configuration.filter and tint is None):
        raise Infeasible(
            "optics", f"The stock has no {configuration.cap if cap is None else configuration.filter}."
        )
    device = checked(context, telescope, cap, tint, configuration)
    outcomes = tuple(outcome_of(context, telescope, cap, configuration, device, demand) for demand in demands)
    good, bad = reasons_of(context, telescope, cap, configuration, device, demands, outcomes)
    parts = score_parts(context, telescope, configuration, device, demands, outcomes)
    return Option(
        rank=rank,
        configuration=configuration,
        telescope=telescope,
        cap=cap,
        filter=tint,
        device=device,
        outcomes=outcomes,
        reasons_for=good,
        reasons_against=bad,
        score=sum(part.points for part in parts),
        score_parts=parts,
        decision=decision_of(outcomes),
        summary=summary_of(telescope, cap, tint, configuration),
    )


def _option(grid: Grid, rank: int) -> Option:
    configuration = grid.configuration(grid.entry(rank))
    return option_for(grid.context, grid.ready.stock, grid.demands, configuration, rank + 1)


def _refused(grid: Grid, number: int) -> Refused:
    entry = grid.refused[number]
    configuration = grid.refused_configuration(number)
    words = _BY_CODE.get(entry.code)
    if words is None:
        words = why_refused(grid.context, grid.ready.stock, configuration) or entry.code
    return Refused(configuration, entry.code, words, entry.stands_for)


def why_refused(context: Context, stock: Stock, configuration: Configuration) -> str:
    """The sentence that refuses a configuration, "" when it can be used."""
    try:
        option_for(context, stock, (), configuration)
    except Infeasible as infeasible:
        return infeasible.reason
    return ""


def _best_for(grid: Grid, options: Sequence[Option], demand: Demand) -> Option | None:
    """The option that serves one goal best: the first one when it meets it, else the best by that goal alone."""
    if not demand.by_print or not options:
        return None
    if options[0].outcomes[demand.index].grade == "meets":
        return options[0]
    foremost = []
    for number, block in enumerate(grid.blocks):
        points = block.columns[demand.index].points_of_rows
        usable = [row for row, best_of in enumerate(grid.best_of_row[number]) if best_of >= 0.0]
        row = max(usable, key=points.__getitem__, default=None)
        if row is not None and points[row] > 0.0:
            foremost.append((-points[row], (block.order, block.rows.optics.ties[row], number, row)))
    if not foremost:
        return options[0]
    _, (_, _, number, row) = min(foremost)
    return options[grid.rank_of(number, row)]


def _advice(grid: Grid, options: Sequence[Option], demands: Sequence[Demand]) -> EyeAdvice:
    """One eye or two, and where the first option goes against it, what speaks against the best one advised."""
    advice = eye_advice(grid.context, grid.counted)
    advised = advice.choice
    if demands and options and not any(outcome.needed for outcome in options[0].outcomes):
        words = f"{advice.sentence[:1].lower()}{advice.sentence[1:]}"
        return advice._replace(
            sentence=f"No goal asks for a telescope; if one is tried all the same: {words}"
        )
    if advised == "measure first" or not demands or not options or options[0].configuration.eye == advised:
        return advice
    if options[0].score <= 0.0:
        return advice
    instead = {"both": "both eyes", "right": "the right eye", "left": "the left eye"}[
        options[0].configuration.eye
    ]
    words = f"The first option is for {'one eye' if advised == 'both' else instead} all the same"
    kind = "pair" if advised == "both" else f"one for the {advised} eye"
    other, name = _best_for_eyes(grid, advised)
    if other is None:
        none = "no pair" if advised == "both" else "nothing"
        return advice._replace(
            sentence=f"{advice.sentence} {words}: {none} here serves a goal{_for(advised)}."
        )
    grades = grid.blocks[other.block].grades(other.row)
    worse = next(
        (
            demand
            for demand, grade, first in zip(demands, grades, options[0].outcomes, strict=True)
            if first.needed and GRADES.index(grade) > GRADES.index(first.grade)
        ),
        None,
    )
    why = "it stands behind by chance, power, field or how it is worn."
    if worse is not None:
        stock, configuration = grid.ready.stock, grid.configuration(other)
        why = option_for(grid.context, stock, (worse,), configuration).outcomes[0].sentence
    return advice._replace(sentence=f"{advice.sentence} {words}. The best {kind} is {name}; {why}")


def _for(advised: EyeChoice) -> str:
    return "" if advised == "both" else f" with the {advised} eye"


def _best_for_eyes(grid: Grid, eye: EyeChoice) -> tuple[Entry | None, str]:
    """The best option for that choice of eyes, and its place in the list, or what it is where that lies far down."""
    rank = grid.first_rank_of(eye)
    if rank is not None:
        return grid.entry(rank), f"option {rank + 1}"
    entry = grid.best_entry_of(eye)
    if entry is None:
        return None, ""
    configuration = grid.configuration(entry)
    return entry, f"{configuration.telescope}, {configuration.position}, far down the list"


def neither_eye(context: Context) -> str:
    """Why no eye can be computed with: what is off the chart, or that nothing was measured yet."""
    off = [eye for eye in (context.right, context.left) if not eye.closed.startswith("No acuity")]
    if off:
        other = (
            f" {off[1].side.capitalize()} eye {context.person.eye(off[1].side).off_chart}." if off[1:] else ""
        )
        return f"{off[0].closed}{other} Refer again if the category changes."
    if context.both_logmar is not None or context.person.both.near is not None:
        return "Only both eyes together were measured: measure each eye, so that one can be chosen."
    return "No acuity is recorded for either eye: measure distance acuity or threshold print first."


def _at_rest(found: DeviceSet, demands: Sequence[Demand]) -> DeviceSet:
    """The fewest devices, with what is not said by them where a goal speaks of driving."""
    if not any(demand.at_the_wheel for demand in demands):
        return found
    return found._replace(sentence=f"{found.sentence} {AT_REST}")


def _joined(demands: Sequence[Demand], free: Mapping[int, str]) -> str:
    """Why no goal asks for a telescope: goals for which the same is to be said stand together."""
    names: dict[str, list[str]] = {}
    for demand in demands:
        names.setdefault(free[demand.index].removeprefix(f"{demand.name}: "), []).append(demand.name)
    return " ".join(f"{listed(goals)}: {words}" for words, goals in names.items())


def _out_of_reach(best: Option, stock: Stock) -> Decision | None:
    """That no option comes near the leading goal, where none serves any; None where one does or nothing is computed."""
    outcome = best.leading
    if best.score > 0.0 or outcome is None or outcome.grade == "cannot":
        return None
    if (outcome.probability or 0.0) >= USELESS_CHANCE:
        return None
    if outcome.required_evp_d is not None:
        wanted = f"an equivalent power of {outcome.required_evp_d:.0f} D is wanted"
    else:
        strongest = max(abs(telescope.signed_magnification) for telescope in stock.telescopes)
        wanted = f"{outcome.required_magnification:.1f} times is wanted"
        wanted += f" and the strongest telescope here has {strongest:g}"
    return Decision(
        "prefer-alternative",
        f"{outcome.goal}: {wanted}; no option here comes near it. Going nearer, electronic magnification or another "
        "goal.",
    )


def _decision(
    context: Context, best: Option | None, refused: Sequence[Refused], demands: Sequence[Demand],
    free: Mapping[int, str], stock: Stock,
) -> Decision:  # fmt: skip
    if demands and len(free) == len(demands):
        return Decision("prefer-alternative", _joined(demands, free))
    if best is not None:
        if not demands:
            return Decision(
                "trial", "Record a goal first: without one there is nothing to weigh options against."
            )
        return _out_of_reach(best, stock) or best.decision
    if context.right.closed and context.left.closed:
        return Decision("refuse", neither_eye(context))
    if not stock.telescopes:
        return Decision("refuse", "The stock has no telescope: name a stock file.")
    return Decision("refuse", refused[0].reason if refused else "No configuration can be used.")
