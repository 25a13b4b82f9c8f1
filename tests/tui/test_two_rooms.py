"""The same case in two rooms: what fits is put together and said, what does not is asked value by value."""

from __future__ import annotations

import re
from collections.abc import Awaitable, Callable
from typing import Any

import pytest
from textual.pilot import Pilot

from afocal.core.case import Case
from afocal.core.case_file import dumps_case, loads_case
from afocal.tui.app import AfocalApp
from afocal.tui.screens.case import CaseScreen
from afocal.tui.screens.dialogs import Decide

CaseWaiter = Callable[[Pilot[Any]], Awaitable[CaseScreen]]
Typing = Callable[..., Awaitable[None]]


def elsewhere(screen: CaseScreen, change: Callable[[Case], Case]) -> Case:
    """Another room changes the file as it stands on disk."""
    path = screen.desk.path
    theirs = change(loads_case(path.read_text("utf-8"), path))
    path.write_text(dumps_case(theirs), "utf-8")
    return theirs


def on_disk(screen: CaseScreen) -> Case:
    """The case as the file has it."""
    screen.desk.saver.wait(2.0)
    return loads_case(screen.desk.path.read_text("utf-8"), screen.desk.path)


async def test_their_change_is_taken_in_and_said(
    app: Callable[[str], AfocalApp], case_screen: CaseWaiter
) -> None:
    """Seen at the next look: the value is in the case and in the form, and the line says which field it was."""
    running = app("LQ-101")
    async with running.run_test(size=(80, 24)) as pilot:
        screen = await case_screen(pilot)
        elsewhere(screen, lambda case: case.with_typed("face.vertex_distance", "15"))
        screen.keeper.look()
        await pilot.pause()
        assert screen.desk.case.visit.findings["face.vertex_distance"].typed == "15"
        rows = {row.key: row for row in screen.pane.form.rows}  # type: ignore[attr-defined]
        assert rows["face.vertex_distance"].text == "15"
        said = screen.messages.recent[-1]
        assert "Vertex distance" in said.text
        assert said.weight == "check"
        count = len(screen.messages.recent)
        screen.keeper.look()
        assert len(screen.messages.recent) == count


async def test_both_sets_of_changes_are_kept(
    app: Callable[[str], AfocalApp], case_screen: CaseWaiter, typing: Typing
) -> None:
    """Different fields changed in both rooms: the next save finds theirs, and both are in the file."""
    running = app("LQ-101")
    async with running.run_test(size=(80, 24)) as pilot:
        screen = await case_screen(pilot)
        elsewhere(screen, lambda case: case.with_typed("face.vertex_distance", "15"))
        screen.pane.go_to("left.pupil")
        await typing(pilot, ("4", "tab"))
        await pilot.pause(0.2)
        case = on_disk(screen)
        assert case.visit.findings["left.pupil"].typed == "4"
        assert case.visit.findings["face.vertex_distance"].typed == "15"
        assert screen.desk.case == case
        assert any("Both sets of changes are kept" in each.text for each in screen.messages.recent)


CHOICES = [
    ("keep both", [], "14", True),
    ("mine", ["down", "enter"], "14", False),
    ("theirs", ["down", "down", "enter"], "15", False),
]


@pytest.mark.parametrize(("claim", "keys", "kept", "beside"), CHOICES, ids=[case[0] for case in CHOICES])
@pytest.mark.parametrize("size", [(80, 24), (40, 12)])
async def test_one_value_changed_in_both_rooms_is_asked(
    claim: str,
    keys: list[str],
    kept: str,
    beside: bool,
    size: tuple[int, int],
    app: Callable[[str], AfocalApp],
    case_screen: CaseWaiter,
    typing: Typing,
    seen: Callable[[AfocalApp], str],
) -> None:
    """The dialog names the field and all three values; the caret is on the safe answer; nothing of either side is lost."""
    running = app("LQ-101")
    async with running.run_test(size=size) as pilot:
        screen = await case_screen(pilot)
        elsewhere(screen, lambda case: case.with_typed("face.vertex_distance", "15"))
        screen.pane.go_to("face.vertex_distance")
        await typing(pilot, ("14", "tab"))
        for _ in range(100):
            if isinstance(running.screen, Decide):
                break
            await pilot.pause(0.02)
        await pilot.pause(0.1)
        assert isinstance(running.screen, Decide)
        text = seen(running)
        assert "Keep both" in text
        assert running.screen.sheet.current_key == "both"
        words = " ".join(part for row in running.screen.sheet.rows for part, _ in row.parts)
        for part in ("Vertex distance", "before: 12", "here: 14", "there: 15"):
            assert part in words
        await pilot.press(*(keys or ["enter"]))
        await pilot.pause(0.1)
        assert running.screen is screen
        case = on_disk(screen)
        assert case.visit.findings["face.vertex_distance"].typed == kept
        assert case == screen.desk.case
        assert ("15" in dumps_case(case).partition("set_aside")[2]) is beside


