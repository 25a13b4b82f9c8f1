"""The documented set of placeholders of a chart note, and what a clinic's own template may not leave out."""

from __future__ import annotations

from .template import Placeholder

_WORDS = (
    Placeholder("code", "the patient code"),
    Placeholder("date", "the day of the visit, year first"),
    Placeholder("kind", "examination, fitting or follow-up"),
    Placeholder("age", "the age on that day, in years"),
    Placeholder("examiner", "whoever examined"),
    Placeholder("clinic", "the clinic, from the settings"),
    Placeholder("next_step", "what is to be done next"),
    Placeholder("next_date", "the day of the next visit"),
    Placeholder("made_by", "version of the program and of its formulas"),
)
_BLOCKS = (
    Placeholder("person", "work, school, day", True),
    Placeholder("history", "everything asked in the history", True),
    Placeholder(
        "history_brief", "eye condition, onset, course and each warning sign that was answered yes", True
    ),
    Placeholder("goals", "the goals in their rank, with their figures", True),
    Placeholder("acuity", "acuities, print, reading curves, with chart and distance", True),
    Placeholder("refraction", "refraction, vertex, add, accommodation", True),
    Placeholder("light", "contrast, pupils, glare, colour", True),
    Placeholder("visual_field", "scotoma and seeing field", True),
    Placeholder("both_eyes", "dominance, fusion, reserves, double vision", True),
    Placeholder("face", "PDs, heights, vertex, frame", True),
    Placeholder("trial", "what was tried and what was seen through it", True),
    Placeholder("fitting", "each step with target, measured value and verdict", True),
    Placeholder("fitting_brief", "how many steps were done, and those that need attention", True),
    Placeholder("changes", "what was measured again, and the change against what repeats", True),
    Placeholder("follow_up", "use, problems, what happens to the device", True),
    Placeholder("urgent", "prompts to refer the same day; it stands first in the program's own note", True),
    Placeholder("referrals", "prompts to refer that can wait for some days", True),
    Placeholder("decision", "what the computation advises, in a sentence", True),
    Placeholder("needs", "what each goal asks of any device", True),
    Placeholder("eye_advice", "one eye or two, with the reasons", True),
    Placeholder("device", "the numbers of the chosen device, each with its criterion", True),
    Placeholder("device_brief", "the few of them that matter most", True),
    Placeholder(
        "outcomes", "what the chosen device does for each goal, each number with its criterion", True
    ),
    Placeholder("outcomes_brief", "the few of them that matter most", True),
    Placeholder("alternatives", "near goals: what other near devices would do", True),
    Placeholder("assumed", "every value that was assumed, and the clinic's own settings", True),
    Placeholder("choice", "the chosen telescope, eye, position, mount, cap, correction, focus", True),
    Placeholder("choice_reason", "the practitioner's reason for it", True),
    Placeholder("cautions", "the cautions given, and whether they were understood", True),
    Placeholder("training", "each training session", True),
    Placeholder("training_brief", "how many sessions there were", True),
    Placeholder("free_notes", "what the practitioner typed, kept apart", True),
    Placeholder("signature", "who signed when, or that nobody did", True),
    Placeholder("addenda", "later words, dated", True),
)
PLACEHOLDERS = {each.name: each for each in (*_WORDS, *_BLOCKS)}
# What a clinic's own template may not leave out.
REQUIRED = ("urgent", "referrals", "assumed", "cautions", "made_by")
# Typed by people, several lines long: set off with a bar, so that nothing in them can pass for computed text.
TYPED_BLOCKS = frozenset({"free_notes", "addenda"})
