"""Writing a document to a file: durable, private, never over a file that is there; says where it went.

The caller shows :attr:`Exported.sentence` and keeps it on the screen.
"""

from __future__ import annotations

import os
import re
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from ..case import Case, Visit
from ..entry import Words
from ..errors import FileRefusal
from ..fields import by_path, goal_by_key
from ..store.files import make_private_folder, temporary_path, write_durably
from ..store.filesystem import REAL, FileSystem, reason_of
from ..store.privacy import looks_personal

MOST_NUMBERS = 999
_UNSAFE = re.compile(r"[^A-Za-z0-9._-]+")
_WINDOWS_DEVICES = re.compile(r"(?i)^(con|prn|aux|nul|com[0-9]|lpt[0-9])(\.|$)")


@dataclass(frozen=True, slots=True)
class Exported:
    """Where a document went, and whether a number was added because a file of the wished name was there."""

    path: Path
    wished: Path

    @property
    def numbered(self) -> bool:
        """Another name than the wished one was used."""
        return self.path != self.wished

    @property
    def sentence(self) -> str:
        """What to tell the user."""
        kept = f"; {self.wished.name} was there already and is untouched" if self.numbered else ""
        return f"Written to {self.path}{kept}."


def document_name(case: Case, document: str, suffix: str) -> str:
    """A file name for a document of a visit, such as ``LQ-101 2026-11-24 chart note.txt`` with dashes for spaces."""
    parts = (case.code, case.visit.on.isoformat(), document)
    stem = "-".join(filter(None, (_UNSAFE.sub("-", part).strip("-.") for part in parts)))
    return f"{stem}.{suffix.lstrip('.')}"


def export_text(
    folder: Path, name: str, text: str, *, line_end: str = os.linesep, fs: FileSystem = REAL
) -> Exported:
    """Write ``text`` to a new file in ``folder``; when the name is taken a number is added before the suffix.

    The file is wholly there or not at all. Plain text (``.txt``) gets the line ends of the system, since old editors
    know no others; every other format keeps the ones that it has. FileRefusal when the folder cannot be written or
    the name is no plain one.
    """
    plain = name == Path(name).name and not _UNSAFE.search(name) and not name.startswith(".")
    if not name or not plain or _WINDOWS_DEVICES.match(name):
        raise FileRefusal(
            folder / "document", f"{name!r} is no plain file name of letters, digits, dots, dashes"
        )
    wished = folder / name
    temporary = temporary_path(wished)
    try:
        make_private_folder(folder, fs=fs)
        try:
            shown = text.replace("\n", line_end) if wished.suffix == ".txt" else text
            write_durably(temporary, shown.encode("utf-8", "replace"), fs=fs)
            path = _placed(temporary, wished, fs)
        except BaseException:
            with suppress(OSError):
                fs.unlink(temporary)
            raise
        fs.fsync_folder(folder)
    except OSError as error:
        raise FileRefusal(wished, reason_of(error)) from error
    return Exported(path, wished)


def _placed(temporary: Path, wished: Path, fs: FileSystem) -> Path:
    """Give the finished file the first free name; a name that is a link counts as taken, even one to nowhere."""
    for number in range(1, MOST_NUMBERS + 1):
        path = wished if number == 1 else wished.with_name(f"{wished.stem}-{number}{wished.suffix}")
        try:
            fs.place_new(temporary, path)
        except FileExistsError:
            continue
        return path
    raise FileRefusal(wished, f"{MOST_NUMBERS} files of this name are there already; move some away")


def personal_warnings(case: Case) -> list[str]:
    """Sentences on free text of the visit worked on that seems to tell who the person is, each with its place."""
    warnings = []
    for place, text in _free_text(case.visit):
        warnings.extend(f"{place}: {sentence}" for sentence in looks_personal(text))
    return warnings


def _free_text(visit: Visit) -> list[tuple[str, str]]:
    found = [
        (field.label, visit.findings[path].typed)
        for path, field in by_path().items()
        if isinstance(field.kind, Words) and path in visit.findings
    ]
    for number, goal in enumerate(visit.goals, 1):
        found += [
            (f"Goal {number}, {goal_by_key()[key].label.lower()}", finding.typed)
            for key, finding in goal.findings.items()
            if key in goal_by_key() and isinstance(goal_by_key()[key].kind, Words)
        ]
    found += [("Notes", visit.notes), ("Reason of the choice", visit.choice_reason)]
    found += [(f"Fitting step {key}", step.note) for key, step in visit.steps.items()]
    found += [(f"Training {session.on.isoformat()}", session.result) for session in visit.training]
    found += [(f"Addendum {each.at:%Y-%m-%d}", each.text) for each in visit.addenda]
    return [(place, text) for place, text in found if text]
