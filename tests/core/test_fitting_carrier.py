"""The carrier lens of a device and the centre of its caps: one answer for order, fitting sheet and exchange file."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import documents_cases as cases
import pytest
from hypothesis import given
from hypothesis import strategies as st

from afocal.core.case_file import loads_case
from afocal.core.configuration import Configuration
from afocal.core.documents.exchange import exchange_of
from afocal.core.documents.numbers import device_numbers
from afocal.core.documents.options import chosen_option
from afocal.core.documents.order import carrier_obstacles, obstacles, order
from afocal.core.fitting.cap_centre import cap_centres
from afocal.core.fitting.carrier import (
    LEAST_CHANGE_D,
    STRONG_LENS_D,
    at_vertex,
    carrier_lenses,
    carrier_question,
    looks_through_near_part,
)
from afocal.core.fitting.sheet import fitting_sheet
from afocal.core.fitting.types import Lens
from afocal.core.person import person_of
from afocal.core.plan import plan
from afocal.core.refraction import Refraction
from afocal.core.stock import loads_stock

DEMO = Path(cases.__file__).parents[2] / "core" / "data" / "demo"


def demo_stock():
    """The practice stock."""
    return loads_stock((DEMO / "stock.toml").read_text("utf-8"))[0]


def music(**choice: str):
    """The practice case of the sheet music, face and frame measured, with a device chosen."""
    path = DEMO / "cases" / "LQ-103.toml"
    case = loads_case(path.read_text("utf-8"), path)
    case = cases.typed(case, {"face.pupil_height_right": "20", "test.refraction_vertex": "12"})
    return cases.chosen(
        case, **{"telescope": "wide-2.5", "eye": "left", "position": "full diameter", **choice}
    )


def moved(power: float, from_mm: float, to_mm: float) -> float:
    """By the far point, which stays where it is: 1000/F from the lens, so nearer or farther by what the lens moved."""
    return 1000.0 / (1000.0 / power - from_mm + to_mm)


@given(
    sphere=st.floats(-20, 12).filter(lambda power: abs(power) > 0.2),
    cylinder=st.sampled_from([-4.0, -1.25, 0.75, 2.5]),
    from_mm=st.floats(8, 20),
    to_mm=st.floats(8, 20),
)
def test_both_meridians_keep_their_far_points(sphere, cylinder, from_mm, to_mm):
    """A lens carried to another vertex distance has each far point where it was; going back gives the lens again."""
    lens = Refraction(sphere, cylinder, 35)
    carried = at_vertex(lens, from_mm, to_mm)
    assert carried.axis_deg == 35
    assert carried.sphere_d == pytest.approx(moved(sphere, from_mm, to_mm), rel=1e-9)
    if abs(sphere + cylinder) > 0.2:
        second = moved(sphere + cylinder, from_mm, to_mm)
        assert carried.sphere_d + carried.cylinder_d == pytest.approx(second, rel=1e-9)
    back = at_vertex(carried, to_mm, from_mm)
    assert back.sphere_d == pytest.approx(sphere, rel=1e-9) and back.cylinder_d == pytest.approx(
        cylinder, abs=1e-8
    )


def two_vertices(refraction: str, found: str, worn: str):
    """The left carrier lens of a device for a refraction found at one distance and worn at another."""
    case = music(mount="in front", correction="carrier", cap="cap+2.25")
    typed = {"left.refraction": refraction, "test.refraction_vertex": found, "face.vertex_distance": worn}
    case = cases.typed(case, typed)
    return carrier_lenses(person_of(case, cases.SETTINGS), case.visit.choice)[1]


@pytest.mark.parametrize(
    ("refraction", "found", "worn", "made"),
    [
        # By the far point: -10.00 at 12 mm is -10.20 at 14 mm, -11.00 is -11.25; quarter dioptres.
        ("-10.00 -1.00 x 90", "12", "14", "-10.25 -1.00 x 90"),
        # +12.00 at 12 mm is +12.61 at 8 mm and +11.45 at 16 mm: a plus lens nearer the eye must be stronger.
        ("+12.00 sph", "12", "8", "+12.50 sph"),
        ("+12.00 sph", "12", "16", "+11.50 sph"),
        # +6.00 -4.00: +5.86 and +1.98 at 16 mm.
        ("+6.00 -4.00 x 10", "12", "16", "+5.75 -3.75 x 10"),
        # Under half a step nothing changes.
        ("-3.75 -0.25 x 5", "12", "16", "-3.75 -0.25 x 5"),
        ("-8.00 sph", "12", "13", "-8.00 sph"),
        ("pl", "12", "20", "pl"),
    ],
)
def test_the_lens_to_make_at_the_carriers_vertex(refraction, found, worn, made):
    """What changes by half a step of 0.25 D or more is made for the carrier's distance, the rest as found."""
    assert str(two_vertices(refraction, found, worn).lens) == made


