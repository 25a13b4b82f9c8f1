"""Each format beside a kept file, so that no wording or figure changes unseen.

To make the files anew after a wanted change: AFOCAL_REMAKE_GOLDEN=1 python -m pytest tests/core/test_documents_golden.py,
then read the difference. Versions are replaced by a fixed text.
"""

from __future__ import annotations

import os
import random
from pathlib import Path

import documents_cases as cases
import pytest

from afocal.core.documents import handout, handout_facts, note_facts, order, working_sheet
from afocal.core.documents.chart_note import chart_note
from afocal.core.documents.fhir import fhir_text
from afocal.core.documents.look_back_report import look_back_text
from afocal.core.documents.tables import Privacy, dictionary_text, outcomes_text, visits_text
from afocal.core.look_back import look_back

GOLDEN = Path(__file__).parent / "golden"
REMAKE = os.environ.get("AFOCAL_REMAKE_GOLDEN") == "1"
KEYED = Privacy(key=b"a key for tests only")


def rows() -> list[dict]:
    """Invented outcomes of forty people."""
    chance = random.Random(11)
    made = []
    for n in range(40):
        measured = 0.30 + chance.gauss(0.03, 0.08)
        made.append(
            {
                "name": f"TC-{n:03d}.toml",
                "visit_date": f"2026-{1 + n % 12:02d}-15",
                "eye": ("right", "left", "both")[n % 3],
                "goal": ("street name sign", "television", "sheet music")[n % 3],
                "goal_kind": ("distance", "distance", "near")[n % 3],
                "device": ("g25-bioptic", "g20-wide", "g25-near")[n % 3],
                "promised_logmar": 0.30,
                "measured_logmar": round(measured, 2),
                "repeat_logmar": round(measured + chance.gauss(0, 0.08), 2),
                "outcome": "returned" if n % 9 == 0 else "goal met" if n % 4 else "goal partly met",
                "reason": "neck hurts" if n % 9 == 0 else "",
                "signed": 1,
            }
        )
    return made


def _for(case) -> dict[str, str]:
    plan, sheet, settings = cases.plan_of(case), cases.sheet_of(case), cases.SETTINGS
    made = {
        "note-full-soap.txt": chart_note(case, plan, sheet, settings),
        "note-brief-soap-ascii.txt": chart_note(case, plan, sheet, settings, length="brief", letters="ascii"),
        "note-full-narrative.txt": chart_note(case, plan, sheet, settings, order="narrative"),
        "note-brief-narrative.txt": chart_note(
            case, plan, sheet, settings, length="brief", order="narrative"
        ),
        "handout.txt": handout.handout_text(case, plan, sheet, settings),
        "handout.html": handout.handout_html(case, plan, sheet, settings),
        "fhir-r4b.json": fhir_text(case, plan, sheet, settings, release="R4B"),
        "fhir-r5.json": fhir_text(case, plan, sheet, settings, release="R5"),
    }
    if case.visit.choice is not None:
        made["order.txt"] = order.order(case, plan, sheet, settings).text()
        made["working-sheet.txt"] = working_sheet.working_sheet(case, plan, sheet, settings)
    return made


def _tables() -> dict[str, str]:
    everyone = [make() for make in cases.ALL.values()]
    return {
        "visits.csv": visits_text(everyone, "csv", KEYED),
        "visits.jsonl": visits_text(everyone, "jsonl", KEYED),
        "outcomes.csv": outcomes_text(rows(), "csv", KEYED),
        "outcomes.jsonl": outcomes_text(rows(), "jsonl", KEYED),
        "dictionary.csv": dictionary_text("csv"),
        "dictionary.jsonl": dictionary_text("jsonl"),
        "look-back.txt": look_back_text(look_back(rows())),
    }


def held(folder: Path, made: dict[str, str]) -> list[str]:
    """Names of the files that differ from what was made; with the variable set they are written instead."""
    if REMAKE:
        folder.mkdir(parents=True, exist_ok=True)
        for name, text in made.items():
            (folder / name).write_bytes(text.encode())
    return [
        name
        for name, text in made.items()
        if not (folder / name).is_file() or (folder / name).read_bytes() != text.encode()
    ]


@pytest.fixture(autouse=True)
def _fixed_version(monkeypatch):
    for module in (handout_facts, note_facts, order, working_sheet):
        monkeypatch.setattr(module, "made_by", lambda: "afocal 0.0.0, formulas 0-00000000")


@pytest.mark.parametrize("name", cases.ALL)
def test_the_documents_of_a_case(name):
    """Every document of the invented case is the kept one to the byte; see the head of this file for making them anew."""
    assert held(GOLDEN / name, _for(cases.ALL[name]())) == []


def test_the_tables():
    """Every table is the kept one to the byte."""
    assert held(GOLDEN / "tables", _tables()) == []


def test_no_kept_file_is_left_over():
    """Each kept file is one that a test makes."""
    made = {f"{name}/{file}" for name, make in cases.ALL.items() for file in _for(make())}
    made |= {f"tables/{file}" for file in _tables()}
    kept = {path.relative_to(GOLDEN).as_posix() for path in GOLDEN.rglob("*") if path.is_file()}
    assert kept - {".gitattributes"} == made
