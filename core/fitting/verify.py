"""The tubes as delivered, checked on the bench before they go on the face: power, focus, tilt between two of them.

No standard for low-vision telescopes was read in full, so every limit is an assumption of the settings that a clinic
can replace by what its own standard says. Lenses that go with the tubes stand in :mod:`.lenses`.
"""

from __future__ import annotations

from ..entry import Length, Number
from ..errors import Refusal
from ..optics.measuring import size_ratio_at_eye, trial_lens_bvp_d
from ..plan.types import EyeNumbers
from ..ranges import Range
from .context import Fit, mm, number, signed
from .focus import SIX_METRES_MM, chart_offset_d
from .types import Interval, Step

_EXIT_PUPIL = Range("exit pupil", "mm", 0.5, 30, 2, 15, "10")
_BVP = Range("back vertex power", "D", -120, 120, -10, 60, "4.25")
_POWER = Range("magnification", "x", 1.0, 15, 1.5, 5, "2.0")
_PERCENT = Range("difference", "%", 0, 50, 0, 5, "1")
_ARCMIN = Range("tilt between the tubes", "arcmin", -600, 600, -60, 60, "10")
TRIAL_LENS_D = 1.0
# Common practice: reading a band magnifier.
READING_MM = 0.2


def verify_steps(fit: Fit) -> list[Step]:
    """All bench checks, in order."""
    steps: list[Step] = []
    for side in fit.sides:
        eye = fit.eye(side)
        steps += [_exit_pupil(fit, eye), *_other_ways(fit, eye), _tube_focus(fit, eye)]
    if fit.two:
        steps += _pair(fit)
    return steps


def _marked(fit: Fit) -> float:
    return abs(fit.device.magnification_nominal)


def _exit_pupil(fit: Fit, eye: EyeNumbers) -> Step:
    power, tolerance = _marked(fit), fit.assume("power_tolerance_percent") / 100
    expected = fit.telescope.measured_exit_pupil_mm or fit.telescope.objective_diameter_mm / power
    low, high = expected / (1 + tolerance), expected / (1 - tolerance)
    return Step(
        "verify.power",
        "verify",
        "Power by diameters",
        (
            f"{_set_afocal(fit)} Measure the exit pupil and divide the objective's clear diameter by it: that is "
            "the power."
        ),
        (
            f"{number(power, 2)}x as marked: exit pupil {mm(expected, 2)} from an objective of "
            f"{mm(fit.telescope.objective_diameter_mm)}"
        ),
        "Band magnifier on the round of light seen in the ocular, tube against a bright wall. "
        f"{mm(READING_MM)} misread is "
        f"{number(100 * READING_MM / expected)} %.",
        Length(_EXIT_PUPIL),
        Interval(low, high, expected / (1 + 2 * tolerance), expected / (1 - 2 * tolerance)),
        expected,
        "mm",
        (
            f"{mm(low, 2)} to {mm(high, 2)}: {number(power * (1 - tolerance), 2)}x to "
            f"{number(power * (1 + tolerance), 2)}x"
        ),
        (
            f"marked power within {number(100 * tolerance)} %, common practice; no standard for "
            "low-vision telescopes was read"
        ),
        eye.side,
        "SMITH-290",
        (),
        {"magnification": power, "exit_pupil_mm": expected},
        "enter the measured power in the stock: the promise follows it; beyond the tolerance send it back",
    )


def _set_afocal(fit: Fit) -> str:
    """How the tube must be set while its marked power is checked."""
    if fit.choice.correction == "refocused":
        return f"Tube set afocal first, {mm(fit.telescope.tube_length_mm)} long, not yet for this eye."
    return "Tube set for infinity."


def _other_ways(fit: Fit, eye: EyeNumbers) -> list[Step]:
    """The same answer by two other roads, for whoever has a lensometer or a brick wall."""
    power, tolerance = fit.device.magnification_nominal, fit.assume("power_tolerance_percent") / 100
    length = fit.telescope.tube_length_mm
    steps = []
    try:
        expected = trial_lens_bvp_d(power, length, TRIAL_LENS_D)
        ends = sorted(
            trial_lens_bvp_d(power * share, length, TRIAL_LENS_D) for share in (1 - tolerance, 1 + tolerance)
        )
        steps.append(
            Step(
                "verify.power_lensometer",
                "verify",
                "Power by lensometer",
                (
                    f"Set afocal (reads 0.00). Hold {signed(TRIAL_LENS_D)} D on the objective and read "
                    "the back vertex power."
                ),
                f"{number(expected, 2)} D",
                "Lensometer on the ocular side. A reading of 0.00 without the trial lens verifies focus, not power.",
                Number(_BVP, 2, signed=True),
                Interval(ends[0], ends[1]),
                expected,
                "D",
                f"{number(ends[0], 2)} to {number(ends[1], 2)} D",
                f"V = M2 F/(1 - t M F) at {number(100 * tolerance)} % of the marked power",
                eye.side,
                "",
                (),
                {"back_vertex_power_d": expected},
                optional=True,
            )
        )
    except Refusal:
        pass
    size = abs(power)
    near = ""
    try:
        ratio = abs(size_ratio_at_eye(power, length, SIX_METRES_MM, eye.eye_distance_mm))
        near = f" At 6 m the ratio is {number(ratio, 2)}, not {number(size, 2)}."
    except Refusal:
        pass
    steps.append(
        Step(
            "verify.power_images",
            "verify",
            "Power by two images",
            "One eye through the tube, the other beside it, on a brick wall or a ruler well beyond 6 m: how many naked "
            "courses does one magnified course cover?",
            f"{number(size, 2)}",
            f"Both eyes open; count ten if you can.{near}",
            Number(_POWER, 2),
            Interval(size * (1 - tolerance), size * (1 + tolerance)),
            size,
            "x",
            f"{number(size * (1 - tolerance), 2)} to {number(size * (1 + tolerance), 2)}x",
            f"marked power within {number(100 * tolerance)} %",
            eye.side,
            "",
            optional=True,
        )
    )
    return steps


