"""Which goals ask for a telescope at all, and how much each of them counts.

A goal that the person reaches already, with the best correction or an ordinary add, pulls the choice towards no device
and asks for no place in the fewest devices. It is judged by the better eye: what that one reaches is reached.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import replace
from math import inf

from ..cautions import AT_REST
from ..errors import Refusal
from ..formula import unrecorded
from ..goals import Demand
from ..magnification import evp_from_evd_d, required_evd_mm
from ..optics.ametropia import refraction_at_cornea_d
from ..person import Person
from .context import Context, EyeIn, Side
from .formulas import contrast_loss_logmar

# An ordinary add up to here is worn without a thought (common practice).
ADD_ENOUGH_D = 4.0
# With less the page cannot be held nearer than an ordinary reading distance.
ACCOMMODATION_OF_USE_D = 2.5
# What a goal counts beside others when an add or a magnifier is the better way to it (common practice).
OTHERWISE_WORTH = 0.25
REACH_SPARE_MM = 0.5
# With more cylinder the page is blurred without spectacles (common practice: over 1.50 to 2.00 D it is corrected).
CYLINDER_BARE_D = 1.5
# Type made larger than this leaves too little of a page on a screen of usual size (common practice).
MOST_ENLARGED = 4.0


def without_telescope(context: Context, demand: Demand) -> str:
    """Why the person needs no telescope for a goal, in a sentence; "" when one is asked for."""
    if demand.problems:
        return ""
    with unrecorded():
        if not demand.by_print:
            return _by_acuity(context, demand)
        return _by_add(context, demand) if demand.kind == "near" else _by_print_size(context, demand)


def asking(context: Context, demands: Sequence[Demand]) -> tuple[Demand, ...]:
    """The goals that ask for a telescope; all of them where none does, so that the options keep an order."""
    found = tuple(demand for demand in demands if not without_telescope(context, demand))
    return found or tuple(demands)


def first_eye(context: Context, counted: Sequence[Demand]) -> Side:
    """The eye that one tube goes before for these goals."""
    usable = [demand for demand in counted if demand.usable]
    return context.first_eye(bool(usable) and all(demand.by_print for demand in usable))


def goal_shares(context: Context, demands: Sequence[Demand], counted: Sequence[Demand]) -> tuple[float, ...]:
    """How much each goal counts, by its rank among those that count: first fully, second half; they add up to 1.

    Beside a goal that only a telescope serves, one that is better served another way counts for less.
    """
    ranks = {demand.index: rank for rank, demand in enumerate(counted)}
    other = {demand.index for demand in counted if served_otherwise(context, demand)}
    if len(other) == len(counted):
        other = set()
    raw = [
        (OTHERWISE_WORTH if demand.index in other else 1.0) / (ranks[demand.index] + 1)
        if demand.index in ranks
        else 0.0
        for demand in demands
    ]
    total = sum(raw) or 1.0
    return tuple(value / total for value in raw)


def enlarged_on_screen(context: Context, demand: Demand) -> float | None:
    """How many times larger the type has to be made where it stands on a screen; None elsewhere, and beyond reason."""
    if demand.problems or not demand.on_screen or not demand.by_print:
        return None
    with unrecorded():
        distances = [distance for _, distance, _ in _adds(context, demand)]
    if not distances:
        return None
    times = demand.distance_mm / max(distances)
    return times if 1.0 < times <= MOST_ENLARGED else None


def served_otherwise(context: Context, demand: Demand) -> bool:
    """Whether another way than a telescope is the better one to a goal: print that is held near, or larger type.

    A high add or a magnifier of the same power shows several times more characters; only free hands, or hands that do
    not work so near, speak for a telescope.
    """
    if enlarged_on_screen(context, demand) is not None:
        return True
    if demand.problems or not demand.by_print or demand.kind != "near" or demand.hands_free:
        return False
    if "face.reach" in context.person.assumed:
        return True
    with unrecorded():
        return any(hands_reach(context.person, distance) for _, distance, _ in _adds(context, demand))


def hands_reach(person: Person, working_distance_mm: float) -> bool:
    """Whether these hands work at a distance; only a measured reach says that they do not."""
    return "face.reach" in person.assumed or working_distance_mm >= person.reach_mm - REACH_SPARE_MM


def _seeing(context: Context, demand: Demand) -> Iterator[EyeIn]:
    """The eyes that can be computed with and see this contrast at some size."""
    for eye in (context.right, context.left):
        if eye.usable and demand.contrast * 10.0**eye.log_cs > 1.0:
            yield eye


def reached_by(context: Context, eye: EyeIn, demand: Demand) -> bool:
    """Whether this eye alone reaches a goal without any telescope."""
    alone = replace(context, right=eye, left=eye, both_logmar=None)
    return bool(without_telescope(alone, demand))


def _by_acuity(context: Context, demand: Demand) -> str:
    goal = demand.goal_logmar
    if goal is None:
        return ""
    singly = [(eye.logmar, eye.log_cs) for eye in _seeing(context, demand) if eye.logmar is not None]
    together = []
    if context.both_logmar is not None and demand.contrast * 10.0**context.both_log_cs > 1.0:
        together.append((context.both_logmar, context.both_log_cs))
    # Reached is what is graded as met through a telescope: by the chance, faint contrast counted as there.
    figures = context.figures
    by_one, by_both = (
        min(
            (
                logmar + contrast_loss_logmar(
                    demand.contrast * 10.0**log_cs, figures.contrast_reserve_warn, figures.contrast_loss_per_log
                )
                for logmar, log_cs in found
            ),
            default=inf,
        )
        for found in (singly, together)
    )  # fmt: skip
    if min(by_one, by_both) > max(-0.5, goal):
        return ""
    rest = f" {AT_REST}" if demand.at_the_wheel else ""
    whose = "acuity" if by_one <= max(-0.5, goal) else "acuity of both eyes together"
    return (
        f"{demand.name}: the recorded {whose} is enough without magnification; check the correction, the light and "
        f"the contrast before a telescope is weighed.{rest}"
    )


def bare_myopia_d(eye: EyeIn) -> float:
    """What a myopic eye gives itself at near without its spectacles, D; nothing where a cylinder would blur it."""
    if eye.cylinder_d > CYLINDER_BARE_D:
        return 0.0
    with suppress(Refusal):
        return max(0.0, -refraction_at_cornea_d(eye.sphere_d, eye.refraction_vertex_mm))
    return 0.0


def _adds(context: Context, demand: Demand) -> Iterator[tuple[float, float, EyeIn]]:
    """Of each seeing eye: the power that it needs, D, where that works, mm, and the eye."""
    for eye in _seeing(context, demand):
        if eye.near_m_units is None or demand.goal_m_units is None:
            continue
        with suppress(Refusal):
            distance = required_evd_mm(
                eye.near_distance_mm, eye.near_m_units, demand.goal_m_units, max(1.0, demand.reserve)
            )
            yield evp_from_evd_d(distance), distance, eye


def _by_print_size(context: Context, demand: Demand) -> str:
    """Print at arm's length that is large enough there, or at the nearest place of its range."""
    distances = [distance for _, distance, _ in _adds(context, demand)]
    if not distances or max(distances) < demand.nearest_mm - REACH_SPARE_MM:
        return ""
    at = min(max(distances), demand.distance_mm)
    return (
        f"{demand.name}: the print is large enough at {at / 10:.0f} cm; an ordinary add of about {1000.0 / at:.2f} D "
        "for that distance does it, no telescope is needed."
    )


def _by_add(context: Context, demand: Demand) -> str:
    found = [
        (power, eye.accommodation_d, bare_myopia_d(eye))
        for power, distance, eye in _adds(context, demand)
        if hands_reach(context.person, distance)
    ]
    if not found:
        return ""
    power = min(power for power, _, _ in found)
    if power <= ADD_ENOUGH_D:
        return f"{demand.name}: an ordinary add of about {max(0.25, power):.2f} D does it; no telescope is needed."
    itself = [kept for power, kept, _ in found if kept >= ACCOMMODATION_OF_USE_D and power <= kept]
    bare = [myopia for power, _, myopia in found if myopia >= ACCOMMODATION_OF_USE_D and power <= myopia]
    if not itself and bare and not demand.hands_free:
        return (
            f"{demand.name}: the myopia of {max(bare):.1f} D does it, with the spectacles off and the page held near; "
            "no telescope is needed."
        )
    if not itself:
        return ""
    return (
        f"{demand.name}: the eye's own accommodation of {max(itself):.1f} D does it with the page held near; no "
        "telescope is needed."
    )
