"""Devices traced by rays, faults put into them, and what would then be measured: shared by the tests of the search.

The tracing shares nothing with the program's formulas: every number comes from 2x2 ray matrices multiplied here
(Hecht E, Optics, "Analytical ray tracing", from memory), from sampling the eye's pupil, and from bisection. The noise is
drawn from the repeatability stated for each measurement; one answer in twenty is given wrongly.
"""

from __future__ import annotations

import random
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from math import atan, cos, degrees, hypot, log10, pi, radians, sin, sqrt, tan

from afocal.core.faults import Diagnosis, Findings
from afocal.core.faults.measures import MEASURES, spreads
from afocal.core.faults.model import Model
from afocal.core.stock import Cap, Telescope

WRONG_ANSWER = 0.05
CHART_MM = 4000.0
# A fault that moves all measurements together by less than this many standard deviations cannot be told from none.
SHOWS_SD = 2.5

# --- rays -----------------------------------------------------------------------------------------------------------

Matrix = tuple[float, float, float, float]


def times(later: Matrix, earlier: Matrix) -> Matrix:
    """The product of two ray matrices, mm and 1/mm."""
    a, b, c, d = later
    e, f, g, h = earlier
    return a * e + b * g, a * f + b * h, c * e + d * g, c * f + d * h


def gap(mm: float) -> Matrix:
    """A gap in air."""
    return 1.0, mm, 0.0, 1.0


def thin(power_d: float) -> Matrix:
    """A thin lens."""
    return 1.0, 0.0, -power_d / 1000.0, 1.0


@dataclass(frozen=True)
class Side:
    """One tube as it really stands before one eye; lens powers in D, everything else in mm and degrees."""

    objective_d: float
    ocular_d: float
    length: float
    size: float
    eye: float
    pupil: float
    logmar: float
    tolerance: float
    out: float = 0.0
    up: float = 0.0
    toe_deg: float = 0.0
    lift_deg: float = 0.0
    needs_d: float = 0.0
    cylinder_d: float = 0.0
    cap_d: float = 0.0
    prism_in: float = 0.0

    def tube(self, cap: bool) -> Matrix:
        """From the objective (or cap) to the ocular."""
        front = thin(self.objective_d + (self.cap_d if cap else 0.0))
        return times(thin(self.ocular_d), times(gap(self.length), front))

    def vergence(self, object_mm: float | None, cap: bool = False) -> float:
        """Vergence that leaves the ocular, D, by the ray from the axial object point (None: from infinity)."""
        a, b, c, d = self.tube(cap)
        y, u = (1.0, 0.0) if object_mm is None else (1.0, 1.0 / object_mm)
        return -1000.0 * (c * y + d * u) / (a * y + b * u)

    def blur(self, object_mm: float | None, cap: bool = False) -> float:
        """Defocus that is left at an eye without accommodation, D."""
        return max(abs(self.vergence(object_mm, cap) - self.needs_d), self.cylinder_d / 2.0)

    def loss(self, defocus: float, logmar: float) -> float:
        """Acuity that a defocus costs: MAR grows as the root of squares with 0.65 arcmin per mm and D."""
        mar = 10.0**logmar
        return log10(sqrt(mar**2 + (0.65 * self.pupil * defocus) ** 2) / mar)

    def slope_at_eye(self, object_mm: float, height: float, offset: float, cap: bool) -> float:
        """Slope at the eye of the ray from an object ``height`` off the axis through a pupil ``offset`` off it."""
        a, b, c, d = times(gap(self.eye), times(self.tube(cap), gap(object_mm)))
        start = (offset - a * height) / b
        return c * height + d * start

    def edge_deg(self, sign: float, across: float, upwards: float, stop: float | None) -> float:
        """Direction (degrees, plus on the side of ``sign``) of the last object seen.

        A Galilean by the ray to the pupil's centre; with a stop at the real image the stop ends the field, or the direction
        in which half of the light straight ahead is left.
        """
        a, b, _, _ = times(gap(self.eye), self.tube(False))
        if stop is None:
            # The ray from the rim to the pupil's centre; an object on the plus side sends rays with a minus slope.
            ends = [-(across - a * rim) / b for rim in (-self.size / 2.0, self.size / 2.0)]
            return degrees(atan(max(ends) if sign > 0 else min(ends)))
        widest = stop / 2.0 * self.objective_d / 1000.0
        ahead = self.lit(0.0, across, upwards)
        seen = 0.0
        for step in range(1, 61):
            direction = sign * widest * step / 60.0
            if ahead == 0.0 or self.lit(direction, across, upwards) < 0.5 * ahead:
                break
            seen = direction
        return degrees(atan(seen))

    def lit(self, direction: float, across: float, upwards: float) -> float:
        """Part of the pupil that light from a direction (slope, sideways) reaches, by sampling the pupil."""
        a, b, _, _ = times(gap(self.eye), self.tube(False))
        count = hits = 0
        for ring in range(1, 9):
            for turn in range(12):
                radius = self.pupil / 2.0 * sqrt((ring - 0.5) / 8.0)
                x = across + radius * cos(turn * pi / 6.0)
                y = upwards + radius * sin(turn * pi / 6.0)
                count += 1
                hits += hypot((x - b * -direction) / a, y / a) <= self.size / 2.0
        return hits / count


