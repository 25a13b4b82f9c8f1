"""Computation: the ranked options with their grade for each goal, and the one under the caret in full.

All numbers and sentences are the plan's; this pane only lays them out. Sections that take longer to compute (what would
change the answer) are made when they are asked for.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace

from textual import on
from textual.app import ComposeResult

from ...core.case import Case
from ...core.configuration import Configuration
from ...core.documents.options import leading_ranks
from ...core.plan.types import Option, Plan
from ..messages import CaseEdited, Told, WorkingAsked
from ..quiet import QuietContainer
from ..view import View
from ..widgets.list_table import Column, ListRow, ListTable
from ..widgets.sheet import Sheet
from .base import Pane
from .computation_rows import (
    device_words,
    explained,
    formula_behind,
    grade_role,
    grade_words,
    option_rows,
    plan_rows,
    promise_of,
)
from .what_changes import KEY, WhatChanges

# At first the list has the best way of using each telescope with each eye in each position; the last row brings all.
LEADERS = 24
ALL_AT_ONCE = 1000
MORE = "more"
_PART = "part."
WIDE = 120
NARROW = 60


class ComputationPane(Pane):
    """Options above (or on the left where it is wide), the option in full below."""

    DEFAULT_CSS = """
    ComputationPane #both { width: 1fr; height: 1fr; layout: vertical; }
    ComputationPane #options { height: 40%; min-height: 3; width: 1fr; }
    ComputationPane #detail { height: 1fr; width: 1fr; }
    ComputationPane.wide #both { layout: horizontal; }
    ComputationPane.wide #options { height: 1fr; width: 1fr; }
    ComputationPane.wide #detail { height: 1fr; width: 1fr; }
    """

    place = "computation"
    title = "Computation"

    def __init__(self) -> None:
        super().__init__(id="computation")
        self.options = ListTable(
            (Column("rank", "No", 4), Column("option", "Option", 24, flexible=True, end_tells=True)),
            empty="No option to choose from; the reasons stand below.",
            id="options",
        )
        self.detail = Sheet(id="detail")
        self._view: View | None = None
        self._goals: tuple[str, ...] = ()
        self._ranks: dict[str, int] = {}
        self._all = False
        self._is_narrow = False
        self._what_changes = WhatChanges(
            lambda: self.app.call_from_any_thread,  # type: ignore[attr-defined]
            lambda work: self.run_worker(work, thread=True, group=KEY),
            lambda: self._show_detail() if self.is_attached else None,
        )

    def compose(self) -> ComposeResult:
        with QuietContainer(id="both"):
            yield self.options
            yield self.detail

    def on_resize(self) -> None:
        """Side by side where there is room."""
        self.set_class(self.size.width >= WIDE, "wide")
        narrow = self.size.width < NARROW
        if narrow != self._is_narrow:
            self._is_narrow = narrow
            self._lay_out_columns()
            if self._view is not None and self._view.plan is not None:
                self._list_options(self._view.plan)

    # ---- a view comes down

    def show(self, view: View) -> None:
        """The list and the option under the caret."""
        self._view = view
        if view.plan is None:
            return
        goals = tuple(demand.name for demand in view.plan.demands)
        if goals != self._goals:
            self._goals = goals
            self._lay_out_columns()
        self._list_options(view.plan)
        self._show_detail()

    def _lay_out_columns(self) -> None:
        """Rank, option and a grade for each goal: in a word where there is room, as sign and chance where not."""
        width = 7 if self._is_narrow else 13
        self.options.columns = (
            Column("rank", "No", 4),
            Column("option", "Option", 22, flexible=True, end_tells=True),
            *(
                Column(f"goal{n}", f"{n + 1} {name}", width, priority=n, short_title=f"goal {n + 1}")
                for n, name in enumerate(self._goals)
            ),
        )
        self.options.laid_out()

    def _list_options(self, plan: Plan) -> None:
        """Keys and places are known at once; an option is evaluated in full when its row comes into view."""
        chosen = self._view.case.visit.choice if self._view else None
        brief = self._is_narrow
        if self._all:
            ranks: Sequence[int] = range(min(len(plan.options), ALL_AT_ONCE))
        else:
            ranks = leading_ranks(plan, LEADERS)
        keys = [plan.coverage.rows[rank].configuration.key for rank in ranks]
        rest = 0 if self._all else len(plan.options) - len(ranks)
        more = ListRow(MORE, ("", f"{rest} other ways: Enter lists them", *("" for _ in self._goals)))

        def make(number: int) -> ListRow:
            if number == len(ranks):
                return more
            return _list_row(plan.options[ranks[number]], chosen, brief=brief)

        self._ranks = dict(zip(keys, ranks, strict=True))
        self.options.use_rows([*keys, MORE] if rest > 0 else keys, make)

    def _option(self) -> Option | None:
        plan = self._view.plan if self._view else None
        if plan is None or not len(plan.options):
            return None
        return plan.options[self._ranks.get(self.options.current_key or "", 0)]

    def _show_detail(self) -> None:
        view = self._view
        if view is None or view.plan is None:
            return
        option = self._option()
        rows = []
        if option is not None:
            rows += option_rows(view, option, self._what_changes.rows(view, option))
        rows += plan_rows(view)
        self.detail.rows = tuple(rows)

    @on(ListTable.RowFocused, "#options")
    def _option_focused(self, event: ListTable.RowFocused) -> None:
        event.stop()
        self._show_detail()
        self.detail.scroll_to_line(0)

    @on(ListTable.RowChosen, "#options")
    def _option_entered(self, event: ListTable.RowChosen) -> None:
        event.stop()
        if event.key == MORE and self._view is not None and self._view.plan is not None:
            self._all = True
            self._list_options(self._view.plan)
        else:
            self.detail.focus()

    @on(Sheet.RowChosen, "#detail")
    def _row_entered(self, event: Sheet.RowChosen) -> None:
        event.stop()
        option = self._option()
        if event.key == KEY and option is not None:
            self._what_changes.ask(option)
            self._show_detail()
        else:
            self.working_asked()

    # ---- the caret

    def take_focus(self) -> None:
        """The list, or the reasons when there is nothing in it."""
        (self.options if self.options.row_count else self.detail).focus()

    def go_to(self, key: str) -> bool:
        """A row of the option in full, or an option."""
        number = key.removeprefix(_PART)
        if number != key and number.isdecimal() and int(number) < len(self.detail.rows):
            self.detail.go_below(int(number))
            self.detail.focus()
            return True
        if self.detail.go_to(key):
            self.detail.focus()
            return True
        if self.options.go_to(key):
            self.options.focus()
            return True
        return False

    def jumps(self) -> Iterable[tuple[str, str]]:
        """The numbers of the option in full, a goal's with the goal; the parts of the page; the options."""
        found = []
        for number, row in enumerate(self.detail.rows):
            if row.heading:
                found.append((f"{_PART}{number}", f"Part: {row.parts[0][0]}"))
            elif row.key and row.parts:
                found.append((row.key, f"{row.parts[0][0].strip(' :')}{_of_goal(row.key)}"))
        listed = range(min(LEADERS, len(self._ranks)))
        return [*found, *((row.key, row.cells[1]) for row in map(self.options.row, listed))]

    def help_topic(self) -> tuple[str, str]:
        """What the number under the caret is."""
        key = self.detail.current_key if self.detail.has_focus else None
        option, view = self._option(), self._view
        if not key or option is None or view is None:
            return "", ""
        title = self.detail.current_label or key.rpartition(":")[2].replace("_", " ")
        return explained(title, formula_behind(view, option, key))

    def working_asked(self) -> None:
        """The working of the number under the caret; in the list, of the chance for the first goal."""
        option = self._option()
        if option is None:
            self.post_message(Told(f"There is no computed number to explain{self._why_none()}"))
            return
        key = self.detail.current_key if self.detail.has_focus else "goal:0:probability"
        kind, _, rest = (key or "").partition(":")
        if kind in ("goal", "device", "need"):
            number, _, quantity = rest.partition(":")
            title = self.detail.current_label if self.detail.has_focus else ""
            self.post_message(
                WorkingAsked(option.configuration, int(number or 0), quantity, title or quantity)
            )
        else:
            self.post_message(Told("This line is words; put the caret on a number to see its working."))

    def _why_none(self) -> str:
        """Why there is no option, as the advice says it."""
        plan = self._view.plan if self._view is not None else None
        return f": {plan.decision.sentence}" if plan is not None else ": nothing is computed yet."

    # ---- commands

    def action_option_choose(self) -> None:
        """The option becomes the choice of the case, with what it promises."""
        option, view = self._option(), self._view
        if option is None or view is None:
            self.post_message(Told(f"There is no option to choose{self._why_none()}"))
            return
        promised = promise_of(option, view.plan.demands if view.plan is not None else ())

        def change(case: Case) -> Case:
            visit = replace(
                case.visit,
                choice=option.configuration,
                choice_reason=" ".join(option.reasons_for[:3]),
                promised=promised,
            )
            return case.with_visit(visit)

        self.send(CaseEdited(change, said=f"Chosen: {device_words(option)}. F4 has the fitting sheet."))

    def action_option_what_if(self) -> None:
        """Change one figure and see it beside the original."""
        option, view = self._option(), self._view
        if option is None or view is None:
            self.post_message(Told(f"There is no option to change{self._why_none()}"))
            return
        from ..screens.what_if import WhatIf

        def decided(change: Callable[[Case], Case] | None) -> None:
            if change is not None:
                self.send(CaseEdited(change, said="Taken into the case; undo goes back."))

        self.app.push_screen(WhatIf(view, option), decided)


def _of_goal(key: str) -> str:
    """To which goal a number belongs, as the columns count them."""
    kind, _, rest = key.partition(":")
    number = rest.partition(":")[0]
    return f", goal {int(number) + 1}" if kind == "goal" and number.isdecimal() else ""


def _list_row(option: Option, chosen: Configuration | None, *, brief: bool) -> ListRow:
    mark = "*" if option.configuration == chosen else ""
    grades = tuple(grade_words(outcome, brief=brief) for outcome in option.outcomes)
    roles = tuple(map(grade_role, option.outcomes))
    return ListRow(
        option.configuration.key,
        (f"{mark}{option.rank}", device_words(option, brief=brief), *grades),
        ("plain", "plain", *roles),
    )
