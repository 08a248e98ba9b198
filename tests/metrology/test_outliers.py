"""Slips of the pen in dial gauge readings: found, by their line, and not seen where there are none."""

import numpy as np
import pytest
from gauge_turns import make, turn
from scipy.stats import t as student

from bedsim.metrology.outliers import LEVEL, rougher, sticking_out
from bedsim.metrology.runout_fit import fit_positions
from bedsim.metrology.setup import Setup

UM = 1e-6
EIGHT = np.radians(np.arange(0, 360, 45))
CIRCLE = np.stack([np.ones(8), np.cos(EIGHT), np.sin(EIGHT)], axis=-1)
SETUP = Setup(length=0.4, resolution=2 * UM, repeatability=2 * UM)


def screw(seed, lobes=0.0, noise=2 * UM):
    """Seven turns of eight rounded readings: a bent screw with lobes of random size and direction."""
    rng = np.random.default_rng(seed)
    values = []
    for s in range(7):
        two, three = lobes * rng.random(2) * np.exp(2j * np.pi * rng.random(2))
        bow = 80 * UM * np.sin(np.pi * s / 6) * np.exp(2j * np.pi * rng.random())
        values.append(turn(bow + 10 * UM, two, three, EIGHT) + rng.normal(0, noise, 8))
    return np.round(np.array(values) / SETUP.resolution) * SETUP.resolution


def fits(values, **more):
    position = np.repeat(np.arange(len(values)) * 0.06, 8)
    return fit_positions(make(position, np.tile(EIGHT, len(values)), values.ravel()), SETUP, **more)


@pytest.mark.parametrize("slip", [594, -108, 40])
@pytest.mark.parametrize("where", [0, 2, 7])
def test_one_wrong_reading_of_eight_is_named_and_left_out(slip, where):
    """A decimal point, a sign, a misread hand: without it the offset is the clean one within the noise."""
    clean = screw(1)
    typed = clean.copy()
    typed[3, where] += slip * UM
    assert [f.outliers for f in fits(typed)] == [(), (), (), (24 + where,), (), (), ()]
    mended = fits(typed, drop_outliers=True)[3]
    assert abs(mended.offset - fits(clean)[3].offset) < 3 * mended.run_out_uncertainty / 2


@pytest.mark.parametrize("lobes", [0.0, 5 * UM, 20 * UM])
def test_clean_turns_of_eight_are_rarely_suspected(lobes):
    """2100 turns with the stated repeatability: under one in a hundred; a binomial law's 99.9 % is 36."""
    found = [f for seed in range(300) for f in fits(screw(seed, lobes))]
    assert sum(bool(f.outliers) for f in found) <= 36
    assert sum(bool(f.warnings) for f in found) <= 3


def test_lobes_alone_never_pass_for_an_outlier():
    """Two and three lobes of any size and phase, the crests together too, whatever the gauge resolves."""
    phases = np.exp(2j * np.pi * np.arange(0, 1, 1 / 16))
    for ratio in (0.0, 0.3, 0.7, 1.0, 1.5, 4.0):
        for two in phases:
            for three in ratio * phases:
                assert not sticking_out(CIRCLE, turn(1e-5, 1e-4 * two, 1e-4 * three, EIGHT), 1e-9).any()


def test_decisions_are_those_of_leaving_one_out():
    """The same test written out: fit seven, predict the eighth, Student's t of its error."""
    rng = np.random.default_rng(2)
    limit = student.ppf(1 - LEVEL / 16, 4)
    decided = []
    for _ in range(200):
        value = rng.normal(0, 1e-6, 8)
        value[3] += rng.normal(0, 2e-5)
        for i in range(8):
            rest = np.delete(np.arange(8), i)
            found, squares, _, _ = np.linalg.lstsq(CIRCLE[rest], value[rest], rcond=None)
            inverse = np.linalg.inv(CIRCLE[rest].T @ CIRCLE[rest])
            spread = np.sqrt(squares[0] / 4 * (1 + CIRCLE[i] @ inverse @ CIRCLE[i]))
            decided.append(abs(value[i] - CIRCLE[i] @ found) > limit * spread)
            assert decided[-1] == sticking_out(CIRCLE, value, 1e-12)[i]
    assert 20 < sum(decided) < 180


def test_two_wrong_readings_of_one_turn_make_it_rougher_than_the_others():
    typed = screw(3)
    typed[3, [1, 4]] += 150 * UM
    found = fits(typed)
    assert not any(f.outliers for f in found)
    assert [any("far worse" in w for w in f.warnings) for f in found] == [False] * 3 + [True] + [False] * 3


def test_a_screw_of_even_turns_is_rarely_called_rough():
    """One of a thousand screws expected; a binomial law of 2000 stays below 8 with 99.9 %."""
    rng = np.random.default_rng(4)
    squares = (rng.normal(0, 1e-5, (2000, 7, 5)) ** 2).sum(axis=-1)
    assert sum(rougher(s, np.full(7, 5), 1e-9).any() for s in squares) <= 8


def test_nothing_below_the_gauges_own_uncertainty_is_rough():
    """A turn scatters by 0.5 um and the others a thousandth of it: rough for a gauge of 1 nm, not of 1 um."""
    squares = 5 * np.array([(0.5 * UM) ** 2, *[(5e-4 * UM) ** 2] * 6])
    assert rougher(squares, np.full(7, 5), 1e-9).tolist() == [True] + [False] * 6
    assert not rougher(squares, np.full(7, 5), 1 * UM).any()
