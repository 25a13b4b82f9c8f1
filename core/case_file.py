"""The case as a TOML file, readable and repairable in a text editor.

Each field stands as typed (``distance_acuity = "20/100-2"``), with what it was read as beside it under keys that
carry the unit (``distance_acuity_logmar = 0.74``), and with ``distance_acuity_status`` when it was not measured at
this visit. The typed text is what counts: readings are made from it again when the file is opened, so a
file edited by hand only needs the typed text. Unknown keys are kept and written back.
"""

from __future__ import annotations

import difflib
import re
import tomllib
from collections.abc import Callable, Iterator, Mapping
from dataclasses import asdict
from datetime import date, datetime
from pathlib import Path
from typing import Any

from .case import (
    SCHEMA,
    STATUSES,
    Addendum,
    Case,
    Caution,
    Finding,
    Goal,
    Signature,
    StepResult,
    TrainingSession,
    Visit,
    VisitKind,
    read_or_problem,
)
from .configuration import CORRECTIONS, EYES, FOCUS_SETTINGS, MOUNTS, POSITIONS, Configuration
from .errors import FileRefusal
from .fields import VISIT_KINDS, Field, by_path, goal_by_key

CODE = re.compile(r"^[A-Za-z0-9][A-Za-z0-9._-]{0,63}$")
# Suffixes that readings may carry; a key that is a field's key plus one of these is ours, not unknown.
_READING_SUFFIXES = (
    "logmar",
    "category",
    "m_units",
    "distance_mm",
    "sphere_d",
    "cylinder_d",
    "axis_deg",
    "mm",
    "right_mm",
    "left_mm",
    "blur_prism",
    "break_prism",
    "recovery_prism",
    "height_mm",
    "d",
    "deg",
    "log_cs",
    "cd_m2",
    "years",
    "percent",
    "deg_s",
    "minutes",
    "characters",
    "x",
    "value",
    "prism",
    "wpm",
    "status",
)


class _Place:
    """Where a reader stands in a file, so that a refusal can name the key; lines are found when one is needed."""

    def __init__(self, path: str | Path, text: str) -> None:
        self.path, self.text = path, text

    def refuse(self, key: str, reason: str, nearest: str = "") -> FileRefusal:
        return FileRefusal(self.path, reason, line=self.line_of(key), key=key, nearest=nearest)

    def line_of(self, key: str) -> int | None:
        last = re.escape(key.rpartition(".")[2].partition("[")[0])
        for number, line in enumerate(self.text.splitlines(), 1):
            if re.match(rf"\s*(\[+[^\]]*\b{last}\b|\"?{last}\"?\s*=)", line):
                return number
        return None


def loads_case(text: str, path: str | Path = "case.toml") -> Case:
    """The case in a TOML text. Raises FileRefusal with line, key and reason when the structure is not a case."""
    try:
        data = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError, ValueError) as error:
        found = re.search(r"line (\d+)", str(error))
        raise FileRefusal(
            path, f"not readable as TOML: {error}", line=int(found[1]) if found else None
        ) from None
    return case_of(data, path, text)


def case_of(data: Mapping[str, Any], path: str | Path = "case.toml", text: str = "") -> Case:
    """The case in a parsed file."""
    place = _Place(path, text)
    schema = data.get("schema")
    if not isinstance(schema, int) or isinstance(schema, bool):
        raise place.refuse("schema", "a case file starts with schema = 1")
    if schema > SCHEMA:
        raise place.refuse(
            "schema", f"made by a newer version (schema {schema}; this one reads up to {SCHEMA})"
        )
    if schema < 1:
        raise place.refuse("schema", f"unknown schema {schema}; this version reads 1")
    code = data.get("code")
    if not isinstance(code, str) or not CODE.match(code):
        raise place.refuse(
            "code", "a patient code of letters, digits, dot, dash or underscore is needed, such as KM-014"
        )
    visits = data.get("visit")
    if isinstance(visits, Mapping):
        visits = [visits]
    if not isinstance(visits, list) or not visits or not all(isinstance(v, Mapping) for v in visits):
        raise place.refuse("visit", "at least one [[visit]] is needed")
    read = tuple(_visit(visit, f"visit[{n}]", place) for n, visit in enumerate(visits, 1))
    extra = {key: value for key, value in data.items() if key not in ("schema", "code", "visit")}
    return Case(code=code, schema_version=schema, visits=read, extra=extra)


