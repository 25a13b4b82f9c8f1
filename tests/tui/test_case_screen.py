"""The screen of a case: panes, saving and its failures, leaving, bursts, a plan that takes long."""

from __future__ import annotations

import errno
import os
import time
from collections.abc import Awaitable, Callable
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from textual.events import Key
from textual.pilot import Pilot
from waiting import until

from afocal.core.case_file import loads_case
from afocal.core.plan import plan as plan_of
from afocal.core.plan.verdict import percent
from afocal.core.signing import sign
from afocal.tui.app import AfocalApp
from afocal.tui.messages import READ_ONLY, WorkingAsked
from afocal.tui.screens import case as case_module
from afocal.tui.screens.case import CaseScreen, answer_sentence
from afocal.tui.screens.case_list import CaseListScreen
from afocal.tui.screens.dialogs import Decide, Page, Pick
from afocal.tui.screens.working import working_page

CaseWaiter = Callable[[Pilot[Any]], Awaitable[CaseScreen]]
Typing = Callable[..., Awaitable[None]]
Seen = Callable[[AfocalApp], str]


@pytest.mark.parametrize(("key", "place"), [("f3", "computation"), ("f4", "fitting"), ("f5", "notes")])
async def test_another_pane_accepts_what_was_typed(
    key: str, place: str, app: Callable[[str], AfocalApp], case_screen: CaseWaiter
) -> None:
    """Typed and not yet accepted: a change of pane accepts it, and the answer is made from it; back again the form
    stands where it was."""
    running = app("LQ-101")
    async with running.run_test(size=(80, 24)) as pilot:
        screen = await case_screen(pilot)
        screen.pane.go_to("face.vertex_distance")
        await pilot.press("1", "4", key)
        await pilot.pause()
        assert screen.place == place
        assert screen.desk.case.visit.findings["face.vertex_distance"].typed == "14"
        assert screen.view.case is screen.desk.case
        await pilot.press("f2")
        await pilot.pause()
        assert screen.pane.form.current_key == "face.vertex_distance"  # type: ignore[attr-defined]
        assert running.focused is screen.pane.form.editor  # type: ignore[attr-defined]


async def test_a_pane_is_shown_in_one_frame(
    app: Callable[[str], AfocalApp], case_screen: CaseWaiter, monkeypatch: pytest.MonkeyPatch
) -> None:
    """For the first time as well as again: pane, keys and the sign of the caret come together, and never beside the pane
    that goes, in half of the height."""
    running = app("LQ-101")
    async with running.run_test(size=(80, 24)) as pilot:
        screen = await case_screen(pilot)
        frames: list[set[int]] = []
        shown = AfocalApp._display

        def counted(self: AfocalApp, of: Any, renderable: Any) -> None:
            if renderable is not None and not self._batch_count:
                frames.append({pane.size.height for pane in screen.panes.values() if pane.display})
            shown(self, of, renderable)

        monkeypatch.setattr(AfocalApp, "_display", counted)
        height = screen.pane.size.height
        for key in ("f3", "f4", "f5", "f2", "f3", "f2", "f5", "f4", "f3"):
            frames.clear()
            await pilot.press(key)
            await pilot.pause(0.05)
            assert frames == [{height}], (key, screen.place)


@pytest.mark.parametrize(
    ("code", "told"),
    [("LQ-109", "Chosen is another: prism-3, left eye, bioptic. "), ("LQ-108", ""), ("LQ-101", "")],
)
async def test_the_answer_names_a_chosen_device_that_is_not_the_first(
    code: str, told: str, app: Callable[[str], AfocalApp], case_screen: CaseWaiter
) -> None:
    """The figures of the best option are not to be taken for those of the device that is fitted."""
    running = app(code)
    async with running.run_test(size=(80, 24)) as pilot:
        screen = await case_screen(pilot)
        assert ("Chosen is another" in screen.answer.text) is bool(told)
        assert told in screen.answer.text


async def test_answer_and_rows_follow_each_value(
    app: Callable[[str], AfocalApp], case_screen: CaseWaiter, typing: Typing
) -> None:
    """When the caret has moved on, the answer is the new case's, the row shows the reading, and the file is written."""
    running = app("LQ-101")
    async with running.run_test(size=(80, 24)) as pilot:
        screen = await case_screen(pilot)
        before = screen.answer.text
        screen.pane.go_to("right.distance_acuity")
        await pilot.press(*"20", "slash", *"60", "tab")
        assert screen.answer.text == answer_sentence(screen.view) != before
        assert screen.view.plan is not None
        again = plan_of(screen.desk.case, running.stock, running.settings)
        assert screen.view.plan.decision == again.decision
        row = next(row for row in screen.pane.form.rows if row.key == "right.distance_acuity")  # type: ignore[attr-defined]
        assert "0.48" in row.echo
        assert loads_case(screen.desk.path.read_text("utf-8"), screen.desk.path) == screen.desk.case


