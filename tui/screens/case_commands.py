"""What can be done on the screen of a case, whatever the pane: each action of the commands of ``case``."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from typing import TYPE_CHECKING

from textual.events import Key

from ...core.case import Case
from ...core.case_file import case_data, loads_case
from ..commands import Place, commands_in
from ..messages import WorkingAsked
from ..quiet import QuietScreen

if TYPE_CHECKING:
    from ...core.desk import Desk
    from ..keeper import Keeper
    from ..panes.base import Pane
    from ..view import View
    from ..widgets.lines import AnswerLine


# So many changes are told by name when they are undone.
_NAMED = 2


class CaseCommands(QuietScreen[None]):
    """The actions; the screen that they act on derives from this."""

    desk: Desk
    keeper: Keeper
    view: View
    answer: AnswerLine
    place: Place

    @property
    def pane(self) -> Pane:
        """The pane in view."""
        raise AssertionError("the screen has it")

    def say(self, text: str, weight: str = "note") -> None:
        """Say something in the line that keeps it."""
        raise AssertionError("the screen has it")

    def change(
        self, make: Callable[[Case], Case], key: str = "", said: str = "", *, for_good: bool = False
    ) -> bool:
        """Change the case."""
        raise AssertionError("the screen has it")

    def case_changed(self) -> None:
        """Show the case on the desk."""
        raise AssertionError("the screen has it")

    async def show_pane(self, name: Place) -> None:
        """Bring a pane to the front."""
        raise AssertionError("the screen has it")

    async def on_key(self, event: Key) -> None:
        """The keys of the pane in view work as well while the caret is on the answer or beside the pane."""
        if self.focused is not None and self.pane in self.focused.ancestors_with_self:
            return
        for command in commands_in(self.place):
            if command.where == self.place and self.app.keys_of[command.id] == event.key:  # type: ignore[attr-defined]
                event.stop()
                await self.app.run_command(self, command.id)  # type: ignore[attr-defined]

    async def action_pane_intake(self) -> None:
        """Intake."""
        await self.show_pane("intake")

    async def action_pane_computation(self) -> None:
        """Computation."""
        await self.show_pane("computation")

    async def action_pane_fitting(self) -> None:
        """Fitting."""
        await self.show_pane("fitting")

    async def action_pane_notes(self) -> None:
        """Notes."""
        await self.show_pane("notes")

    def action_undo(self) -> None:
        """One version back."""
        self._walk(self.desk.undo, "Undone", "There is nothing to undo.")

    def action_redo(self) -> None:
        """One version forward."""
        self._walk(self.desk.redo, "Done again", "There is nothing to redo.")

    def _walk(self, step: Callable[[], bool], done: str, nothing: str) -> None:
        from ...core.store.merge import differences
        from ..rooms import difference_lines

        before = self.desk.case
        if not step():
            self.say(nothing)
            return
        # Said by name, and the caret goes there: what changes out of sight would be lost without anybody noticing.
        found = differences(*(case_data(each, readings=False) for each in (before, self.desk.case)))
        lines = difference_lines(found)
        more = f"; and {len(lines) - _NAMED} more" if len(lines) > _NAMED else ""
        self.say(f"{done}. {'; '.join(lines[:_NAMED])}{more}", "done")
        self.case_changed()
        rows = filter(None, map(self.pane.row_of, (each.path for each in found)))
        key = next(rows, "")
        if key and self.pane.may_move():
            self.pane.go_to(key)

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

    def action_picture(self) -> None:
        """The picture page."""
        if self.view.plan is None:
            self.say("Nothing is computed yet.")
            return
        from .picture import PicturePage

        self.app.push_screen(PicturePage(self.view))

    def action_large(self) -> None:
        """The answer, large."""
        from .case import answer_sentence
        from .large import large_page

        self.app.push_screen(large_page(self.view, answer_sentence(self.view)))

    def action_save(self) -> None:
        """Say when it was saved; try again when it was not."""
        self.pane.accept_typed()
        self.keeper.say_when()

    def action_cases(self) -> None:
        """Back to the list; the last save is finished first."""
        self.pane.accept_typed()
        self.app.leave_case(self)  # type: ignore[attr-defined]

    def action_visit_new(self) -> None:
        """Begin a follow-up or a fitting visit today."""
        from .dialogs import Pick
        from .visits import unsigned_words

        def begin(kind: str | None) -> None:
            if kind:
                left = unsigned_words(self.desk.case)
                said = f"{kind.capitalize()} begun; values of the last visit are marked until confirmed."
                self.change(
                    lambda case: case.with_new_visit(date.today(), kind),  # type: ignore[arg-type]
                    said=f"{left} {said}".strip(),
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
        ask_to_sign(self)  # type: ignore[arg-type]

    def action_addendum(self) -> None:
        """Add words to a signed visit."""
        from .visits import ask_for_addendum

        ask_for_addendum(self)  # type: ignore[arg-type]

    def action_versions(self) -> None:
        """Earlier versions of the file."""
        from .rooms import show_versions

        self.pane.accept_typed()
        show_versions(self)  # type: ignore[arg-type]

    def take_version(self, text: str) -> None:
        """Make an earlier version's text the present case, as an edit that can be undone; signed visits stay signed."""
        from ...core.signing import with_version

        earlier = loads_case(text, self.desk.path)
        if with_version(self.desk.case, earlier) == self.desk.case:
            self.say("Nothing is different: what was signed since stays as it was signed.")
            return
        self.change(
            lambda case: with_version(case, earlier),
            said="The earlier version is the present one; undo goes back. What is signed stays as it was signed.",
        )
