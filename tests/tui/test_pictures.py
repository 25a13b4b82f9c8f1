"""The five pictures: to scale, the same facts in words, in each way of drawing, and the page that shows them."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from dataclasses import replace
from itertools import pairwise
from math import asin, degrees, log10
from pathlib import Path

import pytest

from afocal.core.case import Case
from afocal.core.documents.numbers import span
from afocal.core.fitting.sheet import fitting_sheet
from afocal.core.person import person_of
from afocal.core.plan import plan
from afocal.core.workspace import Workspace, demo_workspace
from afocal.tui.app import AfocalApp
from afocal.tui.caret import caret_offset
from afocal.tui.pictures import PICTURES, clear, fields, ladder, reading, side, subject_of
from afocal.tui.pictures.canvas import WAYS, Canvas, Lines, usual_way
from afocal.tui.pictures.scale import Decades, Scale, round_up, spread_out
from afocal.tui.pictures.subject import Named, Subject
from afocal.tui.screens import picture as picture_module
from afocal.tui.screens.case import CaseScreen
from afocal.tui.screens.picture import PicturePage
from afocal.tui.signs import use_signs
from afocal.tui.view import View
from afocal.tui.widgets.roles import ROLES
from afocal.tui.widgets.sheet import SheetRow

CASES = ("LQ-101", "LQ-102", "LQ-103", "LQ-104", "LQ-105", "LQ-106", "LQ-107")
SIZES = ((38, 6), (78, 13), (76, 38), (20, 4))


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Workspace:
    """The practice set."""
    return demo_workspace(tmp_path_factory.mktemp("demo"))


@pytest.fixture(scope="module")
def views(demo: Workspace) -> dict[str, View]:
    """Every case of the practice set, computed."""
    return {code: view_of(demo, demo.open_case(code).case) for code in CASES}


@pytest.fixture(autouse=True)
def unicode_signs() -> Iterator[None]:
    """Signs and way of drawing as at the start, before and after each test."""
    use_signs(ascii_only=False)
    picture_module._way_chosen = None
    yield
    use_signs(ascii_only=False)
    picture_module._way_chosen = None


def view_of(demo: Workspace, case: Case) -> View:
    """A case with its plan and, where something is chosen, its sheet."""
    stock, settings = demo.stock()[0], demo.settings()[0]
    sheet = fitting_sheet(case, stock, settings) if case.visit.choice else None
    return View(case, settings, stock, person_of(case, settings), plan(case, stock, settings), sheet)


def only(view: View, option, word: str = "best") -> Subject:
    """A subject of one option."""
    return Subject(view, (Named(word, option),))


def bioptic_of(view: View):
    """The best bioptic of a plan."""
    assert view.plan is not None
    rows = view.plan.coverage.rows
    place = next(i for i in range(len(rows)) if rows[i].configuration.position == "bioptic")
    return view.plan.options[place]


def texts(lines: Lines) -> list[str]:
    """The lines without their roles."""
    return ["".join(text for text, _ in line) for line in lines]


def said(rows: list[SheetRow]) -> str:
    """All words as one text."""
    return "\n".join("".join(text for text, _ in row.parts) for row in rows)


# ---- the canvas and the scales


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("radius", [4.0, 7.5, 12.0])
def test_a_circle_is_as_wide_as_asked_and_round(way, radius):
    """A circle of r cells takes 2r cells across and r rows down, within the cells that its rim cuts."""
    canvas = Canvas(40, 20, way)
    canvas.circle(20, 10, radius)
    rows = texts(canvas.lines())
    columns = [x for row in rows for x, sign in enumerate(row) if sign != " "]
    filled = [y for y, row in enumerate(rows) if row.strip()]
    assert max(columns) - min(columns) + 1 == pytest.approx(2 * radius, abs=1.01)
    assert max(filled) - min(filled) + 1 == pytest.approx(radius, abs=1.01)


def test_each_way_draws_with_its_own_signs():
    """Braille dots, half blocks, or marks of plain ASCII; a dot outside is left out, not wrapped."""
    drawn = {}
    for way in WAYS:
        canvas = Canvas(4, 2, way)
        canvas.dot(0.0, 0.0)
        canvas.dot(-1, 0)
        canvas.dot(4, 1)
        canvas.dot(3.9, 1.9)
        drawn[way] = texts(canvas.lines())
    # Dot 1 is bit 1 and dot 8 bit 80 of the Braille block at 2800 (Unicode standard, Braille Patterns).
    assert drawn == {"braille": ["⠁", "   ⢀"], "blocks": ["▀", "   ▄"], "plain": ["*", "   *"]}


def test_the_way_fits_the_terminal():
    """Text consoles get blocks, terminals with fonts Braille, plain signs nothing but ASCII."""
    assert usual_way({"TERM": "linux"}, windows=False) == "blocks"
    assert usual_way({"TERM": "xterm-256color"}, windows=False) == "braille"
    assert usual_way({}, windows=True) == "blocks"
    assert usual_way({"WT_SESSION": "1"}, windows=True) == "braille"
    use_signs(ascii_only=True)
    assert usual_way({"TERM": "xterm"}, windows=False) == "plain"
    assert Canvas(3, 1, "braille").way == "plain"


def test_scales_put_decades_at_equal_steps():
    """On the log scale each decade takes the same width, places grow with values, and a place gives its value back."""
    axis = Decades(100, 10_000, 10, 70)
    assert [axis.place(value) for value in (100, 1000, 10_000)] == pytest.approx([10, 40, 70])
    assert axis.ticks() == [100, 200, 500, 1000, 2000, 5000, 10_000]
    plain = Scale(1.0, 0.0, 5, 25)
    assert plain.place(0.25) == pytest.approx(20)
    assert plain.value(plain.place(0.37)) == pytest.approx(0.37)
    assert [round_up(value) for value in (0.3, 1.0, 3.2, 66)] == pytest.approx([0.5, 1, 5, 100])


def test_labels_never_touch():
    """Labels that would overlap or be cut are left out."""
    kept = spread_out([(0, "10cm"), (3, "20cm"), (9, "50cm"), (19, "1m")], 20)
    assert all(start + len(label) < after for (start, label), (after, _) in pairwise(kept))
    assert kept[0] == (0, "10cm") and kept[-1][1] == "1m" and kept[-1][0] + 2 <= 20


# ---- every picture


@pytest.mark.parametrize("number", range(len(PICTURES)))
@pytest.mark.parametrize("code", CASES)
@pytest.mark.parametrize("way", WAYS)
def test_every_picture_fits_every_size(views, code, number, way):
    """No picture is wider or higher than its place, and each uses declared roles only and has words."""
    subject = replace(subject_of(views[code]), way=way)
    for width, height in SIZES:
        lines, words = PICTURES[number].picture(views[code], width, height, subject)
        assert len(lines) <= height
        assert all(len(text) <= width for text in texts(lines))
        assert {role for line in lines for _, role in line} <= set(ROLES)
        assert any(row.is_stop for row in words)


@pytest.mark.parametrize("number", range(len(PICTURES)))
def test_plain_ascii_is_plain(views, number):
    """Where the terminal takes plain ASCII only, a picture has nothing else."""
    use_signs(ascii_only=True)
    for view in views.values():
        lines, _ = PICTURES[number].picture(view, 78, 16)
        assert all(text.isascii() for text in texts(lines))


def test_pictures_import_nothing_heavy():
    """The package imports the standard library, the cell widths, and our own modules; no numbers library."""
    allowed = {"__future__", "collections", "dataclasses", "functools", "math", "os", "rich", "sys", "typing"}
    for path in Path(clear.__file__).parent.glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.Import):
                assert {alias.name.split(".")[0] for alias in node.names} <= allowed
            elif isinstance(node, ast.ImportFrom) and node.level == 0:
                assert (node.module or "").split(".")[0] in allowed


def test_nothing_computed_is_said(views):
    """Before the plan is there each picture says so instead of failing."""
    empty = replace(views["LQ-101"], plan=None)
    for picture in PICTURES[:4]:
        lines, words = picture.picture(empty, 38, 6)
        assert lines and said(words)
    assert "Nothing is computed yet." in said(PICTURES[0].picture(empty, 38, 6)[1])


# ---- 1: clear distances


def test_bars_reach_from_limit_to_limit_on_the_log_scale(views):
    """The bar of an option begins and ends in the cells of its own limits, and an open end reaches the arrow."""
    view = views["LQ-107"]
    subject = subject_of(view)
    bars = clear.bars_of(subject)
    lines = texts(PICTURES[0].draw(subject, 78, 3 + len(bars)))
    left = max(len(bar.label) for bar in bars) + 1
    axis = clear.scale_of(bars, view.plan.demands, left, 76)
    for bar, row in zip(bars, lines[1:], strict=False):
        inked = [x for x, sign in enumerate(row) if sign in "█▓"]
        goal = round(axis.place(view.plan.demands[0].distance_mm))
        first, last = (
            round(axis.place(bar.near_mm)),
            76 if bar.far_mm is None else round(axis.place(bar.far_mm)),
        )
        assert sorted({*inked, *([goal] if first <= goal <= last else [])}) == list(range(first, last + 1))
        assert row.endswith("►") == (bar.far_mm is None)
        assert row[goal] == "1"
    whole = round(axis.place(1000))
    assert lines[1 + len(bars)][whole] == "+" and "1m" in lines[2 + len(bars)][whole - 1 : whole + 3]


def test_best_chosen_and_next_are_told_apart(views):
    """The chosen option stands beside the best, others have other telescopes, and what is chosen comes first."""
    subject = subject_of(views["LQ-107"])
    assert [named.word for named in subject.options] == ["best", "chosen", "next", "next 2"]
    assert subject.named is not None and subject.named.word == "chosen"
    telescopes = [named.option.telescope.id for named in subject.options[2:]]
    assert len({*telescopes, subject.options[0].option.telescope.id}) == 3
    assert subject.next_option().named == subject.options[2]
    assert subject_of(views["LQ-101"]).next_goal().demand == views["LQ-101"].plan.demands[1]


def test_the_words_have_each_bar_and_whether_each_goal_is_clear(views):
    """Every range in words, and for each goal and option what the plan says of its focus."""
    view = views["LQ-104"]
    words = said(PICTURES[0].words(subject_of(view)))
    best = view.plan.options[0]
    assert span(best.device.leading.near_limit_mm, best.device.leading.far_limit_mm) in words
    assert span(best.device.cap.clear_from_mm, best.device.cap.clear_to_mm) in words
    assert "√ clear at 20.0 cm instead of 30.0 cm, cap on" in words


def test_an_unclear_goal_is_said_with_its_defocus(views):
    """A goal out of focus has the sign for no, the word, and the dioptres that the plan computed."""
    view = views["LQ-107"]
    option = view.plan.options[0]
    blurred = option.outcomes[0]._replace(clear=False, defocus_d=0.62, cap_on=False)
    words = said(PICTURES[0].words(only(view, option._replace(outcomes=(blurred,)))))
    cap = ", cap off" if option.cap else ""
    assert f"× not clear at 1.00 m{cap}: 0.62 D out of focus" in words


def test_without_an_option_the_goals_and_the_reason_stay(views):
    """When nothing can be used, the goals stand on the axis and the decision in the words."""
    lines, words = PICTURES[0].picture(views["LQ-106"], 60, 8)
    assert "1" in texts(lines)[0]
    assert views["LQ-106"].plan.decision.sentence in said(words)


def test_a_goal_that_is_held_elsewhere_stands_there_in_the_bar(views):
    """A reading cap wants the page at 20 cm and not at 30: its bar has the figure, the other rows the goal's own place."""
    view = views["LQ-104"]
    best = view.plan.options[0]
    subject = only(view, best)
    bars = clear.bars_of(subject)
    lines = texts(PICTURES[0].draw(subject, 78, 3 + len(bars)))
    left = max(len(bar.label) for bar in bars) + 1
    axis = clear.scale_of(bars, view.plan.demands, left, 76)
    own, held = round(axis.place(300)), round(axis.place(best.outcomes[0].object_distance_mm))
    assert best.outcomes[0].object_distance_mm == pytest.approx(200, abs=1)
    without, with_cap = lines[1], lines[2]
    assert without[own] == "1" and with_cap.startswith("best+cap")
    assert with_cap[held] == "1" and with_cap[own] == "│"
    assert "▓" in {with_cap[held - 1], with_cap[held + 1]}


