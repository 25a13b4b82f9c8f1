"""Deciding what a three-way merge left open: mine, theirs, or both; nothing that anybody entered is lost by "both".

A seal is never lost: whatever is chosen, the signed visit stays in its place and the other version is set aside.
"""

from __future__ import annotations

from collections.abc import Mapping
from copy import deepcopy
from itertools import pairwise
from typing import Any, Literal

from .merge import MISSING, Conflict, Merge, NamedItems, Path, by_name, same, seal_of, with_lists

SET_ASIDE_KEY = "set_aside"
Choice = Literal["mine", "theirs", "both"]


def resolve(merge: Merge, choices: Mapping[str, Choice]) -> dict[str, Any]:
    """The merged dict with each conflict decided; a conflict without a choice keeps both.

    "both": texts that are notes are joined, lists of values are united; anything else keeps mine in its field
    and theirs under ``set_aside``, a list of tables with ``key``, ``kept`` and ``other``, so that no value that
    anybody entered is lost. A signed visit stays in its place, whoever signed it and whatever is chosen.
    """
    result = deepcopy(merge.tree)
    aside: list[dict[str, Any]] = []
    for conflict in merge.conflicts:
        choice = "both" if conflict.is_sealed else choices.get(conflict.key, "both")
        if choice == "both":
            _keep_both(result, conflict, aside)
        else:
            put(result, conflict.path, conflict.mine if choice == "mine" else conflict.theirs)
            if conflict.status is not None:
                path, mine, theirs = conflict.status
                put(result, path, mine if choice == "mine" else theirs)
    decided = with_lists(result)
    known = decided.get(SET_ASIDE_KEY, [])
    if aside:
        rows = known if isinstance(known, list) else [known]
        decided[SET_ASIDE_KEY] = [
            *rows,
            *(each for each in aside if not any(same(each, row) for row in rows)),
        ]
    return decided


def _keep_both(result: dict[str, Any], conflict: Conflict, aside: list[dict[str, Any]]) -> None:
    mine, theirs = conflict.mine, conflict.theirs
    joined = _joined(conflict)
    if joined is not MISSING:
        put(result, conflict.path, joined)
        return
    if mine is MISSING or theirs is MISSING:
        put(result, conflict.path, theirs if mine is MISSING else mine)
        if conflict.status is not None:
            path, my_status, their_status = conflict.status
            put(result, path, their_status if mine is MISSING else my_status)
        return
    first, second = (theirs, mine) if seal_of(theirs) and not seal_of(mine) else (mine, theirs)
    put(result, conflict.path, first)
    aside.append({"key": conflict.key, "kept": deepcopy(first), "other": deepcopy(second)})


def _joined(conflict: Conflict) -> Any:
    base, mine, theirs = conflict.base, conflict.mine, conflict.theirs
    if isinstance(mine, str) and isinstance(theirs, str) and _is_prose(mine, theirs):
        if mine in theirs or theirs in mine:
            return max(mine, theirs, key=len)
        if isinstance(base, str) and base and mine.startswith(base) and theirs.startswith(base):
            theirs = theirs.removeprefix(base)  # both wrote on: what stood there before is not doubled
        lines = "\n" in mine + theirs or conflict.path[-1].startswith("note")
        return f"{mine.rstrip()}{chr(10) if lines else '; '}{theirs.lstrip()}"
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


def put(tree: dict[str, Any], path: Path, value: Any) -> None:
    """Put a value, or with MISSING nothing, into its place in a tree whose lists are by name (``Merge.tree``)."""
    place: dict[str, Any] = tree
    for part, inside in pairwise(path):
        place = place.setdefault(part, NamedItems() if inside.startswith("[") else {})
    if value is MISSING:
        place.pop(path[-1], None)
    else:
        place[path[-1]] = by_name(value, path)
