"""The whole cross: the quick rules against the declared formulas, nothing dropped, ranking, coverage, adversarial cases."""

from __future__ import annotations

import json
import random
from dataclasses import replace
from datetime import date
from math import isclose, isfinite
from typing import Any

import pytest

from afocal.core.case import Case, new_case
from afocal.core.configuration import EYES, Configuration
from afocal.core.errors import EntryRefusal, RangeRefusal
from afocal.core.plan import option_for, plan, read_case
from afocal.core.plan.columns import met
from afocal.core.plan.cross import grid_of
from afocal.core.plan.data import plan_data
from afocal.core.plan.sensitivity import measure_next, sensitivity
from afocal.core.plan.tube_field import Infeasible
from afocal.core.plan.whatif import what_if
from afocal.core.plan.workings import explain
from afocal.core.settings import WEIGHTS, Settings
from afocal.core.stock import Cap, Filter, NearAlternative, Stock, Telescope

SETTINGS = Settings()


def _telescope(id_: str, **more: Any) -> Telescope:
    base: dict[str, Any] = {
        "description": id_,
        "type": "galilean",
        "magnification": 2.5,
        "tube_length_mm": 28,
        "objective_diameter_mm": 22,
        "positions": ("bioptic", "full diameter"),
        "mounts": ("through the lens",),
        "corrections": ("carrier", "ocular", "objective", "none"),
    }
    return Telescope(id=id_, **{**base, **more})


STOCK = Stock(
    telescopes=(
        _telescope("weak", magnification=1.6, tube_length_mm=18, objective_diameter_mm=28, spread_highest_mm=3),
        _telescope("middle"),
        _telescope("front", magnification=2.0, tube_length_mm=24, mounts=("in front", "flip-up", "through the lens")),
        _telescope(
            "focus", magnification=2.5, focusable=True, shortest_tube_mm=26, longest_tube_mm=40,
            corrections=("carrier", "refocused", "none"), ocular_diameter_mm=14,
        ),
        _telescope("measured", magnification=3.0, tube_length_mm=35, measured_magnification=2.8,
                   measured_exit_pupil_mm=7.5, measured_field_deg=7.0, transmittance=0.9, takes_caps=False),
        _telescope("prism", type="keplerian", magnification=4.0, tube_length_mm=80, objective_diameter_mm=16,
                   field_stop_mm=9, focusable=True, shortest_tube_mm=76, longest_tube_mm=95,
                   corrections=("carrier", "refocused"), in_pairs=False),
        _telescope("plain", type="keplerian", magnification=3.0, tube_length_mm=60, objective_diameter_mm=15,
                   ocular_diameter_mm=12, erect=False),
        _telescope("far", type="keplerian", magnification=6.0, tube_length_mm=150, objective_diameter_mm=12,
                   field_stop_mm=8, corrections=("carrier",)),
    ),
    caps=(
        Cap(id="c2", description="+2", power_d=2.0),
        Cap(id="c4", description="+4", power_d=4.0),
        Cap(id="c4in", description="+4 base-in", power_d=4.0, base_in_prism=8.0),
        Cap(id="c8", description="+8", power_d=8.0),
    ),
    filters=(Filter(id="amber", description="amber", transmittance=0.6),),
    alternatives=(
        NearAlternative(id="a12", description="half-eyes +12", kind="add", power_d=12, lens_diameter_mm=40),
        NearAlternative(id="h10", description="hand +10", kind="hand", power_d=10, lens_diameter_mm=50),
        NearAlternative(id="s", description="stand", kind="stand", enlargement_ratio=3, image_distance_mm=200, lens_diameter_mm=60),
        NearAlternative(id="e", description="screen", kind="electronic", enlargement_ratio=8, screen_width_mm=400, viewing_distance_mm=400),
    ),
)  # fmt: skip

GOALS: tuple[dict[str, str], ...] = (
    {"task": "street name sign", "detail": "20/50"},
    {"task": "newspaper", "detail": "1.6M"},
    {"task": "computer screen"},
    {"task": "watching sports"},
    {"task": "theatre stage"},
)

