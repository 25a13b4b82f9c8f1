"""Differences between plain dicts, and the three-way merge: what I changed, what they changed, what both did.

Paths are tuples of keys; people see them dotted, with the items of a list named by what identifies them:
``visit[2024-05-02].right.acuity`` (see ``identity``). A list whose items nothing names is compared as one value.

What belongs together is never mixed: a visit that only one side has signed, the chosen device with its promise, the
note as it was taken, and a value with its status are each taken whole from one side. With the same seal on all sides,
as when addenda come later, a visit is compared inside.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from copy import deepcopy
from dataclasses import dataclass, field
from typing import Any

from .identity import ADDED_TO, named

SEAL_KEYS = ("seal", "signature")
# Tables that make sense only as a whole: a device put together from two rooms is one that nobody chose.
WHOLE = frozenset(("choice", "note_taken", *SEAL_KEYS))
_STATUS = "_status"
# Of a step or a caution, who and when follow the later of two entries; nobody is asked about the minute.
_STAMPED = frozenset(("step", "caution"))
Path = tuple[str, ...]


class _Missing:
    """Stands for a value that is not there; TOML has no null that could be meant."""

    def __repr__(self) -> str:
        return "(nothing)"

    def __bool__(self) -> bool:
        return False

    def __deepcopy__(self, memo: dict[int, Any]) -> _Missing:
        return self


MISSING = _Missing()


class NamedItems(dict[str, Any]):
    """A list of tables while it is worked on: its items by name, in their order."""


@dataclass(frozen=True, slots=True)
class Difference:
    """One key whose value differs; MISSING stands for no value."""

    path: Path
    before: Any
    after: Any

    @property
    def key(self) -> str:
        """The path as people read it."""
        return dotted(self.path)


@dataclass(frozen=True, slots=True)
class Conflict:
    """One key that both sides changed differently from ``base``.

    ``status`` holds the path of the value's status with mine and theirs, which follow the value.
    """

    path: Path
    base: Any
    mine: Any
    theirs: Any
    status: tuple[Path, Any, Any] | None = None

    @property
    def key(self) -> str:
        """The path as people read it; also the name of the conflict when it is resolved."""
        return dotted(self.path)

    @property
    def is_sealed(self) -> bool:
        """Whether a signed visit is in question: it stays whatever is chosen."""
        return bool(seal_of(self.mine) or seal_of(self.theirs))


@dataclass(frozen=True, slots=True)
class Merge:
    """A three-way merge: ``merged`` holds mine where there is a conflict, until it is resolved (see ``resolving``)."""

    merged: dict[str, Any]
    conflicts: list[Conflict] = field(default_factory=list)
    from_mine: list[Difference] = field(default_factory=list)
    from_theirs: list[Difference] = field(default_factory=list)
    tree: dict[str, Any] = field(default_factory=dict)

    @property
    def is_clean(self) -> bool:
        """Whether nothing is left to decide."""
        return not self.conflicts


def dotted(path: Path) -> str:
    """``("visit", "[2024-05-02]", "note")`` as ``visit[2024-05-02].note``."""
    shown = ""
    for part in path:
        shown += part if part.startswith("[") or not shown else f".{part}"
    return shown


def same(first: Any, second: Any) -> bool:
    """Equal in value and in kind: True is not 1, but 1 and 1.0 are the same measurement."""
    if isinstance(first, Mapping) and isinstance(second, Mapping):
        return first.keys() == second.keys() and all(same(first[key], second[key]) for key in first)
    if isinstance(first, list) and isinstance(second, list):
        return len(first) == len(second) and all(map(same, first, second))
    if isinstance(first, bool) is not isinstance(second, bool):
        return False
    return first is second or first == second


def differences(before: Mapping[str, Any], after: Mapping[str, Any]) -> list[Difference]:
    """Every key whose value differs, in the order of ``after`` with removed keys at their old place."""
    found: list[Difference] = []
    _compare(before, after, (), found)
    return found


def leaves(each: Difference) -> Iterator[Difference]:
    """A difference by its smallest parts: a table that came or went as a whole by each value in it."""
    table, gone = (each.after, False) if each.before is MISSING else (each.before, each.after is MISSING)
    is_whole = MISSING not in (each.before, each.after) or each.path[-1] in WHOLE
    inside = by_name(table, each.path)
    if is_whole or not isinstance(inside, Mapping) or not inside:
        yield each
        return
    for key, value in inside.items():
        yield from leaves(Difference((*each.path, key), *((value, MISSING) if gone else (MISSING, value))))


def _compare(before: Any, after: Any, path: Path, found: list[Difference]) -> None:
    if same(before, after):
        return
    pair = _tables(path, before, after)
    if pair is None:
        found.append(Difference(path, before, after))
        return
    first, second = pair
    for key in _key_order(first, second):
        _compare(first.get(key, MISSING), second.get(key, MISSING), (*path, key), found)
    if isinstance(first, NamedItems) and _common(first, second) != _common(second, first):
        found.append(Difference((*path, "order"), list(first), list(second)))


def _common(one: Mapping[str, Any], other: Mapping[str, Any]) -> list[str]:
    return [key for key in one if key in other]


def _tables(path: Path, *values: Any) -> list[dict[str, Any]] | None:
    """The values as tables of comparable parts; None when they can only be compared whole."""
    present = [value for value in values if value is not MISSING]
    if path and path[-1] in WHOLE:
        return None
    if not all(same(seal_of(value), seal_of(present[0])) for value in present):
        return None
    is_item = bool(path) and path[-1].startswith("[")
    # An item removed on one side and changed on the other is a question about the whole item.
    if is_item and any(value is MISSING for value in (values[1:] if len(values) == 3 else values)):
        return None
    if all(isinstance(value, Mapping) for value in present):
        if len(values) == 2 and len(present) == 1:
            return None  # a table that came or went is told as one
        return [dict(value) if value is not MISSING else {} for value in values]
    if path and all(isinstance(value, list) for value in present):
        lists = named(path[-1], [value if value is not MISSING else [] for value in values])
        return None if lists is None else [NamedItems(each) for each in lists]
    return None


def seal_of(value: Any) -> dict[str, Any]:
    """What seals a table; empty when nothing does."""
    if not isinstance(value, Mapping):
        return {}
    return {key: value[key] for key in SEAL_KEYS if value.get(key)}


def _key_order(*tables: Mapping[str, Any]) -> list[str]:
    """All keys; new ones of a later table stand behind the key they follow there, and behind earlier new ones."""
    order = list(tables[0])
    known = set(order)
    for table in tables[1:]:
        place = 0
        for key in table:
            if key in known:
                place = order.index(key) + 1
            else:
                while place < len(order) and order[place] not in table:
                    place += 1
                order.insert(place, key)
                known.add(key)
                place += 1
    return order


def three_way(base: Mapping[str, Any], mine: Mapping[str, Any], theirs: Mapping[str, Any]) -> Merge:
    """Merge two edits of ``base``; a key that only one side changed is taken from there, nothing is
    dropped."""
    merge = Merge({})
    merge.tree.update(_merge(dict(base), dict(mine), dict(theirs), (), merge))
    merge.merged.update(with_lists(merge.tree))
    return merge


def _merge(base: Any, mine: Any, theirs: Any, path: Path, merge: Merge) -> Any:
    if same(mine, theirs):
        return by_name(mine, path)
    # A seal that was there and is gone is asked about, however little else was changed.
    if same(theirs, base) and _seals_of(base) <= _seals_of(mine):
        _compare(base, mine, path, merge.from_mine)
        return by_name(mine, path)
    if same(mine, base) and _seals_of(base) <= _seals_of(theirs):
        _compare(base, theirs, path, merge.from_theirs)
        return by_name(theirs, path)
    tables = _tables(path, base, mine, theirs)
    if tables is None:
        merge.conflicts.append(Conflict(path, base, mine, theirs))
        # Mine stays until somebody decides; a removal is no reason to hide what the other one wrote.
        return by_name(theirs if mine is MISSING else mine, path)
    return _merge_tables(tables, path, merge)


def _seals_of(value: Any) -> set[str]:
    """Every seal in a value, at any depth."""
    if isinstance(value, Mapping):
        own = {repr(seal_of(value))} if seal_of(value) else set[str]()
        return own.union(*map(_seals_of, value.values()))
    return set[str]().union(*map(_seals_of, value)) if isinstance(value, list) else set()


def _merge_tables(tables: list[dict[str, Any]], path: Path, merge: Merge) -> dict[str, Any]:
    base, mine, theirs = tables
    is_list = isinstance(mine, NamedItems)
    parts: dict[str, Any] = NamedItems() if is_list else {}
    first = len(merge.conflicts)
    order = _merged_order(path[-1], base, mine, theirs) if is_list else _key_order(base, mine, theirs)
    for key in order:
        if key.endswith(_STATUS) and key.removesuffix(_STATUS) in parts:
            continue
        values = (base.get(key, MISSING), mine.get(key, MISSING), theirs.get(key, MISSING))
        status = key + _STATUS
        is_plain = not any(isinstance(each, Mapping | list) for each in values)
        if is_plain and any(status in each for each in tables):
            states = (base.get(status, MISSING), mine.get(status, MISSING), theirs.get(status, MISSING))
            parts[key], parts[status] = _merge_value(values, states, (*path, key), merge)
        else:
            parts[key] = _merge(*values, (*path, key), merge)
    if len(path) > 1 and path[-2] in _STAMPED:
        _settle_stamps(mine, theirs, path, parts, merge.conflicts, first)
    present = {key: value for key, value in parts.items() if value is not MISSING}
    return NamedItems(present) if is_list else present


def _merge_value(
    values: tuple[Any, Any, Any], states: tuple[Any, Any, Any], path: Path, merge: Merge
) -> tuple[Any, Any]:
    """A value with its status: both from the same side."""
    base, mine, theirs = values
    pairs = [list(pair) for pair in zip(values, states, strict=True)]
    if same(pairs[1], pairs[2]):
        return mine, states[1]
    if same(pairs[2], pairs[0]):
        _tell(base, mine, states[0], states[1], path, merge.from_mine)
        return mine, states[1]
    if same(pairs[1], pairs[0]):
        _tell(base, theirs, states[0], states[2], path, merge.from_theirs)
        return theirs, states[2]
    if same(mine, theirs):
        # Measured, which has no word of its own, is worth more than carried over or confirmed.
        return mine, MISSING if MISSING in states[1:] else states[1]
    merge.conflicts.append(
        Conflict(path, base, mine, theirs, ((*path[:-1], path[-1] + _STATUS), *states[1:]))
    )
    return (theirs, states[2]) if mine is MISSING else (mine, states[1])


def _tell(before: Any, after: Any, was: Any, now: Any, path: Path, found: list[Difference]) -> None:
    if same(before, after):
        found.append(Difference((*path[:-1], path[-1] + _STATUS), was, now))
    else:
        found.append(Difference(path, before, after))


def _settle_stamps(
    mine: Mapping[str, Any],
    theirs: Mapping[str, Any],
    path: Path,
    parts: dict[str, Any],
    conflicts: list[Conflict],
    first: int,
) -> None:
    """Decide who and when by the later entry; the conflicts of this table are those from ``first`` on."""
    here = [each for each in conflicts[first:] if each.path[:-1] == path and each.path[-1] in ("at", "by")]
    later = theirs if str(theirs.get("at", "")) > str(mine.get("at", "")) else mine
    for each in here:
        conflicts.remove(each)
        parts[each.path[-1]] = later.get(each.path[-1], MISSING)


def _merged_order(
    name: str, base: Mapping[str, Any], mine: Mapping[str, Any], theirs: Mapping[str, Any]
) -> list[str]:
    """The order of the items: of the side that moved some, mine where both did; new ones of the other come behind.

    What is dated stands oldest first, on one day what is on disk already before what comes to it.
    """
    dated = "at" if name in ADDED_TO else "date"
    days = {
        key: str(item[dated]) for each in (base, theirs, mine) for key, item in each.items() if dated in item
    }
    order = _key_order(theirs, mine, base)
    if len(days) == len(order):
        return sorted(order, key=lambda key: days[key])
    moved_by_mine = _common(mine, base) != _common(base, mine)
    moved_by_theirs = _common(theirs, base) != _common(base, theirs)
    return order if moved_by_theirs and not moved_by_mine else _key_order(mine, theirs, base)


def by_name(value: Any, path: Path) -> Any:
    """A copy in which the lists of tables are by name, so that a path leads to its place."""
    if isinstance(value, Mapping):
        return {key: by_name(each, (*path, key)) for key, each in value.items()}
    if isinstance(value, list) and path:
        lists = named(path[-1], [value])
        if lists is not None and len(lists[0]) == len(value):
            return NamedItems({key: by_name(each, (*path, key)) for key, each in lists[0].items()})
    return deepcopy(value)


def with_lists(value: Any) -> Any:
    if isinstance(value, NamedItems):
        return [with_lists(each) for each in value.values()]
    if isinstance(value, Mapping):
        return {key: with_lists(each) for key, each in value.items()}
    return deepcopy(value)