@dataclass(frozen=True)
class Device:
    """The delivered device on the face, and what no lens shows."""

    sides: Mapping[str, Side]
    pd: float
    stop: float | None = None
    threshold: tuple[float, float] | None = None
    working: float = 250.0
    cap_on_far: bool = False
    cap_forgotten: bool = False
    hold: float = 1.0
    by_hand: bool = False
    focus_left_d: float = 0.0
    slip: float = 0.0
    log_cs_lost: float = 0.0
    naked_lost: Mapping[str, float] = field(default_factory=dict)
    answers: Mapping[str, str] = field(default_factory=dict)
    print_lost: float = 0.0
    speed_lost: float = 0.0
    longest: float = 90.0
    log_cs: float = 1.20

    def with_side(self, side: str, **changes: float) -> Device:
        """One side changed."""
        return replace(self, sides={**self.sides, side: replace(self.sides[side], **changes)})


@dataclass(frozen=True)
class Order:
    """The figures of an order and of the examination behind it, from which a device is traced."""

    telescope: Telescope
    cap: Cap | None
    logmar: Mapping[str, float]
    eye_mm: float
    pupil_mm: float
    pd_mm: float
    threshold: tuple[float, float] | None = None
    log_cs: float = 1.20


def device_of(order: Order) -> Device:
    """The device as ordered, from the figures of the order and nothing computed by the program."""
    telescope, cap, pupil = order.telescope, order.cap, order.pupil_mm
    power = telescope.magnification * (1.0 if telescope.type == "galilean" else -1.0)
    length = telescope.tube_length_mm

    def side(which: str) -> Side:
        # Where 0.1 log is lost, at most 1.5 D either way.
        bears = min(1.5, 10.0 ** order.logmar[which] * sqrt(10.0**0.2 - 1.0) / (0.65 * pupil))
        return Side(
            objective_d=1000.0 * (power - 1.0) / (power * length), ocular_d=1000.0 * (1.0 - power) / length, length=length,
            size=telescope.objective_diameter_mm, eye=order.eye_mm, pupil=pupil, logmar=order.logmar[which],
            tolerance=bears, cap_d=cap.power_d if cap else 0.0, prism_in=cap.base_in_prism if cap else 0.0,
        )  # fmt: skip

    return Device(
        {which: side(which) for which in order.logmar},
        pd=order.pd_mm,
        stop=telescope.field_stop_mm,
        threshold=order.threshold if cap else None,
        working=1000.0 / cap.power_d if cap else 250.0,
        by_hand=telescope.focusable,
        longest=telescope.longest_tube_mm or length,
        log_cs=order.log_cs,
    )


def bisect(test, near: float, far: float) -> float:
    """Where a test that is true far away turns false, as 1/distance between the two."""
    for _ in range(60):
        middle = 2.0 / (1.0 / near + 1.0 / far)
        near, far = (near, middle) if test(middle) else (middle, far)
    return far


# --- what is measured -----------------------------------------------------------------------------------------------


