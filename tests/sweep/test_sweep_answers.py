"""Intervals, quantiles, fronts and sensitivity indices against scipy and closed forms."""

import numpy as np
import pytest
from scipy import stats

from bedsim.results.sweep import Doubt
from bedsim.sweep import answers
from bedsim.sweep.answers import to_choose, to_measure
from bedsim.sweep.sensitivity import grid_table, table_indices


@pytest.mark.parametrize("successes, members", [(0, 20), (1, 20), (13, 20), (500, 1000), (1000, 1000)])
@pytest.mark.parametrize("confidence", [0.8, 0.95, 0.99])
def test_wilson_interval_is_that_of_scipy(successes, members, confidence):
    """scipy.stats.binomtest(...).proportion_ci(method="wilson")."""
    expected = stats.binomtest(successes, members).proportion_ci(confidence_level=confidence, method="wilson")
    low, high = answers.wilson(successes, members, confidence)
    np.testing.assert_allclose([low, high], [expected.low, expected.high], rtol=1e-12, atol=1e-15)


def test_quantiles_are_those_of_scipy():
    """scipy.stats.mstats.mquantiles with alphap = betap = 1: linear between order statistics."""
    values = np.random.default_rng(3).lognormal(size=(101, 2))
    expected = stats.mstats.mquantiles(values, answers.LEVELS, alphap=1, betap=1, axis=0)
    np.testing.assert_allclose(answers.quantiles(values), expected, rtol=1e-12)


def test_members_to_decide_is_the_least_number_that_is_enough():
    """With one less the interval still holds what is wanted."""
    for share, wanted in [(0.9, 0.95), (0.5, 0.9), (1.0, 0.9), (0.97, 0.95)]:
        enough = answers.members_to_decide(share, wanted, 0.95)
        for n, decided in ((enough - 1, False), (enough, True)):
            low, high = answers.wilson(share * n, n, 0.95)
            assert (not low <= wanted <= high) == decided


def test_front_keeps_only_cells_that_none_beats():
    prices = [3.0, 1.0, 2.0, 2.0, 4.0, float("nan")]
    quality = [0.8, 0.2, 0.9, 0.5, 0.95, 1.0]
    assert answers.front(prices, quality) == [1, 2, 4]


def test_interval_of_the_lot_does_not_shrink_with_more_printers():
    """It rests on the differences between lots; the number of printers in the table does not enter."""
    rng = np.random.default_rng(1)
    level = rng.random(64)
    own, others = level < 0.8, np.array([level < p for p in (0.6, 0.7, 0.85, 0.9)])
    few, many = (answers.lot_interval(p, own, others, 0.9) for p in (0.8, 0.80001))
    assert few[1] - few[0] == pytest.approx(many[1] - many[0], abs=1e-9)
    assert few[0] < 0.8 < few[1]
    widths = [np.diff(answers.wilson(0.8 * n, n, 0.9), axis=0)[0] for n in (100, 10_000)]
    assert widths[1] < widths[0] / 5


def test_interval_of_the_lot_holds_the_differences_between_lots():
    own = np.arange(100) < 80
    others = np.array([np.arange(100) < k for k in (60, 90)])
    low, high = answers.lot_interval(0.8, own, others, 0.999)
    assert (low, high) == (pytest.approx(0.6, abs=1e-3), pytest.approx(0.9, abs=1e-3))


def test_indices_of_the_ishigami_function():
    """Closed form for sin x1 + 7 sin^2 x2 + 0.1 x3^4 sin x1 on -pi..pi, after Ishigami and Homma 1990.

    The table has 64 places for each input at the middles of equal parts, whose own indices differ from the
    continuous ones by 0.002; the standard error of the estimators over seeds is at most 0.0035: 4 of them.
    """
    a, b, count = 7.0, 0.1, 64
    x = (np.arange(count) + 0.5) / count * 2 * np.pi - np.pi
    x1, x2, x3 = np.meshgrid(x, x, x, indexing="ij")
    table = np.sin(x1) + a * np.sin(x2) ** 2 + b * x3**4 * np.sin(x1)
    first, total = table_indices(table, np.random.default_rng(2), samples=2**17)
    v1, v2 = (1 + b * np.pi**4 / 5) ** 2 / 2, a**2 / 8
    v13 = b**2 * np.pi**8 * (1 / 18 - 1 / 50)
    variance = v1 + v2 + v13
    np.testing.assert_allclose(first, np.array([v1, v2, 0.0]) / variance, atol=0.016)
    np.testing.assert_allclose(total, np.array([v1 + v13, v2, v13]) / variance, atol=0.016)


def test_an_axis_without_effect_and_one_with_a_single_place_matter_nothing():
    table = np.repeat(np.random.default_rng(0).normal(size=(1, 1, 50)), 4, axis=0)
    first, total = table_indices(table, np.random.default_rng(2))
    assert first[0] == pytest.approx(0, abs=0.03) and total[0] == pytest.approx(0, abs=1e-12)
    assert first[1] == total[1] == 0
    assert total[2] == pytest.approx(1, abs=0.05)


def test_grid_table_needs_every_combination():
    places, figures = [(0, 0), (0, 1), (1, 0)], [np.arange(3.0)] * 3
    assert grid_table(places, figures) is None
    table = grid_table([*places, (1, 1)], [*figures, np.arange(2.0)])
    assert table is not None and table.shape == (2, 2, 2)


def test_what_is_chosen_is_not_measured_and_a_measured_key_heads_no_list():
    def doubt(**basis):
        empty = np.zeros(len(basis))
        return Doubt(
            cell=0, now=0.5, keys=(*basis,), basis=(*basis.values(),), part=empty, surer=empty, foretold=0.0
        )

    some = doubt(**{"guide.height_mm": "default", "nut.axial_n_per_um": "measured", "frame.x": "estimated"})
    assert to_choose(some) == [0] and to_measure(some) == [2, 1]
    assert to_measure(doubt(**{"nut.axial_n_per_um": "measured", "guide.height_mm": "default"})) == []
