"""Training: a plan of exercises by device and goal, and where the person stands after the sessions recorded.

The order is fixed by safety and by what each stage builds on: seated before standing, indoors before outdoors, the
target found with the naked eye before the telescope is brought to it. The stages are those of the trade: localise,
focus, spot, trace, track, scan (University of Missouri teaching case 3002; Pennsylvania College of Optometry,
instructional resource plan on telescope training, 2004). Minutes and counts are common practice.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date

from .case import Case, TrainingSession
from .entry import Choice, Day, Number, Words
from .errors import ClinicalRefusal, EntryRefusal
from .fitting.exercises import PLACES, STAGES, Exercise, Stage, getting_the_view, seeing, the_task
from .ranges import Range
from .stock import Stock

SESSION_MINUTES = Range("minutes of training", "min", 1, 240, 5, 60, "20")

STAGE_KIND = Choice(STAGES)
MINUTES_KIND = Number(SESSION_MINUTES, 0)
RESULT_KIND = Words(200)
DAY_KIND = Day()
# A result that starts with one of these words counts; what follows is free.
OUTCOMES = ("alone", "with help", "not yet")


@dataclass(frozen=True, slots=True)
class TrainingPlan:
    """The exercises in order, for one device and the goals; ``alone`` says whether practice at home is enough."""

    exercises: tuple[Exercise, ...]
    goals: tuple[str, ...]
    note: str

    @property
    def stages(self) -> tuple[Stage, ...]:
        """The stages that occur, in order."""
        return tuple(stage for stage in STAGES if any(e.stage == stage for e in self.exercises))

    @property
    def minutes(self) -> float:
        """The time of one pass through all exercises."""
        return sum(exercise.minutes for exercise in self.exercises)


@dataclass(frozen=True, slots=True)
class TrainingStanding:
    """What is mastered, what comes next, and one sentence."""

    mastered: tuple[Stage, ...]
    next_stage: Stage | None
    sessions: int
    minutes: float
    sentence: str


def training_plan(case: Case, stock: Stock) -> TrainingPlan:
    """The exercises for the chosen device and the goals of the visit worked on.

    Raises ClinicalRefusal while nothing is chosen, EntryRefusal when the telescope is not in the stock.
    """
    choice = case.visit.choice
    if choice is None:
        raise ClinicalRefusal(
            "training", "no option chosen yet", "a chosen option", example="choose one first"
        )
    telescope = stock.telescope(choice.telescope)
    if telescope is None:
        raise EntryRefusal("telescope", choice.telescope, "an id of the stock file")
    goals = case.visit.goals
    cap = stock.cap(choice.cap) if choice.cap else None
    near_mm = 1000.0 / cap.power_d if cap else None
    exercises = [*getting_the_view(choice, telescope, near_mm), *seeing(choice, near_mm, goals)]
    exercises += the_task(goals)
    ordered = sorted(exercises, key=lambda e: (STAGES.index(e.stage), PLACES.index(e.place)))
    return TrainingPlan(
        tuple(ordered),
        tuple(goal.name for goal in goals),
        "Finding and focusing can be practised alone; tracking and scanning want someone beside (common practice). "
        "Short sessions, the eye rested between; stop when it swims.",
    )


def session(on: date, stage: str, minutes: str = "", result: str = "") -> TrainingSession:
    """A session from typed text; refuses a stage, a time or a result that cannot be read, by name."""
    return TrainingSession(
        on=on,
        stage=STAGE_KIND.read(stage, "Stage"),
        minutes=MINUTES_KIND.read(minutes, "Minutes") if minutes.strip() else None,
        result=RESULT_KIND.read(result, "Result") if result.strip() else "",
    )


def with_session(case: Case, new: TrainingSession) -> Case:
    """The case with a session added to the visit worked on, among the others by its day."""
    visit = case.visit
    sessions = tuple(sorted((*visit.training, new), key=lambda each: each.on))
    return case.with_visit(replace(visit, training=sessions))


def session_day(typed: str, latest: date) -> date:
    """The day of a session from typed text; emptied, or "today", it is ``latest``, after which none can lie."""
    plain = typed.strip().lower()
    if plain in ("", "today"):
        return latest
    day = DAY_KIND.read(typed, "Day of the session")
    if day > latest:
        raise EntryRefusal(
            "Day of the session", typed, f"a day up to {latest.isoformat()}", example=latest.isoformat()
        )
    return day


def sessions_of(case: Case) -> tuple[TrainingSession, ...]:
    """All sessions of the case, oldest first."""
    return tuple(sorted((s for v in case.visits for s in v.training), key=lambda s: s.on))


def training_standing(plan: TrainingPlan, case: Case) -> TrainingStanding:
    """What is mastered so far: a stage counts when the last session of it was done alone."""
    sessions = sessions_of(case)
    last = {s.stage: s for s in sessions}
    mastered: tuple[Stage, ...] = tuple(
        stage for stage in plan.stages if stage in last and last[stage].result.lower().startswith("alone")
    )
    following: Stage | None = next((stage for stage in plan.stages if stage not in mastered), None)
    minutes = sum(s.minutes or 0.0 for s in sessions)
    done = f"{len(mastered)} of {len(plan.stages)} stages mastered"
    if not sessions:
        sentence = f"No training recorded; start with {following}."
    elif following is None:
        sentence = f"{done} in {len(sessions)} sessions."
    else:
        count = f"{len(sessions)} session" + ("" if len(sessions) == 1 else "s")
        sentence = f"{done} in {count}; next: {following}."
    return TrainingStanding(mastered, following, len(sessions), minutes, sentence)