def acuities(device: Device) -> dict[str, float]:
    """Acuity through it at the chart, each eye and both."""
    found = {}
    for which, side in device.sides.items():
        naked = side.logmar + device.naked_lost.get(which, 0.0)
        blur = side.blur(CHART_MM, device.cap_on_far)
        if device.by_hand:
            blur = max(abs(device.focus_left_d), side.cylinder_d / 2.0)
        _, _, _, size = side.tube(False)
        slipped = 0.6 * log10(device.slip / 2.0) if device.slip > 2.0 else 0.0
        found[which] = naked - log10(abs(size)) + side.loss(blur, naked) + slipped
    if len(found) > 1:
        found["both"] = min(found.values())
    return found


def fields(device: Device) -> tuple[float, float, float]:
    """Field by confrontation, and its middle to the right and up, degrees."""
    spans, ups = [], []
    for which, side in device.sides.items():
        sign = 1.0 if which == "right" else -1.0
        right = sign * (side.out + 0.0)
        # The eye's place against the axis, which is turned about the ocular.
        across = -right + sign * tan(radians(side.toe_deg)) * side.eye
        lifted = -side.up + tan(radians(side.lift_deg)) * side.eye
        ends = [side.edge_deg(way, across, lifted, device.stop) + sign * side.toe_deg for way in (-1.0, 1.0)]
        spans.append(ends)
        heights = [side.edge_deg(way, lifted, across, device.stop) + side.lift_deg for way in (-1.0, 1.0)]
        ups.append(sum(heights) / 2.0)
    left, right_end = min(e[0] for e in spans), max(e[1] for e in spans)
    return right_end - left, (left + right_end) / 2.0, sum(ups) / len(ups)


def shadow(device: Device, open_deg: float) -> str:
    """What is said of a white wall: by light sampled straight ahead and at both sides of the field as ordered."""
    said = "even"
    for which, side in device.sides.items():
        sign = 1.0 if which == "right" else -1.0
        across = -sign * side.out + sign * tan(radians(side.toe_deg)) * side.eye
        upwards = -side.up + tan(radians(side.lift_deg)) * side.eye
        ahead = side.lit(-tan(radians(side.toe_deg * sign)), across, upwards)
        rim = tan(radians(0.42 * open_deg))
        ends = [
            side.lit(way * rim - tan(radians(side.toe_deg * sign)), across, upwards) for way in (-1.0, 1.0)
        ]
        ends += [side.lit(way * rim - tan(radians(side.lift_deg)), upwards, across) for way in (-1.0, 1.0)]
        if device.stop is not None:
            if ahead < 0.55 or min(ends) < 0.55 * ahead:
                said = "fades with gaze"
        elif max(abs(ends[0] - ends[1]), abs(ends[2] - ends[3])) > 0.5:
            said = "one side dark"
    return said


def near_end(device: Device) -> float | None:
    """Nearest clear distance without a cap; a tube focused by hand goes as near as its travel allows."""
    side = next(iter(device.sides.values()))
    if device.by_hand:
        longest = replace(side, length=device.longest)
        return bisect(lambda mm: longest.vergence(mm) >= side.needs_d, 200.0, 1e7)
    cap = device.cap_on_far
    if side.vergence(None, cap) - side.needs_d < -side.tolerance:
        return None
    return bisect(lambda mm: side.vergence(mm, cap) - side.needs_d >= -side.tolerance, 60.0, 1e7)


def far_end_d(device: Device) -> float:
    """Farthest clear distance as 1000/mm, 0 for infinity."""
    side = next(iter(device.sides.values()))
    if device.by_hand or side.vergence(None, device.cap_on_far) - side.needs_d <= side.tolerance:
        return 0.0
    last = bisect(lambda mm: side.vergence(mm, device.cap_on_far) - side.needs_d > side.tolerance, 60.0, 1e7)
    return 1000.0 / last


