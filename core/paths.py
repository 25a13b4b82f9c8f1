"""The one place that knows where afocal keeps things.

These functions only compute; a folder is made by whoever writes into it
(``store.files.make_private_folder``). Each place can be moved by an environment variable: ``AFOCAL_CASES``
(folder of case files), ``AFOCAL_STOCK`` (stock file), ``AFOCAL_CONFIG``, ``AFOCAL_CACHE`` and
``AFOCAL_STATE`` (folders). No other file reads these variables or asks the system for a user folder.
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import NamedTuple
from zlib import crc32

APP_NAME = "afocal"
HISTORY_FOLDER_NAME = ".history"
DOCUMENTS_FOLDER_NAME = "out"
CASE_SUFFIX = ".toml"
TASKS_NAME = "tasks.toml"


def _from_environment(variable: str) -> Path | None:
    given = os.environ.get(variable, "").strip()
    return Path(given).expanduser() if given else None


def _user_folder(kind: str) -> Path:
    # Late: platformdirs is not needed when every place is given by the environment.
    import platformdirs

    folder = getattr(platformdirs, f"user_{kind}_path")
    return folder(APP_NAME, appauthor=False)


def cases_dir() -> Path:
    """Folder of the case files: ``AFOCAL_CASES`` or ``cases`` in the user's data folder."""
    return _from_environment("AFOCAL_CASES") or _user_folder("data") / "cases"


def stock_file() -> Path:
    """The clinic's stock of telescopes: ``AFOCAL_STOCK`` or ``stock.toml`` in the settings folder."""
    return _from_environment("AFOCAL_STOCK") or config_dir() / "stock.toml"


def config_dir() -> Path:
    """Folder of settings and of the clinic's own themes: ``AFOCAL_CONFIG`` or the user's settings folder."""
    return _from_environment("AFOCAL_CONFIG") or _user_folder("config")


def settings_file() -> Path:
    """The settings file, ``settings.toml`` in :func:`config_dir`."""
    return config_dir() / "settings.toml"


def tasks_file() -> Path:
    """The clinic's own everyday tasks, ``tasks.toml`` in :func:`config_dir`."""
    return config_dir() / TASKS_NAME


def themes_dir() -> Path:
    """Folder of the clinic's own themes, ``themes`` in :func:`config_dir`."""
    return config_dir() / "themes"


def cache_dir() -> Path:
    """Folder of what can be made again at any time: ``AFOCAL_CACHE`` or the user's cache folder."""
    return _from_environment("AFOCAL_CACHE") or _user_folder("cache")


def state_dir() -> Path:
    """Folder of recovery copies and crash reports: ``AFOCAL_STATE`` or the user's state folder."""
    return _from_environment("AFOCAL_STATE") or _user_folder("state")


def recovery_dir() -> Path:
    """Folder of the recovery copies, away from the case folder so that both are not lost at once."""
    return state_dir() / "recovery"


def reports_dir() -> Path:
    """Folder of crash reports."""
    return state_dir() / "reports"


def case_file(code: str, folder: Path | None = None) -> Path:
    """The case file of a patient code in ``folder`` (default :func:`cases_dir`)."""
    return (folder or cases_dir()) / f"{code}{CASE_SUFFIX}"


def history_dir(case_path: Path) -> Path:
    """Folder of the earlier versions of one case: ``.history/<code>`` beside the case file.

    Beside it, so that a case folder that is copied, shared or synchronised takes its history along.
    """
    return case_path.parent / HISTORY_FOLDER_NAME / case_path.stem


def documents_dir(case_path: Path) -> Path:
    """Folder of the documents written about the cases of a folder: ``out`` beside the case files."""
    return case_path.parent / DOCUMENTS_FOLDER_NAME


def index_file(folder: Path) -> Path:
    """The list's index of one case folder; its name holds a checksum of the folder's path and its length.

    A checksum will do: should two folders ever share an index, the check against the folder puts it right.
    """
    path = os.path.abspath(folder)
    return cache_dir() / f"cases-{crc32(os.fsencode(path)):08x}{len(path):04x}.sqlite"


def known_good_file() -> Path:
    """Digests of the stock and settings files that were checked and found good."""
    return cache_dir() / "known-good.txt"


class Place(NamedTuple):
    """One place in use: its name, where it is, and what is stored there."""

    name: str
    path: Path
    holds: str


def places(cases: Path | None = None, stock: Path | None = None) -> list[Place]:
    """Every place that afocal writes to, for ``afocal where``; ``cases`` and ``stock`` override the usual
    ones."""
    folder = cases or cases_dir()
    return [
        Place("cases", folder, "one TOML file a patient, by patient code"),
        Place("history", folder / HISTORY_FOLDER_NAME, "earlier versions of each case"),
        Place(
            "documents",
            folder / DOCUMENTS_FOLDER_NAME,
            "notes, sheets, orders and exchange files that were written out",
        ),
        Place("stock", stock or stock_file(), "the clinic's telescopes"),
        Place("settings", settings_file(), "settings of this program"),
        Place("tasks", tasks_file(), "the clinic's own everyday tasks, over those of the program"),
        Place("themes", themes_dir(), "the clinic's own themes"),
        Place(
            "index", index_file(folder), "the case list's index; derived from the case files, may be deleted"
        ),
        Place(
            "known good",
            known_good_file(),
            "digests of stock and settings files that were checked; may be deleted",
        ),
        Place("recovery", recovery_dir(), "copies of cases that could not be saved"),
        Place("reports", reports_dir(), "reports of crashes, without patient data"),
    ]
