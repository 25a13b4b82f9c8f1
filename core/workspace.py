"""The folders and files that a run of the program works with, and how a case, the stock and the settings are opened."""

from __future__ import annotations

import errno
import os
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from . import paths
from .errors import EntryRefusal, FileRefusal

if TYPE_CHECKING:
    from .case import Case
    from .settings import Settings
    from .stock import Stock
    from .store.stamp import Stamp

DEMO = Path(__file__).parent / "data" / "demo"
NO_SUCH_CASE = "there is no such case"
Made = TypeVar("Made")


@dataclass(frozen=True, slots=True)
class OpenedCase:
    """A case as it was read: where from, and the stamp that a save must find unchanged (None: no file yet).

    ``is_older_schema`` says that the file is of an older program, so that it is kept for good before the first save.
    """

    case: Case
    path: Path
    stamp: Stamp | None
    is_older_schema: bool = False


@dataclass(frozen=True, slots=True)
class Workspace:
    """Where this run finds its cases, stock and settings. ``is_demo`` marks the practice set."""

    cases: Path = field(default_factory=paths.cases_dir)
    stock_path: Path = field(default_factory=paths.stock_file)
    settings_path: Path = field(default_factory=paths.settings_file)
    is_demo: bool = False

    def case_path(self, name: str) -> Path:
        """The file of a case named by its code, its file name or a path.

        A bare code always means the case folder; a file name or a path means the file there is, else the case folder.
        """
        given = _expanded(name)
        if given.suffix == paths.CASE_SUFFIX or given.parent != Path("."):
            return given if given.is_absolute() or _exists(given) else self.cases / given
        return paths.case_file(name, self.cases)

    def open_case(self, name: str) -> OpenedCase:
        """The case named by code or path. Raises FileRefusal when it is missing or no case."""
        from .case_file import loads_case, written_with_older_schema

        path = self.case_path(name)
        if not _exists(path):
            raise FileRefusal(path, NO_SUCH_CASE)
        from .store.reading import read_text

        read = read_text(path)
        return OpenedCase(loads_case(read.text, path), path, read.stamp, written_with_older_schema(read.text))

    def new_case(self, code: str, on: date) -> OpenedCase:
        """An empty case that has no file yet. Raises EntryRefusal for a bad code or one that is taken."""
        from .case import new_case
        from .case_file import CODE, CODE_HELP

        if not CODE.fullmatch(code):
            raise EntryRefusal("patient code", code, CODE_HELP)
        path = paths.case_file(code, self.cases)
        taken = _exists(path) or any(
            each.name.casefold() == path.name.casefold() for each in self.cases.glob("*.toml")
        )
        if taken:
            raise EntryRefusal(
                "patient code", code, "a code that is not in use", reason="this code has a case already"
            )
        return OpenedCase(new_case(code, on), path, None)

    def stock(self) -> tuple[Stock, list[FileRefusal]]:
        """The clinic's stock and what was wrong with its file; an empty stock with the reason when there is none."""
        from .stock import Stock, loads_stock, stock_known_good

        if not _exists(self.stock_path):
            reason = "there is no stock file yet; 'afocal stock' prints one to start from"
            return Stock(), [FileRefusal(self.stock_path, reason)]
        from .store.reading import read_text

        try:
            text = read_text(self.stock_path).text
        except FileRefusal as refusal:
            return Stock(), [refusal]
        return self._checked_once("stock", self.stock_path, text, loads_stock, stock_known_good)

    @property
    def tasks_path(self) -> Path:
        """The clinic's own everyday tasks, beside the settings."""
        return self.settings_path.with_name(paths.TASKS_NAME)

    def settings(self) -> tuple[Settings, list[FileRefusal]]:
        """The clinic's settings with its own tasks, and what was wrong with both files; the defaults without them."""
        settings, problems = self._settings_alone()
        if not _exists(self.tasks_path):
            return settings, problems
        from .goals import loads_tasks
        from .store.reading import read_text

        try:
            text = read_text(self.tasks_path).text
        except FileRefusal as refusal:
            return settings, [*problems, refusal]
        tasks, wrong = loads_tasks(text, self.tasks_path)
        return replace(settings, tasks=tasks), [*problems, *wrong]

    def _settings_alone(self) -> tuple[Settings, list[FileRefusal]]:
        from .settings import Settings, loads_settings, settings_known_good

        if not _exists(self.settings_path):
            return Settings(), []
        from .store.reading import read_text

        try:
            text = read_text(self.settings_path).text
        except FileRefusal as refusal:
            return Settings(), [refusal]
        return self._checked_once("settings", self.settings_path, text, loads_settings, settings_known_good)

    def _checked_once(
        self,
        kind: str,
        path: Path,
        text: str,
        loads: Callable[[str, Path], tuple[Made, list[FileRefusal]]],
        known_good: Callable[[str], Made],
    ) -> tuple[Made, list[FileRefusal]]:
        """What a text holds; the checks are loaded and made only for a text that was not found good before."""
        if path.parent == DEMO:
            # What comes with the program was checked by its tests.
            return known_good(text), []
        from .store.known_good import is_known_good, remember_good

        memory = paths.known_good_file()
        if is_known_good(memory, kind, text):
            return known_good(text), []
        made, problems = loads(text, path)
        if not problems and known_good(text) == made:
            remember_good(memory, kind, text)
        return made, problems


def _expanded(name: str) -> Path:
    given = Path(name)
    try:
        return given.expanduser()
    except RuntimeError:  # ~somebody, and nobody of that name is known here
        return given


def _exists(path: Path) -> bool:
    """Whether anything has this name, a link to nowhere and a place that may not be looked into included.

    What cannot be read is then refused by the reader, with its reason.
    """
    try:
        os.lstat(path)
    except (FileNotFoundError, NotADirectoryError, ValueError):
        return False
    except OSError as error:
        return error.errno not in (errno.ENAMETOOLONG, errno.EINVAL)
    return True


def practice_folders(folder: Path) -> dict[str, str]:
    """The environment of a practice run in ``folder``: it leaves nothing in the user's own folders."""
    return {
        name: str(folder / name.removeprefix("AFOCAL_").lower())
        for name in ("AFOCAL_CONFIG", "AFOCAL_CACHE", "AFOCAL_STATE")
    }


def demo_workspace(folder: Path) -> Workspace:
    """The practice set, copied into ``folder`` so that it can be worked on and thrown away."""
    from .store.files import make_private_folder, write_durably

    cases = folder / "cases"
    make_private_folder(cases)
    for source in (*sorted((DEMO / "cases").glob("*.toml")), DEMO / "stock.toml"):
        target = (cases if source.name != "stock.toml" else folder) / source.name
        write_durably(target, source.read_bytes())
    return Workspace(cases, folder / "stock.toml", folder / "settings.toml", is_demo=True)
