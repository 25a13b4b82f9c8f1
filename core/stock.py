"""The clinic's stock: telescopes, caps, filters and the near alternatives, from one TOML file of the clinic's own.

Powers are marked or measured, lengths millimetres. A measured power, exit pupil or field takes precedence
over what follows from the marked figures, and results say which was used.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from . import ranges as r
from .configuration import MOUNTS, POSITIONS, Correction, Mount, Position
from .errors import FileRefusal
from .ranges import Range
from .store.toml import line_of_key, parse_toml
from .toml_cursor import nearest as nearest_of

SCHEMA = 1
Id = Annotated[str, Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9._+-]{0,47}$")]


def _within(range_: Range, **more: Any) -> Any:
    return Field(ge=range_.lowest, le=range_.highest, allow_inf_nan=False, **more)


class StockItem(BaseModel):
    """A frozen entry of the stock file."""

    model_config = ConfigDict(frozen=True, defer_build=True, extra="forbid")

    id: Id
    description: str = Field(max_length=120)


class Telescope(StockItem):
    """One telescope: type, marked power, tube and diameters, what it can be mounted and corrected with.

    ``magnification`` is the marked power without sign; :attr:`signed_magnification` carries the optical sign.
    An erecting prism turns the seen picture and leaves that sign. ``ocular_behind_carrier_mm`` is how far the
    ocular's back vertex stands behind the back surface of the carrier lens (negative: in front of it).
    """

    type: Literal["galilean", "keplerian"]
    magnification: float = _within(r.MAGNIFICATION)
    tube_length_mm: float = _within(r.TUBE_LENGTH)
    objective_diameter_mm: float = _within(r.OBJECTIVE_DIAMETER)
    ocular_diameter_mm: float | None = _within(r.OCULAR_DIAMETER, default=None)
    field_stop_mm: float | None = _within(r.FIELD_STOP, default=None)
    erect: bool = True
    measured_magnification: float | None = _within(r.MAGNIFICATION, default=None)
    measured_exit_pupil_mm: float | None = _within(r.EXIT_PUPIL, default=None)
    measured_field_deg: float | None = _within(r.FIELD, default=None)
    measured_field_eye_distance_mm: float | None = _within(r.EYE_DISTANCE, default=None)
    focusable: bool = False
    shortest_tube_mm: float | None = _within(r.TUBE_LENGTH, default=None)
    longest_tube_mm: float | None = _within(r.TUBE_LENGTH, default=None)
    corrections: tuple[Correction, ...] = ("carrier",)
    positions: tuple[Position, ...] = ("bioptic", "full diameter")
    mounts: tuple[Mount, ...] = ("through the lens",)
    housing_radius_mm: float = _within(r.HOUSING_RADIUS, default=9.0)
    ocular_behind_carrier_mm: float = Field(default=0.0, ge=-15, le=15)
    tilt_lowest_deg: float = _within(r.TUBE_TILT, default=0.0)
    tilt_highest_deg: float = _within(r.TUBE_TILT, default=20.0)
    spread_highest_mm: float = Field(default=0.0, ge=0, le=10)
    pd_lowest_mm: float = _within(r.PD, default=r.PD.lowest)
    pd_highest_mm: float = _within(r.PD, default=r.PD.highest)
    surfaces: int = Field(default=4, ge=0, le=40)
    surface_reflectance: float = _within(r.SURFACE_REFLECTANCE, default=0.015)
    transmittance: float | None = _within(r.TRANSMITTANCE, default=None)
    weight_g: float | None = _within(r.WEIGHT, default=None)
    takes_caps: bool = True
    in_pairs: bool = True
    note: str = ""

    @model_validator(mode="after")
    def _consistent(self) -> Telescope:
        if self.focusable and (self.shortest_tube_mm is None or self.longest_tube_mm is None):
            raise ValueError("a focusable telescope needs shortest_tube_mm and longest_tube_mm")
        if self.focusable and not self.shortest_tube_mm <= self.tube_length_mm <= self.longest_tube_mm:  # type: ignore[operator]
            raise ValueError("tube_length_mm must lie between shortest_tube_mm and longest_tube_mm")
        if not self.focusable and "refocused" in self.corrections:
            raise ValueError(
                "only a focusable telescope can be refocused; leave 'refocused' out of corrections"
            )
        if self.type == "galilean" and self.magnification > 6:
            raise ValueError("a Galilean over 6x is not accepted; is the type keplerian?")
        if self.pd_lowest_mm > self.pd_highest_mm:
            raise ValueError("pd_lowest_mm must not be above pd_highest_mm")
        return self

    @property
    def signed_magnification(self) -> float:
        """The power to compute with: measured where it was, negative for a Keplerian."""
        power = self.measured_magnification or self.magnification
        return power if self.type == "galilean" else -power


class Cap(StockItem):
    """A reading cap: its power in dioptres, and base-in prism per eye where a pair is ground so."""

    power_d: float = _within(r.CAP)
    base_in_prism: float = Field(default=0.0, ge=0, le=20)
    fits: tuple[str, ...] = ()


class Filter(StockItem):
    """A filter or tint and how much light it lets through."""

    transmittance: float = _within(r.TRANSMITTANCE)


class NearAlternative(StockItem):
    """A near device other than a telescope. Which figures are needed depends on its kind."""

    kind: Literal["add", "hand", "stand", "electronic"]
    power_d: float | None = Field(default=None, gt=0, le=60)
    lens_diameter_mm: float | None = Field(default=None, ge=10, le=200)
    enlargement_ratio: float | None = Field(default=None, ge=1, le=60)
    image_distance_mm: float | None = Field(default=None, ge=10, le=1000)
    screen_width_mm: float | None = Field(default=None, ge=40, le=1500)
    viewing_distance_mm: float | None = Field(default=None, ge=50, le=1500)

    @model_validator(mode="after")
    def _complete(self) -> NearAlternative:
        needed = {
            "add": ("power_d", "lens_diameter_mm"),
            "hand": ("power_d", "lens_diameter_mm"),
            "stand": ("enlargement_ratio", "image_distance_mm", "lens_diameter_mm"),
            "electronic": ("enlargement_ratio", "screen_width_mm", "viewing_distance_mm"),
        }[self.kind]
        missing = [name for name in needed if getattr(self, name) is None]
        if missing:
            raise ValueError(f"kind {self.kind!r} needs {' and '.join(missing)}")
        return self


class Stock(BaseModel):
    """Everything the clinic has."""

    model_config = ConfigDict(frozen=True, defer_build=True)

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


def _entries(
    rows: Any, key: str, model: type[StockItem], path: str | Path, text: str, problems: list[FileRefusal]
) -> Iterable[StockItem]:
    if not isinstance(rows, list) or not all(isinstance(row, Mapping) for row in rows):
        problems.append(FileRefusal(path, f"[[{key}]] tables are expected", line=_line(text, key), key=key))
        return
    seen: set[str] = set()
    for number, row in enumerate(rows, 1):
        try:
            item = model.model_validate(row)
        except ValidationError as error:
            problems.extend(_reasons(error, key, number, row, model, path, text))
            continue
        if item.id in seen:
            problems.append(
                FileRefusal(
                    path,
                    f"id {item.id!r} stands twice",
                    line=_line(text, key, number, "id"),
                    key=f"{key}[{number}].id",
                )
            )
            continue
        seen.add(item.id)
        yield item


def _reasons(
    error: ValidationError,
    kind: str,
    number: int,
    row: Mapping[str, Any],
    model: type[StockItem],
    path: str | Path,
    text: str,
) -> Iterable[FileRefusal]:
    known = tuple(model.model_fields)
    for detail in error.errors():
        name = str(detail["loc"][0]) if detail["loc"] else ""
        nearest = ""
        if detail["type"] == "extra_forbidden":
            reason = "unknown key"
            nearest = nearest_of(name, known)
        elif detail["type"] == "missing":
            reason = "is missing"
        else:
            given = row.get(name)
            reason = f"{detail['msg'].removeprefix('Value error, ')}" + (
                f" (given: {given!r})" if detail["loc"] else ""
            )
        yield FileRefusal(
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
