"""The folder of a practice run: gone after every kind of end, and never taken from a program that runs."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest

from afocal.core.practice import OWNER, PREFIX, practice_folder, remove_left_over
from afocal.core.store.locks import machine_name

posix = pytest.mark.skipif(os.name != "posix", reason="signals of POSIX")

CHILD = """
import signal, sys, time
from afocal.core.practice import practice_folder
with practice_folder() as folder:
    (folder / "cases").mkdir()
    (folder / "cases" / "LQ-900.toml").write_text("schema = 1")
    print(folder, flush=True)
    time.sleep(60)
"""


@pytest.fixture
def temporary(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A temporary folder of the test's own, for this process and its children."""
    monkeypatch.setenv("TMPDIR", str(tmp_path))
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    return tmp_path


def folders(temporary: Path) -> list[str]:
    return sorted(each.name for each in temporary.glob(f"{PREFIX}*"))


def left(temporary: Path, name: str, owner: str | None) -> Path:
    """A folder as a run leaves it that was killed."""
    folder = temporary / f"{PREFIX}{name}"
    (folder / "cases").mkdir(parents=True)
    (folder / "cases" / "LQ-900.toml").write_text("schema = 1", "utf-8")
    if owner is not None:
        (folder / OWNER).write_text(owner, "utf-8")
    return folder


def ended_process() -> int:
    """The number of a process that has ended."""
    with subprocess.Popen([sys.executable, "-c", ""]) as child:
        child.wait()
    return child.pid


def test_an_ordinary_end_and_an_error_leave_nothing(temporary: Path) -> None:
    """The folder is there while it is worked in, private to the user, and gone afterwards."""
    with practice_folder() as folder:
        assert folder.is_dir() and folder.parent == temporary
        if os.name == "posix":
            assert folder.stat().st_mode & 0o077 == 0
    assert folders(temporary) == []
    with pytest.raises(RuntimeError), practice_folder():
        raise RuntimeError
    assert folders(temporary) == []


@posix
@pytest.mark.parametrize("name", ["SIGTERM", "SIGHUP"])
def test_a_request_to_end_leaves_nothing(name: str, temporary: Path) -> None:
    """Before the screen answers the signals: the folder is gone, and the program ended as by the signal."""
    with subprocess.Popen([sys.executable, "-c", CHILD], stdout=subprocess.PIPE, text=True) as child:
        assert child.stdout is not None
        folder = Path(child.stdout.readline().strip())
        assert folder.is_dir()
        child.send_signal(getattr(signal, name))
        assert child.wait(20) == -getattr(signal, name)
    assert folders(temporary) == []


@posix
def test_the_signals_are_given_back(temporary: Path) -> None:
    """What answered a signal before answers it afterwards; what was ignored stays ignored throughout."""
    before = signal.signal(signal.SIGHUP, signal.SIG_IGN)
    try:
        with practice_folder():
            assert signal.getsignal(signal.SIGHUP) is signal.SIG_IGN
            assert signal.getsignal(signal.SIGTERM) is not signal.SIG_DFL
        assert signal.getsignal(signal.SIGHUP) is signal.SIG_IGN
        assert signal.getsignal(signal.SIGTERM) is signal.SIG_DFL
    finally:
        signal.signal(signal.SIGHUP, before)


@posix
def test_what_a_killed_run_left_goes_with_a_later_one(temporary: Path) -> None:
    """After a kill the folder stays; the end of the next run takes it away."""
    with subprocess.Popen([sys.executable, "-c", CHILD], stdout=subprocess.PIPE, text=True) as child:
        assert child.stdout is not None
        folder = Path(child.stdout.readline().strip())
        with practice_folder():
            pass
        assert folder.is_dir(), "its program is running"
        child.kill()
        child.wait(20)
    assert folder.is_dir()
    with practice_folder():
        pass
    assert folders(temporary) == []


@posix
def test_only_what_is_surely_left_over_is_removed(temporary: Path) -> None:
    """A running owner, another machine, no owner, a damaged one, and a link to somewhere else: all stay."""
    gone = ended_process()
    dead = left(temporary, "dead", f"{machine_name()} {gone}\n")
    kept = [
        left(temporary, "alive", f"{machine_name()} {os.getpid()}\n"),
        left(temporary, "elsewhere", f"another-machine {gone}\n"),
        left(temporary, "nobody", None),
        left(temporary, "damaged", f"{machine_name()}\n"),
        left(temporary, "empty", ""),
    ]
    other = temporary / "somebody"
    other.mkdir()
    (other / OWNER).write_text(f"{machine_name()} {gone}\n", "utf-8")
    link = temporary / f"{PREFIX}link"
    link.symlink_to(other)
    assert remove_left_over(temporary) == [dead]
    assert not dead.exists()
    for folder in (*kept, other, link):
        assert folder.exists()
