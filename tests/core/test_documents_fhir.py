"""Exchange: valid by an independent model of the standard in both releases, and by our own checks where that is silent.

FHIR R4B is 4.3.0, R5 is 5.0.0; the models are those of fhir.resources 8. They check structure; what they leave unchecked
(eyes, bases, states, whole axes, references, values with absent reasons) is checked here.
"""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime
from decimal import Decimal

import documents_cases as cases
import pytest
from fhir.resources import get_fhir_model_class
from fhir.resources.R4B import get_fhir_model_class as get_r4b_class

from afocal.core.case import StepResult
from afocal.core.documents.exchange import exchange_of
from afocal.core.documents.exchange_model import (
    Exchange,
    ExchangeRefusal,
    LensOrdered,
    checked,
    eye_concept,
    quantised,
)
from afocal.core.documents.fhir import bundle_of, dumps, fhir_text
from afocal.core.errors import Refusal

MODEL = {"R5": get_fhir_model_class("Bundle"), "R4B": get_r4b_class("Bundle")}
RELEASES = ("R4B", "R5")


def validated(text: str, release: str) -> dict:
    """The bundle after the independent model has read it."""
    MODEL[release].model_validate_json(text)
    return json.loads(text, parse_float=Decimal)


def resources(bundle: dict, kind: str) -> list[dict]:
    """The resources of one kind."""
    return [e["resource"] for e in bundle["entry"] if e["resource"]["resourceType"] == kind]


@pytest.mark.parametrize("release", RELEASES)
@pytest.mark.parametrize("name", cases.ALL)
def test_every_case_is_valid(name, release):
    """The bundle of each invented case without a plan passes the model of its release."""
    bundle = validated(fhir_text(cases.ALL[name](), release=release), release)
    assert bundle["type"] == "collection"
    assert [entry["resource"]["resourceType"] for entry in bundle["entry"]][:2] == ["Patient", "Practitioner"]


def planned(name: str, release: str, case=None) -> dict:
    """The validated bundle of a case with its plan and sheet."""
    case = case or cases.ALL[name]()
    return validated(
        fhir_text(case, cases.plan_of(case), cases.sheet_of(case), cases.SETTINGS, release=release), release
    )


@pytest.mark.parametrize("release", RELEASES)
@pytest.mark.parametrize("name", cases.ALL)
def test_every_case_with_its_plan_is_valid(name, release):
    """With device, request and carrier too, the bundle passes the model of its release."""
    bundle = planned(name, release)
    expected = 0 if name == "refused" else 1
    for kind in ("Device", "DeviceRequest", "VisionPrescription"):
        assert len(resources(bundle, kind)) == expected, kind


def parameters(resource: dict, key: str = "parameter") -> dict[str, dict]:
    """The parameters of a request by their text."""
    return {part.get("code", part.get("type"))["text"]: part for part in resource[key]}


def test_the_request_and_device_differ_as_the_releases_do():
    """R5: code as a reference with concept, quantity, names and types as lists, single values. R4B: the older shapes."""
    r5, r4b = planned("two-tubes", "R5"), planned("two-tubes", "R4B")
    (new,), (old,) = resources(r5, "DeviceRequest"), resources(r4b, "DeviceRequest")
    assert (
        new["code"]["concept"]["text"] == old["codeCodeableConcept"]["text"] == "Galilean spectacle telescope"
    )
    assert new["quantity"] == 2 and parameters(old)["number of tubes"]["valueQuantity"]["value"] == 2
    (device5,), (device4,) = resources(r5, "Device"), resources(r4b, "Device")
    assert device5["name"][0]["value"] == device4["deviceName"][0]["name"]
    assert isinstance(device5["type"], list) and isinstance(device4["type"], dict)
    assert parameters(device5, "property")["erecting"]["valueBoolean"] is True
    assert parameters(device4, "property")["erecting"]["valueCode"] == [{"text": "yes"}]
    assert "patient" in device4 and "patient" not in device5


@pytest.mark.parametrize("release", RELEASES)
def test_a_keplerian_goes_without_its_minus(release):
    """Magnification without sign beside whether the picture is erect; the refocused power in the request."""
    (request,) = resources(planned("focusing", release), "DeviceRequest")
    found = parameters(request)
    # 4x of 80 mm refocused for -7.10 D at the ocular: 4.454x (derived by ray matrices).
    assert found["magnification, without sign"]["valueQuantity"]["value"] == Decimal("4.45")
    assert found["erecting"]["valueBoolean"] is True


@pytest.mark.parametrize("release", RELEASES)
def test_the_request_holds_eye_cap_and_pupil_distances(release):
    """Eye as a checked concept, cap and working distance in the cap case, each pupil distance by eye."""
    (request,) = resources(planned("with-cap", release), "DeviceRequest")
    found = parameters(request)
    assert found["eye"]["valueCodeableConcept"]["coding"][0]["code"] == "8966001"
    assert found["reading cap"]["valueQuantity"] == {
        "value": Decimal("2.25"),
        "unit": "D",
        "system": "http://unitsofmeasure.org",
        "code": "[diop]",
    }
    assert found["pupil distance, left"]["valueQuantity"]["value"] == Decimal("33.0")


