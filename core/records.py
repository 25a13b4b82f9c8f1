"""The names of a record's parts, whether it is a named tuple (a result) or a dataclass (what is kept and changed)."""

from __future__ import annotations

from typing import Any


def names_of(value: Any) -> tuple[str, ...] | None:
    """The names of the parts of a record, in order; None for anything that is no record."""
    if isinstance(value, type):
        return None
    if isinstance(value, tuple):
        return getattr(value, "_fields", None)
    declared = getattr(value, "__dataclass_fields__", None)
    return None if declared is None else tuple(declared)
