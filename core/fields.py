"""Every field of the record, declared once and looked up here.

The form, the jump list, the help, the file check and the note read these declarations. To add a field, add it to
the list of its section in ``fields_exam`` or ``fields_device``; nothing else needs to know.

A path is ``table.key`` inside a visit (``right.distance_acuity``); goals have keys of their own, listed in
GOAL_FIELDS, and stand in the case as a list.
"""

from __future__ import annotations

from functools import cache

from .field import EXAMINATION, FITTING, FOLLOW_UP, VISIT_KINDS, Field
from .fields_device import (
    GOAL_FIELDS,
    NEXT_DATE,
    NEXT_STEP,
    both_eyes_fields,
    face_fields,
    follow_up_fields,
    trial_fields,
)
from .fields_exam import (
    WARNINGS,
    acuity_fields,
    field_of_vision_fields,
    history_fields,
    light_fields,
    person_fields,
    refraction_fields,
)

__all__ = [
    "EXAMINATION",
    "FITTING",
    "FOLLOW_UP",
    "GOAL_FIELDS",
    "NEXT_DATE",
    "NEXT_STEP",
    "SECTIONS",
    "VISIT_KINDS",
    "WARNINGS",
    "Field",
    "by_path",
    "fields",
    "goal_by_key",
]

SECTIONS = (
    "Person",
    "History",
    "Goals",
    "Acuity",
    "Refraction",
    "Contrast and light",
    "Visual field",
    "Both eyes together",
    "Face and frame",
    "Trial",
    "Follow-up",
)


@cache
def fields() -> tuple[Field, ...]:
    """All fields of a visit but the goals, in exam order."""
    parts = (
        person_fields(),
        history_fields(),
        acuity_fields(),
        refraction_fields(),
        light_fields(),
        field_of_vision_fields(),
        both_eyes_fields(),
        face_fields(),
        trial_fields(),
        iter((NEXT_STEP, NEXT_DATE)),
        follow_up_fields(),
    )
    return tuple(field for part in parts for field in part)


@cache
def by_path() -> dict[str, Field]:
    """Fields by their path."""
    return {field.path: field for field in fields()}


@cache
def goal_by_key() -> dict[str, Field]:
    """Goal fields by their key."""
    return {field.path: field for field in GOAL_FIELDS}
