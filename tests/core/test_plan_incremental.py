"""An edit recomputes only what it touches: the plan after it is bit for bit the plan made from nothing, every time."""

from __future__ import annotations

import threading
from dataclasses import replace
from datetime import date
from time import sleep
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from afocal.core.case import Case, new_case
from afocal.core.fields import GOAL_FIELDS, fields
from afocal.core.plan import columns, cross, plan, read_case
from afocal.core.plan.cross import grid_of
from afocal.core.plan.data import plan_data
from afocal.core.plan.layers import COLUMNS, KINDS, ROWS, SIGHTS, SMALL, STORES, Store, forget
from afocal.core.plan.quick import resolved
from afocal.core.settings import Settings
from afocal.core.stock import Cap, Filter, Stock, Telescope

SETTINGS = Settings()


def _telescope(id_: str, **more: Any) -> Telescope:
    base: dict[str, Any] = {
        "description": id_, "type": "galilean", "magnification": 2.5, "tube_length_mm": 28,
        "objective_diameter_mm": 22, "positions": ("bioptic", "full diameter"), "mounts": ("through the lens", "clip-on"),
        "corrections": ("carrier", "ocular", "objective", "none"),
    }  # fmt: skip
    return Telescope(id=id_, **{**base, **more})


STOCK = Stock(
    telescopes=(
        _telescope("weak", magnification=1.6, tube_length_mm=18, objective_diameter_mm=28, spread_highest_mm=3),
        _telescope("middle", ocular_behind_carrier_mm=3),
        _telescope("focus", focusable=True, shortest_tube_mm=26, longest_tube_mm=40, ocular_diameter_mm=14,
                   corrections=("carrier", "refocused", "none")),
        _telescope("measured", magnification=3.0, tube_length_mm=35, measured_magnification=2.8,
                   measured_field_deg=7.0, tilt_highest_deg=20),
        # So thick that it can be worn high in the lens only far enough from the eye.
        _telescope("thick", housing_radius_mm=20, tilt_lowest_deg=0, tilt_highest_deg=0),
        _telescope("prism", type="keplerian", magnification=4.0, tube_length_mm=80, objective_diameter_mm=16,
                   field_stop_mm=9, focusable=True, shortest_tube_mm=76, longest_tube_mm=95,
                   corrections=("carrier", "refocused"), in_pairs=False),
    ),
    caps=(Cap(id="c2", description="+2", power_d=2.0), Cap(id="c4", description="+4", power_d=4.0, base_in_prism=8.0)),
    filters=(Filter(id="amber", description="amber", transmittance=0.6),),
)  # fmt: skip
OTHER_STOCK = Stock(telescopes=STOCK.telescopes[1:], caps=STOCK.caps[1:], filters=STOCK.filters)

BASE = {
    "person.birth_year": "1980", "right.distance_acuity": "20/100", "left.distance_acuity": "20/125",
    "right.near_acuity": "2.0M @ 40", "left.near_acuity": "2.5M @ 40", "right.refraction": "-2.00 -1.00 x 90",
    "left.refraction": "-2.50 sph", "binocular.fusion": "yes", "face.vertex_distance": "12", "face.pd": "62",
    "face.spread": "1.5",
}  # fmt: skip
GOALS = ({"task": "street name sign", "detail": "20/50"}, {"task": "newspaper"}, {"task": "computer screen"})

