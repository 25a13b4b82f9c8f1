"""Refractions as clinicians write them."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from afocal.core.errors import EntryRefusal, RangeRefusal, Refusal
from afocal.core.refraction import Refraction, parse_refraction, power_vector, residual_after

quarter = st.integers(-40, 40).map(lambda n: n / 4)
lenses = st.builds(
    Refraction,
    sphere_d=quarter,
    cylinder_d=st.integers(-32, 32).filter(bool).map(lambda n: n / 4),
    axis_deg=st.integers(1, 180),
)


@pytest.mark.parametrize(
    ("typed", "sphere", "cylinder", "axis"),
    [
        ("-2.00 -1.00 x 90", -2.0, -1.0, 90),
        ("-2.00/-1.00x90", -2.0, -1.0, 90),
        ("−2,00 −1,00 × 90", -2.0, -1.0, 90),
        ("+1.50 sph", 1.5, 0.0, 180),
        ("+1.50", 1.5, 0.0, 180),
        ("pl", 0.0, 0.0, 180),
        ("plano", 0.0, 0.0, 180),
        ("pl -0.75 x 180", 0.0, -0.75, 180),
        ("+3.25 +1.25 ax 5", 3.25, 1.25, 5),
        ("-10.5 -2 @ 0", -10.5, -2.0, 180),
        ("+1.00DS -0.50DC x 12", 1.0, -0.5, 12),
    ],
)
def test_a_refraction_is_read_as_a_clinician_types_it(typed, sphere, cylinder, axis):
    """Sphere, cylinder and axis in the usual spellings."""
    assert parse_refraction(typed) == Refraction(sphere, cylinder, axis)


@pytest.mark.parametrize(
    ("typed", "error"),
    [
        ("", EntryRefusal),
        ("abc", EntryRefusal),
        ("2.00", EntryRefusal),
        ("-2.00 -1.00", EntryRefusal),
        ("-31 sph", RangeRefusal),
        ("+26", RangeRefusal),
        ("-1 -9 x 90", RangeRefusal),
        ("-1 -1 x 181", RangeRefusal),
    ],
)
def test_what_is_not_a_refraction_is_refused_with_an_example(typed, error):
    """The refusal names what is accepted and gives an example."""
    with pytest.raises(error) as caught:
        parse_refraction(typed)
    assert "for example" in str(caught.value)


def test_transposition_of_a_textbook_lens():
    """+3.00 -1.00 x 90 is +2.00 +1.00 x 180 (the rule of transposition; common practice)."""
    assert Refraction(3.0, -1.0, 90).plus_cylinder() == Refraction(2.0, 1.0, 180)
    assert Refraction(2.0, 1.0, 180).minus_cylinder() == Refraction(3.0, -1.0, 90)
    assert Refraction(2.0, 1.0, 45).transposed() == Refraction(3.0, -1.0, 135)
    assert Refraction(2.0, 1.0, 91).transposed() == Refraction(3.0, -1.0, 1)


@given(lenses)
def test_transposing_twice_changes_nothing_and_keeps_the_lens(lens):
    """Both forms have the same best sphere and the same power vector."""
    assert lens.transposed().transposed() == lens
    assert power_vector(lens.transposed()) == pytest.approx(power_vector(lens), abs=1e-12)
    assert lens.plus_cylinder().cylinder_d > 0 > lens.minus_cylinder().cylinder_d


@given(lenses)
def test_writing_and_reading_again_gives_the_same_lens(lens):
    """What is shown can be typed back."""
    assert parse_refraction(str(lens)) == lens


def test_power_vector_of_crossed_cylinder():
    """pl -1.00 x 90: M -0.50, J0 -0.50, J45 0 (J0 = -C/2 cos 2a; Thibos, Wheeler, Horner 1997, from memory)."""
    assert power_vector(Refraction(0.0, -1.0, 90)) == pytest.approx((-0.5, -0.5, 0.0), abs=1e-12)
    assert power_vector(Refraction(0.0, -1.0, 45)) == pytest.approx((-0.5, 0.0, 0.5), abs=1e-12)


def test_a_cylinder_30_degrees_off_axis_leaves_a_cylinder_of_its_own_size():
    """Misplacing a cylinder by a leaves 2 C sin a, which at 30 degrees is C (rule of crossed cylinders)."""
    sphere, cylinder = residual_after(Refraction(0.0, -1.5, 60), Refraction(0.0, -1.5, 90))
    assert sphere == pytest.approx(0.0, abs=1e-12)
    assert cylinder == pytest.approx(2 * 1.5 * math.sin(math.radians(30)), abs=1e-12)
    assert residual_after(Refraction(-1.0), Refraction(-3.0, -2.0, 10)) == pytest.approx((-3.0, 2.0))


@given(st.text(max_size=30))
def test_any_text_gives_a_refraction_or_a_refusal(text):
    """Nothing else comes out."""
    try:
        lens = parse_refraction(text)
    except Refusal as refusal:
        assert str(refusal)
    else:
        assert math.isfinite(lens.sphere_d + lens.cylinder_d)
