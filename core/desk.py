"""The open case on the desk: the present version, undo and redo, and the saver that keeps it on disk.

A version becomes the present one by :meth:`Desk.accept`; it is then handed to the saver at once, and on a usual disk it
is durable when ``accept`` returns. Undo and redo are lists of cases.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from . import paths
from .case import Case
from .case_file import dumps_case, loads_case
from .store.files import Stamp
from .store.saver import PATIENCE_S, Saver, SaverState
from .workspace import OpenedCase

MOST_UNDO = 500


class Desk:
    """One open case. ``on_save`` is told each state of saving, from the saver's thread."""

    def __init__(
        self,
        opened: OpenedCase,
        *,
        on_save: Callable[[SaverState], None] | None = None,
        after_save: Callable[[Path, str], None] | None = None,
        recovery_folder: Path | None = None,
    ) -> None:
        self.path = opened.path
        self._case = opened.case
        self._base: Case | str = opened.case
        self._tell_saved = after_save or (lambda path, text: None)
        self._keep_original = opened.is_older_schema
        self._undo: list[Case] = []
        self._redo: list[Case] = []
        self.saver = Saver(
            opened.path,
            opened.stamp,
            recovery_folder or paths.recovery_dir(),
            on_change=on_save,
            after_save=self._saved,
        )

    @property
    def case(self) -> Case:
        """The present version."""
        return self._case

    @property
    def base(self) -> Case:
        """The version that was last known to be on disk: what a three-way comparison starts from."""
        if isinstance(self._base, str):
            self._base = loads_case(self._base, self.path)
        return self._base

    def accept(self, case: Case, *, keep_for_good: bool = False) -> bool:
        """Make ``case`` the present version and save it; False when nothing changed.

        ``keep_for_good`` (signing) keeps the replaced version in the history and ends undo there.
        """
        if case == self._case:
            return False
        self._undo.append(self._case)
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

    def replace(self, case: Case, stamp: Stamp | None) -> None:
        """Take over a version decided after somebody else changed the file; it is based on ``stamp``."""
        self._undo.append(self._case)
        self._redo.clear()
        self._case = self._base = case
        self.saver.rebase(dumps_case(case), stamp)

    def _saved(self, path: Path, text: str) -> None:
        self._base = text
        self._tell_saved(path, text)

    def close(self) -> SaverState:
        """Finish saving and give the last state; not safe means: a recovery copy was kept."""
        return self.saver.close()

    def _step(self, source: list[Case], target: list[Case]) -> bool:
        if not source:
            return False
        target.append(self._case)
        self._set(source.pop(), False)
        return True

    def _set(self, case: Case, keep_for_good: bool) -> None:
        self._case = case
        keep_for_good, self._keep_original = keep_for_good or self._keep_original, False
        self.saver.put(dumps_case(case), patience_s=PATIENCE_S, keep_for_good=keep_for_good)