async def test_a_burst_of_keys_stays_in_order(
    app: Callable[[str], AfocalApp], case_screen: CaseWaiter
) -> None:
    """Values and Tabs sent without a pause end in the fields they were meant for."""
    running = app("LQ-101")
    async with running.run_test(size=(80, 24)) as pilot:
        screen = await case_screen(pilot)
        screen.pane.go_to("face.vertex_distance")
        for letter in "13\t15\t20\t":
            running.post_message(Key("tab", "\t") if letter == "\t" else Key(letter, letter))
        found = screen.desk.case.visit.findings
        await until(pilot, lambda: screen.desk.case.visit.findings["face.pupil_height_right"].typed == "20")
        found = screen.desk.case.visit.findings
        assert [found[f"face.{key}"].typed for key in ("vertex_distance", "ocular_to_cornea")] == ["13", "15"]


async def test_typed_ahead_while_it_starts(app: Callable[[str], AfocalApp]) -> None:
    """Keys pressed before the case stands go into its first field."""
    running = app("LQ-102")
    async with running.run_test(size=(80, 24)) as pilot:
        await until(pilot, lambda: isinstance(running.screen, CaseScreen))
        for letter in "1949\t":
            running.post_message(Key("tab", "\t") if letter == "\t" else Key(letter, letter))
        screen = running.screen
        assert isinstance(screen, CaseScreen)
        await until(pilot, lambda: screen.desk.case.visit.findings["person.birth_year"].typed == "1949")


async def test_go_to_by_part_of_a_name(app: Callable[[str], AfocalApp], case_screen: CaseWaiter) -> None:
    """Ctrl+G, letters, Enter: the caret is on the field; Down goes into the list; Escape leaves it where it was."""
    running = app("LQ-101")
    async with running.run_test(size=(80, 24)) as pilot:
        screen = await case_screen(pilot)
        form = screen.pane.form  # type: ignore[attr-defined]
        await pilot.press("ctrl+g", *"vertex dist", "enter")
        await until(pilot, lambda: running.screen is screen)
        assert form.current_key == "face.vertex_distance"
        assert running.focused is form.editor
        await pilot.press("ctrl+g", *"pupil")
        dialog = running.screen
        assert isinstance(dialog, Pick)
        assert running.focused is dialog.input
        # The first is marked, and Enter would take it: Down goes on to the second.
        first = dialog.current
        await pilot.press("down")
        assert running.focused is dialog.list
        assert [row.key for row in dialog.list.rows[:2]] == [first, dialog.current]
        await pilot.press("down")
        chosen = dialog.current
        await pilot.press("x")
        assert running.focused is dialog.input
        assert dialog.input.value == "pupilx"
        await pilot.press("backspace", "escape")
        await until(pilot, lambda: running.screen is screen)
        assert form.current_key == "face.vertex_distance"
        assert chosen


async def test_leaving_and_coming_back(app: Callable[[str], AfocalApp], case_screen: CaseWaiter) -> None:
    """F8 accepts what was typed, finishes the save and shows the list; nothing stays open behind it."""
    running = app("LQ-101")
    async with running.run_test(size=(80, 24)) as pilot:
        screen = await case_screen(pilot)
        path = screen.desk.path
        screen.pane.go_to("face.vertex_distance")
        await pilot.press("1", "3", "f8")
        await until(pilot, lambda: isinstance(running.screen, CaseListScreen))
        assert running.desks == []
        assert loads_case(path.read_text("utf-8"), path).visit.findings["face.vertex_distance"].typed == "13"


class Failing:
    """A disk of cases that is full until it is told otherwise; other folders have room."""

    def __init__(self, screen: CaseScreen) -> None:
        self._saver = screen.desk.saver
        self._real = self._saver._fs

    def fail(self) -> None:
        """No file can be made beside the cases any more."""
        cases = self._saver.path.parent

        class Full(type(self._real)):
            def open_new(self, path: Path, *rest: Any, **options: Any) -> int:
                if Path(path).parent == cases:
                    raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
                return super().open_new(path, *rest, **options)

        self._saver._fs = Full()

    def mend(self) -> None:
        """There is room again."""
        self._saver._fs = self._real


