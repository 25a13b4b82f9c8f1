"""Packing a case folder into one plain zip archive, and unpacking it, verified and without overwriting anything.

The archive holds case files, their earlier versions, optionally stock and settings (under ``clinic/``), and
``manifest.json`` with size and SHA-256 of each. On the way in everything is judged and verified before the first
file is written: names that could leave the folder, entries that are no ordinary files, more or larger entries
than a clinic can have, contents that do not fit the manifest. It is not encrypted: where it goes, records go.
"""

from __future__ import annotations

import errno
import io
import json
import os
import re
import stat
import zipfile
import zlib
from collections.abc import Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from ..errors import FileRefusal
from ..paths import CASE_SUFFIX, HISTORY_FOLDER_NAME
from ..printable import printable
from .files import MAX_BYTES, digest_of, make_private_folder, temporary_path, write_durably
from .filesystem import REAL, FileSystem, reason_of
from .reading import read_bytes

FORMAT = 1
MANIFEST = "manifest.json"
CLINIC_FOLDER = "clinic"
MOST_FILES = 5_000_000
MOST_BYTES = 64 * 1024**3
# The manifest is read whole, so it may be no larger than its entries account for.
_MANIFEST_HEAD_BYTES = 4096
_MANIFEST_LINE_BYTES = 2048
# Text packs to a tenth or so; a thousandth is what an archive made to fill a disk does, with few files or with many.
_MOST_RATIO = 400
_MOST_RATIO_IN_ALL = 50
_SMALL_IN_ALL = 64 * 1024**2
_SMALL = 64 * 1024

_PART = r"[^/\\:*?\"<>|\x00-\x1f\x7f-\x9f]+"
_ALLOWED = re.compile(
    rf"(?:{_PART}\.toml|{re.escape(HISTORY_FOLDER_NAME)}/{_PART}/{_PART}\.toml|{CLINIC_FOLDER}/(?:stock|settings)\.toml)"
)
_RESERVED = re.compile(r"(?i)(con|prn|aux|nul|com[0-9¹²³]|lpt[0-9¹²³])(\..*)?$")
# What zipfile raises for a damaged archive, besides its own error.
_DAMAGED = (zipfile.BadZipFile, zlib.error, EOFError, ValueError, NotImplementedError, RuntimeError, KeyError)


@dataclass(frozen=True, slots=True)
class Packed:
    """A finished archive: where it is, how many files it holds, and the files that were left out with the reason."""

    path: Path
    files: int
    left_out: list[FileRefusal] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class Unpacked:
    """What unpacking did: files written, files that were there already with the same content, and files that
    differ from what is there, which stays as it is."""

    written: list[Path] = field(default_factory=list)
    same: list[Path] = field(default_factory=list)
    kept: list[FileRefusal] = field(default_factory=list)


def pack(
    folder: Path, target: Path, clinic: Mapping[str, Path] | None = None, *, fs: FileSystem = REAL
) -> Packed:
    """Pack the case folder into a new file ``target``; FileRefusal when it exists or cannot be written.

    ``clinic`` may give "stock" and "settings". Damaged cases are packed as they are; what is no ordinary file
    (links, devices) is left out and named.
    """
    packed: list[tuple[str, int, str]] = []
    left_out: list[FileRefusal] = []
    temporary = temporary_path(target)
    try:
        make_private_folder(target.parent, fs=fs)
        handle = fs.open_new(temporary)
        try:
            with _Sink(handle, fs) as sink, zipfile.ZipFile(sink, "w", zipfile.ZIP_DEFLATED) as archive:
                for name, path in _members(folder, clinic or {}, fs):
                    try:
                        data, _ = read_bytes(path, fs=fs)
                    except FileRefusal as error:
                        left_out.append(error)
                        continue
                    archive.writestr(_entry(name), data)
                    packed.append((name, len(data), digest_of(data)))
                archive.writestr(_entry(MANIFEST), _manifest(packed))
            fs.fsync(handle)
        finally:
            fs.close(handle)
        fs.place_new(temporary, target)
        fs.fsync_folder(target.parent)
    except FileExistsError as error:
        _forget(temporary, fs)
        raise FileRefusal(target, "a file of this name is already there; nothing is overwritten") from error
    except OSError as error:
        _forget(temporary, fs)
        raise FileRefusal(target, f"could not be packed: {reason_of(error)}") from error
    return Packed(target, len(packed), left_out)


