"""Near alternatives against rays traced from page to pupil, and the printed cases of two textbooks."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from afocal.core.constants import CONSTANTS
from afocal.core.errors import DomainRefusal
from afocal.core.formula import recording
from afocal.core.optics.field import CHARACTER_PITCH_MM
from afocal.core.optics.magnifiers import (
    NearDevice,
    combined_power_d,
    compare_add,
    compare_display,
    compare_hand_magnifier,
    compare_stand_magnifier,
    compare_telescope_with_cap,
    display_field_mm,
    hand_magnifier_evd_mm,
    hand_magnifier_field_at_mm,
    hand_magnifier_field_mm,
    spectacle_add_evd_mm,
    stand_evd_mm,
    stand_eye_distance_mm,
    stand_field_mm,
)
from afocal.core.optics.rays import chain, lens, object_to_pupil, translation


@settings(max_examples=60)
@given(st.floats(3, 40), st.floats(0.05, 1), st.floats(10, 500), st.floats(10, 80))
def test_hand_magnifier_equals_the_matrix(power, part, eye, diameter):
    """EVD is |B| from page to pupil, and the field is where the ray from pupil centre to rim meets the page."""
    distance = part * 1000 / power
    whole = object_to_pupil(lens(power), distance, eye)
    evd = hand_magnifier_evd_mm(power, distance, eye)
    assert evd == pytest.approx(abs(whole.b_mm))
    slope = diameter / 2 / eye
    on_page = diameter / 2 + distance * (slope - diameter / 2 * power / 1000)
    assert hand_magnifier_field_at_mm(diameter, power, distance, eye) == pytest.approx(2 * on_page)


@pytest.mark.parametrize("eye", [50.0, 100.0, 250.0])
def test_at_focus_the_eye_distance_does_not_matter(eye):
    """A +10 lens with the page at its focus has an EVD of 100 mm from anywhere; its field shrinks with distance."""
    assert hand_magnifier_evd_mm(10, 100, eye) == pytest.approx(100)
    assert hand_magnifier_field_mm(50, 10, eye) == pytest.approx(50 * 100 / eye)
    assert hand_magnifier_field_at_mm(50, 10, 100, eye) == pytest.approx(hand_magnifier_field_mm(50, 10, eye))


def test_inside_focus_is_weaker():
    """The same lens 80 mm from the page and 250 mm from the eye has an EVD of 130 mm, traced as |B|."""
    assert hand_magnifier_evd_mm(10, 80, 250) == pytest.approx(130)


def test_beyond_focus_is_refused():
    """A lens held farther from the page than its focal length is refused, at its rounded focus it is not."""
    with pytest.raises(DomainRefusal, match=r"at most the focal length, 100 mm"):
        hand_magnifier_evd_mm(10, 100.001, 250)
    for power in (3.0, 7.0, 11.0, 23.0, 49.0):
        assert hand_magnifier_evd_mm(power, 1000 / power, 250) == pytest.approx(1000 / power)
    assert hand_magnifier_evd_mm(10, 100 + 5e-8, 250) == pytest.approx(100)
    with pytest.raises(DomainRefusal):
        hand_magnifier_evd_mm(10, 100 + 2e-7, 250)


def test_spectacle_add():
    """A +16 add close to the eye: EVD and working distance 62.5 mm."""
    assert spectacle_add_evd_mm(16) == 62.5


@pytest.mark.parametrize(("separation", "power"), [(100, 10.0), (50, 11.25)])
def test_published_combined_power(separation, power):
    """Schwartz SH, Geometrical and Visual Optics, 2nd ed., ch. 11: +2.50 add and +10 magnifier, 10 and 5 cm apart."""
    assert combined_power_d(2.5, 10, separation) == pytest.approx(power, abs=1e-9)
    both = chain(lens(10), translation(separation), lens(2.5))
    assert combined_power_d(2.5, 10, separation) == pytest.approx(-both.c_d)
    assert combined_power_d(-2.5, 10, 0) == 7.5
    assert combined_power_d(2.5, -10, 100) == pytest.approx(-5)


@pytest.mark.parametrize(("power", "distance", "eye"), [(8.0, 100.0, 200.0), (20.0, 30.0, 150.0)])
def test_stand_equals_hand_at_the_same_place(power, distance, eye):
    """A stand magnifier is a lens at a fixed height: by image and enlargement ratio it has the same EVD and field."""
    short = 1 - power * distance / 1000
    image, ratio = distance / short, 1 / short
    assert stand_evd_mm(eye + image, ratio) == pytest.approx(hand_magnifier_evd_mm(power, distance, eye))
    field = hand_magnifier_field_at_mm(60, power, distance, eye)
    assert stand_field_mm(60, eye, image, ratio) == pytest.approx(field)


def test_stand_and_add():
    """The add focuses the image: eye-to-lens distance and image distance make its focal length."""
    distance = stand_eye_distance_mm(3, 180)
    assert distance + 180 == pytest.approx(1000 / 3)
    assert stand_eye_distance_mm(4, 250) == 0
    assert stand_eye_distance_mm(4, 0) == 250
    with pytest.raises(DomainRefusal, match=r"at most 4\.00 D for an image 250 mm"):
        stand_eye_distance_mm(4.01, 250)


def test_published_stand_and_screen():
    """Bailey IL, course notes 2004: 5x at 25 cm is an EVD of 5 cm, 10x at 100 cm 10 cm."""
    assert stand_evd_mm(250, 5) == 50
    assert stand_evd_mm(1000, 10) == 100
    assert compare_display(1000, 10, 500).evd_mm == 100


def test_screen_shows_less_the_more_it_enlarges():
    """A screen of 500 mm enlarging 10 times shows 50 mm of the page."""
    assert display_field_mm(500, 10) == 50


@pytest.mark.parametrize(
    ("device", "evd", "distance", "field", "characters"),
    [
        (compare_add(10, 40, 15), 100, 100, 267, 178),
        (compare_hand_magnifier(10, 50, 100), 100, 100, 50, 33),
        (compare_hand_magnifier(10, 50, 300), 100, 100, 17, 11),
        (compare_telescope_with_cap(2.0, 24, 25, 15, 5), 100, 200, 46, 31),
        (compare_telescope_with_cap(2.5, 28, 24, 15, 4), 100, 250, 37, 24),
        (compare_telescope_with_cap(3.0, 35, 25, 15, 10 / 3), 100, 300, 31, 21),
    ],
)
def test_one_goal_several_devices(device, evd, distance, field, characters):
    """For 10 D of equivalent power the devices differ in working distance and field, worked by hand to the mm."""
    assert device.evd_mm == pytest.approx(evd)
    assert device.evp_d == pytest.approx(10)
    assert device.working_distance_mm == pytest.approx(distance)
    assert device.field_mm == pytest.approx(field, abs=0.6)
    assert device.characters == pytest.approx(characters, abs=0.6)


def test_hands_free():
    """Add, display and telescope leave both hands free; hand and stand magnifier do not."""
    assert compare_add(10, 40, 15).hands_free
    assert compare_display(400, 5, 500).hands_free
    assert compare_telescope_with_cap(2.0, 24, 25, 15, 5).hands_free
    assert not compare_hand_magnifier(10, 50, 100).hands_free
    assert not compare_stand_magnifier(2.8, 60, 150, 180, 50).hands_free


def test_comparison_records():
    """Each record holds what the single functions give, with the pitch that was asked for."""
    assert compare_stand_magnifier(2.8, 60, 150, 180, 50, 2.0) == NearDevice(
        "stand magnifier",
        pytest.approx(330 / 2.8),
        50,
        pytest.approx(60 * 330 / 150 / 2.8),
        pytest.approx(60 * 330 / 150 / 2.8 / 2),
        False,
    )
    assert compare_hand_magnifier(10, 50, 250, 80, 2.0) == NearDevice(
        "hand magnifier", pytest.approx(130), 80, pytest.approx(26), pytest.approx(13), False
    )
    assert compare_display(400, 5, 500, 2.0) == NearDevice("electronic display", 80, 400, 100, 50, True)
    assert compare_add(16, 40, 15, 2.0) == NearDevice(
        "spectacle add", 62.5, 62.5, pytest.approx(500 / 3), pytest.approx(250 / 3), True
    )
    assert compare_telescope_with_cap(2, 24, 25, 15, 5, 2.0) == NearDevice(
        "telescope with cap", 100, 200, pytest.approx(200 * 25 / 108), pytest.approx(100 * 25 / 108), True
    )


def test_default_pitch():
    """All devices count characters of 1 M text with the same adjustable pitch (common practice)."""
    pitch = CONSTANTS["character_pitch_per_m"].value
    assert pitch == CHARACTER_PITCH_MM == 1.5
    for device in (
        compare_add(10, 40, 15),
        compare_hand_magnifier(10, 50, 100),
        compare_stand_magnifier(2.8, 60, 150, 180, 50),
        compare_display(400, 5, 500),
        compare_telescope_with_cap(2.0, 24, 25, 15, 5),
    ):
        assert device.characters == pytest.approx(device.field_mm / pitch)


def test_telescope_has_the_longest_distance():
    """At one EVD the telescope's working distance is M times the add's, and a Keplerian is told where to go."""
    telescope = compare_telescope_with_cap(2.5, 28, 24, 15, 4)
    assert telescope.working_distance_mm == pytest.approx(2.5 * telescope.evd_mm)
    with pytest.raises(DomainRefusal, match="field stop and exit pupil"):
        compare_telescope_with_cap(-2.5, 28, 24, 15, 4)


def test_working_of_the_comparison():
    """The record's working shows real field, linear field and characters on the way."""
    with recording() as working:
        compare_telescope_with_cap(2.5, 28, 24, 15, 4)
    names = [step.formula.name for step in working.steps]
    assert names == ["real_field_deg", "linear_field_mm", "characters_in_field", "compare_telescope_with_cap"]