async def test_a_failed_save_is_said_and_stays_and_quitting_asks(
    app: Callable[[str], AfocalApp], case_screen: CaseWaiter, typing: Typing, seen: Seen
) -> None:
    """The reason stands in the line and stays there; leaving and quitting ask; "stay" keeps the program; when there is
    room again it is saved by itself and quitting asks nothing."""
    running = app("LQ-101")
    async with running.run_test(size=(100, 24)) as pilot:
        screen = await case_screen(pilot)
        disk = Failing(screen)
        disk.fail()
        screen.pane.go_to("face.vertex_distance")
        await typing(pilot, ("14", "tab"))
        await until(pilot, lambda: "NOT saved" in seen(running))
        assert "the disk is full" in screen.messages.recent[-1].text
        await pilot.press("tab", "tab")
        assert "NOT saved" in seen(running)
        started = time.monotonic()
        await pilot.press("f8")
        await until(pilot, lambda: isinstance(running.screen, Decide))
        # The saver tells the screen while the screen waits for the saver: neither may wait for the other.
        assert time.monotonic() - started < 5
        await pilot.press("escape")
        await until(pilot, lambda: running.screen is screen)
        await pilot.press("ctrl+q")
        await until(pilot, lambda: isinstance(running.screen, Decide))
        assert "the disk is full" in " ".join(seen(running).split())
        assert running.is_running
        await pilot.press("enter")
        await until(pilot, lambda: running.screen is screen)
        disk.mend()
        await pilot.press("ctrl+s")
        await until(pilot, lambda: screen.desk.saver.state.is_safe)
        assert loads_case(screen.desk.path.read_text("utf-8"), screen.desk.path) == screen.desk.case
        await pilot.press("ctrl+q")
        await pilot.pause(0.1)
    assert running.return_value == 0


async def test_leaving_unsaved_keeps_a_copy(
    app: Callable[[str], AfocalApp], case_screen: CaseWaiter, typing: Typing, own_folders: Path
) -> None:
    """Who leaves all the same finds what was typed in the recovery copy."""
    running = app("LQ-101")
    async with running.run_test(size=(80, 24)) as pilot:
        screen = await case_screen(pilot)
        Failing(screen).fail()
        screen.pane.go_to("face.vertex_distance")
        await typing(pilot, ("14", "tab"))
        await pilot.press("ctrl+q")
        await until(pilot, lambda: isinstance(running.screen, Decide))
        await pilot.press("down", "enter")
        await pilot.pause(0.2)
    copies = list((own_folders / "state" / "recovery").glob("*"))
    assert any('"14"' in path.read_text("utf-8") for path in copies if path.is_file())


async def test_ctrl_s_says_when(
    app: Callable[[str], AfocalApp], case_screen: CaseWaiter, typing: Typing
) -> None:
    """Everything is saved already; the key says since when and where."""
    running = app("LQ-101")
    async with running.run_test(size=(80, 24)) as pilot:
        screen = await case_screen(pilot)
        await pilot.press("ctrl+s")
        assert "before it was opened" in screen.messages.recent[-1].text
        screen.pane.go_to("face.vertex_distance")
        await typing(pilot, ("14", "tab"))
        screen.desk.saver.wait(2)
        await pilot.press("ctrl+s")
        said = screen.messages.recent[-1]
        assert said.text.startswith("Saved at ") and str(screen.desk.path) in said.text


async def test_a_plan_that_takes_long_does_not_hold_the_keys(
    app: Callable[[str], AfocalApp], case_screen: CaseWaiter, monkeypatch: pytest.MonkeyPatch
) -> None:
    """After a slow plan the next ones are made behind the keys: typing goes on, what came too late is dropped, and the
    last case has its own plan in the end."""
    running = app("LQ-101")
    async with running.run_test(size=(80, 24)) as pilot:
        screen = await case_screen(pilot)
        made: list[str] = []

        def slow(case: Any, stock: Any, settings: Any) -> Any:
            made.append(case.visit.findings["face.vertex_distance"].typed)
            time.sleep(0.25)
            return plan_of(case, stock, settings)

        monkeypatch.setattr(case_module, "plan", slow)
        screen.pane.go_to("face.vertex_distance")
        await pilot.press("1", "1", "tab")
        started = time.monotonic()
        for digits in ("13", "14", "15"):
            screen.pane.go_to("face.vertex_distance")
            await pilot.press(*digits, "tab")
        typed_for = time.monotonic() - started
        await until(pilot, lambda: made[-1] == "15" and not screen._in_thread)
        assert screen.view.plan is not None
        assert screen.view.plan.inputs["face.vertex_distance"] == "15"
        assert len(made) <= 4
        assert typed_for < 2.0


