"""The timeline's summary: the latest visit in sentences, for one who has a minute before the person comes in."""

from __future__ import annotations

from typing import TYPE_CHECKING

from .case import Case, Visit

if TYPE_CHECKING:
    from .timeline_types import Row

# What stands in the place of a value that cannot be read.
UNREAD = "not readable"
DEVICE_CHOSEN = "Device chosen"
_EYES = ("right", "left", "both")
_ACUITY_ROWS = (*(f"{eye}.distance_acuity" for eye in _EYES), *(f"through.acuity.{eye}" for eye in _EYES))


def summary_of(case: Case, rows: list[Row]) -> tuple[str, ...]:
    """The latest visit in sentences: what changed by more than repeats, what did not, and what was not measured."""
    if len(case.visits) < 2:
        return ("One visit: nothing to compare with.",)
    latest = [(row.label, row.cells[-1]) for row in rows if row.group != "Next" and not row.cells[-1].empty]
    beyond = [
        f"{label if label != DEVICE_CHOSEN else 'Chosen device'} {cell.change.words}"
        for label, cell in latest
        if cell.change and cell.change.beyond
    ]
    # A device does not repeat: it is the same or another.
    same = [
        label
        for label, cell in latest
        if cell.change and cell.change.direction == "same" and label != DEVICE_CHOSEN
    ]
    carried = [label for label, cell in latest if cell.change and cell.change.direction == "not measured"]
    measured = [
        label
        for label, cell in latest
        if cell.change and cell.change.direction != "not measured" and label != DEVICE_CHOSEN
    ]
    if beyond:
        first = "Changed by more than repeats: " + "; ".join(beyond) + "."
    elif measured:
        first = "Nothing changed by more than repeats."
    else:
        first = "Nothing is measured at this visit yet."
    sentences = [first]
    sentences += _acuity_sentence(case, rows)
    if case.visit.kind == "follow-up":
        sentences.append(_device_sentence(case.visit))
    if same:
        sentences.append("Unchanged within what repeats: " + ", ".join(same) + ".")
    if carried:
        sentences.append("Carried over, not measured at this visit: " + ", ".join(carried) + ".")
    return tuple(sentences)


def _acuity_sentence(case: Case, rows: list[Row]) -> list[str]:
    """Every acuity measured at the latest visit against the visit at which it was measured last, in words."""
    parts = []
    for row in rows:
        cell = row.cells[-1]
        if row.key not in _ACUITY_ROWS or cell.change is None or cell.change.direction == "not measured":
            continue
        before, name = _measured_last(row), row.label.removeprefix("Acuity ")
        if before is None:
            parts.append(f"{name} {cell.typed}, measured for the first time")
            continue
        last = f"{row.cells[before].typed} on {case.visits[before].on.isoformat()}"
        parts.append(f"{name} {cell.typed}, was {last}: {cell.change.words}")
    return ["Acuity now against the last visit: " + "; ".join(parts) + "."] if parts else []


def _measured_last(row: Row) -> int | None:
    """The visit before the latest at which a value was really measured."""
    for index in reversed(range(len(row.cells) - 1)):
        cell = row.cells[index]
        unread = (
            cell.change is not None and cell.change.direction == "not comparable" and cell.words == UNREAD
        )
        if not cell.empty and cell.status != "carried over" and not unread:
            return index
    return None


def _device_sentence(visit: Visit) -> str:
    """What becomes of the device at a follow-up, how it is used, and whether the goal is met."""
    became = visit.value("follow_up.device")
    if became is None:
        sentence = "Not said yet whether the device is kept, changed or returned"
    else:
        why = visit.value("follow_up.reason")
        sentence = f"Device {became}" + (f" ({why})" if why and became != "kept" else "")
    use, what_for = visit.value("follow_up.use"), visit.value("follow_up.use_words")
    if use:
        sentence += f"; used {use}" if use != "never" else "; not used"
        sentence += f" for {what_for}" if what_for and use != "never" else ""
    met = visit.value("follow_up.task_met")
    if met:
        sentence += {"yes": "; goal met", "partly": "; goal partly met", "no": "; goal not met"}[met]
    troubles = visit.value("follow_up.problems")
    if troubles:
        sentence += f"; troubles: {troubles}"
    return sentence + "."
