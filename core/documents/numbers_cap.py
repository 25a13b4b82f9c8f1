"""The numbers of a reading cap, each with its criterion."""

from __future__ import annotations

from collections.abc import Iterator

from ..plan.formulas import cap_prism_relief_prism
from ..plan.types import CapNumbers, Option
from .shown import Shown, field_criterion, length, span
from .text import number, signed


def cap_shown(cap: CapNumbers, option: Option) -> Iterator[Shown]:
    """What the cap does on this tube before this eye; with two tubes what it asks of both eyes."""
    with_cap = f"cap {signed(cap.power_d)} D"
    words = length(cap.working_distance_mm)
    uncorrected, corrected = cap.working_distance_uncorrected_mm, cap.working_distance_corrected_mm
    ametropia = ""
    if uncorrected is not None and abs(uncorrected - cap.working_distance_mm) < 1e-6 < abs(
        corrected - uncorrected
    ):
        ametropia = "ametropia left in"
    criterion = f"{with_cap}, from the cap; {ametropia or 'eye corrected'}"
    quantity = "working_distance_uncorrected_mm" if ametropia else "working_distance_mm"
    yield Shown("Working distance", words, criterion, quantity, cap.working_distance_mm, brief=True)
    left_in = ""
    if ametropia and cap.evd_uncorrected_mm is not None:
        left_in = f"; {length(cap.evd_uncorrected_mm)} with the ametropia left in"
    yield Shown(
        "Equivalent viewing distance",
        f"{length(cap.evd_mm)}, equivalent power {number(cap.equivalent_power_d)} D",
        f"{with_cap}; {number(cap.magnification_re_250)}x against 25 cm, "
        f"{number(cap.magnification_re_400)}x against 40 cm{left_in}",
        "evd_mm",
        cap.evd_mm,
    )
    if cap.clear_from_mm is not None and cap.clear_to_mm is not None:
        words = span(cap.clear_from_mm, cap.clear_to_mm)
        eye = option.device.leading
        criterion = f"{with_cap}, from the cap; depth of focus {number(eye.tolerance_d)} D each way"
        yield Shown("Clear with the cap", words, criterion, "clear_from_mm", cap.clear_from_mm, brief=True)
    words = length(cap.linear_field_at_cap_focus_mm)
    criterion = f"across at the cap's focus; {field_criterion(option.device.leading.field.criterion)}"
    yield Shown(
        "Width seen with the cap",
        words,
        criterion,
        "linear_field_at_cap_focus_mm",
        cap.linear_field_at_cap_focus_mm,
    )
    if option.configuration.eye == "both" and cap.convergence_parallel_tubes_prism is not None:
        words = f"{number(cap.convergence_parallel_tubes_prism, 1)} prism D"
        if cap.base_in_full_prism is not None:
            words += f"; full relief {number(cap.base_in_full_prism, 1)} prism D base in each"
        criterion = (
            f"{_apart(option)}, object at the cap's focus, both eyes together; {_prism_of_the_cap(option)}"
        )
        value = cap.convergence_parallel_tubes_prism
        yield Shown("Convergence asked", words, criterion, "convergence_parallel_tubes_prism", value)


def _apart(option: Option) -> str:
    """Parallel tubes, and how far apart they stand."""
    pair = option.device.pair
    if pair is None:
        return "parallel tubes"
    apart = pair.interpupillary_mm + 2 * pair.spread_mm
    return f"parallel tubes {number(apart, 1)} mm apart, caps centred on them"


def _prism_of_the_cap(option: Option) -> str:
    """How much of it the caps as chosen take away: their base-in at the cap centre, times the power, for both eyes."""
    prism = 0.0 if option.cap is None else option.cap.base_in_prism
    if not prism:
        return "these caps have no prism"
    relief = cap_prism_relief_prism(option.device.leading.magnification, prism)
    return (
        f"{number(prism, 2)} prism D base in at the centre of each cap takes {number(relief, 1)} of it away"
    )