BASE = {
    "person.birth_year": "1980",
    "right.distance_acuity": "20/100",
    "left.distance_acuity": "20/125",
    "right.near_acuity": "2.0M @ 40",
    "left.near_acuity": "2.5M @ 40",
    "right.refraction": "-2.00 -1.00 x 90",
    "left.refraction": "-2.50 sph",
    "binocular.fusion": "yes",
    "face.vertex_distance": "12",
    "face.pd": "62",
    "face.spread": "1.5",
}


def _case(goals: tuple[dict[str, str], ...] = GOALS, **changes: str) -> Case:
    case = new_case("R-1", date(2026, 6, 1))
    typed = {**BASE, **{path.replace("__", "."): text for path, text in changes.items()}}
    for path, text in typed.items():
        case = case.with_typed(path, text)
    for index, goal in enumerate(goals):
        for key, text in goal.items():
            case = case.with_goal_typed(index, key, text)
    return case


PEOPLE: dict[str, Case] = {
    "two like eyes": _case(),
    "no accommodation": _case(person__birth_year="1945"),
    "strong accommodation": _case(right__sustained_accommodation="8", left__sustained_accommodation="8"),
    "9 D of myopia": _case(
        right__refraction="-9.00 sph", left__refraction="-9.50 sph", test__refraction_vertex="12"
    ),
    "12 D of myopia, vertex unknown": _case(right__refraction="-12.00 sph", left__refraction="-12.00 sph"),
    "6 D of cylinder": _case(right__refraction="-1.00 -6.00 x 180", left__refraction="+2.00 -6.00 x 90"),
    "hyperopia": _case(right__refraction="+6.00 sph", left__refraction="pl"),
    "one eye": _case(left__distance_acuity="NLP", left__near_acuity="", right__visual_field="20"),
    "no fusion": _case(binocular__fusion="no"),
    "measured frame and reach": _case(
        face__b_size="30", face__pupil_height_right="20", face__pupil_height_left="20", face__reach="30 cm"
    ),
    "ocular measured": _case(face__ocular_to_cornea="14", face__tube_tilt="25"),
    "glare": _case(test__glare="disabling"),
    "print unknown": _case(right__near_acuity="", left__near_acuity=""),
    "distance unknown": _case(right__distance_acuity="", left__distance_acuity=""),
    "both measured": _case(both__distance_acuity="20/80", both__contrast="1.75"),
    "contrast too low": _case(right__contrast="0.00", left__contrast="0.00"),
    "PD out of range": _case(face__pd="78"),
    "painful neck, falls": _case(
        history__neck="painful", history__falls="several", history__head_tremor="marked"
    ),
    "nothing recorded": new_case("R-0", date(2026, 6, 1)),
}


@pytest.mark.parametrize("who", PEOPLE)
def test_quick_rules_agree_with_the_declared_formulas(who: str) -> None:
    """Grade and score of the ranking equal those of the option made through the declared formulas."""
    context, demands = read_case(PEOPLE[who], SETTINGS)
    grid = grid_of(context, STOCK, demands)
    rng = random.Random(who)
    for rank in rng.sample(range(len(grid)), min(len(grid), 90)):
        entry = grid.entry(rank)
        option = option_for(context, STOCK, demands, grid.configuration(entry))
        assert grid.blocks[entry.block].grades(entry.row) == option.grades, option.summary
        assert isclose(entry.score, option.score, rel_tol=1e-9, abs_tol=1e-9), option.summary


@pytest.mark.parametrize("who", PEOPLE)
def test_what_is_refused_is_refused_for_the_reason_named(who: str) -> None:
    """Each refusal has a reason in words, and evaluating its configuration gives the same code."""
    context, demands = read_case(PEOPLE[who], SETTINGS)
    found = plan(PEOPLE[who], STOCK, SETTINGS)
    for item in found.refused:
        assert item.reason and item.count >= 1
        if item.code == "filter not asked for":
            continue
        with pytest.raises(Infeasible) as raised:
            option_for(context, STOCK, demands, item.configuration)
        assert raised.value.code == item.code, item.configuration.key


