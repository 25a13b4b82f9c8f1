"""The plumbing of the file check: which files, which validator, findings as lines and as JSON, exit status.

What makes a case, a stock, a settings or a theme file right is registered by whoever knows it, as a
:class:`Validator`. A file that cannot be read at all is one finding like any other, and never keeps the next
file from being checked.
"""

from __future__ import annotations

import json
import stat
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path
from typing import Any, Literal

from ..errors import AfocalError, FileRefusal
from ..printable import printable
from .filesystem import REAL, FileSystem, reason_of
from .toml import line_of_key, read_toml

GOOD, DATA_WRONG, CALL_WRONG = 0, 1, 2
REPORT_SCHEMA = 1
Severity = Literal["error", "warning"]


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing to say about a file: line and key where known, the reason, the nearest known key."""

    path: Path
    reason: str
    line: int | None = None
    key: str = ""
    nearest: str = ""
    severity: Severity = "error"

    @classmethod
    def of(cls, refusal: FileRefusal, severity: Severity = "error") -> Finding:
        """The finding that a refusal makes."""
        return cls(refusal.path, refusal.reason, refusal.line, refusal.key, refusal.nearest, severity)

    def __str__(self) -> str:
        place = printable(self.path) if self.line is None else f"{printable(self.path)}:{self.line}"
        mark = "warning: " if self.severity == "warning" else ""
        key = f"{printable(self.key, 120)}: " if self.key else ""
        nearest = f" (did you mean {printable(self.nearest)}?)" if self.nearest else ""
        return f"{place}: {mark}{key}{printable(self.reason)}{nearest}"

    def as_json(self) -> dict[str, Any]:
        """The finding as a dict of JSON values; every key is always there."""
        return {
            "file": printable(self.path, 4000),
            "line": self.line,
            "key": self.key,
            "reason": self.reason,
            "nearest_key": self.nearest,
            "severity": self.severity,
        }


@dataclass(frozen=True, slots=True)
class Subject:
    """A file that could be read as TOML, as a validator gets it."""

    path: Path
    text: str
    tables: dict[str, Any]

    def finding(
        self,
        reason: str,
        where: tuple[str | int, ...] = (),
        *,
        known: Iterable[str] = (),
        severity: Severity = "error",
    ) -> Finding:
        """A finding at the key ``where``, with its line and, from ``known``, the nearest known key."""
        key = dotted_key(where)
        last = next((part for part in reversed(where) if isinstance(part, str)), "")
        line = line_of_key(self.text, where) if where else None
        return Finding(self.path, reason, line, key, nearest_key(last, known), severity)


@dataclass(frozen=True, slots=True)
class Validator:
    """One kind of file: how to recognise it by path and tables, and what is wrong with it."""

    kind: str
    recognises: Callable[[Path, Mapping[str, Any]], bool]
    validate: Callable[[Subject], Iterable[Finding]]


@dataclass(frozen=True, slots=True)
class Report:
    """The outcome for all files: how many of each kind were checked, the findings, and paths that are not
    there."""

    checked: dict[str, int]
    findings: list[Finding]
    unusable: list[Finding]

    @property
    def exit_status(self) -> int:
        """0 all good (warnings included), 1 something is wrong in a file, 2 a path of the call is of no
        use."""
        if self.unusable:
            return CALL_WRONG
        return DATA_WRONG if any(each.severity == "error" for each in self.findings) else GOOD

    def lines(self) -> list[str]:
        """One line a finding, and a last line with the numbers."""
        counts = (
            ", ".join(
                f"{count} {'case' if (kind, count) == ('cases', 1) else kind}"
                for kind, count in sorted(self.checked.items())
            )
            or "nothing"
        )
        errors = sum(each.severity == "error" for each in self.findings) + len(self.unusable)
        warnings = len(self.findings) + len(self.unusable) - errors
        summary = f"checked: {counts}; {errors} wrong, {warnings} to look at"
        return [*(str(each) for each in (*self.unusable, *self.findings)), summary]

    def as_json(self, *, ensure_ascii: bool = False) -> str:
        """The report as JSON with a schema number of its own."""
        return json.dumps(
            {
                "schema": REPORT_SCHEMA,
                "checked": self.checked,
                "findings": [each.as_json() for each in (*self.unusable, *self.findings)],
                "exit_status": self.exit_status,
            },
            ensure_ascii=ensure_ascii,
            indent=2,
        )


def dotted_key(where: tuple[str | int, ...]) -> str:
    """``("visits", 0, "note")`` as ``visits[1].note``: people count from 1."""
    shown = ""
    for part in where:
        shown += f"[{part + 1}]" if isinstance(part, int) else f".{part}" if shown else part
    return shown


def nearest_key(key: str, known: Iterable[str]) -> str:
    """The known key that ``key`` was probably meant to be; "" when none is near."""
    near = get_close_matches(key, list(known), n=1, cutoff=0.6)
    return near[0] if near else ""


class Checker:
    """All registered validators, and the check over paths."""

    def __init__(self, *, fs: FileSystem = REAL) -> None:
        self._validators: list[Validator] = []
        self._fs = fs

    def register(self, validator: Validator) -> None:
        """Add a kind of file; the first that recognises a file checks it."""
        self._validators.append(validator)

    def check(self, paths: Iterable[Path]) -> Report:
        """Check every path; a folder stands for the TOML files in it and in its folders, hidden ones left
        out."""
        report = Report({}, [], [])
        for path in paths:
            try:
                is_folder = stat.S_ISDIR(self._fs.lstat(path).st_mode)
            except (OSError, ValueError) as error:
                reason = reason_of(error) if isinstance(error, OSError) else "no file can have this name"
                report.unusable.append(Finding(Path(printable(path)), reason))
                continue
            for each in self._files(path, report) if is_folder else (path,):
                kind, findings = self.check_file(each)
                report.checked[kind] = report.checked.get(kind, 0) + 1
                report.findings.extend(findings)
        return report

    def check_file(self, path: Path) -> tuple[str, list[Finding]]:
        """The kind of one file and what is wrong with it; "unreadable" and "unknown" are kinds too."""
        try:
            tables, text, _ = read_toml(path, fs=self._fs)
        except FileRefusal as error:
            return "unreadable", [Finding.of(error)]
        validator = next((each for each in self._validators if each.recognises(path, tables)), None)
        if validator is None:
            kinds = ", ".join(each.kind for each in self._validators)
            return "unknown", [Finding(path, f"this is none of the known kinds of file ({kinds})")]
        try:
            return validator.kind, list(validator.validate(Subject(path, text, tables)))
        except FileRefusal as error:
            return validator.kind, [Finding.of(error)]
        except AfocalError as error:
            return validator.kind, [Finding(path, str(error))]
        except (RecursionError, MemoryError):
            return validator.kind, [Finding(path, "too deep or too large to be checked")]

    def _files(self, folder: Path, report: Report) -> Iterator[Path]:
        waiting = [folder]
        while waiting:
            here = waiting.pop()
            try:
                entries = sorted(self._fs.scan(here), key=lambda entry: entry.name)
            except OSError as error:
                report.findings.append(Finding(here, reason_of(error)))
                continue
            for entry in entries:
                if entry.name.startswith("."):
                    continue
                with suppress(OSError):
                    if entry.is_dir(follow_symlinks=False):
                        waiting.append(here / entry.name)
                    elif entry.name.endswith(".toml"):
                        yield here / entry.name
