"""At the start: copies of cases that could not be saved are offered as a difference, one after the other."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from ...core import paths
from ...core.case_file import case_data, loads_case
from ...core.errors import AfocalError
from ...core.store.recovery import Offer, begin, discard_copy, end, find
from ..rooms import difference_lines, shortened
from .dialogs import Decide

if TYPE_CHECKING:
    from ...core.restoring import Restored
    from ..app import AfocalApp


def offer_recovery(app: AfocalApp) -> None:
    """Show the first offer, then the next; files that were set aside are named."""
    found = find(paths.recovery_dir(), lambda text: case_data(loads_case(text), readings=False))
    for refusal in found.set_aside:
        app.say(f"A recovery copy cannot be read and was set aside: {refusal}", "check")
    _next(app, list(found.offers))


def _next(app: AfocalApp, offers: list[Offer]) -> None:
    if not offers:
        return
    from ...core.restoring import can_be_joined, join_copy, take_copy

    offer = offers.pop(0)
    begin(offer)
    where = (
        ""
        if offer.is_based_on_present
        else "\nThe case file was changed since by somebody else: look closely."
    )
    text = (
        f"{offer.case_path.stem}: what was entered before could not be saved ({offer.reason}).\n"
        f"Copy of {offer.made_at}. It would change:{where}\n{difference_words(offer)}"
    )
    joining = ("join", "Put both together; what both changed is kept twice, the copy's in the field")
    answers = (
        ("later", "Decide later: keep the copy, change nothing"),
        *([joining] if can_be_joined(offer) else []),
        ("take", "Take it: save the case as it is in the copy"),
        ("drop", "Drop it: the case file stays, the copy is deleted"),
    )

    def decided(answer: str | None) -> None:
        end(offer)
        if answer == "take":
            _take(app, offer, take_copy, "saved as it was in the copy")
        elif answer == "join":
            _take(app, offer, join_copy, "saved with both sets of changes")
        elif answer == "drop":
            discard_copy(offer.path)
            app.say(f"{offer.case_path.stem}: the copy is deleted.", "done")
        _next(app, offers)

    app.push_screen(Decide(f"Recovered: {offer.case_path.stem}", text, answers), decided)


def _take(app: AfocalApp, offer: Offer, way: Callable[[Offer], Restored], done: str) -> None:
    name = offer.case_path.stem
    try:
        restored = way(offer)
    except AfocalError as error:
        app.say(f"{name}: not taken, the copy stays: {error}", "error")
        return
    discard_copy(offer.path)
    app.say(f"{name}: {done}; what stood in the file stays in the history.", "done")
    for each in restored.stayed:
        app.say(f"{name}: the {each} is signed and stays as it was signed.", "check")


def difference_words(offer: Offer) -> str:
    """The differences, one a line: key, what the file has, what the copy has."""
    return shortened(difference_lines(offer.differences))
