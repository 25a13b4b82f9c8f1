"""What the pictures show: the options to compare, the one that is drawn in full, and the goal it is drawn for."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from ...core.documents.numbers import choice_words
from ...core.fields import goal_by_key
from ...core.goals import Demand
from ...core.plan.types import Option, Outcome
from ..safe_text import shown, wrap
from ..view import View
from ..widgets.sheet import SheetRow, text_row
from .canvas import Lines, Way

# How far down the ranking another telescope is looked for, and how many of them stand beside the best.
_LOOK_AT = 400
_OTHERS = 2


@dataclass(frozen=True, slots=True)
class Named:
    """An option and why it is shown: "best", "chosen", "next"."""

    word: str
    option: Option


@dataclass(frozen=True, slots=True)
class Subject:
    """A view with the options that its pictures show; ``at`` is the one drawn in full, ``goal`` the goal drawn."""

    view: View
    options: tuple[Named, ...]
    at: int = 0
    goal: int = 0
    way: Way | None = None

    @property
    def named(self) -> Named | None:
        """The option that is drawn in full, None when nothing can be used."""
        return self.options[self.at] if self.options else None

    @property
    def option(self) -> Option | None:
        """The same without its word."""
        return self.options[self.at].option if self.options else None

    @property
    def demand(self) -> Demand | None:
        """The goal that is drawn."""
        plan = self.view.plan
        return plan.demands[self.goal] if plan is not None and self.goal < len(plan.demands) else None

    def placed(self) -> tuple[Demand, ...]:
        """The goals whose distance is known: those that have a place in a picture."""
        plan, goals = self.view.plan, self.view.case.visit.goals
        return tuple(
            demand
            for demand in (plan.demands if plan is not None else ())
            if "distance" in demand.assumed or goals[demand.index].value("distance") is not None
        )

    @property
    def outcome(self) -> Outcome | None:
        """What the option does for the goal."""
        option = self.option
        if option is None or self.goal >= len(option.outcomes):
            return None
        return option.outcomes[self.goal]

    def next_option(self) -> Subject:
        """The same with the next option drawn in full."""
        return replace(self, at=(self.at + 1) % len(self.options)) if self.options else self

    def next_goal(self) -> Subject:
        """The same for the next goal."""
        count = len(self.view.plan.demands) if self.view.plan is not None else 0
        return replace(self, goal=(self.goal + 1) % count) if count else self

    @property
    def nothing(self) -> str:
        """Why there is no option to draw."""
        plan = self.view.plan
        return "Nothing is computed yet." if plan is None else plan.decision.sentence


def subject_of(view: View) -> Subject:
    """The best option, the chosen one, and the best with other telescopes; the chosen one is drawn in full."""
    plan = view.plan
    if plan is None:
        return Subject(view, ())
    found: list[Named] = []
    chosen = view.chosen
    if len(plan.options):
        best = plan.options[0]
        same = chosen is not None and chosen.configuration == best.configuration
        found.append(Named("chosen, best" if same else "best", best))
    if chosen is not None and not any(each.option.configuration == chosen.configuration for each in found):
        found.append(Named("chosen", chosen))
    seen = {each.option.telescope.id for each in found}
    others = 0
    for place in range(min(len(plan.options), _LOOK_AT)):
        telescope = plan.coverage.rows[place].configuration.telescope
        if telescope not in seen:
            seen.add(telescope)
            others += 1
            found.append(Named("next" if others == 1 else f"next {others}", plan.options[place]))
            if others == _OTHERS:
                break
    at = next((index for index, each in enumerate(found) if each.word.startswith("chosen")), 0)
    return Subject(view, tuple(found), at)


def option_row(named: Named) -> SheetRow:
    """The option in full words, first in every picture's words."""
    return SheetRow(((f"{named.word.capitalize()}: ", "label"), (f"{choice_words(named.option)}.", "strong")))


def assumed_rows(subject: Subject, paths: Iterable[str], goal_keys: Iterable[str] = ()) -> list[SheetRow]:
    """What of the picture leans on something that was assumed and not measured; nothing when all of it was.

    ``{eye}`` in a path stands for every eye that the options drawn are for, ``goal_keys`` for what the goals may lack.
    """
    person, plan = subject.view.person, subject.view.plan
    drawn = {eye.side for named in subject.options for eye in named.option.device.eyes}
    sides = [side for side in ("right", "left") if side in drawn]
    found: dict[str, None] = {}
    for path in paths:
        by_side = {side: path.format(eye=side) for side in (sides if "{eye}" in path else [""])}
        said = {
            side: person.assumed[each].sentence for side, each in by_side.items() if each in person.assumed
        }
        if len(said) > 1 and len(set(said.values())) == 1:
            said = {"each": next(iter(said.values()))}
        for side, sentence in said.items():
            found[f"{side} eye, {sentence}" if side and len(sides) > 1 else sentence] = None
    for demand in plan.demands if plan is not None else ():
        for key in goal_keys:
            if key in demand.assumed:
                label = goal_by_key()[key].label.lower()
                found[f"goal {demand.index + 1}, {label}: {demand.assumed[key]}"] = None
    return [text_row(f"Assumed, not measured: {'; '.join(found)}.", "assumed")] if found else []


def goal_row(subject: Subject) -> SheetRow | None:
    """The goal that is drawn, with the sentence of its outcome."""
    outcome = subject.outcome
    if outcome is None:
        return None
    # A goal that lacks a figure says itself which.
    return text_row(f"Goal {outcome.goal_index + 1}. {outcome.sentence}")


def sentence_lines(text: str, width: int, height: int) -> Lines:
    """A sentence where a picture would stand."""
    return [((line, "plain"),) for line in wrap(shown(text), max(8, width))[:height]]
