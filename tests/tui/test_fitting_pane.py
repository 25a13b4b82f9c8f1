"""The fitting pane by keyboard: what is typed lands in the case, is judged, saved, and can be taken back."""

from __future__ import annotations

from dataclasses import replace

import pytest

from afocal.core.case import StepResult
from afocal.core.case_file import loads_case
from afocal.core.fitting.progress import next_open
from afocal.tui.messages import READ_ONLY
from afocal.tui.panes.fitting import FittingPane

SIZES = [(80, 24), (40, 12)]
POWER = "verify.power.right"


def result(screen, key: str) -> StepResult | None:
    """What the case holds for a step."""
    return screen.desk.case.visit.steps.get(key)


def row(pane: FittingPane, key: str):
    """A row of the checklist."""
    return next(each for each in pane.form.rows if each.key == key)


# ---- nothing chosen


@pytest.mark.parametrize("size", SIZES)
async def test_without_a_choice_it_says_what_to_do(app, fitting, seen, size) -> None:
    """With nothing chosen the pane says so and where to choose; the caret stands on the words."""
    program = app("LQ-101")
    async with program.run_test(size=size) as pilot:
        screen, pane = await fitting(pilot)
        before = screen.desk.case
        assert program.focused is pane.state
        text = " ".join(seen(program).split())
        assert "Nothing is chosen yet" in text and "F3 shows" in text
        await pilot.press("ctrl+n")
        await pilot.pause()
        assert "choose an option first" in screen.messages.recent[-1].text
        assert screen.desk.case == before


async def test_the_sheet_comes_with_the_choice_and_goes_with_undo(app, fitting) -> None:
    """Choosing in the computation pane brings the checklist, undoing the choice takes it away; the caret follows."""
    program = app("LQ-101")
    async with program.run_test(size=(80, 24)) as pilot:
        screen, pane = await fitting(pilot)
        await pilot.press("f3")
        await pilot.pause()
        await pilot.press("ctrl+o")
        await pilot.pause()
        assert screen.desk.case.visit.choice is not None
        await pilot.press("f4")
        await pilot.pause()
        assert program.focused is pane.form.editor and pane.form.rows
        await pilot.press("ctrl+z")
        await pilot.pause()
        assert screen.desk.case.visit.choice is None
        assert program.focused is pane.state and not pane.form.rows


# ---- entering


@pytest.mark.parametrize("size", SIZES)
async def test_a_value_is_kept_judged_and_saved(app, fitting, typing, seen, size) -> None:
    """Enter keeps the text with who and when, the file has it, the verdict and the progress say it."""
    program = app("LQ-107")
    async with program.run_test(size=size) as pilot:
        screen, pane = await fitting(pilot)
        assert pane.go_to(POWER)
        await typing(pilot, ("17.4", "enter"))
        kept = result(screen, POWER)
        assert kept is not None and kept.measured == "17.4"
        assert kept.by == "mk" and kept.at is not None
        assert row(pane, POWER).status == "ok"
        assert pane.form.current_key != POWER
        assert "3 of 13 for this follow-up" in " ".join(seen(program).split())
        saved = loads_case(screen.desk.path.read_text("utf-8"), screen.desk.path)
        assert saved.visit.steps[POWER] == kept


# Typed at the power by diameters of a 1.6x with a 28 mm objective: 17.5 mm is exact, 5 % either way is tolerated.
VERDICTS = [
    ("17.5", "ok"),
    ("16.7", "ok"),
    ("18.4", "ok"),
    ("15", "no"),
    ("21", "no"),
    ("1.75 cm", "ok"),
]


async def test_verdict_beside_the_value(app, fitting, typing) -> None:
    """The verdict stands beside the field; when it is not ok its sentence stays below, with the remedy."""
    program = app("LQ-107")
    async with program.run_test(size=(80, 24)) as pilot:
        screen, pane = await fitting(pilot)
        for text, state in VERDICTS:
            pane.go_to(POWER)
            await typing(pilot, (text, "enter"))
            assert result(screen, POWER).measured == text
            assert row(pane, POWER).status == state, text
            assert bool(row(pane, POWER).note) == (state != "ok"), text


