"""The background saver: durable before it says so, coalescing, stubborn on failure, careful on foreign changes."""

from __future__ import annotations

import errno
import threading
import time

import pytest

from afocal.core.store.filesystem import FileSystem
from afocal.core.store.history import versions
from afocal.core.store.reading import read_text
from afocal.core.store.recovery import find
from afocal.core.store.saver import Saver


class SwitchedFileSystem(FileSystem):
    """Begins a save in the case folder only while ``works``; counts them."""

    def __init__(self) -> None:
        self.works = True
        self.saves = 0
        self.gate: threading.Event | None = None

    def open_new(self, path):
        if path.suffix == ".afocal-tmp" and path.parent.name == "cases":
            self.saves += 1
            if self.gate:
                self.gate.wait(5)
            if not self.works:
                raise OSError(errno.ENOSPC, "full")
        return super().open_new(path)


@pytest.fixture
def fs() -> SwitchedFileSystem:
    return SwitchedFileSystem()


@pytest.fixture
def path(tmp_path):
    return tmp_path / "cases" / "P1.toml"


@pytest.fixture
def saver(tmp_path, path, fs):
    saver = Saver(path, None, tmp_path / "recovery", fs=fs, first_retry_s=0.02)
    yield saver
    saver.close(5)


def until(condition) -> None:
    deadline = time.monotonic() + 5
    while not condition():
        assert time.monotonic() < deadline, "it did not happen within 5 s"
        time.sleep(0.002)


def test_an_accepted_value_is_on_disk_when_saved_is_said(saver, path):
    """The state is idle, then saved with a time; the file holds the value."""
    assert saver.state.kind == "idle"
    state = saver.put("one", patience_s=5)
    assert (state.kind, state.is_safe) == ("saved", True)
    assert state.at is not None
    assert path.read_text(encoding="utf-8") == "one"
    assert saver.stamp == read_text(path).stamp


def test_values_that_arrive_during_a_save_are_saved_together(saver, path, fs):
    """A slow disk makes fewer saves, never an older value; "saved" is not said in between."""
    fs.gate = threading.Event()
    saver.put("0")
    until(lambda: fs.saves == 1)
    for number in range(1, 50):
        assert saver.put(str(number)).kind == "saving"
    assert not saver.wait(0.01)
    fs.gate.set()
    assert saver.wait(5)
    assert path.read_text(encoding="utf-8") == "49"
    assert fs.saves == 2


def test_handing_over_does_not_wait_for_the_disk(saver, fs):
    """A disk that hangs does not hold up a key, beyond the patience that was asked for."""
    fs.gate = threading.Event()
    started = time.monotonic()
    assert saver.put("one", patience_s=0.02).kind == "saving"
    assert time.monotonic() - started < 0.5
    fs.gate.set()


def test_a_failed_save_says_why_keeps_a_copy_and_is_tried_again_until_it_works(saver, path, fs, tmp_path):
    """Disk full: the reason stays, the newest value is in the recovery folder; later it is saved and the copy
    goes."""
    saver.put("one", patience_s=5)
    fs.works = False
    saver.put("two", patience_s=5)
    state = saver.put("three", patience_s=5)
    assert (state.kind, state.is_safe) == ("failed", False)
    assert "the disk is full" in state.reason
    assert state.recovery is not None
    assert state.recovery.read_bytes().endswith(b"\nthree")
    saves = fs.saves
    until(lambda: fs.saves > saves + 2)
    assert saver.state.kind == "failed"
    fs.works = True
    until(lambda: saver.state.kind == "saved")
    assert path.read_text(encoding="utf-8") == "three"
    assert list((tmp_path / "recovery").iterdir()) == []


def test_a_failure_at_any_call_ends_saved_without_a_false_foreign_change(tmp_path, failing_file_system):
    """Whichever single call fails, even after the replacement happened, the saver gets there by itself."""
    number = 0
    while True:
        number += 1
        path = tmp_path / str(number) / "P1.toml"
        saver = Saver(path, None, tmp_path / "recovery", first_retry_s=0.001)
        assert saver.put("old", patience_s=5).kind == "saved"
        saver._fs = fs = failing_file_system(number)
        saver.put("new", patience_s=5)
        saver.put("newer", patience_s=5)
        until(lambda saver=saver: saver.state.kind == "saved")
        assert saver.close().kind == "saved"
        assert path.read_text(encoding="utf-8") == "newer"
        if len(fs.calls) < number:
            break
    assert number > 20


def test_a_foreign_change_is_reported_and_never_overwritten(saver, path):
    """From then on nothing is written to the file, new values go to the copy, until the user has decided."""
    saver.put("mine", patience_s=5)
    path.write_text("theirs", encoding="utf-8")
    state = saver.put("mine 2", patience_s=5)
    assert state.kind == "changed"
    assert state.found == read_text(path).stamp
    state = saver.put("mine 3", patience_s=5)
    assert state.kind == "changed"
    assert state.recovery is not None
    assert state.recovery.read_bytes().endswith(b"\nmine 3")
    assert path.read_text(encoding="utf-8") == "theirs"
    saver.rebase("mine and theirs", state.found)
    assert saver.wait(5)
    assert path.read_text(encoding="utf-8") == "mine and theirs"
    assert not state.recovery.exists()
    assert any(version.is_kept for version in versions(path))


