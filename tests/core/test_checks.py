"""``afocal check``: each fault by file, line, key and reason; a good file says nothing."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import pytest

from afocal.core.case_file import dumps_case, loads_case
from afocal.core.checks import register_all
from afocal.core.signing import sign
from afocal.core.store.check import Checker
from afocal.core.workspace import demo_workspace

CASE = 'schema = 1\ncode = "T-1"\n\n[[visit]]\ndate = 2026-11-25\n'


@pytest.fixture
def checker() -> Checker:
    checker = Checker()
    register_all(checker)
    return checker


def lines(checker, path: Path, text: str):
    path.write_text(text, "utf-8")
    return checker.check([path])


def test_the_practice_set_is_clean(checker, tmp_path):
    """Nothing to say about the cases and the stock that come with the program."""
    demo_workspace(tmp_path)
    report = checker.check([tmp_path])
    assert report.exit_status == 0
    assert not report.findings
    assert report.checked["cases"] >= 6 and report.checked["stock"] == 1


@pytest.mark.parametrize(
    ("text", "line", "words", "status"),
    [
        (CASE + '[visit.right]\ndistance_acuity = "20 over 80"\n', 7, ["20 over 80", "for example"], 1),
        (
            CASE + '[visit.right]\ndistance_acuty = "20/80"\n',
            7,
            ["unknown key", "did you mean distance_acuity"],
            0,
        ),
        (CASE + "[visit.rigth]\nx = 1\n", 6, ["unknown key", "did you mean right"], 0),
        (
            CASE + '[visit.right]\ndistance_acuity = "20/80"\ndistance_acuity_logmar = 0.2\n',
            8,
            ["0.2", "typed text counts"],
            0,
        ),
        (CASE + '[[visit.goal]]\ndistance = "8 furlongs"\n', 7, ["8 furlongs"], 1),
        (CASE + '[[visit.goal]]\ndistanse = "8 m"\n', 7, ["did you mean distance"], 0),
        (CASE.replace("2026-11-25", "2026-02-30"), None, ["date"], 1),
        (
            'theme = "x"\nacuity_notaton = "logmar"\nacuity_notation = "logmar"\n',
            2,
            ["did you mean acuity_notation"],
            1,
        ),
        ("schema = 1\n[[telescope]]\nid = 3\n", 3, ["telescope[1].id"], 1),
    ],
)
def test_each_fault_is_named_by_line_key_and_reason(checker, tmp_path, text, line, words, status):
    """Errors make the exit status 1, warnings do not."""
    report = lines(checker, tmp_path / "x.toml", text)
    assert report.exit_status == status
    said = next(f for f in report.findings if all(word in str(f) for word in words))
    assert line is None or said.line == line


def test_a_signed_visit_that_was_altered_is_told(checker, tmp_path):
    """The digest is over the content; changing the case outside the program is seen."""
    demo = demo_workspace(tmp_path / "demo")
    case = demo.open_case("LQ-106").case
    signed = sign(case, "ro", datetime(2026, 11, 26, 9))
    path = tmp_path / "LQ-106.toml"
    assert not lines(checker, path, dumps_case(signed)).findings
    altered = dumps_case(signed).replace("HM at 0.5 m", "20/80")
    assert loads_case(altered).visit.signed
    report = lines(checker, path, altered)
    assert report.exit_status == 1
    assert any("changed outside" in str(finding) for finding in report.findings)


def test_a_file_named_otherwise_than_its_code_is_a_warning(tmp_path):
    """What a synchroniser renamed or somebody copied over: named, and no error."""
    text = 'schema = 1\ncode = "KM-014"\n[[visit]]\ndate = 2026-11-25\n'
    for name in ("KM-014.toml", "KM-014 (conflicted copy).toml"):
        (tmp_path / name).write_text(text, "utf-8")
    checker = Checker()
    register_all(checker)
    report = checker.check([tmp_path])
    (finding,) = report.findings
    assert (finding.path.name, finding.line, finding.key) == ("KM-014 (conflicted copy).toml", 2, "code")
    assert finding.severity == "warning" and report.exit_status == 0
