"""What in the record does not go together: figures that cannot all be true, said so that they are measured again.

Nothing is changed by it: the plan goes on with what is recorded, as far as that goes.
"""

from __future__ import annotations

from collections.abc import Iterator

from ..person import Person
from .context import Context, EyeIn

# Two eyes see up to 0.07 log more than one (YU23), with latent nystagmus up to three lines (common practice).
BOTH_GAIN_LOGMAR = 0.3
# More than letters repeat from one day to the next in eyes with low vision (KISER05): one eye spoils the other's view.
BOTH_LOSS_LOGMAR = 0.2
# Near words and distance letters of the same person lie within this of each other as a rule (common practice).
NEAR_APART_LOGMAR = 0.5


def record_doubts(context: Context) -> tuple[str, ...]:
    """Each contradiction of the record in a clause that begins small and has no end."""
    person = context.person
    return (*_of_acuity(context), *_of_two_eyes(person), *_of_fields(person), *_of_face(context))


def spoils_the_other(context: Context) -> bool:
    """Whether both eyes together see clearly less than the better one alone."""
    best = _best_logmar(context)
    return (
        best is not None and context.both_logmar is not None and context.both_logmar - best > BOTH_LOSS_LOGMAR
    )


def _best_logmar(context: Context) -> float | None:
    found = [eye.logmar for eye in (context.right, context.left) if eye.logmar is not None]
    return min(found, default=None)


def _of_acuity(context: Context) -> Iterator[str]:
    best, both = _best_logmar(context), context.both_logmar
    if best is not None and both is not None and best - both > BOTH_GAIN_LOGMAR:
        yield (
            f"both eyes together are recorded {best - both:.2f} log better than the better one, more than two eyes "
            "gain; measure again"
        )
    if spoils_the_other(context) and best is not None and both is not None:
        yield (
            f"both eyes together are recorded {both - best:.2f} log worse than the better one alone: does the other "
            "eye disturb it?"
        )
    for eye in (context.right, context.left):
        yield from _of_print(context, eye)
    age = context.person.age_years
    if age is not None and age < 0:
        yield "the year of birth lies after the visit"


def _of_print(context: Context, eye: EyeIn) -> Iterator[str]:
    recorded = context.person.eye(eye.side)
    if recorded.off_chart is not None and recorded.near is not None:
        yield f"the {eye.side} eye is off the chart and yet reads print"
    if eye.near_from or eye.logmar is None or eye.near_logmar is None:
        return
    apart = eye.near_logmar - eye.logmar
    if abs(apart) > NEAR_APART_LOGMAR:
        yield (
            f"the {eye.side} eye reads print {abs(apart):.2f} log {'worse' if apart > 0.0 else 'better'} than its "
            "letters at distance; check distance, add and refraction"
        )


def _of_two_eyes(person: Person) -> Iterator[str]:
    blind = [eye.side for eye in (person.right, person.left) if eye.off_chart is not None]
    if person.fusion and blind:
        yield f"fusion is recorded as shown, and the {blind[0]} eye is off the chart"
    if person.fusion and person.suppression in ("right", "left", "alternating"):
        yield f"fusion is recorded as shown, and suppression too ({person.suppression})"
    if person.fusion and person.double_vision == "always":
        yield "fusion is recorded as shown, and double vision all the time too"
    if person.dominance in blind:
        yield f"the {person.dominance} eye is recorded as dominant and is off the chart"


def _of_fields(person: Person) -> Iterator[str]:
    for eye in (person.right, person.left):
        seeing, scotoma = eye.visual_field_deg, eye.scotoma_deg
        if seeing == 0.0 and eye.logmar is not None:
            yield f"the {eye.side} eye reads letters with a field of 0 degrees"
        elif seeing is not None and scotoma is not None and scotoma > seeing:
            yield f"the scotoma of the {eye.side} eye is wider ({scotoma:g}) than its field ({seeing:g} degrees)"


def _of_face(context: Context) -> Iterator[str]:
    person = context.person
    for eye in (context.right, context.left):
        height = eye.pupil_height_mm
        if eye.pupil_height_known and "face.b_size" not in person.assumed and height >= person.b_size_mm:
            yield f"the {eye.side} pupil stands {height:g} mm up in a frame of {person.b_size_mm:g} mm"
        segment = person.segment_height_mm
        if segment is not None and eye.pupil_height_known and segment > height:
            yield f"the segment ({segment:g} mm) stands above the {eye.side} pupil ({height:g} mm)"
