"""One case on the screen: routes between the four panes and hands down what follows from the case.

Nothing clinical is decided here. An edit goes: pane -> ``CaseEdited`` -> desk (saved) -> person, plan, fitting sheet ->
pane, all with the key while that is quick; a plan that takes longer is made in a thread, and one that came too late
is dropped.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from textual import on
from textual.app import ComposeResult

from ...core.case import Case
from ...core.documents.numbers import eye_words
from ...core.errors import AfocalError
from ...core.fitting.types import FittingSheet
from ...core.person import person_of
from ...core.plan import Plan, plan
from ...core.plan.types import Option
from ...core.settings import Settings
from ...core.stock import Stock
from ...core.workspace import OpenedCase
from ..commands import Place, bindings_for
from ..keeper import Keeper
from ..messages import CaseEdited, PaneAsked, Told, WorkingAsked
from ..panes.base import Pane
from ..panes.computation_rows import device_words
from ..quiet import QuietContainer, in_one_frame
from ..view import View
from ..widgets.lines import AnswerLine, KeyLine, MessageLine
from .beside import WIDE, Beside
from .case_commands import CaseCommands

# A plan that took up to this long is made with the key, the next one too; a longer one in a thread.
QUICK_S = 0.025


def make_pane(name: Place) -> Pane:
    """A pane by its name, imported when it is first wanted."""
    if name == "intake":
        from ..panes.intake import IntakePane

        return IntakePane()
    if name == "computation":
        from ..panes.computation import ComputationPane

        return ComputationPane()
    if name == "fitting":
        from ..panes.fitting import FittingPane

        return FittingPane()
    from ..panes.notes import NotesPane

    return NotesPane()


class CaseScreen(CaseCommands):
    """See the module's first lines."""

    DEFAULT_CSS = """
    CaseScreen { background: $ground; layout: vertical; }
    CaseScreen #middle { width: 1fr; height: 1fr; layout: horizontal; background: $ground; }
    CaseScreen #panes { width: 1fr; height: 1fr; background: $ground; }
    """

    BINDINGS = bindings_for("case")

    def __init__(
        self,
        opened: OpenedCase,
        stock: Stock,
        settings: Settings,
        *,
        said: tuple[str, ...] = (),
        after_save: Callable[[Path, str], None] | None = None,
    ) -> None:
        super().__init__()
        self.stock, self.settings = stock, settings
        self.keeper = Keeper(self, opened, after_save)
        self.desk = self.keeper.desk
        self.answer = AnswerLine("")
        self.beside = Beside()
        self.messages = MessageLine(more="Ctrl+L all")
        self.keys = KeyLine()
        self.panes: dict[str, Pane] = {}
        self.place: Place = "intake"
        self.view = self._fresh_view(None)
        self.messages.resting = whose_words(self.desk.case)
        self._said = said
        self._shown: dict[str, View] = {}
        self._plan_took_s = 0.0
        self._plans_made = 0
        self._in_thread = False

    # ---- what stands on the screen

    def compose(self) -> ComposeResult:
        yield self.answer
        with QuietContainer(id="middle"):
            yield QuietContainer(id="panes")
            yield self.beside
        yield self.messages
        yield self.keys

    async def on_mount(self) -> None:  # type: ignore[override]
        """Intake first; the plan right behind it."""
        super().on_mount()
        self._tell_from = self.app
        await self.show_pane("intake")
        for sentence in self._said:
            self.say(sentence, "check")
        self.call_after_refresh(self._first_plan)

    def _first_plan(self) -> None:
        self._follow()
        self.keeper.start()

    def say(self, text: str, weight: str = "note") -> None:
        """Say something in the line that keeps it."""
        self.messages.say(text, weight)  # type: ignore[arg-type]

    def say_once(self, text: str, weight: str = "note") -> None:
        """The same, but not again and again while it is the last thing said."""
        if not self.messages.stands or self.messages.recent[-1].text != text:
            self.say(text, weight)

    def tell_from_thread(self, call: Callable[..., Any], *arguments: Any) -> None:
        """Have something done here, asked for by another thread, which does not wait for it."""
        if self._tell_from is not None:
            self._tell_from.call_from_any_thread(call, *arguments)  # type: ignore[attr-defined]

    _tell_from = None

    @property
    def pane(self) -> Pane:
        """The pane in view."""
        return self.panes[self.place]

    async def show_pane(self, name: Place) -> None:
        """Bring a pane to the front; what stands typed in the one that is left is accepted first."""
        if name in self.panes and self.place == name:
            self.pane.take_focus()
            return
        if self.place in self.panes:
            self.messages.go_on()
            self.pane.accept_typed()
        # One frame for all of it: a pane laid out beside the one that goes would be seen for a moment in half its
        # height, and laid out twice more.
        async with in_one_frame(self):
            for other, each in self.panes.items():
                each.display = other == name
            pane = self.panes.get(name)
            if pane is None:
                pane = make_pane(name)
                pane.take_edit = self.take_edit
                await self.query_one("#panes").mount(pane)
                self.panes[name] = pane
            self.place = name
            self._show_beside()
            self._show_view()
            pane.take_focus()
            self.app.fill_key_line(self.keys, name)  # type: ignore[attr-defined]

    def on_resize(self) -> None:
        """The working stands beside the intake where there is room for both."""
        self._show_beside()

    def _show_beside(self) -> None:
        wanted = self.app.size.width >= WIDE and self.place == "intake"
        if self.beside.display != wanted:
            self.beside.display = wanted
        self.beside.wanted_soon()

    def _show_view(self) -> None:
        if self.place in self.panes and self._shown.get(self.place) is not self.view:
            self._shown[self.place] = self.view
            self.pane.show(self.view)

    # ---- the case changes

    def _fresh_view(self, old: View | None) -> View:
        case = self.desk.case
        return View(
            case,
            self.settings,
            self.stock,
            person_of(case, self.settings),
            old.plan if old else None,
            old.sheet if old else None,
            read_only=case.visit.signed,
        )

    @on(CaseEdited)
    def _edited(self, event: CaseEdited) -> None:
        event.stop()
        self.take_edit(event)

    def take_edit(self, edited: CaseEdited) -> None:
        """An edit from a pane."""
        self.change(edited.change, edited.key, edited.said)

    def change(
        self, make: Callable[[Case], Case], key: str = "", said: str = "", *, for_good: bool = False
    ) -> bool:
        """Change the case; a refusal goes to the row it belongs to, and the old value stays."""
        try:
            changed = self.desk.accept(make(self.desk.case), keep_for_good=for_good)
        except AfocalError as error:
            if key:
                self.pane.refuse(key, str(error))
            self.messages.say(str(error), "error", key)
            return False
        if said:
            self.say(said, "done")
        else:
            self.messages.go_on(key)
        if changed:
            self.case_changed()
        return changed

    def case_changed(self) -> None:
        """The case on the desk is another one: show it with what follows from it."""
        if self.desk.case is not self.view.case:
            self.view = self._fresh_view(self.view)
            self.messages.resting = whose_words(self.desk.case)
            self._follow()

    def _follow(self) -> None:
        """Compute what follows from the case: here when it is quick, else in a thread."""
        if self._plan_took_s <= QUICK_S and not self._in_thread:
            self._take_plan(self.view.case, *self._computed(self.view.case))
            return
        self._show_view()
        if not self._in_thread:
            self._in_thread = True
            case = self.view.case
            self.run_worker(lambda: self._plan_in_thread(case), thread=True, group="plan")

    def _computed(self, case: Case) -> tuple[Plan, FittingSheet | None, float]:
        started = time.perf_counter()
        made = plan(case, self.stock, self.settings)
        return made, self._sheet(case), time.perf_counter() - started

    def _sheet(self, case: Case) -> FittingSheet | None:
        """The fitting sheet; a choice that is not in the stock gives a sheet that only says so."""
        choice = case.visit.choice
        if choice is None:
            return None
        from ...core.fitting.sheet import fitting_sheet

        try:
            return fitting_sheet(case, self.stock, self.settings)
        except AfocalError as error:
            return FittingSheet(choice, choice.telescope, (), (str(error),))

    def _plan_in_thread(self, case: Case) -> None:
        self.tell_from_thread(self._thread_done, case, *self._computed(case))

    def _thread_done(self, case: Case, made: Plan, sheet: FittingSheet | None, took_s: float) -> None:
        self._in_thread = False
        if case is self.view.case:
            self._take_plan(case, made, sheet, took_s)
        else:
            # The case has moved on; what came too late is dropped. Once in a while a quick one may follow at once.
            self._plan_took_s = took_s
            self._follow()

    def _take_plan(self, case: Case, made: Plan, sheet: FittingSheet | None, took_s: float) -> None:
        self._plans_made += 1
        # The first plan also pays for loading; what it took says nothing of the next.
        self._plan_took_s = 0.0 if self._plans_made == 1 else took_s
        view = self.view
        self.view = View(case, view.settings, view.stock, view.person, made, sheet, view.read_only)
        self.answer.text = answer_sentence(self.view)
        self._show_view()
        self.beside.follow(self.view)

    @on(Told)
    def _told(self, event: Told) -> None:
        event.stop()
        self.say(event.text, event.weight)

    @on(PaneAsked)
    async def _pane_asked(self, event: PaneAsked) -> None:
        event.stop()
        await self.show_pane(event.pane)  # type: ignore[arg-type]
        if event.key:
            self.pane.go_to(event.key)

    @on(WorkingAsked)
    def _working_wanted(self, event: WorkingAsked) -> None:
        event.stop()
        from .working import working_page

        self.app.push_screen(working_page(self.view, event))


