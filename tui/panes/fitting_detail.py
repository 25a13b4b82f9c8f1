"""What the fitting pane says about the row under the caret: beside the checklist, in full on F6, and in the help."""

from __future__ import annotations

from collections.abc import Iterator

from ...core.entry import Kind
from ...core.errors import AfocalError
from ...core.fitting.exercises import Exercise
from ...core.fitting.types import Step, Verdict
from ...core.fitting.verdict import verdict_at
from ...core.training import DAY_KIND, MINUTES_KIND, RESULT_KIND
from ..screens.dialogs import Page
from ..signs import current_signs
from ..view import View
from ..widgets.sheet import SheetRow, heading_row, text_row, value_row
from .fitting_edits import CAUTION, LEFT, REASON, TRAINING, TRAINING_DAY, step_of
from .fitting_rows import caution_standing, stage_of, state_rows, training_of

NUMBER = "number:"
_TARGET = "target"
_DAY_WORDS = (
    "The sessions below belong to this day. Type another day for one that is written down later; emptied, or today "
    "typed, it is today again."
)


def detail_rows(view: View | None, key: str, *, heading: bool) -> list[SheetRow]:
    """What to know for the row under the caret, the most needed first."""
    if view is None:
        return []
    step = step_of(view, key)
    if step is not None:
        title, rows = step.heading, list(_step_brief(view, step, low=not heading))
    elif key.startswith(CAUTION):
        title, rows = "Say it, and let the person say it back", list(_caution_rows(view, key))
    elif key == REASON:
        title, rows = "Reason of the choice", list(_reason_rows(view))
    elif key == TRAINING_DAY:
        title, rows = "Day of the session", [text_row(_DAY_WORDS, "strong")]
    elif key.startswith(TRAINING):
        title, rows = "Training", list(_training_rows(view, key))
    elif key.startswith(LEFT):
        title, rows = "Left over", [text_row("Measured for another choice. Empty the field to remove it.")]
    else:
        return []
    return [heading_row(title), *rows] if heading else rows


# ---- a step


def _step_brief(view: View, step: Step, *, low: bool) -> Iterator[SheetRow]:
    judged = verdict_at(step, view.case.visit)
    # Where the screen is low the sentence below the field may be out of sight.
    if low and judged.state in ("check", "no"):
        yield verdict_row(judged)
    yield text_row(step.do, "strong")
    yield text_row(step.how)
    yield value_row("Wanted", step.target, role="plain")
    if step.tolerance:
        yield value_row("Within", step.tolerance, role="plain")
    if judged.state == "ok":
        yield verdict_row(judged)
    if hasattr(step.kind, "options"):
        yield value_row("One of", step.kind.accepted, role="plain")
    if step.rule:
        yield value_row("Rule", step.rule, role="plain")


def verdict_row(judged: Verdict) -> SheetRow:
    """The verdict with its sign and its word."""
    signs = current_signs()
    sign = {"ok": signs.ok, "check": signs.check, "no": signs.no}.get(judged.state, "")
    role = judged.state if judged.state != "open" else "plain"
    return text_row(f"{sign} {judged.state}: {judged.sentence}".strip(), role)


def step_in_full(view: View, step: Step) -> Iterator[SheetRow]:
    """Everything about a step: what to do, what is wanted, what was found, and where the numbers are from."""
    from ...core.documents.working_sheet import amount_words
    from ...core.sources import SOURCES

    yield text_row(step.do, "strong", key="do")
    yield text_row(step.how, key="how")
    yield value_row("Wanted", step.target, key="wanted")
    if step.tolerance:
        yield value_row("Within", step.tolerance, key="within")
    yield value_row("Accepted", step.kind.accepted, role="plain", key="accepted")
    yield heading_row("What was found")
    yield verdict_row(verdict_at(step, view.case.visit))
    yield from _found_rows(view, step)
    if step.remedy:
        yield value_row("When it does not fit", step.remedy, role="plain", key="remedy")
    yield heading_row("Where it comes from")
    if step.rule:
        yield value_row("Rule", step.rule, role="plain", key="rule")
    yield value_row("Source", SOURCES.get(step.source, "common practice"), role="plain", key="source")
    for sentence in dict.fromkeys(step.assumed):
        yield value_row("Leans on, not measured", sentence, role="assumed")
    numbers = numbers_of(step)
    if numbers:
        yield heading_row("Numbers; Enter shows how each came about")
    for name, value in numbers.items():
        unit = step.unit if name == _TARGET else ""
        yield value_row(_plain_name(name), amount_words(value), unit, key=NUMBER + name)


def _found_rows(view: View, step: Step) -> Iterator[SheetRow]:
    result = view.case.visit.steps.get(step.key)
    if result is None:
        return
    if result.measured:
        yield value_row("Measured", result.measured, key="measured")
    if result.note:
        yield value_row("Note", result.note, role="plain", key="note")
    who = f" by {result.by}" if result.by else ""
    when = f"{result.at:%Y-%m-%d %H:%M}" if result.at else "no time kept"
    yield text_row(f"Entered {when}{who}.", "note", key="who")


def numbers_of(step: Step) -> dict[str, float]:
    """The numbers that a step rests on, its target first."""
    numbers = dict(step.numbers)
    if step.target_value is not None and step.target_value not in numbers.values():
        numbers = {_TARGET: step.target_value, **numbers}
    return numbers


def _plain_name(name: str) -> str:
    """``least_lens_height_mm`` as ``least lens height, mm``."""
    words, _, unit = name.rpartition("_")
    if unit in ("mm", "deg", "arcmin", "prism", "d", "logmar"):
        spelled = {"prism": "prism D", "d": "D", "logmar": "logMAR"}.get(unit, unit)
        return f"{words.replace('_', ' ')}, {spelled}"
    return name.replace("_", " ")


