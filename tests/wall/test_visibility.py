"""Whether a band is seen."""

import dataclasses

import numpy as np
import pytest

from bedsim.analysis.bands import Band
from bedsim.analysis.visibility import (
    COUPON_NOTES,
    Viewing,
    assumptions,
    check_viewing,
    contrast_sensitivity,
    coupon,
    cycles_per_degree,
    judge,
    relief_contrast,
    smallest_visible_amplitude,
    verdict,
    worst,
)
from bedsim.errors import InputError


def band(amplitude, wavelength=5e-3):
    return Band(
        label="lead 5 mm",
        wavelength=wavelength,
        seen_wavelength=wavelength,
        amplitude=amplitude,
        crest_height=0.0,
        phasor=complex(amplitude),
    )


@pytest.mark.parametrize("incidence", [30.0, 60.0, 75.0])
def test_contrast_is_that_of_a_lambert_surface(incidence):
    """Cosine between facet normal and light along a finely drawn relief, extremes taken numerically."""
    a, length, i = 5e-6, 5e-3, np.deg2rad(incidence)
    z = np.linspace(0, length, 4001)
    slope = np.gradient(a * np.sin(2 * np.pi * z / length), z)
    facet = np.stack([np.ones_like(slope), -slope]) / np.hypot(1, slope)
    light = facet.T @ [np.cos(i), np.sin(i)]
    expected = (light.max() - light.min()) / (light.max() + light.min())
    assert relief_contrast(a, length, i) == pytest.approx(expected, rel=1e-3)


def test_bands_of_five_millimetres_at_arms_length():
    """At 0.3 m a degree spans 5.236 mm, so bands of 5 mm are 1.047 cycles per degree."""
    assert cycles_per_degree(5e-3, 0.3) == pytest.approx(1.0472, abs=1e-4)


def test_five_millimetre_band_needs_several_micrometres():
    """5 mm from 0.3 m under 60 degrees, worked by hand: A(1.047) = 0.327, contrast 1.53 %, amplitude 7.0
    um."""
    amplitude = smallest_visible_amplitude(5e-3, Viewing())
    assert amplitude == pytest.approx(1 / (200 * 0.3272) * 5e-3 / (2 * np.pi * 3**0.5), rel=1e-3)
    assert 5e-6 < amplitude < 10e-6


def test_smallest_visible_amplitude_makes_the_smallest_visible_contrast():
    """Round trip: contrast of the smallest amplitude times sensitivity is one, for both eyes."""
    for eye in ("mannos-sakrison", "barten"):
        view = Viewing(eye=eye)
        length = np.geomspace(0.5e-3, 50e-3, 30)
        contrast = relief_contrast(smallest_visible_amplitude(length, view), length, view.incidence)
        assert contrast * contrast_sensitivity(cycles_per_degree(length, 0.3), view) == pytest.approx(1)


def test_more_raking_light_shows_more():
    grazing = smallest_visible_amplitude(5e-3, Viewing(incidence=np.deg2rad(75)))
    steep = smallest_visible_amplitude(5e-3, Viewing(incidence=np.deg2rad(45)))
    assert grazing < smallest_visible_amplitude(5e-3, Viewing()) < steep


@pytest.mark.parametrize(
    ("ratio", "expected"),
    [(3, "seen"), (2, "borderline"), (1, "borderline"), (0.5, "borderline"), (0.4, "not seen")],
)
def test_verdict_has_a_stated_factor(ratio, expected):
    assert verdict(ratio, 2.0) == expected


def test_own_threshold_replaces_the_curve():
    view = Viewing(threshold=3e-6)
    sighting = judge([band(10e-6)], view)[0]
    assert sighting.ratio == pytest.approx(10 / 3)
    assert sighting.verdict == "seen"
    assert "your own: 3 µm" in assumptions(view)[0]


def test_unresolved_band_is_no_verdict_and_worst_skips_it():
    sightings = judge([band(np.nan), band(1e-6), band(2e-6, 2e-3)], Viewing())
    assert np.isnan(sightings[0].ratio)
    assert worst(sightings) is sightings[2]
    assert worst(sightings[:1]) is None


def test_assumptions_name_light_distance_eye_and_factor():
    text = " ".join(assumptions(Viewing()))
    for word in ("60°", "0.3 m", "Mannos", "200", "2 times", "matt", "Layer lines"):
        assert word in text
    assert "Barten" in " ".join(assumptions(Viewing(eye="barten")))


def test_all_faults_of_a_viewing_are_listed():
    with pytest.raises(InputError) as fault:
        check_viewing(dataclasses.replace(Viewing(), incidence=2.0, distance=0.0, threshold=-1e-6))
    assert "incidence_deg" in str(fault.value)
    assert "distance_m" in str(fault.value)
    assert "threshold_um = -1" in str(fault.value)


def test_coupon_carries_its_bands():
    """Each block holds its amplitude and wavelength; gaps are plain."""
    made = coupon(0.2e-3, 5e-3, (2e-6, 8e-6), periods=4)
    block = made.offset[made.amplitude == 8e-6]
    assert len(block) == 100
    spectrum = np.abs(np.fft.rfft(block)) * 2 / len(block)
    assert np.argmax(spectrum) == 4
    assert spectrum[4] == pytest.approx(8e-6)
    assert np.all(made.offset[made.amplitude == 0] == 0)
    assert made.height[-1] == pytest.approx(len(made.layer) * 0.2e-3)
    assert len(COUPON_NOTES) == 3


def test_coupon_too_fine_for_its_layers_is_refused():
    with pytest.raises(InputError, match="at least 4 layers"):
        coupon(0.3e-3, 1e-3)
