"""A real pseudo-terminal for tests: press keys, read the screen, the cursor and the bytes.

The screen is kept by pyte. Importing this module works on every platform; starting a terminal needs POSIX.
"""

from __future__ import annotations

import os
import select
import signal
import struct
import sys
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

import pyte

POSIX = os.name == "posix"

if POSIX:
    import fcntl
    import pty
    import termios

KEYS = {
    "tab": "\t",
    "shift+tab": "\x1b[Z",
    "enter": "\r",
    "escape": "\x1b",
    "up": "\x1b[A",
    "down": "\x1b[B",
    "right": "\x1b[C",
    "left": "\x1b[D",
    "home": "\x1b[H",
    "end": "\x1b[F",
    "pageup": "\x1b[5~",
    "pagedown": "\x1b[6~",
    "delete": "\x1b[3~",
    "backspace": "\x7f",
    "ctrl+home": "\x1b[1;5H",
    "ctrl+end": "\x1b[1;5F",
    "space": " ",
    **{f"f{number}": f"\x1bO{letter}" for number, letter in enumerate("PQRS", 1)},
    "f5": "\x1b[15~",
    "f6": "\x1b[17~",
    "f7": "\x1b[18~",
    "f8": "\x1b[19~",
    "f9": "\x1b[20~",
}


def key_bytes(key: str) -> bytes:
    """The bytes of a key by its name (`tab`, `ctrl+g`, `f6`), or of a text as it is."""
    if key in KEYS:
        return KEYS[key].encode()
    if key.startswith("ctrl+") and len(key) == 6:
        return bytes([ord(key[5].lower()) & 0x1F])
    return key.encode()


class _Screen(pyte.Screen):
    """pyte's screen, with the sequences it would stumble over taken out."""

    def report_device_status(self, mode: int = 0, **kwargs: object) -> None:
        """No answer: the programs under test must not need one."""


@dataclass
class Settled:
    """What a key did: seconds to the first byte, seconds to the last, bytes in all."""

    first_s: float
    last_s: float
    sent: int
    raw: bytes = field(repr=False, default=b"")


