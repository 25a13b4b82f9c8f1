"""Every command, declared once: its key, its name and sentence, where it works. Keys, footer, palette, help and
rebinding all read this table.

A place is a screen or a pane. A command of ``everywhere`` works on every screen, one of ``case`` in every pane. The
action is a method of the screen (or of the app) named ``action_<id with underscores>``.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import Literal, NamedTuple

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


class Command(NamedTuple):
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

    @property
    def title(self) -> str:
        """Its name and its sentence, the name once only."""
        if self.sentence.casefold().startswith(self.word.casefold()):
            return self.sentence
        return f"{self.word[:1].upper()}{self.word[1:]}: {self.sentence}"


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


def places() -> tuple[Place, ...]:
    """Every place that has commands of its own or of others."""
    return tuple(_LIVES_IN)


def bindings_for(*places: Place) -> list[Binding]:
    """The framework's bindings of the commands declared for these places themselves.

    A command without a key is bound to one that no keyboard has, so that the settings can give it a real one.
    """
    return [
        Binding(
            bound_key(command, command.key),
            command.action,
            command.word,
            id=command.id,
            priority=True,
            show=False,
        )
        for command in COMMANDS
        if command.where in places
    ]


def bound_key(command: Command, key: str) -> str:
    """The key as the framework is told; for no key a name that is none."""
    return key or f"no-key-{command.id}"


def keymap_of(keys: Mapping[str, str]) -> dict[str, str]:
    """What the framework must be told of keys that are not the declared ones."""
    return {name: bound_key(BY_ID[name], key) for name, key in keys.items() if key != BY_ID[name].key}


def shown_key(key: str) -> str:
    """A key as it is written for people: ``Ctrl+G``, ``F2``."""
    return "+".join(
        part.upper() if len(part) <= 3 and part[:1] == "f" else part.capitalize() for part in key.split("+")
    )


def keys_in_force(own: Mapping[str, str]) -> tuple[dict[str, str], list[str]]:
    """The key of each command with the clinic's own ones put in, and a sentence for each that cannot be used.

    A clash is two commands with one key in one place; the clinic's key is then left out and the default stays. Two
    commands may exchange their keys. An empty text takes the key away.
    """
    keys = {command.id: command.key for command in COMMANDS}
    problems: list[str] = []
    for name, given in own.items():
        wanted = given.strip().lower()
        refusal = _refusal(name, wanted)
        if refusal:
            problems.append(f"keys.{name}: {refusal}")
        else:
            keys[name] = wanted
    for name in reversed([name for name in own if name in keys and keys[name] != BY_ID[name].key]):
        rival = next((each for each in _rivals(BY_ID[name]) if keys[each.id] == keys[name]), None)
        if keys[name] and rival is not None:
            default = BY_ID[name].key
            stays = f"{shown_key(default)} stays" if default else "it stays without a key"
            problems.append(f"keys.{name}: {shown_key(keys[name])} is taken by '{rival.word}'; {stays}")
            keys[name] = default
    return keys, problems


def _refusal(name: str, wanted: str) -> str:
    """Why a wanted key cannot be used at all, "" when it can."""
    if name not in BY_ID:
        from difflib import get_close_matches

        near = get_close_matches(name, BY_ID, n=1)
        hint = f"the nearest is {near[0]}" if near else "the names stand in the help"
        return f"there is no such command; {hint}"
    default = BY_ID[name].key
    stays = f"{shown_key(default)} stays" if default else "it stays without a key"
    if wanted in _TAKEN:
        return f"{shown_key(wanted)} is {_TAKEN[wanted]}; {stays}"
    if wanted and not _KEY.fullmatch(wanted):
        return f"'{wanted}' is no key for a command; accepted are keys such as ctrl+b, alt+b, f10; {stays}"
    return ""


# A letter alone is needed for typing; what a command may have is a function key or a letter held with another key.
_KEY = re.compile(r"(shift\+|ctrl\+)?f([1-9]|1[0-9]|2[0-4])|(ctrl|alt)\+([a-z0-9]|shift\+[a-z])")

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
    "ctrl+c": "the way to copy what is marked",
    "ctrl+v": "the way to paste",
    "ctrl+x": "the way to cut what is marked",
    "ctrl+a": "the way to the start of a text",
    "ctrl+e": "the way to the end of a text",
    "ctrl+k": "the way to clear a text to its end",
    "ctrl+u": "the way to clear a text to its start",
    "ctrl+w": "the way to clear a word",
}


def _rivals(command: Command) -> Iterable[Command]:
    """The commands that can be meant at the same time as this one."""
    for other in COMMANDS:
        if other.id != command.id and any(
            command.where in order and other.where in order for order in _LIVES_IN.values()
        ):
            yield other
