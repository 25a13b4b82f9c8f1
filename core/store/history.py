"""Earlier versions of a case, in ``.history/<code>/`` beside the case file.

Each save keeps the version it replaces as ``last.toml``. When the newest dated version is older than
``INTERVAL``, or when it is asked for (signing, restoring, migrating), the replaced version is also kept under
a name made of its time (UTC) and digest. Dated versions are thinned to one a day after two days; those asked
for are never thinned. A version whose content no longer has the digest in its name is refused by name.
"""

from __future__ import annotations

import re
import stat
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path
from typing import Any

from ..errors import FileRefusal
from ..paths import history_dir
from .files import (
    Saved,
    Stamp,
    digest_of,
    make_private_folder,
    save_text,
    sweep_leftovers,
    temporary_path,
    write_durably,
)
from .filesystem import REAL, FileSystem, reason_of
from .merge import Difference, differences
from .reading import read_bytes, read_text

INTERVAL = timedelta(minutes=5)
KEEP_ALL_FOR = timedelta(days=2)
LAST_NAME = "last.toml"
_TIME_FORMAT = "%Y%m%dT%H%M%S%f"
_NAME = re.compile(r"(\d{8}T\d{6})(\d{6})Z-([0-9a-f]{16})(-kept)?\.toml")


@dataclass(frozen=True, slots=True)
class Version:
    """One earlier version: where it is, when it was replaced (UTC), the start of its digest, whether kept
    for good.

    ``digest`` is "" for ``last.toml``, the version that the last save replaced.
    """

    path: Path
    replaced_at: datetime
    digest: str
    is_kept: bool

    @property
    def name(self) -> str:
        """What the user names it by."""
        return self.path.stem


def save_case(
    path: Path,
    text: str,
    expected: Stamp | None,
    *,
    fs: FileSystem = REAL,
    own_digests: frozenset[str] = frozenset(),
    keep_for_good: bool = False,
) -> Saved:
    """Save a case and keep the version it replaces; the same contract as ``files.save_text``."""
    keep = partial(hold_present, for_good=keep_for_good)
    return save_text(path, text, expected, fs=fs, keep=keep, own_digests=own_digests)


def hold_present(
    path: Path, fs: FileSystem = REAL, *, for_good: bool = False, now: datetime | None = None
) -> Callable[[], None]:
    """Hold on to the file as it is before it is replaced; the returned function files it as an earlier version.

    Two steps, because until the replacement has happened the content may still be written to in place by others.
    Both raise OSError or FileRefusal when they cannot be done.
    """
    folder = history_dir(path)
    _refuse_links(folder, fs)
    make_private_folder(folder, fs=fs)
    held = temporary_path(folder / LAST_NAME)
    _second_name(path, held, fs)

    def file_it() -> None:
        _rename(held, folder / LAST_NAME, fs)
        moment = now or datetime.now(UTC)
        if for_good or _is_due(folder, moment, fs):
            _keep_dated(folder, moment, for_good, fs)
            thin(path, fs=fs, now=moment)

    return file_it


def keep_text(path: Path, text: str, *, fs: FileSystem = REAL, now: datetime | None = None) -> None:
    """Keep a text that was the present version once as an earlier one; nothing when it is kept already.

    For what this room saved and somebody else's version put aside without having seen it, as a synchroniser does.
    OSError or FileRefusal when it cannot be done.
    """
    data = text.encode("utf-8")
    digest = digest_of(data)
    folder = history_dir(path)
    _refuse_links(folder, fs)
    make_private_folder(folder, fs=fs)
    if any(version.digest == digest[:16] for version in _dated(folder, fs)):
        return
    moment = now or datetime.now(UTC)
    target = folder / f"{moment.strftime(_TIME_FORMAT)}Z-{digest[:16]}.toml"
    temporary = temporary_path(target)
    try:
        write_durably(temporary, data, fs=fs)
        fs.replace(temporary, target)
    except BaseException:
        with suppress(OSError):
            fs.unlink(temporary)
        raise
    fs.fsync_folder(folder)


def _keep_dated(folder: Path, moment: datetime, for_good: bool, fs: FileSystem) -> None:
    last = folder / LAST_NAME
    _, stamp = read_bytes(last, fs=fs)
    ending = "-kept" if for_good else ""
    target = folder / f"{moment.strftime(_TIME_FORMAT)}Z-{stamp.digest[:16]}{ending}.toml"
    temporary = temporary_path(target)
    _second_name(last, temporary, fs)
    _rename(temporary, target, fs)
    fs.fsync_folder(folder)


