"""Timeline, signing and addenda: nothing is signed with a caution open, and what is signed stays as it is."""

from __future__ import annotations

import pytest

from afocal.core.case import Caution
from afocal.core.case_file import loads_case
from afocal.core.fitting.cautions import cautions_for, with_caution
from afocal.core.signing import before_signing, sign, verify
from afocal.core.timeline import timeline
from afocal.core.workspace import demo_workspace
from afocal.tui.panes.fitting_edits import now
from afocal.tui.screens.dialogs import Ask
from afocal.tui.screens.keyed_page import KeyedPage
from afocal.tui.screens.visits import SIGN, missing_rows, place_of, timeline_rows

SIZES = [(80, 24), (40, 12)]


def all_understood(case):
    """The case with every caution given and understood."""
    for text in cautions_for(case):
        case = with_caution(case, text.key, Caution(given=True, understood=True, at=now()))
    return case


def words(rows) -> list[str]:
    """The rows as text."""
    return ["".join(text for text, _ in row.parts) for row in rows]


# ---- the timeline


@pytest.mark.parametrize(("size", "beside"), [((80, 24), True), ((40, 12), False)])
async def test_timeline(app, case_screen, seen, size, beside) -> None:
    """Visits stand side by side where there is room, and one after the other in any case; Escape goes back."""
    program = app("LQ-107")
    async with program.run_test(size=size) as pilot:
        screen = await case_screen(pilot)
        screen.action_visit_timeline()
        await pilot.pause(0.1)
        lines = words(program.screen.sheet.rows)
        days = [line for line in lines if "2026-10-21" in line and "2026-11-18" in line]
        assert bool(days) == beside
        after = [line for line in lines if line.startswith(("2026-10-21 ", "2026-11-18 "))]
        assert [line[:10] for line in after] == ["2026-11-18", "2026-10-21"]
        assert all(len(line) <= size[0] for line in seen(program).splitlines())
        await pilot.press("escape")
        await pilot.pause()
        assert program.screen is screen


def test_changes_are_told_in_words(tmp_path) -> None:
    """A change beyond what repeats (0.20 log between two acuities) has a sign and words; within it, words only."""
    workspace = demo_workspace(tmp_path)
    case = workspace.open_case("LQ-107").case
    settings, stock = workspace.settings()[0], workspace.stock()[0]
    worse = case.with_typed("right.distance_acuity", "20/160")
    lines = words(timeline_rows(worse, timeline(worse, settings, stock), 76))
    assert any(line.startswith("× worse by 0.32 log, more than repeats (0.2)") for line in lines)
    better = case.with_typed("right.distance_acuity", "20/40")
    lines = words(timeline_rows(better, timeline(better, settings, stock), 76))
    assert any(line.startswith("√ better by 0.28 log") for line in lines)
    lines = words(timeline_rows(case, timeline(case, settings, stock), 76))
    assert any("within what repeats" in line for line in lines)
    assert not any(line.startswith(("×", "√")) for line in lines)


def test_timeline_marks_what_was_not_measured(tmp_path) -> None:
    """A value carried over is marked so, in both layouts, and shows no change."""
    workspace = demo_workspace(tmp_path)
    case = workspace.open_case("LQ-107").case
    new = case.with_new_visit(now().date(), "follow-up").with_typed("right.distance_acuity", "20/80")
    settings, stock = workspace.settings()[0], workspace.stock()[0]
    lines = words(timeline_rows(new, timeline(new, settings, stock), 76))
    last = timeline(new, settings, stock).rows
    carried = [row.label for row in last if row.cells[-1].status == "carried over"]
    for label in carried:
        assert any(line.startswith(f"{label}: ") and "carried over" in line for line in lines)


# ---- signing


@pytest.mark.parametrize("size", SIZES)
async def test_not_signed_with_a_caution_open(app, case_screen, size) -> None:
    """With mandatory cautions open there is no way to sign; each is named, and Enter on one goes to it."""
    program = app("LQ-107")
    async with program.run_test(size=size) as pilot:
        screen = await case_screen(pilot)
        before = screen.desk.case
        screen.action_sign()
        await pilot.pause()
        page = program.screen
        assert isinstance(page, KeyedPage)
        keys = [row.key for row in page.sheet.rows]
        assert SIGN not in keys
        must = [each for each in before_signing(before) if each.must]
        lines = words(page.sheet.rows)
        for each in must:
            assert any(each.words[1:] in line for line in lines)
        page.sheet.go_to("caution.driving")
        await pilot.press("enter")
        await pilot.pause(0.1)
        assert program.screen is screen and screen.place == "fitting"
        assert screen.pane.form.current_key == "caution.driving"
        assert screen.desk.case == before


