"""The verdict on one result: what was typed is read by the step's kind and held against its target."""

from __future__ import annotations

from math import log10
from typing import Any

from ..acuity import Acuity, OffChart
from ..case import StepResult, Visit
from ..entry import Pd
from ..errors import Refusal
from ..print_size import NearPrint
from ..refraction import Refraction, residual_after
from .cautions import CautionText, cautions_for_visit
from .context import number, signed
from .types import Answers, Interval, Lens, Repeats, Step, Ticks, Verdict

CAUTIONS_KEY = "teach.cautions"
CALL_KEY = "teach.call"
OPEN = Verdict("open", "Not measured yet.")
_ROUNDING = 1e-9
# From here on a length is one that a tape measures, and is said in centimetres.
TAPE_FROM_MM = 100.0


def verdict(step: Step, result: StepResult | None) -> Verdict:
    """ok, check, no or open, with a sentence. Text that cannot be read is "check" and says what is expected."""
    if result is None or not result.measured.strip():
        return OPEN
    try:
        value = step.kind.read(result.measured, step.heading)
    except Refusal as refusal:
        return Verdict("check", f"Cannot be read: {refusal}")
    return judge(step, value)


def verdict_at(step: Step, visit: Visit) -> Verdict:
    """The verdict on the step's own result at a visit, else on the case field that asks the same.

    Cautions are judged by the ticks themselves: a general yes does not stand for one that was not ticked. Those that
    stand from an earlier visit count, as they do for the signature, unless this visit says otherwise.
    """
    if step.key == CAUTIONS_KEY:
        return _cautions(visit, step.accept.earlier if isinstance(step.accept, Ticks) else ())
    own = visit.steps.get(step.key)
    if own is not None and own.measured.strip():
        return verdict(step, own)
    finding = visit.findings.get(step.field) if step.field else None
    if finding is None or finding.problem or finding.status == "carried over" or finding.value is None:
        return OPEN
    judged = judge(step, finding.value)
    return Verdict(judged.state, f"{judged.sentence} (from the record: {finding.typed})")


def _cautions(visit: Visit, earlier: tuple[str, ...]) -> Verdict:
    mandatory = [text for text in cautions_for_visit(visit) if text.mandatory]
    ticked = [text for text in mandatory if _stands(text, visit, earlier)]
    if len(ticked) == len(mandatory):
        before = sum(text.key not in visit.cautions for text in mandatory)
        since = f" {before} of {len(mandatory)} at an earlier visit." if before else ""
        return Verdict("ok", f"All given and understood.{since}")
    missing = ", ".join(text.title.lower() for text in mandatory if text not in ticked)
    said = CAUTIONS_KEY in visit.steps or any(mark.given for mark in visit.cautions.values())
    return Verdict("check" if said else "open", f"Still to be ticked as given and understood: {missing}.")


def _stands(text: CautionText, visit: Visit, earlier: tuple[str, ...]) -> bool:
    mark = visit.cautions.get(text.key)
    return text.key in earlier if mark is None else mark.given and mark.understood


def judge(step: Step, value: Any) -> Verdict:
    """The verdict on a value that was read already."""
    accept = step.accept
    if isinstance(accept, Interval):
        return _interval(step, accept, value)
    if isinstance(accept, Answers):
        return _answer(step, accept, value)
    if isinstance(accept, Repeats):
        return _repeats(accept, value)
    if isinstance(accept, Lens):
        return _lens(accept, value)
    if isinstance(accept, Ticks):
        return _answer(step, Answers((True,)), value)
    return Verdict("ok", "Recorded.")


