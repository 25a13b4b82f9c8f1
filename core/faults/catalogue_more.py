"""The other candidate causes: two tubes against each other, caps, and what no lens shows. See :mod:`.catalogue`."""

from __future__ import annotations

from dataclasses import replace

from .beliefs import logistic
from .catalogue import ONE, TUBE_FAULTS, Fault, _answers, _changes, _grid, _loud, _mix, _way
from .forward_pair import excess_convergence_share
from .state import State

_TILTS = _grid(8, 80, 6)


def _capped(state: State) -> bool:
    return state.working_mm is not None


def _two(state: State) -> bool:
    return state.two


def _capped_pair(state: State) -> bool:
    return state.two and state.working_mm is not None


def _spread(state: State, _side: str, size: float) -> State:
    return replace(state, spread_off_mm=size)


def _vertical(state: State, _side: str, size: float) -> State:
    return replace(state, tilt_vertical_arcmin=size)


def _toe(state: State, _side: str, size: float) -> State:
    return replace(state, toe_out_arcmin=size)


def _mismatch(state: State, _side: str, size: float) -> State:
    return replace(state, height_difference_mm=size)


def _own_vertical(state: State, _side: str, size: float) -> State:
    # The larger deviations of an eye are sideways; the height of it is tried apart.
    return replace(state, own_vertical_prism=size)


def _own_horizontal(state: State, _side: str, size: float) -> State:
    return replace(state, own_horizontal_prism=size)


def _fusion_lost(state: State, _side: str, _size: float) -> State:
    given = {"double": 0.4, "double at times": 0.4, "single": 0.2}
    return _answers(state, double_far=given, double_near=given)


def _near_convergence(state: State, _side: str, _size: float) -> State:
    """As the caps are ordered: double where they ask more than the eyes have, seldom where they ask no more than the
    page does by itself.
    """
    loud = 0.1 + 0.8 * logistic((excess_convergence_share(state) - 0.5) / 0.15)
    return _answers(
        state, double_near={"double": 0.65 * loud, "double at times": 0.35 * loud, "single": 1.0 - loud}
    )


def _images(state: State, _side: str, size: float) -> State:
    return _changes(state, {"images": size})


def _cap_left_on(state: State, _side: str, _size: float) -> State:
    return replace(state, cap_on_far=True)


def _cap_missing(state: State, _side: str, _size: float) -> State:
    return replace(state, cap_missing=True)


def _cap_power(state: State, _side: str, size: float) -> State:
    tubes = tuple(replace(tube, cap_d=max(0.1, tube.cap_d + size)) for tube in state.tubes)
    return replace(state, tubes=tubes)


def _cap_unequal(state: State, side: str, size: float) -> State:
    return state.with_tube(side, cap_d=max(0.1, state.tube(side).cap_d + size))


def _cap_reversed(state: State, _side: str, _size: float) -> State:
    tubes = tuple(replace(tube, base_in_prism=-tube.base_in_prism) for tube in state.tubes)
    return replace(state, tubes=tubes)


def _held(state: State, _side: str, size: float) -> State:
    changed = replace(state, hold_ratio=1.0 + size / 100.0)
    return _answers(changed, home=_mix("as in the clinic", "worse at home", 0.6))


def _light(state: State, _side: str, size: float) -> State:
    loss = state.settings.assume("light_loss_per_halving_logmar") * size
    loud = _loud(size, 3.0, 0.6, 0.9)
    changed = _changes(replace(state, light_share=0.5**size), {"print": 2.0 * loss})
    return _answers(
        changed,
        more_light=_mix("no change", "helps", loud),
        home=_mix("as in the clinic", "worse at home", loud),
    )


def _contrast(state: State, _side: str, size: float) -> State:
    per_log = state.settings.assume("contrast_loss_per_log")
    changed = _changes(state, {"log_cs": -size, "print": per_log * size})
    return _answers(
        changed,
        more_light=_mix("no change", "helps", 0.6),
        words=_mix("as letters", "worse than letters", 0.3),
    )


def _scotoma(state: State, _side: str, size: float) -> State:
    """Half of the characters in view by ``size`` times: words fall apart while letters stay."""
    changed = _changes(state, {"print": 0.1 * size, "speed": -0.2 * size})
    return _answers(changed, words=_mix("as letters", "worse than letters", _loud(size, 2.0, 0.5, 0.95)))


def _reserve(state: State, _side: str, size: float) -> State:
    """Threshold print is read, but the print of the goal is too near to it to be read fast."""
    return _answers(_changes(state, {"speed": -size}), words=_mix("as letters", "worse than letters", 0.6))


def _motion(state: State, _side: str, size: float) -> State:
    changed = replace(state, slip_deg_s=size)
    loud = _loud(size, 10.0, 0.35, 0.92)
    return _answers(
        changed, steady={"steady": 1.0 - loud, "steady when supported": 0.6 * loud, "unsteady": 0.4 * loud}
    )


