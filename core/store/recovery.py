"""Copies of cases that could not be saved, kept in the state folder and offered at the next start.

A recovery file is one line of JSON (where the case belongs, what it was based on, when and why the copy was
made, digest of the text) followed by the text of the case. It is shown as a difference and applied only when
the user says so. One that cannot be read is set aside under ``set-aside`` and named; one that was opened
twice and is still there at the third start is set aside too, so that a bad one can never keep the program
from starting.
"""

from __future__ import annotations

import json
import os
import re
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime
from hashlib import sha256
from pathlib import Path
from typing import Any

from ..errors import AfocalError, FileRefusal
from .files import (
    MAX_BYTES,
    SaveFailed,
    Stamp,
    current_stamp,
    digest_of,
    make_private_folder,
    temporary_path,
    write_durably,
)
from .filesystem import REAL, FileSystem, reason_of
from .locks import PROCESS_TOKEN
from .merge import Difference, differences
from .reading import printable, read_bytes, read_text

SUFFIX = ".recovery"
SET_ASIDE = "set-aside"
MOST_TRIES = 2
_FORMAT = 1
_HEADER_LIMIT = 64 * 1024
_UNSAFE = re.compile(r"[^A-Za-z0-9_-]+")

Load = Callable[[str], Mapping[str, Any]]


@dataclass(frozen=True, slots=True)
class Offer:
    """One recovery copy with what it would change in the case file as it is now.

    ``base_digest`` is the digest of the version it was made from ("" for a new case); ``is_based_on_present``
    tells whether the file is still that version, ``is_readable`` whether it is a case now. ``text`` is the case as it
    was typed.
    """

    path: Path
    case_path: Path
    made_at: str
    reason: str
    base_digest: str
    text: str
    present: Stamp | None
    differences: list[Difference]
    tries: int
    is_readable: bool = False

    @property
    def is_based_on_present(self) -> bool:
        """False when the case file was changed by somebody else after the copy was made."""
        return (self.present.digest if self.present else "") == self.base_digest


@dataclass(frozen=True, slots=True)
class Found:
    """What the recovery folder held: offers to decide, and files that were set aside with their reasons."""

    offers: list[Offer] = field(default_factory=list)
    set_aside: list[FileRefusal] = field(default_factory=list)


def recovery_name(case_path: Path, token: str = PROCESS_TOKEN) -> str:
    """The name of the copy of one case made by one run of the program."""
    return f"{_name_start(case_path)}{token}{SUFFIX}"


def copy_is_of(name: str, case_path: Path) -> bool:
    """Whether a file of this name is a recovery copy (or its count of tries) of the case at ``case_path``."""
    return name.startswith(_name_start(case_path)) and SUFFIX in name


def _name_start(case_path: Path) -> str:
    where = sha256(os.path.abspath(case_path).encode("utf-8", "surrogatepass")).hexdigest()[:12]
    return f"{_UNSAFE.sub('_', case_path.stem)[:60]}.{where}."


def keep_copy(
    folder: Path,
    case_path: Path,
    text: str,
    base: Stamp | None,
    reason: str,
    *,
    fs: FileSystem = REAL,
) -> Path:
    """Write a recovery copy durably into ``folder`` and return its path; OSError when that fails too."""
    make_private_folder(folder, fs=fs)
    data = text.encode("utf-8", "replace")
    head = {
        "afocal_recovery": _FORMAT,
        "case": os.path.abspath(case_path),
        "base": base.digest if base else "",
        "made_at": datetime.now(UTC).isoformat(timespec="seconds"),
        "reason": reason,
        "digest": digest_of(data),
    }
    path = folder / recovery_name(case_path)
    temporary = temporary_path(path)
    try:
        write_durably(temporary, json.dumps(head).encode("ascii") + b"\n" + data, fs=fs)
        fs.replace(temporary, path)
        fs.fsync_folder(folder)
    except SaveFailed as error:
        raise OSError(error.reason) from error
    except OSError:
        with suppress(OSError):
            fs.unlink(temporary)
        raise
    return path


def discard_copy(path: Path, *, fs: FileSystem = REAL) -> None:
    """Remove a recovery copy whose content is saved or was refused by the user; no error when it is gone."""
    for each in (path, _tries_path(path)):
        with suppress(OSError):
            fs.unlink(each)


def find(folder: Path, load: Load, *, fs: FileSystem = REAL) -> Found:
    """Every recovery copy of earlier runs as an offer; bad ones are set aside. ``load`` turns text into a
    dict.

    A copy whose text is already in the case file is removed without a question: there is nothing to decide.
    """
    found = Found()
    for path in _copies(folder, fs):
        try:
            offer = _offer(path, load, fs)
        except FileRefusal as error:
            found.set_aside.append(_set_aside(path, error, fs))
            continue
        if offer is None:
            discard_copy(path, fs=fs)
        else:
            found.offers.append(offer)
    found.offers.sort(key=lambda offer: offer.made_at)
    return found


