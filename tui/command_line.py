"""The command line: opens the screen, or does one thing without it and without loading the screen library.

Results go to standard output, messages to standard error. Exit status: 0 good, 1 the data is wrong, 2 the call is
wrong. What can be called and with which arguments is declared in ``calls``, which is loaded only when it is needed:
a bare `afocal` opens the screen without it.
"""

from __future__ import annotations

import gc
import os
import sys
from collections.abc import Sequence
from pathlib import Path

from ..core.errors import AfocalError, EntryRefusal, FileRefusal
from . import output
from .output import say, write

GOOD, DATA_WRONG, CALL_WRONG = 0, 1, 2
INTERRUPTED = 130
MADE_BEFORE_COLLECTING = 200_000


def main(words: Sequence[str] | None = None) -> int:
    """Run the command line and return the exit status."""
    words = list(sys.argv[1:] if words is None else words)
    output.prepare()
    try:
        status = _run(words)
        output.finish()
    except BrokenPipeError:
        # Whoever read the output has seen enough.
        output.forget_output()
        return GOOD
    except KeyboardInterrupt:
        output.forget_output()
        return INTERRUPTED
    except AfocalError as error:
        say(error)
        return CALL_WRONG if _names_no_case(error) else DATA_WRONG
    except OSError as error:
        # A disk that is full or a folder that may not be read, met where no file of ours is to blame.
        output.forget_output()
        say(f"{error.filename or 'output'}: {error.strerror or error}")
        return DATA_WRONG
    return status


def _names_no_case(error: AfocalError) -> bool:
    if isinstance(error, FileRefusal):
        from ..core.workspace import NO_SUCH_CASE

        return error.reason == NO_SUCH_CASE
    return isinstance(error, EntryRefusal) and error.field == "case to remove"


def _run(words: list[str]) -> int:
    if not words:
        return _open_screen()
    from .calls import run_verb, screen_parser, verb_in

    place = verb_in(words)
    if place is None:
        asked = screen_parser().parse_args(words)
        if asked.version:
            from ..core.documents.version import made_by

            write(made_by())
            return GOOD
        return _open_screen(asked.case or "", demo=asked.demo, cases=asked.cases, stock=asked.stock)
    usual = gc.get_threshold()
    # One answer makes much and throws little away: looking for garbage as often as usual costs a tenth of the time.
    gc.set_threshold(MADE_BEFORE_COLLECTING, *usual[1:])
    try:
        return run_verb(words, place)
    finally:
        gc.set_threshold(*usual)


def _open_screen(
    case: str = "", *, demo: bool = False, cases: Path | None = None, stock: Path | None = None
) -> int:
    from .terminal import refusal_for_terminal

    refusal = refusal_for_terminal(os.environ)
    if refusal or not (_is_terminal(sys.stdin) and _is_terminal(sys.stdout)):
        say(refusal or "The screen needs a terminal; 'afocal --help' lists what works without one.")
        return CALL_WRONG
    from .start import open_screen

    return open_screen(case, demo=demo, cases=cases, stock=stock)


def _is_terminal(stream: object) -> bool:
    return stream is not None and stream.isatty()  # type: ignore[attr-defined]
