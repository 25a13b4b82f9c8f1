"""The order of the options: the stated criteria, what each is worth here, and the reasons for and against in sentences.

Every criterion is a number from 0 to 1 times its weight in the settings. A goal's criteria count only as far as the
goal is reached (its usefulness), so a wide field on a telescope that cannot do the job wins nothing. Goals count by
their rank: the first fully, the second half, the third a third.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import log

from ..configuration import Configuration, Mount, Position
from ..goals import Demand
from ..person import Person
from ..stock import Telescope
from .context import WEIGHT_NAMES, Context
from .formulas import usefulness
from .types import DeviceNumbers, Outcome, ScorePart

VERGENCE_WORTH = (1.0, 0.7, 0.0)
# By common practice 15 degrees is a wide field for a telescope and 30 mm a comfortable depth at near.
WIDE_FIELD_DEG = 15.0
AMPLE_DEPTH_MM = 30.0
STRONGEST_POWER = 6.0
_MOUNT_COMFORT: dict[Mount, float] = {
    "through the lens": 1.0,
    "in front": 0.9,
    "flip-up": 0.95,
    "clip-on": 0.8,
}
_NECK = {"stiff": 0.6, "painful": 0.3}
HEAVY_G = 60.0


def goal_weights(count: int) -> tuple[float, ...]:
    """How much each goal counts, by its rank; the weights add up to 1."""
    raw = [1.0 / (rank + 1) for rank in range(count)]
    total = sum(raw) or 1.0
    return tuple(value / total for value in raw)


def clear_degree(
    blur: float, near_mm: float | None, far_mm: float | None, demand: Demand, flexible: bool
) -> float:
    """How well the clear range fits the goal, 0 to 1: depth where the page can move, else the share of its range."""
    if flexible:
        if near_mm is None or far_mm is None:
            return 0.0 if near_mm is None else 1.0
        return min(1.0, (far_mm - near_mm) / AMPLE_DEPTH_MM)
    if demand.farthest_mm <= demand.nearest_mm * 1.001:
        return min(1.0, max(0.0, 2.0 - blur))
    if near_mm is None:
        return 0.0
    low = max(near_mm, demand.nearest_mm)
    high = demand.farthest_mm if far_mm is None else min(far_mm, demand.farthest_mm)
    if high <= low:
        return 0.0
    return log(high / low) / log(demand.farthest_mm / demand.nearest_mm)


def position_comfort(person: Person, demands: Sequence[Demand]) -> dict[Position, float]:
    """How each position suits the goals: high for spotting, full for long looking, low for near; and the neck."""
    weights = goal_weights(len(demands))
    found: dict[Position, float] = {"bioptic": 0.0, "full diameter": 0.0, "low": 0.0}
    for weight, demand in zip(weights, demands, strict=True):
        for position, value in _suits(demand).items():
            found[position] += weight * value
    found["bioptic"] *= _NECK.get(person.neck, 1.0)
    return found


def _suits(demand: Demand) -> dict[Position, float]:
    if demand.posture in ("standing", "walking"):
        return {"bioptic": 1.0, "full diameter": 0.3, "low": 0.4}
    if demand.kind == "near":
        return {"bioptic": 0.3, "full diameter": 0.8, "low": 1.0}
    if demand.duration == "long":
        return {"bioptic": 0.5, "full diameter": 1.0, "low": 0.3}
    return {"bioptic": 1.0, "full diameter": 0.7, "low": 0.3}


def comfort(
    positions: dict[Position, float], position: Position, mount: Mount, telescope: Telescope
) -> float:
    """Comfort of a position and mount with this weight, 0 to 1."""
    heavy = 0.9 if (telescope.weight_g or 0.0) > HEAVY_G else 1.0
    return positions[position] * _MOUNT_COMFORT[mount] * heavy


def low_power(magnification: float) -> float:
    """1 for no magnification, 0 from 6x."""
    return min(1.0, max(0.0, (STRONGEST_POWER - abs(magnification)) / (STRONGEST_POWER - 1.0)))


def hands(telescope: Telescope) -> float:
    """Every head-borne telescope leaves the hands free, but a focusable one asks for a hand now and then."""
    return 0.7 if telescope.focusable else 1.0


def two_eyes(context: Context, eye: str) -> float:
    """Two tubes are worth most when the eyes are alike."""
    if eye != "both":
        return 0.0
    right, left = context.right.logmar, context.left.logmar
    if right is None or left is None:
        return 0.6
    return 1.0 if abs(right - left) <= context.figures.interocular_rule_logmar else 0.3


UNCORRECTED_WORTH = 0.7
# Set hyperfocal, infinity itself is only just tolerated: worth it where it brings a goal into the clear range.
HYPERFOCAL_WORTH = 0.6


def simplicity(configuration: Configuration, left_uncorrected: bool) -> float:
    """Fewer parts and settings are better; a carrier lens is advised even for a slight error (common practice)."""
    value = UNCORRECTED_WORTH if left_uncorrected else 1.0
    if configuration.cap:
        value *= 0.8
    if configuration.filter:
        value *= 0.8
    if configuration.correction in ("objective", "refocused"):
        value *= 0.9
    if configuration.focus == "hyperfocal":
        value *= HYPERFOCAL_WORTH
    return value


def goal_use(outcome: Outcome) -> float:
    """How far the goal is reached, 0 to 1."""
    if outcome.grade == "cannot" or outcome.probability is None or not outcome.tolerance_d:
        return 0.0
    blur = outcome.defocus_d / outcome.tolerance_d
    fade = 1.0 if blur <= 1.0 else max(0.0, 2.0 - blur)
    return usefulness(outcome.probability) * fade * VERGENCE_WORTH[outcome.vergence_state]


def score_parts(
    context: Context,
    telescope: Telescope,
    configuration: Configuration,
    device: DeviceNumbers,
    demands: Sequence[Demand],
    outcomes: Sequence[Outcome],
) -> tuple[ScorePart, ...]:
    """The criteria with their values and weights, in the order of the settings; their points add up to the score."""
    weight = dict(zip(WEIGHT_NAMES, context.figures.weights, strict=True))
    reach = context.person.reach_mm
    totals = dict.fromkeys(WEIGHT_NAMES, 0.0)
    used = 0.0
    for share, demand, outcome in zip(goal_weights(len(demands)), demands, outcomes, strict=True):
        use = goal_use(outcome)
        used += share * use
        if use == 0.0:
            continue
        blur = outcome.defocus_d / (outcome.tolerance_d or 1.0)
        flexible = demand.kind == "near" and demand.by_print
        totals["chance"] += share * use * (outcome.probability or 0.0)
        totals["field"] += share * use * field_degree(outcome, demand, device.leading.field.real_field_deg)
        totals["clear_range"] += (
            share
            * use
            * clear_degree(
                blur, outcome.clear_from_mm, outcome.clear_to_mm, demand, flexible and outcome.cap_on
            )
        )
        near = demand.kind == "near"
        totals["working_distance"] += (
            share * use * (min(1.0, outcome.object_distance_mm / reach) if near else 1.0)
        )
        totals["light"] += share * use * (outcome.relative_brightness or 0.0)
    suits = comfort(
        position_comfort(context.person, demands), configuration.position, configuration.mount, telescope
    )
    totals["low_power"] = used * low_power(device.leading.magnification)
    totals["comfort"] = used * suits
    totals["hands_free"] = used * hands(telescope)
    totals["two_eyes"] = used * two_eyes(context, configuration.eye)
    totals["simplicity"] = used * simplicity(
        configuration,
        configuration.correction == "none" and context.eye(device.leading.side).needs_correction,
    )
    return tuple(
        ScorePart(name, totals[name], weight[name], _SENTENCES[name].format(100 * totals[name]))
        for name in WEIGHT_NAMES
    )


def field_degree(outcome: Outcome, demand: Demand, real_field_deg: float) -> float:
    """The share of the wanted field, at most 1; without a wish against a wide one."""
    if demand.by_print and demand.characters and outcome.characters_in_field is not None:
        return min(1.0, outcome.characters_in_field / demand.characters)
    if demand.width_mm and outcome.linear_field_mm is not None:
        return min(1.0, (outcome.linear_union_mm or outcome.linear_field_mm) / demand.width_mm)
    return min(1.0, real_field_deg / WIDE_FIELD_DEG)


_SENTENCES = {
    "chance": "the chance of meeting the goals, {:.0f} of 100",
    "field": "the field against what is wanted, {:.0f} of 100",
    "low_power": "the lower the power the better, {:.0f} of 100",
    "clear_range": "how much of the goals' distances is clear, {:.0f} of 100",
    "working_distance": "room for the hands, {:.0f} of 100",
    "light": "light that arrives, {:.0f} of 100",
    "comfort": "position and weight, {:.0f} of 100",
    "hands_free": "hands left free, {:.0f} of 100",
    "two_eyes": "two eyes together, {:.0f} of 100",
    "simplicity": "few parts, {:.0f} of 100",
}