def _loose(state: State, _side: str, _size: float) -> State:
    changed = _answers(
        state,
        stays={"no": 0.9, "yes": 0.1},
        steady={"steady": 0.6, "steady when supported": 0.15, "unsteady": 0.25},
    )
    return (
        _answers(changed, double_far={"single": 0.6, "double at times": 0.35, "double": 0.05})
        if state.two
        else changed
    )


def _untrained(state: State, _side: str, _size: float) -> State:
    changed = _changes(state, {"speed": -0.15})
    return _answers(
        changed,
        home=_mix("as in the clinic", "worse at home", 0.85),
        words=_mix("as letters", "worse than letters", 0.3),
    )


def _posture(state: State, _side: str, size: float) -> State:
    changed = _changes(state, {"head_drop": size})
    return _answers(changed, home=_mix("as in the clinic", "worse at home", 0.6))


def _complaint_only(state: State, _side: str, _size: float) -> State:
    return state


def _upright_prism_words(size: float) -> str:
    return (
        f"about {abs(size):.1f} prism D, base {'down' if size > 0 else 'up'} before the right eye joins them"
    )


def _sideways_prism_words(size: float) -> str:
    way = (
        "base-in joins them: the eyes must converge"
        if size > 0
        else "base-out joins them: the eyes must diverge"
    )
    return f"about {abs(size):.1f} prism D, {way}"


