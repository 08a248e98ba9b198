"""Pictures and charts of walls: drawn on given axes, from given numbers."""

import matplotlib
import numpy as np
import pytest
from made_up import made_up_layers

matplotlib.use("Agg")

from matplotlib.figure import Figure

from bedsim.views.wall_picture import draw_post, draw_relief, post_note
from bedsim.wall.relief import wall_of_layers
from bedsim.wall.surface import light_post, screen_codes
from bedsim.wall.worst import JudgedWall, WallPlace


@pytest.fixture
def walls():
    return [
        wall_of_layers(made_up_layers(amplitude=a), wall="+X", line_width=0.45e-3, probe="centre")
        for a in (9e-6, 2e-6)
    ]


@pytest.fixture
def axes():
    return Figure().add_subplot()


def test_relief_is_drawn_in_micrometres_over_the_post(walls, axes):
    post = light_post(made_up_layers(amplitude=9e-6), walls[0], columns=3, top=40e-3)
    draw_relief(axes, walls[0], post, 20e-6)
    line = axes.lines[0]
    assert line.get_xdata() == pytest.approx(walls[0].relief[: len(post.brightness)] * 1e6)
    assert np.ptp(axes.get_xlim()) == pytest.approx(40.0)
    assert "µm" in axes.get_title("center")


def test_post_is_drawn_as_lit_and_the_note_says_how(walls, axes):
    post = light_post(made_up_layers(amplitude=9e-6), walls[0], columns=5)
    draw_post(axes, post)
    (image,) = axes.images
    assert np.array_equal(image.get_array(), screen_codes(post.brightness))
    judged = JudgedWall(place=WallPlace(wall="+X", probe="centre"), wall=walls[0], sightings=())
    assert "10° off the wall; nothing magnified" in post_note(post, judged)
