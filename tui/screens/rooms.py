"""Two rooms, one case: the dialog that decides field by field, and the page of earlier versions."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from ...core.case_file import case_data, loads_case
from ...core.errors import AfocalError
from ...core.signing import with_version
from ...core.store import history
from ...core.store.merge import Conflict
from ...core.store.resolving import Choice
from ..rooms import Theirs, change_lines, name_of, shortened, value_words
from .dialogs import Decide, Pick

if TYPE_CHECKING:
    from .case import CaseScreen


def ask_about_change(screen: CaseScreen, found: Theirs, done: Callable[[Theirs], None]) -> None:
    """Ask for each value that both rooms changed; ``done`` gets the decided version."""
    _ask(screen, found, list(found.merge.conflicts), {}, done)


def _ask(
    screen: CaseScreen,
    found: Theirs,
    left: list[Conflict],
    choices: dict[str, Choice],
    done: Callable[[Theirs], None],
) -> None:
    if not left:
        done(_decided(screen, found, choices))
        return
    conflict = left[0]
    text = (
        f"{name_of(conflict.path)} was changed here and in another room.\n"
        f"before: {value_words(conflict.base)}\n"
        f"here: {value_words(conflict.mine)}\n"
        f"there: {value_words(conflict.theirs)}\n"
        f"{len(left)} to decide. Changed there and taken in: {found.words}."
    )
    answers: tuple[tuple[str, str], ...] = (
        ("both", "Keep both: one in the field, the other beside it in the file"),
        ("mine", f"Keep what was entered here: {value_words(conflict.mine)}"),
        ("theirs", f"Take what was entered there: {value_words(conflict.theirs)}"),
    )

    if conflict.is_sealed:
        # A signature is not given up in a dialog: the signed visit stays, and nothing of the other is lost.
        answers = (
            ("both", "The signed visit stays as it is; the other version is kept beside it in the file"),
        )

    def decided_one(answer: str | None) -> None:
        choices[conflict.key] = answer if answer in ("mine", "theirs") else "both"
        _ask(screen, found, left[1:], choices, done)

    foot = "Up and Down, Enter decide, Esc keep both"
    screen.app.push_screen(Decide("Changed in two rooms", text, answers, foot=foot), decided_one)


def _decided(screen: CaseScreen, found: Theirs, choices: dict[str, Choice]) -> Theirs:
    """As it was decided; what does not make a case together keeps what was entered here, and theirs in the history."""
    mine: dict[str, Choice] = dict.fromkeys(choices, "mine")
    for wanted in (choices, mine):
        try:
            return found.decided(wanted)
        except AfocalError as error:
            screen.say(str(error), "error")
    return found


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
            old = case_data(
                with_version(screen.desk.case, loads_case(text, screen.desk.path)), readings=False
            )
        except AfocalError as error:
            screen.say(str(error), "error")
            return
        words = shortened(change_lines(case_data(screen.desk.case, readings=False), old))
        answers = (("stay", "Leave the case as it is"), ("take", "Bring this version back"))

        def decided(answer: str | None) -> None:
            if answer == "take":
                screen.take_version(text)

        title = f"Version of {version.name}"
        screen.app.push_screen(Decide(title, f"It would change:\n{words or 'nothing'}", answers), decided)

    choices = [(str(number), version.name) for number, version in enumerate(found)]
    screen.app.push_screen(Pick("Earlier versions, newest first", choices), picked)
