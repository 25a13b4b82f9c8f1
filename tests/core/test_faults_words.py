"""The search for causes in words: the table of complaints, ties, checks, findings typed into a case, refusals.

The rows of complaints follow common practice of troubleshooting; optics worked out by hand stands beside each number.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from functools import cache
from pathlib import Path

import pytest

from afocal.core import data as demo
from afocal.core.case import Case, new_case
from afocal.core.case_file import loads_case
from afocal.core.configuration import Configuration
from afocal.core.errors import EntryRefusal, Refusal
from afocal.core.faults import Diagnosis, Findings, diagnose_with, model_of, predict
from afocal.core.faults.beliefs import Spread, divergence, told_apart
from afocal.core.faults.catalogue_more import FAULTS
from afocal.core.faults.model import Model
from afocal.core.faults.of_case import diagnose_case, findings_of
from afocal.core.faults.symptoms import ROWS, SYMPTOMS, symptoms_in
from afocal.core.fitting.sheet import fitting_sheet
from afocal.core.person import Person
from afocal.core.plan import Option, option_for, plan, read_case
from afocal.core.settings import Settings
from afocal.core.stock import Cap, Stock, Telescope, loads_stock

SETTINGS = Settings()
STOCK = Stock(
    telescopes=(
        Telescope(id="wide", description="Galilean 2.0x", type="galilean", magnification=2.0, tube_length_mm=24,
                  objective_diameter_mm=18, housing_radius_mm=14, positions=("full diameter",), spread_highest_mm=3),
        Telescope(id="prism", description="Keplerian 4x", type="keplerian", magnification=4.0, tube_length_mm=80,
                  objective_diameter_mm=16, field_stop_mm=9, housing_radius_mm=11, focusable=True, shortest_tube_mm=76,
                  longest_tube_mm=90, corrections=("carrier", "refocused")),
        Telescope(id="high", description="Galilean 2.5x", type="galilean", magnification=2.5, tube_length_mm=28,
                  objective_diameter_mm=22, housing_radius_mm=9, positions=("bioptic",)),
    ),
    caps=(Cap(id="four", description="cap +4", power_d=4.0, base_in_prism=11.0),),
)  # fmt: skip
PAIR = Configuration("wide", "both", "full diameter", "through the lens", cap="four")
HIGH = Configuration("high", "right", "bioptic", "through the lens")
PRISM = Configuration("prism", "right", "full diameter", "through the lens")


def case_of(choice: Configuration, **typed: str) -> Case:
    """A person of 44 years with two alike eyes, and a choice."""
    given = {
        "right__distance_acuity": "0.54 logMAR", "left__distance_acuity": "0.58 logMAR", "right__pupil": "3.5",
        "left__pupil": "3.5", "face__ocular_to_cornea": "12", "face__pd": "31/31", "binocular__fusion": "yes",
        "right__refraction": "pl", "left__refraction": "pl", "person__birth_year": "1982", "right__near_acuity": "2M @ 40",
        "left__near_acuity": "2M @ 40",
    } | typed  # fmt: skip
    case = new_case("TEST-8", date(2026, 11, 25))
    for path, text in given.items():
        case = case.with_typed(path.replace("__", ".", 1), text)
    return case.with_visit(replace(case.visit, choice=choice))


@cache
def prepared(choice: Configuration) -> tuple[Option, Person, Model]:
    """Option, person and model of one choice."""
    case = case_of(choice, face__ocular_to_cornea="17" if choice is PRISM else "12")
    context, demands = read_case(case, SETTINGS)
    option = option_for(context, STOCK, demands, choice)
    return option, context.person, model_of(option, context.person, SETTINGS)


def found(choice: Configuration, findings: Findings) -> Diagnosis:
    """The diagnosis of findings with one choice."""
    option, _, model = prepared(choice)
    return diagnose_with(model, findings, option.configuration)


# What is complained of, and a device that can have a cause of it: the rows of a troubleshooting table (common practice).
COMPLAINTS = {
    "blurred everywhere": ("blur_everywhere", HIGH),
    "clear far, but blurred in the middle distance": ("blur_middle", HIGH),
    "only clear close up": ("clear_close_only", HIGH),
    "like looking into a tunnel": ("tunnel", HIGH),
    "it is dark and fades when I look aside": ("dark_fading", PRISM),
    "a crescent shadow": ("crescent", HIGH),
    "two pictures, one above the other": ("double_vertical", PAIR),
    "double only for reading": ("double_near_only", PAIR),
    "double in the distance": ("double_far", PAIR),
    "one picture is bigger than the other": ("sizes_differ", PAIR),
    "everything swims, nausea": ("swimming", HIGH),
    "cannot find the sign": ("cannot_find", HIGH),
    "print not better": ("print_no_better", PAIR),
    "letters good but words fall apart": ("letters_not_words", PAIR),
    "sees the face, not the expression": ("faces", HIGH),
    "works here, not at home": ("clinic_not_home", PAIR),
    "neck ache": ("neck", HIGH),
    "sore nose": ("nose", HIGH),
    "colour fringes": ("fringe", HIGH),
    "reflections": ("veil", HIGH),
    "the cap is too strong": ("cap_strength", PAIR),
}


def test_every_row_has_causes_that_exist() -> None:
    """Each complaint names known causes and a check, and none of the 21 rows is missing."""
    assert {key for key, _ in COMPLAINTS.values()} == {row.key for row in SYMPTOMS}
    for row in ROWS.values():
        assert row.causes and row.causes.keys() <= FAULTS.keys(), row.key
        assert row.check


@pytest.mark.parametrize("words", COMPLAINTS)
def test_a_complaint_alone_points_to_a_cause_of_its_row(words: str) -> None:
    """Words are heard as their row, and the likeliest cause of a complaint alone stands in that row."""
    key, choice = COMPLAINTS[words]
    assert key in symptoms_in(words)
    diagnosis = found(choice, Findings(symptoms=frozenset({key})))
    likeliest = next(cause for cause in diagnosis.causes if cause.fault != "nothing")
    assert likeliest.fault in ROWS[key].causes
    in_row = sum(cause.probability for cause in diagnosis.causes if cause.fault in ROWS[key].causes)
    assert in_row > 0.5


def test_general_words_stand_for_all_rows_of_their_kind() -> None:
    """ "Blurred" and "double" without a further word open all their rows; a further word closes the others."""
    assert symptoms_in("it is blurred") == {"blur"}
    assert symptoms_in("sees double") == {"double"}
    assert "double" not in symptoms_in("double for reading")
    assert symptoms_in("very happy with it") == frozenset()


def test_sphere_and_focus_are_tied_until_the_tube_is_read_alone() -> None:
    """The same defocus by the eye or by the tube looks the same from behind it; the tube on the lensometer decides."""
    blurred = Findings(over_refraction_d={"right": -1.75}, far_end_d=0.08, acuity_logmar={"right": 0.22})
    diagnosis = found(HIGH, blurred)
    assert diagnosis.tied("sphere.right", "focus.right")
    assert {diagnosis.causes[0].fault, diagnosis.causes[1].fault} == {"sphere", "focus"}
    assert "cannot tell it from" in diagnosis.sentence
    assert "tube alone" in diagnosis.next_check
    read = Findings(
        over_refraction_d={"right": -1.75},
        far_end_d=0.08,
        acuity_logmar={"right": 0.22},
        tube_focus_d={"right": 1.75},
    )
    after = found(HIGH, read)
    assert after.first is not None and after.first.fault == "focus"
    assert not after.tied("sphere.right", "focus.right")
    assert after.first.size == pytest.approx(1.75, abs=0.25)
    assert "too long a focus" in after.first.size_words


def test_a_tilt_and_a_shift_of_one_galilean_are_tied() -> None:
    """For one eye a tube turned about its ocular shifts the field as one moved sideways: (t + (M - 1) d) times the angle."""
    diagnosis = found(HIGH, Findings(field_shift_up_deg=3.0, light="one side dark"))
    assert diagnosis.tied("tube_tilt.right", "tube_height.right")
    sizes = {cause.fault: cause.size for cause in diagnosis.causes}
    # A shift s moves the field by about s/(t + M d) = s/65.5 rad, a tilt by (1 - d/(t + M d)) = 0.77 of itself.
    assert sizes["tube_height"] == pytest.approx(3.0 / 57.3 * 65.5, abs=0.75)
    assert sizes["tube_tilt"] == pytest.approx(3.0 / 0.77, abs=1.0)


def test_within_what_repeats_is_said_so() -> None:
    """Findings a little off their promise are best explained by nothing at all."""
    _, person, _ = prepared(PAIR)
    assert person.pd.total_mm == 62
    diagnosis = found(PAIR, Findings(acuity_logmar={"right": 0.38, "left": 0.30}, light="even", double_far="single",
                                     working_distance_mm=245, vertical_far_prism=0.2))  # fmt: skip
    assert diagnosis.first is not None and diagnosis.first.fault == "nothing"
    assert "within what repeats" in diagnosis.sentence


def test_nothing_measured_explains_nothing() -> None:
    """Without findings there is no ranking to lean on, and it is said."""
    diagnosis = found(PAIR, Findings())
    assert diagnosis.sentence.startswith("Nothing is measured yet")
    assert len(diagnosis.untested) > 20


def test_what_was_not_looked_for_is_named() -> None:
    """A cause that no finding could show takes no part in the shares and is named apart."""
    diagnosis = found(HIGH, Findings(acuity_logmar={"right": 0.2}))
    assert "reflections in the tube" in diagnosis.untested
    assert sum(cause.probability for cause in diagnosis.causes) == pytest.approx(1.0)


def test_two_faults_at_once_are_not_forced_into_one() -> None:
    """What the first cause does not explain is named, with the warning that there may be more than one."""
    diagnosis = found(PAIR, Findings(vertical_far_prism=3.0, bench_tilt_vertical_arcmin=100.0, working_distance_mm=180.0,
                                     cap_power_d={"right": 4.0, "left": 4.0}))  # fmt: skip
    assert diagnosis.first is not None and diagnosis.first.fault == "tilt_vertical"
    assert any("best distance with the cap" in words for words in diagnosis.unexplained)
    assert "more than one fault" in diagnosis.sentence


def test_height_is_nothing_far_and_a_prism_near() -> None:
    """2 mm of height with 2.0x and +4: |M| Fcap x(cm) = 1.6 prism D at near, 0 at distance (Prentice's rule, memory)."""
    option, person, _ = prepared(PAIR)
    expected = predict("height_mismatch", 2.0, option, person, SETTINGS)
    assert expected.vertical_far_prism == pytest.approx(0.0)
    assert expected.vertical_near_prism == pytest.approx(1.6)
    diagnosis = found(PAIR, Findings(vertical_far_prism=0.0, vertical_near_prism=1.7, double_near="double"))
    assert diagnosis.first is not None and diagnosis.first.fault == "height_mismatch"
    assert "right higher than left" in diagnosis.first.size_words


def test_cap_with_a_myope_left_in() -> None:
    """2.0x, t 24, +4 on an eye of -3 D: 1/[4 + 3/(4 - 0.144)] = 209 mm; the page is clear nearer than 250 mm."""
    option, person, _ = prepared(PAIR)
    expected = predict("sphere", -3.0, option, person, SETTINGS, "right")
    assert expected.working_distance_mm == pytest.approx(1000 / (4 + 3 / (4 - 0.144)), abs=0.5)


def test_predict_refuses_by_name() -> None:
    """A fault that is not known or that this device cannot have is refused with those that it can have."""
    option, person, _ = prepared(HIGH)
    with pytest.raises(EntryRefusal, match="spread"):
        predict("spread", 1.0, option, person)
    with pytest.raises(EntryRefusal, match="eye"):
        predict("sphere", 1.0, option, person, SETTINGS, "left")


def test_every_cause_says_what_to_do() -> None:
    """Each cause has a title, a size in words with its unit, a remedy and, beside its rival, a check."""
    _, _, model = prepared(PAIR)
    diagnosis = found(
        PAIR, Findings(acuity_logmar={"right": 0.6, "left": 0.34}, light="even", symptoms=frozenset({"blur"}))
    )
    assert len(diagnosis.causes) > 10
    for cause in diagnosis.causes:
        assert cause.title and cause.remedy and cause.check and cause.sentence.endswith(".")
        if cause.unit:
            assert any(letter.isdigit() for letter in cause.size_words), cause.fault
    first = diagnosis.causes[0]
    assert first.also_possible
    assert model.hypotheses


def test_findings_are_read_from_the_sheet() -> None:
    """What was typed at steps comes out as numbers; places are measured less target; the rest stays empty."""
    case = case_of(PAIR)
    sheet = fitting_sheet(case, STOCK, SETTINGS)
    from afocal.core.fitting.progress import with_result

    typed = {
        "performance.acuity.right": "0.60 logMAR", "fit.lateral.right": "34", "verify.power.left": "7.5",
        "fit.focus.right": "-1.50", "performance.double": "double at times", "fit.single": "single",
        "performance.light": "one side dark", "fit.working_distance": "21 cm", "performance.print": "0.8M",
        "fit.stays": "yes", "verify.tilt_vertical": "20", "verify.carrier.left": "-1.00",
    }  # fmt: skip
    for key, text in typed.items():
        step = sheet.step(key)
        assert step is not None, key
        case = with_result(case, step, text)
    findings = findings_of(case, sheet)
    assert findings.acuity_logmar["right"] == pytest.approx(0.60)
    assert findings.lateral_off_mm["right"] == pytest.approx(3.0)
    # 18 mm of objective over 2.0x is 9 mm; 7.5 mm are found: 2.4x, 1.2 times the marked power.
    assert findings.power_ratio["left"] == pytest.approx(1.2)
    assert findings.over_refraction_d["right"] == pytest.approx(-1.5)
    assert findings.double_far == "double at times"
    assert findings.light == "one side dark"
    assert findings.working_distance_mm == pytest.approx(210.0)
    assert findings.print_m_units == pytest.approx(0.8)
    assert findings.stays == "yes"
    assert findings.bench_tilt_vertical_arcmin == pytest.approx(20.0)
    # A lens of -1 D where none is needed leaves +1 D.
    assert findings.carrier_sphere_left_d["left"] == pytest.approx(1.0)
    assert findings.near_end_mm is None and findings.symptoms is None
    diagnosis = diagnose_case(case, sheet, STOCK, SETTINGS)
    assert diagnosis is not None and diagnosis.used


def test_complaints_of_a_follow_up_count() -> None:
    """At a follow-up the words of the person are heard; of what was measured before only what no wear changes stands."""
    case = case_of(HIGH)
    sheet = fitting_sheet(case, STOCK, SETTINGS)
    from afocal.core.fitting.progress import with_result

    # A month on the power is what it was; acuity and eye distance are not known any more.
    for key, text in {
        "performance.acuity.right": "0.20 logMAR", "fit.eye_distance.right": "12", "verify.power.right": "8.8",
    }.items():  # fmt: skip
        step = sheet.step(key)
        assert step is not None
        case = with_result(case, step, text)
    case = case.with_new_visit(date(2026, 12, 27), "follow-up")
    case = case.with_typed("follow_up.problems", "Nose sore, slides down after an hour; small window")
    sheet = fitting_sheet(case, STOCK, SETTINGS)
    findings = findings_of(case, sheet)
    assert findings.symptoms == {"nose", "tunnel"}
    assert not findings.acuity_logmar and not findings.eye_distance_mm
    # 22 mm of objective over 8.8 mm are 2.5x.
    assert findings.power_ratio["right"] == pytest.approx(1.0)
    diagnosis = diagnose_case(case, sheet, STOCK, SETTINGS)
    assert diagnosis is not None and diagnosis.first is not None and diagnosis.first.fault == "creep"
    assert diagnosis.carried == ("Power by diameters, right eye 8.8 on 2026-11-25",)


def test_way_of_a_fault_is_left_open_when_nothing_shows_it() -> None:
    """Double vision without its direction tells of a tilt, not which way; a measured prism does."""
    open_way = found(PAIR, Findings(double_far="double"))
    tilted = next(cause for cause in open_way.causes if cause.fault == "tilt_vertical")
    assert "which way cannot be said" in tilted.size_words
    assert "up" not in tilted.size_words and "down" not in tilted.size_words
    shown = found(PAIR, Findings(double_far="double", vertical_far_prism=1.6))
    assert shown.first is not None and shown.first.fault in ("tilt_vertical", "own_deviation")
    tilted = next(cause for cause in shown.causes if cause.fault == "tilt_vertical")
    assert "which way" not in tilted.size_words and tilted.size > 0
    # (M - 1) times the tilt: 1.6 prism D are 55 minutes of arc at 2.0x.
    assert tilted.size == pytest.approx(55, abs=12)


@pytest.mark.parametrize(
    ("findings", "words"),
    [
        (Findings(field_deg=float("nan")), "a finite number"),
        (Findings(acuity_logmar={"right": float("inf")}), "a finite number"),
        (Findings(light="purple"), "fades with gaze"),
        (Findings(symptoms=frozenset({"itch"})), "tunnel"),
    ],
)
def test_what_cannot_be_a_finding_is_refused(findings: Findings, words: str) -> None:
    """No finding goes on as NaN or infinity, and an answer that nobody offered is refused with those that are."""
    with pytest.raises(Refusal, match=words):
        found(HIGH, findings)


def test_every_kind_of_option_of_the_demo_can_be_searched() -> None:
    """For options spread over each demonstration case the shares add up to one and every cause has its words."""
    folder = Path(demo.__file__).parent / "demo"
    stock, _ = loads_stock((folder / "stock.toml").read_text(encoding="utf-8"))
    findings = Findings(acuity_logmar={"right": 0.9, "left": 0.9}, light="fades with gaze", near_end_mm=3000.0,
                        working_distance_mm=300.0, print_m_units=2.0)  # fmt: skip
    searched = 0
    for file in sorted((folder / "cases").glob("*.toml")):
        case = loads_case(file.read_text(encoding="utf-8"), file)
        recommended = plan(case, stock, SETTINGS)
        step = max(1, len(recommended.options) // 3)
        for rank in range(0, len(recommended.options), step):
            option = recommended.options[rank]
            model = model_of(option, recommended.person, SETTINGS)
            diagnosis = diagnose_with(model, findings, option.configuration)
            assert sum(cause.probability for cause in diagnosis.causes) == pytest.approx(1.0)
            assert diagnosis.sentence.startswith("Most likely")
            searched += 1
    assert searched >= 15


def test_no_choice_no_causes() -> None:
    """Without a chosen option there is nothing to hold findings against."""
    case = case_of(HIGH)
    sheet = fitting_sheet(case, STOCK, SETTINGS)
    bare = case.with_visit(replace(case.visit, choice=None))
    assert diagnose_case(bare, sheet, STOCK, SETTINGS) is None


def test_divergence_of_normals_by_hand() -> None:
    """Two normals d standard deviations apart: d²/2 nats; picked rightly with Phi(d/2): d 2 gives 0.841."""
    first, second = Spread(0.0, 1.0), Spread(2.0, 1.0)
    assert divergence(first, second) == pytest.approx(2.0)
    assert told_apart(first, second) == pytest.approx(0.8413, abs=1e-4)
    assert divergence(first, first) == pytest.approx(0.0)
