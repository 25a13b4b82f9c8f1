"""What a plan says beside its options: the fewest devices, cautions where a figure is stretched, two eyes and reserves.

Cases and stock are invented. Sheard's rule, the opposing reserve (blur) at least twice the demand, is from memory of
Scheiman and Wick, Clinical Management of Binocular Vision.
"""

from __future__ import annotations

from datetime import date
from itertools import combinations
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from afocal.core.case import Case, new_case
from afocal.core.plan import plan
from afocal.core.plan.alternatives import with_telescope
from afocal.core.plan.coverage import _cover, _worth_joining
from afocal.core.plan.types import Option
from afocal.core.settings import Settings
from afocal.core.stock import Cap, Stock, Telescope

SETTINGS = Settings()


def tube(id_: str, **more: Any) -> Telescope:
    """An invented Galilean of 2x, worn straight ahead, in pairs."""
    base: dict[str, Any] = {
        "description": id_, "type": "galilean", "magnification": 2.0, "tube_length_mm": 24,
        "objective_diameter_mm": 25, "positions": ("full diameter",), "mounts": ("through the lens",),
        "corrections": ("carrier", "none"),
    }  # fmt: skip
    return Telescope(id=id_, **{**base, **more})


def made(goals: list[dict[str, str]], **changes: str) -> Case:
    """A person of 70 with two like eyes, no refraction, fusion shown, and these goals."""
    case = new_case("A-1", date(2026, 6, 1))
    typed = {
        "person.birth_year": "1956", "right.distance_acuity": "20/80", "left.distance_acuity": "20/80",
        "right.near_acuity": "1.6M @ 40", "left.near_acuity": "1.6M @ 40", "binocular.fusion": "yes",
        "right.pupil": "3", "left.pupil": "3", "right.pupil_dim": "5", "left.pupil_dim": "5", "face.pd": "64",
        **{path.replace("__", "."): text for path, text in changes.items()},
    }  # fmt: skip
    for path, text in typed.items():
        case = case.with_typed(path, text)
    for index, goal in enumerate(goals):
        for key, text in goal.items():
            case = case.with_goal_typed(index, key, text)
    return case


def keys_of(case: Case, stock: Stock) -> dict[str, str]:
    """The cautions of the plan, sentence by key."""
    return {caution.key: caution.sentence for caution in plan(case, stock, SETTINGS).cautions}


def both(case: Case, stock: Stock) -> Option:
    """The best option for two eyes."""
    return next(o for o in plan(case, stock, SETTINGS).options if o.configuration.eye == "both")


CARDS = {"task": "own words", "distance": "1 m", "detail": "20/50"}


@pytest.mark.parametrize(
    ("reserve", "state", "grade"),
    [
        # 64 mm at 1 m: 6.4 prism D without, 11.9 through 2x (100 PD/|B|, B = 1000/2 + 24 + 2·d): 5.3 beyond.
        ("12/20/10", 0, "meets"),
        ("9/20/10", 1, "nearly"),
        ("4/8/5", 2, "cannot"),
    ],
)
def test_two_eyes_may_use_half_of_their_reserve_beyond_the_ordinary_convergence(
    reserve: str, state: int, grade: str
) -> None:
    """What the tubes ask beyond the naked convergence: within half of the blur reserve it is met, within it nearly."""
    case = made(
        [CARDS], binocular__base_out_distance=reserve, right__sustained_accommodation="4",
        left__sustained_accommodation="4",
    )  # fmt: skip
    option = both(case, Stock(telescopes=(tube("two"),)))
    outcome = option.outcomes[0]
    d = option.device.leading.eye_distance_mm
    through = 100.0 * 64.0 / (1000.0 / 2.0 + 24.0 + 2.0 * d)
    assert outcome.convergence_prism == pytest.approx(through)
    assert outcome.convergence_naked_prism == pytest.approx(6.4)
    assert through - 6.4 == pytest.approx(5.3, abs=0.2)
    assert outcome.vergence_reserve_prism == float(reserve.split("/")[0])
    assert (outcome.vergence_state, outcome.grade) == (state, grade)


def test_a_total_over_the_reserve_is_met_where_the_part_beyond_the_ordinary_is_within_half() -> None:
    """9.4 prism D in all against a reserve of 9: the eyes turn 6.3 for the distance anyway, 3.1 of 4.5 come from it."""
    cards = {**CARDS, "detail": "20/63"}
    case = made([cards], binocular__base_out_distance="9/17/9", face__pd="63", face__ocular_to_cornea="13")
    case = case.with_typed("right.sustained_accommodation", "4").with_typed(
        "left.sustained_accommodation", "4"
    )
    weak = tube("weak", magnification=1.6, tube_length_mm=18, objective_diameter_mm=28)
    outcome = both(case, Stock(telescopes=(weak,))).outcomes[0]
    assert outcome.convergence_prism == pytest.approx(9.42, abs=0.02)
    assert outcome.vergence_reserve_prism == 9.0 and outcome.vergence_state == 0 and outcome.grade == "meets"


