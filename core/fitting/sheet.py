"""The fitting sheet of the chosen configuration on this face.

A pure function of case, stock and settings: it can be made again from the case file at any time. What a visit made of
it is in ``progress``.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from ..case import Case
from ..configuration import Configuration
from ..errors import ClinicalRefusal, EntryRefusal, Refusal
from ..person import person_of
from ..plan.context import context_of
from ..plan.device import Infeasible, device_numbers
from ..settings import Settings
from ..stock import Cap, Stock, Telescope
from .again import at_visit
from .context import Fit
from .focus import focus_steps, mount_first_steps, mount_last_steps
from .frame import frame_steps
from .lenses import lens_steps
from .near import near_steps
from .pair import pair_steps
from .performance import performance_steps
from .place import place_steps
from .search import search_steps
from .teach import teach_steps
from .trial import trial_steps
from .types import FittingSheet, Step
from .verify import verify_steps

_BUILDERS: tuple[Callable[[Fit], list[Step]], ...] = (
    frame_steps,
    trial_steps,
    verify_steps,
    lens_steps,
    mount_first_steps,
    place_steps,
    focus_steps,
    pair_steps,
    near_steps,
    mount_last_steps,
    performance_steps,
    search_steps,
    teach_steps,
)


def fitting_sheet(case: Case, stock: Stock, settings: Settings) -> FittingSheet:
    """The sheet for the choice of the visit worked on.

    Raises ClinicalRefusal while nothing is chosen, EntryRefusal when telescope, cap or filter are not in the
    stock. What cannot be computed for this face stands in ``refusals``.
    """
    choice = case.visit.choice
    if choice is None:
        raise ClinicalRefusal(
            "fitting sheet", "no option chosen yet", "a chosen option", example="choose one in the plan"
        )
    telescope, cap = _parts(choice, stock)
    device = _words(choice, telescope, cap)
    person = person_of(case, settings)
    try:
        tint = stock.filter(choice.filter) if choice.filter else None
        numbers = device_numbers(context_of(person, settings), telescope, cap, tint, choice)
    except (Infeasible, Refusal) as refusal:
        return FittingSheet(choice, device, (), (str(refusal),))
    fit = Fit(case, settings, person, choice, telescope, cap, numbers)
    steps, refusals = [], []
    for build in _BUILDERS:
        try:
            steps += build(fit)
        except Refusal as refusal:
            refusals.append(str(refusal))
    if fit.two and person.fusion is not True:
        refusals.insert(
            0, "Fusion is not shown: two tubes are not ordered before it is shown through the trial pair."
        )
    assumed = tuple(dict.fromkeys(sentence for step in steps for sentence in step.assumed))
    made, again = at_visit([_keyed(step) for step in steps], case)
    return FittingSheet(choice, device, made, tuple(refusals), assumed, again)


def _parts(choice: Configuration, stock: Stock) -> tuple[Telescope, Cap | None]:
    telescope = stock.telescope(choice.telescope)
    if telescope is None:
        raise EntryRefusal("telescope", choice.telescope, "an id of the stock file")
    cap = stock.cap(choice.cap) if choice.cap else None
    if choice.filter and stock.filter(choice.filter) is None:
        raise EntryRefusal("filter", choice.filter, "an id of the stock file")
    if choice.cap and cap is None:
        raise EntryRefusal("cap", choice.cap, "an id of the stock file")
    return telescope, cap


def _words(choice: Configuration, telescope: Telescope, cap: Cap | None) -> str:
    eye = "both eyes" if choice.eye == "both" else f"{choice.eye} eye"
    words = f"{telescope.description}, {eye}, {choice.position}, {choice.mount}"
    return words + (f", {cap.description}" if cap else "")


def _keyed(step: Step) -> Step:
    """The step under a key that is its own: steps by eye carry the eye at its end."""
    return replace(step, key=f"{step.key}.{step.eye}") if step.eye else step
