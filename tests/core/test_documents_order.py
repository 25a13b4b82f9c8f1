"""The order: all that the workshop needs, nothing else, and nothing that was only assumed."""

from __future__ import annotations

from dataclasses import replace

import documents_cases as cases
import pytest

from afocal.core.case import new_case
from afocal.core.documents.order import OrderBlocked, both_forms, obstacles, order
from afocal.core.documents.text import columns
from afocal.core.fitting.sheet import fitting_sheet
from afocal.core.plan import plan
from afocal.core.refraction import Refraction


def text_of(case) -> str:
    """The order of a case in one line."""
    made = order(case, cases.plan_of(case), cases.sheet_of(case), cases.SETTINGS)
    return " ".join(made.text().split())


def blocked(case) -> tuple[str, ...]:
    """The sentences that stand against the order."""
    with pytest.raises(OrderBlocked) as caught:
        order(case, cases.plan_of(case), None, cases.SETTINGS)
    assert str(caught.value) == "The order cannot be written yet. " + " ".join(caught.value.sentences)
    return caught.value.sentences


def test_a_bioptic_order_has_every_figure():
    """Device, eye, position, height, tilt, PDs by eye, carrier in both forms, frame sizes."""
    text = text_of(cases.bioptic())
    for words in (
        "2.5x Galilean",
        "For: right eye, one tube",
        "bioptic, through the lens",
        "Centre from the middle of the bridge: 32.0 mm",
        # Housing 9, half pupil 1.5, clearance 1: 11.5 mm; pupil 21 mm above the rim: 32.5 mm.
        "Ocular centre: 11.5 mm above the pupil centre",
        "Ocular centre above the lower rim: 32.5 mm",
        "Tube tilt: 13.0 deg up from the head's horizontal; 21.0 deg up from the lens normal",
        "Right: +2.50 sph",
        "Left: +2.25 -0.50 x 90, the same as +1.75 +0.50 x 180",
        "refraction 12.0 mm, carrier 12.0 mm",
        "PD, far: right 32.0 mm, left 32.5 mm, together 64.5 mm",
        "A (lens width): 52.0 mm",
        "B (lens height): 48.0 mm",
        "DBL (between the lenses): 18.0 mm",
        "impact resistant",
    ):
        assert words in text, words


def test_nothing_else_about_the_person_is_in_it():
    """No diagnosis, acuity, age, goal, note or reason leaves for the workshop."""
    for name in ("bioptic", "two-tubes", "with-cap", "focusing"):
        text = text_of(cases.ALL[name]())
        for word in (
            "macular",
            "logMAR",
            "20/",
            "retired",
            "sign",
            "market",
            "trial",
            "1963",
            "Age",
            "chance",
        ):
            assert word not in text, word


def test_two_tubes_have_their_spread_and_both_sides():
    """Each side with its own half PD and spread."""
    text = text_of(cases.two_tubes())
    assert text.count("Centre from the middle of the bridge: 32.5 mm (PD 31.0 + 1.5 outward)") == 2
    assert "both eyes, two tubes" in text


def test_a_cap_has_power_prism_and_working_distance():
    """One cap with its power; a pair with base in each."""
    text = text_of(cases.with_cap())
    assert "Cap: +2.25 D, one" in text and "Working distance: 41.5 cm from the cap" in text
    case = cases.chosen(
        cases.typed(cases.two_tubes(), {"face.reach": "20 cm", "binocular.base_out_near": "17/21/11"}),
        telescope="g20-wide",
        eye="both",
        position="full diameter",
        mount="through the lens",
        cap="cap-400-in",
    )
    text = text_of(case)
    assert "Cap: +4.00 D, two" in text
    assert "Prism: 6.00 prism D base in (towards the nose), each, measured at the cap centre" in text
    assert "near PD" not in text.replace("not at the near PD", "")


