"""A place in a parsed TOML file that reads typed values and, when one is wrong, can say at which line and key."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime
from pathlib import Path
from typing import Any, NamedTuple

from .errors import FileRefusal
from .store.toml import dotted, line_of_key

_LARGEST = 1e9


def nearest(word: object, options: tuple[str, ...]) -> str:
    """The option most like a word (or that starts with it), or nothing."""
    import difflib  # late: only a wrong word needs it

    started = [option for option in options if word and option.startswith(str(word))]
    return started[0] if started else next(iter(difflib.get_close_matches(str(word), options, 1)), "")


class Cursor(NamedTuple):
    """One table of a file: its values, where it stands, and the text to find lines in."""

    table: Mapping[str, Any]
    where: tuple[str | int, ...]
    path: Path
    text: str

    def refuse(self, key: str, reason: str, near: str = "") -> FileRefusal:
        """The refusal of a key of this table."""
        place = (*self.where, key)
        return FileRefusal(
            self.path, reason, line=line_of_key(self.text, place), key=dotted(place), nearest=near
        )

    def word(self, key: str) -> str:
        """Text; empty when absent."""
        value = self.table.get(key, "")
        if not isinstance(value, str):
            raise self.refuse(key, "text in quotes is expected here")
        return value

    def yes(self, key: str) -> bool:
        """True or false; false when absent."""
        value = self.table.get(key, False)
        if not isinstance(value, bool):
            raise self.refuse(key, "true or false is expected here")
        return value

    def number(self, key: str) -> float | None:
        """A finite number; None when absent."""
        value = self.table.get(key)
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) < _LARGEST:
            raise self.refuse(key, "a number is expected here")
        return float(value)

    def one_of(self, key: str, options: tuple[str, ...], default: str = "") -> str:
        """One of a few words; ``default`` when absent and not empty."""
        value = self.table.get(key, default or None)
        if value not in options:
            raise self.refuse(key, f"{value!r} is not one of {', '.join(options)}", nearest(value, options))
        return value

    def day(self, key: str) -> date:
        """A calendar day, needed."""
        value = self.table.get(key)
        if isinstance(value, str):
            try:
                value = date.fromisoformat(value)
            except ValueError:
                value = None
        if isinstance(value, datetime):
            value = value.date()
        if not isinstance(value, date):
            raise self.refuse(key, "a date such as 2026-11-25 is expected here")
        return value

    def moment(self, key: str) -> datetime | None:
        """A moment; None when absent."""
        if key not in self.table:
            return None
        return self.needed_moment(key)

    def needed_moment(self, key: str) -> datetime:
        """A moment, needed."""
        value = self.table.get(key)
        if isinstance(value, str):
            try:
                value = datetime.fromisoformat(value)
            except ValueError:
                value = None
        if not isinstance(value, datetime):
            raise self.refuse(key, "a moment such as 2026-11-25T14:05:00 is expected here")
        return value

    def inside(self, key: str) -> Cursor:
        """A table inside this one; empty when absent."""
        value = self.table.get(key, {})
        if not isinstance(value, Mapping):
            raise self.refuse(key, "a table is expected here")
        return Cursor(value, (*self.where, key), self.path, self.text)

    def list(self, key: str) -> tuple[Cursor, ...]:
        """The tables of an array; a single table counts as one; none when absent."""
        value = self.table.get(key, [])
        if isinstance(value, Mapping):
            return (Cursor(value, (*self.where, key), self.path, self.text),)
        if not isinstance(value, list) or not all(isinstance(item, Mapping) for item in value):
            raise self.refuse(key, f"tables are expected here, each under a heading [[{key}]]")
        return tuple(
            Cursor(item, (*self.where, key, n), self.path, self.text) for n, item in enumerate(value)
        )
