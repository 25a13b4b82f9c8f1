"""One internal model of what is exchanged with other systems, free of any release of any standard.

Made from the case and, where something is chosen, its plan; checked here for what the standard's own schema leaves
unchecked (eyes, bases, states, whole axes). Only what was measured at this visit is an observation. Codes are given
where their meaning was read at a public source; everything else goes as text.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from decimal import ROUND_HALF_EVEN, Decimal

from ..acuity import Acuity, OffChart
from ..case import Case, Finding
from ..entry import AcuityKind
from ..errors import Refusal
from ..fields import by_path
from ..fitting.types import FittingSheet
from ..plan.types import Option, Plan
from ..print_size import NearPrint
from ..refraction import Refraction
from ..settings import Settings
from .numbers import CORRECTION_WORDS, FOCUS_WORDS
from .options import chosen_option
from .order import obstacles
from .text import clean

SNOMED = "http://snomed.info/sct"
UCUM = "http://unitsofmeasure.org"
PRODUCT = "http://terminology.hl7.org/CodeSystem/ex-visionprescriptionproduct"
CATEGORY = "http://terminology.hl7.org/CodeSystem/observation-category"

EYE_CODES = ("right", "left")
BASE_CODES = ("up", "down", "in", "out")
PRESCRIPTION_STATES = ("active", "cancelled", "draft", "entered-in-error")
OBSERVATION_STATES = ("preliminary", "final", "amended")
REQUEST_STATES = ("draft", "active")


class ExchangeRefusal(Refusal):
    """A value that the exchange format does not hold, or holds in one spelling only."""


@dataclass(frozen=True, slots=True)
class Coded:
    """A concept: always its text; system, code and display only where the meaning was read at a public source."""

    text: str
    system: str = ""
    code: str = ""
    display: str = ""


@dataclass(frozen=True, slots=True)
class Amount:
    """A number of fixed precision with its unit; ``code`` is the UCUM code, "" where there is none."""

    value: Decimal
    unit: str
    code: str = ""


@dataclass(frozen=True, slots=True)
class Ratio:
    """A fraction as written, not reduced: test distance over label."""

    numerator: Decimal
    denominator: Decimal


Value = Amount | Coded | Ratio | str | bool


@dataclass(frozen=True, slots=True)
class Part:
    """A component of an observation, or a parameter of an order or device."""

    code: Coded
    value: Value


@dataclass(frozen=True, slots=True)
class Measured:
    """One observation. ``value`` is None where the components say it all; ``worn`` refers to the device."""

    key: str
    code: Coded
    side: str
    value: Value | None
    parts: tuple[Part, ...] = ()
    worn: bool = False
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class LensOrdered:
    """One carrier lens. Prism is (amount, base); oblique prism takes two entries."""

    side: str
    sphere: Decimal
    cylinder: Decimal | None
    axis: int | None
    add: Decimal | None
    prism: tuple[tuple[Decimal, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Device:
    """The telescope as it stands in the clinic's stock."""

    key: str
    name: str
    kind: str
    parts: tuple[Part, ...]


@dataclass(frozen=True, slots=True)
class Request:
    """The telescope as ordered."""

    status: str
    name: str
    quantity: int
    parts: tuple[Part, ...]


@dataclass(frozen=True, slots=True)
class Exchange:
    """Everything about one visit that is exchanged."""

    person_code: str
    examiner: str
    on: date
    observation_status: str
    prescription_status: str
    measured: tuple[Measured, ...]
    lenses: tuple[LensOrdered, ...]
    device: Device | None
    request: Request | None


_EYES = {
    "right": Coded("right eye", SNOMED, "18944008", "Right eye structure"),
    "left": Coded("left eye", SNOMED, "8966001", "Left eye structure"),
    "both": Coded("both eyes", SNOMED, "40638003", "Structure of both eyes"),
}
DISTANCE_ACUITY = Coded("distance visual acuity", SNOMED, "251739003", "Distance visual acuity")
AID = Coded("aid to vision", SNOMED, "257192006", "Aid to vision")
SPHERE = Coded("sphere", SNOMED, "251795007")
CYLINDER = Coded("cylinder", SNOMED, "251797004")
AXIS = Coded("axis", SNOMED, "251799001")

