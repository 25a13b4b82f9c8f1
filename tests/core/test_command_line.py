"""The command line: each verb on a good path, with a wrong call and with wrong data; what goes where; what it loads."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

from afocal.core.case_file import loads_case
from afocal.core.plan.data import OPTIONS_SHOWN
from afocal.core.workspace import DEMO, demo_workspace
from afocal.tui.calls import VERBS
from afocal.tui.command_line import main

CODES = sorted(path.stem for path in (DEMO / "cases").glob("*.toml"))
SECONDS = 60


@pytest.fixture(autouse=True)
def clinic(tmp_path: Path, monkeypatch) -> Path:
    """A clinic of its own with the practice cases as real ones; returns its folder."""
    demo_workspace(tmp_path)
    for name, place in {
        "CASES": "cases",
        "STOCK": "stock.toml",
        "CONFIG": "config",
        "CACHE": "cache",
        "STATE": "state",
    }.items():
        monkeypatch.setenv(f"AFOCAL_{name}", str(tmp_path / place))
    monkeypatch.chdir(tmp_path)
    return tmp_path


def run(capsys, *words: str) -> tuple[int, str, str]:
    """Exit status, standard output and standard error of one call."""
    try:
        status = main(list(words))
    except SystemExit as end:
        status = int(end.code or 0)
    out, err = capsys.readouterr()
    return status, out, err


def process(*words: str, **more) -> subprocess.CompletedProcess[bytes]:
    """The same in a process of its own."""
    return subprocess.run(
        [sys.executable, "-m", "afocal.tui", *words],
        capture_output=True,
        timeout=SECONDS,
        check=False,
        **more,
    )


GOOD_CALLS = [
    ("plan", "LQ-101"),
    ("plan", "LQ-104", "--all"),
    ("plan", "LQ-101", "--json"),
    ("plan", "--describe"),
    ("note", "LQ-102", "--brief"),
    ("note", "LQ-102", "--narrative", "--ascii"),
    ("note", "LQ-102", "--soap"),
    ("handout", "LQ-107"),
    ("handout", "LQ-107", "--html"),
    ("working", "LQ-107"),
    ("fhir", "LQ-107"),
    ("fhir", "LQ-107", "--release", "R5"),
    ("check",),
    ("check", "--json"),
    ("where",),
    ("stock",),
    ("fields",),
    ("template",),
    ("template", "narrative"),
    ("template", "handout", "--placeholders"),
    ("tables",),
    ("tables", "outcomes", "--format", "jsonl"),
    ("tables", "dictionary"),
    ("tables", "visits", "--with-codes"),
    ("look-back",),
    ("remove", "LQ-101"),
]


@pytest.mark.parametrize("call", GOOD_CALLS, ids=" ".join)
@pytest.mark.parametrize("demo", [False, True], ids=["own", "demo"])
def test_every_verb_gives_its_result_on_standard_output(capsys, call, demo):
    """Status 0, a result, and nothing that is not a message on standard error."""
    status, out, err = run(capsys, *(["--demo"] if demo else []), *call)
    assert status == 0, err
    assert out.endswith("\n") and not out.endswith("\n\n\n")
    assert "Traceback" not in err
    if call[0] not in ("remove", "where"):
        assert not err
    if "--json" in call or call[0] == "fhir":
        json.loads(out)


def test_every_verb_is_tried_here():
    """Those that change something have tests of their own below."""
    assert {call[0] for call in GOOD_CALLS} | {"order", "history", "pack", "unpack"} == set(VERBS)


@pytest.mark.parametrize("name", VERBS)
def test_every_verb_explains_itself_and_refuses_what_it_does_not_know(capsys, name):
    """--help is a result; an unknown option is a wrong call, named, and nothing is done."""
    status, out, err = run(capsys, name, "--help")
    assert (status, err) == (0, "")
    assert out.startswith(f"usage: afocal {name}") and "--demo" in out
    status, out, err = run(capsys, name, "--colour\x1b[2J")
    assert (status, out) == (2, "")
    assert f"afocal {name}" in err and "\x1b" not in err


@pytest.mark.parametrize(
    "call",
    [
        ("plan",),
        ("note",),
        ("plan", "LQ-101", "LQ-102"),
        ("plan", "LQ-101", "--js"),
        ("--case", "x", "plan", "LQ-101"),
        ("plan", "NOBODY-1"),
        ("note", "nowhere/NOBODY-1.toml"),
        ("fhir", "LQ-101", "--release", "R3"),
        ("tables", "everything"),
        ("history", "LQ-101", "--show", "9"),
        ("history", "LQ-101", "--show", "x"),
        ("history", "LQ-101", "--show", "1", "--restore", "1"),
        ("history", "NOBODY-1"),
        ("remove", "NOBODY-1"),
        ("remove", "../stock.toml"),
        ("remove", "stock.toml"),
        ("pack",),
        ("check", "nowhere.toml"),
        ("--cases",),
        ("nothing", "known"),
    ],
    ids=" ".join,
)
def test_a_wrong_call_is_status_2_and_one_sentence(capsys, call):
    """Nothing on standard output; the message says what was wrong."""
    status, out, err = run(capsys, *call)
    assert status == 2
    assert call[0] == "check" or out == ""
    assert err.strip() or call[0] == "check"
    assert "Traceback" not in err


@pytest.mark.parametrize(
    "name",
    [
        "../x",
        "../../etc/passwd",
        "a/../../b",
        "\x1b[2J",
        "a\nb",
        "~nobody-of-that-name/x",
        "x" * 5000,
        "con",
        ".",
        "..",
        "/",
        "\udc80",
        "-",
    ],
)
@pytest.mark.parametrize("verb", ["plan", "note", "history", "remove"])
def test_a_hostile_name_is_refused_in_one_clean_line(capsys, verb, name):
    """No traceback, no escape sequence, nothing read from elsewhere, nothing removed."""
    status, out, err = run(capsys, verb, name)
    assert status in (1, 2) and out == ""
    assert err.strip() and "Traceback" not in err
    assert all(line.isprintable() for line in err.splitlines())


def test_a_case_goes_by_code_by_file_name_and_by_path(capsys, clinic, tmp_path):
    """All three name the same case; a bare code always means the case folder."""
    texts = {
        run(capsys, "plan", name)[1]
        for name in ("LQ-103", "LQ-103.toml", str(clinic / "cases" / "LQ-103.toml"), "cases/LQ-103.toml")
    }
    assert len(texts) == 1


def test_folder_and_stock_go_by_option_before_and_after_the_verb(capsys, clinic, monkeypatch, tmp_path):
    """--cases and --stock win over the environment, in both spellings."""
    other = tmp_path / "other"
    other.mkdir()
    (clinic / "cases" / "LQ-103.toml").rename(other / "LQ-103.toml")
    (clinic / "stock.toml").rename(other / "s.toml")
    assert run(capsys, "plan", "LQ-103")[0] == 2
    for call in (
        ("--cases", str(other), "--stock", str(other / "s.toml"), "plan", "LQ-103"),
        ("plan", "LQ-103", f"--cases={other}", f"--stock={other / 's.toml'}"),
    ):
        status, out, err = run(capsys, *call)
        assert (status, err) == (0, "") and "1. " in out


def test_without_a_stock_the_plan_says_so(capsys, clinic):
    """The result is there, the message says what is missing, the status says that the data is wrong."""
    (clinic / "stock.toml").unlink()
    status, out, err = run(capsys, "plan", "LQ-101")
    assert status == 1 and out
    assert "no stock file yet" in err and "afocal stock" in err


@pytest.mark.parametrize("verb", ["plan", "note", "handout", "order", "working", "fhir"])
def test_a_damaged_case_is_named_with_line_and_reason(capsys, clinic, verb):
    """Status 1, file and line on standard error, no half result."""
    path = clinic / "cases" / "LQ-101.toml"
    path.write_text(path.read_text("utf-8") + "\n[[visit\n", "utf-8")
    status, out, err = run(capsys, verb, "LQ-101")
    assert (status, out) == (1, "")
    assert f"LQ-101.toml:{path.read_text('utf-8').count(chr(10))}" in err


def test_a_value_that_cannot_be_read_is_told_and_the_rest_is_used(capsys, clinic):
    """The plan is made without it; the status tells a calling program that something in the data is wrong."""
    path = clinic / "cases" / "LQ-101.toml"
    changed = re.sub(r"(?m)^pupil = .*$", 'pupil = "a thumb"', path.read_text("utf-8"), count=1)
    path.write_text(changed, "utf-8")
    status, out, err = run(capsys, "plan", "LQ-101")
    assert status == 1 and "1. " in out
    assert "a thumb" in err and "LQ-101" in err


def test_an_order_that_cannot_be_written_names_what_is_open(capsys):
    """Status 1 and the obstacles; no half order."""
    status, out, err = run(capsys, "order", "LQ-101")
    assert (status, out) == (1, "") and "No device is chosen" in err


def test_a_code_that_is_also_a_verb(capsys, clinic):
    """After the verb it is a code; after -- it is a case for the screen."""
    text = (clinic / "cases" / "LQ-101.toml").read_text("utf-8").replace("LQ-101", "plan")
    (clinic / "cases" / "plan.toml").write_text(text, "utf-8")
    assert run(capsys, "plan", "plan")[0] == 0
    status, out, err = run(capsys, "--", "plan")
    assert ((status, out) == (2, "") and "screen needs a terminal" in err) or "TERM" in err


def test_without_a_terminal_the_screen_is_refused_in_words(capsys):
    """Status 2 and what works without one."""
    for call in ((), ("LQ-101",), ("--demo",)):
        status, out, err = run(capsys, *call)
        assert (status, out) == (2, "") and ("afocal --help" in err or "afocal plan" in err)


def test_help_lists_every_verb_and_version_tells_the_formulas(capsys):
    """Both are results."""
    status, out, err = run(capsys, "--help")
    assert (status, err) == (0, "")
    assert all(f"\n  {name} " in out for name in VERBS)
    assert "AFOCAL_CASES" in out
    status, out, err = run(capsys, "--version")
    assert (status, err) == (0, "") and out.startswith("afocal ") and "formulas" in out


def test_versions_are_listed_shown_and_restored(capsys, clinic):
    """Restoring makes the earlier version the present one and keeps what stood there."""
    from afocal.core.store.files import current_stamp
    from afocal.core.store.history import save_case

    path = clinic / "cases" / "LQ-101.toml"
    first = path.read_text("utf-8")
    status, out, err = run(capsys, "history", "LQ-101")
    assert (status, out) == (0, "") and "no earlier versions" in err
    save_case(path, first + "# two\n", current_stamp(path))
    status, out, err = run(capsys, "history", "LQ-101")
    assert (status, err) == (0, "") and out.split()[0] == "1"
    assert run(capsys, "history", "LQ-101", "--show", "1")[1] == first
    status, out, err = run(capsys, "history", "LQ-101", "--restore", "1")
    assert (status, out) == (0, "") and "restored" in err
    assert path.read_text("utf-8") == first
    kept = run(capsys, "history", "LQ-101")[1]
    assert "kept for good" in kept
    path.unlink()
    assert run(capsys, "history", "LQ-101", "--restore", "1")[0] == 0 and path.exists()


def test_packing_and_unpacking_bring_cases_stock_and_settings_and_overwrite_nothing(
    capsys, clinic, tmp_path, monkeypatch
):
    """What is there already with another content stays and is named."""
    archive = tmp_path / "all.zip"
    (clinic / "config").mkdir()
    (clinic / "config" / "settings.toml").write_text('acuity_notation = "logmar"\n', "utf-8")
    status, out, err = run(capsys, "pack", str(archive))
    assert (status, err) == (0, "") and f"{len(CODES) + 2} files" in out
    assert {"clinic/stock.toml", "clinic/settings.toml"} <= set(zipfile.ZipFile(archive).namelist())
    assert run(capsys, "pack", str(archive))[0] == 1
    for name in ("CASES", "CONFIG", "STOCK"):
        monkeypatch.setenv(f"AFOCAL_{name}", str(tmp_path / "new" / name.lower()))
    status, out, err = run(capsys, "unpack", str(archive))
    assert (status, err) == (0, "") and f"{len(CODES) + 2} written" in out
    assert run(capsys, "check")[0] == 0
    changed = tmp_path / "new" / "cases" / "LQ-101.toml"
    changed.write_text(changed.read_text("utf-8") + "# mine\n", "utf-8")
    status, out, err = run(capsys, "unpack", str(archive))
    assert status == 1 and "LQ-101.toml" in err and changed.read_text("utf-8").endswith("# mine\n")
    (tmp_path / "no.zip").write_bytes(b"PK")
    assert run(capsys, "unpack", str(tmp_path / "no.zip"))[0] == 1


def test_check_tells_faults_by_file_and_as_json(capsys, clinic):
    """Status 1; the JSON holds file, line, key, reason and the nearest key."""
    (clinic / "cases" / "bad.toml").write_text(
        'schema = 1\ncode = "bad"\n[[visit]]\ndate = 2026-02-01\n[visit.right]\npupil = "wide"\n', "utf-8"
    )
    status, out, _ = run(capsys, "check")
    assert status == 1 and "bad.toml:6" in out
    status, out, _ = run(capsys, "check", "--json")
    found = json.loads(out)["findings"]
    assert status == 1 and found[0]["line"] == 6 and set(found[0]) >= {"file", "key", "reason", "nearest_key"}


def test_a_practice_run_leaves_the_users_own_folders_alone(capsys, clinic):
    """Deleting and unpacking on the practice set happens on a copy; the set that comes with the program stays whole."""
    before = {path: path.read_bytes() for path in [*DEMO.rglob("*.toml"), *clinic.rglob("*.toml")]}
    assert run(capsys, "--demo", "remove", "LQ-101", "--yes")[0] == 0
    for call in (("look-back",), ("tables", "outcomes"), ("history", "LQ-101"), ("where",)):
        assert run(capsys, "--demo", *call)[0] == 0
    assert {path: path.read_bytes() for path in before} == before
    assert not (clinic / "cache").exists() and not (clinic / "state").exists()
    assert os.environ["AFOCAL_CASES"] == str(clinic / "cases")


@pytest.mark.parametrize("code", CODES)
def test_the_json_of_a_plan_is_whole_and_says_its_units(capsys, code):
    """Valid JSON without NaN or infinity; version, inputs, assumptions, options with every quantity, refusals with reasons."""
    status, out, err = run(capsys, "plan", code, "--json")
    assert (status, err) == (0, "")

    def refuse(word: str) -> None:
        raise AssertionError(word)

    data = json.loads(out, parse_constant=refuse)
    case = loads_case((DEMO / "cases" / f"{code}.toml").read_text("utf-8"))
    assert data["version"] == 1 and data["person"]["code"] == code
    typed = {path: finding.typed for path, finding in case.visit.findings.items()}
    assert {path: data["inputs"].get(path) for path in typed} == typed
    assert data["assumptions"] and all(isinstance(words, str) for words in data["assumptions"].values())
    assert len(data["options"]) == min(data["options_count"], OPTIONS_SHOWN)
    assert [option["rank"] for option in data["options"]] == list(range(1, len(data["options"]) + 1))
    for option in data["options"]:
        assert {"eyes", "mount", "pair", "cap", "transmittance"} <= option["device"].keys()
        assert len(option["outcomes"]) == len(data["goals"])
        assert {"predicted_logmar", "probability", "exit_vergence_d", "clear_from_mm"} <= option["outcomes"][
            0
        ].keys()
    assert data["refused"] or data["options"]
    assert all(each["reason"] and each["code"] and each["configuration"] for each in data["refused"])
    assert sum(each["count"] for each in data["refused"]) <= data["refused_count"]


def test_all_options_are_in_the_json_when_asked_for(capsys):
    """--all lists every option, in text and in JSON."""
    counts = {code: json.loads(run(capsys, "plan", code, "--json")[1])["options_count"] for code in CODES}
    code = min((code for code in CODES if counts[code] > OPTIONS_SHOWN), key=lambda code: counts[code])
    data = json.loads(run(capsys, "plan", code, "--json", "--all")[1])
    assert len(data["options"]) == counts[code]


def test_the_described_shape_is_the_shape(capsys):
    """Every key of the JSON at the top, of an option, an eye and an outcome stands in --describe."""
    described = run(capsys, "plan", "--describe")[1]
    data = json.loads(run(capsys, "plan", "LQ-107", "--json")[1])
    option = data["options"][0]
    for table in (
        option,
        option["device"],
        option["device"]["eyes"][0],
        option["outcomes"][0],
        data["goals"][0],
        data["needs"][0],
    ):
        for key in table.keys() - {"key"}:
            assert f"\n    {key}: " in described, key
    for key in data:
        assert f"\n{key} " in described, key


@pytest.mark.parametrize("encoding", ["ascii", "cp1252", "latin-1", "utf-8", "cp437"])
@pytest.mark.parametrize(
    "call",
    [("note", "LQ-107"), ("handout", "LQ-107", "--html"), ("plan", "LQ-107", "--json"), ("fhir", "LQ-107")],
    ids=" ".join,
)
def test_any_letters_of_standard_output_are_enough(call, encoding):
    """No exception and no result torn apart, whatever the code page."""
    done = process("--demo", *call, env={**os.environ, "PYTHONIOENCODING": encoding, "PYTHONUTF8": "0"})
    assert (done.returncode, done.stderr) == (0, b"")
    text = done.stdout.decode(encoding)
    assert len(text) > 500
    if call[0] == "fhir" or "--json" in call:
        json.loads(text)


@pytest.mark.skipif(sys.platform == "win32", reason="pipes close differently there")
@pytest.mark.parametrize("call", ["plan LQ-101 --json", "working LQ-107", "fields"])
def test_a_reader_that_has_seen_enough_is_no_error(call):
    """A closed pipe ends quietly, as with head."""
    script = f'"{sys.executable}" -m afocal.tui --demo {call} | head -n 1'
    done = subprocess.run(
        ["bash", "-o", "pipefail", "-c", script], capture_output=True, timeout=SECONDS, check=False
    )
    assert done.returncode == 0 and done.stderr == b"" and done.stdout.count(b"\n") == 1


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="needs a device that is always full")
def test_a_full_disk_is_said_and_is_status_1():
    """What could not be written is not taken for good."""
    with open("/dev/full", "wb") as full:
        done = subprocess.run(
            [sys.executable, "-m", "afocal.tui", "--demo", "fields"],
            stdout=full,
            stderr=subprocess.PIPE,
            timeout=SECONDS,
            check=False,
        )
    assert done.returncode == 1 and done.stderr.count(b"\n") == 1 and b"space" in done.stderr


WATCHED = ("textual", "rich", "sqlite3", "zipfile")


def test_no_verb_but_the_screen_loads_the_screen_library():
    """Each verb in one process: neither textual nor rich is ever imported."""
    calls = [list(call) for call in GOOD_CALLS] + [
        ["order", "LQ-107"],
        ["history", "LQ-101"],
        ["--help"],
        ["--version"],
    ]
    script = f"""
