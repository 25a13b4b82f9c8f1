"""Theme files in ``afocal check``: the loader's own refusal, and pairs of colours that are too weak to read."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from ..core.store.check import Checker, Finding, Subject, Validator
from ..themes import ThemeRefusal, load_theme, weak_pairs


def register_themes(checker: Checker) -> None:
    """Teach a checker what a theme file is."""
    checker.register(Validator("themes", _is_theme, check_theme))


def _is_theme(path: Path, tables: Mapping[str, Any]) -> bool:
    return "colours" in tables or "polarity" in tables


def check_theme(subject: Subject) -> Iterator[Finding]:
    """Why a theme cannot be worn, or which of its pairs have too little contrast."""
    try:
        theme = load_theme(subject.path)
    except ThemeRefusal as refusal:
        yield Finding(subject.path, str(refusal).removeprefix(f"{subject.path}: "))
        return
    for sentence in weak_pairs(theme):
        yield Finding(subject.path, sentence)
