"""The case list's index: pages, search, changes from outside, damage; always disposable."""

from __future__ import annotations

import os
import sqlite3
import stat
import subprocess
import sys
import threading
import tomllib
from datetime import date

import pytest

from afocal.core.errors import EntryRefusal, FileRefusal
from afocal.core.store.index import CaseIndex
from afocal.core.store.index_schema import VERSION
from afocal.core.store.refresh import BackgroundRefresh, refresh

CASE = """code = "{code}"
birth_year = {year}
last_visit = {day}
kind = "{kind}"
goals = ["read the board", "recognise faces"]
device = "{device}"
next_step = "{step}"
next_date = 2025-01-{day_of_month:02d}
signed = {signed}
"""


def extract(text: str) -> dict:
    header = tomllib.loads(text)
    if header.get("goals") == "boom":
        raise ZeroDivisionError("a fault of the extractor")
    if "refuse" in header:
        raise FileRefusal("case", "no case file", line=3, key="refuse")
    return header


def write_case(folder, number: int, **changes) -> None:
    values = {
        "code": f"P{number:04d}",
        "year": 1930 + number % 70,
        "day": date(2024, 1 + number % 12, 1 + number % 28),
        "kind": ("examination", "follow-up")[number % 2],
        "device": ("tube 2.5×", "prism tube 4×", "100% loan")[number % 3],
        "step": ("order", "training")[number % 2],
        "day_of_month": 1 + number % 28,
        "signed": "true" if number % 4 == 0 else "false",
    } | changes
    (folder / f"P{number:04d}.toml").write_text(CASE.format(**values), encoding="utf-8")


@pytest.fixture
def folder(tmp_path):
    folder = tmp_path / "cases"
    folder.mkdir()
    for number in range(40):
        write_case(folder, number)
    return folder


@pytest.fixture
def index(tmp_path, folder):
    index = CaseIndex(folder, tmp_path / "cache" / "index.sqlite")
    brought_up(index)
    yield index
    index.close()


def brought_up(index: CaseIndex):
    """The last progress of a full refresh."""
    return list(refresh(index, extract))[-1]


def age(folder) -> None:
    """Give every file a time that no clock's tick can still be counting."""
    for path in folder.iterdir():
        os.utime(path, ns=(10**18 + 1, 10**18 + 1))


def names(rows) -> list[str]:
    return [row.code for row in rows]


def test_pages_follow_each_other_in_order(index):
    """Newest visit first, page after page, every case once."""
    pages = [index.page(offset, 15) for offset in (0, 15, 30, 45)]
    rows = [row for page in pages for row in page]
    assert [len(page) for page in pages] == [15, 15, 10, 0]
    assert len(set(names(rows))) == 40
    assert [row.last_visit for row in rows] == sorted((row.last_visit for row in rows), reverse=True)
    assert index.total() == 40


def test_a_row_says_what_the_header_said(index):
    """Every column of the list arrives."""
    row = index.row("P0004.toml")
    assert row is not None
    assert (row.code, row.birth_year, row.last_visit, row.kind) == (
        "P0004",
        1934,
        "2024-05-05",
        "examination",
    )
    assert (row.goals, row.device) == ("read the board; recognise faces", "prism tube 4×")
    assert (row.next_step, row.next_date, row.signed, row.problem, row.note) == (
        "order",
        "2025-01-05",
        True,
        "",
        "",
    )
    assert index.row("none.toml") is None


@pytest.mark.parametrize("sort", ["code", "last_visit", "next_date", "kind", "device", "problem"])
@pytest.mark.parametrize("descending", [True, False])
def test_each_sort_orders_its_column_and_uses_an_index(index, sort, descending):
    """Sorted as asked, and without looking at all rows for the first page."""
    rows = index.page(0, 100, sort=sort, descending=descending)
    column = [getattr(row, sort) for row in rows]
    assert column == sorted(column, reverse=descending)
    order = "DESC" if descending else "ASC"
    plan = index._connection().execute(
        f"EXPLAIN QUERY PLAN SELECT * FROM files ORDER BY {sort} {order}, name {order} LIMIT 5"
    )
    steps = " ".join(str(step) for step in plan.fetchall())
    assert f"files_by_{sort}" in steps
    assert "TEMP B-TREE" not in steps