async def test_messages_can_be_read_again(
    app: Callable[[str], AfocalApp], case_screen: CaseWaiter, seen: Seen
) -> None:
    """Ctrl+L opens the recent messages, newest first, with their times."""
    running = app("LQ-101")
    async with running.run_test(size=(80, 24)) as pilot:
        screen = await case_screen(pilot)
        screen.say("first said")
        screen.say("then said")
        await pilot.press("ctrl+l")
        await pilot.pause()
        assert isinstance(running.screen, Page)
        text = seen(running)
        assert text.index("then said") < text.index("first said")


async def test_the_answer_large(app: Callable[[str], AfocalApp], case_screen: CaseWaiter, seen: Seen) -> None:
    """F9 shows chance, acuity and power in figures and in words, and every line can be walked to at 40 by 12."""
    running = app("LQ-101")
    async with running.run_test(size=(40, 12)) as pilot:
        screen = await case_screen(pilot)
        assert screen.view.best is not None
        await pilot.press("f9")
        await pilot.pause()
        chance = screen.view.best.outcomes[0].probability
        assert f"{chance:.0%}" in seen(running)
        await pilot.press("end")
        await pilot.pause()
        assert screen.answer.text.split()[-1] in seen(running)
        await pilot.press("escape")
        assert running.screen is screen


async def test_hostile_text_is_only_text(
    app: Callable[[str], AfocalApp], case_screen: CaseWaiter, seen: Seen
) -> None:
    """Markup is drawn as it is written, and a pasted escape sequence loses its power before it is kept."""
    running = app("LQ-101")
    async with running.run_test(size=(80, 24)) as pilot:
        screen = await case_screen(pilot)
        screen.pane.go_to("person.occupation")
        from textual.events import Paste

        running.post_message(Paste("[bold red]pilot[/] \x1b]0;owned\x07\x1b[2Jx"))
        await pilot.pause(0.05)
        await pilot.press("tab")
        await pilot.pause()
        typed = screen.desk.case.visit.findings["person.occupation"].typed
        assert "\x1b" not in typed and "\x07" not in typed
        assert "[bold red]pilot[/]" in typed
        assert "[bold red]pilo" in seen(running)


async def test_the_working_stands_beside_the_intake_where_it_is_wide(
    app: Callable[[str], AfocalApp], case_screen: CaseWaiter, typing: Typing
) -> None:
    """From 120 columns on the working of the answer's chance stands beside the form and follows each edit; narrower it
    is neither shown nor made, and a resize keeps the field of the caret."""
    running = app("LQ-101")
    async with running.run_test(size=(130, 40)) as pilot:
        screen = await case_screen(pilot)
        await until(pilot, lambda: len(screen.beside.rows) > 10)
        assert screen.view.best is not None
        first = screen.beside.rows
        assert percent(screen.view.best.outcomes[0].probability) in first[0].parts[0][0]
        # The same as F6 on the answer shows: what was asked for first, then what it was made from.
        asked = WorkingAsked(screen.view.best.configuration, 0, "probability", "")
        assert first[1:] == working_page(screen.view, asked).sheet.rows
        screen.pane.go_to("right.distance_acuity")
        await typing(pilot, ("20/160", "tab"))
        await until(pilot, lambda: screen.beside.rows != first)
        assert percent(screen.view.best.outcomes[0].probability) in screen.beside.rows[0].parts[0][0]
        form = screen.pane.form  # type: ignore[attr-defined]
        on = form.current_key
        shown = screen.beside.rows
        await pilot.resize_terminal(80, 24)
        await until(pilot, lambda: not screen.beside.display)
        assert form.current_key == on
        assert screen.pane.region.contains_point(running.cursor_position)
        screen.pane.go_to("right.distance_acuity")
        await typing(pilot, ("20/100", "tab"))
        await pilot.pause(0.3)
        assert screen.beside.rows == shown


