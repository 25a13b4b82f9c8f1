"""The same rules as :mod:`.device` and :mod:`.outcome` in bare arithmetic, for every configuration of a stock at once.

Nothing here is shown: it ranks. An option that is looked at is computed anew through the declared formulas, and a test
holds both to the same grade and score. Only numbers that the ranking needs are made, so that a plan of tens of
thousands of outcomes is a matter of milliseconds and of few megabytes.

Rows come in variants, one tube before one eye with one correction: what hangs on the tube alone is made once for all
of its caps and focus settings, and a cap that is off for a goal costs nothing. What an eye resolves, what the field
shows and what two eyes must converge are found apart, since few figures touch more than one of them.
"""

from __future__ import annotations

from array import array
from collections.abc import Sequence
from dataclasses import dataclass
from math import atan, erfc, inf, log, log2, log10, pi, sqrt

from .formulas import FULL_CHANCE, STRONGEST_POWER, USELESS_CHANCE, WANTED_FIELD_WORTH
from .quick_goal import EyeGoal
from .quick_sights import CANNOT, MEETS, NEARLY, Field, Focus
from .quick_tube import WEAKEST_VERGENCE_D, Clear, Variant
from .ranking import AMPLE_DEPTH_MM, VERGENCE_WORTH, WIDE_FIELD_DEG, light_worth, trembling_worth
from .seen import DEFOCUS_MOST_D
from .verdict import CLEAR_MARGIN, MEETS_CHANCE, MOST_LOSS_LOGMAR, NEARLY_CHANCE

_ROOT2 = sqrt(2.0)
_FADE_END = 2.0
_LOG_STRONGEST = log(STRONGEST_POWER)
# A chance under USELESS_CHANCE has a standard score under this one.
_USELESS_Z = -2.4
_SHARP_MOST = 1.0 + CLEAR_MARGIN


# What an eye has of a tube in some light: what the want of light costs, log units; points for the light that arrives;
# the square of half the cylinder left uncorrected, D².
Standing = tuple[float, float, float]


def standings(
    variants: Sequence[Variant],
    pupil_mm: float,
    passes: float,
    per_halving_logmar: float,
    glare: float,
    weight: float,
) -> list[Standing]:
    """What a pupil has of each variant; ``passes`` is the transmittance of a filter, ``weight`` that of the light."""
    found: list[Standing] = []
    tinted = passes < 1.0
    for q, _ in variants:
        ratio = q.exit_pupil_mm / pupil_mm
        bright = q.transmittance * passes * (ratio * ratio if ratio < 1.0 else 1.0)
        loss = -per_halving_logmar * log2(bright) if bright < 1.0 else 0.0
        worth = light_worth(bright, tinted, glare) if glare else bright
        found.append((loss, weight * worth, q.cylinder_quarter))
    return found


@dataclass(frozen=True, slots=True, eq=False)
class Resolved:
    """What an eye makes of every sight but for its field: the best grade left, usefulness, points of the criteria."""

    codes: bytes
    uses: array[float]
    points: array[float]


