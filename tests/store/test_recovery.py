"""Recovery copies: offered as a difference, never applied, never able to keep the program from starting."""

from __future__ import annotations

import json
import tomllib

import pytest

from afocal.core.store import recovery
from afocal.core.store.files import save_text
from afocal.core.store.recovery import SET_ASIDE, begin, discard_copy, find, keep_copy


@pytest.fixture
def next_run(monkeypatch):
    """Everything found afterwards counts as left by an earlier run."""

    def start() -> None:
        monkeypatch.setattr(recovery, "PROCESS_TOKEN", "next")

    return start


def test_a_copy_is_offered_as_a_difference_and_changes_nothing(tmp_path, next_run):
    """The offer tells key by key what would change; the case file stays as it is."""
    path = tmp_path / "cases" / "P1.toml"
    stamp = save_text(path, "code = 'P1'\npower = 2\nold = 1\n", None).stamp
    copy = keep_copy(tmp_path / "r", path, "code = 'P1'\npower = 3\nnew = 'x'\n", stamp, "the disk is full")
    next_run()
    (offer,) = find(tmp_path / "r", tomllib.loads).offers
    assert {each.key: (each.before, each.after) for each in offer.differences} == {
        "power": (2, 3),
        "new": (recovery.differences({}, {"a": 1})[0].before, "x"),
        "old": (1, recovery.differences({"a": 1}, {})[0].after),
    }
    assert offer.is_based_on_present
    assert (offer.case_path, offer.reason) == (path, "the disk is full")
    assert "power = 2" in path.read_text(encoding="utf-8")
    assert copy.exists()


def test_a_case_changed_since_is_told(tmp_path, next_run):
    """A copy that is older than a foreign change must not look like the newest."""
    path = tmp_path / "P1.toml"
    stamp = save_text(path, "a = 1", None).stamp
    keep_copy(tmp_path / "r", path, "a = 2", stamp, "")
    save_text(path, "a = 3", stamp)
    next_run()
    assert not find(tmp_path / "r", tomllib.loads).offers[0].is_based_on_present


def test_what_is_in_the_file_already_is_not_asked_again(tmp_path, next_run):
    """A copy whose content was saved after all goes without a question."""
    path = tmp_path / "P1.toml"
    stamp = save_text(path, "a = 1", None).stamp
    copy = keep_copy(tmp_path / "r", path, "a = 2", stamp, "")
    save_text(path, "a = 2", stamp)
    next_run()
    assert find(tmp_path / "r", tomllib.loads) == recovery.Found()
    assert not copy.exists()


def test_the_copies_of_this_run_are_not_offered_to_itself(tmp_path):
    """A save that fails right now is the saver's business, not a crash of yesterday."""
    keep_copy(tmp_path / "r", tmp_path / "P1.toml", "a = 2", None, "")
    assert find(tmp_path / "r", tomllib.loads).offers == []


def test_a_damaged_case_file_does_not_hide_its_copy(tmp_path, next_run):
    """When the case itself cannot be read, the whole copy counts as difference."""
    path = tmp_path / "P1.toml"
    path.write_bytes(b"a = [1,\0")
    keep_copy(tmp_path / "r", path, "a = 2", None, "")
    next_run()
    assert [each.key for each in find(tmp_path / "r", tomllib.loads).offers[0].differences] == ["a"]


def bad_copies(good: bytes) -> list[bytes]:
    head, body = good.split(b"\n", 1)
    other = json.loads(head) | {"afocal_recovery": 99}
    nul = json.loads(head) | {"case": "a\0b"}
    return [
        b"",
        b"\0" * 500,
        b"{}\n" + body,
        b"[" * 100_000 + b"\n",
        b"{" * 10 + b"\n" + body,
        good[:-1],
        good + b"x",
        head,
        json.dumps(other).encode() + b"\n" + body,
        json.dumps(nul).encode() + b"\n" + body,
        b"\xff" + good,
    ]


def test_bad_copies_are_set_aside_named_and_never_met_again(tmp_path, next_run):
    """Empty, cut, altered, foreign: each once, with its reason; the good one beside them is still offered."""
    folder, path = tmp_path / "r", tmp_path / "P1.toml"
    good = keep_copy(folder, path, "a = 2", None, "")
    bad = bad_copies(good.read_bytes())
    for number, data in enumerate(bad):
        (folder / f"bad{number}.x.y.recovery").write_bytes(data)
    not_toml = keep_copy(folder, tmp_path / "P2.toml", "a = [1,", None, "")
    next_run()
    found = find(folder, tomllib.loads)
    assert [offer.path for offer in found.offers] == [good]
    assert len(found.set_aside) == len(bad) + 1
    assert all(str(each).isprintable() and each.path.parent.name == SET_ASIDE for each in found.set_aside)
    assert not not_toml.exists()
    again = find(folder, tomllib.loads)
    assert (len(again.offers), again.set_aside) == (1, [])


def test_one_that_never_came_to_an_end_is_set_aside_at_the_third_start(tmp_path, next_run):
    """A copy whose opening ended the program twice does not get a third chance to do so."""
    folder = tmp_path / "r"
    keep_copy(folder, tmp_path / "P1.toml", "a = 2", None, "")
    next_run()
    for _ in range(2):
        (offer,) = find(folder, tomllib.loads).offers
        begin(offer)
    found = find(folder, tomllib.loads)
    assert found.offers == []
    assert "opened 2 times" in found.set_aside[0].reason
    assert [each.name for each in folder.iterdir()] == [SET_ASIDE]


def test_a_decided_copy_is_gone_with_its_count(tmp_path, next_run):
    """After the user has taken or refused it, nothing about the patient stays there."""
    folder = tmp_path / "r"
    keep_copy(folder, tmp_path / "P1.toml", "a = 2", None, "")
    next_run()
    (offer,) = find(folder, tomllib.loads).offers
    begin(offer)
    discard_copy(offer.path)
    assert list(folder.iterdir()) == []


def test_codes_alike_in_two_folders_do_not_share_a_copy(tmp_path):
    """The place of the case is part of the copy's name; strange codes make safe names."""
    one = keep_copy(tmp_path / "r", tmp_path / "a" / "P 1é.toml", "a = 1", None, "")
    two = keep_copy(tmp_path / "r", tmp_path / "b" / "P 1é.toml", "a = 1", None, "")
    assert one != two
    assert one.name.isascii()


def test_no_folder_means_no_offers(tmp_path):
    """The usual first start."""
    assert find(tmp_path / "none", tomllib.loads) == recovery.Found()


def test_setting_aside_on_a_failing_disk_still_names_the_file(tmp_path, next_run, failing_file_system):
    """At whichever call the disk fails, finding never raises and never loses a file."""
    number = 0
    while True:
        number += 1
        folder = tmp_path / str(number)
        folder.mkdir()
        (folder / "bad.x.y.recovery").write_bytes(b"junk")
        fs = failing_file_system(number)
        find(folder, tomllib.loads, fs=fs)
        assert len([each for each in folder.rglob("*") if each.is_file()]) == 1
        if len(fs.calls) < number:
            break
