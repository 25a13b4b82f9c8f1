"""Differences between plain dicts, and the three-way merge: what I changed, what they changed, what both did.

Paths are tuples of keys; people see them dotted, with the items of a list named by what identifies them:
``visits[2024-05-02].right.acuity``. A list whose items are all tables with one of ``IDENTITIES`` is compared
item by item, any other list as one value. A visit that only one side has signed is one value too: it is taken
whole from one side, never mixed. With the same seal on all sides, as when addenda come later, it is compared inside.
"""

from __future__ import annotations

from collections.abc import Mapping
from copy import deepcopy
from dataclasses import dataclass, field
from typing import Any, Literal

IDENTITIES = ("id", "code", "key", "date", "at")
SEAL_KEYS = ("seal", "signature")
SET_ASIDE_KEY = "set_aside"
Path = tuple[str, ...]
Choice = Literal["mine", "theirs", "both"]


class _Missing:
    """Stands for a value that is not there; TOML has no null that could be meant."""

    def __repr__(self) -> str:
        return "(nothing)"

    def __bool__(self) -> bool:
        return False

    def __deepcopy__(self, memo: dict[int, Any]) -> _Missing:
        return self


MISSING = _Missing()


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
    """One key that both sides changed differently from ``base``."""

    path: Path
    base: Any
    mine: Any
    theirs: Any

    @property
    def key(self) -> str:
        """The path as people read it; also the name of the conflict in :func:`resolve`."""
        return dotted(self.path)


@dataclass(frozen=True, slots=True)
class Merge:
    """A three-way merge: ``merged`` holds mine where there is a conflict, until :func:`resolve`."""

    merged: dict[str, Any]
    conflicts: list[Conflict] = field(default_factory=list)
    from_mine: list[Difference] = field(default_factory=list)
    from_theirs: list[Difference] = field(default_factory=list)

    @property
    def is_clean(self) -> bool:
        """Whether nothing is left to decide."""
        return not self.conflicts


def dotted(path: Path) -> str:
    """``("visits", "[2024-05-02]", "note")`` as ``visits[2024-05-02].note``."""
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


def _compare(before: Any, after: Any, path: Path, found: list[Difference]) -> None:
    if same(before, after):
        return
    pair = _tables(before, after)
    if pair is None:
        found.append(Difference(path, before, after))
        return
    first, second = pair
    for key in _key_order(first, second):
        _compare(first.get(key, MISSING), second.get(key, MISSING), (*path, key), found)


def _tables(*values: Any) -> list[dict[str, Any]] | None:
    """The values as tables of comparable parts; None when they can only be compared whole."""
    # Removed on one side and changed on the other is a question about the whole; only a common base may be absent.
    if any(value is MISSING for value in (values[1:] if len(values) == 3 else values)):
        return None
    present = [value for value in values if value is not MISSING]
    if not all(same(_seal(value), _seal(present[0])) for value in present):
        return None
    if all(isinstance(value, Mapping) for value in present):
        return [dict(value) if value is not MISSING else {} for value in values]
    if all(isinstance(value, list) for value in present):
        identity = _identity(present)
        if identity:
            return [_by_identity(value, identity) if value is not MISSING else {} for value in values]
    return None


def _seal(value: Any) -> dict[str, Any]:
    """What seals a table; empty when nothing does."""
    if not isinstance(value, Mapping):
        return {}
    return {key: value[key] for key in SEAL_KEYS if value.get(key)}


def _identity(lists: list[list[Any]]) -> str:
    """The key that names the items of all these lists without doubt; "" when there is none."""
    items = [item for each in lists for item in each]
    if not items or not all(isinstance(item, Mapping) for item in items):
        return ""
    for key in IDENTITIES:
        if all(_names_items(each, key) for each in lists):
            return key
    return ""


def _names_items(items: list[Any], key: str) -> bool:
    names = [str(item.get(key, "")) for item in items]
    return all(names) and len(set(names)) == len(names)


def _by_identity(items: list[Any], identity: str) -> dict[str, Any]:
    return {f"[{item[identity]}]": item for item in items}


def _key_order(*tables: Mapping[str, Any]) -> list[str]:
    """All keys; new ones of a later table stand behind the key they follow there, and behind earlier new ones."""
    order = list(tables[0])
    for table in tables[1:]:
        place = 0
        for key in table:
            if key in order:
                place = order.index(key) + 1
            else:
                while place < len(order) and order[place] not in table:
                    place += 1
                order.insert(place, key)
                place += 1
    return order


def three_way(base: Mapping[str, Any], mine: Mapping[str, Any], theirs: Mapping[str, Any]) -> Merge:
    """Merge two edits of ``base``; a key that only one side changed is taken from there, nothing is
    dropped."""
    merge = Merge({})
    merge.merged.update(_merge(dict(base), dict(mine), dict(theirs), (), merge))
    return merge


