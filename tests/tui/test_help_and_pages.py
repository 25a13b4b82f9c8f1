"""Help for every field and place, dialogs on a low screen, colours by preview, and the guard against crashes."""

from __future__ import annotations

import inspect
import re
from collections.abc import Awaitable, Callable
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from textual.app import App
from textual.pilot import Pilot

from afocal.core import __version__
from afocal.core.assumptions import ASSUMPTIONS
from afocal.core.case import Case, Visit
from afocal.core.documents.order import obstacles
from afocal.core.entry_basic import Words
from afocal.core.entry_clinical import CurveKind
from afocal.core.fields import GOAL_FIELDS, by_path, fields
from afocal.core.person import person_of
from afocal.core.plan import plan
from afocal.core.settings import Settings
from afocal.core.workspace import demo_workspace
from afocal.tui.app import AfocalApp
from afocal.tui.commands import commands_in, places, shown_key
from afocal.tui.crash import GuardedApp, keep_report, report_text
from afocal.tui.panes.intake import field_help
from afocal.tui.screens.case import CaseScreen
from afocal.tui.screens.dialogs import Ask, Decide, Page, Pick
from afocal.tui.screens.help_page import help_text, key_words
from afocal.tui.screens.theme_choice import ThemeChoice, with_theme

CaseWaiter = Callable[[Pilot[Any]], Awaitable[CaseScreen]]
Seen = Callable[[AfocalApp], str]

FIELDS = [*fields(), *GOAL_FIELDS]


@pytest.mark.parametrize("field", FIELDS, ids=[field.path for field in FIELDS])
def test_every_field_has_its_help(field: Any) -> None:
    """What it means, the unit if it has one, what is accepted, how it is typed, an example that is accepted, and where
    the value goes."""
    text = field_help(field)
    for words in (field.help, "Accepted: ", "Typed as: ", "For example: ", "Used for: ", "case file as"):
        assert words in text
    assert len(field.help) > 15 and field.help[-1] in ".:?"
    assert (f"Unit: {field.kind.unit}" in text) == bool(field.kind.unit)
    whole = isinstance(field.kind, Words | CurveKind)
    for example in [field.kind.example] if whole else re.split(", | or ", field.kind.example):
        field.kind.read(example.strip(), field.label)


ASSUMED_WORDS = "a value is assumed, shown as such"


def test_the_help_says_truly_what_an_empty_field_means() -> None:
    """A value is promised to stand as assumed in the row of exactly those fields in which one does, on an empty case."""
    empty = Case(code="X-1", visits=(Visit(on=date(2026, 11, 25)),))
    assumed = set(person_of(empty, Settings()).assumed)
    assert assumed
    assert {field.path for field in fields() if ASSUMED_WORDS in field_help(field)} == assumed
    # By these names in the settings, which the sentences give the figures of.
    helps = {field.path: field_help(field) for field in fields()}
    for path, name, words in (
        ("test.chart_distance", "chart_distance_mm", "4 m"),
        ("test.room_luminance", "room_luminance_cd_m2", "50 cd/m2"),
    ):
        number, unit = words.split(" ")
        assert f"{words} unless changed" in helps[path]
        assert ASSUMPTIONS[name].default == float(number) * (1000 if unit == "m" else 1)
    for goal in GOAL_FIELDS:
        assert ("While it is empty the usual figure of the task" in field_help(goal)) == (goal.path != "task")


def test_the_help_for_the_tilt_says_what_the_order_asks(tmp_path: Path) -> None:
    """An order of a bioptic is not ready without a tilt chosen for the face; the field's help says so, and no more that
    nothing is to be done."""
    demo = demo_workspace(tmp_path)
    case, stock, settings = demo.open_case("LQ-101").case, demo.stock()[0], demo.settings()[0]
    made = plan(case, stock, settings)
    bioptic = next(each for each in made.options if each.configuration.position == "bioptic")
    chosen = case.with_visit(replace(case.visit, choice=bioptic.configuration)).with_typed(
        "face.tube_tilt", ""
    )
    asked = [each.path for each in obstacles(chosen, plan(chosen, stock, settings), settings)]
    assert "face.tube_tilt" in asked
    words = field_help(by_path()["face.tube_tilt"])
    assert "the order of a bioptic asks for one" in words and "computed.\n" not in words


