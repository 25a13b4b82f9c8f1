"""One case on the screen: routes between the four panes, keeps the case on disk, hands down what follows from it.

Nothing clinical is decided here. An edit goes: pane -> ``CaseEdited`` -> desk (saved) -> person -> pane; then the plan
and the fitting sheet, at once while they are quick, in a thread when they are not; a result that came too late is
dropped.
"""

from __future__ import annotations

import time
from datetime import date
from typing import TYPE_CHECKING

from textual import on
from textual.app import ComposeResult
from textual.containers import Container

from ...core.case import Case
from ...core.case_file import loads_case
from ...core.desk import Desk
from ...core.errors import AfocalError, FileRefusal
from ...core.fitting.sheet import fitting_sheet
from ...core.fitting.types import FittingSheet
from ...core.person import person_of
from ...core.plan import plan
from ...core.settings import Settings
from ...core.stock import Stock
from ...core.store.saver import SaverState
from ...core.store.watch import Watch
from ...core.workspace import OpenedCase
from ..commands import Place, bindings_for
from ..messages import CaseEdited, PaneAsked, Told, WorkingAsked
from ..panes.base import Pane
from ..panes.computation_rows import device_words
from ..quiet import QuietScreen
from ..view import View
from ..widgets.lines import AnswerLine, KeyLine, MessageLine

if TYPE_CHECKING:
    from collections.abc import Callable

# A recomputation up to this long is done with the key; a longer one goes to a thread.
QUICK_S = 0.012
# How often the file is looked at for another room's change. One stat, nothing sent.
WATCH_S = 2.0

PANES: tuple[Place, ...] = ("intake", "computation", "fitting", "notes")


def make_pane(name: str) -> Pane:
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