def test_an_unmeasured_vertex_changes_nothing_and_need_not_be_known_under_four_dioptres():
    """Within 8 mm of vertex no lens under 4 D changes by half a step; over it the order asks for the vertex."""
    lens = two_vertices("-9.00 sph", "", "16")
    assert lens.lens == Refraction(-9.0) and lens.found_at_mm is None
    just_under, at_it = STRONG_LENS_D - 0.25, STRONG_LENS_D
    assert abs(moved(-just_under, 12, 20) + just_under) < LEAST_CHANGE_D
    assert abs(moved(-at_it, 12, 20) + at_it) >= LEAST_CHANGE_D


FRONT = ("in front", "flip-up", "clip-on")


@pytest.mark.parametrize("mount", FRONT)
def test_a_choice_before_the_carrier_without_correction_is_refused_by_name(mount):
    """A choice kept from elsewhere that leaves the lens behind the tube out is not ordered, and nothing is made of it."""
    telescope = "wide-2.0" if mount == "clip-on" else "wide-2.5"
    case = music(telescope=telescope, mount=mount, correction="none", cap="cap+2.25")
    stock = demo_stock()
    made, sheet = plan(case, stock, cases.SETTINGS), fitting_sheet(case, stock, cases.SETTINGS)
    sentences = [each.sentence for each in obstacles(case, made, cases.SETTINGS)]
    assert any("the correction: it cannot be left out" in words for words in sentences)
    question = carrier_question(person_of(case, cases.SETTINGS), case.visit.choice, "left")
    step = next(step for step in sheet if step.key == "verify.carrier.left")
    assert isinstance(step.accept, Lens) and step.accept.sphere_d == 0.0 and step.target == "pl"
    assert question in step.do and "needs -1.00 sph" in question
    exchange = exchange_of(case, made, sheet, cases.SETTINGS)
    assert exchange.lenses == () and exchange.prescription_status == "draft"


@pytest.mark.parametrize("mount", ["through the lens", *FRONT[:2]])
def test_order_check_and_exchange_hold_the_same_carrier(mount):
    """With the correction in the carrier, or beside a tube through the lens, all three hold the same two lenses."""
    for correction in ("carrier", "ocular") if mount == "through the lens" else ("carrier",):
        case = music(mount=mount, correction=correction, cap="cap+2.25")
        typed = {
            "left.refraction": "-9.00 -2.00 x 30",
            "test.refraction_vertex": "12",
            "face.vertex_distance": "15",
        }
        case = cases.typed(case, typed)
        stock = demo_stock()
        made, sheet = plan(case, stock, cases.SETTINGS), fitting_sheet(case, stock, cases.SETTINGS)
        lenses = {each.side: each for each in exchange_of(case, made, sheet, cases.SETTINGS).lenses}
        text = " ".join(order(case, made, sheet, cases.SETTINGS).text().split())
        for side in ("right", "left"):
            step = next(step for step in sheet if step.key == f"verify.carrier.{side}")
            assert f"{side.capitalize()}: {step.target}" in text
            lens = lenses[side]
            assert (float(lens.sphere), float(lens.cylinder or 0)) == (
                step.accept.sphere_d,
                step.accept.cylinder_d,
            )
        # Far points: -9.00 is -9.25 at 15 mm, -11.00 is -11.38.
        assert "-9.25 -2.25 x 30" in text and "-9.00 -2.00 x 30 as found" in text
        assert "refraction 12.0 mm, carrier 15.0 mm" in text


