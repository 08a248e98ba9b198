"""Figures of merit against closed forms, hand-made sequences and scipy's own transforms."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy.signal import lombscargle, periodogram
from scipy.signal.windows import hann

from bedsim.analysis import metrics

HEIGHT = 0.2e-3 * np.arange(1, 301)


def wave(
    wavelength: float, amplitude: float = 1.0, phase: float = 0.3, height: np.ndarray = HEIGHT
) -> np.ndarray:
    return amplitude * np.cos(2 * np.pi * height / wavelength + phase)


def test_peak_to_valley_of_a_full_sine_is_twice_its_amplitude() -> None:
    values = np.stack([wave(5e-3, 3.0, 0.0), np.zeros(300)], axis=1)
    # 25 layers per wave: a crest between two layers is missed by at most 1 - cos(pi/25)
    assert_allclose(metrics.peak_to_valley(values), [6.0, 0.0], rtol=1 - np.cos(np.pi / 25))


def test_lateral_peak_to_valley_of_a_circle_is_its_diameter_and_of_a_line_its_length() -> None:
    turn = np.linspace(0, 2 * np.pi, 721)
    circle = np.stack([np.cos(turn), np.sin(turn)], axis=1)
    line = np.stack([3 * np.cos(turn), 4 * np.cos(turn)], axis=1)
    got = metrics.lateral_peak_to_valley(np.stack([circle, line], axis=1))
    assert_allclose(got, [2.0, 10.0], rtol=4e-5)


@given(st.floats(0, 6.28))
def test_lateral_peak_to_valley_does_not_change_when_the_machine_is_turned(angle: float) -> None:
    rng = np.random.default_rng(1)
    path = rng.normal(size=(50, 2)) * [5, 1]
    turned = path @ np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
    assert_allclose(
        metrics.lateral_peak_to_valley(turned), metrics.lateral_peak_to_valley(path), rtol=2 * 4e-5
    )


@pytest.mark.parametrize(
    ("lead", "layer", "harmonic", "seen"),
    [
        (2.0, 1.2, 1, 3.0),  # 0.6 turns per layer look like -0.4: 1.2/0.4
        (5.0, 0.2, 1, 5.0),
        (5.0, 0.2, 2, 2.5),
        (2.0, 1.0, 1, 2.0),  # exactly two layers per turn: the shortest band there is
        (2.0, 1.0, 2, np.inf),
        (2.0, 2.0, 1, np.inf),
        (1.0, 2.0, 1, np.inf),
        (0.7, 0.7, 1, np.inf),
        (8.0, 5.0, 1, 13.333333333333334),  # 0.625 turns per layer look like -0.375
        (2.0, 1.2, 2, 6.0),  # 1.2 turns per layer look like 0.2
    ],
)
def test_wavelength_on_the_wall(lead: float, layer: float, harmonic: int, seen: float) -> None:
    """Values worked by hand from the fraction of a turn per layer (computed, no published source)."""
    assert metrics.wall_wavelength(lead, layer, harmonic) == pytest.approx(seen, rel=1e-12)


@given(st.floats(0.3, 20.0), st.floats(0.05, 3.0), st.integers(1, 4))
def test_wave_and_folded_wave_agree_at_every_layer(lead: float, layer: float, harmonic: int) -> None:
    """At the layers, the true error and a band of the folded wavelength are the same numbers."""
    seen = metrics.wall_wavelength(lead, layer, harmonic)
    n = np.arange(40)
    folded = np.cos(2 * np.pi * n * layer / seen) if np.isfinite(seen) else np.ones(40)
    assert_allclose(np.cos(2 * np.pi * harmonic * n * layer / lead), folded, atol=1e-6)
    assert seen >= 2 * layer * (1 - 1e-9)


def test_amplitude_is_found_under_mean_trend_and_another_band() -> None:
    """A sum of exact members of the fit comes back exactly, a foreign band changes it little."""
    trend = 5.0 + 900.0 * HEIGHT
    values = np.stack([wave(5e-3, 2.0) + trend, wave(5e-3, 0.0) + trend], axis=1)
    assert_allclose(metrics.amplitude_at(HEIGHT, values, 5e-3), [2.0, 0.0], atol=1e-10)
    mixed = values[:, 0] + wave(2e-3, 1.0)
    assert metrics.amplitude_at(HEIGHT, mixed, 5e-3) == pytest.approx(2.0, abs=0.02)


@pytest.mark.parametrize(
    ("a", "b", "phase", "longest"), [(3, 4, 0.0, 5.0), (3, 4, 90.0, 4.0), (2, 2, 90.0, 2.0)]
)
def test_lateral_amplitude_is_the_longer_half_axis(a: float, b: float, phase: float, longest: float) -> None:
    """In step, X and Y draw a line of length hypot(a, b); a quarter wave apart, an ellipse along the axes."""
    path = np.stack([wave(5e-3, a, 0.0), wave(5e-3, b, np.radians(phase))], axis=1)
    assert metrics.lateral_amplitude_at(HEIGHT, path, 5e-3) == pytest.approx(longest, rel=1e-9)


def level(values: np.ndarray) -> np.ndarray:
    """Without the line that fits best where the window looks."""
    weight = np.sqrt(hann(300, sym=False))  # numpy.polyfit squares its weights
    return values - np.polyval(np.polyfit(HEIGHT, values, 1, w=weight), HEIGHT)


def test_amplitude_agrees_with_the_lomb_scargle_periodogram() -> None:
    """scipy.signal.lombscargle, floating mean and normalised amplitude, is the independent fit."""
    rng = np.random.default_rng(3)
    values = level(wave(5e-3, 2.0) + 0.3 * rng.normal(size=300))
    for wavelength in (5e-3, 3.1e-3, 1.7e-3):
        peak = lombscargle(
            HEIGHT,
            values,
            np.array([2 * np.pi / wavelength]),
            weights=hann(300, sym=False),
            floating_mean=True,
            normalize="amplitude",
        )
        ours = metrics.amplitude_at(HEIGHT, values, wavelength)
        # scipy fits no trend beside the wave: at 12 waves per print this moves the amplitude by under 1 %
        assert_allclose(ours, np.abs(np.atleast_1d(peak)[0]), rtol=0.01, atol=0.01)


LAYER = np.arange(300)
STEP_AT_FIRST = np.where(LAYER > 0, 1.0, 0.0)
STEP_IN_THE_MIDDLE = np.where(LAYER >= 150, 1.0, 0.0)
DRIFT = np.linspace(-1.0, 1.0, 300) ** 2
SETTLING = np.exp(-LAYER / 10.0)


LEAK = 2.0 / (np.pi * 12**3)
"""Of a part without steps, peak to valley 1, at 12 waves: the window's second derivative 2 pi^2 at both ends
over (2 pi m)^3, twice over half the window's sum."""