class _Sink(io.RawIOBase):
    """An unseekable stream over the seam's write, so that packing fails and is tested like any other write."""

    def __init__(self, handle: int, fs: FileSystem) -> None:
        super().__init__()
        self._handle = handle
        self._fs = fs

    def writable(self) -> bool:
        return True

    def write(self, data: Any) -> int:
        view = memoryview(data).cast("B")
        count = len(view)
        while view:
            view = view[self._fs.write(self._handle, view) :]
        return count


def _forget(temporary: Path, fs: FileSystem) -> None:
    with suppress(OSError):
        fs.unlink(temporary)


def _entry(name: str) -> zipfile.ZipInfo:
    entry = zipfile.ZipInfo(name, datetime.now().timetuple()[:6])
    entry.compress_type = zipfile.ZIP_DEFLATED
    entry.external_attr = 0o100600 << 16
    return entry


def _manifest(packed: list[tuple[str, int, str]]) -> str:
    files = {name: {"bytes": size, "sha256": digest} for name, size, digest in packed}
    made_at = datetime.now(UTC).isoformat(timespec="seconds")
    return json.dumps(
        {"afocal_archive": FORMAT, "made_at": made_at, "files": files}, indent=1, ensure_ascii=True
    )


def _members(folder: Path, clinic: Mapping[str, Path], fs: FileSystem) -> Iterator[tuple[str, Path]]:
    for name in _toml_names(folder, fs):
        yield name, folder / name
    history = folder / HISTORY_FOLDER_NAME
    try:
        codes = sorted(entry.name for entry in fs.scan(history) if entry.is_dir(follow_symlinks=False))
    except FileNotFoundError:
        codes = []
    for code in codes:
        for name in _toml_names(history / code, fs):
            yield f"{HISTORY_FOLDER_NAME}/{code}/{name}", history / code / name
    for kind, path in clinic.items():
        with suppress(FileNotFoundError):
            fs.lstat(path)
            yield f"{CLINIC_FOLDER}/{kind}.toml", path


def _toml_names(folder: Path, fs: FileSystem) -> list[str]:
    names = (entry.name for entry in fs.scan(folder))
    return sorted(name for name in names if name.endswith(CASE_SUFFIX) and not name.startswith("."))


def unpack(
    source: Path, folder: Path, clinic: Mapping[str, Path] | None = None, *, fs: FileSystem = REAL
) -> Unpacked:
    """Unpack an archive into the case folder; FileRefusal, with nothing written, when anything in it is wrong.

    ``clinic`` tells where "stock" and "settings" go; without it they are left in the archive.
    """
    try:
        if not stat.S_ISREG(os.stat(source).st_mode):
            raise FileRefusal(source, "this is no ordinary file")
        with open(source, "rb") as stream, zipfile.ZipFile(stream) as archive:
            listed = _verified(source, archive)
            return _write(archive, listed, folder, clinic or {}, fs)
    except OSError as error:
        raise FileRefusal(source, f"could not be unpacked: {reason_of(error)}") from error
    except _DAMAGED as error:
        raise FileRefusal(source, "this is no readable archive, or it is damaged") from error


def _verified(source: Path, archive: zipfile.ZipFile) -> dict[str, tuple[int, str]]:
    """The manifest's names with size and digest, after every entry was held against it."""
    entries = archive.infolist()
    _judge_entries(source, entries)
    listed = _listed(source, archive)
    names = {entry.filename for entry in entries} - {MANIFEST}
    for name in sorted(names ^ set(listed)):
        where = "is not in the manifest" if name in names else "is in the manifest, but not in the archive"
        raise FileRefusal(source, f"{printable(name)} {where}")
    for name, (size, digest) in listed.items():
        data = _content(archive, name)
        if len(data) != size or digest_of(data) != digest:
            raise FileRefusal(source, f"{printable(name)} was altered or damaged: its digest is another one")
    return listed


