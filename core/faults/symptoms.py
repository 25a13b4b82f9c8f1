"""The table of complaints: what is heard, the causes that can stand behind each, the words it is heard in, and
the check.

Data only. ``causes`` maps the id of a fault to the sign of its size for which the complaint is expected: 0 for
either. A complaint without a further word ("blurred", "double") stands for all rows of its kind.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Symptom:
    """One row: ``words`` are regular expressions for what people say; ``of`` names the general row it belongs to."""

    key: str
    title: str
    causes: Mapping[str, int]
    check: str
    words: tuple[str, ...]
    of: str = ""


_BLUR = r"(?:blur\w*|unclear|not clear|fuzzy|unsharp|out of focus)"

SYMPTOMS: tuple[Symptom, ...] = (
    Symptom(
        "blur_everywhere",
        "blur at all distances",
        {"sphere": 0, "focus": 0, "wrong_place": 0, "cylinder": 0, "eye_changed": 0},
        "Does the tube alone read 0? Over-refract behind the ocular, where lenses act in full.",
        (rf"{_BLUR} (?:everywhere|at all|always|at every)", r"never (?:clear|sharp)"),
        "blur",
    ),
    Symptom(
        "blur_middle",
        "clear far, blurred in the middle distance",
        {"middle_distance": 0, "accommodation": 0, "sphere": 1, "focus": -1},
        "Compare the nearest clear distance with the computed one; try a weak cap of 0.25 to 0.75 D, or refocus.",
        (rf"{_BLUR} (?:at |from |in )?(?:the )?(?:\d|mid|near|close|inside the room|across)", r"only clear far"),
        "blur",
    ),
    Symptom(
        "clear_close_only",
        "clear only close up",
        {"focus": 1, "sphere": -1, "cap_left_on": 0},
        "Cap off? Then the farthest clear distance gives what is left: M²/|R| - t M.",
        (r"only (?:clear|sharp) (?:close|near)", r"(?:clear|sharp) only (?:close|near)", rf"{_BLUR} far"),
        "blur",
    ),
    Symptom(
        "tunnel",
        "small field, tunnel",
        {"eye_distance": 1, "exit_pupil_missed": 0, "creep": 0, "field_narrow": 0, "marked_power": 1},
        "Measure the eye distance with the device on; compare the field with the computed one.",
        (r"tunnel", r"keyhole", r"small (?:field|view|window)", r"see (?:too )?little at once", r"narrow"),
    ),
    Symptom(
        "dark_fading",
        "dark, or fading when the gaze turns",
        {"exit_pupil_missed": 0, "decentration": 0, "tube_height": 0, "light": 0},
        "Eye relief against eye distance; exit pupil centred, and not smaller than the pupil in dim light.",
        (r"\bdark", r"fad(?:es|ing)", r"black(?:s|ed)? out", r"\bdim\b", r"dims"),
    ),
    Symptom(
        "crescent",
        "crescent shadow, half of the field gone",
        {"decentration": 0, "tube_height": 0, "tube_tilt": 0, "spread": 0},
        "Look from the front: does the exit pupil sit in the middle of the eye's pupil?",
        (r"crescent", r"shadow", r"half (?:of )?(?:the )?(?:field|view|picture)", r"one side"),
    ),
    Symptom(
        "double_vertical",
        "vertical double vision",
        {"tilt_vertical": 0, "height_mismatch": 0, "cap_unequal": 0, "own_deviation": 0, "loose_mount": 0},
        "Vertical prism at distance (a tilt) and at near with the caps (a difference in height).",
        (r"(?:above|over) (?:each other|one another|the other)", r"vertical\w* doubl",
        r"double.*(?:height|vertical|up)"),
        "double",
    ),
    Symptom(
        "double_near_only",
        "horizontal double vision at near only",
        {"near_convergence": 0, "cap_reversed": 0, "spread": 1, "decentration": 0, "cap_unequal": 0},
        "Caps with base-in, tubes turned in for this distance, or one eye; which way round do the caps stand?",
        (r"double (?:only )?(?:at|when|for|with) (?:near|reading|the cap)", r"double.*(?:near|reading|cap)"),
        "double",
    ),
    Symptom(
        "double_far",
        "horizontal double vision at distance",
        {"tilt_horizontal": 0, "fusion_lost": 0, "own_deviation_sideways": 0},
        "Horizontal prism at distance with the device and without it; cover test; suppression.",
        (r"side by side", r"horizontal\w* doubl", r"double.*(?:far|distance)"),
        "double",
    ),
    Symptom(
        "sizes_differ",
        "one image larger",
        {"marked_power": 0, "unequal_images": 0},
        "Exit pupil of each side, both tubes afocal.",
        (r"(?:bigger|larger|smaller) (?:in|on|with|than)", r"different size",
        r"one (?:image|picture|eye).*(?:bigger|larger)"),
    ),
    Symptom(
        "swimming",
        "swimming, nausea",
        {"motion": 0, "loose_mount": 0, "no_training": 0},
        "Read with the head free, then supported; look for play in the mount; less power, shorter looks.",
        (r"swim", r"nause", r"dizz", r"sick", r"giddy", r"vertigo", r"jump(?:s|ing|y)", r"shak"),
    ),
    Symptom(
        "cannot_find",
        "cannot find the target",
        {"field_narrow": 0, "no_training": 0, "eye_distance": 1, "exit_pupil_missed": 0, "marked_power": 1},
        "Is the field under 10 degrees? Practise: fixate first, then bring the tube up.",
        (r"(?:cannot|can't|hard to|difficult to|trouble) (?:find|locat)", r"finding",
        r"loses? (?:the|her|his|my)? ?place"),
    ),
    Symptom(
        "print_no_better",
        "near print no better though the power is right",
        {"contrast": 0, "light": 0, "reserve": 0, "working_distance": 0, "cap_missing": 0, "eye_changed": 0},
        "Contrast sensitivity; double the light; more power, or an electronic aid.",
        (r"print (?:no|not) (?:better|clear)", r"(?:cannot|can't) read", r"reading (?:no|not) better"),
    ),
    Symptom(
        "letters_not_words",
        "letters good, words poor",
        {"reserve": 0, "scotoma": 0},
        "Reading curve for the critical print size; characters in view against the scotoma.",
        (r"letters? (?:but|good|yes)", r"words? (?:poor|fall|break|incomplete)", r"loses? (?:the )?(?:line|ends?)",
        r"slow"),
    ),
    Symptom(
        "faces",
        "face seen, expression not",
        {"contrast": 0},
        "Contrast sensitivity; go nearer. It is contrast, not size.",
        (r"expression", r"faces?\b"),
    ),
    Symptom(
        "clinic_not_home",
        "works in the clinic, not at home",
        {"light": 0, "posture": 0, "working_distance": 0, "no_training": 0},
        "Repeat the task at its real distance, posture and light.",
        (r"(?:not|worse|nothing) at home", r"at home (?:not|it does|nothing|worse)",
        r"only (?:works )?(?:here|in the clinic)"),
    ),
    Symptom(
        "neck",
        "neck ache",
        {"posture": 0, "tube_height": 1, "tube_tilt": 0, "working_distance": 0},
        "Measure the head drop into the telescope and the working distance; reading stand.",
        (r"neck", r"shoulder", r"stoop"),
    ),
    Symptom(
        "nose",
        "nose sore, device slides down",
        {"creep": 0},
        "Weigh it, look at the pads; measure the eye distance again after an hour of wear.",
        (r"nose", r"sore", r"slides?", r"slip", r"drops?", r"heavy", r"weight"),
    ),
    Symptom(
        "fringe",
        "colour fringe, barrel-shaped picture",
        {"off_axis": 0, "tube_tilt": 0, "tube_height": 0},
        "Centre the gaze in the ocular: does it go? A smaller angle between gaze and axis.",
        (r"colou?r", r"fringe", r"rainbow", r"barrel", r"bent", r"bulg", r"curved"),
    ),
    Symptom(
        "veil",
        "reflections, veil",
        {"reflections": 0},
        "Shade the tube by hand, move the lamp: does it go? Hood, coatings.",
        (r"reflect", r"veil", r"\bhaz[ey]", r"glare", r"ghost", r"foggy", r"mist"),
    ),
    Symptom(
        "cap_strength",
        "cap seems too strong or too weak",
        {"sphere": 0, "focus": 0, "cap_power": 0, "cap_unequal": 0, "working_distance": 0},
        "Read the cap; over-refract for a far target with the cap off; page at 1000/cap mm.",
        (r"cap.*(?:strong|weak)", r"too (?:strong|weak)", r"(?:too close|too near|far away) to read"),
    ),
)  # fmt: skip

# Complaints without a further word: every cause of the rows of their kind.
GENERAL: tuple[Symptom, ...] = tuple(
    Symptom(
        key,
        title,
        {cause: 0 for row in SYMPTOMS if row.of == key for cause in row.causes},
        check,
        words,
    )
    for key, title, check, words in (
        ("blur", "blurred, no distance said", "At which distances is it clear?", (_BLUR,)),
        (
            "double",
            "double, no direction said",
            "Above or beside, near or far?",
            (r"doubl\w*", r"two (?:of|pictures)"),
        ),
    )
)
ROWS: Mapping[str, Symptom] = {row.key: row for row in (*SYMPTOMS, *GENERAL)}


def symptoms_in(text: str) -> frozenset[str]:
    """The keys of the rows that a complaint in free words stands for; a general row only without a special one."""
    plain = re.sub(r"\s+", " ", text.lower())
    heard = {row.key for row in SYMPTOMS if any(re.search(word, plain) for word in row.words)}
    kinds = {ROWS[key].of for key in heard}
    heard |= {
        row.key
        for row in GENERAL
        if row.key not in kinds and any(re.search(word, plain) for word in row.words)
    }
    return frozenset(heard)
