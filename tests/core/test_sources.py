"""The list of sources and the figures taken from it."""

from __future__ import annotations

import math
import re

import pytest

from afocal.core.constants import CONSTANTS, constant
from afocal.core.errors import EntryRefusal, RangeRefusal
from afocal.core.sources import SOURCES, citation

HOW_MUCH_WAS_READ = re.compile(
    r"read|excerpt|from memory|quoted|title pages only|summary|not re-read|independent public copies"
)


@pytest.mark.parametrize("key", SOURCES)
def test_each_source_says_how_much_of_it_was_read(key: str) -> None:
    """Every citation ends with brackets that say so, and its key is plain capitals."""
    assert re.fullmatch(r"[A-Z0-9]+(?:-[A-Z0-9]+)*", key)
    brackets = re.findall(r"\(([^()]*(?:\([^()]*\)[^()]*)*)\)", SOURCES[key])
    assert any(HOW_MUCH_WAS_READ.search(text) for text in brackets), SOURCES[key]


def test_sources_are_sorted_and_cited_by_key() -> None:
    """The list can be searched by eye; an unknown key is shown as it is."""
    assert list(SOURCES) == sorted(SOURCES)
    assert citation("SMITH-290") == SOURCES["SMITH-290"]
    assert citation("NOT-THERE") == "NOT-THERE"


@pytest.mark.parametrize("name", CONSTANTS)
def test_each_constant_is_inside_its_range_and_has_a_listed_source(name: str) -> None:
    """Value, range, source, unit and meaning are sound; common practice alone has no source."""
    entry = CONSTANTS[name]
    assert entry.lowest <= entry.value <= entry.highest
    assert entry.lowest < entry.highest
    assert (entry.source == "") == (entry.how_sure == "common practice")
    assert not entry.source or entry.source in SOURCES
    assert entry.meaning and entry.how_sure
    assert constant(name) == entry.value == constant(name, {}) == constant(name, {"other": 1.0})


def test_a_clinic_may_set_its_own_value_within_the_range() -> None:
    """The clinic's value is used, ends included; outside, and for no number, it is refused with the meaning."""
    assert constant("blur_constant", {"blur_constant": 0.8}) == 0.8
    assert constant("blur_constant", {"blur_constant": 0.3}) == 0.3
    assert constant("blur_constant", {"blur_constant": 1.2}) == 1.2
    for value in (0.29, 1.21, math.nan, math.inf):
        with pytest.raises(RangeRefusal, match=r"growth of the smallest detail .*0.3 to 1.2 arcmin per mm D"):
            constant("blur_constant", {"blur_constant": value})


def test_an_unknown_constant_is_refused() -> None:
    """A mistyped name is a named refusal, not a crash."""
    with pytest.raises(EntryRefusal, match="constant: blur"):
        constant("blur")
