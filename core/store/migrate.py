"""Steps from an older schema to the present one, each a named function; nothing migrates on its own.

The caller keeps the original for good before it saves the migrated case (``save_case(...,
keep_for_good=True)``), so an older program can still be given the file it knows.
"""

from __future__ import annotations

from collections.abc import Callable
from copy import deepcopy
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ..errors import FileRefusal

Step = Callable[[dict[str, Any]], dict[str, Any]]


@dataclass(frozen=True, slots=True)
class Migrated:
    """The tables in the present schema, and the schema they came from when that was an older one."""

    tables: dict[str, Any]
    came_from: int | None = None


class Migrations:
    """All steps of one kind of file, from schema 1 to ``current``."""

    def __init__(self, kind: str, current: int, key: str = "schema") -> None:
        self.kind = kind
        self.current = current
        self.key = key
        self._steps: dict[int, Step] = {}

    def step(self, from_schema: int) -> Callable[[Step], Step]:
        """Register the step from ``from_schema`` to the next one."""

        def register(function: Step) -> Step:
            if from_schema in self._steps or not 1 <= from_schema < self.current:
                raise ValueError(f"{self.kind}: no room for a step from schema {from_schema}")
            self._steps[from_schema] = function
            return function

        return register

    def missing(self) -> list[int]:
        """Schemas without a step; a test holds this to be empty."""
        return [number for number in range(1, self.current) if number not in self._steps]

    def bring_up(self, path: Path, tables: dict[str, Any]) -> Migrated:
        """The tables in the present schema; FileRefusal for a newer, missing or senseless schema number."""
        found = tables.get(self.key)
        if isinstance(found, bool) or not isinstance(found, int) or found < 1:
            given = "is missing" if found is None else f"is {found!r}"[:60]
            raise FileRefusal(
                path, f"the schema number {given}; it is {self.current} at present", key=self.key
            )
        if found > self.current:
            raise FileRefusal(
                path,
                f"schema {found} is newer than this program knows ({self.current}); use the newer program",
                key=self.key,
            )
        if found == self.current:
            return Migrated(tables)
        present = deepcopy(tables)
        for number in range(found, self.current):
            if number not in self._steps:
                raise FileRefusal(path, f"schema {number} can no longer be read", key=self.key)
            present = self._steps[number](present)
            present[self.key] = number + 1
        return Migrated(present, found)
