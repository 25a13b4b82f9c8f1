"""The fields on the way to a device: both eyes together, face and frame, goals, trial, follow-up."""

from __future__ import annotations

from collections.abc import Iterator

from . import ranges as r
from .entry import (
    AcuityKind,
    Choice,
    Day,
    DetailKind,
    Kind,
    Length,
    NearKind,
    Number,
    PdKind,
    ReserveKind,
    Words,
    YesNo,
)
from .field import EXAMINATION, FITTING, FOLLOW_UP, VISIT_KINDS, Field


def both_eyes_fields() -> Iterator[Field]:
    at = "Both eyes together"
    yield Field(
        "binocular.dominance",
        "Dominant eye",
        "dominant",
        Choice(("right", "left", "none")),
        at,
        "The eye that is used to aim, for example to look through a hole in a card.",
        "which eye when acuities are alike",
    )
    yield Field(
        "binocular.fusion",
        "Fusion shown",
        "fusion",
        YesNo(),
        at,
        "Shown through a trial pair or with a fusion test. Without it no two tubes are ordered.",
        "one eye or two",
    )
    yield Field(
        "binocular.suppression",
        "Suppression",
        "suppress",
        Choice(("none", "right", "left", "alternating")),
        at,
        "Which eye, if any, is suppressed.",
        "one eye or two",
    )
    yield Field(
        "binocular.deviation",
        "Cover test",
        "cover",
        Words(80, example="6 prism exo at near, none far"),
        at,
        "What the eyes do behind a cover, far and near: direction and size in prism dioptres.",
        "one eye or two; the note",
    )
    for key, label, short in (
        ("base_in_distance", "Base-in reserve, distance", "Base-in, distance"),
        ("base_out_distance", "Base-out reserve, distance", "Base-out, distance"),
        ("base_in_near", "Base-in reserve, near", "BI near"),
        ("base_out_near", "Base-out reserve, near", "BO near"),
        ("vertical", "Vertical reserve", "vertical"),
    ):
        yield Field(
            f"binocular.{key}",
            label,
            short,
            ReserveKind(),
            at,
            "How much prism the two eyes overcome and still see one: blur/break/recovery, x where there was no blur.",
            "tolerances of alignment, spread, convergence with caps",
            when_empty="While it is empty, the limits common for instruments hold at distance, the reserve of normal "
            "eyes at near; the fitting sheet says so.",
        )
    yield Field(
        "binocular.double_vision",
        "Double vision",
        "double",
        Choice(("never", "sometimes", "always")),
        at,
        "Whether things are seen double in ordinary life.",
        "one eye or two",
    )


