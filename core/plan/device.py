"""A configuration on this person without a goal: each eye behind its tube, the pair, the mounting and the cap.

Everything goes through the declared formulas, so that each number has a working. What the optics or the clinic
forbids is raised as :class:`Infeasible` with the name of the reason.
"""

from __future__ import annotations

from ..configuration import Configuration, Correction, Mount
from ..errors import DomainRefusal, Refusal
from ..formula import formula
from ..optics.ametropia import (
    ametropia_at_ocular_d,
    objective_correction_d,
    refocus,
    refocused_exit_pupil_diameter_mm,
    refraction_at_cornea_d,
)
from ..optics.field import (
    eye_distance_mm,
    rotation_distance_mm,
)
from ..optics.focus import clear_range, near_limit_mm
from ..optics.light import relative_brightness, transmittance_of_surfaces
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
    ocular_to_cornea_from_vertex_mm,
    transmittance_with_filter,
    tube_shortening_mm,
)
from .tube_field import UNCORRECTED_LEAST_D, Infeasible, field_numbers
from .types import (
    DeviceNumbers,
    EyeNumbers,
)
from .wearing import cap_numbers, mount_numbers, pair_numbers
from .words import beyond_focusing, said

# A tube in front of the person's own lens stands at least this far before its back surface (common practice).
IN_FRONT_GAP_MM = 2.0
FRONT_MOUNTS: tuple[Mount, ...] = ("in front", "flip-up", "clip-on")


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
        raise Infeasible("ametropia", said(refusal)) from None
    magnification, tube = signed, length
    lens: float | None = None
    sphere_left = 0.0
    if lends_to_tube(telescope, correction):
        try:
            lowest, highest = telescope.shortest_tube_mm or length, telescope.longest_tube_mm or length
            focused = refocus(signed, length, at_ocular, 0.0, lowest, highest)
        except DomainRefusal as refusal:
            raise Infeasible("refocusing range", beyond_focusing(telescope, at_ocular, refusal)) from None
        magnification, tube = focused.magnification, focused.tube_length_mm
    elif correction == "carrier":
        lens = ametropia_at_ocular_d(at_cornea, eye.vertex_mm)
    elif correction == "ocular":
        lens = at_ocular
    elif correction == "objective":
        try:
            lens = objective_correction_d(signed, length, at_ocular)
        except DomainRefusal as refusal:
            raise Infeasible("ametropia", said(refusal)) from None
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
    field = field_numbers(
        eye, telescope, magnification, tube, distance, rotation, pupil_at, pupil_size, refocused
    )
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
        caps = None
        if cap is not None:
            caps = cap_numbers(context, telescope, cap, lead, len(eyes) == 2, configuration.spread_mm)
    except Refusal as refusal:
        raise Infeasible("optics", said(refusal)) from None
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
