"""The answer line, the message line, the key line, safe text and the quiet base classes."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rich.cells import cell_len
from textual.app import App, ComposeResult
from textual.css.stylesheet import Stylesheet
from textual.geometry import Size
from textual.screen import Screen
from textual.widget import Widget
from textual.widgets import Input

from afocal.tui.caret import CaretApp, caret_offset
from afocal.tui.quiet import QuietContainer, QuietDialog, QuietInput, QuietLabel, QuietScreen
from afocal.tui.safe_text import clean, fit, fit_keeping_end, to_ascii, wrap
from afocal.tui.theming import ThemedApp
from afocal.tui.widgets.drawn import Drawn
from afocal.tui.widgets.form import Form
from afocal.tui.widgets.lines import AnswerLine, KeyLine, KeyWord, MessageLine, lay_out_keys
from afocal.tui.widgets.note_editor import WordsArea

KEYS = tuple(
    KeyWord(f"F{number}", word) for number, word in enumerate(["Help", "Intake", "Plan", "Fit", "Notes"], 1)
)


class Lines(CaretApp[None]):
    """The three lines on one screen."""

    def __init__(self) -> None:
        super().__init__()
        self.answer = AnswerLine("Best for reading: 3x, right eye.")
        self.message = MessageLine(more="Ctrl+E all")
        self.keys = KeyLine(KEYS)

    def on_mount(self) -> None:
        app = self

        class Only(QuietScreen[None]):
            def compose(self) -> ComposeResult:
                yield app.answer
                yield QuietInput("x")
                yield app.message
                yield app.keys

        self.push_screen(Only())


def lines(app: Lines) -> list[str]:
    """The screen as text."""
    strips = app.screen._compositor.render_strips(Size(*app.screen.size))
    return ["".join(segment.text for segment in strip).rstrip() for strip in strips]


@pytest.mark.parametrize("width", [10, 17, 25, 40, 80])
@pytest.mark.parametrize("rows", [1, 2, 3])
def test_no_key_is_dropped_silently(width: int, rows: int) -> None:
    """Either every key is in the rows, or the last place says how to see the rest; each row fits."""
    laid = lay_out_keys(KEYS, width, rows)
    flat = [key for row in laid for key in row]
    assert len(laid) <= rows
    assert list(KEYS) == flat or (
        flat[-1] == KeyWord("F1", "more") and flat[:-1] == list(KEYS[: len(flat) - 1])
    )
    for row in laid:
        assert sum(len(key.key) + 1 + len(key.word) for key in row) + 2 * (len(row) - 1) <= width


async def test_the_key_line_takes_the_rows_it_needs() -> None:
    """At 80 columns one row; at 20 by 30 three, with every key."""
    app = Lines()
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        assert app.keys.size.height == 1
        await pilot.resize_terminal(26, 30)
        await pilot.pause(0.2)
        assert app.keys.size.height == 2
        text = " ".join(lines(app))
        assert all(key.word in text for key in KEYS)


async def test_the_answer_is_scrolled_where_it_does_not_fit() -> None:
    """Two lines at 40 columns, the rest by Down; the caret stays on the line; new text starts at its beginning."""
    app = Lines()
    async with app.run_test(size=(40, 12)) as pilot:
        await pilot.pause()
        app.answer.text = " ".join(f"word{number}" for number in range(30))
        await pilot.pause()
        assert app.answer.size.height == 2 and lines(app)[1].endswith("▼")
        app.answer.focus()
        seen = set()
        for _ in range(10):
            await pilot.pause()
            seen |= set(" ".join(lines(app)[:2]).split())
            assert caret_offset(app.screen) == (2, 0)
            await pilot.press("down")
        assert {f"word{number}" for number in range(30)} <= seen
        app.answer.text = "Short."
        await pilot.pause()
        assert "Short." in lines(app)[0]


async def test_messages_stay_and_can_be_read_again() -> None:
    """The last message stands until the next; all recent ones are kept; one too long says where the rest is."""
    app = Lines()
    async with app.run_test(size=(40, 12)) as pilot:
        await pilot.pause()
        app.message.say("Saved at 10:14.", "done")
        await pilot.pause(0.3)
        assert any("√ Saved at 10:14." in line for line in lines(app))
        app.message.say("The stock file has a line that cannot be read: 12.", "error")
        await pilot.pause()
        shown = next(line for line in lines(app) if line.startswith("! The stock"))
        assert "Ctrl+E all" in shown and "…" in shown
        assert app.message.recent[0].text == "Saved at 10:14."


@given(st.text(max_size=80))
@settings(max_examples=150, deadline=None)
def test_clean_text_is_harmless(text: str) -> None:
    """Whatever comes in, what goes out is printable, without escape, control or direction characters; cleaning
    twice changes nothing."""
    for newlines in (False, True):
        cleaned = clean(text, newlines=newlines)
        assert cleaned.replace("\n", "").isprintable() or all(
            character.isprintable() or character.isspace() for character in cleaned
        )
        assert not set(cleaned) & set("\x1b\x9b\x07\r\t\u202e\u2066\u200f")
        assert ("\n" in cleaned) <= newlines
        assert clean(cleaned, newlines=newlines) == cleaned


SAFE = [
    ("\x1b[31mred\x1b[0m", "red"),  # ECMA-48, control sequence
    ("\x1b]0;title\x07after", "after"),  # operating system command, ended by BEL
    ("\x1b]8;;http://x\x1b\\link\x1b]8;;\x1b\\", "link"),  # ended by ST
    ("\x9b31mred", "red"),  # the same in one 8-bit byte
    ("a\u202eb\u2066c", "abc"),  # Unicode bidirectional override and isolate (UAX 9)
    ("tab\there", "tab here"),
    ("line\r\nline", "line line"),
    ("[bold]20/40[/]", "[bold]20/40[/]"),
    ("−2.00 × 90°", "−2.00 × 90°"),
]


@pytest.mark.parametrize(("raw", "expected"), SAFE)
def test_escape_sequences_are_taken_out_whole(raw: str, expected: str) -> None:
    """A whole sequence goes, the text around it stays, and nothing is read as markup."""
    assert clean(raw) == expected


@given(st.text(max_size=60), st.integers(min_value=2, max_value=30))
@settings(max_examples=150, deadline=None)
def test_fit_and_wrap_keep_to_their_width(text: str, width: int) -> None:
    """Fitted text takes exactly its cells, wrapped lines at most theirs, wide characters included; no word is
    lost in wrapping."""
    cleaned = clean(text)
    assert cell_len(fit(cleaned, width)) == width
    wrapped = wrap(cleaned, width)
    assert all(cell_len(line) <= width for line in wrapped)
    assert "".join("".join(wrapped).split(" ")) == "".join(cleaned.split(" "))


@given(st.text(max_size=60))
@settings(max_examples=100, deadline=None)
def test_ascii_text_is_ascii(text: str) -> None:
    """In plain ASCII nothing else is left, and the signs of the trade are words or signs that can be read."""
    assert to_ascii(text).isascii()
    assert to_ascii("−2.00 × 90°") == "-2.00 x 90 deg"
    assert to_ascii("12 Δ, ≤ 3") == "12 pd, <= 3"


def test_the_redeclared_attributes_still_exist() -> None:
    """The framework still has the two attributes whose repaint and layout we turn off; and it still would do it."""
    for ours, theirs in ((QuietScreen, Screen), (QuietDialog, Screen)):
        assert theirs.__dict__["focused"]._repaint is True
        assert ours.__dict__["focused"]._repaint is False
    assert Widget.__dict__["virtual_size"]._layout is True
    assert QuietInput.__dict__["virtual_size"]._layout is False
    assert "virtual_size" not in Input.__dict__
    for quiet in (QuietScreen, QuietContainer, QuietLabel, Drawn, Form):
        assert quiet.__dict__["virtual_size"]._layout is False
        assert quiet.__dict__["virtual_size"]._repaint is False
    assert WordsArea.__dict__["virtual_size"]._layout is False


async def test_the_framework_still_takes_the_focus_by_message() -> None:
    """A widget of the framework asked to take the focus has it after a message only; one of ours has it at once."""

    class Two(App[None]):
        def compose(self) -> ComposeResult:
            yield Input()
            yield Input()

    class OwnTwo(CaretApp[None]):
        def compose(self) -> ComposeResult:
            yield QuietInput()
            yield QuietInput()

    for kind, at_once in ((Two, False), (OwnTwo, True)):
        program = kind()
        async with program.run_test():
            second = program.query(Input).last()
            second.focus()
            assert (program.focused is second) is at_once


async def test_the_style_sheet_is_parsed_again_for_other_variables_only(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """With a theme set at the start the framework parses twice before the first paint; ours only for other values."""
    parsed: list[object] = []
    again = Stylesheet.reparse
    monkeypatch.setattr(Stylesheet, "reparse", lambda self: (parsed.append(self), again(self))[1])
    plain = App[None]()
    plain.theme = "textual-light"
    async with plain.run_test() as pilot:
        await pilot.pause()
    assert parsed, "the framework parses once only now: QuietStylesheet is not needed any more"
    parsed.clear()
    app = ThemedApp[None]()
    async with app.run_test() as pilot:
        await pilot.pause()
        assert parsed == []
        app.add_built_in_themes()
        app.theme = "bright-room"
        await pilot.pause()
        assert len(parsed) == 1
        assert app.screen.styles.background.hex6.lower() == app.theme_data.colours["ground"].lower()


async def test_a_key_in_a_quiet_field_lays_nothing_out() -> None:
    """Typing in a quiet field causes no layout of the screen, and a long text still scrolls to the caret."""
    app = Lines()
    async with app.run_test(size=(40, 12)) as pilot:
        await pilot.pause()
        field = app.screen.query_one(QuietInput)
        field.focus()
        await pilot.pause()
        layouts: list[object] = []
        app.screen.screen_layout_refresh_signal.subscribe(app, layouts.append, immediate=True)
        await pilot.press(*"abcdefgh")
        await pilot.pause()
        assert layouts == []
        await pilot.press(*"0123456789" * 5, "z")
        await pilot.pause()
        assert field.region.contains_point(caret_offset(app.screen))
        assert lines(app)[2].endswith("z")


async def test_a_change_of_focus_does_not_repaint_the_screen() -> None:
    """Moving the focus repaints the two widgets concerned; the screen itself is not marked for repaint."""
    app = Lines()
    async with app.run_test(size=(40, 12)) as pilot:
        await pilot.pause()
        await pilot.pause()
        app.screen.set_focus(app.answer)
        assert not app.screen._repaint_required
        assert app.screen._dirty_regions == set()


@pytest.mark.parametrize(
    ("text", "width", "wanted"),
    [
        ("2.5x both full (wide-2.5)", 30, "2.5x both full (wide-2.5)     "),
        ("2.5x both full (wide-2.5)", 22, "2.5x both … (wide-2.5)"),
        ("2.5x both full (wide-2.5)", 12, "2.5x both f…"),
        ("oneword", 4, "one…"),
    ],
)
def test_a_text_is_cut_before_the_word_that_tells_it_apart(text: str, width: int, wanted: str) -> None:
    """The last word stays where it leaves a third of the room; the text has the width that was asked in any case."""
    assert fit_keeping_end(text, width) == wanted
    assert cell_len(fit_keeping_end(text, width)) == width