# What is typed into each field, one after the other; every field that is not free words stands here.
TYPED: dict[str, tuple[str, ...]] = {
    "person.birth_year": ("1935", "2015", ""),
    "history.stability": ("recently changed", "stable"),
    "history.last_eye_exam": ("2020-01-01", ""),
    "history.sudden_loss": ("yes", "no"),
    "history.new_distortion": ("yes", "no"),
    "history.flashes_or_floaters": ("yes", "no"),
    "history.eye_pain": ("yes", "no"),
    "history.field_loss_new": ("yes", "no"),
    "history.hallucinations": ("yes", "no"),
    "history.head_tremor": ("marked", "slight", ""),
    "history.neck": ("painful", "stiff", ""),
    "history.hands": ("one hand", "steady"),
    "history.falls": ("several", "none"),
    "test.chart_distance": ("3 m", "6 m"),
    "test.chart_kind": ("rings", "letters"),
    "test.chart_luminance": ("85", "160"),
    "right.distance_acuity": ("20/80", "20/400", "NLP", ""),
    "left.distance_acuity": ("20/60", "HM", "20/200"),
    "both.distance_acuity": ("20/70", "20/90", ""),
    "right.near_acuity": ("1.0M @ 30", "4.0M @ 25", ""),
    "left.near_acuity": ("1.6M @ 40", ""),
    "both.near_acuity": ("1.0M @ 40", ""),
    "test.near_add": ("2.50", ""),
    "right.reading_curve": ("4.0M 90, 3.2M 88, 2.5M 70, 2.0M 40, 1.6M 15", ""),
    "left.reading_curve": ("4.0M 90, 3.2M 88, 2.5M 70, 2.0M 40, 1.6M 15", ""),
    "both.reading_curve": ("4.0M 90, 3.2M 88, 2.5M 70, 2.0M 40, 1.6M 15", ""),
    "right.refraction": ("+6.00 sph", "-12.00 sph", "pl", "-1.00 -6.00 x 180"),
    "left.refraction": ("-9.00 sph", "pl", ""),
    "test.refraction_vertex": ("14", "8", ""),
    "test.lenses_worn": ("none", "progressive", "bifocal"),
    "test.add": ("2.00", ""),
    "right.accommodation": ("3", ""),
    "left.accommodation": ("3", ""),
    "right.sustained_accommodation": ("6", "0", ""),
    "left.sustained_accommodation": ("2", ""),
    "right.contrast": ("0.00", "1.80", ""),
    "left.contrast": ("0.60", ""),
    "both.contrast": ("1.65", ""),
    "right.pupil": ("2", "6", ""),
    "left.pupil": ("2.5", ""),
    "right.pupil_dim": ("7", ""),
    "left.pupil_dim": ("6", ""),
    "test.room_luminance": ("5", "500", ""),
    "test.glare": ("some", "disabling", "none"),
    "right.scotoma": ("20", "2"),
    "left.scotoma": ("30", ""),
    "right.visual_field": ("15", "150", ""),
    "left.visual_field": ("12", ""),
    "binocular.dominance": ("left", "right"),
    "binocular.fusion": ("no", "", "yes"),
    "binocular.suppression": ("left", "none"),
    "binocular.base_in_distance": ("x/7/4",),
    "binocular.base_out_distance": ("4/8/5", "20/25/18"),
    "binocular.base_in_near": ("13/21/13",),
    "binocular.base_out_near": ("3/6/4", "30/40/30"),
    "binocular.vertical": ("x/3/2",),
    "binocular.double_vision": ("always", "never"),
    "face.pd": ("48", "74", "30/33"),
    "face.vertex_distance": ("8", "18", ""),
    "face.ocular_to_cornea": ("10", "20", ""),
    "face.pupil_height_right": ("18", "25", ""),
    "face.pupil_height_left": ("30", ""),
    "face.a_size": ("52",),
    "face.b_size": ("28", "45", ""),
    "face.bridge": ("18",),
    "face.pantoscopic_tilt": ("12", ""),
    "face.lens_form": ("bifocal", "single vision", ""),
    "face.segment_height": ("16", ""),
    "face.tube_tilt": ("25", "0", ""),
    "face.spread": ("0", "2.5", "-2"),
    "face.reach": ("45 cm", "15 cm", ""),
    "trial.acuity_right": ("20/40",),
    "trial.acuity_left": ("20/50",),
    "trial.acuity_both": ("20/40",),
    "trial.print": ("1.0M @ 25",),
    "plan.next_date": ("2026-08-01",),
}  # fmt: skip
GOAL_TYPED: dict[str, tuple[str, ...]] = {
    "task": ("newspaper", "television", "theatre stage"),
    "distance": ("3 m", "45 cm", "12 m"),
    "nearest": ("30 cm", "2 m", ""),
    "farthest": ("20 m", ""),
    "detail": ("20/30", "1.0M", "20/80"),
    "reserve": ("1", "2.5"),
    "contrast": ("0.2", "0.9"),
    "width": ("2 m", "10 cm", ""),
    "characters": ("20", "4", ""),
    "light": ("dim", "bright", "room"),
    "duration": ("long", "moments"),
    "posture": ("walking", "seated"),
    "hands_free": ("yes", "no"),
    "eyes": ("two", "one"),
    "object_speed": ("40", "0"),
}


