"""The tables of the case list's index, and how a header becomes a row.

The index is derived from the case files and holds nothing else: another number in ``VERSION`` throws it away
and it is made again. A header is a plain dict with the keys of ``HEADER_COLUMNS``, under ``outcomes`` a list of dicts
with the keys of ``OUTCOME_COLUMNS``, and under ``figures`` what it adds to a look back; what is missing stays empty.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime
from typing import Any, NamedTuple

from ..printable import printable
from .figures import FIGURES_TABLE

VERSION = 3

HEADER_COLUMNS = (
    "code",
    "birth_year",
    "last_visit",
    "kind",
    "goals",
    "device",
    "next_step",
    "next_date",
    "signed",
)
# One row a goal and visit, what a look back over the clinic's own cases needs without opening a file.
OUTCOME_COLUMNS = (
    "visit_date",
    "eye",
    "goal",
    "goal_kind",
    "device",
    "promised_logmar",
    "measured_logmar",
    "repeat_logmar",
    "promised_wpm",
    "measured_wpm",
    "outcome",
    "reason",
    "signed",
)
_NUMBERS = {
    "birth_year",
    "signed",
    "promised_logmar",
    "measured_logmar",
    "repeat_logmar",
    "promised_wpm",
    "measured_wpm",
}
STAT_COLUMNS = ("name", "mtime_ns", "ctime_ns", "size")
FILE_COLUMNS = (*STAT_COLUMNS, *HEADER_COLUMNS, "problem", "line", "haystack")
ROW_COLUMNS = ("name", *HEADER_COLUMNS, "problem", "line", "note")

# What the list can be sorted by: an index each, so that the first page never looks at all rows.
SORTS = {
    "code": "code",
    "last_visit": "last_visit",
    "next_date": "next_date",
    "kind": "kind",
    "device": "device",
    "problem": "problem",
}

_OUTCOMES = ",\n".join(f"    {name} {'REAL' if name in _NUMBERS else 'TEXT'}" for name in OUTCOME_COLUMNS)
SCHEMA = f"""
CREATE TABLE files (
    name TEXT PRIMARY KEY,
    mtime_ns INTEGER NOT NULL,
    ctime_ns INTEGER NOT NULL,
    size INTEGER NOT NULL,
    code TEXT NOT NULL DEFAULT '',
    birth_year INTEGER,
    last_visit TEXT NOT NULL DEFAULT '',
    kind TEXT NOT NULL DEFAULT '',
    goals TEXT NOT NULL DEFAULT '',
    device TEXT NOT NULL DEFAULT '',
    next_step TEXT NOT NULL DEFAULT '',
    next_date TEXT NOT NULL DEFAULT '',
    signed INTEGER NOT NULL DEFAULT 0,
    problem TEXT NOT NULL DEFAULT '',
    line INTEGER,
    note TEXT NOT NULL DEFAULT '',
    haystack TEXT NOT NULL DEFAULT ''
);
CREATE TABLE outcomes (
    name TEXT NOT NULL REFERENCES files(name) ON DELETE CASCADE,
{_OUTCOMES}
);
CREATE INDEX outcomes_by_name ON outcomes(name);
{FIGURES_TABLE}CREATE TABLE totals (cases INTEGER NOT NULL, changes INTEGER NOT NULL);
INSERT INTO totals VALUES (0, 0);
CREATE TABLE kept (name TEXT PRIMARY KEY, changes INTEGER NOT NULL, value TEXT NOT NULL);
CREATE TRIGGER outcome_came AFTER INSERT ON outcomes BEGIN UPDATE totals SET changes = changes + 1; END;
CREATE TRIGGER outcome_went AFTER DELETE ON outcomes BEGIN UPDATE totals SET changes = changes + 1; END;
CREATE TRIGGER one_more AFTER INSERT ON files BEGIN UPDATE totals SET cases = cases + 1; END;
CREATE TRIGGER one_less AFTER DELETE ON files BEGIN UPDATE totals SET cases = cases - 1; END;
""" + "".join(f"CREATE INDEX files_by_{column} ON files({column}, name);\n" for column in SORTS.values())

_UPDATED = ", ".join(f"{name} = excluded.{name}" for name in FILE_COLUMNS[1:])
UPSERT = (
    f"INSERT INTO files ({', '.join(FILE_COLUMNS)}) VALUES ({', '.join('?' * len(FILE_COLUMNS))}) "
    f"ON CONFLICT(name) DO UPDATE SET {_UPDATED}, note = ''"
)
INSERT_OUTCOME = (
    f"INSERT INTO outcomes (name, {', '.join(OUTCOME_COLUMNS)}) VALUES (?{', ?' * len(OUTCOME_COLUMNS)})"
)
# The same code in two files is what a synchroniser leaves when two rooms wrote apart from each other.
MARK_DUPLICATES = """
UPDATE files SET note = CASE WHEN code <> '' AND code IN
    (SELECT code FROM files WHERE code <> '' AND problem = '' GROUP BY code HAVING count(*) > 1)
    AND problem = '' THEN 'another file has this code too: compare them' ELSE '' END
WHERE note <> '' OR code IN
    (SELECT code FROM files WHERE code <> '' AND problem = '' GROUP BY code HAVING count(*) > 1)
"""


class ListRow(NamedTuple):
    """One line of the case list. ``problem`` says why a file is damaged, ``note`` what else is to be
    looked at.

    Dates are ISO text, "" when unknown; ``name`` is the file name in the case folder.
    """

    name: str
    code: str
    birth_year: int | None
    last_visit: str
    kind: str
    goals: str
    device: str
    next_step: str
    next_date: str
    signed: bool
    problem: str
    line: int | None
    note: str


class FileState(NamedTuple):
    """What tells whether a file changed: name, modification and status-change time in ns, size in bytes."""

    name: str
    mtime_ns: int
    ctime_ns: int
    size: int


def file_row(state: FileState, header: Mapping[str, Any], problem: str, line: int | None) -> tuple[Any, ...]:
    """The values of ``FILE_COLUMNS`` for one file."""
    shown = {name: _plain(name, header.get(name)) for name in HEADER_COLUMNS}
    shown["code"] = shown["code"] or printable(state.name.rsplit(".", 1)[0])
    shown["signed"] = int(bool(shown["signed"]))
    words = (str(shown[name]) for name in HEADER_COLUMNS if name != "signed" and shown[name] is not None)
    haystack = " ".join((*words, printable(problem))).casefold()
    values = tuple(shown[name] for name in HEADER_COLUMNS)
    return (
        state.name,
        state.mtime_ns,
        state.ctime_ns,
        state.size,
        *values,
        printable(problem),
        line,
        haystack,
    )


def outcome_rows(name: str, header: Mapping[str, Any]) -> list[tuple[Any, ...]]:
    """The values for ``INSERT_OUTCOME``, one tuple an outcome."""
    outcomes = header.get("outcomes") or []
    return [(name, *(_plain(key, each.get(key)) for key in OUTCOME_COLUMNS)) for each in outcomes]


def list_row(values: tuple[Any, ...]) -> ListRow:
    """A row of the list from the values of ``ROW_COLUMNS``."""
    named: dict[str, Any] = dict(zip(ROW_COLUMNS, values, strict=True))
    named["signed"] = bool(named["signed"])
    return ListRow(**named)


def _plain(name: str, value: Any) -> Any:
    if name in _NUMBERS:
        return value if isinstance(value, (int, float)) else None
    if value is None:
        return ""
    if isinstance(value, (date, datetime)):
        return value.isoformat()
    if isinstance(value, (list, tuple)):
        return "; ".join(printable(each) for each in value)
    return printable(value)