def step_page(view: View, step: Step) -> Page:
    """The step in full; Enter on a number opens its working."""
    from ..screens.keyed_page import KeyedPage

    def chosen(key: str) -> None:
        if key.startswith(NUMBER):
            page.app.push_screen(number_page(view, step, key.removeprefix(NUMBER)))

    page = KeyedPage(step.heading, step_in_full(view, step), chosen)
    page.foot = "Up and Down read on, Enter on a number shows its working, Esc back"  # type: ignore[misc]
    return page


def number_page(view: View, step: Step, name: str) -> Page:
    """How one number of a step came about: the formulas recorded while the sheet is computed anew."""
    from ...core.documents.working_sheet import amount_words
    from ...core.fitting.sheet import fitting_sheet
    from ...core.formula import recording
    from ...core.plan.workings import chain_behind
    from ..screens.working import step_rows

    value = numbers_of(step)[name]
    title = f"Working: {_plain_name(name)}"
    try:
        with recording() as working:
            fitting_sheet(view.case, view.stock, view.settings)
    except AfocalError as error:
        return Page(title, [text_row(str(error))])
    chain = chain_behind(working, value, name).steps
    rows = [value_row("Rule of the step", step.rule or "common practice", role="plain")]
    if _is_of(chain[-1].formula.name, value, name):
        rows += [row for number, each in enumerate(chain, 1) for row in step_rows(number, each)]
    else:
        rows.append(
            text_row(f"{amount_words(value)}: taken from the record, the stock or the rule; no formula.")
        )
    return Page(title, rows)


def _is_of(formula_name: str, value: float, name: str) -> bool:
    """Whether a formula that gave a value is the one behind a number: a round value turns up elsewhere by chance."""
    stem = name.rpartition("_")[0] or name
    akin = name.startswith(formula_name) or formula_name.startswith(stem)
    return akin or float(f"{value:.3g}") != value


# ---- the choice, cautions and training


def _reason_rows(view: View) -> Iterator[SheetRow]:
    yield text_row("Why this one and no other, in your own words; it goes into the note.", "strong")
    yield text_row("When an option is chosen, the reasons that the computation gave stand here first.")
    reason = view.case.visit.choice_reason
    if reason:
        yield value_row("Now", reason, role="plain")
    # Where the screen is low only the beginning of it stands above the checklist.
    yield from state_rows(view)


def _caution_rows(view: View, key: str) -> Iterator[SheetRow]:
    stands = caution_standing(view, key)
    if stands is None:
        return
    yield text_row(stands.text.sentence, "strong")
    yield text_row(
        "yes: given and understood; given: not understood yet; no: not given. "
        + (
            "The visit cannot be signed without it."
            if stands.text.mandatory
            else "The visit can be signed without it."
        )
    )
    if stands.on is not None:
        yield text_row(f"{stands.state[:1].upper()}{stands.state[1:]} on {stands.on.isoformat()}.")


def _training_rows(view: View, key: str) -> Iterator[SheetRow]:
    training, stage = training_of(view), stage_of(key)
    if training is None:
        return
    exercises = [each for each in training.plan.exercises if each.stage == stage]
    for exercise in exercises:
        yield from exercise_rows(exercise)
    yield text_row(training.standing.sentence)
    yield text_row("Result: alone, with help or not yet, and more words as you like.", "note")
    yield text_row(training.plan.note, "note")


def exercise_rows(exercise: Exercise) -> Iterator[SheetRow]:
    """One exercise: where, what to do, when it is mastered."""
    yield text_row(f"{exercise.title} ({exercise.place}, {exercise.minutes:g} min): {exercise.do}", "strong")
    yield text_row(f"Mastered: {exercise.mastered}.", indent=2)
    if exercise.caution:
        yield text_row(exercise.caution, "check", indent=2)


def detail_page(view: View, key: str) -> Page | None:
    """The page for the row under the caret; None when there is nothing to say."""
    step = step_of(view, key)
    if step is not None:
        return step_page(view, step)
    rows = detail_rows(view, key, heading=False)
    return Page("In full", rows) if rows else None


def _how_typed(kind: Kind) -> list[str]:
    """Unit, range and spelling of a value."""
    lines = [f"Unit: {kind.unit}"] if kind.unit else []
    # Words to choose from are named already.
    if not hasattr(kind, "options"):
        lines.append(f"Accepted: {kind.accepted}")
    return [*lines, f"Typed as: {kind.spelled}. For example: {kind.example}"]


def help_words(view: View | None, key: str, label: str) -> tuple[str, str]:
    """Title and text of the help for a row."""
    rows = detail_rows(view, key, heading=False)
    if not rows:
        return "", ""
    step = step_of(view, key)
    lines = ["".join(text for text, _ in row.parts) for row in rows]
    if step is not None:
        lines += _how_typed(step.kind)
        lines.append(f"It is kept in the case file as the step {step.key}. F6 has all of it.")
    elif key == TRAINING_DAY:
        lines += [*_how_typed(DAY_KIND), 'Or "today". No day after today is taken.']
    elif key.startswith(TRAINING):
        minutes = key.endswith(".minutes")
        lines += _how_typed(MINUTES_KIND) if minutes else [f"Accepted: {RESULT_KIND.accepted}"]
        lines.append("It is kept in the case file as a session of the day, with its result and its minutes.")
    return (step.heading if step else label), "\n".join(lines)
