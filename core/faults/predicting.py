"""The findings to expect from one fault of one size on one device: the forward model by itself."""

from __future__ import annotations

from typing import Any

from ..errors import EntryRefusal
from ..person import Person
from ..settings import Settings
from .beliefs import Answer
from .catalogue_more import FAULTS
from .forward import measure
from .measures import MEASURES
from .state import Ordered, state_of
from .types import Findings


def predict(
    fault: str,
    size: float,
    option: Ordered,
    person: Person,
    settings: Settings | None = None,
    eye: str = "",
    chart_distance_mm: float | None = None,
) -> Findings:
    """The findings expected from ``fault`` of ``size`` in the fault's own unit (ignored by faults without a size).

    ``eye`` names the tube for faults of one eye, the leading one when left out. Numbers are means, answers the
    likeliest. EntryRefusal for a fault that is not known, or that this device cannot have.
    """
    state = state_of(option, person, settings or Settings(), chart_distance_mm)
    known = FAULTS.get(fault)
    if known is None or not known.when(state):
        possible = ", ".join(key for key, item in FAULTS.items() if item.when(state))
        raise EntryRefusal("fault", fault, f"one that this device can have: {possible}", example="sphere")
    side = eye or state.lead.side
    if known.by_eye and side not in {tube.side for tube in state.tubes}:
        raise EntryRefusal("eye", eye, "an eye that looks through a tube", example=state.lead.side)
    beliefs = measure(known.apply(state, side if known.by_eye else "", size))
    given: dict[str, Any] = {"chart_distance_mm": state.chart_mm}
    for key, belief in beliefs.items():
        name, _, of_eye = key.partition(".")
        declared = MEASURES[name]
        value: Any = belief.likeliest if isinstance(belief, Answer) else declared.from_scale(belief.mean)
        if value is None:
            continue
        if not declared.finding:
            pair = "height_off_mm" if name == "height_difference" else "tilt_off_deg"
            given[pair] = {"right": value / 2.0, "left": -value / 2.0}
        elif declared.by_eye:
            given.setdefault(declared.finding, {})[of_eye] = value
        else:
            given[declared.finding] = value
    return Findings(**given)
