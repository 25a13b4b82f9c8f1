"""Records in the application itself: hostile files, another room's case, altered signatures, saving that fails."""

from __future__ import annotations

import errno
import os
from collections.abc import Awaitable, Callable
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from textual.pilot import Pilot
from waiting import ground, until

from afocal.core.case_file import dumps_case, loads_case
from afocal.core.signing import sign
from afocal.core.store.filesystem import FileSystem
from afocal.core.workspace import Workspace, demo_workspace
from afocal.tui.app import AfocalApp
from afocal.tui.screens.case import CaseScreen

CaseWaiter = Callable[[Pilot[Any]], Awaitable[CaseScreen]]
Seen = Callable[[AfocalApp], str]


def make_link(path: Path) -> None:
    """A link out of the folder."""
    path.symlink_to(path.parent / "LQ-101.toml")


def make_pipe(path: Path) -> None:
    """A pipe, which would hold up whoever opens it."""
    os.mkfifo(path)


def make_large(path: Path) -> None:
    """10 MB."""
    path.write_bytes(b"#" * 10_000_000)


def make_deep(path: Path) -> None:
    """Nested a thousand deep."""
    path.write_text('schema = 1\ncode = "BAD"\nx = ' + "[" * 1000 + "]" * 1000 + "\n", "utf-8")


def make_escape(path: Path) -> None:
    """A value that would clear the screen, written as an escape."""
    path.write_text(
        'schema = 1\ncode = "BAD"\n[[visit]]\ndate = 2026-11-25\nnotes = "\\u001b[2J\\u001b]0;x"\n', "utf-8"
    )


def make_raw_escape(path: Path) -> None:
    """The same as raw bytes."""
    path.write_bytes(b'schema = 1\ncode = "BAD"\nnotes = "\x1b[2J"\n')


def make_markup(path: Path) -> None:
    """A case whose words look like markup: nothing is wrong with it."""
    text = (path.parent / "LQ-101.toml").read_text("utf-8").replace("LQ-101", "BAD")
    path.write_text(text.replace("street name sign", "[red]street[/red] [@click=app.quit]x[/]"), "utf-8")


HOSTILE = [make_link, make_pipe, make_large, make_deep, make_escape, make_raw_escape]


@pytest.fixture
def clinic(own_folders: Path) -> Workspace:
    """The practice cases."""
    return demo_workspace(own_folders / "clinic")


@pytest.mark.skipif(os.name == "nt", reason="links and pipes as on POSIX; the readers are tested everywhere")
@pytest.mark.parametrize("make", HOSTILE, ids=[each.__name__ for each in HOSTILE])
async def test_a_hostile_file_is_one_line_and_the_list_stays_usable(
    make, clinic: Workspace, seen: Seen
) -> None:
    """It is listed as damaged with its reason; opening says one line and changes nothing; its neighbour opens."""
    bad = clinic.cases / "BAD.toml"
    make(bad)
    before = os.lstat(bad)
    app = AfocalApp(clinic)
    async with app.run_test(size=(100, 24)) as pilot:
        await until(pilot, lambda: ground(app).table.row_count == 10)
        await pilot.press(*"bad")
        await until(pilot, lambda: ground(app).table.row_count == 1)
        row = ground(app).table.row(0)
        assert "damaged" in row.cells and "\x1b" not in seen(app)
        assert [cell for cell in row.cells if cell.startswith("! ")]
        count = len(ground(app).messages.recent)
        await pilot.press("enter")
        await pilot.pause(0.05)
        assert app.screen is ground(app)
        (said,) = list(ground(app).messages.recent)[count:]
        assert said.weight == "error" and said.text.startswith("BAD.toml") and said.text.isprintable()
        await pilot.press("escape", *"105", "enter")
        await until(pilot, lambda: isinstance(app.screen, CaseScreen))
    after = os.lstat(bad)
    assert (before.st_mode, before.st_size, before.st_mtime_ns) == (
        after.st_mode,
        after.st_size,
        after.st_mtime_ns,
    )


