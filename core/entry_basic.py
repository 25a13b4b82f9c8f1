"""The plain kinds of field: numbers, lengths, choices, words, days."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import NamedTuple

from .acuity import Notation
from .errors import EntryRefusal, RangeRefusal
from .ranges import Range

Parts = Mapping[str, float | int | str | bool]

_MM_PER = {
    "mm": 1.0,
    "cm": 10.0,
    "m": 1000.0,
    "in": 25.4,
    "inch": 25.4,
    "inches": 25.4,
    '"': 25.4,
    "ft": 304.8,
    "feet": 304.8,
    "foot": 304.8,
    "'": 304.8,
    "metre": 1000.0,
    "metres": 1000.0,
    "meter": 1000.0,
    "meters": 1000.0,
}
_QUANTITY = re.compile(r"""^([+-]?\d*\.?\d+)\s*([a-z"'°/%²0-9]*)$""")


def normal(text: str) -> str:
    """Typed text with one kind of minus, decimal points, single spaces."""
    text = text.replace("−", "-").replace("–", "-").replace("＋", "+")
    text = re.sub(r"(?<=\d),(?=\d)", ".", text)
    return re.sub(r"\s+", " ", text).strip()


def plain_number(value: float, decimals: int) -> str:
    """A number without trailing zeros, at most ``decimals`` places."""
    text = f"{value:.{decimals}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def length_mm(text: str, *, default_unit: str = "mm") -> float:
    """A length with its unit (mm, cm, m, in, ft; ``5 ft 6 in`` too) in millimetres; without one, ``default_unit``."""
    plain = normal(text).lower()
    feet = re.match(r"""^(\d*\.?\d+)\s*(?:ft|feet|foot|')\s*(\d*\.?\d+)\s*(?:in|inch|inches|")?$""", plain)
    if feet:
        return float(feet[1]) * 304.8 + float(feet[2]) * 25.4
    match = _QUANTITY.match(plain)
    if match is None or (match[2] and match[2] not in _MM_PER):
        raise ValueError(text)
    return float(match[1]) * _MM_PER[match[2] or default_unit]


# Common practice: 2.50 D and 1.20 logCS, never 2.5 D and 1.2 logCS.
_FIXED_PLACES = ("D", "logCS")


class Number(NamedTuple):
    """A number within a declared range; the unit may be typed or left out."""

    range: Range
    decimals: int = 2
    signed: bool = False

    @property
    def spelled(self) -> str:
        """How it is typed."""
        return f"a number, with or without {self.range.unit}" if self.range.unit else "a number"

    def read(self, text: str, label: str) -> float:
        """The number, checked against the accepted range."""
        unit = self.range.unit.lower()
        # The unit may be of two words, as in prism D.
        plain = normal(text).lower().removesuffix(unit).strip()
        match = _QUANTITY.match(plain)
        if match is None or (match[2] and match[2] != unit.replace(" ", "")):
            raise EntryRefusal(label, text, self.accepted, example=self.example)
        value = float(match[1])
        if not self.range.accepts(value):
            raise RangeRefusal(label, text, self.accepted, example=self.example)
        return value

    @property
    def accepted(self) -> str:
        """The accepted range in words."""
        return self.range.accepted()

    @property
    def usual(self) -> str:
        """The usual range in words."""
        return f"{self.range.usual_low:g} to {self.range.usual_high:g} {self.range.unit}".rstrip()

    @property
    def example(self) -> str:
        """Something that would be accepted."""
        return self.range.example

    @property
    def unit(self) -> str:
        """The unit as shown beside the field."""
        return self.range.unit

    def echo(self, value: float, notation: Notation = "snellen_ft") -> str:
        """The number with its unit; dioptres and log contrast with all their places, as the trade writes them."""
        fixed = self.range.unit in _FIXED_PLACES
        shown = f"{value:.{self.decimals}f}" if fixed else plain_number(value, self.decimals)
        return f"{'+' if self.signed and value > 0 else ''}{shown} {self.range.unit}".rstrip()

    def unusual(self, value: float) -> str:
        """A sentence asking to confirm a value outside the usual range, or nothing."""
        return self.range.unusual(value) or ""

    def parts(self, value: float) -> Parts:
        """One number under the unit's suffix; nothing for a bare number, which the typed text says."""
        suffix = _SUFFIX.get(self.range.unit)
        return {suffix: value} if suffix else {}


_SUFFIX = {
    "mm": "mm",
    "D": "d",
    "°": "deg",
    "deg": "deg",
    "prism D": "prism",
    "logCS": "log_cs",
    "cd/m²": "cd_m2",
    "cd/m2": "cd_m2",
    "wpm": "wpm",
    "years": "years",
    "M": "m_units",
    "logMAR": "logmar",
    "%": "percent",
    "deg/s": "deg_s",
    "arcmin": "arcmin",
    "min": "minutes",
    "characters": "characters",
    "x": "x",
    "year": "year",
}


class Length(NamedTuple):
    """A distance in any everyday unit, kept in millimetres."""

    range: Range
    default_unit: str = "mm"

    @property
    def spelled(self) -> str:
        """How it is typed."""
        return f"a length; a number alone is in {self.default_unit}, else with mm, cm, m, in or ft"

    def read(self, text: str, label: str) -> float:
        """Millimetres."""
        try:
            value = length_mm(text, default_unit=self.default_unit)
        except ValueError:
            raise EntryRefusal(label, text, self.accepted, example=self.example) from None
        if not self.range.accepts(value):
            raise RangeRefusal(label, text, self.accepted, example=self.example)
        return value

    @property
    def accepted(self) -> str:
        """The accepted range in words."""
        return f"{show_length(self.range.lowest)} to {show_length(self.range.highest)}"

    @property
    def usual(self) -> str:
        """The usual range in words."""
        return f"{show_length(self.range.usual_low)} to {show_length(self.range.usual_high)}"

    @property
    def example(self) -> str:
        """Something that would be accepted."""
        return show_length(float(self.range.example))

    @property
    def unit(self) -> str:
        """The unit taken when none is typed."""
        return self.default_unit

    def echo(self, value: float, notation: Notation = "snellen_ft") -> str:
        """The length in the unit that reads best."""
        return show_length(value)

    def unusual(self, value: float) -> str:
        """A sentence asking to confirm a value outside the usual range, or nothing."""
        return self.range.unusual(value) or ""

    def parts(self, value: float) -> Parts:
        """Millimetres."""
        return {"mm": value}


def show_length(value_mm: float) -> str:
    """A length in mm up to 10 cm, in cm up to 1 m, in m beyond."""
    if value_mm < 100:
        return f"{plain_number(value_mm, 1)} mm"
    if value_mm < 1000:
        return f"{plain_number(value_mm / 10, 1)} cm"
    return f"{plain_number(value_mm / 1000, 2)} m"


@dataclass(frozen=True, slots=True)
class Choice:
    """One of a few words; the first letters are enough."""

    options: tuple[str, ...]
    unit = ""
    usual = ""
    spelled = "the word or its first letters"

    @property
    def accepted(self) -> str:
        """The words."""
        return ", ".join(self.options)

    @property
    def example(self) -> str:
        """The first word."""
        return self.options[0]

    def read(self, text: str, label: str) -> str:
        """The word meant; refuses letters that fit none or several."""
        plain = normal(text).lower()
        exact = [option for option in self.options if option.lower() == plain]
        found = exact or [option for option in self.options if plain and option.lower().startswith(plain)]
        if len(found) != 1:
            raise EntryRefusal(label, text, f"one of {self.accepted}", example=self.example)
        return found[0]

    def echo(self, value: str, notation: Notation = "snellen_ft") -> str:
        """The word."""
        return value

    def unusual(self, value: str) -> str:
        """Nothing to confirm."""
        return ""

    def parts(self, value: str) -> Parts:
        """The typed word says it all."""
        return {}


@dataclass(frozen=True, slots=True)
class YesNo(Choice):
    """Yes or no."""

    options: tuple[str, ...] = ("yes", "no")

    def read(self, text: str, label: str) -> bool:  # type: ignore[override]
        """True for yes."""
        plain = {"true": "yes", "false": "no", "1": "yes", "0": "no"}.get(text.strip().lower(), text)
        return Choice.read(self, plain, label) == "yes"

    def echo(self, value: bool, notation: Notation = "snellen_ft") -> str:  # type: ignore[override]
        """The word."""
        return "yes" if value else "no"

    def unusual(self, value: bool) -> str:  # type: ignore[override]
        """Nothing to confirm."""
        return ""

    def parts(self, value: bool) -> Parts:  # type: ignore[override]
        """The typed word says it all."""
        return {}


class Words(NamedTuple):
    """Free words on one line, or on several."""

    longest: int = 400
    example: str = "stable for two years"
    several_lines: bool = False
    unit = ""
    usual = ""
    spelled = "free words; no name, address or phone number"

    @property
    def accepted(self) -> str:
        """The longest text."""
        return f"up to {self.longest} characters"

    def read(self, text: str, label: str) -> str:
        """The words without control characters."""
        keep = "\n" if self.several_lines else ""
        clean = "".join(c for c in text if c.isprintable() or c in keep).strip()
        if len(clean) > self.longest:
            raise EntryRefusal(label, clean[:20] + "…", self.accepted, example=self.example)
        return clean

    def echo(self, value: str, notation: Notation = "snellen_ft") -> str:
        """Nothing to add to the words."""
        return ""

    def unusual(self, value: str) -> str:
        """Nothing to confirm."""
        return ""

    def parts(self, value: str) -> Parts:
        """The typed words say it all."""
        return {}


class Day:
    """A calendar day, year first."""

    unit = ""
    usual = ""
    accepted = "a date as year-month-day"
    example = "2026-11-25"
    spelled = "2026-11-25, or 25.11.2026"

    def read(self, text: str, label: str) -> date:
        """The day; day-first only with dots, so that no order has to be guessed."""
        plain = normal(text)
        match = re.match(r"^(\d{1,2})\.(\d{1,2})\.(\d{4})$", plain)
        try:
            return date(int(match[3]), int(match[2]), int(match[1])) if match else date.fromisoformat(plain)
        except ValueError:
            raise EntryRefusal(label, text, self.accepted, example=self.example) from None

    def echo(self, value: date, notation: Notation = "snellen_ft") -> str:
        """Year first."""
        return value.isoformat()

    def unusual(self, value: date) -> str:
        """Nothing to confirm."""
        return ""

    def parts(self, value: date) -> Parts:
        """The typed day says it all."""
        return {}
