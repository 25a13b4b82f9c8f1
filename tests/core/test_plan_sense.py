"""First options and sentences as a practitioner would expect them. Cases are invented, the stock is that of practice.

One eye: the better one, and of two alike the dominant one (AOA-BTS: Deol R, AOA Vision Rehabilitation Committee, tips
on prescribing and fitting a bioptic telescope system, 2019, first half read). Inferior position for near (YOHO09: Yoho
A, fitting low-vision telescopes, 2009). The rest is common practice.
"""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

import afocal.core
from afocal.core.case import Case, new_case
from afocal.core.plan import plan
from afocal.core.settings import Settings
from afocal.core.stock import loads_stock

SETTINGS = Settings()
DEMO = Path(afocal.core.__file__).parent / "data" / "demo"
STOCK = loads_stock((DEMO / "stock.toml").read_text("utf-8"))[0]

ALIKE = {
    "person.birth_year": "1956", "test.refraction_vertex": "12", "right.distance_acuity": "20/100",
    "left.distance_acuity": "20/100", "right.near_acuity": "2.0M @ 40", "left.near_acuity": "2.0M @ 40",
    "right.refraction": "-1.00 sph", "left.refraction": "-1.25 sph", "right.contrast": "1.35", "left.contrast": "1.35",
    "binocular.fusion": "no", "face.pd": "63", "face.vertex_distance": "12",
}  # fmt: skip


def made(goals: list[dict[str, str]], **changes: str) -> Case:
    """A person of 70 with two like eyes that do not fuse, and these goals."""
    case = new_case("S-1", date(2026, 11, 20))
    for path, text in {**ALIKE, **{key.replace("__", "."): text for key, text in changes.items()}}.items():
        case = case.with_typed(path, text)
    for index, goal in enumerate(goals):
        for key, text in goal.items():
            case = case.with_goal_typed(index, key, text)
    return case


STAGE, BOOK = {"task": "theatre stage"}, {"task": "book"}


@pytest.mark.parametrize("goals", [[STAGE], [BOOK], [STAGE, BOOK]])
@pytest.mark.parametrize(
    ("changes", "lead", "words"),
    [
        ({"binocular__dominance": "left"}, "left", "The left eye is the dominant one."),
        ({"binocular__dominance": "right"}, "right", "The right eye is the dominant one."),
        ({"left__contrast": "1.65"}, "left", "The left eye sees faint contrast better, by 0.30 log."),
        ({"right__distance_acuity": "20/125"}, "left", "The left eye sees better, by 0.10 log."),
    ],
)
def test_one_tube_goes_before_the_eye_that_leads(
    goals: list[dict[str, str]], changes: dict[str, str], lead: str, words: str
) -> None:
    """Not a hair of power through another lens decides the eye; an option for the other says what is better about it."""
    found = plan(made(goals, **changes), STOCK, SETTINGS)
    assert found.eye_advice.choice == lead
    assert found.options[0].configuration.eye == lead
    other = next(o for o in found.options if o.configuration.eye != lead)
    assert words in other.reasons_against
    assert not any(
        " eye sees" in reason or "dominant one" in reason for reason in found.options[0].reasons_against
    )


@pytest.mark.parametrize("task", ["house number", "street name sign", "theatre stage", "classroom board"])
def test_nothing_low_in_the_lens_is_first_for_what_lies_far(task: str) -> None:
    """For far the chin would have to rise: another position of some telescope comes first, for weak eyes as well."""
    case = made(
        [{"task": task}], right__distance_acuity="20/250", left__distance_acuity="20/320", binocular__fusion="yes",
        right__contrast="0.9", left__contrast="0.9",
    )  # fmt: skip
    assert plan(case, STOCK, SETTINGS).options[0].configuration.position != "low"


def test_a_bird_that_sits_is_seen_through_a_strong_tube() -> None:
    """20/30 wanted of 20/100: a telescope of 4x or more is worth a trial, and is not ruled out by image slip."""
    found = plan(made([{"task": "birdwatching"}]), STOCK, SETTINGS)
    best = found.options[0]
    assert abs(best.device.leading.magnification) >= 3.5
    assert found.decision.word in ("trial", "proceed") and best.outcomes[0].grade in ("meets", "nearly")


