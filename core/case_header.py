"""What the case list and the look back need of a case file: a few words and numbers, without building the case.

Used by the index, which reads thousands of files in the background: one TOML parse a file and no more.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from .case_file import CODE, CODE_HELP
from .errors import FileRefusal, Refusal
from .fields import by_path
from .look_back import figures_of
from .store.toml import parse_toml

_OUTCOME = {"yes": "goal met", "partly": "goal partly met", "no": "goal not met"}


def case_header(text: str) -> dict[str, Any]:
    """The header of a case in its TOML text. Raises FileRefusal when the text is no case file at all."""
    data = parse_toml(Path("case"), text)
    visits = data.get("visit")
    visits = [visits] if isinstance(visits, Mapping) else visits
    code = data.get("code")
    if not isinstance(code, str) or not CODE.fullmatch(code):
        raise FileRefusal("case", f"{CODE_HELP} is needed", key="code")
    if not isinstance(visits, list) or not visits or not all(isinstance(each, Mapping) for each in visits):
        raise FileRefusal("case", "at least one [[visit]] is needed", key="visit")
    last = visits[-1]
    outcomes = [outcome for visit in visits for outcome in _outcomes(visit)]
    return {
        "code": code,
        "birth_year": _whole(_value(last, "person.birth_year")),
        "last_visit": last.get("date", ""),
        "kind": last.get("kind", "examination"),
        "goals": [_text(goal, "task") or _text(goal, "detail") for goal in _goals(last)],
        "device": _device(last),
        "next_step": _value(last, "plan.next_step"),
        "next_date": _value(last, "plan.next_date"),
        "signed": "signature" in last,
        "outcomes": outcomes,
        "figures": figures_of(outcomes),
    }


def _outcomes(visit: Mapping[str, Any]) -> Iterator[dict[str, Any]]:
    """One outcome a visit with a choice: promised and measured acuity, whether the goal was met, what became of it."""
    choice = visit.get("choice")
    if not isinstance(choice, Mapping):
        return
    promised = choice.get("promised")
    promised = promised if isinstance(promised, Mapping) else {}
    eye = _text(choice, "eye")
    goals = _goals(visit)
    became = _value(visit, "follow_up.device")
    measured, repeat = _measured(visit, eye)
    met = _OUTCOME.get(_value(visit, "follow_up.task_met"), "")
    yield {
        "visit_date": visit.get("date", ""),
        "eye": eye,
        "goal": _text(promised, "goal") or (_text(goals[0], "task") if goals else ""),
        "goal_kind": _text(promised, "goal_kind"),
        "device": _text(choice, "telescope"),
        "promised_logmar": promised.get("logmar"),
        "measured_logmar": measured,
        "repeat_logmar": repeat,
        "outcome": "; ".join(filter(None, (became, met))),
        "reason": _value(visit, "follow_up.reason"),
        "signed": "signature" in visit,
    }


def _measured(visit: Mapping[str, Any], eye: str) -> tuple[float | None, float | None]:
    """Acuity through the device with the chosen eye or eyes, logMAR, and its repeat at the same visit if there is one.

    What was measured after delivery comes before what was found at the trial. None: not measured, or off the chart.
    """
    steps = visit.get("step", [])
    steps = [steps] if isinstance(steps, Mapping) else steps if isinstance(steps, list) else []
    delivered = [
        _text(step, "measured")
        for step in steps
        if isinstance(step, Mapping) and step.get("key") == f"performance.acuity.{eye}"
    ]
    typed = [*delivered, _value(visit, f"trial.acuity_{eye}")]
    found = [logmar for text in typed if (logmar := _logmar(text)) is not None]
    return (found[0] if found else None), (found[1] if len(found) > 1 else None)


def _logmar(typed: str) -> float | None:
    if not typed:
        return None
    field = by_path()["trial.acuity_both"]
    try:
        return getattr(field.kind.read(typed, field.label), "logmar", None)
    except Refusal:
        return None


def _goals(visit: Mapping[str, Any]) -> list[Mapping[str, Any]]:
    goals = visit.get("goal", [])
    goals = [goals] if isinstance(goals, Mapping) else goals
    return [goal for goal in goals if isinstance(goal, Mapping)] if isinstance(goals, list) else []


def _device(visit: Mapping[str, Any]) -> str:
    choice = visit.get("choice")
    if not isinstance(choice, Mapping):
        return ""
    return " ".join(
        part for part in (_text(choice, "telescope"), _text(choice, "eye"), _text(choice, "cap")) if part
    )


def _value(visit: Mapping[str, Any], path: str) -> str:
    table, _, key = path.partition(".")
    inside = visit.get(table)
    return _text(inside, key) if isinstance(inside, Mapping) else ""


def _text(table: Mapping[str, Any], key: str) -> str:
    value = table.get(key, "")
    return "" if value is None or isinstance(value, dict | list) else str(value)


def _whole(text: str) -> int | None:
    return int(text) if text.isdecimal() and len(text) == 4 else None
