"""What is exchanged with other systems about one visit, from the case and, where something is chosen, its plan.

Only what was measured at this visit is an observation; only what the order holds is a prescription. The telescope
stands in :mod:`.exchange_device`, the model and its checks in :mod:`.exchange_model`.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from decimal import Decimal

from ..acuity import Acuity, OffChart
from ..case import Case, Finding
from ..entry import AcuityKind
from ..errors import Refusal
from ..fields import by_path
from ..fitting.carrier import carried_add_d, carrier_lenses
from ..fitting.types import FittingSheet
from ..plan.types import Option, Plan
from ..print_size import NearPrint
from ..refraction import Refraction
from ..settings import Settings
from .exchange_device import device_of, request_of
from .exchange_model import (
    AID,
    AXIS,
    CYLINDER,
    DISTANCE_ACUITY,
    EYE_CODES,
    SPHERE,
    Amount,
    Coded,
    Exchange,
    LensOrdered,
    Measured,
    Part,
    Ratio,
    checked,
    dioptres,
    quantised,
)
from .options import chosen_option
from .order import carrier_obstacles, obstacles
from .order_parts import vertex_words
from .text import clean

_FRACTION = re.compile(r"^\s*(\d{1,3}(?:\.\d+)?)\s*/\s*(\d{1,4}(?:\.\d+)?)\s*$")


def exchange_of(
    case: Case, plan: Plan | None = None, sheet: FittingSheet | None = None, settings: Settings | None = None
) -> Exchange:
    """The exchange model of the visit worked on, checked."""
    visit = case.visit
    used = settings or Settings()
    option = chosen_option(plan, visit.choice, used)
    ordered = (
        option is not None and plan is not None and visit.signed and not obstacles(case, plan, used, sheet)
    )
    made = Exchange(
        person_code=clean(case.code),
        examiner=clean(case.value("person.examiner") or ""),
        on=visit.on,
        observation_status="final" if visit.signed else "preliminary",
        prescription_status="active" if ordered else "draft",
        measured=tuple(_measured(case, option, sheet)),
        lenses=() if option is None or plan is None else tuple(_lenses(option, plan)),
        device=None if option is None else device_of(option),
        request=None
        if option is None or plan is None
        else request_of(option, plan, sheet, "active" if ordered else "draft"),
    )
    return checked(made)


def _fresh(case: Case, path: str) -> Finding | None:
    """The finding when it was measured at this visit and could be read."""
    finding = case.visit.findings.get(path)
    return (
        finding
        if finding is not None and finding.status == "measured" and finding.value is not None
        else None
    )


def _measured(case: Case, option: Option | None, sheet: FittingSheet | None) -> Iterator[Measured]:
    for side in ("right", "left", "both"):
        found = _fresh(case, f"{side}.distance_acuity")
        if found is not None:
            worn = Part(AID, Coded("best lenses"))
            yield _acuity(f"acuity-{side}", side, found.value, found.typed, (worn, *_chart(case)))
    for side in ("right", "left", "both"):
        found = _fresh(case, f"{side}.near_acuity")
        if found is not None:
            yield _near(f"near-{side}", side, found.value, found.typed, ())
    for side in EYE_CODES:
        found = _fresh(case, f"{side}.refraction")
        if found is not None:
            yield _refraction(f"refraction-{side}", side, found.value, found.typed)
    tried = clean(case.value("trial.device") or "")
    # Words about another device than the chosen one may stand there, so only without them is the device referred to.
    chosen = option is not None and not tried
    aid = Part(AID, Coded(f"spectacle telescope: {tried}" if tried else "spectacle telescope"))
    for side in ("right", "left", "both"):
        found = _fresh(case, f"trial.acuity_{side}")
        if found is not None:
            parts = (aid, *_chart(case))
            yield _acuity(f"acuity-through-{side}", side, found.value, found.typed, parts, worn=chosen)
    found = _fresh(case, "trial.print")
    if found is not None:
        side = option.configuration.eye if option is not None else "both"
        yield _near("near-through", side, found.value, found.typed, (aid,), worn=chosen)
    yield from _performance(case, option, sheet)


def _performance(case: Case, option: Option | None, sheet: FittingSheet | None) -> Iterator[Measured]:
    """Acuities measured through the delivered device, from the steps of the fitting sheet."""
    if option is None:
        return
    aid = Part(AID, Coded("spectacle telescope"))
    for step in sheet.phase("performance") if sheet is not None else ():
        result = case.visit.steps.get(step.key)
        if result is None or not result.measured or not isinstance(step.kind, AcuityKind):
            continue
        try:
            value = step.kind.read(result.measured, step.title)
        except Refusal:
            continue
        key = f"step-{step.key}-{step.eye}"
        yield _acuity(key, step.eye or "both", value, result.measured, (aid, *_chart(case)), worn=True)


def _chart(case: Case) -> Iterator[Part]:
    distance, kind = _fresh(case, "test.chart_distance"), _fresh(case, "test.chart_kind")
    if distance is not None:
        yield Part(Coded("chart distance"), Amount(quantised(distance.value / 1000, "0.01"), "m", "m"))
    if kind is not None:
        yield Part(Coded("chart"), Coded(clean(kind.value)))


def _acuity(
    key: str, side: str, value: Acuity | OffChart, typed: str, parts: tuple[Part, ...], *, worn: bool = False
) -> Measured:
    recorded = Part(Coded("as recorded"), clean(typed))
    if isinstance(value, OffChart):
        place = "" if value.distance_mm is None else f" at {value.distance_mm / 1000:g} m"
        return Measured(key, DISTANCE_ACUITY, side, Coded(f"{value.name}{place}"), (recorded, *parts), worn)
    amount = Amount(quantised(value.logmar, "0.01"), "logMAR", "1")
    fraction = _FRACTION.match(typed)
    ratio = (
        (Part(Coded("fraction as recorded"), Ratio(Decimal(fraction[1]), Decimal(fraction[2]))),)
        if fraction
        else ()
    )
    return Measured(key, DISTANCE_ACUITY, side, amount, (recorded, *ratio, *parts), worn)


def _near(
    key: str, side: str, value: NearPrint, typed: str, parts: tuple[Part, ...], *, worn: bool = False
) -> Measured:
    own = [Part(Coded("as recorded"), clean(typed))]
    if value.distance_mm is not None:
        own.append(Part(Coded("reading distance"), Amount(quantised(value.distance_mm, "0.1"), "mm", "mm")))
    amount = Amount(quantised(value.m_units, "0.01"), "M")
    return Measured(key, Coded("near print size, smallest read"), side, amount, (*own, *parts), worn)


def _refraction(key: str, side: str, value: Refraction, typed: str) -> Measured:
    parts = [Part(Coded("as recorded"), clean(typed)), Part(SPHERE, dioptres(value.sphere_d))]
    if value.cylinder_d:
        parts.append(Part(CYLINDER, dioptres(value.cylinder_d)))
        parts.append(Part(AXIS, Amount(Decimal(value.axis_deg), "deg", "deg")))
    return Measured(key, Coded("refraction, subjective, distance"), side, None, tuple(parts))


def _lenses(option: Option, plan: Plan) -> Iterator[LensOrdered]:
    """The carrier as it is ordered: measured, carried over, or confirmed by name; nothing assumed or in question."""
    choice, person = option.configuration, plan.person
    if choice.mount == "clip-on" or carrier_obstacles(option, plan):
        return
    add = carried_add_d(person)
    for each in carrier_lenses(person, choice):
        if f"{each.side}.refraction" in person.assumed:
            continue
        cylinder = quantised(each.lens.cylinder_d, "0.01") if each.lens.cylinder_d else None
        yield LensOrdered(
            each.side,
            quantised(each.lens.sphere_d, "0.01"),
            cylinder,
            each.lens.axis_deg if cylinder is not None else None,
            quantised(add, "0.01") if add else None,
            note=f"Vertex distance: {vertex_words(each)}.",
        )


def unread(case: Case) -> list[str]:
    """Labels of acuities and refractions that could not be read and so are not exchanged."""
    kinds = ("distance_acuity", "near_acuity", "refraction")
    found = case.visit.findings
    return [by_path()[path].label for path in found if path.endswith(kinds) and found[path].value is None]
