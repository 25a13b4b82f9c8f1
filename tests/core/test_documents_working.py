"""The working sheet: every computed number of the note leads to a formula, numbers put in, result and source."""

from __future__ import annotations

import math
import re

import documents_cases as cases
import pytest

from afocal.core.case import new_case
from afocal.core.documents.text import columns
from afocal.core.documents.working_sheet import FORMULAS_OF, NOT_COMPUTED, working_sheet, workings
from afocal.core.sources import SOURCES

CHOSEN = ("bioptic", "two-tubes", "with-cap", "focusing")


@pytest.mark.parametrize("name", CHOSEN)
def test_every_number_has_a_step_or_is_read_from_the_record(name):
    """Only figures of the stock or record stand without a step, and the vergence that focusing sets to nothing."""
    case = cases.ALL[name]()
    made = workings(case, cases.plan_of(case), cases.SETTINGS)
    loose = {line.shown.quantity for _, lines in made.groups for line in lines if not line.step}
    assert loose <= NOT_COMPUTED | ({"exit_vergence_d"} if name == "focusing" else set())


@pytest.mark.parametrize("name", CHOSEN)
def test_a_step_belongs_to_its_quantity(name):
    """A number leads to a formula of its own name or of the declared list, never to one that happens to be equal."""
    case = cases.ALL[name]()
    made = workings(case, cases.plan_of(case), cases.SETTINGS)
    for line in (line for _, lines in made.groups for line in lines if line.step):
        quantity = line.shown.quantity
        assert made.steps[line.step - 1].formula.name in FORMULAS_OF.get(quantity, (quantity,))


@pytest.mark.parametrize("name", CHOSEN)
def test_replaying_each_step_gives_the_same(name):
    """Each step, computed anew from the numbers printed, gives its result."""
    case = cases.ALL[name]()
    made = workings(case, cases.plan_of(case), cases.SETTINGS)
    assert len(made.steps) > 20
    for step in made.steps:
        again = step.replay()
        if isinstance(step.result, float):
            assert math.isclose(again, step.result, rel_tol=1e-12, abs_tol=1e-12)
        else:
            assert again == step.result


def test_the_sheet_prints_symbols_numbers_result_and_source():
    """A step can be followed with a pocket calculator: here the half-light field by its printed formula."""
    case = cases.bioptic()
    text = working_sheet(case, cases.plan_of(case), cases.sheet_of(case), cases.SETTINGS, letters="ascii")
    assert text.isascii() and max(columns(line) for line in text.split("\n")) <= 72
    steps = re.split(r"\n\n(?=Step \d+: )", text)[1:]
    assert all(
        re.search(rf"\b{word}\b", step)
        for step in steps
        for word in ("formula", "put in", "result", "source")
    )
    flat = " ".join(text.split())
    number = int(re.search(r"Acuity promised: 20/40-2 .*? \[step (\d+)\]", flat)[1])
    step = " ".join(steps[number - 1].split())
    assert step.startswith(f"Step {number}: logmar through telescope")
    # 0.72 - log10 2.5 + 0.017 of blur, by hand.
    assert float(re.search(r"result: ([\d.]+)", step)[1]) == pytest.approx(
        0.72 - math.log10(2.5) + 0.0173, abs=2e-3
    )


def test_sources_are_cited_in_full():
    """A published formula names its source with what was read of it."""
    case = cases.bioptic()
    text = " ".join(working_sheet(case, cases.plan_of(case), None, cases.SETTINGS).split())
    cited = set(re.findall(r"source: ([A-Z0-9-]+): ", text))
    assert cited and all(" ".join(SOURCES[key].split()) in text for key in cited)


@pytest.mark.parametrize("make", [lambda: new_case("TC-000", cases.ON), cases.refused])
def test_without_a_device_there_is_nothing_to_work_out(make):
    """It says so."""
    case = make()
    assert "nothing to work out" in " ".join(
        working_sheet(case, cases.plan_of(case), None, cases.SETTINGS).split()
    )
