"""The person as the plan computes with it: both eyes with thresholds and tolerances, and the figures in force.

Made once a plan from the person and the settings; frozen and hashable, so that results can be kept by them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, NamedTuple

from ..acuity import Notation, on_chart
from ..acuity_scale import mar_arcmin
from ..configuration import EyeChoice
from ..errors import Refusal
from ..optics.blur import tolerated_defocus_d
from ..person import Eye, Person
from ..print_size import NearPrint, logmar_of_near_print
from ..settings import WEIGHTS, Settings
from .formulas import as_recorded, threshold_print_from_acuity_m_units

Side = Literal["right", "left"]

# Under these a lens changes nothing that the person would notice (common practice).
SPHERE_WORTH_CORRECTING_D = 0.125
CYLINDER_WORTH_CORRECTING_D = 0.25
VERTEX_NEEDED_OVER_D = 10.0
READING_DISTANCE_MM = 400.0
# Print sizes nearer than a fifth of a chart line are read alike.
READS_ALIKE = 10.0**-0.02
LETTERS = "estimated from letter acuity"


class Figures(NamedTuple):
    """The assumptions in force that every outcome leans on, read from the settings once, and how acuities are said."""

    blur_constant: float
    tolerance_lowest_d: float
    tolerance_highest_d: float
    tolerated_loss_logmar: float
    cr95_logmar: float
    cr95_print_logmar: float
    character_pitch_mm: float
    contrast_reserve_warn: float
    contrast_reserve_caution: float
    contrast_loss_per_log: float
    light_loss_per_halving_logmar: float
    vor_gain: float
    slip_tolerated_deg_s: float
    ocular_to_pupil_mm: float
    rotation_centre_mm: float
    clearance_mm: float
    rim_mm: float
    tube_tilt_deg: float
    interocular_rule_logmar: float
    vertical_limit_arcmin: float
    convergent_limit_arcmin: float
    divergent_limit_arcmin: float
    base_out_distance_prism: float
    base_out_near_prism: float
    vertical_reserve_prism: float
    magnification_difference_percent: float
    weights: tuple[float, ...]
    acuity_notation: Notation


WEIGHT_NAMES = tuple(WEIGHTS)
_NOT_ASSUMED = ("weights", "acuity_notation")


def figures_of(settings: Settings) -> Figures:
    """The figures in force by these settings."""
    own = {name: settings.assume(name) for name in Figures._fields if name not in _NOT_ASSUMED}
    weights = tuple(settings.weight(name) for name in WEIGHT_NAMES)
    return Figures(**own, weights=weights, acuity_notation=settings.acuity_notation)


class Seeing(NamedTuple):
    """What an eye itself sees with, wherever it stands and whatever is worn before it; as in :class:`EyeIn`."""

    near_m_units: float | None
    near_distance_mm: float
    pupil_mm: float
    dim_pupil_mm: float
    accommodation_d: float
    mar_arcmin: float
    mar_of_print_arcmin: float
    tolerance_d: float
    tolerance_dim_d: float


@dataclass(frozen=True, slots=True)
class EyeIn:
    """One eye for planning. ``closed`` says why it cannot be computed with, "" when it can.

    ``near_m_units`` at ``near_distance_mm`` is threshold print; ``near_from`` says what it was taken from where this
    eye did not read it at a known distance, "" where it did.
    ``mar_arcmin`` is by letters, ``mar_of_print_arcmin`` by that print: blur is weighed against what is looked at.
    ``tolerance_d`` holds for the room pupil, ``tolerance_dim_d`` for the pupil in dim light.
    """

    side: Side
    closed: str
    logmar: float | None
    near_m_units: float | None
    near_distance_mm: float
    near_logmar: float | None
    near_from: str
    log_cs: float
    sphere_d: float
    cylinder_d: float
    strongest_d: float
    refraction_vertex_mm: float
    vertex_mm: float
    vertex_known: bool
    ocular_to_cornea_mm: float | None
    needs_correction: bool
    pupil_mm: float
    dim_pupil_mm: float
    accommodation_d: float
    mar_arcmin: float
    mar_of_print_arcmin: float
    tolerance_d: float
    tolerance_dim_d: float
    visual_field_deg: float | None
    scotoma_deg: float | None
    pupil_height_mm: float
    pupil_height_known: bool

    @property
    def near_estimated(self) -> bool:
        """Whether threshold print, or its distance, had to be estimated."""
        return bool(self.near_from)

    @property
    def usable(self) -> bool:
        """Whether it sees and was measured."""
        return not self.closed

    @property
    def seeing(self) -> Seeing:
        """What it sees with."""
        return Seeing(
            self.near_m_units, self.near_distance_mm, self.pupil_mm, self.dim_pupil_mm, self.accommodation_d,
            self.mar_arcmin, self.mar_of_print_arcmin, self.tolerance_d, self.tolerance_dim_d,
        )  # fmt: skip


def eye_in(person: Person, side: Side, figures: Figures) -> EyeIn:
    """One eye for planning; never raises: what forbids arithmetic stands in ``closed``."""
    eye = person.eye(side)
    closed = _closed(eye)
    logmar = None if eye.logmar is None else as_recorded(eye.logmar)
    near_m, near_at, near_logmar, near_from = _near(person, eye, logmar)
    reference = logmar if logmar is not None else near_logmar
    mar = 1.0 if reference is None else min(1000.0, max(0.1, mar_arcmin(reference)))
    lens = eye.refraction
    room, dim = (
        tolerated_defocus_d(
            mar,
            pupil,
            figures.blur_constant,
            figures.tolerated_loss_logmar,
            figures.tolerance_lowest_d,
            max(figures.tolerance_lowest_d, figures.tolerance_highest_d),
        )
        for pupil in (eye.pupil_mm, eye.pupil_dim_mm)
    )
    return EyeIn(
        side=side,
        closed=closed,
        logmar=logmar,
        near_m_units=near_m,
        near_distance_mm=near_at,
        near_logmar=near_logmar,
        near_from=near_from,
        log_cs=as_recorded(eye.log_cs),
        sphere_d=lens.spherical_equivalent_d,
        cylinder_d=abs(lens.cylinder_d),
        strongest_d=lens.strongest_meridian_d,
        refraction_vertex_mm=as_recorded(person.refraction_vertex_mm),
        vertex_mm=as_recorded(person.vertex_mm),
        vertex_known="test.refraction_vertex" not in person.assumed,
        ocular_to_cornea_mm=person.ocular_to_cornea_mm,
        needs_correction=abs(lens.spherical_equivalent_d) >= SPHERE_WORTH_CORRECTING_D
        or abs(lens.cylinder_d) >= CYLINDER_WORTH_CORRECTING_D,
        pupil_mm=as_recorded(eye.pupil_mm),
        dim_pupil_mm=as_recorded(eye.pupil_dim_mm),
        accommodation_d=as_recorded(eye.accommodation_d),
        mar_arcmin=mar,
        mar_of_print_arcmin=mar if near_m is None else min(1000.0, max(0.1, 1000.0 * near_m / near_at)),
        tolerance_d=room,
        tolerance_dim_d=dim,
        visual_field_deg=eye.visual_field_deg,
        scotoma_deg=eye.scotoma_deg,
        pupil_height_mm=as_recorded(eye.pupil_height_mm),
        pupil_height_known=f"face.pupil_height_{side}" not in person.assumed,
    )


def _closed(eye: Eye) -> str:
    if eye.off_chart is not None:
        try:
            on_chart(eye.off_chart)
        except Refusal as refusal:
            return f"{eye.side.capitalize()} eye {eye.off_chart}: {refusal.reason}."
    if eye.logmar is None and eye.near is None:
        return f"No acuity is recorded for the {eye.side} eye: measure it."
    return ""


def _near(person: Person, eye: Eye, logmar: float | None) -> tuple[float | None, float, float | None, str]:
    """Threshold print, its distance, its logMAR, and from what it had to be estimated ("" where it was read)."""
    near = eye.near
    if near is not None and near.distance_mm is not None:
        return near.m_units, near.distance_mm, near.logmar, ""
    if near is not None:
        # Print without a distance was read at the usual one unless the record says otherwise.
        return (
            near.m_units,
            READING_DISTANCE_MM,
            None if logmar is None else logmar,
            "read at 40 cm, as none is given",
        )
    if person.both.near is not None:
        return _near_of_both(person, person.both.near, logmar)
    if logmar is None:
        return None, READING_DISTANCE_MM, None, ""
    print_m = threshold_print_from_acuity_m_units(logmar, READING_DISTANCE_MM)
    return print_m, READING_DISTANCE_MM, logmar, LETTERS


def _near_of_both(
    person: Person, near: NearPrint, logmar: float | None
) -> tuple[float | None, float, float | None, str]:
    """Print that was read with both eyes: the better one's, and the other's by as much as its letters are worse."""
    at = READING_DISTANCE_MM if near.distance_mm is None else near.distance_mm
    seen = [other.logmar for other in (person.right, person.left) if other.logmar is not None]
    worse = 0.0 if logmar is None or not seen else logmar - min(seen)
    size = near.m_units * 10.0**worse
    return size, at, logmar_of_near_print(at, size), "from what both eyes read together"


@dataclass(frozen=True, slots=True)
class Context:
    """A person ready for planning."""

    person: Person
    figures: Figures
    right: EyeIn
    left: EyeIn
    both_logmar: float | None
    both_log_cs: float

    def logmar(self, choice: EyeChoice, lead: EyeIn) -> float | None:
        """The acuity to predict from: both eyes together where measured, else that of the leading eye."""
        return self.both_logmar if choice == "both" and self.both_logmar is not None else lead.logmar

    def log_cs(self, choice: EyeChoice, lead: EyeIn) -> float:
        """The contrast sensitivity to reckon with."""
        return self.both_log_cs if choice == "both" else lead.log_cs

    def eye(self, side: Side) -> EyeIn:
        """The right eye or the left."""
        return self.right if side == "right" else self.left

    @property
    def leading(self) -> Side:
        """The eye that sees better; of two alike the dominant one, or what else decides; the right one at last."""
        right, left = self.right, self.left
        if not (right.usable and left.usable):
            return "left" if left.usable and not right.usable else "right"
        if (right.logmar is None) is not (left.logmar is None):
            # Print of one eye says nothing beside letters of the other: the eye whose letters are known leads.
            return "left" if right.logmar is None else "right"
        first, second = (_best(eye) for eye in (right, left))
        if abs(first - second) < 0.02:
            if abs(right.log_cs - left.log_cs) >= 0.15:
                return "right" if right.log_cs > left.log_cs else "left"
            return self._of_alike()
        return "right" if first < second else "left"

    def _of_alike(self) -> Side:
        """Of two eyes with like letters and contrast: the dominant one, else that of finer print or a wider field."""
        if self.person.dominance in ("right", "left"):
            return "left" if self.person.dominance == "left" else "right"
        for side in ("right", "left"):
            if self.reads_smaller_print(side):
                return side
        fields = (self.right.visual_field_deg, self.left.visual_field_deg)
        if fields[0] is not None and fields[1] is not None and fields[0] != fields[1]:
            return "right" if fields[0] > fields[1] else "left"
        return "right"

    def reads_smaller_print(self, side: Side) -> bool:
        """Whether print was read with either eye, and smaller print with this one."""
        own, other = (
            _print_angle(self.eye(side)),
            _print_angle(self.eye("left" if side == "right" else "right")),
        )
        return own is not None and other is not None and own < READS_ALIKE * other

    @property
    def reading(self) -> Side:
        """The eye that reads smaller print, where print was read with either; else the one that leads."""
        found: list[tuple[float, Side]] = [
            (eye.near_m_units / eye.near_distance_mm, eye.side)
            for eye in (self.right, self.left)
            if eye.usable and eye.near_m_units is not None
        ]
        if len(found) < 2 or self.right.near_estimated or self.left.near_estimated:
            return found[0][1] if len(found) == 1 else self.leading
        (first, better), (second, _) = sorted(found)
        return better if first < READS_ALIKE * second else self.leading

    def first_eye(self, only_print: bool) -> Side:
        """The eye that one tube goes before: for print alone the one that reads better, else the one that leads."""
        return self.reading if only_print else self.leading

    def order(self, sides: tuple[Side, ...]) -> tuple[Side, ...]:
        """Those eyes, the leading one first."""
        lead = self.leading
        return tuple(sorted(sides, key=lambda side: side != lead))


def _print_angle(eye: EyeIn) -> float | None:
    """The print that an eye was found to read over its distance; None where it was not read by this eye."""
    if eye.near_m_units is None or eye.near_from:
        return None
    return eye.near_m_units / eye.near_distance_mm


def _best(eye: EyeIn) -> float:
    value = eye.logmar if eye.logmar is not None else eye.near_logmar
    return 9.0 if value is None else value


def context_of(person: Person, settings: Settings) -> Context:
    """The context of a person by these settings."""
    figures = figures_of(settings)
    right, left = (eye_in(person, side, figures) for side in ("right", "left"))
    return Context(person, figures, right, left, person.both.logmar, person.both.log_cs)
