"""What the device does for this person, measured beside what was promised, with what repeats taken into account.

The promise is made at the chart that is used: its distance costs a little through a telescope. No promise is made
where the naked figure is missing or off the chart; the measurement is then only recorded.
"""

from __future__ import annotations

from itertools import pairwise
from math import log10, radians, tan

from .. import ranges as r
from ..acuity import Acuity, format_acuity
from ..entry import AcuityKind, Choice, Length, NearKind, Number, show_length
from ..errors import Refusal
from ..magnification import logmar_through_telescope, print_read_m_units
from ..optics.blur import blur_loss_logmar
from ..plan.types import CapNumbers, EyeNumbers
from ..ranges import Range
from .context import Fit, deg, mm, number
from .focus import chart_offset_d, focus_target_d
from .pair import SINGLE, SINGLE_ACCEPT
from .types import Accept, Answers, Interval, Recorded, Repeats, Side, Step

_FIELD = Range("field by confrontation", "deg", 0.5, 120, 4, 40, "12")
TASK = Choice(("done", "partly", "not done"))
TASK_ACCEPT = Answers(("done",), ("partly",))
CONFRONTATION_MM = 2000.0


def performance_steps(fit: Fit) -> list[Step]:
    """All measurements through the device, in the order of an examination."""
    steps = [_acuity(fit, side) for side in fit.sides]
    if fit.two:
        steps.append(_acuity(fit, "both"))
    steps += _near_end(fit)
    if fit.device.cap is not None:
        steps += [_print(fit, fit.device.cap), _speed(fit, fit.device.cap)]
    steps += [_field(fit), _light(fit)]
    steps.append(_double(fit) if fit.two else _fellow(fit))
    steps += _tasks(fit)
    return steps


def promised_logmar(fit: Fit, side: str) -> tuple[float, float] | None:
    """Acuity promised at the chart through the device (logMAR) and the part of it that blur at the chart costs.

    For both eyes the better prediction stands, without a gain from using two. None when the naked acuity is missing.
    """
    if side == "both":
        both = [promise for promise in (promised_logmar(fit, eye) for eye in fit.sides) if promise]
        return min(both) if both else None
    eye = fit.eye(side)
    if eye.logmar is None:
        return None
    chart = fit.case.value("test.chart_distance") or fit.assume("chart_distance_mm")
    try:
        loss = blur_loss_logmar(
            10.0**eye.logmar, eye.pupil_mm, _defocus_at_chart_d(fit, eye, chart), fit.assume("blur_constant")
        )
        return logmar_through_telescope(eye.logmar, eye.magnification, loss), loss
    except Refusal:
        return None


def _defocus_at_chart_d(fit: Fit, eye: EyeNumbers, chart_mm: float) -> float:
    """What stays out of focus at the chart, D: none when the tube is focused on it by hand."""
    cylinder = abs(eye.residual_cylinder_d) / 2
    if fit.telescope.focusable and eye.near_limit_mm is not None and chart_mm >= eye.near_limit_mm:
        return cylinder
    # The light at the eye: what the chart's distance leaves, the focus setting, what stays uncorrected.
    beam = chart_offset_d(eye, chart_mm) + focus_target_d(fit, eye) - eye.residual_sphere_d
    sphere = max(0.0, -beam - eye.accommodation_d) if beam < 0 else beam
    return max(sphere, cylinder)


def _acuity(fit: Fit, side: Side) -> Step:
    promise = promised_logmar(fit, side)
    chart = fit.case.value("test.chart_distance") or fit.assume("chart_distance_mm")
    repeats = fit.assume("cr95_logmar")
    accept: Accept = Recorded()
    target, words, numbers = "record it: no acuity on the chart to promise from", "", {}
    if promise is not None:
        value, loss = promise
        accept = Repeats(value, repeats, "acuity")
        target = f"{shown_acuity(fit, value)} ({value:.2f} logMAR)"
        if loss >= 0.005:
            target += f", of which {loss:.2f} lost to blur at {show_length(chart)}"
        words = f"within {number(repeats, 2)} log of the promise"
        numbers = {"promised_logmar": value, "blur_loss_logmar": loss}
    return Step(
        "performance.acuity",
        "performance",
        "Far acuity through it",
        "The same chart, distance and light as without it; letter by letter. "
        + ("Both eyes open." if side == "both" else "The other eye covered."),
        target,
        f"Chart at {number(chart / 1000, 2)} m; the person seated, head supported. Caps off.",
        AcuityKind(),
        accept,
        None if promise is None else promise[0],
        "logMAR",
        words,
        "95 % of repeats of one acuity lie within it" if promise is not None else "",
        side,
        "KISER05",
        fit.assumed(*(f"{eye}.pupil" for eye in fit.sides)),
        numbers,
        "focus and eye distance first, then refraction behind the ocular, then centring and light",
    )


def shown_acuity(fit: Fit, logmar: float) -> str:
    """An acuity in the notation of the settings, its logMAR where the notation cannot hold it."""
    try:
        return format_acuity(Acuity(logmar), fit.settings.acuity_notation)
    except Refusal:
        return f"{logmar:.2f} logMAR"


