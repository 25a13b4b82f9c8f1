"""A whole fitting by keyboard, for two tubes and for a bioptic, and the words of its rows."""

from __future__ import annotations

from dataclasses import replace

import pytest

from afocal.core.fitting.progress import progress, verdicts
from afocal.core.fitting.types import Answers, Interval, Lens, Recorded, Repeats, Step
from afocal.core.workspace import demo_workspace
from afocal.tui.panes.fitting_rows import fitting_rows, state_rows, step_label, wanted_words

# ---- a whole fitting


def good_text(step: Step) -> str:
    """Something to type that meets a step."""
    accept = step.accept
    if isinstance(accept, Answers):
        return {True: "yes", False: "no"}.get(accept.good[0], str(accept.good[0]))  # type: ignore[call-overload]
    if isinstance(accept, Lens | Repeats):
        return step.target.split(" (")[0].split(",")[0]
    if isinstance(accept, Interval) and step.target_value is not None:
        return step.kind.echo(step.target_value)  # type: ignore[arg-type]
    assert isinstance(accept, Recorded), step.key
    return step.kind.example.split(",")[0]


@pytest.mark.parametrize(
    ("case", "position", "size"),
    [("LQ-107", "full diameter", (40, 12)), ("LQ-101", "bioptic", (80, 24))],
    ids=["two tubes at 40x12", "bioptic at 80x24"],
)
async def test_whole_fitting_by_keyboard(app, fitting, typing, case, position, size) -> None:
    """From the first open step to the last caution by typing and Ctrl+N alone: all done, none needs attention."""
    program = app(case)
    async with program.run_test(size=size) as pilot:
        screen, pane = await fitting(pilot)
        # As a fitting: a follow-up asks only part of it again.
        screen.change(lambda old: old.with_visit(replace(old.visit, kind="fitting")))
        await pilot.pause(0.2)
        if screen.desk.case.visit.choice is None:
            option = next(o for o in screen.view.plan.options if o.configuration.position == position)
            screen.change(lambda old: old.with_visit(replace(old.visit, choice=option.configuration)))
            await pilot.pause(0.2)
        assert screen.desk.case.visit.choice.position == position

        def over() -> bool:
            return bool(screen.messages.recent) and screen.messages.recent[-1].text == "No step is open."

        while not over():
            key = pane.form.current_key
            step = screen.view.sheet.step(key)
            assert step is not None or key.startswith("caution."), key
            await typing(pilot, (good_text(step) if step is not None else "y", "ctrl+n"))
            assert pane.form.current_key != key or over(), key
        count = sum(not step.optional for step in screen.view.sheet)
        judged = verdicts(screen.view.sheet, screen.desk.case.visit)
        assert {key: each for key, each in judged.items() if each.state in ("check", "no")} == {}
        assert progress(screen.view.sheet, screen.desk.case.visit) == f"{count} of {count}"
        cautions = [each for each in pane.form.rows if each.key.startswith("caution.")]
        assert cautions and {each.status for each in cautions} <= {"ok", "optional"}


# ---- words


def test_wanted_in_few_words() -> None:
    """The target in a few words keeps its side: at least, at most, or less, or more, and the first clause of words."""
    from afocal.core import ranges
    from afocal.core.entry import Length, Number, YesNo
    from afocal.core.ranges import Range

    angle = Number(Range("angle", "deg", -45, 60, 0, 30, "18"), 1)
    length = Length(ranges.OCULAR_TO_CORNEA)
    table = [
        ("21 deg between tube and lens normal", angle, Interval(20, 24), 21.0, "21 deg"),
        ("at least 18 mm; now 21 mm", length, Interval(18, None), 18.0, "at least 18 mm"),
        ("at most 19.5 mm", length, Interval(None, 19.5), 19.5, "at most 19.5 mm"),
        ("13 mm ocular to cornea, or nearer", length, Interval(None, 15.7), 13.0, "13 mm or less"),
        ("even; 94 % of the naked brightness", YesNo(), Answers((True,)), None, "even"),
        ("yes", YesNo(), Answers((True,)), None, "yes"),
    ]
    for target, kind, accept, value, words in table:
        step = Step("a.b", "fit", "Title", "do", target, "how", kind, accept, value, "mm")
        assert wanted_words(step) == words


def test_the_eye_stands_in_front() -> None:
    """A step by eye begins with its eye, so that it is not cut off where labels are short."""
    from afocal.core.entry import YesNo

    step = Step("a.b", "fit", "Power by diameters", "do", "yes", "how", YesNo(), Answers((True,)), eye="left")
    assert step_label(step) == ("Left: power by diameters", "L: power by diameters")
    assert step_label(replace(step, eye="")) == ("Power by diameters", "")


def test_rows_of_a_view_without_a_sheet(tmp_path) -> None:
    """While the sheet is not there yet there are no rows, and the words say that it is being computed."""
    from afocal.core.person import person_of
    from afocal.core.settings import Settings
    from afocal.core.stock import Stock
    from afocal.tui.view import View

    case = demo_workspace(tmp_path).open_case("LQ-107").case
    view = View(case, Settings(), Stock(), person_of(case, Settings()))
    assert list(fitting_rows(view, {})) == []
    assert "being computed" in "".join(text for each in state_rows(view) for text, _ in each.parts)
