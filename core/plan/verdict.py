"""The grade, the sentence and the decision of an outcome, from its numbers. Every sentence is fit for a chart note."""

from __future__ import annotations

from collections.abc import Sequence

from ..acuity import Acuity, format_acuity
from ..cautions import AT_REST
from ..configuration import Configuration
from ..goals import Demand
from ..optics.alignment import sheard_limit_prism
from ..person import Person
from ..stock import Telescope
from .asked import enlarged_on_screen, hands_reach, served_otherwise
from .context import Context
from .ranking import steady_power
from .tube_field import real_from_apparent_field_deg
from .types import Decision, DeviceNumbers, EyeNumbers, Grade, Outcome, leading_outcome, served_outcome
from .words import defocus_words

# One half as it is shown, in whole per cent: power that is just enough, less a trace of light, is still a coin toss.
MEETS_CHANCE = 0.495
NEARLY_CHANCE = 0.2
CLEAR_MARGIN = 1e-9
# A quarter of a chart line.
NEAR_ENOUGH_LOG = 0.025
# A letter that fell so far below the chart is not seen: more loss says no more.
MOST_LOSS_LOGMAR = 3.0
# Fluent reading goes on with half of the characters wanted, a picture with a quarter of its width (common practice).
CHARACTERS_SHARE = 0.5
WIDTH_SHARE = 0.25
# A seeing field that takes in so much of what the tube shows hides nothing that would be missed (common practice).
TAKEN_IN_ENOUGH = 0.8

_GRADE_WORDS = {"meets": "met", "nearly": "nearly met", "misses": "not met"}
# Of driving no word of ours says that it is met.
_SEEN_WORDS = {
    "meets": "its detail is seen",
    "nearly": "its detail is nearly seen",
    "misses": "its detail is not seen",
}


def grade_of(chance: float, blur: float, vergence: int, share: float, share_wanted: float) -> Grade:
    """The grade from the chance, the defocus over the tolerated one, the vergence and the share of the field wanted.

    ``vergence`` is 0 when one eye looks or the reserve is enough, 1 beyond half of the reserve, 2 beyond the whole.
    """
    if vergence == 2:
        return "cannot"
    if chance >= MEETS_CHANCE and blur <= 1.0 + CLEAR_MARGIN and vergence == 0 and share >= share_wanted:
        return "meets"
    if chance >= NEARLY_CHANCE and blur <= 2.0:
        return "nearly"
    return "misses"


def share_of(chosen: dict, demand: Demand) -> tuple[float, float]:
    """Share of the wanted field that is seen at once, and the share that is enough."""
    if demand.by_print and demand.characters and chosen.get("characters_in_field") is not None:
        return chosen["characters_in_field"] / demand.characters, CHARACTERS_SHARE
    if demand.width_mm and chosen.get("linear_field_mm") is not None:
        return (chosen.get("linear_union_mm") or chosen["linear_field_mm"]) / demand.width_mm, WIDTH_SHARE
    return 1.0, 0.0


def acuity_words(context: Context, logmar: float) -> str:
    """An acuity in the clinic's notation."""
    return format_acuity(Acuity(max(-0.3, min(3.0, logmar))), context.figures.acuity_notation)


def sentence_of(
    context: Context,
    demand: Demand,
    chosen: dict,
    grade: Grade,
    vergence: int,
    share: float,
    share_wanted: float,
) -> str:
    """What is expected of the goal, against what is wanted, and what stands in the way."""
    if vergence == 2:
        return _cannot_converge(demand, chosen)
    if demand.by_print:
        what = (
            f"an equivalent viewing distance of {chosen['evd_mm']:.0f} mm where {chosen['required_evd_mm']:.0f} mm "
            f"or less is wanted, threshold print about {chosen['print_read_m_units']:.2g}M"
        )
    else:
        now, wanted = (
            acuity_words(context, chosen[key]) for key in ("predicted_logmar_with_losses", "goal_logmar")
        )
        what = f"about {now} expected where {wanted} is wanted"
    graded = (_SEEN_WORDS if demand.at_the_wheel else _GRADE_WORDS)[grade]
    words = f"{demand.name}: {graded}, {what}, chance {percent(chosen['probability'])}"
    hindrances = hindrances_of(chosen, vergence, share, share_wanted)
    words = f"{words}; {', '.join(hindrances)}." if hindrances else f"{words}."
    return f"{words} {AT_REST}" if demand.at_the_wheel else words


