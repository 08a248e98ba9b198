"""All that is explained as one page: words, theory, tutorials and a gallery; no network, no script.

Every formula stands as text under the role `math` with its words as label, for screen readers.
"""

from __future__ import annotations

import base64
import io
import re
from collections.abc import Iterator, Sequence
from html import escape
from pathlib import Path

from PIL import Image

from bedsim.explain.book import of_sort
from bedsim.explain.entry import Entry, Fact, Sort
from bedsim.explain.gallery import Exhibit
from bedsim.explain.spoken import spoken
from bedsim.explain.theory import Chapter, Passage
from bedsim.explain.tutorials import Tutorial
from bedsim.views.explain_style import STYLE
from bedsim.views.pictures import draw_errors

COLOURS = 128  # of a picture on the page
_POLICY = "default-src 'none'; img-src data:; style-src 'unsafe-inline'"
WORDS: tuple[tuple[str, tuple[Sort, ...]], ...] = (
    ("Words of the trade", ("term",)),
    ("Keys of a scenario", ("table", "key", "kind")),
    ("Figures and quantities of a run", ("figure", "quantity")),
    ("Rows of size", ("row of size",)),
    ("Grades of screws", ("grade",)),
    ("Recipes of the workshop", ("recipe",)),
)
"""Sections of the page, and the sorts of entries in each."""

Answers = Sequence[Sequence[str]]


def explain_page(
    version: str,
    chapters: Sequence[Chapter],
    tutorials: Sequence[Tutorial],
    answers: Answers,
    exhibits: Sequence[Exhibit],
    folder: Path,
) -> str:
    """The page as HTML text; `answers` of every tutorial's commands; pictures pass through `folder`."""
    told = zip(tutorials, answers, strict=True)
    sections = [
        ("Tutorials", "\n".join(_tutorial(t, a) for t, a in told)),
        (
            "Gallery",
            "\n".join(_exhibit(one, folder) for one in exhibits) or "<p>No scenarios were given.</p>",
        ),
        *((title, "\n".join(_entry(e) for s in sorts for e in of_sort(s))) for title, sorts in WORDS),
        *((f"Theory: {chapter.title}", "\n".join(_chapter(chapter))) for chapter in chapters),
    ]
    entries = "\n".join(f'<li><a href="#{_anchor(t)}">{escape(t)}</a></li>' for t, _ in sections)
    body = "\n".join(
        f'<section id="{_anchor(t)}" aria-labelledby="{_anchor(t)}-title">\n'
        f'<h2 id="{_anchor(t)}-title">{escape(t)}</h2>\n{text}\n</section>'
        for t, text in sections
    )
    return f"""<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="color-scheme" content="light dark">
<meta http-equiv="Content-Security-Policy" content="{_POLICY}">
<link rel="icon" href="data:,">
<title>bedsim explained</title>
<style>{STYLE}</style>
</head>
<body>
<a class="skip" href="#tutorials">Skip to the tutorials</a>
<header>
<h1>bedsim explained</h1>
<p>Every key, figure, row, grade and formula, made from the program's own tables and docstrings. Sources say
whether they were read, computed, assumed or recalled. All of it is an aid to judgement, never a proof of
safety: heated beds can fall, pinch and burn; mains wiring kills.</p>
</header>
<nav aria-label="Contents"><ul>
{entries}
</ul></nav>
<main>
{body}
</main>
<footer><p>Written by bedsim {escape(version)}: bedsim explain --page FILE.html</p></footer>
</body>
</html>
"""


def _anchor(title: str) -> str:
    return re.sub(r"[^a-z0-9]+", "-", title.lower()).strip("-")


def _box(text: str, label: str) -> str:
    name = escape(label, quote=True)
    return f'<pre tabindex="0" role="region" aria-label="{name}">{escape(text)}</pre>'


def _math(text: str) -> str:
    """A formula: its lines as they are, its words for those who hear it."""
    said = escape(spoken(text), quote=True)
    return f'<div class="math" role="math" aria-label="{said}">{escape(text)}</div>'


def _entry(entry: Entry) -> str:
    told = "\n".join(f"<dt>{escape(f.label)}</dt>\n<dd>{_fact(f)}</dd>" for f in entry.all_facts)
    see = f"<p>See: {escape(', '.join(entry.see))}.</p>" if entry.see else ""
    return (
        f"<details><summary><b>{escape(entry.name)}</b>: {escape(entry.what)}</summary>\n"
        f"<dl>\n{told}\n</dl>{see}</details>"
    )


def _fact(fact: Fact) -> str:
    """Docstrings that stand in the theory are not printed again under every key."""
    if fact.shape == "formula":
        return _math(fact.text)
    if fact.shape == "verbatim":
        if ".py" in fact.label:
            return escape(fact.text.partition("\n\n")[0]) + " (see the theory below)"
        return _box(fact.text, fact.label)
    return escape(fact.text)


def _chapter(chapter: Chapter) -> Iterator[str]:
    for part in chapter.parts:
        yield f"<h3>bedsim/{escape(part.path)}</h3>"
        yield from map(_block, part.blocks)
        for name, blocks in part.functions:
            yield f"<h4>{escape(name)}</h4>"
            yield from map(_block, blocks)


def _block(block: Passage) -> str:
    return _math(block.text) if block.is_formula else f"<p>{escape(block.text)}</p>"


def _tutorial(tutorial: Tutorial, answers: Sequence[str]) -> str:
    steps = [
        f"<p>{escape(step.words)}</p>\n{_box(f'bedsim {step.command}', 'command')}\n"
        + (f"<details><summary>What it answers</summary>{_box(said, 'answer')}</details>" if said else "")
        for step, said in zip(tutorial.steps, answers, strict=True)
    ]
    return f"<h3>{escape(tutorial.title)}</h3>\n" + "\n".join(steps)


def _small(picture: Path) -> bytes:
    """A picture of lines in a palette of its own: a quarter of its size, and the eye sees no difference."""
    found = io.BytesIO()
    with Image.open(picture) as whole:
        few = whole.convert("RGB").quantize(COLOURS, dither=Image.Dither.NONE)
        few.save(found, "PNG", optimize=True)
    return found.getvalue()


def _exhibit(one: Exhibit, folder: Path) -> str:
    drawn = draw_errors(one.loaded.scenario, one.layers, folder / f"{one.name}.png")
    data = base64.b64encode(_small(drawn)).decode("ascii")
    alt = escape(f"Errors over the height of the print: {one.sentence}", quote=True)
    figures = "\n".join(f"<dt>{escape(what)}</dt><dd>{escape(value)}</dd>" for what, value in one.figures)
    return (
        f"<h3>{escape(one.name)}: {escape(one.loaded.scenario.title)}</h3>\n<p>{escape(one.sentence)}</p>\n"
        f'<figure><img src="data:image/png;base64,{data}" alt="{alt}">'
        f"<figcaption>Errors at the probes, layer by layer.</figcaption></figure>\n"
        f"<details><summary>Figures</summary><dl>{figures}</dl></details>"
    )
