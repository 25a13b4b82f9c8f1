"""The computed numbers of note and working sheet: each says what it rests on, and no more than is true."""

from __future__ import annotations

import re
from dataclasses import replace

import documents_cases as cases
import pytest

from afocal.core.documents.chart_note import chart_note
from afocal.core.documents.numbers import device_numbers, outcome_numbers
from afocal.core.documents.options import chosen_option
from afocal.core.plan.formulas import vergence_by_spread_prism
from afocal.core.plan.workings import explain


def shown_of(case, label: str):
    """The computed numbers of a case under a label."""
    made = cases.plan_of(case)
    option = chosen_option(made, case.visit.choice, cases.SETTINGS)
    found = [*device_numbers(option)]
    for outcome in option.outcomes:
        found += outcome_numbers(option, outcome, cases.SETTINGS)
    return [each for each in found if each.label.startswith(label)]


def test_the_near_end_of_a_tube_focused_by_hand_is_that_of_its_travel():
    """The length of the tube sets it, not the depth of focus of the eye."""
    (clear,) = shown_of(cases.focusing(), "Clear")
    assert "tube lengthened to 92.0 mm at most, eye relaxed" in clear.criterion
    assert "depth of focus" not in clear.criterion
    (fixed,) = shown_of(cases.bioptic(), "Clear")
    assert "depth of focus" in fixed.criterion and "lengthened" not in fixed.criterion


def test_convergence_stands_beside_what_is_ordinary_and_what_is_allowed():
    """Nobody compares the whole demand with the reserve: what goes beyond ordinary looking is what costs it."""
    (asked,) = shown_of(cases.two_tubes(), "Convergence there")
    # 100 x 62/2400 is 2.6 without any device; Sheard's rule leaves half of the reserve of 9.
    assert "2.6 ordinary without it" in asked.criterion
    beyond = float(re.search(r"([\d.]+) beyond", asked.criterion)[1])
    assert beyond == pytest.approx(asked.value - 100 * 62 / 2400, abs=0.06)
    assert "half of the reserve of 9.0 prism D allowed" in asked.criterion
    assert "by the PD, the spread not counted" in asked.criterion


def test_a_promised_figure_says_which_losses_are_in_it():
    """An acuity has its losses counted and named; print stands before the losses that the chance counts."""
    dim = cases.with_cap().with_typed("left.contrast", "0.6")
    (promised,) = shown_of(dim, "Print promised")
    assert "before the losses that the chance counts: contrast" in promised.criterion
    far = cases.goal(cases.bioptic(), {"task": "face", "distance": "1.2 m", "detail": "20/40"})
    acuities = shown_of(far, "Acuity promised")
    assert any("losses counted: blur" in each.criterion and "without" in each.criterion for each in acuities)
    option = chosen_option(cases.plan_of(far), far.visit.choice, cases.SETTINGS)
    for outcome, shown in zip(option.outcomes, acuities, strict=True):
        total = sum(loss.logmar for loss in outcome.losses)
        assert shown.value == pytest.approx(outcome.predicted_logmar + total)


def test_a_hyperfocal_setting_is_named_where_the_focus_is_judged():
    """What the setting adds stands beside the vergence that leaves the tube set for far."""
    case = cases.two_tubes()
    case = cases.updated(case, choice=replace(case.visit.choice, focus="hyperfocal"))
    (focus,) = shown_of(case, "Focus at the task")
    assert "hyperfocal setting +" in focus.criterion
    assert "hyperfocal" not in shown_of(cases.two_tubes(), "Focus at the task")[0].criterion


def test_a_carrier_in_question_is_to_be_settled_in_the_note():
    """The note does not pass over a refraction that was left out behind a tube in front of the carrier."""
    choice = {"telescope": "g20-wide", "eye": "right", "position": "full diameter", "mount": "clip-on"}
    case = cases.chosen(cases.two_tubes(), **choice, correction="none")
    text = " ".join(chart_note(case, cases.plan_of(case), cases.sheet_of(case), cases.SETTINGS).split())
    assert "To settle before the order: The right eye needs -0.50 -0.75 x 180" in text


