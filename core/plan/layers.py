"""What the ranking shares: a stock's numbers, and an eye behind every tube (rows).

Each layer is kept in a small store by what it hangs on, so that an edit remakes only the layers that it touches.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Hashable, Iterator, Sequence
from dataclasses import dataclass, field
from operator import attrgetter
from typing import Any, NamedTuple, TypeVar

from ..configuration import Correction, Mount, Position
from ..stock import Cap, Stock, Telescope
from .configurations import goes_in_front, offered_corrections, places_for, reach_refusal
from .context import VERTEX_NEEDED_OVER_D, Context, EyeIn
from .device import FRONT_MOUNTS, IN_FRONT_GAP_MM
from .quick_tube import (
    LENS_CORRECTIONS,
    Bad,
    QuickEye,
    Row,
    Settings,
    Tube,
    Variant,
    ametropia_d,
    cap_state,
    ocular_at_mm,
    quick_eye,
    tube_of,
)
from .types import RefusalCode

Place = tuple[Position, Mount]
T = TypeVar("T")


class Store:
    """The most recent results by key; the oldest go first."""

    def __init__(self, most: int) -> None:
        self._kept: OrderedDict[Hashable, Any] = OrderedDict()
        self.most = most

    def __len__(self) -> int:
        return len(self._kept)

    def get(self, key: Hashable, make: Callable[[], T]) -> T:
        """The kept result, or a new one."""
        found = self._kept.get(key)
        if found is None:
            found = self._kept[key] = make()
            if len(self._kept) > self.most:
                self._kept.popitem(last=False)
        else:
            self._kept.move_to_end(key)
        return found

    def clear(self) -> None:
        """Forget everything."""
        self._kept.clear()


STOCKS, KINDS, ROWS, COLUMNS, SMALL = Store(3), Store(6), Store(8), Store(40), Store(48)


def forget() -> None:
    """Drop every kept layer: for tests and benchmarks that want a first plan."""
    for store in (STOCKS, KINDS, ROWS, COLUMNS, SMALL):
        store.clear()


@dataclass(frozen=True, slots=True, eq=False)
class Prepared:
    """A stock with what hangs on nothing else; telescopes weakest first, so that ties go to the lower power."""

    stock: Stock
    telescopes: tuple[Telescope, ...]
    tubes: tuple[Tube, ...]
    caps: tuple[tuple[Cap, ...], ...]
    places: tuple[tuple[Place, ...], ...]

    def states(self, index: int) -> int:
        """How many settings of cap and focus a telescope has."""
        return (1 if self.tubes[index].focusable else 2) + len(self.caps[index])


def prepared(stock: Stock) -> Prepared:
    """The stock ready for planning; kept by identity, since a stock never changes."""

    def make() -> Prepared:
        telescopes = tuple(
            sorted(
                stock.telescopes,
                key=lambda item: (abs(item.signed_magnification), -item.objective_diameter_mm),
            )
        )
        return Prepared(
            stock,
            telescopes,
            tuple(tube_of(item) for item in telescopes),
            tuple(stock.caps_for(item) for item in telescopes),
            tuple(places_for(item) for item in telescopes),
        )

    found = STOCKS.get(id(stock), make)
    return found if found.stock is stock else make()


def kind_of(row: Row | Bad) -> int:
    """Telescope and side of the carrier as one number: 0 behind, 1 in front, 2 both alike."""
    return 3 * row.telescope + (2 if row.merged else 1 if row.front else 0)


@dataclass(slots=True, eq=False)
class EyeRows:
    """All rows of an eye over a stock, by variant and flat, and what cannot be used; ``kinds`` is :func:`kind_of`."""

    variants: list[Variant] = field(default_factory=list)
    rows: list[Row] = field(default_factory=list)
    bad: list[Bad] = field(default_factory=list)
    kinds: list[int] = field(default_factory=list)

    def take(self, made: Variant | Bad) -> None:
        """Add a variant with what of it cannot be used, or what takes a whole variant out."""
        if isinstance(made, Bad):
            self.bad.append(made)
            return
        rows = made.settings.rows
        self.bad.extend(made.settings.bad)
        self.variants.append(made)
        self.rows.extend(rows)
        self.kinds.extend([kind_of(rows[0])] * len(rows))


def eye_rows(ready: Prepared, context: Context, eye: EyeIn, needs: bool) -> EyeRows:
    """An eye behind every tube with every correction, cap and focus setting.

    ``needs`` is whether any eye of the choice needs a correction: then every place of it is weighed.
    """
    to_pupil = context.figures.ocular_to_pupil_mm
    stands = (ready, eye.vertex_mm, eye.ocular_to_cornea_mm, to_pupil)

    def make() -> EyeRows:
        found = EyeRows()
        carried: dict[Hashable, Variant | Bad] = KINDS.get(stands, dict)
        plain: dict[Hashable, Settings] = KINDS.get(ready, dict)
        for index in range(len(ready.telescopes)):
            for correction, front, merged in _kinds(ready, eye, needs, index):
                at = ocular_at_mm(eye, ready.tubes[index], front)
                ametropia = ametropia_d(eye, at)
                if ametropia is None or (eye.strongest_d > VERTEX_NEEDED_OVER_D and not eye.vertex_known):
                    found.take(Bad(index, correction, front, merged, -1, "ametropia", ready.states(index)))
                    continue
                # Behind a full lens every eye that stands here sees alike.
                key = (index, correction, front) if correction in LENS_CORRECTIONS else None
                made = carried.get(key)
                if made is None:
                    q = quick_eye(eye, ready.tubes[index], correction, at, ametropia, to_pupil)
                    made = _made(ready, Bad(index, correction, front, merged, -1, "optics", 1), q, plain)
                    if key is not None:
                        carried[key] = made
                found.take(made)
        return found

    geometry = (
        eye.sphere_d, eye.cylinder_d, eye.strongest_d, eye.refraction_vertex_mm, eye.vertex_known,
        eye.needs_correction,
    )  # fmt: skip
    return ROWS.get((stands, geometry, needs), make)


def _kinds(ready: Prepared, eye: EyeIn, needs: bool, index: int) -> Iterator[tuple[Correction, bool, bool]]:
    """Each correction, whether in front of the carrier, and whether it stands for both sides of it."""
    tube, places = ready.tubes[index], ready.places[index]
    has_front = any(mount in FRONT_MOUNTS for _, mount in places)
    has_behind = any(mount not in FRONT_MOUNTS for _, mount in places)
    same = eye.ocular_to_cornea_mm is not None or tube.behind_mm <= -IN_FRONT_GAP_MM
    for correction in offered_corrections(ready.telescopes[index], needs):
        front_fits = has_front and goes_in_front(correction, needs)
        if has_behind:
            yield correction, False, same and front_fits
        if front_fits and not (has_behind and same):
            yield correction, True, False


def _made(
    ready: Prepared, kind: Bad, q: QuickEye | RefusalCode, plain: dict[Hashable, Settings]
) -> Variant | Bad:
    """A variant of that kind; the settings of one without a sphere left over are ``plain``, whatever the eye."""
    if isinstance(q, str):
        return kind._replace(code=q, states=ready.states(kind.telescope))
    if q.sphere_left:
        return Variant(q, _settings(ready, kind, q))
    settings = plain.get(kind)
    if settings is None:
        settings = plain[kind] = _settings(ready, kind, q)
    return Variant(q, settings)


def _settings(ready: Prepared, kind: Bad, q: QuickEye) -> Settings:
    index, correction, front, merged = kind[:4]
    rows = [Row(index, correction, front, merged, -1, None, False)]
    if not ready.tubes[index].focusable:
        rows.append(Row(index, correction, front, merged, -1, None, True))
    plains, caps, bad = len(rows), [], []
    for number, cap in enumerate(ready.caps[index]):
        state = cap_state(q, cap)
        if isinstance(state, str):
            bad.append(kind._replace(cap=number, code=state))
        else:
            caps.append(state)
            rows.append(Row(index, correction, front, merged, number, state, False))
    return Settings(tuple(rows), plains, tuple(caps), tuple(bad))


class Reached(NamedTuple):
    """What these hands leave of the rows of an eye: all that cannot be used, and the rows that are out of reach."""

    bad: Sequence[Bad]
    beyond: frozenset[int]


def reached(context: Context, rows: EyeRows) -> Reached:
    """Rows within reach of the hands; a reach that was not measured leaves all of them."""
    person = context.person
    if "face.reach" in person.assumed:
        return Reached(rows.bad, frozenset())

    def make() -> Reached:
        beyond = [
            number
            for number, row in enumerate(rows.rows)
            if row.state is not None and reach_refusal(context, row.state.working_mm) is not None
        ]
        bad = list(rows.bad)
        for number in beyond:
            row = rows.rows[number]
            bad.append(
                Bad(row.telescope, row.correction, row.front, row.merged, row.cap, "hands do not reach", 1)
            )
        return Reached(sorted(bad, key=attrgetter("telescope")), frozenset(beyond))

    return SMALL.get((rows, person.reach_mm), make)
