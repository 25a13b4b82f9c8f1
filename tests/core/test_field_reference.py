"""The reference of a case file tells every key, and what it says is true."""

from __future__ import annotations

from afocal.core.case_file import loads_case
from afocal.core.documents.field_reference import field_reference
from afocal.core.fields import GOAL_FIELDS, fields


def test_every_field_stands_in_the_reference():
    """Table and key of each declared field, and each key of a goal."""
    text = field_reference()
    assert max(map(len, text.splitlines())) <= 72
    for field in fields():
        assert f"[visit.{field.table}]" in text
        assert f"\n{field.key}: " in text
    for field in GOAL_FIELDS:
        assert f"\n{field.path}: " in text


def test_the_head_of_the_reference_is_a_case():
    """What it says a file starts with can be read."""
    text = field_reference()
    head = text[text.index("schema") : text.index("Kinds of visit")]
    assert loads_case(head).code == "KM-014"
