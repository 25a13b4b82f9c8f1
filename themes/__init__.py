"""Colour themes as data, and the loader that reads and checks them.

A theme is a TOML file: a name, a sentence for the chooser, whether it is light or dark, whether it uses exact
colours or the terminal's own palette, and one colour for each key of `COLOUR_KEYS`. Nothing here knows the screen:
the pairs that may meet there are declared in `PAIRS`, so that a theme can be checked without drawing anything.
"""

from __future__ import annotations

import difflib
import re
import tomllib
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

Kind = Literal["text", "mark"]

# W3C, Web Content Accessibility Guidelines (WCAG) 2.2, 2023: success criterion 1.4.6 asks 7:1 of text, 1.4.11 asks
# 3:1 of what marks a control or its state. https://www.w3.org/TR/WCAG22/
LEAST_RATIO: dict[Kind, float] = {"text": 7.0, "mark": 3.0}

# Every pair of ink and ground that may meet on the screen. The roles of the widgets are held against this list.
PAIRS: tuple[tuple[str, str, Kind], ...] = (
    ("ink", "ground", "text"),
    ("ink-soft", "ground", "text"),
    ("heading", "ground", "text"),
    ("frame", "ground", "mark"),
    ("mark", "ground", "mark"),
    ("caret", "ground", "mark"),
    ("caret", "field-ground", "mark"),
    ("caret", "answer-ground", "mark"),
    ("field-ink", "field-ground", "text"),
    ("ink-soft", "field-ground", "text"),
    ("assumed", "ground", "text"),
    ("carried", "ground", "text"),
    ("error", "ground", "text"),
    ("ok", "ground", "text"),
    ("check", "ground", "text"),
    ("no", "ground", "text"),
    ("picked-ink", "picked-ground", "text"),
    ("bar-ink", "bar-ground", "text"),
    ("bar-key", "bar-ground", "text"),
    ("bar-key", "ground", "text"),
    ("answer-ink", "answer-ground", "text"),
    ("mark", "answer-ground", "mark"),
    ("selection-ink", "selection-ground", "text"),
    ("curve-1", "ground", "mark"),
    ("curve-2", "ground", "mark"),
    ("curve-3", "ground", "mark"),
)

COLOUR_KEYS: tuple[str, ...] = tuple(dict.fromkeys(key for pair in PAIRS for key in pair[:2]))
STYLE_KEYS: tuple[str, ...] = tuple(key for key in COLOUR_KEYS if key.endswith("ground"))
STYLES = ("none", "reverse", "bold", "underline")
_TOP_KEYS = ("name", "sentence", "polarity", "palette", "colours", "styles")

_HEX = re.compile(r"#[0-9a-f]{6}\Z")
PALETTE_COLOURS: tuple[str, ...] = (
    "default",
    *(
        f"{bright}{name}"
        for bright in ("", "bright-")
        for name in ("black", "red", "green", "yellow", "blue", "magenta", "cyan", "white")
    ),
)


class ThemeRefusal(Exception):
    """A theme file that cannot be used: file, key where known, the reason, the nearest known key."""

    def __init__(self, path: Path, reason: str, *, key: str = "", nearest: str = "") -> None:
        self.path = path
        self.reason = reason
        self.key = key
        self.nearest = nearest
        super().__init__(str(path), reason, key, nearest)

    def __str__(self) -> str:
        key = f"{self.key}: " if self.key else ""
        nearest = f" (did you mean {self.nearest}?)" if self.nearest else ""
        return f"{self.path}: {key}{self.reason}{nearest}"


@dataclass(frozen=True)
class ThemeData:
    """One theme: `colours` holds every key of `COLOUR_KEYS`, `styles` how a ground of the palette is marked."""

    name: str
    sentence: str
    polarity: Literal["light", "dark"]
    palette: Literal["exact", "terminal"]
    colours: dict[str, str]
    styles: dict[str, str] = field(default_factory=dict)

    @property
    def dark(self) -> bool:
        """True for light text on a dark ground."""
        return self.polarity == "dark"


def load_theme(path: Path) -> ThemeData:
    """Read one theme file; raises ThemeRefusal with one sentence when it cannot be used."""
    try:
        table = tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise ThemeRefusal(path, f"cannot be read: {error.strerror or error}.") from error
    except UnicodeDecodeError as error:
        raise ThemeRefusal(path, "is not UTF-8 text.") from error
    except tomllib.TOMLDecodeError as error:
        raise ThemeRefusal(path, f"is not valid TOML: {error}.") from error
    _only_known(path, table, _TOP_KEYS, "")
    palette = _one_of(path, table, "palette", ("exact", "terminal"))
    return ThemeData(
        name=_text(path, table, "name"),
        sentence=_text(path, table, "sentence"),
        polarity="dark" if _one_of(path, table, "polarity", ("light", "dark")) == "dark" else "light",
        palette="terminal" if palette == "terminal" else "exact",
        colours=_colours(path, _table(path, table, "colours"), palette),
        styles=_styles(path, table.get("styles", {})),
    )


