"""The look back over the clinic's own cases, as text."""

from __future__ import annotations

from ..assumptions import ASSUMPTIONS
from ..look_back import Estimate, LookBack, Success, TooFew, look_back_of, setting_offered
from ..settings import Settings
from ..store.index import CaseIndex
from .text import clean, fill, in_letters
from .version import made_by

MOST_REASONS = 12
SERVED = (
    "Served: the device was not given back and the first goal was met, not only partly; where the goal was not asked "
    "about, a device that was kept. What does not say counts nowhere."
)


def look_back_text(result: LookBack, *, width: int = 72) -> str:
    """The look back in words, at most ``width`` columns, plain ASCII letters."""
    outcomes = _count(result.rows, "outcome", "outcomes")
    span = f", {result.first} to {result.last}" if result.first else ""
    blocks = [
        [f"LOOK BACK: {outcomes} of {_count(result.people, 'person', 'people')}{span}"],
        ["PROMISED AND MEASURED ACUITY", *_promise_lines(result)],
        ["WHO WAS SERVED", *_served_lines(result)],
        ["BY GOAL", *(line for each in result.by_goal for line in _success_lines(each.name, each))],
        ["BY DEVICE", *(line for each in result.by_device for line in _success_lines(each.name, each))],
        ["RETURNED", *_returned_lines(result)],
        ["THIS CLINIC'S REPEATABILITY", *_repeat_lines(result)],
        [
            "One person, device and eye count once, with the latest figures. Intervals are 95 %. The figures describe "
            "this clinic's cases; they do not show what caused what."
        ],
    ]
    kept = [block for block in blocks if len(block) > 1 or block[0].startswith(("LOOK", "One"))]
    rows = [[row for line in block for row in fill(clean(line), width=width, rest="  ")] for block in kept]
    return in_letters("\n\n".join("\n".join(block) for block in rows), "ascii") + "\n"


def _count(number: int, one: str, more: str) -> str:
    return f"{number} {one if number == 1 else more}"


def _promise_lines(result: LookBack) -> list[str]:
    found = result.promise
    if isinstance(found, TooFew):
        return [f"{_capital(found)}."]
    bias = found.bias_logmar
    if bias.low > 0:
        says = "measured is worse than promised"
    elif bias.high < 0:
        says = "measured is better than promised"
    else:
        says = "no bias can be told from nought"
    low, high = found.lowest_expected_logmar, found.highest_expected_logmar
    return [
        f"Pairs: {found.pairs}",
        f"Bias, measured less promised: {_logmar(bias)} logMAR; {says}",
        f"Spread (standard deviation): {_unsigned(found.spread_logmar)} logMAR",
        f"95 % of differences are expected from {low.value:+.2f} ({low.low:+.2f} to {low.high:+.2f}) "
        f"to {high.value:+.2f} ({high.low:+.2f} to {high.high:+.2f}) logMAR",
        f"Further apart than what repeats ({result.cr95_in_use_logmar:.2f} logMAR): "
        f"{found.beyond_repeats} of {found.pairs}",
    ]


def _served_lines(result: LookBack) -> list[str]:
    lines = _success_lines("Of all", result.overall)
    return [*lines, SERVED] if lines else []


def _success_lines(name: str, found: Success) -> list[str]:
    if isinstance(found.share, TooFew):
        least = f"{found.share.need} are needed for a share"
        return [f"{name}: {found.served} of {found.total} served; {least}"] if found.total else []
    share = found.share
    return [
        f"{name}: {found.served} of {found.total} served, {share.value:.0%} ({share.low:.0%} to {share.high:.0%})"
    ]


def _returned_lines(result: LookBack) -> list[str]:
    if not result.returned:
        return []
    more = result.reasons[MOST_REASONS:]
    rest = [f"{sum(count for _, count in more)} x {len(more)} other reasons"] if more else []
    shown = [f"{count} x {reason}" for reason, count in result.reasons[:MOST_REASONS]]
    return [f"Devices given back: {result.returned}", *shown, *rest]


def _repeat_lines(result: LookBack) -> list[str]:
    found = result.repeatability
    if isinstance(found, TooFew):
        return [f"{_capital(found)}."]
    lines = [
        f"Acuities measured twice, at one visit or within three months: {found.pairs}; a real change between the two "
        "counts as well, so this is at most how far this clinic's figures repeat",
        f"95 % of repeats lie within {_unsigned(found.cr95_logmar)} logMAR; in use is {result.cr95_in_use_logmar:.2f}",
    ]
    offered = setting_offered(result)
    if offered is None:
        known = ASSUMPTIONS["cr95_logmar"]
        return [*lines, f"Not offered as a setting: accepted there is {known.lowest:g} to {known.highest:g}"]
    return [*lines, f"Offered as a setting: {offered[0]} = {offered[1]:.2f}"]


def _logmar(found: Estimate) -> str:
    return f"{found.value:+.3f} ({found.low:+.3f} to {found.high:+.3f})"


def _unsigned(found: Estimate) -> str:
    return f"{found.value:.3f} ({found.low:.3f} to {found.high:.3f})"


def _capital(found: TooFew) -> str:
    words = str(found)
    return words[0].upper() + words[1:]


def look_back_page(index: CaseIndex, settings: Settings) -> str:
    """The look back over an index as text, made once and kept there until an outcome changes."""
    repeats = settings.assume("cr95_logmar")

    def make() -> str:
        return look_back_text(look_back_of(index.sums(repeats), cr95_logmar=repeats))

    return index.kept(f"look back, repeats {repeats:g}, {made_by()}", make)
