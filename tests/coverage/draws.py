"""What a number of draws can tell of a stated probability."""

import numpy as np
from scipy.stats import binom

LEVEL = 1e-3  # two-sided: a right statement fails once in a thousand seeds, and the seeds are fixed
ONE, TWO = 0.6827, 0.9545  # of a normal law within one and two standard deviations


def allowed(draws, share):
    """Smallest and largest number of hits that independent draws allow, by the binomial law."""
    return binom.ppf(LEVEL / 2, draws, share), binom.isf(LEVEL / 2, draws, share)


def assert_share(hits, share):
    """That the share of hits is the stated one, within what so many draws allow."""
    low, high = allowed(len(hits), share)
    assert low <= np.sum(hits) <= high, f"{np.mean(hits):.3f} of {len(hits)}, stated {share}"


def assert_at_most(hits, share):
    """That errors are no more frequent than stated."""
    assert np.sum(hits) <= allowed(len(hits), share)[1], f"{np.mean(hits):.3f} of {len(hits)}, stated {share}"


def assert_covers(error_in_sigmas):
    """That one sigma holds 68 % and two 95 %."""
    size = np.abs(error_in_sigmas)
    assert_share(size <= 1, ONE)
    assert_share(size <= 2, TWO)