def test_a_reserve_of_normal_eyes_is_said_where_it_lets_two_tubes_pass() -> None:
    """Not measured, the reserve is an upper bound and a caution; measured at the goal's distance it is none."""
    stock = Stock(telescopes=(tube("two"),))
    goal = [{"task": "own words", "distance": "6 m", "detail": "20/60"}]
    found = plan(made(goal), stock, SETTINGS)
    assert found.options[0].configuration.eye == "both"
    assert "upper bound" in keys_of(made(goal), stock)["reserve"]
    assert "reserve" not in keys_of(made(goal, binocular__base_out_distance="9/17/9"), stock)
    assert "reserve" not in keys_of(made(goal, binocular__fusion="no"), stock)


def test_blur_outside_its_law_is_said() -> None:
    """A pupil of 8 mm, or more than 6 D out of focus, is outside the range the law of blur was stated for."""
    stock = Stock(telescopes=(tube("two"),))
    goal = [{"task": "own words", "distance": "6 m", "detail": "20/60", "light": "room"}]
    assert "blur" not in keys_of(made(goal), stock)
    wide = keys_of(made(goal, right__pupil="8", left__pupil="8"), stock)["blur"]
    assert "1.5 to 7 mm" in wide and "8.0 mm" in wide
    dim = made([{**goal[0], "light": "dim"}], right__pupil_dim="7.5", left__pupil_dim="7.5")
    assert "7.5 mm" in keys_of(dim, stock)["blur"]
    far_off = made(goal, right__refraction="-8.00 sph", left__refraction="-8.00 sph")
    bare = Stock(telescopes=(tube("bare", corrections=("none",)),))
    assert "D: loss by blur" in keys_of(far_off, bare)["blur"]


def test_an_objective_too_fast_for_first_order_figures_is_said() -> None:
    """2x of 24 mm has an objective of 48 mm focal length: over 52.8 mm across it would be faster than f/0.9."""
    goal = [{"task": "own words", "distance": "6 m", "detail": "20/60"}]
    short = tube("short", tube_length_mm=8, objective_diameter_mm=18)
    words = keys_of(made(goal), Stock(telescopes=(short,)))["fast_objective"]
    assert "18 mm wide" in words and "focal length of 16 mm" in words
    assert "fast_objective" not in keys_of(made(goal), Stock(telescopes=(tube("two"),)))


def test_an_examination_recorded_at_an_earlier_visit_is_on_record() -> None:
    """A date does not age like a measurement: at the follow-up the one of the first visit still counts."""
    stock = Stock(telescopes=(tube("two"),))
    first = made([CARDS], history__last_eye_exam="2026-03-01")
    later = first.with_new_visit(date(2026, 9, 1), "follow-up").with_typed("history.last_eye_exam", "")
    assert not [r for r in plan(later, stock, SETTINGS).referrals if r.key == "last_exam"]
    old = first.with_new_visit(date(2027, 9, 1), "follow-up").with_typed("history.last_eye_exam", "")
    assert "over a year ago" in next(
        r.sentence for r in plan(old, stock, SETTINGS).referrals if r.key == "last_exam"
    )


FAR = {"task": "stage", "distance": "20 m", "detail": "20/40"}
NEAR = {"task": "page", "distance": "40 cm", "detail": "0.8M", "reserve": "1"}


def test_the_fewest_devices_are_named_with_what_each_is_for() -> None:
    """One device by name; what none meets; and why the first option is not the one."""
    two = tube("two")
    stock = Stock(telescopes=(two,), caps=(Cap(id="c", description="+4", power_d=4.0),))
    found = plan(made([FAR, NEAR]), stock, SETTINGS)
    words = found.smallest_set.sentence
    assert words.startswith("Fewest devices that meet the goals: one, ")
    assert words.count(" for ") == 1 and "stage" in words and "page" in words
    none = plan(made([{**FAR, "detail": "20/10"}]), stock, SETTINGS).smallest_set
    assert none.sentence.startswith("No option meets any of the goals") and none.left == (0,)
    partly = plan(made([{**FAR, "detail": "20/10"}, NEAR]), stock, SETTINGS).smallest_set
    assert "no option meets stage" in partly.sentence and partly.left == (0,)


def test_a_first_option_that_is_not_the_one_device_is_explained() -> None:
    """A strong tube straight ahead meets both goals; the weak one that stands first for somebody on foot only one."""
    weak = tube("weak", positions=("bioptic", "full diameter"), objective_diameter_mm=22)
    strong = tube("strong", magnification=3.0, tube_length_mm=35)
    goals = [
        {"task": "sign", "distance": "8 m", "detail": "20/38", "posture": "standing"},
        {"task": "board", "distance": "6 m", "detail": "20/60", "posture": "standing"},
    ]
    found = plan(made(goals, binocular__fusion="no"), Stock(telescopes=(weak, strong)), SETTINGS)
    assert found.options[0].telescope.id == "weak" and found.options[0].grades == ("nearly", "meets")
    rank = found.smallest_set.ranks[0]
    assert found.options[rank - 1].telescope.id == "strong"
    words = found.smallest_set.sentence
    assert f"option {rank} (strong, " in words and "for sign and board" in words
    assert "The first option meets only board" in words


