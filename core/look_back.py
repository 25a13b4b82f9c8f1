"""A look back over the clinic's own cases: promised against measured, what served, what came back and why.

Works from plain rows (one a goal and visit, keys as in the outcome columns of the case list's index); no case file is
opened. One person, device and eye count once, with the latest measurement, so that frequent visitors do not weigh
more. From too few nothing is concluded: the counts are shown and the sentence says how many are missing.

What one person adds to the figures (:func:`figures_of`) depends on no other person, so it is kept in the index when the
case is read; a look back over thousands of cases is then a few sums.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from itertools import chain
from operator import itemgetter
from typing import Any

from .assumptions import ASSUMPTIONS
from .printable import printable
from .store.figures import CASE, JUDGED, PAIR, REPEAT, RETURN, Figure, Sums, sums_of

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


_ONE = {"pairs": "pair", "acuities": "acuity", "outcomes": "outcome"}


@dataclass(frozen=True, slots=True)
class TooFew:
    """Not enough to conclude from: how many there are, how many it takes, of what."""

    have: int
    need: int
    what: str

    def __str__(self) -> str:
        first, _, rest = self.what.partition(" ")
        what = self.what if self.have != 1 else f"{_ONE.get(first, first)} {rest}".rstrip()
        return f"too few to say: {self.have} {what}; at least {self.need} are needed"


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
    in_use = cr95_in_use(cr95_logmar)
    people: dict[Any, list[Record]] = {}
    for number, row in enumerate(rows):
        record = _record(row, number)
        people.setdefault(record[0], []).append(record)
    figures = chain.from_iterable(map(_figures, people.values()))
    return look_back_of(sums_of(figures, in_use), cr95_logmar=in_use)


def cr95_in_use(given: float | None) -> float:
    """The repeatability to hold differences against, logMAR: the one given, or the assumed one."""
    return ASSUMPTIONS["cr95_logmar"].default if given is None else given


def figures_of(rows: Iterable[Mapping[str, Any]]) -> list[Figure]:
    """What one person adds to a look back, from the outcome rows of one case."""
    return list(_figures([("", *_record(row, 0)[1:]) for row in rows]))


def look_back_of(sums: Sums, *, cr95_logmar: float | None = None) -> LookBack:
    """The look back from the sums over all people; ``sums`` counts what lies beyond the same ``cr95_logmar``."""
    judged = [(label, device, good, count) for label, device, good, count in sums.judged]
    return LookBack(
        rows=sums.rows,
        people=sums.people,
        first=sums.first,
        last=sums.last,
        promise=_promise(sums),
        overall=_overall(judged),
        by_goal=_groups((goal, ok, count) for goal, _, ok, count in judged),
        by_device=_groups((device, ok, count) for _, device, ok, count in judged),
        returned=sum(count for _, count in sums.returned),
        reasons=tuple(sorted(sums.returned, key=lambda each: (-each[1], each[0]))),
        repeatability=_repeatability(sums.repeats, sums.repeat_squares),
        cr95_in_use_logmar=cr95_in_use(cr95_logmar),
    )


def _figures(records: list[Record]) -> Iterator[Figure]:
    """One person's figures. In order of date, so that what stands last in a dictionary is the latest."""
    rows = sorted(records, key=itemgetter(1))
    days = [row[1] for row in rows if row[1]]
    if rows:
        yield Figure(CASE, days[0] if days else "", days[-1] if days else "", value=float(len(rows)))
    pairs = {
        (device, eye): measured - promised
        for _, _, eye, _, device, promised, measured, _, _, _ in rows
        if promised is not None and measured is not None
    }
    for (device, _), difference in pairs.items():
        yield Figure(PAIR, device=device, value=difference)
    outcomes = {(goal, device): outcome for _, _, _, goal, device, _, _, _, outcome, _ in rows if outcome}
    for (goal, device), outcome in outcomes.items():
        good = served(words_of(outcome))
        if good is not None:
            yield Figure(JUDGED, goal, device, good)
    for device, reason in _returned(rows).items():
        yield Figure(RETURN, reason, device)
    for first, second in _repeats(rows):
        yield Figure(REPEAT, value=second - first)


