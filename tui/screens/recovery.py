"""At the start: copies of cases that could not be saved are offered as a difference, one after the other."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ...core import paths
from ...core.case_file import case_data, loads_case
from ...core.errors import AfocalError, FileRefusal
from ...core.store.files import save_text
from ...core.store.recovery import Offer, begin, discard_copy, find
from ..rooms import name_of, value_words
from .dialogs import Decide

if TYPE_CHECKING:
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
    answers = (
        ("later", "Decide later: keep the copy, change nothing"),
        ("take", "Take it: save the case as it is in the copy"),
        ("drop", "Drop it: the case file stays, the copy is deleted"),
    )

    def decided(answer: str | None) -> None:
        if answer == "take":
            _take(app, offer)
        elif answer == "drop":
            discard_copy(offer.path)
            app.say(f"{offer.case_path.stem}: the copy is deleted.", "done")
        _next(app, offers)

    app.push_screen(Decide(f"Recovered: {offer.case_path.stem}", text, answers), decided)


def _take(app: AfocalApp, offer: Offer) -> None:
    try:
        loads_case(offer.text, offer.case_path)
        save_text(offer.case_path, offer.text, offer.present)
    except (AfocalError, FileRefusal) as error:
        app.say(f"{offer.case_path.stem}: not taken, the copy stays: {error}", "error")
        return
    discard_copy(offer.path)
    app.say(f"{offer.case_path.stem}: saved as it was in the copy.", "done")


def difference_words(offer: Offer) -> str:
    """The differences, one a line: key, what the file has, what the copy has."""
    shown = [
        f"{name_of(each.path)}: {value_words(each.before)} -> {value_words(each.after)}"
        for each in offer.differences[:40]
    ]
    more = len(offer.differences) - len(shown)
    return "\n".join([*shown, *([f"and {more} more"] if more > 0 else [])])
