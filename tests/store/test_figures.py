"""The figures of a look back as the index keeps them: alike to those made from all rows, and gone with their case."""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from afocal.core.documents.look_back_report import look_back_page
from afocal.core.look_back import figures_of, look_back, look_back_of
from afocal.core.settings import Settings
from afocal.core.store.figures import Sums
from afocal.core.store.index import CaseIndex, IndexedFile
from afocal.core.store.index_schema import FileState


@pytest.fixture
def index(tmp_path: Path):
    """An empty index."""
    made = CaseIndex(tmp_path, tmp_path / "index.sqlite")
    yield made
    made.close()


def case(name: str, outcomes: list[dict]) -> IndexedFile:
    """A case as a check of the folder hands it over."""
    return IndexedFile(
        FileState(f"{name}.toml", 1, 1, 1),
        {"code": name, "outcomes": outcomes, "figures": figures_of(outcomes)},
    )


def invented(chance: random.Random) -> list[dict]:
    """A few visits with gaps of every kind."""
    some = lambda *values: chance.choice(values)  # noqa: E731
    return [
        {
            "visit_date": some("", "2026-01-05", "2026-02-05", "2026-06-01", "2025-12-24"),
            "eye": some("right", "left", "both", ""),
            "goal": some("Street signs", "street  signs", "board", "", "read\x1b[2J print"),
            "device": some("a", "b", ""),
            "promised_logmar": some(None, 0.3, 0.1, 9.0, "0.3"),
            "measured_logmar": some(None, 0.3, 0.42, 0.18, float("nan")),
            "repeat_logmar": some(None, None, 0.36),
            "outcome": some("", "kept", "goal met", "returned; goal not met", "changed", "changed; goal met", "nonsense"),
            "reason": some("", "Too heavy", "too  heavy", "double vision"),
        }
        for _ in range(chance.randrange(5))
    ]  # fmt: skip


@pytest.mark.parametrize("seed", range(20))
def test_sqlite_and_python_come_to_the_same(index: CaseIndex, seed: int) -> None:
    """The sums of the index are those over all rows, number by number, also after cases were changed and removed."""
    chance = random.Random(seed)
    cases = {f"P{n}": invented(chance) for n in range(40)}
    index.put([case(name, outcomes) for name, outcomes in cases.items()])
    for name in chance.sample(sorted(cases), 8):
        cases[name] = invented(chance)
        index.put([case(name, cases[name])])
    for name in chance.sample(sorted(cases), 8):
        del cases[name]
        index.drop([f"{name}.toml"])
    rows = [{**each, "code": name} for name, outcomes in cases.items() for each in outcomes]
    by_rows = look_back(rows, cr95_logmar=0.15)
    by_index = look_back_of(index.sums(0.15), cr95_logmar=0.15)
    plain = ("rows", "people", "first", "last", "overall", "by_goal", "by_device", "returned", "reasons")
    assert [getattr(by_index, name) for name in plain] == [getattr(by_rows, name) for name in plain]
    for one, other in ((by_rows.promise, by_index.promise), (by_rows.repeatability, by_index.repeatability)):
        assert type(one) is type(other)
        if hasattr(one, "bias_logmar"):
            assert one.pairs == other.pairs and one.beyond_repeats == other.beyond_repeats
            for name in ("bias_logmar", "spread_logmar", "lowest_expected_logmar", "highest_expected_logmar"):
                assert getattr(one, name).value == pytest.approx(getattr(other, name).value, abs=1e-12)
        elif hasattr(one, "cr95_logmar"):
            assert one.cr95_logmar.high == pytest.approx(other.cr95_logmar.high, abs=1e-12)
        else:
            assert one == other


def test_an_empty_index_has_empty_sums(index: CaseIndex) -> None:
    """No case, or none with an outcome: noughts and no dates."""
    assert index.sums(0.1) == Sums()
    index.put([case("P1", [])])
    assert index.sums(0.1) == Sums()


def test_a_removed_case_leaves_nothing_in_the_page_or_in_the_file(index: CaseIndex) -> None:
    """What a page quoted of it, the reason of a return, is in the index file no more."""
    outcome = {"visit_date": "2026-01-05", "goal": "board", "device": "a", "outcome": "returned"}
    index.put([case("P1", [{**outcome, "reason": "quince marmalade"}]), case("P2", [outcome])])
    assert "1 x quince marmalade" in look_back_page(index, Settings())
    index.drop(["P1.toml"])
    index.close()
    for each in index.path.parent.glob("index.sqlite*"):
        assert b"quince" not in each.read_bytes()
    assert "quince" not in look_back_page(index, Settings())


def test_a_damaged_figure_is_a_problem_of_its_case_alone(index: CaseIndex) -> None:
    """A row that is no figure keeps nobody else out."""
    from afocal.core.store.index import header_of

    bad = header_of(
        Path("P1.toml"), FileState("P1.toml", 1, 1, 1), "", lambda text: {"code": "P1", "figures": [3]}
    )
    assert bad.problem
    index.put([bad, case("P2", [])])
    assert [row.name for row in index.problems()] == ["P1.toml"]


def test_figures_are_of_one_person_only() -> None:
    """Whoever stands in the rows: they are one case, so they count as one person."""
    rows = [{"code": "A", "visit_date": "2026-01-01"}, {"code": "B", "visit_date": "2026-02-01"}]
    (figure,) = figures_of(rows)
    assert figure == replace_value(figure, 2.0)
    assert (figure.label, figure.device) == ("2026-01-01", "2026-02-01")


def replace_value(figure, value: float):
    """The figure with another value."""
    return figure._replace(value=value)