def begin(offer: Offer, *, fs: FileSystem = REAL) -> None:
    """Note that this offer is about to be opened; call it before anything that its content could make
    fail."""
    with suppress(OSError, SaveFailed):
        path = _tries_path(offer.path)
        temporary = temporary_path(path)
        write_durably(temporary, str(offer.tries + 1).encode(), fs=fs)
        fs.replace(temporary, path)


def end(offer: Offer, *, fs: FileSystem = REAL) -> None:
    """Note that an offer was shown and answered, so that putting off the decision is not taken for a crash."""
    with suppress(OSError):
        fs.unlink(_tries_path(offer.path))


def _copies(folder: Path, fs: FileSystem) -> list[Path]:
    paths: list[Path] = []
    with suppress(OSError):
        for entry in fs.scan(folder):
            own = entry.name.endswith(f".{PROCESS_TOKEN}{SUFFIX}")
            if entry.name.endswith(SUFFIX) and not own:
                paths.append(folder / entry.name)
    return sorted(paths)


def _offer(path: Path, load: Load, fs: FileSystem) -> Offer | None:
    tries = _tries(path, fs)
    if tries >= MOST_TRIES:
        raise FileRefusal(path, f"opened {tries} times without an end; it is not offered again")
    head, text = _parts(path, fs)
    case_path = Path(head["case"])
    mine = _loaded(path, text, load)
    present, present_text = _present(case_path, fs)
    if present is not None and present.digest == head["digest"]:
        return None
    theirs = _loaded_or_nothing(present_text, load)
    return Offer(
        path=path,
        case_path=case_path,
        made_at=head["made_at"],
        reason=head["reason"],
        base_digest=head["base"],
        text=text,
        present=present,
        differences=differences(theirs, mine),
        tries=tries,
        is_readable=bool(theirs),
    )


def _parts(path: Path, fs: FileSystem) -> tuple[dict[str, str], str]:
    data, _ = read_bytes(path, limit=MAX_BYTES + _HEADER_LIMIT, fs=fs)
    line, _, body = data.partition(b"\n")
    try:
        head = json.loads(line.decode("ascii")) if len(line) < _HEADER_LIMIT else None
    except (ValueError, RecursionError):
        head = None
    names = ("case", "base", "made_at", "reason", "digest")
    if not isinstance(head, dict) or not all(isinstance(head.get(name), str) for name in names):
        raise FileRefusal(path, "this recovery copy has no readable first line", line=1)
    if head.get("afocal_recovery") != _FORMAT:
        raise FileRefusal(path, "this recovery copy is of another version of the program", line=1)
    if digest_of(body) != head["digest"] or "\0" in head["case"]:
        raise FileRefusal(path, "this recovery copy is damaged: its content has another digest")
    try:
        return {name: head[name] for name in names}, body.decode("utf-8")
    except UnicodeDecodeError as error:
        raise FileRefusal(path, "this recovery copy is not UTF-8") from error


def _loaded(path: Path, text: str, load: Load) -> Mapping[str, Any]:
    try:
        return load(text)
    except FileRefusal as error:
        raise FileRefusal(path, error.reason, line=error.line, key=error.key) from error
    except (AfocalError, ValueError, TypeError, KeyError, RecursionError) as error:
        raise FileRefusal(path, f"cannot be read as a case: {printable(error, 160)}") from error


def _present(case_path: Path, fs: FileSystem) -> tuple[Stamp | None, str]:
    """The case file as it is now; a damaged or unreachable one has a stamp at most, and no text to
    compare."""
    try:
        got = read_text(case_path, fs=fs)
        return got.stamp, got.text
    except FileRefusal:
        with suppress(OSError, FileRefusal):
            return current_stamp(case_path, fs=fs), ""
        return None, ""


def _loaded_or_nothing(text: str, load: Load) -> Mapping[str, Any]:
    if not text:
        return {}
    try:
        return load(text)
    except (AfocalError, ValueError, TypeError, KeyError, RecursionError):
        return {}  # the present file is the damaged one: everything in the copy counts as a difference


def _tries_path(path: Path) -> Path:
    return path.with_name(path.name + ".tries")


def _tries(path: Path, fs: FileSystem) -> int:
    try:
        data, _ = read_bytes(_tries_path(path), limit=16, fs=fs)
    except FileRefusal:
        return 0
    return int(data) if data.isdigit() else 0


def _set_aside(path: Path, error: FileRefusal, fs: FileSystem) -> FileRefusal:
    """Move a bad copy out of the way; it is never deleted, somebody may still repair it."""
    aside = path.parent / SET_ASIDE
    target = aside / path.name
    try:
        make_private_folder(aside, fs=fs)
        number = 1
        while True:
            try:
                fs.place_new(path, target)
                break
            except FileExistsError:
                number += 1
                target = aside / f"{path.name}.{number}"
        with suppress(OSError):
            fs.unlink(_tries_path(path))
    except OSError as problem:
        reason = f"{error.reason}; and it could not be set aside: {reason_of(problem)}"
        return FileRefusal(path, reason, line=error.line)
    return FileRefusal(target, f"{error.reason}; set aside", line=error.line)
