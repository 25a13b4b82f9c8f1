"""Every measurement that the search for a cause uses: its words, its unit, how well it repeats, and how it is
checked.

Repeatability of acuity, print, contrast, prisms and field is the assumption of the settings (KISER05, PATEL11); the
spread of a difference between measured and promised is CR95/1.96. The other figures are common practice, each with
what it stands for beside it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import hypot, isfinite, log10
from typing import TYPE_CHECKING

from ..entry import show_length
from ..errors import RangeRefusal
from ..fitting.search import NEAR_HORIZONTAL_TIMES
from .types import Findings

if TYPE_CHECKING:
    from .state import State


@dataclass(frozen=True, slots=True)
class Measure:
    """One measurement. ``finding`` is the attribute of :class:`Findings` ("" when it follows from another),
    ``to_scale`` takes it to the scale that is compared, ``show`` words a value on that scale, ``effort``
    orders checks of like worth (0 least).
    """

    key: str
    what: str
    finding: str
    check: str
    by_eye: bool = False
    to_scale: Callable[[float], float] = float
    show: Callable[[float], str] = str
    effort: float = 1.0

    def from_scale(self, value: float) -> float | None:
        """A value on the scale that is compared, back in the unit of the finding; None beyond infinity."""
        if self.to_scale is _log10:
            return 10.0**value
        if self.to_scale is _reciprocal:
            return 1000.0 / value if value > 1e-4 else None
        return value


def _number(decimals: int, unit: str, signed: bool = False) -> Callable[[float], str]:
    def show(value: float) -> str:
        shown = round(value, decimals) + 0.0
        return f"{shown:{'+' if signed and shown else ''}.{decimals}f} {unit}".rstrip()

    return show


def _per_metre(value: float) -> str:
    """A distance held as 1000/mm, in words."""
    if value <= 0.02:
        return "nothing nearer than infinity" if value < -0.02 else "infinity"
    return show_length(1000.0 / value)


def _reciprocal(value_mm: float) -> float:
    return 1000.0 / max(1.0, value_mm)


def _log10(value: float) -> float:
    return log10(max(1e-3, value))


_M_UNITS: Callable[[float], str] = lambda value: f"{10.0**value:.2f}M"  # noqa: E731
_PERCENT: Callable[[float], str] = lambda value: f"{100.0 * 10.0**value:.0f} % of the promise"  # noqa: E731
_HELD: Callable[[float], str] = lambda value: show_length(10.0**value)  # noqa: E731
# A vertical deviation at a page repeats so many times worse than at a far light (common practice).
NEAR_VERTICAL_TIMES = 4.0 / 3.0
_PRISM = _number(2, "prism D", signed=True)

_TABLE: tuple[Measure, ...] = (
    Measure("acuity", "acuity through it", "acuity_logmar", "Measure the acuity through it, each eye alone.", True,
            show=_number(2, "logMAR"), effort=1.0),
    Measure("naked", "acuity without it today", "naked_logmar",
            "Measure the acuity without the device again, best corrected.",
            True, show=_number(2, "logMAR"), effort=1.0),
    Measure("over_sphere", "best sphere behind the ocular", "over_refraction_d",
            "Over-refract behind the ocular at a far target.", True, show=_number(2, "D", True), effort=0.5),
    Measure("over_cylinder", "cylinder found behind the ocular", "over_cylinder_d",
            "Crossed cylinder, or a slit turned round, behind the ocular.", True, show=_number(2, "D"), effort=0.8),
    Measure("tube_focus", "tube alone on the lensometer", "tube_focus_d",
            "Read the back vertex power of the tube alone: it shows the tube's focus apart from the eye.",
            True, show=_number(2, "D", True), effort=0.8),
    Measure("carrier_sphere", "sphere that the carrier leaves over", "carrier_sphere_left_d",
            "Read the carrier lens and compare it with today's refraction.", True, show=_number(2, "D", True),
            effort=0.8),
    Measure("carrier_cylinder", "cylinder that the carrier leaves over", "carrier_cylinder_left_d",
            "Read the carrier lens and compare cylinder and axis.", True, show=_number(2, "D"), effort=0.9),
    Measure("power", "measured over marked power", "power_ratio",
            "Measure the power: objective over exit pupil, band magnifier.", True, show=_number(2, "times"),
            effort=0.8),
    Measure("cap_power", "power of the cap", "cap_power_d", "Read the cap alone on the lensometer.", True,
            show=_number(2, "D", True), effort=0.5),
    Measure("cap_prism", "base-in prism of the cap", "cap_base_in_prism",
            "Read the prism of each cap as it stands: base towards the nose on both sides?", True, show=_PRISM,
            effort=0.5),
    Measure("eye_distance", "ocular to cornea", "eye_distance_mm", "Measure the eye distance with the device on.",
            True,
            show=_number(1, "mm"), effort=0.4),
    Measure("lateral", "sideways place of the tube, outwards", "lateral_off_mm",
            "Measure the tube's centre from the middle of the bridge against the monocular PD.", True,
            show=_number(1, "mm", True), effort=0.4),
    Measure("height", "height of the tube against its place", "height_off_mm",
            "Measure the height of the tube against the pupil.", True, show=_number(1, "mm", True), effort=0.5),
    Measure("tilt", "tilt of the tube against its target", "tilt_off_deg",
            "Measure the tilt of the tube with a gauge, side view.", True, show=_number(1, "deg", True), effort=0.5),
    Measure("height_difference", "height of the right tube over the left", "", "Measure the height of both tubes.",
            show=_number(1, "mm", True), effort=0.5),
    Measure("tilt_difference", "tilt of the right tube over the left", "",
            "Measure the tilt of both tubes, side view.",
            show=_number(1, "deg", True), effort=0.5),
    Measure("near_end", "nearest clear distance without a cap", "near_end_mm",
            "Walk print in until it blurs, cap off: the nearest clear distance.", to_scale=_reciprocal,
            show=_per_metre,
            effort=0.6),
    Measure("far_end", "farthest clear distance", "far_end_d", "Find the farthest distance that is clear.",
            show=_per_metre, effort=0.6),
    Measure("working_distance", "best distance with the cap", "working_distance_mm",
            "Find the clear distance in front of the cap with a rule.", to_scale=_reciprocal, show=_per_metre,
            effort=0.4),
    Measure("used_distance", "where the page is held", "used_distance_mm",
            "Measure where the page is really held, as at home.", to_scale=_log10, show=_HELD, effort=0.3),
    Measure("print", "print read at the distance as ordered", "print_m_units",
            "Measure the smallest print at the working distance.", to_scale=_log10, show=_M_UNITS, effort=0.8),
    Measure("speed", "reading speed", "speed_ratio", "Measure the reading speed in the print of the goal.",
            to_scale=_log10, show=_PERCENT, effort=1.2),
    Measure("field", "field by confrontation", "field_deg", "Meet the field by confrontation at 2 m.",
            show=_number(1, "deg"), effort=0.6),
    Measure("shift_right", "middle of the field to the right", "field_shift_right_deg",
            "Confrontation again: how far to the right and left of the middle does the field reach?",
            show=_number(1, "deg", True), effort=0.5),
    Measure("shift_up", "middle of the field upwards", "field_shift_up_deg",
            "Confrontation again: how far up and down does the field reach?", show=_number(1, "deg", True),
            effort=0.5),
    Measure("light", "brightness and shadow", "light",
            "White wall through it: even, darker all over, dark on one side, fading when the eye turns?", effort=0.3),
    Measure("vertical_far", "vertical prism that the tubes add, far", "vertical_far_prism",
            "Red glass and a far light, without the device and through it: what do the tubes add in height?",
            show=_PRISM, effort=0.5),
    Measure("horizontal_far", "horizontal prism that the tubes add, far", "horizontal_far_prism",
            "Red glass and a far light, without the device and through it: what do the tubes add sideways?",
            show=_PRISM, effort=0.5),
    Measure("vertical_near", "vertical prism, near with caps", "vertical_near_prism",
            "Red glass at the working distance: neutralise the difference in height.", show=_PRISM, effort=0.6),
    Measure("horizontal_near", "horizontal prism, near with caps", "horizontal_near_prism",
            "Red glass at the working distance: neutralise sideways.", show=_PRISM, effort=0.6),
    Measure("naked_vertical", "vertical prism without the device", "naked_vertical_prism",
            "The same without the device: does the difference in height stay?", show=_PRISM, effort=0.3),
    Measure("naked_horizontal", "horizontal prism without the device", "naked_horizontal_prism",
            "The same without the device: does the sideways deviation stay?", show=_PRISM, effort=0.3),
    Measure("double_far", "single or double, far", "double_far", "Ten minutes at a far target: single or double?",
            effort=0.6),
    Measure("double_near", "single or double at the working distance", "double_near",
            "Ten minutes at the working distance: single or double?", effort=0.6),
    Measure("size_difference", "powers of the two tubes apart", "size_difference_percent",
            "Compare the exit pupils of the two tubes on the bench.", show=_number(1, "%"), effort=0.7),
    Measure("image_difference", "sizes of the two pictures apart", "image_difference_percent",
            "Compare the sizes of the two pictures as they are seen.", show=_number(1, "%"), effort=0.7),
    Measure("bench_vertical", "tilt between the tubes, up and down", "bench_tilt_vertical_arcmin",
            "Sight one far mark through both tubes on the bench: the axes apart in height.", show=_number(1,
            "arcmin", True),
            effort=0.9),
    Measure("bench_horizontal", "tilt between the tubes, toed out", "bench_tilt_horizontal_arcmin",
            "Sight one far mark through both tubes on the bench: toed out or in.", show=_number(1, "arcmin", True),
            effort=0.9),
    Measure("cap_height", "height of the two caps apart", "cap_height_mm",
            "Straight edge across: do the centres of tubes and caps stand at one height?", show=_number(1, "mm"),
            effort=0.4),
    Measure("spread", "spread of each tube against the order", "spread_off_mm",
            "Measure between the tubes' centres and take the PD off.", show=_number(1, "mm", True), effort=0.4),
    Measure("head_drop", "head drop into the telescope", "head_drop_deg", "Measure the head drop, side view.",
            show=_number(0, "deg"), effort=0.6),
    Measure("log_cs", "letter contrast", "log_cs", "Measure the letter contrast again.", show=_number(2, "logCS"),
            effort=0.8),
    Measure("words", "words against letters", "words", "Compare words with single letters of the same size.",
            effort=0.5),
    Measure("home", "at home against the clinic", "home",
            "Repeat the task at its own distance, posture and light, or ask how it goes at home.", effort=0.7),
    Measure("more_light", "twice the light", "more_light", "Double the light on the task: does it help?", effort=0.2),
    Measure("steady", "head free, then supported", "steady", "Read with the head free, then supported.", effort=0.2),
    Measure("stays", "stays in place", "stays", "Ten nods, then measure again: does it stay in place?", effort=0.3),
    Measure("refocus", "refocused by hand", "refocus", "Turn the focus by hand on the target: does it clear?",
            effort=0.1),
)  # fmt: skip
MEASURES: dict[str, Measure] = {measure.key: measure for measure in _TABLE}


def measure_of(key: str) -> Measure:
    """The declaration of a measurement, with or without its eye."""
    return MEASURES[key.partition(".")[0]]


def words_of(key: str) -> str:
    """What a measurement is, with its eye."""
    name, _, side = key.partition(".")
    return MEASURES[name].what + (", both eyes" if side == "both" else f", {side} eye" if side else "")


def _finite(measure: Measure, value: float) -> None:
    if not isfinite(value):
        raise RangeRefusal(measure.what, value, "a finite number")


def values_of(findings: Findings) -> dict[str, float | str]:
    """The findings that were made, by key, on the scale on which they are compared."""
    found: dict[str, float | str] = {}
    for measure in _TABLE:
        if not measure.finding:
            continue
        value = getattr(findings, measure.finding)
        if measure.by_eye:
            for side, number in value.items():
                _finite(measure, number)
                found[f"{measure.key}.{side}"] = measure.to_scale(number)
        elif isinstance(value, str):
            found[measure.key] = value
        elif value is not None:
            _finite(measure, value)
            found[measure.key] = measure.to_scale(value)
    # Two tubes are known by how they stand against each other.
    for name, difference in (("height", "height_difference"), ("tilt", "tilt_difference")):
        if f"{name}.right" in found and f"{name}.left" in found:
            found[difference] = float(found[f"{name}.right"]) - float(found[f"{name}.left"])
    return found


def show_value(key: str, value: float | str) -> str:
    """A value on its scale in words."""
    return value if isinstance(value, str) else measure_of(key).show(value)


def spreads(state: State) -> Callable[[str, float], float]:
    """The standard deviation of each measurement less its promise, by key and expected value."""
    assume = state.settings.assume
    lead = state.lead
    # Where a person calls print blurred: a quarter of the depth of focus, at least 0.2 D (common practice).
    judged_d = max(0.2, 0.25 * lead.tolerance_d) + 0.15 * lead.accommodation_d
    in_front_d = judged_d / lead.magnification**2
    vertical = assume("vertical_prism_repeat_prism") / 1.96
    horizontal = assume("horizontal_prism_repeat_prism") / 1.96
    field_share = assume("field_repeat_percent") / 196.0
    fixed = {
        "acuity": assume("cr95_logmar") / 1.96,
        "naked": assume("cr95_logmar") / 1.96,
        "over_sphere": max(0.25, lead.tolerance_d / 3.0),
        "over_cylinder": max(0.35, lead.tolerance_d / 3.0),
        "tube_focus": 0.15,
        "carrier_sphere": 0.13,
        "carrier_cylinder": 0.15,
        "power": 0.025,
        "cap_power": 0.10,
        "cap_prism": 0.4,
        "eye_distance": 1.0,
        "lateral": 0.7,
        "height": 0.7,
        "tilt": 1.5,
        "height_difference": 1.0,
        "tilt_difference": 2.0,
        "used_distance": 0.03,
        "print": assume("cr95_print_logmar") / 1.96,
        "speed": log10(1.0 + assume("reading_speed_repeat_percent") / 100.0) / 1.96,
        "shift_right": 0.6,
        "shift_up": 0.6,
        "vertical_far": vertical,
        "horizontal_far": horizontal,
        "vertical_near": NEAR_VERTICAL_TIMES * vertical,
        "horizontal_near": NEAR_HORIZONTAL_TIMES * horizontal,
        "naked_vertical": vertical,
        "naked_horizontal": horizontal,
        "size_difference": 1.0,
        "image_difference": 1.5,
        "bench_vertical": 3.0,
        "bench_horizontal": 3.0,
        "cap_height": 0.25,
        "spread": 0.5,
        "head_drop": 2.5,
        "log_cs": assume("cr95_log_cs") / 1.96,
    }

    def spread(key: str, mean: float) -> float:
        name = key.partition(".")[0]
        known = fixed.get(name)
        if known is not None:
            return known
        if name == "field":
            return max(0.5, field_share * mean)
        if name == "far_end":
            return hypot(in_front_d, 0.05 * mean)
        # The blur point is judged at the eye, less by the square of the power in front; the tape adds its share.
        return hypot(in_front_d, (0.10 if name == "near_end" else 0.025) * mean)

    return spread
