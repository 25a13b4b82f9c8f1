"""A goal that is reached without a telescope pulls the choice towards no device, wherever the plan speaks of it.

Up to +4 D of add is worn without a thought (common practice). Cases and stock are invented.
"""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

import afocal.core
from afocal.core.case import Case, new_case
from afocal.core.documents.plan_page import plan_page
from afocal.core.plan import plan
from afocal.core.plan.data import plan_data
from afocal.core.plan.sensitivity import sensitivity
from afocal.core.settings import Settings
from afocal.core.stock import loads_stock

SETTINGS = Settings()
DEMO = Path(afocal.core.__file__).parent / "data" / "demo"
STOCK = loads_stock((DEMO / "stock.toml").read_text("utf-8"))[0]

BASE = {
    "person.birth_year": "1950", "right.distance_acuity": "20/100", "left.distance_acuity": "20/125",
    "right.near_acuity": "2.0M @ 40", "left.near_acuity": "2.5M @ 40", "right.refraction": "-1.00 sph",
    "left.refraction": "-1.25 sph", "test.refraction_vertex": "12", "face.vertex_distance": "12", "face.pd": "63",
    "binocular.fusion": "yes",
}  # fmt: skip
BOARD = {"task": "own board", "distance": "6 m", "detail": "20/50", "duration": "long"}
# 20/200 where 20/100 is seen; 2.5M with a reserve of 1.5 where 2M is read at 40 cm: 333 mm, an add of 3 D.
FACES = {"task": "faces near", "distance": "1 m", "detail": "20/200", "posture": "standing"}
LARGE = {"task": "large print", "distance": "40 cm", "detail": "2.5M", "reserve": "1.5"}


def made(goals: list[dict[str, str]], **changes: str) -> Case:
    """A person of 76 who sees 20/100, with these goals."""
    case = new_case("N-1", date(2026, 6, 1))
    typed = {**BASE, **{path.replace("__", "."): text for path, text in changes.items()}}
    for path, text in typed.items():
        case = case.with_typed(path, text)
    for index, goal in enumerate(goals):
        for key, text in goal.items():
            case = case.with_goal_typed(index, key, text)
    return case


@pytest.mark.parametrize("free", [FACES, LARGE])
@pytest.mark.parametrize("first", [True, False])
def test_it_changes_neither_the_order_nor_the_scores(free: dict[str, str], first: bool) -> None:
    """With and without it, ranked first or last, the options come in the same order with the same scores."""
    alone = plan(made([BOARD]), STOCK, SETTINGS)
    with_it = plan(made([free, BOARD] if first else [BOARD, free]), STOCK, SETTINGS)
    assert len(alone.options) == len(with_it.options)
    for rank in range(40):
        one, other = alone.options[rank], with_it.options[rank]
        assert one.configuration == other.configuration
        assert one.score == pytest.approx(other.score, abs=1e-12)
    assert alone.decision == with_it.decision
    assert alone.eye_advice == with_it.eye_advice


def test_coverage_fewest_devices_outcomes_and_page_say_the_same() -> None:
    """It stands in no set of devices and among none that is left, and everything names it as needing none."""
    found = plan(made([FACES, BOARD, LARGE]), STOCK, SETTINGS)
    assert found.coverage.not_needed == (0, 2)
    assert plan_data(found)["coverage"]["not_needed"] == [0, 2]
    few = found.smallest_set
    assert few.goals_by_device == ((1,),) and few.left == ()
    assert few.sentence.endswith("No telescope is needed for faces near and large print.")
    for option in found.options[:40]:
        assert [outcome.needed for outcome in option.outcomes] == [False, True, False]
        assert option.leading is option.outcomes[1]
        assert option.decision == option.outcomes[1].decision
        for goal, name in ((0, "faces near"), (2, "large print")):
            assert option.outcomes[goal].sentence.startswith(f"{name}: needs no telescope;")
            assert option.outcomes[goal].decision.word == "prefer-alternative"
            said = [w for w in (*option.reasons_for, *option.reasons_against) if name in w]
            assert len(said) == 1 and said[0].startswith(f"For {name} no telescope is needed")
    assert not found.alternatives[0].telescope_is_answer
    assert "an ordinary add of about 3.00 D does it" in found.alternatives[0].sentence
    assert "no option meets" not in plan_page(found, SETTINGS)


