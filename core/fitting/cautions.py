"""The cautions: which apply to a chosen device, which must be given and understood, and where each stands.

Each caution has a key under which a visit records that it was given and understood. A caution given at an earlier
visit for the same telescope still stands; a changed telescope asks for all of them again.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from typing import Literal

from .. import cautions
from ..case import Case, Caution, Visit
from ..configuration import Configuration
from ..errors import EntryRefusal

CautionState = Literal["understood", "given", "not given"]


@dataclass(frozen=True, slots=True)
class CautionText:
    """A caution by name, the sentence to say to the person, and whether a record can be signed without it."""

    key: str
    title: str
    sentence: str
    mandatory: bool = True


@dataclass(frozen=True, slots=True)
class CautionStanding:
    """Where a caution stands at a visit, and on which day it was given."""

    text: CautionText
    state: CautionState
    on: date | None = None

    @property
    def answered(self) -> bool:
        """Given and understood."""
        return self.state == "understood"


_ALWAYS = (
    CautionText(
        "sun",
        "Never toward the sun",
        cautions.SUN,
    ),
    CautionText(
        "walking",
        "Not while moving",
        cautions.MOVING,
    ),
    CautionText(
        "nearer",
        "Things seem nearer, and part of the surroundings is hidden",
        "Things look nearer and move faster than they do, and a ring around the view is hidden. Expect to misreach at "
        "first, and wear it seated at first.",
    ),
    CautionText(
        "driving",
        "Driving",
        cautions.DRIVING,
    ),
    CautionText(
        "fall",
        "Lenses and falls",
        "Tubes close to the face can injure in a fall: the carrier lens must be impact resistant and hold the "
        "ordinary correction, and a strap keeps it in place.",
    ),
    CautionText(
        "same_day",
        "What needs care the same day",
        "It does not treat the eye. Sudden loss, new distortion, flashes or pain need an eye doctor the same day.",
    ),
    CautionText(
        "weight",
        "Weight on the nose",
        "Its weight can make the nose sore and let the frame slide; come back to have it adjusted, do not bend it.",
        mandatory=False,
    ),
    CautionText(
        "judgement",
        "Who decides",
        cautions.JUDGEMENT,
        mandatory=False,
    ),
)
_TWO_TUBES = CautionText(
    "double",
    "Two tubes",
    "If you see double, take it off and come back: the tubes have moved. It must not be bent or adjusted at home.",
)
_CAP = CautionText(
    "cap",
    "The cap comes off before looking far",
    "With the cap on, only one distance is clear. Take the cap off before standing up.",
)
_FALLS = CautionText(
    "falls",
    "Falls in the last year",
    cautions.FALLS,
)
_SEATED = CautionText("seated", "For sitting still", cautions.SEATED)
_FLIP = CautionText(
    "moving_parts",
    "Tube up or off before standing",
    "Turn the telescope up, or take it off, before you stand up.",
)


def cautions_for(case: Case) -> tuple[CautionText, ...]:
    """The cautions that apply to the choice of the visit worked on; none when nothing is chosen."""
    return cautions_for_visit(case.visit)


def cautions_for_visit(visit: Visit) -> tuple[CautionText, ...]:
    """The cautions that apply to the choice of one visit."""
    choice = visit.choice
    if choice is None:
        return ()
    chosen = list(_ALWAYS)
    if choice.eye == "both":
        chosen.insert(5, _TWO_TUBES)
    if choice.cap:
        chosen.insert(2, _CAP)
    if choice.mount in ("flip-up", "clip-on"):
        chosen.insert(2, _FLIP)
    elif choice.position == "full diameter":
        chosen.insert(2, _SEATED)
    if visit.value("history.falls") in ("one", "several"):
        chosen.insert(2, _FALLS)
    return tuple(chosen)


def all_cautions() -> tuple[CautionText, ...]:
    """Every caution there is, for help pages and file checks."""
    return (*_ALWAYS, _TWO_TUBES, _CAP, _FLIP, _SEATED, _FALLS)


def standing(case: Case, index: int = -1) -> tuple[CautionStanding, ...]:
    """Where each caution of a visit stands; earlier visits count while the telescope is the same."""
    visit = case.visits[index]
    relevant = [visit, *_earlier(case, index)]
    return tuple(_standing(text, relevant) for text in cautions_for_visit(visit))


def understood_earlier(case: Case) -> tuple[str, ...]:
    """Keys of the cautions that stand from visits before the one worked on, whatever that one says of them."""
    earlier = _earlier(case, -1)
    return tuple(t.key for t in cautions_for(case) if _standing(t, earlier).answered)


def _earlier(case: Case, index: int) -> list[Visit]:
    """The visits before one, latest first, at which the same telescope was chosen."""
    position = index % len(case.visits)
    choice = case.visits[position].choice
    return [visit for visit in reversed(case.visits[:position]) if _same(visit.choice, choice)]


def _same(earlier: Configuration | None, now: Configuration | None) -> bool:
    return earlier is not None and now is not None and earlier.telescope == now.telescope


def _standing(text: CautionText, visits: list[Visit]) -> CautionStanding:
    """The latest record decides: what is not understood any more has to be said again."""
    for visit in visits:
        record = visit.cautions.get(text.key)
        if record is None:
            continue
        on = record.at.date() if record.at else visit.on
        if not record.given:
            return CautionStanding(text, "not given")
        return CautionStanding(text, "understood" if record.understood else "given", on)
    return CautionStanding(text, "not given")


def with_caution(case: Case, key: str, caution: Caution) -> Case:
    """The case with one caution of the visit worked on ticked; a key that is no caution is refused by name."""
    known = {text.key for text in all_cautions()}
    if key not in known:
        raise EntryRefusal("caution", key, "one of " + ", ".join(sorted(known)), example="sun")
    ticked = {**case.visit.cautions, key: caution}
    return case.with_visit(replace(case.visit, cautions=ticked))
