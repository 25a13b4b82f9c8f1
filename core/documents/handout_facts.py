"""What the patient sheet may say of a case: its placeholders, its conditions, and the plain words for each."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

from ..acuity import Acuity, OffChart, format_acuity
from ..case import Case
from ..configuration import Configuration
from ..fitting.carrier import carrier_question
from ..fitting.cautions import all_cautions, cautions_for
from ..fitting.types import FittingSheet
from ..plan.types import EyeNumbers, Grade, Option, Outcome, Plan
from ..settings import Settings
from .everyday import day, distance, seen_without_chart, small_distance, times
from .options import chosen_option
from .template import Placeholder
from .text import clean
from .version import made_by

# A lamp lights what lies on a table or a stand (common practice); what is farther off has its own light.
LAMP_REACHES_MM = 1000.0
FAR_MM = 6000.0

_WORDS = (
    Placeholder("code", "the patient code"),
    Placeholder("date", "the day of the visit in full"),
    Placeholder("clinic", "the clinic, from the settings"),
    Placeholder("made_by", "version of the program and of its formulas"),
    Placeholder("power", "how much larger, such as 2.5 times"),
    Placeholder("eye", "your right eye, your left eye, or both eyes"),
    Placeholder("eye_distance", "from the telescope to the eye"),
    Placeholder("clear_from", "nearest clear distance without a cap, when far is clear too"),
    Placeholder("clear_span", "clear distances without a cap, when far is not clear"),
    Placeholder("cap_distance", "working distance with the cap"),
    Placeholder("cap_span", "clear distances with the cap"),
    Placeholder("nearest_focus", "nearest distance that a tube focused by hand can be set for"),
    Placeholder("first_goal", "the first goal that the device serves"),
    Placeholder("why_none", "why no device was chosen, in plain words"),
    Placeholder("next_day", "the day of the next visit in full"),
    Placeholder("next_step", "what is to be done next"),
)
_BLOCKS = (
    Placeholder("helps_with", "goals that are met", True),
    Placeholder("may_help_with", "goals that are nearly met", True),
    Placeholder("falls_short", "goals that are missed", True),
    Placeholder("not_for", "goals that it cannot serve", True),
    Placeholder("found", "what each eye sees, and what was seen through the telescope", True),
    Placeholder("today_signs", "what calls for an eye doctor on the same day", True),
)
PLACEHOLDERS = {each.name: each for each in (*_WORDS, *_BLOCKS)}
CONDITIONS = (
    "same day",
    "eye check",
    "device",
    "no device",
    "one tube",
    "two tubes",
    "other eye sees",
    "galilean",
    "keplerian",
    "bioptic",
    "full diameter",
    "low",
    "through the lens",
    "in front",
    "flip-up",
    "clip-on",
    "own glasses",
    "cap",
    "no cap",
    "focus by hand",
    "fixed focus",
    "filter",
    "close work",
    "correction on",
    "set for the eye",
    "no correction",
    "glare",
    "moving goal",
    "day set",
    "no day set",
    *(f"caution {text.key}" for text in all_cautions()),
)


@dataclass(frozen=True)
class HandoutFacts:
    """What the placeholders and conditions are read from."""

    case: Case
    plan: Plan | None
    sheet: FittingSheet | None
    settings: Settings

    @cached_property
    def option(self) -> Option | None:
        """The chosen device as the plan evaluates it."""
        return chosen_option(self.plan, self.case.visit.choice, self.settings)

    def conditions(self) -> frozenset[str]:
        """The conditions that hold."""
        choice = self.case.visit.choice
        return frozenset(self._always() | ({"no device"} if choice is None else self._device(choice)))

    def _always(self) -> set[str]:
        """What holds with or without a device."""
        holding = {"day set" if _next_day(self) else "no day set"}
        urgencies = {each.urgency for each in self.plan.referrals} if self.plan is not None else set()
        if "same day" in urgencies:
            holding.add("same day")
        elif "soon" in urgencies:
            holding.add("eye check")
        if self.case.value("test.glare") in ("some", "disabling"):
            holding.add("glare")
        return holding

    def _device(self, choice: Configuration) -> set[str]:
        """What holds for the chosen device."""
        option = self.option
        holding = {
            "device",
            choice.position,
            choice.mount,
            "two tubes" if choice.eye == "both" else "one tube",
        }
        holding.add("cap" if choice.cap else "no cap")
        by_correction = {"refocused": "set for the eye", "none": "no correction"}
        holding.add(by_correction.get(choice.correction, "correction on"))
        holding.update(f"caution {text.key}" for text in cautions_for(self.case))
        if choice.mount == "clip-on":
            holding -= {"correction on", "set for the eye", "no correction"}
            if self.plan is None or not any(
                carrier_question(self.plan.person, choice, s) for s in choice.eyes
            ):
                holding.add("own glasses")
        if choice.filter:
            holding.add("filter")
        if choice.eye != "both" and self._sees("left" if choice.eye == "right" else "right"):
            holding.add("other eye sees")
        if option is not None:
            holding.add(option.telescope.type)
            holding.add("focus by hand" if option.telescope.focusable else "fixed focus")
        if choice.cap or any(
            (goal.value("distance") or FAR_MM) <= LAMP_REACHES_MM for goal in self.case.visit.goals
        ):
            holding.add("close work")
        if any((goal.value("object_speed") or 0) > 0 for goal in self.case.visit.goals):
            holding.add("moving goal")
        return holding

    def _sees(self, side: str) -> bool:
        """Whether an eye is on record that sees more than light."""
        value = self.case.value(f"{side}.distance_acuity")
        return isinstance(value, Acuity) or (isinstance(value, OffChart) and value.category in ("CF", "HM"))

    def word(self, name: str) -> str:
        """The words for a word placeholder, "" when there is nothing to say."""
        return clean(_WORD_MAKERS[name](self))

    def block(self, name: str) -> list[str]:
        """The sentences for a block placeholder."""
        return _BLOCK_MAKERS[name](self)


def _eye(facts: HandoutFacts) -> str:
    choice = facts.case.visit.choice
    if choice is None:
        return ""
    return "both eyes" if choice.eye == "both" else f"your {choice.eye} eye"


def _power(facts: HandoutFacts) -> str:
    option = facts.option
    return "" if option is None else times(option.device.leading.magnification)


def _eye_distance(facts: HandoutFacts) -> str:
    option = facts.option
    return "" if option is None else small_distance(option.device.leading.ocular_to_cornea_mm)


def _clear_from(facts: HandoutFacts) -> str:
    """The near end where far is clear as well, of a tube that is not focused by hand."""
    eye = _fixed(facts)
    return (
        ""
        if eye is None or eye.near_limit_mm is None or eye.far_limit_mm is not None
        else distance(eye.near_limit_mm)
    )


def _clear_span(facts: HandoutFacts) -> str:
    """Both ends where far is not clear."""
    eye = _fixed(facts)
    if eye is None or eye.near_limit_mm is None or eye.far_limit_mm is None:
        return ""
    return f"{distance(eye.near_limit_mm)} to {distance(eye.far_limit_mm)}"


def _fixed(facts: HandoutFacts) -> EyeNumbers | None:
    option = facts.option
    return None if option is None or option.telescope.focusable else option.device.leading


def _nearest_focus(facts: HandoutFacts) -> str:
    option = facts.option
    if option is None or not option.telescope.focusable or option.device.leading.near_limit_mm is None:
        return ""
    return distance(option.device.leading.near_limit_mm)


def _cap_distance(facts: HandoutFacts) -> str:
    option = facts.option
    cap = None if option is None else option.device.cap
    return "" if cap is None else distance(cap.working_distance_mm)


def _cap_span(facts: HandoutFacts) -> str:
    option = facts.option
    cap = None if option is None else option.device.cap
    if cap is None or cap.clear_from_mm is None or cap.clear_to_mm is None:
        return ""
    return f"{distance(cap.clear_from_mm)} to {distance(cap.clear_to_mm)}"


def _goals(facts: HandoutFacts, grades: tuple[Grade, ...]) -> list[str]:
    """The goals of some grades as they are said, with their distance."""
    option = facts.option
    names = []
    for outcome in option.outcomes if option is not None else ():
        if outcome.needed and outcome.grade in grades and not _is_driving(facts, outcome):
            goal = facts.case.visit.goals[outcome.goal_index]
            away = goal.value("distance")
            names.append(f"{clean(outcome.goal)}, {distance(away)} away" if away else clean(outcome.goal))
    return names


def _is_driving(facts: HandoutFacts, outcome: Outcome) -> bool:
    """Whether a goal speaks of driving: the sheet tells nobody that a device helps with it or is to be tried at it."""
    return facts.plan is not None and facts.plan.demands[outcome.goal_index].at_the_wheel


def _driving_lines(facts: HandoutFacts) -> list[str]:
    outcomes = facts.option.outcomes if facts.option is not None else ()
    names = [clean(outcome.goal) for outcome in outcomes if _is_driving(facts, outcome)]
    return _goal_lines("the law where you live decides that, not this sheet. Ask us first", names)


def _first_goal(facts: HandoutFacts) -> str:
    option = facts.option
    outcomes = option.outcomes if option is not None else ()
    served = [
        o for o in outcomes if o.needed and o.grade in ("meets", "nearly") and not _is_driving(facts, o)
    ]
    return served[0].goal if served else ""


def _why_none(facts: HandoutFacts) -> str:
    both = (facts.case.value("right.distance_acuity"), facts.case.value("left.distance_acuity"))
    if both[0] is not None and all(value is None or isinstance(value, OffChart) for value in both):
        return "A telescope makes things larger. Your eyes need other help than that right now."
    return ""


def _next_day(facts: HandoutFacts) -> str:
    """A day that lies ahead; one that has come is no next visit."""
    when = facts.case.value("plan.next_date")
    return "" if when is None or when <= facts.case.visit.on else day(when)


def _found(facts: HandoutFacts) -> list[str]:
    lines = []
    for side, words in (("right", "Your right eye"), ("left", "Your left eye"), ("both", "Both eyes")):
        value = facts.case.value(f"{side}.distance_acuity")
        if isinstance(value, Acuity):
            shown = format_acuity(value, facts.settings.acuity_notation)
            lines.append(f"{words}: {shown} on the eye chart.")
        elif isinstance(value, OffChart):
            lines.append(f"{words}: {seen_without_chart(value)}.")
    through = [facts.case.value(f"trial.acuity_{side}") for side in ("right", "left", "both")]
    seen = [value for value in through if isinstance(value, Acuity)]
    if seen:
        best = min(seen, key=lambda value: value.logmar)
        shown = format_acuity(best, facts.settings.acuity_notation)
        lines.append(f"With the telescope we tried: {shown} on the eye chart.")
    return lines


_SIGNS = {
    "sudden_loss": "Your sight has dropped all at once.",
    "new_distortion": "Lines look bent to you, and that is new.",
    "flashes_or_floaters": "You see new flashes or new spots.",
    "eye_pain": "Your eye hurts.",
    "field_loss_new": "You have lost a part of your side view.",
}


def _today_signs(facts: HandoutFacts) -> list[str]:
    urgent = [each.key for each in facts.plan.referrals if each.urgency == "same day"] if facts.plan else []
    return [_SIGNS.get(key, "We found a sign that a doctor must see.") for key in urgent]


def _goal_lines(ending: str, names: list[str]) -> list[str]:
    return [f"{name[:1].upper()}{name[1:]}: {ending}." for name in names]


_WORD_MAKERS: dict[str, Callable[[HandoutFacts], object]] = {
    "code": lambda facts: facts.case.code,
    "date": lambda facts: day(facts.case.visit.on),
    "clinic": lambda facts: facts.settings.clinic,
    "made_by": lambda _: made_by(),
    "power": _power,
    "eye": _eye,
    "eye_distance": _eye_distance,
    "clear_from": _clear_from,
    "clear_span": _clear_span,
    "cap_distance": _cap_distance,
    "cap_span": _cap_span,
    "nearest_focus": _nearest_focus,
    "first_goal": _first_goal,
    "why_none": _why_none,
    "next_day": _next_day,
    "next_step": lambda facts: clean(facts.case.value("plan.next_step") or "").rstrip("."),
}
_BLOCK_MAKERS: dict[str, Callable[[HandoutFacts], list[str]]] = {
    "helps_with": lambda facts: _goal_lines("it should help with this", _goals(facts, ("meets",))),
    "may_help_with": lambda facts: _goal_lines("it may help with this", _goals(facts, ("nearly",))),
    "falls_short": lambda facts: _goal_lines(
        "it may not be strong or wide enough for this", _goals(facts, ("misses",))
    ),
    "not_for": lambda facts: (
        _goal_lines("it is not made for this", _goals(facts, ("cannot",))) + _driving_lines(facts)
    ),
    "found": _found,
    "today_signs": _today_signs,
}
