"""The core against values from outside: printed figures, and derived ones computed a second time independently."""

from __future__ import annotations

import importlib
import inspect
import pkgutil
import sys
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

import afocal.core.optics as optics_package
from afocal.core.acuity import decimal_acuity, logmar
from afocal.core.constants import CONSTANTS, constant
from afocal.core.formula import REGISTRY
from afocal.core.sources import SOURCES

HERE = Path(__file__).parent
NUMBER_MODULES = ("acuity", "contrast", "likelihood", "magnification", "optotypes", "print_size", "reading")
SUFFIXES = (
    "",
    "mm",
    "d",
    "deg",
    "arcmin",
    "prism",
    "logmar",
    "wpm",
    "m_units",
    "deg_s",
    "ft",
    "rad",
    "points",
)
KINDS = {"published", "derived", "memory", "common practice"}
# Inputs that a quantity was stated with although its value does not depend on them.
WITHOUT_EFFECT = {
    "cap_equivalent_power": {"tube_length_mm"},
    "cap_evd": {"tube_length_mm", "eye_distance_mm"},
    "exit_pupil_diameter": {"tube_length_mm"},
    "ocular_image_magnification": {"tube_length_mm"},
}

for _module in pkgutil.iter_modules(optics_package.__path__):
    importlib.import_module(f"{optics_package.__name__}.{_module.name}")
for _name in NUMBER_MODULES:
    importlib.import_module(f"afocal.core.{_name}")


if str(HERE) not in sys.path:
    sys.path.append(str(HERE))  # the second computation stands beside this file, outside any package

ROUTES = [
    importlib.import_module(f"independent.{path.stem}")
    for path in sorted((HERE / "independent").glob("*.py"))
]


def route_of(quantity: str) -> Callable[[dict[str, Any]], Any]:
    """The one independent computation of a quantity; none, or more than one, fails."""
    found = [
        function
        for module in ROUTES
        for name, function in vars(module).items()
        if name == quantity and getattr(function, "__module__", "") == module.__name__
    ]
    assert len(found) == 1, f"{quantity}: {found}"
    return found[0]


FILES = {
    path.stem: tomllib.loads(path.read_text(encoding="utf-8"))
    for path in sorted((HERE / "data").glob("*.toml"))
}
CHECKS = [check for contents in FILES.values() for check in contents["check"]]
COMPUTED = [check for check in CHECKS if check["quantity"] != "published_value"]
HELD = [check for check in CHECKS if check["quantity"] == "published_value"]
DERIVED = [check for check in COMPUTED if check["kind"] == "derived"]


def by_id(checks: list[dict[str, Any]]) -> Any:
    """The checks as parameters named by their ids."""
    return pytest.mark.parametrize("check", checks, ids=[check["id"] for check in checks])


def function_of(quantity: str) -> Callable[..., Any]:
    """The one registered function that computes a quantity; none, or more than one, fails."""
    wanted = {f"{quantity}_{suffix}".rstrip("_") for suffix in SUFFIXES}
    if quantity == "x_height":
        wanted.discard("x_height_points")
    found = [entry for entry in REGISTRY.values() if entry.name in wanted]
    assert len(found) == 1, f"{quantity}: {[entry.key for entry in found]}"
    return getattr(importlib.import_module(f"afocal.core.{found[0].module}"), found[0].name)


def _compute(quantity: str, **inputs: Any) -> Any:
    return function_of(quantity)(**inputs)


def _snellen_of(inputs: dict[str, Any], prefix: str = "") -> float:
    """Take a Snellen fraction (its goal with a prefix) out of the inputs as decimal acuity."""
    numerator = inputs.pop(f"{prefix}snellen_numerator", 20)
    return decimal_acuity(inputs.pop(f"{prefix}snellen_denominator"), numerator)


