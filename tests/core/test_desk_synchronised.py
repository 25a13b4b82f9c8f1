"""Two machines on a synchronised folder: whole files travel late, over each other, out of order, without any lock.

What a synchroniser does is played here step by step. Whatever it does, no value that was said to be saved may be gone:
it stands in the case, beside it (set aside), or in the history of the machine that saved it; and no file is ever half.
"""

from __future__ import annotations

import os
import random
from collections.abc import Iterator
from datetime import date
from pathlib import Path

import pytest

from afocal.core.case import Case
from afocal.core.case_file import dumps_case, loads_case
from afocal.core.desk import Desk
from afocal.core.errors import FileRefusal
from afocal.core.store.history import read_version, versions
from afocal.core.workspace import Workspace
from afocal.tui.rooms import Theirs, others_of_code, their_version

DAY = date(2026, 11, 25)


class Machine:
    """One machine: its copy of the folder, and the case open on it."""

    def __init__(self, folder: Path, name: str) -> None:
        self.folder, self.name = folder / name, name
        self.workspace = Workspace(self.folder, folder / "stock.toml", folder / "settings.toml")
        self.path = self.folder / "T-1.toml"

    def open(self) -> None:
        """Open the case."""
        self.desk = Desk(
            self.workspace.open_case("T-1"), recovery_folder=self.folder.with_name(f"{self.name}.recovery")
        )

    def type(self, path: str, text: str) -> None:
        """Type a value; it is saved, or another version is found and put together with it."""
        self.desk.accept(self.desk.case.with_typed(path, text))
        self.until_saved()

    def until_saved(self) -> None:
        """Until everything is on this machine's disk."""
        for _ in range(20):
            self.desk.saver.wait(10)
            if self.desk.saver.state.is_safe:
                return
            assert self.desk.saver.state.kind == "changed", self.desk.saver.state
            self.look()
        raise AssertionError("it never came to rest")

    def look(self, *, take: bool = False) -> Theirs:
        """What the keeper does at a look; what that version lacks is kept, unless ``take``."""
        found = their_version(self.desk)
        assert isinstance(found, Theirs), found
        if found.typed_over:
            self.desk.keep_saved()
        chosen = found if take or found.apart is None else found.apart
        chosen = chosen if chosen.is_clean else chosen.decided({})
        self.desk.replace(chosen.case, chosen.their_case, chosen.stamp)
        return found

    def brought(self, text: str) -> None:
        """The synchroniser puts another version into the place of the file: a new file of an old date."""
        fresh = self.path.with_name(".incoming")
        fresh.write_text(text, "utf-8")
        os.utime(fresh, (1, 1))
        fresh.replace(self.path)

    def everywhere(self) -> str:
        """All that this machine still holds of the case."""
        kept = [read_version(each) for each in versions(self.path)]
        return "\n".join([self.path.read_text("utf-8"), *kept])


@pytest.fixture
def machines(tmp_path: Path) -> Iterator[tuple[Machine, Machine]]:
    """Two machines that both have the case open as it was synchronised before."""
    made = Machine(tmp_path, "one"), Machine(tmp_path, "two")
    desk = Desk(made[0].workspace.new_case("T-1", DAY), recovery_folder=tmp_path / "first")
    desk.accept(desk.case.with_typed("face.pd", "62"))
    assert desk.close().is_safe
    made[1].folder.mkdir()
    made[1].path.write_bytes(made[0].path.read_bytes())
    for each in made:
        each.open()
    yield made
    for each in made:
        each.desk.close()


def typed(case: Case, path: str) -> str:
    """What stands in a field."""
    return case.visit.findings[path].typed if path in case.visit.findings else ""


