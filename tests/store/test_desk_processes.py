"""Two processes with an open desk each on one case, on two cases, and one that is killed while it is typed into.

``AFOCAL_TEST_EDITS`` and ``AFOCAL_TEST_KILLS`` set how often; the usual run is short.
"""

from __future__ import annotations

import ast
import os
import random
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import pytest

from afocal.core.case import Case
from afocal.core.case_file import case_data, loads_case
from afocal.core.case_header import case_header
from afocal.core.store.history import read_version, versions
from afocal.core.store.index import CaseIndex
from afocal.core.store.reading import read_text
from afocal.core.store.recovery import find
from afocal.core.store.refresh import refresh

CHILD = Path(__file__).with_name("desk_child.py")
EDITS = int(os.environ.get("AFOCAL_TEST_EDITS", "120"))
KILLS = int(os.environ.get("AFOCAL_TEST_KILLS", "10"))


def start(
    folder: Path, code: str, name: str, count: int, way: str, output, cases: str = "cases"
) -> subprocess.Popen[bytes]:
    words = [
        sys.executable,
        str(CHILD),
        str(folder / cases),
        code,
        str(folder / "recovery"),
        name,
        str(count),
        way,
    ]
    return subprocess.Popen(words, stdout=output, stderr=subprocess.PIPE)


def in_two_rooms(
    folder: Path, codes: tuple[str, str], way: str, folders: tuple[str, str] = ("cases", "cases")
) -> list[str]:
    """Both rooms work at once until they are through; what they printed."""
    said = ""
    with tempfile.TemporaryFile("w+b") as one, tempfile.TemporaryFile("w+b") as two:
        rooms = [
            start(folder, codes[0], "one", EDITS, way, one, folders[0]),
            start(folder, codes[1], "two", EDITS, way, two, folders[1]),
        ]
        while any(os.fstat(output.fileno()).st_size < 5 for output in (one, two)):
            assert all(room.poll() is None for room in rooms)
            time.sleep(0.002)
        (folder / "go").touch()
        for room in rooms:
            _, error = room.communicate(timeout=max(300, EDITS))
            assert room.returncode == 0, error.decode()
        for output in (one, two):
            output.seek(0)
            said += output.read().decode()
    return said.splitlines()


def begin(folder: Path, code: str) -> Path:
    """A case in which both rooms find something."""
    path = folder / "cases" / f"{code}.toml"
    path.parent.mkdir(exist_ok=True)
    path.write_text(f'schema = 1\ncode = "{code}"\n[[visit]]\ndate = 2026-11-25\n', "utf-8")
    return path


def on_disk(path: Path) -> Case:
    return loads_case(read_text(path).text, path)


def holds_all(path: Path) -> None:
    """The last value of each field, goal and step of both rooms is in the file."""
    visit = on_disk(path).visit
    last = {kind: max(number for number in range(EDITS) if number % 4 == kind) for kind in range(4)}
    for name, pupil, words in (
        ("one", "right.pupil", "history.diagnosis"),
        ("two", "left.pupil", "history.treatment"),
    ):
        assert visit.findings[pupil].typed == str(2 + last[0] % 50 / 10)
        assert visit.findings[words].typed == f"{name} {last[1]}"
        (goal,) = [each for each in visit.goals if each.value("task") == f"goal of {name}"]
        assert goal.findings["distance"].typed == f"{1 + last[2]} m"
        assert visit.steps[f"fit.{name}"].measured == str(last[3])


def test_two_rooms_on_different_fields_of_one_case_are_never_asked(tmp_path) -> None:
    """Fields, goals and steps of both: the last of each is in the file, and no conflict was offered."""
    path = begin(tmp_path, "P1")
    said = in_two_rooms(tmp_path, ("P1", "P1"), "own")
    assert not [line for line in said if line.startswith("offered")]
    holds_all(path)
    assert "set_aside" not in on_disk(path).extra
    assert not list((tmp_path / "recovery").glob("*"))


