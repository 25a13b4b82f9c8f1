"""The sheet for the patient: large print, plain words, everyday measures; as text and as one HTML file without script.

All sentences stand in a template as data, chosen by conditions of the case (a cap, two tubes, a bioptic …). The text is
meant for a large font, so its lines are short; the HTML brings its own print style.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache, cached_property
from html import escape
from pathlib import Path

from ..acuity import Acuity, OffChart, format_acuity
from ..case import Case
from ..fitting.cautions import all_cautions, cautions_for
from ..fitting.types import FittingSheet
from ..plan.types import Grade, Option, Plan
from ..settings import Settings
from .everyday import day, distance, small_distance, times
from .options import chosen_option
from .template import Line, Placeholder, Template, own_text, placeholder_help, read_template
from .text import Letters, clean, fill, in_letters
from .version import made_by

# So many letters of a fixed-width face of 18 points fit between the margins of a page, A4 or letter.
LARGE_PRINT_COLUMNS = 40
HTML_POINTS = 20

_WORDS = (
    Placeholder("code", "the patient code"),
    Placeholder("date", "the day of the visit in full"),
    Placeholder("clinic", "the clinic, from the settings"),
    Placeholder("made_by", "version of the program and of its formulas"),
    Placeholder("power", "how much larger, such as 2.5 times"),
    Placeholder("eye", "your right eye, your left eye, or both eyes"),
    Placeholder("eye_distance", "from the telescope to the eye"),
    Placeholder("clear_from", "nearest clear distance without a cap, when far is clear too"),
    Placeholder("clear_span", "clear distances without a cap, when far is not clear"),
    Placeholder("cap_distance", "working distance with the cap"),
    Placeholder("cap_span", "clear distances with the cap"),
    Placeholder("first_goal", "the first goal that the device serves"),
    Placeholder("why_none", "why no device was chosen, in plain words"),
    Placeholder("next_day", "the day of the next visit in full"),
    Placeholder("next_step", "what is to be done next"),
)
_BLOCKS = (
    Placeholder("helps_with", "goals that are met", True),
    Placeholder("may_help_with", "goals that are nearly met", True),
    Placeholder("falls_short", "goals that are missed", True),
    Placeholder("not_for", "goals that it cannot serve", True),
    Placeholder("found", "acuities in the clinic's notation", True),
)
PLACEHOLDERS = {each.name: each for each in (*_WORDS, *_BLOCKS)}
CONDITIONS = (
    "device",
    "no device",
    "one tube",
    "two tubes",
    "bioptic",
    "full diameter",
    "low",
    "through the lens",
    "in front",
    "flip-up",
    "clip-on",
    "cap",
    "no cap",
    "focus by hand",
    "correction on",
    "set for the eye",
    "no correction",
    "glare",
    "moving goal",
    *(f"caution {text.key}" for text in all_cautions()),
)

TEMPLATE = "handout.toml"
_NUMBER_AND_UNIT = re.compile(r"(\d) (?=(?:mm|cm|m|feet|inch|inches|times)\b)")


@dataclass(frozen=True, slots=True)
class Part:
    """A heading with its sentences."""

    heading: str
    lines: tuple[str, ...]


def handout_parts(
    case: Case,
    plan: Plan | None,
    sheet: FittingSheet | None,
    settings: Settings,
    *,
    template: Template | None = None,
) -> list[Part]:
    """The sheet as headed sentences, the same for every form of output."""
    facts = _Facts(case, plan, sheet, settings)
    holding = facts.conditions()
    parts: list[Part] = []
    for section in (template or _own_template()).sections:
        if not all(condition in holding for condition in section.when):
            continue
        lines = tuple(words for line in section.full for words in _lines(line, facts))
        if lines and parts and parts[-1].heading == section.heading:
            parts[-1] = Part(section.heading, (*parts[-1].lines, *lines))
        elif lines:
            parts.append(Part(section.heading, lines))
    return parts


def handout_text(
    case: Case,
    plan: Plan | None,
    sheet: FittingSheet | None,
    settings: Settings,
    *,
    letters: Letters | None = None,
    template: Template | None = None,
) -> str:
    """Plain text in short lines, for a large font; headings in capitals, a blank line between sentences."""
    chosen: Letters = letters or settings.letters
    blocks = []
    for part in handout_parts(case, plan, sheet, settings, template=template):
        if part.heading:
            blocks.append(
                "\n".join(fill(in_letters(part.heading.upper(), chosen), width=LARGE_PRINT_COLUMNS))
            )
        for line in part.lines:
            blocks.append("\n".join(fill(in_letters(line, chosen), width=LARGE_PRINT_COLUMNS)))
    return "\n\n".join(blocks) + "\n"


def handout_html(
    case: Case,
    plan: Plan | None,
    sheet: FittingSheet | None,
    settings: Settings,
    *,
    template: Template | None = None,
) -> str:
    """One HTML file with its print style: 20 points, black on white, no script, nothing fetched from anywhere."""
    parts = handout_parts(case, plan, sheet, settings, template=template)
    body = []
    for part in parts:
        rows = "\n".join(f"<p>{_held_together(escape(line))}</p>" for line in part.lines)
        heading = f"<h2>{escape(part.heading)}</h2>\n" if part.heading else ""
        body.append(f"<section>\n{heading}{rows}\n</section>" if heading else f"<footer>\n{rows}\n</footer>")
    title = f"Sheet for {escape(clean(case.code))}"
    return _PAGE.format(title=title, style=_STYLE, body="\n".join(body))


def _held_together(line: str) -> str:
    """Escaped text in which a number and its unit are not parted at the end of a line."""
    return _NUMBER_AND_UNIT.sub(r"\1&#160;", line)


def handout_template(text: str, path: str | Path) -> Template:
    """A clinic's own template from its TOML text; FileRefusal with line and reason when it cannot be used."""
    return read_template(text, path, PLACEHOLDERS, CONDITIONS)


