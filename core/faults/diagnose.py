"""From findings to ranked causes: probabilities, ties, the check to do next, and plain sentences.

The probability of a cause is its share among the causes that the findings at hand can show; those that nothing
measured could show are named apart. Ties are causes whose predictions of everything measured differ by less
than a measurement tells.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import exp, log

from ..configuration import Configuration
from ..person import Person
from ..settings import Settings
from .beliefs import Answer, Belief, Spread, divergence, log_likelihood, told_apart
from .measures import measure_of, show_value, words_of
from .model import SYMPTOM, Hypothesis, Model, Weighed, model_of
from .state import Ordered
from .symptoms import ROWS
from .types import Cause, Diagnosis, Eye, Findings, Predicted

# Causes whose predictions differ by less than this, in nats over everything measured, are tied: the odds between them
# move by less than a third.
TIE_NATS = 0.3
# A cause remains possible down to one in twenty, or a tenth of the first.
REMAINS = 0.05
REMAINS_OF_FIRST = 0.1
# A check is worth naming when it picks the right one of two causes this often.
CHECK_LEAST = 0.62
# Findings that move the odds by this much, in nats, have told two causes apart already.
TOLD_APART_NATS = 3.0
MOST_PREDICTED = 7
UNEXPLAINED_SIZE = 3.0
# What was promised and falls short by more than repeats is a shortfall of its own: plus where larger is worse.
REPEATS_SIZE = 1.96
_SHORT = {"acuity": 1.0, "print": 1.0, "speed": -1.0}
UNEXPLAINED_CHANCE = 0.04


def diagnose(option: Ordered, person: Person, findings: Findings, settings: Settings) -> Diagnosis:
    """The ranked causes of what was found with an option on a person. Whatever is missing plays no part.

    RangeRefusal for a number that is not finite, EntryRefusal for an answer or a complaint that is not known.
    """
    model = model_of(option, person, settings, findings.chart_distance_mm)
    return diagnose_with(model, findings, option.configuration)


def diagnose_with(model: Model, findings: Findings, configuration: Configuration) -> Diagnosis:
    """The same with a model at hand, as when many findings are tried on one device."""
    found = model.evidence(findings)
    weighed = model.weigh(found)
    shown = [item for item in weighed if item.tested]
    untested = tuple(_titled(item.hypothesis) for item in weighed if not item.tested)
    most = max(item.log_evidence for item in shown)
    total = sum(exp(item.log_evidence - most) for item in shown)
    chances = [exp(item.log_evidence - most) / total for item in shown]
    groups = _ties(model, shown, chances, found) if found else []
    remaining = [
        item for item, chance in zip(shown, chances, strict=True)
        if chance >= REMAINS or chance >= REMAINS_OF_FIRST * chances[0]
    ]  # fmt: skip
    causes = tuple(
        _cause(model, place, item, chance, shown, remaining, groups, found)
        for place, (item, chance) in enumerate(zip(shown, chances, strict=True))
    )
    unexplained = _unexplained(model, shown[0], found)
    besides = _besides(model, shown[0], unexplained, found)
    unexplained_words = tuple(unexplained.values())
    next_check = causes[0].check
    return Diagnosis(
        configuration=configuration,
        causes=causes,
        ties=tuple(tuple(item.hypothesis.name for item in group) for group in groups if len(group) > 1),
        remaining=tuple(cause.title for cause in causes[: len(remaining)]),
        next_check=next_check,
        sentence=_sentence(causes, remaining, unexplained_words, besides, found),
        used=tuple(_shown(key, value) for key, value in found.items() if not key.startswith(SYMPTOM)),
        unexplained=unexplained_words,
        untested=untested,
        besides=besides,
    )


def _titled(hypothesis: Hypothesis) -> str:
    return _title(hypothesis.fault.title, hypothesis.eye)


def _title(title: str, eye: Eye) -> str:
    return f"{title}, {eye} eye" if eye else title


def _apart(
    model: Model, first: Weighed, second: Weighed, keys: Sequence[str] | Mapping[str, object]
) -> float:
    """Nats by which two causes differ over the keys: the first at its best size, the second at whichever of the sizes
    that explain the findings nearly as well comes nearest to it.
    """
    return min(_apart_at(model, first, second, place, keys) for place in second.near)


def _apart_at(
    model: Model, first: Weighed, second: Weighed, place: int, keys: Sequence[str] | Mapping[str, object]
) -> float:
    total = 0.0
    for key in keys:
        one = model.belief(first.hypothesis, first.best, key)
        two = model.belief(second.hypothesis, place, key)
        if one is not None and two is not None:
            total += divergence(one, two)
    return total


def _beliefs(model: Model, first: Weighed, second: Weighed, key: str) -> tuple[Belief | None, Belief | None]:
    return (
        model.belief(first.hypothesis, first.best, key),
        model.belief(second.hypothesis, second.best, key),
    )


def _ties(
    model: Model, shown: list[Weighed], chances: list[float], found: Mapping[str, float | str]
) -> list[list[Weighed]]:
    """Groups of causes that the findings cannot tell apart; each is led by its likeliest."""
    groups: list[list[Weighed]] = []
    for item, chance in zip(shown, chances, strict=True):
        if chance < 0.005:
            continue
        for group in groups:
            if _apart(model, group[0], item, found) < TIE_NATS:
                group.append(item)
                break
        else:
            groups.append([item])
    return groups


def _cause(
    model: Model,
    place: int,
    item: Weighed,
    chance: float,
    shown: list[Weighed],
    remaining: list[Weighed],
    groups: list[list[Weighed]],
    found: Mapping[str, float | str],
) -> Cause:
    hypothesis, fault = item.hypothesis, item.hypothesis.fault
    size = hypothesis.sizes[item.best]
    low, high = item.range
    rival = shown[1 if place == 0 else 0] if len(shown) > 1 else None
    title = _titled(hypothesis)
    tied = next((group for group in groups if item in group), [item])
    size_words = _size_words(model, item, low, high)
    words = f"{title}: {size_words}" if fault.unit else title
    check, check_key = _check(model, item, rival, found)
    return Cause(
        fault=fault.key,
        eye=hypothesis.eye,
        title=title,
        probability=chance,
        size=size if fault.unit else 0.0,
        unit=fault.unit,
        size_low=low,
        size_high=high,
        size_words=size_words,
        predicts=_predicted(model, item, found),
        check=check,
        check_key=check_key,
        remedy=fault.remedy,
        also_possible=tuple(_titled(other.hypothesis) for other in remaining if other is not item),
        tied_with=tuple(_titled(other.hypothesis) for other in tied if other is not item),
        sentence=f"{words[:1].upper()}{words[1:]}. {_chance_words(chance)}",
    )


def _size_words(model: Model, item: Weighed, low: float, high: float) -> str:
    fault = item.hypothesis.fault
    size = item.hypothesis.sizes[item.best]
    either_way = any(item.hypothesis.sizes[place] * size < 0.0 for place in item.near)
    # A way that nothing shows is not named.
    words = f"about {abs(size):.3g} {fault.unit}" if either_way else fault.words(size)
    if low != high and fault.unit:
        shown = sorted((low, high), key=abs)
        words += f" ({abs(shown[0]):g} to {abs(shown[1]):g} {fault.unit} explain it nearly as well)"
    if either_way:
        words += "; which way cannot be said from what was measured"
    if fault.key == "focus" and not model.state.by_hand:
        six = model.state.lead.magnification**2 / 6.0
        if 0.6 * six <= size <= 1.5 * six:
            words += f"; setting it on a chart at 6 m instead of far away leaves about {six:+.2f} D"
    if fault.key == "sphere" and item.hypothesis.eye:
        wanted = model.state.tube(item.hypothesis.eye).ametropia_d
        if abs(wanted) >= 0.5 and abs(size - wanted) <= 0.25 + 0.15 * abs(wanted):
            words += "; that is about the whole refraction: is the correction in at all?"
    return words


def _chance_words(chance: float) -> str:
    return f"{100 * chance:.0f} % among what the findings can show." if chance >= 0.005 else "Under 1 %."


def _predicted(model: Model, item: Weighed, found: Mapping[str, float | str]) -> tuple[Predicted, ...]:
    """What this cause lets expect: first where it differs from the promise, measured or not; then what was
    measured.
    """
    changed = item.hypothesis.changed[item.best]
    rated = []
    for key, belief in changed.items():
        apart = divergence(model.base[key], belief) if key in model.base else 0.0
        if apart > 0.1 or key in found:
            rated.append((key not in found, -apart, key))
    rows = [_prediction(model, key, changed[key], found) for _, _, key in sorted(rated)[:MOST_PREDICTED]]
    for key in found:
        if len(rows) < MOST_PREDICTED and key not in changed and key in model.base:
            rows.append(_prediction(model, key, model.base[key], found))
    return tuple(rows)


def _prediction(model: Model, key: str, belief: Belief, found: Mapping[str, float | str]) -> Predicted:
    expected, promised = _expected(key, belief), _expected(key, model.base[key])
    measured = show_value(key, found[key]) if key in found else ""
    what = words_of(key)
    sentence = f"{what}: {expected}"
    if promised != expected:
        sentence += f" (without a fault {promised})"
    sentence += f"; measured {measured}" if measured else "; not measured"
    return Predicted(key, what, expected, promised, measured, sentence)


def _expected(key: str, belief: Belief) -> str:
    return belief.likeliest if isinstance(belief, Answer) else show_value(key, belief.mean)


def _check(
    model: Model, first: Weighed, second: Weighed | None, found: Mapping[str, float | str]
) -> tuple[str, str]:
    """The check, not done yet, that tells a cause from its strongest rival, with what each would show; and its key."""
    if second is None:
        return "", ""
    best, best_key = 0.0, ""
    for key in model.base:
        if key in found:
            continue
        one, two = _beliefs(model, first, second, key)
        if one is None or two is None:
            continue
        worth = told_apart(one, two)
        if worth >= CHECK_LEAST and worth - 0.03 * measure_of(key).effort > best:
            best, best_key = worth - 0.03 * measure_of(key).effort, key
    if not best_key and _apart(model, first, second, found) > TOLD_APART_NATS:
        return "Nothing more is needed to tell these two apart; put it right and measure again.", ""
    names = f"{_titled(first.hypothesis)} and {_titled(second.hypothesis)}"
    if not best_key:
        asked = _asked(first, second, found)
        if asked:
            return asked, ""
        return (
            f"No check of this sheet tells {names} apart: try the simpler remedy first and measure again.",
            "",
        )
    one, two = _beliefs(model, first, second, best_key)
    assert one is not None and two is not None
    what, side = measure_of(best_key).check, best_key.partition(".")[2]
    which = f" ({side} eye)" if side in ("right", "left") else ""
    words = (
        f"{what}{which} {_cap(_titled(first.hypothesis))} would show {_expected(best_key, one)}, "
        f"{_titled(second.hypothesis)} {_expected(best_key, two)}."
    )
    return words, best_key


def _cap(text: str) -> str:
    return text[:1].upper() + text[1:]


def _asked(first: Weighed, second: Weighed, found: Mapping[str, float | str]) -> str:
    """A complaint to ask for, where no measurement helps."""
    for one, two in ((first, second), (second, first)):
        for row in ROWS.values():
            here, there = one.hypothesis.fault.key, two.hypothesis.fault.key
            if SYMPTOM + row.key not in found and here in row.causes and there not in row.causes:
                return f"Ask for {row.title}: it speaks for {_titled(one.hypothesis)}. {row.check}"
    return ""


def _unexplained(model: Model, first: Weighed, found: Mapping[str, float | str]) -> dict[str, str]:
    """Findings that even the first cause does not explain, by key, in words."""
    left = {}
    for key, value in found.items():
        belief = model.belief(first.hypothesis, first.best, key)
        if belief is None or key.startswith(SYMPTOM):
            continue
        if not _explains(belief, value) or _falls_short(key, belief, value):
            left[key] = f"{_shown(key, value)} (it would be {_expected(key, belief)})"
    return left


def _falls_short(key: str, belief: Belief, value: float | str) -> bool:
    """Whether a promise is missed by more than repeats, as the sheet says it, even with the cause counted in."""
    way = _SHORT.get(key.partition(".")[0])
    if way is None or not isinstance(belief, Spread):
        return False
    means = (belief.mean, belief.other) if belief.other_share else (belief.mean,)
    return all(way * (float(value) - mean) > REPEATS_SIZE * belief.sd for mean in means)


def _explains(belief: Belief, value: float | str) -> bool:
    if isinstance(belief, Answer):
        return log_likelihood(belief, value) >= log(UNEXPLAINED_CHANCE)
    off = abs(float(value) - belief.mean) / belief.sd
    if belief.other_share:
        off = min(off, abs(float(value) - belief.other) / belief.sd)
    return off <= UNEXPLAINED_SIZE


def _besides(
    model: Model, first: Weighed, unexplained: Mapping[str, str], found: Mapping[str, float | str]
) -> Cause | None:
    """The cause that what the first one leaves unexplained points to by itself: there may be two faults."""
    rest = {key: found[key] for key in unexplained}
    if not rest:
        return None
    weighed = [item for item in model.weigh(rest) if item.tested and item.hypothesis is not first.hypothesis]
    if not weighed or weighed[0].hypothesis.fault.key == "nothing":
        return None
    item = weighed[0]
    beliefs = [(model.belief(item.hypothesis, item.best, key), value) for key, value in rest.items()]
    if not any(belief is not None and _explains(belief, value) for belief, value in beliefs):
        return None
    most = item.log_evidence
    total = sum(exp(other.log_evidence - most) for other in weighed)
    chances = [exp(other.log_evidence - most) / total for other in weighed]
    remaining = [other for other, chance in zip(weighed, chances, strict=True) if chance >= REMAINS]
    groups = _ties(model, weighed, chances, rest)
    return _cause(model, 0, item, chances[0], weighed, remaining, groups, found)


def _shown(key: str, value: float | str) -> str:
    return f"{words_of(key)} {show_value(key, value)}"


def _sentence(
    causes: tuple[Cause, ...],
    remaining: list[Weighed],
    unexplained: tuple[str, ...],
    besides: Cause | None,
    found: Mapping[str, float | str],
) -> str:
    if not found:
        return "Nothing is measured yet: there is nothing to explain."
    first = causes[0]
    head = f"Most likely: {first.title}"
    if first.unit:
        head += f", {first.size_words}"
    head += f" ({100 * first.probability:.0f} %)."
    if first.tied_with:
        head += f" What was measured cannot tell it from: {'; '.join(first.tied_with)}."
    others = [title for title in first.also_possible if title not in first.tied_with]
    if others:
        head += f" Still possible: {'; '.join(others)}."
    elif len(remaining) == 1 and first.fault != "nothing":
        head += " Nothing else that these findings can show comes near it."
    if unexplained:
        head += f" It does not explain: {'; '.join(unexplained)}."
        head += " There may be more than one fault, or a slip in a measurement."
    if besides is not None:
        head += f" By itself that points to: {besides.title}"
        head += f", {besides.size_words}." if besides.unit else "."
        if besides.tied_with:
            head += f" It cannot be told from: {'; '.join(besides.tied_with)}."
    return head
