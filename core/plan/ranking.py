"""The order of the options: the stated criteria and what each is worth here.

The principle is that of common practice: the lowest power that meets the goal, with the largest field, usually wins.
So a chance counts up to the good one and no farther, power costs by its logarithm, a field counts up to twice the one
wanted, and a position in which the goal should not be pursued (a tube straight before the eye of somebody on foot)
weighs more than a line of acuity.

Every criterion is a number from 0 to 1 times its weight in the settings. A goal's criteria count only as far as the
goal is reached (its usefulness), so a wide field on a telescope that cannot do the job wins nothing. Goals count by
their rank: the first fully, the second half, the third a third. A goal that needs no telescope counts for nothing, so
that it pulls the choice towards no device; print that a high add or a magnifier serves better counts a quarter beside
goals that only a telescope serves.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import inf, log

from ..configuration import Configuration, Mount, Position
from ..goals import Demand
from ..person import Person
from ..stock import Telescope
from .asked import first_eye, goal_shares
from .context import WEIGHT_NAMES, Context
from .formulas import (
    chance_worth,
    field_worth,
    goal_criterion,
    good_chance,
    low_power_worth,
    sum_over_goals,
    usefulness,
)
from .types import DeviceNumbers, Outcome, ScorePart

VERGENCE_WORTH = (1.0, 0.7, 0.0)
# By common practice 15 degrees is a wide field for a telescope and 30 mm a comfortable depth at near.
WIDE_FIELD_DEG = 15.0
AMPLE_DEPTH_MM = 30.0
_MOUNT_COMFORT: dict[Mount, float] = {
    "through the lens": 1.0,
    "in front": 0.9,
    "flip-up": 0.95,
    "clip-on": 0.8,
}
_NECK = {"stiff": 0.6, "painful": 0.3}
# Tubes weigh 30 to 90 g on the nose (common practice): the lightest cost nothing, the heaviest this share of comfort.
LIGHT_G, HEAVY_G, HEAVY_COST = 30.0, 90.0, 0.25
CAP_WORTH, ARM_CAP_WORTH, UNUSED_PART_WORTH = 0.8, 0.6, 0.4


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


def position_comfort(context: Context, demands: Sequence[Demand]) -> dict[Position, float]:
    """How each position suits these goals: high for spotting, full for long looking, low for near; and the neck."""
    weights = goal_shares(context, demands, demands)
    found: dict[Position, float] = {"bioptic": 0.0, "full diameter": 0.0, "low": 0.0}
    for weight, demand in zip(weights, demands, strict=True):
        for position, value in _suits(demand).items():
            found[position] += weight * value
    # A tube straight before the eye of somebody on the way is unsafe, however well it suits what is done seated.
    on_the_way = sum(weight for weight, demand in zip(weights, demands, strict=True) if demand.on_the_way)
    found["full diameter"] *= 1.0 - min(1.0, on_the_way)
    found["bioptic"] *= _NECK.get(context.person.neck, 1.0)
    return found


def _suits(demand: Demand) -> dict[Position, float]:
    # Low in the lens is for near (YOHO09): at arm's length it serves now and then, for far the chin would have to rise.
    low = 0.0 if demand.kind == "distance" else 0.2
    if demand.on_the_way:
        return {"bioptic": 1.0, "full diameter": 0.0, "low": low}
    if demand.posture == "standing" and demand.kind != "near":
        return {"bioptic": 1.0, "full diameter": 0.1, "low": low and 0.3}
    if demand.kind == "near":
        return {"bioptic": 0.3, "full diameter": 0.8, "low": 1.0}
    if demand.duration == "long":
        return {"bioptic": 0.4, "full diameter": 1.0, "low": low}
    if demand.duration == "minutes":
        return {"bioptic": 0.8, "full diameter": 0.9, "low": low}
    return {"bioptic": 1.0, "full diameter": 0.7, "low": low}


def comfort(
    positions: dict[Position, float], position: Position, mount: Mount, telescope: Telescope, tubes: int
) -> float:
    """Comfort of a position and mount with the weight of so many tubes, 0 to 1."""
    over = ((telescope.weight_g or 0.0) * tubes - LIGHT_G) / (HEAVY_G - LIGHT_G)
    return positions[position] * _MOUNT_COMFORT[mount] * (1.0 - HEAVY_COST * min(1.0, max(0.0, over)))


def hands(telescope: Telescope, person: Person) -> float:
    """Every head-borne telescope leaves the hands free, but a focusable one asks for a steady one now and then."""
    if not telescope.focusable:
        return 1.0
    return 0.3 if person.hands in ("unsteady", "one hand") else 0.7


# The strongest power that a trembling head bears: head instability predicted failure better than clinical judgement
# did (DEMER89); the figures are common practice.
TREMOR_POWER: dict[str, float] = {"marked": 2.0, "slight": 3.5}


def trembling_worth(power: float, steady: float) -> float:
    """What a power is worth to a head that holds only a weaker one still: less as it multiplies the tremor more."""
    return steady / power if steady < power else 1.0


def steady_power(person: Person) -> float:
    """The strongest power that this head holds still enough."""
    return TREMOR_POWER.get(person.head_tremor, inf)


# One tube is for the better eye, or the dominant one of two alike (AOA-BTS): worth more than a hair of power or field.
LEADING_EYE_WORTH = 0.2


def two_eyes(context: Context, eye: str, demands: Sequence[Demand]) -> float:
    """Two tubes are worth most when the eyes are alike; a single one is for the eye that leads, or reads better."""
    if eye != "both":
        return LEADING_EYE_WORTH if eye == first_eye(context, demands) else 0.0
    right, left = context.right.logmar, context.left.logmar
    if right is None or left is None:
        return 0.6
    return 1.0 if abs(right - left) <= context.figures.interocular_rule_logmar else 0.3


# Common practice corrects even a slight error: what leaving one in gains by a hair does not come first.
UNCORRECTED_WORTH = 0.2
# Set hyperfocal, infinity itself is only just tolerated: worth it where it brings a goal into the clear range, and
# simpler than a cap, which must come off for looking far.
HYPERFOCAL_WORTH = 0.65


def weakest_unused_cap_d(demands: Sequence[Demand]) -> float:
    """Caps of this power or more are off for every goal: 0 when none is wanted, infinite when print asks for one."""
    found = 0.0
    for demand in demands:
        if demand.kind != "distance":
            found = inf if demand.by_print else max(found, 2000.0 / demand.distance_mm)
    return found


def cap_worth(power_d: float, unused_from_d: float) -> float:
    """What a cap leaves of simplicity: for print it must be; at arm's length it must come off for looking farther."""
    if power_d >= unused_from_d:
        return UNUSED_PART_WORTH
    return CAP_WORTH if unused_from_d == inf else ARM_CAP_WORTH


