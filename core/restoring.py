"""Bringing an earlier version of a case file or a recovery copy back, never behind a signature.

What is signed stays as it was signed (:func:`signing.with_version`), whoever asks for the version and whatever the
present file is; what stood in the file before is kept in the history for good.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from .case import Case
from .case_file import case_data, case_of, dumps_case, loads_case
from .errors import AfocalError, FileRefusal
from .signing import with_version
from .store import history
from .store.files import Stamp, current_stamp, digest_of
from .store.merge import three_way
from .store.reading import read_text
from .store.recovery import Offer
from .store.resolving import resolve


@dataclass(frozen=True, slots=True)
class Restored:
    """What was made of it: the case, and the visits, in words, that stayed as they are signed."""

    case: Case
    stayed: tuple[str, ...]


def restore(path: Path, version: history.Version) -> Restored:
    """Make an earlier version the present one; FileRefusal when it is no case or the file cannot be replaced.

    The file is the kept one byte for byte, unless signed visits stay. Where the present file is gone or damaged, the
    newest later version that can be read says what is signed.
    """
    text = history.read_version(version)
    stamp, present = _present(path, version)
    return _brought_back(path, text, loads_case(text, version.path), present, stamp)


def take_copy(offer: Offer) -> Restored:
    """Save a case as it is in a recovery copy; FileRefusal when that cannot be done, and the copy stays.

    A file that was there when the copy was made is not made anew where its folder is gone: a share that is not
    connected would get a second, hidden folder of its name.
    """
    path = offer.case_path
    if offer.base_digest and offer.present is None and not path.parent.is_dir():
        raise FileRefusal(path, "its folder is not there; is the share connected?")
    present = loads_case(read_text(path).text, path) if offer.is_readable else None
    return _brought_back(path, offer.text, loads_case(offer.text, path), present, offer.present)


def can_be_joined(offer: Offer) -> bool:
    """Whether the version that copy and file both come from is still in the history."""
    return offer.is_readable and not offer.is_based_on_present and _base_of(offer) is not None


def join_copy(offer: Offer) -> Restored:
    """Put a recovery copy and the file, changed since by somebody else, together; what both changed is kept twice."""
    path, base = offer.case_path, _base_of(offer)
    if base is None:
        raise FileRefusal(path, "the version that the copy was made from is not in the history any more")
    present = loads_case(read_text(path).text, path)
    versions = (base, loads_case(offer.text, path), present)
    merge = three_way(*(case_data(each, readings=False) for each in versions))
    joined = case_of(resolve(merge, {}), path)
    return _brought_back(path, dumps_case(joined), joined, present, offer.present)


def _base_of(offer: Offer) -> Case | None:
    """The version from which a copy was made, from the history."""
    try:
        for version in history.versions(offer.case_path):
            if version.digest and not offer.base_digest.startswith(version.digest):
                continue
            text = history.read_version(version)
            if digest_of(text.encode("utf-8")) == offer.base_digest:
                return loads_case(text, offer.case_path)
    except AfocalError:
        return None
    return None


def _brought_back(path: Path, text: str, wanted: Case, present: Case | None, stamp: Stamp | None) -> Restored:
    case = wanted if present is None else with_version(present, wanted)
    history.save_case(path, text if case == wanted else dumps_case(case), stamp, keep_for_good=True)
    stayed = (visit for visit in case.visits if visit.signed and visit not in wanted.visits)
    return Restored(case, tuple(f"{visit.kind} of {visit.on}" for visit in stayed))


def _present(path: Path, version: history.Version) -> tuple[Stamp | None, Case | None]:
    """The stamp that a save must find, and the latest case there is to tell what is signed."""
    try:
        read = read_text(path)
        return read.stamp, loads_case(read.text, path)
    except FileRefusal:
        stamp = current_stamp(path)
    for each in history.versions(path):
        if each.replaced_at > version.replaced_at:
            try:
                return stamp, loads_case(history.read_version(each), path)
            except AfocalError:
                continue
    return stamp, None