def test_a_goal_that_the_tube_spoils_is_no_reason_for_another_device() -> None:
    """A fixed tube blurs what lies at 1 m: met without it, the goal is not counted as left by any device."""
    found = plan(made([BOARD, FACES], right__sustained_accommodation="0"), STOCK, SETTINGS)
    ahead = next(
        o for o in found.options if o.configuration.position == "full diameter" and o.configuration.eye == "both"
        and o.configuration.mount == "through the lens" and not o.telescope.focusable
        and o.outcomes[1].grade != "meets"
    )  # fmt: skip
    assert any("it has to come off for that" in words for words in ahead.reasons_against)
    high = next(o for o in found.options if o.configuration.position == "bioptic")
    assert any("the ordinary view stays free for it" in words for words in high.reasons_for)
    assert len(found.smallest_set.ranks) == 1


def test_what_the_better_eye_reaches_is_reached_whichever_eye_looks_through_the_tube() -> None:
    """20/100 is seen by the right eye alone: an option for the left one is no reason to magnify it."""
    goal = {"task": "own sign", "distance": "6 m", "detail": "20/100"}
    found = plan(made([goal], left__distance_acuity="20/200"), STOCK, SETTINGS)
    assert found.coverage.not_needed == (0,)
    left = next(o for o in found.options if o.configuration.eye == "left")
    assert left.outcomes[0].decision.word == "prefer-alternative" and not left.outcomes[0].needed
    assert found.smallest_set.sentence == "No telescope is needed for own sign."
    assert found.decision.word == "prefer-alternative"


def test_an_add_that_works_nearer_than_the_hands_does_not_do_it() -> None:
    """3 D of add work at 33 cm; hands that work from 40 cm ask for more room, and then a telescope is weighed."""
    near = plan(made([LARGE], face__reach="40 cm"), STOCK, SETTINGS)
    assert near.coverage.not_needed == ()
    assert "ordinary add" not in near.decision.sentence
    assert plan(made([LARGE], face__reach="30 cm"), STOCK, SETTINGS).coverage.not_needed == (0,)


def test_a_goal_below_the_contrast_threshold_is_not_called_reached() -> None:
    """Large enough but too faint: no telescope is promised, and the goal is not said to be seen without one."""
    faint = {**FACES, "contrast": "0.05"}
    found = plan(made([faint], right__contrast="1.2", left__contrast="1.2"), STOCK, SETTINGS)
    assert found.coverage.not_needed == () and found.decision.word == "refuse"
    assert "below what this eye can see at any size" in found.decision.sentence


def test_all_goals_reached_without_one_are_all_named() -> None:
    """The decision says of each goal what does it."""
    found = plan(made([FACES, LARGE]), STOCK, SETTINGS)
    assert found.decision.word == "prefer-alternative"
    assert "faces near: the recorded acuity is enough" in found.decision.sentence
    assert "large print: an ordinary add" in found.decision.sentence
    assert found.smallest_set.sentence == "No telescope is needed for faces near and large print."
    assert found.eye_advice.sentence.startswith(
        "No goal asks for a telescope; if one is tried all the same: "
    )
    scores = [found.options[rank].score for rank in range(20)]
    assert scores == sorted(scores, reverse=True) and scores[0] > 0.0


