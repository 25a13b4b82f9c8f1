"""The principle of the ranking on the practice cases: the lowest power that meets the goal with the widest field first.

Common practice, without a source; where a published finding decides it is named. The cases and the stock are invented.
"""

from __future__ import annotations

from datetime import date
from functools import cache
from pathlib import Path
from typing import Any

import pytest

import afocal.core
from afocal.core.case import Case, new_case
from afocal.core.case_file import loads_case
from afocal.core.plan import plan
from afocal.core.plan.sensitivity import sensitivity
from afocal.core.plan.types import Option, Plan
from afocal.core.settings import Settings
from afocal.core.stock import Filter, Stock, Telescope, loads_stock

SETTINGS = Settings()
DEMO = Path(afocal.core.__file__).parent / "data" / "demo"


@cache
def stock() -> Stock:
    """The practice stock."""
    return loads_stock((DEMO / "stock.toml").read_text("utf-8"))[0]


@cache
def practice(code: str) -> Plan:
    """The plan of a practice case."""
    path = DEMO / "cases" / f"{code}.toml"
    return plan(loads_case(path.read_text("utf-8"), path), stock(), SETTINGS)


def first(found: Plan, **wanted: Any) -> Option:
    """The best option of a configuration with these marks."""
    return next(
        option
        for option in found.options
        if all(getattr(option.configuration, key) == value for key, value in wanted.items())
    )


def _case(goals: list[dict[str, str]], **changes: str) -> Case:
    case = new_case("R-1", date(2026, 6, 1))
    typed = {
        "person.birth_year": "1950",
        "right.distance_acuity": "20/100",
        "left.distance_acuity": "20/125",
        "right.near_acuity": "2.0M @ 40",
        "left.near_acuity": "2.5M @ 40",
        "right.refraction": "-1.00 sph",
        "left.refraction": "-1.25 sph",
        "test.refraction_vertex": "12",
        "face.vertex_distance": "12",
        "face.pd": "63",
        "binocular.fusion": "yes",
        **{path.replace("__", "."): text for path, text in changes.items()},
    }
    for path, text in typed.items():
        case = case.with_typed(path, text)
    for index, goal in enumerate(goals):
        for key, text in goal.items():
            case = case.with_goal_typed(index, key, text)
    return case


def test_a_standing_person_is_offered_a_tube_high_in_the_lens_before_a_strong_one_straight_ahead() -> None:
    """Street sign at 8 m, standing, one eye: 2.5x high in the lens, to be tried; 4x straight ahead comes after."""
    found = practice("LQ-101")
    best = found.options[0]
    assert best.configuration.position == "bioptic"
    assert abs(best.telescope.signed_magnification) == 2.5
    assert best.outcomes[1].grade == "meets" and found.decision.word == "trial"
    strong = first(found, telescope="prism-4")
    assert strong.configuration.position == "full diameter" and strong.rank > best.rank
    assert any("for use seated" in reason for reason in strong.reasons_against)


def test_of_two_pairs_that_meet_the_goal_the_weaker_and_wider_comes_first() -> None:
    """Subtitles, two eyes: 2.0x with 16 degrees before 2.5x with 11, although 2.5x has the higher chance."""
    found = practice("LQ-102")
    weak, strong = first(found, telescope="wide-2.0"), first(found, telescope="wide-2.5")
    assert weak.rank == 1 and strong.rank > 1
    assert (weak.outcomes[0].probability or 0) < (strong.outcomes[0].probability or 0)
    assert (weak.outcomes[0].linear_union_mm or 0) > (strong.outcomes[0].linear_union_mm or 0)


def test_the_cap_near_the_required_power_comes_before_a_stronger_tube() -> None:
    """Sheet music: 2.5x with +2.25, just over the power required, before 3x with the same cap."""
    found = practice("LQ-103")
    best = found.options[0]
    assert abs(best.telescope.signed_magnification) == 2.5 and best.configuration.cap == "cap+2.25"
    assert best.outcomes[0].grade == "meets" and found.decision.word == "proceed"
    assert first(found, telescope="small-3.0").rank > 1


