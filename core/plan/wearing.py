"""Two tubes together, where a tube sits on the face, and the cap on it: the parts of a device beside the eye itself."""

from __future__ import annotations

from math import radians, tan

from ..configuration import Configuration
from ..errors import DomainRefusal
from ..formula import formula
from ..optics.alignment import (
    AlignmentLimits,
    height_mismatch_for_prism_mm,
    magnification_difference_percent,
    tilt_tolerances,
)
from ..optics.binocular_field import (
    centre_separation_decentred_deg,
    overlap_field_decentred_deg,
    overlap_field_deg,
    toe_out_vergence_prism,
    union_field_deg,
)
from ..optics.caps import (
    cap_equivalent_power_d,
    cap_evd_mm,
    cap_far_edge_mm,
    cap_near_edge_mm,
    cap_working_distance_mm,
    cap_working_distance_uncorrected_mm,
    magnification_re_distance,
)
from ..optics.convergence import (
    cap_base_in_full_prism,
    convergence_converged_tubes_prism,
    convergence_with_caps_prism,
    toe_in_angle_deg,
)
from ..optics.field import (
    linear_field_mm,
    rotation_distance_mm,
)
from ..optics.focus import evd_mm
from ..optics.mounting import (
    bifocal_clearance_mm,
    gaze_elevation_deg,
    head_drop_deg,
    head_drop_to_field_centre_deg,
    least_lens_height_mm,
    least_ocular_height_mm,
    off_axis_deg,
    tube_to_lens_normal_deg,
)
from ..stock import Cap, Telescope
from .context import Context, EyeIn
from .formulas import (
    as_recorded,
    interocular_difference_logmar,
)
from .tube_field import UNCORRECTED_LEAST_D, Infeasible
from .types import (
    CapNumbers,
    EyeNumbers,
    MountNumbers,
    PairNumbers,
)
from .words import said


def pair_numbers(
    context: Context, telescope: Telescope, eyes: tuple[EyeNumbers, ...], spread_mm: float
) -> PairNumbers:
    """Two tubes of the same kind, parallel, each decentred outwards by ``spread_mm``."""
    first, second = eyes
    person, figures = context.person, context.figures
    field = first.field.real_field_deg
    separation = 0.0
    if telescope.type == "galilean" and spread_mm > 0.0:
        try:
            separation = centre_separation_decentred_deg(
                first.magnification,
                first.tube_length_mm,
                telescope.objective_diameter_mm,
                first.eye_distance_mm,
                spread_mm,
            )
        except DomainRefusal:
            separation = 0.0
    limits = AlignmentLimits(
        as_recorded(figures.vertical_limit_arcmin),
        as_recorded(figures.convergent_limit_arcmin),
        as_recorded(figures.divergent_limit_arcmin),
    )
    tilt = tilt_tolerances(first.magnification, limits)
    right, left = (first, second) if first.side == "right" else (second, first)
    difference = None
    if first.logmar is not None and second.logmar is not None:
        difference = interocular_difference_logmar(right.logmar, left.logmar)  # type: ignore[arg-type]
    return PairNumbers(
        interpupillary_mm=as_recorded(person.pd.total_mm),
        spread_mm=spread_mm,
        union_field_deg=union_field_deg(field, separation),
        overlap_field_deg=_overlap_deg(telescope, first, spread_mm, separation),
        centre_separation_deg=separation,
        toe_out_vergence_for_same_union_prism=toe_out_vergence_prism(first.magnification, separation)
        if separation > 0.0
        else 0.0,
        vertical_tilt_tolerance_arcmin=tilt.vertical_arcmin,
        convergent_tilt_tolerance_arcmin=tilt.toe_out_arcmin,
        divergent_tilt_tolerance_arcmin=tilt.toe_in_arcmin,
        aniseikonia_percent=magnification_difference_percent(right.magnification, left.magnification),
        interocular_difference_logmar=difference,
    )


def _overlap_deg(telescope: Telescope, eye: EyeNumbers, spread_mm: float, separation_deg: float) -> float:
    """What both eyes share: exact where the objective limits the field, else the field less the separation."""
    if separation_deg > 0.0 and eye.field.limited_by == "objective" and eye.tube_shortening_mm == 0.0:
        try:
            return overlap_field_decentred_deg(
                eye.magnification,
                eye.tube_length_mm,
                telescope.objective_diameter_mm,
                eye.eye_distance_mm,
                spread_mm,
            )
        except DomainRefusal:
            return 0.0
    field = eye.field.real_field_deg
    return overlap_field_deg(field, separation_deg) if separation_deg <= field else 0.0