def test_what_would_change_the_answer_is_that_a_telescope_is_needed_then() -> None:
    """20/200 wanted: from an acuity just over 1.0 logMAR on a telescope is asked for, and not before."""
    case = made([FACES], right__distance_acuity="0.85 logMAR", left__distance_acuity="1.2 logMAR")
    found = plan(case, STOCK, SETTINGS)
    spans = sensitivity(case, STOCK, SETTINGS, found.options[0].configuration)
    acuity = next(span for span in spans if span.path == "right.distance_acuity")
    assert acuity.what_upper == "a telescope is needed for the goal"
    assert acuity.upper == pytest.approx(1.0, abs=0.01) and acuity.upper > 1.0


NEWS = {"task": "newspaper"}
SUBTITLES = {"task": "television subtitles"}
SIGN = {"task": "street name sign"}
WEAK = {
    "right__distance_acuity": "20/200", "left__distance_acuity": "20/250", "right__near_acuity": "4M @ 40",
    "left__near_acuity": "5M @ 40", "right__contrast": "1.05", "left__contrast": "1.05",
    "face__pupil_height_right": "21", "face__pupil_height_left": "21", "face__b_size": "46",
}  # fmt: skip


def test_print_that_an_add_serves_better_does_not_make_the_tube_for_a_sign_too_strong() -> None:
    """20 D for a newspaper are for a high add or a magnifier: beside a sign and subtitles a tube of 3x at most is first."""
    found = plan(made([SIGN, NEWS, SUBTITLES], **WEAK), STOCK, SETTINGS)
    best = found.options[0]
    assert abs(best.device.leading.magnification) <= 3.0 and best.configuration.position == "bioptic"
    assert best.outcomes[0].grade == "meets" and best.outcomes[2].grade == "meets"
    assert [outcome.better_otherwise for outcome in best.outcomes] == [False, True, False]
    assert ["counts a quarter" in need.sentence for need in found.needs] == [False, True, False]
    assert found.decision.sentence.startswith("street name sign:")
    # Alone it counts in full, and with free hands or hands that work from farther off it is for a telescope.
    alone = plan(made([NEWS], **WEAK), STOCK, SETTINGS)
    assert alone.options[0].score > 5.0 and alone.decision.sentence.startswith("newspaper:")
    for goal, changes in (({**NEWS, "hands_free": "yes"}, {}), (NEWS, {"face__reach": "20 cm"})):
        other = plan(made([SIGN, goal, SUBTITLES], **WEAK, **changes), STOCK, SETTINGS)
        assert not any(outcome.better_otherwise for outcome in other.options[0].outcomes)


def test_the_decision_is_that_of_the_goal_the_device_is_for() -> None:
    """Print first, a board second: what is decided about the device is decided by the board."""
    found = plan(made([NEWS, BOARD]), STOCK, SETTINGS)
    assert found.decision.sentence.startswith("own board:")
    assert found.options[0].leading is found.options[0].outcomes[1]
    assert found.options[0].outcomes[0].decision.word == "prefer-alternative"
    free = plan(made([{**NEWS, "hands_free": "yes"}, BOARD]), STOCK, SETTINGS)
    assert free.decision.sentence.startswith("newspaper:")


def test_a_child_who_holds_the_page_near_needs_no_telescope_for_it() -> None:
    """8 D kept up, 7 D asked for: the goal counts for nothing, as the near table says; with 6 D it asks for one."""
    page = {"task": "own page", "distance": "40 cm", "detail": "1.0M", "reserve": "1"}
    near = {"person__birth_year": "2018", "right__near_acuity": "2.8M @ 40", "left__near_acuity": "3.2M @ 40"}
    found = plan(made([page, BOARD], **near, right__sustained_accommodation="8"), STOCK, SETTINGS)
    assert found.coverage.not_needed == (0,)
    assert "own accommodation of 8.0 D does it" in found.options[0].outcomes[0].decision.sentence
    assert "no device is needed" in found.alternatives[0].sentence
    less = plan(made([page, BOARD], **near, right__sustained_accommodation="6"), STOCK, SETTINGS)
    assert less.coverage.not_needed == ()