def test_the_best_pair_is_told_of_however_far_down_it_stands() -> None:
    """A reserve of 2 prism dioptres: two tubes are advised by the acuities, and what speaks against them is said."""
    case = made(
        [{"task": "television subtitles"}], binocular__fusion="yes", binocular__base_out_distance="2/3/1",
    )  # fmt: skip
    found = plan(case, STOCK, SETTINGS)
    assert found.eye_advice.choice == "both" and found.options[0].configuration.eye != "both"
    assert "The best pair is " in found.eye_advice.sentence
    assert "convergence beyond half of the reserve" in found.eye_advice.sentence


def test_a_goal_out_of_reach_of_the_whole_stock_is_said_with_what_it_would_take() -> None:
    """20/1000 to 20/92: 10.9 times, and the strongest telescope here has 6; print of 80 D."""
    weak = {"right__distance_acuity": "20/1000", "left__distance_acuity": "20/1000"}
    found = plan(made([{"task": "television subtitles"}], **weak), STOCK, SETTINGS)
    assert found.decision.word == "prefer-alternative"
    assert "10.9 times is wanted and the strongest telescope here has 6" in found.decision.sentence
    near = plan(
        made([{"task": "newspaper"}], **weak, right__near_acuity="16M @ 40", left__near_acuity="16M @ 40"),
        STOCK, SETTINGS,
    )  # fmt: skip
    assert "an equivalent power of 80 D is wanted; no option here comes near it" in near.decision.sentence


def test_a_tube_looked_past_is_not_said_to_be_near_its_edge() -> None:
    """10 degrees of tilt where the eye looks up by 21: 11 degrees off the axis of a view of 9 to each side."""
    found = plan(made([{"task": "street name sign", "detail": "20/50"}]), STOCK, SETTINGS)
    high = next(o for o in found.options if o.telescope.id == "small-2.0")
    half = high.device.leading.field.apparent_field_deg / 2.0
    assert (high.device.mount.off_axis_deg or 0.0) > half
    assert any("past the edge of the view" in reason for reason in high.reasons_against)


def test_large_but_faint_is_not_called_seen_without_a_telescope() -> None:
    """20/100 seen and wanted at a contrast reserve of 4.8: by size alone it is enough, by contrast not."""
    face = {"task": "own face", "distance": "3 m", "detail": "20/100", "contrast": "0.3"}
    found = plan(made([face], right__contrast="1.2", left__contrast="1.2"), STOCK, SETTINGS)
    assert found.coverage.not_needed == ()
    assert "faint" in found.needs[0].sentence
    clear = plan(made([{**face, "contrast": "0.85"}]), STOCK, SETTINGS)
    assert clear.coverage.not_needed == (0,) and "seen without" in clear.needs[0].sentence


def test_print_read_with_both_eyes_is_not_forgotten_for_letters() -> None:
    """3.2M read with both eyes at 40 cm, nothing by one eye: 16 D for 1M with a reserve of 2, not the 10 D of letters."""
    both = {"right__near_acuity": "", "left__near_acuity": "", "both__near_acuity": "3.2M @ 40"}
    found = plan(made([{"task": "newspaper"}], **both, left__distance_acuity="20/200"), STOCK, SETTINGS)
    assert found.needs[0].required_evp_d == pytest.approx(16.0)
    assert "from what both eyes read together" in found.needs[0].methods[0].sentence
    # 20/200 is twice 20/100: the left eye alone is taken to need print twice as large.
    left = next(o for o in found.options if o.configuration.eye == "left")
    assert left.outcomes[0].required_evp_d == pytest.approx(32.0)
    assert "both eyes read" in found.assumptions_used["right.near_acuity"]


