"""Tubes of thick or many elements: the same formulas with the matrix element B in place of the tube length.

For a tube set afocal (C = 0) D is the magnification and A its inverse. Take such a tube down to the two
numbers (magnification, B) with :func:`afocal_tube` and go on with the closed formulas; a tube that is not
afocal is refused there, with its back vertex power named.
"""

from __future__ import annotations

from typing import NamedTuple

from ..errors import DomainRefusal
from ..formula import formula
from ._domain import AMETROPIA_MOST_D, M_LEAST, M_MOST, T_LEAST_MM, T_MOST_MM, Domain
from .focus import exit_vergence_d
from .rays import RayMatrix, back_vertex_power_d, chain, lens, translation, vergence_through_d

# Less than half of the smallest step of a lensometer (0.125 D): a tube this close to afocal cannot be
# told from one.
AFOCAL_LIMIT_D = 0.05


class AfocalTube(NamedTuple):
    """What the closed formulas need of any afocal tube: signed magnification, and B in mm in place of the
    tube length.
    """

    magnification: float
    tube_length_mm: float


@formula(
    "C = 0: M = D, t → B", unit="", source="", kind="derived", domain="|C/A| ≤ 0.05 D, |M| ≥ 1.05, B > 0"
)
def afocal_tube(system: RayMatrix) -> AfocalTube:
    """Magnification and B (mm) of a tube given by its matrix, front vertex to back vertex.

    Refuses a tube whose back vertex power -C/A exceeds 0.05 D: refocus it first (:func:`focusing_gap_mm`),
    or go on with its matrix. Refuses also |M| < 1.05 and B outside 0.5 to 1000 mm.
    """
    back_vertex = back_vertex_power_d(system)
    if abs(back_vertex) > AFOCAL_LIMIT_D:
        raise DomainRefusal(
            "back vertex power",
            back_vertex,
            f"0 within {AFOCAL_LIMIT_D:g} D",
            reason="this tube is not afocal: refocus it, or compute it by ray matrices",
        )
    if not (M_LEAST <= abs(system.d) <= M_MOST and T_LEAST_MM <= system.b_mm <= T_MOST_MM):
        Domain.refuse(magnification=system.d, tube_length_mm=system.b_mm)
    return AfocalTube(system.d, system.b_mm)


@formula(
    "g = 1/L₁ − 1/L₂, L₁ = (D₁·U − C₁)/(A₁ − B₁·U), L₂ = (A₂·R + C₂)/(D₂ + B₂·R)",
    unit="mm",
    source="",
    kind="derived",
    domain="0 ≤ g ≤ 1000 mm",
)
def focusing_gap_mm(
    objective: RayMatrix,
    ocular: RayMatrix,
    ametropia_at_ocular_d: float = 0.0,
    object_vergence_d: float = 0.0,
) -> float:
    """The gap in mm between two lens groups at which light of ``object_vergence_d`` leaves with
    ``ametropia_at_ocular_d``.

    With 0 and 0 it sets the tube afocal. Both groups run from their front to their back vertex; the
    ametropia counts at the last vertex. Refuses when the groups would have to overlap, or stand over 1 m
    apart.
    """
    if not -AMETROPIA_MOST_D <= ametropia_at_ocular_d <= AMETROPIA_MOST_D:
        Domain.refuse(ametropia_at_ocular_d=ametropia_at_ocular_d)
    between = vergence_through_d(objective, object_vergence_d)
    # The vergence that the ocular needs in front of it: light sent back through the reversed ocular.
    reversed_ocular = RayMatrix(ocular.d, ocular.b_m, ocular.c_d, ocular.a)
    needed = -vergence_through_d(reversed_ocular, -ametropia_at_ocular_d)
    if between == 0.0 or needed == 0.0:
        raise DomainRefusal(
            "lens group", "", "lens groups that have power", reason="a group without power focuses nothing"
        )
    gap = 1000.0 / between - 1000.0 / needed
    if not 0.0 <= gap <= T_MOST_MM:
        Domain.refuse(gap_mm=gap)
    return gap


@formula("S = Foc·[gap]·F₂·[gap]·F₁, set afocal", unit="", source="", kind="derived", domain="as its parts")
def doublet_telescope(
    first_lens_d: float, gap_mm: float, second_lens_d: float, ocular_power_d: float
) -> RayMatrix:
    """The matrix of a tube with an objective of two thin lenses (dioptres) ``gap_mm`` apart, its ocular set
    afocal.
    """
    objective = chain(lens(first_lens_d), translation(gap_mm), lens(second_lens_d))
    ocular = lens(ocular_power_d)
    return chain(objective, translation(focusing_gap_mm(objective, ocular)), ocular)


@formula(
    "M = −Foc/Feq, Feq = F₁ + F₂ − x·F₁·F₂", unit="x", source="", kind="derived", domain="tube set afocal"
)
def thick_magnification(
    first_lens_d: float, gap_mm: float, second_lens_d: float, ocular_power_d: float
) -> float:
    """The signed magnification of a tube with a two-lens objective, its ocular set afocal (powers in
    dioptres, gap in mm).
    """
    return afocal_tube(doublet_telescope(first_lens_d, gap_mm, second_lens_d, ocular_power_d)).magnification


@formula("B, front vertex to back vertex", unit="mm", source="", kind="derived", domain="tube set afocal")
def thick_b_element_mm(
    first_lens_d: float, gap_mm: float, second_lens_d: float, ocular_power_d: float
) -> float:
    """The matrix element B in mm of a tube with a two-lens objective; it stands in for the tube length."""
    return afocal_tube(doublet_telescope(first_lens_d, gap_mm, second_lens_d, ocular_power_d)).tube_length_mm


@formula(
    "L′oc = M²·U/(1 − B·M·U)",
    unit="D",
    source="",
    kind="derived",
    domain="tube set afocal, object not inside it",
)
def thick_exit_vergence_d(
    first_lens_d: float, gap_mm: float, second_lens_d: float, ocular_power_d: float, object_vergence_d: float
) -> float:
    """The vergence in dioptres leaving a tube with a two-lens objective for light of ``object_vergence_d``
    at its front.
    """
    tube = afocal_tube(doublet_telescope(first_lens_d, gap_mm, second_lens_d, ocular_power_d))
    return exit_vergence_d(tube.magnification, tube.tube_length_mm, object_vergence_d)
