"""How long each picture takes to draw, as a ratio to filling a grid of the same size. Run: python tests/bench/bench_pictures.py"""

from __future__ import annotations

import sys
from statistics import median
from time import perf_counter

from afocal.core.person import person_of
from afocal.core.plan import plan
from afocal.core.workspace import DEMO, Workspace
from afocal.tui.pictures import PICTURES, subject_of
from afocal.tui.view import View

WIDTH, HEIGHT = 78, 38


def bare() -> list[str]:
    """Every cell of a grid of the same size set once and joined to lines."""
    grid = [[" "] * WIDTH for _ in range(HEIGHT)]
    for y in range(HEIGHT):
        for x in range(WIDTH):
            grid[y][x] = "#" if (x + y) % 3 else " "
    return ["".join(row) for row in grid]


def taken(action, times: int) -> float:
    """Median seconds of one call."""
    found = []
    for _ in range(times):
        start = perf_counter()
        action()
        found.append(perf_counter() - start)
    return median(found)


def main(times: int = 30) -> None:
    """Print milliseconds and the ratio for each picture and case."""
    workspace = Workspace(DEMO / "cases", DEMO / "stock.toml", DEMO / "settings.toml", is_demo=True)
    stock, settings = workspace.stock()[0], workspace.settings()[0]
    grid = taken(bare, times)
    print(f"bare grid {WIDTH}x{HEIGHT}: {grid * 1e3:.2f} ms")
    for code in ("LQ-101", "LQ-102", "LQ-104", "LQ-105"):
        case = workspace.open_case(code).case
        view = View(case, settings, stock, person_of(case, settings), plan(case, stock, settings))
        subject = subject_of(view)
        for number, each in enumerate(PICTURES, 1):
            seconds = taken(
                lambda each=each, view=view, subject=subject: each.picture(view, WIDTH, HEIGHT, subject),
                times,
            )
            print(f"{code} picture {number}: {seconds * 1e3:6.2f} ms  {seconds / grid:6.1f} x the bare grid")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
