"""Earlier versions: kept at each save, thinned by day, compared, restored, and refused when altered."""

from __future__ import annotations

import errno
import os
import tomllib
from contextlib import suppress
from datetime import UTC, datetime, timedelta

import pytest

from afocal.core.errors import FileRefusal
from afocal.core.paths import history_dir
from afocal.core.store.files import SaveFailed
from afocal.core.store.filesystem import FileSystem
from afocal.core.store.history import (
    LAST_NAME,
    compare,
    hold_present,
    keep_text,
    read_version,
    restore,
    save_case,
    thin,
    versions,
)


def saved(path, *texts: str):
    """Save these texts one after the other; the stamp of the last one."""
    stamp = None
    for text in texts:
        stamp = save_case(path, text, stamp).stamp
    return stamp


def replaced(path, text: str, now: datetime, for_good: bool = False) -> None:
    """Replace the case by another text at a chosen moment, the version before going into the history."""
    file_it = hold_present(path, now=now, for_good=for_good)
    path.unlink()
    path.write_text(text, encoding="utf-8")
    file_it()


def test_the_version_before_the_last_save_is_always_there(tmp_path):
    """Ten saves in a second: the last good version is the ninth, and the first is kept by its date."""
    path = tmp_path / "P1.toml"
    saved(path, *(f"n = {number}" for number in range(10)))
    assert (history_dir(path) / LAST_NAME).read_text(encoding="utf-8") == "n = 8"
    assert [read_version(each) for each in versions(path)] == ["n = 8", "n = 0"]


def test_a_save_without_a_change_does_not_push_out_the_last_good_version(tmp_path):
    """Saving the same text again leaves the earlier version what it was."""
    path = tmp_path / "P1.toml"
    saved(path, "n = 1", "n = 2", "n = 2", "n = 2")
    assert (history_dir(path) / LAST_NAME).read_text(encoding="utf-8") == "n = 1"


def test_signing_keeps_a_version_for_good_and_interval_thins_the_rest(tmp_path):
    """A version asked for is kept however old it gets; others stay for two days, then one a day."""
    path = tmp_path / "P1.toml"
    saved(path, "n = 0")
    start = datetime(2024, 5, 1, 8, 0, tzinfo=UTC)
    for hour in range(24 * 10):
        replaced(path, f"n = {hour}", start + timedelta(hours=hour), for_good=hour == 5)
    now = start + timedelta(hours=24 * 10 - 1)
    dated = [each for each in versions(path) if each.digest]
    recent = [each for each in dated if now - each.replaced_at <= timedelta(days=2)]
    older = [each for each in dated if each not in recent]
    assert len(recent) == 49
    assert sum(each.is_kept for each in older) == 1
    days = [each.replaced_at.date() for each in older if not each.is_kept]
    assert len(days) == len(set(days)) == 9
    assert thin(path, now=now) == []


def test_versions_within_minutes_are_not_all_kept(tmp_path):
    """Within five minutes one dated version is enough; the last good one is kept beside it."""
    path = tmp_path / "P1.toml"
    saved(path, "n = 0")
    start = datetime(2024, 5, 1, 8, 0, tzinfo=UTC)
    for minute in range(20):
        replaced(path, f"n = {minute + 1}", start + timedelta(minutes=minute))
    assert [read_version(each) for each in versions(path) if each.digest] == [
        "n = 15",
        "n = 10",
        "n = 5",
        "n = 0",
    ]


def test_a_clock_set_back_does_not_stop_the_history(tmp_path):
    """A version dated in the future does not keep new ones from being kept."""
    path = tmp_path / "P1.toml"
    saved(path, "n = 0")
    start = datetime(2024, 5, 1, tzinfo=UTC)
    replaced(path, "n = 1", start + timedelta(days=365))
    replaced(path, "n = 2", start)
    assert len([each for each in versions(path) if each.digest]) == 2


def test_compare_lists_what_changed_since(tmp_path):
    """Key by key from the version to the present case."""
    path = tmp_path / "P1.toml"
    saved(path, "power = 2\nnote = 'a'", "power = 3\nnote = 'a'")
    changes = compare(versions(path)[0], tomllib.loads(path.read_text(encoding="utf-8")), tomllib.loads)
    assert [(each.key, each.before, each.after) for each in changes] == [("power", 2, 3)]


def test_restoring_keeps_what_it_replaces(tmp_path):
    """The restored version is the present one, and the one before can be restored again."""
    path = tmp_path / "P1.toml"
    stamp = saved(path, "n = 1", "n = 2")
    text, done = restore(path, versions(path)[-1], stamp)
    assert text == path.read_text(encoding="utf-8") == "n = 1"
    kept = next(each for each in versions(path) if each.is_kept)
    assert read_version(kept) == "n = 2"
    restore(path, kept, done.stamp)
    assert path.read_text(encoding="utf-8") == "n = 2"


