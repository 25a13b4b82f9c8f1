"""The result types of the plan: what a screen, a document or a fitting sheet reads, and nothing that computes.

What a configuration is apart from a goal stands in :mod:`.types_device` and is found here as well.

Every number carries its unit in its name; ``None`` means that the quantity does not apply or that an input is missing,
never a failed computation. Signed magnification: positive Galilean, negative Keplerian. Vergence: a diverging beam is
negative. Distances in front of the objective (of the cap where one is on) are positive millimetres.

``Plan.options``, ``Plan.refused`` and ``Plan.coverage.rows`` are sequences that expand a row when it is asked for, so
that a plan of thousands of configurations stays small: index or slice them, do not copy them whole without need.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal, NamedTuple

from ..configuration import Configuration, EyeChoice
from ..goals import Demand
from ..person import Person
from ..stock import Cap, Filter, Telescope
from .types_device import (  # noqa: F401  (found here as well)
    Basis,
    CapNumbers,
    DeviceNumbers,
    EyeNumbers,
    FieldBasis,
    FieldNumbers,
    MountNumbers,
    PairNumbers,
    Side,
)

Grade = Literal["meets", "nearly", "misses", "cannot"]
GRADES: tuple[Grade, ...] = ("meets", "nearly", "misses", "cannot")
DecisionWord = Literal["proceed", "trial", "prefer-alternative", "refuse"]
Urgency = Literal["same day", "soon"]


class Decision(NamedTuple):
    """What the plan says to do, in one word and one sentence."""

    word: DecisionWord
    sentence: str


class Loss(NamedTuple):
    """One loss of acuity: name (``blur``, ``cylinder``, ``light``, ``motion``), log units, and a sentence."""

    name: str
    logmar: float
    sentence: str


class Outcome(NamedTuple):
    """What one configuration does for one goal of this person.

    ``predicted_logmar`` is first order (no loss); ``predicted_logmar_with_blur`` adds the blur at the goal's distance;
    ``predicted_logmar_with_losses`` adds all ``losses``, and ``probability`` is the chance from it at ``cr95_logmar``.
    ``probability_cr95_0_20`` and ``_0_30`` are the first-order chances at both published repeatabilities. For print,
    ``power_margin_log`` is log10 of the equivalent power over the required one, and the probability is that of the
    margin less the losses. The object is taken to be at ``object_distance_mm``. ``cap_on`` says whether the cap is on
    for this goal: caps come off for goals that are clear without them. ``unrefocused_exit_vergence_d`` is what a
    focusable tube would give at that distance if it stayed set for infinity. ``vergence_state`` is 0 when one eye looks
    or the eyes stay within half of their reserve, 1 within it, 2 beyond it. ``vertical_prism`` is what pupils of
    unequal height ask beyond ordinary looking; None for one eye, and where the heights are not measured or alike.
    ``needed`` is False for a goal that the person reaches without any telescope: grade and numbers are then what the
    tube would do, and count for nothing. ``better_otherwise`` marks print that a high add or a magnifier serves better.
    """

    goal_index: int
    goal: str
    grade: Grade
    sentence: str
    decision: Decision
    eye: EyeChoice
    cap_on: bool
    object_distance_mm: float
    magnification: float
    tube_length_mm: float
    goal_logmar: float | None = None
    required_magnification: float | None = None
    predicted_logmar: float | None = None
    predicted_snellen_denominator: float | None = None
    nearest_r10_line: float | None = None
    blur_loss_logmar: float = 0.0
    predicted_logmar_with_blur: float | None = None
    losses: tuple[Loss, ...] = ()
    loss_logmar: float = 0.0
    predicted_logmar_with_losses: float | None = None
    probability: float | None = None
    cr95_logmar: float = 0.2
    probability_cr95_0_20: float | None = None
    probability_cr95_0_30: float | None = None
    exit_vergence_d: float | None = None
    unrefocused_exit_vergence_d: float | None = None
    tolerance_d: float | None = None
    accommodation_used_d: float = 0.0
    defocus_d: float = 0.0
    clear: bool = False
    clear_from_mm: float | None = None
    clear_to_mm: float | None = None
    linear_field_mm: float | None = None
    linear_union_mm: float | None = None
    width_wanted_mm: float | None = None
    characters_in_field: float | None = None
    characters_wanted: float | None = None
    working_distance_mm: float | None = None
    evd_mm: float | None = None
    equivalent_power_d: float | None = None
    required_evd_mm: float | None = None
    required_evp_d: float | None = None
    cap_power_for_goal_d: float | None = None
    power_margin_log: float | None = None
    print_read_m_units: float | None = None
    contrast_reserve: float | None = None
    convergence_prism: float | None = None
    convergence_naked_prism: float | None = None
    vergence_reserve_prism: float | None = None
    vertical_prism: float | None = None
    vertical_reserve_prism: float | None = None
    vergence_state: Literal[0, 1, 2] = 0
    needed: bool = True
    better_otherwise: bool = False
    relative_brightness: float | None = None
    slip_deg_s: float | None = None
    slip_mar_factor: float | None = None


def leading_outcome(outcomes: Sequence[Outcome]) -> Outcome | None:
    """The outcome that an option is decided by: for the first goal that only a telescope serves.

    Where there is none, for the first that asks for one, else for the first; None without a goal.
    """
    asking = [outcome for outcome in outcomes if outcome.needed] or list(outcomes)
    return next(
        (outcome for outcome in asking if not outcome.better_otherwise), asking[0] if asking else None
    )


def served_outcome(outcomes: Sequence[Outcome]) -> Outcome | None:
    """The outcome that an option is for: the leading one, or where that is not served the first that is."""
    leading = leading_outcome(outcomes)
    if leading is None or leading.grade not in ("misses", "cannot"):
        return leading
    served = [outcome for outcome in outcomes if outcome.needed and outcome.grade in ("meets", "nearly")]
    return leading_outcome(served) or leading


class ScorePart(NamedTuple):
    """What a criterion of the ranking gave: ``value`` from 0 to 1, its ``weight``, and what it stands for in words."""

    criterion: str
    value: float
    weight: float
    sentence: str

    @property
    def points(self) -> float:
        """The contribution to the score."""
        return self.value * self.weight


class Option(NamedTuple):
    """A feasible configuration, evaluated. ``rank`` starts at 1; ``decision`` is for the goal of :attr:`served`."""

    rank: int
    configuration: Configuration
    telescope: Telescope
    cap: Cap | None
    filter: Filter | None
    device: DeviceNumbers
    outcomes: tuple[Outcome, ...]
    reasons_for: tuple[str, ...]
    reasons_against: tuple[str, ...]
    score: float
    score_parts: tuple[ScorePart, ...]
    decision: Decision
    summary: str

    def outcome(self, goal_index: int) -> Outcome:
        """The outcome for the goal at that place."""
        return self.outcomes[goal_index]

    @property
    def leading(self) -> Outcome | None:
        """The outcome that options are weighed by first; see :func:`leading_outcome`."""
        return leading_outcome(self.outcomes)

    @property
    def served(self) -> Outcome | None:
        """The outcome that the option is for and decided by; see :func:`served_outcome`."""
        return served_outcome(self.outcomes)

    @property
    def grades(self) -> tuple[Grade, ...]:
        """The grade for each goal."""
        return tuple(outcome.grade for outcome in self.outcomes)


RefusalCode = Literal[
    "acuity off the chart",
    "no acuity",
    "refocusing range",
    "frame too shallow",
    "PD out of range",
    "exit pupil blackout",
    "no fusion",
    "unequal images",
    "hands do not reach",
    "ring over the only field",
    "ametropia",
    "inverted image",
    "mount",
    "tilt out of range",
    "nothing clear",
    "filter not asked for",
    "not made in pairs",
    "optics",
]


@dataclass(frozen=True, slots=True)
class Refused:
    """A configuration that cannot be used, the name of the reason, and the sentence that says what would change it.

    ``count`` is how many configurations of the cross the same reason takes out: the one shown stands for them.
    """

    configuration: Configuration
    code: RefusalCode
    reason: str
    count: int = 1


class Method(NamedTuple):
    """One way to a required figure, by name, with its result and a sentence that says how."""

    name: str
    value: float
    unit: str
    sentence: str


class Need(NamedTuple):
    """What a goal asks of any device: by each method, with the range between them. None where it does not apply."""

    goal_index: int
    goal: str
    required_magnification: float | None
    magnification_low: float | None
    magnification_high: float | None
    required_evd_mm: float | None
    required_evp_d: float | None
    evp_low_d: float | None
    evp_high_d: float | None
    methods: tuple[Method, ...]
    contrast_reserve: float | None
    contrast_sentence: str
    field_wanted_deg: float | None
    characters_wanted: float | None
    problems: tuple[str, ...]
    sentence: str


class CoverageRow(NamedTuple):
    """One option and its grade for each goal, in the order of the goals."""

    rank: int
    configuration: Configuration
    grades: tuple[Grade, ...]


class Coverage(NamedTuple):
    """Options × goals, best option first; goals in ``not_needed`` (by place) are reached without any telescope."""

    goals: tuple[str, ...]
    rows: Sequence[CoverageRow]
    not_needed: tuple[int, ...] = ()


class DeviceSet(NamedTuple):
    """The fewest devices that meet the goals: rank of each and the goals it is for; none meets those in ``left``.

    Goals that need no telescope are in neither.
    """

    ranks: tuple[int, ...]
    configurations: tuple[Configuration, ...]
    goals_by_device: tuple[tuple[int, ...], ...]
    left: tuple[int, ...]
    sentence: str


class Rule(NamedTuple):
    """A rule of common practice about one eye or two, what it says for this person, and what speaks for and against."""

    name: str
    says: EyeChoice | Literal["measure first"]
    speaks_for: tuple[str, ...]
    speaks_against: tuple[str, ...]


class EyeAdvice(NamedTuple):
    """Which eye, or both, with reasons; the two rules that disagree are both shown."""

    choice: EyeChoice | Literal["measure first"]
    sentence: str
    reasons: tuple[str, ...]
    rules: tuple[Rule, ...]
    better_eye: Side | None
    interocular_difference_logmar: float | None
    fusion: bool | None


class Alternative(NamedTuple):
    """A way to a near goal on the basis of the equivalent viewing distance; the best telescope is one of the rows.

    ``lens_distance_mm`` is lens to page. ``depth_near_mm`` and ``depth_far_mm``: how far the page may move.
    """

    name: str
    kind: Literal["telescope", "add", "hand", "stand", "electronic", "non-optical"]
    id: str
    evd_mm: float | None
    equivalent_power_d: float | None
    power_d: float | None
    working_distance_mm: float | None
    lens_distance_mm: float | None
    eye_to_lens_mm: float | None
    linear_field_mm: float | None
    characters: float | None
    depth_near_mm: float | None
    depth_far_mm: float | None
    hands_free: bool
    reaches: bool | None
    sentence: str


class AlternativeTable(NamedTuple):
    """The near ways to one goal, strongest reach first, and whether a telescope is the answer, said plainly."""

    goal_index: int
    goal: str
    rows: tuple[Alternative, ...]
    telescope_is_answer: bool
    field_ratio_best_to_telescope: float | None
    sentence: str


class Referral(NamedTuple):
    """A prompt to refer before any device, from what was recorded."""

    key: str
    urgency: Urgency
    sentence: str


class PlanCaution(NamedTuple):
    """A caution about the recommendation itself, by key; a ``mandatory`` one must be shown wherever the plan is."""

    key: str
    sentence: str
    mandatory: bool


class Sensitivity(NamedTuple):
    """How far one input can move, each way, before another option wins or the goal is missed.

    ``lower`` and ``upper`` are the nearest values at which something changes (None: nothing within the accepted
    range looked at); ``what_lower`` and ``what_upper`` say what. ``measured`` is False for an assumed input; ``weight``
    orders unmeasured inputs by how much the chance moves over the range that is usual.
    """

    path: str
    label: str
    value: float
    unit: str
    measured: bool
    lower: float | None
    what_lower: str
    upper: float | None
    what_upper: str
    weight: float
    sentence: str


class Plan(NamedTuple):
    """The recommendation for one visit. See the module's note on the lazy sequences."""

    person: Person
    demands: tuple[Demand, ...]
    needs: tuple[Need, ...]
    decision: Decision
    options: Sequence[Option]
    refused: Sequence[Refused]
    coverage: Coverage
    smallest_set: DeviceSet
    eye_advice: EyeAdvice
    alternatives: tuple[AlternativeTable, ...]
    referrals: tuple[Referral, ...]
    cautions: tuple[PlanCaution, ...]
    assumptions_used: Mapping[str, str]
    problems: tuple[str, ...] = ()
    inputs: Mapping[str, str] = MappingProxyType({})

    @property
    def best(self) -> Option | None:
        """The option that is ranked first, None when there is none."""
        return self.options[0] if self.options else None

    @property
    def outcomes_count(self) -> int:
        """How many outcomes the plan holds."""
        return len(self.options) * len(self.demands)
