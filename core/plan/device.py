"""A configuration on this person without a goal: each eye behind its tube, the pair, the mounting and the cap.

Everything goes through the declared formulas, so that each number has a working. What the optics or the clinic
forbids is raised as :class:`Infeasible` with the name of the reason.
"""

from __future__ import annotations

from math import atan, degrees, radians, tan

from ..configuration import Configuration, Correction, Mount
from ..errors import DomainRefusal, Refusal
from ..formula import formula
from ..optics.alignment import (
    AlignmentLimits,
    height_mismatch_for_prism_mm,
    magnification_difference_percent,
    tilt_tolerances,
)
from ..optics.ametropia import (
    ametropia_at_ocular_d,
    objective_correction_d,
    refocus,
    refocused_exit_pupil_diameter_mm,
    refraction_at_cornea_d,
)
from ..optics.binocular_field import (
    centre_separation_decentred_deg,
    housing_extent_deg,
    overlap_field_decentred_deg,
    overlap_field_deg,
    ring_outer_diameter_deg,
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
    eye_distance_mm,
    field_of_fixation_deg,
    linear_field_mm,
    ocular_limit_deg,
    real_field_deg,
    rotation_distance_mm,
)
from ..optics.field_general import apparent_field_general_deg, real_field_general_deg
from ..optics.field_of_view import field_in_use, galilean_field
from ..optics.focus import clear_range, evd_mm, near_limit_mm
from ..optics.keplerian_field import keplerian_field, keyhole_slope
from ..optics.light import relative_brightness, transmittance_of_surfaces
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
from ..optics.rays import RayMatrix
from ..optics.telescope import (
    exit_pupil_diameter_mm,
    exit_pupil_distance_mm,
    objective_focal_length_mm,
    objective_power_d,
    ocular_focal_length_mm,
    ocular_power_d,
)
from ..stock import Cap, Filter, Telescope
from .context import VERTEX_NEEDED_OVER_D, Context, EyeIn
from .formulas import (
    as_recorded,
    eye_offset_mm,
    interocular_difference_logmar,
    ocular_to_cornea_from_vertex_mm,
    transmittance_with_filter,
    tube_shortening_mm,
)
from .types import (
    CapNumbers,
    DeviceNumbers,
    EyeNumbers,
    FieldNumbers,
    MountNumbers,
    PairNumbers,
    RefusalCode,
)

# A tube in front of the person's own lens stands at least this far before its back surface (common practice).
IN_FRONT_GAP_MM = 2.0
FRONT_MOUNTS: tuple[Mount, ...] = ("in front", "flip-up", "clip-on")
# With less than this part of the apparent field left at the keyhole nothing useful is seen (common practice).
KEYHOLE_LEAST_SHARE = 0.35
# Under this an uncorrected ametropia moves no working distance that could be measured.
UNCORRECTED_LEAST_D = 0.01


class Infeasible(Exception):
    """A configuration that cannot be used: the code of the reason and a sentence."""

    def __init__(self, code: RefusalCode, reason: str) -> None:
        super().__init__(reason)
        self.code: RefusalCode = code
        self.reason = reason


def lends_to_tube(telescope: Telescope, correction: Correction) -> bool:
    """Whether the tube itself takes up the ametropia: refocused, or left without any lens but focused by hand."""
    return correction == "refocused" or (correction == "none" and telescope.focusable)


def stands_at_mm(eye: EyeIn, telescope: Telescope, mount: Mount) -> float:
    """Ocular to cornea, mm: measured, else from the vertex distance and where the ocular stands in this mount."""
    if eye.ocular_to_cornea_mm is not None:
        return as_recorded(eye.ocular_to_cornea_mm)
    behind = telescope.ocular_behind_carrier_mm
    if mount in FRONT_MOUNTS:
        behind = min(behind, -IN_FRONT_GAP_MM)
    return ocular_to_cornea_from_vertex_mm(eye.vertex_mm, behind)


@formula(
    "tan(real/2) = keyhole/|M|",
    unit="deg",
    source="",
    kind="derived",
    domain="eye off the exit pupil of a Keplerian",
)
def real_field_through_keyhole_deg(keyhole_half_slope: float, magnification: float) -> float:
    """Real field, degrees, when the eye's place off the exit pupil limits it."""
    return degrees(2.0 * atan(keyhole_half_slope / abs(magnification)))