def mount_numbers(
    context: Context, telescope: Telescope, configuration: Configuration, lead: EyeNumbers, eye: EyeIn
) -> MountNumbers:
    """Where the tube sits on this face."""
    person, figures = context.person, context.figures
    bioptic = configuration.position == "bioptic"
    tilt = 0.0
    if bioptic:
        tilt = as_recorded(wanted_tilt_deg(context, telescope))
    rotation = rotation_distance_mm(lead.ocular_to_cornea_mm, figures.rotation_centre_mm)
    common = {
        "tube_tilt_deg": tilt,
        "pantoscopic_deg": as_recorded(person.pantoscopic_deg),
        "tube_to_lens_normal_deg": tube_to_lens_normal_deg(tilt, person.pantoscopic_deg),
        "rotation_distance_mm": rotation,
        "b_size_mm": as_recorded(person.b_size_mm),
    }
    if not bioptic:
        return MountNumbers(**common)
    height = least_ocular_height_mm(telescope.housing_radius_mm, eye.pupil_mm, figures.clearance_mm)
    seen = abs(lead.magnification)
    try:
        drop = head_drop_deg(height, rotation, tilt, seen)
        angle = off_axis_deg(height, rotation, tilt)
        centre = None
        if telescope.type == "galilean":
            centre = head_drop_to_field_centre_deg(height, rotation, tilt, seen, lead.tube_length_mm)
    except DomainRefusal as refusal:
        raise Infeasible("tilt out of range", said(refusal)) from None
    room = None
    if person.segment_height_mm is not None:
        room = bifocal_clearance_mm(
            height, telescope.housing_radius_mm, person.segment_height_mm - eye.pupil_height_mm
        )
    return MountNumbers(
        **common,
        ocular_height_mm=height,
        gaze_elevation_deg=gaze_elevation_deg(height, rotation),
        head_drop_deg=drop,
        head_drop_to_field_centre_deg=centre,
        least_lens_height_mm=least_lens_height_mm(
            eye.pupil_height_mm, height, telescope.housing_radius_mm, figures.rim_mm
        ),
        off_axis_deg=angle,
        segment_clearance_mm=room,
    )


def wanted_tilt_deg(context: Context, telescope: Telescope) -> float:
    """Tilt of a bioptic tube: the one wanted, else the usual one inside what the telescope allows."""
    wanted = context.person.tube_tilt_deg
    if wanted is not None:
        return wanted
    return min(telescope.tilt_highest_deg, max(telescope.tilt_lowest_deg, context.figures.tube_tilt_deg))


def cap_numbers(
    context: Context, telescope: Telescope, cap: Cap, lead: EyeNumbers, two: bool, spread_mm: float = 0.0
) -> CapNumbers:
    """The cap on this tube before this eye. Raises :class:`Infeasible` when this eye can see nothing through it.

    What parallel tubes ask goes by the distance between their axes: the PD and the outward spread of both.
    """
    power, magnification, tube = cap.power_d, lead.magnification, lead.tube_length_mm
    left = lead.residual_sphere_d
    plain = cap_working_distance_mm(power)
    uncorrected: float | None = None
    evd_there: float | None = None
    pd_mm = context.person.pd.total_mm
    apart_mm = tubes_apart_mm(pd_mm, spread_mm) if two and spread_mm else pd_mm
    # What the same cap does with the ametropia left uncorrected is shown beside it, whether it is left so or not.
    bare = lead.ametropia_at_ocular_d
    try:
        if abs(bare) >= UNCORRECTED_LEAST_D:
            uncorrected = cap_working_distance_uncorrected_mm(magnification, tube, power, bare)
            evd_there = evd_mm(magnification, tube, uncorrected, lead.eye_distance_mm, power)
    except DomainRefusal as refusal:
        if left != 0.0:
            raise Infeasible("nothing clear", said(refusal)) from None
        uncorrected = evd_there = None
    near = _edge(cap_near_edge_mm, magnification, tube, power, lead, left)
    far = _edge(cap_far_edge_mm, magnification, tube, power, lead, left)
    working = plain if uncorrected is None or left == 0.0 else uncorrected
    strength = cap_equivalent_power_d(magnification, power)
    target = working + tube
    rotation = rotation_distance_mm(lead.ocular_to_cornea_mm, context.figures.rotation_centre_mm)
    return CapNumbers(
        power_d=as_recorded(power),
        working_distance_corrected_mm=plain,
        working_distance_uncorrected_mm=uncorrected,
        working_distance_mm=working,
        equivalent_power_d=strength,
        evd_mm=cap_evd_mm(magnification, power),
        evd_uncorrected_mm=evd_there,
        magnification_re_250=magnification_re_distance(strength, 250.0),
        magnification_re_400=magnification_re_distance(strength, 400.0),
        clear_from_mm=near,
        clear_to_mm=far,
        depth_mm=None if near is None or far is None else cap_depth_between_mm(near, far),
        linear_field_at_cap_focus_mm=linear_field_mm(plain, lead.field.real_field_deg),
        convergence_parallel_tubes_prism=convergence_with_caps_prism(magnification, power, apart_mm),
        base_in_full_prism=cap_base_in_full_prism(power, apart_mm) if two else None,
        toe_in_deg=toe_in_angle_deg(pd_mm, target, rotation) if two else None,
        convergence_converged_tubes_prism=convergence_converged_tubes_prism(pd_mm, target, rotation)
        if two
        else None,
        height_mismatch_for_15_arcmin_mm=height_mismatch_for_prism_mm(
            magnification, tube, power, lead.eye_distance_mm, FIFTEEN_ARCMIN_PRISM
        ),
    )


# 100 tan(15'), the vertical step that instruments are allowed at the eye (TONKIN).
FIFTEEN_ARCMIN_PRISM = 100.0 * tan(radians(0.25))


@formula("PD + 2 × spread", unit="mm", source="", kind="derived", domain="parallel tubes")
def tubes_apart_mm(interpupillary_mm: float, spread_mm: float) -> float:
    """Distance between the axes of two parallel tubes, each decentred outwards by the spread, mm."""
    return interpupillary_mm + 2.0 * spread_mm


@formula("far edge − near edge", unit="mm", source="", kind="derived", domain="both finite")
def cap_depth_between_mm(near_edge_mm: float, far_edge_mm: float) -> float:
    """Depth of the clear range with a cap, mm."""
    return far_edge_mm - near_edge_mm


def _edge(
    compute, magnification: float, tube: float, power: float, lead: EyeNumbers, left: float
) -> float | None:
    try:
        return compute(magnification, tube, power, lead.tolerance_d, lead.accommodation_d, left)
    except DomainRefusal:
        return None
