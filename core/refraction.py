"""A refraction as it is written on a prescription, in either cylinder form, and what follows from it.

Spheres and cylinders are dioptres at the spectacle plane, axes whole degrees from 1 to 180.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from .errors import EntryRefusal, RangeRefusal
from .ranges import AXIS, CYLINDER, SPHERE

EXAMPLE = "-2.00 -1.00 x 90, +1.50 sph or pl"

_NUMBER = r"[+-]?\d+(?:\.\d+)?"
_SPHERE = rf"(?P<sphere>pl(?:ano)?|{_NUMBER})"
_SPHERE_ONLY = re.compile(rf"^{_SPHERE}\s*(?:ds|sph(?:ere)?|d)?$")
_SPHERO_CYLINDER = re.compile(
    rf"^{_SPHERE}\s*(?:ds|sph)?\s*[/,; ]?\s*(?P<cylinder>[+-]\s*\d+(?:\.\d+)?)\s*(?:dc|cyl)?\s*"
    r"(?:x|×|ax(?:is)?|@|/|\*| )\s*(?P<axis>\d{1,3})\s*(?:°|deg)?$"
)


@dataclass(frozen=True, slots=True)
class Refraction:
    """Sphere and cylinder (D, spectacle plane) and axis (degrees, 1–180; 180 where there is no cylinder)."""

    sphere_d: float
    cylinder_d: float = 0.0
    axis_deg: int = 180

    def transposed(self) -> Refraction:
        """The same lens written with the cylinder of the other sign."""
        if not self.cylinder_d:
            return self
        axis = self.axis_deg + 90 if self.axis_deg <= 90 else self.axis_deg - 90
        return Refraction(self.sphere_d + self.cylinder_d, -self.cylinder_d, axis)

    def minus_cylinder(self) -> Refraction:
        """The form with a minus cylinder."""
        return self.transposed() if self.cylinder_d > 0 else self

    def plus_cylinder(self) -> Refraction:
        """The form with a plus cylinder."""
        return self.transposed() if self.cylinder_d < 0 else self

    @property
    def spherical_equivalent_d(self) -> float:
        """Best sphere: sphere + cylinder / 2, D."""
        return self.sphere_d + self.cylinder_d / 2

    @property
    def strongest_meridian_d(self) -> float:
        """The larger magnitude of the two principal powers, D: what makes the vertex distance matter."""
        return max(abs(self.sphere_d), abs(self.sphere_d + self.cylinder_d))

    def plus_sphere(self, add_d: float) -> Refraction:
        """The same lens with ``add_d`` added to the sphere."""
        return Refraction(self.sphere_d + add_d, self.cylinder_d, self.axis_deg)

    def __str__(self) -> str:
        sphere = "pl" if abs(self.sphere_d) < 0.005 else f"{self.sphere_d:+.2f}"
        if abs(self.cylinder_d) < 0.005:
            return sphere if sphere == "pl" else f"{sphere} sph"
        return f"{sphere} {self.cylinder_d:+.2f} x {self.axis_deg}"


def parse_refraction(text: str) -> Refraction:
    """Read a refraction as a clinician types it: ``-2.00 -1.00 x 90``, ``pl``, ``+1.50 sph``, ``pl/-0.75x180``.

    Accepts sphere -30 to +25 D, cylinder up to 8 D either sign, axis 0 to 180 (0 is kept as 180).
    Raises EntryRefusal when the text is not a refraction, RangeRefusal when a number is out of range.
    """
    plain = re.sub(r"\s+", " ", text.replace("−", "-").replace("–", "-").replace(",", ".").strip().lower())
    plain = re.sub(r"([+-]) (?=\d)", r"\1", plain)
    match = _SPHERE_ONLY.match(plain) or _SPHERO_CYLINDER.match(plain)
    if match is None:
        raise EntryRefusal("refraction", text, "sphere, or sphere cylinder x axis", example=EXAMPLE)
    groups = match.groupdict()
    sphere = 0.0 if groups["sphere"].startswith("pl") else float(groups["sphere"])
    if groups["sphere"][0] not in "+-p" and sphere:
        raise EntryRefusal("refraction", text, "a sphere with its sign", example=EXAMPLE)
    if not SPHERE.accepts(sphere):
        raise RangeRefusal("sphere", f"{sphere:+g} D", SPHERE.accepted(), example="-2.00")
    if not groups.get("cylinder"):
        return Refraction(sphere)
    cylinder = float(groups["cylinder"])
    axis = int(groups["axis"])
    if not CYLINDER.accepts(cylinder):
        raise RangeRefusal("cylinder", f"{cylinder:+g} D", CYLINDER.accepted(), example="-1.00 x 90")
    if not AXIS.accepts(axis):
        raise RangeRefusal("axis", f"{axis} deg", AXIS.accepted(), example="-1.00 x 90")
    return Refraction(sphere, cylinder, (axis or 180) if cylinder else 180)


def residual_after(worn: Refraction, needed: Refraction) -> tuple[float, float]:
    """What is left uncorrected when ``worn`` stands where ``needed`` should: (best sphere D, cylinder size D).

    Crossed cylinders are added as power vectors (M, J0, J45), so that unequal axes count.
    """
    worn_v, needed_v = power_vector(worn), power_vector(needed)
    sphere, j0, j45 = (n - w for n, w in zip(needed_v, worn_v, strict=True))
    return sphere, 2.0 * math.hypot(j0, j45)


def power_vector(lens: Refraction) -> tuple[float, float, float]:
    """Best sphere and the two crossed-cylinder components (M, J0, J45), all D."""
    angle = math.radians(2 * lens.axis_deg)
    half = -lens.cylinder_d / 2
    return lens.spherical_equivalent_d, half * math.cos(angle), half * math.sin(angle)
