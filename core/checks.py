"""What is wrong in a case, stock or settings file, key by key: the validators behind ``afocal check``."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any

from .case_file import case_of, visit_data
from .errors import FileRefusal
from .fields import GOAL_FIELDS, by_path
from .settings import loads_settings
from .signing import verify
from .stock import loads_stock
from .store.check import Checker, Finding, Subject, Validator
from .store.toml import line_of_key

_TOLERANCE = 0.002  # a reading in a file is rounded to four places; a letter is 0.02


def register_all(checker: Checker) -> None:
    """Teach a checker the kinds of file that this package knows."""
    checker.register(
        Validator("cases", lambda path, tables: "visit" in tables or "code" in tables, check_case)
    )
    checker.register(
        Validator("stock", lambda path, tables: bool({"telescope", "cap"} & tables.keys()), check_stock)
    )
    checker.register(Validator("tasks", lambda path, tables: "task" in tables, check_tasks))
    checker.register(Validator("templates", _is_template, check_template))
    checker.register(Validator("settings", _is_settings, check_settings))


def _is_template(path: Path, tables: Mapping[str, Any]) -> bool:
    return "section" in tables


def _is_settings(path: Path, tables: Mapping[str, Any]) -> bool:
    from .settings import SETTING_KEYS

    return path.name == "settings.toml" or bool(SETTING_KEYS & tables.keys() - {"theme"})


def check_case(subject: Subject) -> Iterator[Finding]:
    """Unreadable values, unknown keys with the nearest known one, stale readings, altered signed content."""
    case = case_of(subject.tables, subject.path, subject.text)
    stem = subject.path.stem
    if stem != case.code:
        said = f"the file is named {stem}; copies under another name are listed as further cases of this code"
        yield subject.finding(said, ("code",), severity="warning")
    visits = subject.tables["visit"]
    for number, (visit, table) in enumerate(zip(case.visits, _listed(visits), strict=True)):
        where = ("visit", number)
        for path, finding in visit.findings.items():
            table_name, _, key = path.partition(".")
            if finding.problem:
                yield subject.finding(finding.problem, (*where, table_name, key))
        for index, goal in enumerate(visit.goals):
            for key, finding in goal.findings.items():
                if finding.problem:
                    yield subject.finding(finding.problem, (*where, "goal", index, key))
            yield from _unknown(subject, (*where, "goal", index), goal.extra, (f.path for f in GOAL_FIELDS))
        for key, value in visit.extra.items():
            fields = [field for field in by_path().values() if field.table == key]
            if fields and isinstance(value, Mapping):
                yield from _unknown(subject, (*where, key), value, (field.key for field in fields))
            else:
                tables = {field.table for field in by_path().values()}
                yield from _unknown(subject, where, {key: value}, tables)
        yield from _stale(subject, where, table, visit_data(visit))
        seal = verify(case, number)
        if seal.state == "changed":
            yield subject.finding(seal.sentence, (*where, "signature"))


def _listed(visits: Any) -> list[Mapping[str, Any]]:
    return [visits] if isinstance(visits, Mapping) else visits


def _unknown(
    subject: Subject, where: tuple[str | int, ...], extra: Mapping[str, Any], known: Iterable[str]
) -> Iterator[Finding]:
    names = tuple(known)
    for key in extra:
        yield subject.finding("unknown key, kept as it is", (*where, key), known=names, severity="warning")


def _stale(
    subject: Subject, where: tuple[str | int, ...], written: Mapping[str, Any], fresh: Mapping[str, Any]
) -> Iterator[Finding]:
    """Readings that no longer agree with the typed text beside them: somebody edited one and not the other."""
    for path, field in by_path().items():
        table = written.get(field.table)
        if not isinstance(table, Mapping) or field.key not in table:
            continue
        for key, value in fresh.get(field.table, {}).items():
            if (
                key.startswith(f"{field.key}_")
                and key in table
                and not _agrees(table[key], value)
                and _is_number(value)
            ):
                said = f"{table[key]!r} beside {table[field.key]!r}, which reads as {value:g}; the typed text counts"
                yield subject.finding(said, (*where, *path.split(".")[:1], key), severity="warning")


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _agrees(written: object, fresh: object) -> bool:
    if isinstance(written, int | float) and isinstance(fresh, int | float):
        return abs(written - fresh) <= max(_TOLERANCE, 1e-6 * abs(fresh))
    return written == fresh


def check_stock(subject: Subject) -> Iterator[Finding]:
    """Every entry that could not be used, by line and key."""
    yield from map(Finding.of, loads_stock(subject.text, subject.path)[1])


def check_settings(subject: Subject) -> Iterator[Finding]:
    """Every setting that does not count, by line and key."""
    yield from map(Finding.of, loads_settings(subject.text, subject.path)[1])


def check_tasks(subject: Subject) -> Iterator[Finding]:
    """Every task that could not be used, by key and, where it is written, by line."""
    from .goals import loads_tasks

    for problem in loads_tasks(subject.text, subject.path)[1]:
        where = _place(problem.key)
        line = problem.line or (line_of_key(subject.text, where) if where else None)
        yield Finding(subject.path, problem.reason, line, problem.key, problem.nearest)


def _place(key: str) -> tuple[str | int, ...]:
    """``task[2].width`` as the place that the search for lines understands."""
    parts: list[str | int] = []
    for word, number in re.findall(r"([^.\[\]]+)(?:\[(\d+)\])?", key):
        parts += [word, int(number) - 1] if number else [word]
    return tuple(parts)


def check_template(subject: Subject) -> Iterator[Finding]:
    """The first thing that keeps a template from being used: of a note or, by its name or its words, of the sheet."""
    from .documents import chart_note, handout

    makers = [chart_note.note_template, handout.handout_template]
    if _is_of_handout(subject):
        makers.reverse()
    try:
        makers[0](subject.text, subject.path)
    except FileRefusal as refusal:
        yield Finding.of(refusal)


def _is_of_handout(subject: Subject) -> bool:
    """By the file's name where it tells, else by conditions, which only the sheet knows."""
    name = subject.path.name
    if name.startswith(("note", "handout")):
        return name.startswith("handout")
    sections = subject.tables["section"]
    return isinstance(sections, list) and any(
        isinstance(each, Mapping) and "when" in each for each in sections
    )