def test_an_option_is_drawn_with_all_its_bars_or_counted(views):
    """Where rows are few, no option stands there without its cap's bar, and what is left out is counted."""
    for code, words in (("LQ-103", "3 more"), ("LQ-104", "4 more"), ("LQ-107", "3 more")):
        subject = subject_of(views[code])
        lines = texts(PICTURES[0].draw(subject, 38, 6))
        kept = clear.bars_that_fit(clear.bars_of(subject), 3)
        drawn = [bar.label for bar in kept]
        assert [line.split(" ")[0] for line in lines[1:] if line.startswith(("best", "chosen"))] == drawn
        for named in subject.options:
            mine = [bar for bar in clear.bars_of(subject) if bar.option is named.option]
            assert len([bar for bar in kept if bar.option is named.option]) in (0, len(mine))
        assert any(line.startswith(words) for line in lines)
    roomy = texts(PICTURES[0].draw(subject_of(views["LQ-103"]), 78, 13))
    assert not any("more" in line for line in roomy)


@pytest.mark.parametrize("number", range(4))
def test_what_was_assumed_is_said_with_the_picture(views, demo, number):
    """A picture that leans on a pupil or an accommodation by age says so, and no more once they are measured."""
    view = views["LQ-102"]
    words = said(PICTURES[number].words(subject_of(view)))
    assert "Assumed, not measured: " in words and "each eye, pupil 3.5 mm by age 34" in words
    case = view.case
    for path, text in (("pupil", "4"), ("sustained_accommodation", "2"), ("accommodation", "6")):
        case = case.with_typed(f"right.{path}", text).with_typed(f"left.{path}", text)
    case = case.with_typed("test.refraction_vertex", "12")
    measured = view_of(demo, case)
    assert not set(measured.person.assumed) & {"right.pupil", "left.pupil", "right.sustained_accommodation"}
    words = said(PICTURES[number].words(subject_of(measured)))
    assert " by age " not in words and "vertex distance of" not in words
    # What the goal itself leaves open stays said.
    assert ("goal 1, width to take in: usual for television subtitles" in words) == (number == 1)


