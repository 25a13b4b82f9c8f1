"""Single faults put into the device by tracing rays, measured with noise, and the ranked causes read back.

The tracing is that of :mod:`traced_device` and shares nothing with the program's formulas. Asked for: the true cause
first in four of five, among the first three in nineteen of twenty; causes that nothing measured can tell apart count as one.
"""

from __future__ import annotations

import random
from collections import Counter
from datetime import date
from functools import cache

import pytest
from traced_device import (
    CHART_MM,
    SHOWS_SD,
    Injected,
    Order,
    device_of,
    distance,
    injections,
    measured,
    noisy,
    place_of,
    with_bench,
)

from afocal.core.case import new_case
from afocal.core.configuration import Configuration
from afocal.core.faults import Diagnosis, diagnose_with, model_of
from afocal.core.faults.model import Model
from afocal.core.plan import Option, option_for, read_case
from afocal.core.settings import Settings
from afocal.core.stock import Cap, Stock, Telescope

SETTINGS = Settings()

STOCK = Stock(
    telescopes=(
        Telescope(id="high", description="Galilean 2.5x", type="galilean", magnification=2.5, tube_length_mm=28,
                  objective_diameter_mm=22, housing_radius_mm=9, positions=("bioptic",)),
        Telescope(id="wide", description="Galilean 2.0x", type="galilean", magnification=2.0, tube_length_mm=24,
                  objective_diameter_mm=25, housing_radius_mm=14, positions=("full diameter",), spread_highest_mm=3),
        Telescope(id="prism", description="Keplerian 4x", type="keplerian", magnification=4.0, tube_length_mm=80,
                  objective_diameter_mm=16, field_stop_mm=9, housing_radius_mm=11, focusable=True, shortest_tube_mm=76,
                  longest_tube_mm=90, corrections=("carrier", "refocused"), mounts=("through the lens",)),
    ),
    caps=(Cap(id="four", description="cap +4 base-in", power_d=4.0, base_in_prism=11.0),),
)  # fmt: skip
TYPED = {
    "bioptic": {
        "right.distance_acuity": "0.54 logMAR", "right.refraction": "+2.50", "right.pupil": "3", "left.pupil": "3",
        "person.birth_year": "1963", "face.ocular_to_cornea": "13.5", "face.pd": "32/31", "test.refraction_vertex": "12",
    },
    "pair": {
        "right.distance_acuity": "0.54 logMAR", "left.distance_acuity": "0.58 logMAR", "right.pupil": "3.5",
        "left.pupil": "3.5", "face.ocular_to_cornea": "12", "face.pd": "31/31", "binocular.fusion": "yes",
        "right.refraction": "pl", "left.refraction": "pl", "person.birth_year": "1950", "right.near_acuity": "2M @ 40",
        "left.near_acuity": "2M @ 40",
    },
    "keplerian": {
        "left.distance_acuity": "0.60 logMAR", "left.refraction": "pl", "left.pupil": "3.2", "right.pupil": "3.2",
        "face.ocular_to_cornea": "17", "face.pd": "32/31", "person.birth_year": "1950",
    },
}  # fmt: skip
CHOICES = {
    "bioptic": Configuration("high", "right", "bioptic", "through the lens"),
    "pair": Configuration("wide", "both", "full diameter", "through the lens", cap="four"),
    "keplerian": Configuration("prism", "left", "full diameter", "through the lens"),
}

FOUR = STOCK.caps[0]
ORDERS = {
    "bioptic": Order(STOCK.telescopes[0], None, {"right": 0.54}, 16.5, 3.0, 62.0),
    "pair": Order(STOCK.telescopes[1], FOUR, {"right": 0.54, "left": 0.58}, 15.0, 3.5, 62.0, (2.0, 400.0)),
    "keplerian": Order(STOCK.telescopes[2], None, {"left": 0.60}, 20.0, 3.2, 62.0),
}


@cache
def prepared(name: str) -> tuple[Option, Model]:
    """The option and the model of one of the three devices."""
    case = new_case("TEST-9", date(2026, 11, 25))
    for path, text in TYPED[name].items():
        case = case.with_typed(path, text)
    context, demands = read_case(case, SETTINGS)
    option = option_for(context, STOCK, demands, CHOICES[name])
    return option, model_of(option, context.person, SETTINGS, CHART_MM)


NAMES = ("bioptic", "pair", "keplerian")


def run(name: str, draws: int, seed: int, bench: bool) -> list[tuple[Injected, Diagnosis]]:
    """Every fault of one device that its measurements can show, measured ``draws`` times with noise."""
    option, model = prepared(name)
    dice, plain = random.Random(seed), device_of(ORDERS[name])
    without = measured(plain, plain)
    if bench:
        without = with_bench(without, plain, plain)
    results = []
    for truth in injections(plain):
        exact = measured(truth.device, plain)
        if bench:
            exact = with_bench(exact, truth.device, plain)
        if truth.fault != "nothing" and distance(exact, without, model) < SHOWS_SD:
            continue
        for _ in range(draws):
            results.append((truth, diagnose_with(model, noisy(exact, model, dice), option.configuration)))
    return results


def shares(results: list[tuple[Injected, Diagnosis]], places=place_of) -> tuple[float, float]:
    """How often the true cause is first, and among the first three."""
    found = [places(diagnosis, truth) for truth, diagnosis in results]
    return sum(p == 1 for p in found) / len(found), sum(1 <= p <= 3 for p in found) / len(found)


def confusion(results: list[tuple[Injected, Diagnosis]]) -> dict[str, Counter[str]]:
    """For every true fault, what came first how often."""
    table: dict[str, Counter[str]] = {}
    for truth, diagnosis in results:
        assert diagnosis.first is not None
        said = diagnosis.first.fault
        if place_of(diagnosis, truth) == 1 and said != truth.fault:
            said = f"tied with {said}"
        table.setdefault(truth.fault, Counter())[said] += 1
    return table


@pytest.mark.parametrize("name", NAMES)
def test_without_a_fault_the_rays_agree_with_the_promise(name: str) -> None:
    """Acuity, field, prisms and distances of the traced device lie within a quarter of what repeats of the promise."""
    _, model = prepared(name)
    plain = device_of(ORDERS[name])
    found = measured(plain, plain)
    for key, value in model.evidence(found).items():
        belief = model.base[key]
        if not isinstance(value, str):
            assert abs(value - belief.mean) < 0.25 * belief.sd, key  # type: ignore[union-attr]


@pytest.mark.parametrize("name", NAMES)
def test_true_cause_comes_first_with_everything_measured(name: str) -> None:
    """With bench and face checked: first in four of five, among three in nineteen of twenty."""
    first, three = shares(run(name, 2, 7, bench=True))
    assert first >= 0.80, first
    assert three >= 0.95, three


@pytest.mark.parametrize("name", NAMES)
def test_true_cause_comes_first_without_the_bench(name: str) -> None:
    """From the person's side alone, ties counted as one: first in four of five, among three in nineteen of twenty."""
    first, three = shares(run(name, 2, 11, bench=False))
    assert first >= 0.80, first
    assert three >= 0.95, three
