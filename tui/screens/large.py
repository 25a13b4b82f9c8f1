"""The answer, large: power, expected acuity and chance in big digits, the sentence below them."""

from __future__ import annotations

from textual.app import ComposeResult
from textual.widgets import Digits, Static

from ...core.acuity import Acuity, format_acuity
from ..safe_text import clean
from ..view import View
from ..widgets.sheet import Sheet, text_row
from .dialogs import Dialog


class LargeAnswer(Dialog):
    """Figures as large as the terminal makes them; the words stay readable by a screen reader."""

    DEFAULT_CSS = """
    LargeAnswer Digits { width: 1fr; height: auto; color: $heading; background: $ground; padding: 0 1; }
    LargeAnswer .what { height: 1; color: $ink; background: $ground; padding: 0 1; }
    LargeAnswer Sheet { height: 1fr; }
    """

    foot = "Esc back"

    def __init__(self, view: View, sentence: str) -> None:
        super().__init__("The answer")
        self._figures = list(figures(view))
        self.sheet = Sheet((text_row(sentence, "strong"),))

    def body(self) -> ComposeResult:
        for words, digits in self._figures:
            yield Static(clean(words), classes="what", markup=False)
            yield Digits(digits)
        yield self.sheet

    def on_mount(self) -> None:
        super().on_mount()
        self.sheet.focus()


def figures(view: View):
    """(words, digits) of the best option for the first goal: power, expected acuity, chance."""
    best = view.best
    if best is None or not best.outcomes:
        return
    outcome = best.outcomes[0]
    yield "power", f"{abs(outcome.magnification):.2g}x"
    if outcome.predicted_logmar_with_losses is not None:
        acuity = format_acuity(Acuity(outcome.predicted_logmar_with_losses), view.settings.acuity_notation)
        yield f"expected for {outcome.goal}", acuity.split()[0]
    if outcome.probability is not None:
        yield "chance", f"{outcome.probability:.0%}"
