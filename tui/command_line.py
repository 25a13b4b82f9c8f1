"""The command line: opens the screen, or does one thing without it and without loading the screen library.

Results go to standard output, messages to standard error. Exit status: 0 good, 1 the data is wrong, 2 the call is
wrong. A verb is a function of the parsed arguments and the workspace; it is declared once, in ``VERBS``.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from ..core.errors import AfocalError, FileRefusal
from ..core.workspace import DEMO, Workspace

if TYPE_CHECKING:
    from ..core.case import Case
    from ..core.fitting.types import FittingSheet
    from ..core.plan.types import Plan
    from ..core.settings import Settings
    from ..core.store.index import CaseIndex

GOOD, DATA_WRONG, CALL_WRONG = 0, 1, 2

Arguments = argparse.Namespace


@dataclass(frozen=True, slots=True)
class Verb:
    """One thing that can be done from the command line: its sentence, its arguments, and the function that does it."""

    sentence: str
    run: Callable[[Arguments, Workspace], int]
    arguments: Callable[[argparse.ArgumentParser], object] = lambda parser: None


def say(text: object) -> None:
    """A message to the person, on standard error."""
    print(text, file=sys.stderr)


def write(text: str) -> None:
    """A result, on standard output, with exactly one line end at its end."""
    sys.stdout.write(text if text.endswith("\n") else text + "\n")


@dataclass(frozen=True, slots=True)
class _Made:
    """Everything that follows from one case file."""

    case: Case
    settings: Settings
    plan: Plan
    sheet: FittingSheet | None


def _make(name: str, workspace: Workspace, *, with_sheet: bool = True) -> _Made:
    """Read the case, the stock and the settings, say what is wrong with them, and plan."""
    from ..core.plan import plan

    case = _read(name, workspace)
    stock, stock_problems = workspace.stock()
    settings, settings_problems = workspace.settings()
    for problem in (*stock_problems, *settings_problems):
        say(problem)
    sheet = None
    if with_sheet and case.visit.choice is not None:
        from ..core.fitting.sheet import fitting_sheet

        sheet = fitting_sheet(case, stock, settings)
    return _Made(case, settings, plan(case, stock, settings), sheet)


def _read(name: str, workspace: Workspace) -> Case:
    case = workspace.open_case(name).case
    for visit in case.visits:
        for finding in visit.findings.values():
            if finding.problem:
                say(f"{case.code}, {visit.on.isoformat()}: {finding.problem}")
    return case


def _plan(arguments: Arguments, workspace: Workspace) -> int:
    from ..core.plan import plan_data

    made = _make(arguments.case, workspace, with_sheet=False)
    if arguments.json:
        write(json.dumps(plan_data(made.plan), ensure_ascii=False, indent=2, allow_nan=False))
    else:
        from ..core.documents.plan_page import plan_page

        write(plan_page(made.plan, made.settings, most=None if arguments.all else 5))
    return GOOD


def _note(arguments: Arguments, workspace: Workspace) -> int:
    from ..core.documents.chart_note import chart_note

    made = _make(arguments.case, workspace)
    letters = "ascii" if arguments.ascii or not _takes_utf8() else made.settings.letters
    order = "narrative" if arguments.narrative else made.settings.note_order
    length = "brief" if arguments.brief else "full"
    write(
        chart_note(
            made.case, made.plan, made.sheet, made.settings, length=length, order=order, letters=letters
        )
    )
    return GOOD


def _handout(arguments: Arguments, workspace: Workspace) -> int:
    from ..core.documents.handout import handout_html, handout_text

    made = _make(arguments.case, workspace)
    make = handout_html if arguments.html else handout_text
    write(make(made.case, made.plan, made.sheet, made.settings))
    return GOOD


def _order(arguments: Arguments, workspace: Workspace) -> int:
    from ..core.documents.order import order

    made = _make(arguments.case, workspace)
    letters = made.settings.letters if _takes_utf8() else "ascii"
    write(order(made.case, made.plan, made.sheet, made.settings).text(letters))
    return GOOD


def _working(arguments: Arguments, workspace: Workspace) -> int:
    from ..core.documents.working_sheet import working_sheet

    made = _make(arguments.case, workspace)
    write(working_sheet(made.case, made.plan, made.sheet, made.settings))
    return GOOD


def _fhir(arguments: Arguments, workspace: Workspace) -> int:
    from ..core.documents.fhir import fhir_text

    made = _make(arguments.case, workspace)
    write(fhir_text(made.case, made.plan, made.sheet, made.settings, release=arguments.release))
    return GOOD


def _check(arguments: Arguments, workspace: Workspace) -> int:
    from ..core.checks import register_all
    from ..core.store.check import Checker
    from .theme_check import register_themes

    checker = Checker()
    register_themes(checker)
    register_all(checker)
    report = checker.check([Path(path) for path in arguments.paths] or [workspace.cases])
    write(report.as_json() if arguments.json else "\n".join(report.lines()))
    return report.exit_status


def _where(arguments: Arguments, workspace: Workspace) -> int:
    from ..core.paths import places

    for place in places(workspace.cases, workspace.stock_path):
        there = "" if place.path.exists() else "  (not there yet)"
        write(f"{place.name:10} {place.path}{there}\n           {place.holds}")
    write("To delete a patient completely, with history, index and recovery copies: afocal remove CODE")
    return GOOD


def _stock(arguments: Arguments, workspace: Workspace) -> int:
    write((DEMO / "stock.toml").read_text("utf-8"))
    return GOOD


def _template(arguments: Arguments, workspace: Workspace) -> int:
    from ..core.documents.chart_note import own_note_template, placeholders

    write(own_note_template(arguments.order))
    if arguments.placeholders:
        write("\n".join(f"# {line}" for line in placeholders()))
    return GOOD


def _tables(arguments: Arguments, workspace: Workspace) -> int:
    from ..core.documents.tables import Privacy, dictionary_text, outcomes_text, visits_text

    if arguments.what == "dictionary":
        write(dictionary_text(arguments.format))
        return GOOD
    privacy = Privacy(codes="kept", full_days=True) if arguments.with_codes else None
    if arguments.what == "outcomes":
        write(outcomes_text(_outcomes(workspace), arguments.format, privacy))
        return GOOD
    status = GOOD
    cases = []
    for path in sorted(workspace.cases.glob("*.toml")):
        try:
            cases.append(workspace.open_case(str(path)).case)
        except FileRefusal as refusal:
            say(refusal)
            status = DATA_WRONG
    write(visits_text(cases, arguments.format, privacy))
    return status


def _look_back(arguments: Arguments, workspace: Workspace) -> int:
    from ..core.documents.look_back_report import look_back_page

    index = _fresh_index(workspace)
    try:
        write(look_back_page(index, workspace.settings()[0]))
    finally:
        index.close()
    return GOOD


def _outcomes(workspace: Workspace) -> list[dict[str, object]]:
    """The outcome rows of the index, brought up to date first."""
    index = _fresh_index(workspace)
    try:
        return index.outcomes()
    finally:
        index.close()


def _fresh_index(workspace: Workspace) -> CaseIndex:
    from ..core import paths
    from ..core.case_header import case_header
    from ..core.store.index import CaseIndex
    from ..core.store.refresh import refresh

    index = CaseIndex(workspace.cases, paths.index_file(workspace.cases))
    for _ in refresh(index, case_header):
        pass
    return index


def _history(arguments: Arguments, workspace: Workspace) -> int:
    from ..core.store import history

    path = workspace.case_path(arguments.case)
    found = history.versions(path)
    if arguments.restore is None and arguments.show is None:
        for number, version in enumerate(found, 1):
            write(f"{number:4}  {version.name}")
        if not found:
            say(f"{path}: no earlier versions are kept yet")
        return GOOD
    number = arguments.restore or arguments.show
    if not 1 <= number <= len(found):
        say(f"version: {number}; accepted is 1 to {len(found)} (see 'afocal history {arguments.case}')")
        return CALL_WRONG
    version = found[number - 1]
    if arguments.show is not None:
        write(history.read_version(version))
        return GOOD
    history.restore(path, version)
    say(f"{path}: restored as it was in {version.name}; the version before stays in the history")
    return GOOD


def _remove(arguments: Arguments, workspace: Workspace) -> int:
    from ..core import paths
    from ..core.store.index import CaseIndex
    from ..core.store.remove import remove_patient, traces

    path = workspace.case_path(arguments.case)
    found = traces(path, paths.recovery_dir())
    if not found:
        say(f"{path}: nothing is stored about this case")
        return CALL_WRONG
    if not arguments.yes:
        write("\n".join(map(str, found)))
        say(
            f"Nothing was removed. To remove these {len(found)} for good: afocal remove {arguments.case} --yes"
        )
        return GOOD
    index = CaseIndex(workspace.cases, paths.index_file(workspace.cases))
    try:
        removal = remove_patient(path, paths.recovery_dir(), index)
    finally:
        index.close()
    write("\n".join(f"removed {each}" for each in removal.removed))
    for refusal in removal.left:
        say(refusal)
    say(removal.note)
    return GOOD if removal.is_complete else DATA_WRONG


def _pack(arguments: Arguments, workspace: Workspace) -> int:
    from ..core.store.archive import pack

    packed = pack(workspace.cases, Path(arguments.file), _clinic_files(workspace))
    write(f"{packed.path}: {packed.files} files packed")
    for refusal in packed.left_out:
        say(refusal)
    return DATA_WRONG if packed.left_out else GOOD


def _unpack(arguments: Arguments, workspace: Workspace) -> int:
    from ..core.store.archive import unpack

    done = unpack(Path(arguments.file), workspace.cases, _clinic_files(workspace))
    write(f"{len(done.written)} written, {len(done.same)} there already")
    for path in done.different:
        say(f"{path}: differs from the one in the archive and was left as it is")
    return DATA_WRONG if done.different else GOOD


def _clinic_files(workspace: Workspace) -> dict[str, Path]:
    return {"stock.toml": workspace.stock_path, "settings.toml": workspace.settings_path}


def _case(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("case", metavar="CASE", help="patient code, or path of a case file")


def _case_and(*options: tuple[str, dict[str, object]]) -> Callable[[argparse.ArgumentParser], None]:
    def add(parser: argparse.ArgumentParser) -> None:
        _case(parser)
        for flag, more in options:
            parser.add_argument(flag, **more)  # type: ignore[arg-type]

    return add


def _flag(words: str) -> dict[str, object]:
    return {"action": "store_true", "help": words}


def _check_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "paths", metavar="PATH", nargs="*", help="files or folders; the case folder when left out"
    )
    parser.add_argument("--json", action="store_true", help="the report as JSON")


def _table_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("what", choices=("visits", "outcomes", "dictionary"), nargs="?", default="visits")
    parser.add_argument("--format", choices=("csv", "jsonl"), default="csv")
    parser.add_argument("--with-codes", action="store_true", help="keep patient codes and days")


def _file_argument(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", metavar="FILE", help="the archive")


def _template_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("order", choices=("soap", "narrative"), nargs="?", default="soap")
    parser.add_argument("--placeholders", action="store_true", help="list what may stand in braces")


VERBS: dict[str, Verb] = {
    "plan": Verb(
        "what each telescope of the stock does for this person's goals, best first",
        _plan,
        _case_and(
            ("--json", _flag("the whole result as JSON")),
            ("--all", _flag("every option and refusal, not the best five")),
        ),
    ),
    "note": Verb(
        "the chart note as plain text",
        _note,
        _case_and(
            ("--brief", _flag("the short note")),
            ("--narrative", _flag("as a narrative, not in SOAP order")),
            ("--ascii", _flag("plain ASCII letters only")),
        ),
    ),
    "handout": Verb(
        "the patient's sheet, large print", _handout, _case_and(("--html", _flag("as an HTML page")))
    ),
    "order": Verb("the order for the workshop", _order, _case),
    "working": Verb(
        "every computed number of the note with symbols, numbers put in and source", _working, _case
    ),
    "fhir": Verb(
        "the record as a FHIR bundle",
        _fhir,
        _case_and(("--release", {"choices": ("R4B", "R5"), "default": "R4B", "help": "R4B when left out"})),
    ),
    "check": Verb("what is wrong in case, stock, settings and theme files", _check, _check_arguments),
    "where": Verb("the folders in use and what they hold", _where),
    "stock": Verb("an example stock file to start from", _stock),
    "template": Verb("the note template to start from", _template, _template_arguments),
    "tables": Verb("visits or outcomes as a table, without patient codes", _tables, _table_arguments),
    "look-back": Verb("what was promised and what came of it, over all cases", _look_back),
    "history": Verb(
        "earlier versions of a case",
        _history,
        _case_and(
            ("--show", {"type": int, "metavar": "N", "help": "print version N"}),
            ("--restore", {"type": int, "metavar": "N", "help": "make version N the present one"}),
        ),
    ),
    "remove": Verb(
        "delete a patient completely; lists first, removes with --yes",
        _remove,
        _case_and(("--yes", _flag("really remove"))),
    ),
    "pack": Verb("all cases in one archive", _pack, _file_argument),
    "unpack": Verb("cases from an archive; nothing is overwritten", _unpack, _file_argument),
}


def _parser() -> argparse.ArgumentParser:
    verbs = "\n".join(f"  {name:10} {verb.sentence}" for name, verb in VERBS.items())
    parser = argparse.ArgumentParser(
        prog="afocal",
        usage="afocal [--demo] [--cases DIR] [--stock FILE] [CASE | VERB ...]",
        description="Choose, compute, fit, check and document spectacle-mounted telescopes.",
        epilog=f"Without a verb the screen opens: the case list, or CASE.\n\nverbs:\n{verbs}\n\n"
        "'afocal VERB --help' tells more.",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    _common(parser)
    parser.add_argument("case", metavar="CASE", nargs="?", help="patient code, or path of a case file")
    parser.add_argument(
        "--version", action="store_true", help="the version of the program and of its formulas"
    )
    return parser


def _common(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--demo", action="store_true", help="invented practice cases and stock, in a temporary folder"
    )
    parser.add_argument("--cases", metavar="DIR", type=Path, help="folder of the case files")
    parser.add_argument("--stock", metavar="FILE", type=Path, help="the clinic's stock file")


def _verb_in(words: Sequence[str]) -> int | None:
    """Where the verb stands: the first word that is not an option or an option's value."""
    skip = False
    for place, word in enumerate(words):
        if skip:
            skip = False
        elif word in ("--cases", "--stock"):
            skip = True
        elif not word.startswith("-"):
            return place if word in VERBS else None
    return None


