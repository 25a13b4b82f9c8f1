"""Which terminals are taken, and what is sent to them: refusals, plain ASCII, no colour, sixteen colours."""

from __future__ import annotations

import io
import re
import subprocess
import sys
from pathlib import Path

import pytest
from harness import POSIX, Terminal, key_bytes

from afocal.tui import terminal
from afocal.tui.driver import HIDE, SHOW, STEADY_BLOCK, caret_driver
from afocal.tui.signs import ASCII_SIGNS, UNICODE_SIGNS
from afocal.tui.theming import DEFAULT_THEME, PALETTE_THEME, starting_theme_name

PROGRAM = str(Path(__file__).parent / "kinds_program.py")
needs_pty = pytest.mark.skipif(not POSIX, reason="a pseudo-terminal needs POSIX")


@pytest.mark.parametrize("term", ["dumb", "DUMB", "unknown", ""])
def test_terminals_without_a_screen_are_refused(term: str) -> None:
    """One sentence says why, what to set, and what works without a screen."""
    sentence = terminal.refusal_for_terminal({"TERM": term} if term else {}, windows=False)
    assert sentence is not None
    for words in ("TERM", "xterm-256color", "afocal plan CASE"):
        assert words in sentence
    assert sentence.count(". ") == 0 and sentence.endswith(".")


@pytest.mark.parametrize("term", ["xterm", "xterm-256color", "linux", "screen", "tmux-256color", "vt100"])
def test_other_terminals_are_taken(term: str) -> None:
    """The usual descriptions pass; on Windows none is needed."""
    assert terminal.refusal_for_terminal({"TERM": term}, windows=False) is None
    assert terminal.refusal_for_terminal({}, windows=True) is None


def test_pipes_and_files_are_refused() -> None:
    """Keys or screen that are no terminal are named in the sentence."""
    assert "standard input is not a terminal" in (terminal.refusal_for_streams(io.StringIO(), None) or "")
    assert "not a terminal" in (terminal.refusal_for_streams(None, None) or "")


@pytest.mark.parametrize(
    ("encoding", "taken"),
    [("utf-8", True), ("UTF-8", True), ("ascii", False), ("latin-1", False), ("cp437", False), (None, False)],
)
def test_plain_ascii_where_the_stream_takes_nothing_else(encoding: str | None, taken: bool) -> None:
    """Signs outside ASCII are drawn only if the stream can encode all of them; AFOCAL_ASCII decides otherwise."""
    assert terminal.takes_unicode(encoding) is taken
    assert terminal.ascii_only({}, encoding) is not taken
    assert terminal.ascii_only({"AFOCAL_ASCII": "1"}, "utf-8")
    assert not terminal.ascii_only({"AFOCAL_ASCII": "0"}, "ascii")


def test_every_sign_is_one_cell_and_the_ascii_ones_are_ascii() -> None:
    """Both sets have the same signs, each one cell wide; in one set they differ where both can stand in one place."""
    for signs in (UNICODE_SIGNS, ASCII_SIGNS):
        values = [value for value in signs if isinstance(value, str)]
        assert all(len(value) == 1 for value in values)
        assert len({signs.assumed, signs.carried, signs.error}) == 3
        assert len({signs.ok, signs.check, signs.no, signs.error}) == 4
    assert all(str(value).isascii() for value in ASCII_SIGNS)


@pytest.mark.parametrize(
    ("env", "theme"),
    [
        ({"TERM": "xterm-256color"}, DEFAULT_THEME),
        ({"TERM": "xterm", "COLORTERM": "truecolor"}, DEFAULT_THEME),
        ({"TERM": "xterm"}, PALETTE_THEME),
        ({"TERM": "linux"}, PALETTE_THEME),
        ({"TERM": "xterm-256color", "NO_COLOR": "1"}, PALETTE_THEME),
        ({"TERM": "xterm-256color", "NO_COLOR": ""}, DEFAULT_THEME),
    ],
)
def test_the_palette_theme_where_exact_colours_are_not_to_be_had(env: dict[str, str], theme: str) -> None:
    """Sixteen colours or NO_COLOR (no-color.org: set and not empty) start with the terminal's own palette."""
    assert starting_theme_name("", env) == theme
    assert starting_theme_name("warm-room", env) == ("warm-room" if theme == DEFAULT_THEME else PALETTE_THEME)


def test_prepare_comes_before_the_framework() -> None:
    """The module that prepares the terminal imports nothing of the framework, and turns animations off for it."""
    code = (
        "import sys; from afocal.tui import terminal; terminal.prepare(); import os;"
        "assert not [name for name in sys.modules if name.split('.')[0] in ('textual', 'rich')];"
        "assert os.environ['TEXTUAL_ANIMATIONS'] == 'none'; assert 'NO_COLOR' not in os.environ;"
        "assert terminal.colours_refused"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, env={"NO_COLOR": "1", "TERM": "xterm"}
    )
    assert done.returncode == 0, done.stderr


class Recorder:
    """Stands for a driver of the framework, on either platform: all of them write through `write`."""

    def __init__(self) -> None:
        self.written: list[str] = []

    def start_application_mode(self) -> None:
        self.write("\x1b[?1049h\x1b[?25l")

    def stop_application_mode(self) -> None:
        self.write("\x1b[?1049l\x1b[?25h")

    def write(self, data: str) -> None:
        self.written.append(data)

    def flush(self) -> None:
        """Nothing is held back."""


