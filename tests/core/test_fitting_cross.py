"""The sheet over every configuration of a small stock: steps that fit, numbers that are numbers, tolerances that shrink."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from itertools import product
from math import isfinite

import pytest

from afocal.core.case import Case, StepResult, new_case
from afocal.core.configuration import CORRECTIONS, EYES, FOCUS_SETTINGS, MOUNTS, POSITIONS, Configuration
from afocal.core.entry import Choice
from afocal.core.errors import AfocalError
from afocal.core.fitting.place import lateral_tolerance_mm
from afocal.core.fitting.progress import progress
from afocal.core.fitting.sheet import fitting_sheet
from afocal.core.fitting.types import PHASES, FittingSheet, Interval, Lens, Repeats, Ticks
from afocal.core.fitting.verdict import verdict
from afocal.core.settings import Settings
from afocal.core.sources import SOURCES
from afocal.core.stock import Cap, Stock, Telescope


def tube(id: str, power: float, **more: object) -> Telescope:
    """A telescope that can be mounted anywhere."""
    usual: dict[str, object] = {
        "description": f"tube {power}x", "type": "galilean", "tube_length_mm": 24.0, "objective_diameter_mm": 22.0,
        "positions": POSITIONS, "mounts": MOUNTS, "corrections": CORRECTIONS[:3], "spread_highest_mm": 2.0,
    }  # fmt: skip
    return Telescope(**{"id": id, "magnification": power, **usual, **more})


STOCK = Stock(
    telescopes=(
        tube("weak", 1.6),
        tube("middle", 2.0),
        tube("strong", 3.0, tube_length_mm=35.0),
        tube(
            "turn", 2.5, focusable=True, shortest_tube_mm=18.0, longest_tube_mm=34.0, corrections=CORRECTIONS,
        ),
        tube("erect", 3.0, type="keplerian", tube_length_mm=60.0, objective_diameter_mm=15.0, field_stop_mm=9.0),
        tube(
            "inverting", 4.0, type="keplerian", tube_length_mm=80.0, objective_diameter_mm=16.0, field_stop_mm=9.0,
            erect=False,
        ),
    ),
    caps=(Cap(id="plain", description="cap +4", power_d=4.0), Cap(id="prism", description="+2.25", power_d=2.25, base_in_prism=4.0)),
)  # fmt: skip
SETTINGS = Settings()


def case() -> Case:
    """A person with everything that a sheet asks of the record."""
    made = new_case("CROSS-1", date(2026, 11, 25))
    typed = {
        "person.birth_year": "1960", "right.distance_acuity": "20/125", "left.distance_acuity": "20/100",
        "right.refraction": "+2.00 -1.00 x 90", "left.refraction": "-3.00", "right.near_acuity": "2M @ 40",
        "left.near_acuity": "1.6M @ 40", "binocular.fusion": "yes", "face.pd": "31/32", "face.b_size": "44",
        "face.pupil_height_right": "22", "face.pupil_height_left": "21", "face.bridge": "18", "face.a_size": "52",
        "face.vertex_distance": "12", "test.lenses_worn": "bifocal", "face.segment_height": "15",
        "right.reading_curve": "4M 80, 3.2M 80, 2.5M 70, 2M 50, 1.6M 20 @ 40", "history.falls": "one",
    }  # fmt: skip
    for path, text in typed.items():
        made = made.with_typed(path, text)
    made = made.with_goal_typed(0, "task", "read the post").with_goal_typed(0, "detail", "1.0M")
    return made.with_goal_typed(1, "task", "see the board").with_goal_typed(1, "distance", "5 m")


CASE = case()


def sheet_for(choice: Configuration) -> FittingSheet:
    """The sheet of a configuration for that person."""
    return fitting_sheet(CASE.with_visit(replace(CASE.visit, choice=choice)), STOCK, SETTINGS)


def configurations(telescope: Telescope) -> list[Configuration]:
    """The whole cross of one telescope."""
    return [
        Configuration(telescope.id, eye, position, mount, cap, "", correction, focus, spread)
        for eye, position, mount, cap, correction, focus in product(
            EYES, POSITIONS, MOUNTS, ("", "plain", "prism"), telescope.corrections, FOCUS_SETTINGS
        )
        for spread in ((0.0, 1.5) if eye == "both" else (0.0,))
    ]


def check_numbers(sheet: FittingSheet) -> None:
    """Every number of a sheet is finite and every interval the right way round."""
    for step in sheet:
        assert step.source == "" or step.source in SOURCES, step.key
        if isinstance(step.kind, Choice) and not isinstance(step.accept, Ticks):
            # What stands there as wanted can be typed.
            assert step.target.lower().startswith(step.kind.options), step
        numbers = [*step.numbers.values()]
        numbers += [] if step.target_value is None else [step.target_value]
        if isinstance(step.accept, Repeats):
            numbers += [step.accept.promised, step.accept.repeats]
        if isinstance(step.accept, Lens):
            numbers += [step.accept.sphere_d, step.accept.cylinder_d, step.accept.sphere_within_d]
        if isinstance(step.accept, Interval):
            ends = step.accept
            given = [ends.outer_lowest, ends.lowest, ends.highest, ends.outer_highest]
            present = [end for end in given if end is not None]
            assert present == sorted(present), step
            numbers += present
        assert all(isfinite(number) for number in numbers), step
        for text in (step.do, step.target, step.how, step.tolerance, step.rule, step.heading):
            assert "nan" not in text.lower().split() and "inf" not in text.split() and "None" not in text, (
                step
            )


def check_fits(sheet: FittingSheet, choice: Configuration, telescope: Telescope) -> None:
    """The steps are those of this type, position, mount, eyes and cap, and no others."""
    keys = {step.key for step in sheet}
    assert len(keys) == len(sheet.steps)
    bases = {key.removesuffix(".right").removesuffix(".left").removesuffix(".both") for key in keys}
    two, cap = choice.eye == "both", bool(choice.cap)
    expected = {
        "fit.head_drop": choice.position == "bioptic", "teach.drop": choice.position == "bioptic",
        "fit.clip": choice.mount == "clip-on", "fit.flip": choice.mount == "flip-up",
        "teach.flip": choice.mount == "flip-up", "fit.vertical": two, "fit.horizontal": two, "fit.single": two,
        "performance.double": two, "performance.fellow": not two, "verify.tilt_vertical": two,
        "verify.pair_power": two, "trial.fusion": two, "fit.working_distance": cap, "verify.cap": cap,
        "performance.print": cap, "performance.speed": cap, "teach.cap": cap, "fit.near_pd": cap and two,
        "fit.near_single": cap and two, "verify.cap_height": cap and two, "verify.cap_prism": choice.cap == "prism",
        "fit.spread": two and telescope.type == "galilean", "teach.focus": telescope.focusable,
        "frame.outline": choice.mount == "through the lens", "frame.b_size": choice.mount == "through the lens",
        "frame.bracket": choice.mount != "through the lens",
        "frame.room_below": choice.mount == "through the lens" and choice.position != "bioptic",
    }  # fmt: skip
    assert {key: key in bases for key in expected} == expected
    for side in ("right", "left"):
        assert (f"fit.lateral.{side}" in keys) == (side in choice.eyes)
    assert {"verify.carrier.right", "verify.carrier.left", "teach.cautions", "performance.task.2"} <= keys
    assert [step.phase for step in sheet] == sorted((step.phase for step in sheet), key=list(PHASES).index)


@pytest.mark.parametrize("telescope", STOCK.telescopes, ids=lambda scope: scope.id)
def test_steps_fit_the_configuration(telescope: Telescope) -> None:
    """Over the whole cross of a telescope each sheet has its own steps, finite numbers, or a reason in words."""
    computed = 0
    for choice in configurations(telescope):
        sheet = sheet_for(choice)
        if not sheet.steps:
            assert sheet.refusals, choice
            continue
        computed += 1
        assert not sheet.refusals, (choice, sheet.refusals)
        check_numbers(sheet)
        check_fits(sheet, choice, telescope)
    assert computed > 50


def test_a_monocular_keplerian_differs_from_a_binocular_galilean() -> None:
    """The one has an exit pupil behind the ocular to meet, the other two tubes to align and spread."""
    one = sheet_for(Configuration("erect", "right", "bioptic", "through the lens"))
    two = sheet_for(Configuration("middle", "both", "full diameter", "through the lens"))
    keplerian, galilean = one.step("fit.eye_distance.right"), two.step("fit.eye_distance.right")
    assert keplerian is not None and galilean is not None
    assert "keyhole" in keplerian.rule and "keyhole" not in galilean.rule
    assert one.step("fit.spread") is None and two.step("fit.spread") is not None


def test_tolerances_shrink_with_power() -> None:
    """The stronger the tube, the less may the pair be tilted and the tube stand beside its place."""
    powers = [1.3, 1.6, 2.0, 2.5, 3.0, 3.5]
    tilts, sideways, heights = [], [], []
    for power in powers:
        stock = replace(STOCK, telescopes=(tube("one", power, tube_length_mm=30.0),))
        choice = Configuration("one", "both", "full diameter", "through the lens", cap="plain")
        sheet = fitting_sheet(CASE.with_visit(replace(CASE.visit, choice=choice)), stock, SETTINGS)
        steps = {
            key: sheet.step(key) for key in ("verify.tilt_vertical", "fit.lateral.right", "verify.cap_height")
        }
        assert all(steps.values())
        tilts.append(steps["verify.tilt_vertical"].numbers["tilt_arcmin"])  # type: ignore[union-attr]
        sideways.append(steps["fit.lateral.right"].numbers["within_mm"])  # type: ignore[union-attr]
        heights.append(steps["verify.cap_height"].numbers["height_mismatch_mm"])  # type: ignore[union-attr]
    assert tilts == sorted(tilts, reverse=True) and tilts[0] > tilts[-1]
    assert sideways == sorted(sideways, reverse=True)
    assert heights == sorted(heights, reverse=True) and heights[0] > heights[-1]


def test_lateral_tolerance_follows_the_exit_pupil() -> None:
    """Half of what the exit pupil exceeds the eye's, from 0.5 to 2 mm; half of the exit pupil is the end of it."""
    assert lateral_tolerance_mm(8.0, 5.0) == (1.5, 4.0)
    assert lateral_tolerance_mm(12.5, 3.0) == (2.0, 6.25)
    assert lateral_tolerance_mm(4.0, 4.5) == (0.5, 2.0)
    assert lateral_tolerance_mm(8.0, 5.0, spread_mm=1.0) == (0.5, 4.0)


