"""The report in a real browser: Chromium, headless."""

import re
from importlib.util import find_spec
from pathlib import Path

import numpy as np
import pytest
from browser_harness import CHROMIUM, MISSING, act, measure, printed_pages, visit
from browser_pipe import OpenPage
from made_up_report import made_up_run
from matplotlib.image import imread

from bedsim.cli.main import main
from bedsim.improve.answers import answer
from bedsim.improve.steps import changed, every_step
from bedsim.results.store import read_run, write_run
from bedsim.scenario.load import load_scenario
from bedsim.wall.visibility import Viewing, wall_side
from bedsim.wall.worst import WallPlace, printed_walls

SCENARIO = Path(__file__).parents[2] / "scenarios" / "bent-rolled-rigid.toml"

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
    return measure(page_file, tmp_path_factory.mktemp("phone"), 390)


def test_phone_needs_no_sideways_scrolling(phone):
    assert phone["width"] == 390
    assert phone["scroll"] == 390
    assert phone["wide"] == []


def test_phone_text_and_targets_are_large_enough(phone):
    assert phone["size"] >= 15  # px; browsers start at 16
    assert phone["text"] > 3000
    assert phone["target"] >= 24  # px, WCAG 2.2, success criterion 2.5.8


@pytest.fixture(scope="module")
def one_page(result_files, tmp_path_factory):
    """The report of one run."""
    target = tmp_path_factory.mktemp("one") / "one.html"
    assert main(["report", str(result_files[0]), "--no-levers", "--output", str(target)]) == 0
    return target


def test_pages_are_small(page_file, one_page):
    """200 layers here; 60 are below 250 kB."""
    assert one_page.stat().st_size < 250_000
    assert page_file.stat().st_size < 400_000


def test_a_tall_print_stays_below_a_megabyte(tmp_path):
    write_run(made_up_run(14e-6, layers=1500, lead=5.0), tmp_path / "tall.h5")
    assert (
        main(
            [
                "report",
                str(tmp_path / "tall.h5"),
                "--no-levers",
                "--output",
                str(tmp_path / "r.html"),
                "--wall",
                "+X",
            ]
        )
        == 0
    )
    assert (tmp_path / "r.html").stat().st_size < 1_000_000


def test_pages_printed(page_file, one_page, tmp_path):
    assert printed_pages(one_page, tmp_path) <= 4
    assert printed_pages(page_file, tmp_path) <= 6


_MOVE = """
const text = () => document.getElementById('layer-text').textContent;
const drawn = (id) => document.querySelector(id).getAttribute('d');
const frame = () => new Promise((go) => setTimeout(go, 200));
const set = async (id, value) => {
  const e = document.getElementById(id); e.value = value; e.dispatchEvent(new Event('input')); await frame();
};
out.shown = !document.getElementById('layer').closest('[hidden]');
out.before = text(); out.plate = drawn('#r0-plate'); out.cursor = drawn('#r0-x .cursor');
await set('layer', 10);
out.after = text(); out.plateAfter = drawn('#r0-plate'); out.cursorAfter = drawn('#r0-x .cursor');
out.told = document.getElementById('layer').getAttribute('aria-valuetext');
const strong = () => drawn('#r0-x .strong');
const lit = () => document.getElementById('r0-lit').getAttribute('href');
out.line = strong(); out.light = lit();
out.place = document.getElementById('probe').value;
out.judged = document.getElementById('wall-told').textContent;
out.spectrum = drawn('#r0-spectrum .strong');
await set('probe', 'centre'); out.lineAfter = strong();
await set('lamp', 40); out.lightAfter = lit();
await set('facing', '45'); out.told45 = document.getElementById('wall-told').textContent;
out.named45 = document.getElementById('r0-spectrum-wall').textContent;
const first = document.getElementById('facing').options[0].value;
const spectrum = () => drawn('#r0-spectrum .strong');
out.spectrum45 = spectrum();
await set('facing', first); await set('probe', out.place);
out.spectrumAgain = spectrum(); out.judgedAgain = document.getElementById('wall-told').textContent;
await set('span', '20'); out.spans = document.getElementById('span').value;
"""


@pytest.fixture(scope="module")
def moved(computed_page, tmp_path_factory):
    return act(computed_page, tmp_path_factory.mktemp("moved"), _MOVE)


def test_the_layer_slider_moves_bed_and_cursor_and_all_else_answers(moved):
    seen = moved
    assert "fault" not in seen
    assert seen["shown"]
    assert seen["after"] == "layer 11 of 24, 2.75 mm"
    assert seen["told"].startswith("layer 11 of 24, 2.75 mm: X ")
    assert seen["before"] != seen["after"]
    assert seen["plate"] != seen["plateAfter"]
    assert seen["cursor"] != seen["cursorAfter"]
    assert seen["line"] != seen["lineAfter"]
    assert seen["light"] != seen["lightAfter"]
    assert seen["spectrum45"] != seen["spectrum"]
    numbers = [[float(n) for n in re.findall(r"-?[0-9.]+", seen[k])] for k in ("spectrum", "spectrumAgain")]
    assert np.allclose(*numbers, atol=0.3)


