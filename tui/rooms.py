"""The same case changed in another room: what theirs and ours come to, without a screen."""

from __future__ import annotations

from dataclasses import dataclass

from ..core.case import Case
from ..core.case_file import case_data, case_of, loads_case
from ..core.desk import Desk
from ..core.errors import FileRefusal
from ..core.store.files import Stamp
from ..core.store.merge import Merge, three_way
from ..core.store.reading import read_text


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


def their_version(desk: Desk) -> Theirs | FileRefusal | None:
    """The version on disk against ours; a FileRefusal when it cannot be read, None when it is the same as ours."""
    try:
        read = read_text(desk.path)
        theirs = loads_case(read.text, desk.path)
    except FileRefusal as refusal:
        return refusal
    if theirs == desk.case:
        return None
    merge = three_way(*(case_data(each, readings=False) for each in (desk.base, desk.case, theirs)))
    merged = case_of(merge.merged, desk.path) if merge.is_clean else desk.case
    return Theirs(merged, theirs, read.stamp, merge, words_of(merge))


def words_of(merge: Merge) -> str:
    """What they changed, by key, a few of them by name."""
    keys = [each.key for each in merge.from_theirs]
    shown = ", ".join(keys[:4])
    return shown + (f" and {len(keys) - 4} more" if len(keys) > 4 else "") if keys else "nothing that counts"