@formula(
    "tan(apparent/2) = |M|·tan(real/2)",
    unit="deg",
    source="",
    kind="derived",
    domain="real field under 170 deg",
)
def apparent_from_real_field_deg(real_field_deg: float, magnification: float) -> float:
    """Apparent field, degrees, from the real one."""
    return degrees(2.0 * atan(abs(magnification) * tan(radians(0.5 * real_field_deg))))


def eye_numbers(
    context: Context, eye: EyeIn, telescope: Telescope, correction: Correction, mount: Mount, hyperfocal: bool
) -> EyeNumbers:
    """One eye behind one tube. Raises :class:`Infeasible`."""
    if eye.closed:
        raise Infeasible(
            "no acuity" if eye.closed.startswith("No acuity") else "acuity off the chart", eye.closed
        )
    if eye.strongest_d > VERTEX_NEEDED_OVER_D and not eye.vertex_known:
        raise Infeasible(
            "ametropia",
            f"A refraction of {eye.strongest_d:.2f} D cannot be carried to the ocular without the vertex distance at "
            "which it was found: measure it.",
        )
    signed, length = telescope.signed_magnification, telescope.tube_length_mm
    ocular_at = stands_at_mm(eye, telescope, mount)
    try:
        at_cornea = refraction_at_cornea_d(eye.sphere_d, eye.refraction_vertex_mm)
        at_ocular = ametropia_at_ocular_d(at_cornea, ocular_at)
    except DomainRefusal as refusal:
        raise Infeasible("ametropia", str(refusal)) from None
    magnification, tube = signed, length
    lens: float | None = None
    sphere_left = 0.0
    if lends_to_tube(telescope, correction):
        try:
            lowest, highest = telescope.shortest_tube_mm or length, telescope.longest_tube_mm or length
            focused = refocus(signed, length, at_ocular, 0.0, lowest, highest)
        except DomainRefusal as refusal:
            raise Infeasible("refocusing range", str(refusal)) from None
        magnification, tube = focused.magnification, focused.tube_length_mm
    elif correction == "carrier":
        lens = ametropia_at_ocular_d(at_cornea, eye.vertex_mm)
    elif correction == "ocular":
        lens = at_ocular
    elif correction == "objective":
        try:
            lens = objective_correction_d(signed, length, at_ocular)
        except DomainRefusal as refusal:
            raise Infeasible("ametropia", str(refusal)) from None
    else:
        sphere_left = at_ocular if abs(at_ocular) >= UNCORRECTED_LEAST_D else 0.0
    cylinder_left = 0.0 if correction in ("carrier", "ocular") else eye.cylinder_d
    distance = eye_distance_mm(ocular_at, context.figures.ocular_to_pupil_mm)
    refocused = abs(tube - length) > 1e-9
    if refocused:
        pupil_at = exit_pupil_distance_mm(signed, length, tube)
        pupil_size = refocused_exit_pupil_diameter_mm(signed, length, telescope.objective_diameter_mm, tube)
    else:
        pupil_at = exit_pupil_distance_mm(signed, length)
        pupil_size = exit_pupil_diameter_mm(telescope.objective_diameter_mm, signed)
    measured_pupil = telescope.measured_exit_pupil_mm
    if measured_pupil is not None:
        pupil_size = as_recorded(measured_pupil)
    rotation = rotation_distance_mm(ocular_at, context.figures.rotation_centre_mm)
    field = _field(eye, telescope, magnification, tube, distance, rotation, pupil_at, pupil_size, refocused)
    passed = transmittance(telescope)
    swing = eye.accommodation_d + eye.tolerance_d
    setting = "hyperfocal" if hyperfocal else "infinity"
    near, far = _clear(eye, telescope, correction, magnification, tube, at_ocular, sphere_left, setting)
    return EyeNumbers(
        side=eye.side,
        ocular_to_cornea_mm=ocular_at,
        eye_distance_mm=distance,
        refraction_at_cornea_d=at_cornea,
        ametropia_at_ocular_d=at_ocular,
        correction_lens_d=lens if eye.needs_correction else None,
        magnification=magnification,
        tube_length_mm=tube,
        tube_shortening_mm=tube_shortening_mm(length, tube),
        residual_sphere_d=sphere_left,
        residual_cylinder_d=cylinder_left,
        logmar=eye.logmar,
        near_logmar=eye.near_logmar,
        tolerance_d=eye.tolerance_d,
        accommodation_d=eye.accommodation_d,
        pupil_mm=eye.pupil_mm,
        dim_pupil_mm=eye.dim_pupil_mm,
        field=field,
        exit_pupil_distance_mm=pupil_at,
        exit_pupil_diameter_mm=pupil_size,
        exit_pupil_basis="nominal" if measured_pupil is None else "measured",
        eye_offset_mm=eye_offset_mm(distance, pupil_at) if signed < 0.0 else None,
        near_limit_mm=near,
        near_limit_focused_infinity_mm=near_limit_mm(magnification, tube, swing),
        near_limit_hyperfocal_mm=near_limit_mm(magnification, tube, swing + eye.tolerance_d),
        far_limit_mm=far,
        relative_brightness=relative_brightness(eye.pupil_mm, passed, pupil_size),
        relative_brightness_dim=relative_brightness(eye.dim_pupil_mm, passed, pupil_size),
    )


