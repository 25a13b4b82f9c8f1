"""Contrast measured on what is really drawn: every cell of a screen with all our widgets, under every theme."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from rich.segment import Segment
from textual.app import ComposeResult
from textual.color import Color
from textual.filter import ANSIToTruecolor
from textual.geometry import Size
from textual.widgets import Digits, Input, OptionList, Static

from afocal.themes import LEAST_RATIO, ThemeData, built_in_themes, contrast_ratio
from afocal.tui.quiet import QuietScreen
from afocal.tui.theming import ThemedApp
from afocal.tui.widgets.form import Form, Row
from afocal.tui.widgets.lines import AnswerLine, KeyLine, KeyWord, MessageLine
from afocal.tui.widgets.list_table import Column, ListRow, ListTable
from afocal.tui.widgets.sheet import Sheet, heading_row, text_row, value_row

BUILT_IN = built_in_themes()
# Signs and lines that mark; whatever else has a glyph is text.
MARKS = set("►·▲▼─│[]> ▔▁▊▎╸━╺▌▐")


class Everything(QuietScreen[None]):
    """Each of our widgets, with a row in every state."""

    def compose(self) -> ComposeResult:
        yield AnswerLine("Best: 4x Keplerian, right eye.", id="answer")
        yield Form(
            [
                Row("h", "Part", heading=True),
                Row("a", "Acuity", text="20/100", echo="0.70 logMAR"),
                Row("b", "Vertex", unit="mm", text="12", status="assumed", note="by habit"),
                Row("c", "Pupil", unit="mm", text="4", status="carried over"),
                Row(
                    "d",
                    "Tube",
                    unit="mm",
                    text="900",
                    status="error",
                    error="tube: 900; accepted is 10 to 200.",
                ),
                Row("e", "Fusion", text="yes", status="ok"),
                Row("f", "Balance", text="?", status="check", choices=("yes", "no")),
                Row("g", "Remark", text="a\nb", multiline=True),
            ]
        )
        yield Sheet(
            [
                heading_row("Option"),
                value_row("Field", "11.2", "deg", "small", key="f"),
                *[
                    text_row(role, role)
                    for role in ("ok", "check", "no", "assumed", "carried", "error", "soft")
                ],
                text_row("curve", "curve"),
            ]
        )
        yield ListTable(
            [Column("n", "Name", 9, flexible=True)], [ListRow("k", ("one",)), ListRow("l", ("two",))]
        )
        yield OptionList("First", "Second")
        yield Input("typed")
        yield Static("Plain words")
        yield Digits("2.5")
        yield MessageLine(more="Ctrl+E all")
        yield KeyLine([KeyWord("F1", "Help")])


def drawn_segments(app: ThemedApp[None]) -> Iterator[Segment]:
    """Every piece of the screen as it would go to the terminal."""
    for strip in app.screen._compositor.render_strips(Size(100, 60)):
        yield from strip


def check(app: ThemedApp[None], state: str) -> int:
    """Each drawn glyph has its ratio; how many pieces were looked at."""
    looked_at = 0
    for text, style, _ in drawn_segments(app):
        glyphs = set(text) - {" "}
        if not glyphs or style is None or style.color is None or style.bgcolor is None:
            continue
        ink = Color.from_rich_color(style.color).hex6.lower()
        ground = Color.from_rich_color(style.bgcolor).hex6.lower()
        least = LEAST_RATIO["mark" if glyphs <= MARKS else "text"]
        ratio = contrast_ratio(ink, ground)
        assert ratio >= least, f"{state}: {text!r} in {ink} on {ground} has {ratio:.2f}"
        looked_at += 1
    return looked_at


@pytest.mark.parametrize(
    "theme", [theme for theme in BUILT_IN.values() if theme.palette == "exact"], ids=lambda theme: theme.name
)
async def test_every_drawn_glyph_has_its_contrast(theme: ThemeData) -> None:
    """Whatever has the focus, each glyph on the screen reaches 7:1, each marking sign 3:1."""
    app: ThemedApp[None] = ThemedApp(theme)
    async with app.run_test(size=(100, 60)) as pilot:
        await app.push_screen(Everything())
        app.screen.query_one(MessageLine).say("Saved at 10:14. " * 12, "error")
        await pilot.pause()
        seen = set()
        for _ in range(16):
            await pilot.press("tab")
            await pilot.pause()
            seen.add(type(app.focused).__name__)
            assert check(app, f"focus on {app.focused!r}") > 40
        assert {"FormEditor", "Sheet", "ListTable", "OptionList", "Input", "AnswerLine"} <= seen


@pytest.mark.parametrize(
    "theme", [theme for theme in BUILT_IN.values() if theme.palette == "exact"], ids=lambda theme: theme.name
)
async def test_an_exact_theme_draws_in_no_colour_of_the_terminal(theme: ThemeData) -> None:
    """The framework's filter for such colours and for dim text is left out, so there must be nothing for it."""
    app: ThemedApp[None] = ThemedApp(theme)
    async with app.run_test(size=(100, 60)) as pilot:
        await app.push_screen(Everything())
        await pilot.pause()
        assert not any(isinstance(each, ANSIToTruecolor) for each in app.get_line_filters())
        colours = []
        for _, style, _ in drawn_segments(app):
            assert style is None or not style.dim
            colours += [each for each in (style.color, style.bgcolor) if each is not None] if style else []
        assert {each.triplet is not None for each in colours} == {True}


async def test_a_theme_is_worn_at_once_when_chosen() -> None:
    """Choosing another theme repaints every widget in its colours, drawn ones too."""
    app: ThemedApp[None] = ThemedApp(BUILT_IN["dark-room"])
    async with app.run_test(size=(100, 60)) as pilot:
        await app.push_screen(Everything())
        app.add_built_in_themes()
        app.theme = "bright-room"
        await pilot.pause()
        await pilot.pause()
        assert check(app, "after the change") > 40
        grounds = {
            Color.from_rich_color(style.bgcolor).hex6.lower()
            for _, style, _ in drawn_segments(app)
            if style is not None and style.bgcolor is not None
        }
        assert "#ffffff" in grounds
        assert "#000000" not in grounds


async def test_only_our_themes_are_offered() -> None:
    """The framework's own themes are not among the choices."""
    app: ThemedApp[None] = ThemedApp()
    async with app.run_test():
        app.add_built_in_themes()
        assert set(app.available_themes) == set(BUILT_IN)
