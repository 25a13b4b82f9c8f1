"""Every direction of the search for causes, worked out by hand: in and out, up and down, right and left eye, plus and minus.

The numbers beside each case follow from small-angle geometry alone: a tilt t of an erect tube moves the picture against
it by (M - 1) t; a lens decentred by c cm deviates by c F prism dioptres (Prentice's rule, textbook, from memory); one
prism dioptre is 1 cm at 1 m; a Galilean shifted by s shows a field shifted by s/(t + M d) (Katz M, Optom Vis Sci
2007;84(6): the objective seen from the eye is the window of the field).
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from math import degrees, radians, tan

import pytest

from afocal.core.case import Case, new_case
from afocal.core.configuration import Configuration
from afocal.core.faults import Diagnosis, Findings, diagnose_case, findings_of, predict
from afocal.core.faults.of_case import as_recorded
from afocal.core.fitting.progress import with_result
from afocal.core.fitting.sheet import fitting_sheet
from afocal.core.fitting.types import FittingSheet
from afocal.core.plan import read_case
from afocal.core.settings import Settings
from afocal.core.stock import Cap, Stock, Telescope

SETTINGS = Settings()
STOCK = Stock(
    telescopes=(
        Telescope(id="wide", description="Galilean 2.0x", type="galilean", magnification=2.0, tube_length_mm=24,
                  objective_diameter_mm=25, housing_radius_mm=14, positions=("full diameter", "low"),
                  spread_highest_mm=3),
        Telescope(id="high", description="Galilean 2.5x", type="galilean", magnification=2.5, tube_length_mm=28,
                  objective_diameter_mm=22, housing_radius_mm=9, positions=("bioptic",)),
    ),
    caps=(
        Cap(id="four", description="cap +4 base-in", power_d=4.0, base_in_prism=11.0),
        Cap(id="plain", description="cap +4", power_d=4.0),
    ),
)  # fmt: skip
PAIR = Configuration("wide", "both", "full diameter", "through the lens", cap="four")


def one(eye: str, position: str = "bioptic") -> Configuration:
    """One tube before one eye."""
    telescope = "high" if position == "bioptic" else "wide"
    return Configuration(telescope, eye, position, "through the lens")  # type: ignore[arg-type]


def case_of(choice: Configuration, **typed: str) -> Case:
    """Two alike eyes of 76 years without accommodation, 15 mm from ocular to pupil, and a choice."""
    given = {
        "right__distance_acuity": "0.54 logMAR", "left__distance_acuity": "0.56 logMAR", "right__pupil": "3.5",
        "left__pupil": "3.5", "face__ocular_to_cornea": "12", "face__pd": "31/31", "binocular__fusion": "yes",
        "right__refraction": "pl", "left__refraction": "pl", "person__birth_year": "1950", "face__b_size": "50",
        "face__pupil_height_right": "22", "face__pupil_height_left": "22", "test__refraction_vertex": "12",
    } | typed  # fmt: skip
    case = new_case("TEST-4", date(2026, 11, 25))
    for path, text in given.items():
        case = case.with_typed(path.replace("__", ".", 1), text)
    return case.with_visit(replace(case.visit, choice=choice))


def typed(choice: Configuration, steps: dict[str, str], **record: str) -> tuple[Findings, Diagnosis]:
    """What is made of texts typed at steps of the sheet."""
    case = case_of(choice, **record)
    sheet = fitting_sheet(case, STOCK, SETTINGS)
    for key, text in steps.items():
        case = with_result(case, _step(sheet, key), text)
    diagnosis = diagnose_case(case, sheet, STOCK, SETTINGS)
    assert diagnosis is not None
    return findings_of(case, sheet), diagnosis


def _step(sheet: FittingSheet, key: str):
    step = sheet.step(key)
    assert step is not None, key
    return step


def expected(choice: Configuration, fault: str, size: float, eye: str = "", **record: str) -> Findings:
    """What the forward model would have measured."""
    context, _ = read_case(case_of(choice, **record), SETTINGS)
    return predict(fault, size, as_recorded(context, STOCK, choice), context.person, SETTINGS, eye)


# 2.0x, tilt 32' between the tubes: (2 - 1) x 32' = 32', 100 tan 32' = 0.93 prism D. The right tube up: an object straight
# ahead lies below its axis and is seen twice as far below, so the right picture stands low; base down lifts it: plus.
TILT_PRISM = 100 * tan(radians(32 / 60))
# Toed out by 32' in all: each picture moves 16' towards the nose, the eyes must converge by 32', base-in joins: plus.
TOE_PRISM = 2 * 100 * tan(radians(16 / 60))


@pytest.mark.parametrize("way", [1, -1])
def test_a_tilt_up_lowers_the_picture_and_base_down_joins_it(way: int) -> None:
    """Right tube up 32' at 2.0x: +0.93 prism D, base down before the right eye; down: minus."""
    assert expected(PAIR, "tilt_vertical", way * 32).vertical_far_prism == pytest.approx(
        way * TILT_PRISM, abs=0.005
    )
    _, found = typed(PAIR, {"fit.vertical": f"{way * TILT_PRISM:+.2f}", "search.own_vertical": "0"})
    first = found.first
    assert first is not None and first.fault == "tilt_vertical"
    assert first.size == pytest.approx(way * 32, abs=7)
    assert ("right tube up" if way > 0 else "right tube down") in first.size_words


