"""What a change of the record or of the stock may never do to a plan, on invented people drawn by a fixed seed.

Consequences of the model alone, so no source: nothing that is better makes an outcome worse, nothing that is added takes
something away, and right and left are only names.
"""

from __future__ import annotations

import random
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

import afocal.core
from afocal.core.case import Case, new_case
from afocal.core.configuration import Configuration
from afocal.core.plan import option_for, plan, read_case
from afocal.core.plan.types import GRADES, Plan
from afocal.core.settings import Settings
from afocal.core.stock import loads_stock

SETTINGS = Settings()
DEMO = Path(afocal.core.__file__).parent / "data" / "demo"
STOCK = loads_stock((DEMO / "stock.toml").read_text("utf-8"))[0]
SEEDS = range(12)
LOOKED_AT = 6

TASKS = (
    "street name sign", "classroom board", "television picture", "newspaper", "sheet music", "computer screen",
    "bus number", "facial expression", "children playing", "playing cards", "medicine label", "shop shelf",
)  # fmt: skip
ACUITIES = ("20/40", "20/63", "20/80", "20/100", "20/125", "20/160", "20/200", "20/400")
OTHER = {"right": "left", "left": "right"}


def _typed(draw: random.Random) -> dict[str, str]:
    """An exam as it may be typed, with gaps; the two eyes never alike, so that right and left tell the person apart."""
    typed = {"person.birth_year": str(draw.randint(1930, 2016)), "test.refraction_vertex": "12"}

    def maybe(share: float, path: str, *texts: str) -> None:
        if draw.random() < share:
            typed[path] = draw.choice(texts)

    acuities = draw.sample(ACUITIES, 2)
    for side, acuity in zip(("right", "left"), acuities, strict=True):
        typed[f"{side}.distance_acuity"] = acuity
        maybe(0.05, f"{side}.distance_acuity", "HM", "NLP")
        maybe(
            0.7,
            f"{side}.near_acuity",
            *(f"{size}M @ {at}" for size in ("1.0", "1.6", "2.5", "5") for at in (25, 40)),
        )
        maybe(
            0.8, f"{side}.refraction", "pl", "-2.50 -1.00 x 80", "-8.00 -0.50 x 5", "+3.00 sph", "+11.00 sph"
        )
        maybe(0.8, f"{side}.contrast", "0.60", "0.90", "1.20", "1.50")
        maybe(0.3, f"{side}.pupil", "2.5", "3.5", "5")
        maybe(0.2, f"{side}.visual_field", "8", "20", "60")
        maybe(0.2, f"{side}.scotoma", "10", "40")
        maybe(0.5, f"face.pupil_height_{side}", "17", "20", "22")
    maybe(0.3, "both.distance_acuity", *ACUITIES)
    maybe(0.7, "binocular.fusion", "yes", "no")
    maybe(0.5, "binocular.dominance", "right", "left")
    maybe(0.2, "binocular.suppression", "right", "left")
    maybe(0.4, "binocular.base_out_distance", "x/4/2", "x/10/6")
    maybe(0.4, "binocular.base_out_near", "x/4/2", "x/10/6")
    maybe(0.7, "face.pd", "62", "31/32.5", "34/30")
    maybe(0.6, "face.vertex_distance", "10", "13", "16")
    maybe(0.6, "face.b_size", "30", "40", "48")
    maybe(0.4, "face.reach", "30 cm", "40 cm")
    maybe(0.5, "test.lenses_worn", "none", "single vision", "bifocal", "reading only")
    maybe(0.3, "test.glare", "some", "disabling")
    maybe(0.3, "history.head_tremor", "slight", "marked")
    return typed


def _goals(draw: random.Random) -> list[dict[str, str]]:
    return [{"task": task} for task in draw.sample(TASKS, draw.randint(1, 3))]


def _case(typed: dict[str, str], goals: list[dict[str, str]]) -> Case:
    case = new_case("M-1", date(2026, 6, 1))
    for path, text in typed.items():
        case = case.with_typed(path, text)
    for index, goal in enumerate(goals):
        for key, text in goal.items():
            case = case.with_goal_typed(index, key, text)
    return case


def _drawn(seed: int) -> tuple[random.Random, dict[str, str], list[dict[str, str]]]:
    draw = random.Random(seed)
    return draw, _typed(draw), _goals(draw)


def _planned(typed: dict[str, str], goals: list[dict[str, str]]) -> Plan:
    return plan(_case(typed, goals), STOCK, SETTINGS)


def _grades(found: Plan) -> dict[Configuration, tuple[str, ...]]:
    return {row.configuration: row.grades for row in found.coverage.rows}


def _mirrored(typed: dict[str, str]) -> dict[str, str]:
    """The same record with right and left changed everywhere."""
    found = {}
    for path, text in typed.items():
        table, _, key = path.partition(".")
        if table in OTHER:
            found[f"{OTHER[table]}.{key}"] = text
        elif key.startswith("pupil_height_"):
            found[f"face.pupil_height_{OTHER[key.removeprefix('pupil_height_')]}"] = text
        elif path in ("binocular.dominance", "binocular.suppression"):
            found[path] = OTHER[text]
        elif path == "face.pd" and "/" in text:
            found[path] = "/".join(reversed(text.split("/")))
        else:
            found[path] = text
    return found


