"""The inputs whose weight can be asked after: where each stands, how far it may be moved, and the case with it moved.

A moved input is put into the case, so that whatever else is made from it (the contrast of both eyes, print estimated
from letters) moves along, as it will when the measurement is typed in.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from math import log10
from typing import Any

from ..acuity import Acuity
from ..assumptions import ASSUMPTIONS
from ..case import Case, Finding
from ..configuration import Configuration
from ..entry import Pd, Reserve
from ..goals import Demand
from ..person import Eye, Person, person_of
from ..print_size import NearPrint
from ..settings import Settings
from .context import READING_DISTANCE_MM, Context, EyeIn

Moved = tuple[Person, tuple[Demand, ...]]


@dataclass(frozen=True, slots=True)
class Movable:
    """An input that can be moved: its path, value, unit, the range looked at, and how to move it.

    ``usual_low`` and ``usual_high`` are where the true value may well lie while it is not measured.
    """

    path: str
    value: float
    unit: str
    lowest: float
    highest: float
    usual_low: float
    usual_high: float
    measured: bool
    moved: Callable[[float], Moved]
    label: str = ""


def person_with(case: Case, settings: Settings, path: str, value: Any) -> Person:
    """The person of a case with one finding of the visit worked on replaced."""
    visit = case.visit
    findings = {**visit.findings, path: Finding(typed="", value=value)}
    moved = replace(case, visits=(*case.visits[:-1], replace(visit, findings=findings)))
    return person_of(moved, settings)


@dataclass(frozen=True, slots=True)
class _Source:
    """What the inputs are read from."""

    case: Case
    settings: Settings
    person: Person
    demands: tuple[Demand, ...]

    def known(self, path: str) -> bool:
        """Whether a number was measured, or else assumed."""
        return path not in self.person.assumed

    def with_value(self, path: str, value: Any) -> Moved:
        """The person with one finding of the visit worked on replaced."""
        return person_with(self.case, self.settings, path, value), self.demands

    def number(
        self, path: str, value: float, unit: str, span: tuple[float, float], usual: tuple[float, float],
        made: Callable[[float], Any] = float, measured: bool | None = None,
    ) -> Movable:  # fmt: skip
        """An input that is one number, looked at over ``span``."""
        low, high = min(span[0], value), max(span[1], value)
        usual_low, usual_high = (min(high, max(low, each)) for each in usual)
        return Movable(
            path, value, unit, low, high, usual_low, usual_high,
            self.known(path) if measured is None else measured, lambda moved: self.with_value(path, made(moved)),
        )  # fmt: skip


def movable_inputs(
    case: Case, settings: Settings, person: Person, context: Context, demands: tuple[Demand, ...], side: str,
    goal_index: int, configuration: Configuration,
) -> Iterator[Movable]:  # fmt: skip
    """The inputs that can bear on a goal through an option, in the order of the exam."""
    source = _Source(case, settings, person, demands)
    eye, demand = person.eye(side), demands[goal_index]
    seen = context.right if side == "right" else context.left
    yield from _acuities(source, eye, seen, demand)
    yield from _eye(source, eye, demand)
    if configuration.eye == "both":
        yield from _pair(source, demand)
    yield from _face(source, configuration, demand)
    yield from _acuity_reserve(source, goal_index)


def _acuities(source: _Source, eye: Eye, seen: EyeIn, demand: Demand) -> Iterator[Movable]:
    path = f"{eye.side}.distance_acuity"
    if eye.logmar is not None:
        at = eye.logmar
        yield source.number(
            path, at, "logMAR", (at - 0.3, min(1.9, at + 0.3)), (at - 0.1, at + 0.1), Acuity, measured=True
        )
    if not demand.by_print or seen.near_m_units is None:
        return
    path, size = f"{eye.side}.near_acuity", seen.near_m_units
    if eye.near is not None:
        near = eye.near
        yield source.number(
            path, size, "M", (size / 2, size * 2), (size / 1.26, size * 1.26),
            lambda value: replace(near, m_units=value), measured=True,
        )  # fmt: skip
        return
    # Words are read worse than letters as a rule: 0.87 against 0.67 logMAR in a group with AMD (ELLIOTT01).
    yield source.number(
        path, size, "M", (size / 2, size * 2), (size / 1.26, size * 1.6),
        lambda value: NearPrint(value, READING_DISTANCE_MM), measured=False,
    )  # fmt: skip


def _eye(source: _Source, eye: Eye, demand: Demand) -> Iterator[Movable]:
    side, age = eye.side, source.person.age_years
    pupils = [("pupil", eye.pupil_mm)]
    if demand.light == "dim":
        pupils.append(("pupil_dim", eye.pupil_dim_mm))
    for name, size in pupils:
        yield source.number(f"{side}.{name}", size, "mm", (1.5, 8.0), (size - 1.0, size + 1.0))
    kept = eye.accommodation_d
    usual = (0.0, 2.0)
    if age is not None:
        old = age >= source.settings.assume("no_accommodation_from_years")
        usual = (0.0, 0.5) if old else (0.5 * kept, 1.5 * kept)
    yield source.number(f"{side}.sustained_accommodation", kept, "D", (0.0, 8.0), usual)
    yield source.number(f"{side}.contrast", eye.log_cs, "logCS", (0.2, 2.0), (0.9, 1.5))
    path, lens = f"{side}.refraction", eye.refraction
    at, unsure = lens.sphere_d, 0.5 if source.known(path) else 2.0
    yield source.number(
        path,
        at,
        "D",
        (at - 2.0, at + 2.0),
        (at - unsure, at + unsure),
        lambda value: replace(lens, sphere_d=value),
    )


def _pair(source: _Source, demand: Demand) -> Iterator[Movable]:
    person = source.person
    yield source.number(
        "face.pd",
        person.pd.total_mm,
        "mm",
        (50.0, 75.0),
        (58.0, 68.0),
        lambda value: Pd(value / 2, value / 2, False),
    )
    name = "base_out_near" if demand.kind == "near" else "base_out_distance"
    recorded = person.reserves.get(name)
    at = source.settings.assume(f"{name}_prism") if recorded is None else recorded.first_sign_prism
    # Eyes with low vision often fuse poorly (TONG21): what is taken of normal eyes is an upper bound.
    yield source.number(
        f"binocular.{name}", at, "prism D", (0.0, 40.0), (at / 3, at), lambda value: Reserve(None, value, None),
        measured=recorded is not None,
    )  # fmt: skip


def _face(source: _Source, configuration: Configuration, demand: Demand) -> Iterator[Movable]:
    person = source.person
    if person.ocular_to_cornea_mm is not None:
        at = person.ocular_to_cornea_mm
        yield source.number("face.ocular_to_cornea", at, "mm", (6.0, 25.0), (10.0, 17.0))
    else:
        yield source.number("face.vertex_distance", person.vertex_mm, "mm", (8.0, 20.0), (10.0, 15.0))
    if configuration.position == "bioptic":
        yield source.number("face.b_size", person.b_size_mm, "mm", (28.0, 56.0), (34.0, 48.0))
    if configuration.cap and demand.kind != "distance":
        known = ASSUMPTIONS["reach_mm"]
        yield source.number(
            "face.reach", person.reach_mm, "mm", (max(100.0, known.lowest), 500.0), (200.0, 350.0)
        )


def _acuity_reserve(source: _Source, goal_index: int) -> Iterator[Movable]:
    demands = source.demands
    demand = demands[goal_index]
    if not demand.usable:
        return

    def moved(value: float) -> Moved:
        goal = None if demand.goal_logmar is None else demand.goal_logmar - log10(value / demand.reserve)
        other = replace(demand, reserve=value, goal_logmar=goal)
        return source.person, (*demands[:goal_index], other, *demands[goal_index + 1 :])

    yield Movable(
        f"goal.{goal_index}.reserve", demand.reserve, "times", 1.0, max(4.0, demand.reserve), 1.0, 2.0,
        "reserve" not in demand.assumed, moved, f"Acuity reserve of {demand.name}",
    )  # fmt: skip
