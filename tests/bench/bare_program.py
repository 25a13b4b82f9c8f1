"""The bare app against which the others are measured: compact text fields of the framework, nothing else."""

from __future__ import annotations

import os

os.environ["TEXTUAL_ANIMATIONS"] = "none"

from textual.app import App, ComposeResult
from textual.widgets import Input


class Bare(App[None]):
    """Two fields, so that Tab has somewhere to go."""

    def compose(self) -> ComposeResult:
        yield Input("ready", compact=True)
        yield Input("second", compact=True)


def main() -> None:
    """Run it."""
    Bare().run()


if __name__ == "__main__":
    main()
