"""Relief of a printed wall from the errors of the bed."""

import numpy as np
import pytest
from made_up import made_up_layers
from scipy.integrate import trapezoid

from bedsim.errors import InputError
from bedsim.wall.relief import (
    probe_index,
    wall_normal,
    wall_of_layers,
    wall_relief,
    width_per_height,
)

H, W = 0.2e-3, 0.45e-3


def line_area(width, height, section):
    """Cross-section of a line, m2: a rectangle, or one with half-round edges."""
    return width * height if section == "rectangle" else (width - height) * height + np.pi * height**2 / 4


@pytest.mark.parametrize("section", ["rectangle", "stadium"])
def test_width_slope_keeps_the_flow(section):
    """The slope is the derivative of the implicit curve area(w, h) = constant, taken numerically."""
    step = 1e-9
    a_w = (line_area(W + step, H, section) - line_area(W - step, H, section)) / (2 * step)
    a_h = (line_area(W, H + step, section) - line_area(W, H - step, section)) / (2 * step)
    assert width_per_height(W, H, section) == pytest.approx(-a_h / a_w, rel=1e-6)


def test_stadium_area_is_that_of_a_box_and_a_disc():
    """Area by integrating the width over the height, independent of the closed form."""
    y = np.linspace(-H / 2, H / 2, 200001)
    width = (W - H) + 2 * np.sqrt(np.maximum((H / 2) ** 2 - y**2, 0))
    assert line_area(W, H, "stadium") == pytest.approx(trapezoid(width, y), rel=1e-7)


def test_bed_moving_along_the_normal_leaves_material_behind():
    """A bed point displaced outwards under a fixed nozzle gets its material on the inner side: the wall
    recedes."""
    lateral = np.zeros((5, 2))
    lateral[2] = [7e-6, 0]
    relief = wall_relief(lateral, np.zeros(5), normal=[1, 0], line_width=W, layer_height=H)
    assert relief == pytest.approx([0, 0, -7e-6, 0, 0])


@pytest.mark.parametrize("section", ["rectangle", "stadium"])
def test_relief_of_a_wall_laid_bead_by_bead(section):
    """Geometry by hand: material sits where the nozzle was in the part's frame, width from area over
    thickness."""
    rng = np.random.default_rng(5)
    d_xy, d_z = rng.normal(0, 2e-6, (40, 2)), rng.normal(0, 2e-6, 40)
    d_z[0] = 0.0
    top_before, edge = 0.0, []
    for n in range(40):
        top = (n + 1) * H - d_z[n]  # the nozzle above the part: a bed that rises by d_z leaves the top lower
        thickness = top - top_before
        a = line_area(W, H, section)
        k = 1 - np.pi / 4
        width = a / thickness if section == "rectangle" else a / thickness + k * thickness
        edge.append(-d_xy[n, 0] + (width - W) / 2)
        top_before = top
    relief = wall_relief(d_xy, d_z, normal=[1, 0], line_width=W, layer_height=H, section=section)
    # second order of dh/h: (w/2) (dh/h)^2 with dh up to 10 um in 200 um
    assert relief == pytest.approx(np.array(edge), abs=0.5 * W * (np.abs(np.diff(d_z)).max() / H) ** 2 * 1.2)
    assert np.abs(relief).max() > 3e-6


def test_opposite_walls_mirror_the_shift_and_share_the_squeeze():
    """Shift is antisymmetric, change of width symmetric, in the normal."""
    rng = np.random.default_rng(1)
    d_xy, d_z = rng.normal(0, 1e-6, (30, 2)), rng.normal(0, 1e-6, 30)
    plus, minus = (
        wall_relief(d_xy, d_z, normal=n, line_width=W, layer_height=H) for n in ([0, 1.0], [0, -1.0])
    )
    assert (plus - minus) / 2 == pytest.approx(-d_xy[:, 1])
    assert (plus + minus) / 2 == pytest.approx(W / 2 * np.diff(d_z, prepend=d_z[0]) / H)


@pytest.mark.parametrize(
    ("wall", "name", "normal"),
    [
        ("+X", "+X", (1, 0)),
        ("-y", "-Y", (0, -1)),
        (90, "90 deg", (0, 1)),
        ("30deg", "30 deg", (0.75**0.5, 0.5)),
    ],
)
def test_walls_are_named_by_their_outward_normal(wall, name, normal):
    got = wall_normal(wall)
    assert got[0] == name
    assert got[1] == pytest.approx(normal)


@pytest.mark.parametrize("wall", ["Z", "+Z", "left", "nan", ""])
def test_unknown_wall_is_refused_with_the_allowed_names(wall):
    with pytest.raises(InputError, match=r"must be \+X, -X, \+Y, -Y or an angle"):
        wall_normal(wall)


def test_wall_of_layers_takes_the_named_probe():
    layers = made_up_layers()
    wall = wall_of_layers(layers, wall="+X", line_width=W, probe="right")
    p = layers.probe_name.index("right")
    squeeze = W / 2 * np.diff(layers.height_error[:, p], prepend=0) / H
    assert wall.relief == pytest.approx(-layers.lateral_error[:, p, 0] + squeeze)
    assert wall.layer_height == pytest.approx(H)
    assert wall.height[0] == pytest.approx(H / 2)


def test_probe_goes_by_its_beginning_and_an_unknown_one_is_refused_with_the_nearest():
    layers = made_up_layers()
    assert layers.probe_name[probe_index(layers, "Cen")] == "centre"
    with pytest.raises(InputError, match=r"must be one of centre, right. Did you mean right\?"):
        probe_index(layers, "rihgt")