MORE_FAULTS: tuple[Fault, ...] = (
    Fault("tilt_vertical", "one tube tilted up or down against the other", "arcmin", 0.9, _TILTS, 25.0, 30.0,
          _vertical,
          lambda size: _way(size, "right tube up against the left", "right tube down against the left", "arcmin", 0),
          "Bend temple or bridge so that the tubes stand parallel; a prism is no cure for a tilted tube.", when=_two),
    Fault("tilt_horizontal", "tubes toed out or in", "arcmin", 0.9, _TILTS, 25.0, 40.0, _toe,
          lambda size: _way(size, "toed out in all", "toed in in all", "arcmin", 0),
          "Turn the tubes parallel; shifting them sideways changes the field, not the vergence.", when=_two),
    Fault("height_mismatch", "tubes or caps at different heights", "mm", 0.8, _grid(0.5, 6.0, 0.5), 1.5, 2.0,
          _mismatch,
          lambda size: _way(size, "right higher than left", "left higher than right"),
          "Recentre caps and tubes to one height; else one cap only.", when=_two),
    Fault("spread", "tubes spread too far or too little", "mm", 0.7, _grid(0.5, 5.0, 0.5), 2.0, 2.5, _spread,
          lambda size: _way(size, "too far outwards, each", "too far inwards, each"),
          "Back towards the PD until the far target is single and its middle bright.", when=_two),
    Fault("own_deviation", "the person's own deviation, up and down", "prism D", 0.3, _grid(0.5, 6.0, 0.5), 2.0, 2.0,
          _own_vertical, _upright_prism_words,
          "Examine binocular vision without the device; prism for the person, or one tube.",
          when=_two),
    Fault("own_deviation_sideways", "the person's own deviation, sideways", "prism D", 0.3, _grid(2.0, 20.0,
          2.0), 5.0, 5.0,
          _own_horizontal, _sideways_prism_words,
          "Examine binocular vision without the device; prism for the person, or one tube.",
          when=_two),
    Fault("fusion_lost", "fusion does not hold", "", 0.4, ONE, 1.0, 1.0, _fusion_lost, lambda _: "",
          "Cover test, suppression; one tube for the better eye.", when=_two),
    Fault("near_convergence", "parallel tubes ask more convergence at near than the eyes have", "", 0.7, ONE,
          1.0, 1.0,
          _near_convergence, lambda _: "",
          "Base-in at the caps, tubes turned in for this distance, or one eye at near.",
          when=_capped_pair),
    Fault("unequal_images", "pictures of unequal size by unequal corrections", "%", 0.2, _grid(2, 14, 2,
          False), 4.0, 5.0,
          _images, lambda size: f"about {size:.0f} % between the two pictures",
          "Put unequal corrections behind the oculars, set both tubes afocal.", when=_two),
    Fault("cap_left_on", "cap left on for distance", "", 0.4, ONE, 1.0, 1.0, _cap_left_on, lambda _: "the whole cap",
          "Take the cap off for distance; show which is which, mark it.", when=_capped),
    Fault("cap_missing", "cap not on at near", "", 0.3, ONE, 1.0, 1.0, _cap_missing, lambda _: "the whole cap",
          "Put the cap on for near; check that it sits.", when=_capped),
    Fault("cap_power", "cap of another power than ordered", "D", 0.6, _grid(0.25, 3.0, 0.25), 1.0, 1.0, _cap_power,
          lambda size: f"about {size:+.2f} D {'stronger' if size > 0 else 'weaker'} than ordered",
          "Swap the cap; look also for one put on back to front.",
          when=_capped),
    Fault("cap_unequal", "caps of unequal power", "D", 0.3, _grid(0.5, 3.0, 0.25), 1.0, 1.0, _cap_unequal,
          lambda size: f"about {size:+.2f} D on this side", "Two caps of one power.", True, _capped_pair),
    Fault("cap_reversed", "prism caps put on reversed", "", 0.4, ONE, 1.0, 1.0, _cap_reversed,
          lambda _: "base out instead of base in",
          "Turn the caps round or swap right and left: base towards the nose.",
          when=lambda s: s.two and s.ordered_prism > 0),
    Fault("working_distance", "page held at another distance", "%", 1.0,
          (-50.0, -40.0, -30.0, -20.0, 20.0, 30.0, 50.0, 75.0, 100.0), 40.0, 40.0, _held,
          lambda size: _way(size, "farther than the clear distance", "nearer than the clear distance", "%", 0),
          "Fix the distance: string, stand; practise from too near outwards.", when=_capped),
    Fault("light", "too little light on the task", "halvings", 0.9, (1.0, 2.0, 3.0, 4.0, 5.0), 2.0, 3.0, _light,
          lambda size: f"about {2**size:.0f} times less light than in the clinic",
          "A lamp on the task, from the side of the better eye; in dim light less power or a larger exit pupil."),
    Fault("contrast", "contrast sensitivity lower than counted on", "log", 0.7, _grid(0.2, 1.2, 0.1, False), 0.4,
          0.4, _contrast,
          lambda size: f"about {size:.1f} log of contrast lost",
          "More light, bold print, go nearer; under a reserve of 4 an electronic aid rather than more power."),
    Fault("scotoma", "scotoma or too few characters in view", "times halved", 0.7, (0.5, 1.0, 1.5, 2.0, 3.0), 1.0,
          1.0, _scotoma,
          lambda size: f"about {100 * 0.5**size:.0f} % of the characters left in view",
          "Eccentric viewing practised, decentre for the preferred place, less power for more characters."),
    Fault("reserve", "print too near to threshold to read on", "log", 0.6, _grid(0.1, 0.5, 0.1, False), 0.2, 0.2,
          _reserve,
          lambda size: f"speed down to {100 * 10**-size:.0f} %",
          "Larger print or more equivalent power: twice threshold, or the critical print size."),
    Fault("motion", "head or hand unsteady", "deg/s", 0.8, (3.0, 4.0, 6.0, 8.0, 11.0, 15.0, 20.0, 30.0), 8.0, 8.0,
          _motion,
          lambda size: f"about {size:.0f} deg/s of slip in the picture",
          "Seated and supported, less power, shorter looks; no walking with it."),
    Fault("loose_mount", "loose tube or mount", "", 0.4, ONE, 1.0, 1.0, _loose, lambda _: "",
          "Tighten or replace the mount; measure alignment again."),
    Fault("no_training", "not trained enough", "", 0.9, ONE, 1.0, 1.0, _untrained, lambda _: "",
          "Practise: fixate first, then bring it up; seated first, indoors first; call at two weeks."),
    Fault("posture", "head drop or posture in use", "deg", 0.6, _grid(4, 20, 4, False), 8.0, 8.0, _posture,
          lambda size: f"about {size:.0f} degrees more head drop than planned",
          "Tube lower or tilted less, reading stand; for a stiff neck another position."),
    Fault("field_narrow", "field of this device too narrow for the task", "", 0.5, ONE, 1.0, 1.0, _complaint_only,
          lambda _: "", "Practise finding without it first; less power or a bioptic; the ring that the tube hides.",
          when=lambda s: s.needs_wide_field),
    Fault("middle_distance", "middle distance out of reach of a tube set for far", "", 0.6, ONE, 1.0, 1.0,
          _complaint_only,
          lambda _: "", "As designed: a weak cap of 0.25 to 0.75 D, a hyperfocal setting, or a focusing tube.",
          when=lambda s: not s.by_hand),
    Fault("reflections", "reflections in the tube", "", 0.3, ONE, 1.0, 1.0, _complaint_only, lambda _: "",
          "Hood, coated lenses, lamp from the side and not from behind."),
    Fault("off_axis", "looked through off its axis", "", 0.3, ONE, 1.0, 1.0, _complaint_only, lambda _: "",
          "Centre gaze and tube; a smaller angle between gaze and axis."),
)  # fmt: skip

FAULTS: dict[str, Fault] = {fault.key: fault for fault in (*TUBE_FAULTS, *MORE_FAULTS)}
