"""Fitting: the checklist of the chosen option on this face, worked through by keyboard, every entry judged at once.

Steps, targets, verdicts, cautions and training are core's; this pane lays them out and hands up what was typed.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date

from textual import events, on
from textual.app import ComposeResult

from ...core.configuration import Configuration
from ...core.errors import AfocalError
from ...core.fitting.progress import next_attention, next_open, plans_next_visit
from ...core.fitting.types import Step
from ...core.fitting.verdict import CALL_KEY, CAUTIONS_KEY
from ...core.training import session_day
from ..messages import READ_ONLY, CaseEdited, Told
from ..quiet import QuietContainer
from ..view import View
from ..widgets.form import Form, Row
from ..widgets.sheet import Sheet
from .base import Pane
from .fitting_detail import detail_page, detail_rows, help_words
from .fitting_edits import (
    CAUTION,
    LEFT,
    REASON,
    TRAINING,
    TRAINING_DAY,
    change_for,
    latest_day,
    step_of,
    with_note,
)
from .fitting_rows import fitting_rows, reading_of, state_rows

WIDE = 120
# From this height on the panel has room for a heading.
TALL = 14


class StillSheet(Sheet, can_focus=False):
    """A sheet to read beside the checklist; the caret never goes there."""

    @property
    def mark(self) -> str:
        return "  "


class FittingPane(Pane):
    """Where it stands on top, the checklist below it, the step under the caret below or beside that."""

    DEFAULT_CSS = """
    FittingPane #state { height: 1; width: 1fr; }
    FittingPane #both { width: 1fr; height: 1fr; layout: vertical; background: $ground; }
    FittingPane #steps { height: 1fr; width: 1fr; }
    FittingPane #step { height: 7; width: 1fr; }
    FittingPane.empty #both { display: none; }
    FittingPane.empty #state { height: 1fr; }
    FittingPane.wide #both { layout: horizontal; }
    FittingPane.wide #steps { width: 3fr; height: 1fr; }
    FittingPane.wide #step { width: 2fr; height: 1fr; }
    """

    place = "fitting"
    title = "Fitting"

    def __init__(self) -> None:
        super().__init__(id="fitting", classes="empty")
        self.state = Sheet(id="state")
        self.form = Form(edited=self._edited, reading=self._reading, id="steps")
        self.detail = StillSheet(id="step")
        self._view: View | None = None
        self._refused: dict[str, str] = {}
        self._day: date | None = None
        self._began_at: tuple[int, Configuration | None] | None = None

    def compose(self) -> ComposeResult:
        yield self.state
        with QuietContainer(id="both"):
            yield self.form
            yield self.detail

    def on_resize(self, event: events.Resize) -> None:
        """The panel beside the checklist where there is room, else below it, as high as the screen allows."""
        self.set_class(event.size.width >= WIDE, "wide")
        self._fit(event.size.height)
        self._show_detail()

    def _fit(self, height: int) -> None:
        if not height:
            return
        wide = self.has_class("wide")
        self.detail.styles.height = "1fr" if wide else 3 if height < TALL else max(6, height // 3)
        if not self.has_class("empty"):
            self.state.ensure_laid_out()
            most = 2 if height < TALL and len(self.state.rows) > 1 else 1 if height < TALL else height // 4
            self.state.styles.height = max(1, min(most, self.state.line_count))

    # ---- a view comes down

    def show(self, view: View) -> None:
        """The checklist of the view; only rows that differ are painted again."""
        before, self._view = self._view, view
        if before is not None and _other_sheet(before, view):
            self._refused.clear()
            self._day = None
        rows = tuple(fitting_rows(view, self._refused, self._day))
        empty = not rows
        had_focus = self._has_focus()
        self.set_class(empty, "empty")
        self.state.styles.height = "1fr" if empty else self.state.styles.height
        self.state.rows = tuple(state_rows(view))
        if not self.state.has_focus and self.state.row_count:
            # What is said first is seen first.
            self.state.action_edge(-1)
        self.form.rows = rows
        self._fit(self.size.height)
        here = (len(view.case.visits), view.case.visit.choice)
        is_new = before is None or view.sheet is not before.sheet
        if not empty and here != self._began_at and is_new:
            # A sheet that is opened, of another visit or of another choice: the old place says nothing there.
            self._began_at = here
            self._go_first()
        if had_focus:
            self.take_focus()
        self._show_detail()

    def _has_focus(self) -> bool:
        focused = self.screen.focused if self.is_mounted else None
        return focused is not None and self in focused.ancestors

    def _go_first(self) -> None:
        """Work goes on at the first open step."""
        view = self._view
        if view is not None and view.sheet is not None:
            step = next_open(view.sheet, view.case.visit)
            if step is not None:
                self.go_to(step.key)

    def _show_detail(self) -> None:
        heading = self.size.height >= TALL
        self.detail.rows = tuple(detail_rows(self._view, self.form.current_key or "", heading=heading))
        self.detail.scroll_to_line(0)

    @on(Form.RowFocused)
    def _row_focused(self, event: Form.RowFocused) -> None:
        event.stop()
        self._show_detail()

    @on(Sheet.RowChosen)
    def _state_entered(self, event: Sheet.RowChosen) -> None:
        event.stop()
        if event.key == "state.progress":
            self.action_next_open()

    # ---- what was typed goes up

    def _reading(self, key: str, text: str) -> str:
        return reading_of(self._view, key, text)

    def _edited(self, key: str, text: str, confirmed: bool) -> None:
        """Called by the form with each accepted text, before the caret moves on."""
        view = self._view
        if view is None:
            return
        if view.read_only:
            self.post_message(Told(READ_ONLY, "error"))
            self.show(view)
            return
        had_error = self._refused.pop(key, None) is not None
        if key == TRAINING_DAY:
            self._take_day(view, text)
            return
        change = change_for(view, key, text, self._day)
        if change is not None:
            planned = key == CALL_KEY and bool(text.strip()) and plans_next_visit(view.case)
            said = "The next visit is planned for that day; it stands in the intake." if planned else ""
            self.send(CaseEdited(change, key, said))
        if had_error and key not in self._refused and self._view is view:
            self.show(view)

    def _take_day(self, view: View, text: str) -> None:
        """The day that the sessions typed from now on belong to; the rows show that day's sessions."""
        try:
            self._day = session_day(text, latest_day(view.case))
        except AfocalError as error:
            self._refused[TRAINING_DAY] = str(error)
        self.show(view)

    def refuse(self, key: str, sentence: str) -> None:
        """The sentence, which names what was typed, stands under the field until it is mended; the old value stays."""
        if self._view is not None:
            self._refused[key] = sentence
            self.show(self._view)

    # ---- the caret

    def take_focus(self) -> None:
        """The checklist, or the words that say what is to be done first."""
        if self.has_class("empty"):
            self.state.focus()
        else:
            self.form.focus()

    def accept_typed(self) -> None:
        """Leaving the pane accepts what stands typed."""
        self.form.accept()

    def go_to(self, key: str) -> bool:
        """The row of a step; the step of all cautions is the first caution still open."""
        if key == CAUTIONS_KEY:
            rows = [row for row in self.form.rows if row.key.startswith(CAUTION)]
            wanted = next((row for row in rows if row.status in ("open", "check")), rows[0] if rows else None)
            return wanted is not None and self.form.go_to(wanted.key)
        return self.form.go_to(key)

    def jumps(self) -> Iterable[tuple[str, str]]:
        """Every row by its name."""
        return [(row.key, row.label) for row in self.form.rows if not row.heading]

    def help_topic(self) -> tuple[str, str]:
        """What to do at the row, and how its value is typed."""
        row = self.form.current_row
        return help_words(self._view, row.key, row.label) if row is not None else ("", "")

    def working_asked(self) -> None:
        """The step in full: its rule, its source, its numbers and the working of each."""
        page = detail_page(self._view, self.form.current_key or "") if self._view is not None else None
        if page is None:
            self.post_message(Told("There is no step under the caret."))
        else:
            self.app.push_screen(page)

    # ---- commands

    def _current_step_key(self) -> str:
        """The key of the sheet's step at the caret; cautions and training count as the last steps."""
        key = self.form.current_key or ""
        view = self._view
        if view is None or view.sheet is None or not len(view.sheet):
            return ""
        if key.startswith(CAUTION):
            return view.sheet.steps[-1].key
        return "" if key.startswith((TRAINING, LEFT, REASON)) else key

    def _move(self, find, none: str) -> None:
        view = self._view
        self.form.accept()
        if view is None or view.sheet is None or not len(view.sheet):
            self.post_message(Told("There is no step yet: choose an option first (F3)."))
            return
        step: Step | None = find(view.sheet, view.case.visit, self._current_step_key())
        if step is None:
            self.post_message(Told(none, "done"))
        else:
            self.go_to(step.key)
            self.form.focus()

    def action_next_open(self) -> None:
        """The next step without a result; a caution not yet understood counts as one."""
        self.form.accept()
        rows = [row for row in self.form.rows if row.key.startswith(CAUTION)]
        keys = [row.key for row in rows]
        here = self.form.current_key or ""
        later = rows[keys.index(here) + 1 :] if here in keys else []
        if self._go_to_caution(later):
            return
        view = self._view
        steps_left = (
            view is not None
            and view.sheet is not None
            and next_open(view.sheet, view.case.visit, self._current_step_key()) is not None
        )
        if steps_left or not self._go_to_caution(rows):
            self._move(next_open, "No step is open.")

    def _go_to_caution(self, rows: Iterable[Row]) -> bool:
        """The first of these cautions that is still to be given or understood."""
        wanted = next((row for row in rows if row.status in ("open", "check")), None)
        if wanted is None or not self.form.go_to(wanted.key):
            return False
        self.form.focus()
        return True

    def action_next_attention(self) -> None:
        """The next step whose result wants attention, a text that could not be read before all."""
        self.form.accept()
        if any(row.error for row in self.form.rows):
            self.form.next_error()
            self.form.focus()
        else:
            self._move(next_attention, "No step needs attention.")

    def action_step_note(self) -> None:
        """A note on the step under the caret."""
        view, step = self._view, step_of(self._view, self.form.current_key or "")
        self.form.accept()
        if view is None or step is None:
            self.post_message(Told("Put the caret on a step; notes go with a step."))
            return
        if view.read_only:
            self.post_message(Told(READ_ONLY, "error"))
            return
        from ..screens.dialogs import Ask

        old = view.case.visit.steps.get(step.key)

        def written(text: str | None) -> None:
            if text is not None:
                self.send(
                    CaseEdited(
                        lambda case: with_note(case, step, text),
                        said="Note kept." if text.strip() else "Note removed.",
                    )
                )

        ask = Ask(
            f"Note: {step.heading}", value=old.note if old else "", hint="Emptied, the note is removed."
        )
        self.app.push_screen(ask, written)

    def action_causes(self) -> None:
        """What is probably wrong; Enter on a check goes to its step."""
        view = self._view
        self.form.accept()
        if view is None or view.sheet is None:
            self.post_message(Told("There is no device to look at: choose an option first (F3)."))
            return
        from .fitting_causes import CausesPage

        def chosen(key: str | None) -> None:
            if key is not None and self.go_to(key):
                self.form.focus()

        self.app.push_screen(CausesPage(view), chosen)


def _other_sheet(before: View, now: View) -> bool:
    """Whether another visit or another choice is worked on."""
    return (
        len(before.case.visits) != len(now.case.visits) or before.case.visit.choice != now.case.visit.choice
    )
