"""``afocal plan`` on every practice case, against the start of an interpreter that only imports pydantic and tomllib.

Run: ``python tests/bench/bench_command_line.py [rounds]``. The calls are interleaved, so that a busy machine weighs on
all alike; medians of the wall time and of the processor time. Byte code is compiled beforehand, as an installation does.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from statistics import median

from afocal.core.workspace import DEMO

REFERENCE = ["-c", "import pydantic, tomllib"]
CALLS = {
    "reference": REFERENCE,
    "bare interpreter": ["-c", "pass"],
    "reference + one model": [
        "-c",
        "import pydantic, tomllib\nclass M(pydantic.BaseModel):\n x: int\nM(x=1)",
    ],
    **{
        f"plan {path.stem}": ["-m", "afocal.tui", "--demo", "plan", path.stem]
        for path in sorted((DEMO / "cases").glob("*.toml"))
    },
    "plan LQ-101 --json": ["-m", "afocal.tui", "--demo", "plan", "LQ-101", "--json"],
}


def seconds(arguments: list[str], environment: dict[str, str]) -> tuple[float, float]:
    """Wall time and processor time of one process."""
    before = os.times()
    start = time.perf_counter()
    subprocess.run([sys.executable, *arguments], env=environment, stdout=subprocess.DEVNULL, check=True)
    wall = time.perf_counter() - start
    after = os.times()
    used = after.children_user - before.children_user + after.children_system - before.children_system
    return wall, used


def main(rounds: int) -> None:
    """Print each call with its medians and its ratio to the reference."""
    with tempfile.TemporaryDirectory() as folder:
        environment = {**os.environ, "PYTHONPYCACHEPREFIX": str(Path(folder))}
        environment.pop("PYTHONDONTWRITEBYTECODE", None)
        for arguments in CALLS.values():
            seconds(arguments, environment)
        found: dict[str, list[tuple[float, float]]] = {name: [] for name in CALLS}
        for _ in range(rounds):
            for name, arguments in CALLS.items():
                found[name].append(seconds(arguments, environment))
    wall = {name: median(each[0] for each in times) for name, times in found.items()}
    used = {name: median(each[1] for each in times) for name, times in found.items()}
    for name in CALLS:
        ratio, busy = wall[name] / wall["reference"], used[name] / used["reference"]
        print(
            f"{name:24} {wall[name] * 1000:6.0f} ms  {ratio:5.2f}x   processor {used[name] * 1000:6.0f} ms  {busy:5.2f}x"
        )
    worst = max(wall[name] / wall["reference"] for name in CALLS if name.startswith("plan"))
    print(f"worst plan: {worst:.2f}x of the reference")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 9)