def transmittance(telescope: Telescope) -> float:
    """What passes the tube: measured, else by its surfaces."""
    if telescope.transmittance is not None:
        return as_recorded(telescope.transmittance)
    return transmittance_of_surfaces(telescope.surface_reflectance, telescope.surfaces)


def _clear(
    eye: EyeIn,
    telescope: Telescope,
    correction: Correction,
    magnification: float,
    tube: float,
    at_ocular: float,
    sphere_left: float,
    setting: str,
) -> tuple[float | None, float | None]:
    """Near and far end of what is clear without a cap, mm from the objective; None for infinity."""
    if telescope.focusable:
        lends = at_ocular if lends_to_tube(telescope, correction) else 0.0
        nearest = nearest_focus_mm(telescope, lends)
        return nearest, None
    try:
        found = clear_range(
            magnification,
            tube,
            eye.tolerance_d,
            eye.accommodation_d,
            sphere_left,
            "hyperfocal" if setting == "hyperfocal" else "infinity",
        )
    except DomainRefusal:
        return None, None
    return found.near_mm, found.far_mm


@formula(
    "w = 1/(Fobj − 1/(t_longest − 1/(Foc − R)))",
    unit="mm",
    source="SCHWARTZ-12",
    kind="derived",
    domain="focusable tube, relaxed eye",
)
def nearest_by_travel_mm(
    magnification: float, tube_length_mm: float, longest_tube_mm: float, ametropia_at_ocular_d: float
) -> float:
    """The nearest distance from the objective, mm, for which the tube can be lengthened; the relaxed eye sees it."""
    objective = objective_power_d(magnification, tube_length_mm)
    ocular = ocular_power_d(magnification, tube_length_mm) - ametropia_at_ocular_d
    gap = longest_tube_mm - 1000.0 / ocular
    if gap <= 0.0:
        raise DomainRefusal("tube length", longest_tube_mm, "a longer tube")
    needed = objective - 1000.0 / gap
    # A tube that never gets longer than its setting for infinity focuses nothing nearer.
    return 1e7 if needed <= 1e-4 else 1000.0 / needed


def nearest_focus_mm(telescope: Telescope, lends_d: float) -> float:
    """The nearest distance a focusable telescope can be set for, with the ametropia that it also takes up."""
    return nearest_by_travel_mm(
        telescope.signed_magnification,
        telescope.tube_length_mm,
        telescope.longest_tube_mm or telescope.tube_length_mm,
        lends_d,
    )


def _field(
    eye: EyeIn,
    telescope: Telescope,
    magnification: float,
    tube: float,
    distance: float,
    rotation: float,
    pupil_at: float,
    pupil_size: float,
    refocused: bool,
) -> FieldNumbers:
    try:
        if telescope.type == "galilean":
            numbers = _galilean(eye, telescope, magnification, tube, distance, rotation, refocused)
        else:
            numbers = _keplerian(eye, telescope, magnification, distance, pupil_at, pupil_size)
    except DomainRefusal as refusal:
        raise Infeasible("optics", str(refusal)) from None
    real, apparent, criterion, basis, limited, at, three, fixation, keyhole = numbers
    full, half, total = three
    return FieldNumbers(
        real_field_deg=real,
        apparent_field_deg=apparent,
        criterion=criterion,
        eye_distance_mm=at,
        pupil_mm=eye.pupil_mm,
        basis=basis,
        limited_by=limited,
        real_field_full_deg=full,
        real_field_half_deg=half,
        real_field_total_deg=total,
        field_of_fixation_deg=fixation,
        ring_outer_diameter_deg=ring_outer_diameter_deg(magnification, real),
        ring_housing_deg=housing_extent_deg(telescope.housing_radius_mm, distance),
        keyhole_half_slope=keyhole,
    )


