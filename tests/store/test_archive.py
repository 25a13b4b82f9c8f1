"""Packing and unpacking: complete, verified, nothing overwritten, nothing outside the folder."""

from __future__ import annotations

import json
import os
import warnings
import zipfile

import pytest

from afocal.core.errors import FileRefusal
from afocal.core.store.archive import pack, unpack
from afocal.core.store.files import digest_of
from afocal.core.store.history import save_case, versions


@pytest.fixture
def folder(tmp_path):
    folder = tmp_path / "cases"
    for code in ("P1", "P2"):
        stamp = None
        for number in range(3):
            stamp = save_case(folder / f"{code}.toml", f"code = '{code}'\nn = {number}\n", stamp).stamp
    (folder / "damaged.toml").write_bytes(b"\0\0")
    (folder / ".P1.toml.lock").write_text("x", encoding="utf-8")
    (folder / "readme.txt").write_text("x", encoding="utf-8")
    return folder


def contents(folder) -> dict[str, bytes]:
    return {
        each.relative_to(folder).as_posix(): each.read_bytes()
        for each in folder.rglob("*.toml")
        if each.is_file() and not each.is_symlink()
    }


def test_what_is_packed_comes_back_byte_for_byte(folder, tmp_path):
    """Cases, damaged ones too, their history, stock and settings; private, and packed again alike."""
    stock = tmp_path / "stock.toml"
    stock.write_text("[[telescope]]\n", encoding="utf-8")
    packed = pack(folder, tmp_path / "out" / "all.zip", {"stock": stock, "settings": tmp_path / "none.toml"})
    assert packed.left_out == []
    assert packed.files == len(contents(folder)) + 1
    if os.name != "nt":
        assert packed.path.stat().st_mode & 0o777 == 0o600
    there = tmp_path / "there"
    done = unpack(packed.path, there, {"stock": tmp_path / "new" / "stock.toml"})
    assert contents(there) == contents(folder)
    assert len(done.written) == packed.files
    assert (tmp_path / "new" / "stock.toml").read_bytes() == stock.read_bytes()
    assert len(versions(there / "P1.toml")) == len(versions(folder / "P1.toml"))


def test_nothing_that_is_there_is_overwritten(folder, tmp_path):
    """An archive over a folder with other content: that stays and is named, the same is counted, the rest comes."""
    packed = pack(folder, tmp_path / "all.zip")
    (folder / "P1.toml").write_text("code = 'P1'\nnewer = true\n", encoding="utf-8")
    (folder / "P2.toml").unlink()
    done = unpack(packed.path, folder)
    assert [each.name for each in done.written] == ["P2.toml"]
    assert [each.path.name for each in done.kept] == ["P1.toml"]
    assert "newer" in (folder / "P1.toml").read_text(encoding="utf-8")
    with pytest.raises(FileRefusal, match="already there"):
        pack(folder, packed.path)


@pytest.mark.skipif(os.name == "nt", reason="links as on POSIX")
def test_links_are_not_packed(folder, tmp_path):
    """A link in the case folder cannot carry another file into the archive; it is named."""
    (tmp_path / "secret").write_text("x", encoding="utf-8")
    (folder / "link.toml").symlink_to(tmp_path / "secret")
    packed = pack(folder, tmp_path / "all.zip")
    assert [each.path.name for each in packed.left_out] == ["link.toml"]


def prepared(path, files: dict[str, bytes], *, manifest: object = None, mode: int = 0o100600) -> None:
    listed = {name: {"bytes": len(data), "sha256": digest_of(data)} for name, data in files.items()}
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as made:
        for name, data in files.items():
            entry = zipfile.ZipInfo(name)
            entry.external_attr = mode << 16
            entry.compress_type = zipfile.ZIP_DEFLATED
            made.writestr(entry, data)
        head = {"afocal_archive": 1, "files": listed} if manifest is None else manifest
        made.writestr("manifest.json", json.dumps(head))


@pytest.mark.parametrize(
    "name",
    [
        "../P1.toml",
        "/tmp/P1.toml",
        "a/../../P1.toml",
        "..\\P1.toml",
        "C:P1.toml",
        "C:/P1.toml",
        "sub/P1.toml",
        ".history/../x/P1.toml",
        ".history/a/b/P1.toml",
        ".history/../P1.toml",
        ".bashrc.toml",
        "P1.toml/",
        "P1.exe",
        "CON.toml",
        "nul.toml",
        "a\x1b[2J.toml",
        "a\n.toml",
        " .toml",
        "clinic/other.toml",
        "~/x.toml",
    ],
)
def test_names_that_lead_elsewhere_refuse_the_whole_archive(tmp_path, name):
    """Not even the good files before it are written, and the name is shown harmlessly."""
    prepared(tmp_path / "a.zip", {"good.toml": b"x", name: b"x"})
    with pytest.raises(FileRefusal) as refused:
        unpack(tmp_path / "a.zip", tmp_path / "cases" / "in")
    assert refused.value.reason.isprintable()
    assert sorted(each.name for each in tmp_path.iterdir()) == ["a.zip"]


def twice(path) -> None:
    """The same name two times, with two contents."""
    prepared(path, {"P1.toml": b"a"})
    with warnings.catch_warnings(), zipfile.ZipFile(path, "a") as made:
        warnings.simplefilter("ignore")
        made.writestr("P1.toml", b"b")


def many_small_bombs(path) -> None:
    """Each file within every limit; together they fill a disk."""
    prepared(path, {f"P{n}.toml": b"\0" * 65536 for n in range(1100)})


