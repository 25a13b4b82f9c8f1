"""The result types of a configuration apart from any goal: each eye behind its tube, the pair, the mount and the cap.

Units and signs are those of :mod:`.types`.
"""

from __future__ import annotations

from typing import Literal, NamedTuple

Basis = Literal["marked", "measured"]
FieldBasis = Literal["nominal", "measured"]
Side = Literal["right", "left"]


class FieldNumbers(NamedTuple):
    """The field of one tube with everything that it hangs on; Galilean full/half/total, Keplerian by its stop.

    ``real_field_deg`` and ``apparent_field_deg`` are the figures in use (half criterion unless ``criterion`` says
    otherwise); the three criteria stand beside them where they exist. ``limited_by`` names the aperture that rules.
    """

    real_field_deg: float
    apparent_field_deg: float
    criterion: str
    eye_distance_mm: float
    pupil_mm: float
    basis: FieldBasis
    limited_by: str
    real_field_full_deg: float | None = None
    real_field_half_deg: float | None = None
    real_field_total_deg: float | None = None
    field_of_fixation_deg: float | None = None
    ring_outer_diameter_deg: float | None = None
    ring_housing_deg: float | None = None
    keyhole_half_slope: float | None = None


class EyeNumbers(NamedTuple):
    """One eye behind one tube: where it stands, what it needs, what it gets.

    ``correction_lens_d`` is the lens at the place of the correction (carrier: the refraction's best sphere; ocular: R;
    objective: R/(M² + tMR)); None when the tube is refocused or nothing is corrected. ``magnification`` and
    ``tube_length_mm`` are those in use for distance (M′ and t′ when refocused). ``residual_*`` stays uncorrected.
    Near limits are from the objective.
    """

    side: Side
    ocular_to_cornea_mm: float
    eye_distance_mm: float
    refraction_at_cornea_d: float
    ametropia_at_ocular_d: float
    correction_lens_d: float | None
    magnification: float
    tube_length_mm: float
    tube_shortening_mm: float
    residual_sphere_d: float
    residual_cylinder_d: float
    logmar: float | None
    near_logmar: float | None
    tolerance_d: float
    accommodation_d: float
    pupil_mm: float
    dim_pupil_mm: float
    field: FieldNumbers
    exit_pupil_distance_mm: float
    exit_pupil_diameter_mm: float
    exit_pupil_basis: FieldBasis
    eye_offset_mm: float | None
    near_limit_mm: float | None
    near_limit_focused_infinity_mm: float | None
    near_limit_hyperfocal_mm: float | None
    far_limit_mm: float | None
    relative_brightness: float
    relative_brightness_dim: float


class PairNumbers(NamedTuple):
    """Two tubes: what both fields make together and what the eyes must do. Prism in prism dioptres, totals."""

    interpupillary_mm: float
    spread_mm: float
    union_field_deg: float
    overlap_field_deg: float
    centre_separation_deg: float
    toe_out_vergence_for_same_union_prism: float | None
    vertical_tilt_tolerance_arcmin: float
    convergent_tilt_tolerance_arcmin: float
    divergent_tilt_tolerance_arcmin: float
    aniseikonia_percent: float
    interocular_difference_logmar: float | None


class MountNumbers(NamedTuple):
    """Where the tube sits on this face. Only a bioptic has a gaze elevation and a head drop."""

    tube_tilt_deg: float
    pantoscopic_deg: float
    tube_to_lens_normal_deg: float
    rotation_distance_mm: float
    ocular_height_mm: float | None = None
    gaze_elevation_deg: float | None = None
    head_drop_deg: float | None = None
    head_drop_to_field_centre_deg: float | None = None
    least_lens_height_mm: float | None = None
    b_size_mm: float | None = None
    off_axis_deg: float | None = None
    segment_clearance_mm: float | None = None


class CapNumbers(NamedTuple):
    """The reading cap on this tube for this eye. Distances from the cap; ``*_uncorrected`` leaves the ametropia in."""

    power_d: float
    working_distance_corrected_mm: float
    working_distance_uncorrected_mm: float | None
    working_distance_mm: float
    equivalent_power_d: float
    evd_mm: float
    evd_uncorrected_mm: float | None
    magnification_re_250: float
    magnification_re_400: float
    clear_from_mm: float | None
    clear_to_mm: float | None
    depth_mm: float | None
    linear_field_at_cap_focus_mm: float
    convergence_parallel_tubes_prism: float | None
    base_in_full_prism: float | None
    toe_in_deg: float | None
    convergence_converged_tubes_prism: float | None
    height_mismatch_for_15_arcmin_mm: float


class DeviceNumbers(NamedTuple):
    """Everything about a configuration on this person that does not depend on a goal."""

    magnification_marked: float
    magnification_nominal: float
    magnification_basis: Basis
    objective_focal_length_mm: float
    ocular_focal_length_mm: float
    transmittance: float
    transmittance_basis: FieldBasis
    filter_transmittance: float
    weight_g: float | None
    eyes: tuple[EyeNumbers, ...]
    pair: PairNumbers | None
    mount: MountNumbers
    cap: CapNumbers | None

    @property
    def leading(self) -> EyeNumbers:
        """The eye that sees better through it: the one whose numbers are shown first."""
        return self.eyes[0]
