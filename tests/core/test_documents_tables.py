"""Tables for audit elsewhere: de-identified by default, safe in a spreadsheet, described by their dictionary."""

from __future__ import annotations

import csv
import io
import json
import re
from dataclasses import replace

import documents_cases as cases
import pytest

from afocal.core.documents.tables import (
    OUTCOME_COLUMNS,
    VISIT_COLUMNS,
    Privacy,
    defused,
    dictionary_text,
    outcome_rows,
    outcomes_text,
    visit_rows,
    visits_text,
)
from afocal.core.errors import Refusal

KEYED = Privacy(key=b"a key for tests only")
ROW = {
    "name": "TC-101.toml",
    "visit_date": "2026-11-24",
    "eye": "right",
    "goal": "street name sign at Quay 3",
    "goal_kind": "distance",
    "device": "g25-bioptic",
    "promised_logmar": 0.34,
    "measured_logmar": 0.32,
    "outcome": "kept; goal met",
    "reason": "his daughter insisted",
    "signed": 1,
}


def read(text: str) -> list[dict[str, str]]:
    """The rows of a CSV text."""
    return list(csv.DictReader(io.StringIO(text, newline="")))


def test_a_row_a_visit_with_the_values_of_the_case():
    """Two visits are two rows with the numbers as they were read."""
    rows = read(visits_text([cases.fitted()], privacy=KEYED))
    assert [row["kind"] for row in rows] == ["examination", "fitting"]
    first = rows[0]
    assert (first["right_distance_acuity_logmar"], first["left_cylinder_d"], first["left_axis_deg"]) == (
        "0.72",
        "-0.5",
        "90",
    )
    assert (first["device"], first["eye"], first["fusion"], first["through_right_logmar"]) == (
        "g25-bioptic",
        "right",
        "no",
        "0.321",
    )
    assert rows[1]["signed"] == "yes" and rows[1]["training_sessions"] == "1"


def test_off_chart_is_a_category_and_no_number():
    """Hand motion has no logMAR in a table either."""
    (row,) = read(visits_text([cases.refused()]))
    assert (row["right_off_chart"], row["right_distance_acuity_logmar"]) == ("HM", "")


def test_nothing_tells_who_it_is_by_default():
    """No code, day, year of birth or typed words stand in a table unless asked for."""
    for case in (make() for make in cases.ALL.values()):
        text = visits_text([case]) + visits_text([case], "jsonl")
        # A hash is by chance: now and then it holds any four digits.
        text = re.sub(r"\b[0-9a-f]{16}\b", "", text)
        for word in (case.code, case.visit.on.isoformat(), "macular", "market", "1963", "mk"):
            assert word not in text
    text = outcomes_text([ROW]) + outcomes_text([ROW], "jsonl")
    for word in ("TC-101", "2026-11-24", "Quay", "daughter"):
        assert word not in text


def test_a_hash_links_rows_of_one_export_only():
    """The same person has the same hash within an export and another in the next; a kept key makes it stable."""

    def people(privacy):
        return [row["person"] for row in visit_rows([cases.fitted(), cases.refused()], privacy)]

    one, other = people(Privacy()), people(Privacy())
    assert one[0] == one[1] != one[2]
    assert one[0] != other[0]
    assert people(KEYED) == people(Privacy(key=KEYED.key))
    (outcome,) = outcome_rows([ROW], KEYED)
    assert outcome["person"] == people(KEYED)[0]


def test_more_is_told_only_when_asked_for():
    """Code, day, year of birth and words, each by its own switch."""
    privacy = Privacy(codes="kept", full_days=True, birth_years=True, free_text=True)
    row = next(visit_rows([cases.bioptic()], privacy))
    assert (row["person"], row["visit_date"], row["born"]) == ("TC-101", "2026-11-24", "1963")
    assert row["diagnosis"] == "macular degeneration, dry, both eyes"
    assert next(visit_rows([cases.bioptic()], Privacy(codes="dropped")))["person"] == ""
    assert next(visit_rows([cases.bioptic()]))["born"] == "1960-1969"


