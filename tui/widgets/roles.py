"""The style roles: every way in which a drawn widget may colour a piece of text, declared once.

A widget names a role, a theme colours it. The contrast test walks this table for every theme, so a pair of
colours that is not here cannot get onto the screen through a drawn widget.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal, NamedTuple

from rich.style import Style
from textual.color import Color


class Role(NamedTuple):
    """Theme variables for text and ground, text attributes, and what the contrast rule is: text or mark."""

    ink: str
    ground: str = "ground"
    attributes: str = ""
    kind: Literal["text", "mark"] = "text"


ROLES: dict[str, Role] = {
    "plain": Role("ink"),
    "strong": Role("ink", attributes="bold"),
    "soft": Role("ink-soft"),
    "label": Role("ink"),
    "heading": Role("heading", attributes="bold"),
    "rule": Role("frame", kind="mark"),
    "frame": Role("frame", kind="mark"),
    "here": Role("mark", attributes="bold", kind="mark"),
    "edge": Role("mark", attributes="bold", kind="mark"),
    "bracket": Role("frame", kind="mark"),
    "field": Role("field-ink", "field-ground", attributes="bold"),
    "unit": Role("ink"),
    "echo": Role("ink"),
    "note": Role("ink-soft"),
    "assumed": Role("assumed"),
    "carried": Role("carried"),
    "error": Role("error", attributes="bold"),
    "ok": Role("ok"),
    "check": Role("check", attributes="bold"),
    "no": Role("no", attributes="bold"),
    "picked": Role("picked-ink", "picked-ground"),
    "picked-strong": Role("picked-ink", "picked-ground", attributes="bold"),
    "bar": Role("bar-ink", "bar-ground"),
    "bar-key": Role("bar-key", "bar-ground", attributes="bold"),
    "answer": Role("answer-ink", "answer-ground", attributes="bold"),
    "selection": Role("selection-ink", "selection-ground", attributes="bold"),
    "curve": Role("curve-1", kind="mark"),
    "curve-other": Role("curve-2", kind="mark"),
    "curve-third": Role("curve-3", kind="mark"),
}

# What stands where a theme sets nothing: white on black, so that a widget can be shown without any theme of
# ours.
VARIABLE_DEFAULTS: dict[str, str] = {
    "ground": "#000000",
    "ink": "#ffffff",
    "ink-soft": "#d0d0d0",
    "heading": "#ffffff",
    "frame": "#b0b0b0",
    "mark": "#ffff00",
    "field-ground": "#000000",
    "field-ink": "#ffffff",
    "assumed": "#ffffff",
    "carried": "#ffffff",
    "error": "#ffffff",
    "ok": "#ffffff",
    "check": "#ffffff",
    "no": "#ffffff",
    "picked-ground": "#ffffff",
    "picked-ink": "#000000",
    "bar-ground": "#000000",
    "bar-ink": "#ffffff",
    "bar-key": "#ffff00",
    "answer-ground": "#000000",
    "answer-ink": "#ffffff",
    "curve-1": "#ffffff",
    "curve-2": "#ffff00",
    "curve-3": "#00ffff",
    "selection-ground": "#ffffff",
    "selection-ink": "#000000",
    "selection-style": "none",
}


_latest: tuple[Mapping[str, str] | None, dict[str, Style]] = (None, {})


def styles_for(variables: Mapping[str, str]) -> dict[str, Style]:
    """The same, kept as long as the app has the same variables: they are replaced when another theme is worn."""
    global _latest
    if _latest[0] is not variables:
        _latest = (variables, role_styles(variables))
    return _latest[1]


def role_styles(variables: Mapping[str, str]) -> dict[str, Style]:
    """The style of each role under a theme whose variables are given."""
    return {name: _style(role, variables) for name, role in ROLES.items()}


def _style(role: Role, variables: Mapping[str, str]) -> Style:
    """A theme on the terminal's own palette marks a ground by `<ground>-style` (reverse), not by a colour."""
    attributes = f"{role.attributes} {variables.get(role.ground + '-style', '')}".split()
    return Style(
        color=_colour(variables, role.ink).rich_color,
        bgcolor=_colour(variables, role.ground).rich_color,
        bold="bold" in attributes or None,
        underline="underline" in attributes or None,
        reverse="reverse" in attributes or None,
    )


def _colour(variables: Mapping[str, str], name: str) -> Color:
    return Color.parse(variables.get(name, VARIABLE_DEFAULTS[name]))
