"""The clinic's settings: notation, its own values for assumptions, weights of the ranking, keys, theme.

One TOML file. A bad entry is reported with file, key and the nearest known key, and the rest still counts.
"""

from __future__ import annotations

from collections.abc import Mapping
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, field, fields
from pathlib import Path
from types import MappingProxyType
from typing import Any, Literal

from .acuity import Notation
from .assumptions import ASSUMPTIONS
from .errors import FileRefusal
from .record_file import WrongRow, checked, known_good
from .store.toml import line_of_key, parse_toml
from .toml_cursor import nearest as nearest_of

# What each criterion of the ranking is worth; the sentences stand with the ranking itself.
WEIGHTS: Mapping[str, float] = MappingProxyType(
    {
        "chance": 4.0,
        "field": 2.0,
        "low_power": 2.0,
        "clear_range": 2.0,
        "working_distance": 1.0,
        "light": 1.0,
        "comfort": 3.0,
        "hands_free": 1.0,
        "two_eyes": 1.0,
        "simplicity": 1.0,
    }
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """Frozen settings; :meth:`assume` gives the value of an assumption, the clinic's own or the default."""

    acuity_notation: Notation = "snellen_ft"
    letters: Literal["utf-8", "ascii"] = "utf-8"
    cylinder: Literal["minus", "plus", "as typed"] = "as typed"
    note_order: Literal["soap", "narrative"] = "soap"
    theme: str = ""
    clinic: str = ""
    assumptions: Mapping[str, float] = field(default_factory=dict)
    weights: Mapping[str, float] = field(default_factory=dict)
    keys: Mapping[str, str] = field(default_factory=dict)
    # The clinic's own everyday tasks, read from the file beside the settings and never written with them.
    tasks: tuple[Any, ...] = field(default=(), repr=False)

    def assume(self, name: str) -> float:
        """The value in force of an assumption."""
        own = self.assumptions.get(name)
        return ASSUMPTIONS[name].default if own is None else own

    def weight(self, criterion: str) -> float:
        """The weight of a ranking criterion, 0 or more."""
        return self.weights.get(criterion, WEIGHTS[criterion])


# Keys that a settings file may hold.
SETTING_KEYS = frozenset(each.name for each in fields(Settings)) - {"tasks"}


def loads_settings(text: str, path: str | Path = "settings.toml") -> tuple[Settings, list[FileRefusal]]:
    """The settings in a TOML text and what was wrong with it; never raises for a bad file."""
    try:
        data = parse_toml(Path(path), text)
    except FileRefusal as refusal:
        return Settings(), [refusal]
    problems: list[FileRefusal] = []
    kept: dict[str, Any] = {}
    known = SETTING_KEYS
    for key, value in data.items():
        if key not in known:
            problems.append(_problem(path, text, key, "unknown key", known))
        elif key == "assumptions":
            kept[key] = _numbers(
                value,
                key,
                path,
                text,
                problems,
                {name: (a.lowest, a.highest) for name, a in ASSUMPTIONS.items()},
            )
        elif key == "weights":
            kept[key] = _numbers(value, key, path, text, problems, dict.fromkeys(WEIGHTS, (0.0, 100.0)))
        else:
            kept[key] = value
    for key in [k for k in kept if k not in ("assumptions", "weights")]:
        try:
            checked(Settings, {key: kept[key]})
        except WrongRow as wrong:
            problems.append(FileRefusal(path, wrong.reasons[0].reason, line=_line(text, key), key=key))
            del kept[key]
    return checked(Settings, kept), problems


def settings_known_good(text: str) -> Settings:
    """The settings in a text in which :func:`loads_settings` found nothing wrong before; not checked again."""
    return known_good(Settings, parse_toml(Path("settings.toml"), text))


def _numbers(
    value: Any,
    table: str,
    path: str | Path,
    text: str,
    problems: list[FileRefusal],
    allowed: Mapping[str, tuple[float, float]],
) -> dict[str, float]:
    if not isinstance(value, Mapping):
        problems.append(FileRefusal(path, "a table is expected", line=_line(text, table), key=table))
        return {}
    kept: dict[str, float] = {}
    for name, number in value.items():
        key = f"{table}.{name}"
        if name not in allowed:
            problems.append(_problem(path, text, key, "unknown key", set(allowed)))
            continue
        low, high = allowed[name]
        if isinstance(number, bool) or not isinstance(number, int | float) or not low <= number <= high:
            reason = f"{number!r} is not accepted; accepted is a number from {low:g} to {high:g}"
            problems.append(FileRefusal(path, reason, line=_line(text, key), key=key))
            continue
        kept[name] = float(number)
    return kept


def _problem(path: str | Path, text: str, key: str, reason: str, known: AbstractSet[str]) -> FileRefusal:
    name = key.rpartition(".")[2]
    return FileRefusal(
        path, reason, line=_line(text, key), key=key, nearest=nearest_of(name, tuple(sorted(known)))
    )


def _line(text: str, key: str) -> int | None:
    return line_of_key(text, tuple(key.split(".")))


def dumps_settings(settings: Settings) -> str:
    """The settings as TOML text, only what differs from the defaults."""
    import tomli_w

    usual = Settings()
    given = {key: getattr(settings, key) for key in sorted(SETTING_KEYS)}
    return tomli_w.dumps(
        {
            key: dict(value) if isinstance(value, Mapping) else value
            for key, value in given.items()
            if value != getattr(usual, key)
        }
    )
