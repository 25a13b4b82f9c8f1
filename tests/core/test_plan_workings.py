"""Every number of an option has a working that ends in it, made by a formula of its own and not by a like number."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

import pytest

import afocal.core
from afocal.core.case import Case
from afocal.core.case_file import loads_case
from afocal.core.configuration import Configuration
from afocal.core.formula import Working
from afocal.core.plan import plan
from afocal.core.plan.provenance import MADE_BY, makers_of
from afocal.core.plan.types import Option, Plan
from afocal.core.plan.workings import _numbers, explain
from afocal.core.settings import Settings
from afocal.core.stock import Stock, loads_stock

SETTINGS = Settings()
DEMO = Path(afocal.core.__file__).parent / "data" / "demo"
CODES = ("LQ-101", "LQ-102", "LQ-103", "LQ-104", "LQ-105", "LQ-107")
# Names that only ever say zero where nothing is out of focus, turned in or spread: then there is no formula to show.
MAY_BE_ZERO = frozenset((
    "exit_vergence_d", "defocus_d", "residual_sphere_d", "accommodation_d", "accommodation_used_d", "blur_loss_logmar",
    "centre_separation_deg", "toe_out_vergence_for_same_union_prism", "loss_logmar", "tube_shortening_mm",
    "aniseikonia_percent",
))  # fmt: skip
# Typed in one case and computed in another.
MAY_BE_TYPED = frozenset((
    "magnification", "tube_length_mm", "object_distance_mm", "working_distance_mm", "goal_logmar", "near_logmar",
    "ocular_to_cornea_mm", "pupil_mm", "dim_pupil_mm", "accommodation_d", "exit_pupil_diameter_mm", "transmittance",
))  # fmt: skip


@cache
def stock() -> Stock:
    """The practice stock."""
    return loads_stock((DEMO / "stock.toml").read_text("utf-8"))[0]


@cache
def case_of(code: str) -> Case:
    """A practice case."""
    path = DEMO / "cases" / f"{code}.toml"
    return loads_case(path.read_text("utf-8"), path)


@cache
def found(code: str) -> Plan:
    """Its plan."""
    return plan(case_of(code), stock(), SETTINGS)


def _several(code: str) -> Iterator[Option]:
    """The best option of each way of correcting and focusing, with a cap and without."""
    seen: set[tuple[Any, ...]] = set()
    for option in found(code).options[:300]:
        kept: Configuration = option.configuration
        kind = (bool(kept.cap), kept.correction, kept.focus, option.telescope.type)
        if kind not in seen:
            seen.add(kind)
            yield option
        if len(seen) == 4:
            return


def _working(code: str, option: Option, goal: int, name: str) -> Working:
    return explain(case_of(code), stock(), SETTINGS, option.configuration, goal, name)


@pytest.mark.parametrize("code", CODES)
def test_every_number_has_a_working_of_its_own(code: str) -> None:
    """The last step gives the number, by a formula its name allows, and is a bare record only where that is the truth."""
    for option in _several(code):
        outcome, need = option.outcomes[0], found(code).needs[0]
        for part in (outcome, need, option.device):
            for path, value in _numbers(part):
                last = _working(code, option, 0, path).steps[-1]
                numbers = [
                    n
                    for _, n in _numbers(
                        tuple(last.result) if isinstance(last.result, tuple) else last.result
                    )
                ]
                assert value in numbers, (path, last.formula.name)
                name, makers = path.rpartition(".")[2], makers_of(path)
                if last.formula.name == "as_recorded":
                    zero = value == 0.0 and name in MAY_BE_ZERO
                    assert makers == () or zero or name in MAY_BE_TYPED, (path, value)
                elif makers is not None:
                    assert last.formula.name in makers, (path, last.formula.name)


@pytest.mark.parametrize("code", ["LQ-101", "LQ-102", "LQ-103"])
def test_every_criterion_of_the_score_has_a_working(code: str) -> None:
    """Each criterion is a sum over the goals of share, usefulness and worth."""
    option = found(code).options[0]
    for part in option.score_parts:
        steps = _working(code, option, 0, part.criterion).steps
        assert steps[-1].formula.name == "sum_over_goals" and steps[-1].result == part.value, part.criterion
        assert any(step.formula.name == "goal_criterion" for step in steps)


def test_a_power_of_the_stock_is_not_explained_by_a_like_refraction() -> None:
    """A 2.5x tube before an eye of +2.50 D: the power is as recorded, the refraction has its own working."""
    option = next(o for o in found("LQ-101").options if o.telescope.magnification == 2.5)
    steps = _working("LQ-101", option, 0, "magnification_marked").steps
    assert [step.formula.name for step in steps] == ["as_recorded"]
    assert (
        _working("LQ-101", option, 0, "refraction_at_cornea_d").last().formula.name
        == "refraction_at_cornea_d"
    )


CHAINS = (
    (
        "LQ-101",
        "probability",
        ("total_loss_logmar", "logmar_through_telescope", "probability_prediction_meets_goal"),
    ),
    ("LQ-101", "head_drop_deg", ("rotation_distance_mm", "least_ocular_height_mm", "head_drop_deg")),
    ("LQ-101", "ametropia_at_ocular_d", ("refraction_at_cornea_d", "ametropia_at_ocular_d")),
    ("LQ-102", "accommodation_d", ("sustained_accommodation_d",)),
    ("LQ-102", "linear_union_mm", ("centre_separation_decentred_deg", "union_field_deg", "linear_field_mm")),
    ("LQ-103", "power_margin_log", ("required_evd_mm", "evp_from_evd_d", "power_margin_log")),
    ("LQ-103", "goal_logmar", ("logmar_of_near_print", "goal_logmar_with_reserve")),
    ("LQ-103", "clear_to_mm", ("tolerated_defocus_d", "cap_far_edge_mm")),
    ("LQ-105", "magnification", ("ametropia_at_ocular_d", "refocus")),
    ("LQ-107", "goal_logmar", ("mar_of_letter_arcmin", "goal_logmar_of_letter")),
)


@pytest.mark.parametrize(("code", "name", "formulas"), CHAINS)
def test_a_chain_goes_back_through_the_formulas_that_made_it(
    code: str, name: str, formulas: tuple[str, ...]
) -> None:
    """The formulas stand in the chain in the order in which they are computed, and each replays to its result."""
    steps = _working(code, found(code).options[0], 0, name).steps
    names = [step.formula.name for step in steps]
    places = [names.index(wanted) for wanted in formulas]
    assert places == sorted(places), names
    assert names[-1] == formulas[-1]
    assert all(step.replay() == step.result for step in steps)


def test_every_maker_named_is_a_declared_formula() -> None:
    """The table of what can have made a number names only formulas that exist."""
    from afocal.core.formula import REGISTRY

    known = {entry.name for entry in REGISTRY.values()}
    assert {maker for makers in MADE_BY.values() for maker in makers} <= known
