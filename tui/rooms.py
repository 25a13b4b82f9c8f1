"""The same case changed in another room: what theirs and ours come to, without a screen."""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping
from copy import deepcopy
from dataclasses import dataclass, replace
from pathlib import Path as FilePath
from typing import Any

from ..core.case import Case
from ..core.case_file import case_data, case_of, loads_case
from ..core.desk import Desk
from ..core.errors import FileRefusal
from ..core.fields import by_path, goal_by_key
from ..core.store.files import Stamp
from ..core.store.merge import (
    MISSING,
    Conflict,
    Difference,
    Merge,
    Path,
    differences,
    same,
    three_way,
    with_lists,
)
from ..core.store.reading import read_text
from ..core.store.resolving import SET_ASIDE_KEY, Choice, put, resolve

_SHOWN = 4
_LINES = 40
# Tables of the file that are no fields, in plain words.
_PLAIN = {
    "choice": "The chosen device",
    "note_taken": "The note as taken",
    "signature": "The signature",
    SET_ASIDE_KEY: "Values set aside",
}


@dataclass(frozen=True, slots=True)
class Theirs:
    """The version found on disk, held against ours on the base that both started from.

    ``missed`` names what was saved here and stands there as it stood before: that version was made, it seems, without
    having seen ours, and a synchronised folder has brought it. ``apart`` is what comes of both then. ``typed_over``
    tells whether a value saved here is another one there.
    """

    case: Case
    their_case: Case
    stamp: Stamp
    merge: Merge
    words: str
    missed: str = ""
    apart: Theirs | None = None
    typed_over: bool = False

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
        if theirs.code != desk.case.code:
            raise FileRefusal(desk.path, f"it holds another case now, {theirs.code}")
        merge = three_way(*(case_data(each, readings=False) for each in (desk.base, desk.case, theirs)))
        found = _theirs(desk, theirs, read.stamp, merge)
        takes_away = [each for each in merge.from_theirs if each.before is not MISSING]
        ours = desk.replaced_here() if takes_away else {}
        # What two rooms had differently and one of them set aside is nobody's to lose.
        ours = {**ours, **{each.path: [MISSING] for each in takes_away if each.path[0] == SET_ASIDE_KEY}}
        changed = [each for each in takes_away if _under(ours, each.path)]
        missed = [each for each in changed if _stood_before(ours, each)]
        if not missed:
            return replace(found, typed_over=bool(changed))
        apart = _theirs(desk, theirs, read.stamp, _made_apart(merge, changed, missed, ours))
    except FileRefusal as refusal:
        return refusal
    return replace(found, missed=_few(missed), apart=apart, typed_over=True)


def _theirs(desk: Desk, theirs: Case, stamp: Stamp, merge: Merge) -> Theirs:
    merged = case_of(merge.merged, desk.path) if merge.is_clean else desk.case
    return Theirs(merged, theirs, stamp, merge, words_of(merge))


def _under(ours: Mapping[Path, list[Any]], path: Path) -> list[Any]:
    """The values that were replaced here at a place, in it or round it; MISSING stands for one inside or outside."""
    found = list(ours.get(path, []))
    return found or [MISSING for each in ours if each[: len(path)] == path or path[: len(each)] == each]


def _stood_before(ours: Mapping[Path, list[Any]], there: Difference) -> bool:
    return any(same(each, there.after) for each in _under(ours, there.path))


def _made_apart(
    merge: Merge, changed: list[Difference], missed: list[Difference], ours: Mapping[Path, list[Any]]
) -> Merge:
    """The merge of two versions that have not seen each other: ours stays, and what both changed is a question."""
    tree = deepcopy(merge.tree)
    conflicts = list(merge.conflicts)
    for each in changed:
        put(tree, each.path, each.before)
        if each not in missed:
            conflicts.append(Conflict(each.path, _under(ours, each.path)[0], each.before, each.after))
    theirs = [each for each in merge.from_theirs if each not in changed]
    mine = [*merge.from_mine, *(Difference(each.path, each.after, each.before) for each in missed)]
    return Merge(with_lists(tree), conflicts, mine, theirs, tree)


def is_gone(path: FilePath) -> bool:
    """Whether no file has this name any more."""
    return not os.path.lexists(path)


def can_be_written(path: FilePath) -> bool:
    """Whether the folder of a file that is gone is still the clinic's: an empty one may be where a share should be."""
    try:
        return any(path.parent.iterdir())
    except OSError:
        return False


def others_of_code(path: FilePath, code: str) -> list[str]:
    """Other files of the folder that hold the same case, as a synchroniser or a person leaves them, by name."""
    found = []
    for each in sorted(path.parent.glob("*.toml")):
        if each != path and code.casefold() in each.name.casefold():
            try:
                if loads_case(read_text(each).text, each).code == code:
                    found.append(each.name)
            except FileRefusal:
                continue
    return found


def words_of(merge: Merge) -> str:
    """What they changed, a few of the fields by name."""
    return _few(merge.from_theirs) or "nothing that counts"


def _few(differences: list[Difference]) -> str:
    names = list(dict.fromkeys(name for each in differences for name in _names(each)))
    more = f" and {len(names) - _SHOWN} more" if len(names) > _SHOWN else ""
    return ", ".join(names[:_SHOWN]) + more


def _names(each: Difference) -> list[str]:
    return [name_of(part.path) for part in _parts(each)]


def _parts(each: Difference) -> list[Difference]:
    """A table or a list that came or went as a whole, by what stands in it; any other difference as it is."""
    value = each.after if each.before is MISSING else each.before
    if MISSING not in (each.before, each.after) or each.path[0] == SET_ASIDE_KEY or each.path[-1] in _PLAIN:
        return [each]
    items: dict[str, Any] = {}
    if isinstance(value, Mapping) and not each.path[-1].startswith("["):
        items = dict(value)
    elif isinstance(value, list) and value and all(isinstance(item, Mapping) for item in value):
        items = {
            f"[{item.get('key') or item.get('date') or number}]": item for number, item in enumerate(value, 1)
        }
    if not items:
        return [each]
    gone = each.after is MISSING
    return [
        Difference((*each.path, key), *((item, MISSING) if gone else (MISSING, item)))
        for key, item in items.items()
    ]


def name_of(path: tuple[str, ...]) -> str:
    """A key of the case file as the form calls it; its dotted name when the form has none."""
    last = path[-1] if path else ""
    if path and (plain := _PLAIN.get(path[0]) or _PLAIN.get(last)):
        return plain
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


def names_row(path: Path, key: str) -> bool:
    """Whether a path of the file is the field of the row with this key on the form."""
    return key == ".".join(path[-2:]) or ("goal" in path[:-1] and key.rpartition(".")[2] == path[-1])


def change_lines(before: Mapping[str, object], after: Mapping[str, object]) -> list[str]:
    """Each difference of two versions in one line: the field as the form calls it, what stood there, what stands."""
    return difference_lines(differences(before, after))


def difference_lines(found: Iterable[Difference]) -> list[str]:
    """The same of differences that are known."""
    return [
        f"{name_of(part.path)}: {value_words(part.before)} -> {value_words(part.after)}"
        for each in found
        for part in _parts(each)
    ]


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
