"""What a file was when it was read: its stamp, and the small things that reading and saving share."""

from __future__ import annotations

import os
import stat
from dataclasses import dataclass
from hashlib import sha256

from .filesystem import FileSystem

MAX_BYTES = 1024 * 1024  # a hundred times a case of many visits; even a hostile one parses in seconds
_CHUNK = 1 << 16


@dataclass(frozen=True, slots=True)
class Stamp:
    """What a file was when it was read: modification time, size in bytes, SHA-256 of its bytes (hex)."""

    mtime_ns: int
    size: int
    digest: str

    def same_content(self, other: Stamp | None) -> bool:
        """Content decides: a file that was only touched, or rewritten alike by a synchroniser, is
        unchanged."""
        return other is not None and self.digest == other.digest


def digest_of(data: bytes) -> str:
    """SHA-256 of ``data`` as lower-case hex."""
    return sha256(data).hexdigest()


def read_handle(handle: int, limit: int, fs: FileSystem) -> bytes:
    """All bytes of an open file, at most ``limit`` of them."""
    parts: list[bytes] = []
    left = limit
    while left > 0:
        part = fs.read(handle, min(left, _CHUNK))
        if not part:
            break
        parts.append(part)
        left -= len(part)
    return b"".join(parts)


def kind_of(status: os.stat_result) -> str:
    """What sort of thing a file-system entry is, in words."""
    mode = status.st_mode
    kinds = (
        (stat.S_ISLNK, "a symbolic link"),
        (stat.S_ISDIR, "a folder"),
        (stat.S_ISFIFO, "a pipe"),
        (stat.S_ISSOCK, "a socket"),
        (stat.S_ISCHR, "a device"),
        (stat.S_ISBLK, "a device"),
        (stat.S_ISREG, "an ordinary file"),
    )
    return next((words for test, words in kinds if test(mode)), "something that is no file")
