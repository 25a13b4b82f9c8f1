"""The region in which the optics holds, and the sentences of refusal outside it.

The limits are wider than what a clinic meets: they keep every result finite and every sentence true. What
is usual, and what must be confirmed, is decided where values are entered. The formulas test their arguments
inline with these names (a comparison with "not a number" is false, so it is refused as well) and call a
function of this file only to build the refusal.
"""

from __future__ import annotations

from ..errors import DomainRefusal

# A tube weaker than this has lens powers and pupils that depend on rounding; telescopes start near 1.2x.
M_LEAST = 1.05
M_MOST = 100.0
T_LEAST_MM = 0.5
T_MOST_MM = 1000.0
# Enough for the ocular of the shortest and strongest tube accepted; a real small ocular has a few hundred dioptres.
POWER_MOST_D = 250_000.0
AMETROPIA_MOST_D = 100.0
VERGENCE_MOST_D = 1000.0
DISTANCE_LEAST_MM = 1.0
DISTANCE_MOST_MM = 1e7
EYE_DISTANCE_MOST_MM = 1000.0
DIAMETER_LEAST_MM = 0.1
DIAMETER_MOST_MM = 500.0
CAP_LEAST_D = 0.05
CAP_MOST_D = 60.0
TOLERANCE_MOST_D = 10.0
ACCOMMODATION_MOST_D = 30.0
SWING_LEAST_D = 0.01
SWING_MOST_D = 60.0
PUPIL_LEAST_MM = 0.5
PUPIL_MOST_MM = 12.0
# Below this share of its value for a distant object the denominator of a vergence formula counts as a pole.
POLE_MARGIN = 0.05
# An object imaged onto the pupil of the eye (|B| under 1 mm) has no direction at the eye.
EVD_LEAST_MM = 1.0


def refused(field: str, value: object, accepted: str, example: str = "", reason: str = "") -> DomainRefusal:
    """The refusal of one value, ready to be raised."""
    return DomainRefusal(field, value, accepted, example=example, reason=reason)


def refused_tube(magnification: float, tube_length_mm: float) -> DomainRefusal:
    """The refusal of a magnification or tube length that makes no telescope."""
    if not M_LEAST <= abs(magnification) <= M_MOST:
        return refused(
            "magnification",
            magnification,
            f"{M_LEAST:g} to {M_MOST:g}, with a minus sign for a Keplerian tube",
            "2.5 or -4",
            "so close to 1x or so far from any telescope a tube has no usable pupils and lens powers",
        )
    return refused(
        "tube length",
        tube_length_mm,
        f"{T_LEAST_MM:g} to {T_MOST_MM:g} mm, objective to ocular",
        "28",
        "the lenses of a telescope stand apart",
    )


def refused_range(
    field: str, value: float, least: float, most: float, unit: str, example: str
) -> DomainRefusal:
    """The refusal of a plain number outside its accepted range."""
    return refused(field, value, f"{least:g} to {most:g} {unit}".rstrip(), example)


def refused_ametropia(ametropia_at_ocular_d: float) -> DomainRefusal:
    """The refusal of an ametropia that no eye has."""
    return refused_range(
        "ametropia at the ocular", ametropia_at_ocular_d, -AMETROPIA_MOST_D, AMETROPIA_MOST_D, "D", "-3"
    )


def refused_vergence(object_vergence_d: float) -> DomainRefusal:
    """The refusal of an object vergence that no object has."""
    return refused_range(
        "object vergence",
        object_vergence_d,
        -VERGENCE_MOST_D,
        VERGENCE_MOST_D,
        "D",
        "-0.5 for an object at 2 m, 0 for a distant one",
    )


def distance_words(object_vergence_d: float) -> str:
    """The distance of a real object in words, with the vergence of its light."""
    return f"{-1000.0 / object_vergence_d:.4g} mm ({object_vergence_d:.4g} D)"


def refused_near_limit(
    magnification: float, tube_length_mm: float, object_vergence_d: float
) -> DomainRefusal:
    """The refusal of light that this tube, unfocused, cannot pass on: object too near, or light too
    convergent.
    """
    if object_vergence_d < 0.0:
        nearest = -tube_length_mm * magnification / (1.0 - POLE_MARGIN)
        return refused(
            "object distance",
            distance_words(object_vergence_d),
            f"objects farther than {nearest:.4g} mm from the objective",
            "",
            "object inside the near limit of this tube: refocus it or add a cap",
        )
    return refused(
        "object vergence",
        object_vergence_d,
        f"less than {1000.0 * (1.0 - POLE_MARGIN) / (tube_length_mm * magnification):.4g} D",
        "",
        "the light comes to a focus before it leaves this tube: use a weaker lens in front",
    )


def refused_diameter(field: str, value: float) -> DomainRefusal:
    """The refusal of a diameter in mm."""
    return refused_range(field, value, DIAMETER_LEAST_MM, DIAMETER_MOST_MM, "mm", "24")


def refused_evd(evd_mm: float) -> DomainRefusal:
    """The refusal of an object that is imaged onto the pupil of the eye."""
    return refused(
        "equivalent viewing distance",
        evd_mm,
        f"at least {EVD_LEAST_MM:g} mm",
        reason="the object is imaged onto the pupil of the eye: move the object or the eye",
    )


def refused_pupil(pupil_mm: float) -> DomainRefusal:
    """The refusal of a pupil diameter in mm."""
    return refused_range("pupil", pupil_mm, PUPIL_LEAST_MM, PUPIL_MOST_MM, "mm", "3")


def refused_cap(cap_power_d: float) -> DomainRefusal:
    """The refusal of a cap power in dioptres."""
    return refused_range("cap power", cap_power_d, CAP_LEAST_D, CAP_MOST_D, "D", "4")


def check_eye(tolerance_d: float, accommodation_d: float, ametropia_at_ocular_d: float) -> None:
    """Refuse a tolerated defocus, accommodation or ametropia that no eye has."""
    if not 0.0 <= tolerance_d <= TOLERANCE_MOST_D:
        raise refused_range("tolerated defocus", tolerance_d, 0.0, TOLERANCE_MOST_D, "D", "0.5")
    if not 0.0 <= accommodation_d <= ACCOMMODATION_MOST_D:
        raise refused_range("accommodation", accommodation_d, 0.0, ACCOMMODATION_MOST_D, "D", "2")
    if not -AMETROPIA_MOST_D <= ametropia_at_ocular_d <= AMETROPIA_MOST_D:
        raise refused_ametropia(ametropia_at_ocular_d)