def _judge_entries(source: Path, entries: list[zipfile.ZipInfo]) -> None:
    total = sum(entry.file_size for entry in entries)
    if len(entries) > MOST_FILES or total > MOST_BYTES:
        raise FileRefusal(source, "more or larger files than a case folder can hold")
    if total > _SMALL_IN_ALL and total > os.stat(source).st_size * _MOST_RATIO_IN_ALL:
        raise FileRefusal(source, "its files together swell too much; nothing was unpacked")
    most_manifest = _MANIFEST_HEAD_BYTES + _MANIFEST_LINE_BYTES * len(entries)
    seen: set[str] = set()
    for entry in entries:
        reason = _fault(entry, most_manifest)
        folded = entry.filename.casefold()
        if not reason and folded in seen:
            reason = "is there twice, or differs from another name only in capitals"
        if reason:
            raise FileRefusal(source, f"{printable(entry.filename, 120)} {reason}; nothing was unpacked")
        seen.add(folded)


def _fault(entry: zipfile.ZipInfo, most_manifest: int) -> str:
    name, mode = entry.filename, entry.external_attr >> 16
    parts = name.split("/")
    if mode & 0o170000 not in (0, 0o100000):
        return "is a link or a device"
    if name != MANIFEST and not _ALLOWED.fullmatch(name):
        return "is no name that a case folder has"
    if any(_RESERVED.match(part) or part in (".", "..") or part != part.strip(" ") for part in parts):
        return "is a name that some system cannot hold"
    if len(parts) == 1 and name.startswith("."):
        return "is no name that a case folder has"
    if entry.flag_bits & 1:
        return "is encrypted"
    if entry.file_size > (most_manifest if name == MANIFEST else MAX_BYTES):
        return "is larger than any case file, or than a list of the files"
    if entry.file_size > _SMALL and entry.file_size > entry.compress_size * _MOST_RATIO:
        return "swells too much"
    return ""


def _content(archive: zipfile.ZipFile, name: str) -> bytes:
    """One entry, never more than it declared: the size in the archive's head may lie."""
    with archive.open(name) as stream:
        data = stream.read(archive.getinfo(name).file_size + 1)
        return data


def _listed(source: Path, archive: zipfile.ZipFile) -> dict[str, tuple[int, str]]:
    try:
        manifest = json.loads(_content(archive, MANIFEST))
    except (KeyError, ValueError, RecursionError) as error:
        raise FileRefusal(source, "the archive has no readable manifest") from error
    if not isinstance(manifest, dict) or manifest.get("afocal_archive") != FORMAT:
        raise FileRefusal(source, "the manifest is of another kind or of a newer program")
    files: Any = manifest.get("files")
    try:
        return {str(name): (int(each["bytes"]), str(each["sha256"])) for name, each in files.items()}
    except (AttributeError, KeyError, TypeError, ValueError) as error:
        raise FileRefusal(source, "the manifest does not list its files with size and digest") from error


def _write(
    archive: zipfile.ZipFile,
    listed: Mapping[str, tuple[int, str]],
    folder: Path,
    clinic: Mapping[str, Path],
    fs: FileSystem,
) -> Unpacked:
    done = Unpacked()
    touched: set[Path] = set()
    for name in listed:
        target = _target(name, folder, clinic)
        if target is not None:
            data = _content(archive, name)
            if digest_of(data) != listed[name][1]:
                raise OSError(errno.EIO, "the archive changed while it was unpacked")
            _write_one(target, data, listed[name][1], done, fs)
            touched.add(target.parent)
    for each in touched:
        with suppress(FileNotFoundError):
            fs.fsync_folder(each)
    return done


def _target(name: str, folder: Path, clinic: Mapping[str, Path]) -> Path | None:
    if name.startswith(f"{CLINIC_FOLDER}/"):
        return clinic.get(Path(name).stem)
    return folder.joinpath(*name.split("/"))


def _write_one(target: Path, data: bytes, digest: str, done: Unpacked, fs: FileSystem) -> None:
    temporary = temporary_path(target)
    make_private_folder(target.parent, fs=fs)
    try:
        write_durably(temporary, data, fs=fs)
        fs.place_new(temporary, target)
        done.written.append(target)
    except FileExistsError:
        _forget(temporary, fs)
        done_already, reason = _same_content(target, digest, fs)
        if done_already:
            done.same.append(target)
        else:
            done.kept.append(FileRefusal(target, reason))
    except BaseException:
        _forget(temporary, fs)
        raise


def _same_content(target: Path, digest: str, fs: FileSystem) -> tuple[bool, str]:
    try:
        _, stamp = read_bytes(target, fs=fs)
    except FileRefusal as error:
        return False, f"is there already and was left as it is ({error.reason})"
    return stamp.digest == digest, "is there already with another content, and was left as it is"
