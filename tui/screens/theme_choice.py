"""The chooser of colours: each is worn while the caret is on it, Escape puts the old one back."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ...core.errors import AfocalError
from ...core.store.files import save_text
from ...core.store.reading import read_text
from ...themes import themes_from
from .dialogs import Pick

if TYPE_CHECKING:
    from ..app import AfocalApp


class ThemeChoice(Pick):
    """Previews while the caret moves; Enter keeps it, in the settings file too."""

    foot = "Up and Down try, Enter keep, Esc as before"

    def __init__(self, app: AfocalApp) -> None:
        from ...core import paths

        themes = app.add_built_in_themes()
        own, refusals = themes_from(paths.themes_dir())
        for theme in own.values():
            app.add_theme(theme)
        for refusal in refusals:
            app.say(str(refusal), "check")
        everything = [
            *themes,
            *(theme for name, theme in own.items() if name not in {t.name for t in themes}),
        ]
        super().__init__(
            "Colours",
            [(theme.name, theme.name) for theme in everything],
            current=app.theme,
            details=[theme.sentence for theme in everything],
        )
        self._before = app.theme
        self._afocal = app

    def picked_changed(self, key: str | None) -> None:
        if key:
            self._afocal.theme = key

    def action_leave(self) -> None:
        """As before."""
        self._afocal.theme = self._before
        self.dismiss(None)


def choose_theme(app: AfocalApp) -> None:
    """Open the chooser; what is chosen is worn and kept."""

    def chosen(name: str | None) -> None:
        if name:
            app.theme = name
            said = keep_theme(app, name)
            app.say(said, "done" if said.startswith("Colours") else "check")

    app.push_screen(ThemeChoice(app), chosen)


def keep_theme(app: AfocalApp, name: str) -> str:
    """Write the theme into the settings file, leaving the rest of it as it is; returns what to say."""
    path = app.workspace.settings_path
    try:
        read = read_text(path) if path.exists() else None
        text = with_theme(read.text if read else "", name)
        save_text(path, text, read.stamp if read else None)
    except (AfocalError, OSError) as error:
        return f"Worn now, but not kept for next time: {error}"
    return f"Colours: {name}, kept in {path}"


def with_theme(text: str, name: str) -> str:
    """Settings text with the theme set; other lines stay as they were written."""
    lines = text.splitlines()
    wanted = f'theme = "{name}"'
    for number, line in enumerate(lines):
        if line.strip().startswith("["):
            return "\n".join([*lines[:number], wanted, "", *lines[number:]]) + "\n"
        if line.split("=")[0].strip() == "theme":
            lines[number] = wanted
            return "\n".join(lines) + "\n"
    return "\n".join([*lines, wanted]) + "\n"
