"""The shape of the plan as JSON, told from the types that it is made of, so that words and program cannot disagree."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import is_dataclass
from typing import Any, Literal, get_args, get_origin, get_type_hints

from ..configuration import Configuration
from ..goals import Demand
from ..plan import data, types
from ..stock import StockItem

_LISTED: tuple[tuple[str, type], ...] = (
    ("options[]", types.Option),
    ("options[].configuration", Configuration),
    ("options[].device", types.DeviceNumbers),
    ("options[].device.eyes[]", types.EyeNumbers),
    ("options[].device.eyes[].field", types.FieldNumbers),
    ("options[].device.pair", types.PairNumbers),
    ("options[].device.mount", types.MountNumbers),
    ("options[].device.cap", types.CapNumbers),
    ("options[].outcomes[]", types.Outcome),
    ("options[].outcomes[].losses[]", types.Loss),
    ("options[].score_parts[]", types.ScorePart),
    ("goals[]", Demand),
    ("needs[]", types.Need),
    ("needs[].methods[]", types.Method),
    ("refused[]", types.Refused),
)


def plan_shape() -> str:
    """The document: the keys in words, then every key of every table with its kind."""
    words = (data.__doc__ or "").strip().replace("``", "")
    return words + "\n\n" + "\n".join(_tables()) + "\n"


def _tables() -> Iterator[str]:
    for place, kind in _LISTED:
        yield f"{place}"
        hints = get_type_hints(kind)
        for name in hints:
            yield f"    {name}: {_kind(hints[name])}"


def _kind(hint: Any) -> str:
    """A type in the words of JSON."""
    if hint in _PLAIN:
        return _PLAIN[hint]
    if isinstance(hint, type) and issubclass(hint, StockItem):
        return "id of the stock"
    if is_dataclass(hint) or hasattr(hint, "_fields"):
        return "table"
    arguments, origin = get_args(hint), get_origin(hint)
    if origin is Literal:
        return " or ".join(repr(each) if isinstance(each, str) else str(each) for each in arguments)
    if origin is Mapping:
        return "table"
    if origin in (tuple, Sequence):
        return f"list of {_kind(arguments[0])}"
    return " or ".join(_kind(each) for each in arguments) or "text"


_PLAIN: dict[Any, str] = {
    float: "number",
    int: "whole number",
    str: "text",
    bool: "true or false",
    type(None): "null",
}
