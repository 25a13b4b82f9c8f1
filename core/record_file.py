"""Records from the clinic's own files: checked against their declaration by pydantic, or taken as they were found good.

A record is a frozen dataclass; its annotations say what a file may hold: types, ``Literal`` words and
``Annotated[float, RANGE]`` with a :class:`~.ranges.Range`. Pydantic is loaded for a row that has to be checked and for
nothing else, so that a file that was checked before costs no more than its reading.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, fields
from functools import cache
from typing import TYPE_CHECKING, Any, TypeVar

if TYPE_CHECKING:
    from pydantic import TypeAdapter

Record = TypeVar("Record")


@dataclass(frozen=True, slots=True)
class Wrong:
    """One thing that is wrong with a row: the key ("" for the row as a whole), the reason, and its kind."""

    key: str
    reason: str
    is_unknown: bool = False


class WrongRow(Exception):
    """A row that is no such record; ``reasons`` holds everything that is wrong with it."""

    def __init__(self, reasons: list[Wrong]) -> None:
        self.reasons = reasons
        super().__init__(reasons)


@cache
def _adapter(record: type[Any]) -> TypeAdapter[Any]:
    from pydantic import TypeAdapter

    return TypeAdapter(record)


def checked(record: type[Record], row: Mapping[str, Any]) -> Record:
    """The record in a row of a file. Raises :class:`WrongRow` with every reason against it."""
    from pydantic import ValidationError

    try:
        return _adapter(record).validate_python(row)
    except ValidationError as error:
        raise WrongRow([_wrong(detail, row) for detail in error.errors()]) from error


def _wrong(detail: Any, row: Mapping[str, Any]) -> Wrong:
    key = str(detail["loc"][0]) if detail["loc"] else ""
    if detail["type"] in ("unexpected_keyword_argument", "extra_forbidden"):
        return Wrong(key, "unknown key", is_unknown=True)
    if detail["type"] in ("missing", "missing_argument"):
        return Wrong(key, "is missing")
    reason = str(detail["msg"]).removeprefix("Value error, ")
    return Wrong(key, f"{reason} (given: {row.get(key)!r})" if key else reason)


def known_good(record: type[Record], row: Mapping[str, Any]) -> Record:
    """The record in a row that :func:`checked` has accepted before, without looking at it again."""
    converters = _converters(record)
    return record(**{key: converters[key](value) for key, value in row.items()})


@cache
def _converters(record: type[Any]) -> dict[str, Callable[[Any], Any]]:
    """What TOML writes in one way only: a list for a tuple, and a whole number where a decimal is meant."""
    return {each.name: _converter(str(each.type)) for each in fields(record)}


def _converter(annotation: str) -> Callable[[Any], Any]:
    if annotation.startswith("tuple"):
        return tuple
    if annotation == "Mapping[str, float]":
        return _numbers
    return float if "float" in annotation else _as_it_is


def _numbers(value: Mapping[str, Any]) -> dict[str, float]:
    return {key: float(number) for key, number in value.items()}


def _as_it_is(value: Any) -> Any:
    return value
