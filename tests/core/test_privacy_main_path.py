"""The whole main path without any network, and nothing of a patient left where it does not belong."""

from __future__ import annotations

import logging
import socket
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import pytest

from afocal.core import paths
from afocal.core.case_header import case_header
from afocal.core.desk import Desk
from afocal.core.documents.export import document_name, export_text
from afocal.core.signing import sign
from afocal.core.store.archive import pack, unpack
from afocal.core.store.index import CaseIndex
from afocal.core.store.recovery import keep_copy
from afocal.core.store.refresh import refresh
from afocal.core.store.remove import remove_patient, traces
from afocal.core.workspace import Workspace, demo_workspace
from afocal.tui.command_line import main
from afocal.tui.crash import keep_report, report_text

SECRET = "Quince Marmalade Wexley"


@pytest.fixture
def clinic(tmp_path: Path, monkeypatch) -> Workspace:
    """Practice cases as real ones in folders of their own, and no socket that can be opened."""

    def refuse(*args, **kwargs):
        raise AssertionError("a socket was opened")

    for name in ("socket", "create_connection", "getaddrinfo", "gethostbyname", "create_server"):
        monkeypatch.setattr(socket, name, refuse)
    made = demo_workspace(tmp_path)
    for name, place in {
        "CASES": "cases",
        "STOCK": "stock.toml",
        "CONFIG": "config",
        "CACHE": "cache",
        "STATE": "state",
    }.items():
        monkeypatch.setenv(f"AFOCAL_{name}", str(tmp_path / place))
    return Workspace(made.cases, made.stock_path, tmp_path / "config" / "settings.toml")


def run(capsys, *words: str) -> str:
    """The result of a call that must be good."""
    status = main(list(words))
    out, err = capsys.readouterr()
    assert status == 0, err
    return out


