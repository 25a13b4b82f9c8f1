"""Damaged files by the thousand through the check and through the list: a finding each, never a traceback.

``AFOCAL_MUTATIONS`` sets how many are tried (400 when left out; 20000 takes some minutes).
"""

from __future__ import annotations

import os
import random
from pathlib import Path

import pytest

from afocal.core.case_file import dumps_case, loads_case
from afocal.core.case_header import case_header
from afocal.core.checks import register_all
from afocal.core.errors import FileRefusal
from afocal.core.store.check import Checker
from afocal.core.store.index import header_of
from afocal.core.store.index_schema import FileState
from afocal.core.store.reading import decode
from afocal.core.workspace import DEMO
from afocal.tui.theme_check import register_themes

ROOT = Path(__file__).parents[2]
COUNT = int(os.environ.get("AFOCAL_MUTATIONS", "400"))
SEEDS = 4
FILES = sorted([*(ROOT / "core" / "data").rglob("*.toml"), *(ROOT / "themes").glob("*.toml")])
CASES = sorted((DEMO / "cases").glob("*.toml"))
PIECES = [
    b"\x00", b"\x1b[2J", b"\xff\xfe", b'"', b"'''", b"[[", b"]]", b"{", b"=", b"\n", b"\r", b"#", b"nan", b"inf", b"-inf",
    b"1e999", b"9" * 500, b"true", b"2026-13-40", b"{a={a={a=1}}}", b"[" * 60, b"a." * 40, "−".encode(), "\u202e".encode(),
    b"schema = 99", b"schema = true", b"[[visit]]", b"[visit]", b"visit = 3", b'code = "../../x"', b"[[visit.goal]]", b"[visit.signature]",
    b"\xf0\x9f\x98", b'"\\u0000"', b'"\\u001b"', b"[[telescope]]", b"[[section]]", b"[[task]]", b"section = [1]", b"[colours]", b"''", b"[]", b"{}", b"0x7fffffffffffffff",
]  # fmt: skip


def mutated(data: bytes, chance: random.Random) -> bytes:
    """One to four wounds: cut, doubled, overwritten, swapped lines, a value exchanged, strange pieces put in."""
    for _ in range(chance.randint(1, 4)):
        at = chance.randrange(len(data) + 1)
        kind = chance.randrange(8)
        if kind == 0:
            data = data[:at]
        elif kind == 1:
            data = data[:at] + chance.choice(PIECES) + data[at:]
        elif kind == 2:
            data = data[:at] + bytes([chance.randrange(256)]) + data[at + 1 :]
        elif kind == 3:
            data = data[:at] + data[at + chance.randrange(1, 60) :]
        elif kind == 4:
            rows = data.split(b"\n")
            chance.shuffle(rows)
            data = b"\n".join(rows) if chance.random() < 0.3 else data + b"\n" + chance.choice(rows)
        else:
            rows = data.split(b"\n")
            number = chance.randrange(len(rows))
            key, equals, _ = rows[number].partition(b"=")
            if equals:
                rows[number] = key + b"= " + chance.choice(PIECES)
            data = b"\n".join(rows)
    return data


@pytest.fixture(scope="module")
def checker() -> Checker:
    made = Checker()
    register_themes(made)
    register_all(made)
    return made


@pytest.mark.parametrize("seed", range(SEEDS))
def test_a_mutated_file_is_checked_without_a_traceback(checker, tmp_path, seed):
    """Every kind of file: each finding is one printable line with the file in it."""
    chance = random.Random(seed)
    names = {path: path.name for path in FILES}
    for number in range(COUNT // SEEDS):
        source = chance.choice(FILES)
        path = tmp_path / f"{number}-{names[source]}"
        path.write_bytes(mutated(source.read_bytes(), chance))
        _, findings = checker.check_file(path)
        for finding in findings:
            assert str(finding).isprintable() and str(path) in str(finding), (seed, number, str(finding))
        path.unlink()


@pytest.mark.parametrize("seed", range(SEEDS))
def test_a_mutated_case_is_checked_listed_and_opened_without_a_traceback(checker, tmp_path, seed):
    """The check names it in printable lines, the list has a row or a problem, opening gives a case or a refusal, and
    the neighbour in the folder is clean all the while."""
    chance = random.Random(1000 + seed)
    neighbour = tmp_path / CASES[0].name
    neighbour.write_bytes(CASES[0].read_bytes())
    for number in range(COUNT // SEEDS):
        data = mutated(chance.choice(CASES).read_bytes(), chance)
        path = tmp_path / f"{number}.toml"
        path.write_bytes(data)
        if number % 100 == 0:
            report = checker.check([tmp_path])
            assert report.exit_status in (0, 1) and not [
                each for each in report.findings if each.path == neighbour
            ]
            findings = report.findings
        else:
            _, findings = checker.check_file(path)
        for finding in findings:
            assert str(finding).isprintable() and str(path) in str(finding), (seed, number, str(finding))
        path.unlink()
        try:
            text = decode(path, data)
        except FileRefusal:
            continue
        made = header_of(path, FileState(path.name, 1, 1, len(data)), text, case_header)
        assert "cannot be read as a case (" not in made.problem, (seed, number, made.problem, text)
        try:
            case = loads_case(text, path)
        except FileRefusal:
            continue
        assert not made.problem, (seed, number, made.problem)
        assert loads_case(dumps_case(case), path) == case, (seed, number)


@pytest.mark.parametrize(
    ("name", "text", "line", "words"),
    [
        ("note.toml", 'schema = 1\n[[section]]\nfull = ["{ametropia}"]\n', 3, "unknown placeholder"),
        ("note.toml", 'schema = 1\n[[section]]\nheadng = "x"\n', 3, "did you mean heading"),
        ("handout.toml", 'schema = 1\n[[section]]\nwhen = "rain"\n', 3, "unknown condition"),
        (
            "tasks.toml",
            'schema = 1\n[[task]]\nname = "a"\n[[task]]\nname = "b"\ndistanse = "4 m"\n',
            6,
            "did you mean distance",
        ),
        ("tasks.toml", 'schema = 1\n[[task]]\nname = "a"\ndistance = "4 furlongs"\n', 4, "furlongs"),
        ("tasks.toml", "schema = 1\n[[task]]\nname = 3\n", 3, "needs a name"),
        ("mine.toml", 'polarity = "dark"\n[colours]\nground = "red"\n', None, "mine.toml"),
    ],
)
def test_templates_tasks_and_themes_are_known_and_named_by_line(checker, tmp_path, name, text, line, words):
    """Each fault stands with its line."""
    path = tmp_path / name
    path.write_text(text, "utf-8")
    kind, findings = checker.check_file(path)
    assert kind in ("templates", "tasks", "themes")
    assert findings and words in str(findings[0])
    assert line is None or findings[0].line == line


def test_everything_that_comes_with_the_program_is_clean(checker):
    """Data and themes of the program itself: every file is of a known kind, and nothing is to be said."""
    report = checker.check([ROOT / "core" / "data", ROOT / "themes"])
    assert (report.exit_status, report.findings) == (0, [])
    assert {"cases", "stock", "tasks", "templates", "themes"} == set(report.checked)
