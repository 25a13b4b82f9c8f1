"""The clinic's stock: telescopes, caps, filters and the near alternatives, from one TOML file of the clinic's own.

Powers are marked or measured, lengths millimetres. A measured power, exit pupil or field takes precedence
over what follows from the marked figures, and results say which was used.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Annotated, Any, Literal

from . import ranges as r
from .configuration import MOUNTS, POSITIONS, Correction, Mount, Position
from .errors import FileRefusal
from .ranges import Range
from .record_file import WrongRow, checked, known_good
from .store.toml import line_of_key, parse_toml
from .toml_cursor import nearest as nearest_of

SCHEMA = 1
_ID = re.compile(r"[A-Za-z0-9][A-Za-z0-9._+-]{0,47}")
_MOST_DESCRIPTION = 120
MOST_GALILEAN = 6.0

_OCULAR_BEHIND_CARRIER = Range("ocular behind the carrier", "mm", -15, 15, -5, 10, "2")
_SPREAD = Range("spread of a tube", "mm", 0, 10, 0, 5, "2")
_BASE_IN = Range("base-in prism of a cap", "prism D", 0, 20, 0, 10, "6")
_NEAR_POWER = Range("power of a near device", "D", 0.25, 60, 2, 40, "10")
_LENS_DIAMETER = Range("lens diameter", "mm", 10, 200, 25, 100, "50")
_ENLARGEMENT = Range("enlargement ratio", "x", 1, 60, 1.5, 20, "4")
_IMAGE_DISTANCE = Range("image distance", "mm", 10, 1000, 50, 500, "120")
_SCREEN_WIDTH = Range("screen width", "mm", 40, 1500, 80, 700, "120")
_VIEWING_DISTANCE = Range("viewing distance", "mm", 50, 1500, 200, 600, "300")


@dataclass(frozen=True, slots=True, kw_only=True)
class StockItem:
    """A frozen entry of the stock file."""

    __pydantic_config__ = {"extra": "forbid"}  # noqa: RUF012  (read by pydantic; of every subclass too)

    id: str
    description: str

    def problem(self) -> tuple[str, str]:
        """The key and the reason when the entry's figures do not go together; two empty words when they do."""
        if not _ID.fullmatch(self.id):
            return "id", "accepted are letters, digits, dot, dash, plus and underscore, for example gal-2.0"
        if len(self.description) > _MOST_DESCRIPTION:
            return "description", f"accepted are at most {_MOST_DESCRIPTION} letters"
        return "", ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Telescope(StockItem):
    """One telescope: type, marked power, tube and diameters, what it can be mounted and corrected with.

    ``magnification`` is the marked power without sign; :attr:`signed_magnification` carries the optical sign.
    An erecting prism turns the seen picture and leaves that sign. ``ocular_behind_carrier_mm`` is how far the
    ocular's back vertex stands behind the back surface of the carrier lens (negative: in front of it).
    """

    type: Literal["galilean", "keplerian"]
    magnification: Annotated[float, r.MAGNIFICATION]
    tube_length_mm: Annotated[float, r.TUBE_LENGTH]
    objective_diameter_mm: Annotated[float, r.OBJECTIVE_DIAMETER]
    ocular_diameter_mm: Annotated[float, r.OCULAR_DIAMETER] | None = None
    field_stop_mm: Annotated[float, r.FIELD_STOP] | None = None
    erect: bool = True
    measured_magnification: Annotated[float, r.MAGNIFICATION] | None = None
    measured_exit_pupil_mm: Annotated[float, r.EXIT_PUPIL] | None = None
    measured_field_deg: Annotated[float, r.FIELD] | None = None
    measured_field_eye_distance_mm: Annotated[float, r.EYE_DISTANCE] | None = None
    focusable: bool = False
    shortest_tube_mm: Annotated[float, r.TUBE_LENGTH] | None = None
    longest_tube_mm: Annotated[float, r.TUBE_LENGTH] | None = None
    corrections: tuple[Correction, ...] = ("carrier",)
    positions: tuple[Position, ...] = ("bioptic", "full diameter")
    mounts: tuple[Mount, ...] = ("through the lens",)
    housing_radius_mm: Annotated[float, r.HOUSING_RADIUS] = 9.0
    ocular_behind_carrier_mm: Annotated[float, _OCULAR_BEHIND_CARRIER] = 0.0
    tilt_lowest_deg: Annotated[float, r.TUBE_TILT] = 0.0
    tilt_highest_deg: Annotated[float, r.TUBE_TILT] = 20.0
    spread_highest_mm: Annotated[float, _SPREAD] = 0.0
    pd_lowest_mm: Annotated[float, r.PD] = r.PD.lowest
    pd_highest_mm: Annotated[float, r.PD] = r.PD.highest
    surfaces: Annotated[int, r.SURFACES] = 4
    surface_reflectance: Annotated[float, r.SURFACE_REFLECTANCE] = 0.015
    transmittance: Annotated[float, r.TRANSMITTANCE] | None = None
    weight_g: Annotated[float, r.WEIGHT] | None = None
    takes_caps: bool = True
    in_pairs: bool = True
    note: str = ""

    def problem(self) -> tuple[str, str]:
        """The key and the reason when the entry's figures do not go together; two empty words when they do."""
        shortest, longest = self.shortest_tube_mm, self.longest_tube_mm
        if self.focusable and (shortest is None or longest is None):
            return "", "a focusable telescope needs shortest_tube_mm and longest_tube_mm"
        if self.focusable and shortest and longest and not shortest <= self.tube_length_mm <= longest:
            return "", "tube_length_mm must lie between shortest_tube_mm and longest_tube_mm"
        if not self.focusable and "refocused" in self.corrections:
            return (
                "",
                "only a focusable telescope can be refocused; leave 'refocused' out of corrections",
            )
        if self.type == "galilean" and self.magnification > MOST_GALILEAN:
            return "", f"a Galilean over {MOST_GALILEAN:g}x is not accepted; is the type keplerian?"
        if self.pd_lowest_mm > self.pd_highest_mm:
            return "", "pd_lowest_mm must not be above pd_highest_mm"
        return StockItem.problem(self)

    @property
    def signed_magnification(self) -> float:
        """The power to compute with: measured where it was, negative for a Keplerian."""
        power = self.measured_magnification or self.magnification
        return power if self.type == "galilean" else -power


