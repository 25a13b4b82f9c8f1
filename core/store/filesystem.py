"""The one seam between the store and the operating system.

Every call that can fail because of a disk, a share or a permission goes through a :class:`FileSystem`, so
that a test can let the n-th call fail, fill the disk or lose what was not synced, without replacing half
the store. The store itself never calls ``os`` for such work.
"""

from __future__ import annotations

import errno
import os
import stat
import sys
import time
from collections.abc import Iterator
from pathlib import Path

WINDOWS = os.name == "nt"
PRIVATE_FILE_MODE = 0o600
PRIVATE_FOLDER_MODE = 0o700

# Folders that cannot be synced at all (some shares, some FUSE systems) answer with one of these; the
# rename is then as durable as the system makes it, and refusing to save there would help nobody.
_FOLDER_SYNC_UNSUPPORTED = {errno.EINVAL, errno.ENOTSUP, errno.EOPNOTSUPP, errno.ENOSYS}
_NO_HARD_LINKS = {errno.EPERM, errno.ENOTSUP, errno.EOPNOTSUPP, errno.ENOSYS, errno.EMLINK, errno.EACCES}
_WINDOWS_PATIENCE_S = (0.005, 0.01, 0.02, 0.05, 0.1)


class FileSystem:
    """The real file system. Methods raise OSError and nothing else."""

    def open_new(self, path: Path) -> int:
        """Create ``path`` for writing, private to the user; fails when it exists or is a link."""
        flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL
        flags |= getattr(os, "O_BINARY", 0) | getattr(os, "O_CLOEXEC", 0) | getattr(os, "O_NOINHERIT", 0)
        return os.open(path, flags, PRIVATE_FILE_MODE)

    def open_read(self, path: Path) -> int:
        """Open for reading; never follows a link in the last step and never waits at a pipe."""
        flags = os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0)
        flags |= getattr(os, "O_BINARY", 0) | getattr(os, "O_CLOEXEC", 0) | getattr(os, "O_NOINHERIT", 0)
        return os.open(path, flags)

    def read(self, handle: int, count: int) -> bytes:
        return os.read(handle, count)

    def write(self, handle: int, data: bytes | memoryview) -> int:
        return os.write(handle, data)

    def fsync(self, handle: int) -> None:
        """Push the file to the medium itself, not only to the drive's own memory."""
        if sys.platform == "darwin":
            import fcntl

            try:
                fcntl.fcntl(handle, fcntl.F_FULLFSYNC)
                return
            except OSError:
                pass  # a share without F_FULLFSYNC: the ordinary call below is the best there is
        os.fsync(handle)

    def close(self, handle: int) -> None:
        os.close(handle)

    def fstat(self, handle: int) -> os.stat_result:
        return os.fstat(handle)

    def lstat(self, path: Path) -> os.stat_result:
        return os.lstat(path)

    def replace(self, source: Path, target: Path) -> None:
        """Atomically put ``source`` in the place of ``target``."""
        _patiently(lambda: os.replace(source, target))

    def place_new(self, source: Path, target: Path) -> None:
        """Atomically give ``source`` the name ``target``; FileExistsError when that name is taken."""
        if WINDOWS:
            _patiently(lambda: os.rename(source, target))
            return
        try:
            self.link(source, target)
        except OSError as error:
            if error.errno not in _NO_HARD_LINKS:
                raise
            if os.path.lexists(target):
                raise FileExistsError(errno.EEXIST, os.strerror(errno.EEXIST), str(target)) from error
            os.replace(source, target)
            return
        os.unlink(source)

    def link(self, source: Path, target: Path) -> None:
        """A second name for the same content; OSError where the file system has no hard links."""
        if not hasattr(os, "link"):
            raise OSError(errno.ENOTSUP, os.strerror(errno.ENOTSUP))
        os.link(source, target)

    def unlink(self, path: Path) -> None:
        _patiently(lambda: os.unlink(path))

    def remove_folder(self, path: Path) -> None:
        os.rmdir(path)

    def make_folder(self, path: Path) -> None:
        """Make one folder, private to the user; no error when it is there already."""
        try:
            os.mkdir(path, PRIVATE_FOLDER_MODE)
        except FileExistsError:
            if not stat.S_ISDIR(os.stat(path).st_mode):
                raise

    def fsync_folder(self, path: Path) -> None:
        """Make the names in a folder durable. Windows has no such call: the rename there is journalled."""
        if WINDOWS:
            return
        handle = os.open(path, os.O_RDONLY | getattr(os, "O_CLOEXEC", 0))
        try:
            os.fsync(handle)
        except OSError as error:
            if error.errno not in _FOLDER_SYNC_UNSUPPORTED:
                raise
        finally:
            os.close(handle)

    def scan(self, path: Path) -> Iterator[os.DirEntry[str]]:
        """The entries of a folder, in no order."""
        with os.scandir(path) as entries:
            yield from entries


def _patiently(action) -> None:
    """Run ``action``; on Windows a few more times while a virus scanner or an indexer holds the file."""
    for pause_s in _WINDOWS_PATIENCE_S if WINDOWS else ():
        try:
            action()
            return
        except PermissionError:
            time.sleep(pause_s)
    action()


REAL = FileSystem()

_WINDOWS_REASONS = {
    32: "another program has the file open",
    33: "another program has locked the file",
    53: "the share cannot be reached",
    55: "the share is no longer there",
    59: "the network failed",
    64: "the share is no longer there",
    67: "the share cannot be found",
    112: "the disk is full",
    121: "the share does not answer",
    1231: "the network cannot be reached",
}

_REASONS = {
    "ENOSPC": "the disk is full",
    "EDQUOT": "the disk quota is used up",
    "EFBIG": "the file is larger than this file system takes",
    "EROFS": "the disk or share is read-only",
    "EACCES": "no permission",
    "EPERM": "no permission",
    "ENOENT": "the file or its folder is not there",
    "ENOTDIR": "a part of the path is not a folder",
    "EISDIR": "this is a folder",
    "EEXIST": "a file of this name is already there",
    "EIO": "the disk or share reports an error",
    "ESTALE": "the share is no longer there",
    "ENODEV": "the disk is no longer there",
    "ENXIO": "the disk is no longer there",
    "ENOTCONN": "the share is not connected",
    "EHOSTDOWN": "the share does not answer",
    "EHOSTUNREACH": "the share cannot be reached",
    "ENETUNREACH": "the network cannot be reached",
    "ENETDOWN": "the network is down",
    "ETIMEDOUT": "the share does not answer",
    "ENAMETOOLONG": "the file name is too long",
    "EMFILE": "too many files are open",
    "ENFILE": "too many files are open",
    "EBUSY": "another program has the file open",
    "ETXTBSY": "another program has the file open",
    "ELOOP": "symbolic links are not followed",
}


def reason_of(error: OSError) -> str:
    """What went wrong, in plain words, from an OSError."""
    windows_code = getattr(error, "winerror", None)
    if windows_code in _WINDOWS_REASONS:
        return _WINDOWS_REASONS[windows_code]
    name = errno.errorcode.get(error.errno or 0, "")
    return _REASONS.get(name) or (error.strerror or "the system gave no reason").lower()
