"""The case: edits make new cases, nothing is lost, signed visits are read-only."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime

import pytest

from afocal.core.case import Case, Signature, new_case
from afocal.core.errors import EntryRefusal, RangeRefusal

DAY = date(2026, 11, 25)


@pytest.fixture
def case() -> Case:
    return (
        new_case("T-1", DAY)
        .with_typed("right.distance_acuity", "20/100-2")
        .with_typed("person.birth_year", "1956")
    )


def test_an_edit_makes_a_new_case_and_leaves_the_old_one(case):
    """Undo is a list of cases."""
    edited = case.with_typed("right.distance_acuity", "20/80")
    assert edited != case
    assert case.visit.findings["right.distance_acuity"].typed == "20/100-2"
    assert edited.value("right.distance_acuity").logmar == pytest.approx(0.602, abs=1e-3)


def test_a_refused_entry_leaves_the_case_as_it_was(case):
    """The old value stays."""
    with pytest.raises(RangeRefusal):
        case.with_typed("face.vertex_distance", "80")
    with pytest.raises(EntryRefusal):
        case.with_typed("right.distance_acuity", "twenty")
    with pytest.raises(EntryRefusal):
        case.with_typed("right.no_such_field", "1")
    assert case.value("face.vertex_distance") is None


def test_empty_text_clears_a_field(case):
    """Clearing is an edit too."""
    assert "right.distance_acuity" not in case.with_typed("right.distance_acuity", " ").visit.findings


def test_a_choice_is_kept_as_the_whole_word(case):
    """Letters typed for a choice are kept as what they mean."""
    assert (
        case.with_typed("history.stability", "slo").visit.findings["history.stability"].typed
        == "slowly worse"
    )


def test_goals_can_be_added_edited_and_emptied(case):
    """A goal one past the last is new; a goal without any figure disappears."""
    with_goal = case.with_goal_typed(0, "distance", "8 m").with_goal_typed(0, "detail", "20/40")
    assert with_goal.visit.goals[0].value("distance") == 8000
    emptied = with_goal.with_goal_typed(0, "distance", "").with_goal_typed(0, "detail", "")
    assert emptied.visit.goals == ()


def test_a_new_visit_carries_over_and_says_so(case):
    """Findings that carry over are marked; acuity of the examiner and the trial do not come along as measured."""
    told = case.with_typed("history.sudden_loss", "yes").with_typed("trial.acuity_both", "20/50")
    later = told.with_new_visit(date(2026, 12, 20), "follow-up")
    assert later.visit.kind == "follow-up"
    assert later.visit.findings["right.distance_acuity"].status == "carried over"
    assert "history.sudden_loss" not in later.visit.findings
    assert "trial.acuity_both" not in later.visit.findings
    confirmed = later.confirmed("right.distance_acuity")
    assert confirmed.visit.findings["right.distance_acuity"].status == "measured"
    assert later.age_years() == 70


def test_a_signed_visit_refuses_edits_but_takes_addenda(case):
    """Later words are addenda."""
    from afocal.core.case import Addendum

    signature = Signature(signer="mk", at=datetime(2026, 11, 25, 17), digest="0" * 64)
    signed = case.with_visit(replace(case.visit, signature=signature))
    with pytest.raises(EntryRefusal, match="signed"):
        signed.with_typed("face.pd", "62")
    addendum = Addendum(at=datetime(2026, 11, 26, 9), by="mk", text="PD taken again: 62.")
    with_words = signed.with_visit(replace(signed.visit, addenda=(addendum,)))
    assert with_words.visit.addenda[0].text.startswith("PD")
