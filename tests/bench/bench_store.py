"""How the store scales: the first page at 1,000 and 100,000 cases, the full check, a save, and the saver.

Run ``python tests/bench/bench_store.py [small large]``; prints medians and ratios of one run.
"""

from __future__ import annotations

import statistics
import sys
import tempfile
import threading
import time
import tomllib
from pathlib import Path

from afocal.core.store.files import save_text
from afocal.core.store.history import save_case
from afocal.core.store.index import CaseIndex
from afocal.core.store.refresh import BackgroundRefresh, refresh
from afocal.core.store.saver import Saver

CASE = """schema = 1
code = "{code}"
birth_year = {year}
kind = "distance"
goals = ["read the board", "recognise faces"]
next_step = "{step}"
next_date = {date}

[[visits]]
date = {date}
device = "{device}"
promised_logmar = 0.4
measured_logmar = 0.46
"""
DEVICES = ("two-lens telescope 2.5×", "prism telescope 4×", "two-lens telescope 3×", "ring cap +4")
STEPS = ("training", "order", "call back", "loan", "closed")


def extract(text: str) -> dict:
    tables = tomllib.loads(text)
    visit = tables["visits"][-1]
    return {**tables, "last_visit": visit["date"], "device": visit["device"], "outcomes": [visit]}


def make_cases(folder: Path, count: int) -> None:
    folder.mkdir()
    for number in range(count):
        code = f"P{number:06d}"
        day = f"20{10 + number % 15}-{1 + number % 12:02d}-{1 + number % 28:02d}"
        fields = {"year": 1930 + number % 80, "step": STEPS[number % 5], "device": DEVICES[number % 4]}
        (folder / f"{code}.toml").write_text(CASE.format(code=code, date=day, **fields), encoding="utf-8")


def median_ms(action, times: int = 41) -> float:
    taken = []
    for _ in range(times):
        started = time.perf_counter()
        action()
        taken.append((time.perf_counter() - started) * 1000)
    return statistics.median(taken)


def first_page_cold(folder: Path, path: Path) -> None:
    index = CaseIndex(folder, path)
    assert len(index.page(0, 50)) == 50
    index.total()
    index.close()


def worst_wait_ms(index: CaseIndex) -> float:
    """The longest that a 'key' in this thread was late while the folder was checked in another."""
    worst = 0.0
    done = threading.Event()
    background = BackgroundRefresh(index, extract, lambda progress: progress.done and done.set())
    background.start()
    while not done.is_set():
        started = time.perf_counter()
        time.sleep(0.001)
        sum(range(2000))
        index.page(0, 50)
        worst = max(worst, (time.perf_counter() - started) * 1000)
    background.stop()
    return worst


def measure_list(root: Path, counts: list[int]) -> None:
    cold, warm, searches = [], [], []
    for count in counts:
        folder, path = root / f"cases{count}", root / f"index{count}.sqlite"
        make_cases(folder, count)
        time.sleep(0.2)
        index = CaseIndex(folder, path)
        started = time.perf_counter()
        list(refresh(index, extract))
        built = time.perf_counter() - started
        started = time.perf_counter()
        list(refresh(index, extract))
        checked = time.perf_counter() - started
        cold.append(median_ms(lambda folder=folder, path=path: first_page_cold(folder, path)))
        warm.append(median_ms(lambda index=index: index.page(0, 50)))
        searches.append(median_ms(lambda index=index: index.page(0, 50, search="prism 4× loan nothing"), 5))
        sorts = {
            sort: median_ms(lambda index=index, sort=sort: index.page(sort=sort), 11)
            for sort in ("code", "kind")
        }
        wait = worst_wait_ms(index)
        index.close()
        print(
            f"{count:>7} cases: build {built:.2f} s, full check {checked * 1000:.0f} ms, open and first page "
            f"{cold[-1]:.2f} ms, page {warm[-1]:.2f} ms, search without a hit {searches[-1]:.1f} ms, "
            f"by code {sorts['code']:.2f} ms, by kind {sorts['kind']:.2f} ms, worst key during a check {wait:.1f} ms"
        )
    print(f"open and first page, large : small = {cold[-1] / cold[0]:.2f}; page = {warm[-1] / warm[0]:.2f}")


def measure_saving(root: Path) -> None:
    text = CASE.format(code="P1", year=1950, step="x", device="y", date="2024-01-01") + "# " + "x" * 4000
    path = root / "save" / "P1.toml"
    stamp = save_text(path, text, None).stamp
    state = {"stamp": stamp, "number": 0}

    def one(save) -> None:
        state["number"] += 1
        state["stamp"] = save(path, f"{text}\n# {state['number']}", state["stamp"]).stamp

    plain = median_ms(lambda: one(save_text), 101)
    kept = median_ms(lambda: one(save_case), 101)
    saver = Saver(path, state["stamp"], root / "recovery")

    def through_saver() -> None:
        state["number"] += 1
        saver.put(f"{text}\n# {state['number']}")
        saver.wait(5)

    threaded = median_ms(through_saver, 101)
    handed = median_ms(lambda: saver.put(f"{text}\n# {time.perf_counter_ns()}"), 101)
    saver.close()
    print(
        f"save {plain:.2f} ms, with the earlier version kept {kept:.2f} ms, through the saver thread until durable "
        f"{threaded:.2f} ms, handing over to the thread {handed:.3f} ms"
    )


if __name__ == "__main__":
    sizes = [int(each) for each in sys.argv[1:]] or [1_000, 100_000]
    with tempfile.TemporaryDirectory() as place:
        measure_saving(Path(place))
        measure_list(Path(place), sizes)
