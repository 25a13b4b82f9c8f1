"""Writing a file so that it is either wholly the old or wholly the new one, whatever happens meanwhile.

One save is: temporary file in the same folder, write, fsync, keep the version that is there, atomic replace,
fsync of the folder. It is refused when the file is no longer the one that was read (:class:`Stamp`), and only
when :func:`save_text` has returned may anybody say "saved".
"""

from __future__ import annotations

import stat
import time
from collections.abc import Callable, Collection
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from secrets import token_hex
from typing import TypeVar

from ..errors import FileRefusal
from .filesystem import REAL, FileSystem, reason_of
from .locks import WAIT_S, LockBusy, SaveLock, save_lock
from .stamp import MAX_BYTES, Stamp, digest_of, kind_of, read_handle

_LEFTOVER_AGE_S = 3600.0
_TEMPORARY_SUFFIX = ".afocal-tmp"
Result = TypeVar("Result")


class SaveFailed(FileRefusal):
    """The file could not be saved; what was there before is still there."""


class ChangedOnDisk(FileRefusal):
    """The file is not the one that was read; ``expected`` and ``found`` are the two stamps (None: absent)."""

    def __init__(self, path: Path, expected: Stamp | None, found: Stamp | None) -> None:
        if found is None:
            reason = "the file was removed or renamed since it was read"
        elif expected is None:
            reason = "a file of this name was made meanwhile"
        else:
            reason = "the file was changed by somebody else since it was read"
        super().__init__(path, reason)
        self.expected = expected
        self.found = found


@dataclass(frozen=True, slots=True)
class Saved:
    """A finished save: the stamp of the new file, and a sentence when the earlier version could not be
    kept."""

    stamp: Stamp
    warning: str = ""


# Called before the present version is replaced; what it returns is called once it has been.
Keep = Callable[[Path, FileSystem], Callable[[], None]]


def make_private_folder(folder: Path, *, fs: FileSystem = REAL) -> None:
    """Make ``folder`` and its missing parents, each private to the user; existing ones keep their mode."""
    missing: list[Path] = []
    for candidate in (folder, *folder.parents):
        try:
            fs.lstat(candidate)
            break
        except FileNotFoundError:
            missing.append(candidate)
    for each in reversed(missing):
        fs.make_folder(each)
        with suppress(PermissionError):  # a parent that we may pass but not read
            fs.fsync_folder(each.parent)


def current_stamp(path: Path, *, fs: FileSystem = REAL) -> Stamp | None:
    """The stamp of the file now; None when there is none. SaveFailed when it is no ordinary file."""
    try:
        status = fs.lstat(path)
    except FileNotFoundError:
        return None
    if not stat.S_ISREG(status.st_mode):
        raise SaveFailed(path, f"{kind_of(status)} stands where the file belongs")
    handle = fs.open_read(path)
    try:
        data = read_handle(handle, MAX_BYTES + 1, fs)
        status = fs.fstat(handle)
    finally:
        fs.close(handle)
    return Stamp(status.st_mtime_ns, status.st_size, digest_of(data))


def save_text(
    path: Path,
    text: str,
    expected: Stamp | None,
    *,
    fs: FileSystem = REAL,
    keep: Keep | None = None,
    own_digests: Collection[str] = (),
    wait_s: float = WAIT_S,
) -> Saved:
    """Save ``text`` as UTF-8 and return when it is on the medium.

    ``expected`` is the stamp from reading or from the last save; None means that no file may be there.
    ``own_digests`` are digests of earlier tries by the same caller whose end was not known: finding one of
    them is no foreign change. ``keep(path, fs)`` is called before the present version is replaced; when it
    fails, the save goes on and says so. Raises ChangedOnDisk or SaveFailed.
    """
    try:
        data = text.encode("utf-8")
    except UnicodeEncodeError as error:
        raise SaveFailed(path, "the text holds a half character that UTF-8 cannot hold") from error
    return save_bytes(path, data, expected, fs=fs, keep=keep, own_digests=own_digests, wait_s=wait_s)