def _cross(stock: Stock, case: Case) -> int:
    """How many configurations there are, counted by the definition and not by the program's own loops."""
    context, _ = read_case(case, SETTINGS)
    count = 0
    for telescope in stock.telescopes:
        caps = len(stock.caps_for(telescope))
        states = caps + (1 if telescope.focusable else 2)
        places = len(telescope.positions) * len(telescope.mounts)
        for eye in EYES:
            sides = ("right", "left") if eye == "both" else (eye,)
            needs = any(context.eye(side).needs_correction for side in sides)
            count += states * places * (len(telescope.corrections) if needs else 1)
    return count


@pytest.mark.parametrize("who", [who for who in PEOPLE if who != "glare"])
def test_nothing_of_the_cross_is_dropped(who: str) -> None:
    """Options and refusals add up to the whole cross of eye, position, mount, cap, correction and focus."""
    indoors = [goal for goal in PEOPLE[who].visit.goals if goal.name in ("newspaper", "computer screen")]
    case = PEOPLE[who].with_goals(indoors)
    found = plan(case, STOCK, SETTINGS)
    refused = sum(item.count for item in found.refused if item.code != "filter not asked for")
    assert len(found.options) + refused == _cross(STOCK, case)


def test_options_come_best_first_to_the_very_end() -> None:
    """The score never rises along the list, beyond the first page as well."""
    found = grid_of(*_grid_arguments("two like eyes"))
    scores = [found.entry(rank).score for rank in range(len(found))]
    assert scores == sorted(scores, reverse=True)
    keys = {found.configuration(found.entry(rank)).key for rank in range(len(found))}
    assert len(keys) == len(found)


def _grid_arguments(who: str) -> tuple[Any, Stock, Any]:
    context, demands = read_case(PEOPLE[who], SETTINGS)
    return context, STOCK, demands


def test_score_parts_add_up_to_the_score() -> None:
    """The score is the sum of the stated criteria times their weights in the settings."""
    best = plan(PEOPLE["two like eyes"], STOCK, SETTINGS).best
    assert best is not None
    assert isclose(best.score, sum(part.value * SETTINGS.weight(part.criterion) for part in best.score_parts))


def test_weights_of_the_settings_change_the_order() -> None:
    """With only two eyes worth anything the best option is for both eyes; with only simplicity it is for one."""
    goals = ({"task": "classroom board", "detail": "20/50"},)
    case = _case(goals)
    only = dict.fromkeys(WEIGHTS, 0.0)
    found = plan(case, STOCK, Settings(weights={**only, "two_eyes": 5.0})).best
    assert found is not None and found.configuration.eye == "both"
    weak = plan(case, STOCK, Settings(weights={**only, "low_power": 5.0})).best
    strong = plan(case, STOCK, Settings(weights={**only, "chance": 5.0})).best
    assert weak is not None and strong is not None
    assert abs(weak.device.leading.magnification) < abs(strong.device.leading.magnification)


def test_the_lowest_power_that_meets_the_goal_comes_before_a_stronger_one() -> None:
    """Of two tubes that both meet the goal the weaker and wider one comes first (common practice)."""
    stock = Stock(
        telescopes=(
            _telescope("strong", magnification=5.0, tube_length_mm=60, objective_diameter_mm=22),
            _telescope("weak", magnification=2.0, tube_length_mm=24, objective_diameter_mm=25),
        )
    )
    case = _case(({"task": "own words", "distance": "6 m", "detail": "20/63"},))
    best = plan(case, stock, SETTINGS).best
    assert best is not None and best.telescope.id == "weak"


def test_smallest_set_meets_what_can_be_met_with_the_fewest_devices() -> None:
    """Every goal is either served by a device of the set that meets it, or named as left."""
    found = plan(PEOPLE["strong accommodation"], STOCK, SETTINGS)
    chosen = found.smallest_set
    served = set()
    for rank, goals in zip(chosen.ranks, chosen.goals_by_device, strict=True):
        option = found.options[rank - 1]
        assert option.configuration in chosen.configurations
        for goal in goals:
            assert option.outcomes[goal].grade == "meets"
            served.add(goal)
    free = set(found.coverage.not_needed)
    assert served | set(chosen.left) | free == set(range(len(found.demands))) and not free & served
    context, demands = read_case(PEOPLE["strong accommodation"], SETTINGS)
    grid = grid_of(context, STOCK, demands)
    for goal in chosen.left:
        assert all(
            grid.blocks[e.block].grades(e.row)[goal] != "meets" for e in map(grid.entry, range(len(grid)))
        )


