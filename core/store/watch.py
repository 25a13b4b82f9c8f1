"""Seeing that somebody else changed the open case: one ``stat`` a look, the content when that differs.

Now and then the content is read all the same: where a clock counts whole seconds, or a share keeps no change times,
two versions of one length can look alike.
"""

from __future__ import annotations

import time
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from ..errors import FileRefusal
from .files import Stamp, current_stamp
from .filesystem import REAL, FileSystem, reason_of

READ_EVERY_S = 30.0


@dataclass(frozen=True, slots=True)
class Seen:
    """What a look found: unchanged, changed (with the new stamp), gone, or out of reach with the reason."""

    kind: Literal["unchanged", "changed", "gone", "unreachable"]
    stamp: Stamp | None = None
    reason: str = ""


class Watch:
    """Watches one file against the stamp that the caller knows."""

    def __init__(self, path: Path, *, fs: FileSystem = REAL) -> None:
        self.path = path
        self._fs = fs
        self._looked_at: tuple[int, int, int, int] | None = None
        self._last: Stamp | None = None
        self._read_at = 0.0

    def look(self, known: Stamp | None) -> Seen:
        """Compare the file with ``known`` (None: no file expected). Takes microseconds when nothing
        happened."""
        try:
            status = self._fs.lstat(self.path)
        except FileNotFoundError:
            return Seen("gone" if known else "unchanged")
        except OSError as error:
            return Seen("unreachable", None, reason_of(error))
        state = (status.st_mtime_ns, status.st_ctime_ns, status.st_size, status.st_ino)
        if state != self._looked_at or time.monotonic() - self._read_at > READ_EVERY_S:
            try:
                self._last = current_stamp(self.path, fs=self._fs)
            except OSError as error:
                return Seen("unreachable", None, reason_of(error))
            except FileRefusal as error:
                return Seen("unreachable", None, error.reason)
            self._looked_at, self._read_at = state, time.monotonic()
        if self._last is not None and self._last.same_content(known):
            return Seen("unchanged", self._last)
        return Seen("changed", self._last)
