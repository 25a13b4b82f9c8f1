"""Every document of the practice cases with many kinds of device, and with hostile words wherever a clinic types them.

No person, device or place is real.
"""

from __future__ import annotations

import json
from dataclasses import replace
from functools import cache
from pathlib import Path

import documents_cases as cases
import pytest
from fhir.resources import get_fhir_model_class
from fhir.resources.R4B import get_fhir_model_class as get_r4b_class

from afocal.core.case_file import loads_case
from afocal.core.documents.chart_note import chart_note
from afocal.core.documents.fhir import fhir_text
from afocal.core.documents.handout import handout_html, handout_text
from afocal.core.documents.order import OrderBlocked, order
from afocal.core.documents.text import columns
from afocal.core.documents.working_sheet import working_sheet
from afocal.core.fitting.cautions import standing
from afocal.core.fitting.sheet import fitting_sheet
from afocal.core.plan import plan
from afocal.core.settings import Settings
from afocal.core.signing import verify
from afocal.core.stock import Stock, loads_stock

DEMO = Path(cases.__file__).parents[2] / "core" / "data" / "demo"
CODES = sorted(path.stem for path in (DEMO / "cases").glob("*.toml"))
MODEL = {"R5": get_fhir_model_class("Bundle"), "R4B": get_r4b_class("Bundle")}
SETTINGS = Settings()
# One device of each kind is enough: by mount, place of the correction, position, one eye or two.
MOST = 8


@cache
def stock() -> Stock:
    """The practice stock."""
    return loads_stock((DEMO / "stock.toml").read_text("utf-8"))[0]


@cache
def practice(code: str):
    """A practice case, and with a device of each kind chosen."""
    path = DEMO / "cases" / f"{code}.toml"
    case = loads_case(path.read_text("utf-8"), path)
    kinds = {}
    for option in plan(case, stock(), SETTINGS).options:
        choice = option.configuration
        key = (choice.mount, choice.correction, choice.position, choice.eye == "both", bool(choice.cap))
        kinds.setdefault(key, choice)
    chosen = list(kinds.values())
    step = max(1, len(chosen) // MOST)
    # A signed visit takes no other device: one that follows on it does.
    after = case.with_new_visit(case.visit.on, "follow-up") if case.visit.signed else case
    return [case, *(after.with_visit(replace(after.visit, choice=choice)) for choice in chosen[::step])]


def documents(case, items: Stock, settings: Settings) -> dict[str, str]:
    """Every document of a case; the order's reasons where it cannot be written."""
    made = plan(case, items, settings)
    sheet = None if case.visit.choice is None else fitting_sheet(case, items, settings)
    found = {
        "note": chart_note(case, made, sheet, settings),
        "handout": handout_text(case, made, sheet, settings),
        "html": handout_html(case, made, sheet, settings),
        "R4B": fhir_text(case, made, sheet, settings, release="R4B"),
        "R5": fhir_text(case, made, sheet, settings, release="R5"),
    }
    if sheet is not None:
        found["working"] = working_sheet(case, made, sheet, settings)
    try:
        found["order"] = order(case, made, sheet, settings).text()
    except OrderBlocked as blocked:
        found["reasons"] = "\n".join(blocked.sentences)
    return found


@pytest.mark.parametrize("code", CODES)
def test_every_practice_case_has_its_documents_with_every_kind_of_device(code):
    """Each fits its width, holds no broken figure, and the exchange file passes both releases with whole lenses."""
    for case in practice(code):
        found = documents(case, stock(), SETTINGS)
        for name in ("note", "order", "working", "reasons"):
            if name != "reasons" and name in found:
                assert max(columns(line) for line in found[name].splitlines()) <= 72
            assert "nan" not in found.get(name, "").split() and "None" not in found.get(name, "")
        assert all(line.endswith(".") for line in found.get("reasons", ".").splitlines())
        for release, model in MODEL.items():
            model.model_validate_json(found[release])
            for entry in json.loads(found[release])["entry"]:
                for lens in entry["resource"].get("lensSpecification", ()):
                    assert lens["eye"] in ("right", "left") and lens["sphere"] * 4 == int(lens["sphere"] * 4)
                    assert ("axis" in lens) == ("cylinder" in lens)


def _hostile_stock() -> Stock:
    """The practice stock with hostile words in every field that takes words, past the reader of stock files."""
    items = stock()
    told = {"description": cases.HOSTILE}
    return replace(
        items,
        name=cases.HOSTILE,
        telescopes=tuple(replace(each, **told) for each in items.telescopes),
        caps=tuple(replace(each, **told) for each in items.caps),
        filters=tuple(replace(each, **told) for each in items.filters),
        alternatives=tuple(replace(each, **told) for each in items.alternatives),
    )


@pytest.mark.parametrize("code", ["LQ-101", "LQ-103", "LQ-107"])
def test_hostile_words_of_stock_and_clinic_stay_words(code):
    """No document lets a description or a clinic's name act: no markup, no placeholder, no control character."""
    settings = Settings(clinic=cases.HOSTILE)
    for case in practice(code)[:6]:
        found = documents(cases.hostile(case), _hostile_stock(), settings)
        for name, text in found.items():
            assert all(c.isprintable() or c == "\n" for c in text), name
            assert "\u202e" not in text and "\x1b" not in text
        assert "<script" not in found["html"] and "<img" not in found["html"]
        for release, model in MODEL.items():
            model.model_validate_json(found[release])


def test_one_practice_case_goes_the_whole_way():
    """Examined, fitted, checked, handed over, followed up: each visit signed and unchanged, the device kept in use."""
    case = practice("LQ-109")[0]
    assert [visit.kind for visit in case.visits] == ["examination", "fitting", "follow-up"]
    assert [verify(case, index).state for index in range(3)] == ["unchanged"] * 3
    assert {visit.choice for visit in case.visits} == {case.visit.choice} != {None}
    asked = [standing(case, index) for index in range(3)]
    assert all(entry.answered for entries in asked for entry in entries if entry.text.mandatory)
    fitted, after = case.visits[1].steps, case.visits[2].steps
    assert fitted["fit.lateral.left"].note and fitted["teach.focus"].measured == "with help"
    assert after["teach.focus"].measured == "alone" and after["performance.task.2"].measured == "done"
    assert (case.value("follow_up.device"), case.value("follow_up.task_met")) == ("kept", "yes")
    note = documents(case, stock(), SETTINGS)["note"]
    assert "Task: theatre stage done, was partly" in " ".join(note.split())
    assert "Signed by mk" in note
