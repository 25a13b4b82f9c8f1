"""The case list's index: first page at once, whatever the number of cases.

An sqlite file in the cache folder, derived from the case files, versioned and disposable: a damaged or older
one is deleted and made again, one that cannot be written is kept in memory. It is never asked whether a case
exists when a case is opened or saved; the file decides. sqlite3 is imported at the first use.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator, Mapping
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple, TypeVar

from ..errors import AfocalError, EntryRefusal, FileRefusal
from .figures import INSERT_FIGURE, Sums, figure_rows, stored_sums
from .filesystem import REAL, FileSystem
from .index_file import bring_up, connect, delete_file, open_file
from .index_schema import (
    INSERT_OUTCOME,
    MARK_DUPLICATES,
    OUTCOME_COLUMNS,
    ROW_COLUMNS,
    SORTS,
    UPSERT,
    FileState,
    ListRow,
    file_row,
    list_row,
    outcome_rows,
)

if TYPE_CHECKING:
    import sqlite3

Header = Mapping[str, Any]
HeaderExtractor = Callable[[str], Header]
Result = TypeVar("Result")
_FEW = 1000
_ROWS = ", ".join(ROW_COLUMNS)


class IndexedFile(NamedTuple):
    """One file as the index is to hold it: its state, its header, or the problem that kept it from being
    read."""

    state: FileState
    header: Header
    problem: str = ""
    line: int | None = None


def header_of(path: Path, state: FileState, text: str, extract: HeaderExtractor) -> IndexedFile:
    """What the index holds of a text; any failure of ``extract`` becomes a problem of this one file."""
    try:
        header = dict(extract(text))
        problem, line = str(header.pop("problem", "") or ""), header.pop("line", None)
        candidate = IndexedFile(state, header, problem, line)
        file_row(state, header, problem, line)
        outcome_rows(state.name, header)
        figure_rows(state.name, header.get("figures", ()))
        return candidate
    except FileRefusal as error:
        key = f"{error.key}: " if error.key else ""
        return IndexedFile(state, {}, key + error.reason, error.line)
    except AfocalError as error:
        return IndexedFile(state, {}, str(error))
    except Exception as error:  # one strange file must not hide its neighbours
        return IndexedFile(state, {}, f"cannot be read as a case ({type(error).__name__})")


class CaseIndex:
    """The index of one case folder. All methods may be called from any thread; reading never waits for
    writing."""

    def __init__(self, folder: Path, path: Path, *, fs: FileSystem = REAL) -> None:
        """``folder`` holds the case files, ``path`` is the sqlite file (see ``paths.index_file``)."""
        self.folder = folder
        self.path = path
        self.fs = fs
        self.in_memory = False
        self._local = threading.local()
        self._writing = threading.RLock()
        self._generation = 0
        self._open_connections: list[sqlite3.Connection] = []
        self._anchor: sqlite3.Connection | None = None

    # Reading

    def page(
        self,
        offset: int = 0,
        limit: int = 50,
        *,
        search: str = "",
        sort: str = "last_visit",
        descending: bool = True,
    ) -> list[ListRow]:
        """``limit`` rows from ``offset``; every word of ``search`` must occur in code, dates, kind, goals,
        device, next step or problem. ``sort`` is one of ``index_schema.SORTS``; EntryRefusal for another.
        """
        if sort not in SORTS:
            raise EntryRefusal("sort", sort, ", ".join(SORTS), example="last_visit")
        direction = "DESC" if descending else "ASC"
        order = f"ORDER BY {SORTS[sort]} {direction}, name {direction} LIMIT ? OFFSET ?"
        where, values = self._narrowed(*_condition(search))
        statement = f"SELECT {_ROWS} FROM files {where} {order}"
        found = self._read(lambda db: db.execute(statement, (*values, limit, max(offset, 0))).fetchall())
        return [list_row(row) for row in found]

    def _narrowed(self, where: str, values: list[str]) -> tuple[str, list[str]]:
        """The condition as row numbers when few rows match: one run through the file, then sorting those few.

        Walking along the sort's index finds a frequent word at once, but takes many times as long for a rare one.
        """
        if not where:
            return where, values
        statement = f"SELECT rowid FROM files NOT INDEXED {where} LIMIT {_FEW + 1}"
        numbers = [row[0] for row in self._read(lambda db: db.execute(statement, values).fetchall())]
        if len(numbers) > _FEW:
            return where, values
        return f"WHERE rowid IN ({', '.join(map(str, numbers))})", []

    def total(self, search: str = "") -> int:
        """How many files the index holds; with ``search``, how many match (this looks at every row)."""
        if not search.strip():
            return self._read(lambda db: db.execute("SELECT cases FROM totals").fetchone()[0])
        where, values = _condition(search)
        return self._read(
            lambda db: db.execute(f"SELECT count(*) FROM files NOT INDEXED {where}", values).fetchone()[0]
        )

    def row(self, name: str) -> ListRow | None:
        """The row of one file name."""
        found = self._read(
            lambda db: db.execute(f"SELECT {_ROWS} FROM files WHERE name = ?", (name,)).fetchone()
        )
        return list_row(found) if found else None

    def problems(self, limit: int = 1000) -> list[ListRow]:
        """The damaged files, by name."""
        statement = f"SELECT {_ROWS} FROM files WHERE problem > '' ORDER BY problem, name LIMIT ?"
        found = self._read(lambda db: db.execute(statement, (limit,)).fetchall())
        return [list_row(row) for row in found]

    def outcomes(self) -> list[dict[str, Any]]:
        """Every outcome of every readable case, as dicts of ``OUTCOME_COLUMNS`` with ``code`` and
        ``birth_year``."""
        columns = ("code", "birth_year", *OUTCOME_COLUMNS)
        chosen = ", ".join(f"outcomes.{name}" for name in OUTCOME_COLUMNS)
        statement = f"SELECT files.code, files.birth_year, {chosen} FROM outcomes JOIN files USING (name)"
        found = self._read(lambda db: db.execute(statement).fetchall())
        return [dict(zip(columns, row, strict=True)) for row in found]

    def sums(self, beyond: float) -> Sums:
        """The sums of a look back over every readable case; ``beyond`` as in ``figures.sums_of``."""

        def look(db: sqlite3.Connection) -> Sums:
            # All statements see one state, whatever the background check writes meanwhile.
            db.execute("BEGIN")
            try:
                return stored_sums(db, beyond)
            finally:
                db.execute("ROLLBACK")

        return self._read(look)

    def kept(self, name: str, make: Callable[[], str]) -> str:
        """A text made from all outcomes (a look back over thousands of cases), kept until one of them changes."""
        known = self._read(
            lambda db: db.execute(
                "SELECT value FROM kept, totals WHERE name = ? AND kept.changes = totals.changes", (name,)
            ).fetchone()
        )
        if known is not None:
            return known[0]
        changes = self._read(lambda db: db.execute("SELECT changes FROM totals").fetchone()[0])
        value = make()
        statement = "INSERT OR REPLACE INTO kept VALUES (?, ?, ?)"

        def keep(db: sqlite3.Connection) -> None:
            db.execute(statement, (name, changes, value))

        self._write(keep)
        return value

    def known(self) -> Iterator[list[FileState]]:
        """The state of every indexed file, in portions."""
        statement = "SELECT name, mtime_ns, ctime_ns, size FROM files WHERE name > ? ORDER BY name LIMIT 2000"
        last = ""
        while True:
            after = last
            rows = self._read(lambda db, after=after: db.execute(statement, (after,)).fetchall())
            if not rows:
                return
            last = rows[-1][0]
            yield [FileState(*row) for row in rows]

    # Writing

    def put(self, files: list[IndexedFile]) -> None:
        """Insert or renew the rows of these files, in one transaction."""

        def write(db: sqlite3.Connection) -> None:
            with db:
                db.execute("BEGIN IMMEDIATE")
                for each in files:
                    name = each.state.name
                    db.execute(UPSERT, file_row(each.state, each.header, each.problem, each.line))
                    db.execute("DELETE FROM outcomes WHERE name = ?", (name,))
                    db.executemany(INSERT_OUTCOME, outcome_rows(name, each.header))
                    db.execute("DELETE FROM figures WHERE name = ?", (name,))
                    db.executemany(INSERT_FIGURE, figure_rows(name, each.header.get("figures", ())))

        if files:
            self._write(write)

    def note_saved(self, path: Path, text: str, extract: HeaderExtractor) -> None:
        """Renew the row of a case that was just saved, so that the list shows it before the next full
        check."""
        with suppress(OSError):
            status = self.fs.lstat(path)
            state = FileState(path.name, status.st_mtime_ns, status.st_ctime_ns, status.st_size)
            self.put([header_of(path, state, text, extract)])

    def drop(self, names: list[str]) -> None:
        """Remove the rows of these file names, and their content from the index file."""

        def write(db: sqlite3.Connection) -> None:
            with db:
                db.execute("BEGIN IMMEDIATE")
                db.executemany("DELETE FROM files WHERE name = ?", ((name,) for name in names))
                # A text made from all cases may quote the ones that go.
                db.execute("DELETE FROM kept")
            if not self.in_memory:
                db.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()

        if names:
            self._write(write)

    def mark_duplicates(self) -> None:
        """Note on every readable file whose code another file has too."""

        def write(db: sqlite3.Connection) -> None:
            with db:
                db.execute("BEGIN IMMEDIATE")
                db.execute(MARK_DUPLICATES)

        self._write(write)

    def verify(self) -> None:
        """Let sqlite check the whole file; a damaged one is made again. For a background thread: it reads
        all."""

        def look(db: sqlite3.Connection) -> None:
            import sqlite3

            if db.execute("PRAGMA quick_check(1)").fetchone()[0] != "ok":
                raise sqlite3.DatabaseError("damaged")

        self._read(look)

    def discard(self) -> None:
        """Delete the index file; the next use makes an empty one."""
        with self._writing:
            self._forget()

    def leave(self) -> None:
        """Close the connection of this thread, at its end; those of others stay."""
        with self._writing:
            if getattr(self._local, "generation", None) == self._generation:
                self._open_connections.remove(self._local.connection)
                self._local.connection.close()
                self._local.generation = None

    def close(self) -> None:
        """Close every connection, when no other thread works on it; the index may be used again afterwards."""
        with self._writing:
            self._close_all()

    # Connections

    def _read(self, action: Callable[[sqlite3.Connection], Result]) -> Result:
        import sqlite3

        try:
            return action(self._connection())
        except sqlite3.Error:
            with self._writing:
                self._forget()
                return action(self._connection())

    def _write(self, action: Callable[[sqlite3.Connection], None]) -> None:
        import sqlite3

        with self._writing:
            try:
                action(self._connection())
            except sqlite3.OperationalError as error:
                if "locked" in str(error) or "busy" in str(error):
                    return  # another window is writing the same rows; the next check settles it
                self._forget()
                action(self._connection())
            except sqlite3.DatabaseError:
                self._forget()
                action(self._connection())

    def _connection(self) -> sqlite3.Connection:
        if getattr(self._local, "generation", None) == self._generation:
            return self._local.connection
        with self._writing:
            connection = self._open()
            self._open_connections.append(connection)
            self._local.connection = connection
            self._local.generation = self._generation
            return connection

    def _open(self) -> sqlite3.Connection:
        import sqlite3

        if not self.in_memory:
            for _ in range(2):
                try:
                    return open_file(self.path, self.fs)
                except (sqlite3.Error, OSError):
                    delete_file(self.path, self.fs)
            self.in_memory = True
        return self._open_memory()

    def _open_memory(self) -> sqlite3.Connection:
        uri = f"file:afocal-{id(self):x}-{self._generation}?mode=memory&cache=shared"
        if self._anchor is None:
            self._anchor = connect(uri, uri=True)
            bring_up(self._anchor)
        connection = connect(uri, uri=True)
        connection.execute("PRAGMA read_uncommitted = 1")
        return connection

    def _forget(self) -> None:
        self._close_all()
        if not self.in_memory:
            delete_file(self.path, self.fs)

    def _close_all(self) -> None:
        import sqlite3

        self._generation += 1
        for connection in (*self._open_connections, *([self._anchor] if self._anchor else [])):
            with suppress(sqlite3.Error):
                connection.close()
        self._open_connections.clear()
        self._anchor = None


def _condition(search: str) -> tuple[str, list[str]]:
    words = search.casefold().split()
    if not words:
        return "", []
    escaped = (word.replace("\\", "\\\\").replace("%", "\\%").replace("_", "\\_") for word in words)
    terms = " AND ".join("haystack LIKE ? ESCAPE '\\'" for _ in words)
    return f"WHERE {terms}", [f"%{word}%" for word in escaped]
