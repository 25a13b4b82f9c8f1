"""The folders: moved by the environment, computed only, and the store's main path without any network."""

from __future__ import annotations

import socket
import tomllib

import pytest

from afocal.core import paths
from afocal.core.store.archive import pack, unpack
from afocal.core.store.history import versions
from afocal.core.store.index import CaseIndex
from afocal.core.store.recovery import find
from afocal.core.store.refresh import refresh
from afocal.core.store.remove import remove_patient
from afocal.core.store.saver import Saver


@pytest.fixture
def home(tmp_path, monkeypatch):
    for name in ("CASES", "STOCK", "CONFIG", "CACHE", "STATE"):
        monkeypatch.setenv(f"AFOCAL_{name}", str(tmp_path / name.lower()))
    return tmp_path


def test_every_place_can_be_moved_and_none_is_made_by_asking(home):
    """All places lie where the environment says; asking makes no folder."""
    assert paths.cases_dir() == home / "cases"
    assert paths.stock_file() == home / "stock"
    assert paths.settings_file() == home / "config" / "settings.toml"
    assert paths.themes_dir() == home / "config" / "themes"
    assert paths.recovery_dir() == home / "state" / "recovery"
    assert paths.reports_dir() == home / "state" / "reports"
    assert paths.index_file(home).parent == home / "cache"
    assert paths.case_file("P1") == home / "cases" / "P1.toml"
    assert paths.history_dir(home / "cases" / "P1.toml") == home / "cases" / ".history" / "P1"
    assert all(place.holds and place.path.is_relative_to(home) for place in paths.places())
    assert list(home.iterdir()) == []


def test_without_the_environment_the_user_folders_are_used(monkeypatch):
    """An empty variable counts as none; the folders carry the program's name."""
    for name in ("CASES", "STOCK", "CONFIG", "CACHE", "STATE"):
        monkeypatch.setenv(f"AFOCAL_{name}", " ")
    for place in (
        paths.cases_dir(),
        paths.stock_file(),
        paths.config_dir(),
        paths.cache_dir(),
        paths.state_dir(),
    ):
        assert place.is_absolute()
        assert "afocal" in place.parts


def test_two_case_folders_do_not_share_an_index(home):
    """The index belongs to one folder, however its path is written."""
    assert paths.index_file(home / "a") != paths.index_file(home / "b")
    assert paths.index_file(home / "a") == paths.index_file(home / "b" / ".." / "a")


def test_the_main_path_uses_no_network(home, monkeypatch):
    """Save, list, recover, pack, unpack and delete while every socket is refused."""

    def refused(*arguments, **named):
        raise AssertionError("the store opened a socket")

    monkeypatch.setattr(socket, "socket", refused)
    monkeypatch.setattr(socket, "create_connection", refused)
    monkeypatch.setattr(socket, "getaddrinfo", refused)
    path = paths.case_file("P1")
    saver = Saver(path, None, paths.recovery_dir())
    saver.put("code = 'P1'", patience_s=5)
    saver.put("code = 'P1'\nn = 1", patience_s=5)
    assert saver.close().kind == "saved"
    index = CaseIndex(path.parent, paths.index_file(path.parent))
    assert list(refresh(index, tomllib.loads))[-1].done
    assert len(index.page()) == 1
    assert find(paths.recovery_dir(), tomllib.loads).offers == []
    assert len(versions(path)) == 1
    packed = pack(path.parent, home / "all.zip")
    assert len(unpack(packed.path, home / "there").written) == packed.files
    assert remove_patient(path, paths.recovery_dir(), index).is_complete
    index.close()