def _near_end(fit: Fit) -> list[Step]:
    """The nearest distance that is clear without a cap."""
    eye: EyeNumbers = fit.device.leading
    near = eye.near_limit_mm
    if near is None or not r.DISTANCE.accepts(near):
        return []
    by_hand = fit.telescope.focusable
    eye_words = (
        f"depth of focus {number(eye.tolerance_d, 2)} D and accommodation {number(eye.accommodation_d, 2)} D "
        "of this eye"
    )
    return [
        Step(
            "performance.near_end",
            "performance",
            "Nearest clear, without a cap",
            "Walk a line of print, twice threshold size, towards the seated person until it blurs; cap off, "
            + ("focused by hand all the way." if by_hand else "focus untouched."),
            show_length(near),
            "Tape measure from the objective; mean of three.",
            Length(r.DISTANCE, "cm" if near < 1000.0 else "m"),
            Interval(None, 1.25 * near, None, 1.6 * near),
            near,
            "mm",
            f"not farther than {show_length(1.25 * near)}",
            ("the travel of the tube" if by_hand else eye_words) + "; a quarter more is common practice",
            "",
            "",
            fit.assumed(f"{eye.side}.pupil", f"{eye.side}.sustained_accommodation"),
            {"near_limit_mm": near},
            "focus, or a weak cap of 0.25 to 0.75 D for the middle distance",
        )
    ]


def _threshold(fit: Fit) -> tuple[float, float] | None:
    """Threshold print and the distance it was read at, of both eyes or of the eye with the tube."""
    sides = (["both"] if fit.two else []) + list(fit.sides)
    for side in sides:
        near = fit.person.eye(side).near
        if near is not None and near.distance_mm:
            return near.m_units, near.distance_mm
    return None


def _print(fit: Fit, cap: CapNumbers) -> Step:
    known = _threshold(fit)
    repeats = fit.assume("cr95_print_logmar")
    accept: Accept = Recorded()
    target, words, value = "record it: no threshold print with its distance to promise from", "", None
    if known is not None:
        threshold, distance = known
        value = print_read_m_units(threshold, distance / cap.evd_mm)
        accept = Repeats(value, repeats, "print")
        target = f"{number(value, 2)}M (threshold {number(threshold, 2)}M at {show_length(distance)})"
        words = f"within {number(repeats, 2)} log of the promise"
    return Step(
        "performance.print",
        "performance",
        "Smallest print through it",
        "Word reading card at the working distance, cap on, lamp as at home.",
        target,
        f"At {show_length(cap.working_distance_mm)} from the cap; read aloud, smallest size with most words right.",
        NearKind(),
        accept,
        value,
        "M",
        words,
        f"equivalent viewing distance {show_length(cap.evd_mm)}",
        "",
        "PATEL11",
        (),
        {"evd_mm": cap.evd_mm},
        "distance of the page first, then light, then focus of the tube",
    )


def speed_from_curve(fit: Fit, cap: CapNumbers, print_m_units: float) -> float | None:
    """Words a minute that the person's own reading curve gives for this print through the cap; None without a curve.

    The curve is read off between its measured sizes on a log scale; beyond the largest size the speed stays that of the
    largest, below the smallest nothing is promised.
    """
    sides = (["both"] if fit.two else []) + list(fit.sides)
    curve = next((c for c in (fit.person.eye(side).curve for side in sides) if c is not None), None)
    if curve is None or not curve.points:
        return None
    seen = print_m_units * curve.distance_mm / cap.evd_mm
    points = sorted(curve.points)
    if seen >= points[-1][0]:
        return points[-1][1]
    for (small, slow), (large, fast) in pairwise(points):
        if small <= seen < large:
            share = log10(seen / small) / log10(large / small)
            return slow + share * (fast - slow)
    return None


def _goal_print(fit: Fit) -> float | None:
    for goal in fit.case.visit.goals:
        detail = goal.value("detail")
        if detail is not None and detail.m_units:
            return detail.m_units
    return None


def _speed(fit: Fit, cap: CapNumbers) -> Step:
    size = _goal_print(fit)
    speed = None if size is None else speed_from_curve(fit, cap, size)
    share = fit.assume("reading_speed_repeat_percent")
    which = "the print of the goal" if size is None else f"print of {number(size, 2)}M"
    known = speed is not None and speed > 0
    return Step(
        "performance.speed",
        "performance",
        "Reading speed through it",
        f"Read {which} aloud at the working distance: words a minute, errors taken off.",
        f"{number(speed, 0)} wpm"
        if speed is not None and known
        else "record it: no reading curve that reaches this print",
        "Ten-word sentences: 60 x (10 - errors) / seconds; mean of three.",
        Number(r.READING_SPEED, 0),
        Repeats(speed, share / 100, "speed") if speed is not None and known else Recorded(),
        speed if known else None,
        "wpm",
        f"within {number(share, 0)} % of the promise" if known else "",
        "read off the person's own curve at the same size on the retina; speed repeats within this, common practice"
        if known
        else "",
        "",
        "LEGGE-LAB",
        remedy="light and page distance, characters in view, training; a curve that stays flat asks for another device",
    )


