"""The drawn form: what it posts, what it draws, how the focus moves."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest
from textual.app import ComposeResult
from textual.geometry import Offset, Size

from afocal.core.entry import Choice
from afocal.core.fields import GOAL_FIELDS, fields
from afocal.core.fitting import pair, performance, teach, trial
from afocal.tui.caret import CaretApp, caret_offset
from afocal.tui.quiet import QuietInput, QuietScreen
from afocal.tui.signs import use_signs
from afocal.tui.widgets.form import Form, Row
from afocal.tui.widgets.rows import NARROW, columns_for, draw_row

ROWS = (
    Row("part", "Examination", heading=True),
    Row("acuity", "Distance acuity, right", short_label="VA right", text="20/100", echo="0.70 logMAR"),
    Row("vertex", "Vertex distance", unit="mm", text="12", status="assumed"),
    Row("pupil", "Pupil", unit="mm", text="4", status="carried over"),
    Row("part-2", "Wishes", heading=True),
    Row("fusion", "Fusion", choices=("yes", "no", "not known")),
    Row("tube", "Tube", unit="mm", text="900", status="error", error="Tube: 900; accepted is 10 to 200."),
    Row("remark", "Remark", multiline=True, text="first\nsecond"),
    Row("code", "Code"),
)


class FormApp(CaretApp[None]):
    """A form and a field after it; keeps what was posted."""

    def __init__(
        self, rows: tuple[Row, ...] = ROWS, reading: Callable[[str, str], str] | None = None
    ) -> None:
        super().__init__()
        self.form = Form(rows, reading=reading)
        self.posted: list[tuple[str, str, bool]] = []

    def on_mount(self) -> None:
        app = self

        class Only(QuietScreen[None]):
            def compose(self) -> ComposeResult:
                yield app.form
                yield QuietInput(id="after")

            def on_mount(self) -> None:
                app.form.focus()

        self.push_screen(Only())

    def on_form_field_edited(self, event: Form.FieldEdited) -> None:
        self.posted.append((event.key, event.text, event.confirmed))


def lines(app: FormApp, width: int, height: int) -> list[str]:
    """The screen as text."""
    strips = app.screen._compositor.render_strips(Size(width, height))
    return ["".join(segment.text for segment in strip).rstrip() for strip in strips]


# What is pressed, from the first field on; what the form posts; where the focus is then.
POSTED = [
    ("Tab accepts and goes on", ["2", "0", "tab"], [("acuity", "20", False)], "vertex"),
    ("Enter accepts and goes on", ["6", "enter"], [("acuity", "6", False)], "vertex"),
    ("Down accepts", ["6", "down"], [("acuity", "6", False)], "vertex"),
    ("Up accepts", ["tab", "8", "up"], [("vertex", "8", False)], "acuity"),
    ("Shift+Tab accepts", ["tab", "8", "shift+tab"], [("vertex", "8", False)], "acuity"),
    ("one key replaces an assumed value", ["tab", "9", "tab"], [("vertex", "9", False)], "pupil"),
    ("nothing typed posts nothing", ["tab", "tab", "up"], [], "vertex"),
    ("Enter confirms an assumed value", ["tab", "enter"], [("vertex", "12", True)], "pupil"),
    ("Enter confirms a carried-over value", ["tab", "tab", "enter"], [("pupil", "4", True)], "fusion"),
    ("Escape gives up", ["9", "9", "escape", "tab"], [], "vertex"),
    ("Backspace on the selected value empties", ["backspace", "tab"], [("acuity", "", False)], "vertex"),
    ("headings are no stops", ["tab", "tab", "tab"], [], "fusion"),
    ("the end of the form", ["ctrl+end"], [], "code"),
    ("the start of the form", ["ctrl+end", "ctrl+home"], [], "acuity"),
    ("a page on", ["pagedown"], [], "code"),
    ("letters choose", ["tab", "tab", "tab", "n", "tab"], [("fusion", "no", False)], "tube"),
    (
        "more letters choose more closely",
        ["tab", "tab", "tab", "n", "o", "t", "tab"],
        [("fusion", "not known", False)],
        "tube",
    ),
    (
        "the same letter again",
        ["tab", "tab", "tab", "n", "n", "tab"],
        [("fusion", "not known", False)],
        "tube",
    ),
    (
        "blank steps through",
        ["tab", "tab", "tab", "space", "space", "tab"],
        [("fusion", "no", False)],
        "tube",
    ),
    ("left steps back", ["tab", "tab", "tab", "left", "tab"], [("fusion", "not known", False)], "tube"),
    ("letters of no choice stay", ["tab", "tab", "tab", "x", "tab"], [("fusion", "x", False)], "tube"),
    (
        "no other word comes in their place",
        ["tab", "tab", "tab", *"nay", "tab"],
        [("fusion", "nay", False)],
        "tube",
    ),
    (
        "a whole word that is the start of another",
        ["tab", "tab", "tab", *"not", "tab"],
        [("fusion", "not known", False)],
        "tube",
    ),
    (
        "a letter too many, taken back",
        ["tab", "tab", "tab", *"nox", "backspace", "tab"],
        [("fusion", "no", False)],
        "tube",
    ),
    ("letters of no choice, all taken back", ["tab", "tab", "tab", "x", "backspace", "tab"], [], "tube"),
    (
        "letters of no choice, then the next word",
        ["tab", "tab", "tab", "x", "right", "tab"],
        [("fusion", "yes", False)],
        "tube",
    ),
    ("an emptied choice", ["tab", "tab", "tab", "y", "backspace", "tab"], [], "tube"),
]


@pytest.mark.parametrize(("claim", "keys", "posted", "at"), POSTED, ids=[case[0] for case in POSTED])
async def test_keys(claim: str, keys: list[str], posted: list[tuple[str, str, bool]], at: str) -> None:
    """Each key accepts, moves or gives up as stated; only what was typed is posted."""
    app = FormApp()
    async with app.run_test() as pilot:
        await pilot.pause()
        await pilot.press(*keys)
        await pilot.pause()
        assert app.posted == posted, claim
        assert app.form.current_key == at, claim


async def test_a_refused_text_comes_back_to_be_mended() -> None:
    """A long text with one wrong letter is not typed anew; the row keeps its old value, and Escape and Enter take it."""
    app = FormApp()
    told: list[str] = []

    def edited(key: str, text: str, confirmed: bool) -> None:
        told.append(text)
        refused = "O" in text
        app.form.rows = tuple(
            row
            if row.key != key
            else replace(row, error="Acuity: it holds a letter.")
            if refused
            else replace(row, text=text, error="")
            for row in (ROWS if refused else app.form.rows)
        )

    async with app.run_test() as pilot:
        await pilot.pause()
        app.form.edited = edited
        await pilot.press(*"20/6O", "tab")
        assert app.form.current_key == "vertex" and app.form.rows[1].text == ROWS[1].text
        await pilot.press("shift+tab")
        assert app.form.editor.value == "20/6O"
        # Going past it says nothing anew.
        await pilot.press("tab", "shift+tab")
        assert told == ["20/6O"] and app.form.editor.value == "20/6O"
        await pilot.press("escape")
        assert app.form.editor.value == ROWS[1].text and app.form.rows[1].error
        await pilot.press("enter")
        assert told == ["20/6O", ROWS[1].text] and not app.form.rows[1].error
        await pilot.press("shift+tab", *"20/6O", "tab", "shift+tab", "end", "backspace", "0", "tab")
        assert told[-1] == "20/60" and app.form.rows[1].text == "20/60" and not app.form.rows[1].error
        await pilot.press("shift+tab")
        assert app.form.editor.value == "20/60"


async def test_the_owner_is_called_at_once() -> None:
    """With a function given, an accepted text goes to it before the focus moves, and rows that it brings are
    there when the focus arrives: also when they come before the next row."""
    app = FormApp()
    calls: list[tuple[str, str, bool, str | None]] = []

    def edited(key: str, text: str, confirmed: bool) -> None:
        calls.append((key, text, confirmed, app.form.current_key))
        if key == "acuity":
            app.form.rows = (ROWS[0], Row("new", "New before"), ROWS[1], Row("also", "New behind"), *ROWS[2:])

    async with app.run_test() as pilot:
        await pilot.pause()
        app.form.edited = edited
        await pilot.press("6", "tab")
        assert calls == [("acuity", "6", False, "acuity")]
        assert app.form.current_key == "also"
        await pilot.press("down", "enter")
        assert calls[-1] == ("vertex", "12", True, "vertex")
        assert app.form.current_key == "pupil"
        assert app.posted == []


async def test_leaving_the_form_accepts() -> None:
    """Tab past the last row, a click elsewhere or a focus set by the program: what was typed is posted."""
    app = FormApp()
    async with app.run_test() as pilot:
        await pilot.pause()
        await pilot.press("ctrl+end", "k", "tab")
        await pilot.pause()
        assert app.posted == [("code", "k", False)]
        assert app.screen.focused is app.screen.query_one("#after")
        await pilot.press("shift+tab", "z")
        app.screen.query_one("#after").focus()
        await pilot.pause()
        assert app.posted[-1] == ("code", "z", False)


async def test_a_row_of_several_lines_keeps_its_lines() -> None:
    """Enter breaks the line there, Tab accepts and goes on, Up on the first line goes back."""
    app = FormApp()
    async with app.run_test() as pilot:
        await pilot.pause()
        assert app.form.go_to("remark")
        await pilot.pause()
        await pilot.press("enter", "x", "tab")
        await pilot.pause()
        assert app.posted == [("remark", "first\nsecond\nx", False)]
        assert app.form.current_key == "code"
        await pilot.press("up")
        await pilot.pause()
        await pilot.press("ctrl+home")
        await pilot.pause()
        assert app.form.current_key == "acuity"


async def test_the_caret_stands_behind_words_that_come_after_the_field() -> None:
    """Which of the two comes first, the field on the screen or its text, is up to the event loop."""
    app = FormApp()
    async with app.run_test(size=(60, 20)) as pilot:
        assert app.form.go_to("remark")
        editor = app.form._live_note_editor()
        editor.load_text("")
        await pilot.pause()
        editor.on_mount()
        editor.take("first\nsecond")
        await pilot.pause()
        assert editor.cursor_location == (1, 6)


async def test_jumps() -> None:
    """Next unfilled, next assumed or carried over, next error, and a field by key; round the end, false when none."""
    app = FormApp()
    async with app.run_test() as pilot:
        await pilot.pause()
        form = app.form
        assert form.next_unfilled() and form.current_key == "fusion"
        assert form.next_unfilled() and form.current_key == "code"
        assert form.next_assumed() and form.current_key == "vertex"
        assert form.next_assumed() and form.current_key == "pupil"
        assert form.next_error() and form.current_key == "tube"
        assert form.next_error() and form.current_key == "tube"
        assert not form.go_to("part") and not form.go_to("nowhere")
        form.rows = tuple(replace(row, error="", status="") for row in form.rows)
        assert not form.next_error() and not form.next_assumed()


async def test_new_rows_do_not_take_what_is_being_typed() -> None:
    """Rows that arrive while a value is typed leave the typed text; a row not being typed in takes its new text."""
    app = FormApp()
    async with app.run_test() as pilot:
        await pilot.pause()
        await pilot.press("6", "/")
        app.form.rows = tuple(replace(row, echo="new") for row in app.form.rows)
        assert app.form.text == "6/"
        await pilot.press("tab")
        app.form.rows = tuple(
            replace(row, text="14") if row.key == "vertex" else row for row in app.form.rows
        )
        assert app.form.text == "14" and not app.form.dirty


async def test_other_rows_keep_the_focus_on_the_same_key() -> None:
    """When rows come and go the focus stays on its key; when that is gone, on the first row."""
    app = FormApp()
    async with app.run_test() as pilot:
        await pilot.pause()
        app.form.go_to("pupil")
        app.form.rows = (Row("new", "New"), *ROWS)
        assert app.form.current_key == "pupil"
        app.form.rows = (Row("only", "Only"),)
        assert app.form.current_key == "only"
        app.form.rows = ()
        assert app.form.current_key is None
        await pilot.press("tab")


async def test_the_reading_is_shown_while_typing() -> None:
    """At each key the text is shown as it would be read, behind the field, before it is accepted."""
    app = FormApp(reading=lambda key, text: f"{key} {text}!")
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        await pilot.press("6", "/", "9")
        await pilot.pause()
        assert "= acuity 6/9!" in lines(app, 80, 24)[1]
        await pilot.press("escape")
        await pilot.pause()
        assert "= 0.70 logMAR" in lines(app, 80, 24)[1]


@pytest.mark.parametrize("size", [(80, 24), (40, 12)])
async def test_a_long_reading_is_cut_to_its_line_and_moves_no_row(size: tuple[int, int]) -> None:
    """What does not fit behind the field while it is typed begins there all the same; the rows below stay where they
    are."""
    rows = (Row("task", "Task"), Row("after", "After"))
    app = FormApp(rows, reading=lambda key, text: "face across the room; facial expression; " * 3)
    async with app.run_test(size=size) as pilot:
        await pilot.pause()
        starts = list(app.form.body.starts)
        await pilot.press("f", "a")
        await pilot.pause()
        shown = next(line for line in lines(app, *size) if "[fa" in line)
        assert "] = face" in shown and shown.rstrip(" ▼").endswith("…")
        assert app.form.body.starts == starts


async def test_only_changed_cells_are_painted() -> None:
    """New rows that differ in one echo repaint that part of that line, nothing else."""
    app = FormApp()
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        painted: list[tuple[int, int]] = []
        body = app.form.body
        original = body.repaint_lines

        def spy(first: int, count: int = 1, x: int = 0, width: int | None = None) -> None:
            painted.append((first, x))
            original(first, count, x, width)

        body.repaint_lines = spy  # pyright: ignore[reportAttributeAccessIssue]
        app.form.rows = tuple(replace(row, text="5") if row.key == "pupil" else row for row in app.form.rows)
        assert [line for line, _ in painted] == [3]
        assert painted[0][1] >= columns_for(ROWS, 78).field_x - 1


@pytest.mark.parametrize("width", [40, 59, 60, 72, 80, 110, 160])
def test_nothing_is_wider_than_the_form(width: int) -> None:
    """In every width each line fits, the field is whole, and no word of label, unit, echo or error is lost."""
    columns = columns_for(ROWS, width - 1)
    for row in ROWS:
        drawn = draw_row(row, columns)
        texts = ["".join(text for text, _ in line) for line in drawn.lines]
        assert all(len(text) <= width - 1 for text in texts), texts
        whole = " ".join(" ".join(texts).split())
        for word in (row.unit, row.echo, row.status):
            assert word in whole
        for word in row.error.split():
            assert word in whole
        if not row.heading and not row.multiline:
            assert row.label in whole or row.short_label in whole
            field = texts[drawn.field_line]
            assert field[drawn.field_x - 1] == "[" and field[drawn.field_x + drawn.field_width] == "]"


@pytest.mark.parametrize("width", [20, 38, 60])
def test_a_long_heading_is_whole(width: int) -> None:
    """A heading that is wider than the form goes on in the next line; the count at its end is never lost."""
    row = Row("part", "What was delivered, before it goes on the face: 0 of 5", heading=True)
    drawn = draw_row(row, columns_for(ROWS, width))
    texts = ["".join(text for text, _ in line) for line in drawn.lines]
    assert all(len(text) <= width for text in texts)
    assert " ".join(" ".join(texts).replace("─", " ").split()) == row.label


@pytest.mark.parametrize("width", [40, 80])
def test_error_and_reading_stay_near_the_caret(width: int) -> None:
    """Value, unit, echo and the beginning of the error are within four rows of the caret's."""
    row = Row("t", "Tube length", unit="mm", text="900", echo="900 mm", status="error", error="Too long " * 9)
    drawn = draw_row(row, columns_for((row,), width - 1))
    texts = ["".join(text for text, _ in line) for line in drawn.lines]
    for word in ("900", "mm", "= 900 mm", "! Too long"):
        at = next(number for number, text in enumerate(texts) if word in text)
        assert abs(at - drawn.field_line) <= 4


