"""How long a look back over the case list's index takes, beside reading one case file. Run: python tests/bench/bench_look_back.py"""

from __future__ import annotations

import random
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import afocal.core.data
from afocal.core.case_file import loads_case
from afocal.core.documents.look_back_report import look_back_page
from afocal.core.look_back import figures_of, look_back
from afocal.core.settings import Settings
from afocal.core.store.index import CaseIndex, IndexedFile
from afocal.core.store.index_schema import FileState

CASES = 10_000
CASE_FILE = Path(afocal.core.data.__path__[0]) / "demo" / "cases" / "LQ-101.toml"


def best_of(
    action: Callable[[], object], times: int = 15, before: Callable[[], object] = lambda: None
) -> float:
    """Seconds of the fastest run; ``before`` is done before each and not counted."""
    found = []
    for _ in range(times):
        before()
        start = time.perf_counter()
        action()
        found.append(time.perf_counter() - start)
    return min(found)


def invented(n: int, chance: random.Random) -> IndexedFile:
    """An invented case as the index holds it; every third with a repeat, every tenth with a second visit."""
    promised = chance.uniform(0.1, 0.6)
    outcomes = [
        {
            "visit_date": f"2026-{1 + (n + later) % 12:02d}-{1 + n % 28:02d}",
            "eye": ("right", "left", "both")[n % 3],
            "goal": f"goal {n % 12}",
            "device": f"device {n % 40}",
            "promised_logmar": promised,
            "measured_logmar": promised + chance.gauss(0.02, 0.1),
            "repeat_logmar": promised + chance.gauss(0.02, 0.1) if n % 3 == 0 else None,
            "outcome": ("goal met", "goal partly met", "returned")[n % 3],
            "reason": f"reason {n % 9}",
        }
        for later in range(2 if n % 10 == 0 else 1)
    ]
    header = {"code": f"C-{n}", "outcomes": outcomes, "figures": figures_of(outcomes)}
    return IndexedFile(FileState(f"C-{n}.toml", n, n, n), header)


def main() -> None:
    """Print the times and their ratio to reading one case."""
    chance = random.Random(5)
    files = [invented(n, chance) for n in range(CASES)]
    settings = Settings()
    with tempfile.TemporaryDirectory() as folder:
        index = CaseIndex(Path(folder), Path(folder) / "index.sqlite")
        for start in range(0, CASES, 500):
            index.put(files[start : start + 500])
        one = best_of(lambda: loads_case(CASE_FILE.read_text(encoding="utf-8")), 50)
        page = lambda: look_back_page(index, settings)  # noqa: E731
        anew = best_of(page, before=lambda: index.put([files[chance.randrange(CASES)]]))
        kept = best_of(page)
        rows = index.outcomes()
        plain = best_of(lambda: look_back(rows), 5)
        index.close()
    print(f"reading one case file                    {one * 1e3:8.2f} ms")
    print(f"look back over {CASES} cases, after a change{anew * 1e3:7.2f} ms   {anew / one:6.1f} x")
    print(f"the same while nothing changed           {kept * 1e3:8.2f} ms   {kept / one:6.1f} x")
    print(f"from all rows, without the index         {plain * 1e3:8.2f} ms   {plain / one:6.1f} x")


if __name__ == "__main__":
    main()
