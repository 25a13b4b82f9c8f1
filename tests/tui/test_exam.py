"""A whole examination typed by keys: what is then in the case, in the file, and how many keys it took."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Any

import pytest
from textual.pilot import Pilot

from afocal.core.case import Case
from afocal.core.case_file import loads_case
from afocal.core.fields import by_path
from afocal.core.workspace import Workspace, demo_workspace
from afocal.tui.app import AfocalApp
from afocal.tui.panes.intake import IntakePane
from afocal.tui.screens.case import CaseScreen

Typing = Callable[..., Awaitable[None]]
CaseWaiter = Callable[[Pilot[Any]], Awaitable[CaseScreen]]
KEYS = {" ": "space", ".": "full_stop", "-": "minus", "+": "plus", "/": "slash", ",": "comma", "@": "at"}

# An invented examination as it is typed, by row in the order of the form; a choice by its first letter.
EXAM = {
    "person.birth_year": "1951",
    "person.examiner": "mk",
    "history.diagnosis": "macular degeneration, both eyes",
    "history.stability": "stable",
    "history.last_eye_exam": "2026-09-02",
    "history.sudden_loss": "no",
    "history.new_distortion": "no",
    "history.flashes_or_floaters": "no",
    "history.eye_pain": "no",
    "history.field_loss_new": "no",
    "history.head_tremor": "none",
    "history.neck": "free",
    "history.hands": "steady",
    "history.falls": "none",
    "goal.0.task": "street name sign",
    "goal.0.distance": "8 m",
    "goal.0.detail": "20/40",
    "goal.1.task": "television subtitles",
    "test.chart_distance": "4 m",
    "right.distance_acuity": "20/100-2",
    "left.distance_acuity": "CF 2 ft",
    "right.near_acuity": "2.0M @ 40",
    "left.near_acuity": "N24 at 25cm",
    "right.refraction": "-2.00 -1.00 x 90",
    "left.refraction": "pl",
    "test.refraction_vertex": "12",
    "test.lenses_worn": "bifocal",
    "test.add": "2,50",
    "right.contrast": "1.35",
    "right.pupil": "3.5",
    "right.pupil_dim": "5",
    "test.glare": "some",
    "binocular.dominance": "right",
    "binocular.fusion": "no",
    "face.pd": "31.5/32",
    "face.vertex_distance": "12",
    "face.ocular_to_cornea": "14",
    "face.pupil_height_right": "21",
    "face.b_size": "44",
    "face.pantoscopic_tilt": "8",
    "plan.next_step": "trial of a telescope",
}
# How choices are typed: the first letters that tell them from the others.
LETTERS = {
    "history.stability": "st",
    "history.head_tremor": "n",
    "history.neck": "f",
    "history.hands": "s",
    "history.falls": "n",
    "test.lenses_worn": "b",
    "test.glare": "s",
    "binocular.dominance": "r",
    **{path: "n" for path, text in EXAM.items() if text == "no"},
}


def empty_workspace(folder: Path) -> Workspace:
    """A clinic on its first day: a stock, no cases."""
    made = demo_workspace(folder)
    for path in made.cases.glob("*.toml"):
        path.unlink()
    return Workspace(made.cases, made.stock_path, made.settings_path)


def typed_in(case: Case, key: str) -> str:
    """What a row's finding was typed as."""
    if key.startswith("goal."):
        _, index, name = key.split(".")
        return case.visit.goals[int(index)].findings[name].typed
    return case.visit.findings[key].typed