def test_a_second_foreign_change_is_noticed_as_well(saver, path):
    """Between the question and the answer the file changed again: asked again."""
    saver.put("mine", patience_s=5)
    path.write_text("theirs", encoding="utf-8")
    state = saver.put("mine 2", patience_s=5)
    path.write_text("theirs 2", encoding="utf-8")
    saver.rebase("merged", state.found)
    until(lambda: saver.state.kind == "changed")
    assert path.read_text(encoding="utf-8") == "theirs 2"


def test_closing_finishes_the_last_save(tmp_path, path):
    """Leaving right after the last key loses nothing, and the saver may be used again."""
    saver = Saver(path, None, tmp_path / "recovery")
    for number in range(20):
        saver.put(str(number))
    assert saver.close(5).kind == "saved"
    assert path.read_text(encoding="utf-8") == "19"
    saver.put("more")
    assert saver.close(5).kind == "saved"
    assert path.read_text(encoding="utf-8") == "more"


def test_closing_without_success_leaves_a_copy_for_the_next_start(tmp_path, path, fs, monkeypatch):
    """Leaving while the disk is full: the next start finds the value and what it would change."""
    saver = Saver(path, None, tmp_path / "recovery", fs=fs)
    fs.works = False
    saver.put("code = 'P1'\n", patience_s=5)
    assert saver.close(5).kind == "failed"
    assert not path.exists()
    monkeypatch.setattr("afocal.core.store.recovery.PROCESS_TOKEN", "the next run")
    found = find(tmp_path / "recovery", lambda text: __import__("tomllib").loads(text))
    assert [(each.key, each.after) for each in found.offers[0].differences] == [("code", "P1")]


def test_no_place_for_a_copy_is_said_too(tmp_path, path, failing_file_system):
    """When nothing can be written anywhere, the state says both, and the value stays in memory."""
    saver = Saver(path, None, tmp_path / "recovery", fs=failing_file_system(1, errno.EROFS, for_ever=True))
    state = saver.put("one", patience_s=5)
    assert "no copy could be kept elsewhere" in state.reason
    assert "read-only" in state.reason
    saver.close(5)


def test_a_listener_that_fails_does_not_end_the_saving(tmp_path, path):
    """An error in the list's update is kept for the report; the next values are saved all the same."""

    def fails(path, text) -> None:
        raise ValueError(text)

    saver = Saver(path, None, tmp_path / "recovery", after_save=fails)
    saver.put("one", patience_s=5)
    saver.put("two", patience_s=5)
    assert saver.close(5).kind == "saved"
    assert isinstance(saver.error, ValueError)
    assert path.read_text(encoding="utf-8") == "two"


def test_listeners_hear_of_each_save(tmp_path, path):
    """The list's index and the screen are told what was saved."""
    states, texts = [], []
    saver = Saver(
        path,
        None,
        tmp_path / "recovery",
        on_change=lambda state: states.append(state.kind),
        after_save=lambda path, text: texts.append(text),
    )
    saver.put("one", patience_s=5)
    saver.put("two", patience_s=5)
    saver.close(5)
    assert states == ["saved", "saved"]
    assert texts == ["one", "two"]


def test_a_fault_of_the_program_is_a_failed_save_not_a_dead_saver(tmp_path, path, fs):
    """An error that nobody thought of is reported, and saving goes on when it is over."""
    saver = Saver(path, None, tmp_path / "recovery", fs=fs, first_retry_s=0.02)
    fs.lstat = lambda each: 1 / 0  # type: ignore[method-assign, assignment]
    state = saver.put("one", patience_s=5)
    assert state.kind == "failed"
    assert "ZeroDivisionError" in state.reason
    assert isinstance(saver.error, ZeroDivisionError)
    del fs.lstat
    until(lambda: saver.state.kind == "saved")
    saver.close(5)
    assert path.read_text(encoding="utf-8") == "one"


def test_a_save_that_hangs_is_copied_elsewhere_newest_value_first(saver, fs, tmp_path):
    """A share that does not answer: no failure is ever reported by the system, the copy is made all the same, and
    closing does not wait for ever. When it answers after all, the copy goes."""
    fs.gate = threading.Event()
    saver.put("one")
    until(lambda: fs.saves == 1)
    saver.put("two")
    assert saver.look_after(60).recovery is None
    state = saver.look_after(0.0)
    assert (state.kind, state.is_safe) == ("saving", False) and "does not answer" in state.reason
    assert state.recovery is not None and state.recovery.read_bytes().endswith(b"\ntwo")
    saver.put("three")
    assert saver.state.recovery == state.recovery
    closed = saver.close(0.05)
    assert not closed.is_safe and state.recovery.read_bytes().endswith(b"\nthree")
    fs.gate.set()
    until(lambda: saver.state.kind == "saved")
    assert saver.path.read_text(encoding="utf-8") == "three"
    assert list((tmp_path / "recovery").iterdir()) == []


def test_a_decision_made_during_a_try_is_not_undone_by_its_end(saver, path, fs):
    """The try of the older text ends as "changed elsewhere" after the decision: the decided text is saved, nothing is
    asked again, and no copy is left."""
    saver.put("mine", patience_s=5)
    path.write_text("theirs", encoding="utf-8")
    told = []
    saver._on_change = lambda state: told.append(state.kind)
    real = fs.lstat
    decided = threading.Event()

    def late(each):
        if each == path and not decided.is_set():
            saver.rebase("mine and theirs", read_text(path).stamp)
            decided.set()
        return real(each)

    fs.lstat = late
    saver.put("mine 2")
    assert saver.wait(5)
    assert path.read_text(encoding="utf-8") == "mine and theirs"
    assert told == ["saved"]
    assert not list(saver._recovery_folder.glob("*"))