@dataclass(frozen=True, slots=True, kw_only=True)
class Cap(StockItem):
    """A reading cap: its power in dioptres, and base-in prism per eye where a pair is ground so."""

    power_d: Annotated[float, r.CAP]
    base_in_prism: Annotated[float, _BASE_IN] = 0.0
    fits: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Filter(StockItem):
    """A filter or tint and how much light it lets through."""

    transmittance: Annotated[float, r.TRANSMITTANCE]


@dataclass(frozen=True, slots=True, kw_only=True)
class NearAlternative(StockItem):
    """A near device other than a telescope. Which figures are needed depends on its kind."""

    kind: Literal["add", "hand", "stand", "electronic"]
    power_d: Annotated[float, _NEAR_POWER] | None = None
    lens_diameter_mm: Annotated[float, _LENS_DIAMETER] | None = None
    enlargement_ratio: Annotated[float, _ENLARGEMENT] | None = None
    image_distance_mm: Annotated[float, _IMAGE_DISTANCE] | None = None
    screen_width_mm: Annotated[float, _SCREEN_WIDTH] | None = None
    viewing_distance_mm: Annotated[float, _VIEWING_DISTANCE] | None = None

    def problem(self) -> tuple[str, str]:
        """The key and the reason when the entry's figures do not go together; two empty words when they do."""
        missing = [name for name in _NEEDED[self.kind] if getattr(self, name) is None]
        if missing:
            return "", f"kind {self.kind!r} needs {' and '.join(missing)}"
        return StockItem.problem(self)