def test_every_step_accepts_its_own_target() -> None:
    """Typing the target number of a step gives the verdict ok: kind, range and tolerance agree."""
    for choice in (
        Configuration("middle", "both", "full diameter", "through the lens", cap="prism", spread_mm=1.0),
        Configuration("strong", "right", "bioptic", "flip-up", correction="ocular"),
        Configuration("erect", "left", "bioptic", "through the lens"),
    ):
        for step in sheet_for(choice):
            if not isinstance(step.accept, Interval) or step.target_value is None:
                continue
            typed = f"{step.target_value:.10f}" + (" mm" if step.unit == "mm" else "")
            assert verdict(step, StepResult(measured=typed)).state == "ok", (step.key, typed)


def test_the_strongest_plain_caps_have_a_prism_that_can_be_typed() -> None:
    """Two +20 D caps on parallel tubes ask for more prism than any other step; its target is accepted as typed."""
    strongest = Cap(id="strongest", description="cap +20", power_d=20.0)
    choice = Configuration("middle", "both", "full diameter", "through the lens", cap="strongest")
    stock = replace(STOCK, caps=(*STOCK.caps, strongest))
    sheet = fitting_sheet(CASE.with_visit(replace(CASE.visit, choice=choice)), stock, SETTINGS)
    step = next(each for each in sheet if each.key == "search.near_horizontal")
    assert step.target_value is not None and abs(step.target_value) > 60
    assert verdict(step, StepResult(measured=f"{step.target_value:.2f}")).state == "ok"


def test_progress_starts_with_what_the_record_knows() -> None:
    """A measured frame answers its step before anything is typed on the sheet."""
    choice = Configuration("middle", "right", "bioptic", "through the lens")
    visit = replace(CASE.visit, choice=choice)
    # The lens height and the segment height are on record; neither asks the practitioner again.
    assert progress(sheet_for(choice), visit).startswith("2 of ")


def test_a_sheet_is_never_an_unexpected_error() -> None:
    """With hardly anything recorded a sheet is refused or computed from assumptions, and says which."""
    bare = new_case("BARE-1", date(2026, 11, 25)).with_typed("right.distance_acuity", "20/100")
    for scope, position, mount in product(STOCK.telescopes, POSITIONS, MOUNTS):
        choice = Configuration(scope.id, "right", position, mount)
        try:
            sheet = fitting_sheet(bare.with_visit(replace(bare.visit, choice=choice)), STOCK, SETTINGS)
        except AfocalError as refusal:
            assert str(refusal)
            continue
        assert sheet.assumed or sheet.refusals
        check_numbers(sheet)