def test_an_eye_without_refraction_raises_no_question():
    """Under the limits of the plan a lens is not worth one, and nothing is asked."""
    case = cases.typed(music(mount="in front", correction="none", cap="cap+2.25"), {"left.refraction": "pl"})
    assert carrier_question(person_of(case, cases.SETTINGS), case.visit.choice, "left") == ""
    assert carrier_question(person_of(case, cases.SETTINGS), case.visit.choice, "right") == ""


def test_the_add_goes_with_the_lens_form():
    """A lens that holds an add needs its form, its add and its segment height; a single vision lens holds none."""
    case = music(mount="through the lens", correction="carrier", cap="cap+2.25")
    stock = demo_stock()

    def against(**typed: str):
        other = cases.typed(
            case, {"test.add": "+2.50", **{k.replace("__", "."): v for k, v in typed.items()}}
        )
        made = plan(other, stock, cases.SETTINGS)
        option = chosen_option(made, other.visit.choice, cases.SETTINGS)
        return {each.path for each in carrier_obstacles(option, made)}, exchange_of(
            other, made, None, cases.SETTINGS
        )

    assert against(test__lenses_worn="")[0] == {"face.lens_form"}
    assert against(test__lenses_worn="", face__lens_form="bifocal")[0] == {"face.segment_height"}
    assert against(test__lenses_worn="bifocal", test__add="")[0] == {"test.add", "face.segment_height"}
    found, exchange = against(test__lenses_worn="bifocal", face__segment_height="6")
    assert not found and {str(lens.add) for lens in exchange.lenses} == {"2.50"}
    for form in ({"test__lenses_worn": "single vision"}, {"face__lens_form": "single vision"}):
        found, exchange = against(**{"test__lenses_worn": "bifocal", **form})
        assert not found and {lens.add for lens in exchange.lenses} == {None}


@pytest.mark.parametrize(
    ("position", "telescope", "form", "segment", "through"),
    [
        # The pupil 20 mm above the rim. By a ray from the pupil to the rim of the apparent field of 21 degrees, 16 mm
        # behind the lens: 3 mm, and half the pupil; the 5 mm of common practice ask for more.
        ("full diameter", "wide-2.5", "bifocal", "14.9", False),
        ("full diameter", "wide-2.5", "bifocal", "15.1", True),
        # An apparent field of 35 degrees takes up 5 mm and half the pupil.
        ("full diameter", "wide-1.6", "bifocal", "13", False),
        ("full diameter", "wide-1.6", "bifocal", "14.5", True),
        ("full diameter", "wide-2.5", "bifocal", "", True),
        ("full diameter", "wide-2.5", "progressive", "6", True),
        ("low", "wide-2.5", "bifocal", "6", True),
        ("bioptic", "small-2.5", "progressive", "", False),
    ],
)
def test_no_tube_is_looked_through_a_near_part(position, telescope, form, segment, through):
    """What was computed with the far lens is not made with a segment or corridor behind it."""
    mount = "flip-up" if position == "bioptic" else "in front"
    case = music(position=position, telescope=telescope, mount=mount, correction="carrier")
    typed = {"face.lens_form": form, "face.segment_height": segment, "test.add": "+2.50", "face.b_size": "55"}
    case = cases.typed(case, typed)
    made = plan(case, demo_stock(), cases.SETTINGS)
    option = chosen_option(made, case.visit.choice, cases.SETTINGS)
    eye = option.device.leading
    assert looks_through_near_part(made.person, case.visit.choice, eye) is through
    assert any("near part" in each.sentence for each in carrier_obstacles(option, made)) is (
        through and segment != ""
    )
    beside = replace(case.visit.choice, mount="through the lens", correction="ocular")
    assert not looks_through_near_part(made.person, beside, eye)


def test_a_clip_over_bifocals_asks_where_their_near_part_begins():
    """The person's own lenses count under a clip, whatever form is ordered otherwise."""
    case = music(telescope="wide-2.0", mount="clip-on", correction="carrier", cap="cap+2.25")
    case = cases.typed(case, {"test.lenses_worn": "bifocal", "face.lens_form": "single vision"})
    stock = demo_stock()
    (one,) = obstacles(case, plan(case, stock, cases.SETTINGS), cases.SETTINGS)
    assert one.path == "face.segment_height" and "the bifocal lenses that it clips to" in one.sentence
    case = case.with_typed("face.segment_height", "12")
    assert obstacles(case, plan(case, stock, cases.SETTINGS), cases.SETTINGS) == ()


