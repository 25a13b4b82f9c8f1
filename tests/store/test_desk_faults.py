"""The open case on a file system that fails: the state says so, nothing is lost, the next start offers it, once."""

from __future__ import annotations

import errno
from datetime import date
from pathlib import Path

import pytest

from afocal.core.case_file import case_data, dumps_case, loads_case
from afocal.core.desk import Desk
from afocal.core.store import recovery
from afocal.core.store.files import save_text
from afocal.core.store.recovery import MOST_TRIES, begin, discard_copy, find
from afocal.core.workspace import Workspace

DAY = date(2026, 11, 25)


def workspace(folder: Path) -> Workspace:
    """A folder with a case in which the PD is 62."""
    made = Workspace(folder / "cases", folder / "stock.toml", folder / "settings.toml")
    desk = Desk(made.new_case("T-1", DAY), recovery_folder=folder / "recovery")
    desk.accept(desk.case.with_typed("face.pd", "62"))
    assert desk.close().is_safe
    return made


def load(text: str):
    """A case as the offers compare it."""
    return case_data(loads_case(text), readings=False)


def typed(path: Path) -> str:
    """The PD in the file."""
    return loads_case(path.read_text("utf-8"), path).visit.findings["face.pd"].typed


def test_the_nth_call_fails_and_the_state_tells_the_truth(tmp_path, failing_file_system, monkeypatch) -> None:
    """For every n: "saved" means that the file has the value; else it is in a copy that the next start offers."""
    monkeypatch.setattr("afocal.core.store.saver.FIRST_RETRY_S", 30.0)
    number = unsaved = 0
    while True:
        number += 1
        made = workspace(tmp_path / str(number))
        fs = failing_file_system(number, errno.EIO, for_ever=False)
        desk = Desk(made.open_case("T-1"), recovery_folder=tmp_path / str(number) / "recovery", fs=fs)
        desk.accept(desk.case.with_typed("face.pd", "64"))
        desk.saver.wait(10)
        state = desk.saver.state
        assert state.kind in ("saved", "failed"), state
        if state.kind == "saved":
            assert typed(desk.path) == "64"
        else:
            unsaved += 1
            assert state.reason and state.recovery is not None
            assert typed(desk.path) in ("62", "64")
        assert desk.case.visit.findings["face.pd"].typed == "64"
        assert desk.close().is_safe, "tried again when it is closed"
        assert typed(desk.path) == "64"
        assert not list((tmp_path / str(number) / "recovery").glob("*.recovery"))
        if len(fs.calls) < number:
            break
    assert number > 20 and unsaved > 8


@pytest.mark.parametrize("room", [0, 100, 250])
def test_a_full_disk_is_told_and_the_copy_is_offered_at_the_next_start(
    tmp_path, full_disk, monkeypatch, room
) -> None:
    """Closed without room: the file is the old one; the copy, written elsewhere, is offered, taken, and then gone."""
    made = workspace(tmp_path)

    class FullCases(full_disk):
        """Full where the cases are, not where the copies are."""

        def open_new(self, path):
            self.elsewhere = "recovery" in path.parts
            return super().open_new(path)

        def write(self, handle, data):
            if self.elsewhere:
                before, self.room = self.room, len(data)
                try:
                    return super().write(handle, data)
                finally:
                    self.room = before
            return super().write(handle, data)

    desk = Desk(made.open_case("T-1"), recovery_folder=tmp_path / "recovery", fs=FullCases(room))
    desk.accept(desk.case.with_typed("face.pd", "64").with_typed("plan.next_step", "x" * 100))
    desk.saver.wait(10)
    assert desk.saver.state.kind == "failed" and "full" in desk.saver.state.reason
    last = desk.close()
    assert not last.is_safe and last.recovery is not None
    assert typed(desk.path) == "62"
    monkeypatch.setattr(recovery, "PROCESS_TOKEN", "next")
    (offer,) = find(tmp_path / "recovery", load).offers
    assert offer.is_based_on_present and "full" in offer.reason
    assert ("62", "64") in [(each.before, each.after) for each in offer.differences]
    save_text(offer.case_path, offer.text, offer.present)
    assert typed(desk.path) == "64"
    assert not find(tmp_path / "recovery", load).offers
    discard_copy(offer.path)


def test_nothing_can_be_written_anywhere_and_that_is_said(tmp_path, full_disk) -> None:
    """No room for the copy either: the state says both, and the case stays on the desk."""
    made = workspace(tmp_path)
    desk = Desk(made.open_case("T-1"), recovery_folder=tmp_path / "recovery", fs=full_disk(0))
    desk.accept(desk.case.with_typed("face.pd", "64"))
    desk.saver.wait(10)
    state = desk.saver.state
    assert state.kind == "failed" and state.recovery is None
    assert "no copy could be kept elsewhere" in state.reason
    assert desk.case.visit.findings["face.pd"].typed == "64"
    desk.close()


def test_an_offer_that_ends_the_program_each_time_is_not_offered_for_ever(
    tmp_path, full_disk, monkeypatch
) -> None:
    """Begun and never ended, at each start: after a few starts it is set aside by name, and its bytes are kept."""
    made = workspace(tmp_path)
    folder = tmp_path / "recovery"
    recovery.keep_copy(
        folder, made.case_path("T-1"), dumped(made, "64"), made.open_case("T-1").stamp, "power"
    )
    monkeypatch.setattr(recovery, "PROCESS_TOKEN", "next")
    for _ in range(MOST_TRIES):
        (offer,) = find(folder, load).offers
        begin(offer)
    found = find(folder, load)
    assert not found.offers and len(found.set_aside) == 1
    assert "not offered again" in str(found.set_aside[0])
    assert found.set_aside[0].path.exists()
    again = find(folder, load)
    assert not again.offers and not again.set_aside


def dumped(made: Workspace, pd: str) -> str:
    """The case with another PD as text."""

    return dumps_case(made.open_case("T-1").case.with_typed("face.pd", pd))
