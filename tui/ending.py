"""Being asked to end from outside: the one module that knows the signals of each system.

A closed terminal (SIGHUP), a system that goes down (SIGTERM), the closed window of a Windows console (SIGBREAK): the
program ends as if it had been left, with everything saved. A handler of Python alone would wait for the next key, since
the event loop sleeps; so the loop itself is woken.
"""

from __future__ import annotations

import asyncio
import signal
from collections.abc import Callable
from contextlib import suppress

_NAMES = ("SIGTERM", "SIGHUP", "SIGBREAK")


def call_when_asked_to_end(end: Callable[[], None]) -> None:
    """Have ``end`` called in the running event loop, once, when one of the signals comes. Call it inside the loop."""
    loop = asyncio.get_running_loop()
    asked = False

    def once() -> None:
        nonlocal asked
        if not asked:
            asked = True
            end()

    for name in _NAMES:
        number = getattr(signal, name, None)
        if number is None:
            continue
        try:
            loop.add_signal_handler(number, once)
        except (NotImplementedError, RuntimeError, ValueError):
            # Windows has no handlers in the loop; tests may run it outside the main thread.
            with suppress(ValueError):
                signal.signal(number, lambda *_: loop.call_soon_threadsafe(once))


def forget_signals() -> None:
    """Give the signals back, so that a slow end can still be cut short."""
    loop = asyncio.get_running_loop()
    for name in _NAMES:
        number = getattr(signal, name, None)
        if number is None:
            continue
        try:
            loop.remove_signal_handler(number)
        except (NotImplementedError, RuntimeError, ValueError):
            with suppress(ValueError):
                signal.signal(number, signal.SIG_DFL)
