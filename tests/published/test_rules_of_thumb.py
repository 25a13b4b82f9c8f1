"""Rules that the trade quotes, computed: where they come from and what they silently assume.

All are common practice, without a source; the tolerance is the rounding in which they are quoted.
"""

from __future__ import annotations

from math import log10

import pytest

from afocal.core.magnification import required_magnification, snellen_denominator_through_telescope
from afocal.core.optics.binocular_field import union_field_deg
from afocal.core.optics.caps import cap_working_distance_mm
from afocal.core.optics.focus import exit_vergence_d, near_limit_mm

FOOT_MM = 304.8
INCH_MM = 25.4
GOAL_LOGMAR = 0.3010299956639812  # 20/40

# now 20/x, quoted magnification, by how many log units the quoted power falls short of 20/40 (0.1 is a line)
POWER_FOR_20_40 = [(70, 1.7, 0.013), (100, 2.2, 0.056)]
# magnification, tube length mm, quoted near end of the clear range in feet
CLEAR_FROM = [(1.7, 20.0, 5.0), (2.2, 25.0, 7.0)]
# field of one tube, quoted field of two spread tubes, deg
SPREAD_PAIRS = [(26.0, 32.5), (18.0, 22.5)]


@pytest.mark.parametrize(("denominator", "quoted", "shortfall"), POWER_FOR_20_40)
def test_the_usual_power_brings_the_acuity_to_about_20_40(
    denominator: float, quoted: float, shortfall: float
) -> None:
    """Common practice: the goal is about 20/40, hence 1.7x for 20/70; 2.2x for 20/100 falls short by half a line."""
    needed = required_magnification(log10(denominator / 20), GOAL_LOGMAR)
    assert abs(log10(needed / quoted) - shortfall) <= 0.0005
    reached = snellen_denominator_through_telescope(denominator, quoted)
    assert abs(log10(reached / 40) - shortfall) <= 0.0005


@pytest.mark.parametrize(("magnification", "tube_length_mm", "feet"), CLEAR_FROM)
def test_the_quoted_clear_distances_both_mean_about_two_dioptres(
    magnification: float, tube_length_mm: float, feet: float
) -> None:
    """Common practice: "clear from 5 ft" at 1.7x and "from 7 ft" at 2.2x hide 2 D of accommodation plus focus.

    With only 0.5 D each way, as an older eye has it, the same tubes clear from beyond three times as far.
    """
    asked = -exit_vergence_d(magnification, tube_length_mm, -1000 / (feet * FOOT_MM))
    assert abs(asked - 2.0) <= 0.25
    for_two_dioptres = near_limit_mm(magnification, tube_length_mm, 2.0) / FOOT_MM
    assert abs(for_two_dioptres - feet) <= 1.0
    assert near_limit_mm(magnification, tube_length_mm, 0.5) > 3.5 * feet * FOOT_MM


@pytest.mark.parametrize(("single", "pair"), SPREAD_PAIRS)
def test_two_tubes_spread_by_a_quarter_of_their_field_give_the_quoted_field(
    single: float, pair: float
) -> None:
    """Common practice: 26 and 18 degrees become 32.5 and 22.5: the centres stand a quarter field apart."""
    assert abs(union_field_deg(single, single / 4) - pair) < 1e-9


def test_the_strongest_usual_cap_focuses_at_thirteen_inches() -> None:
    """Common practice: caps of +1 to +3 D focus from 40 in to as near as 13 in."""
    assert abs(cap_working_distance_mm(3.0) / INCH_MM - 13.0) <= 0.5
    assert abs(cap_working_distance_mm(1.0) / INCH_MM - 40.0) <= 1.0
