"""What an error says is one line that a terminal may be given."""

from __future__ import annotations

from pathlib import Path

import pytest

from afocal.core.errors import FileRefusal
from afocal.core.printable import printable

HOSTILE = [
    "\x1b[2J",
    "\x9b31m",
    "a\nb",
    "a\rb",
    "\u202eabc",
    "\u2028",
    "\x07",
    "\x00",
    "\ud83d",
    "\x1b]0;title\x07",
]


@pytest.mark.parametrize("word", HOSTILE)
def test_a_file_refusal_carries_no_command_to_the_terminal(word):
    """Path, key, reason and nearest key come from disks and files; each is shown without its control characters."""
    said = str(
        FileRefusal(Path(f"cases/{word}.toml"), f"bad {word}", line=3, key=f"k{word}", nearest=f"n{word}")
    )
    assert said.isprintable()
    assert ":3: " in said and "bad " in said


def test_plain_text_stays_as_it_is():
    """Accents, signs and other scripts are not touched; what is too long is cut with a sign."""
    assert printable("Größe −2.00 × 90°, 眼") == "Größe −2.00 × 90°, 眼"
    assert printable("a" * 400) == "a" * 299 + "…"
    assert printable("\x1b") == "\\u001b"
