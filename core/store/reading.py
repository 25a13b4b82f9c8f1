"""Reading a file that anybody may have damaged, exchanged or prepared.

Whatever the bytes, the outcome is text and stamp, or one FileRefusal with path, line and reason: never a
traceback, never a program that hangs. Only ordinary files of a sensible size are opened at all.
"""

from __future__ import annotations

import codecs
import re
import stat
from pathlib import Path, PureWindowsPath
from typing import NamedTuple

from ..errors import FileRefusal
from ..printable import printable
from .filesystem import REAL, WINDOWS, FileSystem, reason_of
from .stamp import MAX_BYTES, Stamp, digest_of, kind_of, read_handle

_FOREIGN_MARKS = (
    (codecs.BOM_UTF32_LE, "UTF-32"),
    (codecs.BOM_UTF32_BE, "UTF-32"),
    (codecs.BOM_UTF16_LE, "UTF-16"),
    (codecs.BOM_UTF16_BE, "UTF-16"),
)
# Everything below the space but tab, line feed and carriage return; DEL; and the C1 range, where terminals
# keep a second set of escape sequences.
_CONTROL = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f]")
_WINDOWS_DEVICES = re.compile(r"(?i)(con|prn|aux|nul|com[0-9¹²³]|lpt[0-9¹²³])$")


class ReadText(NamedTuple):
    """The text of a file and the stamp that a later save must bring."""

    text: str
    stamp: Stamp


def read_bytes(path: Path, *, limit: int = MAX_BYTES, fs: FileSystem = REAL) -> tuple[bytes, Stamp]:
    """The bytes of an ordinary file of at most ``limit`` bytes, and its stamp; FileRefusal otherwise."""
    try:
        _refuse_other_kinds(path, fs.lstat(path))
        handle = fs.open_read(path)
        try:
            status = fs.fstat(handle)
            # Looked at again: the name may have been given to something else between the two calls.
            _refuse_other_kinds(path, status)
            if status.st_size > limit:
                raise FileRefusal(path, f"too large: {status.st_size} bytes; at most {limit} are read")
            data = read_handle(handle, limit + 1, fs)
        finally:
            fs.close(handle)
    except OSError as error:
        raise FileRefusal(path, reason_of(error)) from error
    except ValueError as error:
        raise FileRefusal(printable(path), "the name holds a zero byte, so no file can have it") from error
    if len(data) > limit:
        raise FileRefusal(path, f"too large: more than {limit} bytes, which is the most that is read")
    return data, Stamp(status.st_mtime_ns, len(data), digest_of(data))


def _refuse_other_kinds(path: Path, status) -> None:
    if WINDOWS and _WINDOWS_DEVICES.match(PureWindowsPath(path.name).stem.rstrip()):
        raise FileRefusal(path, "this is the name of a device; only ordinary files are read")
    if not stat.S_ISREG(status.st_mode):
        raise FileRefusal(path, f"this is {kind_of(status)}; only ordinary files are read")


def read_text(path: Path, *, limit: int = MAX_BYTES, fs: FileSystem = REAL) -> ReadText:
    """The text of a UTF-8 file and its stamp; FileRefusal with line and reason for anything else.

    A UTF-8 byte-order mark, which some editors add, is dropped; line ends are kept as they are.
    """
    data, stamp = read_bytes(path, limit=limit, fs=fs)
    return ReadText(decode(path, data), stamp)


def decode(path: Path, data: bytes) -> str:
    """UTF-8 text without control characters from ``data``; ``path`` is named in the refusal."""
    for mark, name in _FOREIGN_MARKS:
        if data.startswith(mark):
            raise FileRefusal(path, f"the file is {name}; save it as UTF-8 in the text editor", line=1)
    if data and not data.strip(b"\0"):
        raise FileRefusal(path, "the file holds nothing but zero bytes: its content was lost", line=1)
    if b"\0" in data:
        raise FileRefusal(
            path, "zero bytes: damaged, or no text file", line=_line_at(data, data.index(b"\0"))
        )
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        # With a mark in front, utf-8-sig counts from behind the mark.
        start = error.start + (len(codecs.BOM_UTF8) if data.startswith(codecs.BOM_UTF8) else 0)
        byte = data[start] if start < len(data) else data[-1]
        reason = f"byte 0x{byte:02X} is not UTF-8; the file was saved in another encoding or is damaged"
        raise FileRefusal(path, reason, line=_line_at(data, start)) from error
    found = _CONTROL.search(text)
    if found:
        raise FileRefusal(path, control_character(text), line=text.count("\n", 0, found.start()) + 1)
    return text


def control_character(text: str) -> str:
    """What is wrong with the first control character in ``text`` other than tab and line ends; "" without
    one."""
    found = _CONTROL.search(text)
    if not found:
        return ""
    return f"control character U+{ord(found[0]):04X}, which a terminal could take as a command"


def _line_at(data: bytes, offset: int) -> int:
    return data.count(b"\n", 0, offset) + 1
