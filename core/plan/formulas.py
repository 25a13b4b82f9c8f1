"""The plan's own small formulas: how losses, chances and criteria are put together, from plain numbers.

They are declared like the optics, so that the working of any number on the screen can be shown to the end.
"""

from __future__ import annotations

from math import log, log2, log10, sqrt

from ..formula import formula
from ..likelihood import normal_probability

# Below this chance an option counts as useless for a goal; from the second on the goal counts in full. A chance of 0.4
# is a prediction a quarter of a chart line short of the goal, which no repeated measurement can tell from it.
USELESS_CHANCE = 0.01
FULL_CHANCE = 0.4
_Z95 = 1.96
# What is wanted counts most; the rest is for what lies beyond it, up to twice as much.
WANTED_FIELD_WORTH = 0.8
STRONGEST_POWER = 6.0
# Standard score of a chance of 80 %, the good chance of four times in five.
GOOD_CHANCE_SCORE = 0.8416


@formula("as recorded", unit="", source="", kind="derived", domain="any recorded value")
def as_recorded(value: float) -> float:
    """A number that was measured, typed or taken as an assumption: it has no formula behind it."""
    return value


@formula(
    "d′ = vertex − (ocular behind the carrier)",
    unit="mm",
    source="",
    kind="derived",
    domain="result 1 mm or more",
)
def ocular_to_cornea_from_vertex_mm(vertex_mm: float, ocular_behind_carrier_mm: float) -> float:
    """Ocular to cornea, mm, while it is not measured; never under 1 mm."""
    return max(1.0, vertex_mm - ocular_behind_carrier_mm)


@formula(
    "E = max(0, demand − A), or |demand| when the light is too convergent",
    unit="D",
    source="",
    kind="derived",
    domain="A ≥ 0",
)
def defocus_left_d(accommodation_demand_d: float, accommodation_d: float) -> float:
    """Defocus that accommodation cannot take away, D: relaxed eyes cannot relax further."""
    if accommodation_demand_d < 0.0:
        return -accommodation_demand_d
    return max(0.0, accommodation_demand_d - accommodation_d)


@formula("min(A, max(0, demand))", unit="D", source="", kind="derived", domain="A ≥ 0")
def accommodation_used_d(accommodation_demand_d: float, accommodation_d: float) -> float:
    """Accommodation that the eye has to keep up at the goal, D."""
    return min(accommodation_d, max(0.0, accommodation_demand_d))


@formula(
    "loss with the cylinder − loss without",
    unit="logMAR",
    source="",
    kind="derived",
    domain="same pupil and MAR",
)
def cylinder_loss_logmar(loss_logmar: float, blur_loss_logmar: float) -> float:
    """What an uncorrected cylinder costs beside the defocus, log units."""
    return loss_logmar - blur_loss_logmar


@formula("log10(factor)", unit="logMAR", source="", kind="derived", domain="factor ≥ 1")
def motion_loss_logmar(slip_mar_factor: float) -> float:
    """What image slip costs, log units, from the factor by which the MAR grows."""
    return log10(slip_mar_factor)


@formula("E′ = √(E² + (C/2)²)", unit="D", source="", kind="derived", domain="E, C ≥ 0")
def defocus_with_cylinder_d(defocus_d: float, residual_cylinder_d: float) -> float:
    """Defocus at best sphere with an uncorrected cylinder added, D."""
    half = 0.5 * residual_cylinder_d
    return sqrt(defocus_d * defocus_d + half * half)


@formula(
    "loss per halving × log2(1/brightness)",
    unit="logMAR",
    source="SHEEDY84",
    kind="published",
    domain="0 < brightness ≤ 1",
)
def light_loss_logmar(relative_brightness: float, loss_per_halving_logmar: float) -> float:
    """Acuity lost to a dimmer image; the figure was measured in good light, so in dim light it is a lower bound."""
    if not 0.0 < relative_brightness < 1.0:
        return 0.0
    return loss_per_halving_logmar * log2(1.0 / relative_brightness)


