"""What would change the answer: each value told is typed into the case, and the whole plan made anew from it.

Cases are invented, the stock is that of practice.
"""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

import afocal.core
from afocal.core.case import Case, new_case
from afocal.core.plan import option_for, plan, read_case
from afocal.core.plan.sensitivity import measure_next, sensitivity
from afocal.core.plan.tube_field import Infeasible
from afocal.core.plan.types import GRADES, Option, Sensitivity
from afocal.core.settings import Settings
from afocal.core.stock import loads_stock

SETTINGS = Settings()
DEMO = Path(afocal.core.__file__).parent / "data" / "demo"
STOCK = loads_stock((DEMO / "stock.toml").read_text("utf-8"))[0]

BASE = {
    "person.birth_year": "1956", "test.refraction_vertex": "12", "right.distance_acuity": "20/100",
    "left.distance_acuity": "20/125", "right.near_acuity": "2.0M @ 40", "left.near_acuity": "2.5M @ 40",
    "right.refraction": "-1.00 sph", "left.refraction": "-1.25 sph", "right.contrast": "1.35", "left.contrast": "1.20",
    "right.pupil": "3.2", "left.pupil": "3.2", "right.sustained_accommodation": "0",
    "left.sustained_accommodation": "0", "binocular.fusion": "yes", "binocular.dominance": "right",
    "binocular.base_out_distance": "9/19/10", "face.pd": "63", "face.vertex_distance": "12",
    "face.pupil_height_right": "21", "face.pupil_height_left": "21", "face.b_size": "52", "face.reach": "20 cm",
}  # fmt: skip


def made(goals: list[str], **changes: str) -> Case:
    """A person of 70 of whom everything is measured, but for what is changed to nothing."""
    case = new_case("W-1", date(2026, 11, 20))
    typed = {**BASE, **{key.replace("__", "."): text for key, text in changes.items()}}
    for path, text in typed.items():
        if text:
            case = case.with_typed(path, text)
    for index, task in enumerate(goals):
        case = case.with_goal_typed(index, "task", task)
    return case


def first(case: Case) -> Option:
    """The first option."""
    return plan(case, STOCK, SETTINGS).options[0]


def spans_of(case: Case) -> dict[str, Sensitivity]:
    """What would change the answer, for the first option, by path."""
    return {span.path: span for span in sensitivity(case, STOCK, SETTINGS, first(case).configuration)}


def edited(case: Case, path: str, value: float) -> Case:
    """The case with that value typed in."""
    if path.startswith("goal."):
        return case.with_goal_typed(int(path.split(".")[1]), "reserve", f"{value:.7f}")
    unit = {"distance_acuity": " logMAR", "near_acuity": "M @ 40", "refraction": " sph", "reach": " mm"}
    name = path.partition(".")[2]
    sign = "+" if name == "refraction" else ""
    return case.with_typed(path, f"{value:{sign}.7f}{unit.get(name, '')}")


def what_changes(case: Case, before: Option, goal: int) -> str:
    """What is different from an option and its goal in this case, by the whole stock."""
    context, demands = read_case(case, SETTINGS)
    try:
        now = option_for(context, STOCK, demands, before.configuration).outcomes[goal]
    except Infeasible:
        return "unusable"
    old = before.outcomes[goal]
    if now.needed != old.needed:
        return "a telescope is needed for the goal" if now.needed else "the goal needs no telescope"
    if now.needed and GRADES.index(now.grade) > GRADES.index(old.grade):
        return "grade"
    best = plan(case, STOCK, SETTINGS).options[0]
    if best.score == 0.0:
        return "no option"
    same = [
        (choice.telescope, choice.eye, choice.cap) for choice in (best.configuration, before.configuration)
    ]
    return "" if same[0] == same[1] else f"{best.telescope.id} comes first"


@pytest.mark.parametrize(
    ("goals", "changes"),
    [
        (["television subtitles"], {}),
        (["newspaper"], {"binocular__fusion": "no"}),
        (["cards on the table"], {"right__distance_acuity": "20/160", "left__distance_acuity": "20/160"}),
        (
            ["street name sign", "book"],
            {"right__distance_acuity": "20/250", "left__distance_acuity": "20/320"},
        ),
        (["facial expression"], {"right__contrast": "1.5"}),
    ],
)
def test_what_is_told_to_change_the_answer_does_and_a_little_less_does_not(
    goals: list[str], changes: dict[str, str]
) -> None:
    """At the value told the plan says so; a twentieth short of it nothing is different."""
    case = made(goals, **changes)
    before = first(case)
    assert before.leading is not None
    goal, told = before.leading.goal_index, 0
    for path, span in spans_of(case).items():
        for edge, what in ((span.lower, span.what_lower), (span.upper, span.what_upper)):
            if edge is None:
                continue
            told += 1
            at = what_changes(edited(case, path, edge), before, goal)
            assert at, (path, edge, what)
            if "comes first" in what:
                assert at == f"{what.split(' ')[0]} comes first", (path, edge, what)
            elif "telescope" in what:
                assert at == what
            short = span.value + 0.95 * (edge - span.value)
            assert what_changes(edited(case, path, short), before, goal) == "", (path, short, what)
    assert told >= 3


