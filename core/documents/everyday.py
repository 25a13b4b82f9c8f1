"""Distances, powers, sight and days as they are said to somebody at home: centimetres with inches, metres with feet."""

from __future__ import annotations

from datetime import date

from ..acuity import OffChart

_MONTHS = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)
_DAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")


def near_distance(value_mm: float) -> str:
    """A distance within reach: ``44 cm (17 inches)``."""
    return f"{value_mm / 10:.0f} cm ({_inches(value_mm)})"


def distance(value_mm: float) -> str:
    """Any distance: near ones as :func:`near_distance`, far ones as ``2.5 m (8 feet)``."""
    if value_mm < 1000:
        return near_distance(value_mm)
    metres = value_mm / 1000
    shown = f"{metres:.0f}" if metres >= 10 else f"{metres:.1f}".removesuffix(".0")
    feet = round(value_mm / 304.8)
    return f"{shown} m ({feet} feet)"


def _inches(value_mm: float) -> str:
    """Whole inches, half ones below ten."""
    inches = value_mm / 25.4
    if inches >= 10:
        return f"{inches:.0f} inches"
    halves = round(inches * 2) / 2
    return f"{halves:g} {'inch' if halves == 1 else 'inches'}"


def small_distance(value_mm: float) -> str:
    """A distance of a few millimetres: ``14 mm (half an inch)``."""
    quarters = max(1, round(value_mm / 6.35))
    words = {1: "a quarter of an inch", 2: "half an inch", 3: "three quarters of an inch", 4: "1 inch"}
    return f"{value_mm:.0f} mm ({words.get(quarters, _inches(value_mm))})"


def times(magnification: float) -> str:
    """How many times larger: ``2.5 times``."""
    return f"{abs(magnification):.1f}".removesuffix(".0") + " times"


def day(value: date) -> str:
    """A day in full: ``Tuesday, 8 December 2026``."""
    return f"{_DAYS[value.weekday()]}, {value.day} {_MONTHS[value.month - 1]} {value.year}"


def seen_without_chart(value: OffChart) -> str:
    """What an eye sees that reads no chart: ``it can count fingers 60 cm (24 inches) away``."""
    seen = {
        "CF": "it can count fingers",
        "HM": "it can see a hand move",
        "LP": "it can tell light from dark",
        "NLP": "it sees no light",
    }[value.category]
    return seen if value.distance_mm is None else f"{seen} {distance(value.distance_mm)} away"
