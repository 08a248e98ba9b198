"""Pictures and charts of walls: drawn on given axes, from given numbers."""

import matplotlib
import numpy as np
import pytest
from made_up import made_up_layers

matplotlib.use("Agg")

from matplotlib.figure import Figure

from bedsim.views.wall_picture import draw_lit_wall, draw_relief, light_note, scale_bar, wall_picture
from bedsim.views.wall_plots import draw_shares, draw_visibility
from bedsim.wall.bands import REMAINDER, amplitude_spectrum, band_amplitudes, source_shares
from bedsim.wall.relief import wall_of_layers
from bedsim.wall.surface import common_gain, light_wall
from bedsim.wall.visibility import Viewing, judge, visibility_curve

RAKING = np.deg2rad(60)


@pytest.fixture
def walls():
    return [
        wall_of_layers(made_up_layers(amplitude=a), wall="+X", line_width=0.45e-3, probe="centre")
        for a in (9e-6, 2e-6)
    ]


@pytest.fixture
def axes():
    return Figure().add_subplot()


def test_lit_wall_is_drawn_as_given_with_height_in_millimetres(walls, axes):
    lit = light_wall(walls[0], incidence=RAKING, gain=10)
    draw_lit_wall(axes, lit, width_mm=20)
    (image,) = axes.images
    assert np.array_equal(image.get_array(), lit.brightness)
    assert image.get_extent() == pytest.approx([0, 20, 0, 80])
    assert axes.texts[0].get_text() == "10 mm"
    assert axes.patches[0].get_width() == 10


def test_picture_has_one_light_for_all_panels_and_says_so(walls):
    gain = common_gain(walls, RAKING)
    lit = [light_wall(w, incidence=RAKING, gain=gain) for w in walls]
    figure = Figure()
    wall_picture(figure, walls, lit, ["rigid", "rolling"])
    assert [a.get_title() for a in figure.axes[:2]] == ["rigid", "rolling"]
    assert {a.images[0].norm.vmax for a in figure.axes[:2]} == {1.0}
    assert len({a.get_ylim() for a in figure.axes}) == 1
    assert "60°" in light_note(lit[0])
    assert f"magnified {gain:g} times" in light_note(lit[0])


def test_relief_is_drawn_in_micrometres_and_tells_lines_apart_in_grey(walls, axes):
    draw_relief(axes, walls, ["a", "b"])
    first, second = axes.lines
    assert first.get_xdata() == pytest.approx(walls[0].relief * 1e6)
    assert first.get_linestyle() != second.get_linestyle()
    assert "µm" in axes.get_xlabel()


def test_visibility_chart_marks_every_resolved_band(walls, axes):
    view = Viewing()
    bands = judge(band_amplitudes(walls[0], [5e-3], 2), view)
    draw_visibility(axes, {"a": amplitude_spectrum(walls[0])}, {"a": bands}, view, visibility_curve(view))
    marked = [line for line in axes.lines if len(line.get_xdata()) == 1]
    assert [m.get_ydata()[0] for m in marked] == pytest.approx([b.band.amplitude * 1e6 for b in bands])
    assert "µm" in axes.get_ylabel()


def test_share_bars_carry_their_percentages(walls, axes):
    layers = made_up_layers(amplitude=9e-6)
    shares = source_shares(
        walls[0], {("run-out", "left"): (0.75 * layers.lateral_error, 0.75 * layers.height_error)}, 0, [5e-3]
    )
    draw_shares(axes, shares)
    assert [t.get_text().strip() for t in axes.texts] == ["75 %", "25 %", "75 %", "25 %"]
    assert REMAINDER[0] in [t.get_text() for t in axes.get_yticklabels()]


@pytest.mark.parametrize(("span", "bar"), [(60, 10), (100, 20), (9, 1), (300, 50)])
def test_scale_bar_is_a_round_length(span, bar):
    assert scale_bar(span) == pytest.approx(bar)
