"""Frequencies and damping from taps: stated uncertainties against made-up beds of three modes."""

import sys
from pathlib import Path

import numpy as np
import pytest
from draws import ONE, TWO, assert_share

from bedsim.metrology.vibration_fit import fit_vibration

sys.path.insert(0, str(Path(__file__).parents[1] / "metrology"))
from vibrations import drawn, log_of, rung


def errors(sets, seed, taps):
    """Errors in standard uncertainties (frequency, damping) of every mode found, and how many are not."""
    rng, off, missed = np.random.default_rng(seed), [], 0
    for _ in range(sets):
        modes = drawn(rng)
        fit = fit_vibration(log_of(rung(rng, modes, taps=taps)))
        for f, ratio, _ in modes:
            one = min(fit.modes, key=lambda m: abs(m.frequency - f))
            if abs(one.frequency / f - 1) > 0.05:
                missed += 1
                continue
            off.append(
                (
                    (one.frequency - f) / one.frequency_uncertainty,
                    (one.damping - ratio) / one.damping_uncertainty,
                )
            )
    return np.abs(np.transpose(off)), missed


@pytest.mark.parametrize(
    ("sets", "taps", "one", "two"),
    [
        (12, 2, ONE, TWO),
        (12, 5, 0.81, 0.98),
        pytest.param(200, 2, ONE, TWO, marks=pytest.mark.long),
        pytest.param(200, 5, 0.81, 0.98, marks=pytest.mark.long),
    ],
)
def test_modes_of_a_tapped_bed(sets, taps, one, two):
    """With two taps the uncertainty is that of the noise; from three on the larger of that and of the scatter
    between taps, which holds more (by drawing 300 sets).  All modes are found."""
    off, missed = errors(sets, 40 + taps, taps)
    for part in off:
        assert_share(part <= 1, one)
        assert_share(part <= 2, two)
    assert missed <= 0.01 * 3 * sets
