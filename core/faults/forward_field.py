"""Field, its symmetry and its light on a state of the device.

A tube that stands sideways by s shifts the field of a Galilean by about s/(t + M d); one that is turned by an
angle about its ocular shifts it as a decentration by (t + (M - 1) d) times the angle would: for one eye the
two look alike. A Keplerian's field follows its axis, and the eye off the exit pupil dims it or sees it through
a keyhole.
"""

from __future__ import annotations

from math import atan, degrees, hypot, radians, tan

from ..errors import Refusal
from ..optics.binocular_field import field_centre_shift_deg
from ..optics.field_of_view import galilean_field
from ..optics.keplerian_field import keyhole_slope, lit_fraction_off_centre
from .beliefs import Belief, answer, logistic
from .state import State, Tube

# Common practice: a third of the half field off the middle is called one-sided, a quarter less light is called dark.
ONE_SIDED = 0.35
CALLED_DARK = 0.72


def field_beliefs(state: State, means: dict[str, float], beliefs: dict[str, Belief]) -> None:
    """Adds field, its shift and the answer about light."""
    spans = []
    for tube in state.tubes:
        wide = real_field_deg(state, tube)
        right, up = centre_deg(state, tube)
        spans.append((wide, right, up))
    left_end = min(right - wide / 2.0 for wide, right, _ in spans)
    right_end = max(right + wide / 2.0 for wide, right, _ in spans)
    means["field"] = right_end - left_end
    means["shift_right"] = (left_end + right_end) / 2.0
    means["shift_up"] = sum(up for _, _, up in spans) / len(spans)
    beliefs["light"] = _light(state, spans)


def real_field_deg(state: State, tube: Tube) -> float:
    """The real field of one tube, degrees: the device's own figure times what the fault changes of the
    computed one.
    """
    if state.keplerian:
        return _keplerian_deg(state, tube)
    telescope = state.telescope
    length = telescope.tube_length_mm
    power = telescope.signed_magnification
    now = galilean_field(
        power * tube.wrong_power, length, telescope.objective_diameter_mm, max(5.0, tube.eye_distance_mm),
        tube.pupil_mm, "half", telescope.ocular_diameter_mm,
    )  # fmt: skip
    as_ordered = galilean_field(
        power, length, telescope.objective_diameter_mm, tube.planned_eye_mm, tube.pupil_mm, "half",
        telescope.ocular_diameter_mm,
    )  # fmt: skip
    return tube.field_deg * now.real_field_deg / as_ordered.real_field_deg


def _keplerian_deg(state: State, tube: Tube) -> float:
    """The field by the stop, cut by the keyhole when the eye is off the exit pupil."""
    power = abs(tube.magnification) * tube.wrong_power
    open_deg = tube.open_field_deg
    # The stop at the real image fixes the real field by the objective, whose focal length is f = t M/(M - 1).
    nominal = abs(tube.magnification)
    focal = (nominal / (nominal + 1.0)) / (power / (power + 1.0))
    slope = tan(radians(open_deg / 2.0)) * focal
    lit = lit_fraction_off_centre(tube.exit_pupil_mm, tube.pupil_mm, _offset_mm(tube))
    slope *= min(1.0, 10.0 * lit)
    off = tube.exit_pupil_at_mm - tube.eye_distance_mm
    if abs(off) > 1e-6:
        slope = min(slope, keyhole_slope(tube.exit_pupil_mm, tube.pupil_mm, off, "half") / power)
    return degrees(2.0 * atan(slope))


def centre_deg(state: State, tube: Tube) -> tuple[float, float]:
    """Where the middle of the field lies: degrees to the person's right, degrees up."""
    toe = tube.tilt_out_deg
    up_tilt = tube.tilt_up_deg
    out_mm, up_mm = tube.out_mm + state.spread_off_mm + state.spread_mm, tube.up_mm
    if state.two:
        # A tilt or a height between the two is shared out.
        half = 0.5 * tube.outwards
        toe += state.toe_out_arcmin / 120.0
        up_tilt += half * state.tilt_vertical_arcmin / 60.0
        up_mm += half * state.height_difference_mm
    if state.keplerian:
        return tube.outwards * toe, up_tilt
    reach = tube.tube_length_mm + tube.magnification * tube.eye_distance_mm
    turned = 1.0 - tube.eye_distance_mm / reach
    out = _shift_deg(state, tube, out_mm) + turned * toe
    up = _shift_deg(state, tube, up_mm) + turned * up_tilt
    return tube.outwards * out, up


def _shift_deg(state: State, tube: Tube, offset_mm: float) -> float:
    if not offset_mm:
        return 0.0
    power, size = abs(tube.magnification * tube.wrong_power), state.telescope.objective_diameter_mm
    most = 0.99 * size / (2.0 * power)
    try:
        shift = field_centre_shift_deg(
            power, tube.tube_length_mm, size, max(5.0, tube.eye_distance_mm), min(abs(offset_mm), most)
        )
    except Refusal:
        return 0.0
    return shift if offset_mm > 0.0 else -shift


def _offset_mm(tube: Tube) -> float:
    """How far the eye's pupil lies off the axis of the tube at the eye, mm."""
    return hypot(
        tube.out_mm + radians(tube.tilt_out_deg) * tube.eye_distance_mm,
        tube.up_mm + radians(tube.tilt_up_deg) * tube.eye_distance_mm,
    )


def _light(state: State, spans: list[tuple[float, float, float]]) -> Belief:
    """The answer about brightness and shadow: the worst tube speaks."""
    dark = side = fades = 0.0
    for tube, (wide, right, up) in zip(state.tubes, spans, strict=True):
        planned = 0.0 if state.keplerian else tube.outwards * _shift_deg(state, tube, state.spread_mm)
        off_deg = hypot(right - planned, up)
        one, two, three = _shadow(state, tube, wide, off_deg)
        dark, side, fades = max(dark, one), max(side, two), max(fades, three)
    even = (1.0 - dark) * (1.0 - side) * (1.0 - fades)
    return answer(even=even, darker_all_over=dark, one_side_dark=side, fades_with_gaze=fades)


def _shadow(state: State, tube: Tube, wide_deg: float, off_deg: float) -> tuple[float, float, float]:
    """Chances of darker all over, one side dark, fading with gaze for one tube."""
    pupil = tube.pupil_mm / state.light_share**0.1
    offset = _offset_mm(tube)
    if not state.keplerian:
        share = off_deg / max(0.1, wide_deg / 2.0)
        side = logistic((share - ONE_SIDED) / 0.07)
        # The wall of the clinic has the clinic's light: a dark task at home seldom shows there.
        return 0.2 * logistic((CALLED_DARK - state.light_share) / 0.07), side, 0.02
    lit = lit_fraction_off_centre(tube.exit_pupil_mm, pupil, offset)
    lit /= lit_fraction_off_centre(tube.exit_pupil_mm, tube.pupil_mm, 0.0)
    dark = logistic((CALLED_DARK - lit) / 0.07)
    dark = max(dark, 0.2 * logistic((CALLED_DARK - state.light_share) / 0.07))
    kept = wide_deg / tube.open_field_deg
    missed = logistic((0.91 - kept) / 0.022)
    sideways = logistic((offset / (0.5 * (tube.exit_pupil_mm + pupil)) - 0.5) / 0.08)
    return max(0.4 * dark, 0.1 * missed), 0.25 * sideways, max(missed, 0.7 * sideways)