def save_bytes(
    path: Path,
    data: bytes,
    expected: Stamp | None,
    *,
    fs: FileSystem = REAL,
    keep: Keep | None = None,
    own_digests: Collection[str] = (),
    wait_s: float = WAIT_S,
) -> Saved:
    """The same as :func:`save_text` for bytes."""
    if len(data) > MAX_BYTES:
        raise SaveFailed(path, f"{len(data)} bytes; at most {MAX_BYTES} are saved")
    try:
        if expected is None:
            # Only for a new file: where a share has gone, its folder must not be made anew on the local disk.
            make_private_folder(path.parent, fs=fs)
        with save_lock(path, fs=fs, wait_s=wait_s) as lock:
            found = current_stamp(path, fs=fs)
            if not _is_expected(found, expected, own_digests):
                raise ChangedOnDisk(path, expected, found)
            _refuse_read_only(path, found, fs)
            return _exchange(path, data, found, lock, fs, keep)
    except LockBusy as error:
        raise SaveFailed(path, "another program is saving this file; it will be tried again") from error
    except OSError as error:
        raise SaveFailed(path, reason_of(error)) from error


def _is_expected(found: Stamp | None, expected: Stamp | None, own_digests: Collection[str]) -> bool:
    if found is None:
        return expected is None
    return found.same_content(expected) or found.digest in own_digests


def _refuse_read_only(path: Path, found: Stamp | None, fs: FileSystem) -> None:
    # A replace needs no permission on the file itself; a file somebody has made read-only is left alone.
    if found is not None and not fs.lstat(path).st_mode & stat.S_IWUSR:
        raise SaveFailed(path, "the file is marked read-only")


def _exchange(
    path: Path, data: bytes, found: Stamp | None, lock: SaveLock, fs: FileSystem, keep: Keep | None
) -> Saved:
    digest = digest_of(data)
    temporary = temporary_path(path)
    file_away: Callable[[], None] | None = None
    warnings: list[str] = []
    try:
        mtime_ns = write_durably(temporary, data, fs=fs)
        # Who knows of no lock, an editor or a synchroniser, may have written while the new version went to the medium.
        now = None if found is None else current_stamp(path, fs=fs)
        if found is not None and (now is None or not now.same_content(found)):
            raise ChangedOnDisk(path, found, now)
        if keep is not None and found is not None and found.digest != digest:
            hold = keep
            file_away = _trying(lambda: hold(path, fs), warnings)
        if not lock.still_ours():
            raise SaveFailed(
                path, "the save took so long that another program went on; it will be tried again"
            )
        if found is None:
            _place(temporary, path, fs)
        else:
            fs.replace(temporary, path)
    except BaseException:
        with suppress(OSError):
            fs.unlink(temporary)
        raise
    fs.fsync_folder(path.parent)
    if file_away is not None:
        _trying(file_away, warnings)
    return Saved(Stamp(mtime_ns, len(data), digest), *warnings)


def _place(temporary: Path, path: Path, fs: FileSystem) -> None:
    try:
        fs.place_new(temporary, path)
    except FileExistsError as error:
        raise ChangedOnDisk(path, None, current_stamp(path, fs=fs)) from error


def _trying(step: Callable[[], Result], warnings: list[str]) -> Result | None:
    """Do a step that must not keep the new value from being saved."""
    try:
        return step()
    except OSError as error:
        reason = reason_of(error)
    except FileRefusal as error:
        reason = error.reason
    warnings.append(f"saved, but the earlier version could not be kept: {reason}")
    return None


def temporary_path(path: Path) -> Path:
    """A name beside ``path`` that no other writer uses; hidden, and told from a case file by its ending."""
    return path.with_name(f".{path.name}.{token_hex(6)}{_TEMPORARY_SUFFIX}")


def write_durably(path: Path, data: bytes, *, fs: FileSystem = REAL) -> int:
    """Write a new file completely and fsync it; the folder is left to the caller. Returns its mtime in ns."""
    handle = fs.open_new(path)
    try:
        view = memoryview(data)
        while view:
            view = view[fs.write(handle, view) :]
        fs.fsync(handle)
        status = fs.fstat(handle)
    finally:
        fs.close(handle)
    if status.st_size != len(data):
        raise SaveFailed(path, f"only {status.st_size} of {len(data)} bytes arrived on the disk")
    return status.st_mtime_ns


def sweep_leftovers(
    folder: Path, *, fs: FileSystem = REAL, older_than_s: float = _LEFTOVER_AGE_S
) -> list[Path]:
    """Remove temporary files that an interrupted save left behind; returns the removed ones.

    They never were a saved state: nobody was told "saved" for them. Young ones are left, another room may be
    writing them.
    """
    removed: list[Path] = []
    with suppress(OSError):
        for entry in fs.scan(folder):
            if not (entry.name.startswith(".") and entry.name.endswith(_TEMPORARY_SUFFIX)):
                continue
            with suppress(OSError):
                leftover = Path(entry.path)
                if time.time() - fs.lstat(leftover).st_mtime > older_than_s:
                    fs.unlink(leftover)
                    removed.append(leftover)
    return removed
