"""A short lock file round one save, so that two rooms cannot both replace a case at the same moment.

The lock is a file beside the case, made with "create, but only if absent", which local disks and shares carry
out atomically. It is held for the milliseconds of one save. What protects an edit is the comparison with the
state that was read (``store.files``); the lock only makes comparison and replacement one step.

A lock left by a crash is broken: at once when its owner ran here and is no longer running, otherwise when
this process has watched it unchanged for ``STALE_S`` by its own clock (clocks of two machines need not
agree). The holder looks again just before it replaces, so one that was suspended meanwhile gives up
instead of overwriting. A synchronised folder does not carry locks between machines; there the comparison
remains, and the index shows two files of one code.
"""

from __future__ import annotations

import errno
import os
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from secrets import token_hex

from .filesystem import REAL, WINDOWS, FileSystem

STALE_S = 5.0
# Between making the lock and writing the owner into it lie microseconds.
OWNERLESS_STALE_S = 0.5
WAIT_S = 10.0
_FIRST_PAUSE_S = 0.001
_LONGEST_PAUSE_S = 0.05

PROCESS_TOKEN = token_hex(8)
_held: set[str] = set()
_held_guard = threading.Lock()


class LockBusy(OSError):
    """Somebody else held the lock longer than we were willing to wait."""

    def __init__(self, path: Path) -> None:
        super().__init__(errno.EBUSY, "another program is saving this file", str(path))


def machine_name() -> str:
    """This machine, told apart from containers that share its name but not its processes."""
    node = os.uname().nodename if hasattr(os, "uname") else os.environ.get("COMPUTERNAME", "")
    with suppress(OSError):
        return f"{node}/{os.stat('/proc/self/ns/pid').st_ino}"
    return node


def process_is_running(pid: int) -> bool:
    """Whether a process of this number runs on this machine; True when that cannot be told."""
    if WINDOWS or pid <= 0:
        return True  # on Windows signal 0 would end the process instead of asking
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    except (OSError, OverflowError):
        return True
    return True


def lock_path(path: Path) -> Path:
    """The lock file that goes with ``path``."""
    return path.with_name(f".{path.name}.lock")


class SaveLock:
    """A lock that is held; :meth:`still_ours` tells whether nobody broke it."""

    def __init__(self, path: Path, content: bytes, fs: FileSystem) -> None:
        self.path = path
        self.content = content
        self._fs = fs

    def still_ours(self) -> bool:
        return _content(self.path, self._fs) == self.content


@contextmanager
def save_lock(path: Path, *, fs: FileSystem = REAL, wait_s: float = WAIT_S) -> Iterator[SaveLock]:
    """Hold the lock of ``path``; LockBusy after ``wait_s`` seconds, any OSError of the file system as it
    is."""
    place = lock_path(path)
    nonce = token_hex(8)
    content = f"{machine_name()} {os.getpid()} {PROCESS_TOKEN} {nonce}\n".encode("utf-8", "replace")
    with _held_guard:
        _held.add(nonce)
    try:
        _acquire(place, content, fs, wait_s)
        lock = SaveLock(place, content, fs)
        try:
            yield lock
        finally:
            _release(lock, fs)
    finally:
        with _held_guard:
            _held.discard(nonce)


def _acquire(place: Path, content: bytes, fs: FileSystem, wait_s: float) -> None:
    started = time.monotonic()
    pause_s = _FIRST_PAUSE_S
    seen: bytes | None = None
    seen_since = started
    while not _create(place, content, fs):
        now = time.monotonic()
        there = _content(place, fs)
        if there is None:
            continue
        if there != seen:
            seen, seen_since = there, now
        if _owner_is_gone(there) or now - seen_since > (
            STALE_S if there.endswith(b"\n") else OWNERLESS_STALE_S
        ):
            _break(place, there, fs)
            continue
        if now - started > wait_s:
            raise LockBusy(place)
        time.sleep(pause_s)
        pause_s = min(pause_s * 2, _LONGEST_PAUSE_S)


def _create(place: Path, content: bytes, fs: FileSystem) -> bool:
    try:
        handle = fs.open_new(place)
    except FileExistsError:
        return False
    except PermissionError:
        # Windows answers so while a deleted lock is still closing; a folder without permission has no lock
        # file.
        if WINDOWS and _content(place, fs) is not None:
            return False
        raise
    try:
        view = memoryview(content)
        while view:
            view = view[fs.write(handle, view) :]
    except OSError:
        with suppress(OSError):
            fs.unlink(place)
        raise
    finally:
        fs.close(handle)
    return True


def _content(place: Path, fs: FileSystem) -> bytes | None:
    """What the lock file says; None when there is none."""
    try:
        handle = fs.open_read(place)
    except FileNotFoundError:
        return None
    try:
        return fs.read(handle, 1024)
    finally:
        fs.close(handle)


def _owner_is_gone(content: bytes) -> bool:
    words = content.decode("utf-8", "replace").rsplit(" ", 3)
    if len(words) != 4:
        return False  # being written this moment, or not ours: patience decides
    machine, pid, process, nonce = words[0], words[1], words[2], words[3].strip()
    if machine != machine_name():
        return False
    if process == PROCESS_TOKEN:
        with _held_guard:
            return nonce not in _held
    return pid.isdecimal() and not process_is_running(int(pid))


def _break(place: Path, stale: bytes, fs: FileSystem) -> None:
    """Remove a stale lock; a second lock file keeps two breakers from removing each other's new lock."""
    guard = place.with_name(place.name + ".break")
    try:
        handle = fs.open_new(guard)
    except FileExistsError:
        _drop_old_guard(guard, fs)
        return
    try:
        fs.close(handle)
        if _content(place, fs) == stale:
            fs.unlink(place)
    finally:
        with suppress(OSError):
            fs.unlink(guard)


def _drop_old_guard(guard: Path, fs: FileSystem) -> None:
    """A guard lives for microseconds; one that is still there after a pause was left by a crash."""
    with suppress(OSError):
        before = fs.lstat(guard)
        time.sleep(_LONGEST_PAUSE_S * 4)
        after = fs.lstat(guard)
        if (before.st_ino, before.st_mtime_ns) == (after.st_ino, after.st_mtime_ns):
            fs.unlink(guard)


def _release(lock: SaveLock, fs: FileSystem) -> None:
    # A lock that cannot be removed is seen as ours and not held, or as stale, by the next save.
    with suppress(OSError):
        if lock.still_ours():
            fs.unlink(lock.path)