# What each kind of near device must state.
_NEEDED = {
    "add": ("power_d", "lens_diameter_mm"),
    "hand": ("power_d", "lens_diameter_mm"),
    "stand": ("enlargement_ratio", "image_distance_mm", "lens_diameter_mm"),
    "electronic": ("enlargement_ratio", "screen_width_mm", "viewing_distance_mm"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Stock:
    """Everything the clinic has."""

    name: str = ""
    telescopes: tuple[Telescope, ...] = ()
    caps: tuple[Cap, ...] = ()
    filters: tuple[Filter, ...] = ()
    alternatives: tuple[NearAlternative, ...] = ()

    def telescope(self, id: str) -> Telescope | None:
        """The telescope of that id."""
        return next((item for item in self.telescopes if item.id == id), None)

    def cap(self, id: str) -> Cap | None:
        """The cap of that id."""
        return next((item for item in self.caps if item.id == id), None)

    def filter(self, id: str) -> Filter | None:
        """The filter of that id."""
        return next((item for item in self.filters if item.id == id), None)

    def caps_for(self, telescope: Telescope) -> tuple[Cap, ...]:
        """The caps that fit a telescope."""
        if not telescope.takes_caps:
            return ()
        return tuple(cap for cap in self.caps if not cap.fits or telescope.id in cap.fits)


_KINDS: dict[str, tuple[type[StockItem], str]] = {
    "telescope": (Telescope, "telescopes"),
    "cap": (Cap, "caps"),
    "filter": (Filter, "filters"),
    "alternative": (NearAlternative, "alternatives"),
}


def loads_stock(text: str, path: str | Path = "stock.toml") -> tuple[Stock, list[FileRefusal]]:
    """The stock in a TOML text, and what was wrong: a bad entry is left out by name, the rest is usable."""
    try:
        data = parse_toml(Path(path), text)
    except FileRefusal as refusal:
        return Stock(), [refusal]
    problems: list[FileRefusal] = []
    if data.get("schema") != SCHEMA:
        problems.append(FileRefusal(path, f"a stock file starts with schema = {SCHEMA}", key="schema"))
    for key in data.keys() - _KINDS.keys() - {"schema", "name"}:
        problems.append(
            FileRefusal(
                path, "unknown key", line=_line(text, key), key=key, nearest=nearest_of(key, tuple(_KINDS))
            )
        )
    kept: dict[str, tuple[StockItem, ...]] = {}
    for key, (model, attribute) in _KINDS.items():
        kept[attribute] = tuple(_entries(data.get(key, []), key, model, path, text, problems))
    name = data.get("name", "")
    return Stock(name=name if isinstance(name, str) else "", **kept), problems  # type: ignore[arg-type]


def stock_known_good(text: str) -> Stock:
    """The stock in a text in which :func:`loads_stock` found nothing wrong before; it is not checked again."""
    data = parse_toml(Path("stock.toml"), text)
    kept = {
        attribute: tuple(known_good(model, row) for row in data.get(key, []))
        for key, (model, attribute) in _KINDS.items()
    }
    return Stock(name=data.get("name", ""), **kept)  # type: ignore[arg-type]


def _entries(
    rows: Any, key: str, model: type[StockItem], path: str | Path, text: str, problems: list[FileRefusal]
) -> Iterable[StockItem]:
    if not isinstance(rows, list) or not all(isinstance(row, Mapping) for row in rows):
        problems.append(FileRefusal(path, f"[[{key}]] tables are expected", line=_line(text, key), key=key))
        return
    seen: set[str] = set()
    for number, row in enumerate(rows, 1):
        try:
            item = checked(model, row)
        except WrongRow as wrong:
            known = tuple(each.name for each in fields(model))
            for each in wrong.reasons:
                nearest = nearest_of(each.key, known) if each.is_unknown else ""
                problems.append(_entry_refusal(path, text, key, number, each.key, each.reason, nearest))
            continue
        name, reason = item.problem()
        if item.id in seen:
            name, reason = "id", f"id {item.id!r} stands twice"
        if reason:
            problems.append(_entry_refusal(path, text, key, number, name, reason))
            continue
        seen.add(item.id)
        yield item


def _entry_refusal(
    path: str | Path, text: str, kind: str, number: int, name: str, reason: str, nearest: str = ""
) -> FileRefusal:
    return FileRefusal(
        path,
        reason,
        line=_line(text, kind, number, name),
        key=f"{kind}[{number}].{name}".rstrip("."),
        nearest=nearest,
    )


def _line(text: str, kind: str, number: int = 0, name: str = "") -> int | None:
    """The line of a key of the n-th [[kind]], or of that table when the key is not written."""
    place: tuple[str | int, ...] = (kind, number - 1) if number else (kind,)
    return line_of_key(text, (*place, name) if name else place)


def default_mounts(telescope: Telescope) -> tuple[tuple[Position, Mount], ...]:
    """Each position with each mount that the telescope offers, in the order in which they are declared."""
    return tuple(
        (position, mount)
        for position in POSITIONS
        if position in telescope.positions
        for mount in MOUNTS
        if mount in telescope.mounts
    )
