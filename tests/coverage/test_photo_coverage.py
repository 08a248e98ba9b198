"""Bands in photos: stated uncertainties against known walls with grain, texture and dark corners."""

import numpy as np
import pytest
import scipy
from draws import ONE, TWO, assert_share

from bedsim.metrology.photo_fit import bands_of, profile

PIXEL, HIGH, WIDE = 0.05, 40.0, 60  # mm, mm, pixels


def picture(rng, length, crest, contrast, grain):
    """Bands, layer lines ten times as strong, a texture (0.3 mm long, half a percent), dark corners."""
    z = np.arange(0, HIGH, PIXEL)
    shade = contrast * np.sin(2 * np.pi * (z - crest) / length) + 0.1 * np.cos(2 * np.pi * z / 0.25)
    texture = scipy.ndimage.gaussian_filter1d(rng.normal(size=z.size), 6)
    wall = (1 + shade + 0.005 * texture / texture.std())[::-1, None] * np.ones(WIDE)
    y, x = np.mgrid[0 : z.size, 0:WIDE]
    dark = 1 - 0.3 * ((y / z.size - 0.5) ** 2 + (x / WIDE - 0.5) ** 2)
    return 0.5 * (wall * dark + rng.normal(0, grain, wall.shape))


def errors(sets, seed, grain):
    rng, off, missed = np.random.default_rng(seed), [], 0
    for _ in range(sets):
        length, contrast = rng.uniform(3, 8), rng.uniform(0.006, 0.02)
        crest = rng.uniform(0, length)
        shot = picture(rng, length, crest, contrast, grain)
        seen = profile(shot, (WIDE / 2, shot.shape[0] - 1.0), (0.0, -1 / PIXEL), (1.0, 39.0, -25, 25))
        bands = bands_of(seen, from_above=True, layer=0.25)
        if not bands:
            missed += 1
            continue
        one, away = bands[0], (bands[0].crest - crest + length / 2) % length - length / 2
        off.append(
            (
                (one.wavelength - length) / one.wavelength_uncertainty,
                away / one.crest_uncertainty,
                (one.contrast - contrast) / one.contrast_uncertainty,
            )
        )
    return np.abs(np.transpose(off)), missed


@pytest.mark.parametrize(
    ("sets", "grain", "most_missed"),
    [
        (60, 0.05, 0),
        pytest.param(200, 0.05, 0, marks=pytest.mark.long),
        pytest.param(200, 0.2, 20, marks=pytest.mark.long),
    ],
)
def test_length_crest_and_contrast_of_bands(sets, grain, most_missed):
    """Where the grain drowns the faintest bands they are told as none (16 of 200); what is told holds."""
    off, missed = errors(sets, 51, grain)
    assert missed <= most_missed
    for part in off:
        assert_share(part <= 1, ONE)
        assert_share(part <= 2, TWO)
