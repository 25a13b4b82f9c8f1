"""One eye behind one tube, and the caps on it, in bare arithmetic: the rules of :mod:`.device` for the ranking."""

from __future__ import annotations

from collections.abc import Sequence
from math import inf, pi, tan
from typing import NamedTuple

from ..configuration import Correction
from ..optics._domain import M_LEAST, POLE_MARGIN
from ..stock import Cap, Telescope
from .context import EyeIn
from .device import IN_FRONT_GAP_MM
from .tube_field import KEYHOLE_LEAST_SHARE, UNCORRECTED_LEAST_D
from .types import RefusalCode

# With a full lens behind the tube, or at its ocular, the light from the tube is the same for every eye.
LENS_CORRECTIONS: tuple[Correction, ...] = ("carrier", "ocular")


# An object at which less than this arrives lies too far to be called a distance: there is no such end of what is clear.
WEAKEST_VERGENCE_D = 0.05


class Tube(NamedTuple):
    """A telescope's numbers that hang on nothing else."""

    signed: float
    length_mm: float
    objective_mm: float
    ocular_mm: float | None
    objective_d: float
    ocular_d: float
    transmittance: float
    exit_pupil_mm: float | None
    galilean: bool
    focusable: bool
    shortest_mm: float
    longest_mm: float
    stop_slope: float | None
    measured_slope: float | None
    behind_mm: float


def tube_of(telescope: Telescope) -> Tube:
    """The numbers of a telescope."""
    signed, length = telescope.signed_magnification, telescope.tube_length_mm
    galilean = telescope.type == "galilean"
    stop = None
    if not galilean:
        size = -signed
        objective_focus = length * size / (size + 1.0)
        slopes = []
        if telescope.field_stop_mm is not None:
            slopes.append(telescope.field_stop_mm / (2.0 * objective_focus))
        if telescope.ocular_diameter_mm is not None:
            # Rim of the ocular by the ray through the middle of the objective, as an angle taken for its tangent.
            slopes.append(telescope.ocular_diameter_mm / (2.0 * (objective_focus + length / (size + 1.0))))
        stop = min(slopes) if slopes else None
    measured = telescope.measured_field_deg
    passes = telescope.transmittance
    if passes is None:
        passes = (1.0 - telescope.surface_reflectance) ** telescope.surfaces
    ocular = 1000.0 * (1.0 - signed) / length
    return Tube(
        signed,
        length,
        telescope.objective_diameter_mm,
        telescope.ocular_diameter_mm,
        -ocular / signed,
        ocular,
        passes,
        telescope.measured_exit_pupil_mm,
        galilean,
        telescope.focusable,
        telescope.shortest_tube_mm or length,
        telescope.longest_tube_mm or length,
        stop,
        None if measured is None else tan(measured * pi / 360.0),
        telescope.ocular_behind_carrier_mm,
    )


class QuickEye(NamedTuple):
    """One eye behind one tube, as the outcomes need it: the optics, and then what hangs on the eye's place too."""

    m: float
    t: float
    exit_pupil_mm: float
    transmittance: float
    cylinder_quarter: float
    sphere_left: float
    objective_lens: float
    reference: float
    focusable: bool
    nearest_mm: float
    lends: float
    objective_d: float
    ocular_d: float
    distance_mm: float
    tan_real: float
    tan_apparent: float

    @property
    def optics(self) -> tuple[float, ...]:
        """What does not hang on where the eye stands behind the tube."""
        return self[:13]


def ocular_at_mm(eye: EyeIn, tube: Tube, front: bool) -> float:
    """Ocular to cornea, mm, behind the carrier or in front of it."""
    if eye.ocular_to_cornea_mm is not None:
        return eye.ocular_to_cornea_mm
    behind = min(tube.behind_mm, -IN_FRONT_GAP_MM) if front else tube.behind_mm
    return max(1.0, eye.vertex_mm - behind)


def ametropia_d(eye: EyeIn, ocular_at: float) -> float | None:
    """The ametropia at the ocular, D; None where it cannot be carried there."""
    bend = 1.0 - eye.refraction_vertex_mm * eye.sphere_d / 1000.0
    if bend <= POLE_MARGIN:
        return None
    cornea = eye.sphere_d / bend
    bend = 1.0 + ocular_at * cornea / 1000.0
    return cornea / bend if bend > POLE_MARGIN else None