@pytest.mark.parametrize("place", [place for place in places() if place not in ("case", "everywhere")])
async def test_help_for_every_place(place: Any, app: Callable[[str], AfocalApp]) -> None:
    """Every place has a text of its own, and the list of its keys names each command, also those only in the palette."""
    running = app("")
    async with running.run_test(size=(80, 24)):
        assert len(help_text(place)) > 100
        words = key_words(running, place)
        for command in commands_in(place):
            assert f"[{command.id}]" in words
            assert command.sentence in words
            if command.key:
                assert shown_key(command.key) in words


async def test_f1_helps_with_the_focused_field(
    app: Callable[[str], AfocalApp], case_screen: CaseWaiter, seen: Seen
) -> None:
    """On every row of the intake F1 opens on that field's help; Escape comes back to the row."""
    running = app("LQ-101")
    async with running.run_test(size=(80, 24)) as pilot:
        screen = await case_screen(pilot)
        form = screen.pane.form  # type: ignore[attr-defined]
        for key in ("person.birth_year", "goal.1.detail", "right.near_acuity", "face.pd", "plan.next_date"):
            form.go_to(key)
            label = form.current_row.label.split(": ")[-1]
            await pilot.press("f1")
            await pilot.pause()
            text = seen(running)
            assert "This field: " in text and label.lower() in text.lower()
            assert "Typed as:" in text
            await pilot.press("escape")
            assert running.screen is screen
            assert form.current_key == key


async def test_f1_in_every_pane(app: Callable[[str], AfocalApp], case_screen: CaseWaiter, seen: Seen) -> None:
    """Help opens in each pane and on the list."""
    running = app("LQ-101")
    async with running.run_test(size=(80, 24)) as pilot:
        await case_screen(pilot)
        for key in ("f3", "f4", "f5", "f8"):
            await pilot.press(key)
            await pilot.pause(0.05)
            await pilot.press("f1")
            await pilot.pause(0.05)
            assert isinstance(running.screen, Page), key
            assert "This page" in seen(running)
            await pilot.press("escape")
            await pilot.pause(0.05)


LONG = "\n".join(f"Line {number} of a long text that goes on beyond forty columns." for number in range(12))


async def test_a_question_fits_a_low_screen(app: Callable[[str], AfocalApp], seen: Seen) -> None:
    """At 40 by 12 a long question shows all its answers whole, the caret on the safe one, and the words above can be
    read by going up."""
    running = app("")
    async with running.run_test(size=(40, 12)) as pilot:
        given: list[str | None] = []
        answers = (
            ("stay", "Stay and keep trying to save it"),
            ("leave", "Leave; the copy is offered at the next start"),
        )
        running.push_screen(Decide("Not on disk", LONG, answers), given.append)
        await pilot.pause(0.1)
        text = " ".join(seen(running).split())
        assert "Stay and keep trying to save it" in text
        assert "the copy is offered at" in text and "next start" in text
        dialog = running.screen
        assert isinstance(dialog, Decide)
        assert dialog.sheet.current_key == "stay"
        await pilot.press("home")
        await pilot.pause()
        assert "Line 0" in seen(running)
        await pilot.press("enter")
        assert given == []
        await pilot.press("end", "enter")
        await pilot.pause()
        assert given == ["leave"]


async def test_a_list_fits_a_low_screen(app: Callable[[str], AfocalApp], seen: Seen) -> None:
    """At 40 by 12 a chooser shows several names whole and the keys."""
    running = app("")
    async with running.run_test(size=(40, 12)) as pilot:
        choices = [(str(n), f"Choice number {n} with a name of some length") for n in range(20)]
        running.push_screen(Pick("Choose", choices))
        await pilot.pause(0.1)
        text = seen(running)
        assert text.count("Choice number") >= 3
        assert "Esc back" in text
        await pilot.press("down", "end")
        await pilot.pause()
        assert "Choice number 19" in seen(running)


