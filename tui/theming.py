"""From theme data to the framework: the conversion, the choice at the start, and the app that wears a theme.

The framework derives shades, tints and transparencies from a theme; none of them is checked for contrast. So every
colour that it may use is set here from the theme's own keys, and nothing is left to be derived.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any

from textual.app import ReturnType
from textual.filter import ANSIToTruecolor, LineFilter
from textual.theme import Theme

from ..themes import ThemeData, ThemeRefusal, built_in_themes, load_built_in, themes_from
from . import terminal
from .caret import CaretApp
from .driver import colour_caret
from .quiet import QuietStylesheet

_THEME_LINE = re.compile(r'^\s*theme\s*=\s*"([A-Za-z0-9_-]+)"', re.MULTILINE)
DEFAULT_THEME = "dark-room"
PALETTE_THEME = "own-palette"

_SHADED = (
    "primary",
    "secondary",
    "primary-background",
    "secondary-background",
    "background",
    "foreground",
    "panel",
    "boost",
    "surface",
    "warning",
    "error",
    "success",
    "accent",
)

# The framework's variables by the key of ours that each takes its colour from.
_FRAMEWORK_COLOURS: dict[str, str] = {
    **dict.fromkeys(("background", "surface", "panel", "boost", "ansi-background"), "ground"),
    **dict.fromkeys(
        ("foreground", "text", "foreground-muted", "foreground-disabled", "ansi-foreground"), "ink"
    ),
    "text-muted": "ink-soft",
    "text-disabled": "ink-soft",
    **dict.fromkeys(("text-primary", "text-secondary", "text-accent"), "heading"),
    "text-warning": "check",
    "text-error": "error",
    "text-success": "ok",
    **dict.fromkeys(("border", "border-blurred"), "frame"),
    "surface-active": "ground",
    "block-cursor-foreground": "picked-ink",
    "block-cursor-background": "picked-ground",
    "block-cursor-blurred-foreground": "ink",
    "block-cursor-blurred-background": "ground",
    "block-hover-background": "ground",
    "scrollbar": "frame",
    "scrollbar-hover": "frame",
    "scrollbar-active": "mark",
    "scrollbar-background": "ground",
    "scrollbar-corner-color": "ground",
    "scrollbar-background-hover": "ground",
    "scrollbar-background-active": "ground",
    "link-color": "ink",
    "link-background": "ground",
    "link-color-hover": "picked-ink",
    "link-background-hover": "picked-ground",
    "footer-foreground": "bar-ink",
    "footer-background": "bar-ground",
    "footer-key-foreground": "bar-key",
    "footer-key-background": "bar-ground",
    "footer-description-foreground": "bar-ink",
    "footer-description-background": "bar-ground",
    "footer-item-background": "bar-ground",
    "input-cursor-foreground": "ground",
    "input-cursor-background": "ink",
    "input-selection-foreground": "selection-ink",
    "input-selection-background": "selection-ground",
    "screen-selection-foreground": "selection-ink",
    "screen-selection-background": "selection-ground",
    **{f"markdown-h{level}-color": "heading" for level in range(1, 7)},
    **{f"markdown-h{level}-background": "ground" for level in range(1, 7)},
    "button-foreground": "ink",
    "button-color-foreground": "ink",
}

_MAIN = {
    "primary": "mark",
    "secondary": "mark",
    "accent": "mark",
    "warning": "check",
    "error": "error",
    "success": "ok",
    "foreground": "ink",
    "background": "ground",
    "surface": "ground",
    "panel": "ground",
    "boost": "ground",
}


def css_colour(theme: ThemeData, key: str) -> str:
    """The colour of a theme's key as the framework writes it."""
    colour = theme.colours[key]
    return colour if theme.palette == "exact" else "ansi_" + colour.replace("-", "_")


