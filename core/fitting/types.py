"""What a fitting sheet is made of: steps with a target and a tolerance, and the verdict on what was measured.

Plain values; nothing here computes optics. A step's result is stored in the visit under the step's key as typed text
(:class:`..case.StepResult`); the step's ``kind`` reads that text, so a step is entered like any other field.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from dataclasses import field as declared
from datetime import date
from typing import Literal

from ..configuration import Configuration
from ..entry import Kind

Phase = Literal["frame", "trial", "fit", "verify", "performance", "search", "teach"]
PHASES: dict[Phase, str] = {
    "frame": "Before anything is ordered: does the frame allow it",
    "trial": "Trial",
    "verify": "What was delivered, before it goes on the face",
    "fit": "On the face",
    "performance": "What it does",
    "search": "Only where something falls short, to find the cause",
    "teach": "Handing over",
}
State = Literal["ok", "check", "no", "open"]
STATES: tuple[State, ...] = ("ok", "check", "no", "open")
Side = Literal["", "right", "left", "both"]


@dataclass(frozen=True, slots=True)
class Interval:
    """A number within ``lowest`` to ``highest`` is ok, within the outer pair "check", beyond it "no".

    An end of None is open; an outer end of None stands for the inner one. ``signless`` compares the size only.
    """

    lowest: float | None = None
    highest: float | None = None
    outer_lowest: float | None = None
    outer_highest: float | None = None
    signless: bool = False


@dataclass(frozen=True, slots=True)
class Answers:
    """Answers that are ok and answers that want attention; any other is "no"."""

    good: tuple[object, ...]
    doubtful: tuple[object, ...] = ()


@dataclass(frozen=True, slots=True)
class Repeats:
    """A measurement beside what was promised: further apart than ``repeats`` counts as a difference.

    ``scale`` is what is compared: acuity and near print on the log scale, speed as a share of the promise.
    """

    promised: float
    repeats: float
    scale: Literal["acuity", "print", "speed"]


@dataclass(frozen=True, slots=True)
class Lens:
    """A spectacle prescription, checked meridian by meridian: best sphere and cylinder left over, in D."""

    sphere_d: float
    cylinder_d: float
    axis_deg: int
    sphere_within_d: float
    cylinder_within_d: float


@dataclass(frozen=True, slots=True)
class Recorded:
    """Nothing to compare with: whatever is measured is written down."""


@dataclass(frozen=True, slots=True)
class Ticks:
    """Cautions ticked one by one; ``earlier`` are the keys of those that stand from an earlier visit."""

    earlier: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Earlier:
    """What was typed at a step at an earlier visit with the same device, on which day, and what it meant."""

    measured: str
    on: date
    state: State


Accept = Interval | Answers | Repeats | Lens | Ticks | Recorded


@dataclass(frozen=True, slots=True)
class Step:
    """One step of the sheet.

    ``target`` is what it should be, in words with its number and unit; ``target_value`` the bare number in ``unit``
    where there is one. ``tolerance`` says how far it may be off and ``rule`` which rule gave that. ``numbers`` are
    further numbers that the step rests on, by name with the unit. ``assumed`` are field paths or assumption
    sentences that the number leans on. ``source`` is a key of the list of sources, "" for common practice.
    ``remedy`` says what to do when the measurement lies outside, ``remedy_low`` where something else helps against one
    that is too small. ``field`` is the path of the case field that asks
    the same: its measurement stands in while the step has none of its own. An ``optional`` step is another way to the
    same answer, or one that this visit does not ask again, and is not counted as open. ``earlier`` is what an
    earlier visit with the same device found.
    """

    key: str
    phase: Phase
    title: str
    do: str
    target: str
    how: str
    kind: Kind
    accept: Accept
    target_value: float | None = None
    unit: str = ""
    tolerance: str = ""
    rule: str = ""
    eye: Side = ""
    source: str = ""
    assumed: tuple[str, ...] = ()
    numbers: Mapping[str, float] = declared(default_factory=dict, hash=False)
    remedy: str = ""
    field: str = ""
    optional: bool = False
    earlier: Earlier | None = None
    remedy_low: str = ""

    @property
    def heading(self) -> str:
        """The title with its eye."""
        words = {"": "", "right": ", right eye", "left": ", left eye", "both": ", both eyes"}
        return self.title + words[self.eye]


@dataclass(frozen=True, slots=True)
class Verdict:
    """What a result means, and one sentence that says so."""

    state: State
    sentence: str


@dataclass(frozen=True, slots=True)
class FittingSheet:
    """The steps for one configuration and one face, in working order, and what could not be computed and why.

    ``again`` says that a follow-up asks only what wear can have changed; the steps it asks stand first.
    """

    configuration: Configuration
    device: str
    steps: tuple[Step, ...]
    refusals: tuple[str, ...] = ()
    assumed: tuple[str, ...] = ()
    again: bool = False

    def step(self, key: str) -> Step | None:
        """The step of that key."""
        return next((step for step in self.steps if step.key == key), None)

    def phase(self, phase: Phase) -> tuple[Step, ...]:
        """The steps of one phase."""
        return tuple(step for step in self.steps if step.phase == phase)

    def __iter__(self) -> Iterator[Step]:
        return iter(self.steps)

    def __len__(self) -> int:
        return len(self.steps)
