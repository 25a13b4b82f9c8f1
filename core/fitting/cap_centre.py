"""Where a reading cap is centred, and where its prism is measured: on the tube, whose axis parallel tubes keep at near.

Every pair here stands parallel. The cap sits in its mount on the tube, so its geometrical centre is the tube's axis,
never the near PD; base-in is the same as an optical centre moved towards the nose by P/F. Base-in of Fcap x half the
distance between the tubes brings both optical centres onto the midline, where no convergence is asked. The near PD
belongs to tubes that are turned in for one distance.
"""

from __future__ import annotations

from dataclasses import dataclass

from ..configuration import Configuration
from ..optics.alignment import prentice_prism
from ..person import Person
from ..stock import Cap
from .types import Side


@dataclass(frozen=True, slots=True)
class CapCentre:
    """One cap. Distances in mm from the middle of the bridge; ``inward_mm`` from the tube's axis towards the nose.

    ``tube_mm`` is the tube's axis, the cap's geometrical centre and the point where ``base_in_prism`` is measured;
    ``optical_mm`` is the optical centre of the same power and prism (minus: beyond the middle of the bridge).
    """

    side: Side
    tube_mm: float
    inward_mm: float
    optical_mm: float
    base_in_prism: float


def tube_centre_mm(person: Person, choice: Configuration, side: str) -> float:
    """The axis of a tube from the middle of the bridge, mm: the eye's own PD and the outward spread."""
    return person.eye(side).pd_mm + choice.spread_mm


def cap_centres(person: Person, choice: Configuration, cap: Cap) -> tuple[CapCentre, ...]:
    """The cap of each tube of a device."""
    inward = cap.base_in_prism / prentice_prism(1.0, cap.power_d)
    found = []
    for side in choice.eyes:
        tube = tube_centre_mm(person, choice, side)
        found.append(CapCentre(side, tube, inward, tube - inward, cap.base_in_prism))
    return tuple(found)
