"""The range in which each quantity is accepted, and the narrower one in which it is usual.

One declaration for each quantity that a person can enter. Outside the accepted range a value is refused;
inside it but outside the usual one the program asks for a confirmation and computes all the same.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from .errors import RangeRefusal


def _number(value: float) -> str:
    """A number as a clinician writes it: up to ten significant digits."""
    return f"{value:.10g}"


@dataclass(frozen=True, slots=True)
class Range:
    """The accepted and the usual range of one quantity, both ends included.

    ``unit`` is "" for a ratio. ``signless`` says that the size is limited (a Keplerian magnification,
    a cylinder in either form). ``source`` is a key of the list of sources, or "" for common practice.
    """

    name: str
    unit: str
    lowest: float
    highest: float
    usual_low: float
    usual_high: float
    example: str
    source: str = ""
    signless: bool = False

    def check(self, value: float, field: str = "") -> float:
        """The value itself when accepted; :class:`RangeRefusal` when it is no finite number or outside.

        ``field`` replaces the name of the quantity in the refusal, for a form that has a label of its own.
        """
        measured = abs(value) if self.signless else value
        if not (math.isfinite(value) and self.lowest <= measured <= self.highest):
            shown = self.amount(value) if math.isfinite(value) else "not a finite number"
            raise RangeRefusal(field or self.name, shown, self.accepted(), example=self.example)
        return value

    def accepts(self, value: float) -> bool:
        """Whether :meth:`check` would let the value pass."""
        measured = abs(value) if self.signless else value
        return math.isfinite(value) and self.lowest <= measured <= self.highest

    def unusual(self, value: float, field: str = "") -> str | None:
        """A sentence that asks to confirm an accepted value outside the usual range; None for a usual one."""
        measured = abs(value) if self.signless else value
        if self.usual_low <= measured <= self.usual_high:
            return None
        side = "below" if measured < self.usual_low else "above"
        return (
            f"{field or self.name}: {self.amount(value)} is {side} the usual "
            f"{self._span(self.usual_low, self.usual_high)}; confirm that it is right."
        )

    def accepted(self) -> str:
        """The accepted range in words, such as ``40 to 80 mm``."""
        prefix = "a size of " if self.signless else ""
        return prefix + self._span(self.lowest, self.highest)

    def amount(self, value: float) -> str:
        """A value with its unit, such as ``62 mm``; without a unit the bare number."""
        return f"{_number(value)} {self.unit}".rstrip()

    def _span(self, low: float, high: float) -> str:
        return f"{_number(low)} to {_number(high)} {self.unit}".rstrip()

    def __get_pydantic_core_schema__(self, source: Any, handler: Callable[[Any], Any]) -> Any:
        """How a record that is read from a file is checked: ``Annotated[float, PD]``. In a file a size has no sign."""
        from pydantic_core.core_schema import no_info_after_validator_function

        def accept(value: float) -> float:
            if not self.lowest <= value <= self.highest:
                raise ValueError(
                    f"accepted is {self._span(self.lowest, self.highest)}, for example {self.example}"
                )
            return value

        return no_info_after_validator_function(accept, handler(source))


# The face and the frame
PD = Range("PD", "mm", 40, 80, 50, 75, "62 or 31.5/30.5", "DODGSON04")
MONOCULAR_PD = Range("monocular PD", "mm", 20, 40, 25, 37, "31.5")
VERTEX = Range("vertex distance", "mm", 6, 25, 10, 15, "12")
OCULAR_TO_CORNEA = Range("ocular to cornea", "mm", 6, 37, 9, 19, "13")
EYE_DISTANCE = Range("ocular to entrance pupil", "mm", 9, 40, 12, 22, "15")
ROTATION_DEPTH = Range("cornea to centre of rotation", "mm", 13, 14.5, 13, 14.5, "13.5", "OPTOMETRY-TEXT")
A_SIZE = Range("A size", "mm", 30, 70, 42, 60, "50")
B_SIZE = Range("B size", "mm", 24, 60, 32, 50, "40")
BRIDGE = Range("distance between lenses", "mm", 8, 32, 14, 24, "18")
PUPIL_HEIGHT = Range("pupil height above the lower rim", "mm", 5, 45, 14, 30, "22")
SEGMENT_HEIGHT = Range("segment height", "mm", 5, 35, 10, 24, "16")
PANTOSCOPIC = Range("pantoscopic tilt", "deg", 0, 20, 6, 12, "8")
FACE_FORM = Range("face-form angle", "deg", 0, 30, 0, 10, "5")
CLEARANCE = Range("clearance", "mm", 0, 10, 1, 2, "1.5")

# The telescope
MAGNIFICATION = Range("magnification", "x", 1.05, 10, 1.6, 4, "2.0", signless=True)
TUBE_LENGTH = Range("tube length", "mm", 8, 160, 15, 120, "24")
OBJECTIVE_DIAMETER = Range("objective diameter", "mm", 6, 50, 10, 32, "25")
OCULAR_DIAMETER = Range("ocular diameter", "mm", 3, 40, 6, 25, "12")
FIELD_STOP = Range("field stop", "mm", 1, 40, 4, 25, "9")
EXIT_PUPIL = Range("exit pupil", "mm", 1, 20, 2.5, 12, "6", "SMITH-290")
FIELD = Range("field of view", "deg", 1, 70, 4, 30, "12")
TUBE_TILT = Range("tube tilt", "deg", 0, 30, 5, 20, "10")
OCULAR_HEIGHT = Range("ocular height above the gaze line", "mm", 3, 20, 7, 14, "9.5")
HOUSING_RADIUS = Range("housing radius", "mm", 4, 20, 5, 15, "8")
TOE_IN = Range("toe-in", "deg", -10, 15, 0, 8, "5")
DECENTRATION = Range("decentration", "mm", -10, 10, -5, 5, "1.5")
LENS_POWER = Range("lens power", "D", -120, 120, -80, 80, "20")
TRIAL_LENS = Range("trial lens", "D", -10, 10, -2, 2, "1", signless=False)
FOCUS_TRAVEL = Range("focus travel", "mm", 0, 60, 0.5, 30, "6")
TRANSMITTANCE = Range("transmittance", "", 0.05, 1, 0.5, 0.99, "0.9")
WEIGHT = Range("weight", "g", 1, 300, 10, 120, "45")
CAP = Range("cap power", "D", 0.25, 20, 1, 8, "2.50")
SURFACES = Range("number of surfaces", "", 0, 40, 2, 16, "4")
SURFACE_REFLECTANCE = Range("reflectance of a surface", "", 0, 0.2, 0.0025, 0.06, "0.04")

# The eye
SPHERE = Range("sphere", "D", -30, 25, -10, 10, "-2.00")
CYLINDER = Range("cylinder", "D", 0, 8, 0, 4, "-1.00", signless=True)
AXIS = Range("axis", "deg", 0, 180, 0, 180, "90")
ADD = Range("add", "D", 0, 40, 0.75, 12, "2.50")
PRISM = Range("prism", "prism D", 0, 60, 0, 10, "4")
FUSIONAL_RESERVE = Range("fusional reserve", "prism D", 0, 60, 2, 40, "17", "SCHEIMAN")
EYE_PUPIL = Range("eye pupil", "mm", 1.5, 9, 2, 6, "3.5", "WATSON12")
BIRTH_YEAR = Range("year of birth", "", 1900, 2030, 1915, 2023, "1951")
AGE = Range("age", "years", 3, 110, 3, 110, "68")
ACCOMMODATION = Range("accommodation", "D", 0, 20, 0, 10, "1.5", "HOFSTETTER50")
BLUR_TOLERANCE = Range("tolerated defocus", "D", 0.1, 4, 0.25, 1.5, "0.5")
SCOTOMA = Range("central scotoma", "deg", 0, 60, 0, 22, "8", "WLK93")
VISUAL_FIELD = Range("visual field", "deg", 0, 200, 10, 180, "60")

# Acuity, contrast and reading
LOGMAR = Range("acuity", "logMAR", -0.3, 2, 0.3, 1.3, "0.7")
LOG_CS = Range("contrast sensitivity", "logCS", 0, 2.3, 0.6, 1.8, "1.20", "PELLI88")
PRINT_CONTRAST = Range("print contrast", "", 0.05, 1, 0.5, 1, "0.85")
PRINT_M_UNITS = Range("print size", "M", 0.2, 20, 0.4, 8, "1.6")
READING_SPEED = Range("reading speed", "wpm", 0, 400, 20, 200, "80", "ARVO-EXP")
ACUITY_RESERVE = Range("acuity reserve", "x", 1, 5, 1, 3, "2", "LATHAM12")
CHARACTER_PITCH = Range("character pitch per M", "mm", 0.5, 3, 1.2, 1.8, "1.5")
CHART_DISTANCE = Range("chart distance", "mm", 250, 10_000, 1000, 6100, "4000")
NEAR_TEST_DISTANCE = Range("near test distance", "mm", 50, 1000, 100, 500, "400")
CHART_LUMINANCE = Range("chart luminance", "cd/m2", 1, 1000, 80, 320, "160", "SHEEDY84")
LUMINANCE = Range("luminance", "cd/m2", 0.01, 100_000, 0.1, 10_000, "100")

# Tasks and goals
DISTANCE = Range("distance", "mm", 50, 1_000_000, 200, 100_000, "3000")
WORKING_DISTANCE = Range("working distance", "mm", 50, 4000, 100, 700, "250")
OBJECT_SIZE = Range("size of the object", "mm", 1, 100_000, 10, 3000, "600")
CHARACTERS = Range("characters at once", "characters", 1, 200, 4, 40, "10")
HEAD_SPEED = Range("head or object speed", "deg/s", 0, 200, 0, 60, "10")
LETTER_HEIGHT = Range("letter height", "mm", 0.2, 3000, 0.5, 400, "150")

ALL_RANGES: tuple[Range, ...] = tuple(entry for entry in list(globals().values()) if isinstance(entry, Range))
