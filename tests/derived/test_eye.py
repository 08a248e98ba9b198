"""The eye's curve against what is remembered of it, and against the full model (from memory)."""

import numpy as np
import pytest

from bedsim.wall.visibility import barten

pytestmark = pytest.mark.exact_inputs("the same numbers stand on both sides")


def test_barten_has_its_known_features():
    f = np.linspace(0.3, 60, 2000)
    s = barten(f, 100.0, 10.0)
    assert 3 < f[np.argmax(s)] < 6
    assert 300 < s.max() < 700
    assert 30 < f[np.argmax(s < 1)] < 60
    assert np.all(barten(f, 1.0) < s)
    assert np.all(barten(f, 100.0, 2.0) < s)


def full_barten(u, luminance=100.0, field=10.0):
    """Barten's full model with his constants for a practised observer, two eyes (Barten 1999, chapter 3;
    from memory).

    k = 3, T = 0.1 s, eta = 0.03, sigma0 = 0.5', C_ab = 0.08'/mm, X_max = 12 deg, N_max = 15 cycles,
    Phi0 = 3e-8 s deg2, u0 = 7 cycles/deg, p = 1.285e6 photons/(s deg2 Td).
    """
    pupil = 5 - 3 * np.tanh(0.4 * np.log10(luminance * field**2 / 40**2))
    trolands = np.pi * pupil**2 / 4 * luminance * (1 - (pupil / 9.7) ** 2 + (pupil / 12.4) ** 4)
    blur = np.hypot(0.5 / 60, 0.08 / 60 * pupil)
    optics = np.exp(-2 * np.pi**2 * blur**2 * u**2)
    noise = 1 / (0.03 * 1.285e6 * trolands) + 3e-8 / (1 - np.exp(-((u / 7) ** 2)))
    return optics / 3 / np.sqrt(2 / 0.1 * (1 / field**2 + 1 / 12**2 + u**2 / 15**2) * noise)


def test_barten_simplified_agrees_with_the_full_model_at_low_frequency():
    """The short formula rounds 1/3 sqrt(0.05) 12/sqrt(3e-8) = 5164 to 5200 and leaves the eye's blur
    coarse: 2 % below 2.
    """
    u = np.array([0.3, 0.5, 1.0, 1.5])
    assert barten(u) == pytest.approx(full_barten(u), rel=0.02)