@pytest.mark.parametrize("count", [1, 8, 9, 17])
def test_the_goals_met_are_those_of_the_grades(count: int) -> None:
    """However many goals there are, the bits by which the fewest devices are sought say what the grades say."""
    goals = tuple({**GOALS[place % len(GOALS)], "reserve": f"{1 + 0.2 * place:g}"} for place in range(count))
    context, demands = read_case(_case(goals), SETTINGS)
    seen = set()
    for block in grid_of(context, STOCK, demands).blocks:
        for row, mask in enumerate(met(block.columns, len(block.rows.rows))):
            grades = block.grades(row)
            assert [mask >> place & 1 for place in range(count)] == [int(one == "meets") for one in grades]
            seen.add(mask)
    assert len(seen) > 1


def test_coverage_table_shows_the_grades_of_the_options() -> None:
    """A row of the table is the option at that rank with its grades."""
    found = plan(PEOPLE["two like eyes"], STOCK, SETTINGS)
    for row in found.coverage.rows[:10]:
        option = found.options[row.rank - 1]
        assert (row.configuration, row.grades) == (option.configuration, option.grades)


def _finite(value: Any, path: str = "") -> None:
    if isinstance(value, dict):
        for key, item in value.items():
            assert isinstance(key, str)
            _finite(item, f"{path}.{key}")
    elif isinstance(value, list):
        for number, item in enumerate(value):
            _finite(item, f"{path}.{number}")
    elif isinstance(value, float):
        assert isfinite(value), path
    else:
        assert value is None or isinstance(value, str | int | bool), (path, value)


@pytest.mark.parametrize("who", PEOPLE)
def test_plan_as_data_holds_plain_finite_values_only(who: str) -> None:
    """The plain data of any plan, however hard the case, is finite numbers, words, lists and tables."""
    data = plan_data(plan(PEOPLE[who], STOCK, SETTINGS), 12)
    _finite(data)
    json.dumps(data, allow_nan=False)
    assert data["version"] == 1 and data["decision"]["sentence"]


@pytest.mark.parametrize("who", PEOPLE)
def test_every_option_has_reasons_and_every_goal_a_sentence(who: str) -> None:
    """No option is shown without reasons, no outcome without a sentence and a decision."""
    for option in plan(PEOPLE[who], STOCK, SETTINGS).options[:5]:
        assert option.reasons_for or option.reasons_against
        for outcome in option.outcomes:
            assert outcome.sentence and outcome.decision.sentence


def test_contrast_below_threshold_is_said_for_any_power() -> None:
    """With print below the contrast threshold no magnification helps, and that is the sentence."""
    found = plan(PEOPLE["contrast too low"], STOCK, SETTINGS)
    assert all(outcome.grade == "cannot" for outcome in found.best.outcomes)  # type: ignore[union-attr]
    assert "magnification does not help" in found.decision.sentence


def test_goals_that_contradict_each_other_are_both_told_the_truth() -> None:
    """A goal that only a strong tube meets and one that only a weak one meets: no option claims both."""
    goals = (
        {"task": "own words", "distance": "6 m", "detail": "20/20"},
        {"task": "other words", "distance": "60 cm", "detail": "20/80", "nearest": "30 cm", "farthest": "2 m",
         "width": "600 mm"},
    )  # fmt: skip
    found = plan(_case(goals, person__birth_year="1945"), STOCK, SETTINGS)
    grades = {found.coverage.rows[rank].grades for rank in range(len(found.coverage.rows))}
    assert ("meets", "meets") not in grades


def test_one_seeing_eye_is_not_walled_in_by_its_own_ring() -> None:
    """Worn straight ahead over the only seeing field of 20 degrees a tube is refused by that name; high in the lens not."""
    found = plan(PEOPLE["one eye"], STOCK, SETTINGS)
    refused = [item for item in found.refused if item.code == "ring over the only field"]
    assert refused and all(item.configuration.position == "full diameter" for item in refused)
    assert found.eye_advice.choice == "right"


