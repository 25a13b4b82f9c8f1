"""Templates of documents: sections with lines of words and placeholders, edited by the clinic as data.

A template is a TOML file: ``schema = 1`` and ``[[section]]`` tables, each with a ``heading`` (may be empty), a
``form`` ("lines" or "prose"), the line lists ``full`` and ``brief``, and, where the document knows conditions,
``when``: one condition or a list of which all must hold. In a line, ``{name}`` stands for a placeholder of the
documented set; ``{{`` and ``}}`` are plain braces. There is no other syntax: nothing in a template is ever run, and
what replaces a placeholder is never read as a template again.

A *word* may stand anywhere in a line; a *block* brings lines of its own and stands alone on its line. A line all of
whose placeholders are empty is left out, and so is a heading with nothing below it.
"""

from __future__ import annotations

import difflib
import re
import tomllib
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from ..errors import FileRefusal

SCHEMA = 1
_OWN = Path(__file__).parents[1] / "data" / "templates"
Form = Literal["lines", "prose"]
Length = Literal["full", "brief"]

_TOKEN = re.compile(r"\{\{|\}\}|\{([^{}]*)\}|[{}]")
_NAME = re.compile(r"[a-z][a-z0-9_]*")
_KEYS = ("heading", "form", "full", "brief", "when")
_LONGEST = 64_000


@dataclass(frozen=True, slots=True)
class Placeholder:
    """One name that a template may use: what it stands for, and whether it brings lines of its own."""

    name: str
    meaning: str
    block: bool = False


@dataclass(frozen=True, slots=True)
class Piece:
    """A stretch of a line: plain words, or the name of a placeholder."""

    text: str
    is_name: bool = False


Line = tuple[Piece, ...]


@dataclass(frozen=True, slots=True)
class Section:
    """A heading with its lines in both lengths."""

    heading: str
    form: Form
    full: tuple[Line, ...]
    brief: tuple[Line, ...]
    when: tuple[str, ...] = ()

    def lines(self, length: Length) -> tuple[Line, ...]:
        """The lines of one length."""
        return self.full if length == "full" else self.brief


@dataclass(frozen=True, slots=True)
class Template:
    """A checked template."""

    sections: tuple[Section, ...]


def read_template(
    text: str, path: str | Path, known: Mapping[str, Placeholder], conditions: Collection[str] = ()
) -> Template:
    """The template in a TOML text. FileRefusal with line, key and nearest name for anything it may not hold."""
    if len(text) > _LONGEST:
        raise FileRefusal(path, f"longer than {_LONGEST} characters; a template is a few lines a section")
    try:
        table = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError, ValueError) as error:
        found = re.search(r"line (\d+)", str(error))
        line = int(found[1]) if found else None
        raise FileRefusal(path, f"not readable as TOML: {error}", line=line) from None
    reader = _Reader(path, text, known, conditions)
    if table.get("schema") != SCHEMA:
        raise reader.refuse("schema", f"a template starts with schema = {SCHEMA}", "schema")
    for key in table:
        if key not in ("schema", "section"):
            raise reader.refuse(key, "unknown key", key, _near(key, ("schema", "section")))
    sections = table.get("section")
    if not isinstance(sections, list) or not sections or not all(isinstance(s, Mapping) for s in sections):
        raise reader.refuse("section", "at least one [[section]] is needed", "section")
    return Template(tuple(reader.section(each, number) for number, each in enumerate(sections, 1)))


def own_text(name: str) -> str:
    """The text of a template that comes with the program, for a clinic to copy and edit."""
    return (_OWN / name).read_text("utf-8")


def placeholder_help(known: Mapping[str, Placeholder]) -> list[str]:
    """The documented set, a line a placeholder."""
    return [
        f"{{{each.name}}}  {each.meaning}{' (alone on its line)' if each.block else ''}"
        for each in known.values()
    ]


class _Reader:
    def __init__(
        self, path: str | Path, text: str, known: Mapping[str, Placeholder], conditions: Collection[str]
    ) -> None:
        self.path, self.text, self.known, self.conditions = path, text, known, conditions

    def refuse(self, key: str, reason: str, sought: str, nearest: str = "") -> FileRefusal:
        line = next((n for n, row in enumerate(self.text.splitlines(), 1) if sought and sought in row), None)
        return FileRefusal(self.path, reason, line=line, key=key, nearest=nearest)

    def section(self, table: Mapping[str, Any], number: int) -> Section:
        where = f"section[{number}]"
        for key in table:
            if key not in _KEYS:
                raise self.refuse(f"{where}.{key}", "unknown key", key, _near(key, _KEYS))
        heading, form = table.get("heading", ""), table.get("form", "lines")
        if not isinstance(heading, str) or "\n" in heading:
            raise self.refuse(f"{where}.heading", "a heading is one line of text in quotes", "heading")
        if form not in ("lines", "prose"):
            reason = f"{form!r} is not one of lines, prose"
            raise self.refuse(f"{where}.form", reason, "form", _near(str(form), ("lines", "prose")))
        full = self._lines(table.get("full", []), f"{where}.full")
        brief = self._lines(table.get("brief", []), f"{where}.brief")
        return Section(heading, form, full, brief, self._when(table.get("when", []), where))

    def _when(self, given: Any, where: str) -> tuple[str, ...]:
        words = [given] if isinstance(given, str) else given
        if not isinstance(words, list) or not all(isinstance(word, str) for word in words):
            raise self.refuse(
                f"{where}.when", "a condition in quotes, or a list of them, is expected", "when"
            )
        for word in words:
            if word not in self.conditions:
                known = ", ".join(sorted(self.conditions)) or "none in this document"
                reason = f"unknown condition {word!r}; known: {known}"
                raise self.refuse(f"{where}.when", reason, word, _near(word, self.conditions))
        return tuple(words)

    def _lines(self, rows: Any, where: str) -> tuple[Line, ...]:
        if not isinstance(rows, list) or not all(isinstance(row, str) and "\n" not in row for row in rows):
            raise self.refuse(where, "a list of lines in quotes is expected", where.rpartition(".")[2])
        return tuple(self._line(row, where) for row in rows)

    def _line(self, row: str, where: str) -> Line:
        pieces: list[Piece] = []
        at = 0
        for match in _TOKEN.finditer(row):
            if match.start() > at:
                pieces.append(Piece(row[at : match.start()]))
            at = match.end()
            if match[0] in ("{{", "}}"):
                pieces.append(Piece(match[0][0]))
            elif match[1] is None:
                raise self.refuse(
                    where, f"a single {match[0]} in {row!r}; write it twice for a plain one", row
                )
            else:
                pieces.append(self._placeholder(match[1], row, where))
        if at < len(row):
            pieces.append(Piece(row[at:]))
        blocks = [piece for piece in pieces if piece.is_name and self.known[piece.text].block]
        if blocks and len(pieces) > 1:
            raise self.refuse(
                where, f"{{{blocks[0].text}}} brings lines of its own: put it alone on a line", row
            )
        return tuple(pieces)

    def _placeholder(self, name: str, row: str, where: str) -> Piece:
        if not _NAME.fullmatch(name):
            reason = f"{{{name}}} is no placeholder: only a name of small letters may stand in braces"
            raise self.refuse(where, reason, row, _near(name, self.known))
        if name not in self.known:
            raise self.refuse(where, f"unknown placeholder {{{name}}}", row, _near(name, self.known))
        return Piece(name, is_name=True)


def _near(word: str, options: Any) -> str:
    close = difflib.get_close_matches(word, list(options), 1)
    return close[0] if close else ""
