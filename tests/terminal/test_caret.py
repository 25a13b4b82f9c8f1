"""The terminal's own cursor stands on whatever has the focus, read back from a real pseudo-terminal."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
from harness import POSIX, Terminal

pytestmark = pytest.mark.skipif(not POSIX, reason="a pseudo-terminal needs POSIX")

PROGRAM = str(Path(__file__).parent / "kinds_program.py")


def run(kinds: str, rows: int = 40, columns: int = 80, **env: str) -> Terminal:
    """The program with every kind of widget, drawn and settled."""
    terminal = Terminal([sys.executable, PROGRAM, kinds], rows=rows, columns=columns, env=env)
    terminal.wait_for("stock" if kinds == "framework" else "Best for")
    terminal.settle(quiet_s=0.5)
    return terminal


def assert_on(terminal: Terminal, expected: str, step: str) -> None:
    """The cursor comes to stand, visible, where the text begins as expected; "" stands for a blank cell."""
    length = max(1, len(expected))
    terminal.wait_until(
        lambda: terminal.cursor_visible and terminal.under_cursor(length).strip() == expected, timeout_s=4.0
    )
    assert terminal.cursor_visible, f"{step}: the cursor is hidden"
    found = terminal.under_cursor(length)
    assert found.strip() == expected, f"{step}: cursor {terminal.cursor} on {found!r}\n{terminal.text}"


# Keys, then what must be under the cursor. One line a kind of widget, or a state of it.
FRAMEWORK_WALK = [
    ("text field, selected, caret behind the text", [], ""),
    ("text field, caret on a letter", ["home", "right"], "tock"),
    ("quiet text field", ["tab", "home"], "quiet"),
    ("text area", ["tab"], "alpha"),
    ("text area, second line", ["down", "right"], "eta"),
    ("check box", ["tab"], "▐X▌ Consent"),
    ("switch", ["tab"], ""),
    ("radio set", ["tab"], "▐●▌ Right"),
    ("radio set, another button", ["down"], "▐●▌ Left"),
    ("closed selection", ["tab"], "Select"),
    ("open selection", ["enter", "down"], "Parallel"),
    ("selection closed again", ["escape"], "Select"),
    ("table by cell", ["tab"], "m0"),
    ("table by cell, another one", ["down", "right"], "p1"),
    ("table by cell, scrolled", ["down", "down", "down", "down", "down"], "p6"),
    ("table by row", ["tab"], "m0"),
    ("table by row, scrolled", ["down", "down", "down", "down", "down"], "m5"),
    ("option list", ["tab"], "One"),
    ("option list, another option", ["down", "down"], "Three"),
    ("selection list", ["tab"], "▐X▌ Uno"),
    ("selection list, another line", ["down"], "▐X▌ Due"),
    ("tabs", ["tab"], "Exam"),
    ("tabs, another one", ["right"], "Plan"),
    ("list of items", ["tab"], "Ahead"),
    ("list of items, another one", ["down"], "Behind"),
    ("tree", ["tab"], "▼ Root"),
    ("tree, a leaf", ["down"], "Leaf"),
    ("button", ["tab"], "Press"),
    ("title of a folding part", ["tab"], "▶ Folded"),
    ("dialog", ["f4"], "Stay"),
    ("dialog, second button", ["tab"], "Leave"),
    ("dialog closed", ["enter"], "▶ Folded"),
    ("palette", ["ctrl+p"], "Search for"),
    ("palette, typed", ["q"], ""),
    ("palette closed", ["escape"], "▶ Folded"),
]

OWN_WALK = [
    ("answer line", [], "Best for the first goal"),
    ("field, selected, caret behind the text", ["tab"], ""),
    ("field, caret on a digit", ["home"], "20/100"),
    ("field, typed", ["tab", "1", "4", "left"], "4"),
    ("choice", ["tab", "l", "home"], "left"),
    ("field of several lines", ["tab"], ""),
    ("field of several lines, first line", ["up", "home"], "first"),
    ("field below it", ["tab", "home"], "v0"),
    ("field, scrolled to", ["ctrl+end", "home"], "v19"),
    ("sheet, on the value", ["tab"], "2.50 x"),
    ("sheet, next value", ["down"], "11.2 deg"),
    ("sheet, text", ["down"], "Eye relief"),
    ("sheet, scrolled to", ["end"], "29"),
    ("list", ["tab"], "name0"),
    ("list, next row", ["down"], "name1"),
    ("list, next column", ["right"], "1x"),
    ("list, scrolled to", ["end"], "29x"),
    ("round to the answer line", ["tab"], "Best for the first goal"),
    ("back to the list", ["shift+tab"], "29x"),
]


@pytest.mark.parametrize(
    ("kinds", "walk"), [("framework", FRAMEWORK_WALK), ("own", OWN_WALK)], ids=["framework", "own"]
)
def test_cursor_stands_on_the_focused_thing(kinds: str, walk: list[tuple[str, list[str], str]]) -> None:
    """On every kind of widget the cursor is visible and on the focused cell, row, option or label.

    Should a release of the framework change what the caret module leans on, this names the kind.
    """
    with run(kinds) as terminal:
        for step, keys, expected in walk:
            # A lone Escape is told from the start of a sequence by waiting.
            terminal.press(*keys, quiet_s=0.4 if "escape" in keys else 0.12)
            assert_on(terminal, expected, step)


@pytest.mark.parametrize(("rows", "columns"), [(12, 40), (24, 80), (50, 140)])
def test_cursor_follows_a_resize(rows: int, columns: int) -> None:
    """After a resize, small or large, the cursor is still on the field it was on."""
    with run("own", rows=30, columns=100) as terminal:
        terminal.press("tab", "ctrl+end", "home")
        assert_on(terminal, "v19", "before the resize")
        terminal.resize(rows, columns)
        terminal.settle(quiet_s=0.4)
        assert_on(terminal, "v19", f"after the resize to {columns} by {rows}")


def test_cursor_follows_a_resize_on_framework_widgets() -> None:
    """A selection that the resize moved out of view is scrolled back under the cursor."""
    with run("framework") as terminal:
        terminal.press(*["tab"] * 6, quiet_s=0.1)
        assert_on(terminal, "Select", "before the resize")
        terminal.resize(12, 40)
        terminal.settle(quiet_s=0.5)
        assert_on(terminal, "Select", "after the resize to 40 by 12")


def test_cursor_is_a_steady_block_and_given_back() -> None:
    """At the start the cursor becomes a steady block and is shown; at the end its shape is given back."""
    with run("own") as terminal:
        start = bytes(terminal.raw)
        assert b"\x1b[2 q" in start
        assert start.rindex(b"\x1b[?25h") > start.rindex(b"\x1b[?25l")
        terminal.send("ctrl+q")
        terminal.wait_exit()
        end = bytes(terminal.raw)
        assert end.rindex(b"\x1b[0 q") > end.rindex(b"\x1b[2 q")
        assert end.rindex(b"\x1b[?25h") > end.rindex(b"\x1b[?25l")


def test_linux_console_gets_its_own_cursor_sequence() -> None:
    """The Linux console has another sequence for a block, and prints what it does not know."""
    with run("own", TERM="linux") as terminal:
        assert b"\x1b[?6c" in terminal.raw
        assert b" q" not in terminal.raw.replace(b"\x1b[?6c", b"").split(b"Best", 1)[0]


def test_cursor_does_not_run_across_the_screen() -> None:
    """During a write that paints much of the screen the cursor is hidden."""
    with run("own") as terminal:
        settled = terminal.press("tab", "ctrl+end")
        assert settled.sent > 600
        assert settled.raw.index(b"\x1b[?25l") < 40
        assert settled.raw.rindex(b"\x1b[?25h") > settled.sent - 60


def test_nothing_is_sent_while_idle() -> None:
    """With the focus in a text field and no key pressed, not a byte goes to the terminal."""
    with run("own") as terminal:
        terminal.press("tab", "1")
        before = terminal.total
        terminal.settle(quiet_s=2.5, timeout_s=2.6)
        assert terminal.total == before
