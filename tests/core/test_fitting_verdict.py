"""Verdicts on typed results, progress in words, the next open step, and results stored in the visit."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime

import pytest

from afocal.core import ranges as r
from afocal.core.case import Case, Caution, StepResult, new_case
from afocal.core.case_file import dumps_case, loads_case
from afocal.core.configuration import Configuration
from afocal.core.entry import AcuityKind, Choice, Length, NearKind, Number, RefractionKind, YesNo
from afocal.core.errors import EntryRefusal, RangeRefusal
from afocal.core.faults.catalogue_more import FAULTS
from afocal.core.fitting.cautions import cautions_for, standing, with_caution
from afocal.core.fitting.progress import (
    left_over,
    next_attention,
    next_open,
    progress,
    progress_of,
    with_result,
)
from afocal.core.fitting.sheet import fitting_sheet
from afocal.core.fitting.types import Accept, Answers, FittingSheet, Interval, Lens, Recorded, Repeats, Step
from afocal.core.fitting.verdict import verdict, verdict_at
from afocal.core.optics.mounting import head_drop_deg
from afocal.core.settings import Settings
from afocal.core.stock import Stock, Telescope

STOCK = Stock(
    telescopes=(
        Telescope(
            id="high", description="Galilean 2.5x", type="galilean", magnification=2.5, tube_length_mm=28,
            objective_diameter_mm=22, housing_radius_mm=9,
        ),
        Telescope(
            id="other", description="Galilean 2.2x", type="galilean", magnification=2.2, tube_length_mm=28,
            objective_diameter_mm=22, housing_radius_mm=9,
        ),
    )
)  # fmt: skip


def step(kind: object, accept: Accept, target: float | None = None, unit: str = "", **more: object) -> Step:
    """A step for a verdict."""
    return Step(
        "k", "fit", "Thing", "do", "10 mm", "how", kind, accept, target, unit, remedy="bend it", **more
    )  # type: ignore[arg-type]


GAP = step(Length(r.PUPIL_HEIGHT), Interval(9, 11, 8, 12), 10.0, "mm")
TAPE = step(Length(r.WORKING_DISTANCE, "cm"), Interval(400, 500), 444.0, "mm")
ACUITY = step(AcuityKind(), Repeats(0.32, 0.20, "acuity"))
PRINT = step(NearKind(), Repeats(1.0, 0.30, "print"))
DROP = step(Number(r.TUBE_TILT, 0), Interval(11, 19, 0, 24), 14.79, "deg", remedy_low="measure again")
SPEED = step(Number(r.READING_SPEED, 0), Repeats(80.0, 0.2, "speed"))
LENS = step(RefractionKind(), Lens(-3.0, -1.0, 90, 0.13, 0.13))


@pytest.mark.parametrize(
    ("given", "typed", "state", "words"),
    [
        (GAP, "10.5", "ok", "Within tolerance, +0.5 mm from the target"),
        (GAP, "9 mm", "ok", "Within tolerance"),
        (TAPE, "45", "ok", "Within tolerance, +0.6 cm from the target."),
        (TAPE, "44.4", "ok", "Within tolerance."),
        (TAPE, "38", "no", "Too small, -6.4 cm from the target"),
        (GAP, "11.5", "check", "Too large, but tolerable"),
        # Degrees are said in tenths; what helps against too little is not what helps against too much.
        (DROP, "22", "check", "Too large, but tolerable, +7.2 deg from the target: bend it."),
        (DROP, "0", "check", "Too small, but tolerable, -14.8 deg from the target: measure again."),
        (DROP, "14.8", "ok", "Within tolerance."),
        (GAP, "8.5", "check", "bend it"),
        (GAP, "13", "no", "Too large"),
        (GAP, "7", "no", "Too small"),
        (GAP, "ten", "check", "Cannot be read"),
        (GAP, "", "open", "Not measured"),
        # 20/40 is 0.301 logMAR: 0.02 better than 0.32. 20/63 is 0.498: 0.18 worse. 20/80 is 0.602: 0.28 worse.
        (ACUITY, "20/40", "ok", "Within what repeats"),
        (ACUITY, "20/63", "ok", "Within what repeats: 0.18 log worse"),
        (ACUITY, "20/80", "no", "Short by more than repeats: 0.28 log"),
        (ACUITY, "20/20", "ok", "Better than promised by more than repeats"),
        (ACUITY, "HM", "no", "Off the chart"),
        # log10(1.6/1) = 0.204, log10(2.5/1) = 0.398.
        (PRINT, "1.6M @ 25", "ok", "Within what repeats: 0.2 log worse"),
        (PRINT, "2.5M @ 25", "no", "Short by more than repeats: 0.4 log"),
        (SPEED, "70", "ok", "Within what repeats"),
        (SPEED, "60", "no", "Short by more than repeats: 0.25 of the promised speed"),
        (SPEED, "100", "ok", "Better than promised"),
        (LENS, "-3.00 -1.00 x 90", "ok", "As ordered"),
        # The same lens written with a plus cylinder.
        (LENS, "-4.00 +1.00 x 180", "ok", "As ordered"),
        (LENS, "-3.25 -1.00 x 90", "check", "best sphere +0.25 D"),
        (LENS, "-3.00 -1.00 x 60", "no", "cylinder 1 D"),
        (step(YesNo(), Answers((True,))), "yes", "ok", "Yes."),
        (step(YesNo(), Answers((True,))), "no", "no", "No: bend it."),
        (step(Choice(("a", "b", "c")), Answers(("a",), ("b",))), "b", "check", "B: bend it."),
        (step(Choice(("a", "b", "c")), Answers(("a",), ("b",))), "c", "no", "C"),
        (step(YesNo(), Recorded()), "no", "ok", "Recorded"),
    ],
)  # fmt: skip
def test_verdicts(given: Step, typed: str, state: str, words: str) -> None:
    """What was typed is read and judged in words; unreadable text never passes and never raises."""
    judged = verdict(given, StepResult(measured=typed))
    assert (judged.state, words in judged.sentence) == (state, True), judged


def test_cylinder_off_axis_leaves_its_vector_difference() -> None:
    """A cylinder of 1 D turned by 30 degrees leaves 2 sin 30 = 1 D (crossed cylinders, textbooks of optics, from memory)."""
    assert "cylinder 1 D" in verdict(LENS, StepResult(measured="-3.00 -1.00 x 60")).sentence


def fitted() -> tuple[Case, FittingSheet]:
    """A case with a choice and its sheet."""
    case = new_case("V-1", date(2026, 11, 25))
    for path, text in {
        "right.distance_acuity": "20/100", "right.pupil": "3", "left.pupil": "3", "face.b_size": "40",
        "face.pupil_height_right": "21",
    }.items():  # fmt: skip
        case = case.with_typed(path, text)
    choice = Configuration("high", "right", "bioptic", "through the lens")
    case = case.with_visit(replace(case.visit, choice=choice))
    return case, fitting_sheet(case, STOCK, Settings())


def test_progress_in_words() -> None:
    """Done of total, and how many need attention; the shallow frame of the record counts from the start."""
    case, sheet = fitted()
    total = sum(not step.optional for step in sheet)
    assert progress(sheet, case.visit) == f"1 of {total}, 1 needs attention"
    adjusted = sheet.step("frame.adjusted")
    power = sheet.step("verify.power.right")
    assert adjusted and power
    case = with_result(case, adjusted, "yes", by="RK", at=datetime(2026, 11, 25, 10, 0, 0, 5))
    case = with_result(case, power, "5 mm")
    assert progress(sheet, case.visit) == f"3 of {total}, 2 need attention"
    assert progress_of(sheet, case.visit).attention == ("frame.b_size", "verify.power.right")
    assert case.visit.steps["frame.adjusted"].at == datetime(2026, 11, 25, 10, 0, 0)


def test_next_open_goes_round_and_skips_optional_steps() -> None:
    """From the last step the search starts again at the first; other ways to the same answer are not asked for."""
    case, sheet = fitted()
    first = next_open(sheet, case.visit)
    assert first is not None and first.key == "frame.adjusted"
    last = sheet.steps[-1].key
    again = next_open(sheet, case.visit, after=last)
    assert again is not None and again.key == "frame.adjusted"
    after = next_open(sheet, case.visit, after="verify.power.right")
    assert after is not None and after.key == "verify.focus.right"
    wanting = next_attention(sheet, case.visit)
    assert wanting is not None and wanting.key == "frame.b_size"


def test_all_done_leaves_nothing_open() -> None:
    """With an answer to every step there is no next one."""
    case, sheet = fitted()
    steps = {step.key: StepResult(measured="?") for step in sheet}
    visit = replace(case.visit, steps=steps)
    assert next_open(sheet, visit) is None


def test_cautions_are_judged_by_their_ticks() -> None:
    """A general yes does not stand for a caution that was not ticked; all ticked is ok without it."""
    case, sheet = fitted()
    cautions = sheet.step("teach.cautions")
    assert cautions is not None
    assert verdict_at(cautions, case.visit).state == "open"
    said = with_result(case, cautions, "yes")
    judged = verdict_at(cautions, said.visit)
    assert judged.state == "check" and "never toward the sun" in judged.sentence
    for text in cautions_for(case):
        case = with_caution(case, text.key, Caution(given=True, understood=True))
    assert verdict_at(cautions, case.visit).state == "ok"


def test_cautions_of_an_earlier_visit_stand() -> None:
    """At a follow-up with the same telescope the sheet counts them as the signature does; taken back, they are open."""
    case, _ = fitted()
    for text in cautions_for(case):
        case = with_caution(case, text.key, Caution(given=True, understood=True))
    later = case.with_new_visit(date(2026, 12, 23), "follow-up")
    cautions = fitting_sheet(later, STOCK, Settings()).step("teach.cautions")
    assert cautions is not None
    assert verdict_at(cautions, later.visit).state == "ok"
    assert "earlier visit" in verdict_at(cautions, later.visit).sentence
    assert all(each.answered for each in standing(later))
    forgotten = with_caution(later, "sun", Caution(given=False))
    assert verdict_at(cautions, forgotten.visit).state == "open"
    assert [each.text.key for each in standing(forgotten) if not each.answered] == ["sun"]
    other = Configuration("other", "right", "bioptic", "through the lens")
    changed = later.with_visit(replace(later.visit, choice=other))
    again = fitting_sheet(changed, STOCK, Settings()).step("teach.cautions")
    assert again is not None and verdict_at(again, changed.visit).state == "open"


def test_the_record_answers_a_step_that_asks_the_same() -> None:
    """A measured frame height stands for the step and says so; a carried-over one does not."""
    case, sheet = fitted()
    height = sheet.step("frame.b_size")
    assert height is not None
    judged = verdict_at(height, case.visit)
    assert judged.state == "no" and "from the record: 40" in judged.sentence
    later = case.with_new_visit(date(2026, 12, 25), "follow-up")
    assert verdict_at(height, later.visit).state == "open"
    own = with_result(case, height, "46")
    assert verdict_at(height, own.visit).state == "ok"


def test_a_result_that_cannot_be_read_is_refused_and_changes_nothing() -> None:
    """Entry and range refusals name the step."""
    case, sheet = fitted()
    power = sheet.step("verify.power.right")
    assert power is not None
    with pytest.raises(EntryRefusal, match="Power by diameters"):
        with_result(case, power, "wide")
    with pytest.raises(RangeRefusal, match="Power by diameters"):
        with_result(case, power, "99 mm")
    assert case.visit.steps == {}


def test_notes_and_clearing() -> None:
    """A note stays with its step; clearing the text and the note removes the step."""
    case, sheet = fitted()
    power = sheet.step("verify.power.right")
    assert power is not None
    noted = with_result(with_result(case, power, "8.7", note="hazy edge"), power, "8.8")
    assert noted.visit.steps[power.key].note == "hazy edge"
    assert with_result(noted, power, "", note="").visit.steps == {}


def test_results_survive_the_file_and_a_changed_choice_leaves_them_named() -> None:
    """What was entered is read back; after another choice a result without a step is named, not lost."""
    case, sheet = fitted()
    drop = sheet.step("fit.head_drop")
    assert drop is not None
    case = with_result(case, drop, "16", by="RK", at=datetime(2026, 11, 25, 10, 0), note="twice")
    assert loads_case(dumps_case(case)) == case
    flat = case.with_visit(
        replace(case.visit, choice=Configuration("high", "right", "full diameter", "through the lens"))
    )
    assert left_over(fitting_sheet(flat, STOCK, Settings()), flat.visit) == ("fit.head_drop",)


def test_what_is_advised_against_a_large_head_drop_makes_it_smaller() -> None:
    """A lower tube and less tilt, as the remedies of the step and of the fault say, by the formula of the head drop.

    The signs are those of the geometry: the drop grows with the tilt by 1 - 1/M, since the tube takes the line of sight
    up by its own tilt and shows only the M-th part of what is left (rays are traced in test_optics_mounting).
    """
    _, sheet = fitted()
    drop = sheet.step("fit.head_drop")
    assert drop is not None
    assert drop.remedy.startswith("tube lower or tilted less")
    assert drop.remedy_low.endswith("lower or tilted less than ordered")
    assert FAULTS["posture"].remedy.startswith("Tube lower or tilted less")
    for power in (2.0, 3.0, 4.0):
        as_ordered = head_drop_deg(11.5, 27.0, 12.0, power)
        assert head_drop_deg(11.5, 27.0, 10.0, power) < as_ordered
        assert head_drop_deg(9.5, 27.0, 12.0, power) < as_ordered
