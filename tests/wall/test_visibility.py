"""Whether a band is seen."""

import dataclasses

import numpy as np
import pytest

from bedsim.errors import InputError
from bedsim.wall.bands import Band
from bedsim.wall.light import bead_share
from bedsim.wall.visibility import (
    COUPON_NOTES,
    WALL_SIDE,
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
    visible_between,
    wall_side,
    worst,
)


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
def test_contrast_is_what_beads_leave_of_that_of_a_lambert_surface(incidence):
    """Cosine between facet normal and light along a finely drawn relief, extremes taken numerically."""
    a, length, i = 5e-6, 5e-3, np.deg2rad(incidence)
    z = np.linspace(0, length, 4001)
    slope = np.gradient(a * np.sin(2 * np.pi * z / length), z)
    facet = np.stack([np.ones_like(slope), -slope]) / np.hypot(1, slope)
    light = facet.T @ [np.cos(i), np.sin(i)]
    expected = (light.max() - light.min()) / (light.max() + light.min())
    assert relief_contrast(a, length, i) == pytest.approx(bead_share(i) * expected, rel=1e-3)


def test_bands_of_five_millimetres_at_arms_length():
    """At 0.3 m a degree spans 5.236 mm, so bands of 5 mm are 1.047 cycles per degree."""
    assert cycles_per_degree(5e-3, 0.3) == pytest.approx(1.0472, abs=1e-4)


def test_five_millimetre_band_by_hand():
    """5 mm from 0.3 m under 60 degrees on a wall of 15 mm, which fills 2.864 degrees; u = 1.0472: optics
    0.9982, size 1 + 17.555 + 0.7019 = 19.256, noise 1.378 + 46.096 = 47.474, S = 171.7; contrast 0.582 %,
    amplitude 2.68 um on a smooth wall."""
    assert Viewing(side=15e-3).field == pytest.approx(2.8642, abs=1e-4)
    amplitude = smallest_visible_amplitude(5e-3, Viewing(side=15e-3))
    smooth = 1 / 171.7 * 5e-3 / (2 * np.pi * 3**0.5)
    assert amplitude == pytest.approx(smooth / bead_share(np.deg2rad(60.0)), rel=1e-3)


def test_a_larger_wall_shows_smaller_bands():
    """Until it fills the field that an eye uses at once: 12 degrees in Barten's formula."""
    sides = np.array([10e-3, 15e-3, 50e-3, 100e-3, 1.0])
    seen = np.array([smallest_visible_amplitude(5e-3, Viewing(side=side)) for side in sides])
    assert np.all(np.diff(seen) < 0)
    assert seen[3] < 1.15 * seen[4]
    assert (wall_side(40e-3), wall_side(3e-3), wall_side(40e-3, 10e-3)) == (40e-3, WALL_SIDE, 20e-3)


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
    ("amplitude", "expected"),
    [(3.1, "seen"), (3.0, "borderline"), (1.5, "borderline"), (1.0, "borderline"), (0.9, "not seen")],
)
def test_verdict_between_the_studies_is_borderline(amplitude, expected):
    assert verdict(amplitude, 1.0, 3.0) == expected


def test_bands_are_judged_by_the_spread_of_the_studies_at_their_own_frequency():
    """5 mm at 0.3 m is 1.047 cycles per degree: ratios 0.65, 1.5 at 1 and 0.7, 1.5 at 2, straight in log."""
    low, high = visible_between(5e-3, Viewing())
    middle = smallest_visible_amplitude(5e-3, Viewing())
    part = np.log(1.0472) / np.log(2)
    assert (low / middle, high / middle) == pytest.approx((0.65 + 0.05 * part, 1.5), rel=1e-4)
    sightings = judge([band(0.99 * low), band(1.01 * low), band(1.01 * high)], Viewing())
    assert [s.verdict for s in sightings] == ["not seen", "borderline", "seen"]
    assert sightings[0].visible_between == (low, high)


def test_own_threshold_replaces_the_curve():
    view = Viewing(threshold=3e-6)
    sighting = judge([band(10e-6)], view)[0]
    assert sighting.ratio == pytest.approx(10 / 3)
    assert sighting.verdict == "seen"
    assert sighting.visible_between == pytest.approx((1.5e-6, 6e-6))
    assert "your own: 3 µm" in assumptions(view)[0]


def test_unresolved_band_is_no_verdict_and_worst_skips_it():
    sightings = judge([band(np.nan), band(1e-6), band(2e-6, 2e-3)], Viewing())
    assert np.isnan(sightings[0].ratio)
    assert worst(sightings) is sightings[2]
    assert worst(sightings[:1]) is None


def test_assumptions_name_light_distance_eye_and_factor():
    text = " ".join(assumptions(Viewing()))
    for word in (
        "60°",
        "0.3 m",
        "2.9°",
        "Barten",
        "100 cd/m²",
        "Robson 1966",
        "castleCSF",
        "matt",
        "Layer lines",
    ):
        assert word in text
    assert "98 and 196" in " ".join(assumptions(Viewing(eye="mannos-sakrison")))


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