def own_handout_template() -> str:
    """The text of the program's own template, to copy and edit."""
    return own_text(TEMPLATE)


def placeholders() -> list[str]:
    """The documented set of placeholders, a line each."""
    return placeholder_help(PLACEHOLDERS)


@cache
def _own_template() -> Template:
    return handout_template(own_text(TEMPLATE), TEMPLATE)


_STYLE = f"""
:root {{ color-scheme: light; }}
html {{ background: #ffffff; color: #000000; }}
body {{ font: {HTML_POINTS}pt/1.45 Verdana, "DejaVu Sans", Arial, Helvetica, sans-serif; max-width: 34em;
       margin: 0 auto; padding: 1em; text-align: left; hyphens: manual; overflow-wrap: anywhere; }}
h1 {{ font-size: 1.5em; line-height: 1.2; margin: 0 0 0.6em; }}
h2 {{ font-size: 1.25em; line-height: 1.2; margin: 1.2em 0 0.4em; border-top: 3pt solid #000000; padding-top: 0.4em; }}
p {{ margin: 0 0 0.6em; }}
footer {{ margin-top: 1.6em; border-top: 3pt solid #000000; padding-top: 0.4em; font-size: {18}pt; }}
@page {{ margin: 18mm; }}
@media print {{
  body {{ max-width: none; padding: 0; }}
  h2 {{ break-after: avoid; }}
  p {{ break-inside: avoid; orphans: 3; widows: 3; }}
}}
"""
_PAGE = """<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src 'unsafe-inline'">
<title>{title}</title>
<style>{style}</style>
</head>
<body>
<h1>For you to take home</h1>
{body}
</body>
</html>
"""


@dataclass(frozen=True)
class _Facts:
    """What the placeholders and conditions are read from."""

    case: Case
    plan: Plan | None
    sheet: FittingSheet | None
    settings: Settings

    @cached_property
    def option(self) -> Option | None:
        return chosen_option(self.plan, self.case.visit.choice, self.settings)

    def conditions(self) -> frozenset[str]:
        """The conditions that hold."""
        choice, option = self.case.visit.choice, self.option
        if choice is None:
            return frozenset({"no device", *(["glare"] if self._glare() else [])})
        holding = {
            "device",
            choice.position,
            choice.mount,
            "two tubes" if choice.eye == "both" else "one tube",
        }
        holding.add("cap" if choice.cap else "no cap")
        by_correction = {"refocused": "set for the eye", "none": "no correction"}
        holding.add(by_correction.get(choice.correction, "correction on"))
        holding.update(f"caution {text.key}" for text in cautions_for(self.case))
        if choice.mount == "clip-on":
            holding -= {"correction on", "set for the eye", "no correction"}
        if option is not None and option.telescope.focusable:
            holding.add("focus by hand")
        if self._glare():
            holding.add("glare")
        if any((goal.value("object_speed") or 0) > 0 for goal in self.case.visit.goals):
            holding.add("moving goal")
        return frozenset(holding)

    def _glare(self) -> bool:
        return self.case.value("test.glare") in ("some", "disabling")

    def word(self, name: str) -> str:
        """The words for a word placeholder, "" when there is nothing to say."""
        return clean(_WORD_MAKERS[name](self))

    def block(self, name: str) -> list[str]:
        """The sentences for a block placeholder."""
        return _BLOCK_MAKERS[name](self)


def _lines(line: Line, facts: _Facts) -> list[str]:
    if len(line) == 1 and line[0].is_name and PLACEHOLDERS[line[0].text].block:
        return facts.block(line[0].text)
    put = [(facts.word(piece.text) if piece.is_name else piece.text, piece.is_name) for piece in line]
    if any(is_name and not words for words, is_name in put):
        return []
    return ["".join(words for words, _ in put)]


def _eye(facts: _Facts) -> str:
    choice = facts.case.visit.choice
    if choice is None:
        return ""
    return "both eyes" if choice.eye == "both" else f"your {choice.eye} eye"


