"""The wall as a lit surface."""

import dataclasses

import numpy as np
import pytest
from made_up import made_up_layers
from scipy.integrate import quad

from bedsim.wall.relief import wall_of_layers
from bedsim.wall.surface import (
    band_contrast,
    bead_profile,
    common_gain,
    layer_lines,
    light_column,
    light_wall,
)

W = 0.45e-3
RAKING = np.deg2rad(60)


@pytest.fixture
def layers():
    return made_up_layers(noise=0.0)


@pytest.fixture
def wall(layers):
    return wall_of_layers(layers, wall="+X", line_width=W, probe="centre")


def test_half_round_beads_have_the_roughness_of_semicircles(wall):
    """Ra of a row of semicircles of radius R by quadrature over |y - mean|: 0.1812 R."""
    radius = wall.layer_height / 2
    mean = np.pi * radius / 4
    ra, _ = quad(
        lambda x: abs(np.sqrt(radius**2 - x**2) - mean), -radius, radius, points=[-0.6 * radius, 0.6 * radius]
    )
    plain = dataclasses.replace(wall, relief=np.zeros_like(wall.relief))
    surface = bead_profile(plain, roundness=1.0, samples=1000).surface
    assert np.abs(surface - surface.mean()).mean() == pytest.approx(ra / (2 * radius), rel=1e-3)


def test_slope_is_that_of_the_band(wall):
    """Wave of 8 um on 5 mm, plus the squeeze: largest slope against the analytic wave between layer
    centres.
    """
    plain = dataclasses.replace(wall, relief=8e-6 * np.sin(2 * np.pi * wall.height / 5e-3))
    slope = bead_profile(plain).slope
    assert slope.max() == pytest.approx(2 * np.pi * 8e-6 / 5e-3, rel=0.01)


def test_surface_that_leans_to_the_light_is_brighter(wall):
    """Light from above: a wall that recedes upwards (negative slope) faces it."""
    assert band_contrast(np.array([-0.01]), RAKING)[0] == pytest.approx(0.01 * np.tan(RAKING), rel=0.01)
    lines = layer_lines(RAKING, 0.3)
    assert lines[-1] > lines[0]
    assert lines.mean() == pytest.approx(1)


def test_smaller_bands_are_fainter_at_the_common_gain(wall):
    """Same light, same gain: a tenth of the relief has a tenth of the contrast in the picture."""
    wall = dataclasses.replace(wall, relief=3 * wall.relief)
    faint = dataclasses.replace(wall, relief=wall.relief / 10)
    gain = common_gain([wall, faint], RAKING)
    assert gain in {1, 2, 5, 10}
    spread = [
        np.ptp(light_wall(w, incidence=RAKING, gain=gain, roundness=0).brightness) for w in (wall, faint)
    ]
    assert spread[1] == pytest.approx(spread[0] / 10, rel=0.02)
    assert 0.2 < spread[0] <= 1


def test_flat_wall_is_even_at_the_largest_gain(wall):
    flat = dataclasses.replace(wall, relief=np.zeros_like(wall.relief))
    gain = common_gain([flat], RAKING)
    lit = light_wall(flat, incidence=RAKING, gain=gain, roundness=0)
    assert gain == 10
    assert np.ptp(lit.brightness) < 1e-12
    assert lit.top == pytest.approx(len(flat.relief) * flat.layer_height)


def test_post_shows_the_flat_wall_in_its_middle(layers, wall):
    post = light_column(layers, wall, incidence=RAKING, gain=10, columns=41)
    flat = light_wall(wall, incidence=RAKING, gain=10)
    assert post.brightness[:, 20] == pytest.approx(flat.brightness[:, 0])
    assert post.brightness[:, 0].mean() < flat.brightness.mean() / 3


def test_right_half_of_the_post_is_the_wall_to_the_onlookers_right(layers, wall):
    """Facing +X from outside, +Y is on the right."""
    post = light_column(layers, wall, incidence=RAKING, gain=10, columns=3)
    right = wall_of_layers(layers, wall=float(np.rad2deg(np.arcsin(0.985))), line_width=W, probe="centre")
    expected = light_wall(right, incidence=RAKING, gain=10).brightness[:, 0]
    expected = expected - expected.mean()
    got = post.brightness[:, 2] - post.brightness[:, 2].mean()
    assert np.corrcoef(got, expected)[0, 1] > 0.8


def test_bands_nobody_sees_stay_faint_in_the_picture(wall):
    """0.3 um on 5 mm is 0.07 % of contrast; the picture shows less than 1.5 % of its range."""
    unseen = dataclasses.replace(wall, relief=0.3e-6 * np.sin(2 * np.pi * wall.height / 5e-3))
    lit = light_wall(unseen, incidence=RAKING, gain=common_gain([unseen], RAKING), roundness=0)
    assert np.ptp(lit.brightness) < 0.015