def test_print_that_a_high_add_reaches_is_not_given_to_a_strong_tube() -> None:
    """Newspaper with a trembling head: an add first; of the telescopes a light 3x before a 4x that tremor defeats."""
    found = practice("LQ-104")
    assert found.decision.word == "prefer-alternative" and "high add" in found.decision.sentence
    assert abs(found.options[0].telescope.signed_magnification) == 3.0
    assert found.options[0].telescope.type == "galilean"
    assert not found.alternatives[0].telescope_is_answer


def test_a_setting_comes_before_a_cap_that_must_come_off() -> None:
    """Cards between 0.7 and 1.5 m: the weakest pair set hyperfocal before the same pair with a cap of +1.00."""
    found = practice("LQ-107")
    best = found.options[0].configuration
    assert (best.telescope, best.cap, best.focus, best.eye) == ("wide-1.6", "", "hyperfocal", "both")
    assert first(found, telescope="wide-1.6", cap="cap+1.00").rank > 1


@pytest.mark.parametrize("code", ["LQ-101", "LQ-102", "LQ-105", "LQ-107"])
def test_a_cap_that_no_goal_uses_comes_after_the_same_without(code: str) -> None:
    """Caps are off for far goals: an option with an idle cap ranks behind its like without one and says so."""
    found = practice(code)
    idle = next(
        (o for o in found.options[:400] if o.cap and not any(outcome.cap_on for outcome in o.outcomes)), None
    )
    assert idle is not None
    kept = idle.configuration
    plain = first(
        found, telescope=kept.telescope, cap="", eye=kept.eye, position=kept.position, mount=kept.mount,
        correction=kept.correction, filter=kept.filter, focus=kept.focus,
    )  # fmt: skip
    assert plain.rank < idle.rank
    assert "None of the goals asks for its cap." in idle.reasons_against


@pytest.mark.parametrize("detail", ["20/63", "20/50", "20/40", "20/32"])
@pytest.mark.parametrize("eye", ["right", "both"])
def test_among_like_tubes_the_first_is_the_weakest_with_a_good_chance_or_weaker(
    detail: str, eye: str
) -> None:
    """Of tubes alike but for their power no stronger one than the weakest with a chance of 80 % comes first."""
    tubes = tuple(
        Telescope(
            id=f"t{power}", description="t", type="galilean", magnification=power, tube_length_mm=11.5 * power,
            objective_diameter_mm=24, positions=("full diameter",), corrections=("carrier",), focusable=True,
            shortest_tube_mm=8, longest_tube_mm=80,
        )
        for power in (1.6, 2.0, 2.5, 3.0, 3.5, 4.0)
    )  # fmt: skip
    found = plan(
        _case([{"task": "own words", "distance": "6 m", "detail": detail}]), Stock(telescopes=tubes), SETTINGS
    )
    best = first(found, eye=eye)
    good = [
        option.telescope.magnification
        for option in found.options
        if option.configuration.eye == eye and (option.outcomes[0].probability or 0.0) >= 0.8
    ]
    assert good and best.telescope.magnification <= min(good)
    assert best.outcomes[0].grade == "meets"


@pytest.mark.parametrize("posture", ["standing", "walking"])
@pytest.mark.parametrize("task", ["bus number", "street name sign", "departures board"])
def test_on_foot_a_tube_straight_ahead_never_comes_before_a_like_one_high_in_the_lens(
    posture: str, task: str
) -> None:
    """The same telescope high in the lens always comes before itself straight ahead when the goal is met on foot."""
    found = plan(_case([{"task": task, "posture": posture}]), stock(), SETTINGS)
    for name in ("small-2.5", "focus-2.5", "prism-3"):
        high, ahead = (first(found, telescope=name, position=at) for at in ("bioptic", "full diameter"))
        assert high.rank < ahead.rank, name