def whose_words(case: Case) -> str:
    """Whose record stands on the screen, and which visit: ``KM-014  signed examination 2026-11-25``."""
    visit = case.visit
    return f"{case.code}  {'signed ' if visit.signed else ''}{visit.kind} {visit.on.isoformat()}"


def answer_sentence(view: View) -> str:
    """The best option for the first goal in words that read aloud well."""
    plan = view.plan
    if plan is None:
        return "Nothing is computed yet."
    if plan.referrals and plan.referrals[0].urgency == "same day":
        return f"Refer first: {plan.referrals[0].sentence}"
    best = plan.best
    if best is None or best.served is None or not best.served.needed:
        return plan.decision.sentence
    word = plan.decision.word.replace("-", " ").capitalize()
    if plan.decision.word == "prefer-alternative":
        # The other way first: what a telescope would do all the same is not the answer.
        return f"{word}: {plan.decision.sentence} First of the telescopes: {device_words(best)}."
    # What comes of it first, then with what: where it is narrow, the beginning is all that is seen at once.
    outcome = best.served.sentence.rstrip(".")
    return (
        f"{word}: {outcome}; with {device_words(best)}. {_chosen_words(view, best)}{plan.decision.sentence}"
    )


def _chosen_words(view: View, best: Option) -> str:
    """Which device is chosen where it is another one than the first, so that its figures are not taken for these."""
    choice = view.case.visit.choice
    if choice is None or (choice.telescope, choice.eye) == (
        best.configuration.telescope,
        best.configuration.eye,
    ):
        return ""
    return f"Chosen is another: {choice.telescope}, {eye_words(choice.eye)}, {choice.position}. "
