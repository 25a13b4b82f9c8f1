"""Settings and stock files: what is good counts, what is bad is named with line, key and the nearest known one."""

from __future__ import annotations

from pathlib import Path

import pytest

from afocal.core.assumptions import ASSUMPTIONS
from afocal.core.settings import WEIGHTS, Settings, dumps_settings, loads_settings
from afocal.core.sources import SOURCES
from afocal.core.stock import loads_stock

DEMO_STOCK = Path(__file__).parents[2] / "core" / "data" / "demo" / "stock.toml"
TELESCOPE = """schema = 1
[[telescope]]
id = "a"
description = "Galilean 2x"
type = "galilean"
magnification = 2
tube_length_mm = 24
objective_diameter_mm = 20
"""


def test_every_assumption_has_a_value_in_range_and_a_source_or_says_common_practice():
    """Each stands with its default, its range and where it is from."""
    for name, assumption in ASSUMPTIONS.items():
        assert assumption.name == name
        assert assumption.lowest <= assumption.default <= assumption.highest
        assert assumption.sentence
        assert (assumption.source == "") == (assumption.how_sure == "common practice"), name
        assert assumption.source in SOURCES or not assumption.source, name


def test_settings_of_the_clinic_replace_defaults_and_come_back():
    """The clinic's own value is used; the file written is read again to the same."""
    settings, problems = loads_settings(
        'acuity_notation = "snellen_m"\n[assumptions]\nblur_constant = 0.5\n[weights]\nfield = 5\n'
    )
    assert not problems
    assert settings.assume("blur_constant") == 0.5
    assert settings.assume("vertex_mm") == ASSUMPTIONS["vertex_mm"].default
    assert settings.weight("field") == 5 and settings.weight("chance") == WEIGHTS["chance"]
    assert loads_settings(dumps_settings(settings)) == (settings, [])


@pytest.mark.parametrize(
    ("text", "line", "parts"),
    [
        ('acuity_notaton = "logmar"\n', 1, ["acuity_notaton", "did you mean acuity_notation"]),
        ('acuity_notation = "furlongs"\n', 1, ["acuity_notation", "snellen_ft"]),
        ("[assumptions]\nblur_constnt = 0.5\n", 2, ["did you mean blur_constant"]),
        ("[assumptions]\nblur_constant = 90\n", 2, ["0.2 to 1.5"]),
        ("[weights]\nfield = -1\n", 2, ["weights.field"]),
        ("weights = 3\n", 1, ["table"]),
        ("[[[\n", 1, ["TOML"]),
    ],
)
def test_a_bad_setting_is_named_and_the_program_still_has_settings(text, line, parts):
    """File, line, key, nearest known key; the rest counts."""
    settings, problems = loads_settings('theme = "x"\n' * 0 + text, "settings.toml")
    assert isinstance(settings, Settings)
    assert len(problems) == 1
    assert problems[0].line == line
    for part in parts:
        assert part in str(problems[0])


def test_the_practice_stock_is_whole_and_holds_no_power_of_1_7_or_2_2():
    """The invented stock reads without a problem."""
    stock, problems = loads_stock(DEMO_STOCK.read_text("utf-8"), DEMO_STOCK)
    assert not problems
    assert len(stock.telescopes) >= 8 and stock.caps and stock.alternatives and stock.filters
    assert not {1.7, 2.2} & {telescope.magnification for telescope in stock.telescopes}
    keplerian = [telescope for telescope in stock.telescopes if telescope.type == "keplerian"]
    assert keplerian and all(telescope.signed_magnification < 0 for telescope in keplerian)


@pytest.mark.parametrize(
    ("change", "line", "parts"),
    [
        (("magnification = 2", "magnifcation = 2"), 6, ["unknown key", "did you mean magnification"]),
        (("tube_length_mm = 24", "tube_length_mm = -3"), 7, ["telescope[1].tube_length_mm", "-3"]),
        (("magnification = 2", "magnification = 7"), 2, ["keplerian"]),
        (('type = "galilean"', 'type = "galileian"'), 5, ["galilean"]),
        (("magnification = 2", 'magnification = 2\ncorrections = ["refocused"]'), 2, ["focusable"]),
        (("magnification = 2", "magnification = 2\nfocusable = true"), 2, ["shortest_tube_mm"]),
        (('id = "a"', 'id = "a b"'), 3, ["id"]),
    ],
)
def test_a_bad_stock_entry_is_named_by_line_and_left_out(change, line, parts):
    """One bad entry does not take the others with it."""
    text = TELESCOPE.replace(*change) + '[[cap]]\nid = "c"\ndescription = "Cap"\npower_d = 4\n'
    stock, problems = loads_stock(text, "stock.toml")
    assert not stock.telescopes and stock.cap("c")
    assert any(problem.line == line for problem in problems)
    said = " ".join(str(problem) for problem in problems)
    for part in parts:
        assert part in said


def test_an_id_that_stands_twice_is_named():
    """The first counts."""
    stock, problems = loads_stock(TELESCOPE + TELESCOPE.removeprefix("schema = 1\n"))
    assert len(stock.telescopes) == 1
    assert len(problems) == 1 and "twice" in str(problems[0])


def test_caps_fit_by_name():
    """A cap that names telescopes fits only those."""
    text = (
        TELESCOPE
        + '[[cap]]\nid = "c"\ndescription = "Cap"\npower_d = 4\nfits = ["b"]\n[[cap]]\nid = "d"\ndescription = "Cap"\npower_d = 2\n'
    )
    stock, problems = loads_stock(text)
    assert not problems
    assert [cap.id for cap in stock.caps_for(stock.telescopes[0])] == ["d"]