_FRACTION = re.compile(r"^\s*(\d{1,3}(?:\.\d+)?)\s*/\s*(\d{1,4}(?:\.\d+)?)\s*$")


def eye_concept(side: str) -> Coded:
    """The body structure of an eye, code and display together; ExchangeRefusal for any other word."""
    if side not in _EYES:
        raise ExchangeRefusal("eye", side, ", ".join(_EYES), example="right")
    return _EYES[side]


def quantised(value: float, step: str) -> Decimal:
    """A number at the precision of ``step`` ("0.01"), never a minus zero."""
    shown = Decimal(repr(value)).quantize(Decimal(step), rounding=ROUND_HALF_EVEN)
    return abs(shown) if shown == 0 else shown


def exchange_of(
    case: Case, plan: Plan | None = None, sheet: FittingSheet | None = None, settings: Settings | None = None
) -> Exchange:
    """The exchange model of the visit worked on, checked."""
    visit = case.visit
    used = settings or Settings()
    option = chosen_option(plan, visit.choice, used)
    ordered = option is not None and plan is not None and visit.signed and not obstacles(case, plan, used)
    made = Exchange(
        person_code=clean(case.code),
        examiner=clean(case.value("person.examiner") or ""),
        on=visit.on,
        observation_status="final" if visit.signed else "preliminary",
        prescription_status="active" if ordered else "draft",
        measured=tuple(_measured(case, option, sheet)),
        lenses=tuple(_lenses(case)) if option is not None and option.configuration.mount != "clip-on" else (),
        device=None if option is None else _device(option),
        request=None
        if option is None or plan is None
        else _request(option, plan, "active" if ordered else "draft"),
    )
    return checked(made)


def checked(made: Exchange) -> Exchange:
    """The same model when its codes are those of the standard; ExchangeRefusal names what is not."""
    _one_of("observation status", made.observation_status, OBSERVATION_STATES)
    _one_of("prescription status", made.prescription_status, PRESCRIPTION_STATES)
    if made.request is not None:
        _one_of("request status", made.request.status, REQUEST_STATES)
        if made.request.quantity not in (1, 2):
            raise ExchangeRefusal("quantity", made.request.quantity, "1 or 2")
    for lens in made.lenses:
        _one_of("eye", lens.side, EYE_CODES)
        if (lens.cylinder is None) != (lens.axis is None):
            raise ExchangeRefusal(
                "axis", str(lens.axis), "an axis exactly when there is a cylinder", example="90"
            )
        if lens.axis is not None and (type(lens.axis) is not int or not 1 <= lens.axis <= 180):
            raise ExchangeRefusal("axis", str(lens.axis), "a whole number from 1 to 180", example="90")
        for amount, base in lens.prism:
            _one_of("prism base", base, BASE_CODES)
            if amount <= 0:
                raise ExchangeRefusal(
                    "prism", str(amount), "an amount over 0 with its base", example="2.00 in"
                )
    for each in made.measured:
        eye_concept(each.side)
    return made


def _one_of(field: str, value: str, options: tuple[str, ...]) -> None:
    if value not in options:
        raise ExchangeRefusal(field, value, ", ".join(options), example=options[0])


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
    parts = [Part(Coded("as recorded"), clean(typed)), Part(SPHERE, _dioptres(value.sphere_d))]
    if value.cylinder_d:
        parts.append(Part(CYLINDER, _dioptres(value.cylinder_d)))
        parts.append(Part(AXIS, Amount(Decimal(value.axis_deg), "deg", "deg")))
    return Measured(key, Coded("refraction, subjective, distance"), side, None, tuple(parts))


def _dioptres(value: float) -> Amount:
    return Amount(quantised(value, "0.01"), "D", "[diop]")


def _lenses(case: Case) -> Iterator[LensOrdered]:
    """The carrier: the refraction as measured, carried over, or confirmed by name; never a mere assumption."""
    add = case.value("test.add")
    for side in EYE_CODES:
        value = case.value(f"{side}.refraction")
        if value is None:
            continue
        cylinder = quantised(value.cylinder_d, "0.01") if value.cylinder_d else None
        yield LensOrdered(
            side,
            quantised(value.sphere_d, "0.01"),
            cylinder,
            value.axis_deg if cylinder is not None else None,
            quantised(add, "0.01") if add else None,
        )


