"""The plan as plain text for the command line: advice, needs, the best options with reasons, what cannot be used."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from ..plan.types import Option, Plan
from ..settings import Settings
from .goal_words import asked_words, assumed_once, near_figures, need_figures
from .numbers import choice_words, device_numbers, outcome_numbers
from .options import leading_ranks
from .text import clean, fill, in_letters


def plan_page(plan: Plan, settings: Settings, most: int | None = 5) -> str:
    """At most 72 columns; ``most`` options, None for all of them.

    Of each telescope, eye and position only the best way is among the ``most``: four mounts of one tube are one choice.
    """
    lines: list[str] = []
    for paragraph in _paragraphs(plan, settings, most):
        indent = " " * (len(paragraph) - len(paragraph.lstrip(" ")))
        lines += fill(clean(paragraph), first=indent, rest=f"{indent}  ") if paragraph else [""]
    return in_letters("\n".join(lines) + "\n", settings.letters)


def _paragraphs(plan: Plan, settings: Settings, most: int | None) -> Iterator[str]:
    for referral in plan.referrals:
        yield f"REFER ({referral.urgency}): {referral.sentence}"
    yield f"{plan.decision.word.upper()}: {plan.decision.sentence}"
    yield from plan.problems
    for need, demand in zip(plan.needs, plan.demands, strict=True):
        yield f"Goal {need.goal_index + 1}, needed for {need.sentence}"
        asked = asked_words(demand, settings)
        if asked:
            yield f"  {asked}"
        for method in need.methods:
            yield f"  {method.name}: {method.value:.4g} {method.unit}. {method.sentence}"
        for label, figure, meaning, _ in need_figures(need, demand):
            yield f"  {label}: {figure}. {meaning}"
    yield f"One eye or two: {plan.eye_advice.sentence}"
    for rule in plan.eye_advice.rules:
        yield f"  {rule.name}: says {rule.says}"
        for words in rule.speaks_for:
            yield f"     for it: {words}"
        for words in rule.speaks_against:
            yield f"     against it: {words}"
    yield plan.smallest_set.sentence
    ranks = range(len(plan.options)) if most is None else leading_ranks(plan, most)
    for rank in ranks:
        yield ""
        yield from _option(plan.options[rank], settings, in_full=most is not None and rank == 0)
    if len(ranks) < len(plan.options):
        yield ""
        yield f"{len(plan.options) - len(ranks)} more options, other ways of using these among them: --all lists them."
    for table in plan.alternatives:
        yield ""
        yield f"Other near devices for {table.sentence}"
        for row in table.rows:
            figures = near_figures(row)
            yield f"  {row.name}: {figures}. {row.sentence}" if figures else f"  {row.name}: {row.sentence}"
    yield ""
    yield from _refused(plan)
    yield from _assumed(plan)
    for caution in plan.cautions:
        yield f"Caution: {caution.sentence}"


def _option(option: Option, settings: Settings, *, in_full: bool) -> Iterator[str]:
    yield f"{option.rank}. {choice_words(option)}"
    for outcome in option.outcomes:
        yield f"   {outcome.sentence}"
    told = {outcome.sentence for outcome in option.outcomes}
    for reason in (each for each in option.reasons_for if each not in told):
        yield f"   for: {reason}"
    for reason in option.reasons_against:
        yield f"   against: {reason}"
    if in_full:
        for outcome in option.outcomes:
            for shown in outcome_numbers(option, outcome, settings):
                item = shown.item()
                yield f"   {outcome.goal}: {item.label}: {item.text}"
        for shown in device_numbers(option):
            item = shown.item()
            yield f"   {item.label}: {item.text}"


def _refused(plan: Plan) -> Iterator[str]:
    """Each reason once, with the telescopes that it shuts out; the one that shuts out most first."""
    shut: dict[tuple[str, str], Counter[str]] = {}
    for each in plan.refused:
        shut.setdefault((each.code, each.reason), Counter())[each.configuration.telescope] += 1
    for (code, reason), ways in sorted(shut.items(), key=lambda found: -found[1].total()):
        more = f" ({ways.total()} ways)" if ways.total() > len(ways) else ""
        yield f"Cannot: {', '.join(ways)}: {code}. {reason}{more}"


def _assumed(plan: Plan) -> Iterator[str]:
    for eyes, words in assumed_once(plan):
        yield f"Assumed, {eyes}: {words}" if eyes else f"Assumed: {words}"
