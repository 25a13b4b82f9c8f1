"""Reading what anybody may have damaged, exchanged or prepared: text, or one reason with file and line."""

from __future__ import annotations

import codecs
import os
import random
import socket
import time
import tomllib

import pytest

from afocal.core.errors import FileRefusal
from afocal.core.store import files
from afocal.core.store.reading import decode, printable, read_text
from afocal.core.store.toml import line_of_key, parse_toml, read_toml

posix_only = pytest.mark.skipif(os.name == "nt", reason="special files as on POSIX")
MUTATIONS = int(os.environ.get("AFOCAL_TEST_MUTATIONS", "2000"))

CASE = """schema = 1
code = "P1"

[[visit]]
date = 2024-05-02
notes = '''
two lines
of "text" with [brackets]'''

[visit.person]
birth_year = "1950"

[[visit.goal]]
task = "read the board" # at 4 m
distance_mm = 4000

[[visit]]
date = 2024-06-02

[visit.refraction]
right = { sphere_d = -2.25, axis_deg = 90 }
history = ["a", "b", 1.5e3]
"""


@pytest.mark.parametrize(
    ("data", "line", "reason"),
    [
        (codecs.BOM_UTF16_LE + "a = 1".encode("utf-16-le"), 1, "UTF-16"),
        (codecs.BOM_UTF16_BE + "a = 1".encode("utf-16-be"), 1, "UTF-16"),
        (codecs.BOM_UTF32_LE + "a = 1".encode("utf-32-le"), 1, "UTF-32"),
        ("a = 1\n".encode("utf-16-le"), 1, "zero bytes"),
        (b"a = 1\nb = '\xe9'\n", 2, "0xE9 is not UTF-8"),
        (codecs.BOM_UTF8 + b"a = 1\nb = '\xe9'\n", 2, "0xE9 is not UTF-8"),
        (b"a = 1\n# \xc3", 2, "0xC3 is not UTF-8"),
        (b"a = 1\n\n# \xed\xa0\x80", 3, "0xED is not UTF-8"),
        (b"\0" * 4096, 1, "its content was lost"),
        (b"a = 1\n\0\0\0", 2, "zero bytes"),
        (b"a = 1\n# \x1b[2J", 2, "U+001B"),
        ("a = 1\n\n# \x9b2J".encode(), 3, "U+009B"),
        (b"# \x7f", 1, "U+007F"),
    ],
)
def test_foreign_encodings_and_control_characters_are_named_with_their_line(tmp_path, data, line, reason):
    """What is wrong with the bytes, and on which line."""
    path = tmp_path / "P1.toml"
    path.write_bytes(data)
    with pytest.raises(FileRefusal) as refused:
        read_text(path)
    assert reason in refused.value.reason
    assert refused.value.line == line


def test_what_text_editors_do_is_accepted(tmp_path):
    """A byte-order mark of UTF-8 and Windows line ends do not make a file unreadable."""
    path = tmp_path / "P1.toml"
    path.write_bytes(codecs.BOM_UTF8 + b"a = 1\r\nb = 2\r\n")
    tables, text, stamp = read_toml(path)
    assert tables == {"a": 1, "b": 2}
    assert not text.startswith("\ufeff")
    assert stamp == files.current_stamp(path)


@posix_only
def test_only_ordinary_files_are_opened(tmp_path):
    """Links, pipes, sockets, folders and devices are refused by name, at once."""
    target = tmp_path / "target"
    target.write_text("a = 1", encoding="utf-8")
    link, pipe, folder, port = (tmp_path / name for name in ("link", "pipe", "folder", "port"))
    link.symlink_to(target)
    os.mkfifo(pipe)
    folder.mkdir()
    with socket.socket(socket.AF_UNIX) as server:
        server.bind(os.path.relpath(port))
        expected = [(link, "symbolic link"), (pipe, "pipe"), (folder, "folder"), (port, "socket")]
        for path, kind in [*expected, ("/dev/zero", "device"), ("/dev/tty", "device")]:
            started = time.monotonic()
            with pytest.raises(FileRefusal, match=f"this is a {kind}"):
                read_text(type(tmp_path)(path))
            assert time.monotonic() - started < 1


def test_size_absence_and_impossible_names_are_reasons(tmp_path):
    """Too large, not there, no permission to look, a name that no file can have."""
    big = tmp_path / "big.toml"
    with open(big, "wb") as stream:
        stream.truncate(files.MAX_BYTES + 1)
    for path, reason in [
        (big, "too large"),
        (tmp_path / "none", "not there"),
        (big / "inside", "not a folder"),
        (tmp_path / ("n" * 300), "too long"),
        (tmp_path / "a\0b", "zero byte"),
    ]:
        with pytest.raises(FileRefusal, match=reason):
            read_text(path)


