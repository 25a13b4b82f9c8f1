"""How often the search for causes names the fault that was put in, and how long it takes.

Run it: ``python tests/bench/bench_faults.py [draws]``. Single faults are put in by ray tracing, measured with the noise of the
stated repeatabilities, and the ranked causes read back; printed are the shares of first and first three places and, for
every fault, what came first. Exits with 1 when a share is under its limit.
"""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from time import perf_counter

FIRST_LEAST, THREE_LEAST = 0.80, 0.95


def injection():
    """The module that traces rays, beside the tests."""
    path = Path(__file__).parents[1] / "core" / "test_faults_injection.py"
    spec = importlib.util.spec_from_file_location("faults_injection", path)
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


def main(draws: int) -> int:
    """Print the tables; 0 when every share is good enough."""
    tracing, poor = injection(), 0
    for name in tracing.NAMES:
        start = perf_counter()
        tracing.prepared(name)
        built = perf_counter() - start
        for bench in (True, False):
            start = perf_counter()
            results = tracing.run(name, draws, 2026, bench)
            each = (perf_counter() - start) / len(results)
            first, three = tracing.shares(results)
            poor += first < FIRST_LEAST or three < THREE_LEAST
            words = "everything measured" if bench else "device on the face only"
            print(
                f"\n{name}, {words}: {len(results)} single faults, first {first:.1%}, first three {three:.1%}"
            )
            print(f"  model {1000 * built:.0f} ms once, {1000 * each:.1f} ms a diagnosis with its tracing")
            for fault, said in tracing.confusion(results).items():
                print(f"  {fault:20s} " + ", ".join(f"{what} {count}" for what, count in said.most_common()))
    return 1 if poor else 0


if __name__ == "__main__":
    raise SystemExit(main(int(sys.argv[1]) if len(sys.argv) > 1 else 10))
