"""The look back over the clinic's own cases: figures, intervals, and the refusal to conclude from too few."""

from __future__ import annotations

import math
import random
import statistics

import mpmath
import pytest

from afocal.core.documents.look_back_report import look_back_text
from afocal.core.look_back import (
    TooFew,
    chi_square_quantile,
    look_back,
    served,
    setting_offered,
    share_interval,
    t_quantile,
    words_of,
)


def row(name="A", **values):
    """One outcome row."""
    base = {
        "name": f"{name}.toml",
        "visit_date": "2026-05-01",
        "eye": "right",
        "goal": "signs",
        "device": "g25",
    }
    return {**base, **values}


def pairs(differences, promised=0.30):
    """One person a difference."""
    return [
        row(str(n), promised_logmar=promised, measured_logmar=promised + d) for n, d in enumerate(differences)
    ]


@pytest.mark.parametrize("freedom", [9, 12, 19, 29, 60, 400])
@pytest.mark.parametrize("probability", [0.025, 0.5, 0.975])
def test_quantiles_against_high_precision(freedom, probability):
    """Student's t within 0.001 and chi square within 1 % of mpmath's own inversion, from the fewest in use on."""

    def t_cdf(t):
        x = freedom / (freedom + t * t)
        tail = mpmath.betainc(freedom / 2, 0.5, 0, x, regularized=True) / 2
        return 1 - tail if t > 0 else tail

    t = float(mpmath.findroot(lambda t: t_cdf(t) - probability, (t_quantile(probability, freedom), 0.01)))
    assert t_quantile(probability, freedom) == pytest.approx(t, abs=1e-3)
    guess = chi_square_quantile(probability, freedom)
    chi = float(
        mpmath.findroot(
            lambda x: mpmath.gammainc(freedom / 2, 0, x / 2, regularized=True) - probability,
            (guess, guess * 1.01),
        )
    )
    assert guess == pytest.approx(chi, rel=0.01)


# Printed tables of Student's t (two-sided 5 %) and chi square, to their printed places; values from memory.
@pytest.mark.parametrize(
    ("freedom", "t", "low", "high"), [(9, 2.262, 2.700, 19.023), (20, 2.086, 9.591, 34.170)]
)
def test_quantiles_against_printed_tables(freedom, t, low, high):
    """The usual tables give the same."""
    assert t_quantile(0.975, freedom) == pytest.approx(t, abs=6e-4)
    assert chi_square_quantile(0.025, freedom) == pytest.approx(low, rel=0.01)
    assert chi_square_quantile(0.975, freedom) == pytest.approx(high, rel=0.01)


# Newcombe RG, Stat Med 1998;17:857, table I, method 3 (score, no continuity correction); values from memory.
@pytest.mark.parametrize(
    ("good", "total", "low", "high"),
    [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611)],
)
def test_share_interval_against_the_published_table(good, total, low, high):
    """The score interval gives the published limits."""
    found = share_interval(good, total)
    assert (found.low, found.high) == (pytest.approx(low, abs=1e-4), pytest.approx(high, abs=1e-4))


def test_bias_and_spread_are_the_mean_and_the_deviation():
    """By another route (statistics), with the limits that follow."""
    differences = [0.02, -0.04, 0.10, 0.06, 0.0, 0.12, -0.02, 0.08, 0.04, 0.30, 0.02, 0.06]
    found = look_back(pairs(differences)).promise
    mean, sd = statistics.mean(differences), statistics.stdev(differences)
    assert found.pairs == 12
    assert found.bias_logmar.value == pytest.approx(mean)
    assert found.spread_logmar.value == pytest.approx(sd)
    assert found.bias_logmar.high - mean == pytest.approx(2.201 * sd / math.sqrt(12), rel=1e-3)
    assert found.highest_expected_logmar.value == pytest.approx(mean + 1.96 * sd)
    assert found.beyond_repeats == 1


