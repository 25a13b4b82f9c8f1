"""The sheet for the patient: plain words, large print, everyday measures, nothing that runs."""

from __future__ import annotations

import re
from html.parser import HTMLParser

import documents_cases as cases
import pytest

from afocal.core.documents.everyday import day, distance, near_distance, small_distance, times
from afocal.core.documents.handout import (
    CONDITIONS,
    HTML_POINTS,
    LARGE_PRINT_COLUMNS,
    handout_html,
    handout_parts,
    handout_template,
    handout_text,
    own_handout_template,
    placeholders,
)
from afocal.core.documents.text import columns
from afocal.core.errors import FileRefusal
from afocal.core.fitting.cautions import all_cautions, cautions_for
from afocal.core.fitting.exercises import the_task

NAMES = tuple(cases.ALL)
GRADE = 7.0


def sheet_parts(name: str):
    """The sheet of an invented case."""
    case = cases.ALL[name]()
    return case, handout_parts(case, cases.plan_of(case), cases.sheet_of(case), cases.SETTINGS)


def sentences(name: str) -> list[str]:
    """The sentences that the program wrote: no headings, and not the lines that hold codes, dates and versions."""
    _, parts = sheet_parts(name)
    lines = [line for part in parts if part.heading for line in part.lines]
    return [
        piece for line in lines for piece in re.split(r"(?<=[.!?])\s+(?=[A-Z])", re.sub(r"^\d\. ", "", line))
    ]


def syllables(word: str) -> int:
    """Syllables of an English word by its groups of vowels, a silent e left out; at least one."""
    word = re.sub(r"[^a-z]", "", word.lower())
    silent = word.endswith("e") and not word.endswith("le") and not re.search(r"[aeiouy]e$", word)
    groups = len(re.findall(r"[aeiouy]+", word)) - silent
    groups -= len(re.findall(r"[^aeioutd]ed$", word))
    return max(1, groups)


# Kincaid JP, Fishburne RP, Rogers RL, Chissom BS. Derivation of new readability formulas. Research Branch Report 8-75,
# Naval Technical Training, Millington TN, 1975: 0.39 words/sentence + 11.8 syllables/word - 15.59.
# Senter RJ, Smith EA. Automated readability index. AMRL-TR-66-220, Wright-Patterson AFB, 1967:
# 4.71 letters/word + 0.5 words/sentence - 21.43. Both formulas from memory.
def grades(lines: list[str]) -> tuple[float, float]:
    """The reading grade by both formulas."""
    words = [word for line in lines for word in re.findall(r"[A-Za-z][A-Za-z'-]*|\d+(?:[./]\d+)?", line)]
    letters = sum(len(re.sub(r"[^A-Za-z0-9]", "", word)) for word in words)
    per_sentence = len(words) / len(lines)
    kincaid = 0.39 * per_sentence + 11.8 * sum(map(syllables, words)) / len(words) - 15.59
    automated = 4.71 * letters / len(words) + 0.5 * per_sentence - 21.43
    return kincaid, automated


@pytest.mark.parametrize(
    ("word", "count"),
    [
        ("telescope", 3),
        ("the", 1),
        ("glasses", 2),
        ("moved", 1),
        ("table", 2),
        ("seated", 2),
        ("eye", 1),
        ("away", 2),
    ],
)
def test_the_counting_of_syllables(word, count):
    """The counter agrees with a dictionary on everyday words."""
    assert syllables(word) == count


def test_the_formulas_tell_hard_from_easy():
    """A sentence of a standard is far above the grade, a primer far below."""
    hard = [
        "Notwithstanding contraindications, binocular telescopic prescription necessitates demonstrable fusion."
    ]
    easy = ["The cat sat on the mat.", "It was a big cat."]
    assert min(grades(hard)) > 15 and max(grades(easy)) < 2


@pytest.mark.parametrize("name", NAMES)
def test_every_sheet_reads_at_grade_seven_or_easier(name):
    """By both published formulas, over the sentences of the sheet."""
    kincaid, automated = grades(sentences(name))
    assert kincaid <= GRADE and automated <= GRADE, (kincaid, automated)


def test_every_sentence_of_the_template_is_short():
    """No sentence of the template has more than 26 words, whatever the case; most have far fewer."""
    text = own_handout_template()
    lines = re.findall(r'^    "(.*)",$|full = \["(.*)"\]$', text, re.M)
    pieces = [
        piece for pair in lines for line in pair for piece in re.split(r'(?<=[.!?])\s+|", "', line) if piece
    ]
    assert len(pieces) > 80
    assert max(len(piece.split()) for piece in pieces) <= 26