def test_a_trembling_head_is_not_given_a_strong_tube() -> None:
    """Head instability predicts failure (DEMER89): with marked tremor the first option is weaker than without."""
    goal = [{"task": "own words", "distance": "6 m", "detail": "20/50", "duration": "long"}]
    still = plan(_case(goal), stock(), SETTINGS).options[0]
    trembling = plan(_case(goal, history__head_tremor="marked"), stock(), SETTINGS).options[0]
    assert abs(trembling.device.leading.magnification) <= 2.0
    assert abs(trembling.device.leading.magnification) <= abs(still.device.leading.magnification)


def test_a_tint_comes_first_under_disabling_glare_and_never_without() -> None:
    """In bright light with disabling glare the first option has a tint, the lighter of two; without glare it has none."""
    goal = [{"task": "own words", "distance": "6 m", "detail": "20/63", "light": "bright"}]
    assert (
        plan(_case(goal, test__glare="disabling"), stock(), SETTINGS).options[0].configuration.filter
        == "amber"
    )
    assert plan(_case(goal, test__glare="none"), stock(), SETTINGS).options[0].configuration.filter == ""


def test_what_moves_the_answer_is_probed_with_the_tint_on() -> None:
    """An option with a tint can be probed: no input is said to make it unusable by losing the tint."""
    case = _case(
        [{"task": "own words", "distance": "6 m", "detail": "20/63", "light": "bright"}],
        test__glare="disabling",
    )
    best = plan(case, stock(), SETTINGS).options[0]
    assert best.configuration.filter
    spans = sensitivity(case, stock(), SETTINGS, best.configuration)
    assert not any("no longer be used (optics)" in span.sentence for span in spans)


def test_a_goal_that_needs_no_telescope_is_said_and_does_not_decide_for_the_others() -> None:
    """A goal seen without magnification prefers another way; the decision is then that of the goal that asks for one."""
    near = {"task": "faces near", "distance": "1 m", "detail": "20/200"}
    far = {"task": "own board", "distance": "6 m", "detail": "20/50"}
    alone = plan(_case([near]), stock(), SETTINGS)
    assert alone.decision.word == "prefer-alternative" and "without magnification" in alone.decision.sentence
    both = plan(_case([near, far]), stock(), SETTINGS)
    assert both.decision.sentence.startswith("own board:")
    assert both.options[0].outcomes[0].sentence.startswith("faces near: needs no telescope")


def test_an_ordinary_add_is_preferred_to_a_telescope() -> None:
    """Print that 4 D or less of add reaches needs no telescope."""
    found = plan(
        _case([{"task": "own page", "distance": "40 cm", "detail": "2.0M", "reserve": "1"}]),
        stock(),
        SETTINGS,
    )
    assert found.decision.word == "prefer-alternative" and "ordinary add" in found.decision.sentence
    assert not found.alternatives[0].telescope_is_answer


@pytest.mark.parametrize(
    ("hands_free", "answer"), [("no", False), ("yes", True)],
)  # fmt: skip
def test_the_decision_and_the_table_of_other_ways_agree(hands_free: str, answer: bool) -> None:
    """At near a telescope is the answer only when its working distance is the point; both places say the same."""
    goal = [
        {
            "task": "own page",
            "distance": "30 cm",
            "detail": "1.6M",
            "reserve": "1.5",
            "hands_free": hands_free,
        }
    ]
    found = plan(_case(goal), stock(), SETTINGS)
    assert found.alternatives[0].telescope_is_answer is answer
    assert (found.decision.word != "prefer-alternative") is answer


def test_a_child_who_can_hold_the_page_near_needs_no_device() -> None:
    """With 8 D of accommodation kept up, print that asks for 7 D is read by holding it near; the table says so."""
    case = _case(
        [{"task": "own page", "distance": "40 cm", "detail": "1.0M", "reserve": "1"}],
        person__birth_year="2018", right__near_acuity="2.8M @ 40", left__near_acuity="3.2M @ 40", right__sustained_accommodation="8",
    )  # fmt: skip
    table = plan(case, stock(), SETTINGS).alternatives[0]
    row = next(row for row in table.rows if row.name.startswith("held nearer"))
    assert row.reaches and row.evd_mm == pytest.approx(125.0)
    assert not table.telescope_is_answer and "no device is needed" in table.sentence