def test_the_interval_holds_the_truth_about_as_often_as_it_says():
    """In 400 invented clinics with a true bias of 0.03 the interval holds it in 92 to 98 %."""
    chance = random.Random(8)
    held = 0
    for _ in range(400):
        found = look_back(pairs([chance.gauss(0.03, 0.1) for _ in range(15)])).promise
        held += found.bias_logmar.low <= 0.03 <= found.bias_logmar.high
    assert 0.92 <= held / 400 <= 0.98


def test_repeatability_is_found_again_from_repeats():
    """From 2,000 repeats of spread 0.08 within a person, the coefficient is 1.96 root 2 times that, within its interval."""
    chance = random.Random(3)
    rows = []
    for n in range(2000):
        true = chance.uniform(0.3, 1.0)
        first, again = true + chance.gauss(0, 0.08), true + chance.gauss(0, 0.08)
        rows.append(row(str(n), measured_logmar=first, repeat_logmar=again))
    found = look_back(rows)
    expected = 1.96 * math.sqrt(2) * 0.08
    assert found.repeatability.cr95_logmar.low < expected < found.repeatability.cr95_logmar.high
    assert setting_offered(found) == ("cr95_logmar", pytest.approx(expected, abs=0.01))


def test_two_visits_close_together_are_a_repeat():
    """Visits within three months make pairs, each visit used once; visits further apart or of another device do not."""
    rows = []
    for n in range(20):
        for day, value in (
            ("2026-01-05", 0.3),
            ("2026-02-05", 0.4),
            ("2026-03-05", 0.5),
            ("2026-09-05", 0.9),
        ):
            rows.append(row(str(n), visit_date=day, measured_logmar=value))
        rows.append(row(str(n), visit_date="2026-02-06", measured_logmar=0.9, device="other"))
    found = look_back(rows).repeatability
    assert found.pairs == 20
    assert found.cr95_logmar.value == pytest.approx(1.96 * math.sqrt(2) * 0.1 / math.sqrt(2))


def test_a_repeatability_outside_the_accepted_range_is_not_offered():
    """Repeats that agree to the letter every time are not believed as a setting."""
    rows = [row(str(n), measured_logmar=0.3, repeat_logmar=0.3) for n in range(30)]
    assert setting_offered(look_back(rows)) is None


@pytest.mark.parametrize("count", [0, 1, 9])
def test_too_few_pairs_give_no_figure(count):
    """Below ten pairs there is no bias, only how many are missing."""
    found = look_back(pairs([0.1] * count))
    assert found.promise == TooFew(count, 10, "pairs of promised and measured acuity")
    assert isinstance(found.repeatability, TooFew) and setting_offered(found) is None
    text = look_back_text(found)
    said = f"{count} pair{'' if count == 1 else 's'} of promised and measured acuity"
    assert f"{said}; at least 10 are needed" in " ".join(text.split())
    assert "Bias" not in text


def test_one_person_counts_once_with_the_latest():
    """Three visits of one person with one device and eye are one pair: the last."""
    rows = [
        row("A", visit_date=f"2026-0{n}-01", promised_logmar=0.3, measured_logmar=0.3 + n / 10)
        for n in (1, 3, 2)
    ]
    found = look_back(rows + pairs([0.0] * 9)).promise
    assert found.pairs == 10
    assert found.bias_logmar.value == pytest.approx(0.03)


@pytest.mark.parametrize(
    ("outcome", "says"),
    [
        ("kept; goal met", True),
        ("kept; goal partly met", False),
        ("kept; goal not met", False),
        ("kept", True),
        ("returned; goal met", False),
        ("changed", None),
        ("changed; goal met", True),
        ("", None),
        ("something else", None),
        (None, None),
        (3, None),
    ],
)
def test_who_was_served(outcome, says):
    """Kept and met is served; returned is not, whatever else; words that do not say count nowhere."""
    assert served(words_of(outcome)) is says


