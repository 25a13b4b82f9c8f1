"""The chart note: 72 columns, only what was done, assumptions said, each number with its criterion."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date, datetime

import documents_cases as cases
import pytest

from afocal.core.case import new_case
from afocal.core.documents.chart_note import chart_note, note_difference, note_digest
from afocal.core.documents.text import columns
from afocal.core.documents.version import FORMULAS_VERSION, formulas_digest, made_by
from afocal.core.fields import by_path
from afocal.core.settings import Settings

NAMES = tuple(cases.ALL)
FORMS = [
    (length, order, letters)
    for length in ("full", "brief")
    for order in ("soap", "narrative")
    for letters in ("utf-8", "ascii")
]


def note(case, settings=cases.SETTINGS, **form) -> str:
    """The note of a case with its plan and sheet."""
    return chart_note(case, cases.plan_of(case), cases.sheet_of(case), settings, **form)


def flat(text: str) -> str:
    """The words in one line."""
    return " ".join(text.split())


@pytest.mark.parametrize(("length", "order", "letters"), FORMS)
@pytest.mark.parametrize("name", NAMES)
def test_every_form_fits_and_is_safe(name, length, order, letters):
    """At most 72 columns, no control characters, no trailing blanks, ASCII when asked for."""
    text = note(cases.ALL[name](), length=length, order=order, letters=letters)
    lines = text.split("\n")
    assert max(columns(line) for line in lines) <= 72
    assert all(line == line.rstrip() and line.isprintable() for line in lines)
    assert text.endswith("\n") and not text.endswith("\n\n") and "\n\n\n" not in text
    assert letters == "utf-8" or text.isascii()


@pytest.mark.parametrize(("length", "order", "letters"), FORMS)
def test_hostile_words_stay_in_their_place(length, order, letters):
    """Whatever stands in the fields: no control characters, no placeholder filled, no line that passes for a heading."""
    case = cases.hostile(replace(cases.fitted(), visits=cases.bioptic().visits))
    text = note(case, length=length, order=order, letters=letters)
    assert all(c.isprintable() or c == "\n" for c in text)
    assert max(columns(line) for line in text.split("\n")) <= 72
    assert "{made_by}" in text
    assert text.split("\n").count("ASSESSMENT") == (1 if order == "soap" else 0)


def test_an_empty_case_has_a_short_note():
    """Nothing was done, so nothing is said but who, when, that nobody signed, and the version."""
    text = note(new_case("TC-000", cases.ON))
    assert text.startswith("Examination 2026-11-24, code TC-000\n")
    for word in ("OBJECTIVE", "ASSESSMENT", "Chosen", "acuity", "Cautions given", "ADDENDA", "NOTES BY"):
        assert word not in text
    assert "Not signed." in text and made_by() in flat(text)


def test_each_number_of_the_field_has_its_limit_eye_distance_and_pupil():
    """The field says which limit, at which eye distance, with which pupil, and that it is nominal."""
    text = flat(note(cases.bioptic()))
    # 2.5x, tube 28 mm, objective 22 mm, eye distance 17 mm: half-light field 7.143 deg, derived by ray matrices.
    assert (
        "True field, right eye: 7.1 deg (nominal, half-light limit, limited by the objective; eye distance 17.0 mm, "
        "pupil 3.0 mm)" in text
    )
    # The same worked case: clear from 4.097 m set for infinity, transmittance 0.9413, ametropia at the ocular 2.488 D.
    assert (
        "Clear, right eye: from 4.10 m to far (from the objective; accommodation 0.00 D, depth of focus 1.50 D"
        in text
    )
    assert "Ametropia at the ocular, right eye: +2.49 D (+2.58 D at the cornea, best sphere)" in text
    assert "Light let through: 94% (nominal)" in text
    assert (
        "Acuity promised: 20/40-2 (0.34 logMAR; losses counted: blur 0.02 log; 0.32 logMAR without)" in text
    )


def test_a_cap_has_its_working_distance_with_what_was_left_in():
    """Working distance 415 mm with 1 D of myopia left in; equivalent power 5.62 D (derived by ray matrices)."""
    text = flat(note(cases.with_cap()))
    assert "Working distance: 41.5 cm (cap +2.25 D, from the cap; ametropia left in)" in text
    assert "equivalent power 5.6" in text


def test_what_was_assumed_is_said_and_what_was_measured_is_not():
    """An unmeasured contrast is named as assumed; once measured it moves to what was found."""
    case = cases.two_tubes()
    before = note(case)
    assumed = before[before.index("ASSUMED, NOT MEASURED") : before.index("\nPLAN\n")]
    assert "Letter contrast, right eye: contrast sensitivity of 1.20" in flat(assumed)
    after = note(case.with_typed("right.contrast", "1.4"))
    assumed = after[after.index("ASSUMED, NOT MEASURED") : after.index("\nPLAN\n")]
    assert "Letter contrast, right eye" not in flat(assumed)
    assert "Letter contrast: right 1.40 logCS" in after


def test_a_confirmed_assumption_says_that_it_was_confirmed():
    """A value that was accepted by name is no measurement and is not called one."""
    case = cases.refused().with_typed("face.vertex_distance", "12", "confirmed")
    assert "Vertex distance, carrier: 12 mm (assumed value, confirmed)" in note(case)


def test_carried_over_values_say_so():
    """At a fitting visit the earlier values are marked, the new one is not."""
    text = note(cases.fitted())
    assert "PD, distance: R 32 L 32.5 total 64.5 mm (carried over)" in text
    assert "Ocular to cornea: 13.5 mm\n" in text


def test_the_clinics_own_settings_are_part_of_the_note():
    """A changed assumption is named with the value that it replaces."""
    settings = Settings(assumptions={"cr95_logmar": 0.15})
    assert "cr95 logmar 0.15 instead of 0.2" in flat(note(cases.bioptic(), settings))
    assert "instead of" not in note(cases.bioptic())


@pytest.mark.parametrize(
    ("notation", "shown"),
    [
        ("snellen_ft", "20/250-1 (1.12 logMAR)"),
        ("snellen_m", "6/75-1 (1.12 logMAR; typed 20/250-1)"),
        ("decimal", "0.076 (1.12 logMAR; typed 20/250-1)"),
        ("logmar", "1.12 logMAR (typed 20/250-1)"),
    ],
)
def test_acuities_stand_in_the_clinics_notation(notation, shown):
    """Whatever was typed is shown in the notation of the settings, with what was typed where it differs."""
    assert f"left {shown}" in flat(note(cases.bioptic(), Settings(acuity_notation=notation)))


@pytest.mark.parametrize(
    ("cylinder", "shown"), [("plus", "+1.75 +0.50 x 180 (typed"), ("minus", "+2.25 -0.50 x 90\n")]
)
def test_refractions_stand_in_the_clinics_cylinder_form(cylinder, shown):
    """Plus or minus cylinder by the settings."""
    assert shown in note(cases.bioptic(), Settings(cylinder=cylinder))


def test_off_chart_acuities_are_words():
    """Hand motion and light perception are words with their distance; no magnification is spoken of."""
    text = flat(note(cases.refused()))
    assert "right hand motion at 0.5 m; left light perception" in text
    assert "Computed advice: refuse;" in text and "Power in use" not in text
    assert "ASSUMED" not in text


@pytest.mark.parametrize("order", ["soap", "narrative"])
@pytest.mark.parametrize("length", ["full", "brief"])
def test_a_same_day_referral_leads_the_note(order, length):
    """After who and when nothing stands before it, in every order and length; it is in the history as well."""
    case = cases.bioptic().with_typed("history.flashes_or_floaters", "yes")
    text = note(case, length=length, order=order)
    head, _, rest = text.partition("\n\n")
    assert head.startswith("Examination") and len(head.splitlines()) <= 3
    assert "Refer, same day: New flashes or floaters" in flat(rest)[:110]
    assert "New flashes or floaters: yes" in flat(text)
    assert text.count("Refer, same day") == 1


def test_the_advice_says_of_which_device_it_speaks():
    """With a choice of that; without one the option that came first is named with its eye, position and correction."""
    assert "Computed advice on the chosen device: trial;" in flat(note(cases.bioptic()))
    text = flat(note(cases.updated(cases.bioptic(), choice=None, choice_reason="")))
    assert "Computed advice: " in text
    assert re.search(
        r"First of the options computed: \d.*x (Galilean|Keplerian) telescope \(.*\); right eye; ", text
    )


def test_what_was_answered_no_takes_one_line():
    """Only what was asked: answered yes and not asked stay apart from answered no."""
    case = cases.bioptic().with_typed("history.eye_pain", "no").with_typed("history.new_distortion", "yes")
    text = flat(note(case))
    assert "Asked and answered no: sudden loss of sight, eye pain" in text
    assert "New distortion of lines: yes" in text
    assert "flashes" not in text


def test_a_follow_up_says_what_changed_against_what_repeats():
    """0.72 to 0.96 logMAR is 0.24 worse, over the 0.20 that repeats; what was carried over is no change."""
    later = cases.bioptic().with_new_visit(date(2027, 1, 12), "follow-up")
    assert "Since it was last measured" not in note(later)
    text = flat(note(later.with_typed("right.distance_acuity", "0.96 logMAR")))
    assert "Since it was last measured: Acuity R worse by 0.24 log, more than repeats (0.2" in text
    assert "left 20/250-1" in text and "(1.12 logMAR; carried over)" in text
    assert "Pupil height: right 21 mm; left 21.5 mm (both carried over)" in text


def test_a_signature_says_whether_it_still_holds():
    """A visit changed outside the program after signing says so where the signature stands."""
    signed = cases.fitted()
    assert "unchanged, with 1 addendum since" in flat(note(signed))
    forged = replace(signed, visits=(*signed.visits[:-1], replace(signed.visit, notes="later words")))
    assert "the content has been changed outside the program since" in flat(note(forged))


def test_fitting_cautions_training_signature_and_addendum():
    """A fitting visit tells each step with verdict, unit and who else, cautions by name, sessions, signature, later words."""
    text = flat(note(cases.fitted()))
    assert (
        "Tilt of the tube, right eye: measured 21 deg; target 21 deg between tube and lens normal; ok:"
        in text
    )
    assert "Stays in place: ok: Yes; ro, 2026-12-07" in text
    assert "Cautions given and understood: Never toward the sun;" in text
    assert "Cautions given, not yet understood: Weight on the nose" in text
    assert "Training 2026-12-08: localise, 15 min: in view within two seconds" in text
    assert re.search(
        r"SIGNED Signed by mk on 2026-12-08 15:00; unchanged, .* Content digest [0-9a-f]{16}\.", text
    )
    assert "| 2026-12-09 09:00, mk: | Called: the strap was missing, sent today." in text


def test_cautions_that_were_not_given_are_not_claimed():
    """Before anything was said nothing is called said."""
    assert "Cautions given" not in note(cases.bioptic())


def test_free_notes_stand_apart_line_by_line():
    """Typed notes keep their lines, behind a bar, under a heading of their own."""
    text = note(cases.bioptic())
    assert (
        "NOTES BY THE PRACTITIONER, AS TYPED\n| Wants to go to the market on his own again.\n"
        "| Afraid of the stairs at the quay.\n" in text
    )


def test_a_choice_that_cannot_be_used_is_said_with_its_reason():
    """A chosen device without fusion for two tubes has no numbers, but the reason."""
    case = cases.two_tubes().with_typed("binocular.fusion", "no")
    text = flat(note(case))
    assert "the chosen device is not advised:" in text and "usion" in text
    assert "Power in use" not in text and "g20-wide" in text


def test_the_brief_note_is_shorter_and_says_nothing_new():
    """The brief note has at most two thirds of the lines of the full one, and the same numbers."""
    for name in NAMES:
        case = cases.ALL[name]()
        full, brief = note(case), note(case, length="brief")
        if case.visit.choice is not None:
            assert len(brief.splitlines()) <= len(full.splitlines()) * 2 / 3
        numbers = set(re.findall(r"\d+\.\d+ (?:mm|deg|D|cm|m)\b", flat(brief)))
        assert numbers <= set(re.findall(r"\d+\.\d+ (?:mm|deg|D|cm|m)\b", flat(full)))


def test_soap_and_narrative_tell_the_same_numbers():
    """The order changes the telling, not the content."""
    for name in NAMES:
        case = cases.ALL[name]()
        soap, story = (
            set(re.findall(r"\d+\.\d+", note(case, order=order))) for order in ("soap", "narrative")
        )
        assert soap == story


def test_the_same_case_gives_the_same_note():
    """Nothing of the moment of writing is in a note."""
    assert note(cases.fitted()) == note(cases.fitted())


def test_the_version_of_program_and_formulas_is_at_the_foot():
    """Program, formulas by number and by a digest over their symbols."""
    assert re.search(r"Computed by afocal \S+, formulas \d+-[0-9a-f]{8}\.", flat(note(cases.bioptic())))
    assert made_by().endswith(f"formulas {FORMULAS_VERSION}-{formulas_digest()}")


def test_a_digest_ignores_line_ends_and_version_and_nothing_else():
    """Another width, system or version is no change; another number is."""
    text = note(cases.bioptic())
    other = text.replace("\n", "\r\n").replace(made_by(), "afocal 9.9, formulas 7-00000000")
    assert note_digest(other) == note_digest(text)
    assert note_digest(note(cases.bioptic().with_typed("right.pupil", "3.5"))) != note_digest(text)


def test_the_difference_shows_what_changed_after_the_note_was_taken():
    """A changed acuity shows as was and now with words around it, and what follows from it too."""
    case = cases.bioptic()
    before = note(case)
    after = note(case.with_typed("right.distance_acuity", "20/80"))
    rows = note_difference(before, after)
    assert rows[0].startswith("was: ") and rows[1].startswith("now: ")
    acuity = next(row for row in rows if row.startswith("now: ") and "20/80 (0.60" in row)
    label = by_path()["right.distance_acuity"].label.removesuffix(", right eye")
    assert f"{label}: right [20/80" in acuity
    assert any("Chance" in row for row in rows)
    assert note_difference(before, before) == []
    assert note_difference(before, before.replace("\n  ", " ")) == []


def test_the_difference_of_added_and_removed_words():
    """What was added has nothing before it, what was removed nothing after."""
    assert note_difference("a b c", "a b x c") == ["was: a b [nothing] c", "now: a b [x] c"]
    assert note_difference("a b x c", "a b c") == ["was: a b [x] c", "now: a b [nothing] c"]


def test_typed_notes_are_never_touched_by_making_a_note():
    """Making notes changes no case; what the practitioner typed is there to the letter."""
    case = cases.updated(
        cases.bioptic(), notes="  two  spaces\n\ttab", note_taken_at=datetime(2026, 11, 24, 15)
    )
    note(case)
    assert case.visit.notes == "  two  spaces\n\ttab"


def test_the_cautions_are_those_of_the_device_that_is_written_about():
    """Where the plan puts a pair first, a note about one tube does not warn of what two tubes ask, and the other way."""
    pair = cases.two_tubes().with_typed("binocular.base_out_distance", "")
    made = cases.plan_of(pair)
    assert made.best is not None and made.best.configuration.eye == "both"
    one = next(option for option in made.options if option.configuration.eye == "right").configuration
    warning = "Measure it through the two tubes before they are ordered."
    assert warning in flat(note(pair))
    assert warning not in flat(note(cases.updated(pair, choice=one)))


def test_the_reasons_for_one_eye_and_for_two_are_told_apart():
    """A colleague reads which reason speaks for what: the same acuity does not stand beside one dominant eye."""
    text = flat(note(cases.two_tubes()))
    _, _, after = text.partition("One eye or two: ")
    two, _, one = after.partition(" For one: ")
    assert " For two: " in two and "fusion was shown" in two.partition(" For two: ")[2]
    assert "fusion was shown" not in one.partition(".")[0]
