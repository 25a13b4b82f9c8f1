"""Shared by the tests of panes and pages: the application on the practice set, with all folders under the test's own."""

from __future__ import annotations

import os
from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Any

# Read once, when the framework is imported: frames follow quickly, so that waiting for them is short.
os.environ.setdefault("TEXTUAL_FPS", "240")

import pytest
from textual import _wait
from textual.pilot import Pilot

from afocal.core.workspace import demo_workspace
from afocal.tui.app import AfocalApp
from afocal.tui.screens.case import CaseScreen

KEYS = {" ": "space", ".": "full_stop", "-": "minus", "+": "plus", "/": "slash", ",": "comma", "@": "at"}


@pytest.fixture(autouse=True)
def short_waits(monkeypatch: pytest.MonkeyPatch) -> None:
    """The framework looks every 20 ms whether a key has been dealt with; every 6 ms is long enough for a frame."""
    monkeypatch.setattr(_wait, "SLEEP_GRANULARITY", 0.006)
    monkeypatch.setattr(_wait, "SLEEP_IDLE", 0.001)


@pytest.fixture
def own_folders(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Configuration, cache and state of the program under the test's folder."""
    for name in ("CONFIG", "CACHE", "STATE"):
        monkeypatch.setenv(f"AFOCAL_{name}", str(tmp_path / name.lower()))
    return tmp_path


@pytest.fixture
def app(own_folders: Path) -> Callable[[str], AfocalApp]:
    """The application on a fresh practice set, opening the case named."""
    return lambda case: AfocalApp(demo_workspace(own_folders / "demo"), case)


@pytest.fixture
def case_screen() -> Callable[[Pilot[Any]], Awaitable[CaseScreen]]:
    """Waits until the case is open and its plan is there, and gives its screen."""

    async def wait(pilot: Pilot[Any]) -> CaseScreen:
        for _ in range(400):
            screen = pilot.app.screen
            if isinstance(screen, CaseScreen) and screen.view.plan is not None:
                await pilot.pause()
                return screen
            await pilot.pause(0.02)
        raise AssertionError(f"the case did not open: {pilot.app.screen}")

    return wait


@pytest.fixture
def typing() -> Callable[..., Awaitable[None]]:
    """Types each text letter by letter and presses the key after it: ``typing(pilot, ("33.5", "enter"))``."""

    async def type_all(pilot: Pilot[Any], *entries: tuple[str, str]) -> None:
        for text, key in entries:
            await pilot.press(*(KEYS.get(letter, letter) for letter in text), key)
            await pilot.pause()

    return type_all


def screen_text(app: AfocalApp) -> str:
    """What stands on the screen, line by line."""
    strips = app.screen._compositor.render_strips()
    return "\n".join("".join(segment.text for segment in strip).rstrip() for strip in strips)


@pytest.fixture
def seen() -> Callable[[AfocalApp], str]:
    """The screen as text."""
    return screen_text


@pytest.fixture
def fitting(case_screen):
    """Opens the fitting pane of the case that the application opens."""

    async def opened(pilot):
        screen = await case_screen(pilot)
        await pilot.press("f4")
        await pilot.pause()
        assert screen.place == "fitting"
        return screen, screen.pane

    return opened