def percent(chance: float) -> str:
    """A chance in whole per cent; never 0 or 100, which no prediction is."""
    value = round(100.0 * chance)
    return "under 1 %" if value < 1 else "over 99 %" if value > 99 else f"{value} %"


def percent_brief(chance: float) -> str:
    """The same for a narrow column: ``80%``, ``>99%``."""
    return percent(chance).replace("under ", "<").replace("over ", ">").replace(" ", "")


def hindrances_of(chosen: dict, vergence: int, share: float, share_wanted: float) -> list[str]:
    """What keeps the goal from being met beside its chance, in words."""
    found = []
    if not chosen["clear"]:
        found.append(
            f"{defocus_words(chosen['defocus_d'])} out of focus there where {chosen['tolerance_d']:.2f} D is tolerated"
        )
    if share < share_wanted:
        found.append(f"only {100 * share:.0f} % of the wanted width in view at once")
    if vergence == 1:
        found.append("convergence beyond half of the reserve")
    upright, reserve = chosen.get("vertical_prism"), chosen.get("vertical_reserve_prism")
    if upright is not None and reserve is not None and upright > sheard_limit_prism(reserve):
        found.append(
            f"{upright:.1f} prism dioptres of vertical demand by the unequal heights of the pupils, beyond half of the "
            f"reserve of {reserve:.1f}"
        )
    return found


def _cannot_converge(demand: Demand, chosen: dict) -> str:
    through, reserve = chosen["convergence_prism"], chosen["vergence_reserve_prism"]
    if through is None:
        return f"{demand.name}: cannot be fused, the light of these two tubes crosses before the eyes. Fit one eye."
    return (
        f"{demand.name}: cannot be fused, these two tubes ask for {abs(through):.0f} prism dioptres of convergence and "
        f"the reserve is {reserve:.0f}. Fit one eye, base-in caps, or tubes turned in for that distance."
    )


def decision_of(outcomes: Sequence[Outcome]) -> Decision:
    """The decision for an option: that for the goal which it is for; a leading goal that it does not serve is named."""
    leading, served = leading_outcome(outcomes), served_outcome(outcomes)
    if leading is None or served is None:
        return Decision("trial", "No goal is recorded yet.")
    if served is leading:
        return leading.decision
    return Decision(served.decision.word, f"{served.decision.sentence} Not served: {leading.sentence}")


def decide(
    context: Context, telescope: Telescope, configuration: Configuration, device: DeviceNumbers, demand: Demand,
    chosen: dict, grade: Grade, hindrances: Sequence[str],
) -> Decision:  # fmt: skip
    """What to do about one goal that asks for a telescope with one option, in a word and a sentence."""
    if grade == "cannot":
        return Decision("refuse", _cannot_converge(demand, chosen))
    other = _other_way(context, demand, chosen, grade, hindrances)
    if other:
        return Decision("prefer-alternative", other)
    trial = _trial(context, telescope, device, demand, chosen, grade, hindrances)
    on_foot = _on_foot(configuration, demand)
    if on_foot and not trial:
        trial = f"{demand.name}: a chance of {percent(chosen['probability'])}."
    trial = f"{trial} {on_foot}".rstrip()
    if demand.at_the_wheel:
        trial = trial or f"{demand.name}: a chance of {percent(chosen['probability'])}."
        return Decision("trial", f"{trial} {AT_REST}")
    if trial:
        return Decision("trial", trial)
    return Decision("proceed", _proceed(context, device, demand, chosen))


