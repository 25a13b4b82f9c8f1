"""Signing a visit: what must be there first, the signature over its content, the check of it, and later words.

A signature covers what was typed and recorded at the visit, with the patient code, the signer and the time of
signing, but not the readings made from the typed text: those are made anew by every version. A signed visit is
read-only; later words are dated addenda.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from datetime import date, datetime, time
from typing import Any, Literal

from .case import Addendum, Case, Finding, Signature, Visit
from .errors import ClinicalRefusal, EntryRefusal
from .fields import WARNINGS, by_path, goal_by_key
from .fitting.cautions import standing

SealState = Literal["not signed", "unchanged", "changed"]


@dataclass(frozen=True, slots=True)
class Missing:
    """Something that stands in the way of a signature (``must``), or that is worth a look before it."""

    key: str
    words: str
    must: bool


@dataclass(frozen=True, slots=True)
class Seal:
    """How a visit stands to its signature, with one sentence."""

    state: SealState
    sentence: str


def before_signing(case: Case, index: int = -1) -> tuple[Missing, ...]:
    """Everything to be settled by name before a visit is signed: first what must be, then what is worth a look."""
    visit = case.visits[index]
    found = [*_unanswered_cautions(case, index), *_unreadable(visit), *_two_tubes(visit), *_warnings(visit)]
    found += _worth_a_look(visit)
    return tuple(sorted(found, key=lambda missing: not missing.must))


def can_sign(case: Case, index: int = -1) -> bool:
    """Whether nothing stands in the way."""
    return not any(missing.must for missing in before_signing(case, index))


def sign(case: Case, signer: str, at: datetime, index: int = -1) -> Case:
    """The case with a visit signed.

    Raises ClinicalRefusal naming everything that is still missing, EntryRefusal without a signer, for a visit that is
    signed already, or for a moment before the visit.
    """
    visit = case.visits[index]
    name = " ".join(signer.split())
    if not name or not name.isprintable():
        raise EntryRefusal("signer", signer, "initials or a staff code", example="RK")
    if visit.signed:
        raise EntryRefusal(
            "visit",
            visit.on.isoformat(),
            "an addendum",
            reason=f"already signed by {visit.signature.signer}",  # type: ignore[union-attr]
        )
    if at.date() < visit.on:
        raise EntryRefusal(
            "time of signing", at.isoformat(" ", "minutes"), f"{visit.on.isoformat()} or later"
        )
    blocking = [missing.words for missing in before_signing(case, index) if missing.must]
    if blocking:
        raise ClinicalRefusal(
            "signature", "", "a record with these settled", reason="still open: " + "; ".join(blocking)
        )
    moment = at.replace(microsecond=0)
    signature = Signature(signer=name, at=moment, digest=visit_digest(case.code, visit, name, moment))
    return case.with_visit(replace(visit, signature=signature), index)


def verify(case: Case, index: int = -1) -> Seal:
    """Whether a signed visit is still what was signed."""
    visit = case.visits[index]
    if visit.signature is None:
        return Seal("not signed", "This visit is not signed.")
    who = f"{visit.signature.signer} on {visit.signature.at:%Y-%m-%d %H:%M}"
    made = visit_digest(case.code, visit, visit.signature.signer, visit.signature.at)
    if made == visit.signature.digest:
        later = len(visit.addenda)
        words = "" if not later else f", with {later} {'addendum' if later == 1 else 'addenda'} since"
        return Seal("unchanged", f"Signed by {who}; unchanged{words}.")
    return Seal("changed", f"Signed by {who}, but the content has been changed outside the program since.")


def with_addendum(case: Case, text: str, by: str, at: datetime, index: int = -1) -> Case:
    """The case with later words added to a signed visit; an unsigned visit is edited instead."""
    visit = case.visits[index]
    if visit.signature is None:
        raise EntryRefusal(
            "addendum", visit.on.isoformat(), "a signed visit", reason="an unsigned visit is edited itself"
        )
    words, name = text.strip(), " ".join(by.split())
    if not words:
        raise EntryRefusal("addendum", text, "some words", example="phoned: sees the board from row two")
    if not name:
        raise EntryRefusal("addendum by", by, "initials or a staff code", example="RK")
    last = visit.addenda[-1].at if visit.addenda else visit.signature.at
    if _comparable(at) < _comparable(last):
        raise EntryRefusal(
            "time of addendum", at.isoformat(" ", "minutes"), "later than what stands before it"
        )
    addendum = Addendum(at=at.replace(microsecond=0), by=name, text=words)
    return case.with_visit(replace(visit, addenda=(*visit.addenda, addendum)), index)


def altered(case: Case) -> tuple[str, ...]:
    """One sentence for each signed visit whose content is no longer what was signed."""
    seals = [(visit, verify(case, index)) for index, visit in enumerate(case.visits)]
    return tuple(
        f"{visit.on} {visit.kind}: {seal.sentence}" for visit, seal in seals if seal.state == "changed"
    )


def with_version(case: Case, earlier: Case) -> Case:
    """The case as it was in an earlier version, but with every visit signed since, and unchanged, as it is now.

    A signed visit that was altered outside the program is replaced by the earlier version's, which may be the true one.
    """
    sealed = [visit for index, visit in enumerate(case.visits) if verify(case, index).state == "unchanged"]
    visits = list(earlier.visits)
    for visit in sealed:
        alike = [n for n, each in enumerate(visits) if (each.on, each.kind) == (visit.on, visit.kind)]
        same = [n for n in alike if visits[n].signature == visit.signature]
        unsigned = [n for n in alike if not visits[n].signed]
        if same or unsigned:
            visits[(same or unsigned)[0]] = visit
        else:
            visits.append(visit)
    visits.sort(key=lambda visit: visit.on)
    return replace(earlier, visits=tuple(visits))


def visit_digest(code: str, visit: Visit, signer: str, at: datetime) -> str:
    """SHA-256 over the content of a visit, who signed it and when, in one canonical form.

    Equal content gives the same digest on any machine.
    """
    content = {**_content(code, visit), "signer": signer, "signed_at": _plain(at)}
    import json

    text = json.dumps(content, sort_keys=True, ensure_ascii=True, separators=(",", ":"))
    return "sha256:" + hashlib.sha256(text.encode("ascii")).hexdigest()


def _content(code: str, visit: Visit) -> dict[str, Any]:
    content: dict[str, Any] = {
        "code": code,
        "date": visit.on,
        "kind": visit.kind,
        "findings": {path: _typed(finding) for path, finding in visit.findings.items()},
        "goals": [
            {**{k: _typed(f) for k, f in goal.findings.items()}, "extra": goal.extra} for goal in visit.goals
        ],
        "choice": None if visit.choice is None else asdict(visit.choice),
        "choice_reason": visit.choice_reason,
        "promised": visit.promised,
        "steps": {key: asdict(step) for key, step in visit.steps.items()},
        "cautions": {key: asdict(caution) for key, caution in visit.cautions.items()},
        "training": [asdict(session) for session in visit.training],
        "notes": visit.notes,
        "note_taken_at": visit.note_taken_at,
        "note_digest": visit.note_digest,
        "note_text": visit.note_text,
        "extra": visit.extra,
    }
    return {key: _plain(value) for key, value in content.items()}


def _typed(finding: Finding) -> list[str]:
    return [finding.typed, finding.status]


def _plain(value: Any) -> Any:
    """Only what JSON has, in one spelling: numbers alike however they are written, days and moments as text."""
    if isinstance(value, Mapping):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    if isinstance(value, int | float) and not isinstance(value, bool):
        return repr(float(value))
    if isinstance(value, datetime | date | time):
        return value.isoformat()
    return value if value is None or isinstance(value, bool | int | str) else repr(value)


def _comparable(moment: datetime) -> datetime:
    return moment.astimezone().replace(tzinfo=None) if moment.tzinfo else moment


def _unanswered_cautions(case: Case, index: int) -> list[Missing]:
    found = []
    for entry in standing(case, index):
        if entry.answered:
            continue
        lack = "given, not yet understood" if entry.state == "given" else "not given"
        found.append(
            Missing(f"caution.{entry.text.key}", f"caution '{entry.text.title}' {lack}", entry.text.mandatory)
        )
    return found


def _unreadable(visit: Visit) -> list[Missing]:
    labels = by_path()
    found = [
        Missing(path, f"{labels[path].label} could not be read ({finding.typed})", True)
        for path, finding in visit.findings.items()
        if finding.problem
    ]
    for number, goal in enumerate(visit.goals, 1):
        found += [
            Missing(
                f"goal.{number}.{key}",
                f"{goal_by_key()[key].label} of goal {number} could not be read ({finding.typed})",
                True,
            )
            for key, finding in goal.findings.items()
            if finding.problem
        ]
    return found


def _two_tubes(visit: Visit) -> list[Missing]:
    if visit.choice is None or visit.choice.eye != "both" or visit.value("binocular.fusion") is True:
        return []
    return [Missing("binocular.fusion", "two tubes are chosen, and fusion is not shown", True)]


def _warnings(visit: Visit) -> list[Missing]:
    """A warning sign asks for a referral that same day, so the record must say what was done about it."""
    said = visit.notes.strip() or visit.value("plan.next_step")
    positive = [name for name in WARNINGS if visit.value(f"history.{name}") is True]
    if not positive or said:
        return []
    labels = ", ".join(by_path()[f"history.{name}"].label.lower() for name in positive)
    return [
        Missing(
            "plan.next_step", f"{labels}: say in the next step or the notes which referral was made", True
        )
    ]


def _worth_a_look(visit: Visit) -> list[Missing]:
    found = []
    if visit.choice is not None and not visit.choice_reason.strip():
        found.append(Missing("choice.reason", "no reason is given for the choice", False))
    if visit.value("plan.next_date") is None:
        found.append(Missing("plan.next_date", "no date for the next visit", False))
    if visit.value("person.examiner") is None:
        found.append(Missing("person.examiner", "the examiner is not named", False))
    carried = [
        by_path()[path].label for path, finding in visit.findings.items() if finding.status == "carried over"
    ]
    if carried:
        shown = ", ".join(carried[:3]) + (f" and {len(carried) - 3} more" if len(carried) > 3 else "")
        found.append(Missing("carried over", f"carried over, not measured at this visit: {shown}", False))
    return found
