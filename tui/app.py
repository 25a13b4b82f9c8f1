"""The application: opens screens, holds what belongs to the whole run, and nothing else.

What it must not do: lay out, compute, or know a field. It imports only what the case list needs; the case screen and
all that it stands on are loaded in a thread after the first paint.
"""

from __future__ import annotations

import threading
from collections.abc import Iterable
from typing import TYPE_CHECKING, ClassVar

from textual.app import SystemCommand
from textual.binding import BindingType
from textual.events import Event, Key
from textual.screen import ModalScreen, Screen

from ..core.errors import AfocalError
from ..core.workspace import Workspace
from ..themes import ThemeData
from .commands import BY_ID, Place, bindings_for, commands_in, keys_in_force, shown_key
from .crash import GuardedApp
from .quiet import keys_in_order
from .screens.case_list import CaseListScreen
from .theming import ThemedApp
from .widgets.lines import KeyLine, KeyWord, MessageLine

if TYPE_CHECKING:
    from ..core.settings import Settings
    from ..core.stock import Stock
    from .screens.case import CaseScreen


class AfocalApp(GuardedApp[int], ThemedApp[int]):
    """See the module's first lines."""

    TITLE = "afocal"
    ENABLE_COMMAND_PALETTE = True
    COMMAND_PALETTE_BINDING = "ctrl+p"
    BINDINGS: ClassVar[list[BindingType]] = list(bindings_for("everywhere"))
    animation_level = "none"

    def __init__(self, workspace: Workspace, case: str = "", theme: ThemeData | None = None) -> None:
        super().__init__(theme)
        self.workspace = workspace
        self._first_case = case
        self.keys_of: dict[str, str] = {name: command.key for name, command in BY_ID.items()}
        self._settings: Settings | None = None
        self._stock: Stock | None = None
        self._problems: list[str] = []
        self._warm = threading.Event()
        self._lock = threading.Lock()

    # ---- start

    def get_default_screen(self) -> Screen:
        """The list of cases is the ground that everything else stands on."""
        return CaseListScreen(self.workspace)

    def on_ready(self) -> None:
        """After the first paint: load what a case needs, without holding up a key."""
        super().on_ready()
        threading.Thread(target=self._warm_up, name="afocal-warm-up", daemon=True).start()
        if self._first_case:
            self.call_after_refresh(self.open_case, self._first_case)

    def _warm_up(self) -> None:
        self.settings  # noqa: B018 - loaded and kept
        self.stock  # noqa: B018
        from ..core import case_file, fitting, plan  # noqa: F401
        from .panes import intake  # noqa: F401
        from .screens import case  # noqa: F401

        self._warm.set()
        self.call_from_thread(self._settings_known)

    def _settings_known(self) -> None:
        keys, problems = keys_in_force(self.settings.keys)
        if keys != self.keys_of:
            self.keys_of = keys
            self.set_keymap({name: key for name, key in keys.items() if key != BY_ID[name].key})
            for screen in self.screen_stack:
                for line in screen.query(KeyLine):
                    self.fill_key_line(line, getattr(screen, "place", "list"))
        for sentence in (*self._problems, *problems):
            self.say(sentence, "check")
        self._problems.clear()
        self._offer_recovery()

    @property
    def settings(self) -> Settings:
        """The clinic's settings; problems with the file are said once."""
        with self._lock:
            if self._settings is None:
                self._settings, problems = self.workspace.settings()
                self._problems += map(str, problems)
            return self._settings

    @property
    def stock(self) -> Stock:
        """The clinic's stock; problems with the file are said once."""
        with self._lock:
            if self._stock is None:
                self._stock, problems = self.workspace.stock()
                self._problems += map(str, problems)
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
        self.push_screen(CaseScreen(opened, stock, settings, said=said))

    def leave_case(self, screen: CaseScreen) -> None:
        """Back to the list when everything is on disk; else ask."""
        state = screen.desk.close()
        if state.is_safe:
            self.pop_screen()
            return
        self._ask_about_unsaved(screen, self.pop_screen)

    def _ask_about_unsaved(self, screen: CaseScreen, go) -> None:
        from .screens.dialogs import Decide

        state = screen.desk.saver.state
        copy = f"A copy is kept at {state.recovery} and offered at the next start." if state.recovery else ""
        text = f"{screen.desk.case.code} is not saved: {state.reason}.\n{copy}"
        answers = (
            ("stay", "Stay and keep trying"),
            ("leave", "Leave; the copy is offered at the next start"),
        )

        def decided(answer: str | None) -> None:
            if answer == "leave":
                go()
            else:
                screen.desk.save_now()

        self.push_screen(Decide("Not on disk", text, answers), decided)

    def action_quit(self) -> None:  # type: ignore[override]
        """Leave; asks only when something is not on disk."""
        from_case = [screen for screen in self.screen_stack if hasattr(screen, "desk")]
        for screen in from_case:
            if screen is self.screen:
                screen.pane.accept_typed()  # type: ignore[attr-defined]
            if not screen.desk.close().is_safe:  # type: ignore[attr-defined]
                self._ask_about_unsaved(screen, lambda: self.exit(0))  # type: ignore[arg-type]
                return
        self.exit(0)

    def end_from_outside(self) -> None:
        """The terminal closed or the system asks us to go: what was typed is accepted, what is open is saved."""
        for screen in self.screen_stack:
            if hasattr(screen, "desk"):
                screen.desk.close()  # type: ignore[attr-defined]
        self.exit(0)

    def _offer_recovery(self) -> None:
        from .screens.recovery import offer_recovery

        offer_recovery(self)

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

    def get_system_commands(self, screen: Screen) -> Iterable[SystemCommand]:
        """The palette: our commands that work here, with their keys, and none of the framework's."""
        place: Place = getattr(screen, "place", "list")
        for command in commands_in(place):
            if command.id == "palette":
                continue
            key = self.keys_of[command.id]
            name = f"{command.word} ({shown_key(key)})" if key else command.word
            yield SystemCommand(
                name[:1].upper() + name[1:], command.sentence, self._runner(screen, command.id)
            )

    def _runner(self, screen: Screen, name: str):
        action = BY_ID[name].action

        async def run() -> None:
            # The action is the pane's, the screen's or the app's, whichever has it.
            for owner in (getattr(screen, "pane", None), screen, self):
                method = getattr(owner, f"action_{action}", None)
                if method is not None:
                    result = method()
                    if result is not None:
                        await result
                    return

        return run

    def action_palette(self) -> None:
        """The palette, unless a dialog is open."""
        if not isinstance(self.screen, ModalScreen):
            self.action_command_palette()

    def action_messages(self) -> None:
        """The recent messages, newest first."""
        if isinstance(self.screen, ModalScreen):
            return
        from .screens.dialogs import text_page

        said = [each for line in self.screen.query(MessageLine) for each in reversed(line.recent)]
        text = "\n".join(f"{each.at:%H:%M:%S}  {each.text}" for each in said)
        self.push_screen(text_page("Recent messages", text or "Nothing was said yet."))

    def action_help(self) -> None:
        """Help for the field, then the page, then the program."""
        if isinstance(self.screen, ModalScreen):
            return
        from .screens.help_page import help_page

        self.push_screen(help_page(self))

    def action_theme(self) -> None:
        """Choose the colours."""
        if isinstance(self.screen, ModalScreen):
            return
        from .screens.theme_choice import ThemeChoice

        self.push_screen(ThemeChoice(self))
