"""Warnings for free text that seems to tell who the patient is.

A case file knows a patient by code. What these patterns find is a guess, shown before an export so that the
practitioner looks once more; text is never changed or refused because of it.
"""

from __future__ import annotations

import re

from ..printable import printable

_EMAIL = re.compile(r"(?<![\w.+-])[\w.+-]{1,64}@[\w-]{1,63}(?:\.[\w-]{1,63})+")
_WEB = re.compile(r"\bhttps?://\S+|\bwww\.\S+", re.IGNORECASE)
# Seven digits or more in groups, as telephone numbers are written; dates and exam values are taken out first.
_PHONE = re.compile(r"(?<![\w.,/])(?:\+|00)?\(?\d{1,5}\)?(?:[ ./-]{0,2}\(?\d{2,6}\)?){1,5}(?![\w,/])")
_DATE = re.compile(r"\b(?:\d{4}-\d{2}-\d{2}|\d{1,2}[./-]\d{1,2}[./-]\d{2,4})\b")
_VALUE = r"[+−-]?(?<!\d)\d{1,4}(?:[.,]\d{1,3})?(?!\d)"
_OPTICAL = re.compile(
    rf"{_VALUE}\s*(?:/|x|×|@)\s*{_VALUE}(?:\s*(?:x|×|@)\s*\d{{1,3}}(?!\d))?"
    rf"|{_VALUE}\s*(?:mm|cm|m|D|dpt|Δ|°|M|N|wpm|logMAR|lux|lx|cd)\b"
)
_TITLE = re.compile(
    r"\b(?:Mr|Mrs|Ms|Miss|Mx|Dr|Prof|Sir|Madam|Herr|Frau|Mme|Mlle|Monsieur|Madame|Señor|Señora|Sr|Sra|Sig)\b\.?"
    r"\s+[^\W\d_a-zß-ÿ][\w'’-]+"
)
_KIN = "wife|husband|partner|mother|father|daughter|son|sister|brother|carer|friend|teacher|neighbour"
_CALLED = re.compile(
    r"\b(?i:(?:sur|first |last |family |given |maiden )?names?(?: is|:| =)|called"
    rf"|\b(?:{_KIN})(?: is|,| called)?)\s+[^\W\d_a-zß-ÿ][\w'’-]+"
)
_BORN = re.compile(r"\b(?i:born(?: on)?|date of birth|d\.?o\.?b\.?)\s*:?\s*\d{1,4}[./ -]\w{1,9}[./ -]\d{1,4}")
_ADDRESS = re.compile(
    r"\b\d{1,4}[a-z]?,?\s+[^\W\d_a-zß-ÿ]\w+\s+(?:Street|St|Road|Rd|Avenue|Ave|Lane|Drive|Close|Court|Square)\b"
    r"|\b[^\W\d_a-zß-ÿ]\w*(?:straße|strasse|gasse|weg|platz)\s+\d{1,4}[a-z]?\b"
)
# Within a sentence or at the beginning of a line, where a sentence seldom has a second word with a capital.
_TWO_CAPITALS = re.compile(
    r"(?:(?<=[\w,;:)] )|^)[^\W\d_a-zß-ÿ][a-zß-ÿ'’-]+ [^\W\d_a-zß-ÿ][a-zß-ÿ'’-]+\b", re.MULTILINE
)
# An initial or two before a name; and a line that is nothing but a name in capitals or "Name, First name".
_WRITTEN_NAMES = (
    re.compile(r"\b(?:[A-Z]\. ?){1,2}[^\W\d_a-zß-ÿ][a-zß-ÿ'’-]{2,}\b"),
    re.compile(r"^[A-Z]{3,20} [A-Z]{3,20}$", re.MULTILINE),
    re.compile(r"^[^\W\d_a-zß-ÿ][a-zß-ÿ'’-]+, [^\W\d_a-zß-ÿ][a-zß-ÿ'’-]+$", re.MULTILINE),
)
# Words with a capital that a clinician writes in the middle of a sentence and that name nobody.
_TRADE_TEXT = """
    Snellen Landolt Jaeger Sloan Galilean Keplerian Prentice Amsler Charles Bonnet Braille Right Left
    Both Eye Eyes Visual Field Acuity Low Vision Contrast Sensitivity Distance Near Goal Goals Monday
    Tuesday Wednesday Thursday Friday Saturday Sunday January February March April May June July August
    September October November December The This That With And Or For No Not
"""
_TRADE_WORDS = frozenset(_TRADE_TEXT.split())


def looks_personal(text: str) -> list[str]:
    """Sentences about what in ``text`` seems to be a name, a telephone number, an address or the like."""
    warnings: list[str] = []

    def warn(kind: str, found: str) -> None:
        sentence = f'"{printable(found.strip(), 60)}" looks like {kind}'
        if sentence not in warnings:
            warnings.append(sentence)

    rest = text
    for kind, pattern in (
        ("an e-mail address", _EMAIL),
        ("a web address", _WEB),
        ("a date of birth", _BORN),
        ("a postal address", _ADDRESS),
        ("a name", _TITLE),
        ("a name", _CALLED),
    ):
        for found in pattern.finditer(rest):
            warn(kind, found[0])
        rest = pattern.sub(" ; ", rest)
    for found in _names(rest):
        warn("a name", found)
    for found in _telephones(rest):
        warn("a telephone number", found)
    return warnings


def _names(text: str) -> list[str]:
    found = [each[0] for pattern in (_TWO_CAPITALS, *_WRITTEN_NAMES) for each in pattern.finditer(text)]
    return [
        pair
        for pair in found
        if not any(word.strip(",").capitalize() in _TRADE_WORDS for word in pair.split())
    ]


def _telephones(text: str) -> list[str]:
    plain = _OPTICAL.sub(" ; ", _DATE.sub(" ; ", text))
    return [match[0] for match in _PHONE.finditer(plain) if _is_telephone(match[0])]


def _is_telephone(found: str) -> bool:
    """Seven to fifteen digits, and not a row of small counts: those have no group of three and no leading zero."""
    groups = re.findall(r"\d+", found)
    if not 7 <= sum(map(len, groups)) <= 15:
        return False
    return found.lstrip("( ")[0] in "+0" or max(map(len, groups)) >= 3
