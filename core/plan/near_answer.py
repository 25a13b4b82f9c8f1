"""What the table of near devices comes to for a goal: whether a telescope is the answer, in a sentence."""

from __future__ import annotations

from collections.abc import Sequence
from math import inf
from typing import NamedTuple

from ..goals import Demand
from ..person import Person
from .asked import hands_reach
from .formulas import field_ratio
from .types import Alternative, AlternativeTable, Option
from .verdict import NEAR_ENOUGH_LOG, percent

BARE = "spectacles off, page held near"
LARGER_TYPE = "larger type on the screen"
# What costs so much is named where a telescope of enough power fails.
SPOILS_LOGMAR = 0.05


class Ask(NamedTuple):
    """What a print goal wants of any device: power, D, by whom, and whether an add or a magnifier serves it better."""

    demand: Demand
    power_d: float
    person: Person
    otherwise: bool

    def in_reach(self, row: Alternative) -> bool:
        """Whether these hands work where this device needs the page."""
        return row.working_distance_mm is None or hands_reach(self.person, row.working_distance_mm)


def spoilt_words(option: Option | None, demand: Demand) -> str:
    """Why a telescope of enough power does not serve the goal all the same, "" when it does."""
    outcome = None if option is None else option.outcomes[demand.index]
    if outcome is None or outcome.grade not in ("misses", "cannot"):
        return ""
    if outcome.grade == "cannot":
        return outcome.sentence
    lost = [loss.sentence for loss in outcome.losses if loss.logmar >= SPOILS_LOGMAR]
    why = f": {'; '.join(lost)}" if lost else ""
    return (
        f"{demand.name}: by its power the telescope reaches it, but the chance is {percent(outcome.probability or 0.0)}"
        f"{why}. More light and contrast first, or a screen."
    )


def out_of_contrast(demand: Demand, rows: list[Alternative]) -> AlternativeTable:
    """Print fainter than the threshold at any size: only a screen can raise its contrast."""
    kept = [
        row
        if row.kind in ("electronic", "non-optical")
        else row._replace(reaches=False, sentence="It magnifies, but the contrast stays below the threshold.")
        for row in rows
    ]
    kept.sort(key=lambda row: row.reaches is False)
    words = (
        f"{demand.name}: print of this contrast is below the threshold at any size, so no lens and no telescope serves "
        "it: a screen that raises the contrast, more light, bolder print, or listening."
    )
    return AlternativeTable(demand.index, demand.name, tuple(kept), False, None, words)


def answered(
    ask: Ask,
    rows: list[Alternative],
    telescope: Alternative | None,
    without: str = "no telescope of this stock serves it",
    free: str = "",
    spoilt: str = "",
) -> AlternativeTable:
    """The table with its answer.

    ``without`` says why no telescope is in it, ``free`` why none is needed, ``spoilt`` why one of enough power fails.
    """
    demand = ask.demand
    unaided = [row for row in rows if row.kind == "non-optical" and row.reaches and ask.in_reach(row)]
    bare = next((row for row in unaided if not (row.name == BARE and demand.hands_free)), None)
    if bare is not None:
        how = "the eye's own myopia does it, with the spectacles off and the page held near"
        if bare.name != BARE:
            how = "the eye's own accommodation does it with the page held near"
        words = f"{demand.name}: {how}; no device is needed."
        return AlternativeTable(demand.index, demand.name, tuple(rows), False, None, words)
    others = [
        row
        for row in rows
        if row.kind not in ("telescope", "non-optical") and row.reaches and ask.in_reach(row)
    ]
    widest = max(others, key=lambda row: row.characters or 0.0, default=None)
    ratio = None
    if telescope is not None and widest is not None and telescope.linear_field_mm and widest.linear_field_mm:
        ratio = field_ratio(widest.linear_field_mm, telescope.linear_field_mm)
    if free:
        return AlternativeTable(demand.index, demand.name, tuple(rows), False, ratio, free)
    answer, words = _verdict(ask, rows, telescope, widest, ratio, without)
    if spoilt and telescope is not None and telescope.reaches:
        answer, words = False, spoilt
    return AlternativeTable(demand.index, demand.name, tuple(rows), answer, ratio, words)


def _verdict(
    ask: Ask,
    rows: Sequence[Alternative],
    telescope: Alternative | None,
    widest: Alternative | None,
    ratio: float | None,
    without: str,
) -> tuple[bool, str]:
    demand, reach = ask.demand, ""
    larger = next((row for row in rows if row.name == LARGER_TYPE and row.reaches), None)
    if "face.reach" not in ask.person.assumed:
        reach = f" where the hands work ({ask.person.reach_mm:g} mm and farther)"
    if telescope is None:
        return False, f"{demand.name}: {without}; the other ways are listed."
    add_works_mm = 1000.0 / ask.power_d
    bound = not hands_reach(ask.person, add_works_mm)
    enough_mm = add_works_mm * 10.0**NEAR_ENOUGH_LOG
    if not telescope.reaches and not (bound and (telescope.evd_mm or inf) <= enough_mm):
        if widest is None:
            return (
                False,
                f"{demand.name}: nothing here reaches {ask.power_d:.1f} D{reach}; electronic magnification or audio.",
            )
        return (
            False,
            f"{demand.name}: a telescope is the wrong answer here: it falls short of {ask.power_d:.1f} D, and "
            f"{widest.name} reaches it{reach} with {widest.characters or 0:.0f} characters in view.",
        )
    room = f"{telescope.working_distance_mm or 0:.0f} mm"
    if larger is not None:
        return (
            False,
            f"{demand.name}: t{larger.sentence[1:]} A telescope only where the type cannot be made larger.",
        )
    if ask.otherwise:
        name = "an add or a magnifier of the same power" if widest is None else widest.name
        more = "reaches it as well" if widest is not None else "shows more at once"
        if ratio is not None and ratio >= 1.05:
            more = f"shows {ratio:.1f} times as much"
        return (
            False,
            f"{demand.name}: {name} {more}; the telescope is the answer only when its working distance of "
            f"{room} is the point.",
        )
    gives = f"{demand.name}: the working distance of {room} is what the telescope gives"
    if bound:
        return (
            True,
            f"{gives}; an add of the power wanted works at {add_works_mm:.0f} mm, nearer than the "
            f"{ask.person.reach_mm:g} mm at which the hands work.",
        )
    return True, f"{gives}; an add or a magnifier of the same power must be held nearer."