WORN = (
    ("progressive", {}, "bioptic", "corridor"),
    ("trifocal", {}, "bioptic", "intermediate segment"),
    ("bifocal", {"face__segment_height": "15"}, "bioptic", "The bifocal can stay"),
    ("bifocal", {"face__segment_height": "20.5"}, "bioptic", "stands too high under this tube"),
    ("bifocal", {}, "bioptic", "measure it before the bifocal is kept"),
    ("bifocal", {"face__segment_height": "15"}, "full diameter", "covers the top of the bifocal segment"),
)


@pytest.mark.parametrize(("worn", "more", "position", "words"), WORN)
def test_the_lenses_worn_are_weighed(worn: str, more: dict[str, str], position: str, words: str) -> None:
    """Trifocals and progressives are flagged; a bifocal is kept when its segment leaves room (common practice)."""
    case = _case(
        [{"task": "own words", "distance": "6 m", "detail": "20/50"}],
        test__lenses_worn=worn, face__pupil_height_right="21", face__pupil_height_left="21", **more,
    )  # fmt: skip
    option = first(plan(case, stock(), SETTINGS), position=position)
    assert any(words in reason for reason in (*option.reasons_for, *option.reasons_against))


def test_nothing_is_clipped_to_spectacles_that_are_not_worn() -> None:
    """Without spectacles a clip-on is refused by that reason; with them it is an option that leaves them as they are."""
    goal = [{"task": "own words", "distance": "6 m", "detail": "20/50"}]
    none = plan(_case(goal, test__lenses_worn="none"), stock(), SETTINGS)
    assert any("clipped to" in item.reason for item in none.refused)
    assert all(option.configuration.mount != "clip-on" for option in none.options)
    option = first(plan(_case(goal, test__lenses_worn="single vision"), stock(), SETTINGS), mount="clip-on")
    assert any("own spectacles" in reason for reason in option.reasons_for)


def test_a_tube_in_front_of_the_carrier_needs_no_correction_of_its_own() -> None:
    """In front of the carrier a correction behind the ocular is refused, and the carrier is the reason for."""
    found = plan(_case([{"task": "own words", "distance": "6 m", "detail": "20/50"}]), stock(), SETTINGS)
    refused = [
        item for item in found.refused if item.code == "mount" and item.configuration.correction == "ocular"
    ]
    assert refused and "no correction at the ocular is needed" in refused[0].reason
    option = first(found, mount="in front", correction="carrier")
    assert any("the tube needs no correction" in reason for reason in option.reasons_for)


def test_a_carrier_lens_is_advised_even_for_a_slight_error() -> None:
    """With -0.50 D the carrier comes before no correction, and each says so (common practice)."""
    case = _case(
        [{"task": "own words", "distance": "4 m", "detail": "20/50"}],
        right__refraction="-0.50 sph", left__refraction="-0.50 sph",
    )  # fmt: skip
    found = plan(case, stock(), SETTINGS)
    carrier, none = (first(found, telescope="wide-2.5", correction=place) for place in ("carrier", "none"))
    assert carrier.rank < none.rank
    assert any("even for a slight error" in reason for reason in carrier.reasons_for)
    assert any("even for a slight error" in reason for reason in none.reasons_against)


def test_a_blind_fellow_eye_is_not_said_to_look_around() -> None:
    """The fellow eye is a reason for one tube only when it sees."""
    goal = [{"task": "own words", "distance": "6 m", "detail": "20/50"}]
    seeing = plan(_case(goal, binocular__fusion="no"), stock(), SETTINGS).options[0]
    alone = plan(_case(goal, left__distance_acuity="NLP", left__near_acuity=""), stock(), SETTINGS).options[0]
    assert any("stays free to look around" in reason for reason in seeing.reasons_for)
    assert not any("stays free to look around" in reason for reason in alone.reasons_for)