def _case() -> Case:
    case = new_case("R-1", date(2026, 6, 1))
    for path, text in BASE.items():
        case = case.with_typed(path, text)
    for index, goal in enumerate(GOALS):
        for key, text in goal.items():
            case = case.with_goal_typed(index, key, text)
    return case


def _whole(case: Case, stock: Stock, wanted: Settings) -> Any:
    """Everything of a plan, with unrounded figures: every row, every refusal, the order, and the first option in full."""
    context, demands = read_case(case, wanted)
    grid = grid_of(context, stock, demands)
    blocks = [
        (
            block.eye, block.tint, list(block.base), list(block.used), block.usable, block.no_full,
            [column.codes for column in block.columns],
            [(list(column.uses), column.points) for column in block.columns],
        )
        for block in grid.blocks
    ]  # fmt: skip
    order = [grid.entry(rank) for rank in range(len(grid))]
    keys = [grid.configuration(entry).key for entry in order]
    return (
        blocks, grid.best_of_row, grid.refused, order, keys, plan_data(plan(case, stock, wanted), 2),
    )  # fmt: skip


def _same(case: Case, stock: Stock = STOCK, wanted: Settings = SETTINGS) -> None:
    kept = _whole(case, stock, wanted)
    forget()
    assert kept == _whole(case, stock, wanted)


def test_every_field_that_is_not_free_words_is_edited_here() -> None:
    """A field added to the record has to be added to the edits of this file."""

    def figures(kinds: Any) -> set[str]:
        return {item.path for item in kinds if type(item.kind).__name__ != "Words"}

    assert {path for path in figures(fields()) if not path.startswith("follow_up.")} <= set(TYPED)
    assert figures(GOAL_FIELDS) <= set(GOAL_TYPED)


@pytest.mark.parametrize("path", TYPED)
def test_an_edit_of_one_field_gives_the_plan_made_from_nothing(path: str) -> None:
    """Typed one after the other over a plan that is kept, each value gives the same numbers as a first plan."""
    case = _case()
    plan(case, STOCK, SETTINGS)
    for text in TYPED[path]:
        case = case.with_typed(path, text)
        _same(case)
    _same(_case())


@pytest.mark.parametrize("key", GOAL_TYPED)
def test_an_edit_of_a_goal_gives_the_plan_made_from_nothing(key: str) -> None:
    """The same for every figure of a goal, of a distant one and of print."""
    case = _case()
    plan(case, STOCK, SETTINGS)
    for index in (0, 1):
        for text in GOAL_TYPED[key]:
            case = case.with_goal_typed(index, key, text)
            _same(case)


