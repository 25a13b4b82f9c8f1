"""Speed, bytes and memory of the form and the lists against a bare app, in a real pseudo-terminal.

    python tests/bench/bench_terminal.py [runs]

Both programs run in turn; the report gives medians and ratios to the bare app of the same run.
"""

from __future__ import annotations

import sys

from measure import Figures, idle, keys, line, start

IDLE_S = 20.0


def run_once(bare: Figures, kit: Figures, *, last: bool) -> None:
    """One run of each program."""
    with start("bare_program", "ready", bare) as terminal:
        keys(terminal, bare, "key", "12345678")
        keys(terminal, bare, "tab", ["tab"] * 8)
        bare.add("memory MB", terminal.peak_memory_kb() / 1024)
    with start("form_program", "ready", kit) as terminal:
        keys(terminal, kit, "key", "12345678")
        terminal.press("tab")
        keys(terminal, kit, "tab", ["tab"] * 14)
        for digit in "2468":
            terminal.press(digit)
            keys(terminal, kit, "accepted", ["tab"])
        keys(terminal, kit, "list first", ["f3"])
        keys(terminal, kit, "list down", ["down"] * 6)
        keys(terminal, kit, "list end", ["end"])
        kit.add("memory MB", terminal.peak_memory_kb() / 1024)
        if last:
            idle(terminal, kit, IDLE_S)


def report(bare: Figures, kit: Figures) -> None:
    """Print the table."""
    key = bare.median("key, settled s")
    paint = bare.median("first paint s")

    def milliseconds(what: str, name: str, base: float, aim: str) -> None:
        value = kit.median(name)
        print(line(what, 1000 * value, 1000 * base, "ms", aim))

    def counted(what: str, name: str, aim: str) -> None:
        print(line(what, kit.median(name), 0, "bytes", aim))

    print(f"bare app: first paint {paint:.3f} s, key {1000 * key:.1f} ms", end="")
    print(f" and {bare.median('key, bytes'):.0f} bytes, memory {bare.median('memory MB'):.1f} MB")
    milliseconds("first paint, form of 60 rows", "first paint s", paint, "1.15 x")
    print(line("peak memory", kit.median("memory MB"), bare.median("memory MB"), "MB", "1.4 x"))
    milliseconds("key in a field", "key, settled s", key, "1.2 x")
    counted("key in a field", "key, bytes", "300")
    milliseconds("Tab to the next field", "tab, settled s", key, "2 x")
    counted("Tab to the next field", "tab, bytes", "600")
    milliseconds("accepted field, echo and answer line", "accepted, settled s", key, "6 x")
    counted("accepted field", "accepted, bytes", "-")
    milliseconds("to a list of 100,000 rows, first time", "list first, settled s", key, "16 x")
    milliseconds("Down in that list", "list down, settled s", key, "-")
    counted("Down in that list", "list down, bytes", "-")
    milliseconds("End in that list", "list end, settled s", key, "8 x")
    print(
        f"idle for {IDLE_S:.0f} s: {kit.median('idle, bytes'):.0f} bytes, CPU {kit.median('idle, CPU %'):.2f} %"
    )


def main() -> None:
    """Run and report."""
    runs = int(sys.argv[1]) if len(sys.argv) > 1 else 5
    bare, kit = Figures(), Figures()
    for run in range(runs):
        run_once(bare, kit, last=run == runs - 1)
    report(bare, kit)


if __name__ == "__main__":
    main()
