"""A look back over the clinic's own cases: promised against measured, what served, what came back and why.

Works from plain rows (one a goal and visit, keys as in the outcome columns of the case list's index); no case file is
opened. One person, device and eye count once, with the latest measurement, so that frequent visitors do not weigh
more. From too few nothing is concluded: the counts are shown and the sentence says how many are missing.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from operator import itemgetter
from statistics import NormalDist
from typing import Any

from .assumptions import ASSUMPTIONS

# Below these a figure would look firmer than it is. With 10 pairs the bias is known to about 0.7 standard
# deviations, with 20 repeats their spread to about a third; a share of fewer than 5 is not a share.
LEAST_PAIRS = 10
LEAST_REPEATS = 20
LEAST_IN_GROUP = 5
# The same acuity through the same device at two visits counts as a repeat when no more days lie between (three months).
MOST_DAYS_BETWEEN_REPEATS = 92

KEPT, CHANGED, RETURNED = "kept", "changed", "returned"
MET, PARTLY, NOT_MET = "goal met", "goal partly met", "goal not met"
OUTCOME_WORDS = (KEPT, CHANGED, RETURNED, MET, PARTLY, NOT_MET)

_NORMAL = NormalDist()


@dataclass(frozen=True, slots=True)
class TooFew:
    """Not enough to conclude from: how many there are, how many it takes, of what."""

    have: int
    need: int
    what: str

    def __str__(self) -> str:
        return f"too few to say: {self.have} {self.what}; at least {self.need} are needed"


@dataclass(frozen=True, slots=True)
class Estimate:
    """A number with its 95 % interval."""

    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class PromiseKept:
    """Measured minus promised acuity in logMAR; plus is worse than promised. Spread is the standard deviation."""

    pairs: int
    bias_logmar: Estimate
    spread_logmar: Estimate
    lowest_expected_logmar: Estimate
    highest_expected_logmar: Estimate
    beyond_repeats: int


@dataclass(frozen=True, slots=True)
class Success:
    """How many of a group were served, with the share and its interval when there are enough."""

    name: str
    served: int
    total: int
    share: Estimate | TooFew


@dataclass(frozen=True, slots=True)
class Repeatability:
    """The clinic's own coefficient of repeatability (95 % of repeats lie within it), logMAR."""

    pairs: int
    cr95_logmar: Estimate


@dataclass(frozen=True, slots=True)
class LookBack:
    """Everything the look back has to say. ``first`` and ``last`` are the dates of the visits, "" when unknown."""

    rows: int
    people: int
    first: str
    last: str
    promise: PromiseKept | TooFew
    overall: Success
    by_goal: tuple[Success, ...]
    by_device: tuple[Success, ...]
    returned: int
    reasons: tuple[tuple[str, int], ...]
    repeatability: Repeatability | TooFew
    cr95_in_use_logmar: float


# What is read from a row, in this order; the names are those of the index.
FIELDS = (
    "name",
    "visit_date",
    "eye",
    "goal",
    "device",
    "promised_logmar",
    "measured_logmar",
    "repeat_logmar",
    "outcome",
    "reason",
)
Record = tuple[Any, str, str, str, str, float | None, float | None, float | None, str, str]


def look_back(rows: Iterable[Mapping[str, Any]], *, cr95_logmar: float | None = None) -> LookBack:
    """The look back over outcome rows. ``cr95_logmar`` is the repeatability in force (default: the assumed one).

    Keys read are FIELDS. Missing or unusable values leave the row out of what would need them; nothing raises.
    Repeats are ``repeat_logmar`` beside ``measured_logmar``, and two visits within three months.
    """
    return look_back_records(
        (_record(row, number) for number, row in enumerate(rows)), cr95_logmar=cr95_logmar
    )