async def test_signing_for_good(app, case_screen, typing) -> None:
    """Once the cautions are understood the code signs: read-only, on disk, and no undo takes it back."""
    program = app("LQ-107")
    async with program.run_test(size=(80, 24)) as pilot:
        screen = await case_screen(pilot)
        screen.change(all_understood)
        screen.action_sign()
        await pilot.pause()
        assert program.screen.sheet.go_to(SIGN)
        await pilot.press("enter")
        await pilot.pause()
        assert isinstance(program.screen, Ask) and program.screen.input.value == "mk"
        await pilot.press("ctrl+u", "enter")
        await pilot.pause()
        assert isinstance(program.screen, Ask) and not screen.desk.case.visit.signed
        await typing(pilot, ("RK", "enter"))
        case = screen.desk.case
        assert program.screen is screen and case.visit.signature.signer == "RK"
        assert verify(case).state == "unchanged" and screen.view.read_only
        screen.action_undo()
        await pilot.pause()
        assert screen.desk.case.visit.signed
        assert loads_case(screen.desk.path.read_text("utf-8"), screen.desk.path).visit.signed
        screen.action_sign()
        await pilot.pause()
        lines = words(program.screen.sheet.rows)
        assert "Signed by RK" in lines[0] and "The examination of 2026-10-21 is not signed" in lines[1]
        await pilot.press("escape")
        assert program.screen is screen


async def test_what_is_signed_is_told_so(app, case_screen) -> None:
    """Where every visit is signed, nothing is asked: the signature is told."""
    program = app("LQ-101")
    async with program.run_test(size=(80, 24)) as pilot:
        screen = await case_screen(pilot)
        screen.change(lambda case: sign(all_understood(case), "RK", now()), for_good=True)
        screen.action_sign()
        await pilot.pause()
        assert program.screen is screen and "Signed by RK" in screen.messages.recent[-1].text


async def test_escape_signs_nothing(app, case_screen) -> None:
    """Escape at the list or at the code leaves the visit unsigned."""
    program = app("LQ-107")
    async with program.run_test(size=(80, 24)) as pilot:
        screen = await case_screen(pilot)
        screen.change(all_understood)
        screen.action_sign()
        await pilot.pause()
        await pilot.press("escape")
        await pilot.pause()
        screen.action_sign()
        await pilot.pause()
        program.screen.sheet.go_to(SIGN)
        await pilot.press("enter")
        await pilot.pause()
        await pilot.press("escape")
        await pilot.pause()
        assert program.screen is screen and not screen.desk.case.visit.signed


def test_missing_without_musts_leads_to_signing(tmp_path) -> None:
    """What is only worth a look does not stand in the way: the line that signs is there, and it is the last."""
    case = all_understood(demo_workspace(tmp_path).open_case("LQ-107").case)
    rows = list(missing_rows(before_signing(case)))
    assert rows[-1].key == SIGN
    assert any("No date for the next visit" in line for line in words(rows))


PLACES = [
    ("caution.sun", "fitting", "caution.sun"),
    ("right.refraction", "intake", "right.refraction"),
    ("goal.2.distance", "intake", "goal.1.distance"),
    ("choice.reason", "fitting", "choice.reason"),
    ("carried over", "intake", ""),
]


@pytest.mark.parametrize(("key", "pane", "row"), PLACES)
def test_where_a_missing_thing_is_settled(key, pane, row) -> None:
    """Each missing thing leads to the pane and the row where it is settled."""
    asked = place_of(key)
    assert (asked.pane, asked.key) == (pane, row)


async def test_a_visit_left_unsigned_is_signed_later(app, case_screen, seen, typing) -> None:
    """Beginning the next visit says that the last one is not signed; it can still be signed, and only it is."""
    program = app("LQ-107")
    async with program.run_test(size=(80, 24)) as pilot:
        screen = await case_screen(pilot)
        screen.change(all_understood)
        screen.action_visit_new()
        await pilot.pause()
        await typing(pilot, ("follow", "enter"))
        said = screen.messages.recent[-1].text
        assert said.startswith("The follow-up of 2026-11-18 is not signed yet")
        screen.action_sign()
        await pilot.pause()
        lines = words(program.screen.sheet.rows)
        assert any("The follow-up of 2026-11-18 is not signed: Enter here" in line for line in lines)
        assert program.screen.sheet.go_to("visit.1")
        await pilot.press("enter")
        await pilot.pause()
        assert "(follow-up of 2026-11-18)" in seen(program)
        assert not any(row.key for row in program.screen.sheet.rows if row.key != SIGN)
        assert program.screen.sheet.go_to(SIGN)
        await pilot.press("enter")
        await pilot.pause()
        assert "Sign the follow-up of 2026-11-18" in seen(program)
        await typing(pilot, ("RK", "enter"))
        case = screen.desk.case
        assert [visit.signed for visit in case.visits] == [False, True, False]
        assert verify(case, 1).state == "unchanged"
        assert not screen.view.read_only


