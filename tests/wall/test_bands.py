"""Bands at the lead and its harmonics, and who made them."""

import dataclasses

import numpy as np
import pytest
from made_up import CORNERS, made_up_layers

from bedsim.wall.bands import (
    REMAINDER,
    amplitude_spectrum,
    band_amplitudes,
    shares_by_cause,
    shares_by_corner,
    source_shares,
)
from bedsim.wall.relief import Wall, wall_of_layers

H, W = 0.2e-3, 0.45e-3


def flat_wall(relief, h=H):
    n = len(relief)
    return Wall(
        name="+X",
        normal=np.array([1.0, 0.0]),
        probe="centre",
        height=h * (np.arange(n) + 0.5),
        relief=np.asarray(relief, float),
        thickness=np.full(n, h),
        line_width=W,
    )


def test_bands_of_two_leads_and_a_harmonic_are_read_back():
    """A wall written as a sum of sines, drift included, gives back their amplitudes and crests."""
    z = H * (np.arange(500) + 0.5)
    wave = 3e-6 * np.cos(2 * np.pi * (z - 1e-3) / 8e-3) + 2e-6 * np.cos(2 * np.pi * (z - 0.5e-3) / 2.5e-3)
    wave += 1e-6 * np.cos(2 * np.pi * (z - 4e-3) / 5e-3) + 5e-6 + 1e-4 * z
    bands = {b.label: b for b in band_amplitudes(flat_wall(wave), [8e-3, 5e-3], harmonics=2)}
    assert bands["lead 8 mm"].amplitude == pytest.approx(3e-6, rel=1e-9)
    assert bands["lead 8 mm"].crest_height == pytest.approx(1e-3, rel=1e-9)
    assert bands["lead 5 mm"].amplitude == pytest.approx(1e-6, rel=1e-9)
    assert bands["1/2 lead 5 mm"].amplitude == pytest.approx(2e-6, rel=1e-9)
    assert bands["1/2 lead 8 mm"].amplitude == pytest.approx(0, abs=1e-14)


def test_lead_shorter_than_two_layers_shows_as_a_long_band():
    """Lead 0.21 mm under 0.2 mm layers beats to 0.2 x 0.21/0.01 = 4.2 mm."""
    z = H * (np.arange(600) + 0.5)
    (band,) = band_amplitudes(flat_wall(2e-6 * np.sin(2 * np.pi * z / 0.21e-3)), [0.21e-3], harmonics=1)
    assert band.seen_wavelength == pytest.approx(4.2e-3)
    assert band.amplitude == pytest.approx(2e-6, rel=1e-6)


def test_lead_of_one_layer_is_a_constant_and_a_short_wall_resolves_nothing():
    (band,) = band_amplitudes(flat_wall(np.ones(100)), [H], harmonics=1)
    assert np.isinf(band.seen_wavelength)
    assert np.isnan(band.amplitude)
    (band,) = band_amplitudes(flat_wall(np.zeros(20)), [8e-3], harmonics=1)
    assert band.seen_wavelength == pytest.approx(8e-3)
    assert np.isnan(band.amplitude)


def test_a_short_wall_resolves_nothing_after_a_number_that_was_too_large():
    """Python's abs of a complex that is no number takes the last overflow of the C library for its own."""
    wall = flat_wall(np.zeros(3))
    float("1e400")
    assert np.isnan(band_amplitudes(wall, [5e-3])[0].amplitude)


def test_equal_waves_of_two_leads_are_one_band():
    """Half the lead of 8 mm and the lead of 4 mm cannot be told apart and are said so."""
    labels = [b.label for b in band_amplitudes(flat_wall(np.zeros(400)), [8e-3, 4e-3], harmonics=2)]
    assert labels == ["lead 8 mm", "lead 4 mm + 1/2 lead 8 mm", "1/2 lead 4 mm"]


@pytest.mark.parametrize(("periods", "kept"), [(20, 1.0), (20.5, 0.849)])
def test_spectrum_shows_the_amplitude_at_the_wavelength(periods, kept):
    """On a line the full amplitude; halfway between two lines 1.42 dB less (Harris 1978, Hann window)."""
    place = np.arange(500)
    found = amplitude_spectrum(flat_wall(4e-6 * np.sin(2 * np.pi * periods * place / 500)))
    assert found.wavelength[np.argmax(found.amplitude)] == pytest.approx(500 * H / periods, rel=0.03)
    assert found.amplitude.max() == pytest.approx(4e-6 * kept, rel=0.01)


def _sources(layers, rng):
    p = layers.height_error.shape[1]
    angle = 2 * np.pi * layers.print_height / 5e-3
    out = {}
    for cause in ("run-out", "travel deviation", "once-per-turn lead"):
        for corner in CORNERS:
            phase, size = rng.uniform(0, 2 * np.pi), rng.uniform(1e-6, 4e-6)
            lateral = (
                size * np.stack([np.cos(angle + phase), np.sin(angle + phase)], -1)[:, None] * np.ones((p, 1))
            )
            out[cause, corner] = (lateral, 0.3 * size * np.cos(angle - phase)[:, None] * np.ones(p))
    return out


def test_shares_add_up_and_a_linear_whole_leaves_no_remainder():
    """Sum of the sources' errors as the whole: shares sum to one, remainder is nought."""
    rng = np.random.default_rng(11)
    layers = made_up_layers()
    sources = _sources(layers, rng)
    lateral = sum(s[0] for s in sources.values())
    height = sum(s[1] for s in sources.values())
    wall = wall_of_layers(
        dataclasses.replace(layers, lateral_error=lateral, height_error=height),
        wall="-Y",
        line_width=W,
        probe="centre",
    )
    shares = source_shares(wall, sources, 0, [5e-3])
    assert sum(s.relief for s in shares) == pytest.approx(wall.relief, abs=1e-18)
    assert sum(s.variance_share for s in shares) == pytest.approx(1)
    assert sum(s.band_share[0] for s in shares) == pytest.approx(1)
    rest = shares[-1]
    assert rest.source == REMAINDER
    assert rest.variance_share == pytest.approx(0, abs=1e-12)
    assert sum(shares_by_corner(shares).values()) == pytest.approx(1)
    assert sum(shares_by_cause(shares).values()) == pytest.approx(1)


def test_what_no_source_explains_goes_to_friction_and_vibration():
    """A stick-slip sawtooth added to the whole is found in the remainder with its own variance."""
    rng = np.random.default_rng(12)
    layers = made_up_layers()
    sources = _sources(layers, rng)
    lateral = sum(s[0] for s in sources.values())
    saw = 6e-6 * (np.arange(400) % 7 / 7 - 0.5)
    extra = np.zeros_like(lateral)
    extra[:, :, 0] = -saw[:, None]
    whole = dataclasses.replace(
        layers, lateral_error=lateral + extra, height_error=sum(s[1] for s in sources.values())
    )
    wall = wall_of_layers(whole, wall="+X", line_width=W, probe="centre")
    rest = source_shares(wall, sources, 0, [5e-3])[-1]
    assert rest.relief == pytest.approx(saw, abs=1e-15)
    assert rest.variance_share == pytest.approx(saw.var() / wall.relief.var(), rel=0.05)


def test_one_source_alone_has_the_whole_share():
    layers = made_up_layers(noise=0.0)
    wall = wall_of_layers(layers, wall="+X", line_width=W, probe="centre")
    only = {("run-out", "left"): (layers.lateral_error, layers.height_error)}
    share = source_shares(wall, only, 0, [5e-3], harmonics=1)[0]
    assert share.variance_share == pytest.approx(1)
    assert share.band_share[0] == pytest.approx(1)
