"""Makes text from files, names and keys fit for one line of a terminal."""

from __future__ import annotations

import re

# Controls (C0, DEL, C1), line and paragraph separators, characters that turn the direction, half surrogates.
_UNSHOWABLE = re.compile("[\x00-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069\ud800-\udfff]")


def printable(text: object, limit: int = 300) -> str:
    """``text`` fit for one line of a terminal: no control or direction-turning characters, at most
    ``limit`` long."""
    shown = _UNSHOWABLE.sub(lambda found: f"\\u{ord(found[0]):04x}", str(text))
    return shown if len(shown) <= limit else shown[: limit - 1] + "…"
