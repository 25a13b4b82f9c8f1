"""Handing over: what the person must show, what is said and given, and the call that follows."""

from __future__ import annotations

from ..entry import Choice, Day, YesNo, show_length
from .cautions import cautions_for_visit, understood_earlier
from .context import Fit, mm
from .pair import spread_limits_mm
from .types import Answers, Recorded, Step, Ticks
from .verdict import CALL_KEY

SHOWN = Choice(("alone", "with help", "not yet"))
_SHOWN = Answers(("alone",), ("with help",))
_YES = Answers((True,))


def teach_steps(fit: Fit) -> list[Step]:
    """What is practised and said before the device goes home."""
    steps = [_practice("teach.on", "Puts it on and takes it off", _on(fit), "by the frame, not by the tubes")]
    if fit.choice.mount == "flip-up":
        steps.append(
            _practice(
                "teach.flip",
                "Flips it up and down",
                "Ten times up and down with one hand, eyes ahead; up before standing.",
                "a tube left down while walking hides the way",
            )
        )
    if fit.choice.position == "bioptic":
        steps.append(
            _practice(
                "teach.drop",
                "Into the tube and out again",
                "Look under the tube, drop the chin, read, lift the chin: ten times, on different targets.",
                "two seconds in, at once out",
            )
        )
    if fit.telescope.focusable:
        steps.append(
            _practice(
                "teach.focus",
                "Focuses by hand",
                "Far, 3 m, nearest; says which way is near.",
                "sharp within seconds",
            )
        )
    if fit.cap is not None:
        steps.append(
            _practice(
                "teach.cap",
                "Cap on and off",
                f"Put the cap on, find {show_length(1000 / fit.cap.power_d)}, take it off before looking up.",
                "with the cap on only one distance is clear",
            )
        )
    if fit.two and not fit.keplerian and fit.telescope.spread_highest_mm > 0:
        most = min(spread_limits_mm(fit).values())
        steps.append(
            _practice(
                "teach.spread",
                "Sets the last of the spread",
                "Outwards until a far target doubles or dims, then back until it is single and "
                f"bright; not over {mm(most)} "
                "each. Then it is locked.",
                "the wearer sees better than anyone where it doubles",
            )
        )
    return [*steps, _instructions(), _care(), _call(), _cautions(fit)]


def _on(fit: Fit) -> str:
    if fit.choice.mount == "clip-on":
        return "Clip it on without touching the lenses, tilt it at its hinge until the view is round, take it off."
    return "On and off three times, both hands on the frame, strap closed."


def _practice(key: str, title: str, do: str, rule: str) -> Step:
    return Step(
        key,
        "teach",
        title,
        do,
        "alone",
        "Show once, then only watch.",
        SHOWN,
        _SHOWN,
        rule=rule,
        source="PCO04",
        remedy="practise again today, and put it into the training plan",
    )


def _cautions(fit: Fit) -> Step:
    names = [text.title.lower() for text in cautions_for_visit(fit.case.visit) if text.mandatory]
    return Step(
        "teach.cautions",
        "teach",
        "Cautions given and understood",
        "Say each in plain words and let the person say it back: " + "; ".join(names) + ".",
        "all given and understood",
        "Tick each by name; the record cannot be signed while one is open.",
        YesNo(),
        Ticks(understood_earlier(fit.case)),
        rule="local law and the licensed practitioner decide about driving",
        remedy="say it again, in writing too",
    )


def _instructions() -> Step:
    return Step(
        "teach.instructions",
        "teach",
        "Written instructions given",
        "Hand over the sheet: tasks it is for, how to use it, distances, which glasses with it, light, first practice.",
        "yes",
        "In a size that the person reads; read the first lines together.",
        YesNo(),
        _YES,
        source="ABDO-LV",
        remedy="print it larger, or record it",
    )


def _care() -> Step:
    return Step(
        "teach.care",
        "teach",
        "Care and cleaning",
        "Blow dust off, wipe with a clean cloth, no solvents, back in its case; no bending, ever.",
        "yes, shown",
        "Let the person clean one lens.",
        YesNo(),
        _YES,
        source="COLLEGE-LV",
        remedy="show it again at the call",
    )


def _call() -> Step:
    return Step(
        CALL_KEY,
        "teach",
        "Call at two weeks",
        "Agree on a day, about two weeks on, and write it down.",
        "a date",
        "Ask then: worn how often, for what, what troubles. It is planned as the next visit while no other day is.",
        Day(),
        Recorded(),
        rule="follow-up at two weeks, six weeks, six months, common practice",
    )