async def test_a_whole_exam_from_an_empty_form(own_folders: Path) -> None:
    """From the empty list to the last field by keys alone: every value is in the case and in the file as typed and as
    read. It takes at most the characters of the values, one Tab a row of the form, and 10."""
    workspace = empty_workspace(own_folders / "clinic")
    app = AfocalApp(workspace)
    pressed = 0
    async with app.run_test(size=(80, 24)) as pilot:

        async def press(*keys: str) -> None:
            nonlocal pressed
            pressed += len(keys)
            await pilot.press(*keys)

        await press("ctrl+n", *"KM-014", "enter")
        for _ in range(200):
            if isinstance(app.screen, CaseScreen) and app.screen.view.plan is not None:
                break
            await pilot.pause(0.02)
        screen = app.screen
        assert isinstance(screen, CaseScreen)
        form = screen.pane.form  # type: ignore[attr-defined]
        left = dict(EXAM)
        visited: list[str] = []
        while left:
            key = form.current_key
            assert key is not None and key not in visited, f"{key} came twice; left: {list(left)}"
            visited.append(key)
            text = left.pop(key, "")
            await press(*(KEYS.get(letter, letter) for letter in LETTERS.get(key, text)), "tab")
            await pilot.pause()
        case = screen.desk.case
        path = screen.desk.path
        answer = screen.answer.text
    allowed = sum(map(len, EXAM.values())) + len(visited) + 10
    assert pressed <= allowed, f"{pressed} keys for {allowed} allowed"
    on_disk = loads_case(path.read_text("utf-8"), path)
    assert on_disk == case
    for key, text in EXAM.items():
        assert typed_in(case, key) == text, key
        assert typed_in(on_disk, key) == text, key
    # 0.02 log unit a letter, five letters a line (common practice): log10(100/20) + 2 * 0.02.
    assert case.value("right.distance_acuity").logmar == pytest.approx(0.739, abs=0.0005)
    assert case.value("test.add") == 2.5
    assert case.value("face.pd").total_mm == 63.5
    assert case.value("history.stability") == "stable"
    assert len(case.visit.goals) == 2
    assert "street name sign" in answer


async def test_the_caret_is_in_view_on_every_row(
    app: Callable[[str], AfocalApp], case_screen: CaseWaiter
) -> None:
    """Down through the whole form at 40 by 12: the live field is inside the pane at each row, and no row is left out."""
    running = app("LQ-101")
    async with running.run_test(size=(40, 12)) as pilot:
        screen = await case_screen(pilot)
        form = screen.pane.form  # type: ignore[attr-defined]
        stops = [row.key for row in form.rows if not row.heading]
        found = []
        for _ in stops:
            found.append(form.current_key)
            caret = running.cursor_position
            region = screen.pane.region
            assert region.contains_point(caret), (form.current_key, caret, region)
            await pilot.press("down")
        assert found == stops


async def test_a_refusal_leaves_the_old_value(
    app: Callable[[str], AfocalApp], case_screen: CaseWaiter, typing: Typing, seen: Callable[[AfocalApp], str]
) -> None:
    """What cannot be read is named below its field with what is accepted and an example; case, file and field keep the
    old value; the text comes back to be mended, and Escape and Enter let the sentence go."""
    running = app("LQ-101")
    async with running.run_test(size=(80, 24)) as pilot:
        screen = await case_screen(pilot)
        form = screen.pane.form  # type: ignore[attr-defined]
        before, text = screen.desk.case, screen.desk.path.read_bytes()
        form.go_to("face.vertex_distance")
        await typing(pilot, ("99", "tab"))
        assert screen.desk.case is before
        assert screen.desk.path.read_bytes() == text
        row = next(row for row in form.rows if row.key == "face.vertex_distance")
        assert row.text == "12"
        assert row.status == "error"
        for words in ("99", "accepted", "12"):
            assert words in row.error
        assert "99" in seen(running)
        await pilot.press("ctrl+r")
        assert form.current_key == "face.vertex_distance" and form.editor.value == "99"
        await pilot.press("escape", "enter")
        await pilot.pause()
        row = next(row for row in form.rows if row.key == "face.vertex_distance")
        assert row.error == ""
        assert screen.desk.case is before


async def test_an_assumed_value_is_replaced_or_confirmed_by_one_key(
    app: Callable[[str], AfocalApp], case_screen: CaseWaiter, typing: Typing
) -> None:
    """Enter on an assumed value takes it by name, and the file says so; one typed digit replaces it."""
    running = app("LQ-101")
    async with running.run_test(size=(80, 24)) as pilot:
        screen = await case_screen(pilot)
        form = screen.pane.form  # type: ignore[attr-defined]
        key = next(path for path in screen.view.person.assumed if path in by_path())
        form.go_to("person.birth_year")
        while form.current_key != key:
            await pilot.press("ctrl+t")
            assert form.current_row.status == "assumed"
        await pilot.press("enter")
        await pilot.pause()
        finding = screen.desk.case.visit.findings[key]
        assert finding.status == "confirmed"
        assert finding.value is not None
        on_disk = loads_case(screen.desk.path.read_text("utf-8"), screen.desk.path)
        assert on_disk.visit.findings[key].status == "confirmed"
        assert form.go_to("left.pupil")
        await typing(pilot, ("4", "tab"))
        assert screen.desk.case.visit.findings["left.pupil"].status == "measured"
        assert screen.desk.case.value("left.pupil") == 4.0


