"""Processes killed at random moments of saving, and processes that write the same case at once.

``AFOCAL_TEST_KILLS`` and ``AFOCAL_TEST_EDITS`` set how often; the usual run is short.
"""

from __future__ import annotations

import os
import random
import subprocess
import sys
import tempfile
import time
import tomllib
from pathlib import Path

import pytest

from afocal.core.store.history import versions
from afocal.core.store.reading import read_text

CHILD = Path(__file__).with_name("saving_child.py")
KILLS = int(os.environ.get("AFOCAL_TEST_KILLS", "60"))
EDITS = int(os.environ.get("AFOCAL_TEST_EDITS", "120"))
ENDLESS = "1000000"


def start(path: Path, name: str, count: str | int, output, errors=None) -> subprocess.Popen[bytes]:
    words = [sys.executable, str(CHILD), str(path), name, str(count)]
    return subprocess.Popen(words, stdout=output, stderr=errors)


def edits(path: Path, name: str) -> list[int]:
    return tomllib.loads(read_text(path).text).get(name, {}).get("edits", [])


@pytest.mark.skipif(os.name == "nt", reason="kills as on POSIX; the exchange itself is tested everywhere")
def test_a_kill_at_any_moment_loses_no_value_that_was_said_to_be_saved(tmp_path):
    """After each kill the case is whole, holds every number that was printed as saved and at most one more."""
    path = tmp_path / "P1.toml"
    chance = random.Random(20240131)
    for _ in range(KILLS):
        with tempfile.TemporaryFile(dir=tmp_path.parent) as output, tempfile.TemporaryFile() as errors:
            child = start(path, "one", ENDLESS, output, errors)
            try:
                while not output.tell() and child.poll() is None and not os.fstat(output.fileno()).st_size:
                    time.sleep(0.001)
                time.sleep(chance.random() * 0.02)
            finally:
                child.kill()
                child.wait()
            output.seek(0)
            errors.seek(0)
            failure = errors.read().decode()
            # The last line may have been cut off in the middle of a number.
            said = [int(line) for line in output.read().decode().split("\n")[:-1]]
        on_disk = edits(path, "one")
        assert on_disk == list(range(len(on_disk)))
        assert said and said[-1] in on_disk[-2:], (child.returncode, failure)
    assert versions(path)
    assert not [each for each in tmp_path.iterdir() if each.suffix == ".toml" and each != path]


def test_two_writers_lose_no_edit(tmp_path):
    """Two processes edit the same case as fast as they can: every edit of both is in it, in order."""
    path = tmp_path / "P1.toml"
    with open(os.devnull, "wb") as nowhere:
        children = [start(path, name, EDITS, nowhere) for name in ("one", "two")]
        assert [child.wait(max(120, EDITS // 2)) for child in children] == [0, 0]
    assert edits(path, "one") == edits(path, "two") == list(range(EDITS))
    assert sorted(each.name for each in tmp_path.iterdir()) == [".history", "P1.toml"]


def test_writers_of_different_cases_do_not_meet(tmp_path):
    """Two processes on two cases of one folder: both complete, neither knows of the other."""
    paths = [tmp_path / "P1.toml", tmp_path / "P2.toml"]
    with open(os.devnull, "wb") as nowhere:
        children = [start(path, "one", EDITS // 4, nowhere) for path in paths]
        assert [child.wait(max(120, EDITS // 2)) for child in children] == [0, 0]
    assert all(edits(path, "one") == list(range(EDITS // 4)) for path in paths)