# College of Optometrists, guidance on assessing and managing patients with low vision, written instructions: tasks, how to
# use, distance from eye and object, which spectacles, lighting, training, aftercare, care and cleaning (in our words).
@pytest.mark.parametrize(
    "heading",
    [
        "Your telescope",
        "What it is for",
        "How to use it",
        "Where things look clear",
        "Which glasses, which light",
        "Stay safe",
        "Practice",
        "Care and cleaning",
        "What we found",
        "When to come back",
    ],
)
@pytest.mark.parametrize("name", ["bioptic", "two-tubes", "with-cap", "focusing"])
def test_the_sheet_holds_what_written_instructions_should(name, heading):
    """Each subject that professional guidance asks for has its heading with sentences."""
    _, parts = sheet_parts(name)
    assert [part.heading for part in parts].count(heading) == 1
    assert next(part for part in parts if part.heading == heading).lines


def test_who_gets_no_telescope_is_told_to_come_back():
    """A refused device: why, what else there is, and to come back; nothing about use, care or cautions."""
    _, parts = sheet_parts("refused")
    text = " ".join(line for part in parts for line in part.lines)
    assert "Please come back." in text and "There are other ways to help" in text
    assert "sun" not in text and "Wipe" not in text
    assert "Your right eye: it can see a hand move 50 cm (20 inches) away." in text
    assert "Your left eye: it can tell light from dark." in text


def lines_of(case) -> dict[str, str]:
    """The sheet of a case: each heading with its sentences in one line."""
    parts = handout_parts(case, cases.plan_of(case), cases.sheet_of(case), cases.SETTINGS)
    return {part.heading: " ".join(part.lines) for part in parts}


@pytest.mark.parametrize("name", ["bioptic", "refused"])
@pytest.mark.parametrize(
    ("sign", "words"),
    [
        ("sudden_loss", "dropped all at once"),
        ("new_distortion", "Lines look bent"),
        ("flashes_or_floaters", "flashes or new spots"),
        ("eye_pain", "Your eye hurts"),
        ("field_loss_new", "side view"),
    ],
)
def test_a_sign_for_the_same_day_leads_the_sheet(name, sign, words):
    """Who must see an eye doctor today reads that first, with what was found, and that a telescope waits."""
    case = cases.ALL[name]().with_typed(f"history.{sign}", "yes")
    parts = handout_parts(case, cases.plan_of(case), cases.sheet_of(case), cases.SETTINGS)
    assert parts[0].heading == "Before anything else" and words in parts[0].lines[1]
    assert parts[0].lines[0].startswith("See an eye doctor today.")
    assert ("must wait" in " ".join(parts[0].lines)) == (name == "bioptic")
    assert (
        max(grades([piece for line in parts[0].lines for piece in re.split(r"(?<=[.!?]) ", line)])) <= GRADE
    )
    assert "Before anything else" not in lines_of(cases.ALL[name]())


def test_a_sheet_for_a_device_without_a_cap_speaks_of_none():
    """Caps are named only where there is one, the ring only where it can be turned."""
    without = " ".join(lines_of(cases.bioptic()).values())
    assert "cap" not in without.replace("escape", "") and "ring to make" not in without
    assert "Things look clear from about" in without
    clear = lines_of(cases.with_cap())["Where things look clear"]
    assert "With no cap on, things look clear" in clear and "With the cap on" in clear
    focusing = lines_of(cases.focusing())["Where things look clear"]
    assert focusing.startswith("You can make things sharp from about") and "Turn the ring" in focusing


def test_a_lamp_is_advised_for_near_things_only():
    """Nobody puts a lamp on a street sign."""
    assert "lamp" not in " ".join(lines_of(cases.bioptic()).values())
    assert "lamp" not in " ".join(lines_of(cases.two_tubes()).values())
    assert "lamp on the page" in lines_of(cases.with_cap())["Which glasses, which light"]