def prisms(device: Device, near: bool) -> tuple[float, float]:
    """What the eyes must do straight ahead: vertical (right picture lower: plus) and horizontal (converge: plus)."""
    up, inwards = [], []
    for which, side in device.sides.items():
        sign = 1.0 if which == "right" else -1.0
        distance = device.working if near else 1e7
        # Everything from the axis of the tube; the object lies on the midline at near, straight ahead at distance.
        toe, lift = tan(radians(side.toe_deg)), tan(radians(side.lift_deg))
        side_offset = -side.out + toe * side.eye
        object_out = -side.out - toe * (distance + side.length) - (device.pd / 2.0 if near else 0.0)
        object_up = -side.up - lift * (distance + side.length)
        lift_offset = -side.up + lift * side.eye
        sideways = side.slope_at_eye(distance, object_out, side_offset, near)
        upwards = side.slope_at_eye(distance, object_up, lift_offset, near)
        # The picture stands where the ray comes from, back in the frame of the head.
        out_seen, up_seen = -sideways + toe, -upwards + lift
        size = abs(side.tube(False)[3])
        relief = side.prism_in / 100.0 * size if near else 0.0
        inwards.append(-out_seen - relief)
        up.append(sign * up_seen)
    return -100.0 * sum(up), 100.0 * sum(inwards)


def doubled(load: float) -> str:
    """Single or double by how much of the reserve is used."""
    return "double" if load > 1.1 else "double at times" if load > 0.7 else "single"


def measured(device: Device, plain: Device) -> Findings:
    """Everything that is measured without taking the device apart, without noise."""
    wide, right, up = fields(device)
    given: dict[str, object] = {
        "acuity_logmar": acuities(device),
        "field_deg": wide,
        "field_shift_right_deg": right,
        "field_shift_up_deg": up,
        "light": shadow(device, fields(plain)[0] if len(device.sides) == 1 else 13.0),
        "log_cs": device.log_cs - device.log_cs_lost,
        "far_end_d": far_end_d(device),
        "near_end_mm": near_end(device),
        "over_refraction_d": {
            which: (-device.focus_left_d if device.by_hand else side.needs_d - side.vergence(None, device.cap_on_far))
            for which, side in device.sides.items()
        },
        "over_cylinder_d": {which: side.cylinder_d for which, side in device.sides.items()},
        "naked_logmar": {
            which: side.logmar + device.naked_lost.get(which, 0.0) for which, side in device.sides.items()
        },
        "words": "as letters", "home": "as in the clinic", "more_light": "no change", "steady": "steady", "stays": "yes",
        "speed_ratio": 10.0**-device.speed_lost,
        "chart_distance_mm": CHART_MM,
    }  # fmt: skip
    if device.by_hand:
        given["refocus"] = "helps" if device.focus_left_d else "no change"
    lead = next(iter(device.sides.values()))
    if device.threshold is not None:
        cap = not device.cap_forgotten
        if cap:
            given["working_distance_mm"] = bisect(
                lambda mm: lead.vergence(mm, True) >= lead.needs_d, 60.0, 1e6
            )
        held = device.working * device.hold
        _, b, _, _ = times(gap(lead.eye), times(lead.tube(cap), gap(held)))
        size, distance = device.threshold
        # Threshold print of 2 M at 40 cm is 0.70 logMAR: 2 M is 2.91 mm, 25 minutes of arc at 40 cm.
        blurred = lead.loss(min(40.0, lead.blur(held, cap)), log10(size * 1000.0 / distance))
        given["print_m_units"] = size * abs(b) / distance * 10.0 ** (blurred + device.print_lost)
        given["used_distance_mm"] = held
    if len(device.sides) == 2:
        vertical, horizontal = prisms(device, False)
        given["vertical_far_prism"], given["horizontal_far_prism"] = vertical, horizontal
        given["naked_vertical_prism"] = given["naked_horizontal_prism"] = 0.0
        sideways = 4.5 if horizontal > 0 else 3.5
        given["double_far"] = doubled(max(abs(vertical) / 1.25, abs(horizontal) / sideways))
        if device.threshold is not None and not device.cap_forgotten:
            near_v, near_h = prisms(device, True)
            excess = near_h - prisms(plain, True)[1]
            given["vertical_near_prism"], given["horizontal_near_prism"] = near_v, near_h
            near_side = 8.5 if excess > 0 else 6.5
            given["double_near"] = doubled(max(abs(near_v) / 1.25, abs(excess) / near_side))
    given.update(device.answers)
    return Findings(**given)  # type: ignore[arg-type]