def _mm(value: float) -> Amount:
    return Amount(quantised(value, "0.1"), "mm", "mm")


def _times(value: float) -> Amount:
    """A magnification without sign: a minus in a file would be read as something else. The picture is told apart."""
    return Amount(quantised(abs(value), "0.01"), "x", "1")


def _upright(option: Option) -> bool:
    return option.telescope.type == "galilean" or option.telescope.erect


def _device(option: Option) -> Device:
    telescope = option.telescope
    parts = [
        Part(Coded("magnification, marked, without sign"), _times(telescope.magnification)),
        Part(Coded("erecting"), _upright(option)),
        Part(Coded("tube length"), _mm(telescope.tube_length_mm)),
        Part(Coded("objective clear diameter"), _mm(telescope.objective_diameter_mm)),
    ]
    if telescope.measured_magnification is not None:
        measured = Coded("magnification, measured, without sign")
        parts.insert(1, Part(measured, _times(telescope.measured_magnification)))
    if telescope.weight_g is not None:
        parts.append(Part(Coded("weight"), Amount(quantised(telescope.weight_g, "0.1"), "g", "g")))
    name = clean(telescope.description)
    return Device(
        clean(telescope.id), name, f"{telescope.type.capitalize()} spectacle telescope", tuple(parts)
    )


def _request(option: Option, plan: Plan, status: str) -> Request:
    choice, device = option.configuration, option.device
    parts = [
        Part(Coded("magnification, without sign"), _times(device.leading.magnification)),
        Part(Coded("erecting"), _upright(option)),
        Part(Coded("eye"), eye_concept(choice.eye)),
        Part(Coded("position"), Coded(choice.position)),
        Part(Coded("mount"), Coded(choice.mount)),
        Part(Coded("focus"), Coded(FOCUS_WORDS[choice.focus])),
        Part(Coded("place of the correction"), Coded(CORRECTION_WORDS[choice.correction])),
    ]
    angles = (
        ("tube tilt, up", device.mount.tube_tilt_deg),
        ("tube to lens normal", device.mount.tube_to_lens_normal_deg),
    )
    parts += [Part(Coded(name), Amount(quantised(value, "0.1"), "deg", "deg")) for name, value in angles]
    if "face.pd" not in plan.person.assumed and plan.person.pd.by_eye:
        pd = plan.person.pd
        parts.append(Part(Coded("pupil distance, right"), _mm(pd.right_mm)))
        parts.append(Part(Coded("pupil distance, left"), _mm(pd.left_mm)))
    if choice.spread_mm:
        parts.append(Part(Coded("outward spread of each tube"), _mm(choice.spread_mm)))
    if device.mount.ocular_height_mm is not None:
        parts.append(Part(Coded("ocular centre from the pupil centre"), _mm(device.mount.ocular_height_mm)))
    for eye in device.eyes:
        if choice.correction in ("ocular", "objective") and eye.correction_lens_d is not None:
            name = f"correcting lens, {CORRECTION_WORDS[choice.correction]}, {eye.side} eye"
            parts.append(Part(Coded(name), _dioptres(eye.correction_lens_d)))
    if option.cap is not None:
        parts.append(Part(Coded("reading cap"), _dioptres(option.cap.power_d)))
        if option.cap.base_in_prism:
            amount = Amount(quantised(option.cap.base_in_prism, "0.01"), "prism D", "[p'diop]")
            parts.append(Part(Coded("base in, each cap"), amount))
        if device.cap is not None:
            parts.append(Part(Coded("working distance from the cap"), _mm(device.cap.working_distance_mm)))
    if option.filter is not None:
        parts.append(Part(Coded("filter"), Coded(clean(option.filter.description))))
    name = f"{option.telescope.type.capitalize()} spectacle telescope"
    return Request(status, name, len(choice.eyes), tuple(parts))


def unread(case: Case) -> list[str]:
    """Labels of acuities and refractions that could not be read and so are not exchanged."""
    kinds = ("distance_acuity", "near_acuity", "refraction")
    found = case.visit.findings
    return [by_path()[path].label for path in found if path.endswith(kinds) and found[path].value is None]