def test_the_next_visit_is_the_one_that_is_set():
    """A day that is set is named, none is made up, and a day that has come is not ahead."""
    set_ = lines_of(cases.bioptic())["When to come back"]
    assert set_.startswith("Your next visit is on Tuesday, 8 December 2026.") and "2 weeks" not in set_
    for other in ("", "2026-11-24"):
        unset = lines_of(cases.bioptic().with_typed("plan.next_date", other))["When to come back"]
        assert unset.startswith("Ask us for the day of your next visit.") and "is on" not in unset


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ("CF 2 ft", "it can count fingers 61 cm (24 inches) away"),
        ("CF", "it can count fingers"),
        ("HM at 50 cm", "it can see a hand move 50 cm (20 inches) away"),
        ("LP", "it can tell light from dark"),
        ("NLP", "it sees no light"),
    ],
)
def test_sight_below_the_chart_is_said_in_everyday_words(typed, words):
    """No code and no term of the trade."""
    case = cases.with_cap().with_typed("right.distance_acuity", typed)
    found = lines_of(case)["What we found"]
    assert f"Your right eye: {words}." in found
    assert not re.search(r"\b(CF|HM|LP|NLP|motion|perception)\b", found)


def test_only_what_holds_for_the_tube_and_the_other_eye_is_said():
    """A tube with its exit pupil behind it is not better for being closer; an eye that sees no light watches nothing."""
    assert "The closer the telescope" in lines_of(cases.bioptic())["How to use it"]
    focusing = lines_of(cases.focusing())["How to use it"]
    assert "The closer" not in focusing and "The view goes dark" in focusing
    assert "Your other eye watches" in lines_of(cases.with_cap())["Your telescope"]
    for blind in ("NLP", "LP", ""):
        case = cases.with_cap().with_typed("right.distance_acuity", blind)
        assert "other eye" not in lines_of(case)["Your telescope"]


def test_a_clip_goes_over_glasses_only_where_it_was_computed_so():
    """Where the spectacles under the clip are in question the sheet does not tell to wear them."""
    choice = {"telescope": "g20-wide", "eye": "right", "position": "full diameter", "mount": "clip-on"}
    over = cases.chosen(cases.two_tubes(), **choice)
    assert "Wear your far glasses under it." in lines_of(over)["Which glasses, which light"]
    bare = cases.chosen(cases.two_tubes(), **choice, correction="none")
    assert "far glasses" not in " ".join(lines_of(bare).values())


@pytest.mark.parametrize("name", ["bioptic", "two-tubes", "with-cap", "focusing", "fitted"])
def test_every_caution_that_applies_is_in_plain_words(name):
    """Each caution of the chosen device has its plain sentence under Stay safe, and no other does."""
    case, parts = sheet_parts(name)
    safe = next(part for part in parts if part.heading == "Stay safe")
    assert len(safe.lines) == len(cautions_for(case))
    assert "Never look at the sun" in " ".join(safe.lines)


def test_every_caution_there_is_has_a_plain_sentence():
    """A caution added to the program without its plain words would be silent here."""
    text = own_handout_template()
    assert [each.key for each in all_cautions() if f'when = "caution {each.key}"' not in text] == []
    assert all(f"caution {each.key}" in CONDITIONS for each in all_cautions())


def test_distances_are_those_of_the_case_in_everyday_measures():
    """The working distance with the cap and the clear range, in centimetres with inches, metres with feet."""
    _, parts = sheet_parts("with-cap")
    text = " ".join(line for part in parts for line in part.lines)
    # 2.5x, tube 28 mm, cap +2.25 D, 1.00 D of myopia at the ocular left in: 414.6 mm, derived by ray matrices.
    assert "keep things 41 cm (16 inches) from the cap" in text
    assert "Bright light troubles you." in text


@pytest.mark.parametrize(
    ("shown", "words"),
    [
        (near_distance(444), "44 cm (17 inches)"),
        (near_distance(89), "9 cm (3.5 inches)"),
        (distance(4097), "4.1 m (13 feet)"),
        (distance(8000), "8 m (26 feet)"),
        (distance(25.4), "3 cm (1 inch)"),
        (small_distance(14), "14 mm (half an inch)"),
        (times(-4.0), "4 times"),
        (times(2.5), "2.5 times"),
        (day(cases.ON), "Tuesday, 24 November 2026"),
    ],
)
def test_everyday_measures(shown, words):
    """Inch of 25.4 mm, foot of 304.8 mm, rounded as people speak."""
    assert shown == words


@pytest.mark.parametrize("name", NAMES)
def test_the_text_fits_a_large_font(name):
    """No line is wider than what 18-point letters leave on a page."""
    case = cases.ALL[name]()
    text = handout_text(case, cases.plan_of(case), cases.sheet_of(case), cases.SETTINGS, letters="ascii")
    assert text.isascii() and max(columns(line) for line in text.splitlines()) <= LARGE_PRINT_COLUMNS


