"""The page as text: escaped, self-contained, in order for screen readers."""

import re
from html.parser import HTMLParser
from itertools import pairwise

import pytest

from bedsim.views.report_page import Page, PageSection, PageTable, render_page

EVIL = '</pre><img src=x onerror="alert(1)">&amp; \'"'


class Outline(HTMLParser):
    """Tags with their attributes, in order, and which stay open."""

    void = frozenset({"meta", "link", "img", "br", "input"})

    def __init__(self, text):
        super().__init__()
        self.tags, self.open, self.text = [], [], ""
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        if tag not in self.void:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        self.text += data

    def all(self, name):
        return [attrs for tag, attrs in self.tags if tag == name]


def evil_page():
    return Page(
        title=EVIL,
        subtitle=EVIL,
        footer=EVIL,
        sections=(
            PageSection(
                title=EVIL,
                paragraphs=(EVIL,),
                points=(EVIL,),
                tables=(PageTable(caption=EVIL, head=(EVIL, "b"), rows=((EVIL, "1.5 µm"), ("x", EVIL))),),
                folded=True,
                verbatim=((EVIL, EVIL),),
                tone="caution",
            ),
            PageSection(title="Same"),
            PageSection(title="Same"),
        ),
    )


def test_every_text_is_escaped():
    """Text that wants to be markup comes out as itself, everywhere it can go in."""
    outline = Outline(render_page(evil_page()))
    assert outline.text.count(EVIL) == 14
    assert outline.all("img") == []
    assert not any(name.startswith("on") for _, attrs in outline.tags for name in attrs)
    assert outline.all("script") == []
    assert outline.open == []


def test_sections_have_unique_ids_that_the_contents_point_to():
    outline = Outline(render_page(evil_page()))
    ids = [attrs["id"] for _, attrs in outline.tags if "id" in attrs]
    assert len(ids) == len(set(ids))
    targets = [a["href"].removeprefix("#") for a in outline.all("a")]
    assert set(targets) <= set(ids)
    assert {"same", "same-2"} <= set(targets)


@pytest.fixture(scope="module")
def outline(page_file):
    return Outline(page_file.read_text(encoding="utf-8"))


def test_report_is_self_contained(outline):
    """No file beside it, no address but data: and places in the page itself; its own script and style
    alone, by
    their hashes."""
    addresses = [
        v for _, attrs in outline.tags for k, v in attrs.items() if k in ("src", "href", "srcset", "action")
    ]
    assert addresses
    assert all(a.startswith(("data:", "#")) for a in addresses)
    assert all(f.startswith("#") for f in re.findall(r"url\(([^)]*)\)", outline.text))
    assert "@import" not in outline.text
    assert [attrs.get("type") for attrs in outline.all("script")] == ["application/json", None]
    policy = next(m["content"] for m in outline.all("meta") if "Policy" in m.get("http-equiv", ""))
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    assert not any(name == "style" or name.startswith("on") for _, attrs in outline.tags for name in attrs)


def test_report_has_landmarks_headings_and_labels(outline):
    assert outline.all("html") == [{"lang": "en"}]
    for landmark in ("header", "nav", "main", "footer"):
        assert len(outline.all(landmark)) == 1
    levels = [int(tag[1]) for tag, _ in outline.tags if tag in ("h1", "h2", "h3")]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(b - a <= 1 for a, b in pairwise(levels))
    ids = {attrs["id"] for _, attrs in outline.tags if "id" in attrs}
    assert all(attrs["aria-labelledby"] in ids for _, attrs in outline.tags if "aria-labelledby" in attrs)


def test_charts_have_texts_and_tables_have_captions_and_scopes(outline):
    charts = [a for a in outline.all("svg") if a.get("role") == "img"]
    assert len(charts) == 2 * 9 + 2
    assert all(len(a["aria-label"]) > 20 for a in charts)
    assert len(outline.all("caption")) == len(outline.all("table")) > 4
    assert all(th["scope"] in ("row", "col") for th in outline.all("th"))


def test_report_says_what_it_must(outline):
    for part in (
        "Verdict",
        "Cautions",
        "Would you see it?",
        "Figures",
        "Lateral error, peak to valley",
        "Layer by layer",
        "Who pushes",
        "friction",
        "Assumptions",
        "What the model leaves out",
        "How to repeat this",
        "Resolved scenario",
        "bedsim run scenario.toml",
        "lead_mm = 5.0",
        "rigid: bands every 5 mm",
        "rigid: Whole travel (nuts at ",
        "borderline",
        "not seen",
        "times the smallest visible",
        "Barten",
        "can fall",
    ):
        assert part in outline.text, part
    assert "is safe" not in outline.text


def test_evil_title_arrives_as_text(outline):
    assert 'Bed <script>alert("x")</script> & "co" \' µm' in outline.text