def traced_demand(magnification: float, power_d: float, apart_mm: float, inward_mm: float) -> float:
    """By a ray: from the midline at the cap's focus to the tube's axis, bent by a lens centred towards the nose.

    Both eyes, prism dioptres: the slope that enters each afocal tube, times its power.
    """
    axis, focus = apart_mm / 2, 1000.0 / power_d
    slope = axis / focus - (axis - (axis - inward_mm)) * power_d / 1000.0
    return 2 * 100.0 * magnification * slope


def pair_with_caps(cap: str, spread: float):
    """Two tubes with caps and their plan and sheet."""
    case = cases.typed(cases.two_tubes(), {"face.reach": "20 cm", "binocular.base_out_near": "17/21/11"})
    choice = Configuration(
        telescope="g20-wide",
        eye="both",
        position="full diameter",
        mount="through the lens",
        cap=cap,
        spread_mm=spread,
    )
    case = cases.updated(case, choice=choice)
    return case, cases.plan_of(case), cases.sheet_of(case)


@pytest.mark.parametrize("spread", [0.0, 1.5])
def test_the_caps_of_parallel_tubes_stay_on_the_tubes(spread):
    """Order and fitting sheet centre the caps on the tubes; base-in is an optical centre moved in by P/F, and acts so."""
    case, made, sheet = pair_with_caps("cap-400-in", spread)
    person = person_of(case, cases.SETTINGS)
    cap = cases.stock().cap("cap-400-in")
    centres = cap_centres(person, case.visit.choice, cap)
    # 6 prism dioptres by +4.00 D: 15 mm (Prentice's rule).
    assert [(c.tube_mm, c.inward_mm, c.optical_mm) for c in centres] == [(31 + spread, 15.0, 16 + spread)] * 2
    text = " ".join(order(case, made, sheet, cases.SETTINGS).text().split())
    halves = f"right {31 + spread:.1f} mm, left {31 + spread:.1f} mm from the middle of the bridge"
    assert (
        f"Cap centre, on the axis of the tube: {halves}; the tubes stay parallel, not at the near PD" in text
    )
    assert "Prism: 6.00 prism D base in (towards the nose), each, measured at the cap centre" in text
    assert "Optical centre: 15.0 mm from the cap centre towards the nose" in text
    steps = [step for step in sheet if step.key.startswith("verify.cap_prism")]
    assert [step.numbers["cap_centre_mm"] for step in steps] == [31 + spread] * 2
    assert all(f"{31 + spread:g} mm from the middle of the bridge" in step.do for step in steps)
    left = next(step for step in sheet if step.key == "fit.near_single").numbers["remaining_prism"]
    assert left == pytest.approx(traced_demand(2.0, 4.0, 62 + 2 * spread, 15.0))


def test_the_demand_of_capped_tubes_goes_by_the_distance_between_them():
    """Plan, fitting sheet and note give one convergence, with the spread of both tubes in it."""
    _, made, sheet = pair_with_caps("cap-400-in", 1.5)
    option = chosen_option(made, sheet.configuration, cases.SETTINGS)
    cap = option.device.cap
    assert cap.convergence_parallel_tubes_prism == pytest.approx(traced_demand(2.0, 4.0, 65.0, 0.0))
    assert traced_demand(2.0, 4.0, 65.0, 10 * cap.base_in_full_prism / 4.0) == pytest.approx(0.0)
    numbers = next(step for step in sheet if step.key == "fit.near_single").numbers
    assert numbers["parallel_prism"] == pytest.approx(cap.convergence_parallel_tubes_prism)
    assert numbers["base_in_full_each_prism"] == pytest.approx(cap.base_in_full_prism)
    (shown,) = [each for each in device_numbers(option) if each.label == "Convergence asked"]
    assert "65.0 mm apart" in shown.criterion and shown.words.startswith("52.0 prism D")
    assert "6.00 prism D base in at the centre of each cap takes 24.0 of it away" in shown.criterion
