"""Referral prompts and the cautions about a recommendation: what must be shown beside the plan, by key.

The cautions that a person is given with a device are kept with the fitting; these are about the numbers and the choice.
Nothing here states who may drive.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from .. import cautions
from ..case import Case
from ..configuration import Configuration
from ..goals import Demand
from ..optics.blur import blur_law_holds
from ..optics.telescope import objective_focal_length_mm, objective_is_fast
from .context import Context
from .doubts import record_doubts
from .formulas import defocus_with_cylinder_d
from .types import Decision, Option, Outcome, PlanCaution, Referral
from .verdict import MEETS_CHANCE

EXAM_DAYS = 366
SMALL_FIELD_DEG = 5.0
# A central scotoma under this allowed fluent reading (WLK93).
SCOTOMA_FOR_READING_DEG = 22.0
STRONG_POWER = 3.0
SHORT_MM = 100.0

_WARNINGS = {
    "sudden_loss": ("sudden loss of sight", "is"),
    "new_distortion": ("new distortion of lines", "is"),
    "flashes_or_floaters": ("new flashes or floaters", "are"),
    "eye_pain": ("eye pain", "is"),
    "field_loss_new": ("new loss of side vision", "is"),
}

DRIVING = PlanCaution("driving", cautions.DRIVING, True)
_ALWAYS = (
    PlanCaution("sun", cautions.SUN, True),
    PlanCaution("moving", cautions.MOVING, True),
    DRIVING,
    PlanCaution(
        "model",
        "Thin-lens optics: aberrations, prism paths and housing edges are outside the model. A prediction is not a "
        "measurement: try the task itself.",
        True,
    ),
    PlanCaution("judgement", cautions.JUDGEMENT, True),
)


def last_exam_of(case: Case) -> date | None:
    """The last medical eye examination on record at any visit: a date does not age as a measurement does."""
    days = [visit.value("history.last_eye_exam") for visit in case.visits]
    return max((day for day in days if day is not None), default=None)


def referrals_of(context: Context, visit_date: date, last_exam: date | None) -> tuple[Referral, ...]:
    """Prompts to refer, most urgent first."""
    person = context.person
    found = [
        Referral(
            key,
            "same day",
            f"{name[:1].upper()}{name[1:]} {verb} on record: same-day eye care before any device.",
        )
        for key, (name, verb) in ((key, _WARNINGS[key]) for key in person.warnings if key in _WARNINGS)
    ]
    if person.stability == "recently changed":
        found.append(
            Referral(
                "changed",
                "soon",
                "Sight changed recently: a medical eye examination first, and measure again.",
            )
        )
    if last_exam is None:
        found.append(
            Referral(
                "last_exam",
                "soon",
                "No date of a medical eye examination is on record; within a year is wanted.",
            )
        )
    elif (visit_date - last_exam).days > EXAM_DAYS:
        found.append(
            Referral(
                "last_exam",
                "soon",
                f"The last eye examination was on {last_exam.isoformat()}, over a year ago.",
            )
        )
    return tuple(found)


def held_back(decision: Decision, referrals: Sequence[Referral]) -> Decision:
    """The decision, put off where an eye has to be seen the same day: what the plan says is for afterwards."""
    signs = [_WARNINGS[referral.key][0] for referral in referrals if referral.urgency == "same day"]
    if not signs:
        return decision
    return Decision(
        "refuse",
        f"Same-day eye care first ({', '.join(signs)}): no device is ordered before the eye has been seen. For "
        f"afterwards: {decision.sentence}",
    )


def cautions_for(
    context: Context, option: Option | None, demands: Sequence[Demand], assumed: int = 0
) -> tuple[PlanCaution, ...]:
    """The cautions that go with a plan and its first option, with how many inputs it leans on without a measurement."""
    found = list(_ALWAYS)
    if option is not None:
        found.extend(device_cautions(context, option, demands))
    if assumed:
        inputs = "1 input is" if assumed == 1 else f"{assumed} inputs are"
        found.append(PlanCaution("assumed", f"{inputs} assumed, not measured.", False))
    doubts = record_doubts(context)
    if doubts:
        found.append(PlanCaution("record", f"Check the record: {'; '.join(doubts)}.", True))
    if any(demand.posture == "walking" for demand in demands):
        found.append(
            PlanCaution("walking", "A goal is set while walking: stop, spot, look away, then walk on.", True)
        )
    return tuple(found)


def device_cautions(context: Context, option: Option, demands: Sequence[Demand]) -> tuple[PlanCaution, ...]:
    """What to be careful about with one option."""
    found: list[PlanCaution] = []
    person, lead = context.person, option.device.leading
    configuration: Configuration = option.configuration
    power = abs(lead.magnification)
    if power >= STRONG_POWER and person.head_tremor in ("slight", "marked"):
        found.append(
            PlanCaution(
                "tremor", f"Head tremor is multiplied {power:.1f} times: try it seated and braced.", True
            )
        )
    if lead.field.real_field_deg < SMALL_FIELD_DEG:
        words = f"A field of {lead.field.real_field_deg:.1f} degrees makes finding things hard: train without it first."
        found.append(PlanCaution("small_field", words, False))
    scotoma = context.eye(lead.side).scotoma_deg
    if scotoma is not None and scotoma >= SCOTOMA_FOR_READING_DEG and any(d.by_print for d in demands):
        words = (
            f"A central scotoma of {scotoma:g} degrees: fluent reading was found only under "
            f"{SCOTOMA_FOR_READING_DEG:g}. Expect spot reading, and try print at the task."
        )
        found.append(PlanCaution("scotoma", words, True))
    if configuration.position == "bioptic" and person.neck in ("stiff", "painful"):
        found.append(
            PlanCaution("neck", f"The neck is {person.neck} and the head must drop each time.", False)
        )
    if configuration.position == "full diameter":
        found.append(PlanCaution("seated", cautions.SEATED, True))
    if person.falls in ("one", "several"):
        found.append(PlanCaution("falls", cautions.FALLS, True))
    if option.device.cap is not None and option.device.cap.working_distance_mm < SHORT_MM:
        found.append(
            PlanCaution(
                "short",
                "The working distance is under 100 mm: confirm that light and hands fit under it.",
                False,
            )
        )
    if any(
        (outcome.probability or 0.0) < MEETS_CHANCE
        for outcome in option.outcomes
        if outcome.needed and outcome.probability is not None
    ):
        found.append(PlanCaution("chance", "For at least one goal the chance is under one half.", True))
    reserves = [o.contrast_reserve for o in option.outcomes if o.contrast_reserve is not None]
    if reserves and min(reserves) < context.figures.contrast_reserve_caution:
        found.append(
            PlanCaution(
                "contrast",
                "The contrast reserve is under 4 for a goal: light and contrast before power.",
                True,
            )
        )
    found.extend(_beyond_the_model(context, option, demands))
    return tuple(found)


def _beyond_the_model(context: Context, option: Option, demands: Sequence[Demand]) -> list[PlanCaution]:
    """Where a figure leans on a law outside the range it was stated for, or on normal eyes."""
    found: list[PlanCaution] = []
    for demand, outcome in zip(demands, option.outcomes, strict=True):
        words = _blur_beyond(context, option, demand, outcome)
        if words:
            found.append(PlanCaution("blur", words, False))
            break
    telescope = option.telescope
    signed, length, size = (
        telescope.signed_magnification,
        telescope.tube_length_mm,
        telescope.objective_diameter_mm,
    )
    if objective_is_fast(signed, length, size):
        words = (
            f"An objective {size:g} mm wide is over 1.1 times its focal length of "
            f"{objective_focal_length_mm(signed, length):.0f} mm, too fast for first-order figures: check what the "
            "stock says, and measure power and field."
        )
        found.append(PlanCaution("fast_objective", words, False))
    if option.configuration.eye == "both":
        wanted = {
            "base_out_near" if demand.kind == "near" else "base_out_distance"
            for demand, outcome in zip(demands, option.outcomes, strict=True)
            if outcome.needed and outcome.grade != "cannot"
        }
        if wanted - set(context.person.reserves):
            words = (
                "The base-out reserve is not measured: that of normal eyes is taken, which is an upper bound. Measure "
                "it through the two tubes before they are ordered."
            )
            found.append(PlanCaution("reserve", words, True))
    return found


def _blur_beyond(context: Context, option: Option, demand: Demand, outcome: Outcome) -> str:
    """That the law of blur is stretched for this goal, "" when it is not."""
    if outcome.probability is None or not outcome.needed:
        return ""
    lead = option.device.leading
    pupil = lead.dim_pupil_mm if demand.light == "dim" else lead.pupil_mm
    blur = defocus_with_cylinder_d(outcome.defocus_d, lead.residual_cylinder_d)
    if blur_law_holds(pupil, blur):
        return ""
    return (
        f"{demand.name}: the law of blur was stated for pupils of 1.5 to 7 mm and up to 6 D out of focus, here it is "
        f"{pupil:.1f} mm and {blur:.1f} D: loss by blur and depth of focus are guesses. Try it at the task."
    )