def test_two_rules_about_two_tubes_stand_side_by_side() -> None:
    """Eyes 0.4 log apart with fusion: one rule says one eye, the other two, each with what speaks for it."""
    found = plan(_case(left__distance_acuity="20/250"), STOCK, SETTINGS)
    first, second = found.eye_advice.rules
    assert first.says == "right" and second.says == "both"
    assert any("differ by 0.40" in words for words in (*first.speaks_for, *first.speaks_against))
    assert second.speaks_for


def test_untested_fusion_is_asked_for_and_two_tubes_are_refused() -> None:
    """Two tubes are refused while fusion has not been shown, and the advice is to measure it."""
    case = _case().with_typed("binocular.fusion", "")
    found = plan(case, STOCK, SETTINGS)
    assert found.eye_advice.choice == "measure first"
    assert any(item.code == "no fusion" and "not been shown" in item.reason for item in found.refused)


def test_referral_comes_before_devices() -> None:
    """A warning sign is a same-day prompt, an old examination one for soon."""
    case = _case(history__flashes_or_floaters="yes", history__last_eye_exam="2024-01-01")
    found = plan(case, STOCK, SETTINGS)
    assert [item.urgency for item in found.referrals] == ["same day", "soon"]


def test_driving_is_left_to_law_and_licensed_practice() -> None:
    """The plan always carries the caution and never states who may drive."""
    found = plan(_case(), STOCK, SETTINGS)
    words = next(item for item in found.cautions if item.key == "driving")
    assert words.mandatory and "local law" in words.sentence and "no right to drive" in words.sentence


def test_near_ways_are_compared_by_their_viewing_distance() -> None:
    """Add, hand and stand magnifier, screen and telescope stand in one table by EVD; the shortfall is said plainly."""
    found = plan(_case(({"task": "newspaper", "detail": "0.8M", "hands_free": "no"},)), STOCK, SETTINGS)
    table = found.alternatives[0]
    kinds = {row.kind for row in table.rows}
    assert {"add", "hand", "stand", "electronic", "telescope", "non-optical"} <= kinds
    # An add works at its equivalent distance; a +10 hand magnifier with the page at its focus has EVD 100 mm.
    assert next(row for row in table.rows if row.id == "h10").evd_mm == pytest.approx(100.0)
    assert next(row for row in table.rows if row.id == "a12").working_distance_mm == pytest.approx(1000 / 12)
    assert not table.telescope_is_answer and "telescope" in table.sentence


@pytest.mark.parametrize("who", ["two like eyes", "9 D of myopia", "one eye", "glare"])
def test_every_number_of_an_option_has_a_working(who: str) -> None:
    """The working of any number of outcome, need and device ends in it; every step replays to its result."""
    case = PEOPLE[who]
    found = plan(case, STOCK, SETTINGS)
    option = found.best
    assert option is not None
    for goal, outcome in enumerate(option.outcomes[:2]):
        for name in outcome._fields:
            value = getattr(outcome, name)
            if isinstance(value, float):
                working = explain(case, STOCK, SETTINGS, option.configuration, goal, name)
                assert working.steps
                for step in working.steps:
                    assert step.replay() == step.result, (name, step.formula.name)
    with pytest.raises(EntryRefusal):
        explain(case, STOCK, SETTINGS, option.configuration, 0, "no_such_number")


def test_working_of_a_chance_reaches_back_to_the_acuity_and_the_power() -> None:
    """The chain behind a chance holds the prediction, and the losses that went into it."""
    case = PEOPLE["two like eyes"]
    option = plan(case, STOCK, SETTINGS).best
    assert option is not None
    names = [
        step.formula.name
        for step in explain(case, STOCK, SETTINGS, option.configuration, 0, "probability").steps
    ]
    assert names[-1] == "probability_prediction_meets_goal"
    assert {"logmar_through_telescope", "total_loss_logmar"} <= set(names)


