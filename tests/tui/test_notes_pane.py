"""The notes pane: own words kept by themselves, the note to a file, what changed since."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any

from textual.events import Paste
from textual.pilot import Pilot

from afocal.core.case_file import loads_case
from afocal.tui.app import AfocalApp
from afocal.tui.messages import READ_ONLY
from afocal.tui.panes import notes as notes_module
from afocal.tui.panes.notes import DOCUMENTS
from afocal.tui.screens.case import CaseScreen

CaseWaiter = Callable[[Pilot[Any]], Awaitable[CaseScreen]]
Typing = Callable[..., Awaitable[None]]
Seen = Callable[[AfocalApp], str]


async def notes(pilot: Pilot[Any], case_screen: CaseWaiter) -> tuple[CaseScreen, Any]:
    """The screen with the pane in front."""
    screen = await case_screen(pilot)
    await pilot.press("f5")
    await pilot.pause()
    return screen, screen.pane


async def test_own_words_are_kept_by_themselves(
    app: Callable[[str], AfocalApp], case_screen: CaseWaiter, monkeypatch: Any
) -> None:
    """A pause after typing is enough: the words are in the file; leaving the pane does the same at once."""
    monkeypatch.setattr(notes_module, "PAUSE_S", 0.1)
    running = app("LQ-101")
    async with running.run_test(size=(80, 24)) as pilot:
        screen, pane = await notes(pilot, case_screen)
        old = screen.desk.case.visit.notes
        await pilot.press(*"Zoe ")
        await pilot.pause(0.4)
        assert screen.desk.case.visit.notes == f"Zoe {old}"
        path = screen.desk.path
        assert loads_case(path.read_text("utf-8"), path).visit.notes == f"Zoe {old}"
        await pilot.press(*"ok ", "f2")
        await pilot.pause()
        assert screen.desk.case.visit.notes == f"Zoe ok {old}"
        assert pane.words.text == f"Zoe ok {old}"


async def test_own_words_are_never_overwritten(
    app: Callable[[str], AfocalApp], case_screen: CaseWaiter
) -> None:
    """A value that changes while words are typed makes a new note below and leaves the words and their caret alone."""
    running = app("LQ-101")
    async with running.run_test(size=(80, 24)) as pilot:
        screen, pane = await notes(pilot, case_screen)
        await pilot.press(*"abc")
        at = pane.words.cursor_location
        screen.change(lambda case: case.with_typed("face.vertex_distance", "14"))
        await pilot.pause()
        assert pane.words.text.startswith("abc")
        assert pane.words.cursor_location == at


async def test_pasted_words_are_only_words(app: Callable[[str], AfocalApp], case_screen: CaseWaiter) -> None:
    """Escape sequences and direction overrides lose their power; line breaks stay."""
    running = app("LQ-101")
    async with running.run_test(size=(80, 24)) as pilot:
        screen, pane = await notes(pilot, case_screen)
        running.post_message(Paste("one\x1b[2J\n\u202etwo[b]x[/b]\n"))
        await pilot.pause(0.05)
        pane.accept_typed()
        assert screen.desk.case.visit.notes.startswith("one\ntwo[b]x[/b]\n")
        assert "\x1b" not in pane.words.text


async def test_the_note_goes_to_a_new_file_and_the_line_says_where(
    app: Callable[[str], AfocalApp], case_screen: CaseWaiter
) -> None:
    """Written twice it is two files, the first as it was; the message stays."""
    running = app("LQ-101")
    async with running.run_test(size=(80, 24)) as pilot:
        screen, pane = await notes(pilot, case_screen)
        await pilot.press("ctrl+o")
        await pilot.pause()
        files = list(pane.out_folder().iterdir())
        assert len(files) == 1
        assert str(files[0]) in screen.messages.recent[-1].text
        first = files[0].read_text("utf-8")
        assert "LQ-101" in first
        files[0].write_text("mine", "utf-8")
        await pilot.press("ctrl+o")
        await pilot.pause()
        assert len(list(pane.out_folder().iterdir())) == 2
        assert files[0].read_text("utf-8") == "mine"
        assert screen.desk.case.visit.note_taken_at is not None


async def test_what_changed_since_the_note_is_shown(
    app: Callable[[str], AfocalApp], case_screen: CaseWaiter, typing: Typing
) -> None:
    """Unchanged, it says so; after an edit the lines that differ stand on top of the note."""
    running = app("LQ-101")
    async with running.run_test(size=(80, 24)) as pilot:
        screen, pane = await notes(pilot, case_screen)
        await pilot.press("ctrl+o")
        await pilot.pause()
        assert "nothing changed since" in pane.preview.rows[0].parts[0][0]
        await pilot.press("f2")
        screen.pane.go_to("right.distance_acuity")
        await typing(pilot, ("20/160", "tab"))
        await pilot.press("f5")
        await pilot.pause()
        words = [row.parts[0][0] for row in pane.preview.rows if row.parts]
        assert words[0].startswith("Changed since the note was taken")
        until = words.index("The note now")
        assert any("20/160" in line for line in words[1:until])


async def test_brief_and_full(app: Callable[[str], AfocalApp], case_screen: CaseWaiter, seen: Seen) -> None:
    """The length is chosen by a key and said above the note."""
    running = app("LQ-101")
    async with running.run_test(size=(80, 24)) as pilot:
        _, pane = await notes(pilot, case_screen)
        full = len(pane.preview.rows)
        await pilot.press("ctrl+r")
        await pilot.pause()
        assert "(brief)" in seen(running)
        assert len(pane.preview.rows) < full


async def test_every_document_is_written_or_refused_in_words(
    app: Callable[[str], AfocalApp], case_screen: CaseWaiter
) -> None:
    """Each entry of the list gives a file that is not empty, or a sentence that says what is missing."""
    running = app("LQ-101")
    async with running.run_test(size=(80, 24)) as pilot:
        screen, pane = await notes(pilot, case_screen)
        screen.change(lambda case: _chosen(case, screen))
        for key, name, suffix in DOCUMENTS:
            before = set(pane.out_folder().glob("*"))
            pane._write(key, name, suffix)
            await pilot.pause()
            said = screen.messages.recent[-1]
            new = set(pane.out_folder().glob("*")) - before
            if new:
                assert said.weight in ("done", "check")
                assert next(iter(new)).stat().st_size > 100
            else:
                assert said.weight == "error" and name in said.text, key


def _chosen(case: Any, screen: CaseScreen) -> Any:
    best = screen.view.best
    assert best is not None
    return case.with_visit(replace(case.visit, choice=best.configuration))


async def test_a_folder_that_takes_nothing_is_said(
    app: Callable[[str], AfocalApp], case_screen: CaseWaiter
) -> None:
    """A file stands where the folder should be: a sentence, no crash, and the note is not marked as taken."""
    running = app("LQ-101")
    async with running.run_test(size=(80, 24)) as pilot:
        screen, pane = await notes(pilot, case_screen)
        pane.out_folder().write_text("in the way", "utf-8")
        await pilot.press("ctrl+o")
        await pilot.pause()
        said = screen.messages.recent[-1]
        assert said.weight == "error" and "not written" in said.text
        assert screen.desk.case.visit.note_taken_at is None


async def test_why_an_order_is_not_written_is_seen_at_once(
    app: Callable[[str], AfocalApp], case_screen: CaseWaiter, seen: Seen
) -> None:
    """The first reason stands in the line of 80 columns, where only the beginning of the sentence has room."""
    running = app("LQ-107")
    async with running.run_test(size=(80, 24)) as pilot:
        screen, _ = await notes(pilot, case_screen)
        await pilot.press("ctrl+n", *"order", "enter")
        await pilot.pause(0.1)
        said = screen.messages.recent[-1]
        assert said.weight == "error" and "is assumed, not measured" in said.text
        assert "not written: Pantoscopic tilt is assumed" in seen(running)


async def test_copying_is_said(app: Callable[[str], AfocalApp], case_screen: CaseWaiter, seen: Seen) -> None:
    """The clipboard gets the note only on command, and the line says so."""
    running = app("LQ-101")
    async with running.run_test(size=(80, 24)) as pilot:
        screen, pane = await notes(pilot, case_screen)
        assert not running.clipboard
        await pilot.press("ctrl+t")
        await pilot.pause()
        assert running.clipboard == pane._note(screen.view)
        assert "clipboard" in seen(running)


async def test_go_to_finds_the_parts_of_the_note(
    app: Callable[[str], AfocalApp], case_screen: CaseWaiter, seen: Seen
) -> None:
    """Ctrl+G names the own words and every heading of the note; the heading comes to the top and the caret below it."""
    running = app("LQ-101")
    async with running.run_test(size=(80, 24)) as pilot:
        _, pane = await notes(pilot, case_screen)
        headings = [row.parts[0][0] for row in pane.preview.rows if row.heading]
        assert len(headings) >= 4
        assert [name for _, name in pane.jumps()] == [
            "Your own words",
            *(f"Note: {each}" for each in headings),
        ]
        await pilot.press("ctrl+g", *"objective", "enter")
        await pilot.pause()
        assert running.focused is pane.preview
        at = next(
            n for n, row in enumerate(pane.preview.rows) if row.heading and "OBJECTIVE" in row.parts[0][0]
        )
        assert pane.preview.current > at and pane.preview.top == pane.preview.first_line(at)
        await pilot.press("ctrl+g", *"own words", "enter")
        await pilot.pause()
        assert running.focused is pane.words
        assert not pane.go_to("part.9999") and not pane.go_to("face.pd")


async def test_words_typed_into_a_signed_visit_are_answered(
    app: Callable[[str], AfocalApp], case_screen: CaseWaiter
) -> None:
    """Nothing goes in, and the line says why and what can be done; moving through the words says nothing."""
    running = app("LQ-101")
    async with running.run_test(size=(80, 24)) as pilot:
        screen, pane = await notes(pilot, case_screen)
        pane.show(replace(screen.view, read_only=True))
        words, said = pane.words.text, len(screen.messages.recent)
        await pilot.press("down", "end", "home")
        await pilot.pause()
        assert len(screen.messages.recent) == said
        await pilot.press("x")
        await pilot.pause()
        assert pane.words.text == words
        assert screen.messages.recent[-1].text == READ_ONLY


def lines_of(pane: Any) -> list[str]:
    """The lines of the preview as they are drawn."""
    return ["".join(text for text, _ in line).rstrip() for line in pane.preview._lines]


def breaks_well(lines: list[str], width: int) -> list[tuple[str, str]]:
    """Each line with the one before it where its first word would have had room there."""
    bad = []
    for before, after in pairwise(lines):
        word = after.split()[0] if after.startswith("    ") and after.strip() else ""
        if word and before.startswith("  ") and len(before) + 1 + len(word) <= width:
            bad.append((before, after))
    return bad


async def test_the_note_is_broken_to_the_screen_and_goes_out_at_72(
    app: Callable[[str], AfocalApp], case_screen: CaseWaiter, tmp_path: Path
) -> None:
    """At 40 columns no line ends before it is full; what is written, and the note at 80 columns, keep their 72."""
    running = app("LQ-101")
    async with running.run_test(size=(40, 12)) as pilot:
        _, pane = await notes(pilot, case_screen)
        assert breaks_well(lines_of(pane), 38) == []
        assert any(len(line) > 34 for line in lines_of(pane))
        await pilot.press("ctrl+o")
        await pilot.pause()
        written = next(tmp_path.rglob("*chart-note.txt")).read_text("utf-8").splitlines()
        assert max(map(len, written)) in (70, 71, 72)
        await pilot.resize_terminal(80, 24)
        await pilot.pause(0.1)
        texts = [row.parts[0][0] for row in pane.preview.rows]
        assert all(line in texts for line in written if line)
        await pilot.resize_terminal(40, 12)
        await pilot.pause(0.1)
        assert breaks_well(lines_of(pane), 38) == []
