"""Deleting a patient completely: case file, earlier versions, recovery copies, leftovers, written documents, index row.

What lies outside (backups, packed archives, printed notes and copies elsewhere, the versions a share or a synchroniser
keeps) cannot be reached from here, and the report says so.
"""

from __future__ import annotations

import re
import stat
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path

from ..errors import FileRefusal
from ..paths import CASE_SUFFIX, HISTORY_FOLDER_NAME, documents_dir, history_dir
from .filesystem import REAL, FileSystem, reason_of
from .index import CaseIndex
from .recovery import SET_ASIDE, copy_is_of

OUT_OF_REACH = (
    "Not reached from here: archives made by packing, tables and notes printed or saved elsewhere, copies that other "
    "computers keep of what they could not save, backups of this computer, and older versions that a share or a "
    "synchronised folder keeps. The disk may hold traces until it is reused."
)


@dataclass(frozen=True, slots=True)
class Removal:
    """What was removed, and what could not be with the reason; ``note`` tells what no program can reach."""

    removed: list[Path] = field(default_factory=list)
    left: list[FileRefusal] = field(default_factory=list)
    note: str = OUT_OF_REACH

    @property
    def is_complete(self) -> bool:
        """Whether nothing that was found is left."""
        return not self.left


def traces(case_path: Path, recovery_folder: Path, *, fs: FileSystem = REAL) -> list[Path]:
    """Everything stored about the case at ``case_path``, without removing it; folders stand after their
    files."""
    found: list[Path] = []
    if _exists(case_path, fs):
        found.append(case_path)
    found += [each for each in _names(case_path.parent, fs) if _belongs(each.name, case_path.name)]
    folder = history_dir(case_path)
    if _exists(folder, fs):
        if stat.S_ISDIR(fs.lstat(folder).st_mode):
            found += _names(folder, fs)
        found.append(folder)
    for place in (recovery_folder, recovery_folder / SET_ASIDE):
        found += [each for each in _names(place, fs) if copy_is_of(each.name, case_path)]
    return found + _documents(case_path, fs)


def _documents(case_path: Path, fs: FileSystem) -> list[Path]:
    """What was written out about the case: files in the documents folder whose names begin with code and day.

    A file that would also fit a longer code which has a case of its own belongs to that one.
    """
    longer = [
        each.stem
        for each in _names(case_path.parent, fs)
        if each.suffix == CASE_SUFFIX and each.stem.startswith(f"{case_path.stem}-")
    ]
    return [
        each
        for each in _names(documents_dir(case_path), fs)
        if _is_document(each.name, case_path.stem)
        and not any(_is_document(each.name, code) for code in longer)
    ]


def _is_document(name: str, code: str) -> bool:
    """Whether a file name is that of a document of the code, or of one that was never finished."""
    return re.match(rf"\.?{re.escape(code.strip('-.'))}-\d{{4}}-\d\d-\d\d[-.]", name) is not None


def remove_patient(
    case_path: Path, recovery_folder: Path, index: CaseIndex | None = None, *, fs: FileSystem = REAL
) -> Removal:
    """Delete everything that :func:`traces` lists and the row of the index; goes on past what cannot be
    removed."""
    removal = Removal()
    for path in traces(case_path, recovery_folder, fs=fs):
        try:
            if stat.S_ISDIR(fs.lstat(path).st_mode):
                fs.remove_folder(path)
            else:
                fs.unlink(path)
            removal.removed.append(path)
        except FileNotFoundError:
            continue
        except OSError as error:
            removal.left.append(FileRefusal(path, f"could not be removed: {reason_of(error)}"))
    with suppress(OSError):
        fs.fsync_folder(case_path.parent)
    with suppress(OSError):
        # Only when this was the last history there is, and the last document.
        fs.remove_folder(case_path.parent / HISTORY_FOLDER_NAME)
    with suppress(OSError):
        fs.remove_folder(documents_dir(case_path))
    if index is not None:
        index.drop([case_path.name])
    return removal


def _belongs(name: str, case_name: str) -> bool:
    """Temporary and lock files of this case; not those of a case whose code only begins alike."""
    return name.startswith(f".{case_name}.") and name.endswith((".afocal-tmp", ".lock", ".lock.break"))


def _exists(path: Path, fs: FileSystem) -> bool:
    try:
        fs.lstat(path)
    except OSError:
        return False
    return True


def _names(folder: Path, fs: FileSystem) -> list[Path]:
    found: list[Path] = []
    with suppress(OSError):
        found.extend(folder / entry.name for entry in fs.scan(folder))
    return sorted(found)