async def test_refused_text_changes_nothing(app, fitting, typing, seen) -> None:
    """A text that cannot be read leaves the case, says why below the field, and Ctrl+R goes there; Escape and Enter clear it."""
    program = app("LQ-107")
    async with program.run_test(size=(80, 24)) as pilot:
        screen, pane = await fitting(pilot)
        before = screen.desk.case
        pane.go_to(POWER)
        await typing(pilot, ("500", "enter"))
        assert screen.desk.case == before
        assert "accepted is 0.5 mm to 30 mm" in row(pane, POWER).error
        assert "500" in " ".join(seen(program).split())
        await pilot.press("ctrl+r")
        await pilot.pause()
        assert pane.form.current_key == POWER and pane.form.editor.value == "500"
        await pilot.press("escape", "enter")
        await pilot.pause()
        assert row(pane, POWER).error == "" and screen.desk.case == before


async def test_undo_takes_the_last_entry_back(app, fitting, typing) -> None:
    """Ctrl+Z takes back one entry after the other, Ctrl+Y brings it again; the rows follow."""
    program = app("LQ-107")
    async with program.run_test(size=(80, 24)) as pilot:
        screen, pane = await fitting(pilot)
        pane.go_to(POWER)
        await typing(pilot, ("17.4", "enter"))
        pane.go_to("frame.adjusted")
        await typing(pilot, ("y", "enter"))
        await pilot.press("ctrl+z")
        await pilot.pause()
        assert result(screen, "frame.adjusted") is None and row(pane, "frame.adjusted").text == ""
        assert result(screen, POWER) is not None
        await pilot.press("ctrl+z", "ctrl+y")
        await pilot.pause()
        assert result(screen, POWER).measured == "17.4" and row(pane, POWER).text == "17.4"


async def test_record_stands_in_and_is_replaced(app, fitting, typing) -> None:
    """A value of the examination answers the step that asks the same; one typed at the step replaces it."""
    program = app("LQ-107")
    async with program.run_test(size=(80, 24)) as pilot:
        screen, pane = await fitting(pilot)
        assert row(pane, "frame.b_size").status == "ok"
        assert row(pane, "frame.b_size").echo == "42 from the record"
        pane.go_to("frame.b_size")
        await typing(pilot, ("38", "enter"))
        assert row(pane, "frame.b_size").status == "no" and row(pane, "frame.b_size").text == "38"
        assert screen.desk.case.visit.findings["face.b_size"].typed == "42"


async def test_a_wider_screen_has_the_step_beside_the_list(app, fitting) -> None:
    """At 120 columns the step stands beside the checklist, at 80 below it; the words are the same."""
    program = app("LQ-107")
    async with program.run_test(size=(120, 30)) as pilot:
        _, pane = await fitting(pilot)
        assert pane.detail.region.x > 40 and pane.detail.region.y == pane.form.region.y
        words = [each.parts for each in pane.detail.rows]
        await pilot.resize_terminal(80, 24)
        await pilot.pause(0.1)
        assert pane.detail.region.x == 0 and pane.detail.region.y > pane.form.region.y
        assert [each.parts for each in pane.detail.rows] == words


# ---- moving about


async def test_walks_over_open_steps(app, fitting, typing) -> None:
    """It opens at the first open step; Ctrl+N goes on to the next one, past answered and optional ones."""
    program = app("LQ-107")
    async with program.run_test(size=(80, 24)) as pilot:
        screen, pane = await fitting(pilot)
        view = screen.view
        first = next_open(view.sheet, view.case.visit)
        assert pane.form.current_key == first.key == "fit.vertical"
        visited = []
        for _ in range(8):
            await pilot.press("ctrl+n")
            await pilot.pause()
            visited.append(pane.form.current_key)
        assert visited[0] == "fit.horizontal"
        assert not any(view.sheet.step(key).optional for key in visited)
        assert len(set(visited)) == len(visited)


async def test_goes_to_a_step_by_name(app, fitting, typing) -> None:
    """Ctrl+G and part of a name puts the caret on the step."""
    program = app("LQ-107")
    async with program.run_test(size=(80, 24)) as pilot:
        _, pane = await fitting(pilot)
        await pilot.press("ctrl+g")
        await pilot.pause()
        await typing(pilot, ("left: power by dia", "enter"))
        assert pane.form.current_key == "verify.power.left"