async def test_words_that_look_like_markup_are_words(
    clinic: Workspace, case_screen: CaseWaiter, seen: Seen
) -> None:
    """In the list and in the open case."""
    make_markup(clinic.cases / "BAD.toml")
    app = AfocalApp(clinic)
    async with app.run_test(size=(110, 24)) as pilot:
        await until(pilot, lambda: ground(app).table.row_count == 10)
        await pilot.press(*"bad")
        await until(pilot, lambda: ground(app).table.row_count == 1)
        assert "[red]street" in seen(app)
        await pilot.press("enter")
        screen = await case_screen(pilot)
        assert screen.desk.case.visit.goals[0].name == "[red]street[/red] [@click=app.quit]x[/]"


def signed_and_altered(clinic: Workspace) -> Path:
    """A signed visit of which a value was changed in an editor."""
    path = clinic.case_path("LQ-103")
    case = loads_case(path.read_text("utf-8"), path)
    plain = case.with_visit(replace(case.visit, choice=None))
    text = dumps_case(sign(plain.with_typed("face.vertex_distance", "12"), "RK", datetime(2027, 1, 5, 17)))
    path.write_text(text.replace('vertex_distance = "12"', 'vertex_distance = "15"', 1), "utf-8")
    return path


@pytest.mark.parametrize("size", [(80, 24), (40, 12)])
async def test_an_altered_signed_visit_is_told_when_the_case_opens(
    size: tuple[int, int], clinic: Workspace, case_screen: CaseWaiter, seen: Seen
) -> None:
    """An error in the line, by visit and signer; the visit is read-only; the file is left as it is."""
    path = signed_and_altered(clinic)
    before = path.read_bytes()
    app = AfocalApp(clinic, "LQ-103")
    async with app.run_test(size=size) as pilot:
        screen = await case_screen(pilot)
        said = [each for each in screen.messages.recent if "changed outside the program" in each.text]
        assert len(said) == 1 and said[0].weight == "error" and "RK" in said[0].text
        assert screen.view.read_only
        screen.pane.go_to("face.pd")
        await pilot.press(*"70", "tab")
        await pilot.pause()
        assert "read-only" in " ".join(each.text for each in screen.messages.recent) + seen(app)
    assert path.read_bytes() == before


async def test_altered_while_it_is_open_is_told_as_well(clinic: Workspace, case_screen: CaseWaiter) -> None:
    """The change comes in from outside, and with it the sentence."""
    path = signed_and_altered(clinic)
    altered = path.read_text("utf-8")
    path.write_text(altered.replace('vertex_distance = "15"', 'vertex_distance = "12"', 1), "utf-8")
    app = AfocalApp(clinic, "LQ-103")
    async with app.run_test(size=(80, 24)) as pilot:
        screen = await case_screen(pilot)
        assert not [each for each in screen.messages.recent if each.weight == "error"]
        path.write_text(altered, "utf-8")
        screen.keeper.look()
        await pilot.pause()
        assert "changed outside the program" in screen.messages.recent[-1].text


async def test_a_save_that_fails_is_said_until_it_works(
    clinic: Workspace, case_screen: CaseWaiter, typing, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The line says so, stays, comes back after other words, and ends with the word that it is saved now."""
    full = {"is": True}
    write = FileSystem.write

    def writing(self: FileSystem, handle: int, data: Any) -> int:
        if full["is"]:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        return write(self, handle, data)

    app = AfocalApp(clinic, "LQ-101")
    async with app.run_test(size=(80, 24)) as pilot:
        screen = await case_screen(pilot)
        monkeypatch.setattr(FileSystem, "write", writing)
        screen.pane.go_to("face.vertex_distance")
        await typing(pilot, ("14", "tab"))
        await until(pilot, lambda: screen.messages.recent[-1].text.startswith("NOT saved"))
        assert "full" in screen.messages.recent[-1].text
        screen.say("Something else.")
        screen.desk.saver.retry()
        await until(pilot, lambda: screen.messages.recent[-1].text.startswith("NOT saved"))
        assert screen.desk.case.visit.findings["face.vertex_distance"].typed == "14"
        full["is"] = False
        screen.desk.saver.retry()
        await until(pilot, lambda: screen.messages.recent[-1].text.startswith("Saved now"))
        path = screen.desk.path
        assert loads_case(path.read_text("utf-8"), path).visit.findings["face.vertex_distance"].typed == "14"
