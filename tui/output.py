"""What the command line puts out: results on standard output, messages on standard error, in letters they can take."""

from __future__ import annotations

import os
import sys
from contextlib import suppress

from ..core.printable import printable

_LONGEST_MESSAGE = 4000


def prepare() -> None:
    """A letter that a stream cannot take becomes a question mark, never an exception."""
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="replace")


def say(text: object) -> None:
    """A message to the person, on standard error, without anything that a terminal would obey."""
    if sys.stderr is None:
        return
    for line in str(text).split("\n"):
        print(spelled(printable(line, _LONGEST_MESSAGE), sys.stderr.encoding), file=sys.stderr)


def write(text: str) -> None:
    """A result, on standard output, with exactly one line end at its end."""
    if sys.stdout is None:
        return
    whole = text if text.endswith("\n") else text + "\n"
    sys.stdout.write(spelled(whole, sys.stdout.encoding))


def write_line(text: object) -> None:
    """A result of one line that holds names of files."""
    write(printable(text, _LONGEST_MESSAGE))


def takes_utf8() -> bool:
    """Whether standard output takes every letter."""
    return _is_utf8(getattr(sys.stdout, "encoding", None))


def spelled(text: str, encoding: str | None) -> str:
    """The text as it is when the stream can take it, else with its signs spelled in plain letters."""
    if text.isascii() or _is_utf8(encoding):
        return text
    try:
        text.encode(encoding or "ascii")
    except (LookupError, UnicodeEncodeError):
        from ..core.documents.text import in_letters

        return in_letters(text, "ascii")
    return text


def _is_utf8(encoding: str | None) -> bool:
    return (encoding or "").lower().replace("-", "").replace("_", "") in ("utf8", "cp65001")


def finish() -> None:
    """Hand over what is still held back, so that a closed pipe or a full disk is met here and not at exit."""
    if sys.stdout is not None:
        sys.stdout.flush()


def forget_output() -> None:
    """After the reader has gone: what is left goes nowhere, and the end of the program does not fail once more."""
    with suppress(OSError, ValueError, AttributeError):
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, sys.stdout.fileno())
        os.close(nowhere)