class Terminal:
    """A program running in a pseudo-terminal of `rows` by `columns` cells."""

    def __init__(
        self,
        command: Sequence[str],
        *,
        rows: int = 24,
        columns: int = 80,
        env: Mapping[str, str] | None = None,
    ) -> None:
        if not POSIX:
            raise OSError("a pseudo-terminal needs a POSIX system")
        self.screen = _Screen(columns, rows)
        self._stream = pyte.ByteStream(self.screen)
        self.total = 0
        self.raw = bytearray()
        self.status: int | None = None
        self.max_rss_kb = 0
        self.cpu_s = 0.0
        environment = {**os.environ, "TERM": "xterm-256color", "COLORTERM": "truecolor", **(env or {})}
        for name in ("NO_COLOR",):
            if env is None or name not in env:
                environment.pop(name, None)
        self.pid, self._fd = pty.fork()
        if self.pid == 0:
            try:
                os.execvpe(command[0], list(command), environment)
            finally:
                os._exit(127)
        self.resize(rows, columns)

    def __enter__(self) -> Terminal:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    # ---- in

    def resize(self, rows: int, columns: int) -> None:
        """Change the size; the program gets the usual signal."""
        fcntl.ioctl(self._fd, termios.TIOCSWINSZ, struct.pack("HHHH", rows, columns, 0, 0))
        self.screen.resize(rows, columns)

    def send(self, *keys: str) -> None:
        """Press keys by name, or send a text as typed."""
        for key in keys:
            os.write(self._fd, key_bytes(key))

    def press(self, *keys: str, quiet_s: float = 0.15, timeout_s: float = 8.0) -> Settled:
        """Press keys one by one, each until the screen has settled; the figures are those of the last."""
        settled = Settled(0, 0, 0)
        for key in keys:
            self.send(key)
            settled = self.settle(quiet_s=quiet_s, timeout_s=timeout_s)
        return settled

    # ---- out

    def settle(self, *, quiet_s: float = 0.15, timeout_s: float = 8.0, need: bool = False) -> Settled:
        """Read until nothing came for `quiet_s`; with `need`, wait for a first byte up to the timeout."""
        start = time.perf_counter()
        first = last = 0.0
        chunks: list[bytes] = []
        while True:
            now = time.perf_counter() - start
            wait = timeout_s - now if need and not chunks else quiet_s - (now - last)
            if wait <= 0 or now > timeout_s:
                break
            data = self._read(min(wait, timeout_s))
            if data is None:
                break
            if data:
                last = time.perf_counter() - start
                first = first or last
                chunks.append(data)
        raw = b"".join(chunks)
        self._feed(raw)
        return Settled(first, last, len(raw), raw)

    def wait_for(self, text: str, *, timeout_s: float = 15.0) -> float:
        """Read until `text` is on the screen; the seconds it took. Fails when it does not come."""
        start = time.perf_counter()
        while time.perf_counter() - start < timeout_s:
            data = self._read(0.05)
            if data:
                self._feed(data)
            if text in self.text:
                return time.perf_counter() - start
            if data is None:
                break
        raise AssertionError(f"{text!r} did not come onto the screen:\n{self.text}")

    def wait_until(self, holds: Callable[[], bool], *, timeout_s: float = 8.0) -> bool:
        """Read until ``holds`` is true of the screen; false when it never was."""
        start = time.perf_counter()
        while not holds():
            if time.perf_counter() - start > timeout_s:
                return False
            data = self._read(0.05)
            if data is None:
                return holds()
            self._feed(data)
        return True

    def _read(self, wait: float) -> bytes | None:
        """What the program wrote; empty after `wait` seconds without; None when it has ended."""
        ready, _, _ = select.select([self._fd], [], [], max(0.0, wait))
        if not ready:
            return b""
        try:
            return os.read(self._fd, 65536) or None
        except OSError:
            return None

    def _feed(self, data: bytes) -> None:
        self.total += len(data)
        self.raw += data
        self._stream.feed(_for_pyte(data))

    # ---- the screen

    @property
    def lines(self) -> list[str]:
        """The lines of the screen."""
        return list(self.screen.display)

    @property
    def text(self) -> str:
        """The whole screen."""
        return "\n".join(line.rstrip() for line in self.screen.display)

    @property
    def cursor(self) -> tuple[int, int]:
        """Column and row of the cursor, from 0."""
        return min(self.screen.cursor.x, self.screen.columns - 1), self.screen.cursor.y

    @property
    def cursor_visible(self) -> bool:
        """True when the terminal shows its cursor."""
        return not self.screen.cursor.hidden

    def under_cursor(self, length: int = 1) -> str:
        """The text that begins under the cursor."""
        x, y = self.cursor
        line = self.screen.buffer[y]
        return "".join(line[column].data for column in range(x, min(x + length, self.screen.columns)))

    def cpu_time_s(self) -> float:
        """CPU seconds used so far by the program (Linux only)."""
        with open(f"/proc/{self.pid}/stat", encoding="ascii") as file:
            fields = file.read().rpartition(")")[2].split()
        return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")

    def peak_memory_kb(self) -> int:
        """The largest resident size so far (Linux only)."""
        with open(f"/proc/{self.pid}/status", encoding="ascii") as file:
            return next(int(line.split()[1]) for line in file if line.startswith("VmHWM"))

    # ---- the end

    def wait_exit(self, timeout_s: float = 8.0) -> int:
        """Wait for the program's end and give its exit status."""
        deadline = time.perf_counter() + timeout_s
        while self.status is None and time.perf_counter() < deadline:
            data = self._read(0.05)
            if data:
                self._feed(data)
            self._reap(os.WNOHANG)
        if self.status is None:
            raise AssertionError(f"the program did not end:\n{self.text}")
        return self.status

    def _reap(self, options: int) -> None:
        if self.status is None:
            pid, status, usage = os.wait4(self.pid, options)
            if pid:
                self.status = os.waitstatus_to_exitcode(status)
                self.max_rss_kb = usage.ru_maxrss
                self.cpu_s = usage.ru_utime + usage.ru_stime

    def close(self) -> None:
        """End the program, if it still runs, and release the terminal."""
        if self.status is None:
            self._reap(os.WNOHANG)
        if self.status is None:
            os.kill(self.pid, signal.SIGKILL)
            self._reap(0)
        try:
            os.close(self._fd)
        except OSError:
            return


def python(code: str) -> list[str]:
    """The command that runs a piece of Python in this interpreter."""
    return [sys.executable, "-c", code]


def _for_pyte(data: bytes) -> bytes:
    """pyte 0.8 misreads a few private sequences (keyboard protocol, cursor shape); the rest goes through."""
    import re

    return re.sub(rb"\x1b\[[<>=][0-9;]*u|\x1b\[[0-9]* q|\x1b\[\?[0-9;]*\$p", b"", data)