def _refuse_links(folder: Path, fs: FileSystem) -> None:
    for each in (folder.parent, folder):
        with suppress(FileNotFoundError):
            if not stat.S_ISDIR(fs.lstat(each).st_mode):
                raise FileRefusal(each, "stands where the folder of earlier versions belongs")


def _second_name(source: Path, target: Path, fs: FileSystem) -> None:
    """Give the content a second name, which costs no second write; a real copy where there are no hard links."""
    try:
        fs.link(source, target)
    except OSError:
        data, _ = read_bytes(source, fs=fs)
        write_durably(target, data, fs=fs)


def _rename(temporary: Path, target: Path, fs: FileSystem) -> None:
    try:
        fs.replace(temporary, target)
    except OSError:
        with suppress(OSError):
            fs.unlink(temporary)
        raise


def _is_due(folder: Path, now: datetime, fs: FileSystem) -> bool:
    newest = max((version.replaced_at for version in _dated(folder, fs)), default=None)
    # A version from the future (a clock set back) must not stop new ones.
    return newest is None or abs(now - newest) >= INTERVAL


def _dated(folder: Path, fs: FileSystem) -> list[Version]:
    found: list[Version] = []
    with suppress(FileNotFoundError):
        for entry in fs.scan(folder):
            match = _NAME.fullmatch(entry.name)
            if match:
                with suppress(ValueError):
                    # The standard's own basic format, which needs no table of the local names of days and months.
                    moment = datetime.fromisoformat(f"{match[1]}.{match[2]}+00:00")
                    found.append(Version(folder / entry.name, moment, match[3], match[4] is not None))
    return found


def versions(path: Path, *, fs: FileSystem = REAL) -> list[Version]:
    """The earlier versions of the case at ``path``, newest first; FileRefusal when the folder cannot be
    read."""
    folder = history_dir(path)
    try:
        _refuse_links(folder, fs)
        found = _dated(folder, fs)
        last = folder / LAST_NAME
        with suppress(FileNotFoundError):
            digest = read_bytes(last, fs=fs)[1].digest if stat.S_ISREG(fs.lstat(last).st_mode) else ""
            if digest and not any(digest.startswith(version.digest) for version in found):
                changed = datetime.fromtimestamp(fs.lstat(last).st_ctime, UTC)
                found.append(Version(last, changed, "", False))
    except OSError as error:
        raise FileRefusal(folder, reason_of(error)) from error
    return sorted(found, key=lambda version: version.replaced_at, reverse=True)


def read_version(version: Version, *, fs: FileSystem = REAL) -> str:
    """The text of an earlier version; FileRefusal when it was altered since it was kept."""
    got = read_text(version.path, fs=fs)
    if version.digest and not got.stamp.digest.startswith(version.digest):
        raise FileRefusal(version.path, "this earlier version was altered since it was kept")
    return got.text


def compare(
    version: Version,
    present: Mapping[str, Any],
    load: Callable[[str], Mapping[str, Any]],
    *,
    fs: FileSystem = REAL,
) -> list[Difference]:
    """What changed from ``version`` to ``present``; ``load`` turns text into a plain dict."""
    return differences(load(read_version(version, fs=fs)), present)


def restore(
    path: Path, version: Version, expected: Stamp | None, *, fs: FileSystem = REAL
) -> tuple[str, Saved]:
    """Make an earlier version the present one; the present one is kept for good first. Text and stamp come
    back."""
    text = read_version(version, fs=fs)
    return text, save_case(path, text, expected, fs=fs, keep_for_good=True)


def thin(path: Path, *, fs: FileSystem = REAL, now: datetime | None = None) -> list[Path]:
    """Keep all versions of the last two days, and the last of each day before; returns what was removed."""
    moment = now or datetime.now(UTC)
    removed = sweep_leftovers(history_dir(path), fs=fs)
    days: set[object] = set()
    for version in sorted(_dated(history_dir(path), fs), key=lambda each: each.replaced_at, reverse=True):
        if version.is_kept or moment - version.replaced_at <= KEEP_ALL_FOR:
            continue
        day = version.replaced_at.date()
        if day in days:
            with suppress(OSError):
                fs.unlink(version.path)
                removed.append(version.path)
        days.add(day)
    return removed
