"""The seal of a signed visit: who signed, when, and a digest over exactly that content.

The digest is SHA-256 over a canonical JSON form of the visit without the seal and without later addenda, plus
signer and time. It tells that something was altered, by hand or by a fault; it is no proof against
somebody who alters the visit and computes a new seal, which needs a key that the record cannot hold.
"""

from __future__ import annotations

import json
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from hashlib import sha256
from typing import Any

from ..errors import EntryRefusal

FORM = 1
SEAL_KEY = "seal"
ADDENDA_KEY = "addenda"
NOT_SEALED = frozenset({SEAL_KEY, ADDENDA_KEY})


@dataclass(frozen=True, slots=True)
class SealCheck:
    """Whether a seal fits its content, and the sentence to show when it does not."""

    is_intact: bool
    reason: str = ""


def canonical(value: Any, without: Collection[str] = ()) -> Any:
    """``value`` in the form that is sealed: what means the same in a TOML file looks the same.

    1 and 1.0, absent and empty, and the order of keys make no difference; times keep the offset they were
    written with; strings count character by character.
    """
    if isinstance(value, Mapping):
        parts = {str(key): canonical(each) for key, each in value.items() if key not in without}
        return {key: part for key, part in sorted(parts.items()) if part not in (None, {}, [])}
    if isinstance(value, (list, tuple)):
        return [canonical(each) for each in value]
    if isinstance(value, float):
        return int(value) if value.is_integer() else value
    if isinstance(value, (datetime, date, time)):
        return value.isoformat()
    if isinstance(value, str):
        return value.replace("\r\n", "\n")
    if value is None or isinstance(value, (bool, int)):
        return value
    return str(value)


def content_digest(visit: Mapping[str, Any], signer: str, signed_at: str, without: Collection[str]) -> str:
    """The digest (hex) over a visit's content, its signer and its time."""
    content = {"form": FORM, "signer": signer, "signed_at": signed_at, "content": canonical(visit, without)}
    text = json.dumps(content, sort_keys=True, ensure_ascii=True, separators=(",", ":"), allow_nan=False)
    return sha256(text.encode("ascii")).hexdigest()


def make_seal(
    visit: Mapping[str, Any],
    signer: str,
    at: datetime | None = None,
    *,
    without: Collection[str] = NOT_SEALED,
) -> dict[str, Any]:
    """The seal of a visit as a table for the case file; EntryRefusal without a signer."""
    if not signer.strip():
        raise EntryRefusal("signer", signer, "initials or a licence number", example="KL")
    moment = (at or datetime.now(UTC)).isoformat(timespec="seconds")
    digest = content_digest(visit, signer.strip(), moment, without)
    return {"signer": signer.strip(), "signed_at": moment, "form": FORM, "digest": digest}


def check_seal(
    visit: Mapping[str, Any], seal: Mapping[str, Any], *, without: Collection[str] = NOT_SEALED
) -> SealCheck:
    """Whether the content is what was signed."""
    signer, signed_at, digest = seal.get("signer"), seal.get("signed_at"), seal.get("digest")
    if isinstance(signed_at, datetime):
        signed_at = signed_at.isoformat(timespec="seconds")
    if not all(isinstance(each, str) and each for each in (signer, signed_at, digest)):
        return SealCheck(False, "the seal lacks signer, time or digest")
    if seal.get("form") != FORM:
        return SealCheck(False, f"the seal is of form {seal.get('form')}, this program knows form {FORM}")
    try:
        found = content_digest(visit, str(signer), str(signed_at), without)
    except ValueError:
        return SealCheck(False, "the content holds a number that cannot be sealed")
    if found != digest:
        return SealCheck(False, f"the content was altered after {signer} signed it on {signed_at}")
    return SealCheck(True)
