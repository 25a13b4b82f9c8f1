"""The verbs of the command line, declared once, their arguments, and how one of them is run.

A verb is a function of the parsed arguments and the workspace. Nothing here is loaded when the screen is opened
without options.
"""

from __future__ import annotations

import argparse
import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import NoReturn

from ..core.workspace import DEMO, Workspace
from . import verbs, verbs_records
from .output import say
from .verbs import CALL_WRONG, Arguments


class Parser(argparse.ArgumentParser):
    """Says what is wrong with a call without passing on what a terminal would obey; options are never guessed."""

    def __init__(self, **more: object) -> None:
        super().__init__(allow_abbrev=False, **more)  # type: ignore[arg-type]

    def error(self, message: str) -> NoReturn:
        """Leave with status 2 and one line."""
        say(f"{self.prog}: {message} ('{self.prog} --help' tells what is accepted)")
        self.exit(CALL_WRONG)


@dataclass(frozen=True, slots=True)
class Verb:
    """One thing that can be done from the command line: its sentence, the function that does it, its arguments.

    ``touches`` marks a verb that writes into the folders in use: on the practice set it gets a copy.
    """

    sentence: str
    run: Callable[[Arguments, Workspace], int]
    arguments: Callable[[argparse.ArgumentParser], object] = lambda parser: None
    touches: bool = False


def _case(parser: argparse.ArgumentParser, **more: object) -> None:
    parser.add_argument("case", metavar="CASE", help="patient code, or path of a case file", **more)  # type: ignore[arg-type]


def _flag(parser: argparse.ArgumentParser, name: str, words: str) -> None:
    parser.add_argument(name, action="store_true", help=words)


def _plan_arguments(parser: argparse.ArgumentParser) -> None:
    _case(parser, nargs="?")
    _flag(parser, "--json", "the whole result as JSON, every number with its unit in its name")
    _flag(parser, "--all", "every option, not only the best ones")
    _flag(parser, "--describe", "what --json holds, key by key; needs no CASE")


def _note_arguments(parser: argparse.ArgumentParser) -> None:
    _case(parser)
    _flag(parser, "--brief", "the short note")
    parser.add_argument(
        "--narrative",
        dest="order",
        action="store_const",
        const="narrative",
        help="told in running text, not with the clinic's own template",
    )
    parser.add_argument(
        "--soap", dest="order", action="store_const", const="soap", help="in SOAP order, likewise"
    )
    _flag(parser, "--ascii", "plain ASCII letters only")


def _handout_arguments(parser: argparse.ArgumentParser) -> None:
    _case(parser)
    _flag(parser, "--html", "as an HTML page")


def _fhir_arguments(parser: argparse.ArgumentParser) -> None:
    _case(parser)
    parser.add_argument("--release", choices=("R4B", "R5"), default="R4B", help="R4B when left out")


def _check_arguments(parser: argparse.ArgumentParser) -> None:
    words = "files or folders; the cases, stock and settings in use when left out"
    parser.add_argument("paths", metavar="PATH", nargs="*", help=words)
    _flag(parser, "--json", "the report as JSON")


def _template_arguments(parser: argparse.ArgumentParser) -> None:
    words = "the note in SOAP order or as a narrative, or the patient's sheet"
    parser.add_argument(
        "what", choices=("soap", "narrative", "handout"), nargs="?", default="soap", help=words
    )
    _flag(parser, "--placeholders", "list what may stand in braces")


def _table_arguments(parser: argparse.ArgumentParser) -> None:
    words = "what to list; dictionary explains every column"
    parser.add_argument(
        "what", choices=("visits", "outcomes", "dictionary"), nargs="?", default="visits", help=words
    )
    parser.add_argument(
        "--format", choices=("csv", "jsonl"), default="csv", help="comma-separated, or a JSON object a line"
    )
    _flag(parser, "--with-codes", "keep patient codes and days")


class _OneOrTwo(argparse.Action):
    """One number or two."""

    def __call__(self, parser, namespace, values, option_string=None) -> None:  # type: ignore[override]
        count = len(list(values or ()))
        if count > 2:
            parser.error(f"argument {option_string}: one version or two, not {count}")
        setattr(namespace, self.dest, values)


def _history_arguments(parser: argparse.ArgumentParser) -> None:
    _case(parser)
    one = parser.add_mutually_exclusive_group()
    one.add_argument("--show", type=int, metavar="N", help="print version N")
    one.add_argument(
        "--compare",
        type=int,
        nargs="+",
        action=_OneOrTwo,
        metavar="N",
        help="what is different from version N to a second one, or to the present case (0, or left out)",
    )
    one.add_argument(
        "--restore",
        type=int,
        metavar="N",
        help="make version N the present one; what is signed stays as it was signed",
    )


def _remove_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("case", metavar="CODE", help="patient code, or a case file in the case folder")
    _flag(parser, "--yes", "really remove")