def simplicity(
    configuration: Configuration, left_uncorrected: bool, cap_power_d: float = 0.0, unused_from_d: float = inf
) -> float:
    """Fewer parts and settings are better; a carrier lens is advised even for a slight error (common practice)."""
    value = UNCORRECTED_WORTH if left_uncorrected else 1.0
    if configuration.cap:
        value *= cap_worth(cap_power_d, unused_from_d)
    if configuration.filter:
        value *= 0.8
    if configuration.correction in ("objective", "refocused"):
        value *= 0.9
    if configuration.focus == "hyperfocal":
        value *= HYPERFOCAL_WORTH
    return value


def goal_use(outcome: Outcome, steady: float = inf) -> float:
    """How far the goal is reached, 0 to 1; ``steady`` is the strongest power that this head holds still."""
    if outcome.grade == "cannot" or outcome.probability is None or not outcome.tolerance_d:
        return 0.0
    blur = outcome.defocus_d / outcome.tolerance_d
    fade = 1.0 if blur <= 1.0 else max(0.0, 2.0 - blur)
    still = trembling_worth(abs(outcome.magnification), steady)
    return usefulness(outcome.probability) * fade * still * VERGENCE_WORTH[outcome.vergence_state]


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
    steady = steady_power(context.person)
    counted = tuple(
        demand for demand, outcome in zip(demands, outcomes, strict=True) if outcome.needed
    ) or tuple(demands)
    parts: dict[str, list[float]] = {name: [] for name in WEIGHT_NAMES}
    suits = comfort(
        position_comfort(context, counted),
        configuration.position,
        configuration.mount,
        telescope,
        len(configuration.eyes),
    )
    uncorrected = configuration.correction == "none" and context.eye(device.leading.side).needs_correction
    cap_power = 0.0 if device.cap is None else device.cap.power_d
    by_device = {
        "low_power": low_power_worth(device.leading.magnification),
        "comfort": suits,
        "hands_free": hands(telescope, context.person),
        "two_eyes": two_eyes(context, configuration.eye, counted),
        "simplicity": simplicity(configuration, uncorrected, cap_power, weakest_unused_cap_d(counted)),
    }
    for share, demand, outcome in zip(goal_shares(context, demands, counted), demands, outcomes, strict=True):
        use = goal_use(outcome, steady) if share else 0.0
        if use == 0.0:
            continue
        for name, worth in (*_worths(context, device, demand, outcome).items(), *by_device.items()):
            parts[name].append(goal_criterion(share, use, worth))
    totals = {name: sum_over_goals(*found) for name, found in parts.items()}
    return tuple(
        ScorePart(name, totals[name], weight[name], _SENTENCES[name].format(100 * totals[name]))
        for name in WEIGHT_NAMES
    )


