"""The application: opens screens, holds what belongs to the whole run, and nothing else.

What it must not do: lay out, compute, or know a field. It imports only what the case list needs; the case screen and
all that it stands on are loaded in a thread after the first paint.
"""

from __future__ import annotations

import gc
import threading
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar

from textual.binding import BindingType
from textual.events import Event, Key
from textual.screen import ModalScreen, Screen

from ..core.errors import AfocalError, FileRefusal
from ..core.workspace import Workspace
from ..themes import ThemeData
from .commands import BY_ID, Place, bindings_for, commands_in, keymap_of, keys_in_force, shown_key
from .crash import GuardedApp
from .driver import look_for_terminal
from .ending import call_when_asked_to_end
from .quiet import keys_in_order
from .screens.case_list import CaseListScreen
from .terminal import settled
from .theming import ThemedApp
from .widgets.lines import KeyLine, KeyWord, MessageLine

if TYPE_CHECKING:
    from ..core.desk import Desk
    from ..core.settings import Settings
    from ..core.stock import Stock
    from .screens.case import CaseScreen


# The framework's own bindings are left out: Ctrl+C would tell in a corner, for a moment, how to quit.
class AfocalApp(GuardedApp[int], ThemedApp[int], inherit_bindings=False):
    """See the module's first lines."""

    TITLE = "afocal"
    ENABLE_COMMAND_PALETTE = False
    BINDINGS: ClassVar[list[BindingType]] = list(bindings_for("everywhere"))
    animation_level = "none"

    def __init__(self, workspace: Workspace, case: str = "", theme: ThemeData | None = None) -> None:
        super().__init__(theme)
        self.workspace = workspace
        self._first_case = case
        self.keys_of: dict[str, str] = {name: command.key for name, command in BY_ID.items()}
        self.desks: list[Desk] = []
        """what is open; kept here because a crash report must find it when the screens are gone"""
        self._settings: Settings | None = None
        self._stock: Stock | None = None
        self._problems: list[str] = []
        self._list: CaseListScreen | None = None
        self._lock = threading.Lock()

    # ---- start

    def get_default_screen(self) -> Screen:
        """The list of cases is the ground that everything else stands on."""
        self._list = CaseListScreen(self.workspace)
        return self._list

    def on_ready(self) -> None:
        """After the first paint: load what a case needs, without holding up a key."""
        super().on_ready()
        call_when_asked_to_end(self.end_from_outside)
        threading.Thread(target=self._warm_up, name="afocal-warm-up", daemon=True).start()
        if self._first_case:
            self.call_after_refresh(self.open_case, self._first_case)

    def call_from_any_thread(self, call: Callable[..., Any], *arguments: Any) -> None:
        """Have something done by the screen's thread without waiting for it; nothing when the program is ending."""
        with suppress(RuntimeError):  # the loop has ended
            self.call_later(call, *arguments)

    def _warm_up(self) -> None:
        try:
            from ..core.store import refresh  # noqa: F401

            # First, so that what is wrong with the folder is said before what is wrong with settings and stock.
            if self._list is not None:
                self.call_from_any_thread(self._list.look_behind)
            from ..core import case_file, plan  # noqa: F401
            from ..core.documents.version import made_by
            from ..core.store.files import sweep_leftovers
            from .panes import computation, fitting, intake, notes  # noqa: F401
            from .screens import case  # noqa: F401

            self.settings  # noqa: B018 - loaded and kept
            self.stock  # noqa: B018
            made_by()  # the foot of every note; reading the version of the program takes a while
            sweep_leftovers(self.workspace.cases)
        except Exception as error:  # a thread would print it with its values
            self.call_from_any_thread(self._handle_exception, error)
            return
        self.call_from_any_thread(self._settings_known)

    def _settings_known(self) -> None:
        if not gc.isenabled():
            settled()
        keys, problems = keys_in_force(self.settings.keys)
        if keys != self.keys_of:
            self.keys_of = keys
            self.set_keymap(keymap_of(keys))
            for screen in self.screen_stack:
                for line in screen.query(KeyLine):
                    self.fill_key_line(line, getattr(screen, "place", "list"))
        self._problems += problems
        if not self._first_case or self.desks:
            for sentence in self._problems:
                self.say(sentence, "check")
            self._problems.clear()
        from .screens.recovery import offer_recovery

        offer_recovery(self)

    @property
    def settings(self) -> Settings:
        """The clinic's settings; problems with the file are said once."""
        with self._lock:
            if self._settings is None:
                self._settings, problems = self.workspace.settings()
                self._problems += map(file_words, problems)
            return self._settings

    @property
    def stock(self) -> Stock:
        """The clinic's stock; problems with the file are said once."""
        with self._lock:
            if self._stock is None:
                self._stock, problems = self.workspace.stock()
                self._problems += map(file_words, problems)
            return self._stock

    async def on_event(self, event: Event) -> None:
        """Keys are acted on in the order in which they were typed, however fast."""
        if isinstance(event, Key) and not event.is_forwarded:
            await keys_in_order(self.focused)
        await super().on_event(event)

    # ---- cases

    def open_case(self, name: str) -> None:
        """Open a case by code, file name or path; a damaged one is named and left as it is."""
        try:
            opened = self.workspace.open_case(name)
        except FileRefusal as refusal:
            self.say(file_words(refusal), "error")
            return
        except AfocalError as error:
            self.say(str(error), "error")
            return
        self._push_case(opened)

    def open_new(self, code: str) -> None:
        """Open an empty case; its file is made with the first accepted value."""
        from datetime import date

        try:
            opened = self.workspace.new_case(code, date.today())
        except AfocalError as error:
            self.say(str(error), "error")
            return
        self._push_case(opened)

    def _push_case(self, opened) -> None:
        from .screens.case import CaseScreen

        stock, settings = self.stock, self.settings
        said, self._problems = tuple(self._problems), []
        screen = CaseScreen(opened, stock, settings, said=said, after_save=self._saved)
        self.desks.append(screen.desk)
        self.push_screen(screen)

    def _saved(self, path: Path, text: str) -> None:
        """In the saver's thread: the list is told when it is next looked at, not while somebody types."""
        if self._list is not None:
            self._list.saved[path] = text

    def leave_case(self, screen: CaseScreen) -> None:
        """Back to the list when everything is on disk; else ask."""

        def leave() -> None:
            self.desks.remove(screen.desk)
            self.pop_screen()

        if screen.desk.close().is_safe:
            leave()
        else:
            self._ask_about_unsaved(screen.desk, leave)

    def _ask_about_unsaved(self, desk: Desk, leave: Callable[[], None]) -> None:
        from .screens.dialogs import Decide

        state = desk.saver.state
        copy = f"A copy is kept at {state.recovery} and offered at the next start." if state.recovery else ""
        text = f"{desk.case.code} is not saved in {desk.path}: {state.reason}.\n{copy}"
        answers = (
            ("stay", "Stay and keep trying"),
            ("leave", "Leave; the copy is offered at the next start" if copy else "Leave and lose it"),
        )

        def decided(answer: str | None) -> None:
            if answer == "leave":
                leave()
            else:
                desk.save_now()

        self.push_screen(Decide("Not on disk", text, answers), decided)

    def action_quit(self) -> None:  # type: ignore[override]
        """Leave; asks only when something is not on disk."""
        pane = getattr(self.screen, "pane", None)
        if pane is not None:
            pane.accept_typed()
        for desk in self.desks:
            if not desk.close().is_safe:
                self._ask_about_unsaved(desk, lambda: self.exit(0))
                return
        self.exit(0)

    def end_from_outside(self) -> None:
        """The terminal closed or the system asks us to go: what was typed is accepted, what is open is saved."""
        for screen in reversed(self.screen_stack):
            pane = getattr(screen, "pane", None)
            if pane is not None:
                pane.accept_typed()
        for desk in self.desks:
            desk.close()
        look_for_terminal(self._driver)
        self.exit(0)

    # ---- saying and showing

    def say(self, text: str, weight: str = "note") -> None:
        """Say something on the screen in front."""
        for screen in reversed(self.screen_stack):
            lines = screen.query(MessageLine)
            if lines:
                lines.first().say(text, weight)  # type: ignore[arg-type]
                return

    def fill_key_line(self, line: KeyLine, place: Place) -> None:
        """The keys of a place, the ones that work everywhere last."""
        line.keys = [
            KeyWord(shown_key(self.keys_of[command.id]), command.word)
            for command in commands_in(place)
            if command.in_key_line and self.keys_of[command.id]
        ]

    def action_palette(self) -> None:
        """Every command that works here, by name, with its key."""
        if isinstance(self.screen, ModalScreen):
            return
        from .screens.dialogs import Pick

        place: Place = getattr(self.screen, "place", "list")
        found = [command for command in commands_in(place) if command.id != "palette"]
        screen = self.screen

        def picked(name: str | None) -> None:
            if name is not None:
                self.call_later(self.run_command, screen, name)

        self.push_screen(
            Pick(
                "All commands",
                [(command.id, command.title) for command in found],
                details=[shown_key(self.keys_of[command.id]) for command in found],
            ),
            picked,
        )

    async def run_command(self, screen: Screen, name: str) -> None:
        """Do what a command stands for: the action is the pane's, the screen's or the app's, whichever has it."""
        action = f"action_{BY_ID[name].action}"
        for owner in (getattr(screen, "pane", None), screen, self):
            method = getattr(owner, action, None)
            if method is not None:
                result = method()
                if result is not None:
                    await result
                return

    def action_messages(self) -> None:
        """The recent messages, newest first."""
        if isinstance(self.screen, ModalScreen):
            return
        from .screens.dialogs import text_page

        lines = (line for screen in self.screen_stack for line in screen.query(MessageLine))
        said = sorted(
            (each for line in lines for each in line.recent), key=lambda each: each.at, reverse=True
        )
        text = "\n".join(f"{each.at:%H:%M:%S}  {each.text}" for each in said)
        self.push_screen(text_page("Recent messages", text or "Nothing was said yet."))

    def action_help(self) -> None:
        """Help for the field, then the page, then the program; a dialog gives its own, if it has any."""
        if isinstance(self.screen, ModalScreen):
            own_help = getattr(self.screen, "action_help", None)
            if own_help is not None:
                own_help()
            return
        from .screens.help_page import help_page

        self.push_screen(help_page(self))

    def action_theme(self) -> None:
        """Choose the colours."""
        if isinstance(self.screen, ModalScreen):
            return
        from .screens.theme_choice import choose_theme

        choose_theme(self)


def file_words(refusal: FileRefusal) -> str:
    """A file that cannot be used, its name first and its folder last: a line has room for the reason then."""
    line = f", line {refusal.line}" if refusal.line else ""
    key = f"{refusal.key}: " if refusal.key else ""
    nearest = f" (did you mean {refusal.nearest}?)" if refusal.nearest else ""
    # The message line cleans what it shows.
    return f"{refusal.path.name}{line}: {key}{refusal.reason}{nearest} (in {refusal.path.parent})"
