"""Pictures: every one is written, no words cover each other, and signs mean what they should."""

from __future__ import annotations

import dataclasses
import subprocess
import sys
from collections.abc import Callable
from itertools import combinations
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import synthetic
from matplotlib.figure import Figure
from matplotlib.text import Text

from bedsim.errors import ResultFileError
from bedsim.results.layers import Run, Trace
from bedsim.scenario.load import LoadedScenario
from bedsim.scenario.schema import Scenario
from bedsim.views import machine, pictures, style

LONG = ("a corner with a really long name forty", "front right", "the one at the back with its name", "bl")


def uneven() -> Scenario:
    """Corners of differing leads, hands, heights and offsets, printed in thick layers."""
    data = synthetic.scenario(layers=40).model_dump()
    data["print"]["layer_mm"] = 1.2
    data["bed"]["thickness_mm"] = 10.0
    for i, corner in enumerate(data["corner"]):
        corner["screw"] |= {"lead_mm": (2.0, 2.5, 8.0)[i], "hand": ("left", "right", "right")[i]}
        corner["screw"]["clocking_deg"] = 120.0 * i
        corner["mount"] |= {"offset_x_mm": (25.0, -25.0, 0.0)[i], "height_mm": -15.0 - 5 * i}
        corner["joint"]["height_mm"] = -30.0 - 3 * i
    return Scenario.model_validate(data)


def wide() -> Scenario:
    """A low, wide machine with sixteen probes."""
    data = synthetic.scenario(layers=250).model_dump()
    data["bed"] |= {"size_x_mm": 1000.0, "size_y_mm": 600.0}
    data["probe"] = [{"name": f"probe {i} of a row", "x_mm": 40.0 * i - 300, "y_mm": 0.0} for i in range(16)]
    return Scenario.model_validate(data)


def small() -> Scenario:
    """Long-named corners beside a bed whose own corners carry probes."""
    data = synthetic.scenario(4, layers=30, names=LONG).model_dump()
    data["bed"] |= {"size_x_mm": 240.0, "size_y_mm": 240.0}
    for probe in data["probe"]:
        probe |= {"x_mm": probe["x_mm"] * 12 / 13, "y_mm": probe["y_mm"] * 12 / 13}
    return Scenario.model_validate(data)


def draw_run(run: Run, loaded: LoadedScenario, stem: Path) -> list[Path]:
    return [draw() for draw in pictures.drawings(run, loaded, stem)]


CASES: dict[str, tuple[Callable[[], Scenario], float]] = {
    "three corners": (synthetic.scenario, 20e-6),
    "four corners, long names, huge errors": (
        lambda: synthetic.scenario(4, names=LONG, ends="fixed-supported", hand="left"),
        4e-3,
    ),
    "uneven, no errors": (uneven, 1e-13),
    "wide": (wide, 3e-6),
    "small": (small, 20e-6),
}


def drawn_texts(figure: Figure) -> list[Text]:
    """Every text that is really drawn: of ticks only those inside their axis."""
    texts = [t for t in figure.findobj(Text) if t.get_text().strip()]
    ticks = {id(t.label1) for ax in figure.axes for a in (ax.xaxis, ax.yaxis) for t in a.get_major_ticks()}
    inside = {id(t.label1) for ax in figure.axes for a in (ax.xaxis, ax.yaxis) for t in a._update_ticks()}
    return [t for t in texts if t.get_visible() and (id(t) not in ticks or id(t) in inside)]


def overlapping(figure: Figure) -> list[tuple[str, str]]:
    """Pairs of visible texts whose boxes share more than a sliver."""
    figure.canvas.draw()
    renderer = figure.canvas.get_renderer()  # type: ignore[attr-defined]
    boxes = [(t.get_text(), Text.get_window_extent(t, renderer)) for t in drawn_texts(figure)]
    pairs = []
    for (a, box_a), (b, box_b) in combinations(boxes, 2):
        width = min(box_a.x1, box_b.x1) - max(box_a.x0, box_b.x0)
        height = min(box_a.y1, box_b.y1) - max(box_a.y0, box_b.y0)
        if width > 2 and height > 3:
            pairs.append((a, b))
    return pairs