BIG = 300_000
HOSTILE = {
    "deep arrays": "a = " + "[" * BIG,
    "closed deep arrays": "a = " + "[" * 10_000 + "]" * 10_000,
    "deep tables": "a = " + "{ a = " * (BIG // 6),
    "long key": "a" + ".a" * (BIG // 2) + " = 1",
    "long key, spaced and quoted": "a" + " . 'b'" * (BIG // 6) + " = 1",
    "long heading": "[a" + ".a" * (BIG // 2) + "]",
    "digits": "a = " + "9" * BIG,
    "hexadecimal": "a = 0x" + "F" * BIG,
    "digits with lines between": "a = 1" + "_0" * BIG,
    "fraction": "a = 0." + "3" * BIG,
    "infinite": "a = inf",
    "not a number": "a = [1.0, -nan]",
    "overflow": "a = 1e999",
    "beyond an integer": "a = 9223372036854775808",
    "no such day": "a = 2023-02-30",
    "no such month": "a = 2023-13-01",
    "quotes": '"' * BIG,
    "open text": 'a = """' + "x" * BIG,
    "backslashes": 'a = "' + "\\" * BIG,
    "escaped escape": 'a = "\\u001b]0;title\\u0007"',
    "escape in a key": '"a\\u001b[2J" = 1',
    "half character": 'a = "\\ud800"',
    "brackets": "]" * BIG,
    "twice": "a = 1\na = 2",
    "table over value": "a = 1\n[a]",
    "dots": "." * BIG,
}


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_texts_are_refused_quickly_in_one_line(tmp_path, name):
    """Nesting, long keys, huge numbers, escapes: one printable line, within a second or so."""
    started = time.monotonic()
    with pytest.raises(FileRefusal) as refused:
        parse_toml(tmp_path / "P1.toml", HOSTILE[name])
    assert time.monotonic() - started < 2
    assert str(refused.value).isprintable()
    assert len(refused.value.reason) < 400


@pytest.mark.parametrize(
    "text",
    [
        "a = [" + "1.5, " * 5000 + "]",
        "a = '" + "[{." * 5000 + "'",
        "# " + "[" * 5000,
        'a = """' + "[[[[.\n" * 1000 + '"""',
        'a = """""quoted"""""\nb = 1',
        "a = 9223372036854775807",
        "[a.b.c.d.e.f.g.h]\ni.j.k = 1",
        CASE,
    ],
)
def test_the_guards_take_nothing_from_an_ordinary_file(tmp_path, text):
    """Long lists, brackets inside texts and comments, and usual depths read as the parser alone reads them."""
    assert parse_toml(tmp_path / "P1.toml", text) == tomllib.loads(text)


@pytest.mark.parametrize(
    ("where", "line"),
    [
        (("code",), 2),
        (("visit", 0, "date"), 5),
        (("visit", 0, "notes"), 6),
        (("visit", 0, "person", "birth_year"), 11),
        (("visit", 0, "goal", 0, "distance_mm"), 15),
        (("visit", 1, "date"), 18),
        (("visit", 1, "refraction", "right", "sphere_d"), 21),
        (("visit", 1, "refraction", "missing"), 20),
        (("nowhere",), None),
    ],
)
def test_a_key_is_found_on_its_line(where, line):
    """Headings, arrays of tables, inline tables; a missing key answers with the table it belongs to."""
    assert line_of_key(CASE, where) == line


def test_a_file_that_is_cut_short_says_so_at_every_length(tmp_path):
    """Cut anywhere, the text is refused with a line inside the file, or is a shorter valid one."""
    data = CASE.encode()
    refused = 0
    for length in range(len(data)):
        try:
            parse_toml(tmp_path / "P1.toml", decode(tmp_path / "P1.toml", data[:length]))
        except FileRefusal as refusal:
            refused += 1
            assert refusal.line is not None
            assert 1 <= refusal.line <= data[:length].count(b"\n") + 1
    assert refused > 50


def test_mutated_files_never_give_anything_but_a_refusal(tmp_path):
    """Bytes flipped, dropped, doubled, exchanged and inserted by chance: tables or one printable line."""
    chance = random.Random(7)
    spices = [
        b"[",
        b"{",
        b'"',
        b"'''",
        b"\0",
        b"\xff",
        b"\x1b",
        b"=",
        b".",
        b"9" * 400,
        b"\r",
        b"\\u",
        b"-",
        b"e9",
    ]
    path = tmp_path / "P1.toml"
    outcomes = {"read": 0, "refused": 0}
    for _ in range(MUTATIONS):
        data = bytearray(CASE.encode())
        for _ in range(chance.randint(1, 6)):
            start = chance.randrange(len(data))
            end = min(len(data), start + chance.randint(1, 40))
            match chance.randrange(5):
                case 0:
                    data[start] = chance.randrange(256)
                case 1:
                    del data[start : end - 1]
                case 2:
                    data[start:start] = data[start:end]
                case 3:
                    data[start:start] = chance.choice(spices) * chance.choice([1, 1, 3, 60])
                case 4:
                    data[start:end] = bytes(reversed(data[start:end]))
        path.write_bytes(data)
        try:
            read_toml(path)
            outcomes["read"] += 1
        except FileRefusal as refusal:
            outcomes["refused"] += 1
            assert refusal.reason.isprintable()
    assert min(outcomes.values()) > MUTATIONS // 50


def test_printable_takes_the_power_from_a_text():
    """Escape sequences, line breaks and turned reading direction cannot reach a terminal through a message."""
    assert printable("a\x1b[2J\n\u202eb") == "a\\u001b[2J\\u000a\\u202eb"
    assert printable("µ × −2.25 é 漢") == "µ × −2.25 é 漢"
    assert len(printable("x" * 1000)) == 300