def test_labels_go_above_where_it_is_narrow() -> None:
    """Below the limit the label has a line of its own above the field; from it on they share one."""
    narrow, wide = (draw_row(ROWS[2], columns_for(ROWS, width)) for width in (NARROW - 1, NARROW))
    assert (narrow.field_line, wide.field_line) == (1, 0)


def test_plain_ascii() -> None:
    """With plain ASCII asked for, every line is ASCII, labels and units of the trade included."""
    use_signs(ascii_only=True)
    try:
        row = Row("a", "Tilt −5° ± 2", unit="Δ", text="×2", echo="≥ 3", status="assumed", note="naïve…")
        for line in draw_row(row, columns_for((row,), 79)).lines:
            assert "".join(text for text, _ in line).isascii()
    finally:
        use_signs(ascii_only=False)


async def test_markup_and_escapes_are_plain_text() -> None:
    """Square brackets in data are drawn as they are; control characters never reach the screen."""
    app = FormApp((Row("a", "Label [b]", text="[red]x[/]\x1b[31m\x07", echo="[on blue]\u202eabc"),))
    async with app.run_test(size=(80, 10)) as pilot:
        await pilot.pause()
        line = lines(app, 80, 10)[0]
        assert "Label [b]" in line and "[red]x[/] " in line and "= [on blue]abc" in line
        assert line.isprintable()


