"""Training plans by device and goal, and where the sessions have led.

The order of stages is that of University of Missouri teaching case 3002 (read) and Pennsylvania College of Optometry,
instructional resource plan on telescope training, 2004 (read in part); places and minutes are common practice.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from afocal.core.case import Case, new_case
from afocal.core.case_file import dumps_case, loads_case
from afocal.core.configuration import Configuration
from afocal.core.errors import ClinicalRefusal, EntryRefusal, RangeRefusal
from afocal.core.fitting.exercises import PLACES, STAGES
from afocal.core.stock import Cap, Stock, Telescope
from afocal.core.training import session, training_plan, training_standing, with_session

STOCK = Stock(
    telescopes=(
        Telescope(
            id="fixed", description="fixed", type="galilean", magnification=2.0, tube_length_mm=24,
            objective_diameter_mm=20, mounts=("through the lens", "flip-up", "clip-on"),
            positions=("bioptic", "full diameter", "low"),
        ),
        Telescope(
            id="turn", description="focusing", type="keplerian", magnification=4.0, tube_length_mm=80,
            objective_diameter_mm=16, focusable=True, shortest_tube_mm=76, longest_tube_mm=90,
        ),
    ),
    caps=(Cap(id="four", description="cap", power_d=4.0),),
)  # fmt: skip


def case_with(choice: Configuration | None, *goals: dict[str, str]) -> Case:
    """A case with goals and a choice."""
    case = new_case("T-1", date(2026, 11, 25))
    for index, goal in enumerate(goals):
        for key, text in goal.items():
            case = case.with_goal_typed(index, key, text)
    return case.with_visit(replace(case.visit, choice=choice))


SIGN = {"task": "street sign", "distance": "8 m", "posture": "walking", "light": "bright"}
BOARD = {"task": "board", "distance": "4 m", "posture": "seated", "light": "room"}
BOOK = {"task": "read a book", "distance": "25 cm", "duration": "long", "posture": "seated"}


def test_safety_sets_the_order() -> None:
    """Within a stage seated comes before standing and indoors before outdoors; stages come in their order."""
    plan = training_plan(
        case_with(Configuration("fixed", "right", "bioptic", "through the lens"), SIGN), STOCK
    )
    ranks = [(STAGES.index(e.stage), PLACES.index(e.place)) for e in plan.exercises]
    assert ranks == sorted(ranks)
    assert plan.stages == ("localise", "focus", "spot", "trace", "track", "scan", "task")
    assert plan.exercises[0].place == "seated indoors"
    assert "naked eye" in plan.exercises[0].do


def test_moving_goals_ask_for_tracking_and_seated_ones_do_not() -> None:
    """A seated board needs no tracking and nobody stands; a walker is told to stop, spot and look away."""
    choice = Configuration("fixed", "right", "full diameter", "through the lens")
    seated = training_plan(case_with(choice, BOARD), STOCK)
    assert "track" not in seated.stages
    assert {exercise.place for exercise in seated.exercises} == {"seated indoors"}
    walker = training_plan(case_with(choice, SIGN), STOCK)
    standing = [exercise for exercise in walker.exercises if exercise.place.startswith("standing")]
    assert standing
    assert all(exercise.caution for exercise in standing)


def test_caps_train_reading() -> None:
    """With a cap the distance is found first, then words, lines and reading on; no spotting at the wall."""
    choice = Configuration("fixed", "right", "low", "through the lens", cap="four")
    plan = training_plan(case_with(choice, BOOK), STOCK)
    words = " ".join(exercise.do for exercise in plan.exercises)
    assert "25 cm" in words
    assert plan.stages == ("localise", "focus", "spot", "trace", "scan", "task")


@pytest.mark.parametrize(
    ("choice", "title"),
    [
        (Configuration("fixed", "right", "bioptic", "flip-up"), "Flip up and down"),
        (Configuration("fixed", "right", "full diameter", "clip-on"), "Put on and take off"),
        (Configuration("turn", "left", "bioptic", "through the lens"), "Focus by hand"),
        (Configuration("fixed", "right", "full diameter", "through the lens"), "Learn where it is clear"),
        (Configuration("fixed", "right", "bioptic", "through the lens"), "Drop the head into the telescope"),
        (Configuration("fixed", "right", "low", "through the lens"), "Lower the eyes into the telescope"),
    ],
)
def test_the_device_has_its_own_exercises(choice: Configuration, title: str) -> None:
    """Mount, focus and position each bring their exercise."""
    plan = training_plan(case_with(choice, BOARD), STOCK)
    assert title in [exercise.title for exercise in plan.exercises]


def test_sessions_lead_from_stage_to_stage() -> None:
    """A stage counts when the last session of it was done alone; the next one is named."""
    case = case_with(Configuration("fixed", "right", "bioptic", "through the lens"), BOARD)
    plan = training_plan(case, STOCK)
    assert training_standing(plan, case).sentence == "No training recorded; start with localise."
    case = with_session(case, session(date(2026, 12, 1), "loc", "20", "alone, ten of ten"))
    case = with_session(case, session(date(2026, 12, 1), "focus", "10", "with help"))
    now = training_standing(plan, case)
    assert (now.mastered, now.next_stage, now.minutes) == (("localise",), "focus", 30.0)
    case = with_session(case, session(date(2026, 12, 8), "focus", "", "Alone"))
    assert training_standing(plan, case).next_stage == "spot"
    case = with_session(case, session(date(2026, 12, 9), "localise", "5", "not yet: new glasses"))
    assert training_standing(plan, case).next_stage == "localise"
    assert loads_case(dumps_case(case)) == case


def test_sessions_are_kept_over_visits() -> None:
    """Training of an earlier visit still counts at a later one."""
    case = case_with(Configuration("fixed", "right", "bioptic", "through the lens"), BOARD)
    case = with_session(case, session(date(2026, 12, 1), "localise", "20", "alone"))
    later = case.with_new_visit(date(2027, 1, 5), "follow-up")
    assert training_standing(training_plan(later, STOCK), later).mastered == ("localise",)


def test_refusals_name_the_field() -> None:
    """An unknown stage, an impossible time and a missing choice are each said."""
    with pytest.raises(EntryRefusal, match="Stage"):
        session(date(2026, 12, 1), "juggle")
    with pytest.raises(RangeRefusal, match="Minutes"):
        session(date(2026, 12, 1), "spot", "900")
    with pytest.raises(ClinicalRefusal, match="chosen"):
        training_plan(case_with(None, BOARD), STOCK)
