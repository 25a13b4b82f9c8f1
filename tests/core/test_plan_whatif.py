"""A changed option is the very one that the plan makes of the changed choice or the changed case. Cases are invented."""

from __future__ import annotations

import random
from datetime import date
from itertools import pairwise
from pathlib import Path

import pytest

import afocal.core
from afocal.core.case import Case, new_case
from afocal.core.plan import option_for, plan, read_case
from afocal.core.plan.types import Option
from afocal.core.plan.whatif import what_if
from afocal.core.settings import Settings
from afocal.core.stock import loads_stock

SETTINGS = Settings()
DEMO = Path(afocal.core.__file__).parent / "data" / "demo"
STOCK = loads_stock((DEMO / "stock.toml").read_text("utf-8"))[0]
WORDS = ("eye", "position", "mount", "correction", "focus", "cap", "filter")


def made(**changes: str) -> Case:
    """A person with 3 D of myopia, two tubes spread by 2 mm, subtitles and a newspaper."""
    case = new_case("I-1", date(2026, 11, 20))
    typed = {
        "person.birth_year": "1980", "right.distance_acuity": "20/100", "left.distance_acuity": "20/125",
        "right.near_acuity": "2.0M @ 40", "left.near_acuity": "2.5M @ 40", "right.refraction": "-3.00 sph",
        "left.refraction": "-3.25 sph", "test.refraction_vertex": "12", "face.vertex_distance": "12",
        "binocular.fusion": "yes", "face.pd": "63", "face.spread": "2",
        **{key.replace("__", "."): text for key, text in changes.items()},
    }  # fmt: skip
    for path, text in typed.items():
        case = case.with_typed(path, text)
    for index, task in enumerate(("television subtitles", "newspaper")):
        case = case.with_goal_typed(index, "task", task)
    return case


def test_any_option_turned_into_another_by_words_is_that_other() -> None:
    """Eye, position, mount, correction, focus and cap: the spread of a pair comes and goes with the second tube."""
    case = made()
    found = plan(case, STOCK, SETTINGS)
    rng = random.Random(7)
    by_name: dict[str, list[Option]] = {}
    for rank in rng.sample(range(len(found.options)), 240):
        option = found.options[rank]
        by_name.setdefault(option.telescope.id, []).append(option)
    turned = 0
    for options in by_name.values():
        for one, other in pairwise(options):
            changes = {
                word: getattr(other.configuration, word)
                for word in WORDS
                if getattr(one.configuration, word) != getattr(other.configuration, word)
            }
            _, after = what_if(case, STOCK, SETTINGS, one.configuration, changes)
            assert isinstance(after, Option)
            assert after.configuration == other.configuration
            assert (after.device, after.outcomes, after.score) == (other.device, other.outcomes, other.score)
            turned += one.configuration.eye != other.configuration.eye
    assert turned > 20


@pytest.mark.parametrize(
    ("name", "value", "path", "text"),
    [
        ("vertex_mm", 16.0, "face.vertex_distance", "16"),
        ("eye_distance_mm", 18.0, "face.ocular_to_cornea", "15"),
        ("tube_tilt_deg", 15.0, "face.tube_tilt", "15"),
        ("interpupillary_mm", 58.0, "face.pd", "58"),
    ],
)
def test_a_changed_number_is_what_the_case_would_give_with_it_typed_in(
    name: str, value: float, path: str, text: str
) -> None:
    """Everything of the option, its reasons too, is that of a plan of the edited case."""
    case = made()
    found = plan(case, STOCK, SETTINGS)
    context, demands = read_case(case.with_typed(path, text), SETTINGS)
    for rank in range(0, 300, 15):
        choice = found.options[rank].configuration
        _, after = what_if(case, STOCK, SETTINGS, choice, {name: value})
        fresh = option_for(context, STOCK, demands, choice)
        assert isinstance(after, Option)
        assert (after.device, after.outcomes, after.score) == (fresh.device, fresh.outcomes, fresh.score)
        assert (after.reasons_for, after.reasons_against) == (fresh.reasons_for, fresh.reasons_against)


@pytest.mark.parametrize("wanted", [200.0, 300.0, 400.0])
def test_a_wanted_working_distance_is_where_the_changed_cap_works(wanted: float) -> None:
    """With the ametropia left in as well: 2.0x, -3 D at 300 mm asks for a weaker cap than 1000/300 D."""
    case = made()
    found = plan(case, STOCK, SETTINGS)
    for correction in ("carrier", "none"):
        choice = next(
            option.configuration
            for option in found.options
            if option.cap is not None
            and option.configuration.correction == correction
            and option.telescope.id == "wide-2.0"
        )
        _, after = what_if(case, STOCK, SETTINGS, choice, {"working_distance_mm": wanted})
        assert isinstance(after, Option) and after.device.cap is not None
        assert after.device.cap.working_distance_mm == pytest.approx(wanted, abs=1e-6)
        plain = 1000.0 / wanted
        assert (after.device.cap.power_d < plain - 0.5) == (correction == "none")
