"""Three fitting sheets by hand: a bioptic, a binocular full-diameter pair with caps, and a Keplerian.

Sources: rim of 3 mm, positions and the fixed near distance of a pair, Yoho A, Fitting low-vision telescopes, 2009 (read);
exit pupil Dobj/M, Smith WJ, Modern Optical Engineering, 4th ed., p. 290 (page read); limits of 15', 45', 20' at the eye,
Tonkin S, Binocular Astronomy, table 2.1 (excerpt read); Prentice's rule and Sheard's rule, textbooks of optometry (from
memory); everything else follows from thin lenses and is worked out beside the number.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from math import atan, degrees, radians, tan

import pytest

from afocal.core.case import Case, new_case
from afocal.core.configuration import Configuration, EyeChoice
from afocal.core.entry import Choice
from afocal.core.errors import ClinicalRefusal, EntryRefusal
from afocal.core.fitting.progress import with_result
from afocal.core.fitting.sheet import fitting_sheet
from afocal.core.fitting.types import FittingSheet, Interval, Repeats, Step
from afocal.core.settings import Settings
from afocal.core.stock import Cap, Filter, Stock, Telescope

STOCK = Stock(
    telescopes=(
        Telescope(
            id="high", description="Galilean 2.5x", type="galilean", magnification=2.5, tube_length_mm=28,
            objective_diameter_mm=22, housing_radius_mm=9, positions=("bioptic",),
        ),
        Telescope(
            id="wide", description="Galilean 2.0x", type="galilean", magnification=2.0, tube_length_mm=24,
            objective_diameter_mm=25, housing_radius_mm=14, positions=("full diameter",), spread_highest_mm=3,
        ),
        Telescope(
            id="prism", description="Keplerian 4x", type="keplerian", magnification=4.0, tube_length_mm=80,
            objective_diameter_mm=16, field_stop_mm=9, housing_radius_mm=11, focusable=True, shortest_tube_mm=76,
            longest_tube_mm=90, corrections=("carrier", "refocused"), mounts=("through the lens", "clip-on"),
        ),
    ),
    caps=(Cap(id="four", description="cap +4", power_d=4.0, base_in_prism=6.0),),
)  # fmt: skip

BIOPTIC = Configuration("high", "right", "bioptic", "through the lens")
PAIR = Configuration("wide", "both", "full diameter", "through the lens", cap="four", spread_mm=1.5)
PRISM = Configuration("prism", "left", "bioptic", "through the lens", correction="refocused")


def case_with(choice: Configuration | None, **typed: str) -> Case:
    """A case with a choice and fields typed as ``table__key``."""
    case = new_case("TEST-1", date(2026, 11, 25))
    for path, text in typed.items():
        case = case.with_typed(path.replace("__", ".", 1), text)
    return case.with_visit(replace(case.visit, choice=choice))


def bioptic() -> FittingSheet:
    """A 2.5x tube high in the lens of the right eye: pupil 3 mm, clearance 1.5 mm, 13.5 mm from ocular to cornea."""
    case = case_with(
        BIOPTIC, right__distance_acuity="0.72 logMAR", right__refraction="+2.50", right__pupil="3", left__pupil="3",
        person__birth_year="1963", face__ocular_to_cornea="13.5", face__tube_tilt="13", face__pantoscopic_tilt="8",
        face__pupil_height_right="21", face__b_size="46", face__pd="32/31", face__bridge="18", face__a_size="52",
        test__chart_distance="6 m",
    )  # fmt: skip
    return fitting_sheet(case, STOCK, Settings(assumptions={"clearance_mm": 1.5}))


def pair(**typed: str) -> FittingSheet:
    """Two 2.0x tubes, PD 62, 12 mm from ocular to cornea (15 to the eye's pupil), pupil 3.5 mm, caps of +4 D."""
    given = {
        "right__distance_acuity": "0.54 logMAR", "left__distance_acuity": "0.58 logMAR", "right__pupil": "3.5",
        "left__pupil": "3.5", "face__ocular_to_cornea": "12", "face__pd": "31.5/30.5", "binocular__fusion": "yes",
        "right__refraction": "pl", "left__refraction": "pl", "person__birth_year": "1950", "right__near_acuity": "2M @ 40",
        "left__near_acuity": "2M @ 40",
    }  # fmt: skip
    return fitting_sheet(case_with(PAIR, **{**given, **typed}), STOCK, Settings())


def prism() -> FittingSheet:
    """A 4x Keplerian refocused for a myope of 7 D, 14 mm from ocular to cornea, pupil 3.2 mm."""
    case = case_with(
        PRISM, left__distance_acuity="0.96 logMAR", left__refraction="-7.00", left__pupil="3.2", right__pupil="3.2",
        test__refraction_vertex="12", face__ocular_to_cornea="14", face__pd="32/31", person__birth_year="2004",
    )  # fmt: skip
    return fitting_sheet(case, STOCK, Settings())


def step(sheet: FittingSheet, key: str) -> Step:
    """A step that must be there."""
    found = sheet.step(key)
    assert found is not None, key
    return found


def within(given: Step) -> Interval:
    """The interval of a step that has one."""
    assert isinstance(given.accept, Interval)
    return given.accept


def test_bioptic_height() -> None:
    """The ocular centre stands R + p/2 + clearance = 9 + 1.5 + 1.5 = 12 mm over the pupil; its edge 1.5 mm over the pupil's."""
    height = step(bioptic(), "fit.height.right")
    assert height.numbers["ocular_height_mm"] == pytest.approx(12.0)
    assert height.target_value == pytest.approx(1.5)
    assert "above the upper edge of the pupil" in height.do
    assert within(height).lowest == pytest.approx(0.5)


def test_bioptic_frame() -> None:
    """The lens must be 21 + 12 + 9 + 3 = 45 mm high (Yoho: 3 mm to the edge)."""
    assert step(bioptic(), "frame.b_size").target_value == pytest.approx(45.0)


def test_bioptic_outline() -> None:
    """In a 46 mm lens 46 - 21 - 12 - 9 = 4 mm are left above; at the nose 32 - 9 - 9 = 14, at the temple 9 + 52 - 32 - 9 = 20."""
    numbers = step(bioptic(), "frame.outline.right").numbers
    assert numbers["lens_left_above_mm"] == pytest.approx(4.0)
    assert numbers["lens_left_below_mm"] == pytest.approx(24.0)
    assert numbers["lens_left_towards_the_nose_mm"] == pytest.approx(14.0)
    assert numbers["lens_left_towards_the_temple_mm"] == pytest.approx(20.0)


def test_bioptic_angles() -> None:
    """Gaze atan(12/27) = 23.96, drop 13 + atan(tan(10.96)/2.5) = 17.43, to the middle of the view 16.20, tilt to the lens 21."""
    sheet = bioptic()
    beta = degrees(atan(12 / 27))
    drop = 13 + degrees(atan(tan(radians(beta - 13)) / 2.5))
    # The objective is seen t/M = 11.2 mm in front of the ocular along the axis.
    gamma = degrees(atan((12 + 11.2 * 0.22495) / (27 + 11.2 * 0.97437)))
    centre = 13 + degrees(atan(tan(radians(gamma - 13)) / 2.5))
    numbers = step(sheet, "fit.head_drop").numbers
    assert (round(drop, 2), round(centre, 2)) == (17.43, 16.20)
    assert numbers["head_drop_deg"] == pytest.approx(drop, abs=0.005)
    assert numbers["head_drop_to_field_centre_deg"] == pytest.approx(centre, abs=0.005)
    assert step(sheet, "fit.tilt.right").target_value == pytest.approx(21.0)
    assert step(sheet, "fit.tilt.right").numbers["off_axis_deg"] == pytest.approx(beta - 13, abs=0.005)


def test_bioptic_sideways_and_field() -> None:
    """Exit pupil 22/2.5 = 8.8 mm; d = 16.5, so the field is 2 atan[22/(2 x 2.5 (28 + 2.5 x 16.5))] = 7.27 degrees."""
    sheet = bioptic()
    assert step(sheet, "verify.power.right").target_value == pytest.approx(8.8)
    assert step(sheet, "fit.lateral.right").target_value == pytest.approx(32.0)
    field = 2 * degrees(atan(22 / (2 * 2.5 * (28 + 2.5 * 16.5))))
    assert round(field, 2) == 7.27
    assert step(sheet, "performance.field").target_value == pytest.approx(field, abs=0.005)
    # A tenth of the field goes with 0.1 (t/M + d) = 0.1 (11.2 + 16.5) = 2.77 mm more distance.
    assert within(step(sheet, "fit.eye_distance.right")).highest == pytest.approx(13.5 + 2.77, abs=0.005)


def test_six_metres_is_not_infinity() -> None:
    """At 6 m a 2.5x tube of 28 mm asks 6.25 x (-1/6)/(1 + 0.028 x 2.5/6) = -1.03 D; M2/6 says 1.04."""
    focus = step(bioptic(), "fit.focus.right")
    assert focus.numbers["chart_offset_d"] == pytest.approx(-6.25 / 6 / (1 + 0.07 / 6), abs=1e-6)
    assert "6 m is not infinity" in focus.how
    assert "6.25 times" in focus.how


def test_lensometer_with_trial_lens() -> None:
    """V = M2 F/(1 - t M F): 6.25/(1 - 0.07) = 6.72 D with +1 D on the 2.5x tube."""
    trial = step(bioptic(), "verify.power_lensometer.right")
    assert trial.optional
    assert trial.target_value == pytest.approx(6.25 / 0.93)


def test_bioptic_promise() -> None:
    """0.72 - log10 2.5 = 0.322 logMAR, and what 1.03 D of blur cost: 20 % of MAR 5.25' in quadrature with 0.65 x 3 x 1.03'."""
    promise = step(bioptic(), "performance.acuity.right").accept
    assert isinstance(promise, Repeats)
    mar, blur = 10**0.72, 0.65 * 3 * 1.02965
    # log10(sqrt(5.248^2 + 2.008^2)/5.248) = 0.0297
    assert promise.promised == pytest.approx(0.72 - 0.39794 + 0.0297, abs=0.0005)
    assert (mar**2 + blur**2) ** 0.5 / mar == pytest.approx(10**0.0297, abs=0.0005)


def test_pair_fields_and_spread() -> None:
    """W = 2 atan[25/(4 x 54)] = 13.20; 1.5 mm out each: union 2 atan(7.75/54) = 16.33, overlap 2 atan(4.75/54) = 10.05."""
    spread = step(pair(), "fit.spread")
    # From the middle 25/(2 x 2) = 6.25 mm; t + M d = 24 + 2 x 15 = 54.
    assert spread.numbers["union_field_deg"] == pytest.approx(2 * degrees(atan(7.75 / 54)), abs=0.01)
    assert spread.numbers["overlap_field_deg"] == pytest.approx(2 * degrees(atan(4.75 / 54)), abs=0.05)
    # With the caps: ordinary 6200/299.5 = 20.70, half of 17 in reserve, 24 relieved, 49.6 asked at the PD:
    # 20.70 + 8.5 + 24 - 49.6 = 3.60 are left, at 2 x 4 x 2 / 10 = 1.6 prism D a mm of spread of each tube.
    assert spread.numbers["spread_limit_mm"] == pytest.approx(3.6013 / 1.6, abs=1e-3)
    assert "limit set by: single vision with the caps" in spread.rule
    assert "back until it is single" in spread.do


def test_pair_alignment() -> None:
    """At 2.0x a tilt equals its deviation: 15' up and down, 45' toed out, 20' toed in; 15' is 0.436 prism D."""
    sheet = pair()
    numbers = step(sheet, "verify.tilt_horizontal").numbers
    assert step(sheet, "verify.tilt_vertical").numbers["tilt_arcmin"] == pytest.approx(15.0, abs=0.05)
    assert numbers["toe_out_arcmin"] == pytest.approx(45.0, abs=0.05)
    assert numbers["toe_in_arcmin"] == pytest.approx(20.0, abs=0.05)
    vertical = step(sheet, "fit.vertical")
    assert vertical.numbers["limit_prism"] == pytest.approx(0.43634, abs=1e-4)
    # 15' over 40 mm of half a frame: 40 tan 15' = 0.17 mm.
    assert vertical.numbers["in_half_frame_mm"] == pytest.approx(0.1745, abs=1e-3)
    assert "not measured" in vertical.rule


def test_own_reserve_rules_when_stricter() -> None:
    """A vertical break of 0.6 prism D allows half of it, 0.3; one of 2.5 leaves the instrument's 0.436."""
    weak = step(pair(binocular__vertical="x/0.6/0.3"), "fit.vertical")
    assert weak.numbers["limit_prism"] == pytest.approx(0.3)
    assert "person's own vertical reserve" in weak.rule
    assert within(weak).outer_highest == pytest.approx(0.6)
    strong = step(pair(binocular__vertical="x/2.5/2"), "fit.vertical")
    assert strong.numbers["limit_prism"] == pytest.approx(0.43634, abs=1e-4)
    assert within(strong).outer_highest == pytest.approx(2.5)


def test_pair_caps() -> None:
    """Caps of +4, page at 250 mm, 65 mm between the tubes: full relief 13 base in each; with 6 given, 28 are left to do."""
    sheet = pair()
    assert step(sheet, "fit.working_distance").target_value == pytest.approx(250.0)
    single = step(sheet, "fit.near_single")
    # |M| F PD(cm) = 2 x 4 x 6.2 = 49.6, and the spread 2 x 2 x 4 x 0.15 = 2.4; base in 6 at each cap relieves 2 x 2 x 6 = 24.
    assert single.numbers["parallel_prism"] == pytest.approx(49.6 + 2.4)
    assert single.numbers["base_in_full_each_prism"] == pytest.approx(4.0 * 6.5 / 2)
    assert single.numbers["remaining_prism"] == pytest.approx(52.0 - 24.0)
    # Looking at a page there asks 6200/299.5 = 20.70 of any two eyes; 7.30 go beyond it, and half of the base-out
    # reserve of normal eyes at near, 17 (from memory), is 8.5.
    assert single.numbers["excess_prism"] == pytest.approx(28.0 - 20.701, abs=1e-2)
    assert "within" in single.tolerance
    assert "base towards the nose" in single.how
    assert "converge" in single.target


def test_measured_reserve_changes_the_near_allowance() -> None:
    """A base-out blur of 10 at near allows half of it, 5: the 7.3 beyond ordinary looking are too much."""
    single = step(pair(binocular__base_out_near="10/12/8"), "fit.near_single")
    assert single.numbers["allowed_prism"] == pytest.approx(5.0)
    assert "OVER" in single.tolerance
    assert "person's own base-out reserve" in single.rule


def test_crossed_pictures_are_joined_by_base_in() -> None:
    """Base-out makes eyes converge, so base-in joins the pictures of tubes that ask for it (common practice).

    The eyes' own deviation, found without the telescope, is taken off.
    """
    horizontal = step(pair(), "fit.horizontal")
    assert "more base-in, the tubes ask the eyes to converge: plus" in horizontal.how
    assert "without the telescope and through it" in horizontal.do
    # Converging is opposed by the larger limit, 45' at the eye or 1.31 prism D, diverging by 20' or 0.58 (Tonkin).
    assert within(horizontal).highest == pytest.approx(1.309, abs=1e-3)
    assert within(horizontal).lowest == pytest.approx(-0.5818, abs=1e-3)


def test_near_pd() -> None:
    """PD W/(W + s) by eye: W = 250 + 24, s = 12 + 13.5: 31.5 x 274/299.5 = 28.82 and 27.90."""
    sheet = pair()
    assert step(sheet, "fit.near_pd.right").target_value == pytest.approx(31.5 * 274 / 299.5, abs=0.01)
    assert step(sheet, "fit.near_pd.left").target_value == pytest.approx(30.5 * 274 / 299.5, abs=0.01)


def test_cap_height() -> None:
    """15' of height at 2.0x with +4: 10 x 0.43634/8 = 0.545 mm."""
    assert within(step(pair(), "verify.cap_height")).highest == pytest.approx(0.5454, abs=1e-3)


def test_pair_lateral() -> None:
    """Each tube stands at its monocular PD + 1.5 mm: 33 and 32; (12.5 - 3.5)/2 - 1.5 = 3 mm of light to spare, held to 2."""
    sheet = pair()
    assert step(sheet, "fit.lateral.right").target_value == pytest.approx(33.0)
    assert step(sheet, "fit.lateral.left").target_value == pytest.approx(32.0)
    assert step(sheet, "fit.lateral.left").numbers["within_mm"] == pytest.approx(2.0)


def test_pair_print_promise() -> None:
    """2 M at 400 mm, equivalent viewing distance 1000/(2 x 4) = 125 mm: 2 x 125/400 = 0.625 M."""
    assert step(pair(), "performance.print").target_value == pytest.approx(0.625)


def test_keplerian_eye_relief() -> None:
    """Refocused for R = -7.10 the tube is 78.37 mm; the exit pupil stands 20.10 mm behind, 3 mm of it inside the eye: 17.10."""
    # K = -7/(1 + 0.012 x 7) = -6.458; R = K/(1 + 0.014 K) = -7.099; t' = 64 + 1000/(62.5 + 7.099) = 78.37;
    # exit pupil 1000/(62.5 - 1000/78.37) = 20.10, Dobj x 20.10/78.37 = 4.105 across.
    sheet = prism()
    assert step(sheet, "fit.eye_distance.left").target_value == pytest.approx(17.10, abs=0.01)
    assert step(sheet, "verify.focus.left").target_value == pytest.approx(-7.099, abs=0.001)
    assert "78.37" in step(sheet, "verify.focus.left").rule
    # (4.105 - 3.2)/2 = 0.45 is less than a rule tells: 0.5 mm; half of the light is gone at 2.05.
    lateral = within(step(sheet, "fit.lateral.left"))
    assert lateral.highest == pytest.approx(31.5)
    assert lateral.outer_highest == pytest.approx(31 + 2.05, abs=0.01)


def test_keplerian_power() -> None:
    """16 mm over 4x is 4 mm; with +1 D the lensometer reads 16/(1 + 0.32) = 12.12 D; 0.2 mm misread is 5 %."""
    sheet = prism()
    assert step(sheet, "verify.power.left").target_value == pytest.approx(4.0)
    assert "5 %" in step(sheet, "verify.power.left").how
    assert step(sheet, "verify.power_lensometer.left").target_value == pytest.approx(16 / 1.32)


def test_keplerian_promise() -> None:
    """Refocused the power is 69.599/15.625 = 4.454: 0.96 - log10 4.454 = 0.311 logMAR, focused on the chart by hand."""
    promise = step(prism(), "performance.acuity.left").accept
    assert isinstance(promise, Repeats)
    assert promise.promised == pytest.approx(0.3112, abs=0.0005)


def test_trial_goes_over_the_right_lens() -> None:
    """Over the own glasses with a distance error, on a plano frame without one or when the tube takes the error up."""
    assert step(bioptic(), "trial.over").target == "own glasses"
    assert step(pair(), "trial.over").target == "plano frame"
    assert step(prism(), "trial.over").target == "plano frame"


def test_eccentric_viewing_is_part_of_the_place() -> None:
    """An eye that looks past the target is marked while it looks so."""
    assert "2 o'clock" in step(pair(right__viewing="2 o'clock"), "fit.lateral.right").how


def test_segment_under_a_bioptic() -> None:
    """Segment top at most 5 mm under the gaze line (21 - 5 = 16) or 4 mm under the housing (21 + 11.5 - 9 - 4 = 19.5)."""
    case = case_with(
        BIOPTIC, right__distance_acuity="0.7 logMAR", right__pupil="3", left__pupil="3", test__lenses_worn="bifocal",
        face__pupil_height_right="21", face__segment_height="15", face__tube_tilt="13",
    )  # fmt: skip
    sheet = fitting_sheet(case, STOCK, Settings())
    assert within(step(sheet, "frame.segment")).highest == pytest.approx(19.5)


def test_without_choice_or_stock_the_sheet_is_refused_by_name() -> None:
    """No choice and an unknown telescope are said, not guessed."""
    with pytest.raises(ClinicalRefusal, match="chosen"):
        fitting_sheet(case_with(None), STOCK, Settings())
    with pytest.raises(EntryRefusal, match="lost"):
        fitting_sheet(case_with(Configuration("lost", "right", "bioptic", "in front")), STOCK, Settings())


def test_no_acuity_gives_a_reason_instead_of_steps() -> None:
    """What cannot be computed is a refusal on the sheet, not an exception."""
    sheet = fitting_sheet(case_with(BIOPTIC), STOCK, Settings())
    assert len(sheet) == 0
    assert sheet.refusals


@pytest.mark.parametrize(
    ("eye", "grams", "words"), [("both", 25.0, "50 g with both tubes"), ("right", 25.0, "25 g.")]
)
def test_a_frame_carries_every_tube(eye: EyeChoice, grams: float, words: str) -> None:
    """Two tubes of 25 g are 50 g on the nose, for the frame and for the bridge alike; one is 25 g."""
    tube = Telescope(id="wide", description="Galilean 2.0x", type="galilean", magnification=2.0, tube_length_mm=24,
                     objective_diameter_mm=25, housing_radius_mm=14, positions=("full diameter",),
                     weight_g=grams)  # fmt: skip
    choice = Configuration("wide", eye, "full diameter", "through the lens")
    case = case_with(
        choice,
        right__distance_acuity="0.54 logMAR",
        left__distance_acuity="0.58 logMAR",
        binocular__fusion="yes",
    )
    sheet = fitting_sheet(case, Stock(telescopes=(tube,)), Settings())
    assert words in step(sheet, "frame.adjusted").do
    # From 40 g on, common practice, the bridge wants more than a strap.
    assert ("Broad pads" in step(sheet, "frame.bridge").do) is (eye == "both")


def test_what_is_wanted_of_words_can_be_chosen() -> None:
    """Where words are to be chosen from, what is wanted begins with one of them: nobody is told to want "shown" and asked
    for yes or no. The cautions are answered one by one."""
    tinted = replace(STOCK, filters=(Filter(id="tint", description="tint", transmittance=0.65),))
    flip = replace(
        tinted,
        telescopes=tuple(replace(each, mounts=(*each.mounts, "flip-up")) for each in tinted.telescopes),
    )
    case = case_with(
        replace(PAIR, mount="flip-up", filter="tint", cap=""), right__distance_acuity="0.54 logMAR",
        left__distance_acuity="0.58 logMAR", face__pd="31.5/30.5", binocular__fusion="yes",
        test__lenses_worn="bifocal", face__vertex_distance="12",
    )  # fmt: skip
    sheets = [bioptic(), pair(test__lenses_worn="bifocal"), prism(), fitting_sheet(case, flip, Settings())]
    steps = [step for sheet in sheets for step in sheet.steps if isinstance(step.kind, Choice)]
    assert {"verify.filter", "teach.care", "frame.segment", "fit.flip"} <= {step.key for step in steps}
    for each in steps:
        if each.key != "teach.cautions":
            assert any(each.target.startswith(word) for word in each.kind.options), (each.key, each.target)


def test_the_day_of_the_call_is_planned_until_another_is_typed() -> None:
    """The day agreed on for the call stands as the next visit, follows a later change of it, and gives way to a day that
    was typed on its own."""
    case = case_with(BIOPTIC)
    call = step(bioptic(), "teach.call")

    def planned(of: Case) -> str:
        found = of.visit.findings.get("plan.next_date")
        return found.typed if found is not None else ""

    agreed = with_result(case, call, "2026-12-10")
    assert planned(agreed) == "2026-12-10"
    moved = with_result(agreed, call, "11.12.2026")
    assert planned(moved) == "11.12.2026" and moved.value("plan.next_date") == date(2026, 12, 11)
    assert planned(with_result(moved, call, "")) == ""
    own = moved.with_typed("plan.next_date", "2027-01-15")
    assert planned(with_result(own, call, "2026-12-12")) == "2027-01-15"
    with pytest.raises(EntryRefusal):
        with_result(case, call, "soon")