def test_what_the_clear_distances_count_in_is_said(views):
    """The accommodation and the depth of focus of the eye stand with the distances that they make clear."""
    view = views["LQ-102"]
    eye = view.plan.options[0].device.leading
    words = said(PICTURES[0].words(subject_of(view)))
    assert f"Counted in, {eye.side} eye: accommodation {eye.accommodation_d:.2f} D" in words
    assert f"depth of focus {eye.tolerance_d:.2f} D each way" in words
    assert "Counted in" not in said(PICTURES[0].words(subject_of(views["LQ-106"])))
    assert "Clear distances are" not in said(PICTURES[0].words(subject_of(views["LQ-106"])))


def test_a_goal_without_a_distance_has_no_place(views, demo):
    """Nobody said where it is: it is not drawn anywhere, and the words say what is missing."""
    case = views["LQ-101"].case.with_goal_typed(0, "task", "something of my own")
    for key in ("distance", "nearest", "farthest", "detail"):
        case = case.with_goal_typed(0, key, "")
    view = view_of(demo, case)
    subject = subject_of(view)
    lines, words = PICTURES[0].picture(view, 78, 13)
    assert not any(sign == "1" for line in texts(lines)[:-2] for sign in line.replace("10", ""))
    assert any("2" in line for line in texts(lines))
    assert "Goal 1: something of my own, no distance given, so not drawn" in said(words)
    assert "give the distance from the eye to the object" in said(words)
    assert "something of my own: no distance is given" in said(PICTURES[1].words(subject))
    plain = texts(PICTURES[1].draw(replace(subject, way="plain"), 78, 13))[:-1]
    assert not any("-" in line or "+" in line for line in plain)
    assert any(
        "-" in line for line in texts(PICTURES[1].draw(replace(subject, way="plain", goal=1), 78, 13))[:-1]
    )


