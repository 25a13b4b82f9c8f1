"""What a field of the record is: label, place in the case, kind, help, and when it is asked."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from .entry import Kind

EXAMINATION, FITTING, FOLLOW_UP = "examination", "fitting", "follow-up"
VISIT_KINDS = (EXAMINATION, FITTING, FOLLOW_UP)


class Field(NamedTuple):
    """One thing that is asked. ``assumption`` names what stands in, shown as assumed in its own row, while it is not
    measured; ``when_empty`` says in a sentence what holds where nothing is shown so.
    """

    path: str
    label: str
    short: str
    kind: Kind
    section: str
    help: str
    used_for: str
    assumption: str = ""
    visits: tuple[str, ...] = (EXAMINATION, FOLLOW_UP)
    carries_over: bool = True
    when_empty: str = ""

    @property
    def table(self) -> str:
        """The table of the visit that holds it."""
        return self.path.partition(".")[0]

    @property
    def key(self) -> str:
        """Its key in that table."""
        return self.path.partition(".")[2]


def by_eye(
    key: str,
    label: str,
    short: str,
    kind: Kind,
    section: str,
    help: str,
    used_for: str,
    *,
    both: bool = False,
    assumption: str = "",
    carries_over: bool = True,
    when_empty: str = "",
    both_when_empty: str = "",
) -> Iterator[Field]:
    """The same question for the right eye, the left and, where it makes sense, both together."""
    eyes = (("right", "right eye", "R"), ("left", "left eye", "L"), ("both", "both eyes", "both"))
    for table, words, letter in eyes if both else eyes[:2]:
        yield Field(
            f"{table}.{key}",
            f"{label}, {words}",
            f"{short} {letter}",
            kind,
            section,
            help,
            used_for,
            "" if table == "both" else assumption,
            carries_over=carries_over,
            when_empty=both_when_empty if table == "both" else when_empty,
        )
