"""Measuring programs in a pseudo-terminal, each against a bare app in the same run; medians of interleaved runs."""

from __future__ import annotations

import statistics
import sys
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent / "terminal"))

from harness import Terminal

BENCH = Path(__file__).parent


_warm: set[str] = set()


@dataclass
class Figures:
    """What repeated runs gave, by the name of the figure."""

    values: dict[str, list[float]] = field(default_factory=dict)

    def add(self, name: str, value: float) -> None:
        """One more value."""
        self.values.setdefault(name, []).append(value)

    def median(self, name: str) -> float:
        """The median of a figure."""
        return statistics.median(self.values[name])


# Compiled modules in a folder of their own: an installed program has them, a checkout need not.
_COMPILED = tempfile.TemporaryDirectory(prefix="compiled-")


def start(
    program: str,
    ready: str,
    figures: Figures,
    *,
    rows: int = 24,
    columns: int = 80,
    env: Mapping[str, str] | None = None,
    arguments: Sequence[str] = (),
) -> Terminal:
    """Run `main()` of a module of this folder (or importable); the seconds to `ready` on the screen are noted.

    The first start of a module, which compiles it, is made beforehand and not counted.
    """
    code = f"import sys; sys.path.insert(0, {str(BENCH)!r}); import {program}; {program}.main()"
    command = [sys.executable, "-c", code, *arguments]
    compiled = {"PYTHONPYCACHEPREFIX": _COMPILED.name, "PYTHONDONTWRITEBYTECODE": "", **(env or {})}
    if program not in _warm:
        with Terminal(command, rows=rows, columns=columns, env=compiled) as terminal:
            terminal.wait_for(ready)
            terminal.settle(quiet_s=0.5)
        _warm.add(program)
    terminal = Terminal(command, rows=rows, columns=columns, env=compiled)
    figures.add("first paint s", terminal.wait_for(ready))
    terminal.settle(quiet_s=0.4)
    return terminal


def keys(terminal: Terminal, figures: Figures, name: str, pressed: Sequence[str]) -> None:
    """Press keys one at a time; time to the first byte, time to the last, and bytes of each are noted."""
    for key in pressed:
        terminal.send(key)
        settled = terminal.settle(quiet_s=0.06, need=True, timeout_s=2.0)
        figures.add(f"{name}, first byte s", settled.first_s)
        figures.add(f"{name}, settled s", settled.last_s)
        figures.add(f"{name}, bytes", settled.sent)


def idle(terminal: Terminal, figures: Figures, seconds: float) -> None:
    """Leave the program alone; bytes and share of a processor are noted."""
    cpu, sent = terminal.cpu_time_s(), terminal.total
    terminal.settle(quiet_s=seconds, timeout_s=seconds)
    figures.add("idle, bytes", terminal.total - sent)
    figures.add("idle, CPU %", 100 * (terminal.cpu_time_s() - cpu) / seconds)


def line(what: str, value: float, bare: float, unit: str, aim: str) -> str:
    """One line of the report."""
    ratio = f"{value / bare:5.2f} x bare" if bare else "            "
    return f"{what:44} {value:9.1f} {unit:5} {ratio:>14}   aim {aim}"