def face_fields() -> Iterator[Field]:
    at, when = "Face and frame", (EXAMINATION, FITTING, FOLLOW_UP)

    def face(
        key: str,
        label: str,
        short: str,
        kind: Kind,
        help: str,
        used_for: str,
        assumption: str = "",
        when_empty: str = "",
    ) -> Field:
        return Field(
            f"face.{key}", label, short, kind, at, help, used_for, assumption, when, when_empty=when_empty
        )

    yield face(
        "pd",
        "PD, distance",
        "PD",
        PdKind(r.PD, r.MONOCULAR_PD),
        "Between the pupils, looking far: whole, or right/left from the middle of the bridge.",
        "lateral position of each tube; convergence",
        "pd_mm",
    )
    yield face(
        "vertex_distance",
        "Vertex distance, carrier",
        "Carrier vertex",
        Length(r.VERTEX),
        "Back of the carrier lens to the cornea, frame adjusted.",
        "eye distance; ametropia at the ocular",
        "vertex_mm",
    )
    yield face(
        "ocular_to_cornea",
        "Ocular to cornea",
        "ocular at",
        Length(r.OCULAR_TO_CORNEA),
        "From the lens of the tube next to the eye to the cornea, measured with the device on. It decides the field.",
        "field of view, exit pupil",
        when_empty="While it is empty, it is worked out for each telescope from the vertex distance and where its "
        "ocular stands in the lens.",
    )
    yield face(
        "pupil_height_right",
        "Pupil height, right",
        "height R",
        Length(r.PUPIL_HEIGHT),
        "Lowest point of the lens to the pupil centre, eyes straight ahead.",
        "room in the frame; order",
        "pupil_height_mm",
    )
    yield face(
        "pupil_height_left",
        "Pupil height, left",
        "height L",
        Length(r.PUPIL_HEIGHT),
        "Lowest point of the lens to the pupil centre, eyes straight ahead.",
        "room in the frame; order",
        "pupil_height_mm",
    )
    yield face(
        "frame",
        "Frame",
        "frame",
        Words(longest=80, example="own frame, saddle bridge"),
        "The frame that the device is made in, as the workshop will know it.",
        "order",
    )
    yield face(
        "a_size",
        "A size (width of lens)",
        "A",
        Length(r.A_SIZE),
        "Boxed width of the lens opening.",
        "decentration; order",
    )
    yield face(
        "b_size",
        "B size (height of lens)",
        "B",
        Length(r.B_SIZE),
        "Boxed height of the lens opening.",
        "room for a bioptic; order",
        "b_size_mm",
    )
    yield face(
        "bridge",
        "Distance between lenses",
        "DBL",
        Length(r.BRIDGE),
        "The shortest distance between the two lenses, by the boxing system.",
        "decentration; order",
    )
    yield face(
        "pantoscopic_tilt",
        "Pantoscopic tilt",
        "panto",
        Number(r.PANTOSCOPIC, 1),
        "How far the lower rim of the adjusted frame leans toward the cheek; 0 for upright lenses.",
        "angle between tube and lens",
        "pantoscopic_deg",
    )
    yield face(
        "lens_form",
        "Lens form to order",
        "form",
        Choice(("single vision", "bifocal", "trifocal", "progressive")),
        "What the carrier lenses are to be; empty: as worn so far, where that can be.",
        "order: whether the lenses hold the add",
    )
    yield face(
        "segment_height",
        "Segment height",
        "segment",
        Length(r.SEGMENT_HEIGHT),
        "Top of the bifocal segment above the lowest point of the lens.",
        "whether the bifocal can stay",
    )
    yield face(
        "tube_tilt",
        "Tube tilt wanted",
        "tilt",
        Number(r.TUBE_TILT, 1),
        "Upward tilt of a bioptic tube from the head's horizontal.",
        "head drop; order",
        when_empty="While it is empty, the usual tilt of the settings is computed with, as far as the telescope allows "
        "it; the order of a bioptic asks for one that was chosen for this face.",
    )
    yield face(
        "spread",
        "Spread of the tubes, each",
        "Spread of the tubes",
        Length(r.DECENTRATION),
        "How far each tube stands outward of its pupil; negative is inward.",
        "binocular field",
        when_empty="While it is empty, each tube stands straight before its pupil.",
    )
    yield face(
        "reach",
        "Hands reach",
        "reach",
        Length(r.WORKING_DISTANCE, "cm"),
        "Nearest comfortable working distance of the hands.",
        "caps: nearest useful working distance",
        "reach_mm",
    )


def trial_fields() -> Iterator[Field]:
    at = "Trial"
    yield Field(
        "trial.device",
        "Device tried",
        "tried",
        Words(120, example="2.0x, right eye, bioptic"),
        at,
        "Type, power, eye, cap.",
        "the note",
        carries_over=False,
    )
    yield from (
        Field(
            f"trial.acuity_{eye}",
            f"Acuity through it, {words}",
            f"Acuity through it {short}",
            AcuityKind(),
            at,
            "Distance acuity through the device.",
            "promised against measured",
            carries_over=False,
        )
        for eye, words, short in (
            ("right", "right eye", "R"),
            ("left", "left eye", "L"),
            ("both", "both eyes", "both"),
        )
    )
    yield Field(
        "trial.print",
        "Print through it",
        "thru print",
        NearKind(),
        at,
        "The smallest print read through it, with the distance of the page.",
        "promised against measured",
        carries_over=False,
    )
    yield Field(
        "trial.task",
        "The task itself",
        "task",
        Words(example="named every card at 1 m"),
        at,
        "What the person did with it.",
        "the choice",
        carries_over=False,
    )


def follow_up_fields() -> Iterator[Field]:
    at, when = "Follow-up", (FOLLOW_UP,)

    def asked(
        key: str, label: str, short: str, kind: Kind, help: str, used_for: str = "the timeline and the note"
    ) -> Field:
        return Field(
            f"follow_up.{key}", label, short, kind, at, help, used_for, visits=when, carries_over=False
        )

    yield asked("use", "Use", "use", Choice(("daily", "weekly", "rarely", "never")), "How often it is worn.")
    yield asked(
        "use_words",
        "What it is used for",
        "used for",
        Words(example="cards, television"),
        "In the person's words.",
    )
    yield asked(
        "problems",
        "Problems",
        "problems",
        Words(example="double once when the frame slipped"),
        "What troubles: blur, double, weight, neck, glare, finding things.",
    )
    yield asked(
        "device",
        "Device",
        "device",
        Choice(("kept", "changed", "returned")),
        "What happens to it now.",
        "the look back over cases",
    )
    yield asked(
        "reason",
        "Why changed or returned",
        "why",
        Words(example="too heavy"),
        "In a few words: what was in the way, or what works better now.",
        "the look back over cases",
    )
    yield asked(
        "task_met",
        "Goal met",
        "goal met",
        Choice(("yes", "partly", "no")),
        "For the first goal.",
        "the look back over cases",
    )


