"""What a goal asks and what a near device gives, each in one line with its figures, for the screen and the page."""

from __future__ import annotations

from ..goals import Demand
from ..plan.types import Alternative, Need, Plan
from ..plan.verdict import CHARACTERS_SHARE, WIDTH_SHARE
from ..settings import Settings
from .findings import goal_key_words, logmar_words
from .shown import length, span
from .text import number

_DURATIONS = {"moments": "for moments", "minutes": "for minutes", "long": "for long"}


def asked_words(demand: Demand, settings: Settings) -> str:
    """What a goal asks, with what of it was not given and where that is from; "" while something is missing."""
    if demand.problems:
        return ""
    parts = [_distance(demand), _detail(demand, settings), f"contrast {number(demand.contrast, 2)}"]
    if demand.width_mm:
        parts.append(f"{length(demand.width_mm)} wide")
    if demand.by_print and demand.characters:
        parts.append(f"{number(demand.characters, 0)} characters in view")
    parts.append(f"{demand.light} light")
    parts.append(f"{demand.posture}, {_DURATIONS[demand.duration]}")
    if demand.hands_free:
        parts.append("hands free")
    if demand.eyes != "either":
        parts.append(f"{demand.eyes} eye{'s' if demand.eyes == 'two' else ''} wanted")
    if demand.object_speed_deg_s:
        parts.append(f"moving at {demand.object_speed_deg_s:g} deg/s")
    words = f"Asked: {'; '.join(part for part in parts if part)}."
    return f"{words} {taken}" if (taken := _taken(demand)) else words


def _distance(demand: Demand) -> str:
    words = f"at {length(demand.distance_mm)}"
    if demand.farthest_mm > demand.nearest_mm * 1.001:
        words += f", {span(demand.nearest_mm, demand.farthest_mm)}"
    return words


def _detail(demand: Demand, settings: Settings) -> str:
    reserve = f" with a reserve of {demand.reserve:g}" if demand.reserve > 1.0 else ""
    if demand.by_print and demand.goal_m_units is not None:
        return f"print of {number(demand.goal_m_units, 2)}M{reserve}"
    if demand.goal_logmar is None:
        return ""
    wanted = logmar_words(demand.goal_logmar, settings)
    if demand.detail_mm is not None:
        return f"letters of {length(demand.detail_mm)}{reserve}, {wanted}"
    return f"{wanted}{reserve}"


def _taken(demand: Demand) -> str:
    """Which figures the goal did not give, by where they were taken from."""
    by_source: dict[str, list[str]] = {}
    for key, source in demand.assumed.items():
        by_source.setdefault(source, []).append(goal_key_words(key))
    return " ".join(f"{', '.join(keys).capitalize()}: {source}." for source, keys in by_source.items())


def need_figures(need: Need, demand: Demand) -> list[tuple[str, str, str, str]]:
    """The reserves and the field that a goal wants: label, figure, what it means, and the name of the quantity."""
    found = []
    if need.contrast_reserve is not None:
        found.append(
            (
                "Contrast reserve",
                f"{number(need.contrast_reserve, 1)} to 1",
                need.contrast_sentence,
                "contrast_reserve",
            )
        )
    if need.field_wanted_deg is not None and demand.width_mm:
        found.append(
            (
                "Field wanted",
                f"{number(need.field_wanted_deg, 1)} deg",
                f"{length(demand.width_mm)} wide, at {length(demand.distance_mm)}; {100 * WIDTH_SHARE:.0f} % of it at "
                "once is enough to call the goal met",
                "field_wanted_deg",
            )
        )
    if need.characters_wanted is not None:
        found.append(
            (
                "Characters wanted",
                number(need.characters_wanted, 0),
                f"{100 * CHARACTERS_SHARE:.0f} % of them at once is enough to call the goal met",
                "characters_wanted",
            )
        )
    return found


def near_figures(row: Alternative) -> str:
    """A near device on equal terms: does it reach, its power, room for the hands, what is seen at once, how deep."""
    if row.evd_mm is None or row.equivalent_power_d is None:
        return ""
    parts = [
        "reaches it" if row.reaches else "does not reach it",
        f"{number(row.evd_mm, 0)} mm equivalent ({number(row.equivalent_power_d, 1)} D)",
    ]
    if row.working_distance_mm is not None:
        parts.append(f"page at {number(row.working_distance_mm, 0)} mm")
    if row.characters is not None and row.linear_field_mm is not None:
        parts.append(f"{number(row.characters, 0)} characters ({number(row.linear_field_mm, 0)} mm) in view")
    if row.depth_near_mm is not None and row.depth_far_mm is not None:
        parts.append(
            f"clear {number(row.depth_near_mm, 0)} mm nearer to {number(row.depth_far_mm, 0)} mm farther"
        )
    parts.append("hands free" if row.hands_free else "takes a hand")
    return "; ".join(parts)


def assumed_once(plan: Plan) -> list[tuple[str, str]]:
    """What was assumed, each sentence once, with the eye or eyes that it was assumed for ("" for both or neither)."""
    where: dict[str, list[str]] = {}
    for path, words in plan.assumptions_used.items():
        where.setdefault(words, []).append(path.partition(".")[0])
    found = []
    for words, tables in where.items():
        eyes = [table for table in dict.fromkeys(tables) if table in ("right", "left")]
        found.append((f"{' and '.join(eyes)} eye{'s' if len(eyes) > 1 else ''}" if eyes else "", words))
    return found
