"""The page that explains, in a real browser: nothing from outside, formulas that can be heard, all words."""

from __future__ import annotations

import re
import sys
from html.parser import HTMLParser
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "report"))
from browser_harness import CHROMIUM, MISSING, measure, visit

from bedsim.cli.main import main
from bedsim.explain.book import every_entry
from bedsim.explain.gallery import exhibit
from bedsim.explain.spoken import spoken
from bedsim.explain.theory import CHAPTERS, blocks, chapters
from bedsim.explain.tutorials import TUTORIALS
from bedsim.views.explain_page import explain_page

SCENARIOS = Path(__file__).parents[2] / "scenarios"


@pytest.fixture(scope="module")
def page_file(shipped, tmp_path_factory):
    folder = tmp_path_factory.mktemp("explained")
    shown = [exhibit("thick-layers.toml", shipped("thick-layers", "print.layers=3"))]
    answers = [["said" for _ in tutorial.steps] for tutorial in TUTORIALS]
    text = explain_page("0", list(chapters()), TUTORIALS, answers, shown, folder)
    (folder / "page.html").write_text(text, encoding="utf-8")
    return folder / "page.html"


class Reader(HTMLParser):
    """What a screen reader gets: labels of formulas, alternatives of pictures, headings in order."""

    def __init__(self) -> None:
        super().__init__()
        self.formulas: list[str] = []
        self.pictures: list[str] = []
        self.levels: list[int] = []

    def handle_starttag(self, tag, attrs):
        of = dict(attrs)
        if of.get("role") == "math":
            self.formulas.append(of.get("aria-label") or "")
        if tag == "img":
            self.pictures.append(of.get("alt") or "")
        if re.fullmatch("h[1-6]", tag):
            self.levels.append(int(tag[1]))


def test_formulas_can_be_heard(page_file):
    reader = Reader()
    reader.feed(page_file.read_text(encoding="utf-8"))
    assert len(reader.formulas) > 100
    assert all(label and not re.search(r"[=^|²³]", label) for label in reader.formulas)
    assert all(reader.pictures)
    assert all(after - before <= 1 for before, after in zip(reader.levels, reader.levels[1:], strict=False))


def test_every_entry_and_every_module_stands_on_the_page(page_file):
    text = page_file.read_text(encoding="utf-8")
    for entry in every_entry():
        assert f"<summary><b>{entry.name}</b>" in text
    told = [part.path for chapter in chapters() for part in chapter.parts]
    assert len(told) == len(set(told)) > 200
    assert [chapter.title for chapter in chapters()] == [title for title, _ in CHAPTERS]
    assert "extension_r(q, t) = J_r q - imposed_r(t)" in text or "imposed" in text


@pytest.mark.skipif(CHROMIUM is None, reason=MISSING)
def test_in_the_browser(page_file, tmp_path):
    console, asked, shot = visit(page_file, tmp_path)
    assert console == []
    assert asked == []
    assert shot.exists()
    phone = measure(page_file, tmp_path, 360)
    assert phone["scroll"] == 360
    assert "<script" not in page_file.read_text(encoding="utf-8")
    assert phone["size"] >= 15


@pytest.mark.parametrize(
    ("formula", "said"),
    [
        ("F l/(2 pi eta1) + drag", "F l over (2 pi eta1) plus drag"),
        ("u = r k_s/(k_s + k_g)", "u equals r k sub s over (k sub s plus k sub g)"),
        ("sqrt(a^2 + b^2)", "square root of (a squared plus b squared)"),
        ("|f| <= F_c", "size of f at most F sub c"),
        ("-J^T k", "minus J transposed k"),
    ],
)
def test_signs_are_said(formula, said):
    assert spoken(formula) == said


def test_paragraphs_and_formulas_are_told_apart():
    found = blocks("One line\nof text.\n\n    a = b\n\nMore.")
    assert [(b.text, b.is_formula) for b in found] == [
        ("One line of text.", False),
        ("a = b", True),
        ("More.", False),
    ]


@pytest.mark.parametrize("words", [["TIR", "--page", "p.html"], ["--page", "p.txt"], ["--page", "."]])
def test_a_page_in_the_wrong_place_is_refused(words, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert main(["explain", *words]) == 2
    assert "--page" in capsys.readouterr().err
    assert not list(tmp_path.iterdir())


@pytest.mark.long
def test_gallery_and_tutorials_are_carried_out(tmp_path, monkeypatch):
    """Every shipped scenario runs, every command of a tutorial ends well: half a minute and more."""
    monkeypatch.chdir(tmp_path)
    assert main(["explain", "--page", "all.html"]) == 0
    text = (tmp_path / "all.html").read_text(encoding="utf-8")
    for scenario in SCENARIOS.glob("*.toml"):
        assert f"<h3>{scenario.name}: " in text
    steps = sum(len(tutorial.steps) for tutorial in TUTORIALS)
    assert text.count("What it answers") == steps
    assert str(tmp_path) not in text