def test_an_unknown_sort_is_refused_with_the_known_ones(index):
    """No column name from outside reaches the statement."""
    with pytest.raises(EntryRefusal, match="last_visit"):
        index.page(sort="code; DROP TABLE files")


@pytest.mark.parametrize(
    ("search", "count"),
    [
        ("P0007", 1),
        ("p0007", 1),
        ("2024-05", 3),
        ("FACES", 40),
        ("prism 4×", 13),
        ("training follow-up", 20),
        ("training examination", 0),
        ("100%", 13),
        ("%", 13),
        ("_", 0),
        ("'; --", 0),
        ("1935", 1),
        ("  ", 40),
    ],
)
def test_search_finds_words_in_code_dates_goals_device_and_next_step(index, search, count):
    """Every word must occur somewhere, in capitals or not; signs have no special meaning."""
    assert len(index.page(0, 100, search=search)) == index.total(search) == count


def test_outside_changes_arrive_with_the_next_check(index, folder):
    """Edited, new, and removed files; only those are read."""
    age(folder)
    brought_up(index)
    write_case(folder, 3, step="call back")
    write_case(folder, 99)
    (folder / "P0005.toml").unlink()
    last = brought_up(index)
    assert (last.changed, last.gone, last.done, last.altered) == (2, 1, True, True)
    assert index.row("P0003.toml").next_step == "call back"
    assert names(index.page(search="P0099")) == ["P0099"]
    assert index.row("P0005.toml") is None
    assert index.total() == 40


def test_an_unchanged_folder_is_read_once(index, folder):
    """After all files are older than the clock's tick, a check opens none."""
    age(folder)
    brought_up(index)
    assert brought_up(index).changed == 0


def test_a_quick_second_change_of_equal_size_is_not_missed(index, folder):
    """Two edits within one tick of a coarse clock: the file is looked at again until it has settled."""
    path = folder / "P0001.toml"
    write_case(folder, 1, step="aaaa")
    status = path.stat()
    brought_up(index)
    write_case(folder, 1, step="bbbb")
    os.utime(path, ns=(status.st_mtime_ns, status.st_mtime_ns))
    brought_up(index)
    assert index.row(path.name).next_step == "bbbb"


def test_damaged_files_are_listed_with_their_reason_and_left_alone(index, folder, tmp_path):
    """Each kind of damage has a row with a reason; the files stay byte for byte, the neighbours stay readable."""
    bad = {
        "cut.toml": b"code = ",
        "zero.toml": b"\0\0\0",
        "latin.toml": b"code = '\xe9'",
        "refused.toml": b"refuse = 1",
        "boom.toml": b"goals = 'boom'",
        "odd.toml": b"outcomes = 5",
        "escape.toml": b"code = '\x1b[2J'",
    }
    for name, data in bad.items():
        (folder / name).write_bytes(data)
    if os.name != "nt":
        (folder / "link.toml").symlink_to(folder / "P0001.toml")
        os.mkfifo(folder / "pipe.toml")
    (folder / "folder.toml").mkdir()
    brought_up(index)
    problems = {row.name: row for row in index.problems()}
    assert set(bad) | {"folder.toml"} <= set(problems)
    assert all(row.problem.isprintable() for row in problems.values())
    assert (problems["refused.toml"].problem, problems["refused.toml"].line) == ("refuse: no case file", 3)
    assert problems["cut.toml"].code == "cut"
    assert problems.get("pipe.toml") is None or "pipe" in problems["pipe.toml"].problem
    assert all((folder / name).read_bytes() == data for name, data in bad.items())
    assert index.row("P0007.toml").problem == ""
    (folder / "cut.toml").write_bytes(b"code = 'mended'")
    brought_up(index)
    assert index.row("cut.toml").problem == ""


def test_hidden_and_other_files_are_not_cases(index, folder):
    """Temporary files, locks, history and notes beside the cases are not listed."""
    for name in (".P1.toml.0123.afocal-tmp", ".P1.toml.lock", ".hidden.toml", "README.txt", "P1.toml~"):
        (folder / name).write_text("x", encoding="utf-8")
    (folder / ".history").mkdir()
    brought_up(index)
    assert index.total() == 40


