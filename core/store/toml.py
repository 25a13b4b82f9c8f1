"""TOML from a file that may be hostile: guards before and after the parser, and the line of a key.

The standard parser recurses at each bracket and takes time that grows with the square of a dotted key's
length, so depth and key length are counted first, by one pass over the text. Afterwards every number must
fit a TOML integer or be finite, and no string may hold a control character, which could have come in as an
escape.
"""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

from ..errors import FileRefusal
from ..printable import printable
from .files import Stamp
from .filesystem import REAL, FileSystem
from .reading import control_character, read_text

MAX_DEPTH = 32
MAX_KEY_PARTS = 16
MAX_NUMBER_CHARACTERS = 400
_LARGEST_INTEGER = 2**63

# Strings and comments are skipped whole, so that brackets and dots inside them do not count. An unclosed
# string runs to the end of its line: the parser names it.
_PIECE = re.compile(
    r'"""(?:[^"\\]|\\.|"(?!""))*+(?:"{3,5}|\Z)'
    r"|'''(?:[^']|'(?!''))*+(?:'{3,5}|\Z)"
    r'|"(?:[^"\\\n]|\\[^\n])*+"?'
    r"|'[^'\n]*+'?"
    r"|\#[^\n]*+"
    r"|[A-Za-z0-9_+-]++"
    r"|[\[\]{}.\n]",
    re.DOTALL,
)
_PARSER_PLACE = re.compile(r"\s*\(at (?:line (\d+), column \d+|end of document)\)$")
_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")


def read_toml(path: Path, *, fs: FileSystem = REAL) -> tuple[dict[str, Any], str, Stamp]:
    """The tables, the text and the stamp of a TOML file; FileRefusal for anything that is not one."""
    got = read_text(path, fs=fs)
    return parse_toml(path, got.text), got.text, got.stamp


def parse_toml(path: Path, text: str) -> dict[str, Any]:
    """The tables of a TOML text; ``path`` is named in the refusal. Never raises anything but FileRefusal."""
    _refuse_hostile_shape(path, text)
    try:
        tables = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise _parser_refusal(path, text, str(error)) from error
    except (ValueError, OverflowError) as error:
        raise FileRefusal(path, f"a number or date that does not exist: {printable(error, 120)}") from error
    except (RecursionError, MemoryError) as error:
        raise FileRefusal(path, "nested too deeply") from error
    _refuse_hostile_values(path, text, tables)
    return tables


def _parser_refusal(path: Path, text: str, message: str) -> FileRefusal:
    place = _PARSER_PLACE.search(message)
    reason = printable(_PARSER_PLACE.sub("", message), 160)
    last = text.count("\n") + (0 if text.endswith("\n") else 1)
    if place and place[1] is None:
        return FileRefusal(
            path, f"not valid TOML, the file seems cut short: {_lower(reason)}", line=max(last, 1)
        )
    return FileRefusal(path, f"not valid TOML: {_lower(reason)}", line=int(place[1]) if place else None)


def _lower(sentence: str) -> str:
    return sentence[:1].lower() + sentence[1:]


def _refuse_hostile_shape(path: Path, text: str) -> None:
    depth = parts = 0
    after_dot = False
    for found in _PIECE.finditer(text):
        piece = found[0]
        if piece == ".":
            after_dot = True
            continue
        if piece in "[{":
            depth += 1
        elif piece in "]}":
            depth = max(depth - 1, 0)
        if depth > MAX_DEPTH:
            raise FileRefusal(path, f"nested more than {MAX_DEPTH} deep", line=_line(text, found.start()))
        parts = parts + 1 if after_dot else 0
        after_dot = False
        if parts >= MAX_KEY_PARTS:
            reason = f"a key of more than {MAX_KEY_PARTS} parts"
            raise FileRefusal(path, reason, line=_line(text, found.start()))
        if len(piece) > MAX_NUMBER_CHARACTERS and piece[0] in "+-0123456789":
            reason = f"a number of {len(piece)} digits; at most {MAX_NUMBER_CHARACTERS} are read"
            raise FileRefusal(path, reason, line=_line(text, found.start()))