def _workspace(arguments: Arguments) -> Workspace:
    base = (
        Workspace(DEMO / "cases", DEMO / "stock.toml", DEMO / "settings.toml", True)
        if arguments.demo
        else Workspace()
    )
    return Workspace(
        arguments.cases or base.cases, arguments.stock or base.stock_path, base.settings_path, base.is_demo
    )


def _takes_utf8() -> bool:
    return (sys.stdout.encoding or "").lower().replace("-", "") in ("utf8", "cp65001")


def main(words: Sequence[str] | None = None) -> int:
    """Run the command line and return the exit status."""
    words = list(sys.argv[1:] if words is None else words)
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")  # type: ignore[union-attr]
    place = _verb_in(words)
    try:
        if place is None:
            return _open_screen(_parser().parse_args(words))
        name = words[place]
        parser = argparse.ArgumentParser(prog=f"afocal {name}", description=VERBS[name].sentence)
        _common(parser)
        VERBS[name].arguments(parser)
        arguments = parser.parse_args([*words[:place], *words[place + 1 :]])
        return VERBS[name].run(arguments, _workspace(arguments))
    except BrokenPipeError:
        # Whoever read the output has seen enough; a second failure at exit must not be reported either.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return GOOD
    except FileRefusal as refusal:
        say(refusal)
        return CALL_WRONG if refusal.reason == "there is no such case" else DATA_WRONG
    except AfocalError as error:
        say(error)
        return DATA_WRONG


def _open_screen(arguments: Arguments) -> int:
    if arguments.version:
        from ..core.documents.version import made_by

        write(made_by())
        return GOOD
    from .terminal import refusal_for_terminal

    refusal = refusal_for_terminal(os.environ)
    if refusal or not (sys.stdin.isatty() and sys.stdout.isatty()):
        say(refusal or "The screen needs a terminal; 'afocal --help' lists what works without one.")
        return CALL_WRONG
    from .start import open_screen

    return open_screen(arguments)
