"""The plan as plain data for other programs: one documented, versioned shape of numbers, words, lists and tables.

Shape, version 1 (every key is always there; null where a quantity does not apply; no NaN and no infinity):

``version``          1
``person``           ``code``, ``age_years``
``inputs``           what was typed, by field path
``assumptions``      what was assumed instead of measured, by field path: a sentence
``problems``         what is missing, in sentences
``decision``         ``word`` (proceed, trial, prefer-alternative, refuse), ``sentence``
``referrals``        list of ``key``, ``urgency``, ``sentence``
``goals``            list of the demands: ``name``, ``kind``, ``distance_mm``, ``goal_logmar``, ``goal_m_units``, ...
``needs``            list of what each goal asks: ``required_magnification``, ``required_evd_mm``, ``methods`` ...
``eye_advice``       ``choice``, ``sentence``, ``reasons``, ``rules`` (both rules of common practice)
``options_count``    how many options there are in all
``options``          the first of them, best first: ``rank``, ``configuration``, ``summary``, ``score``,
                     ``score_parts``, ``decision``, ``device`` (``eyes``, ``pair``, ``mount``, ``cap``:
                     every number with its unit in its name), ``outcomes`` (one a goal), ``reasons_for``,
                     ``reasons_against``
``coverage``         ``goals``, ``not_needed`` (places of goals reached without a telescope) and ``rows`` of
                     ``rank``, ``key``, ``grades``
``smallest_set``     ``ranks``, ``goals_by_device``, ``left``, ``sentence``
``alternatives``     one table a near goal: ``rows``, ``telescope_is_answer``, ``sentence``
``refused``          list of ``configuration``, ``code``, ``reason``, ``count`` (how many the reason takes out)
``refused_count``    how many configurations the reasons take out in all
``cautions``         list of ``key``, ``sentence``, ``mandatory``

Lengths are millimetres (``_mm``), angles degrees or minutes of arc (``_deg``, ``_arcmin``), powers dioptres (``_d``),
prisms prism dioptres (``_prism``), acuities logMAR (``_logmar``), chances fractions of 1.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import isfinite
from typing import Any

from ..records import names_of
from ..stock import StockItem
from .types import Option, Plan

VERSION = 1
OPTIONS_SHOWN = 20
REFUSED_SHOWN = 400


def plan_data(plan: Plan, options: int = OPTIONS_SHOWN) -> dict[str, Any]:
    """The plan in the shape of this module; the first ``options`` options in full, all refusals."""
    shown = plan.options[: min(options, len(plan.options))]
    return {
        "version": VERSION,
        "person": {"code": plan.person.code, "age_years": plan.person.age_years},
        "inputs": dict(plan.inputs),
        "assumptions": dict(plan.assumptions_used),
        "problems": list(plan.problems),
        "decision": plain(plan.decision),
        "referrals": plain(plan.referrals),
        "goals": plain(plan.demands),
        "needs": plain(plan.needs),
        "eye_advice": plain(plan.eye_advice),
        "options_count": len(plan.options),
        "options": [option_data(option) for option in shown],
        "coverage": {
            "goals": list(plan.coverage.goals),
            "not_needed": list(plan.coverage.not_needed),
            "rows": [
                {"rank": row.rank, "key": row.configuration.key, "grades": list(row.grades)}
                for row in plan.coverage.rows[: len(shown)]
            ],
        },
        "smallest_set": plain(plan.smallest_set),
        "alternatives": plain(plan.alternatives),
        "refused": [plain(item) for item in plan.refused[: min(REFUSED_SHOWN, len(plan.refused))]],
        "refused_count": sum(item.count for item in plan.refused),
        "cautions": plain(plan.cautions),
    }


def option_data(option: Option) -> dict[str, Any]:
    """One option with every computed quantity; stock entries by their ids."""
    found = {name: plain(part) for name, part in zip(option._fields, option, strict=True)}
    found["key"] = option.configuration.key
    return found


def plain(value: Any) -> Any:
    """A result as numbers, words, lists and tables; a number that is not finite would be a fault and becomes null."""
    if value is None or isinstance(value, bool | str | int):
        return value
    if isinstance(value, float):
        return value if isfinite(value) else None
    if isinstance(value, StockItem):
        return value.id
    names = names_of(value)
    if names is not None:
        return {name: plain(getattr(value, name)) for name in names}
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, Sequence):
        return [plain(item) for item in value]
    return str(value)
