"""From typed text to the cause: faults traced by rays, their measurements typed into the fitting sheet, the cause read back.

A person of the practice set with three devices of its stock. The faults are those of :mod:`traced_device`, whose rays share
nothing with the program's formulas; every finding is rounded as an examiner writes it and typed at the step that asks for it.
Asked for: the true cause first in four of five, among the first three in nineteen of twenty; causes that are said to be tied
count as one, and a fault that moves what is typed by less than 2.5 standard deviations is none that shows.
"""

from __future__ import annotations

import random
import time
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest
from traced_device import (
    SHOWS_SD,
    Device,
    Injected,
    Order,
    device_of,
    distance,
    injections,
    measured,
    noisy,
    place_of,
    with_bench,
)

from afocal.core import data as demo
from afocal.core.case import Case
from afocal.core.case_file import dumps_case, loads_case
from afocal.core.configuration import Configuration
from afocal.core.errors import RangeRefusal
from afocal.core.faults import Diagnosis, Findings, diagnose_case, findings_of, model_of
from afocal.core.faults.model import Model
from afocal.core.fitting.progress import progress_of, with_result
from afocal.core.fitting.sheet import fitting_sheet
from afocal.core.fitting.types import FittingSheet
from afocal.core.plan import option_for, read_case
from afocal.core.settings import Settings
from afocal.core.stock import Stock, loads_stock

SETTINGS = Settings()
CHOICES = {
    "bioptic": Configuration("small-2.5", "right", "bioptic", "through the lens"),
    "pair": Configuration("wide-2.0", "both", "full diameter", "through the lens", cap="cap+4.00in"),
    "keplerian": Configuration("prism-4", "left", "full diameter", "through the lens"),
}
NAMES = tuple(CHOICES)
GONE = Configuration("sold-1", "left", "full diameter", "through the lens")
# What the examination of the record says, in place of what it says of this person: no accommodation, pupils measured,
# no complaint and no trial that the traced devices know nothing of.
EXAMINED = {
    "person.birth_year": "1950", "right.distance_acuity": "0.60 logMAR", "left.distance_acuity": "0.64 logMAR",
    "right.refraction": "pl", "left.refraction": "pl", "right.near_acuity": "1.6M @ 40", "left.near_acuity": "1.6M @ 40",
    "right.pupil": "3.2", "left.pupil": "3.2", "right.contrast": "1.20", "left.contrast": "1.20",
    "test.chart_distance": "4 m", "face.pd": "31/31", "binocular.fusion": "yes", "follow_up.problems": "",
    "trial.acuity_both": "", "binocular.vertical": "", "face.ocular_to_cornea": "13", "face.b_size": "48",
}  # fmt: skip


@cache
def stock() -> Stock:
    """The stock of the practice set."""
    return loads_stock((folder() / "stock.toml").read_text(encoding="utf-8"))[0]


def folder() -> Path:
    """The practice set."""
    return Path(demo.__file__).parent / "demo"


@cache
def prepared(name: str) -> tuple[Case, FittingSheet, Model, Device]:
    """The case with its choice, the sheet, the model that says how well things repeat, and the traced device."""
    file = folder() / "cases" / "LQ-107.toml"
    case = loads_case(file.read_text(encoding="utf-8"), file)
    for path, text in EXAMINED.items():
        case = case.with_typed(path, text)
    choice = CHOICES[name]
    case = case.with_visit(replace(case.visit, choice=choice))
    context, demands = read_case(case, SETTINGS)
    option = option_for(context, stock(), demands, choice)
    model = model_of(option, context.person, SETTINGS, 4000.0)
    telescope = stock().telescope(choice.telescope)
    assert telescope is not None
    logmar = {"right": 0.60, "left": 0.64}
    eyes = ("right", "left") if choice.eye == "both" else (choice.eye,)
    lead = option.device.leading
    order = Order(
        telescope, stock().cap(choice.cap), {eye: logmar[eye] for eye in eyes}, lead.eye_distance_mm, 3.2, 62.0,
        (1.6, 400.0),
    )  # fmt: skip
    return case, fitting_sheet(case, stock(), SETTINGS), model, device_of(order)


