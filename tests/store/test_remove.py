"""Deleting a patient: everything that was stored, nothing of anybody else, and told what was done."""

from __future__ import annotations

import errno
import tomllib

import pytest

from afocal.core.store.filesystem import FileSystem
from afocal.core.store.history import save_case
from afocal.core.store.index import CaseIndex
from afocal.core.store.recovery import keep_copy
from afocal.core.store.refresh import refresh
from afocal.core.store.remove import remove_patient, traces


@pytest.fixture
def place(tmp_path):
    """A folder with the patient P1, and neighbours whose codes begin alike."""
    cases = tmp_path / "cases"
    for code in ("P1", "P10", "P1.a"):
        stamp = None
        for number in range(3):
            stamp = save_case(cases / f"{code}.toml", f"code = '{code}'\nn = {number}", stamp).stamp
        keep_copy(tmp_path / "recovery", cases / f"{code}.toml", "n = 9", stamp, "test")
        (cases / f".{code}.toml.0123456789ab.afocal-tmp").write_text("half", encoding="utf-8")
        (cases / f".{code}.toml.lock").write_text("x", encoding="utf-8")
    aside = tmp_path / "recovery" / "set-aside"
    aside.mkdir()
    copy = next(each for each in (tmp_path / "recovery").iterdir() if each.name.startswith("P1."))
    (aside / copy.name).write_bytes(b"bad")
    copy.with_name(copy.name + ".tries").write_text("1", encoding="utf-8")
    return tmp_path


def everything(place) -> set[str]:
    return {each.relative_to(place).as_posix() for each in place.rglob("*") if each.is_file()}


def test_everything_of_the_patient_goes_and_nothing_of_the_others(place):
    """File, history, recovery copies, leftovers, lock, row; codes that begin alike keep all of theirs."""
    index = CaseIndex(place / "cases", place / "cache" / "i.sqlite")
    list(refresh(index, tomllib.loads))
    before = everything(place)
    path = place / "cases" / "P1.toml"
    removal = remove_patient(path, place / "recovery", index)
    gone = {each for each in before - everything(place) if not each.startswith("cache/")}
    assert removal.is_complete
    assert {each.relative_to(place).as_posix() for each in removal.removed} - {"cases/.history/P1"} == gone
    assert len(gone) == 8
    assert not any("/P1.toml" in each or "/P1/" in each for each in everything(place))
    assert index.row("P1.toml") is None
    assert index.total() == 2
    assert traces(path, place / "recovery") == []
    assert "backups" in removal.note
    index.close()


def test_what_cannot_be_removed_is_named_and_the_rest_goes(place):
    """A file held by somebody else does not keep the others from going, and the report is not called complete."""
    path = place / "cases" / "P1.toml"

    class Held(FileSystem):
        def unlink(self, each):
            if each == path:
                raise OSError(errno.EBUSY, "held")
            super().unlink(each)

    removal = remove_patient(path, place / "recovery", fs=Held())
    assert not removal.is_complete
    assert [each.path for each in removal.left] == [path]
    assert "open" in removal.left[0].reason
    assert traces(path, place / "recovery") == [path]


def test_a_patient_who_is_not_there_is_an_empty_report(tmp_path):
    """Nothing found, nothing removed, no error."""
    removal = remove_patient(tmp_path / "cases" / "P9.toml", tmp_path / "recovery")
    assert (removal.removed, removal.left) == ([], [])


def test_the_last_history_takes_its_folder_along(tmp_path):
    """No empty history folder is left that would tell of somebody."""
    path = tmp_path / "cases" / "P1.toml"
    stamp = save_case(path, "n = 1", None).stamp
    save_case(path, "n = 2", stamp)
    remove_patient(path, tmp_path / "recovery")
    assert list(path.parent.iterdir()) == []
