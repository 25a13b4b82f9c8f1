"""Refusals of the optics in words fit for a chart note: what the trouble is, with the figures, and what would do."""

from __future__ import annotations

from collections.abc import Sequence

from ..errors import Refusal
from ..stock import Telescope
from .types import EyeNumbers

# No eye tells more defocus from so much: it is counted as that, and said to be that or more.
DEFOCUS_MOST_D = 60.0


_UNITS = {"cap power": " D"}


def defocus_words(defocus_d: float) -> str:
    """How far out of focus, D; what was counted as the most is said to be that or more."""
    return f"{defocus_d:.0f} D or more" if defocus_d >= DEFOCUS_MOST_D else f"{defocus_d:.2f} D"


def said(refusal: Refusal) -> str:
    """A refusal of a formula as a plain sentence: the reason first, then the figure and what would be accepted."""
    shown = f"{refusal.value:.4g}" if isinstance(refusal.value, float | int) else str(refusal.value)
    figure = f"{refusal.field} {shown}{_UNITS.get(refusal.field, '')}".strip()
    if refusal.accepted:
        figure += f", where {refusal.accepted} would do"
    reason = refusal.reason.rstrip(".")
    words = f"{reason} ({figure})" if reason else figure
    return f"{words[:1].upper()}{words[1:]}."


def beyond_focusing(telescope: Telescope, ametropia_d: float, refusal: Refusal) -> str:
    """Why a tube cannot be focused for an ametropia, with the length it would need when there is one."""
    start = f"An ametropia of {ametropia_d:+.2f} D at the ocular is beyond the focusing of this tube"
    lowest, highest = telescope.shortest_tube_mm, telescope.longest_tube_mm
    needed = refusal.value if isinstance(refusal.value, float | int) else 0.0
    if (
        refusal.field == "refocused tube length"
        and needed > 0.0
        and lowest is not None
        and highest is not None
    ):
        start += f": it would have to be {needed:.2f} mm long and goes from {lowest:g} to {highest:g} mm"
    return f"{start}. Correct in the carrier or behind the ocular."


def too_near(goal: str, at_mm: float, telescope: Telescope, eye: EyeNumbers) -> str:
    """Why nothing is seen of an object so near through this tube."""
    if telescope.focusable and eye.near_limit_mm is not None:
        reach = f"focuses no nearer than {eye.near_limit_mm / 10:.0f} cm"
    else:
        reach = "has a fixed focus for far objects"
    return f"{goal}: cannot be seen at {at_mm / 10:.0f} cm, this telescope {reach}. A reading cap or another way."


def listed(names: Sequence[str], last: str = "and") -> str:
    """Names in one row: "a, b and c"."""
    return f" {last} ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)
