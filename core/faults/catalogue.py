"""The candidate causes: how each changes the state of the device, over which sizes, how often it is met, what to do.

Priors are judgements of practice without a source: relative weights before anything was measured, ``weight``
for the whole cause (shared among its eyes), the sizes falling off with ``scale``. They matter only where
measurements decide nothing.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from types import MappingProxyType

from .state import State

Apply = Callable[[State, str, float], State]


@dataclass(frozen=True, slots=True)
class Fault:
    """One candidate. ``sizes`` are what is tried; ``scale`` how fast larger ones get rarer; ``noticed`` the
    size at which complaints are as loud as they get. ``words`` says a size; ``title`` names the cause for an eye.
    """

    key: str
    title: str
    unit: str
    weight: float
    sizes: tuple[float, ...]
    scale: float
    noticed: float
    apply: Apply
    words: Callable[[float], str]
    remedy: str
    by_eye: bool = False
    when: Callable[[State], bool] = lambda state: True


def _grid(first: float, last: float, step: float, both: bool = True) -> tuple[float, ...]:
    count = round((last - first) / step) + 1
    up = tuple(round(first + number * step, 4) for number in range(count))
    return tuple(-size for size in reversed(up)) + up if both else up


def _answers(state: State, **given: dict[str, float]) -> State:
    return replace(state, answers=MappingProxyType({**state.answers, **given}))


def _changes(state: State, given: dict[str, float]) -> State:
    merged = dict(state.changes)
    for key, value in given.items():
        merged[key] = merged.get(key, 0.0) + value
    return replace(state, changes=MappingProxyType(merged))


def _mix(good: str, bad: str, bad_chance: float) -> dict[str, float]:
    return {good: 1.0 - bad_chance, bad: bad_chance}


def _loud(size: float, noticed: float, least: float, most: float) -> float:
    """A chance that grows with the size of the fault up to where it is noticed for sure."""
    return least + (most - least) * min(1.0, abs(size) / noticed)


# --- the eye and the focus ------------------------------------------------------------------------------------------


def _sphere(state: State, side: str, size: float) -> State:
    tube = state.tube(side)
    changed = state.with_tube(side, sphere_d=tube.sphere_d + size)
    return _changes(changed, {f"lens_sphere.{side}": size})


def _cylinder(state: State, side: str, size: float) -> State:
    tube = state.tube(side)
    changed = state.with_tube(side, cylinder_d=tube.cylinder_d + size)
    return _changes(changed, {f"lens_cylinder.{side}": size})


def _focus(state: State, side: str, size: float) -> State:
    return state.with_tube(side, focus_d=size)


def _wrong_place(state: State, side: str, _size: float) -> State:
    """The correction found behind the ocular was put in front of the objective (M² times too strong), or the
    reverse.
    """
    tube = state.tube(side)
    wanted = tube.ametropia_d
    power = tube.magnification**2
    left = wanted * (1.0 - power) if state.correction != "objective" else wanted * (1.0 - 1.0 / power)
    return state.with_tube(side, sphere_d=tube.sphere_d + max(-20.0, min(20.0, left)))


def _corrected(state: State) -> bool:
    return (
        not state.by_hand
        and state.correction in ("carrier", "ocular", "objective")
        and any(abs(tube.ametropia_d) >= 0.5 for tube in state.tubes)
    )


def _eye_changed(state: State, side: str, size: float) -> State:
    return _changes(state, {f"naked.{side}": size, "print": size if side == state.lead.side else 0.0})


def _accommodation(state: State, _side: str, size: float) -> State:
    tubes = tuple(replace(t, accommodation_d=max(0.0, t.accommodation_d - size)) for t in state.tubes)
    return replace(state, tubes=tubes)


# --- the tube -------------------------------------------------------------------------------------------------------


def _power(state: State, side: str, size: float) -> State:
    return state.with_tube(side, wrong_power=1.0 + size / 100.0)


def _eye_distance(state: State, side: str, size: float) -> State:
    return state.with_tube(side, eye_distance_mm=max(5.0, state.tube(side).eye_distance_mm + size))


def _creep(state: State, _side: str, size: float) -> State:
    for tube in state.tubes:
        state = state.with_tube(tube.side, eye_distance_mm=tube.eye_distance_mm + size)
    return _answers(state, stays={"no": 0.85, "yes": 0.15})


def _lateral(state: State, side: str, size: float) -> State:
    return state.with_tube(side, out_mm=size)


def _height(state: State, side: str, size: float) -> State:
    return state.with_tube(side, up_mm=size)


def _tilt(state: State, side: str, size: float) -> State:
    return state.with_tube(side, tilt_up_deg=size)


# --- words ----------------------------------------------------------------------------------------------------------


def _focus_words(size: float) -> str:
    way = (
        "too long a focus: the tube converges the light"
        if size > 0
        else "too short a focus: the tube spreads the light"
    )
    return f"about {size:+.2f} D {way}"


def _sphere_words(size: float) -> str:
    return f"about {size:+.2f} D of sphere left uncorrected at the ocular"


def _way(size: float, plus: str, minus: str, unit: str = "mm", decimals: int = 1) -> str:
    return f"about {abs(size):.{decimals}f} {unit} {plus if size > 0 else minus}"


ONE = (1.0,)
_GALILEAN: Callable[[State], bool] = lambda s: not s.keplerian  # noqa: E731
_KEPLERIAN: Callable[[State], bool] = lambda s: s.keplerian  # noqa: E731
_SINGLE: Callable[[State], bool] = lambda s: not s.two  # noqa: E731


def _nothing(state: State, _side: str, _size: float) -> State:
    return state


TUBE_FAULTS: tuple[Fault, ...] = (
    Fault("nothing", "nothing is wrong: within what repeats", "", 3.0, ONE, 1.0, 1.0, _nothing, lambda _: "none",
          "Leave it as it is; measure again at the next visit."),
    Fault("sphere", "sphere left uncorrected", "D", 1.6, _grid(0.25, 5.0, 0.25), 1.0, 2.0, _sphere, _sphere_words,
          "Refract again behind the ocular and put the sphere there: in the carrier or at the ocular.", True),
    Fault("cylinder", "cylinder left uncorrected", "D", 0.8, _grid(0.5, 5.0, 0.25, False), 1.2, 3.0, _cylinder,
          lambda size: f"about {size:.2f} D of cylinder left uncorrected",
          "Correct the cylinder behind the ocular; check its axis in the carrier.", True),
    Fault("focus", "wrong focus setting of the tube", "D", 1.2, _grid(0.25, 5.0, 0.25), 1.0, 2.0, _focus, _focus_words,
          "Set the tube afocal anew (a far target, not one at 6 m), lock it; a fixed tube goes back.", True),
    Fault("wrong_place", "correction put in the wrong place", "", 0.2, ONE, 1.0, 1.0, _wrong_place,
          lambda _: "the whole correction, counted at the other end of the tube",
          "Put the correction where it was found: lenses before the objective act M² times.", True, _corrected),
    Fault("eye_changed", "the eye itself sees less than when it was promised", "logMAR", 0.5, _grid(0.1, 0.8, 0.1,
          False),
          0.3, 0.3, _eye_changed, lambda size: f"about {size:.1f} log of acuity lost",
          "Measure again without the device; look for a cause that needs care before any change of the device.", True),
    Fault("accommodation", "less accommodation than counted on", "D", 0.5, _grid(0.5, 4.0, 0.5, False), 1.5, 1.5,
          _accommodation, lambda size: f"about {size:.1f} D less accommodation than counted on",
          "A weak cap of 0.25 to 0.75 D for the middle distance, or a focusing tube.", False,
          lambda s: not s.by_hand and any(t.accommodation_d >= 0.5 for t in s.tubes)),
    Fault("marked_power", "power other than marked", "%", 0.5, tuple(x for x in _grid(6, 30, 3)), 10.0, 15.0, _power,
          lambda size: _way(size, "stronger than marked", "weaker than marked", "%", 0),
          "Measure the power and enter it in the stock; beyond tolerance send it back.", True),
    Fault("eye_distance", "eye distance wrong", "mm", 1.0, _grid(2.0, 14.0, 1.0), 4.0, 6.0, _eye_distance,
          lambda size: _way(size, "too far from the eye", "nearer the eye than planned"),
          "Bring the ocular nearer: pads, bridge, temples; a thinner carrier; lashes free.", True, _GALILEAN),
    Fault("exit_pupil_missed", "eye off the exit pupil along the axis", "mm", 1.3, _grid(2.0, 14.0, 1.0), 4.0, 5.0,
          _eye_distance, lambda size: _way(size, "too far behind", "too near"),
          "Set the ocular so that its exit pupil stands in the eye's pupil: eye relief against eye distance.", True,
          _KEPLERIAN),
    Fault("decentration", "tube off sideways", "mm", 1.0, _grid(1.0, 6.0, 0.5), 2.0, 3.0, _lateral,
          lambda size: _way(size, "outwards", "inwards"),
          "Set the tube to the monocular PD: move it sideways, do not turn it.", True),
    Fault("tube_height", "tube too high or too low", "mm", 0.6, _grid(1.0, 6.0, 0.5), 2.0, 3.0, _height,
          lambda size: _way(size, "too high", "too low"),
          "Pads first, then the place in the lens; measure from the pupil in straight gaze.", True, _SINGLE),
    Fault("tube_tilt", "tube tilted", "deg", 0.6, _grid(2.0, 12.0, 1.0), 4.0, 6.0, _tilt,
          lambda size: _way(size, "tilted up", "tilted down", "degrees"),
          "Turn the tube at its hinge or wedge until the view is round; measure the tilt.", True, _SINGLE),
    Fault("creep", "device slides down in use", "mm", 0.5, _grid(2.0, 10.0, 1.0, False), 4.0, 3.0, _creep,
          lambda size: f"about {size:.0f} mm farther from the eye after some wear",
          "Refit pads and temples, strap, less weight; measure the eye distance again after an hour."),
)  # fmt: skip
