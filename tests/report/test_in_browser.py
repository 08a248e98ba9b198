"""The report in a real browser: Chromium, headless."""

import re

import numpy as np
import pytest
from browser_harness import CHROMIUM, MISSING, measure, visit
from matplotlib.image import imread

pytestmark = pytest.mark.skipif(CHROMIUM is None, reason=MISSING)


@pytest.fixture(scope="module")
def visited(page_file, tmp_path_factory):
    return visit(page_file, tmp_path_factory.mktemp("visit"))


def test_no_console_messages(visited):
    assert visited[0] == []


def test_console_messages_would_be_seen(tmp_path):
    """The check above can fail: a page with a script error shows one."""
    page = tmp_path / "bad.html"
    page.write_text("<!DOCTYPE html><p>x</p><script>nonsense()</script>")
    assert visit(page, tmp_path)[0] != []


def test_nothing_is_asked_from_outside(visited):
    assert visited[1] == []


def test_requests_would_be_seen(tmp_path):
    """The check above can fail: a page with an outside picture asks for it."""
    page = tmp_path / "bad.html"
    page.write_text('<!DOCTYPE html><p>x</p><img src="http://127.0.0.1:9/picture.png">')
    assert visit(page, tmp_path)[1] == ["http://127.0.0.1:9/picture.png"]


def test_page_is_not_blank(visited):
    picture = imread(visited[2])[..., :3]
    assert np.ptp(picture.mean(axis=2)) > 0.5
    assert 0.02 < np.mean(np.abs(picture - picture[0, 0]).max(axis=2) > 0.1) < 0.9


@pytest.fixture(scope="module")
def phone(page_file, tmp_path_factory):
    return measure(page_file, tmp_path_factory.mktemp("phone"), 360)


def test_phone_needs_no_sideways_scrolling(phone):
    assert phone["width"] == 360
    assert phone["scroll"] == 360
    assert phone["wide"] == []


def test_phone_text_is_large_enough_and_all_pictures_show(phone):
    assert phone["size"] >= 15  # px; browsers start at 16
    assert phone["text"] > 3000
    assert phone["pictures"] == phone["drawn"] > 8
    assert phone["scripts"] == 0


@pytest.mark.parametrize("dark", [False, True])
def test_text_stands_out_in_light_and_dark(page_file, tmp_path, dark):
    """Contrast of text and paper at least 7 to 1 (WCAG 2.1, success criterion 1.4.6), paper light or dark
    as asked.
    """
    seen = measure(page_file, tmp_path, 800, dark=dark)
    ink, paper = _luminance(seen["ink"]), _luminance(seen["paper"])
    assert (max(ink, paper) + 0.05) / (min(ink, paper) + 0.05) >= 7
    assert (paper < ink) == dark


def _luminance(colour):
    """Relative luminance of an sRGB colour, WCAG 2.1."""
    parts = np.array([int(v) for v in re.findall(r"\d+", colour)[:3]]) / 255
    linear = np.where(parts <= 0.04045, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4)
    return float(linear @ [0.2126, 0.7152, 0.0722])
