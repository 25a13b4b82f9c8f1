"""Merging what a case file holds: goals, visits, steps, cautions, training, addenda, the choice, statuses, signatures."""

from __future__ import annotations

from collections.abc import Callable
from copy import deepcopy
from datetime import date, datetime
from typing import Any

import pytest

from afocal.core.store.merge import differences, three_way
from afocal.core.store.resolving import resolve

DAY, LATER = date(2026, 11, 25), date(2026, 12, 2)
Tables = dict[str, Any]


def case() -> Tables:
    """A case with one of everything."""
    return {
        "code": "P1",
        "visit": [
            {
                "date": DAY,
                "kind": "examination",
                "right": {"distance_acuity": "20/100", "pupil": "3", "pupil_status": "carried over"},
                "choice": {"telescope": "small", "eye": "right", "promised": {"logmar": 0.3}},
                "goal": [{"id": "a", "task": "board", "distance": "4 m"}, {"id": "b", "task": "faces"}],
                "step": [{"key": "fit.height", "measured": "12 mm", "at": datetime(2026, 11, 25, 10)}],
                "caution": [{"key": "sun", "given": True}],
                "training": [{"date": DAY, "stage": "spot", "minutes": 10.0}],
            }
        ],
    }


def edited(change: Callable[[Tables], object], base: Tables | None = None) -> Tables:
    """A copy with the first visit changed."""
    made = deepcopy(base or case())
    change(made["visit"][0])
    return made


CLEAN: list[tuple[str, Callable[[Tables], Any], Callable[[Tables], Any], Callable[[Tables], Any]]] = [
    (
        "two goals of one case",
        lambda v: v["goal"][0].update(distance="6 m"),
        lambda v: v["goal"][1].update(distance="2 m"),
        lambda v: (
            v["goal"] == [{"id": "a", "task": "board", "distance": "6 m"}, {"id": "b", "task": "faces", "distance": "2 m"}]
        ),
    ),
    (
        "a goal added in each room",
        lambda v: v["goal"].append({"id": "c", "task": "bus"}),
        lambda v: v["goal"].append({"id": "d", "task": "cards"}),
        lambda v: {goal["task"] for goal in v["goal"]} == {"board", "faces", "bus", "cards"},
    ),
    (
        "one moved, one edited",
        lambda v: v["goal"].reverse(),
        lambda v: v["goal"][0].update(distance="6 m"),
        lambda v: [goal["id"] for goal in v["goal"]] == ["b", "a"] and v["goal"][1]["distance"] == "6 m",
    ),
    (
        "all goals removed but one edited elsewhere is a question only about that one",
        lambda v: v.update(goal=[v["goal"][0]]),
        lambda v: v["goal"][0].update(distance="6 m"),
        lambda v: v["goal"] == [{"id": "a", "task": "board", "distance": "6 m"}],
    ),
    (
        "two steps",
        lambda v: v["step"].append({"key": "fit.tilt", "measured": "8"}),
        lambda v: v["step"].append({"key": "fit.vertex", "measured": "14"}),
        lambda v: {step["key"] for step in v["step"]} == {"fit.height", "fit.tilt", "fit.vertex"},
    ),
    (
        "one step: figure here, note there, the time of the later one",
        lambda v: v["step"][0].update(measured="13 mm", at=datetime(2026, 11, 25, 11)),
        lambda v: v["step"][0].update(note="slips", at=datetime(2026, 11, 25, 12)),
        lambda v: (
            v["step"]
            == [{"key": "fit.height", "measured": "13 mm", "at": datetime(2026, 11, 25, 12), "note": "slips"}]
        ),
    ),
    (
        "two cautions",
        lambda v: v["caution"].append({"key": "walking", "given": True}),
        lambda v: v["caution"][0].update(understood=True),
        lambda v: v["caution"] == [{"key": "sun", "given": True, "understood": True}, {"key": "walking", "given": True}],
    ),
    (
        "training of one day in two stages",
        lambda v: v["training"].append({"date": LATER, "stage": "trace"}),
        lambda v: v["training"].append({"date": LATER, "stage": "track"}),
        lambda v: [each["stage"] for each in v["training"]] == ["spot", "track", "trace"],
    ),
    (
        "a table emptied here and filled there",
        lambda v: v.pop("right"),
        lambda v: v["right"].update(contrast="1.2"),
        lambda v: v["right"] == {"contrast": "1.2"},
    ),
    (
        "a value measured here, another confirmed there",
        lambda v: (v["right"].update(pupil="4"), v["right"].pop("pupil_status")),
        lambda v: v["right"].update(distance_acuity="20/80"),
        lambda v: v["right"] == {"distance_acuity": "20/80", "pupil": "4"},
    ),
    (
        "carried over: confirmed here, measured alike there",
        lambda v: v["right"].update(pupil_status="confirmed"),
        lambda v: v["right"].pop("pupil_status"),
        lambda v: v["right"]["pupil"] == "3" and "pupil_status" not in v["right"],
    ),
]  # fmt: skip


