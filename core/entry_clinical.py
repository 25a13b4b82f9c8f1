"""The clinical kinds of field: acuity, near print, refraction, PD, fusional reserves, detail, reading curve."""

from __future__ import annotations

import re
from typing import Any, NamedTuple

from .acuity import Acuity, Notation, OffChart, format_acuity, parse_acuity
from .entry_basic import Parts, length_mm, normal, plain_number, show_length
from .errors import EntryRefusal, RangeRefusal, Refusal
from .print_size import NearPrint, format_near_print, parse_near_print
from .ranges import LETTER_HEIGHT, NEAR_TEST_DISTANCE, PRINT_M_UNITS, READING_SPEED, Range
from .refraction import EXAMPLE as REFRACTION_EXAMPLE
from .refraction import Refraction, parse_refraction


class AcuityKind:
    """A distance acuity in any notation, or an off-chart category in words."""

    unit = ""
    example = "20/100-2, 6/30, 0.2, 0.7 logMAR, CF 2 ft or HM"
    usual = "20/40 to 20/400"
    accepted = "an acuity from 20/10 to 20/2000, or CF, HM, LP, NLP"
    spelled = (
        "Snellen (20/100-2, 6/30, 4/20, 10/50), decimal (0.2), 0.7 logMAR, 55 letters; CF 2 ft, HM, LP, NLP"
    )

    def read(self, text: str, label: str) -> Acuity | OffChart:
        """The acuity; the field is named in the refusal."""
        return _named(parse_acuity, normal(text), label, self.accepted)

    def echo(self, value: Acuity | OffChart, notation: Notation = "snellen_ft") -> str:
        """The acuity in the clinic's notation with its logMAR, or the category in words."""
        if isinstance(value, OffChart):
            return f"{format_acuity(value, 'logmar')}: words only, no arithmetic"
        return f"{format_acuity(value, notation)} ({value.logmar:.2f} logMAR)"

    def unusual(self, value: Acuity | OffChart) -> str:
        """Nothing is unusual for an acuity in range."""
        return ""

    def parts(self, value: Acuity | OffChart) -> Parts:
        """logMAR, or the category."""
        return (
            {"category": format_acuity(value, "logmar")}
            if isinstance(value, OffChart)
            else {"logmar": round(value.logmar, 4)}
        )


class NearKind:
    """A near print size, with the distance it was read at where that was typed."""

    unit = ""
    example = "1.6M @ 40, 0.4/1.6M or N12 at 33cm"
    usual = "0.8M to 8M"
    accepted = "print of 0.2M to 20M, with its distance"
    spelled = "M units (1.6M @ 40), fraction (0.4/1.6M), N points (N12 at 33cm)"

    def read(self, text: str, label: str) -> NearPrint:
        """The print size; the field is named in the refusal."""
        return _named(parse_near_print, normal(text), label, self.accepted)

    def echo(self, value: NearPrint, notation: Notation = "snellen_ft") -> str:
        """M units and distance."""
        return format_near_print(value)

    def unusual(self, value: NearPrint) -> str:
        """A print size without its distance says nothing about magnification."""
        return "" if value.distance_mm else "distance not given: type it too, for example 1.6M @ 40"

    def parts(self, value: NearPrint) -> Parts:
        """M units and millimetres."""
        parts: dict[str, float | int | str | bool] = {"m_units": value.m_units}
        if value.distance_mm:
            parts["distance_mm"] = value.distance_mm
        return parts


