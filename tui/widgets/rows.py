"""What a row of a form is, and how it is laid out in a given width: pure data in, lines of pieces out."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

from rich.cells import cell_len

from ..safe_text import fit, shown, wrap
from ..signs import current_signs
from .drawn import Piece, line_width

Status = Literal["", "assumed", "carried over", "error", "ok", "check", "no", "open", "optional"]

NARROW = 60
"""below this many columns labels go above their fields"""
_FIELD_WIDTHS = ((110, 28), (72, 20), (NARROW, 18))
_MARKER = 2
_NOTE_LINES = 3


@dataclass(frozen=True)
class Row:
    """One row of a form: a field, or a heading.

    `text` is what stands in the field, `echo` what was understood of it, `status` a word shown with its sign,
    `wanted` what should stand there (in place of the choices),
    `error` the sentence about a refused text, `note` a remark that stays, `choices` the words to choose from,
    `help` the sentence for F1 (not drawn here).
    """

    key: str
    label: str
    short_label: str = ""
    unit: str = ""
    text: str = ""
    echo: str = ""
    status: Status = ""
    error: str = ""
    note: str = ""
    choices: tuple[str, ...] = ()
    wanted: str = ""
    multiline: bool = False
    heading: bool = False
    help: str = ""


@dataclass(frozen=True)
class Columns:
    """The columns that all rows of a form share in one width."""

    width: int
    narrow: bool
    label: int
    field: int

    @property
    def field_x(self) -> int:
        """The first cell inside the field's brackets."""
        return _MARKER + self.label + 1

    @property
    def after_x(self) -> int:
        """The cell after the closing bracket."""
        return self.field_x + self.field + 1


@dataclass(frozen=True)
class DrawnRow:
    """A row laid out: its lines, and where its field is within them."""

    lines: tuple[tuple[Piece, ...], ...]
    field_line: int
    field_x: int
    field_width: int
    field_height: int = 1