@pytest.mark.parametrize(("claim", "mine", "theirs", "holds"), CLEAN, ids=[each[0] for each in CLEAN])
def test_edits_of_different_things_come_together(claim, mine, theirs, holds) -> None:
    """Nothing is asked, both edits are in it, whichever room comes second; nothing is set aside."""
    for first, second in ((mine, theirs), (theirs, mine)):
        merge = three_way(case(), edited(first), edited(second))
        assert merge.is_clean, merge.conflicts
        (visit,) = merge.merged["visit"]
        if claim.startswith("training"):
            assert {each["stage"] for each in visit["training"]} == {"spot", "trace", "track"}
        else:
            assert holds(visit), visit
        assert resolve(merge, {}) == merge.merged


def test_a_goal_removed_and_edited_is_asked_about_that_goal() -> None:
    """Also when no goal is left on one side; keeping both keeps the goal."""
    for mine in (lambda v: v.pop("goal"), lambda v: v["goal"].pop(0)):
        merge = three_way(case(), edited(mine), edited(lambda v: v["goal"][0].update(distance="6 m")))
        assert [each.key for each in merge.conflicts] == ["visit[2026-11-25].goal[a]"]
        goals = resolve(merge, {})["visit"][0]["goal"]
        assert goals[0] == {"id": "a", "task": "board", "distance": "6 m"}


def test_a_move_alone_is_told() -> None:
    """Which goal matters most is content."""
    (found,) = differences(case(), edited(lambda v: v["goal"].reverse()))
    assert (found.key, found.before, found.after) == (
        "visit[2026-11-25].goal.order",
        ["[a]", "[b]"],
        ["[b]", "[a]"],
    )


def test_a_device_is_never_put_together_from_two_rooms() -> None:
    """Another telescope here and a cap there are one question; the answer is one of the two, with its own promise."""
    mine = edited(lambda v: v["choice"].update(telescope="wide", promised={"logmar": 0.4}))
    theirs = edited(lambda v: v["choice"].update(cap="four", promised={"logmar": 0.5}))
    merge = three_way(case(), mine, theirs)
    (conflict,) = merge.conflicts
    assert conflict.key == "visit[2026-11-25].choice"
    for choice, kept in (("mine", mine), ("theirs", theirs), ("both", mine)):
        decided = resolve(merge, {conflict.key: choice})
        assert decided["visit"][0]["choice"] == kept["visit"][0]["choice"]
        assert bool(decided.get("set_aside")) is (choice == "both")


def test_a_status_goes_with_its_value() -> None:
    """The value of one room never gets the status of the other."""
    mine = edited(lambda v: (v["right"].update(pupil="4"), v["right"].pop("pupil_status")))
    theirs = edited(lambda v: v["right"].update(pupil="5", pupil_status="confirmed"))
    merge = three_way(case(), mine, theirs)
    (conflict,) = merge.conflicts
    taken = resolve(merge, {conflict.key: "theirs"})["visit"][0]["right"]
    assert (taken["pupil"], taken["pupil_status"]) == ("5", "confirmed")
    kept = resolve(merge, {conflict.key: "mine"})["visit"][0]["right"]
    assert kept["pupil"] == "4" and "pupil_status" not in kept


def added(kind: str, **values: Any) -> Tables:
    """The case with a visit more."""
    made = case()
    made["visit"].append({"date": LATER, "kind": kind, **values})
    return made


def test_two_different_visits_of_one_day_are_two() -> None:
    """A fitting here and a follow-up there on the same day: both, and what is on disk already stands first."""
    mine, theirs = added("fitting", notes="a"), added("follow-up", notes="b")
    merge = three_way(case(), mine, theirs)
    assert merge.is_clean
    assert [(each["kind"], each.get("notes")) for each in merge.merged["visit"]] == [
        ("examination", None),
        ("follow-up", "b"),
        ("fitting", "a"),
    ]


