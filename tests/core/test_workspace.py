"""The folders of a run, and how cases, stock and settings are found and opened in them."""

from __future__ import annotations

import os
import stat
import sys
from datetime import date
from pathlib import Path

import pytest

from afocal.core.errors import EntryRefusal, FileRefusal
from afocal.core.workspace import DEMO, NO_SUCH_CASE, Workspace, demo_workspace, practice_folders

DAY = date(2026, 11, 25)


@pytest.fixture
def workspace(tmp_path: Path) -> Workspace:
    return demo_workspace(tmp_path)


def test_the_practice_set_is_a_private_copy(workspace, tmp_path):
    """Every case and the stock, marked as practice, in folders that are the user's alone."""
    assert workspace.is_demo
    assert {path.name for path in workspace.cases.iterdir()} == {
        path.name for path in (DEMO / "cases").glob("*.toml")
    }
    assert len(list(workspace.cases.iterdir())) >= 6
    assert workspace.stock()[1] == [] and workspace.settings()[1] == []
    if sys.platform != "win32":
        assert stat.S_IMODE(workspace.cases.stat().st_mode) == 0o700
    assert all(str(tmp_path) in place for place in practice_folders(tmp_path).values())


def test_a_case_goes_by_code_file_name_or_path(workspace, monkeypatch, tmp_path):
    """A file that is there wins for names of files; a bare code never means a file of the current folder."""
    path = workspace.cases / "LQ-101.toml"
    monkeypatch.chdir(tmp_path)
    (tmp_path / "LQ-101").write_text("no case", "utf-8")
    for name in ("LQ-101", "LQ-101.toml", str(path), os.path.join("cases", "LQ-101.toml")):
        assert os.path.samefile(workspace.case_path(name), path), name
    own = tmp_path / "LQ-101.toml"
    own.write_text(path.read_text("utf-8"), "utf-8")
    assert os.path.samefile(workspace.case_path("LQ-101.toml"), own)
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.setenv("USERPROFILE", str(tmp_path))
    assert os.path.samefile(workspace.case_path("~/LQ-101.toml"), own)


@pytest.mark.parametrize("name", ["NOBODY", "a/b", "x" * 4000, "~nobody-of-that-name/a", "\ud800", "a\0b"])
def test_a_case_that_is_not_there_is_one_refusal(workspace, name):
    """Whatever the name, the same sentence and never another error."""
    with pytest.raises(FileRefusal) as refused:
        workspace.open_case(name)
    assert refused.value.reason == NO_SUCH_CASE
    assert str(refused.value).isprintable()


def test_what_is_no_ordinary_file_is_refused_with_its_kind(workspace):
    """A folder, and a link to nowhere, are named for what they are."""
    (workspace.cases / "F-1.toml").mkdir()
    with pytest.raises(FileRefusal, match="a folder"):
        workspace.open_case("F-1")
    if sys.platform != "win32":
        (workspace.cases / "L-1.toml").symlink_to("nowhere")
        with pytest.raises(FileRefusal, match="a symbolic link"):
            workspace.open_case("L-1")


def test_a_new_case_needs_a_free_and_plain_code(workspace):
    """Taken is taken in capitals too, since some systems do not tell them apart."""
    opened = workspace.new_case("N-1", DAY)
    assert opened.stamp is None and opened.path == workspace.cases / "N-1.toml" and not opened.path.exists()
    for code in ("LQ-101", "lq-101"):
        with pytest.raises(EntryRefusal, match="has a case already"):
            workspace.new_case(code, DAY)
    for code in ("", "../x", "a b", "a/b", "-x", ".x", "x" * 65, "\x1b[2J", "Ä-1"):
        with pytest.raises(EntryRefusal, match="KM-014"):
            workspace.new_case(code, DAY)


def test_stock_and_settings_that_are_missing_or_damaged_still_give_something(workspace):
    """Defaults and the reason; a missing settings file is no fault."""
    workspace.stock_path.write_bytes(b"\xff\xfe\x00")
    stock, problems = workspace.stock()
    assert not stock.telescopes and len(problems) == 1
    workspace.stock_path.unlink()
    assert "afocal stock" in str(workspace.stock()[1][0])
    assert workspace.settings()[1] == []
    workspace.settings_path.write_text("[[[", "utf-8")
    settings, problems = workspace.settings()
    assert settings.acuity_notation == "snellen_ft" and len(problems) == 1
    workspace.settings_path.unlink()
    workspace.settings_path.mkdir()
    assert "folder" in str(workspace.settings()[1][0])


def test_the_environment_moves_every_place(monkeypatch, tmp_path):
    """AFOCAL_CASES, AFOCAL_STOCK and AFOCAL_CONFIG."""
    monkeypatch.setenv("AFOCAL_CASES", str(tmp_path / "c"))
    monkeypatch.setenv("AFOCAL_STOCK", str(tmp_path / "s.toml"))
    monkeypatch.setenv("AFOCAL_CONFIG", str(tmp_path / "k"))
    made = Workspace()
    assert (made.cases, made.stock_path, made.settings_path) == (
        tmp_path / "c",
        tmp_path / "s.toml",
        tmp_path / "k" / "settings.toml",
    )
