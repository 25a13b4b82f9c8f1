"""The model of what is exchanged with other systems, free of any release of any standard, and its own checks.

What the standard's own schema leaves unchecked (eyes, bases, states, whole axes) is checked here. Codes are given where
their meaning was read at a public source; everything else goes as text.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from decimal import ROUND_HALF_EVEN, Decimal

from ..errors import Refusal

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
    """One carrier lens. Prism is (amount, base), oblique prism takes two entries; ``note`` is the vertex distance."""

    side: str
    sphere: Decimal
    cylinder: Decimal | None
    axis: int | None
    add: Decimal | None
    prism: tuple[tuple[Decimal, str], ...] = ()
    note: str = ""


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


def eye_concept(side: str) -> Coded:
    """The body structure of an eye, code and display together; ExchangeRefusal for any other word."""
    if side not in _EYES:
        raise ExchangeRefusal("eye", side, ", ".join(_EYES), example="right")
    return _EYES[side]


def quantised(value: float, step: str) -> Decimal:
    """A number at the precision of ``step`` ("0.01"), never a minus zero."""
    shown = Decimal(repr(value)).quantize(Decimal(step), rounding=ROUND_HALF_EVEN)
    return abs(shown) if shown == 0 else shown


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


def dioptres(value: float) -> Amount:
    """Dioptres to two places."""
    return Amount(quantised(value, "0.01"), "D", "[diop]")


def millimetres(value: float) -> Amount:
    """Millimetres to one place."""
    return Amount(quantised(value, "0.1"), "mm", "mm")
