"""The file check: kinds, findings with line and key, JSON, exit status; no file keeps another from being checked."""

from __future__ import annotations

import json
import os

import pytest

from afocal.core.errors import EntryRefusal, FileRefusal
from afocal.core.store.check import Checker, Finding, Validator, dotted_key, nearest_key

KNOWN = ("code", "power_d", "note")


def validate(subject):
    for key in subject.tables:
        if key not in KNOWN:
            yield subject.finding("unknown key", (key,), known=KNOWN, severity="warning")
    if not isinstance(subject.tables.get("power_d", 0.0), float):
        yield subject.finding("a number is expected here", ("power_d",))
    if subject.tables.get("note") == "file":
        raise FileRefusal(subject.path, "not one of ours", line=1)
    if subject.tables.get("note") == "entry":
        raise EntryRefusal("power", "x", "a number")


@pytest.fixture
def checker() -> Checker:
    checker = Checker()
    checker.register(Validator("cases", lambda path, tables: "code" in tables, validate))
    checker.register(Validator("stock", lambda path, tables: "telescope" in tables, lambda subject: []))
    return checker


def write(folder, **texts: str):
    for name, text in texts.items():
        path = folder / f"{name}.toml"
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    return folder


def test_good_files_give_status_0(checker, tmp_path):
    """Several kinds, counted by kind."""
    write(tmp_path, a="code = 'P1'\npower_d = 2.0", b="telescope = 1")
    report = checker.check([tmp_path])
    assert (report.exit_status, report.findings, report.checked) == (0, [], {"cases": 1, "stock": 1})
    assert report.lines() == ["checked: 1 case, 1 stock; 0 wrong, 0 to look at"]


def test_a_finding_has_file_line_key_reason_and_nearest_key(checker, tmp_path):
    """A warning alone leaves the status 0; an error makes it 1."""
    write(tmp_path, a="code = 'P1'\n\npowr_d = 2.0")
    report = checker.check([tmp_path / "a.toml"])
    assert report.exit_status == 0
    assert (
        report.lines()[0] == f"{tmp_path / 'a.toml'}:3: warning: powr_d: unknown key (did you mean power_d?)"
    )
    write(tmp_path, a="code = 'P1'\npower_d = 'two'")
    report = checker.check([tmp_path / "a.toml"])
    assert report.exit_status == 1
    assert report.lines()[0] == f"{tmp_path / 'a.toml'}:2: power_d: a number is expected here"


def test_json_has_one_shape(checker, tmp_path):
    """Every key in every finding, whatever is known; a schema number; status inside."""
    write(tmp_path, a="code = 'P1'\npowr_d = 2.0", b="code = [")
    report = checker.check([tmp_path, tmp_path / "none"])
    shape = json.loads(report.as_json())
    assert set(shape) == {"schema", "checked", "findings", "exit_status"}
    assert (shape["schema"], shape["exit_status"]) == (1, 2)
    assert all(
        set(each) == {"file", "line", "key", "reason", "nearest_key", "severity"}
        for each in shape["findings"]
    )
    assert len(shape["findings"]) == 3


def test_a_path_that_is_not_there_is_a_wrong_call(checker, tmp_path):
    """Status 2, the rest is checked all the same."""
    write(tmp_path, a="code = 'P1'")
    report = checker.check([tmp_path / "none.toml", tmp_path / "a.toml", tmp_path / "a\0b"])
    assert report.exit_status == 2
    assert report.checked == {"cases": 1}
    assert "not there" in report.lines()[0]


def test_one_bad_file_never_keeps_the_next_from_being_checked(checker, tmp_path):
    """Unreadable, unknown, refused by its validator, links and devices: one line each, neighbours checked."""
    write(
        tmp_path, a="code = [", b="other = 1", c="code = 'P1'\nnote = 'file'", d="code = 'P'\nnote = 'entry'"
    )
    write(tmp_path / "sub", z="code = 'P2'")
    (tmp_path / "e.toml").write_bytes(b"\xff\xfe\0")
    expected = {"unreadable": 2, "unknown": 1, "cases": 3}
    if os.name != "nt":
        (tmp_path / "f.toml").symlink_to("/dev/zero")
        os.mkfifo(tmp_path / "g.toml")
        expected["unreadable"] += 2
    report = checker.check([tmp_path])
    assert report.checked == expected
    assert len(report.findings) == sum(expected.values()) - 1
    assert all(line.isprintable() for line in report.lines())


def test_hidden_folders_are_not_checked(checker, tmp_path):
    """Earlier versions and leftovers are not the present record."""
    write(tmp_path / ".history" / "P1", a="code = [")
    write(tmp_path, **{".P1": "code = ["})
    assert checker.check([tmp_path]).checked == {}


@pytest.mark.skipif(os.name == "nt", reason="names as on POSIX")
def test_a_file_name_cannot_command_the_terminal(checker, tmp_path):
    """A name with escape sequences is shown harmlessly, also in JSON."""
    (tmp_path / "a\x1b[2J\n.toml").write_text("x", encoding="utf-8")
    report = checker.check([tmp_path])
    assert all(line.isprintable() for line in report.lines())
    assert "\\u001b" in json.loads(report.as_json())["findings"][0]["file"]


@pytest.mark.parametrize(
    ("key", "nearest"),
    [("powr_d", "power_d"), ("Note", "note"), ("xyz", ""), ("", "")],
)
def test_the_nearest_key_is_near(key, nearest):
    """A slip of the finger finds its key, anything else finds none."""
    assert nearest_key(key, KNOWN) == nearest


def test_keys_count_from_one_for_people():
    """visit[1] is the first visit."""
    assert dotted_key(("visit", 0, "goal", 1, "task")) == "visit[1].goal[2].task"
    refusal = FileRefusal("a", "b", line=2, key="c", nearest="d")
    assert str(Finding.of(refusal)) == str(refusal)
