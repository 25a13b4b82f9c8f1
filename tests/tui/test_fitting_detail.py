"""The step in full, the working of its numbers, the likely causes and the help of the fitting pane."""

from __future__ import annotations

from afocal.tui.panes.fitting_detail import number_page, numbers_of, step_in_full

POWER = "verify.power.right"


# ---- the step in full, its numbers, the causes


async def test_step_in_full_and_the_working_of_its_numbers(app, fitting, seen) -> None:
    """F6 has rule, source and numbers of the step; Enter on a number opens the formulas that gave it."""
    program = app("LQ-107")
    async with program.run_test(size=(80, 24)) as pilot:
        screen, pane = await fitting(pilot)
        pane.go_to("performance.field")
        await pilot.press("f6")
        await pilot.pause()
        page = program.screen
        text = " ".join("".join(part for part, _ in each.parts) for each in page.sheet.rows)
        assert "Rule: union of both tubes" in text and "Source: " in text
        page.sheet.go_to("number:real_field_deg")
        await pilot.press("enter")
        await pilot.pause()
        text = " ".join("".join(part for part, _ in each.parts) for each in program.screen.sheet.rows)
        assert "union" in text and "26.459" in text
        await pilot.press("escape", "escape")
        await pilot.pause()
        assert program.screen is screen and pane.form.current_key == "performance.field"


async def test_a_round_number_is_not_given_a_stray_formula(app, fitting) -> None:
    """The marked power of 1.6 came from the stock: a formula that happened to give 1.6 is not shown as its working."""
    program = app("LQ-107")
    async with program.run_test(size=(80, 24)) as pilot:
        screen, _ = await fitting(pilot)
        step = screen.view.sheet.step(POWER)
        assert numbers_of(step)["magnification"] == 1.6
        page = number_page(screen.view, step, "magnification")
        text = " ".join("".join(part for part, _ in each.parts) for each in page.sheet.rows)
        assert "no formula" in text and "logMAR" not in text


async def test_causes_lead_to_the_steps(app, fitting, typing) -> None:
    """What is wrong lists the steps that need attention, then ranked causes, how sure, and the check that decides."""
    program = app("LQ-107")
    async with program.run_test(size=(80, 24)) as pilot:
        screen, pane = await fitting(pilot)
        pane.go_to("performance.acuity.right")
        await typing(pilot, ("20/125", "enter"), ("20/50", "enter"), ("20/50", "enter"))
        await pilot.press("ctrl+o")
        await pilot.pause()
        assert program.screen.sheet.current_key == "performance.acuity.right"
        for _ in range(400):
            rows = program.screen.sheet.rows
            if not any(each.key == "waiting" for each in rows):
                break
            await pilot.pause(0.05)
        text = " ".join("".join(part for part, _ in each.parts) for each in rows)
        assert "Most likely:" in text and "Check next:" in text and "Remedy:" in text
        assert "judgement" in text
        assert program.screen.sheet.current_key == "performance.acuity.right"
        await pilot.press("enter")
        await pilot.pause()
        assert program.screen is screen and pane.form.current_key == "performance.acuity.right"


async def test_help_of_a_step(app, fitting, seen) -> None:
    """F1 tells of the step under the caret: what to do, how it is typed."""
    program = app("LQ-107")
    async with program.run_test(size=(80, 24)) as pilot:
        _, pane = await fitting(pilot)
        pane.go_to(POWER)
        topic, text = pane.help_topic()
        assert topic == "Power by diameters, right eye"
        assert "exit pupil" in text and "Typed as:" in text


async def test_no_step_hides_anything(app, fitting) -> None:
    """Every sentence of every step is in its page: do, how, target, tolerance, rule, remedy."""
    program = app("LQ-107")
    async with program.run_test(size=(80, 24)) as pilot:
        screen, _ = await fitting(pilot)
        for step in screen.view.sheet:
            text = "\n".join(
                "".join(part for part, _ in each.parts) for each in step_in_full(screen.view, step)
            )
            for sentence in (step.do, step.how, step.target, step.tolerance, step.rule, step.remedy):
                assert sentence in text, step.key