BAD = {
    "twice": twice,
    "many small bombs": many_small_bombs,
    "manifest bomb": lambda path: prepared(path, {"P1.toml": b"a"}, manifest=[["x" * 500] * 90] * 20),
    "deep manifest": lambda path: prepared(path, {}, manifest=json.loads("[" * 900 + "]" * 900)),
    "links": lambda path: prepared(path, {"P1.toml": b"/etc/passwd"}, mode=0o120777),
    "devices": lambda path: prepared(path, {"P1.toml": b""}, mode=0o020600),
    "capitals": lambda path: prepared(path, {"P1.toml": b"a", "p1.toml": b"b"}),
    "bomb": lambda path: prepared(path, {"P1.toml": b"\0" * (1024 * 1024)}),
    "too large": lambda path: prepared(path, {"P1.toml": os.urandom(1024 * 1024 + 1)}),
    "no manifest": lambda path: zipfile.ZipFile(path, "w").close(),
    "other manifest": lambda path: prepared(path, {"P1.toml": b"a"}, manifest={"afocal_archive": 99}),
    "manifest of nothing": lambda path: prepared(path, {}, manifest=[]),
    "manifest without digests": lambda path: prepared(
        path, {"P1.toml": b"a"}, manifest={"afocal_archive": 1, "files": {"P1.toml": 5}}
    ),
    "not listed": lambda path: prepared(path, {"P1.toml": b"a"}, manifest={"afocal_archive": 1, "files": {}}),
    "listed only": lambda path: prepared(
        path, {}, manifest={"afocal_archive": 1, "files": {"P1.toml": {"bytes": 1, "sha256": "0"}}}
    ),
    "altered": lambda path: prepared(
        path,
        {"P1.toml": b"a"},
        manifest={"afocal_archive": 1, "files": {"P1.toml": {"bytes": 1, "sha256": "0"}}},
    ),
    "no archive": lambda path: path.write_bytes(b"hello"),
    "empty file": lambda path: path.write_bytes(b""),
}


@pytest.mark.parametrize("how", BAD)
def test_bad_archives_are_refused_before_anything_is_written(tmp_path, how):
    """Links, devices, bombs, manifests that do not fit: one reason, an untouched folder."""
    BAD[how](tmp_path / "a.zip")
    with pytest.raises(FileRefusal) as refused:
        unpack(tmp_path / "a.zip", tmp_path / "cases")
    assert refused.value.path == tmp_path / "a.zip"
    assert not (tmp_path / "cases").exists()


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes with names here")
def test_a_pipe_in_the_place_of_an_archive_is_refused_at_once(tmp_path):
    """Nobody waits for a writer that never comes."""
    os.mkfifo(tmp_path / "a.zip")
    with pytest.raises(FileRefusal, match="no ordinary file"):
        unpack(tmp_path / "a.zip", tmp_path / "cases")


def test_an_archive_exchanged_while_it_is_unpacked_writes_nothing_wrong(folder, tmp_path, monkeypatch):
    """What was verified is what is written: another content under the same name is refused."""
    from afocal.core.store import archive

    pack(folder, tmp_path / "a.zip")
    real, seen = archive._content, set()

    def exchanged(opened, name):
        data = real(opened, name)
        if name in seen and name.endswith(".toml"):
            return data + b"# more"
        seen.add(name)
        return data

    monkeypatch.setattr(archive, "_content", exchanged)
    with pytest.raises(FileRefusal):
        unpack(tmp_path / "a.zip", tmp_path / "other")
    assert not list((tmp_path / "other").rglob("*.toml"))


def test_any_damaged_byte_is_noticed_or_harmless(folder, tmp_path):
    """One byte changed anywhere in the archive: refused, or every file that is written is the right one."""
    good = pack(folder, tmp_path / "good.zip").path.read_bytes()
    expected = contents(folder)
    refused = 0
    for number, place in enumerate(range(0, len(good), max(1, len(good) // 150))):
        data = bytearray(good)
        data[place] ^= 0x41
        path, there = tmp_path / f"{number}.zip", tmp_path / f"out{number}"
        path.write_bytes(data)
        try:
            unpack(path, there)
        except FileRefusal:
            refused += 1
            assert not there.exists()
            continue
        assert contents(there).items() <= expected.items()
    assert refused > 50


def test_failing_at_any_call_leaves_no_half_archive_and_no_half_file(folder, tmp_path, failing_file_system):
    """Whichever call fails: the archive is whole or absent, unpacked files are whole or absent."""
    expected, number = contents(folder), 0
    while True:
        number += 1
        target, fs = tmp_path / f"{number}.zip", failing_file_system(number)
        try:
            pack(folder, target, fs=fs)
        except FileRefusal:
            assert not target.exists() or zipfile.ZipFile(target).testzip() is None
        if len(fs.calls) < number:
            break
    whole, number = target, 0
    while True:
        number += 1
        there, fs = tmp_path / f"out{number}", failing_file_system(number)
        try:
            unpack(whole, there, fs=fs)
        except FileRefusal:
            assert contents(there).items() <= expected.items()
        if len(fs.calls) < number:
            break
    assert contents(there) == expected


def test_a_missing_archive_is_one_sentence(tmp_path):
    """No traceback for a wrong path."""
    with pytest.raises(FileRefusal, match="not there"):
        unpack(tmp_path / "none.zip", tmp_path)
    with pytest.raises(FileRefusal):
        pack(tmp_path / "none", tmp_path / "out.zip")
