"""How fast the plan is, beside the bare closed form of one outcome and a key of a bare app in the same run.

Run: python tests/bench/bench_plan.py [--memory]
"""

from __future__ import annotations

import argparse
import random
import statistics
import time
import tracemalloc
from collections.abc import Callable
from datetime import date
from math import atan, degrees, erfc, log10, sqrt

from afocal.core.case import Case, new_case
from afocal.core.plan import plan
from afocal.core.plan.layers import forget
from afocal.core.settings import Settings
from afocal.core.stock import Cap, Stock, Telescope

SETTINGS = Settings()
GOALS = (
    {"task": "street name sign", "detail": "20/40"},
    {"task": "newspaper"},
    {"task": "television subtitles", "detail": "20/40"},
    {"task": "sheet music"},
    {"task": "theatre stage"},
    {"task": "computer screen"},
    {"task": "classroom board", "detail": "20/50"},
    {"task": "medicine label"},
)
# The aim for one recomputation: so many times the time from key to glass of a bare text field.
AIM_IN_KEYS = 6.0


def make_stock(count: int, seed: int = 7) -> Stock:
    """An invented stock: every telescope different, so that nothing is shared by luck."""
    rng = random.Random(seed)
    telescopes = []
    for number in range(count):
        keplerian = number % 4 == 3
        power = round(rng.uniform(2.5, 8.0) if keplerian else rng.uniform(1.4, 4.0), 3)
        length = round(rng.uniform(50, 110) if keplerian else rng.uniform(16, 40), 2)
        focusable = number % 5 == 0
        telescopes.append(
            Telescope(
                id=f"t{number}",
                description=f"{power}x",
                type="keplerian" if keplerian else "galilean",
                magnification=power,
                tube_length_mm=length,
                objective_diameter_mm=round(rng.uniform(14, 28), 1),
                field_stop_mm=round(rng.uniform(6, 12), 1) if keplerian else None,
                focusable=focusable,
                shortest_tube_mm=max(8.0, length - 5) if focusable else None,
                longest_tube_mm=length + 25 if focusable else None,
                corrections=("carrier", "refocused") if focusable else ("carrier",),
                positions=("bioptic", "full diameter"),
                mounts=("through the lens",),
            )
        )
    caps = tuple(
        Cap(id=f"c{power}", description=f"+{power}", power_d=power) for power in (1.5, 2.25, 3.0, 4.0, 5.0)
    )
    return Stock(telescopes=tuple(telescopes), caps=caps)


def make_case(goals: int) -> Case:
    """A person with two like eyes, a slight refractive error, and so many goals."""
    case = new_case("B-1", date(2026, 6, 1))
    for path, text in (
        ("person.birth_year", "1970"),
        ("right.distance_acuity", "20/100"),
        ("left.distance_acuity", "20/125"),
        ("right.near_acuity", "2.0M @ 40"),
        ("left.near_acuity", "2.5M @ 40"),
        ("right.refraction", "-2.00 -1.00 x 90"),
        ("left.refraction", "-2.50 sph"),
        ("right.pupil", "3.5"),
        ("left.pupil", "3.5"),
        ("binocular.fusion", "yes"),
        ("face.vertex_distance", "12"),
        ("face.pd", "63"),
    ):
        case = case.with_typed(path, text)
    for index, goal in enumerate(GOALS[:goals]):
        for key, text in goal.items():
            case = case.with_goal_typed(index, key, text)
    return case


def bare(
    m: float, t: float, objective: float, d: float, w: float, logmar: float, goal: float
) -> tuple[float, float]:
    """The closed form alone: exit vergence, blur, predicted acuity, chance, field; nothing decided or explained."""
    vergence = -1000.0 / w
    leaves = m * m * vergence / (1.0 - t * m * vergence / 1000.0)
    mar = 10.0**logmar
    left = -leaves if leaves < 0.0 else leaves
    blur = 0.65 * 3.5 * left / mar
    loss = 0.5 * log10(1.0 + blur * blur)
    predicted = logmar - log10(m) + loss
    chance = 0.5 * erfc(-(goal - predicted) * 1.96 / 0.2 / sqrt(2.0))
    field = degrees(2.0 * atan(objective / (2.0 * m * (t + m * d))))
    return chance, field


def bare_rate() -> float:
    """Outcomes a second of the bare form."""
    count = 50_000
    start = time.process_time()
    for number in range(count):
        bare(1.5 + number * 1e-5, 24.0, 25.0, 15.0, 4000.0, 0.7, 0.3)
    return count / (time.process_time() - start)


