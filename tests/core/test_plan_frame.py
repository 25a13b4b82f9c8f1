"""What a measured frame does not hold is refused before it is ranked, in every position, and only through the lens."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from afocal.core.case import Case, new_case
from afocal.core.plan import plan
from afocal.core.settings import Settings
from afocal.core.stock import Stock, Telescope

RADIUS_MM, RIM_MM, CLEARANCE_MM, PUPIL_MM = 9.0, 3.0, 1.5, 3.5
TUBE = Telescope(
    id="tube",
    description="Galilean 2.5x",
    type="galilean",
    magnification=2.5,
    tube_length_mm=28.0,
    objective_diameter_mm=22.0,
    housing_radius_mm=RADIUS_MM,
    positions=("full diameter", "low"),
    mounts=("through the lens", "in front"),
)
STOCK = Stock(telescopes=(TUBE,))
SETTINGS = Settings(assumptions={"rim_mm": RIM_MM, "clearance_mm": CLEARANCE_MM})


def case_of(pupil_height_mm: str, b_size_mm: str = "") -> Case:
    """One usable eye with a goal at distance; the frame as typed."""
    case = new_case("KM-1", date(2026, 11, 20))
    typed = {
        "person.birth_year": "1950",
        "right.distance_acuity": "20/100",
        "left.distance_acuity": "NLP",
        "right.refraction": "pl",
        "right.pupil": f"{PUPIL_MM:g}",
        "face.pupil_height_right": pupil_height_mm,
        "face.b_size": b_size_mm,
    }
    for path, text in typed.items():
        case = case.with_typed(path, text)
    return case.with_goal_typed(0, "task", "television")


def ways(case: Case) -> tuple[set[tuple[str, str]], set[tuple[str, str]]]:
    """Positions and mounts that are offered, and those refused for the frame."""
    found = plan(case, STOCK, SETTINGS)
    offered = {(each.configuration.position, each.configuration.mount) for each in found.options}
    refused = [each for each in found.refused if each.code == "frame too shallow"]
    assert all("would do" in each.reason for each in refused)
    return offered, {(each.configuration.position, each.configuration.mount) for each in refused}


FULL, LOW = ("full diameter", "through the lens"), ("low", "through the lens")
FRONT = {("full diameter", "in front"), ("low", "in front")}
# Straight ahead the housing and the rim go below the pupil; low, the drop of the tube comes on top.
FULL_NEEDS_MM = RADIUS_MM + RIM_MM
LOW_NEEDS_MM = FULL_NEEDS_MM + RADIUS_MM + PUPIL_MM / 2 + CLEARANCE_MM


@pytest.mark.parametrize(
    ("pupil_height_mm", "refused"),
    [
        (FULL_NEEDS_MM - 0.5, {FULL, LOW}),
        (FULL_NEEDS_MM, {LOW}),
        (LOW_NEEDS_MM - 0.5, {LOW}),
        (LOW_NEEDS_MM, set()),
    ],
)
def test_the_depth_below_the_pupil_decides_each_position(pupil_height_mm, refused):
    """Hand-computed limits, one step on each side; in front of the lens no hole is needed."""
    offered, shut = ways(case_of(f"{pupil_height_mm:g}"))
    assert shut == refused
    assert offered == {FULL, LOW} - refused | FRONT


def test_the_height_of_the_lens_decides_above():
    """A pupil that stands high leaves too little lens over a tube straight ahead; the low tube still has its room."""
    offered, shut = ways(case_of(f"{LOW_NEEDS_MM:g}", f"{LOW_NEEDS_MM + FULL_NEEDS_MM - 1:g}"))
    assert shut == {FULL} and offered == {LOW, *FRONT}
    assert ways(case_of(f"{LOW_NEEDS_MM:g}", f"{LOW_NEEDS_MM + FULL_NEEDS_MM:g}"))[1] == set()


def test_an_assumed_frame_refuses_nothing():
    """What was not measured is asked for, not held against a device."""
    assert ways(case_of("")) == ({FULL, LOW} | FRONT, set())


def test_a_pair_is_weighed_as_two_tubes():
    """Comfort and the reason against both count what the nose carries, as the fitting sheet does."""
    heavy = replace(TUBE, weight_g=45.0)
    case = case_of("30").with_typed("left.distance_acuity", "20/100").with_typed("left.refraction", "pl")
    case = case.with_typed("binocular.fusion", "yes").with_typed("face.pd", "62")
    found = plan(case, Stock(telescopes=(heavy,)), SETTINGS)
    one = next(each for each in found.options if each.configuration.eye == "right")
    same = replace(one.configuration, eye="both")
    pair = next(each for each in found.options if each.configuration == same)
    worth = {
        name: next(part.value for part in option.score_parts if part.criterion == "comfort")
        for name, option in (("one", one), ("pair", pair))
    }
    assert worth["pair"] < worth["one"]
    assert any("90 g on the nose with both tubes" in words for words in pair.reasons_against)
    assert not any("on the nose" in words for words in one.reasons_against)
