"""What we ask of the terminal before anything is drawn: can it show a full screen, and in which characters.

Nothing here imports the screen framework: `prepare` has to run before its first import, because the framework
reads its settings from the environment once.
"""

from __future__ import annotations

import gc
import os
import sys
from collections.abc import Mapping, MutableMapping
from io import TextIOWrapper
from typing import TextIO

from .signs import UNICODE_SIGNS, use_signs

# New things before the youngest are looked at, and how often that goes before each older kind is; by itself the
# interpreter takes 700, 10, 10.
MADE_BEFORE_COLLECTING = (700, 5, 2)

# Terminal descriptions that cannot move the cursor at will.
_CANNOT = {"dumb", "unknown", "network", "hardcopy", "glasstty"}


def refusal_for_terminal(env: Mapping[str, str], *, windows: bool = sys.platform == "win32") -> str | None:
    """One sentence when the terminal described by `env` cannot show the screen, else None.

    The caller prints the sentence on stderr and ends with exit status 2.
    """
    term = env.get("TERM", "").strip().lower()
    if windows and not term:
        return None
    if not term:
        return (
            "TERM is not set, so the screen cannot be drawn; set it to the terminal in use "
            "(for example TERM=xterm-256color), or use a command without a screen: afocal plan CASE."
        )
    if term in _CANNOT:
        return (
            f"TERM={term} is a terminal that cannot draw a screen; use another one "
            "(for example TERM=xterm-256color), or a command without a screen: afocal plan CASE."
        )
    return None


def refusal_for_streams(keys: TextIO | None, screen: TextIO | None) -> str | None:
    """One sentence when keys or screen are not a terminal but a file or a pipe, else None."""
    for name, stream in (
        ("standard input", keys),
        ("the stream on which the screen is drawn", screen),
    ):
        if stream is None or not stream.isatty():
            return (
                f"{name} is not a terminal, so the screen cannot be used; "
                "use the commands without a screen, such as: afocal plan CASE."
            )
    return None


def takes_unicode(encoding: str | None) -> bool:
    """True when every sign of the Unicode set can be encoded for this stream."""
    if not encoding:
        return False
    signs = "".join(value for value in UNICODE_SIGNS if isinstance(value, str))
    try:
        (signs + "−°²×≤").encode(encoding)
    except (LookupError, UnicodeEncodeError):
        return False
    return True


def ascii_only(env: Mapping[str, str], encoding: str | None) -> bool:
    """True when plain ASCII must be drawn: asked for by AFOCAL_ASCII, or the stream takes nothing else."""
    asked = env.get("AFOCAL_ASCII", "").strip().lower()
    if asked in {"1", "yes", "true", "on"}:
        return True
    if asked in {"0", "no", "false", "off"}:
        return False
    return not takes_unicode(encoding)


def settled() -> None:
    """All that a case needs is loaded: what is there stays, and the collector looks at new things only.

    As they are few then, those that survived are looked at often: what repaints leave behind goes before it heaps up.
    """
    gc.freeze()
    gc.set_threshold(*MADE_BEFORE_COLLECTING)
    gc.enable()


colours_refused = False
"""True after `prepare` when NO_COLOR asks for no colour (no-color.org: set, and not empty)."""


def few_colours(env: Mapping[str, str]) -> bool:
    """True when the terminal described by `env` has at most the 16 colours of its palette, or none are wanted."""
    if colours_refused or env.get("NO_COLOR"):
        return True
    if env.get("COLORTERM", "").strip().lower() in {"truecolor", "24bit"} or "WT_SESSION" in env:
        return False
    term = env.get("TERM", "").strip().lower()
    return bool(term) and not term.endswith(("256color", "direct", "kitty", "alacritty", "foot", "ghostty"))


def screen_stream() -> TextIO | None:
    """The stream on which the framework draws: stdout on Windows, stderr elsewhere."""
    return sys.__stdout__ if sys.platform == "win32" else sys.__stderr__


def prepare(env: MutableMapping[str, str] | None = None) -> None:
    """Set up environment, signs and stream; call it before the screen framework is imported.

    Animations go off. NO_COLOR is kept in `colours_refused` and taken out of the environment: the framework
    would turn colours to greys, where our theme on the terminal's own palette sends none. A character that the
    stream cannot encode becomes a question mark, never an exception. The garbage collector rests until the
    modules of a case are loaded (`settled`): a start-up makes much and throws little away.
    """
    global colours_refused
    gc.disable()
    env = os.environ if env is None else env
    colours_refused = bool(env.pop("NO_COLOR", ""))
    env["TEXTUAL_ANIMATIONS"] = "none"
    # What a key sets off in a second frame follows after 8 ms then, not after 17; nothing is sent that did not change.
    env.setdefault("TEXTUAL_FPS", "120")
    stream = screen_stream()
    use_signs(ascii_only=ascii_only(env, getattr(stream, "encoding", None)))
    if isinstance(stream, TextIOWrapper):
        stream.reconfigure(errors="replace")
