"""One self-contained HTML page: text, tables and drawings in, a string out.

The page needs no network and no file beside it, and is whole without its script; it reads on a phone, in the
dark, on paper and with a screen reader.  Every text handed in is escaped here and nowhere else; drawings are
markup already.
"""

from __future__ import annotations

import base64
import hashlib
import re
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from pathlib import Path
from typing import Literal

Tone = Literal["plain", "verdict", "caution"]

HATCHES = (
    '<svg class="defs" aria-hidden="true"><defs>'
    '<pattern id="hatch-a" width="5" height="5" patternUnits="userSpaceOnUse"><rect class="f1" width="5" '
    'height="5"/>'
    '<path class="ink" d="M-1 4L1 6M0 0L5 5M4 -1L6 1"/></pattern>'
    '<pattern id="hatch-b" width="5" height="5" patternUnits="userSpaceOnUse"><rect class="f2" width="5" '
    'height="5"/>'
    '<path class="ink" d="M0 2.5H5"/></pattern>'
    '<pattern id="hatch-c" width="5" height="5" patternUnits="userSpaceOnUse"><rect class="f3" width="5" '
    'height="5"/>'
    '<circle class="spot" cx="2.5" cy="2.5" r="1.1"/></pattern>'
    '<pattern id="hatch-d" width="6" height="6" patternUnits="userSpaceOnUse"><rect class="f4" width="6" '
    'height="6"/>'
    '<path class="ink" d="M3 0V6"/></pattern></defs></svg>'
)


@dataclass(frozen=True, slots=True, kw_only=True)
class PageTable:
    """A table; the first column heads its rows.  A cell that starts with a digit or sign is set to the
    right.
    """

    caption: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class PageSection:
    """A part of the page under its own heading, in the order: paragraphs, points, drawn (markup), tables,
    verbatim; `folded`: closed until it is opened, and left out in print.
    """

    title: str
    paragraphs: tuple[str, ...] = ()
    points: tuple[str, ...] = ()
    drawn: str = ""
    tables: tuple[PageTable, ...] = ()
    verbatim: tuple[tuple[str, str], ...] = ()  # (heading, text kept as written)
    tone: Tone = "plain"
    folded: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Page:
    """The whole page; `subtitle` and `footer` are single lines, `data` the numbers its script reads
    (JSON).
    """

    title: str
    subtitle: str
    sections: tuple[PageSection, ...]
    footer: str
    data: str = ""
    language: str = "en"


def render_page(page: Page) -> str:
    """The page as HTML text.  Its policy lets nothing be fetched, and run or styled what is in it and no
    more.
    """
    folder = Path(__file__).parent
    style = (folder / "report.css").read_text(encoding="utf-8")
    script = (folder / "report.js").read_text(encoding="utf-8") if page.data else ""
    allowed = f"; script-src '{_hash(script)}'" if script else ""
    policy = (
        f"default-src 'none'; img-src data:; style-src '{_hash(style)}'{allowed}; base-uri 'none'; "
        "form-action 'none'"
    )
    anchors = _anchors(page.sections)
    body = "\n".join(_section(s, a) for s, a in zip(page.sections, anchors, strict=True))
    entries = "\n".join(
        f'<li><a href="#{a}">{escape(s.title)}</a></li>' for s, a in zip(page.sections, anchors, strict=True)
    )
    numbers = (
        f'<script type="application/json" id="data">{page.data}</script>\n<script>{script}</script>'
        if script
        else ""
    )
    return f"""<!DOCTYPE html>
<html lang="{escape(page.language)}">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="color-scheme" content="light dark">
<meta http-equiv="Content-Security-Policy" content="{policy}">
<link rel="icon" href="data:,">
<title>{escape(page.title)}</title>
<style>{style}</style>
</head>
<body>
<a class="skip" href="#{anchors[0] if anchors else "end"}">Skip to the verdict</a>
<header>
<h1>{escape(page.title)}</h1>
<p>{escape(page.subtitle)}</p>
</header>
<nav aria-label="Contents">
<ul>
{entries}
</ul>
</nav>
<main>
{HATCHES}
{body}
</main>
<footer id="end"><p>{escape(page.footer)}</p></footer>
{numbers}
</body>
</html>
"""


def _hash(text: str) -> str:
    return f"sha256-{base64.b64encode(hashlib.sha256(text.encode('utf-8')).digest()).decode('ascii')}"


def _anchors(sections: Sequence[PageSection]) -> list[str]:
    """One id per section, readable and unique."""
    found: list[str] = []
    for section in sections:
        stem = re.sub(r"[^a-z0-9]+", "-", section.title.lower()).strip("-") or "part"
        name, number = stem, 2
        while name in found:
            name, number = f"{stem}-{number}", number + 1
        found.append(name)
    return found


def _section(section: PageSection, anchor: str) -> str:
    parts = [f"<p>{escape(text)}</p>" for text in section.paragraphs]
    if section.points:
        parts.append("<ul>" + "".join(f"<li>{escape(text)}</li>" for text in section.points) + "</ul>")
    if section.drawn:
        parts.append(section.drawn)
    tables = [table_html(t, f"{anchor}-table-{i}") for i, t in enumerate(section.tables, 1)]
    parts += [f'<div class="two">{"".join(tables)}</div>'] if len(tables) > 1 else tables
    for heading, text in section.verbatim:
        label = escape(heading, quote=True)
        box = f'<pre tabindex="0" role="region" aria-label="{label}">{escape(text)}</pre>'
        parts.append(f"<h3>{escape(heading)}</h3>\n{box}")
    body = "\n".join(parts)
    title = escape(section.title)
    if section.folded:
        return f'<details id="{anchor}"><summary>{title}</summary>\n{body}\n</details>'
    return (
        f'<section class="{section.tone}" id="{anchor}" aria-labelledby="{anchor}-title">\n'
        f'<h2 id="{anchor}-title">{title}</h2>\n{body}\n</section>'
    )


def table_html(table: PageTable, anchor: str) -> str:
    """A table in a box of its own that scrolls where it is wide, and that the keyboard can reach."""
    head = "".join(f'<th scope="col">{escape(text)}</th>' for text in table.head)
    rows = "\n".join(_row(row) for row in table.rows)
    return (
        f'<div class="scroll" tabindex="0" role="region" aria-labelledby="{anchor}">\n<table>\n'
        f'<caption id="{anchor}">{escape(table.caption)}</caption>\n'
        f"<thead><tr>{head}</tr></thead>\n<tbody>\n{rows}\n</tbody>\n</table>\n</div>"
    )


def _row(row: Sequence[str]) -> str:
    cells = "".join(
        f'<td class="number">{escape(t)}</td>' if re.match(r"[-+−<×]?\s?\d", t) else f"<td>{escape(t)}</td>"
        for t in row[1:]
    )
    return f'<tr><th scope="row">{escape(row[0])}</th>{cells}</tr>'