def test_a_draft_until_it_is_signed_and_nothing_is_assumed():
    """An unsigned visit, or one with an assumed figure, proposes; a signed complete one orders."""
    (request,) = resources(planned("bioptic", "R5"), "DeviceRequest")
    assert (request["status"], request["intent"]) == ("draft", "proposal")
    signed = planned("fitted", "R5")
    assert resources(signed, "DeviceRequest")[0]["status"] == "active"
    assert resources(signed, "VisionPrescription")[0]["status"] == "active"
    case = cases.bioptic().with_typed("face.vertex_distance", "")
    case = cases.updated(case, signature=cases.fitted().visit.signature)
    assert resources(planned("", "R5", case), "DeviceRequest")[0]["status"] == "draft"


def test_no_assumed_pupil_distance_is_sent():
    """A whole PD says nothing about each eye, so none is sent by eye."""
    (request,) = resources(planned("", "R5", cases.bioptic().with_typed("face.pd", "64")), "DeviceRequest")
    assert not [name for name in parameters(request) if name.startswith("pupil distance")]


def test_acuity_through_a_device_named_in_words_refers_to_no_device():
    """Words about what was tried may mean another device; without words the chosen one was worn."""

    def through(case) -> dict:
        return resources(planned("", "R5", case), "Observation")[-1]

    named = cases.bioptic()
    assert "device" not in through(named) and "2.5x bioptic" in str(through(named)["component"])
    assert "device" in through(named.with_typed("trial.device", ""))


def test_acuity_measured_through_the_delivered_device_refers_to_it():
    """The performance step of the fitting sheet is an observation of that eye with the device worn; junk in it is not."""

    def steps(text: str):
        return cases.updated(cases.bioptic(), steps={"performance.acuity.right": StepResult(measured=text)})

    (device,) = [
        e for e in planned("", "R5", steps("20/40"))["entry"] if e["resource"]["resourceType"] == "Device"
    ]
    last = resources(planned("", "R5", steps("20/40")), "Observation")[-1]
    assert last["valueQuantity"]["value"] == Decimal("0.30")
    assert last["device"]["reference"] == device["fullUrl"]
    before = resources(planned("bioptic", "R5"), "Observation")
    assert len(resources(planned("", "R5", steps("blurred")), "Observation")) == len(before)


def test_an_acuity_is_logmar_with_what_was_recorded_beside_it():
    """Value in logMAR by UCUM code 1; typed words, unreduced fraction, chart distance and aid as components."""
    case = cases.typed(cases.refused(), {"right.distance_acuity": "4/20", "test.chart_distance": "4 m"})
    bundle = validated(fhir_text(case), "R5")
    (acuity, _) = resources(bundle, "Observation")
    assert acuity["valueQuantity"] == {
        "value": Decimal("0.70"),
        "unit": "logMAR",
        "system": "http://unitsofmeasure.org",
        "code": "1",
    }
    assert acuity["code"]["coding"][0]["code"] == "251739003"
    assert acuity["bodySite"]["coding"][0] == {
        "system": "http://snomed.info/sct",
        "code": "18944008",
        "display": "Right eye structure",
    }
    parts = {part["code"]["text"]: part for part in acuity["component"]}
    assert parts["as recorded"]["valueString"] == "4/20"
    assert parts["fraction as recorded"]["valueRatio"] == {
        "numerator": {"value": 4},
        "denominator": {"value": 20},
    }
    assert parts["chart distance"]["valueQuantity"]["value"] == Decimal("4.00")
    assert parts["aid to vision"]["code"]["coding"][0]["code"] == "257192006"


# SNOMED CT body structures, as several independent public sources agree.
@pytest.mark.parametrize(
    ("side", "code", "word"),
    [("right", "18944008", "Right"), ("left", "8966001", "Left"), ("both", "40638003", "both")],
)
def test_laterality_code_and_display_agree(side, code, word):
    """The code of an eye travels with its display, and the two say the same eye."""
    concept = eye_concept(side)
    assert concept.code == code and word in concept.display


def test_off_chart_is_words_and_never_a_number():
    """Hand motion goes as text, without a quantity."""
    bundle = validated(fhir_text(cases.refused()), "R5")
    values = [o.get("valueCodeableConcept") for o in resources(bundle, "Observation")]
    assert values == [{"text": "hand motion at 0.5 m"}, {"text": "light perception"}]
    assert not any("valueQuantity" in o for o in resources(bundle, "Observation"))


def test_only_what_was_measured_at_this_visit_is_an_observation():
    """Carried-over values are not sent again as new; neither is anything assumed."""
    bundle = validated(fhir_text(cases.fitted()), "R5")
    assert resources(bundle, "Observation") == []
    first = cases.refused().with_typed("left.refraction", "pl", "confirmed")
    assert len(resources(validated(fhir_text(first), "R5"), "Observation")) == 2


