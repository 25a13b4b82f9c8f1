"""Visits and outcomes as tables (CSV, JSON Lines) for audit elsewhere, with a data dictionary.

De-identified unless asked otherwise: no code (or a keyed hash that links rows within one export), months for days,
ten-year bands for years of birth, no free text. Text cells that a spreadsheet would run as a formula are defused.
"""

from __future__ import annotations

import csv
import hmac
import io
import json
import secrets
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from hashlib import sha256
from typing import Any, Literal

from ..acuity import Acuity, OffChart
from ..case import Case, Visit
from ..errors import Refusal
from ..look_back import OUTCOME_WORDS, words_of
from ..print_size import NearPrint
from ..refraction import Refraction
from .text import clean

Format = Literal["csv", "jsonl"]
FORMATS: tuple[Format, ...] = ("csv", "jsonl")
Codes = Literal["hashed", "dropped", "kept"]
Cell = str | float | int | bool | None


@dataclass(frozen=True, slots=True)
class Privacy:
    """How much of a person a table tells. The default tells as little as serves an audit.

    ``key`` makes the hashes: left alone it is new for every export and kept nowhere, so that nobody, the clinic
    included, can go back from a hash to a code by trying all codes. ``full_days`` keeps days instead of months,
    ``free_text`` keeps words that people typed.
    """

    codes: Codes = "hashed"
    full_days: bool = False
    birth_years: bool = False
    free_text: bool = False
    key: bytes = field(default_factory=lambda: secrets.token_bytes(32), repr=False)

    def person(self, code: str) -> str:
        """What stands for the patient code."""
        if self.codes == "kept":
            return clean(code)
        return "" if self.codes == "dropped" else hmac.new(self.key, code.encode(), sha256).hexdigest()[:16]

    def day(self, iso_day: str) -> str:
        """The day, or its month."""
        return iso_day if self.full_days else iso_day[:7]

    def born(self, year: float | None) -> str:
        """The year of birth, or its ten years such as ``1950-1959``."""
        if year is None:
            return ""
        whole = int(year)
        return str(whole) if self.birth_years else f"{whole - whole % 10}-{whole - whole % 10 + 9}"

    def words(self, text: str) -> str:
        """Typed words, or nothing."""
        return clean(text) if self.free_text else ""


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a table: what it holds, its kind and unit; ``values`` lists the words of a closed set."""

    name: str
    meaning: str
    kind: Literal["text", "number", "yes or no"] = "text"
    unit: str = ""
    values: tuple[str, ...] = ()


_YES_NO: Literal["yes or no"] = "yes or no"


def _numbers(rows: Iterable[tuple[str, str, str]]) -> tuple[Column, ...]:
    return tuple(Column(name, meaning, "number", unit) for name, meaning, unit in rows)


_EYE_COLUMNS = tuple(
    column
    for side, words in (("right", "right eye"), ("left", "left eye"))
    for column in (
        *_numbers(
            (
                (f"{side}_distance_acuity_logmar", f"best corrected distance acuity, {words}", "logMAR"),
                (f"{side}_near_print_m_units", f"smallest print read, {words}", "M"),
                (f"{side}_near_distance_mm", f"distance of that print, {words}", "mm"),
                (f"{side}_sphere_d", f"sphere of the refraction as typed, {words}", "D"),
                (f"{side}_cylinder_d", f"cylinder of it, {words}", "D"),
                (f"{side}_axis_deg", f"axis of it, {words}", "deg"),
                (f"{side}_contrast_log_cs", f"letter contrast sensitivity, {words}", "logCS"),
                (f"{side}_pupil_mm", f"pupil in the room, {words}", "mm"),
            )
        ),
        Column(
            f"{side}_off_chart",
            f"category below the letter chart, {words}",
            values=("CF", "HM", "LP", "NLP"),
        ),
    )
)
VISIT_COLUMNS: tuple[Column, ...] = (
    Column("person", "keyed hash of the patient code, the code itself, or empty, as chosen at export"),
    Column("born", "year of birth, by tens unless asked otherwise"),
    Column("visit_date", "year and month of the visit, the day when asked for"),
    Column("visit_number", "first visit 1, and so on", "number"),
    Column("kind", "kind of visit", values=("examination", "fitting", "follow-up")),
    Column("signed", "whether the visit was signed", _YES_NO),
    Column("goals", "how many goals were recorded", "number"),
    *_EYE_COLUMNS,
    *_numbers(
        (("both_distance_acuity_logmar", "best corrected distance acuity, both eyes together", "logMAR"),)
    ),
    Column("fusion", "fusion shown", _YES_NO),
    Column("device", "stock id of the chosen telescope"),
    Column("eye", "eye that it is for", values=("right", "left", "both")),
    Column("position", "position", values=("bioptic", "full diameter", "low")),
    Column("mount", "mount", values=("through the lens", "in front", "flip-up", "clip-on")),
    Column("cap", "stock id of the reading cap, empty for none"),
    *_numbers(
        (
            ("through_right_logmar", "acuity through the device tried, right eye", "logMAR"),
            ("through_left_logmar", "acuity through the device tried, left eye", "logMAR"),
            ("through_both_logmar", "acuity through the device tried, both eyes", "logMAR"),
            ("training_sessions", "training sessions at this visit", ""),
        )
    ),
    Column("use", "how often it is worn", values=("daily", "weekly", "rarely", "never")),
    Column("device_outcome", "what happens to the device", values=("kept", "changed", "returned")),
    Column("goal_met", "the first goal", values=("yes", "partly", "no")),
    Column("diagnosis", "eye condition as typed; only with free text"),
    Column("problems", "problems as typed; only with free text"),
    Column("reason", "why changed or returned, as typed; only with free text"),
)
OUTCOME_COLUMNS: tuple[Column, ...] = (
    Column("person", "keyed hash of the patient code, the code itself, or empty, as chosen at export"),
    Column("visit_date", "year and month of the visit, the day when asked for"),
    Column("eye", "eye that the numbers are of", values=("right", "left", "both")),
    Column("goal_kind", "range of the goal", values=("distance", "intermediate", "near")),
    Column("device", "stock id of the telescope"),
    *_numbers(
        (
            ("promised_logmar", "acuity that the plan promised", "logMAR"),
            ("measured_logmar", "acuity measured through the device", "logMAR"),
            ("repeat_logmar", "the same measured again at this visit", "logMAR"),
            ("promised_wpm", "reading speed promised", "words a minute"),
            ("measured_wpm", "reading speed measured", "words a minute"),
        )
    ),
    Column("outcome", "what became of it, parted by '; '", values=OUTCOME_WORDS),
    Column("signed", "whether the visit was signed", _YES_NO),
    Column("goal", "the goal as typed; only with free text"),
    Column("reason", "why changed or returned, as typed; only with free text"),
)
TABLES: Mapping[str, tuple[Column, ...]] = {"visits": VISIT_COLUMNS, "outcomes": OUTCOME_COLUMNS}


def visit_rows(cases: Iterable[Case], privacy: Privacy | None = None) -> Iterator[dict[str, Cell]]:
    """One row a visit, with the keys of VISIT_COLUMNS; cases are taken one at a time."""
    shown = privacy or Privacy()
    for case in cases:
        born = next(
            (v for visit in reversed(case.visits) if (v := visit.value("person.birth_year")) is not None),
            None,
        )
        for number, visit in enumerate(case.visits, 1):
            row = _visit_row(visit, shown)
            row |= {"person": shown.person(case.code), "born": shown.born(born), "visit_number": number}
            yield {column.name: row.get(column.name) for column in VISIT_COLUMNS}


def outcome_rows(
    rows: Iterable[Mapping[str, Any]], privacy: Privacy | None = None
) -> Iterator[dict[str, Cell]]:
    """One row a goal and visit from rows of the case list's index, with the keys of OUTCOME_COLUMNS."""
    shown = privacy or Privacy()
    for source in rows:
        row: dict[str, Cell] = {}
        for column in OUTCOME_COLUMNS:
            value = source.get(column.name)
            if column.kind == "number":
                row[column.name] = _number(value)
            elif column.values and column.name != "outcome":
                row[column.name] = value if value in column.values else ""
            else:
                row[column.name] = clean(value) if value is not None else ""
        # The index names rows by case file; the code is its stem.
        code = str(source.get("code") or source.get("name") or "").removesuffix(".toml")
        words = words_of(source.get("outcome"))
        row["person"] = shown.person(code) if code else ""
        row["visit_date"] = shown.day(str(source.get("visit_date") or ""))
        row["outcome"] = "; ".join(word for word in OUTCOME_WORDS if word in words)
        row["signed"] = bool(source.get("signed"))
        row["goal"] = shown.words(str(source.get("goal") or ""))
        row["reason"] = shown.words(str(source.get("reason") or ""))
        yield row


