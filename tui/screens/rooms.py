"""Two rooms, one case: the dialog that decides field by field, and the page of earlier versions."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from ...core.case_file import case_data, loads_case
from ...core.errors import AfocalError
from ...core.signing import with_version
from ...core.store import history
from ...core.store.merge import Conflict
from ...core.store.resolving import Choice
from ..rooms import Theirs, change_lines, name_of, others_of_code, shortened, value_words
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


def ask_about_missed(screen: CaseScreen, found: Theirs, done: Callable[[Theirs], None]) -> None:
    """An older version is back that lacks what was saved here: kept, unless somebody says that it was meant."""
    apart = found.apart or found
    here, there = (case_data(each, readings=False) for each in (screen.desk.case, found.their_case))
    text = (
        f"The file stands again as it was before these were saved here: {found.missed}.\n"
        "A synchronised folder can bring back an older version; or somebody put it back on purpose. "
        f"Both versions stay in the history.\nFrom here to there:\n{shortened(change_lines(here, there))}"
    )
    answers = (
        ("keep", "Keep what was saved here, together with what is new there"),
        ("take", "Take it as it stands in the file"),
    )

    def decided(answer: str | None) -> None:
        done(found if answer == "take" else apart)

    foot = "Up and Down, Enter decide, Esc keep"
    screen.app.push_screen(Decide("An older version is back", text, answers, foot=foot), decided)


def ask_about_gone(screen: CaseScreen, path: Path, done: Callable[[bool], None]) -> None:
    """The file is not there any more; ``done`` is told whether it is to be written again."""
    others = others_of_code(path, screen.desk.case.code)
    renamed = f"\nThe same case stands in {', '.join(others)}." if others else ""
    text = (
        f"{path.name} is not in its folder any more: somebody removed or renamed it, or the share is not connected."
        f"{renamed}\nWhat was entered here is kept in a copy until this is decided."
    )
    answers = (
        ("leave", "Leave it: nothing is written, the copy is offered at the next start"),
        ("write", "Write the case again as it stands here"),
    )

    def decided(answer: str | None) -> None:
        done(answer == "write")

    foot = "Up and Down, Enter decide, Esc leave it"
    screen.app.push_screen(Decide("The file is gone", text, answers, foot=foot), decided)


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

        title = f"Version {version_words(version)}"
        screen.app.push_screen(Decide(title, f"It would change:\n{words or 'nothing'}", answers), decided)

    choices = [(str(number), version_words(version)) for number, version in enumerate(found)]
    screen.app.push_screen(Pick("Earlier versions, newest first", choices), picked)


def version_words(version: history.Version) -> str:
    """An earlier version by the time at which another one took its place, by the clock of the clinic."""
    kept = ", kept for good" if version.is_kept else ""
    return f"replaced {version.replaced_at.astimezone():%Y-%m-%d %H:%M:%S}{kept}"