def test_shares_only_from_enough():
    """Groups of five and more have a share with its interval, smaller ones only their counts."""
    rows = [row(str(n), outcome="kept; goal met", goal="signs") for n in range(6)]
    rows += [row(f"b{n}", outcome="returned", goal="print", reason="Too heavy ") for n in range(4)]
    found = look_back(rows)
    assert [(each.name, each.served, each.total) for each in found.by_goal] == [
        ("signs", 6, 6),
        ("print", 0, 4),
    ]
    assert found.by_goal[0].share.value == 1.0
    assert isinstance(found.by_goal[1].share, TooFew)
    assert found.overall.share.value == pytest.approx(0.6)
    assert found.returned == 4 and found.reasons == (("too heavy", 4),)


def test_people_are_told_apart_by_name_or_code():
    """Rows of the index by file name and rows by code both know who is who; without either each row stands alone."""
    assert look_back([{"code": "A"}, {"code": "A"}, {"name": "B.toml"}, {}, {}]).people == 4


def test_a_device_taken_back_and_kept_later_is_not_returned():
    """The latest outcome of a person and device counts."""
    rows = [row(outcome="returned", reason="double"), row(outcome="kept", visit_date="2026-06-01")]
    assert look_back(rows).returned == 0


HOSTILE = ["\x1b[2Jx", "=1+1", "<b>", "a\nb", None, 3.5, float("nan"), float("inf"), True, [], {}]


def test_no_row_breaks_it():
    """Rows of the wrong types are left out of what they cannot serve; nothing raises, nothing hostile is printed."""
    keys = (
        "name",
        "visit_date",
        "eye",
        "goal",
        "device",
        "promised_logmar",
        "measured_logmar",
        "outcome",
        "reason",
    )
    rows = [dict.fromkeys(keys, value) for value in HOSTILE if not isinstance(value, list | dict)] * 3
    rows += [row(str(n), goal="\x1b[2J", outcome="returned", reason="\x1b]0;x\x07<b>") for n in range(12)] + [
        {}
    ]
    text = look_back_text(look_back(rows))
    assert text.isascii() and all(c.isprintable() or c == "\n" for c in text)
    assert all(len(line) <= 72 for line in text.splitlines())


def test_the_report_says_what_it_rests_on():
    """Counts, intervals, the offer, and that no cause is shown."""
    chance = random.Random(1)
    rows = []
    for n in range(40):
        measured = 0.3 + chance.gauss(0.04, 0.08)
        rows.append(
            row(
                str(n),
                promised_logmar=0.3,
                measured_logmar=measured,
                repeat_logmar=measured + chance.gauss(0, 0.08),
                outcome="kept; goal met" if n % 4 else "returned",
                reason="neck hurts" if n % 8 else "too small a field",
                goal="signs" if n % 2 else "board",
            )
        )
    text = look_back_text(look_back(rows))
    for words in (
        "Pairs: 40",
        "Bias",
        "30 of 40 served, 75%",
        "5 x neck hurts",
        "Offered as a setting: cr95_logmar =",
    ):
        assert words in text
    assert "do not show what caused what" in " ".join(text.split())


@pytest.mark.parametrize(
    ("have", "words"),
    [
        (0, "too few to say: 0 pairs of promised and measured acuity; at least 10 are needed"),
        (1, "too few to say: 1 pair of promised and measured acuity; at least 10 are needed"),
        (2, "too few to say: 2 pairs of promised and measured acuity; at least 10 are needed"),
    ],
)
def test_one_of_a_thing_is_named_as_one(have: int, words: str) -> None:
    """The refusal to conclude is a sentence for every number."""
    assert str(TooFew(have, 10, "pairs of promised and measured acuity")) == words
    assert "1 acuity measured twice" in str(TooFew(1, 20, "acuities measured twice"))
    assert "1 outcome;" in str(TooFew(1, 5, "outcomes"))