def _number(value: object) -> float | None:
    if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) < 1e6:
        return None
    return round(float(value), 4)


def _visit_row(visit: Visit, shown: Privacy) -> dict[str, Cell]:
    row: dict[str, Cell] = {
        "visit_date": shown.day(visit.on.isoformat()),
        "kind": visit.kind,
        "signed": visit.signed,
        "goals": len(visit.goals),
        "both_distance_acuity_logmar": _logmar(visit.value("both.distance_acuity")),
        "fusion": visit.value("binocular.fusion"),
        "training_sessions": len(visit.training),
        "use": visit.value("follow_up.use") or "",
        "device_outcome": visit.value("follow_up.device") or "",
        "goal_met": visit.value("follow_up.task_met") or "",
        "diagnosis": shown.words(visit.value("history.diagnosis") or ""),
        "problems": shown.words(visit.value("follow_up.problems") or ""),
        "reason": shown.words(visit.value("follow_up.reason") or ""),
    }
    for side in ("right", "left", "both"):
        row[f"through_{side}_logmar"] = _logmar(visit.value(f"trial.acuity_{side}"))
    for side in ("right", "left"):
        row |= {f"{side}_{name}": value for name, value in _eye_cells(visit, side)}
    if visit.choice is not None:
        choice = visit.choice
        row |= {"device": clean(choice.telescope), "eye": choice.eye, "position": choice.position}
        row |= {"mount": choice.mount, "cap": clean(choice.cap)}
    return row


