"""What the builders of steps work from: the person, the chosen device and its numbers, and the limits in force.

The numbers come from the plan's evaluation of the configuration; nothing is computed twice. The limits of alignment
are the instrument's or half of the person's own reserve, whichever is stricter, and say which.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from ..case import Case
from ..configuration import Configuration
from ..entry import Reserve, plain_number
from ..errors import DomainRefusal
from ..optics.alignment import arcmin_to_prism, prism_to_arcmin, sheard_limit_prism, tilt_for_deviation_arcmin
from ..person import Person
from ..plan.types import DeviceNumbers, EyeNumbers
from ..settings import Settings
from ..stock import Cap, Telescope
from .types import Side

# Common practice: a tube two degrees off is seen with the naked eye, whatever its power.
MOST_TILT_ARCMIN = 120.0


@dataclass(frozen=True, slots=True)
class Limit:
    """How much of a deviation at the eye is tolerated, prism dioptres: ok up to ``prism``, never beyond ``outer``."""

    prism: float
    outer: float | None
    rule: str
    source: str

    @property
    def arcmin(self) -> float:
        """The same in minutes of arc."""
        return prism_to_arcmin(self.prism)


@dataclass(frozen=True)
class Fit:
    """One configuration on one face."""

    case: Case
    settings: Settings
    person: Person
    choice: Configuration
    telescope: Telescope
    cap: Cap | None
    device: DeviceNumbers

    @property
    def two(self) -> bool:
        """Two tubes."""
        return self.choice.eye == "both"

    @property
    def keplerian(self) -> bool:
        """A real exit pupil behind the ocular."""
        return self.telescope.type == "keplerian"

    @property
    def erect(self) -> bool:
        """The picture is seen upright."""
        return not self.keplerian or self.telescope.erect

    @property
    def power(self) -> float:
        """The size of the magnification in use."""
        return abs(self.device.leading.magnification)

    @property
    def sides(self) -> tuple[Side, ...]:
        """The eyes behind a tube."""
        return self.choice.eyes

    def eye(self, side: str) -> EyeNumbers:
        """The numbers of one eye behind a tube."""
        return next(eye for eye in self.device.eyes if eye.side == side)

    def assume(self, name: str) -> float:
        """The value in force of an assumption."""
        return self.settings.assume(name)

    def assumed(self, *paths: str) -> tuple[str, ...]:
        """The sentences of those assumed values among ``paths`` that stand in for a measurement."""
        return tuple(self.person.assumed[path].sentence for path in paths if path in self.person.assumed)

    @cached_property
    def vertical(self) -> Limit:
        """Tolerated vertical deviation between the two pictures."""
        return self._limit("vertical", "vertical_limit_arcmin", "vertical")

    @cached_property
    def convergence(self) -> Limit:
        """Tolerated convergence asked at distance; opposed by the base-out reserve."""
        return self._limit("base_out_distance", "convergent_limit_arcmin", "base-out")

    @cached_property
    def divergence(self) -> Limit:
        """Tolerated divergence asked at distance; opposed by the base-in reserve."""
        return self._limit("base_in_distance", "divergent_limit_arcmin", "base-in")

    def _limit(self, reserve_name: str, assumption: str, words: str) -> Limit:
        instrument = arcmin_to_prism(self.assume(assumption))
        reserve = self.person.reserves.get(reserve_name)
        if reserve is None:
            rule = (
                f"instrument limit of {plain_number(self.assume(assumption), 0)}' at the eye; "
                f"the person's {words} reserve is not measured"
            )
            return Limit(instrument, None, rule, "TONKIN")
        own = sheard_limit_prism(reserve.first_sign_prism)
        outer = max(reserve.first_sign_prism, min(own, instrument))
        if own < instrument:
            rule = (
                f"half of the person's own {words} reserve of {number(reserve.first_sign_prism, 1)} prism D"
            )
            return Limit(own, outer, rule, "SCHEIMAN")
        rule = (
            f"instrument limit of {plain_number(self.assume(assumption), 0)}' at the eye, stricter than half of the "
            f"person's {words} reserve"
        )
        return Limit(instrument, outer, rule, "TONKIN")

    def near_reserve(self, name: str) -> tuple[Reserve | None, float, str]:
        """A near reserve (``base_in_near`` or ``base_out_near``): measured or None, its size, and the words for it."""
        words = name.removesuffix("_near").replace("_", "-")
        reserve = self.person.reserves.get(name)
        if reserve is not None:
            return (
                reserve,
                reserve.first_sign_prism,
                f"the person's own {words} reserve at near of {number(reserve.first_sign_prism, 1)} prism D",
            )
        normal = self.assume(f"{name}_prism")
        return (
            None,
            normal,
            f"the {words} reserve of normal eyes at near, {number(normal, 1)} prism D: the person's is not measured",
        )

    def tilt_arcmin(self, limit: Limit) -> float:
        """The tilt between the two tubes that uses up a limit at this power, at most two degrees."""
        magnification = self.device.leading.magnification
        try:
            tilt = tilt_for_deviation_arcmin(magnification, limit.arcmin, self.erect)
        except DomainRefusal:
            # A weak tube deviates too little to reach the limit at all.
            return MOST_TILT_ARCMIN
        return min(tilt, MOST_TILT_ARCMIN)


def number(value: float, decimals: int = 1) -> str:
    """A number as it is printed on the sheet."""
    shown = plain_number(value, decimals)
    return "0" if shown in ("-0", "") else shown


def mm(value: float, decimals: int = 1) -> str:
    """Millimetres as printed."""
    return f"{number(value, decimals)} mm"


def deg(value: float, decimals: int = 1) -> str:
    """Degrees as printed."""
    return f"{number(value, decimals)} deg"


def signed(value: float, decimals: int = 2) -> str:
    """A signed number as printed; zero has no sign."""
    return f"{value:+.{decimals}f}" if abs(value) >= 0.5 * 10**-decimals else f"{0:.{decimals}f}"