# --- as an examiner writes it ---------------------------------------------------------------------------------------


def typed(
    found: Findings, sheet: FittingSheet, objective_mm: float, power: float
) -> Iterator[tuple[str, str]]:
    """The step and the text for every finding, rounded as it is written down."""
    for side, value in found.acuity_logmar.items():
        yield f"performance.acuity.{side}", f"{value:.2f} logMAR"
    for side, value in found.naked_logmar.items():
        yield f"search.naked.{side}", f"{value:.2f} logMAR"
    for side, value in found.over_refraction_d.items():
        yield f"fit.focus.{side}", f"{round(4 * value) / 4:+.2f}"
    for side, value in found.over_cylinder_d.items():
        yield f"search.cylinder.{side}", f"{round(4 * value) / 4:.2f}"
    for side, value in found.tube_focus_d.items():
        yield f"verify.focus.{side}", f"{value:+.2f}"
    for side, value in found.power_ratio.items():
        yield f"verify.power.{side}", f"{objective_mm / (power * value):.2f} mm"
    for side, value in found.cap_power_d.items():
        yield f"verify.cap.{side}", f"{value:+.2f}"
    for side, value in found.cap_base_in_prism.items():
        yield f"verify.cap_prism.{side}", f"{value:.1f}"
    for side, value in found.eye_distance_mm.items():
        yield f"fit.eye_distance.{side}", f"{value:.1f} mm"
    yield from places(found, sheet)
    yield from distances(found)
    yield from words(found)
    yield from prisms(found)


def places(found: Findings, sheet: FittingSheet) -> Iterator[tuple[str, str]]:
    """Where the tube stands: what is measured is the place, not how far it is off."""
    offs = {
        "fit.lateral": found.lateral_off_mm,
        "fit.height": found.height_off_mm,
        "fit.tilt": found.tilt_off_deg,
    }
    for key, values in offs.items():
        for side, off in values.items():
            step = sheet.step(f"{key}.{side}") or sheet.step(key)
            if step is not None and step.target_value is not None:
                # A gap over the pupil grows as the tube rises, one under it shrinks.
                way = -1.0 if key == "fit.height" and "below" in step.target else 1.0
                yield step.key, f"{step.target_value + way * off:.1f}"
    step = sheet.step("fit.spread")
    if found.spread_off_mm is not None and step is not None and step.target_value is not None:
        yield step.key, f"{step.target_value + found.spread_off_mm:.1f} mm"


def distances(found: Findings) -> Iterator[tuple[str, str]]:
    """Distances and the field, to each side and in all."""
    if found.near_end_mm is not None:
        yield "performance.near_end", f"{found.near_end_mm / 1000:.2f} m"
    if found.far_end_d is not None:
        # Whatever is clear beyond 20 m is clear as far as one sees.
        yield "search.far_end", "100 m" if found.far_end_d < 0.05 else f"{1 / found.far_end_d:.2f} m"
    if found.working_distance_mm is not None:
        yield "fit.working_distance", f"{found.working_distance_mm / 10:.1f} cm"
    if found.used_distance_mm is not None:
        yield "search.used_distance", f"{found.used_distance_mm / 10:.1f} cm"
    if found.print_m_units is not None:
        yield "performance.print", f"{found.print_m_units:.2f}M"
    if found.field_deg is not None:
        half, right, up = (
            found.field_deg / 2,
            found.field_shift_right_deg or 0.0,
            found.field_shift_up_deg or 0.0,
        )
        yield "performance.field", f"{found.field_deg:.1f}"
        yield "search.field_right", f"{max(0.0, half + right):.1f}"
        yield "search.field_left", f"{max(0.0, half - right):.1f}"
        yield "search.field_up", f"{max(0.0, 8 + up):.1f}"
        yield "search.field_down", f"{max(0.0, 8 - up):.1f}"