def test_the_same_visit_begun_in_two_rooms_is_one() -> None:
    """Two follow-ups begun on one day are one visit, put together field by field."""
    merge = three_way(
        case(), added("follow-up", right={"pupil": "3"}), added("follow-up", left={"pupil": "4"})
    )
    assert merge.is_clean
    assert len(merge.merged["visit"]) == 2
    assert merge.merged["visit"][1]["right"] == {"pupil": "3"}
    assert merge.merged["visit"][1]["left"] == {"pupil": "4"}


def test_two_visits_of_one_day_that_were_there_before_are_told_apart() -> None:
    """An examination and a fitting of one day, one edited in each room; two of one kind are counted."""
    for kinds in (("examination", "fitting"), ("fitting", "fitting")):
        base = {"visit": [{"date": DAY, "kind": kind, "notes": ""} for kind in kinds]}
        mine, theirs = deepcopy(base), deepcopy(base)
        mine["visit"][0]["notes"], theirs["visit"][1]["notes"] = "a", "b"
        merge = three_way(base, mine, theirs)
        assert merge.is_clean
        assert [each["notes"] for each in merge.merged["visit"]] == ["a", "b"]


SEAL = {"signer": "RK", "at": datetime(2026, 11, 25, 17), "digest": "sha256:1"}
SIGNED = edited(lambda v: v.update(signature=SEAL))
OTHERS: list[tuple[str, Tables, Tables, Tables]] = [
    ("signed here, edited there", case(), SIGNED, edited(lambda v: v.update(notes="x"))),
    ("edited here, signed there", case(), edited(lambda v: v.update(notes="x")), SIGNED),
    ("signature taken out there", SIGNED, SIGNED, case()),
    ("signature taken out here", SIGNED, case(), SIGNED),
    ("signed visit removed there", SIGNED, SIGNED, {"code": "P1", "visit": []}),
    ("signature taken out there, words added here", SIGNED, edited(lambda v: v.update(addendum=[{"at": 1}]), SIGNED), case()),
]  # fmt: skip


@pytest.mark.parametrize(("claim", "base", "mine", "theirs"), OTHERS, ids=[each[0] for each in OTHERS])
@pytest.mark.parametrize("choice", ["mine", "theirs", "both"])
def test_a_signature_is_never_lost(claim, base, mine, theirs, choice) -> None:
    """Whatever is chosen, the signed visit stands in its place, and what the other room has is set aside."""
    merge = three_way(base, mine, theirs)
    (conflict,) = merge.conflicts
    assert conflict.is_sealed
    decided = resolve(merge, {conflict.key: choice})
    assert decided["visit"][0]["signature"] == SEAL
    if "edited" in claim:
        assert decided["set_aside"][0]["other"]["notes"] == "x"


def test_signed_by_two_keeps_both_signatures() -> None:
    """One stands in the visit, the other, with its content, beside it."""
    other = edited(lambda v: v.update(signature={**SEAL, "signer": "AB"}))
    decided = resolve(three_way(case(), SIGNED, other), {})
    assert decided["visit"][0]["signature"]["signer"] == "RK"
    assert decided["set_aside"][0]["other"]["signature"]["signer"] == "AB"


def test_addenda_of_the_same_second_are_both_kept() -> None:
    """Later words are only ever added."""
    at = datetime(2026, 11, 26, 9)
    mine = edited(lambda v: v.update(addendum=[{"at": at, "by": "RK", "text": "a"}]), SIGNED)
    theirs = edited(lambda v: v.update(addendum=[{"at": at, "by": "AB", "text": "b"}]), SIGNED)
    merge = three_way(SIGNED, mine, theirs)
    assert merge.is_clean
    assert {each["text"] for each in merge.merged["visit"][0]["addendum"]} == {"a", "b"}


def test_what_was_set_aside_before_stays() -> None:
    """Each room has set something aside of the same field: both entries are in the file."""
    mine, theirs = case(), case()
    mine["set_aside"] = [{"key": "x", "kept": "1", "other": "2"}]
    theirs["set_aside"] = [{"key": "x", "kept": "3", "other": "4"}]
    merge = three_way(case(), mine, theirs)
    assert merge.is_clean
    assert {each["other"] for each in merge.merged["set_aside"]} == {"2", "4"}