def field_targets_deg(fit: Fit) -> tuple[float, float, float]:
    """The field promised at confrontation, of both tubes together where there are two: half light, full light, last."""
    field, pair = fit.device.leading.field, fit.device.pair
    alone = field.real_field_deg
    growth = 0.0 if pair is None else pair.union_field_deg - alone
    low = field.real_field_full_deg or 0.9 * alone
    high = field.real_field_total_deg or 1.1 * alone
    return alone + growth, low + growth, high + growth


def _field(fit: Fit) -> Step:
    field = fit.device.leading.field
    pair = fit.device.pair
    target, low, high = field_targets_deg(fit)
    words = (
        f"{field.criterion} criterion, eye distance {mm(field.eye_distance_mm)}, pupil {mm(field.pupil_mm)}"
    )
    if pair is not None:
        words = f"union of both tubes, overlap {deg(pair.overlap_field_deg)}; {words}"
    width = 2 * CONFRONTATION_MM * tan(radians(target / 2))
    return Step(
        "performance.field",
        "performance",
        "Field met by confrontation",
        f"At {number(CONFRONTATION_MM / 1000)} m, gaze held in the middle: move a pencil in from each "
        "side until it is seen; "
        "add the two angles.",
        f"{deg(target)}, that is {number(width / 10, 0)} cm wide at {number(CONFRONTATION_MM / 1000)} m",
        "Tape on the wall; the field of the turning eye is smaller, so gaze must be held.",
        Number(_FIELD, 1),
        Interval(low, None, 0.75 * low, None),
        target,
        "deg",
        f"{deg(low)} or more; up to {deg(high)} can be met at the last light",
        words,
        "",
        "KATZ07" if not fit.keplerian else "SMITH-296",
        fit.assumed("face.ocular_to_cornea", "face.vertex_distance"),
        {"real_field_deg": target, "width_at_2_m_mm": width},
        "eye distance first: half-field slope grows as the eye comes nearer; then centring",
    )


def _light(fit: Fit) -> Step:
    eye = fit.device.leading
    day, dim = eye.relative_brightness, eye.relative_brightness_dim
    where = "exit pupil behind the ocular" if fit.keplerian else "middle of the tube"
    return Step(
        "performance.light",
        "performance",
        "Brightness and shadow",
        "A white wall through it: even, darker all over, dark on one side, or fading when the eye turns?",
        f"even; {number(100 * day, 0)} % of the naked brightness, {number(100 * dim, 0)} % in dim light",
        "The lamp of the room, then dimmed; ask before telling.",
        Choice(("even", "darker all over", "one side dark", "fades with gaze")),
        Answers(("even",), ("darker all over",)),
        rule=f"exit pupil {mm(eye.exit_pupil_diameter_mm)}, pupil {mm(eye.pupil_mm)}, "
        f"in dim light {mm(eye.dim_pupil_mm)}",
        source="SMITH-290",
        assumed=fit.assumed(f"{eye.side}.pupil", f"{eye.side}.pupil_dim"),
        numbers={"relative_brightness": day, "relative_brightness_dim": dim},
        remedy=f"bring the {where} onto the eye's pupil; then the eye distance",
    )


def _double(fit: Fit) -> Step:
    near = ", and at the working distance with the caps on" if fit.cap is not None else ""
    return Step(
        "performance.double",
        "performance",
        "Double vision in use",
        f"Ten minutes of use at the distance of the goal{near}: ever double?",
        "single",
        "Ask in these words; then cover and uncover while it is looked through.",
        SINGLE,
        SINGLE_ACCEPT,
        rule="fusion that holds for a moment may not hold for an evening",
        source="TONG21",
        remedy="measure vertical and horizontal again; else one tube",
    )


def _fellow(fit: Fit) -> Step:
    return Step(
        "performance.fellow",
        "performance",
        "The other eye",
        "Both eyes open: does the other eye help at the sides, or does it disturb?",
        "helps",
        "Fingers at the side while a letter is read through the tube.",
        Choice(("helps", "neither", "disturbs")),
        Answers(("helps", "neither"), ("disturbs",)),
        rule="the free eye sees into the ring that the tube hides",
        source="DOHERTY11",
        remedy="practice first; a frosted lens for the time of spotting if it keeps disturbing",
    )


def _tasks(fit: Fit) -> list[Step]:
    steps = []
    for number_, goal in enumerate(fit.case.visit.goals, 1):
        distance = goal.value("distance")
        where = f" at {number(distance / 1000, 2)} m" if distance else ""
        steps.append(
            Step(
                f"performance.task.{number_}",
                "performance",
                f"The task: {goal.name}",
                f"{goal.name[:1].upper()}{goal.name[1:]}{where}, in its own light and posture. What was done? Note it.",
                "done",
                "The real thing, or the nearest to it in the room.",
                TASK,
                TASK_ACCEPT,
                rule="the task itself is tried before supply",
                source="COLLEGE-LV",
                remedy="training, light and position before another device",
            )
        )
    return steps
