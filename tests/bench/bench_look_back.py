"""How long a look back over the case list's index takes, beside reading one case file. Run: python tests/bench/bench_look_back.py"""

from __future__ import annotations

import random
import sqlite3
import tempfile
import time
from pathlib import Path

import afocal.core.data
from afocal.core.case_file import loads_case
from afocal.core.documents.look_back_report import look_back_page
from afocal.core.look_back import FIELDS, look_back, look_back_records
from afocal.core.settings import Settings
from afocal.core.store.index import CaseIndex
from afocal.core.store.index_schema import INSERT_OUTCOME, SCHEMA, VERSION, outcome_rows

CASES = 10_000
CASE_FILE = Path(afocal.core.data.__path__[0]) / "demo" / "cases" / "LQ-101.toml"
QUERY = f"SELECT {', '.join(FIELDS)} FROM outcomes"


def best_of(action, times: int = 7) -> float:
    """Seconds of the fastest run."""
    found = []
    for _ in range(times):
        start = time.perf_counter()
        action()
        found.append(time.perf_counter() - start)
    return min(found)


def filled(path: Path) -> sqlite3.Connection:
    """An index file of invented outcomes, one a case."""
    chance = random.Random(5)
    database = sqlite3.connect(path)
    database.executescript(SCHEMA)
    database.execute(f"PRAGMA user_version = {VERSION}")
    for n in range(CASES):
        promised = chance.uniform(0.1, 0.6)
        outcome = {
            "visit_date": f"2026-{1 + n % 12:02d}-{1 + n % 28:02d}",
            "eye": ("right", "left", "both")[n % 3],
            "goal": f"goal {n % 12}",
            "device": f"device {n % 40}",
            "promised_logmar": promised,
            "measured_logmar": promised + chance.gauss(0.02, 0.1),
            "outcome": ("goal met", "goal partly met", "returned")[n % 3],
            "reason": f"reason {n % 9}",
        }
        database.executemany(INSERT_OUTCOME, outcome_rows(f"C-{n}.toml", {"outcomes": [outcome]}))
    database.commit()
    return database


def main() -> None:
    """Print both times and their ratio."""
    with tempfile.TemporaryDirectory() as folder:
        database = filled(Path(folder) / "index.sqlite")
        one = best_of(lambda: loads_case(CASE_FILE.read_text(encoding="utf-8")), 50)
        rows = best_of(lambda: look_back_records(database.execute(QUERY)))
        columns = list(FIELDS)
        database.commit()
        index = CaseIndex(Path(folder), Path(folder) / "index.sqlite")
        settings = Settings()
        look_back_page(index, settings)
        kept = best_of(lambda: look_back_page(index, settings))
        index.close()
        found = database.execute(QUERY).fetchall()
        plain = [dict(zip(columns, row, strict=True)) for row in found]
        figures = best_of(lambda: look_back(plain))
        database.close()
    print(f"reading one case file     {one * 1e3:8.2f} ms")
    print(f"look back, {CASES} cases   {rows * 1e3:8.2f} ms   {rows / one:6.1f} x   (query and figures)")
    print(
        f"kept in the index         {kept * 1e3:8.2f} ms   {kept / one:6.1f} x   (until an outcome changes)"
    )
    print(f"from plain dictionaries   {figures * 1e3:8.2f} ms   {figures / one:6.1f} x   (figures)")


if __name__ == "__main__":
    main()
