"""Sheets and tables: rows, caret, columns that drop, large sources, repainting of what changed only."""

from __future__ import annotations

from collections.abc import Sequence

import pytest
from textual.app import ComposeResult
from textual.geometry import Size
from textual.widget import Widget

from afocal.tui.caret import CaretApp, caret_offset
from afocal.tui.quiet import QuietScreen
from afocal.tui.widgets.drawn_list import DrawnList
from afocal.tui.widgets.list_table import Column, ListRow, ListTable, columns_that_fit
from afocal.tui.widgets.sheet import Sheet, SheetRow, heading_row, lay_out_row, text_row, value_row


class OneWidget(CaretApp[None]):
    """One widget that fills the screen; keeps what was posted."""

    def __init__(self, widget: Widget) -> None:
        super().__init__()
        self.widget = widget
        self.focused_rows: list[str] = []
        self.chosen_rows: list[str] = []

    def on_mount(self) -> None:
        app = self

        class Only(QuietScreen[None]):
            def compose(self) -> ComposeResult:
                yield app.widget

        self.push_screen(Only())

    def on_drawn_list_row_focused(self, event: DrawnList.RowFocused) -> None:
        self.focused_rows.append(event.key)

    def on_drawn_list_row_chosen(self, event: DrawnList.RowChosen) -> None:
        self.chosen_rows.append(event.key)


def lines(app: OneWidget) -> list[str]:
    """The screen as text."""
    strips = app.screen._compositor.render_strips(Size(*app.screen.size))
    return ["".join(segment.text for segment in strip).rstrip() for strip in strips]


def spy_on(widget: Sheet | ListTable) -> list[int]:
    """The lines that are painted again from now on."""
    painted: list[int] = []
    original = widget.repaint_lines

    def spy(first: int, count: int = 1, x: int = 0, width: int | None = None) -> None:
        if width != 1:
            painted.extend(range(first, first + count))
        original(first, count, x, width)

    widget.repaint_lines = spy  # pyright: ignore[reportAttributeAccessIssue]
    return painted


SHEET = (
    heading_row("Chosen option"),
    value_row("Magnification", "2.50", "x", key="magnification"),
    SheetRow(),
    value_row("Real field", "11.2", "deg", "enough for a face at 3 m", key="field"),
    text_row("The light loss is small in daylight."),
)

COLUMNS = (
    Column("name", "Name", 8, 0, flexible=True),
    Column("power", "Power", 5, 1, "right"),
    Column("field", "Real field", 6, 2, "right", short_title="Field"),
    Column("why", "Reason", 20, 3),
)
ROWS = tuple(ListRow(f"k{n}", (f"tube {n}", f"{n}x", f"{n}.5", "for the far goal")) for n in range(40))


async def test_the_sheet_caret_goes_from_value_to_value() -> None:
    """Headings and blank rows are no stops; Enter tells the key of the row; the caret is on the value."""
    app = OneWidget(Sheet(SHEET))
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        sheet = app.widget
        assert isinstance(sheet, Sheet) and sheet.current_key == "magnification"
        assert caret_offset(app.screen) == (17, 1)
        await pilot.press("down", "enter")
        assert (app.focused_rows, app.chosen_rows) == (["field"], ["field"])
        await pilot.press("down", "down")
        assert sheet.current_key == ""
        await pilot.press("home")
        assert sheet.current_key == "magnification"
        assert sheet.go_to("field") and not sheet.go_to("nothing")


@pytest.mark.parametrize("width", [12, 24, 40, 79, 120])
def test_sheet_rows_are_wrapped_and_nothing_is_lost(width: int) -> None:
    """Every line fits and every word is there, in order, whatever the width; the caret is on the value."""
    row = value_row(
        "Convergence demand at 33 cm", "12.5", "prism dioptres", "base in would be needed", key="c"
    )
    laid = lay_out_row(row, width)
    texts = ["".join(text for text, _ in line) for line in laid.lines]
    assert all(len(text) <= width for text in texts)
    assert "".join("".join(texts).split()) == "Convergencedemandat33cm:12.5prismdioptresbaseinwouldbeneeded"
    x, line = laid.caret
    assert texts[line][x : x + 4] == "12.5"