@pytest.mark.parametrize(
    ("cap", "at", "power", "length"),
    [(0.0, 2400.0, 2.0, 24.0), (4.0, 250.0, 2.0, 24.0), (2.0, 700.0, 1.6, 18.0)],
)
def test_what_the_spread_adds_to_the_convergence_is_that_of_traced_rays(
    cap: float, at: float, power: float, length: float
) -> None:
    """A ray from the midline through objective and ocular to the middle of each pupil, traced lens by lens."""
    spread, behind, apart = 1.5, 15.0, 62.0
    objective = 1000.0 * (1.0 - 1.0 / power) / length + cap
    ocular = 1000.0 * (1.0 - power) / length

    def slope_at_eye(out_mm: float) -> float:
        """Slope at the pupil, which stands ``out_mm`` inside the axis of its tube."""
        found = []
        for slope in (0.0, 1.0):
            height = -(apart / 2.0 + out_mm) + at * slope
            bent = slope - 0.001 * objective * height
            height += length * bent
            bent -= 0.001 * ocular * height
            found.append((height + behind * bent, bent))
        (low, first), (high, second) = found
        share = (-out_mm - low) / (high - low)
        return first + share * (second - first)

    more = 200.0 * (slope_at_eye(spread) - slope_at_eye(0.0))
    evd = abs(at / power + (1.0 - 0.001 * cap * at) * (length + power * behind))
    assert vergence_by_spread_prism(spread, power, at, evd, cap) == pytest.approx(more, abs=1e-9)
    assert 200.0 * slope_at_eye(0.0) == pytest.approx(100.0 * apart / evd, abs=1e-9)


def test_the_spread_is_said_with_what_it_would_change() -> None:
    """2x at 2.4 m, 1.5 mm each: the tubes themselves turn the view outwards, so it takes 0.2 prism dioptres away."""
    (asked,) = shown_of(cases.two_tubes(), "Convergence there")
    assert "by the PD, the spread not counted, which takes 0.2 away" in asked.criterion


def test_each_number_of_each_eye_is_explained_by_its_own_working():
    """Two eyes that differ have their own ametropia, field and clear range: the working asked for by a line ends with the
    figure that stands in the line, and not with that of the other eye or another criterion."""
    case = cases.two_tubes()
    for path, text in (
        ("right.pupil", "3"), ("left.pupil", "4.5"), ("right.refraction", "-2.00"), ("left.refraction", "+1.00"),
        ("right.sustained_accommodation", "1"), ("left.sustained_accommodation", "2"),
    ):  # fmt: skip
        case = case.with_typed(path, text)
    option = chosen_option(cases.plan_of(case), case.visit.choice, cases.SETTINGS)
    rows = device_numbers(option)
    both = {row.label.rpartition(",")[0] for row in rows if row.label.endswith("left eye")}
    assert {"Ametropia at the ocular", "True field", "Full and last-ray field", "Clear"} <= both
    for row in rows:
        made = explain(case, cases.stock(), cases.SETTINGS, option.configuration, 0, row.asked)
        result = made.steps[-1].result
        if isinstance(result, int | float):
            assert abs(result) == pytest.approx(abs(row.value), rel=1e-9, abs=1e-9), row.label


@pytest.mark.parametrize("made", [cases.bioptic, cases.with_cap, cases.two_tubes, cases.focusing])
def test_each_number_of_a_goal_and_of_a_cap_is_explained_by_its_own_working(made):
    """The acuity with its losses, the cap's own viewing distance and clear range: figures of like names elsewhere do not
    stand in for them."""
    case = made()
    option = chosen_option(cases.plan_of(case), case.visit.choice, cases.SETTINGS)
    rows = [(0, row) for row in device_numbers(option)]
    for outcome in option.outcomes:
        rows += [(outcome.goal_index, row) for row in outcome_numbers(option, outcome, cases.SETTINGS)]
    for goal_index, row in rows:
        working = explain(case, cases.stock(), cases.SETTINGS, option.configuration, goal_index, row.asked)
        result = working.steps[-1].result
        if isinstance(result, int | float):
            assert abs(result) == pytest.approx(abs(row.value), rel=1e-9, abs=1e-9), row.label
