"""From a value to a place on the canvas, on a plain or a logarithmic scale, and the round values to write beside it."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, floor, log10


@dataclass(frozen=True, slots=True)
class Scale:
    """``low`` stands at place ``first``, ``high`` at place ``last``; either may be the larger."""

    low: float
    high: float
    first: float
    last: float

    def place(self, value: float) -> float:
        """Where a value stands, in cells or rows; it may lie outside."""
        return self.first + (value - self.low) / (self.high - self.low) * (self.last - self.first)

    def value(self, place: float) -> float:
        """The value that stands at a place."""
        return self.low + (place - self.first) / (self.last - self.first) * (self.high - self.low)

    def holds(self, value: float) -> bool:
        """Whether a value lies on the scale."""
        return min(self.low, self.high) - 1e-9 <= value <= max(self.low, self.high) + 1e-9

    def inside(self, value: float) -> float:
        """The value, or the nearer end when it lies outside."""
        return min(max(value, min(self.low, self.high)), max(self.low, self.high))


@dataclass(frozen=True, slots=True)
class Decades:
    """A logarithmic scale for values above zero."""

    low: float
    high: float
    first: float
    last: float

    def place(self, value: float) -> float:
        """Where a value stands, in cells."""
        return Scale(log10(self.low), log10(self.high), self.first, self.last).place(log10(value))

    def holds(self, value: float) -> bool:
        """Whether a value lies on the scale."""
        return self.low * (1 - 1e-9) <= value <= self.high * (1 + 1e-9)

    def inside(self, value: float) -> float:
        """The value, or the nearer end when it lies outside."""
        return min(max(value, self.low), self.high)

    def ticks(self) -> list[float]:
        """1, 2 and 5 of every decade that lie on the scale."""
        first, last = floor(log10(self.low)), ceil(log10(self.high))
        found = [digit * 10.0**power for power in range(first, last + 1) for digit in (1, 2, 5)]
        return [value for value in found if self.holds(value)]


def round_up(value: float, steps: tuple[float, ...] = (1.0, 2.0, 5.0, 10.0)) -> float:
    """The next of ``steps`` (from 1 to 10) times a power of ten."""
    power = 10.0 ** floor(log10(value) + 1e-9)
    return next(step * power for step in steps if step * power >= value * (1 - 1e-9))


def spread_out(places: list[tuple[float, str]], width: int) -> list[tuple[int, str]]:
    """Labels centred on their places, in order, without any that would touch the last one kept or be cut."""
    kept: list[tuple[int, str]] = []
    free = 0
    for place, label in sorted(places):
        start = min(max(0, round(place - (len(label) - 1) / 2)), width - len(label))
        if start >= free and start >= 0:
            kept.append((start, label))
            free = start + len(label) + 1
    return kept