# ---- 2: fields


@pytest.mark.parametrize("code", ["LQ-101", "LQ-102", "LQ-107"])
def test_the_field_circle_is_to_scale_with_its_measure(views, code):
    """The fields together are as many cells wide as the union of the plan on the scale that the measure shows."""
    view = views[code]
    subject = subject_of(view)
    device = subject.option.device
    union = device.pair.union_field_deg if device.pair else device.leading.field.real_field_deg
    # No ring, so that only rims are in the row below the middle.
    bare = subject.option._replace(device=device._replace(
        eyes=tuple(eye._replace(field=eye.field._replace(ring_outer_diameter_deg=None)) for eye in device.eyes),
    ), outcomes=())  # fmt: skip
    lines = texts(PICTURES[1].draw(only(view, bare), 77, 26))
    circles = fields.circles_of(bare)
    scale = fields.cells_per_degree(circles, 77, 25)
    columns = [x for row in lines[:25] for x, sign in enumerate(row) if sign not in " RL"]
    # A rim of dots takes up to one cell more on each side.
    assert union * scale - 1 <= max(columns) - min(columns) + 1 <= union * scale + 2
    measure, _, unit = lines[25].partition(" ")
    assert len(measure) == pytest.approx(float(unit.split()[0]) * scale, abs=0.51)


