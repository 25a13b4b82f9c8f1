"""The computation pane: choosing, explaining every number, what if."""

from __future__ import annotations

import threading
from collections.abc import Awaitable, Callable
from types import SimpleNamespace
from typing import Any

import pytest
from textual.pilot import Pilot
from waiting import until

from afocal.core.case_file import loads_case
from afocal.core.documents.numbers import outcome_numbers
from afocal.core.errors import AfocalError
from afocal.core.plan import sensitivity as sensitivity_module
from afocal.core.plan.sensitivity import sensitivity
from afocal.core.plan.types import GRADES
from afocal.core.plan.whatif import CHANGES, what_if
from afocal.core.plan.workings import explain
from afocal.tui.app import AfocalApp
from afocal.tui.panes.computation_rows import grade_words
from afocal.tui.panes.what_changes import answer_rows
from afocal.tui.screens.case import CaseScreen
from afocal.tui.screens.dialogs import Page
from afocal.tui.screens.what_if import WhatIf, present_figures

CaseWaiter = Callable[[Pilot[Any]], Awaitable[CaseScreen]]
Seen = Callable[[AfocalApp], str]
WITH_OPTIONS = ["LQ-101", "LQ-102", "LQ-103", "LQ-104", "LQ-105", "LQ-107"]


async def computation(pilot: Pilot[Any], case_screen: CaseWaiter) -> tuple[CaseScreen, Any]:
    """The screen with the pane in front."""
    screen = await case_screen(pilot)
    await pilot.press("f3")
    await pilot.pause()
    return screen, screen.pane


async def test_choosing_writes_choice_reason_and_promise(
    app: Callable[[str], AfocalApp], case_screen: CaseWaiter
) -> None:
    """Ctrl+O makes the option under the caret the choice: with its reasons and what it promised, in the file; undo takes
    it back."""
    running = app("LQ-101")
    async with running.run_test(size=(80, 24)) as pilot:
        screen, pane = await computation(pilot, case_screen)
        before = screen.desk.case
        await pilot.press("down", "ctrl+o")
        await pilot.pause()
        option = pane._option()
        visit = screen.desk.case.visit
        assert visit.choice == option.configuration
        assert visit.choice_reason
        outcome = option.outcomes[0]
        assert visit.promised["goal"] == outcome.goal
        assert visit.promised["probability"] == pytest.approx(outcome.probability, abs=1e-4)
        assert visit.promised["logmar"] == pytest.approx(outcome.predicted_logmar_with_losses, abs=1e-4)
        path = screen.desk.path
        assert loads_case(path.read_text("utf-8"), path).visit.choice == option.configuration
        assert pane.options.rows[pane.options.current].cells[0].startswith("*")
        assert screen.view.sheet is not None
        await pilot.press("ctrl+z")
        assert screen.desk.case == before


@pytest.mark.parametrize("code", WITH_OPTIONS)
async def test_every_number_can_be_explained(
    code: str, app: Callable[[str], AfocalApp], case_screen: CaseWaiter
) -> None:
    """F6 on each number of the option in full and of the needs has a working with steps, without a refusal."""
    running = app(code)
    async with running.run_test(size=(80, 24)) as pilot:
        screen, pane = await computation(pilot, case_screen)
        view, option = screen.view, pane._option()
        refused, asked = [], 0
        for row in pane.detail.rows:
            kind, _, rest = row.key.partition(":")
            if kind not in ("goal", "device", "need"):
                continue
            number, _, quantity = rest.partition(":")
            asked += 1
            try:
                working = explain(
                    view.case, view.stock, view.settings, option.configuration, int(number or 0), quantity
                )
                assert working.steps, row.key
            except AfocalError as error:
                refused.append(f"{row.key}: {error}")
        assert asked > 10
        assert not refused, "\n".join(refused)


async def test_f6_opens_a_page_and_comes_back(
    app: Callable[[str], AfocalApp], case_screen: CaseWaiter, seen: Seen
) -> None:
    """Symbols, the numbers put in, the result and the source; Escape comes back to the number. On words F6 says so."""
    running = app("LQ-101")
    async with running.run_test(size=(80, 24)) as pilot:
        screen, pane = await computation(pilot, case_screen)
        key = next(row.key for row in pane.detail.rows if row.key.startswith("goal:0:"))
        pane.go_to(key)
        await pilot.press("f6")
        await pilot.pause()
        assert isinstance(running.screen, Page)
        assert "result" in seen(running) and "1. " in seen(running)
        await pilot.press("escape")
        await pilot.pause()
        assert running.screen is screen
        assert pane.detail.current_key == key and pane.detail.has_focus
        await pilot.press("f1")
        await pilot.pause()
        assert "Formula:" in seen(running) or "F6 shows" in seen(running)
        await pilot.press("escape", "home", "f6")
        await pilot.pause()
        assert running.screen is screen
        assert "words" in screen.messages.recent[-1].text


