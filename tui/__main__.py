"""``python -m afocal.tui`` and the ``afocal`` command."""

from __future__ import annotations

import sys

from .command_line import main

if __name__ == "__main__":
    sys.exit(main())