@pytest.mark.parametrize(
    "cell",
    [
        '=HYPERLINK("http://x","y")',
        "+1+1",
        "-2+3",
        "@SUM(A1)",
        "\t=1",
        "\r=1",
        " =1",
        "|cmd",
        "%0A=1",
        "＝1+1",
    ],
)
def test_no_cell_starts_a_formula(cell):
    """What a spreadsheet would run is set off by an apostrophe, wherever it was typed."""
    assert defused(cell).startswith("'")
    case = cases.typed(cases.refused(), {"history.diagnosis": cell})
    (row,) = read(visits_text([case], privacy=Privacy(free_text=True)))
    assert row["diagnosis"].startswith("'")


@pytest.mark.parametrize("name", ["bioptic", "with-cap", "fitted"])
def test_hostile_words_in_every_field(name):
    """With free text asked for, no cell starts a formula, breaks its row or holds a control character."""
    case = cases.hostile(replace(cases.ALL[name](), visits=(cases.bioptic().visit,)))
    text = visits_text([case], privacy=Privacy(codes="kept", free_text=True))
    (row,) = read(text)
    assert row["diagnosis"].startswith("'=1+1")
    assert not [cell for cell in row.values() if cell[:1] in ("=", "+", "@", "\t")]
    assert all(c.isprintable() or c in "\r\n" for c in text)


def test_numbers_with_a_minus_stay_numbers():
    """A minus sphere is a number, not a formula."""
    (row,) = read(visits_text([cases.with_cap()]))
    assert float(row["left_sphere_d"]) == -1.0


def test_quotes_and_line_ends_stay_in_their_cell():
    """Commas, quotes and line ends in typed words do not make another column or row."""
    case = cases.updated(cases.typed(cases.refused(), {"history.diagnosis": 'a,"b"\n=c'}))
    rows = read(visits_text([case], privacy=Privacy(free_text=True)))
    assert len(rows) == 1 and rows[0]["diagnosis"].startswith('a,"b"')


def test_json_lines_and_csv_say_the_same():
    """Each line is an object with every column; empty is null."""
    lines = visits_text([cases.bioptic(), cases.refused()], "jsonl", KEYED).splitlines()
    rows = [json.loads(line) for line in lines]
    assert len(rows) == 2 and list(rows[0]) == [column.name for column in VISIT_COLUMNS]
    assert rows[0]["right_distance_acuity_logmar"] == 0.72 and rows[0]["fusion"] is False
    assert rows[1]["right_distance_acuity_logmar"] is None


def test_the_dictionary_describes_every_column():
    """Each column of each table has a meaning, a kind, its unit and its closed set of words."""
    rows = read(dictionary_text())
    assert [(row["table"], row["column"]) for row in rows] == [
        *(("visits", column.name) for column in VISIT_COLUMNS),
        *(("outcomes", column.name) for column in OUTCOME_COLUMNS),
    ]
    assert all(row["meaning"] and row["kind"] in ("text", "number", "yes or no") for row in rows)


def test_closed_sets_hold_only_their_words():
    """Every value in a column with a closed set is one of its words or empty."""
    rows = list(visit_rows([make() for make in cases.ALL.values()]))
    for column in VISIT_COLUMNS:
        if column.values:
            assert {row[column.name] for row in rows} <= {*column.values, "", None}, column.name
    hostile = {
        **ROW,
        "eye": "=1",
        "goal_kind": "x",
        "outcome": "kept; =1; goal met",
        "promised_logmar": float("nan"),
    }
    (row,) = outcome_rows([hostile])
    assert (row["eye"], row["goal_kind"], row["outcome"], row["promised_logmar"]) == (
        "",
        "",
        "kept; goal met",
        None,
    )


def test_another_format_is_refused_by_name():
    """A format that does not exist is a sentence."""
    with pytest.raises(Refusal, match="csv or jsonl"):
        visits_text([], "xls")  # type: ignore[arg-type]