@pytest.mark.parametrize("code", ["LQ-106"])
async def test_without_an_option_the_reason_is_shown(
    code: str, app: Callable[[str], AfocalApp], case_screen: CaseWaiter, seen: Seen
) -> None:
    """Hand motion gives nothing to compute with: the pane says why, and its commands say that there is nothing."""
    running = app(code)
    async with running.run_test(size=(80, 24)) as pilot:
        screen, pane = await computation(pilot, case_screen)
        assert pane.detail.has_focus
        assert "hand motion" in " ".join(seen(running).split())
        for key in ("ctrl+o", "ctrl+n", "f6"):
            await pilot.press(key)
            await pilot.pause()
            assert running.screen is screen
            assert "no " in screen.messages.recent[-1].text
        assert screen.desk.case.visit.choice is None


async def test_what_if_shows_both_and_is_taken_only_on_command(
    app: Callable[[str], AfocalApp], case_screen: CaseWaiter, seen: Seen
) -> None:
    """Original and changed stand beside each other; Escape leaves the case alone; Ctrl+O takes what a case can hold, and
    undo goes back."""
    running = app("LQ-101")
    async with running.run_test(size=(80, 30)) as pilot:
        screen, _ = await computation(pilot, case_screen)
        before = screen.desk.case
        await pilot.press("ctrl+n")
        await pilot.pause()
        dialog = running.screen
        assert isinstance(dialog, WhatIf)
        dialog.form.go_to("vertex_mm")
        await pilot.press("2", "0", "enter")
        await pilot.pause()
        words = [part for row in dialog.result.rows for part, _ in row.parts]
        assert any(" -> " in part for part in words)
        await pilot.press("escape")
        await pilot.pause()
        assert screen.desk.case is before
        await pilot.press("ctrl+n")
        await pilot.pause()
        dialog = running.screen
        assert isinstance(dialog, WhatIf)
        dialog.form.go_to("vertex_mm")
        await pilot.press("2", "0", "ctrl+o")
        await pilot.pause()
        assert running.screen is screen
        assert screen.desk.case.value("face.vertex_distance") == 20
        await pilot.press("ctrl+z")
        assert screen.desk.case == before


@pytest.mark.parametrize("code", ["LQ-101", "LQ-102", "LQ-103", "LQ-104", "LQ-105"])
async def test_the_present_figures_of_what_if_are_those_of_the_option(
    code: str, app: Callable[[str], AfocalApp], case_screen: CaseWaiter
) -> None:
    """Each figure has what stands now beside it, and that figure typed as a change changes no word of the result."""
    running = app(code)
    async with running.run_test(size=(80, 30)) as pilot:
        screen, _ = await computation(pilot, case_screen)
        view = screen.view
        for option in (
            view.plan.options[0],
            next((o for o in view.plan.options if o.cap), view.plan.options[-1]),
        ):
            now = present_figures(view, option)
            without = {"cap_power_d", "working_distance_mm"} if option.cap is None else set()
            assert set(CHANGES) - set(now) == without
            for name, value in now.items():
                before, after = what_if(
                    view.case, view.stock, view.settings, option.configuration, {name: value}
                )
                for old, new in zip(before.outcomes, after.outcomes, strict=True):
                    assert [shown.words for shown in outcome_numbers(before, old, view.settings)] == [
                        shown.words for shown in outcome_numbers(after, new, view.settings)
                    ], name


async def test_what_if_refuses_by_name(app: Callable[[str], AfocalApp], case_screen: CaseWaiter) -> None:
    """A figure out of range and a word are refused at their row; a figure that belongs to the device is not taken over."""
    running = app("LQ-101")
    async with running.run_test(size=(80, 30)) as pilot:
        await computation(pilot, case_screen)
        await pilot.press("ctrl+n")
        await pilot.pause()
        dialog = running.screen
        assert isinstance(dialog, WhatIf)
        for text in ("wide", "9000", "nan", "inf"):
            dialog.form.go_to("magnification")
            await pilot.press(*text, "enter")
            await pilot.pause()
            row = next(row for row in dialog.form.rows if row.key == "magnification")
            assert row.error and "accepted" in row.error, text
        dialog.form.go_to("magnification")
        await pilot.press("3", "ctrl+o")
        await pilot.pause()
        assert running.screen is dialog
        assert "belongs to the telescope" in dialog.result.rows[0].parts[0][0]


