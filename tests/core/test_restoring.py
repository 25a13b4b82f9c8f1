"""Bringing back an earlier version from the command line: never behind a signature, nothing of the present one lost."""

from __future__ import annotations

from datetime import date, datetime
from pathlib import Path

import pytest

from afocal.core.case import Case
from afocal.core.case_file import case_data, dumps_case, loads_case
from afocal.core.desk import Desk
from afocal.core.errors import FileRefusal
from afocal.core.restoring import can_be_joined, join_copy, take_copy
from afocal.core.signing import sign, verify
from afocal.core.store import recovery
from afocal.core.store.files import Stamp, current_stamp
from afocal.core.store.history import read_version, save_case, versions
from afocal.core.store.recovery import Offer
from afocal.core.workspace import Workspace
from afocal.tui.command_line import main

DAY = date(2026, 11, 25)


@pytest.fixture
def path(tmp_path: Path, monkeypatch) -> Path:
    """A case in which PD 62 was typed, then signed; at a follow-up a pupil was typed. Each step is a kept version."""
    for name in ("CASES", "CONFIG", "CACHE", "STATE"):
        monkeypatch.setenv(f"AFOCAL_{name}", str(tmp_path / name.lower()))
    workspace = Workspace(tmp_path / "cases", tmp_path / "stock.toml", tmp_path / "settings.toml")
    desk = Desk(workspace.new_case("T-1", DAY), recovery_folder=tmp_path / "recovery")
    for change in (
        lambda case: case.with_typed("face.pd", "62"),
        lambda case: case.with_typed("face.pd", "63"),
        lambda case: sign(case, "RK", datetime(2026, 11, 25, 17)),
        lambda case: case.with_new_visit(date(2026, 12, 2), "follow-up"),
        lambda case: case.with_typed("right.pupil", "3"),
    ):
        desk.accept(change(desk.case), keep_for_good=True)
        assert desk.saver.wait(10)
    assert desk.close().is_safe
    return desk.path


def run(capsys, *words: str) -> tuple[int, str, str]:
    """Status, output and messages of a call."""
    status = main(["history", "T-1", *words])
    return (status, *capsys.readouterr())


def on_disk(path: Path) -> Case:
    """The case in the file."""
    return loads_case(path.read_text("utf-8"), path)


def number_of(path: Path, words: str) -> str:
    """The number under which a version that holds the words is listed; the oldest one."""
    return str(max(n for n, each in enumerate(versions(path), 1) if words in read_version(each)))


def test_a_version_from_before_the_signature_leaves_the_signed_visit(path: Path, capsys) -> None:
    """The follow-up goes, the signed visit stays word for word, and the message names it."""
    signed = on_disk(path).visits[0]
    before = path.read_text("utf-8")
    status, out, err = run(capsys, "--restore", number_of(path, 'pd = "62"'))
    assert (status, out) == (0, "")
    assert "examination of 2026-11-25: signed, so it stays" in err
    case = on_disk(path)
    assert case.visits == (signed,) and verify(case).state == "unchanged"
    assert before in [read_version(each) for each in versions(path) if each.is_kept]


@pytest.mark.parametrize("how", ["gone", "damaged"])
def test_a_file_that_is_gone_or_damaged_is_restored_with_what_was_signed(
    path: Path, capsys, how: str
) -> None:
    """The latest version that can be read tells what is signed; the damaged bytes stay in the history."""
    signed = on_disk(path).visits[0]
    wanted = number_of(path, 'pd = "62"')
    path.unlink() if how == "gone" else path.write_text("schema = \n")
    assert run(capsys, "--restore", wanted)[0] == 0
    assert on_disk(path).visits == (signed,)
    if how == "damaged":
        assert b"schema = \n" in [each.path.read_bytes() for each in versions(path)]


def test_a_version_that_changes_nothing_signed_comes_back_byte_for_byte(path: Path, capsys) -> None:
    """Comments of a colleague included."""
    text = "# by hand\n" + path.read_text("utf-8")
    path.write_text(text, "utf-8")
    desk = Desk(Workspace(path.parent, path, path).open_case("T-1"), recovery_folder=path.parent / "recovery")
    desk.accept(desk.case.with_typed("right.pupil", "4"), keep_for_good=True)
    assert desk.close().is_safe
    status, _, err = run(capsys, "--restore", "1")
    assert status == 0 and "stays" not in err.replace("stays in the history", "")
    assert path.read_text("utf-8") == text