def test_the_ring_is_dotted_from_field_to_outer_rim(views):
    """Along the middle row dots begin at the field's rim and end at the ring's; inside the field there are none."""
    view = views["LQ-101"]
    option = view.plan.options[0]
    subject = replace(only(view, option._replace(outcomes=())), way="plain")
    lines = texts(PICTURES[1].draw(subject, 77, 21))
    field = option.device.leading.field
    scale = fields.cells_per_degree(fields.circles_of(option), 77, 20)
    row = lines[10].ljust(77)
    dots = [abs(x + 0.5 - 38.5) for x, sign in enumerate(row) if sign == "."]
    assert min(dots) >= field.real_field_deg * scale / 2 - 0.5
    assert max(dots) == pytest.approx(field.ring_outer_diameter_deg * scale / 2, abs=4)
    assert max(dots) <= field.ring_outer_diameter_deg * scale / 2 + 0.01


def test_the_right_field_stands_to_the_right(views):
    """Tubes spread outwards move the right eye's field to the right by half of what sets the two apart."""
    option = views["LQ-102"].plan.options[0]
    left, right = fields.circles_of(option)
    apart = option.device.pair.centre_separation_deg
    assert (left.side, left.middle_deg) == ("left", -apart / 2)
    assert (right.side, right.middle_deg) == ("right", apart / 2)
    assert apart > 0


def test_the_object_of_a_far_goal_has_its_angle(views):
    """A sign of 90 cm at 8 m subtends 2 atan(0.45 / 8) = 6.44 degrees (plane trigonometry)."""
    view = views["LQ-101"]
    option, demand = view.plan.options[0], view.plan.demands[0]
    thing = fields.thing_of(option, option.outcomes[0], demand)
    half = 450 / (450**2 + 8000**2) ** 0.5
    assert thing.width_deg == pytest.approx(2 * degrees(asin(half)))
    assert thing.detail_deg is not None and thing.detail_deg < thing.width_deg


def test_the_object_of_a_near_goal_is_a_share_of_the_field(views):
    """8 characters of the 18.75 in the field take that share of the circle's width."""
    view = views["LQ-104"]
    option = view.plan.options[0]
    outcome = option.outcomes[0]
    thing = fields.thing_of(option, outcome, view.plan.demands[0])
    share = thing.width_deg / option.device.leading.field.real_field_deg
    assert share == pytest.approx(8 / outcome.characters_in_field)


def test_fields_in_words(views):
    """One eye or two is said with what each line means, and the numbers are those of the documents."""
    one = said(PICTURES[1].words(subject_of(views["LQ-101"])))
    pair = subject_of(views["LQ-102"])
    two = said(PICTURES[1].words(pair))
    assert "One field, of the right eye." in one and "6.4 deg on the scale of the field" in one
    assert "Broken line: left eye." in two
    fields_together = pair.option.device.pair
    union, overlap = fields_together.union_field_deg, fields_together.overlap_field_deg
    assert f"{union:.1f} deg together, {overlap:.1f} deg seen by both" in two


# ---- 3: from the side


def test_a_bioptic_is_drawn_with_its_angles(views):
    """The ocular stands at the plan's height and distance, the tube has its length and tilt."""
    view = views["LQ-101"]
    option = bioptic_of(view)
    drawn = side.side_view(only(view, option), option)
    mount, eye = option.device.mount, option.device.leading
    assert drawn.ocular == (mount.rotation_distance_mm, mount.ocular_height_mm)
    across, up = (b - a for a, b in zip(drawn.ocular, drawn.objective, strict=True))
    assert across**2 + up**2 == pytest.approx(eye.tube_length_mm**2)
    assert degrees(asin(up / eye.tube_length_mm)) == pytest.approx(mount.tube_tilt_deg)
    lines = texts(side.draw(only(view, option), 78, 16))
    assert any(f"tilt  {mount.tube_tilt_deg:.0f} deg" in line for line in lines)
    assert any(f"drop  {mount.head_drop_deg:.0f} deg" in line for line in lines)
    words = said(side.words(only(view, option)))
    assert f"Head drop: {mount.head_drop_deg:.1f} deg" in words
    assert f"Gaze up to the ocular: {mount.gaze_elevation_deg:.1f} deg" in words
    assert f"Least lens height: {mount.least_lens_height_mm:.1f} mm" in words and "Pupil: 3.0 mm" in words


@pytest.mark.parametrize("size", [(38, 6), (60, 12), (78, 30)])
def test_the_side_view_keeps_one_scale_both_ways(views, size):
    """A millimetre up is half as many rows as it is cells ahead, and every part lies on the canvas."""
    view = views["LQ-101"]
    drawn = side.side_view(only(view, bioptic_of(view)), bioptic_of(view))
    place = side.place_of(drawn, *size)
    x0, y0 = place.cell(0, 0)
    x1, y1 = place.cell(10, 10)
    assert x1 - x0 == pytest.approx(2 * (y0 - y1))
    for point in (drawn.ocular, drawn.objective, (drawn.lens_ahead_mm, drawn.lens_top_mm)):
        x, y = place.cell(*point)
        assert 0 <= x <= size[0] and 0 <= y <= size[1]


