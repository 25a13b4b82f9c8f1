"""What may reach the terminal: the one place that makes foreign text harmless.

Text from files, from keys and from the clipboard is never markup and never a terminal command. Every widget
passes what it draws through `shown`, and what it takes in through `clean`.
"""

from __future__ import annotations

import re
import unicodedata

from rich.cells import cell_len, set_cell_size

from .signs import current_signs

# ECMA-48 control sequences (CSI … final), operating system commands (OSC … BEL or ST), and two-byte escapes.
_SEQUENCE = re.compile(
    "(?:\x1b\\[|\x9b)[0-?]*[ -/]*[@-~]"
    "|(?:\x1b[\\]PX^_]|[\x9d\x90\x98\x9e\x9f])[^\x07\x1b\x9c]*(?:\x07|\x1b\\\\|\x9c)?"
    "|\x1b[ -/]*[0-~]"
)

# Categories that have no glyph of their own: controls, format characters (all bidirectional overrides and
# isolates are among them), surrogates, private use, unassigned, line and paragraph separators.
_UNSAFE_CATEGORIES = frozenset({"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"})

_ASCII_WORDS = {
    "−": "-",
    "–": "-",
    "—": "-",
    "‘": "'",
    "’": "'",
    "“": '"',
    "”": '"',
    "…": "...",
    "×": "x",
    "÷": "/",
    "·": ".",
    "°": " deg",
    "′": "'",
    "″": '"',
    "±": "+/-",
    "≤": "<=",
    "≥": ">=",
    "≈": "~",
    "≠": "!=",
    "→": "->",
    "←": "<-",
    "↑": "^",
    "↓": "v",
    "√": "sqrt ",
    "∞": "infinity",
    "∆": "pd",
    "Δ": "pd",
    "µ": "u",
    "μ": "u",
    "½": "1/2",
    "¼": "1/4",
    "¾": "3/4",
    "§": "section ",
    "•": "*",
}


def clean(text: object, *, newlines: bool = False) -> str:
    """The text without control characters, escape sequences and direction overrides.

    Tabs become one blank; line breaks stay when `newlines` is true, else they become one blank too.
    """
    string = str(text)
    # A printable sign is none of a sequence, and its category is none of the unsafe ones.
    if string.isprintable():
        return string
    string = _SEQUENCE.sub("", string.replace("\r\n", "\n").replace("\r", "\n"))
    return "".join(_safe_character(character, newlines) for character in string)


def _safe_character(character: str, newlines: bool) -> str:
    if character == "\n":
        return "\n" if newlines else " "
    if character in "\t\u2028\u2029":
        return " "
    return "" if unicodedata.category(character) in _UNSAFE_CATEGORIES else character


def to_ascii(text: str) -> str:
    """The text in plain ASCII: signs of the trade spelled out, accents dropped, the rest a question mark."""
    if text.isascii():
        return text
    spelled = "".join(_ASCII_WORDS.get(character, character) for character in text)
    decomposed = unicodedata.normalize("NFKD", spelled)
    return "".join(
        character if character.isascii() else "" if unicodedata.combining(character) else "?"
        for character in decomposed
    )


def shown(text: object, *, newlines: bool = False) -> str:
    """What a widget may draw: cleaned, and in plain ASCII where the terminal takes nothing else."""
    cleaned = clean(text, newlines=newlines)
    return to_ascii(cleaned) if current_signs().ascii_only else cleaned


def shown_in_place(text: str) -> str:
    """The same for text under a caret: one sign for each sign, so that positions stay what they are."""
    if not current_signs().ascii_only or text.isascii():
        return text
    return "".join(
        character if len(character) == 1 else character[:1] or "?" for character in map(to_ascii, text)
    )


def fit(text: str, width: int) -> str:
    """The text in exactly `width` cells: padded with blanks, or cut with the sign for "goes on"."""
    if width <= 0:
        return ""
    if text.isascii():
        length = len(text)
        if length <= width:
            return text + " " * (width - length)
        more = current_signs().more
        return text[: width - len(more)] + more if width > len(more) else text[:width]
    if cell_len(text) <= width:
        return set_cell_size(text, width)
    more = current_signs().more
    return set_cell_size(text, width - len(more)) + more if width > len(more) else set_cell_size(text, width)


def fit_keeping_end(text: str, width: int) -> str:
    """The same, but cut before the last word, which tells a text from others that begin alike, where there is room."""
    head, _, end = text.rpartition(" ")
    kept = cell_len(end) + 1
    if not head or cell_len(text) <= width or 3 * kept > 2 * width:
        return fit(text, width)
    return f"{fit(head, width - kept)} {end}"


def wrap(text: str, width: int) -> list[str]:
    """The text in lines of at most `width` cells, broken at blanks, a longer word broken where it must."""
    width = max(1, width)
    lines: list[str] = []
    for paragraph in text.split("\n"):
        line = ""
        for word in paragraph.split(" "):
            candidate = f"{line} {word}" if line else word
            if cell_len(candidate) <= width:
                line = candidate
                continue
            if line:
                lines.append(line)
            while cell_len(word) > width:
                head = _head(word, width)
                lines.append(head)
                word = word[len(head) :]
            line = word
        lines.append(line)
    return lines


def _head(word: str, width: int) -> str:
    """The longest beginning of a word that fits into `width` cells, at least one character."""
    size = 0
    for index, character in enumerate(word):
        size += cell_len(character)
        if size > width:
            return word[: max(1, index)]
    return word
