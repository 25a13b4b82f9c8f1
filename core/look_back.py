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
from statistics import NormalDist
from typing import Any

from .assumptions import ASSUMPTIONS

# Below these a figure would look firmer than it is. With 10 pairs the bias is known to about 0.7 standard
# deviations, with 20 repeats their spread to about a third; a share of fewer than 5 is not a share.
LEAST_PAIRS = 10
LEAST_REPEATS = 20
LEAST_IN_GROUP = 5

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


def look_back(rows: Iterable[Mapping[str, Any]], *, cr95_logmar: float | None = None) -> LookBack:
    """The look back over outcome rows. ``cr95_logmar`` is the repeatability in force (default: the assumed one).

    Keys read from a row: name, visit_date, eye, goal, device, promised_logmar, measured_logmar, repeat_logmar,
    outcome, reason. Missing or unusable values leave the row out of what would need them; nothing raises.
    """
    in_use = ASSUMPTIONS["cr95_logmar"].default if cr95_logmar is None else cr95_logmar
    gathered = _Gathered()
    for number, row in enumerate(rows):
        gathered.add(row, number)
    differences = [measured - promised for _, promised, measured in gathered.pairs.values()]
    repeats = list(gathered.repeats.values())
    outcomes = [(goal, device, words) for (_, goal, device), (_, words, _) in gathered.outcomes.items()]
    judged = [(goal, device, ok) for goal, device, words in outcomes if (ok := served(words)) is not None]
    return LookBack(
        rows=gathered.rows,
        people=len(gathered.people),
        first=gathered.first,
        last=gathered.last,
        promise=_promise(differences, in_use),
        overall=_success("all", [ok for _, _, ok in judged], LEAST_PAIRS),
        by_goal=_groups((goal, ok) for goal, _, ok in judged),
        by_device=_groups((device, ok) for _, device, ok in judged),
        returned=len(gathered.returned),
        reasons=tuple(Counter(gathered.returned.values()).most_common()),
        repeatability=_repeatability(repeats),
        cr95_in_use_logmar=in_use,
    )


class _Gathered:
    """One pass over the rows; later visits replace earlier ones of the same person, device and eye."""

    def __init__(self) -> None:
        self.rows = 0
        self.first = self.last = ""
        self.people: set[object] = set()
        self.pairs: dict[tuple[object, str, str], tuple[str, float, float]] = {}
        self.repeats: dict[tuple[object, str, str, str], tuple[float, float]] = {}
        self.outcomes: dict[tuple[object, str, str], tuple[str, frozenset[str], str]] = {}
        self.returned: dict[tuple[object, str], str] = {}

    def add(self, row: Mapping[str, Any], number: int) -> None:
        get = row.get
        who = get("name") or number
        when = str(get("visit_date") or "")
        device, eye, goal = str(get("device") or ""), str(get("eye") or ""), str(get("goal") or "")
        self.rows += 1
        self.people.add(who)
        if when:
            self.first = min(self.first or when, when)
            self.last = max(self.last, when)
        promised, measured = _finite(get("promised_logmar")), _finite(get("measured_logmar"))
        again = _finite(get("repeat_logmar"))
        if measured is not None and promised is not None:
            key = (who, device, eye)
            old = self.pairs.get(key)
            if old is None or when >= old[0]:
                self.pairs[key] = (when, promised, measured)
        if measured is not None and again is not None:
            self.repeats[(who, device, eye, when)] = (measured, again)
        words = words_of(get("outcome"))
        if not words:
            return
        key = (who, goal, device)
        old_outcome = self.outcomes.get(key)
        if old_outcome is not None and when < old_outcome[0]:
            return
        reason = " ".join(str(get("reason") or "").split()).casefold() or "no reason given"
        self.outcomes[key] = (when, words, reason)
        if RETURNED in words:
            self.returned[(who, device)] = reason
        else:
            self.returned.pop((who, device), None)


def words_of(outcome: object) -> frozenset[str]:
    """The outcome words in a cell such as ``kept; goal met``."""
    if not outcome:
        return frozenset()
    return frozenset(piece.strip() for piece in str(outcome).casefold().split(";")) & set(OUTCOME_WORDS)


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
    if isinstance(value, bool) or not isinstance(value, int | float) or not -1.0 <= value <= 3.0:
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


def _groups(pairs: Iterable[tuple[str, bool]]) -> tuple[Success, ...]:
    groups: dict[str, list[bool]] = {}
    for name, ok in pairs:
        groups.setdefault(name, []).append(ok)
    found = [_success(name or "not named", oks, LEAST_IN_GROUP) for name, oks in groups.items()]
    return tuple(sorted(found, key=lambda each: (-each.total, each.name)))


def _success(name: str, oks: list[bool], least: int) -> Success:
    total, good = len(oks), sum(oks)
    if total < least:
        return Success(name, good, total, TooFew(total, least, "outcomes"))
    return Success(name, good, total, share_interval(good, total))


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