def columns_for(rows: tuple[Row, ...], width: int) -> Columns:
    """The common columns: labels as wide as the widest, within reason."""
    if width < NARROW:
        return Columns(width, True, 0, max(4, min(22, width - 12)))
    longest = max((cell_len(shown(row.label)) for row in rows if not row.heading), default=10)
    field = next(field for least, field in _FIELD_WIDTHS if width >= least)
    return Columns(width, False, min(longest + 1, max(14, width * 2 // 5)), field)


def draw_row(row: Row, columns: Columns, *, is_current: bool = False) -> DrawnRow:
    """Lay out one row. The current one names its choices, in the room that is left: no line moves for it."""
    if row.heading:
        return _heading(row, columns)
    if row.multiline:
        return _multiline(row, columns)
    lead: list[tuple[Piece, ...]] = []
    choices = _choices(row) if is_current else ""
    if columns.narrow:
        lead.append(_label_line(row, columns, choices))
        first: list[Piece] = [(" " * _MARKER, "here")]
    else:
        label = fit(_label(row, columns.label - 1), columns.label - 1) + " "
        first = [(" " * _MARKER, "here"), (label, "label")]
    signs = current_signs()
    value = fit(shown(row.text), columns.field)
    first += [(signs.field_start, "bracket"), (value, "field"), (signs.field_end, "bracket")]
    lines = _flow(first, _after(row, columns.field), columns)
    room = columns.width - line_width(lines[0]) - 1
    if choices and not columns.narrow and room >= _LEAST_CHOICES:
        lines[0] = (*lines[0], (" " + fit(choices, min(room, cell_len(choices))), "note"))
    lines += _sentences(row, columns)
    return DrawnRow((*lead, *lines), len(lead), columns.field_x, columns.field)


# A blank, the sign and a blank stand before an echo; fewer cells of it than this say nothing.
_BEFORE_ECHO, _LEAST_ECHO = 3, 5
# Fewer cells than this do not say anything of the words to choose from.
_LEAST_CHOICES = 12


def with_echo_cut(row: Row, columns: Columns) -> Row:
    """The row with as much of its echo as fits behind the field; with none where that would say nothing."""
    bare = draw_row(replace(row, echo=""), columns)
    room = columns.width - line_width(bare.lines[bare.field_line]) - _BEFORE_ECHO
    return replace(row, echo=fit(shown(row.echo), room).rstrip() if room >= _LEAST_ECHO else "")


def _choices(row: Row) -> str:
    if not row.choices or row.wanted or row.echo:
        return ""
    return "one of: " + ", ".join(shown(choice) for choice in row.choices)


def _label_line(row: Row, columns: Columns, choices: str) -> tuple[Piece, ...]:
    """The line above a field where it is narrow: the label, and the words to choose from behind it."""
    width = columns.width - _MARKER
    label = _label(row, width)
    room = width - cell_len(label) - 2
    if choices and room >= _LEAST_CHOICES:
        tail = fit(choices.removeprefix("one of: "), room)
        return ((" " * _MARKER, "plain"), (label + ": ", "label"), (tail, "note"))
    return ((" " * _MARKER, "plain"), (fit(label, width), "label"))


def _label(row: Row, room: int) -> str:
    label = shown(row.label)
    return shown(row.short_label) if row.short_label and cell_len(label) > room else label


def _after(row: Row, field: int = 0) -> list[Piece]:
    """What follows the field, each piece unbroken where the width allows; a text too long for it stands there whole."""
    signs = current_signs()
    pieces: list[Piece] = []
    if row.unit:
        pieces.append((shown(row.unit), "unit"))
    status = _STATUS.get(row.status)
    if status:
        pieces.append((f"{getattr(signs, status)} {row.status}", status))
    elif row.status:
        pieces.append((row.status, "note"))
    if row.wanted:
        pieces.append((f"wanted {shown(row.wanted)}", "note"))
    echo = row.echo or (row.text if field and cell_len(shown(row.text)) > field else "")
    if echo:
        pieces.append((f"{signs.reads} {shown(echo)}", "echo"))
    return pieces


# The sign and role of each status; one without stands as a word only.
_STATUS = {
    "assumed": "assumed",
    "carried over": "carried",
    "error": "error",
    "ok": "ok",
    "check": "check",
    "no": "no",
}


def _flow(first: list[Piece], after: list[Piece], columns: Columns) -> list[tuple[Piece, ...]]:
    """The pieces after the field on the same line as far as they fit, the rest below, at the field."""
    lines: list[list[Piece]] = [first]
    indent = columns.field_x - 1
    for text, role in after:
        used = line_width(lines[-1])
        if used + 1 + cell_len(text) <= columns.width:
            lines[-1].append((" " + text, role))
            continue
        for part in wrap(text, columns.width - indent):
            lines.append([(" " * indent, "plain"), (part, role)])
    return [tuple(line) for line in lines]


def _sentences(row: Row, columns: Columns) -> list[tuple[Piece, ...]]:
    """Error and note, wrapped, below the field."""
    indent = _MARKER if columns.narrow else min(columns.field_x - 1, columns.width // 3)
    lines: list[tuple[Piece, ...]] = []
    for text, role, sign in ((row.error, "error", current_signs().error + " "), (row.note, "note", "")):
        if text:
            for part in wrap(sign + shown(text), columns.width - indent):
                lines.append(((" " * indent, "plain"), (part, role)))
    return lines


def _heading(row: Row, columns: Columns) -> DrawnRow:
    """The heading with a line behind it, on as many lines as its words need."""
    rule = current_signs().rule
    lines: list[tuple[Piece, ...]] = []
    for number, text in enumerate(wrap(shown(row.label), max(1, columns.width - 4)) or [""]):
        tail = rule * max(0, columns.width - cell_len(text) - 4)
        first = number == 0
        lines.append(
            (
                ((rule if first else " ") * 2 + " ", "rule"),
                (text, "heading"),
                (" " + tail if first else "", "rule"),
            )
        )
    return DrawnRow(tuple(lines), 0, 0, 0, 0)


def _multiline(row: Row, columns: Columns) -> DrawnRow:
    """A row of several lines of text: the label above, the text below it in the whole width."""
    width = columns.width - _MARKER
    head: list[Piece] = [(" " * _MARKER, "here"), (_label(row, width), "label")]
    lines = [tuple(head + [(" " + text, role) for text, role in _after(row)])]
    body = wrap(shown(row.text, newlines=True), width - 1)
    body += [""] * (_NOTE_LINES - len(body))
    lines += [((" " * _MARKER, "plain"), (fit(text, width), "field")) for text in body]
    height = len(body)
    return DrawnRow((*lines, *_sentences(row, columns)), 1, _MARKER, width, height)
