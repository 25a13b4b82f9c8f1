"""Which program and which formulas made a document, so that a number can be traced years later."""

from __future__ import annotations

from functools import cache
from hashlib import sha256
from importlib import import_module
from pathlib import Path

from .. import __version__, optics
from ..formula import REGISTRY

# Raised by hand whenever a formula, or the way they are put together, changes a result.
FORMULAS_VERSION = 2

_OUTSIDE_OPTICS = ("acuity", "contrast", "likelihood", "magnification", "print_size", "reading")


@cache
def formulas_digest() -> str:
    """Eight letters over the symbols, unit and domain of every formula: they change when one of these does.

    All modules with formulas are imported first, so that the digest does not depend on what ran before.
    """
    inside = sorted(f"optics.{found.stem}" for found in Path(optics.__path__[0]).glob("[a-z]*.py"))
    package = optics.__name__.rpartition(".")[0]
    for name in (*_OUTSIDE_OPTICS, *inside):
        import_module(f"{package}.{name}")
    rows = sorted(
        f"{entry.key}|{entry.symbols}|{entry.unit}|{entry.domain}"
        for entry in REGISTRY.values()
        if entry.module.startswith("optics.") or entry.module.split(".")[0].split("_")[0] in _STEMS
    )
    return sha256("\n".join(rows).encode()).hexdigest()[:8]


_STEMS = {name.split("_")[0] for name in _OUTSIDE_OPTICS} | {"optotypes"}


def made_by() -> str:
    """The line at the foot of a document."""
    return f"afocal {__version__}, formulas {FORMULAS_VERSION}-{formulas_digest()}"
