"""The visit as a bundle of HL7 FHIR resources, release R4B (4.3.0) or R5 (5.0.0), from one model by two thin writers.

The writers differ only where the releases do: Device and DeviceRequest. Numbers are decimals of fixed precision and
keep their trailing zeros in the text, since the standard counts them. A person goes by code only.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import datetime
from decimal import Decimal
from typing import Any, Literal
from uuid import NAMESPACE_URL, UUID, uuid5

from ..case import Case
from ..errors import Refusal
from ..fitting.types import FittingSheet
from ..plan.types import Plan
from ..settings import Settings
from .exchange import exchange_of
from .exchange_model import (
    CATEGORY,
    PRODUCT,
    UCUM,
    Amount,
    Coded,
    Exchange,
    LensOrdered,
    Measured,
    Part,
    Ratio,
    Value,
    eye_concept,
)

Release = Literal["R4B", "R5"]
RELEASES: tuple[Release, ...] = ("R4B", "R5")

Resource = dict[str, Any]


def fhir_bundle(
    case: Case,
    plan: Plan | None = None,
    sheet: FittingSheet | None = None,
    settings: Settings | None = None,
    *,
    release: Release = "R5",
    written_at: datetime | None = None,
) -> Resource:
    """The bundle (type collection) as plain data. ``written_at`` needs a zone; without it there is no timestamp."""
    if release not in RELEASES:
        raise Refusal("FHIR release", release, " or ".join(RELEASES), example="R5")
    return bundle_of(exchange_of(case, plan, sheet, settings), release, written_at)


def fhir_text(
    case: Case,
    plan: Plan | None = None,
    sheet: FittingSheet | None = None,
    settings: Settings | None = None,
    *,
    release: Release = "R5",
    written_at: datetime | None = None,
) -> str:
    """The bundle as JSON text, decimals with their trailing zeros."""
    return dumps(fhir_bundle(case, plan, sheet, settings, release=release, written_at=written_at)) + "\n"


def bundle_of(made: Exchange, release: Release, written_at: datetime | None = None) -> Resource:
    """A checked model as a bundle."""
    names = _Names(made)
    entries: list[tuple[str, Resource]] = [
        ("person", {"resourceType": "Patient", "identifier": [{"value": made.person_code}]}),
        ("examiner", _practitioner(made)),
    ]
    if made.device is not None:
        entries.append(("device", _DEVICE_WRITERS[release](made, names)))
    entries += [(each.key, _observation(each, made, names)) for each in made.measured]
    if made.lenses:
        entries.append(("prescription", _prescription(made, names)))
    if made.request is not None:
        entries.append(("request", _REQUEST_WRITERS[release](made, names)))
    bundle: Resource = {"resourceType": "Bundle", "type": "collection"}
    if written_at is not None:
        if written_at.utcoffset() is None:
            raise Refusal("time of writing", written_at.isoformat(), "a time with its zone")
        bundle["timestamp"] = written_at.isoformat(timespec="seconds")
    bundle["entry"] = [{"fullUrl": names.url(key), "resource": resource} for key, resource in entries]
    return bundle


class _Names:
    """Stable names of the resources of one visit: the same visit gives the same names each time."""

    def __init__(self, made: Exchange) -> None:
        self._space: UUID = uuid5(NAMESPACE_URL, f"urn:afocal:{made.person_code}:{made.on.isoformat()}")

    def url(self, key: str) -> str:
        return f"urn:uuid:{uuid5(self._space, key)}"

    def reference(self, key: str, kind: str) -> Resource:
        return {"reference": self.url(key), "type": kind}


def _practitioner(made: Exchange) -> Resource:
    return {"resourceType": "Practitioner", "identifier": [{"value": made.examiner or "not recorded"}]}


def _observation(each: Measured, made: Exchange, names: _Names) -> Resource:
    resource: Resource = {
        "resourceType": "Observation",
        "status": made.observation_status,
        "category": [{"coding": [{"system": CATEGORY, "code": "exam", "display": "Exam"}]}],
        "code": _concept(each.code),
        "subject": names.reference("person", "Patient"),
        "effectiveDateTime": made.on.isoformat(),
        "performer": [names.reference("examiner", "Practitioner")],
        "bodySite": _concept(eye_concept(each.side)),
    }
    if each.value is not None:
        resource.update(_value(each.value))
    if each.worn and made.device is not None:
        resource["device"] = names.reference("device", "Device")
    if each.parts:
        resource["component"] = [{"code": _concept(part.code), **_value(part.value)} for part in each.parts]
    return resource


def _prescription(made: Exchange, names: _Names) -> Resource:
    return {
        "resourceType": "VisionPrescription",
        "status": made.prescription_status,
        "created": made.on.isoformat(),
        "patient": names.reference("person", "Patient"),
        "dateWritten": made.on.isoformat(),
        "prescriber": names.reference("examiner", "Practitioner"),
        "lensSpecification": [_lens(lens) for lens in made.lenses],
    }


def _lens(lens: LensOrdered) -> Resource:
    made: Resource = {
        "product": {
            "coding": [{"system": PRODUCT, "code": "lens", "display": "Lens"}],
            "text": "carrier lens",
        },
        "eye": lens.side,
        "sphere": lens.sphere,
    }
    if lens.cylinder is not None:
        made |= {"cylinder": lens.cylinder, "axis": lens.axis}
    if lens.prism:
        made["prism"] = [{"amount": amount, "base": base} for amount, base in lens.prism]
    if lens.add is not None:
        made["add"] = lens.add
    if lens.note:
        made["note"] = [{"text": lens.note}]
    return made


def _device_r4b(made: Exchange, names: _Names) -> Resource:
    device = made.device
    assert device is not None
    return {
        "resourceType": "Device",
        "identifier": [{"value": device.key}],
        "status": "active",
        "deviceName": [{"name": device.name, "type": "user-friendly-name"}],
        "type": {"text": device.kind},
        "property": [_property_r4b(part) for part in device.parts],
        "patient": names.reference("person", "Patient"),
    }


def _property_r4b(part: Part) -> Resource:
    """R4B has lists of quantities and of concepts and no boolean."""
    if isinstance(part.value, Amount):
        return {"type": _concept(part.code), "valueQuantity": [_quantity(part.value)]}
    text = ("yes" if part.value else "no") if isinstance(part.value, bool) else str(part.value)
    return {"type": _concept(part.code), "valueCode": [{"text": text}]}


def _device_r5(made: Exchange, names: _Names) -> Resource:
    """R5 has no patient here: whose device it is stands in a resource of its own."""
    device = made.device
    assert device is not None
    return {
        "resourceType": "Device",
        "identifier": [{"value": device.key}],
        "status": "active",
        "name": [{"value": device.name, "type": "user-friendly-name"}],
        "type": [{"text": device.kind}],
        "property": [{"type": _concept(part.code), **_value(part.value)} for part in device.parts],
    }


def _request_common(made: Exchange, names: _Names) -> Resource:
    request = made.request
    assert request is not None
    common: Resource = {
        "resourceType": "DeviceRequest",
        "status": request.status,
        "intent": "order" if request.status == "active" else "proposal",
        "parameter": [{"code": _concept(part.code), **_value(part.value)} for part in request.parts],
        "subject": names.reference("person", "Patient"),
        "authoredOn": made.on.isoformat(),
        "requester": names.reference("examiner", "Practitioner"),
    }
    if made.lenses:
        common["basedOn"] = [names.reference("prescription", "VisionPrescription")]
    if made.measured:
        common["supportingInfo"] = [names.reference(each.key, "Observation") for each in made.measured]
    return common


def _request_r4b(made: Exchange, names: _Names) -> Resource:
    """R4B has no quantity, so the number of tubes goes as a parameter."""
    request = made.request
    assert request is not None
    resource = _request_common(made, names)
    count = {"code": {"text": "number of tubes"}, "valueQuantity": {"value": request.quantity}}
    resource["parameter"] = [*resource["parameter"], count]
    return {**resource, "codeCodeableConcept": {"text": request.name}}


def _request_r5(made: Exchange, names: _Names) -> Resource:
    request = made.request
    assert request is not None
    resource = _request_common(made, names)
    return {**resource, "code": {"concept": {"text": request.name}}, "quantity": request.quantity}


_Writer = Callable[[Exchange, _Names], Resource]
_DEVICE_WRITERS: dict[Release, _Writer] = {"R4B": _device_r4b, "R5": _device_r5}
_REQUEST_WRITERS: dict[Release, _Writer] = {"R4B": _request_r4b, "R5": _request_r5}


def _concept(coded: Coded) -> Resource:
    made: Resource = {}
    if coded.code:
        coding = {"system": coded.system, "code": coded.code}
        made["coding"] = [{**coding, "display": coded.display} if coded.display else coding]
    made["text"] = coded.text
    return made


def _quantity(amount: Amount) -> Resource:
    made: Resource = {"value": amount.value, "unit": amount.unit}
    return {**made, "system": UCUM, "code": amount.code} if amount.code else made


def _value(value: Value) -> Resource:
    if isinstance(value, Amount):
        return {"valueQuantity": _quantity(value)}
    if isinstance(value, Coded):
        return {"valueCodeableConcept": _concept(value)}
    if isinstance(value, Ratio):
        numerator, denominator = ({"value": part} for part in (value.numerator, value.denominator))
        return {"valueRatio": {"numerator": numerator, "denominator": denominator}}
    return {"valueBoolean": value} if isinstance(value, bool) else {"valueString": value}


def dumps(data: Any, indent: str = "") -> str:
    """JSON text in which a decimal keeps its trailing zeros; refuses anything that JSON does not hold exactly."""
    inner = indent + "  "
    if isinstance(data, dict):
        rows = [f"{inner}{json.dumps(key)}: {dumps(value, inner)}" for key, value in data.items()]
        return "{\n" + ",\n".join(rows) + f"\n{indent}}}" if rows else "{}"
    if isinstance(data, list):
        rows = [f"{inner}{dumps(value, inner)}" for value in data]
        return "[\n" + ",\n".join(rows) + f"\n{indent}]" if rows else "[]"
    if isinstance(data, Decimal):
        return f"{data:f}"
    if data is None or isinstance(data, str | bool | int):
        return json.dumps(data, ensure_ascii=False)
    raise Refusal("value for exchange", repr(data), "text, whole numbers, yes or no, and decimals")
