"""Opens the screen: what must happen before the framework is imported, and what must happen when it ends."""

from __future__ import annotations

import gc
import os
from contextlib import AbstractContextManager, nullcontext
from pathlib import Path
from typing import TYPE_CHECKING

from ..core.workspace import Workspace, demo_workspace, practice_folders

if TYPE_CHECKING:
    from .app import AfocalApp


def open_screen(
    case: str = "", *, demo: bool = False, cases: Path | None = None, stock: Path | None = None
) -> int:
    """Run the screen until it is left; returns the exit status.

    ``case`` is opened at once; ``demo`` takes the practice set; ``cases`` and ``stock`` stand for the usual ones.
    """
    # Nothing made during the start is garbage yet: collecting then only costs time.
    gc.disable()
    from ..core import paths
    from . import terminal

    terminal.prepare()
    # Taken before a practice run moves the folders: a report must outlive it.
    reports = paths.reports_dir()
    with _practice_folder() if demo else nullcontext(None) as folder:
        if folder is not None:
            for name, place in practice_folders(folder).items():
                os.environ.setdefault(name, place)
            workspace = demo_workspace(folder)
        else:
            workspace = Workspace()
        if cases or stock:
            workspace = Workspace(
                cases or workspace.cases,
                stock or workspace.stock_path,
                workspace.settings_path,
                workspace.is_demo,
            )
        return _run(workspace, case, reports)


def _practice_folder() -> AbstractContextManager[Path]:
    from ..core.practice import practice_folder

    return practice_folder()


def _run(workspace: Workspace, case: str, reports: Path) -> int:
    from .app import AfocalApp
    from .crash import run_guarded
    from .theming import starting_theme

    app = AfocalApp(workspace, case, starting_theme(workspace.settings_path, os.environ))
    return run_guarded(app, reports, lambda: _cases_open(app))


def _cases_open(app: AfocalApp) -> list[str]:
    """Where each open case stands, and whether all of it is on disk."""
    lines = []
    for desk in app.desks:
        state = desk.close()
        if not state.is_safe:
            lines.append(f"Not saved in {desk.path}; a copy is kept at {state.recovery}.")
        elif app.workspace.is_demo:
            lines.append("The practice set is thrown away, as at every end.")
        else:
            lines.append(f"What was accepted is saved in {desk.path}.")
    return lines