@pytest.mark.parametrize("seed", range(30))
def test_right_and_left_are_only_names(seed: int) -> None:
    """With right and left changed everywhere the plan is the same with right and left changed: order, grades, advice."""
    _, typed, goals = _drawn(seed)
    plain, other = _planned(typed, goals), _planned(_mirrored(typed), goals)
    assert len(plain.options) == len(other.options) and plain.decision.word == other.decision.word
    count = min(40, len(plain.options))

    def turned(configuration: Configuration) -> Configuration:
        return replace(configuration, eye=OTHER.get(configuration.eye, configuration.eye))  # type: ignore[arg-type]

    first = [(row.configuration, row.grades) for row in plain.coverage.rows[:count]]
    assert first == [(turned(row.configuration), row.grades) for row in other.coverage.rows[:count]]
    assert OTHER.get(plain.eye_advice.choice, plain.eye_advice.choice) == other.eye_advice.choice
    assert [table.telescope_is_answer for table in plain.alternatives] == [
        table.telescope_is_answer for table in other.alternatives
    ]


@pytest.mark.parametrize("seed", SEEDS)
def test_more_telescopes_never_make_the_first_option_worse(seed: int) -> None:
    """A part of the stock has no first option that is worth more than that of the whole."""
    draw, typed, goals = _drawn(seed)
    part = replace(STOCK, telescopes=tuple(draw.sample(STOCK.telescopes, 4)))
    few, all_ = plan(_case(typed, goals), part, SETTINGS), _planned(typed, goals)
    if few.options:
        assert all_.options[0].score >= few.options[0].score - 1e-9


@pytest.mark.parametrize("seed", SEEDS)
def test_a_goal_more_takes_no_option_away_and_changes_no_other_grade(seed: int) -> None:
    """What can be used, and what it does for the goals before, does not hang on a goal that is added."""
    draw, typed, goals = _drawn(seed)
    before = _grades(_planned(typed, goals))
    after = _grades(_planned(typed, [*goals, {"task": draw.choice(TASKS)}]))
    for configuration, grades in before.items():
        assert after[configuration][: len(grades)] == grades, configuration.key


@pytest.mark.parametrize("seed", SEEDS)
def test_hands_that_work_nearer_take_no_option_away(seed: int) -> None:
    """Whatever hands do that work from 40 cm, hands do that work from 20 cm."""
    _, typed, goals = _drawn(seed)
    far, near = (_grades(_planned({**typed, "face.reach": reach}, goals)) for reach in ("40 cm", "20 cm"))
    assert far.keys() <= near.keys() and all(near[key] == grades for key, grades in far.items())


@pytest.mark.parametrize("seed", SEEDS)
def test_larger_reserves_make_no_grade_worse(seed: int) -> None:
    """What two eyes can fuse with a small reserve they can with a large one."""
    _, typed, goals = _drawn(seed)
    found = []
    for reserve in ("x/4/2", "x/30/20"):
        more = {"binocular.base_out_distance": reserve, "binocular.base_out_near": reserve}
        found.append(_grades(_planned({**typed, "binocular.fusion": "yes", **more}, goals)))
    small, large = found
    assert small.keys() == large.keys()
    for key, grades in small.items():
        for less, more_ in zip(grades, large[key], strict=True):
            assert GRADES.index(more_) <= GRADES.index(less), key.key  # type: ignore[arg-type]


@pytest.mark.parametrize("seed", SEEDS)
def test_better_contrast_makes_no_outcome_worse(seed: int) -> None:
    """Two triplets more on the chart: every chance is at least what it was, and no goal needs a telescope that did not."""
    draw, typed, goals = _drawn(seed)
    typed |= {"right.contrast": typed.get("right.contrast", "1.05"), "left.contrast": "0.90"}
    better = {path: f"{float(typed[path]) + 0.3:.2f}" for path in ("right.contrast", "left.contrast")}
    found = _planned(typed, goals)
    context, demands = read_case(_case({**typed, **better}, goals), SETTINGS)
    for rank in draw.sample(range(len(found.options)), min(LOOKED_AT, len(found.options))):
        before = found.options[rank]
        after = option_for(context, STOCK, demands, before.configuration)
        for less, more in zip(before.outcomes, after.outcomes, strict=True):
            assert less.needed or not more.needed
            assert (more.probability or 0.0) >= (less.probability or 0.0) - 1e-12
            assert GRADES.index(more.grade) <= GRADES.index(less.grade)


@pytest.mark.parametrize("seed", SEEDS)
def test_better_acuity_makes_no_chance_smaller(seed: int) -> None:
    """Two lines finer with both eyes: every chance through a tube set for infinity is at least what it was."""
    draw, typed, goals = _drawn(seed)
    case = _case(typed, goals)
    better = case
    for side in ("right", "left", "both"):
        acuity = case.value(f"{side}.distance_acuity")
        if acuity is not None and hasattr(acuity, "logmar"):
            better = better.with_typed(f"{side}.distance_acuity", f"{acuity.logmar - 0.2:.2f} logMAR")
    found = plan(case, STOCK, SETTINGS)
    context, demands = read_case(better, SETTINGS)
    ranks = [
        rank
        for rank in draw.sample(range(len(found.options)), min(4 * LOOKED_AT, len(found.options)))
        if found.coverage.rows[rank].configuration.focus == "infinity"
    ]
    for rank in ranks[:LOOKED_AT]:
        before = found.options[rank]
        after = option_for(context, STOCK, demands, before.configuration)
        for less, more in zip(before.outcomes, after.outcomes, strict=True):
            assert less.needed or not more.needed
            assert (more.probability or 0.0) >= (less.probability or 0.0) - 1e-12, before.configuration.key