def words(found: Findings) -> Iterator[tuple[str, str]]:
    """Answers in the words of the step."""
    answers = {
        "performance.light": found.light, "search.words": found.words, "search.home": found.home,
        "search.more_light": found.more_light, "search.refocus": found.refocus, "trial.steady": found.steady,
        "fit.stays": found.stays, "performance.double": found.double_far, "fit.near_single": found.double_near,
    }  # fmt: skip
    yield from ((key, answer) for key, answer in answers.items() if answer is not None)


def prisms(found: Findings) -> Iterator[tuple[str, str]]:
    """Prisms and what the bench says of two tubes; on the face only what the device adds is written down."""
    own = (found.naked_vertical_prism, found.naked_horizontal_prism)
    added = (found.vertical_far_prism, found.horizontal_far_prism)
    for way, bare, more in zip(("vertical", "horizontal"), own, added, strict=True):
        if bare is not None and more is not None:
            yield f"search.own_{way}", f"{bare:+.2f}"
            yield f"fit.{way}", f"{more:+.2f}"
    bench = {
        "search.near_vertical": found.vertical_near_prism, "search.near_horizontal": found.horizontal_near_prism,
        "verify.tilt_vertical": found.bench_tilt_vertical_arcmin, "verify.cap_height": found.cap_height_mm,
        "verify.tilt_horizontal": found.bench_tilt_horizontal_arcmin,
    }  # fmt: skip
    yield from ((key, f"{value:.1f}") for key, value in bench.items() if value is not None)


def with_typed(name: str, found: Findings) -> Case:
    """The case with everything typed that its sheet has a step for."""
    case, sheet, _, _ = prepared(name)
    telescope = stock().telescope(CHOICES[name].telescope)
    assert telescope is not None
    for key, text in typed(found, sheet, telescope.objective_diameter_mm, telescope.magnification):
        step = sheet.step(key)
        if step is not None:
            # What lies beyond the range of a step, as an over-refraction through a cap left on, is not measured at all.
            with suppress(RangeRefusal):
                case = with_result(case, step, text)
    return case


def searched(name: str, seed: int, draws: int) -> list[tuple[Injected, Diagnosis]]:
    """Every fault of one device that shows in what is typed, and what the search made of it."""
    _, sheet, model, plain = prepared(name)
    dice = random.Random(seed)

    def read_back(found: Findings) -> Findings:
        return findings_of(with_typed(name, found), sheet)

    without = read_back(with_bench(measured(plain, plain), plain, plain))
    results = []
    for truth in injections(plain):
        exact = with_bench(measured(truth.device, plain), truth.device, plain)
        if truth.fault != "nothing" and distance(read_back(exact), without, model) < SHOWS_SD:
            continue
        for _ in range(draws):
            diagnosis = diagnose_case(with_typed(name, noisy(exact, model, dice)), sheet, stock(), SETTINGS)
            assert diagnosis is not None
            results.append((truth, diagnosis))
    return results


@pytest.mark.parametrize("name", NAMES)
def test_the_true_cause_is_read_back_from_typed_text(name: str) -> None:
    """Typed at the steps of a person of the practice set: first in four of five, among three in nineteen of twenty."""
    results = searched(name, 5, 2)
    assert len(results) >= 30
    places = [place_of(diagnosis, truth) for truth, diagnosis in results]
    missed = [truth.fault for (truth, _), place in zip(results, places, strict=True) if not 1 <= place <= 3]
    assert sum(place == 1 for place in places) / len(places) >= 0.80
    assert sum(1 <= place <= 3 for place in places) / len(places) >= 0.95, missed
    # A tie is said in the sentence of the cause that leads it.
    for _, diagnosis in results:
        if diagnosis.first is not None and diagnosis.first.tied_with:
            assert "cannot tell it from" in diagnosis.sentence