@pytest.mark.skipif(os.name == "nt", reason="a second way to a folder by a link, as on POSIX")
def test_two_machines_on_a_share_without_locks_lose_nothing(tmp_path) -> None:
    """One folder by two paths, no locks, file numbers that change: what a save in the same moment put aside comes back."""
    path = begin(tmp_path, "P1")
    (tmp_path / "mounted").mkdir()
    (tmp_path / "mounted" / "share").symlink_to(tmp_path / "cases", target_is_directory=True)
    in_two_rooms(tmp_path, ("P1", "P1"), "unlocked", ("cases", "mounted/share"))
    holds_all(path)
    assert sorted(each.name for each in path.parent.iterdir()) == [".history", "P1.toml"]


def test_two_rooms_on_one_field_lose_no_value(tmp_path) -> None:
    """Each value that was said to be saved was typed over by somebody who saw it, was offered, or is in the file."""
    path = begin(tmp_path, "P1")
    said = in_two_rooms(tmp_path, ("P1", "P1"), "same")
    typed = {
        ast.literal_eval(line.split(" over ")[0].removeprefix("typed ")) for line in said if " over " in line
    }
    over = {ast.literal_eval(line.split(" over ")[1]) for line in said if " over " in line}
    offered = " ".join(line for line in said if line.startswith("offered"))
    everywhere = repr(case_data(on_disk(path))) + "".join(read_version(each) for each in versions(path))
    assert len(typed) == 2 * EDITS
    assert offered, "the rooms never met: nothing was tested"
    lost = {value for value in typed - over if f"'{value}'" not in offered and value not in everywhere}
    assert not lost
    assert sorted(each.name for each in path.parent.iterdir()) == [".history", "P1.toml"]


def test_two_rooms_on_different_cases_of_one_folder_and_the_list_of_both(tmp_path) -> None:
    """Neither meets the other, and an index kept in each room ends with both cases as they are."""
    paths = [begin(tmp_path, code) for code in ("P1", "P2")]
    lists = [CaseIndex(tmp_path / "cases", tmp_path / f"{room}.sqlite") for room in ("one", "two")]
    for index in lists:
        list(refresh(index, case_header))
    said = in_two_rooms(tmp_path, ("P1", "P2"), "own")
    assert not [line for line in said if line.startswith("offered")]
    for index in lists:
        list(refresh(index, case_header))
        assert [row.code for row in index.page(sort="code", descending=False)] == ["P1", "P2"]
        assert [row.goals for row in index.page(sort="code", descending=False)] == [
            "goal of one",
            "goal of two",
        ]
        index.close()
    assert on_disk(paths[0]).visit.findings["history.diagnosis"].typed.startswith("one ")
    assert on_disk(paths[1]).visit.findings["history.treatment"].typed.startswith("two ")


@pytest.mark.skipif(os.name == "nt", reason="kills as on POSIX; the exchange itself is tested everywhere")
def test_a_desk_killed_at_any_moment_of_typing_keeps_what_it_said(tmp_path) -> None:
    """After each kill the case is whole and holds the last values said to be saved; recovery offers what it must, once."""
    path = begin(tmp_path, "P1")
    chance = random.Random(20261125)
    for _ in range(KILLS):
        with tempfile.TemporaryFile(dir=tmp_path) as output:
            child = start(tmp_path, "P1", "one", 1_000_000, "typing", output)
            try:
                while child.poll() is None and os.fstat(output.fileno()).st_size < 6:
                    time.sleep(0.002)
                time.sleep(chance.random() * 0.05)
            finally:
                child.kill()
                child.communicate()
            output.seek(0)
            lines = output.read().decode().split("\n")[:-1]
        said = [int(line.split("'")[1].split()[-1]) for line in lines if line.startswith("typed")]
        visit = on_disk(path).visit
        for kind, value in ((1, visit.findings.get("history.diagnosis")), (3, visit.steps.get("fit.one"))):
            wanted = max((number for number in said if number % 4 == kind), default=None)
            if wanted is not None:
                assert value is not None
                found = int(value.typed.split()[-1] if kind == 1 else value.measured)  # type: ignore[union-attr]
                assert wanted <= found <= wanted + 4
        left = find(tmp_path / "recovery", lambda text: case_data(loads_case(text), readings=False))
        assert not left.set_aside and not left.offers
    assert versions(path)
