"""Speed, bytes and memory of the whole program against a bare app, in a real pseudo-terminal.

    python tests/bench/bench_app.py [runs] [cases]

A folder of generated cases (10,000) and a generated stock of 40 telescopes. Both programs run in turn; the report
gives medians and ratios to the bare app of the same run.
"""

from __future__ import annotations

import sys
import tempfile
import time
from datetime import date, timedelta
from pathlib import Path

from bench_plan import make_stock
from measure import Figures, Terminal, idle, keys, line, start

from afocal.core.workspace import DEMO

IDLE_S = 20.0
BURST = 60
BURST_PER_S = 30.0
TELESCOPES = 40
# Cases of an ordinary clinic: what the memory is beside that of the large folder.
ORDINARY = 300
# The newest of the generated cases, which stands at the top of the list.
FIRST = "B-00000"


def make_folder(folder: Path, count: int) -> None:
    """``count`` case files like one of the practice cases, each with its own code and date."""
    text = (DEMO / "cases" / "LQ-101.toml").read_text("utf-8")
    start_day = date(2026, 11, 24)
    for number in range(count):
        day = start_day - timedelta(days=number % 3000)
        made = text.replace('"LQ-101"', f'"B-{number:05d}"').replace("2026-11-24", day.isoformat())
        (folder / f"B-{number:05d}.toml").write_text(made, "utf-8")
    # The first one is the newest, so that it stands at the top.
    newest = text.replace('"LQ-101"', f'"{FIRST}"').replace("2026-11-24", "2026-11-25")
    (folder / f"{FIRST}.toml").write_text(newest, "utf-8")


def stock_text(count: int) -> str:
    """The generated stock as the file that the program reads."""
    import tomli_w

    made = make_stock(count)
    return tomli_w.dumps(
        {
            "schema": 1,
            "name": "generated",
            "telescope": [_table(each) for each in made.telescopes],
            "cap": [_table(each) for each in made.caps],
        }
    )


def _table(thing: object) -> dict[str, object]:
    found = {}
    for name in thing.__dataclass_fields__:  # type: ignore[attr-defined]
        value = getattr(thing, name)
        if value in (None, "", ()) or isinstance(value, dict):
            continue
        found[name] = list(value) if isinstance(value, tuple) else value
    return found