async def test_pasted_control_characters_are_dropped() -> None:
    """A pasted text loses its escape sequences before it is a value."""
    from textual.events import Paste

    app = FormApp()
    async with app.run_test() as pilot:
        await pilot.pause()
        app.form.editor.post_message(Paste("6\x1b[31m/\x079\u200b"))
        await pilot.pause()
        await pilot.press("tab")
        await pilot.pause()
        assert app.posted == [("acuity", "6/9", False)]


@pytest.mark.parametrize("size", [(40, 12), (80, 24), (140, 40)])
async def test_every_row_can_be_reached_and_seen(size: tuple[int, int]) -> None:
    """Tab goes through every row; its field and the caret are then inside the form, in every size."""
    rows = tuple(
        replace(ROWS[index % len(ROWS)], key=f"{ROWS[index % len(ROWS)].key}-{index}") for index in range(45)
    )
    app = FormApp(rows)
    async with app.run_test(size=size) as pilot:
        await pilot.pause()
        for row in (row for row in rows if not row.heading):
            assert app.form.current_key == row.key
            await pilot.pause()
            place = caret_offset(app.screen)
            assert app.form.region.contains_point(place), row.key
            editor = app.screen.focused
            assert editor is not None and app.form.region.contains_region(editor.region), row.key
            await pilot.press("tab")


