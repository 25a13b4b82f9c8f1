"""The chart note: plain text of at most 72 columns, made from case, plan and fitting sheet through a template.

Order (SOAP or narrative), length and letters are the clinic's choice, and so is the template. The note is made anew
each time and never edited in place: what the practitioner types stands in the case, is shown apart, and nothing here
overwrites it.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from difflib import SequenceMatcher
from functools import cache, partial
from hashlib import sha256
from pathlib import Path
from typing import Literal

from ..case import Case
from ..errors import FileRefusal
from ..fitting.types import FittingSheet
from ..plan.types import Plan
from ..settings import Settings
from .findings import Item
from .note_computed import COMPUTED_BLOCKS
from .note_done import DONE_BLOCKS
from .note_facts import NoteFacts
from .note_placeholders import PLACEHOLDERS, REQUIRED, TYPED_BLOCKS
from .template import Length, Line, Section, Template, own_text, placeholder_help, read_template
from .text import WIDTH, Letters, fill, in_letters

Order = Literal["soap", "narrative"]
Fill = Callable[..., list[str]]
OWN_TEMPLATES: dict[Order, str] = {"soap": "note_soap.toml", "narrative": "note_narrative.toml"}

_BLOCKS = {**DONE_BLOCKS, **COMPUTED_BLOCKS}
_HANGING = "  "
_BAR = "| "
_VERSION = re.compile(r"afocal \S+ formulas \S+")


def chart_note(
    case: Case,
    plan: Plan | None,
    sheet: FittingSheet | None,
    settings: Settings,
    *,
    length: Length = "full",
    order: Order | None = None,
    letters: Letters | None = None,
    template: Template | None = None,
    width: int = WIDTH,
) -> str:
    """The note of the visit worked on, lines of at most ``width`` columns, a line end at the last one.

    What goes out has 72; a narrower screen takes endless lines and breaks them itself. ``order`` and ``letters``
    default to the settings; ``template`` (see :func:`note_template`) replaces the program's own. The same case, plan
    and sheet always give the same text.
    """
    used = template or _own_template(order or settings.note_order)
    facts = NoteFacts(case, plan, sheet, settings)
    chosen: Letters = letters or settings.letters
    page = partial(fill, width=width)
    parts = [_section(section, section.lines(length), facts, chosen, page) for section in used.sections]
    return "\n\n".join("\n".join(rows) for rows in parts if rows) + "\n"


def note_template(text: str, path: str | Path) -> Template:
    """A clinic's own template from its TOML text; FileRefusal with line and reason when it cannot be used."""
    template = read_template(text, path, PLACEHOLDERS)
    for length in ("full", "brief"):
        names = {
            piece.text
            for section in template.sections
            for line in section.lines(length)
            for piece in line
            if piece.is_name
        }
        for name in REQUIRED:
            if names and name not in names:
                meaning = PLACEHOLDERS[name].meaning
                reason = f"the {length} note leaves out {{{name}}} ({meaning}), which every note must hold"
                raise FileRefusal(path, reason, key=length)
    return template


def own_note_template(order: Order) -> str:
    """The text of the program's own template, to copy and edit."""
    return own_text(OWN_TEMPLATES[order])


def placeholders() -> list[str]:
    """The documented set of placeholders, a line each."""
    return placeholder_help(PLACEHOLDERS)


def note_digest(text: str) -> str:
    """What tells whether a note still says the same: SHA-256 over its words, whatever the line ends and version."""
    return sha256(_VERSION.sub("", " ".join(text.split())).encode()).hexdigest()


def note_difference(old_text: str, new_text: str, *, around: int = 6) -> list[str]:
    """What changed between two notes, two lines a change (``was: …`` and ``now: …``) with some words around it.

    Compared word by word, so that a line that only wraps elsewhere is no change. Empty when nothing changed.
    """
    old, new = old_text.split(), new_text.split()
    changes: list[list[int]] = []
    for kind, old_from, old_to, new_from, new_to in SequenceMatcher(
        None, old, new, autojunk=False
    ).get_opcodes():
        if kind == "equal":
            continue
        if changes and old_from - changes[-1][1] <= 2:
            changes[-1][1], changes[-1][3] = old_to, new_to
        else:
            changes.append([old_from, old_to, new_from, new_to])
    rows = []
    for old_from, old_to, new_from, new_to in changes:
        rows.append(f"was: {_excerpt(old, old_from, old_to, around)}")
        rows.append(f"now: {_excerpt(new, new_from, new_to, around)}")
    return rows


def _excerpt(words: list[str], start: int, end: int, around: int) -> str:
    before, after = words[max(0, start - around) : start], words[end : end + around]
    middle = f"[{' '.join(words[start:end])}]" if end > start else "[nothing]"
    return " ".join((*before, middle, *after))


@cache
def _own_template(order: Order) -> Template:
    return note_template(own_text(OWN_TEMPLATES[order]), OWN_TEMPLATES[order])


def _section(
    section: Section, lines: tuple[Line, ...], facts: NoteFacts, letters: Letters, fill: Fill
) -> list[str]:
    rows: list[str] = []
    sentences: list[str] = []
    for line in lines:
        name = line[0].text if len(line) == 1 and line[0].is_name else ""
        if name and PLACEHOLDERS[name].block:
            items = _BLOCKS[name](facts)
            if section.form == "prose" and name not in TYPED_BLOCKS:
                sentences.extend(_sentence(item) for item in items)
            else:
                rows.extend(_item_rows(items, letters, fill, typed=name in TYPED_BLOCKS))
            continue
        words = _words(line, facts)
        if words and section.form == "prose":
            sentences.append(words)
        elif words:
            rows.extend(fill(in_letters(words, letters), rest=_HANGING))
    if sentences:
        rows = fill(in_letters(" ".join(sentences), letters)) + rows
    if rows and section.heading:
        rows = [*fill(in_letters(section.heading, letters)), *rows]
    return rows


def _words(line: Line, facts: NoteFacts) -> str:
    """A line with its words put in; "" when it has placeholders and all of them are empty."""
    put = [(facts.word(piece.text) if piece.is_name else piece.text, piece.is_name) for piece in line]
    if any(is_name for _, is_name in put) and not any(words for words, is_name in put if is_name):
        return ""
    return "".join(words for words, _ in put)


def _item_rows(items: list[Item], letters: Letters, fill: Fill, *, typed: bool) -> list[str]:
    rows: list[str] = []
    for item in items:
        text = f"{item.label}: {item.text}" if item.label else item.text
        edge = _BAR if typed else ""
        filled = fill(in_letters(text, letters), first=edge, rest=edge or _HANGING)
        rows.extend(filled or [edge.rstrip()])
    return rows


def _sentence(item: Item) -> str:
    text = f"{item.label}: {item.text}" if item.label else item.text
    return text if text.endswith((".", "!", "?")) else f"{text}."


__all__ = [
    "OWN_TEMPLATES",
    "WIDTH",
    "chart_note",
    "note_difference",
    "note_digest",
    "note_template",
    "own_note_template",
    "placeholders",
]