class Bench:
    """The folders of one run, and what was measured."""

    def __init__(self, folder: Path, count: int) -> None:
        self.folder = folder
        (folder / "cases").mkdir()
        make_folder(folder / "cases", count)
        (folder / "stock.toml").write_text(stock_text(TELESCOPES), "utf-8")
        self.env = {
            "AFOCAL_CASES": str(folder / "cases"),
            "AFOCAL_STOCK": str(folder / "stock.toml"),
            **{f"AFOCAL_{name}": str(folder / name.lower()) for name in ("CONFIG", "CACHE", "STATE")},
        }
        self.bare, self.ours = Figures(), Figures()

    def build_index(self, count: int) -> float:
        """The first start on this folder reads every file; the seconds until the list has them all."""
        figures = Figures()
        with start("app_program", "Code", figures, env=self.env) as terminal:
            return terminal.wait_for(f"{count} cases", timeout_s=120)

    def run_once(self, *, last: bool) -> None:
        """One run of each program."""
        with start("bare_program", "ready", self.bare) as terminal:
            keys(terminal, self.bare, "key", "12345678")
            self.bare.add("memory MB", terminal.peak_memory_kb() / 1024)
        with start("app_program", FIRST, self.ours, env=self.env) as terminal:
            terminal.settle(quiet_s=0.6)
            keys(terminal, self.ours, "down in the list", ["down"] * 3)
            terminal.press("home")
            keys(terminal, self.ours, "open", ["enter"])
            self.walk_the_form(terminal)
            self.panes(terminal)
            self.ours.add("memory MB", terminal.peak_memory_kb() / 1024)
            self.what_changes(terminal)
            if last:
                terminal.press("f2")
                idle(terminal, self.ours, IDLE_S)

    def walk_the_form(self, terminal: Terminal) -> None:
        """Keys, Tab, accepted values, a burst."""
        ours = self.ours
        terminal.press("ctrl+g", *"vertex dist", "enter")
        keys(terminal, ours, "tab", ["tab"] * 6)
        terminal.press("ctrl+g", *"vertex dist", "enter")
        for digits in ("13", "14", "12", "11", "15"):
            keys(terminal, ours, "key", digits)
            keys(terminal, ours, "accepted", ["tab"])
            terminal.press("shift+tab")
        terminal.press("ctrl+g", *"distance acuity", "enter")
        for acuity in ("0.70", "0.74", "0.66"):
            terminal.press(*acuity)
            keys(terminal, ours, "accepted acuity", ["tab"])
            terminal.press("shift+tab")
        self.burst(terminal)

    def burst(self, terminal: Terminal) -> None:
        """A value and Tab, back and again, 30 keys a second; the time from the last key to the last byte."""
        pattern = ("0", ".", "7", "1", "tab", "shift+tab", "0", ".", "6", "9", "tab", "shift+tab")
        begun = time.perf_counter()
        for number in range(BURST):
            due = begun + number / BURST_PER_S
            while time.perf_counter() < due:
                terminal.settle(quiet_s=max(0.0, due - time.perf_counter()), timeout_s=0.05)
            terminal.send(pattern[number % len(pattern)])
        settled = terminal.settle(quiet_s=0.3, need=True, timeout_s=3.0)
        self.ours.add("burst, settled s", settled.last_s)

    def panes(self, terminal: Terminal) -> None:
        """Every pane for the first time, then again."""
        for key in ("f3", "f4", "f5", "f2"):
            keys(terminal, self.ours, f"pane {key} first" if key != "f2" else "pane again", [key])
        for key in ("f3", "f4", "f5", "f2"):
            keys(terminal, self.ours, "pane again", [key])
            self.ours.add(f"pane {key} again s", self.ours.values["pane again, settled s"][-1])

    def what_changes(self, terminal: Terminal) -> None:
        """What would change the answer: from Enter to the word that it is worked on, a key meanwhile, the answer."""
        terminal.press("f3", "ctrl+g", *"enter here", "enter")
        begun = time.perf_counter()
        terminal.send("enter")
        self.ours.add("asked s", terminal.settle(quiet_s=0.01, need=True, timeout_s=3.0).first_s)
        terminal.send("up")
        self.ours.add("key meanwhile s", terminal.settle(quiet_s=0.01, need=True, timeout_s=3.0).first_s)
        if not terminal.wait_until(lambda: "is tried" not in terminal.text):
            raise AssertionError("the answer did not come")
        self.ours.add("what changes s", time.perf_counter() - begun)

    def report_memory(self, what: str) -> None:
        """The line of the peak memory."""
        print(line(what, self.ours.median("memory MB"), self.bare.median("memory MB"), "MB", "1.4 x"))

    def report(self) -> None:
        """Print the table."""
        bare, ours = self.bare, self.ours
        key, paint = bare.median("key, settled s"), bare.median("first paint s")
        print(f"bare app: first paint {paint:.3f} s, key {1000 * key:.1f} ms", end="")
        print(f" and {bare.median('key, bytes'):.0f} bytes, memory {bare.median('memory MB'):.1f} MB")

        def timed(what: str, name: str, base: float, aim: str) -> None:
            print(line(what, 1000 * ours.median(name), 1000 * base, "ms", aim))

        def counted(what: str, name: str, aim: str) -> None:
            print(line(what, ours.median(name), 0, "bytes", aim))

        timed("first paint of the list", "first paint s", paint, "1.15 x")
        timed("from the list to a settled case", "open, settled s", paint, "0.5 x")
        self.report_memory("peak memory, four panes")
        timed("Down in the list", "down in the list, settled s", key, "-")
        timed("key in a field", "key, settled s", key, "1.2 x")
        counted("key in a field", "key, bytes", "300")
        timed("Tab to the next field", "tab, settled s", key, "2 x")
        counted("Tab to the next field", "tab, bytes", "600")
        timed("accepted field (vertex), answer and rows", "accepted, settled s", key, "6 x")
        counted("accepted field (vertex)", "accepted, bytes", "-")
        timed("accepted field (acuity), answer and rows", "accepted acuity, settled s", key, "6 x")
        timed(f"{BURST} keys at {BURST_PER_S:.0f} a second, after the last", "burst, settled s", key, "10 x")
        for name, word in (("f3", "computation"), ("f4", "fitting"), ("f5", "notes")):
            timed(f"{word} for the first time", f"pane {name} first, settled s", key, "16 x")
            timed(f"{word} again", f"pane {name} again s", key, "8 x")
        timed("intake again", "pane f2 again s", key, "8 x")
        timed("what would change: that it is worked on", "asked s", key, "8 x")
        timed("a key while it is worked on", "key meanwhile s", key, "-")
        timed("its answer", "what changes s", key, "-")
        if "idle, bytes" in ours.values:
            cpu = ours.median("idle, CPU %")
            print(
                f"idle for {IDLE_S:.0f} s: {ours.median('idle, bytes'):.0f} bytes, CPU {cpu:.2f} %   aim 0, 0.5 %"
            )


def main() -> None:
    """Run and report."""
    runs = int(sys.argv[1]) if len(sys.argv) > 1 else 5
    count = int(sys.argv[2]) if len(sys.argv) > 2 else 10_000
    with tempfile.TemporaryDirectory(prefix="afocal-bench-") as folder:
        bench = Bench(Path(folder), count)
        print(f"index of {count} cases made in {bench.build_index(count):.1f} s behind the list")
        for run in range(runs):
            bench.run_once(last=run == runs - 1)
        bench.report()
    with tempfile.TemporaryDirectory(prefix="afocal-bench-") as folder:
        ordinary = Bench(Path(folder), ORDINARY)
        ordinary.build_index(ORDINARY)
        ordinary.run_once(last=False)
        ordinary.report_memory(f"the same with {ORDINARY} cases")


if __name__ == "__main__":
    main()
