"""The device on this face as it should be, in the few numbers that a fault can change.

A fault is a changed copy of the state; :mod:`.forward` says what would then be measured. Signs as in :mod:`.types`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import Protocol

from ..configuration import Configuration
from ..optics.keplerian_field import keplerian_field
from ..person import Person
from ..plan.types import DeviceNumbers, EyeNumbers
from ..settings import Settings
from ..stock import Cap, Telescope

# The reserve of an eye that sees poorly is seldom that of normal eyes: half of the norm while it is not measured
# (common practice; TONG21 reads that way).
RESERVE_SHARE = 0.5


class Ordered(Protocol):
    """A device on a person, as far as the search for a cause needs it: an option of the plan or the choice made."""

    @property
    def configuration(self) -> Configuration:
        """How it is worn."""
        ...

    @property
    def telescope(self) -> Telescope:
        """The stock entry."""
        ...

    @property
    def cap(self) -> Cap | None:
        """The reading cap, None without one."""
        ...

    @property
    def device(self) -> DeviceNumbers:
        """Its numbers on this person."""
        ...


@dataclass(frozen=True, slots=True)
class AsRecorded:
    """The choice of the record with its numbers, whether or not the plan would still offer it."""

    configuration: Configuration
    telescope: Telescope
    cap: Cap | None
    device: DeviceNumbers


@dataclass(frozen=True, slots=True)
class Tube:
    """One tube before one eye.

    ``sphere_d`` is the sphere at the ocular that is left uncorrected, ``focus_d`` the vergence that the tube adds at
    its ocular for a distant object beyond what was ordered (plus: too long), ``cap_d`` the cap on it.
    ``magnification`` and ``tube_length_mm`` are those in use; ``tilt_*`` and ``*_mm`` are off from where the
    tube should stand.
    """

    side: str
    magnification: float
    tube_length_mm: float
    eye_distance_mm: float
    logmar: float | None
    near_logmar: float | None
    pupil_mm: float
    tolerance_d: float
    accommodation_d: float
    ametropia_d: float
    field_deg: float
    exit_pupil_mm: float
    exit_pupil_at_mm: float
    built_in_d: float
    planned_eye_mm: float
    open_field_deg: float
    sphere_d: float = 0.0
    cylinder_d: float = 0.0
    focus_d: float = 0.0
    wrong_power: float = 1.0
    out_mm: float = 0.0
    up_mm: float = 0.0
    tilt_out_deg: float = 0.0
    tilt_up_deg: float = 0.0
    cap_d: float = 0.0
    base_in_prism: float = 0.0
    refraction_cylinder_d: float = 0.0

    @property
    def outwards(self) -> float:
        """1 when outwards is to the person's right, -1 for the left eye."""
        return 1.0 if self.side == "right" else -1.0


@dataclass(frozen=True)
class State:
    """The whole device, the leading eye first, and the person's limits.

    ``answers`` replaces the chances of answers by key, ``changes`` adds to the numbers of measurements by key:
    both are for faults that no optics describes. ``hold_ratio`` is where the page is held over where it should be.
    """

    telescope: Telescope
    tubes: tuple[Tube, ...]
    bioptic_height_mm: float | None
    rotation_mm: float
    tube_tilt_deg: float
    pd_mm: float
    chart_mm: float
    hyperfocal_d: float
    working_mm: float | None
    threshold: tuple[float, float] | None
    log_cs: float
    blur_constant: float
    depth_to_pupil_mm: float
    reserves: Mapping[str, float]
    settings: Settings
    correction: str = "carrier"
    spread_mm: float = 0.0
    ordered_cap_d: float = 0.0
    ordered_prism: float = 0.0
    neck_stiff: bool = False
    needs_wide_field: bool = False
    cap_on_far: bool = False
    cap_missing: bool = False
    hold_ratio: float = 1.0
    spread_off_mm: float = 0.0
    tilt_vertical_arcmin: float = 0.0
    toe_out_arcmin: float = 0.0
    height_difference_mm: float = 0.0
    own_vertical_prism: float = 0.0
    own_horizontal_prism: float = 0.0
    slip_deg_s: float = 0.0
    light_share: float = 1.0
    changes: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))
    answers: Mapping[str, Mapping[str, float]] = field(default_factory=lambda: MappingProxyType({}))

    @property
    def two(self) -> bool:
        """Two tubes."""
        return len(self.tubes) == 2

    @property
    def lead(self) -> Tube:
        """The tube before the eye that sees better."""
        return self.tubes[0]

    @property
    def keplerian(self) -> bool:
        """A real exit pupil behind the ocular."""
        return self.telescope.type == "keplerian"

    @property
    def by_hand(self) -> bool:
        """Focused by the person: a sphere or a near chart is focused out as far as the travel goes."""
        return self.telescope.focusable

    @property
    def erect(self) -> bool:
        """The picture is upright."""
        return not self.keplerian or self.telescope.erect

    def tube(self, side: str) -> Tube:
        """The tube before one eye."""
        return next(tube for tube in self.tubes if tube.side == side)

    def with_tube(self, side: str, **changes: float) -> State:
        """One tube changed ("" or "both": every tube)."""
        return replace(
            self,
            tubes=tuple(
                replace(tube, **changes) if side in ("", "both", tube.side) else tube for tube in self.tubes
            ),
        )