def test_print_that_was_estimated_is_among_what_was_assumed() -> None:
    """Without a reading, 20/100 letters stand for 2M at 40 cm, and the plan says so; with one it does not."""
    bare = made([{"task": "newspaper"}], right__near_acuity="", left__near_acuity="")
    used = plan(bare, STOCK, SETTINGS).assumptions_used
    assert used["right.near_acuity"] == "threshold print of 2M at 40 cm, estimated from letter acuity"
    assert "right.near_acuity" not in plan(made([{"task": "newspaper"}]), STOCK, SETTINGS).assumptions_used
    far = made([{"task": "theatre stage"}], right__near_acuity="", left__near_acuity="")
    assert "right.near_acuity" not in plan(far, STOCK, SETTINGS).assumptions_used


PAGE = {"task": "own page", "distance": "40 cm", "detail": "1.0M", "reserve": "1", "hands_free": "yes"}


def test_print_is_asked_of_the_eye_that_reads_better() -> None:
    """The right eye leads by letters, the left one reads 2M where the right reads 4M: 5 D are asked for, not 10."""
    case = made(
        [PAGE], right__near_acuity="4.0M @ 40", left__near_acuity="2.0M @ 40", left__distance_acuity="20/125"
    )
    found = plan(case, STOCK, SETTINGS)
    assert found.needs[0].required_evp_d == pytest.approx(5.0)
    assert found.options[0].configuration.eye == "left"
    assert found.eye_advice.choice == "left"
    table = found.alternatives[0]
    telescope = next(row for row in table.rows if row.kind == "telescope")
    assert telescope.reaches and "falls short" not in table.sentence


def test_power_that_is_just_enough_is_neither_short_nor_wrong() -> None:
    """2x with +4.00 are the 8 D wanted, a rounding short of them: met, and nothing says that it falls short."""
    page = {**PAGE, "detail": "0.8M", "hands_free": "no"}
    case = made([page], right__near_acuity="2.56M @ 40", left__near_acuity="3.2M @ 40")
    found = plan(case, STOCK, SETTINGS)
    met = [
        o
        for o in found.options[:60]
        if o.outcomes[0].grade == "meets" and abs(o.outcomes[0].power_margin_log or 0.0) < 1e-6
    ]
    assert met
    for option in met:
        assert "D of the" not in option.outcomes[0].decision.sentence
    assert "falls short" not in found.alternatives[0].sentence


def test_a_telescope_that_fails_for_want_of_contrast_is_not_the_answer() -> None:
    """Enough power, a contrast reserve of 1.2: the table says what it fails by, and does not praise its room."""
    case = made([{**PAGE, "detail": "0.5M", "contrast": "0.5"}], right__contrast="0.4", left__contrast="0.35", right__near_acuity="3.2M @ 40",
                left__near_acuity="4.0M @ 40")  # fmt: skip
    found = plan(case, STOCK, SETTINGS)
    best = found.options[0].outcomes[0]
    table = found.alternatives[0]
    row = next(row for row in table.rows if row.kind == "telescope")
    assert row.reaches and best.grade == "misses"
    assert not table.telescope_is_answer and "contrast reserve" in table.sentence


def test_a_reason_against_says_what_is_in_the_way_of_a_goal_with_a_good_chance() -> None:
    """Seen sharply enough by its size, but out of focus or too narrow: the chance alone would read as praise."""
    goals = [{"task": "own table", "distance": "60 cm", "detail": "20/80", "width": "600 mm"}]
    found = plan(made(goals, right__sustained_accommodation="0"), STOCK, SETTINGS)
    said = [
        words
        for option in found.options[:200]
        if option.outcomes[0].grade in ("nearly", "misses") and (option.outcomes[0].probability or 0.0) > 0.5
        for words in option.reasons_against
        if words.startswith(("It comes near own table", "It misses own table"))
    ]
    assert said
    assert all("of the wanted width" in words or "out of focus" in words for words in said)