def test_a_version_that_is_no_case_is_not_restored(path: Path, capsys) -> None:
    """One sentence, and the file stays."""
    before = path.read_text("utf-8")
    damaged = path.parent / ".history" / "T-1" / "last.toml"
    damaged.unlink()
    damaged.write_text("schema = \n")
    wanted = str(1 + [each.name for each in versions(path)].index("last"))
    status, out, err = run(capsys, "--restore", wanted)
    assert (status, out) == (1, "") and "last.toml" in err
    assert path.read_text("utf-8") == before


def test_two_versions_are_compared_by_field(path: Path, capsys) -> None:
    """From one to the other or to the present case, with the names that the form has."""
    one, other = number_of(path, 'pd = "62"'), number_of(path, 'pd = "63"')
    status, out, err = run(capsys, "--compare", one, other)
    assert (status, err) == (0, "")
    assert out.splitlines()[1:] == ["  PD, distance: 62 -> 63"]
    status, out, _ = run(capsys, "--compare", other, one)
    assert out.splitlines()[1:] == ["  PD, distance: 63 -> 62"]
    status, out, _ = run(capsys, "--compare", other)
    assert status == 0 and "to the present case:" in out
    assert "  Visit 2026-12-02: (nothing) -> follow-up of 2026-12-02, not signed" in out.splitlines()
    assert run(capsys, "--compare", "0", "0")[1].splitlines()[1:] == ["  nothing that counts is different"]


@pytest.mark.parametrize("words", [("1", "99"), ("99",), ("-1",), ("x",), ("1", "2", "3"), ()])
def test_a_wrong_comparison_is_a_wrong_call(path: Path, capsys, words: tuple[str, ...]) -> None:
    """Status 2 and one sentence."""
    try:
        status, out, err = run(capsys, "--compare", *words)
    except SystemExit as left:
        status, (out, err) = left.code, capsys.readouterr()  # type: ignore[assignment]
    assert (status, out) == (2, "")
    assert "compare" in err or "version" in err


def copy_of(path: Path, text: str, base: Stamp | None, monkeypatch) -> Offer:
    """What an earlier run could not save, as it is offered."""
    folder = path.parent.parent / "recovery"
    recovery.keep_copy(folder, path, text, base, "power")
    monkeypatch.setattr(recovery, "PROCESS_TOKEN", "next")
    (offer,) = recovery.find(folder, lambda each: case_data(loads_case(each), readings=False)).offers
    return offer


def test_a_copy_from_before_the_signature_leaves_the_signed_visit_and_the_file_in_the_history(
    path: Path, monkeypatch
) -> None:
    """Taken over a file that somebody else has signed since: the signature stands, their text is kept for good."""
    signed = on_disk(path).visits[0]
    before = path.read_text("utf-8")
    old = read_version(versions(path)[int(number_of(path, 'pd = "62"')) - 1])
    offer = copy_of(path, old, None, monkeypatch)
    assert not offer.is_based_on_present and not can_be_joined(offer)
    assert take_copy(offer).stayed == ("examination of 2026-11-25",)
    assert on_disk(path).visits == (signed,)
    assert before in [read_version(each) for each in versions(path) if each.is_kept]


def test_a_copy_and_a_file_changed_since_are_put_together(path: Path, monkeypatch) -> None:
    """Both typed values are there; of one that both typed, both."""
    base, stamp = on_disk(path), current_stamp(path)
    theirs = base.with_typed("left.pupil", "4").with_typed("left.contrast", "1.2")
    save_case(path, dumps_case(theirs), stamp, keep_for_good=True)
    mine = base.with_typed("right.pupil", "5").with_typed("left.contrast", "1.4")
    offer = copy_of(path, dumps_case(mine), stamp, monkeypatch)
    assert can_be_joined(offer)
    join_copy(offer)
    case = on_disk(path)
    assert [case.visit.findings[f"{eye}.pupil"].typed for eye in ("right", "left")] == ["5", "4"]
    assert case.visit.findings["left.contrast"].typed == "1.4"
    assert case.extra["set_aside"][0]["other"] == "1.2"


def test_a_copy_makes_no_folder_in_the_place_of_a_share_that_is_gone(path: Path, monkeypatch) -> None:
    """Refused, and the copy stays; in a folder that is there, a file that was deleted is written again."""
    text, stamp = path.read_text("utf-8"), current_stamp(path)
    away = path.parent.rename(path.parent.with_name("away"))
    offer = copy_of(path, text, stamp, monkeypatch)
    assert offer.present is None
    with pytest.raises(FileRefusal, match="share"):
        take_copy(offer)
    assert offer.path.exists() and not path.parent.exists()
    away.rename(path.parent)
    path.unlink()
    take_copy(offer)
    assert path.read_text("utf-8") == text