def framework_theme(theme: ThemeData) -> Theme:
    """The framework's form of a theme, with every variable set from the theme's own keys."""
    variables = {key: css_colour(theme, key) for key in theme.colours}
    for name in _SHADED:
        source = _MAIN.get(name, "ground")
        variables[name] = css_colour(theme, source)
        for step in range(1, 4):
            variables[f"{name}-lighten-{step}"] = css_colour(theme, source)
            variables[f"{name}-darken-{step}"] = css_colour(theme, source)
    for name in ("background", "primary", "secondary", "accent", "warning", "error", "success"):
        variables[f"{name}-muted"] = css_colour(theme, "ground")
    variables |= {name: css_colour(theme, key) for name, key in _FRAMEWORK_COLOURS.items()}
    reverse = theme.styles.get("picked-ground", "none")
    variables |= {
        "block-cursor-text-style": "bold" if reverse == "none" else f"bold {reverse}",
        "block-cursor-blurred-text-style": "none",
        "input-cursor-text-style": "none",
        "button-focus-text-style": "bold reverse",
        "link-style": "underline",
        "link-style-hover": "underline",
        "selection-style": theme.styles.get("selection-ground", "none"),
        **{f"{ground}-style": style for ground, style in theme.styles.items()},
    }
    main: dict[str, Any] = {name: css_colour(theme, key) for name, key in _MAIN.items()}
    return Theme(
        name=theme.name,
        **main,
        dark=theme.dark,
        variables=variables,
        ansi=theme.palette == "terminal",
        luminosity_spread=0.0,
        text_alpha=1.0,
    )


def starting_theme_name(wanted: str, env: Mapping[str, str]) -> str:
    """The theme to start with: the one wanted, or the palette's where exact colours are not to be had."""
    return PALETTE_THEME if terminal.few_colours(env) else wanted or DEFAULT_THEME


def starting_theme(settings_path: Path, env: Mapping[str, str]) -> ThemeData:
    """The theme of the settings file, read without loading the settings; ours when there is none or it is unknown."""
    wanted = ""
    with suppress(OSError, ValueError):
        found = _THEME_LINE.search(settings_path.read_text("utf-8")) if settings_path.is_file() else None
        wanted = found[1] if found else ""
    with suppress(ThemeRefusal):
        return load_built_in(starting_theme_name(wanted, env))
    from ..core import paths

    own, _ = themes_from(paths.themes_dir())
    return own.get(wanted) or load_built_in(starting_theme_name("", env))


class ThemedApp(CaretApp[ReturnType]):
    """An app with our themes and none of the framework's; the cursor takes the theme's colour."""

    def __init__(self, theme: ThemeData | None = None, **options: Any) -> None:
        super().__init__(**options)
        for name in list(self.available_themes):
            self.unregister_theme(name)
        self._theme_data: dict[str, ThemeData] = {}
        first = theme or load_built_in(DEFAULT_THEME)
        self.add_theme(first)
        self.theme = first.name
        self.stylesheet = QuietStylesheet(variables=self.get_css_variables())

    @property
    def theme_data(self) -> ThemeData:
        """The theme in use, as data."""
        return self._theme_data[self.theme]

    def get_line_filters(self) -> Sequence[LineFilter]:
        """All but the one that makes the terminal's own colours exact, as in no theme of ours the two are mixed.

        It would copy every line that is drawn, and keep both.
        """
        return [each for each in super().get_line_filters() if not isinstance(each, ANSIToTruecolor)]

    _derived: tuple[Theme, dict[str, str]] | None = None

    def get_css_variables(self) -> dict[str, str]:
        """The variables of the theme in use, derived once; none before there is a theme of ours."""
        if not hasattr(self, "_theme_data"):
            return {}
        theme = self.current_theme
        if self._derived is None or self._derived[0] is not theme:
            self._derived = theme, super().get_css_variables()
        self.theme_variables = self._derived[1]
        return self.theme_variables

    def add_theme(self, theme: ThemeData) -> None:
        """Make a theme available."""
        self._theme_data[theme.name] = theme
        self.register_theme(framework_theme(theme))

    def add_built_in_themes(self) -> list[ThemeData]:
        """Make every theme of ours available, and list them for a chooser; not needed at the start."""
        for theme in built_in_themes().values():
            if theme.name not in self._theme_data:
                self.add_theme(theme)
        return list(self._theme_data.values())

    def on_ready(self) -> None:
        self._colour_caret()

    def watch_theme(self) -> None:
        self._colour_caret()

    def _colour_caret(self) -> None:
        theme = getattr(self, "_theme_data", {}).get(self.theme)
        if theme is not None and self._driver is not None:
            colour_caret(self._driver, theme.colours["caret"] if theme.palette == "exact" else None)
