"""Three rooms at one case, a change that comes in while saving fails, and undo and redo round what comes in."""

from __future__ import annotations

import errno
import os
import random
import time
from collections.abc import Iterator
from datetime import date
from pathlib import Path

import pytest

from afocal.core.case import Case
from afocal.core.case_file import dumps_case, loads_case
from afocal.core.desk import Desk
from afocal.core.store.filesystem import FileSystem
from afocal.core.workspace import Workspace
from afocal.tui.rooms import Theirs, their_version

DAY = date(2026, 11, 25)
OWN = ("right.pupil", "left.pupil", "face.vertex_distance")


@pytest.fixture
def workspace(tmp_path: Path) -> Workspace:
    """A folder with one case."""
    made = Workspace(tmp_path / "cases", tmp_path / "stock.toml", tmp_path / "settings.toml")
    desk = Desk(made.new_case("T-1", DAY), recovery_folder=tmp_path / "recovery")
    desk.accept(desk.case.with_typed("face.pd", "62"))
    assert desk.close().is_safe
    return made


@pytest.fixture
def rooms(workspace: Workspace, tmp_path: Path) -> Iterator[list[Desk]]:
    """The case open three times."""
    made = [Desk(workspace.open_case("T-1"), recovery_folder=tmp_path / f"recovery-{n}") for n in range(3)]
    yield made
    for desk in made:
        desk.close()


def settle(desk: Desk) -> None:
    """What the screen does until everything is saved; a value that both changed is kept twice."""
    for _ in range(20):
        desk.saver.wait(10)
        if desk.saver.state.is_safe:
            return
        assert desk.saver.state.kind == "changed"
        look(desk)
    raise AssertionError("it never came to rest")


def look(desk: Desk) -> None:
    """Take in what the file has."""
    found = their_version(desk)
    assert isinstance(found, Theirs), found
    found = found.apart or found
    found = found if found.is_clean else found.decided({})
    desk.replace(found.case, found.their_case, found.stamp)


def typed(case: Case, path: str) -> str:
    """What stands in a field."""
    return case.visit.findings[path].typed if path in case.visit.findings else ""


def on_disk(desk: Desk) -> Case:
    """The file."""
    return loads_case(desk.path.read_text("utf-8"), desk.path)


@pytest.mark.parametrize("seed", range(6))
def test_three_rooms_lose_nothing_of_each_other(rooms: list[Desk], seed: int) -> None:
    """Typing, looking, undoing and redoing in any order: in the end all three show one case with the last of each."""
    chance = random.Random(seed)
    last: dict[str, str] = {}
    for step in range(60):
        number = chance.randrange(3)
        desk, path = rooms[number], OWN[number]
        kind = chance.randrange(6)
        if kind < 3:
            desk.accept(desk.case.with_typed(path, str(10 + step / 5) if number == 2 else str(2 + step / 10)))
            settle(desk)
        elif kind == 3:
            look(desk)
            settle(desk)
        elif desk.undo() if kind == 4 else desk.redo():
            settle(desk)
        last[path] = typed(desk.case, path)
    for desk in (*rooms, *rooms):
        look(desk)
        settle(desk)
    assert rooms[0].case == rooms[1].case == rooms[2].case == on_disk(rooms[0])
    assert {path: typed(rooms[0].case, path) for path in last} == last
    assert "set_aside" not in rooms[0].case.extra


class Full(FileSystem):
    """A disk that is full for the temporary files of the case folder while ``is_full``."""

    is_full = False

    def open_new(self, path: Path) -> int:
        if self.is_full and path.parent.name == "cases" and path.suffix == ".afocal-tmp":
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        return super().open_new(path)


def test_a_change_that_comes_in_while_saving_fails_and_is_undone_and_redone(
    workspace: Workspace, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Theirs is taken in while ours cannot be written; undo and redo go on; once there is room all of it is on disk."""
    monkeypatch.setattr("afocal.core.store.saver.FIRST_RETRY_S", 0.01)
    fs = Full()
    desk = Desk(workspace.open_case("T-1"), recovery_folder=tmp_path / "recovery", fs=fs)
    fs.is_full = True
    desk.accept(desk.case.with_typed("right.pupil", "3"))
    desk.accept(desk.case.with_typed("face.vertex_distance", "14"))
    desk.saver.wait(10)
    assert desk.saver.state.kind == "failed"
    desk.path.write_text(dumps_case(on_disk(desk).with_typed("left.pupil", "4")), "utf-8")
    look(desk)
    desk.saver.wait(10)
    assert [typed(desk.case, path) for path in OWN] == ["3", "4", "14"]
    assert desk.undo() and [typed(desk.case, path) for path in OWN] == ["3", "4", ""]
    assert desk.redo() and [typed(desk.case, path) for path in OWN] == ["3", "4", "14"]
    assert not desk.saver.state.is_safe
    copy = next(iter((tmp_path / "recovery").glob("*.recovery")))
    fs.is_full = False
    until = time.monotonic() + 20
    while not desk.saver.state.is_safe and time.monotonic() < until:
        desk.saver.retry()
        desk.saver.wait(0.05)
    assert [typed(on_disk(desk), path) for path in OWN] == ["3", "4", "14"]
    assert desk.close().is_safe and not copy.exists()


@pytest.mark.parametrize("moment", [0, 1, 4_000_000_000])
def test_clocks_that_disagree_hide_no_change(rooms: list[Desk], moment: int) -> None:
    """A file from long ago or from the future, of the same length: it is the content that counts."""
    one, other = rooms[:2]
    one.accept(one.case.with_typed("right.pupil", "3"))
    settle(one)
    text = one.path.read_text("utf-8")
    assert 'pupil = "3"' in text
    one.path.write_text(text.replace('pd = "62"', 'pd = "64"'), "utf-8")
    os.utime(one.path, (moment, moment))
    other.accept(other.case.with_typed("left.pupil", "4"))
    settle(other)
    case = on_disk(other)
    assert [typed(case, path) for path in ("face.pd", "right.pupil", "left.pupil")] == ["64", "3", "4"]