def test_what_an_earlier_visit_lacks_leads_nowhere(tmp_path) -> None:
    """Only the last visit is edited: a caution missing at one before is named, without a place to go to."""
    case = demo_workspace(tmp_path).open_case("LQ-107").case
    missing = before_signing(case, 1)
    assert any(each.must for each in missing)
    rows = list(missing_rows(missing, earlier=True))
    assert not any(row.key for row in rows)
    assert any("Only the last visit is edited" in line for line in words(rows))


async def test_the_examiner_is_asked_at_every_kind_of_visit(app, case_screen, typing) -> None:
    """A fitting names who fitted, as the signature asks: the line that misses the examiner leads to the field."""
    program = app("LQ-107")
    async with program.run_test(size=(80, 24)) as pilot:
        screen = await case_screen(pilot)
        screen.change(lambda case: all_understood(case.with_new_visit(now().date(), "fitting")))
        await pilot.press("f4")
        screen.action_sign()
        await pilot.pause()
        assert program.screen.sheet.go_to("person.examiner")
        await pilot.press("enter")
        await pilot.pause(0.1)
        assert screen.place == "intake" and screen.pane.form.current_key == "person.examiner"
        await typing(pilot, ("mk", "enter"))
        assert screen.desk.case.value("person.examiner") == "mk"


# ---- later words


async def test_addendum_only_for_a_signed_visit(app, case_screen) -> None:
    """While nothing is signed there is nothing to add to, and that is said."""
    program = app("LQ-107")
    async with program.run_test(size=(80, 24)) as pilot:
        screen = await case_screen(pilot)
        screen.action_addendum()
        await pilot.pause()
        assert program.screen is screen and "No visit is signed" in screen.messages.recent[-1].text


async def test_addendum_keeps_what_was_signed(app, case_screen, typing) -> None:
    """Words and the code of who adds them are kept with the time; the signed content is unchanged; empty is refused."""
    program = app("LQ-107")
    async with program.run_test(size=(80, 24)) as pilot:
        screen = await case_screen(pilot)
        screen.change(lambda case: sign(all_understood(case), "RK", now()), for_good=True)
        await pilot.pause()
        screen.action_addendum()
        await pilot.pause()
        await pilot.press("enter")
        await pilot.pause()
        assert isinstance(program.screen, Ask)
        await typing(pilot, ("phoned: cards go well", "enter"), ("", "enter"))
        case = screen.desk.case
        (addendum,) = case.visit.addenda
        assert (addendum.text, addendum.by) == ("phoned: cards go well", "mk")
        assert verify(case).state == "unchanged" and "with 1 addendum since" in verify(case).sentence
        screen.action_visit_timeline()
        await pilot.pause(0.1)
        assert any("phoned: cards go well" in line for line in words(program.screen.sheet.rows))


async def test_addendum_to_the_visit_before(app, case_screen, typing) -> None:
    """When the visit worked on is not signed, the words go to the signed one before it, and never without a name."""
    program = app("LQ-107")
    async with program.run_test(size=(80, 24)) as pilot:
        screen = await case_screen(pilot)
        screen.change(lambda case: sign(all_understood(case), "RK", now()), for_good=True)
        screen.change(lambda case: case.with_new_visit(now().date(), "follow-up"))
        await pilot.pause()
        assert not screen.view.read_only
        screen.action_addendum()
        await pilot.pause()
        await typing(pilot, ("later", "enter"), ("", "enter"))
        assert isinstance(program.screen, Ask)
        await typing(pilot, ("mk", "enter"))
        assert [len(visit.addenda) for visit in screen.desk.case.visits] == [0, 1, 0]


async def test_follow_up_after_a_signed_fitting(app, case_screen, typing) -> None:
    """A month later: a new visit carries the choice and the cautions understood, and can be worked on again."""
    program = app("LQ-107")
    async with program.run_test(size=(80, 24)) as pilot:
        screen = await case_screen(pilot)
        screen.change(lambda case: sign(all_understood(case), "RK", now()), for_good=True)
        screen.action_visit_new()
        await pilot.pause()
        await typing(pilot, ("follow", "enter"))
        case = screen.desk.case
        assert len(case.visits) == 3 and case.visit.kind == "follow-up" and case.visit.choice is not None
        await pilot.press("f4")
        await pilot.pause()
        pane = screen.pane
        caution = next(row for row in pane.form.rows if row.key == "caution.sun")
        assert caution.status == "ok" and caution.text == "" and caution.echo.startswith("understood ")
        pane.go_to("performance.acuity.both")
        await typing(pilot, ("20/50", "enter"))
        assert screen.desk.case.visit.steps["performance.acuity.both"].measured == "20/50"
        assert "performance.acuity.both" not in screen.desk.case.visits[1].steps
        assert not any(each.must for each in before_signing(screen.desk.case))
