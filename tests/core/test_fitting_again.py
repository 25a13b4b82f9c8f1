"""A follow-up asks what wear can have changed, carries the rest over and says so; a changed device asks all anew.

What a follow-up asks again is common practice: eye distance and alignment on the face, acuity, print, double vision, the
task, the cautions.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest
from test_fitting_sheet import BIOPTIC, PAIR, STOCK, case_with

from afocal.core.case import Case
from afocal.core.configuration import Configuration
from afocal.core.fitting.progress import next_open, progress, progress_of, with_result
from afocal.core.fitting.sheet import fitting_sheet
from afocal.core.fitting.types import FittingSheet
from afocal.core.settings import Settings

FITTED = {
    "frame.adjusted": "yes", "trial.over": "own glasses", "verify.power.right": "8.8", "fit.tilt.right": "30",
    "fit.stays": "yes", "performance.acuity.right": "0.32 logMAR", "teach.on": "alone",
}  # fmt: skip


def sheet_of(case: Case) -> FittingSheet:
    """The sheet of a case."""
    return fitting_sheet(case, STOCK, Settings())


def typed(case: Case, steps: dict[str, str]) -> Case:
    """The case with results at steps."""
    sheet = sheet_of(case)
    for key, text in steps.items():
        step = sheet.step(key)
        assert step is not None, key
        case = with_result(case, step, text)
    return case


def fitted(
    choice: Configuration = BIOPTIC, kind: str = "follow-up", steps: dict[str, str] | None = None
) -> Case:
    """A case that was fitted, a month later."""
    case = case_with(
        choice, right__distance_acuity="0.72 logMAR", left__distance_acuity="0.74 logMAR", right__refraction="+2.50",
        left__refraction="+2.50", right__pupil="3", left__pupil="3", person__birth_year="1950",
        face__ocular_to_cornea="13.5", face__tube_tilt="13", face__pd="31/31", face__b_size="46",
        face__pupil_height_right="21", test__refraction_vertex="12", binocular__fusion="yes",
        right__near_acuity="2M @ 40", left__near_acuity="2M @ 40",
    )  # fmt: skip
    case = typed(case, FITTED if steps is None else steps)
    return case.with_new_visit(date(2026, 12, 23), kind)  # type: ignore[arg-type]


def test_a_follow_up_asks_what_wear_can_change() -> None:
    """Eye distance, whether it stays, acuity, the other eye and the cautions; not the frame, the bench or the trial."""
    sheet = sheet_of(fitted())
    assert sheet.again
    # The tilt was wrong by more than is tolerable when it was measured last: it is asked again.
    assert [step.key for step in sheet if not step.optional] == [
        "fit.tilt.right", "fit.eye_distance.right", "fit.stays", "performance.acuity.right", "performance.fellow",
        "teach.cautions",
    ]  # fmt: skip
    # What is asked stands first.
    asked = [not step.optional for step in sheet]
    assert asked == sorted(asked, reverse=True)


def test_a_pair_with_caps_is_aligned_again() -> None:
    """Two tubes: prisms, single vision far and near, the working distance, print and speed."""
    asked = {step.key for step in sheet_of(fitted(PAIR, steps={})) if not step.optional}
    assert {
        "fit.vertical", "fit.horizontal", "fit.single", "fit.near_single", "fit.working_distance", "performance.print",
        "performance.speed", "performance.double", "performance.acuity.both",
    } <= asked  # fmt: skip
    assert not any(key.startswith(("frame.", "trial.", "verify.")) for key in asked)


def test_progress_of_a_follow_up_says_what_is_asked_and_what_is_carried_over() -> None:
    """Nothing done yet: none of six, four carried over; then one done, one that needs attention."""
    case = fitted()
    sheet = sheet_of(case)
    # Frame, trial, bench and handing over stand; tilt, stays and acuity are asked again.
    assert progress(sheet, case.visit) == "0 of 6 for this follow-up; 4 carried over"
    first = next_open(sheet, case.visit)
    assert first is not None and first.key == "fit.tilt.right"
    case = typed(case, {"fit.stays": "no"})
    assert (
        progress(sheet_of(case), case.visit) == "1 of 6 for this follow-up, 1 needs attention; 4 carried over"
    )
    # A step beyond those asked counts once it is measured, and is no longer carried over.
    case = typed(case, {"verify.power.right": "8.8"})
    assert (
        progress(sheet_of(case), case.visit) == "2 of 7 for this follow-up, 1 needs attention; 3 carried over"
    )


def test_what_was_measured_earlier_goes_with_its_day_and_is_not_measured_now() -> None:
    """The earlier result is named with its day and what it meant; the step itself stays without a result."""
    case = fitted()
    step = sheet_of(case).step("verify.power.right")
    assert step is not None and step.earlier is not None
    assert (step.earlier.measured, step.earlier.on, step.earlier.state) == ("8.8", date(2026, 11, 25), "ok")
    assert not case.visit.steps


@pytest.mark.parametrize("kind", ["fitting", "examination"])
def test_other_visits_ask_everything(kind: str) -> None:
    """Only a follow-up asks less; what was found earlier is still named."""
    case = fitted(kind=kind)
    sheet = sheet_of(case)
    assert not sheet.again
    assert sheet.step("verify.power.right") is not None
    assert not sheet.step("verify.power.right").optional  # type: ignore[union-attr]
    assert progress_of(sheet, case.visit).carried == 0


def test_a_device_changed_at_a_follow_up_asks_everything() -> None:
    """Another choice at the follow-up is a new fitting."""
    case = fitted()
    case = case.with_visit(replace(case.visit, choice=PAIR))
    sheet = sheet_of(case)
    assert not sheet.again
    assert progress(sheet, case.visit).startswith("0 of ") and "carried over" not in progress(
        sheet, case.visit
    )
    assert all(step.earlier is None for step in sheet)
