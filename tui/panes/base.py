"""What every pane answers: show a view, show a refusal, take the focus, say what can be jumped to."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any, ClassVar

from ..commands import Place, bindings_for
from ..messages import CaseEdited
from ..quiet import QuietContainer
from ..view import View


class Pane(QuietContainer):
    """One of the four faces of a case. It posts messages and is given views.

    ``take_edit``, when the screen has set it, takes an edit at once: the new rows, the answer and the move of the caret
    then go out in one frame, and nothing typed is left in a queue when the program must end.
    """

    DEFAULT_CSS = """
    Pane { width: 1fr; height: 1fr; background: $ground; }
    """

    place: ClassVar[Place] = "case"
    title: ClassVar[str] = ""

    take_edit: Callable[[CaseEdited], None] | None = None

    def __init_subclass__(cls, **options: Any) -> None:
        """The keys of a pane are those declared for its place."""
        if "BINDINGS" not in cls.__dict__:
            cls.BINDINGS = [*bindings_for(cls.place)]
        super().__init_subclass__(**options)

    def send(self, edited: CaseEdited) -> None:
        """Hand an edit of the case up."""
        if self.take_edit is not None:
            self.take_edit(edited)
        else:
            self.post_message(edited)

    def show(self, view: View) -> None:
        """Show a view; repaint only what differs from the last one."""
        raise AssertionError("each pane shows its own")

    def refuse(self, key: str, sentence: str) -> None:
        """Show why the edit of a row was refused; the old value stays."""

    def take_focus(self) -> None:
        """Put the caret where work goes on."""

    def accept_typed(self) -> None:
        """Accept what stands typed but not yet accepted, before the pane is left."""

    def go_to(self, key: str) -> bool:
        """Put the caret on a row; False when there is none of that key."""
        return False

    def jumps(self) -> Iterable[tuple[str, str]]:
        """Where one can go by name: (key, name)."""
        return ()

    def row_of(self, path: tuple[str, ...]) -> str:
        """The row that shows what stands at a path of the case file, "" when none does."""
        place, step = ".".join(path[-2:]), {part[1:-1] for part in path if part.startswith("[")}
        return next((key for key, _ in self.jumps() if key == place or key in step), "")

    def may_move(self) -> bool:
        """Whether the caret may be put elsewhere: not while a text is being typed."""
        form = getattr(self, "form", None)
        return form is None or not form.dirty

    def help_topic(self) -> tuple[str, str]:
        """Title and text of the help for what the caret is on; empty when there is nothing particular."""
        return "", ""

    def working_asked(self) -> None:
        """F6: post WorkingAsked for the number under the caret, or say that there is none."""
