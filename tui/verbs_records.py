"""What the command line does to the records as files: earlier versions, deleting, packing and unpacking."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

from ..core.errors import AfocalError, EntryRefusal
from ..core.workspace import Workspace
from .output import say, write, write_line
from .verbs import CALL_WRONG, DATA_WRONG, GOOD, Arguments

if TYPE_CHECKING:
    from ..core.store.history import Version


def history_verb(arguments: Arguments, workspace: Workspace) -> int:
    """List the earlier versions of a case, print one, compare two, or make one the present one."""
    from ..core.store import history

    path = workspace.case_path(arguments.case)
    found = history.versions(path)
    asked = [arguments.show, arguments.restore, *(arguments.compare or ())]
    wanted = [number for number in asked if number is not None]
    if not wanted:
        return _list_versions(path, found)
    least = 1 if arguments.compare is None else 0
    for number in wanted:
        if not least <= number <= len(found):
            accepted = f"{least} to {len(found)}" if found else "none, since no earlier versions are kept yet"
            say(f"version: {number}; accepted is {accepted} (see 'afocal history {arguments.case}').")
            return CALL_WRONG
    if arguments.compare is not None:
        return _compare(path, found, wanted)
    version = found[wanted[0] - 1]
    if arguments.restore is None:
        write(history.read_version(version))
        return GOOD
    return _restore(path, version)


def _list_versions(path: Path, found: list[Version]) -> int:
    if not found and not os.path.isfile(path):
        say(f"{path}: there is no such case")
        return CALL_WRONG
    for number, version in enumerate(found, 1):
        kept = ", kept for good" if version.is_kept else ""
        write_line(f"{number:4}  {version.name}  replaced {version.replaced_at:%Y-%m-%d %H:%M} UTC{kept}")
    if not found:
        say(f"{path}: no earlier versions are kept yet")
    return GOOD


def _compare(path: Path, found: list[Version], numbers: list[int]) -> int:
    """What became another from the first to the second, one field a line, as the screen says it."""
    from ..core.case_file import case_data, loads_case
    from ..core.store.history import read_version
    from ..core.store.reading import read_text
    from .rooms import change_lines

    first, second = (*numbers, 0)[:2]
    before, after = (
        case_data(
            loads_case(read_version(found[number - 1]) if number else read_text(path).text, path),
            readings=False,
        )
        for number in (first, second)
    )
    names = [found[number - 1].name if number else "the present case" for number in (first, second)]
    write_line(f"From {names[0]} to {names[1]}:")
    for line in change_lines(before, after) or ["nothing that counts is different"]:
        write_line(f"  {line}")
    return GOOD


def _restore(path: Path, version: Version) -> int:
    from ..core.restoring import restore

    restored = restore(path, version)
    say(f"{path}: restored as it was in {version.name}; what stood there before stays in the history")
    for each in restored.stayed:
        say(f"{each}: signed, so it stays as it was signed")
    return GOOD


def remove_verb(arguments: Arguments, workspace: Workspace) -> int:
    """List everything stored about a patient; remove it when ``--yes`` is given."""
    from ..core import paths
    from ..core.store.index import CaseIndex
    from ..core.store.remove import remove_patient, traces

    path = _removable(arguments.case, workspace)
    found = traces(path, paths.recovery_dir())
    for other in _same_code(path, workspace):
        say(f"{other}: holds the same patient code and is not removed with this; name it to remove it too")
    if not found:
        say(f"{path}: nothing is stored about this case")
        return CALL_WRONG
    if not arguments.yes:
        for each in found:
            write_line(each)
        say(
            f"Nothing was removed. To remove these {len(found)} for good: afocal remove {arguments.case} --yes"
        )
        return GOOD
    index = CaseIndex(workspace.cases, paths.index_file(workspace.cases))
    try:
        removal = remove_patient(path, paths.recovery_dir(), index)
    finally:
        index.close()
    for each in removal.removed:
        write_line(f"removed {each}")
    for refusal in removal.left:
        say(refusal)
    say(removal.note)
    return GOOD if removal.is_complete else DATA_WRONG


def _removable(name: str, workspace: Workspace) -> Path:
    """The case file to remove: only one that stands in the case folder itself, whatever else a path could name."""
    path = workspace.case_path(name)
    if os.path.realpath(path.parent) != os.path.realpath(workspace.cases) or path.suffix != ".toml":
        raise EntryRefusal(
            "case to remove",
            name,
            f"a patient code, or a case file in {workspace.cases}",
            example="KM-014",
        )
    return path


def _same_code(path: Path, workspace: Workspace) -> list[Path]:
    """Copies that a synchroniser or a person made of the case: another file name, the same code in it."""
    from ..core.case_header import case_header
    from ..core.store.reading import read_text

    found = []
    for other in sorted(workspace.cases.glob("*.toml")):
        if other != path and path.stem.casefold() in other.stem.casefold():
            try:
                same = case_header(read_text(other).text)["code"] == path.stem
            except AfocalError:
                continue
            if same:
                found.append(other)
    return found


def pack_verb(arguments: Arguments, workspace: Workspace) -> int:
    """All cases with their earlier versions, stock and settings in one archive."""
    from ..core.store.archive import pack

    packed = pack(workspace.cases, Path(arguments.file), _clinic_files(workspace))
    write_line(f"{packed.path}: {packed.files} files packed")
    for refusal in packed.left_out:
        say(refusal)
    return DATA_WRONG if packed.left_out else GOOD


def unpack_verb(arguments: Arguments, workspace: Workspace) -> int:
    """The files of an archive into the case folder; what is there already stays."""
    from ..core.store.archive import unpack

    done = unpack(Path(arguments.file), workspace.cases, _clinic_files(workspace))
    write(f"{len(done.written)} written, {len(done.same)} there already")
    for refusal in done.kept:
        say(refusal)
    return DATA_WRONG if done.kept else GOOD


def _clinic_files(workspace: Workspace) -> dict[str, Path]:
    return {"stock": workspace.stock_path, "settings": workspace.settings_path}
