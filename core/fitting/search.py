"""What to measure only when something falls short: each of these parts two causes that look alike.

None of them is counted as open. What is found goes into the search for causes like everything else.
"""

from __future__ import annotations

from collections.abc import Iterator

from .. import ranges as r
from ..entry import AcuityKind, Choice, Length, Number, show_length
from ..ranges import Range
from .context import Fit, deg, mm, number, signed
from .performance import CONFRONTATION_MM, field_targets_deg, shown_acuity
from .types import Accept, Answers, Interval, Recorded, Repeats, Side, Step
from .vergence import near_vergence

_HALF_FIELD = Range("field to one side", "deg", 0, 60, 1, 25, "6")
_VERTICAL = Range("vertical prism", "prism D", -20, 20, -3, 3, "0.5")
# Strong plain caps on parallel tubes ask for far more than is usual elsewhere; the step's own limits judge it.
_HORIZONTAL = Range("horizontal prism", "prism D", -400, 400, -60, 400, "4")
_SIZES = Range("difference in size of the two pictures", "%", 0, 60, 0, 15, "4")
_CYLINDER = Range("cylinder", "D", 0, 10, 0, 4, "1")
# Dissociated eyes at a page repeat sideways so many times worse than at a far light (common practice).
NEAR_HORIZONTAL_TIMES = 2.5
# Common practice: 6 m and more is called far; from 3 m on it is worth a look.
FAR_MM = 6000.0
NOT_SO_FAR_MM = 3000.0
# Common practice: a page may be held a fifth nearer or farther than the clear distance before it counts.
HELD_WITHIN = 0.2
WAYS: tuple[tuple[str, str], ...] = (
    ("right", "to the right"), ("left", "to the left"), ("up", "upwards"), ("down", "downwards"),
)  # fmt: skip


def search_steps(fit: Fit) -> list[Step]:
    """The measurements that tell causes apart, in the order in which they are quick to do."""
    steps = [_answer(*each) for each in _questions(fit)]
    steps += [_naked(fit, side) for side in fit.sides]
    steps += [_cylinder(side) for side in fit.sides]
    steps.append(_far_end())
    steps += [_to_side(fit, key, words) for key, words in WAYS]
    if fit.device.cap is not None:
        steps.append(_held(fit.device.cap.working_distance_mm))
    if fit.two:
        steps += [*_own_deviation(), _sizes(), *_near_prisms(fit)]
    return steps


def _questions(fit: Fit) -> Iterator[tuple[str, str, str, str, Choice, Answers, str]]:
    """Answers in one word: key, title, what to do, what is wanted, the words, the verdict, the remedy."""
    yield (
        "more_light",
        "Twice the light",
        "Double the light on the task: does it help?",
        "no change",
        Choice(("helps", "no change")),
        Answers(("no change",), ("helps",)),
        "a lamp on the task, from the side of the better eye",
    )
    yield (
        "words",
        "Words against letters",
        "Words and single letters of one size: are the words read as well as the letters?",
        "as letters",
        Choice(("as letters", "worse than letters")),
        Answers(("as letters",), ("worse than letters",)),
        "larger print or more power first; then characters in view against the scotoma",
    )
    yield (
        "home",
        "At home against the clinic",
        "Ask, or try the task at its own distance, posture and light: does it go as well as here?",
        "as in the clinic",
        Choice(("as in the clinic", "worse at home")),
        Answers(("as in the clinic",), ("worse at home",)),
        "light, distance and posture at home, then training",
    )
    if fit.telescope.focusable:
        yield (
            "refocus",
            "Refocused by hand",
            "Turn the focus by hand on the target: does it become clearer?",
            "no change",
            Choice(("helps", "no change")),
            Answers(("no change",), ("helps",)),
            "set the focus, mark it, practise it",
        )


def _answer(key: str, title: str, do: str, target: str, kind: Choice, accept: Answers, remedy: str) -> Step:
    return _step(key, title, do, target, "Ask before telling.", kind, accept, remedy=remedy)


def _step(
    key: str,
    title: str,
    do: str,
    target: str,
    how: str,
    kind: object,
    accept: Accept,
    target_value: float | None = None,
    unit: str = "",
    tolerance: str = "",
    rule: str = "common practice",
    eye: Side = "",
    remedy: str = "",
) -> Step:
    return Step(
        f"search.{key}", "search", title, do, target, how, kind, accept, target_value, unit,  # type: ignore[arg-type]
        tolerance, rule, eye, remedy=remedy, optional=True,
    )  # fmt: skip


def _naked(fit: Fit, side: Side) -> Step:
    known = fit.eye(side).logmar
    repeats = fit.assume("cr95_logmar")
    return _step(
        "naked",
        "Acuity without it, again",
        "Device off, best correction, the same chart, light and distance: letter by letter.",
        "record it" if known is None else shown_acuity(fit, known),
        "The other eye covered. A change of the eye itself is no fault of the device.",
        AcuityKind(),
        Recorded() if known is None else Repeats(known, repeats, "acuity"),
        known,
        "logMAR",
        "" if known is None else f"within {number(repeats, 2)} log of the examination",
        "95 % of repeats of one acuity lie within it",
        side,
        "look for a cause that needs care before the device is changed",
    )


def _cylinder(side: Side) -> Step:
    return _step(
        "cylinder",
        "Cylinder behind ocular",
        "A far target through it: crossed cylinder, or a slit turned round, behind the ocular. Type its size.",
        "0 D",
        "Size without sign; its axis goes into a note.",
        Number(_CYLINDER, 2),
        Interval(0.0, 0.5, None, 1.0),
        0.0,
        "D",
        "up to 0.50 D",
        "common practice",
        side,
        "put the cylinder into the carrier at its axis",
    )


