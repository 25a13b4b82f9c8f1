"""One way of using one telescope: which eye, where on the face, how mounted, with which cap, correction and focus.

A configuration is what the practitioner chooses; the plan evaluates it, the case stores it, the fitting sheet and
the order are made from it. Stock entries are named by their ids.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

EyeChoice = Literal["right", "left", "both"]
Position = Literal["bioptic", "full diameter", "low"]
Mount = Literal["through the lens", "in front", "flip-up", "clip-on"]
Correction = Literal["carrier", "ocular", "objective", "refocused", "none"]
FocusSetting = Literal["infinity", "hyperfocal"]

EYES: tuple[EyeChoice, ...] = ("right", "left", "both")
POSITIONS: tuple[Position, ...] = ("bioptic", "full diameter", "low")
MOUNTS: tuple[Mount, ...] = ("through the lens", "in front", "flip-up", "clip-on")
CORRECTIONS: tuple[Correction, ...] = ("carrier", "ocular", "objective", "refocused", "none")
FOCUS_SETTINGS: tuple[FocusSetting, ...] = ("infinity", "hyperfocal")


@dataclass(frozen=True, slots=True)
class Configuration:
    """``cap`` and ``filter`` are stock ids, empty for none; ``spread_mm`` is the outward decentration of each tube."""

    telescope: str
    eye: EyeChoice
    position: Position
    mount: Mount
    cap: str = ""
    filter: str = ""
    correction: Correction = "carrier"
    focus: FocusSetting = "infinity"
    spread_mm: float = 0.0

    @property
    def key(self) -> str:
        """A readable name that is unique among configurations, for files and for jumping to a row."""
        parts = [
            self.telescope,
            self.eye,
            self.position,
            self.mount,
            self.cap or "no cap",
            self.filter or "no filter",
            self.correction,
            self.focus,
        ]
        if self.spread_mm:
            parts.append(f"spread {self.spread_mm:g}")
        return " / ".join(parts)

    @property
    def eyes(self) -> tuple[Literal["right", "left"], ...]:
        """The eyes that look through a tube."""
        return ("right", "left") if self.eye == "both" else (self.eye,)