def test_another_position_is_named_and_shown_straight_ahead(views):
    """An option that is no bioptic says its position and shows eye distance and exit pupil."""
    view = views["LQ-105"]
    subject = subject_of(view)
    drawn = side.side_view(subject, subject.option)
    assert drawn.head_drop_deg is None and drawn.ocular[1] == drawn.objective[1] == 0.0
    words = said(side.words(subject))
    assert "Not a bioptic: the full diameter position." in words
    exit_pupil = subject.option.device.leading.exit_pupil_diameter_mm
    assert "Eye distance, left eye: 17.0 mm" in words
    assert f"Exit pupil, left eye: {exit_pupil:.1f} mm" in words


# ---- 4: the ladder


def test_the_ladder_has_all_four_in_the_clinics_notation(views):
    """Now, promised with its interval, measured and wanted, each in the notation of the settings."""
    subject = subject_of(views["LQ-107"])
    rungs = {rung.label: rung for rung in ladder.rungs_of(subject)}
    outcome = subject.outcome
    assert set(rungs) == {"now", "promised", "measured", "wanted"}
    promised = outcome.predicted_logmar_with_losses
    assert rungs["promised"].low == pytest.approx(promised + outcome.cr95_logmar)
    assert rungs["promised"].high == pytest.approx(promised - outcome.cr95_logmar)
    assert rungs["now"].short == "20/80" and rungs["measured"].short == "20/50"
    metric = replace(
        subject, view=replace(subject.view, settings=replace_notation(subject.view, "snellen_m"))
    )
    assert [rung.short for rung in ladder.rungs_of(metric)][:3] == ["6/24", "6/15", "6/15"]


def replace_notation(view: View, notation: str):
    """The settings with another notation."""
    from dataclasses import is_dataclass

    settings = view.settings
    if is_dataclass(settings):
        return replace(settings, acuity_notation=notation)  # type: ignore[type-var]
    return replace(settings, acuity_notation=notation)


def test_better_acuity_stands_further_right_and_tenths_are_even(views):
    """The ladder is monotone: 20/80, 20/50 and 20/40 follow each other to the right at places even in log."""
    subject = subject_of(views["LQ-107"])
    rungs = ladder.rungs_of(subject)
    scale = ladder.scale_of(rungs, 9, 70)
    lines = texts(ladder.draw(replace(subject, way="braille"), 72, 6))
    for line, rung in zip(lines, rungs, strict=False):
        assert line.index("■") == round(scale.place(rung.value))
    now, promised = lines[0], lines[1]
    assert now.index("■") < promised.index("■")
    assert promised.index("[") < promised.index("■") < promised.rindex("]")
    step = scale.place(0.3) - scale.place(0.4)
    assert step > 0 and scale.place(0.8) - scale.place(0.9) == pytest.approx(step)


def test_what_was_measured_at_the_fitting_is_read_too(views, demo):
    """A result typed at the fitting stands on the ladder of the eye that the goal is for."""
    case = views["LQ-107"].case
    sheet = views["LQ-107"].sheet
    from afocal.core.fitting.progress import with_result

    changed = with_result(case, sheet.step("performance.acuity.both"), "20/40")
    rungs = ladder.rungs_of(subject_of(view_of(demo, changed)))
    measured = [rung for rung in rungs if rung.label == "measured"]
    assert [rung.short for rung in measured] == ["20/50", "20/40"]
    assert measured[1].words.endswith("both eyes, at the fitting")
    assert measured[1].value == pytest.approx(log10(2))


def test_a_goal_of_print_has_a_ladder_of_print(views):
    """Print sizes stand on a log scale, and the line of what is wanted reaches down to its reserve."""
    subject = subject_of(views["LQ-104"])
    rungs = {rung.label: rung for rung in ladder.rungs_of(subject)}
    promised = subject.outcome.print_read_m_units
    assert rungs["now"].value == pytest.approx(log10(3.2))
    assert rungs["promised"].value == pytest.approx(log10(promised))
    assert rungs["wanted"].value == pytest.approx(0.0)
    assert rungs["wanted"].high == pytest.approx(-log10(2))
    assert f"{promised:.2g}M at threshold" in rungs["promised"].words


