"""The options that are shown first, and the chosen one: evaluated, refused with a reason, or gone from the stock."""

from __future__ import annotations

from collections.abc import Iterator

from ..configuration import Configuration
from ..plan import option_for
from ..plan.context import context_of
from ..plan.device import Infeasible
from ..plan.types import Option, Plan
from ..settings import Settings
from ..stock import Stock
from .text import clean

_LOOKED_THROUGH = 400


def leading_ranks(plan: Plan, most: int) -> list[int]:
    """Where the best way of using each telescope with each eye in each position stands, best first; ``most`` of them.

    The other ways of one differ in mount, cap, correction or focus setting and stand close behind it.
    """
    seen: set[tuple[str, str, str]] = set()
    ranks: list[int] = []
    for rank in range(min(len(plan.options), _LOOKED_THROUGH)):
        way = plan.coverage.rows[rank].configuration
        kind = (way.telescope, way.eye, way.position)
        if kind not in seen:
            seen.add(kind)
            ranks.append(rank)
            if len(ranks) == most:
                break
    return ranks


def chosen_option(plan: Plan | None, choice: Configuration | None, settings: Settings) -> Option | None:
    """The option for a choice, None when nothing is chosen or it cannot be used.

    It is evaluated by the formulas of the plan's own rows, whether or not it is one of them: another spread is not,
    and to look for one among thousands would take longer than to compute it. Its ``rank`` is 0.
    """
    if plan is None or choice is None:
        return None
    try:
        return _evaluated(plan, choice, settings)
    except Infeasible:
        return None


def refusal_of(plan: Plan, choice: Configuration, settings: Settings) -> str:
    """Why a choice cannot be used, in a sentence."""
    try:
        _evaluated(plan, choice, settings)
    except Infeasible as infeasible:
        reason = infeasible.reason
        if not reason.startswith("The stock has no"):
            return clean(reason)
    alike = [refused for refused in plan.refused if refused.configuration.telescope == choice.telescope]
    same_eye = [refused for refused in alike if refused.configuration.eye == choice.eye]
    for refused in (*same_eye, *alike):
        return clean(refused.reason)
    return "it is not among what the clinic's stock offers"


def _evaluated(plan: Plan, choice: Configuration, settings: Settings) -> Option:
    """The choice through the plan's formulas, with the stock entries that the plan's own options show."""
    known = list(_alike(plan, choice))
    stock = Stock(
        telescopes=tuple({each.telescope.id: each.telescope for each in known}.values()),
        caps=tuple({each.cap.id: each.cap for each in known if each.cap}.values()),
        filters=tuple({each.filter.id: each.filter for each in known if each.filter}.values()),
    )
    return option_for(context_of(plan.person, settings), stock, plan.demands, choice)


def _alike(plan: Plan, choice: Configuration) -> Iterator[Option]:
    """One option with the telescope of the choice, one with its cap, one with its filter, as far as there are any."""
    wanted = {"telescope": choice.telescope, "cap": choice.cap, "filter": choice.filter}
    wanted = {part: id for part, id in wanted.items() if id}
    for place, row in enumerate(plan.coverage.rows):
        found = [part for part, id in wanted.items() if getattr(row.configuration, part) == id]
        if found:
            yield plan.options[place]
            for part in found:
                del wanted[part]
        if not wanted:
            return
