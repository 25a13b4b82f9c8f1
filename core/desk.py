"""The open case on the desk: the present version, undo and redo, and the saver that keeps it on disk.

A version becomes the present one by :meth:`Desk.accept`; it is then handed to the saver at once, and on a usual disk it
is durable when ``accept`` returns. Undo and redo are lists of cases. What another room changed meanwhile is no step of
theirs: an older version is brought back without taking away what came in after it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path as FilePath
from typing import Any

from . import paths
from .case import Case
from .case_file import case_data, case_of, dumps_case, loads_case
from .errors import FileRefusal
from .store.files import Stamp
from .store.filesystem import REAL, FileSystem
from .store.history import keep_text
from .store.merge import Path, differences, leaves, three_way
from .store.resolving import Choice, resolve
from .store.saver import PATIENCE_S, Saver, SaverState
from .workspace import OpenedCase

MOST_UNDO = 500


@dataclass(frozen=True, slots=True)
class _Past:
    """A version for undo or redo, and how many changes of other rooms it holds."""

    case: Case
    came_in: int


class Desk:
    """One open case. ``on_save`` is told each state of saving, from the saver's thread."""

    def __init__(
        self,
        opened: OpenedCase,
        *,
        on_save: Callable[[SaverState], None] | None = None,
        after_save: Callable[[FilePath, str], None] | None = None,
        recovery_folder: FilePath | None = None,
        fs: FileSystem = REAL,
    ) -> None:
        self.path = opened.path
        self._case = opened.case
        self._base = opened.case
        self._base_text: str | None = None
        self._keep_replaced = opened.is_older_schema
        self._fs = fs
        self._undo: list[_Past] = []
        self._redo: list[_Past] = []
        self._came_in: list[tuple[Case, Case]] = []
        self._edits: list[tuple[Case, Case]] = []
        self._replaced: dict[Path, list[Any]] = {}
        self.saver = Saver(
            opened.path,
            opened.stamp,
            recovery_folder or paths.recovery_dir(),
            on_change=on_save,
            after_save=after_save,
            fs=fs,
        )

    @property
    def case(self) -> Case:
        """The present version."""
        return self._case

    @property
    def base(self) -> Case:
        """The version that was last known to be on disk: what a three-way comparison starts from."""
        text = self.saver.saved_text
        if text is not None and text is not self._base_text:
            self._base, self._base_text = loads_case(text, self.path), text
        return self._base

    def replaced_here(self) -> Mapping[Path, list[Any]]:
        """By place in the case: the values that were replaced in this room since it was opened.

        What others wrote is not among them: of a table that was begun here only what was typed here, and not what
        others put beside it. A version that has one of these again was made, most likely, without
        having seen what took its place.
        """
        for before, after in self._edits:
            for whole in differences(*(case_data(case, readings=False) for case in (before, after))):
                for each in leaves(whole):
                    self._replaced.setdefault(each.path, []).append(each.before)
        self._edits.clear()
        return self._replaced

    def keep_saved(self) -> None:
        """Keep the version that was last known to be on disk in the history, for one of others that puts it aside.

        OSError or FileRefusal when that cannot be done.
        """
        keep_text(self.path, self.saver.saved_text or dumps_case(self.base), fs=self._fs)

    def keep_theirs(self) -> None:
        """Keep the version that is on disk now in the history for good when the next save replaces it."""
        self._keep_replaced = True

    def accept(self, case: Case, *, keep_for_good: bool = False) -> bool:
        """Make ``case`` the present version and save it; False when nothing changed.

        ``keep_for_good`` (signing) keeps the replaced version in the history and ends undo there.
        """
        if case == self._case:
            return False
        self._undo.append(self._now())
        del self._undo[:-MOST_UNDO]
        self._redo.clear()
        if keep_for_good:
            # A signature is not undone by a key: what stood before it stays in the history of the file.
            self._undo.clear()
        self._set(case, keep_for_good)
        return True

    def undo(self) -> bool:
        """Go back one version; False when there is none."""
        return self._step(self._undo, self._redo)

    def redo(self) -> bool:
        """Go forward again; False when there is nothing to go to."""
        return self._step(self._redo, self._undo)

    def save_now(self) -> SaverState:
        """Hand the present version over again (after a failure, or for a case that has no file yet)."""
        return self.saver.put(dumps_case(self._case), patience_s=PATIENCE_S)

    def replace(self, case: Case, on_disk: Case, stamp: Stamp | None) -> None:
        """Take over ``case``, made after somebody else changed the file, which holds ``on_disk`` with ``stamp``.

        It is written when it holds more than the file; a file that has it all is left as it is written.
        """
        if case != self._case:
            self._came_in.append((self._case, case))
        self._case, self._base = case, on_disk
        if case == on_disk:
            self.saver.adopt(stamp)
        else:
            self.saver.rebase(dumps_case(case), stamp)

    def write_again(self) -> None:
        """Write the case into a file of its own name again, after somebody removed or renamed it."""
        self.saver.rebase(dumps_case(self._case), None)

    def close(self) -> SaverState:
        """Finish saving and give the last state; not safe means: a recovery copy was kept."""
        return self.saver.close()

    def _now(self) -> _Past:
        return _Past(self._case, len(self._came_in))

    def _step(self, source: list[_Past], target: list[_Past]) -> bool:
        while source:
            wanted = self._with_what_came_in(source.pop())
            if wanted is not None and wanted != self._case:
                target.append(self._now())
                self._set(wanted, False)
                return True
        return False

    def _with_what_came_in(self, past: _Past) -> Case | None:
        """An older version with the other rooms' later changes; None where they leave nothing of it."""
        case = past.case
        for before, after in self._came_in[past.came_in :]:
            merge = three_way(*(case_data(each, readings=False) for each in (before, case, after)))
            if any(conflict.is_sealed for conflict in merge.conflicts):
                return None
            choices: dict[str, Choice] = {conflict.key: "theirs" for conflict in merge.conflicts}
            try:
                case = case_of(resolve(merge, choices), self.path)
            except FileRefusal:
                return None
        return case

    def _set(self, case: Case, keep_for_good: bool) -> None:
        self._edits.append((self._case, case))
        self._case = case
        keep_for_good, self._keep_replaced = keep_for_good or self._keep_replaced, False
        self.saver.put(dumps_case(case), patience_s=PATIENCE_S, keep_for_good=keep_for_good)
