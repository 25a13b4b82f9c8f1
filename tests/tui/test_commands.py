"""Commands: declared once, one key in one place, rebound from the settings file, and never dropped in silence."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from typing import Any

import pytest
from textual.pilot import Pilot

from afocal.tui.app import AfocalApp
from afocal.tui.commands import (
    BY_ID,
    COMMANDS,
    Place,
    bindings_for,
    commands_in,
    keys_in_force,
    places,
    shown_key,
)
from afocal.tui.screens.case import CaseScreen
from afocal.tui.screens.dialogs import Pick
from afocal.tui.widgets.lines import KeyLine, KeyWord, lay_out_keys

CaseWaiter = Callable[[Pilot[Any]], Awaitable[CaseScreen]]
PLACES = tuple(place for place in places() if place != "case")


def test_names_are_unique() -> None:
    """No two commands have one name, and each has a word and a sentence that ends as one."""
    assert len(BY_ID) == len(COMMANDS)
    assert all(command.word and command.sentence.endswith(".") for command in COMMANDS)


@pytest.mark.parametrize("place", PLACES)
def test_one_key_means_one_thing_in_one_place(place: Place) -> None:
    """Wherever one stands, a key is bound to at most one command."""
    keys = [command.key for command in commands_in(place) if command.key]
    assert len(keys) == len(set(keys))


@pytest.mark.parametrize("key", ["f10", "f11", "ctrl+i", "ctrl+j", "ctrl+m", "ctrl+h"])
def test_keys_that_do_not_arrive_are_not_used(key: str) -> None:
    """Terminals keep F10 and F11, and send Ctrl+I, J, M and H for Tab, newline, Enter and Backspace."""
    assert key not in {command.key for command in COMMANDS}


@pytest.mark.parametrize("place", ["everywhere", *places()])
async def test_every_command_has_its_action(
    place: Place, app: Callable[[str], AfocalApp], case_screen: CaseWaiter
) -> None:
    """Each declared command has a method on its pane, its screen or the application."""
    running = app("LQ-101")
    async with running.run_test(size=(80, 24)) as pilot:
        screen = await case_screen(pilot)
        owners: list[object] = [running, running.screen_stack[0], screen]
        if place in ("intake", "computation", "fitting", "notes"):
            await screen.show_pane(place)
            owners.append(screen.pane)
        for command in COMMANDS:
            if command.where == place:
                name = f"action_{command.action}"
                assert any(hasattr(owner, name) for owner in owners), command.id


REBOUND = [
    ("another key", {"go-to": "ctrl+f"}, {"go-to": "ctrl+f"}, ()),
    ("capital letters and blanks", {"go-to": " Ctrl+F "}, {"go-to": "ctrl+f"}, ()),
    ("a command without a key gets one", {"visit.new": "f12"}, {"visit.new": "f12"}, ()),
    ("no key at all", {"undo": ""}, {"undo": ""}, ()),
    ("an exchange", {"undo": "ctrl+y", "redo": "ctrl+z"}, {"undo": "ctrl+y", "redo": "ctrl+z"}, ()),
    (
        "a clash in one place",
        {"go-to": "ctrl+z"},
        {"go-to": "ctrl+g"},
        ("keys.go-to", "Ctrl+Z", "'undo'", "Ctrl+G"),
    ),
    (
        "a clash of two own keys",
        {"undo": "f12", "redo": "f12"},
        {"undo": "f12", "redo": "ctrl+y"},
        ("keys.redo", "F12"),
    ),
    (
        "one key in two places is no clash",
        {"note.copy": "ctrl+o", "note.export": "ctrl+t"},
        {"note.copy": "ctrl+o"},
        (),
    ),
    (
        "an unknown command",
        {"goto": "ctrl+f"},
        {"go-to": "ctrl+g"},
        ("keys.goto", "no such command", "go-to"),
    ),
    ("a letter alone", {"go-to": "g"}, {"go-to": "ctrl+g"}, ("keys.go-to", "'g' is no key", "ctrl+b")),
    ("a key that is Tab", {"go-to": "ctrl+i"}, {"go-to": "ctrl+g"}, ("keys.go-to", "Ctrl+I is the Tab key")),
    ("nonsense", {"go-to": "hyper+q"}, {"go-to": "ctrl+g"}, ("keys.go-to", "hyper+q")),
]


@pytest.mark.parametrize(("claim", "own", "in_force", "said"), REBOUND, ids=[case[0] for case in REBOUND])
def test_own_keys(claim: str, own: dict[str, str], in_force: dict[str, str], said: tuple[str, ...]) -> None:
    """Own keys are taken where they can be; what cannot be is named with the reason, and the default stays."""
    keys, problems = keys_in_force(own)
    for name, key in in_force.items():
        assert keys[name] == key, claim
    assert len(problems) == (1 if said else 0), problems
    for words in said:
        assert words in problems[0]
    for place in PLACES:
        used = [keys[command.id] for command in commands_in(place) if keys[command.id]]
        assert len(used) == len(set(used)), claim


@pytest.mark.parametrize("place", ["intake", "computation", "fitting", "notes"])
async def test_the_keys_of_a_pane_work_on_the_answer_too(
    place: Place, app: Callable[[str], AfocalApp], case_screen: CaseWaiter, monkeypatch: pytest.MonkeyPatch
) -> None:
    """They stand in the key line wherever the caret is; each acts once, in the pane and on the answer line."""
    running = app("LQ-101")
    async with running.run_test(size=(80, 24)) as pilot:
        screen = await case_screen(pilot)
        await screen.show_pane(place)
        done: list[str] = []
        own = [command for command in commands_in(place) if command.where == place and command.key]
        assert own
        for command in own:
            name = f"action_{command.action}"
            assert hasattr(screen.pane, name)
            monkeypatch.setattr(screen.pane, name, lambda of=command.id: done.append(of))
        for focus in (screen.pane.take_focus, screen.answer.focus):
            focus()
            await pilot.pause()
            done.clear()
            for command in own:
                await pilot.press(command.key)
                await pilot.pause()
            assert done == [command.id for command in own], screen.focused


async def test_rebound_keys_work_and_are_shown(
    app: Callable[[str], AfocalApp], case_screen: CaseWaiter, seen: Callable[[AfocalApp], str]
) -> None:
    """A key from the settings file does its work, stands in the key line, and the old one does nothing; a problem
    with another one is said and stays among the messages."""
    running = app("LQ-101")
    running.workspace.settings_path.write_text(
        'schema = 1\n[keys]\n"go-to" = "ctrl+f"\n"visit.new" = "f12"\nundo = "ctrl+g"\n"no-such" = "f12"\n',
        "utf-8",
    )
    async with running.run_test(size=(120, 30)) as pilot:
        screen = await case_screen(pilot)
        for _ in range(100):
            if running.keys_of["go-to"] == "ctrl+f":
                break
            await pilot.pause(0.02)
        await pilot.pause()
        # Ctrl+G is free now, so undo may have it.
        assert running.keys_of["undo"] == "ctrl+g"
        assert "Ctrl+F go to" in seen(running)
        await pilot.press("ctrl+f")
        await pilot.pause()
        assert isinstance(running.screen, Pick)
        await pilot.press("escape")
        await pilot.press("f12")
        await pilot.pause()
        assert isinstance(running.screen, Pick)
        assert "New visit" in seen(running)
        await pilot.press("escape")
        said = [each.text for line in screen.query("MessageLine") for each in line.recent]  # type: ignore[attr-defined]
        assert any("no-such" in text for text in said)


async def test_the_palette_shows_our_commands_with_keys_and_nothing_else(
    app: Callable[[str], AfocalApp], case_screen: CaseWaiter, seen: Callable[[AfocalApp], str]
) -> None:
    """Ctrl+P lists the commands that work here with their keys, none of the framework's; typing narrows, Enter does it."""
    running = app("LQ-101")
    async with running.run_test(size=(100, 60)) as pilot:
        screen = await case_screen(pilot)
        await pilot.press("ctrl+p")
        await pilot.pause()
        text = seen(running)
        for command in commands_in("intake"):
            if command.id == "palette":
                continue
            assert command.sentence[:40] in text.replace("\n", " "), command.id
            if command.key:
                assert shown_key(command.key) in text
        for foreign in ("Screenshot", "Maximize", "Change theme", "Toggle", "Quit the application"):
            assert foreign not in text
        assert len(running.screen.list.rows) == len(commands_in("intake")) - 1  # type: ignore[attr-defined]
        await pilot.press(*"notes", "enter")
        await pilot.pause(0.1)
        assert running.screen is screen
        assert screen.place == "notes"


