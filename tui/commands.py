"""Every command, declared once: its key, its name and sentence, where it works. Keys, footer, palette, help and
rebinding all read this table.

A place is a screen or a pane. A command of ``everywhere`` works on every screen, one of ``case`` in every pane. The
action is a method of the screen (or of the app) named ``action_<id with underscores>``.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Literal

from textual.binding import Binding

Place = Literal["everywhere", "list", "case", "intake", "computation", "fitting", "notes"]

_LIVES_IN: dict[Place, tuple[Place, ...]] = {
    "list": ("everywhere", "list"),
    "case": ("everywhere", "case"),
    "intake": ("everywhere", "case", "intake"),
    "computation": ("everywhere", "case", "computation"),
    "fitting": ("everywhere", "case", "fitting"),
    "notes": ("everywhere", "case", "notes"),
}


@dataclass(frozen=True, slots=True)
class Command:
    """One thing that can be done. ``key`` is "" for what only the palette offers; ``word`` stands in the key line."""

    id: str
    key: str
    word: str
    sentence: str
    where: Place = "case"
    in_key_line: bool = True

    @property
    def action(self) -> str:
        """The name of the action method, without its prefix."""
        return self.id.replace(".", "_").replace("-", "_")


COMMANDS: tuple[Command, ...] = (
    Command("help", "f1", "help", "Help: for this field, for this page, for the program.", "everywhere"),
    Command("pane.intake", "f2", "intake", "Intake: the examination in its order."),
    Command("pane.computation", "f3", "compute", "Computation: what each telescope does for the goals."),
    Command("pane.fitting", "f4", "fitting", "Fitting: steps with numbers for this face, checks, training."),
    Command("pane.notes", "f5", "notes", "Notes: free text, the chart note, what goes out."),
    Command("working", "f6", "working", "Show how the number under the caret came about."),
    Command("picture", "f7", "picture", "Show it as a picture, with the same facts in words."),
    Command("cases", "f8", "cases", "Back to the list of cases."),
    Command("large", "f9", "large", "Show the answer large."),
    Command("go-to", "ctrl+g", "go to", "Go to a field by typing part of its name."),
    Command("undo", "ctrl+z", "undo", "Undo the last change of the case."),
    Command("redo", "ctrl+y", "redo", "Redo what was undone.", in_key_line=False),
    Command("save", "ctrl+s", "saved?", "Everything accepted is saved already; say when."),
    Command("next.unfilled", "ctrl+n", "next empty", "Go to the next empty field.", "intake"),
    Command(
        "next.assumed", "ctrl+t", "next assumed", "Go to the next assumed or carried-over value.", "intake"
    ),
    Command("next.error", "ctrl+r", "next error", "Go to the next field that could not be read.", "intake"),
    Command("goal.up", "", "goal up", "Move this goal up: the first matters most.", "intake", False),
    Command("goal.remove", "", "remove goal", "Remove this goal.", "intake", False),
    Command("next.open", "ctrl+n", "next open", "Go to the next open step.", "fitting"),
    Command(
        "next.attention", "ctrl+r", "next to mend", "Go to the next step that needs attention.", "fitting"
    ),
    Command("step.note", "ctrl+t", "note", "Write a note on this step.", "fitting"),
    Command(
        "causes", "ctrl+o", "what is wrong", "Likely causes of what was found, and the next check.", "fitting"
    ),
    Command(
        "visit.new", "", "new visit", "Begin a follow-up or fitting visit today, with values carried over."
    ),
    Command("visit.timeline", "", "timeline", "All visits side by side.", in_key_line=False),
    Command("sign", "", "sign", "Sign this visit: it becomes read-only.", in_key_line=False),
    Command("addendum", "", "addendum", "Add later words to a signed visit.", in_key_line=False),
    Command(
        "versions",
        "",
        "versions",
        "Earlier versions of this case: look, compare, bring back.",
        in_key_line=False,
    ),
    Command(
        "option.choose",
        "ctrl+o",
        "choose",
        "Choose this option for the fitting, the note and the order.",
        "computation",
    ),
    Command(
        "option.what-if",
        "ctrl+n",
        "what if",
        "Change a figure of this option and see it beside the original.",
        "computation",
    ),
    Command("note.export", "ctrl+o", "write note", "Write the chart note to a file.", "notes"),
    Command("note.copy", "ctrl+t", "copy note", "Copy the chart note to the clipboard.", "notes"),
    Command("note.length", "ctrl+r", "brief/full", "The note brief or in full.", "notes"),
    Command(
        "documents", "ctrl+n", "documents", "Patient sheet, order, working sheet, exchange file.", "notes"
    ),
    Command("case.new", "ctrl+n", "new case", "Begin a case with a patient code.", "list"),
    Command("list.sort", "ctrl+t", "sort", "Sort by the next column.", "list"),
    Command(
        "look-back", "", "look back", "What was promised and what came of it, over all cases.", "list", False
    ),
    Command("messages", "ctrl+l", "messages", "The recent messages again.", "everywhere", False),
    Command("theme", "", "colours", "Choose the colours, with a preview.", "everywhere", False),
    Command("palette", "ctrl+p", "all commands", "Every command by its name.", "everywhere"),
    Command("quit", "ctrl+q", "quit", "Leave; asks only when something is not on disk.", "everywhere"),
)

BY_ID: Mapping[str, Command] = {command.id: command for command in COMMANDS}


def commands_in(place: Place) -> tuple[Command, ...]:
    """Every command that works in a place, the particular ones first."""
    order = _LIVES_IN[place]
    found = [command for command in COMMANDS if command.where in order]
    return tuple(sorted(found, key=lambda command: -order.index(command.where)))


def bindings_for(*places: Place) -> list[Binding]:
    """The framework's bindings of the commands declared for these places themselves."""
    return [
        Binding(command.key, command.action, command.word, id=command.id, priority=True, show=False)
        for command in COMMANDS
        if command.where in places and command.key
    ]