def resolved(
    focus: Focus, variant_of: Sequence[int], standing: Sequence[Standing], clear: Sequence[Clear], g: EyeGoal
) -> Resolved:
    """What an eye makes of every sight: its chance, what is in focus, the light and the room for the hands.

    ``variant_of`` is the place of each sight's variant in ``standing``, which is :func:`standings`, and in ``clear``,
    :func:`.quick_tube.clears`. What is of no use has no points.
    """
    count = len(focus.asked)
    codes, uses, points = bytearray(focus.codes), array("d", bytes(8 * count)), array("d", bytes(8 * count))
    if g.impossible:
        return Resolved(bytes([CANNOT]) * count, uses, points)
    start, fixed_loss, to_z, scale = g.start, g.fixed_loss, g.to_z, g.to_z / _ROOT2
    tolerance, accommodation, room_tolerance = g.tolerance_d, g.accommodation_d, g.room_tolerance_d
    moving, steady, blur_scale = g.object_speed > 0.0, g.steady, g.blur_scale * g.blur_scale
    flexible, log_range = g.near_flexible, g.log_range
    w_chance, w_clear, w_room = g.weights
    good, per_chance = g.good_chance, w_chance / g.good_chance
    near, room_mm, per_mm = g.near, g.reach_mm, w_room / g.reach_mm
    trembling = steady < inf
    nearest, farthest = g.demand.nearest_mm, g.demand.farthest_mm
    # The loss that is the same for all is taken off what the eye is ahead of the goal, and off the most that is lost.
    ahead = start - fixed_loss
    most_loss = inf if g.by_print else MOST_LOSS_LOGMAR - fixed_loss
    # Defocus beyond the last limit is no use, where it is no more than the most that is told apart.
    fades = _FADE_END * tolerance < DEFOCUS_MOST_D
    most_left = _FADE_END * tolerance if fades else DEFOCUS_MOST_D
    # Without a chance whatever the light and the blur, or out of focus beyond use however it is set. A hair more is let
    # through, to the tests of the chance and of the focus themselves.
    least_gain = _USELESS_Z / to_z + min(0.0, most_loss) - ahead - 1e-9
    least_asked = -most_left - 1e-9 if fades else -inf
    most_asked = accommodation + room_tolerance + most_left + 1e-9 if fades else inf
    sharp_left, useless, full, fair, meets = (
        tolerance * _SHARP_MOST, USELESS_CHANCE, FULL_CHANCE, NEARLY_CHANCE, MEETS_CHANCE,
    )  # fmt: skip
    per_full, per_range, weakest = (
        1.0 / FULL_CHANCE,
        w_clear / log_range if log_range else 0.0,
        WEAKEST_VERGENCE_D,
    )
    sizes, at_mm, caps = focus.sizes, focus.at, focus.caps
    each = zip(range(count), variant_of, focus.asked, focus.gains, focus.hyperfocal, strict=True)
    for place, number, asked, gain, hyperfocal in each:
        if gain < least_gain or not least_asked <= asked <= most_asked:
            continue
        if hyperfocal:
            asked -= room_tolerance
        if asked < 0.0:
            left = -asked
        else:
            left = asked - accommodation
            if left < 0.0:
                left = 0.0
        if left > most_left:
            if fades:
                continue
            left = most_left
        loss, worth, cylinder = standing[number]
        if moving:
            loss += _slip_loss(g, sizes[place])
        if left or cylinder:
            loss += 0.5 * log10(1.0 + blur_scale * (left * left + cylinder))
        if loss > most_loss:
            loss = most_loss
        chance = 0.5 * erfc((loss - gain - ahead) * scale)
        if chance < useless:
            continue
        use = chance * per_full if chance < full else 1.0
        if trembling and sizes[place] > steady:
            use *= trembling_worth(sizes[place], steady)
        worth += chance * per_chance if chance < good else w_chance
        worth += at_mm[place] * per_mm if near and at_mm[place] < room_mm else w_room
        cap_d = caps[place]
        if flexible and cap_d is not None:
            near_edge, far_edge, _, _ = clear[number]
            needs = cap_d - near_edge
            if needs >= weakest:
                depth = AMPLE_DEPTH_MM
                if cap_d - far_edge >= weakest:
                    depth = 1000.0 / (cap_d - far_edge) - 1000.0 / needs
                worth += w_clear * depth / AMPLE_DEPTH_MM if depth < AMPLE_DEPTH_MM else w_clear
        elif log_range:
            near_edge, far_edge, infinity, beyond_infinity = clear[number]
            if cap_d is None:
                near_mm, far_mm = beyond_infinity if hyperfocal else infinity
            else:
                near_edge, far_edge = cap_d - near_edge, cap_d - far_edge
                near_mm = 1000.0 / near_edge if near_edge >= weakest else inf
                far_mm = 1000.0 / far_edge if far_edge >= weakest else inf
            if near_mm < nearest:
                near_mm = nearest
            if far_mm > farthest:
                far_mm = farthest
            if far_mm > near_mm:
                worth += per_range * log(far_mm / near_mm)
        elif left <= tolerance:
            worth += w_clear
        else:
            worth += w_clear * (_FADE_END - left / tolerance)
        if left > tolerance:
            use *= _FADE_END - left / tolerance
        if chance >= meets and left <= sharp_left:
            codes[place] = MEETS
        elif chance >= fair:
            codes[place] = NEARLY
        uses[place] = use
        points[place] = worth
    return Resolved(bytes(codes), uses, points)


