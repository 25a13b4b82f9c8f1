"""The sheet for the patient: large print, plain words, everyday measures; as text and as one HTML file without script.

All sentences stand in a template as data, chosen by conditions of the case (a cap, two tubes, a bioptic …). The text is
meant for a large font, so its lines are short; the HTML brings its own print style.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

from ..case import Case
from ..fitting.types import FittingSheet
from ..plan.types import Plan
from ..settings import Settings
from .handout_facts import CONDITIONS, PLACEHOLDERS, HandoutFacts
from .handout_page import HTML_POINTS, Part, page
from .template import Line, Template, own_text, placeholder_help, read_template
from .text import Letters, fill, in_letters

TEMPLATE = "handout.toml"
# So many letters of a fixed-width face of 18 points fit between the margins of a page, A4 or letter.
LARGE_PRINT_COLUMNS = 40


def handout_parts(
    case: Case,
    plan: Plan | None,
    sheet: FittingSheet | None,
    settings: Settings,
    *,
    template: Template | None = None,
) -> list[Part]:
    """The sheet as headed sentences, the same for every form of output."""
    facts = HandoutFacts(case, plan, sheet, settings)
    holding = facts.conditions()
    parts: list[Part] = []
    for section in (template or _own_template()).sections:
        if not all(condition in holding for condition in section.when):
            continue
        lines = tuple(words for line in section.full for words in _lines(line, facts))
        if lines and parts and parts[-1].heading == section.heading:
            parts[-1] = Part(section.heading, (*parts[-1].lines, *lines))
        elif lines:
            parts.append(Part(section.heading, lines))
    return parts


def handout_text(
    case: Case,
    plan: Plan | None,
    sheet: FittingSheet | None,
    settings: Settings,
    *,
    letters: Letters | None = None,
    template: Template | None = None,
) -> str:
    """Plain text in short lines, for a large font; headings in capitals, a blank line between sentences."""
    chosen: Letters = letters or settings.letters
    blocks = []
    for part in handout_parts(case, plan, sheet, settings, template=template):
        if part.heading:
            blocks.append(
                "\n".join(fill(in_letters(part.heading.upper(), chosen), width=LARGE_PRINT_COLUMNS))
            )
        for line in part.lines:
            blocks.append("\n".join(fill(in_letters(line, chosen), width=LARGE_PRINT_COLUMNS)))
    return "\n\n".join(blocks) + "\n"


def handout_html(
    case: Case,
    plan: Plan | None,
    sheet: FittingSheet | None,
    settings: Settings,
    *,
    template: Template | None = None,
) -> str:
    """One HTML file with its print style: 20 points, black on white, no script, nothing fetched from anywhere."""
    return page(handout_parts(case, plan, sheet, settings, template=template), case.code)


def handout_template(text: str, path: str | Path) -> Template:
    """A clinic's own template from its TOML text; FileRefusal with line and reason when it cannot be used."""
    return read_template(text, path, PLACEHOLDERS, CONDITIONS)


def own_handout_template() -> str:
    """The text of the program's own template, to copy and edit."""
    return own_text(TEMPLATE)


def placeholders() -> list[str]:
    """The documented set of placeholders, a line each, and the conditions that ``when`` may name."""
    return [*placeholder_help(PLACEHOLDERS), *(f'when = "{condition}"' for condition in CONDITIONS)]


@cache
def _own_template() -> Template:
    return handout_template(own_text(TEMPLATE), TEMPLATE)


def _lines(line: Line, facts: HandoutFacts) -> list[str]:
    if len(line) == 1 and line[0].is_name and PLACEHOLDERS[line[0].text].block:
        return facts.block(line[0].text)
    put = [(facts.word(piece.text) if piece.is_name else piece.text, piece.is_name) for piece in line]
    if any(is_name and not words for words, is_name in put):
        return []
    return ["".join(words for words, _ in put)]


__all__ = [
    "CONDITIONS",
    "HTML_POINTS",
    "LARGE_PRINT_COLUMNS",
    "PLACEHOLDERS",
    "Part",
    "handout_html",
    "handout_parts",
    "handout_template",
    "handout_text",
    "own_handout_template",
    "placeholders",
]