def _galilean(
    eye: EyeIn,
    telescope: Telescope,
    magnification: float,
    tube: float,
    distance: float,
    rotation: float,
    refocused: bool,
) -> tuple:
    size = telescope.objective_diameter_mm
    fixation = field_of_fixation_deg(magnification, tube, size, rotation)
    if not refocused:
        nominal = galilean_field(
            magnification, tube, size, distance, eye.pupil_mm, "half", telescope.ocular_diameter_mm
        )
        three = tuple(
            real_field_deg(magnification, tube, size, distance, eye.pupil_mm, criterion)
            for criterion in ("full", "half", "total")
        )
        used = field_in_use(
            nominal, magnification, telescope.measured_field_deg, telescope.measured_field_eye_distance_mm
        )
        return (
            used.real_field_deg, used.apparent_field_deg, used.criterion, used.basis, used.limited_by,
            used.eye_distance_mm, three, fixation, None,
        )  # fmt: skip
    system = _system(telescope, tube)
    three = tuple(
        real_field_general_deg(system, size, distance, eye.pupil_mm, criterion)
        for criterion in ("full", "half", "total")
    )
    real, apparent, limited = three[1], apparent_field_general_deg(system, size, distance), "objective"
    if telescope.ocular_diameter_mm is not None:
        allowed = ocular_limit_deg(telescope.ocular_diameter_mm, distance, eye.pupil_mm)
        if allowed < apparent:
            real, apparent, limited = real_from_apparent_field_deg(allowed, magnification), allowed, "ocular"
    if telescope.measured_field_deg is not None:
        real = as_recorded(telescope.measured_field_deg)
        apparent = apparent_from_real_field_deg(real, magnification)
        return real, apparent, "measured", "measured", "as measured", distance, three, fixation, None
    return real, apparent, "half", "nominal", limited, distance, three, fixation, None


@formula(
    "tan(real/2) = tan(apparent/2)/|M|",
    unit="deg",
    source="",
    kind="derived",
    domain="apparent under 170 deg",
)
def real_from_apparent_field_deg(apparent_field_deg: float, magnification: float) -> float:
    """Real field, degrees, from the apparent one."""
    return degrees(2.0 * atan(tan(radians(0.5 * apparent_field_deg)) / abs(magnification)))


def _system(telescope: Telescope, tube: float) -> RayMatrix:
    """The ray matrix of the tube at another length than its afocal one."""
    signed, length = telescope.signed_magnification, telescope.tube_length_mm
    objective, ocular = objective_power_d(signed, length), ocular_power_d(signed, length)
    return RayMatrix(
        1.0 - tube * objective / 1000.0,
        tube / 1000.0,
        -(objective + ocular - tube * objective * ocular / 1000.0),
        1.0 - tube * ocular / 1000.0,
    )


