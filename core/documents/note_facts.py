"""Case, plan and sheet of one visit, as every block of a chart note reads them, and the single words of a note."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

from ..case import Case, Visit
from ..fitting.types import FittingSheet
from ..plan.types import Option, Plan
from ..settings import Settings
from .options import chosen_option
from .text import clean
from .version import made_by


@dataclass(frozen=True)
class NoteFacts:
    """Case, plan and sheet of one visit, read through the placeholders."""

    case: Case
    plan: Plan | None
    sheet: FittingSheet | None
    settings: Settings

    @property
    def visit(self) -> Visit:
        """The visit that the note is about."""
        return self.case.visit

    def word(self, name: str) -> str:
        """The words for a word placeholder, "" when there is nothing to say."""
        visit = self.visit
        age = self.case.age_years()
        words: dict[str, Callable[[], object]] = {
            "code": lambda: self.case.code,
            "date": lambda: visit.on.isoformat(),
            "kind": lambda: visit.kind.capitalize(),
            "age": lambda: "" if age is None else age,
            "examiner": lambda: visit.value("person.examiner") or "",
            "clinic": lambda: self.settings.clinic,
            "next_step": lambda: visit.value("plan.next_step") or "",
            "next_date": lambda: visit.value("plan.next_date") or "",
            "made_by": made_by,
        }
        return clean(words[name]())

    @cached_property
    def option(self) -> Option | None:
        """The chosen option as the plan evaluates it."""
        return chosen_option(self.plan, self.visit.choice, self.settings)