def _power(facts: _Facts) -> str:
    option = facts.option
    return "" if option is None else times(option.device.leading.magnification)


def _eye_distance(facts: _Facts) -> str:
    option = facts.option
    return "" if option is None else small_distance(option.device.leading.ocular_to_cornea_mm)


def _clear_from(facts: _Facts) -> str:
    option = facts.option
    eye = None if option is None else option.device.leading
    if eye is None or eye.near_limit_mm is None or eye.far_limit_mm is not None:
        return ""
    return distance(eye.near_limit_mm)


def _clear_span(facts: _Facts) -> str:
    option = facts.option
    eye = None if option is None else option.device.leading
    if eye is None or eye.near_limit_mm is None or eye.far_limit_mm is None:
        return ""
    return f"{distance(eye.near_limit_mm)} to {distance(eye.far_limit_mm)}"


def _cap_distance(facts: _Facts) -> str:
    option = facts.option
    cap = None if option is None else option.device.cap
    return "" if cap is None else distance(cap.working_distance_mm)


def _cap_span(facts: _Facts) -> str:
    option = facts.option
    cap = None if option is None else option.device.cap
    if cap is None or cap.clear_from_mm is None or cap.clear_to_mm is None:
        return ""
    return f"{distance(cap.clear_from_mm)} to {distance(cap.clear_to_mm)}"


def _goals(facts: _Facts, grades: tuple[Grade, ...]) -> list[str]:
    """The goals of some grades as they are said, with their distance."""
    option = facts.option
    names = []
    for outcome in option.outcomes if option is not None else ():
        if outcome.grade in grades:
            goal = facts.case.visit.goals[outcome.goal_index]
            away = goal.value("distance")
            names.append(f"{clean(outcome.goal)}, {distance(away)} away" if away else clean(outcome.goal))
    return names


def _first_goal(facts: _Facts) -> str:
    option = facts.option
    served = [o for o in option.outcomes if o.grade in ("meets", "nearly")] if option is not None else []
    return served[0].goal if served else ""


def _why_none(facts: _Facts) -> str:
    both = (facts.case.value("right.distance_acuity"), facts.case.value("left.distance_acuity"))
    if both[0] is not None and all(value is None or isinstance(value, OffChart) for value in both):
        return "A telescope makes things larger. Your eyes need other help than that right now."
    return ""


def _next_day(facts: _Facts) -> str:
    when = facts.case.value("plan.next_date")
    return "" if when is None else day(when)


def _found(facts: _Facts) -> list[str]:
    lines = []
    for side, words in (("right", "Your right eye"), ("left", "Your left eye"), ("both", "Both eyes")):
        value = facts.case.value(f"{side}.distance_acuity")
        if isinstance(value, Acuity):
            lines.append(f"{words}: {format_acuity(value, facts.settings.acuity_notation)} with glasses.")
        elif isinstance(value, OffChart):
            lines.append(f"{words}: {value.name}.")
    through = [facts.case.value(f"trial.acuity_{side}") for side in ("right", "left", "both")]
    seen = [value for value in through if isinstance(value, Acuity)]
    if seen:
        best = min(seen, key=lambda value: value.logmar)
        lines.append(f"With the telescope: {format_acuity(best, facts.settings.acuity_notation)}.")
    return lines


def _listed(lead: str, names: list[str]) -> list[str]:
    return [f"{lead} {name}." for name in names]


_WORD_MAKERS: dict[str, Callable[[_Facts], object]] = {
    "code": lambda facts: facts.case.code,
    "date": lambda facts: day(facts.case.visit.on),
    "clinic": lambda facts: facts.settings.clinic,
    "made_by": lambda _: made_by(),
    "power": _power,
    "eye": _eye,
    "eye_distance": _eye_distance,
    "clear_from": _clear_from,
    "clear_span": _clear_span,
    "cap_distance": _cap_distance,
    "cap_span": _cap_span,
    "first_goal": _first_goal,
    "why_none": _why_none,
    "next_day": _next_day,
    "next_step": lambda facts: clean(facts.case.value("plan.next_step") or "").rstrip("."),
}
_BLOCK_MAKERS: dict[str, Callable[[_Facts], list[str]]] = {
    "helps_with": lambda facts: _listed("It should help with", _goals(facts, ("meets",))),
    "may_help_with": lambda facts: _listed("It may help with", _goals(facts, ("nearly",))),
    "falls_short": lambda facts: _listed(
        "It may not be strong or wide enough for", _goals(facts, ("misses",))
    ),
    "not_for": lambda facts: _listed("It is not made for", _goals(facts, ("cannot",))),
    "found": _found,
}

__all__ = [
    "CONDITIONS",
    "PLACEHOLDERS",
    "Part",
    "handout_html",
    "handout_parts",
    "handout_template",
    "handout_text",
    "own_handout_template",
    "placeholders",
]
