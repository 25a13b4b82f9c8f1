"""What single cases add to the figures of a look back, as the index keeps it, and the sums over all of them.

A figure is a plain row; what it means is the business of ``look_back``. The sums are made either here, from figures in
hand, or by sqlite from those of the index (:data:`SUMS`), and come out alike.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable
from typing import Any, NamedTuple

CASE, PAIR, JUDGED, RETURN, REPEAT = "case", "pair", "judged", "returned", "repeat"


class Figure(NamedTuple):
    """One figure of one case.

    * case: first and last day of its rows in ``label`` and ``device``, how many rows in ``value``;
    * pair: measured less promised acuity in ``value``, logMAR;
    * judged: whether it was good, by goal (``label``) and device;
    * returned: the reason in ``label``;
    * repeat: second less first acuity in ``value``, logMAR.
    """

    kind: str
    label: str = ""
    device: str = ""
    good: bool = False
    value: float | None = None


class Sums(NamedTuple):
    """The sums over all cases. ``squares`` are sums of squares: of deviations from the mean for pairs, of repeats as
    they are.
    """

    rows: int = 0
    people: int = 0
    first: str = ""
    last: str = ""
    pairs: int = 0
    pair_mean: float = 0.0
    pair_squares: float = 0.0
    pairs_beyond: int = 0
    repeats: int = 0
    repeat_squares: float = 0.0
    judged: tuple[tuple[str, str, bool, int], ...] = ()
    returned: tuple[tuple[str, int], ...] = ()


# A difference counts as beyond a limit only by more than what rounding makes of it.
_ROUNDING = 1e-9


def sums_of(figures: Iterable[Figure], beyond: float) -> Sums:
    """The sums; ``beyond`` is the difference, logMAR, beyond which pairs are counted."""
    by_kind: dict[str, list[Figure]] = {}
    for each in figures:
        by_kind.setdefault(each.kind, []).append(each)
    cases = by_kind.get(CASE, [])
    pairs = [each.value or 0.0 for each in by_kind.get(PAIR, [])]
    repeats = [each.value or 0.0 for each in by_kind.get(REPEAT, [])]
    mean = math.fsum(pairs) / len(pairs) if pairs else 0.0
    judged = Counter((each.label, each.device, each.good) for each in by_kind.get(JUDGED, []))
    returned = Counter(each.label for each in by_kind.get(RETURN, []))
    return Sums(
        rows=sum(int(each.value or 0) for each in cases),
        people=len(cases),
        first=min((each.label for each in cases if each.label), default=""),
        last=max((each.device for each in cases), default=""),
        pairs=len(pairs),
        pair_mean=mean,
        pair_squares=math.fsum((each - mean) ** 2 for each in pairs),
        pairs_beyond=sum(abs(each) > beyond + _ROUNDING for each in pairs),
        repeats=len(repeats),
        repeat_squares=math.fsum(each * each for each in repeats),
        judged=tuple((*key, count) for key, count in sorted(judged.items())),
        returned=tuple(sorted(returned.items())),
    )


FIGURES_TABLE = """
CREATE TABLE figures (
    name TEXT NOT NULL REFERENCES files(name) ON DELETE CASCADE,
    kind TEXT NOT NULL,
    label TEXT NOT NULL,
    device TEXT NOT NULL,
    good INTEGER NOT NULL,
    value REAL
);
CREATE INDEX figures_by_name ON figures(name);
CREATE INDEX figures_by_kind ON figures(kind, label, device, good, value);
"""
INSERT_FIGURE = "INSERT INTO figures VALUES (?, ?, ?, ?, ?, ?)"
_CASES = (
    f"SELECT total(value), count(*), min(nullif(label, '')), max(device) FROM figures WHERE kind = '{CASE}'"
)
_PAIRS = f"SELECT count(*), total(value), total(abs(value) > ?) FROM figures WHERE kind = '{PAIR}'"
_SQUARES = "SELECT count(*), total((value - ?) * (value - ?)) FROM figures WHERE kind = ?"
_JUDGED = (
    f"SELECT label, device, good, count(*) FROM figures WHERE kind = '{JUDGED}' GROUP BY label, device, good"
)
_RETURNED = f"SELECT label, count(*) FROM figures WHERE kind = '{RETURN}' GROUP BY label"


def figure_rows(name: str, figures: Iterable[Figure]) -> list[tuple[Any, ...]]:
    """The values for ``INSERT_FIGURE``."""
    return [(name, each.kind, each.label, each.device, int(each.good), each.value) for each in figures]


def stored_sums(database: Any, beyond: float) -> Sums:
    """The same sums from an index: ``database`` is a connection in which nothing changes meanwhile."""

    def one(statement: str, *values: Any) -> tuple[Any, ...]:
        return database.execute(statement, values).fetchone()

    rows, people, first, last = one(_CASES)
    pairs, total, beyond_it = one(_PAIRS, beyond + _ROUNDING)
    mean = total / pairs if pairs else 0.0
    repeats, repeat_squares = one(_SQUARES, 0.0, 0.0, REPEAT)
    return Sums(
        rows=int(rows),
        people=people,
        first=first or "",
        last=last or "",
        pairs=pairs,
        pair_mean=mean,
        pair_squares=one(_SQUARES, mean, mean, PAIR)[1],
        pairs_beyond=int(beyond_it),
        repeats=repeats,
        repeat_squares=repeat_squares,
        judged=tuple((goal, device, bool(good), n) for goal, device, good, n in database.execute(_JUDGED)),
        returned=tuple(database.execute(_RETURNED)),
    )
