"""The chosen configuration as the plan knows it: evaluated, refused with a reason, or gone from the stock."""

from __future__ import annotations

from ..configuration import Configuration
from ..plan.types import Option, Plan
from .text import clean


def chosen_option(plan: Plan | None, choice: Configuration | None) -> Option | None:
    """The plan's option for a choice, None when nothing is chosen or the plan does not offer it."""
    if plan is None or choice is None:
        return None
    # Rows of the coverage are small; an option is expanded only once it is found.
    for place, row in enumerate(plan.coverage.rows):
        if row.configuration == choice:
            return plan.options[place]
    return next((option for option in plan.options if option.configuration == choice), None)


def refusal_of(plan: Plan, choice: Configuration) -> str:
    """Why the plan does not offer a choice, in a sentence."""
    for refused in plan.refused:
        if refused.configuration == choice:
            return clean(refused.reason)
    return "it is not among the ways in which the clinic's stock can be used"