def test_caps_that_both_eyes_cannot_fuse_block_the_order():
    """Two tubes whose caps ask for more convergence than the eyes have are not made."""
    case = cases.typed(cases.two_tubes(), {"face.reach": "20 cm", "both.near_acuity": "1.6M @ 40"})
    goal = {"task": "print", "distance": "25 cm", "detail": "0.8M", "reserve": "1.3", "contrast": "0.9"}
    case = cases.goal(case, goal)
    choice = {"eye": "both", "position": "full diameter", "mount": "through the lens"}
    # 2.5 x 2.25 D x 6.2 cm is 35 prism dioptres where 14 are ordinary: 21 beyond, over the reserve of normal eyes.
    sentences = blocked(cases.chosen(case, **choice, telescope="g25-near", cap="cap-225"))
    assert any(each.startswith("With the caps on: print: cannot be fused") for each in sentences)
    # 2 x 4.00 D x 6.2 cm less 2 x 2 x 6 of base-in is 26, where 25 are ordinary.
    assert obstacles_of(cases.chosen(case, **choice, telescope="g20-wide", cap="cap-400-in")) == ()


def obstacles_of(case):
    """What stands against the order of a case."""
    return obstacles(case, cases.plan_of(case), cases.SETTINGS)


@pytest.mark.parametrize(
    ("size", "label"),
    [("face.a_size", "A (lens width)"), ("face.bridge", "DBL (between the lenses)")],
)
def test_a_size_that_is_not_recorded_is_asked_for(size, label):
    """Lens width and the distance between the lenses are never left out in silence; lens height blocks as assumed."""
    text = text_of(cases.bioptic().with_typed(size, ""))
    assert f"{label}: not recorded: measure it before cutting" in text
    assert [each.path for each in obstacles_of(cases.bioptic().with_typed("face.b_size", ""))] == [
        "face.b_size"
    ]


def test_what_the_height_and_tilt_of_a_tube_hang_on_blocks_too():
    """The pupil is part of a bioptic's height, and the usual tilt of the settings is nobody's measurement."""
    case = cases.bioptic().with_typed("right.pupil", "")
    assert [each.path for each in obstacles_of(case)] == ["right.pupil"]
    (sentence,) = blocked(cases.bioptic().with_typed("face.tube_tilt", ""))
    assert "usual one of 10.0 degrees" in sentence and sentence.endswith("type the tilt wanted.")


def test_a_low_tube_has_the_place_of_the_fitting_sheet():
    """Height and tilt of a tube that is worn low stand in the order as on the fitting sheet."""
    from test_fitting_carrier import demo_stock, music

    case = music(position="low", mount="flip-up", correction="carrier", cap="cap+2.25")
    stock = demo_stock()
    made, sheet = plan(case, stock, cases.SETTINGS), fitting_sheet(case, stock, cases.SETTINGS)
    text = " ".join(order(case, made, sheet, cases.SETTINGS).text().split())
    height = next(step for step in sheet if step.key == "fit.height.left").numbers["ocular_height_mm"]
    tilt = next(step for step in sheet if step.key == "fit.tilt.left").numbers["tube_tilt_deg"]
    # Housing 13, half pupil 1.75, clearance 1: 15.75 mm below; the pupil stands 20 mm above the rim.
    assert height == pytest.approx(15.75) and "Ocular centre above the lower rim: 4.2 mm" in text
    assert "Ocular centre: 15.8 mm below the pupil centre" in text
    assert (
        f"Tube tilt: {-tilt:.1f} deg down" in text
        and f"; {-tilt - 6:.1f} deg down from the lens normal" in text
    )


def test_a_tube_that_the_frame_does_not_hold_is_not_ordered():
    """Where a measured height leaves no lens below the tube, or the sizes none beside it, the order says so."""
    from test_fitting_carrier import demo_stock, music

    stock = demo_stock()

    def against(case) -> list[str]:
        made, sheet = plan(case, stock, cases.SETTINGS), fitting_sheet(case, stock, cases.SETTINGS)
        return [each.sentence for each in obstacles(case, made, cases.SETTINGS, sheet)]

    low = music(position="low", mount="through the lens", correction="carrier", cap="cap+2.25")
    (sentence,) = against(low)
    # Housing 13, tube 15.75 below the pupil, rim 3: 31.75 mm, and the pupil stands 20 mm above the rim.
    assert sentence.startswith(
        "The chosen device cannot be ordered: 31.8 mm of lens are needed below the pupil"
    )
    assert "the frame has 20 mm" in sentence
    straight = music(mount="through the lens", correction="carrier", cap="cap+2.25")
    assert against(straight) == []
    # 33 mm from the middle and 13 of housing reach to 46 mm; a lens of 34 mm beside a bridge of 18 ends at 43.
    (sentence,) = against(cases.typed(straight, {"face.a_size": "34", "face.bridge": "18"}))
    assert "-3.0 mm of lens would be left towards the temple, at least 3.0 mm are needed" in sentence