_VISIT_KEYS = (
    "date",
    "kind",
    "notes",
    "goal",
    "choice",
    "step",
    "caution",
    "training",
    "note_taken",
    "signature",
    "addendum",
)


def _visit(data: Mapping[str, Any], where: str, place: _Place) -> Visit:
    kind = data.get("kind", "examination")
    if kind not in VISIT_KINDS:
        raise place.refuse(
            f"{where}.kind", f"{kind!r} is not one of {', '.join(VISIT_KINDS)}", _near(kind, VISIT_KINDS)
        )
    findings: dict[str, Finding] = {}
    extra: dict[str, Any] = {}
    tables = {field.table for field in by_path().values()}
    for key, value in data.items():
        if key in _VISIT_KEYS:
            continue
        if key in tables and isinstance(value, Mapping):
            unknown = _findings(value, f"{key}.", by_path(), findings, f"{where}.{key}", place)
            if unknown:
                extra[key] = unknown
        else:
            extra[key] = value
    choice = _choice(data["choice"], f"{where}.choice", place) if "choice" in data else None
    note = _table(data, "note_taken", where, place)
    return Visit(
        on=_day(data.get("date"), f"{where}.date", place),
        kind=kind,
        findings=findings,
        goals=tuple(
            _goal(goal, f"{where}.goal[{n}]", place)
            for n, goal in enumerate(_tables(data, "goal", where, place), 1)
        ),
        choice=choice,
        choice_reason=_word(_table(data, "choice", where, place), "reason", f"{where}.choice", place),
        steps={
            _word(step, "key", f"{where}.step", place): StepResult(
                measured=_word(step, "measured", f"{where}.step", place),
                note=_word(step, "note", f"{where}.step", place),
                by=_word(step, "by", f"{where}.step", place),
                at=_moment(step.get("at"), f"{where}.step.at", place),
            )
            for step in _tables(data, "step", where, place)
        },
        cautions={
            _word(item, "key", f"{where}.caution", place): Caution(
                given=_yes(item, "given", f"{where}.caution", place),
                understood=_yes(item, "understood", f"{where}.caution", place),
                at=_moment(item.get("at"), f"{where}.caution.at", place),
            )
            for item in _tables(data, "caution", where, place)
        },
        training=tuple(
            TrainingSession(
                on=_day(item.get("date"), f"{where}.training.date", place),
                stage=_word(item, "stage", f"{where}.training", place),
                minutes=_number(item, "minutes", f"{where}.training", place),
                result=_word(item, "result", f"{where}.training", place),
            )
            for item in _tables(data, "training", where, place)
        ),
        notes=_word(data, "notes", where, place),
        note_taken_at=_moment(note.get("at"), f"{where}.note_taken.at", place),
        note_digest=_word(note, "digest", f"{where}.note_taken", place),
        signature=_signature(data, where, place),
        addenda=tuple(
            Addendum(
                at=_moment(item.get("at"), f"{where}.addendum.at", place, needed=True),
                by=_word(item, "by", f"{where}.addendum", place),
                text=_word(item, "text", f"{where}.addendum", place),
            )
            for item in _tables(data, "addendum", where, place)
        ),
        extra=extra,
    )


