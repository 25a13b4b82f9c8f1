"""The signs that mark state on the screen, in two sets: one for Unicode terminals, one in plain ASCII.

A sign never stands alone for something that matters: a word goes with it. The choice of the set is made once,
at the start (`use_signs`), from what the output stream can encode.
"""

from __future__ import annotations

from typing import NamedTuple


class Signs(NamedTuple):
    """One set of signs; every sign is one cell wide, so that columns stay where they are."""

    ascii_only: bool
    here: str
    """marks the focused row"""
    rests: str
    """marks the row to which the caret will come back in a part without the focus"""
    more: str
    """ends a text that goes on"""
    above: str
    below: str
    assumed: str
    carried: str
    error: str
    ok: str
    check: str
    no: str
    rule: str
    """a horizontal line"""
    bar: str
    """a vertical line"""
    reads: str
    """stands before what was understood of a typed value"""
    field_start: str = "["
    field_end: str = "]"


UNICODE_SIGNS = Signs(
    ascii_only=False,
    here="►",
    rests="·",
    more="…",
    above="▲",
    below="▼",
    assumed="≈",
    carried="←",
    error="!",
    ok="√",
    check="?",
    no="×",
    rule="─",
    bar="│",
    reads="=",
)

ASCII_SIGNS = Signs(
    ascii_only=True,
    here=">",
    rests=".",
    more="~",
    above="^",
    below="v",
    assumed="~",
    carried="<",
    error="!",
    ok="+",
    check="?",
    no="x",
    rule="-",
    bar="|",
    reads="=",
)

_current = UNICODE_SIGNS


def current_signs() -> Signs:
    """The set in use."""
    return _current


def use_signs(*, ascii_only: bool) -> None:
    """Choose the set; the terminal module decides which."""
    global _current
    _current = ASCII_SIGNS if ascii_only else UNICODE_SIGNS
