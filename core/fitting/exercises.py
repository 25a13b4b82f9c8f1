"""The exercises of training: getting the view, spotting, tracing, tracking, scanning, reading, the task itself.

The stages are those of the trade (University of Missouri teaching case 3002; Pennsylvania College of Optometry,
instructional resource plan on telescope training, 2004). Minutes, counts and mastery are common practice.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from ..case import Goal
from ..configuration import Configuration
from ..entry import show_length
from ..goals import speaks_of_driving
from ..stock import Telescope

Stage = Literal["localise", "focus", "spot", "trace", "track", "scan", "task"]
STAGES: tuple[Stage, ...] = ("localise", "focus", "spot", "trace", "track", "scan", "task")
Place = Literal["seated indoors", "seated outdoors", "standing indoors", "standing outdoors"]
PLACES: tuple[Place, ...] = ("seated indoors", "seated outdoors", "standing indoors", "standing outdoors")

_SOURCE = "PCO04"


@dataclass(frozen=True, slots=True)
class Exercise:
    """One exercise: what to do where, when it is mastered, and in which stage it counts."""

    stage: Stage
    place: Place
    title: str
    do: str
    mastered: str
    minutes: float
    caution: str = ""
    source: str = _SOURCE


def getting_the_view(choice: Configuration, telescope: Telescope, near_mm: float | None) -> list[Exercise]:
    """Getting the view: the same for every goal, different for every mount, position and focus."""
    found = [
        Exercise(
            "localise",
            "seated indoors",
            "Find without the telescope",
            "Seated, back supported. Look at a large still object with the naked eye"
            + (", using the usual viewing direction" if near_mm is None else " at the reading distance")
            + "; say where it is. Only then look at it through the telescope.",
            "found five times out of five",
            5,
        ),
        Exercise("localise", "seated indoors", *_to_the_eye(choice), minutes=5),
    ]
    if choice.mount == "flip-up":
        found.append(
            Exercise(
                "localise",
                "seated indoors",
                "Flip up and down",
                "Turn the tubes down and up with one hand, eyes on the object; leave them up before standing.",
                "ten times without looking for the hinge",
                3,
            )
        )
    if choice.mount == "clip-on":
        found.append(
            Exercise(
                "localise",
                "seated indoors",
                "Put on and take off",
                "Clip it on, tilt it at its hinge until the view is round, take it off without touching the lenses.",
                "three times without help",
                5,
            )
        )
    if near_mm is not None:
        found.append(
            Exercise(
                "focus",
                "seated indoors",
                "Find the distance of the cap",
                f"Text on a stand. Start too near and move it away until it is clear, at about "
                f"{show_length(near_mm)}; hold it there.",
                "found within a few seconds, five times",
                5,
            )
        )
        found.append(
            Exercise(
                "focus",
                "seated indoors",
                "Cap on, cap off",
                "Change between the page with the cap and the far wall without it; the cap comes off before standing.",
                "five changes without help",
                3,
            )
        )
    elif choice.correction == "refocused" or telescope.focusable:
        found.append(
            Exercise(
                "focus",
                "seated indoors",
                "Focus by hand",
                "Turn until it is sharp, past it, and back; at the farthest object, at 3 m, and at the nearest that "
                "clears. Note which way is near.",
                "sharp within five seconds at three distances",
                8,
            )
        )
    else:
        found.append(
            Exercise(
                "focus",
                "seated indoors",
                "Learn where it is clear",
                "Walk an object in from the far wall, the person seated, and let the person say where it blurs.",
                "names the nearest clear distance",
                5,
            )
        )
    return found


def _to_the_eye(choice: Configuration) -> tuple[str, str, str]:
    if choice.position == "bioptic":
        return (
            "Drop the head into the telescope",
            "Look at the object under the tube through the carrier; keep the eyes on it and lower the chin until it "
            "appears in the tube; lift the chin and find it again below.",
            "in view within two seconds, ten times",
        )
    if choice.position == "low":
        return (
            "Lower the eyes into the telescope",
            "Head still: lower the eyes to the tube and find the page, raise them again over it.",
            "in view within two seconds, ten times",
        )
    return (
        "Bring the head to the object",
        "Keep the eyes straight and turn the head, slowly, until the object stands in the middle of the view.",
        "in view within two seconds, ten times",
    )


def seeing(choice: Configuration, near_mm: float | None, goals: tuple[Goal, ...]) -> list[Exercise]:
    """Spotting, tracing, tracking and scanning, as far as the goals ask for them."""
    if near_mm is not None:
        return _reading(goals)
    found = [
        Exercise(
            "spot",
            "seated indoors",
            "Spot still targets",
            "Letters on the wall, large first: naked eye, then telescope, read it, away again. "
            "The finding time falls most in the first 150 trials.",
            "nine of ten read, none missed twice",
            10,
            source="BIOPTIC08",
        ),
        Exercise(
            "trace",
            "seated indoors",
            "Follow a still line",
            "Follow the edge of a board, a shelf or a line of tape slowly with the head, from end to end.",
            "end to end without losing it, both ways",
            5,
        ),
    ]
    if _moving(goals):
        found += [
            Exercise(
                "track",
                "seated indoors",
                "Follow a moving target",
                "The helper walks slowly across, then back; head and trunk turn together.",
                "kept in view for ten seconds",
                8,
            ),
            Exercise(
                "scan",
                "seated indoors",
                "Search an area in rows",
                "Search the wall in overlapping rows for a letter placed at random; no jumping about.",
                "found in three searches running",
                8,
            ),
        ]
    elif any(_wide(goal) for goal in goals):
        found.append(
            Exercise(
                "scan",
                "seated indoors",
                "Search an area in rows",
                "Search the screen, board or stage in overlapping rows; top left first.",
                "found in three searches running",
                8,
            )
        )
    if _outdoors(goals):
        found.append(
            Exercise(
                "spot",
                "seated outdoors",
                "Spot outdoors, seated",
                "On a bench: signs, house numbers, a bus front. Never toward the sun.",
                "nine of ten read",
                15,
                "Sun behind or at the side.",
            )
        )
    if _standing(goals):
        found += [
            Exercise(
                "spot",
                "standing indoors",
                "Spot while standing",
                "Stand with a hand on a rail or chair: stop, spot, look away, then move.",
                "ten times, steady",
                8,
                "Nobody walks while looking through it.",
            ),
            Exercise(
                "spot",
                "standing outdoors",
                "Stop and spot outdoors",
                "With a helper beside: stand still at the edge of the way, spot a sign, look away, only then walk on.",
                "five places, alone in deciding when to stop",
                20,
                "Nobody walks or crosses while looking through it.",
            ),
        ]
    if choice.eye != "both":
        found.append(
            Exercise(
                "scan",
                "seated indoors",
                "Use the other eye too",
                "Both eyes open: the other eye watches what the tube hides; the helper holds up fingers at the side.",
                "fingers seen while reading through the tube",
                5,
                source="DOHERTY11",
            )
        )
    return found


def _reading(goals: tuple[Goal, ...]) -> list[Exercise]:
    found = [
        Exercise(
            "spot",
            "seated indoors",
            "Single words first",
            "Large single words on a stand under a good lamp, then the size of the goal; the page moves, not the head.",
            "nine of ten words",
            8,
        ),
        Exercise(
            "trace",
            "seated indoors",
            "Keep the line",
            "Slide the page to the left along a ruler at the fixed distance; back along the same line, then down one.",
            "five lines without losing the place",
            10,
        ),
    ]
    if any(goal.value("task") and "read" in str(goal.value("task")).lower() for goal in goals) or any(
        goal.value("duration") == "long" for goal in goals
    ):
        found.append(
            Exercise(
                "scan",
                "seated indoors",
                "Read on",
                "Read aloud for five minutes, rest two, again; find headings on a page of columns.",
                "ten minutes without stopping",
                15,
            )
        )
    return found


def the_task(goals: tuple[Goal, ...]) -> list[Exercise]:
    """The goals themselves, each in its own light and posture."""
    found = []
    for goal in (goal for goal in goals if not speaks_of_driving(goal.name)):
        distance = goal.value("distance")
        where = f" at {show_length(distance)}" if distance else ""
        place = _place(goal)
        found.append(
            Exercise(
                "task",
                place,
                f"The task itself: {goal.name}",
                f"{goal.name[:1].upper()}{goal.name[1:]}{where}, in the light and posture of every day. "
                "Write down what was done, not only what was seen.",
                "done alone, to the person's own content",
                20,
                "" if "standing" not in place else "Stop, spot, look away, then move.",
                source="COLLEGE-LV",
            )
        )
    return found


def _place(goal: Goal) -> Place:
    out = goal.value("light") == "bright"
    if goal.value("posture") in ("standing", "walking"):
        return "standing outdoors" if out else "standing indoors"
    return "seated outdoors" if out else "seated indoors"


def _moving(goals: Iterable[Goal]) -> bool:
    return any((goal.value("object_speed") or 0) > 0 or goal.value("posture") == "walking" for goal in goals)


def _wide(goal: Goal) -> bool:
    """Wider than about ten degrees: more than a usual telescope shows at once."""
    width, distance = goal.value("width"), goal.value("distance")
    return bool(width and distance and width > 0.17 * distance)


def _outdoors(goals: Iterable[Goal]) -> bool:
    return any(goal.value("light") == "bright" or goal.value("posture") == "walking" for goal in goals)


def _standing(goals: Iterable[Goal]) -> bool:
    return any(goal.value("posture") in ("standing", "walking") for goal in goals)
