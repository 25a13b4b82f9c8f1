"""The whole program without colours and on terminals of sixteen: what it sends, and what can still be told apart."""

from __future__ import annotations

import re
import sys

import pytest
from harness import POSIX, Terminal

pytestmark = pytest.mark.skipif(not POSIX, reason="a pseudo-terminal needs POSIX")

COMMAND = [sys.executable, "-m", "afocal.tui", "--demo"]
# Keys that lead on, and what stands on the screen then. In text fields the cursor alone says where one is.
WALK = (
    ("the list", [], "LQ-101", False),
    ("intake", ["enter"], "Year of birth", False),
    ("an empty field", ["ctrl+n"], "Person", False),
    ("computation", ["f3"], "Option", False),
    ("the option in full", ["enter"], "against:", False),
    ("working", ["f6"], "", False),
    ("fitting", ["escape", "f4"], "Nothing is chosen yet", False),
    ("own words", ["f5"], "Your own words", True),
    ("the note", ["tab"], "Chart note", False),
    ("picture", ["f3", "f7"], "Clear distances", False),
    ("large", ["escape", "f9"], "The answer", False),
    ("palette", ["escape", "ctrl+p"], "All commands", True),
    ("its list", ["down"], "All commands", False),
    ("themes", ["up", *"colours", "enter"], "palette", False),
    ("help", ["escape", "f1"], "Help", False),
    ("what if", ["escape", "ctrl+n"], "What if", False),
)
# Bold, reverse and their ends; 39 and 49 give the terminal's own two colours back.
COLOURLESS = {"", "0", "1", "4", "7", "22", "24", "27", "39", "49"}


@pytest.mark.parametrize(
    "env",
    [{"NO_COLOR": "1"}, {"TERM": "linux", "COLORTERM": ""}, {"TERM": "xterm", "COLORTERM": ""}],
    ids=["no colour", "console", "sixteen"],
)
def test_the_whole_program_without_colours(env: dict[str, str]) -> None:
    """Every pane, page and dialog is there with no colour sent at all; the row of the caret has its sign, and in text
    lines, where the terminal's own cursor says it, no second caret is drawn that would cancel it."""
    with Terminal(COMMAND, env=env) as terminal:
        terminal.wait_for("LQ-101", timeout_s=40)
        for step, keys, words, in_text in WALK:
            for key in keys:
                terminal.press(key, quiet_s=0.4 if key == "escape" else 0.1)

            def arrived(words: str = words, in_text: bool = in_text) -> bool:
                here = "►" in terminal.lines[terminal.cursor[1]] or in_text
                return words in terminal.text and terminal.cursor_visible and here

            assert terminal.wait_until(arrived), f"{step}: cursor {terminal.cursor}\n{terminal.text}"
            if in_text:
                x, y = terminal.cursor
                assert not terminal.screen.buffer[y][x].reverse, step
        sent = {
            code
            for found in re.findall(rb"\x1b\[([0-9;]*)m", bytes(terminal.raw))
            for code in found.split(b";")
        }
        assert {code.decode() for code in sent} <= COLOURLESS


def test_a_terminal_that_draws_nothing_is_refused() -> None:
    """TERM=dumb: one sentence that says what to do instead, and exit status 2."""
    with Terminal(COMMAND, env={"TERM": "dumb"}) as terminal:
        assert terminal.wait_exit() == 2
        assert "TERM=dumb" in terminal.text and "afocal plan CASE" in terminal.text
        assert b"\x1b" not in terminal.raw