@pytest.mark.parametrize("notation", ["snellen_ft", "snellen_m", "logmar", "decimal"])
def test_acuities_are_said_in_the_notation_of_the_clinic(notation: str) -> None:
    """The sentence of an outcome uses the clinic's own notation."""
    settings = Settings(acuity_notation=notation)  # type: ignore[arg-type]
    found = plan(_case([{"task": "own words", "distance": "6 m", "detail": "20/50"}]), stock(), settings)
    words = found.options[0].outcomes[0].sentence
    assert {"snellen_ft": "20/50", "snellen_m": "6/15", "logmar": "0.40 logMAR", "decimal": "0.4"}[
        notation
    ] in words


def _sentences(found: Plan) -> list[str]:
    said = [found.decision.sentence, found.smallest_set.sentence, found.eye_advice.sentence]
    said += [need.sentence for need in found.needs] + [item.reason for item in found.refused]
    said += [table.sentence for table in found.alternatives]
    for option in found.options[:12]:
        said += [*option.reasons_for, *option.reasons_against, option.decision.sentence]
        for outcome in option.outcomes:
            said += [outcome.sentence, outcome.decision.sentence]
    return said


HARD: dict[str, dict[str, str]] = {
    "as it is": {},
    "one eye": {"left__distance_acuity": "NLP", "left__near_acuity": "", "right__visual_field": "20"},
    "no accommodation": {"person__birth_year": "1935"},
    "9 D of myopia": {"right__refraction": "-9.00 sph", "left__refraction": "-9.00 sph"},
    "6 D of cylinder": {"right__refraction": "-1.00 -6.00 x 180", "left__refraction": "-1.00 -6.00 x 180"},
    "contrast too low": {"right__contrast": "0.00", "left__contrast": "0.00"},
    "counting fingers": {"right__distance_acuity": "CF @ 1 m", "left__distance_acuity": "HM"},
    "a child": {"person__birth_year": "2018"},
    "narrow PD": {"face__pd": "54"},
    "wide PD": {"face__pd": "74"},
    "progressive": {"test__lenses_worn": "progressive"},
    "no acuity": {"right__distance_acuity": "", "left__distance_acuity": ""},
    "no print": {"right__near_acuity": "", "left__near_acuity": ""},
    "unlike eyes": {"left__distance_acuity": "20/400"},
}
GOALS = [
    {"task": "bus number"}, {"task": "newspaper"}, {"task": "computer screen"}, {"task": "own words"},
    {"task": "own walk", "distance": "3 m", "detail": "20/60", "posture": "walking"},
]  # fmt: skip


@pytest.mark.parametrize("who", HARD)
def test_every_sentence_is_fit_for_a_chart(who: str) -> None:
    """Sentences end in a full stop, start with a word, and hold no raw refusal, no None and no number without end."""
    narrow = Stock(
        telescopes=(*stock().telescopes, Telescope(
            id="small exit".replace(" ", "-"), description="exit pupil of 2 mm", type="keplerian", magnification=8.0,
            tube_length_mm=120, objective_diameter_mm=16, field_stop_mm=7,
        )),
        caps=stock().caps, filters=(Filter(id="f", description="tint", transmittance=0.5),),
        alternatives=stock().alternatives,
    )  # fmt: skip
    for words in _sentences(plan(_case(GOALS, **HARD[who]), narrow, SETTINGS)):
        assert words.endswith((".", "!")), words
        assert not any(
            raw in words for raw in ("None", "nan", "inf ", "accepted is", "{", "}", "..", "_mm")
        ), words
        assert "  " not in words and words[0].isalnum(), words


@pytest.mark.parametrize("who", HARD)
def test_no_reason_is_given_twice(who: str) -> None:
    """A reason stands once, on one side, and does not repeat the sentence of an outcome."""
    for option in plan(_case(GOALS, **HARD[who]), stock(), SETTINGS).options[:12]:
        reasons = [*option.reasons_for, *option.reasons_against]
        assert len(reasons) == len(set(reasons))
        assert not {outcome.sentence for outcome in option.outcomes} & set(reasons)