def _keplerian(
    eye: EyeIn,
    telescope: Telescope,
    magnification: float,
    distance: float,
    pupil_at: float,
    pupil_size: float,
) -> tuple:
    signed, length = telescope.signed_magnification, telescope.tube_length_mm
    # The keyhole is reckoned from the exit pupil as it is, so the stop and ocular are taken with the eye at it.
    nominal = keplerian_field(
        signed,
        length,
        telescope.objective_diameter_mm,
        length / abs(signed),
        eye.pupil_mm,
        "half",
        telescope.field_stop_mm,
        telescope.ocular_diameter_mm,
    )
    used = field_in_use(
        nominal, signed, telescope.measured_field_deg, telescope.measured_field_eye_distance_mm
    )
    real, limited = used.real_field_deg, used.limited_by
    apparent = apparent_from_real_field_deg(real, magnification)
    offset = eye_offset_mm(distance, pupil_at)
    keyhole = None
    if abs(offset) > 1e-6:
        keyhole = keyhole_slope(pupil_size, eye.pupil_mm, offset, "half")
        full_slope = tan(radians(0.5 * apparent))
        if keyhole < KEYHOLE_LEAST_SHARE * full_slope:
            raise Infeasible(
                "exit pupil blackout",
                f"The exit pupil lies {pupil_at:.1f} mm behind the ocular and the eye {distance:.1f} mm: only "
                f"{100.0 * keyhole / full_slope:.0f} % of the field's width would be seen. Move the ocular.",
            )
        if keyhole < full_slope and used.basis == "nominal":
            real, limited = real_field_through_keyhole_deg(keyhole, magnification), "keyhole"
            apparent = apparent_from_real_field_deg(real, magnification)
    return real, apparent, used.criterion, used.basis, limited, distance, (None, None, None), None, keyhole


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
    common = dict(
        tube_tilt_deg=tilt,
        pantoscopic_deg=as_recorded(person.pantoscopic_deg),
        tube_to_lens_normal_deg=tube_to_lens_normal_deg(tilt, person.pantoscopic_deg),
        rotation_distance_mm=rotation,
        b_size_mm=as_recorded(person.b_size_mm),
    )
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
        raise Infeasible("tilt out of range", str(refusal)) from None
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


def cap_numbers(context: Context, telescope: Telescope, cap: Cap, lead: EyeNumbers, two: bool) -> CapNumbers:
    """The cap on this tube before this eye. Raises :class:`Infeasible` when this eye can see nothing through it."""
    power, magnification, tube = cap.power_d, lead.magnification, lead.tube_length_mm
    left = lead.residual_sphere_d
    plain = cap_working_distance_mm(power)
    uncorrected: float | None = None
    evd_there: float | None = None
    pd_mm = context.person.pd.total_mm
    # What the same cap does with the ametropia left uncorrected is shown beside it, whether it is left so or not.
    bare = lead.ametropia_at_ocular_d
    try:
        if abs(bare) >= UNCORRECTED_LEAST_D:
            uncorrected = cap_working_distance_uncorrected_mm(magnification, tube, power, bare)
            evd_there = evd_mm(magnification, tube, uncorrected, lead.eye_distance_mm, power)
    except DomainRefusal as refusal:
        if left != 0.0:
            raise Infeasible("nothing clear", str(refusal)) from None
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
        convergence_parallel_tubes_prism=convergence_with_caps_prism(magnification, power, pd_mm),
        base_in_full_prism=cap_base_in_full_prism(power, pd_mm) if two else None,
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


def device_numbers(
    context: Context, telescope: Telescope, cap: Cap | None, tint: Filter | None, configuration: Configuration
) -> DeviceNumbers:
    """Everything about a configuration on this person that does not depend on a goal. Raises :class:`Infeasible`."""
    hyperfocal = configuration.focus == "hyperfocal"
    order = context.order(configuration.eyes)
    try:
        eyes = tuple(
            eye_numbers(
                context,
                context.eye(side),
                telescope,
                configuration.correction,
                configuration.mount,
                hyperfocal,
            )
            for side in order
        )
        lead = eyes[0]
        pair = pair_numbers(context, telescope, eyes, configuration.spread_mm) if len(eyes) == 2 else None
        mount = mount_numbers(context, telescope, configuration, lead, context.eye(order[0]))
        caps = cap_numbers(context, telescope, cap, lead, len(eyes) == 2) if cap is not None else None
    except Refusal as refusal:
        raise Infeasible("optics", str(refusal)) from None
    signed = telescope.signed_magnification
    passed = transmittance(telescope)
    tint_passes = 1.0 if tint is None else as_recorded(tint.transmittance)
    return DeviceNumbers(
        magnification_marked=telescope.magnification,
        magnification_nominal=signed,
        magnification_basis="marked" if telescope.measured_magnification is None else "measured",
        objective_focal_length_mm=objective_focal_length_mm(signed, telescope.tube_length_mm),
        ocular_focal_length_mm=ocular_focal_length_mm(signed, telescope.tube_length_mm),
        transmittance=passed if tint is None else transmittance_with_filter(passed, tint_passes),
        transmittance_basis="nominal" if telescope.transmittance is None else "measured",
        filter_transmittance=tint_passes,
        weight_g=telescope.weight_g,
        eyes=eyes,
        pair=pair,
        mount=mount,
        cap=caps,
    )