# ---- notes, cautions, training


async def test_note_on_a_step(app, fitting, typing) -> None:
    """A note stands with its step, before and after a value, and is removed when emptied."""
    program = app("LQ-107")
    async with program.run_test(size=(80, 24)) as pilot:
        screen, pane = await fitting(pilot)
        pane.go_to(POWER)
        await pilot.press("ctrl+t")
        await pilot.pause()
        await typing(pilot, ("band magnifier", "enter"))
        assert result(screen, POWER).note == "band magnifier" and result(screen, POWER).measured == ""
        assert "Note: band magnifier" in row(pane, POWER).note
        await typing(pilot, ("17.5", "enter"))
        assert result(screen, POWER).note == "band magnifier" and result(screen, POWER).measured == "17.5"
        pane.go_to(POWER)
        await pilot.press("ctrl+t")
        await pilot.pause()
        await pilot.press("ctrl+u", "enter")
        await pilot.pause()
        assert result(screen, POWER).note == "" and result(screen, POWER).measured == "17.5"


# What is pressed at a caution: given, understood, the word beside it.
CAUTIONS = [("y", True, True, "ok"), ("g", True, False, "check"), ("n", False, False, "open")]


@pytest.mark.parametrize(("key", "given", "understood", "status"), CAUTIONS)
async def test_cautions_are_ticked_by_name(app, fitting, typing, key, given, understood, status) -> None:
    """Each caution is answered by name: given and understood, given only, not given; emptied it is not asked."""
    program = app("LQ-107")
    async with program.run_test(size=(80, 24)) as pilot:
        screen, pane = await fitting(pilot)
        pane.go_to("caution.driving")
        await typing(pilot, (key, "enter"))
        mark = screen.desk.case.visit.cautions["driving"]
        assert (mark.given, mark.understood) == (given, understood)
        assert row(pane, "caution.driving").status == status
        pane.go_to("caution.driving")
        await pilot.press("backspace", "enter")
        await pilot.pause()
        assert "driving" not in screen.desk.case.visit.cautions


async def test_the_words_of_a_caution_are_at_hand(app, fitting, seen) -> None:
    """The sentence to say stands beside the caution, whole, at 40 columns too by F6; driving is left to local law."""
    program = app("LQ-107")
    async with program.run_test(size=(40, 12)) as pilot:
        _, pane = await fitting(pilot)
        pane.go_to("caution.driving")
        await pilot.press("f6")
        await pilot.pause()
        text = ""
        for _ in range(4):
            text += " ".join(seen(program).split())
            await pilot.press("pagedown")
            await pilot.pause()
        assert "gives no right to drive" in text and "local law" in text


async def test_training_of_today(app, fitting, typing) -> None:
    """The result and the time of a stage make one session of today; the first letters are enough; emptied it is gone."""
    program = app("LQ-107")
    async with program.run_test(size=(80, 24)) as pilot:
        screen, pane = await fitting(pilot)
        pane.go_to("training.spot.result")
        await typing(pilot, ("w", "enter"), ("12", "enter"))
        (session,) = screen.desk.case.visit.training
        assert (session.stage, session.result, session.minutes) == ("spot", "with help", 12)
        assert row(pane, "training.spot.result").status == "open"
        pane.go_to("training.spot.result")
        await typing(pilot, ("alone, board from row two", "enter"))
        (session,) = screen.desk.case.visit.training
        assert session.result == "alone, board from row two" and session.minutes == 12
        assert row(pane, "training.spot.result").status == "ok"
        pane.go_to("training.spot.minutes")
        await typing(pilot, ("900", "enter"))
        assert "accepted is 1 to 240" in row(pane, "training.spot.minutes").error
        pane.go_to("training.focus.result")
        await typing(pilot, ("with help 8 min", "enter"))
        assert screen.desk.case.visit.training[1].result == "with help"
        assert screen.desk.case.visit.training[1].minutes == 8
        pane.go_to("training.focus.result")
        await typing(pilot, ("found 4 of 5", "enter"))
        assert screen.desk.case.visit.training[1].result == "found 4 of 5"
        assert screen.desk.case.visit.training[1].minutes == 8
        for part in ("spot.result", "spot.minutes", "focus.result", "focus.minutes"):
            pane.go_to(f"training.{part}")
            await pilot.press("backspace", "enter")
            await pilot.pause()
        assert screen.desk.case.visit.training == ()


