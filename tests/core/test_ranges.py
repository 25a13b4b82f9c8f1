"""The accepted and the usual range of each quantity."""

from __future__ import annotations

import math

import pytest

from afocal.core import ranges
from afocal.core.errors import RangeRefusal
from afocal.core.ranges import ALL_RANGES, Range
from afocal.core.sources import SOURCES

# range, accepted low and high, usual low and high: as the program's own list of quantities states them
STATED = [
    (ranges.PD, 40, 80, 50, 75),
    (ranges.MONOCULAR_PD, 20, 40, 25, 37),
    (ranges.VERTEX, 6, 25, 10, 15),
    (ranges.EYE_DISTANCE, 9, 40, 12, 22),
    (ranges.ROTATION_DEPTH, 13, 14.5, 13, 14.5),
    (ranges.B_SIZE, 24, 60, 32, 50),
    (ranges.PANTOSCOPIC, 0, 20, 6, 12),
    (ranges.TUBE_LENGTH, 8, 160, 15, 120),
    (ranges.OBJECTIVE_DIAMETER, 6, 50, 10, 32),
    (ranges.MAGNIFICATION, 1.05, 10, 1.6, 4),
    (ranges.EXIT_PUPIL, 1, 20, 2.5, 12),
    (ranges.EYE_PUPIL, 1.5, 9, 2, 6),
    (ranges.CAP, 0.25, 20, 1, 8),
    (ranges.SPHERE, -30, 25, -10, 10),
    (ranges.CYLINDER, 0, 8, 0, 4),
    (ranges.LOGMAR, -0.3, 2.0, 0.3, 1.3),
    (ranges.LOG_CS, 0, 2.3, 0.6, 1.8),
    (ranges.PRINT_M_UNITS, 0.2, 20, 0.4, 8),
    (ranges.READING_SPEED, 0, 400, 20, 200),
    (ranges.AGE, 3, 110, 3, 110),
    (ranges.ACCOMMODATION, 0, 20, 0, 10),
    (ranges.TUBE_TILT, 0, 30, 5, 20),
    (ranges.HOUSING_RADIUS, 4, 20, 5, 15),
    (ranges.OCULAR_HEIGHT, 3, 20, 7, 14),
]


@pytest.mark.parametrize("stated", STATED, ids=[row[0].name for row in STATED])
def test_a_quantity_is_accepted_in_its_range(stated: tuple[Range, float, float, float, float]) -> None:
    """The figures of each range are the stated ones."""
    entry, *figures = stated
    assert [entry.lowest, entry.highest, entry.usual_low, entry.usual_high] == figures


@pytest.mark.parametrize("entry", ALL_RANGES, ids=[entry.name for entry in ALL_RANGES])
def test_each_range_keeps_its_ends_and_refuses_beyond(entry: Range) -> None:
    """Both ends pass unchanged; the next number out, infinity and not-a-number are refused with an example."""
    for value in (entry.lowest, entry.highest):
        assert entry.check(value) == value
        assert entry.accepts(value)
    below = -entry.lowest - 1e-6 if entry.signless else entry.lowest - 1e-6
    outside = [entry.highest * (1 + 1e-9) + 1e-9, math.nan, math.inf, -math.inf]
    if not entry.signless:
        outside.append(below)
    for value in outside:
        assert not entry.accepts(value)
        with pytest.raises(RangeRefusal, match="for example") as refusal:
            entry.check(value)
        assert refusal.value.field == entry.name
        assert refusal.value.example == entry.example


@pytest.mark.parametrize("entry", ALL_RANGES, ids=[entry.name for entry in ALL_RANGES])
def test_each_range_is_sound(entry: Range) -> None:
    """The usual range lies in the accepted one, the source is listed, the example is usual where it is a number."""
    assert entry.lowest <= entry.usual_low <= entry.usual_high <= entry.highest
    assert entry.lowest < entry.highest
    assert not entry.source or entry.source in SOURCES
    first = entry.example.split()[0].split("/")[0]
    assert entry.unusual(entry.check(float(first))) is None


def test_names_of_quantities_are_not_used_twice() -> None:
    """One declaration for each quantity."""
    names = [entry.name for entry in ALL_RANGES]
    assert len(names) == len(set(names))


def test_a_refusal_says_field_value_range_and_example() -> None:
    """The sentence is complete, with the form's own label where there is one."""
    with pytest.raises(RangeRefusal) as refusal:
        ranges.PD.check(90)
    assert str(refusal.value) == "PD: 90 mm; accepted is 40 to 80 mm (for example 62 or 31.5/30.5)."
    with pytest.raises(RangeRefusal) as refusal:
        ranges.PD.check(math.nan, "distance PD")
    assert str(refusal.value).startswith("distance PD: not a finite number; accepted is 40 to 80 mm")


def test_an_unusual_value_asks_to_be_confirmed() -> None:
    """Below and above the usual range, and silent inside it, ends included."""
    assert ranges.PD.unusual(45) == ("PD: 45 mm is below the usual 50 to 75 mm; confirm that it is right.")
    assert ranges.PD.unusual(78, "near PD") == (
        "near PD: 78 mm is above the usual 50 to 75 mm; confirm that it is right."
    )
    assert ranges.PD.unusual(50) is None
    assert ranges.PD.unusual(75) is None


def test_a_signed_quantity_may_be_limited_by_its_size() -> None:
    """A Keplerian -4x and a minus cylinder are judged without their sign."""
    assert ranges.MAGNIFICATION.check(-4) == -4
    assert ranges.MAGNIFICATION.unusual(-4) is None
    assert ranges.MAGNIFICATION.unusual(-6) == (
        "magnification: -6 x is above the usual 1.6 to 4 x; confirm that it is right."
    )
    assert ranges.MAGNIFICATION.accepted() == "a size of 1.05 to 10 x"
    with pytest.raises(RangeRefusal, match=r"a size of 1\.05 to 10 x"):
        ranges.MAGNIFICATION.check(-1)
    assert ranges.CYLINDER.check(-2.5) == -2.5


def test_amounts_are_written_plainly() -> None:
    """Without an exponent, with the unit when there is one."""
    assert ranges.PD.amount(62.5) == "62.5 mm"
    assert ranges.PRINT_CONTRAST.amount(0.85) == "0.85"
    assert ranges.DISTANCE.amount(1_000_000) == "1000000 mm"
