"""One self-contained HTML page: text, tables and pictures in, a string out.

The page needs no network, no script and no file beside it; it reads on a phone, in the dark, on paper and
with a screen reader.  Every text handed in is escaped here and nowhere else.
"""

from __future__ import annotations

import base64
import re
import struct
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from typing import Literal

from bedsim.views.report_style import STYLE

# whatever is written into the page, nothing is fetched or run
_POLICY = "default-src 'none'; img-src data:; style-src 'unsafe-inline'"

Tone = Literal["plain", "verdict", "caution"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """A PNG with what it shows, for eyes (`caption`) and for a screen reader (`alt`)."""

    png: bytes
    alt: str
    caption: str


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
    """A part of the page under its own heading, in the order: paragraphs, points, tables, pictures,
    verbatim.
    """

    title: str
    paragraphs: tuple[str, ...] = ()
    points: tuple[str, ...] = ()
    tables: tuple[PageTable, ...] = ()
    pictures: tuple[Picture, ...] = ()
    verbatim: tuple[tuple[str, str], ...] = ()  # (heading, text kept as written)
    tone: Tone = "plain"


@dataclass(frozen=True, slots=True, kw_only=True)
class Page:
    """The whole page; `subtitle` and `footer` are single lines."""

    title: str
    subtitle: str
    sections: tuple[PageSection, ...]
    footer: str
    language: str = "en"


def render_page(page: Page) -> str:
    """The page as HTML text."""
    anchors = _anchors(page.sections)
    body = "\n".join(_section(s, a) for s, a in zip(page.sections, anchors, strict=True))
    entries = "\n".join(
        f'<li><a href="#{a}">{escape(s.title)}</a></li>' for s, a in zip(page.sections, anchors, strict=True)
    )
    return f"""<!DOCTYPE html>
<html lang="{escape(page.language)}">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="color-scheme" content="light dark">
<meta http-equiv="Content-Security-Policy" content="{_POLICY}">
<link rel="icon" href="data:,">
<title>{escape(page.title)}</title>
<style>{STYLE}</style>
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
{body}
</main>
<footer id="end"><p>{escape(page.footer)}</p></footer>
</body>
</html>
"""


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
    parts += [_picture(p, f"Picture {i}, {section.title}") for i, p in enumerate(section.pictures, 1)]
    parts += [_table(t, f"{anchor}-table-{i}") for i, t in enumerate(section.tables, 1)]
    for heading, text in section.verbatim:
        label = escape(heading, quote=True)
        box = f'<pre tabindex="0" role="region" aria-label="{label}">{escape(text)}</pre>'
        parts.append(f"<h3>{escape(heading)}</h3>\n{box}")
    body = "\n".join(parts)
    return (
        f'<section class="{section.tone}" id="{anchor}" aria-labelledby="{anchor}-title">\n'
        f'<h2 id="{anchor}-title">{escape(section.title)}</h2>\n{body}\n</section>'
    )


def _table(table: PageTable, anchor: str) -> str:
    head = "".join(f'<th scope="col">{escape(text)}</th>' for text in table.head)
    rows = "\n".join(_row(row) for row in table.rows)
    # wide tables scroll inside their own box, which the keyboard can reach
    return (
        f'<div class="scroll" tabindex="0" role="region" aria-labelledby="{anchor}">\n<table>\n'
        f'<caption id="{anchor}">{escape(table.caption)}</caption>\n'
        f"<thead><tr>{head}</tr></thead>\n<tbody>\n{rows}\n</tbody>\n</table>\n</div>"
    )


def _row(row: Sequence[str]) -> str:
    cells = "".join(
        f'<td class="number">{escape(t)}</td>' if re.match(r"[-+−<]?\s?\d", t) else f"<td>{escape(t)}</td>"
        for t in row[1:]
    )
    return f'<tr><th scope="row">{escape(row[0])}</th>{cells}</tr>'


def _picture(picture: Picture, name: str) -> str:
    data = base64.b64encode(picture.png).decode("ascii")
    width, height = struct.unpack(">II", picture.png[16:24])  # IHDR, the first chunk of every PNG
    # on a phone a wide chart scrolls in its own box instead of shrinking until its words are lost
    return (
        f'<figure>\n<div class="scroll" tabindex="0" role="region" aria-label="{escape(name, quote=True)}">'
        f'<img src="data:image/png;base64,{data}" alt="{escape(picture.alt, quote=True)}" '
        f'width="{width}" height="{height}" style="min-width:min(36rem,{width // 2}px)"></div>\n'
        f"<figcaption>{escape(picture.caption)}</figcaption>\n</figure>"
    )
