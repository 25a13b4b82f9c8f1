"""The list of cases: the first page at once from the index, the check against the folder behind it."""

from __future__ import annotations

import time
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from textual import on
from textual.app import ComposeResult
from textual.events import Key

from ...core import paths
from ...core.store.index import CaseIndex
from ...core.workspace import Workspace
from ..commands import bindings_for
from ..quiet import QuietInput, QuietLabel, QuietScreen, share_keys
from ..widgets.lines import KeyLine, MessageLine
from ..widgets.list_table import Column, ListRow, ListTable

if TYPE_CHECKING:
    from ...core.store.index import Header
    from ...core.store.refresh import BackgroundRefresh, Progress

_SORTS = ("last_visit", "code", "next_date", "device", "kind", "problem")
_SORT_WORDS = {
    "last_visit": "last visit",
    "code": "code",
    "next_date": "next visit",
    "device": "device",
    "kind": "kind of visit",
    "problem": "what is wrong",
}
# The list is looked through again while it is open, so that another room's work shows.
REFRESH_S = 20.0
# The thread itself waits to be told.
_ONCE_S = 86_400.0
# While a folder is read for the first time, the list is painted again so often at most.
PROGRESS_S = 0.3


class CaseListScreen(QuietScreen[None]):
    """Search at the top, cases below; Enter opens the one under the caret."""

    DEFAULT_CSS = """
    CaseListScreen { background: $ground; }
    CaseListScreen #title { height: 1; color: $heading; background: $ground; padding: 0 1; text-style: bold; }
    CaseListScreen #search { height: 1; width: 1fr; }
    """

    BINDINGS = bindings_for("list")
    place = "list"

    def __init__(self, workspace: Workspace) -> None:
        super().__init__()
        self.workspace = workspace
        self.index = CaseIndex(workspace.cases, paths.index_file(workspace.cases))
        self.table = ListTable(
            (
                Column("code", "Code", 10),
                Column("last_visit", "Last visit", 10, priority=1),
                Column("kind", "Kind", 11, priority=4),
                Column("goals", "Goals", 12, priority=2, flexible=True),
                Column("device", "Device", 16, priority=5),
                Column("next", "Next", 14, priority=3),
            ),
            empty="No cases here yet. Ctrl+N begins one with a patient code.",
            id="cases",
        )
        self.search = QuietInput(
            "",
            id="search",
            placeholder="type to search: code, date, goal, device, next step",
            select_on_focus=False,
        )
        self.saved: dict[Path, str] = {}
        """texts that were saved since the list was last looked at, put in by the savers' threads"""
        self.messages = MessageLine(more="Ctrl+L all")
        self.keys = KeyLine()
        self._title = QuietLabel("", id="title")
        self._sort = 0
        self._titled = ""
        self._painted_at = 0.0
        self._is_behind = False
        self._walked = False
        self._refresher: BackgroundRefresh | None = None

    def compose(self) -> ComposeResult:
        yield self._title
        yield self.search
        yield self.table
        yield self.messages
        yield self.keys

    def on_mount(self) -> None:
        """The first page is there before anything else is looked at."""
        super().on_mount()
        self.show_page()
        self.table.focus()
        self.app.fill_key_line(self.keys, "list")  # type: ignore[attr-defined]

    def on_unmount(self) -> None:
        """The background check ends with the screen; whoever reads the index last closes its file."""
        if self._refresher is None or self._refresher.stop(0.2):
            self.index.close()
        else:
            self.index.leave()

    def on_screen_resume(self) -> None:
        """Back from a case: what was saved there is shown."""
        if self.saved:
            self._note_saved()
        if self._refresher is not None:
            self._refresher.now()
            self.show_page()

    def _note_saved(self) -> None:
        while self.saved:
            path, text = self.saved.popitem()
            self.index.note_saved(path, text, _header_of)

    def show_page(self, *, from_the_top: bool = False) -> None:
        """The rows of the present search and order, read as they are scrolled to."""
        search, sort = self.search.value.strip(), _SORTS[self._sort]
        descending = sort in ("last_visit", "problem")
        total = self.index.total(search)

        def fetch(first: int, last: int) -> list[ListRow]:
            rows = self.index.page(first, last - first, search=search, sort=sort, descending=descending)
            return [_list_row(row) for row in rows]

        self.table.empty = (
            f"No case has '{search}' in it. Escape shows all again."
            if search
            else "No cases here yet. Ctrl+N begins one with a patient code."
        )
        self.table.use_source(total, fetch, stay=not from_the_top)
        practice = "  PRACTICE SET, thrown away at the end" if self.workspace.is_demo else ""
        title = f"{total} {'case' if total == 1 else 'cases'}, by {_SORT_WORDS[sort]}{practice}"
        if title != self._titled:
            self._titled = title
            self._title.say(title)
        self._painted_at = time.monotonic()

    def look_behind(self) -> None:
        """Hold the index against the folder, now and again; called when what reads the files has been loaded."""
        from ...core.store.refresh import BackgroundRefresh

        tell = self.app.call_from_any_thread  # type: ignore[attr-defined]
        self._refresher = BackgroundRefresh(
            self.index,
            _header_of,
            on_progress=lambda progress: tell(self._progressed, progress),
            every_s=_ONCE_S,
        )
        self._refresher.start()
        self.set_interval(REFRESH_S, self._look_again)

    def _look_again(self) -> None:
        """While a case is open in front, nobody looks at the list, and a large folder takes a while."""
        if self._refresher is not None and self.app.screen is self:
            self._refresher.now()

    def _progressed(self, progress: Progress) -> None:
        if progress.problem:
            self.messages.say(f"The cases cannot be listed: {progress.problem}", "error")
        self._is_behind |= progress.altered
        recent = time.monotonic() - self._painted_at < PROGRESS_S and not progress.done
        # While a case is open in front, the list waits: it is painted when it is looked at again.
        if self._is_behind and not recent and self.app.screen is self:
            self._is_behind = False
            # Until the caret was moved it waits at the top for the newest, wherever the first one found ends up.
            self.show_page(from_the_top=self.table.current <= 0 and not self._walked)

    @on(ListTable.RowFocused)
    def _row_focused(self, event: ListTable.RowFocused) -> None:
        event.stop()
        self._walked = True

    @on(QuietInput.Changed, "#search")
    def _searched(self, event: QuietInput.Changed) -> None:
        event.stop()
        self.show_page(from_the_top=True)

    @on(QuietInput.Submitted, "#search")
    def _search_entered(self, event: QuietInput.Submitted) -> None:
        event.stop()
        self._open(self.table.current_key)

    @on(ListTable.RowChosen)
    def _row_chosen(self, event: ListTable.RowChosen) -> None:
        event.stop()
        self._open(event.key)

    def on_key(self, event: Key) -> None:
        """Letters search wherever the caret is, Up and Down walk the list, Escape gives up the search."""
        if event.key == "escape" and self.search.value:
            self.search.value = ""
            self.table.focus()
        elif not share_keys(event, self.search, self.table):
            return
        event.stop()
        event.prevent_default()

    def _open(self, name: str | None) -> None:
        if name:
            self.app.open_case(name)  # type: ignore[attr-defined]

    def action_list_sort(self) -> None:
        """The next order."""
        self._sort = (self._sort + 1) % len(_SORTS)
        self.show_page(from_the_top=True)

    def action_look_back(self) -> None:
        """What was promised and what came of it, over all cases, from the index."""
        from ...core.documents.look_back_report import look_back_page
        from ...core.documents.text import unfolded
        from .dialogs import text_page

        text = look_back_page(self.index, self.app.settings)  # type: ignore[attr-defined]
        self.app.push_screen(text_page("Look back over the cases", "\n".join(unfolded(text))))

    def action_case_new(self) -> None:
        """Ask for a patient code and open an empty case."""
        from ...core.errors import AfocalError
        from .dialogs import Ask

        def refused(code: str) -> str:
            try:
                self.workspace.new_case(code.strip(), date.today())
            except AfocalError as error:
                return str(error)
            return ""

        def begin(code: str | None) -> None:
            if code:
                self.app.open_new(code.strip())  # type: ignore[attr-defined]

        hint = "A code of letters, digits, dot, dash or underscore; never a name. For example KM-014."
        self.app.push_screen(Ask("New case: patient code", check=refused, hint=hint), begin)


def _header_of(text: str) -> Header:
    """What the index holds of a case file. What reads it is loaded with the first file that changed."""
    from ...core.case_header import case_header

    return case_header(text)


def _list_row(row) -> ListRow:
    """A line of the list; a damaged file says so with its reason where the goals would stand."""
    next_words = " ".join(part for part in (row.next_date, row.next_step) if part)
    if row.problem:
        place = f"line {row.line}: " if row.line else ""
        cells = (row.code or row.name, "", "damaged", f"! {place}{row.problem}", "", "")
        return ListRow(row.name, cells, ("error",) * 6)
    goals = f"! {row.note}" if row.note else row.goals
    kind = f"signed {row.kind}" if row.signed else row.kind
    return ListRow(row.name, (row.code, row.last_visit, kind, goals, row.device, next_words))
