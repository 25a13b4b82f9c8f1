"""The fields of the examination: person, history, acuity, refraction, contrast and light, visual field."""

from __future__ import annotations

from collections.abc import Iterator

from . import ranges as r
from .entry import (
    AcuityKind,
    Choice,
    CurveKind,
    Day,
    Length,
    NearKind,
    Number,
    RefractionKind,
    Words,
    YesNo,
)
from .field import VISIT_KINDS, Field, by_eye

WARNINGS = ("sudden_loss", "new_distortion", "flashes_or_floaters", "eye_pain", "field_loss_new")


def person_fields() -> Iterator[Field]:
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
        Words(60, example="mk"),
        *at,
        "Initials or a staff code of whoever examines.",
        "the note and the signature",
        visits=VISIT_KINDS,
        carries_over=False,
    )
    yield Field(
        "person.occupation",
        "Work, school, day",
        "work",
        Words(example="retired, walks daily"),
        *at,
        "What fills the day: work, school, home, sport, and where.",
        "the choice of goals; the note",
    )


def history_fields() -> Iterator[Field]:
    at = ("History",)
    yield Field(
        "history.diagnosis",
        "Eye condition",
        "diagnosis",
        Words(example="macular degeneration, both eyes"),
        *at,
        "Diagnosis as known, each eye if they differ.",
        "the note; which numbers to trust",
    )
    yield Field(
        "history.onset",
        "Since when",
        "onset",
        Words(120, example="two years ago, slowly"),
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
        "Sees things not there",
        YesNo(),
        *at,
        "Images without an object are common with sight loss and harmless, and people fear to tell.",
        "reassurance in the note",
    )
    yield Field(
        "history.treatment",
        "Treatment and medicines",
        "treatment",
        Words(example="injections, the last in March"),
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
    yield Field(
        "history.hearing",
        "Hearing",
        "hearing",
        Words(120, example="aid on the left"),
        *at,
        "Aids worn, best side.",
        "training",
    )
    yield Field(
        "history.understanding",
        "Memory and understanding",
        "Memory",
        Words(120, example="follows easily"),
        *at,
        "As seen in talk; no test is implied.",
        "training plan",
    )
    yield Field(
        "history.mood",
        "Mood",
        "mood",
        Words(120, example="low since the loss"),
        *at,
        "As told or seen.",
        "referral; training plan",
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
        Words(example="hand magnifier, unused: too weak"),
        *at,
        "What is owned, what is used, and why the rest is not.",
        "the choice; the note",
    )


def acuity_fields() -> Iterator[Field]:
    at = "Acuity"
    yield Field(
        "test.chart_distance",
        "Chart distance",
        "chart at",
        Length(r.CHART_DISTANCE, "m"),
        at,
        "How far the chart stood. A Snellen fraction with the real distance (10/50) needs no more.",
        "what is expected at the chart of the delivered device; the record",
        when_empty="While it is empty, the checks of the delivered device take the chart distance of the settings, 4 m "
        "unless changed.",
    )
    yield Field(
        "test.chart_kind",
        "Chart",
        "chart",
        Choice(("letters", "numbers", "rings", "E", "pictures")),
        at,
        "What was shown on the chart; numbers and rings give other results than letters.",
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
    yield from by_eye(
        "distance_acuity",
        "Distance acuity",
        "Distance acuity",
        AcuityKind(),
        at,
        "With best lenses, by letters: 20/100-2 counts each letter as 0.02 log.",
        "required power, predicted acuity, chance, focus range",
        both=True,
    )
    yield from by_eye(
        "viewing",
        "Eccentric viewing",
        "Eccentric viewing",
        Words(80, example="looks up and left, 10 o'clock"),
        at,
        "Where the eye looks to see best, in clock hours, or 'straight'.",
        "centring of the tube; training",
    )
    yield from by_eye(
        "near_acuity",
        "Smallest print read",
        "Smallest print",
        NearKind(),
        at,
        "The smallest words that can just be read, with the distance of the page: 1.6M @ 40 is 1.6M at 40 cm.",
        "required equivalent viewing distance (EVD) for print",
        both=True,
    )
    yield Field(
        "test.near_add",
        "Add worn for near test",
        "test add",
        Number(r.ADD, 2, signed=True),
        at,
        "The add through which print was read.",
        "the record",
    )
    yield from by_eye(
        "reading_curve",
        "Reading curve",
        "Reading curve",
        CurveKind(),
        at,
        "Print sizes with words per minute, at least five from easy to hardest: the last sizes below the plateau.",
        "critical print, equivalent viewing distance (EVD) for sustained reading",
        both=True,
    )


def refraction_fields() -> Iterator[Field]:
    at = "Refraction"
    yield from by_eye(
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
        "Refraction vertex",
        Length(r.VERTEX),
        at,
        "From the back of the trial lens to the cornea during refraction.",
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
    yield from by_eye(
        "accommodation",
        "Accommodation",
        "Accommodation",
        Number(r.ACCOMMODATION, 2),
        at,
        "Measured amplitude in dioptres; leave empty to use the figure by age.",
        "clear range",
        when_empty="While it is empty, the figure by age counts for what can be kept up, and is shown so in that row.",
    )
    yield from by_eye(
        "sustained_accommodation",
        "Sustained accommodation",
        "Accommodation kept",
        Number(r.ACCOMMODATION, 2),
        at,
        "What can be kept up for minutes; half the amplitude is taken if left empty.",
        "clear range",
        assumption="sustained_accommodation_d",
    )


def light_fields() -> Iterator[Field]:
    at = "Contrast and light"
    yield from by_eye(
        "contrast",
        "Letter contrast",
        "Letter contrast",
        Number(r.LOG_CS, 2),
        at,
        "Log contrast sensitivity by letters, 0.05 a letter.",
        "contrast reserve",
        both=True,
        assumption="log_cs",
        both_when_empty="While it is empty, the better of the two eyes counts for both together.",
    )
    yield from by_eye(
        "pupil",
        "Pupil in the room",
        "Pupil in the room",
        Number(r.EYE_PUPIL, 1),
        at,
        "Entrance pupil in the light in which the device will be used.",
        "focus range, field by criterion, brightness",
        assumption="pupil_mm",
    )
    yield from by_eye(
        "pupil_dim",
        "Pupil in dim light",
        "Pupil in dim light",
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
        when_empty="While it is empty, a pupil that is not measured is taken in the room light of the settings, "
        "50 cd/m2 unless changed; the pupil's row says so.",
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
    yield Field(
        "test.colour",
        "Colour",
        "colour",
        Words(80, example="tells red from green, each eye"),
        at,
        "Colour vision: the test used and its result, each eye.",
        "the note",
    )


def field_of_vision_fields() -> Iterator[Field]:
    at = "Visual field"
    yield from by_eye(
        "scotoma",
        "Central scotoma, width",
        "Central scotoma",
        Number(r.SCOTOMA, 1),
        at,
        "Diameter of the central blind area in degrees; 0 if none.",
        "reading prognosis; eccentric viewing",
    )
    yield from by_eye(
        "visual_field",
        "Seeing field, width",
        "Seeing field",
        Number(r.VISUAL_FIELD, 0),
        at,
        "Horizontal extent of the seeing field in degrees by confrontation.",
        "ring scotoma, orientation, fellow eye's help",
    )
    yield Field(
        "test.field_note",
        "Field in words",
        "field note",
        Words(example="confrontation full; centre dim, repeats"),
        at,
        "Test used, place of defects, whether repeatable.",
        "the note",
    )
