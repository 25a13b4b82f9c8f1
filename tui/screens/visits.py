"""Visits: the timeline of a case, signing a visit, later words on a signed one."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import TYPE_CHECKING

from rich.cells import cell_len
from textual import events

from ...core.case import Case, Visit
from ...core.errors import AfocalError
from ...core.signing import Missing, before_signing, sign, verify, with_addendum
from ...core.timeline import Cell, Change, Heading, Timeline, timeline
from ..messages import PaneAsked
from ..panes.fitting_edits import REASON, examiner, now
from ..safe_text import fit, shown
from ..signs import current_signs
from ..view import View
from ..widgets.rows import NARROW
from ..widgets.sheet import SheetRow, heading_row, text_row, value_row
from .dialogs import Ask, Page, Pick
from .keyed_page import KeyedPage

if TYPE_CHECKING:
    from .case import CaseScreen

SIGN = "sign"
_EARLIER = "visit."
_LEAST_COLUMN = 16


# ---- the timeline


class TimelinePage(Page):
    """All visits: beside each other as far as the width allows, then one after the other with everything."""

    def __init__(self, view: View) -> None:
        super().__init__(f"Visits of {view.case.code}", ())
        self._view = view
        self._line = timeline(view.case, view.settings, view.stock)
        self._width = -1

    def on_resize(self, event: events.Resize) -> None:
        """Lay out anew for the width there is."""
        width = min(event.size.width, 100) - 4
        if width != self._width:
            self._width = width
            self.sheet.rows = tuple(timeline_rows(self._view.case, self._line, width))


def timeline_page(view: View) -> Page:
    """The page of all visits."""
    return TimelinePage(view)


def timeline_rows(case: Case, line: Timeline, width: int) -> Iterator[SheetRow]:
    """What changed in sentences; the visits side by side where ``width`` allows; each visit in full, newest first."""
    for sentence in line.summary:
        yield text_row(sentence, "strong")
    if width >= NARROW - 4 and len(line.visits) > 1:
        yield from _side_by_side(line, width)
    for index in reversed(range(len(line.visits))):
        yield from _visit_rows(case, line, index)


def _side_by_side(line: Timeline, width: int) -> Iterator[SheetRow]:
    """The latest visits as columns; a change beyond what repeats stands below its row in words."""
    label = min(26, max(cell_len(row.label) for row in line.rows) + 1)
    count = max(1, min(len(line.visits), (width - label) // _LEAST_COLUMN))
    column = (width - label) // count
    first = len(line.visits) - count
    earlier = f", the latest {count}; earlier ones below" if first else ""
    yield heading_row(f"Side by side{earlier}")
    days = "".join(_in_column(each.on.isoformat(), column) for each in line.visits[first:])
    yield text_row(" " * label + days.rstrip(), "label")
    kinds = "".join(_in_column(each.kind, column) for each in line.visits[first:])
    yield text_row(" " * label + kinds.rstrip(), "label")
    for row in line.rows:
        cells = "".join(_in_column(_cell_words(cell, column - 1), column) for cell in row.cells[first:])
        parts = [(fit(shown(row.label), label), "label"), (cells.rstrip() or " ", "strong")]
        yield SheetRow(tuple(parts), key=f"row.{row.key}", caret_part=0)
        change = row.last_change
        if change is not None and change.beyond and change.direction != "first":
            yield change_row(change, indent=label)


def _in_column(text: str, width: int) -> str:
    return fit(text, width - 1) + " "


def _cell_words(cell: Cell, width: int) -> str:
    """What was understood; as it was typed where only that is short enough to be whole."""
    if cell.empty:
        return "-"
    sign = current_signs().carried + " " if cell.status == "carried over" else ""
    words, typed = sign + shown(cell.words or cell.typed), sign + shown(cell.typed)
    return typed if cell_len(words) > width >= cell_len(typed) else words


def change_row(change: Change, indent: int = 0) -> SheetRow:
    """A change with its sign; better and worse never by colour alone."""
    sign, role = _change_sign(change)
    return text_row(f"{sign} {change.words}".strip(), role, indent=indent)


def _change_sign(change: Change) -> tuple[str, str]:
    signs = current_signs()
    if not change.beyond or change.direction == "first":
        return "", "note"
    return {"better": (signs.ok, "ok"), "worse": (signs.no, "no")}.get(
        change.direction, (signs.check, "check")
    )


def _visit_rows(case: Case, line: Timeline, index: int) -> Iterator[SheetRow]:
    heading = line.visits[index]
    yield heading_row(_heading_words(heading))
    yield text_row(verify(case, index).sentence, "check" if heading.signed == "changed" else "note")
    group = ""
    for row in line.rows:
        cell = row.cells[index]
        if cell.empty:
            continue
        if row.group != group:
            group = row.group
            yield text_row(group, "label")
        yield _cell_row(row.label, cell, f"{index}.{row.key}")
    for addendum in case.visits[index].addenda:
        yield value_row(f"Added {addendum.at:%Y-%m-%d %H:%M} by {addendum.by}", addendum.text, role="plain")


def _heading_words(heading: Heading) -> str:
    return f"{heading.on.isoformat()} {heading.kind}, {heading.age_words}"


def _cell_row(label: str, cell: Cell, key: str) -> SheetRow:
    parts = [(f"{label}: ", "label"), (cell.words or cell.typed, "strong")]
    if cell.status == "carried over":
        parts.append((f"  {current_signs().carried} carried over", "carried"))
    elif cell.change is not None:
        sign, role = _change_sign(cell.change)
        parts.append((f"  {sign} {cell.change.words}".replace("   ", "  "), role))
    return SheetRow(tuple(parts), key=key, caret_part=1, indent=2)


# ---- signing


def ask_to_sign(screen: CaseScreen) -> None:
    """Sign the visit worked on, or an earlier one that was left unsigned: first what is missing by name, then the
    signer's code; it is not undone by a key."""
    case = screen.desk.case
    unsigned = [index for index, visit in enumerate(case.visits) if not visit.signed]
    signed = f"{verify(case).sentence} Later words go into an addendum."
    if not unsigned:
        screen.say(signed)
    elif case.visit.signed:
        rows = [text_row(signed), *_unsigned_rows(_names_of(case, unsigned))]
        _show_page(screen, "This visit is signed", rows, len(case.visits) - 1)
    else:
        _sign_visit(screen, unsigned[-1], unsigned[:-1])