def test_a_narrow_seeing_field_takes_in_only_a_part_of_what_the_tube_shows() -> None:
    """10 degrees behind 2.0x are 5.0 degrees of the scene (tan 5° / 2 = tan 2.5°): said, and tried before ordering."""
    goal = [{"task": "television subtitles"}]
    narrow = plan(made(goal, right__visual_field="10", left__visual_field="10"), STOCK, SETTINGS)
    option = next(
        o for o in narrow.options if o.telescope.id == "wide-2.0" and o.outcomes[0].grade == "meets"
    )
    assert any("takes in only 5.0 of the" in words for words in option.reasons_against)
    assert option.decision.word == "trial" and "seeing field" in option.decision.sentence
    for width in ("", "120"):
        wide = plan(made(goal, right__visual_field=width, left__visual_field=width), STOCK, SETTINGS)
        assert not any("seeing field" in words for words in wide.options[0].reasons_against)


def test_for_print_alone_one_tube_goes_before_the_eye_that_reads_better() -> None:
    """The right eye leads by letters, the left one reads smaller print by a hair: for a book it is the left, for a stage the right."""
    reads = {
        "right__near_acuity": "2.2M @ 40",
        "left__near_acuity": "2.0M @ 40",
        "left__distance_acuity": "20/125",
    }
    book = plan(made([BOOK], **reads), STOCK, SETTINGS)
    assert book.eye_advice.choice == "left" and "reads smaller print" in book.eye_advice.sentence
    assert book.options[0].configuration.eye == "left"
    other = next(o for o in book.options if o.configuration.eye == "right")
    assert "The left eye reads smaller print." in other.reasons_against
    stage = plan(made([STAGE], **reads), STOCK, SETTINGS)
    assert stage.eye_advice.choice == "right" and stage.options[0].configuration.eye == "right"


def test_a_first_option_for_the_other_eye_than_the_one_advised_is_explained() -> None:
    """The left eye has the letters, the right one the contrast that a face asks for: both are said, and why."""
    case = made(
        [{"task": "lips and signing"}],
        right__contrast="1.80",
        left__contrast="0.90",
        left__distance_acuity="20/63",
    )
    found = plan(case, STOCK, SETTINGS)
    assert found.eye_advice.choice == "left" and found.options[0].configuration.eye == "right"
    words = found.eye_advice.sentence
    assert "The first option is for the right eye all the same. The best one for the left eye is " in words


@pytest.mark.parametrize(
    ("task", "sphere", "acuity"),
    [
        ("television picture", "-1.50", "20/80"),
        ("television subtitles", "-2.00", "20/160"),
        ("chess and board games", "-3.50", "20/100"),
        ("playing cards", "-6.50", "20/100"),
    ],
)
def test_an_eye_that_needs_a_lens_is_not_left_without_one_for_a_hair(
    task: str, sphere: str, acuity: str
) -> None:
    """Common practice corrects even a slight error: the first option does, though another may be a hair better without."""
    lens = {"right__refraction": f"{sphere} sph", "left__refraction": f"{sphere} sph"}
    case = made([{"task": task}], **lens, right__distance_acuity=acuity, binocular__fusion="yes")
    best = plan(case, STOCK, SETTINGS).options[0]
    assert best.configuration.correction != "none"
    assert best.device.leading.residual_sphere_d == 0.0


def test_a_tube_set_hyperfocal_is_said_to_be_clear_as_far_as_it_is() -> None:
    """3 D of myopia left in end what is clear: the far end is told, and only without it the words are 'to far'."""
    case = made([{"task": "television picture"}], right__refraction="-3.00 sph", left__refraction="-3.00 sph")
    found = plan(case, STOCK, SETTINGS)
    seen = set()
    for row in found.coverage.rows:
        choice = row.configuration
        if (
            choice.focus != "hyperfocal"
            or choice.correction not in ("carrier", "none")
            or choice.correction in seen
        ):
            continue
        seen.add(choice.correction)
        option = found.options[row.rank - 1]
        far = option.device.leading.far_limit_mm
        words = next(words for words in option.reasons_for if words.startswith("Set hyperfocal"))
        assert (far is None) == (choice.correction == "carrier")
        assert ("to far" in words) == (far is None) and (far is None or f"to {far / 1000:.2f} m" in words)
    assert seen == {"carrier", "none"}
