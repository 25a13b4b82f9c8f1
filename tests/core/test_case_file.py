"""Case files: readable, repairable by hand, nothing lost, every fault named with its line."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from datetime import date, datetime
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from afocal.core.case import SCHEMA, Addendum, Caution, StepResult, TrainingSession, new_case
from afocal.core.case_file import MIGRATIONS, dumps_case, loads_case
from afocal.core.configuration import Configuration
from afocal.core.errors import AfocalError, FileRefusal
from afocal.core.fields import by_path, goal_by_key
from afocal.core.signing import visit_digest

DEMO = Path(__file__).parents[2] / "core" / "data" / "demo" / "cases"
MINIMAL = 'schema = 1\ncode = "T-1"\n\n[[visit]]\ndate = 2026-11-25\n'


def full_case():
    """A case that uses every part of the model."""
    case = new_case("T-2", date(2026, 11, 25))
    for path, field in by_path().items():
        if field.section != "Follow-up":
            example = (
                field.kind.example
                if "wpm" in field.kind.unit
                else field.kind.example.replace(" or ", ", ").split(", ")[0]
            )
            case = case.with_typed(path, example)
    for key in goal_by_key():
        case = case.with_goal_typed(
            0,
            key,
            {"task": "street sign", "eyes": "one"}.get(key, goal_by_key()[key].kind.example.split(",")[0]),
        )
    visit = replace(
        case.visit,
        choice=Configuration("small-2.5", "right", "bioptic", "through the lens", cap="c", spread_mm=1.5),
        choice_reason="widest",
        notes='two lines\nwith "quotes" and ümlauts',
        steps={"fit.height": StepResult(measured="12 mm", note="ok", by="mk", at=datetime(2026, 11, 25, 10))},
        cautions={"sun": Caution(given=True, understood=True, at=datetime(2026, 11, 25, 11))},
        training=(TrainingSession(on=date(2026, 11, 26), stage="spot", minutes=20, result="found 8 of 10"),),
        addenda=(Addendum(at=datetime(2026, 11, 27, 8), by="mk", text="later"),),
    )
    return case.with_visit(visit)


def test_a_full_case_comes_back_equal():
    """Writing and reading again loses nothing, twice over."""
    case = full_case()
    text = dumps_case(case)
    assert loads_case(text) == case
    assert dumps_case(loads_case(text)) == text


def test_what_was_typed_stands_beside_what_it_was_read_as():
    """The file can be read by a person: typed text, unit in the key, number."""
    case = (
        new_case("T-3", date(2026, 11, 25))
        .with_typed("right.distance_acuity", "20/100-2")
        .with_typed("face.pd", "31.5/30.5")
    )
    data = tomllib.loads(dumps_case(case))["visit"][0]
    assert data["right"]["distance_acuity"] == "20/100-2"
    assert data["right"]["distance_acuity_logmar"] == pytest.approx(0.739, abs=1e-4)
    assert (data["face"]["pd_right_mm"], data["face"]["pd_left_mm"]) == (31.5, 30.5)


def test_a_file_edited_by_hand_needs_only_the_typed_text():
    """A changed typed value counts although the old reading still stands beside it; plain numbers are accepted."""
    case = loads_case(
        MINIMAL
        + '[visit.right]\ndistance_acuity = "20/80"\ndistance_acuity_logmar = 0.1\n[visit.face]\npd = 62\n'
    )
    assert case.value("right.distance_acuity").logmar == pytest.approx(0.602, abs=1e-3)
    assert case.value("face.pd").total_mm == 62
    assert "0.1\n" not in dumps_case(case)


def test_unknown_keys_survive_at_every_level():
    """What a newer or another program wrote is written back."""
    text = (
        'schema = 1\ncode = "T-1"\nroom = "B"\n\n[[visit]]\ndate = 2026-11-25\nmood_score = 4\n[visit.right]\nhue = "red"\n'
        '[visit.wholly]\nnew = [1, 2]\n[[visit.goal]]\ntask = "x"\nodd = true\n'
    )
    again = tomllib.loads(dumps_case(loads_case(text)))
    assert again["room"] == "B"
    visit = again["visit"][0]
    assert (visit["mood_score"], visit["right"]["hue"], visit["wholly"]["new"], visit["goal"][0]["odd"]) == (
        4,
        "red",
        [1, 2],
        True,
    )


def test_one_unreadable_field_keeps_its_text_and_the_reason():
    """The rest of the case is usable, and a save writes the text back."""
    case = loads_case(MINIMAL + '[visit.right]\ndistance_acuity = "20 over 80"\ncontrast = "1.2"\n')
    finding = case.visit.findings["right.distance_acuity"]
    assert finding.value is None and "20 over 80" in finding.problem
    assert case.value("right.contrast") == 1.2
    assert '"20 over 80"' in dumps_case(case)


@pytest.mark.parametrize(
    ("text", "line", "part"),
    [
        ("", None, "schema"),
        ("schema = 2\n", 1, "newer"),
        ("schema = 1\n", None, "patient code"),
        ('schema = 1\ncode = "a/b"\n', 2, "patient code"),
        ('schema = 1\ncode = "T"\n', None, "visit"),
        ('schema = 1\ncode = "T"\nvisit = 3\n', 3, "tables"),
        ('schema = 1\ncode = "T"\n[[visit]]\n', 3, "date"),
        (
            'schema = 1\ncode = "T"\n[[visit]]\ndate = 2026-11-25\nkind = "exam"\n',
            5,
            "did you mean examination",
        ),
        (MINIMAL + "[visit.right]\ndistance_acuity = [1]\n", 7, "typed"),
        (
            MINIMAL + '[visit.right]\ndistance_acuity = "20/80"\ndistance_acuity_status = "mesured"\n',
            8,
            "measured",
        ),
        (MINIMAL + '[visit.choice]\ntelescope = "x"\neye = "rigth"\n', 8, "right"),
        ('schema = 1\ncode = "T"\n[[visit\n', 3, "TOML"),
    ],
)
def test_a_bad_file_is_named_with_line_and_reason(text, line, part):
    """One sentence: file, line, key, reason, nearest known word."""
    with pytest.raises(FileRefusal) as caught:
        loads_case(text, "folder/T-9.toml")
    assert caught.value.line == line
    assert part in str(caught.value)
    assert str(caught.value).startswith(str(Path("folder/T-9.toml")))


@pytest.mark.parametrize("path", sorted(DEMO.glob("*.toml")), ids=lambda path: path.stem)
def test_every_practice_case_reads_without_a_problem(path):
    """The practice cases are whole: no unreadable field, no unknown key, code as the file name."""
    case = loads_case(path.read_text("utf-8"), path)
    assert case.code == path.stem
    for visit in case.visits:
        assert not visit.extra
        assert not [finding.problem for finding in visit.findings.values() if finding.problem]
        assert not [f.problem for goal in visit.goals for f in goal.findings.values() if f.problem]


@settings(max_examples=150, deadline=None)
@given(st.data())
def test_a_mutated_file_is_a_case_or_a_refusal(data):
    """Nothing but our own errors comes out of a damaged file, and a case that is read can be written and read again."""
    text = dumps_case(full_case())
    start = data.draw(st.integers(0, len(text)))
    length = data.draw(st.integers(0, 60))
    piece = data.draw(
        st.sampled_from(["", "\n", "=", '"', "[", "]]", "nan", "-1", "\x00", "true", "{}", "é", "[[visit]]"])
    )
    mutated = text[:start] + piece + text[start + length :]
    try:
        case = loads_case(mutated)
    except AfocalError as error:
        assert str(error)
    else:
        assert loads_case(dumps_case(case)) == case


KEPT = Path(__file__).parent / "kept"


@pytest.mark.parametrize("path", sorted(KEPT.glob("case-schema-*.toml")), ids=lambda path: path.stem)
def test_kept_files_of_every_schema_are_still_read_whole(path):
    """A file written by the first program of each schema: every field is read, nothing is unknown or refused."""
    case = loads_case(path.read_text("utf-8"), path)
    visit = case.visit
    expected = {field.path for field in by_path().values() if field.section != "Follow-up"}
    assert expected <= set(visit.findings)
    assert not [finding.problem for finding in visit.findings.values() if finding.problem]
    assert visit.goals[0].value("distance") and visit.choice is not None and visit.steps and visit.cautions
    assert not case.extra and not visit.extra


def test_there_is_a_step_from_every_older_schema():
    """No older file is left behind, and one is kept for each."""
    assert MIGRATIONS.missing() == []
    assert [path.name for path in sorted(KEPT.glob("*.toml"))] == [
        f"case-schema-{n}.toml" for n in range(1, SCHEMA + 1)
    ]


def test_a_goal_has_an_id_from_its_first_word_on():
    """Made when it is typed, written to the file, kept through edits, moves and a new visit; no two goals share one."""
    case = new_case("T-4", date(2026, 11, 25)).with_goal_typed(0, "task", "street sign")
    case = case.with_goal_typed(1, "task", "cards").with_goal_typed(2, "task", "cards")
    first, second, third = (goal.id for goal in case.visit.goals)
    assert len({first, second, third}) == 3
    edited = case.with_goal_typed(0, "distance", "6 m").with_goal_typed(0, "task", "bus number")
    assert [goal.id for goal in edited.visit.goals] == [first, second, third]
    moved = edited.with_goals([edited.visit.goals[1], edited.visit.goals[0]])
    again = loads_case(dumps_case(moved.with_new_visit(date(2026, 12, 2), "follow-up")))
    assert [[goal.id for goal in visit.goals] for visit in again.visits] == [[second, first]] * 2


def test_the_same_goal_typed_in_two_rooms_has_one_id_and_another_goal_another():
    """So that a merge finds one goal in the first case and two in the second."""
    case = new_case("T-4", date(2026, 11, 25))
    one, alike, other = (
        case.with_goal_typed(0, "task", words).visit.goals[0].id for words in ("bus", "bus", "sign")
    )
    assert one == alike != other


@pytest.mark.parametrize(
    ("ids", "expected"),
    [
        (["", ""], ["g1", "g2"]),
        (['id = "a"', ""], ["a", "g2"]),
        (['id = "a"', 'id = "a"'], ["a", "g2"]),
        (['id = "g2"', ""], ["g2", "g2x"]),
        (["id = 5", "id = [1]"], ["5", "g2"]),
        (['id = "a b"', 'id = "\\u00e4"'], ["g1", "g2"]),
    ],
)
def test_goals_without_an_id_are_named_by_their_place(ids, expected):
    """Old files, copied goals and strange ids: each goal has an id, no two the same, and it is no unknown key."""
    case = loads_case(MINIMAL + "".join(f'[[visit.goal]]\ntask = "x"\n{line}\n' for line in ids))
    assert [goal.id for goal in case.visit.goals] == expected
    assert not any(goal.extra for goal in case.visit.goals)
    assert loads_case(dumps_case(case)) == case


def test_an_id_is_no_part_of_what_is_signed():
    """A visit signed before goals had ids stands unchanged."""
    case = loads_case(MINIMAL + '[[visit.goal]]\ntask = "x"\n')
    (goal,) = case.visit.goals
    named = replace(case.visit, goals=(replace(goal, id="other"),))
    at = datetime(2026, 11, 25, 17)
    assert visit_digest("T", case.visit, "RK", at) == visit_digest("T", named, "RK", at)