class Reader(HTMLParser):
    """Collects tags, attributes and text."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.attributes: list[tuple[str, str | None]] = []
        self.words: list[str] = []
        self.open: list[str] = []

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.attributes += attrs
        if tag != "meta":
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        if self.open and self.open[-1] != "style":
            self.words.append(data)


def html(case) -> tuple[str, Reader]:
    """The HTML file and what a parser finds in it."""
    text = handout_html(case, cases.plan_of(case), cases.sheet_of(case), cases.SETTINGS)
    reader = Reader()
    reader.feed(text)
    reader.close()
    return text, reader


def luminance(colour: str) -> float:
    """Relative luminance of a colour (Web Content Accessibility Guidelines 2.2)."""
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


@pytest.mark.parametrize("name", NAMES)
def test_the_html_stands_alone_and_runs_nothing(name):
    """Only plain tags, all closed; no script, no handler, no address, nothing to fetch."""
    text, reader = html(cases.ALL[name]())
    assert reader.open == []
    assert set(reader.tags) <= {
        "html",
        "head",
        "meta",
        "title",
        "style",
        "body",
        "h1",
        "h2",
        "section",
        "footer",
        "p",
    }
    assert not {key for key, _ in reader.attributes} & {"src", "href", "srcset", "style", "onload", "onclick"}
    assert not re.search(r"javascript|url\(|@import|https?:", text)
    assert text.startswith("<!DOCTYPE html>") and 'lang="en"' in text and "default-src 'none'" in text


def test_the_html_is_large_and_high_in_contrast():
    """20 points, nothing under 18, black on white at 21 to 1, a print style of its own."""
    text, _ = html(cases.bioptic())
    style = text[text.index("<style>") : text.index("</style>")]
    sizes = [float(size) for size in re.findall(r"(\d+(?:\.\d+)?)pt(?=[/;])", style) if float(size) > 3]
    assert HTML_POINTS >= 18 and min(sizes) >= 18
    assert all(float(size) >= 1 for size in re.findall(r"font-size: ([\d.]+)em", style))
    colours = re.findall(r"#[0-9a-f]{6}", style)
    assert set(colours) == {"#ffffff", "#000000"}
    assert (luminance("#ffffff") + 0.05) / (luminance("#000000") + 0.05) == pytest.approx(21)
    assert "@media print" in style and "break-inside: avoid" in style


def test_hostile_words_are_only_words():
    """Markup, braces and escape sequences in every field come out as letters."""
    text, reader = html(cases.hostile(cases.bioptic()))
    assert "<script" not in text and "<img" not in text
    assert all(c.isprintable() or c == "\n" for c in text)
    assert set(reader.tags) <= {
        "html",
        "head",
        "meta",
        "title",
        "style",
        "body",
        "h1",
        "h2",
        "section",
        "footer",
        "p",
    }
    assert "<script>alert(1)</script>" in "".join(reader.words) and "{made_by}" in "".join(reader.words)


def test_placeholders_and_conditions_are_listed():
    """Everything that a clinic's own sheet may name is told."""
    listed = placeholders()
    assert {f'when = "{each}"' for each in CONDITIONS} <= set(listed)
    assert any(line.startswith("{today_signs}") for line in listed)


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('"{why_none}"', '"{why_non}"', "unknown placeholder"),
        ('when = "cap"', 'when = "capp"', "unknown condition"),
    ],
)
def test_a_clinics_own_template_is_checked(old, new, says):
    """A wrong placeholder or condition is named with its line and the nearest known one."""
    text = own_handout_template().replace(old, new, 1)
    with pytest.raises(FileRefusal) as caught:
        handout_template(text, "own.toml")
    assert says in caught.value.reason and caught.value.line and caught.value.nearest in old


def test_the_sheet_never_says_that_a_device_helps_with_driving():
    """Who may drive is for local law and licensed practice: no promise, no exercise, and the law is named instead."""
    case = cases.bioptic().with_goal_typed(0, "task", "driving").with_goal_typed(0, "detail", "20/100")
    found = cases.plan_of(case)
    assert found.demands[0].at_the_wheel
    text = " ".join(handout_text(case, found, cases.sheet_of(case), cases.SETTINGS).split())
    assert "Driving, " not in text and "the real thing: driving" not in text
    assert "Driving: the law where you live decides that, not this sheet. Ask us first." in text
    assert not any("driving" in each.title.lower() for each in the_task(case.visit.goals))
    assert the_task(cases.bioptic().visit.goals)
