"""The program as it is installed, in a real pseudo-terminal: typed in, killed, ended, crashed, left alone."""

from __future__ import annotations

import os
import signal
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from harness import POSIX, Terminal

from afocal.core.case_file import loads_case
from afocal.core.workspace import Workspace, demo_workspace

pytestmark = pytest.mark.skipif(not POSIX, reason="a pseudo-terminal needs POSIX")


@pytest.fixture
def clinic(tmp_path: Path) -> Workspace:
    """The practice cases as if they were a clinic's own."""
    made = demo_workspace(tmp_path)
    return Workspace(made.cases, made.stock_path, made.settings_path)


@pytest.fixture
def folders(tmp_path: Path) -> dict[str, str]:
    """The environment that keeps everything under the test's own folder."""
    return {
        "AFOCAL_CASES": str(tmp_path / "cases"),
        "AFOCAL_STOCK": str(tmp_path / "stock.toml"),
        **{f"AFOCAL_{name}": str(tmp_path / name.lower()) for name in ("CONFIG", "CACHE", "STATE")},
    }


def program(*arguments: str, rows: int = 24, columns: int = 80, env: dict[str, str]) -> Terminal:
    """The program, started."""
    command = [sys.executable, "-m", "afocal.tui", *arguments]
    return Terminal(command, rows=rows, columns=columns, env=env)


@pytest.fixture
def case(clinic: Workspace, folders: dict[str, str]) -> Iterator[Terminal]:
    """The program with a case open and settled."""
    assert clinic.cases.exists()
    with program("LQ-101", env=folders) as terminal:
        terminal.wait_for("Year of birth", timeout_s=40)
        terminal.wait_for("street name sign", timeout_s=20)
        terminal.settle(quiet_s=0.6)
        yield terminal


def typed(clinic: Workspace, code: str, path: str) -> str:
    """What the file of a case has for a field."""
    file = clinic.cases / f"{code}.toml"
    return loads_case(file.read_text("utf-8"), file).visit.findings[path].typed


EXAM = (
    ("person.birth_year", ["1951", "tab"]),
    ("person.examiner", ["mk", "tab"]),
    ("person.occupation", ["retired", "tab"]),
    ("history.diagnosis", ["macular degeneration", "tab"]),
)


def test_kill_in_the_middle_of_an_exam_loses_nothing_accepted(
    clinic: Workspace, folders: dict[str, str]
) -> None:
    """A new case typed on an empty form, `kill -9` right after a Tab: started again, every accepted value is there."""
    with program(env=folders) as terminal:
        terminal.wait_for("LQ-105", timeout_s=40)
        terminal.settle(quiet_s=0.5)
        terminal.press("ctrl+n")
        terminal.press("KM-014", "enter")
        terminal.wait_for("Year of birth", timeout_s=40)
        terminal.settle(quiet_s=0.5)
        for _, keys in EXAM:
            terminal.press(*keys, quiet_s=0.05)
        terminal.send("never accepted")
        os.kill(terminal.pid, signal.SIGKILL)
    for path, (text, _) in EXAM:
        assert typed(clinic, "KM-014", path) == text
    with program("KM-014", env=folders) as terminal:
        terminal.wait_for("macular degeneration", timeout_s=40)
        assert "1951" in terminal.text


@pytest.mark.parametrize("name", ["SIGTERM", "SIGHUP"])
def test_asked_to_end_it_saves_what_was_typed(name: str, case: Terminal, clinic: Workspace) -> None:
    """A signal ends it at once, as if it had been left: status 0, terminal given back, the half-typed value accepted."""
    case.press("ctrl+g", "vertex dist", "enter")
    case.press("14")
    os.kill(case.pid, getattr(signal, name))
    started = time.monotonic()
    assert case.wait_exit() == 0
    assert time.monotonic() - started < 3.0
    assert bytes(case.raw).rindex(b"\x1b[?1049l") > bytes(case.raw).rindex(b"\x1b[?1049h")
    assert typed(clinic, "LQ-101", "face.vertex_distance") == "14"
    assert "Traceback" not in case.text


def test_a_closed_terminal_ends_it(case: Terminal, clinic: Workspace) -> None:
    """When the window is closed the program is gone a moment later, with what was typed saved; it does not stay behind
    using the processor."""
    case.press("ctrl+g", "vertex dist", "enter")
    case.press("13")
    os.close(case._fd)
    for _ in range(100):
        if os.waitpid(case.pid, os.WNOHANG)[0]:
            break
        time.sleep(0.05)
    else:
        os.kill(case.pid, signal.SIGKILL)
        os.waitpid(case.pid, 0)
        pytest.fail("the program went on without a terminal")
    case.status = 0
    case._fd = os.open(os.devnull, os.O_RDONLY)
    assert typed(clinic, "LQ-101", "face.vertex_distance") == "13"


CRASHING = """
import sys
from afocal.tui import command_line
from afocal.tui.screens import case_commands

def fail(self):
    secret = self.desk.case.visit.notes
    raise ValueError(f"about {self.desk.case.code}: {secret}")

case_commands.CaseCommands.action_undo = fail
sys.exit(command_line.main(["LQ-101"]))
"""