async def test_training_of_another_day(app, fitting, typing) -> None:
    """A session is dated by the day typed above; a later day is refused; "today" brings today back."""
    program = app("LQ-107")
    async with program.run_test(size=(80, 24)) as pilot:
        screen, pane = await fitting(pilot)
        pane.go_to("training.day")
        await typing(pilot, ("2026-11-20", "enter"))
        assert row(pane, "training.day").text == "2026-11-20"
        pane.go_to("training.spot.result")
        await typing(pilot, ("alone", "enter"), ("15", "enter"))
        (session,) = screen.desk.case.visit.training
        assert (session.on.isoformat(), session.result, session.minutes) == ("2026-11-20", "alone", 15)
        assert row(pane, "training.spot.result").label == "2026-11-20, spot"
        pane.go_to("training.day")
        await typing(pilot, ("2999-01-01", "enter"))
        assert "a day up to" in row(pane, "training.day").error
        pane.go_to("training.day")
        await typing(pilot, ("today", "enter"))
        assert row(pane, "training.day").error == ""
        assert row(pane, "training.spot.result").text == ""
        assert "last 2026-11-20: alone" in row(pane, "training.spot.result").echo
        pane.go_to("training.focus.result")
        await typing(pilot, ("not", "enter"))
        assert screen.desk.case.visit.training[0].on.isoformat() == "2026-11-20"
        assert len(screen.desk.case.visit.training) == 2


async def test_reason_of_the_choice(app, fitting, typing) -> None:
    """The reason stands at the top in the practitioner's words, is saved, and undo brings the old one back."""
    program = app("LQ-107")
    async with program.run_test(size=(80, 24)) as pilot:
        screen, pane = await fitting(pilot)
        before = screen.desk.case.visit.choice_reason
        assert row(pane, "choice.reason").text == before
        pane.go_to("choice.reason")
        await typing(pilot, ("widest field", "enter"))
        assert screen.desk.case.visit.choice_reason == "widest field"
        saved = loads_case(screen.desk.path.read_text("utf-8"), screen.desk.path)
        assert saved.visit.choice_reason == "widest field"
        await pilot.press("ctrl+z")
        await pilot.pause()
        assert screen.desk.case.visit.choice_reason == before


# ---- refusals, read-only, left over


async def test_refusals_stand_first(app, fitting, seen) -> None:
    """What the sheet refuses stands above the checklist, in words; Shift+Tab reads it in full."""
    program = app("LQ-107")
    async with program.run_test(size=(40, 12)) as pilot:
        screen, pane = await fitting(pilot)
        screen.change(lambda case: case.with_typed("binocular.fusion", "no"))
        await pilot.pause(0.2)
        assert screen.view.sheet.refusals[0].startswith("Fusion is not shown")
        assert "Fusion is not shown" in "".join(text for text, _ in pane.state.rows[0].parts)
        assert "Fusion is not shown" in seen(program)
        pane.state.focus()
        await pilot.pause()
        assert program.focused is pane.state


async def test_signed_visit_refuses_edits_in_words(app, fitting, typing, seen) -> None:
    """A signed visit says that it is read-only, keeps what stands there, and refuses entries and notes in words."""
    program = app("LQ-107")
    async with program.run_test(size=(80, 24)) as pilot:
        screen, pane = await fitting(pilot)
        from afocal.core.case import Signature
        from afocal.tui.panes.fitting_edits import now

        screen.change(
            lambda case: case.with_visit(
                replace(case.visit, signature=Signature(signer="mk", at=now(), digest="x"))
            )
        )
        await pilot.pause(0.2)
        before = screen.desk.case
        assert "Read-only" in seen(program)
        pane.go_to(POWER)
        await typing(pilot, ("17.4", "enter"))
        assert screen.desk.case == before and row(pane, POWER).text == ""
        assert screen.messages.recent[-1].text == READ_ONLY
        await pilot.press("ctrl+t")
        await pilot.pause()
        assert program.screen is screen and screen.messages.recent[-1].text == READ_ONLY


