"""The answer, large: chance, expected acuity and power in big digits, the sentence below them."""

from __future__ import annotations

from collections.abc import Iterator

from rich.style import Style
from textual.renderables.digits import Digits

from ...core.documents.findings import logmar_words
from ...core.plan.verdict import percent_brief
from ..signs import current_signs
from ..view import View
from ..widgets.sheet import SheetRow, text_row
from .dialogs import Page


def large_page(view: View, sentence: str) -> Page:
    """Figures as large as the terminal makes them, each with its words first: they scroll like any page."""
    rows: list[SheetRow] = []
    for words, figure in figures(view):
        rows += [text_row(f"{words}: {figure}"), *_large(figure)]
    return Page("The answer", [*rows, text_row(sentence, "strong")])


def figures(view: View) -> Iterator[tuple[str, str]]:
    """(words, figure) of the best option for the first goal: chance, expected acuity or print, power."""
    best = view.best
    outcome = None if best is None else best.served
    if outcome is None or not outcome.needed:
        return
    if outcome.probability is not None:
        # The large figures have no sign for over or under, so that stands in the words.
        brief = percent_brief(outcome.probability)
        beyond = {"<": ", under", ">": ", over"}.get(brief[0], "")
        yield f"Chance for {outcome.goal}{beyond}", brief.lstrip("<>")
    if outcome.print_read_m_units is not None:
        yield "Smallest print expected", f"{outcome.print_read_m_units:.2g}M"
    elif outcome.predicted_logmar_with_losses is not None:
        acuity = logmar_words(outcome.predicted_logmar_with_losses, view.settings)
        yield "Acuity expected", acuity.split()[0]
    yield "Power", f"{abs(outcome.magnification):.2g}x"


def _large(figure: str) -> Iterator[SheetRow]:
    """The figure in large digits; where only plain characters can be drawn the words above have to do."""
    if not current_signs().ascii_only:
        drawn = "".join(getattr(piece, "text", "") for piece in Digits(figure).render(Style(bold=True)))
        for line in drawn.splitlines():
            yield SheetRow(((line, "heading"),))