import contextlib, io, sys
from afocal.tui.command_line import main
for call in {calls!r}:
    with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
        try:
            main(["--demo", *call])
        except SystemExit:
            pass
    bad = {{name.split(".")[0] for name in sys.modules}} & {{"textual", "rich"}}
    assert not bad, (call, bad)
"""
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, timeout=SECONDS, check=False
    )
    assert done.returncode == 0, done.stderr


def test_a_plan_loads_neither_the_index_nor_the_archive_nor_the_other_documents():
    """What one answer does not need is not paid for."""
    script = """
import contextlib, io, sys
from afocal.tui.command_line import main
with contextlib.redirect_stdout(io.StringIO()):
    main(["--demo", "plan", "LQ-101"])
print(*sys.modules)
"""
    loaded = set(
        subprocess.run(
            [sys.executable, "-c", script], capture_output=True, text=True, timeout=SECONDS, check=True
        ).stdout.split()
    )
    assert not loaded & {
        "sqlite3",
        "textual",
        "rich",
        "tomli_w",
        "platformdirs",
        "afocal.core.store.index",
        "afocal.core.store.archive",
    }
    assert not loaded & {
        "afocal.core.documents.chart_note",
        "afocal.core.documents.handout",
        "afocal.core.fitting.sheet",
        "afocal.core.signing",
    }
