"""Templates are data: a closed set of placeholders, a clear error for anything else, nothing that runs."""

from __future__ import annotations

import documents_cases as cases
import pytest

from afocal.core.documents import chart_note, handout
from afocal.core.documents.template import Placeholder, read_template
from afocal.core.errors import FileRefusal

KNOWN = {
    each.name: each for each in (Placeholder("code", "the code"), Placeholder("goals", "the goals", True))
}


def _with(line: str) -> str:
    return f'schema = 1\n[[section]]\nheading = "A"\nfull = [\n  "{line}",\n]\n'


@pytest.mark.parametrize(
    ("line", "says", "nearest"),
    [
        ("{cod}", "unknown placeholder {cod}", "code"),
        ("{code.real}", "only a name of small letters", "code"),
        ("{code!r}", "only a name of small letters", "code"),
        ("{code:>10}", "only a name of small letters", "code"),
        ("{__class__}", "only a name of small letters", ""),
        ("{}", "only a name of small letters", ""),
        ("{0}", "only a name of small letters", ""),
        ("a { b", "a single {", ""),
        ("a } b", "a single }", ""),
        ("{{code}", "a single }", ""),
        ("Goals: {goals}", "alone on a line", ""),
        ("{goals} {goals}", "alone on a line", ""),
    ],
)
def test_what_a_line_may_not_hold_is_refused_with_its_line(line, says, nearest):
    """Unknown names, attributes, conversions and format codes are refused, with line, key and nearest name."""
    with pytest.raises(FileRefusal) as caught:
        read_template(_with(line), "own.toml", KNOWN)
    assert says in caught.value.reason
    assert caught.value.line == 5
    assert caught.value.key == "section[1].full"
    assert caught.value.nearest == nearest


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("schema = 2\n[[section]]\n", "schema = 1"),
        ("schema = 1\n", "at least one [[section]]"),
        ("schema = 1\nsection = 3\n", "at least one [[section]]"),
        ("schema = 1\n[[sektion]]\n", "unknown key"),
        ('schema = 1\n[[section]]\nheding = "A"\n', "unknown key"),
        ('schema = 1\n[[section]]\nform = "table"\n', "not one of lines, prose"),
        ("schema = 1\n[[section]]\nfull = 3\n", "a list of lines"),
        ("schema = 1\n[[section]]\nfull = [3]\n", "a list of lines"),
        ('schema = 1\n[[section]]\nheading = "a\\nb"\n', "one line"),
        ('schema = 1\n[[section]]\nwhen = "cap"\n', "unknown condition 'cap'"),
        ("schema = 1\n[[section]\n", "not readable as TOML"),
        ("x = " + "[" * 5000, "not readable as TOML"),
        ("#" * 70_000, "longer than"),
    ],
)
def test_what_a_template_may_not_be_is_refused(text, says):
    """Wrong structure is named; nothing is half used."""
    with pytest.raises(FileRefusal, match=r"own\.toml") as caught:
        read_template(text, "own.toml", KNOWN)
    assert says in caught.value.reason


def test_double_braces_are_plain_braces():
    """{{ and }} stand for themselves."""
    template = read_template(_with("{{code}} is {code}"), "own.toml", KNOWN)
    assert [(p.text, p.is_name) for p in template.sections[0].full[0]] == [
        ("{", False),
        ("code", False),
        ("}", False),
        (" is ", False),
        ("code", True),
    ]


@pytest.mark.parametrize("missing", ["urgent", "referrals", "assumed", "cautions", "made_by"])
def test_a_note_cannot_leave_out_what_must_be_said(missing):
    """A clinic's own note must hold referrals, assumptions, cautions and version in every length that it has."""
    needed = [name for name in ("urgent", "referrals", "assumed", "cautions", "made_by") if name != missing]
    rows = ", ".join(f'"{{{name}}}"' for name in needed)
    with pytest.raises(FileRefusal, match="leaves out") as caught:
        chart_note.note_template(f"schema = 1\n[[section]]\nfull = [{rows}]\n", "own.toml")
    assert f"{{{missing}}}" in caught.value.reason and caught.value.key == "full"


@pytest.mark.parametrize("order", ["soap", "narrative"])
def test_the_programs_own_templates_pass_their_own_check(order):
    """What comes with the program can be copied, edited and read back."""
    text = chart_note.own_note_template(order)
    assert chart_note.note_template(text, "own.toml").sections


def test_every_placeholder_is_documented_and_used():
    """Each name has a meaning, and each is used by one of the program's own templates, so that none is dead."""
    note = "".join(chart_note.own_note_template(order) for order in ("soap", "narrative"))
    unused = [name for name in chart_note.PLACEHOLDERS if f"{{{name}}}" not in note]
    assert unused == ["clinic"]
    sheet = handout.own_handout_template()
    assert [name for name in handout.PLACEHOLDERS if f"{{{name}}}" not in sheet] == []
    assert len(chart_note.placeholders()) == len(chart_note.PLACEHOLDERS)
    assert all(len(line.split()) > 2 for line in (*chart_note.placeholders(), *handout.placeholders()))


def test_a_cell_is_never_read_as_a_template():
    """What replaces a placeholder may hold braces; they stay as they are."""
    own = read_template(
        'schema = 1\n[[section]]\nfull = ["{free_notes}", "{examiner}"]\n',
        "own.toml",
        chart_note.PLACEHOLDERS,
    )
    case = cases.updated(
        cases.typed(cases.refused(), {"person.examiner": "{code}"}), notes="{made_by} {nonsense}"
    )
    assert (
        chart_note.chart_note(case, None, None, cases.SETTINGS, template=own)
        == "| {made_by} {nonsense}\n{code}\n"
    )
