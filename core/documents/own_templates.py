"""The clinic's own templates, when it has put some beside its settings: ``note.toml`` and ``handout.toml``."""

from __future__ import annotations

from .. import paths
from ..store.reading import read_text
from .chart_note import note_template
from .template import Template


def own_note() -> Template | None:
    """The clinic's note template; None when there is none. Raises FileRefusal when it cannot be used."""
    path = paths.config_dir() / "note.toml"
    return note_template(read_text(path).text, path) if path.exists() else None


def own_handout() -> Template | None:
    """The clinic's template of the patient sheet; None when there is none. Raises FileRefusal when it is bad."""
    from .handout import handout_template

    path = paths.config_dir() / "handout.toml"
    return handout_template(read_text(path).text, path) if path.exists() else None