@pytest.mark.parametrize("way", [1, -1])
def test_toeing_out_asks_for_convergence_and_base_in_joins_it(way: int) -> None:
    """Toed out 32' in all at 2.0x: +0.93 prism D of convergence; toed in: minus."""
    assert expected(PAIR, "tilt_horizontal", way * 32).horizontal_far_prism == pytest.approx(
        way * TOE_PRISM, abs=0.005
    )
    _, found = typed(
        PAIR,
        {
            "fit.horizontal": f"{way * 1.75:+.2f}",
            "search.own_horizontal": "0",
            "verify.tilt_horizontal": f"{way * 60}",
        },
    )
    first = found.first
    assert first is not None and first.fault == "tilt_horizontal"
    # 1.75 prism D are 60' at the eye, and at 2.0x so many between the tubes.
    assert first.size == pytest.approx(way * 60, abs=7)
    assert ("toed out" if way > 0 else "toed in") in first.size_words


@pytest.mark.parametrize("way", [1, -1])
def test_the_higher_tube_shows_the_page_lower(way: int) -> None:
    """Right tube and cap 2 mm higher, 2.0x with +4: 2 x 4 x 0.2 = 1.6 prism D base down right at the page, none far."""
    at_near = expected(PAIR, "height_mismatch", way * 2.0)
    assert at_near.vertical_near_prism == pytest.approx(way * 1.6, abs=0.01)
    assert at_near.vertical_far_prism == pytest.approx(0.0, abs=1e-9)
    # The heights of the tubes part it from caps of unequal power, which lift a picture where the gaze is lowered.
    steps = {"fit.vertical": "0", "search.near_vertical": f"{way * 1.6:+.1f}", "search.own_vertical": "0",
             "fit.height.right": f"{way}", "fit.height.left": f"{-way}"}  # fmt: skip
    findings, found = typed(PAIR, steps)
    assert findings.height_off_mm == {"right": way, "left": -way}
    first = found.first
    assert first is not None and first.fault == "height_mismatch"
    assert first.size == pytest.approx(way * 2.0, abs=0.5)
    assert ("right higher" if way > 0 else "left higher") in first.size_words


@pytest.mark.parametrize("eye", ["right", "left"])
@pytest.mark.parametrize("way", [1, -1])
def test_the_stronger_cap_shows_a_lowered_page_lower(eye: str, way: int) -> None:
    """One cap 1 D stronger, gaze 3 mm down, 2.0x: 2 x 1 x 0.3 = 0.6 prism D, base down before the stronger side."""
    side = 1 if eye == "right" else -1
    seen = expected(PAIR, "cap_unequal", float(way), eye)
    assert seen.vertical_near_prism == pytest.approx(way * side * 0.6, abs=0.01)
    assert seen.cap_power_d[eye] == pytest.approx(4.0 + way)
    _, found = typed(PAIR, {f"verify.cap.{eye}": f"{4 + way:+.2f}", f"verify.cap.{_other(eye)}": "+4.00"})
    first = found.first
    assert first is not None and (first.fault, first.eye) == ("cap_unequal", eye)
    assert first.size == pytest.approx(way, abs=0.25)