@pytest.mark.parametrize("name", CASES)
def test_pictures_are_written_and_no_words_cover_each_other(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    make, amplitude = CASES[name]
    made = make()
    found: dict[str, list[tuple[str, str]]] = {}

    def check(figure: Figure, path: Path, **_: Any) -> None:
        found[Path(path).name] = overlapping(figure)
        Path(path).touch()

    monkeypatch.setattr(style, "save", check)
    run = synthetic.run(made, amplitude=amplitude)
    files = draw_run(run, synthetic.loaded(made), tmp_path / "first")
    assert {f.name for f in files} == {
        "first_machine.png",
        "first_errors.png",
        "first_path.png",
        "first_wavelengths.png",
        "first_layer_2.png",
    }
    assert all(f.exists() for f in files)
    assert {k: v for k, v in found.items() if v} == {}


def test_files_are_pictures(tmp_path: Path) -> None:
    made = synthetic.scenario()
    for file in draw_run(synthetic.run(made), synthetic.loaded(made), tmp_path / "a.b"):
        assert file.read_bytes()[:8] == b"\x89PNG\r\n\x1a\n"
        assert file.name.startswith("a.b_")


@pytest.mark.parametrize("layers", [1, 5])
def test_very_short_prints_are_drawn(tmp_path: Path, layers: int) -> None:
    made = synthetic.scenario(layers=layers)
    files = draw_run(synthetic.run(made, traces=()), synthetic.loaded(made), tmp_path / "a")
    assert len(files) == (3 if layers < 5 else 4)


@pytest.fixture
def texts(monkeypatch: pytest.MonkeyPatch) -> dict[str, list[str]]:
    """What is really written on every picture, by file name."""
    found: dict[str, list[str]] = {}

    def note(figure: Figure, path: Path, **_: Any) -> None:
        figure.canvas.draw()
        found[Path(path).name] = [t.get_text() for t in drawn_texts(figure)]

    monkeypatch.setattr(style, "save", note)
    return found


def test_the_nut_stands_where_its_thread_is_and_every_sign_is_explained(
    tmp_path: Path, texts: dict[str, list[str]]
) -> None:
    data = synthetic.scenario().model_dump()
    for corner in data["corner"]:
        corner["nut"]["thread_height_mm"] = -55.0
    made = Scenario.model_validate(data)
    draw_run(synthetic.run(made), synthetic.loaded(made), tmp_path / "a")
    assert "nut, middle of its thread \N{MINUS SIGN}55 mm" in texts["a_machine.png"]
    assert "side view: nut travel in the print" in texts["a_machine.png"]
    assert {"layer 1", "last layer"} <= set(texts["a_path.png"])


def test_the_numbers_on_a_logarithmic_axis_stand_near_the_band(
    tmp_path: Path, texts: dict[str, list[str]]
) -> None:
    """Thick layers: the wall shows the lead of 2 mm at 3 mm, where the axis begins."""
    made = synthetic.scenario(layers=40, lead_mm=2.0)
    thick = made.model_copy(update={"print": made.print.model_copy(update={"layer_mm": 1.2})})
    draw_run(synthetic.run(thick), synthetic.loaded(thick), tmp_path / "a")
    assert {"3", "4", "10", "20"} <= set(texts["a_wavelengths.png"])


def test_a_history_of_few_of_the_probes_says_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    made = wide()
    layers = synthetic.layer_result(made)
    titles: list[str] = []

    def note(figure: Figure, path: Path, **_: Any) -> None:
        titles.extend(ax.get_legend().get_title().get_text() for ax in figure.axes)

    monkeypatch.setattr(style, "save", note)
    pictures.draw_history(made, layers, layers.trace[0], tmp_path / "a.png")
    assert titles[1] == "probe, the 6\nworst of 16"


def test_a_trace_of_one_instant_is_not_drawn(tmp_path: Path) -> None:
    """An engine without inertia gives only the end of a layer change."""
    made = synthetic.scenario()
    run = synthetic.run(made)
    arrays = {f.name: getattr(run.layers.trace[0], f.name) for f in dataclasses.fields(Trace)}
    instant = Trace(**{name: v if name == "layer" else v[-1:] for name, v in arrays.items()})
    layers = dataclasses.replace(run.layers, trace=(instant,))
    files = draw_run(dataclasses.replace(run, layers=layers), synthetic.loaded(made), tmp_path / "a")
    assert not any("layer" in f.name for f in files)


def test_a_picture_that_cannot_be_written_gets_one_sentence(tmp_path: Path) -> None:
    made = synthetic.scenario()
    with pytest.raises(ResultFileError, match="cannot be written"):
        draw_run(synthetic.run(made), synthetic.loaded(made), tmp_path / "missing" / "a")


def test_drawing_leaves_no_global_state() -> None:
    """Neither pyplot nor a changed setting stays behind."""
    code = """
import matplotlib, pathlib, sys, tempfile
keys = [k for k in matplotlib.rcParams if "backend" not in k]  # asking for the backend itself imports pyplot
before = {k: matplotlib.rcParams[k] for k in keys}
from bedsim.views import pictures, style
path = pathlib.Path(tempfile.mkdtemp()) / "a.png"
with style.page(path, 0.1, 0.1) as figure:
    figure.subplots()
assert "matplotlib.pyplot" not in sys.modules
assert before == {k: matplotlib.rcParams[k] for k in keys}
print(path.exists())
"""
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.stdout == "True\n", done.stderr


@pytest.mark.parametrize(("hand", "sense"), [("right", 1.0), ("left", -1.0)])
def test_arrow_shows_the_turn_that_lowers_the_bed(hand: str, sense: float) -> None:
    """A right-hand screw turned counter-clockwise from above draws its nut down, as every screw in the hand
    shows.
    """
    ax = Figure().subplots()
    machine.plan_view(ax, synthetic.scenario(hand=hand), np.zeros((0, 2)))
    x, y = next(np.array(line.get_data()) for line in ax.lines if len(line.get_xdata()) == 60)
    turn = (x[:-1] - x.mean()) * np.diff(y) - (y[:-1] - y.mean()) * np.diff(x)
    assert np.sign(turn.sum()) == sense


def test_run_out_arrow_includes_the_clocking() -> None:
    corner = synthetic.scenario(clocking_deg=30.0).corner[0]  # eccentricity at 60 degrees
    [(letter, angle)] = machine._run_out_directions(corner)
    assert letter == "e" and np.degrees(angle) == pytest.approx(90.0)


def test_marks_name_the_lead_and_where_thick_layers_show_it() -> None:
    marks = {
        text: wavelength
        for wavelength, text in pictures.wavelength_marks(uneven(), 1.2e-3 * np.arange(1, 100))
    }
    assert marks["lead 2, seen at 3 mm"] == pytest.approx(3e-3)
    assert marks["lead 8 mm"] == pytest.approx(8e-3)


def test_labels_move_apart_and_stay_in_order() -> None:
    places = [0.0, 1.0, 0.5, 40.0, 1.0]
    moved = style.spread(places, 10.0)
    assert np.diff(np.sort(moved)).min() >= 10.0 - 1e-9
    assert moved[3] > moved[1] > moved[2] > moved[0]
    assert style.spread([0.0, 50.0], 10.0) == [0.0, 50.0]


def test_series_stay_apart_in_a_grey_print() -> None:
    """The first thirty-five lines differ in line or marker even without colour."""
    looks = {(str(s["linestyle"]), s["marker"]) for s in (style.series(i) for i in range(35))}
    assert len(looks) == 35


def test_length_unit_follows_the_size() -> None:
    assert style.length_unit(np.array([0.0, 9e-4])) == (1e-6, "µm")
    assert style.length_unit(np.array([-2e-3])) == (1e-3, "mm")
    assert style.length_unit(np.zeros(0)) == (1e-6, "µm")


def test_the_check_for_covered_words_sees_them(monkeypatch: pytest.MonkeyPatch) -> None:
    with style.page(Path("/dev/null"), 0.1, 0.1) as figure:
        monkeypatch.setattr(style, "save", lambda *_: None)
        ax = figure.subplots()
        ax.text(0.5, 0.5, "one")
        ax.text(0.52, 0.5, "other")
        assert overlapping(figure) == [("one", "other")]


@pytest.mark.parametrize(("ending", "head"), [("svg", b"<?xml"), ("PDF", b"%PDF"), ("png", b"\x89PNG")])
def test_a_picture_is_what_its_ending_says(tmp_path, ending, head):
    """And no more than that is written, unless other formats are asked for beside it."""
    path = tmp_path / f"one.{ending}"
    token = style.also_as.set(("svg",))
    try:
        with style.page(path, 0.05, 0.05) as figure:
            figure.subplots()
    finally:
        style.also_as.reset(token)
    assert path.read_bytes().startswith(head)
    assert {p.name for p in tmp_path.iterdir()} == {path.name, "one.svg"}