NEXT_DATE = Field(
    "plan.next_date",
    "Next visit",
    "next",
    Day(),
    "Trial",
    "Date of the next visit.",
    "the list of cases",
    visits=VISIT_KINDS,
    carries_over=False,
)
NEXT_STEP = Field(
    "plan.next_step",
    "Next step",
    "next step",
    Words(120, example="order, then fitting"),
    "Trial",
    "What is to be done next.",
    "the list of cases",
    visits=VISIT_KINDS,
    carries_over=False,
)


_USUAL = "While it is empty the usual figure of the task is taken and shown as assumed"
_GOAL_WHEN_EMPTY = {
    "distance": f"{_USUAL}; without one, the middle of nearest and farthest, or 40 cm for print.",
    "nearest": f"{_USUAL}, as long as the distance is empty too; else the distance itself.",
    "farthest": f"{_USUAL}, as long as the distance is empty too; else the distance itself.",
    "detail": f"{_USUAL}; without one, the acuity of the settings for a far goal. A near goal needs it.",
    "reserve": f"{_USUAL}, else the one of the settings. A detail typed as an acuity gets none.",
    "contrast": f"{_USUAL}, else 0.85.",
    "width": f"{_USUAL}; without one, no width is asked of the field.",
    "characters": f"{_USUAL}, else, for print, the number of the settings.",
    "light": f"{_USUAL}, else room.",
    "duration": f"{_USUAL}, else minutes.",
    "posture": f"{_USUAL}, else seated.",
    "hands_free": f"{_USUAL}, else no.",
    "eyes": f"{_USUAL}, else either.",
    "object_speed": f"{_USUAL}, else 0.",
}

GOAL_FIELDS: tuple[Field, ...] = tuple(
    Field(key, label, short, kind, "Goals", help, used_for, when_empty=_GOAL_WHEN_EMPTY.get(key, ""))
    for key, label, short, kind, help, used_for in (
        (
            "task",
            "Task",
            "task",
            Words(80, example="television subtitles"),
            "A task of the library by its first letters, or your own words.",
            "fills the rest with usual figures",
        ),
        (
            "distance",
            "Distance",
            "at",
            Length(r.DISTANCE, "m"),
            "From the eye to the object, where the person will be.",
            "focus, field, required power",
        ),
        (
            "nearest",
            "Nearest",
            "from",
            Length(r.DISTANCE, "m"),
            "Nearest distance that must be clear, when it varies.",
            "clear range",
        ),
        (
            "farthest",
            "Farthest",
            "to",
            Length(r.DISTANCE, "m"),
            "Farthest distance that must be clear, when it varies.",
            "clear range",
        ),
        (
            "detail",
            "Detail to see",
            "detail",
            DetailKind(),
            "An acuity (20/40), a letter height (80 mm) or a print size (1.0M, N8).",
            "required power or equivalent viewing distance (EVD)",
        ),
        (
            "reserve",
            "Acuity reserve",
            "reserve",
            Number(r.ACUITY_RESERVE, 2),
            "How many times larger than threshold it must look.",
            "required power or equivalent viewing distance (EVD)",
        ),
        (
            "contrast",
            "Contrast of it",
            "contrast",
            Number(r.PRINT_CONTRAST, 2),
            "How far the mark stands out from its ground: crisp black print about 0.9, newspaper about 0.7.",
            "contrast reserve",
        ),
        (
            "width",
            "Width to take in",
            "width",
            Length(r.OBJECT_SIZE, "mm"),
            "Width of the object or line that should be seen at once.",
            "field wanted",
        ),
        (
            "characters",
            "Characters at once",
            "characters",
            Number(r.CHARACTERS, 0),
            "Characters wanted in view while reading.",
            "field wanted",
        ),
        (
            "light",
            "Light there",
            "light",
            Choice(("bright", "room", "dim")),
            "Light at the task.",
            "pupil, brightness",
        ),
        (
            "duration",
            "How long",
            "how long",
            Choice(("moments", "minutes", "long")),
            "Moments: spotting. Long: sustained.",
            "position; accommodation counted",
        ),
        (
            "posture",
            "Seated or moving",
            "posture",
            Choice(("seated", "standing", "walking")),
            "Whether the task is done sitting, standing or walking.",
            "cautions; position",
        ),
        (
            "hands_free",
            "Hands must be free",
            "hands free",
            YesNo(),
            "For writing, playing, handling.",
            "device kinds compared",
        ),
        (
            "eyes",
            "Eyes",
            "eyes",
            Choice(("either", "one", "two")),
            "Whether two eyes matter for this.",
            "one eye or two",
        ),
        (
            "object_speed",
            "Speed of head or object",
            "speed",
            Number(r.HEAD_SPEED, 0),
            "Degrees a second; 0 for a still object and a still head.",
            "image slip",
        ),
    )
)
