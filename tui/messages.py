"""What panes tell the screen. They go up; what answers them comes down as a new view."""

from __future__ import annotations

from collections.abc import Callable

from textual.message import Message

from ..core.case import Case
from ..core.configuration import Configuration
from .widgets.lines import Weight

READ_ONLY = "This visit is signed and read-only: add an addendum, or begin a new visit."


class CaseEdited(Message):
    """A pane wants the case changed. ``change`` makes the new case or raises one of our refusals.

    ``key`` is the row that a refusal is shown at; ``said`` is said when it worked.
    """

    def __init__(self, change: Callable[[Case], Case], key: str = "", said: str = "") -> None:
        super().__init__()
        self.change, self.key, self.said = change, key, said


class Told(Message):
    """Something to say in the message line."""

    def __init__(self, text: str, weight: Weight = "note") -> None:
        super().__init__()
        self.text, self.weight = text, weight


class WorkingAsked(Message):
    """The working of a computed number is wanted. ``quantity`` is its name in the plan's result types."""

    def __init__(
        self, configuration: Configuration | None, goal_index: int, quantity: str, title: str
    ) -> None:
        super().__init__()
        self.configuration, self.goal_index, self.quantity, self.title = (
            configuration,
            goal_index,
            quantity,
            title,
        )


class PaneAsked(Message):
    """Another pane is wanted, at a row when ``key`` is given."""

    def __init__(self, pane: str, key: str = "") -> None:
        super().__init__()
        self.pane, self.key = pane, key