def test_two_files_of_one_code_are_marked(index, folder):
    """What a synchroniser leaves as a second copy is pointed out on both, and no longer when it is gone."""
    copy = folder / "P0007 (copy from room 2).toml"
    copy.write_bytes((folder / "P0007.toml").read_bytes())
    brought_up(index)
    marked = [row.name for row in index.page(0, 100) if row.note]
    assert sorted(marked) == [copy.name, "P0007.toml"]
    copy.unlink()
    brought_up(index)
    assert not any(row.note for row in index.page(0, 100))


def test_a_folder_that_cannot_be_listed_leaves_the_rows(index, folder):
    """When the share has gone the list stays, and the reason is told."""
    folder.rename(folder.with_name("away"))
    last = brought_up(index)
    assert last.done
    assert "not there" in last.problem
    assert index.total() == 40


def test_a_saved_case_is_in_the_list_at_once(index, folder):
    """Before the next check, and the check then finds nothing to do for it."""
    write_case(folder, 200)
    path = folder / "P0200.toml"
    index.note_saved(path, path.read_text(encoding="utf-8"), extract)
    assert index.row("P0200.toml").code == "P0200"
    index.note_saved(folder / "gone.toml", "code = 'x'", extract)
    assert index.row("gone.toml") is None


def test_outcomes_are_kept_for_a_look_back(index, folder):
    """One row an outcome, with the patient's code; renewed with the file and gone with it."""
    text = """code = "P0300"
birth_year = 1950
[[outcomes]]
visit_date = 2024-05-01
goal = "board"
promised_logmar = 0.4
measured_logmar = 0.46
outcome = "kept"
[[outcomes]]
goal = "faces"
promised_logmar = "unknown"
"""
    (folder / "P0300.toml").write_text(text, encoding="utf-8")
    brought_up(index)
    brought_up(index)
    first, second = index.outcomes()
    assert (first["code"], first["birth_year"], first["goal"], first["visit_date"]) == (
        "P0300",
        1950,
        "board",
        "2024-05-01",
    )
    assert (first["promised_logmar"], first["measured_logmar"], first["outcome"]) == (0.4, 0.46, "kept")
    assert (second["goal"], second["promised_logmar"]) == ("faces", None)
    (folder / "P0300.toml").unlink()
    brought_up(index)
    assert index.outcomes() == []


def test_a_removed_row_leaves_no_trace_in_the_index_file(index, tmp_path):
    """What is deleted is overwritten in the file, not only forgotten."""
    index.drop(["P0007.toml"])
    left = b"".join(each.read_bytes() for each in (tmp_path / "cache").iterdir())
    assert b"P0008" in left
    assert b"P0007" not in left


def damage(path, how: str) -> None:
    match how:
        case "not sqlite":
            path.write_bytes(b"this is not a database" * 1000)
        case "empty":
            path.write_bytes(b"")
        case "cut":
            path.write_bytes(path.read_bytes()[:5000])
        case "older version" | "newer version":
            with sqlite3.connect(path) as db:
                db.execute(f"PRAGMA user_version = {99 if how.startswith('new') else VERSION - 1 or 98}")
            db.close()
        case "no table":
            with sqlite3.connect(path) as db:
                db.execute("DROP TABLE files")
            db.close()
        case "scribbled":
            data = bytearray(path.read_bytes())
            data[4096:] = b"\xa5" * (len(data) - 4096)
            path.write_bytes(data)


@pytest.mark.parametrize(
    "how", ["not sqlite", "empty", "cut", "older version", "newer version", "no table", "scribbled"]
)
def test_a_damaged_or_foreign_index_is_made_again(index, folder, how):
    """Whatever happened to the file: no error, and after one check the list is complete."""
    index.close()
    damage(index.path, how)
    index.page()
    index.total()
    index.verify()
    brought_up(index)
    assert len(index.page(0, 100)) == index.total() == 40