def shown_key(key: str) -> str:
    """A key as it is written for people: ``Ctrl+G``, ``F2``."""
    return "+".join(
        part.upper() if len(part) <= 3 and part[:1] == "f" else part.capitalize() for part in key.split("+")
    )


def keys_in_force(own: Mapping[str, str]) -> tuple[dict[str, str], list[str]]:
    """The key of each command with the clinic's own ones put in, and a sentence for each that cannot be used.

    A clash is two commands with one key in one place; the clinic's key is then left out and the default stays.
    """
    keys = {command.id: command.key for command in COMMANDS}
    problems: list[str] = []
    for name, key in own.items():
        if name not in keys:
            problems.append(f"keys.{name}: there is no such command; the names stand in the help")
            continue
        wanted = key.strip().lower()
        if wanted in _TAKEN:
            problems.append(
                f"keys.{name}: {shown_key(wanted)} is {_TAKEN[wanted]}; {shown_key(keys[name])} stays"
            )
            continue
        rival = next((each for each in _rivals(BY_ID[name]) if keys[each.id] == wanted), None)
        if wanted and rival is not None:
            problems.append(
                f"keys.{name}: {shown_key(wanted)} is taken by '{rival.word}'; {shown_key(keys[name])} stays"
            )
            continue
        keys[name] = wanted
    return keys, problems


# Keys that terminals send for something else, or that editing needs.
_TAKEN = {
    "ctrl+i": "the Tab key to a terminal",
    "ctrl+j": "a new line to a terminal",
    "ctrl+m": "the Enter key to a terminal",
    "ctrl+h": "the Backspace key to a terminal",
    "tab": "the way to the next field",
    "shift+tab": "the way to the last field",
    "enter": "the way to accept a value",
    "escape": "the way back",
}


def _rivals(command: Command) -> Iterable[Command]:
    """The commands that can be meant at the same time as this one."""
    for other in COMMANDS:
        if other.id != command.id and any(
            command.where in order and other.where in order for order in _LIVES_IN.values()
        ):
            yield other
