"""Gaussian profile filter and waviness parameters against the standards' definitions and an independent
library.

ISO 16610-21:2011: weighting function s(x) = 1/(alpha lc) exp(-pi (x/(alpha lc))^2), alpha = sqrt(ln 2/pi)
= 0.4697, transmission exp(-pi (alpha lc/lambda)^2), 50 % at lambda = lc.  The text of the standard was quoted
from memory; its constants were read as coded, see tests/published.  Independent library:
scipy.ndimage.gaussian_filter1d; a Gaussian exp(-pi (x/(alpha lc))^2) has the standard deviation
alpha lc/sqrt(2 pi).
ISO 4287:1997: Wa mean of |W|, Wq root mean square, Wt largest peak plus largest valley; closed forms for a
sine.
"""

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.ndimage import gaussian_filter1d

from bedsim.errors import InputError
from bedsim.wall.waviness import (
    cutoff_for_layers,
    gaussian_filter,
    gaussian_weights,
    parameters,
    transmission,
    waviness,
)

pytestmark = pytest.mark.exact_inputs("the same numbers stand on both sides")
CUTOFF = 0.8e-3


def test_weights_have_unit_area_and_the_middle_of_the_constant():
    """s(0) = 1/(alpha lc) and the integral is one (by numerical quadrature)."""
    assert gaussian_weights(0.0, CUTOFF) == pytest.approx(1 / (0.4697 * CUTOFF), rel=1e-4)
    area, _ = quad(lambda x: float(gaussian_weights(x, CUTOFF)), -3 * CUTOFF, 3 * CUTOFF, points=[0.0])
    assert area == pytest.approx(1, rel=1e-9)


@pytest.mark.parametrize("ratio", [0.5, 1.0, 1.5, 2.0, 5.0])
def test_transmission_is_the_fourier_transform_of_the_weights(ratio):
    """Closed form against the cosine integral of the weighting function, done by quadrature."""
    wavelength = ratio * CUTOFF
    value, _ = quad(
        lambda x: float(gaussian_weights(x, CUTOFF)) * np.cos(2 * np.pi * x / wavelength),
        -3 * CUTOFF,
        3 * CUTOFF,
        points=[0.0],
        limit=200,
    )
    assert transmission(wavelength, CUTOFF) == pytest.approx(value, abs=1e-9)


@pytest.mark.parametrize("ratio", [0.8, 1.0, 1.5, 3.0])
def test_filtered_sine_keeps_the_transmitted_amplitude(ratio):
    """A long sine through the filter: half of it remains at the cut-off."""
    spacing, wavelength = CUTOFF / 40, ratio * CUTOFF
    x = spacing * np.arange(4000)
    inside = slice(200, -200)
    out = gaussian_filter(np.sin(2 * np.pi * x / wavelength), spacing, CUTOFF)[inside]
    design = np.stack([np.sin(2 * np.pi * x / wavelength), np.cos(2 * np.pi * x / wavelength)], 1)[inside]
    amplitude = np.linalg.lstsq(design, out, rcond=None)[0]
    expected = 2.0 ** -(ratio**-2)
    assert amplitude[0] == pytest.approx(expected, abs=1e-5)
    assert amplitude[1] == pytest.approx(0, abs=1e-5)


def test_filter_agrees_with_an_independent_gaussian():
    """Random profile, away from the ends, against scipy.ndimage."""
    spacing = CUTOFF / 50
    y = np.random.default_rng(0).normal(size=2000).cumsum()
    sigma = np.sqrt(np.log(2) / np.pi) * CUTOFF / np.sqrt(2 * np.pi) / spacing
    expected = gaussian_filter1d(y, sigma, truncate=8, mode="nearest")
    assert gaussian_filter(y, spacing, CUTOFF)[120:-120] == pytest.approx(expected[120:-120], abs=1e-4)


def test_straight_profile_passes_up_to_its_ends():
    """End correction of degree one: level and slope are kept (property named in ISO 16610-28)."""
    y = 3.0 + 0.25 * np.arange(100)
    assert gaussian_filter(y, CUTOFF / 8, CUTOFF) == pytest.approx(y, rel=1e-10)


