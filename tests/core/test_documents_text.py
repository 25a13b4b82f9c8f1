"""Text that leaves the program is safe, fits its width and folds to ASCII."""

from __future__ import annotations

import unicodedata

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from afocal.core.documents.text import clean, columns, fill, in_letters, paragraphs, signed, unfolded

HOSTILE = '\x1b[2J\x1b]0;title\x07<script>alert(1)</script> {code} =HYPERLINK("x")\u202eabc\u2066\u200b\ufeff\x00\x85line'


def test_clean_leaves_no_control_or_direction_characters():
    """Escape sequences, direction marks, zero-width and line separators do not survive."""
    shown = clean(HOSTILE)
    assert all(c.isprintable() for c in shown)
    assert not set(shown) & set("\x1b\x07\x00\u202e\u2066\u200b\ufeff\x85")


def test_clean_keeps_lines_only_when_asked():
    """Line ends of any system become one kind, or spaces."""
    assert clean("a\r\nb\rc\u2028d\x0be", lines=True) == "a\nb\nc\nd\ne"
    assert clean("a\r\nb\tc") == "a b c"


def test_clean_cuts_endless_text_and_says_so():
    """A value of a million characters is cut, with a sign."""
    assert clean("x" * 1_000_000).endswith(" …") and len(clean("x" * 1_000_000)) == 20_000


@given(st.text(max_size=300), st.integers(min_value=8, max_value=72))
@settings(max_examples=150, deadline=None)
def test_no_line_is_wider_than_asked_and_no_word_is_lost(text, width):
    """Whatever the text, every line fits, and the letters are all there."""
    plain = clean(text)
    rows = fill(plain, width=width, rest="  ")
    assert all(columns(row) <= width for row in rows)
    assert "".join("".join(rows).split()) == "".join(plain.split())


@given(st.text(max_size=300))
@settings(max_examples=150, deadline=None)
def test_ascii_is_ascii(text):
    """Folding to ASCII leaves nothing else."""
    assert in_letters(clean(text), "ascii").isascii()


@pytest.mark.parametrize(
    ("text", "folded"),
    [
        ("M²U × 2", "M2U x 2"),
        ("−2.00", "-2.00"),
        ("13°", "13 deg"),
        ("Müller", "Muller"),
        ("Øre", "Ore"),
        ("水", "?"),
    ],
)
def test_signs_are_spelled_in_ascii(text, folded):
    """The signs of the trade have an ASCII spelling; accents go; the rest is a question mark."""
    assert in_letters(text, "ascii") == folded


def test_wide_letters_count_twice():
    """A CJK letter takes two columns of a terminal, a combining mark none."""
    assert columns("水e\u0301") == 3


def test_paragraphs_keep_single_empty_lines():
    """Two empty lines in a row become one."""
    assert paragraphs("a\n\n\nb") == ["a", "", "b"]


def test_zero_has_a_plus_and_no_minus():
    """A dioptre figure of nothing is +0.00, never -0.00."""
    assert signed(-0.001) == "+0.00"


@given(
    st.text(
        alphabet=st.one_of(st.characters(), st.sampled_from("e\u0301\u202e\ufeff\x1b\n\u200d")), max_size=60
    )
)
def test_clean_is_the_same_for_every_letter_wherever_it_stands(text):
    """The short way for printable text gives what the long way gives: nothing unsafe, at most three marks in a row."""
    shown = clean(text, lines=True)
    assert not {unicodedata.category(c) for c in shown.replace("\n", "")} & {
        "Cc",
        "Cf",
        "Cs",
        "Co",
        "Cn",
        "Zl",
        "Zp",
    }
    marks = "".join("m" if unicodedata.combining(c) else " " for c in shown)
    assert "mmmm" not in marks
    assert clean(shown, lines=True) == shown


@given(st.lists(st.text(alphabet=st.sampled_from("ab .:|"), max_size=200), max_size=6))
@settings(max_examples=150, deadline=None)
def test_unfolded_text_is_what_it_was_before_it_was_broken(texts):
    """Paragraphs broken with a hanging indent come back whole, each in one line."""
    wanted = [" ".join(text.split()) for text in texts if text.split()]
    broken = "\n".join(row for text in wanted for row in fill(text, width=24, rest="  "))
    # A word of more than a line is cut, and what was cut comes back with a blank.
    assert [line.replace(" ", "") for line in unfolded(broken)] == [line.replace(" ", "") for line in wanted]