async def test_new_sheet_rows_paint_only_the_lines_that_differ() -> None:
    """One changed number repaints its line; the caret stays on its key."""
    app = OneWidget(Sheet(SHEET))
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        sheet = app.widget
        assert isinstance(sheet, Sheet)
        sheet.go_to("field")
        await pilot.pause()
        painted = spy_on(sheet)
        sheet.rows = (*SHEET[:1], value_row("Magnification", "3.00", "x", key="magnification"), *SHEET[2:])
        assert painted == [1]
        assert sheet.current_key == "field"
        await pilot.pause()
        assert "3.00" in lines(app)[1]
        sheet.rows = SHEET[:2]
        await pilot.pause()
        assert [line for line in lines(app) if line] == [lines(app)[0], lines(app)[1]]


@pytest.mark.parametrize("key", ["down", "pagedown"])
async def test_a_long_paragraph_is_scrolled_through(key: str) -> None:
    """At 40 by 12 every word of a paragraph taller than the screen comes into view by pressing Down or Page Down."""
    words = [f"word{number:03d}" for number in range(120)]
    app = OneWidget(Sheet([text_row("start"), text_row(" ".join(words)), text_row("end")]))
    async with app.run_test(size=(40, 12)) as pilot:
        await pilot.pause()
        seen = set(" ".join(lines(app)).split())
        for _ in range(12):
            await pilot.press(key)
            await pilot.pause()
            seen |= set(" ".join(lines(app)).split())
            place = caret_offset(app.screen)
            assert app.widget.region.contains_point(place)
        assert set(words) <= seen and "end" in seen


@pytest.mark.parametrize(
    ("width", "keys"),
    [
        (79, ["name", "power", "field", "why"]),
        (45, ["name", "power", "field"]),
        (39, ["name", "power", "field"]),
        (20, ["name", "power"]),
        (12, ["name"]),
        (3, ["name"]),
    ],
)
def test_columns_drop_by_priority(width: int, keys: list[str]) -> None:
    """The least important columns drop first; the flexible one takes the room that is left."""
    fitting = columns_that_fit(COLUMNS, width)
    assert [COLUMNS[index].key for index, _ in fitting] == keys
    used = 2 + sum(cells for _, cells in fitting) + 2 * (len(fitting) - 1)
    assert used == max(width, 3)


async def test_the_table_caret_goes_by_row_and_column() -> None:
    """Down and End by row, Right by column, with the caret on the cell's first sign; header stays on top."""
    app = OneWidget(ListTable(COLUMNS, ROWS))
    async with app.run_test(size=(60, 12)) as pilot:
        await pilot.pause()
        table = app.widget
        assert isinstance(table, ListTable)
        assert caret_offset(app.screen) == (2, 1)
        await pilot.press("down", "right")
        assert (table.current_key, table.column_key) == ("k1", "power")
        x, y = caret_offset(app.screen)
        assert lines(app)[y][x : x + 2] == "1x"
        await pilot.press("end", "enter")
        await pilot.pause()
        assert app.chosen_rows == ["k39"]
        assert lines(app)[0].split()[:2] == ["Name", "Power"]
        assert "tube 39" in lines(app)[11]
        await pilot.press("pageup")
        assert table.current_key == "k29"


async def test_a_changed_row_paints_its_line_only() -> None:
    """An update by key repaints one line; new rows repaint those that differ; the caret keeps its key."""
    app = OneWidget(ListTable(COLUMNS, ROWS))
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        table = app.widget
        assert isinstance(table, ListTable)
        table.go_to("k5")
        painted = spy_on(table)
        assert table.update_row(ListRow("k3", ("other", "9x", "", "")))
        assert painted == [4]
        assert table.update_row(ListRow("k3", ("other", "9x", "", "")))
        assert painted == [4]
        assert not table.update_row(ListRow("absent", ()))
        painted.clear()
        rows = list(table.rows)
        rows[7], rows[8] = rows[8], rows[7]
        table.rows = rows
        assert set(painted) == {6, 8, 9}
        assert table.current_key == "k5"


async def test_a_hundred_thousand_rows_ask_only_for_what_is_shown() -> None:
    """A source is asked for the pages that are scrolled to, at both ends and in the middle."""
    asked: list[tuple[int, int]] = []

    def fetch(start: int, stop: int) -> Sequence[ListRow]:
        asked.append((start, stop))
        return [ListRow(f"case{number}", (f"case {number}", "", "", "")) for number in range(start, stop)]

    table = ListTable(COLUMNS)
    app = OneWidget(table)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        table.use_source(100_000, fetch)
        await pilot.pause()
        assert "case 0" in lines(app)[1]
        await pilot.press("end")
        await pilot.pause()
        assert table.current_key == "case99999"
        assert "case 99999" in lines(app)[23]
        await pilot.press("pageup", "home")
        await pilot.pause()
        assert table.current_key == "case0"
        assert sum(stop - start for start, stop in asked) < 1000


