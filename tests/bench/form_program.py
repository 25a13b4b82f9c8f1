"""A form of sixty rows, a hundred-thousand-row list behind F3, and the fixed lines: the kit without a case."""

from __future__ import annotations

import os
from dataclasses import replace
from typing import ClassVar

from afocal.tui import terminal

terminal.prepare()

from textual.app import ComposeResult  # noqa: E402

from afocal.themes import load_built_in  # noqa: E402
from afocal.tui.quiet import QuietScreen  # noqa: E402
from afocal.tui.theming import ThemedApp, starting_theme_name  # noqa: E402
from afocal.tui.widgets.form import Form, Row  # noqa: E402
from afocal.tui.widgets.lines import AnswerLine, KeyLine, KeyWord, MessageLine  # noqa: E402
from afocal.tui.widgets.list_table import Column, ListRow, ListTable  # noqa: E402

ROWS = [
    row
    for part in range(6)
    for row in (
        Row(f"part-{part}", f"Part {part}", heading=True),
        *[
            Row(f"f{part}-{n}", f"Quantity {n} of part {part}", unit="mm", text=f"{n}.5", echo=f"{n}.50 mm")
            for n in range(10)
        ],
    )
]


class Cases(QuietScreen[None]):
    """A long list from a source."""

    def compose(self) -> ComposeResult:
        yield ListTable([Column("code", "Code", 10), Column("seen", "Last seen", 12, flexible=True)])

    def on_mount(self) -> None:
        self.query_one(ListTable).use_source(
            100_000,
            lambda start, stop: [ListRow(f"c{n}", (f"C{n:06d}", "2026-01-01")) for n in range(start, stop)],
        )


class Exam(QuietScreen[None]):
    """The form between the fixed lines; an accepted field changes its echo and the answer."""

    BINDINGS: ClassVar = [("f3", "cases", "Cases")]

    def compose(self) -> ComposeResult:
        yield AnswerLine("ready: no goal yet", id="answer")
        yield Form(ROWS, edited=self.edited)
        yield MessageLine()
        yield KeyLine([KeyWord("F1", "Help"), KeyWord("F3", "Cases")])

    def on_mount(self) -> None:
        self.query_one(Form).focus()

    def edited(self, key: str, text: str, _confirmed: bool) -> None:
        """An accepted field gets its echo, the answer line a new sentence."""
        form = self.query_one(Form)
        form.rows = tuple(
            replace(row, text=text, echo=f"{text} mm") if row.key == key else row for row in form.rows
        )
        self.query_one(AnswerLine).text = f"ready: {key} is {text} mm"

    def action_cases(self) -> None:
        self.app.push_screen(Cases())


class Kit(ThemedApp[None]):
    """The program."""

    def get_default_screen(self) -> Exam:
        return Exam()


def main() -> None:
    """Run it."""
    Kit(load_built_in(starting_theme_name("", os.environ))).run()


if __name__ == "__main__":
    main()
