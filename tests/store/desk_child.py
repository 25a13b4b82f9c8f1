"""A room: a process that works on one case through the open desk, for tests that run two or kill one.

``desk_child.py CASES CODE RECOVERY NAME COUNT WAY`` with WAY one of

* ``own``: fields, a goal and a fitting step that no other room touches;
* ``same``: one field that the other room types into as well; what two rooms typed is kept, both;
* ``typing``: like ``own``, for ever;
* ``unlocked``: like ``own``, on a share that carries no locks and gives a file another number at each look.

The first two wait for a file ``go`` beside the case folder. Printed, a line each, once it is on disk: ``typed VALUE over VALUE``; and ``offered VALUE VALUE`` for a conflict.
"""

from __future__ import annotations

import os
import random
import sys
import time
from contextlib import nullcontext
from dataclasses import replace
from datetime import date, datetime
from pathlib import Path

from afocal.core.case import Case, StepResult
from afocal.core.desk import Desk
from afocal.core.errors import FileRefusal
from afocal.core.store import files
from afocal.core.store.filesystem import REAL, FileSystem
from afocal.core.store.locks import SaveLock
from afocal.core.store.watch import Watch
from afocal.core.workspace import Workspace
from afocal.tui.rooms import their_version

FIELD = "person.occupation"
FIELDS = {"one": ("right.pupil", "history.diagnosis"), "two": ("left.pupil", "history.treatment")}


def say(*words: object) -> None:
    print(*words, flush=True)


class Share(FileSystem):
    """Numbers of files that mean nothing, as some shares give them."""

    def lstat(self, path: Path) -> os.stat_result:
        status = os.lstat(path)
        return os.stat_result((status.st_mode, random.randrange(1 << 40), *status[2:]))


class NoLock(SaveLock):
    """What a share without locks makes of one."""

    def still_ours(self) -> bool:
        return True


def take_in(desk: Desk) -> None:
    """What the screen does when another room changed the file; a value that both changed is kept twice.

    What a version lacks that was made without having seen ours is kept.
    """
    found = their_version(desk)
    if isinstance(found, FileRefusal):
        raise SystemExit(f"unreadable: {found}")
    if found.typed_over:
        desk.keep_saved()
    found = found.apart or found
    if not found.is_clean:
        for conflict in found.merge.conflicts:
            say("offered", repr(conflict.mine), repr(conflict.theirs))
        found = found.decided({})
    desk.replace(found.case, found.their_case, found.stamp)


def until_saved(desk: Desk) -> None:
    while not desk.saver.wait(5) or not desk.saver.state.is_safe:
        if desk.saver.state.kind == "changed":
            take_in(desk)
        elif desk.saver.error is not None:
            raise SystemExit(f"a fault: {desk.saver.error!r}")
        else:
            time.sleep(0.002)  # another room is saving; it is tried again by itself


def edit(case: Case, name: str, number: int, way: str) -> Case:
    if way == "same":
        return case.with_typed(FIELD, f"{name} {number}")
    pupil, words = FIELDS[name]
    kind = number % 4
    if kind == 0:
        return case.with_typed(pupil, str(2 + number % 50 / 10))
    if kind == 1:
        return case.with_typed(words, f"{name} {number}")
    if kind == 2:
        place = next(
            (n for n, goal in enumerate(case.visit.goals) if goal.value("task") == f"goal of {name}"), None
        )
        if place is None:
            return case.with_goal_typed(len(case.visit.goals), "task", f"goal of {name}")
        return case.with_goal_typed(place, "distance", f"{1 + number} m")
    steps = {
        **case.visit.steps,
        f"fit.{name}": StepResult(measured=str(number), by=name, at=datetime(2026, 11, 25)),
    }
    return case.with_visit(replace(case.visit, steps=steps))


def main() -> None:
    cases, code, recovery, name, count, way = sys.argv[1:7]
    workspace = Workspace(Path(cases), Path(cases) / "none.toml", Path(cases) / "none.toml")
    try:
        opened = workspace.open_case(code)
    except FileRefusal:
        opened = workspace.new_case(code, date(2026, 11, 25))
    fs = Share() if way == "unlocked" else REAL
    if way == "unlocked":
        files.save_lock = lambda path, **_: nullcontext(NoLock(path, b"", REAL))  # type: ignore[assignment]
    desk = Desk(opened, recovery_folder=Path(recovery), fs=fs)
    watch = Watch(desk.path, fs=fs)
    first = opened.case.visit.findings.get(FIELDS[name][1])
    start = int(first.typed.split()[-1]) + 3 if first is not None and way == "typing" else 0
    say("open")
    while way != "typing" and not Path(cases, "..", "go").exists():
        time.sleep(0.001)
    for number in range(start, start + int(count)):
        if number % 3 == 0 and desk.saver.stamp and watch.look(desk.saver.stamp).kind == "changed":
            take_in(desk)
            until_saved(desk)
        over = desk.case.visit.findings.get(FIELD)
        desk.accept(edit(desk.case, name, number, way))
        until_saved(desk)
        say("typed", repr(f"{name} {number}"), "over", repr(over.typed if over else ""))
    until_saved(desk)
    if way == "unlocked":
        # A room stays open: what the other one put aside in the very moment of its save is seen at a look.
        Path(recovery, "..", f"through.{name}").touch()
        until = time.monotonic() + 60
        while time.monotonic() < until:
            others = sum(Path(recovery, "..", f"through.{each}").exists() for each in FIELDS)
            if desk.saver.stamp and watch.look(desk.saver.stamp).kind == "changed":
                take_in(desk)
                until_saved(desk)
                until = time.monotonic() + 0.5
            elif others == len(FIELDS):
                until = min(until, time.monotonic() + 0.5)
            time.sleep(0.01)
    if not desk.close().is_safe:
        raise SystemExit(str(desk.saver.state))


if __name__ == "__main__":
    main()