def test_print_that_was_never_read_is_the_first_thing_to_measure_for_reading() -> None:
    """Estimated from letters, threshold print decides the cap: it is named, and typed in it is no longer open."""
    case = made(["newspaper"], right__near_acuity="", left__near_acuity="", binocular__fusion="no")
    found = spans_of(case)
    assert not found["right.near_acuity"].measured
    nearest = measure_next(found.values())
    assert nearest is not None and nearest.path == "right.near_acuity"
    read = case.with_typed("right.near_acuity", "2.5M @ 40")
    assert spans_of(read)["right.near_acuity"].measured
    after = measure_next(spans_of(read).values())
    assert after is None or after.path != "right.near_acuity"


def test_fusion_that_was_never_tried_is_named_when_two_tubes_would_come_first() -> None:
    """Like eyes and long looking: shown through a trial pair, two tubes come first, and then they do."""
    case = made(["television subtitles"], binocular__fusion="")
    nearest = measure_next(spans_of(case).values())
    assert nearest is not None and nearest.path == "binocular.fusion"
    assert "(both eyes) comes first" in nearest.what_upper
    fused = first(case.with_typed("binocular.fusion", "yes"))
    assert fused.configuration.eye == "both" and nearest.what_upper.startswith(fused.telescope.id)
    assert "binocular.fusion" not in spans_of(made(["television subtitles"], binocular__fusion="no"))


def test_an_assumed_frame_or_reach_says_what_being_measured_so_would_forbid() -> None:
    """A frame of 40 mm has no room for a bioptic that needs more: the height it needs is told as the edge."""
    case = made(
        ["street name sign"], face__b_size="", right__distance_acuity="20/200", left__distance_acuity="20/200"
    )
    option = first(case)
    assert option.configuration.position == "bioptic"
    span = spans_of(case)["face.b_size"]
    least = option.device.mount.least_lens_height_mm
    assert span.upper == pytest.approx(least, abs=0.5) and span.upper >= least  # type: ignore[operator]
    assert "measured so, it can no longer be used (frame too shallow); from" in span.sentence
    reach = spans_of(made(["newspaper"], face__reach="", binocular__fusion="no"))["face.reach"]
    assert "hands do not reach" in reach.sentence and reach.lower == pytest.approx(200.0, abs=2.0)


def test_the_contrast_of_both_eyes_moves_with_that_of_one() -> None:
    """Nothing is typed for both eyes, so the better of the two counts for two tubes: a worse one changes nothing."""
    case = made(["facial expression"], right__contrast="1.20", left__contrast="1.35")
    pair = next(o for o in plan(case, STOCK, SETTINGS).options if o.configuration.eye == "both")
    assert pair.device.leading.side == "right"
    found = sensitivity(case, STOCK, SETTINGS, pair.configuration)
    span = next(span for span in found if span.path == "right.contrast")
    context = read_case(case.with_typed("right.contrast", "0.80"), SETTINGS)[0]
    assert context.both_log_cs == pytest.approx(1.35)
    assert span.lower is None or "nearly met" not in span.what_lower


def test_for_eyes_over_the_age_nothing_is_made_of_accommodation() -> None:
    """At 70 no more than half a dioptre is likely: it is not what to measure next."""
    case = made(["television subtitles"], right__sustained_accommodation="", left__sustained_accommodation="")
    nearest = measure_next(spans_of(case).values())
    assert nearest is None or nearest.path != "right.sustained_accommodation" or nearest.weight >= 0.02
    young = made(["television subtitles"], person__birth_year="1996", right__sustained_accommodation="")
    assert spans_of(young)["right.sustained_accommodation"].value > 2.0


def test_the_goal_probed_is_the_one_the_device_is_for() -> None:
    """A first goal that needs no telescope is passed over."""
    case = made(["street name sign", "theatre stage"])
    option = first(case)
    assert not option.outcomes[0].needed
    assert "goal.1.reserve" in spans_of(case)


def test_an_eye_that_was_never_measured_is_the_first_thing_to_measure() -> None:
    """Only the right eye is known: were the left one better, it would come first, and typed in it does."""
    case = made(["theatre stage"], left__distance_acuity="", left__near_acuity="", binocular__fusion="no")
    nearest = measure_next(spans_of(case).values())
    assert nearest is not None and nearest.path == "left.distance_acuity"
    assert "(left eye) comes first" in nearest.what_lower and nearest.lower is not None
    seen = first(edited(case, "left.distance_acuity", nearest.lower))
    assert seen.configuration.eye == "left" and nearest.what_lower.startswith(seen.telescope.id)
    blind = made(["theatre stage"], left__distance_acuity="NLP", left__near_acuity="")
    assert "left.distance_acuity" not in spans_of(blind)