def _line(text: str, offset: int) -> int:
    return text.count("\n", 0, offset) + 1


def dotted(path: tuple[str | int, ...]) -> str:
    """A path as written by people: ``visits[2].right.acuity`` (numbers count from 1)."""
    shown = ""
    for part in path:
        if isinstance(part, int):
            shown += f"[{part + 1}]"
        else:
            shown += ("." if shown else "") + part
    return shown


def _refuse_hostile_values(path: Path, text: str, tables: dict[str, Any]) -> None:
    # Depth is bounded by now, so plain recursion is safe; the path is only put together for a refusal.
    fault = _first_fault(tables)
    if fault is None:
        return
    where, reason = fault
    raise FileRefusal(path, reason, line=line_of_key(text, where), key=printable(dotted(where)))


def _first_fault(value: Any) -> tuple[tuple[str | int, ...], str] | None:
    if isinstance(value, dict):
        pairs = value.items()
    elif isinstance(value, list):
        pairs = enumerate(value)
    else:
        reason = control_character(value) if isinstance(value, str) else _number_fault(value)
        return ((), reason) if reason else None
    for key, each in pairs:
        if isinstance(key, str) and (reason := control_character(key)):
            return (key,), reason
        fault = _first_fault(each)
        if fault:
            return (key, *fault[0]), fault[1]
    return None


def _number_fault(value: object) -> str:
    if isinstance(value, bool):
        return ""
    if isinstance(value, int) and not -_LARGEST_INTEGER <= value < _LARGEST_INTEGER:
        return "a whole number too large for a TOML file"
    if isinstance(value, float) and (value != value or value in (float("inf"), float("-inf"))):
        return f"{value} is not a measurable number"
    return ""


def line_of_key(text: str, path: tuple[str | int, ...]) -> int | None:
    """The line where the value of ``path`` is written, or of the nearest table round it; None when not found.

    Follows table headings and key lines as people and this program write them; a key inside an inline table
    answers with the line of that table.
    """
    best: tuple[int, int] | None = None
    heading: tuple[str | int, ...] = ()
    counts: dict[tuple[str | int, ...], int] = {}
    for number, line in enumerate(text.splitlines(), start=1):
        stripped = line.strip()
        if stripped.startswith("["):
            heading = _heading_path(stripped, counts)
            here = heading
        else:
            parts = _key_parts(stripped)
            if not parts:
                continue
            here = heading + parts
        if here and path[: len(here)] == here and (best is None or len(here) > best[0]):
            best = (len(here), number)
            if len(here) == len(path):
                break
    return best[1] if best else None


def _heading_path(line: str, counts: dict[tuple[str | int, ...], int]) -> tuple[str | int, ...]:
    is_array = line.startswith("[[")
    parts = _key_parts(line.lstrip("["))
    here: tuple[str | int, ...] = ()
    for position, part in enumerate(parts):
        here += (part,)
        last = position == len(parts) - 1
        if last and is_array:
            counts[here] = counts.get(here, -1) + 1
        if here in counts:
            here += (counts[here],)
    return here


def _key_parts(line: str) -> tuple[str, ...]:
    parts: list[str] = []
    rest = line
    while True:
        rest = rest.lstrip()
        if rest[:1] in ('"', "'"):
            end = rest.find(rest[0], 1)
            if end < 0:
                return ()
            parts.append(rest[1:end])
            rest = rest[end + 1 :]
        else:
            found = _BARE_KEY.match(rest)
            if not found:
                return ()
            parts.append(found[0])
            rest = rest[found.end() :]
        rest = rest.lstrip()
        if rest.startswith("."):
            rest = rest[1:]
            continue
        return tuple(parts) if rest[:1] in ("=", "]") else ()
