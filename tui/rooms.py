"""The same case changed in another room: what theirs and ours come to, without a screen."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from ..core.case import Case
from ..core.case_file import case_data, case_of, loads_case
from ..core.desk import Desk
from ..core.errors import FileRefusal
from ..core.fields import by_path, goal_by_key
from ..core.store.files import Stamp
from ..core.store.merge import Difference, Merge, differences, three_way
from ..core.store.reading import read_text
from ..core.store.resolving import SET_ASIDE_KEY, Choice, resolve

_SHOWN = 4
_LINES = 40


@dataclass(frozen=True, slots=True)
class Theirs:
    """The version found on disk, held against ours on the base that both started from."""

    case: Case
    their_case: Case
    stamp: Stamp
    merge: Merge
    words: str

    @property
    def is_clean(self) -> bool:
        """Whether both sets of changes fit together without a decision."""
        return self.merge.is_clean

    @property
    def has_ours(self) -> bool:
        """Whether something was changed here that they do not have."""
        return bool(self.merge.from_mine)

    def decided(self, choices: Mapping[str, Choice]) -> Theirs:
        """The same with every conflict decided. Raises our refusals when the result is no case."""
        return replace(self, case=case_of(resolve(self.merge, choices), "case"))


def their_version(desk: Desk) -> Theirs | FileRefusal:
    """The version on disk against ours; a FileRefusal when it cannot be read."""
    try:
        read = read_text(desk.path)
        theirs = loads_case(read.text, desk.path)
        merge = three_way(*(case_data(each, readings=False) for each in (desk.base, desk.case, theirs)))
        merged = case_of(merge.merged, desk.path) if merge.is_clean else desk.case
    except FileRefusal as refusal:
        return refusal
    return Theirs(merged, theirs, read.stamp, merge, words_of(merge))


def words_of(merge: Merge) -> str:
    """What they changed, a few of the fields by name."""
    names = [name_of(each.path) for each in merge.from_theirs]
    more = f" and {len(names) - _SHOWN} more" if len(names) > _SHOWN else ""
    return ", ".join(names[:_SHOWN]) + more if names else "nothing that counts"


def name_of(path: tuple[str, ...]) -> str:
    """A key of the case file as the form calls it; its dotted name when the form has none."""
    last = path[-1] if path else ""
    if last.startswith("[") and len(path) > 1:
        # The id of a goal says nothing to anybody.
        return "A goal" if path[-2] == "goal" else f"{path[-2].capitalize()} {last[1:-1]}"
    field = by_path().get(".".join(path[-2:])) or (
        goal_by_key().get(last) if "goal" in path[:-1] or "goals" in path[:-1] else None
    )
    if field is not None:
        return field.label
    if last.endswith("_status"):
        return f"{name_of((*path[:-1], last.removesuffix('_status')))} (status)"
    return ".".join(part for part in path if not part.startswith("["))


def change_lines(before: Mapping[str, object], after: Mapping[str, object]) -> list[str]:
    """Each difference of two versions in one line."""
    return [difference_line(each) for each in differences(before, after)]


def difference_line(each: Difference) -> str:
    """One difference: the field as the form calls it, what stood there, what stands."""
    return f"{name_of(each.path)}: {value_words(each.before)} -> {value_words(each.after)}"


def shortened(lines: list[str]) -> str:
    """As many lines as a dialog can hold, and how many there are more."""
    more = len(lines) - _LINES
    return "\n".join([*lines[:_LINES], *([f"and {more} more"] if more > 0 else [])])


def value_words(value: object) -> str:
    """A value of the file in few words."""
    if isinstance(value, Mapping):
        text = _table_words(value)
    else:
        text = "(nothing)" if value is None or type(value).__name__ == "_Missing" else str(value)
    return text if len(text) <= 60 else text[:57] + "..."


def _table_words(table: Mapping[str, object]) -> str:
    """A visit by its day, kind and signature; any other table by what stands in it."""
    if "date" in table and "kind" in table:
        seal = table.get("signature")
        signed = f", signed by {seal.get('signer')}" if isinstance(seal, Mapping) else ", not signed"
        return f"{table['kind']} of {table['date']}{signed}"
    return ", ".join(
        str(each) for key, each in table.items() if key != "id" and not isinstance(each, Mapping)
    )


def beside_words(case: Case) -> str:
    """What was set aside in the file when two rooms had different values: a few by name, with both values."""
    rows = case.extra.get(SET_ASIDE_KEY, [])
    found = [row for row in rows if isinstance(row, Mapping)] if isinstance(rows, list) else []
    words = [
        f"{name_of(tuple(str(row.get('key', '')).split('.')))} {value_words(row.get('other'))}"
        f" (the field took {value_words(row.get('kept'))})"
        for row in found
    ]
    more = f"; and {len(words) - _SHOWN} more" if len(words) > _SHOWN else ""
    return "; ".join(words[:_SHOWN]) + more