def _file_argument(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", metavar="FILE", help="the archive")


VERBS: dict[str, Verb] = {
    "plan": Verb(
        "what each telescope of the stock does for this person's goals, best first",
        verbs.plan_verb,
        _plan_arguments,
    ),
    "note": Verb("the chart note as plain text", verbs.note_verb, _note_arguments),
    "handout": Verb("the patient's sheet, large print", verbs.handout_verb, _handout_arguments),
    "order": Verb("the order for the workshop", verbs.order_verb, _case),
    "working": Verb(
        "every computed number of the note with symbols, numbers put in and source", verbs.working_verb, _case
    ),
    "fhir": Verb("the record as a FHIR bundle", verbs.fhir_verb, _fhir_arguments),
    "check": Verb(
        "what is wrong in case, stock, settings, theme, template and task files",
        verbs.check_verb,
        _check_arguments,
    ),
    "where": Verb("the folders in use and what they hold", verbs.where_verb, touches=True),
    "stock": Verb("an example stock file to start from", verbs.stock_verb),
    "fields": Verb("every key of a case file and what it takes", verbs.fields_verb),
    "template": Verb("a template to start from", verbs.template_verb, _template_arguments),
    "tables": Verb(
        "visits or outcomes as a table, without patient codes",
        verbs.tables_verb,
        _table_arguments,
        touches=True,
    ),
    "look-back": Verb(
        "what was promised and what came of it, over all cases", verbs.look_back_verb, touches=True
    ),
    "history": Verb(
        "earlier versions of a case", verbs_records.history_verb, _history_arguments, touches=True
    ),
    "remove": Verb(
        "delete a patient completely; lists first, removes with --yes",
        verbs_records.remove_verb,
        _remove_arguments,
        touches=True,
    ),
    "pack": Verb("all cases in one archive", verbs_records.pack_verb, _file_argument),
    "unpack": Verb(
        "cases from an archive; nothing is overwritten",
        verbs_records.unpack_verb,
        _file_argument,
        touches=True,
    ),
}


def screen_parser() -> Parser:
    listed = "\n".join(f"  {name:10} {verb.sentence}" for name, verb in VERBS.items())
    parser = Parser(
        prog="afocal",
        usage="afocal [--demo] [--cases DIR] [--stock FILE] [CASE | VERB ...]",
        description="Choose, compute, fit, check and document spectacle-mounted telescopes.",
        epilog=f"Without a verb the screen opens: the case list, or CASE.\n\nverbs:\n{listed}\n\n"
        "'afocal VERB --help' tells more. A case whose code is also a verb: afocal -- CODE.\n"
        "Other folders can also be named by AFOCAL_CASES, AFOCAL_STOCK, AFOCAL_CONFIG, AFOCAL_CACHE, AFOCAL_STATE.\n"
        "Exit status: 0 good, 1 the data is wrong, 2 the call is wrong.",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    _common(parser)
    _case(parser, nargs="?")
    _flag(parser, "--version", "the version of the program and of its formulas")
    return parser


def _common(parser: argparse.ArgumentParser) -> None:
    _flag(parser, "--demo", "invented practice cases and stock; nothing of it is kept")
    parser.add_argument("--cases", metavar="DIR", type=Path, help="folder of the case files")
    parser.add_argument("--stock", metavar="FILE", type=Path, help="the clinic's stock file")


def verb_in(words: Sequence[str]) -> int | None:
    """Where the verb stands: the first word that is not an option or an option's value."""
    skip = False
    for place, word in enumerate(words):
        if skip:
            skip = False
        elif word == "--":
            return None
        elif word in ("--cases", "--stock"):
            skip = True
        elif not word.startswith("-"):
            return place if word in VERBS else None
    return None


def workspace_of(arguments: Arguments, base: Workspace) -> Workspace:
    """The workspace with the folder and the stock that the call names."""
    return Workspace(
        arguments.cases or base.cases, arguments.stock or base.stock_path, base.settings_path, base.is_demo
    )


def run_verb(words: list[str], place: int) -> int:
    verb = VERBS[words[place]]
    parser = Parser(
        prog=f"afocal {words[place]}", description=f"{verb.sentence[0].upper()}{verb.sentence[1:]}."
    )
    _common(parser)
    verb.arguments(parser)
    arguments = parser.parse_args([*words[:place], *words[place + 1 :]])
    if not arguments.demo:
        return verb.run(arguments, workspace_of(arguments, Workspace()))
    if not verb.touches:
        practice = Workspace(DEMO / "cases", DEMO / "stock.toml", DEMO / "settings.toml", True)
        return verb.run(arguments, workspace_of(arguments, practice))
    return _run_on_copy(verb, arguments)


def _run_on_copy(verb: Verb, arguments: Arguments) -> int:
    """On a copy of the practice set, with folders of its own: nothing of the user's is read, written or deleted."""
    from ..core.practice import practice_folder
    from ..core.workspace import demo_workspace, practice_folders

    with practice_folder() as folder:
        before = dict(os.environ)
        try:
            os.environ.update(practice_folders(folder))
            return verb.run(arguments, workspace_of(arguments, demo_workspace(folder)))
        finally:
            os.environ.clear()
            os.environ.update(before)
