"""When the program itself fails: the screen is put back, what was accepted is on disk already, and a report is kept
that holds no patient data.

The framework would print the failing code with its local variables, which may be a record. Overriding its two private
steps is done here and nowhere else; a test tells when a release renames them.
"""

from __future__ import annotations

import os
import platform
import sys
import traceback
from collections.abc import Callable
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path
from types import TracebackType

from textual.app import App, ReturnType
from textual.widget import Widget

from ..core import __version__


class GuardedApp(App[ReturnType]):
    """An app whose crash says where the saved case is and keeps a report without values."""

    crash: Exception | None = None

    def _handle_exception(self, error: Exception) -> None:
        if self.crash is None:
            self.crash = error
        self._return_code = 1
        # Tests that drive the app learn of the error as the framework would tell them.
        if self._exception is None:
            self._exception = error
            self._exception_event.set()
        self._close_messages_no_wait()

    def panic(self, *_renderables: object) -> None:
        """The thread that reads the keys failed; what the framework would print has the values in it."""
        self._handle_exception(OSError("the terminal can no longer be read"))


def report_text(error: BaseException, screen: str) -> str:
    """The report: version, system, kind of error, and the lines of code it went through; no values, no messages."""
    lines = [
        f"afocal {__version__}",
        f"Python {platform.python_version()} on {platform.system()} {platform.release()}",
        f"time {datetime.now(UTC).isoformat(timespec='seconds')}",
        f"screen {screen}",
    ]
    seen: BaseException | None = error
    while seen is not None:
        lines.append(f"error {type(seen).__module__}.{type(seen).__qualname__}")
        lines += [f"  {frame}" for frame in _frames(seen.__traceback__)]
        seen = seen.__cause__ or seen.__context__
    return "\n".join(lines) + "\n"


def _frames(start: TracebackType | None) -> list[str]:
    """File, line and function of each step; the path without the user's folders, the source line left out."""
    shown = []
    for frame, line in traceback.walk_tb(start):
        path = Path(frame.f_code.co_filename)
        shown.append(f"{'/'.join(path.parts[-3:])}:{line} in {frame.f_code.co_qualname}")
    return shown


def keep_report(folder: Path, text: str) -> Path | None:
    """Write the report into ``folder``; None when that is impossible (the crash is then only told)."""
    with suppress(OSError):
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        path = folder / f"crash-{datetime.now(UTC):%Y%m%dT%H%M%S}-{os.getpid()}.txt"
        path.write_text(text, "utf-8")
        if os.name == "posix":
            path.chmod(0o600)
        return path
    return None


def run_guarded(app: GuardedApp[int], folder: Path, cases: Callable[[], list[str]]) -> int:
    """Run the app; after a crash say in plain words what happened, where the cases are and where the report is."""
    try:
        app.run()
        error: BaseException | None = app.crash
    except Exception as failure:  # the framework itself failed; the same words serve
        error = failure
    if error is None:
        return int(app.return_value or 0)
    report = keep_report(folder, report_text(error, _screen_name(app)))
    print("afocal stopped because of an error in the program.", file=sys.stderr)
    for line in cases():
        print(line, file=sys.stderr)
    if report is not None:
        print(f"A report without patient data is kept at {report}.", file=sys.stderr)
    return 1


def _screen_name(app: App[int]) -> str:
    try:
        focused: Widget | None = app.screen.focused
        return f"{type(app.screen).__name__}, focus on {type(focused).__name__}"
    except Exception:  # a report must not fail for want of a name
        return "none"
