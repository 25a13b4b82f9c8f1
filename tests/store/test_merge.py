"""Differences and the three-way merge: nothing that anybody entered is lost."""

from __future__ import annotations

from copy import deepcopy
from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from afocal.core.store.merge import MISSING, differences, same, three_way
from afocal.core.store.resolving import resolve

BASE = {
    "code": "P1",
    "note": "first",
    "tags": ["a"],
    "visit": [
        {"date": date(2024, 5, 1), "acuity": "20/100", "refraction": {"right": -2.0, "left": -1.0}},
        {"date": date(2024, 5, 8), "acuity": "20/80"},
    ],
}


def edited(**changes):
    """The base with changes; a key with __ goes into the visit of that number."""
    case = deepcopy(BASE)
    for key, value in changes.items():
        if key.startswith("v"):
            number, _, inner = key[1:].partition("__")
            case["visit"][int(number)][inner] = value
        else:
            case[key] = value
    return case


def test_differences_name_list_items_by_their_date():
    """A changed value, a new key, a removed key and a new visit, each by a path that people can read."""
    after = edited(v0__acuity="20/60", extra=1)
    after["visit"][0]["refraction"] = {"right": -2.5, "left": -1.0}
    after["visit"].append({"date": date(2024, 6, 1)})
    del after["note"]
    found = {each.key: (each.before, each.after) for each in differences(BASE, after)}
    assert found == {
        "visit[2024-05-01].acuity": ("20/100", "20/60"),
        "visit[2024-05-01].refraction.right": (-2.0, -2.5),
        "visit[2024-06-01]": (MISSING, {"date": date(2024, 6, 1)}),
        "note": ("first", MISSING),
        "extra": (MISSING, 1),
    }


def test_edits_of_different_fields_merge_without_a_question():
    """Two rooms at two fields of one visit, and a new visit of one of them."""
    mine = edited(v0__acuity="20/60")
    theirs = edited(v0__light="ring lamp")
    theirs["visit"].append({"date": date(2024, 6, 1), "acuity": "20/50"})
    merge = three_way(BASE, mine, theirs)
    assert merge.is_clean
    assert merge.merged["visit"][0] == {**BASE["visit"][0], "acuity": "20/60", "light": "ring lamp"}
    assert len(merge.merged["visit"]) == 3
    assert [each.key for each in merge.from_mine] == ["visit[2024-05-01].acuity"]
    assert [each.key for each in merge.from_theirs] == ["visit[2024-05-01].light", "visit[2024-06-01]"]


def test_two_new_visits_on_different_days_both_stay():
    """Both rooms added a visit: two visits more."""
    mine, theirs = edited(), edited()
    mine["visit"].append({"date": date(2024, 6, 1)})
    theirs["visit"].append({"date": date(2024, 6, 2)})
    merged = three_way(BASE, mine, theirs).merged
    assert [str(each["date"]) for each in merged["visit"]] == [
        "2024-05-01",
        "2024-05-08",
        "2024-06-01",
        "2024-06-02",
    ]


@pytest.mark.parametrize(
    ("choice", "acuity", "aside"),
    [
        ("mine", "20/60", None),
        ("theirs", "20/70", None),
        ("both", "20/60", [{"key": "visit[2024-05-01].acuity", "kept": "20/60", "other": "20/70"}]),
    ],
)
def test_a_conflict_is_decided_field_by_field(choice, acuity, aside):
    """Mine, theirs, or both: then the other value stands under set_aside."""
    merge = three_way(BASE, edited(v0__acuity="20/60"), edited(v0__acuity="20/70"))
    (conflict,) = merge.conflicts
    assert (conflict.key, conflict.base, conflict.mine, conflict.theirs) == (
        "visit[2024-05-01].acuity",
        "20/100",
        "20/60",
        "20/70",
    )
    result = resolve(merge, {conflict.key: choice})
    assert result["visit"][0]["acuity"] == acuity
    assert result.get("set_aside") == aside


def test_keeping_both_joins_notes_and_unites_lists():
    """Prose is joined line by line, plain lists are united; nothing goes aside."""
    mine = edited(note="first\nsaw the board from row two", tags=["a", "b"])
    theirs = edited(note="first\ntired after ten minutes", tags=["c"])
    result = resolve(three_way(BASE, mine, theirs), {})
    assert result["note"] == "first\nsaw the board from row two\ntired after ten minutes"
    assert result["tags"] == ["a", "b", "c"]
    assert "set_aside" not in result


