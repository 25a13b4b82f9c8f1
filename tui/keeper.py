"""Keeps the open case on disk and in step with other rooms, and says so on its screen.

It owns the desk and the look at the file. What another room changed is taken in when it fits, and asked about when it
does not; nothing of either side is lost.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from threading import Thread
from typing import TYPE_CHECKING

from ..core.desk import Desk
from ..core.errors import FileRefusal
from ..core.signing import altered
from ..core.store.files import Stamp
from ..core.store.filesystem import reason_of
from ..core.store.saver import SaverState
from ..core.store.watch import Seen, Watch
from ..core.workspace import OpenedCase
from .rooms import (
    Theirs,
    beside_words,
    can_be_written,
    is_gone,
    name_of,
    names_row,
    their_version,
    value_words,
)
from .widgets.lines import Weight

if TYPE_CHECKING:
    from .screens.case import CaseScreen

# How often the file is looked at for another room's change. One stat, nothing sent.
WATCH_S = 2.0
GONE = "the file is gone: removed or renamed elsewhere, or the share is not connected"


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
        self._looking = False
        self._is_left = False

    def start(self) -> None:
        """Say what is to be known about the file, and begin to look at it now and then."""
        self._say_altered()
        beside = beside_words(self.desk.case)
        if beside:
            self._screen.say(f"Set aside in the file when two rooms had different values: {beside}.")
        self._screen.set_interval(WATCH_S, self._look_in_thread)

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
        self._unreadable, self._is_left = "", False
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
        if self._may_look():
            self._saw(self._watch.look(self.desk.saver.stamp))

    def _look_in_thread(self) -> None:
        """The same without waiting: a share that has gone may not answer for minutes."""
        state = self.desk.saver.look_after()
        if state.kind == "saving" and state.reason:
            copy = f"; a copy is kept at {state.recovery}" if state.recovery else ""
            self._screen.say_once(f"NOT saved yet: {state.reason}. It is waited for{copy}.", "error")
        if self._looking or not self._may_look():
            return
        self._looking = True
        stamp = self.desk.saver.stamp

        def look() -> None:
            seen = self._watch.look(stamp)
            self._looking = False
            if seen.kind != "unchanged" or self.desk.saver.state.kind == "changed":
                self._screen.tell_from_thread(self._saw_behind, seen, stamp)

        Thread(target=look, name="afocal-watch", daemon=True).start()

    def _saw_behind(self, seen: Seen, stamp: Stamp | None) -> None:
        """What the thread saw counts while nothing was saved since."""
        if self._may_look() and stamp is self.desk.saver.stamp:
            self._saw(seen)

    def _may_look(self) -> bool:
        saver = self.desk.saver
        return not self._asking and saver.stamp is not None and saver.state.kind != "saving"

    def _saw(self, seen: Seen) -> None:
        is_waited_for = self.desk.saver.state.kind == "changed"
        if seen.kind == "changed" and seen.stamp is not None:
            if not seen.stamp.same_content(self._known):
                self.settle()
        elif seen.kind == "unchanged" and is_waited_for:
            self.settle()
        elif seen.kind == "gone" and not is_waited_for:
            self._say_unreadable(
                f"{GONE}. What is shown stands in the history and, with the next change, is asked about"
            )

    def settle(self) -> None:
        """Put their changes and ours together; ask only for values that both changed."""
        if self._asking:
            return
        self._hand_up_words()
        found = their_version(self.desk)
        if isinstance(found, FileRefusal):
            if is_gone(self.desk.path):
                self._ask_about_gone()
            else:
                self._say_unreadable(f"it cannot be read now: {found}{self._copy_words()}")
            return
        self._unreadable, self._is_left = "", False
        self._known = found.stamp
        if found.typed_over:
            self._keep_saved()
        if found.their_case == self.desk.case:
            # Written differently, or the same change in both rooms: nothing to say.
            self.desk.replace(found.their_case, found.their_case, found.stamp)
        elif found.apart is not None:
            from .screens.rooms import ask_about_missed

            self._asking = True
            ask_about_missed(self._screen, found, self._decided_about_missed)
        else:
            self._join(found)

    def _hand_up_words(self) -> None:
        """Words of a note go into the case at any pause; they must not be written over what comes in meanwhile."""
        form = getattr(self._screen.pane, "form", None)
        row = form.current_row if form is not None else None
        if form is None or (row is not None and row.multiline):
            self._screen.pane.accept_typed()

    def _typed_meanwhile(self, found: Theirs) -> str:
        """What to say when the value under the caret, typed and not accepted, has come in another way."""
        form = getattr(self._screen.pane, "form", None)
        if form is None or not form.dirty or not form.current_key:
            return ""
        # The version that came in is kept for good, since an Enter now replaces a value of it.
        self.desk.keep_theirs()
        for each in found.merge.from_theirs:
            if names_row(each.path, form.current_key):
                there = value_words(each.after)
                return (
                    f" {name_of(each.path)} is {there} there: what you are typing replaces it when accepted."
                )
        return ""

    def _decided_about_missed(self, found: Theirs) -> None:
        self._asking = False
        self._join(found)

    def _join(self, found: Theirs) -> None:
        if found.is_clean:
            ours = " Both sets of changes are kept." if found.has_ours else ""
            said = f"Changed elsewhere and taken in: {found.words}.{ours}"
            if not found.merge.from_theirs:
                said = "The file is as it was before; what was entered here is saved."
            self._take(found, said, "check")
        else:
            from .screens.rooms import ask_about_change

            self._asking = True
            ask_about_change(self._screen, found, self._asked)

    def _keep_saved(self) -> None:
        try:
            self.desk.keep_saved()
        except (OSError, FileRefusal) as error:
            why = reason_of(error) if isinstance(error, OSError) else error
            self._screen.say(f"What was saved here could not be kept in the history: {why}", "error")

    def _ask_about_gone(self) -> None:
        """The file is not there any more, and something is to be saved: written again only when somebody says so."""
        if self._is_left or not can_be_written(self.desk.path):
            self._say_unreadable(f"{GONE}{self._copy_words()}")
            return
        from .screens.rooms import ask_about_gone

        self._asking = True
        ask_about_gone(self._screen, self.desk.path, self._decided_about_gone)

    def _decided_about_gone(self, write: bool) -> None:
        self._asking, self._is_left = False, not write
        if write:
            self.desk.write_again()
            self._screen.say("The case is written again as it stands here.", "done")
        else:
            self._say_unreadable(f"{GONE}{self._copy_words()} Ctrl+S asks again")

    def _copy_words(self) -> str:
        copy = self.desk.saver.state.recovery
        return f". What was entered here is kept at {copy}." if copy else ""

    def _asked(self, decided: Theirs) -> None:
        self._asking = False
        self._take(decided, "Decided and saved; the version before stays in the history.", "done")

    def _take(self, found: Theirs, said: str, weight: Weight) -> None:
        worked_on = self.desk.case.visit
        now = found.case.visit
        if (worked_on.on, worked_on.kind) != (now.on, now.kind):
            said = f"{said} The visit shown is the {now.kind} of {now.on} now."
        self.desk.replace(found.case, found.their_case, found.stamp)
        self._screen.say(said + self._typed_meanwhile(found), weight)
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
