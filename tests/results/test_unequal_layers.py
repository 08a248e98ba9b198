"""Waves, stretches and objects in prints of unequal layers, against closed forms and brute force."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.signal import lombscargle

from bedsim.analysis import metrics

RNG = np.random.default_rng(4)
THICKNESS = RNG.uniform(0.1e-3, 0.3e-3, 300)
UNEVEN = np.cumsum(THICKNESS)
EVEN = np.linspace(UNEVEN[0], UNEVEN[-1], 300)


def wave(height, wavelength, amplitude=1.0, phase=0.3):
    return amplitude * np.cos(2 * np.pi * height / wavelength + phase)


def test_a_sine_sampled_unevenly_has_its_amplitude():
    """Beside another, a trend and a mean; the fit is exact but for the other wave's leakage."""
    values = wave(UNEVEN, 5e-3, 2.0) + wave(UNEVEN, 1.7e-3, 0.7) + 300 * UNEVEN + 5
    assert metrics.amplitude_at(UNEVEN, values, 5e-3) == pytest.approx(2.0, rel=0.01)
    assert metrics.amplitude_at(UNEVEN, values, 1.7e-3) == pytest.approx(0.7, rel=0.01)
    lone = metrics.phasor_at(UNEVEN, wave(UNEVEN, 5e-3, 2.0, 0.0), 5e-3)
    assert lone == pytest.approx(2.0 * np.exp(-2j * np.pi * UNEVEN[0] / 5e-3), rel=1e-9)


@pytest.mark.parametrize("wavelength", [5e-3, 2e-3, 0.8e-3])
def test_a_spectrum_of_unequal_layers_peaks_where_the_wave_is(wavelength):
    """0.8 mm is below two of the thickest layers times 1.4: beyond what equal layers of 0.3 mm tell well."""
    values = np.stack([wave(UNEVEN, wavelength, 2.0) + 40 * UNEVEN, np.zeros(300)], axis=1)
    found = metrics.spectrum(UNEVEN, values)
    peak = int(found.amplitude[:, 0].argmax())
    assert found.amplitude[peak, 0] == pytest.approx(2.0, rel=0.01)
    assert found.wavelength[peak] == pytest.approx(wavelength, rel=0.01)
    assert_allclose(found.amplitude[:, 1], 0.0)


def test_layers_count_by_the_height_that_they_stand_for():
    """A band in the upper half alone, which has three quarters of the layers, has half of its amplitude in
    the whole, by the symmetry of the window, whatever the layers."""
    top = np.cumsum(np.concatenate([np.full(100, 0.3e-3), np.full(300, 0.1e-3)]))
    for height in (top, np.linspace(top[0], top[-1], 800)):
        band = np.where(height > 0.5 * top[-1], wave(height, 1e-3, 8.0), 0.0)
        assert metrics.amplitude_at(height, band, 1e-3) == pytest.approx(4.0, rel=0.02)


def test_a_spectrum_of_unequal_layers_is_that_of_scipy():
    """scipy.signal.lombscargle, weighed by the same window, of values without mean and trend."""
    values = RNG.normal(size=300)
    found = metrics.spectrum(UNEVEN, values)
    window = metrics._window(UNEVEN)
    line = np.polynomial.Polynomial.fit(UNEVEN, values, 1, w=np.sqrt(window))
    other = lombscargle(
        UNEVEN, values - line(UNEVEN), 2 * np.pi / found.wavelength, weights=window, normalize="amplitude"
    )
    assert_allclose(found.amplitude, np.abs(other), rtol=1e-6, atol=1e-9)


def test_unequal_layers_fold_no_wave_and_a_thick_first_layer_changes_nothing():
    thick_first = np.concatenate([[0.3e-3], 0.3e-3 + 2e-3 * np.arange(1, 40)])
    assert metrics.seen_wavelength(UNEVEN, 5e-3, 2) == 2.5e-3
    assert metrics.seen_wavelength(thick_first, 3e-3) == metrics.wall_wavelength(3e-3, 2e-3) != 3e-3
    assert metrics.usual_thickness(thick_first) == pytest.approx(2e-3)
    assert metrics.usual_thickness(UNEVEN) == pytest.approx(THICKNESS.mean())


def test_the_worst_stretch_is_that_of_brute_force_and_within_one_object():
    height = np.concatenate([UNEVEN[:60], UNEVEN[:40]])
    lateral = RNG.normal(size=(100, 2, 2))
    assert metrics.objects(height) == [slice(0, 60), slice(60, 100)]
    assert_allclose(metrics.thicknesses(height), np.concatenate([THICKNESS[:60], THICKNESS[:40]]))
    found = metrics.worst_band(height, lateral, 2e-3)
    best = 0.0
    for part in metrics.objects(height):
        z, half = height[part], 0.5 * np.diff(height[part]).mean()
        for i in range(z.size):
            inside = np.flatnonzero((z >= z[i]) & (z < z[i] + 2e-3 + half)) + part.start
            if z[i] + 2e-3 - half <= z[-1]:
                best = max(best, metrics.lateral_peak_to_valley(lateral[inside]).max())
    assert found.peak_to_valley == pytest.approx(best)
    assert 0 <= found.first < found.last < 60 or 60 <= found.first < found.last
    assert height[found.last] - height[found.first] == pytest.approx(2e-3, abs=0.3e-3)
