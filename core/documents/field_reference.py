"""How a case file is written by hand: every key with what it takes, made from the declarations themselves."""

from __future__ import annotations

from collections.abc import Iterator

from ..case import SCHEMA, STATUSES
from ..configuration import CORRECTIONS, EYES, FOCUS_SETTINGS, MOUNTS, POSITIONS
from ..fields import GOAL_FIELDS, VISIT_KINDS, Field, fields
from .text import fill


def field_reference() -> str:
    """Plain text of at most 72 columns."""
    rows: list[str] = []
    for line in _lines():
        rows += fill(line, rest="    ") if line else [""]
    return "\n".join(rows) + "\n"


def _lines() -> Iterator[str]:
    yield "A case file is TOML. It starts with"
    yield ""
    yield f"schema = {SCHEMA}"
    yield 'code = "KM-014"'
    yield ""
    yield "[[visit]]"
    yield "date = 2026-11-25"
    yield f'kind = "{VISIT_KINDS[0]}"'
    yield ""
    yield f"Kinds of visit: {', '.join(VISIT_KINDS)}. Later visits follow as further [[visit]] tables."
    yield (
        "Each value below is written as it is typed on the screen, in quotes; nothing else is needed. The readings "
        "that the program writes beside it (such as distance_acuity_logmar) are made anew when the file is read."
    )
    yield f"A key with _status after it says how the value is known: {', '.join(STATUSES)}; measured when left out."
    table = ""
    for field in fields():
        if field.table != table:
            table = field.table
            yield ""
            yield f"[visit.{table}]"
        yield from _field(field, field.key)
    yield ""
    yield "[[visit.goal]], one table a goal, the first matters most"
    for field in GOAL_FIELDS:
        yield from _field(field, field.path)
    yield ""
    yield "[visit.choice], the chosen way of using a telescope"
    yield "telescope, cap, filter: ids of the stock file"
    for key, words in (
        ("eye", EYES),
        ("position", POSITIONS),
        ("mount", MOUNTS),
        ("correction", CORRECTIONS),
        ("focus", FOCUS_SETTINGS),
    ):
        yield f"{key}: {', '.join(words)}"
    yield "spread_mm: outward decentration of each tube, a number"


def _field(field: Field, key: str) -> Iterator[str]:
    unit = f", {field.kind.unit}" if field.kind.unit else ""
    usual = f" Usual: {field.kind.usual}." if field.kind.usual else ""
    yield f"{key}: {field.label}{unit}. Accepted: {field.kind.accepted}.{usual} For example: {field.kind.example}"
