"""The telescope in the exchange model: the device as it stands in the stock, and the request for it as ordered."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal

from ..fitting.cap_centre import cap_centres
from ..fitting.carrier import lens_at_ocular
from ..fitting.types import FittingSheet
from ..plan.types import EyeNumbers, Option, Plan
from .exchange_model import (
    Amount,
    Coded,
    Device,
    Part,
    Request,
    dioptres,
    eye_concept,
    millimetres,
    quantised,
)
from .numbers import CORRECTION_WORDS, FOCUS_WORDS
from .order_parts import LEAST_SHOWN_D, height_mm, tilt_deg
from .text import clean


def _times(value: float) -> Amount:
    """A magnification without sign: a minus in a file would be read as something else. The picture is told apart."""
    return Amount(quantised(abs(value), "0.01"), "x", "1")


def _upright(option: Option) -> bool:
    return option.telescope.type == "galilean" or option.telescope.erect


def device_of(option: Option) -> Device:
    """The telescope of an option as a device."""
    telescope = option.telescope
    parts = [
        Part(Coded("magnification, marked, without sign"), _times(telescope.magnification)),
        Part(Coded("erecting"), _upright(option)),
        Part(Coded("tube length"), millimetres(telescope.tube_length_mm)),
        Part(Coded("objective clear diameter"), millimetres(telescope.objective_diameter_mm)),
    ]
    if telescope.measured_magnification is not None:
        measured = Coded("magnification, measured, without sign")
        parts.insert(1, Part(measured, _times(telescope.measured_magnification)))
    if telescope.weight_g is not None:
        parts.append(Part(Coded("weight"), Amount(quantised(telescope.weight_g, "0.1"), "g", "g")))
    name = clean(telescope.description)
    return Device(
        clean(telescope.id), name, f"{telescope.type.capitalize()} spectacle telescope", tuple(parts)
    )


def request_of(option: Option, plan: Plan, sheet: FittingSheet | None, status: str) -> Request:
    """The telescope of an option as it is asked for; nothing that was only assumed stands in it."""
    choice = option.configuration
    parts = [
        Part(Coded("magnification, without sign"), _times(option.device.leading.magnification)),
        Part(Coded("erecting"), _upright(option)),
        Part(Coded("eye"), eye_concept(choice.eye)),
        Part(Coded("position"), Coded(choice.position)),
        Part(Coded("mount"), Coded(choice.mount)),
        Part(Coded("focus"), Coded(FOCUS_WORDS[choice.focus])),
        Part(Coded("place of the correction"), Coded(CORRECTION_WORDS[choice.correction])),
        *_place(option, plan, sheet),
    ]
    if choice.correction in ("ocular", "objective"):
        for eye in option.device.eyes:
            parts.extend(_lens_in_tube(option, plan, eye))
    if option.cap is not None:
        parts.extend(_cap(option, plan))
    if option.filter is not None:
        parts.append(Part(Coded("filter"), Coded(clean(option.filter.description))))
    name = f"{option.telescope.type.capitalize()} spectacle telescope"
    return Request(status, name, len(choice.eyes), tuple(parts))


def _place(option: Option, plan: Plan, sheet: FittingSheet | None) -> Iterator[Part]:
    """Tilt, PD, spread and height, by the numbers of the order."""
    choice, person = option.configuration, plan.person
    side = option.device.leading.side
    if choice.position != "bioptic" or person.tube_tilt_deg is not None:
        tilt = tilt_deg(option, side, sheet)
        angles = [("tube tilt, up", tilt)]
        if "face.pantoscopic_tilt" not in person.assumed:
            angles.append(("tube to lens normal", tilt + option.device.mount.pantoscopic_deg))
        for name, value in angles:
            yield Part(Coded(name), Amount(quantised(value, "0.1"), "deg", "deg"))
    if "face.pd" not in person.assumed and person.pd.by_eye:
        yield Part(Coded("pupil distance, right"), millimetres(person.pd.right_mm))
        yield Part(Coded("pupil distance, left"), millimetres(person.pd.left_mm))
    if choice.spread_mm:
        yield Part(Coded("outward spread of each tube"), millimetres(choice.spread_mm))
    height = height_mm(option, side, sheet)
    if height is not None and f"{side}.pupil" not in person.assumed:
        below = choice.position == "low"
        name = "ocular centre below the pupil centre" if below else "ocular centre above the pupil centre"
        yield Part(Coded(name), millimetres(height))


def _lens_in_tube(option: Option, plan: Plan, eye: EyeNumbers) -> Iterator[Part]:
    if eye.correction_lens_d is None or f"{eye.side}.refraction" in plan.person.assumed:
        return
    name = f"correcting lens, {CORRECTION_WORDS[option.configuration.correction]}, {eye.side} eye"
    if option.configuration.correction == "objective":
        yield Part(Coded(f"{name}, best sphere"), dioptres(eye.correction_lens_d))
        return
    lens = lens_at_ocular(plan.person, eye)
    yield Part(Coded(f"{name}, sphere"), dioptres(lens.sphere_d))
    if abs(lens.cylinder_d) >= LEAST_SHOWN_D:
        yield Part(Coded(f"{name}, cylinder"), dioptres(lens.cylinder_d))
        yield Part(Coded(f"{name}, axis"), Amount(Decimal(lens.axis_deg), "deg", "deg"))


def _cap(option: Option, plan: Plan) -> Iterator[Part]:
    assert option.cap is not None
    yield Part(Coded("reading cap"), dioptres(option.cap.power_d))
    if "face.pd" not in plan.person.assumed and plan.person.pd.by_eye:
        for each in cap_centres(plan.person, option.configuration, option.cap):
            name = f"cap centre from the middle of the bridge, {each.side}"
            yield Part(Coded(name), millimetres(each.tube_mm))
    if option.cap.base_in_prism:
        amount = Amount(quantised(option.cap.base_in_prism, "0.01"), "prism D", "[p'diop]")
        yield Part(Coded("base in, each cap, measured at the cap centre"), amount)
    if option.device.cap is not None:
        distance = millimetres(option.device.cap.working_distance_mm)
        yield Part(Coded("working distance from the cap"), distance)