visit_edits = st.sampled_from([(path, text) for path, texts in TYPED.items() for text in texts])
goal_edits = st.tuples(
    st.integers(0, 2), st.sampled_from([(key, text) for key, texts in GOAL_TYPED.items() for text in texts])
)
other_edits = st.sampled_from(
    ("goals turned round", "first goal only", "other stock", "other settings", "back")
)


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(st.one_of(visit_edits, goal_edits, other_edits), min_size=2, max_size=10))
def test_any_sequence_of_edits_ends_in_the_plan_made_from_nothing(edits: list[Any]) -> None:
    """Random sequences over fields, goals, stock and settings, planned at each step, compared at the end."""
    case, stock, wanted = _case(), STOCK, SETTINGS
    plan(case, stock, wanted)
    for edit in edits:
        if edit == "goals turned round":
            case = case.with_goals(list(reversed(case.visit.goals)))
        elif edit == "first goal only":
            case = case.with_goals(case.visit.goals[:1])
        elif edit == "other stock":
            stock = OTHER_STOCK if stock is STOCK else STOCK
        elif edit == "other settings":
            wanted = Settings(assumptions={"blur_constant": 0.8, "cr95_logmar": 0.3}, weights={"field": 3.0})
        elif edit == "back":
            case, wanted = _case(), SETTINGS
        elif isinstance(edit[0], int):
            case = case.with_goal_typed(min(edit[0], len(case.visit.goals) - 1), *edit[1])
        else:
            case = case.with_typed(*edit)
        plan(case, stock, wanted)
    _same(case, stock, wanted)


@pytest.mark.parametrize(
    ("path", "text", "again"),
    [
        ("face.vertex_distance", "14", 0),
        ("face.pd", "60", 0),
        ("binocular.base_out_distance", "4/8/5", 0),
        ("history.diagnosis", "dry eyes", 0),
        ("right.distance_acuity", "20/80", 1),
        ("person.birth_year", "1950", 2),
    ],
)
def test_an_edit_judges_again_only_what_it_touches(
    path: str, text: str, again: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What lies afar is seen alike behind a full lens wherever the eye stands, and by each eye for itself."""
    stock = Stock(telescopes=tuple(replace(one, corrections=("carrier",)) for one in STOCK.telescopes))
    case = _case().with_goals(_case().visit.goals[:1])
    forget()
    plan(case, stock, SETTINGS)
    judged: list[Any] = []

    def noted(*given: Any) -> Any:
        judged.append(given)
        return resolved(*given)

    monkeypatch.setattr(columns, "resolved", noted)
    plan(case.with_typed(path, text), stock, SETTINGS)
    assert len(judged) == again


def test_what_is_kept_is_bounded() -> None:
    """However many values are typed, no store grows beyond its size."""
    forget()
    case = _case()
    for number in range(60):
        case = case.with_typed("face.vertex_distance", f"{9 + 0.05 * number:.2f}")
        case = case.with_goal_typed(0, "distance", f"{5 + 0.1 * number:.1f} m")
        plan(case, STOCK, SETTINGS)
    for store in STORES:
        assert len(store) <= store.most
    for store in (ROWS, SIGHTS, COLUMNS, SMALL):
        assert len(store) == store.most
    assert len(KINDS) == 1


def test_a_store_forgets_the_oldest() -> None:
    """What was not asked for longest goes first; what is asked for again stays."""
    store = Store(2)
    made: list[str] = []

    def make(name: str) -> Any:
        return store.get(name, lambda: made.append(name) or name)

    for name in ("a", "b", "a", "c", "a", "b"):
        assert make(name) == name
    assert made == ["a", "b", "c", "b"] and len(store) == store.most == 2


def test_one_cross_is_made_at_a_time(monkeypatch: pytest.MonkeyPatch) -> None:
    """The screen may make a plan while a thread tries inputs: what earlier plans left is used by one of them at a time."""
    inside: list[int] = []
    most: list[int] = []
    real = cross._grid

    def counted(*arguments: Any) -> Any:
        inside.append(1)
        most.append(len(inside))
        sleep(0.005)  # time enough for the other thread to come in, if it could
        made = real(*arguments)
        inside.pop()
        return made

    monkeypatch.setattr(cross, "_grid", counted)
    threads = [threading.Thread(target=plan, args=(_case(), STOCK, SETTINGS)) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert most == [1, 1, 1, 1]
