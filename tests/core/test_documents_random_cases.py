"""Any case that can be typed: plan, sheet and every document either are made whole or refuse in one sentence."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from datetime import date
from functools import cache

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from afocal.core.case import Case, new_case
from afocal.core.case_file import dumps_case, loads_case
from afocal.core.documents.chart_note import chart_note
from afocal.core.documents.fhir import fhir_text
from afocal.core.documents.handout import handout_html, handout_text
from afocal.core.documents.order import order
from afocal.core.documents.plan_page import plan_page
from afocal.core.documents.working_sheet import working_sheet
from afocal.core.entry import Choice, YesNo
from afocal.core.errors import AfocalError, Refusal
from afocal.core.field import Field
from afocal.core.fields import GOAL_FIELDS, by_path
from afocal.core.fitting.sheet import fitting_sheet
from afocal.core.plan import plan
from afocal.core.plan.data import plan_data
from afocal.core.settings import Settings
from afocal.core.stock import Stock, loads_stock
from afocal.core.workspace import DEMO
from afocal.tui.verbs import plan_json

SETTINGS = Settings()
BROKEN = re.compile(r"(?<!\w)[-+]?(nan|inf)(?!\w)|\bNaN\b|\bInfinity\b|\{\}|=None\b| None\b(?! of )")

# What a kind takes besides its example: the ends of ranges, off-chart words, both cylinder forms, plain nonsense sizes.
MORE = {
    "AcuityKind": [
        "20/20",
        "20/2000",
        "6/30",
        "0.7 logMAR",
        "CF 2 ft",
        "HM",
        "LP",
        "NLP",
        "20/100-2",
        "-0.3 logMAR",
        "2.0 logMAR",
    ],
    "RefractionKind": [
        "pl",
        "-30.00",
        "+25.00",
        "-2.00 -1.00 x 90",
        "+1.50 sph",
        "+4.00 -8.00 x 180",
        "-10.00 +2.00 x 45",
    ],
    "NearKind": ["1.6M @ 40", "0.4/1.6M", "N12 at 33cm", "8M @ 10", "0.4M @ 100"],
    "PdKind": ["62", "31.5/30.5", "40", "80", "20/40"],
    "ReserveKind": ["x/7/4", "0/0/0", "12/19/12", "60/60/60"],
}


@cache
def stock() -> Stock:
    made, problems = loads_stock((DEMO / "stock.toml").read_text("utf-8"))
    assert not problems
    return made


@cache
def texts(path: str, field: Field) -> tuple[str, ...]:
    """Every text from the lists above and the declaration that the field reads."""
    kind = field.kind
    found = [kind.example, *re.split(r", | or ", kind.example), *MORE.get(type(kind).__name__, ())]
    if isinstance(kind, Choice):
        found += list(kind.options)
    if isinstance(kind, YesNo):
        found += ["yes", "no"]
    limits = getattr(kind, "range", None)
    if limits is not None:
        found += [
            f"{limits.lowest:g}",
            f"{limits.highest:g}",
            f"{(limits.usual_low + limits.usual_high) / 2:g}",
        ]
    kept = []
    for text in dict.fromkeys(found):
        try:
            kind.read(text, field.label)
        except Refusal:
            continue
        kept.append(text)
    assert kept, path
    return tuple(kept)


@st.composite
def cases(draw) -> Case:
    """A case with a random set of fields and up to three goals; sometimes with the best option chosen."""
    case = new_case("R-1", date(2026, 11, 25))
    declared = by_path()
    for path in draw(st.lists(st.sampled_from(sorted(declared)), max_size=45, unique=True)):
        case = case.with_typed(path, draw(st.sampled_from(texts(path, declared[path]))))
    if draw(st.booleans()):
        for side in draw(st.sampled_from([("right",), ("left",), ("right", "left")])):
            for key in ("distance_acuity", "refraction", "near_acuity"):
                path = f"{side}.{key}"
                case = case.with_typed(path, draw(st.sampled_from(texts(path, declared[path]))))
    for index in range(draw(st.integers(0, 3))):
        for field in draw(st.lists(st.sampled_from(GOAL_FIELDS), min_size=1, max_size=8, unique=True)):
            case = case.with_goal_typed(
                min(index, len(case.visit.goals)), field.path, draw(st.sampled_from(texts(field.path, field)))
            )
    return case


@settings(max_examples=80, deadline=None, suppress_health_check=list(HealthCheck))
@given(case=cases(), choose=st.booleans())
def test_plan_and_documents_of_any_case_are_whole_or_refused(case, choose):
    """Nothing but the program's own refusals, no NaN, no infinity, no None; the case comes back from its file."""
    assert loads_case(dumps_case(case)) == case
    try:
        made = plan(case, stock(), SETTINGS)
    except AfocalError as refusal:
        assert str(refusal)
        return
    text = plan_json(plan_data(made, 5))
    assert json.loads(text)["version"] == 1
    assert not re.search(r"\b(NaN|Infinity)\b", text)
    if choose and made.options:
        best = made.options[0].configuration
        case = case.with_visit(replace(case.visit, choice=best, choice_reason="best"))
        made = plan(case, stock(), SETTINGS)
    sheet = fitting_sheet(case, stock(), SETTINGS) if case.visit.choice is not None else None
    parts = (case, made, sheet, SETTINGS)
    makers = {
        "page": lambda: plan_page(made, SETTINGS),
        "note": lambda: chart_note(*parts),
        "brief": lambda: chart_note(*parts, length="brief", order="narrative", letters="ascii"),
        "handout": lambda: handout_text(*parts),
        "html": lambda: handout_html(*parts),
        "order": lambda: order(*parts).text(),
        "working": lambda: working_sheet(*parts),
        "fhir": lambda: fhir_text(*parts),
    }
    for name, make in makers.items():
        try:
            shown = make()
        except AfocalError as refusal:
            assert name in ("order", "fhir", "working"), (name, refusal)
            assert str(refusal)
            continue
        assert shown
        found = BROKEN.search(shown)
        assert found is None, (name, shown[max(0, found.start() - 80) : found.end() + 40])
