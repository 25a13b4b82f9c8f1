"""A process that edits one case for ever, or a given number of times, for tests that kill it or run several.

``saving_child.py FILE NAME COUNT``: each edit appends its number to the list of NAME in the case, by reading,
adding and saving; a foreign change is read again and merged. Each number is printed once its save has returned.
"""

from __future__ import annotations

import sys
import tomllib
from pathlib import Path

import tomli_w

from afocal.core.errors import FileRefusal
from afocal.core.store.files import ChangedOnDisk, SaveFailed
from afocal.core.store.history import save_case
from afocal.core.store.merge import three_way
from afocal.core.store.reading import ReadText, read_text
from afocal.core.store.resolving import resolve

PADDING = "x" * 3000


def read(path: Path) -> ReadText | None:
    while True:
        try:
            return read_text(path)
        except FileRefusal as refused:
            if not isinstance(refused.__cause__, FileNotFoundError):
                raise
            if not path.exists():
                return None
            # The other one made it at this very moment: it is there to be read.


def edit(path: Path, name: str, number: int) -> None:
    got = read(path)
    base = tomllib.loads(got.text) if got else {}
    mine = {**base, name: {"edits": [*base.get(name, {}).get("edits", []), number]}, "padding": PADDING}
    while True:
        try:
            save_case(path, tomli_w.dumps(mine), got.stamp if got else None)
            return
        except ChangedOnDisk:
            again = read(path)
            theirs = tomllib.loads(again.text) if again else {}
            merge = three_way(base, mine, theirs)
            assert merge.is_clean, merge.conflicts
            base, mine, got = theirs, resolve(merge, {}), again
        except SaveFailed as failed:
            if "went on" not in failed.reason and "another program" not in failed.reason:
                raise


def main() -> None:
    path, name, count = Path(sys.argv[1]), sys.argv[2], int(sys.argv[3])
    got = read(path)
    done = tomllib.loads(got.text).get(name, {}).get("edits", []) if got else []
    first = len(done)
    for number in range(first, first + count):
        edit(path, name, number)
        print(number, flush=True)


if __name__ == "__main__":
    main()
