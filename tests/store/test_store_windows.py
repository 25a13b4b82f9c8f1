"""The branches for Windows, run here with what Windows lacks taken away."""

from __future__ import annotations

import os
import subprocess
import sys

import pytest

from afocal.core.errors import FileRefusal
from afocal.core.store import reading
from afocal.core.store.filesystem import FileSystem, reason_of
from afocal.core.store.reading import read_text

SCRIPT = """
import importlib, os, pkgutil, sys, tempfile, tomllib
from pathlib import Path
import sqlite3, platformdirs, subprocess
for name in ("uname", "O_NOFOLLOW", "O_NONBLOCK", "O_CLOEXEC", "mkfifo", "link", "getuid", "kill"):
    if hasattr(os, name):
        delattr(os, name)
for name in ("fcntl", "pwd", "grp", "termios", "resource"):
    sys.modules[name] = None
import afocal.core.store as store
modules = [importlib.import_module(f"afocal.core.store.{each.name}") for each in pkgutil.iter_modules(store.__path__)]
for module in modules:
    if hasattr(module, "WINDOWS"):
        module.WINDOWS = True
from afocal.core.store import archive, history, index, locks, recovery, refresh, remove, saver
folder = Path(tempfile.mkdtemp(dir=sys.argv[1]))
path = folder / "cases" / "P1.toml"
keeper = saver.Saver(path, None, folder / "recovery")
keeper.put("code = 'P1'", patience_s=5)
locks.lock_path(path).write_text("other 1 x y\\n")
locks.STALE_S = 0.05
keeper.put("code = 'P1'\\nn = 1", patience_s=5)
assert keeper.close().kind == "saved", keeper.state
listed = index.CaseIndex(path.parent, folder / "i.sqlite")
assert list(refresh.refresh(listed, tomllib.loads))[-1].done and len(listed.page()) == 1
packed = archive.pack(path.parent, folder / "a.zip")
assert len(archive.unpack(packed.path, folder / "new").written) == packed.files
assert remove.remove_patient(path, folder / "recovery", listed).is_complete
print(len(modules))
"""


def test_the_whole_path_runs_without_what_windows_lacks(tmp_path):
    """Every module imports, and saving, listing, packing and deleting work without POSIX calls and hard links."""
    done = subprocess.run([sys.executable, "-c", SCRIPT, str(tmp_path)], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    assert int(done.stdout) >= 15


@pytest.mark.parametrize("name", ["CON", "nul.toml", "COM1.toml", "lpt9", "Aux .toml"])
def test_names_of_devices_are_refused_there(tmp_path, monkeypatch, name):
    """CON or COM1 with any ending is a device on Windows, whatever the folder."""
    monkeypatch.setattr(reading, "WINDOWS", True)
    (tmp_path / name).write_text("a = 1", encoding="utf-8")
    with pytest.raises(FileRefusal, match="name of a device"):
        read_text(tmp_path / name)


def test_a_file_held_by_a_scanner_is_replaced_a_moment_later(tmp_path, monkeypatch):
    """A virus scanner or indexer that holds the file for milliseconds does not make a save fail."""
    monkeypatch.setattr("afocal.core.store.filesystem.WINDOWS", True)
    source, target, tries = tmp_path / "a", tmp_path / "b", []
    source.write_text("x", encoding="utf-8")
    real = os.replace

    def held(one, other) -> None:
        tries.append(one)
        if len(tries) < 3:
            raise PermissionError(13, "held")
        real(one, other)

    monkeypatch.setattr(os, "replace", held)
    FileSystem().replace(source, target)
    assert (len(tries), target.exists()) == (3, True)


@pytest.mark.parametrize(("code", "words"), [(32, "another program"), (53, "share"), (112, "full")])
def test_reasons_of_windows_are_said_in_plain_words(code, words):
    """The system's own numbers for shares and open files are understood."""
    error = OSError(13, "text")
    error.winerror = code  # type: ignore[attr-defined]
    assert words in reason_of(error)