async def test_a_resize_keeps_the_focused_row_in_view() -> None:
    """From wide to narrow and back the focused field stays inside the form, with the caret on it."""
    rows = tuple(Row(f"r{number}", f"Row {number}", text=str(number)) for number in range(60))
    app = FormApp(rows)
    async with app.run_test(size=(100, 30)) as pilot:
        await pilot.pause()
        app.form.go_to("r40")
        for size in ((40, 12), (80, 24), (120, 50), (40, 12)):
            await pilot.resize_terminal(*size)
            await pilot.pause(0.2)
            assert app.form.current_key == "r40"
            assert app.form.region.contains_region(app.form.editor.region)
            assert app.form.editor.region.contains_point(caret_offset(app.screen))


async def test_the_marker_tells_where_the_focus_is() -> None:
    """The focused row is marked by a sign; when the focus is elsewhere the sign is another."""
    app = FormApp()
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        assert [line[0] for line in lines(app, 80, 24) if line[:1] in {"►", "·"}] == ["►"]
        app.screen.query_one("#after").focus()
        await pilot.pause()
        assert [line[0] for line in lines(app, 80, 24) if line[:1] in {"►", "·"}] == ["·"]


async def test_a_click_goes_to_a_row() -> None:
    """The mouse is optional, and works: a click on a row's line puts the focus there."""
    app = FormApp()
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        await pilot.click(Form, offset=Offset(3, 3))
        await pilot.pause()
        assert app.form.current_key == "pupil"