def _other(eye: str) -> str:
    return "left" if eye == "right" else "right"


@pytest.mark.parametrize("way", [1, -1])
def test_spreading_capped_tubes_asks_for_more_convergence(way: int) -> None:
    """Parallel capped tubes 62 mm apart ask 2 x 4 x 6.2 = 49.6 less 2 x 2 x 11 = 44: 5.6; each mm of both adds 1.6."""
    assert expected(PAIR, "nothing", 1).horizontal_near_prism == pytest.approx(5.6, abs=0.01)
    assert expected(PAIR, "spread", way * 2.0).horizontal_near_prism == pytest.approx(
        5.6 + way * 3.2, abs=0.01
    )
    # Base out instead of base in: 49.6 + 44.
    assert expected(PAIR, "cap_reversed", 1).horizontal_near_prism == pytest.approx(93.6, abs=0.01)
    findings, found = typed(
        PAIR, {"fit.spread": f"{way * 2} mm", "search.near_horizontal": f"{5.6 + way * 3.2:+.1f}"}
    )
    assert findings.spread_off_mm == pytest.approx(way * 2.0)
    first = found.first
    assert first is not None and first.fault == "spread"
    assert first.size == pytest.approx(way * 2.0, abs=0.5)
    assert ("outwards" if way > 0 else "inwards") in first.size_words


@pytest.mark.parametrize("eye", ["right", "left"])
@pytest.mark.parametrize("way", [1, -1])
def test_a_tube_too_far_out_shows_its_field_on_that_side(eye: str, way: int) -> None:
    """2.5x, t 28, d 15, 2 mm outwards: 2/(28 + 37.5) rad = 1.75 deg to the person's right before the right eye."""
    shift = way * (1 if eye == "right" else -1) * degrees(2 / (28 + 2.5 * 15))
    choice = one(eye)
    seen = expected(choice, "decentration", way * 2.0, eye)
    assert seen.field_shift_right_deg == pytest.approx(shift, abs=0.03)
    assert seen.field_shift_up_deg == pytest.approx(0.0, abs=1e-6)
    half = (seen.field_deg or 0.0) / 2
    steps = {"search.field_right": f"{half + shift:.2f}", "search.field_left": f"{half - shift:.2f}",
             f"fit.lateral.{eye}": f"{31 + 2 * way}", "performance.light": "one side dark"}  # fmt: skip
    findings, found = typed(choice, steps)
    assert findings.lateral_off_mm[eye] == pytest.approx(2.0 * way)
    assert findings.field_shift_right_deg == pytest.approx(shift, abs=0.01)
    first = found.first
    assert first is not None and (first.fault, first.eye) == ("decentration", eye)
    assert first.size == pytest.approx(2.0 * way, abs=0.6)


@pytest.mark.parametrize(("position", "eye"), [("bioptic", "right"), ("bioptic", "left"), ("low", "right")])
@pytest.mark.parametrize("way", [1, -1])
def test_a_tube_too_high_shows_its_field_higher(position: str, eye: str, way: int) -> None:
    """Two millimetres up: the gap over the pupil grows by 2 above it and shrinks by 2 below it; the field goes up."""
    choice = one(eye, position)
    power, length = (2.5, 28.0) if position == "bioptic" else (2.0, 24.0)
    shift = way * degrees(2 / (length + power * 15))
    assert expected(choice, "tube_height", way * 2.0, eye).field_shift_up_deg == pytest.approx(
        shift, abs=0.05
    )
    sheet = fitting_sheet(case_of(choice), STOCK, SETTINGS)
    gap = _step(sheet, f"fit.height.{eye}").target_value
    assert gap is not None
    off = 2.0 * way if position == "bioptic" else -2.0 * way
    findings, found = typed(
        choice,
        {f"fit.height.{eye}": f"{gap + off:.2f}", "search.field_up": f"{6 + shift:.2f}",
         "search.field_down": f"{6 - shift:.2f}"},
    )  # fmt: skip
    assert findings.height_off_mm[eye] == pytest.approx(2.0 * way, abs=0.01)
    assert findings.field_shift_up_deg == pytest.approx(shift, abs=0.01)
    first = found.first
    assert first is not None and first.fault == "tube_height"
    assert first.size == pytest.approx(2.0 * way, abs=0.6)
    assert ("too high" if way > 0 else "too low") in first.size_words


