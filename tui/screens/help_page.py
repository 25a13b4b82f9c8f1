"""Help: first for the field under the caret, then for the page, then for the program and its keys."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from ..commands import Place, commands_in, shown_key
from .dialogs import Page, text_page

if TYPE_CHECKING:
    from ..app import AfocalApp

HELP = Path(__file__).parents[1] / "help"


def help_page(app: AfocalApp) -> Page:
    """The page for where the caret is."""
    screen = app.screen
    place: Place = getattr(screen, "place", "list")
    pane = getattr(screen, "pane", None)
    topic, words = pane.help_topic() if pane is not None else ("", "")
    parts = []
    if topic:
        parts.append(f"# This field: {topic}\n{words}\n")
    parts.append(f"# This page\n{help_text(place)}\n")
    parts.append(f"# Keys here\n{key_words(app, place)}\n")
    parts.append(f"# The program\n{help_text('program')}")
    return text_page("Help", "\n".join(parts))


def help_text(name: str) -> str:
    """The text of a help file."""
    return (HELP / f"{name}.md").read_text("utf-8").strip()


def key_words(app: AfocalApp, place: Place) -> str:
    """Every command of the place with its key in force."""
    lines = []
    for command in commands_in(place):
        key = app.keys_of[command.id]
        lines.append(f"{shown_key(key) if key else 'palette':9} {command.title}  [{command.id}]")
    return "\n".join(lines)
