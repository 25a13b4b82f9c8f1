"""The grade, the sentence and the decision of an outcome, from its numbers."""

from __future__ import annotations

from ..goals import Demand
from ..stock import Telescope
from .context import Context
from .types import Decision, DeviceNumbers, Grade

MEETS_CHANCE = 0.5


NEARLY_CHANCE = 0.2


CLEAR_MARGIN = 1e-9


# Fluent reading goes on with half of the characters wanted, a picture with a quarter of its width (common practice).
CHARACTERS_SHARE = 0.5


WIDTH_SHARE = 0.25


TREMOR_POWER = {"marked": 2.0, "slight": 3.5}


# An ordinary add up to here is worn without a thought (common practice).
ADD_ENOUGH_D = 4.0


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


def sentence_of(
    demand: Demand, chosen: dict, grade: Grade, vergence: int, share: float, share_wanted: float
) -> str:
    chance = round(100 * chosen["probability"])
    if vergence == 2:
        return (
            f"{demand.name}: two eyes would have to converge by {chosen['convergence_prism'] or 0:.0f} prism dioptres "
            "through these tubes, beyond their reserve; use one eye, base-in caps or converged tubes."
        )
    if demand.by_print:
        what = (
            f"prints as small as {chosen['print_read_m_units']:.2g}M at threshold, "
            f"EVD {chosen['evd_mm']:.0f} of {chosen['required_evd_mm']:.0f} mm wanted"
        )
    else:
        what = f"about 20/{chosen['predicted_snellen_denominator']:.0f} expected"
    words = f"{demand.name}: {grade}, {what}, chance {chance} %"
    if not chosen["clear"]:
        words += f", {chosen['defocus_d']:.2f} D out of focus there"
    if share < share_wanted:
        words += f", only {100 * share:.0f} % of the wanted width in view"
    if vergence == 1:
        words += ", convergence beyond half of the reserve"
    return words + "."


def decide(
    context: Context, telescope: Telescope, device: DeviceNumbers, demand: Demand, chosen: dict, grade: Grade
) -> Decision:
    chance = chosen["probability"]
    lead = device.leading
    if grade == "cannot":
        return Decision("refuse", "The two eyes cannot join the images of these tubes for this goal.")
    if demand.by_print and (
        chosen["power_margin_log"] < 0.0 or (demand.kind == "near" and not demand.hands_free)
    ):
        if chosen["power_margin_log"] < 0.0:
            return Decision(
                "prefer-alternative",
                "The telescope falls short of the power wanted; a high add or a magnifier reaches it and shows more "
                "characters. Keep the telescope only if their short working distance is refused.",
            )
        return Decision(
            "prefer-alternative",
            "A high add or a magnifier of the same power shows several times more characters, and the hands need not "
            "be free. Keep the telescope only if its working distance is the point.",
        )
    if grade == "misses":
        return Decision(
            "prefer-alternative",
            f"A chance of {100 * chance:.0f} % is too small: another power, another way or another goal.",
        )
    if chance < MEETS_CHANCE:
        return Decision(
            "trial",
            f"The chance of meeting the goal is {100 * chance:.0f} %, under one half: show the number and try "
            "before ordering.",
        )
    if lead.exit_pupil_diameter_mm < lead.dim_pupil_mm:
        erect = ", image erect by prism" if telescope.type == "keplerian" else ""
        return Decision(
            "trial",
            f"The exit pupil of {lead.exit_pupil_diameter_mm:.1f} mm is smaller than the pupil in dim light"
            f"{erect}: try it in the light of the task.",
        )
    limit = TREMOR_POWER.get(context.person.head_tremor)
    if limit is not None and abs(chosen["magnification"]) > limit:
        return Decision("trial", "The head trembles and this power multiplies it: try it at the task first.")
    if not chosen["clear"]:
        return Decision("trial", "The goal's distance is not quite clear: try it there.")
    if grade == "nearly":
        return Decision("trial", "It comes close; try it at the task before ordering.")
    if chosen["contrast_reserve"] < context.figures.contrast_reserve_caution:
        return Decision("trial", "The contrast reserve is small: try it at the task, with better light.")
    return Decision("proceed", _proceed(context, device, demand, chosen))


def _without(demand: Demand, chosen: dict) -> str:
    """Why no telescope is needed at all, "" when one is."""
    if demand.by_print and demand.kind == "near" and chosen["required_evp_d"] <= ADD_ENOUGH_D:
        return (
            f"An add of {max(chosen['required_evp_d'], 0.25):.2f} D does it: no telescope is needed for this."
        )
    if not demand.by_print and chosen["required_magnification"] <= 1.0:
        return "This acuity does it without magnification: check the correction and the light."
    return ""


def _proceed(context: Context, device: DeviceNumbers, demand: Demand, chosen: dict) -> str:
    parts = [f"chance {100 * chosen['probability']:.0f} %"]
    if device.pair is not None:
        parts.append("acuities alike and fusion shown")
    parts.append(
        "clear with sustained accommodation" if chosen["accommodation_used_d"] > 0 else "clear at the task"
    )
    return f"It should do for {demand.name}: " + ", ".join(parts) + "."