def _record(row: Mapping[str, Any], number: int) -> Record:
    """A row as a tuple; a row without name or code counts as a person of its own."""
    get = row.get
    name = get("name") or get("code")
    return (
        name if isinstance(name, str) and name else number,
        _text(get("visit_date")),
        _text(get("eye")),
        # The same goal however it is typed.
        " ".join(_text(get("goal")).split()).casefold(),
        _text(get("device")),
        _finite(get("promised_logmar")),
        _finite(get("measured_logmar")),
        _finite(get("repeat_logmar")),
        _text(get("outcome")),
        _text(get("reason")),
    )


def _text(value: Any) -> str:
    if isinstance(value, str) and len(value) < 100 and value.isprintable():
        return value
    return "" if value is None else printable(value)


def _returned(rows: list[Record]) -> dict[str, str]:
    """Why each device came back that was not taken again later, by device."""
    found: dict[str, str] = {}
    for row in rows:
        if row[8] and RETURNED in words_of(row[8]):
            found[row[4]] = " ".join(row[9].split()).casefold() or "no reason given"
        elif row[8]:
            found.pop(row[4], None)
    return found


def _repeats(rows: list[Record]) -> list[tuple[float, float]]:
    """Acuities measured twice: at one visit, or with the same device at two visits close together, each used once."""
    found = [(row[6], row[7]) for row in rows if row[7] is not None and row[6] is not None]
    earlier: dict[tuple[str, str], tuple[str, float]] = {}
    for _, when, eye, _, device, _, measured, _, _, _ in rows:
        if measured is None or not when:
            continue
        key = (device, eye)
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


def _promise(sums: Sums) -> PromiseKept | TooFew:
    n, mean = sums.pairs, sums.pair_mean
    if n < LEAST_PAIRS:
        return TooFew(n, LEAST_PAIRS, "pairs of promised and measured acuity")
    sd = math.sqrt(sums.pair_squares / (n - 1))
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
        sums.pairs_beyond,
    )


def _spread(sd: float, freedom: int) -> Estimate:
    low = sd * math.sqrt(freedom / chi_square_quantile(0.975, freedom))
    high = sd * math.sqrt(freedom / chi_square_quantile(0.025, freedom))
    return Estimate(sd, low, high)


def _repeatability(n: int, squares: float) -> Repeatability | TooFew:
    if n < LEAST_REPEATS:
        return TooFew(n, LEAST_REPEATS, "acuities measured twice")
    # Spread within a person from n pairs; 95 % of differences of two repeats lie within 1.96 sqrt(2) of it.
    within = math.sqrt(squares / (2 * n))
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


def _normal_quantile(probability: float) -> float:
    # Here, because whoever only reads cases for the list does not need it, and it takes long to load.
    from statistics import NormalDist

    return NormalDist().inv_cdf(probability)


def t_quantile(probability: float, freedom: int) -> float:
    """Quantile of Student's t by the expansion of Abramowitz and Stegun 26.7.5; within 0.001 from 9 degrees on."""
    x = _normal_quantile(probability)
    terms = (
        (x**3 + x) / 4,
        (5 * x**5 + 16 * x**3 + 3 * x) / 96,
        (3 * x**7 + 19 * x**5 + 17 * x**3 - 15 * x) / 384,
        (79 * x**9 + 776 * x**7 + 1482 * x**5 - 1920 * x**3 - 945 * x) / 92160,
    )
    return x + sum(term / freedom**power for power, term in enumerate(terms, 1))


def chi_square_quantile(probability: float, freedom: int) -> float:
    """Quantile of chi square by the cube-root rule (Abramowitz and Stegun 26.4.17); within 1 % from 9 degrees on."""
    x = _normal_quantile(probability)
    spread = 2 / (9 * freedom)
    return freedom * (1 - spread + x * math.sqrt(spread)) ** 3