def _worths(context: Context, device: DeviceNumbers, demand: Demand, outcome: Outcome) -> dict[str, float]:
    """What each criterion that hangs on a goal is worth for it, 0 to 1."""
    blur = outcome.defocus_d / (outcome.tolerance_d or 1.0)
    flexible = demand.kind == "near" and demand.by_print and outcome.cap_on
    near = demand.kind == "near"
    tinted = device.filter_transmittance < 1.0
    return {
        "chance": chance_worth(outcome.probability or 0.0, good_chance(demand.reserve, outcome.cr95_logmar)),
        "field": field_degree(outcome, demand, device.leading.field.real_field_deg),
        "clear_range": clear_degree(blur, outcome.clear_from_mm, outcome.clear_to_mm, demand, flexible),
        "working_distance": min(1.0, outcome.object_distance_mm / context.person.reach_mm) if near else 1.0,
        "light": light_worth(outcome.relative_brightness or 0.0, tinted, glare_of(context.person, demand)),
    }


def field_degree(outcome: Outcome, demand: Demand, real_field_deg: float) -> float:
    """What the field is worth against the one wanted; without a wish against a wide one."""
    if demand.by_print and demand.characters and outcome.characters_in_field is not None:
        return field_worth(outcome.characters_in_field / demand.characters)
    if demand.width_mm and outcome.linear_field_mm is not None:
        return field_worth((outcome.linear_union_mm or outcome.linear_field_mm) / demand.width_mm)
    return min(1.0, real_field_deg / WIDE_FIELD_DEG)


_GLARE = {"some": 0.5, "disabling": 1.0}


def glare_of(person: Person, demand: Demand) -> float:
    """How much glare spoils this goal for this person, 0 to 1: in bright light, and disabling glare indoors by half."""
    glare = _GLARE.get(person.glare, 0.0)
    if demand.light == "bright":
        return glare
    return 0.5 * glare if demand.light == "room" and person.glare == "disabling" else 0.0


def light_worth(relative_brightness: float, tinted: bool, glare: float) -> float:
    """What the light is worth, 0 to 1: all that arrives without glare; with glare a tint is worth more than light."""
    return (1.0 - glare) * relative_brightness + (glare if tinted else 0.0)


_SENTENCES = {
    "chance": "the chance of meeting the goals against a good one, {:.0f} of 100",
    "field": "the field against twice what is wanted, {:.0f} of 100",
    "low_power": "the lower the power the better, {:.0f} of 100",
    "clear_range": "how much of the goals' distances is clear, {:.0f} of 100",
    "working_distance": "room for the hands, {:.0f} of 100",
    "light": "light that arrives, or glare that is taken away, {:.0f} of 100",
    "comfort": "position and weight, {:.0f} of 100",
    "hands_free": "hands left free, {:.0f} of 100",
    "two_eyes": "two eyes together, or else the one that leads, {:.0f} of 100",
    "simplicity": "few parts, {:.0f} of 100",
}