def test_a_crash_tells_where_the_case_is_and_nothing_of_it(
    clinic: Workspace, folders: dict[str, str]
) -> None:
    """An error in the program: the screen is given back, the words say where the saved case and the report are, and
    neither terminal nor report has a value, a code or a message of the error."""
    with Terminal([sys.executable, "-c", CRASHING], env=folders) as terminal:
        terminal.wait_for("street name sign", timeout_s=40)
        terminal.settle(quiet_s=0.6)
        terminal.press("ctrl+g", "vertex dist", "enter")
        terminal.press("14", "tab")
        mark = terminal.total
        terminal.send("ctrl+z")
        assert terminal.wait_exit() == 1
        told = bytes(terminal.raw)[mark:].decode("utf-8", "replace")
    after = told[told.rindex("\x1b[?1049l") :]
    assert "afocal stopped because of an error in the program." in after
    assert str(clinic.cases / "LQ-101.toml") in after.replace("\r\n", "")
    reports = list((Path(folders["AFOCAL_STATE"]) / "reports").glob("crash-*.txt"))
    assert len(reports) == 1
    report = reports[0].read_text("utf-8")
    assert "ValueError" in report and "in fail" in report
    for text in (after.replace("LQ-101.toml", ""), report):
        for secret in ("Ferry pilot", "LQ-101", "macular", "1963", "secret", "Traceback"):
            assert secret not in text
    assert typed(clinic, "LQ-101", "face.vertex_distance") == "14"


def test_a_crash_in_the_practice_set_leaves_its_report(folders: dict[str, str], tmp_path: Path) -> None:
    """The practice folder is thrown away; the report stands in the user's own folder for such things."""
    code = CRASHING.replace('["LQ-101"]', '["--demo", "LQ-101"]')
    env = {"XDG_STATE_HOME": str(tmp_path / "home-state"), "HOME": str(tmp_path)}
    with Terminal([sys.executable, "-c", code], env=env) as terminal:
        terminal.wait_for("street name sign", timeout_s=40)
        terminal.settle(quiet_s=0.5)
        terminal.send("ctrl+z")
        assert terminal.wait_exit() == 1
    reports = list(tmp_path.rglob("crash-*.txt"))
    assert len(reports) == 1
    assert not folders["AFOCAL_STATE"].startswith(str(reports[0].parent))


def test_nothing_is_sent_while_a_case_is_open(case: Terminal) -> None:
    """Five seconds with a case in front, over several looks at its file: not one byte."""
    case.press("tab")
    before = case.total
    case.settle(quiet_s=5.0, timeout_s=5.1)
    assert case.total == before


# Keys, then the text that the cursor must stand on or, with "<", stand right behind.
WALK = [
    ("first field, selected", [], "<1963"),
    ("next field", ["tab"], "<mk"),
    ("letters typed", ["j", "k", "left"], "k"),
    ("computation: the list", ["f3"], "1 "),
    ("next option", ["down"], ""),
    ("into the option", ["home", "enter"], ""),
    ("working", ["f6"], ""),
    ("back", ["escape"], ""),
    ("fitting", ["f4"], ""),
    ("notes: own words", ["f5"], "Ferry pilot"),
    ("the note", ["tab"], ""),
    ("palette: line", ["ctrl+p"], "part of the name"),
    ("palette: list", ["down"], ""),
    ("back to the note", ["escape"], ""),
    ("help", ["f1"], ""),
    ("intake again", ["escape", "f2"], "<jk"),
    ("answer line", ["shift+tab", "shift+tab"], ""),
    ("go to", ["ctrl+g"], "part of the name"),
    ("arrived", ["vertex dist", "enter"], "<12"),
    ("new case", ["escape", "f8", "ctrl+n"], ""),
    ("list", ["escape"], "LQ-10"),
    ("search", ["1", "0", "7"], "<107"),
]


@pytest.mark.parametrize(("rows", "columns"), [(24, 80), (12, 40)])
def test_the_cursor_is_where_the_work_is(
    rows: int, columns: int, clinic: Workspace, folders: dict[str, str]
) -> None:
    """Through panes, pages, dialogs and the list the terminal's own cursor is visible and on the focused thing: on a
    text field at its text, elsewhere on a sign that is not blank."""
    with program("LQ-101", rows=rows, columns=columns, env=folders) as terminal:
        terminal.wait_for("1963", timeout_s=40)
        terminal.settle(quiet_s=1.2)
        for step, keys, on in WALK:
            for key in keys:
                terminal.press(key, quiet_s=0.45 if key == "escape" else 0.15)

            def stands(step: str = step, on: str = on) -> bool:
                x, y = terminal.cursor
                line = terminal.lines[y]
                if on.startswith("<"):
                    return line[:x].endswith(on[1:])
                if on:
                    return terminal.under_cursor(len(on)) == on
                if "answer" in step or "new case" in step:
                    return y < rows - 2
                return bool(line[x : x + 1].strip())

            arrived = terminal.wait_until(stands)
            assert arrived and terminal.cursor_visible, f"{step}: cursor {terminal.cursor}\n{terminal.text}"


def test_a_first_start_on_an_empty_machine(tmp_path: Path) -> None:
    """No folders at all: the list opens, says what to do and what is missing, and makes nothing before it is needed."""
    env = {
        "HOME": str(tmp_path),
        **{f"XDG_{name}_HOME": str(tmp_path / name) for name in ("DATA", "CONFIG", "CACHE", "STATE")},
    }
    with program(env=env) as terminal:
        terminal.wait_for("No cases here yet", timeout_s=40)
        terminal.wait_for("stock", timeout_s=20)
        terminal.send("ctrl+q")
        assert terminal.wait_exit() == 0
    assert not (tmp_path / "DATA").exists()