async def test_rows_known_by_key_are_made_when_they_come_into_view() -> None:
    """Of rows that cost something to make, only those in view are made, and after a change only those are compared."""
    made: list[int] = []

    def maker(word: str):
        def make(number: int) -> ListRow:
            made.append(number)
            return ListRow(f"k{number}", (f"{word if number == 2 else 'tube'} {number}", "", "", ""))

        return make

    keys = [f"k{number}" for number in range(100)]
    table = ListTable(COLUMNS)
    app = OneWidget(table)
    async with app.run_test(size=(80, 12)) as pilot:
        await pilot.pause()
        table.use_rows(keys, maker("tube"))
        await pilot.pause()
        assert max(made) < 12 and "tube 5" in lines(app)[6]
        await pilot.press("down", "down", "down")
        made.clear()
        painted = spy_on(table)
        table.use_rows(keys, maker("other"))
        assert table.current_key == "k3" and max(made) < 12
        assert set(painted) == {table.first_line(2), table.first_line(3)}
        table.go_to("k70")
        await pilot.pause()
        assert table.current_key == "k70" and 70 in made and 50 not in made


async def test_a_drawn_widget_knows_its_size_without_a_search() -> None:
    """What a drawn widget takes for its size is the framework's, which has to search the screen for it."""
    for widget in (ListTable(COLUMNS, ROWS), Sheet(SHEET)):
        app = OneWidget(widget)
        async with app.run_test(size=(61, 13)) as pilot:
            await pilot.pause()
            assert widget.extent == widget.size == (61, 13)
            widget.display = False
            await pilot.pause()
            assert widget.extent == (61, 13)


@pytest.mark.parametrize("size", [(80, 24), (30, 10)])
async def test_what_an_empty_table_says_is_whole_and_under_the_caret(size: tuple[int, int]) -> None:
    """In as many lines as it needs, other words as well; the terminal's cursor stands at its first letter."""
    table = ListTable(COLUMNS, empty="No case yet. Press Ctrl+N for the first one, with a patient code.")
    app = OneWidget(table)
    async with app.run_test(size=size) as pilot:
        await pilot.pause()
        for words in (table.empty, "Nothing has these letters in it; Escape shows all of them again."):
            table.empty = words
            table.focus()
            await pilot.pause()
            assert " ".join(" ".join(lines(app)[1:]).split()) == words
            assert caret_offset(app.screen) == (2, 1)
            assert lines(app)[1][2:].startswith(words[:7])


async def test_an_empty_table_says_so() -> None:
    """Without rows the table says what it was told to say, and no key fails."""
    table = ListTable(COLUMNS, empty="No case yet. Press Ctrl+N for the first.")
    app = OneWidget(table)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        assert "No case yet" in lines(app)[1]
        await pilot.press("down", "up", "end", "home", "pagedown", "right", "enter")
        assert (app.focused_rows, app.chosen_rows, table.current_key) == ([], [], None)
        table.rows = ROWS[:1]
        await pilot.pause()
        assert "tube 0" in lines(app)[1] and table.current_key == "k0"


async def test_the_edge_tells_that_there_is_more() -> None:
    """Signs at the right edge say that rows are above or below the ones in view."""
    app = OneWidget(ListTable(COLUMNS, ROWS))
    async with app.run_test(size=(40, 12)) as pilot:
        await pilot.pause()
        assert (lines(app)[1][-1], lines(app)[11][-1]) != ("▲", "▲")
        assert lines(app)[11].endswith("▼")
        await pilot.press("end")
        await pilot.pause()
        assert lines(app)[1].endswith("▲") and not lines(app)[11].endswith("▼")


async def test_control_characters_in_rows_are_not_drawn() -> None:
    """Cells and paragraphs from files are plain text: no markup, no escape sequence."""
    app = OneWidget(
        ListTable(
            COLUMNS,
            [
                ListRow("k", ("[b]x[/b]\x1b[2J", "\x07", "\u202e1", "")),
            ],
        )
    )
    async with app.run_test(size=(80, 5)) as pilot:
        await pilot.pause()
        assert "[b]x[/b] " in lines(app)[1]
        assert all(line.isprintable() for line in lines(app))
