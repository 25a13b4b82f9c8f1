"""Plain text that is safe anywhere: no control characters, a fixed width in columns, ASCII on request.

Whatever a document shows of a record passes through :func:`clean` first. A column is a column of a terminal:
a wide character takes two, a combining mark none.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable
from typing import Literal

Letters = Literal["utf-8", "ascii"]
WIDTH = 72
# For a screen that breaks lines itself: no paragraph is longer.
ENDLESS = 1_000_000

_ASCII = {
    "×": "x",
    "−": "-",
    "–": "-",
    "—": "-",
    "‑": "-",
    "°": " deg",
    "²": "2",
    "³": "3",
    "·": "*",
    "½": "1/2",
    "¼": "1/4",
    "¾": "3/4",
    "µ": "u",
    "μ": "u",
    "Δ": "prism D",
    "≤": "<=",
    "≥": ">=",
    "≈": "~",
    "±": "+/-",
    "√": "sqrt",
    "′": "'",
    "″": '"',
    "‘": "'",
    "’": "'",
    "“": '"',
    "”": '"',
    "…": "...",
    "→": "->",
    "•": "-",
    "ß": "ss",
    "Æ": "AE",
    "æ": "ae",
    "Ø": "O",
    "ø": "o",
    "Œ": "OE",
    "œ": "oe",
    "Ł": "L",
    "ł": "l",
    "Đ": "D",
    "đ": "d",
    "Þ": "Th",
    "þ": "th",
    "ð": "d",
    "η": "eta",
    "θ": "theta",
    "τ": "tau",
    "β": "beta",
    "δ": "delta",
    "α": "alpha",
    "γ": "gamma",
    "σ": "sigma",
    "π": "pi",
    "λ": "lambda",
    "∞": "infinity",
    "′′": '"',
}
# Invisible format characters that change what a reader sees: direction marks, tags, zero-width ones.
_UNSAFE_CATEGORIES = {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}


def clean(value: object, *, lines: bool = False, limit: int = 20_000) -> str:
    """``value`` as text without control, direction-turning or private characters, spaces made single.

    With ``lines`` its line ends stay (as ``\\n``); otherwise it becomes one line. Longer than ``limit``
    characters it is cut, with a sign that it was.
    """
    text = (
        str(value).replace("\r\n", "\n").replace("\r", "\n").replace("\u2028", "\n").replace("\u2029", "\n")
    )
    text = text.replace("\x0b", "\n").replace("\x0c", "\n").replace("\x85", "\n").expandtabs(4)
    # Most texts are one line of printable letters: nothing of theirs is unsafe, and ASCII has no marks.
    if not text.isprintable():
        text = "".join(c for c in text if c == "\n" or unicodedata.category(c) not in _UNSAFE_CATEGORIES)
    kept = text if text.isascii() else _few_marks(text)
    rows = [" ".join(row.split()) for row in kept.split("\n")]
    shown = "\n".join(rows).strip("\n") if lines else " ".join(row for row in rows if row)
    return shown if len(shown) <= limit else shown[: limit - 2] + " …"


def _few_marks(text: str) -> str:
    """At most three combining marks on a letter: a tower of them would run over the lines above."""
    if not any(map(unicodedata.combining, text)):
        return text
    kept: list[str] = []
    marks = 0
    for character in text:
        marks = marks + 1 if unicodedata.combining(character) else 0
        if marks <= 3:
            kept.append(character)
    return "".join(kept)


def in_letters(text: str, letters: Letters) -> str:
    """``text`` in the letters asked for; for "ascii", signs are spelled and accents dropped, ``?`` for the rest."""
    if letters == "utf-8" or text.isascii():
        return text
    kept: list[str] = []
    for character in text:
        if character.isascii():
            kept.append(character)
        elif character in _ASCII:
            kept.append(_ASCII[character])
        else:
            plain = "".join(
                c for c in unicodedata.normalize("NFKD", character) if not unicodedata.combining(c)
            )
            kept.append(plain if plain.isascii() else "?")
    return "".join(kept)


def columns(text: str) -> int:
    """How many columns of a terminal ``text`` takes."""
    if text.isascii():
        return len(text)
    return sum(_columns_of(character) for character in text)


def _columns_of(character: str) -> int:
    if unicodedata.combining(character):
        return 0
    return 2 if unicodedata.east_asian_width(character) in "WF" else 1


def fill(text: str, *, width: int = WIDTH, first: str = "", rest: str = "") -> list[str]:
    """``text`` in lines of at most ``width`` columns; ``first`` and ``rest`` stand before the lines.

    A word longer than a line is cut, so that nothing ever runs over the edge.
    """
    rows: list[str] = []
    row, begun = first, False
    for word in _short_words(text.split(), width - max(columns(first), columns(rest))):
        gap = " " if begun else ""
        if begun and columns(row) + 1 + columns(word) > width:
            rows.append(row)
            row, gap = rest, ""
        row, begun = row + gap + word, True
    if begun or first.strip():
        rows.append(row)
    return [row.rstrip() for row in rows]


def _short_words(words: Iterable[str], room: int) -> Iterable[str]:
    for word in words:
        while columns(word) > room:
            cut = 0
            taken = 0
            while taken + _columns_of(word[cut]) <= room:
                taken += _columns_of(word[cut])
                cut += 1
            yield word[:cut]
            word = word[cut:]
        if word:
            yield word


def unfolded(text: str, rest: str = "  ") -> list[str]:
    """The lines of a text before :func:`fill` broke them: one that starts with ``rest`` belongs to the one before."""
    rows: list[str] = []
    for line in text.splitlines():
        if rows and rows[-1] and line.startswith(rest) and line.strip():
            rows[-1] += f" {line.strip()}"
        else:
            rows.append(line)
    return rows


def paragraphs(text: str, *, width: int = WIDTH, indent: str = "") -> list[str]:
    """Text of several lines, each filled by itself; empty lines are kept, two in a row become one."""
    rows: list[str] = []
    for line in text.split("\n"):
        filled = fill(line, width=width, first=indent, rest=indent) if line.strip() else [""]
        if filled == [""] and (not rows or rows[-1] == ""):
            continue
        rows.extend(filled)
    return rows


def number(value: float, places: int = 2) -> str:
    """A number for reading: fixed places, no minus zero."""
    shown = f"{value:.{places}f}"
    return shown.removeprefix("-") if float(shown) == 0 else shown


def signed(value: float, places: int = 2) -> str:
    """A dioptre or prism figure with its sign; zero has a plus, so that the sign was not forgotten."""
    shown = f"{value:+.{places}f}"
    return "+" + shown[1:] if float(shown) == 0 else shown