def test_the_chosen_wall_is_judged_as_the_program_judges_it(computed_page, moved):
    """What the page tells of another wall, from three waves, is what is told of it where it is asked for."""
    seen = moved
    run = read_run(computed_page.with_name("r.h5"))
    walls = printed_walls(run.layers, load_scenario(SCENARIO, ["print.layers=24"]).scenario)
    viewing = Viewing(side=wall_side(float(run.layers.print_height.max())))
    asked = walls.judged(WallPlace(wall="45", probe="centre"), viewing).sentence
    assert seen["named45"] == "45° at centre"
    numbers = [[float(n) for n in re.findall(r"[0-9.]*[0-9]", text)] for text in (asked, seen["told45"])]
    assert numbers[0] == pytest.approx(numbers[1], rel=0.02)
    assert seen["told45"].split()[-1] == asked.split()[-1]
    assert seen["judged"].split("(lead")[0] == seen["judgedAgain"].split("(lead")[0]


def test_the_keyboard_reaches_every_control_and_moves_the_layer(computed_page):
    """Controls in the order of the page, none skipped; arrows, Home and End move the slider, which tells."""
    with OpenPage(computed_page) as page:
        page.value("document.querySelector('nav li:last-child a').focus()")
        reached = []
        for _ in range(7):
            page.press("Tab")
            reached.append(page.value("document.activeElement.id"))
        assert reached == ["probe", "facing", "span", "lamp", "mag-shift", "mag-height", "layer"]
        told = []
        for key in ("Home", "ArrowRight", "End"):
            page.press(key)
            said = "document.getElementById('layer').getAttribute('aria-valuetext')"
            told.append(page.value(f"new Promise((go) => setTimeout(() => go({said}), 100))"))
        assert [text.split(":")[0] for text in told] == [
            "layer 1 of 24, 0.25 mm",
            "layer 2 of 24, 0.5 mm",
            "layer 24 of 24, 6 mm",
        ]


_SAME = """
const all = () => [...document.querySelectorAll('article .tint, article .strong, article .stack path')]
  .map((e) => [e.id || e.closest('svg').id, (e.getAttribute('d').match(/-?[0-9.]+/g) || []).map(Number)]);
out.drawn = all();
"""


def test_the_script_draws_what_was_drawn_without_it(computed_page, tmp_path):
    """The same shapes from the packed numbers, within a fifth of a unit (pixel)."""
    drawn = act(computed_page, tmp_path, _SAME)["drawn"]
    plain = computed_page.read_text(encoding="utf-8")
    still = tmp_path / "still.html"
    still.write_text(plain.replace("ask(ALL);\n})();", "})();"), encoding="utf-8")
    assert still.read_text(encoding="utf-8") != plain
    before = act(still, tmp_path, _SAME)["drawn"]
    assert len(drawn) == len(before) > 10
    for (name, now), (_, then) in zip(drawn, before, strict=True):
        if then:
            assert np.allclose(now, then, atol=0.3), name


@pytest.fixture(scope="module")
def computed_page(tmp_path_factory):
    """The report of a small run with ranges, computed."""
    folder = tmp_path_factory.mktemp("computed")
    run = ["run", str(SCENARIO), "--set", "print.layers=24", "--engine", "equilibrium", "--no-pictures"]
    assert main([*run, "--output", str(folder / "r.h5")]) == 0
    assert main(["report", str(folder / "r.h5"), "--output", str(folder / "r.html")]) == 0
    return folder / "r.html"


def test_what_to_change_stands_in_the_report_as_improve_says_it(computed_page):
    """The levers of one result, best first, with the number that `improve` has of the same machine."""
    text = computed_page.read_text(encoding="utf-8")
    table = text[text.index("What to change, one at a time") :]
    rows = re.findall(r'<th scope="row">(.*?)</th><td class="number">× ([0-9.]+)</td>', table)
    assert len(rows) == 8
    gains = [float(gain) for _, gain in rows]
    assert gains == sorted(gains, reverse=True)
    loaded = load_scenario(SCENARIO, ["print.layers=24"])
    step = next(s for s in every_step(loaded) if s.words == rows[0][0])
    assert gains[0] == pytest.approx(
        answer(loaded).lateral / answer(changed(loaded, [step])).lateral, rel=0.05
    )


@pytest.mark.skipif(find_spec("axe_core_python") is None, reason="axe-core-python is not installed")
@pytest.mark.parametrize("width", [1280, 390])
def test_axe_finds_nothing(page_file, tmp_path, width):
    """axe-core's rules for WCAG 2 and best practice."""
    folder = Path(find_spec("axe_core_python").submodule_search_locations[0])
    rules = (folder / "axe.min.js").read_text(encoding="utf-8").replace("</script", "<\\/script")
    script = f"{rules}; const found = await axe.run(document); " + (
        "out.bad = found.violations.map((v) => [v.id, v.nodes.slice(0, 3).map((n) => n.html.slice(0, "
        "200))]); "
        "out.passed = found.passes.length;"
    )
    seen = act(page_file, tmp_path, script, width)
    assert seen.get("bad") == []
    assert seen["passed"] > 20


def test_axe_would_find_something(tmp_path):
    page = tmp_path / "bad.html"
    page.write_text("<!DOCTYPE html><html><body><p>x</p><img src='data:,'></body></html>")
    assert find_spec("axe_core_python") is None or _bad(page, tmp_path)


def _bad(page, folder):
    spot = Path(find_spec("axe_core_python").submodule_search_locations[0]) / "axe.min.js"
    rules = spot.read_text(encoding="utf-8").replace("</script", "<\\/script")
    return act(page, folder, f"{rules}; out.bad = (await axe.run(document)).violations.length;")["bad"]


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