@formula(
    "slope × max(0, log10(wanted/reserve))",
    unit="logMAR",
    source="",
    kind="common practice",
    domain="reserve > 0",
)
def contrast_loss_logmar(contrast_reserve: float, reserve_wanted: float, loss_per_log: float) -> float:
    """Acuity lost when the contrast reserve falls short of the one wanted."""
    if contrast_reserve <= 0.0:
        return 10.0
    return loss_per_log * max(0.0, log10(reserve_wanted / contrast_reserve))


@formula(
    "blur + cylinder + light + contrast + motion", unit="logMAR", source="", kind="derived", domain="each ≥ 0"
)
def total_loss_logmar(*losses: float) -> float:
    """All losses together, log units."""
    return sum(losses)


@formula(
    "P = Φ[(margin − loss)/(CR95/1.96)]", unit="probability", source="", kind="derived", domain="CR95 > 0"
)
def probability_print_goal_met(
    power_margin_log: float, loss_logmar: float, cr95_print_logmar: float
) -> float:
    """Chance that print measured anew is at the goal: the margin of power over the required one, less the losses."""
    return normal_probability((power_margin_log - loss_logmar) * _Z95 / cr95_print_logmar)


@formula("M = 10^logMAR × d", unit="M", source="COLENBRANDER", kind="derived", domain="d in m")
def threshold_print_from_acuity_m_units(logmar: float, distance_mm: float) -> float:
    """Threshold print by letter acuity while no print was read: near words are usually worse than letters."""
    return 10.0**logmar * distance_mm / 1000.0


@formula(
    "demand − naked − relief", unit="prism dioptres", source="", kind="derived", domain="total of both eyes"
)
def vergence_beyond_naked_prism(through_prism: float, naked_prism: float, relief_prism: float = 0.0) -> float:
    """What the eyes must do beyond the ordinary convergence for the object's distance."""
    return through_prism - naked_prism - relief_prism


@formula(
    "200 s (1 − M(1 − Fcap w))/|B_T|",
    unit="prism dioptres",
    source="",
    kind="derived",
    domain="parallel Galilean tubes, each decentred outwards by s; all lengths in mm, Fcap in 1/mm",
)
def vergence_by_spread_prism(
    spread_mm: float, magnification: float, object_distance_mm: float, evd_mm: float, cap_power_d: float = 0.0
) -> float:
    """What the spread of two tubes adds to the convergence for an object on the midline, both eyes together.

    A pupil beside the axis of its tube meets the ray with a slope of (D y - h)/B, y and h from that axis. Without a cap
    it takes away; at the focus of a cap, where D is 0, it adds as if the eyes were so much farther apart.
    """
    bend = magnification * (1.0 - 0.001 * cap_power_d * object_distance_mm)
    return 200.0 * spread_mm * (1.0 - bend) / evd_mm


@formula(
    "100 x (1/|B_T| − 1/w)",
    unit="prism dioptres",
    source="",
    kind="derived",
    domain="parallel tubes, each at its pupil",
)
def vertical_beyond_naked_prism(
    height_difference_mm: float, evd_mm: float, object_distance_mm: float
) -> float:
    """What eyes whose pupils differ in height must bear vertically through two tubes, beyond what they do without.

    The same as for the distance between the eyes: tubes magnify it for all that is not far away.
    """
    return 100.0 * height_difference_mm * (1.0 / evd_mm - 1.0 / object_distance_mm)


@formula("2 |M| × base-in of each cap", unit="prism dioptres", source="", kind="derived", domain="|M| ≥ 1.05")
def cap_prism_relief_prism(magnification: float, base_in_prism: float) -> float:
    """Relief for both eyes from base-in ground into the caps, multiplied by the tube."""
    return 2.0 * abs(magnification) * base_in_prism


@formula("transmittance × filter", unit="fraction", source="", kind="derived", domain="0 to 1")
def transmittance_with_filter(transmittance: float, filter_transmittance: float) -> float:
    """What passes telescope and filter together."""
    return transmittance * filter_transmittance