def everything(folder: Path) -> dict[Path, bytes]:
    return {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def test_the_main_path_opens_no_socket(clinic, tmp_path, capsys):
    """Open, type, save, plan, fit, every document, export, sign, check, pack, unpack, remove: all without network."""
    desk = Desk(clinic.open_case("LQ-107"), recovery_folder=paths.recovery_dir())
    desk.accept(desk.case.with_typed("face.pd", "31/31"))
    desk.accept(desk.case.with_visit(replace(desk.case.visit, notes=SECRET)))
    assert desk.undo() and desk.redo()
    assert desk.close().is_safe
    signed = Desk(clinic.open_case("LQ-106"), recovery_folder=paths.recovery_dir())
    signed.accept(sign(signed.case, "ro", datetime(2026, 12, 1, 9)), keep_for_good=True)
    assert not signed.undo() and signed.close().is_safe
    for words in (
        ("plan", "LQ-101"), ("plan", "LQ-101", "--json"), ("note", "LQ-102"), ("handout", "LQ-102", "--html"),
        ("handout", "LQ-102"), ("working", "LQ-102"), ("fhir", "LQ-102"), ("check",), ("tables",),
        ("tables", "outcomes"), ("look-back",), ("history", "LQ-107"), ("where",), ("pack", str(tmp_path / "a.zip")),
        ("unpack", str(tmp_path / "a.zip")), ("remove", "LQ-107"), ("remove", "LQ-107", "--yes"),
    ):  # fmt: skip
        run(capsys, *words)
    case = clinic.open_case("LQ-102").case
    export_text(paths.documents_dir(clinic.cases / "x.toml"), document_name(case, "note", "txt"), "words")


def test_removing_takes_everything_of_the_patient_and_nothing_of_the_others(clinic, tmp_path, capsys):
    """Case, history, recovery copy, index row and written documents are listed, then gone; a longer code keeps its own."""
    path = clinic.cases / "LQ-101.toml"
    longer = clinic.cases / "LQ-101-B.toml"
    longer.write_text(path.read_text("utf-8").replace("LQ-101", "LQ-101-B"), "utf-8")
    desk = Desk(clinic.open_case("LQ-101"), recovery_folder=paths.recovery_dir())
    desk.accept(desk.case.with_visit(replace(desk.case.visit, notes=SECRET)))
    desk.accept(desk.case.with_typed("face.pd", "61"))
    desk.close()
    out = paths.documents_dir(path)
    written = [
        export_text(out, document_name(clinic.open_case(code).case, "chart note", "txt"), SECRET).path
        for code in ("LQ-101", "LQ-101", "LQ-101-B", "LQ-102")
    ]
    keep_copy(paths.recovery_dir(), path, SECRET, None, "test")
    index = CaseIndex(clinic.cases, paths.index_file(clinic.cases))
    list(refresh(index, case_header))
    index.close()
    listed = run(capsys, "remove", "LQ-101").splitlines()
    assert {str(written[0]), str(written[1])} < set(listed)
    assert not {str(written[2]), str(written[3]), str(longer)} & set(listed)
    assert path.exists() and written[0].exists()
    removed = run(capsys, "remove", "LQ-101", "--yes")
    assert all(f"removed {line}" in removed for line in listed)
    left = everything(tmp_path)
    assert not any(path.stem + "." in each.name or each in written[:2] for each in left)
    assert written[2].exists() and written[3].exists() and longer.exists()
    del left[written[2]], left[written[3]]
    assert not [each for each, data in left.items() if SECRET.encode() in data]
    assert not traces(path, paths.recovery_dir())


def test_the_last_document_takes_its_folder_along(tmp_path):
    """No empty folder of documents is left behind."""
    path = tmp_path / "K-1.toml"
    path.write_text("x", "utf-8")
    out = paths.documents_dir(path)
    export_text(out, "K-1-2026-11-25-note.txt", "x")
    (out / ".K-1-2026-11-25-order.txt.0123456789ab.afocal-tmp").write_text("half", "utf-8")
    assert len(remove_patient(path, tmp_path / "recovery").removed) == 3
    assert not out.exists()


def test_a_copy_with_the_same_code_under_another_name_is_told(clinic, capsys):
    """What a synchroniser left behind holds the same patient; removing says so."""
    copy = clinic.cases / "LQ-101 (conflict).toml"
    copy.write_bytes((clinic.cases / "LQ-101.toml").read_bytes())
    assert main(["remove", "LQ-101"]) == 0
    assert "LQ-101 (conflict).toml" in capsys.readouterr().err
    assert main(["remove", "LQ-101 (conflict).toml", "--yes"]) == 0
    assert not copy.exists() and (clinic.cases / "LQ-101.toml").exists()


def test_where_tells_every_place_and_how_to_delete(clinic, tmp_path, capsys):
    """Everything a run wrote lies under a place that is listed."""
    desk = Desk(clinic.open_case("LQ-101"), recovery_folder=paths.recovery_dir())
    desk.accept(desk.case.with_typed("face.pd", "61"))
    desk.accept(desk.case.with_typed("face.pd", "62"))
    desk.close()
    run(capsys, "look-back")
    export_text(paths.documents_dir(desk.path), "LQ-101-2026-11-25-note.txt", "x")
    keep_report(paths.reports_dir(), "x")
    out = run(capsys, "where")
    assert "afocal remove CODE" in out
    listed = [place.path for place in paths.places(clinic.cases, clinic.stock_path)]
    assert all(str(path) in out for path in listed)
    for path in everything(tmp_path):
        beside = [path.with_name(path.name.removesuffix(ending)) for ending in ("-wal", "-shm")]
        assert any(each == place or place in each.parents for place in listed for each in (path, *beside)), (
            path
        )


def test_a_crash_report_and_the_log_hold_no_patient_data(clinic, tmp_path, caplog):
    """The report tells lines of code and kinds of error; no values, no messages, no folder of the user."""
    caplog.set_level(logging.DEBUG)
    case = clinic.open_case("LQ-101").case

    def fails(notes: str) -> None:
        raise ValueError(f"{case.code}: {notes}")

    try:
        fails(SECRET)
    except ValueError as error:
        text = report_text(error, "CaseScreen")
    assert "ValueError" in text and "fails" in text
    assert not [word for word in (SECRET, "LQ-101", str(tmp_path)) if word in text]
    kept = keep_report(paths.reports_dir(), text)
    assert kept is not None and "LQ-101" not in kept.name
    logged = "\n".join(record.getMessage() for record in caplog.records)
    assert "LQ-101" not in logged and SECRET not in logged


def test_an_archive_is_the_only_thing_that_packing_writes(clinic, tmp_path):
    """Packing and unpacking leave no copy elsewhere."""
    before = everything(tmp_path)
    pack(clinic.cases, tmp_path / "a.zip", {"stock": clinic.stock_path})
    assert everything(tmp_path).keys() - before.keys() == {tmp_path / "a.zip"}
    done = unpack(tmp_path / "a.zip", clinic.cases, {"stock": clinic.stock_path})
    assert not done.written and everything(tmp_path).keys() - before.keys() == {tmp_path / "a.zip"}