def test_off_the_chart_is_words_not_a_place(views):
    """Hand motion has no place on the ladder and is said."""
    now = ladder.rungs_of(subject_of(views["LQ-106"]))[0]
    assert now.value is None and "HM" in now.words and now.short == "off the chart"


# ---- 5: reading


def test_points_stand_at_their_size_and_speed(views):
    """Each typed point is drawn in the cell of its size and its speed, larger print further right."""
    subject = subject_of(views["LQ-104"])
    fitted, goal = reading.fitted_of(subject), reading.goal_print_of(subject)
    assert fitted is not None and fitted.fit is not None
    across, up = reading.scales_of(fitted, goal, 78, 20)
    lines = texts(reading.draw(subject, 78, 20))
    for point in fitted.points:
        assert lines[round(up.place(point.speed_wpm))][round(across.place(point.print_logmar))] == "O"
    places = [
        across.place(point.print_logmar) for point in sorted(fitted.points, key=lambda p: p.print_logmar)
    ]
    assert places == sorted(places)
    # 10M is ten times the angle of 1M at one distance: one log unit apart (definition of logMAR).
    assert fitted.points[0].print_logmar - fitted.points[-1].print_logmar == pytest.approx(log10(10 / 3.2))


def test_critical_print_and_goal_are_said(views):
    """Critical print comes from the fit of the core, the goal's print without and with the device from its distances."""
    subject = subject_of(views["LQ-104"])
    words = said(reading.words(subject))
    fitted = reading.fitted_of(subject)
    assert f"{fitted.fit.critical_logmar:.2f} logMAR" in words
    assert "1M at 30.0 cm is 0.52 logMAR" in words
    goal = reading.goal_print_of(subject)
    evd = subject.option.outcomes[0].evd_mm
    # The angle of print grows as the (equivalent) viewing distance shrinks.
    assert goal.through_logmar - goal.naked_logmar == pytest.approx(log10(300 / evd))


def test_a_curve_that_cannot_be_fitted_says_why(views, demo):
    """Too few sizes: the points are drawn, the core's refusal stands in the words, and no curve is drawn."""
    case = views["LQ-104"].case.with_typed("right.reading_curve", "8M 64, 6.3M 60, 4M 30 @ 40")
    subject = subject_of(view_of(demo, case))
    fitted = reading.fitted_of(subject)
    assert fitted is not None and fitted.fit is None
    assert "too few" in fitted.refusal and fitted.refusal in said(reading.words(subject))
    assert sum(line.count("O") for line in texts(reading.draw(subject, 78, 16))) == 3


def test_without_a_curve_the_way_to_one_is_said(views):
    """No curve: a sentence, in the picture and in the words."""
    lines, words = PICTURES[4].picture(views["LQ-101"], 38, 6)
    assert "No reading curve is recorded." in said(words)
    assert texts(lines)[0].startswith("No reading curve")


# ---- the page


def open_app(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, code: str) -> AfocalApp:
    """The program on a practice set of its own, with a case open."""
    for name in ("CASES", "STOCK", "CONFIG", "CACHE", "STATE"):
        monkeypatch.setenv(f"AFOCAL_{name}", str(tmp_path / name.lower()))
    return AfocalApp(demo_workspace(tmp_path / "set"), code)


async def on_page(app: AfocalApp, pilot) -> PicturePage:
    """Wait for the case and its plan, then press F7."""
    for _ in range(200):
        await pilot.pause(0.02)
        if isinstance(app.screen, CaseScreen) and app.screen.view.plan is not None:
            break
    await pilot.press("f7")
    await pilot.pause()
    assert isinstance(app.screen, PicturePage)
    return app.screen


@pytest.mark.parametrize(("size", "beside"), [((80, 24), False), ((40, 12), False), ((130, 40), True)])
async def test_the_page_shows_each_picture_with_the_caret_in_its_words(tmp_path, monkeypatch, size, beside):
    """F7 opens it; 1 to 5 and the arrows choose; picture and words are both on the screen, the caret in the words."""
    app = open_app(tmp_path, monkeypatch, "LQ-107")
    async with app.run_test(size=size) as pilot:
        page = await on_page(app, pilot)
        case = app.screen_stack[-2].desk.case  # type: ignore[attr-defined]
        for key, number in (("1", 0), ("2", 1), ("3", 2), ("4", 3), ("5", 4), ("right", 0), ("left", 4)):
            await pilot.press(key)
            await pilot.pause()
            assert page.number == number
            assert page.focused is page.sheet
            assert page.sheet.rows == tuple(PICTURES[number].words(page.subject))
            place = caret_offset(page)
            assert place is not None and page.sheet.region.contains(*place)
            assert page.box.size.height >= 5 and page.box.line_count <= page.box.size.height
            assert (page.box.region.right <= page.sheet.region.x) == beside
            assert (page.box.region.bottom <= page.sheet.region.y) != beside
            assert page.sheet.size.height >= 4
        await pilot.press("escape")
        await pilot.pause()
        assert isinstance(app.screen, CaseScreen)
        assert app.screen.desk.case is case


