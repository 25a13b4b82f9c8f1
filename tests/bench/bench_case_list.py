"""The list in the application with many cases: first page, search, the longest wait of a key during the check.

Run ``python tests/bench/bench_case_list.py [small large]``; real case files, made from one practice case. Prints medians
and ratios of one run, and that a damaged file and another room's new case appear.
"""

from __future__ import annotations

import asyncio
import os
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from textual.events import Key

from afocal.core import paths
from afocal.core.case_header import case_header
from afocal.core.store.index import CaseIndex
from afocal.core.store.refresh import refresh
from afocal.core.workspace import DEMO, Workspace
from afocal.tui.app import AfocalApp
from afocal.tui.screens.case_list import CaseListScreen

STARTS = 5
SEARCHES = ("004", "subtitles", "zzzz")


def make_cases(folder: Path, count: int) -> None:
    """``count`` case files with codes and days of their own, and one damaged file among them."""
    folder.mkdir(parents=True)
    text = (DEMO / "cases" / "LQ-106.toml").read_text("utf-8")
    for number in range(count - 1):
        day = f"20{10 + number % 15}-{1 + number % 12:02d}-{1 + number % 28:02d}"
        made = text.replace("LQ-106", f"P{number:06d}").replace("2026-11-19", day)
        (folder / f"P{number:06d}.toml").write_text(made, "utf-8")
    (folder / "BROKEN.toml").write_text('schema = 1\ncode = "BROKEN"\n[[visit]\n', "utf-8")


def ground(app: AfocalApp) -> CaseListScreen:
    """The list."""
    screen = app.screen_stack[0]
    assert isinstance(screen, CaseListScreen)
    return screen


async def until(holds: Callable[[], bool], limit_s: float = 300.0) -> None:
    """Let the program run until something holds."""
    deadline = time.perf_counter() + limit_s
    while not holds():
        if time.perf_counter() > deadline:
            raise SystemExit("it did not come about")
        await asyncio.sleep(0.001)


async def first_page_ms(workspace: Workspace) -> float:
    """From the making of the application until its first page is painted, the index being there."""
    started = time.perf_counter()
    app = AfocalApp(workspace)
    async with app.run_test(size=(80, 24)):
        await until(lambda: ground(app).table.row_count > 0)
        return (time.perf_counter() - started) * 1000


async def key_ms(app: AfocalApp) -> float:
    """From a key as the terminal hands it over until the caret of the list has moved."""
    table = ground(app).table
    before = table.current
    key = "down" if before < 20 else "home"
    started = time.perf_counter()
    app.post_message(Key(key, None))
    while table.current == before:
        await asyncio.sleep(0)
    return (time.perf_counter() - started) * 1000


async def walk(app: AfocalApp, seconds: float, *, checking: bool) -> tuple[float, float]:
    """Median and longest time of a key in ms; ``checking``: while the folder is looked through without a pause."""
    taken = []
    ends = time.perf_counter() + seconds
    while time.perf_counter() < ends:
        if checking:
            ground(app)._refresher.now()  # type: ignore[union-attr]
        taken.append(await key_ms(app))
        await asyncio.sleep(0.02)
    return statistics.median(taken), max(taken)


async def measure(workspace: Workspace, count: int) -> dict[str, float]:
    """One folder, everything."""
    pages = [await first_page_ms(workspace) for _ in range(STARTS)]
    figures = {"page": statistics.median(pages)}
    app = AfocalApp(workspace)
    async with app.run_test(size=(100, 24)) as pilot:
        await until(lambda: ground(app)._refresher is not None)
        await asyncio.sleep(1.0)
        figures["key"], figures["key_quiet_worst"] = await walk(app, 2.0, checking=False)
        figures["key_checking"], figures["key_worst"] = await walk(app, 4.0, checking=True)
        searches = []
        for words in SEARCHES:
            started = time.perf_counter()
            ground(app).search.value = words
            ground(app).show_page(from_the_top=True)
            searches.append((time.perf_counter() - started) * 1000)
            await pilot.pause()
        figures["search"] = max(searches)
        ground(app).search.value = "broken"
        await until(lambda: ground(app).table.row_count == 1)
        damaged = ground(app).table.row(0).cells
        assert damaged[2] == "damaged" and damaged[3].startswith("! line 3"), damaged
        text = (workspace.cases / "P000001.toml").read_text("utf-8").replace("P000001", "NEWCOMER")
        (workspace.cases / "NEWCOMER.toml").write_text(text, "utf-8")
        ground(app).search.value = "newcomer"
        await until(lambda: ground(app).table.row_count == 0)
        ground(app)._refresher.now()  # type: ignore[union-attr]
        started = time.perf_counter()
        await until(lambda: ground(app).table.current_key == "NEWCOMER.toml")
        figures["newcomer"] = (time.perf_counter() - started) * 1000
    print(
        f"{count:>7} cases: first page {figures['page']:.0f} ms, key {figures['key']:.1f} ms (longest {figures['key_quiet_worst']:.0f}), during checks "
        f"{figures['key_checking']:.1f} ms (longest {figures['key_worst']:.0f}), slowest search {figures['search']:.0f} ms, "
        f"another room's case seen after {figures['newcomer']:.0f} ms"
    )
    return figures


def main() -> None:
    sizes = [int(each) for each in sys.argv[1:]] or [1_000, 100_000]
    with tempfile.TemporaryDirectory() as place:
        root = Path(place)
        for name in ("CONFIG", "CACHE", "STATE"):
            os.environ[f"AFOCAL_{name}"] = str(root / name.lower())
        found = []
        for count in sizes:
            workspace = Workspace(root / str(count) / "cases", DEMO / "stock.toml", root / "settings.toml")
            make_cases(workspace.cases, count)
            index = CaseIndex(workspace.cases, paths.index_file(workspace.cases))
            started = time.perf_counter()
            list(refresh(index, case_header))
            print(f"{count:>7} cases: first index {time.perf_counter() - started:.1f} s", flush=True)
            index.close()
            found.append(asyncio.run(measure(workspace, count)))
        for figure in ("page", "key_checking", "search"):
            print(f"{figure}: large : small = {found[-1][figure] / found[0][figure]:.2f}")


if __name__ == "__main__":
    main()