def test_a_version_made_without_ours_takes_nothing_of_ours_away(machines: tuple[Machine, Machine]) -> None:
    """Both typed apart and the other file won: what was saved here is named, kept, and both sets are in the file."""
    one, two = machines
    one.type("right.pupil", "3")
    one.type("right.contrast", "1.4")
    two.type("left.pupil", "4")
    one.brought(two.path.read_text("utf-8"))
    found = one.look()
    assert "Pupil in the room, right eye" in found.missed and found.apart is not None
    one.until_saved()
    case = loads_case(one.path.read_text("utf-8"))
    assert [typed(case, path) for path in ("right.pupil", "right.contrast", "left.pupil")] == [
        "3",
        "1.4",
        "4",
    ]


def test_an_older_version_that_comes_back_is_seen_as_one(machines: tuple[Machine, Machine]) -> None:
    """Nothing new in it: kept means written again, taken means gone from the case but not from the history."""
    one, _ = machines
    before = one.path.read_text("utf-8")
    one.type("right.pupil", "3")
    one.brought(before)
    assert one.look().missed
    one.until_saved()
    assert typed(loads_case(one.path.read_text("utf-8")), "right.pupil") == "3"
    one.brought(before)
    one.look(take=True)
    one.until_saved()
    assert typed(one.desk.case, "right.pupil") == ""
    assert 'pupil = "3"' in one.everywhere()


def test_a_value_of_both_is_a_question_when_theirs_was_made_apart(machines: tuple[Machine, Machine]) -> None:
    """Two values, and a second one that shows that ours was not seen: both values stay."""
    one, two = machines
    one.type("face.pd", "64")
    one.type("right.pupil", "3")
    two.type("face.pd", "66")
    one.brought(two.path.read_text("utf-8"))
    found = one.look()
    assert found.apart is not None and [each.theirs for each in found.apart.merge.conflicts] == ["66"]
    one.until_saved()
    text = one.path.read_text("utf-8")
    assert 'pd = "64"' in text and 'other = "66"' in text


def test_what_stands_beside_a_value_of_ours_is_theirs(machines: tuple[Machine, Machine]) -> None:
    """A table or a goal that was begun here holds values of others too: those are taken in as they changed them."""
    one, two = machines
    one.type("history.diagnosis", "first")
    two.brought(one.path.read_text("utf-8"))
    two.look()
    two.type("history.treatment", "before")
    one.brought(two.path.read_text("utf-8"))
    assert not one.look().typed_over
    one.type("history.diagnosis", "second")
    two.type("history.treatment", "after")
    one.brought(two.path.read_text("utf-8"))
    found = one.look()
    assert found.missed == "Eye condition" and found.apart is not None and found.apart.is_clean
    one.until_saved()
    case = loads_case(one.path.read_text("utf-8"))
    assert [typed(case, path) for path in ("history.diagnosis", "history.treatment")] == ["second", "after"]
    assert "set_aside" not in case.extra


def test_a_value_typed_over_by_somebody_who_saw_it_is_theirs(machines: tuple[Machine, Machine]) -> None:
    """No question; what was saved here stays in the history."""
    one, two = machines
    one.type("face.pd", "64")
    two.brought(one.path.read_text("utf-8"))
    two.look()
    two.type("face.pd", "66")
    one.brought(two.path.read_text("utf-8"))
    found = one.look()
    assert found.is_clean and not found.missed
    assert typed(one.desk.case, "face.pd") == "66"
    assert 'pd = "64"' in one.everywhere()


def test_what_was_opened_and_never_edited_here_is_no_question(machines: tuple[Machine, Machine]) -> None:
    """Undone elsewhere, by whoever typed it: it is taken in."""
    one, two = machines
    two.type("left.pupil", "4")
    one.brought(two.path.read_text("utf-8"))
    one.look()
    one.type("right.pupil", "3")
    two.brought(one.path.read_text("utf-8"))
    two.look()
    two.type("left.pupil", "")
    one.brought(two.path.read_text("utf-8"))
    found = one.look()
    assert not found.missed and typed(one.desk.case, "left.pupil") == ""


