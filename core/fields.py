"""Every field of the record, declared once: label, place in the case, kind, help, when it is asked.

The form, the jump list, the help, the file check and the note read these declarations. To add a field, add a
line here; nothing else needs to know.

A path is ``table.key`` inside a visit (``right.distance_acuity``); goals have keys of their own, listed in
GOAL_FIELDS, and stand in the case as a list.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache

from . import ranges as r
from .entry import (
    AcuityKind,
    Choice,
    CurveKind,
    Day,
    DetailKind,
    Kind,
    Length,
    NearKind,
    Number,
    PdKind,
    RefractionKind,
    ReserveKind,
    Words,
    YesNo,
)

EXAMINATION, FITTING, FOLLOW_UP = "examination", "fitting", "follow-up"
VISIT_KINDS = (EXAMINATION, FITTING, FOLLOW_UP)


@dataclass(frozen=True, slots=True)
class Field:
    """One thing that is asked. ``assumption`` names the setting that stands in while it is not measured."""

    path: str
    label: str
    short: str
    kind: Kind
    section: str
    help: str
    used_for: str
    assumption: str = ""
    visits: tuple[str, ...] = (EXAMINATION, FOLLOW_UP)
    carries_over: bool = True

    @property
    def table(self) -> str:
        """The table of the visit that holds it."""
        return self.path.partition(".")[0]

    @property
    def key(self) -> str:
        """Its key in that table."""
        return self.path.partition(".")[2]


def _by_eye(
    key: str,
    label: str,
    short: str,
    kind: Kind,
    section: str,
    help: str,
    used_for: str,
    *,
    both: bool = False,
    assumption: str = "",
    carries_over: bool = True,
) -> Iterator[Field]:
    """The same question for the right eye, the left and, where it makes sense, both together."""
    eyes = (("right", "right eye", "R"), ("left", "left eye", "L"), ("both", "both eyes", "both"))
    for table, words, letter in eyes if both else eyes[:2]:
        yield Field(
            f"{table}.{key}",
            f"{label}, {words}",
            f"{short} {letter}",
            kind,
            section,
            help,
            used_for,
            assumption,
            carries_over=carries_over,
        )


SECTIONS = (
    "Person",
    "History",
    "Goals",
    "Acuity",
    "Refraction",
    "Contrast and light",
    "Visual field",
    "Both eyes together",
    "Face and frame",
    "Trial",
    "Follow-up",
)

WARNINGS = ("sudden_loss", "new_distortion", "flashes_or_floaters", "eye_pain", "field_loss_new")


def _person() -> Iterator[Field]:
    at = ("Person",)
    yield Field(
        "person.birth_year",
        "Year of birth",
        "born",
        Number(r.BIRTH_YEAR, 0),
        *at,
        "The year only. It gives the age on the day of the visit.",
        "accommodation and pupil size by age",
    )
    yield Field(
        "person.examiner",
        "Examiner",
        "examiner",
        Words(60),
        *at,
        "Initials or a staff code of whoever examines.",
        "the note and the signature",
        carries_over=False,
    )
    yield Field(
        "person.occupation",
        "Work, school, day",
        "work",
        Words(),
        *at,
        "What fills the day: work, school, home, sport, and where.",
        "the choice of goals; the note",
    )


def _history() -> Iterator[Field]:
    at = ("History",)
    yield Field(
        "history.diagnosis",
        "Eye condition",
        "diagnosis",
        Words(),
        *at,
        "Diagnosis as known, each eye if they differ.",
        "the note; which numbers to trust",
    )
    yield Field(
        "history.onset",
        "Since when",
        "onset",
        Words(120),
        *at,
        "When the loss began and how it has gone.",
        "the note",
    )
    yield Field(
        "history.stability",
        "Course",
        "course",
        Choice(("stable", "slowly worse", "recently changed", "varies")),
        *at,
        "Whether sight is stable, slowly worse, recently changed, or varies from day to day.",
        "referral prompt; how much to trust one acuity",
    )
    yield Field(
        "history.last_eye_exam",
        "Last eye examination",
        "last exam",
        Day(),
        *at,
        "Date of the last medical eye examination with refraction; within a year is wanted.",
        "referral prompt",
    )
    for key, label, short in (
        ("sudden_loss", "Sudden loss of sight", "sudden loss"),
        ("new_distortion", "New distortion of lines", "distortion"),
        ("flashes_or_floaters", "New flashes or floaters", "flashes"),
        ("eye_pain", "Eye pain", "pain"),
        ("field_loss_new", "New loss of side vision", "field loss"),
    ):
        yield Field(
            f"history.{key}",
            label,
            short,
            YesNo(),
            *at,
            "Ask in these words. Yes means same-day referral before any device.",
            "referral prompt",
            carries_over=False,
        )
    yield Field(
        "history.hallucinations",
        "Sees things not there (asked)",
        "images",
        YesNo(),
        *at,
        "Images without an object are common with sight loss and harmless, and people fear to tell.",
        "reassurance in the note",
    )
    yield Field(
        "history.treatment",
        "Treatment and medicines",
        "treatment",
        Words(),
        *at,
        "Eye treatment with dates, and medicines that matter.",
        "the note; repeat after treatment",
    )
    yield Field(
        "history.head_tremor",
        "Head tremor",
        "tremor",
        Choice(("none", "slight", "marked")),
        *at,
        "Watch the head during fixation. Tremor is multiplied by the power.",
        "highest sensible power",
    )
    yield Field(
        "history.neck",
        "Neck movement",
        "neck",
        Choice(("free", "stiff", "painful")),
        *at,
        "A bioptic needs the head to drop by some 10 to 20 degrees, many times.",
        "bioptic or not",
    )
    yield Field(
        "history.hands",
        "Hands",
        "hands",
        Choice(("steady", "unsteady", "one hand")),
        *at,
        "Whether both hands are free and steady.",
        "caps, hand magnifiers, focusing by hand",
    )
    yield Field("history.hearing", "Hearing", "hearing", Words(120), *at, "Aids worn, best side.", "training")
    yield Field(
        "history.understanding",
        "Memory and understanding",
        "memory",
        Words(120),
        *at,
        "As seen in talk; no test is implied.",
        "training plan",
    )
    yield Field(
        "history.mood", "Mood", "mood", Words(120), *at, "As told or seen.", "referral; training plan"
    )
    yield Field(
        "history.falls",
        "Falls in the last year",
        "falls",
        Choice(("none", "one", "several")),
        *at,
        "Falls make any device worn while walking a risk.",
        "cautions",
    )
    yield Field(
        "history.devices",
        "Devices owned",
        "devices",
        Words(),
        *at,
        "What is owned, what is used, and why the rest is not.",
        "the choice; the note",
    )


def _acuity() -> Iterator[Field]:
    at = "Acuity"
    yield Field(
        "test.chart_distance",
        "Chart distance",
        "chart at",
        Length(r.CHART_DISTANCE, "m"),
        at,
        "How far the chart stood. A Snellen fraction with the real distance (10/50) needs no more.",
        "nothing for true fractions; the record otherwise",
        assumption="chart_distance_mm",
    )
    yield Field(
        "test.chart_kind",
        "Chart",
        "chart",
        Choice(("letters", "numbers", "rings", "E", "pictures")),
        at,
        "What was shown.",
        "the record",
    )
    yield Field(
        "test.chart_luminance",
        "Chart luminance",
        "chart light",
        Number(r.CHART_LUMINANCE, 0),
        at,
        "Luminance of the chart, cd/m2, if known. 80 to 320 is recommended.",
        "the record",
    )
    yield from _by_eye(
        "distance_acuity",
        "Distance acuity with best lenses",
        "acuity",
        AcuityKind(),
        at,
        "Best corrected, by letters: 20/100-2 counts each letter as 0.02 log.",
        "required power, predicted acuity, chance, focus range",
        both=True,
    )
    yield from _by_eye(
        "viewing",
        "Eccentric viewing",
        "looks",
        Words(80),
        at,
        "Where the eye looks to see best, in clock hours, or 'straight'.",
        "centring of the tube; training",
    )
    yield from _by_eye(
        "near_acuity",
        "Smallest print read",
        "print",
        NearKind(),
        at,
        "Threshold print in words, with its distance: 1.6M @ 40.",
        "required EVD for print",
        both=True,
    )
    yield Field(
        "test.near_add",
        "Add worn for near test",
        "test add",
        Number(r.ADD, 2, signed=True),
        at,
        "The add through which print was read.",
        "whether threshold print was in focus",
        assumption="near_add_d",
    )
    yield from _by_eye(
        "reading_curve",
        "Reading curve",
        "curve",
        CurveKind(),
        at,
        "Print sizes with words per minute, at least five from easy to hardest: the last sizes below the plateau.",
        "critical print, target EVD for sustained reading",
        both=True,
    )


def _refraction() -> Iterator[Field]:
    at = "Refraction"
    yield from _by_eye(
        "refraction",
        "Refraction",
        "Rx",
        RefractionKind(),
        at,
        "Distance refraction in the trial frame, either cylinder form.",
        "where the correction goes; residual blur; carrier lens",
        assumption="refraction",
    )
    yield Field(
        "test.refraction_vertex",
        "Vertex of the refraction",
        "Rx vertex",
        Length(r.VERTEX),
        at,
        "Trial lens to cornea during refraction.",
        "ametropia at the ocular",
        assumption="vertex_mm",
    )
    yield Field(
        "test.lenses_worn",
        "Spectacles worn",
        "worn",
        Choice(("none", "single vision", "bifocal", "trifocal", "progressive", "reading only")),
        at,
        "The lens form of the person's own spectacles.",
        "carrier and segment clearance",
    )
    yield Field(
        "test.add",
        "Add",
        "add",
        Number(r.ADD, 2, signed=True),
        at,
        "Near addition of the ordinary spectacles.",
        "near alternatives; carrier",
    )
    yield from _by_eye(
        "accommodation",
        "Accommodation",
        "acc",
        Number(r.ACCOMMODATION, 2),
        at,
        "Measured amplitude in dioptres; leave empty to use the figure by age.",
        "clear range",
        assumption="accommodation_d",
    )
    yield from _by_eye(
        "sustained_accommodation",
        "Accommodation that can be kept up",
        "acc kept",
        Number(r.ACCOMMODATION, 2),
        at,
        "What can be kept up for minutes; half the amplitude is taken if left empty.",
        "clear range",
        assumption="sustained_accommodation_d",
    )


def _light() -> Iterator[Field]:
    at = "Contrast and light"
    yield from _by_eye(
        "contrast",
        "Letter contrast",
        "contrast",
        Number(r.LOG_CS, 2),
        at,
        "Log contrast sensitivity by letters, 0.05 a letter.",
        "contrast reserve",
        both=True,
        assumption="log_cs",
    )
    yield from _by_eye(
        "pupil",
        "Pupil in the room",
        "pupil",
        Number(r.EYE_PUPIL, 1),
        at,
        "Entrance pupil in the light in which the device will be used.",
        "focus range, field by criterion, brightness",
        assumption="pupil_mm",
    )
    yield from _by_eye(
        "pupil_dim",
        "Pupil in dim light",
        "dim pupil",
        Number(r.EYE_PUPIL, 1),
        at,
        "Entrance pupil in dim light.",
        "brightness through a small exit pupil",
        assumption="dim_pupil_mm",
    )
    yield Field(
        "test.room_luminance",
        "Room luminance",
        "room",
        Number(r.LUMINANCE, 1),
        at,
        "Average luminance of what is looked at, cd/m2; a lit room is 30 to 100.",
        "pupil size when it is not measured",
        assumption="room_luminance_cd_m2",
    )
    yield Field(
        "test.glare",
        "Glare",
        "glare",
        Choice(("none", "some", "disabling")),
        at,
        "Trouble in bright light or against a window.",
        "filters, position of the task light",
    )
    yield Field("test.colour", "Colour", "colour", Words(80), at, "Result and test, each eye.", "the note")


def _field_of_vision() -> Iterator[Field]:
    at = "Visual field"
    yield from _by_eye(
        "scotoma",
        "Central scotoma, width",
        "scotoma",
        Number(r.SCOTOMA, 1),
        at,
        "Diameter of the central blind area in degrees; 0 if none.",
        "reading prognosis; eccentric viewing",
    )
    yield from _by_eye(
        "visual_field",
        "Seeing field, width",
        "field",
        Number(r.VISUAL_FIELD, 0),
        at,
        "Horizontal extent of the seeing field in degrees by confrontation.",
        "ring scotoma, orientation, fellow eye's help",
    )
    yield Field(
        "test.field_note",
        "Field in words",
        "field note",
        Words(),
        at,
        "Test used, place of defects, whether repeatable.",
        "the note",
    )


def _both_eyes() -> Iterator[Field]:
    at = "Both eyes together"
    yield Field(
        "binocular.dominance",
        "Dominant eye",
        "dominant",
        Choice(("right", "left", "none")),
        at,
        "Sighting dominance.",
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
        Words(80),
        at,
        "Distance and near, with direction and size.",
        "one eye or two; the note",
    )
    for key, label, short in (
        ("base_in_distance", "Base-in reserve, distance", "BI far"),
        ("base_out_distance", "Base-out reserve, distance", "BO far"),
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
            "Blur/break/recovery in prism dioptres, x where there was no blur.",
            "tolerances of alignment, spread, convergence with caps",
            assumption="fusional_reserves",
        )
    yield Field(
        "binocular.double_vision",
        "Double vision",
        "double",
        Choice(("never", "sometimes", "always")),
        at,
        "In ordinary life.",
        "one eye or two",
    )


def _face() -> Iterator[Field]:
    at, when = "Face and frame", (EXAMINATION, FITTING, FOLLOW_UP)

    def face(
        key: str, label: str, short: str, kind: Kind, help: str, used_for: str, assumption: str = ""
    ) -> Field:
        return Field(f"face.{key}", label, short, kind, at, help, used_for, assumption, when)

    yield face(
        "pd",
        "PD, distance",
        "PD",
        PdKind(r.PD, r.MONOCULAR_PD),
        "Whole, or right/left from the middle of the bridge.",
        "lateral position of each tube; convergence",
        "pd_mm",
    )
    yield face(
        "vertex_distance",
        "Vertex distance, carrier",
        "vertex",
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
        "Measured with the device on. It decides the field.",
        "field of view, exit pupil",
        "ocular_to_cornea_mm",
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
        "bridge", "Distance between lenses", "DBL", Length(r.BRIDGE), "Boxed bridge.", "decentration; order"
    )
    yield face(
        "pantoscopic_tilt",
        "Pantoscopic tilt",
        "panto",
        Number(r.PANTOSCOPIC, 1),
        "Of the adjusted frame.",
        "angle between tube and lens",
        "pantoscopic_deg",
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
        "Upward tilt of a bioptic tube from the head's horizontal; empty: computed.",
        "head drop",
        "tube_tilt_deg",
    )
    yield face(
        "spread",
        "Spread of the tubes, each",
        "spread",
        Length(r.DECENTRATION),
        "Outward decentration of each tube from the PD.",
        "binocular field",
        "spread_mm",
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


def _trial() -> Iterator[Field]:
    at = "Trial"
    yield Field(
        "trial.device",
        "Device tried",
        "tried",
        Words(120),
        at,
        "Type, power, eye, cap.",
        "the note",
        carries_over=False,
    )
    yield from (
        Field(
            f"trial.acuity_{eye}",
            f"Acuity through it, {words}",
            f"thru {short}",
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
        "Smallest print with its distance.",
        "promised against measured",
        carries_over=False,
    )
    yield Field(
        "trial.task",
        "The task itself",
        "task",
        Words(),
        at,
        "What the person did with it.",
        "the choice",
        carries_over=False,
    )


def _follow_up() -> Iterator[Field]:
    at, when = "Follow-up", (FOLLOW_UP,)

    def asked(
        key: str, label: str, short: str, kind: Kind, help: str, used_for: str = "the timeline and the note"
    ) -> Field:
        return Field(
            f"follow_up.{key}", label, short, kind, at, help, used_for, visits=when, carries_over=False
        )

    yield asked("use", "Use", "use", Choice(("daily", "weekly", "rarely", "never")), "How often it is worn.")
    yield asked("use_words", "What it is used for", "used for", Words(), "In the person's words.")
    yield asked(
        "problems",
        "Problems",
        "problems",
        Words(),
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
        "reason", "Why changed or returned", "why", Words(), "In a few words.", "the look back over cases"
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
    Words(120),
    "Trial",
    "What is to be done next.",
    "the list of cases",
    visits=VISIT_KINDS,
    carries_over=False,
)


GOAL_FIELDS: tuple[Field, ...] = tuple(
    Field(key, label, short, kind, "Goals", help, used_for)
    for key, label, short, kind, help, used_for in (
        (
            "task",
            "Task",
            "task",
            Words(80),
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
            "required power or EVD",
        ),
        (
            "reserve",
            "Acuity reserve",
            "reserve",
            Number(r.ACUITY_RESERVE, 2),
            "How many times larger than threshold it must look.",
            "required power or EVD",
        ),
        (
            "contrast",
            "Contrast of it",
            "contrast",
            Number(r.PRINT_CONTRAST, 2),
            "0.05 to 1; newspaper about 0.7.",
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
            "Where the body is.",
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


@cache
def fields() -> tuple[Field, ...]:
    """All fields of a visit but the goals, in exam order."""
    parts = (
        _person(),
        _history(),
        _acuity(),
        _refraction(),
        _light(),
        _field_of_vision(),
        _both_eyes(),
        _face(),
        _trial(),
        iter((NEXT_STEP, NEXT_DATE)),
        _follow_up(),
    )
    return tuple(field for part in parts for field in part)


@cache
def by_path() -> dict[str, Field]:
    """Fields by their path."""
    return {field.path: field for field in fields()}


@cache
def goal_by_key() -> dict[str, Field]:
    """Goal fields by their key."""
    return {field.path: field for field in GOAL_FIELDS}