class RefractionKind:
    """A sphere, or sphere, cylinder and axis, in either cylinder form."""

    unit = "D"
    example = REFRACTION_EXAMPLE
    usual = ""
    accepted = "sphere -30 to +25 D, cylinder to 8 D, axis 1 to 180"
    spelled = "-2.00 -1.00 x 90, pl, +1.50 sph; either cylinder form"

    def read(self, text: str, label: str) -> Refraction:
        """The refraction; the field is named in the refusal."""
        return _named(parse_refraction, text, label, self.accepted)

    def echo(self, value: Refraction, notation: Notation = "snellen_ft") -> str:
        """The refraction as written, with the best sphere when there is a cylinder."""
        extra = f" (best sphere {value.spherical_equivalent_d:+.2f})" if value.cylinder_d else ""
        return f"{value}{extra}"

    def unusual(self, value: Refraction) -> str:
        """Strong lenses need care with the vertex distance; a big cylinder is worth a second look."""
        if abs(value.cylinder_d) > 4:
            return f"cylinder {value.cylinder_d:+.2f} D is unusual: confirm it"
        if value.strongest_meridian_d > 10:
            return "over 10 D: the vertex distance must be measured"
        return ""

    def parts(self, value: Refraction) -> Parts:
        """Sphere, cylinder, axis."""
        return {"sphere_d": value.sphere_d, "cylinder_d": value.cylinder_d, "axis_deg": value.axis_deg}


class Pd(NamedTuple):
    """Distance interpupillary distance, whole or by eye (mm)."""

    right_mm: float
    left_mm: float
    by_eye: bool

    @property
    def total_mm(self) -> float:
        """Both halves together."""
        return self.right_mm + self.left_mm


class PdKind(NamedTuple):
    """Distance PD: ``62`` or ``31.5/30.5`` (right/left)."""

    whole: Range
    half: Range
    unit = "mm"
    example = "62 or 31.5/30.5"
    spelled = "whole (62) or right/left (31.5/30.5)"

    @property
    def accepted(self) -> str:
        """The accepted range in words."""
        return f"{self.whole.accepted()}, or right/left of {self.half.accepted()} each"

    @property
    def usual(self) -> str:
        """The usual range in words."""
        return f"{self.whole.usual_low:g} to {self.whole.usual_high:g} mm"

    def read(self, text: str, label: str) -> Pd:
        """The distance by eye; a whole PD is halved and marked so."""
        match = re.match(r"^(\d*\.?\d+)\s*(?:mm)?(?:\s*[/ ]\s*(\d*\.?\d+)\s*(?:mm)?)?$", normal(text).lower())
        if match is None:
            raise EntryRefusal(label, text, self.accepted, example=self.example)
        first = float(match[1])
        if match[2] is None:
            if not self.whole.accepts(first):
                raise RangeRefusal(label, text, self.accepted, example=self.example)
            return Pd(first / 2, first / 2, by_eye=False)
        second = float(match[2])
        if not all(self.half.accepts(half) for half in (first, second)):
            raise RangeRefusal(label, text, self.accepted, example=self.example)
        return Pd(first, second, by_eye=True)

    def echo(self, value: Pd, notation: Notation = "snellen_ft") -> str:
        """Right, left and total."""
        if not value.by_eye:
            return f"{plain_number(value.total_mm, 1)} mm (halves assumed equal)"
        return (
            f"R {plain_number(value.right_mm, 1)}  L {plain_number(value.left_mm, 1)}  "
            f"total {plain_number(value.total_mm, 1)} mm"
        )

    def unusual(self, value: Pd) -> str:
        """Asymmetry over 6 mm or an unusual total is worth measuring again."""
        if abs(value.right_mm - value.left_mm) > 6:
            return "right and left differ by more than 6 mm: confirm"
        return self.whole.unusual(value.total_mm) or ""

    def parts(self, value: Pd) -> Parts:
        """Millimetres: the halves when measured, else the whole."""
        if value.by_eye:
            return {"right_mm": value.right_mm, "left_mm": value.left_mm}
        return {"mm": value.total_mm}


class Reserve(NamedTuple):
    """A fusional reserve: blur, break and recovery in prism dioptres; blur None where there was none."""

    blur_prism: float | None
    break_prism: float
    recovery_prism: float | None

    @property
    def first_sign_prism(self) -> float:
        """Where the reserve first gives way: blur, or break where there is no blur."""
        return self.break_prism if self.blur_prism is None else self.blur_prism


