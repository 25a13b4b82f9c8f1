"""The plan as plain text: everything that decides stands on it, narrow enough, in plain letters where asked."""

from __future__ import annotations

import re

import pytest

from afocal.core.documents.options import leading_ranks
from afocal.core.documents.plan_page import plan_page
from afocal.core.plan import plan
from afocal.core.settings import Settings
from afocal.core.workspace import DEMO, Workspace

WORKSPACE = Workspace(DEMO / "cases", DEMO / "stock.toml", DEMO / "settings.toml", True)
SETTINGS = Settings()
CODES = sorted(path.stem for path in (DEMO / "cases").glob("*.toml"))


def flat(text: str) -> str:
    """The words without the breaks of lines."""
    return " ".join(text.split())


@pytest.fixture(scope="module", params=CODES)
def made(request):
    """The plan of a practice case."""
    return plan(WORKSPACE.open_case(request.param).case, WORKSPACE.stock()[0], SETTINGS)


def test_the_page_is_narrow_and_holds_no_broken_number(made):
    """72 columns, nothing but printable characters, no NaN, infinity or None."""
    page = plan_page(made, SETTINGS)
    assert page.endswith("\n") and all(len(line) <= 72 and line.isprintable() for line in page.splitlines())
    words = set(re.findall(r"[\w{}\[\]]+", page.replace("None of", "")))
    assert not words & {"nan", "inf", "None", "{}", "[]", "NaN"}


def test_the_page_says_what_the_plan_says(made):
    """Decision, referrals, problems, needs, what was assumed, what cannot be used, cautions: nothing is left out."""
    page = flat(plan_page(made, SETTINGS))
    assert page.startswith(("REFER", made.decision.word.upper()))
    sentences = [made.decision.sentence, made.eye_advice.sentence, made.smallest_set.sentence, *made.problems]
    sentences += [referral.sentence for referral in made.referrals] + [need.sentence for need in made.needs]
    sentences += [*made.assumptions_used.values()] + [caution.sentence for caution in made.cautions]
    sentences += [refused.reason for refused in made.refused[: min(50, len(made.refused))]]
    for sentence in sentences:
        assert flat(sentence) in page, sentence


def test_the_best_stands_first_in_full_and_the_rest_is_counted(made):
    """Reasons for and against with the first; how many more there are."""
    page = flat(plan_page(made, SETTINGS, most=2))
    if not made.options:
        assert "1. " not in page.split("Cannot:")[0].replace("goal 1", "")
        return
    best = made.options[0]
    for words in (*best.reasons_for, *best.reasons_against, *(outcome.sentence for outcome in best.outcomes)):
        assert flat(words) in page, words
    more = len(made.options) - 2
    assert (
        more <= 0 or f"{more} more options, other ways of using these among them: --all lists them." in page
    )


def test_no_two_shown_at_first_differ_only_in_how_they_are_held(made):
    """Each of the best is another telescope, eye or position, with the rank it has among all; ``None`` shows every one."""
    ranks = leading_ranks(made, 5)
    ways = [made.options[rank].configuration for rank in ranks]
    assert len({(way.telescope, way.eye, way.position) for way in ways}) == len(ways)
    lines = plan_page(made, SETTINGS).splitlines()
    assert [int(found[1]) for line in lines if (found := re.match(r"(\d+)\. ", line))] == [
        rank + 1 for rank in ranks
    ]
    for rank, option in enumerate(made.options[: max(ranks, default=0) + 1]):
        way = option.configuration
        assert rank in ranks or any(
            (way.telescope, way.eye, way.position) == (other.telescope, other.eye, other.position)
            for other, place in zip(ways, ranks, strict=True)
            if place < rank
        )


def test_each_reason_of_a_refusal_stands_once_with_all_that_it_shuts_out(made):
    """Seven tubes that cannot be a pair without fusion are one line, not seven."""
    _, *lines = flat(plan_page(made, SETTINGS)).split("Cannot: ")
    reasons = {(each.code, each.reason) for each in made.refused}
    assert len(lines) == len(reasons)
    for each in made.refused[: min(50, len(made.refused))]:
        (line,) = [line for line in lines if f": {each.code}. {flat(each.reason)}" in line]
        assert each.configuration.telescope in line.split(f": {each.code}")[0].split(", ")


def test_a_reason_is_indented_under_its_option_and_said_once(made):
    """The order of importance can be seen; an outcome is not repeated as a reason."""
    if not made.options:
        return
    lines = plan_page(made, SETTINGS).splitlines()
    first = next(number for number, line in enumerate(lines) if line.startswith("1. "))
    assert any(line.startswith(("   for: ", "   against: ")) for line in lines[first:])
    outcome = made.options[0].outcomes[0].sentence
    assert f"for: {outcome}" not in flat("\n".join(lines))


def test_plain_letters_where_the_settings_ask_for_them(made):
    """ASCII only, and the same numbers."""
    page = plan_page(made, Settings(letters="ascii"))
    assert page.isascii()
