"""What each setting of each tube shows of a goal's object, whoever looks, in bare arithmetic.

The rules are those of :mod:`.seen` and :mod:`.outcome`; nothing here hangs on acuity or pupil, so that what is found
serves every eye that stands behind the same tubes. What is in focus, and how large, hangs on the optics; how wide it is
seen, and what two eyes converge, on the place of the eye as well.

The sights of a goal are those without a cap, by variant: set for infinity, then hyperfocal where it can be. After them
come those with each cap that is on. A cap that is off for the goal leaves the tube as it is without one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf, log10
from typing import Any

from ..goals import Demand
from ..optics._domain import POLE_MARGIN
from .quick_tube import QuickEye, Variant

# How far a grade is from the best one, in bits, so that the worse of several is had by joining them: whole columns are
# joined as one long number.
MEETS, NEARLY, MISSES, CANNOT = 0b000, 0b001, 0b011, 0b111


@dataclass(frozen=True, slots=True, eq=False)
class Focus:
    """What is in focus and how large, one list for each quantity, one item in it for each sight.

    Accommodation asked, D; log of the power (for print, per mm of viewing distance); the object's distance, mm; the
    signed power in use, 0 where nothing can be seen, and the tube's length, mm, with it; the power without its sign;
    the cap that is on, D, or None; whether set hyperfocal; what prism in the caps takes away, prism dioptres; whether
    the object stands in the focus of the cap. ``codes`` is the best grade that each can have before an eye looks:
    :data:`CANNOT` where nothing can be seen.
    """

    asked: list[float]
    gains: list[float]
    at: list[float]
    powers: list[float]
    lengths: list[float]
    sizes: list[float]
    caps: list[Any]
    hyperfocal: list[bool]
    relief: list[float]
    at_focus: list[bool]
    codes: bytes


@dataclass(frozen=True, slots=True, eq=False)
class Field:
    """How wide each sight is, mm, 0 where nothing is seen; convergence per mm of PD beyond the naked one, and relief.

    The convergence is infinite where the light crosses before the eye; the relief is what prism in the caps takes away.
    """

    widths: list[float]
    converge: list[float]
    relief: list[float]


# While they are made, the sights stand one after the other in one list, without a record for each.
Flat = list[Any]
_PARTS = 10
_HYPERFOCAL = 7
_NOTHING = (0.0, -inf, 0.0, 0.0, 0.0, 0.0, None, False, 0.0, False)


def _focus(found: Flat) -> Focus:
    columns: list[Any] = [found[place::_PARTS] for place in range(_PARTS)]
    return Focus(*columns, codes=bytes([MISSES if power else CANNOT for power in columns[3]]))


def caps_off_from_d(demand: Demand) -> float:
    """The power from which a cap is taken off for a goal, D: all are for one afar, none for print."""
    if demand.kind == "distance":
        return 0.0
    return inf if demand.by_print else 2000.0 / demand.distance_mm


def plain_focus(variants: Sequence[Variant], demand: Demand) -> Focus:
    """What the variants show of a goal's object without a cap; of one afar it is the same wherever the eye stands."""
    found: Flat = []
    for q, settings in variants:
        plain = _plain_sight(q, demand)
        found += plain
        if settings.plains > 1:
            found += plain
            found[_HYPERFOCAL - _PARTS] = True
    return _focus(found)


def page_focus(variants: Sequence[Variant]) -> Focus:
    """What each cap shows of near print: the page goes where the cap wants it, whatever the print.

    Where no sphere is left over it is the same wherever the eye stands.
    """
    return _cap_focus(variants, True, 0.0, inf, inf)


def cap_focus(variants: Sequence[Variant], demand: Demand) -> Focus:
    """What each cap that is on shows of a goal's object, brought as near to the cap's focus as can be."""
    return _cap_focus(
        variants, demand.by_print, demand.nearest_mm, demand.farthest_mm, caps_off_from_d(demand)
    )


def _cap_focus(
    variants: Sequence[Variant], by_print: bool, nearest_mm: float, farthest_mm: float, off_from_d: float
) -> Focus:
    found: Flat = []
    for q, settings in variants:
        m, t, _, _, _, _, lens, reference, _, _, _, _, _, distance, _, _ = q
        size = m if m > 0.0 else -m
        bending, lever, squared = t * m / 1000.0, t + m * distance, m * m
        for power, at, corrected, base_in in settings.caps:
            if power >= off_from_d:
                continue
            if at < nearest_mm:
                at = nearest_mm
            elif at > farthest_mm:
                at = farthest_mm
            vergence = power - 1000.0 / at + lens
            bend = 1.0 - bending * vergence
            at_focus = abs(at - corrected) < 1e-6 * at
            if by_print and at_focus:
                gain = log10(size * power) - 3.0
            else:
                b = at / m + (1.0 - 0.001 * power * at) * lever
                reach = b if b > 0.0 else -b
                if reach < 1.0:
                    found += _NOTHING
                    continue
                gain = -log10(reach) if by_print else log10(at / reach)
            if bend <= POLE_MARGIN:
                found += _NOTHING
                continue
            asked = reference - squared * vergence / bend
            found += (asked, gain, at, m, t, size, power, False, 2.0 * size * base_in, at_focus)
    return _focus(found)


