"""Seeing another's change of the open case, cheaply."""

from __future__ import annotations

import os

from afocal.core.store.files import save_text
from afocal.core.store.filesystem import FileSystem
from afocal.core.store.watch import Watch


def test_another_ones_change_is_seen_and_an_own_save_is_not(tmp_path):
    """Changed with the new stamp; unchanged after one's own save, a touch, or the change being known."""
    path = tmp_path / "P1.toml"
    mine = save_text(path, "one", None).stamp
    watch = Watch(path)
    assert watch.look(mine).kind == "unchanged"
    theirs = save_text(path, "two", mine).stamp
    seen = watch.look(mine)
    assert (seen.kind, seen.stamp) == ("changed", theirs)
    assert watch.look(theirs).kind == "unchanged"
    os.utime(path, (1, 1))
    assert watch.look(theirs).kind == "unchanged"
    path.unlink()
    assert watch.look(theirs).kind == "gone"


def test_a_new_file_under_a_new_case_is_a_change(tmp_path):
    """A case that has no file yet: another room made one of this code."""
    path = tmp_path / "P1.toml"
    watch = Watch(path)
    assert watch.look(None).kind == "unchanged"
    path.write_text("theirs", encoding="utf-8")
    assert watch.look(None).kind == "changed"


def test_out_of_reach_is_told_with_its_reason(tmp_path, failing_file_system):
    """A share that has gone is not taken for a deleted case."""
    path = tmp_path / "P1.toml"
    stamp = save_text(path, "one", None).stamp
    seen = Watch(path, fs=failing_file_system(1)).look(stamp)
    assert (seen.kind, bool(seen.reason)) == ("unreachable", True)
    path.unlink()
    path.mkdir()
    assert Watch(path).look(stamp).kind == "unreachable"


def test_a_look_at_an_unchanged_file_reads_nothing(tmp_path, failing_file_system):
    """One status call a look, so that looking every second costs nothing on a share."""
    path = tmp_path / "P1.toml"
    stamp = save_text(path, "one", None).stamp
    fs = failing_file_system(0)
    watch = Watch(path, fs=fs)
    watch.look(stamp)
    before = len(fs.calls)
    for _ in range(100):
        watch.look(stamp)
    assert fs.calls[before:] == ["lstat"] * 100


def test_a_version_that_looks_alike_is_seen_after_a_while(tmp_path, monkeypatch):
    """Same length, same time, same number, and no change times, as on some shares: the content is read now and then."""
    path = tmp_path / "P1.toml"
    mine = save_text(path, "one", None).stamp
    before = os.lstat(path)
    fs = FileSystem()
    fs.lstat = lambda each: before  # type: ignore[method-assign]
    watch = Watch(path, fs=fs)
    assert watch.look(mine).kind == "unchanged"
    path.write_text("two", encoding="utf-8")
    assert watch.look(mine).kind == "unchanged"
    monkeypatch.setattr("afocal.core.store.watch.READ_EVERY_S", 0.0)
    assert watch.look(mine).kind == "changed"
