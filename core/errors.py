"""Every error that afocal raises on purpose, each able to say itself in one sentence to a clinician.

Raise one of these, never a bare ValueError, for anything that a person can cause: the screen and the
command line show ``str(error)`` as it is.
"""

from __future__ import annotations

from pathlib import Path

from .printable import printable


class AfocalError(Exception):
    """The common ancestor: whoever catches it can show ``str(error)`` to the user."""


class Refusal(AfocalError):
    """A value or a computation that is refused, with the field, the value, what is accepted and an example.

    ``field`` is the plain name of the quantity, ``value`` what was given, ``accepted`` completes "accepted is …",
    ``example`` is something that would pass, ``reason`` is the clinical or optical reason where there is one.
    """

    def __init__(
        self, field: str, value: object, accepted: str = "", *, example: str = "", reason: str = ""
    ) -> None:
        self.field = field
        self.value = value
        self.accepted = accepted
        self.example = example
        self.reason = reason
        super().__init__(field, value, accepted, example, reason)

    def __str__(self) -> str:
        shown = f"{self.value:g}" if isinstance(self.value, float) else str(self.value)
        head = f"{self.field}: {shown}" if shown else self.field
        parts = [head]
        if self.reason:
            parts.append(self.reason)
        if self.accepted:
            parts.append(f"accepted is {self.accepted}")
        sentence = "; ".join(parts)
        if self.example:
            sentence += f" (for example {self.example})"
        return sentence + "."


class EntryRefusal(Refusal):
    """Typed text that could not be read as a value of its field."""


class RangeRefusal(Refusal):
    """A number outside the range accepted for its quantity."""


class DomainRefusal(Refusal):
    """A formula asked for outside the region where it holds: a pole, an object inside the tube, M near 1."""


class ClinicalRefusal(Refusal):
    """Arithmetic that would mislead the clinic: a magnification from hand motion, two tubes without fusion."""


class FileRefusal(AfocalError):
    """A file that cannot be used: path, line and key where known, the reason, and the nearest known key."""

    def __init__(
        self, path: str | Path, reason: str, *, line: int | None = None, key: str = "", nearest: str = ""
    ) -> None:
        self.path = Path(path)
        self.reason = reason
        self.line = line
        self.key = key
        self.nearest = nearest
        super().__init__(str(path), reason, line, key, nearest)

    def __str__(self) -> str:
        # Names and keys come from disks and files: none of them may carry a command to the terminal.
        path = printable(self.path, 1000)
        place = path if self.line is None else f"{path}:{self.line}"
        key = f"{printable(self.key, 120)}: " if self.key else ""
        nearest = f" (did you mean {printable(self.nearest, 120)}?)" if self.nearest else ""
        return f"{place}: {key}{printable(self.reason, 1000)}{nearest}"
