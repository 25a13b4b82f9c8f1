"""Which texts of the clinic's own files were found good by this program, so that they are not checked at every start.

Only digests are kept, in one small file of the cache folder; it may be deleted at any time. A text counts as known only
for the program that checked it: any newer file of the program's own makes everything unknown again.
"""

from __future__ import annotations

import os
from contextlib import suppress
from hashlib import sha256
from pathlib import Path
from secrets import token_hex

from ..errors import FileRefusal
from .files import make_private_folder, write_durably

MOST_KEPT = 64
_MOST_BYTES = MOST_KEPT * 128
_PROGRAM = Path(__file__).parents[1]


def is_known_good(memory: Path, kind: str, text: str) -> bool:
    """Whether this program found this text good as a file of this kind; False whenever that cannot be told."""
    return _digest(kind, text) in _kept(memory)


def remember_good(memory: Path, kind: str, text: str) -> None:
    """Remember that this program found the text good. A cache that cannot be written only costs time."""
    kept = [*_kept(memory), _digest(kind, text)][-MOST_KEPT:]
    with suppress(OSError, FileRefusal):
        make_private_folder(memory.parent)
        fresh = memory.with_name(f"{memory.name}.{token_hex(4)}")
        write_durably(fresh, "".join(f"{digest}\n" for digest in kept).encode("ascii"))
        os.replace(fresh, memory)


def _kept(memory: Path) -> list[str]:
    try:
        with memory.open("rb") as file:
            return file.read(_MOST_BYTES).decode("ascii", "replace").split()
    except OSError:
        return []


def _digest(kind: str, text: str) -> str:
    stamp = f"{kind}\n{_program_stamp()}\n"
    return sha256(stamp.encode("ascii") + text.encode("utf-8", "surrogatepass")).hexdigest()


def _program_stamp() -> int:
    """When the newest file beside the declarations was written, in nanoseconds."""
    newest = 0
    with suppress(OSError), os.scandir(_PROGRAM) as entries:
        for entry in entries:
            if entry.name.endswith(".py"):
                newest = max(newest, entry.stat().st_mtime_ns)
    return newest