def test_a_lens_at_the_ocular_has_its_cylinder():
    """What is computed as corrected at the ocular is ordered with sphere and cylinder, carried there by meridian."""
    from test_fitting_carrier import demo_stock, moved, music

    case = music(mount="through the lens", correction="ocular", cap="cap+2.25")
    case = cases.typed(case, {"left.refraction": "-5.00 -2.00 x 30", "face.ocular_to_cornea": "15"})
    stock = demo_stock()
    made, sheet = plan(case, stock, cases.SETTINGS), fitting_sheet(case, stock, cases.SETTINGS)
    text = " ".join(order(case, made, sheet, cases.SETTINGS).text().split())
    sphere, other = moved(-5.0, 12, 15), moved(-7.0, 12, 15)
    assert f"Correcting lens: {sphere:+.2f} {other - sphere:+.2f} x 30, the same as" in text


def test_a_refocused_tube_is_ordered_at_its_length():
    """A Keplerian of 80 mm refocused for 7 D of myopia: 78.37 mm (derived by ray matrices)."""
    assert "Tube length (optical): 78.37 mm" in text_of(cases.focusing())


@pytest.mark.parametrize(
    ("missing", "words"),
    [
        ("face.pd", "PD, distance is assumed, not measured"),
        ("face.pupil_height_right", "Pupil height, right is assumed, not measured"),
        ("face.vertex_distance", "Vertex distance, carrier is assumed, not measured"),
        ("face.pantoscopic_tilt", "Pantoscopic tilt is assumed, not measured"),
        ("face.b_size", "B size (height of lens) is assumed, not measured"),
        ("right.refraction", "Refraction, right eye is assumed, not measured"),
        ("left.refraction", "Refraction, left eye is assumed, not measured"),
    ],
)
def test_an_assumed_value_blocks_until_confirmed_by_name(missing, words):
    """Each figure of the order that was assumed blocks it; measuring or confirming it by name frees it."""
    case = cases.bioptic().with_typed(missing, "")
    (sentence,) = blocked(case)
    assert sentence.startswith(words) and sentence.endswith("measure it or confirm it by name.")
    value = {"face.pd": "32/32.5"}.get(missing, "pl" if missing.endswith("refraction") else "21")
    value = {"face.vertex_distance": "12", "face.pantoscopic_tilt": "8", "face.b_size": "48"}.get(
        missing, value
    )
    assert (
        obstacles(
            case.with_typed(missing, value, "confirmed"),
            cases.plan_of(case.with_typed(missing, value, "confirmed")),
            cases.SETTINGS,
        )
        == ()
    )


def test_a_whole_pd_blocks_until_the_halves_are_confirmed():
    """Half of a whole PD is an assumption about each eye."""
    (sentence,) = blocked(cases.bioptic().with_typed("face.pd", "64"))
    assert "known as a whole only" in sentence
    assert "right 32.0 mm, left 32.0 mm" in text_of(cases.bioptic().with_typed("face.pd", "64", "confirmed"))


def test_a_strong_lens_needs_its_refraction_vertex():
    """From 4 D on the vertex of the refraction must be known; below it need not."""
    (sentence,) = blocked(cases.focusing().with_typed("test.refraction_vertex", ""))
    assert sentence.startswith("Vertex of the refraction")
    assert text_of(cases.two_tubes())


CLIP = {"telescope": "g20-wide", "eye": "right", "position": "full diameter", "mount": "clip-on"}


