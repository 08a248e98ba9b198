"""How often decisions of `gauge` and `sweep` are wrong, on made-up readings and printers.

Truths and errors are drawn here; nothing of the fits is used to make them.
"""

import math

import numpy as np
import pytest
from draws import LEVEL, assert_at_most, assert_share
from scipy.stats import norm

from bedsim.metrology import decay_fit
from bedsim.metrology.outliers import ROUGH_LEVEL, rougher
from bedsim.metrology.verdict import run_out_verdict
from bedsim.sweep.answers import LEVELS, lot_interval, quantiles, wilson

SETS, UM = 200, 1e-6


def called_friction(falling, swings, rng):
    """Whether a decay whose amplitudes are read to 5 % is taken for dry friction, for 200 readings."""
    cycle = np.arange(float(swings))
    read = [falling(cycle, rng) * (1 + rng.normal(0, 0.05, swings)) for _ in range(SETS)]
    return np.array([decay_fit.fit_decay(cycle, r, None, 0.1 * UM).friction_like for r in read])


@pytest.mark.parametrize(("swings", "share"), [(4, 0.07), (5, 0.035), (6, 0.015), (8, 0.005)])
def test_damping_is_taken_for_friction_as_rarely_as_said(swings, share):
    def damped(cycle, rng):
        ratio = rng.uniform(0.02, 0.06)
        return 1e-4 * np.exp(-2 * np.pi * ratio / math.sqrt(1 - ratio**2) * cycle)

    assert_at_most(called_friction(damped, swings, np.random.default_rng(1)), share)


@pytest.mark.parametrize(("left", "share"), [(0.1, 0.002), (0.25, 0.06)])
@pytest.mark.parametrize("swings", [4, 8])
def test_friction_is_missed_as_rarely_as_said(swings, left, share):
    """Equal steps down to a tenth, and to a quarter, of the first swing."""

    def rubbed(cycle, rng):
        return 1e-4 * (1 - (1 - left) / (swings - 1) * cycle)

    assert_at_most(~called_friction(rubbed, swings, np.random.default_rng(2)), share)


def test_a_class_is_met_as_surely_as_the_verdict_says():
    """Run-outs anywhere about the 14 um of C7 at 12 mm, read to 1.5 um: of verdicts that say p, so
    many are right."""
    rng = np.random.default_rng(3)
    true = rng.uniform(9, 19, 600) * UM
    said = []
    for run_out in true + rng.normal(0, 1.5 * UM, true.size):
        verdicts = run_out_verdict(run_out, 1.5 * UM, 0.012, "thread").verdicts
        said.append(next(v.probability for v in verdicts if v.limit.grade.name == "C7"))
    said, within = np.array(said), true <= 14 * UM
    for low, high in ((0.02, 0.33), (0.33, 0.67), (0.67, 0.98)):
        here = (said > low) & (said < high)
        spread = math.sqrt(np.sum(said[here] * (1 - said[here])))
        assert abs(within[here].sum() - said[here].sum()) < norm.isf(LEVEL / 2) * spread
        assert here.sum() > 30


def test_a_good_turn_is_called_rough_as_rarely_as_said():
    """Five turns with five readings left over each, and one of them ten times as rough: it is found."""
    rng = np.random.default_rng(4)
    good = rng.chisquare(5, (2000, 5))
    bad = good[:SETS] * [100, 1, 1, 1, 1]
    freedom = np.full(5, 5.0)
    assert_at_most([rougher(s, freedom, 1e-3).any() for s in good], ROUGH_LEVEL)
    assert_at_most([not rougher(s, freedom, 1e-3)[0] for s in bad], 0.02)


@pytest.mark.parametrize(("probability", "below", "step"), [(0.5, 0.1, 64), (0.8, 0.1, 64), (0.9, 0.05, 256)])
def test_stopping_once_the_interval_is_narrow_leaves_it_right(probability, below, step):
    """Wilson's interval of 95 %, looked at after every `step` printers until it is narrower than `below`."""
    rng = np.random.default_rng(5)
    met = rng.binomial(step, probability, (SETS, 64)).cumsum(axis=1)
    low, high = wilson(met, step * np.arange(1, 65), 0.95)
    assert np.all((high - low <= below).any(axis=1))
    stop = np.arange(SETS), np.argmax(high - low <= below, axis=1)
    assert_share((low[stop] <= probability) & (probability <= high[stop]), 0.95)


def test_one_printer_in_ten_lies_beyond_the_outer_quantiles():
    """The next printer of a lot, against the quantiles of 5 and 95 % of 512."""
    rng = np.random.default_rng(6)
    outer = [LEVELS.index(0.05), LEVELS.index(0.95)]
    hits = []
    for _ in range(SETS):
        low, high = quantiles(rng.gamma(3.0, size=(512, 1)))[outer, 0]
        hits.append(low <= rng.gamma(3.0) <= high)
    assert_share(hits, 0.9)


@pytest.mark.parametrize(("lots", "share"), [(16, 1 / 17), (39, 1 / 40)])
def test_a_lot_is_called_sure_wrongly_as_rarely_as_said(lots, share):
    """The true lot's own share below the lower end of the second interval: of k lots tried, one in k + 1."""
    rng, wrong = np.random.default_rng(7), []
    for _ in range(SETS):
        luck, tried, true = rng.normal(size=1024), 0.3 * rng.normal(size=lots), 0.3 * rng.normal()
        own, others = luck < 1, luck + tried[:, None] < 1
        wrong.append(norm.cdf(1 - true) < lot_interval(norm.cdf(1), own, others, 0.95)[0])
    assert_at_most(wrong, share)