@pytest.mark.parametrize("size", [(80, 24), (40, 12)])
async def test_words_that_fit_several_tasks_are_told_so(
    app: Callable[[str], AfocalApp], case_screen: CaseWaiter, typing: Typing, size: tuple[int, int]
) -> None:
    """ "card" begins a name of two tasks: it stays the practitioner's own words, without usual figures, and the row names
    both; F1 on the field lists the library; more letters take one of them."""
    running = app("LQ-101")
    async with running.run_test(size=size) as pilot:
        screen = await case_screen(pilot)
        pane: Any = screen.pane

        def row() -> Any:
            return next(each for each in pane.form.rows if each.key == "goal.0.task")

        screen.pane.go_to("goal.0.task")
        assert "playing cards" in screen.pane.help_topic()[1]
        await typing(pilot, ("card", "enter"))
        assert row().text == "card"
        for words in ("Taken as your own words", "playing cards", "cards on the table"):
            assert words in row().note
        screen.pane.go_to("goal.0.task")
        await typing(pilot, ("cards on", "enter"))
        assert row().text == "cards on the table" and row().note == ""
        screen.pane.go_to("goal.0.task")
        await typing(pilot, ("umpiring", "enter"))
        assert row().text == "umpiring" and row().note == ""


async def test_a_unit_stands_behind_a_value_unless_it_was_typed(
    app: Callable[[str], AfocalApp], case_screen: CaseWaiter
) -> None:
    """The x of an axis or of a missing blur point is no unit; a unit typed along is not said a second time."""
    running = app("LQ-101")
    async with running.run_test(size=(80, 24)) as pilot:
        screen = await case_screen(pilot)
        for path, text, unit in (
            ("binocular.base_in_distance", "x/7/4", "prism D"),
            ("binocular.base_in_distance", "9/19/10", "prism D"),
            ("right.refraction", "-2.00 -1.00 x 90", "D"),
            ("right.refraction", "+1.50 sph", ""),
            ("face.vertex_distance", "12", "mm"),
            ("face.vertex_distance", "1.2 cm", ""),
        ):
            screen.change(lambda case, at=path, typed=text: case.with_typed(at, typed))
            await pilot.pause()
            row = next(each for each in screen.pane.form.rows if each.key == path)  # type: ignore[attr-defined]
            assert (row.text, row.unit) == (text, unit)


@pytest.mark.parametrize("size", [(80, 24), (40, 12)])
async def test_whose_record_it_is_stands_on_every_pane(
    app: Callable[[str], AfocalApp], case_screen: CaseWaiter, seen: Seen, size: tuple[int, int]
) -> None:
    """Patient code, kind and day of the visit, while no message stands in their place; a signature too."""
    running = app("LQ-106")
    async with running.run_test(size=size) as pilot:
        screen = await case_screen(pilot)
        for key in ("f3", "f4", "f5", "f2"):
            await pilot.press(key)
            await pilot.pause()
            assert "LQ-106  examination 2026-11-19" in seen(running), key
        screen.say("something else")
        await pilot.pause()
        assert "LQ-106" not in seen(running)
        screen.messages.go_on()
        await pilot.pause()
        assert "LQ-106  examination 2026-11-19" in seen(running)
        screen.change(lambda case: sign(case, "RK", datetime.now().astimezone()), for_good=True)
        await pilot.pause()
        assert "LQ-106  signed examination 2026-11-19" in seen(running)


async def test_a_signed_visit_takes_nothing_and_says_why(
    app: Callable[[str], AfocalApp], case_screen: CaseWaiter, typing: Typing, seen: Seen
) -> None:
    """What is typed into the intake of a signed visit is answered in one sentence, and the old value stands again."""
    running = app("LQ-106")
    async with running.run_test(size=(80, 24)) as pilot:
        screen = await case_screen(pilot)
        screen.change(lambda case: sign(case, "RK", datetime.now().astimezone()), for_good=True)
        before = screen.desk.case
        form = screen.pane.form  # type: ignore[attr-defined]
        form.go_to("history.diagnosis")
        old = form.current_row.text
        await typing(pilot, ("x", "tab"))
        assert screen.desk.case is before
        assert screen.messages.recent[-1].text == READ_ONLY and READ_ONLY in seen(running)
        assert next(row for row in form.rows if row.key == "history.diagnosis").text == old
        assert not any(row.status == "error" for row in form.rows)
        form.go_to("history.diagnosis")
        assert form.text == old
        count = len(screen.messages.recent)
        form.go_to(next(row.key for row in form.rows if row.status == "assumed"))
        await pilot.press("enter")
        await pilot.pause()
        assert len(screen.messages.recent) == count and screen.desk.case is before
