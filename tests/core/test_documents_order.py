"""The order: all that the workshop needs, nothing else, and nothing that was only assumed."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from afocal.core.case import new_case
from afocal.core.documents.order import OrderBlocked, both_forms, obstacles, order
from afocal.core.documents.text import columns
from afocal.core.refraction import Refraction

sys.path.insert(0, str(Path(__file__).parent))
import documents_cases as cases


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
        "Tube tilt: 13.0 deg up from the head's horizontal; 21.0 deg to the lens normal",
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
    assert "Cap: +4.00 D, two" in text and "Prism: 6.00 prism D base in, each" in text
    assert "Cap centres for that distance" in text


def test_a_refocused_tube_is_ordered_at_its_length():
    """A Keplerian of 80 mm refocused for 7 D of myopia: 78.37 mm (derived by ray matrices)."""
    assert "Tube length: 78.37 mm" in text_of(cases.focusing())


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


def test_a_clip_on_needs_no_carrier():
    """Over the person's own spectacles no carrier lens is ordered and no frame height asked for."""
    case = cases.two_tubes().with_typed("face.b_size", "").with_typed("face.pantoscopic_tilt", "")
    case = cases.chosen(
        case, telescope="g20-wide", eye="right", position="full diameter", mount="clip-on", correction="none"
    )
    plan = cases.plan_of(case)
    sentences = [each.sentence for each in obstacles(case, plan, cases.SETTINGS)]
    assert not [s for s in sentences if "B size" in s or "Pantoscopic" in s]
    if not sentences:
        assert "CARRIER" not in text_of(case)


def test_nothing_chosen_refused_and_referred_are_said():
    """No choice, a choice without fusion, and a same-day referral each block with their sentence."""
    assert blocked(new_case("TC-000", cases.ON)) == ("No device is chosen.",)
    assert any("usion" in each for each in blocked(cases.two_tubes().with_typed("binocular.fusion", "no")))
    (sentence,) = blocked(cases.bioptic().with_typed("history.eye_pain", "yes"))
    assert sentence.startswith("Refer the same day before any device: Eye pain")


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