def _other_way(
    context: Context, demand: Demand, chosen: dict, grade: Grade, hindrances: Sequence[str]
) -> str:
    """Why another way is to be preferred, "" when none is."""
    wanted = context.figures.contrast_reserve_warn
    if (chosen.get("required_magnification") or 2.0) <= 1.0 and chosen["contrast_reserve"] < wanted:
        return (
            f"{demand.name}: large enough without magnification, but faint, with a contrast reserve of "
            f"{chosen['contrast_reserve']:.1f} where {wanted:g} is wanted. More light, more contrast or a step nearer "
            "first: a telescope adds size alone."
        )
    times = enlarged_on_screen(context, demand)
    if times is not None:
        return (
            f"{demand.name}: type {times:.1f} times as large on the screen does it at {demand.distance_mm / 10:.0f} cm "
            "without any device. A telescope only where the type cannot be made larger."
        )
    if demand.by_print and chosen["power_margin_log"] < 0.0 and grade != "meets":
        short = (
            f"{demand.name}: the telescope gives {chosen['equivalent_power_d']:.1f} D of the "
            f"{chosen['required_evp_d']:.1f} D wanted"
        )
        if not hands_reach(context.person, chosen["required_evd_mm"]):
            # An add is no way then, so what comes as near as no repeated reading can tell is tried like any other.
            if chosen["power_margin_log"] >= -NEAR_ENOUGH_LOG:
                return ""
            return (
                f"{short}, and an add of that power works at {chosen['required_evd_mm']:.0f} mm, nearer than the "
                f"{context.person.reach_mm:g} mm at which the hands work: a stronger tube or cap, a screen, or larger "
                "print."
            )
        return (
            f"{short}. A high add, a magnifier or a screen reaches it and shows more characters; keep the telescope "
            "only if their short working distance is refused."
        )
    if served_otherwise(context, demand):
        return (
            f"{demand.name}: a high add or a magnifier of the same power shows several times more characters, and free "
            f"hands are not asked for. Keep the telescope only if its {chosen['object_distance_mm']:.0f} mm of room "
            "is the point."
        )
    if grade != "misses":
        return ""
    if chosen["probability"] < NEARLY_CHANCE:
        wanted = chosen.get("required_magnification")
        power = abs(chosen["magnification"])
        why = ""
        if wanted and power < wanted:
            why = f", {wanted:.1f} times is wanted and this tube has {power:.1f}"
        elif chosen["losses"]:
            most = max(chosen["losses"], key=lambda loss: loss.logmar)
            why = f", {most.sentence}"
        return (
            f"{demand.name}: a chance of {percent(chosen['probability'])} is too small{why}; look at another power, "
            "another way or a nearer goal."
        )
    return f"{demand.name}: not met, {', '.join(hindrances)}; look at a cap, another focus or another way."


def field_taken_in_deg(context: Context, device: DeviceNumbers) -> float | None:
    """What a narrow seeing field takes in of the true field at once, degrees; None where that is nearly all of it."""
    lead = device.leading
    seeing = context.eye(lead.side).visual_field_deg
    if seeing is None or not 0.0 <= seeing < lead.field.apparent_field_deg:
        return None
    taken_in = real_from_apparent_field_deg(seeing, lead.magnification)
    return None if taken_in >= TAKEN_IN_ENOUGH * lead.field.real_field_deg else taken_in


def _on_foot(configuration: Configuration, demand: Demand) -> str:
    """What speaks against a tube straight ahead for a goal that is met on one's feet, "" for other ways."""
    straight = configuration.position == "full diameter" and configuration.mount != "flip-up"
    if not straight or (demand.posture == "seated" and not demand.at_the_wheel):
        return ""
    how = "on the way" if demand.at_the_wheel else demand.posture
    return (
        f"It is wanted {how}, and a tube straight ahead is for use seated: one high in the lens, or turned up between "
        "looks, would do."
    )


# A difference that no pupil gauge shows darkens nothing that is seen (common practice).
DARKER_FROM_MM = 0.1


def darkens(eye: EyeNumbers) -> bool:
    """Whether the exit pupil is smaller than this eye's pupil in dim light, by more than can be measured."""
    return eye.exit_pupil_diameter_mm < eye.dim_pupil_mm - DARKER_FROM_MM


# A reserve under this is small (common practice): half of it is used up by a tilt that no frame keeps from.
SMALL_RESERVE_PRISM = 3.0


def small_reserves(person: Person) -> list[str]:
    """The measured reserves at distance that are small, each in words."""
    found = []
    for name, words in (("base_in_distance", "base-in"), ("base_out_distance", "base-out")):
        reserve = person.reserves.get(name)
        if reserve is not None and reserve.first_sign_prism < SMALL_RESERVE_PRISM:
            found.append(f"a small {words} reserve at distance ({reserve.first_sign_prism:g} prism dioptres)")
    return found