def test_what_if_shows_both_and_touches_nothing() -> None:
    """A changed power, eye distance or working distance is shown beside the original; case and stock stay as they are."""
    case = PEOPLE["two like eyes"]
    before_case, before_stock = replace(case), replace(STOCK)
    configuration = Configuration("middle", "right", "full diameter", "through the lens")
    before, after = what_if(
        case, STOCK, SETTINGS, configuration, {"magnification": 3.0, "eye_distance_mm": 22.0}
    )
    assert before.device.leading.magnification == 2.5
    assert (
        after.device.leading.magnification == 3.0
        and after.device.leading.eye_distance_mm == pytest.approx(22.0)
    )  # type: ignore[union-attr]
    _, nearer = what_if(case, STOCK, SETTINGS, configuration, {"working_distance_mm": 250.0})
    assert nearer.device.cap.power_d == pytest.approx(4.0)  # type: ignore[union-attr]
    assert case == before_case and before_stock == STOCK


def test_what_if_refuses_unknown_names_and_wild_numbers() -> None:
    """An unknown change and a number outside its range are refused by name."""
    configuration = Configuration("middle", "right", "full diameter", "through the lens")
    with pytest.raises(EntryRefusal, match="one of"):
        what_if(_case(), STOCK, SETTINGS, configuration, {"colour": 3.0})
    with pytest.raises(RangeRefusal):
        what_if(_case(), STOCK, SETTINGS, configuration, {"magnification": 50.0})


def test_what_if_that_cannot_be_used_says_why() -> None:
    """Two tubes without fusion: the changed option comes back as a refusal with its reason."""
    configuration = Configuration("middle", "right", "full diameter", "through the lens")
    _, after = what_if(PEOPLE["no fusion"], STOCK, SETTINGS, configuration, {"eye": "both"})
    assert after.code == "no fusion"  # type: ignore[union-attr]


def test_sensitivity_names_what_to_measure_next() -> None:
    """Unmeasured inputs come first by what they move; the value at which something changes truly changes it."""
    case = _case(({"task": "television subtitles", "detail": "20/50"},))
    found = plan(case, STOCK, SETTINGS)
    assert found.best is not None
    spans = sensitivity(case, STOCK, SETTINGS, found.best.configuration)
    assert [span.measured for span in spans] == sorted(span.measured for span in spans)
    assert measure_next(spans) is None or not measure_next(spans).measured  # type: ignore[union-attr]
    acuity = next(span for span in spans if span.path.endswith("distance_acuity"))
    assert acuity.upper is not None and acuity.upper > acuity.value and acuity.what_upper
    for span in spans:
        assert span.sentence.endswith(".")


def test_an_empty_stock_is_said() -> None:
    """Without a telescope in the stock the plan refuses with that sentence."""
    found = plan(_case(), Stock(), SETTINGS)
    assert found.decision.word == "refuse" and "stock" in found.decision.sentence
    assert len(found.options) == 0


def test_a_person_without_goals_is_asked_for_one() -> None:
    """Options can be listed without a goal, but nothing is recommended."""
    found = plan(_case(()), STOCK, SETTINGS)
    assert len(found.options) > 0
    assert "goal" in found.decision.sentence


def test_a_second_eye_that_cannot_look_through_is_the_reason_for_every_cap() -> None:
    """+2 D left in uses a weak cap up before the first eye, but what takes the pair out is the unknown vertex of the other."""
    case = _case(
        right__refraction="+2.00 sph",
        left__refraction="-12.00 sph",
        test__refraction_vertex="",
        face__reach="30 cm",
    )
    context, demands = read_case(case, SETTINGS)
    found = plan(case, STOCK, SETTINGS)
    pairs = [item for item in found.refused if item.configuration.eye == "both"]
    assert any(item.code == "ametropia" for item in pairs)
    for item in found.refused:
        if item.code != "filter not asked for":
            with pytest.raises(Infeasible) as raised:
                option_for(context, STOCK, demands, item.configuration)
            assert raised.value.code == item.code, item.configuration.key
    refused = sum(item.count for item in found.refused if item.code != "filter not asked for")
    bright = 1 + len(STOCK.filters)
    assert len(found.options) + refused == _cross(STOCK, case) * bright
