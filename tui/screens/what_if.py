"""What if: figures of an option changed, everything beside the original; the case is not touched until accepted."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType

from ...core.case import Case
from ...core.documents.numbers import Shown, device_numbers, outcome_numbers
from ...core.errors import AfocalError
from ...core.fields import by_path
from ...core.plan.types import Option, Refused
from ...core.plan.whatif import CHANGES, what_if
from ..panes.computation_rows import device_words, grade_words
from ..view import View
from ..widgets.form import Form, Row
from ..widgets.sheet import Sheet, SheetRow, heading_row, text_row
from .dialogs import Dialog, text_page

Change = Callable[[Case], Case]

# Which of the changes a case can take over, and the field it is typed into.
_FIELD_OF = {
    "vertex_mm": "face.vertex_distance",
    "tube_tilt_deg": "face.tube_tilt",
    "spread_mm": "face.spread",
    "interpupillary_mm": "face.pd",
}
_OCULAR_PATH = "face.ocular_to_cornea"


class WhatIf(Dialog):
    """Figures above, both outcomes below; Ctrl+O accepts what a case can hold."""

    DEFAULT_CSS = """
    WhatIf Form { height: 12; }
    WhatIf Sheet { height: 1fr; }
    """
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("ctrl+o", "accept", "accept", priority=True, show=False),
        # Ahead of the form's own Tab, which would go through every figure first.
        Binding("tab,shift+tab", "other_half", priority=True, show=False),
    ]
    foot = (
        "Type a figure and Enter; Tab: result and back; Ctrl+O accept into the case; "
        "F1 help; Esc back, nothing changed"
    )

    def __init__(self, view: View, option: Option) -> None:
        super().__init__(f"What if: {device_words(option)}")
        self._view, self._option = view, option
        self._now = present_figures(view, option)
        self._typed: dict[str, str] = {}
        self._errors: dict[str, str] = {}
        self.form = Form(self._rows(), edited=self._edited)
        self.result = Sheet(tuple(self._result_rows()))

    def body(self) -> ComposeResult:
        yield self.form
        yield self.result

    def on_mount(self) -> None:
        super().on_mount()
        if self.app.size.height < 20:
            self.form.styles.height = 4
        self.form.focus()

    def _rows(self) -> list[Row]:
        rows = []
        for name, allowed in CHANGES.items():
            rows.append(
                Row(
                    key=name,
                    label=allowed.name[:1].upper() + allowed.name[1:],
                    unit=allowed.unit,
                    text=self._typed.get(name, ""),
                    echo="" if name not in self._now else f"now {self._now[name]:g}",
                    error=self._errors.get(name, ""),
                    status="error" if name in self._errors else "",
                )
            )
        return rows

    def _edited(self, key: str, typed: str, _confirmed: bool) -> None:
        self._errors.pop(key, None)
        # The unit may be typed along, as everywhere.
        text = typed.strip().replace(",", ".").replace("−", "-").removesuffix(CHANGES[key].unit).rstrip()
        if not text:
            self._typed.pop(key, None)
        else:
            try:
                CHANGES[key].check(float(text))
                self._typed[key] = text
            except ValueError:
                self._errors[key] = f"{typed}: accepted is {CHANGES[key].accepted()}."
            except AfocalError as error:
                self._errors[key] = str(error)
        self.form.rows = self._rows()
        self.result.rows = tuple(self._result_rows())

    def _changes(self) -> dict[str, float | str]:
        return {name: float(text) for name, text in self._typed.items()}

    def _result_rows(self) -> Iterator[SheetRow]:
        view = self._view
        try:
            before, after = what_if(
                view.case, view.stock, view.settings, self._option.configuration, self._changes()
            )
        except AfocalError as error:
            yield text_row(str(error), "error")
            return
        if isinstance(after, Refused):
            yield text_row(f"It could not be used then: {after.reason}", "error")
            return
        for old, new in zip(before.outcomes, after.outcomes, strict=True):
            yield heading_row(f"{old.goal}: {grade_words(old)} -> {grade_words(new)}")
            yield from _beside(
                outcome_numbers(before, old, view.settings), outcome_numbers(after, new, view.settings)
            )
        yield heading_row("The device on this face")
        yield from _beside(device_numbers(before), device_numbers(after))

    def action_other_half(self) -> None:
        """From the figures to the result, and back."""
        if self.result.has_focus:
            self.form.focus()
        else:
            self.form.accept()
            self.result.focus()

    def action_help(self) -> None:
        """What may be typed for the figure under the caret, and where it goes when it is accepted."""
        key = self.form.current_key
        if key is None:
            return
        allowed = CHANGES[key]
        lines = [f"# {allowed.name[:1].upper()}{allowed.name[1:]}", f"Unit: {allowed.unit}"]
        if key in self._now:
            lines.append(f"Now: {self._now[key]:g} {allowed.unit}")
        lines += [
            f"Accepted: {allowed.accepted()}",
            f"Usual: {allowed.usual_low:g} to {allowed.usual_high:g} {allowed.unit}".rstrip(),
            "Typed as: a number, with or without its unit. Emptied, it is as it stands now.",
        ]
        if key == "eye_distance_mm":
            where = by_path()[_OCULAR_PATH].label
            lines.append(f"Ctrl+O types it into {where}, less what lies between cornea and pupil.")
        elif key in _FIELD_OF:
            lines.append(f"Ctrl+O types it into {by_path()[_FIELD_OF[key]].label}.")
        else:
            lines.append(
                "It belongs to the telescope or its cap: it can be looked at here and not taken into the case."
            )
        self.app.push_screen(text_page("Help", "\n".join(lines)))

    def action_accept(self) -> None:
        """Hand back the change of the case, or say what cannot be taken over."""
        self.form.accept()
        fields = {_FIELD_OF[name]: text for name, text in self._typed.items() if name in _FIELD_OF}
        if "eye_distance_mm" in self._typed:
            depth = self._view.settings.assume("ocular_to_pupil_mm")
            fields[_OCULAR_PATH] = f"{float(self._typed['eye_distance_mm']) - depth:g}"
        held = {*_FIELD_OF, "eye_distance_mm"}
        left = [CHANGES[name].name for name in self._typed if name not in held]
        if left:
            words = f"{', '.join(left)}: this belongs to the telescope; choose another option or add it to the stock."
            self.result.rows = (text_row(words, "error"), *self._result_rows())
            return

        def change(case: Case) -> Case:
            for path, text in fields.items():
                case = case.with_typed(path, text)
            return case

        self.dismiss(change if fields else None)


def present_figures(view: View, option: Option) -> dict[str, float]:
    """What stands now for each figure that can be changed, as far as it is one number."""
    telescope, person, device = option.telescope, view.person, option.device
    found: dict[str, float | None] = {
        "magnification": abs(telescope.magnification),
        "tube_length_mm": telescope.tube_length_mm,
        "objective_diameter_mm": telescope.objective_diameter_mm,
        "cap_power_d": option.cap.power_d if option.cap is not None else None,
        "working_distance_mm": round(device.cap.working_distance_mm) if device.cap is not None else None,
        "eye_distance_mm": device.leading.eye_distance_mm,
        "vertex_mm": person.vertex_mm,
        "spread_mm": option.configuration.spread_mm,
        "tube_tilt_deg": device.mount.tube_tilt_deg,
        "interpupillary_mm": person.pd.total_mm,
    }
    return {name: value for name, value in found.items() if value is not None}


def _beside(before: list[Shown], after: list[Shown]) -> Iterator[SheetRow]:
    """Each number as it is and as it would be; what does not change stands once."""
    new = {shown.label: shown for shown in after}
    for old in before:
        other = new.pop(old.label, None)
        if other is None:
            yield text_row(f"{old.label}: {old.words} -> none", "check")
        elif other.words == old.words:
            yield text_row(f"{old.label}: {old.words}")
        else:
            yield SheetRow(
                ((f"{old.label}: {old.words} -> ", "label"), (other.words, "strong")), caret_part=1
            )
    for shown in new.values():
        yield text_row(f"{shown.label}: none -> {shown.words}", "check")