@pytest.mark.parametrize("name", NAMES)
def test_everything_typed_is_read(name: str) -> None:
    """What the steps hold comes back as the findings that were typed, and survives the file."""
    _, sheet, _, plain = prepared(name)
    exact = with_bench(measured(plain, plain), plain, plain)
    case = with_typed(name, exact)
    assert loads_case(dumps_case(case)) == case
    found = findings_of(case, sheet)
    assert found.field_deg == pytest.approx(exact.field_deg, abs=0.05)
    assert (
        found.more_light == "no change" and found.words == "as letters" and found.home == "as in the clinic"
    )
    assert found.far_end_d == pytest.approx(0.01)
    assert found.naked_logmar == pytest.approx(dict(exact.naked_logmar), abs=0.005)
    assert found.power_ratio == pytest.approx(dict(exact.power_ratio), abs=0.01)
    if name == "pair":
        assert found.vertical_near_prism == pytest.approx(exact.vertical_near_prism, abs=0.05)
        assert found.horizontal_near_prism == pytest.approx(exact.horizontal_near_prism, abs=0.05)
        assert found.naked_vertical_prism == found.vertical_far_prism == 0.0


@pytest.mark.parametrize("name", NAMES)
def test_what_searches_for_a_cause_is_not_asked_of_everyone(name: str) -> None:
    """The steps that part causes are counted only once they have a result."""
    case, sheet, _, _ = prepared(name)
    search = sheet.phase("search")
    assert len(search) >= 8 and all(step.optional for step in search)
    before = progress_of(sheet, case.visit).total
    step = sheet.step("search.more_light")
    assert step is not None
    helped = with_result(case, step, "helps")
    assert progress_of(sheet, helped.visit).total == before + 1
    assert step.key in progress_of(sheet, helped.visit).attention


def test_own_deviation_is_not_laid_at_the_door_of_the_tubes() -> None:
    """A deviation that is there without the device, and no more through it, is the person's own."""
    case, sheet, _, _ = prepared("pair")
    for key, text in {
        "search.own_vertical": "2.0",
        "fit.vertical": "0",
        "performance.double": "double",
    }.items():
        step = sheet.step(key)
        assert step is not None
        case = with_result(case, step, text)
    found = findings_of(case, sheet)
    assert (found.naked_vertical_prism, found.vertical_far_prism) == (2.0, 0.0)
    diagnosis = diagnose_case(case, sheet, stock(), SETTINGS)
    assert diagnosis is not None and diagnosis.first is not None and diagnosis.first.fault == "own_deviation"


def test_a_measured_power_is_never_left_unexplained() -> None:
    """An exit pupil of 15 mm behind a 28 mm objective is 1.87x where 1.6x is marked, whatever else is complained of.

    28/15 = 1.867 and 28/17.5 = 1.6: 17 % stronger (objective over exit pupil, Smith WJ, Modern Optical Engineering, p. 290).
    """
    file = folder() / "cases" / "LQ-107.toml"
    case = loads_case(file.read_text(encoding="utf-8"), file)
    sheet = fitting_sheet(case, stock(), SETTINGS)
    step = sheet.step("verify.power.right")
    assert step is not None
    case = with_result(case, step, "15")
    assert "double" in case.value("follow_up.problems")
    diagnosis = diagnose_case(case, sheet, stock(), SETTINGS)
    assert diagnosis is not None and diagnosis.besides is not None
    assert (diagnosis.besides.fault, diagnosis.besides.eye) == ("marked_power", "right")
    assert 9 <= diagnosis.besides.size <= 21
    assert "By itself that points to: power other than marked, right eye" in diagnosis.sentence
    # Without the complaints it leads the list.
    quiet = case.with_typed("follow_up.problems", "").with_typed("trial.acuity_both", "")
    alone = diagnose_case(quiet, sheet, stock(), SETTINGS)
    assert alone is not None and alone.first is not None
    assert (alone.first.fault, alone.first.eye, alone.besides) == ("marked_power", "right", None)