class CaseScreen(QuietScreen[None]):
    """See the module's first lines."""

    DEFAULT_CSS = """
    CaseScreen { background: $ground; layout: vertical; }
    CaseScreen #panes { width: 1fr; height: 1fr; background: $ground; }
    """

    BINDINGS = bindings_for("case")

    def __init__(
        self, opened: OpenedCase, stock: Stock, settings: Settings, *, said: tuple[str, ...] = ()
    ) -> None:
        super().__init__()
        self.stock, self.settings = stock, settings
        self.desk = Desk(opened, on_save=self._save_state_from_thread)
        self.answer = AnswerLine("")
        self.messages = MessageLine(more="Ctrl+L all")
        self.keys = KeyLine()
        self.panes: dict[str, Pane] = {}
        self.place: Place = "intake"
        self.view = self._fresh_view(None)
        self._said = said
        self._shown: dict[str, View] = {}
        self._plan_took_s = 0.0
        self._plan_number = 0
        self._watch = Watch(opened.path)
        self._save_kind = ""
        self._deciding = False

    # ---- what stands on the screen

    def compose(self) -> ComposeResult:
        yield self.answer
        yield Container(id="panes")
        yield self.messages
        yield self.keys

    async def on_mount(self) -> None:
        """Intake first; the plan right behind it."""
        super().on_mount()
        await self._show_pane("intake")
        for sentence in self._said:
            self.say(sentence, "check")
        self.call_after_refresh(self._replan)
        self.set_interval(WATCH_S, self._look_at_file)

    def say(self, text: str, weight: str = "note") -> None:
        """Say something in the line that keeps it."""
        self.messages.say(text, weight)  # type: ignore[arg-type]

    @property
    def pane(self) -> Pane:
        """The pane in view."""
        return self.panes[self.place]

    async def _show_pane(self, name: Place) -> None:
        if name in self.panes and self.place == name:
            self.pane.take_focus()
            return
        if self.place in self.panes:
            self.pane.accept_typed()
        pane = self.panes.get(name)
        if pane is None:
            pane = self.panes[name] = make_pane(name)
            await self.query_one("#panes").mount(pane)
        for other, each in self.panes.items():
            each.display = other == name
        self.place = name
        self._show_view()
        pane.take_focus()
        self.app.fill_key_line(self.keys, name)  # type: ignore[attr-defined]

    def _show_view(self) -> None:
        if self._shown.get(self.place) is not self.view:
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

    def change(
        self, make: Callable[[Case], Case], key: str = "", said: str = "", *, for_good: bool = False
    ) -> bool:
        """Change the case; a refusal goes to the row it belongs to, and the old value stays."""
        try:
            changed = self.desk.accept(make(self.desk.case), keep_for_good=for_good)
        except AfocalError as error:
            if key:
                self.pane.refuse(key, str(error))
            self.say(str(error), "error")
            return False
        if said:
            self.say(said, "done")
        self._case_changed()
        return changed

    def _case_changed(self) -> None:
        self.view = self._fresh_view(self.view)
        if self._plan_took_s <= QUICK_S:
            self._replan()
        else:
            self._show_view()
            self._replan()

    def _replan(self) -> None:
        """Compute what follows from the case: here when it is quick, else in a thread."""
        self._plan_number += 1
        if self._plan_took_s <= QUICK_S:
            self._planned(self._plan_number, *self._computed(self.view.case))
        else:
            number, case = self._plan_number, self.view.case
            self.run_worker(
                lambda: self._plan_in_thread(number, case), thread=True, exclusive=True, group="plan"
            )

    def _computed(self, case: Case):
        started = time.perf_counter()
        made = plan(case, self.stock, self.settings)
        return made, self._sheet(case), time.perf_counter() - started

    def _sheet(self, case: Case) -> FittingSheet | None:
        """The fitting sheet; a choice that is not in the stock gives a sheet that only says so."""
        choice = case.visit.choice
        if choice is None:
            return None
        try:
            return fitting_sheet(case, self.stock, self.settings)
        except AfocalError as error:
            return FittingSheet(choice, choice.telescope, (), (str(error),))

    def _plan_in_thread(self, number: int, case: Case) -> None:
        result = self._computed(case)
        self.app.call_from_thread(self._planned, number, *result)

    def _planned(self, number: int, made, sheet, took_s: float) -> None:
        # The first plan also pays for loading; the shortest of two tells better.
        self._plan_took_s = took_s if self._plan_number > 1 else min(took_s, QUICK_S)
        if number != self._plan_number or not self.is_mounted:
            return
        view = self.view
        self.view = View(view.case, view.settings, view.stock, view.person, made, sheet, view.read_only)
        self.answer.text = answer_sentence(self.view)
        self._show_view()

    @on(CaseEdited)
    def _edited(self, event: CaseEdited) -> None:
        event.stop()
        self.change(event.change, event.key, event.said)

    @on(Told)
    def _told(self, event: Told) -> None:
        event.stop()
        self.say(event.text, event.weight)

    @on(PaneAsked)
    async def _pane_asked(self, event: PaneAsked) -> None:
        event.stop()
        await self._show_pane(event.pane)  # type: ignore[arg-type]
        if event.key:
            self.pane.go_to(event.key)

    # ---- saving

    def _save_state_from_thread(self, state: SaverState) -> None:
        if state.kind == self._save_kind and state.kind == "saved" and not state.warning:
            return
        self._save_kind = state.kind
        if state.kind in ("failed", "changed") or state.warning:
            self.app.call_from_thread(self._save_state, state)

    def _save_state(self, state: SaverState) -> None:
        if state.kind == "failed":
            copy = f"; a copy is kept at {state.recovery}" if state.recovery else ""
            self.say(f"NOT saved: {state.reason}. It is tried again by itself{copy}.", "error")
        elif state.kind == "changed":
            self._ask_about_change()
        elif state.warning:
            self.say(state.warning, "check")

    def action_save(self) -> None:
        """Say when it was saved; try again when it was not."""
        self.pane.accept_typed()
        state = self.desk.saver.state
        if (state.kind in ("failed", "idle") and self.desk.saver.stamp is None) or state.kind == "failed":
            state = self.desk.save_now()
        if state.is_safe:
            when = state.at.astimezone().strftime("%H:%M:%S") if state.at else "before"
            self.say(f"Saved {when} in {self.desk.path}", "done")
        else:
            self._save_state(state)

    # ---- another room

    def _look_at_file(self) -> None:
        if (
            self._deciding
            or self.desk.saver.state.kind in ("saving", "changed")
            or self.desk.saver.stamp is None
        ):
            return
        seen = self._watch.look(self.desk.saver.stamp)
        if seen.kind == "changed" and self.desk.saver.state.kind != "saving":
            self._take_theirs_or_ask()

    def _take_theirs_or_ask(self) -> None:
        from ..rooms import their_version

        found = their_version(self.desk)
        if found is None:
            return
        if isinstance(found, FileRefusal):
            self.say(f"Changed elsewhere and not readable now: {found}", "error")
            self._deciding = True
            return
        if found.is_clean:
            self.desk.replace(found.case, found.stamp)
            self.say(f"Changed elsewhere and taken in: {found.words}", "check")
            self._case_changed()
        else:
            self._ask_about_change()

    def _ask_about_change(self) -> None:
        if self._deciding:
            return
        self._deciding = True
        from .rooms import ask_about_change

        ask_about_change(self, self._change_decided)

    def _change_decided(self) -> None:
        self._deciding = False
        self._case_changed()

    # ---- commands

    async def action_pane_intake(self) -> None:
        """Intake."""
        await self._show_pane("intake")

    async def action_pane_computation(self) -> None:
        """Computation."""
        await self._show_pane("computation")

    async def action_pane_fitting(self) -> None:
        """Fitting."""
        await self._show_pane("fitting")

    async def action_pane_notes(self) -> None:
        """Notes."""
        await self._show_pane("notes")

    def action_undo(self) -> None:
        """One version back."""
        self._walk(self.desk.undo, "Undone.", "There is nothing to undo.")

    def action_redo(self) -> None:
        """One version forward."""
        self._walk(self.desk.redo, "Done again.", "There is nothing to redo.")

    def _walk(self, step: Callable[[], bool], done: str, nothing: str) -> None:
        if step():
            self.say(done, "done")
            self._case_changed()
        else:
            self.say(nothing)

    def action_go_to(self) -> None:
        """Go to a row by typing part of its name."""
        from .dialogs import Pick

        jumps = list(self.pane.jumps())
        if not jumps:
            self.say("Nothing to jump to on this page.")
            return

        def arrived(key: str | None) -> None:
            if key is not None:
                self.pane.take_focus()
                self.pane.go_to(key)

        self.app.push_screen(Pick("Go to", jumps), arrived)

    def action_working(self) -> None:
        """The working of the number under the caret."""
        if self.answer.has_focus and self.view.best is not None:
            best = self.view.best
            self.post_message(
                WorkingAsked(best.configuration, 0, "probability", "The chance in the answer line")
            )
        else:
            self.pane.working_asked()

    @on(WorkingAsked)
    def _working_wanted(self, event: WorkingAsked) -> None:
        event.stop()
        from .working import working_page

        self.app.push_screen(working_page(self.view, event))

    def action_picture(self) -> None:
        """The picture page."""
        if self.view.plan is None:
            self.say("Nothing is computed yet.")
            return
        from .picture import PicturePage

        self.app.push_screen(PicturePage(self.view))

    def action_large(self) -> None:
        """The answer, large; the caret goes to the answer line first."""
        from .large import LargeAnswer

        self.app.push_screen(LargeAnswer(self.view, answer_sentence(self.view)))

    def action_cases(self) -> None:
        """Back to the list; the last save is finished first."""
        self.pane.accept_typed()
        self.app.leave_case(self)  # type: ignore[attr-defined]

    def action_visit_new(self) -> None:
        """Begin a follow-up or a fitting visit today."""
        from .dialogs import Pick

        def begin(kind: str | None) -> None:
            if kind:
                self.change(
                    lambda case: case.with_new_visit(date.today(), kind),  # type: ignore[arg-type]
                    said=f"A {kind} visit begins; values from the last visit are marked until confirmed.",
                )

        kinds = [("follow-up", "Follow-up"), ("fitting", "Fitting"), ("examination", "Examination")]
        self.app.push_screen(Pick("New visit today", kinds), begin)

    def action_visit_timeline(self) -> None:
        """All visits side by side."""
        from .visits import timeline_page

        self.app.push_screen(timeline_page(self.view))

    def action_sign(self) -> None:
        """Sign the visit."""
        from .visits import ask_to_sign

        self.pane.accept_typed()
        ask_to_sign(self)

    def action_addendum(self) -> None:
        """Add words to a signed visit."""
        from .visits import ask_for_addendum

        ask_for_addendum(self)

    def action_versions(self) -> None:
        """Earlier versions of the file."""
        from .rooms import show_versions

        self.pane.accept_typed()
        show_versions(self)

    def take_version(self, text: str) -> None:
        """Make an earlier version's text the present case, as an edit that can be undone."""
        self.change(
            lambda case: loads_case(text, self.desk.path),
            said="The earlier version is the present one; undo goes back.",
        )


def answer_sentence(view: View) -> str:
    """The best option for the first goal in words that read aloud well."""
    plan = view.plan
    if plan is None:
        return "Nothing is computed yet."
    if plan.referrals and plan.referrals[0].urgency == "same day":
        return f"Refer first: {plan.referrals[0].sentence}"
    best = plan.best
    if best is None or not best.outcomes:
        return plan.decision.sentence
    word = plan.decision.word.replace("-", " ").capitalize()
    return f"{word}: {device_words(best)}. {best.outcomes[0].sentence} {plan.decision.sentence}"
