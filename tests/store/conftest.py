"""File systems that fail on command or lose what was not synced, behind the store's own seam."""

from __future__ import annotations

import errno
import os
from pathlib import Path

import pytest

from afocal.core.store.filesystem import FileSystem

CALLS = (
    "open_new",
    "open_read",
    "read",
    "write",
    "fsync",
    "close",
    "fstat",
    "lstat",
    "replace",
    "place_new",
    "link",
    "unlink",
    "make_folder",
    "fsync_folder",
    "scan",
    "remove_folder",
)


class FailingFileSystem(FileSystem):
    """Passes every call on, but lets the n-th one fail (all from the n-th on with ``for_ever``)."""

    def __init__(self, fail_at: int, code: int = errno.EIO, *, for_ever: bool = False) -> None:
        self.fail_at = fail_at
        self.code = code
        self.for_ever = for_ever
        self.calls: list[str] = []

    def _count(self, name: str) -> None:
        self.calls.append(name)
        number = len(self.calls)
        if number == self.fail_at or (self.for_ever and number > self.fail_at > 0):
            raise OSError(self.code, os.strerror(self.code))


def _counted(name: str):
    def call(self, *arguments):
        # A close that fails has closed all the same, as on Linux; otherwise the test itself would run out of handles.
        if name == "close":
            FileSystem.close(self, *arguments)
            self._count(name)
            return None
        self._count(name)
        return getattr(FileSystem, name)(self, *arguments)

    return call


for _name in CALLS:
    setattr(FailingFileSystem, _name, _counted(_name))


class FullDisk(FileSystem):
    """Takes ``room`` bytes in all and then says that the disk is full, in the middle of a write."""

    def __init__(self, room: int) -> None:
        self.room = room

    def write(self, handle: int, data: bytes | memoryview) -> int:
        if self.room <= 0:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        count = os.write(handle, data[: self.room])
        self.room -= count
        return count


class PowerCut(BaseException):
    """The moment at which the machine goes dark; nothing may catch it as an ordinary error."""


class VolatileFileSystem(FileSystem):
    """Files in memory with a medium behind them: content reaches it by fsync, names by fsync of the folder.

    ``cut_at`` cuts the power before the n-th call. :meth:`after_the_cut` gives what the medium holds, where each
    name change since the last fsync of the folder has happened or not, as ``names_survive`` says; a file whose name
    survives but whose content was not synced is empty.
    """

    def __init__(self, cut_at: int = 0) -> None:
        self.cut_at = cut_at
        self.calls = 0
        self.contents: dict[int, bytearray] = {}
        self.synced: dict[int, bytes] = {}
        self.names: dict[Path, int] = {}
        self.durable_names: dict[Path, int] = {}
        self.folders: set[Path] = {Path("/")}
        self._handles: dict[int, tuple[int, int]] = {}
        self._next = 10

    def _tick(self) -> None:
        self.calls += 1
        if self.calls == self.cut_at:
            raise PowerCut

    def after_the_cut(self, names_survive: bool) -> dict[Path, bytes]:
        names = self.names if names_survive else self.durable_names
        return {path: self.synced.get(inode, b"") for path, inode in names.items()}

    def _handle(self, inode: int) -> int:
        self._next += 1
        self._handles[self._next] = (inode, 0)
        return self._next

    def open_new(self, path: Path) -> int:
        self._tick()
        if path in self.names:
            raise FileExistsError(errno.EEXIST, "there", str(path))
        self._next += 1
        inode = self._next
        self.contents[inode] = bytearray()
        self.names[path] = inode
        return self._handle(inode)

    def open_read(self, path: Path) -> int:
        self._tick()
        return self._handle(self._inode(path))

    def _inode(self, path: Path) -> int:
        if path not in self.names:
            raise FileNotFoundError(errno.ENOENT, "not there", str(path))
        return self.names[path]

    def read(self, handle: int, count: int) -> bytes:
        self._tick()
        inode, place = self._handles[handle]
        data = bytes(self.contents[inode][place : place + count])
        self._handles[handle] = (inode, place + len(data))
        return data

    def write(self, handle: int, data: bytes | memoryview) -> int:
        self._tick()
        self.contents[self._handles[handle][0]] += bytes(data)
        return len(data)

    def fsync(self, handle: int) -> None:
        self._tick()
        inode = self._handles[handle][0]
        self.synced[inode] = bytes(self.contents[inode])

    def close(self, handle: int) -> None:
        self._tick()
        del self._handles[handle]

    def _status(self, inode: int) -> os.stat_result:
        return os.stat_result((0o100600, inode, 1, 1, 0, 0, len(self.contents[inode]), 0, 0, 0))

    def fstat(self, handle: int) -> os.stat_result:
        self._tick()
        return self._status(self._handles[handle][0])

    def lstat(self, path: Path) -> os.stat_result:
        self._tick()
        if path in self.folders:
            return os.stat_result((0o040700, 1, 1, 1, 0, 0, 0, 0, 0, 0))
        return self._status(self._inode(path))

    def replace(self, source: Path, target: Path) -> None:
        self._tick()
        self.names[target] = self._inode(source)
        del self.names[source]

    def place_new(self, source: Path, target: Path) -> None:
        if target in self.names:
            raise FileExistsError(errno.EEXIST, "there", str(target))
        self.replace(source, target)

    def link(self, source: Path, target: Path) -> None:
        self._tick()
        self.names[target] = self._inode(source)

    def unlink(self, path: Path) -> None:
        self._tick()
        self._inode(path)
        del self.names[path]

    def make_folder(self, path: Path) -> None:
        self._tick()
        self.folders.add(path)

    def fsync_folder(self, path: Path) -> None:
        self._tick()
        kept = {each: inode for each, inode in self.durable_names.items() if each.parent != path}
        self.durable_names = kept | {each: inode for each, inode in self.names.items() if each.parent == path}

    def scan(self, path: Path):
        self._tick()
        return iter(())


@pytest.fixture
def failing_file_system() -> type[FailingFileSystem]:
    return FailingFileSystem


@pytest.fixture
def full_disk() -> type[FullDisk]:
    return FullDisk


@pytest.fixture
def volatile_file_system() -> type[VolatileFileSystem]:
    return VolatileFileSystem


@pytest.fixture
def power_cut() -> type[PowerCut]:
    return PowerCut