@pytest.mark.parametrize("band", [0.0, 0.01, 2.0])
@pytest.mark.parametrize(
    ("other", "counts"),
    [
        (STEP_AT_FIRST, 1e-10),  # the window is zero there
        (DRIFT, LEAK),
        (SETTLING, LEAK),
        (STEP_AT_FIRST + DRIFT - 2.0 * SETTLING, 3.0 * LEAK),
    ],
)
def test_what_is_no_wave_is_no_band_neither_in_tables_nor_in_pictures(
    band: float, other: np.ndarray, counts: float
) -> None:
    values = wave(5e-3, band) + other
    assert metrics.amplitude_at(HEIGHT, values, 5e-3) == pytest.approx(band, abs=counts)
    assert drawn_at(5e-3, values) == pytest.approx(band, abs=counts + 1e-4 * band)


def test_a_step_in_the_middle_counts_as_much_in_tables_as_in_pictures() -> None:
    told = metrics.amplitude_at(HEIGHT, STEP_IN_THE_MIDDLE, 5e-3)
    assert told == pytest.approx(2.0 / (np.pi * 12.0), rel=0.01)
    assert drawn_at(5e-3, STEP_IN_THE_MIDDLE) == pytest.approx(told, rel=1e-3)


def drawn_at(wavelength: float, values: np.ndarray) -> float:
    line = metrics.spectrum(HEIGHT, values)
    return float(np.interp(-wavelength, -line.wavelength, line.amplitude))


def test_amplitude_of_what_cannot_be_told() -> None:
    values = wave(5e-3)
    assert metrics.amplitude_at(HEIGHT, values, float("inf")) == 0.0
    assert np.isnan(metrics.amplitude_at(HEIGHT, values, 0.07))
    assert np.isnan(metrics.amplitude_at(HEIGHT[:4], values[:4], 5e-4))
    two_layers = metrics.amplitude_at(HEIGHT, np.tile([1.0, -1.0], 150), 0.4e-3)
    assert two_layers == pytest.approx(1.0, abs=1e-9)


def test_five_layers_over_one_wavelength_are_enough() -> None:
    """Four unknowns (a sine, a mean, a trend); a Hann window takes the weight off one layer of five."""
    height = 1e-3 * np.arange(1, 6)
    for wavelength in (4e-3, 5e-3):
        found = metrics.amplitude_at(height, wave(wavelength, 2.0, height=height), wavelength)
        assert_allclose(found, 2.0, rtol=1e-9)
    assert np.isnan(metrics.amplitude_at(height, wave(5.2e-3, height=height), 5.2e-3))
    assert np.isnan(metrics.amplitude_at(height[:4], wave(4e-3, height=height[:4]), 4e-3))


