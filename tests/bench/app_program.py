"""The program as it is installed, so that a bench can start it like the others."""

from __future__ import annotations

import sys


def main() -> None:
    """Run it on the arguments of the bench."""
    from afocal.tui.command_line import main as afocal

    sys.exit(afocal(sys.argv[1:]))


if __name__ == "__main__":
    main()
