"""Free text that seems to tell who somebody is, and clinical text that does not."""

from __future__ import annotations

import time

import pytest

from afocal.core.store.privacy import looks_personal


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("write to a.person@example.org today", "an e-mail address"),
        ("call back on 020 7946 0123", "a telephone number"),
        ("tel. +44 (0)20 7946-0123", "a telephone number"),
        ("mobile 0664/1234567", "a telephone number"),
        ("reachable at 555-867-5309", "a telephone number"),
        ("Mrs Example came with her son", "a name"),
        ("seen together with Dr. Sample", "a name"),
        ("Frau Muster liest wieder", "a name"),
        ("her name is Aroha", "a name"),
        ("Surname: Example", "a name"),
        ("his wife Aroha reads to him", "a name"),
        ("referred by Anna Example after the visit", "a name"),
        ("Seen with daughter Aroha", "a name"),
        ("carer, Sample, phoned", "a name"),
        ("Anna Example came alone", "a name"),
        ("no glare\nAnna Example asks for a cap", "a name"),
        ("sent by A. Example", "a name"),
        ("sent by A. B. Example", "a name"),
        ("ANNA EXAMPLE", "a name"),
        ("Example, Anna", "a name"),
        ("born 12.3.1941 in the north", "a date of birth"),
        ("DOB: 1941-03-12", "a date of birth"),
        ("lives at 12 Sample Street", "a postal address"),
        ("wohnt Mustergasse 7", "a postal address"),
        ("see www.example.org/me", "a web address"),
    ],
)
def test_personal_text_is_quoted_with_what_it_looks_like(text, kind):
    """One sentence that says what was found and what it may be."""
    warnings = looks_personal(text)
    assert any(warning.endswith(f"looks like {kind}") for warning in warnings), warnings


@pytest.mark.parametrize(
    "text",
    [
        "",
        "Right eye 20/100-2, left eye 20/400, both 20/80+1.",
        "RE -2.25/-1.50x90, LE +0.75 DS; vertex 12 mm; PD 62/31.5",
        "Reads 1.0 M at 40 cm, 85 wpm, reserve 2:1; critical print 1.6 M.",
        "visit 2024-05-02, next 2024-06-02 or 12.06.2024",
        "Galilean 2.5×, tube 38 mm, exit pupil 4.2 mm, cap +4.00 D at 250 mm",
        "Amsler shows a scotoma at 2 o'clock; Charles Bonnet images explained.",
        "Wants to read the board at 4 m. The Low Vision service lends it until Monday.",
        "contrast 1.35 log, glare from 2000 lux, field 8.5 deg at 0.30 logMAR 0.74 0.82 0.90",
        "Daughter will help with the training; mother reads to her.",
        "No GLARE ONLY inside; OD OS OU as before, VA RE 20/80.",
        "Low Vision clinic. Board, subtitles. Distance, Near.",
        "letters read 55 54 56 55 54 in five trials",
        "tried 2.5 3 4 5 6 at 4000 mm",
    ],
)
def test_clinical_text_gives_no_warning(text):
    """Acuities, refractions, dates, distances and terms of the trade are not taken for persons."""
    assert looks_personal(text) == []


def test_each_finding_is_said_once_and_cannot_command_a_terminal():
    """Repeated text gives one warning; what is quoted is printable."""
    assert len(looks_personal("Mrs Example. Mrs Example.")) == 1
    assert all(each.isprintable() for each in looks_personal("a\x1b@example.org name is \x1bX Mr A\x9bB"))


def test_a_long_text_is_looked_through_quickly():
    """Patterns do not run away on hostile input."""
    started = time.monotonic()
    for piece in ("1 ", "a.", "A", "Aa ", "( ", "1-", "@a.", "name is "):
        looks_personal(piece * (20_000 // len(piece)))
    assert time.monotonic() - started < 10
