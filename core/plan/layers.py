"""What the ranking shares: a stock's numbers, and an eye behind every tube (rows).

Each layer is kept in a small store by what it hangs on, so that an edit remakes only the layers that it touches.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Hashable, Iterator, Sequence
from dataclasses import dataclass
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

Place = tuple[Position, Mount]

# No telescope has more corrections, behind the carrier and in front of it, than this.
KINDS_MOST = 16
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
            while len(self._kept) > self.most:
                self._kept.popitem(last=False)
        else:
            self._kept.move_to_end(key)
        return found

    def clear(self) -> None:
        """Forget everything."""
        self._kept.clear()


# A plan for two eyes has some five sets of rows and a hundred small things; for the others see :func:`keep_two`.
STOCKS, KINDS, ROWS, OPTICS, SCORES, SMALL = Store(3), Store(6), Store(12), Store(12), Store(12), Store(200)
GOALS, SIGHTS, FIELDS, RESOLVED, SHOWN, COLUMNS, PAIRS = (Store(64) for _ in range(7))
STORES = (STOCKS, KINDS, ROWS, OPTICS, GOALS, SIGHTS, FIELDS, RESOLVED, SHOWN, COLUMNS, PAIRS, SCORES, SMALL)


def keep_two(goals: int, tints: int) -> None:
    """Keep what two plans of so many goals and filters (none counted as one) need: before an edit and after it.

    Each of two eyes has its rows with a full lens and without; both together may see more than either. Two have a field
    of their own, and converge.
    """
    goals = max(1, goals)
    GOALS.most = 2 * 3 * goals
    SIGHTS.most = 2 * 4 * (2 * goals + 1)
    FIELDS.most = 2 * 4 * (2 * goals + 1)
    SHOWN.most = 2 * 8 * goals
    COLUMNS.most = 2 * 6 * goals * tints
    RESOLVED.most = 2 * COLUMNS.most
    SCORES.most = 2 * 6 * tints
    # Goals are summed by twos, those at each of a few kinds of distance apart.
    PAIRS.most = SCORES.most * (goals // 2 + 1)


def forget() -> None:
    """Drop every kept layer: for tests and benchmarks that want a first plan."""
    for store in STORES:
        store.clear()


@dataclass(frozen=True, slots=True, eq=False)
class Prepared:
    """A stock with what hangs on nothing else; telescopes weakest first, so that ties go to the lower power.

    ``in_front`` are the places in front of the lens of the telescopes that have any; ``foremost`` is the tube that
    stands farthest from the eye.
    """

    stock: Stock
    telescopes: tuple[Telescope, ...]
    tubes: tuple[Tube, ...]
    caps: tuple[tuple[Cap, ...], ...]
    places: tuple[tuple[Place, ...], ...]
    in_front: dict[int, list[Place]]
    foremost: Tube | None

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
        tubes = tuple(tube_of(item) for item in telescopes)
        places = tuple(places_for(item) for item in telescopes)
        in_front = {
            index: front
            for index, offered in enumerate(places)
            if (front := [place for place in offered if place[1] in FRONT_MOUNTS])
        }
        return Prepared(
            stock,
            telescopes,
            tubes,
            tuple(stock.caps_for(item) for item in telescopes),
            places,
            in_front,
            min(tubes, key=attrgetter("behind_mm"), default=None),
        )

    found = STOCKS.get(id(stock), make)
    return found if found.stock is stock else make()


def kind_of(row: Row | Bad) -> int:
    """Telescope and side of the carrier as one number: 0 behind, 1 in front, 2 both alike."""
    return 3 * row.telescope + (2 if row.merged else 1 if row.front else 0)


@dataclass(frozen=True, slots=True, eq=False)
class Optics:
    """What all rows have in common that differ in nothing but where the eye stands behind the tubes.

    By row, ``kinds`` is :func:`kind_of` and ``ties`` the order of rows that serve as well: the weaker telescope first,
    then its corrections as the stock has them. ``corrected`` is whether nowhere a sphere is left over.
    """

    settings: tuple[Settings, ...]
    rows: list[Row]
    kinds: list[int]
    ties: list[int]
    corrected: bool


@dataclass(frozen=True, slots=True, eq=False)
class EyeRows:
    """Rows of an eye over a stock, by variant, and what cannot be used."""

    variants: list[Variant]
    bad: list[Bad]
    optics: Optics

    @property
    def rows(self) -> list[Row]:
        """The rows of all variants."""
        return self.optics.rows


def eye_rows(ready: Prepared, context: Context, eye: EyeIn, needs: bool) -> tuple[EyeRows, EyeRows]:
    """An eye behind every tube with every correction, cap and focus setting: with a full lens there, and otherwise.

    ``needs`` is whether any eye of the choice needs a correction: then every place of it is weighed.
    """
    to_pupil = context.figures.ocular_to_pupil_mm
    stands = (ready, eye.vertex_mm, eye.ocular_to_cornea_mm, to_pupil, needs)
    geometry = (
        eye.sphere_d, eye.cylinder_d, eye.strongest_d, eye.refraction_vertex_mm, eye.vertex_known,
        eye.needs_correction,
    )  # fmt: skip

    def rows(full_lens: bool) -> EyeRows:
        return _rows(ready, eye, needs, full_lens, to_pupil)

    # Behind a full lens every eye that stands here sees alike, as long as its correction can be carried to each ocular.
    behind_lens = (stands, None if _carried_everywhere(ready, eye) else geometry)
    return ROWS.get(behind_lens, lambda: rows(True)), ROWS.get(
        (stands, geometry, "other"), lambda: rows(False)
    )


def _carried_everywhere(ready: Prepared, eye: EyeIn) -> bool:
    if _vertex_missing(eye) or ready.foremost is None:
        return False
    return ametropia_d(eye, ocular_at_mm(eye, ready.foremost, True)) is not None


def _vertex_missing(eye: EyeIn) -> bool:
    return eye.strongest_d > VERTEX_NEEDED_OVER_D and not eye.vertex_known


def _rows(ready: Prepared, eye: EyeIn, needs: bool, full_lens: bool, to_pupil_mm: float) -> EyeRows:
    variants: list[Variant] = []
    bad: list[Bad] = []
    ties: list[int] = []
    plain: dict[Hashable, Settings] = KINDS.get(ready, dict)
    missing = _vertex_missing(eye)
    for tube, tie, way in _ways(ready, eye.ocular_to_cornea_mm is not None, needs, full_lens):
        at = ocular_at_mm(eye, tube, way.front)
        ametropia = None if missing else ametropia_d(eye, at)
        if ametropia is None:
            bad.append(way._replace(code="ametropia", states=ready.states(way.telescope)))
            continue
        q = quick_eye(eye, tube, way.correction, at, ametropia, to_pupil_mm)
        if isinstance(q, str):
            bad.append(way._replace(code=q, states=ready.states(way.telescope)))
            continue
        settings = None if q.sphere_left else plain.get(way)
        if settings is None:
            settings = _settings(ready, way, q)
            # Without a sphere left over they are the same whatever the eye.
            if not q.sphere_left:
                plain[way] = settings
        variants.append(Variant(q, settings))
        bad.extend(settings.bad)
        ties.append(tie)
    return EyeRows(variants, bad, _optics(variants, ties))


def _optics(variants: Sequence[Variant], ties: Sequence[int]) -> Optics:
    """The optics of these variants, the same object where all of them and their settings are the same."""

    def make() -> Optics:
        settings = tuple([settings for _, settings in variants])
        repeated = [
            (row, kind_of(row), tie) for one, tie in zip(settings, ties, strict=True) for row in one.rows
        ]
        rows, kinds, row_ties = (
            (list(items) for items in zip(*repeated, strict=True)) if repeated else ([], [], [])
        )
        return Optics(settings, rows, kinds, row_ties, not any(q.sphere_left for q, _ in variants))

    # What is kept holds the settings, so that no others can come to have the identity of one of them.
    key: list[float] = []
    for (q, settings), tie in zip(variants, ties, strict=True):
        key += q.optics
        key += (id(settings), tie)
    return OPTICS.get(tuple(key), make)


# A tube with the order of its ties and a way to correct through it, as what is said of it where it cannot be used.
Way = tuple[Tube, int, Bad]


def _ways(ready: Prepared, measured: bool, needs: bool, full_lens: bool) -> list[Way]:
    """How each telescope can be corrected and on which side of the carrier, with a full lens there or without.

    ``measured`` is whether it is known where the ocular stands.
    """

    def kinds(index: int, tube: Tube) -> Iterator[tuple[Correction, bool, bool]]:
        places = ready.places[index]
        has_front = any(mount in FRONT_MOUNTS for _, mount in places)
        has_behind = any(mount not in FRONT_MOUNTS for _, mount in places)
        same = measured or tube.behind_mm <= -IN_FRONT_GAP_MM
        for correction in offered_corrections(ready.telescopes[index], needs):
            front_fits = has_front and goes_in_front(correction, needs)
            if has_behind:
                yield correction, False, same and front_fits
            if front_fits and not (has_behind and same):
                yield correction, True, False

    return SMALL.get(
        (ready, measured, needs, full_lens),
        lambda: [
            (tube, tie, Bad(index, correction, front, merged, -1, "optics", 1))
            for index, tube in enumerate(ready.tubes)
            for tie, (correction, front, merged) in enumerate(kinds(index, tube), KINDS_MOST * index)
            if (correction in LENS_CORRECTIONS) is full_lens
        ],
    )


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