class ReserveKind(NamedTuple):
    """Blur/break/recovery in prism dioptres, ``x`` for no blur; a single number is the break."""

    highest: float = 60.0
    unit = "prism D"
    example = "9/19/10, x/7/4 or 7"
    usual = ""
    spelled = "blur/break/recovery with x for no blur (x/7/4); break alone (7)"

    @property
    def accepted(self) -> str:
        """What is accepted, in words."""
        return f"blur/break/recovery of 0 to {self.highest:g} prism D, x for no blur"

    def read(self, text: str, label: str) -> Reserve:
        """The three numbers; refuses a break below the blur."""
        pieces = [piece.strip() for piece in re.split(r"[/ ]+", normal(text).lower()) if piece.strip()]
        try:
            numbers = [None if piece in ("x", "-") else float(piece) for piece in pieces]
        except ValueError:
            raise EntryRefusal(label, text, self.accepted, example=self.example) from None
        if any(n is not None and not 0 <= n <= self.highest for n in numbers):
            raise RangeRefusal(label, text, self.accepted, example=self.example)
        if len(numbers) == 1 and numbers[0] is not None:
            return Reserve(None, numbers[0], None)
        if len(numbers) not in (2, 3) or numbers[1] is None:
            raise EntryRefusal(label, text, self.accepted, example=self.example)
        blur, broke = numbers[0], numbers[1]
        if blur is not None and blur > broke:
            raise EntryRefusal(label, text, "a break no smaller than the blur", example=self.example)
        return Reserve(blur, broke, numbers[2] if len(numbers) == 3 else None)

    def echo(self, value: Reserve, notation: Notation = "snellen_ft") -> str:
        """Blur, break, recovery in words."""
        blur = "no blur" if value.blur_prism is None else f"blur {plain_number(value.blur_prism, 1)}"
        recovery = (
            "" if value.recovery_prism is None else f", recovery {plain_number(value.recovery_prism, 1)}"
        )
        return f"{blur}, break {plain_number(value.break_prism, 1)}{recovery} prism D"

    def unusual(self, value: Reserve) -> str:
        """Nothing to confirm."""
        return ""

    def parts(self, value: Reserve) -> Parts:
        """The numbers that were measured."""
        numbers = {
            "blur_prism": value.blur_prism,
            "break_prism": value.break_prism,
            "recovery_prism": value.recovery_prism,
        }
        return {key: number for key, number in numbers.items() if number is not None}


class Detail(NamedTuple):
    """The size of what is to be seen: an acuity, a letter height, or a print size. One of the three is set."""

    logmar: float | None = None
    height_mm: float | None = None
    m_units: float | None = None


class DetailKind:
    """An acuity to reach (``20/40``), a letter or detail height (``80 mm``) or a print size (``1.0M``, ``N8``)."""

    unit = ""
    usual = ""
    accepted = "an acuity, a letter height with its unit, or a print size"
    example = "20/40, 80 mm, 3 in, 1.0M or N8"
    spelled = "acuity (20/40), letter height (80 mm, 3 in), print (1.0M, N8)"

    def read(self, text: str, label: str) -> Detail:
        """The detail, by what its spelling says it is."""
        plain = normal(text).lower()
        if re.fullmatch(r"\d*\.?\d+ ?m", text.strip()):
            raise EntryRefusal(
                label,
                text,
                "a print size with a capital M, or a letter height in mm or cm",
                example="1.0M or 80 mm",
            )
        if re.fullmatch(r"(n ?\d+(\.\d+)?|\d*\.?\d+ ?m)", plain) or plain.endswith((" pt", "pt", "point")):
            return Detail(m_units=_named(parse_near_print, normal(text), label, self.accepted).m_units)
        if re.fullmatch(r"""\d*\.?\d+ ?(mm|cm|in|inch|inches|"|ft)""", plain):
            height = length_mm(plain)
            if not LETTER_HEIGHT.accepts(height):
                raise RangeRefusal(label, text, f"a height of {LETTER_HEIGHT.accepted()}", example="80 mm")
            return Detail(height_mm=height)
        try:
            acuity = parse_acuity(normal(text))
        except EntryRefusal:
            acuity = None
        if acuity is None or isinstance(acuity, OffChart):
            raise EntryRefusal(label, text, self.accepted, example=self.example)
        return Detail(logmar=acuity.logmar)

    def echo(self, value: Detail, notation: Notation = "snellen_ft") -> str:
        """What was understood."""
        if value.m_units is not None:
            return f"print of {plain_number(value.m_units, 2)}M"
        if value.height_mm is not None:
            return f"letters or detail {show_length(value.height_mm)} high"
        assert value.logmar is not None
        return f"acuity of {format_acuity(Acuity(value.logmar), notation)}"

    def unusual(self, value: Detail) -> str:
        """Nothing to confirm."""
        return ""

    def parts(self, value: Detail) -> Parts:
        """The one number that is set."""
        numbers = {"logmar": value.logmar, "height_mm": value.height_mm, "m_units": value.m_units}
        return {key: round(number, 4) for key, number in numbers.items() if number is not None}