def _far_end() -> Step:
    return _step(
        "far_end",
        "Farthest clear distance",
        "Cap off, focus untouched: look along a corridor or out of a window. Where does it stop to be clear? Clear "
        "as far as one sees: type 100 m.",
        "as far as one sees",
        "Tape for what is near, paces for what is far.",
        Length(r.DISTANCE, "m"),
        Interval(FAR_MM, None, NOT_SO_FAR_MM, None),
        None,
        "mm",
        f"{show_length(FAR_MM)} or more",
        "common practice",
        "",
        "cap left on, a tube too long, or myopia left uncorrected",
    )


def _to_side(fit: Fit, key: str, words: str) -> Step:
    target, low, _ = field_targets_deg(fit)
    half, least = target / 2.0, low / 2.0
    if key in ("up", "down"):
        # Two tubes stand side by side: they widen the field sideways only.
        alone = fit.device.leading.field
        half = alone.real_field_deg / 2.0
        least = (alone.real_field_full_deg or 0.9 * alone.real_field_deg) / 2.0
    return _step(
        f"field_{key}",
        f"Field {words}",
        f"Gaze held in the middle at {show_length(CONFRONTATION_MM)}: move a pencil in {_from(key)} until it is seen.",
        deg(half),
        "The person's own right and left. A field that reaches farther to one side shows which way a tube stands off.",
        Number(_HALF_FIELD, 1),
        Interval(0.75 * least, None, 0.5 * least, None),
        half,
        "deg",
        f"{deg(0.75 * least)} or more",
        "common practice",
        "",
        "move the tube towards the side that is short; a turned tube is turned back",
    )


def _from(key: str) -> str:
    return {"up": "from above", "down": "from below"}.get(key, f"from the {key}")


def _held(working_mm: float) -> Step:
    low, high = (1 - HELD_WITHIN) * working_mm, (1 + HELD_WITHIN) * working_mm
    return _step(
        "used_distance",
        "Where the page is held",
        "Give a page, say nothing, let it be read as at home: measure where it is held.",
        show_length(working_mm),
        "Rule or string from the cap to the page.",
        Length(r.WORKING_DISTANCE, "cm"),
        Interval(low, high, 0.5 * low, 2 * high),
        working_mm,
        "mm",
        f"{show_length(low)} to {show_length(high)}",
        "common practice",
        "",
        "fix the distance by a string or a stand; from too near outwards",
    )


def _own_deviation() -> list[Step]:
    """The person's own deviation at a far light, so that it is not laid at the door of the tubes."""
    rows = (
        ("own_vertical", "Own deviation, up and down", _VERTICAL, "base down before the right eye counts plus"),
        ("own_horizontal", "Own deviation, sideways", _HORIZONTAL, "joined by base-in counts plus, by base-out minus"),
    )  # fmt: skip
    return [
        _step(
            key,
            title,
            "Device off, a far light, red glass before one eye: the prism that brings red onto white.",
            "record it",
            f"{words[:1].upper()}{words[1:]}. The step on the face holds only what the device adds to it.",
            Number(limits, 2, signed=True),
            Recorded(),
            None,
            "prism D",
            remedy="prism for the person, or one tube",
        )
        for key, title, limits, words in rows
    ]


def _sizes() -> Step:
    return _step(
        "sizes",
        "Sizes of the two pictures",
        "One letter seen double through a prism: how much larger is one picture than the other, in percent?",
        "0 %: both alike",
        "Estimate against the height of the letter; 0 when alike.",
        Number(_SIZES, 0),
        Interval(0.0, 3.0, None, 5.0),
        None,
        "%",
        "up to 3 %",
        "common practice",
        "",
        "powers of both tubes, then unequal corrections",
    )


def _near_prisms(fit: Fit) -> list[Step]:
    """Prisms through the capped pair at the page: heights and unequal caps show upright, reversed caps sideways."""
    asked = near_vergence(fit)
    if asked is None:
        return []
    vertical, wanted = fit.vertical.prism, asked.remaining_prism
    off = NEAR_HORIZONTAL_TIMES * fit.assume("horizontal_prism_repeat_prism")
    working = show_length(fit.device.cap.working_distance_mm) if fit.device.cap else ""
    do = (
        f"Caps on, a fine light at {working}, red glass before one eye: the prism that brings red onto white."
    )
    return [
        _step(
            "near_vertical",
            "Prism at near, up and down",
            do,
            "0 prism D",
            "Base down before the right eye counts plus.",
            Number(_VERTICAL, 2, signed=True),
            Interval(None, vertical, None, fit.vertical.outer or 2 * vertical, signless=True),
            0.0,
            "prism D",
            f"up to {number(vertical, 2)} prism D",
            fit.vertical.rule,
            "",
            "tubes and caps at one height, caps of one power",
        ),
        _step(
            "near_horizontal",
            "Prism at near, sideways",
            do,
            f"{signed(wanted)} prism D, what parallel tubes with these caps ask",
            "Joined by base-in (the eyes must converge) counts plus, by base-out minus.",
            Number(_HORIZONTAL, 1, signed=True),
            Interval(wanted - off, wanted + off, wanted - 2 * off, wanted + 2 * off),
            wanted,
            "prism D",
            f"within {number(off)} prism D",
            f"page distance and caps as ordered; centres {mm(fit.person.pd.total_mm)} apart and the spread",
            "",
            "which way round the caps stand, their power, the spread, the distance of the page",
        ),
    ]
