"""The lock round a save: who waits, what a crash leaves, and who may break it."""

from __future__ import annotations

import os
import subprocess
import sys
import threading
import time

import pytest

from afocal.core.store import locks
from afocal.core.store.files import SaveFailed, save_text
from afocal.core.store.locks import LockBusy, lock_path, machine_name, save_lock


def foreign_lock(path, machine: str, pid: int) -> None:
    lock_path(path).write_text(f"{machine} {pid} otherprocess 00ff\n", encoding="utf-8")


def test_a_held_lock_keeps_others_waiting_and_is_removed(tmp_path):
    """While one holds it another gives up after its patience; afterwards nothing is left in the folder."""
    path = tmp_path / "P1.toml"
    with save_lock(path) as lock:
        assert lock.still_ours()
        with pytest.raises(LockBusy), save_lock(path, wait_s=0.05):
            pass
    assert list(tmp_path.iterdir()) == []


def test_threads_exclude_each_other(tmp_path):
    """Eight threads add to one counter under the lock, and no addition is lost."""
    path, count = tmp_path / "P1.toml", [0]

    def add() -> None:
        for _ in range(10):
            with save_lock(path):
                seen = count[0]
                time.sleep(0.0001)
                count[0] = seen + 1

    threads = [threading.Thread(target=add) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert count[0] == 80


@pytest.mark.skipif(
    os.name == "nt", reason="Windows cannot be asked whether a process runs without ending it"
)
def test_the_lock_of_a_process_that_ended_here_is_broken_at_once(tmp_path):
    """A crash of this machine's own program does not delay the next save."""
    ended = subprocess.Popen([sys.executable, "-c", ""])
    ended.wait()
    path = tmp_path / "P1.toml"
    foreign_lock(path, machine_name(), ended.pid)
    started = time.monotonic()
    save_text(path, "a", None)
    assert time.monotonic() - started < 1


def test_a_lock_of_another_machine_is_broken_only_when_it_stays_unchanged(tmp_path, monkeypatch):
    """A living colleague is waited for; a lock that nobody touches is taken over, without asking any clock."""
    path = tmp_path / "P1.toml"
    foreign_lock(path, "room-2", 1)
    with pytest.raises(SaveFailed, match="another program is saving"):
        save_text(path, "a", None, wait_s=0.05)
    assert lock_path(path).exists()
    monkeypatch.setattr(locks, "STALE_S", 0.1)
    save_text(path, "a", None)
    assert sorted(each.name for each in tmp_path.iterdir()) == ["P1.toml"]


def test_an_empty_lock_of_a_crash_is_broken_soon(tmp_path):
    """Killed between making the lock and writing its owner: the next save waits half a second at most or so."""
    path = tmp_path / "P1.toml"
    lock_path(path).touch()
    save_text(path, "a", None, wait_s=3)
    assert not lock_path(path).exists()


def test_a_left_breaker_does_not_block_for_ever(tmp_path, monkeypatch):
    """A crash in the middle of breaking a lock is got over too."""
    monkeypatch.setattr(locks, "STALE_S", 0.05)
    path = tmp_path / "P1.toml"
    foreign_lock(path, "room-2", 1)
    lock_path(path).with_name(lock_path(path).name + ".break").touch()
    save_text(path, "a", None)
    assert sorted(each.name for each in tmp_path.iterdir()) == ["P1.toml"]


def test_a_holder_whose_lock_was_broken_does_not_overwrite(tmp_path):
    """Suspended during a save and passed by somebody else: the save gives up instead of replacing."""
    path = tmp_path / "P1.toml"
    stamp = save_text(path, "old", None).stamp

    def passed_by(path, fs):
        lock_path(path).write_text("room-2 1 otherprocess 11ee\n", encoding="utf-8")
        return lambda: None

    with pytest.raises(SaveFailed, match="another program went on"):
        save_text(path, "mine", stamp, keep=passed_by)
    assert path.read_text(encoding="utf-8") == "old"
    assert "11ee" in lock_path(path).read_text(encoding="utf-8")
