"""What stands beside a pane where the screen is wide: the working of the number in the answer line.

It is made a moment after the last edit, so that no key waits for it.
"""

from __future__ import annotations

from textual.timer import Timer

from ..view import View
from ..widgets.sheet import Sheet, SheetRow, heading_row, text_row

# After so many seconds without another edit the working is made anew.
PAUSE_S = 0.15
WIDE = 120


class Beside(Sheet):
    """A sheet that follows the view; nothing is computed while it is not shown."""

    DEFAULT_CSS = """
    Beside { width: 44%; height: 1fr; display: none; border-left: solid $frame; }
    """

    def __init__(self) -> None:
        super().__init__(id="beside")
        self._view: View | None = None
        self._made_of: View | None = None
        self._timer: Timer | None = None

    def follow(self, view: View) -> None:
        """Another view: its working comes when the keys rest."""
        self._view = view
        self.wanted_soon()

    def wanted_soon(self) -> None:
        """Make the working in a moment, if it is shown and not made yet."""
        if self.display and self._view is not self._made_of:
            if self._timer is not None:
                self._timer.stop()
            self._timer = self.set_timer(PAUSE_S, self._make)

    def _make(self) -> None:
        self._timer = None
        view = self._view
        if view is None or not self.display:
            return
        self._made_of = view
        self.rows = tuple(working_rows(view))


def working_rows(view: View) -> list[SheetRow]:
    """The working of the chance for the first goal with the best option; in words when there is none."""
    from ...core.errors import AfocalError
    from ...core.plan.verdict import percent
    from ...core.plan.workings import explain
    from .working import chain_rows

    best = view.best
    if best is None or not best.outcomes:
        return [heading_row("Working"), text_row("No option, so there is no number to work out yet.", "note")]
    outcome = best.served or best.outcomes[0]
    if outcome.probability is None:
        return [heading_row("Working"), text_row(f"No chance can be given for {outcome.goal}.", "note")]
    rows = [heading_row(f"Chance for {outcome.goal}: {percent(outcome.probability)}")]
    try:
        working = explain(
            view.case, view.stock, view.settings, best.configuration, outcome.goal_index, "probability"
        )
    except AfocalError as error:
        return [*rows, text_row(str(error), "error")]
    return [*rows, *chain_rows(working)]
