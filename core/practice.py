"""The folder of a practice run: made for one run, thrown away at its end, however it ends.

An ordinary end takes it away. So does a request to end that comes before the screen answers such requests itself, or
while a verb works. What a killed program left behind is taken away at the end of a later practice run: only a folder
of this user that names its owner, and only when that owner ran on this machine and is not running any more.
"""

from __future__ import annotations

import os
import shutil
import signal
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

from .store.locks import machine_name, process_is_running

PREFIX = "afocal-practice-"
OWNER = "owner"
_ENDING = ("SIGTERM", "SIGHUP", "SIGBREAK")


@contextmanager
def practice_folder() -> Iterator[Path]:
    """A folder for a practice run, removed with everything in it when the run ends."""
    folder = Path(tempfile.mkdtemp(prefix=PREFIX))
    before = _remove_when_asked_to_end(folder)
    try:
        (folder / OWNER).write_text(_owner_words(os.getpid()), "utf-8")
        yield folder
    finally:
        _remove(folder)
        remove_left_over(folder.parent)
        for number, handler in before.items():
            with suppress(ValueError, TypeError):  # TypeError: a handler that was not set from Python
                signal.signal(number, handler)


def remove_left_over(parent: Path) -> list[Path]:
    """Remove the practice folders in ``parent`` whose program is gone; those that were removed."""
    gone = []
    try:
        found = [Path(entry.path) for entry in os.scandir(parent) if entry.name.startswith(PREFIX)]
    except OSError:
        return []
    for folder in found:
        if _is_left_over(folder):
            _remove(folder)
            gone.append(folder)
    return gone


def _is_left_over(folder: Path) -> bool:
    try:
        state = os.lstat(folder)
        if not os.path.isdir(folder) or os.path.islink(folder):
            return False
        if hasattr(os, "getuid") and state.st_uid != os.getuid():
            return False
        machine, _, pid = (folder / OWNER).read_text("utf-8").strip().rpartition(" ")
    except (OSError, ValueError):  # no owner named: just being made, or not ours
        return False
    return machine == machine_name() and pid.isdecimal() and not process_is_running(int(pid))


def _owner_words(pid: int) -> str:
    return f"{machine_name()} {pid}\n"


def _remove(folder: Path) -> None:
    shutil.rmtree(folder, ignore_errors=True)


def _remove_when_asked_to_end(folder: Path) -> dict[int, Any]:
    """Until somebody else answers the signals: remove the folder, then end as the signal would have ended us."""

    def end(number: int, _frame: object) -> None:
        _remove(folder)
        signal.signal(number, signal.SIG_DFL)
        signal.raise_signal(number)

    before: dict[int, Any] = {}
    for name in _ENDING:
        number = getattr(signal, name, None)
        # Outside the main thread no handler can be set; what is ignored on purpose stays so.
        with suppress(ValueError):
            if number is not None and signal.getsignal(number) is signal.SIG_DFL:
                before[number] = signal.signal(number, end)
    return before
