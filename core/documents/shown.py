"""A computed number as it is shown, and the words for lengths, criteria, corrections and settings of focus."""

from __future__ import annotations

from typing import NamedTuple

from ..configuration import Configuration
from .findings import Item
from .text import number

CORRECTION_WORDS = {
    "carrier": "correction in the carrier lens",
    "ocular": "correction behind the ocular",
    "objective": "correction at the objective",
    "refocused": "tube refocused for the uncorrected eye",
    "none": "no correction worn with it",
}
CRITERION_WORDS = {"full": "full-light limit", "half": "half-light limit", "total": "last-ray limit"}
FOCUS_WORDS = {
    "infinity": "focused for far distance",
    "hyperfocal": "focused hyperfocally",
}


def correction_words(choice: Configuration) -> str:
    """Where the correction of a device is; under a clip it is in the spectacles that the person has."""
    if choice.mount == "clip-on" and choice.correction == "carrier":
        return "correction in the person's own spectacles"
    return CORRECTION_WORDS[choice.correction]


class Shown(NamedTuple):
    """A computed number: label, the number in words with unit, its criterion, and the quantity that it is.

    ``brief`` marks what a brief note keeps; ``path`` is where the number stands in the device where its quantity alone
    does not tell, as with two eyes that differ.
    """

    label: str
    words: str
    criterion: str
    quantity: str
    value: float
    brief: bool = False
    path: str = ""

    @property
    def asked(self) -> str:
        """The name by which its working is asked for."""
        return self.path or self.quantity

    def item(self) -> Item:
        """The line of a note."""
        if not self.criterion:
            return Item(self.label, self.words)
        joined = f"{self.words[:-1]}; " if self.words.endswith(")") else f"{self.words} ("
        return Item(self.label, f"{joined}{self.criterion})")


def length(value_mm: float) -> str:
    """A length: mm below 10 cm, cm below 1 m, else m."""
    if value_mm < 100:
        return f"{number(value_mm, 1)} mm"
    return f"{number(value_mm / 10, 1)} cm" if value_mm < 1000 else f"{number(value_mm / 1000, 2)} m"


def lengths(*values_mm: float) -> tuple[str, ...]:
    """Lengths to be compared, all in the unit of the longest."""
    if max(values_mm) < 100:
        return tuple(f"{number(value, 1)} mm" for value in values_mm)
    if max(values_mm) < 1000:
        return tuple(f"{number(value / 10, 1)} cm" for value in values_mm)
    return tuple(f"{number(value / 1000, 2)} m" for value in values_mm)


def span(near_mm: float | None, far_mm: float | None) -> str:
    """A range of distances; no far end means that far is clear too."""
    near = "at any near distance" if near_mm is None else f"from {length(near_mm)}"
    return f"{near} to far" if far_mm is None else f"{near} to {length(far_mm)}"


def field_criterion(criterion: str) -> str:
    """The illumination limit of a field in words."""
    return CRITERION_WORDS.get(criterion, criterion)
