"""A program with every kind of widget that can have the focus, for the caret tests; run in a pseudo-terminal."""

from __future__ import annotations

import os
import sys
from typing import ClassVar

from afocal.tui import terminal

terminal.prepare()

from textual.app import ComposeResult  # noqa: E402
from textual.containers import VerticalScroll  # noqa: E402
from textual.widgets import (  # noqa: E402
    Button,
    Checkbox,
    Collapsible,
    DataTable,
    Input,
    Label,
    ListItem,
    ListView,
    OptionList,
    RadioSet,
    Select,
    SelectionList,
    Static,
    Switch,
    Tabs,
    TextArea,
    Tree,
)

from afocal.themes import load_built_in  # noqa: E402
from afocal.tui.quiet import QuietDialog, QuietInput, QuietScreen  # noqa: E402
from afocal.tui.theming import ThemedApp, starting_theme_name  # noqa: E402
from afocal.tui.widgets.form import Form, Row  # noqa: E402
from afocal.tui.widgets.lines import AnswerLine, KeyLine, KeyWord, MessageLine  # noqa: E402
from afocal.tui.widgets.list_table import Column, ListRow, ListTable  # noqa: E402
from afocal.tui.widgets.sheet import Sheet, heading_row, text_row, value_row  # noqa: E402


class Question(QuietDialog[None]):
    """A dialog with two buttons."""

    def compose(self) -> ComposeResult:
        yield Static("Leave without saving?")
        yield Button("Stay", id="stay")
        yield Button("Leave", id="leave")

    def on_button_pressed(self) -> None:
        self.dismiss(None)


class FrameworkKinds(QuietScreen[None]):
    """One of each kind that the framework has."""

    BINDINGS: ClassVar = [("f4", "ask", "Ask")]

    def compose(self) -> ComposeResult:
        with VerticalScroll(can_focus=False):
            yield Input("stock", id="input")
            yield QuietInput("quiet", id="quiet", select_on_focus=False)
            yield TextArea("alpha\nbeta", id="area")
            yield Checkbox("Consent", id="check")
            yield Switch(id="switch")
            yield RadioSet("Right", "Left", id="radio")
            yield Select([("Parallel", 1), ("Oblique", 2)], id="select")
            cells: DataTable[str] = DataTable(id="cells")
            yield cells
            rows: DataTable[str] = DataTable(id="rows", cursor_type="row")
            yield rows
            yield OptionList("One", "Two", "Three", id="options")
            yield SelectionList(("Uno", 1), ("Due", 2), id="selections")
            yield Tabs("Exam", "Plan", id="tabs")
            yield ListView(ListItem(Label("Ahead")), ListItem(Label("Behind")), id="items")
            tree: Tree[None] = Tree("Root", id="tree")
            tree.root.expand()
            tree.root.add_leaf("Leaf")
            yield tree
            yield Button("Press", id="button")
            with Collapsible(title="Folded", id="folded"):
                yield Label("inside")

    def on_mount(self) -> None:
        self.query_one("#area").styles.height = 5
        for name in ("cells", "rows"):
            table = self.query_one(f"#{name}", DataTable)
            table.styles.height = 5
            table.add_columns("Maker", "Power")
            for number in range(9):
                table.add_row(f"m{number}", f"p{number}")

    def action_ask(self) -> None:
        self.app.push_screen(Question())


ROWS = [
    Row("part-1", "First part", heading=True),
    Row("acuity", "Distance acuity", text="20/100", echo="0.70 logMAR"),
    Row("vertex", "Vertex distance", unit="mm", text="12", status="assumed"),
    Row("eye", "Eye", choices=("right", "left", "both")),
    Row("remark", "Remark", multiline=True, text="first\nsecond"),
    *[Row(f"more-{number}", f"More {number}", unit="mm", text=f"v{number}") for number in range(20)],
]


class OwnKinds(QuietScreen[None]):
    """One of each kind of ours."""

    def compose(self) -> ComposeResult:
        yield AnswerLine("Best for the first goal: no telescope in stock reaches it.", id="answer")
        yield Form(ROWS, id="form")
        yield Sheet(
            [
                heading_row("Chosen option"),
                value_row("Magnification", "2.50", "x", key="magnification"),
                value_row("Field", "11.2", "deg", key="field"),
                text_row("Eye relief is short."),
                *[value_row(f"Quantity {number}", str(number), key=f"q{number}") for number in range(30)],
            ],
            id="sheet",
        )
        yield ListTable(
            [Column("name", "Name", 8, flexible=True), Column("power", "Power", 6, 1, "right")],
            [ListRow(f"k{number}", (f"name{number}", f"{number}x")) for number in range(30)],
            id="list",
        )
        yield MessageLine()
        yield KeyLine([KeyWord("F1", "Help"), KeyWord("F2", "Intake")])


class Kinds(ThemedApp[None]):
    """Starts on the screen named on the command line."""

    def on_mount(self) -> None:
        self.push_screen(FrameworkKinds() if "framework" in sys.argv else OwnKinds())


if __name__ == "__main__":
    name = starting_theme_name(os.environ.get("KINDS_THEME", ""), os.environ)
    Kinds(load_built_in(name)).run()