def state_of(
    option: Ordered, person: Person, settings: Settings, chart_distance_mm: float | None = None
) -> State:
    """The device as ordered on this person. ``chart_distance_mm`` is the settings' distance when left out."""
    device, telescope = option.device, option.telescope
    hyperfocal = option.configuration.focus == "hyperfocal"
    built_in = option.configuration.correction in ("ocular", "objective", "refocused")
    cap = option.cap
    tubes = tuple(
        Tube(
            side=eye.side,
            magnification=eye.magnification,
            tube_length_mm=eye.tube_length_mm,
            eye_distance_mm=eye.eye_distance_mm,
            logmar=eye.logmar,
            near_logmar=eye.near_logmar,
            pupil_mm=eye.pupil_mm,
            tolerance_d=eye.tolerance_d,
            accommodation_d=eye.accommodation_d,
            ametropia_d=eye.ametropia_at_ocular_d,
            field_deg=eye.field.real_field_deg,
            exit_pupil_mm=eye.exit_pupil_diameter_mm,
            exit_pupil_at_mm=eye.exit_pupil_distance_mm,
            built_in_d=eye.ametropia_at_ocular_d if built_in else 0.0,
            planned_eye_mm=eye.eye_distance_mm,
            open_field_deg=_open_field_deg(telescope, eye),
            sphere_d=0.0 if telescope.focusable else eye.residual_sphere_d,
            cylinder_d=eye.residual_cylinder_d,
            cap_d=0.0 if cap is None else cap.power_d,
            base_in_prism=0.0 if cap is None else cap.base_in_prism,
            refraction_cylinder_d=abs(person.eye(eye.side).refraction.cylinder_d),
        )
        for eye in device.eyes
    )
    mount = device.mount
    sides = (["both"] if len(tubes) == 2 else []) + [tube.side for tube in tubes]
    near = next((found for found in (person.eye(side).near for side in sides) if found is not None), None)
    return State(
        telescope=telescope,
        tubes=tubes,
        bioptic_height_mm=mount.ocular_height_mm,
        rotation_mm=mount.rotation_distance_mm,
        tube_tilt_deg=mount.tube_tilt_deg,
        pd_mm=person.pd.total_mm,
        chart_mm=chart_distance_mm or settings.assume("chart_distance_mm"),
        hyperfocal_d=device.leading.tolerance_d if hyperfocal else 0.0,
        working_mm=None if device.cap is None else device.cap.working_distance_mm,
        threshold=(near.m_units, near.distance_mm) if near is not None and near.distance_mm else None,
        log_cs=person.eye("both" if len(tubes) == 2 else tubes[0].side).log_cs,
        blur_constant=settings.assume("blur_constant"),
        depth_to_pupil_mm=settings.assume("ocular_to_pupil_mm"),
        reserves=_reserves(person, settings),
        settings=settings,
        correction=option.configuration.correction,
        spread_mm=option.configuration.spread_mm,
        ordered_cap_d=0.0 if cap is None else cap.power_d,
        ordered_prism=0.0 if cap is None else cap.base_in_prism,
        neck_stiff=person.neck in ("stiff", "painful"),
        needs_wide_field=device.leading.field.real_field_deg < 10.0,
    )


def _open_field_deg(telescope: Telescope, eye: EyeNumbers) -> float:
    """The field without a keyhole, degrees: that of a Keplerian's stop with the eye at its exit pupil."""
    if telescope.type == "galilean" or eye.field.limited_by != "keyhole":
        return eye.field.real_field_deg
    length, power = telescope.tube_length_mm, telescope.signed_magnification
    return keplerian_field(
        power, length, telescope.objective_diameter_mm, length / abs(power), eye.pupil_mm, "half",
        telescope.field_stop_mm, telescope.ocular_diameter_mm,
    ).real_field_deg  # fmt: skip


def _reserves(person: Person, settings: Settings) -> dict[str, float]:
    """Each reserve, measured or a share of that of normal eyes, prism dioptres."""
    found = {}
    for name, norm in (
        ("vertical", "vertical_reserve_prism"),
        ("base_out_distance", "base_out_distance_prism"),
        ("base_in_distance", "base_in_distance_prism"),
        ("base_out_near", "base_out_near_prism"),
        ("base_in_near", "base_in_near_prism"),
    ):
        measured = person.reserves.get(name)
        own = RESERVE_SHARE * settings.assume(norm) if measured is None else measured.first_sign_prism
        found[name] = max(0.25, own)
    return found
