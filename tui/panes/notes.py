"""Notes: the practitioner's own words above, the chart note as it would go out now below, and all that goes out."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Literal

from textual import on
from textual.app import ComposeResult
from textual.events import Key
from textual.timer import Timer
from textual.widgets import TextArea

from ...core import paths
from ...core.case import Case
from ...core.documents.chart_note import chart_note, note_difference, note_digest
from ...core.documents.own_templates import own_handout, own_note
from ...core.documents.text import ENDLESS, WIDTH
from ...core.errors import AfocalError
from ..messages import READ_ONLY, CaseEdited, Told
from ..quiet import QuietLabel
from ..safe_text import clean
from ..view import View
from ..widgets.note_editor import WordsArea
from ..widgets.sheet import Sheet, SheetRow, heading_row, text_row
from .base import Pane

# Free words are accepted after this pause, so that a power cut takes at most the last sentence.
PAUSE_S = 0.6

# The marker of the caret, and an edge on either side.
_EDGES = 4

# Where one can go by name: the own words, and the parts of the note by the number of their heading.
_WORDS, _PART = "words", "part."

DOCUMENTS: tuple[tuple[str, str, str], ...] = (
    ("note", "Chart note", "txt"),
    ("handout", "Patient sheet, text", "txt"),
    ("handout-page", "Patient sheet, page to print (HTML)", "html"),
    ("order", "Order for the workshop", "txt"),
    ("working", "Working sheet: every number with its source", "txt"),
    ("fhir-R4B", "Exchange file, FHIR R4B", "json"),
    ("fhir-R5", "Exchange file, FHIR R5", "json"),
)


class NotesPane(Pane):
    """Own words, preview, export."""

    DEFAULT_CSS = """
    NotesPane #words { height: 5; padding: 0 1; }
    NotesPane .label { height: 1; color: $heading; background: $ground; padding: 0 1; text-style: bold; }
    NotesPane #preview { height: 1fr; }
    NotesPane.low #words { height: 3; }
    """

    place = "notes"
    title = "Notes"

    def __init__(self) -> None:
        super().__init__(id="notes")
        self.words = WordsArea(id="words")
        self.preview = Sheet(id="preview")
        self._label = QuietLabel("Your own words", classes="label")
        self._about = QuietLabel("", classes="label")
        self._view: View | None = None
        self._length: Literal["brief", "full"] = "full"
        self._timer: Timer | None = None
        self._shown_width = WIDTH

    def compose(self) -> ComposeResult:
        yield self._label
        yield self.words
        yield self._about
        yield self.preview

    def on_resize(self) -> None:
        """Three lines for words where the screen is low; the note in lines that fit."""
        self.set_class(self.size.height < 12, "low")
        if self._view is not None and self._width() != self._shown_width:
            self.show(self._view)

    # ---- a view comes down

    def show(self, view: View) -> None:
        """The words (unless they are being typed) and the note made from the case."""
        self._view = view
        words = clean(view.case.visit.notes, newlines=True)
        if words != self.words.text and self._timer is None:
            self.words.load_text(words)
        self.words.read_only = view.read_only
        self._shown_width = self._width()
        try:
            text = self._note(view, width=self._shown_width)
        except AfocalError as error:
            self.preview.rows = (text_row(str(error), "error"),)
            return
        self._about.say(clean(f"Chart note as it stands now ({self._length})"))
        self.preview.rows = (*self._difference_rows(view), *_note_rows(text))

    def _width(self) -> int:
        """As it goes out where there is room for that; else endless lines, which the preview breaks to its width."""
        width = self.size.width or self.app.size.width
        return WIDTH if width >= WIDTH + _EDGES else ENDLESS

    def _note(self, view: View, length: Literal["brief", "full"] | None = None, width: int = WIDTH) -> str:
        return chart_note(
            view.case,
            view.plan,
            view.sheet,
            view.settings,
            length=length or self._length,
            template=own_note(),
            width=width,
        )

    def _difference_rows(self, view: View) -> tuple[SheetRow, ...]:
        """What changed since the note was taken."""
        visit = view.case.visit
        if visit.note_taken_at is None:
            return ()
        now = self._note(view, "full")
        when = visit.note_taken_at.strftime("%Y-%m-%d %H:%M")
        if note_digest(now) == visit.note_digest:
            return (text_row(f"The note was taken {when}; nothing changed since.", "ok"),)
        changes = note_difference(visit.note_text, now) if visit.note_text else []
        return (
            heading_row(f"Changed since the note was taken {when}"),
            *(text_row(change, "check") for change in changes),
            heading_row("The note now"),
        )

    # ---- own words

    @on(TextArea.Changed, "#words")
    def _typed(self, event: TextArea.Changed) -> None:
        event.stop()
        if self._view is None or self.words.text == self._view.case.visit.notes:
            return
        if self._timer is not None:
            self._timer.stop()
        self._timer = self.set_timer(PAUSE_S, self.accept_typed)

    def on_key(self, event: Key) -> None:
        """A letter that the words do not take because the visit is signed is answered with the reason."""
        if event.is_printable and self.words.has_focus and self.words.read_only:
            event.stop()
            self.post_message(Told(READ_ONLY, "error"))

    def accept_typed(self) -> None:
        """Words typed so far go into the case."""
        if self._timer is not None:
            self._timer.stop()
            self._timer = None
        text = clean(self.words.text, newlines=True)
        if self._view is None or self._view.read_only:
            return
        if text == clean(self._view.case.visit.notes, newlines=True):
            return
        self.send(CaseEdited(lambda case: case.with_visit(replace(case.visit, notes=text))))

    # ---- the caret

    def take_focus(self) -> None:
        """The words."""
        self.words.focus()

    def jumps(self) -> Iterable[tuple[str, str]]:
        """The own words, and each part of the note by its heading."""
        yield _WORDS, "Your own words"
        for number, row in enumerate(self.preview.rows):
            if row.heading:
                yield f"{_PART}{number}", f"Note: {row.parts[0][0]}"

    def go_to(self, key: str) -> bool:
        """The own words, or the first line under a heading of the note, the heading at the top."""
        number = key.removeprefix(_PART)
        if key == _WORDS:
            self.words.focus()
        elif number.isdecimal() and int(number) < len(self.preview.rows):
            self.preview.focus()
            self.preview.go_below(int(number))
        else:
            return False
        return True

    def working_asked(self) -> None:
        """The numbers of the note are worked out in their own document."""
        self.post_message(
            Told("The working sheet (Documents) has every number of the note; F3 shows them one by one.")
        )

    # ---- what goes out

    def action_note_length(self) -> None:
        """Brief or full."""
        self._length = "brief" if self._length == "full" else "full"
        if self._view is not None:
            self.show(self._view)

    def action_note_copy(self) -> None:
        """The note to the clipboard, on command only."""
        if self._view is None:
            return
        try:
            self.app.copy_to_clipboard(self._note(self._view))
        except AfocalError as error:
            self.post_message(Told(str(error), "error"))
            return
        self._taken("Copied to the clipboard, if this terminal allows it.")

    def action_note_export(self) -> None:
        """The note to a file; where it went stays said."""
        self._write("note", "Chart note", "txt", taken=True)

    def action_documents(self) -> None:
        """Choose what to write."""
        from ..screens.dialogs import Pick

        names = {key: (name, suffix) for key, name, suffix in DOCUMENTS}

        def picked(key: str | None) -> None:
            if key is not None:
                self._write(key, *names[key], taken=key == "note")

        self.app.push_screen(Pick("Write to a file", [(key, name) for key, name, _ in DOCUMENTS]), picked)

    def _write(self, key: str, name: str, suffix: str, *, taken: bool = False) -> None:
        from ...core.documents.export import document_name, export_text, personal_warnings

        view = self._view
        if view is None:
            return
        try:
            text = document_text(key, view, self._length)
            done = export_text(self.out_folder(), document_name(view.case, _file_words(key), suffix), text)
        except AfocalError as error:
            # The reasons first: a line has room for little more.
            reasons = " ".join(getattr(error, "sentences", ())) or str(error)
            self.post_message(Told(f"{name} not written: {reasons}", "error"))
            return
        warnings = personal_warnings(view.case)
        if warnings:
            self.post_message(Told(f"Look before it leaves: {warnings[0]}", "check"))
        if taken:
            self._taken(done.sentence)
        else:
            self.post_message(Told(done.sentence, "done"))

    def out_folder(self) -> Path:
        """Beside the case file, so that it is found where the cases are."""
        return paths.documents_dir(self.screen.desk.path)  # type: ignore[attr-defined]

    def _taken(self, sentence: str) -> None:
        """Remember the note as it went out, so that a later change is seen."""
        view = self._view
        if view is None or view.read_only:
            self.post_message(Told(sentence, "done"))
            return
        full = self._note(view, "full")
        self.send(CaseEdited(_note_taken(full), said=sentence))


def _note_taken(text: str) -> Callable[[Case], Case]:
    at = datetime.now().replace(microsecond=0)

    def change(case: Case) -> Case:
        taken = {"note_taken_at": at, "note_digest": note_digest(text), "note_text": text}
        return case.with_visit(replace(case.visit, **taken))

    return change


def _file_words(key: str) -> str:
    return {
        "note": "chart note",
        "handout": "patient sheet",
        "handout-page": "patient sheet",
        "working": "working sheet",
    }.get(key, key)


def _note_rows(text: str) -> tuple[SheetRow, ...]:
    return tuple(
        heading_row(line) if line and line.isupper() else text_row(line or " ") for line in text.splitlines()
    )


def document_text(key: str, view: View, length: Literal["brief", "full"]) -> str:
    """The text of a document by its key. Raises our refusals, such as an order that is blocked."""
    case, plan, sheet, settings = view.case, view.plan, view.sheet, view.settings
    if plan is None:
        raise AfocalError("nothing is computed yet")
    if key == "note":
        return chart_note(case, plan, sheet, settings, length=length, template=own_note())
    if key == "handout":
        from ...core.documents.handout import handout_text

        return handout_text(case, plan, sheet, settings, template=own_handout())
    if key == "handout-page":
        from ...core.documents.handout import handout_html

        return handout_html(case, plan, sheet, settings, template=own_handout())
    if key == "order":
        from ...core.documents.order import order

        return order(case, plan, sheet, settings).text(settings.letters)
    if key == "working":
        from ...core.documents.working_sheet import working_sheet

        return working_sheet(case, plan, sheet, settings)
    from ...core.documents.fhir import fhir_text

    return fhir_text(case, plan, sheet, settings, release="R5" if key.endswith("R5") else "R4B")