def _eye_cells(visit: Visit, side: str) -> Iterator[tuple[str, Cell]]:
    acuity, near = visit.value(f"{side}.distance_acuity"), visit.value(f"{side}.near_acuity")
    yield "distance_acuity_logmar", _logmar(acuity)
    yield "off_chart", acuity.category if isinstance(acuity, OffChart) else ""
    if isinstance(near, NearPrint):
        yield "near_print_m_units", round(near.m_units, 4)
        yield "near_distance_mm", near.distance_mm
    lens = visit.value(f"{side}.refraction")
    if isinstance(lens, Refraction):
        yield "sphere_d", lens.sphere_d
        yield "cylinder_d", lens.cylinder_d
        yield "axis_deg", lens.axis_deg if lens.cylinder_d else None
    yield "contrast_log_cs", visit.value(f"{side}.contrast")
    yield "pupil_mm", visit.value(f"{side}.pupil")


def _logmar(value: object) -> float | None:
    return round(value.logmar, 4) if isinstance(value, Acuity) else None


def dictionary_rows() -> list[dict[str, Cell]]:
    """The data dictionary as rows: table, column, meaning, kind, unit, values."""
    return [
        {
            "table": table,
            "column": column.name,
            "meaning": column.meaning,
            "kind": column.kind,
            "unit": column.unit,
            "values": "; ".join(column.values),
        }
        for table, columns in TABLES.items()
        for column in columns
    ]


def table_text(rows: Iterable[Mapping[str, Cell]], columns: Iterable[str], format: Format) -> str:
    """Rows in a format: CSV with a header line (comma, quoted where needed, CRLF), or one JSON object a line.

    A cell without a value is empty in CSV and null in JSON. Booleans are ``yes`` and ``no`` in CSV.
    """
    names = list(columns)
    writers: dict[str, Callable[[Iterable[Mapping[str, Cell]], list[str]], str]] = {
        "csv": _csv,
        "jsonl": _jsonl,
    }
    if format not in writers:
        raise Refusal("table format", format, " or ".join(FORMATS), example="csv")
    return writers[format](rows, names)


def visits_text(cases: Iterable[Case], format: Format = "csv", privacy: Privacy | None = None) -> str:
    """The table of visits."""
    return table_text(visit_rows(cases, privacy), [column.name for column in VISIT_COLUMNS], format)


def outcomes_text(
    rows: Iterable[Mapping[str, Any]], format: Format = "csv", privacy: Privacy | None = None
) -> str:
    """The table of outcomes."""
    return table_text(outcome_rows(rows, privacy), [column.name for column in OUTCOME_COLUMNS], format)


def dictionary_text(format: Format = "csv") -> str:
    """The data dictionary of both tables."""
    return table_text(dictionary_rows(), ("table", "column", "meaning", "kind", "unit", "values"), format)


def _csv(rows: Iterable[Mapping[str, Cell]], names: list[str]) -> str:
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(names)
    for row in rows:
        writer.writerow([_csv_cell(row.get(name)) for name in names])
    return out.getvalue()


def _csv_cell(value: Cell) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int | float):
        return f"{value:.10g}"
    return defused(value)


def defused(text: str) -> str:
    """Text that a spreadsheet takes as text: what could start a formula is set off by an apostrophe."""
    plain = clean(text)
    start = plain.lstrip()[:1]
    return f"'{plain}" if start and start in "=+-@|%＝＋－＠" else plain


def _jsonl(rows: Iterable[Mapping[str, Cell]], names: list[str]) -> str:
    lines = (
        json.dumps({name: row.get(name) for name in names}, ensure_ascii=False, allow_nan=False)
        for row in rows
    )
    return "".join(f"{line}\n" for line in lines)
