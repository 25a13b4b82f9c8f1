"""Every kind of field reads what clinicians type, refuses the rest by name, and echoes what it understood."""

from __future__ import annotations

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from afocal.core.acuity import Acuity, OffChart
from afocal.core.entry import Curve, Detail, Pd, Reserve, length_mm
from afocal.core.errors import Refusal
from afocal.core.fields import GOAL_FIELDS, by_path, fields, goal_by_key

ALL = (*fields(), *GOAL_FIELDS)


def read(path, text):
    field = by_path().get(path) or goal_by_key()[path]
    return field.kind.read(text, field.label)


@pytest.mark.parametrize(
    ("path", "typed", "value"),
    [
        ("face.pd", "62", Pd(31.0, 31.0, False)),
        ("face.pd", "31.5/30.5", Pd(31.5, 30.5, True)),
        ("face.pd", "31,5 / 30,5 mm", Pd(31.5, 30.5, True)),
        ("face.vertex_distance", "12", 12.0),
        ("face.vertex_distance", "1.2 cm", 12.0),
        ("test.chart_distance", "4 m", 4000.0),
        ("test.chart_distance", "4", 4000.0),
        ("test.chart_distance", "20 ft", 6096.0),
        ("face.reach", "40", 400.0),
        ("distance", "8 m", 8000.0),
        ("distance", "5 ft 6 in", 5 * 304.8 + 6 * 25.4),
        ("binocular.base_in_distance", "x/7/4", Reserve(None, 7.0, 4.0)),
        ("binocular.base_out_distance", "9/19/10", Reserve(9.0, 19.0, 10.0)),
        ("binocular.vertical", "2.5", Reserve(None, 2.5, None)),
        ("history.stability", "st", "stable"),
        ("binocular.fusion", "y", True),
        ("binocular.fusion", "No", False),
        ("history.last_eye_exam", "2026-03-01", date(2026, 3, 1)),
        ("history.last_eye_exam", "1.3.2026", date(2026, 3, 1)),
        ("right.contrast", "1,35", 1.35),
        ("right.contrast", "1.35 logCS", 1.35),
        ("detail", "80 mm", Detail(height_mm=80.0)),
        ("detail", "3 in", Detail(height_mm=76.2)),
        ("detail", "1.25M", Detail(m_units=1.25)),
        ("detail", "N8", Detail(m_units=1.0)),
        ("right.reading_curve", "2M 55, 4M 82 @ 25", Curve(((4.0, 82.0), (2.0, 55.0)), 250.0)),
    ],
)
def test_a_field_reads_what_a_clinician_types(path, typed, value):
    """The value behind the usual spellings, comma decimals and units included."""
    got = read(path, typed)
    if isinstance(value, float):
        assert got == pytest.approx(value)
    elif isinstance(value, Detail):
        assert (got.logmar, got.m_units) == (value.logmar, value.m_units)
        assert got.height_mm == pytest.approx(value.height_mm)
    else:
        assert got == value


def test_acuities_on_and_off_the_chart_are_told_apart():
    """Letters count 0.02 each; categories stay words."""
    assert read("right.distance_acuity", "20/100-2").logmar == pytest.approx(0.739, abs=5e-4)
    assert read("detail", "20/40") == Detail(logmar=pytest.approx(0.30103, abs=1e-5))
    hand_motion = read("left.distance_acuity", "HM at 0.5 m")
    assert isinstance(hand_motion, OffChart) and not isinstance(hand_motion, Acuity)


@pytest.mark.parametrize(
    ("path", "typed"),
    [
        ("face.pd", "620"),
        ("face.pd", "31/62"),
        ("face.pd", "wide"),
        ("face.vertex_distance", "5 m"),
        ("binocular.base_out_distance", "19/9/10"),
        ("binocular.base_out_distance", "a/b"),
        ("binocular.fusion", "perhaps"),
        ("history.stability", "s"),
        ("history.last_eye_exam", "03/01/2026"),
        ("right.contrast", "9"),
        ("right.contrast", ""),
        ("detail", "HM"),
        ("detail", "5 m"),
        ("right.reading_curve", "4M"),
        ("right.reading_curve", "4M 900"),
        ("right.distance_acuity", "20/0"),
        ("right.near_acuity", "big"),
        ("right.refraction", "2"),
        ("person.birth_year", "1850"),
    ],
)
def test_bad_input_gets_one_sentence_with_field_value_accepted_and_example(path, typed):
    """Field, value, what is accepted, an example."""
    field = by_path().get(path) or goal_by_key()[path]
    with pytest.raises(Refusal) as caught:
        field.kind.read(typed, field.label)
    sentence = str(caught.value)
    assert field.label in sentence
    assert "accepted is" in sentence
    assert "for example" in sentence
    assert "\n" not in sentence


@pytest.mark.parametrize("field", ALL, ids=lambda field: field.path)
def test_every_field_explains_itself_and_accepts_its_own_example(field):
    """Help, use, accepted, spelling are there; each of the examples given is accepted, echoed and written."""
    assert field.label and field.short and field.help.endswith(".") and field.used_for
    assert field.kind.accepted and field.kind.spelled
    for example in (
        field.kind.example.replace(" or ", "|")
        .replace(", ", "|" if "wpm" not in field.kind.unit else ", ")
        .split("|")
    ):
        value = field.kind.read(example, field.label)
        assert isinstance(field.kind.echo(value), str)
        assert isinstance(field.kind.unusual(value), str)
        for suffix, part in field.kind.parts(value).items():
            assert suffix and isinstance(part, float | int | str | bool)


def test_labels_and_paths_are_unique_and_sections_known():
    """A field can be found by its label; two never answer to the same."""
    from afocal.core.fields import SECTIONS

    assert len({field.path for field in fields()}) == len(fields())
    assert len({field.label for field in fields()}) == len(fields())
    assert {field.section for field in ALL} <= set(SECTIONS)


@given(st.sampled_from(ALL), st.text(max_size=40))
def test_any_text_in_any_field_is_a_value_or_a_refusal(field, text):
    """No other exception comes out of a field, and no echo raises."""
    try:
        value = field.kind.read(text, field.label)
    except Refusal as refusal:
        assert str(refusal).startswith(field.label)
    else:
        assert "\x1b" not in field.kind.echo(value)
        field.kind.unusual(value)
        field.kind.parts(value)


@pytest.mark.parametrize(
    ("text", "mm"), [("1 in", 25.4), ("1 ft", 304.8), ("1 m", 1000), ("1 cm", 10), ("1.5", 1.5)]
)
def test_lengths_by_the_international_inch(text, mm):
    """1 in = 25.4 mm exactly (international yard and pound agreement, 1959)."""
    assert length_mm(text) == pytest.approx(mm)


@pytest.mark.parametrize("typed", ["tiny", "HM", "CF 2 ft"])
def test_a_refused_detail_offers_only_what_it_takes(typed):
    """The refusal's examples are those of the field: counting fingers is an acuity, but no detail to be seen."""
    kind = goal_by_key()["detail"].kind
    with pytest.raises(Refusal) as caught:
        kind.read(typed, "Detail to see")
    sentence = str(caught.value)
    assert kind.example in sentence and "letters or CF" not in sentence