async def test_the_help_of_a_row_says_how_its_value_is_typed(app, fitting) -> None:
    """F1 on every row of the checklist: what to do, unit, what is accepted and how it is spelled; sessions and their day
    as well as steps."""
    program = app("LQ-107")
    async with program.run_test(size=(80, 24)) as pilot:
        screen, pane = await fitting(pilot)
        for each in pane.form.rows:
            if each.heading or each.key.startswith(("caution.", "choice.")):
                continue
            assert pane.go_to(each.key)
            title, text = pane.help_topic()
            assert title and len(text) > 40, each.key
            if each.key.endswith(".result"):
                assert "Accepted: up to 200 characters" in text and "alone, with help or not yet" in text
                continue
            assert "Typed as: " in text and "For example: " in text, each.key
            assert "Accepted: " in text or "One of: " in text, each.key
            step = screen.view.sheet.step(each.key)
            unit = "min" if each.key.endswith(".minutes") else step.kind.unit if step is not None else ""
            assert not unit or f"Unit: {unit}" in text, each.key


async def test_what_stands_above_the_checklist_can_be_read_whole_on_a_low_screen(app, fitting) -> None:
    """On 12 lines only the beginning of it is seen there; F6 on the first row has the device and every refusal in full."""
    program = app("LQ-107")
    async with program.run_test(size=(40, 12)) as pilot:
        screen, pane = await fitting(pilot)
        whole = ["".join(text for text, _ in each.parts) for each in pane.state.rows]
        assert any("full diameter, through the lens" in each for each in whole)
        await pilot.press("ctrl+home", "f6")
        await pilot.pause()
        assert program.screen is not screen
        page = ["".join(text for text, _ in each.parts) for each in program.screen.sheet.rows]
        assert set(whole) <= set(page)


async def test_the_day_of_the_call_is_the_next_visit(app, fitting, typing) -> None:
    """Typed at the call, the day stands as the next visit, and the message says so."""
    program = app("LQ-107")
    async with program.run_test(size=(80, 24)) as pilot:
        screen, pane = await fitting(pilot)
        screen.change(lambda case: case.with_typed("plan.next_date", ""))
        await pilot.pause()
        pane.go_to("teach.call")
        await typing(pilot, ("10.12.2026", "enter"))
        assert screen.desk.case.visit.findings["plan.next_date"].typed == "10.12.2026"
        assert "next visit is planned" in screen.messages.recent[-1].text
        pane.go_to("teach.call")
        pane.take_focus()
        await typing(pilot, ("soon", "enter"))
        assert screen.desk.case.visit.findings["plan.next_date"].typed == "10.12.2026"


async def test_result_of_another_choice_is_named_and_can_go(app, fitting, typing) -> None:
    """After another choice an old result is not lost: it is listed, cannot be retyped, and goes when emptied."""
    program = app("LQ-107")
    async with program.run_test(size=(80, 24)) as pilot:
        screen, pane = await fitting(pilot)
        pane.go_to("verify.power.left")
        await typing(pilot, ("17.5", "enter"))
        one_eye = replace(screen.desk.case.visit.choice, eye="right", spread_mm=0.0)
        screen.change(lambda case: case.with_visit(replace(case.visit, choice=one_eye)))
        await pilot.pause(0.2)
        assert row(pane, "left.verify.power.left").text == "17.5"
        pane.go_to("left.verify.power.left")
        await typing(pilot, ("18", "enter"))
        assert result(screen, "verify.power.left").measured == "17.5"
        assert "only be removed" in row(pane, "left.verify.power.left").error
        # Enter on the last row went on to the next place; whoever goes to a row takes the focus along.
        pane.go_to("left.verify.power.left")
        pane.take_focus()
        await pilot.press("backspace", "enter")
        await pilot.pause()
        assert result(screen, "verify.power.left") is None


