"""A tube in front of a lens is looked through that lens: what the plan offers there can be ordered as it stands.

That a fixed-focus tube before the carrier needs no correction of its own is common practice. Cases and stock are
invented.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import pytest

import afocal.core
from afocal.core.case import Case, new_case
from afocal.core.configuration import Configuration
from afocal.core.documents.numbers import choice_words
from afocal.core.fitting.carrier import carrier_lenses, carrier_question
from afocal.core.plan import option_for, plan, read_case
from afocal.core.plan.device import FRONT_MOUNTS
from afocal.core.plan.tube_field import Infeasible
from afocal.core.settings import Settings
from afocal.core.stock import Stock, Telescope, loads_stock

SETTINGS = Settings()
DEMO = Path(afocal.core.__file__).parent / "data" / "demo"
PRACTICE = loads_stock((DEMO / "stock.toml").read_text("utf-8"))[0]
BOARD = {"task": "own board", "distance": "6 m", "detail": "20/50", "duration": "long"}
BASE = {
    "person.birth_year": "1950", "right.distance_acuity": "20/100", "left.distance_acuity": "20/125",
    "binocular.fusion": "yes", "face.pd": "63", "face.vertex_distance": "12", "test.refraction_vertex": "12",
    "test.lenses_worn": "single vision",
}  # fmt: skip


def made(right: str = "-3.00 sph", left: str = "-3.00 sph", **more: str) -> Case:
    """A person with these refractions and one goal far away."""
    case = new_case("F-1", date(2026, 6, 1))
    typed = {**BASE, "right.refraction": right, "left.refraction": left}
    typed |= {path.replace("__", "."): text for path, text in more.items()}
    for path, text in typed.items():
        case = case.with_typed(path, text)
    for key, text in BOARD.items():
        case = case.with_goal_typed(0, key, text)
    return case


def tube(id_: str = "clip", **more: Any) -> Telescope:
    """An invented Galilean of 2x."""
    base: dict[str, Any] = {
        "description": id_, "type": "galilean", "magnification": 2.0, "tube_length_mm": 24,
        "objective_diameter_mm": 25, "positions": ("full diameter",), "mounts": ("clip-on",),
        "corrections": ("carrier", "none"),
    }  # fmt: skip
    return Telescope(id=id_, **{**base, **more})


@pytest.mark.parametrize(
    ("right", "left"), [("-3.00 sph", "-3.00 sph"), ("pl", "+0.50 -2.00 x 90"), ("+12.00 sph", "-0.25 sph")]
)
def test_nothing_offered_in_front_of_a_lens_leaves_a_question_about_that_lens(right: str, left: str) -> None:
    """Eyes that need a lens have it in the carrier or in the own spectacles, and nothing has to be asked."""
    found = plan(made(right, left), PRACTICE, SETTINGS)
    front = [row.configuration for row in found.coverage.rows if row.configuration.mount in FRONT_MOUNTS]
    assert front
    for choice in front:
        assert not any(carrier_question(found.person, choice, side) for side in choice.eyes), choice.key
        before = [lens for lens in carrier_lenses(found.person, choice) if lens.before_tube]
        assert [lens.found for lens in before] == [found.person.eye(lens.side).refraction for lens in before]
    left_out = [
        item for item in found.refused if item.configuration.correction == "none" and item.code == "mount"
    ]
    assert left_out and all(
        "holds the correction" in i.reason or "hold the correction" in i.reason for i in left_out
    )


def test_eyes_that_need_no_lens_are_offered_the_same_mounts_without_one() -> None:
    """Without a refractive error the lens in front of the eye has no power, and that is said as no correction."""
    found = plan(made("pl", "pl"), PRACTICE, SETTINGS)
    mounts = {row.configuration.mount for row in found.coverage.rows}
    assert set(FRONT_MOUNTS) <= mounts
    assert {row.configuration.correction for row in found.coverage.rows} == {"none"}


def test_what_is_seen_over_the_own_spectacles_is_seen_through_their_lens() -> None:
    """3 D of myopia and 2 D of cylinder cost nothing through a clip: the own lens stays, and the words say so."""
    stock = Stock(telescopes=(tube(),))
    choice = Configuration("clip", "right", "full diameter", "clip-on")
    context, demands = read_case(made("-3.00 -2.00 x 90"), SETTINGS)
    option = option_for(context, stock, demands, choice)
    lead = option.device.leading
    assert lead.residual_sphere_d == lead.residual_cylinder_d == 0.0
    assert "person's own spectacles" in option.summary and "person's own spectacles" in choice_words(option)
    assert any("in front of the person's own lens" in words for words in option.reasons_for)
    with pytest.raises(
        Infeasible, match="own spectacles, which stay and hold the correction: it cannot be left out"
    ):
        option_for(context, stock, demands, replace(choice, correction="none"))


def test_a_telescope_for_clips_alone_needs_no_carrier_in_the_stock_file() -> None:
    """A stock that lists no place of correction for a tube that is only clipped on means the lens behind it."""
    found = plan(made(), Stock(telescopes=(tube(corrections=("none",)),)), SETTINGS)
    assert {row.configuration.correction for row in found.coverage.rows} == {"carrier"}
    assert {item.configuration.correction for item in found.refused} == {"none"}


def test_nothing_is_clipped_to_spectacles_for_reading_only() -> None:
    """Their add would stand behind the tube: the refusal names it, and the other mounts remain."""
    stock = Stock(telescopes=(tube(mounts=("clip-on", "in front")),))
    found = plan(made(test__lenses_worn="reading only"), stock, SETTINGS)
    assert {row.configuration.mount for row in found.coverage.rows} == {"in front"}
    assert any("reading spectacles" in item.reason for item in found.refused)


@pytest.mark.parametrize("worn", ["none", "reading only"])
def test_a_telescope_without_any_place_is_in_no_set_of_devices(worn: str) -> None:
    """One seeing eye with a measured field, and the only telescope that meets a goal can be worn nowhere."""
    weak, strong = (
        tube("weak", mounts=("through the lens",)),
        tube(
            "strong",
            magnification=4.0,
            tube_length_mm=46,
            focusable=True,
            shortest_tube_mm=40,
            longest_tube_mm=60,
        ),
    )
    case = made(
        test__lenses_worn=worn,
        left__distance_acuity="HM",
        right__visual_field="60",
        right__distance_acuity="20/160",
    )
    found = plan(case, Stock(telescopes=(weak, strong)), SETTINGS)
    assert {row.configuration.telescope for row in found.coverage.rows} == {"weak"}
    assert found.smallest_set.ranks == () and found.smallest_set.left == (0,)