def test_thick_layers_show_the_folded_band() -> None:
    """Lead 2 mm printed in 1.2 mm layers: the fit at 3 mm finds the whole error."""
    height = 1.2e-3 * np.arange(1, 101)
    values = wave(2e-3, 7.0, height=height)
    assert metrics.amplitude_at(height, values, metrics.wall_wavelength(2e-3, 1.2e-3)) == pytest.approx(7.0)


def test_spectrum_peaks_at_the_bands_with_their_amplitudes() -> None:
    values = np.stack([wave(5e-3, 2.0) + 300 * HEIGHT, wave(1.5e-3, 0.5)], axis=1)
    got = metrics.spectrum(HEIGHT, values)
    peaks = got.amplitude.argmax(axis=0)
    assert_allclose(got.wavelength[peaks], [5e-3, 1.5e-3], rtol=0.005)
    assert_allclose(got.amplitude[peaks, [0, 1]], [2.0, 0.5], rtol=0.003)
    assert got.wavelength[0] == pytest.approx(60e-3)
    assert got.wavelength[-1] == pytest.approx(0.4e-3)


def test_spectrum_equals_that_of_scipy() -> None:
    """scipy.signal.periodogram scaled as power: a sine of amplitude A carries A^2/2."""
    values = np.random.default_rng(2).normal(size=300)
    frequency, power = periodogram(
        level(values), 1 / 0.2e-3, "hann", 16 * 300, detrend=False, scaling="spectrum"
    )
    got = metrics.spectrum(HEIGHT, values)
    inside = slice(16, -1)  # from one wave per print up to, not including, two layers per wave
    assert_allclose(got.wavelength[:-1], 1 / frequency[inside], rtol=1e-9)
    assert_allclose(got.amplitude[:-1], np.sqrt(2 * power[inside]), atol=1e-12)


def test_spectrum_refuses_two_objects_and_is_empty_for_very_few() -> None:
    with pytest.raises(ValueError, match="one object"):
        metrics.spectrum(np.concatenate([HEIGHT, HEIGHT]), np.zeros(2 * HEIGHT.size))
    assert metrics.spectrum(HEIGHT[:3], np.zeros((3, 5))).amplitude.shape == (0, 5)


def test_worst_band_is_found_where_it_was_put() -> None:
    lateral = np.zeros((300, 5, 2))
    lateral[140, 3, 1], lateral[150, 3, 1] = 4.0, -3.0
    band = metrics.worst_band(HEIGHT, lateral, 5e-3)
    assert band.peak_to_valley == pytest.approx(7.0, rel=4e-5) and band.probe == 3
    assert band.first <= 140 and band.last >= 150 and band.last - band.first == 25


@given(st.integers(2, 40), st.integers(0, 100))
def test_worst_band_strays_as_far_as_its_layers_do(width: int, seed: int) -> None:
    """The one definition of a lateral peak-to-valley, layer by layer; no other stretch as long has more."""
    lateral = np.random.default_rng(seed).normal(size=(40, 2, 2)).cumsum(axis=0)
    band = metrics.worst_band(HEIGHT[:40], lateral, 0.2e-3 * (width - 1))
    every = [metrics.lateral_peak_to_valley(lateral[k : k + width]) for k in range(40 - width + 1)]
    assert band.last - band.first == width - 1
    assert band.peak_to_valley == pytest.approx(every[band.first][band.probe], rel=1e-12)
    assert band.peak_to_valley == pytest.approx(np.max(every), rel=1e-12)


def test_worst_band_of_short_prints() -> None:
    one = metrics.worst_band(HEIGHT[:1], np.ones((1, 5, 2)), 5e-3)
    assert (one.first, one.last, one.peak_to_valley) == (0, 0, 0.0)
    climb = np.stack([np.arange(15.0).reshape(3, 5), np.zeros((3, 5))], axis=2)
    few = metrics.worst_band(HEIGHT[:3], climb, 5e-3)
    assert (few.first, few.last, few.peak_to_valley) == (0, 2, 10.0)
    thick = metrics.worst_band(HEIGHT, np.ones((300, 1, 2)), 1e-6)
    assert thick.last - thick.first == 1


def test_worst_and_nearest() -> None:
    assert metrics.worst(np.array([1.0, 5.0, 2.0])) == (1, 5.0)
    assert metrics.nearest(np.array([[0.0, 0.0], [1.0, 1.0]]), np.array([0.9, 0.8])) == 1


def test_motion_ends_when_the_command_stands_still() -> None:
    time = np.linspace(0, 1, 11)
    hop = np.array([0, -1, -2, -2, -1, -1, -1, -1, -1, -1, -1]) * 1e-3
    assert metrics.motion_end(time, hop) == pytest.approx(0.4)
    assert metrics.motion_end(time, np.zeros(11)) == 0.0
