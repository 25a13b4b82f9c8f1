"""The open case while another room writes the same file: what a comparison starts from, undo, and restoring."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, datetime
from pathlib import Path

import pytest

from afocal.core.case import Case
from afocal.core.case_file import dumps_case, loads_case
from afocal.core.desk import Desk
from afocal.core.errors import FileRefusal
from afocal.core.signing import altered, sign, verify, with_addendum, with_version
from afocal.core.workspace import Workspace
from afocal.tui.rooms import Theirs, beside_words, name_of, their_version

DAY = date(2026, 11, 25)
AT = datetime(2026, 11, 25, 17)


@pytest.fixture
def workspace(tmp_path: Path) -> Workspace:
    """A folder with one case."""
    made = Workspace(tmp_path / "cases", tmp_path / "stock.toml", tmp_path / "settings.toml")
    desk = Desk(made.new_case("T-1", DAY), recovery_folder=tmp_path / "recovery")
    desk.accept(desk.case.with_typed("face.pd", "62").with_goal_typed(0, "task", "board"))
    assert desk.close().is_safe
    return made


@pytest.fixture
def desk(workspace: Workspace, tmp_path: Path) -> Iterator[Desk]:
    """The case open in this room."""
    desk = Desk(workspace.open_case("T-1"), recovery_folder=tmp_path / "recovery")
    yield desk
    desk.close()


def elsewhere(desk: Desk, path: str, text: str) -> None:
    """Another room types into the file as it stands."""
    case = loads_case(desk.path.read_text("utf-8"), desk.path).with_typed(path, text)
    desk.path.write_text(dumps_case(case), "utf-8")


def take_in(desk: Desk) -> Theirs:
    """Put both sides together; a question is answered by keeping both."""
    found = their_version(desk)
    assert not isinstance(found, FileRefusal)
    found = found if found.is_clean else found.decided({})
    desk.replace(found.case, found.their_case, found.stamp)
    return found


def typed(case: Case, path: str) -> str:
    """What stands in a field."""
    return case.visit.findings[path].typed if path in case.visit.findings else ""


def on_disk(desk: Desk) -> Case:
    """The file once everything is saved."""
    assert desk.saver.wait(10)
    return loads_case(desk.path.read_text("utf-8"), desk.path)


def test_a_second_foreign_change_before_the_save_takes_nothing_away(desk: Desk) -> None:
    """Changed elsewhere, put together here, changed elsewhere again before that is saved: what was typed here stays."""
    elsewhere(desk, "left.pupil", "4")
    desk.accept(desk.case.with_typed("right.pupil", "3"))
    desk.saver.wait(10)
    found = their_version(desk)
    assert isinstance(found, Theirs)
    elsewhere(desk, "left.contrast", "1.2")
    desk.replace(found.case, found.their_case, found.stamp)
    desk.saver.wait(10)
    assert desk.saver.state.kind == "changed"
    assert take_in(desk).is_clean
    case = on_disk(desk)
    assert [typed(case, path) for path in ("left.pupil", "right.pupil", "left.contrast")] == ["4", "3", "1.2"]


def test_their_change_alone_is_taken_in_without_writing_the_file(desk: Desk) -> None:
    """Looking on is no edit: comments that somebody wrote into the file stay, and a later value is saved."""
    elsewhere(desk, "left.pupil", "4")
    text = "# seen by hand\n" + desk.path.read_text("utf-8")
    desk.path.write_text(text, "utf-8")
    take_in(desk)
    assert desk.saver.state.is_safe
    assert desk.path.read_text("utf-8") == text
    desk.accept(desk.case.with_typed("right.pupil", "3"))
    assert typed(on_disk(desk), "left.pupil") == "4"


def test_undo_takes_back_what_was_typed_here_and_nothing_else(desk: Desk) -> None:
    """Their value, come in between, stays through undo and redo; a value they typed over is theirs."""
    desk.accept(desk.case.with_typed("right.pupil", "3"))
    desk.accept(desk.case.with_typed("face.pd", "64"))
    desk.saver.wait(10)
    elsewhere(desk, "left.pupil", "4")
    take_in(desk)
    assert desk.undo()
    assert (typed(desk.case, "face.pd"), typed(desk.case, "left.pupil")) == ("62", "4")
    elsewhere(desk, "right.pupil", "5") if desk.saver.wait(10) else None
    take_in(desk)
    assert not desk.undo(), "the value was typed over in another room"
    assert typed(desk.case, "right.pupil") == "5"
    assert desk.redo()
    case = on_disk(desk)
    assert [typed(case, path) for path in ("face.pd", "left.pupil", "right.pupil")] == ["64", "4", "5"]


def test_undo_does_not_take_back_a_signature_of_another_room(desk: Desk) -> None:
    """Signed elsewhere: nothing is left to undo, and nothing is set aside by trying."""
    desk.accept(desk.case.with_typed("right.pupil", "3"))
    desk.saver.wait(10)
    case = sign(loads_case(desk.path.read_text("utf-8"), desk.path), "RK", AT)
    desk.path.write_text(dumps_case(case), "utf-8")
    take_in(desk)
    assert not desk.undo()
    assert desk.case == case


def test_both_rooms_edit_another_goal(desk: Desk) -> None:
    """Two goals of one case, one edited in each room, and one more added in each: no question, all there."""
    theirs = loads_case(desk.path.read_text("utf-8"), desk.path)
    theirs = theirs.with_goal_typed(0, "distance", "4 m").with_goal_typed(1, "task", "cards")
    desk.path.write_text(dumps_case(theirs), "utf-8")
    desk.accept(desk.case.with_goal_typed(1, "task", "bus number").with_goal_typed(1, "distance", "8 m"))
    desk.saver.wait(10)
    assert take_in(desk).is_clean
    goals = {goal.name: goal for goal in on_disk(desk).visit.goals}
    assert set(goals) == {"board", "cards", "bus number"}
    assert goals["board"].findings["distance"].typed == "4 m"
    assert goals["bus number"].findings["distance"].typed == "8 m"


def test_an_older_file_without_ids_merges_by_place(desk: Desk) -> None:
    """Goals that had no id when both rooms opened the file are found again."""
    text = 'schema = 1\ncode = "T-1"\n[[visit]]\ndate = 2026-11-25\n[[visit.goal]]\ntask = "a"\n[[visit.goal]]\ntask = "b"\n'
    desk.path.write_text(text, "utf-8")
    take_in(desk)
    desk.path.write_text(text.replace('"b"', '"b"\ndistance = "2 m"'), "utf-8")
    desk.accept(desk.case.with_goal_typed(0, "distance", "4 m"))
    desk.saver.wait(10)
    assert take_in(desk).is_clean
    assert [goal.findings["distance"].typed for goal in on_disk(desk).visit.goals] == ["4 m", "2 m"]


def test_what_was_set_aside_is_told_by_field_and_values(desk: Desk) -> None:
    """Kept twice: the words name the field and both values."""
    elsewhere(desk, "face.pd", "66")
    desk.accept(desk.case.with_typed("face.pd", "64"))
    desk.saver.wait(10)
    assert not take_in(desk).is_clean
    words = beside_words(on_disk(desk))
    assert words == f"{name_of(('face', 'pd'))} 66 (the field took 64)"


def test_restoring_keeps_what_is_signed(desk: Desk) -> None:
    """A version from before the signature changes nothing of the signed visit, its addenda included."""
    before = desk.case
    later = with_addendum(sign(before, "RK", AT), "phoned", "RK", datetime(2026, 11, 26, 9))
    assert with_version(later, before) == later
    more = later.with_new_visit(date(2026, 12, 2), "follow-up").with_typed("right.pupil", "3")
    assert with_version(more, before) == later
    assert with_version(more, more.with_typed("right.pupil", "")).visits[0] == later.visits[0]


def test_a_signed_visit_altered_outside_is_told_and_can_be_brought_back(desk: Desk) -> None:
    """The sentence names visit and signer; the version that was signed takes its place again."""
    signed = sign(desk.case, "RK", AT)
    changed = loads_case(dumps_case(signed).replace('pd = "62"', 'pd = "66"'))
    (sentence,) = altered(changed)
    assert sentence.startswith("2026-11-25 examination: Signed by RK") and "changed outside" in sentence
    assert not altered(signed)
    restored = with_version(changed, signed)
    assert restored == signed and verify(restored).state == "unchanged"
