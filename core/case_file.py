"""The case as a TOML file, readable and repairable in a text editor.

Each field stands as typed (``distance_acuity = "20/100-2"``), with what it was read as beside it under keys that
carry the unit (``distance_acuity_logmar = 0.74``), and with ``distance_acuity_status`` when it was not measured at
this visit. The typed text is what counts: readings are made from it again when the file is opened, so whoever edits
a file by hand only needs the typed text. Unknown keys are kept and written back.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import asdict
from datetime import date
from functools import cache
from pathlib import Path
from typing import Any, cast

from .case import (
    SCHEMA,
    STATUSES,
    Addendum,
    Case,
    Caution,
    Finding,
    Goal,
    Signature,
    Status,
    StepResult,
    TrainingSession,
    Visit,
    VisitKind,
    read_or_problem,
)
from .configuration import CORRECTIONS, EYES, FOCUS_SETTINGS, MOUNTS, POSITIONS, Configuration
from .fields import VISIT_KINDS, Field, by_path, goal_by_key
from .store.migrate import Migrations
from .store.toml import parse_toml
from .toml_cursor import Cursor

CODE = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,63}")
_GOAL_ID = re.compile(r"[A-Za-z0-9_-]{1,32}")
CODE_HELP = "a patient code of letters, digits, dot, dash or underscore, such as KM-014"

# Keys of a visit that are not tables of fields.
_VISIT_KEYS = frozenset(
    (
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
)
# What may follow a field's key: the readings of every kind, and the status. Such keys are ours, not unknown.
_READINGS = frozenset(
    [
        *(
            "logmar",
            "category",
            "m_units",
            "distance_mm",
            "sphere_d",
            "cylinder_d",
            "axis_deg",
            "mm",
            "right_mm",
        ),
        *(
            "left_mm",
            "blur_prism",
            "break_prism",
            "recovery_prism",
            "height_mm",
            "d",
            "deg",
            "log_cs",
            "cd_m2",
        ),
        *("years", "percent", "deg_s", "characters", "x", "prism", "wpm", "status"),
    ]
)


# The steps from older schemas to the present one; each is a function registered here.
MIGRATIONS = Migrations("case", SCHEMA)


def written_with_older_schema(text: str) -> bool:
    """Whether a readable case text is of an older schema: its file is then kept for good before it is replaced."""
    found = re.search(r"^schema\s*=\s*(\d+)\s*$", text, re.MULTILINE)
    return found is not None and int(found[1]) < SCHEMA


def loads_case(text: str, path: str | Path = "case.toml") -> Case:
    """The case in a TOML text. Raises FileRefusal with line, key and reason when the text is not a case.

    A single field that cannot be read does not stop the rest: its finding keeps the text and the reason.
    """
    return case_of(parse_toml(Path(path), text), path, text)


def case_of(data: Mapping[str, Any], path: str | Path = "case.toml", text: str = "") -> Case:
    """The case in a parsed file."""
    file = Cursor(data, (), Path(path), text)
    schema = data.get("schema")
    if not isinstance(schema, int) or isinstance(schema, bool):
        raise file.refuse("schema", "a case file starts with schema = 1")
    if schema > SCHEMA:
        raise file.refuse(
            "schema", f"made by a newer version (schema {schema}; this one reads up to {SCHEMA})"
        )
    if schema < 1:
        raise file.refuse("schema", f"unknown schema {schema}; this version reads 1 to {SCHEMA}")
    if schema < SCHEMA:
        data = MIGRATIONS.bring_up(Path(path), dict(data)).tables
        file = Cursor(data, (), Path(path), text)
    code = file.word("code")
    if not CODE.fullmatch(code):
        raise file.refuse("code", f"{CODE_HELP} is needed")
    visits = file.list("visit")
    if not visits:
        raise file.refuse("visit", "at least one [[visit]] is needed")
    extra = {key: value for key, value in data.items() if key not in ("schema", "code", "visit")}
    return Case(code=code, schema_version=SCHEMA, visits=tuple(map(_visit, visits)), extra=extra)


@cache
def _tables() -> frozenset[str]:
    return frozenset(field.table for field in by_path().values())


def _visit(at: Cursor) -> Visit:
    findings: dict[str, Finding] = {}
    extra: dict[str, Any] = {}
    for key, value in at.table.items():
        if key in _tables() and isinstance(value, Mapping):
            unknown = _findings(at.inside(key), f"{key}.", by_path(), findings)
            if unknown:
                extra[key] = unknown
        elif key not in _VISIT_KEYS:
            extra[key] = value
    note = at.inside("note_taken")
    return Visit(
        on=at.day("date"),
        kind=cast(VisitKind, at.one_of("kind", VISIT_KINDS, "examination")),
        findings=findings,
        goals=_goals(at.list("goal")),
        choice=_choice(at.inside("choice")) if "choice" in at.table else None,
        choice_reason=at.inside("choice").word("reason"),
        promised=dict(at.inside("choice").inside("promised").table),
        steps={
            step.word("key"): StepResult(
                measured=step.word("measured"),
                note=step.word("note"),
                by=step.word("by"),
                at=step.moment("at"),
            )
            for step in at.list("step")
        },
        cautions={
            item.word("key"): Caution(
                given=item.yes("given"), understood=item.yes("understood"), at=item.moment("at")
            )
            for item in at.list("caution")
        },
        training=tuple(
            TrainingSession(
                on=item.day("date"),
                stage=item.word("stage"),
                minutes=item.number("minutes"),
                result=item.word("result"),
            )
            for item in at.list("training")
        ),
        notes=at.word("notes"),
        note_taken_at=note.moment("at"),
        note_digest=note.word("digest"),
        note_text=note.word("text"),
        signature=_signature(at.inside("signature")) if "signature" in at.table else None,
        addenda=tuple(
            Addendum(at=item.needed_moment("at"), by=item.word("by"), text=item.word("text"))
            for item in at.list("addendum")
        ),
        extra=extra,
    )


def _findings(
    at: Cursor, prefix: str, declared: Mapping[str, Field], found: dict[str, Finding]
) -> dict[str, Any]:
    """Read the fields of one table into ``found``; what is not ours is returned, to be kept."""
    unknown: dict[str, Any] = {}
    for key, value in at.table.items():
        field = declared.get(prefix + key)
        if field is None:
            if not _is_reading(key, prefix, declared, at.table):
                unknown[key] = value
            continue
        status = at.one_of(f"{key}_status", STATUSES, "measured")
        found[prefix + key] = read_or_problem(field, _typed(value, key, at), cast(Status, status))
    return unknown


def _is_reading(key: str, prefix: str, declared: Mapping[str, Field], table: Mapping[str, Any]) -> bool:
    """Whether a key is a reading or the status of a field that stands in the same table."""
    return any(
        key.startswith(f"{name}_") and key[len(name) + 1 :] in _READINGS and prefix + name in declared
        for name in table
    )


def _typed(value: Any, key: str, at: Cursor) -> str:
    """The typed text of a value: text as it is; a number, day or yes/no written plainly is accepted too."""
    if isinstance(value, str):
        return value
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int | float):
        return f"{value:.10g}"
    if isinstance(value, date):
        return value.isoformat()
    raise at.refuse(key, "text as typed by a clinician is expected here, in quotes")


def _goals(rows: tuple[Cursor, ...]) -> tuple[Goal, ...]:
    """The goals with their ids; one without an id of its own is named by its place, alike in every copy of the file."""
    goals: list[Goal] = []
    written = [str(at.table.get("id", "")) for at in rows]
    for number, at in enumerate(rows, 1):
        findings: dict[str, Finding] = {}
        extra = _findings(at, "", goal_by_key(), findings)
        extra.pop("id", None)
        name = written[number - 1]
        if not _GOAL_ID.fullmatch(name) or name in written[: number - 1]:
            name = f"g{number}"
            while name in written or any(name == goal.id for goal in goals):
                name += "x"
        goals.append(Goal(id=name, findings=findings, extra=extra))
    return tuple(goals)


def _choice(at: Cursor) -> Configuration:
    return Configuration(
        telescope=at.word("telescope"),
        eye=at.one_of("eye", EYES),  # type: ignore[arg-type]
        position=at.one_of("position", POSITIONS),  # type: ignore[arg-type]
        mount=at.one_of("mount", MOUNTS),  # type: ignore[arg-type]
        cap=at.word("cap"),
        filter=at.word("filter"),
        correction=at.one_of("correction", CORRECTIONS, "carrier"),  # type: ignore[arg-type]
        focus=at.one_of("focus", FOCUS_SETTINGS, "infinity"),  # type: ignore[arg-type]
        spread_mm=at.number("spread_mm") or 0.0,
    )


def _signature(at: Cursor) -> Signature:
    return Signature(signer=at.word("signer"), at=at.needed_moment("at"), digest=at.word("digest"))


def dumps_case(case: Case) -> str:
    """The case as TOML text. Reading it again gives an equal case."""
    import tomli_w

    return tomli_w.dumps(case_data(case), multiline_strings=True)


def case_data(case: Case, *, readings: bool = True) -> dict[str, Any]:
    """The case as the dictionary that is written to its file; without ``readings`` only what counts: what was typed."""
    return {
        "schema": case.schema_version,
        "code": case.code,
        **case.extra,
        "visit": [visit_data(visit, readings=readings) for visit in case.visits],
    }


def visit_data(visit: Visit, *, readings: bool = True) -> dict[str, Any]:
    """One visit as it stands in the file."""
    data: dict[str, Any] = {"date": visit.on, "kind": visit.kind}
    if visit.notes:
        data["notes"] = visit.notes
    data.update({key: value for key, value in visit.extra.items() if not isinstance(value, Mapping)})
    for path, field in by_path().items():
        if path in visit.findings:
            data.setdefault(field.table, {}).update(
                _finding_data(field.key, field, visit.findings[path], readings)
            )
    for key, value in visit.extra.items():
        if isinstance(value, Mapping):
            data.setdefault(key, {}).update(value)
    if visit.choice is not None:
        data["choice"] = {key: value for key, value in asdict(visit.choice).items() if value not in ("", 0.0)}
        if visit.choice_reason:
            data["choice"]["reason"] = visit.choice_reason
        if visit.promised:
            data["choice"]["promised"] = dict(visit.promised)
    if visit.note_taken_at is not None:
        data["note_taken"] = _given(
            {"at": visit.note_taken_at, "digest": visit.note_digest, "text": visit.note_text}
        )
    if visit.signature is not None:
        data["signature"] = asdict(visit.signature)
    lists = {
        "goal": [_goal_data(goal, readings) for goal in visit.goals],
        "step": [{"key": key, **_given(asdict(step))} for key, step in visit.steps.items()],
        "caution": [{"key": key, **_given(asdict(item))} for key, item in visit.cautions.items()],
        "training": [
            _given(
                {
                    "date": each.on,
                    "stage": each.stage,
                    "minutes": None if each.minutes is None else float(each.minutes),
                    "result": each.result,
                }
            )
            for each in visit.training
        ],
        "addendum": [asdict(addendum) for addendum in visit.addenda],
    }
    data.update({key: rows for key, rows in lists.items() if rows})
    return data


def _goal_data(goal: Goal, readings: bool) -> dict[str, Any]:
    data: dict[str, Any] = {"id": goal.id} if goal.id else {}
    for key, field in goal_by_key().items():
        if key in goal.findings:
            data.update(_finding_data(key, field, goal.findings[key], readings))
    return {**data, **goal.extra}


def _finding_data(key: str, field: Field, finding: Finding, readings: bool) -> dict[str, Any]:
    data: dict[str, Any] = {key: finding.typed}
    if readings and finding.value is not None:
        parts = field.kind.parts(finding.value)  # type: ignore[arg-type]
        data.update({f"{key}_{suffix}": value for suffix, value in parts.items()})
    if finding.status != "measured":
        data[f"{key}_status"] = finding.status
    return data


def _given(data: dict[str, Any]) -> dict[str, Any]:
    return {key: value for key, value in data.items() if value not in (None, "", False)}
