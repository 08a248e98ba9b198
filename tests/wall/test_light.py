"""Light traced over a wall of beads."""

import numpy as np
import pytest

from bedsim.wall.light import bead_share, row_brightness, traced

RAKING = np.deg2rad(80.0)


def test_a_smooth_gentle_wave_is_as_bright_as_its_slope_says():
    """Lambert's cosine law where nothing shades: facet normal times light."""
    z = np.linspace(0.0, 20e-3, 4001)
    surface = 20e-6 * np.sin(2 * np.pi * z / 5e-3)
    slope = np.diff(surface) / np.diff(z)
    facet = np.stack([np.ones_like(slope), -slope]) / np.hypot(1.0, slope)
    expected = facet.T @ [np.cos(RAKING), np.sin(RAKING)]
    assert traced(z, surface, RAKING) == pytest.approx(expected, abs=1e-12)


def test_a_ledge_shades_the_wall_below_it_as_far_as_the_ray_falls():
    """A ledge of 50 um at 80 degrees of incidence: its shadow is 50 um tan 80 = 0.284 mm long."""
    z = np.linspace(0.0, 2e-3, 20001)
    light = traced(z, np.where(z > 1e-3, 50e-6, 0.0), RAKING)
    dark = z[1:][(light == 0.0) & (z[1:] < 1e-3)]
    assert 1e-3 - dark.min() == pytest.approx(50e-6 * np.tan(RAKING), rel=2e-3)
    assert light[z[1:] > 1.001e-3] == pytest.approx(np.cos(RAKING))


@pytest.mark.parametrize("degrees", [30.0, 60.0, 75.0])
def test_flat_steps_keep_half(degrees):
    """Layers without rounding: a step outwards shades s tan i of the layer below it, a step inwards lights
    nothing,
    as its ledge is not seen from before the wall.  So B(s) = 1 - s tan i and B(-s) = 1: half of (B(-s) -
    B(s))/(B(-s) +
    B(s)) = s tan i/(2 - s tan i)."""
    i, slope = np.deg2rad(degrees), 0.02
    assert bead_share(i, 0.0) == pytest.approx(1.0 / (2.0 - slope * np.tan(i)), rel=0.01)


def test_beads_take_half_of_the_contrast_at_60_degrees_and_a_tenth_at_80():
    """What a trace of whole printed walls gave independently at a slope of 0.04: 0.53 and 0.88 of the
    closed formula."""
    assert bead_share(np.deg2rad(60.0)) == pytest.approx(0.56, abs=0.04)
    assert bead_share(RAKING) == pytest.approx(0.89, abs=0.03)


def test_the_share_follows_from_finely_sampled_half_ellipses():
    """The same row with the beads' light in closed form: no bead shades where it is lit at all on its upper
    half, so
    at 30 degrees the lit part can be integrated by eye of a finer grid (2 million points)."""
    i = np.deg2rad(60.0)
    z = np.linspace(0.0, 6.0, 2_000_001)
    for slope in (-0.02, 0.02):
        r = 0.15 * (np.sqrt(np.maximum(1.0 - (2.0 * (z % 1.0) - 1.0) ** 2, 0.0)) - 1.0) + slope * np.floor(z)
        fine = traced(z, r, i)[:1_000_000].mean()
        assert row_brightness(slope, i) == pytest.approx(fine, rel=2e-3)
