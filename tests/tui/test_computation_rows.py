"""The words of the computation pane for an option, without a screen. The case is invented, the stock that of practice."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path

import afocal.core
from afocal.core.case import Case, new_case
from afocal.core.case_file import dumps_case
from afocal.core.case_header import case_header
from afocal.core.plan import plan
from afocal.core.plan.workings import explain
from afocal.core.settings import Settings
from afocal.core.stock import loads_stock
from afocal.tui.panes.computation_rows import (
    explained,
    formula_behind,
    grade_role,
    grade_words,
    option_rows,
    plan_rows,
    promise_of,
)
from afocal.tui.view import View

SETTINGS = Settings()
DEMO = Path(afocal.core.__file__).parent / "data" / "demo"
STOCK = loads_stock((DEMO / "stock.toml").read_text("utf-8"))[0]
FACES = {"task": "faces near", "distance": "1 m", "detail": "20/200"}
BOARD = {"task": "own board", "distance": "6 m", "detail": "20/50", "duration": "long"}
PAGE = {"task": "own page", "distance": "40 cm", "detail": "1M", "hands_free": "yes"}


def made(goals: list[dict[str, str]]) -> Case:
    """A person who sees 20/100 with one eye, with these goals."""
    case = new_case("C-1", date(2026, 6, 1))
    for path, text in (("right.distance_acuity", "20/100"), ("right.near_acuity", "2.0M @ 40")):
        case = case.with_typed(path, text)
    for index, goal in enumerate(goals):
        for key, text in goal.items():
            case = case.with_goal_typed(index, key, text)
    return case


def test_the_list_says_of_a_goal_without_a_telescope_that_there_is_no_need() -> None:
    """Neither a sign nor a chance stands for what a tube would do where none is needed."""
    free, asked = plan(made([FACES, BOARD]), STOCK, SETTINGS).options[0].outcomes
    assert (grade_words(free), grade_words(free, brief=True)) == ("not needed", "no need")
    assert "meets" in grade_words(asked)


def test_no_sign_of_a_met_goal_stands_beside_driving() -> None:
    """However large the chance, the list tells of the detail at rest and marks it as something to try."""
    wheel = {**BOARD, "task": "driving", "detail": "20/60"}
    outcomes = plan(made([wheel, BOARD]), STOCK, SETTINGS).options[0].outcomes
    assert [outcome.grade for outcome in outcomes] == ["meets", "meets"]
    assert [grade_role(outcome) for outcome in outcomes] == ["check", "ok"]
    chance = grade_words(outcomes[0], brief=True).split()[-1]
    assert grade_words(outcomes[0]).endswith(f"at rest {chance}")
    assert grade_words(outcomes[0])[0] != grade_words(outcomes[1])[0]


def test_what_is_kept_with_a_choice_is_promised_for_the_goal_that_it_is_for() -> None:
    """The range of the goal stands beside it in the words that the tables know: near, intermediate, distance."""
    found = plan(made([FACES, BOARD]), STOCK, SETTINGS)
    promised = promise_of(found.options[0], found.demands)
    assert promised["goal"] == "own board" and promised["goal_kind"] == "distance"
    near = plan(made([PAGE]), STOCK, SETTINGS)
    assert promise_of(near.options[0], near.demands)["goal_kind"] == "near"
    assert promise_of(plan(made([]), STOCK, SETTINGS).options[0], ()) == {}


def test_a_look_back_names_the_goal_that_was_promised() -> None:
    """The first goal of the list needs no telescope: what is looked back on is what the device was chosen for."""
    case = made([FACES, BOARD])
    found = plan(case, STOCK, SETTINGS)
    visit = replace(
        case.visit,
        choice=found.options[0].configuration,
        promised=promise_of(found.options[0], found.demands),
    )
    (outcome,) = case_header(dumps_case(case.with_visit(visit)))["outcomes"]
    assert outcome["goal"] == "own board"


def test_the_help_for_a_number_is_in_plain_words() -> None:
    """F1 on every number of an option: what it is in a sentence, the formula that made this one, domain, source; no mark
    or name that only a programmer knows."""
    goals = [BOARD, PAGE]
    found = plan(made(goals), STOCK, SETTINGS)
    view = View(made(goals), SETTINGS, STOCK, found.person, found)
    prism = next(each for each in found.options if each.telescope.type == "keplerian")
    tube = next(each for each in found.options if each.telescope.type == "galilean" and each.cap is not None)
    fields = {}
    for option in (prism, tube):
        rows = [*option_rows(view, option), *plan_rows(view)]
        keys = {row.key: row.parts[0][0].strip(" :") for row in rows if ":" in row.key}
        assert len(keys) > 20
        for key, label in keys.items():
            title, text = explained(label, formula_behind(view, option, key))
            assert title == label
            assert "`" not in text and "_" not in text.splitlines()[0], text
            if not text.startswith("This value was typed"):
                assert (
                    text.splitlines()[0].endswith((".", ":")) and "Formula: " in text and "Source: " in text
                ), key
        fields[option.telescope.type] = explained(
            "", formula_behind(view, option, "device:0:real_field_deg")
        )[1]
    # The field of a Keplerian is that of its stop or its keyhole, not the Galilean one.
    assert "Galilean" in fields["galilean"] and "Galilean" not in fields["keplerian"]
    assert explained("words", formula_behind(view, prism, "sensitivity")) == (
        "words",
        "F6 shows how it came about.",
    )


def test_every_row_of_the_pane_that_tells_a_number_gives_its_working() -> None:
    """Methods, reserves, losses, points of the order and other near devices have a key, and F6 ends with their number."""
    goals = [BOARD, {**PAGE, "contrast": "0.3"}]
    case = made(goals)
    found = plan(case, STOCK, SETTINGS)
    view = View(case, SETTINGS, STOCK, found.person, found)
    option = found.options[0]
    rows = [*option_rows(view, option), *plan_rows(view)]
    keyed = {row.key: "".join(text for text, _ in row.parts) for row in rows if ":" in row.key}
    for kind in (
        ":methods.",
        ":near.",
        ":losses.",
        ":score_parts.",
        ":contrast_reserve",
        ":characters_wanted",
    ):
        assert any(kind in key for key in keyed), kind
    for key, words in keyed.items():
        about, number, quantity = key.split(":")
        working = explain(case, STOCK, SETTINGS, option.configuration, int(number), quantity)
        assert working.steps, (key, words)
        if about == "need" and quantity.startswith(("methods.", "near.")):
            assert working.steps[-1].formula.name != "as_recorded", (key, words)


def test_other_near_devices_stand_on_equal_terms() -> None:
    """Each with whether it reaches the goal, equivalent distance and power, room, characters, and the hands it leaves."""
    found = plan(made([PAGE]), STOCK, SETTINGS)
    view = View(made([PAGE]), SETTINGS, STOCK, found.person, found)
    told = {"".join(text for text, _ in row.parts) for row in plan_rows(view)}
    table = found.alternatives[0]
    for device in table.rows:
        if device.evd_mm is None:
            continue
        words = next(words for words in told if words.startswith(device.name))
        assert ("does not reach it" not in words) is bool(device.reaches)
        assert f"{device.evd_mm:.0f} mm equivalent ({device.equivalent_power_d:.1f} D)" in words
        assert f"page at {device.working_distance_mm:.0f} mm" in words
        assert f"{device.characters:.0f} characters" in words
        assert ("hands free" if device.hands_free else "takes a hand") in words


def test_what_a_goal_asks_stands_beside_what_is_needed_for_it() -> None:
    """Distance, detail with its reserve, contrast, and which of the figures the goal did not give."""
    goals = [{"task": "television subtitles", "distance": "3 m"}]
    found = plan(made(goals), STOCK, SETTINGS)
    view = View(made(goals), SETTINGS, STOCK, found.person, found)
    asked = next(
        words
        for words in ("".join(text for text, _ in row.parts) for row in plan_rows(view))
        if words.startswith("Asked: ")
    )
    assert "at 3.00 m" in asked and "letters of 25.0 mm with a reserve of 1.5" in asked
    assert "usual for television subtitles" in asked and "distance" not in asked.lower()


def test_a_need_without_a_number_offers_no_working() -> None:
    """Only print was read: what a sign needs cannot be said, and the row that says so is words."""
    case = new_case("C-2", date(2026, 6, 1)).with_typed("right.near_acuity", "2.0M @ 40")
    for key, text in BOARD.items():
        case = case.with_goal_typed(0, key, text)
    found = plan(case, STOCK, SETTINGS)
    view = View(case, SETTINGS, STOCK, found.person, found)
    (row,) = [row for row in plan_rows(view) if row.parts[0][0] == found.needs[0].sentence][:1]
    assert "measure it" in found.needs[0].sentence and row.key == ""
