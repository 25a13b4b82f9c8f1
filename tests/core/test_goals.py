"""The library of tasks, and what a goal of the case demands."""

from __future__ import annotations

from datetime import date
from math import isclose, log10
from pathlib import Path

import pytest

from afocal.core.case import Case, Goal, new_case
from afocal.core.fields import goal_by_key
from afocal.core.goals import (
    demand_of,
    demands_of,
    library,
    loads_tasks,
    matching,
    merged,
    task_for,
    tasks_of,
)
from afocal.core.plan import read_case
from afocal.core.settings import Settings, dumps_settings, loads_settings
from afocal.core.workspace import Workspace


def _goal(**typed: str) -> Goal:
    case: Case = new_case("G-1", date(2026, 6, 1))
    for key, text in typed.items():
        case = case.with_goal_typed(0, key, text)
    return case.visit.goals[0]


def _demand(settings: Settings | None = None, **typed: str):
    return demand_of(_goal(**typed), library(), settings or Settings())


def test_every_task_of_the_library_can_be_computed_with() -> None:
    """Each task, chosen by its name alone, gives a demand without a problem."""
    for task in library():
        demand = _demand(task=task.name)
        assert not demand.problems, (task.name, demand.problems)
        assert demand.task_id == task.id
        assert demand.goal_logmar is not None
        assert demand.nearest_mm <= demand.distance_mm <= demand.farthest_mm, task.name


@pytest.mark.parametrize(
    "wanted",
    ["face", "expression", "street sign", "bus number", "board", "subtitles", "stage", "sheet music", "shelf", "price",
     "cards", "chess", "screen", "newspaper", "letter", "label", "medicine", "phone", "craft", "plate", "departures",
     "sports", "birds"],
)  # fmt: skip
def test_everyday_tasks_are_found_by_first_letters(wanted: str) -> None:
    """The tasks people ask for are found by the first letters of their name, of a word of it or of another name."""
    assert matching(wanted[:5], library())


def test_matching_prefers_the_name_itself() -> None:
    """A task whose name starts with the letters comes before one that only holds a word starting so."""
    names = [task.name for task in matching("b", library())]
    assert names.index("book") < names.index("classroom board")


def test_first_letters_of_several_tasks_choose_none() -> None:
    """First letters that fit several names do not choose for the practitioner; two letters never choose."""
    assert task_for("fa", library()) is None
    assert task_for("television", library()) is not None
    assert task_for("birdw", library()) is not None
    assert task_for("the", library()) is not None
    assert task_for("unheard of", library()) is None


def test_a_goal_overrides_the_library() -> None:
    """What the goal gives stands; the rest comes from the library and is named as usual for it."""
    demand = _demand(task="newspaper", detail="2.0M", contrast="0.4")
    assert demand.goal_m_units == 2.0 and demand.contrast == 0.4
    assert "detail" not in demand.assumed and "usual for newspaper" in demand.assumed["reserve"]


def test_a_distance_of_ones_own_sets_aside_the_range_of_the_library() -> None:
    """A goal with its own distance is not stretched to the library's range for another place."""
    demand = _demand(task="television subtitles", distance="6 m")
    assert (demand.nearest_mm, demand.distance_mm, demand.farthest_mm) == (6000.0, 6000.0, 6000.0)


@pytest.mark.parametrize(
    ("distance", "kind"), [("40 cm", "near"), ("50 cm", "near"), ("60 cm", "intermediate"), ("2 m", "intermediate"),
                           ("2.4 m", "distance"), ("8 m", "distance")],
)  # fmt: skip
def test_distance_decides_the_kind(distance: str, kind: str) -> None:
    """Near to 50 cm, intermediate to 2 m, distance beyond."""
    assert _demand(task="own words", distance=distance, detail="20/40").kind == kind


def test_a_letter_asks_for_the_acuity_of_its_angle() -> None:
    """A letter of 87.27 mm at 6 m has the angle of 20/200 (chart geometry, 5 arcmin times 10)."""
    demand = _demand(task="own words", distance="6 m", detail="87.27 mm", reserve="1")
    assert demand.goal_logmar is not None and isclose(demand.goal_logmar, 1.0, abs_tol=1e-4)


def test_a_reserve_asks_for_a_finer_acuity() -> None:
    """A reserve of 2 asks for an acuity finer by 0.301 log."""
    plain = _demand(task="own words", distance="6 m", detail="87 mm", reserve="1")
    double = _demand(task="own words", distance="6 m", detail="87 mm", reserve="2")
    assert isclose(plain.goal_logmar - double.goal_logmar, log10(2.0))


def test_an_acuity_takes_no_reserve_of_the_library() -> None:
    """An acuity typed as the goal is the goal, even for a task whose letters usually get a reserve."""
    assert _demand(task="classroom board", detail="0.4 logMAR").goal_logmar == pytest.approx(0.4)


def test_print_of_points_is_eight_to_the_m_unit() -> None:
    """N8 is 1.0 M by convention (common practice)."""
    assert _demand(task="own words", distance="40 cm", detail="N8").goal_m_units == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("typed", "word"), [({"task": "own words", "detail": "20/40"}, "distance"),
                        ({"task": "own words", "distance": "40 cm"}, "detail")],
)  # fmt: skip
def test_a_goal_that_lacks_what_is_needed_says_so(typed: dict[str, str], word: str) -> None:
    """A missing distance, or a missing detail at near, is a sentence with an example, not a guess."""
    demand = _demand(**typed)
    assert not demand.usable
    assert word in demand.problems[0] and "for example" in demand.problems[0]


