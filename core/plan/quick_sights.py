"""What each setting of each tube shows of a goal's object, whoever looks, in bare arithmetic.

The rules are those of :mod:`.seen` and :mod:`.outcome`; nothing here hangs on acuity or pupil, so that what is found
serves every eye that stands behind the same tubes.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import inf, log10
from typing import Any, NamedTuple

from ..goals import Demand
from ..optics._domain import POLE_MARGIN
from .quick_tube import QuickEye, Variant

# How far a grade is from the best one, in bits, so that the worse of several is had by joining them: whole columns are
# joined as one long number.
MEETS, NEARLY, MISSES, CANNOT = 0b000, 0b001, 0b011, 0b111


class Sights(NamedTuple):
    """One list for each quantity, one item in it for each sight.

    Accommodation asked, D; log of the power (for print, per mm of viewing distance); the object's distance, mm; the
    power in use; the cap that is on, D, or None; whether set hyperfocal; the width seen at once, mm, 0 where there is
    none; convergence per mm of PD beyond the naked one, infinite where the light crosses before the eye; what prism in
    the caps takes away, prism dioptres. ``codes`` is the best grade that each can have without being looked through:
    :data:`CANNOT` where nothing can be seen, and there the power is 0.
    """

    asked: list[float]
    gains: list[float]
    at: list[float]
    powers: list[float]
    caps: list[float | None]
    hyperfocal: list[bool]
    widths: list[float]
    converge: list[float]
    relief: list[float]
    codes: bytes


# While they are made, the sights stand one after the other in one list, without a record for each.
Flat = list[Any]
_SIGHT = 9
_HYPERFOCAL = 5
_NOTHING = (0.0, -inf, 0.0, 0.0, None, False, 0.0, inf, 0.0)


def caps_off_from_d(demand: Demand) -> float:
    """The power from which a cap is taken off for a goal, D: all are for one afar, none for print."""
    if demand.kind == "distance":
        return 0.0
    return inf if demand.by_print else 2000.0 / demand.distance_mm


def sights(variants: Sequence[Variant], demand: Demand, page: Flat) -> Sights:
    """What the variants show of a goal's object: each set for infinity, hyperfocal where it can be, with each cap on.

    A cap that is off for the goal leaves the tube as it is without one, so it has no sight of its own. ``page`` is
    :func:`page_sights`, where the goal is near print.
    """
    found: Flat = []
    afar = demand.kind == "distance"
    off_from, at_page = caps_off_from_d(demand), 0
    for variant in variants:
        plain = _plain_sight(variant.q, demand)
        found += plain
        _, plains, caps, _ = variant.settings
        if plains > 1:
            found += plain
            found[_HYPERFOCAL - _SIGHT] = True
        if afar:
            continue
        if page:
            start, at_page = at_page, at_page + _SIGHT * len(caps)
            found += page[start:at_page]
        else:
            _cap_sights(found, variant, demand.by_print, demand.nearest_mm, demand.farthest_mm, off_from)
    columns: list[Any] = [found[place::_SIGHT] for place in range(_SIGHT)]
    return Sights(*columns, codes=bytes([MISSES if power else CANNOT for power in columns[3]]))


def page_sights(variants: Sequence[Variant]) -> Flat:
    """What each cap shows of print: the page goes where the cap wants it, whatever the print."""
    found: Flat = []
    for variant in variants:
        _cap_sights(found, variant, True, 0.0, inf, inf)
    return found


def _cap_sights(
    found: Flat, variant: Variant, by_print: bool, nearest_mm: float, farthest_mm: float, off_from_d: float
) -> None:
    """What is seen through each cap of an object between two distances, brought as near to its focus as can be."""
    q = variant.q
    m, t, reference, lens, tan_real, tan_apparent = (
        q.m, q.t, q.reference, q.objective_lens, q.tan_real, q.tan_apparent,
    )  # fmt: skip
    size = m if m > 0.0 else -m
    bending, lever, squared = t * m / 1000.0, t + m * q.distance_mm, m * m
    for power, at, corrected, base_in in variant.settings.caps:
        if power >= off_from_d:
            continue
        if at < nearest_mm:
            at = nearest_mm
        elif at > farthest_mm:
            at = farthest_mm
        vergence = power - 1000.0 / at + lens
        bend = 1.0 - bending * vergence
        past = 1.0 - 0.001 * power * at
        b = at / m + past * lever
        reach = b if b > 0.0 else -b
        at_focus = -1e-6 * at < at - corrected < 1e-6 * at
        if bend <= POLE_MARGIN or (reach < 1.0 and not (by_print and at_focus)):
            found += _NOTHING
            continue
        usable = at + t * m * past > 0.0 and (b if m > 0.0 else -b) >= 1.0
        gain = log10(at / reach)
        if by_print:
            gain = log10(size * power) - 3.0 if at_focus else -log10(reach)
        width = 2.0 * at * tan_real if at_focus else 2.0 * reach * tan_apparent if usable else 0.0
        found += (
            reference - squared * vergence / bend, gain, at, size, power, False, width,
            100.0 / reach - 100.0 / at if usable else inf, 2.0 * size * base_in,
        )  # fmt: skip


def _plain_sight(q: QuickEye, demand: Demand) -> tuple[Any, ...]:
    intermediate = demand.kind != "distance"
    m, t, at = q.m, q.t, demand.distance_mm
    vergence = -1000.0 / at
    focused = False
    if q.focusable:
        reached = at if at > q.nearest_mm else q.nearest_mm
        collecting = q.objective_d - 1000.0 / reached
        if collecting <= POLE_MARGIN * q.objective_d:
            return _NOTHING
        lent = q.ocular_d - q.lends
        m_near, t_near = -lent / collecting, 1000.0 / collecting + 1000.0 / lent
        if intermediate:
            m, t = m_near, t_near
        if at >= q.nearest_mm * (1.0 - 1e-9):
            focused, asked = True, 0.0
        else:
            vergence += 1000.0 / reached
            bend = 1.0 - t_near * m_near * vergence / 1000.0
            if bend <= POLE_MARGIN:
                return _NOTHING
            asked = -m_near * m_near * vergence / bend
    else:
        vergence += q.objective_lens
        bend = 1.0 - t * m * vergence / 1000.0
        if bend <= POLE_MARGIN:
            return _NOTHING
        asked = q.reference - m * m * vergence / bend
    size = m if m > 0.0 else -m
    b = at / m + t + m * q.distance_mm
    reach = b if b > 0.0 else -b
    usable = at + t * m > 0.0 and (b if m > 0.0 else -b) >= 1.0
    if not demand.by_print:
        gain = log10(size)
    elif focused:
        gain = log10(size / at)
    elif reach < 1.0:
        return _NOTHING
    else:
        gain = -log10(reach)
    width = 2.0 * at * q.tan_real if not intermediate else 2.0 * reach * q.tan_apparent if usable else 0.0
    return asked, gain, at, size, None, False, width, 100.0 / reach - 100.0 / at if usable else inf, 0.0