@pytest.mark.parametrize("size", [(40, 12), (80, 24), (130, 40)])
async def test_every_option_and_line_can_be_reached(
    size: tuple[int, int], app: Callable[[str], AfocalApp], case_screen: CaseWaiter
) -> None:
    """At every size the list and the option can be walked to their last line with the caret on the screen."""
    running = app("LQ-105")
    async with running.run_test(size=size) as pilot:
        _, pane = await computation(pilot, case_screen)
        for widget in (pane.options, pane.detail):
            widget.focus()
            await pilot.pause()
            await pilot.press("end")
            await pilot.pause()
            assert widget.current == max(n for n in range(widget.row_count) if widget.is_stop(n))
            assert widget.region.contains_point(running.cursor_position)


async def test_a_grade_fits_a_narrow_column(app: Callable[[str], AfocalApp], case_screen: CaseWaiter) -> None:
    """Where it is narrow stands the sign with the chance, or with a short word where there is none; nothing is cut."""
    running = app("LQ-101")
    async with running.run_test(size=(40, 12)) as pilot:
        screen = await case_screen(pilot)
        await pilot.press("f3")
        await pilot.pause()
        room = screen.pane.options.columns[-1].width  # type: ignore[attr-defined]
    outcomes = [
        SimpleNamespace(goal=goal, needed=True, grade=grade, probability=chance)
        for goal in ("sign", "driving")
        for grade in GRADES
        for chance in (None, 0.0004, 0.41, 0.999)
    ]
    for outcome in [SimpleNamespace(needed=False), *outcomes]:
        words = grade_words(outcome, brief=True)  # type: ignore[arg-type]
        assert 2 < len(words) <= room, words
        if outcome.needed:
            assert ("%" in words) == (outcome.probability is not None)


@pytest.mark.parametrize("size", [(80, 24), (40, 12)])
async def test_every_figure_of_a_what_if_has_its_help(
    app: Callable[[str], AfocalApp], case_screen: CaseWaiter, size: tuple[int, int]
) -> None:
    """F1 says what it is now, unit and range, how it is typed and where it goes; a unit may be typed along."""
    running = app("LQ-101")
    async with running.run_test(size=size) as pilot:
        await case_screen(pilot)
        await pilot.press("f3")
        await pilot.pause()
        await pilot.press("ctrl+n")
        await pilot.pause()
        dialog = running.screen
        assert isinstance(dialog, WhatIf)
        for name, allowed in CHANGES.items():
            dialog.form.go_to(name)
            await pilot.press("f1")
            await pilot.pause()
            assert isinstance(running.screen, Page)
            text = "\n".join("".join(part for part, _ in row.parts) for row in running.screen.sheet.rows)
            for words in (
                f"Accepted: {allowed.accepted()}",
                f"Unit: {allowed.unit}",
                "Usual: ",
                "Typed as: ",
            ):
                assert words in text
            taken = "Ctrl+O types it into" in text
            assert taken != ("belongs to the telescope" in text)
            await pilot.press("escape")
            await pilot.pause()
            assert running.screen is dialog
        dialog._edited("vertex_mm", "14 mm", False)
        assert dialog._errors == {} and dialog._changes() == {"vertex_mm": 14.0}


async def test_without_an_option_a_command_says_why(
    app: Callable[[str], AfocalApp], case_screen: CaseWaiter
) -> None:
    """Nothing to choose, to change or to explain: the message names the reason that the advice gives."""
    running = app("LQ-106")
    async with running.run_test(size=(80, 24)) as pilot:
        screen = await case_screen(pilot)
        await pilot.press("f3")
        await pilot.pause()
        assert screen.view.plan is not None
        why = screen.view.plan.decision.sentence
        assert "hand motion" in why
        for key in ("ctrl+o", "ctrl+n", "f6"):
            await pilot.press(key)
            await pilot.pause()
            assert screen.messages.recent[-1].text.endswith(why)
            assert running.screen is screen


async def test_tab_goes_to_the_result_of_a_what_if_and_back(
    app: Callable[[str], AfocalApp], case_screen: CaseWaiter
) -> None:
    """As the foot says: one Tab, with what stands typed accepted; Up, Down and Enter go through the figures."""
    running = app("LQ-101")
    async with running.run_test(size=(40, 12)) as pilot:
        await case_screen(pilot)
        await pilot.press("f3")
        await pilot.pause()
        await pilot.press("ctrl+n")
        await pilot.pause()
        dialog = running.screen
        assert isinstance(dialog, WhatIf)
        before = dialog.result.rows
        await pilot.press("3", "tab")
        await pilot.pause()
        assert running.focused is dialog.result and dialog.result.rows != before
        await pilot.press("down", "shift+tab")
        await pilot.pause()
        assert running.focused is dialog.form.editor
        await pilot.press("down")
        assert dialog.form.current_key == "tube_length_mm"


