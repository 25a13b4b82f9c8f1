"""The picture page: five pictures, one at a time, each with the same facts in words under the caret.

From 100 columns the words stand beside the picture, else below it. What is drawn and what is said comes from the pure
functions of the pictures; this page only chooses and places.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import ClassVar

from textual import on
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.geometry import Size

from ...core.formula import recording
from ..messages import WorkingAsked
from ..pictures import PICTURES
from ..pictures.canvas import WAYS, Lines, Way, usual_way
from ..pictures.subject import Subject, subject_of
from ..quiet import QuietContainer, QuietLabel
from ..safe_text import clean
from ..signs import current_signs
from ..view import View
from ..widgets.drawn import Drawn, Line
from ..widgets.sheet import Sheet, text_row
from .dialogs import Dialog, Page, text_page
from .working import step_rows, working_page

BESIDE_FROM = 100
_LEAST_WORDS = 4
_FOOT = "1-5, Left, Right picture  O option  G goal  F full  D dots  F1 help  Esc back"
_SHORT_FOOT = "1-5 O option G goal F full D dots Esc"

# The way of drawing that was chosen by hand; it is kept while the program runs.
_way_chosen: Way | None = None


class PictureBox(Drawn):
    """The place of a picture; it asks for one that fits whenever its size changes."""

    DEFAULT_CSS = """
    PictureBox { background: $ground; padding: 0 1; }
    """
    edge_width = 0

    def __init__(self, draw: Callable[[int, int], Lines]) -> None:
        super().__init__()
        self._painter = draw
        self._drawn_for = Size(0, 0)
        self._lines: Lines = []

    @property
    def extent(self) -> Size:
        """This one has a blank on either side."""
        return self.size

    def ensure_laid_out(self) -> bool:
        """Drawn anew at another width or height."""
        if self.size == self._drawn_for:
            return False
        self.draw_again()
        return True

    def draw_again(self) -> None:
        """Draw, and paint the rows that differ."""
        before, self._drawn_for = self._lines, self.size
        self._lines = self._painter(max(8, self.size.width), max(1, self.size.height))
        for number in range(max(len(before), len(self._lines))):
            old = before[number] if number < len(before) else None
            new = self._lines[number] if number < len(self._lines) else None
            if old != new:
                self.repaint_lines(number)

    def on_resize(self) -> None:
        self.ensure_laid_out()

    @property
    def line_count(self) -> int:
        return len(self._lines)

    def pieces(self, line: int) -> Line:
        return self._lines[line]


class PicturePage(Dialog):
    """See the module's first lines. The caret stays in the words."""

    DEFAULT_CSS = """
    PicturePage .box { max-width: 100%; }
    PicturePage .title, PicturePage .foot { height: 1; }
    PicturePage #both { width: 1fr; height: 1fr; background: $ground; layout: vertical; }
    PicturePage #both.-beside { layout: horizontal; }
    """

    BINDINGS: ClassVar[list[BindingType]] = [
        *(Binding(str(number + 1), f"show({number})", show=False) for number in range(len(PICTURES))),
        Binding("right", "turn(1)", show=False),
        Binding("left", "turn(-1)", show=False),
        Binding("o", "next_option", show=False),
        Binding("g", "next_goal", show=False),
        Binding("f", "full", show=False),
        Binding("d", "dots", show=False),
        Binding("f6", "working", show=False),
        Binding("f7", "leave", show=False),
    ]

    def __init__(self, view: View, first: int = 0) -> None:
        super().__init__("")
        self._shown_number = first
        self._subject = replace(subject_of(view), way=_way_chosen)
        self._full = False
        self._heading = QuietLabel("", classes="title")
        self._key_words = QuietLabel("", classes="foot")
        self.box = PictureBox(self._painter)
        self.sheet = Sheet(PICTURES[first].words(self._subject))

    def compose(self) -> ComposeResult:
        with Vertical(classes="box"):
            yield self._heading
            with QuietContainer(id="both"):
                yield self.box
                yield self.sheet
            yield self._key_words

    def on_mount(self) -> None:
        super().on_mount()
        self._set_out(self.app.size)
        self.sheet.focus()

    def on_resize(self, event) -> None:
        """Beside or below, and how high."""
        self._set_out(event.size)

    # ---- what stands where

    @property
    def number(self) -> int:
        """The picture shown, counted from 0."""
        return self._shown_number

    @property
    def subject(self) -> Subject:
        """The option and the goal shown."""
        return self._subject

    def help_topic(self) -> tuple[str, str]:
        """Title and text of the help for this page."""
        return PICTURES[self._shown_number].title, (
            "The words say what the picture shows. 1 to 5, or Left and Right, choose the picture; O the option that is "
            "drawn in full, G the goal, F the picture as high as it goes, D how it is drawn: in fine dots, in blocks "
            "or in plain signs. F6 shows the working of a number. Up and Down read on; Escape or F7 goes back."
        )

    def _painter(self, width: int, height: int) -> Lines:
        return PICTURES[self._shown_number].draw(self._subject, width, height)

    def _set_out(self, size: Size) -> None:
        beside = size.width >= BESIDE_FROM
        self.query_one("#both").set_class(beside, "-beside")
        room = max(2, size.height - 2)
        words = 2 if self._full else max(_LEAST_WORDS, room * 2 // 5)
        if beside:
            self.box.styles.width = max(60, size.width * (7 if self._full else 6) // 10)
            self.box.styles.height = room
        else:
            self.box.styles.width = "1fr"
            self.box.styles.height = max(1, room - words)
        self._key_words.say(_FOOT if size.width >= len(_FOOT) + 2 else _SHORT_FOOT)
        self._show_title()

    def _show_title(self) -> None:
        title = clean(PICTURES[self._shown_number].title)
        counted = f"{self._shown_number + 1} of {len(PICTURES)}: {title}"
        self._heading.say(
            counted if len(counted) + 2 <= self.app.size.width else f"{self._shown_number + 1}: {title}"
        )

    def _again(self, *, from_top: bool) -> None:
        """Show what is chosen now; only lines that differ are painted."""
        self._show_title()
        self.box.draw_again()
        self.sheet.rows = tuple(PICTURES[self._shown_number].words(self._subject))
        if from_top:
            self.sheet.action_edge(-1)

    # ---- keys

    def action_show(self, number: int) -> None:
        """The picture of that number."""
        self._shown_number = number
        self._again(from_top=True)

    def action_turn(self, step: int) -> None:
        """The next picture or the one before."""
        self.action_show((self._shown_number + step) % len(PICTURES))

    def action_next_option(self) -> None:
        """Another option in full."""
        self._subject = self._subject.next_option()
        self._again(from_top=False)

    def action_next_goal(self) -> None:
        """Another goal."""
        self._subject = self._subject.next_goal()
        self._again(from_top=False)

    def action_full(self) -> None:
        """The picture as high as it goes, or with more room for the words again."""
        self._full = not self._full
        self._set_out(self.size)

    def action_dots(self) -> None:
        """Another way of drawing; a terminal for plain ASCII has only that one."""
        global _way_chosen
        if current_signs().ascii_only:
            return
        now = self._subject.way or usual_way()
        _way_chosen = WAYS[(WAYS.index(now) + 1) % len(WAYS)]
        self._subject = replace(self._subject, way=_way_chosen)
        self._again(from_top=False)

    def action_help(self) -> None:
        """What the picture shows, and the keys."""
        self.app.push_screen(text_page("Help", "# " + "\n".join(self.help_topic())))

    def action_working(self) -> None:
        """The working of the number under the caret; of a line of words, that it has none."""
        kind, _, rest = (self.sheet.current_key or "").partition(":")
        number, _, quantity = rest.partition(":")
        title = self.sheet.current_label or quantity
        option = self._subject.options[int(number)].option if kind == "option" else self._subject.option
        if kind == "drawn":
            with recording() as working:
                PICTURES[self._shown_number].words(self._subject)
            steps = [step for step in working.steps if step.formula.name == quantity]
            self.app.push_screen(Page(f"Working: {title}", list(step_rows(1, steps[-1]))))
        elif kind and option is not None:
            goal = self._subject.goal if kind == "option" else int(number)
            self.app.push_screen(
                working_page(self._subject.view, WorkingAsked(option.configuration, goal, quantity, title))
            )
        else:
            words = (
                "This line has no working of its own: it is words, or was typed. Put the caret on a number."
            )
            self.app.push_screen(Page("Working", [text_row(words)]))

    @on(Sheet.RowChosen)
    def _chosen(self, event: Sheet.RowChosen) -> None:
        """Enter leads nowhere from here."""
        event.stop()