def test_every_assumed_number_can_be_confirmed() -> None:
    """The text that Enter types for an assumed value can be read by its field."""
    from datetime import date

    from afocal.core.case import new_case
    from afocal.core.person import person_of
    from afocal.core.settings import Settings
    from afocal.tui.panes.intake import _typed_of

    case = new_case("KM-014", date(2026, 11, 25)).with_typed("person.birth_year", "1960")
    assumed = person_of(case, Settings()).assumed
    assert assumed
    for path, value in assumed.items():
        field = by_path().get(path)
        if field is not None:
            assert _typed_of(field, value), path


async def test_the_usual_figure_of_a_task_is_confirmed_by_enter(
    app: Callable[[str], AfocalApp], case_screen: CaseWaiter, typing: Typing
) -> None:
    """A new goal by part of its name; its usual figures are shown as assumed, and Enter makes one this person's own."""
    running = app("LQ-103")
    async with running.run_test(size=(80, 30)) as pilot:
        screen = await case_screen(pilot)
        form = screen.pane.form  # type: ignore[attr-defined]
        count = len(screen.desk.case.visit.goals)
        form.go_to(f"goal.{count}.task")
        await typing(pilot, ("subtitles", "tab"))
        assert screen.desk.case.visit.goals[count].name == "television subtitles"
        assert form.current_key == f"goal.{count}.distance"
        assert form.current_row.status == "assumed"
        await pilot.press("enter")
        await pilot.pause()
        assert screen.desk.case.visit.goals[count].value("distance") is not None
        # Every other figure too, whatever its notation: a letter height is not read from the words that show it.
        while form.current_key.startswith(f"goal.{count}."):
            await pilot.press("enter")
        await pilot.pause()
        goal = screen.desk.case.visit.goals[count]
        own = [row for row in form.rows if row.key.startswith(f"goal.{count}.")]
        assert not any(row.status in ("error", "assumed") for row in own)
        assert goal.value("detail").height_mm == 25.0 and goal.value("hands_free") is True


async def test_goals_move_and_go(app: Callable[[str], AfocalApp], case_screen: CaseWaiter) -> None:
    """A goal goes up one place, goes away, and comes back with undo."""
    running = app("LQ-101")
    async with running.run_test(size=(80, 24)) as pilot:
        screen = await case_screen(pilot)
        pane = screen.pane
        assert isinstance(pane, IntakePane)
        first, second = (goal.name for goal in screen.desk.case.visit.goals)
        pane.form.go_to("goal.1.distance")
        pane.action_goal_up()
        assert [goal.name for goal in screen.desk.case.visit.goals] == [second, first]
        assert screen.view.plan is not None
        assert [demand.name for demand in screen.view.plan.demands] == [second, first]
        pane.form.go_to("goal.0.task")
        pane.action_goal_remove()
        assert [goal.name for goal in screen.desk.case.visit.goals] == [first]
        await pilot.press("ctrl+z")
        assert [goal.name for goal in screen.desk.case.visit.goals] == [second, first]


async def test_the_caret_stays_near_a_goal_that_goes(
    app: Callable[[str], AfocalApp], case_screen: CaseWaiter
) -> None:
    """The row under the caret goes with its goal: the nearest one before it has the caret, not the first of the form."""
    running = app("LQ-101")
    async with running.run_test(size=(80, 24)) as pilot:
        screen = await case_screen(pilot)
        pane = screen.pane
        assert isinstance(pane, IntakePane)
        pane.form.go_to("goal.1.light")
        pane.action_goal_remove()
        await pilot.pause()
        assert pane.form.current_key == "goal.1.task"
        assert pane.form.current_row is not None and pane.form.current_row.text == ""