def test_a_file_of_another_patient_is_never_mixed_in(machines: tuple[Machine, Machine]) -> None:
    """Copied over by mistake: refused by code, nothing written, nothing lost."""
    one, _ = machines
    wrong = one.path.read_text("utf-8").replace('code = "T-1"', 'code = "X-9"')
    one.brought(wrong)
    one.desk.accept(one.desk.case.with_typed("right.pupil", "3"))
    one.desk.saver.wait(10)
    found = their_version(one.desk)
    assert isinstance(found, FileRefusal) and "X-9" in str(found)
    assert one.path.read_text("utf-8") == wrong
    assert one.desk.saver.state.recovery is not None


def test_a_conflicted_copy_is_found_by_its_code(machines: tuple[Machine, Machine]) -> None:
    """Renamed by the synchroniser: named, whatever is written round the code; another patient's file is not."""
    one, _ = machines
    one.path.rename(one.path.with_name("T-1 (conflicted copy 2026-11-25).toml"))
    one.path.with_name("T-1-b.toml").write_text('schema = 1\ncode = "T-1-b"\n[[visit]]\ndate = 2026-11-25\n')
    assert others_of_code(one.path, "T-1") == ["T-1 (conflicted copy 2026-11-25).toml"]


def test_a_file_that_is_gone_is_written_again_only_when_told(machines: tuple[Machine, Machine]) -> None:
    """Removed elsewhere while it is open: the value waits in a copy, then the whole case is in the file."""
    one, _ = machines
    one.path.unlink()
    one.desk.accept(one.desk.case.with_typed("right.pupil", "3"))
    one.desk.saver.wait(10)
    assert one.desk.saver.state.kind == "changed" and not one.path.exists()
    copy = one.desk.saver.state.recovery
    assert copy is not None and copy.exists()
    one.desk.write_again()
    one.until_saved()
    assert loads_case(one.path.read_text("utf-8")) == one.desk.case and not copy.exists()


@pytest.mark.parametrize("seed", range(int(os.environ.get("AFOCAL_SYNC_RUNS", "12"))))
def test_whatever_a_synchroniser_does_nothing_saved_is_lost(
    machines: tuple[Machine, Machine], seed: int
) -> None:
    """Versions of either machine, new and old, brought to the other in any order; fields of one room and of both."""
    chance = random.Random(seed)
    own = {"one": "right.pupil", "two": "left.pupil"}
    last: dict[str, str] = {}
    said: dict[str, list[str]] = {"one": [], "two": []}
    sent: list[str] = [machines[0].path.read_text("utf-8")]
    for step in range(60):
        here, there = chance.sample(machines, 2)
        kind = chance.randrange(6)
        if kind <= 1:
            last[here.name] = str(2 + step / 10)
            here.type(own[here.name], last[here.name])
        elif kind == 2:
            said[here.name].append(f"{here.name} {step}")
            here.type("person.occupation", said[here.name][-1])
        elif kind == 3:
            sent.append(here.path.read_text("utf-8"))
            there.brought(sent[-1])
        elif kind == 4:
            there.brought(chance.choice(sent))
        if kind >= 3 and chance.random() < 0.7:
            there.look()
            there.until_saved()
        for each in machines:
            loads_case(each.path.read_text("utf-8"), each.path)
    for _ in range(3):
        for here, there in (machines, machines[::-1]):
            here.look()
            here.until_saved()
            there.brought(here.path.read_text("utf-8"))
            there.look()
            there.until_saved()
    assert machines[0].path.read_text("utf-8") == machines[1].path.read_text("utf-8")
    case = loads_case(machines[0].path.read_text("utf-8"))
    for name, value in last.items():
        assert typed(case, own[name]) == value
    everywhere = "".join(each.everywhere() for each in machines)
    assert not [value for values in said.values() for value in values[-1:] if value not in everywhere]


def test_a_change_is_never_written_half(machines: tuple[Machine, Machine]) -> None:
    """The text of every version that was ever in the file is a whole case."""
    one, two = machines
    one.type("right.pupil", "3")
    one.brought(dumps_case(two.desk.case.with_typed("left.pupil", "4")))
    one.look()
    one.until_saved()
    for each in versions(one.path):
        loads_case(read_version(each))