def test_removed_here_and_changed_there_is_a_question():
    """The changed value stays unless the removal is chosen."""
    mine = edited()
    del mine["visit"][1]
    merge = three_way(BASE, mine, edited(v1__acuity="20/50"))
    (conflict,) = merge.conflicts
    assert conflict.mine is MISSING
    assert len(resolve(merge, {})["visit"]) == 2
    assert len(resolve(merge, {conflict.key: "mine"})["visit"]) == 1
    assert resolve(merge, {conflict.key: "theirs"})["visit"][1]["acuity"] == "20/50"


def test_a_signed_visit_is_never_mixed_with_an_unsigned_edit():
    """Signed here, edited there: one question for the whole visit; both keeps the signed one in its place."""
    signed = edited(v0__signature={"signer": "RK", "digest": "sha256:1"})
    other = edited(v0__acuity="20/60")
    for mine, theirs in ((signed, other), (other, signed)):
        merge = three_way(BASE, mine, theirs)
        assert [each.key for each in merge.conflicts] == ["visit[2024-05-01]"]
        result = resolve(merge, {})
        assert result["visit"][0] == signed["visit"][0]
        assert result["set_aside"][0]["other"] == other["visit"][0]


def test_later_words_to_the_same_signed_visit_come_together():
    """Two rooms add an addendum each to a visit that was signed before: both are there, without a question."""
    base = edited(v0__signature={"signer": "RK"}, v0__addendum=[{"at": "2024-05-02", "text": "a"}])
    mine, theirs = deepcopy(base), deepcopy(base)
    mine["visit"][0]["addendum"].append({"at": "2024-05-03", "text": "b"})
    theirs["visit"][0]["addendum"].append({"at": "2024-05-04", "text": "c"})
    merge = three_way(base, mine, theirs)
    assert merge.is_clean
    assert [each["text"] for each in merge.merged["visit"][0]["addendum"]] == ["a", "b", "c"]


def test_lists_without_a_name_for_their_items_are_one_value():
    """Goals have no name of their own: two different edits are one question."""
    base = {"goal": [{"task": "board"}]}
    merge = three_way(base, {"goal": [{"task": "board"}, {"task": "bus"}]}, {"goal": [{"task": "faces"}]})
    assert [each.key for each in merge.conflicts] == ["goal"]


def test_kind_counts_as_well_as_value():
    """True is not 1, while 1 and 1.0 are the same measurement."""
    assert same(1, 1.0)
    assert not same(True, 1)
    assert not same([1], [True])
    assert differences({"a": True}, {"a": 1})[0].key == "a"


scalars = st.one_of(st.integers(0, 3), st.text("ab", max_size=2), st.booleans())
cases = st.recursive(
    st.dictionaries(st.sampled_from("abcd"), scalars, max_size=4),
    lambda inner: st.dictionaries(
        st.sampled_from("abcd"),
        st.one_of(scalars, inner, st.lists(scalars, max_size=2)),
        max_size=4,
    ),
    max_leaves=8,
)


@given(cases, cases, cases)
@settings(max_examples=150, deadline=None)
def test_merging_obeys_its_laws(base, mine, theirs):
    """One side unchanged gives the other; both alike give that; choosing a side at every conflict is symmetric."""
    assert same(three_way(base, mine, base).merged, mine)
    assert same(three_way(base, base, theirs).merged, theirs)
    assert same(three_way(base, mine, mine).merged, mine)
    one, other = three_way(base, mine, theirs), three_way(base, theirs, mine)
    assert ([each.key for each in one.conflicts] and True) or one.is_clean
    assert {each.key for each in one.conflicts} == {each.key for each in other.conflicts}
    ours = resolve(one, {each.key: "mine" for each in one.conflicts})
    same_from_there = resolve(other, {each.key: "theirs" for each in other.conflicts})
    assert same(ours, same_from_there)


@given(cases, cases, cases)
@settings(max_examples=150, deadline=None)
def test_keeping_both_loses_no_value(base, mine, theirs):
    """Each value that differs between the two and is there on one side is found in the result."""
    merge = three_way(base, mine, theirs)
    result = repr(resolve(merge, {}))
    for conflict in merge.conflicts:
        for value in (conflict.mine, conflict.theirs):
            if value is not MISSING and not isinstance(value, list):
                assert repr(value) in result