def with_bench(found: Findings, device: Device, plain: Device) -> Findings:
    """The same with the device taken off and everything checked on the bench and on the face."""
    more: dict[str, dict[str, float]] = {
        "tube_focus_d": {}, "power_ratio": {}, "cap_power_d": {}, "cap_base_in_prism": {}, "eye_distance_mm": {},
        "lateral_off_mm": {}, "height_off_mm": {}, "tilt_off_deg": {},
    }  # fmt: skip
    for which, side in device.sides.items():
        wanted = plain.sides[which]
        more["tube_focus_d"][which] = device.focus_left_d if device.by_hand else side.vergence(None)
        more["power_ratio"][which] = abs(side.tube(False)[3] / wanted.tube(False)[3])
        more["eye_distance_mm"][which] = side.eye - 3.0
        more["lateral_off_mm"][which] = side.out - wanted.out
        more["height_off_mm"][which] = side.up
        more["tilt_off_deg"][which] = side.lift_deg
        if side.cap_d:
            more["cap_power_d"][which], more["cap_base_in_prism"][which] = side.cap_d, side.prism_in
    if len(device.sides) == 2:
        right, left = device.sides["right"], device.sides["left"]
        found = replace(
            found,
            bench_tilt_vertical_arcmin=60.0 * (right.lift_deg - left.lift_deg),
            bench_tilt_horizontal_arcmin=60.0 * (right.toe_deg + left.toe_deg),
            cap_height_mm=abs(right.up - left.up),
            spread_off_mm=(right.out + left.out) / 2.0,
        )
    return replace(found, **{name: values for name, values in more.items() if values})  # type: ignore[arg-type]


# --- noise ----------------------------------------------------------------------------------------------------------

_WORDS = {
    "light": ("even", "darker all over", "one side dark", "fades with gaze"),
    "double_far": ("single", "double at times", "double"),
    "double_near": ("single", "double at times", "double"),
    "words": ("as letters", "worse than letters"),
    "home": ("as in the clinic", "worse at home"),
    "more_light": ("helps", "no change"),
    "steady": ("steady", "steady when supported", "unsteady"),
    "stays": ("yes", "no"),
    "refocus": ("helps", "no change"),
}


def noisy(found: Findings, model: Model, dice: random.Random) -> Findings:
    """Every number with the noise of its stated repeatability, one answer in twenty wrong."""
    spread = spreads(model.state)
    changes: dict[str, object] = {}
    for measure in MEASURES.values():
        value = getattr(found, measure.finding) if measure.finding else None
        if isinstance(value, str):
            if dice.random() < WRONG_ANSWER:
                changes[measure.finding] = dice.choice(_WORDS[measure.key])
        elif isinstance(value, Mapping):
            changes[measure.finding] = {
                side: _shaken(measure, f"{measure.key}.{side}", number, spread, dice)
                for side, number in value.items()
            }
        elif value is not None:
            changes[measure.finding] = _shaken(measure, measure.key, value, spread, dice)
    return replace(found, **changes)  # type: ignore[arg-type]


def _shaken(measure, key: str, value: float, spread, dice: random.Random) -> float:
    scaled = measure.to_scale(value)
    shaken = scaled + dice.gauss(0.0, spread(key, scaled))
    if measure.key in ("near_end", "working_distance"):
        shaken = max(0.02, shaken)
    if measure.key in ("far_end", "over_cylinder", "cap_height"):
        shaken = max(0.0, shaken)
    return measure.from_scale(shaken)


# --- the faults that are put in -------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Injected:
    """A fault put in: what the program should call it, the eye, and the device with it."""

    fault: str
    eye: str
    device: Device


