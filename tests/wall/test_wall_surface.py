"""The wall as a lit surface."""

import dataclasses

import numpy as np
import pytest
from made_up import made_up_layers
from scipy.integrate import quad

from bedsim.wall.light import bead_share
from bedsim.wall.relief import wall_of_layers
from bedsim.wall.surface import (
    RAKING,
    bead_profile,
    gentle_light,
    layer_light,
    light_post,
    screen_codes,
)

W = 0.45e-3


@pytest.fixture
def layers():
    return made_up_layers(noise=0.0)


@pytest.fixture
def wall(layers):
    return wall_of_layers(layers, wall="+X", line_width=W, probe="centre")


def wave(wall, amplitude):
    return dataclasses.replace(wall, relief=amplitude * np.sin(2 * np.pi * wall.height / 5e-3))


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


def test_a_wall_that_leans_to_the_light_is_brighter(wall):
    """Light from above: where the wall recedes upwards it faces the lamp."""
    banded = wave(wall, 8e-6)
    receding = np.cos(2 * np.pi * wall.height / 5e-3) < -0.9
    for light in (gentle_light(banded, RAKING), layer_light(banded, RAKING)):
        assert light[receding][2:-2].min() > 1.0
        assert light.mean() == pytest.approx(1.0, abs=0.02)


@pytest.mark.parametrize("amplitude", [5e-6, 20e-6])
def test_traced_layers_have_the_contrast_of_the_formula(wall, amplitude):
    """2 pi A/lambda tan i times what beads leave of it, read from the wave in the light."""
    expected = 2 * np.pi * amplitude / 5e-3 * np.tan(RAKING) * bead_share(RAKING)
    banded = wave(wall, amplitude)
    turn = np.exp(-2j * np.pi * wall.height / 5e-3)
    for light, within in ((layer_light(banded, RAKING), 0.1), (gentle_light(banded, RAKING), 0.03)):
        assert 2 * abs(np.mean(light * turn)) / light.mean() == pytest.approx(expected, rel=within)


def test_a_flat_wall_is_even(wall):
    flat = dataclasses.replace(wall, relief=np.zeros_like(wall.relief))
    assert layer_light(flat, RAKING)[:-2] == pytest.approx(1.0, abs=0.01)
    assert gentle_light(flat, RAKING) == pytest.approx(1.0)


def test_post_shows_the_flat_wall_in_its_middle_and_dims_to_its_sides(layers, wall):
    post = light_post(layers, wall, columns=41)
    assert post.brightness[:, 20] == pytest.approx(layer_light(wall, RAKING))
    assert post.brightness[:, 0].mean() < 0.35
    assert post.top == pytest.approx(wall.tops[-1])
    assert light_post(layers, wall, columns=3, top=10e-3).top == pytest.approx(10e-3, abs=wall.layer_height)


def test_right_half_of_the_post_is_the_wall_to_the_onlookers_right(layers, wall):
    """Facing +X from outside, +Y is on the right."""
    post = light_post(layers, wall, columns=3)
    turn = np.arcsin(0.985)
    right = wall_of_layers(layers, wall=float(np.rad2deg(turn)), line_width=W, probe="centre")
    assert post.brightness[:, 2] == pytest.approx(layer_light(right, RAKING, turn))


def test_screen_codes_are_those_of_the_srgb_curve():
    """Half of the light is code 188 of 255, a hundredth 25 (IEC 61966-2-1, well known values)."""
    codes = 255 * screen_codes(np.array([0.5, 0.01, 2.0]), exposure=1.0)
    assert np.round(codes).tolist() == [188, 25, 255]