def _findings(
    table: Mapping[str, Any],
    prefix: str,
    declared: Mapping[str, Field],
    found: dict[str, Finding],
    where: str,
    place: _Place,
) -> dict[str, Any]:
    """Read the fields of one table into ``found``; what is not ours is returned, to be kept."""
    unknown: dict[str, Any] = {}
    for key, value in table.items():
        field = declared.get(prefix + key)
        if field is None:
            base = next(
                (
                    key[: -len(s) - 1]
                    for s in _READING_SUFFIXES
                    if key.endswith(f"_{s}")
                    and prefix + key[: -len(s) - 1] in declared
                    and key[: -len(s) - 1] in table
                ),
                None,
            )
            if base is None:
                unknown[key] = value
            continue
        status = table.get(f"{key}_status", "measured")
        if status not in STATUSES:
            raise place.refuse(
                f"{where}.{key}_status",
                f"{status!r} is not one of {', '.join(STATUSES)}",
                _near(status, STATUSES),
            )
        found[prefix + key] = read_or_problem(field, _typed(value, f"{where}.{key}", place), status)
    return unknown


def _typed(value: Any, where: str, place: _Place) -> str:
    """The typed text of a value: text as it is; a number, day or yes/no written plainly is accepted too."""
    if isinstance(value, str):
        return value
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int | float):
        return f"{value:.10g}"
    if isinstance(value, date):
        return value.isoformat()
    raise place.refuse(where, "text as typed by a clinician is expected here, in quotes")


def _goal(data: Mapping[str, Any], where: str, place: _Place) -> Goal:
    findings: dict[str, Finding] = {}
    extra = _findings(data, "", goal_by_key(), findings, where, place)
    return Goal(findings=findings, extra=extra)


def _choice(data: Any, where: str, place: _Place) -> Configuration:
    if not isinstance(data, Mapping):
        raise place.refuse(where, "a table is expected here")
    allowed = {
        "eye": EYES,
        "position": POSITIONS,
        "mount": MOUNTS,
        "correction": CORRECTIONS,
        "focus": FOCUS_SETTINGS,
    }
    values: dict[str, Any] = {"telescope": _word(data, "telescope", where, place)}
    for key, options in allowed.items():
        value = data.get(key, "carrier" if key == "correction" else "infinity" if key == "focus" else None)
        if value not in options:
            raise place.refuse(
                f"{where}.{key}", f"{value!r} is not one of {', '.join(options)}", _near(value, options)
            )
        values[key] = value
    return Configuration(
        **values,
        cap=_word(data, "cap", where, place),
        filter=_word(data, "filter", where, place),
        spread_mm=_number(data, "spread_mm", where, place) or 0.0,
    )


def _signature(data: Mapping[str, Any], where: str, place: _Place) -> Signature | None:
    if "signature" not in data:
        return None
    table = _table(data, "signature", where, place)
    return Signature(
        signer=_word(table, "signer", f"{where}.signature", place),
        at=_moment(table.get("at"), f"{where}.signature.at", place, needed=True),
        digest=_word(table, "digest", f"{where}.signature", place),
    )


def _near(word: Any, options: tuple[str, ...]) -> str:
    close = difflib.get_close_matches(str(word), options, 1)
    return close[0] if close else ""


def _word(table: Mapping[str, Any], key: str, where: str, place: _Place) -> str:
    value = table.get(key, "")
    if not isinstance(value, str):
        raise place.refuse(f"{where}.{key}", "text in quotes is expected here")
    return value


def _yes(table: Mapping[str, Any], key: str, where: str, place: _Place) -> bool:
    value = table.get(key, False)
    if not isinstance(value, bool):
        raise place.refuse(f"{where}.{key}", "true or false is expected here")
    return value


def _number(table: Mapping[str, Any], key: str, where: str, place: _Place) -> float | None:
    value = table.get(key)
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) < 1e6:
        raise place.refuse(f"{where}.{key}", "a number is expected here")
    return float(value)


def _tables(data: Mapping[str, Any], key: str, where: str, place: _Place) -> list[Mapping[str, Any]]:
    value = data.get(key, [])
    if isinstance(value, Mapping):
        value = [value]
    if not isinstance(value, list) or not all(isinstance(item, Mapping) for item in value):
        raise place.refuse(f"{where}.{key}", f"tables are expected here: [[visit.{key}]]")
    return value