def injections(plain: Device) -> list[Injected]:
    """Single faults of a size that matters, each made by changing lenses and places."""
    first = next(iter(plain.sides))
    found: list[Injected] = [Injected("nothing", "", plain)]

    def put(fault: str, eye: str, device: Device) -> None:
        found.append(Injected(fault, eye, device))

    for eye in plain.sides:
        side = plain.sides[eye]
        put("cylinder", eye, plain.with_side(eye, cylinder_d=3.5))
        for share in (-0.18, 0.18):
            # Another power in the same tube: both lenses changed so that it stays afocal.
            power = side.tube(False)[3] * (1.0 + share)
            put("marked_power", eye, plain.with_side(
                eye, objective_d=1000.0 * (power - 1.0) / (power * side.length), ocular_d=1000.0 * (1.0 - power) / side.length
            ))  # fmt: skip
        for out in (-4.0, 4.0):
            put("decentration", eye, plain.with_side(eye, out=0.7 * out if plain.by_hand else out))
        if plain.by_hand:
            put("exit_pupil_missed", eye, plain.with_side(eye, eye=side.eye + 9.0))
            put("exit_pupil_missed", eye, plain.with_side(eye, eye=side.eye - 9.0))
            put("focus", eye, replace(plain, focus_left_d=2.5))
        else:
            for sphere in (-2.5, 2.5):
                put("sphere", eye, plain.with_side(eye, needs_d=sphere))
            for longer in (1.0, -1.0):
                put("focus", eye, plain.with_side(eye, length=side.length + longer))
            put("eye_distance", eye, plain.with_side(eye, eye=side.eye + 8.0))
        put(
            "eye_changed", eye, replace(plain, naked_lost={eye: 0.4}, print_lost=0.4 if eye == first else 0.0)
        )
    if len(plain.sides) == 1:
        for up in (-4.0, 4.0):
            put("tube_height", first, plain.with_side(first, up=0.7 * up if plain.by_hand else up))
        for lift in (-6.0, 6.0):
            put("tube_tilt", first, plain.with_side(first, lift_deg=lift))
    else:
        put("tilt_vertical", "", plain.with_side("right", lift_deg=0.7))
        put("tilt_vertical", "", plain.with_side("left", lift_deg=0.7))
        put("tilt_horizontal", "", plain.with_side("right", toe_deg=0.9).with_side("left", toe_deg=0.9))
        put("tilt_horizontal", "", plain.with_side("right", toe_deg=-0.9).with_side("left", toe_deg=-0.9))
        put("height_mismatch", "", plain.with_side("right", up=1.0).with_side("left", up=-1.0))
        put("spread", "", plain.with_side("right", out=2.5).with_side("left", out=2.5))
        put("cap_left_on", "", replace(plain, cap_on_far=True))
        put("cap_missing", "", replace(plain, cap_forgotten=True))
        for wrong in (-1.0, 1.0):
            put(
                "cap_power",
                "",
                plain.with_side("right", cap_d=plain.sides["right"].cap_d + wrong).with_side(
                    "left", cap_d=plain.sides["left"].cap_d + wrong
                ),
            )
        put(
            "cap_reversed",
            "",
            plain.with_side("right", prism_in=-plain.sides["right"].prism_in).with_side(
                "left", prism_in=-plain.sides["left"].prism_in
            ),
        )
        put("working_distance", "", replace(plain, hold=1.5))
    put("motion", "", replace(plain, slip=9.0, answers={"steady": "steady when supported"}))
    put("contrast", "", replace(plain, log_cs_lost=0.7, print_lost=0.2, answers={"more_light": "helps"}))
    put(
        "scotoma", "", replace(plain, speed_lost=0.4, print_lost=0.2, answers={"words": "worse than letters"})
    )
    put("no_training", "", replace(plain, speed_lost=0.15, answers={"home": "worse at home"}))
    put("light", "", replace(plain, answers={"home": "worse at home", "more_light": "helps"}))
    return found


def place_of(diagnosis: Diagnosis, truth: Injected) -> int:
    """The place of the true cause among groups of causes that are said to be tied; 0 when it is not listed."""
    wanted = f"{truth.fault}.{truth.eye}" if truth.eye else truth.fault
    place = 0
    seen: set[str] = set()
    for cause in diagnosis.causes:
        if cause.name in seen:
            continue
        place += 1
        group = next((group for group in diagnosis.ties if cause.name in group), (cause.name,))
        seen.update(group)
        if wanted in group:
            return place
    return 0


def distance(first: Findings, second: Findings, model: Model) -> float:
    """How far apart two sets of exact findings are, in standard deviations; an answer that differs counts two."""
    spread, total = spreads(model.state), 0.0
    one, two = model.evidence(first), model.evidence(second)
    for key in one.keys() & two.keys():
        if isinstance(one[key], str):
            total += 4.0 * (one[key] != two[key])
        else:
            total += ((float(one[key]) - float(two[key])) / spread(key, float(one[key]))) ** 2
    return sqrt(total)
