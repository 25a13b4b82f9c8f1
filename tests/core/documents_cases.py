"""Invented cases, made by code, from which the tests of the documents work. No person, device or place is real."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date, datetime

from afocal.core.case import (
    Addendum,
    Case,
    Caution,
    Finding,
    Signature,
    StepResult,
    TrainingSession,
    new_case,
)
from afocal.core.configuration import Configuration
from afocal.core.entry import Words
from afocal.core.fields import by_path
from afocal.core.fitting.cautions import cautions_for
from afocal.core.fitting.sheet import fitting_sheet
from afocal.core.fitting.types import FittingSheet
from afocal.core.plan import Plan, plan
from afocal.core.settings import Settings
from afocal.core.signing import sign, with_addendum
from afocal.core.stock import Stock, loads_stock

ON = date(2026, 11, 24)
SETTINGS = Settings(clinic="Invented clinic, Lantern Quay")

STOCK_TEXT = """
schema = 1
name = "Invented stock for tests"

[[telescope]]
id = "g25-bioptic"
description = "Galilean 2.5x, 22 mm objective"
type = "galilean"
magnification = 2.5
tube_length_mm = 28
objective_diameter_mm = 22
housing_radius_mm = 9
positions = ["bioptic"]
mounts = ["through the lens"]
corrections = ["carrier"]
weight_g = 24

[[telescope]]
id = "g20-wide"
description = "Galilean 2.0x, wide, 25 mm objective"
type = "galilean"
magnification = 2.0
tube_length_mm = 24
objective_diameter_mm = 25
housing_radius_mm = 14
positions = ["full diameter"]
mounts = ["through the lens", "clip-on"]
corrections = ["carrier", "none"]
spread_highest_mm = 3

[[telescope]]
id = "g25-near"
description = "Galilean 2.5x, 24 mm objective, takes caps"
type = "galilean"
magnification = 2.5
tube_length_mm = 28
objective_diameter_mm = 24
housing_radius_mm = 13
positions = ["full diameter"]
mounts = ["through the lens"]
corrections = ["carrier", "none"]

[[telescope]]
id = "k40-focus"
description = "Keplerian 4.0x, erecting, focusing by hand"
type = "keplerian"
magnification = 4.0
tube_length_mm = 80
objective_diameter_mm = 16
field_stop_mm = 9
focusable = true
shortest_tube_mm = 76
longest_tube_mm = 92
corrections = ["refocused", "carrier"]
positions = ["bioptic", "full diameter"]
mounts = ["through the lens"]
housing_radius_mm = 10
surfaces = 12
surface_reflectance = 0.005
takes_caps = false
in_pairs = false

[[cap]]
id = "cap-225"
description = "cap +2.25"
power_d = 2.25
fits = ["g25-near"]