def built_in_themes() -> dict[str, ThemeData]:
    """The themes that come with the program, by name, in the order of the chooser."""
    themes = [load_theme(path) for path in sorted(Path(__file__).parent.glob("*.toml"))]
    return {theme.name: theme for theme in themes}


def load_built_in(name: str) -> ThemeData:
    """One of the themes that come with the program, without reading the others."""
    return load_theme(Path(__file__).parent / f"{name.replace('-', '_')}.toml")


def themes_from(folder: Path) -> tuple[dict[str, ThemeData], list[ThemeRefusal]]:
    """The user's own themes in a folder, and a refusal for each file that cannot be used."""
    themes: dict[str, ThemeData] = {}
    refusals: list[ThemeRefusal] = []
    for path in sorted(folder.glob("*.toml")) if folder.is_dir() else ():
        try:
            theme = load_theme(path)
        except ThemeRefusal as refusal:
            refusals.append(refusal)
        else:
            themes[theme.name] = theme
    return themes, refusals


def relative_luminance(colour: str) -> float:
    """Relative luminance of an exact colour `#rrggbb`, 0 for black to 1 for white (WCAG 2.2, definition)."""
    channels = [int(colour[start : start + 2], 16) / 255 for start in (1, 3, 5)]
    red, green, blue = (
        channel / 12.92 if channel <= 0.04045 else ((channel + 0.055) / 1.055) ** 2.4 for channel in channels
    )
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast_ratio(first: str, second: str) -> float:
    """Contrast ratio of two exact colours, 1 to 21 (WCAG 2.2, definition)."""
    lighter, darker = sorted((relative_luminance(first), relative_luminance(second)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


def weak_pairs(theme: ThemeData) -> list[str]:
    """One sentence for each pair of an exact theme below the least ratio; a palette theme depends on the terminal."""
    if theme.palette == "terminal":
        return []
    sentences = []
    for ink, ground, kind in PAIRS:
        ratio = contrast_ratio(theme.colours[ink], theme.colours[ground])
        if ratio < LEAST_RATIO[kind]:
            sentences.append(
                f"{theme.name}: {ink} on {ground} has a contrast of {ratio:.1f} to 1; "
                f"{kind} needs {LEAST_RATIO[kind]:g} to 1 or more."
            )
    return sentences


def _only_known(path: Path, table: dict[str, Any], known: tuple[str, ...], prefix: str) -> None:
    for key in table:
        if key not in known:
            near = difflib.get_close_matches(key, known, n=1)
            raise ThemeRefusal(
                path, "this key is not known.", key=prefix + key, nearest=prefix + near[0] if near else ""
            )


def _table(path: Path, table: dict[str, Any], key: str) -> dict[str, Any]:
    value = table.get(key)
    if not isinstance(value, dict):
        raise ThemeRefusal(path, f"a table [{key}] is needed.", key=key)
    return value


def _text(path: Path, table: dict[str, Any], key: str) -> str:
    value = table.get(key)
    if not isinstance(value, str) or not value.strip() or not value.isprintable():
        raise ThemeRefusal(path, "a text of one line is needed.", key=key)
    return value.strip()


def _one_of(path: Path, table: dict[str, Any], key: str, choices: tuple[str, ...]) -> str:
    value = table.get(key)
    if value not in choices:
        near = difflib.get_close_matches(str(value), choices, n=1)
        raise ThemeRefusal(
            path,
            f"{value if value is not None else 'nothing'} is given; accepted is {' or '.join(choices)}.",
            key=key,
            nearest=near[0] if near else "",
        )
    return str(value)


def _colours(path: Path, table: dict[str, Any], palette: str) -> dict[str, str]:
    _only_known(path, table, COLOUR_KEYS, "colours.")
    colours: dict[str, str] = {}
    for key in COLOUR_KEYS:
        if key not in table:
            raise ThemeRefusal(path, "this colour is missing.", key=f"colours.{key}")
        colours[key] = _colour(path, key, table[key], palette)
    return colours


def _colour(path: Path, key: str, value: object, palette: str) -> str:
    colour = value.strip().lower() if isinstance(value, str) else ""
    if palette == "exact" and not _HEX.match(colour):
        raise ThemeRefusal(
            path, f"{value!r} is given; accepted is #rrggbb (for example #ffd400).", key=f"colours.{key}"
        )
    if palette == "terminal" and colour not in PALETTE_COLOURS:
        near = difflib.get_close_matches(colour, PALETTE_COLOURS, n=1)
        raise ThemeRefusal(
            path,
            f"{value!r} is given; accepted is a colour of the terminal's palette (for example bright-yellow).",
            key=f"colours.{key}",
            nearest=near[0] if near else "",
        )
    return colour


def _styles(path: Path, table: object) -> dict[str, str]:
    if not isinstance(table, dict):
        raise ThemeRefusal(path, "a table [styles] is needed.", key="styles")
    _only_known(path, table, STYLE_KEYS, "styles.")
    for key, value in table.items():
        if value not in STYLES:
            raise ThemeRefusal(
                path, f"{value!r} is given; accepted is {', '.join(STYLES)}.", key=f"styles.{key}"
            )
    return dict(table)