class CurveKind:
    """A reading curve: print sizes with their speeds, ``4M 82, 3.2M 80, 2.5M 61 @ 40``."""

    unit = "M and wpm"
    usual = ""
    accepted = "print size and speed, pairs separated by commas, and the distance"
    example = "4M 82, 3.2M 80, 2.5M 78, 2M 55, 1.6M 20 @ 40"
    spelled = "pairs of print and words per minute, then @ distance in cm"

    def read(self, text: str, label: str) -> Curve:
        """The curve, largest print first."""
        body, _, distance = normal(text).partition("@")
        pairs = []
        for piece in re.split(r"[,;]\s*", body.strip()):
            match = re.fullmatch(r"(\d*\.?\d+) ?[Mm] ?(\d+(?:\.\d+)?)(?: ?wpm)?", piece.strip())
            if match is None:
                raise EntryRefusal(label, piece or text, self.accepted, example=self.example)
            pairs.append((float(match[1]), float(match[2])))
        if not all(PRINT_M_UNITS.accepts(size) and READING_SPEED.accepts(speed) for size, speed in pairs):
            accepted = f"print of {PRINT_M_UNITS.accepted()} at {READING_SPEED.accepted()}"
            raise RangeRefusal(label, text, accepted, example=self.example)
        try:
            far_mm = length_mm(distance.strip(), default_unit="cm") if distance.strip() else 400.0
        except ValueError:
            raise EntryRefusal(label, text, self.accepted, example=self.example) from None
        if not NEAR_TEST_DISTANCE.accepts(far_mm):
            raise RangeRefusal(
                label, text, f"a distance of {NEAR_TEST_DISTANCE.accepted()}", example=self.example
            )
        return Curve(tuple(sorted(pairs, reverse=True)), far_mm)

    def echo(self, value: Curve, notation: Notation = "snellen_ft") -> str:
        """How many sizes at what distance, and the best speed."""
        fastest = max(speed for _, speed in value.points)
        return f"{len(value.points)} sizes at {show_length(value.distance_mm)}, fastest {fastest:g} wpm"

    def unusual(self, value: Curve) -> str:
        """A curve of few points cannot be fitted."""
        return "" if len(value.points) >= 5 else "fewer than 5 sizes: the curve cannot be fitted"

    def parts(self, value: Curve) -> Parts:
        """The distance; the pairs stand in the typed text."""
        return {"distance_mm": value.distance_mm}


class Curve(NamedTuple):
    """Reading speed against print: (M units, wpm) pairs, largest print first, and the distance in mm."""

    points: tuple[tuple[float, float], ...]
    distance_mm: float


def _named(read: Any, text: str, label: str, accepted: str) -> Any:
    """Call a reader; its refusal gets the field's own label, and says what is accepted when it did not."""
    try:
        return read(text)
    except Refusal as refusal:
        raise type(refusal)(
            label, text, refusal.accepted or accepted, example=refusal.example, reason=refusal.reason
        ) from None
