"""Draws of uncertain keys: the stated distribution, and the same luck with and without a change."""

import numpy as np
import pytest
from scipy import stats

from bedsim.ranges.draws import Draw, draws, quantile

SHARES = np.linspace(0.001, 0.999, 41)


@pytest.mark.parametrize(
    ("low", "likely", "high"), [(-70.0, -40.0, -15.0), (-5.0, -5.0, 3.0), (0.0, 2.0, 2.0)]
)
def test_a_number_is_triangular(low, likely, high):
    """Against scipy's triangular distribution."""
    law = stats.triang((likely - low) / (high - low), loc=low, scale=high - low)
    found = [quantile(low, likely, high, s) for s in SHARES]
    np.testing.assert_allclose(found, law.ppf(SHARES), rtol=1e-9, atol=1e-9)


def test_a_positive_number_is_triangular_in_its_logarithm():
    law = stats.triang(np.log(4.0) / np.log(40.0), loc=np.log(0.5), scale=np.log(40.0))
    found = [quantile(0.5, 2.0, 20.0, s) for s in SHARES]
    np.testing.assert_allclose(np.log(found), law.ppf(SHARES), rtol=1e-9, atol=1e-9)


def test_a_number_without_range_is_itself():
    assert quantile(3.0, 3.0, 3.0, 0.7) == 3.0


def test_luck_goes_with_the_name_and_the_machine():
    one, other = draws(2)
    assert one.luck("a") == Draw(seed=1, number=0).luck("a")
    assert len({one.luck("a"), one.luck("b"), other.luck("a")}) == 3


def test_luck_is_even():
    """Kolmogorov and Smirnov's test of scipy on the shares of many machines."""
    luck = [d.luck("guide.tilt_nm_per_rad") for d in draws(400)]
    assert stats.kstest(luck, "uniform").pvalue > 1e-3