def _plain_sight(q: QuickEye, demand: Demand) -> tuple[Any, ...]:
    intermediate, at = demand.kind != "distance", demand.distance_mm
    m, t, _, _, _, _, lens, reference, focusable, nearest, lends, objective, ocular, distance, _, _ = q
    vergence = -1000.0 / at
    focused = False
    if focusable:
        reached = at if at > nearest else nearest
        collecting = objective - 1000.0 / reached
        if collecting <= POLE_MARGIN * objective:
            return _NOTHING
        lent = ocular - lends
        m_near, t_near = -lent / collecting, 1000.0 / collecting + 1000.0 / lent
        if intermediate:
            m, t = m_near, t_near
        if at >= nearest * (1.0 - 1e-9):
            focused, asked = True, 0.0
        else:
            vergence += 1000.0 / reached
            bend = 1.0 - t_near * m_near * vergence / 1000.0
            if bend <= POLE_MARGIN:
                return _NOTHING
            asked = -m_near * m_near * vergence / bend
    else:
        vergence += lens
        bend = 1.0 - t * m * vergence / 1000.0
        if bend <= POLE_MARGIN:
            return _NOTHING
        asked = reference - m * m * vergence / bend
    size = m if m > 0.0 else -m
    if not demand.by_print:
        gain = log10(size)
    elif focused:
        gain = log10(size / at)
    else:
        reach = abs(at / m + t + m * distance)
        if reach < 1.0:
            return _NOTHING
        gain = -log10(reach)
    return asked, gain, at, m, t, size, None, False, 0.0, False


# Where an eye stands behind a tube: to the cornea, mm, and the tangents of half its real and its apparent field.
Standpoint = tuple[float, float, float]


def standpoints(variants: Sequence[Variant]) -> list[Standpoint]:
    """Where the eye stands behind each variant."""
    return [q[-3:] for q, _ in variants]


def plain_field(focus: Focus, stands: Sequence[Standpoint], variant_of: Sequence[int], afar: bool) -> Field:
    """How wide the sights of :func:`plain_focus` are; ``stands`` is :func:`standpoints`, by ``variant_of`` for each."""
    widths: list[float] = []
    converge: list[float] = []
    width, converges = 0.0, inf
    each = zip(variant_of, focus.at, focus.powers, focus.lengths, focus.hyperfocal, strict=True)
    for number, at, m, t, hyperfocal in each:
        # Set hyperfocal it is as wide as set for infinity, which comes just before.
        if not hyperfocal:
            width, converges = 0.0, inf
            if m:
                distance, tan_real, tan_apparent = stands[number]
                b = at / m + (t + m * distance)
                if m < 0.0:
                    b = -b
                if b >= 1.0 and at + t * m > 0.0:
                    converges = 100.0 / b - 100.0 / at
                    width = 2.0 * b * tan_apparent
                if afar:
                    width = 2.0 * at * tan_real
        widths.append(width)
        converge.append(converges)
    return Field(widths, converge, focus.relief)


def cap_field(focus: Focus, stands: Sequence[Standpoint], variant_of: Sequence[int]) -> Field:
    """The same of :func:`page_focus` and :func:`cap_focus`."""
    widths: list[float] = []
    converge: list[float] = []
    each = zip(variant_of, focus.at, focus.powers, focus.lengths, focus.caps, focus.at_focus, strict=True)
    for number, at, m, t, cap_d, at_focus in each:
        width, converges = 0.0, inf
        if m:
            distance, tan_real, tan_apparent = stands[number]
            past = 1.0 - 0.001 * cap_d * at
            b = at / m + past * (t + m * distance)
            if m < 0.0:
                b = -b
            if b >= 1.0 and at + t * m * past > 0.0:
                converges = 100.0 / b - 100.0 / at
                width = 2.0 * b * tan_apparent
            if at_focus:
                width = 2.0 * at * tan_real
        widths.append(width)
        converge.append(converges)
    return Field(widths, converge, focus.relief)