def look_back_records(records: Iterable[Record], *, cr95_logmar: float | None = None) -> LookBack:
    """The same from tuples in the order of FIELDS, as a query of the index gives them: no dictionary is built.

    Texts must be texts and numbers floats or None, as the index's columns keep them.
    """
    in_use = ASSUMPTIONS["cr95_logmar"].default if cr95_logmar is None else cr95_logmar
    # In order of date, so that what stands last in a dictionary is the latest.
    rows = sorted(records, key=itemgetter(1))
    days = [row[1] for row in rows if row[1]]
    pairs = {
        (who, device, eye): measured - promised
        for who, _, eye, _, device, promised, measured, _, _, _ in rows
        if promised is not None
        and measured is not None
        and -1.0 <= promised <= 3.0
        and -1.0 <= measured <= 3.0
    }
    outcomes = {
        (who, goal, device): (outcome, reason)
        for who, _, _, goal, device, _, _, _, outcome, reason in rows
        if outcome
    }
    counts = Counter((goal, device, outcome) for (_, goal, device), (outcome, _) in outcomes.items())
    judged = [
        (goal, device, ok, count)
        for (goal, device, outcome), count in counts.items()
        if (ok := served(words_of(outcome))) is not None
    ]
    returned = _returned(rows)
    return LookBack(
        rows=len(rows),
        people=len({row[0] for row in rows}),
        first=days[0] if days else "",
        last=days[-1] if days else "",
        promise=_promise(list(pairs.values()), in_use),
        overall=_overall(judged),
        by_goal=_groups((goal, ok, count) for goal, _, ok, count in judged),
        by_device=_groups((device, ok, count) for _, device, ok, count in judged),
        returned=len(returned),
        reasons=tuple(Counter(returned.values()).most_common()),
        repeatability=_repeatability(_repeats(rows)),
        cr95_in_use_logmar=in_use,
    )


def _record(row: Mapping[str, Any], number: int) -> Record:
    """A row as a tuple; a row without name or code counts as a person of its own."""
    get = row.get
    name = get("name") or get("code")
    return (
        name if isinstance(name, str) and name else number,
        _text(get("visit_date")),
        _text(get("eye")),
        _text(get("goal")),
        _text(get("device")),
        _finite(get("promised_logmar")),
        _finite(get("measured_logmar")),
        _finite(get("repeat_logmar")),
        _text(get("outcome")),
        _text(get("reason")),
    )


def _text(value: Any) -> str:
    return value if isinstance(value, str) else "" if value is None else str(value)


def _returned(rows: list[Record]) -> dict[tuple[Any, str], str]:
    """Why each device came back that was not taken again later, by person and device."""
    known: dict[str, bool] = {}
    found: dict[tuple[Any, str], str] = {}
    for row in rows:
        outcome = row[8]
        if not outcome:
            continue
        back = known.get(outcome)
        if back is None:
            back = known[outcome] = RETURNED in words_of(outcome)
        if back:
            found[(row[0], row[4])] = " ".join(row[9].split()).casefold() or "no reason given"
        elif found:
            found.pop((row[0], row[4]), None)
    return found


def _repeats(rows: list[Record]) -> list[tuple[float, float]]:
    """Acuities measured twice: at one visit, or with the same device at two visits close together, each used once."""
    found = [
        (row[6], row[7])
        for row in rows
        if row[7] is not None and row[6] is not None and -1.0 <= row[7] <= 3.0
    ]
    earlier: dict[tuple[Any, str, str], tuple[str, float]] = {}
    for who, when, eye, _, device, _, measured, _, _, _ in rows:
        if measured is None or not when or not -1.0 <= measured <= 3.0:
            continue
        key = (who, device, eye)
        before = earlier.get(key)
        if before is not None and before[0] < when:
            if _days_between(before[0], when) <= MOST_DAYS_BETWEEN_REPEATS:
                found.append((before[1], measured))
                del earlier[key]
                continue
        elif before is not None:
            continue
        earlier[key] = (when, measured)
    return found


def _days_between(first: str, second: str) -> float:
    try:
        return (date.fromisoformat(second[:10]) - date.fromisoformat(first[:10])).days
    except ValueError:
        return math.inf


def words_of(outcome: object) -> frozenset[str]:
    """The outcome words in a cell such as ``kept; goal met``."""
    return _words_in(outcome) if isinstance(outcome, str) and outcome else frozenset()


@lru_cache(256)
def _words_in(outcome: str) -> frozenset[str]:
    return frozenset(piece.strip() for piece in outcome.casefold().split(";")) & set(OUTCOME_WORDS)


def served(words: frozenset[str]) -> bool | None:
    """Whether the person was served: the device not given back and the goal met; None when the words do not say.

    A goal only partly met counts as not served; where nobody asked about the goal, a device that was kept counts.
    """
    if RETURNED in words:
        return False
    if words & {MET, PARTLY, NOT_MET}:
        return MET in words
    return True if KEPT in words else None


def setting_offered(result: LookBack) -> tuple[str, float] | None:
    """The clinic's own repeatability as (name, value) of a setting, rounded to 0.01; None when not to be offered."""
    if isinstance(result.repeatability, TooFew):
        return None
    value = round(result.repeatability.cr95_logmar.value, 2)
    known = ASSUMPTIONS["cr95_logmar"]
    return ("cr95_logmar", value) if known.lowest <= value <= known.highest else None


