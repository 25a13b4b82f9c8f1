"""What two eyes must do at the working distance of the caps, and how far two capped tubes may therefore be spread.

The demand of parallel tubes at the cap's focus is |M| Fcap times what lies between the tubes' centres (the PD and the
spread of both); base-in at the caps takes twice |M| times itself away. What the eyes ordinarily do for a page at that
distance costs no reserve; only what goes beyond it does, and so does having to diverge. Prism dioptres, both eyes.
"""

from __future__ import annotations

from dataclasses import dataclass

from ..optics.binocular_field import decentration_limit_with_caps_mm
from ..optics.convergence import cap_base_in_full_prism, convergence_with_caps_prism
from ..plan.formulas import cap_prism_relief_prism
from .context import Fit


@dataclass(frozen=True, slots=True)
class NearVergence:
    """The demand with the caps as ordered, and what of it costs reserve.

    ``remaining_prism`` is what the eyes must do (plus: converge), ``ordinary_prism`` what they do anyway for that
    distance, ``excess_prism`` what is asked beyond (minus: they must diverge), ``allowed_prism`` half of the reserve
    that opposes it, named by ``reserve_words``. ``full_relief_prism`` is the base-in at each cap that takes all away.
    """

    parallel_prism: float
    relief_prism: float
    remaining_prism: float
    ordinary_prism: float
    excess_prism: float
    allowed_prism: float
    reserve_words: str
    full_relief_prism: float

    @property
    def within(self) -> bool:
        """The reserve is enough by Sheard's rule."""
        return abs(self.excess_prism) <= self.allowed_prism


def near_vergence(fit: Fit) -> NearVergence | None:
    """The vergence at the caps' focus; None without two tubes and caps."""
    numbers = fit.device.cap
    if fit.cap is None or numbers is None or not fit.two:
        return None
    power = fit.cap.power_d
    between = fit.person.pd.total_mm + 2 * fit.choice.spread_mm
    parallel = convergence_with_caps_prism(fit.device.leading.magnification, power, between)
    relief = cap_prism_relief_prism(fit.device.leading.magnification, fit.cap.base_in_prism)
    remaining = parallel - relief
    ordinary = numbers.convergence_converged_tubes_prism or 0.0
    excess = min(remaining, 0.0) + max(remaining - ordinary, 0.0)
    _, reserve, words = fit.near_reserve("base_in_near" if excess < 0 else "base_out_near")
    return NearVergence(
        parallel,
        relief,
        remaining,
        ordinary,
        excess,
        reserve / 2,
        words,
        cap_base_in_full_prism(power, between),
    )


def spread_limit_with_caps_mm(fit: Fit) -> float | None:
    """How far each capped tube may stand outwards until the convergence uses up what is allowed, mm; at least 0."""
    asked = near_vergence(fit)
    if asked is None or fit.cap is None:
        return None
    _, reserve, _ = fit.near_reserve("base_out_near")
    magnification, power = fit.device.leading.magnification, fit.cap.power_d
    at_the_pd = convergence_with_caps_prism(magnification, power, fit.person.pd.total_mm)
    left = asked.ordinary_prism + reserve / 2 + asked.relief_prism - at_the_pd
    return decentration_limit_with_caps_mm(magnification, power, left) if left > 0 else 0.0