def quick_eye(
    eye: EyeIn, tube: Tube, correction: Correction, at: float, ametropia: float, to_pupil_mm: float
) -> QuickEye | RefusalCode:
    """One eye behind one tube that stands ``at`` mm from the cornea, or the code of why not.

    With the correction in :data:`LENS_CORRECTIONS` nothing in it hangs on the refraction.
    """
    (
        m, length, objective_mm, ocular_mm, objective, ocular, transmittance, exit_pupil_mm, galilean, focusable,
        shortest_mm, longest_mm, stop_slope, measured_slope, _,
    ) = tube  # fmt: skip
    t = length
    left = lens = reference = lends = 0.0
    if correction == "refocused" or (correction == "none" and focusable):
        lends = ametropia
        lent = ocular - ametropia
        if lent / ocular <= POLE_MARGIN:
            return "refocusing range"
        t = 1000.0 / objective + 1000.0 / lent
        if not shortest_mm <= t <= longest_mm:
            return "refocusing range"
        m = -lent / objective
    elif correction == "objective":
        share = 1.0 + t * ametropia / (1000.0 * m)
        if share <= POLE_MARGIN:
            return "ametropia"
        if eye.needs_correction:
            lens, reference = ametropia / (m * m * share), ametropia
    elif correction == "none" and abs(ametropia) >= UNCORRECTED_LEAST_D:
        left = reference = ametropia
    if abs(m) < M_LEAST:
        return "optics"
    d = at + to_pupil_mm
    if abs(t - length) > 1e-9:
        place = 1000.0 / (ocular - 1000.0 / t)
        size = objective_mm * abs(place) / t
    else:
        place = -t / m
        size = objective_mm / abs(m)
    if exit_pupil_mm is not None:
        size = exit_pupil_mm
    power = abs(m)
    if galilean:
        if t == length or abs(t - length) <= 1e-9:
            apparent = objective_mm / (2.0 * (t + m * d))
            real = apparent / m
        else:
            a, c = 1.0 - t * objective / 1000.0, -(objective + ocular - t * objective * ocular / 1000.0)
            spread, reach = a + 0.001 * d * c, t + d * (1.0 - t * ocular / 1000.0)
            if not (spread > 0.0 and reach > 0.0):
                return "optics"
            real = spread * objective_mm / (2.0 * reach)
            apparent = real / spread
        if ocular_mm is not None:
            allowed = ocular_mm / (2.0 * d)
            if allowed < apparent:
                apparent, real = allowed, allowed / m
        if measured_slope is not None:
            real = measured_slope
            apparent = power * real
    else:
        if stop_slope is None:
            return "optics"
        real = stop_slope if measured_slope is None else measured_slope
        apparent = power * real
        offset = d - place
        if abs(offset) > 1e-6:
            keyhole = size / (2.0 * abs(offset))
            if keyhole < KEYHOLE_LEAST_SHARE * apparent:
                return "exit pupil blackout"
            if keyhole < apparent and measured_slope is None:
                real, apparent = keyhole / power, keyhole
    nearest = 0.0
    if focusable:
        gap = longest_mm - 1000.0 / (ocular - lends)
        if gap <= 0.0:
            return "optics"
        needed = objective - 1000.0 / gap
        nearest = 1e7 if needed <= 1e-4 else 1000.0 / needed
    half = 0.0 if correction in LENS_CORRECTIONS else 0.5 * eye.cylinder_d
    return QuickEye(
        m, t, size, transmittance, half * half, left, lens, reference, focusable, nearest, lends, objective,
        ocular, d, real, apparent,
    )  # fmt: skip


class CapState(NamedTuple):
    """A cap on a tube before an eye: where it works."""

    power_d: float
    working_mm: float
    corrected_mm: float
    base_in_prism: float


