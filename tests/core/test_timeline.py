"""The timeline: changes against what repeats, carried-over values, devices and use across visits.

Repeatability used: letter acuity 0.20 log and letter contrast 0.35 log, Kiser AK et al., Optom Vis Sci 2005;82:946
(abstract read); reading acuity 0.30 log, Patel PJ et al., 2011 (abstract read).
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from afocal.core.case import Case, StepResult, new_case
from afocal.core.configuration import Configuration
from afocal.core.settings import Settings
from afocal.core.timeline import Timeline, changes_since_last, timeline

SETTINGS = Settings()
ONE = Configuration("high", "right", "bioptic", "through the lens")


def followed_up(before: dict[str, str], after: dict[str, str], days: int = 30) -> Case:
    """A case with an examination and a follow-up."""
    case = new_case("L-1", date(2026, 11, 25))
    for path, text in before.items():
        case = case.with_typed(path, text)
    case = case.with_new_visit(date.fromordinal(date(2026, 11, 25).toordinal() + days), "follow-up")
    for path, text in after.items():
        case = case.with_typed(path, text)
    return case


@pytest.mark.parametrize(
    ("path", "first", "second", "direction", "beyond", "words"),
    [
        # 20/100 is 0.699, 20/80 is 0.602, 20/50 is 0.398 logMAR.
        (
            "right.distance_acuity",
            "20/100",
            "20/80",
            "same",
            False,
            "0.1 log better, within what repeats (0.2)",
        ),
        (
            "right.distance_acuity",
            "20/100",
            "20/50",
            "better",
            True,
            "better by 0.3 log, more than repeats (0.2)",
        ),
        ("right.distance_acuity", "20/50", "20/100", "worse", True, "worse by 0.3 log"),
        ("right.distance_acuity", "20/100", "20/100", "same", False, "unchanged"),
        ("right.distance_acuity", "20/400", "HM", "worse", True, "off the chart now"),
        ("right.distance_acuity", "HM", "20/400", "better", True, "on the chart again"),
        ("right.distance_acuity", "CF", "HM", "worse", True, "words only, no arithmetic"),
        ("right.distance_acuity", "HM", "HM", "same", False, "as before"),
        # The same print at half the distance is 0.30 log worse: at the edge of what repeats.
        ("right.near_acuity", "1M @ 40", "1M @ 20", "same", False, "0.3 log worse, within"),
        ("right.near_acuity", "1M @ 40", "2M @ 20", "worse", True, "worse by 0.6 log"),
        ("right.near_acuity", "1M @ 40", "1M", "not comparable", False, "not comparable"),
        ("right.contrast", "1.20", "1.50", "same", False, "0.3 logCS better, within what repeats (0.35)"),
        ("right.contrast", "1.50", "1.05", "worse", True, "worse by 0.45 logCS"),
    ],
)
def test_change_against_what_repeats(
    path: str, first: str, second: str, direction: str, beyond: bool, words: str
) -> None:
    """A difference counts only beyond the coefficient of repeatability, and is said in words."""
    row = timeline(followed_up({path: first}, {path: second}), SETTINGS).row(path)
    assert row is not None
    change = row.cells[1].change
    assert change is not None
    assert (change.direction, change.beyond) == (direction, beyond), change
    assert words in change.words


def test_a_carried_over_value_is_no_measurement() -> None:
    """It is marked, shows no change, and a later measurement is compared with the one really measured."""
    case = followed_up({"right.distance_acuity": "20/100"}, {})
    row = timeline(case, SETTINGS).row("right.distance_acuity")
    assert row is not None
    assert row.cells[1].status == "carried over"
    assert row.cells[1].change is not None and row.cells[1].change.direction == "not measured"
    assert changes_since_last(case, SETTINGS) == ()
    later = case.with_new_visit(date(2027, 2, 1), "follow-up").with_typed("right.distance_acuity", "20/50")
    third = timeline(later, SETTINGS).row("right.distance_acuity")
    assert third is not None and third.cells[2].change is not None
    assert third.cells[2].change.direction == "better"


def test_the_clinics_own_repeatability_counts() -> None:
    """With a coefficient of 0.30 a change of 0.30 is no change."""
    case = followed_up({"right.distance_acuity": "20/100"}, {"right.distance_acuity": "20/50"})
    row = timeline(case, Settings(assumptions={"cr95_logmar": 0.31})).row("right.distance_acuity")
    assert row is not None and row.cells[1].change is not None
    assert row.cells[1].change.direction == "same"


def with_device() -> Case:
    """Three visits: fitted, followed up with the device measured, and changed to another cap."""
    case = new_case("L-2", date(2026, 11, 25)).with_typed("right.distance_acuity", "20/100")
    steps = {
        "performance.acuity.right": StepResult(measured="20/40"),
        "performance.speed": StepResult(measured="60"),
    }
    case = case.with_visit(replace(case.visit, choice=ONE, steps=steps))
    case = case.with_new_visit(date(2026, 12, 23), "follow-up")
    for path, text in {
        "trial.acuity_right": "20/50", "follow_up.use": "daily", "follow_up.device": "changed",
        "follow_up.problems": "finds the page late", "plan.next_date": "2027-03-01",
    }.items():  # fmt: skip
        case = case.with_typed(path, text)
    steps = {"performance.speed": StepResult(measured="90")}
    changed = Configuration("high", "right", "bioptic", "through the lens", cap="four")
    return case.with_visit(replace(case.visit, choice=changed, steps=steps))


def test_device_and_use_stand_beside_the_measurements() -> None:
    """Performance through the device, what it is, how it is used and the next date have their rows."""
    shown: Timeline = timeline(with_device(), SETTINGS)
    acuity, speed, device = shown.row("through.acuity.right"), shown.row("through.speed"), shown.row("device")
    assert acuity and speed and device
    assert acuity.cells[1].change is not None and "within what repeats" in acuity.cells[1].change.words
    assert (
        speed.cells[1].change is not None
        and speed.cells[1].change.words == "better by 50 %, more than repeats (20)"
    )
    assert device.cells[1].change is not None and device.cells[1].change.words == "changed: cap none to four"
    use, following = shown.row("follow_up.use"), shown.row("plan.next_date")
    assert use and use.cells[0].empty and use.cells[1].words == "daily"
    assert following and following.cells[1].words == "2027-03-01"


def test_headings_say_when_and_whether_signed() -> None:
    """Each visit has its day, its kind, how long after the last, and its seal."""
    first, second = timeline(with_device(), SETTINGS).visits
    assert (first.age_words, second.age_words) == ("first visit", "4 weeks later")
    assert (second.kind, second.signed, second.days_since_last) == ("follow-up", "not signed", 28)


def test_summary_sentences() -> None:
    """What changed by more than repeats comes first, what was only carried over is named."""
    summary = timeline(with_device(), SETTINGS).summary
    assert summary[0].startswith("Changed by more than repeats:")
    assert "Reading speed through it" in summary[0]
    assert any("Acuity R" in sentence for sentence in summary if sentence.startswith("Carried over"))
    assert timeline(new_case("L-3", date(2026, 11, 25)), SETTINGS).summary == (
        "One visit: nothing to compare with.",
    )


def test_changes_beyond_what_repeats_come_first() -> None:
    """The list for the latest visit leads with what matters."""
    changes = changes_since_last(with_device(), SETTINGS)
    beyond = [change.beyond for _, change in changes]
    assert beyond == sorted(beyond, reverse=True)
    assert beyond[0]


def test_unreadable_values_are_shown_and_not_compared() -> None:
    """A result that cannot be read keeps its text and says so."""
    case = with_device()
    steps = {"performance.speed": StepResult(measured="quick")}
    case = case.with_visit(replace(case.visit, steps=steps))
    row = timeline(case, SETTINGS).row("through.speed")
    assert row is not None and row.cells[1].typed == "quick"
    assert row.cells[1].change is not None and row.cells[1].change.direction == "not comparable"


def test_no_two_rows_have_one_label() -> None:
    """What was chosen and what becomes of it are told apart by their labels."""
    labels = [row.label for row in timeline(with_device(), SETTINGS).rows]
    assert len(labels) == len(set(labels))
    assert {"Device chosen", "Kept, changed, returned"} <= set(labels)


def test_a_follow_up_says_acuity_and_device_in_words() -> None:
    """Acuity against the visit it was last measured at, with what repeats; then kept, changed or returned.

    20/100 is 0.699 and 20/80 is 0.602 logMAR: 0.10 log. 0.20 log: Kiser AK et al., 2005 (abstract read).
    """
    after = {
        "right.distance_acuity": "20/80", "left.distance_acuity": "20/400", "follow_up.use": "weekly",
        "follow_up.use_words": "cards", "follow_up.device": "returned", "follow_up.reason": "too heavy",
        "follow_up.task_met": "partly", "follow_up.problems": "nose sore",
    }  # fmt: skip
    case = followed_up({"right.distance_acuity": "20/100"}, after)
    summary = timeline(case, SETTINGS).summary
    acuity = next(sentence for sentence in summary if sentence.startswith("Acuity now"))
    assert "R 20/80, was 20/100 on 2026-11-25: 0.1 log better, within what repeats (0.2)" in acuity
    assert "L 20/400, measured for the first time" in acuity
    assert (
        "Device returned (too heavy); used weekly for cards; goal partly met; troubles: nose sore." in summary
    )
    # The visit between has no measurement of it: the one before counts.
    third = case.with_new_visit(date(2027, 1, 25), "follow-up").with_new_visit(date(2027, 2, 25), "follow-up")
    third = third.with_typed("right.distance_acuity", "20/200")
    later = timeline(third, SETTINGS).summary
    assert any("was 20/80 on 2026-12-25: worse by 0.4 log, more than repeats (0.2)" in each for each in later)
    assert any(each.startswith("Not said yet whether the device is kept") for each in later)


def test_a_visit_at_which_nothing_is_measured_yet_says_so() -> None:
    """Before anything is measured nothing can be called unchanged."""
    case = followed_up({"right.distance_acuity": "20/100"}, {})
    assert timeline(case, SETTINGS).summary[0] == "Nothing is measured at this visit yet."
    again = case.with_typed("right.distance_acuity", "20/80")
    assert timeline(again, SETTINGS).summary[0] == "Nothing changed by more than repeats."


def test_the_task_itself_stands_across_visits() -> None:
    """Tried at the examination, done in part at the fitting, done at the follow-up: each against the time before."""
    case = new_case("L-4", date(2026, 11, 25))
    case = case.with_goal_typed(0, "task", "departures board").with_goal_typed(1, "task", "street name sign")
    case = case.with_visit(
        replace(case.visit, choice=ONE, steps={"trial.task": StepResult(measured="not done")})
    )
    case = case.with_new_visit(date(2026, 12, 2), "fitting")
    steps = {
        "performance.task.1": StepResult(measured="partly"),
        "performance.task.2": StepResult(measured="done"),
    }
    case = case.with_visit(replace(case.visit, steps=steps)).with_new_visit(date(2027, 1, 2), "follow-up")
    # The goals change their order: a goal keeps its row.
    case = case.with_goals([case.visit.goals[1], case.visit.goals[0]])
    steps = {
        "performance.task.1": StepResult(measured="done"),
        "performance.task.2": StepResult(measured="done"),
    }
    case = case.with_visit(replace(case.visit, steps=steps))
    shown = timeline(case, SETTINGS)
    sign, board = shown.row("task.1"), shown.row("task.2")
    assert sign is not None and board is not None
    assert (sign.label, [cell.typed for cell in sign.cells]) == (
        "Task: street name sign",
        ["", "done", "done"],
    )
    assert [cell.typed for cell in board.cells] == ["not done", "partly", "done"]
    assert [cell.change.words for cell in board.cells if cell.change] == [
        "first try", "partly, was not done", "done, was partly",
    ]  # fmt: skip
    assert "Task: departures board done, was partly" in shown.summary[0]
    assert sign.last_change is not None and sign.last_change.direction == "same"
