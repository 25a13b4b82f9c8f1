"""Keeps one open case on disk: every accepted value is handed over and durable before the next key.

A save takes a fraction of a millisecond on a local disk, but tens of them on a slow one and seconds on a
share that has gone, so it runs in a thread of its own. :meth:`Saver.put` may wait a moment for it
(``patience_s``); on a usual disk the value is then durable when it returns. Values that arrive during a
save are coalesced: the newest is saved, it contains the others. "Saved" is only said after the fsync.

When a save fails, the state says why and stays, the text goes to the recovery folder, and saving is tried
again, ever less often, until it works. One that hangs, on a share that does not answer, gets a copy as well
(:meth:`Saver.look_after`). When the file was changed by somebody else, nothing is written to it any more until
:meth:`Saver.rebase` tells what the new text is based on; a try that was under way then counts for nothing.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Literal

from .files import ChangedOnDisk, Saved, SaveFailed, Stamp, digest_of
from .filesystem import REAL, FileSystem, reason_of
from .history import save_case
from .recovery import discard_copy, keep_copy

FIRST_RETRY_S = 0.5
LONGEST_RETRY_S = 15.0
PATIENCE_S = 0.02
# No disk takes so long; a share that does not answer takes minutes.
HANGS_S = 5.0
HANGS = "the disk or share does not answer"

Kind = Literal["idle", "saving", "saved", "failed", "changed"]


@dataclass(frozen=True, slots=True)
class SaverState:
    """What the saver is doing. ``at`` is the time of the last durable save (UTC), ``reason`` why one failed.

    idle: nothing was handed over yet; saving; saved; failed: not on disk, tried again by itself;
    changed: the file was changed by somebody else, the user must decide. ``recovery`` is the copy kept
    elsewhere, ``warning`` something that did not keep the save from being durable.
    """

    kind: Kind
    at: datetime | None = None
    reason: str = ""
    recovery: Path | None = None
    found: Stamp | None = None
    warning: str = ""

    @property
    def is_safe(self) -> bool:
        """Whether everything handed over is on disk, in the case file itself."""
        return self.kind in ("idle", "saved")


@dataclass(frozen=True, slots=True)
class _Try:
    """One try to save: what, over what, and after how many decisions about foreign changes."""

    text: str
    for_good: bool
    stamp: Stamp | None
    own: frozenset[str]
    before: SaverState
    decided: int


class Saver:
    """The background saver of one case file.

    ``stamp`` is what the case was read with, None for a case that has no file yet. ``on_change`` is called
    in the saver's thread with each new state; ``after_save(path, text)`` after each durable save. A fault of
    the program, here or in one of them, is kept in ``error`` for the crash report.
    """

    def __init__(
        self,
        path: Path,
        stamp: Stamp | None,
        recovery_folder: Path,
        *,
        on_change: Callable[[SaverState], None] | None = None,
        after_save: Callable[[Path, str], None] | None = None,
        fs: FileSystem = REAL,
        first_retry_s: float = FIRST_RETRY_S,
    ) -> None:
        self.path = path
        self._recovery_folder = recovery_folder
        self._fs = fs
        self._on_change = on_change or (lambda state: None)
        self._after_save = after_save or (lambda path, text: None)
        self._first_retry_s = first_retry_s
        self._condition = threading.Condition()
        self._state = SaverState("idle")
        self._stamp = stamp
        self._saved_text: str | None = None
        self._own: set[str] = set()
        self.error: Exception | None = None
        self._waiting: str | None = None
        self._is_fresh = False
        self._for_good = False
        self._busy = False
        self._busy_since = 0.0
        self._aside: str | None = None
        self._decided = 0
        self._closing = False
        self._retry_s = first_retry_s
        self._retry_at = 0.0
        self._thread: threading.Thread | None = None

    @property
    def state(self) -> SaverState:
        """The present state; may be read from any thread."""
        return self._state

    @property
    def stamp(self) -> Stamp | None:
        """The stamp of the last version that is known to be on disk."""
        return self._stamp

    @property
    def saved_text(self) -> str | None:
        """The last text that this saver knows to be on disk; None before its first save and after a foreign change."""
        return self._saved_text

    def put(self, text: str, *, patience_s: float = 0.0, keep_for_good: bool = False) -> SaverState:
        """Hand over the newest text of the case; waits at most ``patience_s`` for it to become durable.

        ``keep_for_good`` keeps the replaced version in the history for ever (before signing, migrating).
        """
        with self._condition:
            self._for_good = self._for_good or keep_for_good
            self._retry_s = self._first_retry_s
            if self._state.kind not in ("failed", "changed"):
                before = self._state
                self._state = SaverState("saving", before.at, before.reason, before.recovery)
            self._hand_over(text)
        if patience_s > 0:
            self.wait(patience_s)
        return self._state

    def wait(self, timeout_s: float) -> bool:
        """Wait until everything handed over is durable; False when it is not by then, or saving failed."""
        with self._condition:
            self._condition.wait_for(self._is_settled, timeout_s)
            return self._waiting is None and not self._busy and self._state.is_safe

    def retry(self) -> None:
        """Try a failed save again now."""
        with self._condition:
            self._is_fresh = self._waiting is not None
            self._condition.notify_all()

    def rebase(self, text: str, stamp: Stamp | None) -> None:
        """After a foreign change: ``text`` is the decided case, based on the version with ``stamp``."""
        with self._condition:
            self._decide(stamp)
            self._state = SaverState("saving", self._state.at, recovery=self._state.recovery)
            self._for_good = True
            self._hand_over(text)

    def adopt(self, stamp: Stamp | None) -> None:
        """After a foreign change that leaves nothing to write: the file with ``stamp`` holds all there is."""
        with self._condition:
            self._decide(stamp)
            self._waiting, self._is_fresh = None, False
            copy = self._state.recovery
            self._state = SaverState("saved" if self._state.at else "idle", self._state.at)
            self._condition.notify_all()
        self._discard(copy)

    def look_after(self, hangs_s: float | None = None) -> SaverState:
        """The state; to be called now and then. What a save holds that hangs for ``hangs_s`` (HANGS_S) is copied
        elsewhere.
        """
        patience_s = HANGS_S if hangs_s is None else hangs_s
        with self._condition:
            hangs = self._busy and time.monotonic() - self._busy_since >= patience_s
            text, stamp = self._waiting, self._stamp
        if not hangs or text is None or text is self._aside:
            return self._state
        state = self._unsaved("saving", HANGS, text, stamp)
        with self._condition:
            if self._busy and self._state.kind == "saving":
                self._state, self._aside = state, text
                return state
            is_safe = self._state.is_safe
        if is_safe:  # it came through while the copy was made
            self._discard(state.recovery)
        return self._state

    def close(self, timeout_s: float = 10.0) -> SaverState:
        """Finish the last save, end the thread and return the state; what cannot be saved is in the
        recovery copy."""
        with self._condition:
            self._closing = True
            self._is_fresh = self._waiting is not None
            self._condition.notify_all()
            thread = self._thread
        if thread is not None:
            thread.join(timeout_s)
            if thread.is_alive():
                return self.look_after(0.0)
        return self._state

    def _decide(self, stamp: Stamp | None) -> None:
        self._decided += 1
        self._stamp, self._saved_text = stamp, None
        self._own.clear()

    def _discard(self, copy: Path | None) -> None:
        if copy is not None:
            discard_copy(copy, fs=self._fs)

    def _hand_over(self, text: str) -> None:
        self._waiting = text
        self._is_fresh = True
        self._closing = False
        if self._thread is None or not self._thread.is_alive():
            self._thread = threading.Thread(target=self._run, name="afocal-saver", daemon=True)
            self._thread.start()
        self._condition.notify_all()

    def _is_settled(self) -> bool:
        return not self._busy and not self._is_fresh

    # In the saver's thread

    def _run(self) -> None:
        while True:
            with self._condition:
                while not self._is_due():
                    if self._closing:
                        self._thread = None
                        return
                    self._condition.wait(self._pause_s())
                job = self._next_try()
            state, saved = self._try(job)
            if saved is not None and job.decided == self._decided:
                self._discard(self._state.recovery)
            with self._condition:
                counts = self._settle(job, state, saved)
                self._condition.notify_all()
            if counts:
                self._tell(job.text, saved is not None)
            elif self._state.is_safe:
                self._discard(state.recovery)

    def _next_try(self) -> _Try:
        self._is_fresh = False
        self._busy, self._busy_since = True, time.monotonic()
        text, own = self._waiting or "", frozenset(self._own)
        return _Try(text, self._for_good, self._stamp, own, self._state, self._decided)

    def _is_due(self) -> bool:
        if self._waiting is None:
            return False
        return self._is_fresh or (self._state.kind == "failed" and time.monotonic() >= self._retry_at)

    def _pause_s(self) -> float | None:
        if self._waiting is None or self._state.kind != "failed":
            return None
        return max(self._retry_at - time.monotonic(), 0.0)

    def _settle(self, job: _Try, state: SaverState, saved: Saved | None) -> bool:
        """Take over what a try came to; False when it does not count."""
        self._busy, self._aside = False, None
        if job.decided != self._decided:
            # Decided meanwhile: this try was of another version. What it wrote is no change by somebody else.
            if saved is not None:
                self._own.add(saved.stamp.digest)
            elif not self._state.is_safe:
                self._state = replace(self._state, recovery=state.recovery or self._state.recovery)
            return False
        if saved is not None:
            self._stamp, self._saved_text = saved.stamp, job.text
            self._own.clear()
            self._for_good = False
            if self._is_fresh:
                state = SaverState("saving", state.at)
            else:
                self._waiting = None
        elif state.kind == "failed":
            # The replacement may have happened before the failure was reported; finding it there is no change by
            # somebody else.
            self._own.add(digest_of(job.text.encode("utf-8", "replace")))
            self._retry_at = time.monotonic() + self._retry_s
            self._retry_s = min(self._retry_s * 2, LONGEST_RETRY_S)
        self._state = state
        return True

    def _tell(self, text: str, is_saved: bool) -> None:
        try:
            self._on_change(self._state)
            if is_saved:
                self._after_save(self.path, text)
        except Exception as error:  # whoever listens must not be able to end the saving
            self.error = error

    def _try(self, job: _Try) -> tuple[SaverState, Saved | None]:
        if job.before.kind == "changed":
            found = job.before.found
            return self._unsaved("changed", job.before.reason, job.text, job.stamp, found), None
        try:
            saved = save_case(
                self.path,
                job.text,
                job.stamp,
                fs=self._fs,
                own_digests=job.own,
                keep_for_good=job.for_good,
            )
        except ChangedOnDisk as error:
            return self._unsaved("changed", str(error), job.text, job.stamp, error.found), None
        except SaveFailed as error:
            return self._unsaved("failed", error.reason, job.text, job.stamp), None
        except Exception as error:  # a fault of ours must not end the saving, and not be taken for success
            self.error = error
            reason = f"a fault of the program ({type(error).__name__})"
            return self._unsaved("failed", reason, job.text, job.stamp), None
        return SaverState("saved", datetime.now(UTC), warning=saved.warning), saved

    def _unsaved(
        self, kind: Kind, reason: str, text: str, base: Stamp | None, found: Stamp | None = None
    ) -> SaverState:
        copy: Path | None = None
        try:
            copy = keep_copy(self._recovery_folder, self.path, text, base, reason, fs=self._fs)
        except Exception as error:  # the state must be told whatever happens to the copy
            why = reason_of(error) if isinstance(error, OSError) else f"a fault ({type(error).__name__})"
            reason = f"{reason}; and no copy could be kept elsewhere: {why}"
        return SaverState(kind, self._state.at, reason, copy, found)