def telling(pane: Any) -> list[str]:
    """The lines under "What would change the answer", without its heading."""
    rows = list(pane.detail.rows)
    start = next(n for n, row in enumerate(rows) if row.heading and "would change" in row.parts[0][0])
    end = next((n for n in range(start + 1, len(rows)) if rows[n].heading), len(rows))
    return [row.parts[0][0] for row in rows[start + 1 : end]]


async def test_what_would_change_does_not_hold_the_keys(
    app: Callable[[str], AfocalApp], case_screen: CaseWaiter, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It is worked out behind the screen: that is said at once, keys work meanwhile, the answer comes by itself."""
    real, go = sensitivity_module.sensitivity_one_by_one, threading.Event()

    def slow(*arguments: Any) -> Any:
        for item in real(*arguments):
            assert go.wait(30)
            yield item

    monkeypatch.setattr(sensitivity_module, "sensitivity_one_by_one", slow)
    running = app("LQ-101")
    async with running.run_test(size=(80, 24)) as pilot:
        screen, pane = await computation(pilot, case_screen)
        try:
            assert telling(pane) == ["Enter here: how far each input may move before the answer changes"]
            pane.go_to("sensitivity")
            await pilot.press("enter")
            await pilot.pause()
            assert telling(pane) == ["Each input is tried; the answer comes in a moment"]
            await pilot.press("up", "up")
            assert pane.detail.current_key != "sensitivity"
            await pilot.press("down", "down")
            assert pane.detail.current_key == "sensitivity"
        finally:
            go.set()
        await until(pilot, lambda: len(telling(pane)) > 3)
        option = pane._option()
        found = sensitivity(screen.view.case, screen.stock, screen.settings, option.configuration)
        assert telling(pane) == [row.parts[0][0] for row in answer_rows(found)]
        assert pane.detail.current_key == "sensitivity"


async def test_what_would_change_follows_the_case(
    app: Callable[[str], AfocalApp], case_screen: CaseWaiter
) -> None:
    """When the case changes it is worked out anew; what belongs to the case before is not shown with the new one."""
    running = app("LQ-101")
    async with running.run_test(size=(80, 24)) as pilot:
        screen, pane = await computation(pilot, case_screen)
        pane.go_to("sensitivity")
        await pilot.press("enter")
        await until(pilot, lambda: len(telling(pane)) > 3)
        before = telling(pane)
        screen.change(lambda case: case.with_typed("right.distance_acuity", "20/80"))
        await pilot.pause()
        assert telling(pane) != before
        await until(pilot, lambda: len(telling(pane)) > 3)
        option = pane._option()
        found = sensitivity(screen.view.case, screen.stock, screen.settings, option.configuration)
        assert telling(pane) == [row.parts[0][0] for row in answer_rows(found)] != before


@pytest.mark.parametrize("size", [(80, 24), (40, 12)])
async def test_options_that_begin_alike_are_told_apart_in_the_list(
    app: Callable[[str], AfocalApp], case_screen: CaseWaiter, seen: Seen, size: tuple[int, int]
) -> None:
    """Where a row is too long its middle is cut, not the telescope's own name at its end."""
    running = app("LQ-102")
    async with running.run_test(size=size) as pilot:
        _, pane = await computation(pilot, case_screen)
        shown = [line[:-1] for line in seen(running).splitlines() if "…" in line and "x " in line]
        names = {option.telescope.id for option in map(pane._view.plan.options.__getitem__, range(40))}
        rows = [line for line in shown if any(f"({name})" in line for name in names)]
        assert rows
        assert not [line for line in shown if line.lstrip("► ")[:1].isdigit() and line not in rows]


async def test_go_to_names_the_goal_of_a_number_and_the_parts_of_the_page(
    app: Callable[[str], AfocalApp], case_screen: CaseWaiter
) -> None:
    """Two goals have numbers of one name: each is offered with its goal; each part can be gone to by its heading."""
    running = app("LQ-101")
    async with running.run_test(size=(80, 24)) as pilot:
        screen, pane = await computation(pilot, case_screen)
        names = [name for key, name in pane.jumps() if key.startswith("goal:")]
        assert len(names) == len(set(names))
        assert "Power required, goal 1" in names and "Power required, goal 2" in names
        await pilot.press("ctrl+g", *"cannot be used", "enter")
        await until(pilot, lambda: running.screen is screen)
        assert pane.detail.has_focus
        at = pane.detail.current
        assert pane.detail.rows[at - 1].heading and "Cannot be used" in pane.detail.rows[at - 1].parts[0][0]