def _table(data: Mapping[str, Any], key: str, where: str, place: _Place) -> Mapping[str, Any]:
    value = data.get(key, {})
    if not isinstance(value, Mapping):
        raise place.refuse(f"{where}.{key}", f"a table is expected here: [visit.{key}]")
    return value


def _day(value: Any, where: str, place: _Place) -> date:
    if isinstance(value, str):
        try:
            value = date.fromisoformat(value)
        except ValueError:
            value = None
    if isinstance(value, datetime):
        value = value.date()
    if not isinstance(value, date):
        raise place.refuse(where, "a date such as 2026-11-25 is expected here")
    return value


def _moment(value: Any, where: str, place: _Place, *, needed: bool = False) -> Any:
    if value is None and not needed:
        return None
    if isinstance(value, str):
        try:
            value = datetime.fromisoformat(value)
        except ValueError:
            value = None
    if not isinstance(value, datetime):
        raise place.refuse(where, "a moment such as 2026-11-25T14:05:00 is expected here")
    return value


def dumps_case(case: Case) -> str:
    """The case as TOML text. Reading it again gives an equal case."""
    import tomli_w

    return tomli_w.dumps(case_data(case), multiline_strings=True)


def case_data(case: Case) -> dict[str, Any]:
    """The case as the dictionary that is written to its file."""
    return {
        "schema": case.schema_version,
        "code": case.code,
        **case.extra,
        "visit": [visit_data(visit) for visit in case.visits],
    }


def visit_data(visit: Visit) -> dict[str, Any]:
    """One visit as it stands in the file; what a signature is taken over, less the signature and addenda."""
    data: dict[str, Any] = {"date": visit.on, "kind": visit.kind}
    if visit.notes:
        data["notes"] = visit.notes
    data.update({key: value for key, value in visit.extra.items() if not isinstance(value, Mapping)})
    for path, field in by_path().items():
        if path in visit.findings:
            data.setdefault(field.table, {}).update(_finding_data(field.key, field, visit.findings[path]))
    for key, value in visit.extra.items():
        if isinstance(value, Mapping):
            data.setdefault(key, {}).update(value)
    if visit.goals:
        data["goal"] = [_goal_data(goal) for goal in visit.goals]
    if visit.choice is not None:
        data["choice"] = {key: value for key, value in asdict(visit.choice).items() if value not in ("", 0.0)}
        if visit.choice_reason:
            data["choice"]["reason"] = visit.choice_reason
    if visit.steps:
        data["step"] = [{"key": key, **_given(step.model_dump())} for key, step in visit.steps.items()]
    if visit.cautions:
        data["caution"] = [{"key": key, **_given(item.model_dump())} for key, item in visit.cautions.items()]
    if visit.training:
        data["training"] = [
            _given({"date": s.on, "stage": s.stage, "minutes": s.minutes, "result": s.result})
            for s in visit.training
        ]
    if visit.note_taken_at is not None:
        data["note_taken"] = {"at": visit.note_taken_at, "digest": visit.note_digest}
    if visit.signature is not None:
        data["signature"] = visit.signature.model_dump()
    if visit.addenda:
        data["addendum"] = [addendum.model_dump() for addendum in visit.addenda]
    return data


def _goal_data(goal: Goal) -> dict[str, Any]:
    data: dict[str, Any] = {}
    for key, field in goal_by_key().items():
        if key in goal.findings:
            data.update(_finding_data(key, field, goal.findings[key]))
    return {**data, **goal.extra}


def _finding_data(key: str, field: Field, finding: Finding) -> Iterator[tuple[str, Any]] | dict[str, Any]:
    data: dict[str, Any] = {key: finding.typed}
    if finding.value is not None:
        parts: Callable[[Any], Mapping[str, Any]] = field.kind.parts  # type: ignore[assignment]
        data.update({f"{key}_{suffix}": value for suffix, value in parts(finding.value).items()})
    if finding.status != "measured":
        data[f"{key}_status"] = finding.status
    return data


def _given(data: dict[str, Any]) -> dict[str, Any]:
    return {key: value for key, value in data.items() if value not in (None, "", False)}
