"""Text to value: how each kind of field reads what a clinician types, echoes it, and goes into a file.

A kind knows nothing of the case or the screen. ``read`` turns typed text into a value or raises an EntryRefusal
or RangeRefusal that names the field; ``echo`` says what was understood, in the clinic's notation; ``unusual`` asks
to confirm; ``parts`` gives the numbers that a case file keeps beside the typed text, with the unit in each key.
"""

from __future__ import annotations

from .entry_basic import (
    Choice,
    Day,
    Length,
    Number,
    Words,
    YesNo,
    length_mm,
    normal,
    plain_number,
    show_length,
)
from .entry_clinical import (
    AcuityKind,
    Curve,
    CurveKind,
    Detail,
    DetailKind,
    NearKind,
    Pd,
    PdKind,
    RefractionKind,
    Reserve,
    ReserveKind,
)

__all__ = [
    "AcuityKind",
    "Choice",
    "Curve",
    "CurveKind",
    "Day",
    "Detail",
    "DetailKind",
    "Kind",
    "Length",
    "NearKind",
    "Number",
    "Pd",
    "PdKind",
    "RefractionKind",
    "Reserve",
    "ReserveKind",
    "Words",
    "YesNo",
    "length_mm",
    "normal",
    "plain_number",
    "show_length",
]

Kind = (
    Number
    | Length
    | AcuityKind
    | NearKind
    | RefractionKind
    | PdKind
    | ReserveKind
    | Choice
    | YesNo
    | Words
    | Day
    | DetailKind
    | CurveKind
)