async def test_undo_says_what_it_takes_back_and_goes_there(
    app: Callable[[str], AfocalApp], case_screen: CaseWaiter, typing: Typing
) -> None:
    """What is undone out of sight is named with both values and has the caret; a text being typed keeps it."""
    running = app("LQ-101")
    async with running.run_test(size=(80, 24)) as pilot:
        screen = await case_screen(pilot)
        form = screen.pane.form  # type: ignore[attr-defined]
        form.go_to("history.mood")
        await typing(pilot, ("low", "tab"))
        form.go_to("goal.1.distance")
        await typing(pilot, ("9 m", "tab"))
        form.go_to("face.reach")
        await pilot.press("ctrl+z")
        await pilot.pause()
        assert screen.messages.recent[-1].text.startswith("Undone. Distance: 9 m -> ")
        assert form.current_key == "goal.1.distance"
        form.go_to("face.reach")
        await pilot.press("ctrl+z")
        await pilot.pause()
        assert screen.messages.recent[-1].text == "Undone. Mood: low -> (nothing)"
        assert form.current_key == "history.mood"
        form.go_to("face.reach")
        await pilot.press("3", "ctrl+y")
        await pilot.pause()
        assert screen.messages.recent[-1].text == "Done again. Mood: (nothing) -> low"
        assert form.current_key == "face.reach" and form.text == "3"
        assert screen.desk.case.value("history.mood") == "low"


async def test_undo_of_much_names_a_few(app: Callable[[str], AfocalApp], case_screen: CaseWaiter) -> None:
    """A change of many values names two of them and says how many more there are."""
    running = app("LQ-101")
    async with running.run_test(size=(80, 24)) as pilot:
        screen = await case_screen(pilot)
        screen.change(
            lambda case: (
                case.with_typed("history.mood", "low")
                .with_typed("history.hearing", "good")
                .with_typed("history.falls", "one")
            )
        )
        await pilot.press("ctrl+z")
        await pilot.pause()
        assert screen.messages.recent[-1].text.endswith("; and 1 more")


async def test_undo_and_redo_of_the_case(
    app: Callable[[str], AfocalApp], case_screen: CaseWaiter, typing: Typing
) -> None:
    """Ctrl+Z and Ctrl+Y walk the versions of the case; file, form and answer go along."""
    running = app("LQ-101")
    async with running.run_test(size=(80, 24)) as pilot:
        screen = await case_screen(pilot)
        form = screen.pane.form  # type: ignore[attr-defined]
        first = screen.desk.case
        form.go_to("face.vertex_distance")
        await typing(pilot, ("14", "tab"))
        second = screen.desk.case
        assert second.value("face.vertex_distance") != first.value("face.vertex_distance")
        await pilot.press("ctrl+z")
        await pilot.pause()
        assert screen.desk.case == first
        assert loads_case(screen.desk.path.read_text("utf-8"), screen.desk.path) == first
        assert next(row for row in form.rows if row.key == "face.vertex_distance").text == "12"
        await pilot.press("ctrl+y")
        await pilot.pause()
        assert screen.desk.case == second
        await pilot.press("ctrl+y")
        await pilot.pause()
        assert screen.messages.recent[-1].text == "There is nothing to redo."


async def test_carried_over_values_are_marked_until_confirmed(
    app: Callable[[str], AfocalApp], case_screen: CaseWaiter
) -> None:
    """A new visit begins at its first field and marks what it carried over; Enter confirms one as measured today."""
    running = app("LQ-101")
    async with running.run_test(size=(80, 24)) as pilot:
        screen = await case_screen(pilot)
        screen.pane.go_to("right.pupil")  # type: ignore[attr-defined]
        await pilot.press("9", "9", "tab")
        assert any(row.status == "error" for row in screen.pane.form.rows)  # type: ignore[attr-defined]
        await pilot.press("ctrl+p", *"new visit", "enter")
        await pilot.pause(0.1)
        await pilot.press(*"fitting", "enter")
        await pilot.pause(0.1)
        assert len(screen.desk.case.visits) == 2
        assert screen.desk.case.visit.kind == "fitting"
        form = screen.pane.form  # type: ignore[attr-defined]
        assert form.current_key == next(row.key for row in form.rows if not row.heading) == "person.examiner"
        assert not any(row.status == "error" for row in form.rows)
        carried = [row.key for row in form.rows if row.status == "carried over"]
        assert carried
        form.go_to(carried[0])
        await pilot.press("enter")
        await pilot.pause()
        assert screen.desk.case.visit.findings[carried[0]].status == "measured"
        assert next(row for row in form.rows if row.key == carried[0]).status != "carried over"
