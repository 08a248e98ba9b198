"""The two intervals of a sweep, and what it decides by them, on made-up sweeps whose probability is known."""

import numpy as np
import pytest
from draws import assert_at_most, assert_share
from scipy.stats import binom, norm

from bedsim.scenario.sweep_plan import LotDoubtTable
from bedsim.sweep.answers import lot_interval, members_to_decide, wilson

SETS = 200


@pytest.mark.parametrize("confidence", [0.68, 0.95])
@pytest.mark.parametrize("probability", [0.3, 0.8, 0.95])
@pytest.mark.parametrize("members", [64, 512])
def test_wilson_holds_the_probability_as_often_as_said(confidence, probability, members):
    """200 sweeps each, and exactly, summed over all counts: to the chance of one: counts are whole."""
    counts = np.arange(members + 1)
    low, high = wilson(counts, members, confidence)
    chance, inside = binom.pmf(counts, members, probability), (low <= probability) & (probability <= high)
    assert chance[inside].sum() == pytest.approx(confidence, abs=chance.max())
    met = np.random.default_rng(1).binomial(members, probability, SETS)
    assert_share(inside[met], chance[inside].sum())


@pytest.mark.parametrize("probability", [0.85, 0.9])
def test_good_enough_is_said_wrongly_in_one_of_forty(probability):
    """A cell just short of, or at, a wanted 0.9: the lower end of the 95 % interval reaches it by luck."""
    met = np.random.default_rng(2).binomial(256, probability, SETS)
    assert_at_most(wilson(met, 256, 0.95)[0] >= 0.9, 0.025)


def test_the_number_of_printers_asked_for_decides():
    """With the printers asked for, a share as found leaves the wanted one out in half the sweeps."""
    n = members_to_decide(0.8, 0.9, 0.95)
    met = np.random.default_rng(3).binomial(n, 0.8, SETS)
    assert_share(wilson(met, n, 0.95)[1] < 0.9, 0.5)


@pytest.mark.parametrize(
    ("confidence", "lots"), [(0.68, LotDoubtTable().draws), (0.95, LotDoubtTable().draws), (0.95, 39)]
)
def test_the_interval_of_the_lot_holds_the_true_lot(confidence, lots):
    """A printer's figure is its luck, common to all lots as in the sweep, plus its lot's; a lot like those
    tried is inside as often as said.  Of k lots 2/(k + 1) lies outside all of them: 16 hold 0.88."""
    rng, hits = np.random.default_rng(4), []
    for _ in range(SETS):
        luck, tried, true = rng.normal(size=1024), 0.3 * rng.normal(size=lots), 0.3 * rng.normal()
        own, others = luck < 1, luck + tried[:, None] < 1
        low, high = lot_interval(norm.cdf(1), own, others, confidence)
        hits.append(low <= norm.cdf(1 - true) <= high)
    assert_share(hits, min(confidence, (lots - 1) / (lots + 1)))
