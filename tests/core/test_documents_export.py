"""A document goes into a new file, whole or not at all, and what is there already is left alone."""

from __future__ import annotations

import os
import stat
from dataclasses import replace

import documents_cases as cases
import pytest

from afocal.core.documents.export import document_name, export_text, personal_warnings
from afocal.core.errors import FileRefusal
from afocal.core.store.filesystem import FileSystem

POSIX = os.name == "posix"


def test_a_taken_name_gets_a_number_and_says_so(tmp_path):
    """Three exports of one name are three files, the first untouched; the sentence names the file."""
    made = [export_text(tmp_path, "note.txt", f"text {n}\n") for n in range(3)]
    assert [each.path.name for each in made] == ["note.txt", "note-2.txt", "note-3.txt"]
    assert [each.path.read_text() for each in made] == ["text 0\n", "text 1\n", "text 2\n"]
    assert made[0].sentence == f"Written to {tmp_path / 'note.txt'}."
    assert "note-2.txt; note.txt was there already and is untouched" in made[1].sentence
    assert sorted(path.name for path in tmp_path.iterdir()) == ["note-2.txt", "note-3.txt", "note.txt"]


def test_plain_text_gets_the_line_ends_of_the_system(tmp_path):
    """A note for an editor that knows one kind of line end only; a table keeps its own."""
    note = export_text(tmp_path, "note.txt", "a\nb\n", line_end="\r\n")
    table = export_text(tmp_path, "visits.csv", "a\r\nb\r\n", line_end="\n")
    assert note.path.read_bytes() == b"a\r\nb\r\n" == table.path.read_bytes()


@pytest.mark.skipif(not POSIX, reason="links and modes are of POSIX systems")
def test_a_link_counts_as_taken_and_the_file_is_private(tmp_path):
    """A link to elsewhere is not written through, even a broken one; files are readable by their owner only."""
    target = tmp_path / "elsewhere.txt"
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "note.txt").symlink_to(target)
    made = export_text(tmp_path / "out", "note.txt", "x")
    assert made.path.name == "note-2.txt" and not target.exists()
    assert stat.S_IMODE(made.path.stat().st_mode) == 0o600


@pytest.mark.parametrize(
    "name", ["", "../x.txt", "a/b.txt", "a\\b.txt", ".hidden", "a\x1bb.txt", "con.txt", "NUL", "a b.txt"]
)
def test_only_plain_names_are_written(tmp_path, name):
    """A name that would leave the folder, hide, or be a device is refused."""
    with pytest.raises(FileRefusal, match="plain file name"):
        export_text(tmp_path, name, "x")
    assert list(tmp_path.iterdir()) == []


class FullDisk(FileSystem):
    """Fails at the n-th call that writes."""

    def __init__(self, at: int) -> None:
        self.at, self.calls = at, 0

    def _count(self) -> None:
        self.calls += 1
        if self.calls == self.at:
            raise OSError(28, "No space left on device")

    def open_new(self, path):
        self._count()
        return super().open_new(path)

    def write(self, handle, data):
        self._count()
        return super().write(handle, data)

    def fsync(self, handle):
        self._count()
        super().fsync(handle)

    def place_new(self, source, target):
        self._count()
        super().place_new(source, target)


@pytest.mark.parametrize("at", [1, 2, 3, 4])
def test_a_full_disk_leaves_no_piece(tmp_path, at):
    """Whichever call fails, the folder is as before and the sentence gives the reason."""
    with pytest.raises(FileRefusal, match="the disk is full"):
        export_text(tmp_path, "note.txt", "x", fs=FullDisk(at))
    assert list(tmp_path.iterdir()) == []


def test_a_table_larger_than_a_case_file_is_written(tmp_path):
    """Tables of thousands of visits have no limit of size."""
    assert export_text(tmp_path, "visits.csv", "x" * 3_000_000).path.stat().st_size == 3_000_000


def test_names_hold_code_day_and_document():
    """A name sorts by person and day, and hostile codes cannot leave it."""
    case = cases.bioptic()
    assert document_name(case, "chart note", "txt") == "TC-101-2026-11-24-chart-note.txt"
    assert document_name(replace(case, code="../..\\x:y"), "order", ".txt") == "x-y-2026-11-24-order.txt"


def test_words_that_tell_who_it_is_are_pointed_at():
    """A telephone number in the notes and a name in a field are named with their place."""
    case = cases.updated(
        cases.typed(cases.refused(), {"history.treatment": "seen by Dr Invented"}),
        notes="call back: 0170 555 1234",
    )
    found = "\n".join(personal_warnings(case))
    assert "Treatment and medicines:" in found and "Notes:" in found
    assert personal_warnings(cases.refused()) == []
