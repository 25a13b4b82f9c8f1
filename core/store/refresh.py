"""Bringing the case list's index up to the case folder, in slices, so that a key never waits.

:func:`refresh` is a generator that works for a few milliseconds between two yields;
:class:`BackgroundRefresh` runs it in a thread. Only files whose modification time, status-change time or
size differ are opened. Damaged files get a row with their reason; no file is ever written here.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from ..errors import FileRefusal
from ..paths import CASE_SUFFIX
from .filesystem import FileSystem, reason_of
from .index import CaseIndex, HeaderExtractor, IndexedFile, header_of
from .index_schema import FileState
from .reading import read_text

SLICE_S = 0.004
_PAUSE_S = 0.001
# A file changed again within one tick of its clock would look unchanged. Some file systems count whole
# seconds.
_FINE_TICK_S = 0.1
_COARSE_TICK_S = 3.0
_UNSETTLED = -1


@dataclass(frozen=True, slots=True)
class Progress:
    """How far a refresh is: files seen, files that had to be read, how many of them are read, files gone.

    ``problem`` says why the folder could not be listed; the rows are then left as they were.
    """

    seen: int = 0
    changed: int = 0
    read: int = 0
    gone: int = 0
    done: bool = False
    problem: str = ""

    @property
    def altered(self) -> bool:
        """Whether the list may look different from before."""
        return bool(self.read or self.gone)


def refresh(index: CaseIndex, extract: HeaderExtractor, *, slice_s: float = SLICE_S) -> Iterator[Progress]:
    """Compare the folder with the index and renew what differs; yields after each slice of about
    ``slice_s``."""
    clock = _Slice(slice_s)
    known: dict[str, FileState] = {}
    for portion in index.known():
        known.update((state.name, state) for state in portion)
        yield Progress()
    changed: list[FileState] = []
    seen = 0
    try:
        for state in _listed(index.folder, index.fs):
            if state is not None:
                seen += 1
                if known.pop(state.name, None) != state:
                    changed.append(state)
            if clock.is_over():
                yield Progress(seen, len(changed))
    except OSError as error:
        yield Progress(seen, len(changed), done=True, problem=f"{index.folder}: {reason_of(error)}")
        return
    gone = list(known)
    for start in range(0, len(gone), 200):
        index.drop(gone[start : start + 200])
        yield Progress(seen, len(changed), 0, len(gone))
    yield from _read_changed(index, extract, changed, seen, len(gone), clock)
    if changed or gone:
        index.mark_duplicates()
    yield Progress(seen, len(changed), len(changed), len(gone), done=True)


class _Slice:
    def __init__(self, length_s: float) -> None:
        self._length_s = length_s
        self._ends = time.perf_counter() + length_s

    def is_over(self) -> bool:
        now = time.perf_counter()
        if now < self._ends:
            return False
        self._ends = now + self._length_s + _PAUSE_S
        return True


def _listed(folder: Path, fs: FileSystem) -> Iterator[FileState | None]:
    """The case files of the folder; None for an entry that is none, so that a slice can end there too."""
    with closing(fs.scan(folder)) as entries:  # type: ignore[type-var]
        for entry in entries:
            if entry.name.startswith(".") or not entry.name.endswith(CASE_SUFFIX):
                yield None
                continue
            try:
                status = entry.stat(follow_symlinks=False)
            except FileNotFoundError:
                yield None  # removed this moment
                continue
            yield FileState(_safe(entry.name), status.st_mtime_ns, status.st_ctime_ns, status.st_size)


def _safe(name: str) -> str:
    # A file name that is not valid text cannot be kept in sqlite as it is; it stays recognisable and is
    # listed.
    return name.encode("utf-8", "backslashreplace").decode("utf-8")


def _read_changed(
    index: CaseIndex,
    extract: HeaderExtractor,
    changed: list[FileState],
    seen: int,
    gone: int,
    clock: _Slice,
) -> Iterator[Progress]:
    changed.sort(key=lambda state: state.mtime_ns, reverse=True)
    waiting: list[IndexedFile] = []
    vanished: list[str] = []
    for number, state in enumerate(changed, start=1):
        read = _read_one(index, extract, state)
        if read is None:
            vanished.append(state.name)
        else:
            waiting.append(read)
        if clock.is_over():
            index.put(waiting)
            waiting.clear()
            yield Progress(seen, len(changed), number, gone)
    index.put(waiting)
    index.drop(vanished)


def _read_one(index: CaseIndex, extract: HeaderExtractor, state: FileState) -> IndexedFile | None:
    path = index.folder / state.name
    try:
        text = read_text(path, fs=index.fs).text
    except FileRefusal as error:
        try:
            index.fs.lstat(path)
        except FileNotFoundError:
            if "\\" not in state.name:
                return None
        except OSError:
            pass  # the reason of the first try is the better one
        return IndexedFile(state, {}, error.reason, error.line)
    read = header_of(path, state, text, extract)
    if _is_settled(state):
        return read
    unsettled = FileState(state.name, state.mtime_ns, state.ctime_ns, _UNSETTLED)
    return IndexedFile(unsettled, read.header, read.problem, read.line)


def _is_settled(state: FileState) -> bool:
    tick_s = _COARSE_TICK_S if state.mtime_ns % 1_000_000_000 == 0 else _FINE_TICK_S
    return abs(time.time() - state.mtime_ns / 1e9) > tick_s


class BackgroundRefresh:
    """Runs :func:`refresh` in a thread, once or every ``every_s`` seconds, with a pause after each slice.

    ``on_progress`` is called in that thread after each slice in which something came of it.
    """

    def __init__(
        self,
        index: CaseIndex,
        extract: HeaderExtractor,
        on_progress: Callable[[Progress], None] | None = None,
        *,
        every_s: float | None = None,
    ) -> None:
        self._index = index
        self._extract = extract
        self._on_progress = on_progress or (lambda progress: None)
        self._every_s = every_s
        self._stop = threading.Event()
        self._again = threading.Event()
        self._thread: threading.Thread | None = None

    def start(self) -> None:
        """Start the thread; a second start is ignored."""
        if self._thread is None:
            self._thread = threading.Thread(target=self._run, name="afocal-index", daemon=True)
            self._thread.start()

    def now(self) -> None:
        """Ask for a check now, instead of at the end of the interval."""
        self._again.set()

    def stop(self, timeout_s: float = 2.0) -> bool:
        """End after the present slice and wait for it; whether it has ended by then."""
        self._stop.set()
        self._again.set()
        if self._thread is not None:
            self._thread.join(timeout_s)
        return self._thread is None or not self._thread.is_alive()

    def _run(self) -> None:
        try:
            self._index.verify()
            while not self._stop.is_set():
                self._once()
                if self._every_s is None:
                    return
                self._again.wait(self._every_s)
                self._again.clear()
        finally:
            self._index.leave()

    def _once(self) -> None:
        for progress in refresh(self._index, self._extract):
            if self._stop.is_set():
                return
            if progress.altered or progress.done:
                self._on_progress(progress)
            time.sleep(_PAUSE_S)
