"""An open case whose file is put back, removed, or written over while something is being typed."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from dataclasses import replace
from typing import Any

import pytest
from textual.pilot import Pilot

from afocal.core.case import Case
from afocal.core.case_file import dumps_case, loads_case
from afocal.core.store.filesystem import FileSystem
from afocal.core.store.history import read_version, versions
from afocal.tui.app import AfocalApp
from afocal.tui.screens.case import CaseScreen
from afocal.tui.screens.dialogs import Decide

CaseWaiter = Callable[[Pilot[Any]], Awaitable[CaseScreen]]
Typing = Callable[..., Awaitable[None]]


def elsewhere(screen: CaseScreen, change: Callable[[Case], Case]) -> None:
    """Another room changes the file as it stands on disk."""
    path = screen.desk.path
    path.write_text(dumps_case(change(loads_case(path.read_text("utf-8"), path))), "utf-8")


def on_disk(screen: CaseScreen) -> Case:
    """The case as the file has it."""
    screen.desk.saver.wait(2.0)
    return loads_case(screen.desk.path.read_text("utf-8"), screen.desk.path)


async def asked(pilot: Pilot[Any]) -> str:
    """The words of the dialog, when it has come."""
    for _ in range(200):
        if isinstance(pilot.app.screen, Decide):
            await pilot.pause(0.05)
            rows = pilot.app.screen.sheet.rows
            return " ".join(part for row in rows for part, _ in row.parts)
        await pilot.pause(0.02)
    raise AssertionError("nothing was asked")


@pytest.mark.parametrize(
    ("keys", "value"), [(["enter"], "14"), (["escape"], "14"), (["down", "enter"], "12")]
)
async def test_an_older_version_that_is_back_is_asked_about(
    keys: list[str], value: str, app: Callable[[str], AfocalApp], case_screen: CaseWaiter, typing: Typing
) -> None:
    """The question names the field and both values; kept is written again, and either way ours is in the history."""
    running = app("LQ-101")
    async with running.run_test(size=(80, 24)) as pilot:
        screen = await case_screen(pilot)
        before = screen.desk.path.read_text("utf-8")
        screen.pane.go_to("face.vertex_distance")
        await typing(pilot, ("14", "tab"))
        screen.desk.saver.wait(2.0)
        screen.desk.path.write_text(before, "utf-8")
        screen.keeper.look()
        words = await asked(pilot)
        assert "Vertex distance" in words and "14 -> 12" in words and "Keep what was saved here" in words
        await pilot.press(*keys)
        await pilot.pause(0.1)
        case = on_disk(screen)
        assert case.visit.findings["face.vertex_distance"].typed == value and case == screen.desk.case
        assert any('"14"' in read_version(each) for each in versions(screen.desk.path))


@pytest.mark.parametrize(("keys", "writes"), [(["enter"], False), (["down", "enter"], True)])
async def test_a_file_that_is_gone_is_asked_about(
    keys: list[str], writes: bool, app: Callable[[str], AfocalApp], case_screen: CaseWaiter, typing: Typing
) -> None:
    """Not before something is to be saved; left alone it is asked once, not at every key, and Ctrl+S asks again."""
    running = app("LQ-101")
    async with running.run_test(size=(80, 24)) as pilot:
        screen = await case_screen(pilot)
        path = screen.desk.path
        path.rename(path.with_name("LQ-101 (conflicted copy).toml"))
        screen.keeper.look()
        await pilot.pause(0.05)
        assert running.screen is screen and "the file is gone" in screen.messages.recent[-1].text
        screen.pane.go_to("face.vertex_distance")
        await typing(pilot, ("14", "tab"))
        words = await asked(pilot)
        assert "LQ-101 (conflicted copy).toml" in words
        copy = screen.desk.saver.state.recovery
        assert copy is not None and '"14"' in copy.read_text("utf-8")
        await pilot.press(*keys)
        await pilot.pause(0.1)
        assert running.screen is screen
        if writes:
            assert on_disk(screen).visit.findings["face.vertex_distance"].typed == "14"
            return
        await typing(pilot, ("15", "tab"))
        await pilot.pause(0.1)
        assert running.screen is screen and not path.exists()
        assert str(copy) in screen.messages.recent[-1].text or "gone" in screen.messages.recent[-1].text
        await pilot.press("ctrl+s")
        assert "is not in its folder any more" in await asked(pilot)


async def test_words_of_both_rooms_come_together_while_they_are_typed(
    app: Callable[[str], AfocalApp], case_screen: CaseWaiter
) -> None:
    """Own words typed here at the moment when other words come in: neither is written over."""
    running = app("LQ-101")
    async with running.run_test(size=(80, 24)) as pilot:
        screen = await case_screen(pilot)
        await screen.show_pane("notes")
        await pilot.pause(0.05)
        elsewhere(screen, lambda case: case.with_visit(replace(case.visit, notes="Seen at the door.")))
        await pilot.press(*"Reads the board now")
        screen.keeper.look()
        for _ in range(100):
            if isinstance(running.screen, Decide):
                await pilot.press("escape")
            if "board" in on_disk(screen).visit.notes and "door" in on_disk(screen).visit.notes:
                break
            await pilot.pause(0.05)
        notes = on_disk(screen).visit.notes
        assert "Seen at the door." in notes and "Reads the board now" in notes


async def test_a_value_that_comes_in_under_the_caret_is_told(
    app: Callable[[str], AfocalApp], case_screen: CaseWaiter, typing: Typing
) -> None:
    """Typed here and not accepted yet: the line says what is there; accepted, theirs stays in the history for good."""
    running = app("LQ-101")
    async with running.run_test(size=(80, 24)) as pilot:
        screen = await case_screen(pilot)
        screen.pane.go_to("left.pupil")
        await pilot.press("4", ".", "5")
        elsewhere(screen, lambda case: case.with_typed("left.pupil", "6"))
        screen.keeper.look()
        await pilot.pause(0.05)
        said = screen.messages.recent[-1].text
        assert "left eye is 6 there" in said and "replaces it" in said
        await pilot.press("tab")
        assert on_disk(screen).visit.findings["left.pupil"].typed == "4.5"
        kept = [read_version(each) for each in versions(screen.desk.path) if each.is_kept]
        assert any('pupil = "6"' in text for text in kept)


async def test_signed_elsewhere_while_something_is_typed(
    app: Callable[[str], AfocalApp], case_screen: CaseWaiter, typing: Typing
) -> None:
    """The visit is read-only at once; what is accepted then is refused in a sentence and changes nothing."""
    from datetime import datetime

    from afocal.core.signing import sign, verify

    running = app("LQ-106")
    async with running.run_test(size=(80, 24)) as pilot:
        screen = await case_screen(pilot)
        screen.pane.go_to("face.vertex_distance")
        await pilot.press("1", "9")
        elsewhere(screen, lambda case: sign(case, "RK", datetime(2026, 12, 1, 9)))
        signed = screen.desk.path.read_text("utf-8")
        screen.keeper.look()
        await pilot.pause(0.05)
        await pilot.press("tab")
        await pilot.pause(0.05)
        assert "signed and read-only" in screen.messages.recent[-1].text
        assert screen.desk.path.read_text("utf-8") == signed
        assert verify(screen.desk.case).state == "unchanged"


async def test_a_share_that_does_not_answer_stops_no_key_and_gets_a_copy(
    app: Callable[[str], AfocalApp], case_screen: CaseWaiter, typing: Typing, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A save that hangs: keys go on, the line says that it is not saved and where the copy is; then it is saved."""
    import threading

    gate = threading.Event()
    real = FileSystem.replace

    def hangs(self: FileSystem, source: Any, target: Any) -> None:
        if target.name == "LQ-101.toml":
            gate.wait(20)
        real(self, source, target)

    monkeypatch.setattr("afocal.core.store.saver.HANGS_S", 0.2)
    running = app("LQ-101")
    async with running.run_test(size=(80, 24)) as pilot:
        screen = await case_screen(pilot)
        monkeypatch.setattr(FileSystem, "replace", hangs)
        screen.pane.go_to("face.vertex_distance")
        await typing(pilot, ("14", "tab"))
        await typing(pilot, ("15", "tab"))
        assert screen.desk.case.visit.findings["face.vertex_distance"].typed == "14"
        for _ in range(200):
            screen.keeper._look_in_thread()
            if any("does not answer" in each.text for each in screen.messages.recent):
                break
            await pilot.pause(0.02)
        said = next(each for each in screen.messages.recent if "does not answer" in each.text)
        copy = screen.desk.saver.state.recovery
        assert said.weight == "error" and copy is not None and str(copy) in said.text
        assert '"15"' in copy.read_text("utf-8")
        gate.set()
        assert screen.desk.saver.wait(5.0)
        assert not copy.exists()
