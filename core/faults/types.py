"""What the search for a cause works on and hands back: findings as numbers and words, ranked causes, the next check.

Plain values. Side mappings are by "right" and "left" ("both" for acuity with both eyes). Everything that was
not measured stays empty and plays no part. Signs: outwards (towards the temple), upwards, to the person's
right and tilted up or out are plus. Prisms are those that bring the two pictures together. Vertical prism
plus is base down before the right eye: that eye's picture stands lower, as behind a tube tilted up. Horizontal
prism plus is base-in: the pictures are crossed, as behind tubes toed out, and the eyes must converge.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Literal

from ..configuration import Configuration

Eye = Literal["", "right", "left", "both"]


def _none() -> Mapping[str, float]:
    return MappingProxyType({})


@dataclass(frozen=True, slots=True)
class Findings:
    """What was measured and answered, as numbers with their units.

    ``acuity_logmar`` is through the device at ``chart_distance_mm`` (the settings' distance while None), caps off;
    ``naked_logmar`` the same day without it. ``over_refraction_d`` is the sphere behind the ocular that is best for
    a far target, ``over_cylinder_d`` the size of the cylinder found so. ``tube_focus_d`` is the back vertex
    power of the tube alone, ``carrier_sphere_left_d`` and ``carrier_cylinder_left_d`` what the delivered
    carrier leaves of the prescription. ``power_ratio`` is measured over marked power. ``eye_distance_mm`` is
    ocular to cornea. ``*_off_mm`` and ``tilt_off_deg`` are measured less wanted. ``near_end_mm`` is the
    nearest clear distance without a cap, ``far_end_d`` the farthest as 1000/mm (0: clear out to infinity).
    ``working_distance_mm`` is the best distance in front of the cap, ``used_distance_mm`` where the page is
    really held, ``print_m_units`` what is read at the working distance as ordered. ``speed_ratio`` is measured
    over promised reading speed. ``field_deg`` is met by confrontation (union of two tubes), ``field_shift_*``
    how far its middle lies off. ``light``: even, darker all over, one side dark, fades with gaze.
    ``double_far`` and ``double_near``: single, double at times, double. ``naked_*_prism`` are the person's own
    deviations, without the device; ``*_far_prism`` are what the device adds to them, ``*_near_prism`` all that is
    neutralised at the page. ``size_difference_percent`` compares the powers of the tubes on the bench,
    ``image_difference_percent`` the two pictures as they are seen. ``words``: as letters, worse than letters.
    ``home``: as in the clinic, worse at home. ``more_light``: helps, no change. ``steady``: steady, steady
    when supported, unsteady. ``stays``: yes, no. ``refocus``: helps, no change. ``symptoms`` are keys of the
    table of symptoms; None while nobody asked.
    """

    acuity_logmar: Mapping[str, float] = field(default_factory=_none)
    naked_logmar: Mapping[str, float] = field(default_factory=_none)
    over_refraction_d: Mapping[str, float] = field(default_factory=_none)
    over_cylinder_d: Mapping[str, float] = field(default_factory=_none)
    tube_focus_d: Mapping[str, float] = field(default_factory=_none)
    carrier_sphere_left_d: Mapping[str, float] = field(default_factory=_none)
    carrier_cylinder_left_d: Mapping[str, float] = field(default_factory=_none)
    power_ratio: Mapping[str, float] = field(default_factory=_none)
    cap_power_d: Mapping[str, float] = field(default_factory=_none)
    cap_base_in_prism: Mapping[str, float] = field(default_factory=_none)
    eye_distance_mm: Mapping[str, float] = field(default_factory=_none)
    lateral_off_mm: Mapping[str, float] = field(default_factory=_none)
    height_off_mm: Mapping[str, float] = field(default_factory=_none)
    tilt_off_deg: Mapping[str, float] = field(default_factory=_none)
    near_end_mm: float | None = None
    far_end_d: float | None = None
    working_distance_mm: float | None = None
    used_distance_mm: float | None = None
    print_m_units: float | None = None
    speed_ratio: float | None = None
    field_deg: float | None = None
    field_shift_right_deg: float | None = None
    field_shift_up_deg: float | None = None
    vertical_far_prism: float | None = None
    horizontal_far_prism: float | None = None
    vertical_near_prism: float | None = None
    horizontal_near_prism: float | None = None
    naked_vertical_prism: float | None = None
    naked_horizontal_prism: float | None = None
    size_difference_percent: float | None = None
    image_difference_percent: float | None = None
    bench_tilt_vertical_arcmin: float | None = None
    bench_tilt_horizontal_arcmin: float | None = None
    cap_height_mm: float | None = None
    spread_off_mm: float | None = None
    head_drop_deg: float | None = None
    log_cs: float | None = None
    light: str | None = None
    double_far: str | None = None
    double_near: str | None = None
    words: str | None = None
    home: str | None = None
    more_light: str | None = None
    steady: str | None = None
    stays: str | None = None
    refocus: str | None = None
    symptoms: frozenset[str] | None = None
    chart_distance_mm: float | None = None


@dataclass(frozen=True, slots=True)
class Predicted:
    """One measurement as a cause would have it: what, expected, promised without any fault, and measured, in
    words.
    """

    key: str
    what: str
    expected: str
    promised: str
    measured: str
    sentence: str


@dataclass(frozen=True, slots=True)
class Cause:
    """One candidate with its share of the probability among the causes that the findings can show.

    ``size`` is the size of fault that explains the findings best, in ``unit``; ``size_words`` says it in words
    with the range that explains them nearly as well. ``check`` is what would tell it from its strongest rival.
    ``also_possible`` names other causes that remain, ``tied_with`` those that the findings at hand cannot tell
    from it. ``check_key`` is the measurement of the check by its key, "" where the check is none.
    """

    fault: str
    eye: Eye
    title: str
    probability: float
    size: float
    unit: str
    size_low: float
    size_high: float
    size_words: str
    predicts: tuple[Predicted, ...]
    check: str
    remedy: str
    also_possible: tuple[str, ...]
    tied_with: tuple[str, ...]
    sentence: str
    check_key: str = ""

    @property
    def name(self) -> str:
        """The fault with its eye, as it stands in ties."""
        return f"{self.fault}.{self.eye}" if self.eye else self.fault


@dataclass(frozen=True, slots=True)
class Diagnosis:
    """Ranked causes, what remains possible, ties, and the check to do next.

    ``ties`` are groups of :attr:`Cause.name` that what was measured cannot tell apart; the first group holds
    the first cause when that one is tied. ``untested`` are causes that nothing measured so far could show, in
    words. ``unexplained`` names findings that even the first cause does not explain; ``besides`` is the cause that
    those findings point to by themselves, as when there are two faults, None where nothing explains them. ``used``
    are the findings that counted, ``carried`` those of them that an earlier visit measured, with their day.
    """

    configuration: Configuration
    causes: tuple[Cause, ...]
    ties: tuple[tuple[str, ...], ...]
    remaining: tuple[str, ...]
    next_check: str
    sentence: str
    used: tuple[str, ...]
    unexplained: tuple[str, ...]
    untested: tuple[str, ...]
    problems: tuple[str, ...] = field(default=())
    besides: Cause | None = None
    carried: tuple[str, ...] = ()

    @property
    def first(self) -> Cause | None:
        """The likeliest cause."""
        return self.causes[0] if self.causes else None

    def rank(self, fault: str, eye: str | None = None) -> int:
        """The place of a fault (of one eye where given), counted from 1; 0 when it is not a candidate."""
        for place, cause in enumerate(self.causes, 1):
            if cause.fault == fault and (eye is None or cause.eye in ("", eye)):
                return place
        return 0

    def tied(self, first: str, second: str) -> bool:
        """Whether two causes, by name, stand in one tie."""
        return any(first in group and second in group for group in self.ties)