@pytest.mark.parametrize("place", PLACES)
@pytest.mark.parametrize("width", [40, 60, 80, 130])
def test_the_key_line_never_drops_a_key_in_silence(place: Place, width: int) -> None:
    """Where not all keys of a place fit, the last word says where the others stand."""
    keys = [
        KeyWord(shown_key(each.key), each.word)
        for each in commands_in(place)
        if each.key and each.in_key_line
    ]
    for rows in (1, 2, 3):
        laid = [key for row in lay_out_keys(keys, width, rows) for key in row]
        assert laid == keys or laid[-1] == KeyWord("F1", "more")
        assert laid


async def test_the_key_line_shows_the_pane_in_front(
    app: Callable[[str], AfocalApp], case_screen: CaseWaiter
) -> None:
    """Its own keys come first in every pane."""
    running = app("LQ-101")
    async with running.run_test(size=(80, 24)) as pilot:
        screen = await case_screen(pilot)
        for key, place in (("f3", "computation"), ("f5", "notes"), ("f2", "intake")):
            await pilot.press(key)
            await pilot.pause()
            assert screen.place == place
            first = commands_in(place)[0]
            assert screen.query_one(KeyLine).keys[0] == KeyWord(shown_key(first.key), first.word)


def test_bindings_are_named_and_prior() -> None:
    """Every binding carries its command's name, so that it can be rebound, and goes before the framework's own."""
    for place in places():
        for binding in bindings_for(place):
            assert binding.id in BY_ID
            assert binding.priority