async def test_the_wheel_moves_the_live_field_along() -> None:
    """Scrolling by the wheel keeps the live field over its own row."""
    rows = tuple(Row(f"r{number}", f"Row {number}", text=str(number)) for number in range(60))
    app = FormApp(rows)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        app.form.go_to("r10")
        await pilot.pause()
        before = app.form.editor.region.y
        app.form.body.wheel(3)
        await pilot.pause()
        assert app.form.editor.region.y == before - 3


def choice_sets() -> list[tuple[str, ...]]:
    """The words of every field and of every step of fitting that is answered by one of a few words."""
    steps = [value for module in (pair, performance, trial, teach) for value in vars(module).values()]
    kinds = [
        *(field.kind for field in (*fields(), *GOAL_FIELDS)),
        *steps,
        Choice(("steady", "steady when supported")),
    ]
    return sorted({kind.options for kind in kinds if isinstance(kind, Choice)})


async def test_a_word_typed_in_full_is_that_word() -> None:
    """Where another word begins with it ("double at times"), the one typed in full is meant, not the first in the list."""
    sets = choice_sets()
    assert ("single", "double at times", "double") in sets
    rows = tuple(Row(f"choice.{number}", "Choice", choices=options) for number, options in enumerate(sets))
    app = FormApp(rows)
    async with app.run_test(size=(80, 24)) as pilot:
        for number, options in enumerate(sets):
            for option in options:
                app.form.go_to(f"choice.{number}")
                app.form.focus()
                for letter in option:
                    app.form.editor.replace(letter, *app.form.editor.selection)
                assert app.form.text == option
                await pilot.press("enter")
        await pilot.pause()
    assert [text for _, text, _ in app.posted] == [option for options in sets for option in options]