def test_the_model_is_made_once_for_a_choice() -> None:
    """A second search with another finding reuses the model: it takes a fraction of the first."""
    case, sheet, _, _ = prepared("pair")
    step = sheet.step("performance.field")
    assert step is not None
    diagnose_case(case, sheet, stock(), SETTINGS)
    from afocal.core.faults import of_case

    kept = len(of_case._KEPT)
    began = time.perf_counter()
    diagnose_case(with_result(case, step, "9"), sheet, stock(), SETTINGS)
    assert time.perf_counter() - began < 2.0
    assert len(of_case._KEPT) == kept


def test_a_choice_that_would_not_be_offered_today_is_diagnosed_all_the_same() -> None:
    """Both eyes were fitted; the examination then loses fusion and the reach: the recorded device is still judged."""
    case, sheet, _, _ = prepared("pair")
    step = sheet.step("verify.power.right")
    assert step is not None
    case = with_result(case, step, "10")
    before = diagnose_case(case, sheet, stock(), SETTINGS)
    assert before is not None and before.first is not None and not before.problems
    case = case.with_typed("binocular.fusion", "no").with_typed("face.reach", "30 cm")
    now = diagnose_case(case, fitting_sheet(case, stock(), SETTINGS), stock(), SETTINGS)
    assert now is not None and now.first is not None
    assert (
        (now.first.fault, now.first.eye)
        == (before.first.fault, before.first.eye)
        == ("marked_power", "right")
    )
    assert len(now.problems) == 1 and "would not be offered" in now.problems[0]
    assert "device as chosen" in now.problems[0]


@pytest.mark.parametrize(
    ("edit", "says"),
    [
        (lambda case: case.with_typed("left.distance_acuity", "HM"), "hand motion"),
        (
            lambda case: case.with_visit(replace(case.visit, choice=GONE)),
            "no longer has telescope sold-1",
        ),
    ],
    ids=["eye", "stock"],
)
def test_a_device_without_numbers_says_why_no_cause_is_named(edit: Callable[[Case], Case], says: str) -> None:
    """Where the numbers of the chosen device cannot be computed any more, one sentence says so and why."""
    case, sheet, _, _ = prepared("keplerian")
    diagnosis = diagnose_case(edit(case), sheet, stock(), SETTINGS)
    assert diagnosis is not None and diagnosis.first is None and not diagnosis.causes
    assert diagnosis.sentence.startswith("No cause can be computed for the device as chosen: ")
    assert says in diagnosis.sentence
    assert "stays in the record" in diagnosis.sentence


def test_an_acuity_that_is_short_by_more_than_repeats_is_explained_or_named() -> None:
    """Slid down by 5 mm and 0.30 log short: sliding costs field, not acuity, so the acuity is named besides.

    0.30 log is over the 0.20 log within which 95 % of repeats lie (Kiser AK et al., Optom Vis Sci 2005;82:946, abstract).
    """
    case, sheet, model, _ = prepared("keplerian")
    promised = model.base["acuity.left"].mean  # type: ignore[union-attr]
    steps = {
        "fit.stays": "no",
        "fit.eye_distance.left": "18",
        "performance.acuity.left": f"{promised + 0.30:.2f} logMAR",
    }
    for key, text in steps.items():
        step = sheet.step(key)
        assert step is not None, key
        case = with_result(case, step, text)
    diagnosis = diagnose_case(case, sheet, stock(), SETTINGS)
    assert diagnosis is not None and diagnosis.first is not None and diagnosis.first.fault == "creep"
    assert any(words.startswith("acuity through it, left eye") for words in diagnosis.unexplained)
    assert diagnosis.besides is not None and "By itself that points to" in diagnosis.sentence
    # Within what repeats nothing is left over.
    step = sheet.step("performance.acuity.left")
    assert step is not None
    near = diagnose_case(with_result(case, step, f"{promised + 0.16:.2f} logMAR"), sheet, stock(), SETTINGS)
    assert near is not None and not near.unexplained