def test_a_distant_goal_without_detail_takes_the_acuity_of_the_settings() -> None:
    """About 20/40 through the telescope (common practice), adjustable, and named as assumed."""
    demand = _demand(Settings(assumptions={"goal_logmar": 0.4}), task="own words", distance="5 m")
    assert demand.goal_logmar == 0.4 and "detail" in demand.assumed


def test_a_clinic_adds_and_replaces_tasks() -> None:
    """A clinic's own file adds tasks and replaces those of the same id."""
    own, problems = loads_tasks(
        'schema = 1\n[[task]]\nname = "newspaper"\ndistance = "25 cm"\ndetail = "0.8M"\n'
        '[[task]]\nname = "harbour lights"\ndistance = "200 m"\ndetail = "20/40"\n'
    )
    assert not problems
    both = merged(library(), own)
    assert len(both) == len(library()) + 1
    assert demand_of(_goal(task="newspaper"), both, Settings()).distance_mm == 250.0


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("schema = 1\n[[task]]\nname = 5\n", "needs a name"),
        ('schema = 1\n[[task]]\nname = "x"\ndistnace = "2 m"\n', "unknown key"),
        ('schema = 1\n[[task]]\nname = "x"\ndistance = "far"\n', "Distance"),
        ("schema = 1\n[[task]\n", "not valid TOML"),
        ("[[task]]\nname = 'x'\n", "schema"),
        ('schema = 1\ntask = "x"\n', "tables are expected"),
        ('schema = 1\n[[task]]\nname = "x"\n[[task]]\nname = "x"\n', "stands twice"),
    ],
)
def test_a_bad_task_file_is_reported_by_place(text: str, words: str) -> None:
    """A bad entry is named with its place and reason; nothing is raised and the rest is kept."""
    _, problems = loads_tasks(text)
    assert any(words in str(problem) for problem in problems)


def test_an_unknown_key_names_the_nearest_known_one() -> None:
    """A slip of the key is met with the key that was meant."""
    _, problems = loads_tasks('schema = 1\n[[task]]\nname = "x"\ndistnace = "2 m"\n')
    assert "did you mean distance" in str(problems[0])


def test_every_figure_of_the_library_is_a_goal_field() -> None:
    """The library uses the goal's own fields and nothing else."""
    for task in library():
        assert set(task.values) <= set(goal_by_key())


def test_every_usual_figure_can_be_typed_as_it_is_kept() -> None:
    """What the library writes is read by the field of a case as the very same value: Enter takes it over by that."""
    for task in library():
        assert task.typed.keys() == task.values.keys()
        for key, text in task.typed.items():
            declared = goal_by_key()[key]
            assert declared.kind.read(text, declared.label) == task.values[key], f"{task.name}: {key}"


def test_demands_keep_the_order_of_the_goals() -> None:
    """Goals are ranked by their order in the case."""
    demands = demands_of([_goal(task="newspaper"), _goal(task="bus number")], library(), Settings())
    assert [(demand.index, demand.name) for demand in demands] == [(0, "newspaper"), (1, "bus number")]


CLINIC_TASKS = """schema = 1
[[task]]
name = "newspaper"
distance = "25 cm"
detail = "0.8M"
[[task]]
name = "harbour lights"
distance = "200 m"
detail = "20/40"
distnace = "3 m"
"""


def test_the_clinics_own_tasks_are_read_with_the_settings(tmp_path: Path) -> None:
    """A file tasks.toml beside the settings is laid over the library; what is wrong in it is named by file and line."""
    (tmp_path / "tasks.toml").write_text(CLINIC_TASKS, "utf-8")
    settings, problems = Workspace(tmp_path, tmp_path / "stock.toml", tmp_path / "settings.toml").settings()
    assert [str(problem) for problem in problems] == [
        f"{tmp_path / 'tasks.toml'}:10: task[2].distnace: unknown key (did you mean distance?)"
    ]
    tasks = tasks_of(settings)
    assert len(tasks) == len(library()) + 1
    assert task_for("harbour", tasks) is not None
    assert demand_of(_goal(task="newspaper"), tasks, settings).distance_mm == 250.0
    assert tasks_of(Settings()) == library()


def test_the_clinics_own_tasks_reach_the_plan_and_stay_out_of_the_settings_file(tmp_path: Path) -> None:
    """The plan computes a goal by the clinic's figures; settings that are written again do not hold the tasks."""
    (tmp_path / "tasks.toml").write_text(CLINIC_TASKS, "utf-8")
    settings, _ = Workspace(tmp_path, tmp_path / "stock.toml", tmp_path / "settings.toml").settings()
    case = new_case("G-1", date(2026, 6, 1)).with_goal_typed(0, "task", "newspaper")
    assert read_case(case, settings)[1][0].goal_m_units == pytest.approx(0.8)
    assert read_case(case, Settings())[1][0].goal_m_units != pytest.approx(0.8)
    assert dumps_settings(settings) == ""
    _, problems = loads_settings("tasks = 3\n")
    assert "unknown key" in str(problems[0])