def _finite(value: Any) -> float | None:
    if value is None or value.__class__ not in (float, int) or not -1.0 <= value <= 3.0:
        return None
    return float(value)


def _promise(differences: list[float], in_use: float) -> PromiseKept | TooFew:
    n = len(differences)
    if n < LEAST_PAIRS:
        return TooFew(n, LEAST_PAIRS, "pairs of promised and measured acuity")
    mean = math.fsum(differences) / n
    sd = math.sqrt(math.fsum((d - mean) ** 2 for d in differences) / (n - 1))
    t = t_quantile(0.975, n - 1)
    half_bias = t * sd / math.sqrt(n)
    # The ends of the expected range are themselves uncertain, by about sqrt(3/n) standard deviations.
    half_end = t * sd * math.sqrt(3 / n)
    ends = (mean - 1.96 * sd, mean + 1.96 * sd)
    return PromiseKept(
        n,
        Estimate(mean, mean - half_bias, mean + half_bias),
        _spread(sd, n - 1),
        Estimate(ends[0], ends[0] - half_end, ends[0] + half_end),
        Estimate(ends[1], ends[1] - half_end, ends[1] + half_end),
        sum(abs(d) > in_use + 1e-9 for d in differences),
    )


def _spread(sd: float, freedom: int) -> Estimate:
    low = sd * math.sqrt(freedom / chi_square_quantile(0.975, freedom))
    high = sd * math.sqrt(freedom / chi_square_quantile(0.025, freedom))
    return Estimate(sd, low, high)


def _repeatability(pairs: list[tuple[float, float]]) -> Repeatability | TooFew:
    n = len(pairs)
    if n < LEAST_REPEATS:
        return TooFew(n, LEAST_REPEATS, "acuities measured twice")
    # Spread within a person from n pairs; 95 % of differences of two repeats lie within 1.96 sqrt(2) of it.
    within = math.sqrt(math.fsum((a - b) ** 2 for a, b in pairs) / (2 * n))
    spread = _spread(within, n)
    factor = 1.96 * math.sqrt(2)
    return Repeatability(n, Estimate(factor * spread.value, factor * spread.low, factor * spread.high))


def _groups(counted: Iterable[tuple[str, bool, int]]) -> tuple[Success, ...]:
    groups: dict[str, list[int]] = {}
    for name, ok, count in counted:
        group = groups.setdefault(name, [0, 0])
        group[0] += count if ok else 0
        group[1] += count
    found = [
        _success(name or "not named", good, total, LEAST_IN_GROUP) for name, (good, total) in groups.items()
    ]
    return tuple(sorted(found, key=lambda each: (-each.total, each.name)))


def _overall(judged: list[tuple[str, str, bool, int]]) -> Success:
    good = sum(count for _, _, ok, count in judged if ok)
    return _success("all", good, sum(count for _, _, _, count in judged), LEAST_PAIRS)


def _success(name: str, good: int, total: int, least: int) -> Success:
    share = TooFew(total, least, "outcomes") if total < least else share_interval(good, total)
    return Success(name, good, total, share)


def share_interval(good: int, total: int) -> Estimate:
    """A share with its 95 % score interval (Wilson EB, J Am Stat Assoc 1927;22:209), ``total`` at least 1."""
    z = 1.959964
    share = good / total
    centre = (share + z * z / (2 * total)) / (1 + z * z / total)
    half = z / (1 + z * z / total) * math.sqrt(share * (1 - share) / total + z * z / (4 * total * total))
    return Estimate(share, max(0.0, centre - half), min(1.0, centre + half))


def t_quantile(probability: float, freedom: int) -> float:
    """Quantile of Student's t by the expansion of Abramowitz and Stegun 26.7.5; within 0.001 from 9 degrees on."""
    x = _NORMAL.inv_cdf(probability)
    terms = (
        (x**3 + x) / 4,
        (5 * x**5 + 16 * x**3 + 3 * x) / 96,
        (3 * x**7 + 19 * x**5 + 17 * x**3 - 15 * x) / 384,
        (79 * x**9 + 776 * x**7 + 1482 * x**5 - 1920 * x**3 - 945 * x) / 92160,
    )
    return x + sum(term / freedom**power for power, term in enumerate(terms, 1))


def chi_square_quantile(probability: float, freedom: int) -> float:
    """Quantile of chi square by the cube-root rule (Abramowitz and Stegun 26.4.17); within 1 % from 9 degrees on."""
    x = _NORMAL.inv_cdf(probability)
    spread = 2 / (9 * freedom)
    return freedom * (1 - spread + x * math.sqrt(spread)) ** 3
