"""Every complaint of a troubleshooting table, in words of our own: heard from what is typed, led to its causes and its check.

Common practice of low vision clinics; the optics behind a row stands beside it where there is any.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from afocal.core.case import Case, new_case
from afocal.core.configuration import Configuration
from afocal.core.faults import diagnose_case, findings_of
from afocal.core.faults.catalogue_more import FAULTS
from afocal.core.faults.symptoms import ROWS, SYMPTOMS
from afocal.core.fitting.sheet import fitting_sheet
from afocal.core.settings import Settings
from afocal.core.stock import Cap, Stock, Telescope

SETTINGS = Settings()
STOCK = Stock(
    telescopes=(
        Telescope(id="pair", description="Galilean 2.0x", type="galilean", magnification=2.0, tube_length_mm=24,
                  objective_diameter_mm=25, housing_radius_mm=14, positions=("full diameter",), spread_highest_mm=3),
        Telescope(id="high", description="Galilean 2.5x", type="galilean", magnification=2.5, tube_length_mm=28,
                  objective_diameter_mm=22, housing_radius_mm=9, positions=("bioptic",)),
        Telescope(id="prism", description="Keplerian 4x", type="keplerian", magnification=4.0, tube_length_mm=80,
                  objective_diameter_mm=16, field_stop_mm=9, housing_radius_mm=11, focusable=True, shortest_tube_mm=76,
                  longest_tube_mm=90),
    ),
    caps=(Cap(id="four", description="cap +4", power_d=4.0, base_in_prism=11.0),),
)  # fmt: skip
PAIR = Configuration("pair", "both", "full diameter", "through the lens", cap="four")
HIGH = Configuration("high", "right", "bioptic", "through the lens")
PRISM = Configuration("prism", "right", "full diameter", "through the lens")

# What the person says, the row, the causes that must stand behind it, words of its check, a device that can have it.
TABLE = (
    ("It is blurred everywhere, far and near.", "blur_everywhere", "sphere wrong_place focus cylinder", "behind the ocular", HIGH),
    ("Clear far away, but blurred at 2 m, across the table", "blur_middle", "middle_distance accommodation", "weak cap", HIGH),
    # A tube too long by its far point: M²/|R| - t M, R in D and t in m.
    ("Sharp only close up", "clear_close_only", "focus sphere cap_left_on", "farthest clear distance", PAIR),
    # Half-field slope times (t + M d) stays the same for one objective: the field shrinks with the eye distance.
    ("Like a tunnel, I see too little at once", "tunnel", "eye_distance field_narrow", "eye distance", HIGH),
    ("Goes dark and fades when I look to the side", "dark_fading", "exit_pupil_missed light", "Eye relief", PRISM),
    ("There is a crescent, half of the view is gone", "crescent", "decentration tube_tilt", "middle of the eye's pupil", HIGH),
    ("Two pictures, one above the other", "double_vertical", "tilt_vertical height_mismatch cap_unequal", "at near", PAIR),
    ("Double only when reading with the caps", "double_near_only", "near_convergence cap_reversed", "base-in", PAIR),
    ("Two pictures side by side in the street", "double_far", "tilt_horizontal fusion_lost", "prism at distance", PAIR),
    ("One picture is bigger than the other", "sizes_differ", "marked_power unequal_images", "Exit pupil of each side", PAIR),
    ("Everything swims, I get nausea", "swimming", "motion loose_mount", "less power", HIGH),
    ("I cannot find the bus number with it", "cannot_find", "field_narrow no_training", "10 degrees", HIGH),
    ("Print not better than before", "print_no_better", "contrast light reserve", "double the light", PAIR),
    ("Letters good, but words fall apart", "letters_not_words", "reserve scotoma", "critical print size", PAIR),
    ("I see the face but not the expression", "faces", "contrast", "go nearer", HIGH),
    ("Works in the clinic, not at home", "clinic_not_home", "light posture working_distance no_training", "real distance", PAIR),
    ("My neck aches after a while", "neck", "posture tube_tilt tube_height working_distance", "head drop", HIGH),
    ("Nose sore, and it slides down", "nose", "creep", "after an hour", HIGH),
    ("Colour fringes, and the picture looks barrel shaped", "fringe", "off_axis", "Centre the gaze", HIGH),
    ("Reflections, a veil over everything", "veil", "reflections", "Hood", HIGH),
    ("The cap seems too strong", "cap_strength", "sphere working_distance cap_power", "1000/cap", PAIR),
)  # fmt: skip


def complaining(words: str, choice: Configuration) -> Case:
    """A follow-up at which somebody complains, with nothing measured yet."""
    case = new_case("TEST-7", date(2026, 11, 25))
    for path, text in {
        "right.distance_acuity": "20/80", "left.distance_acuity": "20/80", "right.pupil": "3.5", "left.pupil": "3.5",
        "face.ocular_to_cornea": "13", "face.pd": "31/31", "binocular.fusion": "yes", "person.birth_year": "1982",
        "right.refraction": "-1.00", "left.refraction": "-1.00", "right.near_acuity": "2M @ 40",
        "left.near_acuity": "2M @ 40",
    }.items():  # fmt: skip
        case = case.with_typed(path, text)
    case = case.with_visit(replace(case.visit, choice=choice))
    return case.with_new_visit(date(2026, 12, 23), "follow-up").with_typed("follow_up.problems", words)


def test_the_table_is_whole() -> None:
    """Twenty-one complaints, each with its row."""
    assert len(TABLE) == 21
    assert {row for _, row, _, _, _ in TABLE} == {row.key for row in SYMPTOMS}


@pytest.mark.parametrize(
    ("words", "key", "causes", "check", "choice"), TABLE, ids=[row for _, row, _, _, _ in TABLE]
)
def test_a_complaint_leads_to_its_causes(
    words: str, key: str, causes: str, check: str, choice: Configuration
) -> None:
    """Typed at a follow-up it is heard as its row; the row has the causes and the check; they lead the ranking."""
    wanted = set(causes.split())
    assert wanted <= FAULTS.keys()
    assert wanted <= ROWS[key].causes.keys()
    assert check in ROWS[key].check
    case = complaining(words, choice)
    sheet = fitting_sheet(case, STOCK, SETTINGS)
    heard = findings_of(case, sheet).symptoms
    assert heard is not None and key in heard
    diagnosis = diagnose_case(case, sheet, STOCK, SETTINGS)
    assert diagnosis is not None and diagnosis.first is not None
    assert diagnosis.first.fault in ROWS[key].causes
    possible = {cause.fault for cause in diagnosis.causes}
    # Whatever this device can have is a candidate; what nothing measured can show yet is named apart.
    assert wanted & possible
    assert diagnosis.next_check
