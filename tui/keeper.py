"""Keeps the open case on disk and in step with other rooms, and says so on its screen.

It owns the desk and the look at the file. What another room changed is taken in when it fits, and asked about when it
does not; nothing of either side is lost.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from ..core.desk import Desk
from ..core.errors import FileRefusal
from ..core.signing import altered
from ..core.store.files import Stamp
from ..core.store.saver import SaverState
from ..core.store.watch import Watch
from ..core.workspace import OpenedCase
from .rooms import Theirs, beside_words, their_version
from .widgets.lines import Weight

if TYPE_CHECKING:
    from .screens.case import CaseScreen

# How often the file is looked at for another room's change. One stat, nothing sent.
WATCH_S = 2.0


class Keeper:
    """See the module's first lines. ``after_save`` is told each text that is on disk, in the saver's thread."""

    def __init__(
        self, screen: CaseScreen, opened: OpenedCase, after_save: Callable[[Path, str], None] | None
    ) -> None:
        self.desk = Desk(opened, on_save=self._told_by_saver, after_save=after_save)
        self._screen = screen
        self._watch = Watch(opened.path)
        self._asking = False
        self._unreadable = ""
        self._known: Stamp | None = None
        self._failed = False

    def start(self) -> None:
        """Say what is to be known about the file, and begin to look at it now and then."""
        self._say_altered()
        beside = beside_words(self.desk.case)
        if beside:
            self._screen.say(f"Set aside in the file when two rooms had different values: {beside}.")
        self._screen.set_interval(WATCH_S, self.look)

    # ---- saving

    def _told_by_saver(self, state: SaverState) -> None:
        """In the saver's thread, which must not wait for the screen: the screen may be waiting for it."""
        if state.kind in ("failed", "changed") or state.warning or (self._failed and state.is_safe):
            self._failed = not state.is_safe and (self._failed or state.kind == "failed")
            self._screen.tell_from_thread(self._tell, state)

    def _tell(self, state: SaverState) -> None:
        if state.kind == "failed":
            copy = f"; a copy is kept at {state.recovery}" if state.recovery else ""
            self._screen.say_once(f"NOT saved: {state.reason}. It is tried again by itself{copy}.", "error")
        elif state.kind == "changed":
            self.settle()
        elif state.warning:
            self._screen.say(state.warning, "check")
        else:
            self._screen.say("Saved now: everything that could not be saved before is on disk.", "done")

    def say_when(self) -> None:
        """Say when it was saved; try again when it was not."""
        state = self.desk.saver.state
        if state.kind == "failed" or (state.kind == "idle" and self.desk.saver.stamp is None):
            state = self.desk.save_now()
        if state.is_safe:
            when = state.at.astimezone().strftime("at %H:%M:%S") if state.at else "before it was opened"
            self._screen.say(f"Saved {when} in {self.desk.path}", "done")
        elif state.kind == "saving":
            self._screen.say("Saving; the disk is slow. It is tried until it is done.", "check")
        else:
            self._tell(state)

    # ---- another room

    def look(self) -> None:
        """Look whether somebody else changed the file; nothing is sent when nobody did."""
        saver = self.desk.saver
        if self._asking or saver.stamp is None or saver.state.kind == "saving":
            return
        seen = self._watch.look(saver.stamp)
        if (
            seen.kind == "changed" and seen.stamp is not None and not seen.stamp.same_content(self._known)
        ) or (seen.kind == "unchanged" and saver.state.kind == "changed"):
            self.settle()
        elif seen.kind == "gone":
            self._say_unreadable("the file is gone; the next change writes it again")

    def settle(self) -> None:
        """Put their changes and ours together; ask only for values that both changed."""
        if self._asking:
            return
        found = their_version(self.desk)
        if isinstance(found, FileRefusal):
            copy = self.desk.saver.state.recovery
            kept = f" What was entered here is kept at {copy}." if copy else ""
            self._say_unreadable(f"it cannot be read now: {found}{kept}")
            return
        self._unreadable = ""
        self._known = found.stamp
        if found.their_case == self.desk.case:
            # Written differently, or the same change in both rooms: nothing to say.
            self.desk.replace(found.their_case, found.their_case, found.stamp)
        elif found.is_clean:
            ours = " Both sets of changes are kept." if found.has_ours else ""
            said = f"Changed elsewhere and taken in: {found.words}.{ours}"
            if not found.merge.from_theirs:
                said = "The file is as it was before; what was entered here is saved."
            self._take(found, said, "check")
        else:
            from .screens.rooms import ask_about_change

            self._asking = True
            ask_about_change(self._screen, found, self._asked)

    def _asked(self, decided: Theirs) -> None:
        self._asking = False
        self._take(decided, "Decided and saved; the version before stays in the history.", "done")

    def _take(self, found: Theirs, said: str, weight: Weight) -> None:
        worked_on = self.desk.case.visit
        now = found.case.visit
        if (worked_on.on, worked_on.kind) != (now.on, now.kind):
            said = f"{said} The visit shown is the {now.kind} of {now.on} now."
        self.desk.replace(found.case, found.their_case, found.stamp)
        self._screen.say(said, weight)
        self._screen.case_changed()
        self._say_altered()

    def _say_altered(self) -> None:
        """A signed visit that is no longer what was signed; it stays read-only."""
        for sentence in altered(self.desk.case):
            self._screen.say(
                f"{sentence} It stays read-only; the earlier versions show what was signed.", "error"
            )

    def _say_unreadable(self, why: str) -> None:
        """Once for each reason: the line stays."""
        if why != self._unreadable:
            self._unreadable = why
            self._screen.say(f"Changed elsewhere: {why}", "error")