def _tube_focus(fit: Fit, eye: EyeNumbers) -> Step:
    built_in = fit.choice.correction in ("ocular", "objective", "refocused")
    wanted = eye.ametropia_at_ocular_d if built_in else 0.0
    if fit.choice.focus == "hyperfocal":
        wanted += eye.tolerance_d
    inner = max(0.12, min(0.25, eye.tolerance_d / 2))
    outer = max(inner, min(0.5, eye.tolerance_d))
    try:
        offset = chart_offset_d(eye, SIX_METRES_MM)
    except Refusal:
        offset = -(fit.power**2) / 6
    why = {
        "carrier": "the tube is afocal, the carrier corrects",
        "none": "the tube is afocal, nothing corrects",
        "ocular": "the correction is built in at the ocular",
        "objective": f"{signed(eye.correction_lens_d or 0.0)} D at the objective acts as this at the ocular",
        "refocused": f"tube of {mm(eye.tube_length_mm, 2)} instead of {mm(fit.telescope.tube_length_mm)}",
    }[fit.choice.correction]
    if fit.choice.focus == "hyperfocal":
        why += f"; plus {number(eye.tolerance_d, 2)} D for the hyperfocal setting"
    cylinder = (
        " A cylinder that shows is a built-in one: compare it with the order."
        if built_in
        else (" A cylinder or sphere that shows is a fault.")
    )
    return Step(
        "verify.focus",
        "verify",
        "Tube focus at infinity",
        "Read the back vertex power of the tube alone, set for infinity.",
        f"{signed(wanted)} D (best sphere)",
        f"Lensometer on the ocular side, or a far target through a focused spyglass.{cylinder} 6 m is not infinity: "
        f"a target there reads {signed(offset)} D more.",
        Number(_BVP, 2, signed=True),
        Interval(wanted - inner, wanted + inner, wanted - outer, wanted + outer),
        wanted,
        "D",
        f"within {number(inner, 2)} D",
        f"{why}; half of this eye's depth of focus of {number(eye.tolerance_d, 2)} D, at most 0.25 D",
        eye.side,
        "",
        fit.assumed(f"{eye.side}.refraction"),
        {"back_vertex_power_d": wanted, "six_metres_d": offset},
        "set the tube anew, or send it back",
    )


def _pair(fit: Fit) -> list[Step]:
    vertical = fit.tilt_arcmin(fit.vertical)
    out, inwards = fit.tilt_arcmin(fit.convergence), fit.tilt_arcmin(fit.divergence)
    if not fit.erect:
        out, inwards = inwards, out
    difference = fit.assume("magnification_difference_percent")
    bench = "Two parallel beams or a target beyond 20 m on a bench; a shift of 1 mm at 1 m is 3.4'."
    return [
        Step(
            "verify.pair_power",
            "verify",
            "Powers of the two tubes alike",
            "Compare the two exit pupils: by how many per cent do the powers differ?",
            "0 %",
            "Larger power over smaller, less 1.",
            Number(_PERCENT, 1),
            Interval(0.0, difference, None, 2 * difference),
            0.0,
            "%",
            f"under {number(difference)} %",
            "a larger difference is seen as two sizes; common practice",
            remedy="another tube; refocusing one side changes its power",
        ),
        Step(
            "verify.tilt_vertical",
            "verify",
            "Tubes tilted, up and down",
            "Sight one far mark through both tubes: how far apart are the axes in height?",
            "0'",
            bench,
            Number(_ARCMIN, 1),
            _outer(-vertical, vertical, fit.vertical.outer, fit.vertical.prism),
            0.0,
            "arcmin",
            f"up to {number(vertical, 1)}'",
            f"a {number(fit.power, 2)}x tube deviates by {number(_times(fit), 2)} times its tilt; {fit.vertical.rule}",
            source=fit.vertical.source,
            numbers={"tilt_arcmin": vertical},
            remedy="send it back before it goes on a face",
        ),
        Step(
            "verify.tilt_horizontal",
            "verify",
            "Tubes tilted, sideways",
            "The same sideways: toed out counts plus, toed in minus.",
            "0'",
            bench,
            Number(_ARCMIN, 1, signed=True),
            Interval(-inwards, out),
            0.0,
            "arcmin",
            f"toed out up to {number(out, 1)}', toed in up to {number(inwards, 1)}'",
            f"converging: {fit.convergence.rule}; diverging: {fit.divergence.rule}",
            source=fit.convergence.source,
            numbers={"toe_out_arcmin": out, "toe_in_arcmin": inwards},
            remedy="send it back before it goes on a face",
        ),
    ]


def _times(fit: Fit) -> float:
    return fit.power - 1 if fit.erect else fit.power + 1


def _outer(low: float, high: float, outer_prism: float | None, prism: float) -> Interval:
    """The tilt interval, with the outer ends in the proportion of the prisms."""
    if outer_prism is None or prism <= 0:
        return Interval(low, high)
    return Interval(low, high, low * outer_prism / prism, high * outer_prism / prism)