[[cap]]
id = "cap-400-in"
description = "cap +4.00 with base in"
power_d = 4.0
base_in_prism = 6
fits = ["g20-wide"]
"""


def stock() -> Stock:
    """The invented stock."""
    made, problems = loads_stock(STOCK_TEXT)
    assert not problems, problems
    return made


def typed(case: Case, values: Mapping[str, str]) -> Case:
    """The case with some fields typed."""
    for path, text in values.items():
        case = case.with_typed(path, text)
    return case


def goal(case: Case, values: Mapping[str, str]) -> Case:
    """The case with one more goal."""
    at = len(case.visit.goals)
    for key, text in values.items():
        case = case.with_goal_typed(at, key, text)
    return case


def updated(case: Case, **values: object) -> Case:
    """The case with parts of its visit replaced."""
    return case.with_visit(replace(case.visit, **values))


def chosen(case: Case, **values: object) -> Case:
    """The case with a device chosen."""
    return updated(case, choice=Configuration(**values), choice_reason="asked for it after the trial")  # type: ignore[arg-type]


FACE = {
    "face.pd": "32/32.5",
    "face.vertex_distance": "12",
    "face.ocular_to_cornea": "14",
    "face.pupil_height_right": "21",
    "face.pupil_height_left": "21.5",
    "face.a_size": "52",
    "face.b_size": "48",
    "face.bridge": "18",
    "face.pantoscopic_tilt": "8",
}


def bioptic() -> Case:
    """A street name at 8 m: one eye, bioptic, everything measured."""
    case = typed(
        new_case("TC-101", ON),
        {
            "person.birth_year": "1963",
            "person.examiner": "mk",
            "person.occupation": "retired, walks daily",
            "history.diagnosis": "macular degeneration, dry, both eyes",
            "history.stability": "slowly worse",
            "history.sudden_loss": "no",
            "history.falls": "none",
            "test.chart_distance": "4 m",
            "right.distance_acuity": "0.72 logMAR",
            "left.distance_acuity": "20/250-1",
            "right.near_acuity": "2.0M @ 40",
            "right.refraction": "+2.50 sph",
            "left.refraction": "+2.25 -0.50 x 90",
            "test.refraction_vertex": "12",
            "test.add": "+2.50",
            "test.lenses_worn": "single vision",
            "right.contrast": "1.35",
            "left.contrast": "1.05",
            "right.pupil": "3.0",
            "right.pupil_dim": "5.0",
            "right.sustained_accommodation": "0",
            "binocular.dominance": "right",
            "binocular.fusion": "no",
            **FACE,
            "face.tube_tilt": "13",
            "trial.device": "2.5x bioptic, right",
            "trial.acuity_right": "20/40-1",
            "trial.task": "read two of three street names from the door",
            "plan.next_step": "fitting when the device has come",
            "plan.next_date": "2026-12-08",
        },
    )
    case = goal(
        case,
        {
            "task": "street name sign",
            "distance": "8 m",
            "detail": "20/40",
            "light": "bright",
            "duration": "moments",
        },
    )
    case = updated(
        case, notes="Wants to go to the market on his own again.\nAfraid of the stairs at the quay."
    )
    return chosen(case, telescope="g25-bioptic", eye="right", position="bioptic", mount="through the lens")


def two_tubes() -> Case:
    """Subtitles at 2.4 m, seated: two tubes, full diameter."""
    case = typed(
        new_case("TC-102", ON),
        {
            "person.birth_year": "1992",
            "history.diagnosis": "inherited macular dystrophy",
            "right.distance_acuity": "20/63-2",
            "left.distance_acuity": "20/80+1",
            "right.refraction": "-0.50 -0.75 x 180",
            "left.refraction": "pl",
            "test.room_luminance": "40",
            "binocular.fusion": "yes",
            "binocular.base_out_distance": "9/19/10",
            **FACE,
            "face.pd": "31/31",
        },
    )
    case = goal(
        case,
        {"task": "television", "distance": "2.4 m", "detail": "20/40", "duration": "long", "eyes": "two"},
    )
    return chosen(
        case,
        telescope="g20-wide",
        eye="both",
        position="full diameter",
        mount="through the lens",
        spread_mm=1.5,
    )


def with_cap() -> Case:
    """Sheet music on a stand: left eye, a cap."""
    case = typed(
        new_case("TC-103", ON),
        {
            "person.birth_year": "1969",
            "right.distance_acuity": "CF 2 ft",
            "left.distance_acuity": "6/30",
            "left.near_acuity": "2.0M @ 40",
            "left.refraction": "-1.00 sph",
            "right.refraction": "-1.00 sph",
            "left.contrast": "1.2",
            "left.pupil": "3.5",
            "left.sustained_accommodation": "0",
            "binocular.fusion": "no",
            "test.glare": "some",
            **FACE,
            "face.pd": "33/33",
            "face.reach": "30 cm",
        },
    )
    case = goal(
        case,
        {
            "task": "sheet music on a stand",
            "distance": "45 cm",
            "detail": "1.25M",
            "reserve": "1.3",
            "contrast": "0.9",
        },
    )
    return chosen(
        case,
        telescope="g25-near",
        eye="left",
        position="full diameter",
        mount="through the lens",
        cap="cap-225",
        correction="none",
    )


def focusing() -> Case:
    """A classroom board at 5 m: a Keplerian refocused for the uncorrected myope."""
    case = typed(
        new_case("TC-105", ON),
        {
            "person.birth_year": "2004",
            "left.distance_acuity": "0.96 logMAR",
            "right.distance_acuity": "1.30 logMAR",
            "left.refraction": "-7.00 sph",
            "right.refraction": "-6.50 sph",
            "test.refraction_vertex": "12",
            "left.pupil": "3.2",
            "left.pupil_dim": "5.5",
            **FACE,
        },
    )
    case = goal(case, {"task": "classroom board", "distance": "5 m", "detail": "0.4 logMAR", "light": "room"})
    return chosen(
        case,
        telescope="k40-focus",
        eye="left",
        position="full diameter",
        mount="through the lens",
        correction="refocused",
    )


def refused() -> Case:
    """Hand motion and light perception: no telescope, said why."""
    case = typed(
        new_case("TC-106", ON),
        {
            "person.birth_year": "1957",
            "right.distance_acuity": "HM at 50 cm",
            "left.distance_acuity": "LP",
            "history.hallucinations": "yes",
        },
    )
    return goal(case, {"task": "television", "distance": "2 m", "detail": "20/40"})


def fitted() -> Case:
    """The bioptic at its fitting visit: steps, cautions, training, signature, addendum."""
    case = bioptic().with_new_visit(date(2026, 12, 8), "fitting")
    case = typed(case, {"person.examiner": "mk", "face.ocular_to_cornea": "13.5"})
    given = {
        text.key: Caution(given=True, understood=text.key != "weight", at=datetime(2026, 12, 8, 14, 20))
        for text in cautions_for(case)
    }
    case = updated(
        case,
        cautions=given,
        training=(
            TrainingSession(
                on=date(2026, 12, 8), stage="localise", minutes=15, result="in view within two seconds"
            ),
        ),
        steps={
            "fit.tilt.right": StepResult(measured="21", by="mk", at=datetime(2026, 12, 8, 14, 0)),
            "fit.stays": StepResult(measured="yes", by="ro", at=datetime(2026, 12, 7, 14, 0)),
        },
    )
    case = sign(case, "mk", datetime(2026, 12, 8, 15, 0))
    return with_addendum(
        case, "Called: the strap was missing, sent today.", "mk", datetime(2026, 12, 9, 9, 0)
    )


ALL = {
    "bioptic": bioptic,
    "two-tubes": two_tubes,
    "with-cap": with_cap,
    "focusing": focusing,
    "refused": refused,
    "fitted": fitted,
}


def plan_of(case: Case) -> Plan:
    """The plan with the invented stock."""
    return plan(case, stock(), SETTINGS)


def sheet_of(case: Case) -> FittingSheet | None:
    """The fitting sheet, None while nothing is chosen."""
    return None if case.visit.choice is None else fitting_sheet(case, stock(), SETTINGS)


HOSTILE = '=1+1<script>alert(1)</script>"><img src=x onerror=1>&amp;{made_by}\x1b[2J\x1b]0;t\x07\u202e\x00\x85\u2028ASSESSMENT'


def hostile(case: Case, text: str = HOSTILE) -> Case:
    """The case with hostile words in every field that takes words, past every reader, as a file by hand could hold them."""
    words = Finding(typed=text, value=text)
    found = dict(case.visit.findings)
    for path, field in by_path().items():
        if isinstance(field.kind, Words):
            found[path] = words
        elif path.endswith("colour") or path == "left.reading_curve":
            found[path] = Finding(typed=text, problem=text)
    goals = tuple(replace(each, findings={**each.findings, "task": words}) for each in case.visit.goals)
    at = datetime(2026, 12, 8, 14, 0)
    return updated(
        case,
        findings=found,
        goals=goals,
        notes=text,
        choice_reason=text,
        steps={"fit.tilt.right": StepResult(measured=text, note=text, by=text, at=at)},
        training=(TrainingSession(on=ON, stage=text, minutes=5, result=text),),
        signature=Signature(signer=text, at=at, digest=text),
        addenda=(Addendum(at=at, by=text, text=text),),
    )