def test_decimals_keep_their_places():
    """2.50 stays 2.50 in the text, and no binary fraction shows."""
    text = fhir_text(cases.bioptic())
    assert '"value": 2.50' in text and '"value": 0.72' in text
    assert (
        dumps({"a": quantised(0.1 + 0.2, "0.01"), "b": [Decimal("-0.00") + 0]})
        == '{\n  "a": 0.30,\n  "b": [\n    0.00\n  ]\n}'
    )
    assert str(quantised(-0.001, "0.01")) == "0.00"


@pytest.mark.parametrize("value", [0.1, float("nan"), {1, 2}, object()])
def test_what_json_does_not_hold_exactly_is_refused(value):
    """A binary float or a foreign object never slips into the text."""
    with pytest.raises(Refusal):
        dumps({"value": value})


GOOD = LensOrdered("right", Decimal("-2.00"), Decimal("-1.00"), 90, None, ((Decimal("2.00"), "in"),))


@pytest.mark.parametrize(
    ("lens", "says"),
    [
        (replace(GOOD, side="both"), "right, left"),
        (replace(GOOD, side="OD"), "right, left"),
        (replace(GOOD, axis=270), "1 to 180"),
        (replace(GOOD, axis=0), "1 to 180"),
        (replace(GOOD, axis=92.5), "1 to 180"),
        (replace(GOOD, axis=None), "exactly when there is a cylinder"),
        (replace(GOOD, cylinder=None), "exactly when there is a cylinder"),
        (replace(GOOD, prism=((Decimal("2.00"), "nasal"),)), "up, down, in, out"),
        (replace(GOOD, prism=((Decimal("2.00"), "IN"),)), "up, down, in, out"),
        (replace(GOOD, prism=((Decimal("0.00"), "in"),)), "an amount over 0"),
    ],
)
def test_our_checks_stand_where_the_schema_is_silent(lens, says):
    """Eyes, bases, axes and prisms that the schema lets pass are refused here, by name."""
    made = exchange_of(cases.bioptic())
    checked(replace(made, lenses=(GOOD,)))
    with pytest.raises(ExchangeRefusal) as caught:
        checked(replace(made, lenses=(lens,)))
    assert says in str(caught.value)


@pytest.mark.parametrize("key", ["observation_status", "prescription_status"])
def test_states_are_those_of_the_standard(key):
    """A state that the standard does not know is refused."""
    with pytest.raises(ExchangeRefusal, match="bogus"):
        checked(replace(exchange_of(cases.bioptic()), **{key: "bogus"}))


@pytest.mark.parametrize("release", RELEASES)
def test_a_prescription_with_prism_is_valid(release):
    """A carrier with prism, cylinder and add passes both releases."""
    made: Exchange = replace(
        exchange_of(cases.bioptic()), lenses=(GOOD, replace(GOOD, side="left", add=Decimal("2.50")))
    )
    bundle = validated(dumps(bundle_of(made, release)), release)
    (prescription,) = resources(bundle, "VisionPrescription")
    assert [lens["eye"] for lens in prescription["lensSpecification"]] == ["right", "left"]
    assert prescription["lensSpecification"][0]["axis"] == 90


@pytest.mark.parametrize("release", RELEASES)
def test_every_reference_leads_to_a_resource_of_its_kind(release):
    """References stay inside the bundle and name the right kind, which the schema does not check."""
    text = fhir_text(cases.bioptic(), release=release)
    bundle = json.loads(text)
    kinds = {entry["fullUrl"]: entry["resource"]["resourceType"] for entry in bundle["entry"]}
    assert len(kinds) == len(bundle["entry"])

    def references(node):
        if isinstance(node, dict):
            if "reference" in node:
                yield node
            for value in node.values():
                yield from references(value)
        elif isinstance(node, list):
            for value in node:
                yield from references(value)

    found = list(references(bundle))
    assert found and all(kinds[each["reference"]] == each["type"] for each in found)


def test_the_same_visit_gives_the_same_text_and_time_only_with_its_zone():
    """Twice the same is the same byte for byte; a time of writing needs a zone."""
    assert fhir_text(cases.bioptic()) == fhir_text(cases.bioptic())
    written = datetime(2026, 11, 24, 15, 0, tzinfo=UTC)
    assert '"timestamp": "2026-11-24T15:00:00+00:00"' in fhir_text(cases.bioptic(), written_at=written)
    with pytest.raises(Refusal, match="zone"):
        fhir_text(cases.bioptic(), written_at=datetime(2026, 11, 24))
    with pytest.raises(Refusal, match="R4B or R5"):
        fhir_text(cases.bioptic(), release="R6")  # type: ignore[arg-type]


@pytest.mark.parametrize("release", RELEASES)
def test_hostile_words_stay_valid_and_harmless(release):
    """Escape sequences and quotes in typed words neither break the text nor survive in it."""
    hostile = '\x1b[2J"},{"x":"<script>\u202e{code}\x00'
    for case in (
        cases.typed(cases.bioptic(), {"trial.device": hostile, "person.examiner": hostile}),
        cases.hostile(cases.bioptic()),
    ):
        text = fhir_text(case, cases.plan_of(case), cases.sheet_of(case), cases.SETTINGS, release=release)
        validated(text, release)
        assert all(c.isprintable() or c == "\n" for c in text)