def test_the_frame_is_named_or_asked_for():
    """The order names the frame that is recorded, as words only."""
    assert "Frame: not recorded: name it here or send it along" in text_of(cases.bioptic())
    named = cases.bioptic().with_typed("face.frame", "own frame, saddle bridge")
    assert "Frame: own frame, saddle bridge" in text_of(named)


def test_a_clip_on_needs_no_carrier():
    """Over the person's own spectacles no carrier lens is ordered and no frame height asked for."""
    case = cases.two_tubes().with_typed("face.b_size", "").with_typed("face.pantoscopic_tilt", "")
    case = cases.chosen(case, **CLIP, correction="none")
    plan = cases.plan_of(case)
    sentences = [each.sentence for each in obstacles(case, plan, cases.SETTINGS)]
    # The right eye needs a lens, so that the spectacles under the clip are in question first.
    (sentence,) = sentences
    assert "the person's own spectacles, which stay and hold the correction" in sentence
    text = text_of(case.with_typed("right.refraction", "pl"))
    over = cases.chosen(case, **{**CLIP, "correction": "carrier"})
    assert "Correction: in the person's own spectacles, over which it clips" in text_of(over)
    assert "CARRIER" not in text and "lens normal" not in text and "not recorded" not in text


def test_nothing_chosen_refused_and_referred_are_said():
    """No choice, a choice without fusion, and a same-day referral each block with their sentence."""
    assert blocked(new_case("TC-000", cases.ON)) == ("No device is chosen.",)
    assert any("usion" in each for each in blocked(cases.two_tubes().with_typed("binocular.fusion", "no")))
    (sentence,) = blocked(cases.bioptic().with_typed("history.eye_pain", "yes"))
    assert sentence == "Refer the same day before any device: Eye pain is on record."
    both = cases.typed(cases.bioptic(), {"history.eye_pain": "yes", "history.sudden_loss": "yes"})
    assert [each.rpartition(": ")[2] for each in blocked(both)] == [
        "Sudden loss of sight is on record.",
        "Eye pain is on record.",
    ]


@pytest.mark.parametrize("letters", ["utf-8", "ascii"])
def test_the_order_fits_and_is_safe(letters):
    """72 columns, no control characters, hostile words only as words."""
    case = cases.hostile(cases.bioptic())
    made = order(case, cases.plan_of(case), None, cases.SETTINGS).text(letters)
    assert max(columns(line) for line in made.split("\n")) <= 72
    assert all(c.isprintable() or c == "\n" for c in made)
    assert letters == "utf-8" or made.isascii()


@pytest.mark.parametrize(
    ("lens", "words"),
    [
        (Refraction(-2.0, -1.0, 90), "-2.00 -1.00 x 90, the same as -3.00 +1.00 x 180"),
        (Refraction(1.0, 0.5, 10), "+1.50 -0.50 x 100, the same as +1.00 +0.50 x 10"),
        (Refraction(-1.5), "-1.50 sph"),
        (Refraction(0.0), "pl"),
    ],
)
def test_both_cylinder_forms(lens, words):
    """Minus form, then plus form; a lens without cylinder stands once (transposition is a rule of the trade)."""
    assert both_forms(lens) == words


def test_two_places_of_one_ocular_block_the_order():
    """With the ocular 2 mm in front of a carrier at 12 mm it stands 14 mm from the cornea, not where 10 mm was typed."""
    case = cases.bioptic()
    items = cases.stock()
    behind = tuple(
        replace(each, ocular_behind_carrier_mm=-2.0) if each.id == case.visit.choice.telescope else each
        for each in items.telescopes
    )
    moved = replace(items, telescopes=behind)

    def sentences(typed: str) -> list[str]:
        given = case.with_typed("face.ocular_to_cornea", typed)
        found = obstacles(given, plan(given, moved, cases.SETTINGS), cases.SETTINGS)
        return [each.sentence for each in found if each.path == "face.ocular_to_cornea"]

    assert sentences("14") == [] and sentences("15.4") == [] and sentences("") == []
    (sentence,) = sentences("10")
    assert "recorded as 10.0 mm" in sentence and "it stands at 14.0 mm: measure both again." in sentence
    (sentence,) = sentences("17")
    assert "recorded as 17.0 mm" in sentence
