"""The rows of the computation pane: the plan's numbers and sentences, laid out under headings.

The key of a row says which number it is: ``goal:0:probability``, ``device:0:transmittance``,
``need:0:required_evd_mm``.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Sequence
from typing import Any

from ...core.documents.goal_words import asked_words, assumed_once, near_figures, need_figures
from ...core.documents.numbers import Shown, device_numbers, outcome_numbers
from ...core.errors import AfocalError
from ...core.formula import Formula
from ...core.goals import Demand, speaks_of_driving
from ...core.plan.types import AlternativeTable, Need, Option, Outcome
from ...core.plan.verdict import percent_brief
from ..signs import current_signs
from ..view import View
from ..widgets.sheet import SheetRow, heading_row, text_row, value_row

_BRIEF_GRADES = {"meets": "yes", "nearly": "near", "misses": "miss", "cannot": "no", "at rest": "rest"}


def device_words(option: Option, *, brief: bool = False) -> str:
    """An option in a few words for a list: power, eye, position, cap, correction; brief without what its name tells."""
    choice, telescope = option.configuration, option.telescope
    eyes = choice.eye if choice.eye != "both" else "both eyes"
    words = [f"{telescope.magnification:g}x"]
    if brief:
        words += [choice.eye, choice.position.removesuffix(" diameter")]
    else:
        words += ["Keplerian" if telescope.type == "keplerian" else "Galilean", eyes, choice.position]
    if choice.mount != "through the lens":
        words.append(choice.mount)
    if option.cap is not None:
        words.append(f"cap {option.cap.power_d:+.2f}")
    if option.filter is not None:
        words.append(option.filter.id)
    if choice.correction not in ("carrier", "none"):
        words.append("refocused" if choice.correction == "refocused" else f"Rx at {choice.correction}")
    if choice.focus == "hyperfocal":
        words.append("hyperfocal")
    if choice.spread_mm:
        words.append(f"spread {choice.spread_mm:g}")
    return f"{' '.join(words)} ({telescope.id})"


def grade_words(outcome: Outcome, *, brief: bool = False) -> str:
    """The grade with its sign, and the chance; a goal that needs no telescope has neither.

    Brief it takes seven cells at most: sign and chance, or sign and a short word where there is no chance. Of a goal
    about driving it tells only that its detail is seen at rest, which is something to try.
    """
    signs = current_signs()
    if not outcome.needed:
        return "no need" if brief else "not needed"
    is_at_rest = outcome.grade == "meets" and speaks_of_driving(outcome.goal)
    grade = "at rest" if is_at_rest else outcome.grade
    sign = {"ok": signs.ok, "check": signs.check}.get(grade_role(outcome), signs.no)
    chance = "" if outcome.probability is None else f" {percent_brief(outcome.probability)}"
    if brief:
        return sign + (chance or f" {_BRIEF_GRADES[grade]}")
    return f"{sign} {grade}{chance}"


def grade_role(outcome: Outcome) -> str:
    """How a grade looks: ok, check or no; plain where no telescope is needed."""
    if not outcome.needed:
        return "plain"
    if outcome.grade == "meets":
        return "check" if speaks_of_driving(outcome.goal) else "ok"
    return "check" if outcome.grade == "nearly" else "no"


def promise_of(option: Option, demands: Sequence[Demand]) -> dict[str, Any]:
    """What the option promises for the goal that it is for: kept with the choice, so that it can be looked back on."""
    first = option.served
    if first is None:
        return {}
    promised: dict[str, Any] = {"goal": first.goal, "goal_kind": demands[first.goal_index].kind}
    if first.predicted_logmar_with_losses is not None:
        promised["logmar"] = round(first.predicted_logmar_with_losses, 4)
    if first.print_read_m_units is not None:
        promised["m_units"] = round(first.print_read_m_units, 4)
    if first.probability is not None:
        promised["probability"] = round(first.probability, 4)
    return promised


def option_rows(view: View, option: Option, what_changes: Sequence[SheetRow] = ()) -> list[SheetRow]:
    """One option in full; ``what_changes`` are the rows of what would change the answer."""
    rows = [heading_row(f"Option {option.rank}: {device_words(option)}")]
    rows.append(text_row(f"{option.decision.word.upper()}: {option.decision.sentence}", "strong"))
    rows += [text_row(f"for: {reason}") for reason in option.reasons_for]
    rows += [text_row(f"against: {reason}", "check") for reason in option.reasons_against]
    for outcome in option.outcomes:
        rows.append(heading_row(f"For goal {outcome.goal_index + 1}: {outcome.goal}"))
        rows.append(text_row(f"{grade_words(outcome)}: {outcome.sentence}", "strong"))
        rows += _numbers(outcome_numbers(option, outcome, view.settings), f"goal:{outcome.goal_index}")
        rows += [
            value_row(
                f"loss, {loss.name}",
                f"{loss.logmar:.2f}",
                "log",
                loss.sentence,
                key=f"goal:{outcome.goal_index}:losses.{number}.logmar",
            )
            for number, loss in enumerate(outcome.losses)
        ]
    rows.append(heading_row("The device on this face"))
    rows += _numbers(device_numbers(option), "device:0")
    rows.append(heading_row("Why it stands here"))
    rows += [
        value_row(
            part.criterion.replace("_", " "),
            f"{part.points:.2f}",
            "",
            f"of {part.weight:g}: {part.sentence}",
            key=f"device:0:score_parts.{number}.value",
        )
        for number, part in enumerate(option.score_parts)
    ]
    rows.append(heading_row("What would change the answer"))
    rows += what_changes
    return rows


def _numbers(numbers: list[Shown], prefix: str) -> Iterator[SheetRow]:
    for shown in numbers:
        note = f"({shown.criterion})" if shown.criterion else ""
        yield value_row(shown.label, shown.words, "", note, key=f"{prefix}:{shown.asked}")


def plan_rows(view: View) -> Iterator[SheetRow]:
    """What holds for all options: decision, needs, one eye or two, other near devices, refusals, assumptions."""
    plan = view.plan
    assert plan is not None
    yield heading_row("The advice")
    for referral in plan.referrals:
        yield text_row(f"Refer ({referral.urgency}): {referral.sentence}", "error")
    yield text_row(f"{plan.decision.word.upper()}: {plan.decision.sentence}", "strong")
    for problem in plan.problems:
        yield text_row(problem, "check")
    yield text_row(plan.smallest_set.sentence)
    for need, demand in zip(plan.needs, plan.demands, strict=True):
        about = f"need:{need.goal_index}"
        yield heading_row(f"Needed for goal {need.goal_index + 1}: {need.goal}")
        yield text_row(need.sentence, "strong", key=_need_key(need))
        asked = asked_words(demand, view.settings)
        if asked:
            yield text_row(asked)
        for number, method in enumerate(need.methods):
            key = f"{about}:methods.{number}.value"
            yield value_row(method.name, f"{method.value:.4g}", method.unit, method.sentence, key=key)
        for label, figure, meaning, quantity in need_figures(need, demand):
            yield value_row(label, figure, "", meaning, key=f"{about}:{quantity}")
        for problem in need.problems:
            yield text_row(problem, "check")
    yield from _eye_rows(view)
    for table in plan.alternatives:
        yield heading_row(f"Other near devices for goal {table.goal_index + 1}: {table.goal}")
        yield text_row(table.sentence, "strong")
        yield from _near_rows(table)
    yield heading_row("Cautions")
    for caution in plan.cautions:
        yield text_row(caution.sentence)
    yield from _refused_rows(view)
    yield heading_row("Leaned on, not measured")
    for eyes, words in assumed_once(plan):
        yield text_row(f"{words} ({eyes})" if eyes else words)


def _near_rows(table: AlternativeTable) -> Iterator[SheetRow]:
    """The other near devices on equal terms, each with its figures; F6 tells how its equivalent distance came about."""
    others = 0
    for row in table.rows:
        figures = near_figures(row)
        if not figures:
            yield text_row(f"{row.name}: {row.sentence}")
            continue
        key = ""
        if row.kind != "telescope":
            key = f"need:{table.goal_index}:near.{others}.evd_mm"
            others += 1
        yield value_row(row.name, figures, "", row.sentence, key=key)


def _need_key(need: Need) -> str:
    """The number that a need tells, "" where something is missing and none is told."""
    for quantity in ("required_magnification", "required_evd_mm"):
        if getattr(need, quantity) is not None:
            return f"need:{need.goal_index}:{quantity}"
    return ""


def _eye_rows(view: View) -> Iterator[SheetRow]:
    advice = view.plan.eye_advice  # type: ignore[union-attr]
    yield heading_row("One eye or two")
    yield text_row(advice.sentence, "strong")
    for reason in advice.reasons:
        yield text_row(reason)
    for rule in advice.rules:
        yield text_row(f"{rule.name}: says {rule.says}", "label")
        for words in rule.speaks_for:
            yield text_row(f"for it: {words}", indent=2)
        for words in rule.speaks_against:
            yield text_row(f"against it: {words}", indent=2)


def _refused_rows(view: View) -> Iterator[SheetRow]:
    """Each reason once with how many configurations it keeps out, and the first of them in words."""
    refused = view.plan.refused  # type: ignore[union-attr]
    if not len(refused):
        return
    yield heading_row("Cannot be used, and why")
    counts = Counter((each.code, each.reason, each.configuration.telescope) for each in refused)
    for (code, reason, telescope), count in counts.most_common():
        more = f" ({count} ways of using it)" if count > 1 else ""
        yield text_row(f"{telescope}: {code}. {reason}{more}")


def explained(title: str, formula: Formula | None) -> tuple[str, str]:
    """Title and text of the help for a number: what its formula is, its domain and source, in plain words."""
    from ...core.sources import SOURCES

    if formula is None:
        return title, "F6 shows how it came about."
    if formula.name == "as_recorded":
        return title, "This value was typed or set, not computed."
    text = [
        _plain_words(formula.function.__doc__ or ""), f"Formula: {formula.symbols}", f"Holds: {formula.domain}"
    ]  # fmt: skip
    if formula.unit:
        text.append(f"Unit: {formula.unit}")
    source = SOURCES.get(formula.source, formula.source) or formula.kind
    return title, "\n".join([*text, f"Source: {source}", "F6 shows it with its numbers."])


def formula_behind(view: View, option: Option, key: str) -> Formula | None:
    """The formula that made the number of a row for this option: more than one can make most of them."""
    from ...core.plan.workings import explain

    kind, _, rest = key.partition(":")
    number, _, quantity = rest.partition(":")
    if kind not in ("goal", "device", "need"):
        return None
    try:
        working = explain(
            view.case, view.stock, view.settings, option.configuration, int(number or 0), quantity
        )
    except AfocalError:
        return None
    return working.steps[-1].formula if working.steps else None


def _plain_words(described: str) -> str:
    """The first sentence of a formula's description, without the marks and names that are for programmers."""
    paragraph = " ".join(described.strip().partition("\n\n")[0].split())
    paragraph = re.sub(r"[;,] arguments? as (in )?:\w+:`[^`]*`", "", paragraph)
    paragraph = re.sub(r":\w+:`~?([^`]*)`|``([^`]*)``", _name_in_words, paragraph)
    return re.split(r"(?<=[.:]) (?=[A-Z])", paragraph, maxsplit=1)[0]


def _name_in_words(found: re.Match[str]) -> str:
    return (found.group(1) or found.group(2) or "").rpartition(".")[2].replace("_", " ")