async def test_a_line_is_checked_before_it_is_taken(app: Callable[[str], AfocalApp], seen: Seen) -> None:
    """A refused text stays to be mended, with the sentence in view at 40 by 12; Escape hands back nothing."""
    running = app("")
    async with running.run_test(size=(40, 12)) as pilot:
        given: list[str | None] = []
        check = lambda text: "" if text == "good" else f"{text}: accepted is 'good'."  # noqa: E731
        running.push_screen(Ask("A word", check=check, hint="One word."), given.append)
        await pilot.pause()
        await pilot.press(*"bad", "enter")
        await pilot.pause()
        assert "bad: accepted is 'good'." in seen(running)
        await pilot.press("backspace", "backspace", "backspace", *"good", "enter")
        await pilot.pause()
        assert given == ["good"]


async def test_colours_are_tried_and_kept_or_put_back(app: Callable[[str], AfocalApp]) -> None:
    """Down wears the next theme; Escape puts the old one back and writes nothing; Enter keeps it in the settings file."""
    running = app("")
    async with running.run_test(size=(80, 24)) as pilot:
        path = running.workspace.settings_path
        before = running.theme
        running.action_theme()
        await pilot.pause()
        assert isinstance(running.screen, ThemeChoice)
        await pilot.press("down")
        await pilot.pause()
        assert running.theme != before
        await pilot.press("escape")
        await pilot.pause()
        assert running.theme == before
        assert not path.exists()
        running.action_theme()
        await pilot.pause()
        await pilot.press("down", "enter")
        await pilot.pause()
        assert running.theme != before
        assert f'theme = "{running.theme}"' in path.read_text("utf-8")
        assert all(not name.startswith(("textual", "nord", "gruvbox")) for name in running.available_themes)


THEME_TEXTS = [
    ("an empty file", "", 'theme = "warm-room"\n'),
    ("replaced in place", 'schema = 1\ntheme = "x"\n', 'schema = 1\ntheme = "warm-room"\n'),
    ("before the first table", "schema = 1\n[keys]\n", 'schema = 1\ntheme = "warm-room"\n\n[keys]\n'),
]


@pytest.mark.parametrize(("claim", "before", "after"), THEME_TEXTS, ids=[case[0] for case in THEME_TEXTS])
def test_the_rest_of_the_settings_stays_as_written(claim: str, before: str, after: str) -> None:
    """Only the line of the theme changes."""
    assert with_theme(before, "warm-room") == after, claim


def test_the_steps_that_the_guard_overrides_are_still_the_frameworks() -> None:
    """Should a release rename what the guard overrides or calls, this says so before a crash shows a record."""
    for name in ("_handle_exception", "_close_messages_no_wait", "panic"):
        assert callable(getattr(App, name, None)), name
    source = inspect.getsource(App)
    assert "self._handle_exception(" in source
    assert list(inspect.signature(App._handle_exception).parameters) == ["self", "error"]
    for name in ("_exception", "_exception_event", "_return_code"):
        assert f"self.{name}" in source, name
    assert GuardedApp._handle_exception is not App._handle_exception
    assert GuardedApp.panic is not App.panic


def test_a_report_has_no_values(tmp_path: Path) -> None:
    """Version, system, kinds of error and places in the code; no message, no variable, no folder of the user."""

    def inner() -> None:
        patient = "Anna Muster, 20/400"
        raise ValueError(patient)

    try:
        try:
            inner()
        except ValueError as error:
            raise RuntimeError("LQ-101") from error
    except RuntimeError as error:
        text = report_text(error, "CaseScreen")
    assert f"afocal {__version__}" in text
    assert "builtins.ValueError" in text and "builtins.RuntimeError" in text
    assert "in test_a_report_has_no_values.<locals>.inner" in text
    for secret in ("Anna", "LQ-101", str(tmp_path), str(Path.home()) + "/"):
        assert secret not in text
    path = keep_report(tmp_path / "reports", text)
    assert path is not None and path.read_text("utf-8") == text
    (tmp_path / "file").write_text("", "utf-8")
    assert keep_report(tmp_path / "file", text) is None
