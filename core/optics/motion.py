"""Head motion through a telescope: how fast the picture slips over the retina and what it costs in acuity.

Speeds in degrees a second, magnification by its size. An estimate only: the law of loss is from normal eyes in
vertical motion, and practice changes the gain of the reflex.
"""

from __future__ import annotations

from math import log10

from ..constants import constant
from ..errors import DomainRefusal
from ..formula import formula
from ._domain import LARGEST, M_LEAST, M_MOST, SMALLEST, Domain

# Slip that costs nothing, and the power by which acuity falls beyond it (Demer and Amjadi 1993).
TOLERATED_SLIP_DEG_S = constant("slip_tolerated_without_acuity_loss")
SLIP_EXPONENT = constant("slip_exponent_of_acuity_loss")


def _gap(magnification: float, vor_gain: float) -> float:
    """What the reflex leaves of the magnified motion, M − g."""
    size = abs(magnification)
    if not (M_LEAST <= size <= M_MOST and 0.0 <= vor_gain < LARGEST):
        Domain.refuse(magnification=magnification, vor_gain=vor_gain)
    if vor_gain > size:
        raise DomainRefusal(
            "gain of the vestibulo-ocular reflex",
            vor_gain,
            f"0 to the magnification, {size:g}",
            example="1.5",
            reason="a gain over the magnification would turn the eye farther than the picture moves",
        )
    return size - vor_gain


@formula(
    "(M − g) ω",
    unit="deg/s",
    source="DEMER96",
    kind="derived",
    domain="|M| ≥ 1.05; 0 ≤ g ≤ |M|; ω ≥ 0",
)
def retinal_slip_deg_s(magnification: float, vor_gain: float, head_speed_deg_s: float) -> float:
    """Speed at which the picture slips over the retina when the head turns, degrees a second.

    The gain of the vestibulo-ocular reflex is 1 without a telescope and would have to be M for a still picture.
    """
    gap = _gap(magnification, vor_gain)
    if not 0.0 <= head_speed_deg_s < LARGEST:
        Domain.refuse(head_speed_deg_s=head_speed_deg_s)
    return gap * head_speed_deg_s


@formula(
    "slip / (M − g)",
    unit="deg/s",
    source="DEMER96",
    kind="derived",
    domain="|M| ≥ 1.05; 0 ≤ g < |M|; slip ≥ 0",
)
def head_speed_limit_deg_s(
    magnification: float, vor_gain: float, slip_deg_s: float = TOLERATED_SLIP_DEG_S
) -> float:
    """Head speed that makes a given slip, degrees a second. Refuses a gain equal to M: no head speed then slips."""
    gap = _gap(magnification, vor_gain)
    if not 0.0 <= slip_deg_s < LARGEST:
        Domain.refuse(slip_deg_s=slip_deg_s)
    if gap == 0.0:
        raise DomainRefusal(
            "gain of the vestibulo-ocular reflex",
            vor_gain,
            f"less than the magnification, {abs(magnification):g}",
            example="1.5",
            reason="a gain equal to the magnification holds the picture still at every head speed",
        )
    return slip_deg_s / gap


@formula(
    "1 up to 2 deg/s, then (slip/2)^0.6", unit="", source="DEMER93", kind="derived", domain="slip ≥ 0 deg/s"
)
def slip_mar_factor(
    slip_deg_s: float,
    tolerated_slip_deg_s: float = TOLERATED_SLIP_DEG_S,
    slip_exponent: float = SLIP_EXPONENT,
) -> float:
    """Factor by which slip coarsens the minimum angle of resolution; normal eyes, vertical motion.

    The tolerated slip and the exponent are a clinic's to adjust. Refuses a slip below 0.
    """
    if not (
        0.0 <= slip_deg_s < LARGEST
        and SMALLEST < tolerated_slip_deg_s < LARGEST
        and 0.0 <= slip_exponent <= 3.0
    ):
        Domain.refuse(
            slip_deg_s=slip_deg_s, tolerated_slip_deg_s=tolerated_slip_deg_s, slip_exponent=slip_exponent
        )
    if slip_deg_s <= tolerated_slip_deg_s:
        return 1.0
    return (slip_deg_s / tolerated_slip_deg_s) ** slip_exponent


@formula(
    "0 up to 2 deg/s, then 0.6 log10(slip/2)",
    unit="logMAR",
    source="DEMER93",
    kind="derived",
    domain="slip ≥ 0 deg/s",
)
def slip_loss_logmar(
    slip_deg_s: float,
    tolerated_slip_deg_s: float = TOLERATED_SLIP_DEG_S,
    slip_exponent: float = SLIP_EXPONENT,
) -> float:
    """Loss of acuity from slip in logMAR, to be added to what is predicted at rest."""
    return log10(slip_mar_factor(slip_deg_s, tolerated_slip_deg_s, slip_exponent))
