"""Opens the screen: what must happen before the framework is imported, and what must happen when it ends."""

from __future__ import annotations

import gc
import os
import signal
import tempfile
from argparse import Namespace
from pathlib import Path

from ..core.workspace import Workspace, demo_workspace


def open_screen(arguments: Namespace) -> int:
    """Run the screen until it is left; returns the exit status."""
    # Nothing made during the start is garbage yet: collecting then only costs time.
    gc.disable()
    from . import terminal

    terminal.prepare()
    with tempfile.TemporaryDirectory(prefix="afocal-practice-") as folder:
        if arguments.demo:
            _practice_folders(Path(folder))
            workspace = demo_workspace(Path(folder))
        else:
            workspace = Workspace()
        if arguments.cases or arguments.stock:
            workspace = Workspace(
                arguments.cases or workspace.cases,
                arguments.stock or workspace.stock_path,
                workspace.settings_path,
                workspace.is_demo,
            )
        return _run(workspace, arguments.case or "")


def _practice_folders(folder: Path) -> None:
    """A practice run leaves nothing in the user's own folders."""
    for name in ("AFOCAL_CONFIG", "AFOCAL_CACHE", "AFOCAL_STATE"):
        os.environ.setdefault(name, str(folder / name.removeprefix("AFOCAL_").lower()))


def _run(workspace: Workspace, case: str) -> int:
    from ..core import paths
    from .app import AfocalApp
    from .crash import run_guarded
    from .theming import starting_theme

    app = AfocalApp(workspace, case, starting_theme(workspace.settings_path, os.environ))
    for name in ("SIGTERM", "SIGHUP"):
        number = getattr(signal, name, None)
        if number is not None:
            signal.signal(number, lambda *_: app.call_later(app.end_from_outside))
    app.call_later(_thaw)
    return run_guarded(app, paths.reports_dir(), _version, lambda: _cases_open(app))


def _version() -> str:
    from importlib.metadata import version

    return version("afocal")


def _cases_open(app) -> list[str]:
    """Where each open case stands, and whether all of it is on disk."""
    lines = []
    for screen in app.screen_stack:
        if hasattr(screen, "desk"):
            state = screen.desk.close()
            if state.is_safe:
                lines.append(f"What was accepted is saved in {screen.desk.path}.")
            else:
                lines.append(f"Not saved in {screen.desk.path}; a copy is kept at {state.recovery}.")
    return lines


def _thaw() -> None:
    gc.freeze()
    gc.enable()