@pytest.mark.parametrize("how", ["not sqlite", "cut", "newer version", "scribbled"])
def test_nothing_stays_open_of_a_damaged_index(index, folder, how, monkeypatch):
    """Each connection is closed, those that failed while they were opened too: where that is the rule, only then a file
    can be deleted."""
    index.close()
    damage(index.path, how)
    opened = []
    connect = sqlite3.connect

    def noting(*words, **settings):
        opened.append(connect(*words, **settings))
        return opened[-1]

    monkeypatch.setattr(sqlite3, "connect", noting)
    background = BackgroundRefresh(index, extract)
    background.start()
    assert len(index.page(0, 100)) <= 40
    assert background.stop(10)
    index.close()
    assert len(opened) >= 2
    for connection in opened:
        with pytest.raises(sqlite3.ProgrammingError, match="closed"):
            connection.execute("SELECT 1")


def test_an_index_deleted_while_in_use_comes_back(index, folder):
    """Emptying the cache folder during work costs one check."""
    index.discard()
    assert index.page() == []
    brought_up(index)
    assert index.total() == 40


def test_without_a_place_for_it_the_index_is_kept_in_memory(folder, tmp_path):
    """A cache folder that cannot be made is no reason to show no list; a second thread sees the same rows."""
    (tmp_path / "file").write_text("x", encoding="utf-8")
    index = CaseIndex(folder, tmp_path / "file" / "index.sqlite")
    brought_up(index)
    assert index.in_memory
    seen = []
    thread = threading.Thread(target=lambda: seen.append(len(index.page(0, 100))))
    thread.start()
    thread.join()
    assert seen == [40]
    index.drop(["P0001.toml"])
    assert index.total() == 39
    index.close()


@pytest.mark.skipif(os.name == "nt", reason="modes as on POSIX")
def test_the_index_is_private(index):
    """No other user reads the list, nor sqlite's side files."""
    for path in index.path.parent.iterdir():
        assert stat.S_IMODE(path.stat().st_mode) == 0o600


def test_two_windows_may_use_one_index(index, folder):
    """A second index object on the same file, as in another process, refreshes and reads at the same time."""
    other = CaseIndex(folder, index.path)
    write_case(folder, 77)
    threads = [threading.Thread(target=brought_up, args=(each,)) for each in (index, other)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert index.total() == other.total() == 41
    other.close()


def test_a_background_check_brings_the_list_up_and_ends(index, folder):
    """Started, told to look again, stopped; it reports when it is done."""
    write_case(folder, 88)
    done = threading.Event()
    background = BackgroundRefresh(index, extract, lambda progress: progress.done and done.set(), every_s=60)
    background.start()
    assert done.wait(10)
    assert index.row("P0088.toml") is not None
    done.clear()
    write_case(folder, 89)
    background.now()
    assert done.wait(10)
    assert index.row("P0089.toml") is not None
    background.stop()


def test_a_check_works_in_slices(index, folder):
    """Between two yields lies a small part of the work, so that a key can be served."""
    for number in range(100, 200):
        write_case(folder, number)
    steps = list(refresh(index, extract, slice_s=0.0))
    assert len(steps) > 10
    assert [each.read for each in steps] == sorted(each.read for each in steps)


def test_importing_the_index_does_not_import_sqlite():
    """sqlite3 is loaded at the first use, not when the program starts."""
    code = "import sys, afocal.core.store.index, afocal.core.store.refresh; print('sqlite3' in sys.modules)"
    assert (
        subprocess.run([sys.executable, "-c", code], capture_output=True, text=True).stdout.strip() == "False"
    )


def test_a_text_made_from_all_outcomes_is_kept_until_one_of_them_changes(folder, index):
    """A look back is made once; a case saved, changed or removed with other outcomes makes it anew."""
    made: list[int] = []

    def make() -> str:
        made.append(1)
        return f"made {len(made)}"

    def outcome(text: str) -> dict:
        return {**extract(text), "outcomes": [{"goal": "board", "promised_logmar": 0.3}]}

    assert [index.kept("look back", make), index.kept("look back", make)] == ["made 1", "made 1"]
    path = folder / "P0001.toml"
    index.note_saved(path, path.read_text("utf-8"), outcome)
    assert index.kept("look back", make) == "made 2"
    assert index.kept("look back, other setting", make) == "made 3"
    index.drop([path.name])
    assert index.kept("look back", make) == "made 4"
