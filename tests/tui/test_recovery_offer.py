"""At the start: what could not be saved before is offered as a difference; nothing happens without a decision."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from textual.pilot import Pilot

from afocal.core import paths
from afocal.core.case_file import dumps_case, loads_case
from afocal.core.store import recovery
from afocal.core.store.files import current_stamp
from afocal.core.store.history import save_case
from afocal.core.store.recovery import keep_copy
from afocal.core.workspace import Workspace, demo_workspace
from afocal.tui.app import AfocalApp
from afocal.tui.screens.case_list import CaseListScreen
from afocal.tui.screens.dialogs import Decide


@pytest.fixture
def clinic(own_folders: Path, monkeypatch: pytest.MonkeyPatch) -> Workspace:
    """A clinic with a case whose last values could not be saved; the program that kept the copy has ended."""
    workspace = demo_workspace(own_folders / "clinic")
    path = workspace.case_path("LQ-101")
    case = loads_case(path.read_text("utf-8"), path).with_typed("face.vertex_distance", "14")
    kept = keep_copy(paths.recovery_dir(), path, dumps_case(case), current_stamp(path), "the disk is full")
    monkeypatch.setattr(recovery, "PROCESS_TOKEN", "next")
    assert kept.exists()
    return workspace


async def offered(pilot: Pilot[Any]) -> Decide:
    """The dialog, when it has come."""
    for _ in range(400):
        if isinstance(pilot.app.screen, Decide):
            await pilot.pause(0.05)
            return pilot.app.screen
        await pilot.pause(0.02)
    raise AssertionError("nothing was offered")


DECIDED = [
    ("later", ["enter"], "12", True),
    ("escape is later", ["escape"], "12", True),
    ("take it", ["down", "enter"], "14", False),
    ("drop it", ["down", "down", "enter"], "12", False),
]


@pytest.mark.parametrize(("claim", "keys", "value", "stays"), DECIDED, ids=[case[0] for case in DECIDED])
async def test_offered_and_decided(
    claim: str, keys: list[str], value: str, stays: bool, clinic: Workspace, seen: Callable[[AfocalApp], str]
) -> None:
    """The difference is named by field, the safe answer has the caret; taking saves the case, dropping deletes the copy."""
    app = AfocalApp(clinic)
    async with app.run_test(size=(80, 24)) as pilot:
        await offered(pilot)
        text = " ".join(seen(app).split())
        for words in ("LQ-101", "the disk is full", "Vertex distance", "12 -> 14", "Decide later"):
            assert words in text
        await pilot.press(*keys)
        await pilot.pause(0.1)
        assert isinstance(app.screen, CaseListScreen)
    path = clinic.case_path("LQ-101")
    assert loads_case(path.read_text("utf-8"), path).visit.findings["face.vertex_distance"].typed == value
    copies = [each for each in paths.recovery_dir().iterdir() if "LQ-101" in each.name and each.is_file()]
    assert bool(copies) is stays


async def test_nothing_to_offer_is_no_dialog(own_folders: Path) -> None:
    """Without copies the list stays in front."""
    app = AfocalApp(demo_workspace(own_folders / "clinic"))
    async with app.run_test(size=(80, 24)) as pilot:
        for _ in range(200):
            if app._stock is not None and app._settings is not None:
                break
            await pilot.pause(0.02)
        await pilot.pause(0.1)
        assert isinstance(app.screen, CaseListScreen)


async def test_putting_off_is_no_crash(clinic: Workspace) -> None:
    """Offered and put off at one start after the other: it is offered again each time, never set aside."""
    for _ in range(4):
        app = AfocalApp(clinic)
        async with app.run_test(size=(80, 24)) as pilot:
            await offered(pilot)
            await pilot.press("enter")
            await pilot.pause(0.05)
    assert not (paths.recovery_dir() / "set-aside").exists()


async def test_a_file_changed_since_can_be_put_together_with_the_copy(
    clinic: Workspace, seen: Callable[[AfocalApp], str]
) -> None:
    """One answer more, when the version that both come from is kept: both values are in the file."""
    path = clinic.case_path("LQ-101")
    theirs = loads_case(path.read_text("utf-8"), path).with_typed("left.pupil", "6")
    save_case(path, dumps_case(theirs), current_stamp(path), keep_for_good=True)
    app = AfocalApp(clinic)
    async with app.run_test(size=(80, 24)) as pilot:
        await offered(pilot)
        text = " ".join(seen(app).split())
        assert "changed since by somebody else" in text and "Put both together" in text
        await pilot.press("down", "enter")
        await pilot.pause(0.1)
    case = loads_case(path.read_text("utf-8"), path)
    assert case.visit.findings["left.pupil"].typed == "6"
    assert case.visit.findings["face.vertex_distance"].typed == "14"
