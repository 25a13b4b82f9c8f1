"""What names the items of a list of tables, so that an edit in one version is found again in another.

A visit is named by its day, and by its kind too where that is needed; a goal by its id; a step and a caution by their
key; a session of training by day and stage; what is only ever added (addenda, values set aside) by all that it holds.
Any other list of tables is named by the first of ``IDENTITIES`` that tells all its items apart, or by nothing.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

IDENTITIES = ("id", "code", "key", "date", "at")
# Lists to which items are only added: two alike are one, two that differ are two.
ADDED_TO = frozenset(("addendum", "set_aside"))
# What tells two of one day apart, besides their number.
_SECOND: Mapping[str, str] = {"training": "stage", "visit": "kind"}

Items = list[Any]
Named = dict[str, Any]


def named(name: str, lists: Sequence[Items]) -> list[Named] | None:
    """The lists with their items by name; None when nothing names them. ``lists`` are base, mine and theirs, or two.

    ``name`` is the key under which the lists stand.
    """
    items = [item for each in lists for item in each]
    if not items or not all(isinstance(item, Mapping) for item in items):
        return None
    if name in ADDED_TO:
        return [{f"[{_all_of(item)}]": item for item in each} for each in lists]
    if name in _SECOND and all("date" in item for item in items):
        return _by_day(lists, _SECOND[name])
    for key in IDENTITIES:
        if all(_tells_apart(each, key) for each in lists):
            return [{f"[{item[key]}]": item for item in each} for each in lists]
    return None


def _tells_apart(items: Items, key: str) -> bool:
    names = [str(item.get(key, "")) for item in items]
    return all(names) and len(set(names)) == len(names)


def _all_of(item: Any) -> str:
    if isinstance(item, Mapping):
        return ", ".join(f"{key}={_all_of(item[key])}" for key in sorted(item, key=str))
    return repr(item)


def _by_day(lists: Sequence[Items], key: str) -> list[Named]:
    """By day where one item a day is meant, else by day and second key, else also by number."""
    second = {str(item["date"]) for each in lists for item in each} - _plain_days(lists, key)
    found: list[Named] = []
    for each in lists:
        names: Named = {}
        for item in each:
            day = str(item["date"])
            name = f"{day} {item.get(key, '')}".strip() if day in second else day
            number = 1
            while (full := f"[{name}]" if number == 1 else f"[{name} {number}]") in names:
                number += 1
            names[full] = item
        found.append(names)
    return found


def _plain_days(lists: Sequence[Items], key: str) -> set[str]:
    """The days whose items are the same ones in all lists without a look at the second key.

    One item a day in each list, and either it was there before both edits or it is of one kind: a visit whose kind was
    mended is still that visit, while an examination and a fitting, each added in a room of its own, are two.
    """
    days: dict[str, list[list[Any]]] = {}
    for number, each in enumerate(lists):
        for item in each:
            days.setdefault(str(item["date"]), [[] for _ in lists])[number].append(item.get(key, ""))
    return {
        day
        for day, kinds in days.items()
        if all(len(each) <= 1 for each in kinds)
        and (bool(kinds[0]) or len({str(each[0]) for each in kinds if each}) == 1)
    }