def visit_words(visit: Visit) -> str:
    """A visit by its kind and day: ``fitting of 2026-10-15``."""
    return f"{visit.kind} of {visit.on.isoformat()}"


def unsigned_words(case: Case) -> str:
    """That the last visit is not signed, "" when it is: said when another one begins."""
    return "" if case.visit.signed else f"The {visit_words(case.visit)} is not signed yet (Ctrl+P, sign)."


def _sign_visit(screen: CaseScreen, index: int, unsigned: Sequence[int] = ()) -> None:
    """Ask for the signature of a visit; ``unsigned`` are earlier ones that can be signed from here instead."""
    case = screen.desk.case
    missing = before_signing(case, index)
    if not missing and not unsigned:
        _ask_signer(screen, index)
        return
    earlier = index < len(case.visits) - 1
    must = sum(each.must for each in missing)
    title = f"Not signed: {must} to settle first" if must else "Before it is signed"
    if earlier:
        title += f" ({visit_words(case.visits[index])})"

    rows = missing_rows(missing, _names_of(case, unsigned), earlier=earlier)
    _show_page(screen, title, rows, index)


def _show_page(screen: CaseScreen, title: str, rows: Iterable[SheetRow], index: int) -> None:
    """A page whose lines lead to the signature of visit ``index`` or of an earlier one, or to what it lacks."""

    def chosen(key: str | None) -> None:
        if key == SIGN:
            _ask_signer(screen, index)
        elif key is not None and key.startswith(_EARLIER):
            _sign_visit(screen, int(key.removeprefix(_EARLIER)))
        elif key is not None:
            screen.post_message(place_of(key))

    screen.app.push_screen(KeyedPage(title, rows), chosen)


def _names_of(case: Case, unsigned: Sequence[int]) -> list[tuple[str, str]]:
    """Key and name of each visit that is not signed, the latest first."""
    return [(f"{_EARLIER}{index}", visit_words(case.visits[index])) for index in reversed(unsigned)]


def _unsigned_rows(unsigned: Sequence[tuple[str, str]]) -> Iterator[SheetRow]:
    for key, words in unsigned:
        line = f"{current_signs().check} The {words} is not signed: Enter here to sign it."
        yield text_row(line, "check", key=key)


