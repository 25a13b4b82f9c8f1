"""The page of likely causes: what a measurement shows by itself comes first, a check leads to its step, keys go on."""

from __future__ import annotations

from afocal.core.fitting.progress import with_result
from afocal.core.fitting.sheet import fitting_sheet
from afocal.tui.panes.fitting_causes import WAITING, CausesPage, causes_rows
from afocal.tui.panes.fitting_rows import fitting_rows


def words(row) -> str:
    """A row as plain text."""
    return "".join(text for text, _ in row.parts)


async def computed(pilot) -> CausesPage:
    """The page once the causes are there."""
    for _ in range(300):
        page = pilot.app.screen
        if isinstance(page, CausesPage) and not any(row.key == WAITING for row in page.sheet.rows):
            return page
        await pilot.pause(0.02)
    raise AssertionError("the causes did not come")


async def test_a_measurement_leads_and_its_check_goes_to_the_step(app, fitting, typing) -> None:
    """A wrong power measured on the bench stands before the ranked causes; Enter on a check puts the caret on its step."""
    program = app("LQ-107")
    async with program.run_test(size=(80, 24)) as pilot:
        _screen, pane = await fitting(pilot)
        pane.go_to("verify.power.right")
        await typing(pilot, ("15", "enter"))
        await pilot.press("ctrl+o")
        page = await computed(pilot)
        headings = [words(row) for row in page.sheet.rows if row.parts]
        shown = next(i for i, text in enumerate(headings) if "Shown by a measurement of its own" in text)
        first = next(i for i, text in enumerate(headings) if text.lstrip("─ ").startswith("1. "))
        assert "power other than marked, right eye" in headings[shown] and shown < first
        check = next(row for row in page.sheet.rows if words(row).startswith("Check next"))
        assert check.key == "verify.tilt_vertical"
        page.dismiss(check.key)
        await pilot.pause()
        assert pane.form.current_key == "verify.tilt_vertical"


async def test_keys_are_taken_while_causes_are_computed(app, fitting) -> None:
    """Escape leaves the page before its causes are there."""
    program = app("LQ-107")
    async with program.run_test(size=(40, 12)) as pilot:
        screen, _pane = await fitting(pilot)
        await pilot.press("ctrl+o", "escape")
        await pilot.pause()
        assert program.screen is screen


async def test_what_was_measured_before_stands_beside_its_step(app, fitting) -> None:
    """At a follow-up with the same device a step that is not asked again shows its last result, marked, with the day."""
    program = app("LQ-107")
    async with program.run_test(size=(80, 24)) as pilot:
        screen, _pane = await fitting(pilot)
        view = screen.view
        step = view.sheet.step("verify.power.right")
        case = with_result(view.case, step, "17.4")
        on = case.visit.on.replace(day=25)
        case = case.with_new_visit(on, "follow-up")
        sheet = fitting_sheet(case, view.stock, view.settings)
        later = type(view)(case, view.settings, view.stock, view.person, view.plan, sheet)
        row = next(each for each in fitting_rows(later, {}) if each.key == step.key)
        assert (row.text, row.status) == ("", "carried over")
        assert row.echo == "last 17.4 on 2026-11-18"
        assert any("Likely causes" in words(each) for each in causes_rows(later))


async def test_a_choice_without_numbers_keeps_what_was_measured_in_sight(app, fitting, typing) -> None:
    """The eye of the tube falls off the chart after the fitting: results stay on the pane, the search says why it stops."""
    program = app("LQ-107")
    async with program.run_test(size=(80, 24)) as pilot:
        screen, pane = await fitting(pilot)
        pane.go_to("verify.power.right")
        await typing(pilot, ("17.4", "enter"))
        view = screen.view
        case = view.case.with_typed("right.distance_acuity", "HM")
        sheet = fitting_sheet(case, view.stock, view.settings)
        assert not len(sheet) and sheet.refusals
        now = type(view)(case, view.settings, view.stock, view.person, view.plan, sheet)
        rows = {row.key: row for row in fitting_rows(now, {})}
        assert rows["left.verify.power.right"].text == "17.4"
        assert "without its step" in rows["phase.left"].label
        lines = [words(row) for row in causes_rows(now)]
        assert any(sheet.refusals[0] in line for line in lines)
        assert any(line.startswith("No cause can be computed for the device as chosen") for line in lines)
        assert not any("No step needs attention" in line for line in lines)