@pytest.mark.parametrize("eye", ["right", "left"])
@pytest.mark.parametrize("way", [1, -1])
def test_a_sphere_is_found_behind_the_ocular_with_its_own_sign(eye: str, way: int) -> None:
    """A carrier of 1 D too little plus leaves +1 D, found as +1.00 behind the ocular; the tube alone reads 0."""
    choice = one(eye)
    ordered, given = ("+3.00", f"{3 - way:+.2f}")
    record = {f"{eye}__refraction": ordered}
    findings, found = typed(
        choice,
        {
            f"fit.focus.{eye}": f"{way:+.2f}",
            f"verify.focus.{eye}": "0",
            f"verify.carrier.{eye}": f"{given} sph",
        },
        **record,
    )
    assert findings.carrier_sphere_left_d[eye] == pytest.approx(way)
    first = found.first
    assert first is not None and (first.fault, first.eye) == ("sphere", eye)
    assert first.size == pytest.approx(way, abs=0.3)


@pytest.mark.parametrize("eye", ["right", "left"])
@pytest.mark.parametrize("way", [1, -1])
def test_a_tube_too_long_converges_and_wants_minus(eye: str, way: int) -> None:
    """A tube that converges by 1 D reads +1 on the lensometer, and -1.00 behind it is best; too short: the reverse."""
    choice = one(eye)
    _, found = typed(choice, {f"fit.focus.{eye}": f"{-way:+.2f}", f"verify.focus.{eye}": f"{way:+.2f}"})
    first = found.first
    assert first is not None and (first.fault, first.eye) == ("focus", eye)
    assert first.size == pytest.approx(way, abs=0.3)
    assert ("too long" if way > 0 else "too short") in first.size_words


def test_own_deviation_stays_with_the_person() -> None:
    """What is there without the device and not added by it is the person's; added and not there without it, the tubes'."""
    for own, added, fault in (("2.0", "0", "own_deviation"), ("0", "1.40", "tilt_vertical")):
        steps = {"search.own_vertical": own, "fit.vertical": added, "performance.double": "double"}
        _, found = typed(PAIR, steps)
        assert found.first is not None and found.first.fault == fault
    for own, added, bench, fault in (
        ("9.0", "0", "0", "own_deviation_sideways"),
        ("0", "1.75", "60", "tilt_horizontal"),
    ):
        steps = {"search.own_horizontal": own, "fit.horizontal": added, "verify.tilt_horizontal": bench}
        _, found = typed(PAIR, steps)
        assert found.first is not None and found.first.fault == fault


def test_own_deviation_remains_possible_until_it_is_measured() -> None:
    """Nothing added at a far light and still double: the person's own deviation is not ruled out by that."""
    _, found = typed(PAIR, {"fit.vertical": "0", "fit.horizontal": "0", "performance.double": "double"})
    own = [cause for cause in found.causes if cause.fault.startswith("own_deviation")]
    tilts = [cause for cause in found.causes if cause.fault.startswith("tilt_")]
    assert min(cause.probability for cause in own) > max(cause.probability for cause in tilts)


def test_convergence_is_blamed_only_where_the_caps_ask_for_it() -> None:
    """Double at near: 49.6 prism D with plain caps, twice the ordinary 20 (6.2 cm at 0.30 m) and more; 5.6 with base-in.

    Caps that ask less than the page does by itself make nobody double, so that caps put on reversed come first.
    """
    steps = {
        "fit.near_single": "double",
        "fit.vertical": "0",
        "fit.horizontal": "0",
        "performance.double": "single",
    }
    plain = Configuration("wide", "both", "full diameter", "through the lens", cap="plain")
    _, found = typed(plain, steps)
    assert found.first is not None and found.first.fault == "near_convergence"
    _, found = typed(PAIR, steps)
    assert found.first is not None and found.first.fault == "cap_reversed"
    assert all(cause.fault != "near_convergence" for cause in found.causes[:3])