async def test_device_gone_from_the_stock_is_said(app, fitting, seen) -> None:
    """A chosen telescope that the stock no longer has is named, and the pane points to other options."""
    program = app("LQ-107")
    async with program.run_test(size=(80, 24)) as pilot:
        screen, pane = await fitting(pilot)
        gone = replace(screen.desk.case.visit.choice, telescope="gone-9")
        screen.change(lambda case: case.with_visit(replace(case.visit, choice=gone)))
        await pilot.pause(0.2)
        text = " ".join(seen(program).split())
        assert "gone-9" in text and "F3 offers other options" in text
        assert program.focused is pane.state


# A choice may be spelled out, begun, or stepped to: what is typed and what is kept.
SPELLED = [("plano frame", "plano frame"), ("pl", "plano frame"), ("own glasses", "own glasses")]


@pytest.mark.parametrize(("text", "kept"), SPELLED)
async def test_a_choice_of_two_words_may_be_spelled_out(app, fitting, typing, text, kept) -> None:
    """The blank within a choice of two words is part of it and does not go to the next choice."""
    program = app("LQ-107")
    async with program.run_test(size=(80, 24)) as pilot:
        screen, pane = await fitting(pilot)
        pane.go_to("trial.over")
        await typing(pilot, (text, "enter"))
        assert result(screen, "trial.over").measured == kept


async def test_a_message_goes_when_the_work_went_on(app, fitting, typing, seen) -> None:
    """The refusal of a text leaves the message line once that row is mended, a word of success at the next entry."""
    program = app("LQ-107")
    async with program.run_test(size=(80, 24)) as pilot:
        screen, pane = await fitting(pilot)
        line = screen.messages
        pane.go_to(POWER)
        await typing(pilot, ("abcde", "enter"))
        assert line.stands and line.recent[-1].weight == "error"
        # Another row that is right does not take the refusal away; the same row does.
        pane.go_to("fit.stays")
        await typing(pilot, ("yes", "enter"))
        assert line.stands and "abcde" in line.recent[-1].text
        pane.go_to(POWER)
        await typing(pilot, ("17.4", "enter"))
        assert not line.stands and "abcde" not in seen(program)
        await pilot.press("ctrl+z")
        await pilot.pause()
        assert line.stands and "Undone" in seen(program)
        await typing(pilot, ("17.5", "enter"))
        assert not line.stands and "Undone" not in seen(program)
        # What was said can be read again.
        assert [each.text for each in line.recent][-1].startswith("Undone")


async def test_trouble_with_the_disk_stays_in_the_message_line(app, fitting, typing) -> None:
    """A warning that belongs to no row stays whatever is typed."""
    program = app("LQ-107")
    async with program.run_test(size=(80, 24)) as pilot:
        screen, pane = await fitting(pilot)
        screen.say("Not saved: the disk is full.", "error")
        pane.go_to(POWER)
        await typing(pilot, ("17.4", "enter"))
        await pilot.press("f5")
        await pilot.pause()
        assert screen.messages.stands and screen.messages.recent[-1].text.startswith("Not saved")


async def test_a_new_visit_begins_at_its_first_open_step(app, fitting, typing, seen) -> None:
    """Wherever the caret stood, the follow-up starts at what it asks first, and says how much is carried over."""
    program = app("LQ-107")
    async with program.run_test(size=(80, 24)) as pilot:
        screen, pane = await fitting(pilot)
        pane.go_to(POWER)
        await typing(pilot, ("17.4", "enter"))
        pane.go_to("training.localise.minutes")
        await pilot.pause()
        on = screen.desk.case.visit.on
        screen.change(lambda case: case.with_new_visit(on.replace(day=25), "follow-up"))
        for _ in range(100):
            await pilot.pause(0.02)
            if pane.form.current_key == "fit.eye_distance.right":
                break
        assert pane.form.current_key == "fit.eye_distance.right"
        assert "0 of 12 for this follow-up; 1 carried over" in " ".join(seen(program).split())
        assert row(pane, POWER).status == "carried over"
        assert row(pane, POWER).echo == "last 17.4 on 2026-11-18"