@dataclass(frozen=True, slots=True, eq=False)
class Shown:
    """What the field of every sight is: the best grade that it leaves, and its points."""

    codes: bytes
    points: array[float]


def shown(
    widths: Sequence[float], degrees: Sequence[float], wanted_mm: float, share_wanted: float, weight: float
) -> Shown:
    """What the fields are worth of these widths, mm, where ``wanted_mm`` is wanted and a share of it is enough.

    Where none is wanted or none is seen, ``degrees`` counts, the field against a wide one.
    """
    if not wanted_mm:
        return Shown(bytes(len(widths)), array("d", [weight * degree for degree in degrees]))
    shares = [width / wanted_mm if width else inf for width in widths]
    # The rule of field_worth, without its declaration.
    first, second = weight * WANTED_FIELD_WORTH, weight * (1.0 - WANTED_FIELD_WORTH)
    points = [
        first * share if share < 1.0
        else first + second * (share - 1.0) if share < 2.0
        else weight if share < inf
        else weight * degree
        for share, degree in zip(shares, degrees, strict=True)
    ]  # fmt: skip
    return Shown(bytes([share < share_wanted for share in shares]), array("d", points))


def field_degrees(variants: Sequence[Variant]) -> list[float]:
    """The field of each variant against a wide one, 0 to 1."""
    found = [360.0 / pi * atan(q.tan_real) / WIDE_FIELD_DEG for q, _ in variants]
    return [degree if degree < 1.0 else 1.0 for degree in found]


@dataclass(frozen=True, slots=True, eq=False)
class Converging:
    """What two eyes must do for every sight: the best grade that it leaves, its worth; None where all are at ease."""

    codes: bytes
    worths: list[float] | None


_CODE_OF_STATE = bytes([MEETS, NEARLY, CANNOT]) + bytes(253)


def converging(seen: Field, interpupillary_mm: float, reserve_prism: float) -> Converging:
    """What two tubes ask of two eyes beyond ordinary looking, against the reserve and half of it."""
    half = 0.5 * reserve_prism
    states = bytes(
        [
            ((beyond := abs(interpupillary_mm * converge - relief)) > half) + (beyond > reserve_prism)
            for converge, relief in zip(seen.converge, seen.relief, strict=True)
        ]
    )
    at_ease = states.count(0) == len(states)
    return Converging(
        states.translate(_CODE_OF_STATE), None if at_ease else [VERGENCE_WORTH[state] for state in states]
    )


def joined(*codes: bytes) -> bytes:
    """The worst grade of each place of several columns of the same length."""
    together = 0
    for column in codes:
        together |= int.from_bytes(column, "little")
    return together.to_bytes(len(codes[0]), "little")


def low_power(magnification: float) -> float:
    """The rule of :func:`.formulas.low_power_worth`, without its declaration."""
    size = magnification if magnification > 0.0 else -magnification
    if size >= STRONGEST_POWER:
        return 0.0
    return 1.0 - log(size) / _LOG_STRONGEST if size > 1.0 else 1.0


def _slip_loss(g: EyeGoal, size: float) -> float:
    slip = (size - (g.vor_gain if g.vor_gain < size else size)) * g.object_speed
    return 0.6 * log10(slip / g.slip_tolerated) if slip > g.slip_tolerated else 0.0