def _interval(step: Step, accept: Interval, value: Any) -> Verdict:
    measured = value.total_mm if isinstance(value, Pd) else float(value)
    size = abs(measured) if accept.signless else measured
    below = accept.lowest is not None and size < accept.lowest - _ROUNDING
    above = accept.highest is not None and size > accept.highest + _ROUNDING
    off = "" if step.target_value is None else _distance(step, measured)
    if not below and not above:
        return Verdict("ok", f"Within tolerance{off}.")
    outer = accept.outer_lowest if below else accept.outer_highest
    beyond = outer is None or (size < outer - _ROUNDING if below else size > outer + _ROUNDING)
    word = "Too small" if below else "Too large"
    if (
        step.target_value is not None
        and accept.lowest is not None
        and accept.lowest < 0 < (accept.highest or 0)
    ):
        word = "Out of tolerance"
    what = step.remedy_low if below and step.remedy_low else step.remedy
    remedy = f": {what}" if what else ""
    if beyond:
        return Verdict("no", f"{word}{off}{remedy}.")
    return Verdict("check", f"{word}, but tolerable{off}{remedy}.")


def _distance(step: Step, measured: float) -> str:
    difference = measured - (step.target_value or 0.0)
    if step.target.startswith(("at least", "at most")) or abs(difference) < 0.005:
        return ""
    if step.unit == "mm" and abs(step.target_value or 0.0) >= TAPE_FROM_MM:
        return f", {signed(difference / 10.0, 1)} cm from the target" if abs(difference) >= 0.5 else ""
    # No finer than it can be measured; dioptres are written with both places.
    words = signed(difference, 1) if step.unit == "deg" else signed(difference)
    if step.unit != "D":
        words = words.rstrip("0").rstrip(".")
    return f", {words} {step.unit} from the target".replace("  ", " ") if words.strip("+-0.") else ""


def _answer(step: Step, accept: Answers, value: Any) -> Verdict:
    shown = {True: "yes", False: "no"}.get(value, str(value)) if isinstance(value, bool) else str(value)
    if value in accept.good:
        return Verdict("ok", f"{shown[:1].upper()}{shown[1:]}.")
    remedy = f": {step.remedy}" if step.remedy else ""
    return Verdict("check" if value in accept.doubtful else "no", f"{shown[:1].upper()}{shown[1:]}{remedy}.")


def _repeats(accept: Repeats, value: Any) -> Verdict:
    """Measured beside promised: within what repeats, short by more than repeats, or better."""
    if isinstance(value, OffChart):
        return Verdict("no", f"Off the chart ({value}): short by more than repeats.")
    short, unit = _shortfall(accept, value)
    size = f"{number(abs(short), 2)} {unit}"
    # Compared as it is shown: a step of two lines is 0.20 log whichever series of sizes the chart follows.
    if round(abs(short), 2) <= accept.repeats:
        side = "worse" if short > 0 else "better"
        same = abs(short) < 0.005
        return Verdict(
            "ok", "Within what repeats" + (", as promised." if same else f": {size} {side} than promised.")
        )
    if short > 0:
        return Verdict("no", f"Short by more than repeats: {size} worse than promised.")
    return Verdict("ok", f"Better than promised by more than repeats: {size}.")


def _shortfall(accept: Repeats, value: Any) -> tuple[float, str]:
    """How much worse than promised (plus) or better (minus), with its unit."""
    if isinstance(value, Acuity):
        return value.logmar - accept.promised, "log"
    if isinstance(value, NearPrint):
        return log10(value.m_units / accept.promised), "log"
    return 1.0 - float(value) / accept.promised, "of the promised speed"


def _lens(accept: Lens, value: Refraction) -> Verdict:
    wanted = Refraction(accept.sphere_d, accept.cylinder_d, accept.axis_deg)
    sphere, cylinder = residual_after(value, wanted)
    if abs(sphere) <= accept.sphere_within_d + _ROUNDING and cylinder <= accept.cylinder_within_d + _ROUNDING:
        return Verdict("ok", "As ordered within tolerance.")
    words = f"left over: best sphere {signed(sphere)} D, cylinder {number(cylinder, 2)} D"
    tolerable = abs(sphere) <= 2 * accept.sphere_within_d and cylinder <= 2 * accept.cylinder_within_d
    return Verdict("check" if tolerable else "no", f"Not as ordered; {words}.")
