"""What a pane may show: the case and everything that follows from it, made by pure functions.

A pane is given a new view when the case changes; it never changes a view and never computes clinical numbers itself.
"""

from __future__ import annotations

from dataclasses import dataclass

from ..core.case import Case
from ..core.fitting.types import FittingSheet
from ..core.person import Person
from ..core.plan.types import Option, Plan
from ..core.settings import Settings
from ..core.stock import Stock


@dataclass(frozen=True, slots=True)
class View:
    """``plan`` and ``sheet`` are None while they are not computed yet, or when there is nothing to compute."""

    case: Case
    settings: Settings
    stock: Stock
    person: Person
    plan: Plan | None = None
    sheet: FittingSheet | None = None
    read_only: bool = False

    @property
    def chosen(self) -> Option | None:
        """The option that was chosen, as the plan evaluates it now; None when nothing usable is chosen."""
        if self.plan is None or self.case.visit.choice is None:
            return None
        from ..core.documents.options import chosen_option

        return chosen_option(self.plan, self.case.visit.choice, self.settings)

    @property
    def best(self) -> Option | None:
        """The option that the plan ranks first."""
        return self.plan.options[0] if self.plan is not None and len(self.plan.options) else None