@formula(
    "P_good = Φ[max(0, 0.8416 − 1.96·log10(reserve)/CR95)]",
    unit="probability",
    source="",
    kind="common practice",
    domain="reserve ≥ 1, CR95 > 0",
)
def good_chance(acuity_reserve: float, cr95_logmar: float) -> float:
    """The chance that is good enough: four in five for a bare acuity, less when a reserve already holds that margin.

    Beyond it more power buys nothing that the person would notice, and costs field and steadiness.
    """
    return normal_probability(
        max(0.0, GOOD_CHANCE_SCORE - _Z95 * log10(max(1.0, acuity_reserve)) / cr95_logmar)
    )


@formula("min(1, P/0.4), 0 under P = 0.01", unit="", source="", kind="common practice", domain="P 0 to 1")
def usefulness(probability: float) -> float:
    """How far a goal is reached, 0 to 1: in full from a chance of 0.4, not at all under 0.01."""
    if probability < USELESS_CHANCE:
        return 0.0
    return min(1.0, probability / FULL_CHANCE)


@formula("min(1, P/P_good)", unit="", source="", kind="common practice", domain="0 < P_good ≤ 1")
def chance_worth(probability: float, good_chance: float) -> float:
    """What a chance is worth, 0 to 1: all of it from the good chance on."""
    return min(1.0, probability / good_chance)


@formula(
    "0.8·min(1, s) + 0.2·min(1, s − 1)", unit="", source="", kind="common practice", domain="s = seen/wanted"
)
def field_worth(share: float) -> float:
    """What a field is worth, 0 to 1, as a share of the one wanted: most of it for all that is wanted."""
    if share < 1.0:
        return WANTED_FIELD_WORTH * share
    return WANTED_FIELD_WORTH + (1.0 - WANTED_FIELD_WORTH) * min(1.0, share - 1.0)


@formula("1 − ln|M|/ln 6", unit="", source="", kind="common practice", domain="clipped to 0 to 1")
def low_power_worth(magnification: float) -> float:
    """What a power is worth, 0 to 1: 1 for no magnification, 0 from 6x, by equal ratios."""
    return min(1.0, max(0.0, 1.0 - log(abs(magnification)) / log(STRONGEST_POWER)))


@formula("share × usefulness × worth", unit="", source="", kind="derived", domain="each 0 to 1")
def goal_criterion(goal_share: float, usefulness: float, worth: float) -> float:
    """What one goal adds to a criterion: its share, how far it is reached, and what the criterion is worth for it."""
    return goal_share * usefulness * worth


@formula("sum over the goals", unit="", source="", kind="derived", domain="each 0 to 1")
def sum_over_goals(*parts: float) -> float:
    """A criterion of the ranking, 0 to 1, from what each goal adds."""
    return sum(parts)


@formula("|logMAR right − logMAR left|", unit="logMAR", source="", kind="derived", domain="both measured")
def interocular_difference_logmar(right_logmar: float, left_logmar: float) -> float:
    """How far apart the two acuities are, log units."""
    return abs(right_logmar - left_logmar)


@formula("t′ − t, sign turned", unit="mm", source="", kind="derived", domain="refocused tube")
def tube_shortening_mm(tube_length_mm: float, refocused_tube_length_mm: float) -> float:
    """How much shorter the refocused tube is, mm."""
    return tube_length_mm - refocused_tube_length_mm


@formula("d − exp", unit="mm", source="", kind="derived", domain="Keplerian")
def eye_offset_mm(eye_distance_mm: float, exit_pupil_distance_mm: float) -> float:
    """Eye pupil behind the exit pupil, mm; negative when the eye is too near."""
    return eye_distance_mm - exit_pupil_distance_mm


@formula("field ratio", unit="ratio", source="", kind="derived", domain="both > 0")
def field_ratio(field_mm: float, reference_field_mm: float) -> float:
    """One linear field over another."""
    return field_mm / reference_field_mm
