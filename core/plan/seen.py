"""The image at the eye for one goal: where the object is, which cap is on, the power in use, what is out of focus."""

from __future__ import annotations

from dataclasses import dataclass

from ..configuration import Configuration
from ..errors import Refusal
from ..formula import formula
from ..goals import Demand
from ..optics.ametropia import refocus
from ..optics.focus import accommodation_demand_d, exit_vergence_d, object_vergence_d
from ..stock import Cap, Telescope
from .device import lends_to_tube, nearest_focus_mm
from .formulas import (
    accommodation_used_d,
    defocus_left_d,
)
from .types import EyeNumbers
from .words import DEFOCUS_MOST_D


def cap_is_on(demand: Demand, cap: Cap | None) -> bool:
    """Caps are on for print, and for other goals at arm's length when they bring the light nearer to parallel."""
    if cap is None or demand.kind == "distance":
        return False
    return demand.by_print or cap.power_d < 2000.0 / demand.distance_mm


def object_at_mm(demand: Demand, working_distance_mm: float | None) -> float:
    """Where the object is taken to be: at the cap's working distance where it can be brought there."""
    if working_distance_mm is None:
        return demand.distance_mm
    if demand.kind == "near" and demand.by_print:
        return working_distance_mm
    return min(demand.farthest_mm, max(demand.nearest_mm, working_distance_mm))


@formula(
    "demand − δ", unit="D", source="", kind="derived", domain="tube set so that infinity is just tolerated"
)
def demand_hyperfocal_d(accommodation_demand_d: float, tolerance_d: float) -> float:
    """Accommodation asked when the tube is set hyperfocal, D."""
    return accommodation_demand_d - tolerance_d


@formula(
    "EVD = 1/|M′·U|", unit="mm", source="SCHWARTZ-12", kind="derived", domain="tube focused on the object"
)
def evd_focused_mm(magnification: float, object_distance_mm: float) -> float:
    """Equivalent viewing distance, mm, of a tube focused on an object by its length, eye relaxed."""
    return object_distance_mm / abs(magnification)


@dataclass(frozen=True, slots=True)
class Seen:
    """The image at the eye for one goal: where the object is, the power in use, what stays out of focus."""

    object_distance_mm: float
    magnification: float
    tube_length_mm: float
    exit_vergence_d: float | None
    unrefocused_exit_vergence_d: float | None
    accommodation_used_d: float
    defocus_d: float


def seen_at(
    telescope: Telescope,
    configuration: Configuration,
    eye: EyeNumbers,
    demand: Demand,
    cap: Cap | None,
    working_distance_mm: float | None,
) -> Seen:
    """Focus at the goal's object. Raises Refusal when the object is inside the near limit of the tube."""
    at = object_at_mm(demand, working_distance_mm)
    power = 0.0 if cap is None else cap.power_d
    vergence = object_vergence_d(at, power)
    magnification, tube = eye.magnification, eye.tube_length_mm
    afocal: float | None = None
    if telescope.focusable and cap is None:
        lends = eye.ametropia_at_ocular_d if lends_to_tube(telescope, configuration.correction) else 0.0
        try:
            afocal = exit_vergence_d(telescope.signed_magnification, telescope.tube_length_mm, vergence)
        except Refusal:
            afocal = None
        nearest = nearest_focus_mm(telescope, lends)
        reached = max(at, nearest)
        focused = refocus(telescope.signed_magnification, telescope.tube_length_mm, lends, -1000.0 / reached)
        if demand.kind != "distance":
            magnification, tube = focused.magnification, focused.tube_length_mm
        if at >= nearest * (1.0 - 1e-9):
            return Seen(at, magnification, tube, 0.0, afocal, 0.0, 0.0)
        # Set for its nearest distance, the rest of the vergence acts as on an afocal tube of that power and length.
        vergence += 1000.0 / reached
        leaves = exit_vergence_d(focused.magnification, focused.tube_length_mm, vergence)
        asked = accommodation_demand_d(leaves)
    else:
        reference = eye.residual_sphere_d
        if configuration.correction == "objective":
            vergence += eye.correction_lens_d or 0.0
            reference = eye.ametropia_at_ocular_d if eye.correction_lens_d is not None else 0.0
        leaves = exit_vergence_d(magnification, tube, vergence)
        asked = accommodation_demand_d(leaves, reference)
        if configuration.focus == "hyperfocal" and cap is None:
            asked = demand_hyperfocal_d(asked, eye.tolerance_d)
    left = min(DEFOCUS_MOST_D, defocus_left_d(asked, eye.accommodation_d))
    used = accommodation_used_d(asked, eye.accommodation_d)
    return Seen(at, magnification, tube, leaves, afocal, used, left)
