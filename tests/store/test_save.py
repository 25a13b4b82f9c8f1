"""Saving: what is on disk afterwards, and when a save is refused."""

from __future__ import annotations

import os
import stat

import pytest

from afocal.core.store import files
from afocal.core.store.files import ChangedOnDisk, SaveFailed, current_stamp, save_text
from afocal.core.store.reading import read_text

posix_only = pytest.mark.skipif(os.name == "nt", reason="modes and links as on POSIX")


def test_what_is_saved_is_read_back_with_the_stamp_of_the_save(tmp_path):
    """Text and stamp of a save are what reading gives, in a folder that did not exist before."""
    path = tmp_path / "a" / "b" / "P1.toml"
    saved = save_text(path, "note = 'µ ×'\n", None)
    got = read_text(path)
    assert got.text == "note = 'µ ×'\n"
    assert got.stamp == saved.stamp == current_stamp(path)
    assert [each.name for each in path.parent.iterdir()] == ["P1.toml"]


@posix_only
def test_files_and_folders_are_private(tmp_path):
    """Files are 0600 and new folders 0700, whatever the umask allows to others."""
    old = os.umask(0)
    try:
        path = tmp_path / "new" / "P1.toml"
        save_text(path, "a", None)
    finally:
        os.umask(old)
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert stat.S_IMODE(path.parent.stat().st_mode) == 0o700


def test_a_save_over_a_foreign_change_is_refused_and_leaves_it(tmp_path):
    """What a colleague wrote since the file was read stays, and the refusal says so."""
    path = tmp_path / "P1.toml"
    stamp = save_text(path, "mine", None).stamp
    path.write_text("theirs", encoding="utf-8")
    with pytest.raises(ChangedOnDisk, match="changed by somebody else") as refused:
        save_text(path, "mine again", stamp)
    assert path.read_text(encoding="utf-8") == "theirs"
    assert refused.value.found == current_stamp(path)


def test_a_change_of_the_same_size_and_time_is_noticed(tmp_path):
    """Content decides, not the clock: an edit that keeps size and modification time is still a change."""
    path = tmp_path / "P1.toml"
    stamp = save_text(path, "power = 2", None).stamp
    path.write_text("power = 4", encoding="utf-8")
    os.utime(path, ns=(stamp.mtime_ns, stamp.mtime_ns))
    with pytest.raises(ChangedOnDisk):
        save_text(path, "power = 3", stamp)


def test_a_file_that_was_only_touched_is_unchanged(tmp_path):
    """A synchroniser that sets another time does not stop a save."""
    path = tmp_path / "P1.toml"
    stamp = save_text(path, "one", None).stamp
    os.utime(path, (1, 1))
    save_text(path, "two", stamp)
    assert path.read_text(encoding="utf-8") == "two"


def test_a_removed_file_and_a_taken_name_are_both_refused(tmp_path):
    """A case that vanished is not silently made again; a new case never replaces an existing one."""
    path = tmp_path / "P1.toml"
    stamp = save_text(path, "one", None).stamp
    with pytest.raises(ChangedOnDisk, match="made meanwhile"):
        save_text(path, "another patient", None)
    path.unlink()
    with pytest.raises(ChangedOnDisk, match="removed or renamed"):
        save_text(path, "two", stamp)
    assert not path.exists()


def test_an_own_earlier_try_is_no_foreign_change(tmp_path):
    """A replacement whose success was not reported is recognised by its digest."""
    path = tmp_path / "P1.toml"
    stamp = save_text(path, "one", None).stamp
    path.write_text("two", encoding="utf-8")
    save_text(path, "three", stamp, own_digests={files.digest_of(b"two")})
    assert path.read_text(encoding="utf-8") == "three"


@posix_only
@pytest.mark.parametrize(
    "make", [lambda p: p.symlink_to(p.parent / "elsewhere"), lambda p: os.mkfifo(p), lambda p: p.mkdir()]
)
def test_nothing_is_written_through_a_link_a_pipe_or_a_folder(tmp_path, make):
    """Only an ordinary file is replaced; what else has the name stays, and is named."""
    path = tmp_path / "P1.toml"
    make(path)
    before = path.lstat().st_mode
    with pytest.raises(SaveFailed, match="stands where the file belongs"):
        save_text(path, "one", None)
    assert path.lstat().st_mode == before
    assert not (tmp_path / "elsewhere").exists()


def test_a_file_marked_read_only_is_left_alone(tmp_path):
    """A replace would not need the permission; somebody who took it away meant it."""
    path = tmp_path / "P1.toml"
    stamp = save_text(path, "one", None).stamp
    path.chmod(0o444)
    with pytest.raises(SaveFailed, match="marked read-only"):
        save_text(path, "two", stamp)
    path.chmod(0o600)
    assert path.read_text(encoding="utf-8") == "one"


@pytest.mark.parametrize("text", ["\ud800", "x" * (files.MAX_BYTES + 1)])
def test_what_could_not_be_read_again_is_not_written(tmp_path, text):
    """A half character and a text beyond the reading limit are refused before anything is touched."""
    with pytest.raises(SaveFailed):
        save_text(tmp_path / "P1.toml", text, None)
    assert list(tmp_path.iterdir()) == []


def test_a_folder_in_the_way_of_the_path_is_one_sentence(tmp_path):
    """A path through a file, and a name that is too long, give the reason and no traceback."""
    (tmp_path / "file").write_text("x", encoding="utf-8")
    with pytest.raises(SaveFailed, match="not a folder"):
        save_text(tmp_path / "file" / "P1.toml", "a", None)
    with pytest.raises(SaveFailed, match="too long"):
        save_text(tmp_path / ("x" * 300 + ".toml"), "a", None)


def test_leftovers_of_an_interrupted_save_are_swept_when_old(tmp_path):
    """An old temporary file goes, a young one and everything else stays."""
    old, young = files.temporary_path(tmp_path / "P1.toml"), files.temporary_path(tmp_path / "P1.toml")
    for each in (old, young, tmp_path / "P1.toml"):
        each.write_text("x", encoding="utf-8")
        os.utime(each, (1, 1))
    os.utime(young)
    assert files.sweep_leftovers(tmp_path) == [old]
    assert sorted(each.name for each in tmp_path.iterdir()) == sorted([young.name, "P1.toml"])


def test_sweeping_a_folder_that_is_not_there_is_quiet(tmp_path):
    """No folder, no leftovers."""
    assert files.sweep_leftovers(tmp_path / "none") == []


def test_a_folder_that_has_gone_is_not_made_anew(tmp_path):
    """When a share is unmounted, a known case is not written to the bare mount point: the save fails and says why."""
    path = tmp_path / "share" / "P1.toml"
    stamp = save_text(path, "one", None).stamp
    path.unlink()
    path.parent.rmdir()
    with pytest.raises(SaveFailed, match="folder is not there"):
        save_text(path, "two", stamp)
    assert not path.parent.exists()