def test_parameters_of_a_sine():
    """Wa = 2A/pi, Wq = A/sqrt 2, Wt = 2A."""
    a = 5e-6
    wa, wq, wt = parameters(a * np.sin(2 * np.pi * np.arange(100000) / 1000))
    assert wa == pytest.approx(2 * a / np.pi, rel=1e-5)
    assert wq == pytest.approx(a / np.sqrt(2), rel=1e-5)
    assert wt == pytest.approx(2 * a, rel=1e-5)


def test_layer_lines_go_and_bands_stay():
    """Beads of 0.2 mm and a band of 5 mm: at 0.8 mm the beads are out, the band loses 1.8 %
    (2^-(0.8/5)^2)."""
    z = 0.2e-3 / 16 * np.arange(16 * 500)
    band, lines = 5e-6 * np.sin(2 * np.pi * z / 5e-3), 20e-6 * np.abs(np.sin(np.pi * z / 0.2e-3))
    result = waviness(z, band + lines, CUTOFF)
    assert result.wq == pytest.approx(5e-6 / np.sqrt(2) * 2 ** -((0.8 / 5) ** 2), rel=2e-3)


def test_long_cutoff_takes_form_out():
    z = 0.05e-3 * np.arange(4000)
    wave, form = 5e-6 * np.sin(2 * np.pi * z / 5e-3), 50e-6 * np.sin(np.pi * z / 200e-3)
    result = waviness(z, wave + form, CUTOFF, 25e-3)
    assert result.wq == pytest.approx(
        5e-6 / np.sqrt(2) * (2 ** -((0.8 / 5) ** 2) - 2.0 ** -((25 / 5) ** 2)), rel=0.03
    )


def test_cutoffs_of_the_periodic_series():
    """0.2 mm layers fall in 0.13..0.4 mm: cut-off 0.8 mm; 0.1 mm layers: 0.25 mm (ISO 4288:1996, from
    memory)."""
    assert cutoff_for_layers(0.2e-3) == pytest.approx(0.8e-3)
    assert cutoff_for_layers(0.1e-3) == pytest.approx(0.25e-3)


@pytest.mark.parametrize(
    ("spacing_mm", "cutoff_mm"),
    [
        (0.04, 0.08),
        (0.05, 0.25),
        (0.13, 0.25),
        (0.14, 0.8),
        (0.4, 0.8),
        (0.42, 2.5),
        (0.6, 2.5),
        (1.3, 2.5),
        (1.35, 8.0),
        (4.0, 8.0),
        (5.0, 8.0),
    ],
)
def test_cutoffs_of_thick_layers_and_at_the_ends_of_every_row(spacing_mm, cutoff_mm):
    """Mean spacing above 0.13 to 0.4, 0.4 to 1.3, 1.3 to 4 mm: 0.8, 2.5, 8 mm (ISO 4288:1996, table of
    periodic profiles, from memory; the series itself, by steps of sqrt 10, is that of ISO 3274)."""
    assert cutoff_for_layers(spacing_mm * 1e-3) == pytest.approx(cutoff_mm * 1e-3)


def test_a_wall_of_thick_layers_keeps_its_bands_and_loses_its_lines():
    """Layers of 0.6 mm take 2.5 mm: their own wave goes (0.5^17), a band of 8 mm stays (0.5^0.1)."""
    for wave_mm, share in ((0.6, 0.5 ** ((2.5 / 0.6) ** 2)), (8.0, 0.5 ** ((2.5 / 8.0) ** 2))):
        found = transmission(wave_mm * 1e-3, cutoff_for_layers(0.6e-3))
        assert found == pytest.approx(share, rel=1e-9)


def test_too_coarse_sampling_and_reversed_cutoffs_are_refused():
    with pytest.raises(InputError, match="at least 4 sample spacings"):
        gaussian_filter(np.zeros(10), 0.4e-3, CUTOFF)
    with pytest.raises(InputError, match="must exceed the cut-off"):
        waviness(np.arange(50) * 1e-4, np.zeros(50), CUTOFF, 0.5e-3)