def missing_rows(
    missing: tuple[Missing, ...], unsigned: Sequence[tuple[str, str]] = (), *, earlier: bool = False
) -> Iterator[SheetRow]:
    """What is missing, each line leading to its place; the way to sign stands last, and only when nothing must be.

    ``unsigned`` has the key and the name of each visit before that is not signed. What an ``earlier`` visit itself
    lacks has no place to go to: only the last visit is edited.
    """
    must = [each for each in missing if each.must]
    look = [each for each in missing if not each.must]
    signs = current_signs()
    if must:
        yield heading_row("To be settled: the visit cannot be signed before")
    for each in must:
        words = f"{signs.error} {_sentence(each.words)}"
        yield text_row(words, "error", key="" if earlier else each.key)
    if must and earlier:
        yield text_row("Only the last visit is edited: while it is new, undo takes it back.")
    if look or unsigned:
        yield heading_row("Worth a look")
    for each in look:
        words = f"{signs.check} {_sentence(each.words)}"
        yield text_row(words, "check", key="" if earlier else each.key)
    yield from _unsigned_rows(unsigned)
    if not must:
        yield heading_row("Sign")
        yield text_row("Enter here: sign it as it stands", "strong", key=SIGN)


def _sentence(words: str) -> str:
    return f"{words[:1].upper()}{words[1:]}."


def place_of(key: str) -> PaneAsked:
    """Where a missing thing is settled."""
    if key.startswith("caution."):
        return PaneAsked("fitting", key)
    if key == REASON:
        return PaneAsked("fitting", key)
    if key.startswith("goal."):
        _, number, name = key.split(".", 2)
        # Goals are counted from 1 in words and from 0 in row keys.
        return PaneAsked("intake", f"goal.{int(number) - 1}.{name}")
    return PaneAsked("intake", key if "." in key else "")


def _ask_signer(screen: CaseScreen, index: int) -> None:
    case = screen.desk.case
    visit = case.visits[index]
    earlier = index < len(case.visits) - 1

    def check(text: str) -> str:
        try:
            sign(screen.desk.case, text, now(), index)
        except AfocalError as error:
            return str(error)
        return ""

    def signed(text: str | None) -> None:
        if text is None:
            screen.say("Not signed.")
            return
        which = f"The {visit_words(visit)}" if earlier else "The visit"
        screen.change(
            lambda case: sign(case, text, now(), index),
            for_good=True,
            said=f"Signed by {text.strip()}. {which} is read-only now; later words go into an addendum.",
        )

    screen.app.push_screen(
        Ask(
            f"Sign the {visit_words(visit)}" if earlier else "Sign this visit",
            value=visit.value("person.examiner") or examiner(case),
            check=check,
            hint="Your initials or staff code. The visit becomes read-only, and undo does not take that back.",
        ),
        signed,
    )


# ---- later words


def ask_for_addendum(screen: CaseScreen) -> None:
    """Add later words to a signed visit, the latest one or another."""
    case = screen.desk.case
    signed = [index for index, visit in enumerate(case.visits) if visit.signed]
    if not signed:
        screen.say("No visit is signed: what is not signed is edited itself.")
        return
    if len(signed) == 1:
        _ask_words(screen, signed[0])
        return
    names = [
        (str(index), f"{case.visits[index].on.isoformat()} {case.visits[index].kind}")
        for index in reversed(signed)
    ]

    def picked(key: str | None) -> None:
        if key is not None:
            _ask_words(screen, int(key))

    screen.app.push_screen(Pick("Add words to which visit", names), picked)


def _ask_words(screen: CaseScreen, index: int) -> None:
    visit = screen.desk.case.visits[index]

    def check(text: str) -> str:
        return "" if text.strip() else "Write some words, for example: phoned, sees the board from row two."

    def written(text: str | None) -> None:
        if text is not None:
            _ask_who(screen, index, text)

    screen.app.push_screen(
        Ask(
            f"Addendum to the {visit.kind} of {visit.on.isoformat()}",
            check=check,
            hint="What was signed stays as it is; your words are added with the time.",
        ),
        written,
    )


def _ask_who(screen: CaseScreen, index: int, words: str) -> None:
    def check(text: str) -> str:
        try:
            with_addendum(screen.desk.case, words, text, now(), index)
        except AfocalError as error:
            return str(error)
        return ""

    def named(by: str | None) -> None:
        if by is None:
            screen.say("Nothing was added.")
            return
        screen.change(
            lambda case: with_addendum(case, words, by, now(), index),
            for_good=True,
            said=f"Added by {by.strip()}.",
        )

    screen.app.push_screen(
        Ask(
            "Who adds it", value=examiner(screen.desk.case), check=check, hint="Your initials or staff code."
        ),
        named,
    )