def bare_key_ms() -> float:
    """Median time from a key to the changed bytes of a bare app in a pseudo-terminal, ms."""
    from measure import Figures, keys, start

    figures = Figures()
    for _ in range(3):
        with start("bare_program", "ready", figures) as terminal:
            keys(terminal, figures, "key", "12345678")
    return 1000.0 * figures.median("key, settled s")


def median_and_best_ms(work: Callable[[int], object], repeats: int) -> tuple[float, float]:
    """Median time of a piece of work, ms, and the best one: what it takes when nothing else runs."""
    times = []
    for number in range(repeats):
        start = time.process_time()
        work(number)
        times.append(time.process_time() - start)
    return 1000.0 * statistics.median(times), 1000.0 * min(times)


EDITS: dict[str, Callable[[Case, int], Case]] = {
    "right acuity": lambda case, n: case.with_typed("right.distance_acuity", f"20/{100 + n + 1}"),
    "left near print": lambda case, n: case.with_typed("left.near_acuity", f"{2.5 + 0.01 * (n + 1)}M @ 40"),
    "right pupil": lambda case, n: case.with_typed("right.pupil", f"{3.0 + 0.01 * (n + 1):.2f}"),
    "vertex": lambda case, n: case.with_typed("face.vertex_distance", f"{11 + 0.01 * (n + 1):.2f}"),
    "right refraction": lambda case, n: case.with_typed("right.refraction", f"-2.{n + 10} -1.00 x 90"),
    "reach": lambda case, n: case.with_typed("face.reach", f"{20 + 0.1 * (n + 1):.1f} cm"),
    "PD": lambda case, n: case.with_typed("face.pd", f"{62 + 0.01 * (n + 1):.2f}"),
    "birth year": lambda case, n: case.with_typed("person.birth_year", f"{1971 + n}"),
    "goal distance": lambda case, n: case.with_goal_typed(0, "distance", f"{8 + 0.01 * (n + 1):.2f} m"),
    "history only": lambda case, n: case.with_typed("history.diagnosis", f"note {n}"),
}


def report(telescopes: int, goals: int, base_rate: float, aim_ms: float) -> None:
    """Print one size."""
    stock, case = make_stock(telescopes), make_case(goals)
    forget()
    start = time.process_time()
    found = plan(case, stock, SETTINGS)
    first = time.process_time() - start
    outcomes = found.outcomes_count
    rate = outcomes / first
    print(
        f"{telescopes} telescopes x {goals} goals: {len(found.options)} options, {outcomes} outcomes, "
        f"first plan {1000 * first:.1f} ms, {rate:,.0f} outcomes/s = {rate / base_rate:.2f} of the bare form"
    )
    for name, edit in EDITS.items():
        took, best = median_and_best_ms(
            lambda number, edit=edit: plan(edit(case, number), stock, SETTINGS), 15
        )
        print(
            f"   edit of {name:16s} {took:7.1f} ms (best {best:5.1f})   {took / aim_ms:5.2f} of the aim "
            f"(best {best / aim_ms:4.2f})"
        )


def memory() -> None:
    """Print what the large plan holds."""
    stock, case = make_stock(200), make_case(8)
    forget()
    tracemalloc.start()
    found = plan(case, stock, SETTINGS)
    for number in range(6):
        found = plan(EDITS["right acuity"](case, number), stock, SETTINGS)
    current, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    print(
        f"large plan after 6 edits: {current / 1e6:.1f} MB held, {peak / 1e6:.1f} MB at most ({len(found.options)} options)"
    )


def main() -> None:
    """Run it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--memory", action="store_true", help="measure memory too (slow)")
    asked = parser.parse_args()
    make_case(8)
    base_rate = max(bare_rate() for _ in range(3))
    print(f"bare closed form: {base_rate:,.0f} outcomes/s")
    plan(make_case(1), make_stock(2), SETTINGS)
    key_ms = bare_key_ms()
    print(f"bare key: {key_ms:.1f} ms, so the aim of an edit is {AIM_IN_KEYS * key_ms:.0f} ms")
    report(40, 4, base_rate, AIM_IN_KEYS * key_ms)
    report(200, 8, base_rate, AIM_IN_KEYS * key_ms)
    if asked.memory:
        memory()


if __name__ == "__main__":
    main()
