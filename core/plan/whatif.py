"""What if: a parameter of an option changed and everything beside the original, without touching the case."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from contextlib import suppress
from dataclasses import replace

from ..case import Case
from ..configuration import Configuration
from ..entry import Pd
from ..errors import EntryRefusal, RangeRefusal
from ..formula import formula
from ..goals import Demand, Task
from ..ranges import (
    CAP,
    EYE_DISTANCE,
    MAGNIFICATION,
    OBJECTIVE_DIAMETER,
    PD,
    TUBE_LENGTH,
    TUBE_TILT,
    VERTEX,
    WORKING_DISTANCE,
    Range,
)
from ..settings import Settings
from ..stock import Cap, Stock, Telescope
from .context import Context, EyeIn
from .device import device_numbers
from .engine import option_for, read_case
from .tube_field import Infeasible
from .types import Option, Refused

CHANGED_ID = "changed"
SPREAD = Range("spread of each tube", "mm", 0, 10, 0, 4, "1.5")

# What can be changed, by name, with the range in which it is accepted.
CHANGES: Mapping[str, Range] = {
    "magnification": MAGNIFICATION,
    "tube_length_mm": TUBE_LENGTH,
    "objective_diameter_mm": OBJECTIVE_DIAMETER,
    "cap_power_d": CAP,
    "working_distance_mm": WORKING_DISTANCE,
    "eye_distance_mm": EYE_DISTANCE,
    "vertex_mm": VERTEX,
    "spread_mm": SPREAD,
    "tube_tilt_deg": TUBE_TILT,
    "interpupillary_mm": PD,
}


def what_if(
    case: Case,
    stock: Stock,
    settings: Settings,
    configuration: Configuration,
    changes: Mapping[str, float | str],
    tasks: Iterable[Task] | None = None,
) -> tuple[Option, Option | Refused]:
    """The option as it is and as it would be with ``changes``.

    Numbers by the names of :data:`CHANGES` (magnification is its size; the sign stays), or a word for ``eye``,
    ``position``, ``mount``, ``correction``, ``focus``, ``cap`` or ``filter``. A working distance asks for its
    cap.
    Raises EntryRefusal for an unknown name, RangeRefusal for a number outside its range, and the reason of the
    original when that cannot be used itself.
    """
    context, demands = read_case(case, settings, tasks)
    try:
        before = option_for(context, stock, demands, configuration)
    except Infeasible as infeasible:
        raise EntryRefusal(
            "option", configuration.key, "one that can be used", reason=infeasible.reason
        ) from None
    for name, value in changes.items():
        if name in CHANGES:
            if isinstance(value, str):
                raise RangeRefusal(name, value, CHANGES[name].accepted(), example=CHANGES[name].example)
            CHANGES[name].check(float(value), CHANGES[name].name)
        elif name not in _WORDS:
            known = ", ".join((*CHANGES, *_WORDS))
            raise EntryRefusal("change", name, f"one of {known}", example="magnification")
    return before, _after(context, stock, demands, configuration, before, changes)


_WORDS = ("eye", "position", "mount", "correction", "focus", "cap", "filter")


def _after(
    context: Context, stock: Stock, demands: tuple[Demand, ...], configuration: Configuration, before: Option,
    changes: Mapping[str, float | str],
) -> Option | Refused:  # fmt: skip
    words = {name: str(value) for name, value in changes.items() if name in _WORDS}
    numbers = {name: float(value) for name, value in changes.items() if name in CHANGES}
    changed = replace(configuration, **words)  # type: ignore[arg-type]
    telescope = _telescope(before.telescope, numbers)
    if "spread_mm" in numbers:
        changed = replace(changed, spread_mm=numbers["spread_mm"])
    elif changed.eye != configuration.eye:
        # One tube is spread from nothing; two stand as far apart as this person has them.
        wanted = max(0.0, min(context.person.spread_mm, telescope.spread_highest_mm))
        changed = replace(changed, spread_mm=wanted if changed.eye == "both" else 0.0)
    cap = _cap(context, before, telescope, changed, numbers)
    if cap is not None and "cap" not in words:
        changed = replace(changed, cap=cap.id)
    telescopes = tuple(telescope if item.id == telescope.id else item for item in stock.telescopes)
    caps = stock.caps if cap is None else (*(item for item in stock.caps if item.id != cap.id), cap)
    other = replace(stock, telescopes=telescopes, caps=caps)
    try:
        return option_for(_context(context, numbers), other, demands, changed)
    except Infeasible as infeasible:
        return Refused(changed, infeasible.code, infeasible.reason)


def _telescope(telescope: Telescope, numbers: Mapping[str, float]) -> Telescope:
    update: dict[str, object] = {}
    if "magnification" in numbers:
        update.update(
            magnification=numbers["magnification"], measured_magnification=None, measured_exit_pupil_mm=None
        )
    if "tube_length_mm" in numbers:
        update["tube_length_mm"] = numbers["tube_length_mm"]
    if "objective_diameter_mm" in numbers:
        update.update(objective_diameter_mm=numbers["objective_diameter_mm"], measured_exit_pupil_mm=None)
    if update:
        # A field measured on the telescope as it is says nothing about a changed one.
        update["measured_field_deg"] = None
    if "eye_distance_mm" in numbers and telescope.measured_field_deg is not None:
        update["measured_field_deg"] = None
    return replace(telescope, **update) if update else telescope


def _cap(
    context: Context,
    before: Option,
    telescope: Telescope,
    changed: Configuration,
    numbers: Mapping[str, float],
) -> Cap | None:
    """The cap that the numbers ask for; None to keep what there is."""
    power = numbers.get("cap_power_d")
    if power is None and "working_distance_mm" in numbers:
        power = _power_for(context, telescope, changed, numbers)
    if power is None:
        return None
    prism = 0.0 if before.cap is None else before.cap.base_in_prism
    return Cap(
        id=CHANGED_ID, description=f"cap of {power:.2f} D", power_d=power, base_in_prism=prism, fits=()
    )


def _power_for(
    context: Context, telescope: Telescope, changed: Configuration, numbers: Mapping[str, float]
) -> float:
    """The cap that works at the wanted distance; an ametropia left in works along with it."""
    wanted = numbers["working_distance_mm"]
    with suppress(Infeasible):
        lead = device_numbers(
            _context(context, numbers), telescope, None, None, replace(changed, cap="")
        ).leading
        if lead.residual_sphere_d != 0.0:
            return CAP.check(
                cap_power_for_distance_d(
                    lead.magnification, lead.tube_length_mm, wanted, lead.residual_sphere_d
                ),
                CAP.name,
            )
    return 1000.0 / wanted


@formula(
    "Fcap = 1000/WD + R/(M² + t·M·R)",
    unit="D",
    source="",
    kind="derived",
    domain="WD > 0; the ametropia R left in",
)
def cap_power_for_distance_d(
    magnification: float, tube_length_mm: float, object_distance_mm: float, ametropia_at_ocular_d: float
) -> float:
    """Power of the cap, D, that works at a distance, mm, before an eye whose ametropia at the ocular is left in."""
    bend = magnification * magnification + tube_length_mm * magnification * ametropia_at_ocular_d / 1000.0
    return 1000.0 / object_distance_mm + ametropia_at_ocular_d / bend


def _context(context: Context, numbers: Mapping[str, float]) -> Context:
    person = context.person
    face: dict[str, object] = {}
    eyes: dict[str, float] = {}
    if "eye_distance_mm" in numbers:
        eyes["ocular_to_cornea_mm"] = numbers["eye_distance_mm"] - context.figures.ocular_to_pupil_mm
        face["ocular_to_cornea_mm"] = eyes["ocular_to_cornea_mm"]
    if "vertex_mm" in numbers:
        eyes["vertex_mm"] = face["vertex_mm"] = numbers["vertex_mm"]
    if "tube_tilt_deg" in numbers:
        face["tube_tilt_deg"] = numbers["tube_tilt_deg"]
    if "spread_mm" in numbers:
        face["spread_mm"] = numbers["spread_mm"]
    if "interpupillary_mm" in numbers:
        half = numbers["interpupillary_mm"] / 2.0
        face["pd"] = Pd(half, half, by_eye=False)
    if not face:
        return context
    right: EyeIn = replace(context.right, **eyes)  # type: ignore[arg-type]
    left: EyeIn = replace(context.left, **eyes)  # type: ignore[arg-type]
    return replace(context, person=replace(person, **face), right=right, left=left)  # type: ignore[arg-type]
