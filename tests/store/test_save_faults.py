"""A save that fails at any call, on a full disk, or in a power cut, leaves the old or the new file whole."""

from __future__ import annotations

import errno
from pathlib import Path

import pytest

from afocal.core.store.files import ChangedOnDisk, SaveFailed, digest_of, save_text
from afocal.core.store.filesystem import FileSystem
from afocal.core.store.history import save_case

OLD, NEW = "old = 1\n" + "#" * 9000, "new = 2\n" + "#" * 9000


def calls_of_a_save(tmp_path: Path, failing) -> int:
    """How many calls a save with history makes, so that each of them can be let fail."""
    path = tmp_path / "count" / "P1.toml"
    stamp = save_case(path, OLD, None).stamp
    fs = failing(0)
    save_case(path, NEW, stamp, fs=fs)
    return len(fs.calls)


@pytest.mark.parametrize("code", [errno.EIO, errno.ENOSPC, errno.EROFS, errno.EACCES, errno.ENOENT])
@pytest.mark.parametrize("for_ever", [False, True])
def test_failing_at_any_call_leaves_old_or_new_and_the_next_save_works(
    tmp_path, failing_file_system, code, for_ever
):
    """For every n: the n-th call fails; the file is whole, a success is a real one, and a retry succeeds."""
    count = calls_of_a_save(tmp_path, failing_file_system)
    assert count > 20
    for number in range(1, count + 1):
        path = tmp_path / str(number) / "P1.toml"
        stamp = save_case(path, OLD, None).stamp
        fs = failing_file_system(number, code, for_ever=for_ever)
        own: set[str] = set()
        try:
            save_case(path, NEW, stamp, fs=fs)
            assert path.read_text(encoding="utf-8") == NEW
        except (SaveFailed, ChangedOnDisk) as refused:
            assert isinstance(refused, SaveFailed) or code == errno.ENOENT  # the file seemed to be gone
            assert path.read_text(encoding="utf-8") in (OLD, NEW)
            own.add(digest_of(NEW.encode()))
            save_case(path, NEW + "# again", stamp, own_digests=frozenset(own))
            assert path.read_text(encoding="utf-8") == NEW + "# again"


def test_failing_at_any_call_of_a_first_save_never_leaves_half_a_case(tmp_path, failing_file_system):
    """A new case is there wholly or not at all."""
    number = 0
    while True:
        number += 1
        path = tmp_path / str(number) / "P1.toml"
        fs = failing_file_system(number)
        try:
            save_text(path, NEW, None, fs=fs)
        except (SaveFailed, ChangedOnDisk):
            assert not path.exists() or path.read_text(encoding="utf-8") == NEW
            continue
        if number > len(fs.calls):
            break
    assert number > 8


@pytest.mark.parametrize("room", [0, 1, 100, 4096, 9000])
def test_a_full_disk_is_named_and_the_old_file_stays(tmp_path, full_disk, room):
    """However much still fits, the old file stays whole, no leftover remains, and the reason is the full disk."""
    path = tmp_path / "P1.toml"
    stamp = save_text(path, OLD, None).stamp
    with pytest.raises(SaveFailed, match="the disk is full"):
        save_text(path, NEW, stamp, fs=full_disk(room))
    assert path.read_text(encoding="utf-8") == OLD
    assert [each.name for each in tmp_path.iterdir()] == ["P1.toml"]


@pytest.mark.parametrize("names_survive", [True, False])
def test_a_power_cut_at_any_call_leaves_old_or_new_on_the_medium(
    volatile_file_system, power_cut, names_survive
):
    """Whether or not the renames reached the medium before the cut; once "saved" was said, it is the new one."""
    path = Path("/cases/P1.toml")
    number = 0
    while True:
        number += 1
        fs = volatile_file_system()
        stamp = save_case(path, OLD, None, fs=fs).stamp
        fs.calls, fs.cut_at = 0, number
        try:
            save_case(path, NEW, stamp, fs=fs)
            said_saved = True
        except power_cut:
            said_saved = False
        on_medium = fs.after_the_cut(names_survive)[path]
        assert on_medium in ((NEW.encode(),) if said_saved else (OLD.encode(), NEW.encode()))
        if said_saved and fs.calls < number:
            break
    assert number > 20


def test_somebody_who_knows_of_no_lock_is_noticed_while_the_new_version_is_being_written(tmp_path):
    """An editor or a synchroniser writes between the comparison and the exchange: refused, and theirs stands."""
    path = tmp_path / "P1.toml"
    stamp = save_text(path, "one", None).stamp

    class Meanwhile(FileSystem):
        def fsync(self, handle: int) -> None:
            super().fsync(handle)
            path.write_text("theirs", encoding="utf-8")

    with pytest.raises(ChangedOnDisk):
        save_text(path, "mine", stamp, fs=Meanwhile())
    assert path.read_text(encoding="utf-8") == "theirs"
    assert [each.name for each in tmp_path.iterdir()] == ["P1.toml"]
