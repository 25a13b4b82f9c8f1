"""Two rooms, one case: the dialog that decides field by field, and the page of earlier versions."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from ...core.case_file import case_data, case_of, loads_case
from ...core.errors import AfocalError, FileRefusal
from ...core.store import history
from ...core.store.merge import Conflict, differences, resolve
from ..rooms import Theirs, their_version
from .dialogs import Decide, Pick

if TYPE_CHECKING:
    from .case import CaseScreen


def ask_about_change(screen: CaseScreen, done: Callable[[], None]) -> None:
    """The case was changed elsewhere: put together what fits, and ask for each value that both changed."""
    found = their_version(screen.desk)
    if found is None:
        done()
        return
    if isinstance(found, FileRefusal):
        screen.say(
            f"Changed elsewhere and not readable now: {found}. What you entered is kept as a copy.", "error"
        )
        return
    if found.is_clean:
        screen.desk.replace(found.case, found.stamp)
        screen.say(f"Changed elsewhere too; both sets of changes are kept: {found.words}", "check")
        done()
        return
    _ask(screen, found, list(found.merge.conflicts), {}, done)


def _ask(
    screen: CaseScreen, found: Theirs, left: list[Conflict], choices: dict[str, str], done: Callable[[], None]
) -> None:
    if not left:
        try:
            case = case_of(resolve(found.merge, choices), screen.desk.path)  # type: ignore[arg-type]
        except AfocalError as error:
            screen.say(str(error), "error")
            return
        screen.desk.replace(case, found.stamp)
        screen.say("Decided and saved; the version before stays in the history.", "done")
        done()
        return
    conflict = left[0]
    text = (
        f"{conflict.key} was changed here and in another room.\n"
        f"before: {_value(conflict.base)}\nhere:   {_value(conflict.mine)}\nthere:  {_value(conflict.theirs)}\n"
        f"{len(left)} to decide. The rest fits together: {found.words}."
    )
    answers = (
        ("both", "Keep both: one in the field, the other beside it in the file"),
        ("mine", "Keep what was entered here"),
        ("theirs", "Take what was entered there"),
    )

    def decided(answer: str | None) -> None:
        choices[conflict.key] = answer or "both"
        _ask(screen, found, left[1:], choices, done)

    screen.app.push_screen(Decide("Changed in two rooms", text, answers), decided)


def show_versions(screen: CaseScreen) -> None:
    """List the kept versions; Enter shows what it would change, and asks before it is taken."""
    found = history.versions(screen.desk.path)
    if not found:
        screen.say("No earlier versions are kept yet.")
        return

    def picked(key: str | None) -> None:
        if key is None:
            return
        version = found[int(key)]
        try:
            text = history.read_version(version)
            old = case_data(loads_case(text, screen.desk.path), readings=False)
        except AfocalError as error:
            screen.say(str(error), "error")
            return
        changes = differences(case_data(screen.desk.case, readings=False), old)
        words = "\n".join(
            f"  {each.key}: {_value(each.before)} -> {_value(each.after)}" for each in changes[:40]
        )
        answers = (("stay", "Leave the case as it is"), ("take", "Bring this version back"))

        def decided(answer: str | None) -> None:
            if answer == "take":
                screen.take_version(text)

        title = f"Version of {version.name}"
        screen.app.push_screen(Decide(title, f"It would change:\n{words or '  nothing'}", answers), decided)

    choices = [(str(number), version.name) for number, version in enumerate(found)]
    screen.app.push_screen(Pick("Earlier versions, newest first", choices), picked)


def _value(value: object) -> str:
    text = "(nothing)" if type(value).__name__ == "_Missing" else str(value)
    return text if len(text) <= 60 else text[:57] + "..."