def adapted(quantity: str, stated: dict[str, Any]) -> dict[str, Any]:
    """The stated inputs turned into the arguments of the function: lens powers, distances, other notations."""
    inputs = dict(stated)
    wanted = set(inspect.signature(function_of(quantity)).parameters)
    if "objective_power_d" in inputs and "objective_power_d" not in wanted:
        powers = {
            "objective_power_d": inputs.pop("objective_power_d"),
            "ocular_power_d": inputs.pop("ocular_power_d"),
        }
        inputs["magnification"] = _compute("magnification", **powers)
        inputs["tube_length_mm"] = _compute("tube_length", **powers)
    if "snellen_denominator" in inputs and "snellen_denominator" not in wanted:
        inputs["decimal_acuity"] = _snellen_of(inputs)
    if "goal_snellen_denominator" in inputs:
        inputs["goal_logmar"] = logmar(_snellen_of(inputs, "goal_"))
    if "decimal_acuity" in inputs and "logmar" in wanted:
        inputs["logmar"] = logmar(inputs.pop("decimal_acuity"))
    if "logmar" in inputs and "mar_arcmin" in wanted:
        inputs["mar_arcmin"] = 10 ** inputs.pop("logmar")
    if "object_distance_mm" in inputs and "object_vergence_d" in wanted:
        inputs["object_vergence_d"] = -1000 / inputs.pop("object_distance_mm")
    if quantity == "ametropia_at_ocular" and "spectacle_power_d" in inputs:
        spectacle = {key: inputs.pop(key) for key in ("spectacle_power_d", "vertex_mm")}
        inputs["refraction_at_cornea_d"] = _compute("refraction_at_cornea", **spectacle)
    return {
        key: value for key, value in inputs.items() if key not in WITHOUT_EFFECT.get(quantity, set()) - wanted
    }


def computed(check: dict[str, Any]) -> float:
    """What the core makes of a check's inputs."""
    quantity, inputs = check["quantity"], check["inputs"]
    if quantity == "decimal_acuity" and "logmar" in inputs:
        return _compute("decimal_from_logmar", **inputs)
    return _compute(quantity, **adapted(quantity, inputs))


@by_id(COMPUTED)
def test_the_core_gives_the_value_from_outside(check: dict[str, Any]) -> None:
    """Each stated figure is met within the rounding of its source."""
    assert abs(computed(check) - check["expected"]) <= check["tolerance"] + 1e-12


@by_id(DERIVED)
def test_a_derived_value_is_met_by_an_independent_route(check: dict[str, Any]) -> None:
    """Each derived figure follows from ray traces, root searches or integrals that share no code with the core.

    Where both are exact arithmetic they also agree with each other far beyond the stated digits.
    """
    independent = route_of(check["quantity"])(check["inputs"])
    assert abs(independent - check["expected"]) <= check["tolerance"] + 1e-12
    if check["quantity"] == "lit_fraction_at_half_field":
        return  # the route samples the pupil
    assert float(abs(independent - computed(check))) <= 1e-9 * max(1.0, abs(float(independent)))


@by_id(HELD)
def test_a_figure_that_cannot_be_computed_is_held_as_a_constant(check: dict[str, Any]) -> None:
    """Each such figure stands in the list of constants with value, unit, kind of evidence and source."""
    entry = CONSTANTS[check["inputs"]["item"]]
    assert constant(check["inputs"]["item"]) == check["expected"]
    assert entry.source == check["source"]
    assert entry.unit == check["unit"]
    assert (entry.how_sure == "from memory, not re-read") == (check["kind"] == "memory")
    assert (entry.how_sure == "common practice") == (check["kind"] == "common practice")
    spread = check["tolerance"]
    assert entry.lowest <= check["expected"] - spread <= check["expected"] + spread <= entry.highest


@pytest.mark.parametrize("name", FILES)
def test_every_check_names_its_source_or_says_why_it_has_none(name: str) -> None:
    """Published and memory checks have a listed source, common practice has none, citations match the program's."""
    contents = FILES[name]
    used = {check["source"] for check in contents["check"]} - {""}
    assert contents.get("sources", {}) == {key: SOURCES[key] for key in sorted(used)}
    for check in contents["check"]:
        assert check["kind"] in KINDS
        if check["kind"] in ("published", "memory"):
            assert check["source"], check["id"]
        if check["kind"] == "common practice":
            assert not check["source"], check["id"]


def test_the_collection_is_whole() -> None:
    """No check has been lost, and no id is used twice."""
    ids = [check["id"] for check in CHECKS]
    assert len(ids) == len(set(ids)) == 505
    assert len(HELD) == 53
