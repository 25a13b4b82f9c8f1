"""Cautions, what must be there before a signature, the signature itself, and later words."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime

import pytest

from afocal.core import cautions as words
from afocal.core.case import Case, Caution, new_case
from afocal.core.case_file import dumps_case, loads_case
from afocal.core.configuration import Configuration
from afocal.core.errors import ClinicalRefusal, EntryRefusal
from afocal.core.fitting.cautions import all_cautions, cautions_for, standing, with_caution
from afocal.core.plan.cautions import DRIVING
from afocal.core.signing import before_signing, can_sign, sign, verify, visit_digest, with_addendum

DAY = date(2026, 11, 25)
AT = datetime(2026, 11, 25, 16, 30, 12, 345)
ONE = Configuration("high", "right", "bioptic", "through the lens")
TWO = Configuration("wide", "both", "full diameter", "flip-up", cap="four")


def case_with(choice: Configuration | None) -> Case:
    """A case with a choice."""
    case = new_case("S-1", DAY).with_typed("right.distance_acuity", "20/100")
    return case.with_visit(replace(case.visit, choice=choice))


def told(case: Case) -> Case:
    """The case with every caution that applies given and understood."""
    for text in cautions_for(case):
        case = with_caution(case, text.key, Caution(given=True, understood=True, at=AT))
    return case


def test_every_device_asks_for_the_same_core_of_cautions() -> None:
    """Sun, moving, hidden surroundings, driving, falls and same-day care are mandatory whatever is chosen."""
    core = {"sun", "walking", "nearer", "driving", "fall", "same_day"}
    for choice in (ONE, TWO):
        assert core <= {text.key for text in cautions_for(case_with(choice)) if text.mandatory}
    assert cautions_for(case_with(None)) == ()


def test_cautions_follow_the_device_and_the_person() -> None:
    """Two tubes, a cap, moving parts and falls each bring their own."""
    keys = {text.key for text in cautions_for(case_with(TWO))}
    assert {"double", "cap", "moving_parts"} <= keys
    assert "falls" not in keys
    fallen = case_with(ONE).with_typed("history.falls", "several")
    assert "falls" in {text.key for text in cautions_for(fallen)}


def test_driving_states_no_entitlement() -> None:
    """The caution about driving defers to law and licensed practice and grants nothing."""
    words = next(text.sentence for text in all_cautions() if text.key == "driving")
    assert "no right to drive" in words
    assert "local law" in words and "licensed practitioner" in words


def test_caution_keys_are_unique() -> None:
    """Each caution is recorded under a key of its own."""
    keys = [text.key for text in all_cautions()]
    assert len(keys) == len(set(keys))
    with pytest.raises(EntryRefusal, match="caution"):
        with_caution(case_with(ONE), "weather", Caution(given=True))


def test_a_record_with_open_cautions_is_not_signed() -> None:
    """The refusal names every caution that is still open, given or not."""
    case = case_with(ONE)
    case = with_caution(case, "sun", Caution(given=True, understood=False, at=AT))
    with pytest.raises(ClinicalRefusal) as refused:
        sign(case, "RK", AT)
    words = str(refused.value)
    assert "'Never toward the sun' given, not yet understood" in words
    assert "'Driving' not given" in words
    assert not case.visit.signed
    assert "Weight on the nose" not in words


def test_a_complete_record_is_signed_and_verified() -> None:
    """Signing leaves a digest over the content; reading the file back finds it unchanged."""
    case = sign(told(case_with(ONE)), " RK ", AT)
    assert case.visit.signed and case.visit.signature is not None
    assert case.visit.signature.at == AT.replace(microsecond=0)
    again = loads_case(dumps_case(case))
    assert verify(again).state == "unchanged"
    assert "RK" in verify(again).sentence


def test_an_examination_without_a_device_needs_no_cautions() -> None:
    """Nothing is chosen, so nothing has to be told."""
    assert can_sign(case_with(None))


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ('distance_acuity = "20/100"', 'distance_acuity = "20/80"'),
        ('position = "bioptic"', 'position = "low"'),
        ('code = "S-1"', 'code = "S-2"'),
        ("understood = true", "understood = false"),
        ('signer = "RK"', 'signer = "AB"'),
        ("at = 2026-11-25 16:30:12\ndigest", "at = 2026-11-26 16:30:12\ndigest"),
        ("at = 2026-11-25 16:30:12\ndigest", "at = 2026-11-25 16:30:12Z\ndigest"),
    ],
)
def test_a_change_outside_the_program_is_seen(old: str, new: str) -> None:
    """A signed file edited by hand no longer verifies: content, code, signer and time of signing are covered."""
    text = dumps_case(sign(told(case_with(ONE)), "RK", AT))
    assert old in text
    assert verify(loads_case(text.replace(old, new, 1))).state == "changed"


def test_readings_are_not_part_of_the_signature() -> None:
    """The typed text counts; what a version reads from it is made anew and may be written with other digits."""
    text = dumps_case(sign(told(case_with(ONE)), "RK", AT))
    other = text.replace("distance_acuity_logmar = 0.699", "distance_acuity_logmar = 0.7", 1)
    assert other != text
    assert verify(loads_case(other)).state == "unchanged"


def test_a_signed_visit_is_read_only() -> None:
    """No field, step or second signature after it; later words are an addendum."""
    case = sign(told(case_with(ONE)), "RK", AT)
    with pytest.raises(EntryRefusal, match="signed and read-only"):
        case.with_typed("right.distance_acuity", "20/80")
    with pytest.raises(EntryRefusal, match="already signed"):
        sign(case, "AB", AT)
    later = with_addendum(case, "phoned: sees the board", "AB", datetime(2026, 12, 9, 9, 0))
    assert later.visit.addenda[0].text == "phoned: sees the board"
    assert verify(later).state == "unchanged"
    assert "1 addendum" in verify(later).sentence
    assert loads_case(dumps_case(later)) == later


def test_addenda_are_dated_words_of_someone() -> None:
    """No addendum on an unsigned visit, none without words or author, none dated before what stands."""
    case = told(case_with(ONE))
    with pytest.raises(EntryRefusal, match="unsigned"):
        with_addendum(case, "x", "RK", AT)
    signed = sign(case, "RK", AT)
    for text, by, at in (
        (" ", "RK", datetime(2026, 12, 1)),
        ("x", " ", datetime(2026, 12, 1)),
        ("x", "RK", datetime(2026, 11, 1)),
    ):
        with pytest.raises(EntryRefusal):
            with_addendum(signed, text, by, at)


def test_signer_and_time_are_checked() -> None:
    """A signature has a name and is not older than the visit."""
    case = told(case_with(ONE))
    with pytest.raises(EntryRefusal, match="signer"):
        sign(case, "  ", AT)
    with pytest.raises(EntryRefusal, match="time of signing"):
        sign(case, "RK", datetime(2026, 11, 24, 12, 0))


def test_two_tubes_without_fusion_are_not_signed() -> None:
    """The record refuses a pair without shown fusion, by name."""
    case = told(case_with(TWO))
    assert "fusion is not shown" in " ".join(
        missing.words for missing in before_signing(case) if missing.must
    )
    assert can_sign(case.with_typed("binocular.fusion", "yes"))


def test_unreadable_text_and_warning_signs_stand_in_the_way() -> None:
    """A field that could not be read is listed; a warning sign needs the referral in the record."""
    text = dumps_case(told(case_with(ONE))).replace(
        'distance_acuity = "20/100"', 'distance_acuity = "blurry"'
    )
    assert any(
        "Distance acuity" in missing.words for missing in before_signing(loads_case(text)) if missing.must
    )
    flashes = told(case_with(ONE)).with_typed("history.flashes_or_floaters", "yes")
    assert not can_sign(flashes)
    assert can_sign(flashes.with_typed("plan.next_step", "eye clinic today, phoned"))


def test_cautions_of_an_earlier_visit_stand_for_the_same_telescope() -> None:
    """A follow-up with the same device need not repeat them; a changed telescope does."""
    first = told(case_with(ONE))
    later = first.with_new_visit(date(2026, 12, 23), "follow-up")
    assert all(entry.answered for entry in standing(later))
    assert can_sign(later)
    other = later.with_visit(replace(later.visit, choice=TWO))
    assert not any(entry.answered for entry in standing(other))


def test_what_is_worth_a_look_does_not_block() -> None:
    """No next date, no reason and values carried over are listed and can be signed all the same."""
    later = told(case_with(ONE)).with_new_visit(date(2026, 12, 23), "follow-up")
    notices = before_signing(later)
    assert {missing.key for missing in notices} >= {"plan.next_date", "carried over", "choice.reason"}
    assert not any(missing.must for missing in notices)


def test_equal_content_gives_an_equal_digest() -> None:
    """The digest hangs on content, not on the order in which it was entered."""
    one = new_case("S-1", DAY).with_typed("right.pupil", "3").with_typed("left.pupil", "4")
    two = new_case("S-1", DAY).with_typed("left.pupil", "4").with_typed("right.pupil", "3")
    digest = visit_digest("S-1", one.visit, "RK", AT)
    assert digest == visit_digest("S-1", two.visit, "RK", AT)
    assert digest != visit_digest("S-2", one.visit, "RK", AT)
    assert digest != visit_digest("S-1", one.visit, "AB", AT)
    assert digest != visit_digest("S-1", one.visit, "RK", AT.replace(minute=31))


def test_a_caution_has_one_wording() -> None:
    """What the plan shows beside its numbers is said to the person in the same sentence."""
    said = {text.sentence for text in all_cautions()}
    for sentence in (words.SUN, words.MOVING, words.DRIVING, words.SEATED, words.FALLS, words.JUDGEMENT):
        assert sentence in said
    assert DRIVING.sentence == words.DRIVING


def test_a_tube_straight_ahead_is_for_sitting_still() -> None:
    """Looked through all the time it hides the way: taken off before standing, which must be said before signing."""
    case = case_with(Configuration("wide", "right", "full diameter", "through the lens"))
    assert "seated" in {text.key for text in cautions_for(case)}
    flipped = case_with(Configuration("wide", "right", "full diameter", "flip-up"))
    assert "seated" not in {text.key for text in cautions_for(flipped)}