def test_the_driver_subclass_works_on_any_driver(monkeypatch: pytest.MonkeyPatch) -> None:
    """Shown as a steady block after the start, hidden round large writes only, given back before the end."""
    monkeypatch.setenv("TERM", "xterm-256color")
    driver = caret_driver(Recorder)()  # pyright: ignore[reportArgumentType,reportCallIssue]
    written = driver.written  # pyright: ignore[reportAttributeAccessIssue]
    driver.start_application_mode()
    assert written[-1] == STEADY_BLOCK + SHOW
    driver.write("x")
    assert written[-1] == "x"
    driver.write("y" * 2000)
    assert written[-1] == HIDE + "y" * 2000 + SHOW
    driver.colour_caret("#ffd400")  # pyright: ignore[reportAttributeAccessIssue]
    assert written[-1] == "\x1b]12;#ffd400\x07"
    driver.colour_caret("red\x07\x1b[2J")  # pyright: ignore[reportAttributeAccessIssue]
    assert written[-1] == "\x1b]112\x07"
    driver.stop_application_mode()
    assert written[-2].startswith("\x1b[0 q") and written[-1].endswith(SHOW)


def test_the_caret_colour_is_not_sent_where_it_might_be_printed(monkeypatch: pytest.MonkeyPatch) -> None:
    """A terminal not known to take the sequence gets none."""
    monkeypatch.setenv("TERM", "linux")
    monkeypatch.setattr(sys, "platform", "linux")
    driver = caret_driver(Recorder)()  # pyright: ignore[reportArgumentType,reportCallIssue]
    driver.colour_caret("#ffd400")  # pyright: ignore[reportAttributeAccessIssue]
    assert driver.written == []  # pyright: ignore[reportAttributeAccessIssue]


def test_the_drivers_of_the_framework_still_have_what_we_override() -> None:
    """The driver for this platform still shows and hides through the methods that the subclass overrides."""
    from afocal.tui.caret import CaretApp

    driver = CaretApp().get_driver_class()
    for method in ("start_application_mode", "stop_application_mode", "write", "flush"):
        assert callable(getattr(driver.__mro__[1], method))
    assert driver.__name__.startswith("Caret")


COLOUR = re.compile(rb"\x1b\[([0-9;]*)m")


def colours_sent(raw: bytes) -> set[str]:
    """The colour parameters among all styles sent, without the terminal's own text and ground colour."""
    found: set[str] = set()
    for match in COLOUR.finditer(raw):
        for code in match.group(1).decode().split(";"):
            if code.isdigit() and (30 <= int(code) <= 38 or 40 <= int(code) <= 48 or 90 <= int(code) <= 107):
                found.add(code)
    return found


def screen(**env: str) -> tuple[str, bytes, bool]:
    """Screen, bytes sent, and whether some cell was reversed, after a few keys in the program of all our kinds."""
    with Terminal([sys.executable, PROGRAM, "own"], rows=24, columns=80, env=env) as running:
        running.wait_for("Best for")
        running.settle(quiet_s=0.4)
        running.press("tab", "tab", "ctrl+end", "tab", "tab", "shift+tab", quiet_s=0.15)
        reverse = any(cell.reverse for line in running.screen.buffer.values() for cell in line.values())
        return running.text, bytes(running.raw), reverse


@needs_pty
@pytest.mark.parametrize(
    "env",
    [
        {"NO_COLOR": "1"},
        {"TERM": "xterm", "COLORTERM": ""},
        {"TERM": "linux", "COLORTERM": ""},
        {"TERM": "vt100", "COLORTERM": ""},
    ],
    ids=lambda env: next(iter(env.values())),
)
def test_no_colour_and_few_colours(env: dict[str, str]) -> None:
    """Not one colour is sent, and what is marked is reversed; every word is on the screen all the same."""
    text, raw, reverse = screen(**env)
    assert colours_sent(raw) == set()
    assert reverse
    for words in ("Best for the first goal", "More 19", "Quantity", "name0", "F1 Help"):
        assert words in text


@needs_pty
def test_256_colours_and_exact_colours() -> None:
    """With exact colours the theme's are sent; the screen says the same words."""
    text, raw, _ = screen(TERM="xterm-256color", COLORTERM="truecolor")
    assert b"38;2;255;255;255" in raw
    assert b"\x1b]12;#ffd400\x07" in raw
    assert "Best for the first goal" in text


@needs_pty
def test_a_stream_that_takes_ascii_only() -> None:
    """With an ASCII stream everything sent is ASCII, borders and signs included, and nothing fails."""
    text, raw, _ = screen(PYTHONIOENCODING="ascii")
    assert raw.isascii()
    for words in ("-- ", "> ", "More 19"):
        assert words in text


def test_keys_by_name() -> None:
    """The harness knows the keys by the names that the program uses."""
    assert key_bytes("ctrl+g") == b"\x07"
    assert key_bytes("shift+tab") == b"\x1b[Z"
    assert key_bytes("20/100") == b"20/100"
