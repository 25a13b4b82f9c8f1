"""The sqlite file of the case list's index: opened private to the user, given its tables, deleted.

sqlite3 is imported at the first use.
"""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

from .filesystem import FileSystem
from .index_schema import SCHEMA, VERSION

if TYPE_CHECKING:
    import sqlite3

_BUSY_MS = 2000
# Each thread has a connection of its own, for which the library would keep 2 MB of pages; a page of the list and a
# check of the file want a few dozen, and the system's own cache holds the rest.
_CACHE_KIB = 256
_SETTINGS = ("foreign_keys = ON", "synchronous = NORMAL", "secure_delete = ON", f"cache_size = -{_CACHE_KIB}")


def open_file(path: Path, fs: FileSystem) -> sqlite3.Connection:
    """A connection to the file at ``path``, made when it is not there; sqlite3.Error or OSError when it cannot be."""
    try:
        fs.lstat(path.parent)
    except FileNotFoundError:
        # Late: the first paint of the list waits for nothing that it does not need.
        from .files import make_private_folder

        make_private_folder(path.parent, fs=fs)
    with suppress(FileExistsError):
        # Made by us first, because sqlite would make it readable to others.
        fs.close(fs.open_new(path))
    connection = connect(str(path), uri=False)
    try:
        connection.execute("PRAGMA journal_mode = WAL").fetchone()
        bring_up(connection)
    except BaseException:
        connection.close()
        raise
    return connection


def delete_file(path: Path, fs: FileSystem) -> None:
    """Delete the file with what sqlite keeps beside it, as far as that can be done."""
    for suffix in ("", "-wal", "-shm", "-journal"):
        with suppress(OSError):
            fs.unlink(path.with_name(path.name + suffix))


def connect(name: str, *, uri: bool) -> sqlite3.Connection:
    """A connection with our settings to a file or, by ``uri``, to memory; sqlite3.Error when it cannot be had."""
    import sqlite3

    connection = sqlite3.connect(
        name, uri=uri, timeout=_BUSY_MS / 1000, isolation_level=None, check_same_thread=False
    )
    try:
        for setting in _SETTINGS:
            connection.execute(f"PRAGMA {setting}")
    except BaseException:
        # Open, a damaged file could not be deleted everywhere.
        connection.close()
        raise
    return connection


def bring_up(connection: sqlite3.Connection) -> None:
    """Make the tables in an empty file; DatabaseError for a file of another version, which is then
    deleted."""
    import sqlite3

    version = connection.execute("PRAGMA user_version").fetchone()[0]
    if version == VERSION:
        connection.execute("SELECT cases FROM totals").fetchone()
        return
    if version != 0:
        raise sqlite3.DatabaseError("another version")
    connection.executescript(f"BEGIN IMMEDIATE;{SCHEMA}PRAGMA user_version = {VERSION};COMMIT;")
