"""What the command line does with one case and with the clinic's files, without a screen: reading only."""

from __future__ import annotations

import argparse
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from ..core.errors import AfocalError, FileRefusal
from ..core.workspace import DEMO, Workspace
from .output import say, takes_utf8, write, write_line

if TYPE_CHECKING:
    from ..core.case import Case
    from ..core.documents.template import Template
    from ..core.documents.text import Letters
    from ..core.fitting.types import FittingSheet
    from ..core.plan.types import Plan
    from ..core.settings import Settings
    from ..core.store.index import CaseIndex

Found = TypeVar("Found")
GOOD, DATA_WRONG, CALL_WRONG = 0, 1, 2

Arguments = argparse.Namespace


@dataclass(frozen=True, slots=True)
class Made:
    """Everything that follows from one case file; ``status`` is 1 when something in a file could not be used."""

    case: Case
    settings: Settings
    plan: Plan
    sheet: FittingSheet | None
    status: int


def make(name: str, workspace: Workspace, *, with_sheet: bool = True) -> Made:
    """Read the case, the stock and the settings, say what is wrong with them, and plan."""
    from ..core.plan import plan

    case, problems = read_case(name, workspace)
    stock, stock_problems = workspace.stock()
    settings, settings_problems = workspace.settings()
    problems += [str(problem) for problem in (*stock_problems, *settings_problems)]
    for problem in problems:
        say(problem)
    sheet = None
    if with_sheet and case.visit.choice is not None:
        from ..core.fitting.sheet import fitting_sheet

        sheet = fitting_sheet(case, stock, settings)
    status = DATA_WRONG if problems else GOOD
    return Made(case, settings, plan(case, stock, settings), sheet, status)


def read_case(name: str, workspace: Workspace) -> tuple[Case, list[str]]:
    """The case, and a sentence for each value of the visit worked on that could not be read."""
    case = workspace.open_case(name).case
    day = case.visit.on.isoformat()
    findings = [*case.visit.findings.values()]
    findings += [each for goal in case.visit.goals for each in goal.findings.values()]
    return case, [f"{case.code}, {day}: {each.problem}" for each in findings if each.problem]


def plan_verb(arguments: Arguments, workspace: Workspace) -> int:
    """The plan as text or as JSON; with ``--describe`` the shape of the JSON."""
    if arguments.describe:
        from ..core.documents.plan_shape import plan_shape

        write(plan_shape())
        return GOOD
    if arguments.case is None:
        say(
            "plan: CASE is needed; accepted is a patient code or the path of a case file (for example KM-014)."
        )
        return CALL_WRONG
    made = make(arguments.case, workspace, with_sheet=False)
    if arguments.json:
        from ..core.plan.data import OPTIONS_SHOWN, plan_data

        write(plan_json(plan_data(made.plan, len(made.plan.options) if arguments.all else OPTIONS_SHOWN)))
    else:
        from ..core.documents.plan_page import plan_page

        write(plan_page(made.plan, made.settings, most=None if arguments.all else 5))
    return made.status


def plan_json(data: dict[str, Any]) -> str:
    """JSON with one line a key, and one line an entry of a list: short for a machine, and still to be looked at."""
    import json

    ascii_only = not takes_utf8()

    def words(value: object) -> str:
        return json.dumps(value, ensure_ascii=ascii_only, allow_nan=False)

    def lines() -> Iterator[str]:
        for key, value in data.items():
            if isinstance(value, list) and value:
                rows = ",\n  ".join(map(words, value))
                yield f" {words(key)}: [\n  {rows}\n ]"
            else:
                yield f" {words(key)}: {words(value)}"

    return "{\n" + ",\n".join(lines()) + "\n}"


def _letters(settings: Settings) -> Letters:
    return settings.letters if takes_utf8() else "ascii"


def note_verb(arguments: Arguments, workspace: Workspace) -> int:
    """The chart note; the clinic's own template is used unless an order is asked for."""
    from ..core.documents.chart_note import chart_note

    made = make(arguments.case, workspace)
    own: Template | None = None
    if arguments.order is None and not workspace.is_demo:
        from ..core.documents.own_templates import own_note

        own = own_note()
    write(
        chart_note(
            made.case,
            made.plan,
            made.sheet,
            made.settings,
            length="brief" if arguments.brief else "full",
            order=arguments.order,
            letters="ascii" if arguments.ascii else _letters(made.settings),
            template=own,
        )
    )
    return made.status


def handout_verb(arguments: Arguments, workspace: Workspace) -> int:
    """The patient's sheet, with the clinic's own template where there is one."""
    from ..core.documents.handout import handout_html, handout_text

    made = make(arguments.case, workspace)
    own: Template | None = None
    if not workspace.is_demo:
        from ..core.documents.own_templates import own_handout

        own = own_handout()
    parts = (made.case, made.plan, made.sheet, made.settings)
    if arguments.html:
        page = handout_html(*parts, template=own)
        # The page says UTF-8 of itself; where that cannot be written, every browser reads the numbers instead.
        write(page if takes_utf8() else page.encode("ascii", "xmlcharrefreplace").decode("ascii"))
    else:
        write(handout_text(*parts, letters=_letters(made.settings), template=own))
    return made.status