async def test_the_page_turns_to_other_options_goals_and_ways(tmp_path, monkeypatch):
    """O, G, F and D change option, goal, height and way of drawing, and leave the caret in the words."""
    app = open_app(tmp_path, monkeypatch, "LQ-101")
    async with app.run_test(size=(80, 24)) as pilot:
        page = await on_page(app, pilot)
        await pilot.press("2", "o", "g")
        await pilot.pause()
        assert (page.subject.at, page.subject.goal) == (1, 1)
        height = page.box.size.height
        await pilot.press("f")
        await pilot.pause()
        assert page.box.size.height > height and page.sheet.size.height == 2
        await pilot.press("f", "d")
        await pilot.pause()
        assert page.box.size.height == height
        assert page.subject.way == "blocks" or page.subject.way in WAYS
        before = page.subject.way
        await pilot.press("d")
        assert page.subject.way == WAYS[(WAYS.index(before) + 1) % len(WAYS)]
        assert page.focused is page.sheet
        await pilot.press("down", "down")
        assert page.sheet.current > 0


async def test_the_page_answers_help_and_working(tmp_path, monkeypatch):
    """F1 says what the picture shows and the keys, F6 the working of the number under the caret; F7 goes back."""
    app = open_app(tmp_path, monkeypatch, "LQ-101")
    async with app.run_test(size=(80, 24)) as pilot:
        page = await on_page(app, pilot)
        await pilot.press("f1")
        await pilot.pause()
        assert app.screen is not page
        await pilot.press("escape", "2")
        await pilot.pause()
        page.sheet.go_to("device:0:real_field_deg")
        await pilot.press("f6")
        await pilot.pause()
        assert app.screen is not page
        await pilot.press("escape", "f7")
        await pilot.pause()
        assert isinstance(app.screen, CaseScreen)


async def test_the_working_is_that_of_the_number_under_the_caret(tmp_path, monkeypatch):
    """F6 on each number of each picture shows the figure of its line; on words it says that there is none."""
    program = open_app(tmp_path, monkeypatch, "LQ-104")
    async with program.run_test(size=(80, 24)) as pilot:
        page = await on_page(program, pilot)
        for number, beginning, figure in (
            (4, "Goal as large as critical print at", r"(\d[\d.]*)()"),
            (3, "Promised", r"(\d[\d.]*)()M"),
            (0, "Next 2", r"from (\d[\d.]*) (cm|m)"),
        ):
            page.action_show(number)
            rows = page.sheet.rows
            place = next(
                n for n, row in enumerate(rows) if row.parts and row.parts[0][0].startswith(beginning)
            )
            page.sheet.move_to(place)
            line = said([rows[place]]).removeprefix(beginning)
            await pilot.press("f6")
            await pilot.pause()
            shown = said(list(program.screen.sheet.rows))
            found = re.search(r"result: ([\d.]+)( mm)?", shown)
            told = re.search(figure, line)
            assert found and told, (shown[:200], line)
            value = float(found[1]) / {"cm": 10.0, "m": 1000.0}.get(told[2], 1.0)
            assert f"{value:.{len(told[1].partition('.')[2])}f}" == told[1], (line, shown[:200])
            await pilot.press("escape")
            await pilot.pause()
        page.sheet.move_to(len(page.sheet.rows) - 1)
        await pilot.press("f6")
        await pilot.pause()
        assert "has no working of its own" in said(list(program.screen.sheet.rows))


async def test_a_resize_moves_the_words_below(tmp_path, monkeypatch):
    """From a wide terminal to a small one the words go below the picture and the caret stays in view."""
    app = open_app(tmp_path, monkeypatch, "LQ-101")
    async with app.run_test(size=(130, 40)) as pilot:
        page = await on_page(app, pilot)
        assert page.box.region.right <= page.sheet.region.x
        await pilot.resize_terminal(40, 12)
        await pilot.pause(0.05)
        assert page.box.region.bottom <= page.sheet.region.y
        place = caret_offset(page)
        assert place is not None and page.sheet.region.contains(*place)
        assert page.box.line_count <= page.box.size.height
