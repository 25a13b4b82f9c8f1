"""The open case: accepted means on disk, undo and redo are cases, a signature is not undone."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime
from pathlib import Path

import pytest

from afocal.core.case import Signature
from afocal.core.case_header import case_header
from afocal.core.desk import Desk
from afocal.core.errors import EntryRefusal, FileRefusal
from afocal.core.workspace import Workspace, demo_workspace

DAY = date(2026, 11, 25)


@pytest.fixture
def workspace(tmp_path: Path) -> Workspace:
    return Workspace(tmp_path / "cases", tmp_path / "stock.toml", tmp_path / "settings.toml")


@pytest.fixture
def desk(workspace: Workspace, tmp_path: Path):
    desk = Desk(workspace.new_case("T-1", DAY), recovery_folder=tmp_path / "recovery")
    yield desk
    desk.close()


def test_an_accepted_value_is_in_the_file_when_the_saver_says_saved(desk, workspace):
    """The file holds what was typed."""
    assert desk.accept(desk.case.with_typed("face.pd", "62"))
    assert desk.saver.wait(10)
    assert workspace.open_case("T-1").case == desk.case
    assert not desk.accept(desk.case)


def test_undo_and_redo_walk_through_versions_and_are_saved(desk, workspace):
    """Each step is on disk as well."""
    first = desk.case
    desk.accept(desk.case.with_typed("face.pd", "62"))
    second = desk.case
    desk.accept(desk.case.with_typed("face.pd", "64"))
    assert desk.undo() and desk.case == second
    assert desk.undo() and desk.case == first
    assert not desk.undo()
    assert desk.redo() and desk.case == second
    assert desk.saver.wait(10)
    assert workspace.open_case("T-1").case == second
    desk.accept(desk.case.with_typed("face.pd", "66"))
    assert not desk.redo()


def test_a_signature_cannot_be_undone(desk):
    """Undo ends at the signature."""
    desk.accept(desk.case.with_typed("face.pd", "62"))
    signature = Signature(signer="mk", at=datetime(2026, 11, 25, 17), digest="0" * 64)
    desk.accept(desk.case.with_visit(replace(desk.case.visit, signature=signature)), keep_for_good=True)
    assert not desk.undo()
    assert desk.case.visit.signed


def test_a_code_in_use_or_not_a_code_is_refused(desk, workspace):
    """No case is overwritten by a new one, also when letters differ in case only."""
    desk.accept(desk.case.with_typed("face.pd", "62"))
    assert desk.saver.wait(10)
    for code in ("T-1", "t-1", "a/b", "", "..", "x" * 80):
        with pytest.raises(EntryRefusal):
            workspace.new_case(code, DAY)
    with pytest.raises(FileRefusal, match="no such case"):
        workspace.open_case("T-2")


def test_the_practice_set_is_a_copy(tmp_path):
    """Working on the practice set changes nothing of the program's own files."""
    demo = demo_workspace(tmp_path / "demo")
    stock, problems = demo.stock()
    assert demo.is_demo and stock.telescopes and not problems
    assert len(list(demo.cases.glob("*.toml"))) >= 6
    assert demo.open_case("LQ-101").case.code == "LQ-101"


def test_no_stock_file_is_said_and_gives_an_empty_stock(workspace):
    """Nothing is planned on a stock that the clinic does not have."""
    stock, problems = workspace.stock()
    assert not stock.telescopes
    assert "no stock file" in str(problems[0])


def test_the_header_of_a_case_says_what_the_list_shows(tmp_path):
    """Code, year, last visit, goals, device, next step, and one outcome a visit with a choice."""
    demo = demo_workspace(tmp_path / "demo")
    header = case_header((demo.cases / "LQ-107.toml").read_text("utf-8"))
    assert header["code"] == "LQ-107" and header["birth_year"] == 1975
    assert str(header["last_visit"]) == "2026-11-18" and header["kind"] == "follow-up"
    assert header["goals"] == ["playing cards"]
    assert header["device"].startswith("wide-1.6")
    first, second = header["outcomes"]
    assert first["measured_logmar"] == pytest.approx(0.358, abs=1e-3)
    assert second["measured_logmar"] == pytest.approx(0.398, abs=1e-3)
    assert second["outcome"] == "kept; goal met"


def test_the_acuity_after_delivery_comes_before_the_trial_and_the_trial_is_its_repeat():
    """The look back compares the promise with what was delivered."""
    text = (
        'schema = 1\ncode = "T-1"\n[[visit]]\ndate = 2026-11-25\n[visit.trial]\nacuity_right = "20/50"\n'
        '[visit.choice]\ntelescope = "a"\neye = "right"\nposition = "bioptic"\nmount = "in front"\n'
        '[visit.choice.promised]\nlogmar = 0.3\ngoal = "sign"\n'
        '[[visit.step]]\nkey = "performance.acuity.right"\nmeasured = "20/40"\n'
    )
    (outcome,) = case_header(text)["outcomes"]
    assert outcome["promised_logmar"] == 0.3
    assert outcome["measured_logmar"] == pytest.approx(0.301, abs=1e-3)
    assert outcome["repeat_logmar"] == pytest.approx(0.398, abs=1e-3)