def order_verb(arguments: Arguments, workspace: Workspace) -> int:
    """The order for the workshop; refused as long as something that it needs is not recorded."""
    from ..core.documents.order import order

    made = make(arguments.case, workspace)
    write(order(made.case, made.plan, made.sheet, made.settings).text(_letters(made.settings)))
    return made.status


def working_verb(arguments: Arguments, workspace: Workspace) -> int:
    """The working of every number of the note."""
    from ..core.documents.working_sheet import working_sheet

    made = make(arguments.case, workspace)
    write(working_sheet(made.case, made.plan, made.sheet, made.settings))
    return made.status


def fhir_verb(arguments: Arguments, workspace: Workspace) -> int:
    """The record for other systems."""
    import json

    from ..core.documents.fhir import fhir_text

    made = make(arguments.case, workspace)
    text = fhir_text(made.case, made.plan, made.sheet, made.settings, release=arguments.release)
    write(text if takes_utf8() else json.dumps(json.loads(text), indent=2))
    return made.status


def check_verb(arguments: Arguments, workspace: Workspace) -> int:
    """What is wrong in files; without a path: the cases, the stock and the settings in use."""
    from ..core.checks import register_all
    from ..core.store.check import Checker
    from .theme_check import register_themes

    checker = Checker()
    register_themes(checker)
    register_all(checker)
    paths = [Path(path) for path in arguments.paths]
    if not paths:
        used = (workspace.cases, workspace.stock_path, workspace.settings_path, workspace.tasks_path)
        paths = [path for path in used if path.exists()] or [workspace.cases]
    report = checker.check(paths)
    write(report.as_json(ensure_ascii=not takes_utf8()) if arguments.json else "\n".join(report.lines()))
    return report.exit_status


def where_verb(arguments: Arguments, workspace: Workspace) -> int:
    """The folders in use, what they hold, and how to delete a patient."""
    from ..core.paths import places

    for place in places(workspace.cases, workspace.stock_path):
        there = "" if place.path.exists() else "  (not there yet)"
        write_line(f"{place.name:10} {place.path}{there}")
        write_line(f"{'':10} {place.holds}")
    write("To delete a patient with everything above that is about the patient: afocal remove CODE")
    if workspace.is_demo:
        say("These are practice folders; they are gone when this run ends.")
    return GOOD


def fields_verb(arguments: Arguments, workspace: Workspace) -> int:
    """``afocal fields``: what a case file written by hand may hold."""
    from ..core.documents.field_reference import field_reference

    write(field_reference())
    return GOOD


def stock_verb(arguments: Arguments, workspace: Workspace) -> int:
    """The invented stock, to copy and edit."""
    write((DEMO / "stock.toml").read_text("utf-8"))
    return GOOD


def template_verb(arguments: Arguments, workspace: Workspace) -> int:
    """A template of the note or of the patient's sheet, to copy and edit."""
    from ..core.documents import chart_note, handout

    if arguments.what == "handout":
        text, known = handout.own_handout_template(), handout.placeholders()
    else:
        text, known = chart_note.own_note_template(arguments.what), chart_note.placeholders()
    write(text)
    if arguments.placeholders:
        write("\n".join(f"# {line}" for line in known))
    return GOOD


def tables_verb(arguments: Arguments, workspace: Workspace) -> int:
    """Visits or outcomes as a table, or the dictionary of both."""
    from ..core.documents.tables import Privacy, dictionary_text, outcomes_text, visits_text

    if arguments.what == "dictionary":
        write(dictionary_text(arguments.format))
        return GOOD
    privacy = Privacy(codes="kept", full_days=True) if arguments.with_codes else None
    if arguments.what == "outcomes":
        rows, status = _from_index(workspace, lambda index: index.outcomes())
        write(outcomes_text(rows, arguments.format, privacy))
        return status
    status = GOOD
    cases = []
    for path in sorted(workspace.cases.glob("*.toml")):
        if path.name.startswith("."):
            continue
        try:
            cases.append(workspace.open_case(str(path)).case)
        except AfocalError as refusal:
            say(refusal)
            status = DATA_WRONG
    write(visits_text(cases, arguments.format, privacy))
    return status


def look_back_verb(arguments: Arguments, workspace: Workspace) -> int:
    """Promises and outcomes over all cases."""
    from ..core.documents.look_back_report import look_back_page

    settings, problems = workspace.settings()
    for problem in problems:
        say(problem)
    text, status = _from_index(workspace, lambda index: look_back_page(index, settings))
    write(text)
    return DATA_WRONG if problems else status


def _from_index(workspace: Workspace, read: Callable[[CaseIndex], Found]) -> tuple[Found, int]:
    """Something of the index, brought up to date first; damaged files are told and leave out nobody else."""
    from ..core import paths
    from ..core.case_header import case_header
    from ..core.store.index import CaseIndex
    from ..core.store.refresh import refresh

    index = CaseIndex(workspace.cases, paths.index_file(workspace.cases))
    try:
        status = GOOD
        for progress in refresh(index, case_header):
            if progress.problem:
                say(progress.problem)
                status = DATA_WRONG
        for row in index.problems():
            say(FileRefusal(workspace.cases / row.name, row.problem))
            status = DATA_WRONG
        return read(index), status
    finally:
        index.close()