@given(st.dictionaries(st.integers(1, 255), st.floats(0.1, 9.0), min_size=1, max_size=120))
def test_the_fewest_are_the_fewest_and_nothing_that_can_be_met_is_left_out(scores: dict[int, float]) -> None:
    """However many sets of goals the options meet: all that can be met is met, with no more devices than needed."""
    reachable = 0
    for mask in scores:
        reachable |= mask
    kept = _worth_joining(scores)
    chosen = _cover(reachable, kept, {mask: -scores[mask] for mask in kept})
    joined = 0
    for mask in chosen:
        joined |= mask
    assert joined == reachable
    if len(chosen) > 1:
        fewer = len(chosen) - 1
        assert fewer > 3 or not any(
            _union(group) == reachable for group in combinations(scores, min(fewer, 2))
        )


def _union(group: tuple[int, ...]) -> int:
    joined = 0
    for mask in group:
        joined |= mask
    return joined


def test_papers_about_a_chosen_device_give_its_own_working_distance() -> None:
    """2.5x with +2.25 before 1 D of myopia left in works at 415 mm, corrected at 444: each table says its own.

    By hand with R = -1 D: 1000/(2.25 + 1/(2.5² - 0.028 × 2.5 × 1)) = 414.6 mm; 1000/2.25 = 444.4 mm.
    """
    stock = Stock(
        telescopes=(
            tube(
                "two", magnification=2.5, tube_length_mm=28, corrections=("carrier", "none"), in_pairs=False
            ),
        ),
        caps=(Cap(id="c", description="+2.25", power_d=2.25),),
    )
    page = {"task": "page", "distance": "44 cm", "detail": "1.25M", "reserve": "1.3", "hands_free": "yes"}
    found = plan(made([page], right__refraction="-1.00 sph", right__near_acuity="2.0M @ 40"), stock, SETTINGS)
    table = found.alternatives[0]
    for correction, distance in (("carrier", "444 mm"), ("none", "415 mm")):
        option = next(
            o for o in found.options if o.configuration.correction == correction and o.configuration.eye == "right"
            and o.cap is not None
        )  # fmt: skip
        told = with_telescope(found, table, option)
        assert distance in told.sentence
        row = next(row for row in told.rows if row.kind == "telescope")
        assert row.working_distance_mm == option.outcomes[0].object_distance_mm
        assert [r for r in told.rows if r.kind != "telescope"] == [
            r for r in table.rows if r.kind != "telescope"
        ]
    assert with_telescope(found, table, found.options[0]) == table


def test_pupils_of_unequal_height_ask_for_vertical_fusion_through_two_tubes() -> None:
    """2 mm at 2x with +4.00: |M| Fcap x = 2 x 4 x 0.2 = 1.6 prism dioptres, 0.8 of them without the tubes as well.

    The same geometry as that of a height mismatch of tubes or caps (derived; 0.55 mm make 15' there). Half of the
    reserve is allowed (Sheard, from memory). Far away nothing is asked.
    """
    stock = Stock(
        telescopes=(tube("two"),), caps=(Cap(id="c", description="+4", power_d=4.0, base_in_prism=6.4),)
    )
    page = {"task": "page", "distance": "25 cm", "detail": "0.8M", "reserve": "1"}
    uneven = {
        "face__pupil_height_right": "22",
        "face__pupil_height_left": "20",
        "binocular__vertical": "1/2/1",
    }
    found = plan(made([page, FAR], **uneven), stock, SETTINGS)
    pair = next(o for o in found.options if o.configuration.eye == "both" and o.cap is not None)
    near, far = pair.outcomes
    assert near.cap_on and near.vertical_prism == pytest.approx(1.6 - 0.8, abs=1e-9)
    assert near.vertical_reserve_prism == 1.0
    assert "0.8 prism dioptres of vertical demand" in near.sentence
    assert far.vertical_prism is not None and far.vertical_prism < 0.02 and "vertical" not in far.sentence
    one = next(o for o in found.options if o.configuration.eye == "right" and o.cap is not None)
    assert one.outcomes[0].vertical_prism is None
    level = plan(made([page], **{**uneven, "face__pupil_height_left": "22"}), stock, SETTINGS)
    assert next(o for o in level.options if o.configuration.eye == "both").outcomes[0].vertical_prism is None
    guessed = plan(made([page]), stock, SETTINGS)
    assert (
        next(o for o in guessed.options if o.configuration.eye == "both").outcomes[0].vertical_prism is None
    )
