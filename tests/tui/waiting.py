"""Shared by the tests of lists and cases: wait for what comes about by itself, and find the list under a case."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from textual.pilot import Pilot

from afocal.tui.app import AfocalApp
from afocal.tui.screens.case_list import CaseListScreen


async def until(pilot: Pilot[Any], holds: Callable[[], bool]) -> None:
    """Wait until something holds."""
    for _ in range(600):
        if holds():
            await pilot.pause()
            return
        await pilot.pause(0.02)
    raise AssertionError("it did not come about")


def ground(app: AfocalApp) -> CaseListScreen:
    """The list on which everything else stands."""
    screen = app.screen_stack[0]
    assert isinstance(screen, CaseListScreen)
    return screen