def _merge(base: Any, mine: Any, theirs: Any, path: Path, merge: Merge) -> Any:
    if same(mine, theirs) or same(theirs, base):
        if not same(mine, base) and not same(mine, theirs):
            merge.from_mine.extend(_listed(base, mine, path))
        return deepcopy(mine)
    if same(mine, base):
        merge.from_theirs.extend(_listed(base, theirs, path))
        return deepcopy(theirs)
    tables = _tables(base, mine, theirs)
    if tables is None:
        merge.conflicts.append(Conflict(path, base, mine, theirs))
        # Mine stays until somebody decides; a removal is no reason to hide what the other one wrote.
        return deepcopy(theirs if mine is MISSING else mine)
    first, second, third = tables
    parts: dict[str, Any] = {}
    for key in _key_order(first, second, third):
        values = (first.get(key, MISSING), second.get(key, MISSING), third.get(key, MISSING))
        parts[key] = _merge(*values, (*path, key), merge)
    present = {key: value for key, value in parts.items() if value is not MISSING}
    return list(present.values()) if isinstance(mine, list) or isinstance(theirs, list) else present


def _listed(before: Any, after: Any, path: Path) -> list[Difference]:
    found: list[Difference] = []
    _compare(before, after, path, found)
    return found


def resolve(merge: Merge, choices: Mapping[str, Choice]) -> dict[str, Any]:
    """The merged dict with each conflict decided; a conflict without a choice keeps both.

    "both": texts that are notes are joined, lists of values are united; anything else keeps mine in its field
    and theirs under ``set_aside``, a list of tables with ``key``, ``kept`` and ``other``, so that no value that
    anybody entered is lost. A signed visit stays in its place, whoever signed it.
    """
    result = deepcopy(merge.merged)
    for conflict in merge.conflicts:
        choice = choices.get(conflict.key, "both")
        if choice == "mine":
            _put(result, conflict.path, conflict.mine)
        elif choice == "theirs":
            _put(result, conflict.path, conflict.theirs)
        else:
            _keep_both(result, conflict)
    return result


def _keep_both(result: dict[str, Any], conflict: Conflict) -> None:
    mine, theirs = conflict.mine, conflict.theirs
    joined = _joined(conflict.base, mine, theirs)
    if joined is not MISSING:
        _put(result, conflict.path, joined)
        return
    if mine is MISSING or theirs is MISSING:
        _put(result, conflict.path, theirs if mine is MISSING else mine)
        return
    first, second = (theirs, mine) if _seal(theirs) and not _seal(mine) else (mine, theirs)
    _put(result, conflict.path, first)
    entry = {"key": conflict.key, "kept": deepcopy(first), "other": deepcopy(second)}
    result.setdefault(SET_ASIDE_KEY, []).append(entry)


def _joined(base: Any, mine: Any, theirs: Any) -> Any:
    if isinstance(mine, str) and isinstance(theirs, str) and _is_prose(mine, theirs):
        if mine in theirs or theirs in mine:
            return max(mine, theirs, key=len)
        return f"{mine.rstrip()}\n{theirs.lstrip()}"
    scalar_lists = all(
        isinstance(each, list) and not any(isinstance(item, (Mapping, list)) for item in each)
        for each in (mine, theirs)
    )
    if scalar_lists:
        return [*mine, *(item for item in theirs if not any(same(item, other) for other in mine))]
    return MISSING


def _is_prose(*texts: str) -> bool:
    """A note, not the value of a field: several lines, or more than six words."""
    return any("\n" in text or len(text.split()) > 6 for text in texts)


def _put(tables: dict[str, Any], path: Path, value: Any) -> None:
    if not path:
        return
    place: Any = tables
    for part in path[:-1]:
        place = _step(place, part)
    last = path[-1]
    if isinstance(place, list):
        number = _position(place, last)
        if value is MISSING:
            if number is not None:
                del place[number]
        elif number is None:
            place.append(deepcopy(value))
        else:
            place[number] = deepcopy(value)
    elif value is MISSING:
        place.pop(last, None)
    else:
        place[last] = deepcopy(value)


def _step(place: Any, part: str) -> Any:
    if isinstance(place, list):
        number = _position(place, part)
        if number is None:
            raise KeyError(part)
        return place[number]
    return place[part]


def _position(items: list[Any], part: str) -> int | None:
    name = part[1:-1]
    for key in IDENTITIES:
        for number, item in enumerate(items):
            if isinstance(item, Mapping) and str(item.get(key, "")) == name:
                return number
    return None