def test_an_altered_version_is_refused_by_name(tmp_path):
    """The digest in the name tells that somebody edited an earlier version."""
    path = tmp_path / "P1.toml"
    saved(path, "n = 1", "n = 2")
    version = next(each for each in versions(path) if each.digest)
    version.path.write_text("n = 99", encoding="utf-8")
    with pytest.raises(FileRefusal, match="altered since it was kept"):
        read_version(version)


def test_an_editor_that_writes_in_place_cannot_alter_an_earlier_version(tmp_path):
    """Versions share no content with the living case file, although they are made without copying."""
    path = tmp_path / "P1.toml"
    saved(path, "n = 1", "n = 2")
    with open(path, "r+", encoding="utf-8") as stream:
        stream.write("n = 7")
    assert [read_version(each) for each in versions(path)] == ["n = 1"]


def test_a_file_system_without_hard_links_gets_copies(tmp_path):
    """On a memory card or an old share the versions are there as well."""

    class NoLinks(FileSystem):
        def link(self, source, target):
            raise OSError(errno.EPERM, "no links")

    path = tmp_path / "P1.toml"
    stamp = save_case(path, "n = 1", None, fs=NoLinks()).stamp
    stamp = save_case(path, "n = 2", stamp, fs=NoLinks()).stamp
    save_case(path, "n = 3", stamp, fs=NoLinks())
    assert [read_version(each) for each in versions(path)] == ["n = 2", "n = 1"]


@pytest.mark.skipif(os.name == "nt", reason="links as on POSIX")
def test_a_history_folder_that_is_a_link_is_not_followed(tmp_path):
    """A prepared link cannot lead versions elsewhere; the save itself goes on and says so."""
    path = tmp_path / "cases" / "P1.toml"
    stamp = saved(path, "n = 1")
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    (path.parent / ".history").symlink_to(elsewhere)
    done = save_case(path, "n = 2", stamp)
    assert "the earlier version could not be kept" in done.warning
    assert path.read_text(encoding="utf-8") == "n = 2"
    assert list(elsewhere.iterdir()) == []
    with pytest.raises(FileRefusal, match="stands where"):
        versions(path)


def test_strange_names_in_the_history_are_left_alone(tmp_path):
    """What has no name of a version is neither listed nor thinned."""
    path = tmp_path / "P1.toml"
    saved(path, "n = 1", "n = 2")
    for name in ("notes.toml", "20249999T999999000000Z-0123456789abcdef.toml", "20240101.toml"):
        (history_dir(path) / name).write_text("x", encoding="utf-8")
    assert [read_version(each) for each in versions(path)] == ["n = 1"]
    thin(path, now=datetime(2124, 1, 1, tzinfo=UTC))
    assert (history_dir(path) / "notes.toml").exists()


def test_no_history_yet_is_an_empty_list(tmp_path):
    """A case that was saved once has no earlier version."""
    saved(tmp_path / "P1.toml", "n = 1")
    assert versions(tmp_path / "P1.toml") == []


def test_a_failed_save_leaves_no_version_that_an_editor_could_alter(tmp_path):
    """When the replacement does not happen, the living file has no second name in the list of versions."""
    path = tmp_path / "P1.toml"
    stamp = saved(path, "n = 1", "n = 2")

    class NoReplace(FileSystem):
        def replace(self, source, target):
            if target == path:
                raise OSError(errno.EIO, "failed")
            super().replace(source, target)

    with pytest.raises(SaveFailed):
        save_case(path, "n = 3", stamp, fs=NoReplace())
    with open(path, "r+", encoding="utf-8") as stream:
        stream.write("n = 7")
    assert [read_version(each) for each in versions(path)] == ["n = 1"]


def test_a_text_that_others_put_aside_is_kept_once(tmp_path):
    """Not the present file: what this room saved before; alike texts are one version, and it reads back."""
    path = tmp_path / "P1.toml"
    save_case(path, "theirs", None)
    for _ in range(3):
        keep_text(path, "ours")
    (version,) = versions(path)
    assert read_version(version) == "ours" and not version.is_kept
    assert path.read_text(encoding="utf-8") == "theirs"


def test_keeping_a_text_fails_whole(tmp_path, failing_file_system):
    """Whichever call fails: the version is there and right, or not there, and no piece of it stays."""
    number = 0
    while True:
        number += 1
        path = tmp_path / str(number) / "P1.toml"
        save_case(path, "theirs", None)
        fs = failing_file_system(number)
        with suppress(OSError, FileRefusal):
            keep_text(path, "ours", fs=fs)
        assert [read_version(each) for each in versions(path)] in ([], ["ours"])
        assert not list(path.parent.rglob("*.afocal-tmp"))
        if len(fs.calls) < number:
            break
    assert number > 6