async def test_escape_keeps_both(
    app: Callable[[str], AfocalApp], case_screen: CaseWaiter, typing: Typing
) -> None:
    """The way back decides nothing away."""
    running = app("LQ-101")
    async with running.run_test(size=(80, 24)) as pilot:
        screen = await case_screen(pilot)
        elsewhere(screen, lambda case: case.with_typed("face.vertex_distance", "15"))
        screen.pane.go_to("face.vertex_distance")
        await typing(pilot, ("14", "tab"))
        await pilot.pause(0.2)
        assert isinstance(running.screen, Decide)
        await pilot.press("escape")
        await pilot.pause(0.2)
        text = dumps_case(on_disk(screen))
        assert '"14"' in text and '"15"' in text


async def test_their_damaged_file_is_not_overwritten(
    app: Callable[[str], AfocalApp], case_screen: CaseWaiter, typing: Typing
) -> None:
    """A file that somebody broke meanwhile is left as it is; what is entered here goes into a copy, and the line says
    where. Mended, the file is taken in again."""
    running = app("LQ-101")
    async with running.run_test(size=(80, 24)) as pilot:
        screen = await case_screen(pilot)
        path = screen.desk.path
        good = path.read_text("utf-8")
        path.write_text("schema = \n", "utf-8")
        screen.pane.go_to("face.vertex_distance")
        await typing(pilot, ("14", "tab"))
        await pilot.pause(0.2)
        assert path.read_text("utf-8") == "schema = \n"
        said = screen.messages.recent[-1]
        assert said.weight == "error"
        copy = screen.desk.saver.state.recovery
        assert copy is not None and str(copy) in said.text
        assert '"14"' in copy.read_text("utf-8")
        path.write_text(good, "utf-8")
        screen.keeper.look()
        await pilot.pause(0.1)
        assert on_disk(screen).visit.findings["face.vertex_distance"].typed == "14"


async def test_the_same_change_in_both_rooms_is_no_news(
    app: Callable[[str], AfocalApp], case_screen: CaseWaiter, typing: Typing
) -> None:
    """When both typed the same, nothing is asked and saving goes on."""
    running = app("LQ-101")
    async with running.run_test(size=(80, 24)) as pilot:
        screen = await case_screen(pilot)
        elsewhere(screen, lambda case: case.with_typed("face.vertex_distance", "14"))
        screen.pane.go_to("face.vertex_distance")
        await typing(pilot, ("14", "tab"))
        await pilot.pause(0.1)
        await typing(pilot, ("15", "tab"))
        await pilot.pause(0.1)
        assert running.screen is screen
        assert screen.desk.saver.wait(2.0)


async def test_earlier_versions_are_shown_compared_and_brought_back(
    app: Callable[[str], AfocalApp], case_screen: CaseWaiter, typing: Typing, seen: Callable[[AfocalApp], str]
) -> None:
    """The list of versions, the difference by field name, and the old value back as an edit that can be undone."""
    running = app("LQ-101")
    async with running.run_test(size=(80, 24)) as pilot:
        screen = await case_screen(pilot)
        screen.pane.go_to("face.vertex_distance")
        await typing(pilot, ("14", "tab"))
        screen.desk.saver.wait(2.0)
        screen.action_versions()
        await pilot.pause(0.1)
        # By day and time, not by the name of a file.
        assert re.search(r"replaced \d{4}-\d\d-\d\d \d\d:\d\d:\d\d *$", seen(running), re.MULTILINE)
        assert "Z-" not in seen(running)
        await pilot.press("down", "enter")
        await pilot.pause(0.1)
        assert "Vertex distance" in seen(running) and "14 -> 12" in seen(running)
        await pilot.press("down", "enter")
        await pilot.pause(0.1)
        assert screen.desk.case.visit.findings["face.vertex_distance"].typed == "12"
        await pilot.press("ctrl+z")
        assert screen.desk.case.visit.findings["face.vertex_distance"].typed == "14"