class Row(NamedTuple):
    """One telescope before one eye with one correction, one cap (or none) and one focus setting.

    ``merged`` rows stand for tubes behind and in front of the carrier alike.
    """

    telescope: int
    correction: Correction
    front: bool
    merged: bool
    cap: int
    state: CapState | None
    hyperfocal: bool


class Bad(NamedTuple):
    """What cannot be used: the reason stands for ``states`` settings in every place of its kind."""

    telescope: int
    correction: Correction
    front: bool
    merged: bool
    cap: int
    code: RefusalCode
    states: int


class Settings(NamedTuple):
    """The rows of a variant, the first without a cap and set for infinity, and what of its settings cannot be used.

    The rows after the first ``plains`` have the caps of ``caps`` on.
    """

    rows: tuple[Row, ...]
    plains: int
    caps: tuple[CapState, ...]
    bad: tuple[Bad, ...]


class Variant(NamedTuple):
    """A tube before an eye with one correction, in all its settings."""

    q: QuickEye
    settings: Settings

    @property
    def rows(self) -> tuple[Row, ...]:
        """The rows, the first without a cap and set for infinity."""
        return self.settings.rows


# The near and the far end of something.
Ends = tuple[float, float]


def clear_between(accommodation_d: float, tolerance_d: float, q: QuickEye, hyperfocal: bool) -> Ends:
    """Near and far end of what is clear without a cap, mm; both infinite where nothing is."""
    if q.focusable:
        return q.nearest_mm, inf
    offset = tolerance_d if hyperfocal else 0.0
    near = q.sphere_left - accommodation_d - tolerance_d - offset
    far = q.sphere_left + tolerance_d - offset
    m, t = q.m, q.t
    least = -1e-9 * m * m
    if near > least:
        return inf, inf
    far_mm = inf
    if far <= least:
        far_mm = -m * (1000.0 * m / far + t)
        if far_mm <= 1.0:
            return inf, inf
    return max(1.0, -m * (1000.0 * m / near + t)), far_mm


def cap_state(q: QuickEye, cap: Cap) -> CapState | RefusalCode:
    """A cap on this tube before this eye, or why nothing is clear through it."""
    m, t, power = q.m, q.t, cap.power_d
    plain = 1000.0 / power
    working = plain
    if q.sphere_left != 0.0:
        share = 1.0 + t * q.sphere_left / (1000.0 * m)
        if share <= POLE_MARGIN:
            return "nothing clear"
        needed = power - q.sphere_left / (m * m * share)
        if needed < WEAKEST_VERGENCE_D:
            return "nothing clear"
        working = 1000.0 / needed
        b = working / m + (1.0 - power * working / 1000.0) * (t + m * q.distance_mm)
        if abs(b) < 1.0:
            return "nothing clear"
    return CapState(power, working, plain, cap.base_in_prism)


def edge_vergences(accommodation_d: float, tolerance_d: float, q: QuickEye) -> Ends:
    """Vergence before the tube at the near and the far end of what is clear with any cap, D; infinite beyond it."""
    near, far = q.sphere_left - accommodation_d - tolerance_d, q.sphere_left + tolerance_d
    bending, squared = q.t / (1000.0 * q.m), q.m * q.m
    near_share, far_share = 1.0 + bending * near, 1.0 + bending * far
    return (
        near / (squared * near_share) if near_share > POLE_MARGIN else inf,
        far / (squared * far_share) if far_share > POLE_MARGIN else inf,
    )


# What is clear to an eye: vergence before the tube at the near and at the far end of what is clear with any cap, D;
# near and far end without a cap, mm, set for infinity and set hyperfocal. An end that does not exist is infinite.
Clear = tuple[float, float, Ends, Ends]


def clears(variants: Sequence[Variant], accommodation_d: float, tolerance_d: float) -> list[Clear]:
    """What is clear through each variant to an eye of this accommodation and tolerated defocus, D."""
    found: list[Clear] = []
    for variant in variants:
        q = variant.q
        infinity = clear_between(accommodation_d, tolerance_d, q, False)
        beyond = (
            clear_between(accommodation_d, tolerance_d, q, True) if variant.settings.plains > 1 else infinity
        )
        found.append((*edge_vergences(accommodation_d, tolerance_d, q), infinity, beyond))
    return found
