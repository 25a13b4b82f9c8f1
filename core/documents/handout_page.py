"""The patient sheet as one HTML file with its print style: nothing in it runs, and nothing is fetched from anywhere."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from .text import clean

HTML_POINTS = 20

_NUMBER_AND_UNIT = re.compile(r"(\d) (?=(?:mm|cm|m|feet|inch|inches|times)\b)")


@dataclass(frozen=True, slots=True)
class Part:
    """A heading with its sentences."""

    heading: str
    lines: tuple[str, ...]


def page(parts: Sequence[Part], code: str) -> str:
    """One HTML file: 20 points, black on white."""
    # Here, because the table of the standard's 2,000 named characters comes with it, and only a printed page wants it.
    from html import escape

    body = []
    for part in parts:
        rows = "\n".join(f"<p>{_held_together(escape(line))}</p>" for line in part.lines)
        heading = f"<h2>{escape(part.heading)}</h2>\n" if part.heading else ""
        body.append(f"<section>\n{heading}{rows}\n</section>" if heading else f"<footer>\n{rows}\n</footer>")
    return _PAGE.format(title=f"Sheet for {escape(clean(code))}", style=_STYLE, body="\n".join(body))


def _held_together(line: str) -> str:
    """Escaped text in which a number and its unit are not parted at the end of a line."""
    return _NUMBER_AND_UNIT.sub(r"\1&#160;", line)


_STYLE = f"""
:root {{ color-scheme: light; }}
html {{ background: #ffffff; color: #000000; }}
body {{ font: {HTML_POINTS}pt/1.45 Verdana, "DejaVu Sans", Arial, Helvetica, sans-serif; max-width: 34em;
       margin: 0 auto; padding: 1em; text-align: left; hyphens: manual; overflow-wrap: anywhere; }}
h1 {{ font-size: 1.5em; line-height: 1.2; margin: 0 0 0.6em; }}
h2 {{ font-size: 1.25em; line-height: 1.2; margin: 1.2em 0 0.4em; border-top: 3pt solid #000000; padding-top: 0.4em; }}
p {{ margin: 0 0 0.6em; }}
footer {{ margin-top: 1.6em; border-top: 3pt solid #000000; padding-top: 0.4em; font-size: {18}pt; }}
@page {{ margin: 18mm 18mm 22mm; @bottom-right {{ content: "Page " counter(page) " of " counter(pages);
       font: 18pt Verdana, "DejaVu Sans", Arial, Helvetica, sans-serif; color: #000000; }} }}
@media print {{
  body {{ max-width: none; padding: 0; }}
  h2 {{ break-after: avoid; }}
  footer {{ break-before: avoid; break-inside: avoid; }}
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