def fusion_doubt(person: Person) -> str:
    """What makes it doubtful that two tubes stay fused though fusion was shown, "" for nothing."""
    found = ["double vision is there sometimes"] if person.double_vision == "sometimes" else []
    return " and ".join((*found, *(f"there is {words}" for words in small_reserves(person))))


def _trial(
    context: Context, telescope: Telescope, device: DeviceNumbers, demand: Demand, chosen: dict, grade: Grade,
    hindrances: Sequence[str],
) -> str:  # fmt: skip
    """Why it has to be tried before it is ordered, "" when nothing speaks against ordering."""
    chance, lead = chosen["probability"], device.leading
    scotoma = context.eye(lead.side).scotoma_deg
    if scotoma is not None and scotoma >= lead.field.apparent_field_deg:
        return (
            f"{demand.name}: a chance of {percent(chance)} for an eye that looks past its scotoma; of {scotoma:g} "
            f"degrees, it is as wide as the apparent field of {lead.field.apparent_field_deg:.0f}, so straight through "
            "it nothing is seen. Try it at the task with the usual direction of gaze."
        )
    taken_in = field_taken_in_deg(context, device)
    if taken_in is not None and grade == "meets":
        return (
            f"{demand.name}: a chance of {percent(chance)} by acuity, but the seeing field takes in only "
            f"{taken_in:.1f} of the {lead.field.real_field_deg:.1f} degrees that the tube shows. Try at the task "
            "whether things are found with it; a weaker tube may do better."
        )
    if chance < MEETS_CHANCE:
        return (
            f"{demand.name}: the chance of meeting the goal is {percent(chance)}, under one half. Show the number and "
            "try it at the task before ordering."
        )
    if hindrances:
        return f"{demand.name}: {', '.join(hindrances)}. Try it at the task before ordering."
    unknown = [eye.side for eye in device.eyes if f"{eye.side}.refraction" in context.person.assumed]
    if unknown:
        which = "both eyes" if len(unknown) == 2 else f"the {unknown[0]} eye"
        return (
            f"{demand.name}: a chance of {percent(chance)}, if {which} needed no lens: the refraction is not recorded. "
            "Measure it before ordering."
        )
    if chosen["contrast_reserve"] < context.figures.contrast_reserve_caution:
        return (
            f"{demand.name}: a chance of {percent(chance)}, but the contrast reserve is only "
            f"{chosen['contrast_reserve']:.1f} to 1. Try it at the task, with more light first."
        )
    if device.pair is not None and (doubt := fusion_doubt(context.person)):
        return (
            f"{demand.name}: a chance of {percent(chance)}, but {doubt}. Try the two tubes together at the task before "
            "ordering."
        )
    if darkens(lead):
        erect = " The image is erected by a prism." if telescope.type == "keplerian" else ""
        return (
            f"{demand.name}: a chance of {percent(chance)}, but the exit pupil of "
            f"{lead.exit_pupil_diameter_mm:.1f} mm is smaller than the pupil of {lead.dim_pupil_mm:.1f} mm in dim "
            f"light. Try it in the light of the task.{erect}"
        )
    if abs(chosen["magnification"]) > steady_power(context.person):
        return f"{demand.name}: the head trembles and this power multiplies it. Try it seated and braced at the task."
    if grade == "nearly":
        return f"{demand.name}: nearly met. Try it at the task before ordering."
    return ""


def _proceed(context: Context, device: DeviceNumbers, demand: Demand, chosen: dict) -> str:
    parts = [f"chance {percent(chosen['probability'])}"]
    if device.pair is not None:
        gap = device.pair.interocular_difference_logmar
        alike = gap is not None and gap <= context.figures.interocular_rule_logmar
        parts.append("acuities alike and fusion shown" if alike else "fusion shown")
    parts.append(
        "clear with sustained accommodation" if chosen["accommodation_used_d"] > 0 else "clear at the task"
    )
    return f"{demand.name}: expected to be met, {', '.join(parts)}."
